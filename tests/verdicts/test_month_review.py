"""The month's verdict on the invented history: planted changes found, dated, and not blamed on something else."""

import dataclasses
import json
import math
import re
import types

import numpy as np
import pandas as pd
import pytest

from qckit.charts.series import CHARTED
from qckit.errors import InputError
from qckit.practice.events import event
from qckit.practice.history import invented_history
from qckit.reports.month_report import _latest
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.tables import check_table
from qckit.verdicts.month.evidence import collect_evidence
from qckit.verdicts.month.periods import _periods, month_bounds
from qckit.verdicts.month.records import no_hatch_words
from qckit.verdicts.month.set_aside import aside_row
from qckit.verdicts.month.shifts import no_longer_found
from qckit.verdicts.month.signals import CHANGE_RULE, open_signals
from qckit.verdicts.month.study import study_month
from qckit.verdicts.month.tables import (
    baseline_rows,
    baseline_table,
    change_rows,
    lots_table,
    raw_table,
    signal_rows,
)
from qckit.verdicts.month.verdict import VERDICTS, finding_of_month, main_lot, needs_attention, review_month
from qckit.verdicts.month.words import shift_sentence, unseen_sentence


@pytest.fixture(scope="module")
def tables():
    return SiteTables(settings=Settings(), **invented_history())


@pytest.fixture(scope="module")
def recent(tables):
    """The same from March 2026 on, for what needs no longer history."""
    hatches = tables.hatches[tables.hatches["started"] > "2026-03-01"]
    cut = {n: getattr(tables, n)[getattr(tables, n)["hatch"].isin(hatches["hatch"])] for n in ("samples", "readings")}
    return tables.but(hatches=hatches, **cut)


@pytest.fixture(scope="module")
def studies(tables):
    kept = {}

    def study(month, **options):
        key = (month, *sorted(options))
        if key not in kept:
            kept[key] = study_month(tables, month=month, **options)
        return kept[key]

    return study


def day(time):
    return time.date()


def test_heater_week_is_found_dated_and_told_with_its_temperature(studies):
    study = studies("2026-02")
    planted = event("heater week")
    (shift,) = [s for s in study.shifts if s.counts]
    assert shift.where == "all hatches" and shift.effect < -10
    assert day(shift.first_low) <= planted.first <= day(shift.first_high)
    assert day(shift.last_low) <= planted.last <= day(shift.last_high)
    assert not shift.is_ongoing
    assert [c["condition"] for c in shift.conditions] == ["temperature_c"]
    assert shift.conditions[0]["since"] == planted.first.isoformat()
    marked = study.conditions["temperature_c"].signals["label"]
    assert marked.nunique() == shift.n_hatches


def test_salinity_month_is_found_dated_and_told_with_its_salinity(studies):
    study = studies("2026-06")
    planted = event("salinity slip")
    (shift,) = [s for s in study.shifts if s.counts]
    assert shift.where == "all hatches" and shift.effect < -3
    assert day(shift.first_low) <= planted.first <= day(shift.first_high)
    assert [c["condition"] for c in shift.conditions] == ["salinity_ppt"]
    assert shift.conditions[0]["since"] == planted.first.isoformat()
    # in the month after it is over
    assert finding_of_month(studies("2026-07")).verdict == "in-control"


def test_cone_c_is_found_dated_and_told_with_its_oxygen(studies):
    study = studies("2026-10")
    planted = event("cone C air")
    (shift,) = [s for s in study.shifts if s.counts]
    assert shift.where == "cone C"
    assert day(shift.first_low) <= planted.first <= day(shift.first_high)
    assert shift.is_ongoing and shift.rivals == ()
    assert [c["condition"] for c in shift.conditions] == ["oxygen_mg_l"]
    assert shift.conditions[0]["since"] == planted.first.isoformat()
    finding = finding_of_month(study)
    assert finding.verdict == "out-of-control"
    assert finding.headline.startswith("Not in control: cone C ") and len(finding.headline) <= 110
    assert "oxygen" in finding.headline and "op1" not in finding.headline
    assert finding.next_steps[0] == (
        "Clean or change the air stone and measure the oxygen again before the next hatch (cone C)."
    )


