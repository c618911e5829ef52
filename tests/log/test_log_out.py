"""Out of the log: the whole-site zip and back, backups, history, check, the command line."""

# ruff: noqa: E501  whole messages

import hashlib
import json
import shlex
import shutil
import sqlite3
import zipfile

import pandas as pd
import pytest
from click.testing import CliRunner
from invented_log import HATCHES, LOTS, NASTY_NAMES, SAMPLES, counted

import qckit
from qckit.commands.log import command
from qckit.errors import InputError, QcError
from qckit.log import corrections, create_log, export_csv, export_zip, new_site, open_log, restore, schema
from qckit.log.packing import digest
from qckit.settings import load_settings


def fill_all(log):
    """Use every table, with names of every kind, corrections and recounts."""
    at = "2026-11-05T10:00:00+00:00"
    log.add("lots", pd.DataFrame({"lot": list(NASTY_NAMES), "notes": list(NASTY_NAMES), "price": 1 / 3}), by="op1")
    log.add_many({"lots": LOTS, "hatches": HATCHES.assign(decapsulated=[True, None]), "samples": SAMPLES}, by="=op1")
    photos, objects = counted()
    log.record_counts(photos, objects=objects.assign(p_cyst=0.1 + 0.2), by="op1")
    log.add(
        "readings",
        pd.DataFrame({"hatch": ["H-1"], "taken": [at], "quantity": ["ph"], "value": [8.2], "unit": ["pH"]}),
        by="op1",
    )
    log.add(
        "reports",
        pd.DataFrame(
            {
                "report": ["r1"],
                "kind": ["new-lot"],
                "subject": ["L-1"],
                "made_at": [at],
                "figures": [json.dumps([{"name": "hatch_pct", "value": 83.0, "low": 80.0, "high": 86.0}])],
                "hatches": ['["H-1"]'],
                "software": ["qckit 0"],
                "path": ["reports/new-lot-L-1/report.html"],
            }
        ),
        by="op1",
    )
    log.correct("hatches", "H-1", "ph", 8.1, by="op2", reason="=1+1")
    log.correct("hatches", "H-1", "ph", "", by="op2", reason="not measured")
    log.correct_objects(
        "a.jpg", pd.DataFrame([{"action": "stage", "object_id": 1, "stage": "cyst"}]), by="op2", reason="seen"
    )
    log.recount("S-1", {"nauplii": 99}, by="op3", reason="again", rest="empty")


def test_the_zip_comes_back_as_an_identical_log(any_log, tmp_path):
    fill_all(any_log)
    path = export_zip(any_log, tmp_path / "site.zip")
    other = new_site(tmp_path / "other")
    restore(path, other)
    with open_log(other) as back:
        assert digest(back) == digest(any_log)
        for name in ("lots", "hatches", "readings", "photos", "objects", "corrections", "steps", "reports"):
            pd.testing.assert_frame_equal(back.table(name), any_log.table(name))
        pd.testing.assert_frame_equal(back.samples(counted=None), any_log.samples(counted=None))
        again = export_zip(back, tmp_path / "again.zip")
    with zipfile.ZipFile(path) as one, zipfile.ZipFile(again) as two:
        for name in one.namelist():
            if name.startswith("data/"):
                assert one.read(name) == two.read(name)
    with pytest.raises(InputError) as caught:
        restore(path, other)
    assert (
        str(caught.value)
        == f"{other}/log.sqlite: holds records already, and nothing is written over them. Restore into a new site."
    )


def test_settings_of_a_zip_are_laid_beside_those_of_the_site(filled, tmp_path):
    from click.testing import CliRunner

    from qckit.cli import command

    def restored(folder):
        return CliRunner().invoke(command, ["log", "restore", str(path), str(folder)]).output

    settings = filled.folder / "qckit.toml"
    path = export_zip(filled, tmp_path / "site.zip")
    same, other = new_site(tmp_path / "same"), new_site(tmp_path / "other", date_order="mdy")
    (same / "qckit.toml").write_text(settings.read_text(encoding="utf-8") + "# no more\n", encoding="utf-8")
    assert "note: the settings" not in restored(same) and not list(same.glob("qckit-of*"))
    beside = other / "qckit-of-the-backup.toml"
    assert f"differ from this folder's qckit.toml and were not taken: see {beside}." in restored(other)
    assert beside.read_text(encoding="utf-8") == settings.read_text(encoding="utf-8")
    assert 'date_order = "mdy"' in (other / "qckit.toml").read_text(encoding="utf-8")


