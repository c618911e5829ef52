"""The sentences of a month's review: codes and values come in, words go out."""

from __future__ import annotations

import math

from qckit.charts.series import CHARTED, CONDITIONS
from qckit.charts.water import LEAST_STEP
from qckit.setting_changes import change_sentences
from qckit.verdicts.month.false_alarms import PAGE_RATE
from qckit.verdicts.month.far_off import far_off_words
from qckit.verdicts.month.signals import open_signals
from qckit.words import capital, day, joined, number, plural

__all__ = [
    "below_minimum",
    "cautions",
    "condition_words",
    "drift_of",
    "far_off_of",
    "headline",
    "is_changed",
    "lot_sentence",
    "shift_sentence",
    "shift_values",
    "since_words",
    "size_words",
    "slope_of",
    "unseen_sentence",
    "value_words",
    "where_words",
]

_ANY = 50.0  # points; a search that misses a fall of half of all hatching tells none


# ---- one change ------------------------------------------------------------------------------------------------------


def where_words(s):
    if not s.factor:
        return "all cones" if s.quantity in CONDITIONS else "all hatches"
    return s.where


def size_words(s, value=None):
    """Size in the quantity's unit, rounded to what is known."""
    return CHARTED[s.quantity].size_text(abs(s.effect if value is None else value))


def value_words(q, value) -> str:
    """A value of a chart with its unit."""
    return q.value_text(value)


def _span_words(s, low, high):
    """Two sizes with the unit once, rounded alike."""
    if CHARTED[s.quantity].kind.startswith("p"):
        digits = 0 if high >= 9.5 else 1
        return f"{low:.{digits}f} to {high:.{digits}f} points"
    unit = f" {CHARTED[s.quantity].unit}" if CHARTED[s.quantity].unit else ""
    return f"{size_words(s, low).removesuffix(unit)} to {size_words(s, high)}"


def since_words(s, order):
    begin = day(s.first.date(), order)
    if s.is_ongoing:
        return f"since {begin}"
    return f"on {begin}" if s.first.date() == s.last.date() else f"from {begin} to {day(s.last.date(), order)}"


def _between(s, order):
    low, high = s.first_low.date(), s.first_high.date()
    return "" if low == high else f" (it began between {day(low, order)} and {day(high, order)})"


def condition_words(c):
    q = CHARTED[c["condition"]]
    elsewhere = value_words(q, c["elsewhere"]).removesuffix(f" {q.unit}" if q.unit else "")
    return f"{q.label} {value_words(q, c['there'])} there, {elsewhere} otherwise"


def _than(s):
    """How far a lot lies from the lot before it, or from what was to be expected of the first one."""
    beside = "the lot before it" if math.isfinite(s.effect_low) else "was to be expected of it"
    return f"{size_words(s)} {'less' if s.effect < 0 else 'more'} than {beside}"


def _head_of(s, order):
    """A change in so few words that it fits a headline."""
    side = "lower" if s.effect < 0 else "higher"
    if s.kind == "lot":
        return f"lot {s.level} hatches {_than(s)}{_water_of(s)}"
    what = "" if s.quantity == "hatch_pct" else f" in {CHARTED[s.quantity].label}"
    if s.kind == "drift":
        return f"{where_words(s)} {'falling' if s.effect < 0 else 'rising'} since {day(s.first.date(), order)}{what}"
    return f"{where_words(s)} {size_words(s)} {side}{what} {since_words(s, order)}{_water_of(s)}"


def _water_of(s):
    """The water that goes with a change, for the end of a headline; empty where none does."""
    if not s.conditions:
        return ""
    q = CHARTED[s.conditions[0]["condition"]]
    return f"; {q.label} {value_words(q, s.conditions[0]['there'])}"


def shift_sentence(s, order="ymd") -> str:
    """One change in one sentence: where, since when, by how much, and what goes with it."""
    q = CHARTED[s.quantity]
    if s.kind == "lot":
        text = f"Lot {s.level} hatches {_than(s)}"
    elif s.kind == "drift":
        text = f"{capital(where_words(s))}: the {q.label} {'falls' if s.effect < 0 else 'rises'} evenly "
        text += f"{since_words(s, order)}{_between(s, order)}, by {size_words(s, s.per_30_days)} in 30 days"
    elif s.kind == "level":
        text = f"Hatches of {s.where} stand {size_words(s)} {'below' if s.effect < 0 else 'above'} the others since "
        text += f"the first of them on {day(s.first.date(), order)}"
    else:
        text = (
            f"{capital(where_words(s))}: the {q.label} stands {size_words(s)} {'lower' if s.effect < 0 else 'higher'} "
        )
        text += f"{since_words(s, order)}{_between(s, order)}"
    ends = sorted((abs(s.effect_low), abs(s.effect_high)))
    if all(map(math.isfinite, ends)) and s.kind != "drift":
        text += f" ({plural(s.n_hatches, 'hatch')}; with 95 % confidence {_span_words(s, *ends)})"
    if s.conditions:
        text += f". With it goes: {'; '.join(condition_words(c) for c in s.conditions)}"
    elif s.quantity not in CONDITIONS and s.kind != "lot":
        text += ". No water reading differs"
    if s.unread:
        names = joined([CHARTED[q].label for q in s.unread])
        text += f". Hardly read in these hatches, though in others: {names}; it may be what changed"
    if s.rivals:
        text += f". The same hatches could as well be told by {joined(s.rivals, 'or')}"
    if s.is_of_meter:
        text += ". A meter in good order may be off by as much, so it does not count"
    elif s.is_slight:
        text += f". Less than {LEAST_STEP[s.quantity]:g} lux matters little to cysts, so it does not count"
    if s.found_in:
        text += f". The review of {s.found_in} found it first"
    if s.state != "open":
        text += f". It is explained{f' by {s.by}' if s.by else ''}{f': {s.note}' if s.note else ''}"
    return text + "."


