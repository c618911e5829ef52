"""How much of a patterned floor shows through a body: its inside, against the floor foretold from like places.

Over a weave or a print an empty shell is told by what shines through it, in any light: threads and openings go on
inside its outline, dimmer or bent a little, while an opaque cyst hides them. What must lie behind a body is not known
from a map of the floor (weaves are stretched, tilted and out of focus) but from the floor itself: around the body lies
a ring of floor, elsewhere in the photo lie rings like it, and what these surround is what the body lies on (filling in
by like surroundings: Efros and Leung 1999, International Conference on Computer Vision 2:1033, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.segmentation.light import LOG_CODE, Light, background_rows
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
    floor = _Floor.of(_mean_of_blocks(_pattern(work, light), labels == 0, step), work.um_per_px * step)
    both = [floor.likeness(row / step, col / step) for row, col in zip(rows, cols, strict=True)]
    inside, around = np.array(both, float).reshape(-1, 2).T
    known = around >= EACH_FORETOLD
    if not known.any() or np.nanmedian(around) < FORETOLD:
        known[:] = False
    return np.where(known, inside, np.nan)


def _pattern(work: WorkImage, light: Light) -> np.ndarray:
    """The floor's pattern about its background, in the mix of channels that scatters most."""
    mix = np.linalg.eigh(light.covariance)[1][:, -1].astype(np.float32)
    out = np.empty(work.pixels.shape[:2], np.float32)
    tables = [share * LOG_CODE for share in mix]
    for rows in background_rows(light.grid @ -mix, light.block_px, out):
        for k, table in enumerate(tables):
            out[rows] += table.take(work.pixels[rows, :, k])
    return out


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


def _widened(taken: np.ndarray) -> np.ndarray:
    """Taken pixels and those within ``MARGIN_PX`` steps of one."""
    for _ in range(MARGIN_PX):
        out = taken.copy()
        out[1:] |= taken[:-1]
        out[:-1] |= taken[1:]
        out[:, 1:] |= taken[:, :-1]
        out[:, :-1] |= taken[:, 1:]
        taken = out
    return taken


