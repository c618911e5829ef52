"""What lies under the bodies: glass, plastic, black, card, porcelain, rulings, and the light that falls on it.

Every floor is an array of linear rgb: what comes through it, or what it sends back of white light.
"""

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage


class Ground:
    """The picture's frame: its size, its scale and the bowed coordinates of its lens."""

    def __init__(self, width, height, um_per_px, rng):
        self.width, self.height, self.um_per_px = width, height, um_per_px
        bow = rng.uniform(-0.02, 0.02)
        y, x = np.mgrid[0:height, 0:width].astype(np.float32)
        x, y = x + 0.5 - width / 2, y + 0.5 - height / 2
        self.r2 = (x * x + y * y) / (0.25 * (width**2 + height**2))
        swell = 1 + bow * self.r2
        self.x, self.y = x * swell * um_per_px, y * swell * um_per_px  # micrometres from the middle

    def turned(self, angle):
        """Coordinates along and across a direction."""
        c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
        return self.x * c + self.y * s, self.y * c - self.x * s

    def cloudy(self, cell_px, rng, octaves=1):
        """Smooth random unevenness of about unit spread, its waves about ``cell_px`` wide."""
        total = np.zeros((self.height, self.width), np.float32)
        for k in range(octaves):
            cell = max(cell_px / 2**k, 1.0)
            shape = (int(self.height / cell) + 3, int(self.width / cell) + 3)
            small = Image.fromarray(rng.normal(0, 1, shape).astype(np.float32))
            total += np.asarray(small.resize((self.width, self.height), Image.Resampling.BICUBIC)) / 1.5**k
        return total

    def hairlines(self, n, rng, *, long_um=(300, 6000), width=1):
        """Thin curved scratches, 0 to 1."""
        canvas = Image.new("L", (self.width, self.height), 0)
        pen = ImageDraw.Draw(canvas)
        main = rng.uniform(0, np.pi)
        for _ in range(n):
            x, y = rng.uniform(0, self.width), rng.uniform(0, self.height)
            way = main + rng.normal(0, 0.5) if rng.random() < 0.6 else rng.uniform(0, 2 * np.pi)
            long = rng.uniform(*long_um) / self.um_per_px
            bend, points = rng.normal(0, 0.25) / max(long, 1), []
            for step in np.linspace(0, long, 12):
                points.append((x + step * np.cos(way + bend * step), y + step * np.sin(way + bend * step)))
            pen.line(points, fill=int(rng.uniform(40, 255)), width=width)
        return ndimage.gaussian_filter(np.asarray(canvas, np.float32) / 255, 0.7)

    def specks(self, n, rng, size_px, soft):
        """Dust far out of focus or on the lamp's glass, 0 to about 1."""
        field = np.zeros((self.height, self.width), np.float32)
        for _ in range(n):
            r = max(1, int(rng.uniform(*size_px)))
            y, x = rng.integers(0, self.height), rng.integers(0, self.width)
            yy, xx = np.ogrid[-r : r + 1, -r : r + 1]
            y0, x0 = max(y - r, 0), max(x - r, 0)
            part = field[y0 : y + r + 1, x0 : x + r + 1]
            disc = (yy * yy + xx * xx <= r * r)[y0 - y + r :, x0 - x + r :][: part.shape[0], : part.shape[1]]
            part += disc * rng.uniform(0.2, 1)
        return ndimage.gaussian_filter(field, soft)


def lamp_field(ground, rng, *, uneven=0.12, vignette=0.2):
    """How bright the light is over the picture."""
    angle, slope = rng.uniform(0, 2 * np.pi), rng.uniform(0, uneven)
    along = ground.turned(angle)[0] / (ground.um_per_px * ground.width)
    field = 1 + slope * along * 2 - rng.uniform(0.3, 1) * vignette * ground.r2
    return np.clip(field + 0.3 * uneven * 0.3 * ground.cloudy(ground.width / 2.5, rng), 0.15, None)


def glass(ground, rng, *, scratched=False):
    """A slide or plate seen with light from below."""
    floor = 1 - 0.05 * ground.specks(rng.integers(0, 14), rng, (3, 14), rng.uniform(3, 8))
    floor += 0.006 * ground.cloudy(60, rng, 3)
    if scratched:
        lines = ground.hairlines(int(rng.uniform(8, 45)), rng)
        floor += rng.uniform(-0.28, -0.08) * lines + 0.08 * np.roll(lines, 1, 0)
    return np.repeat(floor[..., None], 3, 2)


