"""A package back into a log: nothing in it is believed before it is checked.

Members are read a piece at a time, headings must be the table's own columns, and every row keeps the rules of its
columns, as a row of a sheet does.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import lzma
import zipfile
import zlib
from itertools import islice
from pathlib import Path

import sqlalchemy as sa

from qckit.errors import InputError, one_line
from qckit.files import restore as restored_text
from qckit.log import engine, package_rows, schema
from qckit.log.packing import PACKAGE, TABLES_OUT
from qckit.settings import SETTINGS_FILE
from qckit.words import spaced

__all__ = ["restore_zip", "settings_in", "verify_zip"]

_ROWS_AT_ONCE = 50_000
_MOST_SETTINGS = 200_000  # bytes
_MOST_ABOUT = 5_000_000  # bytes of the description
_MOST_TABLE = 8 * 10**9  # bytes of a table: a hundred million objects
_LONGEST_LINE = 2_000_000
# what a broken package makes zipfile and its readers raise; RuntimeError covers an unknown compression and deep nesting
_BROKEN = (OSError, KeyError, RuntimeError, EOFError, zipfile.BadZipFile, zlib.error, lzma.LZMAError)


def _package(path: Path):
    """Open a package and return (zip, description), checked."""
    package = None
    try:
        if not path.is_file():
            raise OSError("it is no file")
        package = zipfile.ZipFile(path)
        about = json.loads(_text(package, PACKAGE, _MOST_ABOUT))
    except (ValueError, *_BROKEN) as error:
        if package is not None:
            package.close()
        raise InputError(
            f"{path}: is not a site export ({one_line(error)[:200]}). Give the zip that  qckit log export NAME.zip  "
            "wrote."
        ) from error
    try:
        return package, _checked_about(about, package, path)
    except BaseException:
        package.close()
        raise


def _text(package: zipfile.ZipFile, name: str, most: int) -> str:
    """Read a small text of the package; one that unpacks to more than it may is refused before."""
    with package.open(name) as file:
        content = file.read(most + 1)
    if len(content) > most:
        raise ValueError(f"{name} has more than {most // 1_000_000} MB")
    return content.decode("utf-8")


def _checked_about(about, package: zipfile.ZipFile, path: Path) -> dict:
    """Check a description before anything in it is used; what it says of columns and types is not used at all."""
    qckit = about.get("qckit") if isinstance(about, dict) else None
    version = qckit.get("schema_version") if isinstance(qckit, dict) else None
    if not isinstance(version, int) or isinstance(version, bool):
        raise _no_export(path, "its description names no schema version")
    # an older package lacks tables or columns that came later; they stay empty
    if not 1 <= version <= schema.SCHEMA_VERSION:
        raise InputError(
            f"{path}: was written with schema version {version}, and this qckit reads {schema.SCHEMA_VERSION} at most. "
            "Upgrade qckit on this computer."
        )
    resources = about.get("resources")
    if not isinstance(resources, list) or not all(isinstance(r, dict) for r in resources):
        raise _no_export(path, "its description lists no tables")
    names = [r.get("name") for r in resources]
    for name, resource in zip(names, resources, strict=True):
        if not isinstance(name, str) or name not in TABLES_OUT:
            raise _no_export(path, f"it holds a table {one_line(name)[:60]!r} that is not known")
        if names.count(name) > 1 or resource.get("path") != f"data/{name}.csv":
            raise _no_export(path, f"its table {name} is listed twice, or lies elsewhere than in data/{name}.csv")
        if not isinstance(resource.get("hash"), str) or resource["path"] not in package.namelist():
            raise _no_export(path, f"its table {name} is missing, or has no checksum")
    if "steps" not in names:
        raise _no_export(path, "it holds no steps")
    for name in ("id", "created"):
        if not isinstance(about.get(name), str) or not 0 < len(about[name]) < 100:
            raise _no_export(path, f"its description has no {name!r}")
    return about


def _no_export(path: Path, why: str) -> InputError:
    return InputError(f"{path}: is not a site export ({why}). Give the zip that  qckit log export NAME.zip  wrote.")


def verify_zip(path: str | Path) -> None:
    """Check that every table of a package is whole; raises InputError if not."""
    package, about = _package(Path(path))
    with package:
        for resource in about["resources"]:
            _check_sum(package, resource, path)


def _check_sum(package, resource: dict, path) -> None:
    """Compare a table's checksum, a piece at a time."""
    sums, n_bytes = hashlib.sha256(), 0
    try:
        with package.open(resource["path"]) as file:
            while piece := file.read(1 << 20):
                sums.update(piece)
                n_bytes += len(piece)
                if n_bytes > _MOST_TABLE:
                    raise InputError(
                        f"{path}: {resource['path']} has more than {_MOST_TABLE // 10**9} GB. Is it yours?"
                    )
        right = f"sha256:{sums.hexdigest()}" == resource["hash"]
    except _BROKEN:
        right = False
    if not right:
        raise InputError(
            f"{path}: {resource['path']} was changed or is damaged. Use another export; to change "
            "records, restore this one and write corrections."
        )


