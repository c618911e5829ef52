"""A studied hatch put into sentences: first screen, evidence, causes for and against, cautions."""

from __future__ import annotations

import math
from dataclasses import asdict

import numpy as np

from qckit.verdicts.finding import Figure, Finding
from qckit.verdicts.poor_hatch.causes import CAUSES, cause
from qckit.verdicts.poor_hatch.checks import OUTCOMES, plan_of
from qckit.verdicts.poor_hatch.evidence import cause_rows, collect_evidence, one_in, three_figures, trace_shares
from qckit.verdicts.poor_hatch.factors import rank_factors
from qckit.verdicts.poor_hatch.likelihood import stated
from qckit.verdicts.poor_hatch.reference import USUAL, usually

__all__ = ["put_into_words"]

_TONE = {
    "not-poor": "good",
    "chance": "good",
    "cause-found": "bad",
    "cause-likely": "attention",
    "count-doubtful": "attention",
    "not-enough-evidence": "unknown",
}
_TITLE = {
    "not-poor": "Not poor",
    "chance": "Low by chance",
    "cause-found": "Cause found",
    "cause-likely": "Likely cause",
    "count-doubtful": "Doubt the count first",
    "not-enough-evidence": "Not enough evidence",
}
_DAY_COLUMNS = ("hatch", "lot", "cone", "hatch_pct", "usual_pct", "hatching_efficiency_per_g")
_AT_ONCE = {
    "cold": "Warm the water to 28 °C and leave this cone running: late embryos can still hatch. Check the heater.",
    "hot": "Bring the water below 30 °C and check the heater; harmed embryos will not recover.",
    "salt": "Mix fresh water at 33 ppt for the next hatch; do not reuse this batch of water.",
    "ph": "Measure the pH of the fresh water; bring the next hatch to 8.0 to 8.5 with sodium bicarbonate, up to 1 g/l.",
    "oxygen": "Clean or change the air stone; use another cone until the oxygen at the bottom is back above 5 mg/l.",
    "dark": "Switch the light on (about 2,000 lux) and leave this cone running: resting embryos can still start.",
    "early": "Leave this cone running and count it again at the usual hour.",
    "overlong": "Harvest at once; feed soon, the nauplii have used up reserves. Harvest earlier next time.",
    "crowded": "Start the next hatch with fewer cysts per litre.",
    "unwetted": "Rinse the wall down, wet the cysts and stir before the next hatch; look at the air.",
    "broken": "Turn the air down until the cysts just stay up.",
    "embryos": "Do not dose by this lot's old figures: take another lot, or dose by what this hatch gave.",
    "empty": "Mix the pack, weigh a fresh portion; dose by what this portion gave.",
    "amount": "Check balance, pipette and water level before anything else.",
    "missed": "Count again before anything else: recount list below.",
    "swapped": "Count again before anything else: recount list below.",
    "uneven": "Mix the cone well and draw fresh subsamples before anything else.",
    "gradient": "Cover the cone against the light, mix it well and draw fresh subsamples before anything else.",
}


def put_into_words(case, verdict, named, plans, settings) -> Finding:
    """Write the finding of a studied case."""
    p = _probability(case, named)
    then = {item.code: [_then(case, item, OUTCOMES[word]) for word in ("yes", "no")] for item in plans}
    return Finding(
        kind="poor-hatch",
        subject=str(case.row["hatch"]),
        verdict=verdict,
        headline=_headline(case, verdict, named, p),
        figures=_figures(case),
        next_steps=_next_steps(case, verdict, named, plans),
        evidence=collect_evidence(case, settings),
        would_change=_would_change(case, plans, then),
        cautions=_cautions(case, named),
        left_out=_left_out(case),
        details=_details(case, verdict, named, p, plans, then, settings),
    )


def _probability(case, named):
    """Stated probability of what the headline names."""
    if not named:
        return math.nan
    if len(named) == 1:
        return stated(case.weights.of(named[0]))
    joint = case.weights.pairs.get(tuple(named)) or 0.0
    either = sum(case.weights.single[c] for c in named)
    either += sum(v for pair, v in case.weights.pairs.items() if set(pair) & set(named))
    return stated(max(joint, min(1.0, either)))


def _list(named, word="or"):
    said = [cause(c).words for c in named]
    return f" {word} ".join([", ".join(said[:-1]), said[-1]] if len(said) > 2 else said)


