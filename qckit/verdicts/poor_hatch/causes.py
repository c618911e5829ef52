"""The causes of a poor hatch that the kit knows: the trace each leaves in the stage mix, and which reading tells of it.

A trace is written as moves between stages ("of the nauplii, so many stay umbrellas"), from the published signs of each
failure. What a reading of a given size should cost is a rough table per cause, kept apart from any simulation; the
site's own hatches correct it where there are enough of them.

References
----------
.. [1] Lavens P., Thongrod S., Sorgeloos P. 2000. Ch. 6 in New and Valenti (eds) Freshwater Prawn Culture. Blackwell.
.. [2] New M.B. 2002. FAO Fisheries Technical Paper 428, Annex 4.
.. [3] Lavens P., Sorgeloos P. (eds) 1996. FAO Fisheries Technical Paper 361, ch. 4 (from memory).
.. [4] Lavens P., Tackaert W., Sorgeloos P. 1986. Mar. Ecol. Prog. Ser. 31:197-203.
.. [5] Vanhaecke P., Lavens P., Sorgeloos P. 1983. Ann. Soc. r. zool. Belg. 113:155-164.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["CAUSES", "STRENGTHS", "Cause", "cause", "moves"]

STRENGTHS = (0.06, 0.12, 0.2, 0.3, 0.42, 0.55, 0.7, 0.85, 0.96)
"""Share of the nauplii a cause may cost; every trace is tried at each."""


@dataclass(frozen=True)
class Cause:
    """One cause.

    ``trace`` names the moves (see :func:`moves`); ``quantity`` the reading that tells of it, ``table`` the loss that
    readings of some sizes should cost (value, share of nauplii lost), ``side`` which way is bad; ``shared`` how often
    other hatches of the same day meet it too, and among which (``lot``, ``room`` or ``cone``); ``same_trace`` names
    causes that a count of one reading cannot tell from this one.
    """

    code: str
    words: str
    trace: str
    sign: str
    source: str
    reach: str = "cone"
    shared: float = 0.05
    quantity: str = ""
    side: str = ""
    table: tuple[tuple[float, float], ...] = ()
    noise: float = 0.0  # standard uncertainty of one reading, in its unit (ours)
    same_trace: tuple[str, ...] = ()
    prior: float = 1.0


CAUSES = (
    Cause(
        "cold",
        "the water was too cold",
        "late",
        "late: many umbrellas and unopened cysts, fewer of both a day later",
        "Lavens et al. 2000; signs: common practice, no source",
        "room",
        0.4,
        "temperature",
        "low",
        ((18, 0.95), (20, 0.75), (22, 0.5), (23, 0.36), (24, 0.22), (25, 0.1), (26, 0.04), (27, 0.01), (28, 0)),
        0.5,
        ("early",),
    ),
    Cause(
        "hot",
        "the water was too hot for a while",
        "heat",
        "unopened cysts and dead umbrellas that stay so",
        "Lavens et al. 2000, New 2002; signs: common practice, no source",
        "room",
        0.3,
        "temperature",
        "high",
        ((31, 0), (32, 0.05), (33, 0.15), (34, 0.35), (36, 0.7), (38, 0.9), (40, 0.97)),
        0.5,
    ),
    Cause(
        "salt",
        "the water was too salty",
        "slowed",
        "cysts stay unopened, others open late",
        "Lavens et al. 2000; signs: common practice, no source",
        "room",
        0.4,
        "salinity",
        "high",
        ((36, 0), (40, 0.04), (48, 0.1), (60, 0.25), (70, 0.45), (80, 0.75), (90, 0.97)),
        1.0,
        ("embryos", "unwetted", "dark"),
    ),
    Cause(
        "ph",
        "the pH was too low",
        "arrest",
        "cysts open, but the embryos stay in the membrane (umbrellas)",
        "Lavens et al. 2000; sign from memory of FAO Technical Paper 361",
        "cone",
        0.3,
        "ph",
        "low",
        ((7.0, 0.93), (7.2, 0.85), (7.4, 0.65), (7.6, 0.38), (7.8, 0.14), (8.0, 0.03), (8.2, 0)),
        0.07,
        ("oxygen",),
    ),
    Cause(
        "oxygen",
        "the air was weak and the oxygen too low",
        "starved",
        "umbrellas and unopened cysts, settled, stalled",
        "New 2002; signs: common practice, no source",
        "cone",
        0.05,
        "oxygen",
        "low",
        ((1, 0.97), (1.5, 0.9), (2, 0.75), (3, 0.35), (4, 0.12), (5, 0.03), (6, 0)),
        0.3,
        ("ph", "crowded"),
    ),
    Cause(
        "dark",
        "it stood in the dark at the start",
        "slowed",
        "few cysts open; they recover with light",
        "Lavens et al. 2000",
        "room",
        0.3,
        "light",
        "low",
        ((0, 0.4), (100, 0.3), (300, 0.15), (800, 0.04), (1500, 0)),
        80.0,
        ("salt", "embryos", "unwetted"),
    ),
    Cause(
        "early",
        "it was counted too early",
        "late",
        "umbrellas and unopened cysts that are still on their way",
        "FAO Technical Paper 361 (from memory): read at 24 h",
        "cone",
        0.05,
        "hours",
        "low",
        ((12, 0.97), (14, 0.8), (16, 0.5), (18, 0.25), (20, 0.1), (22, 0.03), (23.5, 0)),
        0.3,
        ("cold",),
    ),
    Cause(
        "overlong",
        "it stood too long before it was counted",
        "lost",
        "older, paler, longer nauplii; some are lost",
        "Vanhaecke et al. 1983; harvest at T90",
        "cone",
        0.05,
        "hours",
        "high",
        ((26, 0), (32, 0.04), (40, 0.12), (48, 0.22), (60, 0.38), (72, 0.5)),
        0.3,
        ("broken", "missed", "gradient"),
    ),
    Cause(
        "crowded",
        "too many cysts per litre",
        "crowded",
        "foam, oxygen and pH fall, umbrellas, hurt nauplii",
        "Lavens et al. 2000: at most 5 g/l in small vessels",
        "cone",
        0.05,
        "density",
        "high",
        ((5, 0), (6, 0.08), (7, 0.25), (8, 0.45), (10, 0.75), (12, 0.92)),
        0.15,
        ("ph", "oxygen"),
    ),
    Cause(
        "unwetted",
        "cysts dried on the wall or lay settled",
        "unwetted",
        "cysts on the wall were never wetted; fewer objects of every kind in the water",
        "common practice, no source",
        "cone",
        0.05,
        "wall",
        "yes",
        (),
        0.0,
        ("embryos", "salt", "dark"),
    ),
    Cause(
        "broken",
        "strong air broke the nauplii",
        "lost",
        "shells say they hatched, but the nauplii are gone",
        "common practice, no source",
        "cone",
        0.05,
        "air",
        "yes",
        (),
        0.0,
        ("missed", "overlong", "gradient"),
    ),
    Cause(
        "embryos",
        "the lot's embryos are dead or still resting",
        "blocked",
        "healthy-looking cysts that do not open, in every cone of this lot",
        "Lavens et al. 1986 (resting embryos)",
        "lot",
        0.95,
        "",
        "",
        (),
        0.0,
        ("salt", "dark", "unwetted"),
    ),
    Cause(
        "empty",
        "this portion of the product was rich in empty shells",
        "empty",
        "few full cysts per gram and more shells than hatched cysts explain",
        "Vanhaecke and Sorgeloos 1983 (efficiency against percentage)",
        "lot",
        0.95,
    ),
    Cause(
        "amount",
        "less was weighed in, or a volume was not what was written",
        "short",
        "every stage falls alike; the percentage is normal",
        "arithmetic of the dilution",
        "cone",
        0.05,
    ),
    Cause(
        "missed",
        "the count missed nauplii",
        "lost",
        "shells say they hatched, but few nauplii were counted",
        "arithmetic of the count",
        "cone",
        0.05,
        "flags",
        "yes",
        (),
        0.0,
        ("broken", "overlong", "gradient"),
    ),
    Cause(
        "gradient",
        "light had drawn the nauplii away from where the samples were taken",
        "lost",
        "shells say they hatched, few nauplii beside them, and subsamples that differ in their share of nauplii",
        "Merchie in FAO Technical Paper 361, 4.3.1 (nauplii swim to light)",
        "cone",
        0.05,
        "lit side",
        "yes",
        (),
        0.0,
        ("missed", "broken", "overlong"),
    ),
    Cause(
        "swapped",
        "the count took shells for cysts",
        "swapped",
        "too many cysts, too few shells, more full cysts than weighed in",
        "arithmetic of the count",
        "cone",
        0.05,
        "flags",
        "yes",
    ),
    Cause(
        "uneven",
        "the subsamples were not drawn from well mixed water",
        "same",
        "subsamples differ by more than chance",
        "FAO Technical Paper 361 (from memory): counting error of mixed subsamples",
        "cone",
        0.05,
    ),
)


def cause(code: str) -> Cause:
    """Return a cause by its code."""
    from qckit.errors import unknown_name

    for item in CAUSES:
        if item.code == code:
            return item
    raise unknown_name("cause", code, [item.code for item in CAUSES])


def _matrix(*rows):
    return np.array(rows, dtype=float)


def moves(trace: str, strength: float):
    """Return the ways a cause of one strength may change the stage mix.

    Parameters
    ----------
    trace : str
        Name of a trace, see :data:`CAUSES`.
    strength : float
        Share of the nauplii that is lost, 0 to 1.

    Returns
    -------
    ndarray, shape (m, 4, 4)
        Matrices that turn (nauplii, umbrellas, cysts, shells) of a usual hatch into those of this one; m > 1 where
        the literature leaves open how the loss divides.
    """
    k = float(strength)
    keep = 1.0 - k

    def divided(shares):
        """Lost nauplii become umbrellas (share f) and unopened cysts; unopened ones leave no shell."""
        made = []
        for f in shares:
            opened = 1.0 - k * (1.0 - f)
            made.append(
                _matrix((keep, 0, 0, 0), (k * f, opened, 0, 0), (k * (1 - f), 1 - opened, 1, 0), (0, 0, 0, opened))
            )
        return np.array(made)

    if trace == "late":  # the later, the more of them have not even opened
        return divided((0.75 - 0.55 * k, 0.92 - 0.5 * k, 0.5 - 0.35 * k))
    if trace == "heat":  # some are harmed, the others stand still while it lasts and come late [2]
        return divided((0.1, 0.25, 0.45, 0.75 - 0.45 * k))
    if trace == "blocked":
        return divided((0.0,))
    if trace == "slowed":  # few open, and those that do come late
        return divided((0.0, 0.06, 0.15 - 0.05 * k, 0.28 - 0.15 * k))
    if trace == "arrest":
        return divided((1.0, 0.97))
    if trace == "starved":
        return divided((0.95 - 0.55 * k, 0.85 - 0.6 * k, 0.9 - 0.25 * k))
    if trace == "lost":
        return np.array([_matrix((keep, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (0, 0, 0, 1))])
    if trace == "short":
        return np.array([np.eye(4) * keep])
    if trace == "crowded":
        base = divided((0.9 - 0.3 * k, 0.7 - 0.3 * k))
        hurt = np.diag([1.0 - 0.12 * k, 1, 1, 1])
        return np.array([hurt @ m for m in base])
    if trace == "unwetted":  # half of them fall back into the water as unopened cysts, half are not in it at all
        made = []
        for back in (0.5, 0.2, 0.8):
            made.append(
                _matrix((keep, 0, 0, 0), (0, keep, 0, 0), (k * back, k * back, 1 - k * (1 - back), 0), (0, 0, 0, keep))
            )
        return np.array(made)
    if trace == "empty":
        made = []
        for extra in (1.0, 0.6):  # an empty cyst is a shell more for every full cyst less
            made.append(
                _matrix((keep, 0, 0, 0), (0, keep, 0, 0), (0, 0, keep, 0), (k * extra, k * extra, k * extra, keep))
            )
        return np.array(made)
    if trace == "swapped":
        return np.array([_matrix((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, k), (0, 0, 0, keep))])
    return np.array([np.eye(4)])  # "same"
