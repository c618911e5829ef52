"""Seams: where the contents of a photo break off along one row or column, as no lens and no sensor lets them.

At a seam neighbours differ more than the pixels before and after them do, along a straight line of one pixel. Every
photo has such steps by chance, so rows are held against the photo's other rows, at the same place of a compressed
photo's blocks. Ruled lines and wires of a mesh are straight too, but a lens spreads their edges over several rows: a
seam's step is confined to one.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.damage.cuts import Cut, sharp_per_row, suspect_rows
from qckit.counting.damage.outlines import is_one_outline
from qckit.counting.damage.row_steps import (
    count_per_row,
    rows_at_once,
    step_sums,
    steps_of,
    strips_of_steps,
    sums_across,
)

__all__ = ["find_break", "find_seam"]

GRID = 8  # compressed photos have edges of their own at blocks of eight pixels
CELL = 24  # columns counted together
WINDOWS = {4: 15.0, 8: 12.0, 16: 12.0}
"""Lengths of seams looked for, in cells and powers of two, and how far beyond the usual they must be, in scatters of
counting. Sound photos reach 11.7 with the shortest, which bodies and ends of ruled lines fill most easily, and 8.6 with
the others."""

FIFTH, LEAD = 5, 4.3
"""A seam stands out from the fifth strongest row at its place of a block by this factor; hard compression makes many
edges, of which the strongest does so by 4.0 at most in sound photos and their variants."""

MARGIN = 12  # rows at the border that have nothing on one side to be held against
USUAL = 92  # percentile of other rows that passes for usual
NEAR = 14  # rows in which a line's or wire's edge spreads
SPREAD, LEAST_SPREAD = 0.35, 2.0  # of the step itself, and in code values: a coherent step beside it is a line's

OVER_PX, OVER_SHARE = 4, 0.5
"""So many rows off a scratch is over, and less than so much of its step is left (half of the strongest steps)."""

FEW = 5  # one row in so many tells how large steps are
LEAST_STEP, STEPS = 6.0, 3.0  # of code values, and of the usual step between neighbours: what counts as a sharp edge
ROW_Z, ROW_PX = 30.0, 28
LINE_PX, LINE_STEP, LINE_SHARE = (15, 8), 4.0, 0.75
"""A ruled line is thinner, and as much of it stands out on both sides: so far off it is over, or its twin not begun."""


BREAK = 1.4  # Fisher's z by which two rows agree less than those before and after; 1.33 at most on sound photos
AGREE, BROKEN, MOST_AGREE = 0.7, 0.6, 0.95  # correlation of neighbouring rows that show objects; and across a break
LEAST_SCATTER = 4.0  # of a row that shows something, in code values
BREAK_MARGIN = 6
ALONE = 0.62  # share of a row's squares in one place; 0.8 at least where the limit was passed on sound photos
LIGHT_PX = 65  # along a row; what is wider is light
MOST_ACROSS = 800  # pixels of a row that are looked at
REACHES = (1, 2)  # the next row; and the next but one, where a decoder that reduces the photo has mixed two
ENOUGH_ACROSS = 240  # pixels of a row at the first look
ROUGH_BREAK, ROUGH_LIMITS = 0.8, (0.5, 0.75, 3.0)  # and laxer limits: rows beyond BREAK reach 1.0 there at least


def find_break(values: np.ndarray) -> int | None:
    """Find a row that does not go on in the next, although rows before and after do.

    A lens spreads every point over more than a pixel, so that neighbouring rows are alike wherever objects are; two
    rows that are not, between rows that are, were not neighbours on the sensor.

    Parameters
    ----------
    values : (M, N) ndarray of uint8
        One channel.

    Returns
    -------
    int or None
        Row, counted from 1.
    """
    if values.shape[0] < 2 * BREAK_MARGIN + 7:
        return None
    step = -(-values.shape[1] // MOST_ACROSS)
    rows, width = values[:, ::step], max(3, LIGHT_PX // step)
    likely = _likely_breaks(rows, width)
    for reach, where in zip(REACHES, likely, strict=True):
        if not where.any():
            continue
        needed = np.r_[where, np.zeros(3 * reach, bool)]
        for apart in range(1, 3 * reach + 1):
            needed[apart : apart + len(where)] |= where
        gap = _gaps(_products(rows, width, needed), reach, AGREE, BROKEN, LEAST_SCATTER)
        gap[~where] = 0
        for at in np.argsort(-gap)[:6]:
            if gap[at] <= BREAK:
                break
            both = _without_light(rows[[at + reach, at + 2 * reach]], width)
            if max(_largest_share(row, 2 * CELL // step) for row in both) < ALONE and not is_one_outline(
                values, int(at) + reach, reach
            ):
                return int(at) + 1 + reach
    return None


def _likely_breaks(rows: np.ndarray, width: int) -> list[np.ndarray]:
    """Where breaks may be, for each reach, told by fewer pixels of each row; anywhere where these are few already."""
    every = rows.shape[1] // ENOUGH_ACROSS
    if every < 2:
        return [np.ones(len(rows) - 3 * reach, bool) for reach in REACHES]
    products = _products(rows[:, ::every], max(3, width // every))
    return [_gaps(products, reach, *ROUGH_LIMITS) > ROUGH_BREAK for reach in REACHES]


def _gaps(products: np.ndarray, reach: int, agree: float, broken: float, least_scatter: float) -> np.ndarray:
    """By how much two rows agree less than those before and after, in Fisher's z: (M - 3 * reach,)."""
    scatter = np.sqrt(products[0])
    r = products[reach, :-reach] / np.maximum(scatter[:-reach] * scatter[reach:], 1e-3)
    beside, here = np.minimum(r[: -2 * reach], r[2 * reach :]), r[reach:-reach]
    shows = np.minimum(scatter[reach : -2 * reach], scatter[2 * reach : -reach]) > least_scatter
    gap = _fisher(beside) - _fisher(here)
    gap[~(shows & (beside > agree) & (here < broken))] = 0
    gap[:BREAK_MARGIN] = gap[-BREAK_MARGIN:] = 0
    return gap


