"""Fit a camera's rule to objects that people have settled: near zeros, that is near the kit's own judgement."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.camera_rule import LEAST_SPREAD, CameraRule, design, logits_of
from qckit.counting.training.ridge import Examples, cross_entropy, fit_left_out, ridge_path

__all__ = ["RuleExamples", "fit_rule"]


@dataclass(frozen=True)
class RuleExamples(Examples):
    """Objects found in a photo, and what they are.

    Attributes
    ----------
    p : (n, 5) ndarray
        The kit's own judgement.
    evidence : (n, EVIDENCE) ndarray
    target : (n, 5) ndarray
        Chance of each class: 1 for what a person settled; the kit's own judgement where it is only to be held.
    weight : (n,) ndarray
    """

    p: np.ndarray
    evidence: np.ndarray
    target: np.ndarray
    weight: np.ndarray

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
    if not photos:
        return None
    centre, spread = _usual(RuleExamples.join(photos).evidence)
    rows = [(p, design(p.evidence, centre, spread)) for p in photos]
    weights = fit_left_out(rows, fits=_fits, cost=_cost, unchanged=None)
    return None if weights is None else CameraRule(centre, spread, weights)


def _usual(evidence: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and spread of what could be measured; 0 and 1 of what nowhere could."""
    known = ~np.isnan(evidence)
    n = np.maximum(known.sum(axis=0), 1)
    centre = np.nansum(evidence, axis=0) / n
    spread = np.sqrt(np.nansum((evidence - centre) ** 2, axis=0) / n)
    return centre, np.where(known.any(axis=0), np.maximum(spread, LEAST_SPREAD), 1.0)


def _fits(rows, ridges):
    examples, x = RuleExamples.join([p for p, _ in rows]), np.concatenate([x for _, x in rows])
    return ridge_path(logits_of(examples.p), x, examples.target, examples.weight, ridges=ridges)


def _cost(weights: np.ndarray | None, photo) -> float:
    """Cross-entropy of the settled objects of a photo; None weighs nothing."""
    examples, x = photo
    added = 0.0 if weights is None else x @ weights.T
    return cross_entropy(logits_of(examples.p) + added, examples.target, examples.is_settled)
