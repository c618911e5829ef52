"""Objects of the inflated make: outlines drawn by hand-written rules, blown up like cushions to get their thickness.

Nothing here is shared with ``tests/training``: no volumes and no marching. An outline is filled by Pillow, its
thickness follows from the distance to its rim (scipy), and walls of shells from the closed formula for a hollow ball.
Invented shapes; sizes as in ``qckit/practice/scenes.py``.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import distance_transform_edt, gaussian_filter

YOLK, EMBRYO, CLEAR, WALL, DARK, GREEN, MINERAL, FIBRE = range(8)
N_MATERIALS = 8
FINE = 2  # pixels of the drawing per pixel of the photo


@dataclass
class Thing:
    """One object: thickness of each material, height of its upper side, what bends light [µm]; outline, stage, form."""

    stage: str
    detail: str
    thick: np.ndarray
    height: np.ndarray
    lens: np.ndarray
    mask: np.ndarray
    length_um: float


class Sheet:
    """A square of paper on which one object is drawn, in µm from its middle, turned by an angle."""

    def __init__(self, half_um, um_per_px, angle):
        self.step = um_per_px / FINE
        self.n = int(np.ceil(2 * half_um / um_per_px)) * FINE
        self.half = self.n * self.step / 2
        self.c, self.s = np.cos(angle), np.sin(angle)
        axis = (np.arange(self.n) + 0.5) * self.step - self.half
        x, y = np.meshgrid(axis, axis)
        self.x, self.y = self.c * x + self.s * y, -self.s * x + self.c * y

    def _px(self, points):
        p = np.asarray(points, float)
        x, y = self.c * p[:, 0] - self.s * p[:, 1], self.s * p[:, 0] + self.c * p[:, 1]
        return [((a + self.half) / self.step, (b + self.half) / self.step) for a, b in zip(x, y)]

    def polygon(self, points):
        """Filled outline: (n, n) bool."""
        image = Image.new("L", (self.n, self.n), 0)
        ImageDraw.Draw(image).polygon(self._px(points), fill=1)
        return np.asarray(image).astype(bool)

    def stroke(self, points, widths):
        """A line that tapers: (n, n) bool."""
        image = Image.new("L", (self.n, self.n), 0)
        draw = ImageDraw.Draw(image)
        px = self._px(points)
        for (a, b), w in zip(pairwise(px), widths, strict=False):
            w = max(w / self.step, 1.0)
            draw.line([a, b], fill=1, width=round(w))
            draw.ellipse([b[0] - w / 2, b[1] - w / 2, b[0] + w / 2, b[1] + w / 2], fill=1)
        return np.asarray(image).astype(bool)

    def inflate(self, mask, round_um, flat=1.0):
        """Thickness of a cushion with that outline: round at the rim, no thicker than twice ``round_um``. [µm]"""
        d = np.minimum(distance_transform_edt(mask) * self.step, round_um)
        return 2 * flat * np.sqrt(np.maximum(2 * round_um * d - d * d, 0)) * mask

    def finish(self, stage, detail, layers, mask, length_um):
        """Bring an object to the photo's pixels."""
        thick = np.zeros((N_MATERIALS, self.n, self.n), np.float32)
        for material, t in layers:
            thick[material] += t
        m = self.n // FINE
        down = lambda a: a.reshape(*a.shape[:-2], m, FINE, m, FINE).mean(axis=(-3, -1))  # noqa: E731
        solid = gaussian_filter(thick.sum(axis=0), 1.2)
        height = gaussian_filter(self.inflate(mask, 130.0) / 2, 1.5)
        return Thing(stage, detail, down(thick), down(height), down(solid), down(mask.astype(float)) > 0.5, length_um)


