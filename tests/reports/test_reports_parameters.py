"""Parameters of a report notebook: what papermill would take in silence is refused or converted here."""

import datetime as dt
import decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from qckit._paths import notebooks_dir
from qckit.errors import InputError
from qckit.reports.parameters import convert_parameters, need_known_parameters, read_parameters

PARAMETERS = 'site = ""  # type: str  the site\nhatch = ""  # type: str  the hatch'
DECLARED = {"lot": "", "grams": 1.5, "cones": 3, "wide": False, "lots": [], "any": None}


def convert(**given):
    return convert_parameters(given, DECLARED, where="small.ipynb")


def test_a_misspelt_name_is_refused_with_the_nearest():
    with pytest.raises(InputError) as caught:
        convert(lott="K-124")
    assert str(caught.value) == (
        "small.ipynb: unknown parameter 'lott'. Did you mean 'lot'? Known: lot, grams, cones, wide, lots, any."
    )


@pytest.mark.parametrize(
    "name, value, expected",
    [
        ("lot", 7, "7"),
        ("lot", Path("a") / "b", str(Path("a") / "b")),
        ("lot", dt.date(2026, 11, 4), "2026-11-04"),
        ("lot", pd.Timestamp("2026-11-04T09:00:00Z"), "2026-11-04T09:00:00+00:00"),
        ("lot", np.str_("K-1"), "K-1"),
        ("lot", None, ""),
        ("grams", decimal.Decimal("1.6"), 1.6),
        ("grams", "1.6", 1.6),
        ("grams", 2, 2.0),
        ("cones", np.int64(3), 3),
        ("cones", "4", 4),
        ("wide", np.bool_(True), True),
        ("wide", "no", False),
        ("lots", ("a", "b"), ["a", "b"]),
        ("lots", np.array([1, 2]), [1, 2]),
        ("any", {1: (2, 3)}, {"1": [2, 3]}),
    ],
)
def test_values_get_the_type_of_the_default(name, value, expected):
    converted = convert(**{name: value})[name]
    assert converted == expected and type(converted) is type(expected)


@pytest.mark.parametrize(
    "name, value, message",
    [
        ("grams", "much", "small.ipynb: parameter grams is 'much' and must be a number."),
        ("grams", float("nan"), "small.ipynb: parameter grams is nan and must be a number."),
        ("cones", 2.5, "small.ipynb: parameter cones is 2.5 and must be a whole number."),
        ("cones", True, "small.ipynb: parameter cones is True and must be a whole number."),
        ("wide", "perhaps", "small.ipynb: parameter wide is 'perhaps' and must be yes or no."),
        ("lot", ["a"], "small.ipynb: parameter lot is ['a'] and must be text."),
        ("lots", "a", "small.ipynb: parameter lots is 'a' and must be a list."),
        (
            "lot",
            {1, 2},
            "small.ipynb: parameter lot is a set, which a notebook cannot be given. "
            "Give text, a number, yes or no, or a list of these.",
        ),
        (
            "lot",
            b"x",
            "small.ipynb: parameter lot is a bytes, which a notebook cannot be given. "
            "Give text, a number, yes or no, or a list of these.",
        ),
    ],
)
def test_a_value_that_does_not_fit_is_refused(name, value, message):
    with pytest.raises(InputError) as caught:
        convert(**{name: value})
    assert str(caught.value) == message


def test_defaults_are_read_from_the_cell(notebook):
    import nbformat

    made = nbformat.read(notebook(["x = 1"]), as_version=4)
    assert read_parameters(made, where="small.ipynb") == {
        "site": "",
        "lot": "",
        "grams": 1.5,
        "out_dir": "",
        "now": "",
    }


@pytest.mark.parametrize(
    "parameters, message",
    [
        (
            None,
            "small.ipynb: no cell is tagged 'parameters', so its values could not be set. "
            "Tag the one cell that holds them.",
        ),
        (
            "lot = str(7)",
            "small.ipynb: the parameters cell may hold only lines of the form  name = value  with plain values. ",
        ),
        (
            "a = b = 1",
            "small.ipynb: the parameters cell may hold only lines of the form  name = value  with plain values. "
            "Line 1 is not such a line.",
        ),
    ],
)
def test_a_notebook_whose_values_cannot_be_set_is_refused(notebook, parameters, message):
    import nbformat

    made = nbformat.read(notebook(["lot = 'mine'"], parameters=parameters), as_version=4)
    with pytest.raises(InputError) as caught:
        read_parameters(made, where="small.ipynb")
    assert str(caught.value).startswith(message)


class Shell:
    def __init__(self, *cells):
        self.user_ns = {"In": ["", *cells]}


@pytest.mark.parametrize(
    ("cells", "is_refused"),
    [
        ((PARAMETERS, '# Parameters\nhacth = "H-1"\n', "reports.find_site(site)"), True),
        ((PARAMETERS, '# Parameters\nhatch = "H-1"\n', "reports.find_site(site)"), False),
        (("x = 1", '# Parameters\nhacth = "H-1"\n'), False),  # a person's own notebook
        (("import qckit", "# Parameters\nprint(1)\n"), False),
        ((), False),
    ],
)
def test_a_name_that_papermill_set_and_the_notebook_has_not_is_refused(monkeypatch, cells, is_refused):
    monkeypatch.setattr("qckit.reports.parameters.running_shell", lambda: Shell(*cells))
    if not is_refused:
        need_known_parameters()
        return
    with pytest.raises(InputError) as caught:
        need_known_parameters()
    assert str(caught.value) == (
        "the parameters given to this notebook: unknown parameter 'hacth'. Did you mean 'hatch'? Known: site, hatch."
    )


def test_papermill_by_hand_with_a_misspelt_name_stops_at_the_first_cell(tmp_path):
    """The kit's own notebook, run by papermill itself: before any site is looked for."""
    papermill = pytest.importorskip("papermill")
    notebook = notebooks_dir() / "poor_hatch.ipynb"
    with pytest.raises(papermill.PapermillExecutionError) as caught:
        papermill.execute_notebook(
            notebook, tmp_path / "out.ipynb", {"hacth": "H-1"}, kernel_name="python3", progress_bar=False, cwd=tmp_path
        )
    assert "unknown parameter 'hacth'. Did you mean 'hatch'?" in str(caught.value)
