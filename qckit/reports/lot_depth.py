"""What lies deeper in a new lot's report: comparison, rate, ageing, uncertainty, plan, the counter's accuracy."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from qckit import draw, hatch
from qckit.errors import InputError
from qckit.reports.accuracy import show_certificate
from qckit.reports.blocks import Html, note, sentences, table
from qckit.reports.lot_report import half_page, rounded
from qckit.reports.pictures import figure, figures
from qckit.verdicts.new_lot.reasoning import comparison_sentence, lot_beside
from qckit.verdicts.new_lot.words import planned
from qckit.words import estimated, plural

__all__ = ["accuracy", "comparison", "over_time", "plan", "uncertainty"]

_PLANNED_SUBSAMPLES = 6  # of the standard test
_PLANNED_POINTS = 4.0  # half width of an interval that tells trade grades (10 points apart) from each other


def comparison(test) -> Html:
    """Show how the lot does against its claim, beside the reference lot and against its own last test."""
    evidence = test.evidence
    comparisons = [c for c in (*evidence.claims, *evidence.comparisons, *evidence.past) if math.isfinite(c.low)]
    missing = [] if evidence.comparisons else ["No counted reference lot stands beside this test."]
    if not comparisons:
        return sentences([c.sentence for c in (*evidence.claims, *evidence.comparisons)] + missing)
    with draw.style():
        drawn = hatch.draw_comparisons(comparisons)
    words = " ".join(comparison_sentence(c, evidence) for c in comparisons)
    return Html(
        figure(
            drawn,
            alt=words,
            caption=f"{comparisons[0].margin_pct:g} % is the site's own margin: a lot within it counts as good as the "
            "other.",
        ).html
        + (sentences(missing).html if missing else ""),
        "comparisons",
    )


def over_time(test) -> Html:
    """Show how fast the lot hatches and how it ages, where it was followed by the clock and over the months."""
    found, trend, drawn, below = test.evidence.rate, test.evidence.ageing, [], []
    if found is not None:
        with draw.style():
            ax = hatch.draw_rate(found, ax=half_page(2.9))
        drawn.append((ax, f"Share hatched over the hours from wetting: {_times_in_words(found)}.", ""))
        below.append(_times_table(found).html)
    else:
        below.append(
            note(
                "No cone of this lot was counted at four hours or more about the time of this test, so rate "
                "and synchrony are not known."
            ).html
        )
    if trend is not None:
        with draw.style():
            ax = hatch.draw_ageing(trend, ax=half_page(2.9))
        few = f"Lot {test.lot} has too few tests for a trend; shown is {lot_beside(test.evidence)}. "
        few = "" if trend.lot == test.lot else few
        words = f"{few}Lot {trend.lot} was hatched on {plural(trend.n_tests, 'day')}. {trend.sentence}"
        drawn.append((ax, words, ""))
        below.append(sentences([words, trend.note]).html)
    else:
        below.append(
            note(
                "A trend with age needs three tests of a lot or more; neither this lot nor one beside it has them."
            ).html
        )
    return Html((figures(drawn).html if drawn else "") + "".join(below), "rate and ageing")


def _times_in_words(found) -> str:
    rows = [found.time(name) for name in ("T10", "T50", "T90", "Ts")]
    return ", ".join(f"{r['time']} {estimated(r['value_h'], r['low_h'], r['high_h'], 'h')}" for r in rows)


def _times_table(found) -> Html:
    rows = []
    for name in ("T10", "T50", "T90", "Ts"):
        curve, plain = found.time(name), found.time(name, "interpolation")
        whole = found.times[(found.times["time"] == name) & (found.times["method"] == "all cysts")]
        rows.append(
            {
                "time": name,
                "of those that hatch [h]": f"{curve['value_h']:.1f}",
                "interval [h]": f"{curve['low_h']:.1f} to {curve['high_h']:.1f}"
                if math.isfinite(curve["high_h"])
                else "not known",
                "standard method [h]": f"{plain['value_h']:.1f}" if math.isfinite(plain["value_h"]) else plain["note"],
                "of all full cysts [h]": ""
                if whole.empty
                else (whole["note"].iloc[0] or f"{whole['value_h'].iloc[0]:.1f}"),
            }
        )
    shapes = ", ".join(f"{r.model} {100 * r.weight:.0f} %" for r in found.comparison.itertuples() if r.weight > 0.005)
    caption = (
        f"{plural(found.n_cones, 'cone')} followed by the clock. Times are averaged over the shapes of curve that the "
        f"counts leave open ({shapes}). The standard method interpolates the share of the highest count."
    )
    more = sentences(found.notes).html if found.notes else ""
    return Html(table(pd.DataFrame(rows), caption=caption).html + more, caption)


def uncertainty(test) -> Html:
    """Show where the uncertainty of the figures comes from, what would shrink it; two ways to work it agree."""
    evidence = test.evidence
    budgets = [
        ("hatching percentage", "%", evidence.pct_decimals, evidence.percentage_budget),
        ("nauplii per gram", "nauplii/g", 0, evidence.budget),
        ("hatching output", "mg/g", 0, evidence.output_budget),
        *_harvest(test),
    ]
    budgets = [row for row in budgets if row[3] is not None]
    if not budgets:
        return note("The uncertainty cannot be taken apart without two counted cones.")
    name, *_, budget = budgets[min(1, len(budgets) - 1)]
    with draw.style():
        ax = hatch.draw_budget(budget, ax=draw.new_axes(figsize=(6.5, 2.1)))
    drawn = figure(
        ax,
        alt=f"Parts of the uncertainty of {name}, largest first. {budget.sentence}",
        caption=f"Parts of the uncertainty of {name}.",
    )
    rows = [
        {
            "figure": f"{name} [{unit}]",
            "value": rounded(b.value, places),
            "u": rounded(b.u, 1 if unit == "%" else places),
            "largest source": f"{b.table['label'][0]} ({b.table['share_pct'][0]:.0f} %)",
            "what would shrink it": b.table["remedy"][0],
            "first order and Monte Carlo apart": f"{b.agreement_pct:.1f} % of the value",
        }
        for name, unit, places, b in budgets
    ]
    caption = (
        "u: standard uncertainty, from these cones alone. Worked out by first order (JCGM 100) and by Monte Carlo "
        "(JCGM 101): where their bounds lie near each other, first order will do."
    )
    return Html(
        drawn.html + table(pd.DataFrame(rows), caption=caption, right=("value", "u")).html,
        " ".join(b.sentence for *_, b in budgets),
    )


def _harvest(test):
    """Budgets of harvest purity and of separation, where harvests of this lot were looked at on a sieve."""
    sieve = test.harvests[test.harvests["kind"] == "sieve"]
    if sieve["hatch"].nunique() < 2:
        return []
    cone = test.harvests[(test.harvests["kind"] == "subsample") & test.harvests["hatch"].isin(set(sieve["hatch"]))]
    cone = cone.dropna(subset=["shells"])
    each = [part.groupby("hatch")[["nauplii", "shells", "cysts"]].sum() for part in (cone, sieve)]
    both = each[0].index.intersection(each[1].index)
    counts = [np.column_stack([v["nauplii"], v["shells"] + v["cysts"]]) for v in (e.loc[both] for e in each)]
    found = []
    for name, work in (
        ("harvest purity", lambda: hatch.purity_budget(sieve)),
        ("separation", lambda: hatch.separation_budget(*counts)),
    ):
        try:
            found.append((name, "%", 1, work()))
        except InputError:
            continue
    return found


def plan(test) -> Html:
    """Show how surely tests of two, three and six cones tell a good lot from a poor one in this room."""
    least, spread = test.settings.limits.min_hatch_pct, test.evidence.spread
    counted, mixing = test.evidence.cysts_per_subsample, test.evidence.mixing
    options = {"spread": spread, "dispersion": mixing, "cysts_per_subsample": counted}
    curves = {
        f"{k} cones": hatch.operating_curve(k, _PLANNED_SUBSAMPLES, min_hatch_pct=least, **options) for k in (2, 3, 6)
    }
    with draw.style():
        drawn = hatch.draw_operating_curve(curves, min_hatch_pct=least, ax=draw.new_axes(figsize=(6.2, 2.9)))
    whose = (
        f"this room's own spread between cones ({spread.n_cones} earlier ones)"
        if spread is not None
        else "a usual spread between cones, because this room's records do not yet tell its own"
    )
    plans = []
    confidence = test.settings.limits.confidence
    for work in (
        lambda: hatch.plan_for_precision(_PLANNED_POINTS, confidence=confidence, **options),
        lambda: hatch.plan_for_risk(least - 5, least + 5, min_hatch_pct=least, **options),
    ):
        try:
            found = work()
            plans.append(found["sentence"] if isinstance(found, dict) else found.sentence)
        except InputError as error:
            plans.append(str(error))
    plans.append(planned(test.evidence))
    plans.append(
        f"Worked out with {whose}, {counted:.0f} full cysts a subsample and subsamples that scatter "
        f"{mixing:.1f} times as chance alone would make them, over all records."
    )
    words = (
        f"Chance that the mean of a test of {_PLANNED_SUBSAMPLES} subsamples a cone reaches the minimum of "
        f"{least:g} %, over the lot's true hatching percentage."
    )
    return Html(figure(drawn, alt=words, caption=words).html + sentences(plans).html, " ".join(plans))


def accuracy(test) -> Html:
    """Cite the certificate of the camera that took the photos, or say that there is none."""
    use = test.evidence.certificate
    if use is None:
        return note("No photo was counted for this test, so no camera's certificate is needed.")
    return show_certificate(use)
