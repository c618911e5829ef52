"""The month's verdict on the invented history: planted changes found, dated, and not blamed on something else."""

import dataclasses
import json

import numpy as np
import pandas as pd
import pytest

from qckit.errors import InputError
from qckit.practice.events import event
from qckit.practice.history import invented_history
from qckit.settings import Settings
from qckit.verdicts.month.study import study_month
from qckit.verdicts.month.tables import baseline_rows, baseline_table, lots_table, raw_table, signal_rows, signal_table
from qckit.verdicts.month.verdict import VERDICTS, finding_of_month, main_lot, review_month
from qckit.words import noun

TABLES = ("lots", "hatches", "samples", "readings")


@pytest.fixture(scope="module")
def tables():
    history = invented_history()
    return [history[name] for name in TABLES]


@pytest.fixture(scope="module")
def studies(tables):
    kept = {}

    def study(month, **options):
        key = (month, *sorted(options))
        if key not in kept:
            kept[key] = study_month(*tables, month=month, settings=Settings(), **options)
        return kept[key]

    return study


def day(time):
    return time.date()


def test_heater_week_is_found_dated_and_told_with_its_temperature(studies):
    study = studies("2026-02")
    planted = event("heater week")
    assert len(study.shifts) == 1
    shift = study.shifts[0]
    assert shift.where == "all hatches" and shift.effect < -10
    assert day(shift.first_low) <= planted.first <= day(shift.first_high)
    assert day(shift.last_low) <= planted.last <= day(shift.last_high)
    assert not shift.is_ongoing
    assert [c["condition"] for c in shift.conditions] == ["temperature_c"]
    assert shift.conditions[0]["since"] == planted.first.isoformat()
    assert study.conditions["temperature_c"].signals["label"].nunique() == shift.n_hatches


def test_salinity_month_is_found_dated_and_told_with_its_salinity(studies):
    study = studies("2026-06")
    planted = event("salinity slip")
    shift = study.shifts[0]
    assert shift.where == "all hatches" and shift.effect < -4
    assert day(shift.first_low) <= planted.first <= day(shift.first_high)
    assert [c["condition"] for c in shift.conditions] == ["salinity_ppt"]
    assert shift.conditions[0]["since"] == planted.first.isoformat()
    # in the month after it is over and named as such
    after = finding_of_month(studies("2026-07"))
    assert after.verdict == "in-control"


def test_cone_c_is_found_dated_and_told_with_its_oxygen(studies):
    study = studies("2026-10")
    planted = event("cone C air")
    assert [s.where for s in study.shifts] == ["cone C"]
    shift = study.shifts[0]
    assert day(shift.first_low) <= planted.first <= day(shift.first_high)
    assert shift.is_ongoing and shift.rivals == ()
    assert [c["condition"] for c in shift.conditions] == ["oxygen_mg_l"]
    assert shift.conditions[0]["since"] == planted.first.isoformat()
    finding = finding_of_month(study)
    assert finding.verdict == "out-of-control"
    assert finding.headline.startswith("Not in control: hatches of cone C stand ")
    assert "oxygen" in finding.headline and "op1" not in finding.headline
    assert finding.next_steps[0] == (
        "Clean or change the air stone and measure the oxygen again before the next hatch (cone C)."
    )


def test_ageing_of_k_118_is_a_slope_and_k_121_has_none(studies):
    study = studies("2026-10")
    old, used = study.lots["K-118"].chart, study.lots["K-121"].chart
    assert old.drift.shape == "slope" and old.drift.slope_low < -1.3 and old.drift.slope_high < -1.2
    assert used.drift.shape == "level" and not used.limits.slope_per_day
    steps = finding_of_month(study).next_steps
    assert any(step.startswith("Use up K-118 soon or give it up: the level falls by") for step in steps)


def test_one_failed_hatch_is_a_signal_and_not_a_change(studies):
    study = studies("2026-11")
    # cone C is still poor from October; the hatch without buffer in cone B is a point of its own
    assert [s.where for s in study.shifts] == ["cone C"]
    finding = finding_of_month(study)
    assert any(
        step.startswith("Explain hatch H261105-B (")
        and step.endswith("qckit report poor-hatch H261105-B looks for its cause.")
        for step in finding.next_steps
    )
    low = study.signals[(study.signals["chart"] == "ph")]
    assert low["hatch"].tolist() == ["H261105-B"]


