"""What a case of the bed of sheets is, and the sound rows that all are made from."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

LOT = {"lot": "L-9", "origin": "invented"}
HATCH = {
    "hatch": "H-1",
    "lot": "L-1",
    "purpose": "production",
    "cone": "A",
    "started": "2026-11-03 09:00",
    "cysts_g": "1.6",
    "volume_ml": "800",
}
READING = {"hatch": "H-0", "taken": "2026-11-02 12:00", "quantity": "ph", "value": "8.1", "unit": "pH"}
SAMPLE = {
    "sample": "S-1",
    "hatch": "H-0",
    "taken": "2026-11-03 09:00",
    "kind": "subsample",
    "volume_ul": "250",
    "dilution": "1",
    "nauplii": "40",
    "cysts": "9",
    "counted_by": "person",
}
FEED = {"feed": "F-1", "fed": "2026-11-03 10:00", "hatch": "H-0", "nauplii": "100000"}
ROWS = {"lots": LOT, "hatches": HATCH, "readings": READING, "samples": SAMPLE, "feeds": FEED}
"""A sound row of each table."""


@dataclass(frozen=True)
class Case:
    """One import: its files (name -> content, or what makes them in a folder), options, exit code and words."""

    name: str
    files: dict[str, bytes] | Callable[[Path], None]
    code: int
    message: str = ""
    options: tuple[str, ...] = ()
    stored: dict | None = None  # (table, key, column) -> value, after the import


def as_csv(rows: list[dict], separator: str = ",", head: list[str] | None = None) -> bytes:
    """Write rows as CSV."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, head or list(rows[0]), delimiter=separator)
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")


def one(name: str, table: str, cell: dict, code: int, message: str = "", **more) -> Case:
    """Build a case of one sound row with some cells changed."""
    return Case(name, {f"{table}.csv": as_csv([ROWS[table] | cell])}, code, message, **more)
