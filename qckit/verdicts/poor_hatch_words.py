"""A studied hatch put into sentences: first screen, evidence, causes for and against, cautions."""

from __future__ import annotations

import math

import numpy as np

from qckit.verdicts.finding import Evidence, Figure, Finding
from qckit.verdicts.poor_hatch_causes import CAUSES, cause
from qckit.verdicts.poor_hatch_likelihood import stated

__all__ = ["put_into_words"]

_TONE = {"not-poor": "good", "chance": "good", "cause-found": "bad", "cause-likely": "attention",
         "count-doubtful": "attention", "not-enough-evidence": "unknown"}  # fmt: skip
_TITLE = {"not-poor": "Not poor", "chance": "Low by chance", "cause-found": "Cause found",
          "cause-likely": "Likely cause", "count-doubtful": "Doubt the count first",
          "not-enough-evidence": "Not enough evidence"}  # fmt: skip
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
    "embryos": "Do not dose by this lot's old figures; start the next feed from another lot.",
    "empty": "Mix the pack, weigh a fresh portion; dose by what this portion gave.",
    "amount": "Check balance, pipette and water level before anything else.",
    "missed": "Count again before anything else: recount list below.",
    "swapped": "Count again before anything else: recount list below.",
    "uneven": "Mix the cone well and draw fresh subsamples before anything else.",
}


def put_into_words(case, verdict, named, plans, settings) -> Finding:
    """Write the finding of a studied case."""
    p = _probability(case, named)
    return Finding(
        kind="poor-hatch", subject=str(case.row["hatch"]), verdict=verdict,
        headline=_headline(case, verdict, named, p), figures=_figures(case),
        next_steps=_next_steps(case, verdict, named, plans), evidence=_evidence(case, settings),
        would_change=_would_change(case, verdict, plans), cautions=_cautions(case, named),
        left_out=_left_out(case), details=_details(case, verdict, named, p, plans, settings),
    )  # fmt: skip


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
    row, pct = case.row, case.levels[0]
    what = f"Hatch {row['hatch']} ({row['lot']}, cone {row['cone']}) gave {pct.value:.0f} %"
    usual = f" where this lot usually gives {pct.usual:.0f} %" if math.isfinite(pct.usual) else ""
    if verdict == "not-poor":
        low = case.p_low
        return f"{what}{usual}: within what chance does, not a poor hatch ({_one_in(low)}).{_all_the_same(case)}"
    if verdict == "chance":
        return f"{what}{usual}: low, but chance explains it; nothing points to a cause ({_one_in(case.p_low)})."
    if verdict == "not-enough-evidence":
        if not case.usual.n_hatches:
            return f"{what}; this lot has no earlier hatch to compare with, so no cause can be named."
        first = [cause(c).words for c, w in case.weights.ranked()[:2] if w > 0.1]
        most = f" First to check: {'; then: '.join(first)}." if first else ""
        return f"{what}{usual}: poor, and the evidence does not settle why.{most}"
    sure = f" (probability {'above 95' if p > 0.95 else f'about {100 * p:.0f}'} %)"
    if verdict == "count-doubtful":
        return f"{what}{usual}. Doubt the measuring first: {_list(named)}{sure}."
    both = named in case.weights.pairs and case.weights.pairs[named] >= 0.5
    start = "Cause" if verdict == "cause-found" else "Likely cause"
    return f"{what}{usual}. {start}: {_list(named, 'and' if both else 'or')}{sure}."


def _off(case):
    """The cause whose reading was off although the hatch is not poor; empty when none was."""
    code, weight = case.weights.ranked()[0]
    told = case.differences[case.differences["cause"] == code]
    return code if weight > 0.7 and len(told) and told.iloc[0]["expected_loss_pct"] >= 2 else ""


def _all_the_same(case):
    code = _off(case)
    return f" All the same, {cause(code).words}: see to it." if code else ""


