"""What lies under the sample: a lit field, card, a ruled plate, a dish, a woven sieve. All are in linear light."""

import numpy as np
from scipy import ndimage


def grid(shape, um):
    """Return y and x of each fine pixel's middle, um."""
    y, x = np.ogrid[: shape[0], : shape[1]]
    return ((y + 0.5) * um).astype(np.float32), ((x + 0.5) * um).astype(np.float32)


def _weights(n, cell):
    """Return the first knot and the three weights of a quadratic spline at each of n pixels."""
    at = (np.arange(n, dtype=np.float32) + 0.5) / cell
    t = at % 1
    return at.astype(int), (0.5 * (1 - t) ** 2, 0.75 - (t - 0.5) ** 2, 0.5 * t**2)


def cloud(rng, shape, size_px, n_octaves=3) -> np.ndarray:
    """Return smooth noise of mean 0 and spread 1, its largest lumps of the given size."""
    total = np.zeros(shape, np.float32)
    for i in range(n_octaves):
        cell = max(size_px / 2**i, 1.0)
        few = rng.normal(size=(int(shape[0] / cell) + 4, int(shape[1] / cell) + 4)).astype(np.float32)
        first, weights = _weights(shape[0], cell)
        rows = sum(few[first + k] * w[:, None] for k, w in enumerate(weights))
        first, weights = _weights(shape[1], cell)
        total += sum(rows[:, first + k] * w[None, :] for k, w in enumerate(weights)) * np.float32(0.6**i)
    return (total - total.mean()) / (total.std() + 1e-6)


def _line(distance, half_width, soft):
    return 1 / (1 + np.exp(np.clip((np.abs(distance) - half_width) / soft, -30, 30)))


def scratches(rng, shape, um, n) -> np.ndarray:
    """Return thin straight and bent scratches, 0 to 1."""
    y, x = grid(shape, um)
    out = np.zeros(shape, np.float32)
    for _ in range(n):
        a = rng.uniform(0, np.pi)
        cx, cy = rng.uniform(0, shape[1] * um), rng.uniform(0, shape[0] * um)
        along = (x - cx) * np.cos(a) + (y - cy) * np.sin(a)
        across = (y - cy) * np.cos(a) - (x - cx) * np.sin(a) + rng.normal(0, 3e-5) * along**2
        reach = rng.uniform(300, 2500)
        out = np.maximum(out, rng.uniform(0.2, 0.8) * _line(across, rng.uniform(2, 5), 2.0) * _line(along, reach, 120))
    return out


def lit_field(rng, shape, um) -> np.ndarray:
    """Return the evenly lit field of a lamp below, with soft specks of dust on the glass under the sample."""
    field = 1 + 0.015 * cloud(rng, shape, 600 / um)
    y, x = grid(shape, um)
    for _ in range(rng.integers(2, 12)):
        cy, cx = rng.uniform(0, shape[0] * um), rng.uniform(0, shape[1] * um)
        r = rng.uniform(15, 50)
        field *= 1 - rng.uniform(0.03, 0.12) * _line(np.hypot(y - cy, x - cx), r, r / 4)
    field *= 1 - 0.12 * scratches(rng, shape, um, rng.integers(0, 5))
    return np.repeat(field[..., None], 3, axis=2)


def card(rng, shape, um, colour, rough=0.06) -> np.ndarray:
    """Return a floor of one colour: plastic or card with a grain, specks and scratches."""
    colour = np.array(colour, np.float32)
    tone = 1 + rough * 0.6 * cloud(rng, shape, 900 / um) + rough * 0.7 * cloud(rng, shape, 45 / um, 2)
    floor = tone[..., None] * colour
    floor += scratches(rng, shape, um, rng.integers(2, 10))[..., None] * 0.06
    specks = rng.random(shape) < 2.5e-5 * um**2 / 16
    specks = ndimage.gaussian_filter(specks.astype(np.float32), 7 / um) * (7 / um) ** 2 * 4
    return np.clip(floor + np.clip(specks, 0, 1)[..., None] * rng.uniform(0.03, 0.12), 0.001, 1)


def rulings(rng, shape, um) -> tuple[np.ndarray, str]:
    """Return what the lines of a counting chamber or of millimetre paper leave of the light, and which it is."""
    y, x = grid(shape, um)
    a = rng.normal(0, 0.03) if rng.random() < 0.7 else rng.uniform(-0.6, 0.6)
    u, v = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
    u, v = u + rng.uniform(0, 1000), v + rng.uniform(0, 1000)
    kind = rng.choice(["etched", "double", "printed"])
    out = np.ones((*shape, 3), np.float32)
    if kind == "printed":
        ink = np.array([(0.25, 0.62, 0.35), (0.95, 0.5, 0.3), (0.4, 0.55, 0.85), (0.3, 0.3, 0.3)][rng.integers(4)])
        for w in (u, v):
            d = np.abs((w + 500) % 1000 - 500)
            ragged = rng.uniform(45, 65) + 6 * cloud(rng, shape, 60 / um, 2)
            heavy = np.where(np.abs((w + 2500) % 5000 - 2500) < 300, 1.6, 1.0)
            cover = _line(d, ragged * heavy, 10) * (0.8 + 0.1 * cloud(rng, shape, 50 / um, 2))
            out *= 1 - np.clip(cover, 0, 1)[..., None] * (1 - ink.astype(np.float32)) * 0.75
        return out, "printed millimetre grid under the sample"
    gaps = (0,) if kind == "etched" else (-22, 22)
    fine = rng.random() < 0.4
    for w in (u, v):
        for gap in gaps:
            d = (w + gap + 500) % 1000 - 500
            out *= (1 - 0.62 * _line(d, 7, 1.8) + 0.16 * _line(np.abs(d) - 16, 4, 2))[..., None]
        if fine:
            d = (w + 125) % 250 - 125
            out *= (1 - 0.25 * _line(d, 4, 1.5))[..., None]
    return out, "etched lines 1 mm apart"


