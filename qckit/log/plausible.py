"""What hardly can be, though every cell keeps to its limits: units mixed up, fractions for percentages, far-off dates.

Nothing is refused for being unusual: it is said at import and by ``qckit log check``. What no water can hold is
refused by ``row_rules``.
"""

from __future__ import annotations

from collections import Counter

import pandas as pd

from qckit.log import odd_times, query, row_rules
from qckit.log.odd_harvests import far_recoveries
from qckit.log.problems import Doubt, doubt, mending
from qckit.quantities import HATCHING_PPT, MOST_CYSTS_G_PER_L, MOST_PER_G, WATER_C, in_standard_unit
from qckit.tables import to_utc
from qckit.words import figures, noun, number, row_words

__all__ = ["doubts", "in_words", "lone_cones", "notes_on"]

_LEAST_CLAIM_PER_G = 1000.0  # a label's "260" means thousands
_LEAST_G_PER_L = 0.02  # a hundredth of the standard test's 2 g/l
_OVER_MOST = 1.25  # of the site's own most: weighing out a little more is no mistake
_FAR_OVER = 3.0  # a slip rather than a little more
_SHOWN = 20
_SHOWN_OF_KIND = 3  # a sheet with one volume mistyped throughout needs no line for every row
_PH = (6.5, 10.0)  # hatching water is kept above 8; below this decapsulating acids, above it lye (common practice)
_LONG_H = 240.0  # ten days after wetting nobody counts a hatch
_LARGE_PART = 0.2  # of the cone in one subsample
_DILUTED = 2000.0
_KNOWN_CONE, _KNOWN_SITE = 3, 12  # hatches in a cone, and in all of these, before a new one stands out


