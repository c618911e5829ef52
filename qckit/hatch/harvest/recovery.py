"""What the harvest brings in of what hatched: recovery per hatch, over hatches, and what the separation loses."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from qckit.hatch.intervals.estimates import student_quantile
from qckit.quantities import RECOVERY_PCT
from qckit.tables import to_utc
from qckit.words import plural

__all__ = [
    "ENOUGH_HARVESTS",
    "RECOVERY_COLUMNS",
    "Recovery",
    "harvest_recovery",
    "harvest_totals",
    "newest_harvests",
    "recovery_by_cone",
    "recovery_of",
]

ENOUGH_HARVESTS = 5
"""Measured harvests from which on the site's own recovery is used instead of the assumed one."""

RECOVERY_COLUMNS = ("hatch", "lot", "cone", "at", "hatched", "harvested", "lost", "recovery_pct", "u_log", "separation")

_USUAL_SPREAD = 0.05  # relative, between harvests of one room, until more than a few are counted. No source
_SPREAD_DF = 4.0
_WINDOW = 60  # newest harvests that count
_TIMES = 3.0  # off the others, in a room whose harvests all lie outside of the usual. No source


@dataclass(frozen=True)
class Recovery:
    """Share of the hatched nauplii that a harvest brings in.

    Examples
    --------
    >>> recovery = hatch.recovery_of(tables.samples, cones, tables.settings)
    >>> recovery.basis, round(recovery.pct)
    ('assumed', 85)
    """

    basis: str  # measured, assumed
    pct: float
    low: float  # 95 % interval of the mean over harvests; NaN where assumed
    high: float
    log_mean: float  # of the share
    se: float  # of log_mean
    spread: float  # between single harvests, counting taken out, log scale; 0 where assumed: it is not known
    df: float
    n_harvests: int
    by_hatch: pd.DataFrame = field(repr=False, compare=False)  # RECOVERY_COLUMNS
    n_left_out: int = 0  # harvests that hardly can be

    @property
    def sentence(self) -> str:
        """Which recovery is used, and what would make it better."""
        return f"{self._basis_sentence}{self._left_out_words}"

    @property
    def _left_out_words(self):
        if not self.n_left_out:
            return ""
        low, high = RECOVERY_PCT
        n = plural(self.n_left_out, "harvest")
        return f" {n} of under {low:g} or over {high:g} % left out: look at what was typed (qckit log check)."

    @property
    def _basis_sentence(self):
        if self.basis == "measured":
            return (
                f"Recovery {self.pct:.0f} % ({self.low:.0f} to {self.high:.0f} %), measured at {self.n_harvests} "
                "harvests of this room."
            )
        have = f"{self.n_harvests} {'is' if self.n_harvests == 1 else 'are'} logged" if self.n_harvests else "none is"
        return (
            f"Recovery is assumed to be {self.pct:g} %: it is measured once {ENOUGH_HARVESTS} harvests are counted, "
            f"and {have}. How much it differs from harvest to harvest is not in the risk."
        )


