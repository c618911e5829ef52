"""Average run lengths: after how many points a chart signals, by chance alone or after a shift.

Rules are followed by a Markov chain; where rules look at rising or alternating values, by the integral equation over
the last value (:mod:`qckit.charts.run_chain`); EWMA and CUSUM by their integral equations. Nothing is simulated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from qckit.charts.baseline import estimate_nodes
from qckit.charts.rules import RULES
from qckit.charts.run_chain import StepChain, build_chain, build_marks
from qckit.errors import InputError, unknown_name

__all__ = ["RunLength", "cusum_decision", "cusum_run_length", "ewma_run_length", "ewma_width", "run_length"]


@dataclass(frozen=True)
class RunLength:
    """Mean number of points to the first signal.

    Examples
    --------
    >>> charts.run_length(("beyond_3",)).method
    'Markov chain'
    """

    mean: float
    marked: float  # share of points that are marked: a pattern that lasts is one signal and marks every further point
    method: str  # Markov chain; integral equation
    shift: float = 0.0
    n_points: int = 0  # of the baseline that was allowed for; 0 when limits are taken as known

    @property
    def sentence(self) -> str:
        """The run length in words."""
        if self.shift:
            return f"a shift of {self.shift:g} standard deviations is seen after about {self.mean:.3g} hatches"
        return f"chance alone signals about once in {self.mean:.0f} hatches"


def run_length(rules, *, shift=0.0, reach=None, n_points=None, df=None) -> RunLength:
    """Average run length of a combination of rules on independent normal points.

    Parameters
    ----------
    rules : iterable of str
        Codes of :data:`qckit.charts.rules.RULES`.
    shift : float
        Mean of the points in standard deviations from the centre line.
    reach : dict, optional
        Rule code -> dict with ``k`` or ``window``, in place of the textbook figures (``Limits.reach``).
    n_points, df : int, float, optional
        Points of the baseline and degrees of freedom of its spread. Left out, centre and spread are taken as known.
        Given, the answer is 1 / (mean signals per hatch, over the baselines chance could have given, each signal
        beginning a new search): what a site with such limits sees in the long run.

    Returns
    -------
    RunLength

    Raises
    ------
    InputError
        No rule, an unknown rule, or rules that together have to remember too much.

    References
    ----------
    Champ and Woodall 1987, Technometrics 29:393-399 (zones); runs up and down: the number of permutations without such
    a run, checked against its closed form for runs of three (Andre 1881, from memory).

    Examples
    --------
    >>> round(charts.run_length(("beyond_3",)).mean, 1)
    370.4
    """
    rules = tuple(dict.fromkeys(rules))
    if not rules:
        raise InputError("rules: no rule was given, and a chart without rules never signals. Name at least one.")
    for code in rules:
        if code not in RULES:
            raise unknown_name("rule", code, RULES)
    reach_key = tuple(sorted((c, tuple(sorted(v.items()))) for c, v in (reach or {}).items() if c in rules))
    known = n_points is None or df is None or not math.isfinite(df)
    what = (rules, reach_key, float(shift), None if known else (int(n_points), round(float(df), 3)))
    mean, method = _mean(*what)
    return RunLength(mean, _marked(*what), method, float(shift), 0 if known else int(n_points))


@lru_cache(maxsize=256)
def _mean(rules, reach_key, shift, estimated):
    chain = build_chain(rules, {code: dict(values) for code, values in reach_key})
    method = "integral equation" if isinstance(chain, StepChain) else "Markov chain"
    edges = np.array(chain.edges)
    if estimated is None:
        return float(chain.mean(edges[None, :], np.array([shift]))[0]), method
    nodes = 9 if chain.n_states < 300 else 5  # 5 agree with 9 to 2 in 1000 from 25 points on, 7 in 1000 at 15
    error, ratio, weight = estimate_nodes(*estimated, halved=shift == 0, nodes=nodes)
    lengths = chain.mean(edges[None, :] * ratio[:, None], shift - error)
    return float(1 / np.sum(weight / lengths)), method


@lru_cache(maxsize=256)
def _marked(rules, reach_key, shift, estimated):
    chain = build_marks(rules, {code: dict(values) for code, values in reach_key})
    edges = np.array(chain.edges)
    if estimated is None:
        return float(chain.rate(edges[None, :], np.array([shift]))[0])
    error, ratio, weight = estimate_nodes(*estimated, halved=shift == 0)
    return float(np.sum(weight * chain.rate(edges[None, :] * ratio[:, None], shift - error)))


def ewma_run_length(weight, width, *, shift=0.0, nodes=120) -> float:
    """Average run length of an EWMA chart with steady limits, from its start at the centre.

    Parameters
    ----------
    weight, width : float
        As for :func:`qckit.charts.ewma_cusum.ewma_chart`.
    shift : float
        Mean of the points in standard deviations.
    nodes : int
        Gauss-Legendre points of the integral equation.

    Returns
    -------
    float

    References
    ----------
    Integral equation: Crowder 1987, Technometrics 29:401-407. Values: Lucas and Saccucci 1990, Technometrics 32:1-12.

    Examples
    --------
    >>> round(charts.ewma_run_length(0.2, 3.0))
    560
    """
    if not 0 < weight <= 1:
        raise InputError(f"weight is {weight:g} and must lie above 0 and at most 1, such as 0.2. Correct it.")
    half = width * math.sqrt(weight / (2 - weight))
    x, w = np.polynomial.legendre.leggauss(nodes)
    x, w = half * x, half * w

    def kernel(start):
        return _normal((x[None, :] - (1 - weight) * np.atleast_1d(start)[:, None]) / weight - shift) / weight * w

    lengths = np.linalg.solve(np.eye(nodes) - kernel(x), np.ones(nodes))
    return float(1 + kernel(0.0)[0] @ lengths)


def cusum_run_length(slack, decision, *, shift=0.0, sides=2, nodes=80) -> float:
    """Average run length of a CUSUM chart that starts at zero.

    Parameters
    ----------
    slack, decision : float
        k and h in standard deviations.
    shift : float
        Mean of the points in standard deviations.
    sides : int
        1 (high side only) or 2.
    nodes : int
        Gauss-Legendre points of the integral equation.

    Returns
    -------
    float

    References
    ----------
    Page 1954, Biometrika 41:100-115; two sides by 1/L = 1/L_high + 1/L_low (Kemp 1961, from memory), exact when a
    signal on one side leaves the other at zero.

    Examples
    --------
    >>> round(charts.cusum_run_length(0.5, 5.0))
    465
    """
    high = _one_sided(slack, decision, shift, nodes)
    if sides == 1:
        return high
    return 1 / (1 / high + 1 / _one_sided(slack, decision, -shift, nodes))


@lru_cache(maxsize=256)
def ewma_width(weight, n_points, df, *, every=370.4) -> float:
    """Width of EWMA limits with which chance alone signals once in so many points, centre and spread being estimates.

    Parameters
    ----------
    weight : float
    n_points : int
        Of the baseline.
    df : float
        Degrees of freedom of its spread.
    every : float
        1 / (mean signals per point, over the baselines chance could have given).

    Returns
    -------
    float
        In estimated standard deviations of the average.

    Examples
    --------
    >>> round(charts.ewma_width(0.2, 1000, 999), 1)
    2.9
    """

    def found(width, error, ratio):
        return ewma_run_length(weight, width * ratio, shift=-error, nodes=100)

    return _border(found, n_points, df=df, every=every, low=2.0, high=8.0)


@lru_cache(maxsize=256)
def cusum_decision(slack, n_points, df, *, every=370.4) -> float:
    """Decision height of a two-sided CUSUM; as :func:`ewma_width`.

    Examples
    --------
    >>> round(charts.cusum_decision(0.5, 1000, 999), 1)
    4.8
    """

    def found(decision, error, ratio):
        return cusum_run_length(slack * ratio, decision * ratio, shift=-error, nodes=60)

    return _border(found, n_points, df=df, every=every, low=2.0, high=25.0)


def _border(length, n_points, df, every, low, high):
    from scipy.optimize import brentq

    if math.isfinite(df):
        nodes = list(zip(*estimate_nodes(n_points, df, halved=True, nodes=5), strict=True))
    else:
        nodes = [(0.0, 1.0, 1.0)]

    def excess(border):
        rates = [(length(border, e, r), w) for e, r, w in nodes]
        # beyond 1e12 the linear equations no longer tell one run length from another: such a baseline never signals
        return math.log(max(sum(w / found for found, w in rates if 0 < found < 1e12) * every, 1e-12))

    return float(brentq(excess, low, high, xtol=1e-3))


def _one_sided(slack, decision, shift, nodes):
    from scipy.special import ndtr

    x, w = np.polynomial.legendre.leggauss(nodes)
    x, w = decision * (x + 1) / 2, decision * w / 2
    points = np.concatenate([[0.0], x])
    chance = np.empty((nodes + 1, nodes + 1))
    chance[:, 0] = ndtr(slack - shift - points)  # falls back to zero
    chance[:, 1:] = _normal(x[None, :] - points[:, None] + slack - shift) * w
    return float(np.linalg.solve(np.eye(nodes + 1) - chance, np.ones(nodes + 1))[0])


def _normal(x):
    return np.exp(-0.5 * x * x) / math.sqrt(2 * math.pi)
