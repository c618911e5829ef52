"""Floors without anything on them, as light (M, N, 3) in 0 to 1: woven meshes, rulings, paper, the rim of a dish.

Drawn for the tests only, by nothing that training uses.
"""

import numpy as np
from scipy.ndimage import gaussian_filter


def turned(rng, size, um_per_px):
    """Two axes at right angles, turned a little. [µm]"""
    y, x = np.mgrid[: size[0], : size[1]] * um_per_px
    angle = rng.uniform(-0.4, 0.4)
    return x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)


def woven(rng, size, um_per_px, opening_um, *, below, wire_share=0.6):
    """A plain weave of round wires that pass over and under each other, lit from below or from above."""
    wire_um = wire_share * opening_um
    pitch = opening_um + wire_um
    u, v = turned(rng, size, um_per_px)
    top, shade = np.full(size, -np.inf), np.zeros(size)
    for sign, across, along in ((1, u, v), (-1, v, u)):
        number = np.floor(across / pitch)
        away = (across / pitch - number - 0.5) * pitch
        round_ = np.sqrt(np.maximum((wire_um / 2) ** 2 - away**2, 0))
        height = round_ + sign * wire_um / 2 * np.cos(np.pi * (along / pitch + number))
        over = (np.abs(away) < wire_um / 2) & (height > top)
        lit = 0.35 + 0.65 * np.clip(1.6 * round_ / wire_um + 0.8 * rng.choice([-1, 1]) * away / wire_um, 0, 1.2)
        top[over], shade[over] = height[over], lit[over]
    wires = np.isfinite(top)
    if below:
        return coloured(rng, np.where(wires, 0.02 + 0.04 * shade, 0.85))
    return coloured(rng, np.where(wires, rng.uniform(0.35, 0.7) * shade, rng.choice([0.02, 0.2, 0.75])))


def ruled(rng, size, um_per_px, pitch_um, *, width_um=14.0, gap_um=0.0, depth=0.7):
    """Etched or printed lines both ways, double where a gap is given, every fifth one heavier."""
    light = np.full(size, 0.85)
    for across in turned(rng, size, um_per_px):
        for shift in (0.0, gap_um):
            number = np.round((across + shift) / pitch_um)
            away = np.abs(across + shift - number * pitch_um)
            wide = np.where(number % 5 == 0, 1.8, 1.0) * width_um
            light = np.minimum(light, 0.85 * (1 - depth * np.clip((wide / 2 - away) / um_per_px + 0.5, 0, 1)))
    return coloured(rng, light)


def rimmed(rng, size, um_per_px, level):
    """A dish whose rim crosses the picture: the floor, a bright wall with two edges, and what lies beyond."""
    y, x = np.mgrid[: size[0], : size[1]]
    radius = 1.3 * size[1]
    far = (np.hypot(y - size[0] / 2, x - size[1] / 2 + 0.95 * radius) - radius) * um_per_px
    wall = np.exp(-(((far - 300) / 220) ** 2)) * 0.5 - 0.4 * np.exp(-((far / 25) ** 2))
    return coloured(rng, np.where(far < 650, level * (1 + wall), 0.5 * level))


def coloured(rng, light):
    """Tinted."""
    return light[..., None] * np.exp(rng.normal(0, 0.05, 3))


def photographed(rng, light, um_per_px):
    """An uneven lamp, a lens, a sensor: (M, N, 3) of uint8."""
    light = gaussian_filter(light, (*[rng.uniform(4, 9) / um_per_px] * 2, 0))
    y, x = np.mgrid[-1 : 1 : light.shape[0] * 1j, -1 : 1 : light.shape[1] * 1j]
    light = light * (1 + 0.15 * rng.normal() * x + 0.1 * rng.normal() * y)[..., None]
    light = light + rng.normal(0, 0.008, light.shape)
    return np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
