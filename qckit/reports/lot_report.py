"""What the notebook of a new lot shows: the records of its test, and one function per piece of the page."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from qckit import draw
from qckit.columns import is_missing
from qckit.quantities import WATER
from qckit.reports import blocks, lot_charts
from qckit.reports.blocks import Html, note, sentences, table
from qckit.reports.folds import folded
from qckit.reports.lot_test import LotTest
from qckit.reports.pictures import figure, figures
from qckit.verdicts.new_lot.rules import round_3
from qckit.verdicts.new_lot.words import verdict_words
from qckit.words import cone_name, decimals_known, noun, number, plural
from qckit.words import figures as significant

__all__ = [
    "conditions_table",
    "cone_charts",
    "evidence",
    "half_page",
    "method",
    "metrics_table",
    "rounded",
    "stages",
    "subsample_table",
    "two_panels",
]


_SHOWN_BELOW = frozenset({"rate", "budget", "ageing"})
"""Codes of lines that a section further down shows in full."""


def evidence(test: LotTest) -> Html:
    """Show the lines of reasoning, without those that a section of the page shows in full."""
    shown = [e for e in test.finding.evidence if e.code not in _SHOWN_BELOW]
    return blocks.evidence(replace(test.finding, evidence=shown))


def cone_charts(test: LotTest) -> Html:
    """Show each cone with its subsamples, for the percentage and per gram."""
    if not len(test.tested_cones):
        return note("No cone of this lot's test is counted yet.")
    metrics, axes = ("hatch_pct", "hatching_efficiency_per_g"), two_panels(1.35 + 0.36 * len(test.cones))
    for metric, ax in zip(metrics, axes):
        estimate = getattr(test.evidence.summary, metric)
        lot_charts.draw_cones(
            test.subsamples,
            test.cones,
            metric=metric,
            interval=estimate if estimate.n_cones else None,
            references=_thresholds(test, metric),
            ax=ax,
        )
    axes[1].tick_params(axis="y", labelleft=False, length=0)
    axes[1].get_legend().remove()
    return figure(axes[0], alt=" ".join(lot_charts.describe_cones(test.cones, metric=m) for m in metrics))


def two_panels(height):
    """Two Axes of one figure, on the same lines of names."""
    import matplotlib.pyplot as plt

    with draw.style():
        return plt.subplots(1, 2, sharey=True, layout="constrained", figsize=(8.4, height))[1]


def half_page(height):
    """Axes of which two stand side by side, on A4 too."""
    with draw.style():
        return draw.new_axes(figsize=(4.3, height))


def _thresholds(test: LotTest, metric: str) -> list[tuple[float, str]]:
    """Return the label's claim and the site's minimum, each with its words."""
    claimed, least, form = {
        "hatch_pct": ("claimed_hatch_pct", test.settings.limits.min_hatch_pct, "{:g} %".format),
        "hatching_efficiency_per_g": ("claimed_nauplii_per_g", test.settings.limits.min_nauplii_per_g, number),
    }[metric]
    claim = test.lots.loc[test.lots["lot"] == test.lot, claimed].iloc[0]
    found = [(least, f"own minimum {form(least)}")]
    return found + ([(claim, f"claim {form(claim)}")] if pd.notna(claim) else [])


def metrics_table(test: LotTest) -> Html:
    """Show every metric of the lot and of its reference side by side: mean over cones, interval, SD."""
    summaries = [s for s in (test.evidence.summary, test.evidence.reference_summary) if s is not None]
    rows: dict[str, dict] = {}
    for summary in summaries:
        for row in summary.to_frame().itertuples():
            estimate = getattr(summary, row.metric)
            places = _places(test, estimate, row)
            value, low, high, sd = (rounded(v, places) for v in (row.value, estimate.low, estimate.high, row.sd))
            line = rows.setdefault(row.metric, {"what": row.label, "unit": row.unit})
            cones = plural(summary.n_cones, "cone")
            line[f"{summary.lot}, {cones}"] = value
            line[f"{summary.lot} interval"] = f"{low} to {high}" if estimate.is_known else "not known"
            line[f"{summary.lot} SD"] = sd
    frame = pd.DataFrame(list(rows.values()))
    careful = any(getattr(s, name).is_lucky for s in summaries for name in rows)
    keeps = "verdict and dose keep" if test.settings.protocol.is_fed else "the verdict keeps"
    more = (
        f" Where few cones agree more closely than counting lets them, {keeps} to the wider bounds of counting."
        if careful
        else ""
    )
    return table(
        frame,
        caption=f"Mean over cones, {100 * test.settings.limits.confidence:g} % interval (cones as replicates), "
        f"SD over cones.{more}",
        right=frame.columns[2:],
    )


def _places(test, estimate, row) -> int:
    """Decimals of a metric: those that the page's sentences have, where they name it too."""
    if row.metric == "hatch_pct":
        return test.evidence.pct_decimals
    return decimals_known(estimate.low, estimate.high, int(row.decimals))


def rounded(value, places):
    """Three significant figures for large numbers: more would pretend to a precision no test has."""
    large = value == value and abs(value) >= 1000
    return number(round_3(value) if large else value, places)


