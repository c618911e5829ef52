"""Plan, uncertainty budget, ageing, purity: against simulation, properties, plots."""

import math

import numpy as np
import pandas as pd
import pytest
from simulated_cones import draw_cones

from qckit import hatch
from qckit.errors import InputError
from qckit.hatch.planning.precision import half_width_pct
from qckit.settings import MeasureSettings
from qckit.tables import check_table


def cones(counts=(700, 660, 720), lot="L", day=1, month=1, n=840):
    return pd.DataFrame(
        [
            {
                "hatch": f"{month}-{day}-{i}",
                "lot": lot,
                "cone": "ABCDEF"[i],
                "purpose": "standard test",
                "started": f"2026-{month:02d}-{day:02d}T09:00:00+00:00",
                "nauplii": float(x),
                "full_cysts": float(n),
                "factor_per_g": 2000 / 6,
                "cysts_g": 1.6,
                "hatch_pct": 100 * x / n,
                "hatching_efficiency_per_g": x * 2000 / 6,
            }
            for i, x in enumerate(counts)
        ]
    )


def test_planned_width_is_what_simulation_gives():
    spread = hatch.Spread(rho=0.004, cv=0.08, df=1e6)
    rng = np.random.default_rng(3)
    drawn = draw_cones(4, 0.8, 0.004, 840, rng=rng, runs=4000) / 840
    found = [hatch.proportion_over_cones(840 * row, [840] * 4, spread=spread) for row in drawn[:1000]]
    width = half_width_pct(4, 6, hatch_pct=80, cysts_per_subsample=140, spread=spread)
    assert width == pytest.approx(50 * np.mean([f.high - f.low for f in found]), rel=0.05)


def test_more_of_anything_is_narrower():
    widths = [[half_width_pct(k, m) for m in (1, 3, 6, 12)] for k in (2, 3, 4, 6)]
    assert np.all(np.diff(widths, axis=0) < 0) and np.all(np.diff(widths, axis=1) < 0)
    assert half_width_pct(1, 6) == math.inf


def test_plan_for_precision():
    plan = hatch.plan_for_precision(4.0)
    assert plan.half_width_pct <= 4.0 and half_width_pct(plan.n_cones - 1, 12) > 4.0
    assert plan.sentence.startswith(f"{plan.n_cones} cones with {plan.n_subsamples} subsamples each give ± ")
    with pytest.raises(InputError) as error:
        hatch.plan_for_precision(0.1)
    assert str(error.value).startswith(
        "No plan up to 12 cones of 12 subsamples reaches ± 0.1 points; the largest gives"
    )


def test_operating_curve_is_what_simulation_gives():
    spread, rng = hatch.Spread(rho=0.004, cv=0.08, df=1e6), np.random.default_rng(6)
    for truth in (72, 75, 78):
        drawn = draw_cones(3, truth / 100, 0.004, 840, rng=rng, runs=4000).mean(axis=1) / 840
        found = hatch.operating_curve(3, 6, min_hatch_pct=75, hatch_pct=[truth], spread=spread)["accept_prob"][0]
        assert found == pytest.approx((drawn >= 0.75).mean(), abs=0.03)


def test_lower_bound_rule_is_stricter_and_accepts_a_lot_at_the_minimum_in_2_5_of_100():
    mean, strict = (hatch.operating_curve(3, 6, hatch_pct=[75, 85], confidence=c) for c in (None, 0.95))
    assert mean["accept_prob"][0] == pytest.approx(0.5) and strict["accept_prob"][0] == pytest.approx(0.025, abs=5e-5)
    assert strict["accept_prob"][1] < mean["accept_prob"][1]


def test_plan_for_risk():
    assert hatch.plan_for_risk(50, 95, n_subsamples=6)["sentence"] == (
        "One cone of 6 subsamples accepts a lot of 50 % with probability 0.00 and one of 95 % with 1.00."
    )
    plan = hatch.plan_for_risk(70, 80)
    assert plan["accept_bad"] <= 0.1 and plan["accept_good"] >= 0.9
    with pytest.raises(InputError) as error:
        hatch.plan_for_risk(80, 70)
    assert str(error.value) == "The line of 75 % must lie between the bad lot (80 %) and the good one (70 %)."


def test_curve_plot():
    import matplotlib.pyplot as plt

    curves = {f"{k} cones": hatch.operating_curve(k, 6) for k in (2, 3, 6)}
    ax = hatch.draw_operating_curve(curves, min_hatch_pct=75)
    assert [t.get_text() for t in ax.get_legend().get_texts()] == list(curves)
    assert ax.get_xlabel() == "true hatching percentage of the lot [%]"
    plt.close(ax.figure)