def test_counts_of_signals_say_of_which_charts_and_shares_of_which_hatches(studies):
    study = studies("2026-10")
    lot_of = study.series.set_index("hatch")["lot"]
    told = finding_of_month(study).evidence
    for line, (lot, m) in zip(told, study.lots.items(), strict=False):
        n_any = int((lot_of.reindex(study.signals["hatch"].unique()) == lot).sum())
        assert n_any > m.signals
        verb = noun(m.signals, "signals", "signal")
        assert line.answer.startswith(f"{lot}: {m.signals} of its hatches {verb} in the hatching percentage (")
        assert f"), {n_any} in all charts together; proposed" in line.answer
    below = [e.answer for e in told if e.question.startswith("How often will K-1")]
    assert below[0].endswith(
        "of the counted hatches of the 60 days up to 2026-10-31 under the standard conditions and outside any change "
        "told above; each moved along the slope to 2026-10-31."
    )
    assert below[1].endswith("under the standard conditions and outside any change told above.")


def test_a_hatch_of_another_cone_is_no_part_of_a_change_of_one_cone(studies):
    study = studies("2026-10")
    assert [s.where for s in study.shifts] == ["cone C"]
    cone = study.series.set_index("hatch")["cone"]
    others = study.signals[study.signals["hatch"].map(cone) != "C"]
    assert len(others) and not others["in_shift"].any()
    steps = [step for step in finding_of_month(study).next_steps if step.startswith("Explain hatch")]
    assert [step.split()[2] for step in steps] == list(dict.fromkeys(others["hatch"]))
    assert any(
        step.startswith("Explain hatch H261017-D (hatching efficiency 1") and " nauplii/g, two" in step
        for step in steps
    )


def test_young_ageing_is_offered_beside_a_step(studies):
    finding = finding_of_month(studies("2025-11"))
    assert "an even ageing of K-118" in finding.headline
    assert finding.next_steps[0].startswith("Hatch another lot or a fresh pack beside it: an even ageing of K-118 (")


def test_runs_that_began_in_the_heater_week_are_its_echo_and_not_to_be_explained_one_by_one(studies):
    study = studies("2026-02")
    runs = study.signals[(study.signals["chart"] == "hatch_pct") & (study.signals["rule"] == "nine_one_side")]
    after = runs[~runs["hatch"].isin(study.shifts[0].labels) & (runs["side"] == "below")]
    assert len(after) and after["in_shift"].all()
    explain = [step for step in finding_of_month(study).next_steps if step.startswith("Explain hatch")]
    assert not any("on one side" in step for step in explain)


def test_feed_at_risk_only_while_a_change_goes_on(studies):
    assert studies("2026-02").feed_days_at_risk == 0 and studies("2026-08").feed_days_at_risk == 0
    october = studies("2026-10")
    assert october.feed_days_at_risk > october.feed_days_lost > 0


@pytest.mark.parametrize("month", ["2025-10", "2025-12", "2026-01", "2026-04", "2026-05", "2026-08", "2026-09"])
def test_quiet_months_tell_no_change(studies, month):
    study = studies(month)
    assert study.shifts == []
    # three rules signal by chance about once in 159 hatches: at most two in a month of 50
    assert sum(m.signals for m in study.lots.values()) <= 2


def test_finding_is_plain_and_complete(studies):
    finding = finding_of_month(studies("2026-10"))
    text = json.dumps(finding.to_dict(), allow_nan=False)
    assert json.loads(text)["details"]["tone"] == "bad"
    assert finding.verdict in VERDICTS
    names = [f.name for f in finding.figures]
    assert names == ["hatch_pct", "nauplii_per_g", "share_below_minimum", "feed_days_lost", "dose_g"]
    pct = finding.figures[0]
    assert pct.low < pct.value < pct.high
    lost = finding.figures[3]
    assert 0.1 < lost.value < 2


