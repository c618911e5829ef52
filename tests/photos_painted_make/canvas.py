"""A small drawing board for one body, at three to four times the photo's resolution.

A body is drawn in its own frame (micrometres, head towards +u) and painted in
layers of translucent pigment.  What a layer does depends on the light:

below   pigments absorb: optical densities add up;
above   pigments cover: colour over colour with an alpha;
dark    pigments glow on black, and hide a little of what lies under them.
"""

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage
from scipy.interpolate import CubicSpline


def linear(*rgb):
    """Screen colour (0 to 1) to linear light."""
    return np.asarray(rgb, np.float32) ** 2.2


@dataclass
class Pigment:
    """What a layer of full thickness does to light, by kind of light."""

    absorb: np.ndarray
    colour: np.ndarray
    alpha: float
    glow: float


def closed_spline(points, n=140):
    """Smooth closed curve through points (k, 2)."""
    points = np.asarray(points, float)
    ring = np.vstack([points, points[:1]])
    curve = CubicSpline(np.arange(len(ring)), ring, bc_type="periodic")
    return curve(np.linspace(0, len(points), n, endpoint=False))


def open_spline(points, n=24):
    """Smooth open curve through points (k, 2)."""
    points = np.asarray(points, float)
    if len(points) < 3:
        return points
    return CubicSpline(np.arange(len(points)), points)(np.linspace(0, len(points) - 1, n))


def ribbon(axis, left, right):
    """Outline of a band along axis (k, 2) with half widths left and right (k,)."""
    along = np.gradient(axis, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True) + 1e-9
    across = np.stack([-along[:, 1], along[:, 0]], 1)
    one = axis + across * np.asarray(left)[:, None]
    other = axis - across * np.asarray(right)[:, None]
    return np.vstack([one, other[::-1]])


def blob(rng, radius, rough=0.03, waves=6, n=96):
    """Nearly round outline, radius varied by a few harmonics."""
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    r = np.ones(n)
    for k in range(2, waves + 2):
        r += rough / (k - 1) * rng.normal() * np.cos(k * turn + rng.uniform(0, 6.3))
    return radius * r[:, None] * np.stack([np.cos(turn), np.sin(turn)], 1)


def rotate(points, angle):
    """Points (k, 2) turned by angle (radians)."""
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(points, float) @ np.array([[c, s], [-s, c]])


def _busy(cover, pad):
    """Slices around what is not zero, grown by pad; None if all is zero."""
    rows, cols = np.flatnonzero(cover.any(1)), np.flatnonzero(cover.any(0))
    if not len(rows):
        return None
    return (slice(max(0, rows[0] - pad), rows[-1] + 1 + pad), slice(max(0, cols[0] - pad), cols[-1] + 1 + pad))


