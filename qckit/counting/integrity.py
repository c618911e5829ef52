"""Photos that lie: torn, frozen, doubled, squeezed or put together from two, and still a picture that can be counted.

What no lens and no sensor makes is looked for, cheaply: edges of one pixel along one whole row or column, rows that
repeat the row before, objects that are all longer one way, objects larger in one half than in the other, and the same
patch of pixels in two places.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.result import Flag

__all__ = ["judge_integrity"]

LEAST_STEP, STEPS = 6.0, 3.0  # of code values, and of the usual step between neighbours: what counts as an edge
SEAM_Z, RULED_Z, SEAM_PX = 30.0, 36.0, 28
"""How far beyond all other rows, in scatters of counting: below 15 on sound photos, up to 27 over ruled lines."""

GRID = 8  # compressed photos have edges of their own at blocks of eight pixels
LINE_PX, LINE_STEP, LINE_SHARE = 15, 4.0, 0.75  # a ruled line is thinner, and as much of it stands out on both sides
STILL_SHARE, STILL_PX = 0.12, 14  # of the usual step; rows that repeat their neighbour. 7 at most on sound photos
TINTS = (12.0, 243.0)  # black and burnt-out margins repeat by themselves
STRETCH, ROUND_STRETCH = 0.42, 0.3  # mean logarithm of height over width of all objects, of cysts
LEAST_ALL, LEAST_ROUND = 30, 10
HALVES, HALVES_Z, LEAST_HALF = 0.17, 4.0, 5  # logarithm of the ratio of lengths in two halves, its rank-sum score
PATCH, LEAST_TWINS, ALIKE = 16, 3, 0.85  # half a patch's side [px], pairs at one distance, correlation of fine detail


def judge_integrity(pixels: np.ndarray, found, rows_px: np.ndarray, cols_px: np.ndarray, *, ruled: bool) -> list[Flag]:
    """Flag a photo that cannot have come from a camera as it is.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
        Of the photo as read.
    found : FoundObjects
        Its objects, in the working picture.
    rows_px, cols_px : (n,) ndarray
        Centres of the objects in ``pixels``.
    ruled : bool
        Lines of a chamber were seen: they have edges along whole rows as well.

    Returns
    -------
    list of Flag
        At most one, ``damaged``, with all that was found.
    """
    green = np.ascontiguousarray(pixels[..., 1])
    turned = np.ascontiguousarray(green.T)
    signs = [text for text in (_seams(green, turned, RULED_Z if ruled else SEAM_Z), _still(green, turned)) if text]
    if text := _stretched(found):
        signs.append(text)
    if text := _two_sizes(found, rows_px, cols_px, green.shape):
        signs.append(text)
    if text := _twins(green, rows_px, cols_px):
        signs.append(text)
    if not signs:
        return []
    return [
        Flag("damaged", f"The photo is not as a camera takes it: {'; '.join(signs)}. Copy it again or take another.")
    ]


def _seams(green: np.ndarray, turned: np.ndarray, least_z: float) -> str:
    for values, word in ((green, "row"), (turned, "column")):
        at = _seam_at(values, least_z)
        if at is not None:
            return f"its contents break off along {word} {at}"
    return ""


def _seam_at(values: np.ndarray, least_z: float) -> int | None:
    """Find a row below which the picture does not go on: many more sharp edges than any other row has.

    Edges of one pixel; and of two, as a decoder that reduces the photo leaves them.
    """
    if min(values.shape) < 4 * GRID:
        return None
    for reach in (1, 2):
        size = np.abs(values[reach:].astype(np.int16) - values[:-reach])
        least = max(LEAST_STEP, STEPS * float(size[::5].mean()))
        edge = size[reach:-reach] - np.maximum(size[: -2 * reach], size[2 * reach :]) > least
        n = edge.sum(axis=1).astype(float)
        usual = np.empty_like(n)
        for phase in range(GRID):  # against rows at the same place of a block
            usual[phase::GRID] = np.percentile(n[phase::GRID], 90)
        z = (n - usual) / np.sqrt(usual + 4)
        for k in np.argsort(-z)[:6]:
            if z[k] < least_z or n[k] < SEAM_PX:
                break
            if not _is_line(values, edge[k], k + reach):
                return int(k + reach + 1)
    return None


def _is_line(values: np.ndarray, where: np.ndarray, k: int) -> bool:
    """Tell whether an edge at row k is a ruled line's: there it is darker, or lighter, than on both sides of it."""
    columns = np.flatnonzero(where)

    def level(row: int) -> np.ndarray:
        return values[max(0, row - 1) : row + 2, columns].astype(float).mean(axis=0)

    above, below = level(max(k - LINE_PX, 1)), level(min(k + LINE_PX, values.shape[0] - 2))
    for at in range(max(k - 3, 1), min(k + 6, values.shape[0] - 2)):  # the line lies before its edge, or behind it
        dip_above, dip_below = level(at) - above, level(at) - below
        both = np.minimum(np.abs(dip_above), np.abs(dip_below)) * np.sign(dip_above)
        same = (np.sign(dip_above) == np.sign(dip_below)) & (np.abs(both) > LINE_STEP)
        if max((same & (both > 0)).mean(), (same & (both < 0)).mean()) >= LINE_SHARE:
            return True
    return False


