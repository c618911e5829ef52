"""The sample in a photo: which bodies, how many, of which strain, and where they lie."""

from dataclasses import dataclass

import numpy as np
from capsule import cyst, shell, umbrella
from cloud import Cloud, any_turn, turn_about
from dirt import dirt
from larva import nauplius, pose

BANK = {"nauplius": 20, "umbrella": 9, "cyst": 16, "shell": 22}
LUGOL = {
    "nauplius": (2.6, 2.0, 1.35),
    "umbrella": (1.6, 1.35, 1.1),
    "cyst": (1.3, 1.15, 1.0),
    "shell": (1.15, 1.1, 1.0),
}


@dataclass
class Body:
    """One body where it lies, in micrometres of the picture."""

    cloud: Cloud
    stage: str
    detail: str
    length_um: float
    height_um: float
    drift: tuple = (0.0, 0.0)


def strain(rng):
    """Mean nauplius length and cyst diameter of a strain."""
    length = rng.uniform(400, 520)
    return length, float(np.clip(225 + (length - 428) / 1.48 + rng.normal(0, 7), 218, 330))


def numbers(rng, area_mm2, most):
    """How many of each stage."""
    total = int(np.clip(rng.uniform(0.9, 3.0) * area_mm2, 34, rng.uniform(70, most)))
    hatch = float(np.clip(rng.beta(1.6, 1.0), 0.10, 0.97))
    share = rng.uniform(0, 0.12) if rng.random() < 0.85 else rng.uniform(0.12, 0.3)
    share = min(share, 1 - hatch * 0.75)
    empty = rng.uniform(0.35, 1.0)
    full = total / (1 + empty * hatch)
    umbrellas = rng.binomial(int(full), share)
    nauplii = rng.binomial(int(full) - umbrellas, hatch)
    cysts = max(int(full) - umbrellas - nauplii, 2)
    shells = max(rng.poisson(empty * nauplii + 0.5), 2)
    dirty = rng.integers(2, 13) if rng.random() < 0.85 else rng.integers(13, 26)
    return {"nauplius": max(nauplii, 3), "umbrella": umbrellas, "cyst": cysts, "shell": shells}, int(dirty)


def _states(rng):
    """The mix of a photo's nauplii: mostly fresh, some old, pale or dead."""
    old = rng.uniform(0.3, 0.9) if rng.random() < 0.15 else rng.uniform(0, 0.1)
    dead = rng.uniform(0, 0.12)
    return ["fresh", "second", "pale", "dead"], [max(1 - old - dead - 0.06, 0), old, 0.06, dead]


def bank(rng, wanted, length, diameter, fine):
    """Some dozens of clouds to draw from, each with its form and size."""
    names, odds = _states(rng)
    odds = np.array(odds) / sum(odds)
    made = {}
    for stage, n in wanted.items():
        made[stage] = []
        for _ in range(min(n, BANK[stage])):
            if stage == "nauplius":
                state = str(rng.choice(names, p=odds))
                cloud, size = nauplius(rng, length * rng.normal(1, 0.035), fine, state=state)
                made[stage].append((cloud, size, state))
            else:
                build = {"cyst": cyst, "shell": shell, "umbrella": umbrella}[stage]
                made[stage].append(build(rng, diameter * np.clip(rng.normal(1, 0.05), 0.86, 1.15), fine))
    return made


def _copy(rng, stage, entry, lugol, hue):
    """A copy of a bank's cloud, turned and recoloured; its drift while the shutter was open."""
    cloud, size, form = entry
    drift = (0.0, 0.0)
    if stage == "nauplius":
        turn, detail = pose(rng)
        if form == "fresh" and not lugol and rng.random() < 0.08:
            drift = tuple(rng.normal(0, 22, 2))
        detail = detail if form == "fresh" else {"second": "instar II"}.get(form, form)
    elif stage == "cyst":
        turn, detail = any_turn(rng), form
    else:
        turn, detail = turn_about((0, 0, 1), rng.uniform(0, 2 * np.pi)), form
        if stage == "umbrella":
            turn = turn @ turn_about((0, 1, 0), rng.normal(0, 0.25))
    if rng.random() < 0.5:
        cloud = cloud.but(pos=cloud.pos * (1, -1, 1), normal=cloud.normal * (1, -1, 1))
    shade = np.exp(rng.normal(0, 0.13)) * np.exp(rng.normal(0, 0.03, 3)) * hue
    if lugol:
        shade = shade * np.array(LUGOL[stage])
    tint = np.exp(rng.normal(0, 0.04, 3)) / (1.5 if lugol and stage == "nauplius" else 1.0)
    return cloud.turned(turn).tinted(shade, tint), detail, size, drift


