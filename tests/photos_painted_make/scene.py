"""One photo: who is there, where they lie, how they are lit, and the truth."""

import numpy as np
from camera import choose_camera, expose
from cysts import choose_cyst, choose_shell, choose_umbrella, draw_cyst, draw_shell, draw_umbrella
from debris import choose_debris, draw_debris
from dirt import litter, veil_and_dust
from floors import FLOORS
from light import crop, finish, lay
from nauplius import choose_nauplius, draw_nauplius
from noise import fractal
from palette import palette

KINDS = {"bright": 6, "chamber": 3, "wide": 2, "black": 3, "dark": 3, "grey": 2, "white": 2, "dish": 4, "sieve": 5}
SCALE = {
    "bright": (4, 6.5),
    "chamber": (4.5, 7),
    "wide": (10, 12.5),
    "black": (5, 9),
    "dark": (4, 7),
    "grey": (6, 10),
    "white": (6, 10),
    "dish": (7, 11),
    "sieve": (6, 12),
}
CROWD = {"wide": (110, 240), "dish": (90, 220), "sieve": (60, 170)}
STAGES = ("nauplius", "umbrella", "cyst", "shell", "debris")
CHOOSE = {
    "nauplius": choose_nauplius,
    "umbrella": choose_umbrella,
    "cyst": choose_cyst,
    "shell": choose_shell,
    "debris": choose_debris,
}
DRAW = {
    "nauplius": draw_nauplius,
    "umbrella": draw_umbrella,
    "cyst": draw_cyst,
    "shell": draw_shell,
    "debris": draw_debris,
}
LEAST_VISIBLE = 0.3


def choose_look(rng, kind, number):
    """Scale, size and light of one photo."""
    um_px = rng.uniform(*SCALE[kind])
    shape = [(900, 1200), (912, 1216), (864, 1152), (900, 1260), (936, 1176)][rng.integers(5)]
    look = {
        "um_px": um_px,
        "shape": shape,
        "ss": 3 if um_px < 9 else 4,
        "mode": "above",
        "sun": rng.uniform(0, 6.28),
        "sun_height": rng.uniform(0.8, 1.6),
        "ambient": rng.uniform(0.35, 0.65),
        "wet": rng.uniform(0, 0.5),
        "front": rng.uniform(0.75, 1.0),
        "shadow": rng.uniform(0.3, 0.65),
        "shadow_len": rng.uniform(0.35, 1.0),
        "caustic": rng.uniform(0.1, 0.45),
        "meniscus": 0.0,
        "oblique": 0.0,
        "refraction": rng.uniform(0.06, 0.22),
        "glow": rng.uniform(0.8, 1.3),
        "focus": rng.uniform(0.1, 0.9),
        "depth": rng.uniform(0.3, 3.2),
        "halo": rng.uniform(0.0, 0.4),
    }
    if kind in ("bright", "wide", "chamber"):
        look["mode"] = "below"
        look["oblique"] = rng.uniform(0.1, 0.4) if rng.random() < 0.4 else 0.0
    elif kind == "dark":
        look["mode"] = "dark"
    elif kind == "dish":
        look["floor"] = ("black", "white", "grey", "black", "white")[number % 5]
    elif kind == "sieve":
        look["meniscus"] = rng.uniform(0.15, 0.6)
        if number % 2:
            look.update(mode="both", front=rng.uniform(0.34, 0.52), shadow=0.0)
    return look


def choose_lot(rng):
    """Sizes and shares of one lot and one hatch."""
    bare = rng.random() < 0.12
    return {
        "cyst_um": rng.uniform(215, 262),
        "nauplius_um": rng.uniform(415, 485),
        "instar2_share": rng.choice((0.0, 0.1, 0.5), p=(0.4, 0.4, 0.2)),
        "dead_share": rng.choice((0.0, 0.05, 0.15)),
        "beat_share": rng.uniform(0, 0.4),
        "cyst_kinds": (0.1, 0.05, 0.85) if bare else (0.9, 0.08, 0.02),
    }


