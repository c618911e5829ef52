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

from qckit.counting.damage.outlines import goes_on_bent
from qckit.counting.damage.row_steps import count_per_row, rows_at_once, steps_of, strips_of_steps, turned
from qckit.photo.reading import Brightness

__all__ = ["Cut", "look_again", "sharp_per_row", "surest_cut", "suspect_rows", "suspects_of"]


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


class Cut(NamedTuple):
    """A row at which bodies end: pixels of it, bodies, and the row, counted from 0, before which they end."""

    px: int
    n_bodies: int
    row: int


def _sharp(middle: np.ndarray, beside: np.ndarray, look: _Look) -> np.ndarray:
    """Where the step is as at a cut."""
    sharp = middle >= look.step
    sharp &= middle // look.sharper >= beside
    return sharp


def sharp_per_row(middle: np.ndarray, beside: np.ndarray, *, reduced: bool) -> np.ndarray:
    """How many steps of each row are as at a cut, of what :func:`qckit.counting.damage.row_steps.steps_of` returns."""
    return count_per_row(_sharp(middle, beside, REDUCED if reduced else FINE))


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
    if n_sharp is None:
        strips = strips_of_steps(values, reach)
        counts = [sharp_per_row(middle, beside, reduced=reduced) for _, middle, beside in strips]
        n_sharp = np.concatenate([np.zeros(0, np.int64), *counts])
    n = n_sharp.copy()
    margin = max(look.stays_px) + 2
    n[:margin] = n[-margin:] = 0
    rows = np.argsort(-n, kind="stable")[:CANDIDATES]
    rows = rows[n[rows] >= least]
    if not len(rows):
        return []
    found = []
    signs = _lasting(values, rows, reach, look)
    for i in np.flatnonzero(_may_be_cuts(signs, look, least)):
        k = int(rows[i])
        bodies = _bodies(values, k, reach, signs=signs[i], look=look, least=least)
        px = sum(min(px, MOST_OF_ONE) for px in bodies)
        if px >= least:
            found.append(Cut(px, len(bodies), k + reach))
    return sorted(found, reverse=True)[:SUSPECTS]


def suspects_of(values: np.ndarray) -> list[list[Cut]]:
    """Find rows, and columns, at which bodies may end, in a photo's own pixels: (M, N) ndarray of uint8.

    Few photos have a column with steps enough; only then are rows turned to columns.
    """
    margin = max(FINE.stays_px) + 2
    along_rows, along_columns = (n - 3 > 2 * margin for n in values.shape)
    found: list[list[Cut]] = [suspect_rows(values, 1, reduced=False) if along_rows else [], []]
    if along_columns:
        n_sharp = _sharp_per_column(values)
        if n_sharp[margin:-margin].max() >= LEAST_EACH:
            found[1] = suspect_rows(turned(values), 1, reduced=False, n_sharp=n_sharp)
    return found


def _sharp_per_column(values: np.ndarray) -> np.ndarray:
    """How many steps from one column to the next are as at a cut: (N - 3,). All rows end to end, some at a time."""
    cols = values.shape[1]
    out = np.zeros(cols - 3, np.int64)
    at_once = min(rows_at_once(cols), 255)  # so many can be counted in a byte
    for first in range(0, len(values), at_once):
        some = values[first : first + at_once].ravel()
        size = np.maximum(some[1:], some[:-1])
        size -= np.minimum(some[1:], some[:-1])
        sharp = np.zeros(len(some), bool)  # what runs over the ends of rows is not used
        sharp[:-3] = _sharp(size[1:-1], np.maximum(size[:-2], size[2:]), FINE)
        out += np.add.reduce(sharp.view(np.uint8).reshape(-1, cols)[:, :-3], axis=0, dtype=np.uint8)
    return out


