"""A studied hatch put into sentences: a headline of one line, figures, what would change it, cautions."""

from __future__ import annotations

import math
from dataclasses import replace

from qckit.hatch import binomial_interval, too_many
from qckit.quantities import CONDITIONS, QUANTITIES
from qckit.verdicts.finding import Figure, Finding
from qckit.verdicts.lots.usual import full_cysts_counted
from qckit.verdicts.poor_hatch.causes import CAUSES, cause
from qckit.verdicts.poor_hatch.checks import check_words, weigh_answer
from qckit.verdicts.poor_hatch.conditions.reference import usually
from qckit.verdicts.poor_hatch.details import details_of
from qckit.verdicts.poor_hatch.evidence import collect_evidence
from qckit.verdicts.poor_hatch.steps import is_rich, steps_of
from qckit.words import capital, figures, joined, rounded

__all__ = ["headline", "put_into_words"]

_LONGEST = 110  # letters of a headline


def put_into_words(case, verdict, named, *, plans, again, settings) -> Finding:
    """Write the finding of a studied case; ``plans`` are the checks to make, ``again`` what is to be read again."""
    p = case.weights.stated(named[0]) if named else math.nan
    then = {item.code: (_then(case, item, True), _then(case, item, False), _stays(case, item)) for item in plans}
    check_texts = {item.code: _check_texts(case, item, settings) for item in plans}
    steps = steps_of(
        case, verdict, named, checks=[(item, *check_texts[item.code]) for item in plans], again=again, settings=settings
    )
    return Finding(
        kind="poor-hatch",
        subject=str(case.row["hatch"]),
        verdict=verdict,
        headline=headline(case, verdict, named, p, again),
        figures=[_unknown(figure) for figure in _figures(case)] if case.row["is_impossible"] else _figures(case),
        next_steps=[text for _, text in steps],
        evidence=collect_evidence(case, settings),
        would_change=_would_change(case, plans, then, check_texts),
        cautions=_cautions(case, named),
        left_out=_left_out(case),
        details=details_of(
            case, verdict, named=named, p=p, plans=plans, check_texts=check_texts, then=then, settings=settings
        )
        | {"steps": [c for c, _ in steps]},
    )


# ---------------------------------------------------------------- headline


def headline(case, verdict, named, p, again=()):
    """One line; the fullest of the variants that stays within the length. ``again``: what is to be read again first."""
    variants = _variants(case, verdict, named, p, again)
    return next((text for text in variants if len(text) <= _LONGEST), variants[-1])


def _variants(case, verdict, named, p, again):
    hatch = str(case.row["hatch"])
    if case.row["is_impossible"]:
        doubted = too_many(case.row)
        return [
            f"{hatch}: {doubted.why}. Put the count right first.",
            f"{hatch}: its count cannot be: {figures(doubted.per_g)} nauplii per gram. Put it right first.",
        ]
    gave, usual = _gave(case, verdict)
    if named and verdict == "not-poor":
        short = cause(named[0]).short
        return [
            f"{hatch} gave {gave}{usual}: not poor. All the same, {short} ({_sure(p)} sure): see to it.",
            f"{hatch}: not poor. All the same, {short}.",
        ]
    if named:
        return _named_variants(case, named, p=p, hatch=hatch, gave=gave, usual=usual)
    if verdict == "not-poor":
        return [f"{hatch} gave {gave}{usual}: not poor, chance does as much.", f"{hatch} gave {gave}: not poor."]
    if verdict == "chance":
        return [f"{hatch} gave {gave}{usual}: low, but chance explains it.", f"{hatch}: low, but chance explains it."]
    first = case.weights.ranked()[0][0]
    if not case.usual.n_hatches:
        return [
            f"{hatch} gave {gave}; its lot has no other hatch to compare with.",
            f"{hatch}: nothing to compare with.",
        ]
    if case.weights.other >= 0.5:
        return [
            f"{hatch} gave {gave}{usual}: poor, and no cause known here fits.",
            f"{hatch}: no cause known here fits.",
        ]
    ask = f"first suspect: {'the lot, ' if cause(first).of_lot else ''}{cause(first).short}"
    if case.p_low >= 0.1 or case.weights.none >= 0.4:
        return [
            f"{hatch} gave {gave}{usual}: as the lot gives, but is the lot good? {capital(ask)}."
            if cause(first).of_lot
            else f"{hatch} gave {gave}{usual}: chance, or a cause; {ask}.",
            f"{hatch}: not settled; {ask}.",
        ]
    if again and again[0].check is not None:  # the page's first step: a reading that was plainly off, whatever it cost
        off = again[0].off
        ask = f"first read the {QUANTITIES[off.quantity].label} again ({off.read})"
    return [f"{hatch} gave {gave}{usual}: the cause is not settled; {ask}.", f"{hatch}: not settled; {ask}."]


