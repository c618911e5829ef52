"""Levels of lots, cones, operators, counters and days in one hierarchical model, with the spread of each.

On a working scale (logit for shares, log for nauplii per gram, the unit itself for water) a hatch is

    level of its lot + cone + operator + way of counting + day + its own luck + counting,

where lots are unknown levels, cones, operators and ways of counting vary about nothing with a spread of their own, and
days remember the day before. Spreads are estimated by restricted maximum likelihood with weak priors, so that three
cones or ten days cannot claim to know them. Everything else (levels, standing differences, the search for changes, the
judging of single hatches) is least squares with this covariance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from qckit.charts.level_parts import FACTORS, Parts
from qckit.charts.precision import Precision
from qckit.charts.tails import tail_df

__all__ = ["LevelData", "LevelModel", "Priors", "Spreads", "fit_levels"]

_FARTHEST = 3.5  # standard deviations beyond which a hatch is drawn in before spreads are estimated


@dataclass(frozen=True, kw_only=True)
class Priors:
    """Weak priors of the spreads on the working scale: the value thought likeliest, and its spread in logs.

    The own luck is left to the data. Shares of facts.md do not reach here: they are assumptions, stated on the page.

    Examples
    --------
    >>> charts.Priors().residual
    0.2
    """

    residual: float = 0.2
    residual_log_sd: float = 1.5
    day_share: float = 0.45  # standard deviation of days over the own one
    day_log_sd: float = 0.7
    day_to_day: float = 0.3  # correlation from one day to the next
    day_to_day_logit_sd: float = 1.0
    most_day_to_day: float = 0.6  # what lasts longer than some days is a change, not a day
    group_share: float = 0.5  # standard deviation between cones (operators, counters) over the own one
    group_log_sd: float = 0.6
    falls: float = 0.9  # share of a search's chance that falls have: what goes wrong in a hatch room lowers the hatch
    season: float = 0.0  # standard deviation of a yearly swing, in the unit; 0: none is expected


@dataclass(frozen=True, kw_only=True)
class Spreads:
    """Estimated standard deviations on the working scale.

    Examples
    --------
    >>> charts.Spreads(residual=0.2, day=0.1, day_to_day=0.3).cone
    0.0
    """

    residual: float
    day: float
    day_to_day: float
    cone: float = 0.0
    operator: float = 0.0
    counted_by: float = 0.0
    season: float = 0.0


@dataclass(frozen=True)
class Weighed:
    """The part of a model that a search reads: P y, P and the variance of the hatches."""

    weighed: np.ndarray
    parts: Precision
    variance: np.ndarray


@dataclass(frozen=True, kw_only=True)
class LevelModel:
    """A fitted model: what is left of each hatch, and how surely anything can be said of groups of them.

    ``weighed`` is P y, ``parts`` what P is made of and ``precision`` P whole, where P = V^-1 - V^-1 X (X' V^-1 X)^-1 X'
    V^-1: for any column x, the best estimate of its coefficient is x' P y / x' P x with variance 1 / x' P x.

    Examples
    --------
    >>> y = np.random.default_rng(1).normal(0.0, 0.3, 40)
    >>> cones = {"cone": np.tile(["A", "B"], 20)}
    >>> data = charts.LevelData(y=y, counting=np.full(40, 0.02), day=np.arange(40), factors=cones)
    >>> model = charts.fit_levels(data, fixed=())
    >>> len(model.fitted)
    40
    """

    columns: list  # (factor, level) of each column of the design
    coefficients: np.ndarray
    covariance: np.ndarray
    spreads: Spreads
    weighed: np.ndarray
    parts: Precision
    fitted: np.ndarray  # levels without the day
    variance: np.ndarray  # of a hatch about its level: counting, own, day
    fitted_variance: np.ndarray  # of the level
    n_days: int
    df: float  # degrees of freedom that the spreads rest on
    df_all: float  # of what touches whole days: how many independent days tell it
    left: np.ndarray = field(default_factory=lambda: np.empty(0))  # observed minus level, not drawn in
    last_column: np.ndarray = field(default_factory=lambda: np.empty(0))  # P x of the last column, P without it
    theta: np.ndarray = field(default_factory=lambda: np.empty(0))  # the spreads as they were searched
    deviance: float = math.nan  # minus twice the log of restricted likelihood and priors, to weigh models of the same y

    def estimate(self, x) -> tuple[float, float]:
        """Coefficient of a further column and its standard error (infinite where the design holds it already)."""
        px = self.parts.times(x)
        information = float(x @ px)
        if information < 1e-9:
            return 0.0, math.inf
        return float(x @ self.weighed) / information, 1 / math.sqrt(information)

    def effects(self, factor: str) -> dict:
        """Levels of a factor: level -> (estimate, standard error), about their common mean."""
        at = [i for i, (f, _) in enumerate(self.columns) if f == factor]
        if not at:
            return {}
        centre = np.eye(len(at)) - 1 / len(at)
        value = centre @ self.coefficients[at]
        cov = centre @ self.covariance[np.ix_(at, at)] @ centre.T
        return {
            self.columns[i][1]: (float(v), math.sqrt(max(float(cov[k, k]), 0)))
            for k, (i, v) in enumerate(zip(at, value, strict=True))
        }

    @cached_property
    def precision(self) -> np.ndarray:
        """P, whole."""
        return self.parts.sums(np.arange(len(self.weighed)))

    @cached_property
    def tail_df(self) -> float:
        """Degrees of freedom of the t law that single hatches follow."""
        return tail_df(self.left / np.sqrt(self.variance))

    def without_last(self) -> Weighed:
        """Take the last column out of the design, the spreads as they are: undo one elimination step."""
        c, b, v = float(self.covariance[-1, -1]), float(self.coefficients[-1]), self.last_column
        return Weighed(self.weighed + v * b, self.parts.and_of(v, c), self.variance)

    def of_hatch(self) -> np.ndarray:
        """Distance of each hatch from its level in its own standard deviations, the level's uncertainty included."""
        return self.left / np.sqrt(self.variance + self.fitted_variance)


@dataclass(frozen=True, kw_only=True)
class LevelData:
    """What a model is fitted to: hatches in the order of time.

    ``y`` is on the working scale and ``counting`` the variance that counting alone gives each, shape (n,); ``day`` is
    from :func:`qckit.charts.days.day_numbers`, never falling; ``factors`` holds the level of each factor at each hatch,
    "" where it is not known.

    Examples
    --------
    >>> data = charts.LevelData(y=np.zeros(3), counting=np.ones(3), day=np.arange(3), factors={"lot": ["K"] * 3})
    >>> len(data.y)
    3
    """

    y: np.ndarray
    counting: np.ndarray
    day: np.ndarray
    factors: dict


def fit_levels(
    data: LevelData, *, extra=None, priors=None, fixed=("lot",), newcomers=(), free=(), start=None, is_searched=True
) -> LevelModel:
    """Fit the model.

    Parameters
    ----------
    data : LevelData
    extra : ndarray, shape (n, k), optional
        Columns with free coefficients: changes found so far.
    priors : Priors, optional
    fixed : tuple of str
        Factors with free levels; those of the others vary about nothing.
    newcomers : tuple of (str, str)
        (factor, level) that came late: their level does not enter the spread of their factor.
    free : collection of (str, str)
        (factor, level) that is compared with itself at other times: its level is free, as those of ``fixed`` are.
    start : ndarray, optional
        ``theta`` of a like model, to begin from.
    is_searched : bool
        False: keep the spreads of ``start`` as they are.

    Returns
    -------
    LevelModel

    Notes
    -----
    Days follow a first-order autoregression with gaps (Ornstein-Uhlenbeck), whose inverse covariance is tridiagonal,
    so that a likelihood costs O(n).

    References
    ----------
    Patterson and Thompson 1971, Biometrika 58:545-554 (restricted likelihood); Harville 1977, J. Am. Stat. Assoc.
    72:320-338 (mixed model equations); Chung et al. 2013, Psychometrika 78:685-709 (weak priors for spreads).
    Checked against statsmodels' MixedLM in the tests.

    Examples
    --------
    >>> y = np.random.default_rng(1).normal(0.0, 0.3, 40)
    >>> cones = {"cone": np.tile(["A", "B"], 20)}
    >>> data = charts.LevelData(y=y, counting=np.full(40, 0.02), day=np.arange(40), factors=cones)
    >>> model = charts.fit_levels(data, fixed=())
    >>> bool(model.spreads.residual > 0)
    True
    """
    priors = priors or Priors()
    y = np.asarray(data.y, float)
    parts = Parts(data, extra, priors=priors, fixed=fixed, newcomers=newcomers, free=free)
    drawn = y.copy()
    # a start of data with other factors tells nothing
    theta = start if not is_searched or start is None or len(start) == len(parts.start()) else None
    for _ in range(2):
        theta = parts.search(drawn, theta) if is_searched else theta
        solved = parts.solved(drawn, theta)
        reach = _FARTHEST * np.sqrt(solved.variance)
        gap = y - solved.fitted
        drawn_now = np.where(np.abs(gap) > reach, solved.fitted + np.sign(gap) * reach, y)
        if np.allclose(drawn_now, drawn):
            break
        drawn, solved = drawn_now, None
    return _model(parts, solved or parts.solved(drawn, theta), y)


def _model(parts, solved, observed) -> LevelModel:
    residual, day, day_to_day, groups = parts.unpack(solved.theta)
    covariance, vx = solved.precision.covariance, solved.precision.vx
    spread = {f: groups.get(f, 0.0) for f in FACTORS}
    share = day**2 / (residual**2 + day**2)
    n_effective = parts.n_days * (1 + (parts.n / parts.n_days - 1) * (1 - share))
    df = max(4.0, n_effective - parts.x.shape[1])
    return LevelModel(
        columns=parts.names,
        coefficients=solved.beta,
        covariance=covariance,
        spreads=Spreads(residual=residual, day=day, day_to_day=day_to_day, season=parts.priors.season, **spread),
        weighed=solved.vy - vx @ solved.beta,
        parts=solved.precision,
        fitted=solved.fitted,
        variance=solved.variance,
        fitted_variance=((parts.x @ covariance) * parts.x).sum(axis=1),
        n_days=parts.n_days,
        df=df,
        df_all=parts.df_all(residual, day, day_to_day, df),
        left=observed - solved.fitted,
        # P x of the last column where P leaves it out
        last_column=vx @ covariance[:, -1] / covariance[-1, -1],
        theta=solved.theta,
        deviance=parts.deviance(solved.theta, np.vstack([parts.x.T, solved.y])),
    )
