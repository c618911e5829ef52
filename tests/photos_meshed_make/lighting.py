"""What light does in a body: per pixel the share of what lies below that still shows, and the light it adds."""

from dataclasses import dataclass

import numpy as np
from raster import layers


@dataclass
class Light:
    """The lamps of one photo; ``mode`` is below, above or dark."""

    mode: str
    toward: np.ndarray
    sun: np.ndarray
    sky: np.ndarray
    floor: np.ndarray
    relief: float = 0.0
    gloss: float = 1.0
    haze: float = 0.0


@dataclass
class Patch:
    """A drawn body: ``pass_`` and ``add`` (h, w, 3), its outline and where its window starts around its origin."""

    top: int
    left: int
    pass_: np.ndarray
    add: np.ndarray
    outline: np.ndarray


def _texture(layer, material, lattice):
    """Uneven absorption in body coordinates, 1 on average."""
    if not material.grain:
        return 1.0
    points = layer.rest[layer.cover]
    value = 1 + material.grain * lattice(points, material.grain_um, 2)
    if material.bands:
        value *= 1 + material.bands * np.sin(points[:, 0] / 9.0)
    texture = np.ones(layer.cover.shape, np.float32)
    texture[layer.cover] = np.maximum(value, 0.05)
    return texture


def _shade(layer, material, light, lattice, tone):
    """The layer's (pass, add)."""
    absorb = np.array(material.absorb, np.float32) * tone
    albedo = np.array(material.albedo, np.float32) * (1.12 - 0.12 * tone)
    if layer.form == "hair":
        amount = np.minimum(layer.amount, 1)[..., None]
        glow = {"below": 0.25, "above": 0.45, "dark": 0.5}[light.mode]
        return 1 - 0.55 * amount * absorb / 0.5, glow * amount * albedo * (light.sky + 0.5 * light.sun)
    texture = _texture(layer, material, lattice)
    normal = layer.normal / (np.linalg.norm(layer.normal, axis=-1, keepdims=True) + 1e-6)
    inner = normal[..., 2] < 0
    normal = np.where(inner[..., None], -normal, normal)
    nz = normal[..., 2]
    amount = layer.amount * texture
    if material.edge:
        rim_near = np.clip(1 - layer.edge / 0.14, 0, 1)
        amount = amount * (1 + material.edge * rim_near**2)
    tau = amount[..., None] * absorb
    strength = amount * material.scatter
    facing = np.clip(1 - nz, 0, 1)
    rim = np.clip(material.rim * facing**material.rim_power, 0, 0.92) * layer.cover
    slope = normal[..., :2] @ light.toward[:2]
    if light.mode == "below":
        passed = np.exp(-tau) * (1 - rim)[..., None]
        passed *= (1 + light.relief * material.relief * slope * layer.cover)[..., None]
        glow = (1 - np.exp(-strength))[..., None] * albedo * light.sky * (0.6 + 0.4 * nz)[..., None]
        if material.lens:  # a round body gathers light behind its middle
            passed *= (1 + material.lens * nz**6 * layer.cover)[..., None]
        cover = 1 - np.exp(-strength)
        passed *= (1 - np.clip(1.7 * light.sky.mean(), 0, 0.75) * cover)[..., None]
        return np.clip(passed, 0, 1.5), glow * layer.cover[..., None]
    alpha = (1 - np.exp(-strength))[..., None]
    if light.mode == "dark":
        ring = (0.35 + 0.65 * facing + 0.25 * slope)[..., None]
        add = light.sun * (
            alpha * albedo * ring + 0.55 * rim[..., None] * (0.25 + 0.75 * np.exp(-tau)) * (1 + 0.5 * slope[..., None])
        )
        return np.exp(-tau) * (1 - alpha), np.clip(add, 0, None) * layer.cover[..., None]
    facing_sun = np.clip((normal @ light.toward + 0.2) / 1.2, 0, 1)
    open_sky = (0.3 + 0.7 * nz) * np.where(inner, 0.72, 1.0)
    bounce = (0.5 - 0.5 * nz)[..., None] * light.floor
    lit = light.sky * open_sky[..., None] + light.sun * facing_sun[..., None] + bounce * 0.6
    # thick flesh takes more of the colour, thin flesh scatters paler
    tint = albedo ** (0.75 + 0.35 * np.minimum(strength, 2))[..., None]
    tint = tint * (0.6 + 0.4 * np.asarray(texture)[..., None] if material.grain else 1)
    half = light.toward + np.array([0, 0, 1.0])
    half = half / np.linalg.norm(half)
    glint = np.clip(normal @ half, 0, 1)
    shine = material.shine * light.gloss * (0.5 * glint**24 + 1.8 * glint**150)
    add = alpha * tint * lit + (shine * layer.cover)[..., None] * light.sun
    add = add + (0.16 * rim)[..., None] * (light.sky + light.sun * facing_sun[..., None])
    passed = np.exp(-0.9 * tau) * (1 - alpha) * (1 - 0.5 * rim)[..., None]
    return passed, add * layer.cover[..., None]


