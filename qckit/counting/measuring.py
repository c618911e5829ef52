"""Measuring: size, shape and colour of pieces, as sums over pixels, so that joining pieces is adding their sums.

Every feature of an object is computed from sums per piece (areas, moments, colours, borders shared), in micrometres
and relative to the photo's own background and light. No pixel is visited twice, however many ways of joining the
pieces are tried.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.light import LOG_CODE, Light, background_at
from qckit.counting.working import WorkImage

__all__ = ["FEATURES", "GREY_FEATURES", "PieceSums", "measure_objects", "sum_pieces"]

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
    "log_area", "log_length", "log_width", "log_elongation", "fill", "roundness", "log_depth", "depth_fill",
    "skew_long", "skew_short", "free_border", "edge_border", "rel_area",
    "contrast", "contrast_sd", "signal", "signal_sd", "gradient", "rim_gradient", "rim_contrast",
    *(f"share_{i}" for i in range(len(CONTRAST_BINS) + 1)),
    "rel_contrast", "is_dark", "coarse", "log_pieces", "ring",
    "hue_rg", "hue_gb", "chroma", "rim_hue_rg", "rim_hue_gb", "hue_rg_sd", "hue_gb_sd", "rel_hue_rg", "rel_hue_gb",
)  # fmt: skip
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


def _contrasts(work: WorkImage, light: Light, rows: np.ndarray, cols: np.ndarray) -> list[np.ndarray]:
    """Contrast of pixels per channel, in natural logarithms: positive is darker, in dark field brighter."""
    out = []
    shape = work.pixels.shape[:2]
    r, k = rows // BACKGROUND_STEP, cols // BACKGROUND_STEP
    sign = np.float32(0.01 if light.is_dark else -0.01)
    for c in range(3):
        back = background_at(light.grid[..., c], light.block_px, shape, BACKGROUND_STEP)[r, k]
        out.append(sign * (LOG_CODE[work.pixels[..., c][rows, cols]] - back))
    return out


def _gradient(work: WorkImage, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Size of the green channel's gradient at pixels. [code values per working pixel]"""
    green = work.pixels[..., 1]
    up, down = np.maximum(rows - 1, 0), np.minimum(rows + 1, green.shape[0] - 1)
    left, right = np.maximum(cols - 1, 0), np.minimum(cols + 1, green.shape[1] - 1)
    dy = green[down, cols].astype(np.float32) - green[up, cols]
    dx = green[rows, right].astype(np.float32) - green[rows, left]
    return 0.5 * np.sqrt(dx * dx + dy * dy)


def sum_pieces(work: WorkImage, light: Light, signal: np.ndarray, pieces: np.ndarray, patch: np.ndarray,
               depth: np.ndarray) -> PieceSums:  # fmt: skip
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
    n = len(patch) - 1
    um = work.um_per_px
    flat = np.flatnonzero(pieces)
    rows, cols = np.divmod(flat, pieces.shape[1])
    label = pieces.ravel()[flat]
    contrast = _contrasts(work, light, rows, cols)
    mean_contrast = (contrast[0] + contrast[1] + contrast[2]) / 3
    typical = max(float(np.median(mean_contrast)), 1e-3) if len(flat) else 1.0
    s = signal.ravel()[flat]
    g = _gradient(work, rows, cols) / max(float(light.level.max()), 30.0)
    d = depth.ravel()[flat]
    boxes = _boxes(pieces, n)
    origin = _patch_origin(boxes, patch)
    x = ((cols - origin[patch[label], 1]) * um).astype(np.float64)
    y = ((rows - origin[patch[label], 0]) * um).astype(np.float64)
    table = np.zeros((n + 1, len(SUMS)))

    def add(name, weights=None, where=None):
        lab = label if where is None else label[where]
        w = None if weights is None else (weights if where is None else weights[where])
        table[:, _AT[name]] = np.bincount(lab, weights=w, minlength=n + 1)

    add("n")
    for name in _MOMENTS[1:]:
        add(name, np.prod([{"x": x, "y": y}[k] for k in name], axis=0) if len(name) > 1 else {"x": x, "y": y}[name])
    for i, c in enumerate(contrast):
        add(f"c{i}", c)
        add(f"c{i}{i}", c * c)
    for name, value in (("s", s), ("ss", s * s), ("g", g), ("d", d)):
        add(name, value)
    rim = d <= RIM_UM
    add("n_rim", where=rim)
    for i, c in enumerate(contrast):
        add(f"c{i}_rim", c, rim)
    add("g_rim", g, rim)
    bins = np.digitize(mean_contrast / typical, CONTRAST_BINS)
    for i in range(len(CONTRAST_BINS) + 1):
        add(f"h{i}", where=bins == i)
    pairs, shared, border, edge = _borders(pieces, n)
    deepest = np.zeros(n + 1)
    np.maximum.at(deepest, label, d)
    # hue shares of the photo's own objects, by which an unusual lamp or stain is allowed for
    hues = _hues(*(np.array([np.median(c)]) if len(flat) else np.array([typical]) for c in contrast))
    context = {
        "is_dark": float(light.is_dark), "um_per_px": um, "typical": typical, "rg": float(hues[0][0]),
        "gb": float(hues[1][0]),
    }  # fmt: skip
    return PieceSums(table, border, edge, pairs, shared, deepest, boxes, patch, origin, context)


