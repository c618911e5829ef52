"""Splat a cloud into a picture: light it particle by particle, spread them by their focus, find its outline."""

from dataclasses import dataclass, field

import numpy as np
from cloud import unit
from scipy import ndimage

VIEW = np.array([0.0, 0.0, 1.0])


@dataclass
class Lamp:
    """Light and lens of one photo. ``way`` points at the lamp; an empty list of lamps means light from below."""

    um_per_px: float
    through: bool
    lamps: list = field(default_factory=list)  # (way, rgb)
    sky: np.ndarray = field(default_factory=lambda: np.zeros(3))  # light from all around
    rim: float = 0.0  # how much more a skin scatters where it is seen edge-on (dark field)
    focus_um: float = 120.0
    spread: float = 0.03  # blur per micrometre out of focus
    becke: float = 0.06  # bright seam beside a bending rim
    aperture: float = 1.0  # a narrow cone of light makes stronger rims
    softness: float = 0.2  # shadow's blur per micrometre of height


@dataclass
class Stamp:
    """What one body does to a patch of the picture."""

    x0: int
    y0: int
    tau: np.ndarray  # optical depth, or, with light from below, minus the logarithm of what comes through
    glow: np.ndarray  # light it sends to the viewer
    outline: np.ndarray
    shadows: list


def depth_towards(pos, strength, way, cell, rng):
    """Optical depth between each particle and a far lamp: density cumulated over layers along the light's way."""
    side = unit(np.cross(way, (0.31, 0.95, 0.02)))
    frame = np.stack([side, np.cross(way, side), way], 1)
    q = pos @ frame / cell
    q = (q - q.min(0) + rng.uniform(0, 0.8, q.shape)).astype(int)
    shape = q.max(0) + 1
    flat = np.ravel_multi_index(q.T, shape)
    grid = np.bincount(flat, strength, shape.prod()).reshape(shape) / cell**2
    grid = ndimage.uniform_filter(grid, (3, 3, 1), mode="constant")
    above = grid[:, :, ::-1].cumsum(2)[:, :, ::-1] - 0.6 * grid
    return above.ravel()[flat]


def lit(body, lamp, rng):
    """What each particle sends to the viewer, per colour."""
    strength = body.absorb[:, 1] + 0.55 * body.scatter[:, 1]
    total = (body.absorb + 0.55 * body.scatter).sum(0)
    ratio = np.clip(total / max(total[1], 1e-9), 0.25, 2.2)
    cell = max(11.0, 1.2 * lamp.um_per_px)
    over = depth_towards(body.pos, strength, VIEW, cell, rng)
    seen = np.exp(-over[:, None] * ratio)
    light = lamp.sky * np.exp(-0.8 * over[:, None] * ratio) + 0.12 * lamp.sky
    glint = np.zeros((len(body), 3))
    for way, colour in lamp.lamps:
        depth = depth_towards(body.pos, strength, way, cell, rng)
        reach = np.exp(-depth[:, None] * ratio)
        light = light + colour * reach
        half = unit(way + VIEW)
        spark = np.clip(np.abs(body.normal @ half), 0, 1) ** 55
        glint += colour * spark[:, None] * np.exp(-1.2 * (depth + over))[:, None]
    edge = (1 - np.abs(body.normal[:, 2])) ** 2 * (np.abs(body.normal).sum(1) > 0)
    sent = 1.5 * body.scatter * (1 + lamp.rim * edge)[:, None] * light * seen
    sent += 0.3 * lamp.rim * (body.bend * edge)[:, None] * light * seen
    return sent + (9.0 if lamp.rim == 0 else 3.0) * body.gloss[:, None] * glint


def bins(x, y, weights, shape):
    """Sum weights into the pixels where particles fall."""
    inside = (x >= 0) & (y >= 0) & (x < shape[1]) & (y < shape[0])
    flat = (y[inside].astype(int) * shape[1] + x[inside].astype(int)).astype(np.intp)
    layers = [np.bincount(flat, w[inside], shape[0] * shape[1]).reshape(shape) for w in weights.T]
    return np.stack(layers, 2).astype(np.float32)


def blurred(patch, sigma):
    """Blur each channel of a patch."""
    return ndimage.gaussian_filter(patch, (sigma, sigma, 0), truncate=2.8) if sigma > 0.25 else patch


