"""Imports inside the package go one way only; the map is also in DEVELOPERS.md."""

import ast
from pathlib import Path

import pytest
from sources import FILES, parsed, tree_of

ROOT = Path(__file__).resolve().parents[1] / "qckit"
# root files
BASE = {
    *(
        "__init__",
        "_paths",
        "arguments",
        "draw",
        "errors",
        "directions",
        "files",
        "quantities",
        "protocol",
        "setting_changes",
        "settings",
        "site_tables",
        "stages",
        "tables",
    ),
    *("words", "flag_words", "progress", "in_notebook", "showing", "columns", "settings_text"),
    *("object_rows", "robust", "log_odds", "kept"),
}
MAY_IMPORT = {
    "errors": {"words"},
    "_paths": set(),
    "draw": {"stages", "words"},
    "__init__": {"arguments"},
    "arguments": {"errors", "words"},
    "columns": {"object_rows", "quantities", "stages"},
    "tables": {"columns", "errors", "quantities", "words"},
    "settings_text": {"settings"},
    "protocol": {"errors", "stages", "tables"},
    "setting_changes": {"settings", "tables", "words"},
    "settings": {"errors", "protocol", "quantities"},
    "object_rows": set(),
    "quantities": set(),
    "robust": set(),
    "kept": {"errors", "words"},
    "log_odds": set(),
    "stages": set(),
    "words": set(),
    "flag_words": {"columns"},
    "progress": {"directions", "errors", "words"},
    "in_notebook": {"directions", "errors"},
    "showing": {"directions", "in_notebook"},
    "files": set(),
    "directions": {"words"},
    "site_tables": {"settings"},
    "photo": BASE,
    "counting": BASE | {"photo"},
    "hatch": BASE,
    "charts": BASE | {"hatch"},
    "agreement": BASE | {"hatch"},
    "verdicts": BASE | {"hatch", "charts", "agreement"},
    "log": BASE,
    "practice": BASE,
    "review": BASE | {"photo", "counting", "hatch", "charts", "agreement", "verdicts", "log"},
    "reports": BASE | {"photo", "counting", "hatch", "charts", "agreement", "verdicts", "log", "practice", "review"},
}
MAY_IMPORT["site"] = set(MAY_IMPORT)
MAY_IMPORT["day"] = set(MAY_IMPORT)
MAY_IMPORT["demo"] = set(MAY_IMPORT)
MAY_IMPORT["guide"] = set(MAY_IMPORT)
EVERYTHING = {*MAY_IMPORT, "commands", "cli"}
MAY_IMPORT["commands"] = EVERYTHING - {"cli"}
MAY_IMPORT["cli"] = EVERYTHING
# `python -m qckit` and the names offered by `import qckit` are looked up when used, so they are not arrows
MAY_IMPORT["__main__"] = {"cli"}


def part_of(path: Path) -> str:
    """Return the folder a file belongs to, or the root file's own name."""
    inside = path.relative_to(ROOT)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


def imports_of(tree: ast.Module, package: tuple[str, ...]) -> set[str]:
    """Return the parts of qckit that a file imports, at the top or inside a function.

    ``package`` is the dotted place of the file, needed for relative imports.
    """
    found = set()
    for node in ast.walk(tree):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(package[: len(package) - node.level + 1]) if node.level else ""
            module = ".".join(filter(None, [base, node.module]))
            names = [f"{module}.{alias.name}" for alias in node.names] if module == "qckit" else [module]
        for name in names:
            parts = name.split(".")
            if parts[0] == "qckit":
                inner = parts[1] if len(parts) > 1 else "__init__"
                known = (ROOT / inner).is_dir() or (ROOT / f"{inner}.py").is_file()
                found.add(inner if known else "__init__")
    return found


def wrong_arrows(part: str, imported: set[str]) -> set[str]:
    """Return the imports that a part must not make."""
    return imported - MAY_IMPORT[part] - {part}


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_go_down_the_map_only(path):
    part = part_of(path)
    assert part in MAY_IMPORT, f"{part} is new: put it into the map here and in DEVELOPERS.md"
    package = ("qckit", *path.relative_to(ROOT).parts[:-1])
    assert wrong_arrows(part, imports_of(tree_of(path), package)) == set()


