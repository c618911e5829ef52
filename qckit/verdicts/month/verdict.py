"""The month's verdict: in control or not, what changed, since when, what goes with it, and what to do."""

from __future__ import annotations

import math

from qckit.verdicts.finding import Figure, Finding
from qckit.verdicts.month import words
from qckit.verdicts.month.study import MonthStudy, study_month
from qckit.verdicts.new_lot.rules import round_3

__all__ = ["VERDICTS", "finding_of_month", "main_lot", "needs_attention", "review_month"]

VERDICTS = {
    "in-control": ("In control", "good"),
    "signals": ("Signals to explain", "attention"),
    "out-of-control": ("Out of control", "bad"),
    "not-enough-evidence": ("Not enough evidence", "unknown"),
}
"""Verdict code -> its words and the tone of the first screen."""


def review_month(
    lots,
    hatches,
    samples,
    readings=None,
    *,
    month,
    settings,
    lot="",
    baselines=None,
    signals=None,
    photos=None,
    rules=None,
) -> Finding:
    """Review a month of hatches.

    Parameters
    ----------
    lots, hatches, samples, readings, month, settings, lot, baselines, signals, photos, rules
        As for :func:`qckit.verdicts.month.study.study_month`.

    Returns
    -------
    Finding
        ``verdict`` is ``in-control`` (no rule fired), ``signals`` (rules fired, or a condition of the water signals
        at three hatches or more, but no group of hatches stands out: each point is to be explained),
        ``out-of-control`` (a group of hatches moved, and since when is known) or ``not-enough-evidence`` (no limits
        yet).

    Raises
    ------
    InputError
        The month is misspelt, the lot is unknown, or no hatch was started in the month.
    """
    study = study_month(
        lots,
        hatches,
        samples,
        readings,
        month=month,
        settings=settings,
        lot=lot,
        baselines=baselines,
        signals=signals,
        photos=photos,
        rules=rules,
    )
    return finding_of_month(study)


def main_lot(study: MonthStudy) -> str:
    """Return the lot with the most hatches in the month (the later one at a tie)."""
    return max(study.lots.values(), key=lambda m: (m.n_hatches, m.lot)).lot


def finding_of_month(study: MonthStudy) -> Finding:
    """Turn a month's study into its finding."""
    code = _verdict(study)
    label, tone = VERDICTS[code]
    subject = study.month + (f" {study.lot}" if study.lot else "")
    return Finding(
        kind="month",
        subject=subject,
        verdict=code,
        headline=words.headline(study, code),
        figures=_figures(study),
        next_steps=words.next_steps(study, code),
        evidence=words.evidence(study),
        would_change=words.would_change(study, code),
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
    if study.shifts:
        return "out-of-control"
    states = [m.is_in_control for m in study.lots.values()]
    if any(state is False for state in states) or words.water_out(study):
        return "signals"
    return "not-enough-evidence" if all(state is None for state in states) else "in-control"


def needs_attention(study: MonthStudy) -> bool:
    """Say whether anything is left to explain: a verdict that is not good, until every signal has its explanation."""
    if _verdict(study) not in ("out-of-control", "signals"):
        return False
    return not len(study.signals) or bool((study.signals["state"] == "open").any())


def _figures(study):
    name = main_lot(study)
    m = study.lots[name]
    figures = [
        Figure(
            "hatch_pct",
            f"hatching percentage, {name}",
            100 * m.hatch_pct.value,
            100 * m.hatch_pct.low,
            100 * m.hatch_pct.high,
            "%",
            1,
            _mean_of(m.hatch_pct, m),
        ),
        Figure(
            "nauplii_per_g",
            f"nauplii per gram, {name}",
            *(round_3(v) for v in (m.efficiency.value, m.efficiency.low, m.efficiency.high)),
            "1/g",
            0,
            _mean_of(m.efficiency, m),
        ),
        Figure(
            "share_below_minimum",
            f"hatches expected below {m.capability.minimum:g} %, {name}",
            m.capability.share_pct,
            m.capability.share_pct_low,
            m.capability.share_pct_high,
            "%",
            1,
            "" if math.isfinite(m.capability.share_pct) else "too few hatches",
        ),
        Figure(
            "feed_days_lost",
            "feed lost to what changed",
            study.feed_days_lost,
            unit="days of feed",
            decimals=1,
            note=f"{round_3(study.feed_lost):,.0f} nauplii short of the lots' own levels"
            + (
                f"; {study.feed_days_at_risk:.1f} days of feed at risk in the next 30 days if it goes on"
                if study.feed_days_at_risk > 0
                else ""
            ),
        ),
    ]
    if m.dose is not None:
        figures.append(
            Figure(
                "dose_g",
                f"next month's dose per feed, {name}",
                m.dose.grams,
                unit="g",
                decimals=1,
                note="on the lower bound of nauplii per gram",
            )
        )
    return figures


def _mean_of(estimate, m):
    """Say how many hatches stand behind a mean: a hatch without the counts for it has no part in it."""
    n, every = estimate.n_cones, words.count_hatches(m.n_hatches)
    if not n:
        return f"none of {every} is counted in full"
    told = f"mean of {every}" if n == m.n_hatches else f"mean of {n} of {every} (the others are not counted in full)"
    return told + ("" if estimate.is_known else ": too few for an interval")


def _judged_points(chart, first):
    """Points of the month that a chart judged, and the signals among them that chance alone would give."""
    n = int(chart.of_period(first)["value"].notna().sum()) if chart.run is not None else 0
    return {
        "chart": chart.name,
        "lot": chart.lot,
        "n_points": n,
        "signals_expected": n / chart.run.mean if n else 0.0,
    }


def _details(study):
    return {
        "month": study.month,
        "period": {"first": study.first.isoformat(), "last": study.last.isoformat()},
        "charts": [_judged_points(c, study.first) for c in (*study.charts.values(), *study.conditions.values())],
        "needs_attention": needs_attention(study),
        "set_aside": study.aside.to_dict("records"),
        "lots": [
            {
                "lot": m.lot,
                "n_hatches": m.n_hatches,
                "in_control": m.is_in_control,
                "signals": m.signals,
                "signals_expected_by_chance": m.expected_signals,
                "hatch_pct": 100 * m.hatch_pct.value,
                "nauplii_per_g": m.efficiency.value,
                "baseline": m.chart.baseline_words,
                "drift": m.chart.drift.sentence if m.chart.drift else "",
                "slope_pct_per_30_days": m.chart.drift.slope_per_30d
                if m.chart.drift and m.chart.drift.shape == "slope"
                else 0.0,
                "dose_g": m.dose.grams if m.dose else math.nan,
                "cost_per_million": m.cost_per_million,
            }
            for m in study.lots.values()
        ],
        "shifts": [
            {
                "where": s.where,
                "factor": s.factor,
                "level": s.level,
                "first": s.first.isoformat(),
                "first_low": s.first_low.isoformat(),
                "first_high": s.first_high.isoformat(),
                "last": s.last.isoformat(),
                "is_ongoing": s.is_ongoing,
                "n_hatches": s.n_hatches,
                "effect": s.effect,
                "effect_low": s.effect_low,
                "effect_high": s.effect_high,
                "p_value": s.p_value,
                "hatches": list(s.labels),
                "rivals": list(s.rivals),
                "conditions": [
                    {k: c[k] for k in ("condition", "there", "elsewhere", "difference")} for c in s.conditions
                ],
            }
            for s in study.shifts
        ],
        "signals": [{**row, "at": row["at"].isoformat()} for row in study.signals.to_dict("records")],
    }
