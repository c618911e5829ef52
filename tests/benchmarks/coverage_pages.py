"""The intervals of the pages that have no table of their own in coverage.py: one row each, lowest to highest coverage.

Called by coverage.py as its table "pages". Data are invented; every truth is known.
"""

import math

import numpy as np
import pandas as pd
from scipy import special, stats

from qckit.agreement import correct_counts, rates_from_matches
from qckit.agreement.paired import bland_altman, concordance
from qckit.charts import share_below
from qckit.hatch import (
    compare_hatch_pct,
    compare_per_g,
    efficiency_budget,
    harvest_losses,
    percentage_budget,
    poisson_interval,
    positive_mean_interval,
    proportion_over_cones,
    recovery_by_cone,
)
from qckit.hatch.intervals.plain import mean_interval
from qckit.settings import MeasureSettings
from qckit.stages import STAGES

PERFECT = MeasureSettings(cone_volume_u_pct=0.0, subsample_volume_u_pct=0.0, dilution_u_pct=0.0, mass_u_g=0.0)


def cones(rng, k, share, rho, *, n=840, lot="a"):
    """Rows of cone_metrics, as far as a hatching percentage needs them; cones differ as a beta law."""
    both = 1 / rho - 1
    whole = rng.poisson(n, k)
    x = rng.binomial(whole, rng.beta(share * both, (1 - share) * both, k))
    table = pd.DataFrame({"hatch": [f"{lot}{i}" for i in range(k)], "lot": lot, "cone": [f"C{i}" for i in range(k)]})
    return table.assign(nauplii=x, full_cysts=whole, umbrella=0, unhatched=whole - x, hatch_pct=100 * x / whole)


def per_gram(rng, k, cv, *, per_g=220_000.0, mean=690, lot="a"):
    """Cones that differ by ``cv`` in nauplii per gram and are counted by a Poisson law."""
    x = rng.poisson(mean * np.exp(rng.normal(0, cv, k) - cv**2 / 2))
    table = pd.DataFrame({"hatch": [f"{lot}{i}" for i in range(k)], "lot": lot, "cone": [f"C{i}" for i in range(k)]})
    factor = per_g / mean
    return table.assign(
        nauplii=x,
        factor_per_g=factor,
        cysts_g=1.6,
        volume_ml=800.0,
        n_subsamples=6,
        counted_ul=1500.0,
        hatching_efficiency_per_g=x * factor,
    )


def share_held(runs, draw, *, seed):
    """Percent of runs whose bounds hold the truth; ``draw(rng)`` gives (low, truth, high)."""
    rng, hit, known = np.random.default_rng([17, seed]), 0, 0
    for _ in range(runs):
        low, truth, high = draw(rng)
        if np.isfinite(low) and np.isfinite(high):
            known += 1
            hit += low <= truth <= high
    return 100 * hit / max(known, 1)


def ratio_of_shares(k, rho):
    def draw(rng):
        a, b = (cones(rng, k, share, rho, lot=lot) for share, lot in ((0.8, "a"), (0.74, "b")))
        found = compare_hatch_pct(a, b)
        return found.low, 0.8 / 0.74, found.high

    return draw


def difference_of_shares(k, rho):
    def draw(rng):
        a, b = (cones(rng, k, share, rho, lot=lot) for share, lot in ((0.9, "a"), (0.84, "b")))
        found = compare_hatch_pct(a, b)
        return found.difference_low, 6.0, found.difference_high

    return draw


def ratio_per_gram(k, cv):
    def draw(rng):
        found = compare_per_g(per_gram(rng, k, cv), per_gram(rng, k, cv, lot="b"))
        return found.low, 1.0, found.high

    return draw


def budget_per_gram(k, cv):
    def draw(rng):
        found = efficiency_budget(per_gram(rng, k, cv), PERFECT)
        return found.low, 220_000.0, found.high

    return draw


def budget_of_share(k, rho):
    def draw(rng):
        found = percentage_budget(cones(rng, k, 0.8, rho))
        return found.low, 80.0, found.high

    return draw


def month_per_gram(n, cv):
    def draw(rng):
        found = positive_mean_interval(220_000 * np.exp(rng.normal(0, cv, n) - cv**2 / 2))
        return found.low, 220_000, found.high

    return draw