def _curve(xs, widths, bend, phase, n=60):
    """Outline of a body around a bent middle line."""
    x = np.linspace(xs[0], xs[-1], n)
    w = np.interp(x, xs, widths)
    w = np.convolve(np.pad(w, 4, mode="edge"), np.hanning(9) / np.hanning(9).sum(), mode="valid")
    w[0] = w[-1] = 0.35 * min(w[1], w[-2])
    y = bend * np.sin((x - xs[0]) / (xs[-1] - xs[0]) * np.pi + phase)
    return np.concatenate([np.stack([x, y + w], 1), np.stack([x, y - w], 1)[::-1]]), np.stack([x, y], 1)


def nauplius(rng, um_per_px, size, *, instar=1, dead=False):
    """Swimming animal seen from the back or obliquely; instar 2 is longer, clearer, with a gut."""
    length = size * (rng.uniform(0.93, 1.07) if instar == 1 else rng.uniform(1.2, 1.6))
    sheet = Sheet(0.95 * length, um_per_px, rng.uniform(0, 2 * np.pi))
    w = length * (rng.uniform(0.16, 0.2) if instar == 1 else rng.uniform(0.11, 0.14))
    xs = np.array([-0.5, -0.42, -0.2, 0.05, 0.25, 0.42, 0.5]) * length
    profile = np.array([0.12, 0.34, 0.66, 0.95, 1.0, 0.8, 0.4]) * np.exp(rng.normal(0, 0.06, 7))
    outline, middle = _curve(xs, w * profile, rng.normal(0, 0.05 if not dead else 0.12) * length, rng.uniform(-1, 1))
    body = sheet.polygon(outline)
    inner, _ = _curve(xs[:6], 0.78 * w * profile[:6], 0, 0)
    inner[:, 1] += np.interp(inner[:, 0], middle[:, 0], middle[:, 1])
    yolk = sheet.polygon(inner) & body
    grain = gaussian_filter(rng.normal(size=body.shape), 7 / sheet.step) * 7 / sheet.step * 2.2
    fill = rng.uniform(0.55, 0.85) if instar == 1 else rng.uniform(0.15, 0.4)
    full = sheet.inflate(body, 0.8 * w)
    yolk_t = fill * sheet.inflate(yolk, 0.62 * w) * np.clip(1 + 0.5 * grain, 0.3, 1.8)
    layers = [(CLEAR, np.maximum(full - yolk_t, 0)), (YOLK, yolk_t)]
    if instar == 2:
        gut = sheet.stroke(
            [(0.3 * length, middle[45, 1]), (0, middle[30, 1]), (-0.4 * length, middle[6, 1])], [0.36 * w] * 2
        )
        layers.append((DARK if rng.random() < 0.4 else YOLK, 0.5 * sheet.inflate(gut & body, 0.2 * w)))
    limbs = np.zeros_like(body)
    hairs = np.zeros_like(body)
    sweep = rng.uniform(-0.9, 0.9)
    for side in (-1, 1):
        for at, reach, angle, width, bristles in (
            (0.40, 0.26, 0.5, 20, 2),
            (0.27, 0.62, 1.5 + sweep, 46, 6),
            (0.12, 0.34, 2.0 + 0.5 * sweep, 34, 4),
        ):
            if dead and rng.random() < 0.4:
                continue
            angle, reach = angle + rng.normal(0, 0.2), reach * length * rng.uniform(0.85, 1.15)
            reach *= rng.uniform(0.45, 1) if rng.random() < 0.25 else 1  # pointing up or down
            root = np.array([at * length, side * 0.6 * w])
            knee = root + 0.45 * reach * np.array([np.cos(angle), side * np.sin(angle)])
            tip = knee + 0.55 * reach * np.array([np.cos(angle + 0.4), side * np.sin(angle + 0.4)])
            limbs |= sheet.stroke(
                [root, (root + knee) / 2, knee, (knee + tip) / 2, tip], np.array([1, 0.9, 0.7, 0.5, 0.3]) * width
            )
            for k in range(bristles):
                a = knee + (tip - knee) * k / max(bristles - 1, 1)
                turn = angle + rng.normal(0.7, 0.3)
                b = a + rng.uniform(0.12, 0.3) * length * np.array([np.cos(turn), side * np.sin(turn)])
                hairs |= sheet.stroke([a, b], [3.5])
    layers += [(CLEAR, sheet.inflate(limbs & ~body, 16)), (CLEAR, 4.0 * (hairs & ~limbs & ~body))]
    if rng.random() < 0.95:
        eye = (sheet.x - 0.43 * length) ** 2 + (sheet.y - middle[55, 1]) ** 2 < rng.uniform(11, 18) ** 2
        layers.append((DARK, 22.0 * eye))
    return sheet.finish("nauplius", "limp" if dead else f"instar {instar}", layers, body | limbs, length)


