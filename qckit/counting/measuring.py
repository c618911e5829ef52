"""Measuring: size, shape and colour of pieces, as sums over pixels, so that joining pieces is adding their sums.

Every feature of an object is computed from sums per piece (areas, moments, colours, borders shared), in micrometres
and relative to the photo's own background and light. No pixel is visited twice, however many ways of joining the
pieces are tried.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from qckit.counting.light import LOG_CODE, Light, background_at
from qckit.counting.working import WorkImage

__all__ = ["FEATURES", "GREY_FEATURES", "PieceSums", "measure_objects", "sum_pieces"]

MEDIAN_OF = 20_000  # pixels are enough for a median over the whole photo
BACKGROUND_STEP = 3  # pixels: the background changes over blocks much larger
RIM_UM = 26.0  # the outer zone of an object: a cyst's wall shows there
CONTRAST_BINS = (0.25, 0.5, 0.8, 1.2, 1.8)  # of the photo's typical contrast

_MOMENTS = ("n", "x", "y", "xx", "xy", "yy", "xxx", "xxy", "xyy", "yyy")
_LOOKS = ("c0", "c1", "c2", "c00", "c11", "c22", "s", "ss", "g", "d")
_RIM = ("n_rim", "c0_rim", "c1_rim", "c2_rim", "g_rim")
_BINS = tuple(f"h{i}" for i in range(len(CONTRAST_BINS) + 1))
SUMS = (*_MOMENTS, *_LOOKS, *_RIM, *_BINS)
_AT = {name: i for i, name in enumerate(SUMS)}

FEATURES = (
    "log_area",
    "log_length",
    "log_width",
    "log_elongation",
    "fill",
    "roundness",
    "log_depth",
    "depth_fill",
    "skew_long",
    "skew_short",
    "free_border",
    "edge_border",
    "rel_area",
    "contrast",
    "contrast_sd",
    "signal",
    "signal_sd",
    "gradient",
    "rim_gradient",
    "rim_contrast",
    *(f"share_{i}" for i in range(len(CONTRAST_BINS) + 1)),
    "rel_contrast",
    "is_dark",
    "coarse",
    "log_pieces",
    "ring",
    "hue_rg",
    "hue_gb",
    "chroma",
    "rim_hue_rg",
    "rim_hue_gb",
    "hue_rg_sd",
    "hue_gb_sd",
    "rel_hue_rg",
    "rel_hue_gb",
)
"""Features of an object, in the order of the classifier's columns."""

GREY_FEATURES = FEATURES[: FEATURES.index("hue_rg")]
"""The features that a grey camera offers too."""


@dataclass(frozen=True)
class PieceSums:
    """Sums over the pixels of each piece.

    Attributes
    ----------
    sums : (n + 1, len(SUMS)) ndarray of float64
        Row 0 is unused. Coordinates are in µm from ``origin_um`` of the piece's patch.
    border : (n + 1,) ndarray
        Length of outline in pixel sides.
    edge : (n + 1,) ndarray
        Pixel sides on the photo's border.
    pairs : (k, 2) ndarray of int
        Pieces that touch, first less than second.
    shared : (k,) ndarray
        Pixel sides shared by each pair.
    depth : (n + 1,) ndarray
        Largest distance to the background. [µm]
    boxes : (n + 1, 4) ndarray of int
        first row, first column, row past the last, column past the last.
    patch : (n + 1,) ndarray of int
    origin : (patches + 1, 2) ndarray of int
        First row and column of each patch.
    context : dict
        Photo-wide figures: is_dark, um_per_px, typical contrast and hue.
    """

    sums: np.ndarray
    border: np.ndarray
    edge: np.ndarray
    pairs: np.ndarray
    shared: np.ndarray
    depth: np.ndarray
    boxes: np.ndarray
    patch: np.ndarray
    origin: np.ndarray
    context: dict


