"""Which subsamples a hatch's figures rest on: one place that decides, for every verdict, chart and table.

1. Of one sample the newest revision counts. (The log lets a count from photos take the place of a person's only where
   somebody asks for it with a reason.)
2. A sample without a count of nauplii is no count.
3. Of several readings the one nearest to the reading hour counts, the later of two as near. Subsamples within
   ``tolerance_h`` of it belong to it; those of other hours, such as a time course's, do not.
4. Where two samples of a hatch name the same photo, one subsample was counted twice: a person's count goes before one
   from the photo.
5. Subsamples in which more of the stages were counted go before others: first those with nauplii, umbrella stages and
   unhatched cysts, then those with nauplii and unhatched cysts, then those with nauplii alone. So one set of subsamples
   gives every figure, and efficiency / percentage = full cysts per gram holds. Shells, a second witness, count where
   they were counted.
6. Counts of one kind make a figure, from photos or by a person, whichever has more of the subsamples (a person's where
   both have as many). The two err differently, and a mean of both hides that; the other kind is a check.
7. Where a hatch was drawn from again at the same reading, after a pause, the first drawing counts: a repeat is another
   look at the cone, made because something was in doubt, and pooling would hide what it shows.

Rules 3 to 7 are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.columns import listed_in
from qckit.errors import unknown_name
from qckit.stages import STAGE_COLUMNS, STAGE_RECORDS
from qckit.tables import to_utc

__all__ = ["BESIDE_SHELLS", "LEFT_OUT", "drawing_numbers", "fill_volumes", "joined_subsamples", "reading_subsamples"]

LEFT_OUT = ("", "uncounted", "other_hour", "counted_again", "incomplete", "other_kind", "repeat")
"""Values of the column ``left_out`` of :func:`reading_subsamples`; empty: used."""

BESIDE_SHELLS = ("shell_whole", "shell_nauplii", "shell_opened")
"""Counts beside shells, of the subsamples in which shells were counted: shells, umbrella stages and unhatched; nauplii;
nauplii and umbrella stages."""

_NUMBERS = (*STAGE_COLUMNS.values(), "embryos", "hours", "volume_ul")
# further stages of what hatched count with the nauplii, those between cyst and nauplius with the umbrella stages
_MORE_HATCHED = [s.column for s in STAGE_RECORDS if s.is_hatched and s.name != "nauplius"]
_MORE_BETWEEN = [
    s.column for s in STAGE_RECORDS if s.is_full_cyst and not s.is_hatched and s.name not in ("umbrella", "cyst")
]
_OF_HATCH = ("lot", "cone", "purpose", "operator", "started", "cysts_g", "volume_ml")
_OF_LOT = ("moisture_pct", "dry_weight_ug")


def fill_volumes(samples, photos=None):
    """Fill ``volume_ul`` where a sample has a chamber depth instead: frame area x depth (mm³ = µl).

    Parameters
    ----------
    samples : DataFrame, shape (n, any)
        Columns of the samples table.
    photos : DataFrame, optional
        Columns photo, um_per_px, width_px, height_px and, where known, frame_mm2 (the photos table). A sample's
        photos are those named in its ``photos`` cell; the frame areas of several photos add up. A volume that is
        written down is kept.

    Returns
    -------
    DataFrame, shape (n, any)
        A copy; ``volume_ul`` stays NaN where depth, photo or scale is missing.

    Examples
    --------
    >>> "volume_ul" in hatch.fill_volumes(tables.samples, tables.photos)
    True
    """
    filled = samples.copy()
    if "volume_ul" not in filled:
        filled["volume_ul"] = np.nan
    filled["volume_ul"] = filled["volume_ul"].astype(float)
    if photos is None or not len(photos) or "chamber_depth_mm" not in filled or "photos" not in filled:
        return filled
    lacking = filled["volume_ul"].isna() & filled["chamber_depth_mm"].notna()
    if not lacking.any():
        return filled
    area = _frame_mm2(photos)
    by_name = dict(zip(photos["photo"].astype(str), area))
    by_name.update({_file_name(name): value for name, value in list(by_name.items())})
    for row in filled.index[lacking]:
        frames = [by_name.get(n, by_name.get(_file_name(n), np.nan)) for n in listed_in(filled.at[row, "photos"])]
        if frames:
            filled.at[row, "volume_ul"] = float(np.sum(frames)) * float(filled.at[row, "chamber_depth_mm"])
    return filled


def _file_name(path: str) -> str:
    return path.replace("\\", "/").rsplit("/", 1)[-1]


def _frame_mm2(photos):
    """Area of each photo's counting frame; that of the whole picture where none is written down."""
    whole = photos["width_px"].astype(float) * photos["height_px"].astype(float) * (photos["um_per_px"] / 1000) ** 2
    return photos["frame_mm2"].astype(float).fillna(whole) if "frame_mm2" in photos else whole


