"""Photos that lie: torn, frozen, doubled, squeezed or put together from two, and still a picture that can be counted.

What no lens and no sensor makes is looked for, cheaply: edges of one pixel along one whole row or column, rows that
do not go on in the next or repeat it, a grain that changes along a line, objects that are all longer one way, objects
larger in one half than in the other, and the same patch of pixels in two places.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from qckit.counting.damage.cuts import Cut, look_again, surest_cut, suspects_of
from qckit.counting.damage.grain import find_other_grain
from qckit.counting.damage.mirrors import is_mirrored
from qckit.counting.damage.repeated_parts import find_twins
from qckit.counting.damage.row_steps import step_sums, turned
from qckit.counting.damage.seams import find_break, find_seam
from qckit.counting.damage.tints import find_tint
from qckit.counting.result import Flag
from qckit.errors import InputError
from qckit.photo.reading import SMALL_MP, Brightness
from qckit.robust import median_of
from qckit.stages import STAGES

__all__ = ["judge_integrity", "signs_in_pixels"]

STILL_SHARE, STILL_PX = 0.12, 14  # of the usual step; rows that repeat their neighbour. 7 at most on sound photos
BRIGHTNESS_ROWS = 128  # worked out at a time
STILL_STEP = 0.1  # in code values; 7 rows at most on sound photos, of any compression
TINTS = (12.0, 243.0)  # black and burnt-out margins repeat by themselves
STRETCH, LEAST_ALL = 0.42, 30  # median logarithm of height over width of all objects; so many say it alone
LEANING, LEAST_STILL, LEAST_LEANING = 0.3, 5, 10
"""Median of those that do not swim, and so lie any way round, and of all; and the fewest of each. Sound photos reach
0.22 with five that do not swim and 0.15 with more; swimmers may all head one way, so they say it only with others."""

STILL_Z, ALL_Z, FEW_STILL = 1.8, 2.7, 3  # signed-rank scores of both; sound photos that lean reach 1.2 and 2.1
ROUND = (STAGES.index("cyst"), STAGES.index("shell"))
ASIDE = 0.08  # of their height or width: in light without shadows 0.05 at most, with shadows 0.10 and more
ONE_BODY = 0.9  # chance of being a single body, of debris that says how bodies lie
ALIKE = [STAGES.index(s) for s in ("nauplius", "cyst", "shell")]  # each of one size all over a photo
HALVES, HALVES_Z, LEAST_HALF = 0.17, 4.0, 5  # logarithm of the ratio of lengths in two halves, its rank-sum score


def judge_integrity(signs: list[str], green: np.ndarray, found, rows_px: np.ndarray, cols_px: np.ndarray) -> list[Flag]:
    """Flag a photo that cannot have come from a camera as it is.

    Parameters
    ----------
    signs : list of str
        From :func:`signs_in_pixels`.
    green : (M, N) ndarray of uint8
        The second channel of the photo as read.
    found : FoundObjects
        Its objects, in the working picture.
    rows_px, cols_px : (n,) ndarray
        Centres of the objects in ``green``.

    Returns
    -------
    list of Flag
        At most one, ``damaged``, with all that was found.
    """
    of_objects = (
        _stretched(found),
        _two_sizes(found, rows_px, cols_px, green.shape),
        find_twins(green, rows_px, cols_px),
    )
    signs = [*signs, *filter(None, of_objects)]
    if not signs:
        return []
    return [
        Flag("damaged", f"The photo is not as a camera takes it: {'; '.join(signs)}. Copy it again or take another.")
    ]


def signs_in_pixels(
    pixels: np.ndarray,
    *,
    reduction: float = 1.0,
    fine: Callable[[], Brightness] | None = None,
    green: np.ndarray | None = None,
    brightness: np.ndarray | None = None,
) -> list[str]:
    """Say what is wrong with a photo, its objects left aside.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
        Of the photo as read.
    reduction : float
        Pixels of the photo per pixel of ``pixels``.
    fine : callable, optional
        Returns the brightness of the photo in its own pixels; called only where a reduced photo may have been cut.
    green : (M, N) ndarray of uint8, optional
        The second channel in one piece, where that is at hand.
    brightness : (M, N) ndarray of uint8, optional
        Of a photo that nothing has reduced, where that is at hand.

    Returns
    -------
    list of str
    """
    green = np.ascontiguousarray(pixels[..., 1]) if green is None else green
    both = green, turned(green)
    steps = [step_sums(values) for values in both]
    signs = (
        _seams(both, steps, reduction, fine, lambda: _brightness(pixels) if brightness is None else brightness),
        _tint(pixels),
        _still(both, steps),
        find_other_grain(green),
        "a part of it stands beside itself as in a mirror" if any(map(is_mirrored, both)) else "",
    )
    return [text for text in signs if text]


def _seams(both, steps: list[np.ndarray], reduction: float, fine, unreduced: Callable[[], np.ndarray]) -> str:
    small = both[0].size * reduction**2 <= SMALL_MP * 1e6
    suspected: list[list[Cut]] = []
    for values, sums, word in zip(both, steps, ("row", "column"), strict=True):
        cuts: list[Cut] = []
        at = find_break(values) or find_seam(values, None if small else cuts, reduced=reduction > 1, sums=sums)
        if at is not None:
            return f"its contents break off along {word} {at}"
        suspected.append(cuts)
    if small:
        whole = unreduced() if reduction <= 1 else _at_full_size(fine)[:]
        suspected = suspects_of(whole)
    elif reduction > 1:
        whole = _at_full_size(fine if any(suspected) else None)
        suspected = [look_again(cuts, reduction, values) for cuts, values in zip(suspected, (whole, whole.T))]
    cut = surest_cut(*suspected)
    return f"several bodies end along {cut[0]} {cut[1] + 1}" if cut else ""


def _at_full_size(fine: Callable[[], Brightness] | None) -> Brightness | np.ndarray:
    """Brightness of the photo in its own pixels; none where its file is gone since it was read."""
    try:
        return fine() if fine else np.zeros((0, 0), np.uint8)
    except InputError:
        return np.zeros((0, 0), np.uint8)


def _brightness(pixels: np.ndarray) -> np.ndarray:
    """Brightness as it is stored in a JPEG; colours are stored coarser, and blur the edge of a cut in each channel."""
    from PIL import Image

    out = np.empty(pixels.shape[:2], np.uint8)
    for top in range(0, len(pixels) if pixels.size else 0, BRIGHTNESS_ROWS):  # few rows stay in the processor's cache
        rows = slice(top, top + BRIGHTNESS_ROWS)
        out[rows] = Image.fromarray(pixels[rows]).convert("L")
    return out


def _tint(pixels: np.ndarray) -> str:
    for values, word in ((pixels, "row"), (pixels.swapaxes(0, 1), "column")):
        at = find_tint(values)
        if at is not None:
            return f"all of it has another colour beyond {word} {at}"
    return ""


def _still(both: tuple[np.ndarray, np.ndarray], sums: list[np.ndarray]) -> str:
    """Rows or columns that repeat the one before; ``sums`` is what :func:`step_sums` gives of each."""
    if min(both[0].shape) <= STILL_PX:
        return ""
    steps = [total / values.shape[1] for total, values in zip(sums, both, strict=True)]
    usual = max(float(median_of(step)) for step in steps)  # most rows, or most columns, may stand still
    for step, values, word in zip(steps, both, ("rows", "columns"), strict=True):
        still = (step <= STILL_SHARE * usual) | (step <= STILL_STEP)
        rows = np.flatnonzero(still)
        level = values[rows + 1].mean(axis=1)
        still[rows] = (level > TINTS[0]) & (level < TINTS[1])
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
    stage = found.p.argmax(axis=1)
    one_body = (stage < len(STAGES)) | (found.p_single > ONE_BODY)  # squeezed round bodies are often read as debris
    real = np.isfinite(found.features).all(axis=1) & (high > 2) & (wide > 2) & one_body
    if _cast_shadows(found, boxes, real & np.isin(stage, ROUND)):
        return ""
    ratio = np.log(np.maximum(high, 1) / np.maximum(wide, 1))
    everything, still = ratio[real], ratio[real & (stage != STAGES.index("nauplius"))]
    mean, still_mean = (float(median_of(r)) if len(r) else 0.0 for r in (everything, still))
    score, still_score = _signed_rank(everything), _signed_rank(still)
    by_still = len(still) >= LEAST_STILL and abs(still_mean) > LEANING and abs(still_score) > STILL_Z
    by_both = (
        min(abs(mean), abs(still_mean)) > LEANING
        and mean * still_mean > 0
        and len(still) >= FEW_STILL
        and len(everything) >= LEAST_LEANING
        and abs(score) > ALL_Z
    )
    by_all = len(everything) >= LEAST_ALL and abs(mean) > STRETCH
    if not (by_still or by_both or by_all):
        return ""
    mean = still_mean if by_still else mean
    return f"its objects are {np.exp(abs(mean)):.1f} times {'higher than wide' if mean > 0 else 'wider than high'}"


def _cast_shadows(found, boxes: np.ndarray, which: np.ndarray) -> bool:
    """Whether outlines of round bodies reach further on one side of their centres, all alike: that is shadow."""
    if not which.any():
        return False
    middle = (boxes[:, :2] + boxes[:, 2:]) / 2 - np.stack([found.rows, found.cols], axis=1)
    aside = median_of(middle[which] / (boxes[which, 2:] - boxes[which, :2]))
    return bool(np.abs(aside).max() > ASIDE)


def _signed_rank(values: np.ndarray) -> float:
    """Wilcoxon's signed-rank score of values against zero (Wilcoxon 1945, Biometrics Bulletin 1:80-83, from memory)."""
    values = values[np.abs(values) > 1e-9]
    _, place, n = np.unique(np.abs(values), return_inverse=True, return_counts=True)
    ranks = (np.cumsum(n) - (n - 1) / 2)[place]  # ties share their mean rank
    return float((np.sign(values) * ranks).sum() / np.sqrt((ranks**2).sum())) if len(values) else 0.0


