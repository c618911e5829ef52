"""What one photo is like: its kind, scale, light, floor, lens, camera and hatch. CC0."""

from dataclasses import dataclass

import camera as cameras
import numpy as np
from optics import Lamp, Lens
from spectra import lamp as lamp_spectrum

KINDS = {"bright": 6, "chamber": 3, "wide": 2, "black": 4, "darkfield": 2, "grey": 2, "white": 2, "dish": 4, "sieve": 5}
SCALES = {
    "bright": (3.5, 6.0),
    "chamber": (4.0, 6.0),
    "wide": (11.0, 12.0),
    "black": (3.8, 6.0),
    "darkfield": (3.8, 6.0),
    "grey": (4.0, 6.5),
    "white": (4.0, 6.5),
    "dish": (9.0, 14.0),
    "sieve": (9.0, 14.0),
}
STRAINS = [
    (428, 225),
    (433, 236),
    (438, 229),
    (486, 246),
    (458, 260),
    (452, 254),
    (480, 250),
    (475, 242),
    (431, 238),
    (515, 267),
    (509, 283),
    (517, 285),
    (460, 250),
    (497, 288),
    (515, 272),
]


@dataclass
class Conditions:
    """Everything that holds for the whole photo."""

    kind: str
    um_per_px: float
    shape: tuple
    light: str
    below: bool
    floor: str
    spectrum: np.ndarray
    lens: Lens
    camera: cameras.Camera
    lamp: Lamp
    strain_length_um: float
    cyst_um: float
    lugol: int
    tissue: dict
    style: dict
    counts: dict
    notes: list
    aim: tuple
    depth_um: float
    phase: float


def _counts(kind, rng, hatched, area_mm2):
    """Numbers of each stage and of debris."""
    debris = int(np.clip(rng.gamma(3, 2.2), 2, 22 if rng.random() < 0.2 else 12))
    if not hatched:
        return {"nauplius": 0, "umbrella": 0, "cyst": 0, "shell": 0, "debris": max(debris, 4)}, []
    most = 200 if kind in ("dish", "sieve") else 130
    room = area_mm2 * rng.uniform(1.8, 4.2) if kind not in ("dish", "sieve", "wide") else rng.uniform(60, most)
    total = int(np.clip(room, 30, most))
    hatch = float(np.clip(rng.beta(2.2, 1.3), 0.10, 0.97))
    umbrella = rng.uniform(0.06, 0.16) if rng.random() < 0.18 else rng.beta(1.0, 28)
    shells = (hatch + umbrella) * rng.uniform(0.35, 1.0)
    if kind in ("sieve",) and rng.random() < 0.5:
        shells *= 0.4
    weights = np.array([hatch * (1 - umbrella), umbrella, (1 - hatch) * (1 - umbrella), shells])
    numbers = np.round(weights / weights.sum() * total).astype(int)
    numbers[[0, 2, 3]] = np.maximum(numbers[[0, 2, 3]], 1)
    notes = [f"hatch about {100 * hatch:.0f} %"] + (["many umbrella stages"] if umbrella > 0.06 else [])
    return dict(zip(("nauplius", "umbrella", "cyst", "shell"), numbers.tolist())) | {"debris": debris}, notes


def _size(kind, rng):
    pixels = rng.uniform(1.9, 2.3) if kind in ("dish", "sieve") else rng.uniform(1.25, 1.9)
    ratio = rng.choice([4 / 3, 4 / 3, 3 / 2, 16 / 9, 1.0, 3 / 4], p=[0.35, 0.15, 0.2, 0.15, 0.1, 0.05])
    width = int(round(np.sqrt(pixels * 1e6 * ratio) / 8) * 8)
    return int(round(width / ratio / 8) * 8), width


def _light(kind, rng):
    """(light from below, floor, words for photos.csv, kind of lamp)."""
    source = str(rng.choice(["halogen", "LED", "daylight"], p=[0.3, 0.52, 0.18]))
    if kind in ("bright", "chamber", "wide"):
        source = "halogen" if source == "halogen" else "LED"
        return True, "ruled" if kind == "chamber" else "glass", f"{source}, transmitted", source
    if kind == "sieve":
        below = rng.random() < 0.45
        return below, "mesh", f"{source}, transmitted" if below else "incident, on mesh", source
    if kind == "darkfield":
        return False, "dark", "dark field", "halogen" if source == "halogen" else "LED"
    if kind == "black":
        return False, str(rng.choice(["black acrylic", "black velvet"], p=[0.7, 0.3])), "incident, on black", source
    if kind == "grey":
        return False, str(rng.choice(["grey card", "grey plastic"])), "incident, on grey", source
    if kind == "white":
        return False, str(rng.choice(["porcelain", "white plastic"])), "incident, on white", source
    floor, word = [
        ("porcelain", "white"),
        ("white plastic", "white"),
        ("black acrylic", "black"),
        ("grey plastic", "grey"),
    ][int(rng.choice(4, p=[0.3, 0.25, 0.3, 0.15]))]
    return False, floor, f"incident, on {word}", source


