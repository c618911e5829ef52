"""Where things lie, the photons that fall past them onto the floor, the picture put together, and its truth."""

import numpy as np
from relief_light import Lamp, Layer
from scipy import ndimage


def spread(rng, radii_px, size, margin_px, inside, clumped):
    """Find places for round bodies; return a list of (x, y) px, None where there was no room.

    ``clumped`` is how likely each settles against another; ``inside(x, y)`` tells whether a place is in the field.
    """
    width, height = size
    places, taken = [], np.empty((0, 3))
    for r, settles in zip(radii_px, clumped):
        best = None
        for attempt in range(60):
            if len(taken) and attempt < 12 and rng.random() < settles:
                x1, y1, r1 = taken[rng.integers(len(taken))]
                turn, far = rng.uniform(0, 2 * np.pi), (r + r1) * rng.uniform(0.92, 1.05)
                x, y, need = x1 + far * np.cos(turn), y1 + far * np.sin(turn), 0.88
            else:
                x, y = rng.uniform(-margin_px, width + margin_px), rng.uniform(-margin_px, height + margin_px)
                need = 1.08 if rng.random() < 0.9 else 0.85
            if not inside(x, y):
                continue
            if len(taken) == 0 or (np.hypot(taken[:, 0] - x, taken[:, 1] - y) > need * (taken[:, 2] + r)).all():
                best = (x, y)
                break
        places.append(best)
        if best is not None:
            taken = np.vstack([taken, [*best, r]])
    return places


def _overlap(layer: Layer, shape):
    """Return the slices of a layer within the photo: on the photo, and on the layer."""
    h, w = layer.cover.shape
    i0, i1 = max(0, layer.y0), min(shape[0], layer.y0 + h)
    j0, j1 = max(0, layer.x0), min(shape[1], layer.x0 + w)
    if i0 >= i1 or j0 >= j1:
        return None
    on_photo = (slice(i0, i1), slice(j0, j1))
    return on_photo, (slice(i0 - layer.y0, i1 - layer.y0), slice(j0 - layer.x0, j1 - layer.x0))


