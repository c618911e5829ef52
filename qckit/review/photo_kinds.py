"""Does a photo show what the sheet says it was taken of? A sieve's weave under a subsample asks, and squares under a
sieve sample; what lies in a plain dish tells nothing."""

from __future__ import annotations

from collections.abc import Sequence

from qckit.columns import listed_in
from qckit.counting.result import Flag
from qckit.errors import InputError
from qckit.photo import read_photo
from qckit.photo.floor_pattern import AT_UM_PER_PX, shows_pattern
from qckit.words import first_few, noun

__all__ = ["ODD", "flag_kinds", "question"]

_SO_HERE = 3  # photos asked about that still stand as they were: it is how this site takes them. No source
ODD = {
    "subsample": Flag(
        "weave", "The photo shows a sieve's weave, and stands for a subsample of the cone: is it the right photo?"
    ),
    "sieve": Flag(
        "squares", "The photo shows a counting chamber's squares, and stands for a sieve sample: is it the right photo?"
    ),
}
"""Kind of a sample -> the flag of a photo that looks like one of the other kind."""

_LIKE = {"subsample": ("a sieve's", "the subsample"), "sieve": ("a counting chamber's", "the sieve sample")}


def flag_kinds(log, counts, paths):
    """Flag new counts of photos that look like those of another kind of sample than theirs.

    Parameters
    ----------
    log : SiteLog
        An open log that does not hold these counts yet.
    counts : DataFrame
        As :func:`qckit.counting.count_photos` gives them (photo, um_per_px, flags, why).
    paths : mapping of str to path
        Where each photo lies.

    Returns
    -------
    tuple of (DataFrame, list of str)
        The counts with ``weave`` or ``squares`` among the flags and the sentence in ``why``, and one question for all
        photos of a kind.

    Notes
    -----
    A photo says nothing without a weave or squares (:func:`qckit.photo.floor_pattern.shows_pattern`): a harvest in a
    dish looks like a subsample in one. Where three photos that were asked about stand as they were, that is how this
    site takes them, and none is asked about any more.

    Examples
    --------
    >>> counted = counting.count_photos([picture], 6.2, checked=False)
    >>> with qckit.open_log(site.folder) as records:
    ...     print(len(review.flag_kinds(records, counted.counts, {picture.name: picture})[0]))
    1
    """
    samples = log.samples(counted=None)
    named = samples[samples["photos"].notna()]
    kinds = {photo: row.kind for row in named.itertuples() for photo in listed_in(row.photos)}
    known = log.photos()
    asked_before = [
        kind
        for photo, flags in zip(known["photo"], known["flags"], strict=True)
        if (kind := kinds.get(photo)) in ODD and ODD[kind].code in listed_in(flags)
    ]
    out, odd = counts.copy(), {}
    for i, row in counts.iterrows():
        kind = kinds.get(row["photo"])
        if kind not in ODD or asked_before.count(kind) >= _SO_HERE:
            continue
        flag = ODD[kind]
        if row["photo"] in paths and _shows(flag.code, paths[row["photo"]], float(row["um_per_px"])):
            odd.setdefault(kind, []).append(row["photo"])
            out.loc[i, "flags"] = ";".join([*listed_in(row["flags"]), flag.code])
            if "why" in out:
                out.loc[i, "why"] = f"{row['why'] if isinstance(row['why'], str) else ''} {flag.sentence}".strip()
    return out, [question(kind, photos) for kind, photos in odd.items()]


def question(kind: str, photos: Sequence[str], of: str = "") -> str:
    """Ask in weak words whether photos are of the kind of sample that they stand for."""
    like, what = _LIKE[kind]
    n, named = len(photos), first_few(photos, 3)
    return f"{named}{of} {noun(n, 'looks', 'look')} like {like}: {noun(n, 'is it', 'are they')} of {what}?"


def _shows(pattern: str, path, um_per_px: float) -> bool:
    """Whether a photo shows a pattern; not where it cannot be read any more."""
    try:
        photo = read_photo(path, um_per_px=um_per_px, finest_um_per_px=AT_UM_PER_PX)
    except InputError:
        return False
    return shows_pattern(photo.at_scale(um_per_px, AT_UM_PER_PX), max(um_per_px, AT_UM_PER_PX), pattern)