def dish(rng, shape, um) -> tuple[np.ndarray, np.ndarray]:
    """Return a dish on a table with its rim in view or not, and where its water is."""
    base = [(0.80, 0.80, 0.78), (0.55, 0.62, 0.68), (0.62, 0.55, 0.44), (0.26, 0.36, 0.50), (0.72, 0.74, 0.70)]
    colour = np.array(base[rng.integers(len(base))]) * rng.uniform(0.85, 1.05)
    floor = card(rng, shape, um, colour, rng.uniform(0.015, 0.04))
    if rng.random() < 0.35:
        return floor, np.ones(shape, bool)
    y, x = grid(shape, um)
    radius = rng.uniform(17000, 44000)
    height, width = shape[0] * um, shape[1] * um
    a = rng.choice([0, 1, 2, 3]) * np.pi / 2 + rng.uniform(-0.6, 0.6) + 0.6
    middle = np.array([width, height]) / 2
    reach = 0.5 * (abs(np.cos(a)) * width + abs(np.sin(a)) * height)
    centre = middle - np.array([np.cos(a), np.sin(a)]) * (radius - reach * rng.uniform(0.55, 0.85))
    out = np.hypot(x - centre[0], y - centre[1]) - radius  # um beyond the foot of the wall
    bright, dark = _line(out - 60, 45, 14), _line(out - 190, 70, 25)
    wall = _line(out - 620, 560, 40)
    lip = _line(out - 1150, 90, 30)
    caustic = np.exp(-np.maximum(-out, 0) / 380) * (out < 0)
    swirl = 0.5 + 0.5 * np.tanh(cloud(rng, shape, 1500 / um, 2))
    table = np.array([(0.10, 0.07, 0.05), (0.05, 0.05, 0.06), (0.55, 0.53, 0.5), (0.3, 0.2, 0.12)][rng.integers(4)])
    beyond = table * (1 + 0.12 * cloud(rng, shape, 500 / um))[..., None]
    floor = np.where((out > 1200)[..., None], beyond, floor * np.float32(0.96))
    floor *= 1 - 0.28 * wall[..., None] * (0.8 + 0.2 * swirl[..., None])
    floor *= 1 - 0.5 * dark[..., None]
    floor += 0.16 * (bright * (0.4 + 0.6 * swirl) + 0.8 * lip + 0.5 * caustic * swirl)[..., None]
    return floor.astype(np.float32), out < -120


def weave(rng, shape, um) -> tuple[np.ndarray, str]:
    """Return woven wire or nylon over what lies behind it, wet, and how it is woven."""
    opening, wire = [(100, 70), (120, 80), (125, 90), (150, 100), (100, 60)][rng.integers(5)]
    pitch = opening + wire
    y, x = grid(shape, um)
    a = rng.uniform(-0.5, 0.5)
    warp = 14 * cloud(rng, shape, 2500 / um, 1)
    u = x * np.cos(a) + y * np.sin(a) + warp
    v = y * np.cos(a) - x * np.sin(a) + 14 * cloud(rng, shape, 2500 / um, 1)
    which = rng.choice(["white nylon", "yellow nylon", "steel"], p=[0.45, 0.2, 0.35])
    colour = {"white nylon": (0.66, 0.67, 0.66), "yellow nylon": (0.68, 0.64, 0.45), "steel": (0.38, 0.39, 0.41)}[which]
    behind_tone = rng.uniform(0.05, 0.16) if which == "steel" else rng.uniform(0.22, 0.45)
    light = np.array([np.cos(rng.uniform(0, 6.3)), 0.4])
    tops, looks = [], []
    for across, along in ((u, v), (v, u)):
        n = np.floor(across / pitch)
        d = (across / pitch - n - 0.5) * pitch / (wire / 2)
        on = np.clip((1 - np.abs(d)) * (wire / 2) / um + 0.5, 0, 1)
        bulge = np.sqrt(np.clip(1 - d * d, 0, 1))
        up = np.cos(np.pi * along / pitch + np.pi * n + (0 if across is u else np.pi))
        tops.append(np.where(on > 0, 0.6 * up + 0.3 * bulge, -9))
        tilt = 0.75 + 0.25 * bulge + 0.14 * d * light[0] + 0.10 * up
        shine = np.exp(-(((d - 0.3 * light[0]) / 0.16) ** 2)) * np.clip(up + 0.2, 0, 1)
        looks.append((on, tilt, shine))
    first = tops[0] > tops[1]
    on = np.maximum(looks[0][0], looks[1][0])
    tilt = np.where(first, looks[0][1], looks[1][1])
    shine = np.where(first, looks[0][2], looks[1][2])
    wires = (np.array(colour, np.float32) * tilt[..., None]) + (0.3 if which == "steel" else 0.08) * shine[..., None]
    behind = behind_tone * (1 + 0.14 * cloud(rng, shape, 1800 / um))[..., None] * np.array([1, 0.99, 0.95])
    shade = ndimage.gaussian_filter(on, 18 / um)
    behind = behind * (1 - 0.4 * shade[..., None])
    floor = behind * (1 - on[..., None]) + wires * on[..., None]
    return floor.astype(np.float32), f"{which}, openings {opening} um, wire {wire} um"
