"""Making a log, knowing its version, and bringing an older one up to date after a backup.

A migration is a function from one version to the next, in ``MIGRATIONS``; each runs in the same transaction as the
others, so that a log is wholly of one version or of the other.
"""

from __future__ import annotations

import datetime as dt
import uuid
from pathlib import Path

import sqlalchemy as sa

from qckit.errors import InputError
from qckit.log import backup, engine, schema
from qckit.log.meta import version_of

__all__ = ["MIGRATIONS", "bring_up_to_date", "create"]


def create(database: sa.Engine) -> None:
    """Make all tables in an empty database; one that holds a log already stays as it is."""
    with engine.writing(database) as connection:
        names = sa.inspect(connection).get_table_names()
        if "meta" in names:
            return
        strangers = sorted(set(names) & set(schema.METADATA.tables))
        if strangers:
            raise InputError(
                f"{engine.shown_url(database.url.render_as_string(hide_password=False))}: holds a table called "
                f"{strangers[0]} that is not qckit's. Give the log a database of its own (url in qckit.toml)."
            )
        schema.METADATA.create_all(connection)
        for statement in schema.guard_statements(connection.dialect.name):
            connection.exec_driver_sql(statement)
        now = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
        connection.execute(
            sa.insert(schema.META),
            [
                {"name": "schema_version", "value": str(schema.SCHEMA_VERSION)},
                {"name": "log_id", "value": uuid.uuid4().hex},
                {"name": "created_at", "value": now},
            ],
        )


def bring_up_to_date(database: sa.Engine, folder: Path, *, upgrade: bool = True, keep_backup: bool = True) -> None:
    """Migrate an older log, after a backup in the site's ``backups/``; refuse a newer one.

    Without ``keep_backup`` there is none, as of a copy that is only read.

    Raises
    ------
    InputError
        The log is newer than this software, or older and ``upgrade`` is False.
    """
    with engine.reading(database) as connection:
        found = version_of(connection)
    place = engine.shown_url(database.url.render_as_string(hide_password=False))
    if found == schema.SCHEMA_VERSION:
        return
    if found > schema.SCHEMA_VERSION:
        raise InputError(
            f"{place}: the log has schema version {found}, and this qckit knows {schema.SCHEMA_VERSION} at most. "
            "Nothing was changed. Upgrade qckit on this computer."
        )
    if not upgrade:
        raise InputError(
            f"{place}: the log has schema version {found} and must be brought to {schema.SCHEMA_VERSION} first. "
            "Run  qckit log upgrade."
        )
    if keep_backup:
        backup.before_upgrade(database, found, folder)
    with engine.writing(database) as connection:
        for version in range(version_of(connection), schema.SCHEMA_VERSION):
            MIGRATIONS[version](connection)
        connection.execute(
            sa.update(schema.META)
            .where(schema.META.c.name == "schema_version")
            .values(value=str(schema.SCHEMA_VERSION))
        )


def _to_2(connection) -> None:
    """Version 2: photos' frames and sheets' scales; tables for charts, cameras, checks and reports."""
    connection.exec_driver_sql("ALTER TABLE samples ADD COLUMN um_per_px DOUBLE PRECISION")
    connection.exec_driver_sql("ALTER TABLE photos ADD COLUMN frame_mm2 DOUBLE PRECISION")
    added = ("baselines", "signals", "scales", "certificates", "checks", "reports")
    schema.METADATA.create_all(connection, tables=[schema.table(name) for name in added])
    for statement in schema.guard_statements(connection.dialect.name, added):
        connection.exec_driver_sql(statement)


def _to_3(connection) -> None:
    """Version 3: what a harvest held, changes that months found, and feeds."""
    for column, kind in (
        ("harvest_ml", "DOUBLE PRECISION"),
        ("harvest_g", "DOUBLE PRECISION"),
        ("separation", "TEXT"),
        ("lost_nauplii", "BIGINT"),
    ):
        connection.exec_driver_sql(f"ALTER TABLE samples ADD COLUMN {column} {kind}")
    added = ("changes", "feeds")
    schema.METADATA.create_all(connection, tables=[schema.table(name) for name in added])
    for statement in schema.guard_statements(connection.dialect.name, added):
        connection.exec_driver_sql(statement)


def _to_4(connection) -> None:
    """Version 4: the settings as last used."""
    schema.METADATA.create_all(connection, tables=[schema.table("setting_changes")])
    for statement in schema.guard_statements(connection.dialect.name, ("setting_changes",)):
        connection.exec_driver_sql(statement)


MIGRATIONS = {1: _to_2, 2: _to_3, 3: _to_4}
"""Version -> the function that brings a log from it to the next."""
