"""Sizes that no body has: its piece of foreground runs on along a ruling, a mesh or a rim."""

from __future__ import annotations

import numpy as np

from qckit.robust import median_of
from qckit.stages import STAGE_RECORDS

__all__ = ["without_overlong"]

MOST_LENGTHS = 3.0  # of a usual body in one: two that lie end to end are two, so a third is no body
ENOUGH = 8  # bodies of a stage whose median says what is usual in the photo; of fewer, the typical length does
SIZES = ("length_um", "width_um", "area_um2")


def without_overlong(sizes: dict[str, np.ndarray], stage: np.ndarray) -> dict[str, np.ndarray]:
    """Leave out the sizes of what is far longer than the photo's usual bodies of its stage.

    What is usual is taken from the photo itself, so that a wrong scale is still seen by the sizes of all its bodies.

    Parameters
    ----------
    sizes : dict of (n,) ndarrays
        length_um, width_um, area_um2 and any others.
    stage : (n,) ndarray of str
        Debris may have any size.

    Returns
    -------
    dict of (n,) ndarrays
        NaN where a body is more than three times as long as usual: it is there, and could not be measured.
    """
    length = np.asarray(sizes["length_um"], float)
    too_long = np.zeros(len(length), bool)
    for record in STAGE_RECORDS:
        mine = stage == record.name
        usual = median_of(length[mine]) if mine.sum() >= ENOUGH else record.typical_um[0]
        too_long |= mine & (length > MOST_LENGTHS * usual)
    return sizes | {name: np.where(too_long, np.nan, sizes[name]) for name in SIZES}
