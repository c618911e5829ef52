"""Whole-looking shells among the cysts: whether a photo's cysts are of two kinds of darkness.

A shell that looks whole from where it is seen is told from a cyst by what shines through it. Where a light makes that
hard, all such bodies may be read as cysts, surely and alike; but then the photo's cysts part into a darker and a paler
kind, and the paler one is nearer to the photo's own shells. Cysts of one lot may part so, too (a second lot, dried or
young ones): so it is said, and nothing is changed.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.segmentation.measuring import FEATURES
from qckit.counting.shells.two_groups import FEWEST_BODIES, LEAST_EACH, VERY_STRONG, schwarz_of_two, two_normal
from qckit.robust import median_of
from qckit.stages import STAGES

__all__ = ["paler_cysts"]

DARKNESS = FEATURES.index("contrast")
CYST, SHELL = STAGES.index("cyst"), STAGES.index("shell")
NEARER = 0.5  # of the way from the shells to the darker cysts, to either side


def paler_cysts(p: np.ndarray, features: np.ndarray) -> int:
    """Count the cysts of a paler kind that is nearer to the photo's shells than to its darker cysts.

    Parameters
    ----------
    p : (n, 5) ndarray
        Probability per object and class (four stages, debris).
    features : (n, len(FEATURES)) ndarray
        As measured; rows of NaN are left out.

    Returns
    -------
    int
        0 where the cysts are of one kind, or the paler ones are far from the shells.
    """
    from scipy.special import expit

    if not len(p):
        return 0
    stage, dark = p.argmax(axis=1), features[:, DARKNESS].astype(float)
    cysts, shells = (dark[(stage == s) & np.isfinite(dark)] for s in (CYST, SHELL))
    if len(cysts) + len(shells) < FEWEST_BODIES or min(len(cysts) / 2, len(shells)) < LEAST_EACH or cysts.std() < 1e-6:
        return 0
    along = (cysts - cysts.mean()) / cysts.std()
    group, _, apart = two_normal(along, expit(3 * (along - np.percentile(along, (10, 90)).mean())))
    if not apart or schwarz_of_two(along, group) < VERY_STRONG:
        return 0
    pale, darker, shell = median_of(cysts[group < 0.5]), median_of(cysts[group >= 0.5]), median_of(shells)
    return int((group < 0.5).sum()) if abs(pale - shell) < NEARER * (darker - shell) else 0