def joined_subsamples(samples, hatches, lots=None, photos=None):
    """Bring each subsample together with its hatch and lot: the newest revision, counts as float, hours and volumes.

    Parameters
    ----------
    samples, hatches, lots, photos : DataFrame
        Tables as ``tables.check_table`` returns them; lots give moisture and dry weight, photos the counted volume of
        samples that give a chamber depth.

    Returns
    -------
    DataFrame, shape (n_subsamples, any)
        In the order of ``samples``; adds hours (since wetting), unhatched (embryos where counted, else cysts), basis
        (embryos, cysts, none), counted_ul (undiluted), full_cysts (N + U + E; U none where it was not counted) and
        ``BESIDE_SHELLS``.

    Raises
    ------
    InputError
        A sample names a hatch that is not in the hatches table.

    Examples
    --------
    >>> joined = hatch.joined_subsamples(tables.samples, tables.hatches, tables.lots)
    >>> len(joined) <= len(tables.samples), "counted_ul" in joined
    (True, True)
    """
    chosen = fill_volumes(samples[samples["kind"] == "subsample"] if "kind" in samples else samples, photos)
    if "revision" in chosen and len(chosen):
        order = chosen["revision"].fillna(0).astype(int)
        chosen = chosen.loc[order.sort_values(kind="stable").index].drop_duplicates("sample", keep="last").sort_index()
    unknown = ~chosen["hatch"].isin(set(hatches["hatch"]))
    if unknown.any():
        first = chosen[unknown].iloc[0]
        where = f"samples, sample {first['sample']}"
        raise unknown_name("hatch", first["hatch"], sorted(set(hatches["hatch"])), where=where)
    texts = {name: chosen.get(name) for name in ("sample", "hatch", "taken", "counted_by", "photos")}
    out = pd.DataFrame(texts, index=chosen.index)
    for name in _NUMBERS:
        out[name] = _numbers(chosen, name)
    out["nauplii"] += out[_MORE_HATCHED].sum(axis=1)
    if _MORE_BETWEEN:
        out["umbrella"] = out[["umbrella", *_MORE_BETWEEN]].sum(axis=1, min_count=1)
    dilution = np.nan_to_num(_numbers(chosen, "dilution", 1.0), nan=1.0)
    out["counted_ul"] = out["volume_ul"] / dilution
    out = out.merge(hatches.reindex(columns=["hatch", *_OF_HATCH]), on="hatch", how="left")
    extra = pd.DataFrame({"lot": []}) if lots is None else lots
    extra = extra.reindex(columns=["lot", *_OF_LOT]).drop_duplicates("lot")
    out = out.merge(extra.astype({"lot": out["lot"].dtype}), on="lot", how="left")
    out["hours"] = _hours(out)
    has_embryos = out["embryos"].notna()
    out["unhatched"] = out["embryos"].where(has_embryos, out["cysts"])
    out["basis"] = np.select([has_embryos, out["cysts"].notna()], ["embryos", "cysts"], "none")
    opened, shells = out["nauplii"] + out["umbrella"].fillna(0), out["shells"].notna()
    out["full_cysts"] = opened + out["unhatched"]
    out["shell_whole"] = out["shells"] + out["umbrella"].fillna(0) + out["unhatched"]
    out["shell_nauplii"], out["shell_opened"] = out["nauplii"].where(shells), opened.where(shells)
    return out