def choose_stages(rng, look, kind, hatched):
    """List of stages to be placed, limited by the ground they cover."""
    low, high = CROWD.get(kind, (40, 130))
    h, w = look["shape"]
    ground = h * w * look["um_px"] ** 2
    room = ground * rng.uniform(0.10, 0.2) / 62000
    n = int(np.clip(rng.uniform(low, high), 40 if ground > 2.2e7 else 32, max(room, 40)))
    rate = rng.uniform(0.2, 0.8)
    shares = np.array(
        [
            rate,
            0.08 * rng.random() + 0.02,
            (1 - rate) * rng.uniform(0.3, 1),
            0.15 + 0.5 * rate * rng.random(),
            rng.uniform(0.02, 0.14),
        ]
    )
    if not hatched:
        return ["debris"] * int(rng.integers(15, 40))
    return list(rng.choice(STAGES, n, p=shares / shares.sum()))


def _radius(stage, body):
    """Radius (micrometres) of the ground that a body wants for itself."""
    if stage == "nauplius":
        return 0.30 * body["length"] * (0.6 + 0.4 * np.cos(body["pitch"]))
    if stage == "debris":
        return 0.36 * body["size"] if body["kind"] != "fibre" else 100
    return body["d"] * (0.75 if stage == "umbrella" else 0.52)


def place(rng, radii, look, ground):
    """Positions (micrometres), some touching; None where there is no room."""
    h, w = look["shape"]
    um = look["um_px"]
    spots = []
    for r in radii:
        spots.append(None)
        friends = [s for s in spots if s]
        for _ in range(50):
            x, y = rng.uniform(-60, w * um + 60), rng.uniform(-60, h * um + 60)
            close = friends and rng.random() < 0.16
            if close:
                fx, fy, fr = friends[rng.integers(len(friends))]
                aim, gap = rng.uniform(0, 6.3), (r + fr) * rng.uniform(0.78, 1.05)
                x, y = fx + gap * np.cos(aim), fy + gap * np.sin(aim)
            if not (-60 < x < w * um + 60 and -60 < y < h * um + 60):
                continue
            if ground is not None:
                row, col = int(np.clip(y / um, 0, h - 1)), int(np.clip(x / um, 0, w - 1))
                if not ground[row, col] or not (0 < x < w * um and 0 < y < h * um):
                    continue
            loose = 0.76 if close else 0.98
            if all(np.hypot(x - a, y - b) > loose * (r + c) for a, b, c in friends):
                spots[-1] = (x, y, r)
                break
    return spots


def label(layers, shape, ground):
    """Instance mask: the topmost body wins; 1-based place in the list."""
    mask = np.zeros(shape, np.uint16)
    for k, layer in enumerate(layers, 1):
        solid, where = crop(layer, shape, "solid")
        if solid is not None:
            mask[where][solid] = k
    if ground is not None:
        mask[~ground] = 0
    return mask


def draw_bodies(rng, look, kind, hatched, ground):
    """Finished layers of all bodies, lowest first, and the instance mask."""
    pale_floor = kind in ("grey", "white") or look.get("floor") in ("grey", "white")
    lot, pigments = choose_lot(rng), palette(rng, pale_floor)
    stages = choose_stages(rng, look, kind, hatched)
    bodies = [CHOOSE[s](rng, lot) for s in stages]
    spots = place(rng, [_radius(s, b) for s, b in zip(stages, bodies)], look, ground)
    layers = []
    for stage, body, spot in zip(stages, bodies, spots):
        if spot is None:
            continue
        pose = (spot[0], spot[1], rng.uniform(0, 2 * np.pi))
        canvas = DRAW[stage](rng, body, pose, look, pigments)
        z = rng.normal(0.65 if stage == "nauplius" else 0.35, 0.24)
        sigma = min(abs(z - look["focus"]) * look["depth"] * 5 / look["um_px"], 2.4)
        layer = finish(canvas, look, sigma)
        layer.update(stage=stage, body=body, z=z, centre=canvas.centre())
        layers.append(layer)
    layers.sort(key=lambda one: one["z"])
    for _ in range(3):  # what is nearly hidden is not drawn at all
        mask = label(layers, look["shape"], ground)
        visible = np.bincount(mask.ravel(), minlength=len(layers) + 1)[1:]
        keep = [n >= LEAST_VISIBLE * one["solid"].sum() for n, one in zip(visible, layers)]
        if all(keep):
            break
        layers = [one for one, good in zip(layers, keep) if good]
    return layers, label(layers, look["shape"], ground)


