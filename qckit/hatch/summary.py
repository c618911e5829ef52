"""One lot's test in figures: mean and SD over cones, intervals that treat cones as replicates, the two witnesses."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from qckit.errors import InputError
from qckit.hatch.intervals.estimates import Estimate, normal_quantile, student_quantile
from qckit.hatch.intervals.over_cones import proportion_over_cones, rate_over_cones
from qckit.hatch.intervals.plain import score_bounds
from qckit.hatch.notes import Note
from qckit.hatch.registry import METRICS
from qckit.words import number

__all__ = [
    "SUMMARY_COLUMNS",
    "LotSummary",
    "Witnesses",
    "compare_witnesses",
    "summarise_cones",
]

SUMMARY_COLUMNS = ("metric", "label", "value", "low", "high", "sd", "n_cones", "unit", "decimals", "method", "note")


_FOUR_OF_FIVE = 1 + 0.8416 / 1.96  # of an interval's reach: with the normal quantile of 80 % power


@dataclass(frozen=True)
class Witnesses:
    """Nauplii against empty shells: every nauplius leaves one shell.

    Examples
    --------
    >>> newest, _earlier = hatch.latest_test(cones, "K-118")
    >>> isinstance(hatch.compare_witnesses(newest).verdict, str)
    True
    """

    nauplii: float
    shells: float
    ratio: float  # shells / nauplii
    ratio_low: float
    ratio_high: float
    p_value: float
    dispersion: float
    verdict: str  # agree, fewer shells, more shells, unknown
    sentence: str


@dataclass(frozen=True)
class LotSummary:
    """A lot's figures; each an :class:`Estimate` over cones.

    Examples
    --------
    >>> newest, _earlier = hatch.latest_test(cones, "K-118")
    >>> summary = hatch.summarise_cones(newest)
    >>> summary.n_cones, sorted(summary.estimates)[:2]
    (3, ['full_cysts_per_g', 'hatch_pct'])
    """

    lot: str
    cones: pd.DataFrame = field(repr=False)  # rows of cone_metrics that went in
    n_cones: int
    n_subsamples: int
    witnesses: Witnesses
    pooled_hatch_pct: float  # all counts of all cones together
    estimates: dict[str, Estimate]  # metric -> its estimate; also as attributes, such as ``summary.hatch_pct``
    notes: tuple[Note, ...] = ()

    def __getattr__(self, name: str) -> Estimate:
        if name in METRICS:
            return self.estimates[name]
        raise AttributeError(f"LotSummary has no {name!r}; its figures are {', '.join(METRICS)}")

    def to_frame(self) -> pd.DataFrame:
        """Return a tidy table, one row per metric, columns ``SUMMARY_COLUMNS``."""
        rows = []
        for name, m in METRICS.items():
            e = self.estimates[name]
            rows.append((name, m.label, e.value, e.low, e.high, e.sd, e.n_cones, m.unit, m.decimals, e.method, e.note))
        return pd.DataFrame(rows, columns=list(SUMMARY_COLUMNS))


def summarise_cones(cones, *, lot=None, confidence=0.95, spread=None, measure=None, detection_u=None):
    """Summarise rows of ``cone_metrics`` as one lot.

    Parameters
    ----------
    cones : DataFrame, shape (k, len(CONE_COLUMNS))
    lot : str, optional
        Name; taken from the rows when left out.
    confidence : float
    spread : Spread, optional
        The site's own between-cone spread.
    measure : settings.MeasureSettings, optional
        Uncertainty of volumes and mass, common to all cones; widens the per-gram figures.
    detection_u : dict, optional
        Relative standard uncertainty of the share found of "nauplius" and "cyst", from a check of the counter against
        hand counts; widens the hatching percentage and the per-gram figures.

    Returns
    -------
    LotSummary
        With no counted cone every figure is NaN and its note says so.

    Examples
    --------
    >>> newest, _earlier = hatch.latest_test(cones, "K-118")
    >>> figure = hatch.summarise_cones(newest).estimates["hatch_pct"]
    >>> bool(figure.low < figure.value < figure.high)
    True
    """
    names = sorted(set(cones["lot"])) if len(cones) else []
    if len(names) > 1:
        raise InputError(f"cones of {len(names)} lots ({', '.join(names)}) cannot be summarised as one. Choose one.")
    lot = lot if lot is not None else (names[0] if names else "")
    full = cones["full_cysts"]
    nauplii = cones["nauplii"].where(full.notna())  # of cones counted in full, as the denominator is
    estimates = {}
    for name, metric in METRICS.items():
        options = {"confidence": confidence, "spread": spread if metric.has_site_spread else None}
        uncertainty = {"measure": measure, "detection_u": detection_u or {}}
        estimates[name] = _estimate(metric, cones, estimates, options, **uncertainty)
    return LotSummary(
        lot=lot,
        cones=cones,
        n_cones=len(cones),
        n_subsamples=int(cones["n_subsamples"].sum()) if len(cones) else 0,
        estimates=estimates,
        witnesses=compare_witnesses(cones, confidence=confidence),
        pooled_hatch_pct=100 * nauplii.sum() / full.sum() if full.sum() > 0 else math.nan,
        notes=_notes_of(cones),
    )


def _estimate(metric, cones, estimates, options, *, measure, detection_u):
    """Estimate one metric over cones, as its record says."""
    if metric.interval == "constant":
        found = _times(estimates[metric.of], cones, metric)
        return widen(found, getattr(measure, metric.constant_u) / 100 if measure and metric.constant_u else 0.0)
    if metric.interval == "rate":
        found = rate_over_cones(cones[metric.part], 1 / cones["factor_per_g"].astype(float), **options)
        return widen(found, math.hypot(measuring_uncertainty(measure, cones), detection_u.get("nauplius", 0.0)))
    found = proportion_over_cones(cones[metric.part], cones[metric.whole], **options)
    if metric.is_detected:
        found = widen_share(found, math.hypot(*(detection_u.get(stage, 0.0) for stage in ("nauplius", "cyst"))))
    return found.scaled(100)


def _notes_of(cones):
    """The notes of all cones, each with its cone and once."""
    found: list[Note] = []
    for cone, notes in zip(cones["cone"], cones["notes"]):
        new = (replace(note, cone=str(cone)) for note in notes)
        found += [note for note in new if note not in found]
    return tuple(found)


def compare_witnesses(cones, *, confidence=0.95):
    """Test whether nauplii and empty shells tell the same story.

    Given N + S, N is binomial with one half when each nauplius left one shell and both were seen; the spread
    between cones widens it (Pearson dispersion, never below 1).

    Parameters
    ----------
    cones : DataFrame, shape (k, any)
        Columns shell_nauplii (nauplii of the subsamples in which shells were counted), shells.
    confidence : float
        The witnesses disagree when the interval of shells / nauplii leaves out 1.

    Returns
    -------
    Witnesses

    References
    ----------
    Conditional test of two Poisson counts: Przyborowski and Wilenski 1940, Biometrika 31:313-323 (from memory).

    Examples
    --------
    >>> newest, _earlier = hatch.latest_test(cones, "K-118")
    >>> bool(0 < hatch.compare_witnesses(newest).p_value <= 1)
    True
    """
    from scipy.special import ndtr, stdtr  # scipy.stats takes a second to import

    n, s = cones["shell_nauplii"].to_numpy(float), cones["shells"].to_numpy(float)
    good = np.isfinite(n) & np.isfinite(s) & (n + s > 0)
    n, s = n[good], s[good]
    if not len(n) or n.sum() == 0:
        return Witnesses(*[math.nan] * 7, "unknown", "Shells were not counted, so the second witness is silent.")
    total, share = n + s, s.sum() / (n + s).sum()
    factor, df = 1.0, math.inf
    if len(n) > 1:
        pearson = float(np.sum((s - share * total) ** 2 / total) / max(share * (1 - share), 1e-12))
        df = len(n) - 1
        factor = max(1.0, pearson / df)
    quantile = normal_quantile(confidence) if factor == 1 else student_quantile(confidence, df)
    z2, big = factor * quantile**2, total.sum()
    low, high = score_bounds(share, big, z2)
    low, high = max(0.0, low), min(1 - 1e-12, high)
    score = abs(share - 0.5) / math.sqrt(factor * 0.25 / big)
    p = float(2 * (ndtr(-score) if factor == 1 else stdtr(df, -score)))
    ratio, bounds = float(s.sum() / n.sum()), (float(low / (1 - low)), float(high / (1 - high)))
    verdict = "fewer shells" if bounds[1] < 1 else "more shells" if bounds[0] > 1 else "agree"
    return Witnesses(
        nauplii=float(n.sum()),
        shells=float(s.sum()),
        ratio=ratio,
        ratio_low=bounds[0],
        ratio_high=bounds[1],
        p_value=p,
        dispersion=factor,
        verdict=verdict,
        sentence=_witness_sentence(verdict, n.sum(), s.sum(), ratio, bounds),
    )


def _witness_sentence(verdict, n, s, ratio, bounds):
    statement = (
        f"{number(s)} empty shells stand against {number(n)} nauplii ({ratio:.2f}, {bounds[0]:.2f} to {bounds[1]:.2f})"
    )
    if verdict == "agree":
        missed = 100 * ((bounds[1] / ratio) ** _FOUR_OF_FIVE - 1) if ratio > 0 else math.nan
        size = f"; a difference of {missed:.0f} % would have shown in four of five such counts"
        return f"{statement}: the two witnesses agree within chance{size if math.isfinite(missed) else ''}."
    if verdict == "fewer shells":
        return (
            f"{statement}: fewer shells than hatched nauplii should have left. Shells float up, stick to the cone, "
            "dissolve when bleach was used, or pale ones are missed in photos."
        )
    return (
        f"{statement}: more shells than nauplii. Nauplii died or were lost, gathered in a light gradient, or the "
        "product held empty shells before hatching."
    )


def measuring_uncertainty(measure, cones):
    """Relative standard uncertainty of the factor that all cones share (first order, JCGM 100:2008, 5.1.2)."""
    if measure is None:
        return 0.0
    mass = float(cones["cysts_g"].mean()) if len(cones) else math.nan
    parts = [measure.cone_volume_u_pct / 100, measure.subsample_volume_u_pct / 100, measure.dilution_u_pct / 100]
    parts.append(measure.mass_u_g / mass if mass > 0 else 0.0)
    return math.hypot(*parts)


def widen(estimate: Estimate, relative_u: float) -> Estimate:
    """Add a common relative standard uncertainty to an estimate's interval, on the log scale.

    Parameters
    ----------
    estimate : Estimate
        Of a positive figure.
    relative_u : float
        Relative standard uncertainty shared by all cones; 0 changes nothing.

    Returns
    -------
    Estimate
    """
    if not relative_u > 0 or not estimate.is_known or not estimate.value > 0:
        return estimate
    reach = normal_quantile(estimate.confidence) * relative_u

    def upper(bound):
        return estimate.value * math.exp(math.hypot(math.log(bound / estimate.value), reach))

    def lower(bound):
        return estimate.value / math.exp(math.hypot(math.log(estimate.value / bound), reach)) if bound > 0 else 0.0

    return replace(
        estimate,
        low=lower(estimate.low),
        high=upper(estimate.high),
        counting_low=lower(estimate.counting_low),
        counting_high=upper(estimate.counting_high),
        method=f"{estimate.method}, widened by an uncertainty of {100 * relative_u:.1f} % that all cones share",
    )


def widen_share(estimate: Estimate, logit_u: float) -> Estimate:
    """Add a common standard uncertainty to a fraction's interval, on the logit scale.

    Parameters
    ----------
    estimate : Estimate
        Of a fraction (0 to 1).
    logit_u : float
        Standard uncertainty of the logit: for detection of two stages, the root of the sum of squares of their
        relative uncertainties; 0 changes nothing.

    Returns
    -------
    Estimate
    """
    from scipy import special

    if not logit_u > 0 or not estimate.is_known or not 0 < estimate.value < 1:
        return estimate
    reach, centre = normal_quantile(estimate.confidence) * logit_u, special.logit(estimate.value)

    def moved(bound, sign):
        if not 0 < bound < 1:
            return bound
        return float(special.expit(centre + sign * math.hypot(special.logit(bound) - centre, reach)))

    return replace(
        estimate,
        low=moved(estimate.low, -1),
        high=moved(estimate.high, 1),
        counting_low=moved(estimate.counting_low, -1),
        counting_high=moved(estimate.counting_high, 1),
        method=f"{estimate.method}, widened by the counter's own uncertainty",
    )


def _times(base, cones, metric):
    """An estimate that is another one times a constant of the lot."""
    ratio = (cones[metric.name] / cones[metric.of]).astype(float)
    ratio = ratio[np.isfinite(ratio)]
    if not len(ratio):
        return Estimate(math.nan, n_cones=base.n_cones, confidence=base.confidence, note=metric.missing)
    return base.scaled(float(ratio.mean()))
