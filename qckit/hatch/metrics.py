"""Counts to hatch metrics: of one subsample, of one cone (one hatch).

The definitions are those of the standard hatch test (Lavens and Sorgeloos, eds, 1996, FAO Fisheries Technical Paper
361, hatching worksheet; from memory). Every conversion factor is worked out from the volumes and the mass written
down; none is built in.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.errors import InputError, unknown_name

__all__ = [
    "CONE_COLUMNS",
    "SAMPLE_COLUMNS",
    "cone_metrics",
    "conversion_factor",
    "fill_volumes",
    "full_cysts_per_g",
    "gaps",
    "hatching_efficiency",
    "hatching_output",
    "hatching_percentage",
    "sample_metrics",
]

_RATIOS = (
    "factor_per_g",
    "hatch_pct",
    "hatching_efficiency_per_g",
    "hatching_efficiency_per_dry_g",
    "full_cysts_per_g",
    "output_mg_per_g",
    "opened_pct",
    "umbrella_pct",
)
_COUNTS = ("nauplii", "umbrella", "unhatched", "shells", "full_cysts")

SAMPLE_COLUMNS = ("sample", "hatch", "lot", "cone", "hours", *_COUNTS, "basis", "counted_ul", *_RATIOS)
"""Columns of :func:`sample_metrics`."""

CONE_COLUMNS = (
    "hatch",
    "lot",
    "cone",
    "purpose",
    "started",
    "hours",
    "n_subsamples",
    "cysts_g",
    "volume_ml",
    *_COUNTS,
    "basis",
    "counted_ul",
    *_RATIOS,
    "notes",
)
"""Columns of :func:`cone_metrics`."""


def hatching_percentage(nauplii, umbrella, unhatched):
    """Nauplii per hundred full cysts, H% = 100 N / (N + U + E).

    Parameters
    ----------
    nauplii, umbrella, unhatched : array_like of float, shape (n,)
        Counts, or means of counts. E is embryos after decapsulation; without it unhatched cysts stand in.

    Returns
    -------
    ndarray of float, shape (n,)
        Percent; NaN where nothing was counted.

    References
    ----------
    Lavens and Sorgeloos 1996, FAO Fisheries Technical Paper 361, hatching worksheet (from memory).
    """
    return _percent(nauplii, np.add(np.add(nauplii, umbrella, dtype=float), unhatched))


def conversion_factor(*, volume_ml, counted_ul, cysts_g, dilution=1.0):
    """Turn a count in a subsample into a number per gram: dilution x V / (v m).

    Parameters
    ----------
    volume_ml : array_like of float
        Water in the cone, V. [ml]
    counted_ul : array_like of float
        Volume counted, v. [µl]
    cysts_g : array_like of float
        Cysts as weighed, m. [g]
    dilution : array_like of float
        Times the sample was diluted before counting.

    Returns
    -------
    ndarray of float
        Per gram for each object counted. 800 ml, 250 µl and 1.6 g give 2,000.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return (
            np.asarray(dilution, float)
            * np.asarray(volume_ml, float)
            * 1000.0
            / (np.asarray(counted_ul, float) * np.asarray(cysts_g, float))
        )


def hatching_efficiency(mean_nauplii, factor_per_g, *, moisture_pct=0.0):
    """Nauplii per gram: mean count x conversion factor; per dry gram when the moisture is given.

    Parameters
    ----------
    mean_nauplii : array_like of float
        Mean count of nauplii in the cone's subsamples.
    factor_per_g : array_like of float
        From :func:`conversion_factor`. [1/g]
    moisture_pct : array_like of float
        Water in the cysts, by mass; 0 gives the number per gram as weighed. [%]

    Returns
    -------
    ndarray of float
        [1/g]
    """
    dry = 1 - np.asarray(moisture_pct, float) / 100
    return np.asarray(mean_nauplii, float) * factor_per_g / np.where(dry > 0, dry, np.nan)