def test_ageing_of_k_118_is_told_as_such_and_k_121_has_none(studies):
    study = studies("2026-10")
    (ageing,) = [s for s in study.shifts if s.kind == "drift"]
    assert ageing.level == "K-118" and not ageing.counts and -2.2 < ageing.per_30_days < -1.0
    old, used = study.lots["K-118"], study.lots["K-121"]
    assert old.chart.drift.shape == "slope" and used.chart.drift.shape == "level"
    assert old.level.now < 70 < 84 < old.level.level and abs(used.level.now - used.level.level) < 1e-6
    finding = finding_of_month(study)
    (step,) = (s for s in finding.next_steps if s.startswith(("Use up", "Decide about")))
    assert step.startswith("Decide about K-118: it stays below your minimum") and "and loses 1." in step


def test_one_failed_hatch_is_a_signal_and_not_a_change(studies):
    study = studies("2026-11")
    # cone C is still poor from October; the hatch without buffer in cone B is a point of its own
    assert [s.where for s in study.shifts if s.counts] == ["cone C"]
    finding = finding_of_month(study)
    assert any(
        step.startswith("Explain hatch H261105-B (")
        and step.endswith("qckit report poor-hatch H261105-B looks for its cause.")
        for step in finding.next_steps
    )
    low = open_signals(study.signals)
    assert "H261105-B" in set(low.loc[low["chart"] == "ph", "hatch"])


def test_headline_verdict_and_evidence_agree(studies):
    for month in ("2025-10", "2026-02", "2026-06", "2026-08", "2026-10", "2026-11"):
        study = studies(month)
        agree(study, finding_of_month(study))


def agree(study, finding):
    """What the first screen says is what the evidence and the tables say."""
    open_shifts = [s for s in study.shifts if s.is_open]
    waiting = open_signals(study.signals)
    assert len(finding.headline) <= 130, finding.headline
    against = [e for e in finding.evidence if e.question.startswith("What changed") and e.points == "against"]
    assert len(against) == len(open_shifts)
    if finding.verdict == "in-control":
        assert not open_shifts and waiting.empty and finding.headline.startswith("In control")
        assert all(m.is_in_control is not False for m in study.lots.values())
    else:
        assert not finding.headline.startswith("In control") and (open_shifts or len(waiting))
        assert not any(step.startswith("Review the proposed baselines") for step in finding.next_steps)
    named = [s.level for s in open_shifts[:1] if s.level]
    assert all(level in finding.headline for level in named)
    assert needs_attention(study) == (finding.verdict in ("signals", "out-of-control"))
    assert not {"sigma", "p <", "degrees of freedom"} & {w for w in ("sigma", "p <") if w in finding.headline}


def test_marks_are_no_signals_and_echoes_of_a_change_are_not_to_be_explained(studies):
    study = studies("2026-02")
    marks = study.signals[study.signals["state"] == "mark"]
    assert len(marks) and marks["in_shift"].any()
    steps = finding_of_month(study).next_steps
    assert not any(step.startswith("Explain hatch") for step in steps)
    assert set(signal_rows(study, found_at="2026-03-01T08:00:00+00:00")["rule"]) == {"change"}


def test_feed_at_risk_only_while_a_change_goes_on(studies):
    assert studies("2026-02").feed_days_at_risk == 0 and studies("2026-08").feed_days_at_risk == 0
    october = studies("2026-10")
    assert october.feed_days_at_risk > october.feed_days_lost > 0


@pytest.mark.parametrize("month", ["2025-10", "2025-12", "2026-04", "2026-08", "2026-09"])
def test_quiet_months_are_in_control(studies, month):
    study = studies(month)
    assert [s for s in study.shifts if s.counts] == []
    assert finding_of_month(study).verdict == "in-control"


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


