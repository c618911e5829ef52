"""What is planted in the invented history, and when: the truth that reports are checked against."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from qckit.errors import unknown_name

__all__ = ["EVENTS", "FIRST_DAY", "LAST_DAY", "POOR_HATCH", "REPORT_MONTH", "Event", "event"]

FIRST_DAY = date(2025, 9, 8)
LAST_DAY = date(2026, 11, 5)  # last start; read on the next morning
REPORT_MONTH = "2026-10"
POOR_HATCH = "H261105-B"


@dataclass(frozen=True)
class Event:
    """One planted change. ``cones`` or ``lots`` empty means all of them."""

    name: str
    first: date
    last: date
    what: str
    cones: tuple[str, ...] = ()
    lots: tuple[str, ...] = ()

    def holds(self, day: date, cone: str, lot: str) -> bool:
        """Tell whether a hatch started on that day in that cone from that lot meets the event."""
        return (
            self.first <= day <= self.last
            and (not self.cones or cone in self.cones)
            and (not self.lots or lot in self.lots)
        )


EVENTS = (
    Event("heater week", date(2026, 2, 9), date(2026, 2, 15), "the heater sticks off: 23 °C instead of 28 °C"),
    Event("salinity slip", date(2026, 6, 1), date(2026, 6, 30), "salt weighed for the wrong tank: 46 ppt, not 33"),
    Event("cone C air", date(2026, 10, 12), LAST_DAY, "air stone half blocked: oxygen near 4 mg/l, not 6.3", ("C",)),
    Event(
        name="K-118 ageing",
        first=FIRST_DAY,
        last=LAST_DAY,
        what="dead cysts grow from 9 to about 32 %, hatching gets slower",
        cones=(),
        lots=("K-118",),
    ),
    Event("poor hatch", date(2026, 11, 5), date(2026, 11, 5), "water without buffer: pH 7.4, umbrella arrest", ("B",)),
)


def event(name: str) -> Event:
    """Return one planted event by its name."""
    for item in EVENTS:
        if item.name == name:
            return item
    raise unknown_name("event", name, [item.name for item in EVENTS])
