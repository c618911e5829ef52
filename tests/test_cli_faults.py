"""Places that cannot be written and addresses that lead nowhere: exit code 2 and one line, whatever the command."""

import errno
import gc
import os
import shutil
import socket
import subprocess
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from qckit import cli
from qckit.errors import FILE_FAULTS, InputError, file_fault
from qckit.log import create_log, new_site, open_log


@pytest.fixture
def said(capsys, tmp_path, monkeypatch):
    """Run a command in a folder that holds a site, a photo, and a file where a folder is wanted."""
    monkeypatch.chdir(tmp_path)
    new_site(tmp_path / "site")
    Image.fromarray(np.full((120, 160), 200, np.uint8)).save("a.png")
    (tmp_path / "file").write_text("")
    (tmp_path / "lots.csv").write_text("lot,price\nL-1,dear\n")

    def run(*arguments):
        with pytest.raises(SystemExit) as left:
            cli.main(list(arguments))
        return left.value.code, capsys.readouterr().err

    return run


@pytest.mark.parametrize(
    ("command", "message"),
    [
        ("count a.png --um-per-px 5 --out file", "file: is a file, and a folder is needed here. Give another name."),
        (
            "count a.png --um-per-px 5 --out file/x",
            "file/x: cannot be made or opened, as something above it is a file and no folder. Give another place.",
        ),
        (
            "log export --site site file/e.zip",
            "file/e.zip: is a file, and a folder is needed here. Give another name.",
        ),
        (
            "log export --site site file/e.xlsx",
            "file/e.xlsx: cannot be written (File exists). Close it elsewhere, or give another name.",
        ),
    ],
)
def test_a_place_that_cannot_be_written_is_one_line(said, command, message):
    assert said(*command.split()) == (2, f"qckit: {message}\n")


def test_the_problems_are_said_although_their_file_cannot_be_written(said):
    code, err = said("log", "import", "lots.csv", "--site", "site", "--by", "op1", "--problems", "file/p.csv")
    assert code == 2 and "price 'dear' is not a number" in err
    assert err.splitlines()[-1] == "qckit: file/p.csv: is a file, and a folder is needed here. Give another name."


def test_a_report_folder_that_is_a_file(said, tmp_path):
    (tmp_path / "site" / "reports").rmdir()
    (tmp_path / "site" / "reports").touch()
    code, err = said("report", "new-lot", "L-1", "--site", "site", "--no-count")
    assert (code, err) == (
        2,
        f"qckit: {tmp_path / 'site' / 'reports'}: is a file, and a folder is needed here. Give another name.\n",
    )


@pytest.mark.parametrize("url", ["foo", "sqlite://"])
def test_an_address_that_leads_nowhere(said, tmp_path, url):
    settings = tmp_path / "site" / "qckit.toml"
    settings.write_text(f'[log]\nurl = "{url}"\n')
    assert said("log", "show", "lots", "--site", "site") == (
        2,
        f"qckit: {url}: is not the address of a database. In qckit.toml leave url empty for a file in the site "
        "folder, or write postgresql+psycopg://user@host/database.\n",
    )


def test_a_new_site_is_not_half_made_for_an_address_that_leads_nowhere(said, tmp_path):
    code, err = said("new", "other", "--url", "foo")
    assert code == 2 and err.startswith("qckit: foo: is not the address of a database.")
    assert not (tmp_path / "other").exists()


