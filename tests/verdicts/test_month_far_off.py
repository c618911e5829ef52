"""Readings far off the standard in a month whose limits rest on the month itself (invented hatches, planted cold)."""

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import median_abs_deviation

from qckit.charts.water import apart_from_usual
from qckit.practice.month_rooms import draw_room, draw_room_constants
from qckit.reports.month_report import calendar, condition_charts
from qckit.settings import ConditionSettings, Settings
from qckit.site_tables import SiteTables
from qckit.verdicts.month.far_off import far_off_readings, far_off_words
from qckit.verdicts.month.study import study_month
from qckit.verdicts.month.verdict import finding_of_month

COLD = "2 temperature readings of 22.0 °C on 9 Nov 2026, standard 28 ± 1 °C"
ROOM = draw_room(draw_room_constants(np.random.default_rng(3)))


def site_of(temperature, *, conditions=None, pct=84.0):
    """Two cones started each morning from the first of November: a temperature a day and cone, shape (n_days, 2)."""
    rng = np.random.default_rng(1)
    hatches, readings, samples = [], [], []
    for i, of_day in enumerate(np.asarray(temperature, float).round(1)):
        start = pd.Timestamp("2026-11-01T08:30:00+00:00") + pd.Timedelta(days=i)
        for cone, value in zip("AB", of_day, strict=True):
            name = f"H{start:%m%d}-{cone}"
            made = {"started": start.isoformat(), "cysts_g": 30.0, "volume_ml": 20000.0, "temperature_c": value}
            names = {"hatch": name, "lot": "R-101", "purpose": "production", "cone": cone, "operator": "op1"}
            hatches.append({**names, **made, "aeration": "strong", "decapsulated": False})
            taken = {"taken": start.isoformat(), "quantity": "temperature", "unit": "°C"}
            readings.append({"hatch": name, "value": value, **taken})
            for k in (1, 2):
                nauplii = int(rng.binomial(60, pct / 100))
                counts = {"nauplii": nauplii, "umbrella": 0, "cysts": 60 - nauplii, "shells": nauplii}
                how = {"kind": "subsample", "volume_ul": 112.0, "dilution": 1.0, "counted_by": "person", "revision": 0}
                taken = (start + pd.Timedelta(hours=24)).isoformat()
                samples.append({"sample": f"{name}-{k}", "hatch": name, "taken": taken, "hours": 24.0, **how, **counts})
    settings = Settings()
    settings = replace(settings, site=replace(settings.site, date_order="dmy"))
    return SiteTables(
        settings=replace(settings, conditions=conditions or settings.conditions),
        lots=ROOM["lots"].head(1).assign(opened="2026-11-01"),
        hatches=pd.DataFrame(hatches).reindex(columns=ROOM["hatches"].columns),
        readings=pd.DataFrame(readings),
        samples=pd.DataFrame(samples).reindex(columns=ROOM["samples"].columns),
    )


def warm(n_days=15, seed=5, centre=28.0, sd=0.25):
    return centre + sd * np.random.default_rng(seed).standard_normal((n_days, 2))


def with_a_cold_day(temperature):
    temperature = temperature.copy()
    temperature[8] = 22.0
    return temperature


def ends(chart):
    return chart.frame[["low", "centre", "high"]].iloc[-1].to_numpy(float)


@pytest.mark.parametrize("seed", [5, 6, 7])
def test_a_cold_night_of_a_first_month_widens_no_limits_and_is_named(seed):
    """Limits of 21.4 to 33.9 °C held the two readings of 22 °C that had widened them, and the page said No signal."""
    sound = warm(seed=seed)
    study = study_month(site_of(with_a_cold_day(sound)), month="2026-11")
    chart = study.conditions["temperature_c"]
    alike = study_month(site_of(np.delete(sound, 8, axis=0)), month="2026-11").conditions["temperature_c"]
    np.testing.assert_allclose(ends(chart), ends(alike), atol=0.05)  # as if the day had not been
    assert chart.limits.width == pytest.approx(alike.limits.width, rel=0.02)
    assert set(chart.signals["label"]) == {"H1109-A", "H1109-B"}
    assert "; 2 readings far off the standard left out" in chart.baseline_words
    assert [(p["label"], p["reason"]) for p in chart.set_aside] == [
        (f"H1109-{cone}", "far off the standard of 28 ± 1 °C") for cone in "AB"
    ]
    finding = finding_of_month(study)
    assert finding.verdict == "signals" and "H1109-A" in finding.headline
    (line,) = [e for e in finding.evidence if e.code == "far_off"]
    assert line.answer == f"{COLD}. No limits of the water rest on these." and line.points == "against"
    *explain, check = finding.next_steps[:3]  # what the headline names first
    assert all(step.startswith("Explain hatch H1109-") for step in explain)
    assert check == f"Check the heater and its thermostat with a second thermometer: {COLD}."
    assert [r["hatch"] for r in finding.details["far_off"]] == ["H1109-A", "H1109-B"]
    page = SimpleNamespace(study=study, settings=study.settings)
    assert condition_charts(page).html.count(f"Far off the standard: {COLD}.") == 2  # caption and words for the picture


