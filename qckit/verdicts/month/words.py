"""The sentences of a month's review: codes and values come in, words go out."""

from __future__ import annotations

import math

from qckit.charts.series import CHARTED, CONDITIONS
from qckit.verdicts.finding import Evidence
from qckit.verdicts.month.rates import PAGE_RATE
from qckit.verdicts.month.signals import CHANGE_RULE, open_signals
from qckit.words import capital, day, joined, number, plural

__all__ = [
    "below_minimum",
    "cautions",
    "evidence",
    "headline",
    "lot_sentence",
    "next_steps",
    "shift_sentence",
    "slope_of",
    "would_change",
]

_REMEDY = {
    ("temperature_c", -1): "Check the heater and its thermostat with a second thermometer",
    ("temperature_c", 1): "Turn the heater down and check its thermostat with a second thermometer",
    ("salinity_ppt", 1): "Measure the salinity with a checked instrument and weigh the salt anew",
    ("salinity_ppt", -1): "Measure the salinity with a checked instrument and weigh the salt anew",
    ("ph", -1): "Measure the pH with a fresh buffer check and add the bicarbonate that is missing",
    ("ph", 1): "Measure the pH again after a fresh buffer check",
    ("oxygen_mg_l", -1): "Clean or change the air stone and measure the oxygen again before the next hatch",
    ("oxygen_mg_l", 1): "Check the oxygen meter",
    ("light_lux", -1): "Check the lamp and what shades it",
    ("light_lux", 1): "Check the light meter",
}


# ---- one change ------------------------------------------------------------------------------------------------------


def _where(s):
    if not s.factor:
        return "all cones" if s.quantity in CONDITIONS else "all hatches"
    return s.where


def _size(s, value=None):
    """Size in the quantity's unit, rounded to what is known."""
    q, value = CHARTED[s.quantity], abs(s.effect if value is None else value)
    if q.kind.startswith("p"):
        return f"{value:.0f} points" if value >= 9.5 else f"{value:.1f} points"
    unit = f" {q.unit}" if q.unit else ""
    return number(value, 0 if q.decimals == 0 else q.decimals) + unit


def _since(s, order):
    begin = day(s.first.date(), order)
    return f"since {begin}" if s.is_ongoing else f"from {begin} to {day(s.last.date(), order)}"


def _between(s, order):
    low, high = s.first_low.date(), s.first_high.date()
    return "" if low == high else f" (it began between {day(low, order)} and {day(high, order)})"


def _condition(c):
    q = CHARTED[c["condition"]]
    unit = f" {q.unit}" if q.unit else ""
    return f"{q.label} {number(c['there'], q.decimals)}{unit} there, {number(c['elsewhere'], q.decimals)} otherwise"


def _head_of(s, order):
    """A change in so few words that it fits a headline."""
    side = "lower" if s.effect < 0 else "higher"
    if s.kind == "lot":
        return f"lot {s.level} hatches {_size(s)} {'less' if s.effect < 0 else 'more'} than the lot before it"
    what = "" if s.quantity == "hatch_pct" else f" in {CHARTED[s.quantity].label}"
    if s.kind == "drift":
        return f"{_where(s)} {'falling' if s.effect < 0 else 'rising'} since {day(s.first.date(), order)}{what}"
    text = f"{_where(s)} {_size(s)} {side}{what} {_since(s, order)}"
    if s.conditions:
        c = s.conditions[0]
        q = CHARTED[c["condition"]]
        text += f"; {q.label} {number(c['there'], q.decimals)}{f' {q.unit}' if q.unit else ''}"
    return text


def shift_sentence(s, order="ymd") -> str:
    """One change in one sentence: where, since when, by how much, and what goes with it."""
    q = CHARTED[s.quantity]
    if s.kind == "lot":
        text = f"Lot {s.level} hatches {_size(s)} {'less' if s.effect < 0 else 'more'} than the lot before it"
    elif s.kind == "drift":
        text = f"{capital(_where(s))}: the {q.label} {'falls' if s.effect < 0 else 'rises'} evenly {_since(s, order)}"
        text += f"{_between(s, order)}, by {_size(s, s.per_30_days)} in 30 days"
    elif s.kind == "level":
        text = (
            f"Hatches of {s.where} stand {_size(s)} {'below' if s.effect < 0 else 'above'} the others since the first"
        )
        text += f" of them on {day(s.first.date(), order)}"
    else:
        text = f"{capital(_where(s))}: the {q.label} stands {_size(s)} {'lower' if s.effect < 0 else 'higher'} "
        text += f"{_since(s, order)}{_between(s, order)}"
    ends = sorted((abs(s.effect_low), abs(s.effect_high)))
    if all(map(math.isfinite, ends)) and s.kind != "drift":
        text += f" ({plural(s.n_hatches, 'hatch')}; with 95 % confidence {_size(s, ends[0])} to {_size(s, ends[1])})"
    if s.conditions:
        text += f". With it goes: {'; '.join(_condition(c) for c in s.conditions)}"
    elif s.quantity not in CONDITIONS and s.kind != "lot":
        text += ". No water reading differs"
    if s.rivals:
        text += f". The same hatches could as well be told by {joined(s.rivals, 'or')}"
    if s.found_in:
        text += f". The review of {s.found_in} found it first"
    if s.state != "open":
        text += f". It is explained{f' by {s.by}' if s.by else ''}{f': {s.note}' if s.note else ''}"
    return text + "."


