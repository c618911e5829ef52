"""Records changed behind the log's back are noticed: by its own steps, by the seals on pages, by a backup."""

import hashlib
import json
import shutil
import sqlite3
from contextlib import closing

import pandas as pd
import pytest
from invented_log import HATCHES, LOTS, NOW, SAMPLES, counted

from qckit.errors import InputError
from qckit.log import Seal, engine, export_zip, new_site, open_log, restore, seal_of
from qckit.log.kept_pages import keep_earlier, page_sum, report_name
from qckit.log.proof import against_backup, against_seal
from qckit.log.seal import PAGE_STEP, odd_steps, seals
from qckit.reports.cited import cited

PROOF_CODES = ("step not whole", "changed records", "other log", "changed page", "missing page", "unknown page")


def fill(log):
    """Enter sheets, photo counts, corrections and objects by hand, each a step."""
    log.add_many({"samples": SAMPLES, "hatches": HATCHES, "lots": LOTS}, by="op1", source="sheet")
    photos, objects = counted()
    log.record_counts(photos, objects=objects, by="op1")
    log.correct("samples", "S-1", "nauplii", 101, by="op2", reason="misread")
    added = pd.DataFrame({"action": ["add", "add"], "stage": ["cyst", "shell"], "x_px": [9.0, 8.0], "y_px": [9.0, 8.0]})
    log.correct_objects("a.jpg", added, by="op2", reason="overlooked")
    log.correct_objects("a.jpg", pd.DataFrame({"action": ["remove"], "object_id": [1]}), by="op1", reason="a fibre")
    log.undo_last("a.jpg", by="op1")
    log.recount("S-3", {"nauplii": 91, "cysts": 30}, by="op3", reason="counted twice")
    log.withdraw("hatches", "H-2", by="op1", reason="never started")


def make_page(log, name="new-lot-L-1", made=NOW, text="holds"):
    """Write a page as a report does, without running its notebook."""
    folder = log.folder / "reports" / name
    part = log.folder / "part"
    part.mkdir()
    (part / "findings.json").write_text(json.dumps({"made": made} | cited(log.settings)), "utf-8")
    (part / "report.html").write_text(text, "utf-8")
    if folder.exists():
        keep_earlier(part, folder)
        shutil.rmtree(folder)
    shutil.move(part, folder)
    row = dict.fromkeys(("figures", "hatches"), "[]") | {"kind": "new-lot", "subject": "L-1", "software": "qckit"}
    row |= {"report": report_name(folder, made), "made_at": made, "path": f"reports/{name}/report.html"}
    log.add("reports", pd.DataFrame([row]), **PAGE_STEP)
    return folder


@pytest.fixture
def proven(log):
    """Give a log of nine steps and a page made from them."""
    fill(log)
    make_page(log)
    return log


def tamper(log, *statements):
    """Change the log's file as someone with a database program could."""
    with closing(sqlite3.connect(log.folder / "log.sqlite")) as connection:
        guards = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall()
        for statement in [*(f"DROP TRIGGER {name}" for (name,) in guards), *statements]:
            connection.execute(statement)
        connection.commit()


def proof_of(log):
    found = log.check(photos=False)
    return found[found["code"].isin(PROOF_CODES)]


def test_an_honest_log_is_whole(proven):
    assert proof_of(proven).empty
    with engine.reading(proven.engine) as connection:
        assert odd_steps(connection) == [] and sorted(seals(connection)) == list(range(10))


def test_a_step_that_comes_later_leaves_the_seals_before_it(log):
    fill(log)
    before = seal_of(log)
    added = pd.DataFrame({"action": ["add"], "stage": ["cyst"], "x_px": [1.0], "y_px": [2.0]})
    log.correct_objects("a.jpg", added, by="op2", reason="overlooked too")
    photos, objects = counted(version="t-2")
    log.record_counts(photos, objects=objects, by="op1")
    log.correct_objects("a.jpg", added, by="op2", reason="again")
    assert against_seal(log, before) == "" and seal_of(log).step == before.step + 3


