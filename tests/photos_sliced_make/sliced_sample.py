"""What is in a sample: how many of each, how they lie, and what the lot looks like."""

from typing import NamedTuple

import numpy as np
from sliced_animals import alga, ciliate, copepod, moult, nauplius, rotifer
from sliced_dirt import bubble, fibre, fleck, grain, salt
from sliced_shells import cyst, shell, umbrella
from sliced_volume import Material, Model, turned


class Look(NamedTuple):
    """The colours and sizes of one lot."""

    hues: dict  # name of a material -> factors on what it takes up and on its colour
    lugol: bool
    cyst_um: float
    nauplius_um: float

    def stuff(self, rng, material: Material, spread: float) -> Material:
        """Return a material as this lot has it, and a little different in each object."""
        absorb, colour = self.hues.get(material.name, (1.0, 1.0))
        one = np.exp(rng.normal(0, spread))
        return material.changed(absorb=absorb * one, scatter=one**0.5, colour=colour * np.exp(rng.normal(0, 0.03, 3)))


def lot(rng) -> Look:
    """Return the look of one lot."""
    brown = np.exp(rng.normal(0, 1, 3) * [0.08, 0.05, 0.08])
    orange = np.exp(rng.normal(0, 1, 3) * [0.15, 0.10, 0.15])
    pale = np.exp(rng.normal(0, 0.15))
    lugol = bool(rng.random() < 0.12)
    stain = np.array([3.0, 3.2, 3.4]) if lugol else 1.0
    tan = np.array([0.55, 0.42, 0.35]) if lugol else 1.0
    hues = {
        "cyst": (1 / brown, brown**0.7 * (0.75 if lugol else 1)),
        "wall": (1 / brown, brown**0.7),
        "embryo": (stain**0.6 / orange, orange**0.5 * tan),
        "skin": ((2 if lugol else 1) * stain * pale, tan),
        "limb": ((2 if lugol else 1) * stain * pale, tan),
    }
    return Look(hues, lugol, rng.uniform(208, 258), rng.uniform(415, 505))


class Mix(NamedTuple):
    """How a kind of photo is filled."""

    counted: int
    dirt: int
    wet: str  # "deep": swimming in water; "flat": in a thin layer; "stuck": on a mesh out of water
    clumped: float
    deep_um: float


def contents(rng, look: Look, mix: Mix, hatched: bool) -> list[Model]:
    """Return the objects of a sample, with as many shells as the hatch left, or only what lives beside them."""
    made = []
    if hatched:
        share = rng.choice(
            [rng.uniform(0.2, 0.45), rng.uniform(0.45, 0.7), rng.uniform(0.7, 0.93)], p=[0.25, 0.35, 0.4]
        )
        parts = np.array([share, share * rng.uniform(0.04, 0.2), 1.05 - share, share * rng.uniform(0.9, 1.3) + 0.04])
        numbers = rng.multinomial(mix.counted, parts / parts.sum())
        late = rng.random() < 0.3
        made += [_animal(rng, look, mix, late) for _ in range(numbers[0])]
        radius = look.cyst_um / 2
        for make, number in zip((umbrella, cyst), numbers[1:3]):
            made += [make(rng, radius * np.exp(rng.normal(0, 0.045)), look) for _ in range(number)]
        firm = look
        if mix.wet == "stuck":  # what a rinsed sieve keeps is the thicker, larger pieces
            absorb, colour = look.hues["wall"]
            firm = look._replace(hues=look.hues | {"wall": (1.7 * absorb, colour)})
        for _ in range(numbers[3]):
            one = radius * np.exp(rng.normal(0, 0.045))
            made.append(shell(rng, one, firm, splinters=mix.wet != "stuck"))
        made += [moult(rng, look.nauplius_um, look) for _ in range(rng.poisson(1.5 if late else 0.2))]
    beside = [rotifer, copepod, ciliate, alga]
    rng.shuffle(beside)
    dirt = [bubble, fibre, grain, salt, fleck]
    odds = rng.dirichlet([1.2, 1.2, 0.8, 0.6, 1.6])
    for _ in range(mix.dirt):
        made.append(dirt[rng.choice(5, p=odds)](rng, look))
    alive = rng.random() < 0.6 or not hatched
    for _ in range(rng.integers(1, 7) if alive else 0):
        made.append(beside[rng.choice(4, p=[0.6, 0.25, 0.1, 0.05])](rng, look))
    return made


