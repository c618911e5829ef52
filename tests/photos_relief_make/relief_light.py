"""Lamps as maps of where light comes from, and what a relief does with it."""

from typing import NamedTuple

import numpy as np
from relief_form import Form
from scipy import ndimage

# Per µm: what is soaked up and what is thrown back (red, green, blue), and how much slower light is than in water.
OPTICS = {
    "chorion": ((0.034, 0.087, 0.170), (0.017, 0.0135, 0.0105), 0.065),
    "yolk": ((0.0008, 0.0062, 0.0190), (0.0100, 0.0088, 0.0074), 0.022),
    "tissue": ((0.0006, 0.0010, 0.0018), (0.0030, 0.0030, 0.0028), 0.011),
    "pigment": ((0.060, 0.110, 0.120), (0.008, 0.003, 0.003), 0.03),
    "skin": ((0.003, 0.004, 0.005), (0.009, 0.009, 0.009), 0.05),
    "gas": ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), -0.33),
    "mineral": ((0.0006, 0.0008, 0.0012), (0.0012, 0.0012, 0.0012), 0.16),
    "green": ((0.011, 0.006, 0.016), (0.006, 0.007, 0.005), 0.04),
    "thread": ((0.002, 0.0025, 0.003), (0.012, 0.012, 0.012), 0.07),
    "blue": ((0.035, 0.022, 0.008), (0.010, 0.012, 0.016), 0.07),
}


FORWARD = np.array([0.8, 1.0, 1.15], np.float32)  # what is thrown back is lost to light from below, blue the most


class Lobe(NamedTuple):
    """A lamp or window seen from the sample: where it stands (unit vector), its strength, how wide it is (rad)."""

    towards: np.ndarray
    power: np.ndarray
    wide: float


class Lamp(NamedTuple):
    """All the light of a photo; ``mode`` is through, dark or above."""

    mode: str
    cone: float  # half-width of the light cone from below, as a slope
    soft: float
    lean: tuple[float, float]  # where the cone's middle lies, for oblique light
    stray: float
    lobes: tuple[Lobe, ...]
    ambient: np.ndarray
    wet: float  # how strongly surfaces shine: about 0.1 under water, 1 in air


class Layer(NamedTuple):
    """A lit object on the photo's pixels: what it lets through, adds and shifts, how much of each pixel it covers."""

    x0: int
    y0: int
    through: np.ndarray
    added: np.ndarray
    shift: np.ndarray
    cover: np.ndarray
    height_um: float


def from_below(lamp: Lamp, sx, sy):
    """Return how bright the lamp below looks along slopes; 1 is its full brightness."""
    far = np.hypot(sx - lamp.lean[0], sy - lamp.lean[1])
    if lamp.mode == "dark":
        ring = 1 / (1 + np.exp(-(far - lamp.cone) / lamp.soft)) * np.exp(-((far / (lamp.cone * 3.2)) ** 2))
        return ring
    return lamp.stray + (1 - lamp.stray) / (1 + np.exp((far - lamp.cone) / lamp.soft))


def _matter(form: Form, optics):
    """Sum up what the columns soak up, throw back and slow down."""
    shape = form.top.shape
    soaked, thrown, slow = (
        np.zeros((*shape, 3), np.float32),
        np.zeros((*shape, 3), np.float32),
        np.zeros(shape, np.float32),
    )
    for stuff, column in form.columns.items():
        k, s, n = optics[stuff]
        soaked += column[..., None] * np.asarray(k, np.float32)
        thrown += column[..., None] * np.asarray(s, np.float32)
        slow += column * n
    if form.grain is not None:
        soaked *= np.clip(form.grain, 0.5, 1.6)[..., None]
        thrown *= np.clip(2 - form.grain, 0.5, 1.6)[..., None]
    return soaked, thrown, slow


def _normals(form: Form):
    """Return the normals of the top, (h, w) each of x, y, z."""
    inside = form.top > -1e8
    if not inside.any():
        return np.zeros_like(form.top), np.zeros_like(form.top), np.ones_like(form.top)
    middle = np.where(inside, (form.top + form.bottom) / 2, 0)
    rim = float(np.median(middle[inside]))
    z = np.where(inside, np.maximum(form.top, rim * 0.6), rim * 0.6)
    z = ndimage.gaussian_filter(z, max(0.9, form.smooth_um * 1.5 / form.step))
    if form.bump is not None:
        z = z + form.bump * min(1.0, 2.2 / form.step)
    gy, gx = np.gradient(z, form.step)
    norm = np.sqrt(1 + gx**2 + gy**2)
    return -gx / norm, -gy / norm, 1 / norm


