"""An import inside a function is there for a library that its module does not load yet; all else stands at the top.

The doors are left out: what a command or `import qckit` has no need of is not loaded for it, not even the kit's own.
"""

import ast
import sys
from functools import cache

import pytest
from sources import ROOT, parsed, trees
from test_imports import module_of

DOORS = {"commands", "cli", "site", "demo", "arguments", "errors", "words", "settings", "draw"}
DOORS |= {"showing", "in_notebook", "progress", "files", "directions"}
WAITED_FOR = {
    *("qckit.log.store", "qckit.agreement.certificate", "qckit.verdicts.lots.level"),
    *("qckit.day.page.study", "qckit.day.page.counted"),
}
"""Modules that `qckit today` loads: what its page has no need of would cost it 0.1 s."""
SLOW_OF_PYTHON = {"difflib", "traceback", "zoneinfo"}
SOME_SYSTEMS = {"resource"}
SCIPY = {"scipy.linalg", "scipy.special"}
BROUGHT = {
    "pandas": {"numpy"},
    "matplotlib.pyplot": {"matplotlib", "PIL"},
    "matplotlib": {"PIL"},
    "scipy.special": SCIPY,
    "scipy.spatial": SCIPY,
    "scipy.ndimage": SCIPY,
    "scipy.optimize": SCIPY | {"scipy.sparse"},
    "scipy.stats": SCIPY | {"scipy.sparse", "scipy.optimize", "scipy.spatial", "scipy.ndimage"},
}
"""Library -> others that it loads by itself."""

MODULES = {".".join(("qckit", *p.relative_to(ROOT / "qckit").with_suffix("").parts)): t for p, t in trees().items()}


def statements(tree):
    """Imports at the top, and those inside functions."""
    every = {id(n): n for n in ast.walk(tree) if isinstance(n, ast.Import | ast.ImportFrom)}
    for_types = [n for n in tree.body if isinstance(n, ast.If) and "TYPE_CHECKING" in ast.unparse(n.test)]
    unused = {id(n) for block in for_types for n in ast.walk(block)}
    functions = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]
    inner = {id(n) for f in functions for n in ast.walk(f)} & set(every)
    return [every[k] for k in set(every) - inner - unused], [every[k] for k in inner]


def loads(statement):
    """Return the kit's modules and the libraries that an import asks for."""
    asked = [(a.name, "") for a in statement.names] if isinstance(statement, ast.Import) else []
    asked = asked or [(statement.module, a.name) for a in statement.names]
    modules, libraries = set(), set()
    for base, name in asked:
        root = base.split(".")[0]
        if root == "qckit":
            modules.add(module_of(base, name) or base)
        elif root not in sys.stdlib_module_names or root in SLOW_OF_PYTHON | SOME_SYSTEMS:
            parts = [*base.split("."), name] if base in ("scipy", "matplotlib") else base.split(".")
            plain = root != "scipy" and parts[:2] != ["matplotlib", "pyplot"]
            libraries.add(root if plain else ".".join(parts[:2]))
    return modules, libraries


@cache
def at_top(module):
    """Return the kit's modules and the libraries that loading a module loads, itself among them."""
    modules, libraries, todo = set(), set(), [module]
    while todo:
        name = todo.pop()
        if name in MODULES and name not in modules:
            modules.add(name)
            for statement in statements(MODULES[name])[0]:
                more, found = loads(statement)
                libraries |= found
                todo += more
    return modules, libraries | {other for library in libraries for other in BROUGHT.get(library, ())}


def needless(module, statement):
    """Whether an import inside a function of a module could as well stand at its top."""
    modules, libraries = loads(statement)
    for name in modules:
        libraries |= at_top(name)[1]
        if module in at_top(name)[0]:
            return False  # it would import itself
    return libraries <= at_top(module)[1]


def test_imports_inside_functions_guard_a_library():
    found = [
        f"{module}:{statement.lineno} {ast.unparse(statement)}"
        for module, tree in MODULES.items()
        if module.split(".")[1] not in DOORS and module not in WAITED_FOR
        for statement in statements(tree)[1]
        if needless(module, statement)
    ]
    assert not found, "put it at the top: " + "\n".join(found)


@pytest.mark.parametrize(
    ("module", "statement", "expected"),
    [
        ("qckit.hatch.metrics", "import numpy as np", True),
        ("qckit.hatch.metrics", "from qckit.words import plural", True),
        ("qckit.hatch.metrics", "import matplotlib.pyplot as plt", False),
        ("qckit.tables", "import pandas as pd", False),
        ("qckit.words", "from qckit.columns import TABLES, unit_words", True),
        ("qckit.columns", "from qckit.tables import check_table", False),
    ],
)
def test_a_needless_one_is_found(module, statement, expected):
    assert needless(module, parsed(statement).body[0]) == expected
