"""A small sheet on which one body is drawn: maps of optical depth per tissue, outline and height. CC0.

Bodies are sweeps along splines: a spine with a half-width to its left and right gives the outline, and every
point inside gets its place along the spine and across it, from which tissues are laid out.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.spatial import cKDTree


def spline(points, number=60):
    """Points on a natural curve through ``points`` at even parameter steps."""
    points = np.asarray(points, dtype=float)
    if len(points) == 2:
        return points[0] + np.linspace(0, 1, number)[:, None] * (points[1] - points[0])
    step = np.r_[0, np.cumsum(np.hypot(*np.diff(points, axis=0).T) + 1e-6)]
    return CubicSpline(step, points)(np.linspace(0, step[-1], number))


def profile(table):
    """Monotone spline through (place, value) pairs."""
    return PchipInterpolator(*np.asarray(table, dtype=float).T)


def noise(rng, shape, scale_px):
    """Smooth noise of mean 0 and spread 1, features about ``scale_px`` wide."""
    step = max(1, int(scale_px / 2))
    small = rng.standard_normal((shape[0] // step + 3, shape[1] // step + 3)).astype(np.float32)
    small = ndimage.gaussian_filter(small, scale_px / step / 2)
    if step > 1:
        small = ndimage.zoom(small, step, order=1)
    small = small[: shape[0], : shape[1]]
    return (small - small.mean()) / (small.std() + 1e-6)


def _to_segments(x, y, points):
    """Distance to a chain of straight pieces, place along it (0..1) and the side on which each spot lies."""
    best = np.full(np.broadcast_shapes(x.shape, y.shape), 1e12, np.float32)
    along, side = np.zeros_like(best), np.ones_like(best)
    number = len(points) - 1
    for k in range(number):
        (px, py), (dx, dy) = points[k], points[k + 1] - points[k]
        ax, ay = x - px, y - py
        t = np.clip((ax * dx + ay * dy) / max(dx * dx + dy * dy, 1e-9), 0, 1)
        far = (ax - t * dx) ** 2 + (ay - t * dy) ** 2
        closer = far < best
        best = np.where(closer, far, best)
        along = np.where(closer, (k + t) / number, along)
        side = np.where(closer, dx * ay - dy * ax, side)
    return np.sqrt(best), along, np.sign(side)


@dataclass
class Swept:
    """Where a sweep lies on the sheet: window, cover 0..1, place along 0..1, offset across, half-width there (um)."""

    window: tuple
    cover: np.ndarray
    along: np.ndarray
    across_um: np.ndarray
    half_um: np.ndarray

    @property
    def round(self):
        """Thickness over the middle's thickness were the section a circle."""
        return self.cover * np.sqrt(np.clip(1 - (self.across_um / np.maximum(self.half_um, 0.1)) ** 2, 0, 1))

    @property
    def thick_um(self):
        return 2 * self.half_um * self.round


