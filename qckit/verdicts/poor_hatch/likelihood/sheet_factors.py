"""How much the sheet's words, who counted and how, photo flags and lengths speak for each cause (all ours)."""

from __future__ import annotations

import pandas as pd

from qckit.tables import to_utc
from qckit.verdicts.poor_hatch.conditions.decapsulated import bleach_factor
from qckit.verdicts.poor_hatch.likelihood.notes import factors_of

__all__ = ["sheet_factors"]

_BY_FLAGS = {True: 4.0, False: 0.8, None: 1.0}  # photos with a flag, without, not in the log: for a miscount
_BY_PERSON = 0.5  # a person misses fewer nauplii and hardly ever takes shells for cysts
_NEW_COUNTER = 8.0  # one who has counted no hatch here before, where the others are known
_KNOWN_AFTER, _LEAST_KNOWN = 2, 10  # hatches that make a counter known; that must name theirs
_OTHER_DILUTION = 5.0  # written dilution of this hatch is not the one the site has


def sheet_factors(t, hatch_row, *, phrases, first, flags, lengths) -> dict[str, float]:
    """Factors on the causes from everything that is neither a count nor a reading.

    Parameters
    ----------
    t : SiteTables
    hatch_row : mapping
        The hatch's row.
    phrases : list of Phrase
        What the sheet says.
    first : Look
        The first counts of the hatch.
    flags : tuple of str or None
        Flags of the photos behind them; None where there are none.
    lengths : Lengths or None

    Returns
    -------
    dict of str to float
    """
    factors = factors_of(phrases)
    if lengths is not None:
        factors["overlong"] *= lengths.factor
    by_person = first.counted_by == "person"
    for code in ("missed", "swapped"):
        factors[code] *= _BY_PERSON if by_person else _BY_FLAGS[None if flags is None else bool(flags)]
    earlier = _earlier_samples(t, hatch_row)
    counted = t.samples[t.samples["sample"].isin(first.names)]
    if by_person and _is_new(counted, earlier):
        for code in ("missed", "uneven", "scaled"):
            factors[code] *= _NEW_COUNTER
    if _is_diluted_otherwise(counted, earlier):
        factors["scaled"] *= _OTHER_DILUTION
    protocol, is_noted = t.settings.protocol.decapsulated, any(p.cause == "bleached" for p in phrases)
    factors["bleached"] *= bleach_factor(t.hatches, hatch_row, protocol, is_noted=is_noted)
    return factors


def _earlier_samples(t, hatch_row):
    """Subsamples of the hatches started before this one."""
    before = to_utc(t.hatches["started"]) < pd.Timestamp(hatch_row["started"])
    names = t.hatches.loc[before, "hatch"]
    return t.samples[t.samples["hatch"].isin(names) & (t.samples["kind"] == "subsample")]


def _is_new(counted, earlier) -> bool:
    """Whoever counted this hatch had counted none or hardly one before, and the earlier counters are known."""
    who = set(counted["counter"].dropna())
    by_person = earlier[(earlier["counted_by"] == "person") & earlier["counter"].notna()]
    if not who or by_person["hatch"].nunique() < _LEAST_KNOWN:
        return False
    return by_person.loc[by_person["counter"].isin(who), "hatch"].nunique() < _KNOWN_AFTER


def _is_diluted_otherwise(counted, earlier) -> bool:
    """The dilution written is not the one of nearly all hatches before."""
    usual = earlier["dilution"].dropna()
    counted = counted["dilution"].dropna()
    if earlier["hatch"].nunique() < _LEAST_KNOWN or not len(counted) or not len(usual):
        return False
    mode = usual.mode().iloc[0]
    return bool((usual == mode).mean() > 0.95 and (counted != mode).all())
