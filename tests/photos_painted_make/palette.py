"""Pigments of one lot of animals: small differences from photo to photo."""

import numpy as np
from canvas import Pigment, linear

# name: (density red, green, blue), screen colour, alpha from above, glow on dark
BASE = {
    "chorion": ((1.0, 2.0, 3.5), (0.50, 0.31, 0.18), 1.0, 0.10),
    "shell": ((0.24, 0.46, 0.88), (0.68, 0.53, 0.35), 0.50, 0.16),
    "shell_line": ((0.45, 0.75, 1.1), (0.62, 0.46, 0.29), 0.70, 0.75),
    "yolk": ((0.15, 0.70, 1.65), (0.90, 0.53, 0.25), 0.86, 0.60),
    "skin": ((0.07, 0.11, 0.17), (0.93, 0.80, 0.62), 0.34, 0.14),
    "skin_line": ((0.38, 0.48, 0.60), (0.93, 0.80, 0.60), 0.45, 0.60),
    "limb": ((0.20, 0.27, 0.36), (0.93, 0.82, 0.66), 0.42, 0.26),
    "seta": ((0.42, 0.46, 0.50), (0.93, 0.88, 0.80), 0.30, 0.30),
    "eye": ((1.9, 3.4, 3.6), (0.20, 0.06, 0.05), 1.0, 0.03),
    "membrane": ((0.05, 0.06, 0.08), (0.88, 0.86, 0.80), 0.15, 0.06),
    "membrane_line": ((0.36, 0.40, 0.44), (0.92, 0.90, 0.84), 0.45, 0.55),
    "gut": ((0.35, 0.45, 0.75), (0.50, 0.40, 0.18), 0.6, 0.25),
    "pale": ((0.45, 0.52, 0.62), (0.86, 0.80, 0.70), 0.85, 0.6),
    "green": ((0.85, 0.35, 0.95), (0.30, 0.45, 0.18), 0.85, 0.4),
    "stone": ((0.7, 0.75, 0.85), (0.68, 0.63, 0.55), 0.9, 0.5),
    "dirt": ((0.7, 0.85, 1.05), (0.42, 0.36, 0.28), 0.75, 0.3),
    "clear": ((0.06, 0.06, 0.06), (0.9, 0.92, 0.92), 0.10, 0.10),
    "edge": ((1.0, 1.0, 1.0), (0.95, 0.97, 0.97), 0.6, 0.9),
    "thread": ((0.8, 0.6, 0.45), (0.35, 0.42, 0.60), 0.8, 0.6),
}


def palette(rng, pale_floor):
    """Pigments by name, varied for one lot; edges turn darker than a pale floor."""
    brown = rng.normal(0.2, 0.25)
    orange = rng.normal(0.12, 0.22)
    found = {}
    for name, (absorb, colour, alpha, glow) in BASE.items():
        absorb = np.array(absorb, np.float32)
        colour = np.array(colour, np.float32)
        if name in ("chorion", "shell", "shell_line"):
            absorb = absorb * np.exp(brown + rng.normal(0, 0.06, 3))
            colour = np.clip(colour * np.exp(-0.6 * brown + rng.normal(0, 0.04, 3)), 0, 1)
        if name in ("shell", "shell_line") and pale_floor:
            colour = colour * (0.78, 0.58, 0.40)
            alpha = min(1.7 * alpha, 1.0)
        if name == "yolk":
            absorb = absorb * np.exp(orange)
            colour = np.clip(colour * (1, np.exp(-0.5 * orange + 0.06), np.exp(rng.normal(0, 0.3))), 0, 1)
        found[name] = Pigment(absorb, linear(*colour), alpha, glow)
    return found
