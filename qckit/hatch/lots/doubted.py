"""Hatches whose own figures can hardly be: slips of grams, counts or volumes, that no dose should rest on unseen."""

from __future__ import annotations

import math
import shlex
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.hatch.registry import METRICS
from qckit.hatch.subsamples import BESIDE_SHELLS
from qckit.quantities import MOST_CYSTS_G_PER_L, MOST_PER_G
from qckit.tables import to_utc
from qckit.words import figures, number

__all__ = ["Doubted", "cannot_be", "doubted_hatches", "impossible_hatches", "too_many", "without_impossible"]

_SIGMAS = 3.0  # of counting: what is beyond it is no chance
_LEAST_FULL_PER_G = 55_000.0  # a quarter of 220,000, the fewest in most lots (common practice, no source)
_FEW_PER_G = 100_000.0  # a gram that gives more was no tenfold gram. No source
_DENSE = 3.0  # times the site's own most grams per litre
_TIMES = 5.0  # times off the lot's other hatches. No source
_ENOUGH = 6  # hatches of a lot from which on its own spread tells what is far off
_AGREES = 3.0  # times off such a lot's middle: the lot, or how it is counted here, is so


@dataclass(frozen=True)
class Doubted:
    """A hatch that no dose rests on until somebody has looked, and why.

    Examples
    --------
    >>> one = hatch.Doubted("H1", "L-1", "too many", per_g=901_000.0, grams=2.0, g_per_l=2.0)
    >>> one.why
    'its counts make 901\u202f000 nauplii per gram, more than a gram of cysts holds (450\u202f000 at the very most)'
    """

    hatch: str
    lot: str
    code: str  # too many, too dense, too few, apart
    per_g: float  # nauplii, or of "too few" all cysts that were counted. [1/g]
    grams: float
    g_per_l: float
    others_per_g: float = math.nan  # nauplii per gram of the lot's other hatches, where these speak against it
    sample: str = ""  # the one subsample that cannot be, where there is one

    @property
    def why(self) -> str:
        """What speaks against its figures."""
        if self.code == "too many":
            most = number(MOST_PER_G)
            return (
                f"its counts make {figures(self.per_g)} nauplii per gram, more than a gram of cysts holds ({most} at "
                "the very most)"
            )
        if self.code == "too dense":
            gave = f"a gram gave {figures(self.per_g)} nauplii"
            return f"{self.grams:g} g stood in it, {figures(self.g_per_l)} g per litre, and {gave}"
        if self.code == "too few":
            most_lots = f"{number(220_000)} to {number(300_000)}"
            return f"its counts make {figures(self.per_g)} cysts per gram, hatched or not; most lots hold {most_lots}"
        return f"it gave {figures(self.per_g)} nauplii per gram, the lot's others {figures(self.others_per_g)}"

    @property
    def first_step(self) -> str:
        """What to look at first, and the command that mends it."""
        name, sample = shlex.quote(self.hatch), shlex.quote(self.sample)
        if self.sample:
            return f"Look at the sheet:  qckit log correct samples {sample} nauplii VALUE --reason TEXT"
        if self.code == "too dense":
            return (
                "Look at its grams on the sheet. If they are wrong:  "
                f"qckit log correct hatches {name} cysts_g VALUE --reason TEXT"
            )
        return f"Look at its counts, volumes and grams:  qckit log history {name}"


def cannot_be(cones, samples=None):
    """Tell which hatches gave more nauplii per gram than a gram of cysts holds, by more than chance in counting.

    Parameters
    ----------
    cones : DataFrame, shape (n, any)
        Rows of ``cone_metrics``.
    samples : DataFrame, optional
        Their subsamples: one of them that cannot be puts its hatch in doubt, though the mean of all could be.

    Returns
    -------
    Series of bool, shape (n,)

    Examples
    --------
    >>> bool(hatch.cannot_be(cones, tables.samples).any())
    False
    """
    nauplii = cones["nauplii"].astype(float)
    beyond = _surely(nauplii) * cones["factor_per_g"].astype(float) > MOST_PER_G
    if samples is None or samples.empty or cones.empty:
        return beyond
    return beyond | cones["hatch"].isin(set(_impossible_samples(cones, samples)["hatch"]))


def _impossible_samples(cones, samples):
    """Subsamples that make more nauplii of a gram than it holds by themselves."""
    mine = samples[samples["kind"] == "subsample"]
    ul_per_g = (cones["volume_ml"] * 1000.0 / cones["cysts_g"]).set_axis(cones["hatch"])
    factor = (
        mine["hatch"].map(ul_per_g[~ul_per_g.index.duplicated()]) * mine["dilution"].fillna(1.0) / mine["volume_ul"]
    )
    bad = _surely(mine["nauplii"].astype(float)) * factor > MOST_PER_G
    return mine[bad]


def impossible_hatches(cones, samples) -> dict[str, Doubted]:
    """Give the hatches of :func:`cannot_be` with what speaks against each and the first step.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics``.
    samples : DataFrame
        The samples table.

    Returns
    -------
    dict of str to Doubted

    Examples
    --------
    >>> hatch.impossible_hatches(cones, tables.samples)
    {}
    """
    rows = cones[cannot_be(cones, samples)]
    if rows.empty:
        return {}
    bad = _impossible_samples(rows, samples).groupby("hatch")["sample"].agg(list)
    alone = {hatch: names[0] for hatch, names in bad.items() if len(names) == 1}
    return {
        row["hatch"]: too_many(row | {"impossible_sample": alone.get(row["hatch"], "")})
        for row in rows.to_dict("records")
    }


