"""Everything worked out about one hatch before it is judged: its looks, its lot, what was different, every weight."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd

from qckit.columns import is_missing
from qckit.errors import InputError, unknown_name
from qckit.hatch import joined_subsamples, recovery_of
from qckit.hatch.dose.supply import supply_beside
from qckit.hatch.water.readings import standard_readings
from qckit.site_tables import SiteTables
from qckit.tables import to_utc
from qckit.verdicts.lots.level import Level, against_limits, judge_level, with_intervals
from qckit.verdicts.lots.standing import Standing, standing_levels
from qckit.verdicts.lots.usual import Usual, counted_hatches, usual_of_hatch, usual_of_lot
from qckit.verdicts.poor_hatch.causes import CAUSES, cause, sampling_causes
from qckit.verdicts.poor_hatch.checks import Answer, answers_of, weigh_answer
from qckit.verdicts.poor_hatch.conditions.changes import changes_of_the_month, describe_changes
from qckit.verdicts.poor_hatch.conditions.context import CONTEXT_COLUMNS, describe_context
from qckit.verdicts.poor_hatch.conditions.decapsulated import Decapsulated, whether_decapsulated
from qckit.verdicts.poor_hatch.conditions.differences import DIFFERENCE_COLUMNS, find_differences, worst_values
from qckit.verdicts.poor_hatch.conditions.effects import EFFECT_COLUMNS, site_effects
from qckit.verdicts.poor_hatch.count import check_count, photo_flags
from qckit.verdicts.poor_hatch.feed import another_lot, next_feed
from qckit.verdicts.poor_hatch.likelihood.beside import (
    WITHIN_H,
    BesideReading,
    hatches_beside,
    phrases_beside,
    ratios_beside,
)
from qckit.verdicts.poor_hatch.likelihood.joint import Given, trace_fits, weigh
from qckit.verdicts.poor_hatch.likelihood.lengths import Lengths, compare_lengths, nauplius_lengths
from qckit.verdicts.poor_hatch.likelihood.lot import World, lot_against_world
from qckit.verdicts.poor_hatch.likelihood.notes import Phrase, read_sheet
from qckit.verdicts.poor_hatch.likelihood.readings import (
    Remeasured,
    log_ratio,
    records_of,
    remeasured_ratio,
    usual_readings,
)
from qckit.verdicts.poor_hatch.likelihood.sheet_factors import sheet_factors
from qckit.verdicts.poor_hatch.likelihood.stage_mix import draws_of
from qckit.verdicts.poor_hatch.likelihood.weights import Weights
from qckit.verdicts.poor_hatch.looks import Look, looks_at, with_known_gaps

__all__ = ["Case", "counts_with", "study_hatch"]

_LEVELS = ("hatch_pct", "hatching_efficiency_per_g")


@dataclass(frozen=True, kw_only=True)
class Case:
    """Everything worked out about one hatch, before it is put into words."""

    row: dict
    hatch: dict
    lot: dict
    looks: list[Look]
    usual: Usual  # of the lot, in no cone and by no operator in particular
    standing: Standing  # cones and operators that differ for good
    world: World
    levels: tuple[Level, ...]
    given: Given
    weights: Weights
    phrases: list[Phrase]  # what the sheet says
    remeasured: list[Remeasured]
    read_beside: list[BesideReading]  # readings at other cones that speak for a cause here
    answers: list[Answer]
    same_day: pd.DataFrame
    lengths: Lengths | None
    counted: pd.DataFrame  # the ways in which a count goes wrong, ruled out or not
    other_lot: str  # a lot that does well, to hatch beside this one
    decapsulated: Decapsulated
    # what is only shown, not weighed
    differences: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(DIFFERENCE_COLUMNS)))
    effects: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(EFFECT_COLUMNS)))
    context: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(CONTEXT_COLUMNS)))
    test: pd.DataFrame = field(default_factory=pd.DataFrame)
    month_found: list[dict] = field(default_factory=list)  # open changes of the month's reviews that touch this hatch
    limits: dict = field(default_factory=dict)  # against the frozen control limits
    feed: dict = field(default_factory=dict)

    @property
    def recount(self) -> list[str]:
        """What to look at again, a line for each way of counting wrong that is not ruled out."""
        doubtful = self.counted[self.counted["look_again"] != ""]
        return [f"{r.check}: {r.look_again} ({r.seen})" for r in doubtful.itertuples()]

    @property
    def p_low(self) -> float:
        """How often chance alone gives a hatch as low as this in percentage or per gram (two looks allowed for)."""
        chances = [level.p_low for level in self.levels if math.isfinite(level.p_low)]
        return min(1.0, len(chances) * min(chances)) if chances else math.nan

    @cached_property
    def trace_fits(self) -> dict[str, float]:
        """How well each trace alone fits the first look (log likelihood)."""
        return trace_fits(self.given)

    def look(self, kind: str) -> Look | None:
        """Return the look of a kind (first, repeat, recount, later); None where there is none."""
        return next((look for look in self.looks if look.kind == kind), None)


def study_hatch(
    tables: SiteTables, *, hatch: str, objects=None, now: str = "", for_page: bool = True, counts=None
) -> Case:
    """Work out everything about one hatch.

    Parameters
    ----------
    tables : SiteTables
        The whole site's: what is usual is learnt from them.
    hatch : str
        The hatch to explain.
    objects : DataFrame, optional
        The objects table, for the lengths of nauplii.
    now : str
        Time of the question, ISO 8601; empty where none is known.
    for_page : bool
        Work out too what is only shown, not weighed: what was different, what it cost, what stood around, the feed.
    counts : DataFrame, optional
        ``counted_hatches`` of the same tables, where they were worked out already.

    Returns
    -------
    Case

    Raises
    ------
    InputError
        The hatch is unknown or has no counted subsample.
    """
    hatch_row = _pick(tables.hatches, hatch)
    t = tables.but(readings=standard_readings(tables.readings, tables.hatches))
    counts = counts_with(t, hatch, counts)
    row = counts[counts["hatch"] == hatch].iloc[0].to_dict()
    lot = next(iter(t.lots[t.lots["lot"] == row["lot"]].to_dict("records")), {"lot": row["lot"]})
    day = _same_day(counts, row)
    standing = standing_levels(counts, before=row["started"], also=(hatch, *day["hatch"]))
    usual = usual_of_hatch(counts, row, standing)
    usual_here = _where(usual, standing, hatch)
    sub, kind = joined_subsamples(t.samples, t.hatches, t.lots, t.photos), _usual_kind(counts, row)
    looks = looks_at(sub, row, mixing_cv=usual.mixing_cv, kind=kind)
    looks = with_known_gaps(looks, sub, counts, standing=standing, kind=kind)
    hours = counts.set_index("hatch")["hours"]
    lengths = compare_lengths(nauplius_lengths(t.samples, t.photos, objects, hours=hours), hatch, usual.hatches)
    near = hatches_beside(t.hatches, hatch_row)
    phrases = _phrases(t.hatches, hatch_row, lot, near)
    world = lot_against_world(counts, t.lots, row, usual)
    same_day = _with_usual(counts, day, row, standing)
    beside = same_day[~same_day["hatch"].isin(usual.hatches)]
    flags = photo_flags(t.samples, t.photos, hatch)
    factors = sheet_factors(t, hatch_row, phrases=phrases, first=looks[0], flags=flags, lengths=lengths)
    factors["embryos"] *= world.age_factor
    ratios, remeasured, read_beside = _ratios(t, hatch_row, _reference(counts, row, usual), hours, near)
    given = Given(
        looks=looks,
        usual=usual_here,
        world=world,
        ratios=ratios,
        factors=factors,
        siblings=tuple(_siblings(sub, kind, counts=counts, same_day=beside, row=row, standing=standing)),
        standing=standing.of(hatch),
    )
    answers = answers_of(t.checks, hatch)
    case = Case(
        row=row,
        hatch=hatch_row,
        lot=lot,
        looks=looks,
        usual=usual,
        standing=standing,
        world=world,
        levels=tuple(judge_level(counts, row, usual, name, standing=standing) for name in _LEVELS),
        given=given,
        weights=_weigh_all(given, answers),
        phrases=phrases,
        remeasured=remeasured,
        read_beside=read_beside,
        answers=answers,
        same_day=same_day,
        lengths=lengths,
        counted=check_count(row, usual_here, sub, t.photos, looks=looks),
        other_lot=another_lot(counts, row),
        decapsulated=whether_decapsulated(t.hatches, hatch_row, t.settings.protocol.decapsulated),
    )
    return _with_what_is_shown(case, t, counts, hours, now) if for_page else case


def _phrases(hatches, hatch_row, lot, near):
    """What the hatch's sheet, its lot's and those of hatches beside it say that other sheets do not."""
    others = hatches.loc[hatches["hatch"] != hatch_row["hatch"], "notes"].dropna().astype(str)
    others = [text for text in others if text]
    phrases = read_sheet(hatch_row, lot, others)
    return phrases + phrases_beside(near, phrases, others)


def _weigh_all(given, answers):
    """Weights of the causes by all that was recorded, and by what was looked at since."""
    weights = weigh(given)
    for a in answers:
        if a.is_yes is not None:
            weights = weigh_answer(weights, a.code, a.is_yes, a.causes)
    return weights


def counts_with(t, hatch, counts=None):
    """``counted_hatches`` of the site, worked out where they are not given; an error where the hatch is not counted."""
    if counts is None:
        reading_h = t.settings.conditions.reading_h
        counts = counted_hatches(t.samples, t.hatches, t.lots, photos=t.photos, reading_h=reading_h)
    if hatch not in set(counts["hatch"]):
        raise InputError(
            f"the site's log: hatch {hatch} has no subsample with nauplii and unhatched cysts counted, so there is "
            "nothing to explain yet. Count one with  qckit today --enter , or import the samples sheet with  qckit log "
            "import"
        )
    return counts


def _with_what_is_shown(case, t, counts, hours, now) -> Case:
    """Add what is only shown, not weighed: what was different and what it cost, what stood around, the next feed."""
    row, hatch, first = case.row, str(case.row["hatch"]), cause(case.weights.ranked()[0][0])
    differences, effects = _shown(t, counts, row, case.usual, hours)
    changes = describe_changes(t.lots, t.hatches, t.samples, hatch=hatch, scales=t.scales, corrections=t.corrections)
    stands, levels = (case.standing, case.usual.mean), with_intervals(case.levels, t, hatch)
    context = describe_context(counts, case.lot, hatch=hatch, effects=effects, changes=changes, standing=stands)
    kept_out = _busy(t.hatches, counts, now, t.settings.conditions.reading_h)
    kept_out = (*kept_out, *((str(row["cone"]),) if first.code in ("oxygen", "unwetted", "broken") else ()))
    feed = next_feed(
        row,
        _trusted(levels[1], case.looks, first),
        t,
        supply=_supply(t, counts, row, now),
        lot=case.other_lot or row["lot"] if first.of_lot else row["lot"],
        recovery=_recovery(t, counts, hatch),
        kept_out=kept_out,
        now=now,
    )
    return replace(
        case,
        levels=levels,
        differences=differences,
        effects=effects,
        context=context,
        feed=feed,
        limits=against_limits(t.baselines, row, row["lot"]),
        month_found=changes_of_the_month(t.changes, row),
        test=_test_of(counts, row),
    )


def _supply(t, counts, row, now):
    """What else there is to feed at the time of the question; where none is given, when this hatch was ready."""
    ready = pd.Timestamp(row["started"]) + pd.Timedelta(hours=t.settings.protocol.incubation_h)
    zone, moment = t.settings.site.timezone, pd.Timestamp(now) if now else ready
    moment = (moment if moment.tzinfo else moment.tz_localize(zone)).tz_convert(zone).to_pydatetime()
    share = recovery_of(t.samples, counts, t.settings).pct / 100
    return supply_beside(t, str(row["hatch"]), now=moment, counts=counts, recovery=share)


def _recovery(t, counts, hatch):
    """What a harvest brings in here; of a hatch whose own harvest was counted, that."""
    found = recovery_of(t.samples, counts, t.settings)
    of_hatch = found.by_hatch[found.by_hatch["hatch"] == hatch]
    share = float(of_hatch["recovery_pct"].iloc[-1]) if len(of_hatch) else 0.0
    return replace(found, basis="counted", pct=share, n_harvests=1) if share > 0 else found


def _trusted(level, looks, first):
    """Nauplii per gram to feed by: a second drawing's where the first was not like the cone."""
    repeat = next((look for look in looks if look.kind == "repeat"), None)
    if repeat is None or first.code not in sampling_causes():
        return level
    value = repeat.counts["hatching_efficiency_per_g"]
    return replace(level, value=value, low=value * level.low / level.value, high=value * level.high / level.value)


