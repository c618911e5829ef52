"""Rules of whole rows that no single cell can show: what no water can hold, what cannot be stored or seen.

Rows that come in by sheet, by correction and from a package keep to the same rules.
"""

from __future__ import annotations

import math
import unicodedata

import pandas as pd

from qckit.columns import listed_in
from qckit.log.photo_files import leads_out
from qckit.quantities import in_standard_unit
from qckit.tables import to_utc
from qckit.words import spaced

__all__ = ["broken", "broken_with_hatch"]

_MOST_NAUPLII_PER_UL = 1000.0 / 1.63  # by the lightest strain's dry weight, µg (Vanhaecke and Sorgeloos 1980)
_WATER_G_PER_L = 1000.0
_READINGS = {  # what can be read off an instrument at all, in the standard units
    "temperature": (-5.0, 100.0, "temperature of water, in °C"),
    "salinity": (0.0, 350.0, "salinity, in ppt"),
    "ph": (0.0, 14.0, "pH"),
    "oxygen": (0.0, 60.0, "oxygen, in mg/l"),
    "light": (0.0, 200_000.0, "light, in lux"),
}
_SURROGATE = frozenset(map(chr, range(0xD800, 0xE000)))
MOST_CHARACTERS = 500  # of a name; as four bytes each they fit into an index of the server
_NAMED_BY_PEOPLE = {
    "lots": ("lot",),
    "hatches": ("hatch", "lot", "cone"),
    "readings": ("hatch",),
    "samples": ("sample", "hatch"),
    "feeds": ("feed",),
    "changes": ("change",),
}


def broken(table: str, frame: pd.DataFrame) -> list[tuple]:
    """Find rows that break a rule by themselves.

    Parameters
    ----------
    table : str
    frame : DataFrame, shape (n, any)
        Clean rows of it.

    Returns
    -------
    list of (index, column, value, rule, remedy)
    """
    found = [*_not_to_be_stored(frame), *_invisible(table, frame), *_too_long(table, frame)]
    look = {"hatches": _impossible_hatches, "samples": _impossible_samples, "readings": _impossible_readings}.get(table)
    found += look(frame) if look else ()
    if table in ("samples", "photos"):
        found += _photos_outside(frame, "photos" if table == "samples" else "photo")
    return found


def broken_with_hatch(samples: pd.DataFrame, started: pd.Series, volume_ml: pd.Series) -> list[tuple]:
    """Find samples that break a rule beside their hatch: taken before it was wetted, of more water than it has.

    Parameters
    ----------
    samples : DataFrame, shape (n, any)
    started : Series of datetime64, shape (n,)
        Start of each sample's hatch; missing where it is not known.
    volume_ml : Series, shape (n,)
        Water in its cone. [ml]

    Returns
    -------
    list of (index, column, value, rule, remedy)
    """
    hours = (to_utc(samples["taken"]) - started).dt.total_seconds() / 3600
    apart = (hours - samples["hours"]).abs()
    found = [
        (
            i,
            "volume_ul",
            f"{samples.at[i, 'volume_ul']:g}",
            f"is more than the whole cone, volume_ml {volume_ml[i]:g} of its hatch",
            "Correct volume_ul (microlitres: 1 ml is 1000), or volume_ml of the hatch.",
        )
        for i in samples.index[samples["volume_ul"] > 1000.0 * volume_ml]
    ]
    found += [
        (
            i,
            "taken",
            samples.at[i, "taken"],
            f"is {-hours[i]:.1f} h before the hatch was started",
            "Correct the time, or the hatch.",
        )
        for i in samples.index[hours < 0]
    ]
    # an hour apart, or a twentieth of the time: people round the reading time, but do not mistake a day
    found += [
        (
            i,
            "hours",
            f"{samples.at[i, 'hours']:g}",
            f"does not fit the times: taken is {hours[i]:.1f} h after the hatch was started",
            "Correct the one that is wrong, or leave hours empty.",
        )
        for i in samples.index[(apart > 1) & (apart > 0.05 * hours) & (hours >= 0)]
    ]
    return found


def _not_to_be_stored(frame: pd.DataFrame):
    """Half a surrogate pair, which no UTF-8 can hold, and the null that ends a text for the database."""
    for column in frame.columns:
        texts = frame[column].dropna().to_numpy(dtype=object) if str(frame[column].dtype) == "str" else ()
        if not _cannot_be_stored("".join(texts)):
            continue
        refused = frame[column].map(lambda v: isinstance(v, str) and _cannot_be_stored(v)).astype(bool)
        for index in frame.index[refused]:
            shown = frame.at[index, column].encode("unicode_escape").decode()
            yield index, column, shown, "holds a character that cannot be stored", "Type the cell again."


def _cannot_be_stored(text: str) -> bool:
    return "\x00" in text or not _SURROGATE.isdisjoint(text)


def _invisible(table: str, frame: pd.DataFrame):
    """Names without any letter, digit or sign that shows."""
    for column in [c for c in _NAMED_BY_PEOPLE.get(table, ()) if c in frame]:
        for index, name in frame[column].dropna().items():
            if not any(unicodedata.category(c)[0] in "LNPS" for c in name):
                shown = name.encode("unicode_escape").decode()
                yield index, column, shown, "has nothing in it that can be seen", "Type the name again."


def _too_long(table: str, frame: pd.DataFrame):
    """Names that no page, file or index of a database holds."""
    for column in [c for c in _NAMED_BY_PEOPLE.get(table, ()) if c in frame]:
        for index in frame.index[(frame[column].str.len() > MOST_CHARACTERS).fillna(False).astype(bool)]:
            name = frame.at[index, column]
            rule = f"has {spaced(len(name))} characters, and a name has {MOST_CHARACTERS} at most"
            yield index, column, f"{name[:20]} ...", rule, "Shorten it; the rest belongs into notes."


def _photos_outside(frame: pd.DataFrame, column: str):
    for index, names in frame[column].dropna().items():
        for name in [n for n in listed_in(names) if leads_out(n)]:
            remedy = "Copy it into photos/ of the site, and write its file name."
            yield index, column, name, "names a photo outside the site folder", remedy


def _impossible_hatches(frame: pd.DataFrame):
    g_per_l = frame["cysts_g"] / frame["volume_ml"] * 1000.0
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
    bare = frame["volume_ul"].isna() & frame["mass_g"].isna() & frame["chamber_depth_mm"].isna()
    for i in frame.index[bare & frame["nauplii"].isna() & (frame["kind"] != "harvest")]:
        yield (
            i,
            "chamber_depth_mm",
            None,
            "is empty, and so are volume_ul and mass_g",
            "Fill one of the three, or the count cannot be turned into numbers per gram.",
        )


def _impossible_readings(frame: pd.DataFrame):
    standard = in_standard_unit(frame)
    for quantity, (low, high, _) in _READINGS.items():
        value = standard.where(frame["quantity"] == quantity)
        for i in frame.index[(value < low) | (value > high)]:
            yield i, "value", f"{value[i]:g}", *reading_problem(quantity, value[i])


def reading_problem(quantity: str, value: float) -> tuple[str, str] | None:
    """Rule and remedy of a value in its standard unit that no water has; None of one that can be."""
    low, high, words = _READINGS.get(quantity, (-math.inf, math.inf, ""))
    if low <= value <= high:
        return None
    return f"is no {words}: {low:g} to {high:g} can be", "Correct the value, or its unit."
