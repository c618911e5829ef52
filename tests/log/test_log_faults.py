"""What happens when things go wrong: disk full, not writable, locked, two at once, too new."""

# ruff: noqa: E501  whole messages

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa
from invented_log import HATCHES, LOTS, SAMPLES, counted, enter_day, whole

from qckit.errors import InputError, StateWarning
from qckit.log import export_csv, new_site, open_log

HERE = str(Path(__file__).parent)


def test_killed_server_client_leaves_all_or_nothing(postgres_url):
    from qckit.log import create_log

    create_log(postgres_url)
    with open_log(postgres_url) as log:
        log.add("lots", LOTS, by="op1")
    rng = random.Random(7)
    for i in range(4):
        code = f"import sys; sys.path.insert(0, {HERE!r}); import invented_log as t; print('go', flush=True); t.enter_day({postgres_url!r}, {i})"
        child = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE)
        child.stdout.readline()
        time.sleep(rng.uniform(0.05, 0.6))
        child.kill()
        child.wait()
        child.stdout.close()
        with open_log(postgres_url) as log:
            hatches = log.table("hatches", hatch=[f"K{i}-A", f"K{i}-B"])
            samples = log.samples(hatch=f"K{i}-A", counted=None)
            assert (len(hatches), len(samples)) in ((0, 0), (2, 11))
        enter_day(postgres_url, i)
        with open_log(postgres_url) as log:
            assert len(log.objects(hatch=f"K{i}-A")) == 120


@contextmanager
def small_disk(folder, kib):
    """Mount a small file system of its own, or skip where that is not allowed."""
    folder.mkdir()
    made = (
        shutil.which("mount")
        and os.getuid() == 0
        and subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={kib}k", "tmpfs", str(folder)], capture_output=True, check=False
        ).returncode
        == 0
    )
    if not made:
        pytest.skip("a small disk cannot be mounted here (needs root)")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def test_disk_full_leaves_the_log_as_it_was(tmp_path, site):
    with small_disk(tmp_path / "disk", 900) as disk:
        shutil.copytree(site, disk / "site")
        with open_log(disk / "site") as log:
            log.add_many({"lots": LOTS, "hatches": HATCHES, "samples": SAMPLES}, by="op1")
            photos, objects = counted(n=(4000, 10, 900, 3000))
            with pytest.raises(InputError) as caught:
                log.record_counts(photos, objects=objects, by="op1")
            assert str(caught.value) == (
                f"{disk}/site/log.sqlite: the disk is full (database or disk is full). Nothing of this step was written. "
                "Free some space and run the same command again."
            )
            assert log.samples(counted=False)["sample"].tolist() == ["S-2"]
            assert log.objects().empty
            with pytest.raises(InputError, match="The log itself is as it was"):
                log.backup(_fill_disk(disk))
        (disk / "filler").unlink()
        assert whole(disk / "site" / "log.sqlite")
        with open_log(disk / "site") as log:
            photos, objects = counted()
            log.record_counts(photos, objects=objects, by="op1")
            assert len(log.samples()) == 3


def _fill_disk(disk):
    with pytest.raises(OSError, match="No space left"), (disk / "filler").open("wb") as handle:
        while True:
            handle.write(b"x" * 4096)
            handle.flush()
    return disk / "copy.sqlite"


def test_a_full_disk_can_still_be_read(tmp_path, site):
    """SQLite cannot make its files beside the log then: the log is read without, and nothing is written."""
    with open_log(site) as log:
        log.add_many({"lots": LOTS, "hatches": HATCHES, "samples": SAMPLES}, by="op1")
    with small_disk(tmp_path / "disk", 900) as disk:
        shutil.copytree(site, disk / "site")
        _fill_disk(disk)
        before = (disk / "site" / "log.sqlite").read_bytes()
        with pytest.warns(StateWarning) as caught, open_log(disk / "site") as log:
            assert log.hatches()["hatch"].tolist() == HATCHES["hatch"].tolist()
            with pytest.raises(InputError, match="the disk is full"):
                log.correct("hatches", HATCHES["hatch"][0], "notes", "x", by="op1", reason="y")
        assert str(caught[0].message) == (
            f"{disk}/site/log.sqlite: the disk is full. The log is read as it is, and nothing can be written. Free some "
            "space."
        )
        assert (disk / "site" / "log.sqlite").read_bytes() == before
        (disk / "filler").unlink()
        with open_log(disk / "site") as log:
            log.correct("hatches", HATCHES["hatch"][0], "notes", "x", by="op1", reason="y")