def test_a_folder_that_was_there_keeps_nothing_of_a_site_that_could_not_be_made(tmp_path, monkeypatch):
    (tmp_path / "mine.txt").write_text("kept")

    def fill_the_disk(folder):
        create_log(folder)
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("qckit.log.founding.create_log", fill_the_disk)
    with pytest.raises(InputError, match=FILE_FAULTS[errno.ENOSPC][0]) as caught:
        new_site(tmp_path, url="")
    assert str(caught.value).startswith(str(tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_faults_name_the_folder_of_a_passing_file():
    fault = OSError(errno.EROFS, "Read-only file system", "reports/.new-7-month")
    assert str(file_fault(fault)) == (
        "reports: lies where nothing can be written. Give another place, or have the disk made writable."
    )
    odd = OSError(errno.ENOTTY, "Inappropriate ioctl for device", "counts.csv")
    assert str(file_fault(odd)) == (
        "counts.csv: cannot be read or written (Inappropriate ioctl for device). Check it, or give another place."
    )


@contextmanager
def small_disk(folder, kib):
    """Mount a small file system of its own, or skip where that is not allowed."""
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={kib}k", "tmpfs", str(folder)]
    is_root = hasattr(os, "getuid") and os.getuid() == 0 and shutil.which("mount")
    if not is_root or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a small disk cannot be mounted here (needs root)")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def everything(folder):
    """What stands in a folder: every file with its bytes; the database's own passing files left out."""
    files = (p for p in Path(folder).rglob("*") if p.is_file() and not p.name.endswith(("-wal", "-shm")))
    return {str(p.relative_to(folder)): p.read_bytes() for p in files}


COMMANDS = (
    "log import {lots} --site {site} --by op1",
    "log export --site {site} {disk}/e.zip",
    "log export --site {site} {disk}/e.xlsx",
    "log backup --site {site} {disk}/copy.sqlite",
    "count {photo} --um-per-px 5 --out {disk}/counts",
    "today --site {site} --html {disk}/today.html",
    "cards {disk}/cards.html --site {site}",
    "new {disk}/another --no-questions",
)


def places(tmp_path, disk):
    return {"site": disk / "site", "disk": disk, "lots": tmp_path / "good.csv", "photo": tmp_path / "a.png"}


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("how", ["full", "read-only"])
def test_a_disk_that_takes_no_more_is_one_line_and_nothing_is_lost(said, tmp_path, command, how, monkeypatch):
    late = []  # what complains when it is collected: a file half written and left open
    monkeypatch.setattr("sys.unraisablehook", late.append)
    (tmp_path / "good.csv").write_text("lot,origin\n" + "".join(f"L-{i},{'x' * 200}\n" for i in range(300)))
    with small_disk(tmp_path / "disk", 700) as disk:
        shutil.copytree(tmp_path / "site", disk / "site")
        with open_log(disk / "site") as log:
            log.add("lots", pd.DataFrame({"lot": ["L-0"], "origin": ["x" * 200]}), by="op1")
        before = everything(disk)
        if how == "full":
            with pytest.raises(OSError, match="No space left"), (disk / "filler").open("wb") as handle:
                while handle.write(b"x" * 4096):
                    handle.flush()
        else:
            subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        code, err = said(*command.format(**places(tmp_path, disk)).split())
        gc.collect()
        assert not late, [str(one.exc_value) for one in late]
        (last,) = err.splitlines()[-1:]
        assert code == 2 and last.startswith("qckit: ") and "fault of the kit" not in last and "Traceback" not in err
        words = ("disk is full", "No space left") if how == "full" else ("written", "made", "read-only")
        assert any(word in last for word in words), last
        assert last.endswith(".")  # with what to do
        (disk / "filler").unlink(missing_ok=True) if how == "full" else None
        assert everything(disk) == before
        with open_log(disk / "site") as log:
            assert log.lots()["lot"].tolist() == ["L-0"]


def test_a_disk_that_fails_while_writing(said, tmp_path, monkeypatch):
    """EIO from the system's own call, as a dying card or a lost share gives it."""

    def fail(_descriptor):
        raise OSError(errno.EIO, "Input/output error")

    (tmp_path / "cards.html").write_bytes(b"the one before")
    with open_log(tmp_path / "site") as log:
        log.add("lots", pd.DataFrame({"lot": ["L-0"]}), by="op1")
    monkeypatch.setattr(os, "fsync", fail)
    for command in ("today --site site --html cards.html", "cards cards.html --site site"):
        code, err = said(*command.split())
        assert code == 2 and err.splitlines()[-1] == (
            "qckit: cards.html: the disk or the network share failed while reading or writing. Check the disk or the "
            "share, then run the same command again."
        )
    assert (tmp_path / "cards.html").read_bytes() == b"the one before"
    assert not list(tmp_path.glob(".*.part"))


def test_a_server_that_refuses(said, tmp_path):
    pytest.importorskip("psycopg", reason="the PostgreSQL driver is not installed: pip install psycopg[binary]")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    settings = tmp_path / "site" / "qckit.toml"
    settings.write_text(f'[log]\nurl = "postgresql+psycopg://op1@127.0.0.1:{port}/hatches"\n')
    code, err = said("log", "show", "lots", "--site", "site")
    assert code == 2 and err.count("\n") == 1
    assert "the server does not answer as asked" in err and "onnection refused" in err
    assert err.endswith(
        "Check url in qckit.toml (password: log-address.secret or QCKIT_LOG_URL), that the server runs, and that the "
        "user and the database exist there.\n"
    )


@pytest.mark.parametrize(
    ("fails", "command", "step"),
    [
        ("qckit.commands.log._say_answer", "log import good.csv --site site --by op1", "step 1 (import, 1 row)"),
        (
            "qckit.commands.log.dates_at",
            "log correct lots L-0 origin there --site site --by op1 --reason slip",
            "step 2 (correct, 1 row)",
        ),
        ("qckit.log.store.SiteLog.still_withdrawn", "log reinstate lots L-1 --site site --by op1 --reason x", "step 3"),
    ],
)
@pytest.mark.parametrize(
    "fault", [KeyError("n"), InputError("log.sqlite: is damaged."), OSError(5, "I/O", "log"), MemoryError()]
)
def test_a_fault_after_the_log_was_written_says_what_stands_there(
    said, tmp_path, monkeypatch, fails, command, step, fault
):
    """It said that nothing of the step was kept."""

    def fail(*_args, **_kwargs):
        raise fault

    (tmp_path / "good.csv").write_text("lot,origin\nL-9,here\n")
    if "import" not in command:
        with open_log(tmp_path / "site") as log:
            log.add("lots", pd.DataFrame({"lot": ["L-0", "L-1"]}), by="op1")
            if "reinstate" in command:
                log.withdraw("lots", "L-1", by="op1", reason="slip")
    if "correct" in command:  # its doubts are said by the site's dates
        monkeypatch.setattr("qckit.log.store.SiteLog._doubts", lambda *_args, **_kwargs: ["a doubt"])
    monkeypatch.setattr(fails, fail)
    code, err = said(*command.split())
    last = err.splitlines()[-1]
    assert code == 1 and "nothing of this step" not in last
    assert last.startswith(f"qckit: This stands in the log, and need not be entered again: {step}")
    assert "What came after it failed: " in last


def test_where_nothing_was_kept_a_fault_of_the_kit_says_so(said, monkeypatch):
    def fail(*_args, **_kwargs):
        raise KeyError("n")

    monkeypatch.setattr("qckit.log.store.SiteLog.lots", fail)
    monkeypatch.setattr("qckit.log.store.SiteLog.table", fail)
    code, err = said("log", "show", "lots", "--site", "site")
    assert code == 2 and err.startswith("qckit: a fault of the kit, nothing of this step was kept (KeyError: 'n').")


def test_every_fault_of_files_is_in_the_handbook():
    from qckit import guide

    shown = guide.fault_list()
    assert len(shown) == len(FILE_FAULTS) and (shown["what to do"].str.endswith(".")).all()
    chapter = next(c for c in guide.read_chapters() if c.name == "troubleshooting")
    source = " ".join(text for _, text in chapter.cells)
    assert all(f"guide.{name}()" in source for name in ("fault_list", "note_list", "flag_list"))


@pytest.mark.parametrize("code", list(FILE_FAULTS))
def test_each_fault_of_files_says_what_and_how_to_mend_it(code):
    what, remedy = FILE_FAULTS[code]
    assert str(file_fault(OSError(code, os.strerror(code), "a/b.csv"))) == f"a/b.csv: {what}. {remedy}"
