"""The inside of the house: sizes, parameters, unnamed arguments, names. Ceilings only go down: lower one when it
can be, and never raise it.
"""

import ast
import re
import subprocess
import sys
from collections import Counter

import pytest
from sources import FILES, ROOT, trees

CEILINGS = {
    "files of more than 400 lines": 0,
    "functions of more than 60 lines of code": 0,
    "functions of more than 8 parameters": 0,
    "calls with more than 5 unnamed arguments": 0,
    "coy names": 0,
    "private names taken from another module": 0,
}
"""What is counted -> how many there may be at most."""


def functions():
    """Return each function of the package with its file."""
    return [(p, n) for p, tree in trees().items() for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]


def long_files():
    """Files that are long to read; the examples of docstrings, which stand for themselves, are not counted."""
    return [str(p) for p in FILES if _lines(p) > 400]


def _lines(path):
    text = path.read_text(encoding="utf-8")
    examples = re.findall(r"\n *Examples\n *--------\n.*?(?=\n\n *(?!>>>|\.\.\.)\w|\n *\"\"\")", text, flags=re.DOTALL)
    return len(text.splitlines()) - sum(block.count("\n") + 1 for block in examples)


def long_functions():
    """Functions whose code, without the docstring, is long."""
    found = []
    for path, node in functions():
        first = node.body[1] if ast.get_docstring(node) and len(node.body) > 1 else node.body[0]
        if node.end_lineno - first.lineno + 1 > 60:
            found.append(f"{path}:{node.lineno} {node.name}")
    return found


def many_parameters():
    """Functions with more than 8 parameters; a command's options are what its user may say."""
    found = []
    for path, node in functions():
        a = node.args
        n = len([x for x in (*a.posonlyargs, *a.args, *a.kwonlyargs) if x.arg not in ("self", "cls")])
        is_command = any("command" in ast.unparse(d) for d in node.decorator_list)
        if n > 8 and not is_command:
            found.append(f"{path}:{node.lineno} {node.name} ({n})")
    return found


_ANY_NUMBER = {"print", "max", "min", "hypot", "zip", "joinpath", "range", "replace", "array"}
_ANY_COLUMNS = {"sa.Table"}  # takes a name, a register and any number of columns


def unnamed_arguments():
    """Calls that give more than 5 arguments by their place; functions that take any number of one kind are left out."""
    found = []
    for path, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and sum(not isinstance(x, ast.Starred) for x in node.args) > 5:
                name = ast.unparse(node.func).rsplit(".", 1)[-1]
                if name not in _ANY_NUMBER and ast.unparse(node.func) not in _ANY_COLUMNS:
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
    found = [str(p) for p in FILES if p.stem in COY]
    for path, tree in trees().items():
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


def foreign_private_names():
    """Imports of a name that begins with an underscore from a module of the package."""
    return [
        f"{path}:{node.lineno} {name.name}"
        for path, tree in trees().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("qckit")
        for name in node.names
        if name.name.startswith("_") and not name.name.startswith("__")
    ]


COUNTED = dict(
    zip(
        CEILINGS,
        (long_files, long_functions, many_parameters, unnamed_arguments, coy_names, foreign_private_names),
        strict=True,
    )
)


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


PEOPLE = ROOT / "tests" / "names_for_people.txt"
"""Public names without a caller in the package, the notebooks or the README, each with who needs it."""


def public_names():
    """Name -> module of every function and class that a part's stub offers, or that a module's ``__all__`` names."""
    names = {}
    for path, tree in trees().items():
        defined = {n.name for n in tree.body if isinstance(n, ast.FunctionDef | ast.ClassDef)}
        for node in tree.body:
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
                offered = {n.value for n in ast.walk(node.value) if isinstance(n, ast.Constant)}
                names |= {name: path.relative_to(ROOT / "qckit").as_posix() for name in offered & defined}
    return names


