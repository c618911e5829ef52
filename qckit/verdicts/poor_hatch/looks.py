"""Every look at one hatch: the first counts, a drawing repeated, a recount by other eyes, a reading a day later.

They are told apart because they witness different things: a repeat is free of what the first drawing did wrong, a
person's count of what the photo's count did, a later reading says whether embryos were late or dead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from qckit.hatch.subsamples import drawing_numbers
from qckit.robust import SD_PER_MAD
from qckit.verdicts.lots.usual import describe_hatch, full_cysts_counted
from qckit.words import capital, signed

__all__ = ["LATER_H", "Look", "later_sentence", "looks_at", "other_counts_sentences", "with_known_gaps"]

LATER_H = 4.0
_LONG_H = 12.0  # from when on a count that shows nothing more says that nothing more comes
_NEAR_H = 3.0
_LEAST = 10  # full cysts that make a look
_PAIRS, _LEAST_PAIRS, _PRIOR_PAIRS = (
    40,
    4,
    6.0,
)  # hatches counted twice: most looked at, least that tell, prior's weight
_SHARED_CHANCE = 0.95  # share of the chance that two counts of the same drops have in common (ours)
_SAME_DROPS_SD = np.array([0.06, 0.12, 0.06, 0.03])  # how two counts of the same drops stray, their levels known (ours)
_EXTRA_SD = {  # how far another look strays from the first beyond chance (ours): detection, drawing, a day more
    "first": np.zeros(4),
    "repeat": np.array([0.06, 0.12, 0.05, 0.04]),
    "recount": np.array([0.18, 0.35, 0.18, 0.10]),
    "later": np.array([0.15, 0.30, 0.15, 0.10]),
}


@dataclass(frozen=True)
class Look:
    """One look: ``kind`` is first, repeat, recount or later; the figures of ``usual.py`` with their covariance."""

    kind: str
    figures: np.ndarray
    covariance: np.ndarray
    counts: dict  # as a row of ``counted_hatches``: nauplii, umbrella, unhatched, shells, hatch_pct, ...
    hours: float
    counted_by: str
    names: tuple[str, ...]
    extra: np.ndarray  # (4, 4) how far such a look strays from the first beyond chance
    same_drops: bool = False  # counted in the very drops of the first look: chance is shared
    chi2: float = math.nan
    share_chi2: float = math.nan
    df: int = 0
    gap: np.ndarray | None = None  # (4, 4) how far such a count of the same drops strays from the first at this site
    has_umbrella: bool = True  # somebody counted umbrella stages; else the second figure is NaN

    @property
    def full(self) -> float:
        """Full cysts counted."""
        return full_cysts_counted(self.counts)


def looks_at(sub: pd.DataFrame, row, *, mixing_cv: float, kind: str = "photo") -> list[Look]:
    """Sort the subsamples of one hatch into looks.

    Parameters
    ----------
    sub : DataFrame
        As :func:`qckit.hatch.joined_subsamples` returns it.
    row : mapping
        The hatch's row of ``counted_hatches``: the hour of its reading.
    mixing_cv : float
        Coefficient of variation of density between subsamples.
    kind : str
        photo or person: how this site mostly counts; the other is a recount.

    Returns
    -------
    list of Look
        The first look first: the earliest drawing at the reading, in the site's usual kind of count.
    """
    of_hatch = sub[(sub["hatch"] == row["hatch"]) & sub["full_cysts"].notna()]
    away = of_hatch["hours"] - row["hours"]
    near, late = of_hatch[~(away.abs() > _NEAR_H)], of_hatch[away >= LATER_H]
    who = kind if (near["counted_by"] == kind).any() else near["counted_by"].iloc[0]
    usual = near[near["counted_by"] == who]
    drawing = drawing_numbers(usual["taken"], usual["hatch"])
    first, other = usual[drawing == 0], near[near["counted_by"] != who]
    found = [_look("first", first, row, mixing_cv)]
    parts = [("repeat", usual[drawing > 0]), ("recount", other)]
    if len(late):
        late = late[late["hours"] > late["hours"].max() - 1.5]
        parts.append(("later", late[late["counted_by"] == who] if (late["counted_by"] == who).any() else late))
    for name, part in parts:
        if len(part) and part["full_cysts"].sum() >= _LEAST:
            found.append(_look(name, part, row, mixing_cv, same_drops=_same_drops(first, part)))
    return found


def with_known_gaps(looks: list[Look], sub: pd.DataFrame, counts: pd.DataFrame, *, standing, kind: str) -> list[Look]:
    """Hold a count of the same drops by other eyes against what is known here of both ways of counting.

    Parameters
    ----------
    looks : list of Look
        Of one hatch.
    sub : DataFrame
        As :func:`qckit.hatch.joined_subsamples` returns it, of the whole site.
    counts : DataFrame
        As ``counted_hatches`` returns it.
    standing : Standing
        Levels of the ways of counting.
    kind : str
        photo or person: how this site mostly counts.

    Returns
    -------
    list of Look
        Where four other hatches or more were counted twice, or a dozen in each way, the recount's figures are moved by
        how far the two ways of counting stand apart here, and ``gap`` says how far they stray from that. Two counts of
        the same drops share their chance, so that this shows a miscount well within the chance of a single count.
    """
    first, recount = looks[0], next((k for k in looks if k.kind == "recount" and k.same_drops), None)
    if recount is None:
        return looks
    known = _gap_of_pairs(first, recount, sub, counts, kind) or _gap_of_levels(first, recount, standing)
    if known is None:
        return looks
    judged = replace(recount, figures=recount.figures - known[0], gap=known[1])
    return [judged if k is recount else k for k in looks]


def _gap_of_pairs(first, recount, sub, counts, kind):
    """From other hatches whose drops were counted in both ways: how far apart, and how that strays."""
    hatch = sub.loc[sub["sample"].isin(first.names), "hatch"].iloc[0]
    gaps = [
        pair[1].figures - pair[0].figures
        for row in _counted_twice(sub, counts, hatch)
        if len(pair := looks_at(sub, row, mixing_cv=0.0, kind=kind)[:2]) > 1 and pair[1].same_drops
    ]
    gaps = np.array([g for g in gaps if np.isfinite(g[[0, 1, 3]]).all()])
    if len(gaps) < _LEAST_PAIRS:
        return None
    n, at = len(gaps), np.nan_to_num(np.nanmedian(gaps, axis=0)) * len(gaps) / (len(gaps) + 1)
    reach = 4 * SD_PER_MAD * np.nanmedian(np.abs(gaps - at), axis=0) + 0.02
    away = np.clip(np.nan_to_num(gaps - at), -reach, reach)  # one wrong recount among them does not make all doubtful
    prior = np.diag(recount.extra) + 2 * (1 - _SHARED_CHANCE) * np.diag(first.covariance)
    return at, (away.T @ away + _PRIOR_PAIRS * np.diag(prior)) / (n + _PRIOR_PAIRS)


def _gap_of_levels(first, recount, standing):
    """From the levels of both ways of counting in hatches that were each counted in one way."""
    between = standing.between_counts(recount.counted_by, first.counted_by)
    if between is None:
        return None
    at, variance = between
    return at, np.diag(variance + _SAME_DROPS_SD**2) + 2 * (1 - _SHARED_CHANCE) * first.covariance


def _counted_twice(sub, counts, hatch):
    """Rows of ``counts`` of other hatches that were counted in both ways, the latest."""
    kinds = sub[sub["full_cysts"].notna()].groupby("hatch")["counted_by"].nunique()
    both = counts[counts["hatch"].isin(kinds.index[kinds > 1]) & (counts["hatch"] != hatch)]
    return both.tail(_PAIRS).to_dict("records")


def _same_drops(first, other):
    """Tell whether two sets of subsamples are counts of the same drops: the same photos, or volumes and times alike."""
    if other["photos"].notna().any() and set(other["photos"].dropna()) <= set(first["photos"].dropna()):
        return True
    pairs = [sorted(zip(part["taken"].astype(str), part["volume_ul"], strict=True)) for part in (first, other)]
    return pairs[0] == pairs[1]


def _look(kind, sub, row, mixing_cv, *, same_drops=False) -> Look:
    """Pool the subsamples of one look."""
    n, u, c = (sub[k].astype(float).fillna(0.0) for k in ("nauplii", "umbrella", "unhatched"))
    s = sub["shells"].astype(float)
    full = n + u + c
    ul = sub["counted_ul"].to_numpy(float)
    known = bool(np.isfinite(ul).all())
    exposure = ul if known else np.ones(len(sub))
    per_g = row["volume_ml"] * 1000.0 / (ul.sum() * row["cysts_g"]) if known else math.nan
    expected = full.sum() / exposure.sum() * exposure
    share = n.sum() / max(full.sum(), 1.0)
    chance = np.maximum(full * share * (1 - share), 0.25)
    df = len(sub) - 1
    counts = {
        "nauplii": float(n.sum()),
        "umbrella": float(u.sum()),
        "unhatched": float(c.sum()),
        "shells": float(s.sum()) if s.notna().any() else math.nan,
        "shell_opened": float((n + u)[s.notna()].sum()),
        "n_subsamples": len(sub),
        "full_cysts_per_g": float(full.sum() * per_g),
        "hatching_efficiency_per_g": float(n.sum() * per_g),
        "hatch_pct": float(100 * share),
    }
    figures, covariance = describe_hatch(counts, mixing_cv=mixing_cv)
    has_umbrella = bool(sub["umbrella"].notna().any())
    if not has_umbrella:
        figures[1] = math.nan
    return Look(
        kind=kind,
        figures=figures,
        covariance=covariance,
        counts=counts,
        hours=float(sub["hours"].mean()),
        counted_by=str(sub["counted_by"].iloc[0]),
        names=tuple(sub["sample"]),
        extra=np.diag((_EXTRA_SD[kind] * (0.5 if same_drops else 1.0)) ** 2),
        same_drops=same_drops,
        chi2=float(((full - expected) ** 2 / np.maximum(expected, 0.5)).sum()) if df else math.nan,
        share_chi2=float(((n - full * share) ** 2 / chance).sum()) if df else math.nan,
        df=df,
        has_umbrella=has_umbrella,
    )


def later_sentence(first: Look, later: Look) -> str:
    """Say what a reading a day or so later showed."""
    p, q = first.counts["hatch_pct"] / 100, later.counts["hatch_pct"] / 100
    se = 100 * math.sqrt(max(p * (1 - p), 0.01) / max(first.full, 1) + max(q * (1 - q), 0.01) / max(later.full, 1))
    gain = 100 * (q - p)
    shares = f"{100 * q:.0f} % at {later.hours:.0f} h, {100 * p:.0f} % at {first.hours:.0f} h"
    if gain > max(8.0, 2 * se):
        return f"{shares}: it hatched on, so the unhatched were late, not dead."
    if gain + 2 * se < 16.0 and later.hours - first.hours >= _LONG_H:
        return f"{shares}: hardly any hatched on, so the unhatched are not just late."
    return f"{shares}: not clear whether it hatched on."


def other_counts_sentences(looks: list[Look]) -> list[str]:
    """Say what a repeat and a recount gave beside the first counts."""
    first, sentences = looks[0], []
    for look in looks[1:]:
        if look.kind == "later":
            continue
        what = "drawn again" if look.kind == "repeat" else f"counted by a {look.counted_by}"
        a, b = look.counts["hatch_pct"], first.counts["hatch_pct"]
        text = f"{capital(what)}: {a:.0f} % where the first count gave {b:.0f} %"
        x, y = look.counts["hatching_efficiency_per_g"], first.counts["hatching_efficiency_per_g"]
        if math.isfinite(x) and y > 0:
            text += f"; nauplii per gram {signed(100 * (x / y - 1))} %"
        sentences.append(text + ".")
    return sentences
