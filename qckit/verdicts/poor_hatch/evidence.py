"""The lines of evidence of a studied poor hatch: what was asked, what the records answered, which way it points."""

from __future__ import annotations

import math
from dataclasses import asdict

import numpy as np

from qckit.hatch import too_many
from qckit.quantities import CONDITIONS
from qckit.verdicts.finding import Evidence
from qckit.verdicts.lots.expected import expected_words
from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.checks import CHECKS
from qckit.verdicts.poor_hatch.looks import later_sentence, other_counts_sentences
from qckit.words import capital, figures, plural, spaced

__all__ = ["EVIDENCE_CODES", "cause_rows", "collect_evidence", "lot_sentence", "one_in", "trace_shares"]

EVIDENCE_CODES = (
    "poor",
    "limits",
    "minimum",
    "lot",
    "test",
    "day",
    "count",
    "stages",
    "other_counts",
    "later",
    "lengths",
    "difference",
    "sheet",
    "measured_again",
    "changed",
    "around",
    "month",
    "check",
)
"""What a line of evidence is about."""

_LOW = 0.025  # a hatch as low by chance in one of forty points to a poor hatch
_FITS = 2.0  # a trace this much (log) less likely than the best does not fit


def one_in(p):
    """Say how often chance gives a hatch as low."""
    if not math.isfinite(p):
        return "how often is not known"
    if p >= 0.5:
        return "an ordinary hatch"
    if p < 1e-4:  # the tail of the law is not known further out
        return f"fewer than 1 hatch in {spaced(10_000)} is as low by chance"
    if p >= 0.1:
        of_ten = round(10 * p)
        return f"about {plural(of_ten, 'hatch', 'hatches')} in 10 {'is' if of_ten == 1 else 'are'} as low by chance"
    return f"about 1 hatch in {figures(1 / p, 2)} is as low by chance"


def collect_evidence(case, settings) -> list[Evidence]:
    """Gather the lines of evidence in the order in which one asks: poor? the lot? the count? the stages? what else?"""
    pct, per_g = case.levels
    if case.row["is_impossible"]:
        why = f"It cannot be told: {too_many(case.row).why}."
        return [Evidence("Is it poor?", why, "unknown", "poor", {"figure": per_g.name}), *_look_lines(case)]
    lines = [line for line in (_poor_line(pct, "%", 0), _poor_line(per_g, "nauplii per gram", None)) if line]
    lines.append(_limits_line(case))
    lines.append(_minimum_line(pct, settings))
    lines.append(_lot_line(case))
    lines.append(_test_line(case))
    lines.append(_day_line(case))
    lines += _count_lines(case)
    lines.append(_trace_line(case))
    return [*lines, *_look_lines(case), *_circumstance_lines(case), *_later_lines(case)]


def _look_lines(case):
    """What other counts of the hatch and the lengths of its nauplii showed."""
    lines = []
    looks = [{"kind": k.kind, "counted_by": k.counted_by, "hatch_pct": k.counts["hatch_pct"]} for k in case.looks]
    others = [values for values in looks if values["kind"] in ("repeat", "recount")]
    for text, values in zip(other_counts_sentences(case.looks), others, strict=True):
        lines.append(Evidence("What did other counts show?", text, "neutral", "other_counts", values))
    later = case.look("later")
    if later is not None:
        values = {"hours": later.hours, "hatch_pct": later.counts["hatch_pct"]}
        text = capital(later_sentence(case.looks[0], later))
        lines.append(Evidence("Did it hatch on?", text, "neutral", "later", values))
    if case.lengths is not None:
        far = case.lengths.factor > 3
        values = {"median_um": case.lengths.median_um, "usual_um": case.lengths.usual_um, "z": case.lengths.z}
        points = "for" if far else "neutral"
        lines.append(Evidence("Have the nauplii grown?", case.lengths.sentence, points, "lengths", values))
    return lines


