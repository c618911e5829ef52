"""A small invented hatch room with a protocol, and a bench at it."""

import datetime as dt
from types import SimpleNamespace

import pandas as pd
import pytest
from invented_day import at, counts_of

from qckit.day.bench import Bench
from qckit.day.founding import Answers, found_site
from qckit.log import open_log

NOW = "2026-11-20T09:10"


def enter_days(bench: Bench, first: str, n: int, cones="AB") -> None:
    """Start a hatch in each cone on ``n`` days, and count it the day after."""
    for day in range(n):
        started = at(first) + dt.timedelta(days=day)
        for cone in cones:
            made = bench.start(lot="L-1", cone=cone, grams=27.0, at=started)
            name = made.sentence.split()[1].rstrip(":")
            bench._from = started + dt.timedelta(hours=24)
            row = bench.log.hatches(hatch=name).iloc[0].to_dict()
            from qckit.day import entry, records

            counted = records.count_rows(
                bench.settings,
                row,
                counts_of(day),
                taken=started + dt.timedelta(hours=24),
                by="op1",
                names=entry.names_in_use(bench.log, "samples"),
            )
            entry.write_entry(bench.log, counted, by="op1")


@pytest.fixture(scope="session")
def _room(tmp_path_factory):
    """A site with twelve ordinary days; copied for each test."""
    folder = tmp_path_factory.mktemp("room") / "site"
    found_site(folder, Answers(name="Ostrel Cove (invented)", cones="A, B", people="op1, op2", nauplii=1_000_000))
    with open_log(folder, now=lambda: "2026-11-06T08:00:00+00:00") as log:
        log.add("lots", pd.DataFrame([{"lot": "L-1", "opened": "2026-11-01"}]), by="op1")
    with Bench(folder, by="op1", now="2026-11-07T09:00") as bench:
        bench.study = lambda: bench.page  # only the rows are wanted here
        enter_days(bench, "2026-11-07T09:00", 12)
        bench._from = at("2026-11-19T09:00")
        for cone in "AB":
            bench.start(lot="L-1", cone=cone, grams=27.0, at=at("2026-11-19T09:00"))
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
    from qckit.day.dialog import Dialog

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
