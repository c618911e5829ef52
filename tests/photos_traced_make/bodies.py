"""From rays to picture elements: what each body does to light, pixel by pixel."""

import animals
import eggs
import numpy as np
from scipy import ndimage
from sheet import FAR, Sheet

SHELLS = {"slit": 0.42, "cup": 0.28, "halves": 0.2, "half": 0.1}
UMBRELLAS = {"emerging": 0.3, "hanging": 0.42, "membrane": 0.28}


def pick(rng, weights):
    """One key of a mapping key -> weight."""
    keys = list(weights)
    p = np.array([weights[k] for k in keys], float)
    return keys[rng.choice(len(keys), p=p / p.sum())]


def plan_body(rng, lot, stage):
    """Choose kind and size of a body: (painter, size, reach in um, detail)."""
    egg = np.clip(rng.normal(lot["cyst_um"], lot["cyst_sd"]), 185, 300)
    if stage == "cyst":
        detail = pick(
            rng, {"": 1 - lot["dented"] - lot["bare_share"], "dented": lot["dented"], "bare": lot["bare_share"]}
        )
        egg = egg * 0.92 if detail == "bare" else egg
        return eggs.draw_cyst, egg, eggs.cyst_reach(egg), detail
    if stage == "shell":
        return eggs.draw_shell, egg, eggs.shell_reach(egg), pick(rng, SHELLS)
    if stage == "umbrella":
        return eggs.draw_umbrella, egg, eggs.umbrella_reach(egg), pick(rng, UMBRELLAS)
    if stage == "nauplius":
        detail = pick(rng, {"": 1, "instar2": lot["second_share"], "dead": lot["dead_share"]})
        length = max(rng.normal(lot["nauplius_um"], 22), 380)
        length *= rng.uniform(1.2, 1.55) if detail == "instar2" else 1
        return animals.draw_nauplius, length, animals.nauplius_reach(length), detail
    detail = pick(rng, lot["dirt"])
    painter, (low, high), reach = animals.DEBRIS[detail]
    size = rng.uniform(low, high)
    return painter, size, reach * size, detail


def blocks(field, fine):
    """Mean over fine x fine rays: the value of each pixel."""
    rows = sum(field[i::fine] for i in range(fine))
    return sum(rows[:, i::fine] for i in range(fine)) * np.float32(1 / fine**2)


def trim(sheet, pad_px):
    """Cut the empty margin off a sheet, in whole pixels (in place)."""
    fine = sheet.fine
    full = (sheet.scatter > 0) | (sheet.top > FAR / 2)
    rows, cols = np.flatnonzero(full.any(1)), np.flatnonzero(full.any(0))
    if not len(rows):
        return
    y0, x0 = (max(k[0] // fine - pad_px, 0) for k in (rows, cols))
    y1, x1 = (k[-1] // fine + 1 + pad_px for k in (rows, cols))
    part = (slice(y0 * fine, y1 * fine), slice(x0 * fine, x1 * fine))
    for key in ("od", "tint", "scatter", "phase", "gloss", "top", "hull"):
        setattr(sheet, key, getattr(sheet, key)[part])
    sheet.x0, sheet.y0 = sheet.x0 + x0, sheet.y0 + y0


def finish(sheet, height_um, smooth_um=9.0):
    """Optics per pixel of a drawn sheet, as a dict of small maps and the corner (x0, y0)."""
    fine, step = sheet.fine, sheet.step
    inside = sheet.top > FAR / 2
    floor = np.percentile(sheet.top[inside][::7], 2) if inside.any() else np.float32(0)
    relief = ndimage.gaussian_filter(np.where(inside, sheet.top, floor), smooth_um / step)
    gy, gx = np.gradient(relief, step)
    slope = np.sqrt(1 + gx**2 + gy**2)
    py, px = np.gradient(ndimage.gaussian_filter(sheet.phase, 1.5 / step), step)
    scatter = sheet.scatter[..., None]
    alpha = 1 - np.exp(-sheet.scatter)
    colour = np.where(scatter > 1e-4, sheet.tint / np.maximum(scatter, 1e-4), 0)
    cover = blocks(inside.astype(np.float32), fine)
    weight = blocks(alpha, fine)[..., None]
    return {
        "x0": sheet.x0,
        "y0": sheet.y0,
        "height": height_um,
        "trans": blocks(np.exp(-sheet.od), fine),
        "alpha": blocks(alpha, fine),
        "colour": blocks(colour * alpha[..., None], fine) / np.maximum(weight, 1e-3),
        "nx": blocks(-gx / slope, fine),
        "ny": blocks(-gy / slope, fine),
        "nz": blocks(1 / slope, fine),
        "px": blocks(px, fine),
        "py": blocks(py, fine),
        "gloss": blocks(sheet.gloss, fine),
        "cover": cover,
        "tall": blocks(np.where(inside, sheet.top - floor, 0), fine),
        "hull": blocks(sheet.hull.astype(np.float32), fine) > 0.45,
    }


def defocus(body, sigma_px):
    """Blur the optics of one body that lies out of focus (in place)."""
    if sigma_px < 0.35:
        return body
    for key in ("trans", "colour"):
        body[key] = ndimage.gaussian_filter(body[key], (sigma_px, sigma_px, 0), mode="nearest")
    for key in ("alpha", "nx", "ny", "px", "py", "gloss", "cover"):
        body[key] = ndimage.gaussian_filter(body[key], sigma_px, mode="nearest")
    return body


def build(plan, um_per_px, focus_um, blur_per_um):
    """Draw a planned body (see `crowd`) and return its optics with the truth's fields."""
    rng = np.random.default_rng(plan["seed"])
    fine = 2 if um_per_px < 8.5 else 3
    blur = abs(plan["height"] - focus_um) * blur_per_um
    sheet = Sheet((plan["x"], plan["y"]), plan["reach"], um_per_px, fine, 2 + int(3 * blur))
    plan["paint"](sheet, rng, plan["lot"], plan["size"], plan["detail"])
    trim(sheet, 3 + int(3 * blur))
    # Joints of a chain of capsules bulge by a micrometre or two; skin does not.
    smooth = 14.0 if plan["stage"] in ("nauplius", "umbrella") else 8.0
    body = defocus(finish(sheet, plan["height"], smooth), blur)
    body["plan"] = plan
    return body
