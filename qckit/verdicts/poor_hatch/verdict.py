"""A poor hatch explained: is it poor, is it the count, what do the stages say, what was different, what next."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from qckit.errors import InputError, unknown_name
from qckit.hatch.readings import standard_readings
from qckit.verdicts.finding import Finding
from qckit.verdicts.poor_hatch import words
from qckit.verdicts.poor_hatch.changes import describe_changes
from qckit.verdicts.poor_hatch.checks import choose_checks, outcomes_as_prior
from qckit.verdicts.poor_hatch.clues import find_clues, find_differences, worst_values
from qckit.verdicts.poor_hatch.context import describe_context
from qckit.verdicts.poor_hatch.count import check_count, person_against_photo, photo_flags
from qckit.verdicts.poor_hatch.effects import EFFECT_COLUMNS, site_effects
from qckit.verdicts.poor_hatch.feed import dose_by_other_lot, next_feed
from qckit.verdicts.poor_hatch.later import later_reading
from qckit.verdicts.poor_hatch.lengths import Lengths, compare_lengths, nauplius_lengths
from qckit.verdicts.poor_hatch.level import Level, against_limits, judge_level
from qckit.verdicts.poor_hatch.likelihood import Looks, Weighing, Weights, stated
from qckit.verdicts.poor_hatch.usual import Usual, counted_hatches, describe_hatch, usual_of_lot

__all__ = ["VERDICTS", "Case", "explain_hatch", "study_hatch"]

VERDICTS = ("not-poor", "chance", "cause-found", "cause-likely", "count-doubtful", "not-enough-evidence")
"""Codes of the verdict, see :func:`explain_hatch`."""

_RARE, _UNUSUAL = 0.01, 0.05  # ours: a hatch as low as this by chance is called poor, or low
_FOUND, _LIKELY = 0.85, 0.55  # ours, checked by the calibration
_COUNT_CAUSES = ("missed", "gradient", "swapped", "uneven", "amount")
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
    weighing: Weighing
    differences: pd.DataFrame
    effects: pd.DataFrame
    same_day: pd.DataFrame
    counted: pd.DataFrame  # the ways in which a count goes wrong, ruled out or not
    lengths: Lengths | None
    limits_sentence: str
    check_sentences: list[str]
    checks_done: tuple[str, ...]
    feed: dict
    context: pd.DataFrame
    test: pd.DataFrame
    other_lot: str  # a lot that does well, to hatch beside this one

    @property
    def recount(self) -> list[str]:
        """What to look at again, a line for each way of counting wrong that is not ruled out."""
        doubtful = self.counted[self.counted["look_again"] != ""]
        return [f"{r.check}: {r.look_again} ({r.seen})" for r in doubtful.itertuples()]

    @property
    def p_low(self) -> float:
        """How often chance alone gives a hatch as low as this in percentage or per gram (two looks allowed for)."""
        seen = [level.p_low for level in self.levels if math.isfinite(level.p_low)]
        return min(1.0, len(seen) * min(seen)) if seen else math.nan


def explain_hatch(
    lots,
    hatches,
    samples,
    readings,
    *,
    hatch,
    settings,
    photos=None,
    objects=None,
    checks=None,
    limits=None,
    now=None,
    scales=None,
    corrections=None,
) -> Finding:
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
        The objects table, of this hatch's photos and of those of the lot's earlier hatches: lengths of nauplii that
        are above the site's usual tell of a hatch that stood too long.
    checks : DataFrame, optional
        The checks table; outcomes that begin with yes or no change the weights of their causes.
    limits : DataFrame, optional
        The baselines table with frozen limits; the lot's own earlier hatches stand in where there are none.
    now : str, optional
        Time of the report, ISO text; only hatches still running then count as busy cones.
    scales, corrections : DataFrame, optional
        The tables of those names, for what changed shortly before.

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
    case = study_hatch(
        lots,
        hatches,
        samples,
        readings,
        hatch=hatch,
        settings=settings,
        photos=photos,
        objects=objects,
        checks=checks,
        limits=limits,
        now=now,
        scales=scales,
        corrections=corrections,
    )
    verdict, named = decide(case)
    ranked = case.weights.ranked()
    done = case.checks_done
    settled = verdict == "cause-found" and ranked[0][1] > _SETTLED
    most = 0 if verdict == "not-poor" or (settled and done) else 1 if settled or verdict == "chance" else 2
    plans = choose_checks(dict(ranked), most=most, done=done)
    return words.put_into_words(case, verdict, named, plans, settings)


def study_hatch(
    lots,
    hatches,
    samples,
    readings,
    *,
    hatch,
    settings,
    photos=None,
    objects=None,
    checks=None,
    limits=None,
    now=None,
    scales=None,
    corrections=None,
    with_effects=True,
) -> Case:
    """Work out everything about one hatch; parameters as for :func:`explain_hatch`.

    Returns
    -------
    Case
    """
    hatch_row = _pick(hatches, hatch)
    if photos is not None and len(photos):
        from qckit.hatch import fill_volumes

        samples = fill_volumes(samples, photos)
    counts = counted_hatches(samples, hatches, reading_h=settings.conditions.reading_h)
    if hatch not in set(counts["hatch"]):
        raise InputError(
            f"hatch {hatch}: no subsample with nauplii and cysts counted. Count one, or import its field sheet, first."
        )
    row = counts[counts["hatch"] == hatch].iloc[0].to_dict()
    lot = next(iter(lots[lots["lot"] == row["lot"]].to_dict("records")), {"lot": row["lot"]})
    usual = _usual(counts, row)
    levels = (
        judge_level(counts, row, usual, "hatch_pct"),
        judge_level(counts, row, usual, "hatching_efficiency_per_g"),
    )
    readings = standard_readings(readings, hatches)
    worst = worst_values(hatches, readings, counts.set_index("hatch")["hours"])
    effects = pd.DataFrame(columns=EFFECT_COLUMNS)
    if with_effects:
        effects = site_effects(counts, worst, leave_out=(hatch,), lot=row["lot"])
    reference = usual.hatches if len(usual.hatches) >= 5 else counts.loc[counts["hatch"] != hatch, "hatch"].tail(40)
    differences = find_differences(
        worst,
        hatch=hatch,
        usual_hatches=reference,
        readings=readings,
        started=row["started"],
        conditions=settings.conditions,
        max_g_per_l=settings.feed.max_g_per_l,
        effects=effects,
        usual_share=usual.mix[0] if usual.n_hatches else 0.85,
    )
    by_person = person_against_photo(samples, hatch)
    counted = check_count(row, usual, samples, photos, by_person=by_person)
    measured = nauplius_lengths(samples, photos, objects, hours=counts.set_index("hatch")["hours"])
    lengths = compare_lengths(measured, hatch, usual.hatches)
    clues = find_clues(
        differences, hatch_row, flags=photo_flags(samples, photos, hatch), by_person=by_person, lengths=lengths
    )
    same_day = _with_usual(counts, _same_day(counts, row), row)
    factors, said = outcomes_as_prior(checks, hatch)
    again, seen_later = later_reading(samples, row)
    said += [f"Read again: {seen_later}"] if seen_later else []
    beside = same_day[~same_day["hatch"].isin(usual.hatches)]
    weighing = Weighing(_looks(row, usual), usual, clues, tuple(_siblings(counts, beside, row)), again, factors)
    weights = weighing.weights()
    busy = _busy(hatches, counts, now, settings.conditions.reading_h)
    first = weights.ranked()[0][0]
    suspect = row["cone"] if first in ("oxygen", "unwetted", "broken") else ""
    other_lot = dose_by_other_lot(counts, row)
    # a lot that fails is not dosed by its old figures: another lot, or else by what this hatch gave
    instead = other_lot or (row["lot"], levels[1].value, levels[1].low)
    by_lot = instead if first in ("embryos", "empty") else None
    done = () if checks is None else tuple(checks.loc[(checks["hatch"] == hatch) & checks["outcome"].notna(), "check"])
    return Case(
        row,
        hatch_row,
        lot,
        usual,
        levels,
        weights,
        weighing,
        differences,
        effects,
        same_day,
        counted,
        lengths,
        against_limits(limits, row, row["lot"]),
        said,
        done,
        next_feed(row, same_day, levels[1], settings, busy_cones=busy, suspect_cone=suspect, by_lot=by_lot, now=now),
        describe_context(
            counts,
            hatches,
            lot,
            hatch=hatch,
            effects=effects,
            changes=describe_changes(lots, hatches, samples, hatch=hatch, scales=scales, corrections=corrections),
        ),
        _test_of(counts, row),
        other_lot[0] if other_lot else "",
    )


def decide(case: Case) -> tuple[str, tuple[str, ...]]:
    """Return the verdict's code and the cause or causes it names."""
    w, ranked = case.weights, case.weights.ranked()
    counted = case.row["nauplii"] + case.row["umbrella"] + case.row["unhatched"]
    if not case.usual.n_hatches or counted < _LEAST_COUNTED:
        return "not-enough-evidence", ()
    if not case.p_low < _UNUSUAL:
        return "not-poor", ()
    if w.other >= 0.5:
        return "not-enough-evidence", ()
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
    from qckit.verdicts.poor_hatch.causes import cause

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
    return counts[
        (counts["lot"] == row["lot"]) & (counts["purpose"] == "standard test") & (counts["hatch"] != row["hatch"])
    ]


