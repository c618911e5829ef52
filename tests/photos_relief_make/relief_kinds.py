"""How each kind of photo is taken: lamp, floor, magnification, camera, and what is in the sample."""

from typing import NamedTuple

import numpy as np
import relief_floors as floors
from relief_camera import Device, any_device
from relief_light import Lamp
from relief_sample import Mix


class Setting(NamedTuple):
    """All that a photo is taken with."""

    width: int
    height: int
    um_per_px: float
    lamp: Lamp
    floor: str  # glass, black, grey, white, cloth
    ruled: bool
    dish: bool
    device: Device
    mix: Mix
    focus_um: float
    opening: float  # how fast things blur out of focus, px per px of height
    light: str
    lugol: bool
    notes: str


MICRO, MACRO = (3.5, 5.6), (8.6, 12.5)


def setting(kind: str, rng) -> Setting:
    """Return a setting of a kind, everything about it by chance within what benches have."""
    macro = kind in ("dish", "sieve", "wide")
    um_per_px = rng.uniform(*(MACRO if macro else MICRO))
    width, height = [(1280, 960), (1440, 1080), (1600, 1200)][rng.integers(3)]
    if kind == "dish":
        um_per_px = rng.uniform(8.6, 11.5)
    floor = {"bright": "glass", "dark": "glass", "chamber": "glass", "sieve": "cloth"}.get(kind, kind)
    if kind == "chamber" and rng.random() < 0.25:
        floor = "black"
    if kind in ("dish", "wide"):
        floor = str(rng.choice(["white", "black", "grey", "glass"], p=[0.3, 0.2, 0.15, 0.35]))
    lamp, light = _lamp(kind, floor, rng)
    lugol = kind in ("bright", "chamber", "white", "grey", "wide", "dish") and rng.random() < 0.16
    device = any_device(rng, macro=macro)
    mix = _mix(kind, rng, width * height * um_per_px**2 / 1e6, lugol)
    return Setting(
        width,
        height,
        um_per_px,
        lamp,
        floor,
        ruled=kind == "chamber",
        dish=kind == "dish",
        device=device,
        mix=mix,
        focus_um=rng.uniform(40, 130),
        opening=rng.uniform(0.02, 0.07) if not macro else rng.uniform(0.015, 0.04),
        light=light,
        lugol=lugol,
        notes=device.name,
    )


def _lamp(kind, floor, rng) -> tuple[Lamp, str]:
    wet = 0.32
    if floor == "glass":
        warm = rng.choice([0.0, 0.05, 0.12])
        _, lobes, _ = floors.lamps_above(rng, warm=warm)
        if kind == "dark":
            lamp = Lamp("dark", rng.uniform(0.16, 0.26), 0.025, (0.0, 0.0), 0.0, lobes, np.full(3, 0.10), wet)
            return lamp, "dark field"
        lean = (0.0, 0.0)
        cone = rng.uniform(0.16, 0.42)
        light = "transmitted"
        if rng.random() < 0.30:
            turn = rng.uniform(0, 6.3)
            lean = (cone * 0.75 * np.cos(turn), cone * 0.75 * np.sin(turn))
            light = "transmitted, oblique"
        return Lamp(
            "through", cone, cone * rng.uniform(0.15, 0.4), lean, rng.uniform(0.03, 0.10), lobes, np.zeros(3), wet
        ), light
    name, lobes, ambient = floors.lamps_above(rng, warm=rng.choice([-0.03, 0.0, 0.05, 0.10]))
    wet = {"cloth": rng.choice([0.35, 0.7, 1.0])}.get(floor, wet)
    return Lamp("above", 0.3, 0.1, (0.0, 0.0), 0.0, lobes, ambient, float(wet)), name


def _mix(kind, rng, mm2, lugol) -> Mix:
    per_mm2 = {"sieve": 1.15, "wide": 0.75, "dish": 0.55}.get(kind, 1.9)
    total = int(np.clip(mm2 * per_mm2 * rng.uniform(0.55, 1.15), 20, 175))
    return Mix(
        total=total,
        hatch=float(rng.uniform(0.30, 0.94)),
        umbrella=float(rng.choice([0.08, 0.2, 0.35])),
        shells=float(rng.uniform(0.25, 0.9)) if kind != "sieve" else float(rng.uniform(0.1, 0.5)),
        dirt=float(rng.uniform(0.02, 0.12)),
        clumped=float(rng.choice([0.02, 0.08, 0.2])),
        dents=float(rng.choice([0.08, 0.2, 0.45]) + (0.15 if kind == "sieve" else 0.0)),
        depth_um=0.0 if kind == "sieve" else float(rng.uniform(60, 320)),
        lying=kind == "sieve" or lugol,
    )
