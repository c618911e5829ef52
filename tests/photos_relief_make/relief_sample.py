"""What is in a sample: the lot's looks, how many of each stage, and each object's model."""

from typing import NamedTuple

import numpy as np
import relief_eggs as eggs
import relief_larva as larva
import relief_others as others
from relief_light import OPTICS
from relief_physics import buckled_shells, grown


class Look(NamedTuple):
    """How the cysts and nauplii of a lot look."""

    cyst_um: float
    nauplius_um: float
    optics: dict
    wall: float
    shell_wall: float
    bleached: float
    bleached_share: float
    cyst_gloss: float
    body_gloss: float
    bumpy: float
    plump: float
    yolk_rich: float
    lugol: bool
    chorion_tile: np.ndarray
    yolk_tile: np.ndarray


class Mix(NamedTuple):
    """How many objects, and how they lie."""

    total: int
    hatch: float
    umbrella: float
    shells: float
    dirt: float
    clumped: float
    dents: float  # share of cysts that are dented
    depth_um: float
    lying: bool


class Thing(NamedTuple):
    """One object: its stage, its form's name, a length, and how to fill a relief with it."""

    stage: str
    detail: str
    length_um: float
    reach_um: float  # a circle that holds it all
    core_um: float  # the circle that keeps others off
    height_um: float
    gives: object


def lot(rng, lugol: bool, cloth: bool) -> Look:
    """Return the looks of a lot; on a sieve's cloth all is packed denser, as it is drained."""
    optics = {stuff: tuple(np.array(x, float) for x in entry) for stuff, entry in OPTICS.items()}

    def tone(stuff, soak, hue):
        k, s, n = optics[stuff]
        optics[stuff] = (k * soak * np.exp(np.array([1, 0, -1]) * hue), s, n)

    tone("chorion", rng.lognormal(0, 0.30), rng.normal(0, 0.16))
    tone("yolk", rng.lognormal(0, 0.25), np.clip(rng.normal(0, 0.2), -0.3, 0.3))
    if cloth:
        k, s, n = optics["tissue"]
        optics["tissue"] = (k * 1.8, s * 1.8, n)
    if lugol:
        for stuff, stain in {
            "yolk": (0.007, 0.015, 0.024),
            "tissue": (0.0045, 0.010, 0.018),
            "skin": (0.012, 0.022, 0.036),
        }.items():
            k, s, n = optics[stuff]
            optics[stuff] = (k + np.array(stain) * rng.uniform(0.5, 1.1), s, n)
    cyst = rng.uniform(212, 262)
    return Look(
        cyst_um=cyst,
        nauplius_um=float(np.clip(cyst * rng.normal(1.93, 0.06), 415, 515)),
        optics=optics,
        wall=rng.uniform(0.9, 1.5),
        shell_wall=rng.uniform(0.55, 0.85) * (1.35 if cloth else 1.0),
        bleached=rng.uniform(0.3, 0.5),
        bleached_share=0.04,
        cyst_gloss=rng.uniform(0.5, 1.3),
        body_gloss=rng.uniform(0.4, 0.9),
        bumpy=rng.uniform(0.4, 1.3),
        plump=rng.uniform(0.92, 1.05),
        yolk_rich=rng.uniform(0.75, 1.15) * (1.25 if cloth else 1.0),
        lugol=lugol,
        chorion_tile=grown(int(rng.integers(3))),
        yolk_tile=grown(0),
    )


