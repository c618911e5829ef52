"""Runs of a report: whole or not at all, the same bytes again, one line when it fails."""

import errno
import json
import re
import shutil
from pathlib import Path

import nbformat
import pandas as pd
import pytest

from qckit import reports
from qckit._paths import notebooks_dir
from qckit.errors import InputError, NeedsAttention, QcError
from qckit.log import create_log, open_log, seal_of
from qckit.reports.since import differences

NOW = "2026-11-04T12:00:00+00:00"
FILES = ["findings.json", "notebook.ipynb", "report.html"]


def content(folder: Path) -> dict:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


def test_a_run_gives_page_notebook_and_findings(site, notebook, body):
    run = reports.run_report(
        "new-lot",
        site,
        {"lot": "K-1", "grams": 2},
        now=NOW,
        notebook=notebook(["# Lot", body, "reports.first_screen(finding, now=now)", "grams"]),
    )
    assert run.folder == site.resolve() / "reports" / "new-lot-K-1"
    assert sorted(content(run.folder)) == FILES
    page = run.html.read_text(encoding="utf-8")
    assert "<title>New lot: K-1</title>" in page and "Lot K-1 holds." in page
    assert "Tide &amp; &lt;Pool&gt;" in page and "<pre>2.0</pre>" in page
    assert page.count("<style") == 1 and "<script" not in page
    found = json.loads(run.findings.read_text(encoding="utf-8"))
    assert (found["subject"], found["made"], found["schema"]) == ("K-1", NOW, "qckit-finding-1")
    assert run.finding == found
    index = (site / "reports" / "index.html").read_text(encoding="utf-8")
    with open_log(site) as log:
        entered = log.reports(kind="new-lot").to_dict("records")
    assert [(r["subject"], r["path"]) for r in entered] == [("K-1", "reports/new-lot-K-1/report.html")]
    assert 'href="new-lot-K-1/report.html"' in index and "Tide &amp; &lt;Pool&gt;" in index


def test_the_same_records_give_the_same_bytes(site, notebook, body):
    path = notebook(["# Lot", body, "reports.first_screen(finding, now=now)"])
    first, second = (
        content(reports.run_report("new-lot", site, {"lot": "K-1"}, now=NOW, notebook=path).folder) for _ in "12"
    )
    assert first == second
    later = content(
        reports.run_report("new-lot", site, {"lot": "K-1"}, now="2026-11-05T12:00:00+00:00", notebook=path).folder
    )
    assert first["report.html"].replace(b"2026-11-04", b"2026-11-05") == later["report.html"]


def test_the_kept_notebook_names_no_folder_of_this_machine(site, notebook, body):
    run = reports.run_report("new-lot", site, {"lot": "K-1"}, now=NOW, notebook=notebook([body]))
    text = run.notebook.read_text(encoding="utf-8")
    assert str(site) not in text and "qckit-" not in text.replace("qckit-finding", "")
    kept = nbformat.read(run.notebook, as_version=4)
    nbformat.validate(kept)
    assert kept.metadata.kernelspec.name == "python3" and "papermill" not in kept.metadata


EVIL = ["<script>alert(1)</script>", "=cmd()", "../../x", "quo\"te's \\ back", "🦐 {x} {0}", "L" * 200, "a\nb"]


@pytest.mark.slow
@pytest.mark.usefixtures("warm_kernels")
def test_evil_lot_names_go_through_unharmed(site, notebook, body):
    path = notebook([body, "reports.first_screen(finding, now=now)", "reports.evidence(finding)"])
    runs = reports.run_reports(
        [("new-lot", {"lot": lot}) for lot in EVIL],
        site,
        now=NOW,
        workers=2,
        notebooks={"new-lot": path},
    )
    assert [run.finding["subject"] for run in runs] == EVIL
    folders = {run.folder for run in runs}
    assert len(folders) == len(EVIL) and {f.parent for f in folders} == {site.resolve() / "reports"}
    pages = [run.html.read_text(encoding="utf-8") for run in runs]
    pages.append((site / "reports" / "index.html").read_text(encoding="utf-8"))
    for page in pages:
        assert "<script" not in page and 'href="../' not in page
    listed = re.findall(r'href="([^"]+)/report.html"', pages[-1])
    assert sorted(listed) == sorted(f.name for f in folders)


