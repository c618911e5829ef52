"""What changed in the log shortly before a hatch: packs, people, counters, amounts, air, scales, corrections."""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.charts import CHARTED
from qckit.columns import listed_in
from qckit.tables import to_utc
from qckit.words import plural, row_words

__all__ = ["changes_of_the_month", "describe_changes"]

_RECENT, _LONG = 14.0, 60.0  # days (ours)
_AMOUNT = 0.15  # a change of grams or volume beyond this share is told
_LATEST = 10
_SETTING_OUT = 1.0  # days: hatches of a log's first day are as old as the log


def describe_changes(lots, hatches, samples, *, hatch: str, scales=None, corrections=None) -> list[tuple[str, str]]:
    """List what was new in the log within two weeks before a hatch.

    Parameters
    ----------
    lots, hatches, samples : DataFrame
        The tables of those names.
    hatch : str
    scales, corrections : DataFrame, optional
        The tables of those names: a camera's scale set anew, and figures of this hatch that were corrected.

    Returns
    -------
    list of (str, str)
        What changed and a sentence, in the order pack, people, amounts and air, words on the sheet, counting.
    """
    row = hatches[hatches["hatch"] == hatch].iloc[0]
    start = pd.Timestamp(row["started"])
    age = (start - to_utc(hatches["started"])).dt.total_seconds() / 86400.0
    before = hatches.assign(_age=age)[(age > 0) & (hatches["hatch"] != hatch)]
    found = [*_pack(lots, before, row, start), *_people(before, row), *_amounts(before, row), *_words(before, row)]
    found += [*_counting(samples, before, row), *_scale(scales, start), *_corrected(corrections, samples, hatch)]
    return [(what, sentence) for what, sentence in found if sentence]


def changes_of_the_month(changes, row) -> list[dict]:
    """Open changes that a month's review found in this hatch's lot, cone, operator or the whole room, since before it.

    Parameters
    ----------
    changes : DataFrame or None
        The table of that name.
    row : mapping
        The hatch's row of ``counted_hatches``.

    Returns
    -------
    list of dict
        change, month, quantity, factor, level, first, effect, sentence; the largest first.
    """
    if changes is None or not len(changes):
        return []
    began = to_utc(changes["first"]) <= pd.Timestamp(row["started"])
    open_now = changes[began & (changes["state"] == "open") & changes["quantity"].isin(list(CHARTED))]
    found = []
    for c in open_now.to_dict("records"):
        level = c["level"] if isinstance(c["level"], str) else ""
        if level and str(row.get(c["factor"], "")) != level:
            continue
        charted = CHARTED[c["quantity"]]
        size = abs(float(c["effect"]))
        if not np.isfinite(size):
            continue
        amount = charted.size_text(size)
        side = "below" if c["effect"] < 0 else "above"
        where = f"{c['factor']} {level}" if level else "all hatches"
        sentence = (
            f"The review of {c['month']} found {where} {amount} {side} what was usual before, since {c['first'][:10]} "
        )
        keys = ("change", "month", "quantity", "factor", "level", "first", "effect")
        found.append({k: c[k] for k in keys} | {"sentence": f"{sentence}({charted.label})."})
    return sorted(found, key=lambda c: -abs(c["effect"]))


def _pack(lots, before, row, start):
    """A lot opened, or used for the first time, shortly before."""
    opened = dict(zip(lots["lot"], lots["opened"], strict=True)).get(row["lot"])
    if isinstance(opened, str) and len(opened) >= 10:
        days = (start - pd.Timestamp(opened[:10], tz="UTC")).days
        if 0 <= days <= _RECENT:
            yield "pack", f"{row['lot']} was opened {f'{_days(days)} before' if days else 'that day'} ({opened[:10]})."
            return
    of_lot = before[before["lot"] == row["lot"]]
    if of_lot.empty and len(before):
        yield "pack", f"This is the first hatch of {row['lot']} in the log."
    elif len(of_lot) and of_lot["_age"].max() <= _RECENT and _is_new(of_lot, before):
        yield "pack", f"{row['lot']} has been in use for {_days(of_lot['_age'].max())} only."


def _is_new(part, before):
    """Whether the log knows a time before these hatches: where it begins with them, nothing tells that they are new."""
    return before["_age"].max() - part["_age"].max() > _SETTING_OUT