def _two_sizes(found, rows_px, cols_px, shape) -> str:
    """Cysts and shells are of one size all over a photo."""
    stage = found.p.argmax(axis=1)
    area = np.asarray(found.sizes["area_um2"], float)
    real = np.isfinite(found.features).all(axis=1) & (area > 0) & (stage < len(STAGES))
    for place, side, words in ((cols_px, shape[1], "left and right"), (rows_px, shape[0], "upper and lower")):
        ratios, weights, scores = [], [], []
        for kind in ALIKE:
            which = real & (stage == kind)
            first, second = area[which & (place < side / 2)], area[which & (place >= side / 2)]
            if min(len(first), len(second)) < LEAST_HALF:
                continue
            n, m = len(first), len(second)
            u = _larger_pairs(first, second)
            scores.append((u - n * m / 2) / np.sqrt(n * m * (n + m + 1) / 12))
            ratios.append(0.5 * np.log(median_of(first) / median_of(second)))
            weights.append(n * m / (n + m))
        if not ratios:
            continue
        mean = float(np.average(ratios, weights=weights))
        if abs(mean) > HALVES and abs(sum(scores)) / np.sqrt(len(scores)) > HALVES_Z:
            return f"objects of its {words} half differ in size {np.exp(abs(mean)):.1f} times"
    return ""


def _larger_pairs(first: np.ndarray, second: np.ndarray) -> float:
    """Pairs in which the first is larger, ties by half: Mann and Whitney's U (1947, Ann. Math. Statist. 18:50).

    Worked out here, as ranks are above: importing a library for it takes more time and memory than all the rest of a
    small photo.
    """
    ordered = np.sort(second)
    return float(sum(np.searchsorted(ordered, first, side) for side in ("left", "right")).sum() / 2)
