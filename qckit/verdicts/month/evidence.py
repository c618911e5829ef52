"""A month's evidence: what was asked, what was seen and which way it points, each line with its code and values."""

from __future__ import annotations

import math
from dataclasses import asdict

from qckit.charts.series import CHARTED
from qckit.verdicts.finding import Evidence
from qckit.verdicts.lots.expected import expected_words
from qckit.verdicts.month.signals import open_signals
from qckit.verdicts.month.single_hatches_words import alone_sentence, apart_hatches, apart_sentence
from qckit.verdicts.month.words import (
    drift_of,
    far_off_of,
    is_changed,
    lot_sentence,
    shift_sentence,
    shift_values,
    size_words,
    unseen_sentence,
    where_words,
)
from qckit.words import day, decimals_known, number, small

__all__ = ["EVIDENCE_CODES", "collect_evidence"]

EVIDENCE_CODES = (
    *("shift", "no_shift", "past", "far_off", "alone", "apart"),
    *("control", "level", "drift", "minimum", "standing"),
)
"""What a line of evidence is about."""


def collect_evidence(study) -> list[Evidence]:
    """What was asked, what was seen, which way it points."""
    lines = [*_change_lines(study), *_far_off_lines(study), *_apart_lines(study)]
    for m in study.lots.values():
        lines += _lot_lines(study, m)
    if study.standing:
        values = {"differences": [asdict(d) for d in study.standing]}
        lines.append(
            Evidence("What differs, and always did?", _standing(study.standing), "neutral", "standing", values)
        )
    return lines


def _change_lines(study):
    """The changes that touch the month, or that there is none, and those of the last review that are gone."""
    order = study.settings.site.date_order
    lines = [
        Evidence(
            "What changed, and since when?",
            shift_sentence(s, order),
            "against" if s.is_open else "neutral",
            "shift",
            shift_values(s),
        )
        for s in study.shifts
    ]
    if not any(s.counts for s in study.shifts):
        is_any = any(s.is_of_meter or s.is_slight for s in study.shifts)
        what = "Nothing else" if is_any else "No group of hatches and no water"
        text = f"{what} moved beyond chance. {unseen_sentence(study)}".rstrip()
        values = {"could_go_unseen": [{"where": where, "points": points} for where, points in study.unseen]}
        lines.append(Evidence("What changed, and since when?", text, "for", "no_shift", values))
    for p in study.past:
        values = asdict(p) | {"first": p.first.isoformat()}
        lines.append(Evidence("What of the last review is gone?", _past_sentence(p, order), "neutral", "past", values))
    return lines


def _past_sentence(p, order) -> str:
    """A change of the review before that this month does not show."""
    if p.factor == "lot" and p.quantity == "hatch_pct":
        text = f"lot {p.level} hatches {size_words(p)} {'less' if p.effect < 0 else 'more'}"
    else:
        text = f"{where_words(p)}, {CHARTED[p.quantity].label} {size_words(p)} {'lower' if p.effect < 0 else 'higher'}"
        text += f" since {day(p.first.date(), order)}"
    return (
        f"The review of {p.found_in} told: {text}. This month shows nothing of it: it is over, or it was chance. "
        "In the log it stays open until somebody explains it."
    )


def _far_off_lines(study):
    """The readings that no limits of the water rest on, because they are far off the standard."""
    if not len(study.far_off):
        return []
    it = "it" if len(study.far_off) == 1 else "these"
    text = f"{far_off_of(study, study.far_off)}. No limits of the water rest on {it}.{_lone_words(study.far_off)}"
    values = {"readings": study.far_off[["hatch", "chart", "value", "standard", "is_lone"]].to_dict("records")}
    points = "against" if len(study.costly_water) else "neutral"
    return [Evidence("Which readings are far off your standard?", text, points, "far_off", values)]


def _lone_words(readings):
    """What is made of readings that stand alone, as sentence behind others; empty where none does."""
    n = int(readings["is_lone"].sum())
    if not n:
        return ""
    if n < len(readings):
        which = f"{n} of them stand{'s' if n == 1 else ''}"
    else:
        which = "It stands" if n == 1 else "Each stands"
    return f" {which} alone, which may be a slip of the meter or the sheet: no signal is made of that."


