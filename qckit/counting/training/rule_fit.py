"""Fit a camera's rule to objects that people have settled.

The sum of cross-entropies plus a ridge that holds the rule near zeros, that is near the kit's own judgement. How strong
the ridge is, is chosen by leaving out one photo at a time; where no rule does better than none, there is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.camera_rule import LEAST_SPREAD, CameraRule, design, logits_of

__all__ = ["RuleExamples", "fit_rule"]

RIDGES = (300.0, 100.0, 30.0, 10.0, 3.0, 1.0)
FEWEST_PHOTOS = 2  # with fewer, none can be left out
STOP = {"maxiter": 200, "ftol": 1e-6}  # nearer to the best nothing changes that a photo left out could tell


@dataclass(frozen=True)
class RuleExamples:
    """Objects found in a photo, and what they are.

    Attributes
    ----------
    p : (n, 5) ndarray
        The kit's own judgement.
    evidence : (n, EVIDENCE) ndarray
    target : (n, 5) ndarray
        Chance of each class: 1 for what a person said; the kit's own judgement where it is only to be held.
    weight : (n,) ndarray
    """

    p: np.ndarray
    evidence: np.ndarray
    target: np.ndarray
    weight: np.ndarray

    @classmethod
    def join(cls, parts) -> RuleExamples:
        """Put those of several photos together."""
        return cls(*(np.concatenate([getattr(p, k) for p in parts]) for k in vars(parts[0])))

    @property
    def is_settled(self) -> np.ndarray:
        """Which of them a person has settled."""
        return self.weight == 1


def fit_rule(photos: list[RuleExamples]) -> CameraRule | None:
    """Fit the rule.

    Parameters
    ----------
    photos : list of RuleExamples
        One per photo.

    Returns
    -------
    CameraRule or None
        None where photos left out in turn come out no better by any rule, or there are too few to tell.
    """
    photos = [p for p in photos if p.is_settled.any()]
    if len(photos) < FEWEST_PHOTOS:
        return None
    whole = RuleExamples.join(photos)
    centre, spread = _usual(whole.evidence)
    rows = [design(p.evidence, centre, spread) for p in photos]
    costs = np.zeros(len(RIDGES))
    for i, out in enumerate(photos):
        rest = [j for j in range(len(photos)) if j != i]
        some, x = RuleExamples.join([photos[j] for j in rest]), np.concatenate([rows[j] for j in rest])
        costs += [_cost(out, rows[i], weights) for weights in _weights(some, x, RIDGES)]
    unchanged = sum(_cost(p, x, np.zeros((p.p.shape[1], x.shape[1]))) for p, x in zip(photos, rows, strict=True))
    if costs.min() >= unchanged:
        return None
    *_, weights = _weights(whole, np.concatenate(rows), RIDGES[: int(costs.argmin()) + 1])
    return CameraRule(centre, spread, weights)


def _usual(evidence: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and spread of what could be measured; 0 and 1 of what nowhere could."""
    known = ~np.isnan(evidence)
    n = np.maximum(known.sum(axis=0), 1)
    centre = np.nansum(evidence, axis=0) / n
    spread = np.sqrt(np.nansum((evidence - centre) ** 2, axis=0) / n)
    return centre, np.where(known.any(axis=0), np.maximum(spread, LEAST_SPREAD), 1.0)


def _weights(some: RuleExamples, x: np.ndarray, ridges):
    """Weights with which what is known comes out likeliest, less each ridge; every one begins where the last ended."""
    from scipy.optimize import minimize
    from scipy.special import log_softmax

    base, target = logits_of(some.p), some.weight[:, None] * some.target
    total = target.sum(axis=1, keepdims=True)

    def cost(flat, ridge):
        log_p = log_softmax(base + x @ flat.reshape(base.shape[1], -1).T, axis=1)
        slope = (total * np.exp(log_p) - target).T @ x
        return -(target * log_p).sum() + 0.5 * ridge * (flat**2).sum(), slope.ravel() + ridge * flat

    flat = np.zeros(base.shape[1] * x.shape[1])
    for ridge in ridges:
        flat = minimize(cost, flat, args=(ridge,), jac=True, method="L-BFGS-B", options=STOP).x
        yield flat.reshape(base.shape[1], -1)


def _cost(out: RuleExamples, x: np.ndarray, weights: np.ndarray) -> float:
    """Cross-entropy of the settled objects of a photo left out."""
    from scipy.special import log_softmax

    log_p = log_softmax(logits_of(out.p) + x @ weights.T, axis=1)
    return -float((out.target * log_p)[out.is_settled].sum())
