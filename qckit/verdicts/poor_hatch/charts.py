"""The tables and charts of a poor hatch's report, each from the finding's own details."""

from __future__ import annotations

from textwrap import fill

import numpy as np
import pandas as pd

from qckit import draw
from qckit.hatch.water.readings import standard_readings
from qckit.quantities import CONDITIONS
from qckit.tables import to_utc
from qckit.verdicts.poor_hatch.conditions.effects import AGE
from qckit.verdicts.poor_hatch.conditions.reference import USUAL
from qckit.words import plural

__all__ = [
    "assumed_table",
    "causes_table",
    "checks_table",
    "context_sentences",
    "count_table",
    "differences_table",
    "draw_causes",
    "draw_history",
    "draw_mix",
    "draw_readings",
    "effects_table",
    "factors_table",
    "history_frame",
    "lengths_sentence",
    "mix_frame",
    "probability_words",
    "rest_sentences",
    "sources_table",
    "traces_table",
]

_UNDER_LABEL, _LABEL_PCT = 10, 6.0  # hatches that a label reaches over to the left, and points of its height
_NARROW_IN = 5.1  # a telephone of 390 px shows a chart of this width whole, at the least size of its letters


def causes_table(finding) -> pd.DataFrame:
    """Candidate causes, ranked: cause, probability_pct, speaks_for, speaks_against.

    Probabilities below 1 % are shown as 1, those above 95 % as 95: the calibration reaches no further.
    """
    rows = pd.DataFrame(finding.details["causes"])
    chance = (100 * rows["probability"]).clip(1, 95).round(0)
    rows = rows.assign(probability_pct=chance.astype(int))
    return rows[["cause", "probability_pct", "speaks_for", "speaks_against"]]


def sources_table(finding) -> pd.DataFrame:
    """What each cause that was weighed does to the stage mix, and who describes it: cause, sign, source."""
    return pd.DataFrame(finding.details["sources"])[["cause", "sign", "source"]]


def assumed_table(finding) -> pd.DataFrame:
    """What was assumed before looking: explanation, share_pct."""
    return pd.DataFrame(finding.details["assumed"])


def rest_sentences(finding) -> list[str]:
    """What the list of causes leaves: two causes together, something not on the list, nothing but chance."""
    details = finding.details
    words = {row["code"]: row["cause"] for row in details["sources"]}
    lines = [
        f"Two causes together: {' and '.join(words[c] for c in pair['causes'])} {_percent(pair['probability'])}."
        for pair in details["pairs"]
        if pair["probability"] >= 0.05
    ]
    return [
        *lines,
        f"Nothing but chance: {_percent(details['none_probability'])}. Something that is not on the list: "
        f"{_percent(details['other_probability'])}.",
    ]


def _percent(p):
    return probability_words(100 * p)


def probability_words(percent: float) -> str:
    """Say a probability [%] no further than the calibration reaches: to 1 % and to 95 %."""
    return "1 % or less" if percent <= 1 else f"{percent:.0f} %" if percent < 95 else "above 95 %"


_PER = {name: (1, f"{c.label}, per {c.unit or 'unit'}") for name, c in CONDITIONS.items()} | {
    "light": (100, "light, per 100 lux"),
    "density": (1, "cysts, per g/l"),
    AGE: (30, "days since opening, per 30"),
}
"""Condition -> how many of its units an effect is shown for, and how that is written."""


def effects_table(finding) -> pd.DataFrame:
    """What each condition has been worth: quantity (per what), slope, se, shrunk_slope, lowest, highest, n_hatches."""
    columns = ["quantity", "slope", "se", "shrunk_slope", "lowest", "highest", "n_hatches"]
    rows = pd.DataFrame(finding.details["site_effects"], columns=[*columns, "literature_slope", "dispersion"])[columns]
    times = rows["quantity"].map(lambda q: _PER[q][0])
    for column in ("slope", "se", "shrunk_slope"):
        rows[column] = rows[column].astype(float) * times
    return rows.assign(quantity=rows["quantity"].map(lambda q: _PER[q][1]))


def traces_table(finding) -> pd.DataFrame:
    """How well each trace alone fits the stage mix: trace, share_pct, best first; those below 0.5 % in one row."""
    rows = sorted(finding.details["traces"].items(), key=lambda item: -item[1])
    shown = [(k, 100 * v) for k, v in rows if v >= 0.005]
    if shown and len(shown) < len(rows):
        left = len(rows) - len(shown)
        shown.append((f"{left} others together" if left > 1 else "the other one", 100 - sum(v for _, v in shown)))
    return pd.DataFrame(shown, columns=["trace", "share_pct"])


def differences_table(finding) -> pd.DataFrame:
    """Every condition against the usual, most telling first."""
    columns = [
        "quantity",
        "low",
        "high",
        "usual",
        "unit",
        "h_outside",
        "h_read",
        "unusual",
        "literature_loss_pct",
        "expected_loss_pct",
    ]
    rows = pd.DataFrame(finding.details["differences"], columns=[*columns, "reference", "cause"])
    names = {name: c.label for name, c in CONDITIONS.items()}
    rows = rows.drop_duplicates("quantity").reset_index(drop=True)
    rows = rows.assign(
        quantity=rows["quantity"].replace(names), unusual=rows["unusual"].where(rows["reference"] == USUAL)
    )
    if (rows["reference"] == USUAL).all():
        return rows[columns]
    columns.insert(columns.index("usual"), "reference")
    return rows[columns].rename(columns={"reference": "compared with", "usual": "that is"})