def test_a_zip_alone_brings_the_site_back(filled, tmp_path):
    """A new computer with nothing but the zip: one command, and the day can go on."""
    from click.testing import CliRunner

    from qckit.cli import command

    settings = filled.folder / "qckit.toml"
    text = settings.read_text(encoding="utf-8").replace('url = ""', 'url = "postgresql+psycopg://room@server/hatches"')
    path, folder = export_zip(filled, tmp_path / "site.zip"), tmp_path / "new" / "site"
    done = CliRunner().invoke(command, ["log", "restore", str(path), str(folder)])
    assert f"{folder}: a new site, with the settings of " in done.output and done.exit_code == 0
    assert (folder / "qckit.toml").read_bytes() == settings.read_bytes()
    assert {"README.txt", "field-sheets", "photos", "notebooks"} <= {p.name for p in folder.iterdir()}
    assert (folder / "field-sheets" / "day-sheet.xlsx").is_file()
    with open_log(folder) as back:
        assert digest(back) == digest(filled)
    with zipfile.ZipFile(path) as whole, zipfile.ZipFile(tmp_path / "server.zip", "w") as package:
        for name in whole.namelist():
            package.writestr(name, text if name == "qckit.toml" else whole.read(name))
    restore(tmp_path / "server.zip", tmp_path / "here")  # never into a server that the zip names
    assert qckit.load_settings(tmp_path / "here").log.url == "" and (tmp_path / "here" / "log.sqlite").is_file()


@pytest.mark.parametrize("spoiled", ["settings", "records", "no settings"])
def test_a_zip_that_cannot_be_restored_leaves_no_site(filled, tmp_path, spoiled):
    path, bad = export_zip(filled, tmp_path / "site.zip"), tmp_path / "bad.zip"
    with zipfile.ZipFile(path) as whole, zipfile.ZipFile(bad, "w") as package:
        for name in whole.namelist():
            content = whole.read(name)
            if name == "qckit.toml" and spoiled == "no settings":
                continue
            if name == {"settings": "qckit.toml", "records": "data/lots.csv"}.get(spoiled):
                content = b"[site\n" + content
            package.writestr(name, content)
    with pytest.raises(InputError) as caught:
        restore(bad, tmp_path / "here")
    expected = {
        "settings": "cannot be read as TOML",
        "records": "data/lots.csv was changed or is damaged",
        "no settings": "holds records and no settings. Make a site for them with  qckit new",
    }
    assert expected[spoiled] in str(caught.value) and not (tmp_path / "here").exists()


def test_settings_of_a_zip_that_cannot_be_read_are_told(filled, tmp_path):
    from qckit.log.restoring import keep_settings

    path, broken, site = export_zip(filled, tmp_path / "site.zip"), tmp_path / "broken.zip", new_site(tmp_path / "new")
    with zipfile.ZipFile(path) as whole, zipfile.ZipFile(broken, "w") as package:
        for name in whole.namelist():
            package.writestr(name, b"name = '\xff'" if name == "qckit.toml" else whole.read(name))
    with pytest.raises(InputError) as caught:
        keep_settings(broken, site)
    assert str(caught.value) == (
        f"{broken}: its records are restored, and its qckit.toml cannot be read ('utf-8' codec can't decode byte 0xff in "
        f"position 8: invalid start byte). Check the settings in {site / 'qckit.toml'} by hand."
    )
    assert not list(site.glob("qckit-of*"))


def test_from_a_file_to_a_server_and_back(log, postgres_url, tmp_path):
    from qckit.log import restore

    fill_all(log)
    restore(export_zip(log, tmp_path / "a.zip"), postgres_url)
    with open_log(postgres_url) as server:
        assert digest(server) == digest(log)
        backup = server.backup(tmp_path / "server.zip")
    restore(backup, new_site(tmp_path / "third"))
    with open_log(tmp_path / "third") as third:
        assert digest(third) == digest(log)


