"""Every public name has an example in its docstring, and every example runs as printed."""

import ast
import contextlib
import doctest
import importlib
import io
import shutil
import sys
from pathlib import Path

import pytest
from sources import tree_of

ROOT = Path(__file__).resolve().parents[1]
PARTS = (
    *("photo", "counting", "hatch", "charts", "agreement", "log", "practice", "review", "reports", "day", "guide"),
    "draw",
)
TAKES_A_MINUTE = {"write_guide"}  # tests/notebooks/test_handbook.py runs it whole
KINDS = ast.FunctionDef | ast.ClassDef


def _examples():
    """Every docstring of the package with an example: (module and name, (module, text))."""
    for path in sorted((ROOT / "qckit").rglob("*.py")):
        place = path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".")
        todo = [(place, tree_of(path))]
        while todo:
            name, node = todo.pop()
            text = ast.get_docstring(node) or ""
            if ">>>" in text:
                yield name, (place, text)
            todo += [(f"{name}.{child.name}", child) for child in node.body if isinstance(child, KINDS)]


EXAMPLES = dict(_examples())


@pytest.fixture(scope="module")
def given(tmp_path_factory):
    """What the examples take as given: the parts, numpy and pandas, and invented records small enough to be quick."""
    import matplotlib as mpl
    import numpy as np
    import pandas as pd

    import qckit
    from qckit._paths import sample_images_dir
    from qckit.demo import make_example

    sys.path.insert(0, str(ROOT / "tests" / "review"))
    from invented_site import make_site

    mpl.use("Agg")
    folder = tmp_path_factory.mktemp("examples")
    site = qckit.load_site(make_example(folder / "site"))
    names = {part: importlib.import_module(f"qckit.{part}") for part in PARTS}
    tables = site.tables
    by_hand = {"nauplii": [80, 95, 70, 88], "umbrella": [3, 4, 2, 5], "cysts": [20, 25, 18, 22]}
    by_hand = pd.DataFrame({"photo": list("abcd"), **by_hand, "shells": [75, 90, 66, 80]})
    when = "2026-11-06T10:00:00+00:00"
    return names | {
        "qckit": qckit,
        "np": np,
        "pd": pd,
        "Path": Path,
        "shutil": shutil,
        "sample_images_dir": sample_images_dir,
        "site": site,  # the invented site of the handbook
        "tables": tables,
        "cones": names["hatch"].cone_metrics(tables.samples, tables.hatches, tables.lots, photos=tables.photos),
        "series": names["charts"].hatch_series(tables.lots, tables.hatches, tables.samples, tables.readings),
        "finding": site.new_lot("K-121"),
        "room": make_site(folder / "room", photos=("k-124_a_1",)),  # a site with a counted photo
        "picture": sample_images_dir() / "photos" / "k-121_a_1.jpg",
        "by_hand": by_hand,  # counts of four photos
        "certificate": names["agreement"].certify_camera(by_hand, by_hand, camera="M1", made_at=when, made_by="op1"),
    }


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_example_runs_as_printed(name, given, tmp_path, monkeypatch):
    import matplotlib.pyplot as plt

    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("QCKIT_SITE", str(given["site"].folder))
    module, text = EXAMPLES[name]
    names = vars(importlib.import_module(module)) | given  # as doctest does it, and what is given here
    told = io.StringIO()
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    test = doctest.DocTestParser().get_doctest(text, dict(names), name, None, 0)
    with contextlib.redirect_stderr(io.StringIO()):
        runner.run(test, out=told.write)
    plt.close("all")
    assert told.getvalue() == ""


def _public():
    """What a person who writes Python is offered: (name, its docstring)."""
    own = ("site", "site_tables", "settings", "settings_text", "verdicts.finding")
    for place in ("qckit", *(f"qckit.{part}" for part in (*PARTS, *own))):
        module = importlib.import_module(place)
        for name in module.__all__:
            thing = getattr(module, name)
            if callable(thing):  # a table of constants says what it is where it stands
                yield f"{place}.{name}", thing.__doc__ or ""
    site = importlib.import_module("qckit.site").Site
    for name, thing in vars(site).items():
        if not name.startswith("_") and callable(thing):
            yield f"Site.{name}", thing.__doc__ or ""


def test_every_public_name_has_an_example():
    bare = [name for name, text in _public() if ">>>" not in text and name.rsplit(".", 1)[-1] not in TAKES_A_MINUTE]
    assert bare == []
