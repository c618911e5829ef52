"""How a stretch of a ray inside a body dims what lies behind it and shines itself: absorption and single scattering."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from tracing import normals


@dataclass
class Part:
    """One implicit surface with what it is made of.

    ``tissue`` gives absorption and scattering per micrometre, each (3, n), at points inside.
    """

    field: Callable
    tissue: Callable
    entries: int = 1  # how many times a ray may go in: 2 for hollow walls
    samples: int = 5
    gloss: float = 0.05
    rim: float = 0.5  # how much light a slanting face bends out of the lens
    rim_glow: float = 0.3  # and how much of the lamp's it bends in when the field is dark
    opaque: float = 0.8  # how deep its own shadow on itself is
    outline: bool = True
    weight: float = 1.0  # below 1 for one of several phases of a moving limb
    flat: Callable | None = field(default=None)


@dataclass
class Light:
    """The lamp: ``mode`` is below, above or dark; ``toward`` points to it; colours are linear RGB."""

    mode: str
    toward: np.ndarray
    lamp: np.ndarray
    ambient: np.ndarray
    softness: float = 0.4
    edge: float = 1.0  # how narrow the condenser: dark edges in light from below


def even(absorbed, scattered):
    """Tissue that is the same everywhere."""
    a = np.asarray(absorbed, np.float32)[:, None]
    s = np.asarray(scattered, np.float32)[:, None]
    return lambda q: (np.broadcast_to(a, (3, q.shape[1])), np.broadcast_to(s, (3, q.shape[1])))


def _face(part, q, turn, light):
    """Light on the entry face (3, n), its sheen (3, n), and how far the face slants (n,)."""
    local = normals(part.field, q)
    n = turn @ local
    upright = np.clip(n[2], 0, 1)
    slant = 1 - upright
    if light.mode == "below":
        return np.repeat(light.ambient[:, None], q.shape[1], 1), np.zeros_like(q), slant
    ao = np.ones(q.shape[1], np.float32)
    for h in (12.0, 40.0):
        ao *= np.clip(0.62 + 0.38 * part.field(q + local * h) / h, 0.3, 1)
    if light.mode == "dark":
        falling = light.ambient[:, None] * ao * (0.45 + 0.8 * slant)
        side = np.clip(n[:2].T @ light.toward[:2], -1, 1)  # a ring lamp is never even
        sheen = light.ambient[:, None] * (part.rim_glow * slant**2 * (0.7 + 0.5 * side))
        return falling * (1 + 0.25 * side), sheen, slant
    facing = light.toward @ n
    lit = np.clip((facing + light.softness) / (1 + light.softness), 0, 1)
    shade = np.ones_like(lit)
    to_lamp = (turn.T @ light.toward)[:, None]
    for h in (14.0, 40.0, 90.0):
        shade = np.minimum(shade, np.clip(0.35 + part.field(q + local * 4 + to_lamp * h) / (h * light.softness), 0, 1))
    lit = lit * (1 - part.opaque * (1 - shade))
    falling = light.lamp[:, None] * lit + light.ambient[:, None] * ao * (0.55 + 0.45 * upright)
    half = light.toward + np.array([0, 0, 1])
    half = half / np.linalg.norm(half)
    shine = np.clip(half @ n, 0, 1)
    sheen = light.lamp[:, None] * part.gloss * (6 * shine**60 + 0.8 * shine**12) * shade
    sheen = sheen + light.ambient[:, None] * (part.gloss * 0.5 + part.rim_glow * 0.25) * slant**3
    return falling, sheen, slant


def stretch(part, start, way, entry, leave, turn, light):
    """One stretch of the rays inside a part.

    Returns
    -------
    through, glow : arrays (3, n)
        What share of the light from behind comes through, and what is added to it.
    """
    q0 = start + way[:, None] * entry
    falling, sheen, slant = _face(part, q0, turn, light)
    step = (leave - entry) / part.samples
    through = np.ones_like(q0)
    glow = np.zeros_like(q0)
    loss = 0.4 if light.mode == "below" else 0.85  # most of what tissue scatters goes forward, into the lens
    gain = 0.30 if light.mode == "below" else 1.38
    for k in range(part.samples):
        absorbed, scattered = part.tissue(q0 + way[:, None] * ((k + 0.5) * step))
        one = np.exp(-np.clip(part.weight * (absorbed + loss * scattered) * step, 0, 40))
        share = scattered / (absorbed + scattered + 1e-9)
        glow += gain * 0.5 * share * through**2 * (1 - one**2)
        through = through * one
    glow *= falling
    if light.mode == "below":
        through = through * np.exp(-light.edge * part.rim * part.weight * (slant**2 * 0.9 + slant**6))
    else:
        glow = glow + sheen * part.weight
        through = through * (1 - part.weight * np.clip(part.gloss + 0.25 * part.rim * slant**3, 0, 0.9))
    return through, glow
