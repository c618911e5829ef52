"""Bodies that end along one straight row of pixels: where a part of a photo was shifted, laid over or left out.

A lens spreads every outline over several pixels, and an outline that it draws bends or leans. Where a picture was cut,
several bodies end at once, each with a step of one pixel, all along one row. A decoder that reduces the photo blurs
such steps; then rows that may be cuts are looked at again in the photo's own pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

__all__ = ["Cut", "look_again", "sharp_per_row", "steps_of", "surest_cut", "suspect_rows", "suspects_of"]


@dataclass(frozen=True)
class _Look:
    """How a cut body looks at some fineness."""

    step: int  # code values at the cut
    sharper: int  # times the steps before and after it
    stays_px: tuple[int, ...]  # so many pixels on the step is still there: a ruled line is over by then
    run_px: int  # shortest stretch of a cut
    same_body_px: int  # stretches nearer than this are of one body


FINE = _Look(step=14, sharper=3, stays_px=(4, 8, 12), run_px=8, same_body_px=24)
REDUCED = _Look(step=12, sharper=4, stays_px=(2, 4, 6), run_px=7, same_body_px=12)
STAYS = 0.5  # share of the step that is there some pixels on
SAME_EDGE = 0.7  # share of the columns between two stretches that step too, if less clearly: one outline's
BESIDE_PX, LEANING = (2, 3, 4), 0.25  # rows off in which an outline that leans or bends is sharp too; share of it
MOST_OF_ONE, LEAST_CUT, LEAST_BODIES = 40, 42, 2
"""Pixels of a cut that one body can bring; in all; bodies. Sound photos of cysts and nauplii, also sharpened, enlarged
or of quality 50, reach 40 with one body and 32 with two."""

LEAST_EACH, LEAST_CORNER = 28, 64  # pixels along a row and along a column, and of both: a corner; sound photos reach 47
LEAST_SUSPECT = 14  # pixels in a reduced photo: one sound photo in four has such a row, nine of ten torn ones
CANDIDATES, SUSPECTS = 24, 6
ROWS = 64  # worked on at a time: so few stay in the processor's cache


class Cut(NamedTuple):
    """A row at which bodies end: pixels of it, bodies, and the row, counted from 0, before which they end."""

    px: int
    n_bodies: int
    row: int


def steps_of(values: np.ndarray, reach: int) -> tuple[np.ndarray, np.ndarray]:
    """Size of the step from each row to that ``reach`` further on, and of the larger of its neighbours'.

    Parameters
    ----------
    values : (M, N) ndarray of uint8
    reach : int
        1; or 2 where a decoder that reduces the photo has mixed two rows.

    Returns
    -------
    middle, beside : (M - 3 * reach, N) ndarray of uint8
    """
    size = np.maximum(values[reach:], values[:-reach])
    size -= np.minimum(values[reach:], values[:-reach])
    return size[reach:-reach], np.maximum(size[: -2 * reach], size[2 * reach :])


def _sharp(middle: np.ndarray, beside: np.ndarray, look: _Look) -> np.ndarray:
    """Where the step is as at a cut."""
    sharp = middle >= look.step
    sharp &= middle // look.sharper >= beside
    return sharp


def sharp_per_row(middle: np.ndarray, beside: np.ndarray, *, reduced: bool) -> np.ndarray:
    """How many steps of each row are as at a cut, of what :func:`steps_of` returns."""
    return _per_row(_sharp(middle, beside, REDUCED if reduced else FINE))


def suspect_rows(values: np.ndarray, reach: int, *, reduced: bool, n_sharp: np.ndarray | None = None) -> list[Cut]:
    """Find rows at which bodies may end.

    Parameters
    ----------
    values : (M, N) ndarray of uint8
    reach : int
        1; or 2 where a decoder that reduces the photo has mixed two rows.
    reduced : bool
        The photo was, and rows are only suspected.
    n_sharp : (M - 3 * reach,) ndarray, optional
        From :func:`sharp_per_row`, where it is known already.

    Returns
    -------
    list of Cut
        The surest first.
    """
    look, least = (REDUCED, LEAST_SUSPECT) if reduced else (FINE, LEAST_EACH)
    n = sharp_per_row(*steps_of(values, reach), reduced=reduced) if n_sharp is None else n_sharp.copy()
    margin = max(look.stays_px) + 2
    n[:margin] = n[-margin:] = 0
    found = []
    for k in np.argsort(-n, kind="stable")[:CANDIDATES]:
        if n[k] < least:
            break
        bodies = _bodies(values, int(k), reach, look)
        px = sum(min(px, MOST_OF_ONE) for px in bodies)
        if px >= least:
            found.append(Cut(px, len(bodies), int(k) + reach))
    return sorted(found, reverse=True)[:SUSPECTS]


def _per_row(which: np.ndarray) -> np.ndarray:
    """How many are set in each row. Eight at once, as bytes of a number; 255 of these before a byte is full."""
    whole = which.shape[1] // 8 * 8
    eights = np.ascontiguousarray(which[:, :whole]).view(np.uint64)
    total = which[:, whole:].sum(axis=1, dtype=np.int64)
    for first in range(0, eights.shape[1], 255):
        total += (
            np.add.reduce(eights[:, first : first + 255], axis=1)[:, None].view(np.uint8).sum(axis=1, dtype=np.int64)
        )
    return total


def suspects_of(values: np.ndarray) -> list[Cut]:
    """Find rows at which bodies may end, in a photo's own pixels; ``values`` is an (M, N) ndarray of uint8."""
    n_rows = len(values) - 3
    if n_rows <= 2 * (max(FINE.stays_px) + 2):
        return []
    blocks = (values[first : first + ROWS + 3] for first in range(0, n_rows, ROWS))
    n_sharp = np.concatenate([sharp_per_row(*steps_of(block, 1), reduced=False) for block in blocks])
    return suspect_rows(values, 1, reduced=False, n_sharp=n_sharp)


