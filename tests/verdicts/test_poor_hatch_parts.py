"""Parts of the explanation against sources outside the project, and their properties."""

import ast
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sources import tree_of

from qckit.practice.situations import PLANTED
from qckit.verdicts.lots.usual import counted_hatches, describe_hatch, usual_of_lot
from qckit.verdicts.poor_hatch.causes import CAUSES, cause
from qckit.verdicts.poor_hatch.conditions.effects import AGE, drawn, site_effects
from qckit.verdicts.poor_hatch.count import _flags
from qckit.verdicts.poor_hatch.likelihood.stage_mix import act, draws_of, later_mix


def test_figures_and_their_covariance_against_simulation():
    rng = np.random.default_rng(11)
    mean = np.array([240.0, 60.0, 50.0, 250.0])
    counted = rng.poisson(mean, (20_000, 4)).astype(float)
    row = {
        "nauplii": 240,
        "umbrella": 60,
        "unhatched": 50,
        "shells": 250,
        "shell_opened": 300,
        "full_cysts_per_g": 250_000.0,
        "n_subsamples": 3,
    }
    _, covariance = describe_hatch(row, mixing_cv=0.0)
    n, u, c, s = (counted + 0.5).T
    figures = np.stack([np.log((n + u) / c), np.log(n / u), np.log(s / (n + u)), np.log(n + u + c)])
    np.testing.assert_allclose(covariance, np.cov(figures), rtol=0.06, atol=4e-4)


@pytest.mark.parametrize("code", [c.code for c in CAUSES])
def test_traces_cost_what_they_say_and_stopped_embryos_stay_in_the_water(code):
    d = draws_of(cause(code))
    usual = np.tile([0.85, 0.02, 0.13, 0.72], (d.n, 1))
    mix, held = act(d, usual)
    assert (mix >= 0).all() and np.quantile(d.loss, [0, 1]) == pytest.approx([0.04, 0.97], abs=0.01)
    if d.kind == "swapped":
        np.testing.assert_allclose(mix[:, 0], 0.85)
        assert (mix[:, 2] > 0.13).all()
    else:
        np.testing.assert_allclose(mix[:, 0], np.maximum(0.85 * (1 - d.loss), 1e-4))
    if d.kind == "stopped":  # what is neither free nor gone stands in the water, stopped
        gone = 0.85 * d.loss * d.gone
        np.testing.assert_allclose(mix[:, :3].sum(axis=1), 1.0 - gone)
        np.testing.assert_allclose(held.sum(axis=1), 0.85 * d.loss - gone)
        later = later_mix(d, mix, held)
        assert (later[:, 1] <= mix[:, 1] + 1e-9).all() and (later[:, 2] <= mix[:, 2] + 1e-9).all()


def test_half_a_cause_is_met_by_a_count_that_repeats_half_of_it():
    d = draws_of(cause("ph"))
    usual = np.tile([0.85, 0.02, 0.13, 0.72], (d.n, 1))
    none, half = act(d, usual, np.zeros(d.n))[0], act(d, usual, np.full(d.n, 0.5))[0]
    np.testing.assert_allclose(none, usual)
    np.testing.assert_allclose(half[:, 0], 0.85 * (1 - d.loss / 2))


def test_causes_have_words_sources_and_known_twins():
    codes = [c.code for c in CAUSES]
    assert len(set(codes)) == len(codes)
    for c in CAUSES:
        assert c.words and c.sign and c.source and set(c.same_trace) <= set(codes)
        if c.reading:
            assert [v for v, _ in c.reading.table] == sorted(v for v, _ in c.reading.table)
    assert cause("ph").reading.quantity == "ph"


def _counts(rows):
    hatches = pd.DataFrame(
        {
            "hatch": list(rows),
            "lot": "L",
            "cone": "A",
            "purpose": "production",
            "operator": "op1",
            "started": [f"2026-05-{i + 1:02d}T09:00:00+00:00" for i in range(len(rows))],
            "cysts_g": 1.6,
            "volume_ml": 800.0,
        }
    )
    samples = []
    for i, (name, counts) in enumerate(rows.items()):
        for j, (n, u, c, s, hours, who) in enumerate(counts):
            taken = pd.Timestamp(f"2026-05-{i + 1:02d}T09:00:00+00:00") + pd.Timedelta(hours=hours)
            samples.append(
                {
                    "sample": f"{name}-{j}",
                    "hatch": name,
                    "taken": taken.isoformat(),
                    "hours": hours,
                    "kind": "subsample",
                    "volume_ul": 250.0,
                    "dilution": 1.0,
                    "nauplii": n,
                    "umbrella": u,
                    "cysts": c,
                    "embryos": None,
                    "shells": s,
                    "counted_by": who,
                }
            )
    return counted_hatches(pd.DataFrame(samples), hatches)


def test_pooling_takes_the_reading_and_one_kind_of_count():
    counts = _counts(
        {
            "H": [
                (10, 30, 70, 20, 14.0, "photo"),
                (90, 2, 18, 70, 24.0, "photo"),
                (88, 2, 18, 70, 24.1, "photo"),
                (50, 2, 58, 70, 24.2, "person"),
            ]
        }
    )
    row = counts.iloc[0]
    assert (row.nauplii, row.umbrella, row.unhatched, row.n_subsamples) == (178, 4, 36, 2)
    # factor 800 ml / (0.25 ml x 1.6 g) = 2000: FAO Fisheries Technical Paper 361 (from memory)
    assert row.hatching_efficiency_per_g == pytest.approx(89 * 2000)
    assert row.hatch_pct == pytest.approx(100 * 178 / 218)