def _apart_lines(study):
    """Single hatches: those to be explained, and those that are not counted as usual."""
    lines = []
    alone = open_signals(study.signals)
    if len(alone):
        values = {"signals": alone[["hatch", "chart", "value"]].to_dict("records")}
        lines.append(Evidence("Which single hatches stand out?", alone_sentence(alone), "against", "alone", values))
    apart = apart_hatches(study)
    if apart:
        question, text = "Which hatches are not counted as usual?", apart_sentence(apart)
        lines.append(Evidence(question, text, "neutral", "apart", {"hatches": apart}))
    return lines


def _lot_lines(study, m):
    """One lot: its control, its level, its ageing and how often it will fall below the minimum."""
    state = "unknown" if m.is_in_control is None else "for" if m.is_in_control else "against"
    question = f"Does the percentage of a hatch of {m.lot} stand out?"
    lines = [Evidence(question, lot_sentence(m), state, "control", _control_values(m))]
    if m.level is not None:
        lines.append(_level_line(study, m))
    if m.chart.drift is not None and drift_of(study, m) is None:
        lines.append(_drift_line(m))
    c = m.capability
    values = {"lot": m.lot, "minimum": c.minimum, "share_pct": c.share_pct, "share_pct_low": c.share_pct_low}
    values |= {"share_pct_high": c.share_pct_high, "n_below": c.n_below, "n_hatches": c.n_hatches}
    question, text = f"How often will {m.lot} fall below the minimum?", f"{m.lot}: {small(c.sentence)}"
    return [*lines, Evidence(question, text, _capable(c), "minimum", values)]


def _control_values(m):
    names = ("lot", "n_hatches", "marks", "expected_marks", "signals", "is_in_control")
    return {name: getattr(m, name) for name in names}


def _level_line(study, m):
    """A lot against the world."""
    v, minimum = m.level, study.settings.limits.min_hatch_pct
    where = "Outside what changed, " if is_changed(study, m) else ""  # the month's mean, on the card, is another figure
    text = f"{where}{m.lot} hatches {v.now:.0f} % ({v.now_low:.0f} to {v.now_high:.0f} %)"
    text += f", {v.level:.0f} % before it aged" if abs(v.now - v.level) >= 1 else ""
    beside = []
    if v.before:
        word = "less" if v.drop > 0 else "more"
        ends = sorted((abs(v.drop_low), abs(v.drop_high)))
        sure = v.drop_low * v.drop_high > 0
        beside.append(
            f"{abs(v.drop):.0f} points {word} than {v.before} before it ({ends[0]:.0f} to {ends[1]:.0f})"
            if sure
            else f"as {v.before} before it"
        )
    beside.append(expected_words(v.prospect))
    side = "below" if v.now_high < minimum else "above" if v.now_low > minimum else "at"
    beside.append(f"{side} your minimum of {minimum:g} %")
    points = "against" if v.is_unusual or v.is_below_minimum else "for" if v.now_low > minimum else "neutral"
    names = ("lot", "level", "low", "high", "now", "now_low", "now_high", "before", "drop", "drop_low", "drop_high")
    values = {name: getattr(v, name) for name in names} | {"minimum": minimum, "expected_pct": v.prospect.pct}
    return Evidence(f"How good is {m.lot}?", f"{text}; {'; '.join(beside)}.", points, "level", values)


def _drift_line(m):
    """What a lot does with age, where no change says it."""
    drift = m.chart.drift
    values = {"lot": m.lot, "shape": drift.shape, "slope_pct_per_30_days": drift.slope_per_30d}
    values |= {"slope_low": drift.slope_low, "slope_high": drift.slope_high, "p_value": drift.p_value}
    points = "against" if drift.shape == "slope" and drift.slope_per_30d < 0 else "neutral"
    return Evidence(f"Does {m.lot} drift with age?", f"{m.lot}: {small(drift.sentence)}", points, "drift", values)


def _capable(c):
    if not math.isfinite(c.share_pct_low) or not math.isfinite(c.share_pct_high):
        return "unknown"
    return "against" if c.share_pct_low > 5 else ("for" if c.share_pct_high < 5 else "neutral")


def _standing(standing):
    differences = [
        f"{d.where} {number(abs(d.points), n)} points {'below' if d.points < 0 else 'above'} the others "
        f"({number(min(abs(d.low), abs(d.high)), n)} to {number(max(abs(d.low), abs(d.high)), n)})"
        for d in standing[:5]
        for n in [decimals_known(d.low, d.high)]
    ]
    return f"Standing differences, no change: {'; '.join(differences)}. Limits and searches allow for them."
