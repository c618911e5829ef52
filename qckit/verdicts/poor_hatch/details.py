"""The finding's details: codes and numbers for the page, the notebook and whoever reads the JSON."""

from __future__ import annotations

import math
from dataclasses import asdict

import numpy as np

from qckit.verdicts.poor_hatch.causes import CAUSES, cause
from qckit.verdicts.poor_hatch.conditions.factors import rank_factors
from qckit.verdicts.poor_hatch.evidence import cause_rows, lot_sentence, trace_shares
from qckit.verdicts.poor_hatch.likelihood.joint import PRIORS
from qckit.words import plural, rounded

__all__ = ["TITLES", "details_of"]

_TONE = {
    "not-poor": "good",
    "chance": "good",
    "cause-found": "bad",
    "cause-likely": "attention",
    "count-doubtful": "attention",
    "not-enough-evidence": "unknown",
}
TITLES = {
    "not-poor": "Not poor",
    "chance": "Low by chance",
    "cause-found": "Cause found",
    "cause-likely": "Likely cause",
    "count-doubtful": "Doubt the count first",
    "not-enough-evidence": "Not enough evidence",
}
"""Verdict in words."""

_DAY_COLUMNS = ("hatch", "lot", "cone", "hatch_pct", "usual_pct", "hatching_efficiency_per_g")


def details_of(case, verdict, named, p, plans, check_texts, then, settings) -> dict:
    """Gather the details of a finding."""
    names = ("nauplius", "umbrella", "cyst")
    counts = np.array([case.row[k] for k in ("nauplii", "umbrella", "unhatched")], dtype=float)
    mix = counts / max(counts.sum(), 1.0)
    first = case.looks[0].counts
    return {
        "tone": "attention" if verdict == "not-poor" and named else _tone(case, verdict),
        "verdict_words": TITLES[verdict],
        "confidence": settings.limits.confidence,
        "named": list(named),
        "probability": p if named else None,
        "p_low": case.p_low,
        "causes": cause_rows(case),
        "none_probability": case.weights.chance,
        "other_probability": case.weights.beyond,
        "assumed": _assumed(),
        "limits": _limits(case),
        "sources": [{"code": c.code, "cause": c.words, "sign": c.sign, "source": c.source} for c in CAUSES],
        "pairs": [
            {"causes": list(k), "probability": case.weights.stated_pair(k)}
            for k, _ in sorted(case.weights.pairs.items(), key=lambda item: -item[1])[:3]
        ],
        "traces": trace_shares(case) if case.usual.n_hatches else {},
        "mix_pct": dict(zip(names, (100 * mix).tolist(), strict=True)),
        "usual_mix_pct": dict(zip(names, (100 * case.usual.mix[:3]).tolist(), strict=True)),
        "shells_per_opened": first["shells"] / max(first["shell_opened"], 1.0),
        "usual_shells_per_opened": float(np.exp(case.usual.mean[2])),
        "looks": [
            {"kind": k.kind, "counted_by": k.counted_by, "hours": k.hours, "samples": list(k.names)} | k.counts
            for k in case.looks
        ],
        "sheet_says": [asdict(s) for s in case.phrases],
        "measured_again": case.remeasured,
        "answers": [asdict(a) for a in case.answers],
        "lot_level": _lot(case),
        "differences": case.differences.to_dict("records"),
        "site_effects": case.effects.to_dict("records"),
        "context": case.context.to_dict("records"),
        "month_found": case.month_found,
        "same_day": _day(case),
        "counted": case.counted.to_dict("records"),
        "recount": case.recount,
        "lengths": None if case.lengths is None else asdict(case.lengths),
        "factors": rank_factors(case.differences, case.context, usual_pct=case.levels[0].usual).to_dict("records"),
        "usual_hatches": list(case.usual.hatches),
        "checks": [_check(i, check_texts, then) for i in plans],
        "usual_range_pct": {"low": case.levels[0].usual_low, "high": case.levels[0].usual_high},
        "started": str(case.row["started"]),
        "alt": _alt(case, mix),
        "feed": case.feed,
        "lot": case.row["lot"],
        "cone": case.row["cone"],
    }


def _tone(case, verdict):
    """A hatch whose lot falls behind what was to be expected is not shown in green."""
    w = case.world
    behind = math.isfinite(w.level_pct) and w.n_hatches >= 3 and w.level_pct < w.prospect.low_pct
    return "attention" if behind and _TONE[verdict] == "good" else _TONE[verdict]


