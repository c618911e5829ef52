"""What bodies are made of: absorption and scattering per micrometre, varied from strain to strain."""

from dataclasses import dataclass

import numpy as np


@dataclass
class Stuff:
    """Absorption and scattering (3,) each of all the tissues of one hatch."""

    clear: tuple
    yolk: tuple
    eye: tuple
    gut: tuple
    embryo: tuple
    wall: tuple
    crust: tuple
    membrane: tuple


def stuff_of(rng, lugol):
    """Draw a hatch's tissues; iodine (``lugol``) browns all that lives."""
    f = np.float32

    def vary(values, spread=0.12):
        return np.asarray(values, f) * f(np.exp(rng.normal(0, spread))) * np.exp(rng.normal(0, 0.05, 3)).astype(f)

    wall = vary((0.021, 0.044, 0.080), 0.18)
    crust = vary((0.0085, 0.0185, 0.038), 0.18)
    one = Stuff(
        clear=(vary((0.0006, 0.0009, 0.0016)), vary((0.0016, 0.0015, 0.0013))),
        yolk=(vary((0.0011, 0.0084, 0.0190), 0.2), vary((0.0085, 0.0046, 0.0017))),
        eye=(vary((0.035, 0.13, 0.14)), vary((0.004, 0.0012, 0.001))),
        gut=(vary((0.004, 0.008, 0.012), 0.3), vary((0.003, 0.0025, 0.0015))),
        embryo=(vary((0.0015, 0.0088, 0.0190), 0.15), vary((0.0085, 0.0046, 0.0017))),
        wall=(wall, wall * np.asarray((0.75, 0.33, 0.15), f)),
        crust=(crust, crust * np.asarray((0.29, 0.135, 0.066), f)),
        membrane=(vary((0.002, 0.0024, 0.003)), vary((0.006, 0.006, 0.0065))),
    )
    if lugol:
        brown = np.asarray((0.0035, 0.0085, 0.0130), f)
        one.clear = (one.clear[0] + brown * 0.7, one.clear[1])
        one.yolk = (one.yolk[0] + brown, one.yolk[1])
        one.embryo = (one.embryo[0] + brown, one.embryo[1])
    return one


def mix(parts):
    """Blend tissues: ``parts`` is a list of ((absorbed, scattered), share (n,))."""
    absorbed = sum(t[0][:, None] * share for t, share in parts)
    scattered = sum(t[1][:, None] * share for t, share in parts)
    return absorbed, scattered


def step_up(x, low, high):
    """0 below ``low``, 1 above ``high``, smooth between."""
    h = np.clip((x - low) / (high - low), 0, 1)
    return h * h * (3 - 2 * h)
