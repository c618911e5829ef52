"""What the cameras' certificates make of a site's counts by photo: a record a sample, for whatever needs them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.agreement.correction import correction_spread, quick_correction
from qckit.agreement.lookup import camera_of, latest_certificate
from qckit.hatch.photo_counts import PHOTO_CORRECTION_COLUMNS, corrected_tables
from qckit.site_tables import SiteTables
from qckit.stages import STAGE_COLUMNS, STAGES
from qckit.tables import to_utc

__all__ = ["correct_photo_counts", "corrections_by", "load_tables", "photo_rows"]

_COLUMNS = list(STAGE_COLUMNS.values())
_ONE_READING = pd.Timedelta(hours=1)  # photos of a hatch without a longer pause show the same mix of stages


def photo_rows(samples, *, by_hand=()):
    """Tell which rows a certificate can speak for.

    Parameters
    ----------
    samples : DataFrame, shape (n, any)
    by_hand : collection of str
        Samples whose photos a person went through object by object: they need no correction.

    Returns
    -------
    Series of bool, shape (n,)
        Subsamples and harvests counted by photo, with all four stages and without decapsulated embryos.

    Examples
    --------
    >>> bool(agreement.photo_rows(tables.samples).any())
    True
    """
    return _from_photos(samples, by_hand) & samples[_COLUMNS].notna().all(axis=1) & samples["embryos"].isna()


def _from_photos(samples, by_hand):
    """Subsamples and harvests counted by photo that no person went through, whatever their stages."""
    is_drawn = samples["kind"].isin(["subsample", "harvest"])
    return is_drawn & (samples["counted_by"] == "photo") & ~samples["sample"].isin(set(by_hand))


def load_tables(log):
    """Read every table of an open log, counts by photo corrected by the cameras' certificates.

    Parameters
    ----------
    log : log.SiteLog

    Returns
    -------
    SiteTables
        See :func:`correct_photo_counts`.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     len(agreement.load_tables(records).lots)
    3
    """
    return correct_photo_counts(SiteTables.load(log))


def correct_photo_counts(tables):
    """Put into a site's tables what its certificates make of the counts by photo.

    Parameters
    ----------
    tables : site_tables.SiteTables
        As logged; those corrected before come back as they are.

    Returns
    -------
    SiteTables
        Its ``samples`` corrected (:func:`hatch.corrected_tables`), and ``photo_corrections``: a row for every sample
        counted by photo that no person went through. Its certificate is the newest sound one of the camera and of the
        counter that counted it, and was not past its date to check again on the day the sample was taken; empty where
        there is none. A sample with decapsulated embryos, or with a stage missing, has none either, and ``is_covered``
        False: no check of whole cysts speaks for it.

    Examples
    --------
    >>> agreement.correct_photo_counts(tables).photo_corrections["certificate"].unique().tolist()
    ['']
    """
    if tables.as_counted is not None:
        return tables
    checked = () if tables.hand_checked is None else tables.hand_checked["sample"]
    every = tables.samples[_from_photos(tables.samples, checked)]
    mine = every[photo_rows(every)]
    parts = [_none(every).assign(is_covered=every["sample"].isin(set(mine["sample"])).to_numpy())]
    if len(mine) and tables.certificates is not None and len(tables.certificates):
        parts += [
            corrections_by(some[_in_time(some, use.certificate)], tables.hatches, use)
            for some, use in _by_camera(mine, tables)
            if use.holds
        ]
    found = pd.concat(parts, ignore_index=True).drop_duplicates("sample", keep="last")
    return corrected_tables(tables.but(photo_corrections=found.reset_index(drop=True)))


def corrections_by(samples, hatches, use):
    """Correct counts by photo by one certificate.

    Parameters
    ----------
    samples : DataFrame, shape (n, any)
        Rows that the certificate speaks for, see :func:`photo_rows`.
    hatches : DataFrame
        Columns hatch, lot.
    use : CertificateUse
        Must hold.

    Returns
    -------
    DataFrame, shape (n, 8), columns ``hatch.PHOTO_CORRECTION_COLUMNS``
        The photos of a hatch at one reading are corrected together (they say more of the mix than each alone) and
        the result is shared out over its subsamples in proportion to what was counted there. ``u_log`` is worked out
        for each lot's own mix of stages.

    Examples
    --------
    >>> use = agreement.latest_certificate(pd.DataFrame(), now="2026-11-06")
    >>> len(agreement.corrections_by(tables.samples.iloc[:0], tables.hatches, use))
    0
    """
    if not len(samples):
        return _none(samples)
    rates = use.certificate.rates
    counts = samples[_COLUMNS].astype("float64")
    lots = samples["hatch"].map(hatches.drop_duplicates("hatch", keep="last").set_index("hatch")["lot"]).fillna("")
    out = _none(samples).set_index(samples.index).assign(certificate=use.certificate.name)
    for _, group in counts.groupby(_readings(samples)):
        right = quick_correction(group, rates)
        total = group.sum()
        for stage, column in STAGE_COLUMNS.items():
            share = group[column] / total[column] if total[column] > 0 else 1 / len(group)
            out.loc[group.index, column] = right[stage] * share
    for _, group in counts.groupby(lots):
        out.loc[group.index, "u_log"] = correction_spread(group, rates)[STAGES[0]]
    return out.reset_index(drop=True)


def _none(samples):
    """Records without a certificate."""
    blank = dict.fromkeys([*_COLUMNS, "u_log"], np.nan)
    table = pd.DataFrame({"sample": samples["sample"].astype("str").to_numpy(), "certificate": "", "is_covered": True})
    types = dict.fromkeys(blank, "float64") | {"certificate": "object", "is_covered": "bool"}
    return table.assign(**blank).astype(types)[list(PHOTO_CORRECTION_COLUMNS)]


def _in_time(samples, certificate):
    """Whether each sample was taken before the certificate is to be renewed; one without a date always is."""
    return (_day(samples["taken"]) <= certificate.valid_until) | (not certificate.valid_until)


def _day(times):
    """Date of each sample as text; the first of all days where it is not known."""
    return times.astype("str").str[:10].where(times.notna(), "")


def _readings(samples):
    """A number for each hatch's reading."""
    taken = to_utc(samples["taken"])
    drawn = samples["hatch"].astype("str") + "\n" + samples["kind"].astype("str")
    order = pd.DataFrame({"drawn": drawn, "taken": taken}).sort_values(["drawn", "taken"], kind="stable")
    is_new = (order["drawn"] != order["drawn"].shift()) | (order["taken"].diff() > _ONE_READING)
    return is_new.cumsum().reindex(samples.index)


