"""Which cones a new-lot verdict rests on: the latest test, the reference beside it, what is left out and why."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from qckit.errors import unknown_name
from qckit.hatch.intervals.site_spread import site_spread
from qckit.hatch.lots.standard_tests import TEST_PURPOSES, latest_test, near_test
from qckit.hatch.summary import summarise_cones
from qckit.hatch.water.conditions import check_conditions
from qckit.hatch.water.readings import hatches_off_standard
from qckit.tables import to_utc
from qckit.words import plural

__all__ = ["TestCones", "beside_the_test", "choose_cones"]


@dataclass(frozen=True)
class TestCones:
    """The cones of a test, and what is known of the room."""

    __test__ = False  # not a test case, whatever its name

    used: pd.DataFrame  # the lot's cones that count
    beside: pd.DataFrame  # the reference lot's
    older: pd.DataFrame  # the lot's test before this one
    reference: str | None
    compared_as: str  # "reference", or "test": another lot's standard test of the same days
    conditions: pd.DataFrame
    off: frozenset  # hatches outside the standard conditions
    unsure: frozenset  # inside them, with a likely cause of a poorer hatch
    spread: object  # Spread or None
    differ_more: bool  # the test's cones differ more than this room's usually do
    left_out: tuple[str, ...]


def choose_cones(every, hatches, readings, *, lot, settings, reference=None):
    """Choose the cones of a lot's latest test and of its reference.

    Parameters
    ----------
    every : DataFrame
        ``cone_metrics`` of the whole site.
    hatches, readings : DataFrame
    lot : str
    settings : settings.Settings
    reference : str, optional

    Returns
    -------
    TestCones

    Raises
    ------
    InputError
        The reference lot is unknown.
    """
    cones, left_out = _latest_test(every, lot)
    reference, compared_as = _find_reference(every, hatches, lot, cones, reference)
    beside = _beside(every, reference, cones)
    in_test = hatches[hatches["hatch"].isin({*cones["hatch"], *beside["hatch"]})]
    conditions = check_conditions(in_test, readings, settings.conditions)
    off = frozenset(conditions.loc[conditions["status"] == "off", "hatch"])
    unsure = frozenset(conditions.loc[conditions["status"] == "doubtful", "hatch"]) - off
    spread = site_spread(
        every, leave_out={*cones["hatch"], *beside["hatch"], *hatches_off_standard(hatches, None, settings.conditions)}
    )
    used, dropped = _within_standard(cones, off, 1 if spread else 2)
    return TestCones(
        used=used,
        beside=_within_standard(beside, off, 1)[0],
        older=_older_test(every, lot, cones),
        reference=reference,
        compared_as=compared_as,
        conditions=conditions,
        off=off,
        unsure=unsure,
        spread=spread,
        differ_more=_differ_more(spread, used),
        left_out=(*left_out, *dropped),
    )


def beside_the_test(hatches, cones):
    """Hatches of the same lot, of any purpose, started within a few days of the test."""
    mine = hatches[hatches["lot"].isin(set(cones["lot"]))]
    return near_test(mine, cones)


def _older_test(every, lot, cones):
    """The lot's test before this one; no row when there is none."""
    if not len(cones):
        return cones
    return _latest_test(every[to_utc(every["started"]) < to_utc(cones["started"]).min()], lot)[0]


def _latest_test(every, lot):
    """The cones of the lot's latest test, and what was not used."""
    latest, older = latest_test(every, lot)
    if not len(older):
        return latest, []
    return latest, [
        f"{plural(len(older), 'cone')} of earlier tests of this lot, the last on "
        f"{older['started'].max()[:10]}: only the latest test is judged."
    ]


def _find_reference(every, hatches, lot, cones, reference):
    """The lot to compare with and as what: one run as reference, else one tested on the same days; None without."""
    if reference is not None:
        known = sorted(set(hatches["lot"]))
        if reference not in known:
            raise unknown_name("reference lot", reference, known)
        return reference, "reference"
    near = near_test(every[every["lot"] != lot], cones)
    for purpose, compared_as in (("reference", "reference"), ("standard test", "test")):
        names = near.loc[near["purpose"] == purpose, "lot"].value_counts()
        if len(names):
            return str(names.index[0]), compared_as
    return None, "reference"


def _beside(every, reference, cones):
    """The reference lot's cones: those beside the test, else its latest test."""
    if reference is None:
        return every.iloc[:0]
    tests = every[(every["lot"] == reference) & every["purpose"].isin(TEST_PURPOSES)]
    near = near_test(tests, cones)
    return near if len(near) else _latest_test(every, reference)[0]


def _within_standard(cones, off, least):
    """Leave out cones off the standard as long as enough others remain."""
    good = cones[~cones["hatch"].isin(off)]
    if len(good) < least or len(good) == len(cones):
        return cones, []
    dropped = cones[cones["hatch"].isin(off)]
    return good, [
        f"Cone {c} ({h}): run outside the standard conditions." for c, h in zip(dropped["cone"], dropped["hatch"])
    ]


def _differ_more(spread, used):
    """Whether this test's cones differ beyond chance more than the site's usually do (F test, 1 %)."""
    if spread is None or len(used) < 2:
        return False
    from scipy import stats

    estimate = summarise_cones(used).hatch_pct
    n = used["full_cysts"].to_numpy(float)
    if not n.sum() > 0 or not estimate.dispersion > 0:
        return False
    site = 1 + ((n**2).sum() / n.sum() - 1) * spread.rho
    return bool(stats.f.sf(estimate.dispersion / site, estimate.df, spread.df) < 0.01)
