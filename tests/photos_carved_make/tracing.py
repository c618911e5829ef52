"""Sphere tracing of upright rays through one field: where they go in and come out, and how near they pass."""

import numpy as np

STEPS = 64
LEAST_UM = 1.2  # smallest step: half of the thinnest wall, so that a ray gets on where it grazes a face


def crossings(field, start, way, length_um, most):
    """Trace rays through a field.

    Parameters
    ----------
    field : callable
        Signed distance of points (3, n).
    start : array (3, n)
        Where the rays start, outside the body.
    way : array (3,)
        Their common direction, of length 1.
    length_um : float
        How far they go.
    most : int
        How many times a ray may go in.

    Returns
    -------
    found : array (2 * most, n)
        Way at each crossing, in and out by turns; inf where there is none.
    near : array (n,)
        Smallest distance on the way to the first hit.
    """
    n = start.shape[1]
    found = np.full((2 * most, n), np.inf, np.float32)
    near = np.full(n, np.inf, np.float32)
    which, base = np.arange(n), start
    t, done, closest = np.zeros(n, np.float32), np.zeros(n, np.int8), np.full(n, np.inf, np.float32)
    before, walked, live = np.ones(n, np.float32), np.zeros(n, np.float32), np.ones(n, bool)
    for _ in range(STEPS):
        d = field(base + way[:, None] * t)
        closest = np.where(done == 0, np.minimum(closest, d), closest)
        travel = np.where(done % 2 == 1, -d, d)
        hit = np.flatnonzero((travel < 0) & live)
        if hit.size:
            # the face lies between this step and the one before it
            share = np.clip(travel[hit] / (travel[hit] - np.maximum(before[hit], 1e-3)), 0, 1)
            found[done[hit], which[hit]] = t[hit] - share * walked[hit]
            done[hit] += 1
        walked = np.maximum(np.abs(travel) * 0.93, LEAST_UM)
        before = np.abs(travel)
        t = t + walked
        live &= (t < length_um) & (done < 2 * most)
        near[which] = closest
        if live.sum() < 0.8 * live.size:  # thinning the arrays costs as much as a step: only when it pays
            if not live.any():
                break
            which, base, t, done, closest = which[live], base[:, live], t[live], done[live], closest[live]
            before, walked, live = before[live], walked[live], np.ones(which.size, bool)
    for k in range(most):
        still = np.isfinite(found[2 * k]) & ~np.isfinite(found[2 * k + 1])
        found[2 * k + 1, still] = np.minimum(found[2 * k, still] + 20, length_um)
    return found, near


def normals(field, q, reach_um=2.0):
    """Unit gradients of a field at points."""
    here = field(q)
    g = np.empty_like(q)
    for k in range(3):
        shifted = q.copy()
        shifted[k] += reach_um
        g[k] = field(shifted) - here
    return g / (np.sqrt((g * g).sum(0)) + 1e-6)