def month_share(n, rho):
    def draw(rng):
        table = cones(rng, n, 0.8, rho, n=240)
        found = proportion_over_cones(table["nauplii"], table["full_cysts"])
        return found.low, 0.8, found.high

    return draw


def water_mean(n):
    def draw(rng):
        found = mean_interval(rng.normal(28, 0.4, n))
        return found.low, 28.0, found.high

    return draw


def below_minimum(n, sd):
    truth = 100 * stats.norm.cdf((special.logit(0.75) - special.logit(0.82)) / sd)

    def draw(rng):
        found = share_below(100 * special.expit(special.logit(0.82) + sd * rng.standard_normal(n)), 75)
        return found.share_pct_low, truth, found.share_pct_high

    return draw


def losses(mean, n, cv):
    """Losses of harvests whose means differ by ``cv`` (gamma)."""

    def draw(rng):
        lost = rng.poisson(mean * rng.gamma(1 / cv**2, cv**2, n) if cv else mean, n)
        seen = pd.DataFrame({"sample": [f"V{i}" for i in range(n)], "hatch": [f"H{i}" for i in range(n)]})
        found = harvest_losses(seen.assign(kind="harvest", lost_nauplii=lost))
        return found.lost_low, mean, found.lost_high

    return draw


def rare_count(mean):
    def draw(rng):
        low, high = poisson_interval(int(rng.poisson(mean)))
        return low, mean, high

    return draw


def waste(share, n, cv, counted=300):
    """Waste of harvests whose shares differ by ``cv`` (beta)."""

    def draw(rng):
        size = (1 - share) / share / cv**2 - 1 if cv else math.inf
        x = rng.binomial(counted, rng.beta(share * size, (1 - share) * size, n) if cv else share, n)
        seen = pd.DataFrame({"sample": range(n), "hatch": range(n), "nauplii": counted - x, "shells": x})
        found = harvest_losses(seen.assign(kind="harvest"))
        return found.waste_low_pct, 100 * share, found.waste_high_pct

    return draw


def recovery_of_a_cone(n, spread):
    def draw(rng):
        share = 80 * np.exp(rng.normal(0, spread, 3 * n))
        found = recovery_by_cone(pd.DataFrame({"cone": list("ABC") * n, "recovery_pct": share}))
        row = found.iloc[0]
        return row["low"], 80.0, row["high"]

    return draw


def paired(n, what):
    def draw(rng):
        level = rng.normal(0, 3, n)
        a, b = level + rng.normal(0.5, 1, n), level + rng.normal(0, 1, n)
        if what == "bias":
            found = bland_altman(a, b)
            return found.bias_low, 0.5, found.bias_high
        found = concordance(a, b)
        return found.ccc_low, 2 * 9 / (10 + 10 + 0.25), found.ccc_high

    return draw


def matches_of(rng, n_photos, found=0.9, mistaken=0.05, spread=0.01):
    """Paired objects of a check: nauplii found or missed, cysts mistaken; photos differ a little."""
    both = 1 / spread - 1
    rows = []
    for i in range(n_photos):
        for stage, mean in zip(STAGES, (80, 4, 20, 70), strict=True):
            luck = rng.random(rng.poisson(mean))
            p = rng.beta(found * both, (1 - found) * both)
            if stage == "nauplius":
                called = np.where(luck < p, stage, "missed")
            else:
                called = np.where((luck < mistaken) & (stage == "cyst"), "nauplius", stage)
            rows.append(pd.DataFrame({"photo": f"P{i}", "hand": stage, "photo_stage": called}))
    return pd.concat(rows, ignore_index=True)


def share_found(n_photos):
    def draw(rng):
        frame = rates_from_matches(matches_of(rng, n_photos)).to_frame()
        row = frame[(frame["stage"] == "nauplius") & (frame["outcome"] == "found")].iloc[0]
        return row["low"], 0.9, row["high"]

    return draw


def corrected_count(n_photos):
    def draw(rng):
        rates = rates_from_matches(matches_of(rng, n_photos))
        both = 1 / 0.01 - 1
        nauplii, cysts = rng.poisson(90), rng.poisson(25)
        p = rng.beta(0.9 * both, 0.1 * both)
        taken = rng.binomial(cysts, 0.05)
        counted = {"nauplius": rng.binomial(nauplii, p) + taken, "umbrella": 4, "cyst": cysts - taken, "shell": 70}
        found = correct_counts(counted, rates)
        return found.low["nauplius"], nauplii, found.high["nauplius"]

    return draw