def outline_of(body, scale, x0, y0, shape):
    """The solid particles' silhouette, closed and filled, found at twice the picture's scale."""
    solid = body.pos[body.solid]
    x, y = ((solid[:, :2] / scale - (x0, y0)) * 2).T
    fine = (shape[0] * 2, shape[1] * 2)
    inside = (x >= 0) & (y >= 0) & (x < fine[1]) & (y < fine[0])
    hits = np.zeros(fine, bool)
    hits[y[inside].astype(int), x[inside].astype(int)] = True
    disc = np.hypot(*np.mgrid[-3:4, -3:4]) <= (3.2 if scale < 8 else 1.6)
    closed = ndimage.binary_fill_holes(ndimage.binary_closing(hits, disc))
    few = ndimage.uniform_filter(closed.astype(np.float32), 3) > 0.55  # stray particles are no outline
    whole = few.reshape(shape[0], 2, shape[1], 2).sum((1, 3)) >= 2
    label, n = ndimage.label(whole, np.ones((3, 3)))
    if n > 1:
        sizes = np.bincount(label.ravel())[1:]
        whole = np.isin(label, np.flatnonzero(sizes >= 0.06 * sizes.max()) + 1)
    return whole


def stamp(body, lamp, rng, *, drift=(0.0, 0.0)):
    """The body's patch. Its places are micrometres in the picture; ``drift`` smears it as it moves."""
    scale = lamp.um_per_px
    margin = int(10 + 18 / scale)
    x0, y0 = np.floor(body.pos[:, :2].min(0) / scale).astype(int) - margin
    x1, y1 = np.ceil(body.pos[:, :2].max(0) / scale).astype(int) + margin
    shape = (y1 - y0, x1 - x0)
    sent = lit(body, lamp, rng) if not lamp.through or lamp.sky.max() > 0.12 else body.scatter * lamp.sky * 0.5
    edge = (1 - np.abs(body.normal[:, 2])) ** 2
    bend = body.bend * edge * lamp.aperture
    loss = body.absorb + 0.17 * body.scatter + bend[:, None] if lamp.through else body.absorb + 0.8 * body.scatter
    if not lamp.through:
        loss = loss + 0.25 * bend[:, None]
    weights = np.concatenate([loss, sent, bend[:, None]], 1) / scale**2
    shake = rng.uniform(-0.5, 0.5, (len(body), 1)) * np.asarray(drift)
    x, y = ((body.pos[:, :2] + shake) / scale - (x0, y0)).T
    middle = np.median(body.pos[:, 2])
    thin = body.size < 2.3
    tau = np.zeros((*shape, 3), np.float32)
    glow = np.zeros((*shape, 3), np.float32)
    for group in (thin, ~thin & (body.pos[:, 2] < middle), ~thin & (body.pos[:, 2] >= middle)):
        if not group.any():
            continue
        off = np.abs(body.pos[group, 2] - lamp.focus_um).mean() * lamp.spread
        sigma = float(np.hypot(body.size[group].mean() * 1.35, off)) / scale
        sigma = max(sigma, 0.5 if group is thin else 0.72)  # a particle is no pixel
        layer = bins(x[group], y[group], weights[group], shape)
        if lamp.through:
            own = float(body.size[group].mean()) / scale
            first = blurred(layer, max(own, 0.55))
            passed = blurred(np.exp(-first[..., :3]), off / scale)  # blurred as light, not as density
            seam = lamp.becke * (blurred(first[..., 6:], 7 / scale + 0.6) - first[..., 6:])
            tau -= np.log(np.clip(passed, 1e-4, None)) + np.clip(seam, 0, 0.06)
            glow += blurred(first[..., 3:6], off / scale)
        else:
            layer = blurred(layer, sigma)
            tau += layer[..., :3]
            glow += layer[..., 3:6]
    outline = outline_of(body, scale, x0, y0, shape)
    return Stamp(int(x0), int(y0), tau, glow, outline, [] if lamp.through else _shadows(body, lamp))


def _shadows(body, lamp):
    """Patches of optical depth on the floor, at half scale: one for the first lamp, one for the light all around."""
    half = lamp.um_per_px * 2
    found = []
    lamps = [lamp.lamps[0][0], VIEW] if lamp.lamps else [VIEW]
    for way in lamps:
        height = np.clip(body.pos[:, 2], 0, None)
        ground = body.pos[:, :2] - way[:2] / max(way[2], 0.2) * height[:, None]
        soft = (lamp.softness if way is not VIEW else 0.75) * height.mean() / half + 0.5
        margin = int(3 * soft + 2)
        x0, y0 = np.floor(ground.min(0) / half).astype(int) - margin
        x1, y1 = np.ceil(ground.max(0) / half).astype(int) + margin
        x, y = (ground / half - (x0, y0)).T
        dark = (body.absorb + 0.7 * body.scatter + 0.12 * body.bend[:, None]) / half**2
        tau = blurred(bins(x, y, dark, (y1 - y0, x1 - x0)), 0.8)
        found.append((int(x0), int(y0), blurred(1 - np.exp(-tau), soft)))
    return found
