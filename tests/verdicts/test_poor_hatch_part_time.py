"""Water that was off for a part of a hatch's hours: some readings show it, the others do not."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from poor_cases import explain

from qckit.tables import check_table, table_columns
from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.likelihood.part_time import runs_of_readings
from qckit.verdicts.poor_hatch.likelihood.readings import Ordinary, Record, log_ratio

USUAL = {"temperature": Ordinary((28.0, 0.5), (28.0, 0.5), 0.02)}
LOSS = np.array([0.1, 0.3, 0.6])


def ratio(*read, code="cold", loss=LOSS):
    """Likelihood ratios of readings (value, hour) of one hatch."""
    return np.exp(log_ratio(cause(code), loss, [Record("temperature", v, h) for v, h in read], USUAL)["temperature"])


def night(hours, cold, value=22.0):
    return [(value if h in cold else 28.0, float(h)) for h in hours]


@pytest.mark.parametrize("hours", [[6.0, 11.0, 20.0], [4.0, 5.0], [9.0, 9.0, 22.0]])
def test_chances_of_stretches_are_those_of_points_drawn_evenly(hours):
    """Against stretches drawn by numpy: half with two ends drawn evenly, half that stay to the end."""
    start, end, rng, n = 3.0, 24.0, np.random.default_rng(4), 400_000
    ends = np.sort(rng.uniform(start, end, (n, 2)), axis=1)
    ends[: n // 2, 0], ends[: n // 2, 1] = rng.uniform(start, end, n // 2), end
    held = (ends[:, :1] <= hours) & (hours <= ends[:, 1:])
    first, last, share = held.argmax(axis=1), held.sum(axis=1), (ends[:, 1] - ends[:, 0]) / (end - start)
    runs = runs_of_readings(np.array(hours), start, end)
    assert runs.chance_of_none == pytest.approx((~held.any(axis=1)).mean(), abs=0.004)
    for i, j, chance, of_hours in zip(runs.first, runs.last, runs.chance, runs.share, strict=True):
        mine = held.any(axis=1) & (first == i) & (first + last == j)
        assert chance == pytest.approx(mine.mean(), abs=0.004)
        assert of_hours == pytest.approx(share[mine].mean(), abs=0.01)
    assert runs.chance.sum() + runs.chance_of_none == pytest.approx(1.0)


def test_a_heater_off_for_a_part_of_the_night_is_seen_among_ordinary_readings():
    hours = (4, 8, 12, 16, 20)
    assert (ratio(*night(hours, ())) < 0.2).all()
    one, two, apart = (ratio(*night(hours, cold)) for cold in ((12,), (12, 16), (8, 16)))
    assert (one > 10 * ratio(*night(hours, ()))).all() and (one < 10).all()  # a slip of one reading is as likely
    assert (two > 30 * one).all()  # two beside each other are not
    assert (apart < two / 10).all()  # one went and came twice: two slips rather


def test_a_short_moment_among_many_readings_is_a_slip():
    assert (ratio(*night(range(4, 24), (12,))) < 0.5).all()
    assert (ratio(*night(range(4, 24), range(10, 15))) > 50).all()


def test_a_logger_is_not_believed_without_end():
    """A thermometer out of the cone for five hours reads as cold however often it is read."""
    hours = np.arange(4, 24, 0.1)
    often = ratio(*[(22.0 if 10 <= h < 15 else 28.0, h) for h in hours])
    assert (often > 50).all() and (often < 1000).all()


def test_a_short_time_has_to_be_far_off_to_cost_much():
    hours = (4, 8, 12, 16, 20)
    slight, deep = (ratio(*night(hours, (12, 16), v), loss=np.array([0.1, 0.9])) for v in (26.0, 20.0))
    assert slight[0] / slight[1] > deep[0] / deep[1]


def test_one_reading_has_nothing_beside_it_and_salt_does_not_go_by_itself():
    cold, salt = cause("cold"), cause("salt")
    whole = replace(cold, reading=replace(cold.reading, part=0.0))
    one, two = ([Record("temperature", v, h) for v, h in night((8, 16)[:n], (8,))] for n in (1, 2))
    as_whole, in_part = ([log_ratio(c, LOSS, r, USUAL)["temperature"] for r in (one, two)] for c in (whole, cold))
    np.testing.assert_allclose(in_part[0], as_whole[0])
    assert (in_part[1] > as_whole[1] + 1).all()
    assert salt.reading.part == 0.0


def site(cold_at):
    """Two cones over twelve days, read five times a hatch; the last hatch of cone A is late, and cold at some hours."""
    rng, rows = np.random.default_rng(1), {"lots": [{"lot": "L1"}], "hatches": [], "samples": [], "readings": []}
    for day in range(12):
        for cone in "AB":
            name, started = f"H{day:02d}{cone}", pd.Timestamp(f"2026-09-{day + 1:02d}T08:00:00+00:00")
            is_poor = name == "H11A"
            row = {"hatch": name, "lot": "L1", "purpose": "production", "cone": cone, "started": started.isoformat()}
            rows["hatches"].append(row | {"cysts_g": 2.0, "volume_ml": 1000.0, "operator": "op1"})
            for h in (4, 8, 12, 16, 20):
                value = 22.0 if is_poor and h in cold_at else round(28 + rng.normal(0, 0.2), 1)
                read = {"hatch": name, "quantity": "temperature", "value": value, "unit": "°C"}
                rows["readings"].append(read | {"taken": (started + pd.Timedelta(hours=h)).isoformat()})
            for i in range(3):
                full = rng.poisson(120)
                nauplii = rng.binomial(full, 0.55 if is_poor else 0.82)
                umbrella = rng.binomial(full - nauplii, 0.5 if is_poor else 0.12)
                row = {"sample": f"{name}-{i}", "hatch": name, "taken": started.isoformat(), "hours": 24.0}
                row |= {"kind": "subsample", "volume_ul": 250.0, "dilution": 1.0, "counted_by": "person"}
                row |= {"nauplii": nauplii, "umbrella": umbrella, "shells": nauplii + umbrella}
                rows["samples"].append(row | {"cysts": full - nauplii - umbrella})
    return {t: check_table(pd.DataFrame(r).reindex(columns=table_columns(t)), t) for t, r in rows.items()}


def cold_of(finding):
    return {c["code"]: c["probability"] for c in finding.details["causes"]}.get("cold", 0.0)


def test_the_page_names_the_cold_night_and_says_for_how_long():
    finding = explain(site((12, 16)), "H11A")
    assert finding.details["named"][0] == "cold"
    line = next(e for e in finding.evidence if e.code == "difference" and e.values["quantity"] == "temperature")
    assert line.points == "for" and "lowest 22.0 °C" in line.answer and "below 27 °C for 11 of the 16 h" in line.answer


def test_one_cold_reading_is_shown_and_not_taken_for_the_cause():
    finding = explain(site((12,)), "H11A")
    assert "cold" not in finding.details["named"]
    line = next(e for e in finding.evidence if e.code == "difference" and e.values["quantity"] == "temperature")
    assert line.points == "for" and "lowest 22.0 °C" in line.answer
    assert cold_of(finding) > 3 * cold_of(explain(site(()), "H11A"))