@pytest.mark.parametrize("counts", [(700, 660, 720), (700, 701), (640, 700, 720, 660, 690, 710)])
def test_first_order_and_monte_carlo_agree(counts):
    budget = hatch.efficiency_budget(cones(counts), MeasureSettings(), detection=0.97, detection_u=0.01)
    # one degree of freedom has tails that no first order reaches: bounds 70 % apart agree to 2.5 %
    assert budget.agreement_pct < (1.0 if len(counts) > 2 else 2.5)
    assert budget.table["share_pct"].sum() == pytest.approx(100)
    assert budget.value == pytest.approx(np.mean(counts) * 2000 / 6 / 0.97)


@pytest.mark.parametrize("counts", [(700, 660, 720), (800, 790, 810, 806)])
def test_first_order_and_monte_carlo_agree_for_the_percentage(counts):
    found = hatch.percentage_budget(cones(counts), detection={"nauplius": (0.98, 0.01), "cyst": (0.95, 0.03)})
    assert found.agreement_pct < 1.0
    assert found.low < found.value < found.high <= 100
    assert set(found.table["source"]) == {"cones", "counting", "detection", "detection_cyst"}
    assert found.table["share_pct"].sum() == pytest.approx(100)


def harvests(rows):
    return pd.DataFrame(
        [
            {
                "sample": f"S{i}",
                "hatch": f"H{i}",
                "kind": "sieve",
                "nauplii": n,
                "umbrella": 0.0,
                "cysts": c,
                "shells": s,
            }
            for i, (n, c, s) in enumerate(rows)
        ]
    )


def test_first_order_and_monte_carlo_agree_for_what_follows_from_the_counts():
    found = {
        "output": hatch.output_budget(cones((700, 660, 720)), 2.42, MeasureSettings()),
        "purity": hatch.purity_budget(harvests([(480, 9, 12), (510, 7, 15), (450, 11, 9)])),
        "separation": hatch.separation_budget((500, 550), (1000, 60)),
        "recovery": hatch.recovery_budget([210, 190, 205, 200], 4000, cones((700, 660, 720)), 4.5),
    }
    for name, budget in found.items():
        assert budget.low < budget.value < budget.high, name
        assert budget.agreement_pct < 1.5, name
        assert budget.table["share_pct"].sum() == pytest.approx(100), name
        assert budget.sentence.startswith("Largest source: "), name
    per_g = np.mean([700, 660, 720]) * 2000 / 6
    assert found["output"].value == pytest.approx(per_g * 0.00242)
    assert found["recovery"].value == pytest.approx(100 * 201.25 * 4000 / (per_g * 4.5))
    assert found["separation"].table["source"][0] == "sieve_waste"
    assert found["purity"].value == pytest.approx(np.mean([100 * 480 / 501, 100 * 510 / 532, 100 * 450 / 470]))


def test_budgets_agree_with_the_intervals_given_elsewhere():
    apart = hatch.separation((500, 550), (1000, 60))
    budget = hatch.separation_budget((500, 550), (1000, 60))
    assert (budget.low, budget.high) == pytest.approx((apart.low, apart.high), abs=0.05)
    plain = hatch.efficiency_budget(cones(), MeasureSettings())
    output = hatch.output_budget(cones(), 2.0, MeasureSettings(dry_weight_u_pct=0.0))
    assert (output.low, output.high) == pytest.approx((plain.low * 0.002, plain.high * 0.002))


def test_budgets_refuse_what_cannot_be_known():
    with pytest.raises(InputError) as error:
        hatch.purity_budget(harvests([(480, 9, 12)]))
    assert str(error.value) == (
        "1 harvests with a sieve sample were given; a budget of purity needs two or more, because one harvest cannot "
        "show how much they differ."
    )
    with pytest.raises(InputError) as error:
        hatch.output_budget(cones(), None)
    assert str(error.value) == "dry_weight_ug is None and must be above 0 µg. Write it into the lot's row."
    with pytest.raises(InputError) as error:
        hatch.separation_budget((0, 10), (5, 5))
    assert str(error.value) == (
        "0 nauplii and 10 shells and cysts in the cone, 5 nauplii on the sieve: a separation needs all three above 0."
    )
    with pytest.raises(InputError) as error:
        hatch.recovery_budget([5], 100, cones(), 4.5)
    assert str(error.value) == (
        "1 subsamples of the harvest with 5 nauplii were given; a budget of recovery needs two or more with nauplii, "
        "because one cannot show how well it was mixed."
    )


