"""The single lines of a ruling or micrometer: where each lies and how strong it is.

A repeat alone does not say which lines repeat: a micrometer repeats every ten divisions better than every one, squares
with finer lines inside repeat at both. The lines one by one say it: where each smaller repeat predicts a line there is
one or not, and where each larger repeat predicts a stronger one it is stronger or not.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace

import numpy as np

from qckit.photo.profiles import turned_upright
from qckit.robust import robust_sd

__all__ = ["FinestMarks", "Marks", "finest_marks", "marks_of", "mean_of_rows", "strengths_at", "stronger_every"]

_MULTIPLES = (2, 3, 4, 5, 8, 10, 20)
_LEAST_MARKS = 8


@dataclass(frozen=True)
class Marks:
    """Evenly spaced lines of one profile.

    ``place_px`` and ``strength`` have one value a line; ``number`` counts the spacings from the first line.
    ``filled`` is the share of the places between first and last line at which there is a line, ``soft_px`` the standard
    deviation of a blur that would make the lines' edges as soft as they are.
    """

    place_px: np.ndarray
    strength: np.ndarray
    number: np.ndarray
    spacing_px: float
    filled: float
    soft_px: float
    top: int = 0  # rows of the upright picture that the profile is the mean of
    bottom: int = 0


def marks_of(profile, *, top=0, bottom=0) -> Marks | None:
    """Find the evenly spaced lines of a profile; None where fewer than six stand in a row.

    Parameters
    ----------
    profile : (n,) ndarray
        Mean brightness by distance across the lines, its slow course taken away; NaN at the ends is left out.
    top, bottom : int
        Rows that the profile is the mean of, passed on.

    Returns
    -------
    Marks or None
    """
    from scipy.ndimage import gaussian_filter1d
    from scipy.signal import find_peaks

    good = np.flatnonzero(np.isfinite(profile))
    if good.size < 40:
        return None
    first = good[0]
    z = np.nan_to_num(profile[first : good[-1] + 1] - np.nanmedian(profile))
    z = z * (1 if (z**3).sum() >= 0 else -1)  # lines are the lesser part of the profile, light or dark
    noise = robust_sd(np.diff(z, 2)) / np.sqrt(6)
    smooth = gaussian_filter1d(z, 0.7)
    at, found = find_peaks(smooth, prominence=max(4 * noise, 1e-9))
    if at.size < _LEAST_MARKS:
        return None
    strong = found["prominences"] > 0.1 * np.percentile(found["prominences"], 90)
    at, strength = at[strong], found["prominences"][strong]
    spacing = _common_spacing(np.diff(at))
    if not spacing:
        return None
    place = _subpixel(smooth, at)
    keep = _longest_row(place, spacing)
    if keep.size < _LEAST_MARKS:
        return None
    place, strength = place[keep], strength[keep]
    number, spacing = _numbered(place, spacing)
    filled = len(np.unique(number)) / (number[-1] + 1)
    return Marks(
        place_px=first + place,
        strength=strength,
        number=number,
        spacing_px=spacing,
        filled=float(filled),
        soft_px=_softness(z, place, spacing),
        top=top,
        bottom=bottom,
    )


def _common_spacing(gaps):
    """The smallest gap that at least half as many neighbours share as share the commonest one; 0 without one."""
    if gaps.size < _LEAST_MARKS - 1:
        return 0.0
    reach = np.maximum(1.0, 0.1 * gaps)
    shared = np.array([(np.abs(gaps - g) <= r).sum() for g, r in zip(gaps, reach, strict=True)])
    enough = shared >= max(0.5 * shared.max(), 3)
    if not enough.any():
        return 0.0
    g = gaps[enough].min()
    return float(gaps[np.abs(gaps - g) <= max(1.0, 0.1 * g)].mean())


def _subpixel(z, at):
    left, mid, right = z[at - 1], z[at], z[np.minimum(at + 1, z.size - 1)]
    bend = left - 2 * mid + right
    return at + np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1), 0)


def _longest_row(place, spacing):
    """Indices of the longest run of lines whose gaps are whole numbers of spacings, three at most."""
    times = np.diff(place) / spacing
    even = (np.abs(times - np.round(times)) <= 0.15 + 0.02 * times) & (np.round(times) >= 1) & (times < 3.5)
    best, start = (0, 0), 0
    for i in range(len(even) + 1):
        if i == len(even) or not even[i]:
            best = max(best, (i - start, start))
            start = i + 1
    return np.arange(best[1], best[1] + best[0] + 1)


def _numbered(place, spacing):
    """Number the lines by their spacing and sharpen it by a straight line through all of them."""
    number = np.concatenate([[0], np.cumsum(np.round(np.diff(place) / spacing))]).astype(int)
    return number, float(np.polyfit(number, place, 1)[0])


def _softness(z, place, spacing):
    """Blur of the mean line, from its height and steepest slope; between that of a thin line and that of an edge."""
    reach = int(max(3, min(20, 0.5 * spacing)))
    grid = place[:, None] + np.arange(-reach, reach + 1)[None, :]
    line = np.median(np.interp(grid, np.arange(z.size), z), axis=0)
    slope = np.abs(np.diff(line)).max()
    return float(0.5 * (line.max() - line.min()) / max(slope, 1e-9))


def stronger_every(number, strength, *, least_ratio=1.12) -> list[int]:
    """Say at which multiples of the spacing lines are stronger (or longer) than those between.

    Parameters
    ----------
    number : (n,) ndarray of int
        Number of each line, counted in spacings.
    strength : (n,) ndarray
        Strength of each line.
    least_ratio : float
        How many times stronger than every other class of lines.

    Returns
    -------
    list of int
        Multiples among 2, 3, 4, 5, 8, 10, 20, the smallest first; empty where all lines are alike. The lower quartile
        of the strongest class must stand above the upper quartile of every other: a few lines under dirt do not
        decide it, and a class in which only some lines are strong does not pass.
    """
    found = []
    for m in _MULTIPLES:
        classes = [strength[number % m == r] for r in range(m)]
        least = min(len(c) for c in classes)
        if least < 2:
            continue
        top = int(np.argmax([np.median(c) for c in classes]))
        low = np.percentile(classes[top], 25)
        high = max(np.percentile(c, 75) for i, c in enumerate(classes) if i != top)
        if low > (least_ratio if least > 2 else 1.5) * high:
            found.append(m)
    return found


def strengths_at(profile, period, offset):
    """Number and strength of every line that a repeat predicts in a profile.

    Parameters
    ----------
    profile : (n,) ndarray
        Mean brightness across the lines, NaN at its ends.
    period, offset : float
        Repeat and place of a line, in the profile's own pixels.

    Returns
    -------
    (n_lines,) ndarray of int, (n_lines,) ndarray
        Numbers, and how far the profile swings at each line from its middle between lines, in the lines' direction.
    """
    from scipy.ndimage import gaussian_filter1d

    good = np.flatnonzero(np.isfinite(profile))
    z = gaussian_filter1d(np.nan_to_num(profile - np.nanmedian(profile)), 0.7)
    number = np.arange(np.ceil((good[0] + 2 - offset) / period), np.floor((good[-1] - 2 - offset) / period) + 1)
    at = np.round(offset + number * period).astype(int)
    reach = max(1, min(3, round(0.1 * period)))
    near = np.stack([z[np.clip(at + d, 0, z.size - 1)] for d in range(-reach, reach + 1)])
    sign = 1 if np.median(near[reach]) >= 0 else -1
    between = np.median(z[np.clip(np.round(at + 0.5 * period).astype(int), 0, z.size - 1)]) if len(at) else 0.0
    return number.astype(int), (sign * near).max(axis=0) - sign * between


@dataclass(frozen=True)
class FinestMarks:
    """The finest row of marks of a micrometer; ``length`` grows with how far each mark reaches."""

    angle_deg: float
    marks: Marks
    length: np.ndarray
    u_spacing_px: float


def _rows_in_bands(flat, angle_deg, n_bands, inside=None):
    """Rows of marks in overlapping bands of the picture turned upright: (rows, that picture, place of its column 0)."""
    upright, start = turned_upright(flat, angle_deg)
    top, bottom = (0, upright.shape[0]) if inside is None else inside
    top, bottom = max(0, top), min(upright.shape[0], bottom)
    edges = np.unique(np.linspace(top, bottom, n_bands + 1).astype(int))
    rows = []
    for low, high in zip(edges[:-2], edges[2:], strict=True):  # bands overlap by half
        got = marks_of(mean_of_rows(upright[low:high]), top=low, bottom=high)
        if got and got.filled > 0.8:
            rows.append(got)
    most = max((np.median(r.strength) for r in rows), default=0.0)
    return [r for r in rows if np.median(r.strength) > 0.15 * most], upright, start


def _weight(row):
    return float(row.number[-1] * row.filled * np.median(row.strength))


def finest_marks(flat, angle_deg, *, n_bands=28) -> FinestMarks | None:
    """Find the finest row of marks of a micrometer, band by band across its marks.

    Short marks fill only a part of the picture's height: in the band that crosses them all marks are alike, in those
    that only the long ones reach every fifth or tenth is left.

    Parameters
    ----------
    flat : (M, N) ndarray
        Picture less its local mean.
    angle_deg : float
        Direction across the marks.

    Returns
    -------
    FinestMarks or None
        Places count along the direction as in :func:`profiles.profile_across`.
    """
    rows, upright, start = _rows_in_bands(flat, angle_deg, n_bands)
    if not rows:
        return None
    # again, closer: in narrow bands around the row, and turned a little, or short marks smear into each other
    most = max(r.number[-1] * r.spacing_px for r in rows)
    long = [r for r in rows if r.number[-1] * r.spacing_px > 0.5 * most]
    reach = max(r.bottom - r.top for r in long)
    inside = (min(r.top for r in long) - 2 * reach, max(r.bottom for r in long) + 2 * reach)
    tries = [(rows, upright, start, angle_deg)]
    for turn in (0.0, -0.5, 0.5, -1.0, 1.0):
        tries.append((*_rows_in_bands(flat, angle_deg + turn, 3 * n_bands, inside), angle_deg + turn))
    finest = min(r.spacing_px for found, *_ in tries for r in found)
    weights = [max((_weight(r) for r in t[0] if r.spacing_px < 1.15 * finest), default=0.0) for t in tries]
    good = next(i for i, w in enumerate(weights) if w > 0.6 * max(weights))  # the least turned that shows them well
    rows, upright, start, angle_deg = tries[good]
    alike = [r for r in rows if r.spacing_px < 1.15 * finest]
    best = max(alike, key=_weight)
    slopes = [r.spacing_px for r in alike if r.number[-1] >= 0.8 * best.number[-1]]
    # marks of the whole row, long ones too, by how far they reach: the mean over its height
    whole = mean_of_rows(upright[min(r.top for r in rows) : max(r.bottom for r in rows)])
    whole = np.nan_to_num(whole - np.nanmedian(whole))
    at = np.clip(np.round(best.place_px).astype(int), 1, whole.size - 2)
    length = np.abs(np.stack([whole[at - 1], whole[at], whole[at + 1]])).max(axis=0)
    return FinestMarks(
        angle_deg=angle_deg % 360,
        marks=replace(best, place_px=best.place_px + start),
        length=length,
        u_spacing_px=_scatter_of_bands(best, slopes),
    )


def _scatter_of_bands(best, slopes):
    """Standard uncertainty of the spacing: scatter of the marks about their line, or of bands among themselves."""
    rest = best.place_px - np.polyval(np.polyfit(best.number, best.place_px, 1), best.number)
    spread = np.sqrt((rest**2).sum() / max(len(rest) - 2, 1))
    u = max(spread, 0.08) / np.sqrt(((best.number - best.number.mean()) ** 2).sum())
    # neighbouring bands share half their rows
    return float(max(u, np.std(slopes, ddof=1) / np.sqrt(len(slopes) / 2)) if len(slopes) > 2 else u)


def mean_of_rows(rows):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # columns that lie outside the picture are all NaN
        mean = np.nanmean(rows, axis=0)
    return np.where(np.isfinite(rows).mean(axis=0) > 0.5, mean, np.nan)
