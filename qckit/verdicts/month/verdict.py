"""The month's verdict: in control or not, what changed, since when, what goes with it, and what to do."""

from __future__ import annotations

import math
from dataclasses import asdict

from qckit.charts.series import CONDITIONS
from qckit.hatch.dose.plan import risk_words
from qckit.hatch.dose.weighing import decimals_of
from qckit.site_tables import SiteTables
from qckit.verdicts.finding import Figure, Finding
from qckit.verdicts.month import next_steps, words
from qckit.verdicts.month.evidence import collect_evidence
from qckit.verdicts.month.false_alarms import PAGE_RATE, SHARES
from qckit.verdicts.month.signals import open_signals
from qckit.verdicts.month.study import MonthStudy, study_month
from qckit.words import decimals_known, figures, plural, rounded

__all__ = ["VERDICTS", "finding_of_month", "main_lot", "needs_attention", "review_month"]

VERDICTS = {
    "in-control": ("In control", "good"),
    "signals": ("Signals to explain", "attention"),
    "out-of-control": ("Out of control", "bad"),
    "not-enough-evidence": ("Not enough evidence", "unknown"),
}
"""Verdict code -> its words and the tone of the first screen."""
_BELOW = ("Steady, but below the minimum", "attention")
_FAR_OFF = ("Steady, but water far off the standard", "attention")


def review_month(tables: SiteTables, *, month, lot="", now="") -> Finding:
    """Review a month of hatches.

    Parameters
    ----------
    tables, month, lot, now
        As for :func:`qckit.verdicts.month.study.study_month`.

    Returns
    -------
    Finding
        ``verdict`` is ``out-of-control`` (a group of hatches, or a lot, changed and nobody has explained it),
        ``signals`` (single hatches or the water stand out and are to be explained), ``in-control`` (neither, or all of
        it is explained) or ``not-enough-evidence`` (no limits yet). Where nothing changed it is anything but
        ``in-control`` in at most :data:`qckit.verdicts.month.false_alarms.PAGE_RATE` of months.

    Raises
    ------
    InputError
        The month is misspelt, the lot is unknown, or no hatch was started in the month.
    """
    return finding_of_month(study_month(tables, month=month, lot=lot, now=now))


def main_lot(study: MonthStudy) -> str:
    """Return the lot with the most hatches in the month (the later one at a tie)."""
    return max(study.lots.values(), key=lambda m: (m.n_hatches, m.lot)).lot


def finding_of_month(study: MonthStudy) -> Finding:
    """Turn a month's study into its finding."""
    code = _verdict(study)
    label, tone = VERDICTS[code]
    if code == "in-control" and words.below_minimum(study):
        label, tone = _BELOW
    elif code == "in-control" and len(study.costly_water):
        label, tone = _FAR_OFF
    subject = study.month + (f" {study.lot}" if study.lot else "")
    return Finding(
        kind="month",
        subject=subject,
        verdict=code,
        headline=words.headline(study, code),
        figures=_figures(study),
        next_steps=next_steps.next_steps(study, code),
        evidence=collect_evidence(study),
        would_change=next_steps.would_change(study, code),
        cautions=words.cautions(study),
        left_out=study.left_out,
        details={
            "tone": tone,
            "verdict_words": label,
            "confidence": study.settings.limits.confidence,
            **_details(study),
        },
    )


def _verdict(study):
    open_shifts = [s for s in study.shifts if s.is_open]
    if any(s.quantity not in CONDITIONS for s in open_shifts):
        return "out-of-control"
    if open_shifts or len(open_signals(study.signals)):
        return "signals"
    judged = any(m.is_in_control is not None for m in study.lots.values())
    return "in-control" if judged else "not-enough-evidence"


def needs_attention(study: MonthStudy) -> bool:
    """Say whether anything is left to explain: a verdict that is not good."""
    return _verdict(study) in ("out-of-control", "signals")


def _figures(study):
    name = main_lot(study)
    m = study.lots[name]
    figures = [
        Figure(
            "hatch_pct",
            f"hatching percentage, {name}",
            value=100 * m.hatch_pct.value,
            low=100 * m.hatch_pct.low,
            high=100 * m.hatch_pct.high,
            unit="%",
            decimals=decimals_known(100 * m.hatch_pct.low, 100 * m.hatch_pct.high),
            note=_mean_of(m.hatch_pct, m),
        ),
        Figure(
            "nauplii_per_g",
            f"nauplii per gram, {name}",
            *(rounded(v) for v in (m.efficiency.value, m.efficiency.low, m.efficiency.high)),
            unit="nauplii/g",
            decimals=0,
            note=_mean_of(m.efficiency, m),
        ),
        Figure(
            "share_below_minimum",
            f"hatches expected below {m.capability.minimum:g} %, {name}",
            value=m.capability.share_pct,
            low=m.capability.share_pct_low,
            high=m.capability.share_pct_high,
            unit="%",
            decimals=decimals_known(m.capability.share_pct_low, m.capability.share_pct_high),
            note="" if math.isfinite(m.capability.share_pct) else "too few hatches",
        ),
        _lost(study),
    ]
    if m.dose is not None:
        figures.append(
            Figure(
                "dose_g",
                f"dose for one feed, {name}",
                m.dose.grams_weighed,
                unit="g",
                decimals=decimals_of(m.dose.balance_step_g),
                note=f"{risk_words(m.dose.risk)} falls short; rests on {m.dose.rests_on}",
            )
        )
    return figures


