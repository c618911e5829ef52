"""Every notebook is thin: one parameters cell, no functions or loops, no stored outputs, cell ids, our kernel."""

import ast
from pathlib import Path

import nbformat
import pytest
from sources import parsed

from qckit._paths import notebooks_dir
from qckit.reports import KINDS
from qckit.reports.parameters import read_parameters

NOTEBOOKS = sorted(notebooks_dir().glob("*.ipynb"))


def read(path: Path):
    return nbformat.read(path, as_version=4)


def code_of(cell) -> str:
    """Return a cell's Python without magics."""
    return "\n".join(line for line in cell.source.splitlines() if not line.lstrip().startswith(("%", "!")))


def test_there_are_notebooks():
    assert {"new_lot.ipynb"} <= {p.name for p in NOTEBOOKS}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_a_notebook_is_a_clean_template(path):
    notebook = read(path)
    nbformat.validate(notebook)
    assert notebook.metadata.kernelspec.name == "python3"
    ids = [cell.id for cell in notebook.cells]
    assert len(ids) == len(set(ids))
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert cell.outputs == [] and cell.execution_count is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_a_notebook_holds_no_logic(path):
    for cell in read(path).cells:
        if cell.cell_type != "code":
            continue
        kinds = {type(node) for node in ast.walk(parsed(code_of(cell)))}
        assert not kinds & {ast.FunctionDef, ast.ClassDef, ast.Lambda, ast.For, ast.While, ast.Try}, cell.source


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_a_notebook_has_one_parameters_cell(path):
    notebook = read(path)
    declared = read_parameters(notebook, where=path.name)
    assert "site" in declared or path.name == "camera_setup.ipynb"
    first = next(c for c in notebook.cells if c.cell_type == "code")
    assert "parameters" in first.metadata.tags
    for line in first.source.splitlines():
        assert "# type: " in line, f"{path.name}: say the type and meaning of {line!r}"
        assert len(line) <= 100, f"{path.name}: a page cuts {line!r}"


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_of_report_has_its_notebook_and_parameters(kind):
    path = notebooks_dir() / KINDS[kind].notebook
    declared = read_parameters(read(path), where=path.name)
    assert {"site", "out_dir", "now", KINDS[kind].subject, *KINDS[kind].also} <= set(declared)
    assert all(declared[name] == "" for name in ("site", "out_dir", "now"))


@pytest.mark.parametrize("kind", KINDS)
def test_a_report_notebook_opens_with_its_finding_and_has_the_five_parts(kind):
    notebook = read(notebooks_dir() / KINDS[kind].notebook)
    text = "\n".join(c.source for c in notebook.cells if c.cell_type == "markdown")
    headings = [line[3:].strip() for line in text.splitlines() if line.startswith("## ")]
    positions = [headings.index(name) for name in ("Evidence", "Method", "Raw table", "Cautions")]
    assert positions == sorted(positions)
    code = [c.source for c in notebook.cells if c.cell_type == "code"]
    assert any("first_screen(" in source for source in code[:6])
    assert any("save_findings(" in source for source in code)
    assert max(len(line) for source in code for line in source.splitlines()) <= 100  # a page cuts what is longer