def contents(rng, look: Look, mix: Mix, points: int, hatched: bool) -> list[Thing]:
    """Return the things of a sample, in no order."""
    lost = np.concatenate([rng.uniform(0.0, 0.015, 3), rng.uniform(0.09, 0.30, 5), rng.uniform(0.02, 0.16, 4)])
    shells = buckled_shells(rng, lost)
    things = []
    if hatched:
        full = mix.total / (1 + mix.hatch * mix.shells + mix.dirt)
        n_nauplii = min(round(full * mix.hatch + rng.normal(0, 1)), round(full) - 2)
        n_umbrella = rng.binomial(round(full) - n_nauplii, mix.umbrella)
        n_cysts = round(full) - n_nauplii - n_umbrella
        things += [_nauplius(rng, look, mix) for _ in range(n_nauplii)]
        things += [_umbrella(rng, look, shells, points) for _ in range(n_umbrella)]
        things += [_cyst(rng, look, mix, shells, points) for _ in range(n_cysts)]
        things += [_shell(rng, look, shells, points) for _ in range(max(2, rng.poisson(n_nauplii * mix.shells)))]
    things += [_dirt(rng, look, mix, hatched) for _ in range(rng.poisson(mix.total * mix.dirt) + (0 if hatched else 6))]
    rng.shuffle(things)
    return things


def _nauplius(rng, look, mix):
    instar = 2 if rng.random() < (0.03 if mix.lying else 0.09) else 1
    length = look.nauplius_um * (1.0 if instar == 1 else 1.17) * rng.normal(1, 0.045)
    detail, turn = larva.turn_of(rng, lying=mix.lying)
    limp, torn = look.lugol, ""
    if rng.random() < 0.06:
        limp, detail = True, "dead"
        torn = str(rng.choice(["", "", "tail", "limbs"]))
    height = 40 if mix.lying or detail == "dead" else rng.uniform(40, mix.depth_um + 41)

    def fill(form, rng):
        larva.nauplius(form, rng, look, length, turn, instar=instar, mood="limp" if limp else "swim", torn=torn)

    return Thing("nauplius", detail, length, 0.95 * length, 0.44 * length, height, fill)


def _umbrella(rng, look, shells, points):
    kind = str(rng.choice(["early", "hanging", "hanging", "free"], p=[0.3, 0.3, 0.3, 0.1]))
    size = look.cyst_um * rng.normal(1, 0.04)
    net = eggs.net_of(shells, int(rng.integers(3)), points)

    def fill(form, rng):
        eggs.umbrella(form, rng, look, net, size, kind)

    return Thing("umbrella", kind, size * 1.4, 2.1 * size, 0.78 * size, 5, fill)


def _cyst(rng, look, mix, shells, points):
    dented = rng.random() < mix.dents
    size = look.cyst_um * rng.normal(1, 0.05)
    net = eggs.net_of(shells, int(rng.integers(3, 8) if dented else rng.integers(3)), points)

    def fill(form, rng):
        eggs.cyst(form, rng, look, net, size)

    return Thing("cyst", "dented" if dented else "round", size, 0.75 * size, 0.5 * size, 0, fill)


def _shell(rng, look, shells, points):
    kind = str(rng.choice(["slit", "bowl", "cap", "halves", "fragment"], p=[0.18, 0.34, 0.26, 0.12, 0.10]))
    size = look.cyst_um * rng.normal(1.0, 0.05)
    net = eggs.net_of(shells, int(rng.integers(8, 12)), points)
    wide = 1.3 if kind in ("cap", "halves") else 1.0

    def fill(form, rng):
        eggs.shell(form, rng, look, net, size, kind)

    return Thing("shell", kind, size, 1.6 * size, 0.5 * size * wide, rng.choice([0, rng.uniform(0, 60)]), fill)


def _dirt(rng, look, mix, hatched):
    names = ["bubble", "fibre", "grain", "fleck", "algae", "rotifer", "ciliate", "copepod"]
    share = np.array([0.20, 0.16, 0.16, 0.24, 0.14, 0.03, 0.05, 0.02])
    if hatched:
        names, share = [*names, "moult", "limb"], np.append(share, [0.05, 0.05])
    name = str(rng.choice(names, p=share / share.sum()))
    reach = others.RADIUS[name]

    def fill(form, rng):
        others.MAKERS[name](form, rng, look)

    height = rng.uniform(0, mix.depth_um) if name in ("rotifer", "ciliate", "copepod", "bubble") else 2
    core = {"fibre": 150, "copepod": 300, "moult": 220, "bubble": 80}.get(name, 0.5 * reach)
    return Thing("debris", name, 1.2 * reach, reach, core, height, fill)