def doubts(tables: dict[str, pd.DataFrame], max_g_per_l: float) -> list[Doubt]:
    """Find values that hardly can be.

    Parameters
    ----------
    tables : dict of str to DataFrame
        lots, hatches, readings, samples and feeds, each with its columns; a table may be left out. Samples and feeds
        are weighed against those hatches that are there.
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
        found += far_recoveries(tables["samples"], tables["hatches"])
    if {"readings", "hatches"} <= set(tables):
        found += odd_times.far_readings(tables["readings"], tables["hatches"])
    if {"feeds", "hatches"} <= set(tables):
        found += odd_times.early_feeds(tables["feeds"], tables["hatches"])
    return found


def _lots(lots: pd.DataFrame) -> list[Doubt]:
    found = []
    for column in ("claimed_hatch_pct", "moisture_pct"):
        values = lots[column]
        for i in lots.index[(values > 0) & (values <= 1)]:
            hint = f"It looks like a fraction: {100 * values[i]:g} % is written {100 * values[i]:g}."
            found.append(doubt("lots", lots, index=i, column=column, what=f"{column} is {values[i]:g} %", hint=hint))
    claim = lots["claimed_nauplii_per_g"]
    for i in lots.index[(claim > MOST_PER_G) | (claim < _LEAST_CLAIM_PER_G)]:
        what = f"claimed_nauplii_per_g is {number(claim[i])}"
        if claim[i] > MOST_PER_G:
            found.append(
                doubt(
                    "lots",
                    lots,
                    index=i,
                    column=claim.name,
                    what=f"{what}, more than a gram of cysts holds",
                    hint=f"Most lots hold {number(220_000)} to {number(300_000)}.",
                )
            )
        else:
            found.append(
                doubt(
                    "lots",
                    lots,
                    index=i,
                    column=claim.name,
                    what=what,
                    hint="If thousands are meant, write them out: 260000.",
                )
            )
    return found


def _g_per_l(hatches: pd.DataFrame) -> pd.Series:
    return hatches["cysts_g"] / hatches["volume_ml"] * 1000.0


def _hatches(hatches: pd.DataFrame, max_g_per_l: float) -> list[Doubt]:
    found = []
    g_per_l = _g_per_l(hatches)
    is_doubtful = (g_per_l > min(_OVER_MOST * max_g_per_l, MOST_CYSTS_G_PER_L)) | (g_per_l < _LEAST_G_PER_L)
    for i in hatches.index[is_doubtful]:
        what = (
            f"{hatches.at[i, 'cysts_g']:g} g in {hatches.at[i, 'volume_ml']:g} ml are {figures(g_per_l[i])} g of "
            "cysts per litre"
        )
        if g_per_l[i] > MOST_CYSTS_G_PER_L or g_per_l[i] < _LEAST_G_PER_L:
            hint = "Look whether cysts_g is in grams and volume_ml in millilitres (20 l are 20000)."
        else:
            what += f", more than this site's own most, {max_g_per_l:g} (max_g_per_l in qckit.toml)"
            hint = "If it was so, nothing is to be mended."
            if g_per_l[i] > _FAR_OVER * max_g_per_l:
                hint = "Look at the grams and at the water on the sheet."
        found.append(doubt("hatches", hatches, index=i, column="cysts_g", what=what, hint=hint))
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
        doubt(table, frame, index=i, column=column, what=f"the pH is {ph[i]:g}", hint=hint)
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
            doubt(
                "samples",
                samples,
                index=i,
                column="volume_ul",
                what="has neither volume_ul, mass_g nor chamber_depth_mm",
                hint=hint,
            )
        )
    for i in samples.index[samples["hours"] > _LONG_H]:
        what = f"was taken {samples.at[i, 'hours']:g} h after wetting"
        found.append(
            doubt("samples", samples, index=i, column="hours", what=what, hint="Nauplii have starved by then.")
        )
    for i in samples.index[samples["dilution"] > _DILUTED]:
        what = f"was diluted {samples.at[i, 'dilution']:g} times"
        found.append(
            doubt(
                "samples",
                samples,
                index=i,
                column="dilution",
                what=what,
                hint="1 means not diluted, 10 means one part in ten.",
            )
        )
    whole = samples["harvest_ml"].isna() & samples["harvest_g"].isna() & counted
    for i in samples.index[(samples["kind"] == "harvest") & whole]:
        what = "is of a harvest, and harvest_ml or harvest_g is not given"
        found.append(
            doubt(
                "samples",
                samples,
                index=i,
                column="harvest_ml",
                what=what,
                hint="Without it nothing is known of the whole harvest.",
            )
        )
    return found


def _large_parts(samples: pd.DataFrame, hatches: pd.DataFrame) -> list[Doubt]:
    """Subsamples that are a large part of their cone."""
    volume_ml = samples["hatch"].map(hatches.drop_duplicates("hatch").set_index("hatch")["volume_ml"])
    part = samples["volume_ul"] / (1000.0 * volume_ml)
    return [
        doubt(
            "samples",
            samples,
            index=i,
            column="volume_ul",
            what=f"{samples.at[i, 'volume_ul']:g} µl are {100 * part[i]:.0f} % of the cone",
            hint="Look whether it is in microlitres (1 ml is 1000).",
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
        doubt(
            "hatches",
            hatches,
            index=i,
            column="cone",
            what=f"no other hatch stood in cone {hatches.at[i, 'cone']!r}",
            hint=f"Known: {shown}.",
        )
        for i in hatches.index[hatches["cone"].map(uses) == 1]
    ]


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
        found.append(
            doubt(
                table, frame, index=i, column=column, what=f"the water's temperature is {celsius[i]:.1f} °C", hint=hint
            )
        )
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
        found.append(doubt(table, frame, index=i, column=column, what=f"the salinity is {ppt[i]:g} ppt", hint=hint))
    return found


def _per_gram(samples: pd.DataFrame, hatches: pd.DataFrame) -> list[Doubt]:
    """Samples that make more nauplii of a gram than there are cysts in it, by more than chance in counting."""
    hatch_rows = hatches.set_index("hatch").reindex(samples["hatch"])
    cone = (hatch_rows["volume_ml"] * 1000.0 / hatch_rows["cysts_g"]).to_numpy()
    factor = samples["dilution"].fillna(1.0) * cone / samples["volume_ul"]
    nauplii = samples["nauplii"].astype("float64")
    surely = (nauplii - 3 * nauplii.pow(0.5)) * factor
    return [
        doubt(
            "samples",
            samples,
            index=i,
            column="nauplii",
            what=f"{nauplii[i]:.0f} nauplii in {samples.at[i, 'volume_ul']:g} µl make {number(nauplii[i] * factor[i])} "
            f"per gram, more than a gram of cysts holds ({number(MOST_PER_G)} at the very most)",
            hint="Look at its count, volume_ul and dilution, and at cysts_g and volume_ml of hatch "
            f"{samples.at[i, 'hatch']}.",
        )
        for i in samples.index[(surely > MOST_PER_G) & (samples["kind"] == "subsample")]  # a harvest is thicker
    ]


def notes_on(connection, new: dict[str, pd.DataFrame], max_g_per_l: float, now: str, *, step: int = 0) -> list[str]:
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
    step : int
        That brings them; 0 where it corrects rows that are there.

    Returns
    -------
    list of str
        A sentence each: where, what, what to do.
    """
    checked = {name: new[name] for name in ("lots", "hatches", "readings", "samples", "feeds") if name in new}
    found = doubts(checked, max_g_per_l)
    found += odd_times.steps_to_come(checked, now, step) if step else odd_times.times_to_come(checked, now)
    if "lots" in checked:
        found += odd_times.days_apart(checked["lots"], now)
    if "hatches" in checked:
        coming, logged = set(checked["hatches"]["hatch"]), query.fetch(connection, "hatches")
        others = logged[~logged["hatch"].isin(coming)]  # a row that is corrected stands in the log already
        every = pd.concat([others, checked["hatches"]], ignore_index=True)
        found += [d for d in lone_cones(every) if d.key in coming]
    coming = set(checked["hatches"]["hatch"]) if "hatches" in checked else set()
    looks_of = {
        "samples": (_per_gram, _large_parts),
        "readings": (odd_times.far_readings,),
        "feeds": (odd_times.early_feeds,),
    }
    for name, looks in looks_of.items():
        if name in checked and (before := sorted(set(checked[name]["hatch"]) - coming)):
            logged = query.fetch(connection, "hatches", {"hatch": before})
            found += [found_one for look in looks for found_one in look(checked[name], logged)]
    if "samples" in checked:
        found += _of_harvests(connection, checked["samples"], checked.get("hatches"), doubted={d.key for d in found})
    return in_words(found + _hours_apart(connection, checked), ("value hardly can be", "values hardly can be"))


