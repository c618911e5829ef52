"""Two one-sided tests of a ratio (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657-680)."""

from __future__ import annotations

import math

import numpy as np

from qckit.errors import InputError

__all__ = ["paired_ratio_equivalence", "ratio_equivalence"]


def ratio_equivalence(log_ratio, se_log, df, *, low=0.8, high=1.25):
    """Two one-sided tests of a ratio on the log scale.

    Parameters
    ----------
    log_ratio, se_log : float
        Natural log of the ratio and its standard error.
    df : float
    low, high : float
        Bounds of equivalence.

    Returns
    -------
    dict
        t_low, p_low, t_high, p_high, p (the larger): equivalent at 5 % when p < 0.05, which goes with the 90 %
        interval lying inside the bounds.

    Raises
    ------
    InputError
        The standard error is not above 0.

    Examples
    --------
    >>> sorted(hatch.ratio_equivalence(0.02, 0.03, 8))[:3]
    ['p', 'p_high', 'p_low']
    """
    from scipy import stats

    if not se_log > 1e-12:  # rounding alone
        raise InputError(
            "The standard error of the log ratio is 0: ratios that do not scatter at all cannot be tested. Give values "
            "as measured, not worked out from each other."
        )
    t_low, t_high = (log_ratio - math.log(low)) / se_log, (log_ratio - math.log(high)) / se_log
    p_low, p_high = float(stats.t.sf(t_low, df)), float(stats.t.cdf(t_high, df))
    return {"t_low": t_low, "p_low": p_low, "t_high": t_high, "p_high": p_high, "p": max(p_low, p_high)}


def paired_ratio_equivalence(test, reference, *, low=0.8, high=1.25, confidence=0.95):
    """Equivalence of paired positive values by their ratio (cones run side by side, one of each lot).

    Parameters
    ----------
    test, reference : array_like of float, shape (n,)
        Pairs, n at least 2.
    low, high : float
        Bounds of equivalence.
    confidence : float
        The interval given is at ``2 confidence - 1``.

    Returns
    -------
    dict
        ratio, ratio_low, ratio_high, df and the tests of :func:`ratio_equivalence`.

    Examples
    --------
    >>> result = hatch.paired_ratio_equivalence([81.0, 79.0, 84.0, 80.0], [80.0, 81.0, 83.0, 79.0])
    >>> sorted(result)[:3]
    ['df', 'p', 'p_high']
    """
    from scipy import stats

    d = np.log(np.asarray(test, float)) - np.log(np.asarray(reference, float))
    if len(d) < 2 or not np.isfinite(d).all():
        raise InputError(
            f"{len(d)} pairs of values were given; equivalence needs two or more pairs of positive values."
        )
    se, df = float(d.std(ddof=1) / math.sqrt(len(d))), len(d) - 1
    half = stats.t.ppf(confidence, df) * se
    mean = float(d.mean())
    return {
        "ratio": math.exp(mean),
        "ratio_low": math.exp(mean - half),
        "ratio_high": math.exp(mean + half),
        "df": df,
        **ratio_equivalence(mean, se, df, low=low, high=high),
    }
