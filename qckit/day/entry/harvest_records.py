"""Rows of a harvest, made of what was typed."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from qckit.errors import InputError

if TYPE_CHECKING:
    from qckit.settings import Settings
from qckit.day.entry.records import Entry, Sitting, iso_time, millions, sample_names
from qckit.hatch import harvest_totals

__all__ = ["Harvest", "harvest_rows"]


@dataclass(frozen=True)
class Harvest:
    """A harvest as far as it was measured: the time alone, or how much it is, or what it holds too.

    ``harvest_ml`` or ``harvest_g`` is the whole of it after rinsing. What it holds is either known per ml
    (``per_ml``) or per gram (``per_g``), or was counted: ``counts`` (count column -> number) in the protocol's
    subsample volume, diluted ``dilution`` times (None: as the protocol says). ``separation`` is how shells and cysts
    were taken off (empty: as the protocol says); ``lost_nauplii`` were seen in what was drawn off.
    """

    harvest_ml: float | None = None
    counts: dict[str, int] = field(default_factory=dict)
    dilution: float | None = None
    separation: str = ""
    lost_nauplii: int | None = None
    harvest_g: float | None = None
    per_ml: float | None = None
    per_g: float | None = None


def harvest_rows(
    sitting: Sitting, hatch: dict, harvest: Harvest, *, taken: dt.datetime, names: Iterable[str] = ()
) -> Entry:
    """Make the row of a harvest: when, and as far as it is known how much it is and what it holds.

    Parameters
    ----------
    sitting : Sitting
    hatch : mapping
        Its row of the hatches table.
    harvest : Harvest
    taken : datetime
        With offset.
    names : iterable of str
        Names of samples in use.
    """
    _check_harvest(hatch["hatch"], harvest)
    (name,) = sample_names(hatch["hatch"], 1, names, letter="V")
    method = harvest.separation or sitting.settings.protocol.separation
    row = {
        "sample": name,
        "hatch": hatch["hatch"],
        "taken": iso_time(taken),
        "kind": "harvest",
        "harvest_ml": harvest.harvest_ml,
        "harvest_g": harvest.harvest_g,
        "separation": method,
        "lost_nauplii": harvest.lost_nauplii,
        **_counted_part(sitting.settings, harvest),
        "counted_by": "person",
        "counter": sitting.by or None,
    }
    frame = pd.DataFrame([row])
    total = float(harvest_totals(frame)["harvested"].iloc[0]) if "nauplii" in row else math.nan
    sizes = ((harvest.harvest_ml, "ml"), (harvest.harvest_g, "g"))
    measured = [f"{millions(total)} nauplii"] if math.isfinite(total) else []
    what = " in ".join([*measured, *(f"{size:g} {unit}" for size, unit in sizes if size)])
    how = f"{what}, separated" if what else "separated"
    sentence = f"Harvested {hatch['hatch']} {sitting.clock(taken)}: {how} by {_method(method)}."
    return Entry("harvest", sentence, {"samples": frame}, hatch["hatch"])


def _check_harvest(hatch: str, harvest: Harvest) -> None:
    """Refuse sizes that are none, and contents that go with no size."""
    for value, unit in ((harvest.harvest_ml, "ml"), (harvest.harvest_g, "g")):
        if value is not None and not value > 0:
            raise InputError(f"hatch {hatch}: the harvest is {value:g} {unit} and must be above 0.")
    if harvest.harvest_ml is not None and harvest.harvest_g is not None:
        raise InputError(f"hatch {hatch}: the harvest is given in ml and in g. Keep one of them.")
    if harvest.per_ml is not None and harvest.harvest_ml is None:
        raise InputError(f"hatch {hatch}: nauplii per ml need the ml of the whole harvest. Type them.")
    if harvest.per_g is not None and harvest.harvest_g is None:
        raise InputError(f"hatch {hatch}: nauplii per gram need the grams of the whole harvest. Type them.")
    if harvest.counts and harvest.harvest_ml is None:
        raise InputError(f"hatch {hatch}: the counted part needs the ml of the whole harvest. Type them.")


def _counted_part(settings: Settings, harvest: Harvest) -> dict:
    """Columns that say what was counted in which part of the harvest; a density counts as a part of 100 nauplii up."""
    if harvest.per_ml is not None:
        ml = _part_of(harvest.per_ml, harvest.harvest_ml)
        return {"volume_ul": 1000.0 * ml, "dilution": 1.0, "nauplii": round(harvest.per_ml * ml)}
    if harvest.per_g is not None:
        grams = _part_of(harvest.per_g, harvest.harvest_g)
        return {"mass_g": grams, "dilution": 1.0, "nauplii": round(harvest.per_g * grams)}
    if harvest.counts:
        protocol = settings.protocol
        dilution = protocol.dilution if harvest.dilution is None else harvest.dilution
        return {"volume_ul": protocol.subsample_ul, "dilution": dilution, **harvest.counts}
    return {}


def _part_of(density: float, whole: float) -> float:
    """Choose a part (1, 10, 100 ... of the unit) that holds a hundred or more, so that rounding costs nothing."""
    part = 1.0
    while density * part < 100 and part * 10 <= whole:
        part *= 10
    return min(part, whole)


def _method(method: str) -> str:
    return {"screen": "a screen", "magnetic": "magnets"}.get(method, method)
