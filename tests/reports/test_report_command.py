"""``qckit report`` and ``qckit demo`` as typed: exit codes, one-line errors, what waits is counted first."""

import shlex
import shutil

import pandas as pd
import pytest

from qckit._paths import sample_images_dir
from qckit.errors import InputError
from qckit.log import create_log, open_log
from qckit.reports import count_uncounted, reports_of, run_report, write_index
from qckit.reports.uncounted import PhotosCounted

SHEETS = {
    name: pd.read_csv(sample_images_dir() / f"{name}.csv", dtype=str, keep_default_na=False)
    for name in ("lots", "hatches", "samples")
}


@pytest.fixture
def one_photo_site(tmp_path):
    """A site whose field sheet names two photos of one cone, neither of them there yet."""
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "qckit.toml").write_text("", encoding="utf-8")
    create_log(folder)
    keep = SHEETS["samples"]["sample"].isin(["ST-124-A-1", "ST-124-A-2"])
    tables = {"lots": SHEETS["lots"], "hatches": SHEETS["hatches"][:1], "samples": SHEETS["samples"][keep]}
    with open_log(folder) as log:
        log.add_many(tables, by="op1", source="test")
    return folder


def place(site, name, *, under="any folder"):
    (site / "photos" / under).mkdir(parents=True, exist_ok=True)
    shutil.copy(sample_images_dir() / "photos" / name, site / "photos" / under / name)


def test_photos_that_wait_are_counted_once_and_missing_ones_named(one_photo_site):
    place(one_photo_site, "k-124_a_1.jpg")
    first = count_uncounted(one_photo_site, by="op1")
    where = one_photo_site / "photos"
    missing = f"k-124_a_2.jpg: not in {where}. Copy it there and run this again."
    assert (first.n_counted, first.failures) == (1, (missing,))
    with open_log(one_photo_site) as log:
        (sample,) = log.samples().to_dict("records")
        objects = log.objects(sample="ST-124-A-1")
    assert sample["nauplii"] == ((objects["stage"] == "nauplius") & objects["counted"]).sum()
    assert sample["volume_ul"] == pytest.approx(106.28, abs=0.01)
    assert (one_photo_site / "counts" / "checked").is_dir()
    place(one_photo_site, "k-124_a_2.jpg", under="another")
    said = []
    second = count_uncounted(one_photo_site, by="op1", progress=lambda *args: said.append(args))
    assert (second.n_counted, second.failures, len(said)) == (1, (), 1)
    assert count_uncounted(one_photo_site).n_counted == 0


def test_a_photo_that_cannot_be_read_does_not_stop_the_others(one_photo_site):
    place(one_photo_site, "k-124_a_1.jpg")
    (one_photo_site / "photos" / "k-124_a_2.jpg").write_bytes(b"")
    result = count_uncounted(one_photo_site)
    assert result.n_counted == 1 and len(result.failures) == 1 and "k-124_a_2.jpg" in result.failures[0]


def named(site, **photos):
    """Enter a further sample of the test hatch for each name, with its photos."""
    row = dict(SHEETS["samples"].iloc[0]) | {"nauplii": None, "counted_by": "photo"}
    rows = [row | {"sample": sample, "photos": names} for sample, names in photos.items()]
    with open_log(site) as log:
        log.add("samples", pd.DataFrame(rows), by="op1", source="test")


def test_one_sample_that_cannot_be_counted_does_not_stop_the_others(one_photo_site):
    """A photo that cannot be read holds back its own sample alone, with the sample's other photos."""
    for name in ("k-124_a_1.jpg", "k-124_a_2.jpg", "k-124_a_3.jpg"):
        place(one_photo_site, name)
    (one_photo_site / "photos" / "cut.jpg").write_bytes(b"")
    named(one_photo_site, S9="k-124_a_3.jpg; cut.jpg")
    result = count_uncounted(one_photo_site)
    assert result.n_counted == 2 and result.failures[0].startswith("cut.jpg: the file is empty")
    assert result.failures[1:] == (
        "k-124_a_3.jpg of sample S9: waits for cut.jpg, as all photos of a sample are counted together. If it has no "
        "other:  qckit log correct samples S9 photos k-124_a_3.jpg --reason TEXT",
    )
    with open_log(one_photo_site) as log:
        log.correct("samples", "S9", "photos", "k-124_a_3.jpg", by="op1", reason="the other was cut short")
    assert count_uncounted(one_photo_site) == PhotosCounted(1)