def test_where_nothing_is_fed_the_month_tells_nauplii_and_no_dose(studies):
    fed = studies("2026-10")
    protocol = dataclasses.replace(fed.settings.protocol, feed_at="")
    unfed = dataclasses.replace(fed, settings=dataclasses.replace(fed.settings, protocol=protocol))
    lost = next(f for f in finding_of_month(unfed).figures if f.name == "nauplii_lost_million")
    assert lost.value == pytest.approx(fed.feed_lost / 1e6) and "million at risk in the next 30 days" in lost.note
    assert "dose_g" in lots_table(fed) and "dose_g" not in lots_table(unfed)
    assert math.isnan(unfed.feed_days_lost) and math.isnan(unfed.feed_days_at_risk)


def test_no_dose_is_worked_out_where_nothing_is_fed(recent):
    protocol = dataclasses.replace(recent.settings.protocol, feed_at="")
    settings = dataclasses.replace(recent.settings, protocol=protocol)
    found = finding_of_month(study_month(recent.but(settings=settings), month="2026-10"))
    shown = [found.headline, *found.next_steps, *found.would_change, *found.left_out, *found.cautions]
    shown += [item.answer for item in found.evidence] + [f"{f.name} {f.label} {f.unit} {f.note}" for f in found.figures]
    assert not [text for text in shown if re.search(r"feed|dose|\bfed\b", text, re.IGNORECASE)]


def test_feed_lost_is_what_the_hatches_fell_short_of(studies):
    study = studies("2026-02")
    fall = next(s for s in study.shifts if s.counts)
    touched = study.series[study.series["hatch"].isin(fall.labels)]
    chart = study.charts[("K-118", "hatching_efficiency_per_g")].frame.set_index("label")["centre"]
    short = (touched["hatch"].map(chart) - touched["hatching_efficiency_per_g"]) * touched["cysts_g"]
    assert study.feed_lost == pytest.approx(short.sum() * 0.85)
    assert study.feed_days_lost == pytest.approx(study.feed_lost / 10e6)


def test_frozen_baseline_is_used_as_it_stands(recent, studies):
    rows = baseline_rows(studies("2026-08"), set_by="op1", set_at="2026-09-01T08:00:00+00:00")
    assert set(rows["chart"]) >= {"hatch_pct", "umbrella_pct"} and "oxygen_mg_l" not in set(rows["chart"])
    study = study_month(recent.but(baselines=rows), month="2026-10")
    chart = study.charts[("K-121", "hatch_pct")]
    assert chart.is_frozen and "frozen by op1 on 2026-09-01" in chart.baseline_words
    assert chart.limits == studies("2026-08").charts[("K-121", "hatch_pct")].limits
    assert [s.where for s in study.shifts if s.counts] == ["cone C"]
    assert not len(baseline_rows(study, set_by="op1", set_at="2026-11-01T08:00:00+00:00"))


def test_limits_of_the_water_rest_on_days(studies):
    study = studies("2026-08")
    for name, chart in study.conditions.items():
        days = study.waters[name]
        assert days.n_days < days.n_hatches and chart.limits.n_points <= days.n_days
        assert f"limits from {days.n_days} days" in chart.baseline_words
        assert days.last < study.first


