"""Do a photo's objects have the sizes that this site's earlier photos let expect? If not, its scale is in doubt.

Sizes that no brine shrimp has are flagged by the counter itself, but strains differ by half in length, so a scale that
is wrong by a third passes there. Animals of one lot do not: against the lot's own earlier photos a wrong scale shows.
"""

from __future__ import annotations

import math

import numpy as np

from qckit.columns import listed_in
from qckit.object_rows import FOUND
from qckit.robust import robust_sd
from qckit.stages import STAGES
from qckit.words import first_few

__all__ = ["first_scale_words", "scale_doubts"]

_LEAST_OBJECTS, _LEAST_PHOTOS = 8, 3
_SURE = 0.6
# common practice, no source: how much a photo's median length may differ within a lot by age, light and fixing, as a
# standard deviation of its logarithm; what the site's own photos show is taken where it is more
_SPREAD = {"nauplius": 0.06, "cyst": 0.03, "shell": 0.05}
_LEAST_SHARE, _LEAST_Z = 0.10, 3.5
# what the counter measures of cysts lies between 0.81 and 1.21 times their true length (two labelled makes, 45 photos);
# hydrated cysts of strains are 224 to 289 µm, of one from Tibet 330, instar I of the smallest 428 (Vanhaecke and
# Sorgeloos 1980 and later surveys, read in a compilation)
_FIRST_CYST_UM, _FIRST_NAUPLIUS_UM = (180.0, 350.0), 300.0


def scale_doubts(counts, objects, history, history_objects, lots=None):
    """Name photos whose objects do not have the sizes expected.

    Parameters
    ----------
    counts, objects : DataFrame
        New photos (photo) and their objects (columns of the objects table).
    history, history_objects : DataFrame
        Earlier photos and their objects. Where there are fewer than three, the other new photos of the lot stand for
        them.
    lots : dict of photo to lot, optional
        Of new and earlier photos. A photo is held against its own lot's earlier ones where there are three or more,
        else against all.

    Returns
    -------
    DataFrame
        photo, share (how much larger its objects are than expected, as a share), sentence; only photos in doubt.

    Examples
    --------
    >>> counted = counting.count_photos([picture], 6.2, checked=False)
    >>> review.scale_doubts(counted.counts, counted.objects, counted.counts, counted.objects)
    Empty DataFrame
    Columns: [photo, share, sentence]
    Index: []
    """
    import pandas as pd

    lots = lots or {}
    old, new = _sizes(history_objects), _sizes(objects)
    old = old[old.index.isin(history["photo"]) & ~old.index.isin(counts["photo"])]
    rows = []
    for photo in counts["photo"][counts["photo"].isin(new.index)]:
        others, which = _others(photo, old, new, lots)
        share, z, stages = _against(new.loc[photo], others)
        if abs(share) > _LEAST_SHARE and abs(z) > _LEAST_Z:
            rows.append(
                (
                    photo,
                    share,
                    f"{photo}: what is in it ({', '.join(stages)}) is {100 * abs(share):.0f} % "
                    f"{'larger' if share > 0 else 'smaller'} than in {which}: check the magnification and the µm "
                    "per pixel.",
                )
            )
    return pd.DataFrame(rows, columns=["photo", "share", "sentence"])


def _others(photo, old, new, lots):
    """Sizes of the photos that one is held against, and what they are called."""

    def of_lot(table):
        return table[np.array([photo in lots and lots.get(p) == lots[photo] for p in table.index], dtype=bool)]

    if len(same := of_lot(old)) >= _LEAST_PHOTOS:
        return same, "this lot's earlier photos"
    if len(old) >= _LEAST_PHOTOS:
        return old, "this site's earlier photos"
    return of_lot(new.drop(index=photo)), "this lot's other photos"


def first_scale_words(counts, objects, history_objects) -> list[str]:
    """Ask about the scale of a site's first photos, where sizes hint that it is wrong; a word, and no flag.

    Parameters
    ----------
    counts, objects : DataFrame
        New photos (photo, flags) and their objects.
    history_objects : DataFrame
        Objects of the site's earlier photos: with three photos or more, these say what is usual (:func:`scale_doubts`).

    Returns
    -------
    list of str
        One sentence for all photos that hint so; empty where most of those that tell do not.

    Examples
    --------
    >>> counted = counting.count_photos([picture], 6.2, checked=False)
    >>> review.first_scale_words(counted.counts, counted.objects, counted.objects.head(0))
    []
    """
    if len(_sizes(history_objects).dropna(how="all")) >= _LEAST_PHOTOS:
        return []
    asked = [photo for photo, flags in zip(counts["photo"], counts["flags"]) if "scale" not in listed_in(flags)]
    by_stage = _sure(objects[objects["photo"].isin(asked)]).groupby(["photo", "stage"])["length_um"]
    table = by_stage.agg(["median", "size"]).astype(float).reset_index()
    cysts = table[(table["stage"] == "cyst") & (table["size"] >= _LEAST_OBJECTS)]
    nauplii = table[(table["stage"] == "nauplius") & (table["size"] >= _LEAST_OBJECTS)]
    low, high = _FIRST_CYST_UM
    odd = cysts[~cysts["median"].between(low, high)]
    name, usual = "cysts", "cysts of most strains 224 to 289 µm (one from Tibet 330)"
    if odd.empty:
        odd, name = nauplii[nauplii["median"] < _FIRST_NAUPLIUS_UM], "nauplii"
        usual = "those of the smallest strain, just hatched, 428 µm"
    telling = set(cysts["photo"]) if name == "cysts" else set(nauplii["photo"])
    if odd.empty or 2 * len(odd) <= len(telling):
        return []
    return [
        f"{first_few(odd['photo'], 3)}: the {name} measure {odd['median'].median():.0f} µm, {usual}. These are the "
        "first photos of this site: is the µm per pixel that of this camera and magnification?"
    ]


