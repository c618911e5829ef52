"""From painted layers to light: shading, refraction, shadows, glare, focus."""

import numpy as np
from scipy import ndimage


def _slope(canvas, smooth_um):
    """Slope of the relief along x and y (rise over run)."""
    height = canvas.soften(canvas.height, smooth_um)
    gy, gx = np.gradient(height, canvas.um)
    return np.clip(gx, -2, 2), np.clip(gy, -2, 2)


def finish(canvas, look, sigma):
    """Reduce a canvas to photo pixels: what it passes, adds and hides."""
    mode = canvas.mode
    gx, gy = _slope(canvas, 4.0)
    sun = np.cos(look["sun"]), np.sin(look["sun"])
    layer = {"x0": canvas.x0, "y0": canvas.y0}
    if mode in ("below", "both"):
        steep = np.hypot(gx, gy)
        density = canvas.density + look["refraction"] * np.clip(steep, 0, 1.6)
        lean = look["oblique"] * (gx * sun[0] + gy * sun[1])
        passed = np.exp(-np.clip(density + lean, -0.35, 7))
        sharp = canvas.shrink(passed)
        layer["pass"] = _focus(sharp, sigma, 1.0)
        if sigma > 0.5:  # out of focus, light lost inside a body shows as a halo around it
            wide = _focus(sharp, 2.2 * sigma, 1.0)
            layer["pass"] = np.clip(layer["pass"] * (1 + look["halo"]) - look["halo"] * wide, 0, 1.3)
    if mode in ("above", "both"):
        tilt = 1 / np.sqrt(1 + gx**2 + gy**2)
        facing = (look["sun_height"] - gx * sun[0] - gy * sun[1]) * tilt
        lit = look["ambient"] + (1 - look["ambient"]) * np.clip(facing, 0, 2) / look["sun_height"]
        colour = canvas.colour * np.clip(lit, 0.1, 1.6)
        mirror = np.exp(-((gx + 0.5 * sun[0]) ** 2 + (gy + 0.5 * sun[1]) ** 2) / 0.01)
        colour += look["wet"] * mirror * canvas.alpha
        layer["add"] = _focus(canvas.shrink(colour), sigma, 0.0)
    if mode == "dark":
        layer["add"] = _focus(canvas.shrink(canvas.colour), sigma, 0.0) * look["glow"]
    if mode != "below":
        layer["hide"] = _focus(canvas.shrink(canvas.alpha), sigma, 0.0)
    layer["solid"] = canvas.shrink(canvas.solid) > 0.5
    layer["height"] = float(canvas.height.max())
    return layer


def _focus(array, sigma, outside):
    """Blur a layer as its distance from the focal plane asks."""
    if sigma < 0.3:
        return array
    blur = (sigma, sigma, 0)[: array.ndim]
    return ndimage.gaussian_filter(array, blur, mode="constant", cval=outside, truncate=3)


def crop(layer, shape, name):
    """Part of a layer inside the picture, and where it goes."""
    part = layer[name]
    top, left = max(0, layer["y0"]), max(0, layer["x0"])
    bottom = min(shape[0], layer["y0"] + part.shape[0])
    right = min(shape[1], layer["x0"] + part.shape[1])
    if bottom <= top or right <= left:
        return None, None
    inner = part[top - layer["y0"] : bottom - layer["y0"], left - layer["x0"] : right - layer["x0"]]
    return inner, (slice(top, bottom), slice(left, right))


def _shadow(image, layer, look):
    """Soft shadow beside a body, with the light it lets through in the middle."""
    hide = np.pad(layer["hide"], 16)
    reach = look["shadow_len"] * layer["height"] / look["um_px"]
    dx, dy = (reach * np.cos(look["sun"]), reach * np.sin(look["sun"]))
    soft = 1.0 + 0.35 * reach
    dark = ndimage.gaussian_filter(hide, soft, mode="constant")
    core = ndimage.gaussian_filter(hide, 2.2 * soft, mode="constant")
    clear = float(np.clip(1.2 - hide.max(), 0, 1)) + 0.15
    moved = {"x0": layer["x0"] - 16 + round(dx), "y0": layer["y0"] - 16 + round(dy), "dark": dark, "core": core}
    part, where = crop(moved, image.shape, "dark")
    if part is None:
        return
    bright = crop(moved, image.shape, "core")[0]
    factor = 1 - look["shadow"] * part + look["caustic"] * clear * np.clip(bright - 0.3, 0, 1)
    image[where] *= factor[..., None]


def _meniscus(image, layer, look):
    """Glare of the wet skin that creeps up a body's flank."""
    edge = ndimage.gaussian_filter(np.pad(layer["hide"], 8), 2.0, mode="constant")
    gy, gx = np.gradient(edge)
    glare = np.clip(gx * np.cos(look["sun"]) + gy * np.sin(look["sun"]), 0, 1) ** 1.5
    part, where = crop({"x0": layer["x0"] - 8, "y0": layer["y0"] - 8, "g": glare}, image.shape, "g")
    if part is not None:
        image[where] += (look["meniscus"] * part)[..., None]


def lay(image, layer, look):
    """Put one finished body into the picture (in place)."""
    if look["mode"] in ("above", "both") and look["shadow"] > 0:
        _shadow(image, layer, look)
    name = "pass" if "pass" in layer else "hide"
    part, where = crop(layer, image.shape, name)
    if part is None:
        return
    if look["mode"] == "below":
        image[where] *= part
        return
    added = crop(layer, image.shape, "add")[0]
    if "wires" in look:  # bodies rest on the wires and sag into the openings
        added = added * (0.84 + 0.16 * look["wires"][where])[..., None]
    if look["mode"] == "both":
        image[where] = image[where] * part + look["front"] * added
    elif look["mode"] == "dark":
        image[where] = image[where] * (1 - 0.6 * part[..., None]) + added
    else:
        image[where] = image[where] * (1 - part[..., None]) + look["front"] * added
    if look["meniscus"] > 0:
        _meniscus(image, layer, look)