def _one_in(p):
    if not math.isfinite(p):
        return "how often is not known"
    if p >= 0.5:
        return "an ordinary hatch"
    if p < 1e-4:  # the tail of the law is not known further out
        return "fewer than 1 hatch in 10,000 is as low by chance"
    return f"about 1 hatch in {1 / p:,.0f} is as low by chance"


def _figures(case):
    pct, per_g = case.levels
    feed = case.feed
    umbrella = case.row["umbrella"], case.row["nauplii"] + case.row["umbrella"] + case.row["unhatched"]
    usual = f"usual {pct.usual:.0f} %" if math.isfinite(pct.usual) else "no earlier hatch of this lot"
    usual_g = f"usual {_round(per_g.usual):,.0f}" if math.isfinite(per_g.usual) else ""
    return [
        Figure("hatch_pct", "hatching percentage", pct.value, pct.low, pct.high, "%", 1, usual),
        Figure("umbrella_pct", "umbrellas", 100 * umbrella[0] / max(umbrella[1], 1), *_wilson(*umbrella), "%", 1,
               f"usual {100 * case.usual.mix[1]:.1f} %" if case.usual.n_hatches else ""),
        Figure("nauplii_per_g", "nauplii per gram", _round(per_g.value), _round(per_g.low), _round(per_g.high),
               "1/g", 0,
               usual_g if math.isfinite(per_g.value) else "volume counted is not known"),
        Figure("missing_nauplii", "missing for one feed", _round(feed["missing"]), unit="nauplii", decimals=0,
               note=f"of {feed['needed']:,.0f}"),
    ]  # fmt: skip


def _round(value):
    """Three significant figures: counting knows no more."""
    return float(f"{value:.3g}") if math.isfinite(value) else value


def _wilson(k, n):
    from statsmodels.stats.proportion import proportion_confint

    if n <= 0:
        return math.nan, math.nan
    low, high = proportion_confint(k, n, method="wilson")
    return 100 * float(low), 100 * float(high)


def _next_steps(case, verdict, named, plans):
    steps = []
    if verdict != "not-poor":
        steps += [_AT_ONCE[c] for c in named[:2]]
    elif _off(case):
        steps.append(_AT_ONCE[_off(case)])
    steps.append("Next feed: " + case.feed["sentence"])
    if verdict != "not-poor":
        steps += [f"To be surer, {item.title[:1].lower()}{item.title[1:]}. {item.plan}" for item in plans]
    return steps


def _evidence(case, settings):
    pct, per_g = case.levels
    lines = [_poor_line(pct, "%", 1), _poor_line(per_g, "per g", 0)]
    lines = [line for line in lines if line]
    if case.limits_sentence:
        lines.append(Evidence("Against the frozen limits?", case.limits_sentence,
                              "for" if "below" in case.limits_sentence else "against"))  # fmt: skip
    if len(case.test):
        least, most = case.test["hatch_pct"].min(), case.test["hatch_pct"].max()
        text = (f"{pct.value:.1f} % here; {len(case.test)} cones of the lot's standard test "
                f"({str(case.test['started'].iloc[0])[:10]}) gave {least:.0f} to {most:.0f} %.")  # fmt: skip
        lines.append(Evidence("Against the lot's own test?", text, "for" if pct.high < least else "against"))
    lines.append(_minimum_line(pct, settings))
    lines.append(_day_line(case))
    lines += _count_lines(case)
    lines.append(_trace_line(case))
    for row in case.differences.head(4).itertuples():
        bad = row.expected_loss_pct >= 2 and abs(row.unusual) > 2
        lines.append(Evidence("What was different?", _capital(row.sentence) + ".", "for" if bad else "neutral"))
    for row in case.context.itertuples():
        if row.what in ("cone", "pack") or row.is_odd:
            lines.append(Evidence("What stood around it?", _capital(row.sentence), "for" if row.is_odd else "neutral"))
    lines += [Evidence("What did a check show?", said, "neutral") for said in case.check_sentences]
    return lines


