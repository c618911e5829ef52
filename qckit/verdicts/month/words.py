"""The sentences of a month's review."""

from __future__ import annotations

import math

from qckit.charts.rules import DEFAULT_RULES, DEFAULT_RULES_REASON, RULES
from qckit.charts.series import CHARTED
from qckit.verdicts.finding import Evidence

__all__ = [
    "cautions",
    "evidence",
    "headline",
    "lot_sentence",
    "next_steps",
    "shift_sentence",
    "water_out",
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


def count_hatches(n) -> str:
    """Write a number of hatches."""
    return f"{n} hatch" if n == 1 else f"{n} hatches"


def _when(s):
    """Since when, with the interval of that day."""
    low, high = f"{s.first_low:%Y-%m-%d}", f"{s.first_high:%Y-%m-%d}"
    day = f"{s.first:%Y-%m-%d}"
    between = "" if low == high == day else f" (between {low} and {high})"
    return f"since {day}{between}" if s.is_ongoing else f"from {day}{between} to {s.last:%Y-%m-%d}"


def _where(s):
    if not s.factor:
        return "all hatches"
    return f"hatches {s.where}" if s.factor == "counted_by" else f"hatches of {s.where}"


def _conditions(s):
    said = []
    for c in s.conditions:
        q = CHARTED[c["condition"]]
        unit = f" {q.unit}" if q.unit else ""
        since = f" (since {c['since']})" if c.get("since") else ""
        said.append(
            f"{q.label} {c['there']:.{q.decimals}f}{unit} there{since}, {c['elsewhere']:.{q.decimals}f} otherwise"
        )
    return "; ".join(said)


def shift_sentence(s) -> str:
    """One change in one sentence: where, since when, by how much, and what goes with it."""
    text = (
        f"{_where(s).capitalize() if not s.factor else 'H' + _where(s)[1:]} stand {abs(s.effect):.1f} points "
        f"{'below' if s.effect < 0 else 'above'} their lots' level {_when(s)} ({s.n_hatches} hatches, "
        f"{min(abs(s.effect_low), abs(s.effect_high)):.1f} to {max(abs(s.effect_low), abs(s.effect_high)):.1f} points)"
    )
    if s.conditions:
        text += f", and with them goes: {_conditions(s)}"
    else:
        text += "; no measured condition differs"
    if s.rivals:
        text += f". The same hatches could as well be told by {' or '.join(s.rivals)}"
    return text + "."


def headline(study, code) -> str:
    """The verdict as one sentence, and whether all of it is explained already."""
    text = _headline(study, code)
    states = study.signals["state"]
    if code in ("signals", "out-of-control") and len(states) and (states != "open").all():
        who = " and ".join(dict.fromkeys(b for b in study.signals["by"] if b))
        text += f" Every signal is explained, by {who}."
    return text


def _headline(study, code):
    if code == "out-of-control":
        worst = study.shifts[0]
        more = (
            f" {len(study.shifts) - 1} further change{'s' if len(study.shifts) > 2 else ''} below."
            if len(study.shifts) > 1
            else ""
        )
        return f"Not in control: {_lower(shift_sentence(worst))}{more}"
    ageing = [m.lot for m in study.lots.values() if m.chart.drift is not None and m.chart.drift.shape == "slope"]
    tail = f" {' and '.join(ageing)} keep{'s' if len(ageing) == 1 else ''} ageing." if ageing else ""
    water = water_out(study)
    if water:
        told = [f"{CHARTED[name].label} at {count_hatches(n)}" for name, n in water.items()]
        tail = f" The water signals: {', '.join(told)}.{tail}"
    judged = [m for m in study.lots.values() if m.is_in_control is not None]
    if code == "not-enough-evidence":
        return "There are too few hatches to set limits, so the month cannot be judged yet."
    fired = [m for m in judged if m.is_in_control is False]
    if fired:
        points = sum(m.signals for m in fired)
        return (
            f"{points} hatch{'es' if points > 1 else ''} of {' and '.join(m.lot for m in fired)} gave a signal of the "
            f"hatching percentage, but no cone, operator or stretch of days stands out: explain each point.{tail}"
        )
    n = sum(len(m.chart.of_period(study.first)) for m in judged)
    return (
        f"In control: {count_hatches(n)} of {' and '.join(m.lot for m in judged)} "
        f"{'varies' if n == 1 else 'vary'} as chance makes them.{tail}"
    )


def water_out(study, *, least=3):
    """Conditions that signal at so many hatches or more of the period: name -> hatches. Fewer can be chance."""
    hit = {name: chart.signals["label"].nunique() for name, chart in study.conditions.items()}
    return {name: n for name, n in hit.items() if n >= least}


def _lower(text):
    return text[0].lower() + text[1:]


def _signalling(study, lot):
    """How many of a lot's hatches signal in any chart of the month, the water's charts among them."""
    own = set(study.series.loc[study.series["lot"] == lot, "hatch"])
    return len(own & set(study.signals["hatch"]))


def lot_sentence(m, n_any) -> str:
    """One lot's month in one sentence; ``n_any``: its hatches that signal in any chart."""
    if not len(m.chart.signals) and m.is_in_control is None and m.chart.limits is not None:
        return f"{m.lot}: none of its {count_hatches(m.n_hatches)} has a usable count, so it cannot be judged."
    n = count_hatches(m.n_hatches) + (f", {m.hatch_pct.n_cones} counted" if m.hatch_pct.n_cones < m.n_hatches else "")
    if m.chart.limits is None:
        return f"{m.lot}: {n}; {m.chart.baseline_words}."
    chance = f"; chance alone would give {m.expected_signals:.1f}" if math.isfinite(m.expected_signals) else ""
    if m.is_in_control:
        state = f"in control ({n}{chance})" + (f", {_signal(n_any)} in other charts" if n_any else "")
    else:
        state = f"{_signal(m.signals)} in the hatching percentage ({n}{chance})"
        state += f", {n_any} in all charts together" if n_any > m.signals else ""
    return f"{m.lot}: {state}; {m.chart.baseline_words}."


def _signal(n):
    return f"{n} of its hatches signal{'s' if n == 1 else ''}"


def evidence(study):
    """What was asked, what was seen, which way it points."""
    lines = [
        Evidence(
            "Is each lot in control?",
            lot_sentence(m, _signalling(study, m.lot)),
            "unknown" if m.is_in_control is None else ("for" if m.is_in_control else "against"),
        )
        for m in study.lots.values()
    ]
    lines += [Evidence("What changed, and since when?", shift_sentence(s), "against") for s in study.shifts]
    if not study.shifts:
        lines.append(
            Evidence("What changed, and since when?", "No group of hatches stands apart beyond chance.", "for")
        )
    for m in study.lots.values():
        if m.chart.drift is not None:
            points = "against" if m.chart.drift.shape == "slope" and m.chart.drift.slope_per_30d < 0 else "neutral"
            lines.append(Evidence(f"Does {m.lot} drift with age?", m.chart.drift.sentence, points))
        if m.chart.likeness is not None:
            lines.append(
                Evidence(
                    f"Are neighbouring hatches of {m.lot} independent?",
                    m.chart.likeness.sentence,
                    "against" if m.chart.likeness.is_marked else "neutral",
                )
            )
        lines.append(
            Evidence(f"How often will {m.lot} fall below the minimum?", m.capability.sentence, _capable(m.capability))
        )
    for name, chart in study.conditions.items():
        if len(chart.signals):
            lines.append(_condition_line(study, name, chart))
    return lines


def _capable(c):
    if not math.isfinite(c.share_pct_low) or not math.isfinite(c.share_pct_high):
        return "unknown"
    return "against" if c.share_pct_low > 5 else ("for" if c.share_pct_high < 5 else "neutral")


def _condition_line(study, name, chart):
    q = CHARTED[name]
    hit = chart.signals.drop_duplicates("label")
    cones = study.series.set_index("hatch")["cone"].reindex(hit["label"]).value_counts()
    top = ", ".join(f"cone {c}: {n}" for c, n in cones.items())
    unit = f" {q.unit}" if q.unit else ""
    values = " to ".join(dict.fromkeys(f"{v:.{q.decimals}f}" for v in (hit["value"].min(), hit["value"].max())))
    return Evidence(
        f"Did the {q.label} stay in control?",
        f"{len(hit)} of {len(chart.of_period(study.first))} hatches signal, first on {hit['at'].min():%Y-%m-%d} "
        f"({values}{unit}; {top}).",
        "against",
    )


def next_steps(study, code):
    """What to do, the most urgent first."""
    steps = []
    for s in study.shifts:
        if s.effect > 0:
            steps.append(f"Find out why {_where(s)} did better {_when(s)}; if it is real, make it the rule.")
            continue
        remedies = [_REMEDY[(c["condition"], 1 if c["difference"] > 0 else -1)] for c in s.conditions]
        where = f" ({s.where})" if s.factor else ""
        if not s.is_ongoing:
            told = f": {_conditions(s)}" if s.conditions else ""
            steps.append(f"Write down as explained what happened {_when(s)}{where}{told}; it is over.")
        elif remedies:
            steps += [f"{r}{where}." for r in dict.fromkeys(remedies)]
        elif ageing := [r for r in s.rivals if r.startswith("an even ageing")]:
            steps.append(
                f"Hatch another lot or a fresh pack beside it: {' or '.join(ageing)} tells these hatches as "
                "well as a step does, and next month's hatches will say which."
            )
        else:
            steps.append(
                f"Look at {_where(s)} for what is not in the log: handling, storage of the cysts, cleaning, "
                "mixing before the subsample is taken."
            )
    for m in study.lots.values():
        if m.chart.drift is not None and m.chart.drift.shape == "slope" and m.chart.drift.slope_per_30d < 0:
            steps.append(f"Use up {m.lot} soon or give it up: {_lower(m.chart.drift.sentence.split(':')[0])}.")
    told = {c["condition"] for s in study.shifts for c in s.conditions}
    for name in water_out(study):
        if name not in told:
            chart = study.conditions[name]
            low = (chart.signals["side"] == "below").mean() > 0.5
            steps.append(f"{_REMEDY[(name, -1 if low else 1)]}: {CHARTED[name].label} signals.")
    steps += _explain(study.signals)
    steps += [f"Dose per feed: {m.dose_words}" for m in study.lots.values() if m.dose is not None]
    if any(not m.chart.is_frozen and m.chart.limits is not None for m in study.lots.values()):
        steps.append("Review the proposed baselines and freeze them, so that next month is judged by the same limits.")
    return steps


def _explain(signals):
    """Ask for each hatch that signals on its own, those of the hatching percentage first."""
    alone = signals[(signals["lot"] != "") & (signals["state"] == "open") & ~signals["in_shift"]]
    alone = alone.sort_values("chart", key=lambda c: c != "hatch_pct", kind="stable").drop_duplicates("hatch")
    for row in alone.head(3).itertuples():
        q = CHARTED[row.chart]
        is_poor = row.chart == "hatch_pct" and row.rule == "beyond_3" and row.side == "below"
        look = f"; qckit report poor-hatch {row.hatch} looks for its cause" if is_poor else ""
        name = "" if row.chart == "hatch_pct" else f"{q.label} "
        value = f"{row.value:,.{q.decimals}f} {q.unit}".rstrip()
        yield f"Explain hatch {row.hatch} ({name}{value}, {row.sees}){look}."
    if len(alone) > 3:
        more = len(alone) - 3
        yield f"Explain {more} further hatch{'es' if more > 1 else ''} of the table of signals."


def would_change(study, code):
    """What would turn the verdict."""
    if code == "not-enough-evidence":
        return ["Twelve hatches of a lot with counts give first, wide limits; 20 to 40 make a fair baseline."]
    out = []
    for s in study.shifts:
        n = max(3, math.ceil(2 * (4.0 / max(abs(s.effect_z), 0.5)) ** 2))
        out.append(f"{s.where}: {n} hatches in a row back at their lot's level would say that it is mended.")
    if code == "in-control":
        used = dict.fromkeys(r for m in study.lots.values() for r in m.chart.rules)
        out.append(f"Any of the rules in use: {', or '.join(RULES[r].sees for r in used)}.")
    out.append("Another baseline: limits here are proposed from the log unless the text says they are frozen.")
    return out


def cautions(study):
    """What the reader must keep in mind."""
    out = []
    for m in study.lots.values():
        out += [f"{m.lot}: {note}" for note in m.chart.notes]
        if m.chart.run is not None:
            out.append(f"{m.lot}: with these rules {m.chart.run.sentence}.")
    if any(m.chart.rules == DEFAULT_RULES for m in study.lots.values()):
        out.append(DEFAULT_RULES_REASON)
    out.append(
        "What goes together need not be cause and effect: a cone, its air stone and the person who fills it change "
        "together. Mend one thing at a time and look at the next hatches."
    )
    out.append("Sick animals are a matter for a veterinarian, whatever the hatch looks like.")
    return list(dict.fromkeys(out))