def restore_zip(path: str | Path, url: str, create, *, accept_wrong_rows: bool = False) -> Path | str:
    """Enter a package into a log that has no records yet; it is then identical to the one exported.

    Parameters
    ----------
    path : path
        From :func:`qckit.log.packing.export_zip`.
    url : str
        Address of the log.
    create : callable
        Makes an empty log where there is none.
    accept_wrong_rows : bool
        Take rows that could not come in from a sheet, as an older version may have taken them.

    Returns
    -------
    Path or str
        The log's file, or the server's address.

    Raises
    ------
    InputError
        The log holds records already, or the package is damaged.
    """
    package, about = _package(Path(path))
    create(url)
    database = engine.make_engine(url)
    try:
        with package, engine.writing(database) as connection:
            if connection.execute(sa.select(sa.func.count()).select_from(schema.STEPS)).scalar():
                raise InputError(
                    f"{engine.shown_url(url)}: holds records already, and nothing is written over them. "
                    "Restore into a new site."
                )
            for resource in sorted(about["resources"], key=lambda r: TABLES_OUT.index(r["name"])):
                _check_sum(package, resource, path)
                _enter(connection, package, resource, path)
            if not accept_wrong_rows:
                package_rows.check_together(connection, str(path))
            for name, value in (("log_id", about["id"]), ("created_at", about["created"])):
                connection.execute(sa.update(schema.META).where(schema.META.c.name == name).values(value=value))
    finally:
        database.dispose()
    return engine.sqlite_path(url) or engine.shown_url(url)


def _enter(connection, package, resource: dict, path) -> None:
    """Enter a table row by row, each by the rules of its columns; headings are those of the table, or refused."""
    name = resource["name"]
    t, where = schema.table(name), f"{path}, {resource['path']}"
    with package.open(resource["path"]) as raw, io.TextIOWrapper(raw, encoding="utf-8", newline="") as text:
        reader = csv.reader(_lines(text), strict=True)
        try:
            columns = next(reader, [])
            strange = [c for c in columns if c not in t.c]
            lacking = [c.name for c in t.columns if not c.nullable and c.name not in columns]
            if strange or lacking or len(set(columns)) < len(columns):
                what = f"has a column {one_line(strange[0])[:60]!r}" if strange else f"lacks {', '.join(lacking)}"
                raise InputError(
                    f"{where}: {what if strange or lacking else 'has a column twice'}. Use another export."
                )
            kinds = [t.c[c].type.python_type for c in columns]
            first = 2
            while rows := list(islice(reader, _ROWS_AT_ONCE)):
                lists = _lists(rows, kinds, columns, where, first)
                package_rows.check(connection, name, columns=columns, lists=lists, where=where, first=first)
                engine.write_rows(connection, name, columns, lists)
                first += len(rows)
        except (csv.Error, UnicodeDecodeError) as error:
            raise InputError(f"{where}: is no table ({one_line(error)[:200]}). Use another export.") from error


def _lines(text):
    """Lines of a table; one without end would fill the memory before anything could be said of it."""
    while line := text.readline(_LONGEST_LINE):
        if len(line) == _LONGEST_LINE and not line.endswith("\n"):
            raise csv.Error(f"a line has more than {spaced(_LONGEST_LINE)} characters")
        yield line


def _lists(rows: list[list[str]], kinds: list[type], columns: list[str], where: str, first: int) -> list[list]:
    """Turn rows of text into a list for each column."""
    ragged = next((i for i, row in enumerate(rows) if len(row) != len(columns)), None)
    if ragged is not None:
        raise InputError(
            f"{where}, row {first + ragged}: has {len(rows[ragged])} cells, and the heading row {len(columns)}. "
            "Use another export."
        )
    lists = []
    for name, kind, texts in zip(columns, kinds, zip(*rows, strict=True), strict=True):
        values = []
        try:
            for cell in texts:
                values.append(_in(cell, kind))
        except (ValueError, OverflowError) as error:
            raise InputError(
                f"{where}, row {first + len(values)}: {name} cannot be read ({one_line(error)[:120]}). "
                "Use another export."
            ) from error
        lists.append(values)
    return lists


def _in(text: str, kind: type):
    if text == "":
        return None
    if kind is str:
        return "" if text == "''" else restored_text(text)
    if kind is bool:
        if text not in ("true", "false"):
            raise ValueError(f"{one_line(text)[:40]!r} is neither true nor false")
        return text == "true"
    number = kind(text)
    if kind is int and abs(number) >= 2**63:
        raise ValueError("the number is too large")
    return number


def settings_in(
    path: str | Path, *, done: str = "", remedy: str = "Make a site with  qckit new FOLDER  and restore into that."
) -> str:
    """Return the settings of a package as text; empty where it holds none.

    Parameters
    ----------
    path : path
    done, remedy : str
        For the message where they cannot be read: what was done with the package, and how to mend it.

    Raises
    ------
    InputError
        It is no package, or they cannot be read.
    """
    package, _about = _package(Path(path))
    with package:
        if SETTINGS_FILE not in set(package.namelist()):
            return ""
        try:
            return _text(package, SETTINGS_FILE, _MOST_SETTINGS)
        except (ValueError, *_BROKEN) as error:
            why = one_line(error)[:200]
            raise InputError(f"{path}: {done}its {SETTINGS_FILE} cannot be read ({why}). {remedy}") from error
