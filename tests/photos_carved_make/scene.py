"""A sitting's scene: bodies laid out over the floor, shadows thrown, and all composed in order of depth."""

import numpy as np
from debris import debris
from eggs import cyst, shell
from floors import clouds, covered_floor, lit_floor, rim, ruled
from nauplius import nauplius
from patches import Patch, carve
from scipy import ndimage
from tissues import stuff_of
from umbrella import umbrella
from weave import weave

LEAST_PX = 12  # fewer visible pixels are no object


def floor_of(rng, sit):
    """Floor colours (h, w, 3) and where bodies may lie."""
    h, w, um = sit.height_px, sit.width_px, sit.um_per_px
    if sit.floor == "lit":
        floor = lit_floor(rng, h, w, um)
        if sit.kind == "chamber":
            floor = ruled(rng, floor, um)
    elif sit.floor == "weave":
        floor = weave(rng, h, w, um, sit.light)
    elif sit.floor == "void":
        floor = 0.35 * covered_floor(rng, h, w, "void", sit.light)
    else:
        floor = covered_floor(rng, h, w, sit.floor, sit.light)
    if sit.kind == "dish" and rng.random() < 0.6:
        return rim(rng, floor, um, sit.light)
    return floor, np.ones((h, w), bool)


def _bodies(rng, sit):
    stuff = stuff_of(rng, sit.lugol)
    n = sit.numbers
    bodies = [
        nauplius(rng, stuff, sit.strain_um, late_share=sit.late_share, limp_all=bool(sit.lugol))
        for _ in range(n["nauplius"])
    ]
    bodies += [umbrella(rng, stuff, sit.cyst_um) for _ in range(n["umbrella"])]
    bodies += [cyst(rng, stuff, sit.cyst_um) for _ in range(n["cyst"])]
    bodies += [shell(rng, stuff, sit.cyst_um) for _ in range(n["shell"])]
    bodies += [debris(rng, stuff, sit.strain_um) for _ in range(n["debris"])]
    return [bodies[k] for k in rng.permutation(len(bodies))]


def _places(rng, sit, bodies, inside):
    """Where the bodies lie: apart as a rule, some touching, now and then one over another."""
    h, w = inside.shape
    drop = 0.5 + 0.4 * clouds(rng, h, w, max(h, w) / 4)  # a drop does not spread evenly
    uneven, done, places = rng.uniform(0, 0.9), [], []
    for body in bodies:
        size = body.reach_um / sit.um_per_px * (0.52 if body.stage == "nauplius" else 0.9)
        size = min(size, 90.0 if body.stage == "debris" else size)
        close = rng.uniform(0.55, 0.8) if rng.random() < sit.crowd else (0.9 if rng.random() < 0.2 else 1.12)
        best, best_gap = None, -np.inf
        for _ in range(40):
            x, y = rng.uniform(-0.4 * size, w + 0.4 * size), rng.uniform(-0.4 * size, h + 0.4 * size)
            ix, iy = int(np.clip(x, 0, w - 1)), int(np.clip(y, 0, h - 1))
            if not inside[iy, ix] or rng.random() < uneven * drop[min(iy, h - 1), min(ix, w - 1)]:
                continue
            gap = min((np.hypot(x - a, y - b) - close * (size + s) for a, b, s in done), default=1.0)
            if gap > best_gap:
                best, best_gap = (x, y), gap
            if gap >= 0:
                if close < 0.9 and gap > 30 and done:  # one that is to touch is brought up to its neighbour
                    a, b, s = min(done, key=lambda o: np.hypot(x - o[0], y - o[1]) - o[2])
                    long = np.hypot(x - a, y - b)
                    to = close * (size + s) / long
                    x, y = a + (x - a) * to, b + (y - b) * to
                    ix, iy = int(np.clip(x, 0, w - 1)), int(np.clip(y, 0, h - 1))
                    if inside[iy, ix] and min(np.hypot(x - c, y - d) - 0.5 * (size + e) for c, d, e in done) > 0:
                        best = (x, y)
                break
        if best is None:
            ys, xs = np.nonzero(inside[::16, ::16])
            k = rng.integers(len(ys))
            best = (xs[k] * 16.0 + 8, ys[k] * 16.0 + 8)
        done.append((*best, size))
        places.append(best)
    return places


def _window(patch, shape, dx=0, dy=0):
    """Slices of the picture and of the patch where the two meet, or None."""
    h, w = patch.outline.shape
    y0, x0 = patch.y + dy, patch.x + dx
    top, left, low, right = max(y0, 0), max(x0, 0), min(y0 + h, shape[0]), min(x0 + w, shape[1])
    if top >= low or left >= right:
        return None
    return (slice(top, low), slice(left, right)), (slice(top - y0, low - y0), slice(left - x0, right - x0))