def fallen_photons(rng, layers, lamp: Lamp, shape, um_per_px) -> np.ndarray:
    """Shoot photons from each lamp above through the objects; return the light on the floor, (H, W, 3).

    A photon that meets an object is taken from where it would have landed straight and lands, weakened, where the
    object bends it to: shadows and the bright spots within them.
    """
    floor = np.zeros((*shape, 3), np.float32)
    met = [_photons_of(layer, um_per_px) for layer in layers]
    x, y, z = (np.concatenate([one[k] for one in met]) if met else np.empty(0) for k in range(3))
    bend, weak = (np.concatenate([one[k] for one in met]) if met else np.empty((0, 3)) for k in (3, 4))
    aims = int(np.clip(30 // max(len(lamp.lobes), 1), 4, 24))
    for lobe in lamp.lobes:
        change = np.zeros((shape[0] * shape[1], 3), np.float32)
        for _ in range(aims):
            jitter = rng.normal(0, max(lobe.wide, 0.06), 2)
            tan = (lobe.towards[:2] + jitter) / max(lobe.towards[2], 0.3)
            at_x, at_y = x - tan[0] * z, y - tan[1] * z
            _land(change, (at_x, at_y), -np.ones_like(weak), shape)
            _land(change, (at_x + bend[:, 0], at_y + bend[:, 1]), weak, shape)
        light = 1 + change.reshape(*shape, 3) / aims
        soft = 1.0 + 9 * lobe.wide / um_per_px * 4 * 0.5
        light = ndimage.gaussian_filter(light, (soft, soft, 0)).clip(0.12, 1.7)
        floor += (light * lobe.power * lobe.towards[2]).astype(np.float32)
    cover = np.zeros(shape, np.float32)
    for layer in layers:
        parts = _overlap(layer, shape)
        if parts:
            cover[parts[0]] = np.maximum(cover[parts[0]], 1 - layer.through[parts[1]].mean(axis=2))
    hidden = ndimage.gaussian_filter(cover, 70 / um_per_px)
    return floor + lamp.ambient.astype(np.float32) * (1 - 0.45 * hidden)[..., None]


def _photons_of(layer, um_per_px):
    """Return where a layer's photons are met (px), how high, how they are bent, and what is left of them."""
    weak = layer.through.mean(axis=2)
    i, j = np.nonzero((weak < 0.97) | (np.abs(layer.shift).max(axis=2) > 0.04))
    z = layer.height_um / um_per_px
    bend = np.clip(layer.shift[i, j] * z, -8, 8)
    return (
        (j + layer.x0).astype(np.float32),
        (i + layer.y0).astype(np.float32),
        np.full(len(i), z),
        bend,
        layer.through[i, j],
    )


def _land(change, at, weight, shape):
    j, i = (np.round(a).astype(np.int32) for a in at)
    keep = (i >= 0) & (j >= 0) & (i < shape[0]) & (j < shape[1])
    cell = i[keep] * shape[1] + j[keep]
    for c in range(3):
        change[:, c] += np.bincount(cell, weight[keep, c], shape[0] * shape[1])


def composed(floor, layers, um_per_px, field=None) -> np.ndarray:
    """Lay the lit objects over a floor, the lowest first; each bends the view of what is behind it."""
    picture = floor.copy()
    shape = floor.shape[:2]
    for layer in layers:
        parts = _overlap(layer, shape)
        if not parts:
            continue
        on_photo, on_layer = parts
        bend = np.clip(0.7 * layer.shift[on_layer] * (20 + layer.height_um) / um_per_px, -6, 6)
        i, j = np.mgrid[on_photo]
        i = np.round(i + bend[..., 1]).astype(int).clip(0, shape[0] - 1)
        j = np.round(j + bend[..., 0]).astype(int).clip(0, shape[1] - 1)
        light = 1.0 if field is None else field[on_photo][..., None]
        picture[on_photo] = layer.through[on_layer] * picture[i, j] + layer.added[on_layer] * light
    return picture


def masked(layers, shape) -> np.ndarray:
    """Return the photo's outlines: 0 floor, k + 1 the k-th layer, the topmost counting."""
    mask = np.zeros(shape, np.int32)
    for k, layer in enumerate(layers):
        parts = _overlap(layer, shape)
        if parts:
            mask[parts[0]][layer.cover[parts[1]] >= 0.5] = k + 1
    return mask


def truth_rows(name, things, layers, mask) -> list[dict]:
    """Return a row of truth.csv for each object of which 12 pixels or more show."""
    rows = []
    shape = mask.shape
    for k, (thing, layer) in enumerate(zip(things, layers)):
        parts = _overlap(layer, shape)
        whole = layer.cover >= 0.5
        if not parts or not whole.any():
            continue
        shows = mask[parts[0]] == k + 1
        n = int(shows.sum())
        if n < 12:
            continue
        i, j = np.nonzero(shows)
        i, j = i + parts[0][0].start, j + parts[0][1].start
        wi, wj = np.nonzero(whole)
        wx, wy = wj.mean() + 0.5 + layer.x0, wi.mean() + 0.5 + layer.y0
        edge = i.min() == 0 or j.min() == 0 or i.max() == shape[0] - 1 or j.max() == shape[1] - 1
        rows.append(
            {
                "photo": name,
                "object_id": k + 1,
                "stage": thing.stage,
                "x_px": round(float(j.mean() + 0.5), 2),
                "y_px": round(float(i.mean() + 0.5), 2),
                "x0": int(j.min()),
                "y0": int(i.min()),
                "x1": int(j.max() + 1),
                "y1": int(i.max() + 1),
                "visible_area_px": n,
                "visible_fraction": round(n / max(int(whole[parts[1]].sum()), 1), 4),
                "touches_edge": int(edge),
                "detail": thing.detail,
                "in_frame": int(0 <= wx < shape[1] and 0 <= wy < shape[0]),
                "length_um": round(float(thing.length_um), 1),
                "whole_area_px": int(whole.sum()),
            }
        )
    return rows
