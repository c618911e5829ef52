"""One photo's circumstances: kind, scale, lamp, strain, how many of each stage, how well it is taken."""

from dataclasses import dataclass

import numpy as np
from light import Light

KINDS = {
    "bright": 6, "chamber": 3, "wide": 2, "black": 4, "dark field": 2,
    "grey floor": 2, "white floor": 2, "dish": 4, "sieve": 5,
}  # fmt: skip
SCALES = {"bright": (3.5, 6.0), "chamber": (4.0, 6.0), "wide": (11.0, 12.0), "dish": (9.0, 14.0), "sieve": (9.0, 14.0)}
SIZES = {
    "small": ((1280, 960), (1360, 1020), (1440, 1080), (1600, 1000), (1600, 1200), (1712, 1284)),
    "large": ((1632, 1224), (1760, 1320), (1840, 1380), (1920, 1280)),
}


@dataclass
class Sitting:
    """What holds for the whole photo."""

    kind: str
    um_per_px: float
    width_px: int
    height_px: int
    light: Light
    floor: str
    words: str
    notes: str
    lugol: int
    strain_um: float
    cyst_um: float
    numbers: dict
    late_share: float
    rough: float
    crowd: float
    shadow: float


def _light(rng, mode):
    warm = rng.normal(0, 0.04)
    colour = np.array([1 + warm, 1.0, 1 - 1.2 * warm], np.float32)
    if mode == "below":
        return Light(
            "below", np.array([0, 0, 1.0], np.float32), colour, 0.45 * colour, edge=float(rng.uniform(0.7, 1.5))
        )
    angle, high = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(32, 70))
    toward = np.array([np.cos(angle) * np.cos(high), np.sin(angle) * np.cos(high), np.sin(high)], np.float32)
    if mode == "dark":
        toward = np.array([np.cos(angle), np.sin(angle), 0], np.float32)
        return Light("dark", toward, colour, rng.uniform(0.6, 0.95) * colour)
    share = rng.uniform(0.40, 0.75)
    return Light("above", toward, share * colour, (1.08 - share) * colour, softness=float(rng.uniform(0.2, 0.7)))


def _floor(rng, kind, number):
    """Floor, mode of the light and words for it."""
    if kind in ("bright", "chamber", "wide"):
        return "lit", "below", f"{rng.choice(['LED', 'halogen', 'light pad'])}, transmitted"
    if kind == "black":
        return str(rng.choice(["velvet", "acrylic"])), "above", "incident, on black"
    if kind == "dark field":
        return "void", "dark", "dark field"
    if kind == "grey floor":
        return "card", "above", "incident, on grey"
    if kind == "white floor":
        return "porcelain", "above", "incident, on white"
    if kind == "dish":
        floor = str(rng.choice(["porcelain", "acrylic", "card"], p=[0.45, 0.3, 0.25]))
        return floor, "above", f"incident, on { {'porcelain': 'white', 'acrylic': 'black', 'card': 'grey'}[floor] }"
    if number % 2 == 0:
        return "weave", "below", "LED, transmitted"
    return "weave", "above", "incident, on grey"


def _numbers(rng, kind, area_mm2, hatched):
    """How many of each stage, by a draw of the hatch."""
    dirt = int(rng.integers(2, 13)) if rng.random() < 0.8 else int(rng.integers(12, 22))
    if not hatched:
        return {"nauplius": 0, "umbrella": 0, "cyst": 0, "shell": 0, "debris": max(4, dirt)}
    most = 190 if kind in ("dish", "sieve") else 120
    total = int(np.clip(rng.uniform(42, most), 36, max(36, area_mm2 / 0.27)))
    hatch = rng.uniform(0.10, 0.97) if rng.random() < 0.4 else rng.beta(5, 2)
    late = rng.uniform(0.0, 0.06) if rng.random() < 0.65 else rng.uniform(0.06, 0.12)
    shells_per = rng.uniform(0.35, 0.95) * (0.4 if kind == "sieve" and rng.random() < 0.6 else 1)
    living = total / (1 + hatch * shells_per)
    nauplii = max(3, round(living * hatch))
    umbrellas = round(living * late)
    cysts = max(2, round(living) - nauplii - umbrellas)
    shells = max(2, round(nauplii * shells_per) + int(rng.integers(0, 4)))
    return {"nauplius": nauplii, "umbrella": umbrellas, "cyst": cysts, "shell": shells, "debris": dirt}


def sitting(rng, kind, number, hatched):
    """Draw a photo's circumstances."""
    um = float(np.round(rng.uniform(*SCALES.get(kind, (3.8, 6.0))), 2))
    sizes = SIZES["large" if kind in ("dish", "sieve") else "small"]
    width, height = sizes[rng.integers(len(sizes))]
    floor, mode, words = _floor(rng, kind, number)
    light = _light(rng, mode)
    if floor == "weave" and mode == "below":
        light.ambient = light.ambient * 1.7  # the room's light falls on what lies over the threads
    strain = float(np.round(rng.uniform(405, 515)))
    # strains with large nauplii hatch from large cysts, but not strictly
    cyst = float(np.clip(120 + 0.29 * strain + rng.normal(0, 12), 222, 325))
    lugol = int(rng.random() < 0.17 and floor == "lit")
    numbers = _numbers(rng, kind, width * height * um * um / 1e6, hatched)
    late = float(rng.uniform(0.1, 0.5)) if rng.random() < 0.15 else float(rng.uniform(0, 0.06))
    rough = float(rng.beta(1.2, 2.2))
    notes = "lugol" if lugol else ("a bit poor" if rough > 0.55 else "typical")
    if floor == "weave":
        notes += ", sieve cloth"
    return Sitting(
        kind, um, width, height, light, floor, words, notes, lugol, strain, cyst, numbers, late, rough,
        crowd=float(rng.uniform(0.04, 0.16)), shadow=float(rng.uniform(0.25, 0.6)),
    )  # fmt: skip