def test_a_change_keeps_its_date_and_an_explained_month_is_closed(recent, studies):
    october = studies("2026-10")
    rows = check_table(change_rows(october, found_by="op1", found_at="2026-11-01T08:00:00+00:00"), "changes")
    assert rows[["month", "factor", "level", "state"]].to_numpy().tolist() == [["2026-10", "cone", "C", "open"]]
    moved = rows.assign(first="2026-10-11T08:00:00+00:00")
    (later,) = [s for s in study_month(recent.but(changes=moved), month="2026-11").shifts if s.counts]
    assert later.found_in == "2026-10" and f"{later.first:%Y-%m-%d}" == "2026-10-11"
    closed = rows.assign(state="explained", note="air stone blocked", found_by="op2")
    study = study_month(recent.but(changes=closed), month="2026-10")
    finding = finding_of_month(study)
    assert finding.verdict == "in-control" and not needs_attention(study)
    assert "1 explained" in finding.headline
    assert any("It is explained by op2: air stone blocked." in e.answer for e in finding.evidence)
    # who explained it stands at its signal, and is not who found it
    signal = {"signal": rows["change"].iloc[0], "chart": "hatch_pct", "lot": "", "hatch": study.series["hatch"].iloc[0]}
    signal |= {"at": rows["first"].iloc[0], "rule": CHANGE_RULE, "state": "explained", "by": "op3", "note": "stone"}
    signals = check_table(pd.DataFrame([signal | {"found_at": "2026-11-01T08:00:00+00:00"}]), "signals")
    told = study_month(recent.but(changes=closed.assign(found_by="qckit"), signals=signals), month="2026-10")
    assert any("It is explained by op3: air stone blocked." in e.answer for e in finding_of_month(told).evidence)


def test_a_change_told_last_month_and_gone_now_is_said_once(tables, studies):
    told = change_rows(studies("2026-02"), found_by="op1", found_at="2026-03-01T08:00:00+00:00")
    logged = dataclasses.replace(tables, changes=told)
    march = finding_of_month(study_month(logged, month="2026-03"))
    (gone,) = [e for e in march.evidence if e.code == "past"]
    begin = studies("2026-02").shifts[0].first
    assert gone.points == "neutral" and gone.answer.startswith(
        "The review of 2026-02 told: all hatches, hatching percentage "
    )
    assert f"points lower since {begin:%Y-%m-%d}. This month shows nothing of it" in gone.answer
    assert march.verdict == finding_of_month(studies("2026-03")).verdict
    # not of one lot, not in later months, and not once it is explained
    assert not study_month(logged, month="2026-03", lot=main_lot(studies("2026-03"))).past
    april, done = studies("2026-04"), told.assign(state="explained", note="heater mended")
    assert not no_longer_found(april.shifts, told, first=april.first)
    assert not no_longer_found(studies("2026-03").shifts, done, first=studies("2026-03").first)


def test_hatches_set_aside_or_explained_tell_of_no_change(recent, studies):
    study = studies("2026-10")
    (shift,) = [s for s in study.shifts if s.counts]
    row = study.history.set_index("hatch")
    aside = pd.concat(
        [
            aside_row(
                chart=chart,
                hatch=hatch,
                lot=row.at[hatch, "lot"],
                at=row.at[hatch, "at"].isoformat(),
                value=float(row.at[hatch, chart]),
                by="op2",
                reason="air stone blocked",
                found_at="2026-11-01T08:00:00+00:00",
            )
            for hatch in shift.labels
            for chart in CHARTED
            if pd.notna(row.at[hatch, chart])
        ],
        ignore_index=True,
    )
    again = study_month(recent.but(signals=aside), month="2026-10")
    assert not [s for s in again.shifts if s.counts]
    finding = finding_of_month(again)
    assert "cone C" not in finding.headline
    assert f"{len(set(shift.labels) & set(again.series['hatch']))} explained" in finding.headline


def test_the_signal_of_a_change_is_recorded_and_explained(recent, studies):
    study = studies("2026-10")
    rows = signal_rows(study, found_at="2026-11-01T08:00:00+00:00")
    assert rows["signal"].is_unique and (rows["state"] == "open").all()
    told = rows.assign(state="explained", by="op2", note="air stone blocked")
    again = study_month(recent.but(signals=told), month="2026-10")
    assert {(s.state, s.by, s.note) for s in again.shifts if s.counts} == {("explained", "op2", "air stone blocked")}
    assert finding_of_month(again).verdict == "in-control"


def test_one_lot_only(recent, studies):
    finding = review_month(recent, month="2026-10", lot="K-121")
    assert finding.subject == "2026-10 K-121"
    assert [m["lot"] for m in finding.details["lots"]] == ["K-121"]
    assert main_lot(studies("2026-10")) == "K-121"