def names_without_a_caller():
    """Public names that nothing but their own definition and ``__all__`` holds; tests are no users."""
    called = set()
    for tree in trees().values():
        for top in tree.body:
            if isinstance(top, ast.Assign) and ast.unparse(top.targets[0]) == "__all__":
                continue
            for node in ast.walk(top):
                if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                    called.add(node.id)
                elif isinstance(node, ast.Attribute):
                    called.add(node.attr)
                elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.isidentifier():
                    called.add(node.value)  # looked up by its name
    for path in (*sorted((ROOT / "notebooks").rglob("*.ipynb")), ROOT / "README.md"):
        called |= set(re.findall(r"\w+", path.read_text(encoding="utf-8")))
    return {name: module for name, module in public_names().items() if name not in called}


def test_every_public_name_has_a_caller_or_a_reader():
    lines = [line.partition("  # ") for line in PEOPLE.read_text(encoding="utf-8").splitlines()]
    reviewed = {name: reason for name, _, reason in lines}
    assert all(reviewed.values()), "say for each name who needs it"
    found = names_without_a_caller()
    assert set(found) - set(reviewed) == set(), "call it, make it private, delete it, or list it with who needs it"
    assert set(reviewed) - set(found) == set(), "it is called by now: take it off the list"
    assert len(reviewed) <= 30


def test_a_name_for_people_stands_in_the_handbook():
    """Of the list of names for people, those of a part stand in the reference with what they do."""
    from qckit import guide

    shown = {name.partition(".")[2] for name in guide.function_list()["name"]}
    listed = [line.partition("  # ") for line in PEOPLE.read_text(encoding="utf-8").splitlines()]
    assert {name for name, _, reason in listed if reason.startswith("handbook")} <= shown


_TAKES = {"startswith", "endswith", "removesuffix", "removeprefix", "partition", "rpartition", "split", "rsplit"}
_TAKES |= {"find", "rfind", "index", "rindex", "count", "contains", "match", "fullmatch", "search", "sub", "findall"}
_TAKES |= {"finditer", "extract", "compile", "replace"}
_SENTENCE = re.compile(r"[A-Za-z]{2,}(?:[ ,.:;]|\\\\s[+*]?)+[A-Za-z]{2,}|^[A-Z][a-z]+ |[.:] $")


def english_read_back(trees):
    """Tests for, cuts at, or patterns over a text of several words: sentences are for readers, code goes by codes.

    Names bound to texts at the top of a module or by a loop over such a name are looked through.
    """
    found = []
    for path, tree in trees.items():
        names = _bound_texts(tree)
        for node in ast.walk(tree):
            texts = []
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in _TAKES:
                made_anew = node.func.attr in ("replace", "sub")  # words may be put in, not looked for
                of_pattern = node.func.attr == "sub" and ast.unparse(node.func.value) != "re"
                looked_for = [] if of_pattern else node.args[:1] if made_anew else node.args
                texts = [t for a in looked_for for t in _texts(a, names)]
            elif isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.In | ast.NotIn):
                is_text = not isinstance(node.comparators[0], ast.Set | ast.Tuple | ast.List | ast.Dict)
                texts = _texts(node.left, names) if is_text else []
            if any(_SENTENCE.search(t) for t in texts):
                found.append(f"{path.relative_to(ROOT).as_posix()}: {ast.unparse(node)[:70]}")
    return found


def _texts(node, names):
    """Texts that an expression is or holds."""
    if isinstance(node, ast.Constant):
        return [node.value] if isinstance(node.value, str) else []
    if isinstance(node, ast.Name):
        return names.get(node.id, [])
    if isinstance(node, ast.Tuple | ast.List | ast.Set):
        return [t for e in node.elts for t in _texts(e, names)]
    if isinstance(node, ast.Dict):
        return [t for e in (*node.keys, *node.values) for t in _texts(e, names)]
    if isinstance(node, ast.BinOp):
        return _texts(node.left, names) + _texts(node.right, names)
    if isinstance(node, ast.JoinedStr):
        return [t for e in node.values for t in _texts(e, names)]
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("tuple", "list", "set"):
        return [t for a in node.args for t in _texts(a, names)]
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in ("values", "get"):
        return _texts(node.func.value, names)
    return []


