"""Bubbles, fibres, grains, algae, flecks, scraps, and small animals that are no brine shrimp."""

import numpy as np
from relief_larva import nauplius
from relief_physics import bent_rod, cloudy, directions, rotation

RADIUS = {"bubble": 160, "fibre": 900, "grain": 120, "fleck": 110, "algae": 240, "moult": 420, "rotifer": 220}
RADIUS |= {"ciliate": 110, "copepod": 620, "limb": 220}


def bubble(form, rng, look):
    """An air bubble."""
    r = rng.lognormal(np.log(55), 0.4)
    part = form.sweep([[0, 0, r]], min(r, 145))
    form.solid(part, "gas")
    form.gloss = 1.6


def fibre(form, rng, look):
    """A textile fibre or hair."""
    length, r = rng.uniform(300, 1400), rng.uniform(4, 11)
    rod = (
        bent_rod(rng, length, 160, rng.uniform(0.5, 2.0))
        @ rotation(yaw=rng.uniform(0, 6.3), pitch=rng.normal(0, 0.05)).T
    )
    part = form.sweep(rod - rod.mean(axis=0) + [0, 0, r], r * (1 + 0.15 * np.sin(np.arange(160) / 9)))
    form.solid(part, str(rng.choice(["thread", "thread", "blue"])), 1.0)
    form.skin(part, "skin", 1.0)


def grain(form, rng, look):
    """A grain of sand or salt: a lump cut by flat faces."""
    r = rng.uniform(30, 95)
    n = rng.integers(9, 15)
    faces = directions(rng, n)
    depth = r * rng.uniform(0.62, 1.0, n)
    top, bottom = np.full_like(form.top, 1e6), np.full_like(form.top, -1e6)
    for (a, b, c), d in zip(faces, depth):
        plane = (d - a * form.x[None, :] - b * form.y[:, None]) / np.copysign(max(abs(c), 0.03), c)
        if c > 0:
            top = np.minimum(top, plane)
        else:
            bottom = np.maximum(bottom, plane)
    gone = (top <= bottom) | (np.hypot(form.x[None, :], form.y[:, None]) > 1.3 * r)
    part = np.where(gone, -1e9, top + r).astype(np.float32), np.where(gone, 1e9, bottom + r).astype(np.float32)
    form.solid(part, "mineral", 1.0)
    if rng.random() < 0.5:
        form.add("chorion", np.where(gone, 0, 1) * rng.uniform(0.5, 7))
    form.gloss = 0.8


def fleck(form, rng, look):
    """A flake of shell skin or slime: thin, ragged, without a rim."""
    r = rng.uniform(25, 80)
    ragged = cloudy(rng, form.top.shape, 40 / form.step) * 0.35
    far = np.hypot(form.x[None, :] / rng.uniform(0.6, 1.0), form.y[:, None]) / r + ragged
    inside = far < 0.9
    thick = np.where(inside, 6 + 3 * ragged, 0)
    form.cover(
        (np.where(inside, 10 + 5 * ragged, -1e9).astype(np.float32), np.where(inside, 2, 1e9).astype(np.float32))
    )
    form.add(str(rng.choice(["tissue", "thread", "green"])), thick * rng.uniform(1.5, 4))
    form.add("chorion", thick * rng.uniform(0, 0.25))


def algae(form, rng, look):
    """Green cells, single or in a bunch, or a chain of them."""
    if rng.random() < 0.5:
        rod = bent_rod(rng, rng.uniform(120, 420), 26, 1.5) @ rotation(yaw=rng.uniform(0, 6.3)).T
        middles = rod - rod.mean(axis=0) + [0, 0, 9]
        radii = rng.uniform(6, 9) * np.ones(26)
    else:
        n = int(rng.integers(3, 26))
        middles = rng.normal(size=(n, 3)) * [1, 1, 0.5] * 5.5 * n**0.45 + [0, 0, 20]
        radii = rng.uniform(6, 12, n)
    part = form.sweep(middles, radii)
    form.solid(part, "green")
    form.skin(part, "skin", 0.8)


def moult(form, rng, look):
    """A skin that a nauplius has cast."""
    turn = (rng.uniform(0, 6.3), rng.normal(0, 0.1), rng.normal(0, 0.5))
    nauplius(form, rng, look, look.nauplius_um * rng.uniform(0.95, 1.1), turn, mood="shed")