def test_missed_cysts_raise_the_percentage_and_are_corrected():
    plain = hatch.percentage_budget(cones())
    fixed = hatch.percentage_budget(cones(), detection={"cyst": (0.8, 0.0)})
    assert fixed.value < plain.value == pytest.approx(100 * np.mean([700, 660, 720]) / 840)


def test_subsamples_that_differ_more_than_chance_ask_for_more():
    mixed = pd.DataFrame({"hatch": ["H"] * 4, "nauplii": [115, 116, 113, 114], "full_cysts": [140] * 4})
    clumped = mixed.assign(nauplii=[90, 135, 120, 100])
    assert hatch.subsample_dispersion(mixed) == 1.0
    factor = hatch.subsample_dispersion(clumped)
    assert factor > 5
    assert half_width_pct(3, 6, dispersion=factor) > half_width_pct(3, 6)


def test_the_budget_names_what_dominates():
    poor = MeasureSettings(subsample_volume_u_pct=12.0)
    budget = hatch.efficiency_budget(cones((700, 702, 698)), poor)
    assert budget.table["source"][0] == "subsample_volume"
    assert budget.sentence.startswith("Largest source: volume counted, 9")
    assert budget.sentence.endswith("Check pipette or chamber by weighing ten fillings of water.")
    import matplotlib.pyplot as plt

    ax = hatch.draw_budget(budget)
    assert ax.get_yticklabels()[-1].get_text() == "volume counted"
    plt.close(ax.figure)


def test_the_headline_interval_is_that_of_the_budget():
    table = cones().assign(
        umbrella=0.0,
        unhatched=lambda t: 840 - t.nauplii,
        shells=np.nan,
        **dict.fromkeys(["shell_whole", "shell_nauplii", "shell_opened"], np.nan),
        n_subsamples=6,
        notes=[()] * len(cones()),
        basis="cysts",
        output_mg_per_g=np.nan,
        hatching_efficiency_per_dry_g=np.nan,
    )
    lot, budget = hatch.summarise_cones(table, measure=MeasureSettings()), hatch.efficiency_budget(table)
    assert lot.hatching_efficiency_per_g.low == pytest.approx(budget.low, rel=0.01)
    assert lot.hatching_efficiency_per_g.high == pytest.approx(budget.high, rel=0.01)


def test_the_counters_own_uncertainty_widens_both_figures():
    table = cones().assign(
        umbrella=0.0,
        unhatched=lambda t: 840 - t.nauplii,
        shells=np.nan,
        **dict.fromkeys(["shell_whole", "shell_nauplii", "shell_opened"], np.nan),
        n_subsamples=6,
        notes=[()] * len(cones()),
        basis="cysts",
        output_mg_per_g=lambda t: t.hatching_efficiency_per_g * 0.0024,
        hatching_efficiency_per_dry_g=np.nan,
    )
    plain = hatch.summarise_cones(table)
    wide = hatch.summarise_cones(table, detection_u={"nauplius": 0.02, "cyst": 0.1})
    assert wide.hatch_pct.low < plain.hatch_pct.low and wide.hatch_pct.high > plain.hatch_pct.high
    assert wide.hatching_efficiency_per_g.low < plain.hatching_efficiency_per_g.low
    budget = hatch.percentage_budget(table, detection={"nauplius": (1, 0.02), "cyst": (1, 0.1)})
    # the budget is symmetric; the interval over cones reaches further away from 100 %, because cones are skewed there
    assert (wide.hatch_pct.low, wide.hatch_pct.high) == pytest.approx((budget.low, budget.high), abs=1.2)
    loose = hatch.summarise_cones(table, measure=MeasureSettings(dry_weight_u_pct=20.0)).output_mg_per_g
    tight = hatch.summarise_cones(table, measure=MeasureSettings(dry_weight_u_pct=0.0)).output_mg_per_g
    assert loose.high > tight.high and loose.value == tight.value


def test_a_budget_of_one_cone_is_refused():
    with pytest.raises(InputError) as error:
        hatch.efficiency_budget(cones((700,)))
    assert str(error.value) == (
        "1 cones with nauplii, volume and mass were given; a budget needs two or more, because one cone cannot show "
        "how much cones differ."
    )


