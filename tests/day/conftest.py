"""A small invented hatch room with a protocol, and a bench at it."""

import datetime as dt
from types import SimpleNamespace

import pandas as pd
import pytest
from invented_day import at, counts_of

from qckit.day.entry import records
from qckit.day.entry.bench import Bench
from qckit.day.founding import Answers, found_site
from qckit.log import open_log

NOW = "2026-11-20T09:10"


def enter_days(log, first: str, n: int, cones="AB") -> None:
    """Write a hatch in each cone on ``n`` days, each counted the day after, in two steps."""
    hatches, samples = [], []
    for day in range(n):
        started = at(first) + dt.timedelta(days=day)
        sitting = records.Sitting(log.settings, "op1")
        for cone in cones:
            made = records.start_row(sitting, lot="L-1", cone=cone, grams=27.0, started=started)
            hatches.append(made.frames["hatches"])
            row = hatches[-1].iloc[0].to_dict()
            taken = started + dt.timedelta(hours=24)
            samples.append(records.count_rows(sitting, row, counts_of(day), taken=taken).frames["samples"])
    log.add("hatches", pd.concat(hatches, ignore_index=True), by="op1")
    log.add("samples", pd.concat(samples, ignore_index=True), by="op1")


@pytest.fixture(scope="session")
def _room(tmp_path_factory):
    """A site with twelve ordinary days; copied for each test."""
    folder = tmp_path_factory.mktemp("room") / "site"
    found_site(folder, Answers(name="Ostrel Cove (invented)", cones="A, B", people="op1, op2", nauplii=1_000_000))
    with open_log(folder, now=lambda: "2026-11-06T08:00:00+00:00") as log:
        log.add("lots", pd.DataFrame([{"lot": "L-1", "opened": "2026-11-01"}]), by="op1")
        enter_days(log, "2026-11-07T09:00", 12)
        started = at("2026-11-19T09:00")
        sitting = records.Sitting(log.settings, "op1")
        rows = [records.start_row(sitting, lot="L-1", cone=cone, grams=27.0, started=started) for cone in "AB"]
        log.add("hatches", pd.concat([made.frames["hatches"] for made in rows], ignore_index=True), by="op1")
    return folder


@pytest.fixture
def room(_room, tmp_path):
    """The site's folder, to write into."""
    import shutil

    shutil.copytree(_room, tmp_path / "site")
    return tmp_path / "site"


@pytest.fixture
def bench(room):
    """A bench on the morning after a hatch was started in each cone."""
    with Bench(room, by="op1", now=NOW) as opened:
        yield opened


@pytest.fixture
def typed(bench):
    """Type answers into the dialogue; return what was asked and said."""
    from qckit.day.entry.dialog import Dialog

    def run(*answers, tally=None):
        left, asked, said = list(answers), [], []

        def ask(question, default):
            if not left:
                raise EOFError
            asked.append(question)
            return left.pop(0)

        Dialog(bench, ask, said.append, tally=tally).run()
        return SimpleNamespace(asked=asked, said=said, left=left)

    return run