def bodies(rng, ground, inside, *, hatched, lugol, length, diameter, most):
    """All bodies of a photo, placed, lowest first."""
    scale = ground.um_per_px
    fine = float(np.clip((4.0 / scale) ** 1.1, 0.3, 1.2))
    area = inside.mean() * ground.width * ground.height * scale**2 / 1e6
    wanted, dirty = numbers(rng, area, most)
    if not hatched:
        wanted = {}
    found = []
    hue = np.exp(rng.normal(0, 0.12)) * np.exp(rng.normal(0, 0.04, 3))
    for stage, entries in bank(rng, wanted, length, diameter, fine).items():
        for k in range(wanted[stage]):
            cloud, detail, size, drift = _copy(rng, stage, entries[k % len(entries)], lugol, hue)
            lift = {"nauplius": rng.choice([0, rng.uniform(0, 160)]), "shell": rng.choice([0, 0, rng.uniform(0, 120)])}
            found.append([cloud, stage, detail, size, drift, lift.get(stage, 0.0)])
    for _ in range(dirty):
        cloud, size, detail = dirt(rng, length, fine)
        found.append([cloud, "debris", detail, size, (0.0, 0.0), rng.choice([0, rng.uniform(0, 150)])])
    rng.shuffle(found)
    spots = _spots(rng, ground, inside, [_reach(f[0]) for f in found])
    placed = []
    for (cloud, stage, detail, size, drift, lift), spot in zip(found, spots):
        if spot is None:
            continue
        base = np.percentile(cloud.pos[cloud.solid if cloud.solid.any() else slice(None), 2], 1.5)
        cloud = cloud.moved((*spot, lift - base))
        cloud.pos[:, 2] = np.clip(cloud.pos[:, 2], 0, None)
        placed.append(Body(cloud, stage, detail, float(size), float(np.median(cloud.pos[:, 2])), drift))
    return sorted(placed, key=lambda b: b.height_um)


def _reach(cloud):
    """Radius of the disc a body's solid part takes up."""
    pos = cloud.pos[cloud.solid] if cloud.solid.any() else cloud.pos
    return float(np.percentile(np.hypot(*(pos[:, :2] - np.median(pos[:, :2], 0)).T), 92))


def _spots(rng, ground, inside, reaches):
    """Places: mostly apart, some touching, a few on another, drawn together here and there by the drop's currents."""
    scale = ground.um_per_px
    wide, high = ground.width * scale, ground.height * scale
    pull = ground.cloudy(ground.width / rng.uniform(3, 6), rng)
    pull = np.exp(rng.uniform(0, 0.5) * (pull - pull.max()))
    close = rng.uniform(0.06, 0.24)  # share that may lie on another
    taken, spots = np.zeros((0, 3)), []
    margin = 120.0
    for reach in reaches:
        spot = None
        near = rng.random() < close
        gap = rng.uniform(0.5, 0.85) if near else rng.uniform(0.95, 1.25)
        for _ in range(60):
            if len(taken) and rng.random() < (0.6 if near else 0.1):  # beside another one
                other = taken[rng.integers(len(taken))]
                way = rng.uniform(0, 2 * np.pi)
                step = (other[2] + reach) * max(gap, 0.5) * 1.001
                x, y = other[0] + step * np.cos(way), other[1] + step * np.sin(way)
            else:
                x, y = rng.uniform(-margin, wide + margin), rng.uniform(-margin, high + margin)
            column = int(np.clip(x / scale, 0, ground.width - 1))
            row = int(np.clip(y / scale, 0, ground.height - 1))
            if not inside[row, column] or rng.random() > pull[row, column] * 2.5:
                continue
            if len(taken) and (np.hypot(taken[:, 0] - x, taken[:, 1] - y) < gap * (taken[:, 2] + reach)).any():
                gap *= 0.985
                continue
            spot = (x, y)
            break
        spots.append(spot)
        if spot is not None:
            taken = np.vstack([taken, (*spot, reach)])
    return spots