# ---- the headline ----------------------------------------------------------------------------------------------------


def below_minimum(study):
    """Lots of the month that are surely below the site's minimum."""
    return [m for m in study.lots.values() if m.level is not None and m.level.is_below_minimum]


def _drifting(study, m):
    """The open or known drift of a lot, if there is one."""
    return next((s for s in study.shifts if s.kind == "drift" and s.factor == "lot" and s.level == m.lot), None)


def slope_of(study, m) -> float:
    """Points in 30 days that a lot's level moves; 0 where it stays."""
    drift = _drifting(study, m)
    if drift is not None:
        return drift.per_30_days
    d = m.chart.drift
    return d.slope_per_30d if d is not None and d.shape == "slope" else 0.0


def _ageing(study):
    return [m.lot for m in study.lots.values() if slope_of(study, m) < 0]


def n_explained(study) -> int:
    """Hatches and changes of the month that a person explained or set aside."""
    signals = study.signals
    hatches = set(signals.loc[(signals["state"] == "explained") & (signals["rule"] != CHANGE_RULE), "hatch"])
    aside = set(study.aside["hatch"]) & set(study.series["hatch"])
    return len(hatches | aside) + sum(s.counts and s.state != "open" for s in study.shifts)


def headline(study, code) -> str:
    """The verdict in one short sentence."""
    order = study.settings.site.date_order
    open_shifts = [s for s in study.shifts if s.is_open]
    if code == "out-of-control":
        text = f"Not in control: {_head_of(open_shifts[0], order)}"
        more = len(open_shifts) - 1
        return text + (f"; {more} more below." if more else ".")
    if code == "signals":
        return _headline_of_signals(study, open_shifts, order)
    if code == "not-enough-evidence":
        return "There are too few hatches to set limits, so the month cannot be judged yet."
    judged = [m for m in study.lots.values() if m.is_in_control is not None]
    done = n_explained(study)
    tail = f", {done} explained" if done else ""
    low = below_minimum(study)
    if low:
        told = joined(f"{m.lot} ({m.level.now:.0f} %)" for m in low[:2])
        return f"In control{tail}, but below your minimum of {study.settings.limits.min_hatch_pct:g} %: {told}."
    ageing = [lot for lot in _ageing(study) if lot in {m.lot for m in judged}]
    told = f"; {joined(ageing)} {'keeps' if len(ageing) == 1 else 'keep'} ageing" if ageing else ""
    n = sum(m.n_hatches for m in judged)
    return f"In control{tail}: {plural(n, 'hatch')} of {joined(m.lot for m in judged[:3])}{told}."


def _headline_of_signals(study, open_shifts, order):
    alone = open_signals(study.signals)
    parts = [_head_of(open_shifts[0], order)] if open_shifts else []
    hatches = list(dict.fromkeys(alone["hatch"]))
    if hatches:
        named = ", ".join(hatches[:2]) + (f" and {len(hatches) - 2} more" if len(hatches) > 2 else "")
        parts.append(f"{plural(len(hatches), 'hatch')} {'stands' if len(hatches) == 1 else 'stand'} out ({named})")
    return f"To be explained: {joined(parts)}."


# ---- evidence --------------------------------------------------------------------------------------------------------


def lot_sentence(m) -> str:
    """One lot's month in one sentence."""
    n = plural(m.n_hatches, "hatch") + (f", {m.hatch_pct.n_cones} counted" if m.hatch_pct.n_cones < m.n_hatches else "")
    if m.is_in_control is None and m.chart.limits is not None:
        return f"{m.lot}: none of its {plural(m.n_hatches, 'hatch')} has a usable count, so it cannot be judged."
    if m.chart.limits is None:
        return f"{m.lot}: {n}; {m.chart.baseline_words}."
    state = "no hatch stands out" if m.is_in_control else f"{plural(m.signals, 'hatch')} to explain"
    chance = f"; chance alone would mark {m.expected_marks:.1f}" if math.isfinite(m.expected_marks) else ""
    return f"{m.lot}: {state} ({n}, {m.marks} marked on its chart{chance}); {m.chart.baseline_words}."


