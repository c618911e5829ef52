"""What an import of counts brought: each hatch that it counted, with its figures, against what its lot gave before."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial

import pandas as pd

from qckit.day.page.judging import MAY_BE_POOR, Judged, judge_hatch
from qckit.site import Site
from qckit.tables import to_utc

__all__ = ["CountedHatch", "changed_counts", "counted_hatches_of", "newest_moment"]

ALL_JUDGED = 12
"""Of more hatches, only those that may be poor are judged with cones and people allowed for, which takes longer."""

_SUSPECTED = 3  # so many of the newest poor hatches get their first suspicion, which takes longer still


@dataclass(frozen=True)
class CountedHatch:
    """One hatch with its figures; ``judged`` is None where it has no percentage."""

    hatch: str
    lot: str
    cone: str
    is_test: bool
    hatch_pct: tuple[float, float, float]  # value, low, high
    nauplii_per_g: tuple[float, float, float]
    judged: Judged | None
    why: str = ""  # its count cannot be
    first_step: str = ""

    @property
    def code(self) -> str:
        """Of :class:`Judged`; empty where there is no percentage."""
        if self.why:
            return "impossible"
        return self.judged.code if self.judged is not None else ""


def changed_counts(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """Rows of counted subsamples that were not there before, or otherwise.

    Parameters
    ----------
    before, after : DataFrame
        Samples of the log, the uncounted too.
    """
    new = after[~after["sample"].isin(before["sample"])]
    kept = pd.concat([before, after[after["sample"].isin(before["sample"])]], ignore_index=True)
    other = after["sample"].isin(kept.drop_duplicates(keep=False)["sample"]) | after["sample"].isin(new["sample"])
    return after[other & (after["kind"] == "subsample") & after["nauplii"].notna()]


def newest_moment(site: Site, counted: pd.DataFrame) -> dt.datetime:
    """The site's time at which the newest of some counts, and what was started on their day, are there to be judged."""
    zone = site.settings.site.timezone
    taken = to_utc(counted["taken"]).max().tz_convert(zone)
    started = to_utc(site.tables.hatches["started"]).dt.tz_convert(zone)
    same_day = started[started.dt.date == taken.date()]
    at_counts = pd.Timestamp.combine(taken.date(), site.settings.protocol.count_time).tz_localize(zone)
    return max([taken, at_counts, *same_day]).to_pydatetime()


def counted_hatches_of(site: Site, hatches: Iterable[str]) -> list[CountedHatch]:
    """Give the figures of some hatches, the newest first, each against what its lot gave before it.

    Parameters
    ----------
    site : Site
    hatches : iterable of str
    """
    from qckit.hatch import hatch_table, impossible_hatches
    from qckit.verdicts.lots.usual import counted_hatches

    t = site.tables
    figures = hatch_table(t)
    figures = figures[figures["hatch"].isin(set(hatches))].iloc[::-1]
    tests = set(t.hatches.loc[t.hatches["purpose"] == "standard test", "hatch"])
    reading_h = t.settings.conditions.reading_h
    counts = counted_hatches(t.samples, t.hatches, t.lots, photos=t.photos, reading_h=reading_h)
    impossible = impossible_hatches(figures, t.samples)
    judged = _judged(site, counts, figures["hatch"].tolist())
    return [
        CountedHatch(
            hatch=row["hatch"],
            lot=row["lot"],
            cone=row["cone"],
            is_test=row["hatch"] in tests,
            hatch_pct=_with_bounds(row, "hatch_pct"),
            nauplii_per_g=_with_bounds(row, "hatching_efficiency_per_g"),
            judged=judged.get(row["hatch"]),
            why=impossible[row["hatch"]].why if row["hatch"] in impossible else "",
            first_step=impossible[row["hatch"]].first_step if row["hatch"] in impossible else "",
        )
        for row in figures.to_dict("records")
    ]


def _with_bounds(row, name):
    return tuple(math.nan if pd.isna(row[key]) else float(row[key]) for key in (name, f"{name}_low", f"{name}_high"))


def _judged(site, counts, names):
    """Judge hatches, the newest first; the newest poor ones with a suspicion."""
    from qckit.verdicts.lots.standing import Standing

    found = {}
    for name in names:
        one = judge_hatch(counts, name, standing=Standing()) if len(names) > ALL_JUDGED else judge_hatch(counts, name)
        if one is not None and len(names) > ALL_JUDGED and one.p_low < MAY_BE_POOR:
            one = judge_hatch(counts, name)
        if one is not None:
            found[name] = one
    suspect = partial(site.suspicion, counts=counts)
    for name in [name for name, one in found.items() if one.code == "poor"][:_SUSPECTED]:
        found[name] = judge_hatch(counts, name, suspect=suspect) or found[name]
    return found