def test_where_no_limits_can_be_set_the_month_is_not_called_well():
    study = study_month(site_of(with_a_cold_day(np.full((15, 2), 28.0))), month="2026-11")
    chart, finding = study.conditions["temperature_c"], finding_of_month(study)
    assert chart.limits is None and chart.baseline_words.startswith("all readings are equal")
    crossed = chart.frame[chart.frame["phase"] == "set aside"]
    assert crossed["label"].tolist() == ["H1109-A", "H1109-B"]
    assert finding.verdict == "in-control" and finding.details["tone"] == "attention"
    assert finding.headline == f"In control, but water was far off your standard: {COLD}."
    well = finding_of_month(study_month(site_of(np.full((15, 2), 28.0)), month="2026-11"))
    assert (well.verdict, well.details["tone"]) == ("in-control", "good")
    assert "far_off" not in {e.code for e in well.evidence} and well.details["far_off"] == []


def test_an_earlier_cold_day_widens_no_later_month():
    month = {"month": "2026-12"}
    sound = warm(45)
    chart = study_month(site_of(with_a_cold_day(sound)), **month).conditions["temperature_c"]
    alike = study_month(site_of(np.delete(sound, 8, axis=0)), **month)
    assert chart.limits.width == pytest.approx(alike.conditions["temperature_c"].limits.width, rel=0.05)
    assert chart.frame.loc[chart.frame["phase"] == "set aside", "label"].tolist() == ["H1109-A", "H1109-B"]
    finding = finding_of_month(study_month(site_of(with_a_cold_day(sound)), **month))
    assert finding.details["far_off"] == []  # it was another month's


@pytest.mark.parametrize(
    ("centre", "sd"),
    [(24.0, 0.3), (26.8, 0.8), (28.0, 0.3)],
    ids=["usually far off", "scatters about the border", "within"],
)
def test_a_room_that_is_usually_so_keeps_its_readings(centre, sd):
    temperature = warm(15, centre=centre, sd=sd)
    if centre < 26:
        temperature[4] = 25.7  # far off, and apart: towards the standard
    else:
        assert (temperature < 25.95).any() == (sd > 0.5)
    study = study_month(site_of(temperature), month="2026-11")
    assert study.far_off.empty and study.waters["temperature_c"].n_hatches == 30
    lenient = ConditionSettings(temperature_c=centre, temperature_tolerance_c=20.0)
    without = study_month(site_of(temperature, conditions=lenient), month="2026-11")
    np.testing.assert_array_equal(ends(study.conditions["temperature_c"]), ends(without.conditions["temperature_c"]))


def test_a_reading_far_off_that_costs_next_to_nothing_is_named_and_no_more():
    temperature = warm(45)
    temperature[40, 0] = 25.9
    study = study_month(site_of(temperature), month="2026-12")
    finding = finding_of_month(study)
    (line,) = [e for e in finding.evidence if e.code == "far_off"]
    assert line.answer.startswith("1 temperature reading of 25.9 °C on 11 Dec 2026, standard 28 ± 1 °C. No limits ")
    assert line.points == "neutral" and len(study.costly_water) == 0
    assert not any("Check the heater" in step for step in finding.next_steps)


def test_what_a_change_tells_is_not_told_again():
    temperature = warm(45)
    temperature[33:] -= 6.0
    study = study_month(site_of(temperature), month="2026-12")
    assert [s.quantity for s in study.shifts if s.counts] == ["temperature_c"]
    assert study.far_off.empty


def test_apart_is_by_median_and_median_absolute_deviation():
    y = np.r_[np.random.default_rng(2).normal(28, 0.4, 60), 22.0, 22.1, 31.0]
    robust = np.abs(y - np.median(y)) / median_abs_deviation(y, scale="normal")
    apart = apart_from_usual(pd.DataFrame({"y": y}), "temperature_c")
    np.testing.assert_array_equal(apart, robust > 3.5)
    assert apart.sum() == 3
    equal = apart_from_usual(pd.DataFrame({"y": [28.0] * 9 + [28.6, 28.8]}), "temperature_c")
    assert equal.tolist() == [False] * 10 + [True]  # a meter may be off by 0.2


def test_a_value_is_written_so_that_it_misses_its_standard():
    at = pd.date_range("2026-11-01", periods=20, freq="D", tz="UTC")
    oxygen = pd.DataFrame({"label": [f"H{i}" for i in range(20)], "at": at, "y": 6.0, "value": 6.0, "cone": "A"})
    oxygen.loc[4, ["y", "value"]] = 3.96
    names = ("temperature_c", "salinity_ppt", "ph", "light_lux")
    points = {**dict.fromkeys(names, oxygen.head(0)), "oxygen_mg_l": oxygen}
    found = far_off_readings(points, ConditionSettings(), last=at[-1])
    assert far_off_words(found) == "1 oxygen reading of 3.96 mg/l on 2026-11-05, standard at least 4 mg/l"


