"""Months in which nothing changed: cones that always stood apart, and water as steady as a meter can tell."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from qckit.practice.month_rooms import draw_room, draw_room_constants
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.verdicts.month.study import study_month
from qckit.verdicts.month.verdict import finding_of_month

CHANGED = pd.Timestamp("2025-06-20", tz="UTC")


def room_of(seed):
    """A quiet room whose hatches share little by the day."""
    return replace(draw_room_constants(np.random.default_rng(seed)), day=0.02, residual=0.1, residual_tail_df=1e6)


def with_reading(sheets, quantity, column, of_hatches):
    """The room's sheets with these readings of a quantity: a value a hatch."""
    readings = sheets["readings"]
    is_it = readings["quantity"] == quantity
    readings = readings.assign(value=readings["value"].mask(is_it, readings["hatch"].map(of_hatches)))
    hatches = sheets["hatches"].assign(**{column: sheets["hatches"]["hatch"].map(of_hatches)})
    return SiteTables(settings=Settings(), **{**sheets, "hatches": hatches, "readings": readings})


@pytest.mark.parametrize("fall, verdict", [(0.06, "in-control"), (0.25, "signals")])
def test_a_ph_that_a_meter_may_be_off_by_is_told_and_changes_no_verdict(fall, verdict):
    sheets = draw_room(room_of(3))
    hatches = sheets["hatches"]
    late = pd.to_datetime(hatches["started"], utc=True) >= CHANGED
    ph = 8.2 + np.random.default_rng(1).normal(0, 0.015, len(hatches)) - fall * ((hatches["cone"] == "C") & late)
    study = study_month(
        with_reading(sheets, "ph", "ph", dict(zip(hatches["hatch"], ph.round(2), strict=True))), month="2025-08"
    )
    (shift,) = [s for s in study.shifts if s.quantity == "ph"]
    assert (shift.where, shift.first >= CHANGED) == ("cone C", True)
    assert shift.effect == pytest.approx(-fall, abs=0.02)
    assert shift.is_of_meter == (not shift.counts) == (fall < 0.1)
    finding = finding_of_month(study)
    assert finding.verdict == verdict
    (line,) = [e for e in finding.evidence if e.code == "shift"]
    assert line.answer.endswith("A meter in good order may be off by as much, so it does not count.") == (fall < 0.1)
    assert line.points == ("neutral" if fall < 0.1 else "against")


@pytest.mark.parametrize("before, after, counts", [(6.0, 11.0, False), (2000.0, 1960.0, False), (2000.0, 900.0, True)])
def test_light_must_change_by_a_share_and_by_lux(before, after, counts):
    """Five lux in near darkness are a large share, and nothing to cysts that need about 2,000."""
    sheets = draw_room(room_of(3))
    hatches = sheets["hatches"]
    late = pd.to_datetime(hatches["started"], utc=True) >= CHANGED
    noise = np.exp(np.random.default_rng(1).normal(0, 0.01, len(hatches)))
    lux = np.where((hatches["cone"] == "C") & late, after, before) * noise
    of_hatches = dict(zip(hatches["hatch"], lux.round(1), strict=True))
    study = study_month(with_reading(sheets, "light", "light_lux", of_hatches), month="2025-08")
    told = [s for s in study.shifts if s.quantity == "light_lux"]
    assert [s.where for s in told] == ["cone C"]
    assert [s.counts for s in told] == [counts]
    assert (finding_of_month(study).verdict == "signals") == counts


def test_a_cone_that_always_stood_far_off_is_a_standing_difference_in_every_month():
    for seed in range(4):
        room = room_of(40 + seed)
        far = replace(room, cones=dict.fromkeys("BCD", 0.0) | {"A": -0.5}, people=dict.fromkeys(room.people, 0.0))
        tables = SiteTables(settings=Settings(), **draw_room(far))
        for month in ("2025-05", "2025-07"):
            study = study_month(tables, month=month)
            assert [s.where for s in study.shifts if s.factor == "cone" and s.quantity == "hatch_pct"] == []
            assert ("cone", "A") in {(d.factor, d.level) for d in study.standing}