def _people(before, row):
    """An operator new to the log, new to the cone, or a cone that stood idle."""
    name = row["operator"]
    if isinstance(name, str) and name and before["operator"].notna().any():
        of_operator = before[before["operator"] == name]
        if of_operator.empty or (of_operator["_age"].max() <= _RECENT and _is_new(of_operator, before)):
            since = "with this hatch" if of_operator.empty else f"{_days(of_operator['_age'].max())} before"
            yield "operator", f"{name} began to start hatches {since}."
    cone = before[before["cone"] == row["cone"]]
    if len(cone) and cone["_age"].min() > _RECENT:
        yield "cone", f"Cone {row['cone']} had not been used for {_days(cone['_age'].min())}."
    elif cone.empty and len(before):
        yield "cone", f"This is the first hatch in cone {row['cone']} in the log."


def _amounts(before, row):
    """Grams, volume, air or decapsulation unlike the last hatches of the same purpose in that cone."""
    same = before[(before["cone"] == row["cone"]) & (before["purpose"] == row["purpose"])]
    same = same.sort_values("_age").head(_LATEST)
    if len(same) < 3:
        return
    for column, unit in (("cysts_g", "g"), ("volume_ml", "ml")):
        usual = float(same[column].median())
        if abs(row[column] / usual - 1) > _AMOUNT:
            yield column, f"{row[column]:g} {unit} where the cone's last hatches had {usual:g} {unit}."
    for column, words in (("aeration", "The air was written down as"), ("decapsulated", "Decapsulated:")):
        value, others = row[column], same[column].dropna().astype(str)
        if pd.notna(value) and len(others) >= 3 and str(value) not in set(others):
            yield column, f"{words} {_plain(value)}; in the cone's last hatches {_plain(others.mode().iloc[0])}."


def _words(before, row):
    """Words on the field sheet that first appeared shortly before, this hatch or others."""
    recent = before[before["_age"] <= _LONG]
    old = {p for text in recent.loc[recent["_age"] > _RECENT, "notes"].dropna() for p in listed_in(text)}
    new = [p for p in listed_in(row["notes"]) if p not in old] if len(recent) else []
    other = {p: name for name, text in zip(recent["hatch"], recent["notes"], strict=True) for p in listed_in(text)}
    alone = [p for p in new if p not in other]
    if alone:
        yield "notes", f"Only this hatch's field sheet says: {'; '.join(alone)}."
    for piece in new:
        if piece in other:
            yield "notes", f"New on the field sheets within two weeks: {piece} (also {other[piece]})."


def _counting(samples, before, row):
    """Another counter (person, or software version) than in the weeks before."""
    counters = _counters(samples, [row["hatch"]])
    others = _counters(samples, before.loc[before["_age"] <= _LONG, "hatch"])
    if counters and others and not counters & others:
        yield (
            "counter",
            f"It was counted by {', '.join(sorted(counters))}; in the sixty days before by {_some(others)}.",
        )


def _counters(samples, hatches):
    """Who counted the subsamples of some hatches, in words."""
    sub = samples[samples["hatch"].isin(list(hatches)) & (samples["kind"] == "subsample") & samples["nauplii"].notna()]
    pairs = sub[["counted_by", "counter"]].drop_duplicates().itertuples(index=False)
    return {f"{kind} ({who})" if isinstance(who, str) and who else str(kind) for kind, who in pairs}


def _scale(scales, start):
    """A camera's scale that was set anew shortly before."""
    if scales is None or not len(scales):
        return
    age = (start + pd.Timedelta(hours=36) - to_utc(scales["set_at"])).dt.total_seconds() / 86400.0
    for s in scales[(age >= 0) & (age <= _RECENT)].to_dict("records"):
        yield "scale", f"The scale of {s['camera']} ({s['magnification']}) was set on {str(s['set_at'])[:10]}."


def _corrected(corrections, samples, hatch):
    """Figures of this hatch that were corrected in the log."""
    if corrections is None or not len(corrections):
        return
    names = {hatch, *samples.loc[samples["hatch"] == hatch, "sample"]}
    keys = corrections["key"].astype(str)
    inside = keys.str.contains(f'"{hatch}"', regex=False) & (corrections["table"] != "checks")
    of_hatch = corrections[keys.isin(names) | inside]
    for c in of_hatch.tail(3).to_dict("records"):
        was = c["before"] if isinstance(c["before"], str) and c["before"] else "empty"
        row = row_words(c["table"], str(c["key"]))
        yield "correction", f"{row}: {c['column']} was corrected from {was} to {c['after']} ({c['reason']})."


def _days(days):
    n = round(float(days))
    return "a day" if n == 1 else f"{n} days"


def _plain(value):
    return {"True": "yes", "False": "no"}.get(str(value), str(value))


def _some(names):
    names = sorted(names)
    return ", ".join(names[:3]) + (f" and {plural(len(names) - 3, 'other')}" if len(names) > 3 else "")
