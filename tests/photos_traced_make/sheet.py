"""One body on its own small orthographic grid: bodies are drawn without triangles.

Every body is a skeleton of capsules, ellipsoids and thin spherical walls in three dimensions.
Seen along the optical axis each of them is entered and left at depths that have a closed form,
so a grid of rays is enough: the sheet gathers optical depth, scattering, phase and the height
of the uppermost surface along each ray. Lengths are micrometres; z points at the camera.
"""

import numpy as np

FAR = np.float32(-1e6)


def rotation(yaw, pitch, roll):
    """Matrix that poses a body: roll about its long axis, pitch out of the plane, then yaw."""
    cy, sy, cp, sp, cr, sr = (f(a) for a in (yaw, pitch, roll) for f in (np.cos, np.sin))
    about_z = np.array([[cy, -sy, 0], [sy, cy, 0], [0, 0, 1]])
    about_y = np.array([[cp, 0, -sp], [0, 1, 0], [sp, 0, cp]])
    about_x = np.array([[1, 0, 0], [0, cr, -sr], [0, sr, cr]])
    return about_z @ about_y @ about_x


def matter(absorb, scatter, albedo, contrast=0.3, gloss=0.3, veil=60.0):
    """A material: absorption (RGB) and scattering per 100 um, colour, phase, gloss, veil depth."""
    return {
        "absorb": np.asarray(absorb, np.float32) / 100,
        "scatter": scatter / 100,
        "albedo": np.asarray(albedo, np.float32),
        "contrast": contrast,
        "gloss": gloss,
        "veil": veil,
    }


class Sheet:
    """Rays over one body, sub-sampled `fine` times per image pixel and aligned with the pixels."""

    def __init__(self, centre_px, reach_um, um_per_px, fine, pad_px=2):
        reach = reach_um / um_per_px + pad_px
        self.x0 = int(np.floor(centre_px[0] - reach))
        self.y0 = int(np.floor(centre_px[1] - reach))
        self.size = int(np.ceil(2 * reach)) + 1
        self.fine, self.um = fine, um_per_px
        self.step = um_per_px / fine
        n = self.size * fine
        ray = (np.arange(n) + 0.5) / fine
        self.x = ((self.x0 + ray - centre_px[0]) * um_per_px).astype(np.float32)
        self.y = ((self.y0 + ray - centre_px[1]) * um_per_px).astype(np.float32)
        self.od = np.zeros((n, n, 3), np.float32)
        self.tint = np.zeros((n, n, 3), np.float32)
        self.scatter, self.phase, self.gloss = (np.zeros((n, n), np.float32) for _ in range(3))
        self.top = np.full((n, n), FAR)
        self.hull, self.core = np.zeros((n, n), bool), np.zeros((n, n), bool)

    def window(self, low, high):
        """Slices of the rays between two corners (x, y) in micrometres."""
        i0, i1 = np.searchsorted(self.x, [low[0], high[0]])
        j0, j1 = np.searchsorted(self.y, [low[1], high[1]])
        return (slice(max(j0 - 1, 0), j1 + 1), slice(max(i0 - 1, 0), i1 + 1))

    def fill(self, where, entry, leave, material, weight=1.0, hull=True, surface=True, buried=1.0):
        """Add matter between the heights `entry` (upper) and `leave` along the rays `where`.

        Where the trunk is already (`core`), only the share `buried` of the matter counts: tissue
        grown into the trunk shows no outline there.
        """
        length = np.maximum(entry - leave, 0) * np.float32(weight)
        if buried < 1:
            length = length * np.where(self.core[where], np.float32(buried), np.float32(1))
        inside = entry > leave
        depth = np.where(inside, np.maximum(self.top[where] - entry, 0), 0)
        strength = length * material["scatter"] * np.exp(-depth / material["veil"])
        self.od[where] += length[..., None] * material["absorb"]
        self.scatter[where] += strength
        self.tint[where] += strength[..., None] * material["albedo"]
        self.phase[where] += length * material["contrast"]
        self.gloss[where] = np.maximum(self.gloss[where], inside * np.float32(material["gloss"]))
        if surface:
            self.top[where] = np.where(inside, np.maximum(self.top[where], entry), self.top[where])
        if hull:
            self.hull[where] |= inside


def capsule(sheet, p, q, r0, r1):
    """Rays through a tapering capsule from p to q: (window, entry, leave, weight).

    A hair thinner than the grid is drawn as thick as the grid and proportionally thinner in
    matter, or it would break into dots.
    """
    least = 0.75 * sheet.step
    weight = min(1.0, (0.5 * (r0 + r1) / least) ** 2) if max(r0, r1) < least else 1.0
    r0, r1 = max(r0, least), max(r1, least)
    widest = max(r0, r1)
    where = sheet.window(np.minimum(p, q)[:2] - widest, np.maximum(p, q)[:2] + widest)
    x, y = sheet.x[where[1]][None] - p[0], sheet.y[where[0]][:, None] - p[1]
    d = np.asarray(q) - p
    flat = d[0] ** 2 + d[1] ** 2
    t = np.clip((x * d[0] + y * d[1]) / max(flat, 1e-6), 0, 1).astype(np.float32)
    radius = r0 + (r1 - r0) * t
    gap = radius**2 - (x - t * d[0]) ** 2 - (y - t * d[1]) ** 2
    half = np.sqrt(np.maximum(gap, 0))
    # Seen nearly end-on a capsule is as thick as it is long.
    stretch = np.abs(d[2]) * 0.5 if flat < widest**2 else 0.0
    middle = p[2] + (0.5 if stretch else t) * d[2]
    return where, np.where(gap > 0, middle + half + stretch, FAR), middle - half - stretch, weight


