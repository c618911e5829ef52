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

from qckit.charts.days import effective_days
from qckit.charts.tails import tail_df

__all__ = ["LevelData", "LevelModel", "Priors", "Spreads", "fit_levels"]

_FARTHEST = 3.5  # standard deviations beyond which a hatch is drawn in before spreads are estimated
FACTORS = ("cone", "operator", "counted_by")


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


@dataclass(frozen=True, kw_only=True)
class LevelModel:
    """A fitted model: what is left of each hatch, and how surely anything can be said of groups of them.

    ``weighed`` is P y and ``precision`` P, where P = V^-1 - V^-1 X (X' V^-1 X)^-1 X' V^-1: for any column x, the best
    estimate of its coefficient is x' P y / x' P x with variance 1 / x' P x.

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
    precision: np.ndarray
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
        px = self.precision @ x
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
    def tail_df(self) -> float:
        """Degrees of freedom of the t law that single hatches follow."""
        return tail_df(self.left / np.sqrt(self.variance))

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
    parts = _Parts(data, extra, priors=priors, fixed=fixed, newcomers=newcomers, free=free)
    drawn = y.copy()
    # a start of data with other factors tells nothing
    theta = start if not is_searched or start is None or len(start) == len(parts.start()) else None
    for _ in range(2):
        theta = parts.search(drawn, theta) if is_searched else theta
        model = parts.model(drawn, theta)
        reach = _FARTHEST * np.sqrt(model.variance)
        gap = y - model.fitted
        drawn_now = np.where(np.abs(gap) > reach, model.fitted + np.sign(gap) * reach, y)
        if np.allclose(drawn_now, drawn):
            break
        drawn = drawn_now
    return parts.model(drawn, theta, y)


class _Parts:
    """The design and what a likelihood needs again and again."""

    def __init__(self, data, extra, *, priors, fixed, newcomers, free):
        self.counting, self.priors, self.n = np.asarray(data.counting, float), priors, len(data.y)
        day, factors = np.asarray(data.day, int), data.factors
        days, self.of_day = np.unique(day, return_inverse=True)
        self.day_of, self.gaps = days, np.diff(days).astype(float)
        self.n_days = len(days)
        columns, names = [], []
        for factor, value in factors.items():
            value = np.asarray(value, dtype=object)
            levels = sorted({str(v) for v in value if v is not None and str(v)})
            if factor not in fixed and len(levels) < 2:
                continue
            for level in levels:
                columns.append((value == level).astype(float))
                names.append((factor, level))
        if not any(f in fixed for f, _ in names):
            columns.append(np.ones(self.n))
            names.append(("all", ""))
        if priors.season:
            turn = 2 * math.pi * day / 365.25
            columns += [np.cos(turn), np.sin(turn)]
            names += [("season", "cos"), ("season", "sin")]
        for k in range(0 if extra is None else extra.shape[1]):
            columns.append(extra[:, k])
            names.append(("change", str(k)))
        self.x, self.names = np.column_stack(columns), names
        self.random = [f for f in FACTORS if any(name == f for name, _ in names) and f not in fixed]
        self.new, self.free = set(newcomers), set(free)
        self.begins = np.flatnonzero(np.concatenate([[True], np.diff(self.of_day) > 0]))
        self.middle = _logit(priors.day_to_day / priors.most_day_to_day)

    def start(self):
        p = self.priors
        log_residual = math.log(p.residual)
        ratio = [math.log(p.group_share)] * len(self.random)
        return np.array([log_residual, math.log(p.day_share), self.middle, *ratio])

    def prior(self, theta):
        """Minus twice the log of the priors."""
        p = self.priors
        residual, day, day_to_day, *groups = theta
        total = ((residual - math.log(p.residual)) / p.residual_log_sd) ** 2
        total += ((day - math.log(p.day_share)) / p.day_log_sd) ** 2
        total += ((day_to_day - self.middle) / p.day_to_day_logit_sd) ** 2
        return total + sum(((g - math.log(p.group_share)) / p.group_log_sd) ** 2 for g in groups)

    def unpack(self, theta):
        residual = math.exp(min(theta[0], 20.0))
        day = residual * math.exp(min(theta[1], 5.0))
        day_to_day = self.priors.most_day_to_day / (1 + math.exp(-max(min(theta[2], 5.0), -8.0)))
        groups = {f: residual * math.exp(min(g, 5.0)) for f, g in zip(self.random, theta[3:], strict=True)}
        return residual, day, day_to_day, groups

    def penalty(self, groups, *, free_new):
        """Prior precision of each coefficient; newcomers may be left free."""
        out = np.zeros(len(self.names))
        for i, (factor, level) in enumerate(self.names):
            if factor == "season":
                out[i] = 1 / self.priors.season**2
            elif (factor, level) in self.free or (free_new and (factor, level) in self.new):
                continue
            elif factor in groups:
                out[i] = 1 / groups[factor] ** 2
        return out

    def days(self, residual, day, day_to_day):
        """Weights of the hatches, the factor of the days' inner matrix, and log |V| but for the weights."""
        from scipy.linalg.lapack import dpbtrf

        w = 1 / (self.counting + residual**2)
        r = day_to_day**self.gaps
        inner = np.zeros((2, self.n_days))
        shrink = 1 / (1 - r**2)
        inner[1] = 1 / day**2 + np.add.reduceat(w, self.begins)
        inner[1, 1:] += r**2 * shrink / day**2
        inner[1, :-1] += r**2 * shrink / day**2
        inner[0, 1:] = -r * shrink / day**2
        chol, _ = dpbtrf(inner)
        log_det = -float(np.log(w).sum()) + 2 * float(np.log(chol[1]).sum())
        log_det += 2 * self.n_days * math.log(day) + float(np.log(1 - r**2).sum())
        return w, chol, log_det

    def solve(self, w, chol, right):
        """V^-1 times the columns of ``right``."""
        from scipy.linalg.lapack import dpbtrs

        wr = w[:, None] * right
        inside, _ = dpbtrs(chol, np.add.reduceat(wr, self.begins, axis=0))
        return wr - w[:, None] * inside[self.of_day]

    def deviance(self, theta, both):
        """Minus twice the restricted log likelihood and the log priors; ``both`` is the design with y behind it."""
        from scipy.linalg.lapack import dpbtrs

        residual, day, day_to_day, groups = self.unpack(theta)
        w, chol, log_det = self.days(residual, day, day_to_day)
        wr = w[:, None] * both
        folded = np.add.reduceat(wr, self.begins, axis=0)
        inside, _ = dpbtrs(chol, folded)
        cross = both.T @ wr - folded.T @ inside
        penalty = self.penalty(groups, free_new=True)
        inner = cross[:-1, :-1] + np.diag(penalty + 1e-9)
        try:
            factor = np.linalg.cholesky(inner)
            b = np.linalg.solve(factor, cross[:-1, -1])
        except np.linalg.LinAlgError:
            return 1e12
        total = log_det + 2 * float(np.log(np.diag(factor)).sum()) - float(np.log(penalty[penalty > 0]).sum())
        return total + float(cross[-1, -1] - b @ b) + self.prior(theta)

    def search(self, y, theta):
        from scipy.optimize import minimize

        start = self.start() if theta is None else theta
        if theta is None:
            rough = y - self.x @ np.linalg.lstsq(self.x, y, rcond=None)[0]
            size = float(np.median(np.abs(rough))) / 0.6745
            start[0] = math.log(max(size * 0.8, 1e-4))
        found = minimize(
            self.deviance,
            start,
            args=(np.column_stack([self.x, y]),),
            method="Nelder-Mead",
            options={
                "xatol": 0.04,
                "fatol": 0.04,
                "maxfev": 250,
                "initial_simplex": _simplex(start, 0.5 if theta is None else 0.2),
            },
        )
        return found.x

    def df_all(self, residual, day, day_to_day, df) -> float:
        """Degrees of freedom of a change of whole days, by Satterthwaite's rule.

        A mean of days has the variance day^2 (1 + r) / (1 - r): its logarithm is unsure by 2 / df of the spread and,
        by the delta method, by (2 / (1 - r^2))^2 var(r), where r is known from so many days and from its prior.
        """
        prior = self.priors
        r_sd = prior.most_day_to_day / 4 * prior.day_to_day_logit_sd  # steepest slope of the logistic curve
        r_variance = 1 / (self.n_days / (1 - day_to_day**2) + 1 / r_sd**2)
        spread = max(4.0, effective_days(self.day_of, day_to_day) - 2)
        df_days = 2 / (2 / spread + (2 / (1 - day_to_day**2)) ** 2 * r_variance)
        of_days = day**2 * (1 + day_to_day) / (1 - day_to_day)  # variance of a long mean, times its days
        of_residual = (residual**2 + float(self.counting.mean())) * self.n_days / self.n
        return (of_days + of_residual) ** 2 / (of_days**2 / df_days + of_residual**2 / df)

    def model(self, y, theta, observed=None) -> LevelModel:
        from scipy.linalg import cho_solve_banded

        residual, day, day_to_day, groups = self.unpack(theta)
        w, chol, _ = self.days(residual, day, day_to_day)
        both = self.solve(w, chol, np.column_stack([self.x, y]))
        vx, vy = both[:, :-1], both[:, -1]
        covariance = np.linalg.pinv(self.x.T @ vx + np.diag(self.penalty(groups, free_new=False)), hermitian=True)
        beta = covariance @ (self.x.T @ vy)
        inverse = cho_solve_banded((chol, False), np.eye(self.n_days), check_finite=False)
        precision = -(w[:, None] * inverse[np.ix_(self.of_day, self.of_day)] * w[None, :])
        precision[np.diag_indices(self.n)] += w
        precision -= vx @ covariance @ vx.T
        fitted = self.x @ beta
        # P x of the last column where P leaves it out: vx @ covariance[:, -1] / covariance[-1, -1]
        last = vx @ covariance[:, -1] / covariance[-1, -1]
        variance = self.counting + residual**2 + day**2
        spread = {f: groups.get(f, 0.0) for f in FACTORS}
        left = (y if observed is None else observed) - fitted
        share = day**2 / (residual**2 + day**2)
        n_effective = self.n_days * (1 + (self.n / self.n_days - 1) * (1 - share))
        return LevelModel(
            columns=self.names,
            coefficients=beta,
            covariance=covariance,
            spreads=Spreads(residual=residual, day=day, day_to_day=day_to_day, season=self.priors.season, **spread),
            weighed=vy - vx @ beta,
            precision=precision,
            fitted=fitted,
            variance=variance,
            fitted_variance=np.einsum("ij,jk,ik->i", self.x, covariance, self.x),
            n_days=self.n_days,
            df=max(4.0, n_effective - self.x.shape[1]),
            df_all=self.df_all(residual, day, day_to_day, max(4.0, n_effective - self.x.shape[1])),
            left=left,
            last_column=last,
            theta=theta,
            deviance=self.deviance(theta, np.column_stack([self.x, y])),
        )


def _logit(p):
    return math.log(p / (1 - p))


def _simplex(start, size):
    step = np.full(len(start), size)
    return np.vstack([start, *(start + np.eye(len(start)) * step)])