def _sizes(objects):
    """Logarithm of the median length of each stage, by photo; NaN with fewer than eight sure objects."""
    import pandas as pd

    sure = _sure(objects)
    grouped = sure.assign(length_um=np.log(sure["length_um"].astype(float))).groupby(["photo", "stage"])["length_um"]
    table = grouped.median().where(grouped.size() >= _LEAST_OBJECTS).unstack()
    return table.reindex(columns=list(_SPREAD)) if len(table) else pd.DataFrame(columns=list(_SPREAD), dtype=float)


def _sure(objects):
    """Objects that are surely of their stage, whole, and as the counter found them."""
    p = objects[[f"p_{s}" for s in STAGES]].astype(float).max(axis=1)
    return objects[
        (p > _SURE)
        & objects["stage"].isin(_SPREAD)
        & ~objects["on_edge"].fillna(False).astype(bool)
        & (objects["length_um"].astype(float) > 0)
        & (objects["source"] == FOUND)
    ]


def _against(one, old):
    """Weighted mean of the log-ratios of a photo's sizes to earlier ones, its z value, and the stages used."""
    weights, ratios, stages = [], [], []
    for stage, least in _SPREAD.items():
        before = old[stage].dropna().to_numpy(float)
        if len(before) < _LEAST_PHOTOS or not np.isfinite(one[stage]):
            continue
        centre = float(np.median(before))
        spread = max(robust_sd(before, centre), least)
        weights.append(1 / (spread**2 * (1 + 1.57 / len(before))))  # variance of a median: pi / 2 of a mean's
        ratios.append(one[stage] - centre)
        stages.append({"nauplius": "nauplii", "cyst": "cysts", "shell": "shells"}[stage])
    if not weights:
        return 0.0, 0.0, stages
    mean = float(np.average(ratios, weights=weights))
    # a wrong scale moves all stages together: their spreads are not taken as independent
    return math.expm1(mean), mean * math.sqrt(max(weights)), stages


def flag_scales(log, counts, objects):
    """Flag new counts whose object sizes do not fit the scale, against what the log holds of earlier photos.

    Parameters
    ----------
    log : SiteLog
        An open log that does not hold these counts yet.
    counts, objects : DataFrame
        As :func:`qckit.counting.count_photos` gives them (counts with flags and why).

    Returns
    -------
    tuple of (DataFrame, list of str)
        The counts with ``scale`` among the flags and the sentence in ``why``, and a sentence per photo in doubt; of a
        site's first photos a question where their sizes hint at a wrong scale, which is no flag.

    Examples
    --------
    >>> counted = counting.count_photos([picture], 6.2, checked=False)
    >>> with qckit.open_log(site.folder) as records:
    ...     print(len(review.flag_scales(records, counted.counts, counted.objects)))
    2
    """
    known, earlier = log.photos(), log.objects()
    asked = first_scale_words(counts, objects, earlier)
    doubts = scale_doubts(counts, objects, known, earlier, _lots_of(log))
    if doubts.empty:
        return counts, asked
    sentences = dict(zip(doubts["photo"], doubts["sentence"]))
    out = counts.copy()
    for i, row in counts[counts["photo"].isin(list(sentences))].iterrows():
        codes = listed_in(row["flags"])
        out.loc[i, "flags"] = ";".join([*codes, *(["scale"] if "scale" not in codes else [])])
        if "why" in out:
            out.loc[i, "why"] = f"{row['why'] if isinstance(row['why'], str) else ''} {sentences[row['photo']]}".strip()
    return out, [*sentences.values(), *asked]


def _lots_of(log) -> dict:
    """Lot of each photo that a sample names."""
    samples, hatches = log.samples(counted=None), log.hatches()
    lot_of = dict(zip(hatches["hatch"], hatches["lot"]))
    named = samples[samples["photos"].notna()]
    return {p: lot_of.get(s.hatch) for s in named.itertuples() for p in listed_in(s.photos)}
