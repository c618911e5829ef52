"""Triangles into pixels: every surface that a pixel's centre looks through, with its depth and normal."""

from dataclasses import dataclass

import numpy as np
from meshes import vertex_normals

STEPS = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 160, 400, 1000)


@dataclass
class Layer:
    """What one part shows within its window: ``amount`` is path (solid) or crossed skins (sheet)."""

    top: int
    left: int
    cover: np.ndarray
    amount: np.ndarray
    normal: np.ndarray
    rest: np.ndarray
    edge: np.ndarray
    height: np.ndarray
    material: str
    form: str
    outline: bool


def _fragments(points, faces, values):
    """Pixel, height, side and values of each crossing of a pixel's centre with a triangle."""
    corner = points[faces]
    low = np.ceil(corner[:, :, :2].min(1) - 0.5).astype(int)
    high = np.floor(corner[:, :, :2].max(1) - 0.5).astype(int)
    size = (high - low + 1).max(1)
    empty = (high < low).any(1)
    (x0, y0), (x1, y1), (x2, y2) = (corner[:, k, :2].T for k in range(3))
    area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
    empty |= np.abs(area) < 1e-9
    found, before = [], 0
    for k in STEPS:
        chosen = np.flatnonzero((size <= k) & (size > before) & ~empty)
        before = k
        if not len(chosen):
            continue
        oy, ox = (o.ravel() for o in np.mgrid[:k, :k])
        x = low[chosen, 0, None] + ox
        y = low[chosen, 1, None] + oy
        px, py = x + 0.5, y + 0.5
        c = [v[chosen, None] for v in (x0, y0, x1, y1, x2, y2, area)]
        w0 = ((c[2] - px) * (c[5] - py) - (c[4] - px) * (c[3] - py)) / c[6]
        w1 = ((c[4] - px) * (c[1] - py) - (c[0] - px) * (c[5] - py)) / c[6]
        inside = (w0 >= 0) & (w1 >= 0) & (w0 + w1 <= 1)
        which, cell = np.nonzero(inside)
        a, b = w0[which, cell, None], w1[which, cell, None]
        f = faces[chosen[which]]
        value = a * values[f[:, 0]] + b * values[f[:, 1]] + (1 - a - b) * values[f[:, 2]]
        found.append((x[which, cell], y[which, cell], np.sign(area[chosen[which]]), value))
    if not found:
        return None
    return [np.concatenate(group) for group in zip(*found)]


def _fold(shape, pixel, value, weight, part, corner, side=""):
    """Sum the weights and keep what lies nearest to the viewer."""
    count = shape[0] * shape[1]
    amount = np.bincount(pixel, weight, count)
    front = np.zeros((count, 8), np.float32)
    order = np.argsort(value[:, 0], kind="stable")
    front[pixel[order]] = value[order]
    cover = np.zeros(count, bool)
    cover[pixel] = True
    front = front.reshape(*shape, 8)
    return Layer(
        corner[1],
        corner[0],
        cover.reshape(shape),
        np.abs(amount).reshape(shape).astype(np.float32),
        front[..., 1:4],
        front[..., 4:7],
        front[..., 7],
        front[..., 0],
        part.material,
        part.form + side,
        part.outline,
    )


def layers(part, px_per_um):
    """The layers of a part, far ones first; windows are in (finer) pixels around the body's origin."""
    if part.form == "hair":
        return _hair(part, px_per_um)
    normal = vertex_normals(part.points, part.faces)
    centred = part.points - part.points.mean(0)
    if (centred * normal).sum() < 0 and part.form == "solid":
        normal = -normal
    points = part.points * [px_per_um, px_per_um, 1.0]
    value = np.concatenate([part.points[:, 2:], normal, part.rest, part.edge[:, None]], 1)
    found = _fragments(points, part.faces, value)
    if found is None:
        return []
    kept = found[3][:, 7] >= 0  # a torn skin ends where its edge value passes 0
    if not kept.any():
        return []
    x, y, sign, value = (group[kept] for group in found)
    corner = (x.min(), y.min())
    shape = (y.max() - corner[1] + 1, x.max() - corner[0] + 1)
    pixel = (y - corner[1]) * shape[1] + x - corner[0]
    if part.form == "solid":
        return [_fold(shape, pixel, value, sign * value[:, 0], part, corner)]
    skins = []
    for side, chosen in (("_inside", value[:, 3] < 0), ("_outside", value[:, 3] >= 0)):
        if chosen.any():
            weight = 1 / np.maximum(np.abs(value[chosen, 3]), 0.22)
            skins.append(_fold(shape, pixel[chosen], value[chosen], weight, part, corner, side))
    # the lower skin first, by where most of it lies
    return sorted(skins, key=lambda s: s.height[s.cover].mean())


def _hair(part, px_per_um):
    if not len(part.points):
        return []
    at = part.points[:, :2] * px_per_um
    corner = np.floor(at.min(0)).astype(int) - 1
    shape = tuple((np.ceil(at.max(0)).astype(int) - corner + 2)[::-1])
    base = np.floor(at - 0.5)
    part_x, part_y = (at - 0.5 - base).T
    column, row = (base.astype(int) - corner).T
    total = np.zeros(shape[0] * shape[1])
    for dy in (0, 1):
        for dx in (0, 1):
            weight = np.where(dx, part_x, 1 - part_x) * np.where(dy, part_y, 1 - part_y)
            total += np.bincount((row + dy) * shape[1] + column + dx, weight * part.edge, len(total))
    amount = (total * part.width_um * px_per_um**2).reshape(shape).astype(np.float32)
    flat = np.zeros((*shape, 3), np.float32)
    flat[..., 2] = 1
    none = np.ones(shape, np.float32)
    height = np.full(shape, part.points[:, 2].mean(), np.float32)
    return [Layer(corner[1], corner[0], amount > 0, amount, flat, flat, none, height, part.material, "hair", False)]
