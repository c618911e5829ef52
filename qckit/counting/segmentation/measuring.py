"""Measuring: size, shape and colour of pieces, as sums over pixels, so that joining pieces is adding their sums.

Every feature of an object is computed from sums per piece (areas, moments, colours, borders shared), in micrometres
and relative to the photo's own background and light. No pixel is visited twice, however many ways of joining the
pieces are tried.
"""

from __future__ import annotations

import numpy as np

from qckit.counting.segmentation.pieces import AT, CONTRAST_BINS, MOMENTS, PieceSums, hues_of

__all__ = ["FEATURES", "GREY_FEATURES", "measure_objects"]


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
    sizes["strength"] = sums[:, AT["ss"]]
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
    n = np.maximum(sums[:, AT["n"]], 1)
    m = {k: sums[:, AT[k]] / n for k in MOMENTS[1:]}
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
    n = np.maximum(sums[:, AT["n"]], 1)

    def at(name):
        return sums[:, AT[name]]

    mean = [at(f"c{i}") / n for i in range(3)]
    spread = [np.sqrt(np.maximum(at(f"c{i}{i}") / n - mean[i] ** 2, 0)) for i in range(3)]
    n_rim = np.maximum(at("n_rim"), 1)
    rim = [at(f"c{i}_rim") / n_rim for i in range(3)]
    n_core = n - at("n_rim")
    core = [np.where(n_core > 3, (at(f"c{i}") - at(f"c{i}_rim")) / np.maximum(n_core, 1), mean[i]) for i in range(3)]
    rg, gb = hues_of(*core)
    rim_rg, rim_gb = hues_of(*rim)
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
