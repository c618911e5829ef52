"""Fit a camera's rule to photos that people have settled: near zeros, that is near what the reader says."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from qckit.counting.camera_rule.rule import LEAST, CameraRule, Sum, of_place, of_stage, place_logit, stage_logits
from qckit.counting.training.ridge import Examples, cross_entropy, fit_left_out, ridge_path
from qckit.stages import STAGES

__all__ = ["RuleExamples", "fit_rule"]


@dataclass(frozen=True)
class RuleExamples(Examples):
    """Places of a photo at which the reader sees something, and what is there.

    Attributes
    ----------
    score : (n,) ndarray
        The reader's, of anything.
    p : (n, 5) ndarray
        Of both readings.
    usual : (n, 5) ndarray
        The kit's own judgement in the end.
    evidence : (n, EVIDENCE) ndarray
    chance : (n,) ndarray
        Of an object: 0 or 1 for what a person settled; the reader's where it is only to be held.
    weight : (n,) ndarray
        1 for what a person settled; 0 where nobody said what is there.
    stage : (n, 4) ndarray
        Chance of each stage, of what is an object.
    """

    score: np.ndarray
    p: np.ndarray
    usual: np.ndarray
    evidence: np.ndarray
    chance: np.ndarray
    weight: np.ndarray
    stage: np.ndarray

    @property
    def of_stage(self) -> np.ndarray:
        """Weight of each as an example of a stage."""
        return np.where(self.chance > 0.5, self.weight, 0.0) * (self.stage.sum(axis=1) > 0)

    @property
    def is_settled(self) -> np.ndarray:
        """Which of them a person has settled as objects."""
        return self.of_stage == 1


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
    together = RuleExamples.join(photos)
    place = Sum.usual(of_place(together.evidence)[together.weight > 0])
    place = _fitted(place, [_place_rows(p, place) for p in photos])
    stage = Sum.usual(of_stage(together.evidence)[together.of_stage > 0])
    stage = _fitted(stage, [_stage_rows(p, stage) for p in photos])
    return None if place is stage is None else CameraRule(place, stage)


@dataclass(frozen=True)
class _Rows(Examples):
    """Examples of one sum: logits (n, k) to which it is added, and those of the kit, for the rows x."""

    logits: np.ndarray
    usual: np.ndarray
    x: np.ndarray
    target: np.ndarray
    weight: np.ndarray


def _place_rows(photo: RuleExamples, place: Sum) -> _Rows:
    logit = place_logit(photo.score, photo.p)
    logits, target = np.stack([0 * logit, logit], axis=1), np.stack([1 - photo.chance, photo.chance], axis=1)
    return _Rows(logits, logits, place.rows(of_place(photo.evidence)), target, photo.weight)


def _stage_rows(photo: RuleExamples, stage: Sum) -> _Rows:
    usual = np.log(photo.usual[:, : len(STAGES)] + LEAST)
    return _Rows(stage_logits(photo.p), usual, stage.rows(of_stage(photo.evidence)), photo.stage, photo.of_stage)


def _fitted(one: Sum, photos: list[_Rows]) -> Sum | None:
    weights = fit_left_out(photos, fits=_fits, cost=_cost, unchanged=None)
    if weights is None:
        return None
    # of two answers only their difference counts
    return replace(one, weights=weights[1:] - weights[:1] if len(weights) == 2 else weights)


def _fits(photos: list[_Rows], ridges):
    rows = _Rows.join(photos)
    return ridge_path(rows.logits, rows.x, rows.target, rows.weight, ridges=ridges)


def _cost(weights: np.ndarray | None, photo: _Rows) -> float:
    """Cross-entropy of a photo; None is the kit's own judgement."""
    logits = photo.usual if weights is None else photo.logits + photo.x @ weights.T
    return cross_entropy(logits, photo.target, photo.weight)
