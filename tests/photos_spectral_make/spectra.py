"""Spectra of tissues, lamps, floors and sensors at nine wavelengths. Invented data, CC0.

Absorption spectra are smooth curves with the known peaks of each pigment, scaled to 1 at their
strongest point, so that an amount is an optical depth (natural logarithm) at that point.
"""

import numpy as np

WAVELENGTHS = np.array([410, 445, 480, 515, 550, 585, 620, 655, 690], dtype=np.float64)
BANDS = len(WAVELENGTHS)


def _bell(centre, width):
    return np.exp(-0.5 * ((WAVELENGTHS - centre) / width) ** 2)


def _step(centre, width):
    """One for short wavelengths, falling to nothing beyond ``centre``."""
    return 1 / (1 + np.exp((WAVELENGTHS - centre) / width))


def _peak_one(curve):
    return curve / curve.max()


ABSORPTION = {
    # canthaxanthin-like: broad shoulder from 430 to 530, clear beyond 580
    "carotenoid": _peak_one(_bell(440, 32) * 0.95 + _bell(480, 30) + 0.34 * _bell(520, 22) + 0.02),
    # the haematin of chorion: Soret band and a long tail to the red
    "haematin": _peak_one(np.exp(-(WAVELENGTHS - 405) / 100) + 0.05 * _bell(560, 45) + 0.04),
    # ommochrome and haemoglobin of the naupliar eye: only deep red comes back
    "eye": _peak_one(0.25 + _step(632, 16)),
    "yolk": _peak_one(np.exp(-(WAVELENGTHS - 405) / 95) + 0.05),
    "gut": _peak_one(0.35 * _bell(430, 35) + 0.3 * np.exp(-(WAVELENGTHS - 405) / 150) + 0.22),
    "chlorophyll": _peak_one(_bell(432, 24) + 0.35 * _bell(475, 18) + 0.62 * _bell(670, 14) + 0.08),
    "iodine": _peak_one(np.exp(-(WAVELENGTHS - 405) / 75) + 0.16),
    "blue": _peak_one(_bell(610, 45) + 0.08),
    "red": _peak_one(_bell(520, 42) + 0.05),
    "water": _peak_one(np.exp((WAVELENGTHS - 690) / 45)),
    "soot": np.ones(BANDS),
    # granules and cell walls scatter the blue a little more; counts as loss from below, as return from above
    "scatter": (WAVELENGTHS / 550) ** -0.8,
    "edge": np.ones(BANDS),  # light bent out of the lens's cone by steep faces
}
PIGMENTS = [name for name in ABSORPTION if name not in ("scatter", "edge")]


def black_body(kelvin):
    """Planck's curve, 1 at 550 nm."""
    metres = WAVELENGTHS * 1e-9
    curve = metres**-5 / (np.exp(1.4388e-2 / (metres * kelvin)) - 1)
    return curve / curve[4]


def lamp(name, rng):
    """Spectrum of a lamp of this name with the scatter of its kind, 1 at its mean."""
    if name == "halogen":
        curve = black_body(rng.uniform(2750, 3350))
    elif name == "daylight":
        curve = black_body(rng.uniform(5000, 7200)) * (1 - 0.08 * _bell(655, 25))
    else:  # white LED: blue die and phosphor
        warm = rng.uniform(0, 1)
        curve = _bell(449, 15) * (1.25 - 0.85 * warm) + _bell(556 + 28 * warm, 58) + 0.03
    return curve / curve.mean()


FLOORS = {
    "black acrylic": 0.012 + 0.004 * _bell(450, 60),
    "black velvet": 0.010 + 0.012 * (WAVELENGTHS / 690) ** 3,
    "grey card": 0.22 + 0.015 * (WAVELENGTHS - 550) / 140,
    "grey plastic": 0.30 - 0.03 * (WAVELENGTHS - 550) / 140,
    "porcelain": 0.80 - 0.10 * _step(440, 14),
    "white plastic": 0.84 - 0.06 * _bell(585, 60),
    "steel": 0.42 + 0.05 * (WAVELENGTHS - 550) / 140,
    "nylon": 0.62 - 0.10 * _step(450, 20),
    "wood": 0.34 + 0.18 * (WAVELENGTHS - 550) / 140,
    "blue cloth": 0.05 + 0.22 * _bell(460, 40),
    "green mat": 0.05 + 0.16 * _bell(525, 35),
}


def sensor(rng, kind):
    """Three rows of sensitivity (red, green, blue pixels) of a sensor of this kind."""
    d = rng.normal(0, 4, 3)
    red = _bell(603 + d[0], 36) + 0.05 * _bell(440, 25)
    green = _bell(535 + d[1], 41)
    blue = _bell(462 + d[2], 29)
    if kind == "usb":  # thin filters and a weak infrared cut
        leak = 0.10 * _step(700, -40)
        red, green, blue = red + 0.12 * green + leak, green + 0.14 * (red + blue) + leak, blue + 0.16 * green + leak
    elif kind == "old":
        blue, green = 0.8 * blue + 0.05, green + 0.08 * blue
    return np.stack([red, green, blue])


def _observer():
    """CIE 1931 observer in the usual sums of bells."""
    x = 1.056 * _bell(599.8, 34.4) + 0.362 * _bell(442, 21) - 0.065 * _bell(501, 23)
    y = 0.821 * _bell(568.8, 43.4) + 0.286 * _bell(530.9, 24)
    z = 1.217 * _bell(437, 18) + 0.681 * _bell(459, 26)
    return np.stack([x, y, z])


_XYZ_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])


def colour_matrix(sensitivity, light):
    """Matrix from white-balanced sensor colours to linear sRGB, fitted on tissue and card spectra; white stays so."""
    chips = [np.exp(-a * ABSORPTION[name]) for name in PIGMENTS for a in (0.3, 0.8, 1.8)]
    chips += [0.1 + 0.7 * _bell(c, 40) for c in range(430, 690, 40)] + [np.ones(BANDS) * g for g in (0.2, 0.5, 1.0)]
    chips = np.array(chips)
    seen = chips @ (sensitivity * light).T
    seen = seen / (sensitivity * light).sum(axis=1)
    eye = _observer()
    meant = chips @ eye.T / eye.sum(axis=1) @ np.diag([0.9505, 1.0, 1.089]) @ _XYZ_TO_SRGB.T
    matrix = np.linalg.lstsq(seen, meant, rcond=None)[0].T
    return matrix / matrix.sum(axis=1, keepdims=True)
