"""What a cause does to the stage mix, drawn many times over what nobody knows of it.

A stage mix is (nauplii, umbrellas, cysts, shells) per full cyst of a usual hatch. Every cause is tried at many
strengths, each with its own draw of where embryos stop, what is gone, what comes back; the likelihood is averaged over
the draws. The draws are the same every time, so that the same records give the same page.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from qckit.verdicts.poor_hatch.causes import Cause

__all__ = ["N_DRAWS", "Draws", "act", "draws_of", "figures_of", "later_mix", "plain_draws", "without_umbrella"]

N_DRAWS = 500
_LEAST, _MOST = 0.04, 0.97  # share of the nauplii that a cause may cost


@dataclass(frozen=True)
class Draws:
    """Draws of one cause: everything has shape (n,), ``sort`` (n, 4)."""

    kind: str
    loss: np.ndarray
    umbrella: np.ndarray
    gone: np.ndarray
    back: np.ndarray
    recover: np.ndarray
    shells: np.ndarray
    closed: np.ndarray
    sort: np.ndarray
    fade: np.ndarray  # what a day does to nauplii: share lost until a later reading
    on: np.ndarray  # share of the usual umbrellas that hatch until then
    fresh: np.ndarray  # how much of an error of sampling or counting another count repeats
    order: np.ndarray  # a permutation, so that two causes are paired freely
    closed_in: np.ndarray  # share of the umbrellas that are taken for cysts where nobody counts umbrella stages

    @property
    def n(self) -> int:
        """Number of draws."""
        return len(self.loss)


def draws_of(item: Cause | None, n: int = N_DRAWS) -> Draws:
    """Draw what is not known of a cause; None for no cause at all.

    Parameters
    ----------
    item : Cause or None
    n : int

    Returns
    -------
    Draws
        Strengths are spread evenly over their prior (small losses are likelier than large ones).
    """
    rng = np.random.default_rng(zlib.crc32((item.code if item else "none").encode()))
    even = (rng.permutation(n) + 0.5) / n
    loss = _LEAST + (_MOST - _LEAST) * even**1.6
    trace = item.trace if item else None
    beta = (lambda pair: rng.beta(*pair, n)) if trace else (lambda pair: np.zeros(n))
    umbrella = beta(trace.umbrella if trace else ())
    if trace and trace.falls:
        umbrella = np.clip(umbrella * (1 + 0.5 * trace.falls - trace.falls * 1.6 * loss), 0.0, 1.0)
    return Draws(
        kind=trace.kind if trace else "same",
        loss=loss if trace else np.zeros(n),
        umbrella=umbrella,
        gone=beta(trace.gone if trace else ()),
        back=beta(trace.back if trace else ()),
        recover=beta(trace.recover if trace else ()),
        shells=np.exp(rng.normal(0.0, 0.8, n)),
        closed=rng.beta(0.7, 5.0, n),
        sort=rng.normal(0.0, 1.0, (n, 4)),
        fade=rng.beta(1.2, 3.5, n),
        on=rng.random(n),
        fresh=np.where(rng.random(n) < 0.7, 0.0, rng.random(n)),
        order=rng.permutation(n),
        closed_in=rng.random(n),
    )


def plain_draws(n: int = N_DRAWS) -> Draws:
    """Return the draws of a hatch without a cause (a day still does something to its nauplii)."""
    return draws_of(None, n)


def act(d: Draws, mix: np.ndarray, repeated=None):
    """Let a cause act on a stage mix.

    Parameters
    ----------
    d : Draws
        n draws.
    mix : ndarray, shape (n, 4)
        Nauplii, umbrellas, cysts, shells.
    repeated : ndarray of shape (n,), optional
        How much of the cause this count meets, 0 to 1; all of it when left out.

    Returns
    -------
    (ndarray of shape (n, 4), ndarray of shape (n, 2))
        The changed mix, and the umbrellas and cysts in it that the cause holds back.
    """
    n, u, c, s = mix.T
    w = 1.0 if repeated is None else repeated
    k = d.loss * w
    kept_back = np.zeros((len(mix), 2))
    if d.kind == "stopped":
        lost = k * n
        rest = lost * (1 - d.gone)  # the others leave a shell alone
        kept_back = np.stack([rest * d.umbrella, rest * (1 - d.umbrella)], axis=1)
        late = k * (1 - d.umbrella) * 0.5 * u  # umbrellas of a usual hatch that have not opened here
        unopened = (kept_back[:, 1] + late) / np.maximum(n + u, 1e-6)
        changed = (n - lost, u + kept_back[:, 0] - late, c + kept_back[:, 1] + late, s * (1 - unopened))
    elif d.kind == "lost":
        changed = (n * (1 - k), u * (1 - 0.3 * k * d.on), c, s)
    elif d.kind == "short":
        changed = tuple(part * (1 - k) for part in (n, u, c, s))
    elif d.kind == "unwetted":
        back = k * d.back * (n + u)
        kept_back[:, 1] = back
        changed = (n * (1 - k), u * (1 - k), c * (1 - k * (1 - d.back)) + back, s * (1 - k))
    elif d.kind == "empty":
        full = n + u + c
        changed = (n * (1 - k), u * (1 - k), c * (1 - k) + k * d.closed * full, s * (1 - k) + k * d.shells * full)
    elif d.kind == "sorted":
        # full cysts sink and shells float, so where a drop is rich in the one it is poor in the other
        both = d.sort[:, 0]
        stray = np.stack(
            [0 * both, 0.3 * d.sort[:, 1], 0.8 * both + 0.4 * d.sort[:, 2], 0.4 * d.sort[:, 3] - 0.5 * both], 1
        )
        stray = np.exp(stray * np.reshape(w, (-1, 1)) * (0.5 + d.loss[:, None]))
        along = 1 - k * d.umbrella  # a drop from above or below the bulk is poor in everything
        changed = (n * (1 - k), u * along * stray[:, 1], c * along * stray[:, 2], s * along * stray[:, 3])
    elif d.kind == "swapped":
        changed = (n, u, c + k * s, s * (1 - k))
    else:
        changed = (n, u, c, s)
    return np.maximum(np.stack(changed, axis=1), 1e-4), kept_back


def later_mix(d: Draws, mix: np.ndarray, kept_back: np.ndarray, days: float = 1.0) -> np.ndarray:
    """Return the mix some hours later: some of those held back hatch, a share of the nauplii is lost.

    Parameters
    ----------
    d : Draws
    mix, kept_back : ndarray, shapes (n, 4) and (n, 2)
        As :func:`act` returns them.
    days : float
        Time from the one count to the other. Up to a day as much is taken to happen in every hour; a second day adds
        nothing.

    Returns
    -------
    ndarray, shape (n, 4)
    """
    n, u, c, s = mix.T
    part = min(days, 1.0)
    came = (1 - (1 - d.recover[:, None]) ** part) * kept_back
    opened_late = np.maximum(u - kept_back[:, 0], 0.0) * d.on * 0.7  # they need an hour or two
    slow = np.maximum(c - kept_back[:, 1], 0.0) * 0.15 * d.on * part
    opened = np.maximum(n + u, 1e-6)
    shells = s * (1 + (came[:, 1] + slow) / opened)
    free = (n + came.sum(axis=1) + opened_late + slow) * (1 - d.fade) ** part
    return np.maximum(np.stack([free, u - came[:, 0] - opened_late, c - came[:, 1] - slow, shells], axis=1), 1e-4)


def without_umbrella(d: Draws, mix: np.ndarray) -> np.ndarray:
    """Return the mix as it is counted where nobody counts umbrella stages: some pass for cysts, the rest for nothing.

    Parameters
    ----------
    d : Draws
    mix : ndarray, shape (n, 4)

    Returns
    -------
    ndarray, shape (n, 4)
        Without umbrellas (a trace of them is left, so that logarithms are finite).
    """
    n, u, c, s = mix.T
    return np.stack([n, np.full_like(u, 1e-4), c + d.closed_in * u, s], axis=1)


def figures_of(mix: np.ndarray) -> np.ndarray:
    """Return the four figures of stage mixes, shape (n, 4): log opened over unopened, log free over umbrellas, log
    shells over opened, and log full cysts (relative to the usual hatch's amount)."""
    n, u, c, s = np.maximum(mix, 1e-4).T
    return np.stack([np.log((n + u) / c), np.log(n / u), np.log(s / (n + u)), np.log(n + u + c)], axis=1)