def without_impossible(cones, samples):
    """Take every figure from the hatches of :func:`impossible_hatches`; what was counted stays.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics``.
    samples : DataFrame
        The samples table.

    Returns
    -------
    tuple of (DataFrame, dict of str to Doubted)
        The same rows and columns, full cysts, sums beside shells and metrics of those hatches NaN; and these hatches.

    Examples
    --------
    >>> known, impossible = hatch.without_impossible(cones, tables.samples)
    >>> known.shape == cones.shape, impossible
    (True, {})
    """
    impossible = impossible_hatches(cones, samples)
    if not impossible:
        return cones, impossible
    known, figures_of = cones.copy(), ["full_cysts", *BESIDE_SHELLS, *METRICS]
    known.loc[known["hatch"].isin(set(impossible)), figures_of] = math.nan
    return known, impossible


def too_many(row) -> Doubted:
    """Say of a row whose count cannot be what speaks against it.

    Parameters
    ----------
    row : mapping
        Of ``cone_metrics``, with ``impossible_sample`` where one subsample alone cannot be (else empty).

    Examples
    --------
    >>> hatch.too_many(cones.iloc[0].to_dict() | {"impossible_sample": ""}).code
    'too many'
    """
    grams = float(row["cysts_g"])
    return Doubted(
        row["hatch"],
        row["lot"],
        "too many",
        per_g=float(row["hatching_efficiency_per_g"]),
        grams=grams,
        g_per_l=grams / float(row["volume_ml"]) * 1000.0,
        sample=row["impossible_sample"],
    )


def _surely(count):
    return count - _SIGMAS * np.sqrt(count)


def doubted_hatches(cones, samples, settings) -> list[Doubted]:
    """Find hatches whose figures can hardly be, so that they must not lead a dose.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics`` of the whole site.
    samples : DataFrame
        The samples table, volumes filled in.
    settings : settings.Settings

    Returns
    -------
    list of Doubted
        In order of their start. A hatch counts as doubted where it gave more nauplii than a gram holds; where the cone
        held far more grams per litre than the site ever uses and a gram gave little; where far fewer cysts were
        counted, hatched and not, than any gram holds; or where it lies many times off the lot's few others. A lot of
        six hatches and more is believed where they agree, and its own spread says which of them tell of an accident.

    Examples
    --------
    >>> hatch.doubted_hatches(cones, tables.samples, tables.settings)
    []
    """
    good = cones[(cones["nauplii"] > 0) & (cones["factor_per_g"] > 0)]
    if good.empty:
        return []
    impossible = impossible_hatches(good, samples)
    found = list(impossible.values())
    for _, of_lot in good[~good["hatch"].isin(set(impossible))].groupby("lot", sort=False):
        found += _of_lot(of_lot, settings.feed.max_g_per_l)
    order = dict(zip(good["hatch"], to_utc(good["started"]), strict=True))
    return sorted(found, key=lambda one: order[one.hatch])


def _of_lot(rows, max_g_per_l) -> list[Doubted]:
    """Doubted hatches of one lot, of those that can be."""
    per_g, density = rows["hatching_efficiency_per_g"].astype(float), rows["cysts_g"] / rows["volume_ml"] * 1000.0
    full = rows["full_cysts"].astype(float)
    factor = rows["factor_per_g"].astype(float)
    dense = (density > min(_DENSE * max_g_per_l, MOST_CYSTS_G_PER_L)) & (per_g < _FEW_PER_G)
    few = (full + _SIGMAS * np.sqrt(full)) * factor < _LEAST_FULL_PER_G
    code = pd.Series("", index=rows.index).mask(few, "too few").mask(dense, "too dense")
    if len(rows) >= _ENOUGH:
        agree = np.abs(np.log(per_g / per_g.median())) < math.log(_AGREES)
        code = code.mask(agree, "")
    shown = per_g.mask(code == "too few", full * factor)
    others = pd.Series(math.nan, index=rows.index)
    left = per_g[code == ""]
    if 1 < len(left) < _ENOUGH:
        code, others = _apart(left, code, others)
    return [
        Doubted(hatch, lot, *facts)
        for hatch, lot, *facts in zip(
            rows["hatch"], rows["lot"], code, shown, rows["cysts_g"].astype(float), density, others, strict=True
        )
        if facts[0]
    ]


def _apart(left, code, others):
    """Mark those of a few hatches that lie many times off the others; of two the lower, as a slip of the other would
    be more than a gram holds, or an accident."""
    code, others = code.copy(), others.copy()
    for i in left.index:
        rest = left.drop(i)
        middle = float(np.exp(np.log(rest).median()))
        is_far = abs(math.log(left[i] / middle)) > math.log(_TIMES)
        if is_far and (len(rest) > 1 or left[i] < middle):
            code[i], others[i] = "apart", middle
    return code, others
