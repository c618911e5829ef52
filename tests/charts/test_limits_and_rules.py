"""Limits, rules and baselines: properties, messages, round trips."""

import json

import numpy as np
import pandas as pd
import pytest

from qckit import charts
from qckit.charts.capability import normal_tail_interval, share_below
from qckit.charts.change_point import _argmax_quantile
from qckit.errors import InputError


def days(n, first="2026-01-01"):
    return pd.date_range(first, periods=n, freq="D", tz="UTC")


def normal_points(rng, n, mean=10.0, sd=1.0):
    return pd.DataFrame({"label": [f"h{i + 1}" for i in range(n)], "at": days(n), "value": rng.normal(mean, sd, n)})


def raised(text, call):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == text


def test_limits_step_with_the_sizes():
    frame = charts.laney_p_chart([40, 80, 35, 83], [50, 100, 50, 100])
    wide, narrow = frame["high"] - frame["low"], None
    narrow = wide[1]
    assert wide[0] == wide[2] > narrow == wide[3]


def test_percent_is_a_hundred_times_the_share():
    share = charts.p_chart([40, 80, 35], 100)
    pct = charts.p_chart([40, 80, 35], 100, per=100)
    assert pct[["value", "low", "high"]].to_numpy() == pytest.approx(100 * share[["value", "low", "high"]].to_numpy())
    assert pct["z"].tolist() == share["z"].tolist()


def test_log_limits_are_ratios():
    frame = charts.individuals_chart([100, 200, 100, 200, 150], log=True)
    assert frame["high"][0] / frame["centre"][0] == pytest.approx(frame["centre"][0] / frame["low"][0])


@pytest.mark.parametrize("mean, n", [(0.02, 200), (0.5, 30)])
def test_exact_limits_leave_at_most_half_alpha_on_each_side(mean, n):
    from scipy import stats

    frame = charts.exact_p_chart([round(mean * n)], n, centre=mean)
    low, high = round(frame["low"][0] * n), round(frame["high"][0] * n)
    assert stats.binom.cdf(low - 1, n, mean) <= 0.00135 < stats.binom.cdf(low, n, mean) or low == 0
    assert stats.binom.sf(high, n, mean) <= 0.00135 < stats.binom.sf(high - 1, n, mean)


def test_exact_limits_widen_with_the_spread_between_hatches():
    plain = charts.exact_u_chart([4, 6, 5], dispersion=1)
    spread = charts.exact_u_chart([4, 6, 5], dispersion=2)
    assert spread["high"][0] > plain["high"][0]
    assert (
        charts.exact_p_chart([5], 50, centre=0.1, rho=0.05)["high"][0]
        > charts.exact_p_chart([5], 50, centre=0.1)["high"][0]
    )


def test_messages_of_wrong_input():
    raised(
        "points, 2: count is 7 of 5, and a part cannot exceed its whole. Correct one of them.",
        lambda: charts.p_chart([3, 7], [5, 5]),
    )
    raised("points, 1: count is -3, and it cannot be negative. Correct it.", lambda: charts.u_chart([-3, 7]))
    raised(
        "points: 1 usable point, and limits need at least two (20 to 40 make a fair baseline). Widen the period, or "
        "wait for more hatches.",
        lambda: charts.individuals_chart([1.0]),
    )
    raised(
        "points: all 3 points are alike, so there is no spread to set limits from. Check that the values were not "
        "copied down the column.",
        lambda: charts.individuals_chart([5, 5, 5]),
    )
    raised(
        "points: all 3 points are 0, so there is no spread to set limits from. Check that this was counted.",
        lambda: charts.laney_p_chart([0, 0, 0], 50),
    )
    raised(
        "points, 2: value is 0, and a log scale needs values above 0. Leave it empty if it was not measured, or chart "
        "individuals instead.",
        lambda: charts.individuals_chart([5, 0, 5], log=True),
    )
    raised(
        "points: a p chart needs the column size. Found: count.",
        lambda: charts.fit_limits(pd.DataFrame({"count": [1, 2]}), "p"),
    )
    raised(
        "weight is 2 and must lie above 0 and at most 1, such as 0.2. Correct it.",
        lambda: charts.ewma_chart([1], centre=0, sigma=1, weight=2),
    )
    raised(
        "slack is -1 and decision is 4: slack cannot be negative and decision must be above 0.",
        lambda: charts.cusum_chart([1], target=0, slack=-1, decision=4),
    )
    raised(
        "rules: no rule was given, and a chart without rules never signals. Name at least one.",
        lambda: charts.run_length([]),
    )
    with pytest.raises(InputError, match=r"unknown rule 'beyond_4'\. Did you mean 'beyond_3'\?"):
        charts.run_length(["beyond_4"])


