"""Signed distances in micrometres, negative inside: the chisels every body is carved with.

Points are arrays of shape (3, n) in a body's own frame.
"""

import numpy as np
from scipy import ndimage


def smooth_union(a, b, k):
    """Union of two distances, the seam filled over about ``k``."""
    h = np.clip(0.5 + 0.5 * (b - a) / k, 0, 1)
    return b + (a - b) * h - k * h * (1 - h)


def smooth_cut(a, b, k):
    """What is left of ``a`` when ``b`` is cut out of it."""
    return -smooth_union(-a, b, k)


def ball(q, middle, radius):
    """Distance to a ball."""
    x, y, z = q[0] - middle[0], q[1] - middle[1], q[2] - middle[2]
    return np.sqrt(x * x + y * y + z * z) - radius


def ellipsoid(q, middle, radii):
    """Distance to an ellipsoid, good to first order near its face."""
    r = np.asarray(radii, np.float32)[:, None]
    v = (q - np.asarray(middle, np.float32)[:, None]) / r
    k0 = np.sqrt((v * v).sum(0)) + 1e-6
    v = v / r
    k1 = np.sqrt((v * v).sum(0)) + 1e-9
    # far away and deep inside the first order runs wild: never claim more than the smallest bound
    return np.clip(k0 * (k0 - 1) / k1, -float(min(radii)), None)


class Cones:
    """Smooth union of round-ended cones, from ``a`` (radius ``ra``) to ``b`` (radius ``rb``)."""

    def __init__(self, links, blend_um):
        a, b, ra, rb = zip(*links, strict=True)
        self.a, self.b = np.asarray(a, np.float32), np.asarray(b, np.float32)
        self.ra, self.rb = np.asarray(ra, np.float32)[:, None], np.asarray(rb, np.float32)[:, None]
        self.blend = np.float32(blend_um)

    def _distances(self, a, b, q, ra, rb):
        along = b - a
        long2 = (along * along).sum(1)[:, None] + 1e-6
        h = np.clip((along @ q - (a * along).sum(1)[:, None]) / long2, 0, 1)
        d2 = np.zeros_like(h)
        for k in range(q.shape[0]):
            v = q[k][None] - a[:, k : k + 1] - h * along[:, k : k + 1]
            d2 += v * v
        return np.sqrt(d2) - (ra + h * (rb - ra))

    def __call__(self, q):
        d = self._distances(self.a, self.b, q, self.ra, self.rb)
        least = d.min(0)
        return least - self.blend * np.log(np.exp((least - d) / self.blend).sum(0))

    def flat(self, x, y, turn):
        """Lower bound of the distance of upright rays through (x, y), for a body turned by ``turn``."""
        a, b = (self.a @ turn.T)[:, :2].astype(np.float32), (self.b @ turn.T)[:, :2].astype(np.float32)
        widest = np.maximum(self.ra, self.rb)
        near = self._distances(a, b, np.stack([x, y]).astype(np.float32), widest, widest)
        return near.min(0) - 2 * self.blend


def ripples(rng, wavelength_um, waves=6):
    """A field of crossing sine waves, about -1 to 1, to displace a face or to mottle a tissue."""
    ways = rng.normal(size=(waves, 3))
    ways *= (2 * np.pi / wavelength_um * rng.uniform(0.7, 1.4, (waves, 1))) / np.linalg.norm(ways, axis=1)[:, None]
    ways, phases = ways.astype(np.float32), rng.uniform(0, 2 * np.pi, (waves, 1)).astype(np.float32)
    scale = np.float32(1.2 / np.sqrt(waves))
    return lambda q: np.sin(ways @ q + phases).sum(0) * scale


def _cloud():
    rng = np.random.default_rng(11)
    sheet = ndimage.gaussian_filter(rng.normal(size=(64, 64, 64)), 1.6, mode="wrap")
    return (sheet / sheet.std() / 1.6).clip(-1.4, 1.4).astype(np.float32).ravel()


CLOUD, CLOUD_WAVE = _cloud(), 8.0  # cells of about one wavelength


def mottle(rng, wavelength_um):
    """A cloudy field, about -1 to 1, for tissue: quicker than ripples, but in steps, so not for faces."""
    scale = any_turn(rng) * np.float32(CLOUD_WAVE / wavelength_um)
    shift = rng.uniform(0, 64, (3, 1)).astype(np.float32) + 640

    def at(q):
        i = (scale @ q + shift).astype(np.int32) & 63
        return CLOUD[(i[0] << 12) + (i[1] << 6) + i[2]]

    return at


def turned(x_deg=0.0, y_deg=0.0, z_deg=0.0):
    """Rotation: about x first, then y, then z."""
    a, b, c = np.radians([x_deg, y_deg, z_deg])
    rx = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    ry = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    rz = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    return (rz @ ry @ rx).astype(np.float32)


def any_turn(rng):
    """A rotation with no favourite side."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    if np.linalg.det(q) < 0:
        q[:, 0] = -q[:, 0]
    return q.astype(np.float32)