def _products(rows: np.ndarray, width: int, needed: np.ndarray | None = None) -> np.ndarray:
    """Mean products of each row, less its light, with itself, the next and the next but one: (3, M), 0 at the end.

    Few rows at a time, so that the memory they need is always the same; none where no row is needed.
    """
    out = np.zeros((3, len(rows)), np.float32)
    at_once = rows_at_once(2 * rows.shape[1])
    for first in range(0, len(rows), at_once):
        if needed is not None and not needed[first : first + at_once].any():
            continue
        some = _without_light(np.ascontiguousarray(rows[first : first + at_once + 2]), width)
        for apart in range(3):
            n = min(at_once, len(some) - apart)
            if n > 0:
                np.einsum("ij,ij->i", some[:n], some[apart : apart + n], out=out[apart, first : first + n])
    out /= rows.shape[1]
    return out


def _without_light(rows: np.ndarray, width: int) -> np.ndarray:
    """Rows less their mean over so many pixels around each, and then less their own mean."""
    off = rows.astype(np.int16)  # times the width, so that all are whole numbers
    off *= np.int16(width)
    off -= sums_across(rows, width).view(np.int16)
    out = off.astype(np.float32)
    out *= np.float32(1 / width)
    out -= np.einsum("ij->i", out)[:, None] / np.float32(out.shape[1])  # sooner than a mean
    return out