def _ball(sheet, radius, at=(0, 0), wobble=None):
    """Distance from the middle in radii, of a ball with an uneven outline."""
    x, y = sheet.x - at[0], sheet.y - at[1]
    r = np.hypot(x, y) / radius
    if wobble is not None:
        a = np.arctan2(y, x)
        r = r / (1 + sum(w * np.cos((k + 2) * a + p) for k, (w, p) in enumerate(wobble)))
    return r, x, y


def _walls(r, radius, wall):
    """Path through both walls of a hollow ball. [µm]"""
    out = np.sqrt(np.maximum(1 - r * r, 0))
    inner = np.sqrt(np.maximum((1 - wall / radius) ** 2 - r * r, 0))
    return 2 * radius * (out - inner)


def _wobble(rng, spread):
    return [(rng.normal(0, spread / (k + 1)), rng.uniform(0, 6.3)) for k in range(3)]


def cyst(rng, um_per_px, size, *, bare=False):
    """Filled cyst: round, dented like a cup, or rid of its chorion."""
    radius = size / 2 * rng.uniform(0.94, 1.06)
    sheet = Sheet(1.3 * radius, um_per_px, rng.uniform(0, 6.3))
    r, x, y = _ball(sheet, radius, wobble=_wobble(rng, 0.012))
    wall = 0 if bare else rng.uniform(7, 12)
    inside = r < 1
    core = 2 * radius * np.sqrt(np.maximum((1 - wall / radius) ** 2 - r * r, 0))
    detail = "bare" if bare else "round"
    dent = np.zeros_like(r)
    if rng.random() < 0.3 and not bare:
        detail = "dented"
        at = rng.uniform(-0.25, 0.25, 2) * radius
        wide = rng.uniform(0.5, 0.8) * radius
        dent = rng.uniform(0.3, 0.7) * radius * np.clip(1 - ((x - at[0]) ** 2 + (y - at[1]) ** 2) / wide**2, 0, 1)
    core = np.maximum(core - dent, 0) * np.clip(
        1 + 0.12 * gaussian_filter(rng.normal(size=r.shape), 5 / sheet.step) * 10 / sheet.step, 0.6, 1.4
    )
    thing = sheet.finish(
        "cyst", detail, [(EMBRYO, core), (WALL, _walls(r, radius, wall) if wall else 0 * r)], inside, 2 * radius
    )
    return thing