CHANGES = {
    "a count": ("UPDATE samples SET nauplii = 500 WHERE sample = 'S-1'", "samples S-1 0: nauplii was 100 and is 500"),
    "a reason": (
        "UPDATE corrections SET reason = 'x' WHERE correction = 1",
        "corrections 1: reason was misread and is x",
    ),
    "who": ("UPDATE steps SET by = 'op9' WHERE step = 3", "steps 3: by was op2 and is op9"),
    "the clock": (
        "UPDATE steps SET at = '2026-11-01T00:00:00+00:00' WHERE step = 3",
        f"steps 3: at was {NOW} and is 2026-11-01T00:00:00+00:00",
    ),
    "an object": (
        "UPDATE objects SET stage = 'cyst' WHERE photo = 'a.jpg' AND object_id = 2",
        "objects a.jpg 2 0: stage was nauplius and is cyst",
    ),
    "a photo's hash": (
        "UPDATE photos SET counter_version = 't-9' WHERE photo = 'b.jpg'",
        "photos b.jpg 0: counter_version was t-1 and is t-9",
    ),
    "order": ("UPDATE samples SET step = 3 WHERE sample = 'S-1'", "samples S-1 0: step was 1 and is 3"),
    "an object that went": (
        "DELETE FROM objects WHERE photo = 'b.jpg' AND object_id = 5",
        "objects b.jpg 5 0: was there, and is not any more",
    ),
    "a correction that went": (
        "DELETE FROM corrections WHERE correction = 1",
        "corrections 1: was there, and is not any more",
    ),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_change_behind_the_logs_back_is_found_and_named(proven, what):
    statement, words = CHANGES[what]
    backup = proven.backup()
    assert against_backup(proven, backup) == []
    seal = seal_of(proven)
    tamper(proven, statement)
    found = proof_of(proven)
    assert "changed records" in set(found["code"]) and (found["severity"] == "wrong").all()
    assert words in against_backup(proven, backup)
    assert against_seal(proven, seal).startswith(f"The records up to step {seal.step} are not those of this seal")
    assert not list(backup.parent.glob("*-wal"))


@pytest.mark.parametrize(
    "statement, words",
    [
        ("DELETE FROM corrections WHERE correction = 1", "brought 1 rows (correct), and the log holds 0 of it"),
        ("DELETE FROM steps WHERE step = 3", "is not in the log any more"),
        (
            "DELETE FROM objects WHERE photo = 'b.jpg' AND object_id = 5",
            "brought 117 rows (count), and the log holds 116 of it",
        ),
    ],
)
def test_rows_that_went_are_missed_without_any_seal(log, statement, words):
    fill(log)
    tamper(log, statement)
    found = proof_of(log)
    assert words in found["what"].tolist()


def test_an_older_copy_in_the_logs_place_is_noticed(proven):
    backup = proven.backup()
    proven.correct("samples", "S-1", "nauplii", 102, by="op2", reason="again")
    make_page(proven, "new-lot-L-2")
    late = seal_of(proven)
    proven.close()
    for path in proven.folder.glob("log.sqlite*"):
        path.unlink()
    shutil.copy(backup, proven.folder / "log.sqlite")
    with open_log(proven.folder) as old:
        what = proof_of(old)["what"].tolist()[-1]
        fault = against_seal(old, late)
    assert what == (
        "reports/new-lot-L-2/report.html rests on the records up to this step, and this log, an older copy, ends at "
        "step 9"
    )
    assert fault == "The log ends at step 9, and the seal is of step 11: this is an older copy of it."


def test_two_copies_that_were_both_written_to_are_told_apart(proven, tmp_path):
    other = tmp_path / "other"
    shutil.copytree(proven.folder, other)
    with open_log(other) as second:
        second.correct("samples", "S-1", "nauplii", 7, by="op2", reason="there")
        make_page(second, "month-2026-11")
    proven.correct("samples", "S-1", "nauplii", 8, by="op2", reason="here")
    shutil.copytree(other / "reports" / "month-2026-11", proven.folder / "reports" / "month-2026-11")
    stranger, what = proof_of(proven)["what"]
    assert stranger == "the log knows no such page: another made it, or changed it"
    assert what == (
        "the records up to this step are not those that reports/month-2026-11/report.html was made from; up to step 8 "
        "they are as they were"
    )


def test_a_page_of_another_log_is_noticed(proven, tmp_path):
    with open_log(new_site(tmp_path / "b"), now=lambda: NOW) as other:
        fill(other)
        folder = make_page(other, "month-2026-11")
    shutil.copytree(folder, proven.folder / "reports" / "month-2026-11")
    assert proof_of(proven)[["code", "what"]].values.tolist() == [
        ["unknown page", "the log knows no such page: another made it, or changed it"],
        ["other log", "reports/month-2026-11/report.html was made from another log than this one"],
    ]


def test_pages_changed_and_taken_away_are_named(proven):
    folder = make_page(proven, "month-2026-10")
    make_page(proven, "month-2026-11")
    (folder / "report.html").write_text("holds well", "utf-8")
    shutil.rmtree(proven.folder / "reports" / "month-2026-11")
    found = proof_of(proven)
    assert found[["code", "severity", "what"]].values.tolist() == [
        ["changed page", "wrong", "reports/month-2026-10/report.html is not as it was made"],
        ["missing page", "look", "1 page that the log names is not in reports"],
    ]


def test_the_page_of_that_day_is_kept_when_it_is_made_again(proven):
    proven.correct("samples", "S-1", "nauplii", 60, by="op2", reason="misread")
    folder = make_page(proven, made="2026-12-01T09:00:00+00:00", text="fails")
    (kept,) = (proven.folder / "reports" / "earlier" / "new-lot-L-1").iterdir()
    assert kept.name.startswith("2026-11-25T120000Z-") and (kept / "report.html").read_text("utf-8") == "holds"
    assert keep_earlier(folder, folder) is None and page_sum(kept) != page_sum(folder)
    assert proof_of(proven).empty
    text = proven.history("H-1").text
    (kept / "report.html").write_text("fails", "utf-8")
    assert proof_of(proven)["code"].tolist() == ["changed page"] and "new-lot" not in text


def test_the_seal_is_the_same_on_a_server_and_back_from_a_zip(any_log, tmp_path):
    fill(any_log)
    seal = seal_of(any_log)
    package = export_zip(any_log, tmp_path / "all.zip")
    restore(package, new_site(tmp_path / "back"))
    with open_log(tmp_path / "back") as back:
        assert seal_of(back) == seal


@pytest.mark.parametrize("text", ["", "14", "14-abc", "x-" + "0" * 64, "14-" + "g" * 64])
def test_what_is_no_seal_is_refused(text):
    with pytest.raises(InputError, match="is no seal"):
        Seal.read(text)


def test_the_command_prints_a_seal_and_holds_the_log_against_it(proven, run):
    site = ["--site", str(proven.folder)]
    printed = run("log", "seal", *site)[1].strip()
    assert printed == str(seal_of(proven))
    spaced = printed[:30] + " " + printed[30:].upper()
    fits = run("log", "seal", spaced, *site)
    assert (fits[0], fits[1].strip()) == (0, "The records up to step 9 are those of this seal.")
    backup = proven.backup()
    tamper(proven, CHANGES["a count"][0])
    assert run("log", "seal", printed, *site)[0] == 1
    rows = run("log", "seal", str(backup), *site)
    assert (rows[0], rows[1].splitlines()) == (1, [CHANGES["a count"][1], "1 difference."])


def test_the_history_of_one_photo_names_who_counted_corrected_and_cited_it(proven, run):
    found = proven.history("b.jpg").to_frame()
    assert found.loc[found["level"] == "photo", "what"].tolist() == ["b.jpg, count 1"]
    assert proven.history("a.jpg").text.count("because overlooked") == 2
    assert set(proven.history("S-1").samples["sample"]) == {"S-1"}
    with pytest.raises(InputError) as caught:
        proven.history("b.jpeg")
    assert str(caught.value).startswith("unknown hatch, sample or photo 'b.jpeg'. Did you mean 'b.jpg'?")
    code, out, _ = run("log", "history", "a.jpg", "--site", proven.folder)
    assert code == 0 and out.splitlines()[-1].startswith("Counting by photo on that day: ")


def write_photos(log, *names):
    """Put the files that were counted into the site: the invented counts have the hash of the photo's name."""
    (log.folder / "photos").mkdir(exist_ok=True)
    for name in names:
        (log.folder / "photos" / name).write_text(name, "utf-8")


def test_all_evidence_of_a_lot_goes_into_one_folder(proven, run, tmp_path):
    write_photos(proven, "a.jpg", "b.jpg")
    folder = tmp_path / "evidence"
    code, out, _ = run("log", "evidence", "L-1", folder, "--site", proven.folder)
    files = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    assert (code, out.splitlines()) == (0, [f"{folder}: {len(files)} files."])
    sums = dict(reversed(line.split("  ")) for line in (folder / "SHA256SUMS.txt").read_text("utf-8").splitlines())
    assert sorted([*sums, "SHA256SUMS.txt"]) == files and {"photos/a.jpg", "photos/b.jpg", "qckit.toml"} <= set(files)
    assert all(hashlib.sha256((folder / name).read_bytes()).hexdigest() == digits for name, digits in sums.items())
    read = {
        name: pd.read_csv(folder / "tables" / f"{name}.csv") for name in ("samples", "corrections", "history", "lots")
    }
    assert read["lots"]["lot"].tolist() == ["L-1"] and set(read["samples"]["hatch"]) == {"H-1"}
    assert {"misread", "overlooked", "a fibre"} <= set(read["corrections"]["reason"])
    assert "counted twice" not in read["history"].to_string()  # of the other lot
    about = pd.read_csv(folder / "tables" / "columns.csv")
    assert about.query("table == 'samples' and column == 'volume_ul'")["unit"].tolist() == ["µl"]
    text = (folder / "README.txt").read_text("utf-8")
    assert str(seal_of(proven)) in text and "Nothing is missing" in text and "Nothing was left out" in text


def test_evidence_keeps_what_was_taken_out_of_the_lot(log, run, tmp_path):
    """A cone that was withdrawn, or put to another lot, and a sample moved between hatches stay in the evidence."""
    more = HATCHES.iloc[[0, 0]].assign(hatch=["H-3", "H-4"], cone=["C", "D"])
    log.add_many({"samples": SAMPLES, "hatches": pd.concat([HATCHES, more]), "lots": LOTS}, by="op1", source="sheet")
    photos, objects = counted()
    log.record_counts(photos, objects=objects, by="op1")
    write_photos(log, "a.jpg", "b.jpg")
    log.correct("samples", "S-1", "hatch", "H-4", by="op1", reason="wrong cone")
    log.withdraw("hatches", "H-1", by="op2", reason="looks bad")
    log.correct("hatches", "H-3", "lot", "L-2", by="op3", reason="wrong tin")
    folder = tmp_path / "evidence"
    code, out, _ = run("log", "evidence", "L-1", folder, "--site", log.folder)
    assert code == 0, out
    read = {p.stem: pd.read_csv(p, keep_default_na=False) for p in (folder / "tables").iterdir()}
    assert read["hatches"]["hatch"].tolist() == ["H-4"] and read["samples"]["sample"].tolist() == ["S-1"]
    became = read["left_out"].set_index("key")[["became", "by", "reason"]].apply(tuple, axis=1).to_dict()
    assert became["H-1"] == ("withdrawn", "op2", "looks bad")
    assert became["H-3"] == ("lot is now L-2", "op3", "wrong tin")
    assert became["S-2"] == ("withdrawn", "op2", "looks bad") and set(became) == {"H-1", "H-3", "S-2", "a.jpg", "b.jpg"}
    assert set(read["history"]["hatch"]) == {"", "H-1", "H-3", "H-4"}  # without a hatch: the lot's own row
    moved = read["history"][read["history"]["what"].str.startswith("S-1")]
    assert set(moved["hatch"]) == {"H-1", "H-4"} and "hatch: H-1 -> H-4" in set(moved["value"])
    assert {"looks bad", "wrong tin", "wrong cone"} <= set(read["corrections"]["reason"])
    assert (folder / "photos" / "a.jpg").exists()
    text = (folder / "README.txt").read_text("utf-8")
    assert "hatches H-1: withdrawn, by op2" in text and "hatches H-3: lot is now L-2, by op3" in text


@pytest.mark.parametrize("is_last", [False, True], ids=["of two lots", "of one lot"])
def test_evidence_of_a_lot_that_was_withdrawn_says_what_was_entered_and_why_it_is_hidden(log, run, tmp_path, is_last):
    log.add_many({"samples": SAMPLES, "hatches": HATCHES, "lots": LOTS}, by="op1", source="sheet")
    photos, objects = counted()
    log.record_counts(photos, objects=objects, by="op1")
    write_photos(log, "a.jpg", "b.jpg")
    log.correct("lots", "L-1", "claimed_hatch_pct", 80, by="op2", reason="misread label")
    if is_last:
        log.withdraw("lots", "L-2", by="op2", reason="sent back")
    log.withdraw("lots", "L-1", by="op3", reason="entered twice")
    folder = tmp_path / "evidence"
    code, _, err = run("log", "evidence", "L-1", folder, "--site", log.folder)
    assert code == 0, err
    read = {p.stem: pd.read_csv(p, keep_default_na=False) for p in (folder / "tables").iterdir()}
    assert read["lots"].empty and read["hatches"].empty and read["figures"].empty and "setting_changes" in read
    left_out = read["left_out"].set_index("key")
    assert left_out["table"].to_dict() == {
        "L-1": "lots",
        "H-1": "hatches",
        "S-1": "samples",
        "S-2": "samples",
        "a.jpg": "photos",
        "b.jpg": "photos",
    }
    assert set(left_out["became"]) == {"withdrawn"} and set(left_out["reason"]) == {"entered twice"}
    assert left_out.loc["L-1", ["at", "by"]].tolist() == [NOW, "op3"]
    history = read["history"]
    entered = history[history["level"] == "lot"].iloc[0]
    assert entered[["value", "by"]].tolist() == ["lot L-1, claimed_hatch_pct 85.0", "op1"]
    fixes = history[history["level"] == "correction of lots"]
    assert fixes["reason"].tolist() == ["misread label", "entered twice"]
    assert {"H-1"} == set(history["hatch"]) - {""} and {"S-1", "S-2"} <= set(history["what"].str[:3])
    assert set(read["steps"]["action"]) >= {"import", "count", "correct", "withdraw"}
    assert (folder / "photos" / "a.jpg").exists()
    text = (folder / "README.txt").read_text("utf-8")
    assert f"(1; all of it in tables/left_out.csv):\n  lots L-1: withdrawn, by op3, {NOW}: entered twice\n" in text


def test_evidence_of_a_lot_that_never_hatched_is_its_own_row(log, run, tmp_path):
    log.add_many({"lots": LOTS}, by="op1", source="sheet")
    code, _, err = run("log", "evidence", "L-2", tmp_path / "e", "--site", log.folder)
    tables = tmp_path / "e" / "tables"
    assert code == 0 and pd.read_csv(tables / "lots.csv")["lot"].tolist() == ["L-2"], err
    assert pd.read_csv(tables / "history.csv")["level"].tolist() == ["lot"]


def test_a_photo_file_that_was_renamed_is_known_by_its_content(proven, run, tmp_path):
    write_photos(proven, "a.jpg", "b.jpg")
    photos = proven.folder / "photos"
    (photos / "later").mkdir()
    (photos / "a.jpg").rename(photos / "later" / "IMG 7.jpg")
    found = proven.check().query("table == 'photos'")
    assert found[["code", "key"]].to_numpy().tolist() == [["missing photo", "a.jpg"]]
    what = "its file is not in the site folder under this name; photos/later/IMG 7.jpg is that file (the same SHA-256)"
    assert found["what"].item() == what
    assert found["what_to_do"].item() == "Rename photos/later/IMG 7.jpg back to a.jpg."
    assert proven.check(photos=False).query("table == 'photos'")["what"].item() == "its file is not in the site folder"
    code, out, err = run("log", "evidence", "L-1", tmp_path / "e", "--site", proven.folder)
    assert code == 0 and (tmp_path / "e" / "photos" / "a.jpg").read_text("utf-8") == "a.jpg", out + err
    (photos / "later" / "IMG 7.jpg").rename(photos / "a.jpg")
    assert proven.check().query("table == 'photos'").empty


def test_photos_whose_names_were_exchanged_are_told_apart(proven, run, tmp_path):
    write_photos(proven, "a.jpg", "b.jpg")
    (proven.folder / "photos" / "a.jpg").write_text("b.jpg", "utf-8")
    (proven.folder / "photos" / "b.jpg").write_text("a.jpg", "utf-8")
    found = proven.check().query("table == 'photos'").set_index("key")
    assert found["code"].to_dict() == {"a.jpg": "changed photo", "b.jpg": "changed photo"}
    remedy = "Give the file that is a.jpg now its own name. Rename photos/b.jpg back to a.jpg."
    assert found.loc["a.jpg", "what_to_do"] == remedy
    what = "its file is not the one that was counted under this name; photos/b.jpg is that file (the same SHA-256)"
    assert found.loc["a.jpg", "what"] == what
    assert run("log", "evidence", "L-1", tmp_path / "e", "--site", proven.folder)[0] == 0
    assert (tmp_path / "e" / "photos" / "b.jpg").read_text("utf-8") == "b.jpg"


def test_evidence_says_what_is_missing_or_not_the_same(proven, run, tmp_path):
    write_photos(proven, "a.jpg")
    (proven.folder / "photos" / "a.jpg").write_text("another", "utf-8")
    code, out, _ = run("log", "evidence", "L-1", tmp_path / "e", "--site", proven.folder)
    assert code == 1 and out.splitlines()[1:] == [
        f"Photo a.jpg: its file is not the one that was counted (SHA-256 {hashlib.sha256(b'a.jpg').hexdigest()}).",
        "Photo b.jpg: its file is not in the site's folder any more.",
    ]
    assert "Photo b.jpg" in (tmp_path / "e" / "README.txt").read_text("utf-8")
    code, _, err = run("log", "evidence", "L-1", tmp_path / "e", "--site", proven.folder)
    assert code == 2 and "is there already and is not empty. Give a new folder." in err
    code, _, err = run("log", "evidence", "L-9", tmp_path / "f", "--site", proven.folder)
    assert code == 2 and "unknown lot 'L-9'" in err and not (tmp_path / "f").exists()
