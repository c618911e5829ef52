"""A kind of photo that a person has checked by eye is no longer unlike those the counter was checked on."""

from __future__ import annotations

import glob
from pathlib import Path

from qckit.columns import listed_in
from qckit.errors import InputError
from qckit.photo.finding import SUFFIXES

__all__ = ["settle_unlike"]

_CODE = "unlike"
_MOST_CHECKED = 24  # photos of a certificate that are looked at


def settle_unlike(log, counts):
    """Take the flag ``unlike`` from new counts of a kind of photo that a certificate speaks for.

    Parameters
    ----------
    log : SiteLog
        An open log.
    counts : DataFrame
        As :func:`qckit.counting.count_photos` gives them (photo, um_per_px, counter_version, flags, why).

    Returns
    -------
    DataFrame
        The same rows; other flags stay.

    Notes
    -----
    The newest certificate of the photo's camera must hold and say fit for use, and one of the photos counted by eye for
    it must have been taken in the same light (:mod:`qckit.photo.lighting`): bright field that was checked says nothing
    of a black floor. Photos that do not lie in the site any more cannot speak for others.

    Examples
    --------
    >>> counted = counting.count_photos([picture], 6.2, checked=False)
    >>> with qckit.open_log(site.folder) as records:
    ...     settled = review.settle_unlike(records, counted.counts)
    >>> len(settled)
    1
    """
    from qckit.agreement.lookup import latest_certificate
    from qckit.counting.flags import UNLIKE_SENTENCE
    from qckit.photo.lighting import SAME_LIGHT, light_apart

    flagged = counts.index[[_CODE in listed_in(f) for f in counts["flags"]]]
    certificates = log.certificates()
    if not len(flagged) or not len(certificates):
        return counts
    out, scales, now = counts.copy(), log.scales(), log.now()
    for _, some in counts.loc[flagged].groupby(["um_per_px", "counter_version"]):
        use = latest_certificate(certificates, now=now, photos=some, scales=scales)
        if not use.holds or use.certificate.fitness != "fit":
            continue
        checked = _lights(log.folder, [name for name, *_ in use.certificate.hatch_pairs][:_MOST_CHECKED])
        for i, light in zip(some.index, _lights(log.folder, some["photo"], or_none=True), strict=True):
            if light is None or not any(light_apart(light, other) <= SAME_LIGHT for other in checked):
                continue
            out.loc[i, "flags"] = ";".join(c for c in listed_in(counts.loc[i, "flags"]) if c != _CODE)
            out.loc[i, "why"] = " ".join(str(counts.loc[i, "why"]).replace(UNLIKE_SENTENCE, "").split())
    return out


def _lights(folder, photos, *, or_none=False) -> list:
    """The light of each photo in the site's folder; those that are not there left out, or None in their place."""
    from qckit.photo import read_photo
    from qckit.photo.lighting import light_of
    from qckit.review.files import find_photo_file

    found = []
    for name in photos:
        try:
            found.append(light_of(read_photo(find_photo_file(folder, _with_ending(folder, name))).pixels))
        except InputError:
            found.append(None)
    return found if or_none else [light for light in found if light is not None]


def _with_ending(folder, name: str) -> str:
    """A photo's file name where counts by eye name it without its ending."""
    if Path(name).suffix.lower() in SUFFIXES:
        return name
    there = (
        p for p in (Path(folder) / "photos").rglob(f"{glob.escape(Path(name).name)}.*") if p.suffix.lower() in SUFFIXES
    )
    return next((p.name for p in sorted(there)), name)