def _animal(rng, look, mix, late):
    old = late and rng.random() < 0.35
    length = look.nauplius_um * np.exp(rng.normal(0, 0.05)) * (rng.uniform(1.25, 1.6) if old else 1)
    dead = look.lugol or mix.wet == "stuck" or rng.random() < 0.1
    limbs = "stuck" if mix.wet == "stuck" and rng.random() < 0.75 else "limp" if dead else "swim"
    curled = rng.random() < 0.12
    bend = rng.choice([-1, 1]) * rng.uniform(0.9, 1.9) if curled else rng.normal(0, 0.22)
    sag = -abs(rng.normal(0, 0.5 if curled else 0.25))
    model = nauplius(rng, length, look, limbs=limbs, instar=2 if old else 1, bend=bend, sag=sag)
    return model if model.detail else Model(model.stage, "curled" if curled else "", length, model.parts)


def turn_of(rng, model: Model, mix: Mix) -> tuple[np.ndarray, str]:
    """Return how an object lies, and its pose for the truth."""
    yaw = rng.uniform(0, 2 * np.pi)
    if model.stage == "nauplius":
        head_on = mix.wet == "deep" and rng.random() < 0.09
        pitch = (
            rng.choice([-1, 1]) * rng.uniform(1.0, 1.4)
            if head_on
            else rng.normal(0, 0.2 if mix.wet == "deep" else 0.07)
        )
        roll = rng.choice([0, np.pi]) + rng.choice([rng.normal(0, 0.3), rng.uniform(-1.57, 1.57)], p=[0.6, 0.4])
        side = abs(np.sin(roll))
        pose = "head-on" if head_on else "dorsal" if side < 0.45 else "oblique" if side < 0.85 else "side"
        return turned(roll, pitch, yaw), model.detail or pose
    if model.stage == "umbrella":
        return turned(rng.uniform(0, 6.28), rng.normal(0, 0.4), yaw), model.detail
    if model.detail in ("fibre", "alga", "fleck", "copepod", "rotifer", "moult"):
        return turned(rng.choice([0, np.pi]) + rng.normal(0, 0.3), rng.normal(0, 0.12), yaw), model.detail
    if model.detail == "salt":
        return turned(rng.normal(0, 0.1), rng.normal(0, 0.1), yaw), model.detail
    if model.detail == "slit":
        return turned(rng.normal(0, 0.35), rng.normal(0, 0.35), yaw), model.detail
    return turned(rng.uniform(0, 6.28), rng.uniform(-1.5, 1.5), yaw), model.detail


def height_of(rng, model: Model, mix: Mix) -> float:
    """Return how high above the floor the lowest point of an object is, um."""
    if mix.wet == "stuck":
        return 0.0
    if model.stage == "nauplius" and rng.random() < 0.55:
        return rng.uniform(0, mix.deep_um)
    if (model.stage == "shell" and rng.random() < 0.3) or (model.detail == "bubble" and rng.random() < 0.6):
        return rng.uniform(0.3, 1) * mix.deep_um
    if model.detail in ("ciliate", "rotifer", "copepod", "fibre"):
        return rng.uniform(0, 0.6) * mix.deep_um
    return rng.uniform(0, 15)


def radius_of(model: Model) -> float:
    """Return how much room an object asks for, um."""
    if model.stage == "nauplius":
        return 0.30 * model.length_um
    if model.detail in ("fibre", "alga"):
        return 40.0
    if model.detail == "copepod":
        return 0.3 * model.length_um
    if model.stage == "umbrella":
        return 0.45 * model.length_um
    if model.detail == "halves":
        return 0.75 * model.length_um
    return 0.5 * model.length_um