def _largest_share(row: np.ndarray, width: int) -> float:
    """Share of a row's squares that stands in one place: a lone object may well end, several do not at once."""
    width = max(1, min(width, len(row)))
    cells = (row[: len(row) // width * width].reshape(-1, width) ** 2).sum(axis=1)
    return float(cells.max() / max(cells.sum(), 1e-6))


def _fisher(correlation: np.ndarray) -> np.ndarray:
    return np.arctanh(np.clip(correlation, -MOST_AGREE, MOST_AGREE))


def find_seam(
    values: np.ndarray, suspects: list[Cut] | None = None, *, reduced: bool = False, sums: np.ndarray | None = None
) -> int | None:
    """Find a row below which the picture does not go on.

    Parameters
    ----------
    values : (M, N) ndarray of uint8
        One channel.
    suspects : list, optional
        Rows at which bodies may end are added to it.
    reduced : bool
        The decoder has reduced the photo.
    sums : (M - 1,) ndarray, optional
        From :func:`qckit.counting.damage.row_steps.step_sums`, where they are known already.

    Returns
    -------
    int or None
        Row, counted from 1.
    """
    if min(values.shape) < 4 * CELL:
        return None
    for reach in (1, 2):  # of one pixel; and of two, as a decoder that reduces the photo leaves them
        least = _least_edge(values, reach, sums)
        n_edges, cells, n_sharp = _summed_up(values, reach, least, reduced=None if suspects is None else reduced)
        found = _whole_row(values, n_edges, reach, least)
        if found is None:
            found = _part_of_row(values, cells, reach)
        if found is not None:
            return found + 1
        if suspects is not None:
            suspects += suspect_rows(values, reach, reduced=reduced, n_sharp=n_sharp)
    return None


def _least_edge(values: np.ndarray, reach: int, sums: np.ndarray | None) -> float:
    """What counts as a sharp edge in this photo, by the steps of one row in ``FEW``. [code values]"""
    some = step_sums(values, reach, FEW) if sums is None or reach > 1 else sums[::FEW]
    return max(LEAST_STEP, STEPS * (float(some.sum()) / (len(some) * values.shape[1])))


def _excess(middle: np.ndarray, beside: np.ndarray) -> np.ndarray:
    """By how much a step is larger than its neighbours; 0 where it is not."""
    out = np.minimum(middle, beside)
    return np.subtract(middle, out, out=out)


def _summed_up(values: np.ndarray, reach: int, least: float, *, reduced: bool | None):
    """Sharp edges of each row, steps that are larger than their neighbours in each of its cells, and steps as at a cut.

    These last are not counted where ``reduced`` is None.
    """
    n_rows, width = len(values) - 3 * reach, values.shape[1] // CELL * CELL
    n_edges, n_sharp = np.empty(n_rows, np.int64), np.zeros(n_rows, np.int64)
    cells = np.empty((n_rows, width // CELL), np.uint8)
    larger = np.empty((rows_at_once(values.shape[1]), width), bool)
    for first, middle, beside in strips_of_steps(values, reach):
        n = len(middle)
        here = slice(first, first + n)
        excess = _excess(middle, beside)
        cells[here] = _per_cell(np.greater(excess[:, :width], 0, out=larger[:n]))
        n_edges[here] = count_per_row(excess > np.uint8(min(least, 255)))
        if reduced is not None:
            n_sharp[here] = sharp_per_row(middle, beside, reduced=reduced)
    return n_edges, cells, n_sharp


def _per_phase(values: np.ndarray) -> np.ndarray:
    """Values of rows by their place in a block: (M // GRID, GRID)."""
    return values[: len(values) // GRID * GRID].reshape(-1, GRID)


def _by_phase(counts: np.ndarray, percentile: float) -> np.ndarray:
    """What is usual of each count, among rows at the same place of a block."""
    blocks = counts[: len(counts) // GRID * GRID].reshape(-1, GRID, *counts.shape[1:])
    place = int(np.ceil(percentile / 100 * (len(blocks) - 1)))
    usual = np.partition(_quick_to_part(blocks), place, axis=0)[place]
    return usual[np.arange(len(counts)) % GRID]


def _quick_to_part(values: np.ndarray) -> np.ndarray:
    """Bytes as wider numbers, which numpy parts in a tenth of the time."""
    return values.astype(np.uint16) if values.dtype.itemsize == 1 else values


def _whole_row(values: np.ndarray, n_edges: np.ndarray, reach: int, least: float) -> int | None:
    """A row with many more sharp edges than any other."""
    n = n_edges.astype(np.float32)
    usual = _by_phase(n, 90)
    z = (n - usual) / np.sqrt(usual + 4)
    z[:BREAK_MARGIN] = z[-BREAK_MARGIN:] = 0  # of a line there one side only is in the photo
    for k in np.argsort(-z)[:6]:
        if z[k] < ROW_Z or n[k] < ROW_PX:
            break
        edge = _excess(*steps_of(values[k : k + 1 + 3 * reach], reach))[0] > np.uint8(min(least, 255))
        if not _is_line(values, edge, k + reach) and not is_one_outline(values, k + reach, reach):
            return int(k + reach)
    return None


def _part_of_row(values: np.ndarray, cells: np.ndarray, reach: int) -> int | None:
    """A row along a part of which far more pixels than usual step more than those before and after."""
    total, size = cells, 1
    for length, least_z in WINDOWS.items():
        if length > cells.shape[1]:
            break
        while size < length:  # twos, fours and so on
            total = total if 2 * size * CELL <= 255 else total.astype(np.uint16)
            total, size = total[:, :-size] + total[:, size:], 2 * size
        start = np.arange(0, cells.shape[1] - length + 1, length // 4)
        n = np.ascontiguousarray(total[:, :: length // 4])
        if not _may_stand_out(n, length * CELL, least_z):
            continue
        n = n.astype(np.float32)
        usual = _by_phase(n, USUAL)
        scatter = np.sqrt(np.maximum(usual * (1 - usual / (length * CELL)), 0.05 * length * CELL))
        z = (n - usual) / scatter
        z[:MARGIN] = z[-MARGIN:] = 0
        fifth = np.sort(_per_phase(z.max(axis=1)), axis=0)[-FIFTH:][0]
        high = np.argwhere((z > least_z) & (z > LEAD * fifth[np.arange(len(z)) % GRID, None]))
        for k, j in high[np.argsort(-z[high[:, 0], high[:, 1]])][:12]:
            first = start[j]
            quarters = cells[k, first : first + length].reshape(4, -1).sum(axis=1, dtype=np.float32)
            even = (quarters.min() - usual[k, j] / 4) > scatter[k, j] / 2  # a body's edge stands in one of them only
            across = slice(first * CELL, (first + length) * CELL)
            if (
                even
                and _is_confined(values[:, across], k + reach, reach)
                and not _goes_on(values[:, across], k + reach, reach)
                and not is_one_outline(values, k + reach, reach)
            ):
                return int(k + reach)
    return None


def _may_stand_out(n: np.ndarray, most: int, least_z: float) -> bool:
    """Tell whether any count lies that far beyond what is usual at its place; margins are not left out.

    So many of a place's counts are not above the usual one, and none is above ``most``: so the usual one is at least
    what is left of the mean. What stands out from it stands out all the more the lower it is; where nothing does from
    that bound, the usual one need not be known.
    """
    blocks = n[: len(n) // GRID * GRID].reshape(-1, GRID, n.shape[1])
    place = int(np.ceil(USUAL / 100 * (len(blocks) - 1)))
    above = (len(blocks) - 1 - place) * most
    usual = np.maximum(blocks.sum(axis=0, dtype=np.uint32).astype(np.float64) - above, 0) / (place + 1)
    largest, rest = blocks.max(axis=0), n[len(blocks) * GRID :]
    largest[: len(rest)] = np.maximum(largest[: len(rest)], rest)

    def stands_out(largest: np.ndarray, usual: np.ndarray) -> np.ndarray:
        scatter = np.sqrt(np.maximum(usual * (1 - usual / most), 0.05 * most))
        return largest > 0.999 * (usual + least_z * scatter)

    which = stands_out(largest, usual)
    if not which.any():
        return False
    exact = np.partition(np.ascontiguousarray(_quick_to_part(blocks[:, which]).T), place, axis=1)[:, place]
    return bool(stands_out(largest[which], exact.astype(np.float64)).any())


def _per_cell(which: np.ndarray) -> np.ndarray:
    """How many of whole cells of columns are set in each: (M, N // CELL). Eight at once, as bytes of a number."""
    rows, n = which.shape[0], which.shape[1] // CELL
    eights = which.view(np.uint64).reshape(rows, n, CELL // 8)
    summed = eights[..., 0] + eights[..., 1] + eights[..., 2]
    return (summed * np.uint64(0x0101010101010101)) >> np.uint64(56)


def _is_confined(values: np.ndarray, k: int, reach: int) -> bool:
    """Tell whether the step at row k has no other beside it that runs all along: an edge that a lens has drawn has."""
    low, high = max(0, k - NEAR), min(values.shape[0], k + NEAR + 1 + reach)
    level = values[low:high].mean(axis=1)
    step = np.abs(level[reach:] - level[:-reach])
    at = k - low
    beside = np.delete(step, np.arange(max(0, at - reach), min(len(step), at + reach + 1)))
    return bool(beside.max(initial=0) < max(LEAST_SPREAD, SPREAD * step[at]))


def _goes_on(values: np.ndarray, k: int, reach: int) -> bool:
    """Tell whether what steps at row k is the same a few rows on as a few rows before: scratched, or under a hair."""
    far = slice(OVER_PX, OVER_PX + 3)
    before, after = values[:k][::-1][far], values[k + reach + 1 :][far]
    if not (len(before) and len(after)):
        return False
    step = np.abs(values[k + reach].astype(float) - values[k])
    steps = step >= max(LEAST_SPREAD, np.percentile(step, 75))
    change = np.abs(after.mean(axis=0) - before.mean(axis=0))[steps]
    return bool(np.median(change / step[steps]) < OVER_SHARE) if steps.any() else False


def _is_line(values: np.ndarray, where: np.ndarray, k: int) -> bool:
    """Tell whether an edge at row k is a ruled line's: there it is darker, or lighter, than on both sides of it."""
    return any(_stands_out(values, np.flatnonzero(where), k, apart) for apart in LINE_PX)


def _stands_out(values: np.ndarray, columns: np.ndarray, k: int, apart: int) -> bool:
    """Tell whether a row near row k is darker, or lighter, than those so far above and below it."""

    def level(row: int) -> np.ndarray:
        return values[max(0, row - 1) : row + 2, columns].astype(float).mean(axis=0)

    above, below = level(max(k - apart, 1)), level(min(k + apart, values.shape[0] - 2))
    for at in range(max(k - 3, 1), min(k + 6, values.shape[0] - 2)):  # the line lies before its edge, or behind it
        dip_above, dip_below = level(at) - above, level(at) - below
        both = np.minimum(np.abs(dip_above), np.abs(dip_below)) * np.sign(dip_above)
        same = (np.sign(dip_above) == np.sign(dip_below)) & (np.abs(both) > LINE_STEP)
        if max((same & (both > 0)).mean(), (same & (both < 0)).mean()) >= LINE_SHARE:
            return True
    return False
