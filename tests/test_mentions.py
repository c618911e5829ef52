"""What docstrings and comments point at is there: a moved function takes its mentions along."""

import ast
import importlib
import re

import pytest
from sources import FILES, ROOT, tree_of

REFERENCE = re.compile(r":(?:func|class|meth|data|mod|attr|exc):`~?([\w.]+)`")
FILE_NAME = re.compile(r"`{1,2}((?:qckit|tests|notebooks)/[\w./-]+\.\w+)`{1,2}")


def is_there(reference: str, module: str) -> bool:
    """Tell whether a reference names something: written out from the package on, of a part, or of its own module."""
    part = ".".join(module.split(".")[:2])
    return any(_is_named(name) for name in (reference, *(f"{m}.{reference}" for m in ("qckit", part, module))))


def _is_named(name):
    parts = name.split(".")
    for k in range(len(parts), 0, -1):
        try:
            thing = importlib.import_module(".".join(parts[:k]))
        except ImportError:
            continue
        for attribute in parts[k:]:
            thing = getattr(thing, attribute, None)
        return thing is not None
    return False


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_references_of_a_module_name_what_exists(path):
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    text, tree = path.read_text(encoding="utf-8"), tree_of(path)
    of_classes = {
        getattr(node, "name", "") or ast.unparse(getattr(node, "target", node))
        for cls in ast.walk(tree)
        if isinstance(cls, ast.ClassDef)
        for node in cls.body
    }
    lost = [m for m in REFERENCE.findall(text) if m not in of_classes and not is_there(m, module)]
    lost += [m for m in FILE_NAME.findall(text) if not (ROOT / m).exists()]
    assert lost == []


def test_a_lost_reference_would_be_found():
    assert is_there("qckit.hatch.plan_dose", "qckit.site") and is_there("hatch.plan_dose", "qckit.site")
    assert not is_there("qckit.hatch.plan_doses", "qckit.site") and not is_there("qckit.moved.plan_dose", "qckit.site")
