"""Parts of a photo that stand in it twice: the same objects, alike down to the grain."""

from __future__ import annotations

import numpy as np

from qckit.counting.products import product

__all__ = ["find_twins"]

PATCH, LEAST_TWINS, ALIKE = 16, 3, 0.85  # half a patch's side [px], pairs at one distance, correlation of fine detail
MOST, FEW = 1500, 150  # objects
FINE_REACH, FINE_ROWS = 2, 128  # pixels around one that its surroundings are; rows worked out at a time
APART, SOME = 2, 64  # pixels by which doubles may be displaced; objects whose pairs are listed at a time
SAME, SAME_ALIGNED = 0.8, 0.72
"""Correlation of two patches' spectra in logarithms, less what all patches share: different objects reach 0.67, and
0.5 where they stand exactly in one row or column."""

FLOOR = 8.0  # of a spectrum, in code values: below it is rounding


def find_twins(green: np.ndarray, rows_px: np.ndarray, cols_px: np.ndarray) -> str:
    """Find objects that stand in a photo twice.

    Parameters
    ----------
    green : (M, N) ndarray of uint8
    rows_px, cols_px : (n,) ndarray
        Centres of its objects.

    Returns
    -------
    str
        What was found, in words; empty where nothing was.
    """
    if len(rows_px) > MOST:
        return ""
    inside = (
        (rows_px > PATCH)
        & (rows_px < green.shape[0] - PATCH - 1)
        & (cols_px > PATCH)
        & (cols_px < green.shape[1] - PATCH - 1)
    )
    r, c = np.round(rows_px[inside]).astype(int), np.round(cols_px[inside]).astype(int)
    if len(r) < 2:
        return ""
    return _at_one_distance(green, r, c) or _lone_pair(green, r, c) or _echo(green, r, c)


ECHO_PIXELS, ECHO_NEAR = 200_000, 24  # of the reduced photo; nearer than this many of them is an object itself
ECHO_Z, ECHO_LEAD = 16.0, 1.85  # scatters of the cepstrum; times the next strongest distance, of which a mesh has many
STRONG_Z, STRONG_LEAD = 36.0, 1.35  # an even weave reaches 69 scatters, with a lead of 1.21 at most
ALONE = ((14.0, 2.8), (22.0, 2.0), (26.0, 1.6))
"""Without an object in it. Sound photos and their variants reach 12 with a lead of 2.1, 18 with 1.9, 20 with 1.7, 27
with 1.3."""

ECHO_ALIKE, ECHO_PAIRS, ECHO_OBJECTS = 1.7, 3, 300  # sum of correlations of the most alike pairs at that distance


def _echo(green: np.ndarray, r: np.ndarray, c: np.ndarray) -> str:
    """One distance at which a photo repeats itself, and objects that do.

    A repeated part leaves ripples in the power spectrum, as an echo does in a sound's; the spectrum of its logarithm,
    the power cepstrum (Bogert, Healy and Tukey 1963, from memory), has a peak at the distance.
    """
    down, right, z, lead, step = _strongest_echo(green)
    sentence = f"a part of it stands in it twice, {np.hypot(down, right):.0f} pixels apart"
    if any(z > least_z and lead > least for least_z, least in ALONE):
        return sentence
    if z < ECHO_Z or lead < (STRONG_LEAD if z > STRONG_Z else ECHO_LEAD):
        return ""
    fine = _fine(green)
    best = 0.0
    for dr in range(down - step, down + step + 1):
        for dc in range(right - step, right + step + 1):
            alike = sorted(_pairs_at(fine, r[:ECHO_OBJECTS], c[:ECHO_OBJECTS], dr, dc), reverse=True)
            best = max(best, sum(alike[:ECHO_PAIRS]))
    return sentence if best > ECHO_ALIKE else ""