def ellipsoid(sheet, centre, radii, turn):
    """Rays through an ellipsoid with radii along the columns of `turn`: as `capsule`."""
    m = turn @ np.diag(1.0 / np.asarray(radii, float) ** 2) @ turn.T
    spread = np.sqrt(np.diag(np.linalg.inv(m)))
    where = sheet.window(centre[:2] - spread[:2], centre[:2] + spread[:2])
    x, y = sheet.x[where[1]][None] - centre[0], sheet.y[where[0]][:, None] - centre[1]
    b = (m[0, 2] * x + m[1, 2] * y) / m[2, 2]
    c = (m[0, 0] * x**2 + 2 * m[0, 1] * x * y + m[1, 1] * y**2 - 1) / m[2, 2]
    gap = b * b - c
    half = np.sqrt(np.maximum(gap, 0))
    return where, np.where(gap > 0, centre[2] - b + half, FAR), centre[2] - b - half, 1.0


def fuse(sheet, parts, blend=12.0):
    """Smooth union of several ray maps: (window that holds them all, entry, leave)."""
    rows, cols = ([p[0][k] for p in parts] for k in (0, 1))
    y0, x0 = min(r.start for r in rows), min(c.start for c in cols)
    n = sheet.top.shape[0]
    y1, x1 = min(max(r.stop for r in rows), n), min(max(c.stop for c in cols), n)
    entry = np.full((max(y1 - y0, 0), max(x1 - x0, 0)), FAR)
    leave = -entry
    for where, upper, lower, _ in parts:
        solid = upper > lower
        inner = tuple(slice(w.start - o, w.stop - o) for w, o in zip(where, (y0, x0)))
        upper, lower = np.where(solid, upper, FAR), np.where(solid, lower, -FAR)
        for field, new, sign in ((entry, upper, 1), (leave, lower, -1)):
            old = field[inner]
            near = np.maximum(blend - np.abs(old - new), 0) / blend
            best = np.maximum(old, new) if sign > 0 else np.minimum(old, new)
            both = (np.abs(old) < -FAR) & (np.abs(new) < -FAR)
            field[inner] = best + sign * both * near**2 * (blend / 4)
    return (slice(y0, y1), slice(x0, x1)), entry, leave


def bump(rng, waves, size, low=1.5, high=4.0):
    """A smooth random function on the sphere: list of (direction, phase, amplitude)."""
    out = []
    for _ in range(waves):
        k = rng.normal(size=3)
        k *= rng.uniform(low, high) / np.linalg.norm(k)
        out.append((k, rng.uniform(0, 2 * np.pi), size * rng.uniform(0.4, 1.0)))
    return out


def relief(waves, nx, ny, nz):
    """Value of `bump` waves in the directions (nx, ny, nz)."""
    total = np.zeros(np.broadcast(nx, nz).shape, np.float32)
    for k, shift, amplitude in waves:
        total += amplitude * np.cos(k[0] * nx + k[1] * ny + k[2] * nz + shift)
    return total


def lumpy(sheet, centre, radius, waves=(), dents=()):
    """Upper and lower crossings of a sphere whose radius varies with direction.

    The crossing is found by a few fixed-point steps. Dents are (direction, depth, width).
    Returns window, two heights, two direction triples and the rays that hit.
    """
    reach = radius * (1.02 + sum(abs(w[2]) for w in waves))
    where = sheet.window(centre[:2] - reach, centre[:2] + reach)
    x, y = sheet.x[where[1]][None] - centre[0], sheet.y[where[0]][:, None] - centre[1]
    flat = x**2 + y**2
    out = []
    for sign in (1.0, -1.0):
        r = np.full(flat.shape, radius, np.float32)
        for _ in range(3 if (waves or dents) else 1):
            z = np.float32(sign) * np.sqrt(np.maximum(r**2 - flat, 0))
            norm = np.sqrt(flat + z**2) + 1e-3
            n = (x / norm, y / norm, z / norm)
            r = radius * (1 + relief(waves, *n))
            for axis, depth, width in dents:
                apart = 1 - (n[0] * axis[0] + n[1] * axis[1] + n[2] * axis[2])
                r = r * (1 - depth * np.exp(-apart / width))
        out.append((z, n, flat < r**2))
    hit = out[0][2] | out[1][2]
    return where, out[0][0] + centre[2], out[1][0] + centre[2], out[0][1], out[1][1], hit