def _headline(case, verdict, named, p):
    row, pct, per_g = case.row, *case.levels
    what = f"Hatch {row['hatch']} ({row['lot']}, cone {row['cone']}) gave {pct.value:.0f} %"
    where = " " + _gives(pct.n_hatches)
    usual = f"{where} {pct.usual:.0f} %" if math.isfinite(pct.usual) else ""
    if verdict != "not-poor" and pct.p_low > 0.05 and per_g.p_low < 0.05:  # only the nauplii per gram are low
        what = what.replace(f" {pct.value:.0f} %", f" {three_figures(per_g.value):,.0f} nauplii per gram")
        usual = f"{where} {three_figures(per_g.usual):,.0f} (its hatching percentage, {pct.value:.0f} %, is not low)"
    if verdict == "not-poor":
        low = case.p_low
        return f"{what}{usual}: within what chance does, not a poor hatch ({one_in(low)}).{_all_the_same(case)}"
    if verdict == "chance":
        return f"{what}{usual}: low, but chance explains it; nothing points to a cause ({one_in(case.p_low)})."
    if verdict == "not-enough-evidence":
        if not case.usual.n_hatches:
            return f"{what}; this lot has no earlier hatch to compare with, so no cause can be named."
        if case.weights.other >= 0.5:
            other = _percent(case.weights.other)
            return (
                f"{what}{usual}: poor, and no cause that is known here fits ({other} that it is something else). "
                "Look at the water, the cone and the sheet afresh."
            )
        first = [cause(c).words for c, w in case.weights.ranked()[:2] if w > 0.1]
        most = f" First to check: {'; then: '.join(first)}." if first else ""
        return f"{what}{usual}: poor, and the evidence does not settle why.{most}"
    because = _because(case, named)
    sure = f" (probability {'above 95' if p > 0.95 else f'about {100 * p:.0f}'} %)"
    if verdict == "count-doubtful":
        return f"{what}{usual}. Doubt the measuring first: {_list(named)}{sure}.{because}"
    both = named in case.weights.pairs and case.weights.pairs[named] >= 0.5
    start = "Cause" if verdict == "cause-found" else "Likely cause"
    return f"{what}{usual}. {start}: {_list(named, 'and' if both else 'or')}{sure}.{because}"


def _gives(n):
    """Say what this lot gives and from how many hatches: one or two make nothing usual."""
    if n == 1:
        return "where this lot's only other hatch gave"
    return "where this lot's two other hatches gave on average" if n == 2 else "where this lot usually gives"


def _because(case, named):
    """Where it shows, whether the count holds, and how the day's other cones did, in one sentence."""
    signs = [s for s in (*_stage_sign(case), *(_reading_sign(case, code) for code in named)) if s]
    said = [f"it shows in {' and '.join(signs)}"] if signs else []
    results = case.counted["result"]
    is_count = bool(set(named) & {"missed", "gradient", "swapped", "uneven", "amount"})
    if not is_count and (results == "ruled out").sum() >= 3 and not (results == "doubtful").any():
        said.append("the count holds")
    low = case.same_day["p_low"] < 0.025
    if len(low) and not low.any():
        said.append(f"{_cones(case)} of the same day did as usual")
    elif len(low) and low.all():
        said.append("the other cones of the day were low too")
    text = "; ".join(said)
    return f" {text[:1].upper()}{text[1:]}." if text else ""


def _cones(case):
    """The cones of the day's other hatches, in words."""
    names = list(dict.fromkeys(case.same_day["cone"].astype(str)))
    return f"cones {', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else f"cone {names[0]}"


