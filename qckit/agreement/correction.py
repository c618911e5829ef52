"""Correct photo counts by what this camera misses and mistakes, and widen the interval by how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.agreement.rates import OUTCOMES, CountRates
from qckit.errors import InputError
from qckit.stages import STAGE_COLUMNS, STAGES
from qckit.words import plural

__all__ = ["CorrectedCounts", "correct_counts"]

_N_DRAWS = 4000
_PRIOR = 0.5  # Jeffreys: half an object per cell, so that no rate is ever taken as exactly 0 or 1
_LEAST_DETERMINANT = 1e-6  # few photos: some draws find a stage never, and say nothing of how many there are


@dataclass(frozen=True)
class CorrectedCounts:
    """Counts as they would be by hand, with bounds, for one sample (one or more photos together).

    Dictionaries run over the stages; ``hatch_pct`` is 100 N / (N + U + C).

    Examples
    --------
    >>> rates = agreement.rates_from_counts(by_hand, by_hand, n_draws=50)
    >>> agreement.correct_counts({"nauplii": 83, "umbrella": 4, "cysts": 21, "shells": 77}, rates).n_photos
    1
    """

    counted: dict
    counts: dict
    low: dict
    high: dict
    hatch_pct_counted: float
    hatch_pct: float
    hatch_pct_low: float
    hatch_pct_high: float
    n_photos: int
    confidence: float
    method: str

    def to_frame(self):
        """Return a row per stage: stage, counted, corrected, low, high."""
        import pandas as pd

        return pd.DataFrame(
            [(s, self.counted[s], self.counts[s], self.low[s], self.high[s]) for s in STAGES],
            columns=["stage", "counted", "corrected", "low", "high"],
        )


def correct_counts(counts, rates: CountRates, *, confidence=0.95, seed=11) -> CorrectedCounts:
    """Estimate what is really there from what the photo counter counted.

    Parameters
    ----------
    counts : dict of stage to int, or DataFrame with nauplii, umbrella, cysts, shells
        One sample: one photo (a dict) or all its photos (a row each).
    rates : CountRates
        From photos of this camera counted both ways.
    confidence : float
        Between 0 and 1, ends excluded.
    seed : int
        Of the drawing; the same input gives the same output.

    Returns
    -------
    CorrectedCounts
        Bounds hold the number of objects in these photos, not the spread between subsamples.

    Raises
    ------
    InputError
        A count is negative or missing, or confidence lies outside (0, 1).

    Notes
    -----
    With n objects per stage, the counts have mean M'n + b (M detection and confusion, b false finds). Matrices are
    drawn from their Dirichlet posterior, whose counts are shrunk by the spread between photos (from paired totals: by
    resampling photos); for each the equation is solved for n after adding the scatter of one counting, which is the
    multinomial one enlarged by the same spread, itself drawn (scaled inverse chi-square with photos - 1 degrees of
    freedom), since few photos say little about it. Quantiles of the draws are the bounds.

    References
    ----------
    Buonaccorsi JP (2010) Measurement Error, ch. 3 (misclassified counts); Brier SS (1980) Biometrika 67:591-596
    (Dirichlet-multinomial inflation).

    Examples
    --------
    >>> rates = agreement.rates_from_counts(by_hand, by_hand, n_draws=50)
    >>> corrected = agreement.correct_counts({"nauplii": 83, "umbrella": 4, "cysts": 21, "shells": 77}, rates)
    >>> bool(corrected.low["nauplius"] <= corrected.counts["nauplius"] <= corrected.high["nauplius"])
    True
    """
    if not 0 < confidence < 1:
        raise InputError(f"confidence is {confidence:g} and must lie between 0 and 1, such as 0.95.")
    observed = _counts_array(counts)
    rng = np.random.default_rng(seed)
    matrices, false = _draw_rates(rates, rng)
    total = observed.sum(axis=0)
    best = _solve(_smoothed(rates)[None, :, :-1], _without_false(observed, rates)[None])[0]
    noise = _draw_noise(
        np.maximum(best, 0.0), matrices, false=false * len(observed), rates=rates, n_photos=len(observed), rng=rng
    )
    drawn = np.maximum(_solve(matrices[:, :, :-1], total - false * len(observed) + noise), 0.0)
    best = np.maximum(best, 0.0)
    tail = (1 - confidence) / 2
    low, high = np.quantile(drawn, [tail, 1 - tail], axis=0)
    ratio = _hatch(drawn)
    ratio = ratio[np.isfinite(ratio)]
    bounds = np.quantile(ratio, [tail, 1 - tail]) if ratio.size else (np.nan, np.nan)
    by_stage = [dict(zip(STAGES, map(float, row))) for row in (total, best, low, high)]
    return CorrectedCounts(
        **dict(zip(("counted", "counts", "low", "high"), by_stage, strict=True)),
        hatch_pct_counted=float(_hatch(total[None])[0]),
        hatch_pct=float(_hatch(best[None])[0]),
        hatch_pct_low=float(bounds[0]),
        hatch_pct_high=float(bounds[1]),
        n_photos=len(observed),
        confidence=confidence,
        method=f"detection and confusion from {plural(rates.n_photos, 'photo')} ({rates.source})",
    )


def quick_correction(counts, rates: CountRates) -> dict:
    """What is really there by best guess, without bounds: the ``counts`` of :func:`correct_counts`, by stage."""
    observed = _counts_array(counts)
    best = _solve(_smoothed(rates)[None, :, :-1], _without_false(observed, rates)[None])[0]
    return dict(zip(STAGES, map(float, np.maximum(best, 0.0)), strict=True))


def correction_spread(counts, rates: CountRates, *, seed=11) -> dict:
    """Relative standard uncertainty, by stage, that all counts corrected by these rates share.

    Only how sure the rates are goes in, not the scatter of one counting; half the width of the middle 95 % of the logs
    over 1.96, so that a rate near 0 does not decide. 0 where nothing of a stage was counted.
    """
    observed = _counts_array(counts)
    matrices, false = _draw_rates(rates, np.random.default_rng(seed))
    drawn = _solve(matrices[:, :, :-1], observed.sum(axis=0) - false * len(observed))
    found = {}
    for i, stage in enumerate(STAGES):
        good = drawn[:, i][drawn[:, i] > 0]
        is_known = observed[:, i].sum() > 0 and len(good) > len(drawn) / 2
        low, high = np.quantile(np.log(good), [0.025, 0.975]) if is_known else (0.0, 0.0)
        found[stage] = float(high - low) / (2 * 1.959964)
    return found


def _without_false(observed, rates):
    """Totals less what the counter usually finds where nothing is."""
    return observed.sum(axis=0) - rates.false / rates.n_photos * len(observed)


def _counts_array(counts):
    """Return counts as (photos, 4) floats."""
    if hasattr(counts, "columns"):
        missing = [c for c in STAGE_COLUMNS.values() if c not in counts.columns]
        if missing:
            raise InputError(f"the counts have no column {', '.join(missing)}. Found: {', '.join(counts.columns)}.")
        observed = counts[list(STAGE_COLUMNS.values())].astype(float).to_numpy()
    else:
        observed = np.array([[float(counts.get(s, 0)) for s in STAGES]])
    if not np.isfinite(observed).all() or (observed < 0).any() or not len(observed):
        raise InputError(
            "every photo needs a count of 0 or more for each stage, to be corrected. Leave out photos "
            "that were not counted."
        )
    return observed


def _smoothed(rates):
    """Expected rates (4, 5): observed shares, or a guess of right-every-time where a stage was never seen."""
    matrix = rates.matrix
    unseen = ~np.isfinite(matrix[:, 0])
    matrix[unseen] = np.eye(len(STAGES), len(OUTCOMES))[unseen]
    return matrix


def _draw_rates(rates, rng):
    """Draw matrices (k, 4, 5) and false finds per photo (k, 4)."""
    k = _N_DRAWS
    solvable = rates.draws[np.abs(np.linalg.det(rates.draws[:, :, :-1])) > _LEAST_DETERMINANT]
    if len(solvable):
        matrices = solvable[rng.integers(0, len(solvable), k)]
    else:
        # Clustering makes the objects of a check worth fewer than they are.
        inflation = 1 + np.maximum(rates.photo_size - 1, 0) * rates.spread
        matrices = np.stack(
            [_dirichlet(rates.table[i] / inflation[i] + _cell_prior(i), k, rng) for i in range(len(STAGES))], axis=1
        )
    shape = rates.false / rates.false_spread
    false = rng.gamma(np.maximum(shape, 1e-9), 1.0, (k, len(STAGES))) * rates.false_spread / rates.n_photos
    return matrices, np.where(rates.false > 0, false, 0.0)


def _cell_prior(i):
    """Prior objects per outcome: most on the right stage, a little on each wrong one."""
    prior = np.full(len(OUTCOMES), _PRIOR / len(STAGES))
    prior[i] = _PRIOR
    return prior


def _dirichlet(weights, k, rng):
    draws = rng.gamma(np.maximum(weights, 1e-9), 1.0, (k, weights.size))
    return draws / draws.sum(axis=1, keepdims=True)


def _draw_noise(n, matrices, false, rates, n_photos, rng):
    """Scatter of one counting around its mean, (k, 4): multinomial per stage, enlarged by the spread between photos."""
    k = len(matrices)
    df = max(rates.n_photos - 1, 2)
    widen = df / rng.chisquare(df, k)
    noise = np.zeros((k, len(STAGES)))
    for i in range(len(STAGES)):
        size = 1 + max(n[i] / n_photos - 1, 0) * rates.spread[i] * widen[:, None]
        p = matrices[:, i, :]
        # multinomial scatter by its own root: independent parts less the share of their sum
        z = rng.standard_normal(p.shape) * np.sqrt(p)
        z -= p * z.sum(axis=1, keepdims=True)
        noise += np.sqrt(n[i] * size) * z[:, :-1]
    return noise + np.sqrt(false * rates.false_spread) * rng.standard_normal((k, len(STAGES)))


def _solve(matrices, totals):
    """Solve M'n = totals for n, over the first axis."""
    return np.linalg.solve(np.swapaxes(matrices, 1, 2), totals[..., None])[..., 0]


def _hatch(n):
    full = n[:, 0] + n[:, 1] + n[:, 2]
    return np.divide(100 * n[:, 0], full, out=np.full(len(n), np.nan), where=full > 0)
