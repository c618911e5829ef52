"""What each part is made of: absorption, scattering, rims and texture.

``absorb`` and ``scatter`` are per micrometre of path in a solid and per skin crossed in a sheet.
"""

from dataclasses import dataclass, replace

import numpy as np


@dataclass(frozen=True)
class Material:
    """Optical nature of a part."""

    absorb: tuple
    scatter: float
    albedo: tuple
    rim: float = 0.3
    rim_power: float = 3.0
    grain: float = 0.0
    grain_um: float = 20.0
    shine: float = 0.0
    edge: float = 0.0
    relief: float = 1.0
    bands: float = 0.0
    lens: float = 0.0


def _per_um(depth, r, g, b):
    return (r / depth, g / depth, b / depth)


MATERIALS = {
    "yolk": Material(_per_um(110, 0.36, 0.95, 2.0), 0.013, (0.76, 0.38, 0.12), 0.12, 3, 0.5, 13, 0.03),
    "thin_yolk": Material(_per_um(110, 0.16, 0.36, 0.7), 0.008, (0.78, 0.52, 0.26), 0.1, 3, 0.4, 14, 0.03),
    "dull_yolk": Material(_per_um(110, 0.5, 0.8, 1.1), 0.025, (0.60, 0.45, 0.30), 0.12, 3, 0.6, 22, 0.02),
    "skin": Material(_per_um(110, 0.10, 0.18, 0.30), 0.0035, (0.82, 0.62, 0.38), 0.55, 2.6, 0.15, 25, 0.12, bands=0.1),
    "skin_sheet": Material((0.12, 0.25, 0.45), 0.25, (0.7, 0.5, 0.3), 0.35, 2.5, 0.5, 25, 0.08),
    "limb": Material(_per_um(30, 0.13, 0.22, 0.38), 0.019, (0.84, 0.62, 0.36), 0.5, 2.2, 0.25, 14, 0.1),
    "hair": Material((0.5, 0.5, 0.55), 0.5, (0.8, 0.75, 0.68)),
    "gut": Material(_per_um(35, 0.5, 0.75, 0.9), 0.03, (0.45, 0.36, 0.2), 0.1, 3, 0.5, 18),
    "eye": Material(_per_um(26, 1.5, 3.4, 3.3), 0.09, (0.16, 0.018, 0.02), 0.1, 3, 0, 10, 0.1),
    "cyst": Material(_per_um(240, 0.8, 1.6, 2.9), 0.05, (0.34, 0.195, 0.092), 0.1, 3, 0.34, 13, 0.05, lens=0.5),
    "dark_cyst": Material(_per_um(240, 2.0, 3.0, 4.0), 0.05, (0.22, 0.13, 0.075), 0.1, 3, 0.1, 40, 0.05),
    "pale_cyst": Material(_per_um(240, 0.55, 1.1, 2.1), 0.04, (0.55, 0.37, 0.21), 0.1, 3, 0.15, 40, 0.05, lens=0.4),
    "bare": Material(_per_um(240, 0.45, 1.2, 2.6), 0.04, (0.86, 0.55, 0.27), 0.4, 3, 0.15, 30, 0.1),
    "chorion": Material((0.26, 0.46, 0.75), 0.32, (0.40, 0.24, 0.115), 0.35, 2.5, 0.16, 26, 0.22),
    "shell": Material((0.20, 0.40, 0.76), 0.22, (0.50, 0.325, 0.165), 0.30, 2.4, 0.22, 26, 0.20, edge=1.9),
    "embryo": Material(_per_um(180, 0.46, 1.15, 2.3), 0.03, (0.80, 0.45, 0.18), 0.3, 3, 0.25, 17, 0.05),
    "folded_limb": Material(_per_um(40, 0.12, 0.22, 0.4), 0.012, (0.84, 0.58, 0.3), 0.4, 2.2, 0.2, 14, 0.1),
    "membrane": Material((0.02, 0.03, 0.05), 0.05, (0.82, 0.8, 0.74), 0.33, 3.2, 0.1, 40, 0.3),
    "fibre": Material(_per_um(20, 0.25, 0.2, 0.15), 0.05, (0.7, 0.72, 0.75), 0.75, 1.4, 0.1, 20, 0.15),
    "salt": Material(_per_um(200, 0.05, 0.05, 0.05), 0.0025, (0.95, 0.96, 0.97), 0.6, 1.3, 0.2, 30, 0.5, relief=2.0),
    "sand": Material(_per_um(150, 0.4, 0.55, 0.8), 0.02, (0.75, 0.68, 0.56), 0.6, 1.6, 0.5, 35, 0.3, relief=1.5),
    "grit": Material(_per_um(100, 1.8, 2.0, 2.2), 0.06, (0.2, 0.19, 0.18), 0.3, 2, 0.5, 20, 0.15),
    "bubble": Material((0, 0, 0), 0.0004, (0.95, 0.97, 1.0), 4.5, 1.3, 0, 20, 1.2, relief=0.5),
    "fleck": Material((0.5, 0.6, 0.75), 0.55, (0.5, 0.45, 0.4), 0.25, 2, 0.8, 25, 0.05),
    "algae": Material(_per_um(40, 0.6, 0.36, 0.85), 0.02, (0.24, 0.30, 0.12), 0.4, 2, 0.4, 12, 0.05),
    "moult": Material((0.035, 0.045, 0.06), 0.03, (0.8, 0.76, 0.68), 0.3, 2.2, 0.5, 30, 0.12),
    "clear_animal": Material(
        _per_um(100, 0.14, 0.19, 0.27), 0.004, (0.8, 0.78, 0.68), 0.55, 2.2, 0.4, 22, 0.12, bands=0.3
    ),
    "organs": Material(_per_um(60, 0.35, 0.45, 0.7), 0.015, (0.5, 0.48, 0.3), 0.2, 2.5, 0.6, 15),
}


def dyed(rng, lugol):
    """The table for one photo: this strain's and this lamp's colours, and iodine's brown where it was used."""
    table = {}
    tone = np.exp(rng.normal(0, 0.07, 3))
    deep = {"yolk": rng.uniform(0.8, 1.3), "shell": rng.uniform(0.7, 1.3), "cyst": rng.uniform(0.75, 1.3)}
    richness = {group: np.exp(rng.normal(0, 0.2)) for group in deep}
    hue = rng.normal(0, 0.04, 3)
    for name, one in MATERIALS.items():
        group = next((g for g in deep if g in name), {"chorion": "shell", "embryo": "yolk"}.get(name))
        factor = deep.get(group, 1.0) * np.where([group is not None] * 3, tone, 1.0)
        absorb = np.array(one.absorb) * factor
        albedo = np.array(one.albedo) * np.clip(1.1 - 0.1 * factor, 0.8, 1.15)
        if group is not None:
            albedo = np.clip(albedo ** richness[group] * (1 + hue), 0, 0.95)
        if lugol and name in ("yolk", "thin_yolk", "embryo", "skin", "limb", "folded_limb", "dull_yolk"):
            absorb = absorb * (2.6, 2.3, 1.9)
            albedo = albedo * (0.55, 0.5, 0.45)
        table[name] = replace(one, absorb=tuple(absorb), albedo=tuple(albedo))
    return table