def test_a_sites_changed_copy_is_told_and_can_be_run(site, notebook, body, tmp_path, monkeypatch, capsys):
    from qckit import cli
    from qckit.reports import run

    shown = "reports.first_screen(finding, now=now)"
    kit, own = tmp_path / "kit", site / "notebooks"
    for folder in (kit, own):
        folder.mkdir(exist_ok=True)
    shutil.copy(notebook(["# The kit's", body, shown]), kit / "new_lot.ipynb")
    shutil.copy(kit / "new_lot.ipynb", own / "new_lot.ipynb")
    monkeypatch.setattr(run, "notebooks_dir", lambda: kit)
    monkeypatch.setattr(run, "need_subject", lambda *_: None)
    monkeypatch.setattr("qckit.commands.report._need_subject", lambda *_: None)

    def made(*options):
        with pytest.raises(SystemExit) as done:
            cli.main(["report", "new-lot", "K-1", "--no-count", "--site", str(site), "--now", NOW, *options])
        assert done.value.code == 0
        return capsys.readouterr().out, (site / "reports" / "new-lot-K-1" / "report.html").read_text("utf-8")

    assert "note:" not in made()[0]
    text = (own / "new_lot.ipynb").read_text("utf-8")
    (own / "new_lot.ipynb").write_text(text.replace("# The kit's", "# Our own"), encoding="utf-8")
    said, page = made()
    assert f"{own / 'new_lot.ipynb'} differs from it" in said and "The kit's" in page and "Our own" not in page
    said, page = made("--notebook", str(own / "new_lot.ipynb"))
    assert "note:" not in said and "Our own" in page


def test_values_typed_into_a_copy_and_its_outputs_are_no_change(site, monkeypatch):
    own = site / "notebooks"
    own.mkdir(exist_ok=True)
    copy = own / "monthly_review.ipynb"
    kept = nbformat.read(notebooks_dir() / "monthly_review.ipynb", as_version=4)
    kept.cells[1].source = kept.cells[1].source.replace('month = ""', 'month = "2026-10"')
    kept.cells[2].execution_count = 7
    kept.cells.append(nbformat.v4.new_code_cell(""))
    nbformat.write(kept, copy)
    assert reports.changed_copy("month", site) is None
    kept.cells[0].source += " Ours."
    nbformat.write(kept, copy)
    assert reports.changed_copy("month", site) == copy
    copy.write_text("{", encoding="utf-8")
    assert reports.changed_copy("month", site) == copy
    copy.unlink()
    assert reports.changed_copy("month", site) is None


def test_a_misspelt_parameter_is_refused_before_anything_runs(site, notebook, body):
    with pytest.raises(InputError) as caught:
        reports.run_report("new-lot", site, {"lot": "K-1", "gram": 2}, notebook=notebook([body]))
    assert str(caught.value) == (
        "small.ipynb: unknown parameter 'gram'. Did you mean 'grams'? Known: site, lot, grams, out_dir, now."
    )
    assert not (site / "reports").exists()


@pytest.mark.parametrize(
    "kind, parameters, now, message",
    [
        (
            "newlot",
            {"lot": "K"},
            None,
            "unknown kind of report 'newlot'. Did you mean 'new-lot'? Known: new-lot, month, poor-hatch.",
        ),
        ("new-lot", {}, None, "small.ipynb: the parameter lot is empty. Say which lot the report is about."),
        ("new-lot", {"lot": "K"}, "noon", "now: 'noon' is not a time with its date. Write it like 2026-11-04 09:00."),
    ],
)
def test_what_cannot_be_run_is_refused(site, notebook, body, kind, parameters, now, message):
    with pytest.raises(InputError) as caught:
        reports.run_report(kind, site, parameters, now=now, notebook=notebook([body]))
    assert str(caught.value) == message


def test_a_folder_that_is_no_site_is_refused(tmp_path, notebook, body):
    with pytest.raises(InputError) as caught:
        reports.run_report("new-lot", tmp_path, {"lot": "K"}, notebook=notebook([body]))
    assert str(caught.value) == (
        f"{tmp_path}: no qckit.toml there, so this is not a site folder. Make one with  qckit new {tmp_path}"
    )


