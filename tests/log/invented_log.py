"""Invented records for the tests of the log."""

import hashlib
import sqlite3

import pandas as pd

from qckit.log import open_log

NOW = "2026-11-25T12:00:00+00:00"
"""The clock of these tests."""

LOTS = pd.DataFrame({"lot": ["L-1", "L-2"], "claimed_hatch_pct": [85.0, None]})
HATCHES = pd.DataFrame(
    {
        "hatch": ["H-1", "H-2"],
        "lot": ["L-1", "L-2"],
        "purpose": ["standard test", "production"],
        "cone": ["A", "B"],
        "started": ["2026-10-31T23:30:00+00:00", "2026-11-03T09:00:00+00:00"],
        "cysts_g": [1.602, 40.0],
        "volume_ml": [800, 20000],
    }
)
SAMPLES = pd.DataFrame(
    {
        "sample": ["S-1", "S-2", "S-3"],
        "hatch": ["H-1", "H-1", "H-2"],
        "taken": ["2026-11-01T23:30:00+00:00", "2026-11-01T23:32:00+00:00", "2026-11-04T09:00:00+00:00"],
        "kind": "subsample",
        "volume_ul": [250.0, None, 250.0],
        "chamber_depth_mm": [None, 1.0, None],
        "nauplii": pd.array([100, None, 90], dtype="Int64"),
        "cysts": pd.array([20, None, 30], dtype="Int64"),
        "counted_by": ["person", "photo", "person"],
        "photos": [None, "a.jpg; b.jpg", None],
    }
)

NASTY_NAMES = (
    "<script>alert(1)</script>",
    "=cmd|' /C calc'!A0",
    "../../x",
    'it\'s "quoted", with; commas',
    "🦐 lot ☃",
    "L" * 200,
    "+1",
    "-1",
    "@x",
    "'=already",
    "''double",
    "007",
    "2E5",
    "NA",
    "null",
    "a\\b",
    "%s {0}",
    "line one\nline two",
    "ß Ä é",
    "Ångström e\u0301",
)
"""Names people, or the malicious, might give a lot; each must come back as it went in."""


def counted(photos=("a.jpg", "b.jpg"), *, version="t-1", n=(30, 2, 5, 20)):
    """Invent what a counter gives: n nauplii, umbrella, cysts, shells in each photo."""
    names = list(photos)
    frame = pd.DataFrame(
        {
            "photo": names,
            "sha256": [hashlib.sha256(x.encode()).hexdigest() for x in names],
            "um_per_px": 5.0,
            "frame_mm2": 100.0,
            "counter_version": version,
        }
    )
    stages = [s for s, k in zip(("nauplius", "umbrella", "cyst", "shell"), n) for _ in range(k)]
    objects = pd.concat(
        [
            pd.DataFrame(
                {
                    "photo": name,
                    "object_id": range(1, len(stages) + 1),
                    "stage": stages,
                    "x_px": 1.5,
                    "y_px": 2.5,
                    "counted": True,
                    "source": "found",
                }
            )
            for name in names
        ]
    )
    return frame, objects


def one_day(i):
    """Invent a day's sheet: two hatches, ten samples by hand, one waiting for two photos."""
    hatches = HATCHES.assign(hatch=[f"K{i}-A", f"K{i}-B"])
    samples = pd.concat([SAMPLES.iloc[[0]]] * 10, ignore_index=True)
    samples = samples.assign(sample=[f"K{i}-{n}" for n in range(10)], hatch=f"K{i}-A")
    waiting = SAMPLES.iloc[[1]].assign(sample=f"K{i}-P", hatch=f"K{i}-A", photos=f"K{i}-1.jpg; K{i}-2.jpg")
    return {"hatches": hatches, "samples": pd.concat([samples, waiting], ignore_index=True)}


def enter_day(site, i):
    """Do a day's two steps: the sheet, and the count of its photos."""
    photos, objects = counted((f"K{i}-1.jpg", f"K{i}-2.jpg"), n=(30, 2, 8, 20))
    with open_log(site) as log:
        log.add_many(one_day(i), by="op1")
        log.record_counts(photos, objects=objects, by="op1")


def whole(path):
    """Tell whether an SQLite file is whole, with all its references."""
    with sqlite3.connect(path) as connection:
        state = connection.execute("PRAGMA integrity_check").fetchone()[0]
        return state == "ok" and connection.execute("PRAGMA foreign_key_check").fetchone() is None