class Canvas:
    """Fine grid of ``2 * reach_um``, aligned with the photo's pixels and centred on the body's own origin."""

    def __init__(self, reach_um, um_per_px, shift_px=(0.0, 0.0)):
        self.fine = 2 if um_per_px < 8 else 3
        self.um_per_px, self.step_um = um_per_px, um_per_px / self.fine
        self.n = 2 * int(np.ceil(reach_um / um_per_px) + 1)
        size = self.n * self.fine
        line = ((np.arange(size) + 0.5) * self.step_um - self.n * um_per_px / 2).astype(np.float32)
        self.x_um, self.y_um = line - shift_px[0] * um_per_px, line - shift_px[1] * um_per_px
        self.shape = (size, size)
        self.maps = {}
        self.outline = np.zeros(self.shape, np.float32)
        self.height = np.zeros(self.shape, np.float32)

    def window(self, points, margin_um):
        """Slices that hold all points with a margin, or None when they lie off the sheet."""
        low, high = np.min(points, axis=0) - margin_um, np.max(points, axis=0) + margin_um
        x0, x1 = np.searchsorted(self.x_um, (low[0], high[0]))
        y0, y1 = np.searchsorted(self.y_um, (low[1], high[1]))
        return (slice(y0, y1), slice(x0, x1)) if x1 - x0 > 1 and y1 - y0 > 1 else None

    def grid(self, window=None):
        """Coordinates (x, y) in um, ready to broadcast."""
        window = window or (slice(None), slice(None))
        return self.x_um[None, window[1]], self.y_um[window[0], None]

    def sweep(self, spine, left_um, right_um=None):
        """Lay a sweep along ``spine``; half-widths are given at even steps along it."""
        right_um = left_um if right_um is None else right_um
        if len(spine) <= 16:
            return self._short_sweep(np.asarray(spine, np.float32), left_um, right_um)
        length = np.hypot(*np.diff(spine, axis=0).T).sum()
        number = int(np.clip(length / self.step_um, 12, 400))
        dense = spline(spine, number)
        place = np.linspace(0, 1, number)
        knots = np.linspace(0, 1, len(left_um))
        left, right = np.interp(place, knots, left_um), np.interp(place, knots, right_um)
        window = self.window(dense, max(left.max(), right.max()) + 2 * self.step_um)
        if window is None:
            return None
        x, y = self.grid(window)
        spots = np.stack(np.broadcast_arrays(x, y), axis=-1).reshape(-1, 2)
        near, index = cKDTree(dense).query(spots, workers=1)
        tangent = np.gradient(dense, axis=0)
        away = spots - dense[index]
        sign = np.sign(tangent[index, 0] * away[:, 1] - tangent[index, 1] * away[:, 0])
        half = np.where(sign > 0, left[index], right[index])
        shape = (window[0].stop - window[0].start, window[1].stop - window[1].start)
        cover = np.clip((half - near) / self.step_um + 0.5, 0, 1)
        parts = (cover, place[index], sign * near, half)
        return Swept(window, *(np.asarray(p, np.float32).reshape(shape) for p in parts))

    def _short_sweep(self, spine, left_um, right_um):
        """The same along a few straight pieces, exact without a search tree."""
        window = self.window(spine, max(np.max(left_um), np.max(right_um)) + 2 * self.step_um)
        if window is None:
            return None
        near, along, sign = _to_segments(*self.grid(window), spine)
        knots = np.linspace(0, 1, len(left_um))
        half = np.interp(along, knots, left_um)
        if right_um is not left_um:
            half = np.where(sign > 0, half, np.interp(along, knots, right_um))
        half = half.astype(np.float32)
        return Swept(window, np.clip((half - near) / self.step_um + 0.5, 0, 1), along, sign * near, half)

    def add(self, name, window, amount):
        """Add optical depth of one tissue within a window."""
        if name not in self.maps:
            self.maps[name] = np.zeros(self.shape, np.float32)
        self.maps[name][window] += amount

    def raise_to(self, window, height_um):
        np.maximum(self.height[window], height_um, out=self.height[window])

    def draw_into_outline(self, window, cover):
        np.maximum(self.outline[window], cover, out=self.outline[window])

    def line(self, points, width_um, name, depth):
        """A thin tapering thread; thinner than the grid it pales instead of vanishing. Not part of the outline."""
        half = max(width_um / 2, 0.55 * self.step_um)
        points = np.asarray(points, np.float32)
        window = self.window(points, half + self.step_um)
        if window is None:
            return
        near, along, _side = _to_segments(*self.grid(window), points)
        taper = 1 - 0.5 * along
        cover = np.clip((half * taper - near) / self.step_um + 0.5, 0, 1)
        self.add(name, window, cover * (depth * min(1, width_um / 2 / half)))

    def reduced(self, array):
        """Means over whole photo pixels."""
        f = self.fine
        return sum(array[i::f, j::f] for i in range(f) for j in range(f)) / np.float32(f * f)

    def bend_light(self, thickness_um, strength, limit=1.6):
        """Loss at steep faces: light is bent out of the lens's cone where thickness changes fast."""
        gy, gx = np.gradient(ndimage.gaussian_filter(thickness_um, 0.7), self.step_um)
        loss = np.minimum(strength * (gx * gx + gy * gy), limit)
        self.add("edge", (slice(None), slice(None)), loss)
