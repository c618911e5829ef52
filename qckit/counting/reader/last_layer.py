"""The reader's last layer: from what the network noticed at a place to its answers, in sums that are exact everywhere.

It is kept apart from the network, so that only the planes and places that are wanted are worked out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.stages import CLASSES

__all__ = ["CHANNELS", "CORNERS", "HEAT", "OFFSET_PLANES", "PLANES", "STAGE_PLANES", "LastLayer"]

CORNERS, CHANNELS = 4, 32
HEAT, STAGE_PLANES = 0, slice(1, 1 + len(CLASSES))
OFFSET_PLANES = (len(CLASSES) + 2, len(CLASSES) + 3)  # the plane before these was learnt with and is not used
PLANES = len(CLASSES) + 4
EXACT = 2**24  # whole numbers up to here are exact in 32 bits of floating point
MOST = EXACT // (255 * CHANNELS) - 1  # of a weight, so that no sum of 32 bytes times weights goes beyond


@dataclass(frozen=True)
class LastLayer:
    """Weights of the last layer.

    Attributes
    ----------
    weights : (PLANES, CORNERS, CHANNELS) ndarray of float32
        Whole numbers whose sums are exact in 32-bit floating point, in whatever order they are added.
    step, offset : (PLANES, CORNERS) ndarray of float32
        Make logits of the sums.
    """

    weights: np.ndarray
    step: np.ndarray
    offset: np.ndarray

    def answers(self, noticed: np.ndarray, corner: np.ndarray, planes: slice) -> np.ndarray:
        """Logits at single places.

        Parameters
        ----------
        noticed : (n, CHANNELS) ndarray of uint8
        corner : (n,) ndarray of int
            Which of the four corners of the coarse pixel.
        planes : slice

        Returns
        -------
        (n, planes) ndarray
        """
        weights, step, offset = (one[planes][:, corner] for one in (self.weights, self.step, self.offset))
        sums = np.einsum("nc,pnc->np", noticed.astype(float), weights.astype(float))
        return sums * step.T + offset.T

    def arrays(self) -> dict[str, np.ndarray]:
        """As plain arrays for a file; :meth:`of_arrays` reads them."""
        return {"weights": self.weights.astype(np.int16), "step": self.step, "offset": self.offset}

    @classmethod
    def of_arrays(cls, weights, step, offset) -> LastLayer:
        """Take a layer from arrays of a file.

        Raises
        ------
        ValueError
            Shapes or numbers are not those of a last layer.
        """
        shapes = (PLANES, CORNERS, CHANNELS), (PLANES, CORNERS), (PLANES, CORNERS)
        arrays = [np.asarray(a, np.float32) for a in (weights, step, offset)]
        if tuple(a.shape for a in arrays) != shapes:
            raise ValueError("the reader's last layer has another shape")
        if not all(np.isfinite(a).all() for a in arrays) or not (arrays[1] > 0).all():
            raise ValueError("a number of the reader's last layer is not finite, or not above 0 where it must be")
        whole = np.rint(arrays[0])
        if (whole != arrays[0]).any() or np.abs(whole).max() > MOST:
            raise ValueError(f"a weight of the reader's last layer is no whole number of at most {MOST}")
        return cls(*arrays)
