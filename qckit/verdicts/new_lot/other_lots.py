"""A lot among the site's other lots: which is in use, how earlier ones did at their first test, how old this one is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from qckit.hatch.lots.in_use import is_in_use
from qckit.hatch.lots.standard_tests import test_groups
from qckit.tables import to_utc
from qckit.verdicts.lots.expected import Expected, expected_of_lot
from qckit.verdicts.lots.usual import counted_hatches

__all__ = ["LotWorld", "best_choice", "lot_world"]


@dataclass(frozen=True)
class LotWorld:
    """What the site's records say around a lot's test."""

    in_use: str | None  # of the lots in use at the test, the one that most of their hatches of that time were made of
    in_use_hatch_pct: float  # of these hatches
    n_in_use: int
    earlier: pd.DataFrame  # lot, day, hatch_pct, per_g, n_cones: the first test of each other lot before this test
    best_before: str  # as written; empty where it is not
    is_past: bool  # best before the test was run
    opened_days: float  # from opening to the test; NaN where one of them is not known
    expected: Expected  # of the lot, as a month and a poor hatch expect it


def lot_world(tables, every, lot, test):
    """Gather what the site knows of other lots at the time of a test.

    Parameters
    ----------
    tables : site_tables.SiteTables
    every : DataFrame
        ``cone_metrics`` of the whole site.
    lot : str
    test : DataFrame
        The test's cones, rows of ``every``; without any, the site's newest hatch gives the time.

    Returns
    -------
    LotWorld
    """
    at = to_utc(test["started"] if len(test) else tables.hatches["started"]).max()
    others = every[(every["lot"] != lot) & (to_utc(every["started"]) <= at)]
    here = at.tz_convert(tables.settings.site.timezone)
    made = others[others["purpose"] == "production"]
    recent = made[to_utc(made["started"]).map(lambda started: is_in_use(started, here)).astype(bool)]
    in_use = None if recent.empty else str(recent["lot"].value_counts().index[0])
    mine = recent[recent["lot"] == in_use]["hatch_pct"].dropna()
    row = tables.lots[tables.lots["lot"] == lot]
    written = {c: row[c].iloc[0] if len(row) and c in row else None for c in ("best_before", "opened")}
    ends = [_end(v) for v in (written["best_before"], written["opened"])]
    counts = counted_hatches(tables.samples, tables.hatches, tables.lots, photos=tables.photos, cones=every)
    return LotWorld(
        in_use=in_use,
        in_use_hatch_pct=float(mine.mean()) if len(mine) else math.nan,
        n_in_use=len(mine),
        earlier=_first_tests(others),
        best_before=str(written["best_before"]) if ends[0] is not None else "",
        is_past=ends[0] is not None and ends[0] < at,
        opened_days=float((here.date() - ends[1].date()).days) if len(test) and ends[1] is not None else math.nan,
        expected=expected_of_lot(counts, tables.lots, lot, before=at),
    )


def best_choice(world, tested_hatch_pct, reference, minimum):
    """Which lot to feed from when this one is rejected, as a code with its values.

    Parameters
    ----------
    world : LotWorld
    tested_hatch_pct : float
    reference : LotSummary or None
        Of the lot run beside the test.
    minimum : float
        The site's minimum. [%]

    Returns
    -------
    (code, values)
        ``beside_good``: the lot beside it meets the minimum; ``beside_poor``: it did better but is below the minimum
        too; ``beside_worse``: it did worse; ``in_use``: none was run beside it, the lot in use meets the minimum;
        ``in_use_poor``: it does not; ``none``: no other lot is in use.
    """
    if reference is not None and math.isfinite(reference.hatch_pct.value):
        other = reference.hatch_pct.value
        code = "beside_worse" if other <= tested_hatch_pct else "beside_good" if other >= minimum else "beside_poor"
        return code, {"lot": reference.lot, "hatch_pct": other, "minimum": minimum}
    if world.in_use is not None and math.isfinite(world.in_use_hatch_pct):
        values = {"lot": world.in_use, "hatch_pct": world.in_use_hatch_pct, "n": world.n_in_use, "minimum": minimum}
        return ("in_use" if world.in_use_hatch_pct >= minimum else "in_use_poor"), values
    return "none", {}


def _first_tests(others):
    """First test of each lot."""
    rows = []
    for lot, cones in others.groupby("lot"):
        groups = test_groups(cones[cones["purpose"] == "standard test"])
        if groups and groups[0]["hatch_pct"].notna().any():
            first = groups[0]
            per_g = float(first["hatching_efficiency_per_g"].mean())
            rows.append((str(lot), first["started"].min()[:10], float(first["hatch_pct"].mean()), per_g, len(first)))
    found = pd.DataFrame(rows, columns=["lot", "day", "hatch_pct", "per_g", "n_cones"])
    return found.sort_values("day", ignore_index=True)


def _end(written):
    """Last moment of a date that may stop at the month or the year; None where there is none."""
    if not isinstance(written, str) or not written:
        return None
    return pd.Period(written, freq={4: "Y", 7: "M"}.get(len(written), "D")).end_time.tz_localize("UTC")
