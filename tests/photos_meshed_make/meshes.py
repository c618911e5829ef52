"""Surfaces of triangles: lofts, balls and hairs, with the coordinates that their texture is looked up by.

All lengths are micrometres; z points at the viewer. A ``Part`` is one surface of one material.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import map_coordinates


@dataclass
class Part:
    """One surface: closed (``solid``), open and thin (``sheet``) or fine bristles (``hair``)."""

    points: np.ndarray
    rest: np.ndarray
    faces: np.ndarray | None
    material: str
    form: str = "solid"
    edge: np.ndarray = field(default_factory=lambda: np.zeros(0))
    outline: bool = True
    width_um: float = 2.0

    def moved(self, matrix, shift=(0.0, 0.0, 0.0)):
        """The part turned by a 3 x 3 matrix, then shifted; its texture goes along."""
        return replace(self, points=self.points @ np.asarray(matrix).T + np.asarray(shift))


class Lattice:
    """Smooth solid noise between -1 and 1 from a random periodic lattice."""

    def __init__(self, rng, size=24):
        self.values = rng.uniform(-1, 1, (size, size, size)).astype(np.float32)

    def __call__(self, points, scale_um, octaves=1):
        """Noise at ``points`` (..., 3) with grains of about ``scale_um``."""
        total = np.zeros(points.shape[:-1], np.float32)
        for k in range(octaves):
            at = np.moveaxis(points / scale_um * 2.0**k + 7.3 * k, -1, 0)
            total += map_coordinates(self.values, at, order=1, mode="grid-wrap") * 0.6**k
        return total


def rotation(axis, angle):
    """Matrix of a turn by ``angle`` about ``axis``."""
    x, y, z = np.asarray(axis, float) / (np.linalg.norm(axis) + 1e-12)
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k


def any_rotation(rng):
    """A turn drawn evenly from all turns."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    return q if np.linalg.det(q) > 0 else -q


def grid_faces(n, m):
    """Triangles of an n x m grid that closes on itself along its second side."""
    i, j = np.meshgrid(np.arange(n - 1), np.arange(m), indexing="ij")
    a, b = (i * m + j).ravel(), (i * m + (j + 1) % m).ravel()
    return np.concatenate([np.stack([a, b, a + m], 1), np.stack([b, b + m, a + m], 1)])


def vertex_normals(points, faces):
    """Unit normals at the vertices, each triangle weighing by its area."""
    corner = points[faces]
    face = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    total = np.zeros_like(points)
    for axis in range(3):
        for k in range(3):
            total[:, axis] += np.bincount(faces[:, k], face[:, axis], len(points))
    return total / (np.linalg.norm(total, axis=1, keepdims=True) + 1e-9)


def ball(radii, material, *, rows=22, columns=32, lattice=None, rough=0.0, grain_um=80.0, form="solid", squeeze=None):
    """An ellipsoid; ``rough`` displaces it by noise, ``squeeze(directions)`` scales it."""
    polar = np.linspace(0, np.pi, rows)
    round_ = np.arange(columns) * 2 * np.pi / columns
    p, a = np.meshgrid(polar, round_, indexing="ij")
    d = np.stack([np.cos(p), np.sin(p) * np.cos(a), np.sin(p) * np.sin(a)], -1).reshape(-1, 3)
    r = np.ones(len(d))
    if lattice is not None and rough:
        r += rough * lattice(d * np.mean(radii), grain_um, 2)
    if squeeze is not None:
        r *= squeeze(d)
    points = d * r[:, None] * np.asarray(radii, float)
    return Part(points, d * np.mean(radii), grid_faces(rows, columns), material, form, np.ones(len(d)))


def profile(stations, values):
    """A smooth function through the stations of a loft."""
    return PchipInterpolator(stations, values)


def loft(spine, side, up, half_width, half_height, material, *, columns=20, form="solid", rest=None, outline=True):
    """A tube of elliptic sections along ``spine`` (n, 3), with the frame's ``side`` and ``up`` at each station."""
    turn = np.arange(columns) * 2 * np.pi / columns
    ring = (
        np.cos(turn)[None, :, None] * (half_width[:, None] * side)[:, None]
        + np.sin(turn)[None, :, None] * (half_height[:, None] * up)[:, None]
    )
    points = (spine[:, None] + ring).reshape(-1, 3)
    faces = grid_faces(len(spine), columns)
    rest = points.copy() if rest is None else rest
    return Part(points, rest, faces, material, form, np.ones(len(points)), outline)


def frames(spine, up_hint):
    """Side and up vectors along a spine that stay near ``up_hint``."""
    along = np.gradient(spine, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True) + 1e-9
    side = np.cross(np.broadcast_to(up_hint, along.shape), along)
    side /= np.linalg.norm(side, axis=1, keepdims=True) + 1e-9
    return side, np.cross(along, side)


def limb(joints, radii, material, *, stations=14, columns=9):
    """A limb through ``joints`` with the radius at each of them; the ends are rounded."""
    joints, radii = np.asarray(joints, float), np.asarray(radii, float)
    at = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(joints, axis=0), axis=1))])
    at /= at[-1]
    t = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, stations))
    spine = np.stack([np.interp(t, at, joints[:, k]) for k in range(3)], 1)
    for _ in range(2):  # joints are bent, not broken
        spine[1:-1] = (spine[:-2] + 2 * spine[1:-1] + spine[2:]) / 4
    r = np.interp(t, at, radii) * np.minimum(1, np.sqrt(np.maximum(1 - np.abs(2 * t - 1) ** 8, 0)) + 0.02)
    hint = np.array([0.13, 0.21, 1.0])
    side, up = frames(spine, hint)
    return loft(spine, side, up, r, r, material, columns=columns)


def joined(parts):
    """Parts of one material and form made into one."""
    first, start, faces = parts[0], 0, []
    for part in parts:
        faces.append(part.faces + start)
        start += len(part.points)
    return replace(
        first,
        points=np.concatenate([p.points for p in parts]),
        rest=np.concatenate([p.rest for p in parts]),
        faces=np.concatenate(faces),
        edge=np.concatenate([p.edge for p in parts]),
    )


def hairs(lines, width_um, material="hair"):
    """Bristles (n, 3, 3) given by root, middle and tip, as dense samples; no part of the outline."""
    lines = np.asarray(lines, float)
    root, middle, tip = (lines[:, k, None] for k in range(3))
    t = np.linspace(0, 1, 60)[None, :, None]
    points = root + t * (-3 * root + 4 * middle - tip) + t * t * (2 * root - 4 * middle + 2 * tip)
    length = np.linalg.norm(tip - root, axis=-1)  # each sample stands for so many micrometres
    weight = np.broadcast_to(length / 60, points.shape[:2]).ravel()
    points = points.reshape(-1, 3)
    return Part(points, points, None, material, "hair", weight, False, width_um)