def full_cysts_per_g(hatching_efficiency_per_g, hatch_pct):
    """Cysts with an embryo in one gram, HE / (H% / 100). [1/g]"""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(hatching_efficiency_per_g, float) / (np.asarray(hatch_pct, float) / 100)


def hatching_output(hatching_efficiency_per_g, dry_weight_ug):
    """Dry mass of nauplii from one gram of cysts, HE x dry weight of one nauplius.

    Parameters
    ----------
    hatching_efficiency_per_g : array_like of float
        [1/g]
    dry_weight_ug : array_like of float
        Dry weight of one instar I nauplius. [µg]

    Returns
    -------
    ndarray of float
        [mg/g]

    References
    ----------
    Vanhaecke and Sorgeloos 1983, Aquaculture 30:43-52 (from memory).
    """
    return np.asarray(hatching_efficiency_per_g, float) * np.asarray(dry_weight_ug, float) / 1000


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
    """
    filled = samples.copy()
    if "volume_ul" not in filled:
        filled["volume_ul"] = np.nan
    filled["volume_ul"] = filled["volume_ul"].astype(float)
    if photos is None or "chamber_depth_mm" not in filled or "photos" not in filled:
        return filled
    area = _frame_mm2(photos)
    by_name = dict(zip(photos["photo"].astype(str), area))
    by_name.update({name.replace("\\", "/").rsplit("/", 1)[-1]: value for name, value in list(by_name.items())})
    for row in filled.index[filled["volume_ul"].isna() & filled["chamber_depth_mm"].notna()]:
        names = [n.strip() for n in str(filled.at[row, "photos"]).split(";") if n.strip()]
        frames = [by_name.get(n, by_name.get(n.replace("\\", "/").rsplit("/", 1)[-1], np.nan)) for n in names]
        if frames:
            filled.at[row, "volume_ul"] = float(np.sum(frames)) * float(filled.at[row, "chamber_depth_mm"])
    return filled


def sample_metrics(samples, hatches, lots=None):
    """Work out the metrics of each subsample.

    Parameters
    ----------
    samples, hatches, lots : DataFrame
        Tables as ``tables.check_table`` returns them. Sieve samples are left out; of a sample counted more than
        once the highest revision is used. ``lots`` gives moisture and dry weight; without it those metrics are NaN.

    Returns
    -------
    DataFrame, shape (n_subsamples, len(SAMPLE_COLUMNS))
        The same columns when there is no subsample. A metric that cannot be known is NaN.

    Raises
    ------
    InputError
        A sample names a hatch that is not in the hatches table.
    """
    table = _joined(samples, hatches, lots)
    return _with_ratios(table)[list(SAMPLE_COLUMNS)].reset_index(drop=True)


def cone_metrics(samples, hatches, lots=None, *, reading_h=24.0, tolerance_h=1.5):
    """Work out the metrics of each cone at the reading time.

    Counts and volumes of the cone's subsamples are added up, which for equal volumes is the mean count of the
    standard worksheet times the conversion factor.

    Parameters
    ----------
    samples, hatches, lots : DataFrame
        As for :func:`sample_metrics`.
    reading_h : float
        Hours from wetting at which the lot is read. [h]
    tolerance_h : float
        Subsamples this near to the reading time belong to it. When a cone has none, those of its nearest hour are
        used and a note says so. [h]

    Returns
    -------
    DataFrame, shape (n_hatches_counted, len(CONE_COLUMNS))
        One row per hatch with a counted subsample; ``notes`` holds sentences on what stands in for what.
    """
    table = _joined(samples, hatches, lots)
    rows = [_one_cone(group, reading_h, tolerance_h) for _, group in table.groupby("hatch", sort=False)]
    if not rows:
        return pd.DataFrame({name: pd.Series(dtype="str" if name in _TEXT else "float64") for name in CONE_COLUMNS})
    return _with_ratios(pd.DataFrame(rows))[list(CONE_COLUMNS)]


def _frame_mm2(photos):
    """Area of each photo's counting frame; that of the whole picture where none is written down."""
    whole = photos["width_px"].astype(float) * photos["height_px"].astype(float) * (photos["um_per_px"] / 1000) ** 2
    return photos["frame_mm2"].astype(float).fillna(whole) if "frame_mm2" in photos else whole


