"""One body seen by the camera: its layers traced, put in order of depth and brought to the picture's pixels."""

from dataclasses import dataclass

import numpy as np
from light import stretch
from PIL import Image, ImageDraw
from scipy import ndimage
from tracing import crossings


@dataclass
class Body:
    """A carved thing: parts in one frame, its turn, and what the truth says of it."""

    stage: str
    detail: str
    parts: list
    turn: np.ndarray
    reach_um: float
    length_um: float
    strands: list = ()  # fine hairs: (points (k, 3), width_um), never part of the outline
    middle: tuple = (0.0, 0.0, 0.0)
    caustic: float = 0.15  # how much light it gathers on the floor
    sharp: float = 1.0  # how dark its hairs are


@dataclass
class Patch:
    """A body's pixels: ``through`` and ``glow`` (h, w, 3), ``outline`` and ``cover`` (h, w), at column x, row y."""

    x: int
    y: int
    through: np.ndarray
    glow: np.ndarray
    cover: np.ndarray
    outline: np.ndarray
    body: Body


def _spread(n_px, n_rays, step, first):
    """Matrix of cubic weights that takes ray values to pixels."""
    at = (np.arange(n_px) + 0.5 - first) / step
    base = np.floor(at).astype(int)
    f = at - base
    weights = np.stack(
        [
            -0.5 * f + f**2 - 0.5 * f**3,
            1 - 2.5 * f**2 + 1.5 * f**3,
            0.5 * f + 2 * f**2 - 1.5 * f**3,
            0.5 * (f**3 - f**2),
        ]
    )
    m = np.zeros((n_px, n_rays), np.float32)
    for k in range(4):
        np.add.at(m, (np.arange(n_px), np.clip(base + k - 1, 0, n_rays - 1)), weights[k])
    return m


def _layers(body, x, y, light):
    """Through, glow and nearness of all rays, and the nearness of the outline's parts only."""
    n, reach = x.size, body.reach_um
    middle = np.asarray(body.middle, np.float32)
    world = np.stack([x, y, np.full(n, reach, np.float32)]).astype(np.float32)
    start = body.turn.T @ world + middle[:, None]
    way = body.turn.T @ np.array([0, 0, -1], np.float32)
    near, edge = np.full(n, 1e3, np.float32), np.full(n, 1e3, np.float32)
    stack = []
    for part in body.parts:
        shift = body.turn @ middle
        rays = (
            np.arange(n) if part.flat is None else np.flatnonzero(part.flat(x + shift[0], y + shift[1], body.turn) < 14)
        )
        if not rays.size:
            continue
        found, passing = crossings(part.field, start[:, rays], way, 2 * reach, part.entries)
        hit = np.isfinite(found[0])
        if hit.any():
            chord = found[1, hit] - found[0, hit]
            passing[hit] = -np.minimum(chord**2 / 200 + 0.4, 8.0)
        near[rays] = np.minimum(near[rays], passing)
        if part.outline:
            edge[rays] = np.minimum(edge[rays], passing)
        for k in range(part.entries):
            deep = np.flatnonzero(np.isfinite(found[2 * k]))
            if not deep.size:
                continue
            entry, leave = found[2 * k][deep], found[2 * k + 1][deep]
            through, glow = stretch(part, start[:, rays[deep]], way, entry, leave, body.turn, light)
            stack.append((rays[deep], entry, through, glow))
    through, glow = np.ones((3, n), np.float32), np.zeros((3, n), np.float32)
    if stack:
        depth = np.full((len(stack), n), np.inf, np.float32)
        t = np.ones((len(stack), 3, n), np.float32)
        g = np.zeros((len(stack), 3, n), np.float32)
        for k, (rays, entry, one, two) in enumerate(stack):
            depth[k, rays], t[k][:, rays], g[k][:, rays] = entry, one, two
        order = np.argsort(depth, axis=0)
        for k in range(len(stack)):
            pick = order[k]
            glow += through * g[pick, :, np.arange(n)].T
            through *= t[pick, :, np.arange(n)].T
    return through, glow, near, edge


