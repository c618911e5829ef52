"""What lies in a photo and where, and the truth about it."""

import numpy as np
from dirt import draw_debris
from eggs import draw_cyst, draw_shell, draw_umbrella
from nauplius import draw_nauplius
from scipy import ndimage

STAGES = ("nauplius", "umbrella", "cyst", "shell", "debris")
COARSE = 4  # pixels per cell of the map that keeps bodies apart


def look_of(rng):
    """What the bodies of one photo have in common: strain, yolk, chorion, age, health."""
    strain = float(rng.uniform(400, 520))
    return {
        "strain": round(strain),
        "cyst": float(np.clip(0.52 * strain + rng.normal(0, 10), 220, 300)),
        "yolk": rng.uniform(0.75, 1.25),
        "chorion": rng.uniform(0.8, 1.25),
        "second": rng.choice([0.0, rng.uniform(0.02, 0.12), rng.uniform(0.2, 0.5)], p=[0.5, 0.35, 0.15]),
        "dead": rng.choice([0.03, rng.uniform(0.08, 0.25)], p=[0.7, 0.3]),
        "hatch": float(np.clip(rng.beta(1.5, 1.2), 0.10, 0.97)),
        "umbrella": rng.choice(
            [rng.uniform(0.0, 0.06), rng.uniform(0.05, 0.12), rng.uniform(0.15, 0.3)], p=[0.6, 0.3, 0.1]
        ),
        "lugol": bool(rng.random() < 0.1),
        "tilt": rng.normal(1, 0.06, 3),
    }


def numbers(rng, look, total, harvest):
    """How many of each stage: cysts hatch by ``look['hatch']`` and leave their shells, some of which are lost."""
    left = rng.uniform(0.05, 0.4) if harvest else rng.uniform(0.35, 0.95)
    hatch = max(look["hatch"], rng.uniform(0.4, 0.9)) if harvest else look["hatch"]
    eggs = total / (1 + hatch * left)
    umbrella = round(eggs * look["umbrella"])
    nauplius = max(round(eggs * hatch), 3)
    cyst = max(round(eggs) - nauplius - umbrella, 2)
    shell = max(round(nauplius * left), 2)
    return {"nauplius": nauplius, "umbrella": umbrella, "cyst": cyst, "shell": shell}


def _stain(body):
    """Lugol's iodine: whatever holds tissue turns brown and opaque."""
    brown = np.minimum(body.scatter, 2.5)[..., None] * np.array([0.35, 0.62, 0.8], np.float32)
    body.absorb += brown
    body.dense += brown


def make_bodies(rng, look, counts, debris, um_per_px):
    """All bodies of a photo, not yet placed, in the order in which they lie on each other."""
    todo = [stage for stage, n in counts.items() for _ in range(n)] + ["debris"] * debris
    bodies = []
    for k in rng.permutation(len(todo)):
        stage = todo[k]
        if stage == "nauplius":
            body = draw_nauplius(rng, um_per_px, max(rng.normal(look["strain"], 0.045 * look["strain"]), 330), look)
        elif stage == "debris":
            body = draw_debris(rng, um_per_px, look)
        else:
            how = {"cyst": draw_cyst, "shell": draw_shell, "umbrella": draw_umbrella}[stage]
            body = how(rng, um_per_px, rng.normal(look["cyst"], 0.05 * look["cyst"]), look)
        if stage in ("nauplius", "cyst", "umbrella", "shell"):
            tone = np.asarray(look["tilt"] * np.exp(rng.normal(0, 0.05, 3)), np.float32)
            body.absorb *= tone
            body.dense *= tone
        if look["lugol"] and stage in ("nauplius", "umbrella"):
            _stain(body)
        swims = {"nauplius": 0.35, "shell": 0.2, "umbrella": 0.1, "debris": 0.15}.get(stage, 0.02)
        body.layer = int(rng.random() < swims)
        bodies.append(body)
    return sorted(bodies, key=lambda body: body.layer)