def _contrasts(work: WorkImage, light: Light, flat: np.ndarray, rows: np.ndarray, cols: np.ndarray):
    """Contrast of pixels per channel, in natural logarithms: positive is darker, in dark field brighter."""
    out = []
    shape = work.pixels.shape[:2]
    near = rows // BACKGROUND_STEP * -(-shape[1] // BACKGROUND_STEP) + cols // BACKGROUND_STEP
    codes = work.pixels.reshape(-1, 3).take(flat, axis=0)
    sign = np.float32(0.01 if light.is_dark else -0.01)
    for c in range(3):
        back = background_at(light.grid[..., c], light.block_px, shape, BACKGROUND_STEP).ravel().take(near)
        out.append(sign * (LOG_CODE.take(codes[:, c]) - back))
    return out


def _gradient(work: WorkImage, flat: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Size of the green channel's gradient at pixels. [code values per working pixel]"""
    height, width = work.pixels.shape[:2]
    codes, at, line = work.pixels.ravel(), 3 * flat + 1, 3 * width
    down, up = codes.take(at + line * (rows < height - 1)), codes.take(at - line * (rows > 0))
    right, left = codes.take(at + 3 * (cols < width - 1)), codes.take(at - 3 * (cols > 0))
    dy, dx = np.subtract(down, up, dtype=np.float32), np.subtract(right, left, dtype=np.float32)
    return 0.5 * np.sqrt(dx * dx + dy * dy)


def sum_pieces(
    work: WorkImage, light: Light, signal: np.ndarray, pieces: np.ndarray, patch: np.ndarray, depth: np.ndarray
) -> PieceSums:
    """Add up what the features need, per piece.

    Parameters
    ----------
    work : WorkImage
    light : Light
    signal : (M, N) ndarray
        Smoothed signal.
    pieces : (M, N) ndarray of int
    patch : (n + 1,) ndarray of int
    depth : (M, N) ndarray
        Distance to the background. [µm]

    Returns
    -------
    PieceSums
    """
    um = work.um_per_px
    flat, starts, there = _in_order(pieces)
    n, size = len(patch) - 1, np.diff(starts)
    label = np.repeat(there, size)
    rows, cols = np.divmod(flat, pieces.shape[1])
    contrast = _contrasts(work, light, flat, rows, cols)
    mean_contrast = (contrast[0] + contrast[1] + contrast[2]) / 3
    typical = max(_typical(mean_contrast), 1e-3) if len(flat) else 1.0
    s, d = signal.ravel().take(flat), depth.ravel().take(flat)
    g = _gradient(work, flat, rows, cols) / np.float32(max(float(light.level[1]), 30.0))  # of the same channel
    boxes = _boxes(rows, cols, starts, there, n)
    origin = _patch_origin(boxes, patch)
    corner = np.repeat(origin[patch[there]], size, axis=0)
    x, y = (cols - corner[:, 1]) * um, (rows - corner[:, 0]) * um
    xx, yy = x * x, y * y
    rim = (d <= RIM_UM).astype(np.float32)
    c0, c1, c2 = contrast
    at = lambda values: _sums(values, starts)  # noqa: E731
    table = np.zeros((n + 1, len(SUMS)))
    table[there] = np.stack(
        [
            size,
            at(x),
            at(y),
            at(xx),
            at(x * y),
            at(yy),
            at(xx * x),
            at(xx * y),
            at(x * yy),
            at(yy * y),
            at(c0),
            at(c1),
            at(c2),
            at(c0 * c0),
            at(c1 * c1),
            at(c2 * c2),
            at(s),
            at(s * s),
            at(g),
            at(d),
            at(rim),
            at(c0 * rim),
            at(c1 * rim),
            at(c2 * rim),
            at(g * rim),
            *_shares(mean_contrast / typical, starts),
        ],
        axis=1,
    )
    pairs, shared, border, edge = _borders(
        pieces, flat, rows=rows, cols=cols, label=label, starts=starts, there=there, n=n
    )
    deepest = np.zeros(n + 1)
    deepest[there] = np.maximum.reduceat(d, starts[:-1]) if len(there) else 0
    # hue shares of the photo's own objects, by which an unusual lamp or stain is allowed for
    hues = _hues(*(np.array([_typical(c)]) if len(flat) else np.array([typical]) for c in contrast))
    context = {
        "is_dark": float(light.is_dark),
        "um_per_px": um,
        "typical": typical,
        "rg": float(hues[0][0]),
        "gb": float(hues[1][0]),
    }
    return PieceSums(
        sums=table,
        border=border,
        edge=edge,
        pairs=pairs,
        shared=shared,
        depth=deepest,
        boxes=boxes,
        patch=patch,
        origin=origin,
        context=context,
    )


def _in_order(pieces: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pixels piece after piece, each in reading order: flat index, where each piece starts (and the end), its number.

    Sums over runs of an array cost a fraction of sums by label.
    """
    flat = np.flatnonzero(pieces != 0)  # of truth values it is several times faster
    label = pieces.ravel().take(flat)
    if label.max(initial=0) < 2**16:
        label = label.astype(np.uint16)  # numpy sorts these by counting
    order = np.argsort(label, kind="stable")
    label = label[order]
    starts = np.r_[0, np.flatnonzero(label[1:] != label[:-1]) + 1, len(label)] if len(label) else np.zeros(1, np.int64)
    return flat[order], starts, label[starts[:-1]].astype(np.int64)


def _typical(values: np.ndarray) -> float:
    """Median of pixels, from evenly spread ones where there are many."""
    return float(np.median(values[:: max(1, len(values) // MEDIAN_OF)]))


def _sums(values: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Sum over each run."""
    return np.add.reduceat(values, starts[:-1]) if len(starts) > 1 else np.zeros(0)


def _shares(ratio: np.ndarray, starts: np.ndarray) -> list[np.ndarray]:
    """Pixels of each run between the steps of ``CONTRAST_BINS``, below the first and above the last."""
    above = [_sums((ratio >= step).astype(np.float32), starts) for step in CONTRAST_BINS]
    above = [np.diff(starts), *above, np.zeros(len(starts) - 1)]
    return [more - less for more, less in pairwise(above)]


def _boxes(rows: np.ndarray, cols: np.ndarray, starts: np.ndarray, there: np.ndarray, n: int) -> np.ndarray:
    """Bounding boxes per piece; pieces without pixels have none (first past last)."""
    box = np.empty((n + 1, 4), np.int64)
    box[:, :2], box[:, 2:] = np.iinfo(np.int32).max, 0
    if len(there):
        first, last = starts[:-1], starts[1:] - 1
        left, right = np.minimum.reduceat(cols, first), np.maximum.reduceat(cols, first)
        box[there] = np.stack([rows[first], left, rows[last] + 1, right + 1], axis=1)
    return box


def _patch_origin(boxes, patch):
    """First row and column of each patch, so that moments stay small numbers."""
    origin = np.full((int(patch.max(initial=0)) + 1, 2), np.iinfo(np.int32).max, np.int64)
    np.minimum.at(origin, patch[1:], boxes[1:, :2])
    return origin


def _borders(pieces, flat, rows, cols, label, starts, there, n):
    """Outline lengths, sides on the photo's border, and sides shared between touching pieces."""
    height, width = pieces.shape
    sides, on_edge = np.zeros(len(flat), np.float32), np.zeros(len(flat), np.float32)
    codes = []
    for step, outside in ((1, cols == width - 1), (width, rows == height - 1), (-1, cols == 0), (-width, rows == 0)):
        beside = pieces.ravel().take(flat + step, mode="clip")
        differs = (beside != label) | outside
        sides += differs
        on_edge += outside
        if step > 0:  # each side once
            both = np.flatnonzero(differs & (beside > 0) & ~outside)
            one, two = label[both], beside[both].astype(np.int64)
            codes.append(np.minimum(one, two) * (n + 1) + np.maximum(one, two))
    border, edge = np.zeros(n + 1), np.zeros(n + 1)
    border[there], edge[there] = _sums(sides, starts), _sums(on_edge, starts)
    code, shared = np.unique(np.concatenate(codes), return_counts=True)
    pairs = np.stack(np.divmod(code, n + 1), axis=1) if len(code) else np.zeros((0, 2), np.int64)
    return pairs, shared.astype(float), border, edge


def _hues(c0, c1, c2):
    """Colour of a contrast as two shares that do not depend on how strong it is."""
    total = np.abs(c0) + np.abs(c1) + np.abs(c2) + 0.02
    return (c0 - c1) / total, (c1 - c2) / total


def measure_objects(pieces: PieceSums, groups: list[tuple[int, ...]]) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Measure ways of joining pieces.

    Parameters
    ----------
    pieces : PieceSums
    groups : list of tuple of int, length m
        Pieces of each would-be object.

    Returns
    -------
    features : (m, len(FEATURES)) ndarray of float32
    sizes : dict of (m,) ndarrays
        area_um2, length_um, width_um, x_um, y_um (from the patch's origin), n_px, edge_sides, strength (sum of the
        squared signal).
    """
    m = len(groups)
    if not m:
        return np.zeros((0, len(FEATURES)), np.float32), {k: np.zeros(0) for k in _SIZES}
    index = np.repeat(np.arange(m), [len(g) for g in groups])
    members = np.fromiter((p for g in groups for p in g), np.int64, len(index))

    def total(values):
        out = np.zeros((m, *values.shape[1:]))
        np.add.at(out, index, values[members])
        return out

    sums = total(pieces.sums)
    border, edge = total(pieces.border), total(pieces.edge)
    inner = _inner_sides(pieces, groups)
    depth = np.zeros(m)
    np.maximum.at(depth, index, pieces.depth[members])
    contact = _contact_sides(pieces)
    touching = total(contact) - 2 * inner
    outline = np.maximum(border - 2 * inner, 4)
    shape, sizes = _shape(sums, outline, depth, pieces.context["um_per_px"])
    shape["free_border"] = 1 - (touching + edge) / outline
    shape["edge_border"] = edge / outline
    patch_area = np.bincount(pieces.patch[1:], weights=pieces.sums[1:, 0], minlength=int(pieces.patch.max()) + 1)
    shape["rel_area"] = sums[:, 0] / patch_area[pieces.patch[[g[0] for g in groups]]]
    shape["log_pieces"] = np.log([len(g) for g in groups])
    looks = _looks(sums, pieces.context)
    sizes["edge_sides"] = edge
    sizes["strength"] = sums[:, _AT["ss"]]
    table = {**shape, **looks}
    return np.stack([table[name] for name in FEATURES], axis=1).astype(np.float32), sizes


_SIZES = ("area_um2", "length_um", "width_um", "x_um", "y_um", "n_px", "edge_sides", "strength")


def _contact_sides(pieces: PieceSums) -> np.ndarray:
    """Sides each piece shares with any other piece."""
    out = np.zeros(len(pieces.border))
    np.add.at(out, pieces.pairs[:, 0], pieces.shared)
    np.add.at(out, pieces.pairs[:, 1], pieces.shared)
    return out


def _inner_sides(pieces: PieceSums, groups) -> np.ndarray:
    """Sides that vanish inside each group when its pieces are joined."""
    shared = {(int(a), int(b)): s for (a, b), s in zip(pieces.pairs, pieces.shared, strict=True)}
    out = np.zeros(len(groups))
    for i, group in enumerate(groups):
        if len(group) > 1:
            ordered = sorted(group)
            out[i] = sum(shared.get((a, b), 0.0) for k, a in enumerate(ordered) for b in ordered[k + 1 :])
    return out


def _shape(sums, outline, depth, um):
    """Shape features and sizes from moments (all in µm)."""
    n = np.maximum(sums[:, _AT["n"]], 1)
    m = {k: sums[:, _AT[k]] / n for k in _MOMENTS[1:]}
    x, y = m["x"], m["y"]
    var_x, var_y, cov = m["xx"] - x * x, m["yy"] - y * y, m["xy"] - x * y
    var_x, var_y = var_x + um * um / 12, var_y + um * um / 12  # a pixel is a square, not a point
    half, root = (var_x + var_y) / 2, np.sqrt(((var_x - var_y) / 2) ** 2 + cov**2)
    long, short = half + root, np.maximum(half - root, um * um / 12)
    length, width, area = 4 * np.sqrt(long), 4 * np.sqrt(short), n * um * um
    angle = 0.5 * np.arctan2(2 * cov, var_x - var_y)
    c, s = np.cos(angle), np.sin(angle)
    xxx = m["xxx"] - 3 * x * m["xx"] + 2 * x**3
    yyy = m["yyy"] - 3 * y * m["yy"] + 2 * y**3
    xxy = m["xxy"] - 2 * x * m["xy"] - y * m["xx"] + 2 * x * x * y
    xyy = m["xyy"] - 2 * y * m["xy"] - x * m["yy"] + 2 * x * y * y
    third_long = c**3 * xxx + 3 * c * c * s * xxy + 3 * c * s * s * xyy + s**3 * yyy
    third_short = -(s**3) * xxx + 3 * s * s * c * xxy - 3 * s * c * c * xyy + c**3 * yyy
    shape = {
        "log_area": np.log(area),
        "log_length": np.log(length),
        "log_width": np.log(width),
        "log_elongation": np.log(length / width),
        "fill": area / (np.pi / 4 * length * width),
        "roundness": 4 * np.pi * area / (outline * um * 0.785) ** 2,
        "log_depth": np.log(depth + um),
        "depth_fill": np.pi * (depth + um / 2) ** 2 / area,
        "skew_long": np.abs(third_long) / long**1.5,
        "skew_short": np.abs(third_short) / short**1.5,
    }
    sizes = {"area_um2": area, "length_um": length, "width_um": width, "x_um": x, "y_um": y, "n_px": n}
    return shape, sizes


def _looks(sums, context):
    """Contrast and colour features, relative to the photo's background and its objects."""
    n = np.maximum(sums[:, _AT["n"]], 1)
    at = lambda k: sums[:, _AT[k]]  # noqa: E731
    mean = [at(f"c{i}") / n for i in range(3)]
    spread = [np.sqrt(np.maximum(at(f"c{i}{i}") / n - mean[i] ** 2, 0)) for i in range(3)]
    n_rim = np.maximum(at("n_rim"), 1)
    rim = [at(f"c{i}_rim") / n_rim for i in range(3)]
    n_core = n - at("n_rim")
    core = [np.where(n_core > 3, (at(f"c{i}") - at(f"c{i}_rim")) / np.maximum(n_core, 1), mean[i]) for i in range(3)]
    rg, gb = _hues(*core)
    rim_rg, rim_gb = _hues(*rim)
    contrast, rim_contrast, core_contrast = (sum(v) / 3 for v in (mean, rim, core))
    total = sum(np.abs(v) for v in mean) + 0.02
    signal = at("s") / n
    looks = {
        "contrast": contrast,
        "contrast_sd": sum(spread) / 3,
        "signal": np.log(np.maximum(signal, 0.5)),
        "signal_sd": np.sqrt(np.maximum(at("ss") / n - signal**2, 0)) / np.maximum(signal, 1),
        "gradient": at("g") / n,
        "rim_gradient": at("g_rim") / n_rim,
        "rim_contrast": rim_contrast - core_contrast,
        "rel_contrast": contrast / context["typical"],
        "ring": at("d") / n / 50,
        "hue_rg": rg,
        "hue_gb": gb,
        "chroma": (mean[0] - mean[2]) / 2,
        "rim_hue_rg": rim_rg,
        "rim_hue_gb": rim_gb,
        "hue_rg_sd": (spread[0] - spread[1]) / total,
        "hue_gb_sd": (spread[1] - spread[2]) / total,
        "rel_hue_rg": rg - context["rg"],
        "rel_hue_gb": gb - context["gb"],
    }
    for i in range(len(CONTRAST_BINS) + 1):
        looks[f"share_{i}"] = at(f"h{i}") / n
    looks["is_dark"] = np.full(len(n), context["is_dark"])
    looks["coarse"] = np.full(len(n), np.log(context["um_per_px"] / 8))
    return looks
