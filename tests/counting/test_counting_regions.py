"""Drawn frames: which objects they count, their area, and that density comes out unbiased."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qckit.counting.regions import (
    check_region,
    counted_in_region,
    density_per_ml,
    density_per_mm2,
    frame_share,
    read_region_words,
    region_area_mm2,
    region_words,
)
from qckit.errors import InputError

SIZE = {"width_px": 2000, "height_px": 1500}
REGIONS = {
    "rectangle": {"kind": "rectangle", "points": [[300, 200], [1500, 1100]]},
    "ellipse": {"kind": "ellipse", "points": [[400, 100], [1600, 1300]]},
    "polygon": {"kind": "polygon", "points": [[200, 200], [1700, 300], [1400, 1300], [900, 700], [300, 1200]]},
}


def objects(x, y, size_um=0.0):
    return pd.DataFrame({"x_px": x, "y_px": y, "length_um": size_um, "width_um": size_um})


def test_a_rectangle_leaves_out_what_touches_left_and_upper_edge_and_counts_what_touches_the_others():
    frame = REGIONS["rectangle"]
    # 20 px wide objects, on the left, upper, right and lower edge, in the middle, and just beyond right and lower
    x, y = [305, 900, 1495, 900, 900, 1505, 1515, 900], [600, 195, 600, 1095, 600, 600, 600, 1112]
    assert counted_in_region(objects(x, y, 100.0), frame, 5.0).tolist() == [
        False,
        False,
        True,
        True,
        True,
        True,
        False,
        False,
    ]


@pytest.mark.parametrize("kind", REGIONS)
def test_density_is_unbiased_even_for_objects_as_large_as_a_fifth_of_the_frame(kind):
    """Objects spread evenly over an area of 10,000 x 10,000 px: counted / area is their density."""
    rng = np.random.default_rng(5)
    n = 400_000
    scattered = objects(rng.uniform(-3000, 7000, n), rng.uniform(-3000, 7000, n), rng.choice([100.0, 900.0], n))
    counted = counted_in_region(scattered, REGIONS[kind], 5.0).sum()
    density = density_per_mm2(counted, region_area_mm2(REGIONS[kind], 5.0, **SIZE))
    true = n / (10_000 * 0.005) ** 2
    assert density == pytest.approx(true, abs=4 * true / math.sqrt(counted))  # four standard deviations of chance


def test_areas_are_those_of_geometry():
    assert region_area_mm2(REGIONS["rectangle"], 5.0, **SIZE) == pytest.approx(1200 * 900 * 25e-6)
    assert region_area_mm2(REGIONS["ellipse"], 5.0, **SIZE) == pytest.approx(math.pi * 600**2 * 25e-6)
    triangle = {"kind": "polygon", "points": [[0, 0], [1000, 0], [0, 500]]}
    assert region_area_mm2(triangle, 10.0, **SIZE) == pytest.approx(1000 * 500 / 2 * 1e-4)
    # a dish whose left half lies beyond the photo
    half = {"kind": "ellipse", "points": [[-500, 200], [500, 1200]]}
    assert region_area_mm2(half, 5.0, **SIZE) == pytest.approx(math.pi * 500**2 / 2 * 25e-6, rel=1e-4)


@pytest.mark.parametrize("kind", REGIONS)
def test_share_of_the_photo_agrees_with_the_area_alone_and_with_others(kind):
    whole = 2000 * 1500 * 1e-6 * 25
    share = frame_share([(REGIONS[kind], True)], **SIZE)
    assert share == pytest.approx(region_area_mm2(REGIONS[kind], 5.0, **SIZE) / whole)
    assert frame_share([(REGIONS[kind], False)], **SIZE) == pytest.approx(1 - share)
    assert frame_share([(REGIONS[kind], True)] * 2, **SIZE) == pytest.approx(share, rel=1e-3)
    assert frame_share([(REGIONS[kind], True), (REGIONS[kind], False)], **SIZE) == 0
    assert frame_share([], **SIZE) == 1


def test_density_per_ml_is_objects_over_frame_times_depth():
    assert density_per_ml(50, 25.0, 0.2) == pytest.approx(50 / 5e-3)  # 25 mm² x 0.2 mm = 5 µl
    assert math.isnan(density_per_ml(50, 25.0, math.nan)) and math.isnan(density_per_mm2(5, 0.0))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(-50, 2100), st.integers(-50, 1600)), min_size=2, max_size=2), st.booleans())
def test_words_bring_the_region_back(points, is_ellipse):
    region = {"kind": "ellipse" if is_ellipse else "rectangle", "points": [list(p) for p in points]}
    try:
        region = check_region(region, **SIZE)
    except InputError:
        return
    assert read_region_words(f"left out the drawn {region_words(region)} by somebody") == region
    (x0, y0), (x1, y1) = region["points"]
    assert x1 - x0 >= 10 and y1 - y0 >= 10


@pytest.mark.parametrize(
    ("region", "message"),
    [
        ({"kind": "star", "points": []}, "unknown region 'star'. Known: rectangle, ellipse, polygon."),
        (
            {"kind": "polygon", "points": [[0, 0], [50, 50]]},
            "a drawn polygon needs three corners or more, and 2 are set. Set the others.",
        ),
        (
            {"kind": "rectangle", "points": [[0, 0]]},
            "a drawn rectangle needs two opposite corners, and 1 are set. Set the others.",
        ),
        (
            {"kind": "ellipse", "points": [[0, 0], [4, 500]]},
            "the drawn ellipse is 4 x 500 px, too small. Draw it over the part that is meant.",
        ),
        (
            {"kind": "rectangle", "points": [[0, 0], [float("nan"), 500]]},
            "the drawn rectangle has a corner that is no number. Draw it again.",
        ),
        (
            {"kind": "polygon", "points": [[0, 0], [500, 500], [500, 0], [0, 500]]},
            "the sides of the drawn polygon cross each other. Set its corners in order around the part that is meant.",
        ),
        (
            {"kind": "ellipse", "points": [[-500, -500], [-100, -100]]},
            "the drawn ellipse covers 0 px² of the photo (2000 x 1500 px), too little. Draw it over the part that is "
            "meant.",
        ),
    ],
)
def test_what_is_no_region_is_said(region, message):
    with pytest.raises(InputError) as error:
        check_region(region, **SIZE)
    assert str(error.value) == message


def test_words_without_region():
    assert read_region_words("looked at the photo: it is cyst") is None
