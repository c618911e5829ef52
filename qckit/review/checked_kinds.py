"""A camera that a person has checked by eye is no longer unlike those the counter was checked on."""

from __future__ import annotations

__all__ = ["settle_unlike"]

_CODE = "unlike"


def settle_unlike(log, counts):
    """Take the flag ``unlike`` from new counts whose camera has a certificate that holds and says fit for use.

    Parameters
    ----------
    log : SiteLog
        An open log.
    counts : DataFrame
        As :func:`qckit.counting.count_photos` gives them (um_per_px, counter_version, flags, why).

    Returns
    -------
    DataFrame
        The same rows; other flags stay.

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

    flagged = counts.index[[_CODE in str(f).split(";") for f in counts["flags"]]]
    certificates = log.certificates()
    if not len(flagged) or not len(certificates):
        return counts
    out, scales, now = counts.copy(), log.scales(), log.now()
    for _, some in counts.loc[flagged].groupby(["um_per_px", "counter_version"]):
        use = latest_certificate(certificates, now=now, photos=some, scales=scales)
        if not use.holds or use.certificate.fitness != "fit":
            continue
        for i in some.index:
            out.loc[i, "flags"] = ";".join(c for c in str(counts.loc[i, "flags"]).split(";") if c != _CODE)
            out.loc[i, "why"] = " ".join(str(counts.loc[i, "why"]).replace(UNLIKE_SENTENCE, "").split())
    return out
