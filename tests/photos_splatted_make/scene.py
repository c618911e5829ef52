"""A photo's stage: scale, light, floor and camera for each kind."""

from dataclasses import dataclass

import numpy as np
from camera import Camera
from cloud import unit
from floors import Ground, black, card, glare, glass, lamp_field, porcelain, rulings
from splat import Lamp
from weave import mesh, rim

SCALES = {
    "bright": (3.5, 6.0),
    "chamber": (4.0, 6.0),
    "wide": (11.0, 12.0),
    "black": (3.8, 6.2),
    "dark field": (3.8, 6.0),
    "grey floor": (4.0, 7.5),
    "white floor": (4.0, 7.5),
    "dish": (9.0, 14.0),
    "sieve": (9.0, 14.0),
}


@dataclass
class Stage:
    """Everything but the sample."""

    ground: Ground
    lamp: Lamp
    floor: np.ndarray  # linear rgb of white light that comes from it
    field: np.ndarray  # brightness of the light over the picture
    inside: np.ndarray  # where bodies may lie
    veil: np.ndarray | float  # glare over everything
    exposure: float
    camera: Camera
    light: str
    notes: str
    most: int


def build(kind, rng):
    """Set the stage for a photo of a kind."""
    phone = kind in ("dish", "sieve")
    pixels = rng.uniform(1.25, 2.15) * 1e6 * (1.25 if phone else 1.0)
    ratio = rng.choice([4 / 3, 4 / 3, 3 / 2, 16 / 9, 1.0])
    width, height = int(np.sqrt(pixels * ratio)) // 2 * 2, int(np.sqrt(pixels / ratio)) // 2 * 2
    if phone and rng.random() < 0.3:
        width, height = height, width
    scale = round(float(rng.uniform(*SCALES[kind])), 2)
    ground = Ground(width, height, scale, rng)
    inside = np.ones((height, width), bool)
    camera = Camera.any(rng, phone)
    notes, veil = [], 0.0
    through = kind in ("bright", "chamber", "wide") or (kind == "sieve" and rng.random() < 0.4)
    through = through or (kind == "dish" and rng.random() < 0.2)
    if kind == "sieve":
        floor, word, behind = mesh(ground, rng, through)
        notes.append(word)
        light = "LED panel, transmitted" if through else f"incident, on {behind}"
    elif through:
        scratched = rng.random() < 0.45
        floor = glass(ground, rng, scratched=scratched)
        notes.append("scratched plastic" if scratched else "glass")
        if kind == "chamber":
            floor = rulings(ground, rng, floor)
            notes[-1] = "ruled chamber"
        light = str(rng.choice(["LED", "halogen"])) + ", transmitted"
    elif kind == "dark field":
        floor, light = np.full((height, width, 3), rng.uniform(0.002, 0.012), np.float32), "dark field"
        floor += (0.12 * ground.specks(rng.integers(5, 60), rng, (1, 3), 0.9))[..., None].astype(np.float32)
        notes.append("glass")
    else:
        choice = {"black": "black", "grey floor": "grey", "white floor": "white"}.get(kind)
        choice = choice or str(rng.choice(["white", "white", "black", "grey"]))
        floor = {"grey": card, "white": porcelain}[choice](ground, rng) if choice != "black" else None
        if floor is None:
            floor, word = black(ground, rng)
        else:
            word = {"grey": "grey card", "white": str(rng.choice(["white porcelain", "white plastic"]))}[choice]
        notes.append(word)
        light = f"incident, on {choice}"
        if rng.random() < 0.4:
            veil = glare(ground, rng).astype(np.float32) * (0.5 if choice == "black" else 1.0)
            notes.append("glare")
    if kind == "dish" and rng.random() < 0.6:
        floor, inside = rim(ground, rng, floor, through)
        notes.append("rim in view")
    lamp, exposure = _lit(kind, rng, scale, through, light)
    field = lamp_field(ground, rng, uneven=0.3 if phone else 0.18, vignette=rng.uniform(0.05, 0.35))
    most = 200 if phone else 130
    return Stage(ground, lamp, floor, field, inside, veil, exposure, camera, light, ", ".join(notes), most)


def _lit(kind, rng, scale, through, light):
    """The lamps and the lens."""
    spread = rng.uniform(0.012, 0.045) * (0.8 if scale > 8 else 1)
    focus = rng.uniform(60, 190)
    if through:
        lamp = Lamp(scale, True, sky=np.full(3, rng.uniform(0.02, 0.12)), focus_um=focus, spread=spread)
        lamp.becke, lamp.aperture = rng.uniform(0.0, 0.1), rng.uniform(0.5, 1.5)
        if kind == "sieve":  # the room's light falls on the mesh from above as well
            lamp.sky = np.full(3, rng.uniform(0.2, 0.4))
        return lamp, rng.uniform(0.55, 0.92)
    warm = np.array([1 + rng.normal(0, 0.03), 1.0, 1 + rng.normal(0, 0.04)])
    if light == "dark field":
        turns = np.arange(4) * 2 * np.pi / 4 + rng.uniform(0, 1)
        ways = [unit(np.array([np.cos(a), np.sin(a), rng.uniform(0.15, 0.5)])) for a in turns]
        lamps = [(way, 0.25 * warm * rng.uniform(0.7, 1.3)) for way in ways]
        lamp = Lamp(scale, False, lamps, 0.04 * warm, rim=rng.uniform(0.8, 2.2), focus_um=focus, spread=spread)
        return lamp, rng.uniform(0.6, 1.1)
    key = rng.uniform(0.35, 0.75)
    a, up = rng.uniform(0, 2 * np.pi), rng.uniform(0.7, 2.2)
    lamps = [(unit(np.array([np.cos(a), np.sin(a), up])), key * warm)]
    if rng.random() < 0.5:  # a second goose-neck
        b = a + rng.uniform(1.8, 4.2)
        lamps[0] = (lamps[0][0], lamps[0][1] * 0.65)
        lamps.append((unit(np.array([np.cos(b), np.sin(b), rng.uniform(0.6, 1.6)])), key * 0.35 * warm))
    lamp = Lamp(scale, False, lamps, (1 - key) * np.array([1, 1, 1.03]), focus_um=focus, spread=spread)
    lamp.softness = rng.uniform(0.08, 0.5)
    return lamp, rng.uniform(0.8, 1.15) * (1.1 if "black" in light else 1.0)