def test_runs_end_where_the_lot_changes_and_pass_over_what_is_missing():
    z = pd.DataFrame({"value": [1.0] * 5 + [np.nan] + [1.0] * 6, "group": ["a"] * 8 + ["b"] * 4})
    limits = charts.Limits("individuals", 0.0, 1.0, 10_000)
    chart = charts.apply_limits(limits, z)
    assert not len(charts.find_signals(chart, ["eight_one_side"]))
    one = charts.apply_limits(limits, z.assign(group="a"))
    assert charts.find_signals(one, ["eight_one_side"])["point"].tolist() == [9, 10, 11, 12]


def test_points_set_aside_give_no_signal():
    limits = charts.Limits("individuals", 0.0, 1.0, 10_000)
    chart = charts.apply_limits(limits, pd.DataFrame({"value": [0.0, 9.0]}), phase=["", "set aside"])
    assert not len(charts.find_signals(chart))


def test_empty_signals_keep_their_columns():
    chart = charts.apply_limits(charts.Limits("individuals", 0.0, 1.0, 99), pd.DataFrame({"value": [0.1, -0.1]}))
    assert list(charts.find_signals(chart).columns) == [
        "point",
        "label",
        "at",
        "group",
        "rule",
        "test",
        "sees",
        "side",
        "first_point",
        "value",
        "centre",
    ]


def test_baseline_is_frozen_and_read_back():
    rng = np.random.default_rng(1)
    points = normal_points(rng, 26)
    points.loc[4, "value"] = 25
    base = charts.set_baseline(points, "individuals", set_aside={"h5": "heater off"})
    assert base.limits.n_points == 25 and base.limits.width > 3.4
    assert base.chart.loc[4, "phase"] == "set aside"
    assert base.set_aside[0]["reason"] == "heater off"
    row = charts.freeze(base, name="b1", chart="temperature_c", set_by="op1", set_at="2026-02-01T08:00:00+00:00")
    assert json.loads(row["set_aside"][0])[0]["label"] == "h5"
    limits, stored = charts.stored_limits(row, chart="temperature_c", lot="K-121")
    assert limits == base.limits and stored["set_by"] == "op1"
    assert charts.stored_limits(row, chart="ph") is None
    early = charts.stored_limits(row, chart="temperature_c", before="2026-01-01T00:00:00+00:00")
    assert early is None


def test_a_later_baseline_and_one_of_the_lot_come_first():
    rng = np.random.default_rng(2)
    base = charts.set_baseline(normal_points(rng, 25), "individuals")

    def row(name, lot, at):
        return charts.freeze(base, name=name, chart="ph", lot=lot, set_by="op1", set_at=at)

    rows = pd.concat(
        [
            row("all", "", "2026-03-01T08:00:00+00:00"),
            row("old", "K-121", "2026-01-01T08:00:00+00:00"),
            row("new", "K-121", "2026-02-01T08:00:00+00:00"),
        ]
    )
    assert charts.stored_limits(rows, chart="ph", lot="K-121")[1]["baseline"] == "new"
    assert charts.stored_limits(rows, chart="ph", lot="K-118")[1]["baseline"] == "all"


def test_setting_aside_needs_a_point_and_a_reason():
    points = normal_points(np.random.default_rng(1), 25)
    raised(
        "points: the point h3 is set aside without a reason. Say why in a few words, such as 'heater off overnight'.",
        lambda: charts.set_baseline(points, "individuals", set_aside={"h3": " "}),
    )
    with pytest.raises(InputError, match=r"points, points set aside: unknown point 'h99'\."):
        charts.set_baseline(points, "individuals", set_aside={"h99": "lost"})


def test_damaged_limits_are_told():
    with pytest.raises(InputError) as error:
        charts.Limits.from_json("{not json")
    assert str(error.value).startswith("baselines: the stored limits cannot be read (")
    assert str(error.value).endswith("Set the baseline again from its hatches.")


def test_reach_vanishes_with_a_long_baseline():
    assert charts.rule_reach(("beyond_3",), 10_000, 6000.0) == {}
    near = charts.rule_reach(("beyond_3", "nine_one_side"), 1500, 900.0)
    assert near["beyond_3"]["k"] == pytest.approx(3, abs=0.01)


def test_markov_chain_agrees_with_simulation():
    rules = ("beyond_3", "four_of_five_beyond_1", "eight_beyond_1")
    exact = charts.run_length(rules, shift=0.7).mean
    rng = np.random.default_rng(4)
    lengths = []
    for _ in range(3000):
        z = rng.normal(0.7, 1, 400)
        lengths.append(
            min(np.flatnonzero(charts.find_rule(z, r))[0] for r in rules if charts.find_rule(z, r).any()) + 1
        )
    assert np.mean(lengths) == pytest.approx(exact, abs=4 * np.std(lengths) / np.sqrt(3000))


