"""Who lies in a photo: stages by a hatch percentage, their poses and forms, and their meshes."""

from dataclasses import dataclass

import numpy as np
from hatchings import cyst, shell, umbrella
from litter import litter
from meshes import any_rotation, rotation
from nauplius import nauplius, pose_matrix


@dataclass
class Body:
    """One object: the part lists to draw (several where a limb beats), what it is and how high it lies."""

    stage: str
    detail: str
    length_um: float
    variants: list
    height_um: float
    drift_um: float = 0.0
    tone: float = 1.0


def stages(rng, count, hatch, umbrella_share):
    """How many of each stage: of ``count`` objects, shells come with the hatched ones but are partly lost."""
    n_umbrella = rng.binomial(count, umbrella_share)
    embryos = max(int(count * rng.uniform(0.62, 0.85)) - n_umbrella, 4)
    n_nauplius = int(np.clip(round(embryos * hatch), 1, embryos - 1))
    n_cyst = embryos - n_nauplius
    n_shell = max(count - embryos - n_umbrella, 2)
    if hatch < 0.25:  # few shells without hatched animals
        n_shell = max(int(n_shell * 0.4), 2)
    return {"nauplius": n_nauplius, "umbrella": n_umbrella, "cyst": max(n_cyst, 1), "shell": n_shell}


@dataclass
class Strain:
    """Sizes of one strain and the state of one photo's animals."""

    length_um: float
    cyst_um: float
    second_share: float
    dead_share: float
    floating_um: float

    @classmethod
    def pick(cls, rng, lugol):
        """A strain: nauplii of 400 to 520 um from cysts that are a little over half as wide."""
        length = rng.uniform(405, 520)
        return cls(
            float(length),
            float(np.clip(length * rng.uniform(0.52, 0.58), 220, 320)),
            rng.choice([0.0, rng.uniform(0.05, 0.4)], p=[0.7, 0.3]),
            0.3 if lugol else rng.choice([0.03, rng.uniform(0.05, 0.2)], p=[0.7, 0.3]),
            rng.choice([0.0, rng.uniform(100, 500)], p=[0.55, 0.45]),
        )


def _grounded(variants, lift):
    """Shift bodies so that the lowest point lies ``lift`` above the floor."""
    low = min(p.points[:, 2].min() for p in variants[0] if len(p.points))
    return [[p.moved(np.eye(3), (0, 0, lift - low)) for p in parts] for parts in variants]


def _nauplius(rng, strain):
    pose = str(rng.choice(["dorsal", "oblique", "side", "curled", "head_on"], p=[0.46, 0.25, 0.18, 0.07, 0.04]))
    q = rng.random()
    state = "fresh"
    if q < strain.dead_share:
        state = str(rng.choice(["dead", "pale", "torn"], p=[0.6, 0.3, 0.1]))
    elif q > 1 - strain.second_share:
        state = "second"
    length = strain.length_um * rng.normal(1, 0.045)
    parts, ghosts = nauplius(rng, length, state=state, pose=pose)
    turn = pose_matrix(rng, pose)
    # far limbs under the trunk, so limbs come before it
    variants = [[p.moved(turn) for p in (stems, *parts, bristles)] for stems, bristles in ghosts]
    drift = rng.uniform(8, 28) if state == "fresh" and rng.random() < 0.06 else 0.0
    return pose, length * (1.3 if state == "second" else 1), variants, drift


def make(rng, stage, strain, lattice, favour=None):
    """Build one object of ``stage``."""
    drift, lift = 0.0, rng.uniform(0, 25)
    radius = strain.cyst_um / 2 * rng.normal(1, 0.05)
    if stage == "nauplius":
        detail, length, variants, drift = _nauplius(rng, strain)
        lift = rng.uniform(0, 40) + rng.uniform(0, strain.floating_um)
    elif stage == "cyst":
        detail = str(rng.choice(["round", "dented", "bare"], p=[0.87, 0.11, 0.02]))
        length, variants = 2 * radius, [cyst(rng, lattice, radius, detail)]
    elif stage == "shell":
        detail = str(rng.choice(["cracked", "bowl", "halves", "crescent", "fragment"], p=[0.26, 0.32, 0.17, 0.15, 0.1]))
        parts = shell(rng, lattice, radius, detail)
        turn = any_rotation(rng)
        if detail == "crescent":  # the mouth looks sideways
            turn = rotation([0, 0, 1], rng.uniform(0, 6.28)) @ rotation([1, 0, 0], rng.uniform(0, 6.28))
            turn = turn @ rotation([0, 1, 0], rng.normal(0, 0.2))
        length, variants = 2 * radius, [[p.moved(turn) for p in parts]]
        lift = rng.uniform(0, 40) + (rng.uniform(0, strain.floating_um) if rng.random() < 0.3 else 0)
    elif stage == "umbrella":
        detail = str(rng.choice(["emerging", "half", "hanging", "membrane"], p=[0.24, 0.31, 0.29, 0.16]))
        parts = umbrella(rng, lattice, radius, detail)
        turn = rotation([0, 0, 1], rng.uniform(0, 6.28)) @ rotation([0, 1, 0], rng.normal(0, 0.25))
        turn = turn @ rotation([1, 0, 0], rng.uniform(-0.9, 0.9))
        length, variants = 2 * radius, [[p.moved(turn) for p in parts]]
    else:
        parts, detail = litter(rng, lattice, favour)
        variants = [parts]
        spread = np.concatenate([p.points for p in parts])
        length = float(np.ptp(spread, axis=0).max())
    variants = _grounded(variants, lift)
    solid = np.concatenate([p.points[:, 2] for p in variants[0] if p.form != "hair"])
    return Body(stage, detail, float(length), variants, float(solid.mean()), drift, float(np.exp(rng.normal(0, 0.16))))
