"""What stood around a hatch: its cone, its operator, the age of the opened pack, and what changed before it."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from qckit.robust import SD_PER_MAD
from qckit.tables import to_utc
from qckit.verdicts.lots.standing import share_of
from qckit.verdicts.poor_hatch.conditions.effects import AGE
from qckit.verdicts.poor_hatch.conditions.reference import chance_words
from qckit.words import noun, plural

__all__ = ["CONTEXT_COLUMNS", "describe_context"]

CONTEXT_COLUMNS = ("what", "name", "n_hatches", "points", "z", "is_odd", "short", "sentence")
_SHRINK = 4.0  # a cone's or operator's mean counts as if so many ordinary hatches stood beside it (ours)
_DAYS, _LATEST = 60.0, 8


def describe_context(
    counts: pd.DataFrame, lot: dict, *, hatch: str, changes=(), effects=None, standing=None
) -> pd.DataFrame:
    """Describe what stood around a hatch.

    Parameters
    ----------
    counts : DataFrame
        As ``counted_hatches`` returns it.
    lot : mapping
        The lot's row; ``opened`` is read.
    hatch : str
    changes : list of (str, str), optional
        As :func:`qckit.verdicts.poor_hatch.conditions.changes.describe_changes` returns it.
    effects : DataFrame, optional
        The site's own effects: what the days since opening have been worth in this lot.
    standing : (Standing, ndarray of shape (4,)), optional
        Levels of cones and operators, and the lot's usual figures: a difference that stands for good is told as such.

    Returns
    -------
    DataFrame, columns ``CONTEXT_COLUMNS``
        One row each for cone, operator, age of the opened pack, and every change shortly before.
        ``points`` is how much the last hatches (at most eight) of that cone or operator in the sixty days before differ
        from the others of the same lots, drawn towards none where they are few, or what the days since opening should
        have cost; ``short`` is the state in two or three words; ``is_odd`` where that is beyond chance (z below -2.5
        or above 2.5), and for every change.
    """
    row = counts[counts["hatch"] == hatch].iloc[0]
    start = pd.Timestamp(row["started"])
    age = (start - to_utc(counts["started"])).dt.total_seconds() / 86400.0
    before = counts[(age > 0) & (age < _DAYS)]
    before = before.assign(residual=before["hatch_pct"] - before.groupby("lot")["hatch_pct"].transform("median"))
    for_good = {}
    if standing is not None and np.isfinite(standing[1][:2]).all():
        levels, mean = standing
        for_good = {factor: (name, points) for factor, name, points in levels.sure_differences(hatch, mean)}
        here = [100 * (share_of(mean + levels.of(name)) - share_of(mean)) for name in before["hatch"]]
        before = before.assign(residual=before["residual"] - np.array(here))
    rows = [_group(before, what, row[what], for_good.get(what)) for what in ("cone", "operator")]
    rows.append(_pack_age(lot, start, effects, counts))
    rows += [
        ("change", what, 0, math.nan, math.nan, True, sentence.rstrip("."), sentence) for what, sentence in changes
    ]
    return pd.DataFrame([r for r in rows if r], columns=list(CONTEXT_COLUMNS))


def _group(before, what, name, for_good):
    """How the earlier hatches of one cone or operator did beside the others, for good and of late."""
    if not isinstance(name, str) or not name:
        return None
    inside, others = (before.loc[mask, "residual"].dropna() for mask in (before[what] == name, before[what] != name))
    inside = inside.tail(_LATEST)
    title = f"Cone {name}" if what == "cone" else f"Operator {name}"
    stands = ""
    if for_good is not None:
        points = for_good[1]
        side = "below" if points < 0 else "above"
        stands = f" {plural(round(abs(points)), 'point')} {side} the others for good, which is allowed for;"
    if len(inside) < 3 or len(others) < 5:
        return (
            what,
            name,
            len(inside),
            math.nan,
            math.nan,
            False,
            name,
            f"{title}:{stands} {plural(len(inside), 'other hatch')} in the sixty days before, too few to tell.",
        )
    spread = SD_PER_MAD * float(np.median(np.abs(others - others.median()))) or float(others.std())
    raw = float(inside.median() - others.median())
    points = raw * len(inside) / (len(inside) + _SHRINK)
    z = raw / (1.253 * max(spread, 1.0) * math.sqrt(1 / len(inside) + 1 / len(others)))
    is_unusual = abs(z) > 2.5
    how = (
        f"{plural(round(abs(points)), 'point')} {'below' if points < 0 else 'above'} the others"
        if is_unusual
        else ("no different from that" if stands else "no different from the others")
    )
    return (
        what,
        name,
        len(inside),
        points,
        z,
        is_unusual,
        name,
        f"{title}:{stands} the last {len(inside)} hatches before this one were {how}.",
    )


def _pack_age(lot, start, effects, counts):
    """Days since the pack was opened, and what they have been worth in this lot."""
    opened = lot.get("opened")
    if not isinstance(opened, str) or len(opened) < 10:
        return None
    days = (start - pd.Timestamp(opened[:10], tz="UTC")).days
    if days < 0:
        return None
    when = "that day" if days == 0 else "the day before" if days == 1 else f"{days} days before"
    short, points, z = f"opened {when}", math.nan, math.nan
    sentence = f"{lot['lot']}: {short}"
    age_effects = effects[effects["quantity"] == AGE] if effects is not None and len(effects) else ()
    if len(age_effects):
        r = age_effects.iloc[0]
        share = float(counts.loc[counts["lot"] == lot["lot"], "hatch_pct"].median()) / 100.0
        points = 100.0 * share * (1 - share) * r["shrunk_slope"] * days
        hatches = plural(int(r["n_hatches"]), "hatch")
        z = r["slope"] / r["se"] if r["se"] > 0 else math.nan
        if abs(z) > 2.5 and abs(points) >= 1:
            sentence += (
                f"; its {hatches} {'fell' if points < 0 else 'rose'} by about "
                f"{plural(round(abs(points)), 'point')} over such a time"
            )
        else:
            sentence += f"; its {hatches} {noun(r['n_hatches'], 'shows', 'show')} no sure change with that"
            if math.isfinite(z) and abs(points) >= 0.05:
                sentence += f" ({abs(points):.1f} points {'lower' if points < 0 else 'higher'}: {chance_words(z)})"
    if days > 180:
        sentence += "; opened packs are best re-tested every month (common practice, no source)"
    return "pack", str(lot["lot"]), 0, points, z, bool(abs(z) > 2.5 and points < -3), short, f"{sentence}."
