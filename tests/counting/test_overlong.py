"""Sizes of bodies whose piece of foreground runs on along something else."""

import numpy as np
import pytest

from qckit.counting.overlong import without_overlong
from qckit.stages import STAGE_RECORDS


def given(length):
    length = np.array(length, float)
    return {"length_um": length, "width_um": length / 2, "area_um2": length**2, "n_px": length}


def test_what_is_far_longer_than_the_others_has_no_size():
    stage = np.array(["nauplius"] * 10 + ["cyst", "debris"])
    sizes = given([430, 420, 410, 440, 900, 425, 430, 410, 400, 3993, 250, 5000])
    found = without_overlong(sizes, stage)
    for name in ("length_um", "width_um", "area_um2"):
        assert np.flatnonzero(np.isnan(found[name])).tolist() == [9]  # two instars lie beside each other, and debris
        kept = ~np.isnan(found[name])
        assert (found[name][kept] == sizes[name][kept]).all()
    assert (found["n_px"] == sizes["n_px"]).all()
    assert not np.isnan(sizes["length_um"]).any()  # what came in stays


@pytest.mark.parametrize("factor", [0.2, 1, 6.3])
def test_a_wrong_scale_leaves_the_sizes_by_which_it_is_seen(factor):
    rng = np.random.default_rng(1)
    stage = np.repeat([s.name for s in STAGE_RECORDS], 8)
    typical = np.repeat([s.typical_um[0] for s in STAGE_RECORDS], 8)
    found = without_overlong(given(factor * typical * rng.uniform(0.6, 1.7, len(stage))), stage)
    assert not np.isnan(found["length_um"]).any()


def test_few_bodies_are_held_against_typical_ones():
    found = without_overlong(given([1500, 700]), np.array(["nauplius", "nauplius"]))
    assert np.isnan(found["length_um"]).tolist() == [True, False]
    assert without_overlong(given([]), np.array([], object))["length_um"].shape == (0,)
