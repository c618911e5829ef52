"""Light through and from bodies at every wavelength, and the lens that blurs each by its depth and colour. CC0."""

from dataclasses import dataclass, field

import numpy as np
from scipy import fft, ndimage, special
from spectra import ABSORPTION, BANDS, PIGMENTS, WAVELENGTHS

MARGIN = 10


@dataclass
class Patch:
    """Maps of one body at the photo's pixels, with the place of its corner in the photo."""

    x0: int
    y0: int
    maps: dict
    outline: np.ndarray
    height_um: np.ndarray


def patch_of(canvas, x_px, y_px):
    """Reduce a sheet to pixels and crop it to what was drawn."""
    outline = canvas.reduced(canvas.outline)
    maps = {name: np.maximum(canvas.reduced(m), 0) for name, m in canvas.maps.items()}
    used = outline > 0
    for m in maps.values():
        used = used | (m > 0.01)
    rows, columns = np.flatnonzero(used.any(axis=1)), np.flatnonzero(used.any(axis=0))
    box = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    x0, y0 = int(x_px) - canvas.n // 2 + box[1].start, int(y_px) - canvas.n // 2 + box[0].start
    height = canvas.reduced(canvas.height)[box]
    return Patch(x0, y0, {k: m[box] for k, m in maps.items()}, outline[box], height)


@dataclass
class Lens:
    """A lens: sharpness, opening, and its faults by wavelength."""

    um_per_px: float
    sigma_px: float
    opening: float  # blur radius in um per um of defocus
    long_um: float  # focus of blue against green
    lateral: float  # growth of the red picture over the blue
    coma: float
    size: tuple
    focus_um: float = 0.0
    _grids: dict = field(default_factory=dict)

    def defocus_um(self, z_um):
        w = (WAVELENGTHS - 550) / 140
        return z_um - self.focus_um + self.long_um * (0.35 * w - w * w)

    def transfer(self, shape, z_um, x_px, y_px):
        """Optical transfer at each wavelength for a patch of this shape at this place and depth."""
        if shape not in self._grids:
            ky = 2 * np.pi * fft.fftfreq(shape[0])[:, None].astype(np.float32)
            kx = 2 * np.pi * fft.rfftfreq(shape[1])[None].astype(np.float32)
            self._grids[shape] = kx, ky, np.hypot(kx, ky)
        kx, ky, k = self._grids[shape]
        radius = np.abs(self.defocus_um(z_um)) * self.opening / self.um_per_px
        out = np.empty((BANDS, *k.shape), np.complex64)
        off = np.array([x_px - self.size[1] / 2, y_px - self.size[0] / 2], np.float32) / np.float32(
            0.5 * np.hypot(*self.size)
        )
        skew = np.exp(1j * (self.coma * (off[0] * kx + off[1] * ky) * k * k)).astype(np.complex64) if self.coma else 1
        for b, r in enumerate(radius.tolist()):
            # between two bands of like blur nothing is gained by another Bessel function
            sigma = self.sigma_px * float(WAVELENGTHS[b] / 550) ** 0.5
            g = np.exp(-0.5 * (sigma**2 + (r * r / 4 if r < 1.2 else 0)) * k * k)
            if r >= 1.2:
                q = np.maximum(r * k, 1e-3)
                g = g * (2 * special.j1(q) / q)
            out[b] = g * skew
        return out

    def blurred(self, stack, z_um, x_px, y_px):
        """Blur a stack of bands that is 0 at its borders and padded."""
        shape = tuple(fft.next_fast_len(n, real=True) for n in stack.shape[1:])
        spectrum = fft.rfft2(stack, s=shape, axes=(1, 2))
        spectrum *= self.transfer(shape, z_um, x_px, y_px)
        return fft.irfft2(spectrum, s=shape, axes=(1, 2))[:, : stack.shape[1], : stack.shape[2]]

    def margin(self, z_um):
        return int(np.ceil(np.abs(self.defocus_um(z_um)).max() * self.opening / self.um_per_px + 3 * self.sigma_px)) + 3


