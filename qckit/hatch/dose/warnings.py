"""What speaks against feeding from a lot, as codes with their values; words are made last."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import pandas as pd

from qckit.hatch.comparison.lots import compare_per_g
from qckit.hatch.intervals.site_spread import site_spread
from qckit.hatch.lots.standard_tests import latest_test, near_test
from qckit.hatch.summary import summarise_cones
from qckit.words import first_few, joined, number, plural, rounded

__all__ = ["DOSE_WARNINGS", "DoseWarning", "dose_warnings", "is_shown_below"]

DOSE_WARNINGS = {
    "doubted": "{hatch} is left out of the dose: {why}. {first_step}",
    "more doubted": "Left out of the dose likewise: {hatches}.",
    "rejected": "Lot {lot} was rejected: its standard test of {day} gave {hatch_pct:.0f} % and {per_g} nauplii "
    "per gram; this site's minimum is {min_pct:g} % and {min_per_g}.",
    "poor": "Lot {lot} is poor: by best guess it gives {per_g} nauplii per gram, under this site's minimum of "
    "{min_per_g}.",
    "outdone": "Lot {other} did better in the same test of {day}: {other_per_g} nauplii per gram against {per_g}.",
    "past best before": "Lot {lot} is past its best-before date ({date}).",
    "old figures": "The newest figure behind this dose is {days:.0f} days old. If the lot falls faster now than "
    "before, more hatches fall short than stated: count a hatch, or run a test.",
    "few": "This dose rests on very little: {what}. Count the next hatches.",
    "cones": "The dose needs {needed:.0f} cones and {at_hand:.0f} are at hand.",
}
"""Code -> sentence, filled in from the warning's values; the order is that of their weight."""

OF_DOUBTED = ("doubted", "more doubted")
"""Codes of hatches that are left out."""

_OLD_DAYS = 60
_DOUBTED_DAYS = 60
_FEW_HATCHES = 3
_FEW_CONES = 2


@dataclass(frozen=True)
class DoseWarning:
    """One thing that speaks against a dose.

    Examples
    --------
    >>> hatch.DoseWarning("old-test", {"days": 120}).code
    'old-test'
    """

    code: str  # a key of DOSE_WARNINGS
    values: dict = field(default_factory=dict)

    @property
    def sentence(self) -> str:
        """The warning in words."""
        written = {k: number(v) if k.endswith("per_g") else v for k, v in self.values.items()}
        return DOSE_WARNINGS[self.code].format(**written)


def is_shown_below(estimate, limit):
    """Whether the whole interval of a figure lies below a limit: the ground on which a lot is rejected.

    Examples
    --------
    >>> figure = hatch.proportion_over_cones([150, 155, 149], [300, 305, 301])
    >>> bool(hatch.is_shown_below(figure, 0.75)), bool(hatch.is_shown_below(figure, 0.5))
    (True, False)
    """
    return math.isfinite(estimate.safe_high) and estimate.safe_high < limit


def recent_doubts(doubted, records):
    """Doubted hatches that the dose would else rest on: those started within two months of its day."""
    started = records.hatches.set_index("hatch")["started"]
    return [one for one in doubted if (records.day - pd.Timestamp(started[one.hatch])).days <= _DOUBTED_DAYS]


def dose_warnings(cones, level, lot_row, settings, *, n_cones, doubted=()):
    """Everything that speaks against a dose of a lot, heaviest first.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics`` of the whole site up to the day.
    level : LotLevel
    lot_row : Series or None
        The lot's row of the lots table.
    settings : settings.Settings
    n_cones : int
        Cones that the dose needs.
    doubted : sequence of Doubted
        Hatches of the lot that are left out because their figures can hardly be.

    Returns
    -------
    tuple of DoseWarning
    """
    found = [
        *_of_doubted(doubted),
        *_of_test(cones, level, settings),
        *_of_level(level, settings),
        *_of_age(level, lot_row),
    ]
    if n_cones > settings.feed.n_cones:
        found.append(DoseWarning("cones", {"needed": n_cones, "at_hand": settings.feed.n_cones}))
    if any(w.code == "rejected" for w in found):
        found = [w for w in found if w.code != "poor"]
    return tuple(sorted(found, key=lambda w: list(DOSE_WARNINGS).index(w.code)))


def _of_doubted(doubted):
    """The newest by its reason and first step, the others by name."""
    if doubted:
        *others, last = doubted
        yield DoseWarning("doubted", {"hatch": last.hatch, "why": last.why, "first_step": last.first_step})
        if others:
            yield DoseWarning("more doubted", {"hatches": first_few([one.hatch for one in others], 6)})


