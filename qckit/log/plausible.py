"""What hardly can be, though every cell keeps to its limits: units mixed up, fractions for percentages, far-off dates.

Nothing is refused for being unusual: it is said at import and by ``qckit log check``. Only what no water can hold is
refused.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import pandas as pd

from qckit.log import query, schema
from qckit.log.problems import mending
from qckit.quantities import HATCHING_PPT, WATER_C, in_standard_unit
from qckit.tables import to_utc

__all__ = [
    "MOST_PER_G",
    "Doubt",
    "beyond_cone",
    "days_apart",
    "doubts",
    "impossible",
    "lone_cones",
    "notes_on",
    "times_to_come",
]

MOST_PER_G = 450_000.0
"""More nauplii per gram than any cysts hold: 220,000 to 300,000 in most lots (common practice), 363,000 full cysts in a
published San Francisco Bay batch of small cysts (259,200 nauplii at 71.4 %, FAO Fisheries Technical Paper 361, from
memory), and a quarter more for the measuring."""

_LEAST_CLAIM_PER_G = 1000.0  # a label's "260" means thousands
_MOST_G_PER_L = 20.0  # four times the 5 g/l published as the most (Lavens, Thongrod and Sorgeloos 2000)
_LEAST_G_PER_L = 0.02  # a hundredth of the standard test's 2 g/l
_OVER_OWN = 1.25  # of the site's own most: weighing out a little more is no mistake
_MOST_NAUPLII_PER_UL = 1000.0 / 1.63  # by the lightest strain's dry weight, µg (Vanhaecke and Sorgeloos 1980)
_WATER_G_PER_L = 1000.0
_SHOWN = 20
_READINGS = {  # what can be read off an instrument at all, in the standard units
    "temperature": (-5.0, 100.0, "temperature of water, in °C"),
    "salinity": (0.0, 350.0, "salinity, in ppt"),
    "ph": (0.0, 14.0, "pH"),
    "oxygen": (0.0, 60.0, "oxygen, in mg/l"),
    "light": (0.0, 200_000.0, "light, in lux"),
}
_PH = (6.5, 10.0)  # hatching water is kept above 8; below this decapsulating acids, above it lye (common practice)
_LONG_H = 240.0  # ten days after wetting nobody counts a hatch
_LARGE_PART = 0.2  # of the cone in one subsample
_DILUTED = 2000.0
_KNOWN_CONE, _KNOWN_SITE = 3, 12  # hatches in a cone, and in all of these, before a new one stands out
_LOT_DATES = ("harvested", "received", "opened", "best_before")
_OLD_YEARS, _KEPT_YEARS = 30, 40  # a lot harvested longer ago, or good longer than this


class Doubt(NamedTuple):
    """A value that hardly can be: where it stands, what is odd, what it may have been meant to be, how to mend it."""

    table: str
    key: str
    what: str
    remedy: str


def impossible(table: str, frame: pd.DataFrame) -> list[tuple]:
    """Find rows that no water can hold.

    Parameters
    ----------
    table : str
    frame : DataFrame, shape (n, any)
        Clean rows of it.

    Returns
    -------
    list of (index, column, value, rule, remedy)
    """
    look = {"hatches": _impossible_hatches, "samples": _impossible_samples, "readings": _impossible_readings}.get(table)
    return [] if look is None else list(look(frame))


def _impossible_hatches(frame: pd.DataFrame):
    g_per_l = _g_per_l(frame)
    for i in frame.index[g_per_l > _WATER_G_PER_L]:
        yield (
            i,
            "cysts_g",
            f"{frame.at[i, 'cysts_g']:g}",
            f"is more cysts than water, in volume_ml {frame.at[i, 'volume_ml']:g}",
            "Correct cysts_g (grams) or volume_ml (millilitres: 20 l are 20000).",
        )


def _impossible_samples(frame: pd.DataFrame):
    per_ul = frame["nauplii"].astype("float64") / frame["volume_ul"]
    for i in frame.index[per_ul > _MOST_NAUPLII_PER_UL]:
        yield (
            i,
            "nauplii",
            f"{frame.at[i, 'nauplii']}",
            f"is more than {frame.at[i, 'volume_ul']:g} µl can hold",
            "Enter the number counted, not that of the cone; and volume_ul in microlitres (1 ml is 1000).",
        )
    for part, whole, factor, unit in (("volume_ul", "harvest_ml", 1000.0, "ml"), ("mass_g", "harvest_g", 1.0, "g")):
        for i in frame.index[frame[part] > factor * frame[whole] * (1 + 1e-9)]:
            yield (
                i,
                part,
                f"{frame.at[i, part]:g}",
                f"is more than the whole harvest, {whole} {frame.at[i, whole]:g} {unit}",
                f"Correct {part} or {whole}.",
            )


def _impossible_readings(frame: pd.DataFrame):
    standard = in_standard_unit(frame)
    for quantity, (low, high, words) in _READINGS.items():
        value = standard.where(frame["quantity"] == quantity)
        for i in frame.index[(value < low) | (value > high)]:
            yield (
                i,
                "value",
                f"{value[i]:g}",
                f"is no {words}: {low:g} to {high:g} can be",
                "Correct the value, or its unit.",
            )


def beyond_cone(samples: pd.DataFrame, volume_ml: pd.Series) -> list[tuple]:
    """Find samples of more water than their cone holds.

    Parameters
    ----------
    samples : DataFrame, shape (n, any)
    volume_ml : Series, shape (n,)
        Water in the cone of each sample's hatch. [ml]

    Returns
    -------
    list of (index, column, value, rule, remedy)
    """
    return [
        (
            i,
            "volume_ul",
            f"{samples.at[i, 'volume_ul']:g}",
            f"is more than the whole cone, volume_ml {volume_ml[i]:g} of its hatch",
            "Correct volume_ul (microlitres: 1 ml is 1000), or volume_ml of the hatch.",
        )
        for i in samples.index[samples["volume_ul"] > 1000.0 * volume_ml]
    ]


def doubts(tables: dict[str, pd.DataFrame], max_g_per_l: float) -> list[Doubt]:
    """Find values that hardly can be.

    Parameters
    ----------
    tables : dict of str to DataFrame
        lots, hatches, readings and samples, each with its columns; a table may be left out. Samples are weighed
        against those hatches that are there.
    max_g_per_l : float
        The site's own most cysts per litre. [g/l]

    Returns
    -------
    list of Doubt
    """
    found: list[Doubt] = []
    for name, look in (
        ("lots", _lots),
        ("hatches", lambda frame: _hatches(frame, max_g_per_l)),
        ("readings", _readings),
    ):
        if name in tables:
            found += look(tables[name])
    if "samples" in tables:
        found += _samples(tables["samples"])
    if {"samples", "hatches"} <= set(tables):
        found += _per_gram(tables["samples"], tables["hatches"])
        found += _large_parts(tables["samples"], tables["hatches"])
    return found


def _doubt(table: str, frame: pd.DataFrame, index, column: str, what: str, hint: str) -> Doubt:
    key = query.key_text(table, tuple(frame.loc[index, list(schema.KEYS[table])]))
    value = "TIME" if column == schema.TIME_COLUMN.get(table) else "VALUE"
    remedy = f"{hint} If it is wrong:  {mending('correct', table, key, column, value)}"
    return Doubt(table, key, what, remedy)


def _lots(lots: pd.DataFrame) -> list[Doubt]:
    found = []
    for column in ("claimed_hatch_pct", "moisture_pct"):
        values = lots[column]
        for i in lots.index[(values > 0) & (values <= 1)]:
            hint = f"It looks like a fraction: {100 * values[i]:g} % is written {100 * values[i]:g}."
            found.append(_doubt("lots", lots, i, column, f"{column} is {values[i]:g} %", hint))
    claim = lots["claimed_nauplii_per_g"]
    for i in lots.index[(claim > MOST_PER_G) | (claim < _LEAST_CLAIM_PER_G)]:
        what = f"claimed_nauplii_per_g is {claim[i]:,.0f}"
        if claim[i] > MOST_PER_G:
            found.append(
                _doubt(
                    "lots",
                    lots,
                    i,
                    claim.name,
                    f"{what}, more than a gram of cysts holds",
                    "Most lots hold 220,000 to 300,000.",
                )
            )
        else:
            found.append(_doubt("lots", lots, i, claim.name, what, "If thousands are meant, write them out: 260000."))
    return found


def _g_per_l(hatches: pd.DataFrame) -> pd.Series:
    return hatches["cysts_g"] / hatches["volume_ml"] * 1000.0


def _hatches(hatches: pd.DataFrame, max_g_per_l: float) -> list[Doubt]:
    found = []
    g_per_l = _g_per_l(hatches)
    odd = (g_per_l > min(_OVER_OWN * max_g_per_l, _MOST_G_PER_L)) | (g_per_l < _LEAST_G_PER_L)
    for i in hatches.index[odd]:
        what = (
            f"{hatches.at[i, 'cysts_g']:g} g in {hatches.at[i, 'volume_ml']:g} ml are {g_per_l[i]:.3g} g of cysts "
            "per litre"
        )
        if g_per_l[i] > _MOST_G_PER_L or g_per_l[i] < _LEAST_G_PER_L:
            hint = "Look whether cysts_g is in grams and volume_ml in millilitres (20 l are 20000)."
        else:
            what += f", more than this site's own most, {max_g_per_l:g} (max_g_per_l in qckit.toml)"
            hint = "If it was so, nothing is to be mended."
        found.append(_doubt("hatches", hatches, i, "cysts_g", what, hint))
    found += _water(hatches, "hatches", "temperature_c", hatches["temperature_c"])
    found += _acid(hatches, "hatches", "ph", hatches["ph"])
    return found + _salt(hatches, "hatches", "salinity_ppt", hatches["salinity_ppt"])


def _readings(readings: pd.DataFrame) -> list[Doubt]:
    value = in_standard_unit(readings)
    found = _water(readings, "readings", "value", value.where(readings["quantity"] == "temperature"))
    found += _acid(readings, "readings", "value", value.where(readings["quantity"] == "ph"))
    return found + _salt(readings, "readings", "value", value.where(readings["quantity"] == "salinity"))


def _acid(frame: pd.DataFrame, table: str, column: str, ph: pd.Series) -> list[Doubt]:
    """Water that is acid or lye."""
    hint = f"Cysts are hatched between pH {_PH[0]:g} and {_PH[1]:g}."
    return [
        _doubt(table, frame, i, column, f"the pH is {ph[i]:g}", hint)
        for i in frame.index[(ph < _PH[0]) | (ph > _PH[1])]
    ]


def _samples(samples: pd.DataFrame) -> list[Doubt]:
    """Samples that say nothing per gram, or were taken or diluted beyond what is done."""
    counted = samples["nauplii"].notna()
    bare = samples[["volume_ul", "mass_g", "chamber_depth_mm"]].isna().all(axis=1) & counted
    found = []
    for i in samples.index[bare]:
        hint = "Without one of them it says nothing about nauplii per gram."
        found.append(
            _doubt("samples", samples, i, "volume_ul", "has neither volume_ul, mass_g nor chamber_depth_mm", hint)
        )
    for i in samples.index[samples["hours"] > _LONG_H]:
        what = f"was taken {samples.at[i, 'hours']:g} h after wetting"
        found.append(_doubt("samples", samples, i, "hours", what, "Nauplii have starved by then."))
    for i in samples.index[samples["dilution"] > _DILUTED]:
        what = f"was diluted {samples.at[i, 'dilution']:g} times"
        found.append(_doubt("samples", samples, i, "dilution", what, "1 means not diluted, 10 means one part in ten."))
    whole = samples["harvest_ml"].isna() & samples["harvest_g"].isna() & counted
    for i in samples.index[(samples["kind"] == "harvest") & whole]:
        what = "is of a harvest, and harvest_ml or harvest_g is not given"
        found.append(
            _doubt("samples", samples, i, "harvest_ml", what, "Without it nothing is known of the whole harvest.")
        )
    return found


def _large_parts(samples: pd.DataFrame, hatches: pd.DataFrame) -> list[Doubt]:
    """Subsamples that are a large part of their cone."""
    volume_ml = samples["hatch"].map(hatches.drop_duplicates("hatch").set_index("hatch")["volume_ml"])
    part = samples["volume_ul"] / (1000.0 * volume_ml)
    return [
        _doubt(
            "samples",
            samples,
            i,
            "volume_ul",
            f"{samples.at[i, 'volume_ul']:g} µl are {100 * part[i]:.0f} % of the cone",
            "Look whether it is in microlitres (1 ml is 1000).",
        )
        for i in samples.index[(part > _LARGE_PART) & (part <= 1) & (samples["kind"] == "subsample")]
    ]


def lone_cones(hatches: pd.DataFrame) -> list[Doubt]:
    """Find hatches in a cone that no other hatch ever stood in, at a site whose cones are well known.

    Parameters
    ----------
    hatches : DataFrame, shape (n, any)
        All hatches of the log.
    """
    uses = hatches["cone"].value_counts()
    known = uses[uses >= _KNOWN_CONE]
    if len(known) < 1 or known.sum() < _KNOWN_SITE:
        return []
    shown = ", ".join(sorted(map(str, known.index))[:8])
    return [
        _doubt(
            "hatches", hatches, i, "cone", f"no other hatch stood in cone {hatches.at[i, 'cone']!r}", f"Known: {shown}."
        )
        for i in hatches.index[hatches["cone"].map(uses) == 1]
    ]


def days_apart(lots: pd.DataFrame, now: str) -> list[Doubt]:
    """Find lots whose dates contradict each other or the calendar.

    Parameters
    ----------
    lots : DataFrame, shape (n, any)
    now : str
        ISO time.
    """
    today, found = now[:10], []
    for row in lots.itertuples():
        dates = {c: getattr(row, c) for c in _LOT_DATES if isinstance(getattr(row, c), str)}
        shown = {c: f"{c} is {d}" for c, d in dates.items()}
        what = next((f"{shown[c]}, still to come" for c in _LOT_DATES[:3] if c in dates and dates[c] > today), "")
        for early, late in pairwise([c for c in _LOT_DATES if c in dates]):
            if dates[late][: len(dates[early])] < dates[early][: len(dates[late])] and late != "best_before":
                what = what or f"{shown[late]}, and {shown[early]}"
        if "harvested" in dates and int(today[:4]) - int(dates["harvested"][:4]) > _OLD_YEARS:
            what = what or shown["harvested"]
        if "best_before" in dates and int(dates["best_before"][:4]) - int(today[:4]) > _KEPT_YEARS:
            what = what or shown["best_before"]
        if what:
            column = next(c for c in _LOT_DATES if c in dates and what.startswith(f"{c} is"))
            found.append(
                _doubt("lots", lots, row.Index, column, what, "Look at the year, and at the order of day and month.")
            )
    return found


def _water(frame: pd.DataFrame, table: str, column: str, celsius: pd.Series) -> list[Doubt]:
    """Water that is no hatching water; a number on the other scale is the usual reason."""
    low, high = WATER_C
    found = []
    for i in frame.index[(celsius < low) | (celsius > high)]:
        hint = f"Cysts are hatched between {low:g} and {high:g} °C."
        other = celsius[i] * 1.8 + 32 if celsius[i] < low else (celsius[i] - 32) / 1.8
        if low <= other <= high:
            as_read = f"{other:.1f} °F" if celsius[i] < low else f"{celsius[i]:.1f} °F"
            meant = f"{other:.1f} °C"
            hint = (
                f"It is what {as_read} come to: if the thermometer showed {meant}, the unit was °C."
                if celsius[i] < low
                else f"If the thermometer showed {as_read}, that is {meant}."
            )
        found.append(_doubt(table, frame, i, column, f"the water's temperature is {celsius[i]:.1f} °C", hint))
    return found


def _salt(frame: pd.DataFrame, table: str, column: str, ppt: pd.Series) -> list[Doubt]:
    """Salinity outside of what cysts hatch in."""
    low, high = HATCHING_PPT
    found = []
    for i in frame.index[(ppt < low) | (ppt > high)]:
        hint = f"Cysts hatch between {low:g} and {high:g} ppt."
        if 1 <= ppt[i] < 1.1:
            hint = (
                f"{ppt[i]:g} looks like a specific gravity: read the salinity off its table (1.025 is about 33 ppt "
                "at 25 °C)."
            )
        found.append(_doubt(table, frame, i, column, f"the salinity is {ppt[i]:g} ppt", hint))
    return found


def _per_gram(samples: pd.DataFrame, hatches: pd.DataFrame) -> list[Doubt]:
    """Samples that make more nauplii of a gram than there are cysts in it, by more than chance in counting."""
    own = hatches.set_index("hatch").reindex(samples["hatch"])
    cone = (own["volume_ml"] * 1000.0 / own["cysts_g"]).to_numpy()
    factor = samples["dilution"].fillna(1.0) * cone / samples["volume_ul"]
    nauplii = samples["nauplii"].astype("float64")
    surely = (nauplii - 3 * nauplii.pow(0.5)) * factor
    return [
        _doubt(
            "samples",
            samples,
            i,
            "nauplii",
            f"{nauplii[i]:.0f} nauplii in {samples.at[i, 'volume_ul']:g} µl make {nauplii[i] * factor[i]:,.0f} per "
            f"gram, more than a gram of cysts holds ({MOST_PER_G:,.0f} at the very most)",
            "Look at its count, volume_ul and dilution, and at cysts_g and volume_ml of hatch "
            f"{samples.at[i, 'hatch']}.",
        )
        for i in samples.index[(surely > MOST_PER_G) & (samples["kind"] == "subsample")]  # a harvest is thicker
    ]


def times_to_come(tables: dict[str, pd.DataFrame], now: str) -> list[Doubt]:
    """Find records dated more than a day after the clock.

    Parameters
    ----------
    tables : dict of str to DataFrame
    now : str
        ISO time.

    Returns
    -------
    list of Doubt
    """
    limit = pd.Timestamp(now) + pd.Timedelta(days=1)
    return [
        _doubt(
            name,
            tables[name],
            i,
            column,
            f"{column} is {tables[name].at[i, column]}, still to come",
            "If the time is right, set the computer's clock.",
        )
        for name, column in schema.TIME_COLUMN.items()
        if name in tables
        for i in tables[name].index[to_utc(tables[name][column]) > limit]
    ]


def notes_on(connection, new: dict[str, pd.DataFrame], max_g_per_l: float, now: str) -> list[str]:
    """Say what hardly can be in rows that come in.

    Parameters
    ----------
    connection : Connection
    new : dict of str to DataFrame
        Clean rows by table.
    max_g_per_l : float
        The site's own most. [g/l]
    now : str
        ISO time.

    Returns
    -------
    list of str
        A sentence each: where, what, what to do.
    """
    own = {name: new[name] for name in ("lots", "hatches", "readings", "samples") if name in new}
    found = doubts(own, max_g_per_l) + times_to_come(own, now)
    if "lots" in own:
        found += days_apart(own["lots"], now)
    if "hatches" in own:
        every = pd.concat([query.fetch(connection, "hatches"), own["hatches"]], ignore_index=True)
        coming = set(own["hatches"]["hatch"])
        found += [d for d in lone_cones(every) if d.key in coming]
    if "samples" in own:
        coming = set(own["hatches"]["hatch"]) if "hatches" in own else set()
        if before := sorted(set(own["samples"]["hatch"]) - coming):
            logged = query.fetch(connection, "hatches", {"hatch": before})
            found += _per_gram(own["samples"], logged)
            found += _large_parts(own["samples"], logged)
    said = [f"{d.table} {d.key}: {d.what}. {d.remedy}" for d in found[:_SHOWN]]
    if len(found) > _SHOWN:
        said.append(f"{len(found) - _SHOWN} more values hardly can be: see  qckit log check.")
    return said