def look_again(suspects: list[Cut], reduction: float, values: Brightness | np.ndarray) -> list[Cut]:
    """Look at suspected rows of a reduced photo in the photo's own pixels.

    Parameters
    ----------
    suspects : list of Cut
        From :func:`suspect_rows`.
    reduction : float
        Pixels of the photo per pixel in which the rows were found.
    values : Brightness, or (M, N) ndarray of uint8
        The photo's brightness in its own pixels.

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


def _bodies(values: np.ndarray, k: int, reach: int, *, signs: np.ndarray, look: _Look, least: int) -> list[int]:
    """Pixels along row k at which each body ends that ends there; ``signs`` is that row's of :func:`_lasting`.

    None as soon as they cannot be so many in all.
    """
    edges = np.flatnonzero(signs[1:] != signs[:-1]) + 1
    edges = [0, *edges.tolist(), len(signs)]
    runs = [(a, b, int(signs[a])) for a, b in pairwise(edges) if b - a >= look.run_px and signs[a]]
    row = k + reach
    bodies: list[int] = []
    last, last_sign, left = -look.same_body_px, 0, sum(end - first for first, end, _ in runs)
    for first, end, sign in runs:
        if left < least:
            return []
        across = first, end
        if _leans(values, k, reach, across=across, look=look) or goes_on_bent(values, row, reach, across):
            left -= end - first
            continue
        between = values[row + reach, last:first].astype(np.int16) - values[row, last:first] if bodies else None
        if first - last < look.same_body_px or (bodies and _is_one_edge(between, last_sign, look)):
            bodies[-1] += end - first
        else:
            bodies.append(end - first)
        last, last_sign = end, sign
    return bodies


def _lasting(values: np.ndarray, rows: np.ndarray, reach: int, look: _Look) -> np.ndarray:
    """Sign of the steps at some rows that are as at a cut and are still there some pixels on; 0 elsewhere: (n, N)."""
    sizes = []
    for k in range(3):
        one, two = values[rows + k * reach], values[rows + (k + 1) * reach]
        sizes.append(np.maximum(one, two) - np.minimum(one, two))
    sharp = _sharp(sizes[1], np.maximum(sizes[0], sizes[2]), look)
    which, cols = np.divmod(np.flatnonzero(sharp), sharp.shape[1])  # few: only they are looked at further
    least, at = np.ceil(STAYS * sizes[1][which, cols]), rows[which] + reach
    up = values[at + reach, cols] > values[at, cols]
    lasting = np.ones(len(cols), bool)
    for apart in look.stays_px:
        below, above = np.minimum(len(values) - 1, at + reach + apart), np.maximum(0, at - apart)
        there = values[below, cols].astype(np.int16) - values[above, cols]
        lasting &= np.where(up, there, -there) >= least
    out = np.zeros(sharp.shape, np.int8)
    out[which[lasting], cols[lasting]] = np.where(up, 1, -1)[lasting]
    return out


def _may_be_cuts(signs: np.ndarray, look: _Look, least: int) -> np.ndarray:
    """Tell in which rows lasting steps stand side by side in stretches long enough for a cut: most have few."""
    stretch, px = signs != 0, 1
    while px < look.run_px:
        more = min(px, look.run_px - px)
        stretch, px = stretch[:, :-more] & stretch[:, more:], px + more
    return look.run_px * count_per_row(stretch) >= least


def _leans(values: np.ndarray, k: int, reach: int, *, across: tuple[int, int], look: _Look) -> bool:
    """Tell whether rows near row k have steps as at a cut, too, along a stretch of columns: the edge leans or bends."""
    first, end = across
    top, columns = max(0, k - max(BESIDE_PX)), slice(max(0, first - look.run_px), end + look.run_px)
    block = values[top : k + max(BESIDE_PX) + 1 + 3 * reach, columns]
    sharp = _sharp(*steps_of(block, reach), look)
    rows = [k - top + sign * apart for apart in BESIDE_PX for sign in (-1, 1)]
    leaning = sharp[[row for row in rows if 0 <= row < len(sharp)]].any(axis=0)
    return np.count_nonzero(leaning) > LEANING * (end - first)


def _is_one_edge(step: np.ndarray, sign: int, look: _Look) -> bool:
    """Tell whether the columns between two stretches step the same way, if less clearly."""
    return bool((step * sign >= look.step // 2).mean() >= SAME_EDGE)
