"""A poor hatch explained: is it poor, is it the count, what do the stages say, what was different, what next."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from qckit.errors import InputError, unknown_name
from qckit.verdicts import poor_hatch_words as words
from qckit.verdicts.finding import Finding
from qckit.verdicts.poor_hatch_checks import choose_checks, outcomes_as_prior
from qckit.verdicts.poor_hatch_clues import find_clues, find_differences, worst_values
from qckit.verdicts.poor_hatch_context import describe_context
from qckit.verdicts.poor_hatch_effects import EFFECT_COLUMNS, site_effects
from qckit.verdicts.poor_hatch_level import Level, against_limits, judge_level, next_feed
from qckit.verdicts.poor_hatch_likelihood import Looks, Weights, stated, weigh_causes
from qckit.verdicts.poor_hatch_usual import Usual, describe_hatch, hatch_counts, usual_of_lot

__all__ = ["VERDICTS", "Case", "explain_hatch", "study_hatch"]

VERDICTS = ("not-poor", "chance", "cause-found", "cause-likely", "count-doubtful", "not-enough-evidence")
"""Codes of the verdict, see :func:`explain_hatch`."""

_RARE, _UNUSUAL = 0.01, 0.05  # ours: a hatch as low as this by chance is called poor, or low
_FOUND, _LIKELY = 0.85, 0.55  # ours, checked by the calibration
_COUNT_CAUSES = ("missed", "swapped", "uneven", "amount")
_SETTLED = 0.95  # beyond this one check is enough
_LEAST_COUNTED = 30


@dataclass(frozen=True)
class Case:
    """Everything worked out about one hatch, before it is put into words."""

    row: dict
    hatch: dict
    lot: dict
    usual: Usual
    levels: tuple[Level, Level]
    weights: Weights
    differences: pd.DataFrame
    effects: pd.DataFrame
    same_day: pd.DataFrame
    flags: tuple[str, ...] | None
    by_person: tuple[float, float] | None
    limits_sentence: str
    check_sentences: list[str]
    checks_done: tuple[str, ...]
    feed: dict
    context: pd.DataFrame
    test: pd.DataFrame
    recount: list[str] = field(default_factory=list)

    @property
    def p_low(self) -> float:
        """How often chance alone gives a hatch as low as this in percentage or per gram (two looks allowed for)."""
        seen = [level.p_low for level in self.levels if math.isfinite(level.p_low)]
        return min(1.0, len(seen) * min(seen)) if seen else math.nan


def explain_hatch(lots, hatches, samples, readings, *, hatch, settings, photos=None, objects=None, checks=None,
                  limits=None, now=None) -> Finding:  # fmt: skip
    """Explain a poor hatch, say how sure, and what to do before the next feed.

    Parameters
    ----------
    lots, hatches, samples, readings : DataFrame
        The tables of those names, the whole site's (what is usual is learnt from them).
    hatch : str
        The hatch to explain.
    settings : Settings
    photos : DataFrame, optional
        The photos table: its flags, and the frames behind samples with a chamber depth.
    objects : DataFrame, optional
        Not used to judge; kept so that callers can hand on all tables of the log.
    checks : DataFrame, optional
        The checks table; outcomes that begin with yes or no change the weights of their causes.
    limits : DataFrame, optional
        The baselines table with frozen limits; the lot's own earlier hatches stand in where there are none.
    now : str, optional
        Time of the report, ISO text; only hatches still running then count as busy cones.

    Returns
    -------
    Finding
        ``verdict`` is not-poor (chance alone often gives such a hatch), chance (low, but nothing more is needed to
        explain it), cause-found and cause-likely (stated probability at least 85 and 55 %), count-doubtful (the
        count, mass or volume is the likely cause) or not-enough-evidence.

    Raises
    ------
    InputError
        The hatch is unknown or has no counted subsample.
    """
    case = study_hatch(lots, hatches, samples, readings, hatch=hatch, settings=settings, photos=photos, checks=checks,
                       limits=limits, now=now)  # fmt: skip
    verdict, named = decide(case)
    ranked = case.weights.ranked()
    done = case.checks_done
    settled = verdict == "cause-found" and ranked[0][1] > _SETTLED
    plans = [] if verdict == "not-poor" else choose_checks(dict(ranked), most=1 if settled else 2, done=done)
    return words.put_into_words(case, verdict, named, plans, settings)


def study_hatch(lots, hatches, samples, readings, *, hatch, settings, photos=None, checks=None, limits=None,
                now=None, with_effects=True) -> Case:  # fmt: skip
    """Work out everything about one hatch; parameters as for :func:`explain_hatch`.

    Returns
    -------
    Case
    """
    hatch_row = _pick(hatches, hatch)
    if photos is not None and len(photos):
        from qckit.hatch import fill_volumes

        samples = fill_volumes(samples, photos)
    counts = hatch_counts(samples, hatches, reading_h=settings.conditions.reading_h)
    if hatch not in set(counts["hatch"]):
        raise InputError(
            f"hatch {hatch}: no subsample with nauplii and cysts counted. Count one, or import its field sheet, first."
        )
    row = counts[counts["hatch"] == hatch].iloc[0].to_dict()
    lot = next(iter(lots[lots["lot"] == row["lot"]].to_dict("records")), {"lot": row["lot"]})
    usual = _usual(counts, row)
    levels = (judge_level(counts, row, usual, "hatch_pct"), judge_level(counts, row, usual, "nauplii_per_g"))
    worst = worst_values(hatches, readings, counts.set_index("hatch")["hours"])
    effects = site_effects(counts, worst, leave_out=(hatch,)) if with_effects else pd.DataFrame(columns=EFFECT_COLUMNS)
    reference = usual.hatches if len(usual.hatches) >= 5 else counts.loc[counts["hatch"] != hatch, "hatch"].tail(40)
    differences = find_differences(worst, hatch=hatch, usual_hatches=reference, readings=readings,
                                   started=row["started"], conditions=settings.conditions, effects=effects)  # fmt: skip
    flags, recount = _photo_flags(samples, photos, hatch)
    by_person = _person_against_photo(samples, hatch)
    clues = find_clues(differences, hatch_row, flags=flags, by_person=by_person)
    same_day = _same_day(counts, row)
    factors, said = outcomes_as_prior(checks, hatch)
    beside = same_day[~same_day["hatch"].isin(usual.hatches)]
    weights = weigh_causes(_looks(row, usual), usual, clues, _siblings(counts, beside, row), factors)
    busy = _busy(hatches, counts, now, settings.conditions.reading_h)
    suspect = row["cone"] if weights.ranked()[0][0] in ("oxygen", "unwetted", "broken") else ""
    done = () if checks is None else tuple(checks.loc[(checks["hatch"] == hatch) & checks["outcome"].notna(), "check"])
    return Case(
        row, hatch_row, lot, usual, levels, weights, differences, effects, same_day, flags, by_person,
        against_limits(limits, row, row["lot"]), said, done,
        next_feed(row, same_day, levels[1], settings, busy_cones=busy, suspect_cone=suspect),
        describe_context(counts, hatches, lot, hatch=hatch), _test_of(counts, row), recount,
    )  # fmt: skip


def decide(case: Case) -> tuple[str, tuple[str, ...]]:
    """Return the verdict's code and the cause or causes it names."""
    w, ranked = case.weights, case.weights.ranked()
    counted = case.row["nauplii"] + case.row["umbrella"] + case.row["unhatched"]
    if not case.usual.n_hatches or counted < _LEAST_COUNTED:
        return "not-enough-evidence", ()
    if not case.p_low < _UNUSUAL:
        return "not-poor", ()
    if w.none >= 0.5 or (case.p_low >= _RARE and w.none >= 0.3):
        return "chance", ()
    top, p = ranked[0][0], stated(ranked[0][1])
    named, p_named = (top,), p
    if p < _LIKELY:
        named, p_named = _together(ranked)
    if p_named < _LIKELY:
        pair, p_pair = max(w.pairs.items(), key=lambda item: item[1])
        if p_pair < _LIKELY:
            return "not-enough-evidence", ()
        named, p_named = pair, p_pair
    if set(named) <= set(_COUNT_CAUSES):
        return "count-doubtful", named
    return ("cause-found" if p_named >= _FOUND and len(named) == 1 else "cause-likely"), named