def stages(test: LotTest) -> Html:
    """Show the stage mix of each cone, and nauplii against empty shells with what their agreement says."""
    if not len(test.cones) or not len(test.subsamples):
        return note("Nothing is counted yet.")
    mix = lot_charts.draw_stage_mix(test.cones, ax=half_page(1.35 + 0.36 * len(test.cones)))
    both = lot_charts.draw_witnesses(test.subsamples, ax=half_page(2.8))
    drawn = figures(
        [
            (mix, lot_charts.describe_mix(test.cones), "Numbers in the bars: percent of what was counted."),
            (both, lot_charts.describe_witnesses(test.subsamples), ""),
        ]
    )
    sentence = test.evidence.summary.witnesses.sentence
    return Html(drawn.html + note(sentence).html, sentence)


def conditions_table(test: LotTest) -> Html:
    """Show the measured conditions of each cone beside the standard, and in words what departs from it."""
    conditions = test.evidence.conditions
    if not len(conditions):
        return note("No cone of this lot's test is in the log.")
    marks = {"ok": "", "off": " \u25a0 outside", "doubtful": " \u25b2 doubtful", "unknown": "not measured"}
    aeration = test.hatches.set_index("hatch")["aeration"]
    cells = [
        _measured(aeration.get(row.hatch) if row.quantity == "aeration" else row.value, row.unit)
        + marks.get(row.status, "")
        for row in conditions.itertuples()
    ]
    conditions = conditions.assign(quantity=conditions["quantity"].replace("ph", "pH"))
    shown = conditions.assign(
        cell=[cell.strip() for cell in cells], cone=conditions["lot"] + ", " + conditions["cone"].map(cone_name)
    )
    wide = shown.pivot_table(index=["quantity", "standard"], columns="cone", values="cell", aggfunc="first", sort=False)
    departs = conditions[conditions["status"].isin(["off", "doubtful"])]
    words = [f"Lot {d.lot}, cone {d.cone}: {d.sentence}" for d in departs.itertuples()]
    shown = table(wide.reset_index(), caption="A column per cone; \u25a0 outside the standard, \u25b2 doubtful.")
    is_known = conditions["quantity"].isin(["pH", *WATER]) & (conditions["status"] != "unknown")
    empty = "Every cone was within the standard, as far as measured." if is_known.any() else "No water was measured."
    return Html(shown.html + sentences(words, empty=empty).html)


def _measured(value, unit) -> str:
    if isinstance(value, str):
        return value
    if is_missing(value):
        return ""
    return f"{significant(float(value))} {unit if isinstance(unit, str) and unit != 'pH' else ''}".strip()


def method(test: LotTest) -> Html:
    """Say by which rules the verdict came about, and with which methods the intervals."""
    rules = [
        f"{verdict_words(r['verdict'], test.settings)}: {r['text']}" for r in test.finding.details.get("rules", [])
    ]
    by_method: dict[str, list[str]] = {}
    for row in test.evidence.summary.to_frame().itertuples():
        if row.method:
            by_method.setdefault(row.method, []).append(row.label)
    used = [f"{', '.join(labels)}: {how}." for how, labels in by_method.items()]
    counted = test.samples[["counted_by", "counter"]].fillna("not named").drop_duplicates().sort_values("counter")
    counters = [f"{row.counted_by} ({row.counter})" for row in counted.itertuples()]
    who = f"Counted by: {', '.join(counters)}." if counters else "Nothing is counted yet."
    return Html(
        "<p>The verdict is the first of these rules that holds:</p>"
        + sentences(rules, ordered=True).html
        + folded("How the intervals came about", sentences(used)).html
        + sentences([who, *_together(test.evidence.summary.notes)]).html,
        "rules and methods",
    )


def _together(notes) -> list[str]:
    """Say a note that several cones share once, with all their names."""
    cones: dict[str, list[str]] = {}
    for one in notes:
        cones.setdefault(str(replace(one, cone="")), []).extend([one.cone] if one.cone else [])
    return [f"{noun(len(who), 'Cone')} {', '.join(who)}: {text}" if who else text for text, who in cones.items()]


def subsample_table(test: LotTest) -> Html:
    """Show one row per subsample as counted."""
    columns = [
        "sample",
        "lot",
        "cone",
        "hours",
        "nauplii",
        "umbrella",
        "unhatched",
        "shells",
        "counted_ul",
        "factor_per_g",
        "hatch_pct",
        "hatching_efficiency_per_g",
    ]
    per_g = ["factor_per_g", "hatching_efficiency_per_g"]  # no subsample knows more than three figures
    return table(
        test.counted[columns].assign(**{name: test.counted[name].map(round_3) for name in per_g}),
        caption="As counted, before any correction. unhatched: embryos after decapsulation, otherwise unhatched cysts.",
        headings={
            "counted_ul": "counted [µl]",
            "hours": "hours [h]",
            "factor_per_g": "count × this = per gram",
            "hatch_pct": "hatched [%]",
            "hatching_efficiency_per_g": "nauplii per gram",
        },
        decimals={
            "hours": 1,
            "counted_ul": 1,
            "factor_per_g": 0,
            "hatch_pct": 1,
            "hatching_efficiency_per_g": 0,
            "nauplii": 0,
            "umbrella": 0,
            "unhatched": 0,
            "shells": 0,
        },
        limit=400,
    )
