"""Counts from photos as the camera's certificate corrects them, and what a figure over hatches owes to that.

How the corrections come about is for :mod:`qckit.agreement`; here they are plain records, a row a sample.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.stages import STAGE_COLUMNS
from qckit.words import joined, noun, plural, signed

__all__ = [
    "PHOTO_CORRECTION_COLUMNS",
    "PhotoCounts",
    "corrected_samples",
    "corrected_tables",
    "mark_photo_counts",
    "photo_counts_of",
]

PHOTO_CORRECTION_COLUMNS = ("sample", "certificate", *STAGE_COLUMNS.values(), "u_log", "is_covered")
"""A sample counted by photo, the certificate that speaks for it (empty: none), its counts as corrected, the relative
standard uncertainty of the correction of nauplii, which all photos of the camera share, and whether a certificate could
speak for it at all: none does for decapsulated embryos or where a stage was not counted."""


@dataclass(frozen=True)
class PhotoCounts:
    """What a figure over hatches owes to counts from photos.

    Examples
    --------
    >>> hatch.PhotoCounts(n_hatches=9, n_photo=9, n_unchecked=9).words
    ', counted from photos that nobody checked by eye'
    """

    n_hatches: int = 0
    n_photo: int = 0  # of them, counted by photo and not gone through by a person
    n_unchecked: int = 0  # of these, without a certificate that speaks for them
    n_not_covered: int = 0  # of these, with embryos or a missing stage, for which no certificate can speak
    certificates: tuple[str, ...] = ()
    change: float = 1.0  # nauplii as corrected over nauplii as counted, of the corrected hatches
    u_log: float = 0.0  # of the mean over hatches, relative: the camera's own, which more hatches do not lessen

    @property
    def words(self) -> str:
        """A clause for what a figure rests on; empty where every count is a person's."""
        if not self.n_photo:
            return ""
        if self.n_unchecked:
            whose = "" if self.n_unchecked == self.n_hatches else f" {self.n_unchecked} of {self.n_hatches}"
            return f",{whose} counted from photos that nobody checked by eye"
        return f", photos corrected by the {self._certificates}"

    @property
    def _certificates(self) -> str:
        return f"{noun(len(self.certificates), 'certificate')} {joined(self.certificates)}"

    @property
    def sentence(self) -> str:
        """What was corrected and by how much, or what is not known; empty where every count is a person's."""
        parts = []
        if self.certificates:
            n = self.n_photo - self.n_unchecked
            parts.append(
                f"Counts from photos of {plural(n, 'hatch')} are corrected by the "
                f"{self._certificates}: {signed(100 * (self.change - 1))} % nauplii. How sure that is "
                f"(± {196 * self.u_log:.0f} %) is in the risk."
            )
        if self.n_unchecked:
            whole = self.n_unchecked == self.n_hatches
            whose = "Its hatches" if whole else f"{self.n_unchecked} of its {self.n_hatches} hatches"
            parts.append(
                f"{whose} {'was' if self.n_unchecked == 1 and not whole else 'were'} counted from photos that no "
                "certificate speaks for: what the kit misses or mistakes there is not in the risk."
            )
            parts += self._remedies()
        return " ".join(parts)

    def _remedies(self):
        """What makes photos without a certificate good: a check, or counts by eye where no check covers them."""
        if self.n_not_covered:
            n = "all" if self.n_not_covered == self.n_unchecked else self.n_not_covered
            yield (
                f"In {n} of these, embryos were counted after decapsulation, or a stage was not counted, which no "
                "certificate covers: count such samples by eye."
            )
        if self.n_not_covered < self.n_unchecked:
            yield "Count ten photos by eye and run  qckit camera check."


def corrected_samples(samples, corrections):
    """Put corrected counts in the place of those of the photos.

    Parameters
    ----------
    samples : DataFrame, shape (n, any)
        Columns of the samples table.
    corrections : DataFrame or None
        ``PHOTO_CORRECTION_COLUMNS``; rows without a certificate change nothing.

    Returns
    -------
    DataFrame, shape (n, any)
        A copy whose counts are numbers with decimals; ``samples`` itself where there is nothing to correct.

    Examples
    --------
    >>> hatch.corrected_samples(tables.samples, tables.photo_corrections) is tables.samples
    True
    """
    known = None if corrections is None else corrections[corrections["certificate"] != ""]
    if known is None or not samples["sample"].isin(set(known["sample"])).any():
        return samples
    known = known.set_index("sample")
    out = samples.copy()
    mine = out["sample"].isin(set(known.index)) & (out["counted_by"] == "photo")
    for column in STAGE_COLUMNS.values():
        counts = pd.to_numeric(out[column]).astype("float64")
        counts[mine] = known[column].reindex(out.loc[mine, "sample"]).to_numpy(float)
        out[column] = counts
    if "embryos" in out:  # it stands in for cysts, so both are of one type
        out["embryos"] = pd.to_numeric(out["embryos"]).astype("float64")
    return out


