"""Dirt: bubbles, fibres, sand, salt and flecks."""

import numpy as np
from sliced_shells import direction, lumpy_ball
from sliced_volume import Material, Model, Solid, Stroke

AIR = Material("air", (0.00002, 0.00002, 0.00002), 0.0002, (0.9, 0.9, 0.9), 1.6, -0.33)
COTTON = Material("cotton", (0.002, 0.002, 0.0025), 0.012, (0.86, 0.86, 0.84), 0.25, 0.03)
BLUE = Material("blue", (0.03, 0.018, 0.006), 0.03, (0.18, 0.28, 0.6), 0.2, 0.03)
DARK = Material("dark", (0.05, 0.05, 0.05), 0.05, (0.10, 0.09, 0.09), 0.3, 0.03)
SAND = Material("sand", (0.0022, 0.0030, 0.0042), 0.007, (0.74, 0.68, 0.58), 0.5, 0.09, 0.3)
SALT = Material("salt", (0.0002, 0.0002, 0.0002), 0.0016, (0.95, 0.95, 0.95), 0.9, 0.12)
FLECK = Material("fleck", (0.005, 0.006, 0.0075), 0.012, (0.50, 0.46, 0.36), 0.05, 0.01, 0.6)


def bubble(rng, look) -> Model:
    """Return an air bubble."""
    radius = rng.choice([rng.uniform(25, 90), rng.uniform(90, 240)], p=[0.7, 0.3])

    def distance(x, y, z):
        return np.sqrt(x * x + y * y + z * z) - radius

    return Model("debris", "bubble", 2 * radius, [Solid(distance, np.zeros(3), radius, AIR)])


def fibre(rng, look) -> Model:
    """Return a fibre of cloth or paper."""
    size, thick = rng.uniform(400, 1900), rng.uniform(5, 11)
    n = 24
    heading = np.cumsum(rng.normal(0, 0.13, n)) + rng.normal(0, 0.05) * np.arange(n)
    points = np.cumsum(np.column_stack([np.cos(heading), np.sin(heading), 0 * heading]), axis=0) * size / n
    points -= points.mean(axis=0)
    points[:, 2] = 20 * np.sin(np.linspace(0, rng.uniform(2, 7), n))
    stuff = (COTTON, BLUE, DARK)[rng.choice(3, p=[0.65, 0.2, 0.15])]
    return Model("debris", "fibre", size, [Stroke(points, np.full(n, thick), stuff)])


def grain(rng, look) -> Model:
    """Return a grain of sand: a body between many planes."""
    radius = rng.uniform(35, 110)
    planes = [(direction(rng), radius * rng.uniform(0.55, 0.95)) for _ in range(11)]

    def distance(x, y, z):
        d = np.sqrt(x * x + y * y + z * z) - radius
        for v, far in planes:
            d = np.maximum(d, v[0] * x + v[1] * y + v[2] * z - far)
        return d

    stuff = look.stuff(rng, SAND, 0.3)
    return Model("debris", "grain", 2 * radius, [Solid(distance, np.zeros(3), radius, stuff)])


def salt(rng, look) -> Model:
    """Return a crystal of salt: a clear box with a hollow in its face."""
    half = rng.uniform(30, 100) * rng.uniform(0.7, 1.0, 3)
    bowl = half.min() * rng.uniform(0.2, 0.6)

    def distance(x, y, z):
        d = np.maximum(np.maximum(np.abs(x) - half[0], np.abs(y) - half[1]), np.abs(z) - half[2])
        pit = bowl - np.sqrt(x * x + y * y + (z - half[2]) ** 2)
        return np.maximum(d, pit)

    return Model("debris", "salt", 2 * half.max(), [Solid(distance, np.zeros(3), 1.75 * half.max(), SALT)])


def fleck(rng, look) -> Model:
    """Return a fleck of slime and dust: loose, flat, of no one shape."""
    radius = rng.uniform(25, 110)
    stuff = look.stuff(rng, FLECK, 0.25)
    parts = []
    for _ in range(rng.integers(4, 9)):
        size = radius * rng.uniform(0.2, 0.5)
        at = rng.normal(0, 0.5, 3) * radius * [1, 1, 0.2]
        parts.append(Solid(lumpy_ball(rng, size, 0.14, rng.uniform(0.4, 0.8)), at, 1.5 * size, stuff))
    return Model("debris", "fleck", 2 * radius, parts)
