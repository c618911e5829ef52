"""Where a look helps most, and when looking on is not worth it.

A stage comes with a probability, so each object says how likely it is mistaken and what that would do to H%. The
doubt of a photo or sample is the standard deviation that mistaken stages add to its H%; looking stops paying when
that is small beside the chance that lies in counting so few animals anyway.
"""

from __future__ import annotations

import math

import numpy as np

from qckit.stages import CLASSES, STAGE_RECORDS

__all__ = ["rank_objects", "rank_photos", "say_when_to_stop"]

_ENOUGH = 0.25  # doubt at most this share of chance: it then widens an interval by 3 % at most, sqrt(1 + 0.25^2)
# of each class: is it part of the percentage, above and below the line (debris is neither)
_HATCHED = np.array([*(float(s.is_hatched) for s in STAGE_RECORDS), 0.0])
_FULL = np.array([*(float(s.is_full_cyst) for s in STAGE_RECORDS), 0.0])
_BY_HAND = ("stage changed by hand", "added by hand", "removed by hand")


def rank_objects(objects):
    """Put the objects of photos in the order in which looking at them helps.

    Parameters
    ----------
    objects : DataFrame, shape (n, any)
        Columns of the objects table.

    Returns
    -------
    DataFrame, shape (n, any)
        The same rows with ``doubt`` (probability that the stage is wrong, 0 for what a person has settled) and
        ``worth`` (expected size of the change of its photo's H% if it were looked at; points), most first. [points]

    Examples
    --------
    >>> objects = qckit.count_photo(picture, um_per_px=6.2).objects
    >>> ranked = review.rank_objects(objects)
    >>> bool(ranked["worth"].is_monotonic_decreasing)
    True
    """
    out = objects.copy()
    p = _probabilities(out)
    now = out["stage"].map({s: i for i, s in enumerate(CLASSES)}).fillna(len(CLASSES) - 1).to_numpy(int)
    settled = out["source"].isin(_BY_HAND).to_numpy()
    inside = out["counted"].fillna(False).to_numpy(bool)
    doubt = np.where(settled, 0.0, 1 - p[np.arange(len(out)), now])
    out["doubt"] = doubt
    expected_change = np.zeros(len(out))
    for photo in out["photo"].unique():
        here = (out["photo"] == photo).to_numpy()
        expected_change[here] = _expected_change(p[here], now[here], inside[here]) * ~settled[here]
    out["worth"] = expected_change
    return out.sort_values(["worth", "doubt"], ascending=False, kind="stable")


def _probabilities(objects):
    """Stage probabilities (n, 5), each row summing to 1; an object without any counts as certain."""
    p = np.nan_to_num(objects[[f"p_{s}" for s in CLASSES]].to_numpy(dtype=float, na_value=np.nan))
    total = p.sum(axis=1, keepdims=True)
    stages = objects["stage"].to_numpy(dtype=object)
    sure = (stages[:, None] == np.array(CLASSES, dtype=object)[None, :]).astype(float)
    return np.where(total > 0, p / np.where(total > 0, total, 1), sure)


def _expected_change(p, now, inside):
    """Expected absolute change of H% from settling each object of one photo. [points]"""
    full, hatched = _FULL[now] * inside, _HATCHED[now] * inside
    n, m = int(hatched.sum()), int(full.sum())
    if m == 0:
        return np.zeros(len(now))
    base_n, base_m = n - hatched, m - full
    before = n / m
    change = np.zeros(len(now))
    for k in range(len(CLASSES)):
        top, bottom = base_n + _HATCHED[k], base_m + _FULL[k]
        after = np.divide(top, bottom, out=np.full(len(now), before), where=bottom > 0)
        change += p[:, k] * np.abs(after - before)
    return 100 * change * inside


def _doubt_of(objects):
    """Standard deviation that doubtful stages add to H%, and the one of chance (binomial). [points]"""
    variances, chance = _variances(objects)
    return (100 * math.sqrt(max(float(variances.sum()), 0)), chance) if math.isfinite(chance) else (math.nan, math.nan)


def _variances(objects):
    """What each object's doubt adds to the variance of H% as a share, and the spread of chance. [1, points]"""
    settled = objects["source"].isin(_BY_HAND).to_numpy()
    inside = objects["counted"].fillna(False).to_numpy(bool) & (objects["source"] != "removed by hand").to_numpy()
    now = objects["stage"].map({s: i for i, s in enumerate(CLASSES)}).fillna(len(CLASSES) - 1).to_numpy(int)
    p = _probabilities(objects)
    p[settled] = np.eye(len(CLASSES))[now[settled]]
    n, m = float(_HATCHED[now[inside]].sum()), float(_FULL[now[inside]].sum())
    if m == 0:
        return np.zeros(len(objects)), math.nan
    share = n / m
    # H = N / M: an object's effect on H is ([hatched] - share [in M]) / M
    effect = (_HATCHED - share * _FULL) / m
    mean = p @ effect
    variances = np.where(inside, p @ effect**2 - mean**2, 0.0)
    # Agresti and Coull 1998, American Statistician 52:119: two more of each, so that chance is not 0 at 0 or 100 %
    near = (n + 2) / (m + 4)
    return variances, 100 * math.sqrt(near * (1 - near) / (m + 4))