def test_an_export_that_finds_the_disk_full_leaves_no_table(tmp_path, site):
    with open_log(site) as log, small_disk(tmp_path / "disk", 40) as disk:
        log.add_many({"lots": LOTS, "hatches": HATCHES, "samples": SAMPLES}, by="op1")
        photos, objects = counted(n=(500, 10, 90, 300))
        log.record_counts(photos, objects=objects, by="op1")
        for folder in (disk / "csv", disk / "csv"):
            with pytest.raises(
                InputError, match=r"No space left on device\), and nothing was\. Give another folder\.$"
            ):
                export_csv(log, folder)
            assert list(disk.iterdir()) == []
        (disk / "csv").mkdir()
        export_csv(log, disk / "csv", tables=["lots"])
        before = (disk / "csv" / "lots.csv").read_bytes()
        log.correct("lots", LOTS["lot"][0], "notes", "x", by="op1", reason="y")
        with pytest.raises(InputError, match="No space left"):
            export_csv(log, disk / "csv")
        assert {p.name: p.read_bytes() for p in (disk / "csv").iterdir()} == {"lots.csv": before}


def test_the_command_says_that_it_only_reads(tmp_path, site):
    with small_disk(tmp_path / "disk", 900) as disk:
        shutil.copytree(site, disk / "site")
        _fill_disk(disk)
        command = [sys.executable, "-m", "qckit", "log", "show", "lots", "--site", str(disk / "site")]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        assert done.stdout.startswith("lot,")
        assert done.stderr == (
            f"note: {disk}/site/log.sqlite: the disk is full. The log is read as it is, and nothing can be written. "
            "Free some space.\n"
        )


def test_disk_full_as_sqlite_reports_it(filled):
    """The same where nothing can be mounted: SQLite itself says that it may grow no further."""

    @sa.event.listens_for(filled.engine, "connect")
    def cap(raw, _record):
        raw.execute("PRAGMA max_page_count=120")

    photos, objects = counted(n=(4000, 10, 900, 3000))
    with pytest.raises(InputError, match="the disk is full"):
        filled.record_counts(photos, objects=objects, by="op1")
    assert filled.objects().empty
    assert filled.samples(counted=False)["sample"].tolist() == ["S-2"]


@contextmanager
def not_writable(site, place):
    """Give a copy of a site that may not be written: by its rights, or for root by a mount."""
    if hasattr(os, "getuid") and os.getuid() == 0:
        with small_disk(place, 4000) as disk:
            shutil.copytree(site, disk / "site")
            subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
            yield disk / "site"
        return
    site.chmod(0o555)
    (site / "log.sqlite").chmod(0o444)
    try:
        yield site
    finally:
        site.chmod(0o755)
        (site / "log.sqlite").chmod(0o644)


def test_a_folder_that_may_not_be_written(tmp_path, site, filled):
    filled.close()
    with not_writable(site, tmp_path / "disk") as place, open_log(place) as log:
        assert (len(log.hatches()), len(log.samples())) == (2, 2)  # reading goes on
        with pytest.raises(InputError) as caught:
            log.correct("hatches", "H-1", "ph", 8, by="op1", reason="r")
        assert str(caught.value) == (
            f"{place}/log.sqlite: the folder or the file may not be written (attempt to write a readonly database). "
            "Nothing was written. Give yourself the right to write there, or copy the site folder elsewhere."
        )
        with pytest.raises(InputError, match="cannot be made"):
            log.backup()
        with pytest.raises(InputError, match=r"nothing can be written|may not"):
            new_site(place / "another")


def test_two_importers_at_once(site):
    code = (
        f"import sys; sys.path.insert(0, {HERE!r}); import invented_log as t\n"
        "from qckit.log import open_log\n"
        f"log = open_log({str(site)!r})\n"
        "for i in range(6): log.add_many(t.one_day(sys.argv[1] + str(i)), by=sys.argv[1])\n"
        "for i in range(6): log.add_many(t.one_day('same' + str(i)), by=sys.argv[1])\n"
    )
    with open_log(site) as log:
        log.add("lots", LOTS, by="op1")
    running = [subprocess.Popen([sys.executable, "-c", code, name], stderr=subprocess.PIPE, text=True) for name in "xy"]
    said = [child.communicate(timeout=90)[1] for child in running]
    assert [child.returncode for child in running] == [0, 0], said
    with open_log(site) as log:
        assert len(log.hatches()) == 36  # 6 days each, and the 6 that both brought only once
        assert len(log.samples(counted=None)) == 18 * 11
        assert len(log.steps()) == 19
    assert whole(site / "log.sqlite")