def test_a_lot_worse_from_its_first_day_is_told_beside_the_one_before(tables):
    samples = tables.samples.copy()
    mine = samples["hatch"].isin(tables.hatches.loc[tables.hatches["lot"] == "K-121", "hatch"])
    sub = mine & (samples["kind"] == "subsample")
    lost = (samples.loc[sub, "nauplii"] * 0.28).round().astype("int64")
    samples.loc[sub, "nauplii"] -= lost
    column = samples.loc[sub, "embryos"].notna().map({True: "embryos", False: "cysts"})
    for name in ("embryos", "cysts"):
        at = column.index[column == name]
        samples.loc[at, name] += lost[at]
    samples = samples[~samples["hatch"].str.startswith("ST-121")]
    study = study_month(tables.but(samples=samples), month="2026-04")
    finding = finding_of_month(study)
    (lot,) = [s for s in study.shifts if s.kind == "lot"]
    assert lot.level == "K-121" and lot.counts and lot.effect < -12
    assert finding.verdict == "out-of-control"
    assert finding.headline.startswith("Not in control: lot K-121 hatches ")
    assert finding.next_steps[0].startswith("Test K-121 beside a lot you trust")
    level = next(e for e in finding.evidence if e.question == "How good is K-121?")
    assert level.points == "against"
    assert "its label claims 85 %" in level.answer and "below your minimum" in level.answer


def test_a_standing_difference_is_told_as_one(recent):
    samples = recent.samples.copy()
    mine = samples["hatch"].isin(recent.hatches.loc[recent.hatches["cone"] == "A", "hatch"])
    sub = mine & (samples["kind"] == "subsample")
    lost = (samples.loc[sub, "nauplii"] * 0.04).round().astype("int64")
    samples.loc[sub, "nauplii"] -= lost
    samples.loc[sub, "umbrella"] += lost
    study = study_month(recent.but(samples=samples), month="2026-08")
    assert [s for s in study.shifts if s.counts] == []
    assert any(d.where == "cone A" and d.points < -1.5 for d in study.standing)
    told = [e for e in finding_of_month(study).evidence if e.question == "What differs, and always did?"]
    assert "cone A" in told[0].answer and told[0].points == "neutral"


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


def test_any_period(tables, recent, studies):
    study = study_month(tables, month="2026-09-16..2026-10-15")
    assert study.first == pd.Timestamp("2026-09-16", tz="UTC") and study.last == pd.Timestamp("2026-10-16", tz="UTC")
    assert set(study.comparison["period"]) == {"this period", "period before", "a year before"}
    long = study_month(recent, month="2026-09..2026-10")
    assert len(long.series) == len(studies("2026-09").series) + len(studies("2026-10").series)
    assert [s.where for s in long.shifts if s.counts] == ["cone C"]


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
    hatches = tables.hatches[tables.hatches["started"] < "2026-07-01"].reset_index(drop=True)
    own = {
        name: getattr(tables, name)[getattr(tables, name)["hatch"].isin(hatches["hatch"])].reset_index(drop=True)
        for name in ("samples", "readings")
    }
    cut_finding = review_month(tables.but(hatches=hatches, **own), month="2026-06", now="2026-06-30")
    assert cut_finding.to_dict() == finding_of_month(studies("2026-06", now="2026-06-30")).to_dict()


def test_order_of_rows_does_not_matter(tables, studies):
    names = ("lots", "hatches", "samples", "readings")
    mixed = tables.but(**{name: getattr(tables, name).sample(frac=1, random_state=3) for name in names})
    a, b = review_month(mixed, month="2026-10"), finding_of_month(studies("2026-10"))
    assert a.headline == b.headline and a.figures == b.figures


def raised(text, call):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == text