def _stage_sign(case):
    """The figure of the stage mix that strays furthest from the usual, in words; an empty list when none does."""
    row, usual = case.row, case.usual
    full = max(row["nauplii"] + row["umbrella"] + row["unhatched"], 1.0)
    pairs = [
        ("the umbrellas", row["umbrella"] / full, usual.mix[1], "%"),
        ("the unopened cysts", row["unhatched"] / full, usual.mix[2], "%"),
        (
            "the shells per opened cyst",
            row["shells"] / max(row["shell_opened"], 1.0),
            math.exp(usual.mean[2]),
            "",
        ),
        ("the full cysts per gram", row["full_cysts_per_g"], math.exp(usual.mean[3]), "g"),
    ]
    floor = {"%": 0.03, "": 0.05, "g": 1.0}
    strays = [
        (abs(math.log((a + floor[u]) / (b + floor[u]))), name, a, b, u)
        for name, a, b, u in pairs
        if math.isfinite(a) and math.isfinite(b)
    ]
    far, name, here, before, unit = max(strays, default=(0.0, "", 0.0, 0.0, ""))
    if far < 0.25:
        return []
    show = {"%": lambda v: f"{100 * v:.0f} %", "": lambda v: f"{v:.2f}", "g": lambda v: f"{three_figures(v):,.0f}"}
    return [f"{name} ({show[unit](here)}, {usually(case.usual.n_hatches)} {show[unit](before)})"]


def _reading_sign(case, code):
    """The reading of a cause where it was off, in words."""
    told = case.differences[case.differences["cause"] == code]
    if told.empty or told.iloc[0]["expected_loss_pct"] < 2:
        if code == "overlong" and case.lengths is not None and case.lengths.z > 2:
            return f"the nauplii's length ({case.lengths.median_um:.0f} µm, usually {case.lengths.usual_um:.0f})"
        return ""
    r = told.iloc[0]
    name = {"ph": "pH", "hours": "hours", "density": "cysts per litre"}.get(r["quantity"], r["quantity"])
    unit = f" {r['unit']}" if r["unit"] else ""
    digits = 0 if r["quantity"] == "light" else 1
    against = "usually" if r["reference"] == USUAL else r["reference"]
    return f"the {name} ({r['value']:.{digits}f}{unit}, {against} {r['usual']:.{digits}f})"


def _off(case):
    """The cause whose reading was off although the hatch is not poor; empty when none was."""
    code, weight = case.weights.ranked()[0]
    told = case.differences[case.differences["cause"] == code]
    return code if weight > 0.7 and len(told) and told.iloc[0]["expected_loss_pct"] >= 2 else ""


def _all_the_same(case):
    code = _off(case)
    return f" All the same, {cause(code).words}: see to it." if code else ""


def _figures(case):
    pct, per_g = case.levels
    feed = case.feed
    umbrella = case.row["umbrella"], case.row["nauplii"] + case.row["umbrella"] + case.row["unhatched"]
    word = usually(case.usual.n_hatches, "usual")
    usual = f"{word} {pct.usual:.0f} %" if math.isfinite(pct.usual) else "no earlier hatch of this lot"
    usual_g = f"{word} {three_figures(per_g.usual):,.0f}" if math.isfinite(per_g.usual) else ""
    return [
        Figure("hatch_pct", "hatching percentage", pct.value, pct.low, pct.high, "%", 1, usual),
        Figure(
            "umbrella_pct",
            "umbrellas",
            100 * umbrella[0] / max(umbrella[1], 1),
            *_wilson(*umbrella),
            "%",
            1,
            f"{word} {100 * case.usual.mix[1]:.1f} %" if case.usual.n_hatches else "",
        ),
        Figure(
            "nauplii_per_g",
            "nauplii per gram",
            *(three_figures(v) for v in (per_g.value, per_g.low, per_g.high)),
            "1/g",
            0,
            usual_g if math.isfinite(per_g.value) else "volume counted is not known",
        ),
        _missing_figure(feed),
    ]


def _missing_figure(feed):
    """What is missing for the next feed or, where that is covered, for the day."""
    if feed["missing"] > 0 or not feed["missing_day"] > 0:
        return Figure(
            "missing_million",
            "nauplii missing for the next feed",
            feed["missing"] / 1e6,
            unit="million",
            decimals=1,
            note=f"of {feed['needed'] / 1e6:.1f} million",
        )
    return Figure(
        "missing_million",
        "nauplii missing for the day",
        feed["missing_day"] / 1e6,
        unit="million",
        decimals=1,
        note=f"of {feed['needed_day'] / 1e6:.1f} million; the next feed is covered",
    )


def _wilson(k, n):
    from statsmodels.stats.proportion import proportion_confint

    if n <= 0:
        return math.nan, math.nan
    low, high = proportion_confint(k, n, method="wilson")
    return 100 * float(low), 100 * float(high)


