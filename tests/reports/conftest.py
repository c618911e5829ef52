"""A small site with an empty log, and small notebooks, for runs that take a second or two."""

import nbformat
import pytest

from qckit.log import create_log

PARAMETERS = 'site = ""  # type: str\nlot = ""  # type: str\ngrams = 1.5  # type: float g\nout_dir = ""\nnow = ""'
BODY = """
from qckit import reports
from qckit.verdicts.finding import Evidence, Figure, Finding
finding = Finding(
    "new-lot", lot, "accept", f"Lot {lot} holds.",
    [Figure("hatch_pct", "hatching percentage", 81.25, 76.0, 86.0, "%", 1)], ["Use it."],
    [Evidence("Claim", f"{lot} against its claim", "for", "claim", {})], details={"confidence": 0.95},
)
reports.save_findings(finding, out_dir)
"""


def build(cells, *, parameters=PARAMETERS):
    """Return a notebook of a parameters cell and the cells given; text that starts with # is Markdown."""
    made = []
    if parameters is not None:
        made.append(nbformat.v4.new_code_cell(parameters, metadata={"tags": ["parameters"]}))
    for text in cells:
        kind = nbformat.v4.new_markdown_cell if text.startswith("#") else nbformat.v4.new_code_cell
        made.append(kind(text))
    notebook = nbformat.v4.new_notebook(cells=made)
    for i, cell in enumerate(notebook.cells):
        cell.id = f"cell-{i}"
    return notebook


@pytest.fixture
def notebook(tmp_path):
    """Return a function that writes a notebook and returns its path."""

    def write(cells, *, parameters=PARAMETERS, name="small.ipynb"):
        path = tmp_path / name
        nbformat.write(build(cells, parameters=parameters), path)
        return path

    return write


@pytest.fixture
def site(tmp_path):
    """An empty site with a name that has to be escaped."""
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "qckit.toml").write_text('[site]\nname = "Tide & <Pool>"\n', encoding="utf-8")
    create_log(folder)
    return folder


@pytest.fixture
def body():
    """The cell of a small report that finds something."""
    return BODY