def history(slope=-6.0, months=(1, 3, 5, 7, 9), seed=2):
    rng = np.random.default_rng(seed)
    return pd.concat(
        [cones([740 + slope * 8.4 / 2 * (m - 1) / 2 + rng.normal(0, 8) for _ in range(3)], month=m) for m in months],
        ignore_index=True,
    )


def test_a_falling_lot_gets_a_date_with_honest_width():
    trend = hatch.ageing_trend(history(), minimum=75)
    assert trend.slope_low < trend.slope_per_month < trend.slope_high < 0
    assert trend.crossing_low < trend.crossing
    assert trend.crossing_high is None or trend.crossing < trend.crossing_high
    assert trend.sentence.startswith("Hatching percentage changes by \u22121.")


def test_a_week_with_a_poor_hatch_in_it_tells_no_date():
    """It read: changes by -7 points per month (-218 to +203), falls under 75 % next month, perhaps not in 24."""
    days = [83.2, 85.0, 82.8, 27.6, 85.8, 83.6]
    cones = pd.DataFrame(
        {
            "hatch": [f"H{day}" for day in range(6)],
            "lot": "L-1",
            "started": [f"2026-11-{22 + day}T09:00:00+00:00" for day in range(6)],
            "hatch_pct": days,
        }
    )
    assert hatch.ageing_trend(cones, minimum=75).sentence == (
        "Hatching percentage: the days it was hatched on are too few, or too close together, to tell how it changes "
        "and when it falls under 75 %."
    )


def test_a_steady_lot_gets_no_date():
    trend = hatch.ageing_trend(history(slope=0.0), minimum=50)
    assert trend.crossing is None
    assert trend.slope_low < 0 < trend.slope_high


def test_efficiency_ages_on_the_log_scale_and_the_plot_shows_the_minimum():
    import matplotlib.pyplot as plt

    trend = hatch.ageing_trend(history(), metric="hatching_efficiency_per_g", minimum=200_000)
    assert trend.slope_unit == "% per month"
    ax = hatch.draw_ageing(trend)
    assert any("minimum 200\u202f000" in t.get_text() for t in ax.texts)
    plt.close(ax.figure)


def test_the_band_of_the_line_is_statsmodels():
    import statsmodels.api as sm

    trend = hatch.ageing_trend(history(), metric="hatching_efficiency_per_g", minimum=1)
    days = (trend.tests["day"] - trend.tests["day"].min()).dt.total_seconds() / 86400 / 30.4375
    fit = sm.OLS(np.log(trend.tests["value"]), sm.add_constant(days.to_numpy())).fit()
    low, high = fit.conf_int()[1] if isinstance(fit.conf_int(), np.ndarray) else fit.conf_int().iloc[1]
    assert (trend.slope_low, trend.slope_high) == pytest.approx((100 * math.expm1(low), 100 * math.expm1(high)))


def test_two_tests_make_no_trend():
    with pytest.raises(InputError) as error:
        hatch.ageing_trend(history(months=(1, 3)))
    assert str(error.value) == "The lot has 2 tests on different days; a trend needs three or more."


def sieve(**row):
    base = {"sample": "V", "hatch": "H", "taken": "2026-01-02T09:00:00Z", "kind": "sieve", "counted_by": "person"}
    return check_table(pd.DataFrame([{**base, **row}]), "samples")


def test_purity_and_shells_per_thousand():
    row = hatch.purity_of_samples(sieve(nauplii=950, umbrella=10, cysts=15, shells=25)).iloc[0]
    assert row["purity_pct"] == pytest.approx(95)
    assert row["shells_and_cysts_pct"] == pytest.approx(4)
    assert row["shells_per_1000_nauplii"] == pytest.approx(1000 * 25 / 950)
    empty = hatch.purity_of_samples(sieve(nauplii=0)).iloc[0]
    assert np.isnan(empty["purity_pct"])


def test_separation_removes_shells():
    found = hatch.separation((500, 550), (1000, 20))
    assert found.value == pytest.approx(100 * (1 - 0.02 / 1.1))
    assert found.low < found.value < found.high < 100
    assert hatch.separation((0, 0), (1, 1)).note == "Needs nauplii in both counts and waste in the cone."


def test_recovery_joins_both_intervals():
    made = hatch.rate_over_cones([700, 690, 705], [0.003] * 3)
    kept = hatch.rate_over_cones([560, 555, 570], [0.003] * 3)
    found = hatch.recovery(kept, made)
    assert found.value == pytest.approx(100 * 1685 / 2095)
    assert found.low < found.value < found.high
    with pytest.raises(InputError) as error:
        hatch.recovery(kept, hatch.Estimate(0.0))
    assert str(error.value) == "0 nauplii hatched, so no recovery can be worked out. Check the counts."


