"""Wrong arguments are answered in words, by every public function; what succeeds is left alone."""

import contextlib
import importlib
import inspect
import io
import pickle
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import qckit
from qckit import charts, counting, hatch, log, reports
from qckit.arguments import wrong_argument
from qckit.errors import InputError, QcError

PARTS = ("agreement", "charts", "counting", "day", "guide", "hatch", "log", "photo", "practice", "reports", "review")
VALUES = (5, None, "no such thing", Path("/no/such/path"), pd.DataFrame())


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            lambda: reports.table(5),
            "qckit.reports.table: the parameter frame is 5, a whole number. It takes a DataFrame, shape (n, m): One "
            "row per line; the index is not shown.",
        ),
        (
            lambda: charts.draw_control_chart(5),
            "qckit.charts.draw_control_chart: the parameter frame is 5, a whole number. It takes a DataFrame: Columns "
            "of ``charts.CHART_COLUMNS``.",
        ),
        (
            lambda: charts.draw_control_chart(pd.DataFrame({"a": [1], "b": [2]})),
            "qckit.charts.draw_control_chart: the table given as frame lacks z. Its columns: a, b.",
        ),
        (
            lambda: qckit.load_settings(5),
            "qckit.load_settings: the parameter folder is 5, a whole number. It takes a path: The site folder (or a "
            "settings file in it).",
        ),
        (
            lambda: qckit.open_log(3),
            "qckit.log.open_log: the parameter site is 3, a whole number. It takes a path or str: The site folder, or "
            "the URL of a database (``sqlite:///…``, ``postgresql+psycopg://…``).",
        ),
    ],
)
def test_a_wrong_type_is_answered_with_the_parameter_and_what_it_takes(call, sentence):
    with pytest.raises(InputError) as caught:
        call()
    assert str(caught.value) == sentence
    assert caught.value.__cause__ is not None  # where in the code can still be seen


def test_an_unknown_parameter_is_answered_with_those_there_are_and_a_missing_one_as_python_says_it(tmp_path):
    with pytest.raises(TypeError, match="missing 1 required positional argument: 'frame'"):
        reports.table()
    with pytest.raises(InputError) as caught:
        qckit.open_log(tmp_path, upgrad=False)
    assert str(caught.value) == (
        "qckit.log.open_log: unknown parameter 'upgrad'. Did you mean 'upgrade'? Known: site, now, wait_s, upgrade."
    )


def test_a_site_names_the_parameters_it_knows_where_one_is_unknown(tmp_path):
    site = qckit.load_site(log.new_site(tmp_path / "site"))
    with pytest.raises(InputError) as caught:
        site.hatches(temperature_c=28)
    assert str(caught.value) == ("Site.hatches: unknown parameter 'temperature_c'. Known: period, lot, cone, hours.")
    with pytest.raises(TypeError, match="missing 1 required positional argument: 'hatch'"):
        site.poor_hatch()


def test_parts_are_there_without_an_import_of_their_own_and_a_wrong_name_is_told_the_nearest():
    code = (
        "import qckit\nprint(qckit.hatch.plan_dose.__name__, qckit.charts.p_chart.__name__)\n"
        "for name in ('count_photoes', 'xyz'):\n"
        "    try:\n        getattr(qckit, name)\n    except AttributeError as error:\n        print(error)"
    )
    got = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert got.stdout.splitlines() == [
        "plan_dose p_chart",
        "there is no 'count_photoes' in qckit. Did you mean 'count_photos'?",
        "there is no 'xyz' in qckit. dir(qckit) lists what there is.",
    ]


def test_a_fault_that_no_argument_is_to_blame_for_stays_as_it_is():
    def broken(frame: pd.DataFrame):
        """Fail.

        Parameters
        ----------
        frame : DataFrame
        """

    for fault in (TypeError("inside"), AttributeError("inside"), ZeroDivisionError()):
        assert wrong_argument(broken, (pd.DataFrame(),), {}, fault=fault, name="broken") is None


def test_a_pair_of_numbers_is_right_where_a_pair_is_asked_for():
    def broken(pair, table):
        """Break.

        Parameters
        ----------
        pair : (float, float)
        table : DataFrame
        """

    frame = pd.DataFrame({"a": [1]})
    call = {"fault": TypeError("inside"), "name": "broken"}
    assert wrong_argument(broken, ((1.0, 2.0), frame), {}, **call) is None
    assert "the parameter pair is 3, a whole number. It takes (float, float)" in str(
        wrong_argument(broken, (3, frame), {}, **call)
    )
    lacking = wrong_argument(broken, (3, frame), {}, fault=KeyError("z"), name="broken")
    assert "the table given as table lacks z" in str(lacking)


def test_a_function_of_the_door_is_the_same_to_pickle_to_help_and_to_who_calls_it():
    assert pickle.loads(pickle.dumps(counting.count_photo)) is counting.count_photo is qckit.count_photo
    assert list(inspect.signature(counting.count_photo).parameters)[:2] == ["path", "um_per_px"]
    assert inspect.getdoc(hatch.cone_metrics) == inspect.getdoc(hatch.cone_metrics.__wrapped__)
    assert hatch.binomial_interval(8, 10) == hatch.binomial_interval.__wrapped__(8, 10)


def _functions():
    found = {}
    for place in ("qckit", *(f"qckit.{part}" for part in PARTS)):
        part = importlib.import_module(place)
        found |= {id(f): (f"{place}.{n}", f) for n in part.__all__ if inspect.isfunction(f := getattr(part, n))}
    return sorted(found.values())


def _calls(function):
    """Ways to call a function wrongly: one value for all that has to be given, or for the first that may be."""
    parameters = [
        p for p in inspect.signature(function).parameters.values() if p.kind < p.VAR_POSITIONAL or p.kind == 3
    ]
    needed = [p.name for p in parameters if p.default is p.empty] or [p.name for p in parameters[:1]]
    return [dict.fromkeys(needed, value) for value in VALUES] if needed else []


# A table where an array is wanted is an array to numpy, and a number can be what is asked for: the library's own
# sentence is left there.
LIBRARY = (ValueError, np.linalg.LinAlgError)


@pytest.mark.slow
def test_no_public_function_answers_a_wrong_type_with_a_bare_error(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("QCKIT_GUIDE_CACHE", str(tmp_path))
    bare, called = [], 0
    for name, function in _functions():
        if name.endswith(".write_guide"):
            continue
        for arguments in _calls(function):
            called += 1
            with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
                try:
                    result = function(**arguments)
                    list(result) if inspect.isgenerator(result) else None
                except (QcError, *LIBRARY):
                    pass
                except Exception as fault:  # noqa: BLE001  any fault is what is looked for
                    bare.append(f"{name}({str(arguments)[:60]}): {type(fault).__name__}: {fault}"[:200])
    assert called > 1000
    assert bare == []