def _hours_apart(connection, checked: dict[str, pd.DataFrame]) -> list[Doubt]:
    """Samples in the log whose hours, as written, do not fit the times: a start, or their own time, was corrected."""
    names = sorted({hatch for name in ("hatches", "samples") if name in checked for hatch in checked[name]["hatch"]})
    samples = query.fetch(connection, "samples", {"hatch": names})
    hatches = query.fetch(connection, "hatches", {"hatch": names}).set_index("hatch")
    started, volume_ml = (samples["hatch"].map(hatches[c]) for c in ("started", "volume_ml"))
    return [
        Doubt(
            "samples",
            sample := samples.at[index, "sample"],
            f"hours {value} {rule}",
            f"Correct what is wrong, such as  {mending('correct', 'samples', sample, 'hours', 'NUMBER')}",
            "hours",
        )
        for index, column, value, rule, _ in row_rules.broken_with_hatch(samples, to_utc(started), volume_ml)
        if column == "hours"
    ]


def _of_harvests(connection, samples, hatches, doubted) -> list[Doubt]:
    """Weigh harvests against the counts of their cones, whichever of the two comes in later."""
    names = sorted(set(samples["hatch"]))
    logged = query.fetch(connection, "samples", {"hatch": names})
    every = pd.concat([logged[~logged["sample"].isin(samples["sample"])], samples], ignore_index=True)
    if not (every["kind"] == "harvest").any():
        return []
    known = query.fetch(connection, "hatches", {"hatch": names})
    known = known if hatches is None else pd.concat([hatches, known], ignore_index=True)
    return [d for d in far_recoveries(every, known) if d.key not in doubted]


def in_words(found: list[Doubt], what: tuple[str, str]) -> list[str]:
    """Return a sentence for each doubt, few of a kind and twenty in all, and one for the rest: of one, and of more."""
    of_kind = Counter()
    shown = []
    for d in found:
        of_kind[d.table, d.column] += 1
        if of_kind[d.table, d.column] <= _SHOWN_OF_KIND:
            shown.append(f"{row_words(d.table, d.key)}: {d.what}. {d.remedy}")
    shown = shown[:_SHOWN]
    left = len(found) - len(shown)
    return [*shown, f"{left} more {noun(left, *what)}: see  qckit log check."] if left else shown
