"""A drawn part of a photo as counting frame: which objects count in it, its area, and the density that follows.

A region is a dictionary of ``kind`` (rectangle, ellipse or polygon) and ``points``, in pixels of the upright photo: two
opposite corners of a rectangle, two opposite corners of the box around an ellipse (a whole dish is a circle), or three
or more corners of a polygon.

In a rectangle the two-edge rule holds: an object that touches the left or the upper edge is left out, one that touches
the right or the lower edge is counted (Gundersen 1977, Journal of Microscopy 111:219). A dish or a polygon counts an
object by its middle (the associated-point rule; Miles 1978, from memory); for a dish counted whole this makes no
difference, since nothing lies across its rim.
"""

from __future__ import annotations

import math
import re

import numpy as np

from qckit.errors import InputError, unknown_name

__all__ = [
    "REGION_KINDS",
    "check_region",
    "counted_in_region",
    "density_per_ml",
    "density_per_mm2",
    "frame_share",
    "reaches_beyond",
    "read_region_words",
    "region_area_mm2",
    "region_words",
]

REGION_KINDS = ("rectangle", "ellipse", "polygon")
_LEAST_PX = 10


def check_region(region, *, width_px: int, height_px: int) -> dict:
    """Check a region and bring it to whole pixels inside the photo.

    Parameters
    ----------
    region : dict
        ``kind`` and ``points``, see above.
    width_px, height_px : int
        Size of the upright photo.

    Returns
    -------
    dict
        The same in whole pixels; corners of a rectangle or ellipse sorted, upper left first.

    Raises
    ------
    InputError
        Unknown kind, wrong number of points, a polygon that crosses itself, less than 10 px wide or high, or hardly
        anything of it in the photo.
    """
    kind, points = region.get("kind"), region.get("points") or []
    if kind not in REGION_KINDS:
        raise unknown_name("region", str(kind), REGION_KINDS)
    xy = np.array([[float(x), float(y)] for x, y in points]).reshape(-1, 2)
    if len(xy) < 3 if kind == "polygon" else len(xy) != 2:
        need = "three corners or more" if kind == "polygon" else "two opposite corners"
        raise InputError(f"a drawn {kind} needs {need}, and {len(xy)} are set. Set the others.")
    if not np.isfinite(xy).all():
        raise InputError(f"the drawn {kind} has a corner that is no number. Draw it again.")
    if kind == "ellipse":  # may reach beyond the photo: then the part of the dish that shows counts
        xy = np.sort(xy, axis=0).round()
    else:
        xy = np.clip(xy, 0, [width_px, height_px]).round()
        xy = np.sort(xy, axis=0) if kind == "rectangle" else xy
    wide, high = np.ptp(xy, axis=0)
    if min(wide, high) < _LEAST_PX:
        raise InputError(
            f"the drawn {kind} is {wide:.0f} x {high:.0f} px, too small. Draw it over the part that is meant."
        )
    if kind == "polygon" and _crosses_itself(xy):
        raise InputError(
            "the sides of the drawn polygon cross each other. Set its corners in order around the part that is meant."
        )
    region = {"kind": kind, "points": [[int(x), int(y)] for x, y in xy]}
    area_px2 = region_area_mm2(region, 1000.0, width_px=width_px, height_px=height_px)  # a pixel of 1 mm: px²
    if area_px2 < _LEAST_PX**2 / 2:
        raise InputError(
            f"the drawn {kind} covers {area_px2:.0f} px² of the photo ({width_px} x {height_px} px), too "
            "little. Draw it over the part that is meant."
        )
    return region


def reaches_beyond(region, *, width_px: int, height_px: int) -> bool:
    """Tell whether a region, as it was given, lies partly off a photo of this size; only the rest is then counted."""
    xy = np.array(region["points"], dtype=float)
    return bool((xy < 0).any() or (xy > [width_px, height_px]).any())


def _crosses_itself(xy) -> bool:
    n = len(xy)

    def side(a, b, c):
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    for i in range(n):
        a, b = xy[i], xy[(i + 1) % n]
        for j in range(i + 2, n - (i == 0)):
            c, d = xy[j], xy[(j + 1) % n]
            if side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0:
                return True
    return False


def counted_in_region(objects, region: dict, um_per_px: float) -> np.ndarray:
    """Say which objects a drawn frame counts.

    Parameters
    ----------
    objects : DataFrame, shape (n, any), or mapping of (n,) arrays
        x_px, y_px and, where known, length_um and width_um (columns of the objects table).
    region : dict
        From :func:`check_region`.
    um_per_px : float
        [µm/px]

    Returns
    -------
    (n,) ndarray of bool

    Notes
    -----
    Objects' boxes are not kept in the objects table, so in a rectangle an object reaches half the mean of its length
    and width to each side of its middle; an object without sizes is taken by its middle.
    """
    x, y = (np.asarray(objects[k], dtype=float) for k in ("x_px", "y_px"))
    points = np.array(region["points"], dtype=float)
    if region["kind"] == "rectangle":
        reach = _reach_px(objects, um_per_px)
        (x0, y0), (x1, y1) = points
        # out where it touches the left or upper edge; in where it touches the right or lower one
        return (
            (x - reach > x0 if x0 > 0 else x >= 0)
            & (y - reach > y0 if y0 > 0 else y >= 0)
            & (x - reach <= x1)
            & (y - reach <= y1)
        )
    return _middle_inside(x, y, region)