def _circumstance_lines(case):
    """What was different, what the sheet says, what was measured again and what stood around."""
    lines = []
    for row in case.differences.drop_duplicates("sentence").head(4).itertuples():
        values = {"quantity": row.quantity, "value": row.value, "usual": row.usual, "cause": row.cause}
        values["expected_loss_pct"] = row.expected_loss_pct
        points = "for" if row.is_far else "neutral"
        lines.append(Evidence("What was different?", capital(row.sentence) + ".", points, "difference", values))
    for s in case.phrases:
        values = {"cause": s.cause, "words": s.words, "factor": s.factor, "where": s.where}
        lines.append(Evidence("What does the sheet say?", _sheet_sentence(s), "for", "sheet", values))
    for b in case.read_beside:
        text = f"{capital(b.sentence)}."
        lines.append(Evidence("What was different?", text, "for", "difference", asdict(b)))
    for r in case.remeasured:
        text = f"{capital(r.sentence)}."
        lines.append(Evidence("What was measured again?", text, "neutral", "measured_again", asdict(r)))
    for row in case.context.itertuples():
        if row.what in ("cone", "pack", "change") or row.is_odd:
            changed = row.what == "change"
            question = "What changed shortly before?" if changed else "What stood around it?"
            values = {"what": row.what, "name": row.name, "points": row.points}
            points = "for" if row.is_odd else "neutral"
            code = "changed" if changed else "around"
            lines.append(Evidence(question, capital(row.sentence), points, code, values))
    return lines


def _later_lines(case):
    """What a month's review found, and what was looked at since."""
    lines = []
    for c in case.month_found[:2]:
        points = "for" if c["effect"] < 0 else "neutral"
        values = {k: v for k, v in c.items() if k != "sentence"}
        lines.append(Evidence("What did a month's review find?", c["sentence"], points, "month", values))
    for a in case.answers:
        values = {"check": a.code, "outcome": a.outcome, "is_yes": a.is_yes}
        lines.append(Evidence("What did a check show?", _answer_sentence(a), "neutral", "check", values))
    return lines


def _poor_line(level, unit, digits):
    if not math.isfinite(level.usual):
        none = "This lot has no earlier hatch to compare with."
        return Evidence("Is it poor?", none, "unknown", "poor", {"figure": level.name})
    if not math.isfinite(level.value):
        return None
    show = (lambda v: f"{v:.{digits}f}") if digits is not None else figures
    text = (
        f"{show(level.value)} {unit}; 95 in 100 of this lot's hatches give {show(level.usual_low)} to "
        f"{show(level.usual_high)} ({plural(level.n_hatches, 'hatch')}): {one_in(level.p_low)}."
    )
    values = {"figure": level.name, "value": level.value, "p_low": level.p_low, "n_hatches": level.n_hatches}
    values |= {"usual_low": level.usual_low, "usual_high": level.usual_high}
    return Evidence("Is it poor?", text, "for" if level.p_low < _LOW else "against", "poor", values)


def _limits_line(case):
    question = "Against the frozen limits?"
    if not case.limits:
        none = "No limits are frozen for this lot; its own earlier hatches stand in for them."
        return Evidence(question, none, "unknown", "limits", {})
    points = "for" if case.limits["side"] == "below" else "against"
    return Evidence(question, case.limits["sentence"], points, "limits", case.limits)


def _minimum_line(pct, settings):
    least = settings.limits.min_hatch_pct
    text = f"{pct.value:.0f} % against at least {least:.0f} %."
    points, values = "for" if pct.value < least else "against", {"hatch_pct": pct.value, "minimum": least}
    return Evidence("Is it below the site's own minimum?", text, points, "minimum", values)


def lot_sentence(case) -> str:
    """Say what the lot gives and what was to be expected of it, and whence."""
    w = case.world
    if not math.isfinite(w.level_pct):
        return f"{case.row['lot']} has no hatch of its own to be judged by."
    gives = f"{case.row['lot']} gives {w.level_pct:.0f} %"
    has_grams = math.isfinite(w.level_per_g)
    gives += f" and {figures(w.level_per_g, 2)} full cysts per gram" if has_grams else ""
    return f"{gives}; {expected_words(w.prospect, with_grams=has_grams, age=w.age_words)}."


