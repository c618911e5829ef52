"""The kinds of photo: what stands under the sample, which lamps, which camera, how big and how full."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy import ndimage
from sliced_camera import DOCUMENT, MACRO, PHONE, USB, Device
from sliced_floors import card, cloud, dish, grid, lit_field, rulings, weave
from sliced_light import Lamp
from sliced_sample import Mix
from sliced_scene import Stage


class Setting(NamedTuple):
    """All that a photo is taken with."""

    stage: Stage
    lamp: Lamp
    mix: Mix
    device: Device
    floor: np.ndarray
    light: str
    notes: str
    exposure: tuple
    finish: Callable  # (fine picture, things, rng) -> fine picture
    may_be_round: bool = False


def _lamps(rng, kind) -> Lamp:
    """Return the lamps of a kind: one below, a ring round the lens, a desk lamp and a window, or a dark-field ring."""
    none = np.zeros((0, 3)), np.zeros(0)
    if kind == "through":
        ways, powers = none
        ambient, tint = 0.0, _tint(rng, 0.04)
        if rng.random() < 0.6:  # room light or a ring on as well
            ways, powers = _ring(rng, 3, rng.uniform(0.6, 1.1)), np.full(3, rng.uniform(0.05, 0.16))
        return Lamp(1.0, ways, powers, ambient, tint, rng.uniform(0.14, 0.30), 0.0, 0.4)
    if kind == "around":
        ways = _ring(rng, 4, 0.45) * [1, 1, -1]
        return Lamp(0.0, ways, np.full(4, rng.uniform(0.15, 0.24)), 0.05, _tint(rng, 0.05), 0.16, rng.uniform(0.3, 0.6))
    if rng.random() < 0.5:
        ways, powers = _ring(rng, 3, rng.uniform(0.8, 1.3)), np.full(3, 0.27)
    else:
        ways = np.vstack([_ring(rng, 1, rng.uniform(0.6, 1.2)), _ring(rng, 1, rng.uniform(0.4, 1.0))])
        powers = np.array([0.6, rng.uniform(0.1, 0.3)])
    return Lamp(0.0, ways, powers, rng.uniform(0.12, 0.4), _tint(rng, 0.05), 0.3, 0.0)


def _tint(rng, spread):
    return np.exp(rng.normal(0, spread) * np.array([1, 0.1, -1.2])).astype(np.float32)


def _ring(rng, n, elevation):
    a = rng.uniform(0, 6.28) + np.arange(n) * 2 * np.pi / n
    return np.stack([np.cos(a) * np.cos(elevation), np.sin(a) * np.cos(elevation), np.full(n, np.sin(elevation))], 1)


def _size(rng, um_per_px):
    width, height = [(1600, 1200), (1280, 960), (1536, 1152), (1440, 1080), (1700, 1134), (1360, 1020)][rng.integers(6)]
    return (width, height, um_per_px, 2 if um_per_px > 6.5 else 1)


def setting(kind: str, rng) -> Setting:
    """Return a photo's setting, drawn by chance."""
    low, high = {"bright": (3.5, 5.5), "dark": (3.6, 5.5), "chamber": (4, 6.5), "black": (4.5, 8), "grey": (5, 9)}.get(
        kind, {"white": (5, 9), "dish": (8, 12.5), "sieve": (8, 12), "wide": (10, 14)}.get(kind)
    )
    width, height, um, fine = _size(rng, rng.uniform(low, high))
    shape, step = (height * fine, width * fine), um / fine
    inside = np.ones((height, width), bool)
    light = "transmitted" if kind in ("bright", "chamber") or (kind == "wide" and rng.random() < 0.5) else "incident"
    light = "dark field" if kind == "dark" else light
    lamp = _lamps(rng, {"transmitted": "through", "dark field": "around"}.get(light, "above"))
    notes = ""
    if light == "transmitted":
        floor = lit_field(rng, shape, step) * lamp.tint
        if kind == "chamber":
            lines, notes = rulings(rng, shape, step)
            floor *= lines
    elif kind == "dish":
        floor, water = dish(rng, shape, step)
        inside = water[::fine, ::fine]
        notes = "rim in view" if not water.all() else "in a dish"
    elif kind == "sieve":
        floor, notes = weave(rng, shape, step)
    else:
        floor = card(rng, shape, step, *_card_of(rng, kind))
    if light != "transmitted":
        floor = floor * (lamp.powers * np.abs(lamp.ways[:, 2])).sum() + floor * lamp.ambient
        floor *= lamp.tint
    stage = Stage(
        width, height, um, fine, rng.uniform(0.025, 0.06), rng.uniform(60, 180), rng.choice([0.95, 0.82, 0.72]), inside
    )
    device = _device(rng, kind)
    finish = _wet_film(stage, lamp) if kind == "sieve" else _reflections(stage, kind, light, rng)
    exposure = _exposure(rng, kind, light)
    return Setting(
        stage,
        lamp,
        _mix(rng, kind, stage),
        device,
        floor,
        light,
        notes,
        exposure,
        finish,
        light != "incident" or kind == "black",
    )


