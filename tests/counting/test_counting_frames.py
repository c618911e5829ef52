"""A drawn counting frame in count_photo, count_photos and the command."""

import math

import pandas as pd
import pytest

from qckit.counting import CountOptions, count_photo, count_photos
from qckit.errors import InputError


@pytest.fixture(scope="module")
def one(crop):
    path, scale = crop()
    return path, scale, count_photo(path, um_per_px=scale)


def test_the_whole_photo_as_rectangle_counts_the_same(one):
    path, scale, whole = one
    region = {"kind": "rectangle", "points": [[0, 0], [whole.width_px, whole.height_px]]}
    drawn = count_photo(path, um_per_px=scale, region=region)
    assert drawn.counts == whole.counts
    assert drawn.frame_mm2 == pytest.approx(whole.frame_mm2, rel=1e-5)


def test_a_dish_counts_middles_over_its_own_area(one):
    path, scale, whole = one
    side = min(whole.width_px, whole.height_px)
    drawn = count_photo(path, um_per_px=scale, region={"kind": "ellipse", "points": [[0, 0], [side, side]]})
    o = whole.objects[whole.objects.stage != "debris"]
    inside = ((o.x_px - side / 2) ** 2 + (o.y_px - side / 2) ** 2) ** 0.5 <= side / 2
    assert sum(drawn.counts.values()) == inside.sum() > 5
    assert drawn.frame_mm2 == pytest.approx(math.pi * (side * scale / 2000) ** 2)
    assert drawn.density_per_ml(0.5)["nauplius"] == pytest.approx(drawn.density_per_mm2["nauplius"] * 2000)


def test_halves_add_up(one):
    """Two rectangles side by side count each object once, but for sizes that the table rounds."""
    path, scale, whole = one
    w, h, middle = whole.width_px, whole.height_px, whole.width_px // 2
    left = count_photo(path, um_per_px=scale, region={"kind": "rectangle", "points": [[0, 0], [middle, h]]})
    right = count_photo(path, um_per_px=scale, region={"kind": "rectangle", "points": [[middle, 0], [w, h]]})
    assert {s: left.counts[s] + right.counts[s] for s in whole.counts} == whole.counts


def test_many_photos_and_the_command(one, tmp_path, run):
    path, scale, whole = one
    region = {"kind": "rectangle", "points": [[0, 0], [whole.width_px // 2, whole.height_px]]}
    half = count_photos(path, scale, out_dir=tmp_path / "a", options=CountOptions(region=region)).counts
    assert half.frame_mm2[0] == pytest.approx(whole.frame_mm2 / 2, rel=0.01)
    again = count_photos(path, scale, out_dir=tmp_path / "a").counts  # another frame is another count
    assert again.frame_mm2[0] == pytest.approx(whole.frame_mm2, rel=1e-5)
    words = f"rectangle 0,0 {whole.width_px // 2},{whole.height_px}"
    assert (
        run("count", path, "--um-per-px", scale, "--out", tmp_path / "b", "--region", words)[0] == 1
    )  # half of this photo holds too few
    table = pd.read_csv(tmp_path / "b" / "counts.csv")
    assert table.nauplii[0] == half.nauplii[0]


def with_frame(region, path, out):
    """Words of the command that counts a photo in a drawn frame."""
    return "count", path, "--um-per-px", "5.21", "--out", out, "--region", region


def test_a_frame_with_nothing_in_it_is_flagged_and_gives_no_percentage(one, tmp_path, run):
    code, out, err = run(*with_frame("rectangle 0,0 20,20", one[0], tmp_path))
    assert code == 1 and "nan" not in out
    assert "; no hatching percentage, as there is nothing to take it of. Results in" in out
    assert (
        "Only 0 nauplii, umbrella stages and cysts were counted in the drawn frame, too few for a percentage: "
        "count more photos of this sample."
    ) in out
    assert err == "Needs attention: 1 photo carries a flag (named above).\n"


def test_a_frame_partly_off_the_photo_is_said(one, tmp_path, run):
    out = run(*with_frame("ellipse 40,20 4000,700", one[0], tmp_path))[1]
    assert (
        "note: the region lies partly off bright-01.png (960 x 720 px); only what the photo shows of it was counted.\n"
    ) in out
    assert "note:" not in run(*with_frame("ellipse 40,20 900,700", one[0], tmp_path))[1]


def test_a_frame_without_area_stops_the_count(one, tmp_path, run):
    code, _, err = run(*with_frame("polygon 0,0 100,100 200,200", one[0], tmp_path))
    assert code == 2
    assert err.endswith(
        "the drawn polygon covers 0 px² of the photo (960 x 720 px), too little. Draw it over the part that is meant.\n"
    )


def test_bad_frames(one, tmp_path, run):
    path, scale, _ = one
    with pytest.raises(
        InputError, match=r"a drawn polygon needs three corners or more, and 2 are set\. Set the others\."
    ):
        count_photo(path, um_per_px=scale, region={"kind": "polygon", "points": [[0, 0], [5, 5]]})
    code, _, err = run("count", path, "--um-per-px", "4", "--out", tmp_path, "--region", "dish")
    assert code == 2
    assert (
        "--region 'dish' is no counting frame. Give a kind and corners in px, such as 'ellipse 40,20 1400,1380'." in err
    )
