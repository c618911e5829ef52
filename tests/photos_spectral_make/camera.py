"""From a stack of bands to a picture as a phone, a cheap USB microscope, an old or a good camera would give it. CC0."""

from dataclasses import dataclass

import numpy as np
from PIL import Image
from scipy import ndimage
from spectra import BANDS, WAVELENGTHS, colour_matrix, sensor


@dataclass
class Camera:
    """What a camera does with light."""

    kind: str
    electrons: float  # full well
    read: float
    denoise: float
    smear: float
    tone: float
    contrast: float
    sharpen: float
    radius: float
    colour: float
    balance: tuple
    vignette: float
    quality: int


def choose(rng, kinds, chances):
    """A camera of one of these kinds."""
    kind = str(rng.choice(kinds, p=np.array(chances) / sum(chances)))
    full, read, denoise, smear, tone, sharpen, colour, vignette = {
        "phone": ((2500, 6000), (2, 5), (0.6, 1.0), (1.2, 2.2), (0.15, 0.4), (0.4, 1.0), (1.0, 1.3), (0.05, 0.2)),
        "usb": ((1500, 4000), (5, 14), (0.2, 0.6), (0.8, 1.6), (0.0, 0.12), (0.5, 1.4), (0.65, 1.1), (0.1, 0.4)),
        "old": ((4000, 9000), (8, 20), (0.0, 0.25), (0.8, 1.2), (0.0, 0.05), (0.2, 0.7), (0.75, 1.05), (0.05, 0.3)),
        "good": ((14000, 35000), (2, 5), (0.0, 0.25), (0.8, 1.2), (0.0, 0.12), (0.2, 0.6), (0.95, 1.15), (0.02, 0.15)),
    }[kind]
    off = {"phone": 0.03, "usb": 0.06, "old": 0.06, "good": 0.02}[kind]
    warmth, tint = rng.normal(0, off), rng.normal(0, off * 0.2)
    balance = (1 + warmth, 1 - tint, 1 - warmth)
    u = rng.uniform
    return Camera(kind, u(*full), u(*read), u(*denoise), u(*smear), u(*tone), u(-0.05, 0.3), u(*sharpen), u(0.7, 1.7),
                  u(*colour), balance, u(*vignette), int(rng.integers(80, 96)))  # fmt: skip


def _zoomed(band, scale):
    """A band scaled about the middle of the picture: lateral colour."""
    if abs(scale - 1) * max(band.shape) < 0.1:
        return band
    height, width = band.shape
    cx, cy = width / 2, height / 2
    back = (1 / scale, 0, cx - cx / scale, 0, 1 / scale, cy - cy / scale)
    filled = Image.fromarray(band).transform((width, height), Image.Transform.AFFINE, back, Image.Resampling.BILINEAR)
    out = np.asarray(filled)
    if scale < 1:
        border = int(np.ceil(max(height, width) / 2 * (1 - scale))) + 2
        out = out.copy()
        out[:border], out[-border:] = band[:border], band[-border:]
        out[:, :border], out[:, -border:] = band[:, :border], band[:, -border:]
    return out


def _exposed(scene, lens, light, camera, illumination, aim, bodies, rng):
    """Sensor colours, 1 at full well, before the filter array."""
    sensitivity = sensor(rng, camera.kind)
    weights = (sensitivity * light).astype(np.float32)
    raw = np.zeros((3, *scene.shape[1:]), np.float32)
    for b in range(BANDS):
        band = _zoomed(scene[b], 1 + lens.lateral * (WAVELENGTHS[b] - 550) / 140)
        for c in range(3):
            raw[c] += weights[c, b] * band
    white = weights.sum(axis=1)
    raw *= illumination[None]
    seen = raw[1, ::3, ::3] / white[1]
    # on black the eye behind the camera exposes for the bodies, elsewhere for the ground
    seen = seen[bodies[::3, ::3]] if bodies is not None else seen
    level = float(np.percentile(seen, aim[0])) if seen.size > 40 else 0.3
    gain = aim[1] / max(level, 1e-4)
    return raw * gain, white, colour_matrix(sensitivity, light)


def _along(array, weights, axis):
    # mirrored about the edge pixel, which keeps the filter array's order
    return ndimage.correlate1d(array, weights, axis=axis, mode="mirror")


def _green(seen, careful):
    """Green where the array has red or blue; a careful camera follows edges, a cheap one leaves zips along them."""
    near, far = np.array([0.5, 0, 0.5]), np.array([-0.25, 0, 0.5, 0, -0.25])
    gain = 0.8 if careful else 0.45
    guess = [_along(seen, near, axis) + gain * _along(seen, far, axis) for axis in (0, 1)]
    if not careful:
        return 0.5 * (guess[0] + guess[1])
    change = [np.abs(_along(seen, np.array([-1.0, 0, 1.0]), k)) + 4 * np.abs(_along(seen, far, k)) for k in (0, 1)]
    change = [ndimage.uniform_filter(c, 3) + 1e-3 for c in change]
    down = change[1] ** 2 / (change[0] ** 2 + change[1] ** 2)
    return down * guess[0] + (1 - down) * guess[1]


