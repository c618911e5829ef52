"""A camera's own rule: where an object is and what it is, by all that is known of each place the reader sees.

The rule is two linear sums. One is added to the logit that an object lies at a place as read, the other to what both
readings say of its stage, from before they were settled by the photo's own two groups: those can be taken for each
other where a photo holds hardly any of one, and what settled photos say of a camera holds for all of its photos. Only
then the groups are asked, of bodies that are told well by now. The rule is learnt from photos that people have settled
(:mod:`qckit.counting.training.rule_fit`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.products import product
from qckit.counting.reader.last_layer import CHANNELS
from qckit.counting.reader.places import AROUND
from qckit.counting.segmentation.measuring import FEATURES
from qckit.counting.stages import CLASSES
from qckit.stages import STAGES

__all__ = ["EVIDENCE", "PLACE_EVIDENCE", "STAGE_EVIDENCE", "CameraRule", "Sum", "gather_evidence"]

LEAST = 1e-3  # of a probability: a reading that rules something out may be wrong
FARTHEST = 4.0  # spreads from the usual at which evidence counts no further
READ_WEIGHT = 0.5  # of what both readings say of the stage; tests/photos/CAMERAS.md, "Learning a camera"
DOUBT = 0.99  # of an object's likeliest stage: most that "none" may have, so that an object stays one
_KINDS = {"around": AROUND, "beside": len(FEATURES), "read": len(CLASSES), "noticed": CHANNELS, "look": len(FEATURES)}
EVIDENCE = sum(_KINDS.values())
"""Numbers per place: how it lies among the others, its measured features beside those of the photo's surer objects,
logarithms of the reader's probabilities of its stage, what the reader noticed there, and the measured features (NaN
where nothing could be measured)."""
# numbers of a kind say much the same: they weigh together as so many; tests/photos/CAMERAS.md, "Learning a camera"
_OF_PLACE = {"around": 5, "beside": 3, "read": 5, "noticed": 3}  # lit otherwise, a photo's bodies all look otherwise
_OF_STAGE = {"read": 5, "noticed": 1, "look": 10}  # what a thing is does not hang on what lies around it
PLACE_EVIDENCE, STAGE_EVIDENCE = (sum(_KINDS[kind] for kind in some) for some in (_OF_PLACE, _OF_STAGE))


def _of_each(weigh: dict[str, int], of_kind) -> np.ndarray:
    return np.concatenate([np.full(_KINDS[kind], of_kind(kind, n)) for kind, n in weigh.items()])


_BY_SIZE = {PLACE_EVIDENCE: _OF_PLACE, STAGE_EVIDENCE: _OF_STAGE}
_SHARE = {k: _of_each(w, lambda kind, n: min(1.0, n / _KINDS[kind]) ** 0.5) for k, w in _BY_SIZE.items()}
_LEAST_SPREAD = {k: _of_each(w, lambda kind, _: 2.0 if kind == "noticed" else 1e-3) for k, w in _BY_SIZE.items()}


@dataclass(frozen=True)
class Sum:
    """One sum over evidence.

    Attributes
    ----------
    centre, spread : (d,) ndarray
        Of the evidence among the places that it was learnt from.
    weights : (k, 2 + d) ndarray
        By answer: of one, of an object that could not be measured, and of the standardised evidence.
    """

    centre: np.ndarray
    spread: np.ndarray
    weights: np.ndarray

    @classmethod
    def usual(cls, evidence: np.ndarray) -> Sum:
        """A sum without weights, about the mean of what could be measured, in its spreads."""
        known = ~np.isnan(evidence)
        n = np.maximum(known.sum(axis=0), 1)
        centre = np.nansum(evidence, axis=0) / n
        spread = np.sqrt(np.nansum((evidence - centre) ** 2, axis=0) / n)
        least = _LEAST_SPREAD[evidence.shape[1]]
        return cls(centre, np.where(known.any(axis=0), np.maximum(spread, least), 1.0), np.zeros((0, 0)))

    def rows(self, evidence: np.ndarray) -> np.ndarray:
        """What the weights are for: one, whether nothing was measured, and the evidence in spreads; (n, 2 + d)."""
        away = np.clip(np.nan_to_num((evidence - self.centre) / self.spread), -FARTHEST, FARTHEST)
        blind = np.isnan(evidence).any(axis=1)
        return np.concatenate([np.ones((len(away), 1)), blind[:, None], away * _SHARE[away.shape[1]]], axis=1)

    def of(self, evidence: np.ndarray) -> np.ndarray:
        """What the sum comes to: (n, k)."""
        return product(self.rows(evidence), self.weights.T)


@dataclass(frozen=True)
class CameraRule:
    """Sums that judge places.

    Attributes
    ----------
    place : Sum or None
        Of one answer, the logit of an object; None where the kit's own judgement stays.
    stage : Sum or None
        Of four.
    """

    place: Sum | None
    stage: Sum | None

    def chance(self, score: np.ndarray, p_read: np.ndarray, evidence: np.ndarray) -> np.ndarray | None:
        """Chance that an object of a stage lies at each place.

        Parameters
        ----------
        score : (n,) ndarray
            The reader's, of anything.
        p_read : (n, 5) ndarray
            Of both readings.
        evidence : (n, EVIDENCE) ndarray

        Returns
        -------
        (n,) ndarray or None
        """
        from scipy.special import expit

        return (
            None if self.place is None else expit(place_logit(score, p_read) + self.place.of(of_place(evidence))[:, 0])
        )

    def stages(self, p_read: np.ndarray, evidence: np.ndarray) -> np.ndarray | None:
        """Probabilities of the four stages, given an object, from those of both readings (n, 5) and evidence."""
        from scipy.special import softmax

        if self.stage is None:
            return None
        return softmax(stage_logits(p_read) + self.stage.of(of_stage(evidence)), axis=1)

    def arrays(self) -> dict[str, np.ndarray]:
        """As plain arrays for a file; :meth:`of_arrays` reads them."""
        sums = {"place": self.place, "stage": self.stage}
        return {f"{n}_{k}": np.asarray(v, np.float32) for n, s in sums.items() if s for k, v in vars(s).items()}

    @classmethod
    def of_arrays(cls, **arrays) -> CameraRule:
        """Take a rule from arrays of a file.

        Raises
        ------
        ValueError
            Shapes or numbers are not those of a rule.
        """
        return cls(_sum_of(arrays, "place", 1, PLACE_EVIDENCE), _sum_of(arrays, "stage", len(STAGES), STAGE_EVIDENCE))


def _sum_of(arrays, name: str, n_answers: int, size: int) -> Sum | None:
    if f"{name}_weights" not in arrays:
        return None
    numbers = [np.asarray(arrays[f"{name}_{k}"], float) for k in ("centre", "spread", "weights")]
    if [a.shape for a in numbers] != [(size,), (size,), (n_answers, 2 + size)]:
        raise ValueError("the camera's rule has another shape")
    if not all(np.isfinite(a).all() for a in numbers) or not (numbers[1] > 0).all():
        raise ValueError("a number of the camera's rule is not finite, or not above 0 where it must be")
    return Sum(*numbers)


def of_place(evidence: np.ndarray) -> np.ndarray:
    """The part of the evidence that tells whether an object is there."""
    return evidence[:, :PLACE_EVIDENCE]


def of_stage(evidence: np.ndarray) -> np.ndarray:
    """The part of the evidence that tells stages."""
    return evidence[:, -STAGE_EVIDENCE:]


def measured_looks(evidence: np.ndarray) -> np.ndarray:
    """The measured features of those objects that could be measured: (m, len(FEATURES))."""
    looks = evidence[:, -len(FEATURES) :]
    return looks[np.isfinite(looks).all(axis=1)]


def place_logit(score: np.ndarray, p_read: np.ndarray) -> np.ndarray:
    """Logit that something lies at a place, by the reader's score (n,), and is no debris, by both readings (n, 5)."""
    from scipy.special import logit

    return logit(np.clip(score * (1 - p_read[:, -1]), 1e-4, 1 - 1e-4))