def _lost(study):
    """What was lost to what changed: in days of feed or, where nothing is fed, in nauplii."""
    if study.settings.protocol.is_fed:
        unit, risk = "days of feed", f"{study.feed_days_at_risk:.1f} days of feed"
        name, label, value = "feed_days_lost", "feed lost to what changed", study.feed_days_lost
        note = f"{figures(study.feed_lost)} nauplii short of the lots' own levels"
    else:
        unit, risk = "million", f"{study.feed_at_risk / 1e6:.1f} million"
        name, label, value = "nauplii_lost_million", "nauplii lost to what changed", study.feed_lost / 1e6
        note = "harvested nauplii short of the lots' own levels"
    if study.feed_at_risk > 0:
        note += f"; {risk} at risk in the next 30 days if it goes on"
    return Figure(name, label, value, unit=unit, decimals=1, note=note)


def _mean_of(estimate, m):
    """Say how many hatches stand behind a mean: a hatch without the counts for it has no part in it."""
    n, every = estimate.n_cones, plural(m.n_hatches, "hatch")
    if not n:
        return f"none of {every} has a usable count"
    note = f"mean of {every}" if n == m.n_hatches else f"mean of {n} of {every} (the others have no usable count)"
    return note + ("" if estimate.is_known else ": too few for an interval")


def _judged_points(chart, first):
    """Points of the month that a chart judged, and how many of them chance alone would mark."""
    n = chart.n_judged(first) if chart.run is not None else 0
    return {
        "chart": chart.name,
        "lot": chart.lot,
        "n_points": n,
        "signals_expected": n * chart.run.marked if n else 0.0,
    }


def _details(study):
    return {
        "month": study.month,
        "period": {"first": study.first.isoformat(), "last": study.last.isoformat()},
        "charts": [_judged_points(c, study.first) for c in (*study.charts.values(), *study.conditions.values())],
        "needs_attention": needs_attention(study),
        "set_aside": study.aside.to_dict("records"),
        "far_off": [{**row, "at": row["at"].isoformat()} for row in study.far_off.to_dict("records")],
        "apart": study.apart,
        "impossible": [asdict(one) for one in study.impossible],
        "doubted": list(study.doubted),
        "lots": [
            {
                "lot": m.lot,
                "n_hatches": m.n_hatches,
                "in_control": m.is_in_control,
                "signals": m.signals,
                "marks": m.marks,
                "marks_expected_by_chance": m.expected_marks,
                "level": _level(m.level),
                "hatch_pct": 100 * m.hatch_pct.value,
                "nauplii_per_g": m.efficiency.value,
                "baseline": m.chart.baseline_words,
                "drift": m.chart.drift.sentence if m.chart.drift else "",
                "slope_pct_per_30_days": words.slope_of(study, m),
                "dose_g": m.dose.grams_weighed if m.dose else math.nan,
                "cost_per_million": m.cost_per_million,
            }
            for m in study.lots.values()
        ],
        "shifts": [_shift(s) for s in study.shifts],
        "standing": [asdict(d) for d in study.standing],
        "could_go_unseen": [{"where": where, "points": points} for where, points in study.unseen],
        "page_rate": PAGE_RATE,
        "shares": SHARES,
        "signals": [{**row, "at": row["at"].isoformat()} for row in study.signals.to_dict("records")],
    }


def _shift(s):
    return {
        **words.shift_values(s),
        "hatches": list(s.labels),
        "rivals": list(s.rivals),
        "conditions": [{k: c[k] for k in ("condition", "there", "elsewhere", "difference")} for c in s.conditions],
    }


def _level(level):
    if level is None:
        return None
    keys = ("level", "low", "high", "now", "before", "drop", "is_below_minimum", "is_worse", "is_unusual")
    e = level.prospect
    before = {"expected": e.pct, "expected_low": e.low_pct, "expected_from": e.source}
    return {**{k: getattr(level, k) for k in keys}, **before, "claim": e.claim_pct, "test": e.test_pct}