def _lot_line(case):
    lot = max(case.weights.of("embryos"), case.weights.of("empty"))
    points = "for" if lot >= 0.5 else "unknown" if not math.isfinite(case.world.level_pct) else "neutral"
    w = case.world
    values = {"lot": case.row["lot"], "hatch_pct": w.level_pct, "expected_pct": w.prospect.pct}
    values |= {"full_cysts_per_g": w.level_per_g, "expected_full_cysts_per_g": w.prospect.per_g}
    return Evidence("Is it the lot?", lot_sentence(case), points, "lot", values)


def _test_line(case):
    pct, test = case.levels[0], case.test
    if not len(test):
        none = "No standard test of this lot is in the log."
        return Evidence("Against the lot's own test?", none, "unknown", "test", {})
    least, most = test["hatch_pct"].min(), test["hatch_pct"].max()
    day = str(test["started"].iloc[0])[:10]
    text = f"{pct.value:.0f} % here; {plural(len(test), 'cone')} of the lot's standard test ({day}) gave "
    text += f"{least:.0f} to {most:.0f} %."
    values = {"hatch_pct": pct.value, "test_low": float(least), "test_high": float(most), "n_cones": len(test)}
    return Evidence("Against the lot's own test?", text, "for" if pct.high < least else "against", "test", values)


def _day_line(case):
    question = "Were other cones of the day poor too?"
    if case.same_day.empty:
        return Evidence(question, "No other hatch of that day was counted.", "unknown", "day", {"n": 0, "low": 0})
    parts, low = [], 0
    day = case.same_day.head(4)
    for r in day.itertuples():
        is_low = r.p_low < _LOW
        low += is_low
        usual = f", usual {r.usual_pct:.0f} %{' (low too)' if is_low else ''}" if math.isfinite(r.usual_pct) else ""
        parts.append(f"{r.hatch} (cone {r.cone}, {r.lot}) {r.hatch_pct:.0f} %{usual}")
    alone = ": it is this hatch alone" if case.p_low < 0.05 else ""
    what = (
        f"none of them{alone}"
        if not low
        else "all of them: the room, the water or the lot"
        if low == len(day)
        else f"{low} of {len(day)}"
    )
    points = "for" if alone and low == 0 else "neutral"
    text = f"{'; '.join(parts)}. Low for their lots: {what}."
    return Evidence(question, text, points, "day", {"n": len(day), "low": low, "hatches": list(day["hatch"])})


def _count_lines(case):
    # a count in doubt speaks against a hatch that is truly poor
    points = {"doubtful": "against", "ruled out": "for", "cannot be told": "unknown"}
    lines = []
    for r in case.counted.itertuples():
        again = f" Look again at {r.look_again}." if r.look_again else ""
        result = r.result
        if r.result == "ruled out" and math.isfinite(r.beyond_pct):
            result = f"ruled out beyond {r.beyond_pct:.0f} %"
        values = {"look": r.code, "result": r.result, "beyond_pct": r.beyond_pct}
        text = f"{capital(r.check)}: {result}; {r.seen}.{again}"
        lines.append(Evidence("Is it the count?", text, points[r.result], "count", values))
    return lines


def trace_shares(case) -> dict:
    """How well each trace alone fits the stage mix, scaled to add up to 1 (equal weights before)."""
    logs = np.array(list(case.trace_fits.values()))
    share = np.exp(logs - logs.max())
    return {k: float(v) for k, v in zip(case.trace_fits, share / share.sum(), strict=True)}


