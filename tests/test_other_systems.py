"""What can be simulated here of Windows and macOS: their encodings, locales, paths and clocks."""

import ast
import json
import os
import subprocess
import sys
from pathlib import PureWindowsPath

import pytest
from sources import FILES, ROOT, tree_of

READ = {"cp437": "cp437", "cp1252": "cp1252", "ascii": "utf-8"}  # click takes a bare ascii for a mistake: UTF-8


def start(*arguments, **env):
    """Start Python as on an old console: no UTF-8 mode, C locale, a code page for its output."""
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("LC_", "PYTHONUTF8", "PYTHONIOENCODING", "LANG"))}
    clean |= {"PYTHONUTF8": "0", "LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "OMP_NUM_THREADS": "1", **env}
    command = [sys.executable, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, env=clean, timeout=300)


def run(*arguments, **env):
    """Run the command line on such a console."""
    return start("-m", "qckit", *arguments, **env)


SEVERAL = """
import json, sys
from qckit.cli import main
for words in json.loads(sys.argv[1]):
    try:
        main(words)
    except SystemExit as left:
        code = left.code
    sys.stdout.flush()
    sys.stdout.buffer.write(b"\\0%d\\0" % code)
    sys.stdout.buffer.flush()
"""


def run_several(lines, **env):
    """Run some command lines in one process of such a console: (exit code, what it printed) of each, and the errors."""
    lines = json.dumps([[str(word) for word in words] for words in lines])
    done = start("-c", SEVERAL, lines, **env)
    parts = done.stdout.split(b"\0")
    return list(zip(map(int, parts[1::2]), parts[0::2])), done.stderr


@pytest.fixture(scope="module", params=["cp437", "cp1252", "ascii"])
def console(request, tmp_path_factory):
    """A site made, filled and asked on a console of some code page; its folder has a space and an accent."""
    folder = tmp_path_factory.mktemp("room") / "hatch room"
    env = {"PYTHONIOENCODING": request.param}
    made = run("new", folder, "--name", "Sala", "--timezone", "Europe/Lisbon", **env)
    return folder, env, request.param, made


@pytest.mark.slow
def test_a_site_is_made_and_asked_on_an_old_console(console):
    folder, env, code, made = console
    assert made.returncode == 0, made.stderr
    made.stdout.decode(READ[code])
    lots = folder / "field-sheets" / "lots.csv"
    lots.write_text("lot,notes\nK-1,caf\u00e9 \u2013 28 \u00b0C\n", encoding="utf-8")
    site = ("--site", folder)
    lines = (("log", "import", lots, *site, "--by", "op1"), ("log", "show", "lots", *site), ("log", "check", *site))
    (entered, shown, checked), said = run_several(lines, **env)
    assert entered[0] == 0 and shown[0] == 0 and checked[0] in (0, 1), said
    assert "K-1" in shown[1].decode(READ[code])
    wrong = run("log", "history", "H\u00e4tch", *site, **env)
    assert wrong.returncode == 2 and b"Traceback" not in wrong.stderr + said


@pytest.mark.slow
def test_help_and_the_doctor_can_be_printed_on_an_old_console(console):
    _, env, code, _ = console
    lines = (["--help"], ["report", "month", "--help"], ["camera", "scale", "--help"], ["doctor"])
    printed, said = run_several(lines, **env)
    assert [code for code, _ in printed] == [0, 0, 0, 0], said
    for _, text in printed:
        assert text.decode(READ[code])


@pytest.mark.slow
def test_a_log_written_on_one_code_page_reads_the_same_on_another(console):
    from qckit.log import open_log

    folder = console[0]
    with open_log(folder) as log:
        assert log.lots()["notes"].tolist() == ["caf\u00e9 \u2013 28 \u00b0C"]


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_every_text_file_is_opened_with_its_encoding(path):
    """Without one, Windows takes the code page of the machine."""
    wrong = []
    for node in ast.walk(tree_of(path)):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        keywords = {k.arg for k in node.keywords}
        literals = [a.value for a in node.args if isinstance(a, ast.Constant) and isinstance(a.value, str)]
        is_binary = any("b" in v and set(v) <= set("rwxab+") for v in literals)
        given = len(node.args) > (name == "write_text")
        if name in ("read_text", "write_text") and "encoding" not in keywords and not given:
            wrong.append(node.lineno)
        if name == "open" and isinstance(node.func, ast.Name) and not is_binary and "encoding" not in keywords:
            wrong.append(node.lineno)
    assert wrong == []


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_nothing_leans_on_one_system(path):
    """No shell, no path of one system, no call that only one of them has, unless the file asks for the system first."""
    text = path.read_text(encoding="utf-8")
    asks = "os.name" in text or "sys.platform" in text or "hasattr(os" in text
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.keyword) and node.arg == "shell":
            assert isinstance(node.value, ast.Constant) and not node.value.value, f"line {node.value.lineno}: a shell"
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            calls = {("os", "fork"), ("os", "geteuid"), ("os", "getuid"), ("signal", "SIGKILL")}
            only = (node.value.id, node.attr) in calls
            assert asks or not only, f"line {node.lineno}: {node.value.id}.{node.attr}"
        if isinstance(node, ast.Constant) and str(node.value).startswith(("/tmp/", "/home/")):
            assert asks, f"line {node.lineno}: {node.value}"
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else [node.module or ""]
            assert asks or not {"fcntl", "pwd", "grp", "resource", "termios", "tty", "msvcrt"} & set(names), names


