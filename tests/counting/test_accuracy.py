"""Accuracy on the labelled photos. The shipped model has seen them, so these limits only guard against a break;
the honest figures come from leaving photos out (tests/photos/score.py --leave-out)."""

from pathlib import Path

import pandas as pd
import pytest

from qckit.counting import count_photo, score_photo, score_photos, summarise_scores

LIMITS = {"bright-05": 0.93, "dark-04": 0.85, "grid-05": 0.9, "sieve-01": 0.75}


@pytest.mark.parametrize("photo", sorted(LIMITS))
def test_objects_are_found_and_staged(labelled, photo):
    folder, photos, truth = labelled
    count = count_photo(folder / "photos" / f"{photo}.jpg", um_per_px=photos.um_per_px[photo])
    figures = summarise_scores([score_photo(truth[truth.photo == photo], count.objects)])
    assert figures["f1"] >= LIMITS[photo]
    assert figures["precision"] >= 0.93
    assert figures["stage_accuracy"] >= 0.93
    assert figures["hatch_error_points_median"] <= 6
    assert count.counts["nauplius"] == pytest.approx(photos.n_nauplius[photo], rel=0.3, abs=3)


def truth_table():
    return pd.DataFrame(
        {
            "photo": "a",
            "stage": ["nauplius", "cyst", "shell", "cyst", "debris"],
            "x_px": [10.0, 50, 90, 5, 70],
            "y_px": [10.0, 50, 90, 5, 70],
            "x0": [0, 40, 80, 0, 65],
            "y0": [0, 40, 80, 0, 65],
            "x1": [20, 60, 100, 10, 75],
            "y1": [20, 60, 100, 10, 75],
            "touches_edge": [0, 0, 0, 1, 0],
            "visible_fraction": [1.0, 1, 1, 1, 1],
        }
    )


def test_scoring_by_hand():
    """Nauplius right, cyst called shell, shell missed, one on the edge not asked for, one false find on debris."""
    found = pd.DataFrame(
        {
            "photo": "a.jpg",
            "stage": ["nauplius", "shell", "cyst", "cyst"],
            "x_px": [11.0, 52, 5, 70],
            "y_px": [10.0, 49, 6, 70],
        }
    )
    score = score_photo(truth_table(), found)
    assert score["confusion"].tolist() == [[1, 0, 0, 0], [0, 0, 0, 0], [0, 0, 0, 1], [0, 0, 0, 0]]
    assert score["missed"].tolist() == [0, 0, 0, 1]
    assert score["false"].tolist() == [0, 0, 1, 0]
    assert score["n_true"].tolist() == [1, 0, 1, 1]
    assert score["n_found"].tolist() == [1, 0, 1, 1]
    figures = summarise_scores([score])
    assert figures["recall"] == pytest.approx(2 / 3)
    assert figures["precision"] == pytest.approx(2 / 3)
    assert figures["stage_accuracy"] == 0.5
    table, per_photo = score_photos(truth_table(), pd.DataFrame({"photo": ["a"], "kind": ["bright"]}), found)
    assert list(table.columns) == ["all", "bright"]
    assert set(per_photo) == {"a"}


def test_scoring_nothing_found():
    figures = summarise_scores([score_photo(truth_table(), pd.DataFrame(columns=["stage", "x_px", "y_px"]))])
    assert figures["recall"] == 0
    assert figures["hatch_error_points_median"] == 100


@pytest.mark.parametrize("photo", ["d-4", "p-1"])
def test_photos_of_another_make(photo):
    """Dark field and millimetre paper of a second make; the shipped reader has seen them, so this guards a break."""
    folder = Path(__file__).resolve().parents[1] / "photos_second_make"
    photos, truth = (pd.read_csv(folder / f"{name}.csv") for name in ("photos", "truth"))
    um_per_px = float(photos.um_per_px[photos.photo == photo].iloc[0])
    count = count_photo(folder / "photos" / f"{photo}.jpg", um_per_px=um_per_px)
    figures = summarise_scores([score_photo(truth[truth.photo == photo], count.objects)])
    assert figures["f1"] >= 0.97
    assert figures["stage_accuracy"] >= 0.96
    assert figures["hatch_error_points_median"] <= 3
    assert not count.flags
