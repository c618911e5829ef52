"""The kinds of photo: scale, size, lamps, floor, density and camera."""

from dataclasses import dataclass, field

import numpy as np
from camera import Camera
from floors import dish, glare, lamp, plain, rulings, scratches, woven
from lighting import Light
from population import Strain

KINDS = {
    "bright": 6,
    "chamber": 3,
    "wide": 2,
    "black": 4,
    "dark field": 2,
    "grey floor": 2,
    "white floor": 2,
    "dish": 4,
    "sieve": 5,
}
SCALE = {
    "bright": (3.5, 6.0),
    "chamber": (3.8, 5.6),
    "wide": (11.0, 12.0),
    "dish": (9.0, 13.0),
    "sieve": (9.0, 12.0),
}
FINE = ("bright", "chamber", "black", "dark field", "grey floor", "white floor")


@dataclass
class Scene:
    """All that one photo's bodies share."""

    kind: str
    um_per_px: float
    shape: tuple
    light: Light
    label: str
    floor: np.ndarray
    inside: np.ndarray
    camera: Camera
    strain: Strain
    lugol: int
    count: int
    hatch: float
    umbrella_share: float
    debris: int
    crowd: float
    shadow: float
    aperture: float
    focus_um: float
    most_blur_px: float
    notes: list = field(default_factory=list)


def _light(rng, kind):
    """Lamps and their label."""
    a = rng.uniform(0, 2 * np.pi)
    lean = rng.uniform(0.5, 1.3)
    toward = np.array([np.cos(a) * lean, np.sin(a) * lean, 1.0])
    toward /= np.linalg.norm(toward)
    white = np.ones(3)
    tint = 1 + rng.normal(0, 0.04) * np.array([1, 0, -1])
    if kind in ("bright", "chamber", "wide"):
        name = rng.choice(["halogen", "LED"])
        relief = rng.choice([0.0, rng.uniform(0.05, 0.22)], p=[0.4, 0.6])
        sky = rng.uniform(0.02, 0.12) * white
        return Light("below", toward, white, sky, white, relief), f"{name}, transmitted"
    if kind == "dark field":
        return Light("dark", toward, rng.uniform(0.9, 1.5) * tint, 0.2 * white, 0 * white), "dark field"
    sun, sky = rng.uniform(0.5, 0.95), rng.uniform(0.2, 0.5)
    ground = {"black": 0.03, "grey floor": 0.3, "white floor": 0.8}.get(kind, 0.4)
    light = Light("above", toward, sun * tint, sky * (2 - tint), ground * white, gloss=rng.uniform(0.2, 1.0))
    label = {"black": "incident, on black", "grey floor": "incident, on grey", "white floor": "incident, on white"}
    return light, label.get(kind, "incident, on white")


def _floor(rng, kind, shape, um_per_px, light, notes):
    """Picture of the floor, where bodies may lie, and the light's label if the floor changes it."""
    inside = np.ones(shape, bool)
    field_ = lamp(rng, shape, rng.uniform(0.03, 0.14))[..., None].astype(np.float32)
    tone = 1 + rng.normal(0, 0.015, 3)
    above = light.sky + light.sun * light.toward[2]
    if light.mode == "below":
        picture = field_ * rng.uniform(0.52, 0.82) * tone
        if kind == "chamber":
            picture = rulings(rng, picture, um_per_px)
        if kind == "sieve":
            picture = woven(rng, shape, um_per_px, light, picture)
        else:
            picture = scratches(rng, picture, rng.integers(0, 7), um_per_px, True)
        return picture, inside, None
    if light.mode == "dark":
        picture = np.full((*shape, 3), rng.uniform(0.004, 0.02)) * field_**3 * tone
        return scratches(rng, picture, rng.integers(0, 6), um_per_px, False), inside, None
    label = None
    if kind == "black":
        surface = rng.choice(["velvet", "acrylic"])
        picture = plain(rng, shape, surface, um_per_px) * rng.uniform(0.008, 0.035) * above * field_
        if surface == "acrylic":
            picture = scratches(rng, picture, rng.integers(2, 12), um_per_px, False)
    elif kind == "grey floor":
        picture = plain(rng, shape, "card", um_per_px) * rng.uniform(0.14, 0.34) * above * field_ * tone
    elif kind == "white floor":
        picture = plain(rng, shape, rng.choice(["porcelain", "card"]), um_per_px) * rng.uniform(0.58, 0.75) * tone
        picture = picture * np.minimum(above, 1.25) * field_
    elif kind == "dish":
        surface = rng.choice(["white", "black", "grey"], p=[0.5, 0.3, 0.2])
        base = {"white": rng.uniform(0.5, 0.66), "black": rng.uniform(0.012, 0.04), "grey": rng.uniform(0.15, 0.3)}
        texture = plain(rng, shape, "acrylic" if surface == "black" else "porcelain", um_per_px)
        picture = texture * base[surface] * np.minimum(above, 1.25) * field_ * tone
        picture = scratches(rng, picture, rng.integers(0, 6), um_per_px, False)
        light.floor = np.full(3, float(base[surface]))
        label = f"incident, on {surface}"
        if rng.random() < 0.6:
            table = rng.uniform(0.05, 0.6) * (1 + rng.normal(0, 0.08, 3)) * plain(rng, shape, "card", um_per_px)
            picture, inside = dish(rng, picture, um_per_px, light, table)
            notes.append("rim in the picture")
    else:
        ground = plain(rng, shape, "porcelain", um_per_px) * rng.choice([0.03, 0.25, 0.55]) * above * field_ * tone
        label = "incident, on grey"
        picture = woven(rng, shape, um_per_px, light, ground) * field_
    if rng.random() < 0.16 and kind != "sieve":
        picture = picture + glare(rng, shape)
        notes.append("glare")
    return picture, inside, label