def factors_table(finding) -> pd.DataFrame:
    """All that was different, ranked: factor, here, usual, unusual, points, basis."""
    columns = ["factor", "here", "usual", "unusual", "points", "basis"]
    return pd.DataFrame(finding.details["factors"], columns=columns)


def count_table(finding) -> pd.DataFrame:
    """The ways in which a count goes wrong: check, seen, result, beyond_pct (what 80 % power would have shown)."""
    return pd.DataFrame(finding.details["counted"], columns=["check", "seen", "result", "beyond_pct"])


def lengths_sentence(finding) -> str:
    """What the lengths of the nauplii in the photos say."""
    lengths = finding.details["lengths"]
    return lengths["sentence"] if lengths else "No photo of this hatch was measured, so nothing is known of lengths."


def checks_table(finding) -> pd.DataFrame:
    """The chosen checks: check, hours, question, plan, if_yes and if_no (what each answer means, and would do)."""
    rows = pd.DataFrame(
        finding.details["checks"],
        columns=["check", "hours", "question", "plan", "if_yes", "if_no", "then_yes", "then_no", "no_leaves_it_first"],
    )
    rows["then_no"] = np.where(rows["no_leaves_it_first"].astype(bool), "still ", "") + rows["then_no"]
    for outcome in ("yes", "no"):
        rows[f"if_{outcome}"] = rows[f"if_{outcome}"] + ". Then: " + rows[f"then_{outcome}"] + "."
    return rows[["check", "hours", "question", "plan", "if_yes", "if_no"]]


def context_sentences(finding) -> list[str]:
    """What stood around the hatch (cone, operator, pack, notes), a sentence each."""
    return [row["sentence"] for row in finding.details["context"]] or ["Nothing is known of cone, operator or pack."]


def mix_frame(finding) -> pd.DataFrame:
    """Share of each stage here and in a usual hatch: stage, here_pct, usual_pct."""
    here, usual = finding.details["mix_pct"], finding.details["usual_mix_pct"]
    return pd.DataFrame([(s, here[s], usual[s]) for s in here], columns=["stage", "here_pct", "usual_pct"])


def history_frame(counts: pd.DataFrame, finding) -> pd.DataFrame:
    """This lot's hatches up to the one explained: the latest forty, as many as one chart can show.

    Parameters
    ----------
    counts : DataFrame
        As ``counted_hatches`` returns it.
    finding : Finding

    Returns
    -------
    DataFrame
        hatch, started, cone, hatch_pct, hatching_efficiency_per_g, is_this, is_usual.
    """
    of_lot = counts[counts["lot"] == finding.details["lot"]]
    last = of_lot.loc[of_lot["hatch"] == finding.subject, "started"]
    of_lot = of_lot[to_utc(of_lot["started"]) <= pd.Timestamp(last.iloc[0])].tail(40)
    return pd.DataFrame(
        {
            "hatch": of_lot["hatch"],
            "started": of_lot["started"],
            "cone": of_lot["cone"],
            "hatch_pct": of_lot["hatch_pct"],
            "hatching_efficiency_per_g": of_lot["hatching_efficiency_per_g"],
            "is_this": of_lot["hatch"] == finding.subject,
            "is_usual": of_lot["hatch"].isin(finding.details["usual_hatches"]),
        }
    ).reset_index(drop=True)


def draw_history(frame: pd.DataFrame, *, low=np.nan, high=np.nan, ax=None):
    """Draw the lot's hatches with this one marked; ``low`` to ``high`` is where 95 in 100 fall. [%]"""
    with draw.style():
        ax = draw.new_axes(ax, figsize=(7.2, 3.0))
        at = np.arange(len(frame))
        if np.isfinite(low) and np.isfinite(high):
            ax.axhspan(low, high, color="#0072B2", alpha=0.12, linewidth=0, label="95 in 100 hatches")
        usual, this = frame["is_usual"].to_numpy(), frame["is_this"].to_numpy()
        other = ~usual & ~this
        draw.points(at[usual], frame["hatch_pct"][usual], ax=ax, color="#0072B2", markersize=4.5, label="usual hatches")
        if other.any():
            draw.points(
                at[other], frame["hatch_pct"][other], ax=ax, marker="x", color="#777777", label="not in the usual"
            )
        draw.points(at[this], frame["hatch_pct"][this], ax=ax, marker="v", color="#D55E00", markersize=10)
        for i in at[this]:  # at the point: on a narrow screen the axis and its numbers are scrolled out of sight
            value, others = frame["hatch_pct"].iloc[i], frame["hatch_pct"][~this].tail(_UNDER_LABEL)
            at_point, beside = (i, value), {"xytext": (-9, 0), "va": "center"}
            if (abs(others - value) < _LABEL_PCT).any():  # other hatches stand there: below them
                at_point, beside = (i, min(value, others.min())), {"xytext": (7, -9), "va": "top"}
            ax.annotate(f"this hatch: {value:.0f} %", at_point, textcoords="offset points", ha="right", **beside)
        ticks = np.unique(np.linspace(0, len(frame) - 1, min(6, len(frame))).astype(int)) if len(frame) else []
        days = [pd.Timestamp(frame["started"].iloc[i]) for i in ticks]
        ax.set_xticks(ticks, [f"{day.day} {day:%b}" for day in days])  # a month in letters: of no site's order
        ax.set_ylim(0, 100)
        ax.set_ylabel("hatching percentage [%]")
        ax.set_title(f"This lot's last {plural(len(frame), 'hatch')}, in order")
        ax.legend(loc="lower left", fontsize=8, ncols=2)
    return ax