def _together(ranked):
    """The first cause with those that leave the same trace, while they carry weight."""
    from qckit.verdicts.poor_hatch_causes import cause

    top, p = ranked[0]
    named, total = [top], p
    for code, weight in ranked[1:5]:
        if code in cause(top).same_trace and weight > 0.1:
            named.append(code)
            total += weight
    return tuple(named), min(total, 1.0)


def _pick(hatches, hatch):
    """The hatch's row, or an error that lists the nearest names."""
    found = hatches[hatches["hatch"] == hatch]
    if found.empty:
        recent = hatches.sort_values("started")["hatch"].tolist()[::-1]
        raise unknown_name("hatch", hatch, recent, where="hatches")
    row = found.iloc[0].to_dict()
    return {k: (None if v is pd.NA or (isinstance(v, float) and math.isnan(v)) else v) for k, v in row.items()}


def _usual(counts, row):
    """The lot's earlier hatches; where there are fewer than three, its other hatches of the same time or later too."""
    usual = usual_of_lot(counts, lot=row["lot"], before=row["started"], leave_out=(row["hatch"],))
    if usual.n_hatches >= 3:
        return usual
    wider = usual_of_lot(counts, lot=row["lot"], before="2262-01-01T00:00:00+00:00", leave_out=(row["hatch"],))
    if wider.n_hatches <= usual.n_hatches:
        return usual
    n = wider.n_hatches
    return replace(wider, note=f"{n} other hatch{'es' if n > 1 else ''} of this lot, the same day or later among them")


