"""What is measured at a hatch: one record per quantity, with the units its readings may come in; and its conditions.

:mod:`qckit.hatch.water.readings` turns readings into the standard unit; the log refuses units that are not known here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = [
    "CONDITIONS",
    "HATCHING_PPT",
    "MOST_CYSTS_G_PER_L",
    "MOST_PER_G",
    "QUANTITIES",
    "RECOVERY_PCT",
    "WATER",
    "WATER_C",
    "Condition",
    "Quantity",
    "Unit",
    "fold_unit",
    "in_standard_unit",
    "unit_problem",
]

WATER_C = (5.0, 40.0)
"""Water that cysts could stand in: active from 4 °C, hydrated cysts die above 40 °C (New 2002, FAO Fisheries Technical
Paper 428, Annex 4). [°C]"""

HATCHING_PPT = (5.0, 85.0)
"""Salinities between which cysts hatch (Lavens, Thongrod and Sorgeloos 2000, in New and Valenti, ch. 6). [ppt]"""

MOST_PER_G = 450_000.0
"""More nauplii per gram than any cysts hold: 220,000 to 300,000 in most lots (common practice), 363,000 full cysts in a
published San Francisco Bay batch of small cysts (259,200 nauplii at 71.4 %, FAO Fisheries Technical Paper 361, from
memory), and a quarter more for the measuring."""

RECOVERY_PCT = (20.0, 150.0)
"""Shares of the counted nauplii outside of which a harvest is hardly right: it brings in 70 to 95 % (common practice),
and neither counts nor volumes are off by so much. No source."""

MOST_CYSTS_G_PER_L = 20.0
"""Four times the 5 g/l published as the most that is incubated (Lavens, Thongrod and Sorgeloos 2000)."""


@dataclass(frozen=True)
class Unit:
    """One unit: standard value = ``factor`` x value + ``offset``, or by the water (``by``: saturation, gravity)."""

    name: str
    factor: float = 1.0
    offset: float = 0.0
    by: str = ""


@dataclass(frozen=True, kw_only=True)
class Condition:
    """One condition of a hatch: its name in tables, and how a person reads it; ``unit`` is empty for pH."""

    name: str
    label: str
    unit: str
    decimals: int


@dataclass(frozen=True, kw_only=True)
class Quantity(Condition):
    """One quantity that is read off an instrument.

    ``column`` is its column in the hatches table, in ``unit``; ``low`` and ``high`` bound what is plausible; beyond
    them the number or its unit is doubtful, not impossible. ``units`` begin with the standard one.
    """

    column: str
    low: float
    high: float
    units: tuple[Unit, ...]

    @property
    def written_unit(self) -> str:
        """The standard unit as readings have it, where pH has one too."""
        return self.units[0].name

    def unit_of(self, text: object) -> Unit | None:
        """Return the unit that a text means, or None where it is none of this quantity's."""
        return {fold_unit(u.name): u for u in self.units}.get(fold_unit(str(text)))


# oxygen: 31.9988 g/mol; 1 ml of the gas at 0 °C and one atmosphere weighs 1.4276 mg (UNESCO 1983, Technical Papers in
# Marine Science 44, from memory)
QUANTITIES = {
    q.name: q
    for q in (
        Quantity(
            name="temperature",
            label="temperature",
            column="temperature_c",
            unit="°C",
            decimals=1,
            low=WATER_C[0],
            high=WATER_C[1],
            units=(Unit("°C"), Unit("°F", 1 / 1.8, -32 / 1.8), Unit("K", 1.0, -273.15)),
        ),
        Quantity(
            name="salinity",
            label="salinity",
            column="salinity_ppt",
            unit="ppt",
            decimals=1,
            low=HATCHING_PPT[0],
            high=HATCHING_PPT[1],
            units=(Unit("ppt"), Unit("psu"), Unit("g/kg"), Unit("SG", by="gravity")),
        ),
        Quantity(name="ph", label="pH", column="ph", unit="", decimals=2, low=6.0, high=10.0, units=(Unit("pH"),)),
        Quantity(
            name="oxygen",
            label="oxygen",
            column="oxygen_mg_l",
            unit="mg/l",
            decimals=1,
            low=0.0,
            high=20.0,
            units=(Unit("mg/l"), Unit("%", by="saturation"), Unit("µmol/l", 31.9988e-3), Unit("ml/l", 1.4276)),
        ),
        Quantity(
            name="light",
            label="light",
            column="light_lux",
            unit="lux",
            decimals=0,
            low=0.0,
            high=1.2e5,
            units=(Unit("lux"), Unit("klux", 1000.0)),
        ),
        Quantity(
            name="cyst mass",
            label="cysts weighed again",
            column="cysts_g",
            unit="g",
            decimals=2,
            low=1e-4,
            high=1e5,
            units=(Unit("g"), Unit("mg", 1e-3), Unit("kg", 1e3)),
        ),
        Quantity(
            name="volume",
            label="volume measured again",
            column="volume_ml",
            unit="ml",
            decimals=0,
            low=1.0,
            high=1e7,
            units=(Unit("ml"), Unit("l", 1e3)),
        ),
    )
}
"""Quantity -> its record, in the order used everywhere; the last two check what was written down at the start."""