def draw_mix(frame: pd.DataFrame, *, ax=None):
    """Draw the stage mix of this hatch beside a usual one, as two labelled bars. [% of full cysts]"""
    with draw.style():
        ax = draw.new_axes(ax, figsize=(_NARROW_IN, 1.9))
        for y, column in ((1, "usual_pct"), (0, "here_pct")):
            left = 0.0
            for row in frame.to_dict("records"):
                value, look = row[column], draw.STAGE_STYLE[row["stage"]]
                ax.barh(
                    y,
                    value,
                    left=left,
                    color=look["color"],
                    alpha=0.55,
                    hatch=look["hatch"],
                    edgecolor=draw.INK,
                    linewidth=0.8,
                    height=0.62,
                    label=row["stage"] if y else None,
                )
                if value > 4:
                    ax.text(
                        left + value / 2,
                        y,
                        f"{value:.0f} %",
                        ha="center",
                        va="center",
                        fontsize=9,
                        color=draw.INK,
                        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2, "alpha": 0.85},
                    )
                left += value
        ax.set_yticks([1, 0], ["usual", "this hatch"])
        ax.set_xlim(0, 100)
        ax.set_xlabel("share of full cysts [%]")
        ax.grid(visible=False)
        ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3, fontsize=8)
    return ax


def draw_causes(frame: pd.DataFrame, *, ax=None):
    """Draw the candidate causes by probability, labelled; ``frame`` from :func:`causes_table`."""
    with draw.style():
        ax = draw.new_axes(ax, figsize=(_NARROW_IN, 0.7 + 0.48 * len(frame)))
        at = np.arange(len(frame))[::-1]
        ax.barh(at, frame["probability_pct"], color="#0072B2", alpha=0.6, edgecolor=draw.INK, height=0.6)
        for y, value in zip(at, frame["probability_pct"], strict=True):
            ax.text(
                value + 1,
                y,
                probability_words(value),
                va="center",
                fontsize=9,
            )
        ax.set_yticks(at, [fill(text, 24) for text in frame["cause"]])
        ax.set_xlim(0, 118)
        ax.set_xticks([0, 25, 50, 75, 100])
        ax.set_xlabel("probability, alone or with another cause [%]")
        ax.grid(visible=False)
    return ax


def draw_readings(readings: pd.DataFrame, finding, *, started: str, ax=None):
    """Draw this hatch's readings of the most telling quantity over the hours, with the usual value."""
    table = pd.DataFrame(finding.details["differences"])
    with draw.style():
        ax = draw.new_axes(ax, figsize=(_NARROW_IN, 2.6))
        of_hatch = standard_readings(readings[readings["hatch"] == finding.subject])
        quantities = [q for q in table["quantity"] if q in set(of_hatch["quantity"])] if len(table) else []
        if not quantities:
            ax.text(
                0.5, 0.5, "no reading was taken during this hatch", ha="center", va="center", transform=ax.transAxes
            )
            ax.set_axis_off()
            return ax
        row = table[table["quantity"] == quantities[0]].iloc[0]
        of_hatch = of_hatch[of_hatch["quantity"] == quantities[0]]
        hours = (to_utc(of_hatch["taken"]) - pd.Timestamp(started)).dt.total_seconds() / 3600.0
        ax.plot(hours, of_hatch["value"].astype(float), marker="o", color="#D55E00", label="this hatch")
        is_usual = row["reference"] == USUAL
        if is_usual:
            ends = (row["usual"] - 2 * row["usual_sd"], row["usual"] + 2 * row["usual_sd"])
            ax.axhspan(*ends, color="#0072B2", alpha=0.12, linewidth=0)
        draw.reference_line(row["usual"], row["reference"], ax=ax)
        unit = f" [{row['unit']}]" if row["unit"] else ""
        name = "pH" if quantities[0] == "ph" else quantities[0]
        ax.set_ylabel(f"{name}{unit}")
        ax.set_xlim(left=0)
        ax.set_xlabel("hours since wetting [h]")
        band = "\n(band: where 19 of 20 hatches lie)" if is_usual else ""
        ax.set_title(f"Readings of {name} during this hatch{band}")
    return ax
