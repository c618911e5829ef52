"""How much of a patterned floor shows through a body: its inside, against the floor foretold from like places.

Over a weave or a print an empty shell is told by what shines through it, in any light: threads and openings go on
inside its outline, dimmer or bent a little, while an opaque cyst hides them. What must lie behind a body is not known
from a map of the floor (weaves are stretched, tilted and out of focus) but from the floor itself: around the body lies
a ring of floor, elsewhere in the photo lie rings like it, and what these surround is what the body lies on (filling in
by like surroundings: Efros and Leung 1999, International Conference on Computer Vision 2:1033, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from qckit.counting.segmentation.light import Light, Mix
from qckit.counting.working import WorkImage

__all__ = ["likeness_to_floor"]

SCALE_UM = 12.0  # per pixel, about: threads of the finest sieve in use still show
INSIDE_UM, RIM_UM, REACH_UM = 100.0, 115.0, 230.0  # of the centre: what is compared; the ring of floor around
WINDOW_UM = 1320.0  # to each side, where like rings are sought: lenses bend what lies farther away
PLACES, FEWEST_PLACES, LEAST_LIKE = 8, 3, 0.2  # like rings taken, at most and at least; their correlation at least
LEAST_RING, LEAST_CLEAR = 0.25, 0.6  # of a ring that other bodies leave free; of that, what must be free of a like one
FORETOLD, EACH_FORETOLD = 0.8, 0.7
"""Correlation of the rings of floor around bodies with what like places foretell of them: their median in a photo at
least, and each body's own. Weaves and rulings have 0.84 and more, but for two of 45 sieves with 0.70 and 0.79; grain,
which repeats nothing, at most 0.78 (tests/photos/MEASURED.md, "Counter 1.19")."""
UNKNOWN = (np.nan, np.nan)
MARGIN_PX = 2  # around what was cut out as foreground: halos and shadows are no floor


def likeness_to_floor(
    work: WorkImage, light: Light, labels: np.ndarray, rows: np.ndarray, cols: np.ndarray
) -> np.ndarray:
    """How like the inside of each body is to the floor that should lie behind it.

    Parameters
    ----------
    work : WorkImage
    light : Light
        Its scatter gives the mix of colours in which the floor's pattern is strongest.
    labels : (M, N) ndarray of int
        Foreground, as it was cut; 0 is floor.
    rows, cols : (n,) ndarray
        Centres, in working pixels.

    Returns
    -------
    (n,) ndarray
        Correlation, -1 to 1, about the body's own shading (a plane and a bowl); NaN where a body lies at the photo's
        edge, has too little floor around it or a floor that like places do not foretell; of all, where the floor has no
        pattern.
    """
    step = max(1, round(SCALE_UM / work.um_per_px))
    most = np.linalg.eigh(light.covariance)[1][:, -1].astype(np.float32)
    mix = Mix.of(work, light, most)  # in which the floor's pattern is strongest
    um_per_px, shape = work.um_per_px * step, tuple(n // step for n in labels.shape)

    def pattern_in(first, end):
        first, end = (tuple(step * n for n in corner) for corner in (first, end))
        free = labels[first[0] : end[0], first[1] : end[1]] == 0
        return _mean_of_blocks(mix.within(first, end), free, step)

    places = [(row / step, col / step) for row, col in zip(rows, cols, strict=True)]
    boxes = [_box_around(place, shape, um_per_px) for place in places]
    few = sum(np.prod(np.subtract(end, first)) for first, end in boxes) < np.prod(shape)
    whole = None if few else pattern_in((0, 0), shape)
    both = []
    for (row, col), (first, end) in zip(places, boxes, strict=True):
        box = slice(first[0], end[0]), slice(first[1], end[1])
        part = pattern_in(first, end) if whole is None else (whole[0][box], whole[1][box])
        both.append(_Floor.of(*part, um_per_px).likeness(row - first[0], col - first[1]))
    inside, around = np.array(both, float).reshape(-1, 2).T
    known = around >= EACH_FORETOLD
    if not known.any() or np.nanmedian(around) < FORETOLD:
        known[:] = False
    return np.where(known, inside, np.nan)


def _box_around(place: tuple[float, float], shape: tuple[int, int], um_per_px: float):
    """First and last corner of what of a floor is looked at for a body; the first on even pixels, as the coarse one."""
    reach = 2 * _half_window(um_per_px) + 8  # places, the rings around them, and what widens bodies that lie there
    at = [int(n) for n in place]
    first = tuple(max(0, n - reach) // 2 * 2 for n in at)
    return first, tuple(min(n + reach + 1, most) for n, most in zip(at, shape, strict=True))


def _half_window(um_per_px: float) -> int:
    """Pixels of the coarse floor to each side of a body where like rings are sought."""
    return int(WINDOW_UM / um_per_px / 2)


def _mean_of_blocks(values: np.ndarray, free: np.ndarray, step: int) -> tuple[np.ndarray, np.ndarray]:
    """Means over blocks of ``step`` pixels, and which of them are free throughout."""
    if step == 1:
        return values, free
    rows, cols = (n // step * step for n in values.shape)
    parts = [np.s_[dy:rows:step, dx:cols:step] for dy in range(step) for dx in range(step)]
    mean, all_free = values[parts[0]].copy(), free[parts[0]].copy()
    for part in parts[1:]:
        mean += values[part]
        all_free &= free[part]
    mean /= len(parts)
    return mean, all_free


def _well_free(free: np.ndarray) -> np.ndarray:
    """Free pixels that are more than ``MARGIN_PX`` steps from one that is not."""
    for _ in range(MARGIN_PX):
        out, left, right = free.copy(), free.copy(), free.copy()
        out[1:] &= free[:-1]
        out[:-1] &= free[1:]
        left[:, -1] = right[:, 0] = True  # rows end to end: what begins one lies beside nothing
        out.ravel()[1:] &= left.ravel()[:-1]
        out.ravel()[:-1] &= right.ravel()[1:]
        free = out
    return free


@dataclass(frozen=True)
class _Floor:
    """A part of a floor's pattern at two sizes, the coarse one by half, and where it is free of bodies."""

    fine: np.ndarray  # with the bodies
    clean: np.ndarray  # zero where a body lies on it, as the coarse one
    free: np.ndarray
    coarse: np.ndarray
    coarse_free: np.ndarray
    um_per_px: float

    @classmethod
    def of(cls, fine: np.ndarray, free: np.ndarray, um_per_px: float) -> _Floor:
        free = _well_free(free)
        coarse, coarse_free = _mean_of_blocks(fine, free, 2)
        coarse *= coarse_free
        coarse_free = coarse_free.astype(np.float32)
        return cls(fine, fine * free, free, coarse=coarse, coarse_free=coarse_free, um_per_px=um_per_px)

    def likeness(self, row: float, col: float) -> tuple[float, float]:
        """Correlation of a body's inside with the floor foretold, and of the ring around it; or NaN."""
        reach = int(np.ceil(REACH_UM / self.um_per_px))
        at = np.array([int(row), int(col)])
        if (at < reach + 1).any() or (at + reach + 2 > self.free.shape).any():
            return UNKNOWN
        y, x, out = _about(reach, self.um_per_px, tuple(at + 0.5 - (row, col)))
        here = np.s_[at[0] - reach : at[0] + reach + 1, at[1] - reach : at[1] + reach + 1]
        ring, inside = out > RIM_UM, out < INSIDE_UM
        clear = ring & self.free[here]
        if clear.sum() < LEAST_RING * ring.sum():
            return UNKNOWN
        places = self._refined(self.fine[here], clear, at + self._like_places(at // 2, (reach + 1) // 2))
        if len(places) < FEWEST_PLACES:
            return UNKNOWN
        wide = reach + 1
        behind = sum(self.clean[r - wide : r + wide + 1, c - wide : c + wide + 1] for r, c in places) / len(places)
        around, foretold = self.fine[here][clear].astype(float), behind[1:-1, 1:-1][clear].astype(float)
        of_ring = float(_correlation(around - around.mean(), foretold - foretold.mean()))
        if not of_ring >= EACH_FORETOLD:  # then its inside is not asked for
            return np.nan, of_ring
        bowl = (out[inside] / REACH_UM) ** 2  # shading of numbers alike in size
        shading = np.stack([np.ones(len(bowl)), y[inside] / reach, x[inside] / reach, bowl])
        return _best_correlation(self.fine[here], behind, inside, shading), of_ring

    def _like_places(self, centre: np.ndarray, reach: int) -> np.ndarray:
        """Where the coarse floor is most like that around a body, from its centre: (k, 2) pixels of the fine one."""
        from scipy import fft

        half, side = _half_window(self.um_per_px), 2 * reach + 1
        first = np.maximum(centre - half, 0)
        window = np.s_[first[0] : centre[0] + half + 1, first[1] : centre[1] + half + 1]
        floor, free = self.coarse[window], self.coarse_free[window]
        top, left = centre - first - reach
        if min(top, left) < 0 or top + side > floor.shape[0] or left + side > floor.shape[1]:
            return np.empty((0, 2), int)
        out = _about(reach, 2 * self.um_per_px)[2]
        clear = free[top : top + side, left : left + side] * (out > RIM_UM)
        template = floor[top : top + side, left : left + side]
        n_ring = clear.sum()
        template = (template - (template * clear).sum() / max(n_ring, 1)) * clear
        # one sum tells both how much of a ring is free and, being heavier than all of it, whether the middle is
        middle = out < RIM_UM
        weighted = clear + (n_ring + 1) * middle
        needed = (n_ring + 1) * middle.sum() + np.ceil(LEAST_CLEAR * float(n_ring) - 1e-6)
        shape = fft.next_fast_len(floor.shape[0]), fft.next_fast_len(floor.shape[1], real=True)
        sums = fft.rfft2(np.stack([floor, floor * floor, free]), shape)
        rings = fft.rfft(np.stack([template, clear, weighted.astype(np.float32)]), shape[1])
        sums *= np.conj(fft.fft(rings, shape[0], axis=1, overwrite_x=True))
        rows, cols = (n - side + 1 for n in floor.shape)  # at which a ring lies within
        sums = fft.ifft(sums, axis=1, overwrite_x=True)[:, :rows]
        along, power, n_free = fft.irfft(sums, shape[1], overwrite_x=True)[..., :cols]
        like = along / np.sqrt(np.maximum(power, 1e-3) * max((template**2).sum(), 1e-3))
        like[n_free < needed - 0.5] = -1
        return 2 * (_highest(like) + reach + first - centre)

    def _refined(self, patch: np.ndarray, clear: np.ndarray, places: np.ndarray) -> np.ndarray:
        """The same places to the pixel, by the least squares of their rings; those too near to an edge left out."""
        reach, width = len(patch) // 2, self.clean.shape[1]
        inner = (places >= reach + 3) & (places < np.array(self.clean.shape) - reach - 3)
        places = places[inner.all(axis=1)]
        tried = places[:, None] + np.array([(dy, dx) for dy in (-1, 0, 1) for dx in (-1, 0, 1)])
        row, col = np.nonzero(clear)
        of_ring = (row - reach) * width + col - reach
        rings = self.clean.ravel().take((tried[..., 0] * width + tried[..., 1])[..., None] + of_ring, mode="wrap")
        rings -= patch[clear]
        best = np.square(rings, out=rings).sum(axis=-1).argmin(axis=1)
        return tried[np.arange(len(places)), best]


@lru_cache(maxsize=4)
def _about(reach: int, um_per_px: float, off=(0.0, 0.0)) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows and columns about a centre, ``off`` of the middle pixel away, and the distance from it in µm."""
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(float) + np.array(off)[:, None, None]
    return y, x, np.hypot(y, x) * um_per_px


def _highest(like: np.ndarray) -> np.ndarray:
    """The places of the highest values, apart from each other; ``like`` is used up."""
    found = []
    while len(found) < PLACES:
        r, c = divmod(int(like.argmax()), like.shape[1])
        if like[r, c] < LEAST_LIKE:
            break
        found.append((r, c))
        like[max(0, r - 2) : r + 3, max(0, c - 2) : c + 3] = -1
    return np.array(found, int).reshape(-1, 2)


def _correlation(a: np.ndarray, b: np.ndarray) -> float | np.ndarray:
    """Correlation of values about their means, the last axis of ``a`` with ``b``; 0 where one does not vary."""
    return (a @ b) / np.sqrt((a**2).sum(axis=-1) * (b @ b) + 1e-9)


def _best_correlation(body: np.ndarray, behind: np.ndarray, inside: np.ndarray, shading: np.ndarray) -> float:
    """Highest correlation inside a body, its shading taken out, with the floor moved by a pixel at most.

    ``behind`` is a pixel wider than ``body`` on every side: what a body bends is seen a little beside its place.
    """
    height, width = body.shape
    moved = [behind[dy : dy + height, dx : dx + width] for dy in range(3) for dx in range(3)]
    values = np.stack([picture[inside] for picture in (body, *moved)]).astype(float)
    of_shading = np.linalg.solve(shading @ shading.T, shading @ values.T)
    values -= of_shading.T @ shading
    return float(_correlation(values[1:], values[0]).max())
