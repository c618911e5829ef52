"""What is simulated rather than drawn: shells that buckle, rods that bend, grown textures."""

from functools import lru_cache

import numpy as np
from scipy import ndimage
from scipy.spatial import ConvexHull, cKDTree


@lru_cache(maxsize=1)
def sphere():
    """Return points on a unit sphere (n, 3), and the six nearest neighbours of each (n, 6)."""
    points = fibonacci(900)
    hull = ConvexHull(points)
    pairs = np.vstack([hull.simplices[:, [0, 1]], hull.simplices[:, [1, 2]], hull.simplices[:, [2, 0]]])
    pairs = np.unique(np.sort(pairs, axis=1), axis=0)
    near = [[] for _ in points]
    for a, b in pairs:
        near[a].append(b)
        near[b].append(a)
    order = cKDTree(points).query(points, k=7)[1][:, 1:]
    padded = np.array([(own + [j for j in others if j not in own])[:6] for own, others in zip(near, order)])
    return points, padded, hull.simplices


def fibonacci(n: int) -> np.ndarray:
    """Return ``n`` points spread evenly over a unit sphere."""
    k = np.arange(n) + 0.5
    z = 1 - 2 * k / n
    turn = np.pi * (1 + 5**0.5) * k
    ring = np.sqrt(1 - z**2)
    return np.column_stack([ring * np.cos(turn), ring * np.sin(turn), z])


@lru_cache(maxsize=4)
def dense(n: int):
    """Return ``n`` directions with the simulated points about each and their weights."""
    coarse = sphere()[0]
    even = 1.9 / np.sqrt(n)  # a shake of about half a spacing, so that no pattern shows
    fine = fibonacci(n) + np.random.default_rng(n).normal(0, even, (n, 3))
    fine /= np.linalg.norm(fine, axis=1, keepdims=True)
    far, which = cKDTree(coarse).query(fine, k=9)
    weights = np.exp(-((far / 0.085) ** 2))
    return fine.astype(np.float32), which, (weights / weights.sum(axis=1, keepdims=True)).astype(np.float32)


def buckled_shells(rng, lost: np.ndarray, steps: int = 170) -> np.ndarray:
    """Let elastic shells lose a share of their volume, as cysts do that dry or are emptied.

    Each shell is a net of springs that keep their length and its curvature; a pressure draws its volume down until
    it buckles where it happens to be weak.

    Parameters
    ----------
    lost
        (k,) share of the volume that each loses.

    Returns
    -------
    numpy.ndarray
        (k, n, 3) where the points of the unit sphere come to lie.
    """
    points, near, faces = sphere()
    points = points.astype(np.float32)
    k = len(lost)
    rest = np.linalg.norm(points[near] - points[:, None], axis=2)
    curve = points[near].mean(axis=1) - points
    # Weak places: one to four spots of a shell, where it gives way first.
    spots = rng.normal(size=(k, 4, 3)).astype(np.float32)
    spots /= np.linalg.norm(spots, axis=2, keepdims=True)
    force = (rng.uniform(0.3, 1, (k, 4)) * (np.arange(4) < rng.integers(1, 5, (k, 1)))).astype(np.float32)
    width = rng.uniform(0.10, 0.30, (k, 4, 1)).astype(np.float32)
    weak = (force[..., None] * np.exp((spots @ points.T - 1) / width)).sum(axis=1)
    at = points * (1 - 0.01 * weak[..., None])
    whole = 4.15
    speed = np.zeros_like(at)
    for step in range(steps):
        goal = (whole * (1 - lost * min(1.0, step / (0.6 * steps)))).astype(np.float32)
        a, b, c = at[:, faces[:, 0]], at[:, faces[:, 1]], at[:, faces[:, 2]]
        outward = np.sign(
            np.einsum("fj,fj->f", np.cross(points[faces[:, 0]], points[faces[:, 1]]), points[faces[:, 2]])
        )
        volume = (np.einsum("kfj,kfj->kf", np.cross(a, b), c) * outward).sum(axis=1) / 6
        normal = at - at[:, near].mean(axis=2)
        normal = np.where((np.linalg.norm(normal, axis=2) > 1e-9)[..., None], normal, 1e-9)
        lean = 0.6 * at / np.linalg.norm(at, axis=2, keepdims=True) + 0.4 * normal / np.linalg.norm(
            normal, axis=2, keepdims=True
        )
        push = 5.0 * (goal - volume)[:, None, None] * lean * 0.02 * (0.12 + 3.0 * weak[..., None])
        along = at[:, near] - at[:, :, None]
        length = np.linalg.norm(along, axis=3, keepdims=True)
        spring = (along * (1 - rest[..., None] / length)).sum(axis=2) * 0.75
        bend = (at[:, near].mean(axis=2) - at - curve) * 0.16
        speed = 0.72 * speed + 0.5 * (spring + bend + push)
        at = at + speed
    return (at - at.mean(axis=1, keepdims=True)).astype(np.float32)