def _named_variants(case, named, p, hatch, gave, usual):
    """Headlines that name a cause, the fullest first."""
    first, sure = cause(named[0]), f"{_sure(p)} sure"
    both = joined([cause(c).short for c in named])
    other = case.look("recount") if first.code in ("missed", "swapped") else None
    other = other or (case.look("repeat") if first.code in ("uneven", "gradient") else None)
    if other is not None:
        was, now = case.looks[0].counts["hatch_pct"], other.counts["hatch_pct"]
        what = f"the {case.looks[0].counted_by} count" if other.kind == "recount" else "the first drawing"
        how = "the recount says" if other.kind == "recount" else "drawn again it gives"
        return [f"{hatch}: {what} was wrong ({was:.0f} %); {how} {now:.0f} % ({both}, {sure}).", f"{hatch}: {both}."]
    if first.of_lot:
        lot, gives = case.row["lot"], _lot_gives(case, first.code)
        return [
            f"{hatch} gave {gave}; it is the lot, {lot}: {both} ({sure}), {gives}.",
            f"It is the lot, {lot}: {both} ({sure}), {gives}.",
            f"It is the lot, {lot}: {both} ({sure}).",
            f"It is the lot: {first.short} ({sure}).",
        ]
    low = "" if case.p_low < 0.05 else ", not low, but"
    return [
        f"{hatch} gave {gave}{usual}{low or ':'} {both} ({sure}).",
        f"{hatch} gave {gave}{low or ':'} {both} ({sure}).",
        f"{hatch}: {both} ({sure}).",
    ]


def _sure(p):
    return "above 95 %" if p > 0.95 else f"{100 * p:.0f} %"


def _lot_gives(case, code):
    """What the lot gives against what was expected, in the figure that the cause touches."""
    w = case.world
    if code == "empty" and math.isfinite(w.level_per_g):
        return f"{figures(w.level_per_g, 2)} full cysts per g, {figures(w.prospect.per_g, 2)} expected"
    return f"{w.level_pct:.0f} %, {w.prospect.pct:.0f} % expected"


def _gave(case, verdict):
    """What the hatch gave and what is usual, in the figure that is low."""
    pct, per_g = case.levels
    only_grams = verdict != "not-poor" and pct.p_low > 0.05 and per_g.p_low < 0.05
    if only_grams:
        gave, usual = f"{figures(per_g.value)} nauplii per g", figures(per_g.usual)
    else:
        gave, usual = f"{pct.value:.0f} %", f"{pct.usual:.0f} %"
    if not math.isfinite(pct.usual):
        return gave, ""
    n = pct.n_hatches
    word = "usual" if n >= 3 else "the other hatch" if n == 1 else "the two others"
    return gave, f" ({word} {usual})"


# ---------------------------------------------------------------- figures


def _figures(case):
    pct, per_g = case.levels
    umbrella = case.row["umbrella"], full_cysts_counted(case.row)
    word = usually(case.usual.n_hatches, "usual")
    usual = f"{word} {pct.usual:.0f} %" if math.isfinite(pct.usual) else "no earlier hatch of this lot"
    usual_g = f"{word} {figures(per_g.usual)}" if math.isfinite(per_g.usual) else ""
    return [
        Figure(
            name="hatch_pct",
            label="hatching percentage",
            value=pct.value,
            low=pct.low,
            high=pct.high,
            unit="%",
            decimals=0,
            note=usual,
        ),
        Figure(
            "umbrella_pct",
            "umbrellas",
            100 * umbrella[0] / max(umbrella[1], 1),
            *_wilson(*umbrella),
            unit="%",
            decimals=0,
            note=f"{word} {100 * case.usual.mix[1]:.0f} %" if case.usual.n_hatches else "",
        ),
        Figure(
            "nauplii_per_g",
            "nauplii per gram",
            *map(rounded, (per_g.value, per_g.low, per_g.high)),
            "nauplii/g",
            0,
            usual_g if math.isfinite(per_g.value) else "volume counted is not known",
        ),
        _missing_figure(case.feed),
    ]


def _unknown(figure):
    """A figure that rests on a count that cannot be, not shown."""
    return replace(figure, value=math.nan, low=math.nan, high=math.nan, note="its count cannot be")