def _capital(text):
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def _poor_line(level, unit, digits):
    if not math.isfinite(level.usual):
        return Evidence("Is it poor?", "This lot has no earlier hatch to compare with.", "unknown")
    if not math.isfinite(level.value):
        return None
    value, low, high = (v if digits else _round(v) for v in (level.value, level.usual_low, level.usual_high))
    text = (f"{value:,.{digits}f} {unit}; 95 in 100 of this lot's hatches give {low:,.{digits}f} to "
            f"{high:,.{digits}f} ({level.n_hatches} hatches): {_one_in(level.p_low)}.")  # fmt: skip
    return Evidence("Is it poor?", text, "for" if level.p_low < 0.025 else "against")


def _minimum_line(pct, settings):
    least = settings.limits.min_hatch_pct
    below = pct.value < least
    return Evidence("Is it below the site's own minimum?", f"{pct.value:.1f} % against at least {least:.0f} %.",
                    "for" if below else "against")  # fmt: skip


def _day_line(case):
    if case.same_day.empty:
        return Evidence("Were other cones of the day poor too?", "No other hatch of that day was counted.", "unknown")
    said = [f"{r.hatch} (cone {r.cone}, {r.lot}) {r.hatch_pct:.0f} %" for r in case.same_day.head(4).itertuples()]
    return Evidence("Were other cones of the day poor too?", "; ".join(said) + ".", "neutral")


def _count_lines(case):
    row, lines = case.row, []
    if case.flags is None:
        lines.append(Evidence("Is it the count?", "Counted by a person; no photo to look at again.", "neutral"))
    elif case.flags:
        lines.append(
            Evidence("Is it the count?", f"Photos carry flags: {', '.join(case.flags)}. Recount these first.", "for")
        )
    else:
        lines.append(Evidence("Is it the count?", "No photo of this hatch carries a flag.", "against"))
    if case.by_person:
        z = max(case.by_person, key=abs)
        agree = abs(z) < 2
        lines.append(Evidence("Do person and photo agree?", f"They differ by {abs(z):.1f} standard errors"
                              f"{': they agree' if agree else ': count again'}.",
                              "against" if agree else "for"))  # fmt: skip
    if math.isfinite(row["shells"]) and case.usual.n_hatches and math.isfinite(case.usual.mean[2]):
        ratio = row["shells"] / max(row["counted_shells_opened"], 1)
        usual = math.exp(case.usual.mean[2])
        far = abs(math.log(max(ratio, 0.01) / usual)) > 0.35
        lines.append(Evidence("Do the shells agree with the nauplii?",
                              f"{ratio:.2f} shells per opened cyst, usually {usual:.2f}.",
                              "for" if far else "against"))  # fmt: skip
    if math.isfinite(row["full_per_g"]) and case.usual.n_hatches:
        usual = math.exp(case.usual.mean[3])
        off = math.log(max(row["full_per_g"], 1.0) / usual)
        text = f"{_round(row['full_per_g']):,.0f} full cysts per gram were found, usually {_round(usual):,.0f}."
        lines.append(Evidence("Do mass and volumes fit?", text, "for" if abs(off) > 0.25 else "against"))
    if row["df"] > 0:
        from scipy.stats import chi2

        full = (row["nauplii"] + row["umbrella"] + row["unhatched"]) / row["n_subsamples"]
        p = float(chi2.sf(row["chi2"] / (1 + case.usual.mixing_cv**2 * full), row["df"]))
        lines.append(Evidence("Do the subsamples agree?", f"{row['n_subsamples']} subsamples differ "
                              f"{'more than usual' if p < 0.02 else 'no more than usual'} (p = {p:.2g}).",
                              "for" if p < 0.02 else "against"))  # fmt: skip
    return lines