@pytest.mark.usefixtures("warm_kernels")
def test_a_failed_run_keeps_the_notebook_and_the_earlier_report(site, notebook, body):
    good = reports.run_report("new-lot", site, {"lot": "K-1"}, now=NOW, notebook=notebook([body]))
    before = content(good.folder)
    with pytest.raises(InputError) as caught:
        reports.run_report("new-lot", site, {"lot": "K-1"}, notebook=notebook([body, "{}['a\\nb']"]))
    kept = site.resolve() / "reports" / "new-lot-K-1.failed.ipynb"
    assert str(caught.value) == (
        f"the report new-lot 'K-1' failed: KeyError: 'a\\nb'. The notebook with the error: {kept}"
    )
    assert "KeyError" in kept.read_text(encoding="utf-8") and content(good.folder) == before
    reports.run_report("new-lot", site, {"lot": "K-1"}, now=NOW, notebook=notebook([body]))
    assert not kept.exists()
    assert sorted(p.name for p in (site / "reports").iterdir()) == ["index.html", "new-lot-K-1"]


@pytest.mark.usefixtures("warm_kernels")
def test_a_message_for_the_technician_stays_as_it_is(site, notebook):
    cell = "from qckit.errors import InputError\nraise InputError('unknown lot \\'K-9\\'. Known: K-1.')"
    with pytest.raises(InputError) as caught:
        reports.run_report("new-lot", site, {"lot": "K-9"}, notebook=notebook([cell]))
    kept = site.resolve() / "reports" / "new-lot-K-9.failed.ipynb"
    assert str(caught.value) == f"unknown lot 'K-9'. Known: K-1. The notebook with the error: {kept}"


@pytest.mark.usefixtures("warm_kernels")
def test_a_notebook_without_findings_is_an_error(site, notebook):
    with pytest.raises(InputError) as caught:
        reports.run_report("new-lot", site, {"lot": "K"}, notebook=notebook(["1 + 1"]))
    assert str(caught.value) == (
        "small.ipynb: it ran but saved no findings. Call reports.save_findings(finding, out_dir) in it."
    )


@pytest.mark.parametrize(
    ("out_dir", "said"),
    [
        (None, "reports: lies where nothing can be written, and reports are kept with their site. Copy the site"),
        ("elsewhere", "elsewhere: lies where nothing can be written. Name another folder for the report."),
    ],
)
def test_a_folder_that_cannot_be_written_is_refused_at_once(site, notebook, body, tmp_path, monkeypatch, out_dir, said):
    def refused(dir):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr("tempfile.TemporaryFile", refused)
    out_dir = out_dir and tmp_path / out_dir
    with pytest.raises(InputError) as caught:
        reports.run_report("new-lot", site, {"lot": "K"}, notebook=notebook([body]), out_dir=out_dir)
    assert said in str(caught.value) and not list(site.glob("reports/new-lot*"))


def test_a_kernel_that_dies_is_one_line(site, notebook, body):
    with pytest.raises(InputError) as caught:
        reports.run_report(
            "new-lot",
            site,
            {"lot": "K"},
            notebook=notebook([body, "print('as far as' + ' here')", "import os; os._exit(1)"]),
        )
    assert str(caught.value).startswith("the report new-lot 'K' failed: DeadKernelError: Kernel died.")
    assert len(str(caught.value).splitlines()) == 1
    (kept,) = (site / "reports").glob("*.failed.ipynb")
    assert "as far as here" in kept.read_text(encoding="utf-8")


@pytest.mark.usefixtures("warm_kernels")
def test_one_that_fails_does_not_stop_the_others(site, notebook, body):
    said = []
    results = reports.run_reports(
        [("new-lot", {"lot": "A"}), ("new-lot", {"lots": "B"}), ("new-lot", {"lot": "C"})],
        site,
        now=NOW,
        notebooks={"new-lot": notebook([body])},
        progress=lambda *args: said.append(args),
    )
    assert [isinstance(r, QcError) for r in results] == [False, True, False]
    assert said == [(1, 3, "new-lot A"), (2, 3, "new-lot B"), (3, 3, "new-lot C")]