def _missing_figure(feed):
    """What is missing for the next feed or, where that is covered, for the day; the harvest where nothing is fed."""
    if not feed["is_fed"]:
        past, fewer = feed["past_since"], feed["fewer_than_usual"]
        less = f"{fewer / 1e6:.1f} million fewer than usual" if fewer > 0 else ""
        return Figure(
            "harvest_million",
            "nauplii of the harvest",
            *(feed[name] / 1e6 for name in ("available", "available_low", "available_high")),
            "million",
            1,
            note=f"past your limit of age since {past}" if past else less,
        )
    if feed["past_since"]:
        return Figure(
            "missing_million",
            "nauplii missing for the next feed",
            math.nan,
            unit="million",
            note=f"this hatch is too old to feed since {feed['past_since']}",
        )
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
    low, high = binomial_interval(k, n)
    return 100 * low, 100 * high


# ---------------------------------------------------------------- what would change it


def _check_texts(case, item, settings):
    """A check's question and plan with this hatch's cone and lots in it."""
    return check_words(
        item, cone=str(case.row["cone"]), lot=str(case.row["lot"]), settings=settings, other_lot=case.other_lot
    )


def _then(case, item, is_yes):
    """What would be known after an answer: the first causes with their stated probability."""
    after = weigh_answer(case.weights, item.code, is_yes)
    ranked = [(cause(c).words, after.stated(c)) for c, _ in after.ranked()[:3]]
    first = sorted([("nothing but chance", after.chance), *ranked], key=lambda pair: -pair[1])[:2]
    lines = [f"{words} ({_sure(p)})" for words, p in first if p > 0.1]
    return "; ".join(lines) if lines else "no cause stands out"


def _stays(case, item) -> bool:
    """Tell whether a no to the very cause that the records show leaves it first: "still" is said, lest the two seem to
    disagree.
    """
    before, after = case.weights.ranked()[0][0], weigh_answer(case.weights, item.code, False)
    return before in item.speaks_for and before == after.ranked()[0][0] and bool(after.stated(before) > after.chance)


def _would_change(case, plans, then, check_texts):
    lines = [
        f"{check_texts[i.code][0]} Yes: {then[i.code][0]}. No: {'still ' if then[i.code][2] else ''}{then[i.code][1]}."
        for i in plans
    ]
    read = set(case.differences["quantity"])
    unread = [c.reading.quantity for c in CAUSES if c.reading is not None and c.reading.quantity not in read]
    if unread:
        names = [CONDITIONS[q].label for q in dict.fromkeys(unread)]
        lines.append(f"Not measured in this hatch: {joined(names)}. A reading would rule its cause in or out.")
    if case.looks[0].df < 2:
        lines.append("Only one or two subsamples were counted; six per cone halve the interval.")
    return lines


def _cautions(case, named):
    lines = []
    if is_rich(case):
        lines.append(
            "This harvest is rich in unhatched cysts and shells: larvae cannot digest them and they can block the gut."
        )
    if {"overlong", "broken"} & set(named):
        lines.append("Nauplii that are old or hurt eat less and foul the water; rinse well and use them soon.")
    if {"ph", "oxygen", "crowded"} & set(named):
        lines.append(
            "Stalled embryos and sour water favour bacteria: rinse the harvest well, and clean the cone before use."
        )
    if "embryos" in named:
        lines.append(
            "Resting cysts may wake after a cold rest of some weeks at -25 °C or a peroxide bath by a tested recipe "
            "(gloves and goggles; local rules come first)."
        )
    lines.append("Keep mains apart from salt water: heaters off before draining, residual-current device, drip loops.")
    lines.append(
        "If animals look ill or refuse feed, ask a veterinarian; this report judges the hatch, not their health."
    )
    return lines


def _left_out(case):
    lines = []
    if case.usual.set_aside:
        n, names = len(case.usual.set_aside), ", ".join(case.usual.set_aside[:8])
        lines.append(f"Earlier hatches out of the ordinary, so not in what is usual ({n}): {names}.")
    if case.usual.note:
        lines.append(f"What is usual rests on little: {case.usual.note}.")
    if not math.isfinite(case.looks[0].figures[2]):
        lines.append("Shells were not counted, so they cannot witness for or against the nauplii.")
    if not math.isfinite(case.looks[0].figures[3]):
        lines.append("The counted volume is not known; cysts per gram could not be compared.")
    if case.decapsulated.sentence:
        lines.append(case.decapsulated.sentence)
    lines += [str(note) for note in case.row["notes"] if note.code in ("repeat", "other_kind", "counted_again")]
    return lines