_TRACE_WORDS = {
    "same": "the usual mix", "late": "late (umbrellas and unopened cysts)", "heat": "harmed by heat",
    "blocked": "cysts that do not open", "slowed": "few open, and late", "arrest": "umbrella arrest",
    "starved": "stalled for want of oxygen",
    "lost": "hatched but gone (or not counted)", "crowded": "crowded", "unwetted": "never wetted",
    "empty": "empty product", "short": "everything short alike", "swapped": "shells taken for cysts",
    "fits none": "none of these",
}  # fmt: skip


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
        if c.reach in ("lot", "room") and len(case.same_day):
            mean = float(case.same_day["hatch_pct"].mean())
            (speaks if case.row["hatch_pct"] > mean - 8 else against).append(
                f"other cones of the day gave {mean:.0f} %"
            )
        rows.append({"code": code, "cause": c.words, "probability": stated(weight),
                     "loss_pct": 100 * case.weights.strength[code],
                     "speaks_for": "; ".join(speaks), "speaks_against": "; ".join(against),
                     "source": c.source})  # fmt: skip
    return rows


def _would_change(case, verdict, plans):
    said = [f"{item.title} ({item.hours:g} h): yes means {item.if_yes}; no means {item.if_no}." for item in plans]
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
    if case.row["unhatched"] + case.row["umbrella"] > 0.35 * (case.row["nauplii"] + 1):
        said.append("This harvest is rich in unhatched cysts and shells: separate it twice and look at a sieve sample "
                    "before feeding; larvae cannot digest them and they can block the gut.")  # fmt: skip
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
    if not math.isfinite(case.row["full_per_g"]):
        said.append("The counted volume is not known; cysts per gram could not be compared.")
    return said


def _details(case, verdict, named, p, plans, settings):
    stated = verdict in ("cause-found", "cause-likely", "count-doubtful")
    own = np.array([case.row[k] for k in ("nauplii", "umbrella", "unhatched")], dtype=float)
    mix = own / max(own.sum(), 1.0)
    return {
        "tone": "attention" if verdict == "not-poor" and _off(case) else _TONE[verdict],
        "verdict_words": _TITLE[verdict], "confidence": settings.limits.confidence,
        "named": list(named), "probability": p if stated else None, "p_low": case.p_low,
        "causes": cause_rows(case), "none_probability": case.weights.none, "other_probability": case.weights.other,
        "pairs": [{"causes": list(k), "probability": v}
                  for k, v in sorted(case.weights.pairs.items(), key=lambda item: -item[1])[:3]],
        "traces": trace_shares(case) if case.usual.n_hatches else {},
        "mix_pct": dict(zip(("nauplius", "umbrella", "cyst"), (100 * mix).tolist(), strict=True)),
        "usual_mix_pct": dict(zip(("nauplius", "umbrella", "cyst"), (100 * case.usual.mix[:3]).tolist(), strict=True)),
        "shells_per_opened": case.row["shells"] / max(case.row["counted_shells_opened"], 1.0),
        "usual_shells_per_opened": float(np.exp(case.usual.mean[2])),
        "differences": case.differences.to_dict("records"), "site_effects": case.effects.to_dict("records"),
        "context": case.context.to_dict("records"),
        "same_day": case.same_day[["hatch", "lot", "cone", "hatch_pct", "nauplii_per_g"]].to_dict("records"),
        "recount": case.recount, "usual_hatches": list(case.usual.hatches),
        "checks": [{"check": i.code, "title": i.title, "plan": i.plan, "if_yes": i.if_yes, "if_no": i.if_no,
                    "hours": i.hours, "splits": list(i.speaks_for)} for i in plans],
        "usual_range_pct": {"low": case.levels[0].usual_low, "high": case.levels[0].usual_high},
        "started": str(case.row["started"]), "alt": _alt(case, mix),
        "feed": case.feed, "lot": case.row["lot"], "cone": case.row["cone"],
    }  # fmt: skip


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
    }  # fmt: skip
