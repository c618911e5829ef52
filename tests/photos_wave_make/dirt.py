"""Debris, never counted: fibres, grains, bubbles, flecks, algae, moults, bystanders, scratches."""

import numpy as np
from sketch import LIMB, TISSUE, YOLK, Sheet, turn

CLEAR = ((0.0004, 0.0004, 0.0005), 0.0008, 0.018)
SAND = ((0.0090, 0.0125, 0.0180), 0.0120, 0.008)
DARK = ((0.0200, 0.0230, 0.0270), 0.0060, 0.01)
GREEN = ((0.0240, 0.0100, 0.0280), 0.0050, 0.008)
FIBRES = (
    ((0.0020, 0.0020, 0.0022), 0.020, 0.045),
    ((0.0600, 0.0300, 0.0060), 0.015, 0.03),
    ((0.0060, 0.0450, 0.0400), 0.015, 0.03),
    ((0.0450, 0.0450, 0.0450), 0.006, 0.03),
)


def _walk(rng, length, steps, wiggle):
    heading = rng.uniform(0, 6.28) + np.cumsum(rng.normal(0, wiggle, steps)) + np.linspace(0, rng.normal(0, 1.2), steps)
    points = np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1), 0) * length / steps
    return points - points.mean(0)


def _fibre(rng, um):
    length = rng.uniform(350, 1500)
    sheet = Sheet(0.55 * length + 40, um, rng)
    radius = rng.uniform(5, 11)
    box, half, _ = sheet.tube(_walk(rng, length, 18, 0.16), np.full(18, max(radius, 0.7 * sheet.step)))
    sheet.add(box, half, FIBRES[rng.integers(len(FIBRES))], rng.uniform(0.6, 1.3))
    return sheet


def _polygon(sheet, corners, size, thick, matter, flat=0.25):
    """A convex body bounded by planes: a crystal or a grain of sand."""
    rng = sheet.rng
    angles = np.sort(np.arange(corners) * 2 * np.pi / corners + rng.normal(0, 0.9 / corners, corners))
    far = size * rng.uniform(0.75, 1.0, corners)
    lean = rng.normal(0, 0.35, 2) / size
    height = thick * (1 + lean[0] * sheet.x + lean[1] * sheet.y)  # a slanting upper face
    for angle, reach in zip(angles, far):
        slope = thick / size / flat * rng.uniform(0.5, 1.6)
        height = np.minimum(height, slope * (reach - sheet.x * np.cos(angle) - sheet.y * np.sin(angle)))
    half = np.maximum(height, 0).astype(np.float32)
    box = (slice(None), slice(None))
    sheet.add(box, half, matter, rough=1 + 0.1 * sheet.grain(6.0))
    sheet.path += 0.12 * sheet.grain(6.0) * (half > 0)
    return half


def _grain(rng, um):
    size = rng.uniform(45, 150)
    sheet = Sheet(1.5 * size, um, rng)
    _polygon(sheet, 4 if rng.random() < 0.7 else 6, size, 0.7 * size, CLEAR, rng.uniform(0.25, 0.9))
    return sheet


def _sand(rng, um):
    size = rng.uniform(50, 170)
    sheet = Sheet(1.6 * size, um, rng)
    _polygon(sheet, rng.integers(6, 10), size, 0.7 * size, SAND, 0.5)
    return sheet


def _bubble(rng, um):
    radius = rng.uniform(40, 190)
    sheet = Sheet(1.15 * radius, um, rng)
    far = np.hypot(sheet.x, sheet.y) / radius
    inside = far < 1
    # total reflection darkens all but the middle; the rim carries a thin light line
    dark = 3.2 * np.clip((far - 0.42) / 0.32, 0, 1) * inside * np.clip((0.985 - far) / 0.03 + 0.5, 0, 1)
    sheet.absorb += dark[..., None]
    sheet.lid += (0.0 * dark)[..., None]
    half = radius * np.sqrt(np.maximum(1 - far**2, 0))
    sheet.path += -0.02 * half
    sheet.scatter += 0.05 * inside
    # from above a bubble mirrors its surroundings: a bright ring, not a black one
    sheet.scatter += 0.9 * dark * np.clip((far - 0.8) / 0.1, 0, 1)
    sheet.top = half.astype(np.float32)
    sheet.outline |= inside
    return sheet


def _fleck(rng, um):
    size = rng.uniform(25, 110)
    sheet = Sheet(2.2 * size, um, rng)
    matter = (DARK, SAND, TISSUE, YOLK)[rng.integers(4)]
    for _ in range(rng.integers(2, 6)):
        at = rng.normal(0, 0.4 * size, (2, 2))
        box, half, _ = sheet.tube(at, rng.uniform(0.15, 0.5, 2) * size)
        sheet.add(box, half, matter, rng.uniform(0.5, 1.2), rough=np.clip(1 + 0.3 * sheet.grain(2.5)[box], 0.2, 2))
    return sheet


def _algae(rng, um):
    size = rng.uniform(60, 170)
    sheet = Sheet(2 * size, um, rng)
    for _ in range(rng.integers(12, 40)):
        at = rng.normal(0, 0.4 * size, 2)
        box, half, _ = sheet.tube([at, at + rng.normal(0, 6, 2)], rng.uniform(6, 15, 2))
        sheet.add(box, half, GREEN, rng.uniform(0.5, 1.2))
    return sheet


