"""What else is due: signals without explanation, tests, checks, calibrations, limits to freeze, photos to count."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from qckit.tables import to_utc

if TYPE_CHECKING:
    from qckit.day.page.starting import LotInUse
    from qckit.site_tables import SiteTables

__all__ = ["METERS", "Chore", "DayRecords", "find_chores"]

METERS = "meters calibrated"
"""Action of the step that says so; ``qckit today --enter`` writes it."""

ORDER = (
    "not counted",
    "not fed",
    "signals",
    "missing photos",
    "photos without scale",
    "photos to count",
    "lot test",
    "meters",
    "camera check",
    "baseline",
    "month",
)
"""Kinds of chores, the most urgent first."""

_FREEZE_AT = 20  # hatches: Western Electric practice of 20 to 25 points for a baseline (common practice)
_RECENT_D = 45.0


@dataclass(frozen=True)
class Chore:
    """One thing that is due; ``days`` since it was done last (-1: never), ``n`` of them, ``names`` of what, and
    ``each`` the days (or hatches) of each name; ``subject``: the month, or the counter that nobody checked."""

    code: str
    subject: str = ""
    n: int = 1
    days: int = -1
    names: tuple[str, ...] = ()
    each: tuple[int, ...] = ()


@dataclass(frozen=True)
class DayRecords:
    """What the day's page looks at beside the site's tables; what is left out is not asked about.

    ``steps``, ``certificates`` and ``reports`` are the log's tables of those names, ``uncounted`` the photos still to
    be counted (``SiteLog.awaiting_counts``), ``missing_photos`` those that a sample names and the folder does not have.
    """

    steps: pd.DataFrame | None = None
    certificates: pd.DataFrame | None = None
    reports: pd.DataFrame | None = None
    uncounted: pd.DataFrame | None = None
    missing_photos: tuple[str, ...] = ()


def find_chores(
    tables: SiteTables,
    lots: list[LotInUse],
    *,
    now: dt.datetime,
    counts: pd.DataFrame,
    records: DayRecords,
    not_counted: tuple[str, ...] = (),
    not_fed: tuple[str, ...] = (),
) -> list[Chore]:
    """List what else is due, in order of urgency.

    Parameters
    ----------
    tables : SiteTables
    lots : list of LotInUse
    now : datetime
    counts : DataFrame
        As ``verdicts.lots.usual.counted_hatches`` gives them.
    records : DayRecords
    not_counted : tuple of str
        Hatches that ended without a count.
    not_fed : tuple of str
        ISO times of feeds that are over and were not written down.

    Returns
    -------
    list of Chore
    """
    found = [Chore("not counted", n=len(not_counted), names=not_counted)] if not_counted else []
    found += [Chore("not fed", n=len(not_fed), names=not_fed)] if not_fed else []
    found += _signals(tables)
    missing = records.missing_photos
    if missing:
        found.append(Chore("missing photos", n=len(missing), names=missing))
    if records.uncounted is not None:
        there = records.uncounted[~records.uncounted["photo"].isin(missing)]
        has_scale = there["um_per_px"].notna()
        for code, part in (("photos without scale", there[~has_scale]), ("photos to count", there[has_scale])):
            if len(part):
                found.append(Chore(code, n=len(part), names=tuple(dict.fromkeys(part["hatch"]))))
    found += _lot_tests(tables, lots, now)
    found += _meters(tables, records.steps, now)
    found += _camera(tables, records.certificates, now)
    found += _baselines(tables, lots, counts)
    found += _month(tables, records.reports, now)
    return sorted(found, key=lambda chore: ORDER.index(chore.code))


def _signals(tables: SiteTables) -> list[Chore]:
    """Signals and changes that nobody explained."""
    names, months = [], []
    if tables.signals is not None and len(tables.signals):
        still_open = tables.signals[tables.signals["state"] == "open"]
        names += still_open["signal"].tolist()
        months += still_open["at"].str[:7].tolist()
    changes = getattr(tables, "changes", None)
    if changes is not None and len(changes):
        still_open = changes[changes["state"] == "open"]
        names += still_open["change"].tolist()
        months += still_open["month"].dropna().tolist()
    return [Chore("signals", subject=max(months, default=""), n=len(names), names=tuple(names))] if names else []


def _lot_tests(tables: SiteTables, lots, now) -> list[Chore]:
    """Lots in use whose last standard test is too long ago."""
    tests = tables.hatches[tables.hatches["purpose"] == "standard test"]
    since = {lot.lot: _days(tests.loc[tests["lot"] == lot.lot, "started"], now) for lot in lots}
    due = {lot: days for lot, days in since.items() if days < 0 or days > tables.settings.protocol.lot_test_d}
    return [Chore("lot test", n=len(due), names=tuple(due), each=tuple(due.values()))] if due else []


def _meters(tables: SiteTables, steps, now) -> list[Chore]:
    """Meters that are read and were not calibrated for too long."""
    if steps is None or tables.readings is None or tables.readings.empty:
        return []
    read = _days(tables.readings["taken"], now)
    days = _days(steps.loc[steps["action"] == METERS, "at"], now)
    due = days < 0 or days >= tables.settings.protocol.meter_calibration_d
    return [Chore("meters", days=days)] if due and 0 <= read <= _RECENT_D else []


def _camera(tables: SiteTables, certificates, now) -> list[Chore]:
    """The camera, where counts of the last weeks come from photos."""
    by_photo = tables.samples[(tables.samples["counted_by"] == "photo") & tables.samples["photos"].notna()]
    if certificates is None or not 0 <= _days(by_photo["taken"], now) <= _RECENT_D:
        return []
    days = _days(certificates["made_at"], now)
    unchecked = _unchecked_counter(tables.photos, by_photo, certificates)
    due = days < 0 or days >= tables.settings.protocol.camera_check_d or unchecked
    return [Chore("camera check", subject=unchecked, days=days)] if due else []


def _unchecked_counter(photos, samples, certificates) -> str:
    """Version of the counter of the newest sample's photos where no check was made with it, as after learning a camera
    or an update; empty where one was, or where that is not known."""
    checked = set(certificates["counter_version"].fillna(""))
    if photos is None or photos.empty or not checked or "" in checked:
        return ""
    mine = photos[photos["sample"] == samples.loc[to_utc(samples["taken"]).idxmax(), "sample"]]
    unchecked = set(mine["counter_version"].dropna()) - checked
    return max(unchecked, default="")


def _baselines(tables: SiteTables, lots, counts) -> list[Chore]:
    """Lots with hatches enough for limits, and none frozen."""
    frozen = set()
    if tables.baselines is not None and len(tables.baselines):
        frozen = set(tables.baselines.loc[tables.baselines["chart"] == "hatch_pct", "lot"].fillna(""))
    made = counts.loc[counts["purpose"] == "production", "lot"].value_counts()
    due = {lot.lot: int(made.get(lot.lot, 0)) for lot in lots if not {lot.lot, ""} & frozen}
    due = {lot: n for lot, n in due.items() if n >= _FREEZE_AT}
    month = counts.loc[counts["lot"].isin(due) & (counts["purpose"] == "production"), "started"].astype(str).max()
    return (
        [Chore("baseline", subject=str(month)[:7], n=len(due), names=tuple(due), each=tuple(due.values()))]
        if due
        else []
    )


def _month(tables: SiteTables, reports, now) -> list[Chore]:
    """The review of the month that ended, where it was not written after its end."""
    end = now.date().replace(day=1)
    month = (end - dt.timedelta(days=1)).strftime("%Y-%m")
    if reports is None or not tables.hatches["started"].str.startswith(month).any():
        return []
    made = reports[(reports["kind"] == "month") & (reports["subject"] == month)]["made_at"]
    if (to_utc(made) >= pd.Timestamp(dt.datetime.combine(end, dt.time(), tzinfo=now.tzinfo))).any():
        return []
    return [Chore("month", subject=month)]


def _days(times: pd.Series, now: dt.datetime) -> int:
    """Whole days since the newest of some times; -1 without any."""
    newest = to_utc(times.dropna()).max() if len(times.dropna()) else None
    return -1 if newest is None else max(0, int((now - newest).total_seconds() // 86400))