@pytest.mark.parametrize(("fails", "many"), [("_enter_in_log", False), ("write_index", False), ("write_index", True)])
@pytest.mark.usefixtures("warm_kernels")
def test_a_page_that_stands_is_told_where_what_comes_after_it_fails(site, notebook, body, monkeypatch, fails, many):
    def fail(*_args, **_kwargs):
        raise OSError(errno.ENOSPC, "No space left on device", "index.html")

    monkeypatch.setattr(f"qckit.reports.run.{fails}", fail)
    path, page = notebook([body]), site.resolve() / "reports" / "new-lot-A" / "report.html"
    with pytest.raises(NeedsAttention) as caught:
        if many:
            reports.run_reports([("new-lot", {"lot": "A"})], site, now=NOW, notebooks={"new-lot": path})
        else:
            reports.run_report("new-lot", site, {"lot": "A"}, now=NOW, notebook=path)
    assert str(caught.value) == (
        f"{page}: is written, and what comes after failed: index.html: the disk is full. Free some space and run the "
        "same command again."
    )
    assert page.is_file()


def test_a_foreign_kernel_name_and_no_kernel_name_do_not_matter(site, notebook, body):
    for spec in (None, {"name": "some-other-kernel", "display_name": "x", "language": "R"}):
        path = notebook([body, "import sys; print(sys.executable)"])
        made = nbformat.read(path, as_version=4)
        made.metadata.pop("kernelspec", None)
        if spec:
            made.metadata.kernelspec = spec
        nbformat.write(made, path)
        run = reports.run_report("new-lot", site, {"lot": "K"}, now=NOW, notebook=path)
        import sys

        assert sys.executable in run.html.read_text(encoding="utf-8")


def test_braces_and_accents_in_the_site_folder_do_not_matter(tmp_path, notebook, body):
    folder = tmp_path / "Plage d'été {7} ☼"
    folder.mkdir()
    (folder / "qckit.toml").write_text("", encoding="utf-8")
    create_log(folder)
    run = reports.run_report("new-lot", folder, {"lot": "K"}, now=NOW, notebook=notebook([body]))
    assert run.html.is_file() and run.folder.parent.parent == folder.resolve()


@pytest.mark.usefixtures("warm_kernels")
def test_widgets_and_error_output_do_not_reach_the_page(site, notebook, body):
    cells = [
        body,
        "import sys; print('a warning', file=sys.stderr)",
        "from IPython.display import Javascript; Javascript('alert(1)')",
        "import ipywidgets; ipywidgets.IntSlider()",
        "print('<b>plain</b>')",
    ]
    page = reports.run_report("new-lot", site, {"lot": "K"}, now=NOW, notebook=notebook(cells)).html.read_text("utf-8")
    assert "a warning" not in page and "alert(1)" not in page and "widget-state" not in page
    assert "&lt;b&gt;plain&lt;/b&gt;" in page


def test_find_site(site, tmp_path, monkeypatch):
    (site / "notebooks").mkdir()
    monkeypatch.delenv("QCKIT_SITE", raising=False)
    monkeypatch.chdir(site / "notebooks")
    assert reports.find_site() == site.resolve() == reports.find_site(str(site))
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError) as caught:
        reports.find_site()
    assert str(caught.value) == (
        f"{tmp_path}: neither this folder nor one above it is a site (none holds qckit.toml). Name the site's folder: "
        "--site FOLDER after a command, the parameter site in a notebook; or make the invented one with  qckit demo"
    )
    monkeypatch.setenv("QCKIT_SITE", str(site))
    assert reports.find_site() == site.resolve()


