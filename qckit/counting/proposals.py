"""What the second reader says of a picture: where objects lie and what they are."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

__all__ = ["Proposals"]


@dataclass(frozen=True)
class Proposals:
    """Objects proposed by the second reader, in pixels of a picture (first pixel's centre at 0.5).

    Attributes
    ----------
    rows, cols : (n,) ndarray
    p : (n, 5) ndarray
        Probability per class (four stages, debris).
    score : (n,) ndarray
        How sure it is that there is an object, 0 to 1.
    offsets : (2, P, Q) ndarray of float32
        On a coarser grid over the same picture: down and right from there to the centre of the object. [pixels of the
        picture]
    invented, missed : float
        How many of them are expected to be none, and how many objects are expected among fainter places left out.
    """

    rows: np.ndarray
    cols: np.ndarray
    p: np.ndarray
    score: np.ndarray
    offsets: np.ndarray
    invented: float = 0.0
    missed: float = 0.0

    def take(self, which: np.ndarray) -> Proposals:
        """Some of them: indices, or one truth value each."""
        return replace(self, rows=self.rows[which], cols=self.cols[which], p=self.p[which], score=self.score[which])

    def enlarged(self, down: float, right: float) -> Proposals:
        """The same objects in a picture so many times taller and wider."""
        offsets = self.offsets * np.array([down, right], self.offsets.dtype).reshape(2, 1, 1)
        return replace(self, rows=self.rows * down, cols=self.cols * right, offsets=offsets)