def harvest_recovery(samples, cones, *, day=None):
    """Recovery of each hatch whose harvest was counted.

    Parameters
    ----------
    samples : DataFrame
        Columns of the samples table; rows of the kind "harvest" are used. Each says how many nauplii were counted in
        ``volume_ul`` of ``harvest_ml`` (``dilution`` allowed for), or in ``mass_g`` of ``harvest_g``.
    cones : DataFrame
        Rows of ``cone_metrics``: what hatched.
    day : Timestamp, optional
        Later hatches are not looked at.

    Returns
    -------
    DataFrame, columns ``RECOVERY_COLUMNS``
        One row per hatch with both counts. ``hatched``, ``harvested`` and ``lost`` (seen in the purge) are nauplii in
        all, ``u_log`` is the standard uncertainty of the log of the recovery from counting alone.

    Examples
    --------
    >>> len(hatch.harvest_recovery(tables.samples, cones))  # the demo weighs no harvest
    0
    """
    empty = pd.DataFrame(columns=list(RECOVERY_COLUMNS))
    totals = harvest_totals(samples)
    if not len(totals) or not len(cones):
        return empty
    rows = []
    known = cones.drop_duplicates("hatch", keep="last").set_index("hatch")
    for hatch, total in totals.dropna(subset=["harvested"]).iterrows():
        cone = known.loc[hatch] if hatch in known.index else None
        if cone is None or not (cone["nauplii"] > 0 and cone["hatching_efficiency_per_g"] > 0):
            continue
        hatched = float(cone["hatching_efficiency_per_g"] * cone["cysts_g"])
        harvested = float(total["harvested"])
        rows.append(
            (
                hatch,
                cone["lot"],
                cone["cone"],
                cone["started"],
                hatched,
                harvested,
                float(total["lost"]),
                100 * harvested / hatched,
                math.sqrt(1 / max(float(total["counted"]), 0.5) + 1 / float(cone["nauplii"])),
                total["separation"],
            )
        )
    found = pd.DataFrame(rows, columns=list(RECOVERY_COLUMNS))
    if day is not None and len(found):
        found = found[to_utc(found["at"]) <= day]
    return found.sort_values("at", kind="stable", ignore_index=True)


def harvest_totals(samples):
    """Nauplii of each hatch's harvest, as far as a part of it was counted.

    Parameters
    ----------
    samples : DataFrame
        Columns of the samples table; rows of the kind "harvest" are used, of each sample the newest revision.

    Returns
    -------
    DataFrame, indexed by hatch, in the order of ``samples``
        taken (of the last row), counted, harvested (NaN where only the time, or only the volume, was written down),
        lost (nauplii seen in what was drawn off) and separation (empty where none is named). Counts and the shares of
        the harvest that they were counted in add up, as subsamples of a cone do.

    Examples
    --------
    >>> len(hatch.harvest_totals(tables.samples))  # nobody measured a harvest in these records
    0
    """
    mine = newest_harvests(samples)
    columns = ["taken", "counted", "harvested", "lost", "separation"]
    if not len(mine):
        return pd.DataFrame(columns=columns)
    table = _with_shares(mine)
    groups = table.groupby("hatch", sort=False)
    sums = table[table["share"].notna() & table["nauplii"].notna()].groupby("hatch")[["nauplii", "share"]].sum()
    sums = sums.reindex(groups.size().index)
    found = groups.agg(taken=("taken", "last"), lost=("lost", "max"), separation=("separation", "last"))
    found["separation"] = found["separation"].fillna("").astype(str)
    return found.assign(counted=sums["nauplii"], harvested=sums["nauplii"] / sums["share"])[columns]


def newest_harvests(samples):
    """Rows of the kind "harvest", of each sample the newest revision, in the order they came."""
    mine = samples[samples["kind"] == "harvest"] if "kind" in samples else samples.iloc[:0]
    if "revision" not in mine or mine.empty:
        return mine
    order = pd.to_numeric(mine["revision"], errors="coerce").fillna(0).sort_values(kind="stable").index
    return mine.loc[order].drop_duplicates("sample", keep="last").sort_index()


def recovery_of(samples, cones, settings, *, day=None):
    """The recovery that a dose rests on: measured from five harvests on, the site's setting before.

    Parameters
    ----------
    samples, cones, day
        As for :func:`harvest_recovery`.
    settings : settings.Settings
        ``feed.recovery_pct`` is the assumed one.

    Returns
    -------
    Recovery

    Examples
    --------
    >>> hatch.recovery_of(tables.samples, cones, tables.settings).n_harvests
    0
    """
    table = harvest_recovery(samples, cones, day=day)
    good = table[table["recovery_pct"] > 0].iloc[-_WINDOW:]
    odd = _hardly_can_be(good["recovery_pct"].astype(float))
    good, n_left_out = good[~odd], int(odd.sum())
    if len(good) >= ENOUGH_HARVESTS:
        return replace(_measured(good), n_left_out=n_left_out)
    share = settings.feed.recovery_pct / 100
    return Recovery(
        basis="assumed",
        pct=settings.feed.recovery_pct,
        low=math.nan,
        high=math.nan,
        log_mean=math.log(share),
        se=0.0,
        spread=0.0,
        df=math.inf,
        n_harvests=len(good),
        n_left_out=n_left_out,
        by_hatch=table,
    )


