"""Counts of a lot's test corrected by the certificate of the camera that took its photos."""

from __future__ import annotations

import pandas as pd

from qckit.stages import STAGE_COLUMNS

__all__ = ["corrected_counts", "photo_rows"]

_COLUMNS = list(STAGE_COLUMNS.values())


def photo_rows(samples, hatches, *, by_hand=()):
    """Tell which rows a certificate speaks for.

    Parameters
    ----------
    samples : DataFrame, shape (n, any)
    hatches : collection of str
    by_hand : collection of str
        Samples whose photos a person went through object by object: they need no correction.

    Returns
    -------
    Series of bool, shape (n,)
        Subsamples of these hatches counted by photo, with all four stages and without decapsulated embryos.
    """
    chosen = samples["hatch"].isin(set(hatches)) & (samples["kind"] == "subsample") & (samples["counted_by"] == "photo")
    return (
        chosen
        & samples[_COLUMNS].notna().all(axis=1)
        & samples["embryos"].isna()
        & ~samples["sample"].isin(set(by_hand))
    )


def corrected_counts(samples, hatches, certificate, *, by_hand=()):
    """Correct the photo counts of some hatches by detection rate and confusion between stages.

    Parameters
    ----------
    samples : DataFrame, shape (n, any)
        Columns of the samples table.
    hatches : collection of str
    certificate : agreement.CertificateUse
        That of the camera; must hold.
    by_hand : collection of str
        As for :func:`photo_rows`.

    Returns
    -------
    DataFrame, shape (n, any)
        A copy whose counts are numbers with decimals. Each hatch is corrected as a whole (its photos together say more
        of the mix than each alone) and shared out over its subsamples in proportion to what was counted there.
    """
    rows = photo_rows(samples, hatches, by_hand=by_hand)
    out = samples.copy()
    for column in _COLUMNS:
        out[column] = pd.to_numeric(out[column]).astype("float64")
    for _, group in out[rows].groupby("hatch"):
        found = certificate.correct(group)
        if found is None:
            continue
        for stage, column in STAGE_COLUMNS.items():
            counted, share = group[column].sum(), 1 / len(group)
            out.loc[group.index, column] = found.counts[stage] * (group[column] / counted if counted > 0 else share)
    return out