def corrected_tables(tables):
    """Put corrected counts in the place of those of the photos, once: what every figure of a hatch rests on.

    Parameters
    ----------
    tables : site_tables.SiteTables
        With ``photo_corrections``; without, nothing is corrected.

    Returns
    -------
    SiteTables
        Its ``samples`` corrected and ``as_counted`` as they were; ``tables`` itself where there is nothing to correct,
        or where it was done before.

    Examples
    --------
    >>> hatch.corrected_tables(tables) is tables
    True
    """
    if tables.as_counted is not None:
        return tables
    right = corrected_samples(tables.samples, tables.photo_corrections)
    return tables if right is tables.samples else tables.but(samples=right, as_counted=tables.samples)


def mark_photo_counts(cones, samples, corrections):
    """Add to each hatch how its nauplii were counted.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics``, from corrected samples.
    samples : DataFrame
        As counted.
    corrections : DataFrame or None

    Returns
    -------
    DataFrame
        With ``photo_state`` (``""``: by a person, or not known; ``corrected``; ``unchecked``; ``not covered``:
        unchecked, and no certificate could speak for it), ``certificate``, ``camera_u`` (relative) and ``as_counted``,
        the share of the corrected nauplii that the photos gave.

    Examples
    --------
    >>> set(hatch.mark_photo_counts(cones, tables.samples, None)["photo_state"])
    {''}
    """
    out = cones.assign(photo_state="", certificate="", camera_u=0.0, as_counted=1.0)
    if corrections is None or not len(corrections):
        return out
    rows = samples.loc[samples["kind"] == "subsample", ["sample", "hatch", "nauplii"]].merge(
        corrections.rename(columns={"nauplii": "corrected"})[
            ["sample", "certificate", "corrected", "u_log", "is_covered"]
        ],
        on="sample",
    )
    by_hatch = (
        rows.assign(has_one=rows["certificate"] != "")
        .groupby("hatch")
        .agg(
            certificate=("certificate", "max"),
            is_whole=("has_one", "all"),
            is_covered=("is_covered", "all"),
            camera_u=("u_log", "mean"),
            counted=("nauplii", "sum"),
            corrected=("corrected", "sum"),
        )
    )
    mine = by_hatch.reindex(out["hatch"])
    known = mine["certificate"].notna().to_numpy()
    whole = mine["is_whole"].eq(True).to_numpy()  # missing where the hatch has no photo
    covered = mine["is_covered"].eq(True).to_numpy()
    without = np.where(covered, "unchecked", "not covered")
    out["photo_state"] = np.where(whole, "corrected", np.where(known, without, ""))
    out["certificate"] = np.where(whole, mine["certificate"].astype(object), "")
    out["camera_u"] = np.where(whole, mine["camera_u"].astype(float).fillna(0.0), 0.0)
    ratio = mine["counted"].astype(float) / mine["corrected"].where(mine["corrected"] > 0)
    out["as_counted"] = np.where(whole, ratio.fillna(1.0), 1.0)
    return out


def photo_counts_of(rows, weights=None):
    """Sum up what some hatches owe to counts from photos.

    Parameters
    ----------
    rows : DataFrame
        From :func:`mark_photo_counts`; without its columns nothing is known.
    weights : array_like of float, optional
        Of the hatches in the mean that they make; equal when left out.

    Returns
    -------
    PhotoCounts

    Examples
    --------
    >>> hatch.photo_counts_of(cones).n_photo
    0
    """
    if "photo_state" not in rows or not len(rows):
        return PhotoCounts(n_hatches=len(rows))
    weights = np.ones(len(rows)) if weights is None else np.asarray(weights, float)
    state = rows["photo_state"].to_numpy()
    right = rows[state == "corrected"]
    # one camera's error is the same in all its photos; two cameras' are independent
    u = rows["camera_u"].to_numpy(float) * weights / weights.sum()
    by_camera = pd.Series(u).groupby(rows["certificate"].to_numpy()).sum()
    return PhotoCounts(
        n_hatches=len(rows),
        n_photo=int((state != "").sum()),
        n_unchecked=int(np.isin(state, ["unchecked", "not covered"]).sum()),
        n_not_covered=int((state == "not covered").sum()),
        certificates=tuple(sorted(set(right["certificate"]))),
        change=float(np.exp(-np.mean(np.log(right["as_counted"].to_numpy(float))))) if len(right) else 1.0,
        u_log=math.sqrt(float((by_camera**2).sum())),
    )