_TEXT = {"sample", "hatch", "lot", "cone", "purpose", "started", "basis", "notes"}


def _percent(part, whole):
    whole = np.asarray(whole, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(whole > 0, 100 * np.asarray(part, float) / whole, np.nan)


def _numbers(frame, name, default=np.nan):
    if name not in frame:
        return np.full(len(frame), default)
    return frame[name].astype("float64").to_numpy(dtype=float, na_value=np.nan)


def _joined(samples, hatches, lots):
    """Subsamples with the columns of their hatch and lot, counts as float, hours and volumes worked out."""
    chosen = samples[samples["kind"] == "subsample"] if "kind" in samples else samples
    if "revision" in chosen and len(chosen):
        order = chosen["revision"].fillna(0).astype(int)
        chosen = chosen.loc[order.sort_values(kind="stable").index].drop_duplicates("sample", keep="last").sort_index()
    known = set(hatches["hatch"])
    for name, hatch in zip(chosen["sample"], chosen["hatch"]):
        if hatch not in known:
            raise unknown_name("hatch", hatch, sorted(known), where=f"samples, sample {name}")
    out = pd.DataFrame(
        {"sample": chosen["sample"], "hatch": chosen["hatch"], "taken": chosen.get("taken")}, index=chosen.index
    )
    for name in ("nauplii", "umbrella", "cysts", "embryos", "shells", "hours", "volume_ul"):
        out[name] = _numbers(chosen, name)
    out["dilution"] = np.nan_to_num(_numbers(chosen, "dilution", 1.0), nan=1.0)
    keep = ["hatch", "lot", "cone", "purpose", "started", "cysts_g", "volume_ml"]
    out = out.merge(hatches.reindex(columns=keep), on="hatch", how="left")
    extra = pd.DataFrame({"lot": []}) if lots is None else lots
    extra = extra.reindex(columns=["lot", "moisture_pct", "dry_weight_ug"]).drop_duplicates("lot")
    out = out.merge(extra.astype({"lot": out["lot"].dtype}), on="lot", how="left")
    out["hours"] = _hours(out)
    out["is_embryo"] = out["embryos"].notna()
    out["unhatched"] = out["embryos"].where(out["is_embryo"], out["cysts"])
    out["basis"] = np.select([out["is_embryo"], out["cysts"].notna()], ["embryos", "cysts"], "none")
    out["counted_ul"] = out["volume_ul"] / out["dilution"]
    out["full_cysts"] = out["nauplii"] + out["umbrella"].fillna(0) + out["unhatched"]
    return out


def _hours(table):
    if not len(table):
        return table["hours"]
    from qckit.tables import to_utc

    clock = (to_utc(table["taken"]) - to_utc(table["started"])).dt.total_seconds() / 3600
    return table["hours"].where(table["hours"].notna(), clock)


def _one_cone(group, reading_h, tolerance_h):
    """Add up the subsamples of one hatch that belong to the reading time."""
    first, notes = group.iloc[0], []
    gap = (group["hours"] - reading_h).abs()
    near = gap <= tolerance_h
    if group["hours"].isna().all():
        notes.append("The hours since wetting are not known.")
        used = group
    elif near.any():
        used = group[near]
    else:
        at = group.loc[gap.idxmin(), "hours"]
        used = group[(group["hours"] - at).abs() <= tolerance_h]
        notes.append(f"Read at {at:.1f} h instead of {reading_h:g} h.")
    row = {name: first[name] for name in ("hatch", "lot", "cone", "purpose", "started")}
    row |= {"hours": used["hours"].mean(), "n_subsamples": len(used)}
    row |= {name: first[name] for name in ("cysts_g", "volume_ml", "moisture_pct", "dry_weight_ug")}
    for name in ("nauplii", "umbrella", "unhatched", "shells", "counted_ul"):
        row[name] = used[name].sum(skipna=False)
    bases = sorted(set(used["basis"]))
    row["basis"] = bases[0] if len(bases) == 1 else "mixed"
    row["full_cysts"] = used["full_cysts"].sum(skipna=False)
    row["notes"] = " ".join([*notes, *_stand_ins(used, row)])
    return row


def gaps(notes):
    """Choose, of sentences on cones, those that leave a cone out of the hatching percentage or of nauplii per gram."""
    return [note for note in notes if _NO_PERCENTAGE in note or _NOTHING_PER_G in note]


_NO_PERCENTAGE = "the hatching percentage is not known"
_NOTHING_PER_G = "nothing per gram is known"


def _stand_ins(used, row):
    """Sentences on what stands in for what in a cone's counts."""
    said = []
    if row["basis"] == "cysts":
        said.append("Unhatched cysts stand in for embryos: dead full cysts and empty closed ones weigh in.")
    elif {"embryos", "cysts"} <= set(used["basis"]):
        said.append("Some subsamples count embryos, others unhatched cysts.")
    if (uncounted := used.loc[used["basis"] == "none", "sample"]).size:
        where = "" if len(uncounted) == len(used) else f" in {', '.join(uncounted)}"
        said.append(f"Neither embryos nor unhatched cysts were counted{where}, so {_NO_PERCENTAGE}.")
    elif row["full_cysts"] == 0:
        said.append(f"No full cyst was seen, so {_NO_PERCENTAGE}.")
    elif used["umbrella"].isna().any():  # a percentage that is not known cannot be too high
        said.append("Umbrella stages were not counted and are taken as none: the hatching percentage may be too high.")
    if used["counted_ul"].isna().any():
        said.append(f"A counted volume is missing, so {_NOTHING_PER_G}.")
    return said


def _with_ratios(table):
    table = table.copy()
    table["factor_per_g"] = conversion_factor(
        volume_ml=table["volume_ml"], counted_ul=table["counted_ul"], cysts_g=table["cysts_g"]
    )
    table["hatch_pct"] = _percent(table["nauplii"], table["full_cysts"])
    per_g = hatching_efficiency(table["nauplii"], table["factor_per_g"])
    table["hatching_efficiency_per_g"] = per_g
    table["hatching_efficiency_per_dry_g"] = hatching_efficiency(
        table["nauplii"], table["factor_per_g"], moisture_pct=table["moisture_pct"]
    )
    # from the counts, not from HE / H%: a cone in which nothing hatched still has full cysts
    table["full_cysts_per_g"] = table["full_cysts"] * table["factor_per_g"]
    table["output_mg_per_g"] = hatching_output(per_g, table["dry_weight_ug"])
    opened_whole = table["shells"] + table["unhatched"] + table["umbrella"].fillna(0)
    table["opened_pct"] = _percent(table["shells"], opened_whole)
    table["umbrella_pct"] = _percent(table["umbrella"], table["full_cysts"])
    return table


def require_lot(lots, hatches, lot):
    """Raise the error for a lot that no table knows; return its row of the lots table, or None."""
    known = sorted({*(lots["lot"] if lots is not None else ()), *hatches["lot"]})
    if lot not in known:
        raise unknown_name("lot", lot, known)
    rows = lots[lots["lot"] == lot] if lots is not None else None
    if rows is not None and len(rows) > 1:
        raise InputError(f"lots: lot {lot} stands there {len(rows)} times. Keep one row.")
    return rows.iloc[0] if rows is not None and len(rows) else None
