"""Places that cannot be written and addresses that lead nowhere: exit code 2 and one line, whatever the command."""

import errno

import numpy as np
import pytest
from PIL import Image

from qckit import cli
from qckit.errors import file_fault
from qckit.log import new_site


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
            "file/e.zip: cannot be written (File exists). Free some space, or give another place.",
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


def test_faults_name_the_folder_of_a_passing_file():
    fault = OSError(errno.EROFS, "Read-only file system", "reports/.new-7-month")
    assert str(file_fault(fault)) == (
        "reports: may not be read or written. Give yourself the right to, or give another place."
    )
    odd = OSError(errno.EIO, "Input/output error", "counts.csv")
    assert str(file_fault(odd)) == (
        "counts.csv: cannot be read or written (Input/output error). Check it, or give another place."
    )
