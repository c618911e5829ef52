"""A sample laid out: where each object lies, what it hides, and the truth about it."""

from typing import NamedTuple

import numpy as np
from scipy import ndimage
from sliced_light import Lamp, Layer, shine
from sliced_volume import Model, cut


class Placed(NamedTuple):
    """An object with its layer and where it lies."""

    model: Model
    detail: str
    layer: Layer
    x: int  # of the layer's first column, fine pixels
    y: int
    low_um: float  # of its lowest point above the floor


class Stage(NamedTuple):
    """Size and sharpness of the picture."""

    width: int
    height: int
    um_per_px: float
    fine: int  # fine pixels per pixel
    depth: float  # um of blur per um out of focus
    focus_um: float
    packed: float  # how far apart objects keep, as a share of their radii
    inside: np.ndarray  # (h, w) bool, coarse: where the sample is

    @property
    def step_um(self):
        return self.um_per_px / self.fine


def spread(rng, radii, stage: Stage, clumped: float) -> list:
    """Return a place (x, y in um) for each radius, or None where there was no room."""
    size = np.array([stage.width, stage.height]) * stage.um_per_px
    hearts = rng.uniform(0.1, 0.9, (rng.integers(2, 7), 2)) * size
    found, places = [], [None] * len(radii)
    for i in np.argsort(-np.minimum(radii, 300)):
        for attempt in range(60):
            if rng.random() < clumped and attempt < 40:
                at = hearts[rng.integers(len(hearts))] + rng.normal(0, 520, 2)
            else:
                at = rng.uniform(-0.015, 1.015, 2) * size
            if np.any(at < -60) or np.any(at > size + 60):
                continue
            cell = np.clip((at / stage.um_per_px).astype(int), 0, [stage.width - 1, stage.height - 1])
            if not stage.inside[cell[1], cell[0]]:
                continue
            if all(np.hypot(*(at - p)) > stage.packed * (r + radii[i]) for p, r in found):
                found.append((at, radii[i]))
                places[i] = at
                break
    return places


def place(model: Model, detail: str, turn, at, low_um, stage: Stage, lamp: Lamp, rng) -> Placed:
    """Cut, light and blur one object."""
    thick = 9.0 if model.stage in ("nauplius", "debris") else max(5.0, 0.9 * stage.step_um)
    layer = shine(cut(model, turn, stage.step_um, thick, rng), lamp)
    away = abs(low_um + layer.height_um - stage.focus_um)
    blur = stage.depth * away / stage.step_um
    x, y = np.round(at / stage.step_um).astype(int) + layer.corner
    if blur > 0.35:
        layer, pad = _blurred(layer, blur)
        x, y = x - pad, y - pad
    return Placed(model, detail, layer, int(x), int(y), low_um)


def _blurred(layer, radius):
    pad = int(np.ceil(radius)) + 2
    grown = ((pad, pad), (pad, pad))
    passes = np.pad(layer.passes, (*grown, (0, 0)), constant_values=1)
    glow = np.pad(layer.glow, (*grown, (0, 0)))
    # Two short boxes and a little Gauss: near the flat disc of a real lens, and quick.
    for image in (passes, glow):
        for c in range(3):
            ndimage.uniform_filter(image[..., c], 2 * int(0.55 * radius) + 1, output=image[..., c], mode="nearest")
            ndimage.gaussian_filter(image[..., c], 0.45 * radius, output=image[..., c], mode="nearest")
    return layer._replace(passes=passes, glow=glow, outline=np.pad(layer.outline, grown)), pad