def _level_line(study, m):
    """A lot against the world."""
    v, minimum = m.level, study.settings.limits.min_hatch_pct
    text = f"{m.lot} hatches {v.now:.0f} % ({v.now_low:.0f} to {v.now_high:.0f} %)"
    text += f", {v.level:.0f} % before it aged" if abs(v.now - v.level) >= 1 else ""
    beside = []
    if v.before:
        word = "less" if v.drop > 0 else "more"
        ends = sorted((abs(v.drop_low), abs(v.drop_high)))
        sure = v.drop_low * v.drop_high > 0
        beside.append(
            f"{abs(v.drop):.0f} points {word} than {v.before} before it ({ends[0]:.0f} to {ends[1]:.0f})"
            if sure
            else f"as {v.before} before it"
        )
    if math.isfinite(v.claim):
        beside.append(f"claimed were {v.claim:.0f} %")
    if math.isfinite(v.test):
        beside.append(f"its own standard test gave {v.test:.0f} %")
    if math.isfinite(v.expected) and v.before:
        beside.append(f"{v.expected:.0f} % was to be expected from {_SOURCE[v.expected_from]}")
    side = "below" if v.now_high < minimum else "above" if v.now_low > minimum else "at"
    beside.append(f"{side} your minimum of {minimum:g} %")
    points = "against" if v.is_unusual or v.is_below_minimum else "for" if v.now_low > minimum else "neutral"
    return Evidence(f"How good is {m.lot}?", f"{text}; {'; '.join(beside)}.", points)


_SOURCE = {"claim": "its claim and from how earlier lots kept theirs", "earlier lots": "earlier lots", "": ""}


def evidence(study):
    """What was asked, what was seen, which way it points."""
    order = study.settings.site.date_order
    lines = [
        Evidence(
            "What changed, and since when?",
            shift_sentence(s, order),
            "against" if s.is_open else "neutral",
        )
        for s in study.shifts
    ]
    if not any(s.counts for s in study.shifts):
        lines.append(
            Evidence("What changed, and since when?", "No group of hatches and no water moved beyond chance.", "for")
        )
    alone = open_signals(study.signals)
    if len(alone):
        lines.append(Evidence("Which single hatches stand out?", _alone(alone), "against"))
    for m in study.lots.values():
        state = "unknown" if m.is_in_control is None else "for" if m.is_in_control else "against"
        lines.append(Evidence(f"Is {m.lot} in control?", lot_sentence(m), state))
        if m.level is not None:
            lines.append(_level_line(study, m))
        if m.chart.drift is not None and _drifting(study, m) is None:
            points = "against" if m.chart.drift.shape == "slope" and m.chart.drift.slope_per_30d < 0 else "neutral"
            lines.append(Evidence(f"Does {m.lot} drift with age?", m.chart.drift.sentence, points))
        lines.append(
            Evidence(f"How often will {m.lot} fall below the minimum?", m.capability.sentence, _capable(m.capability))
        )
    if study.standing:
        lines.append(Evidence("What differs, and always did?", _standing(study.standing), "neutral"))
    return lines


def _standing(standing):
    told = [
        f"{d.where} {abs(d.points):.1f} points {'below' if d.points < 0 else 'above'} the others "
        f"({min(abs(d.low), abs(d.high)):.1f} to {max(abs(d.low), abs(d.high)):.1f})"
        for d in standing[:5]
    ]
    return f"Standing differences, no change: {'; '.join(told)}. Limits and searches allow for them."


def _alone(alone):
    told = []
    for (hatch, chart), part in alone.groupby(["hatch", "chart"], sort=False):
        q = CHARTED[chart]
        told.append(f"{hatch} ({q.label} {number(part['value'].iloc[0], q.decimals)} {q.unit}".rstrip() + ")")
    more = f" and {len(told) - 8} more" if len(told) > 8 else ""
    return f"{joined(told[:8])}{more}: with the whole page counted, chance alone hardly makes these."


def _capable(c):
    if not math.isfinite(c.share_pct_low) or not math.isfinite(c.share_pct_high):
        return "unknown"
    return "against" if c.share_pct_low > 5 else ("for" if c.share_pct_high < 5 else "neutral")


# ---- what to do ------------------------------------------------------------------------------------------------------


def next_steps(study, code):
    """What to do, the most urgent first."""
    order = study.settings.site.date_order
    steps = [text for s in study.shifts if s.is_open for text in _steps_for(s, order)]
    steps += _explain(open_signals(study.signals))
    for m in below_minimum(study):
        steps.append(
            f"Decide about {m.lot}: it stays below your minimum of {study.settings.limits.min_hatch_pct:g} %. Hatch "
            "another lot beside it, or dose by what it gives."
        )
    for m in study.lots.values():
        slope = slope_of(study, m)
        if slope < 0 and not any(s.is_open and s.factor == "lot" and s.level == m.lot for s in study.shifts):
            steps.append(f"Use up {m.lot} soon or give it up: it loses {abs(slope):.1f} points in 30 days.")
    steps += [f"Dose per feed: {m.dose_words}" for m in study.lots.values() if m.dose is not None]
    unfrozen = [m for m in study.lots.values() if not m.chart.is_frozen and m.chart.limits is not None]
    if code == "in-control" and unfrozen:
        steps.append("Review the proposed baselines and freeze them, so that next month is judged by the same limits.")
    return list(dict.fromkeys(steps))


