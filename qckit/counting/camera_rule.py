"""A camera's own rule: what an object is, by both readings, by what the reader noticed and by what was measured.

The rule is a linear sum added to the logits of the kit's own judgement, so that a rule of zeros changes nothing. It is
learnt from photos that people have settled (:mod:`qckit.counting.training.rule_fit`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.last_layer import CHANNELS
from qckit.counting.measuring import FEATURES
from qckit.counting.stages import ANSWERS, CLASSES

__all__ = ["EVIDENCE", "CameraRule", "gather_evidence"]

LEAST = 1e-3  # of a probability: a reading that rules something out may be wrong
FARTHEST = 4.0  # spreads from the usual at which evidence counts no further
_KINDS = (("read", len(CLASSES)), ("judged", len(ANSWERS)), ("sure", 1), ("noticed", CHANNELS), ("look", len(FEATURES)))
EVIDENCE = sum(size for _, size in _KINDS)
"""Numbers per object: logarithms of the reader's and of the measured stages' probabilities, the reader's logit that
something lies there, what it noticed there, and the measured features (NaN where nothing could be measured)."""
# many numbers that say much the same weigh together as ten
_SHARE = np.concatenate([np.full(size, min(1.0, (10 / size) ** 0.5)) for _, size in _KINDS])
LEAST_SPREAD = np.concatenate([np.full(size, 2.0 if kind == "noticed" else 1e-3) for kind, size in _KINDS])
"""What hardly varies among a camera's objects is not to be blown up."""


@dataclass(frozen=True)
class CameraRule:
    """Weights of the sum.

    Attributes
    ----------
    centre, spread : (EVIDENCE,) ndarray
        Of the evidence among the objects that the rule was learnt from.
    weights : (5, 2 + EVIDENCE) ndarray
        By class: of one, of an object that could not be measured, and of the standardised evidence.
    """

    centre: np.ndarray
    spread: np.ndarray
    weights: np.ndarray

    def settle(self, p: np.ndarray, evidence: np.ndarray) -> np.ndarray:
        """Judge objects anew.

        Parameters
        ----------
        p : (n, 5) ndarray
            The kit's own judgement.
        evidence : (n, EVIDENCE) ndarray

        Returns
        -------
        (n, 5) ndarray
            Rows add up to 1.
        """
        from scipy.special import softmax

        return softmax(logits_of(p) + design(evidence, self.centre, self.spread) @ self.weights.T, axis=1)

    def arrays(self) -> dict[str, np.ndarray]:
        """As plain arrays for a file; :meth:`of_arrays` reads them."""
        return {k: np.asarray(v, np.float32) for k, v in vars(self).items()}

    @classmethod
    def of_arrays(cls, centre, spread, weights) -> CameraRule:
        """Take a rule from arrays of a file.

        Raises
        ------
        ValueError
            Shapes or numbers are not those of a rule.
        """
        arrays = [np.asarray(a, float) for a in (centre, spread, weights)]
        if [a.shape for a in arrays] != [(EVIDENCE,), (EVIDENCE,), (len(CLASSES), 2 + EVIDENCE)]:
            raise ValueError("the camera's rule has another shape")
        if not all(np.isfinite(a).all() for a in arrays) or not (arrays[1] > 0).all():
            raise ValueError("a number of the camera's rule is not finite, or not above 0 where it must be")
        return cls(*arrays)


def measured_looks(evidence: np.ndarray) -> np.ndarray:
    """The measured features of those objects that could be measured: (m, len(FEATURES))."""
    looks = evidence[:, -len(FEATURES) :]
    return looks[np.isfinite(looks).all(axis=1)]


def logits_of(p: np.ndarray) -> np.ndarray:
    """Logarithms of probabilities, none without bound."""
    return np.log(p + LEAST)


def design(evidence: np.ndarray, centre: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """Rows of the sum: one, whether nothing was measured, and the evidence in spreads; (n, 2 + EVIDENCE)."""
    away = np.clip(np.nan_to_num((evidence - centre) / spread), -FARTHEST, FARTHEST)
    blind = np.isnan(evidence).any(axis=1)
    return np.concatenate([np.ones((len(away), 1)), blind[:, None], away * _SHARE], axis=1)


def gather_evidence(reading, work, found, model) -> np.ndarray:
    """Put together what is known of found objects.

    Parameters
    ----------
    reading : Reading
        Of the reader, of the same photo.
    work : WorkImage
    found : FoundObjects
    model : StageModel
        The kit's own.

    Returns
    -------
    (n, EVIDENCE) ndarray
    """
    from scipy.special import softmax

    from qckit.counting.last_layer import HEAT_PLANE, STAGE_PLANES
    from qckit.counting.reader import shipped_last_layer

    layer = shipped_last_layer()
    down, right = reading.shape[0] / work.pixels.shape[0], reading.shape[1] / work.pixels.shape[1]
    noticed, corner = reading.noticed_near(found.rows * down, found.cols * right, 0)
    measured = np.isfinite(found.features).all(axis=1)
    looks, judged = (np.full((len(measured), size), np.nan) for size in (len(FEATURES), len(ANSWERS)))
    looks[measured] = found.features[measured]
    judged[measured] = logits_of(model.predict(found.features[measured]))
    read = logits_of(softmax(layer.answers(noticed, corner, STAGE_PLANES), axis=1))
    return np.concatenate([read, judged, layer.answers(noticed, corner, HEAT_PLANE), noticed, looks], axis=1)
