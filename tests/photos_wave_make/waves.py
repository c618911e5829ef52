"""Light from below: partially coherent imaging of the scene's complex transmittance, layer by layer."""

from dataclasses import dataclass, field

import numpy as np
from scipy import fft

COLOURS_UM = (0.62, 0.54, 0.46)
PAD = 32  # pixels around the picture, so that the transform's wrapping round stays outside


@dataclass
class Optics:
    """An objective and a condenser; directions are sines of angles in air."""

    aperture: float
    directions: list  # (x, y, weight)
    focus_um: float
    depths_um: tuple  # of the layers, from the lamp upwards
    bend: float = 1.0  # how much of the refractive path the pixel grid can carry
    scattered: float = 0.25  # share of what a turbid body scatters that is lost to the objective
    tint: tuple = field(default=(1.0, 1.0, 1.0))


def ring(count, radius, turn=0.0, arc=2 * np.pi):
    """Source points on a ring, or on an arc of it, of equal weight."""
    angles = turn + arc * np.arange(count) / count
    return [(radius * np.cos(a), radius * np.sin(a), 1 / count) for a in angles]


def padded_shape(height, width):
    """Shape of the wave field that holds a picture and its margin."""
    return fft.next_fast_len(height + 2 * PAD), fft.next_fast_len(width + 2 * PAD)


def _slab(step, fy, fx, wave, sy, sx):
    """Propagation over ``step`` um of a field lit from (sx, sy): separable Fresnel factors of rows and columns."""

    def one(f, s):
        return np.exp(-1j * np.pi * step * (wave * f * f + 2 * f * s)).astype(np.complex64)

    return one(fy, sy)[:, None], one(fx, sx)[None, :]


def image(layers, optics, um_per_px):
    """Intensity (h, w, 3) of a scene; a layer is (absorption (h, w, 3), path (h, w) in um), the lamp's side first."""
    height, width = layers[0][1].shape
    fy = fft.fftfreq(height, um_per_px).astype(np.float32)
    fx = fft.fftfreq(width, um_per_px).astype(np.float32)
    out = np.zeros((height, width, 3), np.float32)
    total = sum(w for _, _, w in optics.directions)
    for colour, wave in enumerate(COLOURS_UM):
        plates = []
        for absorb, path in layers:
            phase = path * np.float32(optics.bend * 2 * np.pi / wave)
            dim = np.exp(-0.5 * absorb[..., colour])
            plates.append((dim * np.cos(phase) + 1j * (dim * np.sin(phase))).astype(np.complex64))
        first = fft.fft2(plates[0], workers=1)
        for sx, sy, weight in optics.directions:
            spectrum = first
            for k, plate in enumerate(plates[1:], 1):
                rows, columns = _slab(optics.depths_um[k] - optics.depths_um[k - 1], fy, fx, wave, sy, sx)
                spectrum = fft.fft2(fft.ifft2(spectrum * rows * columns, workers=1) * plate, workers=1)
            rows, columns = _slab(optics.focus_um - optics.depths_um[len(plates) - 1], fy, fx, wave, sy, sx)
            off = (fy[:, None] * wave + sy) ** 2 + (fx[None, :] * wave + sx) ** 2
            edge = 0.08 * optics.aperture**2
            pupil = np.clip((optics.aperture**2 - off) / edge + 0.5, 0, 1)
            seen = fft.ifft2(spectrum * rows * columns * pupil, workers=1)
            out[..., colour] += np.float32(weight / total) * (seen.real**2 + seen.imag**2)
    return out * np.asarray(optics.tint, np.float32)


def plates(bodies, height, width, depths, scattered, rough, rng):
    """Absorption and path of each layer with the bodies in it, on the padded field, and all their scattering.

    What scatters is grainy inside: its path is uneven by ``rough`` um per unit of scattering.
    """
    shape = padded_shape(height, width)
    made = [(np.zeros((*shape, 3), np.float32), np.zeros(shape, np.float32)) for _ in range(depths)]
    grain = rng.standard_normal(shape, dtype=np.float32)
    turbid = np.zeros(shape, np.float32)
    for body in bodies:
        h, w = body.outline.shape
        y, x = body.y_px + PAD, body.x_px + PAD
        a, b = max(y, 0), min(y + h, shape[0])
        c, d = max(x, 0), min(x + w, shape[1])
        if a >= b or c >= d:
            continue
        cut = (slice(a - y, b - y), slice(c - x, d - x))
        absorb, path = made[min(body.layer, depths - 1)]
        absorb[a:b, c:d] += body.absorb[cut] + (scattered * body.scatter[cut])[..., None]
        path[a:b, c:d] += body.path[cut] + rough * np.sqrt(body.scatter[cut]) * grain[a:b, c:d]
        turbid[a:b, c:d] += body.scatter[cut]
    return made, turbid


def unpad(picture, height, width):
    """The picture without its margin."""
    return picture[PAD : PAD + height, PAD : PAD + width]