def test_messages(tables):
    def review(month, **options):
        return lambda: review_month(tables, month=month, **options)

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
        "2027-05: no production hatch was started in that month. The log holds those of 2025-09 to 2026-11. "
        "Choose another month.",
        review("2027-05"),
    )
    raised(
        "2025-01: no production hatch was started in that month. The log holds those of 2025-09 to 2026-11. "
        "Choose another month.",
        review("2025-01"),
    )
    raised("hatches: unknown lot 'K-112'. Did you mean 'K-121'? Known: K-118, K-121.", review("2026-10", lot="K-112"))
    tested = tables.hatches["purpose"].mask(tables.hatches["lot"] == "K-121", "standard test")
    n = int((tables.hatches["lot"] == "K-121").sum())
    raised(
        f"2026-10: lot K-121 has no production hatch yet, only standard test ({n} hatches). Leave the lot empty for "
        "the month, or judge the test with  qckit report new-lot K-121",
        lambda: review_month(tables.but(hatches=tables.hatches.assign(purpose=tested)), month="2026-10", lot="K-121"),
    )
    empty = tables.but(**{name: getattr(tables, name).head(0) for name in ("hatches", "samples", "readings")})
    raised(
        "2026-10: no production hatch is in the log. Import the field sheets first.",
        lambda: review_month(empty, month="2026-10"),
    )


def test_months_are_those_of_the_sites_clock():
    begun = ["2025-12-31T23:30:00+00:00", "2026-03-31T22:30:00+00:00"]  # half past midnight in Berlin, a month later
    hatches = pd.DataFrame({"lot": "L", "purpose": "production", "started": begun})
    assert no_hatch_words(hatches, "2025-12", "", "Europe/Berlin") == (
        "2025-12: no production hatch was started in that month. The log holds those of 2026-01 to 2026-04. "
        "Choose another month."
    )
    assert _latest(hatches, "Europe/Berlin") == "2026-04"


def test_a_month_may_begin_with_an_hour_that_the_clock_shows_twice():
    first, last = month_bounds("2026-11", "America/Havana")  # the clock goes back from one to midnight on 1 November
    assert (str(first), str(last)) == ("2026-11-01 00:00:00-04:00", "2026-12-01 00:00:00-05:00")
    assert month_bounds("2026-10", "America/Havana")[1] == first
    assert [str(start) for _, start, _ in _periods("2026-12", last, last)][1] == str(first)
    first, _ = month_bounds("2026-09-06..2026-09-30", "America/Santiago")  # and here that day begins at one
    assert str(first) == "2026-09-06 01:00:00-03:00"


def test_site_chooses_its_rules(recent):
    def with_rules(text):
        charts = dataclasses.replace(Settings().charts, rules=text)
        return recent.but(settings=dataclasses.replace(Settings(), charts=charts))

    study = study_month(with_rules("beyond_3"), month="2026-08")
    assert set(study.signals["rule"]) <= {"beyond_3"}
    assert study.charts[("K-121", "hatch_pct")].run.sentence == "chance alone signals about once in 370 hatches"
    raised(
        "qckit.toml, section [charts]: rules is empty. Name at least one, such as beyond_3.",
        lambda: study_month(with_rules(" "), month="2026-10"),
    )
    with pytest.raises(InputError, match=r"qckit\.toml, section \[charts\], rules: unknown rule 'beyond_4'\."):
        study_month(with_rules("beyond_4"), month="2026-10")


def test_few_hatches_are_not_judged(tables):
    hatches = tables.hatches
    few = hatches[hatches["hatch"].str.startswith("H250908") | hatches["hatch"].str.startswith("H250909")]
    own = tables.samples[tables.samples["hatch"].isin(few["hatch"])]
    finding = review_month(tables.but(hatches=few, samples=own, readings=None), month="2025-09")
    assert finding.verdict == "not-enough-evidence"
    assert finding.headline == "There are too few hatches to set limits, so the month cannot be judged yet."
    json.dumps(finding.to_dict(), allow_nan=False)