def _check(item, check_texts, then):
    question, plan = check_texts[item.code]
    return {
        "check": item.code,
        "title": item.title,
        "question": question,
        "plan": plan,
        "if_yes": item.if_yes,
        "if_no": item.if_no,
        "then_yes": then[item.code][0],
        "then_no": then[item.code][1],
        "no_leaves_it_first": then[item.code][2],
        "hours": item.hours,
        "splits": list(item.speaks_for),
    }


def _lot(case):
    w, e = case.world, case.world.prospect
    return {
        "sentence": lot_sentence(case),
        "hatch_pct": w.level_pct,
        "full_cysts_per_g": w.level_per_g,
        "expected_pct": e.pct,
        "expected_low_pct": e.low_pct,
        "expected_full_cysts_per_g": e.per_g,
        "age": list(w.age_words),
        **{k: v for k, v in e.to_dict().items() if k in ("test_pct", "n_tests", "claim_pct", "others")},
    }


def _assumed() -> list[dict]:
    """What was assumed before looking: each explanation with its share. [%]"""
    total = sum(c.prior for c in CAUSES)
    rows = [("nothing but chance", 100 * PRIORS["none"])]
    rows += [(c.words, 100 * PRIORS["one"] * c.prior / total) for c in CAUSES]
    rows += [("two causes together", 100 * PRIORS["two"]), ("something else", 100 * PRIORS["other"])]
    return [{"explanation": words, "share_pct": share} for words, share in rows]


def _limits(case) -> list[str]:
    """What "ruled out" could have missed, and what this hatch's counts cannot show."""
    lines = [
        f"{r.check}: an error of less than {r.beyond_pct:.0f} % would have been missed in one of five hatches"
        for r in case.counted.itertuples()
        if r.result == "ruled out" and math.isfinite(r.beyond_pct)
    ]
    least = _least_loss(case)
    if math.isfinite(least):
        lines.append(
            f"nauplii per gram: a loss of less than {least:.0f} % would have passed for chance in one of five hatches"
        )
    same = {c.code: c.same_trace for c in CAUSES}
    first = case.weights.ranked()[0][0]
    if same[first]:
        lines.append(
            f"counts of one reading cannot tell that {cause(first).words} from these: "
            + "; ".join(cause(c).words for c in same[first])
        )
    return lines


def _least_loss(case):
    """Loss of nauplii per gram that would have been seen as low (one in twenty) in four of five hatches. [%]"""
    level = case.levels[1]
    if not (math.isfinite(level.usual) and level.usual > 0 and level.usual_low > 0):
        return math.nan
    sd = math.log(level.usual / level.usual_low) / 1.96
    return 100 * (1 - math.exp(-(1.64 + 0.84) * sd))


def _alt(case, mix) -> dict:
    """What the report's charts show, in words with numbers."""
    pct, usual = case.levels[0], 100 * case.usual.mix[:3]
    ranked = ", ".join(f"{cause(c).words} {100 * case.weights.stated(c):.0f} %" for c, _ in case.weights.ranked()[:3])
    reading = case.differences["sentence"].iloc[0] if len(case.differences) else "no reading"
    return {
        "history": f"Hatching percentage of this lot's {plural(pct.n_hatches, 'hatch')} in order. This hatch: "
        f"{pct.value:.0f} %; usual {pct.usual:.0f} %, 95 in 100 between {pct.usual_low:.0f} and "
        f"{pct.usual_high:.0f} %.",
        "mix": f"Stage mix. This hatch: nauplii {100 * mix[0]:.0f} %, umbrellas {100 * mix[1]:.0f} %, "
        f"cysts {100 * mix[2]:.0f} %. Usual: {usual[0]:.0f}, {usual[1]:.0f} and {usual[2]:.0f} %.",
        "readings": f"Readings during this hatch. {reading}.",
        "causes": f"Probability of the candidate causes: {ranked}.",
    }


def _day(case):
    """The day's other hatches, nauplii per gram to three figures, as everywhere."""
    table = case.same_day[list(_DAY_COLUMNS)]
    per_g = [rounded(v) for v in table["hatching_efficiency_per_g"]]
    return table.assign(hatching_efficiency_per_g=per_g).to_dict("records")
