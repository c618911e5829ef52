"""The relief of one object: heights of its top and bottom, and how much of each stuff lies in between."""

import numpy as np
from scipy import ndimage

STUFFS = ("chorion", "yolk", "tissue", "pigment", "skin", "gas", "mineral", "green", "thread", "blue")
NOTHING = -1e9


class Form:
    """A relief on a grid that lies on the photo's pixels, ``fine`` samples a pixel each way.

    Lengths are µm about the object's middle; x runs right, y down, z up to the camera.
    """

    def __init__(self, at_px, radius_um: float, um_per_px: float, fine: int):
        half = int(np.ceil(radius_um / um_per_px)) + 3
        self.x0, self.y0 = int(at_px[0]) - half, int(at_px[1]) - half
        self.um_per_px, self.fine, self.step = um_per_px, fine, um_per_px / fine
        self.n = (2 * half + 1) * fine
        self.x = ((np.arange(self.n) + 0.5) / fine + self.x0 - at_px[0]).astype(np.float32) * um_per_px
        self.y = ((np.arange(self.n) + 0.5) / fine + self.y0 - at_px[1]).astype(np.float32) * um_per_px
        self.top = np.full((self.n, self.n), NOTHING, np.float32)
        self.bottom = np.full((self.n, self.n), -NOTHING, np.float32)
        self.outline = np.zeros((self.n, self.n), bool)
        self.columns = {}
        self.gloss, self.bump, self.grain = 0.3, None, None
        self.smooth_um = 2.0  # finer relief than this is noise of how it was made
        self.height_um = 0.0

    def sweep(self, middles, radii):
        """Return top and bottom of a row of balls, ``middles`` (k, 3) µm."""
        top, bottom = np.full_like(self.top, NOTHING), np.full_like(self.top, -NOTHING)
        for (cx, cy, cz), r in zip(np.asarray(middles, float), np.broadcast_to(radii, len(middles))):
            i0, i1 = np.searchsorted(self.y, [cy - r, cy + r])
            j0, j1 = np.searchsorted(self.x, [cx - r, cx + r])
            if i0 >= i1 or j0 >= j1:
                continue
            d2 = r * r - (self.y[i0:i1, None] - cy) ** 2 - (self.x[None, j0:j1] - cx) ** 2
            inside = d2 > 0
            rise = np.sqrt(np.where(inside, d2, 0)).astype(np.float32)
            box = (slice(i0, i1), slice(j0, j1))
            np.maximum(top[box], np.where(inside, cz + rise, NOTHING), out=top[box])
            np.minimum(bottom[box], np.where(inside, cz - rise, -NOTHING), out=bottom[box])
        return top, bottom

    def add(self, stuff: str, thickness):
        """Lay a column of stuff (µm) on the grid."""
        self.columns[stuff] = self.columns.get(stuff, 0) + np.asarray(thickness, np.float32)

    def solid(self, part, stuff: str, share=1.0, *, outer: bool = True, counts: bool = True):
        """Fill a part from its bottom to its top; an outer part makes the relief, one that counts the outline."""
        top, bottom = part
        self.add(stuff, np.where(top > bottom, top - bottom, 0) * share)
        if outer:
            self.cover(part, counts=counts)

    def cover(self, part, *, counts: bool = True):
        """Let a part belong to the relief."""
        np.maximum(self.top, part[0], out=self.top)
        np.minimum(self.bottom, part[1], out=self.bottom)
        if counts:
            self.outline |= part[0] > part[1]

    def skin(self, part, stuff: str, thick_um: float, most: float = 7.0):
        """Coat a part: a wall shows the deeper, the more it leans from the camera."""
        top, bottom = part
        inside = top > bottom
        if not inside.any():
            return
        box = _box(inside, 2)
        deep = np.where(inside[box], top[box] - bottom[box], 0)
        lean = np.hypot(*np.gradient(ndimage.gaussian_filter(deep, 0.7), self.step)) / 2
        wall = np.zeros_like(top)
        wall[box] = np.where(inside[box], 2 * thick_um * np.minimum(np.sqrt(1 + lean**2), most), 0)
        self.add(stuff, wall)

    def deposit(self, points, areas, stuff: str, thick_um: float, *, counts: bool = True):
        """Lay down a surface of points (k, 3), each standing for an area in µm²."""
        j, i = self._cells(points)
        keep = (i >= 1) & (j >= 1) & (i < self.n - 2) & (j < self.n - 2)
        i, j, z = i[keep], j[keep], points[keep, 2]
        cell = np.floor(i).astype(int) * self.n + np.floor(j).astype(int)
        fi, fj = i - np.floor(i), j - np.floor(j)
        load = (np.broadcast_to(areas, len(points))[keep] * thick_um / self.step**2).astype(np.float32)
        total = np.zeros(self.n * self.n)
        for di, dj in ((0, 0), (0, 1), (1, 0), (1, 1)):
            weight = (fi if di else 1 - fi) * (fj if dj else 1 - fj)
            total += np.bincount(cell + di * self.n + dj, load * weight, self.n * self.n)
        self.add(stuff, ndimage.gaussian_filter(total.reshape(self.n, self.n), 1.35))
        near = np.round(i).astype(int).clip(0, self.n - 1) * self.n + np.round(j).astype(int).clip(0, self.n - 1)
        top, bottom = np.full(self.n * self.n, NOTHING), np.full(self.n * self.n, -NOTHING)
        np.maximum.at(top, near, z)
        np.minimum.at(bottom, near, z)
        self.smooth_um = 4.5
        part = _without_holes(top.reshape(self.n, self.n), bottom.reshape(self.n, self.n))
        self.cover(part, counts=counts)
        return part

    def threads(self, lines, thick_um: float, stuff: str = "skin"):
        """Lay down fine threads that are not part of the outline; ``lines`` is a list of (k, 3) points."""
        total = np.zeros(self.n * self.n)
        for line in lines:
            line = np.asarray(line)
            length = np.linalg.norm(np.diff(line[:, :2], axis=0), axis=1)
            n = max(2, int(length.sum() / self.step * 1.5))
            where = np.concatenate([[0], np.cumsum(length)])
            even = np.linspace(0, where[-1], n)
            j = (np.interp(even, where, line[:, 0]) - self.x[0]) / self.step
            i = (np.interp(even, where, line[:, 1]) - self.y[0]) / self.step
            keep = (i >= 0) & (j >= 0) & (i < self.n - 1) & (j < self.n - 1)
            taper = np.linspace(1, 0.4, n)[keep]
            cell = np.round(i[keep]).astype(int) * self.n + np.round(j[keep]).astype(int)
            total += np.bincount(cell, taper * where[-1] / n * thick_um**2 / self.step**2, self.n * self.n)
        self.add(stuff, ndimage.gaussian_filter(total.reshape(self.n, self.n), 0.6))

    def trim(self):
        """Cut off what is empty all round."""
        there = self.outline.copy()
        for column in self.columns.values():
            there |= column > 1e-4
        rows, columns = _box(there, 6 * self.fine, self.fine)
        self.y0, self.x0 = self.y0 + rows.start // self.fine, self.x0 + columns.start // self.fine
        self.y, self.x = self.y[rows], self.x[columns]
        self.top, self.bottom, self.outline = (a[rows, columns] for a in (self.top, self.bottom, self.outline))
        self.columns = {stuff: column[rows, columns] for stuff, column in self.columns.items()}
        self.bump, self.grain = (None if a is None else a[rows, columns] for a in (self.bump, self.grain))

    def _cells(self, points):
        return (points[:, 0] - self.x[0]) / self.step, (points[:, 1] - self.y[0]) / self.step


def _box(inside, margin: int, whole: int = 1):
    """Return the slices that hold all that is true and a margin, in steps of ``whole``."""
    out = []
    for axis in (1, 0):
        there = np.flatnonzero(inside.any(axis=axis))
        first, last = (there[0], there[-1] + 1) if len(there) else (0, whole)
        low, high = max(0, first - margin) // whole * whole, min(-(-(last + margin) // whole) * whole, len(inside))
        out.append(slice(low, high))
    return tuple(out)


def _without_holes(top, bottom):
    """Fill the cells that no point fell on from those about them."""
    empty = top < bottom - 1e8
    solid = ndimage.binary_closing(~empty, iterations=2)
    for _ in range(3):
        hole = solid & (top <= NOTHING)
        if not hole.any():
            break
        top = np.where(hole, ndimage.grey_dilation(top, 3), top)
        bottom = np.where(hole, ndimage.grey_erosion(bottom, 3), bottom)
    keep = solid & (top > NOTHING / 2)
    return np.where(keep, top, NOTHING).astype(np.float32), np.where(keep, bottom, -NOTHING).astype(np.float32)
