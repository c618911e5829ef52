"""Invented repeat tests of lots, and a time course of the new lot: what the demo's new-lot pages show.

They lie apart from the history and have a seed of their own, so that the history stays what it is.
"""

from __future__ import annotations

from datetime import date

import numpy as np

from qckit.practice.history import CONES, TIMED_H, Diary, at, lot_traits
from qckit.practice.mechanisms import LotTraits
from qckit.tables import check_table, table_columns

__all__ = ["lot_tests"]

REPEATS = (
    ("K-118", date(2025, 12, 3)),
    ("K-118", date(2026, 3, 10)),
    ("K-118", date(2026, 7, 7)),
    ("K-118", date(2026, 9, 8)),
    ("K-121", date(2026, 7, 8)),
    ("K-121", date(2026, 9, 9)),
)
NEW_LOT, NEW_DAY = "K-124", date(2026, 11, 3)


def _traits(lot, day):
    """K-124 as in the demo's photos, a little poorer than its label; the others as in the history."""
    if lot != NEW_LOT:
        return lot_traits(lot, day)
    return LotTraits(full_per_g=283_000, dead_frac=0.165, dormant_frac=0.02, break_t50_h=15.6)


def lot_tests(*, seed: int = 20262) -> dict:
    """Make the repeat tests of K-118 and K-121, and the time course of K-124 beside its standard test.

    Parameters
    ----------
    seed : int
        The same seed gives the same tests to the last digit.

    Returns
    -------
    dict of str to DataFrame
        ``hatches``, ``readings`` and ``samples``, as :func:`qckit.tables.check_table` returns them. The lots and the
        history are not in it.

    Examples
    --------
    >>> sorted(practice.lot_tests())
    ['hatches', 'readings', 'samples']
    """
    import pandas as pd

    diary = Diary(np.random.default_rng(seed), traits_of=_traits)
    for lot, day in REPEATS:
        _repeat(diary, lot, day)
    for i in range(3):
        _timed(diary, i)
    return {
        table: check_table(pd.DataFrame(rows).reindex(columns=table_columns(table)), table)
        for table, rows in diary.rows.items()
        if table != "lots"
    }


def _repeat(diary, lot, day) -> None:
    """Three cones, four subsamples each, read at 24 h."""
    for i, cone in enumerate(CONES[:3]):
        name, started = f"RT-{lot[2:]}-{day:%y%m}-{cone}", at(day, 9.0 + i / 12)
        grams = round(1.6 + float(diary.rng.normal(0, 0.003)), 3)
        made = diary.hatch(
            name,
            lot,
            "standard test",
            cone,
            started,
            amounts=(grams, 800),
            operator="op1",
            notes="invented; repeat test",
        )
        diary.readings(name, started, made[0], missing=0.0)
        diary.subsamples(name, started, made, hour=24.0, counters=[("person", "op1")] * 4)


def _timed(diary, i: int) -> None:
    """A small cone of the new lot followed by the clock."""
    cone = "EFG"[i]
    name, started = f"TC-124-{cone}", at(NEW_DAY, 8.0 + i / 12)
    made = diary.hatch(
        name,
        NEW_LOT,
        "investigation",
        cone,
        started,
        amounts=(1.6, 800),
        operator="op1",
        notes="invented; time course beside the standard test",
    )
    diary.readings(name, started, made[0], missing=0.0)
    for n, hour in enumerate(TIMED_H):
        diary.subsamples(name, started, made, hour=hour, counters=[("person", "op1")] * 2, first=2 * n + 1)