def _next_steps(case, verdict, named, plans):
    """What to do in the next hour: settle a doubted count first; else the cone, then the feed, then the checks."""
    checks = [f"{_takes(item.hours)}): {_plan(case, item)}" for item in plans]
    by_count = " by the doubted count" if verdict == "count-doubtful" else ""
    feed = [f"Next feed{by_count}: {case.feed['sentence']}"]
    if _is_rich(case):
        rest = 100 * (case.row["unhatched"] + case.row["umbrella"]) / max(_full(case), 1.0)
        feed.append(
            f"Before this harvest is fed, separate it twice and look at a sieve sample: {rest:.0f} % of its "
            "full cysts did not hatch, and larvae cannot digest them."
        )
    if verdict == "not-poor":
        return [_AT_ONCE[_off(case)], *feed] if _off(case) else feed
    if verdict == "count-doubtful" and checks:
        return [f"First ({checks[0]}", *feed, *(f"To be surer ({text}" for text in checks[1:])]
    return [*(_AT_ONCE[c] for c in named[:2]), *feed, *(f"To be surer ({text}" for text in checks)]


def _takes(hours):
    return f"about {60 * hours:.0f} minutes" if hours < 1 else f"about {hours:.0f} hours"


def _plan(case, item):
    """A check's plan with this hatch's cone and lots in it."""
    others = [c for c in case.same_day["cone"].astype(str) if c != str(case.row["cone"])]
    return plan_of(
        item,
        cone=str(case.row["cone"]),
        lot=str(case.row["lot"]),
        other_cone=others[0] if others else "",
        other_lot=case.other_lot,
    )


def _then(case, item, factor):
    """What would be known after an outcome: the first causes with their stated probability."""
    after = case.weighing.weights(dict.fromkeys(item.speaks_for, factor))
    ranked = [("nothing but chance", after.none), *((cause(c).words, w) for c, w in after.ranked()[:3])]
    first = sorted(ranked, key=lambda pair: -pair[1])[:2]
    said = [f"{words} {_percent(stated(w))}" for words, w in first if w > 0.1]
    return "; ".join(said) if said else "no cause stands out"


def _percent(p):
    return "above 95 %" if p > 0.95 else f"{100 * p:.0f} %"


def _full(case):
    return case.row["nauplii"] + case.row["umbrella"] + case.row["unhatched"]


def _is_rich(case):
    """Tell whether a harvest holds more than a quarter of umbrellas and unhatched cysts (ours)."""
    return case.row["unhatched"] + case.row["umbrella"] > 0.25 * _full(case)


def _would_change(case, plans, then):
    said = [
        f"{item.title} ({_takes(item.hours)}). After a yes: {then[item.code][0]}. After a no: {then[item.code][1]}."
        for item in plans
    ]
    unread = [c.quantity for c in CAUSES if c.table and c.quantity not in set(case.differences["quantity"])]
    if unread:
        said.append(
            f"Not measured in this hatch: {', '.join(dict.fromkeys(unread))}. A reading would rule its cause in or out."
        )
    if case.row["df"] < 2:
        said.append("Only one or two subsamples were counted; six per cone halve the interval.")
    return said


def _cautions(case, named):
    said = []
    if _is_rich(case):
        said.append(
            "This harvest is rich in unhatched cysts and shells: separate it twice and look at a sieve sample "
            "before feeding; larvae cannot digest them and they can block the gut."
        )
    if {"overlong", "broken"} & set(named):
        said.append("Nauplii that are old or hurt feed less and foul the water; rinse well and feed soon.")
    if {"ph", "oxygen", "crowded"} & set(named):
        said.append(
            "Stalled embryos and sour water favour bacteria: rinse the harvest well, and clean the cone before use."
        )
    said.append("Keep mains apart from salt water: heaters off before draining, residual-current device, drip loops.")
    said.append(
        "If animals look ill or refuse feed, ask a veterinarian; this report judges the hatch, not their health."
    )
    return said


def _left_out(case):
    said = []
    if case.usual.set_aside:
        n, names = len(case.usual.set_aside), ", ".join(case.usual.set_aside[:8])
        said.append(f"Earlier hatches out of the ordinary, so not in what is usual ({n}): {names}.")
    if case.usual.note:
        said.append(f"What is usual rests on little: {case.usual.note}.")
    if not math.isfinite(case.row["shells"]):
        said.append("Shells were not counted, so they cannot witness for or against the nauplii.")
    if not math.isfinite(case.row["full_cysts_per_g"]):
        said.append("The counted volume is not known; cysts per gram could not be compared.")
    return said