@pytest.mark.usefixtures("warm_kernels")
def test_dates_stand_in_the_order_of_the_site_and_empty_parameters_are_not_listed(site, notebook, body):
    (site / "qckit.toml").write_text('[site]\nname = "Cove"\ndate_order = "dmy"\n', encoding="utf-8")
    with open_log(site) as log:
        log.add("lots", pd.DataFrame([{"lot": "2026-10-14"}]), by="op1")
        log.add("photos", pd.DataFrame([{"photo": "Yard 2026-10-12 at 8.jpg", "sha256": "0" * 64}]), by="op1")
    known = "2026-10-14 and Yard 2026-10-12 at 8.jpg"
    spoken = f'reports.note("Since 2026-10-12, in lot 2026-10-13; see 2026-10-12.jpg, {known}.")'
    parameters = 'site = ""  # type: str\nlot = ""  # type: str\nhatch = ""  # type: str\nout_dir = ""\nnow = ""'
    path = notebook(["# Lot", body, "reports.first_screen(finding, now=now)", spoken], parameters=parameters)
    run = reports.run_report("new-lot", site, {"lot": "2026-10-13"}, now=NOW, notebook=path)
    page = run.html.read_text(encoding="utf-8")
    assert f"Since 12 Oct 2026, in lot 13 Oct 2026; see 2026-10-12.jpg, {known}." in page  # the log knows no such lot
    assert " \u00b7 4 Nov 2026<" in page and "Made 4 Nov 2026 12:00 +00:00 by qckit" in page
    assert "<bdi>2026-10-13</bdi>" in page and '<th scope="row">hatch</th>' not in page
    index = (site / "reports" / "index.html").read_text(encoding="utf-8")
    assert '<p class="made">4 Nov 2026 12:00</p>' in index


def test_pictures_drawn_for_a_live_notebook_go_with_its_kernel():
    import subprocess
    import sys

    code = "from qckit.reports.checked import _folder; folder = _folder(''); print(folder, folder.is_dir())"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    folder, was_there = done.stdout.split()
    assert was_there == "True" and not Path(folder).exists()


@pytest.mark.usefixtures("warm_kernels")
def test_a_page_made_again_says_what_differs_and_keeps_the_one_before(site, notebook, body):
    path = notebook([body])
    first = reports.run_report("new-lot", site, {"lot": "K-1"}, now=NOW, notebook=path)
    before = content(first.folder)
    settings = site / "qckit.toml"
    assert first.since == () and first.finding["settings"]["limits"]["min_hatch_pct"] == 75.0
    settings.write_text(settings.read_text("utf-8") + "[limits]\nmin_hatch_pct = 70.0\n", "utf-8")
    again = reports.run_report("new-lot", site, {"lot": "K-1"}, now="2026-12-01T09:00:00+00:00", notebook=path)
    assert again.since == ("setting limits.min_hatch_pct: 75.0, now 70.0",)
    (kept,) = (site / "reports" / "earlier" / "new-lot-K-1").iterdir()
    assert content(kept) == {name: before[name] for name in ("findings.json", "report.html")}
    with open_log(site) as log:
        found = log.check(photos=False)
        assert not set(found["code"]) & {"changed page", "missing page", "unknown page", "changed records"}
        seal = again.finding["records"]["seal"]
        assert seal == str(seal_of(log, for_page=True)) and seal in again.html.read_text("utf-8")


def test_what_differs_is_told_with_what_it_may_come_from():
    figure = {"name": "hatch_pct", "label": "hatching percentage", "unit": "%", "decimals": 1}
    photo = {"photo": "a.jpg", "sha256": "0f"}
    before = {
        "headline": "Holds.",
        "figures": [figure | {"value": 78.12, "low": 70.0, "high": 84.0}],
        "hatches": ["H-1", "H-2"],
        "photos": [photo | {"counter_version": "1.17"}],
        "software": "qckit 0.1.0",
        "records": {"step": 6},
    }
    after = before | {
        "headline": "Fails.",
        "figures": [figure | {"value": 71.0, "low": None, "high": None}],
        "hatches": ["H-1", "H-3", "H-4"],
        "photos": [photo | {"counter_version": "1.18"}, {"photo": "b.jpg", "sha256": "1"}],
        "software": "qckit 0.2.0",
        "records": {"step": 14},
    }
    assert differences(before, after) == [
        "it was: Holds.",
        "hatching percentage: 78.1 (70.0 to 84.0) %, now 71.0 %",
        "rests on 2 hatches more and 1 hatch less",
        "rests on 1 photo more",
        "counter of photos: version 1.17, now 1.18",
        "software: qckit 0.1.0, now qckit 0.2.0",
        "records: up to step 6, now up to step 14",
    ]
    assert differences(before, before | {"made": NOW, "records": {"step": 7}}) == []