def rulings(ground, rng, floor):
    """Etched or printed lines of a counting chamber on a floor of glass."""
    every = rng.choice([1000.0, 1000.0, 500.0, 2000.0])
    thick = rng.uniform(14, 34)
    angle = rng.normal(0, 0.06)
    printed = rng.random() < 0.4
    dark = rng.uniform(0.35, 0.8) if printed else rng.uniform(0.2, 0.45)
    ways = [angle, angle + np.pi / 2] if rng.random() < 0.75 else [angle]
    for way in ways:
        across = ground.turned(way)[1] + rng.uniform(0, every)
        off = np.abs((across + every / 2) % every - every / 2)
        if rng.random() < 0.25:
            off = np.abs(off - thick * 1.3)  # double lines
        edge = np.clip((thick / 2 - off) / ground.um_per_px + 0.5, 0, 1)
        worn = np.clip(0.9 + 0.25 * ground.cloudy(25, rng), 0.2, 1.1)
        floor = floor * (1 - dark * edge * worn)[..., None]
        if not printed:  # the groove's middle gathers the light again
            core = np.clip((thick / 5 - off) / ground.um_per_px + 0.5, 0, 1)
            floor = floor * (1 + 0.35 * core)[..., None]
    return ndimage.gaussian_filter(floor, (0.6, 0.6, 0)).astype(np.float32)


def black(ground, rng):
    """Black acrylic with hairlines and dust, or velvet."""
    tone = rng.uniform(0.006, 0.035) * np.array([1, rng.uniform(0.9, 1.05), rng.uniform(0.85, 1.2)])
    if rng.random() < 0.6:
        value = 1 + 0.1 * ground.cloudy(200, rng, 2)
        lines = ground.hairlines(int(rng.uniform(3, 40)), rng)
        floor = value[..., None] * tone + (rng.uniform(0.01, 0.09) * lines)[..., None]
        dots = (rng.random((ground.height, ground.width)) < rng.uniform(2e-5, 2e-4)).astype(np.float32)
        floor += (rng.uniform(0.15, 0.6) * ndimage.gaussian_filter(dots, 0.8))[..., None]
        return floor.astype(np.float32), "black acrylic"
    pile = np.clip(1 + 0.3 * ground.cloudy(2.2, rng) + 0.18 * ground.cloudy(9, rng, 2), 0.1, None)
    return (pile[..., None] * tone).astype(np.float32), "black velvet"


def card(ground, rng):
    """Grey card: pressed fibres."""
    tone = rng.uniform(0.16, 0.42) * np.array([1, rng.uniform(0.97, 1.02), rng.uniform(0.93, 1.04)])
    grain = 1 + 0.035 * ground.cloudy(2.5, rng) + 0.03 * ground.cloudy(26, rng, 3)
    grain += 0.05 * (ground.hairlines(90, rng, long_um=(150, 700)) - ground.hairlines(90, rng, long_um=(150, 700)))
    return (grain[..., None] * tone).astype(np.float32)


def porcelain(ground, rng):
    """White glaze or white plastic: smooth, a few specks, sometimes a soft mirrored lamp."""
    tone = rng.uniform(0.55, 0.8) * np.array([1, rng.uniform(0.97, 1.01), rng.uniform(0.9, 1.02)])
    value = 1 + 0.012 * ground.cloudy(120, rng, 3)
    value -= 0.25 * ground.specks(rng.integers(0, 10), rng, (1, 3), 0.8)
    if rng.random() < 0.6:
        value -= rng.uniform(0.02, 0.1) * ground.hairlines(rng.integers(2, 25), rng)
    return (value[..., None] * tone).astype(np.float32)


def glare(ground, rng):
    """A lamp mirrored by the water's face: a soft bright patch laid over all."""
    x0, y0 = rng.uniform(-0.5, 0.5, 2) * (ground.width, ground.height) * ground.um_per_px
    wide = rng.uniform(0.06, 0.22) * ground.width * ground.um_per_px
    u, v = ground.x - x0, ground.y - y0
    spot = np.exp(-((u * u + v * v * rng.uniform(0.6, 3)) / (2 * wide * wide)))
    return (rng.uniform(0.02, 0.22) * spot)[..., None] * np.array([1, 1, rng.uniform(0.9, 1.1)])