def coarse_outline(placed: Placed, fine: int):
    """Return the outline in whole pixels and the place of its first one."""
    left, top = placed.x % fine, placed.y % fine
    h, w = placed.layer.outline.shape
    padded = np.pad(placed.layer.outline, ((top, -(top + h) % fine), (left, -(left + w) % fine)))
    small = padded.reshape(padded.shape[0] // fine, fine, -1, fine).mean(axis=(1, 3)) >= 0.5
    return small, (placed.x - left) // fine, (placed.y - top) // fine


def _window(x, y, shape, width, height):
    """Return slices of the picture and of the patch where they meet, or None."""
    x0, x1 = max(x, 0), min(x + shape[1], width)
    y0, y1 = max(y, 0), min(y + shape[0], height)
    if x0 >= x1 or y0 >= y1:
        return None
    return (slice(y0, y1), slice(x0, x1)), (slice(y0 - y, y1 - y), slice(x0 - x, x1 - x))


def masked(things: list[Placed], stage: Stage) -> np.ndarray:
    """Return the picture's mask: the highest object's number + 1 at each pixel."""
    mask = np.zeros((stage.height, stage.width), np.int32)
    for i, thing in enumerate(things):
        small, x, y = coarse_outline(thing, stage.fine)
        window = _window(x, y, small.shape, stage.width, stage.height)
        if window:
            mask[window[0]][small[window[1]]] = i + 1
    return mask


def truth_rows(name: str, things: list[Placed], stage: Stage, mask: np.ndarray) -> list[dict]:
    """Return the truth's row of each object of which anything shows."""
    rows = []
    boxes = ndimage.find_objects(mask, max_label=len(things))
    for i, thing in enumerate(things):
        if boxes[i] is None:
            continue
        small, x, y = coarse_outline(thing, stage.fine)
        window = _window(x, y, small.shape, stage.width, stage.height)
        ys, xs = np.nonzero(mask[boxes[i]] == i + 1)
        ys, xs = ys + boxes[i][0].start, xs + boxes[i][1].start
        if len(ys) < 12:
            continue
        wy, wx = np.nonzero(small)
        whole = np.array([wx.mean() + x + 0.5, wy.mean() + y + 0.5])
        cut_off = wx.min() + x <= 0 or wy.min() + y <= 0
        cut_off |= wx.max() + x >= stage.width - 1 or wy.max() + y >= stage.height - 1
        rows.append(
            {
                "photo": name,
                "object_id": i + 1,
                "stage": thing.model.stage,
                "x_px": round(xs.mean() + 0.5, 2),
                "y_px": round(ys.mean() + 0.5, 2),
                "x0": int(xs.min()),
                "y0": int(ys.min()),
                "x1": int(xs.max()) + 1,
                "y1": int(ys.max()) + 1,
                "visible_area_px": len(ys),
                "visible_fraction": round(len(ys) / small[window[1]].sum(), 3),
                "touches_edge": int(cut_off),
                "detail": thing.detail,
                "in_frame": int(0 <= whole[0] < stage.width and 0 <= whole[1] < stage.height),
                "length_um": round(float(thing.model.length_um), 1),
                "whole_area_px": int(small.sum()),
            }
        )
    return rows


def composed(floor: np.ndarray, things: list[Placed], stage: Stage, lamp: Lamp) -> np.ndarray:
    """Lay the objects over the floor, low ones first, each with its shadows; return fine linear light."""
    canvas = floor.astype(np.float32).copy()
    height, width = canvas.shape[:2]
    total = float(lamp.powers.sum()) + lamp.ambient
    for thing in things:
        layer = thing.layer
        if len(lamp.powers) and not lamp.through:
            for way, power in zip(lamp.ways, lamp.powers):
                if way[2] > 0:
                    _shade(canvas, thing, way, power / total, stage)
            _shade(canvas, thing, np.array([0, 0, 1.0]), 0.5 * lamp.ambient / total, stage, wide=35)
        window = _window(thing.x, thing.y, layer.outline.shape, width, height)
        if window:
            part = canvas[window[0]]
            part *= layer.passes[window[1]]
            part += layer.glow[window[1]]
    return canvas


def _shade(canvas, thing, way, share, stage, wide=0):
    layer = thing.layer
    far = (thing.low_um + 0.6 * layer.height_um) / way[2]
    soft = (0.10 * far + 6 + wide) / stage.step_um
    pad = int(2.5 * soft) + 1
    veil = np.pad(1 - layer.passes, ((pad, pad), (pad, pad), (0, 0)))
    veil = ndimage.gaussian_filter(veil, (soft, soft, 0), truncate=2.5)
    shift = np.round(-way[:2] * far / stage.step_um).astype(int)
    x, y = thing.x - pad + shift[0], thing.y - pad + shift[1]
    window = _window(x, y, veil.shape[:2], canvas.shape[1], canvas.shape[0])
    if window:
        canvas[window[0]] *= 1 - share * veil[window[1]]