def test_a_picture_under_two_names_or_samples_holds_back_itself_alone(one_photo_site):
    for name in ("k-124_a_1.jpg", "k-124_a_2.jpg"):
        place(one_photo_site, name)
    assert count_uncounted(one_photo_site).n_counted == 2
    shutil.copy(sample_images_dir() / "photos" / "k-124_a_1.jpg", one_photo_site / "photos" / "copy.jpg")
    place(one_photo_site, "k-124_a_3.jpg")
    place(one_photo_site, "k-124_b_1.jpg")
    named(one_photo_site, S5="copy.jpg", S6="k-124_a_2.jpg", S7="k-124_a_3.jpg", S8="k-124_b_1.jpg", S9="k-124_b_1.jpg")
    result = count_uncounted(one_photo_site)
    assert result.n_counted == 1
    end = (
        "would be counted twice. Name the right photos:  qckit log correct samples S5 photos NAMES --reason TEXT;  or "
    )
    end += "take the sample out:  qckit log withdraw samples S5 --reason TEXT"
    assert (
        result.failures[0]
        == f"copy.jpg of sample S5: is the same picture as k-124_a_1.jpg of sample ST-124-A-1, and {end}"
    )
    assert [line.split(", and ")[0] for line in result.failures[1:]] == [
        "k-124_a_2.jpg of sample S6: stands at ST-124-A-2, too",
        "k-124_b_1.jpg of sample S8: stands at S9, too",
    ]
    with open_log(one_photo_site) as log:
        counts = log.samples(counted=None).set_index("sample")["nauplii"]
    assert counts[["S5", "S6", "S8", "S9"]].isna().all() and counts["S7"] > 0


def test_two_photos_of_one_name_are_refused(one_photo_site):
    place(one_photo_site, "k-124_a_1.jpg")
    place(one_photo_site, "k-124_a_1.jpg", under="twice")
    assert count_uncounted(one_photo_site).failures[0] == (
        f"k-124_a_1.jpg: 2 photos in {one_photo_site / 'photos'} are called so. "
        "Give each its own name, in the field sheet too."
    )


def test_an_unknown_lot_is_exit_2_and_one_line(one_photo_site, run):
    code, out, err = run("report", "new-lot", "K-9", "--no-count", "--site", str(one_photo_site))
    assert code == 2 and out == ""
    assert err.startswith("qckit: the site's log: unknown lot 'K-9'.") and len(err.splitlines()) == 1
    code, _, err = run("report", "poor-hatch", "K-9", "--site", str(one_photo_site))
    assert code == 2 and err.startswith("qckit: the site's log: unknown hatch 'K-9'.") and len(err.splitlines()) == 1
    assert not list((one_photo_site / "reports").glob("*.failed.ipynb"))  # a slip of the pen makes no report


@pytest.mark.parametrize(
    "kind, given, message",
    [
        ("poor-hatch", {"hatch": "ST-124-A"}, "the site's log: hatch ST-124-A has no subsample with"),
        ("poor-hatch", {"hatch": "ST-124-X"}, "the site's log: unknown hatch 'ST-124-X'."),
        ("new-lot", {"lot": "K-9"}, "the site's log: unknown lot 'K-9'."),
        ("month", {"month": "2020-01"}, "2020-01: no production hatch is in the log. Import the field sheets first."),
        ("month", {"month": "2020-13"}, "month is '2020-13' and must be written YYYY-MM"),
        ("month", {"month": "2026-10", "lot": "K-9"}, "the site's log: unknown lot 'K-9'."),
    ],
)
def test_a_subject_without_records_is_refused_before_a_kernel_starts(one_photo_site, monkeypatch, kind, given, message):
    monkeypatch.setattr("qckit.reports.run.execute", lambda *args: pytest.fail("a kernel was started"))
    with pytest.raises(InputError) as caught:
        run_report(kind, one_photo_site, given)
    assert str(caught.value).startswith(message)
    assert not (one_photo_site / "reports").exists()