def _shown(t, counts, row, usual, hours):
    """What was different, and what each condition has been worth here: for the page, not for the weights."""
    worst = worst_values(t.hatches, t.readings, hours)
    effects = site_effects(counts, worst, leave_out=(row["hatch"],), lot=row["lot"])
    differences = find_differences(
        worst,
        hatch=row["hatch"],
        usual_hatches=_reference(counts, row, usual),
        readings=t.readings,
        started=row["started"],
        settings=t.settings,
        effects=effects,
        usual_share=usual.mix[0] if usual.n_hatches else 0.85,
    )
    return differences, effects


def _reference(counts, row, usual):
    """Hatches whose conditions stand for what is usual: the lot's own, or else the site's last forty."""
    return usual.hatches if len(usual.hatches) >= 5 else counts.loc[counts["hatch"] != row["hatch"], "hatch"].tail(40)


def _ratios(t, hatch_row, reference, hours, near):
    """Log likelihood ratios of the readings, for every draw of every cause; what was measured again, or beside it."""
    records = records_of(hatch_row, t.readings, hours=float(hours[hatch_row["hatch"]]))
    ordinary = usual_readings(t.hatches, t.readings, hours, among=reference, conditions=t.settings.conditions)
    ratios, again = {}, []
    for c in CAUSES:
        loss = draws_of(c).loss
        if c.code == "amount":
            ratios[c.code], again = remeasured_ratio(loss, hatch_row, t.readings)
        else:
            ratios[c.code] = log_ratio(c, loss, records, ordinary)
    read_here, losses = {r.quantity for r in records}, {c.code: draws_of(c).loss for c in CAUSES}
    beside, read_beside = ratios_beside(near, t.readings, ordinary, losses, read_here)
    for code, more in beside.items():
        ratios[code] = ratios[code] | more
    return ratios, again, read_beside


