"""Errors and progress as a notebook shows them, through a real kernel; and as a terminal does."""

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import nbformat
import pytest

from qckit import progress
from qckit.errors import InputError, need_number, need_text
from qckit.reports.headings import heading_of

SENTENCE = "the parameter days is '3', which is a text. Give a plain number in days, such as days = 3"


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """A notebook of four cells, each run whatever the others do."""
    from nbclient import NotebookClient

    cells = [
        "import qckit\nfrom qckit.errors import need_number\nneed_number('days', '3', unit='days')",
        "1 / 0",
        "import time\nfrom qckit.progress import working\nwith working('Reviewing 2026-10'):\n    time.sleep(3.6)",
        "import pandas as pd\nfrom qckit import reports\nreports.table(pd.DataFrame({'um_per_px': [6.2]}))",
    ]
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(c) for c in cells])
    folder = tmp_path_factory.mktemp("ran")
    env = os.environ | {"IPYTHONDIR": str(folder / "ipython"), "OMP_NUM_THREADS": "1"}
    env.pop("QCKIT_PROGRESS", None)
    client = NotebookClient(notebook, kernel_name="python3", allow_errors=True, timeout=120, record_timing=False)
    messages = []
    client.on_cell_executed = None
    process = client.process_message

    def noted(message, cell, index):
        messages.append(message)
        return process(message, cell, index)

    client.process_message = noted
    client.execute(env=env)
    return notebook.cells, messages


def test_an_error_of_the_kit_is_its_sentence_with_the_traceback_folded(ran):
    error, folded = ran[0][0].outputs
    assert error.output_type == "error" and error.ename == "InputError"
    assert "\n".join(error.traceback).startswith(SENTENCE)
    assert len(error.traceback) == 1
    page = folded.data["text/html"]
    assert page.startswith("<details><summary>Where in the code</summary>") and "need_number" in page


def test_other_errors_stay_as_they_are(ran):
    (error,) = ran[0][1].outputs
    assert error.ename == "ZeroDivisionError" and len(error.traceback) > 1


def test_long_work_is_told_while_it_lasts_and_leaves_nothing(ran):
    cells, messages = ran
    shown = [
        m["content"]["data"].get("text/plain", "")
        for m in messages
        if m["msg_type"] in ("display_data", "update_display_data")
    ]
    assert any(text.startswith("Reviewing 2026-10: ") for text in shown)
    assert [o.data["text/plain"] for o in cells[2].outputs] == [""]


def test_a_table_in_a_notebook_brings_its_look_and_readable_headings(ran):
    page = ran[0][3].outputs[-1].data["text/html"]
    assert page.startswith("<style") and "text-align: left" in page
    assert ">scale [µm per pixel]</th>" in page


def test_a_command_writes_its_progress_over_in_a_terminal(monkeypatch):
    import io

    from qckit.cli import _Plain

    shown = io.StringIO()
    monkeypatch.setattr(progress, "_surroundings", lambda: "terminal")
    monkeypatch.setattr("sys.stderr", _Plain(shown))  # the stream of every command
    line = progress._Line()
    line.write("Reading the log: 2 s")
    line.write("Reading\rthe log: 3 s")
    line.clear()
    assert shown.getvalue().startswith("\rReading the log: 2 s\rReading\\x0dthe log: 3 s\r ")
    assert shown.getvalue().endswith("\r") and "\\x0dR" not in shown.getvalue()


def test_a_terminal_gets_lines_and_no_fault_from_its_encoding(monkeypatch, tmp_path):
    monkeypatch.setattr(progress, "_PATIENCE_S", 0.0)
    monkeypatch.setattr(progress, "_surroundings", lambda: "terminal")
    with (tmp_path / "terminal").open("w", encoding="cp437") as stream:
        monkeypatch.setattr(sys, "stderr", stream)
        with progress.working("Писать \u2013 reviewing"):
            until = time.monotonic() + 30
            while b"reviewing: " not in Path(stream.name).read_bytes() and time.monotonic() < until:
                time.sleep(0.05)
        show = progress.counted("Counting photos")
        for done in (1, 2):
            show(done, 2)
    text = (tmp_path / "terminal").read_bytes().decode("cp437")
    assert re.search(r"reviewing: \d+ s", text) and "Counting photos: 1 of 2 photos" in text
    assert text.endswith("\r")


def test_a_file_is_not_filled_with_lines(capsys):
    with progress.working("Reviewing"):
        time.sleep(0.1)
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(
    "value, message",
    [
        (
            "1mm",
            "the parameter spacing_um is '1mm', which is a text. Give a plain number in µm, such as spacing_um = 3",
        ),
        (None, "the parameter spacing_um is None, which is no number."),
        (float("nan"), "the parameter spacing_um is nan, which is no number."),
        (True, "the parameter spacing_um is True, which is no number."),
        (-1.0, "the parameter spacing_um is -1 µm. Give a number of 0 or more."),
    ],
)
def test_a_parameter_of_the_wrong_type_is_answered_in_words(value, message):
    with pytest.raises(InputError) as error:
        need_number("spacing_um", value, low=0, unit="µm")
    assert str(error.value).startswith(message)


def test_texts_may_be_numbers_or_paths_and_nothing_else(tmp_path):
    assert need_text("lot", 7) == "7" and need_text("site", tmp_path) == str(tmp_path)
    with pytest.raises(InputError, match=r'the parameter lot is \[1\]\. Give a text in quotes, such as lot = "…"\.'):
        need_text("lot", [1])


def test_headings_can_be_read():
    assert heading_of("u_um_per_px") == "uncertainty of the scale [µm per pixel]"
    assert heading_of("temperature_c") == "temperature [°C]"
    assert heading_of("hatch_pct_high") == "hatching percentage, high [%]"
    assert heading_of("g") == "g"


def test_a_script_outside_a_notebook_does_not_import_ipython():
    code = "import sys, qckit; assert 'IPython' not in sys.modules"
    assert subprocess.run([sys.executable, "-c", code], timeout=60).returncode == 0