ROWS = (
    (
        "new lot: hatching percentage over the reference's, rho 0.002 to 0.01",
        "3 and 6 cones each",
        [ratio_of_shares(k, r) for k in (3, 6) for r in (0.002, 0.01)],
    ),
    (
        "new lot: difference of two hatching percentages [points]",
        "3 and 6 cones each",
        [difference_of_shares(k, r) for k in (3, 6) for r in (0.002, 0.01)],
    ),
    (
        "new lot: nauplii per gram over the reference's, CV 0 to 10 %",
        "3 and 6 cones each",
        [ratio_per_gram(k, cv) for k in (3, 6) for cv in (0.0, 0.05, 0.1)],
    ),
    (
        "new lot: budget of nauplii per gram",
        "3 and 6 cones",
        [budget_per_gram(k, cv) for k in (3, 6) for cv in (0.05, 0.1)],
    ),
    (
        "new lot: budget of the hatching percentage",
        "3 and 6 cones",
        [budget_of_share(k, r) for k in (3, 6) for r in (0.005, 0.02)],
    ),
    (
        "new lot: recovery of one cone of three",
        "2 and 5 harvests each",
        [recovery_of_a_cone(n, s) for n in (2, 5) for s in (0.05, 0.15)],
    ),
    (
        "new lot: nauplii lost with the purge",
        "3 and 12 harvests, mean 0.5 and 5, CV 0 to 100 %",
        [losses(m, n, cv) for m in (0.5, 5.0) for n in (3, 12) for cv in (0, 0.5, 1.0)],
    ),
    ("new lot: a count, exact", "mean 1 to 30", [rare_count(m) for m in (1.0, 5.0, 30.0)]),
    (
        "new lot: shells and cysts in harvests",
        "3 and 12 harvests of 300 objects, 0.5 and 5 %, CV 0 to 100 %",
        [waste(p, n, cv) for p in (0.005, 0.05) for n in (3, 12) for cv in (0, 0.5, 1.0)],
    ),
    (
        "month: hatching percentage of a lot",
        "12 and 60 hatches",
        [month_share(n, r) for n in (12, 60) for r in (0.002, 0.01)],
    ),
    (
        "month: nauplii per gram of a lot",
        "4, 12 and 60 hatches, CV 8 and 20 %",
        [month_per_gram(n, cv) for n in (4, 12, 60) for cv in (0.08, 0.2)],
    ),
    ("month: mean of a period", "5 and 30 hatches", [water_mean(n) for n in (5, 30)]),
    (
        "month: share of hatches below the minimum",
        "12 and 60 hatches",
        [below_minimum(n, sd) for n in (12, 60) for sd in (0.2, 0.4)],
    ),
    ("camera: mean difference from a person's H%", "6 and 12 photos", [paired(n, "bias") for n in (6, 12)]),
    ("camera: concordance", "12 and 30 photos", [paired(n, "ccc") for n in (12, 30)]),
    ("camera: share of nauplii found", "10 and 20 photos", [share_found(n) for n in (10, 20)]),
    ("camera: corrected nauplii of one photo", "10 and 20 photos", [corrected_count(n) for n in (10, 20)]),
)
"""What a page shows, how much of it, and how each is drawn."""


QUICK = {
    "new lot: a count, exact",
    "month: nauplii per gram of a lot",
    "month: mean of a period",
    "camera: concordance",
}
"""Rows that take next to no time, drawn fifty times as often."""


def pages_table(runs, *, is_quick=False):
    """Coverage of each interval, or of the quick rows, lowest to highest over cells with draws of their own."""
    print("\n| page: figure | data | coverage |\n| --- | --- | --- |")
    for name, data, draws in (row for row in ROWS if row[0] in QUICK or not is_quick):
        often = 50 * runs if name in QUICK else runs
        found = [share_held(often, draw, seed=i) for i, draw in enumerate(draws)]
        print(f"| {name} | {data} | {min(found):.1f} to {max(found):.1f} |", flush=True)
