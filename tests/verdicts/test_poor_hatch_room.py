"""Words and readings of the room that stand at another cone."""

import numpy as np
import pandas as pd
import pytest
from poor_cases import explain, planted

from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.likelihood.beside import hatches_beside, phrases_beside
from qckit.verdicts.poor_hatch.likelihood.notes import read_sheet


@pytest.fixture
def cold_night():
    """A cold hatch whose own sheet says nothing, and another cone of that day of which nothing was counted."""
    tables = planted(["cold"], [0.35], is_logged=False)
    hatches = tables["hatches"]
    row = hatches[hatches["hatch"] == "X"].iloc[0]
    other = row.copy()
    other["hatch"], other["cone"], other["notes"] = "Y", "other", None
    other["temperature_c"] = np.nan
    hatches = hatches.assign(
        temperature_c=hatches["temperature_c"].mask(hatches["hatch"] == "X"),
        notes=hatches["notes"].mask(hatches["hatch"] == "X"),
    )
    if tables["readings"] is not None and len(tables["readings"]):
        tables["readings"] = tables["readings"][tables["readings"]["hatch"] != "X"]
    return tables, hatches, other


def cold_in(tables, hatches, other):
    finding = explain(
        tables | {"hatches": pd.concat([hatches, other.to_frame().T.astype(hatches.dtypes)], ignore_index=True)}, "X"
    )
    chances = {c["code"]: c["probability"] for c in finding.details["causes"]}
    return chances.get("cold", 0.0), finding


def test_a_note_at_another_cone_speaks_for_what_strikes_the_room(cold_night):
    tables, hatches, other = cold_night
    before, _ = cold_in(tables, hatches, other)
    other["notes"] = "heater was off"
    after, finding = cold_in(tables, hatches, other)
    assert after > before
    assert any("The sheet of cone other: “heater was off”" in e.answer for e in finding.evidence)


def test_a_reading_at_another_cone_speaks_where_none_was_taken(cold_night):
    tables, hatches, other = cold_night
    before, _ = cold_in(tables, hatches, other)
    other["temperature_c"] = 21.5
    after, finding = cold_in(tables, hatches, other)
    assert after > before
    assert any("At cone other, started with it, temperature 21.5 °C" in e.answer for e in finding.evidence)
    other["temperature_c"] = 28.0
    assert cold_in(tables, hatches, other)[0] < after


def test_what_strikes_one_cone_alone_is_not_told_by_another():
    row = {"hatch": "Y", "cone": "B", "notes": "double portion by mistake; heater was off", "aeration": None}
    found = phrases_beside([row], [])
    assert [(p.cause, p.where) for p in found if p.cause in ("cold", "crowded")] == [("cold", "cone B")]
    own = cause("cold")
    alone = next(p for p in read_sheet(row) if p.cause == "cold")
    assert found[0].factor == pytest.approx(1 + own.shared * (alone.factor - 1)) and alone.factor > 20
    assert not [p for p in phrases_beside([row], found) if p.cause == "cold"]


def test_only_hatches_of_the_same_day_lie_beside():
    started = ["2026-10-01T08:00:00+00:00", "2026-10-01T10:00:00+00:00", "2026-10-02T08:30:00+00:00"]
    hatches = pd.DataFrame({"hatch": ["X", "Y", "Z"], "started": started})
    assert [r["hatch"] for r in hatches_beside(hatches, hatches.iloc[0])] == ["Y"]