def recovery_by_cone(table, *, confidence=0.95):
    """Recovery of each cone with its interval over harvests.

    Parameters
    ----------
    table : DataFrame
        From :func:`harvest_recovery`.
    confidence : float

    Returns
    -------
    DataFrame, columns cone, n_harvests, recovery_pct, low, high
        Student's interval on the log scale with the spread of all cones together, so that two harvests of a cone are
        enough; NaN bounds where the whole room has fewer than three.

    Examples
    --------
    >>> hatch.recovery_by_cone(hatch.harvest_recovery(tables.samples, cones)).columns.tolist()
    ['cone', 'n_harvests', 'recovery_pct', 'low', 'high']
    """
    columns = ["cone", "n_harvests", "recovery_pct", "low", "high"]
    good = table[table["recovery_pct"] > 0]
    if not len(good):
        return pd.DataFrame(columns=columns)
    log_share = np.log(good["recovery_pct"].astype(float))
    groups = log_share.groupby(good["cone"])
    df = len(good) - groups.ngroups
    spread = math.sqrt(float(((log_share - groups.transform("mean")) ** 2).sum()) / df) if df > 0 else math.nan
    rows = []
    for cone, mine in groups:
        reach = student_quantile(confidence, df) * spread / math.sqrt(len(mine)) if df > 1 else math.nan
        middle = float(mine.mean())
        rows.append((cone, len(mine), *(math.exp(v) for v in (middle, middle - reach, middle + reach))))
    return pd.DataFrame(rows, columns=columns)


def _hardly_can_be(pct):
    """Which recoveries lie outside of what a harvest brings in; where most of five or more do, the room is so."""
    low, high = RECOVERY_PCT
    far = (pct < low) | (pct > high)
    if len(pct) >= ENOUGH_HARVESTS and far.mean() > 0.5:
        return far & (np.abs(np.log(pct / pct.median())) > math.log(_TIMES))
    return far


def _measured(table):
    log_share = np.log(table["recovery_pct"].to_numpy(float) / 100)
    n = len(log_share)
    whole, counting = float(np.var(log_share, ddof=1)), float((table["u_log"].astype(float) ** 2).mean())
    spread2 = (max(whole - counting, 0.0) * (n - 1) + _USUAL_SPREAD**2 * _SPREAD_DF) / (n - 1 + _SPREAD_DF)
    mean, se = float(log_share.mean()), math.sqrt(whole / n)
    reach = student_quantile(0.95, n - 1) * se
    pct, low, high = (100 * math.exp(v) for v in (mean, mean - reach, mean + reach))
    df = (n - 1 + _SPREAD_DF) * (spread2 / (spread2 + counting)) ** 2
    return Recovery(
        basis="measured",
        pct=pct,
        low=low,
        high=high,
        log_mean=mean,
        se=se,
        spread=math.sqrt(spread2),
        df=max(df, 3.0),
        n_harvests=n,
        by_hatch=table,
    )


def _with_shares(samples):
    """Harvest samples with the share of the whole harvest that was counted, and the nauplii lost with the purge."""

    def numbers(name):
        if name not in samples:
            return pd.Series(np.nan, index=samples.index)
        return pd.to_numeric(samples[name], errors="coerce").astype("float64")

    by_volume = numbers("volume_ul") / numbers("dilution").fillna(1.0) / 1000 / numbers("harvest_ml")
    by_mass = numbers("mass_g") / numbers("dilution").fillna(1.0) / numbers("harvest_g")
    out = pd.DataFrame({"hatch": samples["hatch"], "taken": samples.get("taken"), "nauplii": numbers("nauplii")})
    out["share"] = by_volume.where(by_volume.notna(), by_mass)
    out["lost"] = numbers("lost_nauplii")
    out["separation"] = samples.get("separation")
    return out
