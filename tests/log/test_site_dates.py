"""Every date that a person at the site reads has the site's order: in notebooks, at the command line, on pages."""

import os
import re

import nbformat
import pandas as pd
import pytest

from qckit.log import new_site, open_log
from qckit.log.site_dates import SiteDates
from qckit.settings import Settings
from qckit.tables import check_table

ISO = re.compile(r"\d{4}-\d\d-\d\d")
LOT = "L 2026-10-13"


@pytest.fixture
def site(tmp_path):
    """A day-first site with a lot whose name holds a date, and one hatch of it."""
    folder = new_site(tmp_path / "room", timezone="Europe/Lisbon", date_order="dmy")
    hatch = {"hatch": "H1", "lot": LOT, "cone": "A", "started": "2026-11-04T09:00+00:00", "cysts_g": 20.0}
    hatch |= {"volume_ml": 20_000.0, "purpose": "production"}
    late = {"hatch": "H2", "lot": LOT, "cone": "A", "started": "2062-11-04T09:00+00:00", "cysts_g": 20.0}
    late |= {"volume_ml": 20_000.0, "purpose": "production"}
    lots = pd.DataFrame([{"lot": LOT, "opened": "2026-10-20", "best_before": "2026-10-01"}])
    with open_log(folder, now=lambda: "2026-11-05T08:00:00+00:00") as log:
        frames = {"lots": lots, "hatches": pd.DataFrame([hatch, late])}
        log.add_many({name: check_table(frame, name) for name, frame in frames.items()}, by="op1", source="test")
    return folder


def test_names_of_the_log_and_keys_of_rows_stay(site):
    dates = SiteDates(Settings() if site is None else open_log(site).settings)
    key = "qckit log withdraw readings 'H1|2026-11-05T08:54:00+00:00|temperature' --reason TEXT"
    assert dates.text(f"{LOT}, opened 2026-10-20:  {key}") == f"{LOT}, opened 20 Oct 2026:  {key}"
    assert dates.page(f"<p>{LOT}, 2026-10-20</p>") == f"<p>{LOT}, 20 Oct 2026</p>"
    as_kept = SiteDates(Settings())  # of a place without a log
    assert as_kept.text("2026-10-20") == as_kept.page("2026-10-20") == "2026-10-20"


def test_history_and_check_say_dates_as_the_site_does(site, run):
    history = "".join(run("log", "history", "H1", "--site", site)[1:])
    assert "started 4 Nov 2026 09:00 +00:00" in history and ", by op1, 5 Nov 2026 08:00 +00:00, qckit" in history
    assert ISO.findall(history) == ["2026-10-13"]  # the lot's name
    check = "".join(run("log", "check", "--site", site)[1:])
    assert "started is 4 Nov 2062 09:00 +00:00, still to come" in check
    as_data = "".join(run("log", "history", "H1", "--csv", "--site", site)[1:])
    assert "2026-11-05T08:00:00+00:00" in as_data  # records stay as they are kept


def test_a_notebook_shows_dates_as_the_site_does(site):
    from nbclient import NotebookClient

    cells = [
        "from qckit import reports\nfolder = reports.find_site()",
        f"reports.sentences(['Since 2026-10-12, in {LOT}.'])",
        "import qckit\nreports.table(qckit.load_site().tables.lots[['lot', 'opened']])",
        "from qckit.verdicts.finding import Finding\n"
        "Finding('month', '2026-10', 'in-control', 'Cone C lower since 2026-10-12.')",
    ]
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(c) for c in cells])
    env = os.environ | {"IPYTHONDIR": str(site / "ipython"), "OMP_NUM_THREADS": "1"}
    env.pop("QCKIT_PROGRESS", None)
    env.pop("QCKIT_SITE", None)
    resources = {"metadata": {"path": str(site / "notebooks")}}
    NotebookClient(notebook, kernel_name="python3", timeout=120, resources=resources).execute(env=env)
    spoken, table, finding = (cell.outputs[0].data["text/html"] for cell in notebook.cells[1:])
    assert f"Since 12 Oct 2026, in {LOT}." in spoken
    assert "20 Oct 2026" in table and f"<bdi>{LOT}</bdi>" in table and "2026-10-20" not in table
    assert "Cone C lower since 12 Oct 2026." in finding