def _boxes(pieces: np.ndarray, n: int) -> np.ndarray:
    """Bounding boxes per piece; pieces without pixels have none (first past last)."""
    from scipy import ndimage

    box = np.empty((n + 1, 4), np.int64)
    box[:, :2], box[:, 2:] = np.iinfo(np.int32).max, 0
    for i, found in enumerate(ndimage.find_objects(pieces, max_label=n), start=1):
        if found is not None:
            box[i] = found[0].start, found[1].start, found[0].stop, found[1].stop
    return box


def _patch_origin(boxes, patch):
    """First row and column of each patch, so that moments stay small numbers."""
    origin = np.full((int(patch.max(initial=0)) + 1, 2), np.iinfo(np.int32).max, np.int64)
    np.minimum.at(origin, patch[1:], boxes[1:, :2])
    return origin


def _borders(pieces: np.ndarray, n: int):
    """Outline lengths, sides on the photo's border, and sides shared between touching pieces."""
    border = np.zeros(n + 1)
    first, second = [], []
    for a, b in ((pieces[:-1], pieces[1:]), (pieces[:, :-1], pieces[:, 1:])):
        at = np.flatnonzero((a != b).ravel())
        one, two = (
            a.ravel()[at] if a.flags.c_contiguous else a[np.unravel_index(at, a.shape)],
            b[np.unravel_index(at, b.shape)],
        )
        border += np.bincount(one, minlength=n + 1) + np.bincount(two, minlength=n + 1)
        both = (one > 0) & (two > 0)
        first.append(np.minimum(one[both], two[both]))
        second.append(np.maximum(one[both], two[both]))
    edge = sum(np.bincount(line, minlength=n + 1) for line in (pieces[0], pieces[-1], pieces[:, 0], pieces[:, -1]))
    edge = edge.astype(float)
    edge[0] = 0
    border += edge
    code = np.concatenate(first).astype(np.int64) * (n + 1) + np.concatenate(second)
    code, shared = np.unique(code, return_counts=True)
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
        "log_area": np.log(area), "log_length": np.log(length), "log_width": np.log(width),
        "log_elongation": np.log(length / width), "fill": area / (np.pi / 4 * length * width),
        "roundness": 4 * np.pi * area / (outline * um * 0.785) ** 2,
        "log_depth": np.log(depth + um), "depth_fill": np.pi * (depth + um / 2) ** 2 / area,
        "skew_long": np.abs(third_long) / long**1.5, "skew_short": np.abs(third_short) / short**1.5,
    }  # fmt: skip
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
        "contrast": contrast, "contrast_sd": sum(spread) / 3, "signal": np.log(np.maximum(signal, 0.5)),
        "signal_sd": np.sqrt(np.maximum(at("ss") / n - signal**2, 0)) / np.maximum(signal, 1),
        "gradient": at("g") / n, "rim_gradient": at("g_rim") / n_rim, "rim_contrast": rim_contrast - core_contrast,
        "rel_contrast": contrast / context["typical"], "ring": at("d") / n / 50,
        "hue_rg": rg, "hue_gb": gb, "chroma": (mean[0] - mean[2]) / 2, "rim_hue_rg": rim_rg, "rim_hue_gb": rim_gb,
        "hue_rg_sd": (spread[0] - spread[1]) / total, "hue_gb_sd": (spread[1] - spread[2]) / total,
        "rel_hue_rg": rg - context["rg"], "rel_hue_gb": gb - context["gb"],
    }  # fmt: skip
    for i in range(len(CONTRAST_BINS) + 1):
        looks[f"share_{i}"] = at(f"h{i}") / n
    looks["is_dark"] = np.full(len(n), context["is_dark"])
    looks["coarse"] = np.full(len(n), np.log(context["um_per_px"] / 8))
    return looks