def test_figures_name_the_hatches_counted_and_stay_possible(tables):
    few = tables.hatches[tables.hatches["purpose"] == "production"].iloc[:4]
    own = tables.samples[tables.samples["hatch"].isin(few["hatch"])]
    two = own[own["hatch"].isin(few["hatch"].iloc[:2])]
    small = tables.but(hatches=few, readings=None)
    finding = review_month(small.but(samples=two), month="2025-09")
    pct, per_g = finding.figures[:2]
    assert pct.note == "mean of 2 of 4 hatches (the others have no usable count)" and 0 <= pct.low <= pct.high <= 100
    assert per_g.note == f"{pct.note}: too few for an interval" and np.isnan(per_g.low) and per_g.value > 0
    assert any("4 hatches, 2 counted;" in e.answer for e in finding.evidence)
    finding = review_month(small.but(samples=own), month="2025-09")
    assert finding.figures[1].note == "mean of 4 hatches" and finding.figures[1].low > 0


def test_a_hatch_counted_in_part_is_named_with_what_is_missing(recent):
    hatches, samples = recent.hatches, recent.samples
    august = hatches.loc[hatches["started"].str.startswith("2026-08") & (hatches["purpose"] == "production"), "hatch"]
    mine = samples[samples["hatch"].isin(august) & (samples["kind"] == "subsample")]
    mine = mine[mine["hatch"] == mine["hatch"].iloc[0]]
    hatch = mine["hatch"].iloc[0]
    part = samples.assign(cysts=samples["cysts"].mask(samples.index.isin(mine.index)))
    finding = review_month(recent.but(samples=part, readings=None), month="2026-08")
    assert finding.left_out[-2:] == [
        f"1 hatch without a usable count: {hatch}.",
        f"{hatch}: Neither embryos nor unhatched cysts were counted, so the hatching percentage is not known.",
    ]


def test_a_lot_without_label_data_and_a_hatch_without_count(recent):
    gone = recent.samples[recent.samples["hatch"] != "H260801-A"]
    finding = review_month(recent.but(lots=recent.lots.head(0), samples=gone, readings=None), month="2026-08")
    assert finding.verdict == "in-control"


def test_copied_conditions_and_counts_of_zero_do_not_stop_the_review(recent):
    same = recent.hatches.assign(light_lux=2000.0)
    none = recent.samples.assign(shells=recent.samples["shells"] * 0)
    own = recent.readings[recent.readings["quantity"] != "light"]
    study = study_month(recent.but(hatches=same, samples=none, readings=own), month="2026-08")
    assert study.conditions["light_lux"].limits is None
    assert study.charts[("K-121", "opened_pct")].limits is None
    assert finding_of_month(study).verdict == "in-control"


def test_an_uncounted_lot_is_not_called_in_control(recent):
    hatches = recent.hatches
    own = hatches.loc[(hatches["lot"] == "K-118") & hatches["started"].str.startswith("2026-08"), "hatch"]
    study = study_month(recent.but(samples=recent.samples[~recent.samples["hatch"].isin(own)]), month="2026-08")
    assert study.lots["K-118"].is_in_control is None
    finding = finding_of_month(study)
    assert any(
        e.answer == "K-118: none of its 11 hatches has a usable count, so it cannot be judged."
        for e in finding.evidence
    )


def test_water_that_moves_is_told_even_when_the_hatch_does_not_show_it(recent):
    readings, hatches = recent.readings.copy(), recent.hatches.copy()
    august = set(hatches.loc[hatches["started"].str.startswith("2026-08"), "hatch"])
    cold = readings["hatch"].isin(august) & (readings["quantity"] == "temperature")
    readings.loc[cold, "value"] -= 2.5
    study = study_month(recent.but(readings=readings), month="2026-08")
    finding = finding_of_month(study)
    assert finding.verdict == "signals"
    assert finding.headline.startswith("To be explained: all cones 2.4 °C lower in temperature since 2026-08-0")
    assert finding.next_steps[0] == "Check the heater and its thermostat with a second thermometer."


def test_reference_and_test_hatches_are_no_production(recent):
    hatches = recent.hatches.copy()
    made = hatches.index[hatches["started"].str.startswith("2026-08") & (hatches["purpose"] == "production")][:6]
    hatches.loc[made, "purpose"] = "reference"
    study = study_month(recent.but(hatches=hatches), month="2026-08")
    assert not set(hatches.loc[made, "hatch"]) & set(study.series["hatch"])
    assert any("reference" in text for text in study.left_out)