def _usual_kind(counts, row):
    """How this site mostly counts: photo or person."""
    kinds = counts.loc[counts["hatch"] != row["hatch"], "counted_by"]
    kinds = kinds[kinds.isin(["photo", "person"])]
    return str(kinds.mode().iloc[0]) if len(kinds) else "photo"


def _pick(hatches, hatch):
    """The hatch's row, or an error that lists the nearest names."""
    found = hatches[hatches["hatch"] == hatch]
    if found.empty:
        recent = hatches.sort_values("started")["hatch"].tolist()[::-1]
        raise unknown_name("hatch", hatch, recent, where="hatches")
    row = found.iloc[0].to_dict()
    return {k: (None if is_missing(v) else v) for k, v in row.items()}


def _where(usual, standing, hatch):
    """What is usual in a hatch's own cone and by its own operator."""
    between = usual.between + np.diag(standing.variance(hatch))
    return replace(usual, mean=usual.mean + standing.of(hatch), between=between)


def _test_of(counts, row):
    """The lot's own standard test, without the hatch in question."""
    return counts[
        (counts["lot"] == row["lot"]) & (counts["purpose"] == "standard test") & (counts["hatch"] != row["hatch"])
    ]


def _same_day(counts, row):
    """Other hatches started within twelve hours, whatever their lot."""
    away = (to_utc(counts["started"]) - pd.Timestamp(row["started"])).abs()
    near = (away <= pd.Timedelta(hours=WITHIN_H)) & (counts["hatch"] != row["hatch"])
    near &= (counts["hours"] - row["hours"]).abs() < 6
    return counts[near]


