"""What was found and is no body: images of lamps in the water's surface, and shadows on the floor.

Each is told by what it has in common with its like in the same photo, and by being unlike the bodies. The images of one
lamp's lights are of one colour, as no bodies are, and lighter by far than any body in some channel. A shadow has the
colour of the floor, only darker, and lies beside the body that casts it, all shadows of a photo on the same side.
Single ones say nothing: a pale shell may be as grey as a shadow, and lie beside a nauplius by chance.
"""

from __future__ import annotations

import numpy as np

__all__ = ["cast_shadows", "lamp_images"]

# chosen on photos that the network had not seen: tests/photos/MEASURED.md, "Counter 1.23"
FEWEST_BODIES = 15
FEWEST_IMAGES, MOST_IMAGES, MOST_SHARE = 3, 25, 0.3  # of all that was found
ALIKE, LIGHTER, ABOVE_FLOOR = 0.03, 0.2, 0.1  # logarithms: spread of images, above all bodies and above the floor
BURNT_OUT, BLACK = np.log(250.0), np.log(70.0)  # on black, bodies burnt out to white are of one colour, too
FEWEST_SHADOWS, BESIDE_BODIES = 4, 0.65  # share of what is grey and dark that must lie on one side of bodies
BY_CHANCE = 0.001  # that so many do, if bodies lay around them at random, on the likeliest of all sides
GREY, USUAL_COLOUR = 0.6, 0.15  # of the bodies' median distance from the floor's hue; what that must be at least
DARKER = -0.08  # mean logarithm of a shadow's light
NEAR_UM, FAR_UM = 60.0, 700.0  # of a shadow from its body
BEARINGS, WITHIN_DEG = np.arange(0, 360, 5), 15.0
SIDES = 360 / (2 * WITHIN_DEG)  # that have no bearing in common


def lamp_images(colours: np.ndarray, floor: np.ndarray) -> np.ndarray:
    """Which objects are images of lamps.

    Parameters
    ----------
    colours, floor : (n, 3) ndarray
        From :func:`qckit.counting.shells.body_colours.colours_of`; NaN where not known.

    Returns
    -------
    (n,) ndarray of bool
    """
    out = np.zeros(len(colours), bool)
    known = np.flatnonzero(np.isfinite(colours).all(axis=1))
    most = int(min(MOST_IMAGES, MOST_SHARE * len(known)))
    if len(known) < FEWEST_BODIES or most < FEWEST_IMAGES:
        return out
    for channel in range(3):
        order = known[np.argsort(-colours[known, channel], kind="stable")]
        steps = -np.diff(colours[order[: most + 1], channel])
        n = int(steps[FEWEST_IMAGES - 1 :].argmax()) + FEWEST_IMAGES
        these = order[:n]
        alike = (
            colours[these].std(axis=0).max() <= ALIKE
            and np.abs(colours[these] - np.median(colours[these], axis=0)).max() <= 2 * ALIKE
        )
        burnt_out = colours[these].min() > BURNT_OUT and np.median(floor[these]) < BLACK
        lighter = steps[n - 1] >= LIGHTER and np.median((colours - floor)[these].mean(axis=1)) > ABOVE_FLOOR
        out[these] |= alike and lighter and not burnt_out
    return out


def cast_shadows(colours: np.ndarray, floor: np.ndarray, rows_um: np.ndarray, cols_um: np.ndarray) -> np.ndarray:
    """Which objects are shadows.

    Parameters
    ----------
    colours, floor : (n, 3) ndarray
        From :func:`qckit.counting.shells.body_colours.colours_of`; NaN where not known.
    rows_um, cols_um : (n,) ndarray
        Centres. [µm]

    Returns
    -------
    (n,) ndarray of bool
    """
    from scipy.special import bdtrc

    out = np.zeros(len(colours), bool)
    light = (colours - floor).mean(axis=1)
    hue = np.linalg.norm(colours - floor - light[:, None], axis=1)
    known = np.isfinite(hue)
    if known.sum() < FEWEST_BODIES:
        return out
    usual = float(np.median(hue[known]))
    grey = known & (hue < GREY * usual) & (light < DARKER)
    if usual < USUAL_COLOUR or grey.sum() < FEWEST_SHADOWS:
        return out
    which, bodies = np.flatnonzero(grey), np.flatnonzero(known & ~grey)
    down, right = (at[which][:, None] - at[bodies] for at in (rows_um, cols_um))
    apart = np.hypot(down, right)
    beside = (apart > NEAR_UM) & (apart < FAR_UM)
    bearing = np.degrees(np.arctan2(down[beside], right[beside]))
    off = np.abs((bearing - BEARINGS[:, None] + 180) % 360 - 180)
    cast = np.zeros((len(which), len(BEARINGS)), bool)
    np.logical_or.at(cast, np.nonzero(beside)[0], (off < WITHIN_DEG).T)
    side = cast[:, cast.sum(axis=0).argmax()]
    n = int(side.sum())
    if n >= max(FEWEST_SHADOWS, BESIDE_BODIES * len(which)):
        by_chance = SIDES * bdtrc(n - 1, len(which), cast.mean())  # n or more of a binomial distribution
        out[which[side]] = by_chance < BY_CHANCE
    return out
