"""Cysts, empty shells and embryos that hang out of theirs."""

from typing import NamedTuple

import numpy as np
from relief_physics import bent_rod, dense, rotation, sampled

WALL_UM = 7.0


class Net(NamedTuple):
    """A buckled shell as points: where they lie on the unit sphere and in space (radius 1), and how dense they are."""

    on_sphere: np.ndarray
    points: np.ndarray


def net_of(shells: np.ndarray, which: int, n: int) -> Net:
    """Return the dense points of a simulated shell."""
    fine, near, weights = dense(n)
    return Net(fine, np.einsum("nk,nkj->nj", weights, shells[which][near]))


def _areas(net: Net, radius: float) -> np.ndarray:
    return np.full(len(net.points), 4 * np.pi * radius**2 / len(net.points), np.float32)


def cyst(form, rng, look, net: Net, diameter_um: float):
    """Fill a form with a whole cyst."""
    r = diameter_um / 2
    points = (net.points * r) @ rotation(rng).T
    points[:, 2] -= points[:, 2].min()
    wall = WALL_UM * look.wall * rng.lognormal(0, 0.28)
    part = form.deposit(points.astype(np.float32), _areas(net, r), "chorion", wall)
    form.solid(part, "yolk", rng.uniform(0.85, 1.05), outer=False)
    form.gloss = look.cyst_gloss
    _rough(form, rng, look, r)


def _rough(form, rng, look, r):
    """Give the chorion its grown grain and blotches."""
    tile, period = look.chorion_tile, r * rng.uniform(0.9, 1.4)
    dx, dy = rng.uniform(0, 999, 2)
    x, y = np.broadcast_arrays(form.x[None, :], form.y[:, None])
    grain = sampled(tile, x + dx, y + dy, period)
    form.bump = grain * 0.4 * look.bumpy
    blotch = sampled(tile, x / 5 + dy, y / 5 + dx, period)
    form.grain = 1 + 0.05 * grain + 0.07 * np.clip(blotch, -2, 2)


def _cut(rng, directions: np.ndarray, polar: float) -> tuple[np.ndarray, np.ndarray]:
    """Return which points lie in the cap about +z that a wavy crack cuts off at a polar angle, and each's azimuth."""
    azimuth = np.arctan2(directions[:, 1], directions[:, 0])
    k = np.arange(2, 7)
    waves = (rng.normal(size=5) / k * 0.16)[:, None] * np.cos(k[:, None] * azimuth + rng.uniform(0, 6.3, (5, 1)))
    fine = np.arange(9, 60, 3) + rng.integers(0, 3, 17)
    round_ = np.linspace(-np.pi, np.pi, 181)
    teeth = np.cos(fine[:, None] * round_ + rng.uniform(0, 6, (17, 1)))
    ragged = np.interp(azimuth, round_, (rng.normal(size=17) * 0.06 / np.sqrt(fine)) @ teeth)
    return np.arccos(np.clip(directions[:, 2], -1, 1)) < polar + waves.sum(axis=0) + 1.3 * ragged, azimuth


def opened(rng, net: Net, radius: float, kind: str) -> np.ndarray:
    """Return the points (n, 3) of an empty shell of a kind: slit, bowl, cap (hinged), halves, fragment; nan if gone."""
    points = net.points * radius
    polar = {"slit": 1.45, "bowl": rng.uniform(0.8, 1.35), "cap": rng.uniform(0.7, 1.25), "halves": 1.5}.get(kind, 0.0)
    if kind == "fragment":
        cap, azimuth = _cut(rng, net.on_sphere, rng.uniform(0.8, 1.2))
        cap &= np.abs(azimuth) < rng.uniform(1.4, 3.2)
        points[~cap] = np.nan
        return points
    cap, _ = _cut(rng, net.on_sphere, polar)
    if kind == "bowl":
        points[cap] = np.nan
        return points
    hinge = np.array([radius * np.sin(polar), 0, radius * np.cos(polar)])
    angle = {"slit": rng.uniform(0.22, 0.5), "cap": rng.uniform(0.5, 1.4), "halves": rng.uniform(0.9, 1.75)}[kind]
    if kind == "slit":  # gapes a little: the halves also shear
        points[cap] += [0, radius * rng.normal(0, 0.05), 0]
    points[cap] = (points[cap] - hinge) @ rotation(pitch=angle).T + hinge
    return points


