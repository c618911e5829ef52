"""What a log says of itself: its version and the name it was born with."""

from __future__ import annotations

import sqlalchemy as sa

from qckit.errors import InputError
from qckit.log import engine, schema

__all__ = ["log_id", "version_of"]


def version_of(connection) -> int:
    """Return the schema version of a log."""
    if "meta" not in sa.inspect(connection).get_table_names():
        place = engine.shown_url(connection.engine.url.render_as_string(hide_password=False))
        raise InputError(f"{place}: holds no qckit log. Make an empty one with  qckit log create.")
    value = connection.execute(sa.select(schema.META.c.value).where(schema.META.c.name == "schema_version")).scalar()
    if not str(value).isascii() or not str(value).isdigit() or len(str(value)) > 6:
        place = engine.shown_url(connection.engine.url.render_as_string(hide_password=False))
        raise InputError(f"{place}: names no schema version, so it is no qckit log or was changed. Restore a backup.")
    return int(value)


def log_id(connection) -> str:
    """Return the name a log was born with; copies and backups keep it."""
    return connection.execute(sa.select(schema.META.c.value).where(schema.META.c.name == "log_id")).scalar()