def _middle_inside(x, y, region):
    """Say which points lie inside a region."""
    points = np.array(region["points"], dtype=float)
    if region["kind"] == "polygon":
        return _inside_polygon(x, y, points)
    (x0, y0), (x1, y1) = points
    if region["kind"] == "rectangle":
        return (x >= x0) & (x < x1) & (y >= y0) & (y < y1)
    return ((2 * x - x0 - x1) / (x1 - x0)) ** 2 + ((2 * y - y0 - y1) / (y1 - y0)) ** 2 <= 1


def _reach_px(objects, um_per_px):
    """How far an object reaches from its middle; 0 where it has no size. [px]"""
    if not ("length_um" in objects and "width_um" in objects):
        return np.zeros(len(objects["x_px"]))
    sizes = np.stack([np.asarray(objects[k], dtype=float) for k in ("length_um", "width_um")])
    n_known = np.isfinite(sizes).sum(axis=0)
    return np.nan_to_num(sizes).sum(axis=0) / np.maximum(n_known, 1) / 2 / um_per_px


def _inside_polygon(x, y, points):
    """Even-odd rule, by the sides that a ray to the right crosses."""
    inside = np.zeros(len(x), dtype=bool)
    for (xa, ya), (xb, yb) in zip(points, np.roll(points, -1, axis=0)):
        if ya == yb:
            continue
        between = (y >= min(ya, yb)) & (y < max(ya, yb))
        inside ^= between & (x < xa + (y - ya) * (xb - xa) / (yb - ya))
    return inside


def region_area_mm2(region: dict, um_per_px: float, *, width_px: int, height_px: int) -> float:
    """Area of a region inside the photo.

    Parameters
    ----------
    region : dict
        From :func:`check_region`.
    um_per_px : float
        [µm/px]
    width_px, height_px : int
        Size of the upright photo.

    Returns
    -------
    float
        [mm²]
    """
    points = np.array(region["points"], dtype=float)
    if region["kind"] == "rectangle":
        area = float(np.prod(points[1] - points[0]))
    elif region["kind"] == "ellipse":
        area = _ellipse_px2(points, width_px, height_px)
    else:
        x, y = points.T
        area = abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
    return area * (um_per_px / 1000) ** 2


def _ellipse_px2(points, width_px, height_px) -> float:
    """Area of an ellipse, less what lies beyond the photo's edges. [px²]"""
    (x0, y0), (x1, y1) = points
    if x0 >= 0 and y0 >= 0 and x1 <= width_px and y1 <= height_px:
        return math.pi * (x1 - x0) * (y1 - y0) / 4
    rows = np.arange(max(y0, 0), min(y1, height_px), 0.25) + 0.125
    half = np.sqrt(np.maximum(1 - ((2 * rows - y0 - y1) / (y1 - y0)) ** 2, 0)) * (x1 - x0) / 2
    middle = (x0 + x1) / 2
    width = np.clip(middle + half, 0, width_px) - np.clip(middle - half, 0, width_px)
    return float(width.sum() * 0.25)


def frame_share(drawn, *, width_px: int, height_px: int, most_px: int = 2_000_000) -> float:
    """Share of the photo that is left by several drawn regions together.

    Parameters
    ----------
    drawn : sequence of (region, inside)
        ``inside`` True keeps what lies inside the region, False leaves that out.
    width_px, height_px : int
        Size of the upright photo.
    most_px : int
        Points looked at, good to 0.1 % of the share; one region alone is worked out exactly.

    Returns
    -------
    float
        0 to 1.
    """
    if not drawn:
        return 1.0
    if len(drawn) == 1:
        region, inside = drawn[0]
        share = region_area_mm2(region, 1000.0, width_px=width_px, height_px=height_px) / (width_px * height_px)
        return share if inside else 1 - share
    step = max(1.0, math.sqrt(width_px * height_px / most_px))
    x, y = np.meshgrid(np.arange(step / 2, width_px, step), np.arange(step / 2, height_px, step))
    left = np.ones(x.size, dtype=bool)
    for region, inside in drawn:
        left &= _middle_inside(x.ravel(), y.ravel(), region) == inside
    return float(left.mean())


def density_per_mm2(count: float, area_mm2: float) -> float:
    """Objects per mm² of a frame; NaN without area."""
    return count / area_mm2 if area_mm2 > 0 else math.nan


def density_per_ml(count: float, area_mm2: float, depth_mm: float) -> float:
    """Objects per ml of water that stands ``depth_mm`` deep over a frame (mm³ = µl); NaN without volume."""
    return 1000 * count / (area_mm2 * depth_mm) if area_mm2 * depth_mm > 0 else math.nan


def region_words(region: dict) -> str:
    """Say a region in words that :func:`read_region_words` understands, such as ``rectangle 0,0 960,1440 px``."""
    return f"{region['kind']} {' '.join(f'{x},{y}' for x, y in region['points'])} px"


def read_region_words(text: str) -> dict | None:
    """Find a region in a text that holds what :func:`region_words` wrote; None where there is none."""
    found = re.search(rf"({'|'.join(REGION_KINDS)}) ((?:-?\d+,-?\d+ )+)px", text)
    if not found:
        return None
    points = [[int(v) for v in pair.split(",")] for pair in found[2].split()]
    return {"kind": found[1], "points": points}