def place(rng, bodies, height, width, allowed, crossing, clumps):
    """Give each body its place: mostly apart, a share touching or crossing, some in clumps."""
    margin = 24
    cells = np.zeros(((height + 2 * margin) // COARSE + 1, (width + 2 * margin) // COARSE + 1), np.uint8)
    spots = [(rng.uniform(0, height), rng.uniform(0, width), rng.uniform(50, 0.3 * width)) for _ in range(clumps)]
    placed = []
    for body in bodies:
        h, w = body.outline.shape
        small = np.pad(body.outline, ((0, -h % COARSE), (0, -w % COARSE)))
        small = small.reshape(small.shape[0] // COARSE, COARSE, -1, COARSE).any(axis=(1, 3))
        area = max(int(small.sum()), 1)
        limit = rng.choice([0.0, 0.12, 0.35], p=[1 - crossing, 0.7 * crossing, 0.3 * crossing])
        best = None
        other = placed[rng.integers(len(placed))] if placed and limit > 0 else None  # to lie against or across it
        near = spots[rng.integers(len(spots))] if spots and rng.random() < 0.3 else None
        for attempt in range(40):
            if other is not None and attempt < 20:
                oh, ow = other.outline.shape
                reach, way = rng.uniform(0.15, 0.45) * (min(h, w) + min(oh, ow)), rng.uniform(0, 6.28)
                cy, cx = other.y_px + oh / 2 + reach * np.sin(way), other.x_px + ow / 2 + reach * np.cos(way)
            elif near is not None and attempt < 25:
                cy, cx = (near[k] + rng.normal(0, near[2] * (1 + 0.05 * attempt)) for k in (0, 1))
            else:
                cy, cx = rng.uniform(-10, height + 10), rng.uniform(-10, width + 10)
            if not (-10 <= cy < height + 10 and -10 <= cx < width + 10):
                continue
            y, x = int(cy - h / 2), int(cx - w / 2)
            if not allowed[int(np.clip(cy, 0, height - 1)), int(np.clip(cx, 0, width - 1))]:
                continue
            rows = np.arange(small.shape[0]) + (y + margin) // COARSE
            columns = np.arange(small.shape[1]) + (x + margin) // COARSE
            r, c = (rows >= 0) & (rows < cells.shape[0]), (columns >= 0) & (columns < cells.shape[1])
            there = small[np.ix_(r, c)]
            over = float((cells[np.ix_(rows[r], columns[c])] * there).sum()) / area
            if best is None or over < best[0]:
                best = (over, y, x, rows[r], columns[c], there)
            if over <= limit:
                break
        if best is None or best[0] > max(limit, 0.3):
            continue  # no room: fewer bodies, not a heap
        over, body.y_px, body.x_px, rows, columns, there = best
        grown = ndimage.binary_dilation(there, iterations=1) if limit == 0 else there
        cells[np.ix_(rows, columns)] |= grown.astype(np.uint8)
        placed.append(body)
    return placed


def truth(bodies, name, height, width):
    """Mask of object ids and the rows of truth.csv; a later body lies on an earlier one."""
    mask = np.zeros((height, width), np.int32)
    inside = {}
    for number, body in enumerate(bodies, 1):
        h, w = body.outline.shape
        a, b = np.clip((body.y_px, body.y_px + h), 0, height)
        c, d = np.clip((body.x_px, body.x_px + w), 0, width)
        cut = body.outline[a - body.y_px : b - body.y_px, c - body.x_px : d - body.x_px]
        mask[a:b, c:d][cut] = number
        inside[number] = int(cut.sum())
    seen = np.bincount(mask.ravel(), minlength=len(bodies) + 1)
    for number in np.flatnonzero(seen[1:] < 12) + 1:
        mask[mask == number] = 0
    rows = []
    boxes = ndimage.find_objects(mask, len(bodies))
    for number, body in enumerate(bodies, 1):
        box = boxes[number - 1]
        if box is None:
            continue
        y, x = np.nonzero(mask[box] == number)
        whole_y, whole_x = np.nonzero(body.outline)
        middle = whole_y.mean() + 0.5 + body.y_px, whole_x.mean() + 0.5 + body.x_px
        y0, x0, y1, x1 = box[0].start, box[1].start, box[0].stop, box[1].stop
        h, w = body.outline.shape
        cut = body.y_px <= 0 or body.x_px <= 0 or body.y_px + h >= height or body.x_px + w >= width
        edge = int(cut and (x0 == 0 or y0 == 0 or x1 == width or y1 == height))
        rows.append({
            "photo": name, "object_id": number, "stage": body.stage,
            "x_px": round(float(x.mean()) + 0.5 + x0, 2), "y_px": round(float(y.mean()) + 0.5 + y0, 2),
            "x0": x0, "y0": y0, "x1": x1, "y1": y1, "visible_area_px": len(y),
            "visible_fraction": round(len(y) / inside[number], 4), "touches_edge": edge, "detail": str(body.detail),
            "in_frame": int(0 <= middle[0] < height and 0 <= middle[1] < width),
            "length_um": float(body.length_um), "whole_area_px": len(whole_y),
        })  # fmt: skip
    return mask, rows