def _bound_texts(tree):
    names = {}
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            names[node.targets[0].id] = _texts(node.value, names)
    for node in ast.walk(tree):
        if isinstance(node, ast.For | ast.comprehension) and isinstance(node.target, ast.Name):
            names.setdefault(node.target.id, _texts(node.iter, names))
    return names


READ_BACK = {
    # codes with a blank in them, of the log or of a chart: looked for in a list of such codes
    "qckit/charts/chart_legend.py: 'set aside' in phase",
    "qckit/practice/history.py: 'heater week' in happened",
    "qckit/practice/history.py: 'salinity slip' in happened",
    "qckit/practice/history.py: 'poor hatch' in happened",
    "qckit/verdicts/month/study.py: 'standard test' in purposes",
    # what the log keeps as text, and reads again: the kind of a step, a region as it was drawn
    "qckit/day/entry/writing.py: done['action'].str.startswith(_ACTION)",
    "qckit/day/entry/writing.py: row.action.removeprefix(_ACTION)",
    "qckit/log/corrections.py: re.compile('undo of step (\\\\d+)$')",
    "qckit/review/session.py: edit.reason.removeprefix(_LOOKED)",
    "qckit/review/session.py: what.startswith(tuple(_DRAWN.values()))",
    "qckit/review/session.py: edit.reason.startswith(tuple(_DRAWN.values()))",
    # typesetting: where a long line breaks, and marks of the page
    "qckit/reports/short_text.py: text.startswith(mark, i)",
    "qckit/reports/blocks.py: html.startswith(STYLE_MARK)",
    "qckit/reports/blocks.py: finding.headline.removeprefix(f'{verdict}: ')",  # the verdict's words stand above it
    'qckit/reports/pictures.py: re.compile(mark + \'(?:<use xlink:href="\\\\1" x="[^"]+" y="[^"]+" style=',
}
"""Reviewed places where a text of several words is looked for, and why."""


SHEET_WORDS = "qckit/verdicts/poor_hatch/likelihood/notes.py"
"""Reads what people wrote on field sheets."""


def test_no_code_reads_english_back():
    found = english_read_back({path: tree for path, tree in trees().items() if path != ROOT / SHEET_WORDS})
    assert set(found) == READ_BACK


@pytest.mark.parametrize(
    "code",
    [
        "'instead of' in headline",
        "headline.startswith('The lot ')",
        "sentence.endswith(': cannot tell yet.')",
        "sentence.removesuffix(' per gram')",
        "re.search(r'(\\\\d+) points lower', sentence)",
        "re.compile('Did you mean')",
        "table['check'].str.startswith('photo flags')",
        "_SHOWN = ('How fast', 'Does the lot')\nlines = [e for e in every if not e.question.startswith(_SHOWN)]",
        "_SIGNS = ('counted by other eyes',)\nfor name in _SIGNS:\n    rows.str.contains(name)",
        "text.split('Did you mean')",
        "question.startswith('Does ')",
    ],
)
def test_english_read_back_would_be_found(code):
    assert english_read_back({ROOT / "made_up.py": ast.parse(code)})


@pytest.mark.parametrize(
    ("name", "callers"),
    [
        ("SiteTables.load", {"agreement/sample_corrections.py"}),
        ("corrected_tables", {"agreement/sample_corrections.py", "verdicts/new_lot/evidence.py"}),
    ],
)
def test_counts_are_corrected_where_tables_are_loaded(name, callers):
    """Whoever reads a site's log goes through ``agreement.load_tables``; a lot may bring its own certificate."""
    calls = {
        path.relative_to(ROOT / "qckit").as_posix()
        for path, tree in trees().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and ast.unparse(node.func) == name
    }
    assert calls == callers


def test_one_module_names_where_objects_come_from():
    """The log keeps these words; code that spells one of them itself goes wrong in silence when it misspells it."""
    from qckit.object_rows import BY_HAND

    spelled = {
        path.relative_to(ROOT / "qckit").as_posix()
        for path, tree in trees().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and node.value in BY_HAND
    }
    assert spelled == {"object_rows.py"}
