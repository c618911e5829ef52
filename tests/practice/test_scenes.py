"""Drawn practice photos: deterministic, with a truth that fits what is drawn."""

import numpy as np
import pytest
from scipy import ndimage

from qckit.errors import InputError
from qckit.practice.scenes import SCENE_KINDS, TRUTH_COLUMNS, draw_scene
from qckit.stages import CLASSES

SMALL = {"size": (360, 480)}


@pytest.mark.parametrize("kind", SCENE_KINDS)
def test_truth_holds_what_was_asked_for(kind):
    counts = {"nauplius": 4, "umbrella": 1, "cyst": 3, "shell": 2, "debris": 2}
    image, truth = draw_scene(3, kind=kind, counts=counts, **SMALL)
    assert image.shape == (360, 480, 3) and image.dtype == np.uint8
    assert tuple(truth.columns) == TRUTH_COLUMNS
    assert truth["stage"].value_counts().to_dict() == counts
    assert truth["x_px"].between(0, 480).all() and truth["y_px"].between(0, 360).all()


def test_same_seed_same_photo_and_another_seed_another():
    a, b, c = (draw_scene(seed, **SMALL)[0] for seed in (5, 5, 6))
    assert (a == b).all() and (a != c).any()


@pytest.mark.parametrize("kind", SCENE_KINDS)
def test_isolated_cysts_stand_out_where_and_as_large_as_the_truth_says(kind):
    image, truth = draw_scene(9, kind=kind, counts={"cyst": 7}, um_per_px=5.0, size=(600, 800))
    grey = image.astype(float).mean(axis=2)
    ground = ndimage.median_filter(grey[::8, ::8], 31).repeat(8, 0).repeat(8, 1)[:600, :800]
    blobs, n = ndimage.label(np.abs(ndimage.gaussian_filter(grey, 1) - ground) > 25)
    assert n == 7
    centres = np.array(ndimage.center_of_mass(blobs > 0, blobs, range(1, 8)))
    for row in truth.itertuples():
        away = np.hypot(centres[:, 0] - row.y_px, centres[:, 1] - row.x_px)
        assert away.min() < 2
        area = (blobs == away.argmin() + 1).sum() * 25.0
        assert 2 * np.sqrt(area / np.pi) == pytest.approx(row.length_um, rel=0.06)


def test_sizes_follow_the_scale():
    fine = draw_scene(4, counts={"nauplius": 3}, um_per_px=4.0, size=(600, 800))[1]
    coarse = draw_scene(4, counts={"nauplius": 3}, um_per_px=8.0, size=(600, 800))[1]
    assert fine["length_um"].mean() == pytest.approx(coarse["length_um"].mean(), rel=0.15)


def test_nothing_asked_for_gives_an_empty_truth():
    image, truth = draw_scene(1, counts={}, **SMALL)
    assert len(truth) == 0 and tuple(truth.columns) == TRUTH_COLUMNS
    assert image.std() < 25


@pytest.mark.parametrize(
    "change, message",
    [
        ({"kind": "bridht"}, "unknown kind of scene 'bridht'. Did you mean 'bright'? Known: bright, dark."),
        ({"um_per_px": 0}, "um_per_px is 0 and must be above 0. Give the scale in µm per pixel."),
        (
            {"counts": {"cysts": 2}},
            f"counts: unknown stage 'cysts'. Did you mean 'cyst'? Known: {', '.join(CLASSES)}.",
        ),
        (
            {"size": (20, 30)},
            "size is 20 x 30 px, 100 µm on the short side: too small for a nauplius. Make it at least 195 px.",
        ),
    ],
)
def test_bad_input_is_named(change, message):
    with pytest.raises(InputError) as caught:
        draw_scene(1, **change)
    assert str(caught.value) == message


def test_a_stage_that_no_scene_draws_passes_with_no_objects(monkeypatch):
    from qckit.practice import scenes

    monkeypatch.delitem(scenes._DRAW, "umbrella")
    _, truth = draw_scene(3, counts={"nauplius": 4, "umbrella": 0})
    assert truth["stage"].tolist() == ["nauplius"] * 4
    with pytest.raises(InputError) as error:
        draw_scene(3, counts={"umbrella": 2})
    assert str(error.value) == (
        "counts: no scene draws the stage umbrella. Leave it out, or say in practice/scenes.py how it looks."
    )