@pytest.mark.parametrize("typed", ["x", "2026", "November"])
def test_what_is_no_month_is_told_how_a_month_is_written(one_photo_site, run, typed):
    code, _, err = run("report", "month", typed, "--site", str(one_photo_site))
    assert (code, err) == (2, f"qckit: YYYY-MM: {typed!r} is not a month. Write it like 2026-11.\n")


def test_a_hatch_without_counts_is_refused_once_its_photos_were_tried(one_photo_site, run):
    add = SHEETS["hatches"][1:2]
    with open_log(one_photo_site) as log:
        log.add_many({"hatches": add}, by="op1", source="test")
    at = ("--site", str(one_photo_site))
    code, out, err = run("report", "poor-hatch", add["hatch"].iloc[0], *at)
    assert code == 2 and out == "" and len(err.splitlines()) == 1  # it has no photo: none is looked for
    assert f"hatch {add['hatch'].iloc[0]} has no subsample with" in err
    code, _, err = run("report", "poor-hatch", "ST-124-A", *at)
    assert code == 2 and "k-124_a_1.jpg: not in" in err and "nothing to explain yet" in err.splitlines()[-1]
    assert not list((one_photo_site / "reports").glob("*.failed.ipynb"))


def test_a_report_whose_photos_are_missing_is_exit_1(one_photo_site, run):
    code, out, err = run("report", "new-lot", "K-124", "--site", str(one_photo_site))
    assert code == 1
    assert out.splitlines()[-1].strip().endswith("report.html")
    assert err.splitlines()[-1] == "Needs attention: 2 photos could not be counted."


def test_no_site_here_is_exit_2(tmp_path, monkeypatch, run):
    monkeypatch.delenv("QCKIT_SITE", raising=False)
    monkeypatch.chdir(tmp_path)
    code, _, err = run("report", "poor-hatch", "H1")
    assert code == 2 and "neither this folder nor one above it is a site" in err


def test_the_lines_that_new_prints_work_as_printed(tmp_path, monkeypatch, run):
    monkeypatch.delenv("QCKIT_SITE", raising=False)
    monkeypatch.chdir(tmp_path)
    code, out, _ = run("new", "room 1's")
    typed = [shlex.split(line.partition(":  ")[2]) for line in out.splitlines() if ":  " in line]
    assert code == 0 and [words[:3] for words in typed] == [
        ["qckit", "today", "--enter"],
        ["qckit", "today", "--site"],
        ["qckit", "log", "import"],
    ]
    assert run(*typed[2][1:], "--by", "op1") == (0, "nothing to add.\n", "")
    assert run(*typed[1][1:])[0] == 0
    assert typed[0][3:] == typed[1][2:]


def test_the_demo_leaves_a_folder_in_use_alone(tmp_path, run):
    (tmp_path / "mine.txt").write_text("keep", encoding="utf-8")
    code, _, err = run("demo", str(tmp_path))
    assert code == 2
    assert err == (
        f"qckit: {tmp_path}: this folder is in use and is not the demo site. Name a new folder: qckit demo FOLDER\n"
    )
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_the_index_lists_whole_reports_only(one_photo_site):
    assert "There is no report yet." in write_index(one_photo_site).read_text("utf-8")
    for name, text in {
        "new-lot-A": '{"kind": "new-lot", "subject": "<A>", "verdict": "accept", "headline": "<b>"}',
        "new-lot-B": "{half",
        ".new-1-C": '{"kind": "new-lot", "subject": "C", "verdict": "accept", "headline": ""}',
    }.items():
        (one_photo_site / "reports" / name).mkdir(parents=True)
        (one_photo_site / "reports" / name / "findings.json").write_text(text, encoding="utf-8")
    assert [found["folder"] for found in reports_of(one_photo_site)] == ["new-lot-A"]
    page = write_index(one_photo_site).read_text("utf-8")
    assert "&lt;A&gt;" in page and "&lt;b&gt;" in page and "<b>" not in page and "new-lot-B" not in page
