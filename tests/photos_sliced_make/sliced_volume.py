"""Things as stacks of slices: what an object is made of, and how much of it lies in each little box of space.

A model is a list of parts in its own axes (um): strokes, which are rows of balls joined up, and solids, which are given
by the distance to their surface. :func:`cut` turns the model and fills a stack of slices, z up towards the camera.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from scipy import ndimage


class Material(NamedTuple):
    """What light does in a stuff: per um, and against water."""

    name: str
    absorb: tuple  # red, green, blue, per um
    scatter: float  # per um
    colour: tuple  # of the light that it throws back
    gloss: float = 0.0
    index: float = 0.0  # refractive index above that of water
    grain: float = 0.0  # how lumpy, 0 to 1
    in_outline: bool = True

    def changed(self, *, absorb=1.0, scatter=1.0, colour=(1, 1, 1)):
        """Return the stuff with its absorption, scattering and colour multiplied."""
        return self._replace(
            absorb=tuple(np.array(self.absorb) * absorb),
            scatter=self.scatter * scatter,
            colour=tuple(np.clip(np.array(self.colour) * colour, 0, 1)),
        )


class Stroke(NamedTuple):
    """Balls of the given radii along a line, joined by cones."""

    points: np.ndarray  # (n, 3)
    radii: np.ndarray
    material: Material
    weight: float = 1.0


class Solid(NamedTuple):
    """A shape by its distance function of x, y, z, negative inside, within reach of its centre."""

    distance: Callable
    centre: np.ndarray
    reach_um: float
    material: Material


@dataclass
class Model:
    """An object in its own axes, with what the truth says of it."""

    stage: str
    detail: str
    length_um: float
    parts: list = field(default_factory=list)


class Slices(NamedTuple):
    """The filled fraction of each material, (z, y, x), and where the stack lies about the object's origin."""

    filled: dict  # Material -> array
    corner_um: np.ndarray  # x, y, z of the lower corner
    step_um: float
    thick_um: float


def turned(roll: float, pitch: float, yaw: float) -> np.ndarray:
    """Return the matrix that rolls about x, then pitches about y, then yaws about z (radians)."""
    (cr, sr), (cp, sp), (cy, sy) = ((np.cos(a), np.sin(a)) for a in (roll, pitch, yaw))
    about_x = np.array([[1, 0, 0], [0, cr, -sr], [0, sr, cr]])
    about_y = np.array([[cp, 0, sp], [0, 1, 0], [-sp, 0, cp]])
    about_z = np.array([[cy, -sy, 0], [sy, cy, 0], [0, 0, 1]])
    return about_z @ about_y @ about_x


def ball(centre, radius, material) -> Stroke:
    """Return one ball."""
    centre = np.asarray(centre, float)
    return Stroke(np.stack([centre, centre + 0.01]), np.array([radius, radius]), material)


def _span(part, turn):
    if isinstance(part, Stroke):
        points = part.points @ turn.T
        reach = part.radii.max()
        return points.min(axis=0) - reach, points.max(axis=0) + reach
    centre = turn @ part.centre
    return centre - part.reach_um, centre + part.reach_um


class _Stack:
    def __init__(self, low, high, step, thick):
        margin = np.array([2 * step, 2 * step, thick])
        self.low = low - margin
        self.cell = np.array([step, step, thick])
        self.shape = np.ceil((high + margin - self.low) / self.cell).astype(int) + 1
        self.filled = {}

    def box(self, low, high):
        """Return slices (x, y, z) of the cells between two corners and the open grid of their middles."""
        first = np.clip(np.floor((low - self.low) / self.cell).astype(int) - 1, 0, self.shape - 1)
        last = np.clip(np.ceil((high - self.low) / self.cell).astype(int) + 1, first + 1, self.shape)
        axes = [
            (self.low[i] + (np.arange(first[i], last[i]) + 0.5) * self.cell[i]).astype(np.float32) for i in range(3)
        ]
        x, y, z = axes
        where = tuple(slice(first[i], last[i]) for i in (2, 1, 0))
        return where, (x[None, None, :], y[None, :, None], z[:, None, None])

    def fill(self, material, where, amount, weight):
        if material not in self.filled:
            self.filled[material] = np.zeros(self.shape[::-1], np.float32)
        into = self.filled[material][where]
        if weight < 1:
            np.minimum(into + amount * weight, 1, out=into)
        else:
            np.maximum(into, amount, out=into)


def _cone(stack, a, b, radius_a, radius_b, part):
    a, b = a.astype(np.float32), b.astype(np.float32)
    radius_a, radius_b = float(radius_a), float(radius_b)
    reach = max(radius_a, radius_b)
    where, (x, y, z) = stack.box(np.minimum(a, b) - reach, np.maximum(a, b) + reach)
    along = b - a
    length2 = max(float(along @ along), 1e-6)
    x, y, z = x - a[0], y - a[1], z - a[2]
    t = np.clip((x * along[0] + y * along[1] + z * along[2]) / np.float32(length2), 0, 1)
    distance = np.sqrt((x - t * along[0]) ** 2 + (y - t * along[1]) ** 2 + (z - t * along[2]) ** 2)
    distance -= radius_a + t * (radius_b - radius_a)
    # A hair thinner than a cell fills only part of it, across and in depth.
    step, thick = stack.cell[0], stack.cell[2]
    share = float(min(1.0, 2 * reach / step) * min(1.0, 2 * reach / thick))
    stack.fill(part.material, where, share * np.clip(0.5 - distance / np.float32(step), 0, 1), part.weight)


def cut(model: Model, turn: np.ndarray, step_um: float, thick_um: float, rng) -> Slices:
    """Return the model, turned, as a stack of slices."""
    spans = [_span(part, turn) for part in model.parts]
    low = np.min([s[0] for s in spans], axis=0)
    high = np.max([s[1] for s in spans], axis=0)
    stack = _Stack(low, high, step_um, thick_um)
    for part, span in zip(model.parts, spans):
        if isinstance(part, Stroke):
            points = part.points @ turn.T
            for i in range(len(points) - 1):
                _cone(stack, *points[i : i + 2], *part.radii[i : i + 2], part=part)
            continue
        where, (x, y, z) = stack.box(*span)
        turn32, middle = turn.astype(np.float32), part.centre.astype(np.float32)
        own_axes = [turn32[0, i] * x + turn32[1, i] * y + turn32[2, i] * z - middle[i] for i in range(3)]
        stack.fill(part.material, where, np.clip(0.5 - part.distance(*own_axes) / step_um, 0, 1), 1.0)
    for material, filled in stack.filled.items():
        if material.grain:
            filled *= _lumps(filled.shape, material.grain, step_um, rng)
    return Slices(stack.filled, stack.low, step_um, thick_um)


_TILE = ndimage.gaussian_filter(np.random.default_rng(3).normal(size=(48, 96, 96)).astype(np.float32), 1.6, mode="wrap")
_TILE /= _TILE.std()


def _lumps(shape, amount, step_um, rng):
    """Lumps some 15 um across, cut out of one tile at a random place."""
    zoom = 5.0 / step_um
    starts = rng.integers(0, 48, 3)
    z, y, x = ((starts[i] + np.arange(shape[i]) / (zoom if i else 1)).astype(int) % _TILE.shape[i] for i in range(3))
    return np.clip(1 + amount * _TILE[np.ix_(z, y, x)], 0.1, 1.9)
