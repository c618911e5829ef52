"""Freeze the log of the schema version as it is now, before the next one: python tests/log/freeze_version.py [URL]

Writes ``log_version_N.sqlite.sql`` beside this file and, given the address of an empty PostgreSQL database (and
``pg_dump`` on the path), ``log_version_N.postgresql.sql``: invented records, the same in both. The tests try every
later upgrade on them. A frozen log is never written over.
"""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

_HEAD = "-- A log as schema version {n} made it in {kind}, with invented records. Frozen: migrations are tried on it; never change it.\n"  # noqa: E501


def fill(place):
    """Enter one of everything that people enter by hand or by counting."""
    from invented_log import HATCHES, LOTS, NOW, SAMPLES, counted

    from qckit.log import open_log

    with open_log(place, now=lambda: NOW) as log:  # the same in both kinds
        log.add_many({"lots": LOTS, "hatches": HATCHES, "samples": SAMPLES}, by="op1", source="sheets.csv")
        photos, objects = counted()
        log.record_counts(photos, objects=objects, by="op1")
        log.correct("hatches", "H-1", "cysts_g", "1.6", by="op1", reason="the scale was read wrongly")


def frozen_file(kind: str, folder: Path) -> Path:
    """Give the file for a kind of database; end where it is there already."""
    from qckit.log.schema import SCHEMA_VERSION

    path = folder / f"log_version_{SCHEMA_VERSION}.{kind}.sql"
    if path.exists():
        sys.exit(f"{path.name}: is there already, and a frozen log is never written over.")
    return path


def freeze_sqlite(into: Path = HERE) -> Path:
    """Write the log as SQLite dumps it."""
    from qckit.log import new_site
    from qckit.log.schema import SCHEMA_VERSION

    path = frozen_file("sqlite", into)
    with tempfile.TemporaryDirectory() as folder:
        site = new_site(Path(folder) / "site")
        fill(site)
        with closing(sqlite3.connect(site / "log.sqlite")) as connection:
            text = "\n".join(connection.iterdump())
    path.write_text(_HEAD.format(n=SCHEMA_VERSION, kind="SQLite") + text + "\n", encoding="utf-8")
    return path


def freeze_postgresql(url: str, into: Path = HERE) -> Path:
    """Write the log as pg_dump dumps it, without what hangs on this server."""
    from qckit.log.schema import SCHEMA_VERSION

    path = frozen_file("postgresql", into)
    fill(url)
    options = ["--no-owner", "--no-privileges", "--no-comments", "--inserts"]
    done = subprocess.run(["pg_dump", *options, url], check=True, capture_output=True, text=True)
    kept = [line for line in done.stdout.splitlines() if not re.match(r"(--|SET |SELECT pg_catalog|\\|$)", line)]
    path.write_text(_HEAD.format(n=SCHEMA_VERSION, kind="PostgreSQL") + "\n".join(kept) + "\n", encoding="utf-8")
    return path


if __name__ == "__main__":
    print(freeze_sqlite())
    if len(sys.argv) > 1:
        print(freeze_postgresql(sys.argv[1]))
