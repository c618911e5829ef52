"""What the reader, a trained network, says of a picture: where objects lie and what they are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

__all__ = ["Proposals", "Votes"]


@dataclass(frozen=True)
class Votes:
    """Where each place of a coarser grid over a picture sees the centre of its object; asked only where that is wanted.

    Attributes
    ----------
    shape : (int, int)
        Rows and columns of the grid.
    ask : callable
        Takes rows and columns of the grid, each (n,); returns (2, n) float32, down and right from there to the centre.
        [pixels of the reader's picture]
    scale : (float, float)
        Pixels down and right of the picture at hand for one of the reader's.
    """

    shape: tuple[int, int]
    ask: Callable[[np.ndarray, np.ndarray], np.ndarray]
    scale: tuple[float, float] = (1.0, 1.0)

    def at(self, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        """Down and right to the centre from places of the grid: (2, n). [pixels of the picture]"""
        votes = self.ask(rows, cols)
        return votes * np.array(self.scale, votes.dtype).reshape(2, 1)


@dataclass(frozen=True)
class Proposals:
    """Objects proposed by the reader, in pixels of a picture (first pixel's centre at 0.5).

    Attributes
    ----------
    rows, cols : (n,) ndarray
    p : (n, 5) ndarray
        Probability per class (four stages, debris).
    score : (n,) ndarray
        How sure it is that there is an object, 0 to 1.
    votes : Votes
    n_readings : int
        How many images of the picture they are the mean of.
    """

    rows: np.ndarray
    cols: np.ndarray
    p: np.ndarray
    score: np.ndarray
    votes: Votes
    n_readings: int = 1

    def take(self, which: np.ndarray) -> Proposals:
        """Some of them: indices, or one truth value each."""
        return replace(self, rows=self.rows[which], cols=self.cols[which], p=self.p[which], score=self.score[which])

    def enlarged(self, down: float, right: float) -> Proposals:
        """The same objects in a picture so many times taller and wider."""
        scale = self.votes.scale[0] * down, self.votes.scale[1] * right
        return replace(self, rows=self.rows * down, cols=self.cols * right, votes=replace(self.votes, scale=scale))
