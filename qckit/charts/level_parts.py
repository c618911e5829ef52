"""The design of the model of levels and its restricted likelihood: what is worked out again and again while spreads are
searched.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from qckit.charts.days import effective_days
from qckit.charts.precision import DayInverse, Precision
from qckit.log_odds import logit

__all__ = ["FACTORS", "Parts", "Solved"]

FACTORS = ("cone", "operator", "counted_by")


@dataclass(frozen=True, kw_only=True)
class Solved:
    """Least squares at given spreads."""

    y: np.ndarray
    theta: np.ndarray
    vy: np.ndarray  # V^-1 y
    beta: np.ndarray
    fitted: np.ndarray
    variance: np.ndarray
    precision: Precision


class Parts:
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
        self.by_spread = {
            free_new: self._by_spread(set(free) | (set(newcomers) if free_new else set())) for free_new in (0, 1)
        }
        self.begins = np.flatnonzero(np.concatenate([[True], np.diff(self.of_day) > 0]))
        self.middle = logit(priors.day_to_day / priors.most_day_to_day)

    def _by_spread(self, free):
        """Columns of each factor whose levels are held by a spread."""
        out = {}
        for i, (factor, level) in enumerate(self.names):
            if factor == "season" or (factor in self.random and (factor, level) not in free):
                out.setdefault(factor, []).append(i)
        return out

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
        for factor, at in self.by_spread[free_new].items():
            out[at] = 1 / (self.priors.season if factor == "season" else groups[factor]) ** 2
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
        """Minus twice the restricted log likelihood and the log priors; ``both``: the design's columns as rows, then y.

        With the days' inner matrix R'R, V^-1 is W - W Z (R'R)^-1 Z' W: half of the solving tells the cross products.
        """
        from scipy.linalg.lapack import dpotrf, dtbtrs, dtrtrs

        residual, day, day_to_day, groups = self.unpack(theta)
        w, chol, log_det = self.days(residual, day, day_to_day)
        wr = both * w
        half, _ = dtbtrs(chol, np.add.reduceat(wr, self.begins, axis=1).T, uplo="U", trans="T", overwrite_b=True)
        cross = both @ wr.T - half.T @ half
        penalty = self.penalty(groups, free_new=True)
        inner = cross[:-1, :-1]
        inner[np.diag_indices(len(penalty))] += penalty + 1e-9
        factor, failed = dpotrf(inner, lower=True)
        if failed:
            return 1e12
        b, _ = dtrtrs(factor, cross[:-1, -1], lower=True)
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
            args=(np.vstack([self.x.T, y]),),
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

    def solved(self, y, theta) -> Solved:
        residual, day, day_to_day, groups = self.unpack(theta)
        w, chol, _ = self.days(residual, day, day_to_day)
        both = self.solve(w, chol, np.column_stack([self.x, y]))
        vx, vy = both[:, :-1], both[:, -1]
        covariance = np.linalg.pinv(self.x.T @ vx + np.diag(self.penalty(groups, free_new=False)), hermitian=True)
        beta = covariance @ (self.x.T @ vy)
        precision = Precision(weights=w, days=DayInverse(chol), of_day=self.of_day, vx=vx, covariance=covariance)
        variance = self.counting + residual**2 + day**2
        return Solved(y=y, theta=theta, vy=vy, beta=beta, fitted=self.x @ beta, variance=variance, precision=precision)


def _simplex(start, size):
    step = np.full(len(start), size)
    return np.vstack([start, *(start + np.eye(len(start)) * step)])
