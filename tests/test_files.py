"""Files stand whole or not at all; the rest is tested where it is used (names, cells)."""

import errno
import shutil

import pandas as pd
import pytest

from qckit.errors import file_fault
from qckit.files import swap_in, whole, write_csv


def test_what_sqlite_leaves_beside_a_file_given_up_goes_too(tmp_path):
    with pytest.raises(RuntimeError), whole(tmp_path / "copy.sqlite") as passing:
        passing.write_text("half")
        passing.with_name(f"{passing.name}-journal").write_text("half")
        raise RuntimeError
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_fails_half_way_leaves_the_old_one(tmp_path):
    target = tmp_path / "deep" / "a.txt"
    with whole(target) as passing:
        passing.write_text("old")
    with pytest.raises(RuntimeError), whole(target) as passing:
        passing.write_text("new, half")
        raise RuntimeError
    assert target.read_text() == "old"
    assert [p.name for p in target.parent.iterdir()] == ["a.txt"]


def test_an_error_names_the_file_and_not_the_passing_one(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(OSError, match=r"file.a\.txt'"), whole(tmp_path / "file" / "a.txt") as passing:
        passing.write_text("x")


def test_tables_for_spreadsheets_run_nothing(tmp_path):
    frame = pd.DataFrame({"text": ["=1+1", "plain"], "sure": pd.array([True, None], dtype="boolean")})
    write_csv(tmp_path / "a.csv", frame, for_spreadsheets=True)
    assert (tmp_path / "a.csv").read_bytes() == b"\xef\xbb\xbftext,sure\r\n'=1+1,yes\r\nplain,\r\n"
    write_csv(tmp_path / "b.csv", frame)
    assert (tmp_path / "b.csv").read_bytes() == b"text,sure\n=1+1,True\nplain,\n"


def test_a_folder_is_swapped_in_one_step(tmp_path):
    for name, text in (("new", "new"), ("kept", "old")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "a").write_text(text)
    swap_in(tmp_path / "new", tmp_path / "kept")
    assert (tmp_path / "kept" / "a").read_text() == "new"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["kept", "new"]


def test_a_folder_that_cannot_be_swapped_in_leaves_the_old_one_and_says_why(tmp_path, monkeypatch):
    for name, text in (("kept", "old"), ("new", "new")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "page.html").write_text(text)

    def full(source, target):
        raise OSError(errno.ENOSPC, "No space left on device", str(target))

    monkeypatch.setattr(shutil, "copy2", full)
    with pytest.raises(OSError, match="No space left") as caught:
        swap_in(tmp_path / "new", tmp_path / "kept")
    full_disk = "the disk is full. Free some space and run the same command again."
    assert str(file_fault(caught.value)) == f"{tmp_path / 'kept'}: {full_disk}"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["kept", "new"]
    assert (tmp_path / "kept" / "page.html").read_text() == "old"