def _shown(rng, kind: str) -> np.ndarray:
    """Return how a shell lies: any way that lets the camera see that it is open."""
    if kind == "halves":
        return rotation(yaw=rng.uniform(0, 6.3), pitch=rng.normal(0.5, 0.4))
    opening = {"slit": np.array([-0.9, 0, 0.4]), "fragment": np.array([0, 0, 1.0])}.get(kind, np.array([-0.3, 0, 0.95]))
    while True:
        tilt = rotation(rng)
        if (tilt @ opening)[2] > (0.15 if kind == "slit" else -0.25):
            return tilt


def shell(form, rng, look, net: Net, diameter_um: float, kind: str):
    """Fill a form with an empty shell."""
    r = diameter_um / 2
    points = opened(rng, net, r, kind)
    points = points * [1, 1, rng.uniform(0.82, 1.0)]
    tilt = _shown(rng, kind)
    areas = _areas(net, r)
    there = np.isfinite(points[:, 0])
    points = (points[there] - points[there].mean(axis=0)) @ tilt.T
    points[:, 2] -= points[:, 2].min()
    pale = look.bleached if rng.random() < look.bleached_share else 1.0
    form.deposit(points.astype(np.float32), areas[there], "chorion", WALL_UM * look.shell_wall * pale)
    form.gloss = look.cyst_gloss
    _rough(form, rng, look, r)
    form.grain = 1 + 1.4 * (form.grain - 1)


def umbrella(form, rng, look, net: Net, diameter_um: float, kind: str):
    """Fill a form with an embryo leaving its shell: early (just out), hanging (by the membrane), free (no shell)."""
    r = diameter_um / 2
    long, wide = diameter_um * rng.uniform(1.12, 1.35), diameter_um * rng.uniform(0.76, 0.86)
    if kind == "early":
        long *= 0.92
    out = {"early": 0.12, "hanging": rng.uniform(0.42, 0.62), "free": 0.5}[kind]
    spine = bent_rod(rng, long - wide * 0.9, 30, 6.0)
    t = np.linspace(0, 1, 30)
    radii = wide / 2 * (0.86 + 0.16 * np.sin(np.pi * (0.15 + 0.75 * t)) - 0.06 * (1 - t))
    spine[:, 0] += r * out * 1.1 - 0.1 * r
    turn = rotation(yaw=rng.uniform(0, 6.3), pitch=rng.normal(0, 0.22), roll=rng.uniform(0, 6.3))
    lift = np.array([0, 0, r])
    hull = form.sweep(spine @ turn.T + lift, radii)
    inner = form.sweep(spine @ turn.T + lift, radii * rng.uniform(0.84, 0.91))
    form.cover(hull)
    form.skin(hull, "skin", 1.7)
    form.solid(inner, "yolk", rng.uniform(0.75, 1.0), outer=False)
    form.solid(inner, "tissue", 0.4, outer=False)
    if kind != "early" and rng.random() < 0.75:
        side = rng.uniform(0, 6.3)
        eye = spine[-3] + [0, np.cos(side) * wide * 0.22, abs(np.sin(side)) * wide * 0.3]
        form.solid(form.sweep([eye @ turn.T + lift], 11.0), "pigment", 1.0, outer=False)
        for s in (-1, 1):  # limbs folded back along the body
            limb = np.linspace(0, 1, 14)[:, None] * [-0.55 * long, 0, 0] + spine[-6]
            limb[:, 1] += s * wide * (0.30 + 0.09 * np.sin(np.linspace(0, np.pi, 14)))
            form.skin(form.sweep(limb @ turn.T + lift + [0, 0, 8], np.linspace(17, 7, 14)), "skin", 1.1)
    if kind != "free":
        cap, _ = _cut(rng, net.on_sphere, rng.uniform(0.75, 1.15) if kind == "early" else rng.uniform(1.0, 1.5))
        points = (net.points * r)[~cap] * [1, 1, rng.uniform(0.85, 1.0)]
        points = points @ rotation(pitch=np.pi / 2).T  # the opening to +x
        form.deposit(
            (points @ turn.T + lift).astype(np.float32), _areas(net, r)[~cap], "chorion", WALL_UM * look.shell_wall
        )
        if rng.random() < 0.5 and kind == "hanging":
            points = (net.points * r)[cap] @ rotation(pitch=np.pi / 2 + rng.uniform(1.2, 2.2)).T
            points += np.array([0.25 * r, rng.choice([-1, 1]) * 0.9 * r, 0])
            form.deposit(
                (points @ turn.T + lift).astype(np.float32), _areas(net, r)[cap], "chorion", WALL_UM * look.shell_wall
            )
    form.gloss = look.body_gloss
    _rough(form, rng, look, r)
    form.bump = None