def test_site_clock_bounds_the_month(recent):
    settings = Settings(site=dataclasses.replace(Settings().site, timezone="Pacific/Auckland"))
    study = study_month(recent.but(settings=settings), month="2026-10")
    assert study.first == pd.Timestamp("2026-09-30T11:00Z")  # daylight saving time
    assert study.series["at"].min() >= study.first and study.series["at"].max() < study.last


def test_a_hatch_of_which_nothing_came_stands_out_and_stops_no_page(recent):
    hatch = "H261020-B"
    samples = recent.samples.copy()
    mine = (samples["hatch"] == hatch) & (samples["kind"] == "subsample")
    samples.loc[mine, "nauplii"] = 0
    study = study_month(recent.but(samples=samples), month="2026-10")
    waiting = open_signals(study.signals)
    assert set(waiting["hatch"]) == {hatch} and "hatch_pct" in set(waiting["chart"])
    finding = finding_of_month(study)
    assert any(
        step.startswith(f"Explain hatch {hatch} (0.0 %); qckit report poor-hatch") for step in finding.next_steps
    )
    # an accident says nothing of how often the lot falls below the minimum
    assert study.lots["K-121"].capability.share_pct_high < 5
    chart = study.charts[("K-121", "hatching_efficiency_per_g")]
    assert chart.frame.set_index("label").at[hatch, "z"] < -10


def test_a_months_figures_have_the_digits_they_are_read_with_and_are_told_apart(studies):
    study = studies("2026-10")
    rows = lots_table(study).set_index("lot")
    assert math.isnan(rows.loc["K-121", "slope_per_30_days"]) and rows.loc["K-118", "slope_per_30_days"] < -1
    (cone_c,) = [s for s in study.shifts if s.is_open and s.counts]
    words = shift_sentence(cone_c, "ymd")
    assert re.search(r"oxygen 4\.\d mg/l there, 6\.\d otherwise", words), words
    good = next(e for e in collect_evidence(study) if e.question == "How good is K-121?")
    assert good.answer.startswith("Outside what changed, K-121 hatches 8")


@pytest.mark.parametrize(
    ("unseen", "sentence"),
    [
        ((), ""),
        (
            (("all hatches", 6.04), ("one cone", 12.3)),
            "A fall over the month smaller than 6.0 points in all hatches or 12 points in one cone could have gone "
            "unseen (of that size, one in five would).",
        ),
        (
            (("all hatches", 84.0), ("one cone", 12.3)),
            "A fall over the month smaller than 12 points in one cone could have gone unseen (of that size, one in "
            "five would). Of all hatches no fall over the month could have been told: too little lies before it.",
        ),
    ],
)
def test_a_search_that_misses_every_fall_says_so(unseen, sentence):
    assert unseen_sentence(types.SimpleNamespace(unseen=unseen)) == sentence


def test_a_month_whose_settings_changed_says_so_in_a_line(tables):
    row = {"setting_change": "9 limits.min_hatch_pct", "setting": "limits.min_hatch_pct", "before": "70", "after": "75"}
    row |= {"noticed_at": "2026-10-14T08:00:00+00:00", "since": "2026-10-12T08:00:00+00:00", "by": "op1"}
    first = row | {"setting_change": "1 x", "setting": "feed.n_cones", "before": None, "since": None}
    kept = pd.DataFrame([first, row])
    lines = {
        month: [
            c
            for c in review_month(tables.but(setting_changes=kept), month=month).cautions
            if c.startswith("Settings changed")
        ]
        for month in ("2026-09", "2026-10")
    }
    assert lines["2026-09"] == []
    assert lines["2026-10"] == [
        "Settings changed in this time: min_hatch_pct from 70 to 75 between 2026-10-12 and 2026-10-14, noticed by op1. "
        "This page goes by the settings as they were when it was made."
    ]