def _throw_shadow(picture, patch, sit):
    """Darken the floor beside and under a body, and brighten it where the body gathers light."""
    light, half = sit.light, 2  # shadows are soft: half the resolution will do
    tall_px = min(patch.body.reach_um, 130.0) / sit.um_per_px / half
    pad = int(tall_px * 1.2) + 3
    dense = np.pad(1 - patch.through[::half, ::half].mean(-1), pad)
    lean = -light.toward[:2] / max(light.toward[2], 0.35) * tall_px * 0.55
    soft = 0.10 * tall_px + 0.22 * tall_px * light.softness
    direct = light.lamp.mean() * light.toward[2]
    share = direct / (direct + light.ambient.mean())
    cast = ndimage.shift(ndimage.gaussian_filter(dense, soft, truncate=2.5), lean[::-1], order=1)
    contact = ndimage.gaussian_filter(dense, 0.22 * tall_px, truncate=2.5)
    shade = (1 - (0.55 + sit.shadow) * share * cast) * (1 - sit.shadow * (1 - share) * contact)
    if patch.body.caustic:
        spot = np.pad(patch.cover[::half, ::half], pad) * (1 - 0.7 * dense)
        spot = ndimage.shift(ndimage.gaussian_filter(spot**2, 0.28 * tall_px, truncate=2.5), 1.25 * lean[::-1], order=1)
        shade = shade + patch.body.caustic * share * np.clip(spot - 0.25, 0, None)
    shade = ndimage.zoom(np.clip(shade, 0.05, None).astype(np.float32), half, order=1, grid_mode=True, mode="nearest")
    wide = Patch(patch.x - pad * half, patch.y - pad * half, None, None, None, shade, patch.body)
    found = _window(wide, picture.shape)
    if found:
        picture[found[0]] *= shade[found[1]][..., None]


def compose(rng, sit):
    """Draw the scene.

    Returns
    -------
    picture, mask, objects
        Linear colours, object numbers, and (number, patch, whole-in-picture area) of all that may show.
    """
    picture, inside = floor_of(rng, sit)
    picture = np.clip(picture, 0, None)
    mask = np.zeros(picture.shape[:2], np.int32)
    bodies = _bodies(rng, sit)
    ray_um = 8.0 if sit.um_per_px < 7 else sit.um_per_px
    haze, objects = rng.uniform(0.0, 0.9) * (0.3 + sit.rough), []
    for body, (x, y) in zip(bodies, _places(rng, sit, bodies, inside), strict=True):
        fine = {"shell": 0.75, "nauplius": 1.1}.get(body.stage, 1.0)  # thin walls want closer rays
        patch = carve(body, x, y, sit.um_per_px, sit.light, fine * ray_um)
        off = abs(rng.normal(0, haze)) * 4.5 / sit.um_per_px  # lies above or below the plane of focus
        if off > 0.35:
            patch.through = ndimage.gaussian_filter(patch.through, (min(off, 1.7),) * 2 + (0,), truncate=2.5)
            patch.glow = ndimage.gaussian_filter(patch.glow, (min(off, 1.7),) * 2 + (0,), truncate=2.5)
        objects.append(patch)
    if sit.light.mode == "above":
        for patch in objects:
            _throw_shadow(picture, patch, sit)
    drawn = []
    for number, patch in enumerate(objects, 1):
        found = _window(patch, mask.shape)
        alone = 0
        if found:
            there, here = found
            picture[there] = picture[there] * patch.through[here] + patch.glow[here]
            outline = patch.outline[here]
            mask[there][outline] = number
            alone = int(outline.sum())
        drawn.append((number, patch, alone))
    return picture, mask, drawn


def truth(sit, mask, drawn):
    """Renumber what shows and list it: the mask and the rows of truth.csv without the photo's name."""
    h, w = mask.shape
    areas = np.bincount(mask.ravel(), minlength=len(drawn) + 1)
    new, rows = np.zeros(len(drawn) + 1, np.int32), []
    boxes = ndimage.find_objects(mask, max_label=len(drawn))
    for number, patch, alone in drawn:
        if areas[number] < LEAST_PX:
            continue
        new[number] = len(rows) + 1
        box = boxes[number - 1]
        ys, xs = np.nonzero(mask[box] == number)
        whole_y, whole_x = np.nonzero(patch.outline)
        cx, cy = whole_x.mean() + 0.5 + patch.x, whole_y.mean() + 0.5 + patch.y
        left, right = whole_x.min() + patch.x, whole_x.max() + 1 + patch.x
        top, low = whole_y.min() + patch.y, whole_y.max() + 1 + patch.y
        rows.append(
            {
                "object_id": int(new[number]),
                "stage": patch.body.stage,
                "x_px": round(float(xs.mean() + 0.5 + box[1].start), 2),
                "y_px": round(float(ys.mean() + 0.5 + box[0].start), 2),
                "x0": int(box[1].start),
                "y0": int(box[0].start),
                "x1": int(box[1].stop),
                "y1": int(box[0].stop),
                "visible_area_px": int(areas[number]),
                "visible_fraction": round(float(areas[number] / alone), 4),
                "touches_edge": int(left <= 0 or top <= 0 or right >= w or low >= h),
                "detail": patch.body.detail,
                "in_frame": int(0 <= cx < w and 0 <= cy < h),
                "length_um": round(float(patch.body.length_um), 1),
                "whole_area_px": int(patch.outline.sum()),
            }
        )
    return new[mask], rows
