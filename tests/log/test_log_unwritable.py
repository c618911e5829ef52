"""Logs that lie where nothing can be written: read all the same, brought up to date in a passing copy if need be."""

import gc
import os
import shutil
import sqlite3
import subprocess
import sys
import warnings
from contextlib import closing, contextmanager

import pandas as pd
import pytest
from test_log_migrate import frozen_site, held

from qckit.errors import InputError, StateWarning
from qckit.log import engine, open_log, schema


def contents(folder):
    """Return every file below a folder with what it holds."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def passing_copies(folder):
    return list(folder.glob("qckit-log-*"))


@pytest.fixture
def scratch(tmp_path, monkeypatch):
    """A folder of our own for passing files."""
    folder = tmp_path / "passing"
    folder.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(folder))
    return folder


@contextmanager
def read_only(folder, at):
    """Show a folder at another place, where nothing can be written; skip where that is not allowed."""
    at.mkdir()
    mount = ["mount", "--bind", str(folder), str(at)]
    is_root = hasattr(os, "getuid") and os.getuid() == 0 and shutil.which("mount")
    if not is_root or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a folder cannot be mounted here for reading alone (needs root)")
    try:
        subprocess.run(["mount", "-o", "remount,ro,bind", str(at)], check=True)
        yield at
    finally:
        subprocess.run(["umount", "-l", str(at)], check=True)


@pytest.mark.parametrize("version", sorted(set(range(1, schema.SCHEMA_VERSION))))
def test_an_older_log_that_may_not_be_written_is_read_from_a_copy(site, scratch, monkeypatch, version):
    frozen_site(site, version)
    with closing(sqlite3.connect(site / "log.sqlite")) as connection:
        connection.execute("PRAGMA journal_mode=WAL")  # as the kit leaves it
    before, rows = contents(site), held(f"sqlite:///{site}/log.sqlite", version)
    for stray in site.glob("log.sqlite-*"):  # held() opened it for writing
        stray.unlink()
    monkeypatch.setattr(engine, "may_write", lambda path: scratch in path.parents)
    with pytest.warns(StateWarning) as caught, open_log(site) as log:
        assert log.hatches()["cysts_g"].tolist() == [1.6, 40.0]
        assert "correction of hatches H-1: cysts_g: 1.602 -> 1.6" in log.history("H-1").text
        assert len(log.samples(counted=None)) == 3 and log.check(photos=False) is not None
        with pytest.raises(InputError, match=r"log\.sqlite: the folder or the file may not be written"):
            log.correct("hatches", "H-1", "notes", "x", by="op1", reason="y")
        assert len(passing_copies(scratch)) == 1
    assert str(caught[0].message) == (
        f"{site}/log.sqlite: is of an earlier version and lies where nothing can be written. A copy of it is read; the "
        "log stays as it is."
    )
    assert contents(site) == before
    del log
    gc.collect()
    assert passing_copies(scratch) == []  # nothing of it is left lying about
    assert held(f"sqlite:///{site}/log.sqlite", version) == rows


def test_a_log_of_this_version_is_read_as_it_lies_there(site, scratch, monkeypatch):
    with open_log(site) as log:
        log.add_many({}, by="op1")
    before = contents(site)
    monkeypatch.setattr(engine, "may_write", lambda path: False)
    with warnings.catch_warnings():
        warnings.simplefilter("error", StateWarning)
        with open_log(site) as log:
            assert log.hatches().empty
    assert contents(site) == before and passing_copies(scratch) == []


def test_an_older_log_is_still_refused_where_no_upgrade_is_wanted(site, scratch, monkeypatch):
    frozen_site(site, 2)
    monkeypatch.setattr(engine, "may_write", lambda path: False)
    with pytest.raises(InputError, match="must be brought to"):
        open_log(site, upgrade=False)
    assert passing_copies(scratch) == []


def test_a_newer_or_damaged_log_leaves_no_copy(site, scratch, monkeypatch):
    with closing(sqlite3.connect(site / "log.sqlite")) as connection:
        connection.execute("UPDATE meta SET value = '99' WHERE name = 'schema_version'")
        connection.commit()
    monkeypatch.setattr(engine, "may_write", lambda path: scratch in path.parents)
    with pytest.raises(InputError, match="has schema version 99"):
        open_log(site)
    (site / "log.sqlite").write_bytes(b"not a database at all" * 100)
    with pytest.raises(InputError, match="the file is damaged, or is not a qckit log"):
        open_log(site)
    assert passing_copies(scratch) == []


def test_no_room_for_the_copy_is_said(site, scratch, monkeypatch):
    frozen_site(site, 3)
    monkeypatch.setattr(engine, "may_write", lambda path: scratch in path.parents)

    def full(path, folder):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("qckit.log.unwritable._copy_of", full)
    with pytest.warns(StateWarning), pytest.raises(InputError) as caught:
        open_log(site)
    assert str(caught.value) == (
        f"{site}/log.sqlite: cannot be copied to be read (No space left on device). Free some space in {scratch}, or "
        "copy the site folder to where it can be written."
    )
    assert passing_copies(scratch) == []


def test_changes_that_were_not_taken_in_are_read_too(site, tmp_path):
    """A site copied to a disk while it was in use has them in a file beside the log."""
    with open_log(site) as log, closing(engine.open_file(site / "log.sqlite")) as other:
        other.execute("SELECT count(*) FROM steps").fetchone()  # keeps the file beside from being taken in
        log.add("lots", pd.DataFrame([{"lot": "L-9"}]), by="op1")
        shutil.copytree(site, tmp_path / "copied", ignore=shutil.ignore_patterns("*-shm"))
    assert (tmp_path / "copied" / "log.sqlite-wal").stat().st_size > 0
    with (
        read_only(tmp_path / "copied", tmp_path / "disk") as disk,
        pytest.warns(StateWarning, match="has changes beside it that were not taken in yet"),
        open_log(disk) as log,
    ):
        assert log.lots()["lot"].tolist() == ["L-9"]


def test_the_commands_that_read_do_so_on_a_read_only_disk(site, tmp_path):
    frozen_site(site, 3)
    before = contents(site)
    with read_only(site, tmp_path / "disk") as disk:

        def run(*words):
            command = [sys.executable, "-m", "qckit", *words, "--site", str(disk)]
            return subprocess.run(command, capture_output=True, text=True, check=False)

        for words in (("log", "check", "--no-photos"), ("log", "history", "H-1"), ("log", "seal"), ("today",)):
            done = run(*words)
            assert done.returncode in (0, 1) and done.stdout, done.stderr
            assert "A copy of it is read; the log stays as it is." in done.stderr
        for words in (("log", "export", str(tmp_path / "out")), ("log", "evidence", "L-1", str(tmp_path / "evidence"))):
            done = run(*words)
            assert done.returncode in (0, 1) and list((tmp_path / words[-1]).iterdir()), done.stderr
        done = run("log", "backup", str(tmp_path / "backup.sqlite"))
        assert done.returncode == 0 and (tmp_path / "backup.sqlite").is_file(), done.stderr
        done = run("log", "upgrade")
        assert done.returncode == 2 and done.stderr.splitlines()[-1] == (
            f"qckit: {disk}/log.sqlite: cannot be upgraded, as nothing can be written in {disk} (a read-only disk, or "
            "a folder that belongs to another user). Nothing was changed, and the log can be read as it is. To go on "
            "with it, copy the whole site folder to where you may write, and run qckit log upgrade there."
        )
        done = run("report", "month", "2026-11")
        assert done.returncode == 2 and done.stderr.splitlines()[-1] == (
            f"qckit: {disk}/reports: lies where nothing can be written, and reports are kept with their site. Copy the "
            "site folder to where it can be written, and run the command there; its log is brought up to date then."
        )
    assert contents(site) == before