# ---- the headline ----------------------------------------------------------------------------------------------------


def below_minimum(study):
    """Lots of the month that are surely below the site's minimum."""
    return [m for m in study.lots.values() if m.level is not None and m.level.is_below_minimum]


def far_off_of(study, readings, **most) -> str:
    """Readings of the month far off the standard by value, day and standard; empty where there are none."""
    return far_off_words(readings, study.settings.site.date_order, study.settings.site.timezone, **most)


def drift_of(study, m):
    """The open or known drift of a lot, if there is one."""
    return next((s for s in study.shifts if s.kind == "drift" and s.factor == "lot" and s.level == m.lot), None)


def slope_of(study, m) -> float:
    """Points in 30 days that a lot's level moves; 0 where it stays."""
    drift = drift_of(study, m)
    if drift is not None:
        return drift.per_30_days
    d = m.chart.drift
    return d.slope_per_30d if d is not None and d.shape == "slope" else 0.0


def _ageing(study):
    return [m.lot for m in study.lots.values() if slope_of(study, m) < 0]


def _n_explained(study) -> int:
    """Hatches and changes of the month that a person explained or set aside."""
    return len(study.explained_hatches) + sum(s.counts and s.state != "open" for s in study.shifts)


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
    done = _n_explained(study)
    tail = f", {done} explained" if done else ""
    low = below_minimum(study)
    if low:
        names = joined(f"{m.lot} ({m.level.now:.0f} %)" for m in low[:2])
        return f"In control{tail}, but below your minimum of {study.settings.limits.min_hatch_pct:g} %: {names}."
    if len(study.costly_water):
        return (
            f"In control{tail}, but water was far off your standard: {far_off_of(study, study.costly_water, most=1)}."
        )
    ageing = [lot for lot in _ageing(study) if lot in {m.lot for m in judged}]
    names = f"; {joined(ageing)} {'keeps' if len(ageing) == 1 else 'keep'} ageing" if ageing else ""
    n = sum(m.n_hatches for m in judged)
    return f"In control{tail}: {plural(n, 'hatch')} of {joined(m.lot for m in judged[:3])}{names}."


def _headline_of_signals(study, open_shifts, order):
    alone = open_signals(study.signals)
    parts = [_head_of(open_shifts[0], order)] if open_shifts else []
    hatches = list(dict.fromkeys(alone["hatch"]))
    if hatches:
        named = ", ".join(hatches[:2]) + (f" and {len(hatches) - 2} more" if len(hatches) > 2 else "")
        parts.append(f"{plural(len(hatches), 'hatch')} {'stands' if len(hatches) == 1 else 'stand'} out ({named})")
    return f"To be explained: {joined(parts)}."


# ---- lots, what was not found, cautions ------------------------------------------------------------------------------


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


def is_changed(study, m) -> bool:
    """Whether hatches of a lot belong to a change that nobody has explained."""
    mine = set(study.series.loc[study.series["lot"] == m.lot, "hatch"])
    return any(s.is_open and mine & set(s.labels) for s in study.shifts)


def shift_values(s) -> dict:
    """A change's names and numbers, JSON-able; the effect in the unit of its quantity."""
    plain = ("quantity", "kind", "where", "factor", "level", "is_ongoing", "n_hatches", "effect", "effect_low")
    plain += ("effect_high", "p_value", "counts", "is_of_meter", "is_slight", "state", "note", "found_in")
    times = ("first", "first_low", "first_high", "last")
    return {**{k: getattr(s, k) for k in plain}, **{k: getattr(s, k).isoformat() for k in times}}


def unseen_sentence(study) -> str:
    """How large a fall could have gone unseen; empty where nothing was searched."""
    sizes, none = [], []
    for where, points in study.unseen:
        if points < _ANY:
            sizes.append(f"{number(points, 0 if points >= 9.5 else 1)} points in {where}")
        elif math.isfinite(points):
            none.append(f"Of {where} no fall over the month could have been told: too little lies before it.")
    text = f"A fall over the month smaller than {joined(sizes, 'or')} could have gone unseen (of that size, one in five"
    return " ".join([f"{text} would).", *none] if sizes else none)


def cautions(study):
    """What the reader must keep in mind."""
    out = [
        *change_sentences(study.setting_changes, study.settings.site),
        f"In months in which nothing changed, this page calls at most {100 * PAGE_RATE:.0f} in 100 anything but in "
        "control: all its charts, lots, readings and searches together. Marks on the charts are no verdict; each chart "
        "says how often chance makes one.",
    ]
    for m in study.lots.values():
        out += [f"{m.lot}: {note}" for note in m.chart.notes]
    out.append(
        "What goes together need not be cause and effect: a cone, its air stone and the person who fills it change "
        "together. Mend one thing at a time and look at the next hatches."
    )
    out.append("Sick animals are a matter for a veterinarian, whatever the hatch looks like.")
    return list(dict.fromkeys(out))