def _details(case, verdict, named, p, plans, then, settings):
    stated = verdict in ("cause-found", "cause-likely", "count-doubtful")
    own = np.array([case.row[k] for k in ("nauplii", "umbrella", "unhatched")], dtype=float)
    mix = own / max(own.sum(), 1.0)
    return {
        "tone": "attention" if verdict == "not-poor" and _off(case) else _TONE[verdict],
        "verdict_words": _TITLE[verdict],
        "confidence": settings.limits.confidence,
        "named": list(named),
        "probability": p if stated else None,
        "p_low": case.p_low,
        "causes": cause_rows(case),
        "none_probability": case.weights.none,
        "other_probability": case.weights.other,
        "sources": [{"code": c.code, "cause": c.words, "sign": c.sign, "source": c.source} for c in CAUSES],
        "pairs": [
            {"causes": list(k), "probability": v}
            for k, v in sorted(case.weights.pairs.items(), key=lambda item: -item[1])[:3]
        ],
        "traces": trace_shares(case) if case.usual.n_hatches else {},
        "mix_pct": dict(zip(("nauplius", "umbrella", "cyst"), (100 * mix).tolist(), strict=True)),
        "usual_mix_pct": dict(zip(("nauplius", "umbrella", "cyst"), (100 * case.usual.mix[:3]).tolist(), strict=True)),
        "shells_per_opened": case.row["shells"] / max(case.row["shell_opened"], 1.0),
        "usual_shells_per_opened": float(np.exp(case.usual.mean[2])),
        "differences": case.differences.to_dict("records"),
        "site_effects": case.effects.to_dict("records"),
        "context": case.context.to_dict("records"),
        "same_day": _day(case),
        "counted": case.counted.to_dict("records"),
        "recount": case.recount,
        "lengths": None if case.lengths is None else asdict(case.lengths),
        "factors": rank_factors(case.differences, case.context, usual_pct=case.levels[0].usual).to_dict("records"),
        "usual_hatches": list(case.usual.hatches),
        "checks": [
            {
                "check": i.code,
                "title": i.title,
                "plan": _plan(case, i),
                "if_yes": i.if_yes,
                "if_no": i.if_no,
                "then_yes": then[i.code][0],
                "then_no": then[i.code][1],
                "hours": i.hours,
                "splits": list(i.speaks_for),
            }
            for i in plans
        ],
        "usual_range_pct": {"low": case.levels[0].usual_low, "high": case.levels[0].usual_high},
        "started": str(case.row["started"]),
        "alt": _alt(case, mix),
        "feed": case.feed,
        "lot": case.row["lot"],
        "cone": case.row["cone"],
    }


def _alt(case, mix) -> dict:
    """What the report's charts show, in words with numbers."""
    pct, usual = case.levels[0], 100 * case.usual.mix[:3]
    ranked = ", ".join(f"{cause(c).words} {100 * stated(w):.0f} %" for c, w in case.weights.ranked()[:3])
    told = case.differences["sentence"].iloc[0] if len(case.differences) else "no reading"
    return {
        "history": f"Hatching percentage of this lot's hatches in order. This hatch: {pct.value:.0f} %; "
        f"usual {pct.usual:.0f} %, 95 in 100 between {pct.usual_low:.0f} and {pct.usual_high:.0f} %.",
        "mix": f"Stage mix. This hatch: nauplii {100 * mix[0]:.0f} %, umbrellas {100 * mix[1]:.0f} %, "
        f"cysts {100 * mix[2]:.0f} %. Usual: {usual[0]:.0f}, {usual[1]:.0f} and {usual[2]:.0f} %.",
        "readings": f"Readings during this hatch. {told}.",
        "causes": f"Probability of the candidate causes: {ranked}.",
    }


def _day(case):
    """The day's other hatches, nauplii per gram to three figures."""
    table = case.same_day[list(_DAY_COLUMNS)]
    return table.assign(
        hatching_efficiency_per_g=[three_figures(v) for v in table["hatching_efficiency_per_g"]]
    ).to_dict("records")