def test_days_still_to_come_are_not_days_without_a_hatch():
    study = study_month(site_of(np.delete(warm(), 3, axis=0)), month="2026-11")
    page = SimpleNamespace(study=study, settings=study.settings, today=dt.date(2026, 11, 16))
    assert "28 hatches, 2 days without one, 14 days still to come, " in calendar(page).html
    page.today = dt.date(2026, 12, 1)
    assert "28 hatches, 16 days without one, 0 days with a signal" in calendar(page).html


def cold_at(*places):
    """Forty-five sound days with a reading of 22 °C at each day and cone given; the month is December."""
    temperature = warm(45)
    for day, cone in places:
        temperature[day, cone] = 22.0
    return site_of(temperature)


def test_a_lone_reading_is_named_and_turns_no_verdict():
    """A slip of a meter or a sheet, in limits it no longer widens, asked for an explanation each time."""
    study = study_month(cold_at((40, 0)), month="2026-12")
    chart, finding = study.conditions["temperature_c"], finding_of_month(study)
    assert chart.signals["label"].tolist() == ["H1211-A"]  # the chart still shows it
    assert study.signals.set_index("chart")["state"].to_dict() == {"temperature_c": "mark"}
    assert finding.verdict == "in-control"
    named = "1 temperature reading of 22.0 °C on 11 Dec 2026, standard 28 ± 1 °C"
    assert finding.headline == f"In control, but water was far off your standard: {named}."
    (line,) = [e for e in finding.evidence if e.code == "far_off"]
    assert line.answer == (
        f"{named}. No limits of the water rest on it. "
        "It stands alone, which may be a slip of the meter or the sheet: no signal is made of that."
    )


@pytest.mark.parametrize(
    ("places", "n_lone"),
    [([(40, 0), (40, 1)], 0), ([(40, 0), (41, 1)], 0), ([(36, 0), (40, 0)], 2), ([(36, 0), (40, 0), (40, 1)], 1)],
    ids=["a night of two cones", "the next day in the other cone", "four days apart", "one apart of three"],
)
def test_two_readings_near_each_other_are_signals(places, n_lone):
    study = study_month(cold_at(*places), month="2026-12")
    assert study.far_off["is_lone"].sum() == n_lone and len(study.far_off) == len(places)
    told = study.signals[study.signals["state"] == "open"]
    assert set(told["hatch"]) == set(study.far_off.loc[~study.far_off["is_lone"], "hatch"])
    assert finding_of_month(study).verdict == ("signals" if len(told) else "in-control")


def test_a_reading_on_the_other_side_bears_none_out():
    temperature = warm(45)
    temperature[40] = 22.0, 34.0
    assert study_month(site_of(temperature), month="2026-12").far_off["is_lone"].tolist() == [True, True]


@pytest.mark.parametrize(("second", "cone", "lone"), [(5, "A", False), (7, "A", True), (5, "C", True)])
def test_the_next_reading_of_a_cone_bears_one_out_however_late(second, cone, lone):
    at = pd.date_range("2026-11-01", periods=20, freq="3D", tz="UTC")  # cones A and B by turns, six days apart
    oxygen = pd.DataFrame({"label": [f"H{i}" for i in range(20)], "at": at, "y": 6.0, "value": 6.0})
    oxygen["cone"] = ["AB"[(i + 1) % 2] for i in range(20)]
    oxygen.loc[[3, second], ["y", "value"]] = 3.0
    oxygen.loc[second, "cone"] = cone
    names = ("temperature_c", "salinity_ppt", "ph", "light_lux")
    points = {**dict.fromkeys(names, oxygen.head(0)), "oxygen_mg_l": oxygen}
    found = far_off_readings(points, ConditionSettings(), last=at[-1])
    assert found["is_lone"].tolist() == [lone, lone]


def test_a_hatch_read_twice_is_no_slip():
    tables = cold_at((40, 0))
    again = tables.readings[tables.readings["hatch"] == "H1211-A"]
    study = study_month(replace(tables, readings=pd.concat([tables.readings, again])), month="2026-12")
    assert not study.far_off["is_lone"].any() and finding_of_month(study).verdict == "signals"


def test_a_lone_reading_of_a_hatch_that_stands_out_is_a_signal():
    tables = cold_at((40, 0))
    samples = tables.samples.copy()
    mine = samples["hatch"] == "H1211-A"
    samples.loc[mine, ["nauplii", "cysts", "shells"]] = 12, 48, 12
    study = study_month(replace(tables, samples=samples), month="2026-12")
    assert study.far_off["is_lone"].all()
    assert {"hatch_pct", "temperature_c"} <= set(study.signals.loc[study.signals["state"] == "open", "chart"])