def limb(form, rng, look):
    """A limb torn off."""
    rod = bent_rod(rng, rng.uniform(110, 220), 40, 2.5) @ rotation(yaw=rng.uniform(0, 6.3)).T
    rod = rod - rod.mean(axis=0) + [0, 0, 15]
    part = form.sweep(rod, np.linspace(21, 6, 40))
    form.solid(part, "tissue")
    form.skin(part, "skin", 1.2)


def rotifer(form, rng, look):
    """A rotifer: a clear vase with a crown and a foot."""
    t = np.linspace(0, 1, 40)
    long = rng.uniform(170, 240)
    rod = bent_rod(rng, long, 40, 8.0)
    rod = rod - rod.mean(axis=0)
    turn = rotation(yaw=rng.uniform(0, 6.3))
    radii = long * (0.27 + 0.12 * np.sin(np.pi * t**0.8)) * np.sqrt(np.clip(1.02 - t, 0, 1) / 0.35).clip(0, 1) * 0.85
    part = form.sweep(rod @ turn.T + [0, 0, 60], radii)
    form.solid(part, "tissue", 0.7)
    form.skin(part, "skin", 1.5)
    foot = bent_rod(rng, long * 0.5, 30, 1.5) + rod[-3]
    tail = form.sweep(foot @ turn.T + [0, 0, 60], np.linspace(11, 5, 30))
    form.solid(tail, "tissue")
    form.skin(tail, "skin", 1.2)
    gut = form.sweep(rod[12:28] @ turn.T + [0, 0, 60], 0.14 * long)
    form.solid(gut, "green", 0.25, outer=False)
    form.threads([(rod[0] + np.array([[0, y, 0], [-26, y * 1.25, 0]])) @ turn.T for y in np.linspace(-50, 50, 16)], 2.6)


def ciliate(form, rng, look):
    """A ciliate: a small clear oval."""
    long = rng.uniform(60, 120)
    rod = bent_rod(rng, long * 0.6, 20, 5.0) @ rotation(yaw=rng.uniform(0, 6.3)).T
    part = form.sweep(
        rod - rod.mean(axis=0) + [0, 0, 30], long * 0.22 * (0.75 + 0.3 * np.sin(np.linspace(0.3, 2.9, 20)))
    )
    form.solid(part, "tissue", 1.1)
    form.skin(part, "skin", 1.0)


def copepod(form, rng, look):
    """A small copepod: a long egg, a jointed tail, two long feelers."""
    long = rng.uniform(480, 640)
    t = np.linspace(0, 1, 80)
    rod = bent_rod(rng, long, 80, 6.0) * [-1, 1, 1]
    rod = rod - rod.mean(axis=0)
    turn = rotation(yaw=rng.uniform(0, 6.3), roll=rng.normal(0, 0.4))
    radii = (
        np.where(t < 0.55, 0.165 * np.maximum(np.sin(np.pi * (0.12 + 1.25 * t)), 0) ** 0.7, 0.055 - 0.02 * (t - 0.55))
        * long
    )
    radii *= 1 - 0.06 * (np.abs((t * 9) % 1 - 0.5) > 0.42)
    lift = np.array([0, 0, 100])
    part = form.sweep(rod @ turn.T + lift, radii)
    form.solid(part, "tissue", 0.9)
    form.skin(part, "skin", 1.8)
    form.solid(form.sweep(rod[18:38] @ turn.T + lift, 0.06 * long), "green", 0.4, outer=False)
    form.solid(form.sweep([(rod[4]) @ turn.T + lift], 10), "pigment", outer=False)
    for side in (-1, 1):
        feeler = bent_rod(rng, long * 0.55, 50, 1.5) @ rotation(yaw=side * rng.uniform(1.1, 1.5)).T + rod[5]
        one = form.sweep(feeler @ turn.T + lift, np.linspace(10, 4, 50))
        form.solid(one, "tissue")
        form.skin(one, "skin", 1.2)
        form.threads([(rod[-1] + np.array([[0, 0, 0], [-140, side * 40, 0]])) @ turn.T], 4.0)


MAKERS = {f.__name__: f for f in (bubble, fibre, grain, fleck, algae, moult, limb, rotifer, ciliate, copepod)}
