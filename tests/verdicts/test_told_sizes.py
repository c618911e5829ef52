"""Sizes that a page tells only because they stood out: bounds allow for that."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from qckit.charts.search import find_changes_in_levels
from qckit.verdicts.lots.expected import Expected
from qckit.verdicts.month.lot_levels import judge_lots
from qckit.verdicts.month.searches import standing_differences
from qckit.verdicts.month.shifts import shift_of_lot


def searched(rng, *, cones=None, second=0.0, n=80):
    at = pd.Timestamp("2026-01-01 08:00", tz="UTC") + pd.to_timedelta(np.arange(n) // 2, unit="D")
    cone, lot = np.tile(list("ABCD"), n // 4), np.repeat(["L1", "L2"], n // 2)
    y = 1.5 + rng.normal(0, 0.2, n) + second * (lot == "L2")
    y += [(cones or {}).get(c, 0.0) for c in cone]
    columns = {"label": [f"h{i}" for i in range(n)], "at": at, "y": y, "counting": 0.005, "size": 1000.0}
    columns |= {"cone": cone, "lot": lot, "operator": "op1", "counted_by": "person"}
    return find_changes_in_levels(pd.DataFrame(columns), alpha=0.001)


@pytest.fixture
def worse():
    """A second lot 10 points below the first."""
    search = searched(np.random.default_rng(1), second=-0.6)
    figures, sd = np.array([1.5, 12.0, 0.0, 12.4]), np.full(4, 0.2)
    known = {"claim_pct": 82.0, "claim_per_g": np.nan, "test_pct": np.nan, "n_tests": 0}
    prospects = {"L2": Expected(lot="L2", figures=figures, sd=sd, df=8.0, others=(), **known)}
    (lot,) = judge_lots(search, prospects, minimum=60, margin_pct=5, alpha=0.01, of_month=["L2"])
    return lot, search.frame


def test_a_lot_far_below_the_one_before_has_the_plain_bounds(worse):
    lot, frame = worse
    assert lot.is_worse and lot.drop > lot.least_drop > 4
    sure = dataclasses.replace(lot, least_drop=0.0)
    sd = (lot.drop_high - lot.drop_low) / 2 / 2.58
    shift = shift_of_lot(sure, frame)
    assert shift.effect_low == pytest.approx(-lot.drop - 1.96 * sd, abs=0.01)
    assert shift.effect_high == pytest.approx(-lot.drop + 1.96 * sd, abs=0.01)


def test_a_lot_that_is_hardly_told_may_be_little_worse(worse):
    lot, frame = worse
    hardly, plain = (shift_of_lot(dataclasses.replace(lot, least_drop=f), frame) for f in (0.98 * lot.drop, 0.0))
    assert hardly.effect_low == pytest.approx(plain.effect_low, abs=0.5)
    assert plain.effect_high < -2 < hardly.effect_high <= 0


def test_a_lot_is_told_from_where_either_rule_tells_it(worse):
    """What was expected of it may tell a lot before the lot before it does."""
    lot, _ = worse
    of_before = 4.0 + lot.drop - lot.drop_low
    assert lot.least_drop <= of_before + 1e-9


def test_standing_differences_that_are_told_hold_the_true_ones():
    rng, held, plain = np.random.default_rng(7), [], []
    for _ in range(120):
        cones = dict(zip("ABCD", rng.normal(0, 0.06, 4), strict=True))
        search = searched(rng, cones=cones)
        share = 1 / (1 + np.exp(-float(np.median(search.model.fitted))))
        scale = 100 * share * (1 - share)
        effects = search.model.effects("cone")
        for d in standing_differences(search, []):
            truth = scale * (cones[d.level] - np.mean(list(cones.values())))
            held.append(d.low <= truth <= d.high)
            plain.append(abs(truth - d.points) <= 1.96 * scale * effects[d.level][1])
            assert min(abs(d.low), abs(d.high)) < abs(d.points) and d.low * d.high >= 0
    assert len(held) > 15 and np.mean(held) >= 0.9 and np.mean(held) >= np.mean(plain)
