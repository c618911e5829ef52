"""The simulator and the verdict that it checks know nothing of each other, so that the check is not circular."""

import ast
from pathlib import Path

from sources import tree_of

import qckit

ROOT = Path(qckit.__file__).parent


def names_in(path: Path) -> set[str]:
    """Everything a file imports, at the top or inside a function, as dotted names."""
    found = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def test_the_simulator_imports_no_verdict_and_no_verdict_the_simulator():
    for path in (ROOT / "practice").glob("*.py"):
        assert not any("verdicts" in name or "qckit.hatch" in name for name in names_in(path)), path.name
    files = list((ROOT / "verdicts" / "poor_hatch").glob("*.py"))
    assert len(files) > 10
    for path in files:
        assert not any("practice" in name for name in names_in(path)), path.name