def bent_rod(rng, length: float, n: int, stiffness: float, lean: float = 0.0) -> np.ndarray:
    """Return (n, 3) points of a rod along +x that thermal pushes have bent; ``lean`` is its mean curvature in rad."""
    noise = ndimage.gaussian_filter1d(rng.normal(size=(2, 3 * n)), n / 3, axis=1)[:, n : 2 * n]
    curve = noise / max(noise.std(), 1e-6) / stiffness
    yaw = np.cumsum(curve[0] + lean) / n
    pitch = np.cumsum(curve[1]) / n * 0.6
    steps = np.column_stack([np.cos(yaw) * np.cos(pitch), np.sin(yaw) * np.cos(pitch), np.sin(pitch)])
    return np.vstack([np.zeros(3), np.cumsum(steps[:-1], axis=0)]) * length / (n - 1)


@lru_cache(maxsize=6)
def grown(kind: int, size: int = 128) -> np.ndarray:
    """Return a tile that a reaction with diffusion has grown, mean 0 and deviation 1; it repeats at its edges."""
    feed, kill = [(0.055, 0.062), (0.035, 0.060), (0.029, 0.057)][kind % 3]
    rng = np.random.default_rng(kind)
    u = np.ones((size, size), np.float32)
    seeds = ndimage.gaussian_filter(rng.normal(size=(size, size)), 2.2, mode="wrap")
    v = (seeds > 1.25 * seeds.std()).astype(np.float32)

    def spread(a):
        rows = np.roll(a, 1, 0) + np.roll(a, -1, 0)
        sides = np.roll(a, 1, 1) + np.roll(a, -1, 1)
        return 0.2 * (rows + sides) + 0.05 * (np.roll(rows, 1, 1) + np.roll(rows, -1, 1)) - a

    for _ in range(1500):
        eaten = u * v * v
        u = u + 0.8 * spread(u) - eaten + feed * (1 - u)
        v = v + 0.4 * spread(v) + eaten - (feed + kill) * v
    tile = ndimage.gaussian_filter(v, 0.6, mode="wrap")
    return ((tile - tile.mean()) / max(tile.std(), 1e-6)).astype(np.float32)


def sampled(tile: np.ndarray, x_um, y_um, period_um: float) -> np.ndarray:
    """Return a grown tile at places, its period on the object given."""
    n = len(tile)
    at = [np.asarray(y_um) / period_um * n, np.asarray(x_um) / period_um * n]
    return ndimage.map_coordinates(tile, at, order=1, mode="grid-wrap")


def cloudy(rng, shape, scale_px: float) -> np.ndarray:
    """Return smooth noise of mean 0 and deviation 1 whose lumps are about ``scale_px`` wide."""
    step = max(1, int(scale_px / 3))
    small = tuple(int(np.ceil(s / step)) + 4 for s in shape)
    rough = ndimage.gaussian_filter(rng.standard_normal(small, np.float32), max(scale_px / step / 2, 0.6))
    rough = (rough - rough.mean()) / max(rough.std(), 1e-6)
    at = np.meshgrid(np.arange(shape[0]) / step + 1, np.arange(shape[1]) / step + 1, indexing="ij")
    return ndimage.map_coordinates(rough, at, order=1).astype(np.float32)


def rotation(rng=None, *, yaw=0.0, pitch=0.0, roll=0.0) -> np.ndarray:
    """Return a rotation matrix; with ``rng`` any."""
    if rng is not None:
        q = rng.normal(size=4)
        w, x, y, z = q / np.linalg.norm(q)
        return np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
                [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
                [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
            ]
        )
    cy, sy, cp, sp, cr, sr = np.cos(yaw), np.sin(yaw), np.cos(pitch), np.sin(pitch), np.cos(roll), np.sin(roll)
    about_x = np.array([[1, 0, 0], [0, cr, -sr], [0, sr, cr]])
    about_y = np.array([[cp, 0, sp], [0, 1, 0], [-sp, 0, cp]])
    about_z = np.array([[cy, -sy, 0], [sy, cy, 0], [0, 0, 1]])
    return about_z @ about_y @ about_x


def directions(rng, n: int) -> np.ndarray:
    """Return ``n`` unit vectors, roughly even, in a random turn."""
    some = fibonacci(n) + rng.normal(0, 0.18, (n, 3))
    return some / np.linalg.norm(some, axis=1, keepdims=True) @ rotation(rng).T
