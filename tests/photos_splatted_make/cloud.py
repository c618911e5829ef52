"""Clouds of particles: what a body is made of, and the ways to scatter particles over a shape.

A particle has a place in micrometres (z points at the viewer), a cross-section in square micrometres per colour for
swallowing light, one for scattering it, one for bending it out of the lens, one for glinting, a size, and a flag that
says whether it belongs to the body's outline.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

FIELDS = ("pos", "absorb", "scatter", "bend", "gloss", "normal", "size", "solid")


@dataclass
class Cloud:
    """Particles of one body; arrays of equal length."""

    pos: np.ndarray
    absorb: np.ndarray
    scatter: np.ndarray
    bend: np.ndarray
    gloss: np.ndarray
    normal: np.ndarray
    size: np.ndarray
    solid: np.ndarray

    def __len__(self):
        return len(self.pos)

    def turned(self, matrix):
        """The same body, turned."""
        return self.but(pos=self.pos @ matrix.T, normal=self.normal @ matrix.T)

    def moved(self, offset):
        """The same body elsewhere."""
        return self.but(pos=self.pos + np.asarray(offset))

    def tinted(self, absorb, scatter=1.0):
        """The same body with other strengths of colour, given as factors per channel."""
        return self.but(absorb=self.absorb * np.asarray(absorb), scatter=self.scatter * np.asarray(scatter))

    def kept(self, which):
        """The particles for which a condition holds."""
        return Cloud(**{f: getattr(self, f)[which] for f in FIELDS})

    def but(self, **other):
        """A copy in which some fields are others."""
        return Cloud(**{**{f: getattr(self, f) for f in FIELDS}, **other})


def join(clouds):
    """One cloud of several."""
    return Cloud(**{f: np.concatenate([getattr(c, f) for c in clouds]) for f in FIELDS})


def grains(pos, amount, absorb, scatter=0.0, *, normal=None, bend=0.0, gloss=0.0, size=5.0, solid=True, weight=None):
    """Particles that share an amount of matter.

    ``amount`` is a volume (um3) with strengths per micrometre, or an area (um2) with strengths per wall passed.
    """
    n = len(pos)
    each = np.full(n, amount / max(n, 1))
    if weight is not None:
        each = each * weight / max(weight.mean(), 1e-9)
    rgb = lambda value: each[:, None] * np.broadcast_to(np.asarray(value, float), 3)  # noqa: E731
    return Cloud(
        pos=np.asarray(pos, float),
        absorb=rgb(absorb),
        scatter=rgb(scatter),
        bend=each * bend,
        gloss=each * gloss,
        normal=np.zeros((n, 3)) if normal is None else normal,
        size=np.full(n, float(size)),
        solid=np.full(n, bool(solid)),
    )


def unit(vectors):
    """Vectors of length one."""
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-9)


def sphere_points(n, rng, jitter=0.35):
    """Even directions: a sunflower's spiral, shaken a little and turned at random."""
    i = np.arange(n) + 0.5
    z = 1 - 2 * i / n
    turn = i * np.pi * (3 - np.sqrt(5))
    flat = np.sqrt(1 - z * z)
    points = np.stack([flat * np.cos(turn), flat * np.sin(turn), z], 1)
    points = points + rng.normal(0, jitter * np.sqrt(4 * np.pi / n), points.shape)
    return unit(points) @ any_turn(rng).T


def ball_points(n, rng):
    """Even places inside the unit ball."""
    return sphere_points(n, rng, 1.0)[rng.permutation(n)] * rng.random((n, 1)) ** (1 / 3)


def clotted(points, rng, clots, spread):
    """Draw particles together into clots, as yolk lies in platelets."""
    centre = points[rng.integers(0, len(points), clots)]
    home = centre[rng.integers(0, clots, len(points))]
    return home + rng.normal(0, spread, points.shape)


def ripple(points, wave, rng, modes=7):
    """A smooth random value of about unit spread at each place; ``wave`` is its wavelength."""
    total = np.zeros(len(points))
    for _ in range(modes):
        k = unit(rng.normal(size=3)) * 2 * np.pi / (wave * rng.uniform(0.7, 1.6))
        total += np.cos(points @ k + rng.uniform(0, 2 * np.pi))
    return total * np.sqrt(2 / modes)


def curve(knots, n=40):
    """A smooth line through three or four control points (Bezier)."""
    t = np.linspace(0, 1, n)[:, None]
    points = [np.asarray(k, float)[None] for k in knots]
    while len(points) > 1:
        points = [a * (1 - t) + b * t for a, b in pairwise(points)]
    return points[0]


def along(line, t):
    """Places at the fractions ``t`` of a line."""
    at = t * (len(line) - 1)
    return np.stack([np.interp(at, np.arange(len(line)), line[:, k]) for k in range(3)], 1)


def tube(line, radii, n, rng, *, surface=False, squash=1.0):
    """Particles in (or on) a tube about a line: places, outward normals, volume (or area)."""
    radii = np.asarray(radii, float)
    step = np.linalg.norm(np.diff(line, axis=0), axis=1).sum() / (len(line) - 1)
    power = 1 if surface else 2
    grid = np.interp(np.linspace(0, 1, 200), np.linspace(0, 1, len(radii)), radii)
    share = np.cumsum(grid**power + 1e-9)
    t = np.interp((np.arange(n) + rng.random(n)) / n, share / share[-1], np.linspace(0, 1, 200))
    r = np.interp(t, np.linspace(0, 1, len(radii)), radii)
    tangent = unit(np.gradient(line, axis=0))
    forward = unit(along(tangent, t))
    side = unit(np.cross(forward, [0.0, 0.0, 1.0]) + 1e-6)
    up = np.cross(side, forward)
    turn = rng.uniform(0, 2 * np.pi, n)
    out = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up * squash
    reach = r * (1.0 if surface else np.sqrt(rng.random(n)))
    length = step * (len(line) - 1)
    amount = length * (2 * np.pi * grid.mean() if surface else np.pi * (grid**2).mean()) * (1 + squash) / 2
    return along(line, t) + out * reach[:, None], unit(out), amount


def any_turn(rng):
    """A rotation in space, all equally likely."""
    a, b, c, d = unit(rng.normal(size=4))
    return np.array(
        [
            [1 - 2 * (c * c + d * d), 2 * (b * c - a * d), 2 * (b * d + a * c)],
            [2 * (b * c + a * d), 1 - 2 * (b * b + d * d), 2 * (c * d - a * b)],
            [2 * (b * d - a * c), 2 * (c * d + a * b), 1 - 2 * (b * b + c * c)],
        ]
    )


def turn_about(axis, angle):
    """The rotation about an axis by an angle in radians."""
    x, y, z = unit(np.asarray(axis, float))
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
