"""Light through and onto a stack of slices.

Light from below loses in each slice what the stuff takes up; where the thickness changes fast the stuff is a prism that
bends the light out of the lens, so that clear things have dark edges (bright ones on a dark field). Light from above is
followed down the slices for each lamp, so that things shade themselves, and what each slice throws up to the camera is
laid over what lies under it.
"""

from typing import NamedTuple

import numpy as np
from scipy import ndimage
from sliced_volume import Slices


class Lamp(NamedTuple):
    """Where the light comes from."""

    through: float  # light straight from below
    ways: np.ndarray  # (n, 3) unit vectors towards each lamp; z < 0 is a lamp below
    powers: np.ndarray  # (n,)
    ambient: float
    tint: np.ndarray  # of the lamps
    aperture: float  # of lens and condenser together
    bent: float  # share of the bent light that the camera catches: dark field
    gloss: float = 1.0


class Layer(NamedTuple):
    """An object as the camera would have it alone, in fine pixels."""

    passes: np.ndarray  # (h, w, 3) share of the light from below that goes on
    glow: np.ndarray  # (h, w, 3) light added
    outline: np.ndarray  # (h, w) bool
    corner: np.ndarray  # x, y in fine pixels from the object's origin
    height_um: float  # middle above its lowest point
    low_um: float


def shine(slices: Slices, lamp: Lamp) -> Layer:
    """Return the picture of a stack under a lamp."""
    shape = next(iter(slices.filled.values())).shape
    depth = np.zeros((*shape[1:], 3), np.float32)
    bend = np.zeros(shape[1:], np.float32)
    solid = np.zeros(shape[1:], np.float32)
    for stuff, filled in slices.filled.items():
        column = filled.sum(axis=0) * slices.thick_um
        depth += column[..., None] * (
            np.array(stuff.absorb, np.float32) + np.float32(stuff.scatter) * (0.15 if lamp.through else 1)
        )
        bend += column * stuff.index
        if stuff.in_outline:
            solid = np.maximum(solid, filled.max(axis=0))
    gy, gx = np.gradient(ndimage.gaussian_filter(bend, 0.7), slices.step_um)
    kept = np.exp(-np.minimum((gx * gx + gy * gy) / lamp.aperture**2, 6)).astype(np.float32)
    passes = np.exp(-depth)
    glow = np.zeros_like(passes)
    if lamp.through:
        passes *= kept[..., None]
    if lamp.bent:
        glow += lamp.bent * (1 - kept)[..., None] * passes * lamp.tint
    if len(lamp.powers):
        glow += _thrown(slices, lamp)
    low = slices.corner_um[2] + slices.thick_um
    height = shape[0] * slices.thick_um / 2
    corner = np.round(slices.corner_um[:2] / slices.step_um).astype(int)
    return Layer(passes, glow, solid > 0.33, corner, height, low)


def _thrown(slices, lamp):
    """Return the light that lamps make the slices throw up."""
    stuffs = list(slices.filled)
    stack = np.stack([slices.filled[s] for s in stuffs])
    scatter = np.array([s.scatter for s in stuffs], np.float32)
    dims = np.array([0.4 * s.scatter + np.mean(s.absorb) for s in stuffs], np.float32)
    gloss = np.array([s.gloss for s in stuffs], np.float32)
    colours = np.array([s.colour for s in stuffs], np.float32)
    thick = np.float32(slices.thick_um)
    throwing = np.tensordot(scatter, stack, 1)
    dimming = np.tensordot(dims, stack, 1)
    whole = np.minimum(stack.sum(axis=0), 1)
    soft = ndimage.gaussian_filter(whole, (9 / thick, 9 / slices.step_um, 9 / slices.step_um), truncate=2)
    over = np.cumsum(throwing[::-1], axis=0)[::-1] - throwing  # what lies between a cell and the camera
    gloom = np.cumsum(dimming[::-1], axis=0)[::-1] - dimming
    # The rest only where there is something: most of a stack is water.
    at = np.nonzero(whole > 0.004)
    normal = np.stack(
        [_slope(soft, at, axis) / (2 * cell) for axis, cell in ((2, slices.step_um), (1, slices.step_um), (0, thick))]
    )
    size = np.sqrt((normal**2).sum(axis=0)) + np.float32(2e-4)
    normal /= -size
    here = stack[(slice(None), *at)]
    throws = throwing[at]
    open_to = np.exp(-over[at] * thick)
    lit = lamp.ambient * (0.35 + 0.65 * np.exp(-0.5 * thick * gloom[at]))
    shiny = np.zeros_like(lit)
    for way, power in zip(lamp.ways.astype(np.float32), lamp.powers.tolist()):
        light = power * _arriving(dimming, way, thick, slices.step_um)[at]
        lit += light * (0.3 + 0.7 * np.maximum(way @ normal, 0))
        if way[2] > 0:
            half = way + np.array([0, 0, 1], np.float32)
            shiny += light * np.maximum((half / np.linalg.norm(half)) @ normal, 0) ** 40
    edge = np.clip(size * slices.step_um * 5, 0, 1) * (gloss @ here) * np.float32(lamp.gloss)
    hue = (colours.T @ (here * scatter[:, None])) / (throws + 1e-7)
    thrown = open_to * (1 - np.exp(-throws * thick)) * lit * hue + open_to * np.minimum(edge, 1) * shiny
    flat = at[1] * whole.shape[2] + at[2]
    out = [np.bincount(flat, one, whole[0].size).reshape(whole.shape[1:]) for one in thrown]
    return np.stack(out, axis=-1).astype(np.float32) * lamp.tint


def _slope(soft, at, axis):
    """Difference between the neighbours on both sides along an axis; stacks have an empty rim."""
    ends = []
    for step in (1, -1):
        index = list(at)
        index[axis] = np.clip(index[axis] + step, 0, soft.shape[axis] - 1)
        ends.append(soft[tuple(index)])
    return ends[0] - ends[1]


def _arriving(dimming, way, thick, step):
    """Return how much of a lamp's light gets to each cell, followed slice by slice."""
    n = len(dimming)
    light = np.ones_like(dimming)
    rising = way[2] < 0
    order = range(n) if rising else range(n - 1, -1, -1)
    slope = way[:2] / max(abs(way[2]), 0.15) * thick / step
    path = thick / max(abs(way[2]), 0.15)
    gone = np.zeros(2)
    last = None
    for k in order:
        if last is not None:
            gone += slope
            whole = np.round(gone).astype(int)
            gone -= whole
            passed = light[last] * np.exp(-dimming[last] * path)
            light[k] = np.roll(passed, (-whole[1], -whole[0]), axis=(0, 1)) if whole.any() else passed
        last = k
    return light