def _by_camera(samples, tables):
    """Samples of each camera and counter version with the certificate that speaks for them."""
    photos = tables.photos
    if photos is None or not len(photos):
        return [(samples, latest_certificate(tables.certificates, now="", scales=tables.scales))]
    mine = photos[photos["sample"].isin(set(samples["sample"]))]
    scales = mine["um_per_px"].dropna().unique() if tables.scales is not None else ()
    cameras = {scale: " ".join(camera_of([scale], tables.scales) or ()) for scale in scales}
    keys = [[cameras.get(s, "") for s in mine["um_per_px"]], mine["counter_version"].fillna("").astype("str")]
    keys = pd.Series(list(zip(*keys, strict=True)), index=mine.index)
    mixed = keys.groupby(mine["sample"]).nunique() > 1  # by two cameras or counters: no certificate speaks for it all
    is_one = ~mine["sample"].isin(set(mixed[mixed].index))
    found = []
    for _, some in mine[is_one].groupby(keys[is_one]):
        use = latest_certificate(tables.certificates, now="", photos=some, scales=tables.scales)
        found.append((samples[samples["sample"].isin(set(some["sample"]))], use))
    bare = samples[~samples["sample"].isin(set(mine["sample"]))]
    if len(bare):
        found.append((bare, latest_certificate(tables.certificates, now="", scales=tables.scales)))
    return found
