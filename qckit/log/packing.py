"""A whole site's records as one zip of CSV files with a machine-readable description, and back to an identical log.

The description is ``datapackage.json`` after the Frictionless Data Package and Table Schema specifications (v1).
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from pathlib import Path

import sqlalchemy as sa

from qckit import __version__
from qckit.errors import InputError, file_fault
from qckit.files import neutralise, whole
from qckit.log import engine, meta, query, schema
from qckit.settings import SETTINGS_FILE
from qckit.tables import TABLES

__all__ = ["PACKAGE", "TABLES_OUT", "digest", "export_zip", "travelling_settings", "write_package"]

TABLES_OUT = ("steps", *schema.ORDER, "corrections")
"""Tables of the package, in an order in which they can be entered."""

_KIND = {
    "text": "string",
    "choice": "string",
    "time": "datetime",
    "date": "string",
    "int": "integer",
    "float": "number",
    "yesno": "boolean",
}
PACKAGE = "datapackage.json"
_ROWS_AT_ONCE = 50_000


def export_zip(log, path: str | Path) -> Path:
    """Write every row as entered, every revision, correction and step, with their description.

    Parameters
    ----------
    log : SiteLog
    path : path
        New; a file that is there is refused.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        The file is there already or cannot be written.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     file = log.export_zip(records, "records.zip")
    >>> file.suffix
    '.zip'
    """
    path = Path(path)
    if path.exists():
        raise InputError(f"{path}: is there already. Give another name.")
    settings = travelling_settings(log.folder)
    extra = {SETTINGS_FILE: settings.encode("utf-8")} if settings else {}
    write_package(log.engine, path, {name: schema.table(name) for name in TABLES_OUT}, extra)
    return path


def travelling_settings(folder: Path) -> str:
    """Return a site's settings as a zip or a backup holds them; empty where there are none."""
    settings = folder / SETTINGS_FILE
    return _without_secrets(settings) if str(folder) != "." and settings.is_file() else ""


def _without_secrets(path: Path) -> str:
    """Settings as they may travel: no password of an address, in a comment neither."""
    return engine.masked(path.read_text(encoding="utf-8-sig"))


def write_package(database: sa.Engine, path: Path, tables: dict[str, sa.Table], extra: dict[str, bytes]) -> None:
    """Write tables, as they stand in one moment, and further files as a package; give it its name only when whole.

    Parameters
    ----------
    database : Engine
    path : Path
    tables : dict of str to Table
        As this software knows them, or as a log of an older version holds them.
    extra : dict of str to bytes
        Name in the package -> content.
    """
    try:
        with (
            whole(path) as part,
            engine.reading(database) as connection,
            zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as package,
        ):
            described = [_write_table(connection, package, name, table) for name, table in tables.items()]
            about = _about(connection, described)
            package.writestr(PACKAGE, json.dumps(about, indent=1, ensure_ascii=False))
            for name, content in extra.items():
                package.writestr(name, content)
    except OSError as error:
        raise file_fault(error) from error


def _about(connection, described: list[dict]) -> dict:
    return {
        "profile": "tabular-data-package",
        "name": "qckit-site",
        "title": "Records of a hatch room",
        "id": meta.log_id(connection),
        "created": connection.execute(
            sa.select(schema.META.c.value).where(schema.META.c.name == "created_at")
        ).scalar(),
        "qckit": {"schema_version": meta.version_of(connection), "software": __version__},
        "resources": described,
    }


def _write_table(connection, package: zipfile.ZipFile, name: str, t: sa.Table) -> dict:
    """Write one table's rows as they stand in the database; return its resource description."""
    columns = [c.name for c in t.columns]
    sums = hashlib.sha256()
    order = list(t.primary_key.columns)
    n_rows = n_bytes = 0
    with package.open(f"data/{name}.csv", "w", force_zip64=True) as target:
        result = connection.execution_options(yield_per=_ROWS_AT_ONCE).execute(sa.select(t).order_by(*order))
        for block in _blocks(columns, result):
            content, rows = block
            target.write(content)
            sums.update(content)
            n_rows, n_bytes = n_rows + rows, n_bytes + len(content)
    return {
        "name": name,
        "path": f"data/{name}.csv",
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": n_bytes,
        "hash": f"sha256:{sums.hexdigest()}",
        "rows": n_rows,
        "dialect": {"delimiter": ",", "doubleQuote": True, "lineTerminator": "\r\n", "header": True},
        "schema": _table_schema(name, t),
    }


def _blocks(columns: list[str], result):
    """Yield (bytes, rows): the heading first, then the rows in blocks."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    yield text.getvalue().encode("utf-8"), 0
    for rows in result.partitions():
        text = io.StringIO(newline="")
        writer = csv.writer(text, lineterminator="\r\n")
        writer.writerows([_out(v) for v in row] for row in rows)
        yield text.getvalue().encode("utf-8"), len(rows)


def _out(value):
    if value is None:
        return ""
    if value is True or value is False:
        return "true" if value else "false"
    if isinstance(value, str):
        # an empty text and a missing one are two things in corrections; a lone apostrophe is neither
        return neutralise(value) if value else "''"
    return repr(value) if isinstance(value, float) else value


def _table_schema(name: str, t: sa.Table) -> dict:
    """Describe a table after Table Schema: fields with type, unit, limits and meaning; keys."""
    contract = {c.name: c for c in TABLES.get(name, ())}
    fields = []
    for column in t.columns:
        known = contract.get(column.name)
        field = {"name": column.name, "type": _type_of(column) if known is None else _KIND[known.kind]}
        constraints = {} if column.nullable else {"required": True}
        if known is not None:
            if known.meaning:
                field["description"] = known.meaning
            if known.unit:
                field["unit"] = known.unit
            if known.kind == "time":
                field["type"], field["format"] = "string", "default"
                field["description"] = (known.meaning + "; " if known.meaning else "") + "ISO 8601 with offset"
            if known.choices:
                constraints["enum"] = list(known.choices)
            constraints |= {k: v for k, v in (("minimum", known.low), ("maximum", known.high)) if v is not None}
        if constraints:
            field["constraints"] = constraints
        fields.append(field)
    described = {"fields": fields, "primaryKey": [c.name for c in t.primary_key.columns], "missingValues": [""]}
    foreign = [
        {
            "fields": [c.name for c in key.columns],
            "reference": {"resource": key.referred_table.name, "fields": [e.column.name for e in key.elements]},
        }
        for key in sorted(t.foreign_key_constraints, key=lambda k: [c.name for c in k.columns])
    ]
    return described | ({"foreignKeys": foreign} if foreign else {})


def _type_of(column: sa.Column) -> str:
    if isinstance(column.type, sa.BigInteger):
        return "integer"
    return "number" if isinstance(column.type, sa.Double) else "string"


def digest(log) -> dict[str, str]:
    """Return a SHA-256 over each table's rows, to tell whether two logs are identical."""
    sums = {}
    with engine.reading(log.engine) as connection:
        for name in TABLES_OUT:
            frame = query.fetch(connection, name, revisions="all", corrected=False, internal=True)
            text = frame.astype(object).where(frame.notna(), None).to_json(orient="values", double_precision=15)
            sums[name] = hashlib.sha256(text.encode()).hexdigest()
        sums["meta"] = meta.log_id(connection)
    return sums