class Canvas:
    """Layers of one body on a grid aligned with the photo's pixels."""

    def __init__(self, pose, reach, mode, um_px, ss, margin_px=4):
        self.pose, self.mode, self.um_px, self.ss = pose, mode, um_px, ss
        spread = self._photo(reach)
        low = np.floor(spread.min(0)).astype(int) - margin_px
        high = np.ceil(spread.max(0)).astype(int) + margin_px
        self.x0, self.y0 = low
        self.w, self.h = high - low
        self.shape = (self.h * ss, self.w * ss)
        self.um = um_px / ss
        # Colour planes come first: numpy is much faster on whole planes.
        self.density = np.zeros((3, *self.shape), np.float32)
        self.colour = np.zeros((3, *self.shape), np.float32)
        self.alpha = np.zeros(self.shape, np.float32)
        self.height = np.zeros(self.shape, np.float32)
        self.solid = np.zeros(self.shape, np.float32)
        self.core = None

    def _photo(self, points):
        x, y, angle = self.pose
        return (rotate(points, angle) + np.array((x, y))) / self.um_px

    def _fine(self, points):
        return (self._photo(points) - (self.x0, self.y0)) * self.ss

    def grid(self):
        """Local coordinates u, v (micrometres) of every fine pixel."""
        x, y, angle = self.pose
        col = (np.arange(self.shape[1], dtype=np.float32) + 0.5) * self.um
        row = (np.arange(self.shape[0], dtype=np.float32) + 0.5) * self.um
        dx = (col + self.x0 * self.um_px - x)[None, :]
        dy = (row + self.y0 * self.um_px - y)[:, None]
        c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
        return c * dx + s * dy, c * dy - s * dx

    def poly(self, *outlines):
        """Coverage (0 or 1) of the union of some outlines."""
        image = Image.new("L", self.shape[::-1])
        pen = ImageDraw.Draw(image)
        for outline in outlines:
            pen.polygon([tuple(p) for p in self._fine(outline)], fill=1)
        return np.asarray(image, np.float32)

    def strokes(self, lines):
        """Coverage of tapered lines: (points, width at start, at end, strength)."""
        image = Image.new("L", self.shape[::-1])
        pen = ImageDraw.Draw(image)
        for points, start, end, strength in lines:
            if max(start, end) > 1.6 * self.um:
                half = np.linspace(start, end, len(points)) / 2
                half = np.maximum(half, 0.4 * self.um)
                outline = self._fine(ribbon(points, half, half))
                pen.polygon([tuple(p) for p in outline], fill=int(255 * strength))
                continue
            thin = min(1.0, (start + end) / 2 / self.um)
            path = [tuple(p) for p in self._fine(points)]
            pen.line(path, fill=max(1, int(255 * strength * thin)), width=1)
        return np.asarray(image, np.float32) / 255

    def soften(self, cover, um):
        """Blur a coverage by um micrometres."""
        sigma = um / self.um
        part = _busy(cover, int(2.5 * sigma) + 2)
        soft = np.zeros_like(cover)
        if part is not None:
            soft[part] = ndimage.gaussian_filter(cover[part], sigma, truncate=2.5)
        return soft

    def dome(self, cover, cap):
        """Height (micrometres) of a body inflated from its silhouette."""
        high = np.zeros_like(cover)
        part = _busy(cover, 2)
        if part is None:
            return high
        inside = np.pad(cover[part] > 0.5, 1)
        depth = ndimage.distance_transform_edt(inside)[1:-1, 1:-1].astype(np.float32)
        depth = np.minimum(depth * self.um, cap)
        high[part] = np.sqrt(np.maximum(2 * depth * cap - depth**2, 0))
        return self.soften(high, 3.0 + 0.04 * cap)

    def paint(self, cover, pigment, thick=1.0):
        """Lay a layer of pigment over what is there."""
        part = _busy(cover, 0)
        if part is None:
            return
        layer = cover[part] * (thick[part] if np.ndim(thick) else np.float32(thick))
        if self.mode in ("below", "both"):
            for plane, absorb in zip(self.density, pigment.absorb):
                plane[part] += layer * absorb
        if self.mode == "below":
            return
        hide = np.clip(layer * np.float32(pigment.alpha), 0, 1)
        for plane, tone in zip(self.colour, pigment.colour):
            if self.mode == "dark":
                plane[part] *= 1 - np.float32(0.8) * hide
                plane[part] += layer * np.float32(pigment.glow * tone)
            else:
                plane[part] += hide * (np.float32(tone) - plane[part])
        self.alpha[part] += hide * (1 - self.alpha[part])

    def raise_to(self, height):
        """Set the relief that shading and refraction use."""
        self.height = np.maximum(self.height, height)

    def claim(self, cover, core=False):
        """Add coverage to the silhouette (and to the part whose middle counts)."""
        self.solid = np.maximum(self.solid, cover > 0.4)
        if core:
            self.core = cover if self.core is None else np.maximum(self.core, cover)

    def shrink(self, fine):
        """Mean over the fine pixels of each photo pixel."""
        ss = self.ss
        total = sum(fine[..., i::ss, j::ss] for i in range(ss) for j in range(ss)) / np.float32(ss * ss)
        return total if fine.ndim == 2 else np.moveaxis(total, 0, -1)

    def centre(self):
        """Middle of the body in photo pixels (pixel centres at whole numbers)."""
        rows, cols = np.nonzero((self.core if self.core is not None else self.solid) > 0.4)
        half = 0.5 / self.ss - 0.5
        return cols.mean() / self.ss + self.x0 + half, rows.mean() / self.ss + self.y0 + half