def scene(rng, kind, hatched):
    """Draw the lot of one photo's scene."""
    low, high = SCALE.get(kind, (3.5, 6.2))
    um_per_px = round(float(rng.uniform(low, high)), 2)
    pixels = rng.uniform(2.0, 2.5) * 1e6 if kind in ("dish", "sieve") else rng.uniform(1.25, 2.1) * 1e6
    aspect = rng.choice([4 / 3, 3 / 2, 16 / 9, 1.0], p=[0.5, 0.25, 0.15, 0.1])
    shape = (int(np.sqrt(pixels / aspect)) // 2 * 2, int(np.sqrt(pixels * aspect)) // 2 * 2)
    phone = kind in ("dish", "sieve")
    light, label = _light(rng, kind)
    if kind == "sieve" and rng.random() < 0.4:
        light, label = _light(rng, "bright")
        light.sky = rng.uniform(0.28, 0.5) * np.ones(3)  # the room's light falls on the sieve as well
    notes = []
    poor = rng.random() < 0.22
    lugol = int(kind in ("bright", "chamber", "wide") and rng.random() < 0.2)
    if lugol:
        notes.append("lugol")
    floor, inside, floor_label = _floor(rng, kind, shape, um_per_px, light, notes)
    area_mm2 = shape[0] * shape[1] * um_per_px**2 / 1e6
    top = 190 if phone else 125
    density = rng.uniform(0.9, 2.6) if kind in FINE else rng.uniform(0.35, 0.9)
    count = int(np.clip(area_mm2 * density, 42, rng.uniform(0.7, 1) * top))
    share = rng.choice([0.0, rng.uniform(0.01, 0.07), rng.uniform(0.07, 0.13)], p=[0.12, 0.58, 0.3])
    many = rng.random() < 0.1
    if poor:
        notes.append("poor picture")
    return Scene(
        kind=kind,
        um_per_px=um_per_px,
        shape=shape,
        light=light,
        label=floor_label or label,
        floor=floor.astype(np.float32),
        inside=inside,
        camera=Camera.pick(rng, phone, poor),
        strain=Strain.pick(rng, lugol),
        lugol=lugol,
        count=count if hatched else 0,
        hatch=float(
            rng.choice([rng.uniform(0.1, 0.5), rng.uniform(0.5, 0.85), rng.uniform(0.85, 0.97)], p=[0.3, 0.4, 0.3])
        ),
        umbrella_share=float(0.2 if many else share),
        debris=int(rng.integers(2, 13) * (2 if rng.random() < 0.12 else 1)),
        crowd=float(rng.uniform(0.05, 0.45)),
        shadow=float(rng.uniform(0.35, 0.7)) * (0.5 if kind == "sieve" else 1),
        aperture=float(rng.uniform(0.006, 0.024) * (1.5 if poor else 1)),
        focus_um=float(rng.uniform(60, 140)),
        most_blur_px=2.2 if poor else 1.4,
        notes=notes,
    )
