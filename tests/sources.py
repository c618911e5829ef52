"""The package's files and their syntax trees: each is read and parsed once for all tests of a process."""

from __future__ import annotations

import ast
import gc
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
FILES = sorted(p for p in (ROOT / "qckit").rglob("*.py") if "_data" not in p.parts)


@cache
def tree_of(path: Path) -> ast.Module:
    """Return the syntax tree of a file; it is shared, so it is only looked at."""
    return parsed(path.read_text(encoding="utf-8"))


def parsed(text: str) -> ast.Module:
    """Return the syntax tree of a text.

    Without the collector of garbage: where it runs within a parse and meets what an earlier test left open (a
    generator, a package on a full disk) whose complaint is itself parsed for its traceback, CPython 3.11 gives the
    parse up ("AST constructor recursion depth mismatch").
    """
    gc.disable()
    try:
        return ast.parse(text)
    finally:
        gc.enable()


def trees() -> dict[Path, ast.Module]:
    """Return the syntax tree of each file of the package."""
    return {path: tree_of(path) for path in FILES}