def _open_ball(rng, sheet, radius, wall, at, how):
    """Wall thickness and outline of an emptied shell; ``how`` is slit, hole, cup, half or piece."""
    r, x, y = _ball(sheet, radius, at, _wobble(rng, 0.03))
    both, one = _walls(r, radius, wall), 0.5 * _walls(r, radius, wall)
    ragged = gaussian_filter(rng.normal(size=r.shape), 9 / sheet.step) * 9 / sheet.step * rng.uniform(4, 14)
    inside = r < 1
    turn = rng.uniform(0, 6.3)
    u, v = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
    if how == "slit":  # a wedge from the rim, gaping through one wall or both
        gape = rng.uniform(0.06, 0.3)
        wedge = (u > rng.uniform(-0.5, 0.2) * radius) & (np.abs(v + 0.5 * ragged) < gape * (u + 0.4 * radius))
        return np.where(wedge, 0 if rng.random() < 0.5 else one, both) * inside, inside & ~(wedge & (r > 0.85))
    if how == "hole":  # looked at from the side of the lid: one wall within an oval
        oval = ((u - rng.uniform(-0.3, 0.3) * radius) / rng.uniform(0.5, 0.85)) ** 2 + (v / rng.uniform(0.5, 0.9)) ** 2
        return np.where(np.sqrt(oval) + ragged < radius, one, both) * inside, inside
    if how == "cup":  # from the side: a ball with its top cut off
        cut = rng.uniform(0.0, 0.6) * radius
        keep = inside & (u + ragged < cut + 0.12 * radius * np.cos(v / radius * 1.5))
        return np.where(keep, both, 0), keep
    if how == "half":  # a bowl on its back or its rim: one wall, thick at the rim
        squeeze = rng.uniform(0.55, 1.0)
        r2 = np.hypot(u / squeeze, v) / radius * (1 + 0.03 * np.sin(3 * turn))
        keep = r2 + 0.5 * ragged / radius < 1
        return np.where(keep, 0.5 * _walls(np.minimum(r2, 0.995), radius, wall) + 0.3 * wall * (r2 > 0.9), 0), keep
    keep = inside & (u + ragged > rng.uniform(0.15, 0.45) * radius)
    return np.where(keep, one, 0), keep


def shell(rng, um_per_px, size):
    """Emptied shell in one of its forms."""
    radius, wall = size / 2 * rng.uniform(0.93, 1.07), rng.uniform(7, 13)
    how = rng.choice(["slit", "hole", "cup", "half", "halves", "piece"], p=[0.22, 0.2, 0.2, 0.14, 0.16, 0.08])
    sheet = Sheet(2.1 * radius if how == "halves" else 1.3 * radius, um_per_px, rng.uniform(0, 6.3))
    if how == "halves":
        apart = rng.uniform(0.25, 0.8) * radius
        a, one = _open_ball(rng, sheet, radius, wall, (-apart, 0), rng.choice(["half", "cup"]))
        b, two = _open_ball(
            rng, sheet, radius * 0.98, wall, (apart, rng.normal(0, 0.15) * radius), rng.choice(["half", "cup"])
        )
        t, mask = a + b, one | two
    else:
        t, mask = _open_ball(rng, sheet, radius, wall, (0, 0), how)
    crease = gaussian_filter(rng.normal(size=t.shape), 12 / sheet.step) * 12 / sheet.step
    t = t * np.clip(1 + 0.5 * np.maximum(crease, 0), 1, 2.5)
    return sheet.finish("shell", str(how), [(WALL, t)], mask, 2 * radius)


def umbrella(rng, um_per_px, size):
    """Embryo in its clear skin, hanging from the shell, half within it, or free of it."""
    radius, wall = size / 2, rng.uniform(7, 12)
    how = rng.choice(["hanging", "emerging", "free"], p=[0.5, 0.35, 0.15])
    sheet = Sheet(2.9 * radius, um_per_px, rng.uniform(0, 6.3))
    gap = {"hanging": rng.uniform(0.75, 1.0), "emerging": rng.uniform(0.3, 0.6), "free": 0.0}[how] * radius
    long, broad = radius * rng.uniform(0.95, 1.2), radius * rng.uniform(0.68, 0.85)
    x, y = sheet.x - gap, sheet.y
    rho = np.sqrt((x / long) ** 2 + (y / broad) ** 2)
    core = 2 * broad * np.sqrt(np.maximum(1 - rho**2, 0))
    skin_r = 1 + rng.uniform(0.08, 0.35)
    skin = (rho < skin_r) & (rho > skin_r - 0.05)
    mask = rho < skin_r
    layers = [(EMBRYO, core), (CLEAR, 10.0 * (rho < skin_r) * (rho >= 1) + 30.0 * skin)]
    if how != "free":
        t, keep = _open_ball(rng, sheet, radius, wall, (-gap, 0), rng.choice(["cup", "hole", "half", "slit"]))
        layers.append((WALL, t))
        mask = mask | keep
    return sheet.finish("umbrella", str(how), layers, mask, 2 * (radius + gap))