def test_feed_lost_is_what_the_hatches_fell_short_of(studies):
    study = studies("2026-02")
    touched = study.series[study.series["hatch"].isin(study.shifts[0].labels)]
    chart = study.charts[("K-118", "hatching_efficiency_per_g")].frame.set_index("label")["centre"]
    short = (touched["hatch"].map(chart) - touched["hatching_efficiency_per_g"]) * touched["cysts_g"]
    assert study.feed_lost == pytest.approx(short.sum() * 0.85)
    assert study.feed_days_lost == pytest.approx(study.feed_lost / 10e6)


def test_frozen_baseline_is_used_as_it_stands(tables, studies):
    rows = baseline_rows(studies("2026-08"), set_by="op1", set_at="2026-09-01T08:00:00+00:00")
    assert set(rows["chart"]) >= {"hatch_pct", "umbrella_pct", "oxygen_mg_l"}
    study = study_month(*tables, month="2026-10", settings=Settings(), baselines=rows)
    chart = study.charts[("K-121", "hatch_pct")]
    assert chart.is_frozen and "frozen by op1 on 2026-09-01" in chart.baseline_words
    assert chart.limits == studies("2026-08").charts[("K-121", "hatch_pct")].limits
    assert [s.where for s in study.shifts] == ["cone C"]
    assert not len(baseline_rows(study, set_by="op1", set_at="2026-11-01T08:00:00+00:00"))


def test_signals_are_recorded_and_their_explanation_comes_back(tables, studies):
    study = studies("2026-10")
    rows = signal_rows(study, found_at="2026-11-01T08:00:00+00:00")
    assert rows["signal"].is_unique and (rows["state"] == "open").all()
    rows.loc[rows["hatch"] == "H261023-C", ["state", "by", "note"]] = ["explained", "op2", "air stone blocked"]
    again = study_month(*tables, month="2026-10", settings=Settings(), signals=rows)
    table = signal_table(again).set_index("hatch")
    assert table.loc["H261023-C", ["state", "by", "note"]].tolist() == ["explained", "op2", "air stone blocked"]
    assert table.loc["H261027-C", "state"] == "open"
    assert "[1" in table.loc["H261023-C", "what"]


def test_one_lot_only(tables, studies):
    finding = review_month(*tables, month="2026-10", settings=Settings(), lot="K-121")
    assert finding.subject == "2026-10 K-121"
    assert [m["lot"] for m in finding.details["lots"]] == ["K-121"]
    assert main_lot(studies("2026-10")) == "K-121"


def test_timed_hatches_are_charted_whatever_their_purpose(studies):
    chart = studies("2026-10").charts[("K-121", "t90_h")]
    assert 7 <= len(chart.frame) <= 12
    assert chart.frame["value"].between(16, 30).all()
    assert chart.limits is None and "usable hatches: no limits can be set yet" in chart.baseline_words


def test_cysts_used_and_their_cost(studies):
    study = studies("2026-10")
    m = study.lots["K-121"]
    used = study.series.loc[study.series["lot"] == "K-121", "cysts_g"].sum()
    assert m.cysts_g == pytest.approx(used) and m.cost == pytest.approx(used * 64 / 500)


def test_any_period(tables, studies):
    study = study_month(*tables, month="2026-09-16..2026-10-15", settings=Settings())
    assert study.first == pd.Timestamp("2026-09-16", tz="UTC") and study.last == pd.Timestamp("2026-10-16", tz="UTC")
    assert set(study.comparison["period"]) == {"this period", "period before", "a year before"}
    long = study_month(*tables, month="2026-09..2026-10", settings=Settings())
    assert len(long.series) == len(studies("2026-09").series) + len(studies("2026-10").series)
    assert [s.where for s in long.shifts] == ["cone C"]


def test_tables_for_reading(studies):
    study = studies("2026-10")
    assert lots_table(study)["lot"].tolist() == ["K-118", "K-121"]
    assert len(raw_table(study)) == 47
    assert set(baseline_table(study)["slope"]) == {"level", "sloped"}
    periods = study.comparison.groupby("period")["n_hatches"].max()
    assert set(periods.index) == {"this month", "month before", "a year before"}
    quality = study.quality.set_index("finding")["count"]
    assert quality["hatches without shells counted"] > 0
    assert any("investigation" in text for text in study.left_out)