def stage_logits(p_read: np.ndarray) -> np.ndarray:
    """What both readings say of the four stages, as far as it counts beside what was learnt: (n, 4)."""
    return READ_WEIGHT * np.log(p_read[:, : len(STAGES)] + LEAST)


def with_none(stages: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """Probabilities of the four stages and none.

    Parameters
    ----------
    stages : (n, 4) ndarray
        Given an object.
    chance : (n,) ndarray
        Of an object; where it is above one half, none is never the likeliest.

    Returns
    -------
    (n, 5) ndarray
        Rows add up to 1.
    """
    stages = stages * chance[:, None]
    none = np.where(chance > 0.5, np.minimum(1 - chance, DOUBT * stages.max(axis=1, initial=0)), 1 - chance)
    p = np.concatenate([stages, none[:, None]], axis=1)
    return p / p.sum(axis=1, keepdims=True)


def gather_evidence(
    around: np.ndarray, noticed: np.ndarray, p: np.ndarray, features: np.ndarray, surer: np.ndarray
) -> np.ndarray:
    """Put together what is known of places: (n, EVIDENCE).

    Parameters
    ----------
    around : (n, AROUND) ndarray
        From :func:`qckit.counting.reader.places.look_around`.
    noticed : (n, CHANNELS) ndarray
    p : (n, 5) ndarray
        The reader's.
    features : (n, len(FEATURES)) ndarray
        Measured; NaN where nothing could be.
    surer : (n,) ndarray of bool
        Which the kit takes for objects.
    """
    measured = np.isfinite(features).all(axis=1)
    look = np.where(measured[:, None], features, np.nan).astype(float)
    usual = look[measured & surer] if (measured & surer).any() else look[measured]
    beside = look - (np.median(usual, axis=0) if len(usual) else 0.0)
    return np.concatenate([around, beside, np.log(p + LEAST), noticed, look], axis=1)
