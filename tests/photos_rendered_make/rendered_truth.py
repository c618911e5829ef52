"""The truth of a photo, from the scene: outlines of the solid bodies in focus, what hides what, and the rows.

Each body's triangles are projected into pixels. Of the bodies over one another in a pixel the nearest to the eye has
it, clear or not; a body that keeps fewer than 12 pixels so, or that is wholly hidden, has no row.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

LEAST_PX = 12
NEAR_PX = 2
COLUMNS = (
    *("photo", "object_id", "stage", "x_px", "y_px", "x0", "y0", "x1", "y1"),
    *("visible_area_px", "visible_fraction", "touches_edge", "touches_other", "detail"),
    *("whole_x_px", "whole_y_px", "whole_area_px", "in_frame"),
)


@dataclass(frozen=True)
class View:
    """A camera: its picture's size, its distance from the middle of the ground and its turn (3, 3)."""

    width_px: int
    height_px: int
    mm_per_px: float
    distance_mm: float
    turn: np.ndarray

    def project(self, points):
        """Return pixel coordinates and nearness (n, 3) of points (n, 3) [mm]; y runs down."""
        seen = (points - self.turn @ np.array([0, 0, self.distance_mm])) @ self.turn
        f = self.distance_mm / self.mm_per_px / -seen[:, 2]
        x, y = self.width_px / 2 + f * seen[:, 0], self.height_px / 2 - f * seen[:, 1]
        return np.stack([x, y, seen[:, 2]], 1)


def outline(points, triangles):
    """Return (x, y) of the first pixel, a mask (rows, cols) and nearness (rows, cols) of projected triangles."""
    low = np.floor(points[:, :2].min(0)).astype(int)
    cols, rows = (np.ceil(points[:, :2].max(0)).astype(int) - low) + 1
    near = np.full(rows * cols, -np.inf)
    corners = points[triangles] - [*low, 0]  # (m, 3, 3)
    first = np.floor(corners[:, :, :2].min(1)).astype(int)
    extent = (np.ceil(corners[:, :, :2].max(1)).astype(int) - first).max(1)
    for size in np.unique(extent):
        t, at = corners[extent == size], first[extent == size]
        steps = np.stack(np.meshgrid(np.arange(size + 1), np.arange(size + 1)), -1).reshape(-1, 2)
        pixel = at[:, None] + steps[None]
        x, y = (pixel + 0.5)[..., 0], (pixel + 0.5)[..., 1]
        a, b, c = (t[:, k, None] for k in range(3))
        across = (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (c[..., 0] - a[..., 0]) * (b[..., 1] - a[..., 1])
        across = np.where(np.abs(across) < 1e-9, np.nan, across)
        u = ((x - a[..., 0]) * (c[..., 1] - a[..., 1]) - (c[..., 0] - a[..., 0]) * (y - a[..., 1])) / across
        v = ((b[..., 0] - a[..., 0]) * (y - a[..., 1]) - (x - a[..., 0]) * (b[..., 1] - a[..., 1])) / across
        inside = (u >= 0) & (v >= 0) & (u + v <= 1) & (pixel[..., 0] < cols) & (pixel[..., 1] < rows)
        z = a[..., 2] + u * (b[..., 2] - a[..., 2]) + v * (c[..., 2] - a[..., 2])
        np.maximum.at(near, (pixel[..., 1] * cols + pixel[..., 0])[inside], z[inside])
    near = near.reshape(rows, cols)
    return low, np.isfinite(near), near


def body_outline(body, view):
    """Return ``outline`` of a body's outlined pieces."""
    points, triangles, n = [], [], 0
    for part in body.parts:
        if part.outlined:
            points.append(part.vertices)
            triangles.append(part.triangles + n)
            n += len(part.vertices)
    return outline(view.project(np.concatenate(points) + body.place), np.concatenate(triangles))


def _pasted(shape, low, mask):
    """Slices of the picture and of the mask where they overlap; None where they do not."""
    y0, x0 = max(low[1], 0), max(low[0], 0)
    y1, x1 = min(low[1] + mask.shape[0], shape[0]), min(low[0] + mask.shape[1], shape[1])
    if y0 >= y1 or x0 >= x1:
        return None
    return (slice(y0, y1), slice(x0, x1)), (slice(y0 - low[1], y1 - low[1]), slice(x0 - low[0], x1 - low[0]))


def truth_rows(photo, bodies, view, lit=None):
    """Return the rows of a photo and its ids (rows, cols); ``lit`` (rows, cols) is what an eyepiece leaves to see."""
    shape = view.height_px, view.width_px
    lit = np.ones(shape, bool) if lit is None else lit
    found = [body_outline(b, view) for b in bodies]
    nearest, ids, covers = np.full(shape, -np.inf), np.zeros(shape, np.int32), np.zeros(shape, np.int16)
    where = [_pasted(shape, low, mask) for low, mask, _ in found]
    for k, ((_, mask, near), spot) in enumerate(zip(found, where, strict=True)):
        if spot is not None:
            here, there = spot
            wins = mask[there] & (near[there] > nearest[here]) & lit[here]
            nearest[here][wins] = near[there][wins]
            ids[here][wins] = k + 1
            covers[here] += ndimage.binary_dilation(mask[there], iterations=NEAR_PX)
    rows, kept = [], np.zeros(len(bodies) + 1, np.int32)
    rim = ~ndimage.binary_erosion(lit)  # the picture's border, and the eyepiece's
    for k, (body, (low, mask, _), spot) in enumerate(zip(bodies, found, where, strict=True)):
        if spot is None:
            continue
        here, there = spot
        shown, inside = ids[here] == k + 1, mask[there] & lit[here]
        if shown.sum() < LEAST_PX:
            continue
        y, x = (a + s.start for a, s in zip(np.nonzero(shown), here, strict=True))
        wy, wx = (a.mean() + 0.5 + first for a, first in zip(np.nonzero(mask), low[::-1], strict=True))
        framed = 0 <= wx < shape[1] and 0 <= wy < shape[0] and lit[int(wy), int(wx)]
        kept[k + 1] = len(rows) + 1
        values = (photo, len(rows) + 1, body.stage, round(x.mean() + 0.5, 2), round(y.mean() + 0.5, 2))
        values += (x.min(), y.min(), x.max() + 1, y.max() + 1, int(shown.sum()), round(shown.sum() / inside.sum(), 4))
        values += (int((inside & rim[here]).any()), int((covers[here][inside] > 1).any()), body.detail)
        values += (round(wx, 2), round(wy, 2), int(mask.sum()), int(framed))
        rows.append(dict(zip(COLUMNS, values, strict=True)))
    return rows, kept[ids]
