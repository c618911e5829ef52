"""The inverse covariance of a fitted model of levels, in the parts that it is made of.

P = V^-1 - V^-1 X C X' V^-1 is never needed whole: V^-1 is one weight a hatch less what the hatches of a day share, the
rest has the rank of the design. A search asks for sums over whole days, which cost the square of the days instead of
that of the hatches.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

__all__ = ["DayInverse", "Precision"]


@dataclass(frozen=True)
class DayInverse:
    """Inverse of the days' inner matrix, from its banded factor, worked out when first asked for."""

    factor: np.ndarray  # banded, upper, shape (2, days)

    @cached_property
    def matrix(self) -> np.ndarray:
        """Inverse, shape (days, days)."""
        from scipy.linalg import cho_solve_banded

        return cho_solve_banded((self.factor, False), np.eye(self.factor.shape[1]), check_finite=False)


@dataclass(frozen=True, kw_only=True)
class Precision:
    """P of a fitted model: ``weights`` of the hatches, ``days``, ``of_day`` of each hatch, V^-1 X and C."""

    weights: np.ndarray
    days: DayInverse
    of_day: np.ndarray
    vx: np.ndarray
    covariance: np.ndarray

    def sums(self, rows, begins=None) -> np.ndarray:
        """Sums of P over runs of rows, each within one day and begun at ``begins``; left out, P of the rows itself."""
        w, vx, day = self.weights[rows], self.vx[rows], self.of_day[rows]
        total = w
        if begins is not None:
            total, vx, day = np.add.reduceat(w, begins), np.add.reduceat(vx, begins, axis=0), day[begins]
        out = -((vx @ self.covariance) @ vx.T)
        out -= self.days.matrix[np.ix_(day, day)] * (total[:, None] * total)
        out[np.diag_indices(len(total))] += total
        return out

    def times(self, x) -> np.ndarray:
        """P x."""
        wx = self.weights * x
        shared = self.days.matrix @ np.bincount(self.of_day, wx, minlength=len(self.days.matrix))
        return wx - self.weights * shared[self.of_day] - self.vx @ (self.covariance @ (self.vx.T @ x))

    def and_of(self, v, c) -> Precision:
        """P + c v v'."""
        k = len(self.covariance)
        covariance = np.zeros((k + 1, k + 1))
        covariance[:k, :k] = self.covariance
        covariance[k, k] = -c
        return replace(self, vx=np.column_stack([self.vx, v]), covariance=covariance)
