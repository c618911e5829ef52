"""Where a look helps most, and when looking on is not worth it.

A stage comes with a probability, so each object says how likely it is mistaken and what that would do to H%. The
doubt of a photo or sample is the standard deviation that mistaken stages add to its H%; looking stops paying when
that is small beside the chance that lies in counting so few animals anyway.
"""

from __future__ import annotations

import math

import numpy as np

from qckit.flag_words import say_flags
from qckit.object_rows import BY_HAND, is_removed
from qckit.stages import CLASSES, STAGE_RECORDS

__all__ = ["rank_objects", "rank_photos", "say_when_to_stop"]

_ENOUGH = 0.25  # doubt at most this share of chance: it then widens an interval by 3 % at most, sqrt(1 + 0.25^2)
# of each class: is it part of the percentage, above and below the line (debris is neither)
_HATCHED = np.array([*(float(s.is_hatched) for s in STAGE_RECORDS), 0.0])
_FULL = np.array([*(float(s.is_full_cyst) for s in STAGE_RECORDS), 0.0])


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
    out["doubt"] = doubts(out)
    out["worth"] = _expected_change(out, *_of_photo(out)) * ~_is_settled(out)
    return out.sort_values(["worth", "doubt"], ascending=False, kind="stable")


def doubts(objects):
    """Probability that each object's stage is wrong, 0 for what a person has settled: (n,) ndarray."""
    p = _probabilities(objects)
    return np.where(_is_settled(objects), 0.0, 1 - p[np.arange(len(objects)), _classes(objects)])


def _is_settled(objects):
    return objects["source"].isin(BY_HAND).to_numpy()


def _is_inside(objects):
    return objects["counted"].fillna(False).to_numpy(bool)


def _classes(objects):
    """Index of each object's stage as it stands, debris where it has none."""
    return objects["stage"].map({s: i for i, s in enumerate(CLASSES)}).fillna(len(CLASSES) - 1).to_numpy(int)


def _of_photo(objects, names=None):
    """Number of each object's photo, from 0, and how many photos there are; by ``names`` where given, -1 elsewhere."""
    import pandas as pd

    if names is not None:
        return pd.Index(names).get_indexer(objects["photo"]), len(names)
    codes, found = pd.factorize(objects["photo"], use_na_sentinel=False)
    return codes, len(found)


def _probabilities(objects):
    """Stage probabilities (n, 5), each row summing to 1; an object without any counts as certain."""
    p = np.nan_to_num(objects[[f"p_{s}" for s in CLASSES]].to_numpy(dtype=float, na_value=np.nan))
    total = p.sum(axis=1, keepdims=True)
    stages = objects["stage"].to_numpy(dtype=object)
    sure = (stages[:, None] == np.array(CLASSES, dtype=object)[None, :]).astype(float)
    return np.where(total > 0, p / np.where(total > 0, total, 1), sure)


def _expected_change(objects, photo, n_photos):
    """Expected absolute change of its photo's H% from settling each object. [points]"""
    p, now, inside = _probabilities(objects), _classes(objects), _is_inside(objects)
    full, hatched = _FULL[now] * inside, _HATCHED[now] * inside
    n, m = (np.bincount(photo, weights=w, minlength=n_photos)[photo] for w in (hatched, full))
    before = np.divide(n, m, out=np.zeros(len(now)), where=m > 0)
    change = np.zeros(len(now))
    for k in range(len(CLASSES)):
        top, bottom = n - hatched + _HATCHED[k], m - full + _FULL[k]
        after = np.divide(top, bottom, out=before.copy(), where=bottom > 0)
        change += p[:, k] * np.abs(after - before)
    return 100 * change * inside * (m > 0)


def _doubt_of(objects):
    """Standard deviation that doubtful stages add to H%, and the one of chance (binomial), of one photo. [points]"""
    doubt, chance = _doubt_of_photos(objects, np.zeros(len(objects), int), 1)
    return float(doubt[0]), float(chance[0])


def _doubt_of_photos(objects, photo, n_photos):
    """As :func:`_doubt_of`, of each photo; NaN without full cysts. [points]"""
    variances, chance = _variances(objects, photo, n_photos)
    doubt = 100 * np.sqrt(np.maximum(np.bincount(photo, weights=variances, minlength=n_photos), 0))
    return np.where(np.isfinite(chance), doubt, np.nan), chance


def _variances(objects, photo, n_photos):
    """What each object's doubt adds to the variance of H% as a share; spread of chance of each photo. [1, points]"""
    settled = _is_settled(objects)
    inside = _is_inside(objects) & ~is_removed(objects).to_numpy()
    now = _classes(objects)
    p = _probabilities(objects)
    p[settled] = np.eye(len(CLASSES))[now[settled]]
    n, m = (np.bincount(photo, weights=w[now] * inside, minlength=n_photos) for w in (_HATCHED, _FULL))
    share = np.divide(n, m, out=np.zeros(n_photos), where=m > 0)[photo]
    # H = N / M: an object's effect on H is ([hatched] - share [in M]) / M
    effect = (_HATCHED - share[:, None] * _FULL) / np.maximum(m, 1)[photo][:, None]
    mean = (p * effect).sum(axis=1)
    variances = np.where(inside & (m[photo] > 0), (p * effect**2).sum(axis=1) - mean**2, 0.0)
    # Agresti and Coull 1998, American Statistician 52:119: two more of each, so that chance is not 0 at 0 or 100 %
    near = (n + 2) / (m + 4)
    return variances, np.where(m > 0, 100 * np.sqrt(near * (1 - near) / (m + 4)), np.nan)


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
    photo, n = _of_photo(objects, photos["photo"])
    objects, photo = objects[photo >= 0], photo[photo >= 0]
    is_doubtful = (doubts(objects) > 0.2) & _is_inside(objects)
    out = photos[["photo", "sample"]].reset_index(drop=True)
    out["flags"] = photos["flags"].fillna("").astype(str).to_numpy()
    out["n_objects"] = np.bincount(photo, minlength=n)
    out["n_doubtful"] = np.bincount(photo, weights=is_doubtful, minlength=n).astype(int)
    out["doubt_pct"], out["chance_pct"] = _doubt_of_photos(objects, photo, n)
    advice = [_advice(*row) for row in out[["flags", "doubt_pct", "chance_pct", "n_doubtful", "n_objects"]].to_numpy()]
    out["look"], out["why"] = (list(column) for column in zip(*advice, strict=True)) if advice else ([], [])
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
        return "yes", f"Flagged: {say_flags(flags)}."
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
    # one that is settled adds nothing; the others stay as they are
    variances, _ = _variances(ranked, np.zeros(len(ranked), int), 1)
    left = 100 * np.sqrt(np.maximum(variances.sum() - np.cumsum(variances), 0))
    enough = np.flatnonzero(left <= target)
    return min(int(enough[0]) + 1 if len(enough) else len(ranked), max(1, int((ranked["worth"] > 0).sum())))