@dataclass(frozen=True)
class _Floor:
    """A floor's pattern at two sizes, the coarse one by half, and where it is free of bodies."""

    fine: np.ndarray  # with the bodies
    free: np.ndarray
    coarse: np.ndarray  # zero where a body lies on it
    coarse_free: np.ndarray
    um_per_px: float

    @classmethod
    def of(cls, pattern: tuple[np.ndarray, np.ndarray], um_per_px: float) -> _Floor:
        fine, free = pattern
        free = ~_widened(~free)
        coarse, coarse_free = _mean_of_blocks(fine, free, 2)
        coarse *= coarse_free
        return cls(fine, free, coarse, coarse_free, um_per_px)

    def likeness(self, row: float, col: float) -> tuple[float, float]:
        """Correlation of a body's inside with the floor foretold, and of the ring around it; or NaN."""
        reach = int(np.ceil(REACH_UM / self.um_per_px))
        at = np.array([int(row), int(col)])
        if (at < reach + 1).any() or (at + reach + 2 > self.free.shape).any():
            return UNKNOWN
        y, x, out = _about(reach, self.um_per_px, at + 0.5 - (row, col))
        here = np.s_[at[0] - reach : at[0] + reach + 1, at[1] - reach : at[1] + reach + 1]
        ring, inside = out > RIM_UM, out < INSIDE_UM
        clear = ring & self.free[here]
        if clear.sum() < LEAST_RING * ring.sum():
            return UNKNOWN
        places = self._refined(self.fine[here], clear, at + self._like_places(at // 2, (reach + 1) // 2))
        if len(places) < FEWEST_PLACES:
            return UNKNOWN
        wide = reach + 1
        like = [np.s_[r - wide : r + wide + 1, c - wide : c + wide + 1] for r, c in places]
        behind = np.mean([self.fine[place] * self.free[place] for place in like], axis=0)
        around, foretold = self.fine[here][clear].astype(float), behind[1:-1, 1:-1][clear].astype(float)
        shading = np.stack([np.ones(inside.sum()), y[inside], x[inside], out[inside] ** 2], axis=1)
        of_ring = _correlation(around - around.mean(), foretold - foretold.mean())
        return _best_correlation(self.fine[here], behind, inside, shading), of_ring

    def _like_places(self, centre: np.ndarray, reach: int) -> np.ndarray:
        """Where the coarse floor is most like that around a body, from its centre: (k, 2) pixels of the fine one."""
        half, side = int(WINDOW_UM / self.um_per_px / 2), 2 * reach + 1
        first = np.maximum(centre - half, 0)
        window = np.s_[first[0] : centre[0] + half + 1, first[1] : centre[1] + half + 1]
        floor, free = self.coarse[window], self.coarse_free[window].astype(np.float32)
        top, left = centre - first - reach
        if min(top, left) < 0 or top + side > floor.shape[0] or left + side > floor.shape[1]:
            return np.empty((0, 2), int)
        out = _about(reach, 2 * self.um_per_px)[2]
        clear = free[top : top + side, left : left + side] * (out > RIM_UM)
        template = floor[top : top + side, left : left + side]
        template = (template - (template * clear).sum() / max(clear.sum(), 1)) * clear
        middle = (out < RIM_UM).astype(np.float32)
        shape = [-(-n // 16) * 16 for n in floor.shape]  # products of small primes are transformed fast
        pattern, power, open_floor = np.fft.rfft2(np.stack([floor, floor**2, free]), shape)
        ring, all_of_it, covered = np.fft.rfft2(np.stack([template, clear, middle]), shape).conj()
        sums = np.fft.irfft2(
            np.stack([pattern * ring, power * all_of_it, open_floor * all_of_it, open_floor * covered]), shape
        )
        along, power, n_clear, n_middle = sums[:, : floor.shape[0] - side + 1, : floor.shape[1] - side + 1]
        like = along / np.sqrt(np.maximum(power, 1e-3) * max((template**2).sum(), 1e-3))
        like[(n_clear < LEAST_CLEAR * clear.sum()) | (n_middle < middle.sum() - 0.5)] = -1
        return 2 * (_highest(like) + reach + first - centre)

    def _refined(self, patch: np.ndarray, clear: np.ndarray, places: np.ndarray) -> np.ndarray:
        """The same places to the pixel, by the least squares of their rings; those too near to an edge left out."""
        side = len(patch)
        reach = side // 2
        inner = (places >= reach + 3) & (places < np.array(self.fine.shape) - reach - 3)
        places = places[inner.all(axis=1)]
        tried = places[:, None] + np.array([(dy, dx) for dy in (-1, 0, 1) for dx in (-1, 0, 1)])
        at = tried[..., 0] - reach, tried[..., 1] - reach
        floor, free = (
            np.lib.stride_tricks.sliding_window_view(a, (side, side))[at][..., clear] for a in (self.fine, self.free)
        )
        rings = floor * free
        best = ((rings - patch[clear]) ** 2).sum(axis=-1).argmin(axis=1)
        return tried[np.arange(len(places)), best]


def _about(reach: int, um_per_px: float, off=(0.0, 0.0)) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows and columns about a centre, ``off`` of the middle pixel away, and the distance from it in µm."""
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(float) + np.array(off)[:, None, None]
    return y, x, np.hypot(y, x) * um_per_px


def _highest(like: np.ndarray) -> np.ndarray:
    """The places of the highest values, apart from each other; ``like`` is used up."""
    found = []
    while len(found) < PLACES:
        r, c = np.unravel_index(like.argmax(), like.shape)
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
    basis = np.linalg.qr(shading)[0]

    def plain(values):
        return values - (values @ basis) @ basis.T

    height, width = body.shape
    moved = np.stack([behind[dy : dy + height, dx : dx + width][inside] for dy in range(3) for dx in range(3)])
    interior, floor = plain(body[inside].astype(float)), plain(moved.astype(float))
    return float(_correlation(floor, interior).max())