def test_two_importers_on_a_server(postgres_url):
    from qckit.log import create_log

    create_log(postgres_url)
    with open_log(postgres_url) as log:
        log.add("lots", LOTS, by="op1")
    code = (
        f"import sys; sys.path.insert(0, {HERE!r}); import invented_log as t\n"
        "from qckit.log import open_log\n"
        f"log = open_log({postgres_url!r})\n"
        "for i in range(4): log.add_many(t.one_day('same' + str(i)), by=sys.argv[1])\n"
    )
    running = [subprocess.Popen([sys.executable, "-c", code, name], stderr=subprocess.PIPE, text=True) for name in "xy"]
    said = [child.communicate(timeout=90)[1] for child in running]
    assert [child.returncode for child in running] == [0, 0], said
    with open_log(postgres_url) as log:
        assert len(log.hatches()) == 8
        assert len(log.steps()) == 5


def test_a_locked_file_is_said_and_loses_nothing(site, filled):
    filled.close()
    holder = sqlite3.connect(site / "log.sqlite", isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with open_log(site, wait_s=0.1) as log:
        assert len(log.hatches()) == 2  # reading goes on
        with pytest.raises(InputError) as caught:
            log.correct("hatches", "H-1", "ph", 8, by="op1", reason="r")
    assert str(caught.value) == (
        f"{site}/log.sqlite: someone else is writing to it, or the file is locked (database is locked). Nothing of this "
        "step was written. Close the other program and run the same command again; on a network share move the site to "
        "a local disk, or put the log on a PostgreSQL server (url in qckit.toml)."
    )
    holder.execute("ROLLBACK")
    holder.close()
    with open_log(site) as log:
        log.correct("hatches", "H-1", "ph", 8, by="op1", reason="r")


def test_a_damaged_or_foreign_file(site, tmp_path):
    (site / "log.sqlite").write_bytes(b"not a database at all" * 100)
    with pytest.raises(InputError) as caught:
        open_log(site)
    assert str(caught.value) == (
        f"{site}/log.sqlite: the file is damaged, or is not a qckit log (file is not a database). Move it away, "
        "with any file beside it of the same name and -wal or -shm at its end, then restore the newest backup with  "
        "qckit log restore BACKUP FOLDER."
    )
    (site / "log.sqlite").unlink()
    sqlite3.connect(site / "log.sqlite").execute("CREATE TABLE other (x)").connection.close()
    with pytest.raises(InputError) as caught:
        open_log(site)
    assert str(caught.value) == f"{site}/log.sqlite: holds no qckit log. Make an empty one with  qckit log create."


@pytest.mark.parametrize(
    ("said", "message"),
    [
        (
            "locking protocol",
            "someone else is writing to it, or the file is locked (locking protocol). Nothing of this step was written. Close the other program and run the same command again; on a network share move the site to a local disk, or put the log on a PostgreSQL server (url in qckit.toml).",
        ),
        (
            "disk I/O error",
            "the disk or the network share failed while writing (disk I/O error). Nothing of this step was kept. Check the disk, then run  qckit log check  and the same command again.",
        ),
        (
            "unable to open database file",
            "the file cannot be opened (unable to open database file). Check that the folder is there and that you may read and write in it.",
        ),
    ],
)
def test_faults_of_a_network_share_are_said(site, filled, said, message):
    """What SQLite says when locks or shared memory fail, as they do on network shares, raised where it would be."""

    @sa.event.listens_for(filled.engine, "before_cursor_execute")
    def fail(_connection, _cursor, statement, parameters, _context, _many):
        if statement.startswith("INSERT INTO corrections"):
            raise sa.exc.OperationalError(statement, parameters, sqlite3.OperationalError(said))

    with pytest.raises(InputError) as caught:
        filled.correct("hatches", "H-1", "ph", 8, by="op1", reason="r")
    assert str(caught.value) == f"{site}/log.sqlite: {message}"
    assert filled.corrections().empty
    assert len(filled.steps()) == 1


def test_a_write_that_the_system_cuts_short_loses_nothing(site, filled):
    """A limit on file size (as a quota sets) stops the write in the middle of a step."""
    resource = pytest.importorskip("resource", reason="limits on file size are a thing of Unix")
    filled.close()
    photos, objects = counted(n=(20000, 10, 900, 3000))
    child = os.fork()
    if child == 0:
        code = 1
        try:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))
            with open_log(site) as log:
                log.record_counts(photos, objects=objects, by="op1")
        except InputError as error:
            code = 0 if "Nothing of this step was" in str(error) else 2
        finally:
            os._exit(code)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert whole(site / "log.sqlite")
    with open_log(site) as log:
        assert log.objects().empty
        assert log.record_counts(photos, objects=objects, by="op1").added["photos"] == 2