def _with_usual(counts, same_day, row, standing):
    """The day's other hatches, each with what is usual for its lot and how often chance gives one as low."""
    usual_pct, p_low = [], []
    for other in same_day.to_dict("records"):
        usual = _usual_beside(counts, other, row, standing)
        level = judge_level(counts, other, usual, "hatch_pct", standing=standing)
        usual_pct.append(level.usual)
        p_low.append(level.p_low)
    return same_day.assign(usual_pct=np.array(usual_pct, dtype=float), p_low=np.array(p_low, dtype=float))


def _usual_beside(counts, other, row, standing):
    """What is usual for the lot of another hatch of the day."""
    left_out = (row["hatch"], other["hatch"])
    return usual_of_lot(counts, lot=other["lot"], before=row["started"], leave_out=left_out, standing=standing)


def _siblings(sub, kind, counts, same_day, row, standing):
    """What the likelihood needs of the day's other hatches."""
    found = []
    for other in same_day.head(3).to_dict("records"):
        usual = _where(_usual_beside(counts, other, row, standing), standing, other["hatch"])
        if usual.n_hatches:
            look = looks_at(sub, other, mixing_cv=usual.mixing_cv, kind=kind)[0]
            found.append((look, usual, other["lot"] == row["lot"], float(row["cysts_g"] / other["cysts_g"])))
    return found


def _busy(hatches, counts, now, reading_h):
    """Cones with a hatch that was started less than a reading's time ago and not yet counted."""
    if not now:
        return ()
    age = (pd.Timestamp(now) - to_utc(hatches["started"])).dt.total_seconds() / 3600.0
    running = (age >= 0) & (age < reading_h + 2) & ~hatches["hatch"].isin(counts["hatch"])
    return tuple(hatches.loc[running, "cone"].astype(str))
