"""The single count that spoils a check: one photo whose two counts lie far from what all the others say."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from qckit.robust import robust_sd
from qckit.stages import STAGE_COLUMNS, STAGE_RECORDS

__all__ = ["Suspect", "find_exchanged", "find_suspects", "say_exchanged", "say_suspect"]

_FAR = 5.0  # robust standard deviations; 3.5 is usual (Iglewicz and Hoaglin 1993, from memory), a check needs more
_LESS_APART = 1 / 3  # of the differences is left where two columns of a table are exchanged
_LEAST_APART = 0.3  # of the objects of both; less may be a camera that takes some of each for the other
_SLIPS = (10.0, 0.1, 100.0, 0.01)
_SLIP_NEAR = 1.3  # within this factor of ten times, a slip of a digit is named


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """One count of one photo that does not go with the others.

    ``expected`` is what the other photos' counts make likely by eye for this photo; ``slip`` is 10, 0.1, 100 or 0.01
    where the count by eye looks like the expected one with a digit too many or too few, else 0.
    """

    photo: str
    column: str
    by_kit: float
    by_eye: float
    expected: float
    distance: float
    slip: float


def find_suspects(photos, by_kit, by_eye) -> list[Suspect]:
    """Find counts by eye that lie far from the kit's, when every other photo's do not.

    Parameters
    ----------
    photos : sequence of str, length n
    by_kit, by_eye : DataFrame, shape (n, any)
        The counted stages' columns of the log (nauplii, umbrella, cysts, shells), rows as in ``photos``.

    Returns
    -------
    list of Suspect
        The farthest first. At most a third of the photos: where more disagree it is the camera, not a slip.

    Notes
    -----
    By stage, counts by eye are expected at a common multiple of the kit's (the middle of the photos' ratios). What is
    left is divided by its counting error and compared with the middle of the absolute values over photos (a modified
    z-score), never with less than the counting error itself.
    """
    found = []
    for column in STAGE_COLUMNS.values():
        kit, eye = (np.asarray(frame[column], float) for frame in (by_kit, by_eye))
        if len(kit) < 3 or kit.sum() + eye.sum() < 10:
            continue
        times = float(np.median((eye + 0.5) / (kit + 0.5)))
        expected = times * (kit + 0.5) - 0.5
        rest = (eye - expected) / np.sqrt(np.maximum(expected, 0) + times**2 * kit + 1)
        scale = max(1.0, robust_sd(rest))
        for i in np.flatnonzero(np.abs(rest) > _FAR * scale):
            found.append(
                Suspect(
                    photo=str(list(photos)[i]),
                    column=column,
                    by_kit=float(kit[i]),
                    by_eye=float(eye[i]),
                    expected=float(max(expected[i], 0)),
                    distance=float(abs(rest[i]) / scale),
                    slip=_slip(eye[i], expected[i]),
                )
            )
    found.sort(key=lambda s: -s.distance)
    return found if len({s.photo for s in found}) <= max(1, len(kit) // 3) else []


def find_exchanged(by_kit, by_eye) -> tuple[str, str] | None:
    """Find two stages whose counts agree only where one of the tables has their columns exchanged.

    Parameters
    ----------
    by_kit, by_eye : DataFrame, shape (n, any)
        As for :func:`find_suspects`.

    Returns
    -------
    (str, str) or None
        Columns of the two stages; None where exchanging them leaves more than a third of the differences, or the
        counts differ by less than three in ten of the objects.
    """
    found, least = None, _LESS_APART
    for pair in combinations(STAGE_COLUMNS.values(), 2):
        kit, eye = (frame[list(pair)].to_numpy(float) for frame in (by_kit, by_eye))
        apart, exchanged = np.abs(kit - eye).sum(), np.abs(kit - eye[:, ::-1]).sum()
        if apart >= _LEAST_APART * eye.sum() and apart > 0 and exchanged / apart < least:
            found, least = pair, exchanged / apart
    return found


def say_exchanged(pair: tuple[str, str]) -> str:
    """Say which two stages are exchanged, and where to look."""
    one, other = (next(s.plural for s in STAGE_RECORDS if s.column == column) for column in pair)
    return (
        f"The counts by eye agree with those by the kit where {one} and {other} are exchanged. Look whether these two "
        "columns stand the other way round in the table of the counts by eye, and at a checked picture, before "
        "anything is concluded from this check."
    )


def _slip(eye, expected):
    """By how many times a slip of a digit would have changed the expected count; 0 where none explains it."""
    for times in _SLIPS:
        likeness = max(eye, 0.1) / max(expected * times, 1e-9)
        if expected * times >= 1 and 1 / _SLIP_NEAR < likeness < _SLIP_NEAR:
            return times
    return 0.0


def say_suspect(suspect: Suspect) -> str:
    """Say which count to look at again, and what it may be."""
    plural = next(s.plural for s in STAGE_RECORDS if s.column == suspect.column)
    slip = f" A slip of a digit would explain it ({suspect.expected:.0f}?)." if suspect.slip else ""
    return (
        f"Photo {suspect.photo}: {suspect.by_eye:.0f} {plural} by eye and {suspect.by_kit:.0f} by the kit, "
        f"where the other photos' counts make about {suspect.expected:.0f} likely.{slip} Count this photo again by eye "
        "and look at its checked picture before anything is concluded from this check."
    )
