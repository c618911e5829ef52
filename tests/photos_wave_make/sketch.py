"""A sheet on which one body is built up as maps of what it does to light, from analytic cross-sections."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

FINE_UM = 3.3  # bodies are built on a grid at least this fine, then averaged down to the photo's pixels

# Absorption (natural logarithm, red green blue) and scattering per micrometre, and excess of refractive index.
YOLK = ((0.0015, 0.0056, 0.0150), 0.0058, 0.006)
TISSUE = ((0.0005, 0.0013, 0.0030), 0.0007, 0.006)
LIMB = ((0.0038, 0.0080, 0.0140), 0.0034, 0.006)
SETA = ((0.0120, 0.0150, 0.0190), 0.0150, 0.012)
EYE = ((0.0420, 0.1300, 0.1350), 0.0010, 0.000)
CHORION = ((0.0300, 0.0490, 0.0800), 0.0042, 0.005)
MEMBRANE = ((0.0012, 0.0013, 0.0016), 0.0060, 0.004)

_tile = np.random.default_rng(20).normal(size=(512, 512)).astype(np.float32)
GRAIN = {}
for _sigma in (1.2, 2.5, 6.0):
    _soft = ndimage.gaussian_filter(_tile, _sigma, mode="wrap")
    GRAIN[_sigma] = (_soft / _soft.std()).astype(np.float32)


@dataclass
class Body:
    """One body's maps, on the photo's pixels."""

    stage: str
    detail: str
    outline: np.ndarray  # bool
    absorb: np.ndarray  # (h, w, 3), natural logarithm, the lid included: of the light let through by a pixel
    dense: np.ndarray  # (h, w, 3), the same as a mean over the pixel, for light that comes back
    lid: np.ndarray  # (h, w, 3), the part of `dense` that lies on top of what scatters
    scatter: np.ndarray  # (h, w)
    path: np.ndarray  # (h, w) extra optical path, um
    top: np.ndarray  # (h, w) height of the upper face, um
    length_um: float
    gloss: float = 1.0
    x_px: int = 0  # where the maps' left upper corner goes
    y_px: int = 0
    layer: int = 0


def turn(points, angle):
    """Points (n, 2) turned about the origin."""
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(points) @ np.array([[c, s], [-s, c]])


class Sheet:
    """Square grid around the origin, in micrometres, that parts are added to."""

    def __init__(self, half_um, um_per_px, rng):
        self.fold = max(1, int(np.ceil(um_per_px / FINE_UM)))
        self.step = um_per_px / self.fold
        self.um_per_px = um_per_px
        n = 2 * int(np.ceil(half_um / um_per_px)) * self.fold
        axis = ((np.arange(n) + 0.5 - n / 2) * self.step).astype(np.float32)
        self.axis, self.n, self.rng = axis, n, rng
        self.x, self.y = axis[None, :], axis[:, None]
        self.absorb = np.zeros((n, n, 3), np.float32)
        self.lid = np.zeros((n, n, 3), np.float32)
        self.scatter = np.zeros((n, n), np.float32)
        self.path = np.zeros((n, n), np.float32)
        self.top = np.zeros((n, n), np.float32)
        self.outline = np.zeros((n, n), bool)
        self._at = rng.integers(0, 512, 2)

    def grain(self, sigma, shape=None):
        """Unit noise as wide as the sheet, of a grain of about ``sigma`` fine pixels."""
        n = self.n
        rows, columns = (np.arange(n) + self._at[0]) % 512, (np.arange(n) + self._at[1]) % 512
        return GRAIN[sigma][rows[:, None], columns[None, :]]

    def window(self, low, high):
        """Slices of rows and columns that hold the box from ``low`` to ``high`` (x, y)."""
        a = np.clip(np.floor((np.asarray(low) - self.axis[0]) / self.step).astype(int) - 1, 0, self.n)
        b = np.clip(np.ceil((np.asarray(high) - self.axis[0]) / self.step).astype(int) + 2, 0, self.n)
        return slice(a[1], max(b[1], a[1])), slice(a[0], max(b[0], a[0]))

    def tube(self, points, radii):
        """Half thickness of a tube of round cross-section along a spine: (window, half thickness, place along it)."""
        points, radii = np.asarray(points, np.float32), np.asarray(radii, np.float32)
        widest = radii.max()
        box = self.window(points.min(0) - widest, points.max(0) + widest)
        x, y = self.x[:, box[1]], self.y[box[0]]
        best = np.full((y.size, x.size), -1e9, np.float32)
        along = np.zeros_like(best)
        steps = len(points) - 1
        for i in range(steps):
            d = points[i + 1] - points[i]
            t = ((x - points[i, 0]) * d[0] + (y - points[i, 1]) * d[1]) / max(float(d @ d), 1e-6)
            t = np.clip(t, 0, 1)
            r = radii[i] + t * (radii[i + 1] - radii[i])
            square = r * r - (x - points[i, 0] - t * d[0]) ** 2 - (y - points[i, 1] - t * d[1]) ** 2
            better = square > best
            best = np.where(better, square, best)
            along = np.where(better, (i + t) / steps, along)
        return box, np.sqrt(np.maximum(best, 0)), along

    def add(self, box, half, matter, strength=1.0, outline=True, depth=1.0, rough=1.0):
        """A solid part of half thickness ``half`` (um); ``depth`` stretches it along the line of sight,
        ``rough`` is uneven filling."""
        absorb, scatter, index = matter
        if half.size == 0:
            return
        thick = 2 * depth * half * rough
        self.absorb[box] += (thick * strength)[..., None] * np.asarray(absorb, np.float32)
        self.scatter[box] += thick * strength * scatter
        widest = max(float(half.max()), 1e-3)
        # a parabola instead of the circle's arc: light bent beyond the aperture is booked as loss in `finish`
        self.path[box] += min(strength, 1.0) * index * 2 * half * half / widest
        self.top[box] = np.maximum(self.top[box], np.where(half > 0, half * min(depth, 1.2), 0))
        if outline:
            self.outline[box] |= half > 0

    def hair(self, start, end, radius_um, matter=SETA, strength=1.0):
        """A bristle, drawn not thinner than the grid resolves and paler for it; never part of the outline."""
        wide = max(radius_um, 0.75 * self.step)
        box, half, _ = self.tube([start, end], [wide, 0.7 * wide])
        pale = strength * (radius_um / wide) ** 2
        self.add(box, half, matter, pale, outline=False)

    def finish(self, stage, detail, length_um, gloss=1.0):
        """The body on the photo's pixels, cut to what it covers."""
        gy, gx = np.gradient(self.path, self.step)
        bent = np.hypot(gx, gy)
        lost = 0.55 * np.clip((bent - 0.022) / 0.05, 0, 1)  # light bent out of the objective's aperture
        self.absorb += lost[..., None]

        def fold(a):
            k = self.fold
            if k == 1:
                return a
            total = sum(a[i::k, j::k] for i in range(k) for j in range(k))
            return total / np.float32(k * k)

        out = fold(self.outline.astype(np.float32)) >= 0.5
        # averaging light, not absorption: a pixel half covered by a dark wall is half bright
        absorb = -np.log(np.maximum(fold(np.exp(-self.absorb)), 1e-6))
        dense = fold(self.absorb)
        used = (absorb.max(2) > 1e-3) | out
        rows, columns = np.flatnonzero(used.any(1)), np.flatnonzero(used.any(0))
        if len(rows) == 0:
            rows = columns = np.array([0])
        cut = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
        maps = [
            a[cut].astype(np.float32) for a in (absorb, dense, np.minimum(fold(self.lid), dense), fold(self.scatter))
        ]
        return Body(stage, detail, out[cut], *maps, fold(self.path)[cut], fold(self.top)[cut], length_um, gloss)