def test_the_package_describes_its_tables(filled, tmp_path):
    with zipfile.ZipFile(export_zip(filled, tmp_path / "site.zip")) as package:
        about = json.loads(package.read("datapackage.json"))
        assert about["profile"] == "tabular-data-package"
        by_name = {r["name"]: r for r in about["resources"]}
        for resource in about["resources"]:
            content = package.read(resource["path"])
            assert resource["hash"] == f"sha256:{hashlib.sha256(content).hexdigest()}"
            assert resource["bytes"] == len(content)
            names = [f["name"] for f in resource["schema"]["fields"]]
            assert content.decode().split("\r\n")[0] == ",".join(names)
            assert set(resource["schema"]["primaryKey"]) <= set(names)
            assert {f["type"] for f in resource["schema"]["fields"]} <= {"string", "integer", "number", "boolean"}
            for key in resource["schema"].get("foreignKeys", ()):
                target = by_name[key["reference"]["resource"]]["schema"]["fields"]
                assert set(key["reference"]["fields"]) <= {f["name"] for f in target}
        fields = {f["name"]: f for f in by_name["hatches"]["schema"]["fields"]}
        assert fields["cysts_g"] == {
            "name": "cysts_g",
            "type": "number",
            "description": "cysts as weighed",
            "unit": "g",
            "constraints": {"required": True, "minimum": 0.0001, "maximum": 100000.0},
        }
        assert fields["purpose"]["constraints"]["enum"] == ["standard test", "production", "reference", "investigation"]


def test_a_changed_package_is_refused_and_nothing_is_entered(filled, tmp_path):
    path = export_zip(filled, tmp_path / "site.zip")
    forged = tmp_path / "forged.zip"
    with zipfile.ZipFile(path) as one, zipfile.ZipFile(forged, "w") as two:
        for name in one.namelist():
            two.writestr(name, one.read(name).replace(b",1.602,", b",1.702,"))
    other = new_site(tmp_path / "other")
    with pytest.raises(InputError) as caught:
        restore(forged, other)
    assert str(caught.value) == (
        f"{forged}: data/hatches.csv was changed or is damaged. Use another export; to change records, "
        "restore this one and write corrections."
    )
    with open_log(other) as log:
        assert log.lots().empty
    (tmp_path / "no.zip").write_bytes(b"no zip")
    with pytest.raises(InputError, match=r"no\.zip: is not a site export .* that  qckit log export NAME\.zip  wrote\."):
        restore(tmp_path / "no.zip", other)
    flipped = bytearray(path.read_bytes())
    flipped[flipped.index(b"data/lots.csv") + 40] ^= 0xFF
    (tmp_path / "flipped.zip").write_bytes(flipped)
    with pytest.raises(InputError, match=r"flipped\.zip: data/lots\.csv was changed or is damaged\."):
        restore(tmp_path / "flipped.zip", other)
    with pytest.raises(InputError) as caught:
        export_zip(filled, path)
    assert str(caught.value) == f"{path}: is there already. Give another name."


def test_backup_while_another_writes_and_restore_that_never_overwrites(filled, site, tmp_path):
    writer = sqlite3.connect(site / "log.sqlite", isolation_level=None)
    writer.execute("BEGIN IMMEDIATE")
    writer.execute("INSERT INTO meta VALUES ('half', 'done')")
    backup = filled.backup()
    writer.execute("ROLLBACK")
    writer.close()
    assert backup.parent == site / "backups"
    with sqlite3.connect(backup) as copy:
        assert copy.execute("SELECT count(*) FROM meta WHERE name = 'half'").fetchone() == (0,)
    other = new_site(tmp_path / "other")
    restore(backup, other)  # a new site has no records
    with open_log(other) as back:
        assert digest(back) == digest(filled)
    with pytest.raises(InputError) as caught:
        restore(backup, other)
    away = "Move it away first, with any -wal and -shm file beside it."
    assert str(caught.value) == f"{other}/log.sqlite: holds records already, and is never written over. {away}"
    (other / "log.sqlite").write_bytes(b"rubbish" * 1000)
    with pytest.raises(InputError) as caught:
        restore(backup, other)
    assert str(caught.value) == (
        f"{other}/log.sqlite: is there already and is damaged, in use, or no log (file is not a database). {away}"
    )
    (other / "log.sqlite").unlink()
    (other / "log.sqlite-wal").write_bytes(b"old pages")
    with pytest.raises(InputError, match=r"log\.sqlite: is gone, and files that belong to it \(-wal, -shm\) are still"):
        restore(backup, other)
    (other / "log.sqlite-wal").unlink()
    restore(backup, other)
    with pytest.raises(InputError) as caught:
        filled.backup(backup)
    assert str(caught.value) == f"{backup}: is there already, and backups are never written over. Give another name."


