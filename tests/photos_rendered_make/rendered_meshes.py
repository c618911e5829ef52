"""Plain meshes in millimetres: balls, tubes, faceted stones and skins, as arrays of vertices and triangles."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np


@dataclass(frozen=True)
class Part:
    """A piece of a body of one material; ``outlined`` pieces belong to its outline, bristles do not."""

    vertices: np.ndarray  # (n, 3) mm
    triangles: np.ndarray  # (m, 3)
    material: str
    outlined: bool = True
    smooth: bool = True

    def moved(self, matrix=None, shift=(0.0, 0.0, 0.0)):
        """Return the piece turned (3, 3), then shifted [mm]."""
        vertices = self.vertices if matrix is None else self.vertices @ np.asarray(matrix).T
        return replace(self, vertices=vertices + np.asarray(shift))


@cache
def unit_ball(level):
    """Return vertices and triangles of a ball of radius 1, from an icosahedron split ``level`` times."""
    g = (1 + 5**0.5) / 2
    corners = [(-1, g, 0), (1, g, 0), (-1, -g, 0), (1, -g, 0), (0, -1, g), (0, 1, g)]
    corners += [(0, -1, -g), (0, 1, -g), (g, 0, -1), (g, 0, 1), (-g, 0, -1), (-g, 0, 1)]
    faces = "0 11 5 0 5 1 0 1 7 0 7 10 0 10 11 1 5 9 5 11 4 11 10 2 10 7 6 7 1 8"
    faces += " 3 9 4 3 4 2 3 2 6 3 6 8 3 8 9 4 9 5 2 4 11 6 2 10 8 6 7 9 8 1"
    vertices = np.array(corners) / np.hypot(1, g)
    triangles = np.array(faces.split(), int).reshape(-1, 3)
    for _ in range(level):
        edges = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), 1)
        unique, at = np.unique(edges, axis=0, return_inverse=True)
        middle = vertices[unique].sum(1)
        middle /= np.linalg.norm(middle, axis=1, keepdims=True)
        a, b, c = at.reshape(3, -1) + len(vertices)
        vertices = np.concatenate([vertices, middle])
        p, q, r = triangles.T
        quarters = [(p, a, c), (q, b, a), (r, c, b), (a, b, c)]
        triangles = np.concatenate([np.stack(t, 1) for t in quarters])
    return vertices, triangles


def swell(points, rng, size, waves=6, pitch=2.0):
    """Smooth random heights (n,) at points, with a spread of about ``size``."""
    k = rng.normal(size=(waves, 3)) * pitch
    return size * np.sqrt(2 / waves) * np.cos(points @ k.T + rng.uniform(0, 2 * np.pi, waves)).sum(1)


def ball(centre, radii, material, level=2, **more):
    """Return an ellipsoid."""
    vertices, triangles = unit_ball(level)
    return Part(vertices * np.asarray(radii) + np.asarray(centre), triangles, material, **more)


def frames(path, up):
    """Two unit vectors across a path at each of its points, the second as near to ``up`` as can be."""
    along = np.gradient(path, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True) + 1e-12
    up = np.broadcast_to(np.asarray(up, float), along.shape)
    side = np.cross(up, along)
    side /= np.linalg.norm(side, axis=1, keepdims=True) + 1e-9
    return side, np.cross(along, side)


def tube(path, radii, material, sides=12, up=(0.0, 0.0, 1.0), **more):
    """Return a closed tube along a path (n, 3) with half widths (n,) or half widths and heights (n, 2)."""
    path = np.asarray(path, float)
    radii = np.asarray(radii, float)
    radii = np.stack([radii, radii], 1) if radii.ndim == 1 else radii
    side, top = frames(path, up)
    a = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    ring = (
        np.cos(a)[None, :, None] * (side * radii[:, :1])[:, None]
        + np.sin(a)[None, :, None] * (top * radii[:, 1:])[:, None]
    )
    n = len(path)
    vertices = np.concatenate([(path[:, None] + ring).reshape(-1, 3), path[:1], path[-1:]])
    i, j = np.meshgrid(np.arange(n - 1), np.arange(sides), indexing="ij")
    p, q = i * sides + j, i * sides + (j + 1) % sides
    walls = [np.stack([p, q, q + sides], -1).reshape(-1, 3), np.stack([p, q + sides, p + sides], -1).reshape(-1, 3)]
    j = np.arange(sides)
    first, last = n * sides, n * sides + 1
    caps = [np.stack([np.full(sides, first), (j + 1) % sides, j], 1)]
    caps += [np.stack([np.full(sides, last), (n - 1) * sides + j, (n - 1) * sides + (j + 1) % sides], 1)]
    return Part(vertices, np.concatenate(walls + caps), material, **more)


def bent(start, direction, length, bend, n=8):
    """Return a path (n, 3) from a point in a direction, that bends by ``bend`` (3,) of its length at its end."""
    t = np.linspace(0, 1, n)[:, None]
    direction = np.asarray(direction, float) / np.linalg.norm(direction)
    return np.asarray(start) + length * (t * direction + t**2 * np.asarray(bend))


def faceted(rng, radii, material, planes=16, level=3):
    """Return a stone: a ball cut by planes."""
    vertices, triangles = unit_ball(level)
    normals = rng.normal(size=(planes, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    reach = rng.uniform(0.7, 1.0, planes) / np.clip(vertices @ normals.T, 1e-3, None)
    r = np.minimum(reach.min(1), 1.15)
    return Part(vertices * r[:, None] * np.asarray(radii), triangles, material, smooth=False)


def box(rng, sides, material):
    """Return a crystal with square faces, its edges a little worn."""
    vertices, triangles = unit_ball(3)
    largest = np.abs(vertices).max(1, keepdims=True)
    cube = vertices / largest
    rounded = cube * (1 - rng.uniform(0.02, 0.1) * (np.linalg.norm(cube, axis=1, keepdims=True) - 1))
    return Part(rounded * np.asarray(sides) / 2, triangles, material, smooth=False)


def turn(axis, angle):
    """Return the matrix (3, 3) that turns by an angle [rad] about x, y or z."""
    c, s = np.cos(angle), np.sin(angle)
    i, j = [(1, 2), (2, 0), (0, 1)]["xyz".index(axis)]
    matrix = np.eye(3)
    matrix[i, i] = matrix[j, j] = c
    matrix[i, j], matrix[j, i] = -s, s
    return matrix


def any_turn(rng):
    """Return a random turn (3, 3), all directions alike."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q *= np.sign(np.diag(r))
    return q * np.sign(np.linalg.det(q))