def _moult(rng, um):
    length = rng.uniform(420, 560)
    sheet = Sheet(0.9 * length, um, rng)
    angle = rng.uniform(0, 6.28)
    place = np.linspace(-0.42, 0.36, 7)
    bow = rng.normal(0, 0.12) * np.cos(place * 4)
    points = turn(np.stack([place, bow], 1) * length, angle)
    width = np.array([0.08, 0.07, 0.09, 0.11, 0.14, 0.15, 0.11]) * length * rng.uniform(0.75, 1)
    parts = [(points, width)]
    for side in (-1, 1):
        for base, out, reach, r in ((0.25, 1.2, 0.4, 0.026), (0.36, 0.5, 0.2, 0.014), (0.1, 1.9, 0.16, 0.016)):
            start = np.array([base, 0.1 * side])
            way = side * (out + rng.normal(0, 0.25))
            end = start + reach * np.array([np.cos(way), np.sin(way)])
            parts.append((turn([start * length, end * length], angle), np.array([r, 0.5 * r]) * length))
            sheet.hair(parts[-1][0][1], parts[-1][0][1] + 0.18 * (parts[-1][0][1] - parts[-1][0][0]), 1.0)
    for spine, radii in parts:
        box, half, _ = sheet.tube(spine, radii)
        steep = np.minimum(radii.max() / np.maximum(half, 1e-3), 7) * (half > 0)
        folds = np.clip(1 + 0.5 * sheet.grain(6.0)[box], 0.3, 2)
        sheet.absorb[box] += (0.022 * steep * folds)[..., None] * np.array([0.8, 1, 1.25], np.float32)
        sheet.scatter[box] += 0.012 * steep
        sheet.path[box] += 0.025 * steep * folds
        sheet.outline[box] |= half > 0
        sheet.top[box] = np.maximum(sheet.top[box], 0.4 * half)
    return sheet


def _bystander(rng, um):
    which = rng.choice(["rotifer", "copepod", "ciliate"])
    size = {"rotifer": rng.uniform(160, 250), "copepod": rng.uniform(450, 800), "ciliate": rng.uniform(80, 160)}[which]
    sheet = Sheet(1.1 * size, um, rng)
    angle = rng.uniform(0, 6.28)

    def tube(points, radii, matter, strength=1.0):
        box, half, _ = sheet.tube(turn(np.array(points) * size, angle), np.array(radii) * size)
        sheet.add(box, half, matter, strength, rough=np.clip(1 + 0.2 * sheet.grain(2.5)[box], 0.3, 2))

    if which == "copepod":
        tube([(0.3, 0), (0.15, 0), (-0.05, 0), (-0.15, 0)], [0.09, 0.14, 0.12, 0.06], LIMB, 0.8)
        tube([(-0.15, 0), (-0.3, 0), (-0.45, 0)], [0.055, 0.045, 0.03], LIMB, 0.9)
        tube([(0.15, 0), (-0.1, 0.02)], [0.05, 0.03], YOLK, rng.uniform(0.3, 0.8))
        for side in (-1, 1):
            tube([(0.32, 0.06 * side), (0.3, 0.25 * side), (0.1, 0.45 * side)], [0.016, 0.012, 0.006], LIMB)
            tube([(-0.45, 0.02 * side), (-0.62, 0.07 * side)], [0.012, 0.006], LIMB)
        tube([(0.37, 0), (0.375, 0)], [0.018, 0.018], DARK, 3)
    elif which == "rotifer":
        tube([(0.22, 0), (0.0, 0), (-0.2, 0)], [0.24, 0.29, 0.2], TISSUE, 1.4)
        tube([(0.0, 0.03), (-0.08, 0)], [0.13, 0.1], LIMB, rng.uniform(1, 2.5))
        tube([(-0.38, 0), (-0.62, 0.1)], [0.04, 0.025], LIMB)
        tube([(0.33, 0), (0.34, 0)], [0.025, 0.025], DARK, 2)
    else:
        tube([(0.2, 0), (-0.2, 0.03)], [0.25, 0.2], LIMB, 1.2)
        for _ in range(5):
            at = rng.normal(0, 0.12, 2)
            tube([at, at + 0.01], [0.06, 0.06], LIMB, 1.5)
    sheet.which = which
    return sheet


def _scratch(rng, um):
    length = rng.uniform(400, 1600)
    sheet = Sheet(0.52 * length + 30, um, rng)
    angle = rng.uniform(0, 6.28)
    way = 0.5 * length * np.array([np.cos(angle), np.sin(angle)])
    bow = rng.normal(0, 0.03) * np.array([-way[1], way[0]])
    box, half, _ = sheet.tube([-way, bow, way], np.full(3, max(rng.uniform(3, 7), 0.75 * sheet.step)))
    sheet.add(box, half, ((0.02, 0.02, 0.02), 0.03, 0.05), rough=np.clip(1 + 0.5 * sheet.grain(6.0)[box], 0.05, 2))
    sheet.top[:] = 0
    return sheet


FORMS = {
    "fibre": (_fibre, 0.2), "grain": (_grain, 0.13), "sand": (_sand, 0.1), "bubble": (_bubble, 0.1),
    "fleck": (_fleck, 0.2), "algae": (_algae, 0.08), "moult": (_moult, 0.07), "bystander": (_bystander, 0.07),
    "scratch": (_scratch, 0.05),
}  # fmt: skip


def draw_debris(rng, um_per_px, look):
    """One piece of debris."""
    names = list(FORMS)
    name = names[rng.choice(len(names), p=np.array([FORMS[n][1] for n in names]))]
    sheet = FORMS[name][0](rng, um_per_px)
    body = sheet.finish("debris", getattr(sheet, "which", name), 0.0, gloss=1.4 if name in ("bubble", "grain") else 0.6)
    body.length_um = round(float(max(body.outline.shape) * um_per_px), 1)
    return body
