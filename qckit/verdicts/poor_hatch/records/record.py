"""What a record of a cause holds: one record per cause is all there is; everything else is made from it.

A record holds the cause's words, the trace it leaves in the stage mix, the reading that tells of it, the words on a
field sheet that speak of it, who else meets it, and what to do at once. To add a cause: a record in one of the files
beside this one, a check in ``bench.py``, a mechanism in ``practice/mechanisms.py`` (so that it can be planted), and a
test.

What is known of a trace is its direction; how far it goes, and where an embryo stops, differs from room to room. So
every number of a trace is a distribution, wide on purpose, and is integrated over (``likelihood/stage_mix.py``). The
same holds for readings: how far a reading must stray for a loss of a given size is known to a factor only.

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

__all__ = ["LATE", "LOST", "SALTED", "SOURED", "USED_UP", "Cause", "MovedReading", "Trace"]


@dataclass(frozen=True)
class Trace:
    """What a cause does to nauplii, umbrellas, cysts and shells; pairs are the two numbers of a beta distribution.

    ``kind`` is stopped (embryos stay behind), lost (nauplii hatched and are gone), short (everything falls alike),
    unwetted (some never were in the water), empty (shells instead of cysts), sorted (the drop was not like the cone),
    or swapped (shells taken for cysts). ``umbrella`` is the share of those stopped that stay umbrellas, ``gone`` the
    share of the lost that leave only a shell, ``back`` the share of the unwetted that still float as cysts, ``recover``
    the share of those stopped that has hatched a day later.
    """

    kind: str
    words: str
    umbrella: tuple[float, float] = (1.0, 1.0)
    gone: tuple[float, float] = (0.3, 6.0)
    back: tuple[float, float] = (1.0, 1.2)
    recover: tuple[float, float] = (0.7, 4.0)
    falls: float = 0.0  # how much the umbrella share falls as the loss grows


@dataclass(frozen=True)
class MovedReading:
    """The reading that tells of a cause.

    ``shift`` is how far a reading strays in the bad direction for a small loss, and how much further per unit of loss;
    ``factor`` the spread of that (standard deviation of its log). ``start`` and ``late`` are how likely a reading in
    the first hours, and one later on, shows it; ``part`` how likely water that shows it later on is off for a part of
    those hours only (ours). ``table`` is what a value should cost by the literature.
    """

    quantity: str
    side: str  # low or high: which way is bad
    shift: tuple[float, float]
    factor: float
    start: float
    late: float
    table: tuple[tuple[float, float], ...] = ()
    on_log: bool = False
    part: float = 0.3

    def published_loss(self, value):
        """Share of the nauplii that a value (or each of an array) should cost by the literature."""
        x, y = (np.array(column) for column in zip(*self.table, strict=True))
        return np.interp(value, x, y)


@dataclass(frozen=True)
class Cause:
    """One cause; see the module's text.

    ``notes`` are (pattern, how plainly it names the cause: ``likelihood/notes.py`` says what that counts); ``at_once``
    may hold names of the site's conditions in braces.
    """

    code: str
    words: str
    short: str  # for a headline, and for the line of the day
    trace: Trace
    sign: str
    source: str
    at_once: str
    reach: str = "cone"  # who else meets it: cone, room or lot
    shared: float = 0.03  # how often other hatches of the day do
    reading: MovedReading | None = None
    other_readings: tuple[MovedReading, ...] = ()  # other readings that it moves
    notes: tuple[tuple[str, float], ...] = ()
    same_trace: tuple[str, ...] = ()  # causes that one reading's counts cannot tell from this one
    of_count: bool = False  # the measuring is wrong, not the hatch
    prior: float = 1.0
    silences: tuple[str, ...] = ()  # causes of which a phrase that speaks for this one does not speak too

    def act(self, conditions) -> str:
        """Say what to do at once, with the site's standards (the settings' ``conditions``) in it."""
        return self.at_once.format(**vars(conditions))

    @property
    def of_lot(self) -> bool:
        """Every hatch of the lot has it."""
        return self.reach == "lot"


LATE = Trace("stopped", "late (umbrellas and unopened cysts)", (2.2, 1.6), (0.2, 12.0), recover=(4.0, 1.6), falls=0.4)
LOST = Trace("lost", "hatched but gone (or not counted)")
# salt drives oxygen out of water (saturation at 28 °C falls from 6.4 mg/l at 33 ppt to about 5 at 70 ppt: UNESCO
# equations, extrapolated beyond 40 ppt), and weak air or many embryos leave carbon dioxide in it
SALTED = MovedReading(quantity="oxygen", side="low", shift=(0.4, 1.8), factor=0.4, start=0.85, late=0.9, part=0.0)
USED_UP = MovedReading(quantity="oxygen", side="low", shift=(0.8, 2.0), factor=0.6, start=0.2, late=0.55)
SOURED = MovedReading(quantity="ph", side="low", shift=(0.1, 0.4), factor=0.6, start=0.1, late=0.5)