def test_photos_named_with_backslashes_are_found():
    from qckit.columns import listed_in

    names = listed_in(r"tests\K-124\a 1.jpg; b.jpg")
    assert [PureWindowsPath(n).name for n in names] == ["a 1.jpg", "b.jpg"]


def test_photo_paths_from_a_windows_sheet_match_their_counts(tmp_path):
    from qckit.log.counts import _file_name

    assert _file_name(r"C:\photos\day 3\k-1.jpg") == _file_name("photos/day 3/k-1.jpg") == "k-1.jpg"


def test_a_photo_is_found_however_the_system_writes_its_accents(tmp_path):
    """macOS hands out an accented letter as letter and accent; a sheet typed elsewhere has it as one sign."""
    import unicodedata

    from qckit.log.counts import _file_name
    from qckit.log.photo_files import find_photo
    from qckit.review import find_photo_file

    apart, joined = (unicodedata.normalize(form, "caf\u00e9 1.jpg") for form in ("NFD", "NFC"))
    photo = tmp_path / "photos" / "day 3" / apart
    photo.parent.mkdir(parents=True)
    photo.write_bytes(b"picture")
    assert apart != joined and _file_name(apart) == _file_name(joined)
    assert find_photo(tmp_path, joined) == find_photo_file(tmp_path, joined) == photo


@pytest.mark.parametrize(
    ("code", "shown"),
    [
        ("utf-8", "223\u00a0000 nauplii, \u221212\u00a0500"),
        ("cp1252", "223\u00a0000 nauplii, \\u221212\u00a0500"),
        ("cp437", "223\u00a0000 nauplii, \\u221212\u00a0500"),
        ("ascii", "223 000 nauplii, \\u221212 500"),
    ],
)
def test_thousands_are_parted_by_a_space_that_the_console_has(code, shown, monkeypatch):
    """What pages part by a thin space; many a console's font shows that as a box, and no code page holds it."""
    import io

    from qckit import cli
    from qckit.words import number, plural

    printed = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(printed, encoding=code, write_through=True))
    monkeypatch.setattr(
        cli, "_run", lambda argv: print(plural(223_000, "nauplii", "nauplii"), number(-12_500), sep=", ", end="")
    )
    cli.main([])
    assert printed.getvalue().decode(code) == shown


def test_time_zones_do_not_depend_on_the_system(tmp_path):
    """Windows has no zone files: the package tzdata must be there, and be enough."""
    code = (
        "import zoneinfo; zoneinfo.reset_tzpath([]); import datetime as d;"
        "print(d.datetime(2026, 7, 1, tzinfo=zoneinfo.ZoneInfo('Europe/Lisbon')).utcoffset())"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, encoding="utf-8")
    assert done.stdout.strip() == "1:00:00", done.stderr


def test_names_of_written_files_are_allowed_on_windows():
    from qckit.files import safe_name

    for name in ("CON", "aux", 'a:b*c?"<>|', "lot 7. ", "K/1\\2"):
        made = safe_name(name)
        assert not set(made) & set('<>:"/\\|?*') and made == made.rstrip(". ") and made
        assert PureWindowsPath(made).stem.upper() not in {"CON", "PRN", "AUX", "NUL", "COM1", "LPT1"}, made
