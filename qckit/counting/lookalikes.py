"""Cysts and empty shells told apart by what parts the two in this very photo.

What an opaque cyst and a see-through shell look like differs from light to light, and within one photo hardly at all.
So a rule is fitted to the photo's own round bodies, from their measured looks to what they were read as, and each body
is judged half by its own reading and by how bodies that look like it were read (self-training with soft labels, Scudder
1965, IEEE Transactions on Information Theory 11:363; from memory). A body misread among many alike is so put right; a
photo in which most are misread stays wrong, and is for the flags.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.measuring import FEATURES
from qckit.counting.pieces import CONTRAST_BINS
from qckit.stages import STAGES

__all__ = ["settle_by_lookalikes"]

LOOKS = (
    *("contrast", "contrast_sd", "signal", "signal_sd", "gradient", "rim_gradient", "rim_contrast", "rel_contrast"),
    *("ring", "hue_rg", "hue_gb", "chroma", "rim_hue_rg", "rim_hue_gb", "hue_rg_sd", "hue_gb_sd"),
    *(f"share_{i}" for i in range(len(CONTRAST_BINS) + 1)),
    *("log_area", "fill", "roundness", "depth_fill", "log_elongation"),
)
COLUMNS = [FEATURES.index(name) for name in LOOKS]
PAIR = [STAGES.index("cyst"), STAGES.index("shell")]
# chosen on the photos of both labelled makes, each read by the network that had not seen it
LEAST_BODIES, LEAST_EACH = 15, 4.0  # round bodies in a photo, and of each kind expected
STIFFNESS = 0.3  # penalty on the squares of the rule's weights
STEPS, CLOSE = 30, 1e-6
READING_WEIGHT, LOOKALIKE_WEIGHT = 0.5, 1.0  # weights of the two logits


def settle_by_lookalikes(p: np.ndarray, features: np.ndarray) -> np.ndarray:
    """Settle cysts and shells by how those that look alike in this photo were read.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris), each row adding up to 1.
    features : (n, len(FEATURES)) ndarray
        As measured; rows of NaN are left as they are.

    Returns
    -------
    (n, 5) ndarray
        Rows add up to 1; only the shares of cyst and shell change. The same as ``p`` where round bodies are few.
    """
    from scipy.special import expit, logit

    either = p[:, PAIR].sum(axis=1)
    used = np.flatnonzero((either > 0.5) & np.isfinite(features).all(axis=1))
    weight, cyst = either[used], p[used, PAIR[0]] / np.maximum(either[used], 1e-9)
    if len(used) < LEAST_BODIES or min(weight @ cyst, weight @ (1 - cyst)) < LEAST_EACH:
        return p
    rule = _fitted(_standardised(features[used][:, COLUMNS].astype(float)), cyst, weight)
    settled = expit(READING_WEIGHT * logit(np.clip(cyst, 1e-3, 1 - 1e-3)) + LOOKALIKE_WEIGHT * rule)
    out = p.copy()
    out[used, PAIR[0]], out[used, PAIR[1]] = weight * settled, weight * (1 - settled)
    return out


def _standardised(looks: np.ndarray) -> np.ndarray:
    """Looks about their median in this photo, in robust spreads, at most 4; all columns together of length about 1."""
    away = looks - np.median(looks, axis=0)
    spread = np.maximum(1.4826 * np.median(np.abs(away), axis=0), 0.3 * looks.std(axis=0) + 1e-6)
    return np.clip(away / spread, -4, 4) / np.sqrt(looks.shape[1])


def _fitted(z: np.ndarray, cyst: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Logits of a logistic rule with a ridge, fitted to soft labels by Newton's steps, halved where they go too far."""
    from scipy.special import expit

    x = np.concatenate([np.ones((len(z), 1)), z], axis=1)
    ridge = np.r_[1e-6, np.full(z.shape[1], STIFFNESS)]

    def cost(b):
        m = x @ b
        return (weight * (np.logaddexp(0, m) - cyst * m)).sum() + 0.5 * (ridge * b * b).sum()

    b, now = np.zeros(x.shape[1]), cost(np.zeros(x.shape[1]))
    for _ in range(STEPS):
        q = expit(x @ b)
        bend = (x * (weight * q * (1 - q))[:, None]).T @ x + np.diag(ridge)
        step = np.linalg.solve(bend, x.T @ (weight * (q - cyst)) + ridge * b)
        after = cost(b - step)
        while after > now and np.abs(step).max() > CLOSE:
            step, after = step / 2, cost(b - step / 2)
        if not after < now:
            break
        b, now = b - step, after
        if np.abs(step).max() < CLOSE:
            break
    return x @ b