def _still(green: np.ndarray, turned: np.ndarray) -> str:
    """Rows or columns that repeat the one before."""
    for values, word in ((green, "rows"), (turned, "columns")):
        step = np.abs(np.diff(values.astype(np.int16), axis=0)).mean(axis=1)
        level = values.mean(axis=1)[1:]
        still = (step <= STILL_SHARE * np.median(step)) & (level > TINTS[0]) & (level < TINTS[1])
        edges = np.flatnonzero(np.diff(np.r_[0, still.astype(np.int8), 0]))
        runs = edges[1::2] - edges[::2]
        if len(runs) and runs.max() >= STILL_PX:
            at = int(edges[::2][runs.argmax()])
            return f"{word} {at + 1} to {at + 1 + int(runs.max())} are one and the same"
    return ""


def _stretched(found) -> str:
    """Objects lie any way round: where they are all taller, or all wider, the photo was squeezed."""
    boxes = np.asarray(found.boxes, float)
    high, wide = boxes[:, 2] - boxes[:, 0], boxes[:, 3] - boxes[:, 1]
    real = np.isfinite(found.features).all(axis=1) & (high > 2) & (wide > 2) & (found.p.argmax(axis=1) < 4)
    ratio = np.log(np.maximum(high, 1) / np.maximum(wide, 1))
    for which, limit, least in (
        (real & (found.p.argmax(axis=1) == 2), ROUND_STRETCH, LEAST_ROUND),
        (real, STRETCH, LEAST_ALL),
    ):
        if which.sum() >= least and abs(mean := float(np.median(ratio[which]))) > limit:
            way = "higher than wide" if mean > 0 else "wider than high"
            return f"its objects are {np.exp(abs(mean)):.1f} times {way}"
    return ""


def _two_sizes(found, rows_px, cols_px, shape) -> str:
    """Cysts and shells are of one size all over a photo."""
    from scipy.stats import mannwhitneyu

    stage = found.p.argmax(axis=1)
    area = np.asarray(found.sizes["area_um2"], float)
    real = np.isfinite(found.features).all(axis=1) & (area > 0) & (stage < 4)
    for place, side, words in ((cols_px, shape[1], "left and right"), (rows_px, shape[0], "upper and lower")):
        ratios, weights, scores = [], [], []
        for kind in (0, 2, 3):
            which = real & (stage == kind)
            first, second = area[which & (place < side / 2)], area[which & (place >= side / 2)]
            if min(len(first), len(second)) < LEAST_HALF:
                continue
            n, m = len(first), len(second)
            u = float(mannwhitneyu(first, second, method="asymptotic").statistic)
            scores.append((u - n * m / 2) / np.sqrt(n * m * (n + m + 1) / 12))
            ratios.append(0.5 * np.log(np.median(first) / np.median(second)))
            weights.append(n * m / (n + m))
        if not ratios:
            continue
        mean = float(np.average(ratios, weights=weights))
        if abs(mean) > HALVES and abs(sum(scores)) / np.sqrt(len(scores)) > HALVES_Z:
            return f"objects of its {words} half differ in size {np.exp(abs(mean)):.1f} times"
    return ""


def _twins(green: np.ndarray, rows_px, cols_px) -> str:
    """The same pixels twice: objects at one distance from their doubles, alike down to the grain."""
    n = len(rows_px)
    if n < LEAST_TWINS or n > 1500:
        return ""
    inside = (
        (rows_px > PATCH)
        & (rows_px < green.shape[0] - PATCH - 1)
        & (cols_px > PATCH)
        & (cols_px < green.shape[1] - PATCH - 1)
    )
    r, c = np.round(rows_px[inside]).astype(int), np.round(cols_px[inside]).astype(int)
    if len(r) < LEAST_TWINS:
        return ""
    i, j = np.triu_indices(len(r), 1)
    dr, dc = r[j] - r[i], c[j] - c[i]
    far = np.hypot(dr, dc) > 3 * PATCH
    i, j, dr, dc = i[far], j[far], dr[far], dc[far]
    bins = ((dr + 4096) // 3).astype(np.int64) * 8192 + (dc + 4096) // 3
    keys, counts = np.unique(bins, return_counts=True)
    fine = None
    for key in keys[np.argsort(-counts, kind="stable")][:8]:
        pairs = np.flatnonzero(bins == key)
        if len(pairs) < LEAST_TWINS:
            break
        if fine is None:
            from scipy.ndimage import uniform_filter

            plain = green.astype(np.float32)
            fine = plain - uniform_filter(plain, 5)
        alike = sum(_alike(fine, (r[i[k]], c[i[k]]), (r[j[k]], c[j[k]])) > ALIKE for k in pairs[:40])
        if alike >= LEAST_TWINS:
            return f"{alike} of its objects stand in it twice, down to the grain"
    return ""


def _alike(fine: np.ndarray, here, there) -> float:
    """Best correlation of two patches' fine detail, a pixel or two apart."""
    a = fine[here[0] - PATCH : here[0] + PATCH, here[1] - PATCH : here[1] + PATCH].ravel()
    best = 0.0
    for down in (-2, -1, 0, 1, 2):
        for right in (-2, -1, 0, 1, 2):
            r, c = there[0] + down, there[1] + right
            b = fine[max(0, r - PATCH) : r + PATCH, max(0, c - PATCH) : c + PATCH]
            if b.size == a.size:
                b = b.ravel()
                best = max(best, float(a @ b) / (float(np.sqrt((a @ a) * (b @ b))) + 1e-6))
    return best
