"""Is it the count? Every way in which a count goes wrong: doubtful, ruled out beyond a size, or not to be told.

A way of counting wrong is ruled out only beyond the size that these counts would have shown in four of five cases;
where even a third would have gone unseen, it cannot be told.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from qckit.columns import listed_in
from qckit.flag_words import say_flags
from qckit.verdicts.poor_hatch.conditions.reference import usually
from qckit.words import figures, plural, signed

__all__ = ["COUNT_COLUMNS", "check_count", "photo_flags"]

COUNT_COLUMNS = ("code", "check", "seen", "result", "beyond_pct", "look_again")
"""``code`` is flags, shells, recount, repeat, mixing, light or amounts; ``result`` is ruled out, doubtful or cannot be
told; ``beyond_pct`` the size that 80 % power would have shown.
"""

_ALPHA_Z, _POWER_Z = 1.96, 0.84  # one in twenty by chance, seen in four of five
_BLUNT = 0.35  # a look that would miss a third rules nothing out (ours)
_SEVERAL = 2.6  # the largest of four figures, about one in thirty by chance


def check_count(row, usual, sub: pd.DataFrame, photos, *, looks) -> pd.DataFrame:
    """Go through the ways in which a count goes wrong.

    Parameters
    ----------
    row : mapping
        The hatch's row of ``counted_hatches``.
    usual : Usual
    sub : DataFrame
        As :func:`qckit.hatch.joined_subsamples` returns it.
    photos : DataFrame or None
        The photos table.
    looks : sequence of Look
        Every look at the hatch: a repeat and a recount are held against the first.

    Returns
    -------
    DataFrame, columns ``COUNT_COLUMNS``
        One row each for photo flags, nauplii against shells, other eyes, a repeat, mixing, light gradient, and mass
        and volumes; ``look_again`` names photos or subsamples, separated by semicolons, empty where nothing is to do.
    """
    counted = sub[sub["sample"].isin(looks[0].names) & (sub["hatch"] == row["hatch"])]
    rows = {
        "flags": _flags(counted, photos),
        "shells": _shells(looks[0], usual, counted),
        "recount": _other_look(looks, "recount", counted),
        "repeat": _other_look(looks, "repeat", counted),
        "mixing": _mixing(looks[0], usual, counted),
        "light": _light(looks[0], usual, counted),
        "amounts": _amounts(row, looks[0], usual, counted),
    }
    return pd.DataFrame([(code, *found) for code, found in rows.items()], columns=list(COUNT_COLUMNS))


def photo_flags(samples: pd.DataFrame, photos, hatch: str) -> tuple[str, ...] | None:
    """Return the flags of the photos behind a hatch's counts; None when no photo was counted, or none is in the log."""
    by_photo = samples[
        (samples["hatch"] == hatch) & (samples["kind"] == "subsample") & (samples["counted_by"] == "photo")
    ]
    if by_photo.empty:
        return None
    known = None if photos is None or not len(photos) else photos[photos["sample"].isin(by_photo["sample"])]
    if known is None or known.empty:
        return None
    return tuple(dict.fromkeys(flag for cell in known["flags"] for flag in listed_in(cell)))


def _names(samples) -> str:
    """The subsamples, each with its photos where it has any."""
    names = []
    for s in samples.to_dict("records"):
        has = isinstance(s.get("photos"), str) and s["photos"].strip()
        names.append(f"{s['sample']} ({s['photos'].replace(';', ', ')})" if has else str(s["sample"]))
    return "; ".join(names)


def _untold(name, why):
    return name, why, "cannot be told", math.nan, ""


def _judged(name, finding, away, sd, remark, where):
    """A figure on a log scale against the usual: doubtful, ruled out beyond what would have been seen, or untold."""
    beyond = 1 - math.exp(-(_ALPHA_Z + _POWER_Z) * sd)
    if abs(away) > _ALPHA_Z * sd:
        return name, finding + remark, "doubtful", 100 * beyond, where
    if beyond > _BLUNT:
        return (
            name,
            f"{finding}; less than {100 * beyond:.0f} % would not have shown",
            "cannot be told",
            100 * beyond,
            "",
        )
    return name, finding, "ruled out", 100 * beyond, ""


def _flags(samples, photos):
    by_photo = samples[samples["counted_by"] == "photo"]
    if by_photo.empty:
        return _untold("photo flags", "counted by a person, so there is no photo to look at again")
    table = photos[photos["sample"].isin(by_photo["sample"])] if photos is not None and len(photos) else None
    if table is None or table.empty:
        return _untold("photo flags", "the photos of these counts are not in the log")
    bad = table[table["flags"].notna() & table["flags"].astype(str).str.strip().ne("")]
    if bad.empty:
        finding = (
            "the one photo carries no flag" if len(table) == 1 else f"none of the {len(table)} photos carries a flag"
        )
        return "photo flags", finding, "ruled out", 10.0, ""  # a count off by a tenth carries one, by the counter's aim
    finding = f"{len(bad)} of {plural(len(table), 'photo')}: {say_flags(';'.join(bad['flags'].astype(str)))}"
    return "photo flags", finding, "doubtful", math.nan, "; ".join(bad["photo"].astype(str))