def _looks(row, usual):
    figures, covariance = describe_hatch(row, mixing_cv=usual.mixing_cv)
    full = row["nauplii"] + row["umbrella"] + row["unhatched"]
    return Looks(
        figures,
        covariance,
        row["chi2"],
        int(row["df"]),
        full / row["n_subsamples"],
        row["share_chi2"],
        row["nauplii"] / max(full, 1.0),
    )


def _same_day(counts, row):
    """Other hatches started within twelve hours, whatever their lot."""
    from qckit.tables import to_utc

    away = (to_utc(counts["started"]) - pd.Timestamp(row["started"])).abs()
    near = (away <= pd.Timedelta(hours=12)) & (counts["hatch"] != row["hatch"])
    near &= (counts["hours"] - row["hours"]).abs() < 6
    return counts[near]


def _with_usual(counts, same_day, row):
    """The day's other hatches, each with what is usual for its lot and how often chance gives one as low."""
    usual_pct, p_low = [], []
    for other in same_day.to_dict("records"):
        usual = usual_of_lot(counts, lot=other["lot"], before=row["started"], leave_out=(row["hatch"], other["hatch"]))
        level = judge_level(counts, other, usual, "hatch_pct")
        usual_pct.append(level.usual)
        p_low.append(level.p_low)
    return same_day.assign(usual_pct=np.array(usual_pct, dtype=float), p_low=np.array(p_low, dtype=float))


def _siblings(counts, same_day, row):
    """What the likelihood needs of the day's other hatches."""
    found = []
    for other in same_day.to_dict("records"):
        usual = usual_of_lot(counts, lot=other["lot"], before=row["started"], leave_out=(row["hatch"], other["hatch"]))
        if usual.n_hatches:
            found.append((_looks(other, usual), usual, other["lot"] == row["lot"]))
    return found[:3]


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
