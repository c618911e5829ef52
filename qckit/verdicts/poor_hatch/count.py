"""Is it the count? Every way in which a count goes wrong, ruled out or not, and what to look at again."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from qckit.verdicts.poor_hatch.reference import usually

__all__ = ["COUNT_COLUMNS", "check_count", "photo_flags"]

COUNT_COLUMNS = ("check", "seen", "result", "look_again")
"""``result`` is ruled out, doubtful or cannot be told."""

_DOUBT = 0.05  # chance of a spread or a difference as large, below which the count is doubted (ours)
_ODD_SHELLS = 0.35  # log ratio of shells per opened cyst to the usual (ours: about three times its usual spread)
_ODD_AMOUNT = 0.25  # the same of full cysts per gram


def check_count(row, usual, samples: pd.DataFrame, photos, *, looks=()) -> pd.DataFrame:
    """Go through the ways in which a count goes wrong.

    Parameters
    ----------
    row : mapping
        The hatch's row of ``counted_hatches``.
    usual : Usual
    samples, photos : DataFrame
        The tables of those names; ``photos`` may be None.
    looks : sequence of Look
        Every look at the hatch: a repeat and a recount are held against the first.

    Returns
    -------
    DataFrame, columns ``COUNT_COLUMNS``
        One row each for photo flags, N against S, other eyes, a repeat, mixing, light gradient, and mass and volumes;
        ``look_again`` names photos or subsamples, separated by semicolons, and is empty where nothing is to be done.
    """
    own = samples[samples["sample"].isin(looks[0].names) & (samples["hatch"] == row["hatch"])]
    rows = [
        _flags(own, photos),
        _shells(row, usual, own),
        _other_look(looks, "recount", own),
        _other_look(looks, "repeat", own),
        _mixing(row, usual, own),
        _light(row, usual, own),
        _amounts(row, usual, own),
    ]
    return pd.DataFrame(rows, columns=list(COUNT_COLUMNS))


def photo_flags(samples: pd.DataFrame, photos, hatch: str) -> tuple[str, ...] | None:
    """Return the flags of the photos behind a hatch's counts; None when no photo was counted."""
    own = samples[(samples["hatch"] == hatch) & (samples["kind"] == "subsample") & (samples["counted_by"] == "photo")]
    if own.empty:
        return None
    if photos is None or not len(photos):
        return ()
    texts = photos.loc[photos["sample"].isin(own["sample"]), "flags"].dropna().astype(str)
    return tuple(dict.fromkeys(f.strip() for text in texts for f in text.split(";") if f.strip()))


def _names(own) -> str:
    """The subsamples, each with its photos where it has any."""
    said = []
    for s in own.to_dict("records"):
        has = isinstance(s.get("photos"), str) and s["photos"].strip()
        said.append(f"{s['sample']} ({s['photos'].replace(';', ', ')})" if has else str(s["sample"]))
    return "; ".join(said)


def _flags(own, photos):
    by_photo = own[own["counted_by"] == "photo"]
    if by_photo.empty:
        return "photo flags", "counted by a person, so there is no photo to look at again", "cannot be told", ""
    table = photos[photos["sample"].isin(by_photo["sample"])] if photos is not None and len(photos) else None
    if table is None or table.empty:
        return "photo flags", "the photos of these counts are not in the log", "cannot be told", ""
    bad = table[table["flags"].notna() & table["flags"].astype(str).str.strip().ne("")]
    if bad.empty:
        return "photo flags", f"none of the {len(table)} photos carries a flag", "ruled out", ""
    what = dict.fromkeys(f.strip() for text in bad["flags"].astype(str) for f in text.split(";") if f.strip())
    words = ", ".join(f.replace("-", " ").replace("_", " ") for f in what)
    return "photo flags", f"{len(bad)} of {len(table)} photos: {words}", "doubtful", "; ".join(bad["photo"].astype(str))


def _shells(row, usual, own):
    name = "nauplii against shells"
    if not math.isfinite(row["shells"]):
        return name, "shells were not counted", "cannot be told", ""
    if not usual.n_hatches or not math.isfinite(usual.mean[2]):
        return name, "this lot's usual shells are not known", "cannot be told", ""
    ratio, before = row["shells"] / max(row["shell_opened"], 1), math.exp(usual.mean[2])
    far = math.log(max(ratio, 0.01) / before)
    seen = f"{ratio:.2f} shells per opened cyst, {usually(usual.n_hatches)} {before:.2f}"
    if abs(far) <= _ODD_SHELLS:
        return name, seen, "ruled out", ""
    seen += ": nauplii are missing from the count or from the water" if far > 0 else ": shells are missing"
    return name, seen, "doubtful", _names(own)