def _of_test(cones, level, settings):
    """The lot was rejected, or another lot did better beside it."""
    test, _ = latest_test(cones, level.lot)
    if not len(test):
        return
    limits, day = settings.limits, str(test["started"].max())[:10]
    spread = site_spread(cones, leave_out=set(test["hatch"]))
    summary = summarise_cones(
        test, lot=level.lot, confidence=limits.confidence, spread=spread, measure=settings.measure
    )
    hatch, efficiency = summary.hatch_pct, summary.hatching_efficiency_per_g
    if is_shown_below(hatch, limits.min_hatch_pct) or is_shown_below(efficiency, limits.min_nauplii_per_g):
        yield DoseWarning(
            "rejected",
            {
                "lot": level.lot,
                "day": day,
                "hatch_pct": hatch.value,
                "per_g": _three(efficiency.value),
                "min_pct": limits.min_hatch_pct,
                "min_per_g": limits.min_nauplii_per_g,
            },
        )
    better = best_beside(cones, test, margin_pct=limits.equivalence_margin_pct, confidence=limits.confidence)
    if better is not None:
        other, ratio = better
        yield DoseWarning(
            "outdone",
            {
                "lot": level.lot,
                "other": other,
                "day": day,
                "per_g": _three(efficiency.value),
                "other_per_g": _three(efficiency.value / ratio),
            },
        )


def best_beside(cones, test, *, margin_pct, confidence=0.95):
    """The lot of the same days' tests that does better than a lot's test by more than the margin, or is shown to.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics``, any lots.
    test : DataFrame
        The lot's own rows.
    margin_pct, confidence : float

    Returns
    -------
    (lot, ratio) or None
        ``ratio`` is own nauplii per gram over the other's.

    Examples
    --------
    >>> groups = hatch.test_groups(cones[cones["lot"] == "K-121"])
    >>> hatch.best_beside(cones, groups[-1], margin_pct=10.0) is None
    True
    """
    lot = test["lot"].iloc[0]
    near = near_test(cones[cones["purpose"].isin(["standard test", "reference"]) & (cones["lot"] != lot)], test)
    found = []
    for other, beside in near.groupby("lot"):
        c = compare_per_g(test, beside, other=str(other), margin_pct=margin_pct, confidence=confidence)
        if c.verdict == "worse" or c.ratio < 1 - margin_pct / 100:
            found.append((c.ratio, str(other)))
    return (min(found)[1], min(found)[0]) if found else None


def _of_level(level, settings):
    limits = settings.limits
    if level.efficiency_per_g < limits.min_nauplii_per_g:
        values = {
            "lot": level.lot,
            "per_g": _three(level.efficiency_per_g),
            "min_per_g": limits.min_nauplii_per_g,
        }
        yield DoseWarning("poor", values)
    if level.n_hatches < _FEW_HATCHES and level.n_cones < _FEW_CONES:
        parts = [plural(n, word) for n, word in ((level.n_hatches, "hatch"), (level.n_cones, "test cone")) if n]
        yield DoseWarning("few", {"what": joined(parts)})


def _of_age(level, lot_row):
    days = (level.day - level.newest).total_seconds() / 86400
    if days > _OLD_DAYS:
        yield DoseWarning("old figures", {"days": days})
    written = None if lot_row is None else lot_row.get("best_before")
    if isinstance(written, str) and written and _end_of(written) < level.day:
        yield DoseWarning("past best before", {"lot": level.lot, "date": written})


def _end_of(written):
    """Last moment of a date that may stop at the month or the year."""
    period = pd.Period(written, freq={4: "Y", 7: "M"}.get(len(written), "D"))
    return period.end_time.tz_localize("UTC")


def _three(value):
    return rounded(value)


def nothing_known(lot, hatches, cones, doubted, test_cones):
    """Say what is missing for a dose, and how to come by it."""
    if doubted:
        last = doubted[-1]
        return (
            f"lot {lot}: no dose can rest on its counted hatches as they stand: {last.hatch}: {last.why}. "
            f"{last.first_step}"
        )
    mine = hatches[hatches["lot"] == lot]
    counted = cones[cones["lot"] == lot]
    if len(counted):
        names = ", ".join(counted["hatch"].head(6))
        return (
            f"lot {lot}: nauplii per gram are not known of its counted hatches ({names}), because no nauplii, no "
            "volume_ul or no cysts_g are logged for them. Fill these in (qckit log import --correct)."
        )
    if len(mine):
        names = ", ".join(mine["hatch"].head(6))
        return (
            f"lot {lot}: its hatches ({names}) have no counts yet, so no dose can be worked out. Enter the counts "
            "(qckit today --enter, or a sheet: qckit log import), or count the photos that wait (qckit today --watch)."
        )
    return (
        f"lot {lot}: nothing of it was hatched yet, so no dose can be worked out. Run a standard test of {test_cones}: "
        "start it and count it with  qckit today --enter , or import its hatches and samples sheets, with volume_ul."
    )