def _shells(first, usual, samples):
    name = "nauplii against shells"
    if not math.isfinite(first.figures[2]):
        return _untold(name, "shells were not counted")
    if not usual.n_hatches or not math.isfinite(usual.mean[2]):
        return _untold(name, "this lot's usual shells are not known")
    ratio, before = math.exp(first.figures[2]), math.exp(usual.mean[2])
    away, sd = first.figures[2] - usual.mean[2], math.sqrt(first.covariance[2, 2] + usual.between[2, 2])
    finding = f"{ratio:.2f} shells per opened cyst, {usually(usual.n_hatches)} {before:.2f}"
    remark = ": nauplii are missing from the count or from the water" if away > 0 else ": shells are missing"
    return _judged(name, finding, away=away, sd=sd, remark=remark, where=_names(samples))


def _other_look(looks, kind, samples):
    """A recount by other eyes, or a drawing repeated, against the first count: the figure that strays most."""
    name = "counted by other eyes" if kind == "recount" else "drawn again"
    other = next((look for look in looks if look.kind == kind), None)
    if other is None:
        return _untold(name, f"this hatch was not {name}")
    first = looks[0]
    away = other.figures - first.figures
    chance = np.diag(other.covariance + other.extra) + np.diag(first.covariance)
    if other.gap is not None:
        chance = np.diag(other.gap)
    elif other.same_drops:
        chance = chance - 1.4 * np.minimum(np.diag(first.covariance), np.diag(other.covariance))
    sd = np.sqrt(chance)
    finding = f"{first.counts['hatch_pct']:.0f} % in the first count, {other.counts['hatch_pct']:.0f} % {name}"
    if math.isfinite(away[3]):
        gain = other.counts["hatching_efficiency_per_g"] / max(first.counts["hatching_efficiency_per_g"], 1.0) - 1
        finding += f"; nauplii per gram {signed(100 * gain)} %"
    if np.nanmax(np.abs(away / sd)) > _SEVERAL:
        return name, finding, "doubtful", math.nan, _names(samples)
    beyond = 1 - math.exp(-(_SEVERAL + _POWER_Z) * (sd[3] if math.isfinite(sd[3]) else sd[0] * 0.2))
    return name, finding, "ruled out" if beyond <= _BLUNT else "cannot be told", 100 * beyond, ""


def _spread_sizes(chi_square, df, cv, weight):
    """How often chance and the usual mixing give a spread as large, and the spread that would have been seen."""
    from scipy.special import chdtrc, chdtri  # scipy.stats takes a second to import

    usual = 1 + cv**2 * weight
    p = float(chdtrc(df, chi_square / usual))
    detectable = usual * chdtri(df, 0.05) / chdtri(df, 0.8)
    return p, math.sqrt(max(detectable - 1, 0.0) / max(weight, 1e-9))


def _mixing(first, usual, samples):
    name = "mixing (do the subsamples agree?)"
    if not first.df or not math.isfinite(first.chi2):
        return _untold(name, "only one subsample was counted")
    p, cv = _spread_sizes(first.chi2, first.df, usual.mixing_cv, first.full / first.counts["n_subsamples"])
    totals = samples["full_cysts"].astype(float)
    finding = f"{totals.min():.0f} to {totals.max():.0f} full cysts in {len(samples)} subsamples"
    far = samples[(totals - totals.median()).abs() > 2.5 * math.sqrt(max(totals.median(), 1.0))]
    return _by_spread(name, finding, p, cv, far if len(far) else samples)


def _light(first, usual, samples):
    name = "light gradient (do they agree in their share of nauplii?)"
    if not first.df or not math.isfinite(first.share_chi2):
        return _untold(name, "only one subsample was counted")
    share = first.counts["nauplii"] / max(first.full, 1.0)
    weight = first.full / first.counts["n_subsamples"] * share * (1 - share)
    p, cv = _spread_sizes(first.share_chi2, first.df, usual.light_cv, weight)
    totals = samples["full_cysts"].astype(float)
    shares = 100 * samples["nauplii"].astype(float) / totals.clip(lower=1)
    finding = f"{shares.min():.0f} to {shares.max():.0f} % nauplii in {len(samples)} subsamples"
    return _by_spread(name, finding, p, cv, samples)


def _by_spread(name, finding, p, cv, samples):
    """Verdict on a spread between subsamples; ``cv`` is the one that would have been seen in four of five cases."""
    if p < 0.05:
        return (
            name,
            f"{finding}: chance gives that once in {figures(1 / max(p, 1e-4), 2)}",
            "doubtful",
            100 * cv,
            _names(samples),
        )
    if cv > _BLUNT:
        return name, f"{finding}, too few to show it", "cannot be told", 100 * cv, ""
    return name, finding, "ruled out", 100 * cv, ""


def _amounts(row, first, usual, samples):
    name = "mass and volumes"
    if not math.isfinite(first.figures[3]):
        return _untold(name, "the counted volume is not known")
    if not usual.n_hatches or not math.isfinite(usual.mean[3]):
        return _untold(name, "this lot's usual cysts per gram are not known")
    away, sd = first.figures[3] - usual.mean[3], math.sqrt(first.covariance[3, 3] + usual.between[3, 3])
    finding = f"{figures(math.exp(first.figures[3]), 2)} full cysts per gram, {usually(usual.n_hatches)} "
    finding += figures(math.exp(usual.mean[3]), 2)
    where = f"the sheet: {row['cysts_g']:g} g in {row['volume_ml']:g} ml; {_names(samples)}"
    return _judged(
        name, finding, away=away, sd=sd, remark=": a mass or a volume may not be what was written", where=where
    )