def _mosaic(raw, camera, white, rng):
    """Shot and read noise in each pixel of the colour filter array; then interpolation along colour differences."""
    height, width = raw.shape[1:]
    # the strongest colour fills the well first
    scale = camera.electrons / white.max() * 0.9
    colour = np.ones((height, width), np.int8)
    colour[0::2, 0::2], colour[1::2, 1::2] = 0, 2
    seen = np.where(colour == 0, raw[0], np.where(colour == 1, raw[1], raw[2])) * scale
    seen = seen + rng.standard_normal(seen.shape, np.float32) * np.sqrt(np.maximum(seen, 0) + camera.read**2)
    seen = np.clip(seen, 0, camera.electrons) / scale
    # balanced first, so that the three colours can be compared across neighbours
    seen = (seen / white[colour]).astype(np.float32)
    is_green = colour == 1
    out_green = _green(seen, camera.kind in ("phone", "good"))
    out = np.empty((3, height, width), np.float32)
    out[1] = green = np.where(is_green, seen, out_green)
    cross = np.array([0.25, 0.5, 0.25])
    for c in (0, 2):
        gap = (seen - green) * (colour == c)
        # a quarter of the pixels know this colour
        spread = _along(_along(gap, cross, 0), cross, 1) * 4
        out[c] = green + spread
    return out


def _srgb(linear):
    linear = np.clip(linear, 0, 1)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.power(linear, 1 / 2.4, dtype=np.float32) - 0.055)


def _smeared(luma, strength, sigma):
    """Wiener-like denoising: faint fine texture is wiped flat, strong edges stay."""
    if strength <= 0.02:
        return luma
    mean = ndimage.gaussian_filter(luma, sigma, truncate=2.5)
    detail = luma - mean
    power = ndimage.gaussian_filter(detail * detail, sigma * 1.3, truncate=2.5)
    floor = float(np.percentile(power[::5, ::5], 25)) * (1 + 3.0 * strength) + 1e-7
    keep = np.clip((power - floor) / (power + 1e-9), 0, 1)
    return mean + detail * (1 - strength * (1 - keep))


def take(scene, lens, light, camera, illumination, glare, aim, bodies, rng):
    """Develop the picture; ``aim`` is (percentile, level) of the exposure."""
    scene += glare[None]
    height, width = scene.shape[1:]
    y, x = np.ogrid[:height, :width]
    far = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / (width**2 + height**2) * 4
    illumination = illumination * (1 - camera.vignette * far).astype(np.float32)
    raw, white, matrix = _exposed(scene, lens, light, camera, illumination, aim, bodies, rng)
    picture = _mosaic(raw, camera, white, rng)
    picture /= np.array(camera.balance, np.float32)[:, None, None]
    matrix = np.eye(3) + camera.colour * (matrix - np.eye(3))
    picture = np.tensordot(matrix.astype(np.float32), np.minimum(picture, 1.1), axes=1)
    picture = _srgb(picture).astype(np.float32)
    luma = 0.3 * picture[0] + 0.59 * picture[1] + 0.11 * picture[2]
    blue, red = picture[2] - luma, picture[0] - luma
    luma = _smeared(luma, camera.denoise, camera.smear)
    wipe = 0.8 + 1.6 * camera.denoise
    blue, red = (ndimage.gaussian_filter(c, wipe, truncate=2.5) for c in (blue, red))
    if camera.tone > 0.03:
        small = ndimage.gaussian_filter(luma[::8, ::8], width / 8 / 22)
        base = np.asarray(Image.fromarray(small).resize((width, height), Image.Resampling.BICUBIC))
        middle = float(np.clip(small.mean(), 0.3, 0.7))
        luma = luma + camera.tone * 0.5 * (middle - base) * np.clip(4 * luma * (1 - luma), 0, 1)
    curve = np.clip(luma, 0, 1)
    luma = luma + camera.contrast * (curve * curve * (3 - 2 * curve) - curve)
    halo = luma - ndimage.gaussian_filter(luma, camera.radius, truncate=3)
    luma = luma + camera.sharpen * np.clip(halo, -0.16, 0.16)
    green = luma - (0.3 * red + 0.11 * blue) / 0.59
    picture = np.stack([luma + red, green, luma + blue], axis=-1)
    return np.clip(picture * 255 + 0.5, 0, 255).astype(np.uint8)