def _detail(layer):
    """Short code of the form or pose."""
    body = layer["body"]
    if layer["stage"] != "nauplius":
        return body["kind"]
    return "dead" if body["dead"] else "instar2" if body["second"] else body["view"]


def truth_rows(layers, mask, photo):
    """One row per body with a visible part; places count from the middle of the first pixel."""
    h, w = mask.shape
    rows = []
    for k, layer in enumerate(layers, 1):
        top, left = max(layer["y0"], 0), max(layer["x0"], 0)
        bottom, right = layer["y0"] + layer["solid"].shape[0], layer["x0"] + layer["solid"].shape[1]
        ys, xs = np.nonzero(mask[top : max(bottom, 0), left : max(right, 0)] == k)
        if not len(ys):
            continue
        x, y = layer["centre"]
        whole = int(layer["solid"].sum())
        x0, y0, x1, y1 = left + xs.min(), top + ys.min(), left + xs.max() + 1, top + ys.max() + 1
        body = layer["body"]
        rows.append(
            {
                "photo": photo,
                "object_id": k,
                "stage": layer["stage"],
                "x_px": round(left + float(xs.mean()) + 0.5, 2),
                "y_px": round(top + float(ys.mean()) + 0.5, 2),
                "x0": x0,
                "y0": y0,
                "x1": x1,
                "y1": y1,
                "visible_area_px": len(ys),
                "visible_fraction": round(min(1.0, len(ys) / whole), 3),
                "touches_edge": int(x0 == 0 or y0 == 0 or x1 == w or y1 == h),
                "detail": _detail(layer),
                "in_frame": int(-0.5 <= x < w - 0.5 and -0.5 <= y < h - 0.5),
                "length_um": round(float(body.get("length", body.get("d", body.get("size")))), 1),
                "whole_area_px": whole,
            }
        )
    return rows


def draw(seed, kind, number, hatched=True):
    """Draw one photo: (name, picture, mask, row of photos.csv, rows of truth.csv, camera)."""
    rng = np.random.default_rng([seed, list(KINDS).index(kind), number, int(not hatched)])
    name = f"s{seed}-{kind}-{number}"
    look = choose_look(rng, kind, number)
    image, ground = FLOORS[kind](rng, look["shape"], look["um_px"], look)
    image = image.astype(np.float32)
    litter(rng, image, look)
    layers, mask = draw_bodies(rng, look, kind, hatched, ground)
    for layer in layers:
        lay(image, layer, look)
    veil_and_dust(rng, image, look, fractal(rng, look["shape"], 35, 5))
    camera = choose_camera(rng, kind)
    picture = expose(rng, image, camera)
    rows = truth_rows(layers, mask, name)
    h, w = look["shape"]
    row = {
        "photo": name,
        "kind": kind,
        "um_per_px": round(look["um_px"], 4),
        "width_px": w,
        "height_px": h,
        "light": "below" if look["mode"] in ("below", "both") else look["mode"],
    }
    row |= {f"n_{s}": sum(r["stage"] == s and r["in_frame"] for r in rows) for s in STAGES}
    return name, picture, mask, row, rows, camera