def test_a_backup_alone_makes_the_site_again(filled, site, tmp_path):
    """Its settings and its log; a log in use holds no settings, so that there is one place for them."""
    settings = site / "qckit.toml"
    settings.write_text(settings.read_text("utf-8").replace("min_hatch_pct = 75.0", "min_hatch_pct = 71.0"), "utf-8")
    backup = filled.backup(tmp_path / "copy.sqlite")
    expected, photos = digest(filled), filled.photos()["sha256"].tolist()
    filled.close()
    shutil.rmtree(site)
    done = CliRunner().invoke(command, ["restore", str(backup), str(site)])
    assert done.exit_code in (0, 1) and "a new site, with the settings of copy.sqlite" in done.output, done.output
    assert load_settings(site).limits.min_hatch_pct == 71 and (site / "README.txt").is_file()
    with open_log(site) as back:
        assert digest(back) == expected and back.photos()["sha256"].tolist() == photos
    with sqlite3.connect(site / "log.sqlite") as raw:
        assert raw.execute("SELECT count(*) FROM meta WHERE value LIKE '%min_hatch_pct%'").fetchone() == (0,)


def test_a_backup_of_an_earlier_version_needs_a_site(filled, tmp_path):
    backup = filled.backup(tmp_path / "copy.sqlite")
    with sqlite3.connect(backup) as raw:
        raw.execute("DELETE FROM meta WHERE name = 'settings of the site'")
    with pytest.raises(InputError) as caught:
        restore(backup, tmp_path / "new")
    assert str(caught.value) == (
        f"{backup}: holds records and no settings. Make a site for them with  qckit new {tmp_path / 'new'}  and "
        "restore into that."
    )
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("damage", [b"", b"rubbish" * 1000, None])
def test_a_damaged_backup_is_not_restored(filled, tmp_path, damage):
    backup = filled.backup(tmp_path / "copy.sqlite")
    content = bytearray(backup.read_bytes())
    if damage is None:
        content[8192:40000] = b"\xff" * (40000 - 8192)
    backup.write_bytes(content if damage is None else damage)
    other = new_site(tmp_path / "other")
    (other / "log.sqlite").unlink()
    with pytest.raises(InputError, match=r"is damaged|is not a qckit log"):
        restore(backup, other)
    assert not (other / "log.sqlite").exists()


def test_history_shows_the_whole_descent(log):
    fill_all(log)
    history = log.history("H-1")
    levels = history.to_frame()["level"].tolist()
    assert levels == [
        "report",
        "hatch",
        "correction of hatches",
        "correction of hatches",
        "reading",
        "sample",
        "sample",
        "sample",
        "sample",
        "photo",
        "objects",
        "correction of objects",
        "correction of objects",
        "photo",
        "objects",
        "sample",
    ]
    text = history.text
    for said in (
        "report new-lot L-1: r1: hatch_pct 83 (80 to 86)",
        "by =op1",
        "correction of hatches H-1: ph: 8.1 -> nothing",
        "because not measured",
        "sample S-1, revision 1: nauplii 99; counted by person (op3)",
        "sample S-2, revision 0: counts still to come",
        "photo a.jpg, count 1: sha256",
        "57 objects, by hand 1 changed",
        "correction of objects a.jpg, 1: stage: nauplius -> cyst",
        "qckit 0.1.0",
    ):
        assert said in text, said
    with pytest.raises(InputError) as caught:
        log.history("H-9")
    assert str(caught.value) == "unknown hatch, sample or photo 'H-9'. Did you mean 'H-2'? Known: H-1, H-2."


def test_history_of_a_hatch_without_photos_or_samples(filled):
    assert "sample S-3, revision 0: nauplii 90" in filled.history("H-2").text
    filled.add("hatches", HATCHES.head(1).assign(hatch="H-9"), by="op1")
    assert filled.history("H-9").to_frame()["level"].tolist() == ["hatch"]