def reading_subsamples(table, *, reading_h=24.0, tolerance_h=1.5):
    """Choose the subsamples that make each hatch's figures, by the rules at the head of this module.

    Parameters
    ----------
    table : DataFrame
        From :func:`joined_subsamples`.
    reading_h : float
        Hours from wetting at which the site reads its hatches. [h]
    tolerance_h : float
        Subsamples this near to the chosen reading belong to it. [h]

    Returns
    -------
    DataFrame
        ``table`` with ``left_out``: empty where the subsample is used, else why not (``LEFT_OUT``).

    Examples
    --------
    >>> joined = hatch.joined_subsamples(tables.samples, tables.hatches, tables.lots)
    >>> len(hatch.reading_subsamples(joined)) <= len(joined)
    True
    """
    table = table.reset_index(drop=True)
    hatch, out = table["hatch"], pd.Series("", index=table.index, dtype=object)
    counted = table["nauplii"].notna()
    counted |= ~counted.groupby(hatch).transform("any")  # of a hatch without a count, a row without figures is shown
    out[~counted] = "uncounted"
    out[(out == "") & ~_of_reading(table[out == ""], reading_h, tolerance_h).reindex(out.index, fill_value=True)] = (
        "other_hour"
    )
    out[_counted_again(table[out == ""])] = "counted_again"
    complete = np.select([table["full_cysts"].isna(), table["umbrella"].isna()], [1, 2], 3)
    most = pd.Series(complete, index=table.index)[out == ""].groupby(hatch).transform("max")
    out[(out == "") & (complete < most.reindex(out.index, fill_value=0))] = "incomplete"
    out[_of_other_kind(table[out == ""])] = "other_kind"
    used = table[out == ""]
    drawing = drawing_numbers(used["taken"], used["hatch"])
    out[drawing.index[drawing > 0]] = "repeat"
    return table.assign(left_out=out)


def _of_reading(table, reading_h, tolerance_h):
    """Tell which rows belong to the reading of their hatch; all of one whose hours are not known."""
    away = (table["hours"] - reading_h).abs().round(6)
    order = pd.DataFrame({"hatch": table["hatch"], "away": away, "hours": table["hours"]})
    first = order.sort_values(["away", "hours"], ascending=[True, False], kind="stable").drop_duplicates("hatch")
    at = table["hatch"].map(first.set_index("hatch")["hours"]).astype(float)
    return at.isna() | ((table["hours"] - at).abs().round(6) <= tolerance_h)


def _counted_again(table):
    """Index of the rows whose subsample stands there once more, counted by a person (or else later)."""
    named = table[table["photos"].notna()]
    if named.empty:
        return named.index
    each = named["photos"].map(listed_in).explode().dropna()
    each = pd.DataFrame({"hatch": named["hatch"].reindex(each.index), "photo": each.map(_file_name)})
    twice = each[each.duplicated(keep=False)]
    if twice.empty:
        return twice.index
    twice = twice.assign(rank=(table["counted_by"].reindex(twice.index) == "person").astype(int), row=twice.index)
    kept = twice.sort_values(["rank", "row"], kind="stable").drop_duplicates(["hatch", "photo"], keep="last")
    return pd.Index(sorted(set(twice.index) - set(kept.index)))


def _of_other_kind(table):
    """Index of the rows counted otherwise than most of their hatch's."""
    by_photo = table["counted_by"] == "photo"
    n = by_photo.groupby(table["hatch"]).transform("sum")
    size = by_photo.groupby(table["hatch"]).transform("size")
    return table.index[by_photo != (n > size - n)]


def drawing_numbers(taken, hatch):
    """Number the drawings of each hatch: subsamples taken one after another belong together, a pause starts anew.

    Parameters
    ----------
    taken : Series of str or datetime
    hatch : Series of str

    Returns
    -------
    Series of int
        0 for the first drawing. A pause is more than 15 minutes, and more than four times the usual step within the
        hatch (common practice, no source).
    """
    if not len(taken):
        return pd.Series(dtype=int)
    frame = pd.DataFrame({"at": to_utc(taken), "hatch": hatch}).sort_values(["hatch", "at"], kind="stable")
    step = frame.groupby("hatch", sort=False)["at"].diff().dt.total_seconds() / 60.0
    usual = step.groupby(frame["hatch"], sort=False).transform("median")
    pause = (step > 15.0) & (step > 4.0 * usual)
    return pause.groupby(frame["hatch"], sort=False).cumsum().astype(int).reindex(taken.index)


def _numbers(frame, name, default=np.nan):
    if name not in frame:
        return np.full(len(frame), default)
    return frame[name].astype("float64").to_numpy(dtype=float, na_value=np.nan)


def _hours(table):
    if not len(table):
        return table["hours"]
    unknown = table["hours"].isna()
    if not unknown.any():
        return table["hours"]
    rest = table[unknown]
    clock = (to_utc(rest["taken"]) - to_utc(rest["started"])).dt.total_seconds() / 3600
    return table["hours"].fillna(clock)
