"""How well the kit counts a camera's photos: the certificates that speak for a report's counts, and their citation."""

from __future__ import annotations

from qckit.reports.blocks import Html, note, sentences, table
from qckit.words import estimated

__all__ = ["certificates_of", "cite_certificates", "show_certificate"]


def certificates_of(log, samples, *, now: str = "") -> list:
    """Find the certificates that speak for the photo counts of some samples.

    Parameters
    ----------
    log : SiteLog
        The site's records.
    samples : DataFrame, shape (n, any)
        Columns of ``tables.TABLES["samples"]``.
    now : str
        ISO time on which they must still hold; empty: the day of the latest sample.

    Returns
    -------
    list of agreement.CertificateUse
        One for each camera whose photos can be told by their scale; empty where no sample was counted by photo.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     print(len(reports.certificates_of(records, tables.samples.tail(3))))
    1
    """
    from qckit.agreement import latest_certificate

    by_photo = samples[samples["counted_by"] == "photo"]
    if not len(by_photo):
        return []
    photos, scales, known = log.photos(), log.scales(), log.certificates()
    photos = photos[photos["sample"].isin(set(by_photo["sample"]))]
    day = now or str(by_photo["taken"].dropna().max())
    groups = [part for _, part in photos.groupby(_cameras(photos, scales))] or [photos]
    uses = [latest_certificate(known, now=day, photos=part, scales=scales) for part in groups]
    return list({use.sentence: use for use in uses}.values())


def _cameras(photos, scales):
    """Camera and magnification of each photo in words; empty where nothing tells."""
    from qckit.agreement import camera_of

    return photos["um_per_px"].map(lambda scale: " ".join(camera_of([scale], scales) or ()))


def cite_certificates(uses, *, whose: str) -> Html:
    """Cite the certificates of the cameras behind a report's counts, or say that there are none.

    Parameters
    ----------
    uses : list of agreement.CertificateUse
        From :func:`certificates_of`.
    whose : str
        Whose counts they are, such as ``this hatch``.

    Returns
    -------
    Html

    Examples
    --------
    >>> isinstance(reports.cite_certificates([], whose="this lot"), reports.Html)
    True
    """
    if not uses:
        return note(f"No photo was counted for {whose}, so no camera's certificate is needed.")
    shown = [show_certificate(use) for use in uses]
    if any(use.holds for use in uses):
        shown.append(
            note("Figures of this page are corrected by the certificate; tables of subsamples are as counted.")
        )
    return Html("".join(s.html for s in shown), " ".join(s.text for s in shown))


def show_certificate(use) -> Html:
    """Show one certificate with the shares found of each stage, or say that there is none."""
    import pandas as pd

    if use.certificate is None:
        return note(use.sentence)
    made = use.certificate
    by_object = {stage: tuple(100 * v for v in share) for stage, share in use.detection.items()}
    what = "found and called so [%]" if by_object else "counted by the kit where 100 are counted by eye"
    rows = [{"stage": s, what: estimated(*pct)} for s, pct in (by_object or made.totals_pct).items()]
    caption = f"Certificate {made.name}, made {made.made_at[:10]}, check again by {made.valid_until}."
    return Html(sentences([use.sentence]).html + table(pd.DataFrame(rows), caption=caption).html, use.sentence)