def _hairs(body, shape, origin_px, um_per_px):
    """Share of each pixel that fine hairs cover."""
    h, w = shape
    fine = 3
    sheet = Image.new("L", (w * fine, h * fine))
    pen = ImageDraw.Draw(sheet)
    for points, width_um in body.strands:
        flat = ((np.asarray(points) - body.middle) @ body.turn.T)[:, :2] / um_per_px
        at = (flat + origin_px) * fine
        wide = width_um / um_per_px * fine
        pen.line([tuple(p) for p in at], fill=int(255 * min(1.0, wide)), width=max(1, round(wide)))
    return np.asarray(sheet, np.float32).reshape(h, fine, w, fine).mean((1, 3)) / 255


def carve(body, x_px, y_px, um_per_px, light, ray_um):
    """Trace a body whose middle lies at (x_px, y_px) of the picture."""
    pad = 5
    extent = np.array([p for points, _ in body.strands for p in points]) if body.strands else np.zeros((0, 3))
    reach = body.reach_um / um_per_px
    if len(extent):
        reach = max(reach, np.abs((extent - body.middle) @ body.turn.T)[:, :2].max() / um_per_px)
    x0, y0 = int(np.floor(x_px - reach)) - pad, int(np.floor(y_px - reach)) - pad
    size = int(np.ceil(2 * reach)) + 2 * pad + 1
    step = max(1.0, ray_um / um_per_px)
    rays = int(size / step) + 2
    u = (np.arange(rays) * step + 0.5).astype(np.float32)
    gx, gy = np.meshgrid((u + x0 - x_px) * um_per_px, (u + y0 - y_px) * um_per_px)
    through, glow, near, edge = _layers(body, gx.ravel().astype(np.float32), gy.ravel().astype(np.float32), light)
    grid = (rays, rays)
    hit = (near < 0).reshape(grid)
    planes = [*through.reshape(3, *grid), *glow.reshape(3, *grid)]
    if hit.any():
        # a ray that barely cuts the rim says nothing of the body beside it
        hit &= ~((near.reshape(grid) > -1.2) & ~ndimage.binary_erosion(hit)) | (hit.sum() < 40)
        # values are carried a little over the edges: the edge itself is drawn from the nearness
        index = ndimage.distance_transform_edt(~hit, return_distances=False, return_indices=True)
        planes = [p[tuple(index)] for p in planes]
        # walls and rims are hardly wider than the rays lie apart: single rays must not show as beads
        soft = 0.55 if body.stage in ("shell", "umbrella") else 0.42
        planes = [ndimage.gaussian_filter(p, soft, truncate=2) for p in planes]
    limit = 3 * step * um_per_px
    planes += [np.clip(near.reshape(grid), -limit, limit), np.clip(edge.reshape(grid), -limit, limit)]
    m = _spread(size, rays, step, 0.5)
    planes = [m @ p @ m.T for p in planes]
    cover = np.clip(0.5 - planes[6] / um_per_px, 0, 1)[..., None]
    full_t = 1 - cover * (1 - np.clip(np.stack(planes[:3], -1), 0, 1))
    full_g = cover * np.clip(np.stack(planes[3:6], -1), 0, None)
    if body.strands:
        hair = _hairs(body, (size, size), np.array([x_px - x0, y_px - y0]), um_per_px)[..., None] * body.sharp
        if light.mode == "below":
            full_t = full_t * (1 - 0.55 * hair)
        else:
            shine = light.ambient + 0.5 * light.lamp
            full_t = full_t * (1 - 0.38 * hair)
            full_g = full_g * (1 - 0.3 * hair) + 0.11 * hair * shine
    outline = planes[7] < 0
    if body.stage != "debris":
        outline = ndimage.binary_fill_holes(outline)
    return Patch(x0, y0, full_t.astype(np.float32), full_g.astype(np.float32), cover[..., 0], outline, body)
