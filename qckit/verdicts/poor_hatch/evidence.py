"""The lines of evidence of a studied poor hatch: what was asked, what the records answered, which way it points."""

from __future__ import annotations

import math

import numpy as np

from qckit.verdicts.finding import Evidence
from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.likelihood import stated

__all__ = ["cause_rows", "collect_evidence", "one_in", "three_figures", "trace_shares"]

_TRACE_WORDS = {
    "same": "the usual mix",
    "late": "late (umbrellas and unopened cysts)",
    "heat": "harmed by heat",
    "blocked": "cysts that do not open",
    "slowed": "few open, and late",
    "arrest": "umbrella arrest",
    "starved": "stalled for want of oxygen",
    "lost": "hatched but gone (or not counted)",
    "crowded": "crowded",
    "unwetted": "never wetted",
    "empty": "empty product",
    "short": "everything short alike",
    "swapped": "shells taken for cysts",
    "fits none": "none of these",
}


def three_figures(value):
    """Three significant figures: counting knows no more."""
    return float(f"{value:.3g}") if math.isfinite(value) else value


def one_in(p):
    """Say how often chance gives a hatch as low."""
    if not math.isfinite(p):
        return "how often is not known"
    if p >= 0.5:
        return "an ordinary hatch"
    if p < 1e-4:  # the tail of the law is not known further out
        return "fewer than 1 hatch in 10,000 is as low by chance"
    return f"about 1 hatch in {1 / p:,.0f} is as low by chance"


def collect_evidence(case, settings) -> list[Evidence]:
    """Gather the lines of evidence in the order in which one asks: poor? the count? the stages? what was different?"""
    pct, per_g = case.levels
    lines = [_poor_line(pct, "%", 1), _poor_line(per_g, "per g", 0)]
    lines = [line for line in lines if line]
    if case.limits_sentence:
        lines.append(
            Evidence(
                "Against the frozen limits?",
                case.limits_sentence,
                "for" if "below" in case.limits_sentence else "against",
            )
        )
    else:
        none = "No limits are frozen for this lot; its own earlier hatches stand in for them."
        lines.append(Evidence("Against the frozen limits?", none, "unknown"))
    lines.append(_test_line(case))
    lines.append(_minimum_line(pct, settings))
    lines.append(_day_line(case))
    lines += _count_lines(case)
    lines.append(_trace_line(case))
    if case.lengths is not None:
        far = case.lengths.factor > 3
        lines.append(Evidence("Have the nauplii grown?", case.lengths.sentence, "for" if far else "against"))
    for row in case.differences.drop_duplicates("sentence").head(4).itertuples():
        bad = row.expected_loss_pct >= 2 and abs(row.unusual) > 2
        lines.append(Evidence("What was different?", _capital(row.sentence) + ".", "for" if bad else "neutral"))
    for row in case.context.itertuples():
        if row.what in ("cone", "pack", "change") or row.is_odd:
            question = "What changed shortly before?" if row.what == "change" else "What stood around it?"
            lines.append(Evidence(question, _capital(row.sentence), "for" if row.is_odd else "neutral"))
    lines += [Evidence("What did a check show?", said, "neutral") for said in case.check_sentences]
    return lines


def _capital(text):
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def _poor_line(level, unit, digits):
    if not math.isfinite(level.usual):
        return Evidence("Is it poor?", "This lot has no earlier hatch to compare with.", "unknown")
    if not math.isfinite(level.value):
        return None
    value, low, high = (v if digits else three_figures(v) for v in (level.value, level.usual_low, level.usual_high))
    of = f"{level.n_hatches} hatch{'es' if level.n_hatches > 1 else ''}"
    text = (
        f"{value:,.{digits}f} {unit}; 95 in 100 of this lot's hatches give {low:,.{digits}f} to "
        f"{high:,.{digits}f} ({of}): {one_in(level.p_low)}."
    )
    return Evidence("Is it poor?", text, "for" if level.p_low < 0.025 else "against")


def _test_line(case):
    pct, test = case.levels[0], case.test
    if not len(test):
        return Evidence("Against the lot's own test?", "No standard test of this lot is in the log.", "unknown")
    least, most = test["hatch_pct"].min(), test["hatch_pct"].max()
    day = str(test["started"].iloc[0])[:10]
    here = f"{pct.value:.1f} % here"
    text = f"{here}; {len(test)} cones of the lot's standard test ({day}) gave {least:.0f} to {most:.0f} %."
    return Evidence("Against the lot's own test?", text, "for" if pct.high < least else "against")


def _minimum_line(pct, settings):
    least = settings.limits.min_hatch_pct
    below = pct.value < least
    return Evidence(
        "Is it below the site's own minimum?",
        f"{pct.value:.1f} % against at least {least:.0f} %.",
        "for" if below else "against",
    )