def _depth(patch, names):
    maps, total = patch.maps, np.zeros((BANDS, *patch.outline.shape), np.float32)
    for name in names:
        if name in maps:
            total += ABSORPTION[name].astype(np.float32)[:, None, None] * maps[name][None]
    return total


def _place(scene, patch, pad):
    """Slices of scene and patch where a padded patch overlaps the scene."""
    h, w = patch.outline.shape[0] + 2 * pad, patch.outline.shape[1] + 2 * pad
    x0, y0 = patch.x0 - pad, patch.y0 - pad
    top, left = max(0, -y0), max(0, -x0)
    bottom, right = min(h, scene.shape[1] - y0), min(w, scene.shape[2] - x0)
    if bottom <= top or right <= left:
        return None, None
    whole = (slice(None), slice(y0 + top, y0 + bottom), slice(x0 + left, x0 + right))
    return whole, (slice(None), slice(top, bottom), slice(left, right))


def lay_below(scene, patch, lens, z_um, phase):
    """Light from below: Beer and Lambert at each wavelength, edges bent away, and bright and dark fringes off focus."""
    pad = lens.margin(z_um)
    loss = _depth(patch, [*PIGMENTS, "edge"]) + 0.42 * _depth(patch, ["scatter"])
    passed = np.pad(np.exp(-loss), ((0, 0), (pad, pad), (pad, pad)), constant_values=1.0)
    if phase:
        # transport of intensity: out of focus, curved phase turns into brightness
        curve = ndimage.gaussian_laplace(np.pad(patch.outline, pad), 1.4)
        passed = passed * np.clip(1 + phase * curve, 0.6, 1.5)[None].astype(np.float32)
    whole, part = _place(scene, patch, pad)
    if whole is None:
        return
    middle = patch.x0 + patch.outline.shape[1] / 2, patch.y0 + patch.outline.shape[0] / 2
    scene[whole] *= np.clip(1 + lens.blurred(passed - 1, z_um, *middle), 0, None)[part]


@dataclass
class Lamp:
    """Light from above: direction, share of light from all round, shadow, sparkle."""

    azimuth: float
    slant: float  # tangent of the angle from upright
    ambient: float
    shadow: float
    soft: float
    gloss: float
    rim: float

    @property
    def direction(self):
        v = np.array([np.cos(self.azimuth) * self.slant, np.sin(self.azimuth) * self.slant, 1.0])
        return (v / np.linalg.norm(v)).astype(np.float32)


def _shade(patch, lamp, um_per_px):
    """Brightness by slope, and the mirror glint of wet skin."""
    height = ndimage.gaussian_filter(np.pad(patch.height_um, 2), 0.7)
    gy, gx = np.gradient(height, um_per_px)
    gy, gx = gy[2:-2, 2:-2], gx[2:-2, 2:-2]
    norm = np.sqrt(1 + gx * gx + gy * gy)
    light = lamp.direction
    facing = (light[2] - gx * light[0] - gy * light[1]) / norm
    half = light + np.array([0, 0, 1], np.float32)
    half = half / np.linalg.norm(half)
    glint = np.clip((half[2] - gx * half[0] - gy * half[1]) / norm, 0, 1) ** 60
    # flesh lets light in: shade wraps round to the far side
    wrapped = np.clip((facing + 0.35) / 1.35, 0, None)
    return lamp.ambient + (1 - lamp.ambient) * wrapped / max(light[2], 0.3), glint, np.clip(1 - 1 / norm, 0, 1)


