"""A fortnight typed into the dialogue, a cold cone on one day; then the month and the poor hatch from it."""

import datetime as dt

import pytest
from invented_day import at, counts_of

from qckit.day.entry.dialog import Dialog
from qckit.site import load_site

POOR = "H261115-B"
COLD = [(38, 30, 42, 40), (36, 33, 40, 38), (40, 29, 44, 41)]


class Typist:
    """Types one morning after another: counts of each cone, readings, two starts."""

    def __init__(self, bench):
        self.bench = bench
        self.said = []
        self.keys = 0

    def type(self, *answers):
        left = list(answers)
        self.keys += sum(len(answer) + 1 for answer in answers)

        def ask(question, default):
            if not left:
                raise EOFError
            return left.pop(0)

        Dialog(self.bench, ask, self.said.append).run()
        assert left == []

    def morning(self, day: int, *, count: bool) -> None:
        bench = self.bench
        bench._from = at("2026-11-07T09:05") + dt.timedelta(days=day)
        bench.study()
        if count:
            for cone in "AB":
                name = f"H{bench.moment() - dt.timedelta(days=1):%y%m%d}-{cone}"
                rows = COLD if name == POOR else counts_of(day)
                self.type("", "", *(" ".join(map(str, row)) for row in rows))
        for cone, celsius in (("1", "28"), ("2", "21,5" if f"{bench.moment():%y%m%d}" in POOR else "28")):
            self.type("2", cone, "27", "")
            place = [i for i, state in enumerate(bench.readable(), 1) if state.started.date() == bench.moment().date()]
            self.type("5", str(place[-1]), celsius, "33", "8,2", "6,2", "2000")


@pytest.fixture(scope="module")
def fortnight(tmp_path_factory):
    """A site whose fourteen days were all typed."""
    import pandas as pd

    from qckit.day.entry.bench import Bench
    from qckit.day.founding import Answers, found_site
    from qckit.log import open_log

    folder = tmp_path_factory.mktemp("fortnight") / "site"
    found_site(folder, Answers(name="Ostrel Cove (invented)", cones="A, B", people="op1", nauplii=5_000_000))
    with open_log(folder, now=lambda: "2026-11-06T08:00:00+00:00") as log:
        log.add("lots", pd.DataFrame([{"lot": "L-1", "opened": "2026-11-01"}]), by="op1")
    with Bench(folder, by="op1", now="2026-11-07T09:05") as bench:
        typist = Typist(bench)
        for day in range(15):
            typist.morning(day, count=day > 0)
    return folder, typist


@pytest.mark.slow
def test_the_month_and_the_poor_hatch_come_from_what_was_typed(fortnight):
    folder, typist = fortnight
    site = load_site(folder)
    assert len(site.tables.hatches) == 30 and len(site.samples) == 14 * 2 * 3
    assert any(line.startswith("A 8") and "cold" in line for line in typist.said), typist.said[-5:]
    poor = site.poor_hatch(POOR)
    assert poor.details["causes"][0]["code"] == "cold"
    month = site.month("2026-11")
    assert month.kind == "month" and POOR in str(month.to_dict())


@pytest.mark.slow
def test_both_reports_are_written_from_it(fortnight):
    from qckit.reports import run_reports

    folder, _ = fortnight
    jobs = [("month", {"month": "2026-11"}), ("poor-hatch", {"hatch": POOR})]
    for made in run_reports(jobs, folder, now="2026-11-21T10:00:00+00:00", workers=1):
        assert made.html.is_file() and POOR in made.html.read_text(encoding="utf-8")