def rank_photos(photos, objects):
    """Put photos in the order in which looking at them helps.

    Parameters
    ----------
    photos : DataFrame, shape (n, any)
        Columns of the photos table.
    objects : DataFrame, shape (m, any)
        Their objects.

    Returns
    -------
    DataFrame, shape (n, 9)
        photo, sample, flags, n_objects, n_doubtful (stage less than 80 % sure), doubt_pct (standard deviation that
        doubtful stages add to H%), chance_pct (the one of counting so few), look (yes or no), why; flagged photos
        first, then by doubt.

    Examples
    --------
    >>> with qckit.open_log(room) as records:
    ...     print(len(review.rank_photos(records.photos(), records.objects())))
    1
    """
    import pandas as pd

    rows = []
    for photo in photos.itertuples():
        mine = objects[objects["photo"] == photo.photo]
        flags = "" if photo.flags != photo.flags or photo.flags is None else str(photo.flags)
        doubt, chance = _doubt_of(mine) if len(mine) else (math.nan, math.nan)
        ranked = rank_objects(mine) if len(mine) else mine.assign(doubt=[])
        n_doubtful = int(((ranked["doubt"] > 0.2) & ranked["counted"].fillna(False)).sum())
        look, why = _advice(flags, doubt, chance, n_doubtful, len(mine))
        rows.append((photo.photo, photo.sample, flags, len(mine), n_doubtful, doubt, chance, look, why))
    out = pd.DataFrame(
        rows, columns=["photo", "sample", "flags", "n_objects", "n_doubtful", "doubt_pct", "chance_pct", "look", "why"]
    )
    order = out.assign(first=(out["look"] == "yes") * 1 + (out["flags"] != "") * (out["look"] == "yes"))
    return out.loc[order.sort_values(["first", "doubt_pct"], ascending=False, kind="stable").index].reset_index(
        drop=True
    )


def _advice(flags, doubt, chance, n_doubtful, n):
    if not n:
        return "yes", "Nothing was found: make sure that is so."
    if math.isfinite(doubt) and doubt > _ENOUGH * chance:
        words = "1 stage is doubtful and adds" if n_doubtful == 1 else f"{n_doubtful} stages are doubtful and add"
        return "yes", f"{words} {doubt:.1f} points to the uncertainty of H%."
    if flags:
        return "yes", f"Flagged: {flags.replace(';', ', ')}."
    return "no", "What is doubtful is small beside the chance of counting so few: looking would change little."


def say_when_to_stop(objects) -> str:
    """Say whether looking on is worth it, for the objects of one photo or one sample.

    Parameters
    ----------
    objects : DataFrame, shape (n, any)
        As they stand now; what a person settled counts as sure.

    Returns
    -------
    str
        One sentence with the numbers in it.

    Examples
    --------
    >>> review.say_when_to_stop(qckit.count_photo(picture, um_per_px=6.2).objects).endswith(".")
    True
    """
    doubt, chance = _doubt_of(objects)
    if not math.isfinite(doubt):
        return "There is nothing to take a hatching percentage from."
    if doubt <= _ENOUGH * chance:
        return (
            f"Enough: doubtful stages still add {doubt:.1f} points to the uncertainty of H%, small beside the "
            f"{chance:.1f} points of counting so few. Counting another subsample helps more than looking on."
        )
    ranked = rank_objects(objects)
    needed = _how_many(ranked, _ENOUGH * chance)
    offered = f"{needed} in the order offered bring" if needed > 1 else "one offered brings"
    return (
        f"Look on: doubtful stages add {doubt:.1f} points to the uncertainty of H%, beside {chance:.1f} points of "
        f"counting so few. The next {offered} it down to where looking on is not worth it."
    )


def _how_many(ranked, target):
    """How many objects, in the order offered, have to be settled until the doubt is below target. [points]"""
    variances, _ = _variances(ranked)  # one that is settled adds nothing; the others stay as they are
    left = 100 * np.sqrt(np.maximum(variances.sum() - np.cumsum(variances), 0))
    enough = np.flatnonzero(left <= target)
    return min(int(enough[0]) + 1 if len(enough) else len(ranked), max(1, int((ranked["worth"] > 0).sum())))