def _day_line(case):
    question = "Were other cones of the day poor too?"
    if case.same_day.empty:
        return Evidence(question, "No other hatch of that day was counted.", "unknown")
    said, low = [], 0
    day = case.same_day.head(4)
    for r in day.itertuples():
        is_low = r.p_low < 0.025
        low += is_low
        usual = f", usual {r.usual_pct:.0f} %{' (low too)' if is_low else ''}" if math.isfinite(r.usual_pct) else ""
        said.append(f"{r.hatch} (cone {r.cone}, {r.lot}) {r.hatch_pct:.0f} %{usual}")
    alone = ": it is this hatch alone" if case.p_low < 0.05 else ""
    what = (
        f"none of them{alone}"
        if not low
        else "all of them: the room, the water or the lot"
        if low == len(day)
        else f"{low} of {len(day)}"
    )
    return Evidence(
        question, f"{'; '.join(said)}. Low for their lots: {what}.", "for" if alone and low == 0 else "neutral"
    )


def _count_lines(case):
    # a count in doubt speaks against a hatch that is truly poor
    points = {"doubtful": "against", "ruled out": "for", "cannot be told": "unknown"}
    lines = []
    for r in case.counted.itertuples():
        again = f" Look again at {r.look_again}." if r.look_again else ""
        text = f"{_capital(r.check)}: {r.result}; {r.seen}.{again}"
        lines.append(Evidence("Is it the count?", text, points[r.result]))
    return lines


def trace_shares(case) -> dict:
    """How well each trace alone fits the stage mix, scaled to add up to 1 (equal weights before)."""
    logs = np.array(list(case.weights.trace.values()))
    share = np.exp(logs - logs.max())
    return {_TRACE_WORDS[k]: float(v) for k, v in zip(case.weights.trace, share / share.sum(), strict=True)}


def _trace_line(case):
    if not case.usual.n_hatches:
        return Evidence("What do the stages say?", "Nothing to compare the stage mix with.", "unknown")
    best = sorted(trace_shares(case).items(), key=lambda item: -item[1])[:3]
    text = "; ".join(f"{name} {100 * v:.0f} %" for name, v in best if v > 0.02)
    return Evidence(
        "What do the stages say?", f"From the counts alone, all traces held equal before: {text}.", "neutral"
    )


def cause_rows(case, most: int = 6) -> list[dict]:
    """Candidate causes, ranked, each with what speaks for and against it in one line."""
    rows = []
    shares = case.weights.trace
    best = max(shares.values())
    for code, weight in case.weights.ranked()[:most]:
        c = cause(code)
        fits = shares.get(c.trace, shares["same"]) - best
        told = case.differences[case.differences["cause"] == code]
        speaks, against = [], []
        (speaks if fits > -2 else against).append(f"the stage mix {'fits' if fits > -2 else 'does not fit'} ({c.sign})")
        if len(told):
            r = told.iloc[0]
            bad = r["expected_loss_pct"] >= 2
            (speaks if bad else against).append(r["sentence"])
        elif c.quantity and c.table:
            against.append(f"{c.quantity} was not measured, so it cannot be confirmed")
        _add_other_signs(case, code, speaks, against)
        if c.reach in ("lot", "room") and len(case.same_day):
            mean = float(case.same_day["hatch_pct"].mean())
            (speaks if case.row["hatch_pct"] > mean - 8 else against).append(
                f"other cones of the day gave {mean:.0f} %"
            )
        rows.append(
            {
                "code": code,
                "cause": c.words,
                "probability": stated(weight),
                "loss_pct": 100 * case.weights.strength[code],
                "speaks_for": "; ".join(speaks),
                "speaks_against": "; ".join(against),
                "source": c.source,
            }
        )
    return rows


_COUNT_SIGNS = {
    "missed": ("photo flags", "person against photo"),
    "swapped": ("photo flags", "person against photo"),
    "uneven": ("mixing",),
    "gradient": ("light gradient",),
    "amount": ("mass and volumes",),
    "empty": ("mass and volumes",),
}


def _add_other_signs(case, code, speaks, against):
    """What the lengths of the nauplii and the checks of the count say of a cause."""
    if code == "overlong" and case.lengths is not None:
        (speaks if case.lengths.factor > 1.5 else against).append(case.lengths.sentence.rstrip("."))
    for name in _COUNT_SIGNS.get(code, ()):
        for r in case.counted[case.counted["check"].str.startswith(name)].itertuples():
            if r.result != "cannot be told":
                (speaks if r.result == "doubtful" else against).append(f"{r.check}: {r.seen}")