def test_site_spread_finds_what_was_put_in():
    rng = np.random.default_rng(9)
    rows = [
        cones(draw_cones(4, 0.8, 0.006, 840, rng=rng, runs=1)[0], day=1 + d % 28, month=1 + d // 28) for d in range(120)
    ]
    found = hatch.site_spread(pd.concat(rows, ignore_index=True))
    assert found.df == 360 and found.rho == pytest.approx(0.006, rel=0.25)
    assert hatch.site_spread(cones()) is None


def _slopes_covered(n, memory, unequal, runs=600):
    from qckit.hatch.lots.ageing import _line

    rng, hits = np.random.default_rng(5), 0
    for _ in range(runs):
        x, noise = np.sort(rng.uniform(0, 12, n)), rng.standard_normal(n)
        noise[0] /= math.sqrt(1 - memory**2)
        for j in range(1, n):
            noise[j] += memory * noise[j - 1]
        fit = _line(x, noise * (0.3 + 1.7 * x / 12 if unequal else 1) - 0.1 * x, 0.95)
        hits += abs(fit["slope"] + 0.1) <= fit["t"] * fit["se_slope"]
    return 100 * hits / runs


@pytest.mark.parametrize("memory, unequal", [(0.0, False), (0.0, True), (0.3, False), (0.3, True)])
def test_the_trend_of_many_days_allows_for_memory_and_unequal_scatter(memory, unequal):
    # 600 runs: two standard errors are 2 points
    assert 92 <= _slopes_covered(30, memory, unequal) <= 98.5


def test_the_trend_of_three_tests_is_students_and_says_so():
    assert 93 <= _slopes_covered(3, 0.0, False) <= 97.5
    few = hatch.ageing_trend(pd.concat([cones(day=1, month=m) for m in (1, 4, 7)]))
    assert few.note == (
        "With 3 tests, whether they scatter unequally or follow each other cannot be judged: the band is Student's, "
        "wide because the tests are few."
    )
    assert few.autocorrelation == 0 and few.lot == "L"


def test_days_that_follow_each_other_count_for_less():
    rng, days = np.random.default_rng(2), range(1, 25)
    drift = np.cumsum(rng.normal(0, 12, len(days)))
    rows = [cones(tuple(np.round(690 + d + rng.normal(0, 3, 2))), day=day) for day, d in zip(days, drift)]
    trend = hatch.ageing_trend(pd.concat(rows))
    assert trend.autocorrelation > 0.3
    assert trend.note.startswith("The band allows for days that scatter unequally (HC3)")


def test_a_lot_already_under_the_minimum_is_said_to_be_so():
    fallen = hatch.ageing_trend(
        pd.concat([cones((s, s + 6, s - 6), month=m) for m, s in ((1, 720), (3, 660), (5, 600), (7, 530), (9, 470))])
    )
    assert fallen.crossing < fallen.tests["day"].max()
    assert fallen.sentence.startswith("Hatching percentage changes by \u2212")
    assert "By the line it fell under 75 % about April 2026 (" in fallen.sentence


@pytest.mark.parametrize("starts", [(540, 580, 640, 700), (600, 560, 520, 470)])
def test_a_lot_that_began_under_the_minimum_did_not_fall_under_it(starts):
    tests = [cones((s, s + 6, s - 6), month=m) for m, s in zip((1, 3, 5, 7), starts, strict=True)]
    trend = hatch.ageing_trend(pd.concat(tests))
    assert trend.sentence.endswith("By the line it lay under 75 % at the first test already.")
    assert not any(t.get_text().startswith("Jan") for t in hatch.draw_ageing(trend).texts)


def test_a_slope_is_rounded_once():
    from qckit.hatch.lots.ageing import _sentence

    words = _sentence("hatch_pct", (-1.45, -14.2, 11.3), "points a month", (None,) * 3, 70.0, 24.0, 0.95, (None, None))
    assert words.startswith("Hatching percentage changes by \u22121 points a month (\u221214 to +11). ")
    words = _sentence("hatch_pct", (-0.04, -1.2, 1.1), "points a month", (None,) * 3, 70.0, 24.0, 0.95, (None, None))
    assert words.startswith("Hatching percentage changes by +0.0 points a month (\u22121.2 to +1.1). ")
