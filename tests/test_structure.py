"""The inside of the house: sizes, parameters, unnamed arguments, names. Ceilings only go down: lower one when it
can be, and never raise it.
"""

import ast
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = sorted((ROOT / "qckit").rglob("*.py"))
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in PACKAGE}
FUNCTIONS = [(p, n) for p, tree in TREES.items() for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]

CEILINGS = {
    "files of more than 400 lines": 5,
    "functions of more than 60 lines of code": 4,
    "functions of more than 8 parameters": 2,
    "calls with more than 5 unnamed arguments": 0,
    "coy names": 0,
}
"""What is counted -> how many there may be at most."""


def long_files():
    """Files that are long to read; the examples of docstrings, which stand for themselves, are not counted."""
    return [str(p) for p in PACKAGE if _lines(p) > 400]


def _lines(path):
    text = path.read_text(encoding="utf-8")
    examples = re.findall(r"\n *Examples\n *--------\n.*?(?=\n\n *(?!>>>|\.\.\.)\w|\n *\"\"\")", text, flags=re.DOTALL)
    return len(text.splitlines()) - sum(block.count("\n") + 1 for block in examples)


def long_functions():
    """Functions whose code, without the docstring, is long."""
    found = []
    for path, node in FUNCTIONS:
        first = node.body[1] if ast.get_docstring(node) and len(node.body) > 1 else node.body[0]
        if node.end_lineno - first.lineno + 1 > 60:
            found.append(f"{path}:{node.lineno} {node.name}")
    return found


def many_parameters():
    """Functions with more than 8 parameters; a command's options are what its user may say."""
    found = []
    for path, node in FUNCTIONS:
        a = node.args
        n = len([x for x in (*a.posonlyargs, *a.args, *a.kwonlyargs) if x.arg not in ("self", "cls")])
        is_command = any("command" in ast.unparse(d) for d in node.decorator_list)
        if n > 8 and not is_command:
            found.append(f"{path}:{node.lineno} {node.name} ({n})")
    return found


_ANY_NUMBER = {"print", "max", "min", "hypot", "zip", "joinpath", "range", "replace", "array", "Table"}


def unnamed_arguments():
    """Calls that give more than 5 arguments by their place; functions that take any number of one kind are left out."""
    found = []
    for path, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and sum(not isinstance(x, ast.Starred) for x in node.args) > 5:
                name = ast.unparse(node.func).rsplit(".", 1)[-1]
                if name not in _ANY_NUMBER:
                    found.append(f"{path}:{node.lineno} {name}")
    return found


COY = frozenset(
    {"said", "told", "seen", "own", "home", "way", "memory", "laws", "held", "neutral", "placing", "waiting", "wanted"}
)
"""Words that name nothing; the field has words of its own: evidence, estimate, bounds, observed, residual."""

PLAIN_WORDS = {
    "MEMORY_MB",  # what a process may take of the machine's
    "_limit_memory",
    "own_df",  # degrees of freedom of the test's own cones, beside the site's
    "own_card",  # the card in the photo itself, beside one photographed before it
}
"""Reviewed names in which such a word means what it says."""


def coy_names():
    """Modules, and functions, classes, parameters, variables and fields, whose name holds a word that names nothing."""
    found = [str(p) for p in PACKAGE if p.stem in COY]
    for path, tree in TREES.items():
        for node in ast.walk(tree):
            name = _bound_name(node)
            if name not in PLAIN_WORDS and COY & set(name.lower().split("_")):
                found.append(f"{path}:{node.lineno} {name}")
    return found


def _bound_name(node):
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return node.name
    if isinstance(node, ast.arg):
        return node.arg
    if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
        return node.id
    return node.attr if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store) else ""


COUNTED = dict(zip(CEILINGS, (long_files, long_functions, many_parameters, unnamed_arguments, coy_names), strict=True))


@pytest.mark.parametrize("what", CEILINGS)
def test_it_only_gets_better(what):
    found = COUNTED[what]()
    assert len(found) <= CEILINGS[what], f"{len(found)} {what}: " + "\n".join(found)


REVIEWED = ROOT / "tests" / "unused_names.txt"
"""Functions, classes, methods and properties that vulture takes for unused and are used: by libraries, by people who
write Python, by the scripts that train. Fields of results are for readers and are not looked at.
"""


def unused_names():
    """Names of the package that neither the package, the notebooks nor a module's ``__all__`` uses."""
    done = subprocess.run(
        [sys.executable, "-m", "vulture", "qckit", "--min-confidence", "60"], cwd=ROOT, capture_output=True, text=True
    )
    lines = re.findall(r"^(\S+?):\d+: unused (\w+) '(\w+)'", done.stdout, flags=re.M)
    text = " ".join(p.read_text(encoding="utf-8") for p in sorted((ROOT / "notebooks").rglob("*.ipynb")))
    words = Counter(re.findall(r"\w+", text))
    kinds = ("function", "class", "method", "property", "import")
    return sorted({f"{kind} {name}" for _path, kind, name in lines if kind in kinds and not words[name]})


def test_nothing_is_unused_but_for_a_reason():
    lines = [line.partition("  # ") for line in REVIEWED.read_text(encoding="utf-8").splitlines()]
    reviewed = {name: reason for name, _, reason in lines}
    assert all(reviewed.values()), "say for each name who uses it"
    found = set(unused_names())
    assert found - set(reviewed) == set(), "delete it, make it private and use it, or list it with who uses it"
    assert set(reviewed) - found == set(), "it is used by now: take it off the list"


def english_read_back():
    """Tests for, or cuts at, a text of several words: sentences are for readers, code goes by codes."""
    takes = {"startswith", "endswith", "removesuffix", "removeprefix", "partition", "rpartition", "split", "find"}
    found = []
    for path, tree in TREES.items():
        for node in ast.walk(tree):
            texts = []
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in takes:
                texts = [a.value for a in node.args if isinstance(a, ast.Constant)]
            elif isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.In | ast.NotIn):
                is_text = not isinstance(node.comparators[0], ast.Set | ast.Tuple | ast.List | ast.Dict)
                texts = [node.left.value] if isinstance(node.left, ast.Constant) and is_text else []
            if any(isinstance(t, str) and re.search(r"[A-Za-z]{2,} [A-Za-z]{2,}", t) for t in texts):
                found.append(f"{path}:{node.lineno} {ast.unparse(node)[:90]}")
    return found


READ_BACK = {
    "practice/history.py",  # what the invented history met, its own codes with blanks
    "charts/chart_legend.py",  # phase of a point: a code with a blank
    "charts/control_chart.py",  # the same
    "verdicts/month/study.py",  # purposes of hatches: the log's own words
}


def test_no_code_reads_english_back():
    odd = [f for f in english_read_back() if not any(place in f for place in READ_BACK)]
    assert odd == []
