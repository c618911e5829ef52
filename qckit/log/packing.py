"""A whole site's records as one zip of CSV files with a machine-readable description, and back to an identical log.

The description is ``datapackage.json`` after the Frictionless Data Package and Table Schema specifications (v1).
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import io
import json
import zipfile
import zlib
from pathlib import Path

import sqlalchemy as sa

from qckit import __version__
from qckit.errors import InputError
from qckit.files import neutralise, restore
from qckit.log import engine, migrate, query, schema
from qckit.tables import TABLES

__all__ = ["TABLES_OUT", "digest", "export_zip", "restore_zip", "verify_zip", "write_package"]

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
_PACKAGE = "datapackage.json"
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
    """
    path = Path(path)
    if path.exists():
        raise InputError(f"{path}: is there already. Give another name.")
    settings = log.folder / "qckit.toml"
    extra = {"qckit.toml": settings.read_bytes()} if str(log.folder) != "." and settings.is_file() else {}
    write_package(log.engine, path, {name: schema.table(name) for name in TABLES_OUT}, extra)
    return path


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
    part = path.with_name(path.name + ".part")
    try:
        with (
            engine.reading(database) as connection,
            zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as package,
        ):
            described = [_write_table(connection, package, name, table) for name, table in tables.items()]
            about = _about(connection, described)
            package.writestr(_PACKAGE, json.dumps(about, indent=1, ensure_ascii=False))
            for name, content in extra.items():
                package.writestr(name, content)
        part.replace(path)
    except OSError as error:
        raise InputError(
            f"{path}: cannot be written ({error.strerror or error}). Free some space, or give another place."
        ) from error
    finally:
        with contextlib.suppress(OSError):  # where nothing can be written, nothing is left either
            part.unlink(missing_ok=True)


def _about(connection, described: list[dict]) -> dict:
    return {
        "profile": "tabular-data-package",
        "name": "qckit-site",
        "title": "Records of a hatch room",
        "id": migrate.log_id(connection),
        "created": connection.execute(
            sa.select(schema.META.c.value).where(schema.META.c.name == "created_at")
        ).scalar(),
        "qckit": {"schema_version": migrate.version_of(connection), "software": __version__},
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


def _in(text: str, kind: str):
    if text == "":
        return None
    if kind == "string":
        return "" if text == "''" else restore(text)
    if kind == "boolean":
        return text == "true"
    return int(text) if kind == "integer" else float(text)


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


def _package(path: Path):
    """Open a package and return (zip, description), checked."""
    try:
        package = zipfile.ZipFile(path)
        about = json.loads(package.read(_PACKAGE))
    except (OSError, KeyError, ValueError, zipfile.BadZipFile) as error:
        raise InputError(
            f"{path}: is not a site export ({error}). Give the zip that  qckit log export NAME.zip  wrote."
        ) from error
    version = about.get("qckit", {}).get("schema_version", 0)
    # an older package lacks tables or columns that came later; they stay empty
    if not 1 <= version <= schema.SCHEMA_VERSION:
        package.close()
        raise InputError(
            f"{path}: was written with schema version {version}, and this qckit reads {schema.SCHEMA_VERSION} at most. "
            "Upgrade qckit on this computer."
        )
    return package, about


def verify_zip(log, path: str | Path) -> None:
    """Check that every table of a package is whole; raises InputError if not."""
    package, about = _package(Path(path))
    with package:
        for resource in about["resources"]:
            _content(package, resource, path)


def _content(package, resource: dict, path) -> bytes:
    try:
        content = package.read(resource["path"])
    except (OSError, KeyError, zipfile.BadZipFile, zlib.error):
        content = None
    if content is None or f"sha256:{hashlib.sha256(content).hexdigest()}" != resource["hash"]:
        raise InputError(
            f"{path}: {resource['path']} was changed or is damaged. Use another export; to change "
            "records, restore this one and write corrections."
        )
    return content


def restore_zip(path: str | Path, site: str | Path) -> Path | str:
    """Enter a package into a site that has no records yet; the log is then identical to the one exported.

    Parameters
    ----------
    path : path
        From :func:`export_zip`.
    site : path or str
        A site folder, or a database URL.

    Returns
    -------
    Path or str
        The log's file, or the server's address.

    Raises
    ------
    InputError
        The log holds records already, or the package is damaged.
    """
    from qckit.log.opening import create_log, log_url
    from qckit.settings import load_settings

    url = str(site) if "://" in str(site) else log_url(load_settings(site))
    package, about = _package(Path(path))
    create_log(url)
    database = engine.make_engine(url)
    try:
        with package, engine.writing(database) as connection:
            if connection.execute(sa.select(sa.func.count()).select_from(schema.STEPS)).scalar():
                raise InputError(
                    f"{engine.shown_url(url)}: holds records already, and nothing is written over them. "
                    "Restore into a new site."
                )
            for resource in sorted(about["resources"], key=lambda r: TABLES_OUT.index(r["name"])):
                _enter(connection, resource, _content(package, resource, path))
            for name, value in (("log_id", about["id"]), ("created_at", about["created"])):
                connection.execute(sa.update(schema.META).where(schema.META.c.name == name).values(value=value))
    finally:
        database.dispose()
    return engine.sqlite_path(url) or engine.shown_url(url)


def _enter(connection, resource: dict, content: bytes) -> None:
    kinds = [f["type"] for f in resource["schema"]["fields"]]
    reader = csv.reader(io.StringIO(content.decode("utf-8"), newline=""))
    columns = next(reader)
    lists = [[_in(text, kind) for text in column] for kind, column in zip(kinds, zip(*reader, strict=True))]
    if lists:
        engine.write_rows(connection, resource["name"], columns, lists)


def digest(log) -> dict[str, str]:
    """Return a SHA-256 over each table's rows, to tell whether two logs are identical."""
    sums = {}
    with engine.reading(log.engine) as connection:
        for name in TABLES_OUT:
            frame = query.fetch(connection, name, revisions="all", corrected=False, internal=True)
            text = frame.astype(object).where(frame.notna(), None).to_json(orient="values", double_precision=15)
            sums[name] = hashlib.sha256(text.encode()).hexdigest()
        sums["meta"] = migrate.log_id(connection)
    return sums
