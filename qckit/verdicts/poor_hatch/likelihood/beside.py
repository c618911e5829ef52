"""What the sheets of the hatches beside one say of it: words and readings of the room, written at another cone.

A power cut, a cold night or a tank of strong salt strikes a room, and is written down once, at whatever cone was at
hand. Such a note or reading speaks for the hatches started with it as far as the cause is shared: with the share ``s``
of the day's other hatches that meet it, a likelihood ratio ``r`` at the other cone is one of ``1 - s + s r`` here (the
chance that it struck here too, averaged over; ``Cause.shared`` is ours).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.quantities import QUANTITIES, WATER
from qckit.tables import to_utc
from qckit.verdicts.poor_hatch.causes import CAUSES, cause
from qckit.verdicts.poor_hatch.likelihood.notes import Phrase, read_sheet
from qckit.verdicts.poor_hatch.likelihood.readings import log_ratio, records_of

__all__ = ["WITHIN_H", "BesideReading", "hatches_beside", "phrases_beside", "ratios_beside"]

WITHIN_H = 12.0
"""Between the starts of hatches that lie beside each other."""
_TELLS = 3.0  # a reading at another cone is shown from this likelihood ratio on


@dataclass(frozen=True)
class BesideReading:
    """A reading at another cone that speaks for a cause here."""

    cause: str
    cone: str
    quantity: str
    value: float

    @property
    def sentence(self) -> str:
        """Where and what, without a capital and a full stop."""
        q = QUANTITIES[self.quantity]
        unit = "" if self.quantity == "ph" else f" {q.written_unit}"
        return f"at cone {self.cone}, started with it, {q.label} {self.value:g}{unit}; here it was not read"


def hatches_beside(hatches: pd.DataFrame, hatch_row) -> list[dict]:
    """Return the rows of the hatches started within twelve hours of one, itself left out."""
    away = (to_utc(hatches["started"]) - pd.Timestamp(hatch_row["started"])).abs()
    near = (away <= pd.Timedelta(hours=WITHIN_H)) & (hatches["hatch"] != hatch_row["hatch"])
    return hatches[near].to_dict("records")


def phrases_beside(rows: list[dict], spoken: list[Phrase], same_text=()) -> list[Phrase]:
    """Find what the sheets of the hatches beside say of causes that strike a room.

    Parameters
    ----------
    rows : list of dict
        From :func:`hatches_beside`.
    spoken : list of Phrase
        What the hatch's own sheet says: a cause that it names is not weighed twice.
    same_text : sequence of str
        Notes of other hatches, as :func:`qckit.verdicts.poor_hatch.likelihood.notes.read_sheet` takes them.

    Returns
    -------
    list of Phrase
        The strongest of each cause; ``where`` is "cone NAME".
    """
    named = {p.cause for p in spoken}
    best: dict[str, Phrase] = {}
    for row in rows:
        for p in read_sheet(row, None, same_text):
            item = cause(p.cause)
            if item.reach != "room" or p.cause in named:
                continue
            factor = 1 + item.shared * (p.factor - 1)
            if p.cause not in best or factor > best[p.cause].factor:
                best[p.cause] = Phrase(p.cause, p.words, factor, f"cone {row['cone']}")
    return list(best.values())


def ratios_beside(rows, readings, usual: dict, losses: dict, read_here: set[str]):
    """Weigh the readings of hatches beside, of quantities that were not read in the hatch itself.

    Parameters
    ----------
    rows : list of dict
        From :func:`hatches_beside`.
    readings : DataFrame or None
        In standard units.
    usual : dict
        As :func:`qckit.verdicts.poor_hatch.likelihood.readings.usual_readings` returns it.
    losses : dict of str to ndarray of shape (n,)
        Cause -> share of the nauplii that each of its draws costs.
    read_here : set of str
        Quantities read in the hatch.

    Returns
    -------
    (dict of str to dict of str to ndarray, list of BesideReading)
        Cause -> quantity -> log likelihood ratio of every draw; and the readings that tell.
    """
    found: dict[str, dict] = {}
    shown = []
    records = [
        (
            str(row["cone"]),
            [r for r in records_of(row, readings, hours=math.nan) if r.quantity in set(WATER) - read_here],
        )
        for row in rows
        if float(row["cysts_g"] or 0) > 0
    ]
    for item in (c for c in CAUSES if c.reach == "room"):
        total: dict[str, np.ndarray] = {}
        strongest: dict[str, tuple] = {}
        for cone, read in records:
            for quantity, log_r in log_ratio(item, losses[item.code], read, usual).items():
                total[quantity] = total.get(quantity, 0.0) + log_r
                at = float(log_r.max())
                if quantity not in strongest or at > strongest[quantity][0]:
                    strongest[quantity] = at, cone, _worst(item, quantity, read)
        s = item.shared
        found[item.code] = {q: np.log((1 - s) + s * np.exp(np.minimum(v, 50.0))) for q, v in total.items()}
        for quantity, (_, cone, value) in strongest.items():
            if float(np.exp(found[item.code][quantity].max())) > _TELLS:
                shown.append(BesideReading(item.code, cone, quantity, value))
    return found, shown


def _worst(item, quantity, read):
    """The reading furthest in the direction that is bad under a cause."""
    moved = next(m for m in (item.reading, *item.other_readings) if m is not None and m.quantity == quantity)
    values = [r.value for r in read if r.quantity == quantity]
    return min(values) if moved.side == "low" else max(values)
