"""How far a photo's hatching percentage may be off, by what its readings doubt."""

from __future__ import annotations

import numpy as np

from qckit.stages import CLASSES, STAGE_RECORDS, STAGES

__all__ = ["OFF_POINTS", "doubts_of", "finding_swing", "hatch_shift", "hatch_swing", "off_chance", "share_between"]

OFF_POINTS = 5.0  # of hatching percentage: an error that matters
OFF_OFFSET, OFF_SWING, OFF_BETWEEN = -5.74, 1.84, 6.90
"""Of the logit of the chance of such an error: by the logarithm of the swing and by the share between the two groups;
from ``tests/photos/fit_flags.py``."""

LEAST_SWING = 0.3  # points: less cannot be told from none
ROUND_BODIES = 15  # cysts and shells: of fewer no share is worth a word


def off_chance(swing: float, between: float) -> float:
    """The chance that the hatching percentage is off by more than ``OFF_POINTS``.

    A logistic model of what the readings doubt, fitted to photos of several makes and lamps that the reader had not
    seen (``tests/photos/MEASURED.md``): doubts that could move the percentage further, and round bodies that part less
    clearly, went with larger errors on each make.

    Parameters
    ----------
    swing : float
        Of the stages and of finding, at right angles. [points]
    between : float
        From :func:`share_between`.

    Returns
    -------
    float
        0 to 1.
    """
    logit = OFF_OFFSET + OFF_SWING * np.log(swing + LEAST_SWING) + OFF_BETWEEN * between
    return float(1 / (1 + np.exp(-logit)))


def doubts_of(p: np.ndarray, n_mistaken: np.ndarray, p_read: np.ndarray | None = None) -> tuple[float, float]:
    """What the readings of a photo doubt, for :func:`off_chance`.

    Parameters
    ----------
    p : (n, 5) ndarray
        As in :func:`hatch_shift`.
    n_mistaken : (4,) ndarray
        As in :func:`finding_swing`.
    p_read : (n, 5) ndarray, optional
        Where it is given, what it doubts counts too, though it be settled in ``p``: to choose what is read again.

    Returns
    -------
    swing : float
        0 to 100. [points]
    between : float
        0 to 1.
    """
    stages = hatch_swing(p) if p_read is None else max(hatch_swing(p), hatch_swing(p_read))
    swing = min(float(np.hypot(stages, finding_swing(p, n_mistaken))), 100.0)
    return swing, share_between(p[p.argmax(axis=1) < len(STAGES)] if len(p) else p)


def hatch_swing(p: np.ndarray) -> float:
    """How far the hatching percentage would move if the doubts about all stages pointed the same way.

    Each object's expected effect on the share of nauplii among nauplii, umbrella stages and cysts, taken without its
    sign and added up: no mean error can be larger, as far as the probabilities are right (triangle inequality).

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris).

    Returns
    -------
    float
        0 to 100. [points]
    """
    if not len(p):
        return 0.0
    stage, effect = p.argmax(axis=1), _effects(p)
    return min(float((p * np.abs(effect - effect[stage][:, None])).sum()), 100.0)


def finding_swing(p: np.ndarray, n_mistaken: np.ndarray) -> float:
    """How far the hatching percentage would move if what was invented and missed all pointed the same way.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris).
    n_mistaken : (4,) ndarray
        Objects expected to have been invented or missed, by stage.

    Returns
    -------
    float
        0 to 100. [points]
    """
    return min(float(np.abs(_effects(p)[: len(STAGES)]) @ n_mistaken), 100.0) if len(p) else 0.0


def _effects(p: np.ndarray) -> np.ndarray:
    """How far one more object of each class moves the hatching percentage. [points]"""
    hatched, whole = _hatched_share(p)
    each = [float(s.is_hatched) - hatched if s.is_full_cyst else 0.0 for s in STAGE_RECORDS]
    return np.array([*each, 0.0]) * 100 / whole


def hatch_shift(p: np.ndarray, p_read: np.ndarray) -> float:
    """How far the hatching percentage lies from that of the readings alone, before round bodies were settled together.

    Parameters
    ----------
    p, p_read : (n, 5) ndarray
        Probability per object and class (four stages, debris), settled and as read.

    Returns
    -------
    float
        0 to 100. [points]
    """
    return 100 * abs(_hatched_share(p)[0] - _hatched_share(p_read)[0]) if len(p) else 0.0


def _hatched_share(p: np.ndarray) -> tuple[float, int]:
    """Share of nauplii among nauplii, umbrella stages and cysts, by their likeliest stages; and how many these are."""
    n = np.bincount(p.argmax(axis=1), minlength=len(CLASSES))
    whole = max(int(n[[s.is_full_cyst for s in STAGE_RECORDS] + [False]].sum()), 1)
    return float(n[[s.is_hatched for s in STAGE_RECORDS] + [False]].sum() / whole), whole


def share_between(p: np.ndarray) -> float:
    """Share of cysts and shells that lie between the photo's two groups.

    Opaque cysts and see-through shells of one photo part into two groups; where many objects belong to neither, the
    light does not tell them apart.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris).

    Returns
    -------
    float
        0 to 1; 0 with fewer than ``ROUND_BODIES`` cysts and shells.
    """
    pair = p[:, [CLASSES.index("cyst"), CLASSES.index("shell")]] if len(p) else np.zeros((0, 2))
    pair = pair[pair.sum(axis=1) > 0.5]
    if len(pair) < ROUND_BODIES:
        return 0.0
    cyst = pair[:, 0] / pair.sum(axis=1)
    return float(((cyst > 0.15) & (cyst < 0.85)).mean())
