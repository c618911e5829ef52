"""Properties of many months' pages, in rooms drawn at random: headline, verdict, evidence and steps never disagree.

Six pages in the quick suite, sixty in the slow one (``QCKIT_PAGES=500`` for more, about a second each); only the
finding is made, nothing is drawn. Rooms come from ``practice.month_rooms``: half of them quiet, the others with a
change of any kind, some with hatches or a change that a person has explained.
"""

import math
import os
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from qckit.charts.series import CONDITIONS
from qckit.practice.month_rooms import CHANGES, draw_room, draw_room_constants, plan_change
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.tables import check_table
from qckit.verdicts.month.signals import open_signals
from qckit.verdicts.month.study import study_month
from qckit.verdicts.month.tables import change_rows
from qckit.verdicts.month.verdict import finding_of_month, needs_attention

N_PAGES = int(os.environ.get("QCKIT_PAGES", "60"))
NOT_SAID = re.compile(
    r"\bnan\b|\binf\b|\bNone\b|sigma|\bp [<=]|degrees of freedom|standard error|p value|\d\.\d{3,}|  |\.\.|-0\.0\b"
)
FIRSTS = re.compile(r"before anything else|first of all|at once|straight away", re.IGNORECASE)


def rooms(seed, n):
    """Tables and the months to look at: the first months of a log, its middle and its end."""
    rng = np.random.default_rng(seed)
    for i in range(n):
        room = draw_room_constants(rng, days=int(rng.integers(125, 150)))
        room = replace(room, hatches_a_day=float(rng.uniform(0.6, 1.8)))
        if i % 2:
            points = float(rng.uniform(3, 25))
            room = plan_change(room, CHANGES[i // 2 % len(CHANGES)], rng, points=points)
        tables = SiteTables(settings=Settings(), **draw_room(room))
        names = sorted(set(tables.hatches["started"].str[:7]))
        for month in rng.choice(names, 3, replace=False):
            yield tables, str(month), rng


def explained(tables, study, rng):
    """The same log after a person explained the hatches and changes that the page asks about; None: it asks nothing."""
    changed = change_rows(study, found_by="op1", found_at="2026-01-01T08:00:00+00:00")
    waiting = open_signals(study.signals).drop_duplicates("hatch")
    if not len(changed) and not len(waiting):
        return None
    rows = [
        {"signal": s.signal, "chart": s.chart, "lot": s.lot, "hatch": s.hatch, "at": s.at.isoformat(), "rule": s.rule}
        | {"value": s.value, "state": "explained", "found_at": "2026-01-01T08:00:00+00:00", "by": "op1", "note": "air"}
        for s in waiting.itertuples()
    ]
    signals = check_table(pd.DataFrame(rows), "signals") if rows else tables.signals
    changes = changed.assign(state="explained", note="mended") if len(changed) else tables.changes
    return replace(tables, signals=signals, changes=changes)


def check(study, finding):
    """All that has to hold on one page."""
    open_shifts = [s for s in study.shifts if s.is_open]
    waiting = open_signals(study.signals)
    of_hatches = [s for s in open_shifts if s.quantity not in CONDITIONS]
    every = [finding.headline, *finding.next_steps, *(e.answer for e in finding.evidence), *finding.would_change]
    every += finding.cautions
    for text in every:
        assert not NOT_SAID.search(text), text
        assert text[-1] in ".!?" and text[0] == text[0].upper(), text
    # the verdict is what its parts say
    if of_hatches:
        assert finding.verdict == "out-of-control"
    elif open_shifts or len(waiting):
        assert finding.verdict == "signals"
    else:
        assert finding.verdict in ("in-control", "not-enough-evidence")
    assert needs_attention(study) == (finding.verdict in ("signals", "out-of-control"))
    begins = {"in-control": "In control", "signals": "To be explained", "out-of-control": "Not in control"}
    assert finding.headline.startswith(begins.get(finding.verdict, "There are too few")), finding.headline
    assert len(finding.headline) <= 150, finding.headline
    assert (finding.details["tone"] == "bad") == (finding.verdict == "out-of-control")
    # the evidence says the same
    against = [e for e in finding.evidence if e.question.startswith("What changed") and e.points == "against"]
    assert len(against) == len(open_shifts)
    assert any(e.question.startswith("Which single") for e in finding.evidence) == bool(len(waiting))
    below = [m for m in study.lots.values() if m.level is not None and m.level.is_below_minimum]
    if finding.verdict == "in-control":
        assert ("below your minimum" in finding.headline) == bool(below) == (finding.details["tone"] != "good")
    # one first action, and it is for what the headline names; nothing twice
    steps = finding.next_steps
    assert len(steps) == len(set(steps)) and sum(bool(FIRSTS.search(s)) for s in steps) <= 1
    assert len({(e.question, e.answer) for e in finding.evidence}) == len(finding.evidence)
    assert len({e.answer for e in finding.evidence}) == len(finding.evidence)
    assert len(set(finding.cautions)) == len(finding.cautions)
    hatches = [h for s in steps if s.startswith("Explain hatch") for h in re.findall(r"H\d{6}-[A-D]", s.split(";")[0])]
    assert len(hatches) == len(set(hatches))
    if open_shifts:
        level = open_shifts[0].level
        assert level in finding.headline and (not level or level in steps[0]), (finding.headline, steps[0])
    elif len(waiting):
        assert steps[0].startswith("Explain hatch") and hatches[0] in finding.headline
    # of one lot, "use it up" and "decide about it" are one step
    for m in study.lots.values():
        told = [s for s in steps if s.startswith(("Use up", "Decide about", "Test")) and m.lot in s]
        assert len(told) <= 1, told


def pages(seed, n):
    count = 0
    for tables, month, rng in rooms(seed, n):
        study = study_month(tables, month=month)
        check(study, finding_of_month(study))
        count += 1
        later = explained(tables, study, rng) if rng.random() < 0.5 else None
        if later is not None:
            closed = study_month(later, month=month)
            finding = finding_of_month(closed)
            check(closed, finding)
            count += 1
            if finding.verdict == "in-control":
                assert "explained" in finding.headline
    return count


@pytest.mark.part
def test_six_pages_agree_with_themselves():
    assert pages(12, 2) >= 6


@pytest.mark.slow
def test_many_pages_agree_with_themselves():
    assert pages(12, math.ceil(N_PAGES / 3)) >= N_PAGES


def test_water_that_was_not_read_while_the_hatches_fell_is_asked_for():
    rng = np.random.default_rng(3)
    room = replace(plan_change(draw_room_constants(rng, days=150), "salinity", rng, points=18.0), missing=0.05)
    room = replace(room, change=replace(room.change, first=date(2025, 6, 12), last=date(2025, 7, 20)))
    drawn, change = draw_room(room), room.change
    day = pd.to_datetime(drawn["hatches"]["started"], utc=True).dt.date
    touched = drawn["hatches"].loc[(day >= change.first) & (day <= change.last), "hatch"]
    readings, hatches = drawn["readings"], drawn["hatches"].copy()
    readings = readings[~(readings["hatch"].isin(touched) & (readings["quantity"] == "salinity"))]
    hatches.loc[hatches["hatch"].isin(touched), "salinity_ppt"] = np.nan
    tables = SiteTables(settings=Settings(), **(drawn | {"readings": readings, "hatches": hatches}))
    study = study_month(tables, month="2025-06")
    shift = next(s for s in study.shifts if s.quantity == "hatch_pct" and s.effect < 0)
    assert shift.unread == ("salinity_ppt",)
    finding = finding_of_month(study)
    check(study, finding)
    assert any(step.startswith("Measure the salinity") for step in finding.next_steps)
    assert any("Hardly read in these hatches" in e.answer for e in finding.evidence)


def test_a_change_of_one_day_is_said_of_that_day():
    from types import SimpleNamespace

    from qckit.verdicts.month.words import since_words

    first, last = pd.Timestamp("2026-11-08T09:00"), pd.Timestamp("2026-11-08T18:00")
    change = SimpleNamespace(first=first, last=last, is_ongoing=False)
    assert since_words(change, "dmy") == "on 8 Nov 2026"
    change.last += pd.Timedelta(days=2)
    assert since_words(change, "dmy") == "from 8 Nov 2026 to 10 Nov 2026"
    change.is_ongoing = True
    assert since_words(change, "dmy") == "since 8 Nov 2026"