def test_later_hatches_do_not_change_an_earlier_month(tables, studies):
    cut = [t.copy() for t in tables]
    early = cut[1]["started"] < "2026-07-01"
    cut[1] = cut[1][early].reset_index(drop=True)
    cut[2] = cut[2][cut[2]["hatch"].isin(cut[1]["hatch"])].reset_index(drop=True)
    cut[3] = cut[3][cut[3]["hatch"].isin(cut[1]["hatch"])].reset_index(drop=True)
    cut_finding = review_month(*cut, month="2026-06", settings=Settings())
    assert cut_finding.to_dict() == finding_of_month(studies("2026-06")).to_dict()


def test_order_of_rows_does_not_matter(tables):
    mixed = [t.sample(frac=1, random_state=3) for t in tables]
    a = review_month(*mixed, month="2026-10", settings=Settings())
    b = review_month(*tables, month="2026-10", settings=Settings())
    assert a.headline == b.headline and a.figures == b.figures


def raised(text, call):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == text


def test_messages(tables):
    def review(month, **options):
        return lambda: review_month(*tables, month=month, settings=Settings(), **options)

    for wrong in ("October", "2026-13", "2026-10-01", "2026-10..", "2026-10..2026-11..2026-12"):
        raised(
            f"month is '{wrong}' and must be written YYYY-MM, such as 2026-10, or as a period, such as "
            "2026-09-15..2026-10-14. Correct it.",
            review(wrong),
        )
    raised(
        "month is '2026-10..2026-08', and that period ends before it begins. Swap the two days.",
        review("2026-10..2026-08"),
    )
    raised(
        "2027-05: no production hatch was started in that month. The log holds 2025-09 to 2026-11 up to then. Choose "
        "another month.",
        review("2027-05"),
    )
    raised("hatches: unknown lot 'K-112'. Did you mean 'K-121'? Known: K-118, K-121.", review("2026-10", lot="K-112"))
    empty = [tables[0], tables[1].head(0), tables[2].head(0), tables[3].head(0)]
    raised(
        "2026-10: no production hatch is in the log. Import the field sheets first.",
        lambda: review_month(*empty, month="2026-10", settings=Settings()),
    )


def test_site_chooses_its_rules(tables):
    def with_rules(text):
        return dataclasses.replace(Settings(), charts=dataclasses.replace(Settings().charts, rules=text))

    study = study_month(*tables, month="2026-10", settings=with_rules("beyond_3"))
    assert set(study.signals["rule"]) == {"beyond_3"}
    assert study.charts[("K-121", "hatch_pct")].run.sentence == "chance alone signals about once in 370 hatches"
    raised(
        "qckit.toml, section [charts]: rules is empty. Name at least one, such as beyond_3.",
        lambda: study_month(*tables, month="2026-10", settings=with_rules(" ")),
    )
    with pytest.raises(InputError, match=r"qckit\.toml, section \[charts\], rules: unknown rule 'beyond_4'\."):
        study_month(*tables, month="2026-10", settings=with_rules("beyond_4"))


def test_few_hatches_are_not_judged(tables):
    few = tables[1][tables[1]["hatch"].str.startswith("H250908") | tables[1]["hatch"].str.startswith("H250909")]
    own = tables[2][tables[2]["hatch"].isin(few["hatch"])]
    finding = review_month(tables[0], few, own, None, month="2025-09", settings=Settings())
    assert finding.verdict == "not-enough-evidence"
    assert finding.headline == "There are too few hatches to set limits, so the month cannot be judged yet."
    json.dumps(finding.to_dict(), allow_nan=False)


def test_figures_name_the_hatches_counted_and_stay_possible(tables):
    lots, hatches, samples, _ = tables
    few = hatches[hatches["purpose"] == "production"].iloc[:4]
    own = samples[samples["hatch"].isin(few["hatch"])]
    two = own[own["hatch"].isin(few["hatch"].iloc[:2])]
    pct, per_g = review_month(lots, few, two, None, month="2025-09", settings=Settings()).figures[:2]
    assert pct.note == "mean of 2 of 4 hatches (the others are not counted in full)" and 0 <= pct.low <= pct.high <= 100
    assert per_g.note == f"{pct.note}: too few for an interval" and np.isnan(per_g.low) and per_g.value > 0
    finding = review_month(lots, few, own, None, month="2025-09", settings=Settings())
    assert finding.figures[1].note == "mean of 4 hatches" and finding.figures[1].low > 0
    said = review_month(lots, few, two, None, month="2025-09", settings=Settings()).evidence[0].answer
    assert "4 hatches, 2 counted;" in said