def test_argmax_quantile_is_the_published_one():
    # Bai 1997: 97.5 % point of the place of the maximum is 11.03 (7.69 at 95 %)
    assert _argmax_quantile(0.975, 1.0) == pytest.approx(11.03, abs=0.01)
    assert _argmax_quantile(0.95, 1.0) == pytest.approx(7.69, abs=0.01)


@pytest.mark.parametrize("n, at, step", [(80, 40, 1.2), (40, 20, 1.5), (25, 12, 2.0), (40, 8, 1.2), (80, 12, 1.0)])
def test_interval_of_a_change_holds_the_true_date_as_often_as_stated(n, at, step):
    rng = np.random.default_rng(6)
    held = tried = 0
    for _ in range(400):
        y = rng.normal(0, 1, n) + np.where(np.arange(n) < at, 0.0, step)
        found = charts.find_changes(y, most=1, shortest=3)
        if found.n_changes:  # judged as it is used: only where a change is told
            change = found.changes[0]
            tried += 1
            held += change.low <= at <= change.high
    assert tried > 150
    assert held / tried > 0.95 - 2 * np.sqrt(0.95 * 0.05 / tried)


def test_intervals_of_two_changes_hold_both_dates():
    rng = np.random.default_rng(16)
    held = []
    for _ in range(150):
        y = rng.normal(0, 1, 90) + np.repeat([0.0, 2.0, 0.5], 30)
        found = charts.find_changes(y, n_changes=2)
        held += [c.low <= true <= c.high for c, true in zip(found.changes, (30, 60), strict=True)]
    assert np.mean(held) > 0.92


def test_weights_count_as_so_many_points():
    y = np.array([0.0, 0.3, -0.2, 0.1, 1.2, 0.9, 1.1, 1.0])
    change = charts.find_changes(y, weights=[1, 1, 1, 1, 50, 50, 50, 50], n_changes=1, shortest=2).changes[0]
    assert change.last_before == 4 and change.low <= 4 <= change.high


def test_unknown_interval():
    with pytest.raises(InputError, match=r"unknown interval 'bayes'\."):
        charts.find_changes(np.arange(9.0), interval="bayes")


def test_no_change_is_found_in_noise():
    rng = np.random.default_rng(7)
    found = sum(charts.find_changes(rng.normal(0, 1, 60)).n_changes > 0 for _ in range(200))
    assert found < 20


def test_change_point_messages():
    raised(
        "values: 4 points are too few to look for a change. Wait until there are six.",
        lambda: charts.find_changes([1, 2, 3, 4]),
    )
    raised(
        "values: a change is looked for in a series without gaps. Leave missing points out first.",
        lambda: charts.find_changes([1, 2, 3, np.nan, 4, 5]),
    )


def test_tail_interval_gives_published_tolerance_factors():
    # one-sided tolerance factors, 95 % confidence, 95 % content: n = 10 2.911, n = 20 2.396, n = 50 2.065
    # (Natrella 1963, NBS Handbook 91, table A-7; from memory)
    for n, factor in ((10, 2.911), (20, 2.396), (50, 2.065)):
        assert normal_tail_interval(-factor, n, confidence=0.90)[1] == pytest.approx(0.05, abs=2e-4)


def test_share_below_counts_and_covers():
    rng = np.random.default_rng(9)
    held = 0
    logit = np.log(0.82 / 0.18)
    from scipy.special import expit, ndtr

    truth = 100 * ndtr((np.log(0.75 / 0.25) - logit) / 0.3)
    for _ in range(300):
        y = 100 * expit(rng.normal(logit, 0.3, 40))
        found = share_below(y, 75)
        assert found.n_below == (y < 75).sum()
        held += found.share_pct_low <= truth <= found.share_pct_high
    assert held / 300 == pytest.approx(0.95, abs=0.035)


def test_too_few_hatches_have_no_share():
    found = share_below([80, 81], 75)
    assert np.isnan(found.share_pct)
    assert found.sentence == "2 hatches are too few to expect a share below 75 %."
    assert charts.share_below([80.0], 75).sentence == "1 hatch is too few to expect a share below 75 %."


def test_hatches_that_are_all_alike_have_a_share_and_no_interval():
    found = share_below([100.0] * 10, 75)
    assert found.sentence == "0.0 % of hatches are to be expected below the site's minimum of 75 %; 0 of 10 were."