def _stack(parts, materials, light, lattice, scale, tone):
    """All layers of a body over each other at the finer scale."""
    drawn = [layer for part in parts for layer in layers(part, scale)]
    # skins that are seen from within lie lowest, bristles on top
    drawn.sort(key=lambda one: {"sheet_inside": 0, "hair": 2}.get(one.form, 1))
    top, left = min(d.top for d in drawn), min(d.left for d in drawn)
    bottom = max(d.top + d.cover.shape[0] for d in drawn)
    right = max(d.left + d.cover.shape[1] for d in drawn)
    shape = (bottom - top, right - left)
    passed, add = np.ones((*shape, 3), np.float32), np.zeros((*shape, 3), np.float32)
    outline = np.zeros(shape, bool)
    for d in drawn:
        window = np.s_[d.top - top : d.top - top + d.cover.shape[0], d.left - left : d.left - left + d.cover.shape[1]]
        p, a = _shade(d, materials[d.material], light, lattice, tone)
        p = np.where(d.cover[..., None], p, 1)
        add[window] = add[window] * p + a
        passed[window] *= p
        if d.outline:
            outline[window] |= d.cover
    return top, left, passed, add, outline


def _shrink(picture, top, left, fine, pad):
    """Mean over fine x fine pixels on the coarse grid, with a border of ``pad`` coarse pixels filled as outside."""
    coarse_top, coarse_left = top // fine - pad, left // fine - pad
    above, before = top - coarse_top * fine, left - coarse_left * fine
    h, w = picture.shape[:2]
    rows, columns = -(-(h + above) // fine) + pad, -(-(w + before) // fine) + pad
    return coarse_top, coarse_left, (rows, columns), (above, before)


def patch(variants, materials, light, lattice, px_per_um, fine, pad, tone=1.0):
    """Draw a body whose variants (moments of a beating limb) are averaged; the first one gives the outline."""
    stacks = [_stack(parts, materials, light, lattice, px_per_um * fine, tone) for parts in variants]
    top, left = min(s[0] for s in stacks), min(s[1] for s in stacks)
    bottom = max(s[0] + s[2].shape[0] for s in stacks)
    right = max(s[1] + s[2].shape[1] for s in stacks)
    whole = np.empty((bottom - top, right - left))
    coarse_top, coarse_left, shape, (above, before) = _shrink(whole, top, left, fine, pad)
    passed = np.zeros((shape[0] * fine, shape[1] * fine, 3), np.float32)
    add = np.zeros_like(passed)
    outline = np.zeros(passed.shape[:2], np.float32)
    passed += 1
    for k, (stack_top, stack_left, p, a, o) in enumerate(stacks):
        y, x = stack_top - top + above, stack_left - left + before
        window = np.s_[y : y + p.shape[0], x : x + p.shape[1]]
        passed[window] += (p - 1) / len(stacks)
        add[window] += a / len(stacks)
        if k == 0:
            outline[window] = o

    def mean(a):
        return a.reshape(shape[0], fine, shape[1], fine, *a.shape[2:]).mean((1, 3))

    return Patch(coarse_top, coarse_left, mean(passed), mean(add), mean(outline) >= 0.5)