def lit(form: Form, optics, lamp: Lamp) -> Layer:
    """Send the lamp's light through a relief, or down onto it."""
    form.trim()
    if form.bump is not None:
        form.bump = form.bump * ndimage.gaussian_filter(form.outline.astype(np.float32), max(1.0, 4 / form.step)) ** 2
    soaked, thrown, slow = _matter(form, optics)
    path = ndimage.gaussian_filter(slow, max(0.7, form.smooth_um / form.step))
    if form.bump is not None:
        path = path + form.bump * 0.05
    sy, sx = np.gradient(path, form.step)
    size = np.hypot(sx, sy)
    sx, sy = sx * np.minimum(1, 1.4 / np.maximum(size, 1e-6)), sy * np.minimum(1, 1.4 / np.maximum(size, 1e-6))
    direct = np.exp(-(soaked + 0.3 * thrown * FORWARD))
    if lamp.mode == "through":
        got = from_below(lamp, sx, sy) / from_below(lamp, 0.0, 0.0)
        through = direct * got[..., None]
        added = 0.05 * (1 - np.exp(-thrown)) * np.exp(-0.5 * soaked)
    elif lamp.mode == "dark":
        through = direct
        nx, ny, nz = _normals(form)
        side = sum(
            np.clip((nx * b.towards[0] + ny * b.towards[1] + 0.8) / 1.8, 0, 1)[..., None] * b.power for b in lamp.lobes
        )
        glow = (1 - np.exp(-0.9 * thrown)) * np.exp(-0.55 * soaked)
        added = glow * (side * (0.45 + 0.55 * (1 - nz))[..., None] + lamp.ambient) + 0.5 * direct * (
            from_below(lamp, sx, sy) - from_below(lamp, 0.0, 0.0)
        )[..., None].clip(0)
    else:
        through, added = _from_above(form, soaked, thrown, lamp)
        through = (
            through * (1 - 0.55 * np.clip(np.hypot(sx, sy) / 0.45, 0, 1))[..., None]
        )  # bent past the floor's light
    shift = np.stack([sx, sy])
    cover = form.outline.astype(np.float32)
    return Layer(
        form.x0,
        form.y0,
        _coarse(through, form.fine),
        _coarse(added, form.fine),
        _coarse(np.moveaxis(shift, 0, -1), form.fine),
        _coarse(cover, form.fine),
        form.height_um,
    )


def _from_above(form, soaked, thrown, lamp):
    """Kubelka and Munk's answer for a layer of what lies in each column, under a lamp map above."""
    thrown = thrown + 1e-5
    a = 1 + soaked / thrown
    b = np.sqrt(np.maximum(a * a - 1, 1e-9))
    deep = np.minimum(b * thrown, 30)
    sinh, cosh = np.sinh(deep), np.cosh(deep)
    back, through = sinh / (a * sinh + b * cosh), b / (a * sinh + b * cosh)
    nx, ny, nz = _normals(form)
    onto = lamp.ambient * (0.5 + 0.5 * nz)[..., None]
    shine = np.zeros_like(back)
    for lobe in lamp.lobes:
        dot = nx * lobe.towards[0] + ny * lobe.towards[1] + nz * lobe.towards[2]
        onto = onto + np.clip((dot + 0.12) / 1.12, 0, None)[..., None] * lobe.power
        mirrored = 2 * nz * dot - lobe.towards[2]
        blunt = lobe.wide**2 + 0.03
        shine += np.exp((mirrored - 1) / blunt)[..., None] * lobe.power / (np.pi * blunt)
    spread = ndimage.gaussian_filter(onto, (14 / form.step, 14 / form.step, 0))
    onto = 0.55 * onto + 0.45 * spread
    fresnel = (0.035 + 0.3 * (1 - nz) ** 4) * lamp.wet * form.gloss
    solid = (form.top > -1e8).astype(np.float32)
    added = back * onto + (shine * (fresnel * solid)[..., None])
    if "gas" in form.columns:  # a bubble mirrors at its rim
        rim = np.clip((1 - nz - 0.25) / 0.5, 0, 1) * solid
        added = added + (0.35 * rim)[..., None] * (onto + lamp.ambient)
        through = through * (1 - 0.6 * rim)[..., None]
    return through, added


def _coarse(fine_map, fine):
    rows = sum(fine_map[k::fine] for k in range(fine))
    return (sum(rows[:, k::fine] for k in range(fine)) / fine**2).astype(np.float32)


def blurred(layer: Layer, radius_px: float) -> Layer:
    """Put a layer out of focus; its outline stays."""
    if radius_px < 0.35:
        return layer
    pad = int(np.ceil(radius_px * 2.2)) + 1
    sigma = radius_px * 0.55
    wide = ((pad, pad), (pad, pad), (0, 0))

    def soft(a):
        return ndimage.gaussian_filter(a, (sigma, sigma, 0))

    through = 1 - soft(np.pad(1 - layer.through, wide))
    return layer._replace(
        x0=layer.x0 - pad,
        y0=layer.y0 - pad,
        through=through,
        added=soft(np.pad(layer.added, wide)),
        shift=soft(np.pad(layer.shift, wide)),
        cover=np.pad(layer.cover, pad),
    )