def test_a_hatch_counted_in_part_is_named_with_what_is_missing(tables):
    lots, hatches, samples, _ = tables
    august = hatches.loc[hatches["started"].str.startswith("2026-08") & (hatches["purpose"] == "production"), "hatch"]
    mine = samples[samples["hatch"].isin(august) & (samples["kind"] == "subsample")]
    mine = mine[mine["hatch"] == mine["hatch"].iloc[0]]
    hatch = mine["hatch"].iloc[0]
    part = samples.assign(cysts=samples["cysts"].mask(samples.index.isin(mine.index)))
    finding = review_month(lots, hatches, part, None, month="2026-08", settings=Settings())
    assert finding.left_out[-2:] == [
        f"1 hatch without a usable count: {hatch}.",
        f"{hatch}: Neither embryos nor unhatched cysts were counted, so the hatching percentage is not known.",
    ]


def test_a_lot_without_label_data_and_a_hatch_without_count(tables):
    lots, hatches, samples, _ = tables
    gone = samples[samples["hatch"] != "H260801-A"]
    finding = review_month(lots.head(0), hatches, gone, None, month="2026-08", settings=Settings())
    assert finding.verdict == "in-control"


def test_copied_conditions_and_counts_of_zero_do_not_stop_the_review(tables):
    lots, hatches, samples, readings = tables
    same = hatches.assign(light_lux=2000.0)
    none = samples.assign(shells=samples["shells"] * 0)
    own = readings[readings["quantity"] != "light"]
    study = study_month(lots, same, none, own, month="2026-08", settings=Settings())
    assert study.conditions["light_lux"].baseline_words == (
        "no limits: all 60 points are alike, so there is no spread to set limits from. Check that the values were not "
        "copied down the column."
    )
    assert study.charts[("K-121", "opened_pct")].limits is None
    assert finding_of_month(study).verdict == "in-control"


def test_an_uncounted_lot_is_not_called_in_control(tables):
    lots, hatches, samples, readings = tables
    own = hatches.loc[(hatches["lot"] == "K-118") & hatches["started"].str.startswith("2026-08"), "hatch"]
    study = study_month(
        lots, hatches, samples[~samples["hatch"].isin(own)], readings, month="2026-08", settings=Settings()
    )
    assert study.lots["K-118"].is_in_control is None
    finding = finding_of_month(study)
    assert finding.headline.startswith("In control: 37 hatches of K-121 vary as chance makes them.")
    assert finding.evidence[0].answer == ("K-118: none of its 11 hatches has a usable count, so it cannot be judged.")


def test_water_that_signals_is_told_even_when_the_hatch_does_not_show_it(tables):
    lots, hatches, samples, readings = tables
    blind = samples.assign(umbrella=samples["umbrella"].where(samples["umbrella"].isna()))
    finding = review_month(lots, hatches, blind, readings, month="2026-10", settings=Settings())
    assert finding.verdict == "signals"
    assert "The water signals: oxygen at 9 hatches." in finding.headline
    assert any(step.endswith("before the next hatch: oxygen signals.") for step in finding.next_steps)


def test_site_clock_bounds_the_month(tables):
    settings = Settings(site=dataclasses.replace(Settings().site, timezone="Pacific/Auckland"))
    study = study_month(*tables, month="2026-10", settings=settings)
    assert study.first == pd.Timestamp("2026-09-30T11:00Z")  # daylight saving time
    assert study.series["at"].min() >= study.first and study.series["at"].max() < study.last


def test_many_false_alarms_do_not_pile_up():
    """Quiet invented sites: the share of months with a told change stays near the stated 1 in 100."""
    rng = np.random.default_rng(1)
    told = 0
    for seed in rng.integers(0, 10_000, 3):
        history = invented_history(seed=int(seed))
        for month in ("2025-10", "2026-01", "2026-08"):
            study = study_month(*(history[n] for n in TABLES), month=month, settings=Settings())
            told += bool(study.shifts)
    assert told <= 1
