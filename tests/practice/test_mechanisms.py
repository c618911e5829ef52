"""The teaching model keeps to the limits that the literature gives."""

import numpy as np
import pytest

from qckit.practice.counting_error import draw_counts
from qckit.practice.mechanisms import (
    Conditions,
    LotTraits,
    blocked_by_salinity,
    damaged_by_heat,
    development_rate,
    expected_shares,
)

GOOD = Conditions()


def share(stage, **changes):
    return float(expected_shares(LotTraits(), Conditions(**changes))[stage])


def test_full_cysts_add_up_to_one():
    hot = Conditions(hours=np.linspace(1, 72, 30), temperature_c=31.0, unwetted_frac=0.2, broken_frac=0.1)
    shares = expected_shares(LotTraits(), hot)
    total = sum(shares[s] for s in ("nauplius", "umbrella", "cyst", "missing"))
    np.testing.assert_allclose(total, 1.0)
    assert all((shares[s] >= -1e-12).all() for s in shares)


# New 2002, FAO Fisheries Technical Paper 428, Annex 4: active between 4 and 33 °C
@pytest.mark.parametrize("temperature_c, alive", [(3, False), (10, True), (28, True), (32.9, True), (34.5, False)])
def test_development_only_within_the_limits_of_life(temperature_c, alive):
    assert (development_rate(temperature_c) > 0) == alive


# same source: death above 40 °C; Lavens et al. 2000: above 33 °C metabolism stops
def test_heat_harms_only_above_the_limit():
    assert damaged_by_heat(32.0, 24.0) == 0
    assert damaged_by_heat(42.0, 6.0) > 0.9


# Lavens et al. 2000: 5-35 ppt is the working range, above about 85-90 ppt too little water is taken up
def test_salinity_limits():
    assert blocked_by_salinity(33.0) < 0.01
    assert blocked_by_salinity(90.0) > 0.95


def test_signs_of_each_failure():
    assert share("umbrella", ph=7.4) > 0.4 and share("cyst", ph=7.4) == pytest.approx(share("cyst"), abs=0.01)
    assert share("nauplius", temperature_c=22.0) < 0.6 < share("nauplius", temperature_c=22.0, hours=40.0)
    assert share("nauplius", light_lux=0.0) < share("nauplius", light_lux=0.0, hours=28.0) < share("nauplius")
    assert share("shell", broken_frac=0.3) == pytest.approx(share("shell"))
    assert share("nauplius", hours=60.0) < share("nauplius") - 0.1


def test_a_good_hatch_is_good():
    assert share("nauplius") > 0.85  # trade grade "80" to "90" (common practice, no source)
    assert share("umbrella") < 0.03


def test_counts_have_the_mean_and_spread_asked_for():
    rng = np.random.default_rng(5)
    shares = expected_shares(LotTraits(), GOOD)
    counts = draw_counts(shares, 440.0, 250.0, rng, n=20_000, mixing_cv=0.1)["nauplius"]
    mean = 110.0 * float(shares["nauplius"])
    assert counts.mean() == pytest.approx(mean, rel=0.01)
    assert counts.var() == pytest.approx(mean + (0.1 * mean) ** 2, rel=0.05)
