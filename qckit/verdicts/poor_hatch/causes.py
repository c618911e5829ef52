"""The causes of a poor hatch that the kit knows, in order; one record each in ``records/``."""

from __future__ import annotations

from qckit.errors import unknown_name
from qckit.verdicts.poor_hatch.records.handling import HANDLING
from qckit.verdicts.poor_hatch.records.lot import LOT
from qckit.verdicts.poor_hatch.records.measuring import MEASURING
from qckit.verdicts.poor_hatch.records.record import Cause, MovedReading, Trace
from qckit.verdicts.poor_hatch.records.water import WATER

__all__ = ["CAUSES", "Cause", "MovedReading", "Trace", "cause", "sampling_causes"]

CAUSES = (*WATER, *HANDLING, *LOT, *MEASURING)


def cause(code: str) -> Cause:
    """Return a cause by its code."""
    for item in CAUSES:
        if item.code == code:
            return item
    raise unknown_name("cause", code, [item.code for item in CAUSES])


def sampling_causes() -> tuple[str, ...]:
    """Codes of the causes that another drawing from the same cone does away with."""
    return ("uneven", "gradient")
