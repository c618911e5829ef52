"""A reading far off the standard is among the steps whatever the cause: to be read again and put right, not accused."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from poor_cases import explain

from qckit.settings import ConditionSettings, Settings
from qckit.tables import check_table, table_columns
from qckit.verdicts.poor_hatch.causes import CAUSES
from qckit.verdicts.poor_hatch.conditions.differences import DIFFERENCE_COLUMNS
from qckit.verdicts.poor_hatch.conditions.off_standard import far_off_standard

POOR = "H08A"
NOTE = {"dark": "the lamp was left off all night"}
WATER = {"temperature_c": 28.0, "salinity_ppt": 33.0}


def site(poor_share=0.5, note=None, **poor):
    """Two cones over nine days at 28 °C and 33 ppt; the last hatch of cone A is poor, its umbrellas few, its sheet as
    given."""
    rng, hatches, samples = np.random.default_rng(1), [], []
    for day in range(9):
        for cone in "AB":
            name, started = f"H{day:02d}{cone}", f"2026-09-{day + 1:02d}T08:00:00+00:00"
            is_poor = name == POOR
            row = {"hatch": name, "lot": "L1", "purpose": "production", "cone": cone, "started": started}
            row |= {"cysts_g": 2.0, "volume_ml": 1000.0, "operator": "op1"} | WATER
            hatches.append(row | (poor | {"notes": note} if is_poor else {}))
            for i in range(3):
                full = rng.poisson(120)
                nauplii = rng.binomial(full, poor_share if is_poor else 0.82)
                umbrella = rng.binomial(full - nauplii, 0.05 if is_poor else 0.12)
                row = {"sample": f"{name}-{i}", "hatch": name, "taken": started, "hours": 24.0, "kind": "subsample"}
                row |= {"volume_ul": 250.0, "dilution": 1.0, "counted_by": "person", "nauplii": nauplii}
                samples.append(row | {"umbrella": umbrella, "cysts": full - nauplii - umbrella, "shells": nauplii})
    rows = {"lots": [{"lot": "L1"}], "hatches": hatches, "samples": samples, "readings": []}
    return {t: check_table(pd.DataFrame(r).reindex(columns=table_columns(t)), t) for t, r in rows.items()}


def steps_of(finding):
    return dict(zip(finding.details["steps"], finding.next_steps, strict=True))


def checks_of(*made):
    columns = {"planned_at": "2026-09-09T10:00:00+00:00", "done_at": "2026-09-09T10:00:00+00:00", "by": "op1"}
    rows = [{"hatch": POOR, "check": check, "outcome": outcome} | columns for check, outcome in made]
    return check_table(pd.DataFrame(rows).reindex(columns=table_columns("checks")), "checks")


def test_a_cold_reading_is_the_first_step_where_no_cause_is_settled():
    finding = explain(site(temperature_c=22.5), POOR)
    assert finding.verdict == "not-enough-evidence" and "cold" not in finding.headline
    assert finding.details["steps"].index("check thermometer") == 0 < finding.details["steps"].index("feed")
    assert steps_of(finding)["check thermometer"] == (
        "First: the temperature in cone A was 22.5 °C and should be 28 ± 1 °C. Read it again (about 12 minutes: hold a "
        "second thermometer in cone A and in the bath for five minutes; turn the set point up and down and look "
        "whether the heater follows). If it is still off, before the next hatch: warm the water to 28 °C and leave "
        "this cone running: late embryos can still hatch. Check the heater."
    )
    assert finding.headline.endswith("the cause is not settled; first read the temperature again (22.5 °C).")
    assert "thermometer" in [c["check"] for c in finding.details["checks"]]
    assert sum(text.startswith("First: ") for text in finding.next_steps) == 1


def test_another_cause_that_is_named_stays_first_and_the_reading_comes_before_the_feed():
    finding = explain(site(note=NOTE["dark"], temperature_c=22.5), POOR)
    assert finding.details["named"] == ["dark"]
    assert finding.details["steps"][:3] == ["act dark", "check thermometer", "feed"]
    text = steps_of(finding)["check thermometer"]
    assert text.startswith("Whatever the cause: the temperature in cone A was 22.5 °C and should be 28 ± 1 °C. ")


def test_a_named_cause_is_not_told_twice():
    finding = explain(site(note="the heater failed in the night", temperature_c=22.5), POOR)
    assert finding.details["named"] == ["cold"] and finding.details["steps"][0] == "act cold"
    assert not any("should be 28" in text for text in finding.next_steps)


def test_what_costs_most_comes_first_and_what_costs_nothing_not_at_all():
    finding = explain(site(note=NOTE["dark"], temperature_c=22.5, salinity_ppt=44.0), POOR)
    assert finding.details["steps"][:4] == ["act dark", "check thermometer", "check refractometer", "feed"]
    words = [text.split(":")[0] for text in finding.next_steps[:4]]
    assert words[-1] == "Next feed"
    rows = [("temperature", "cold", 24.9), ("salinity", "salt", 60.0), ("temperature", "hot", 28.0)]
    rows = pd.DataFrame(rows, columns=["quantity", "cause", "value"]).reindex(columns=DIFFERENCE_COLUMNS)
    assert [off.cause for off in far_off_standard(rows, ConditionSettings())] == ["salt", "cold"]
    for water in ({"temperature_c": 26.5}, {"temperature_c": 30.6}, {"salinity_ppt": 38.0}, {"salinity_ppt": 25.0}):
        finding = explain(site(note=NOTE["dark"], **water), POOR)
        assert not any("should be" in text for text in finding.next_steps), water


def test_a_hatch_that_is_not_poor_hears_of_cold_water_too():
    finding = explain(site(0.82, temperature_c=22.5), POOR)
    assert finding.verdict == "not-poor" and finding.details["steps"][:2] == ["check thermometer", "feed"]
    assert finding.next_steps[0].startswith("All the same: the temperature in cone A was 22.5 °C ")


def test_the_check_that_reads_it_again_ends_it():
    tables = site(note=NOTE["dark"], temperature_c=22.5)
    refuted = explain(tables, POOR, checks=checks_of(("thermometer", "no: 27.9")))
    assert not any("22.5" in text for text in refuted.next_steps)
    found = explain(tables, POOR, checks=checks_of(("thermometer", "yes: 22.6"), ("light", "yes")))
    told = [text for text in found.next_steps if "arm the water to 28 °C" in text]
    assert len(told) == 1 and "check thermometer" not in found.details["steps"]
    asked_again = explain(tables, POOR, checks=checks_of(("thermometer", "unclear")))
    assert "check thermometer" in asked_again.details["steps"]


def test_after_the_limit_of_age_the_next_hatch_is_read():
    finding = explain(site(note=NOTE["dark"], temperature_c=22.5), POOR, now="2026-09-20T10:00:00+00:00")
    text = steps_of(finding)["check thermometer"]
    assert "Read it again in the next hatch (about 12 minutes: " in text and "If it is off there too: warm" in text


def test_the_sites_own_standard_is_said():
    settings = replace(Settings(), conditions=ConditionSettings(temperature_c=26.0, salinity_ppt=25.0))
    finding = explain(site(note=NOTE["dark"], temperature_c=22.5, salinity_ppt=60.0), POOR, settings=settings)
    text = steps_of(finding)["check thermometer"]
    assert "should be 26 ± 1 °C" in text and "warm the water to 26 °C" in text
    assert "at 25 ppt for the next hatch" in steps_of(finding)["act salt"]


def test_every_cause_says_what_to_do_in_words_without_braces():
    for item in CAUSES:
        assert not set("{}") & set(item.act(ConditionSettings())), item.code


@pytest.mark.parametrize(
    ("quantity", "cause", "value", "loss"),
    [
        ("ph", "ph", 7.5, 51.5),
        ("oxygen", "oxygen", 2.0, 75),
        ("light", "dark", 100.0, 30),
        ("salinity", "fresh", 4.0, 58.3),
    ],
)
def test_each_quantity_has_its_standard_and_its_cost(quantity, cause, value, loss):
    rows = pd.DataFrame([{"quantity": quantity, "cause": cause, "value": value}]).reindex(columns=DIFFERENCE_COLUMNS)
    (off,) = far_off_standard(rows, ConditionSettings())
    assert (off.cause, off.loss_pct) == (cause, pytest.approx(loss, abs=0.1))
    both = pd.concat([rows, rows.assign(value=value + (1.0 if cause == "fresh" else 0.01))], ignore_index=True)
    assert far_off_standard(both, ConditionSettings()) == [off]  # one of each quantity, the costliest
