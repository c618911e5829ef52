"""Losses and waste of harvests: intervals over harvests, of counting alone where there are too few."""

import math

import numpy as np
import pandas as pd
import pytest

from qckit.hatch import harvest_losses, separation_budget


def harvests(lost, nauplii, shells):
    table = pd.DataFrame({"lost_nauplii": lost, "nauplii": nauplii, "shells": shells})
    name = [f"{i + 1:02d}" for i in range(len(table))]
    taken = [f"2026-05-{i}T09:00:00+00:00" for i in name]
    names = {"sample": [f"S{i}" for i in name], "hatch": [f"H{i}" for i in name]}
    return table.assign(**names, kind="harvest", cysts=0, taken=taken)


def test_losses_of_two_harvests_have_exact_intervals_of_counting_alone():
    found = harvest_losses(harvests([9, 20], [1200, 1200], [2, 4]))
    # Garwood's interval of 29: 19.42 to 41.65, by chi-square tables
    assert (found.lost_low, found.lost_high) == pytest.approx((19.42 / 2, 41.65 / 2), rel=1e-3)
    # Clopper and Pearson's interval of 6 of 2,406: 0.0916 to 0.5420 %, by scipy.stats.binomtest
    assert (found.waste, found.n_counted, found.n_harvests) == (6, 2406, 2)
    assert (found.waste_low_pct, found.waste_high_pct) == pytest.approx((0.09157, 0.54200), abs=2e-4)
    assert "14.5 a harvest (9.7 to 20.8, counting alone)" in found.sentences[0]
    assert found.sentences[1].startswith("Of 2406 objects counted in 2 harvests, 0.2 % were no nauplii")


def test_a_change_of_the_losses_is_seen_and_nothing_counted_says_nothing():
    table = harvests([0, 1, 0, 0, 1, 0, 4, 5, 3, 6, 4, 5], 200, [1, 0] * 6)
    found = harvest_losses(table)
    assert found.changed_after == "H06" and found.change.rate_after > 10 * found.change.rate_before
    assert found.sentences[0].startswith("In what was drawn off at 12 harvests 29 nauplii were counted: 2.4 a harvest")
    assert harvest_losses(table.assign(kind="subsample")).sentences == ()
    nothing = harvest_losses(harvests([0], [0], [0]))
    assert nothing.n_counted == 0 and nothing.lost_a_harvest == 0


def test_harvests_that_differ_are_covered_and_portions_are_no_harvests():
    """Shares of shells and losses drawn with numpy's beta and gamma laws, a CV of 0.7 between five harvests."""
    rng = np.random.default_rng(4)
    share, size, lost, runs = 0.05, (0.95 / 0.05) / 0.49 - 1, 6.0, 120
    hits = np.zeros(2)
    for _ in range(runs):
        true = rng.beta(share * size, (1 - share) * size, 5)
        waste = rng.binomial(600, true)
        drawn = rng.poisson(lost * rng.gamma(1 / 0.49, 0.49, 5))
        found = harvest_losses(harvests(drawn, 600 - waste, waste))
        hits += found.waste_low_pct <= 100 * share <= found.waste_high_pct, found.lost_low <= lost <= found.lost_high
    assert (100 * hits / runs > 88).all()  # 36 and 70 % by counting alone
    part = harvests([3.0, math.nan, 4.0, math.nan, 2.0, math.nan], 300, [40, 38, 2, 3, 9, 8])
    twice = part.assign(hatch=["A", "A", "B", "B", "C", "C"])
    whole = twice.groupby("hatch", as_index=False).agg(dict.fromkeys(("nauplii", "shells", "lost_nauplii"), "sum"))
    whole = whole.assign(kind="harvest", cysts=0, sample=whole["hatch"], taken=part["taken"].iloc[::2].to_numpy())
    assert harvest_losses(twice).sentences == harvest_losses(whole).sentences


def test_what_harvests_differ_by_is_in_the_budget_of_the_separation():
    """Shares left of 10 % in all, log-normal with a CV of 0.5 between six harvests (numpy): pooled counts held 45 %."""
    rng, held, runs, sd = np.random.default_rng(2), 0, 200, np.sqrt(np.log1p(0.25))
    for _ in range(runs):
        left = 0.1 * np.exp(rng.normal(-(sd**2) / 2, sd, 6))
        cone = np.column_stack([rng.poisson(310, 6), rng.poisson(370, 6)])
        sieve = np.column_stack([rng.poisson(600, 6), rng.poisson(600 * 370 / 310 * left)])
        found = separation_budget(cone, sieve, draws=50)
        held += found.low <= 90 <= found.high
    assert held / runs > 0.86
    assert set(found.table["source"]) >= {"harvests", "sieve_waste"}
    alike = separation_budget(np.tile([310, 370], (3, 1)), np.tile([600, 70], (3, 1)), draws=50)
    assert alike.u == pytest.approx(separation_budget((930, 1110), (1800, 210), draws=50).u)