def look_again(suspects: list[Cut], reduction: float, values: np.ndarray) -> list[Cut]:
    """Look at suspected rows of a reduced photo in the photo's own pixels.

    Parameters
    ----------
    suspects : list of Cut
        From :func:`suspect_rows`.
    reduction : float
        Pixels of the photo per pixel in which the rows were found.
    values : (M, N) ndarray of uint8
        The photo's brightness.

    Returns
    -------
    list of Cut
        Those that are there, by rows of the photo.
    """
    found = []
    for suspect in suspects:
        first = max(0, int(reduction * suspect.row) - 20)
        band = np.ascontiguousarray(values[first : int(reduction * (suspect.row + 2)) + 20])
        low, high = (int(reduction * row) - first for row in (suspect.row, suspect.row + 2))
        for reach in (1, 2):
            if len(band) <= 3 * reach + 2 * (max(FINE.stays_px) + 2):
                continue
            cuts = suspect_rows(band, reach, reduced=False)
            found += [cut._replace(row=cut.row + first) for cut in cuts if low - 2 <= cut.row < high + 2]
    return found


def surest_cut(along_rows: list[Cut], along_columns: list[Cut]) -> tuple[str, int] | None:
    """Judge cuts: ``("row", 120)`` or ``("column", 88)``, counted from 0; None where a sound photo may have them."""
    for word, cuts in (("row", along_rows), ("column", along_columns)):
        for cut in sorted(cuts, reverse=True):
            if cut.px >= LEAST_CUT and cut.n_bodies >= LEAST_BODIES:
                return word, cut.row
    row, column = (max(cuts, default=Cut(0, 0, 0)) for cuts in (along_rows, along_columns))
    n_bodies = row.n_bodies + column.n_bodies
    if min(row.px, column.px) >= LEAST_EACH and row.px + column.px >= LEAST_CORNER and n_bodies > LEAST_BODIES:
        return "row", row.row
    return None


def _bodies(values: np.ndarray, k: int, reach: int, look: _Look) -> list[int]:
    """Pixels along row k at which each body ends that ends there."""
    row = k + reach
    first = max(0, k - max(BESIDE_PX))
    sharp = _sharp(*steps_of(values[first : k + max(BESIDE_PX) + 1 + 3 * reach], reach), look)
    k -= first
    step = values[row + reach].astype(np.int16) - values[row]
    sign = np.sign(step)
    stays = sharp[k].copy()
    for apart in look.stays_px:
        below = values[min(len(values) - 1, row + reach + apart)].astype(np.int16)
        stays &= sign * (below - values[max(0, row - apart)]) >= STAYS * np.abs(step)
    signed = np.where(stays, sign, 0)
    edges = np.flatnonzero(np.diff(np.r_[0, signed, 0]))
    leaning = np.zeros(len(step), bool)
    for apart in BESIDE_PX:
        for other in (k - apart, k + apart):
            if 0 <= other < len(sharp):
                leaning |= sharp[other]
    n_leaning = np.r_[0, np.cumsum(leaning)]
    bodies: list[int] = []
    last, last_sign = -look.same_body_px, 0
    for first, end in pairwise(edges):
        if not signed[first] or end - first < look.run_px:
            continue
        near = n_leaning[min(len(step), end + look.run_px)] - n_leaning[max(0, first - look.run_px)]
        if near > LEANING * (end - first):
            continue
        if first - last < look.same_body_px or (bodies and _is_one_edge(step[last:first], last_sign, look)):
            bodies[-1] += int(end - first)
        else:
            bodies.append(int(end - first))
        last, last_sign = int(end), int(signed[first])
    return bodies


def _is_one_edge(step: np.ndarray, sign: int, look: _Look) -> bool:
    """Tell whether the columns between two stretches step the same way, if less clearly."""
    return bool((step * sign >= look.step // 2).mean() >= SAME_EDGE)