def _exposure(rng, kind, light):
    """Return a percentile and the level that the camera brings it to; or no percentile and a gain, set by hand."""
    if kind == "black":
        return None, rng.uniform(0.65, 1.0)
    if kind == "dark":
        return 99.5, rng.uniform(0.45, 0.75)
    level = {"grey": 0.42, "sieve": 0.5, "dish": 0.58}.get(kind, 0.66)
    return 95, level * rng.uniform(0.8, 1.15)


def _card_of(rng, kind):
    shade = {"black": (0.004, 0.022), "dark": (0.003, 0.008), "grey": (0.2, 0.38)}.get(kind, (0.66, 0.82))
    cast = np.exp(rng.normal(0, 0.03, 3))
    return rng.uniform(*shade) * cast, {"black": 0.13, "dark": 0.1, "grey": 0.09}.get(kind, 0.025)


def _device(rng, kind):
    choices = {
        "bright": (PHONE, PHONE, USB, MACRO),
        "dark": (PHONE, USB),
        "chamber": (PHONE, USB, MACRO),
        "black": (USB, USB, PHONE, MACRO),
        "dish": (PHONE, DOCUMENT, MACRO),
        "sieve": (PHONE, MACRO),
        "wide": (DOCUMENT, MACRO, USB),
    }.get(kind, (DOCUMENT, USB, MACRO))
    return choices[rng.integers(len(choices))]


def _mix(rng, kind, stage):
    area = stage.width * stage.height * stage.um_per_px**2 / 1e6  # mm2
    most = np.clip(2.6 * area, 45, 150)
    counted = int(rng.uniform(25, most) if area < 60 else rng.uniform(45, 150))
    wet = {"sieve": "stuck", "chamber": "flat", "white": "flat"}.get(kind, "deep" if rng.random() < 0.7 else "flat")
    deep = rng.uniform(300, 1300) if wet == "deep" else rng.uniform(60, 250)
    return Mix(counted, int(rng.integers(3, 16)), wet, rng.choice([0.0, 0.25, 0.6]), deep)


def _reflections(stage, kind, light, rng):
    """Return what the lamps' mirror images in the water do: a ring of small bright spots, or nothing."""
    shows = light == "incident" and kind in ("black", "grey", "dish") and rng.random() < 0.4

    def finish(fine, things, rng):
        if not shows:
            return fine
        y, x = grid(fine.shape[:2], stage.step_um)
        size = np.array([stage.width, stage.height]) * stage.um_per_px
        centre = size * rng.uniform(0.25, 0.75, 2)
        ring, spot = rng.uniform(0.05, 0.16) * size[1], rng.uniform(0.006, 0.011) * size[1]
        bright = np.percentile(fine, 99)
        for a in np.arange(8) * np.pi / 4 + rng.uniform(0, 1):
            cx, cy = centre + ring * np.array([np.cos(a), np.sin(a)]) * rng.uniform(0.93, 1.07)
            d = np.hypot((x - cx) / rng.uniform(0.8, 1.2), y - cy)
            fine += (bright * 1.6 / (1 + np.exp(np.clip((d - spot) / (spot / 5), -30, 30))))[..., None]
        return fine

    return finish


def _wet_film(stage, lamp):
    """Return what a film of water does on a mesh: it climbs what lies there, and its slopes mirror the lamps."""

    def finish(fine, things, rng):
        shape = fine.shape[:2]
        lies = np.zeros(shape, np.float32)
        for thing in things:
            y0, x0 = max(thing.y, 0), max(thing.x, 0)
            part = thing.layer.outline[y0 - thing.y : shape[0] - thing.y, x0 - thing.x : shape[1] - thing.x]
            lies[y0 : y0 + part.shape[0], x0 : x0 + part.shape[1]] += part
        lies = np.minimum(lies, 1)
        near = 60 * ndimage.gaussian_filter(lies, 45 / stage.step_um)
        film = near + rng.uniform(3, 7) * cloud(rng, shape, 420 / stage.step_um, 3)
        gy, gx = np.gradient(film, stage.step_um)
        wet = np.clip(0.6 + 0.6 * cloud(rng, shape, 2500 / stage.step_um, 2), 0, 1)
        fine *= (1 - 0.12 * np.clip(np.hypot(gx, gy) * 3, 0, 1) * wet)[..., None]
        bright = np.percentile(fine, 98)
        for way, power in zip(lamp.ways, lamp.powers):
            half = way + np.array([0, 0, 1])
            half /= np.linalg.norm(half)
            off = (gx + half[0] * 0.55) ** 2 + (gy + half[1] * 0.55) ** 2
            fine += (bright * 1.5 * min(2.5 * power, 1) * wet * np.exp(-off / 0.0022))[..., None]
        return fine

    return finish