def _test_of(counts, row):
    """The lot's own standard test, without the hatch in question."""
    return counts[(counts["lot"] == row["lot"]) & (counts["purpose"] == "standard test")
                  & (counts["hatch"] != row["hatch"])]  # fmt: skip


def _looks(row, usual):
    figures, covariance = describe_hatch(row, mixing_cv=usual.mixing_cv)
    full = row["nauplii"] + row["umbrella"] + row["unhatched"]
    return Looks(figures, covariance, row["chi2"], int(row["df"]), full / row["n_subsamples"])


def _same_day(counts, row):
    """Other hatches started within twelve hours, whatever their lot."""
    from qckit.tables import to_utc

    away = (to_utc(counts["started"]) - pd.Timestamp(row["started"])).abs()
    near = (away <= pd.Timedelta(hours=12)) & (counts["hatch"] != row["hatch"])
    near &= (counts["hours"] - row["hours"]).abs() < 6
    return counts[near]


def _siblings(counts, same_day, row):
    """What the likelihood needs of the day's other hatches."""
    found = []
    for other in same_day.to_dict("records"):
        usual = usual_of_lot(counts, lot=other["lot"], before=row["started"], leave_out=(row["hatch"], other["hatch"]))
        if usual.n_hatches:
            found.append((_looks(other, usual), usual, other["lot"] == row["lot"]))
    return found[:3]


def _photo_flags(samples, photos, hatch):
    """Flags of the photos behind a hatch's photo counts (None without any photo count), and what to recount."""
    own = samples[(samples["hatch"] == hatch) & (samples["kind"] == "subsample")]
    by_photo = own[own["counted_by"] == "photo"]
    if by_photo.empty:
        return None, []
    flags, recount = [], []
    if photos is not None and len(photos):
        for p in photos[photos["sample"].isin(by_photo["sample"])].to_dict("records"):
            if isinstance(p["flags"], str) and p["flags"].strip():
                flags += [f.strip() for f in p["flags"].split(";") if f.strip()]
                recount.append(f"{p['photo']} ({p['flags']})")
    totals = (by_photo["nauplii"].astype(float) + by_photo["umbrella"].astype(float).fillna(0)
              + by_photo["cysts"].astype(float).fillna(0))  # fmt: skip
    if len(totals) > 2:
        middle = totals.median()
        for sample, total in zip(by_photo["sample"], totals, strict=True):
            if abs(total - middle) > 4 * math.sqrt(max(middle, 1.0)):
                recount.append(f"subsample {sample}: {total:.0f} full cysts where the others have about {middle:.0f}")
    return tuple(dict.fromkeys(flags)), recount


def _person_against_photo(samples, hatch):
    """z of photo against person for the share of nauplii and of shells in one hatch; None without both."""
    own = samples[(samples["hatch"] == hatch) & (samples["kind"] == "subsample") & samples["nauplii"].notna()]
    both = [own[own["counted_by"] == who] for who in ("photo", "person")]
    if any(part.empty for part in both):
        return None
    z = []
    for kind in ("nauplii", "shells"):
        part, whole = [], []
        for table in both:
            counted = table[table["shells"].notna()] if kind == "shells" else table
            total = sum(counted[c].astype(float).fillna(0).sum() for c in ("nauplii", "umbrella", "cysts"))
            part.append(counted[kind].astype(float).sum())
            whole.append(total + (part[-1] if kind == "shells" else 0.0))
        if min(whole) <= 0:
            z.append(0.0)
            continue
        p = sum(part) / sum(whole)
        se = math.sqrt(max(p * (1 - p), 1e-4) * sum(1 / w for w in whole))
        z.append((part[0] / whole[0] - part[1] / whole[1]) / se)
    return tuple(z)


def _busy(hatches, counts, now, reading_h):
    """Cones with a hatch that was started less than a reading's time ago and not yet counted."""
    if not now:
        return ()
    from qckit.tables import to_utc

    age = (pd.Timestamp(now) - to_utc(hatches["started"])).dt.total_seconds() / 3600.0
    running = (age >= 0) & (age < reading_h + 2) & ~hatches["hatch"].isin(counts["hatch"])
    return tuple(hatches.loc[running, "cone"].astype(str))


def _finite(value, other=np.nan):
    return value if value is not None and math.isfinite(value) else other