def _trace_line(case):
    if not case.usual.n_hatches:
        return Evidence("What do the stages say?", "Nothing to compare the stage mix with.", "unknown", "stages", {})
    best = sorted(trace_shares(case).items(), key=lambda item: -item[1])[:3]
    text = "; ".join(f"{name} {100 * v:.0f} %" for name, v in best if v > 0.02)
    sentence = f"From the counts alone, all traces held equal before: {text}."
    return Evidence("What do the stages say?", sentence, "neutral", "stages", dict(best))


def _sheet_sentence(phrases):
    where = {"hatch": "The sheet", "lot": "The lot's notes"}.get(phrases.where, f"The sheet of {phrases.where}")
    return f"{where}: \u201c{phrases.words}\u201d. That speaks for: {cause(phrases.cause).words}."


def _answer_sentence(answer):
    item = next((c for c in CHECKS if c.code == answer.code), None)
    title = item.title if item else answer.code
    if answer.why:
        return f"{title}: {answer.outcome} ({answer.why}; it changes nothing)."
    if answer.is_yes is None or item is None:
        return f"{title}: {answer.outcome}."
    return f"{title}: {answer.outcome} (which means: {item.if_yes if answer.is_yes else item.if_no})."


def cause_rows(case) -> list[dict]:
    """The six likeliest causes, ranked, each with what speaks for and against it in one line."""
    return [_cause_row(case, code, weight) for code, weight in case.weights.ranked()[:6]]


def _cause_row(case, code, weight):
    c, best = cause(code), max(case.trace_fits.values())
    fits = case.trace_fits.get(c.trace.words, -math.inf) - best > -_FITS
    speaks, against = [], []
    if c.of_lot:
        (speaks if weight >= 0.5 else against).append(lot_sentence(case).rstrip("."))
    else:
        (speaks if fits else against).append(f"the stage mix {'fits' if fits else 'does not fit'} ({c.sign})")
    of_cause = case.differences[case.differences["cause"] == code]
    if len(of_cause):
        r = of_cause.iloc[0]
        (speaks if r["is_far"] else against).append(r["sentence"])
    elif c.reading is not None and all(b.cause != code for b in case.read_beside):
        against.append(f"{_quantity(c.reading.quantity)} was not measured, so it cannot be confirmed")
    speaks += [b.sentence for b in case.read_beside if b.cause == code]
    speaks += [
        f"the sheet{f' of {s.where}' if s.where.startswith('cone ') else ''} says \u201c{s.words}\u201d"
        for s in case.phrases
        if s.cause == code
    ]
    _add_other_signs(case, c, speaks, against)
    if c.reach == "room" and len(case.same_day):
        mean = float(case.same_day["hatch_pct"].mean())
        (speaks if case.row["hatch_pct"] > mean - 8 else against).append(f"other cones of the day gave {mean:.0f} %")
    return {
        "code": code,
        "cause": c.words,
        "probability": case.weights.stated(code),
        "loss_pct": 100 * case.weights.strength[code],
        "speaks_for": "; ".join(speaks),
        "speaks_against": "; ".join(against),
        "source": c.source,
    }


def _quantity(name):
    return {"hours": "the hours", "density": "the cysts per litre"}.get(name) or CONDITIONS[name].label


_COUNT_SIGNS = {
    "missed": ("flags", "recount"),
    "swapped": ("flags", "recount"),
    "uneven": ("mixing", "repeat"),
    "gradient": ("light", "repeat"),
    "amount": ("amounts",),
}
"""Cause -> codes of the looks at the count that tell of it."""


def _add_other_signs(case, c, speaks, against):
    """What lengths, second weighings and the checks of the count say of a cause."""
    if c.code == "overlong" and case.lengths is not None:
        (speaks if case.lengths.factor > 1.5 else against).append(case.lengths.sentence.rstrip("."))
    if c.code == "amount":
        speaks += [r.sentence for r in case.remeasured]
    for code in _COUNT_SIGNS.get(c.code, ()):
        for r in case.counted[case.counted["code"] == code].itertuples():
            if r.result != "cannot be told":
                (speaks if r.result == "doubtful" else against).append(f"{r.check}: {r.seen}")