def test_usual_sets_odd_hatches_aside_and_leans_on_the_prior():
    rng = np.random.default_rng(2)
    rows = {
        f"H{i}": [(*(int(v) for v in rng.poisson([90, 2, 15, 75])), 24.0, "photo") for _ in range(3)] for i in range(20)
    }
    rows["odd"] = [(20, 60, 25, 75, 24.0, "photo")] * 3
    counts = _counts(rows)
    usual = usual_of_lot(counts, lot="L", before="2026-07-01T00:00:00+00:00")
    assert usual.set_aside == ("odd",)
    assert usual.mix[0] == pytest.approx(90 / 107, abs=0.02)
    few = usual_of_lot(counts.head(2), lot="L", before="2026-07-01T00:00:00+00:00")
    assert few.note == "only 2 earlier hatches of this lot"
    # without spread beyond counting, twenty hatches pull the assumed spread down; two hardly do
    assert few.between[0, 0] > usual.between[0, 0]


def test_site_effects_find_planted_slopes_together_and_need_twenty_hatches():
    rng = np.random.default_rng(8)
    n = 300
    temperature, salinity = rng.normal(28, 1, n), rng.normal(33, 3, n)
    temperature += 0.2 * (salinity - 33)  # the two go together, so one at a time would mislead
    share = 1 / (1 + np.exp(-(1.6 + 0.30 * (temperature - 28) - 0.05 * (salinity - 33))))
    hatched = rng.binomial(400, share)
    counts = pd.DataFrame(
        {
            "hatch": [f"H{i}" for i in range(n)],
            "lot": "L",
            "hatch_pct": hatched / 4,
            "started": [t.isoformat() for t in pd.date_range("2026-01-01", periods=n, tz="UTC")],
            "nauplii": hatched,
            "umbrella": 0,
            "unhatched": 400 - hatched,
        }
    )
    worst = pd.concat(
        [
            pd.DataFrame({"hatch": counts["hatch"], "quantity": q, "mean": v})
            for q, v in (("temperature", temperature), ("salinity", salinity))
        ]
    )
    effects = site_effects(counts, worst).set_index("quantity")
    assert effects.loc["temperature", "slope"] == pytest.approx(0.30, abs=3 * effects.loc["temperature", "se"])
    assert effects.loc["salinity", "slope"] == pytest.approx(-0.05, abs=3 * effects.loc["salinity", "se"])
    assert effects["se"].max() < 0.02
    few = site_effects(counts.head(12), worst)
    assert few.empty and list(few.columns) == list(effects.reset_index().columns)


def test_few_hatches_leave_the_literature_standing_and_many_do_not():
    # precision-weighted mean of two normal quantities: (2 / 0.1^2 + 4 / 4^2) / (1 / 0.1^2 + 1 / 4^2)
    assert drawn(2.0, 0.1, 4.0, 4.0) == pytest.approx((200 + 0.25) / (100 + 0.0625))
    assert drawn(2.0, 40.0, 4.0, 4.0) == pytest.approx(4.0, abs=0.03)


def test_a_lots_fall_with_the_days_since_opening_is_found():
    rng = np.random.default_rng(5)
    n = 120
    days = np.arange(n) * 2.0
    hatched = rng.binomial(400, 1 / (1 + np.exp(-(2.0 - 0.006 * days))))
    starts = pd.date_range("2026-01-01", periods=n, freq="2D", tz="UTC")
    counts = pd.DataFrame(
        {
            "hatch": [f"H{i}" for i in range(n)],
            "lot": "L",
            "hatch_pct": hatched / 4,
            "started": [t.isoformat() for t in starts],
            "nauplii": hatched,
            "umbrella": 0,
            "unhatched": 400 - hatched,
        }
    )
    worst = pd.DataFrame({"hatch": counts["hatch"], "quantity": "ph", "mean": rng.normal(8.2, 0.05, n)})
    row = site_effects(counts, worst, lot="L").set_index("quantity").loc[AGE]
    assert row["slope"] == pytest.approx(-0.006, abs=3 * row["se"]) and row["se"] < 0.001
    assert AGE not in set(site_effects(counts, worst)["quantity"])


def test_flags_of_photos_are_said_in_words():
    samples = pd.DataFrame({"sample": ["H1-1", "H1-2"], "counted_by": "photo"})
    photos = pd.DataFrame(
        {"photo": ["a.jpg", "b.jpg"], "sample": samples["sample"], "flags": ["unsure; few", "unsure"]}
    )
    finding = _flags(samples, photos)
    assert finding[:3] == ("photo flags", "2 of 2 photos: stages in doubt, too few animals", "doubtful")


def test_every_cause_is_planted_in_some_history():
    """A cause that no invented history holds was never looked for: practice plants it, or a world written apart."""
    apart = Path(__file__).resolve().parents[1] / "histories_apart"
    found = set(PLANTED)
    for judge in ("judge.py", "judge_blind.py"):
        for node in tree_of(apart / judge).body:
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "CODES":
                found |= {code for codes in ast.literal_eval(node.value).values() for code in codes}
    assert {c.code for c in CAUSES} - found == set()
