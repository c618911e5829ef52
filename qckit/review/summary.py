"""What is counted and what a hand has changed, as tables for a notebook."""

from __future__ import annotations

from qckit.errors import need_number
from qckit.flag_words import say_flags
from qckit.object_rows import BY_HAND, is_counted
from qckit.stages import STAGE_COLUMNS, STAGES, hatched_pct
from qckit.tables import to_utc

__all__ = ["counts_table", "recent_photos"]


def recent_photos(log, days: float = 7.0) -> list[str]:
    """Names of counted photos whose samples were taken within some days of the newest one.

    Parameters
    ----------
    log : SiteLog
    days : float
        0 gives those of the newest sample's very time.

    Returns
    -------
    list of str
        Photos that belong to no sample are always among them.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     print(review.recent_photos(records, days=3.0))
    []
    """
    import pandas as pd

    days = need_number("days", days, low=0, unit="days")
    photos = log.photos()
    taken = log.samples(counted=None)[["sample", "taken"]].drop_duplicates("sample")
    when = to_utc(photos.merge(taken, on="sample", how="left", suffixes=("_photo", ""))["taken"])
    keep = when.isna() | (when >= when.max() - pd.Timedelta(days=days))
    return list(photos["photo"].to_numpy()[keep.to_numpy()])


def counts_table(log, photos=None):
    """Counts per photo as they stand, hand corrections included.

    Parameters
    ----------
    log : SiteLog
    photos : sequence of str, optional
        All counted photos when left out.

    Returns
    -------
    DataFrame
        photo, sample, nauplii, umbrella, cysts, shells, hatch_pct, by_hand (objects a person changed, added or
        removed), flags.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     print(review.counts_table(records).columns.tolist())
    ['photo', 'sample', 'nauplii', 'umbrella', 'cysts', 'shells', 'hatch_pct', 'by_hand', 'flags']
    """
    import pandas as pd

    known, objects = log.photos(), log.objects()
    if photos is not None:
        known = known[known["photo"].isin(list(photos))]
    rows = []
    for photo in known.itertuples():
        mine = objects[objects["photo"] == photo.photo]
        inside = mine[is_counted(mine)]
        n = {s: int((inside["stage"] == s).sum()) for s in STAGES}
        rows.append(
            {
                "photo": photo.photo,
                "sample": photo.sample,
                **{STAGE_COLUMNS[s]: count for s, count in n.items()},
                "hatch_pct": hatched_pct(n),
                "by_hand": int(mine["source"].isin(BY_HAND).sum()),
                "flags": say_flags(photo.flags),
            }
        )
    return pd.DataFrame(rows, columns=["photo", "sample", *STAGE_COLUMNS.values(), "hatch_pct", "by_hand", "flags"])