def _strongest_echo(green: np.ndarray) -> tuple[int, int, float, float, int]:
    """Distance down and right of the highest peak of the cepstrum, its height, its lead, and how sure the distance."""
    from scipy.fft import irfft, rfft, rfft2

    step = max(1, int(np.ceil((green.size / ECHO_PIXELS) ** 0.5)))
    if step >= 4:  # every second pixel is enough to average
        down, right, z, lead, half = _strongest_echo(green[::2, ::2])
        return 2 * down, 2 * right, z, lead, 2 * half
    rows, cols = green.shape[0] // step, green.shape[1] // step
    if min(rows, cols) < 3 * ECHO_NEAR:
        return 0, 0, 0.0, 0.0, step
    small = _means(green, step)
    small -= small.mean()
    for n, one in ((rows, small.T), (cols, small)):
        one *= np.hanning(n).astype(np.float32) ** 0.25
    spectrum = rfft2(small)
    power = np.log(spectrum.real**2 + spectrum.imag**2 + 1e-3)
    del small, spectrum  # the peak of memory of a whole count lies here
    power -= power.mean()
    along = rfft(power, axis=0)  # as the power is real, its lower half mirrors the upper one
    cepstrum = irfft(np.conj(along, out=along), cols, axis=1)
    cepstrum /= rows
    cepstrum[:ECHO_NEAR, :ECHO_NEAR] = cepstrum[:ECHO_NEAR, 1 - ECHO_NEAR :] = 0
    scatter = float(cepstrum.std())
    y, x = np.unravel_index(cepstrum.argmax(), cepstrum.shape)
    height = float(cepstrum[y, x])
    for a, b in ((y, x), (-y, -x), (2 * y, 2 * x)):  # itself, its mirror, and its own echo
        near_rows, near_cols = (a + np.arange(-3, 4)) % rows, (b + np.arange(-3, 4)) % cols
        cepstrum[np.ix_(near_rows[near_rows < len(cepstrum)], near_cols)] = 0
    lead = height / max(float(cepstrum.max()), 1e-9)
    return int(y) * step, int(x if x <= cols // 2 else x - cols) * step, height / scatter, lead, step


def _means(green: np.ndarray, step: int) -> np.ndarray:
    """Means of squares of so many pixels a side: (M // step, N // step). Whole numbers until the last."""
    rows, cols = green.shape[0] // step, green.shape[1] // step
    along = green[: rows * step : step].astype(np.uint16)
    for down in range(1, step):
        along += green[down : rows * step : step]
    total = along[:, : cols * step : step].copy()
    for right in range(1, step):
        total += along[:, right : cols * step : step]
    return total / np.float32(step * step)


def _pairs_at(fine: np.ndarray, r: np.ndarray, c: np.ndarray, down: int, right: int) -> list[float]:
    """Correlation of objects' fine detail with that at a distance; each place once."""
    found: list[float] = []
    places: list[tuple[int, int]] = []
    for sign in (1, -1):
        y, x = r + sign * down, c + sign * right
        inside = (y >= PATCH) & (y <= fine.shape[0] - PATCH) & (x >= PATCH) & (x <= fine.shape[1] - PATCH)
        for k in np.flatnonzero(inside):
            first = (r[k], c[k]) if sign > 0 else (y[k], x[k])
            if any(abs(first[0] - a) + abs(first[1] - b) < 1.5 * PATCH for a, b in places):
                continue
            a, b = _patch(fine, r[k], c[k]), _patch(fine, y[k], x[k])
            alike = float(a @ b) / (float(np.sqrt((a @ a) * (b @ b))) + 1e-6)
            if alike > 0.3:
                places.append(first)
                found.append(alike)
    return found


def _sums_of(values: np.ndarray, n: int) -> np.ndarray:
    """Sums of so many rows that follow one another."""
    out = values[: len(values) - n + 1].copy(order="K")  # as they lie, so that columns are as quick
    for k in range(1, n):
        out += values[k : len(values) - n + 1 + k]
    return out


def _fine(green: np.ndarray) -> np.ndarray:
    """Fine detail of a photo: how far each pixel is from the mean of the square around it, times its area, so that all
    are whole numbers.
    """
    around = np.pad(green, FINE_REACH, mode="symmetric")
    fine = np.empty(green.shape, np.int16)
    for top in range(0, len(green), FINE_ROWS):  # few rows at a time stay in the processor's cache
        rows = around[top : top + FINE_ROWS + 2 * FINE_REACH].astype(np.int16)
        square = _sums_of(_sums_of(rows, 2 * FINE_REACH + 1).T, 2 * FINE_REACH + 1).T
        here = rows[FINE_REACH:-FINE_REACH, FINE_REACH:-FINE_REACH]
        np.subtract((2 * FINE_REACH + 1) ** 2 * here, square, out=fine[top : top + FINE_ROWS])
    return fine


def _fine_around(green: np.ndarray, r: np.ndarray, c: np.ndarray, reach: int) -> np.ndarray:
    """Fine detail of the squares around some places: (n, 2 * reach, 2 * reach). Where one reaches over the photo's
    border it goes on mirrored.
    """
    off = np.arange(-reach - FINE_REACH, reach + FINE_REACH)
    rows, cols = (_mirrored(at[:, None] + off, n) for at, n in zip((r, c), green.shape, strict=True))
    around = green.ravel().take(rows[:, :, None] * green.shape[1] + cols[:, None, :]).astype(np.int16)
    square = _sums_of(around.transpose(1, 0, 2), 2 * FINE_REACH + 1)
    square = _sums_of(square.transpose(2, 1, 0), 2 * FINE_REACH + 1).transpose(1, 2, 0)
    return (2 * FINE_REACH + 1) ** 2 * around[:, FINE_REACH:-FINE_REACH, FINE_REACH:-FINE_REACH] - square


def _mirrored(at: np.ndarray, n: int) -> np.ndarray:
    """Numbers of rows or columns, those beyond the border mirrored at it."""
    at = np.where(at < 0, -1 - at, at)
    return np.where(at < n, at, 2 * n - 1 - at)


def _at_one_distance(green: np.ndarray, r: np.ndarray, c: np.ndarray) -> str:
    """Several objects at one distance from their doubles, alike down to the grain."""
    distance, pair = _distances(r, c)
    pairs = [pair[distance == key][:40] for key in _commonest(distance, LEAST_TWINS)[:8]]
    if not pairs:
        return ""
    first, second = np.divmod(np.concatenate(pairs), len(r))
    doubled = _doubled(green, r, c, first, second)
    for n in np.add.reduceat(doubled, np.cumsum([0, *map(len, pairs[:-1])]), dtype=int).tolist():
        if n >= LEAST_TWINS:
            return f"{n} of its objects stand in it twice, down to the grain"
    return ""


def _doubled(green: np.ndarray, r: np.ndarray, c: np.ndarray, first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Which pairs are alike, and not as much so once more as far beyond either: that is how a weave repeats itself."""
    here, there = (r[first], c[first]), (r[second], c[second])
    doubled = _alike(green, here, there) > ALIKE
    down, right = there[0] - here[0], there[1] - here[1]
    for (y, x), sign in ((here, -1), (there, 1)):
        beyond = y + sign * down, x + sign * right
        inside = [(b > PATCH + APART) & (b < n - PATCH - APART) for b, n in zip(beyond, green.shape, strict=True)]
        at = np.flatnonzero(doubled & inside[0] & inside[1])
        if len(at):
            doubled[at] = _alike(green, (y[at], x[at]), (beyond[0][at], beyond[1][at])) <= ALIKE
    return doubled


def _distances(r: np.ndarray, c: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance of every two objects that lie well apart, rounded, as one number each; and the pair as one, too.

    Some rows of the table of pairs at a time: of 1,500 objects there are a million.
    """
    n, number = len(r), np.arange(len(r))
    distances, pairs = [], []
    for top in range(0, n, SOME):
        dr, dc = (at - at[top : top + SOME, None] for at in (r.astype(np.int32), c.astype(np.int32)))
        far = (dr * dr + dc * dc > (3 * PATCH) ** 2) & (number > number[top : top + SOME, None])
        distances.append(((dr + 4096) // 3 * 8192 + (dc + 4096) // 3)[far])
        pairs.append(np.flatnonzero(far).astype(np.int32) + top * n)
    return np.concatenate(distances), np.concatenate(pairs)


def _commonest(values: np.ndarray, least: int) -> np.ndarray:
    """Values that are there so many times, the most frequent first, then the smallest."""
    ordered = np.sort(values)
    last = ordered[least - 1 :]
    last = last[last == ordered[: len(ordered) - least + 1]]  # of each value all but the first few
    starts = np.flatnonzero(np.diff(last, prepend=last[:1] - 1))
    often, times = last[starts], np.diff(starts, append=len(last))
    return often[np.argsort(-times, kind="stable")]


def _lone_pair(green: np.ndarray, r: np.ndarray, c: np.ndarray) -> str:
    """Two objects whose surroundings have the same spectrum beyond what all have in common, and the same grain.

    With many objects a repeated part holds several, which their one distance tells; so only few are looked at here.
    """
    if len(r) > FEW:
        return ""
    from scipy.fft import rfft2

    window = np.hanning(2 * PATCH + 2)[1:-1].astype(np.float32)
    patches = np.stack([green[y - PATCH : y + PATCH, x - PATCH : x + PATCH] for y, x in zip(r, c)]).astype(np.float32)
    patches -= patches.mean(axis=(1, 2), keepdims=True)
    spectrum = np.log(np.abs(rfft2(patches * np.outer(window, window))) + FLOOR).reshape(len(r), -1)
    spectrum -= spectrum.mean(axis=0)
    spectrum -= spectrum.mean(axis=1, keepdims=True)
    spectrum /= np.sqrt((spectrum**2).sum(axis=1, keepdims=True)) + 1e-6
    same = np.triu(product(spectrum, spectrum.T), 1)
    down, right = np.abs(r[:, None] - r), np.abs(c[:, None] - c)
    limit = np.where(np.minimum(down, right) <= 1, SAME_ALIGNED, SAME)  # a row or column that was read twice
    same[np.hypot(down, right) <= 3 * PATCH] = 0
    pairs = np.argwhere(same > limit)
    i, j = pairs[np.argsort(-same[pairs[:, 0], pairs[:, 1]])][:6].T
    if len(i) and _doubled(green, r, c, i, j).any():
        return "one of its objects stands in it twice, down to the grain"
    return ""


def _patch(fine: np.ndarray, row: int, col: int) -> np.ndarray:
    """Fine detail around a place, one number after the other; fewer where it reaches over the photo's border."""
    return fine[max(0, row - PATCH) : row + PATCH, max(0, col - PATCH) : col + PATCH].astype(np.float32).ravel()


def _alike(green: np.ndarray, here, there) -> np.ndarray:
    """Best correlation of the fine detail around places with that around others, a pixel or two apart: (n,)."""
    patches = _fine_around(green, *here, PATCH).astype(np.float32)
    others = _fine_around(green, *there, PATCH + APART).astype(np.float32)
    windows = np.lib.stride_tricks.sliding_window_view(others, (2 * PATCH, 2 * PATCH), axis=(1, 2))
    alike = np.einsum("nij,nabij->nab", patches, windows)
    strength = np.einsum("nabij,nabij->nab", windows, windows)
    strength *= np.einsum("nij,nij->n", patches, patches)[:, None, None]
    alike /= np.sqrt(strength) + 1e-6
    apart = np.arange(-APART, APART + 1)
    for axis, (at, n) in enumerate(zip(there, green.shape, strict=True)):  # none that reaches over the photo's border
        centre = at[:, None] + apart
        inside = (centre >= PATCH) & (centre <= n - PATCH)
        alike *= np.expand_dims(inside, 2 - axis)
    return np.maximum(alike.max(axis=(1, 2)), 0)