def _other_look(looks, kind, own):
    """A recount by other eyes, or a drawing repeated, against the first count: nauplii, cysts and shells per volume."""
    name = "counted by other eyes" if kind == "recount" else "drawn again"
    other = next((look for look in looks if look.kind == kind), None)
    if other is None:
        return name, f"this hatch was not {name}", "cannot be told", ""
    first = looks[0]
    away = other.figures - first.figures
    sd = np.sqrt(np.diag(other.covariance + other.extra) + np.diag(first.covariance) * (0.0 if other.same_drops else 1.0))
    z = float(np.nanmax(np.abs(away / sd)))
    seen = f"{first.counts['hatch_pct']:.0f} % in the first count, {other.counts['hatch_pct']:.0f} % {name}"
    if math.isfinite(away[3]):
        seen += f"; nauplii per gram {100 * (other.counts['hatching_efficiency_per_g'] / first.counts['hatching_efficiency_per_g'] - 1):+.0f} %"
    agree = z < 2.6  # the largest of four looks, about 1 in 30 by chance
    return name, seen, "ruled out" if agree else "doubtful", "" if agree else _names(own)


def _spread(row, chi_square, cv, weight):
    """How often chance and the usual mixing give a spread as large; NaN with one subsample."""
    from scipy.stats import chi2

    if not row["df"] or not math.isfinite(chi_square):
        return math.nan
    return float(chi2.sf(chi_square / (1 + cv**2 * weight), row["df"]))


def _mixing(row, usual, own):
    name = "mixing (do the subsamples agree?)"
    full = row["nauplii"] + row["umbrella"] + row["unhatched"]
    p = _spread(row, row["chi2"], usual.mixing_cv, full / row["n_subsamples"])
    if math.isnan(p):
        return name, "only one subsample was counted", "cannot be told", ""
    totals = own[["nauplii", "umbrella", "cysts", "embryos"]].astype(float).fillna(0).sum(axis=1)
    seen = f"{totals.min():.0f} to {totals.max():.0f} full cysts in {row['n_subsamples']} subsamples (p = {p:.2g})"
    far = own[(totals - totals.median()).abs() > 2.5 * math.sqrt(max(totals.median(), 1.0))]
    return name, seen, *(("ruled out", "") if p >= _DOUBT else ("doubtful", _names(far if len(far) else own)))


def _light(row, usual, own):
    name = "light gradient (do they agree in their share of nauplii?)"
    full = max(row["nauplii"] + row["umbrella"] + row["unhatched"], 1.0)
    share = row["nauplii"] / full
    p = _spread(row, row["share_chi2"], usual.light_cv, full / row["n_subsamples"] * share * (1 - share))
    if math.isnan(p):
        return name, "only one subsample was counted", "cannot be told", ""
    totals = own[["nauplii", "umbrella", "cysts", "embryos"]].astype(float).fillna(0).sum(axis=1)
    shares = 100 * own["nauplii"].astype(float) / totals.clip(lower=1)
    seen = f"{shares.min():.0f} to {shares.max():.0f} % nauplii in {row['n_subsamples']} subsamples (p = {p:.2g})"
    return name, seen, *(("ruled out", "") if p >= _DOUBT else ("doubtful", _names(own)))


def _amounts(row, usual, own):
    name = "mass and volumes"
    if not math.isfinite(row["full_cysts_per_g"]):
        return name, "the counted volume is not known", "cannot be told", ""
    if not usual.n_hatches or not math.isfinite(usual.mean[3]):
        return name, "this lot's usual cysts per gram are not known", "cannot be told", ""
    before = math.exp(usual.mean[3])
    seen = (
        f"{_three(row['full_cysts_per_g']):,.0f} full cysts per gram, {usually(usual.n_hatches)} {_three(before):,.0f}"
    )
    if abs(math.log(max(row["full_cysts_per_g"], 1.0) / before)) <= _ODD_AMOUNT:
        return name, seen, "ruled out", ""
    where = f"the sheet: {row['cysts_g']:g} g in {row['volume_ml']:g} ml; {_names(own)}"
    return name, seen + ": a mass or a volume may not be what was written", "doubtful", where


def _three(value):
    return float(f"{value:.3g}")