WATER = ("temperature", "salinity", "ph", "oxygen", "light")
"""The quantities of the water."""

CONDITIONS = {name: QUANTITIES[name] for name in WATER} | {
    "hours": Condition(name="hours", label="incubation hours", unit="h", decimals=1),
    "density": Condition(name="density", label="cysts per litre", unit="g/l", decimals=1),
}
"""What a hatch is compared by: the water, how long it stood and how dense."""

_SPELLINGS = {
    "gram": "g",
    "grams": "g",
    "litre": "l",
    "litres": "l",
    "liter": "l",
    "liters": "l",
    "hours": "h",
    "hour": "h",
    "hrs": "h",
    "hr": "h",
    "minutes": "min",
    "c": "°c",
    "f": "°f",
    "degc": "°c",
    "degf": "°f",
    "degreesc": "°c",
    "degreesf": "°f",
    "ºc": "°c",
    "ºf": "°f",
    "celsius": "°c",
    "fahrenheit": "°f",
    "°k": "k",
    "kelvin": "k",
    "percent": "%",
    "%sat": "%",
    "%saturation": "%",
    "percentsaturation": "%",
    "microlitres": "µl",
    "mgl": "mg/l",
    "mg/litre": "mg/l",
    "mg/liter": "mg/l",
    "ppm": "mg/l",
    "‰": "ppt",
    "lx": "lux",
    "klx": "klux",
    "specificgravity": "sg",
}


def fold_unit(text: str) -> str:
    """Write a unit in one way: lower case, µ for u, no spaces or brackets, one spelling."""
    unit = re.sub(r"[\s()\[\].]", "", text.casefold().replace("μ", "µ"))
    return re.sub(r"^u(?=[glm])", "µ", _SPELLINGS.get(unit, unit))


def in_standard_unit(readings):
    """Turn readings into their standard units as far as a factor and an offset do it.

    Parameters
    ----------
    readings : DataFrame, shape (n, any)
        Columns quantity, value, unit.

    Returns
    -------
    Series of float, shape (n,)
        NaN where the unit is not known, or needs to know the water (:mod:`qckit.hatch.water.readings` does those).
    """
    value = readings["value"].astype("float64").copy()
    pairs = readings[["quantity", "unit"]].astype(str)
    for quantity, text in pairs.drop_duplicates().itertuples(index=False):
        unit = QUANTITIES[quantity].unit_of(text) if quantity in QUANTITIES else None
        here = (pairs["quantity"] == quantity) & (pairs["unit"] == text)
        if unit is None or unit.by:
            value[here] = float("nan")
        elif (unit.factor, unit.offset) != (1.0, 0.0):
            value[here] = value[here] * unit.factor + unit.offset
    return value


def unit_problem(quantity: str, unit: object) -> tuple[str, str] | None:
    """Say what is wrong with the unit of a reading, and how to mend it; None where it is known.

    Parameters
    ----------
    quantity : str
        A name of ``QUANTITIES``; others are let through (they are refused as what they are).
    unit : object
        As written.

    Returns
    -------
    (str, str) or None
        Rule and remedy, as ``tables.PROBLEM_COLUMNS`` has them.
    """
    if quantity not in QUANTITIES or QUANTITIES[quantity].unit_of(unit) is not None:
        return None
    known = ", ".join(u.name for u in QUANTITIES[quantity].units)
    return f"is no unit of {QUANTITIES[quantity].label} that is known", f"Write one of: {known}."