def _aim(below, floor, kind, rng):
    """Percentile of the picture and the level the camera exposes it to (linear)."""
    if below:
        return (88 if kind == "sieve" else 60), rng.uniform(0.52, 0.86)
    if floor == "mesh":
        return 90, rng.uniform(0.4, 0.7)
    if floor in ("dark", "black acrylic", "black velvet"):
        return (93 if floor == "dark" else 85), rng.uniform(0.22, 0.45)
    if floor.startswith("grey"):
        return 50, rng.uniform(0.2, 0.42)
    return 60, rng.uniform(0.5, 0.8)


def choose(kind, hatched, rng):
    """Draw the conditions of one photo."""
    um_per_px = float(np.round(rng.uniform(*SCALES[kind]), 2))
    shape = _size(kind, rng)
    below, floor, words, source = _light(kind, rng)
    macro = kind in ("dish", "sieve", "wide")
    camera = cameras.choose(
        rng, ["phone", "usb", "old", "good"], [0.75, 0, 0.1, 0.15] if macro else [0.3, 0.22, 0.18, 0.3]
    )
    good = camera.kind == "good"
    soft = {"phone": 0.65, "usb": 0.9, "old": 0.75, "good": 0.5}[camera.kind]
    lens = Lens(
        um_per_px,
        rng.uniform(0.8, 1.3) * soft,
        rng.uniform(0.03, 0.06) if macro else rng.uniform(0.025, 0.07),
        rng.uniform(0, 40 if good else 150),
        rng.normal(0, 0.0003 if good else 0.0011) * (1.0 if macro else 0.8),
        0.0 if good else rng.uniform(0, 0.9),
        shape,
        float(rng.normal(0, 30) + (rng.random() < 0.18) * rng.uniform(40, 100)),
    )
    strain, cyst = STRAINS[rng.integers(len(STRAINS))]
    strain, cyst = float(np.clip(round(strain * rng.normal(1, 0.015)), 400, 520)), float(cyst * rng.normal(1, 0.02))
    lugol = int(hatched and floor not in ("dark",) and rng.random() < 0.14)
    slant = rng.uniform(0.35, 1.3)
    lamp = Lamp(
        rng.uniform(0, 2 * np.pi),
        slant,
        rng.uniform(0.35, 0.75),
        rng.uniform(0.25, 0.6),
        rng.uniform(0.12, 0.4),
        rng.uniform(0.05, 0.35),
        rng.uniform(0.12, 0.36),
    )
    area = shape[0] * shape[1] * (um_per_px / 1000) ** 2
    counts, notes = _counts(kind, rng, hatched, area)
    tissue = {
        "carotenoid": rng.uniform(0.7, 1.35),
        "yolk": rng.uniform(0.7, 1.4),
        "gut": rng.uniform(0.6, 1.4),
        "iodine": rng.uniform(0.6, 1.3) if lugol else 0.0,
        "brown": rng.uniform(0.75, 1.3),
    }
    style = {
        "second_instar": rng.choice([0.02, 0.06, 0.35], p=[0.5, 0.35, 0.15]),
        "dead": rng.choice([0.02, 0.06, 0.2]),
        "motion": 0.0 if lugol else rng.choice([0.0, 0.08, 0.25]),
        "lugol": lugol,
        "clump": rng.choice([0.05, 0.12, 0.25]),
        "translucent": rng.uniform(0, 0.4),
    }
    notes = [*notes, f"{camera.kind} camera", source, floor] + (["lugol"] if lugol else [])
    return Conditions(
        kind,
        um_per_px,
        shape,
        words,
        below,
        floor,
        lamp_spectrum(source, rng),
        lens,
        camera,
        lamp,
        strain,
        cyst,
        lugol,
        tissue,
        style,
        counts,
        notes,
        _aim(below, floor, kind, rng),
        rng.uniform(15, 60),
        rng.normal(0.0, 0.25) if below else 0.0,
    )