@pytest.mark.parametrize(
    "part, source, wrong",
    [
        ("photo", "from qckit.counting import count_photo", {"counting"}),
        ("log", "def f():\n    from qckit import hatch", {"hatch"}),
        ("verdicts", "import qckit.log.query", {"log"}),
        ("counting", "from ..reports import run", {"reports"}),
        ("hatch", "from qckit.errors import InputError\nfrom . import metrics", set()),
    ],
)
def test_a_wrong_arrow_is_found(part, source, wrong):
    assert wrong_arrows(part, imports_of(parsed(source), ("qckit", part))) == wrong


def test_no_part_imports_itself_in_a_ring():
    arrows = {part: set() for part in MAY_IMPORT}
    for path in FILES:
        package = ("qckit", *path.relative_to(ROOT).parts[:-1])
        part = part_of(path)
        arrows[part] |= imports_of(tree_of(path), package) - {part, "__init__"}
    done: set[str] = set()
    while arrows:
        free = {part for part, needs in arrows.items() if needs <= done}
        assert free, f"a ring among {sorted(arrows)}"
        done |= free
        arrows = {part: needs for part, needs in arrows.items() if part not in free}


def modules_of(path: Path) -> set[str]:
    """Return the modules of the package that a file imports, at the top or inside a function, by their dotted names.

    A name that a folder's stub offers counts as the module that holds it; what is imported for types alone does not.
    """
    found, tree = set(), tree_of(path)
    for_types = [n for n in ast.walk(tree) if isinstance(n, ast.If) and "TYPE_CHECKING" in ast.unparse(n.test)]
    unused = {id(inner) for block in for_types for inner in ast.walk(block)}
    for node in ast.walk(tree):
        if id(node) in unused:
            continue
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "qckit":
            found |= {place for alias in node.names for place in [module_of(node.module, alias.name)] if place}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.startswith("qckit.")}
    return found


def module_of(base: str, name: str) -> str:
    """Return the module that ``from base import name`` needs; empty where it needs none of the package's files."""
    folder = ROOT.joinpath(*base.split(".")[1:])
    if folder.with_suffix(".py").is_file():
        return base
    if (folder / f"{name}.py").is_file() or (folder / name / "__init__.py").is_file():
        return f"{base}.{name}"
    return OFFERED.get((base, name), "")


def offered() -> dict[tuple[str, str], str]:
    """Return, for each name that a folder's stub offers, the module it comes from."""
    places = {}
    for stub in ROOT.rglob("__init__.pyi"):
        base = ".".join(("qckit", *stub.relative_to(ROOT).parts[:-1]))
        for node in tree_of(stub).body:
            if isinstance(node, ast.ImportFrom):
                places |= {(base, alias.name): f"{base}.{node.module}" for alias in node.names}
    return places


OFFERED = offered()


def circles(arrows: dict[str, set[str]]) -> list[list[str]]:
    """Return the groups of modules that import each other in a circle, by Tarjan's algorithm."""
    index, low, stack, found = {}, {}, [], []

    def visit(name):
        index[name] = low[name] = len(index)
        stack.append(name)
        for other in sorted(arrows[name]):
            if other not in index:
                visit(other)
                low[name] = min(low[name], low[other])
            elif other in stack:
                low[name] = min(low[name], index[other])
        if low[name] == index[name]:
            group = stack[stack.index(name) :]
            del stack[stack.index(name) :]
            if len(group) > 1:
                found.append(sorted(group))

    for name in sorted(arrows):
        if name not in index:
            visit(name)
    return found


def test_no_modules_of_a_part_import_each_other_in_a_circle():
    names = {".".join(("qckit", *p.relative_to(ROOT).with_suffix("").parts)): p for p in FILES if p.stem != "__init__"}
    arrows = {name: modules_of(path) & (set(names) - {name}) for name, path in names.items()}
    assert circles(arrows) == []


def test_a_circle_is_found():
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == [["a", "b", "c"]]
    assert circles({"a": {"b"}, "b": set()}) == []


def test_core_folders_print_nothing():
    for path in FILES:
        if part_of(path) in {"photo", "counting", "hatch", "charts", "agreement", "verdicts", "log", "reports"}:
            calls = [n for n in ast.walk(tree_of(path)) if isinstance(n, ast.Call)]
            assert not [c for c in calls if isinstance(c.func, ast.Name) and c.func.id == "print"], path