def take_before_the_hatch(log):
    """Date a sample before its hatch, as a log of an older version may have it, which did not look there."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(corrections, "_check_rules", lambda *_: None)
        log.correct("samples", "S-3", "taken", "2026-11-01T09:00:00+00:00", by="op1", reason="slip")


def test_check_finds_what_is_wrong_and_says_what_to_do(log, site):
    fill_all(log)
    (site / "photos" / "a.jpg").write_bytes(b"another photo")
    log.add("lots", pd.DataFrame({"lot": ["l 1"]}), by="op1")
    twin = HATCHES.tail(1).assign(hatch="H-3")
    log.add(
        "hatches",
        pd.concat(
            [twin, HATCHES.tail(1).assign(hatch="H-4", lot="L-1", cone="C", started="2031-01-01T09:00:00+00:00")]
        ),
        by="op1",
    )
    log.correct("samples", "S-2", "nauplii", 5, by="op1", reason="slip")
    take_before_the_hatch(log)
    log.withdraw("lots", "L-2", by="op1", reason="test")
    log.reinstate("hatches", "H-2", by="op1", reason="test")
    log.now = lambda: "2026-01-01T00:00:00+00:00"
    log.correct("lots", "L-1", "notes", "x", by="op1", reason="the clock is wrong")
    found = log.check()
    assert list(found.columns) == ["code", "severity", "table", "key", "what", "what_to_do"]
    seen = set(zip(found["code"], found["table"], found["key"]))
    assert {
        ("orphan", "hatches", "H-2"),
        ("impossible", "samples", "S-3"),
        ("no counts", "hatches", "H-4"),
        ("count apart from photo", "samples", "S-2"),
        ("nearly the same name", "lots", "l 1"),
        ("missing photo", "photos", "b.jpg"),
        ("changed photo", "photos", "a.jpg"),
        ("time to come", "hatches", "H-4"),
        ("time to come", "steps", "2"),  # two hatches and a sample of one step: one question
    } <= seen, found.to_string()
    assert "clock jump" in set(found["code"])
    assert (found["what_to_do"].str.len() > 10).all()
    log.reinstate("hatches", "H-3", by="op1", reason="test")
    assert ("duplicate time", "hatches", "H-3") in set(zip(*log.check()[["code", "table", "key"]].to_numpy().T))


def test_what_stays_withdrawn_is_named_with_its_step(filled, site):
    """A sample that was typed wrong came back with its hatch, without a word."""
    say = ("--reason", "r", "--by", "op1")
    run("withdraw", "samples", "S-3", *say, site=site)
    run("withdraw", "hatches", "H-2", *say, site=site)
    assert run("reinstate", "hatches", "H-2", *say, site=site) == (
        0,
        "hatches H-2: shown again (1 row with what hangs on it).\n"
        "note: Withdrawn by step 2 (r), and still so: samples S-3.\n",
    )
    code, text = run("reinstate", "hatches", "H-2", *say, site=site)
    assert (code, text.split(". ")[0]) == (2, "hatches H-2: is not withdrawn, so there is nothing to show again")
    assert filled.samples()["sample"].tolist() == ["S-1"]


def test_what_check_says_to_do_can_be_done(filled, site):
    at = ["2031-11-01T09:00:00+00:00", "2026-11-01T09:00:00+00:00"]
    readings = pd.DataFrame({"hatch": "H-1", "taken": at, "quantity": "ph", "value": 8.2, "unit": "pH"})
    filled.add("readings", readings, by="op1")
    filled.add("lots", pd.DataFrame({"lot": ["l 1"]}), by="op1")
    filled.withdraw("lots", "L-2", by="op1", reason="test")
    filled.reinstate("hatches", "H-2", by="op1", reason="test")
    take_before_the_hatch(filled)
    found = filled.check()
    assert len(found) == 8, found.to_string()
    assert "no counts" not in set(found.loc[found["key"] == "S-2", "code"])  # why it has none is told, and that once
    commands = [text for row in found["what_to_do"] for text in row.split("  ") if text.startswith("qckit log")]
    wanted = {
        "qckit log reinstate lots L-2 --reason TEXT;": "",
        "qckit log withdraw lots 'l 1' --reason TEXT;": "",
        "qckit log correct samples S-3 taken TIME --reason TEXT;": "2026-11-04T09:00:00+00:00",
        "qckit log correct samples S-2 um_per_px NUMBER --reason TEXT": "6.2",
        "qckit log recount S-2 --nauplii NUMBER --reason TEXT": "40",
    }
    assert set(wanted) <= set(commands), commands
    commands = [c.replace("TIME", wanted[c]).replace("NUMBER", wanted[c]) for c in wanted]
    commands.append("qckit log withdraw readings 'H-1|2031-11-01T09:00:00+00:00|ph' --reason TEXT")
    for said in commands:
        assert run(*shlex.split(said.rstrip(";"))[2:], "--by", "op1", site=site)[0] == 0, said
    assert filled.check(photos=False)["code"].tolist() == ["missing photo", "missing photo"]


def test_a_log_in_order_has_nothing_to_find(log, site):
    log.add_many({"lots": LOTS.head(1), "hatches": HATCHES.head(1), "samples": SAMPLES.head(1)}, by="op1")
    assert log.check().empty


def test_the_csv_export_goes_into_another_log(filled, tmp_path):
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    paths = [
        p for p in export_csv(filled, tmp_path / "out") if p.stem not in ("corrections", "steps", *schema.AUTOMATIC)
    ]
    with open_log(new_site(tmp_path / "other")) as other:
        added = other.import_sheets(paths, by="op1").added
        assert {k: v for k, v in added.items() if v} == {
            "lots": 2,
            "hatches": 2,
            "samples": 3,
            "photos": 2,
            "objects": 114,
        }
        for name in ("lots", "hatches", "photos", "objects"):
            pd.testing.assert_frame_equal(other.table(name), filled.table(name))
        assert other.samples()["nauplii"].tolist() == filled.samples()["nauplii"].tolist()
        assert not any(other.import_sheets(paths, by="op1").added.values())
        assert "photo a.jpg, count 1" in other.history("H-1").text
        assert set(other.check(photos=False)["code"]) == {"missing photo"}
        more = objects.head(1).assign(object_id=900)
        with pytest.raises(InputError) as caught:
            other.add("objects", more, by="op1")
        assert str(caught.value).splitlines()[1] == (
            "objects, row 2: photo 'a.jpg' was counted before, and this object was not found then. Objects found by hand are "
            "entered in the notebook count_photos, which brings the counts along."
        )
        with pytest.raises(InputError, match=r"is the same file as 'a\.jpg'"):
            other.add("photos", photos.head(1).assign(photo="copy.jpg"), by="op1")


def run(*arguments, site):
    """Run ``qckit log`` as a user would; return exit code and all that was said."""
    done = CliRunner().invoke(command, [*arguments, "--site", str(site)])
    if isinstance(done.exception, QcError):
        return done.exception.exit_code, str(done.exception)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.output


def test_the_commands(site, tmp_path):
    sheet = tmp_path / "lots.csv"
    sheet.write_text("lot,price\nL-1,70\nL-2,dear\n")
    code, said = run("import", str(sheet), "--by", "op1", "--problems", str(tmp_path / "p.csv"), site=site)
    assert code == 2
    assert (
        "lots.csv, row 3: price 'dear' is not a number. Write a number, or leave it empty if it is not known." in said
    )
    assert "--accept-good-rows" in said
    assert pd.read_csv(tmp_path / "p.csv")["row"].tolist() == ["row 3"]
    code, said = run("import", str(sheet), "--by", "op1", "--accept-good-rows", site=site)
    assert (code, said.splitlines()[0]) == (1, "1 lot added, 1 problem.")
    assert said.splitlines()[-1] == "1 problem: their rows were left out."
    sheet.write_text("lot,price\nL-1,75\nL-2,64\n")
    code, said = run("import", str(sheet), "--by", "op1", "--correct", "price list", site=site)
    assert (code, said) == (0, "1 lot added, 1 cell corrected.\n")
    assert run("correct", "lots", "L-1", "notes", "=x", "--reason", "r", "--by", "op1", site=site) == (
        0,
        "lots L-1: notes is now =x.\n",
    )
    assert run("correct", "lots", "L-1", "storage_c", "-20", "--reason", "r", "--by", "op1", site=site) == (
        0,
        "lots L-1: storage_c is now -20.\n",
    )
    assert run("correct", "lots", "L-1", "storage_c", "", "--reason", "r", "--by", "op1", site=site)[0] == 0
    assert run("show", "lots", site=site)[1].splitlines()[1].startswith("L-1,,,,,,,,,75.0,,,,,'=x")
    assert run("withdraw", "lots", "L-2", "--reason", "r", site=site) == (
        0,
        "lots L-2: withdrawn (1 row with what hangs on it).\n",
    )
    assert run("reinstate", "lots", "L-2", "--reason", "r", site=site)[0] == 0
    assert run("check", site=site) == (0, "Nothing was found wrong.\n")
    assert run("history", "H-1", site=site) == (
        2,
        "unknown hatch, sample or photo 'H-1'. There is no hatch, sample or photo yet.",
    )
    for target in ("out", "out.xlsx", "out.zip"):
        assert run("export", str(tmp_path / target), site=site)[0] == 0
        assert (tmp_path / target).exists()
    code, said = run("backup", site=site)
    assert (code, said.endswith("written and verified.\n")) == (0, True)
    other = new_site(tmp_path / "other")
    assert CliRunner().invoke(command, ["restore", str(tmp_path / "out.zip"), str(other)]).exit_code == 0
    with open_log(other) as back:
        assert back.lots()["price"].tolist() == [75.0, 64.0]


def test_the_recount_command_says_what_stands_and_what_is_missing(filled, site):
    recount = ("recount", "S-1", "--nauplii", "99", "--reason", "check", "--by", "An")
    code, said = run(*recount, site=site)
    assert code == 2 and said.startswith("sample 'S-1': the recount does not give cysts (so far 20).")
    assert run(*recount, "--rest", "keep", site=site) == (0, "sample S-1: recounted: nauplii 99, cysts 20.\n")
    assert run(*recount, "--rest", "empty", site=site) == (
        0,
        "sample S-1: recounted: nauplii 99.\nNo cysts or embryos are counted, so this sample gives no hatching percentage.\n",
    )


def test_a_new_site_and_what_it_refuses(tmp_path):
    made = new_site(tmp_path / "ca fé 'x'", name='Cove "1" \\ é', timezone="Europe/Lisbon", date_order="dmy")
    from qckit.settings import load_settings

    settings = load_settings(made)
    assert (settings.site.name, settings.site.date_order) == ('Cove "1" \\ é', "dmy")
    assert sorted(p.name for p in (made / "field-sheets").iterdir()) == [
        "field-sheets.xlsx",
        "hatches.csv",
        "lots.csv",
        "readings.csv",
        "samples.csv",
    ]
    with open_log(made) as log:
        assert log.lots().empty
    with pytest.raises(InputError) as caught:
        new_site(made)
    assert str(caught.value) == f"{made}: is a site already (qckit.toml is there). Give another folder."
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError) as caught:
        new_site(tmp_path / "file")
    assert str(caught.value) == f"{tmp_path}/file: is a file. Give a folder."
    with pytest.raises(InputError, match=r"unknown time zone 'Lisbon'\. Did you mean"):
        new_site(tmp_path / "b", timezone="Lisbon")
    with pytest.raises(InputError, match="unknown date_order 'dym'"):
        new_site(tmp_path / "c", date_order="dym")
    assert not (tmp_path / "c" / "qckit.toml").exists()
    create_log(made)  # what is there stays


def test_what_qckit_count_wrote_is_recorded(site, tmp_path):
    with open_log(site) as log:
        log.add_many({"lots": LOTS, "hatches": HATCHES, "samples": SAMPLES}, by="op1")
    photos, objects = counted()
    folder = tmp_path / "counted"
    folder.mkdir()
    photos.assign(nauplii=30, umbrella=2, cyst=5, shell=20, hatch_pct=81.1, flags="", why="", taken="").to_csv(
        folder / "counts.csv", index=False
    )
    objects.assign(on_edge=False).to_csv(folder / "objects.csv", index=False)
    code, said = run("record", str(folder), "--by", "op1", site=site)
    added, counted_line, lot = said.splitlines()
    assert code == 0 and added == "2 photos added, 114 objects added, 1 sample added."
    assert counted_line.startswith(
        "Counted: H-1: A 81 % (71 to 88 %), 150\u202f000 (115\u202f000 to 195\u202f000) nauplii per g: "
    )
    assert lot == "Whether the lot that was tested is good:  qckit report new-lot L-1"
    assert run("record", str(folder), "--by", "op1", site=site) == (0, "2 photos there already.\n")
    with open_log(site) as log:
        assert log.samples(sample="S-2")[["nauplii", "shells", "volume_ul"]].values.tolist() == [[60, 40, 200.0]]
    code, said = run("record", str(tmp_path / "none"), site=site)
    assert code == 2
    assert said == (
        f"{tmp_path}/none/counts.csv: cannot be read ([Errno 2] No such file or directory: '{tmp_path}/none/counts.csv')."
        f" Count the photos with  qckit count PHOTOS --out {tmp_path}/none."
    )