def _steps_for(s, order):
    where = f" ({s.where})" if s.factor else ""
    if s.kind == "lot":
        return [
            f"Test {s.level} beside a lot you trust, the same day and water: if it stays behind, use another lot and "
            "ask the seller."
        ]
    if s.quantity in CONDITIONS:
        low = -1 if s.effect < 0 else 1
        if not s.is_ongoing:
            return [
                f"Write down what happened to the {CHARTED[s.quantity].label} {_since(s, order)}{where}; it is over."
            ]
        return [f"{_REMEDY[(s.quantity, low)]}{where}."]
    if s.effect > 0:
        return [f"Find out why {_where(s)} did better {_since(s, order)}; if it is real, make it the rule."]
    remedies = [_REMEDY[(c["condition"], 1 if c["difference"] > 0 else -1)] for c in s.conditions]
    if not s.is_ongoing:
        told = f": {'; '.join(_condition(c) for c in s.conditions)}" if s.conditions else ""
        return [f"Write down as explained what happened {_since(s, order)}{where}{told}; it is over."]
    if remedies:
        return [f"{r}{where}." for r in dict.fromkeys(remedies[:2])]
    if s.factor == "operator":
        return [f"Let {s.level} and another person weigh, sample and count the same hatch, and compare."]
    if s.factor == "counted_by":
        return ["Count five photos by hand and compare: the counter or the light may have changed."]
    if s.factor == "lot" and s.kind == "drift":
        return [f"Use up {s.level} soon or give it up, and look at how its tin is kept: dry, cold, closed."]
    return [
        f"Look at {_where(s)} for what is not in the log: storage of the cysts, cleaning, weighing, mixing before the "
        "subsample is taken."
    ]


def _explain(alone):
    """Ask for each hatch that stands out on its own, those of the hatching percentage first."""
    alone = alone.sort_values("chart", key=lambda c: c != "hatch_pct", kind="stable").drop_duplicates("hatch")
    for row in alone.head(3).itertuples():
        q = CHARTED[row.chart]
        is_poor = row.chart == "hatch_pct" and row.side == "below"
        look = f"; qckit report poor-hatch {row.hatch} looks for its cause" if is_poor else ""
        name = "" if row.chart == "hatch_pct" else f"{q.label} "
        value = f"{number(row.value, q.decimals)} {q.unit}".rstrip()
        yield f"Explain hatch {row.hatch} ({name}{value}){look}."
    if len(alone) > 3:
        yield f"Explain {plural(len(alone) - 3, 'further hatch', 'further hatches')} of the table of signals."


def would_change(study, code):
    """What would turn the verdict."""
    if code == "not-enough-evidence":
        return ["Twelve hatches of a lot with counts give first, wide limits; 20 to 40 make a fair baseline."]
    out = []
    for s in study.shifts:
        if s.is_open and s.quantity not in CONDITIONS and s.kind != "lot" and math.isfinite(s.effect_z):
            per_hatch = abs(s.effect_z) / math.sqrt(max(s.n_hatches, 1))
            n = min(40, max(3, math.ceil((4.0 / max(per_hatch, 0.5)) ** 2)))
            out.append(f"{capital(s.where)}: {n} hatches in a row back at the old level would say that it is mended.")
    if code == "in-control":
        out.append(
            "A change of a group, a lot, the water or a single hatch that stands out with the whole page counted."
        )
    else:
        out.append(
            "An explanation: qckit report explain HATCH closes a signal, and a change by its first hatch; a month "
            "whose signals are all explained is in control."
        )
    return out


def cautions(study):
    """What the reader must keep in mind."""
    out = [
        f"In months in which nothing changed, this page calls at most {100 * PAGE_RATE:.0f} in 100 anything but in "
        "control: all its charts, lots, readings and searches together. Marks on the charts are no verdict; each chart "
        "says how often chance makes one."
    ]
    for m in study.lots.values():
        out += [f"{m.lot}: {note}" for note in m.chart.notes]
    out.append(
        "What goes together need not be cause and effect: a cone, its air stone and the person who fills it change "
        "together. Mend one thing at a time and look at the next hatches."
    )
    out.append("Sick animals are a matter for a veterinarian, whatever the hatch looks like.")
    return list(dict.fromkeys(out))