def _shadow(scene, patch, lamp, through, lift_um, um_per_px):
    """Darken the ground where the body keeps the lamp's light off, tinted by what passes."""
    opaque = 1 - through.mean(axis=0)
    tall = lift_um + 0.5 * float(patch.height_um.max())
    sigma = max(0.6, lamp.soft * tall / um_per_px)
    pad = int(3 * sigma) + 2
    cast = ndimage.gaussian_filter(np.pad(opaque, pad), sigma)
    move = -lamp.direction[:2] / lamp.direction[2] * tall / um_per_px
    moved = Patch(patch.x0 + round(move[0]), patch.y0 + round(move[1]), {}, patch.outline, None)
    whole, part = _place(scene, moved, pad)
    if whole is None:
        return
    solid = patch.outline > 0.5
    tint = through[:, solid].mean(axis=1) if solid.any() else np.ones(BANDS)
    tint = (1 - tint) / max((1 - tint).mean(), 1e-3)
    strength = (lamp.shadow * np.clip(tint, 0.5, 1.4)).astype(np.float32)
    scene[whole] *= np.clip(1 - strength[:, None, None] * cast[None, part[1], part[2]], 0.05, 1)


def lay_above(scene, patch, lens, z_um, lamp, lift_um, ground_dark):
    """Light from above: Kubelka and Munk's layer at each wavelength over whatever lies below."""
    # diffuse light goes twice as far through a layer; most scattering is forward and sends nothing back
    spread = 0.62 * _depth(patch, ["scatter"]) + 1e-3
    pigment = _depth(patch, PIGMENTS)
    a = 1 + 3.0 * pigment / spread
    b = np.sqrt(a * a - 1) + 1e-4
    x = np.minimum(b * spread, 12)
    sinh = np.sinh(x)
    back = sinh / (a * sinh + b * np.sqrt(1 + sinh * sinh))
    # what is seen through thin walls has kept its direction and met the pigment once each way
    through = np.exp(-pigment * (1.3 + 2.0 * (1 - np.exp(-1.3 * spread))) - 1.1 * spread)
    shade, glint, steep = _shade(patch, lamp, lens.um_per_px)
    edge = np.clip(patch.maps.get("edge", 0.0), 0, 1.2)
    light = (
        lamp.rim * edge * (0.35 + 0.65 * np.clip(shade, 0, 1.5)) * (0.35 + steep) + lamp.gloss * glint * patch.outline
    )
    sent = (back * shade[None] + light[None]).astype(np.float32)
    if not ground_dark:
        _shadow(scene, patch, lamp, through, lift_um, lens.um_per_px)
    # steep faces also bend the view of the ground away
    through = through * np.exp(-0.5 * edge)[None]
    _over(scene, patch, lens, z_um, sent, through)


def lay_dark_field(scene, patch, lens, z_um, gain, rim):
    """Slanting light from below: only what bodies scatter or bend into the lens is seen, coloured by its way out."""
    absorbed = _depth(patch, PIGMENTS)
    spread = _depth(patch, ["scatter"])
    edge = np.clip(patch.maps.get("edge", 0.0), 0, 1.5)
    sent = gain * (1 - np.exp(-0.8 * spread)) * np.exp(-0.9 * absorbed) + rim * edge[None] * np.exp(-0.35 * absorbed)
    through = np.exp(-absorbed - 0.4 * spread) * np.ones((BANDS, 1, 1))
    _over(scene, patch, lens, z_um, sent.astype(np.float32), through)


def _over(scene, patch, lens, z_um, sent, through):
    pad = lens.margin(z_um)
    edges = ((0, 0), (pad, pad), (pad, pad))
    both = np.concatenate([np.pad(sent, edges), np.pad(through.astype(np.float32) - 1, edges)])
    middle = patch.x0 + patch.outline.shape[1] / 2, patch.y0 + patch.outline.shape[0] / 2
    whole, part = _place(scene, patch, pad)
    if whole is None:
        return
    glow = lens.blurred(both[:BANDS], z_um, *middle)
    veil = lens.blurred(both[BANDS:], z_um, *middle)
    scene[whole] = scene[whole] * np.clip(1 + veil[part], 0, None) + np.clip(glow[part], 0, None)
