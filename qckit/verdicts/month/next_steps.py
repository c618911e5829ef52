"""What to do after a month's review, the most urgent first, and what would turn the verdict."""

from __future__ import annotations

import math
import shlex

from qckit.charts.series import CHARTED, CONDITIONS
from qckit.verdicts.month.signals import open_signals
from qckit.verdicts.month.words import below_minimum, condition_words, far_off_of, since_words, slope_of, where_words
from qckit.words import capital, first_few, joined, plural

__all__ = ["next_steps", "would_change"]

_NAMED, _NAMED_BRIEFLY = 3, 8  # hatches whose counts are to be put right
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


def next_steps(study, code):
    """What to do, the most urgent first."""
    order = study.settings.site.date_order
    steps = [*_put_right(study.to_put_right), *_look_at(study), *_freeze_anew(study)]
    steps += [text for s in study.shifts if s.is_open for text in _steps_for(s, order)]
    steps += _explain(open_signals(study.signals))  # which the headline names
    steps += _read_again(study)
    steps += [step for m in study.lots.values() if (step := _step_for_lot(study, m))]
    steps += [f"Dose per feed: {m.dose_words}" for m in study.lots.values() if m.dose is not None]
    unfrozen = [m for m in study.lots.values() if not m.chart.is_frozen and m.chart.limits is not None]
    if code == "in-control" and unfrozen:
        steps.append("Review the proposed baselines and freeze them, so that next month is judged by the same limits.")
    return list(dict.fromkeys(steps))


def _put_right(impossible) -> list[str]:
    """Ask for the counts that cannot be: until they are put right their hatches are in no figure."""
    steps = [
        f"{one.hatch}: {one.why}, so no figure of this page rests on it. {one.first_step}"
        for one in impossible[:_NAMED]
    ]
    others = first_few([one.hatch for one in impossible[_NAMED:]], _NAMED_BRIEFLY)
    return [*steps, f"Left out for the same reason: {others}."] if others else steps


def _look_at(study) -> list[str]:
    """Ask for a look at the month's hatches whose figures can hardly be: until then no limits rest on them."""
    mine = [study.doubted[name] for name in study.series["hatch"] if name in study.doubted]
    steps = [
        f"{one.hatch}: {one.why}. No limits and no mean of nauplii per gram rest on it until somebody has looked. "
        f"{one.first_step};  if it is right as it stands:  "
        f"qckit report set-aside {shlex.quote(one.hatch)} --undo --reason TEXT --by NAME"
        for one in mine[:_NAMED]
    ]
    others = first_few([one.hatch for one in mine[_NAMED:]], _NAMED_BRIEFLY)
    return [*steps, f"Look likewise at: {others}."] if others else steps


def _freeze_anew(study) -> list[str]:
    """Name the frozen limits that their hatches would not give any more, and how they are frozen anew."""
    stale = [c for c in study.charts.values() if c.stale]
    if not stale:
        return []
    named = [f"{c.charted.label} of {c.lot}, frozen at {c.stale}" for c in stale[:_NAMED]]
    more = len(stale) - _NAMED
    return [
        f"Records behind frozen limits were put right since, or can hardly be: {joined(named)}"
        f"{f' and {more} more' if more > 0 else ''}. Look at the hatches named here and under what was left out; then "
        f"freeze anew:  qckit report month {study.month} --freeze-baselines --anew --by NAME"
    ]


def _step_for_lot(study, m) -> str:
    """What to do about a lot that is poor or ages, in one step; empty where there is nothing, or a change says it."""
    if any(s.is_open and s.factor == "lot" and s.level == m.lot for s in study.shifts):
        return ""
    slope = slope_of(study, m)
    loses = f"loses {abs(slope):.1f} points in 30 days" if slope < 0 else ""
    if m in below_minimum(study):
        text = f"Decide about {m.lot}: it stays below your minimum of {study.settings.limits.min_hatch_pct:g} %"
        text += f" and {loses}" if loses else ""
        return f"{text}. Hatch another lot beside it, or weigh by what it gives."
    return f"Use up {m.lot} soon or give it up: it {loses}." if loses else ""


def _steps_for(s, order):
    where = f" ({s.where})" if s.factor else ""
    if s.kind == "lot":
        first = [_REMEDY[(c["condition"], 1 if c["difference"] > 0 else -1)] for c in s.conditions[:1]]
        return [
            *(f"{remedy}: {s.level} came with another water." for remedy in first),
            f"Test {s.level} beside a lot you trust, the same day and water: if it stays behind, use another lot and "
            "ask the seller.",
        ]
    if s.quantity in CONDITIONS:
        low = -1 if s.effect < 0 else 1
        if not s.is_ongoing:
            what = f"the {CHARTED[s.quantity].label} {since_words(s, order)}{where}"
            return [f"Write down what happened to {what}; it is over."]
        return [f"{_REMEDY[(s.quantity, low)]}{where}."]
    if s.effect > 0:
        return [f"Find out why {where_words(s)} did better {since_words(s, order)}; if it is real, make it the rule."]
    remedies = [_REMEDY[(c["condition"], 1 if c["difference"] > 0 else -1)] for c in s.conditions]
    if not s.is_ongoing:
        beside = f": {'; '.join(condition_words(c) for c in s.conditions)}" if s.conditions else ""
        return [f"Write down as explained what happened {since_words(s, order)}{where}{beside}; it is over."]
    missing = [f"Measure the {joined([CHARTED[q].label for q in s.unread])}{where}: it was hardly read there."]
    missing = missing if s.unread else []
    if remedies:
        return [*(f"{r}{where}." for r in dict.fromkeys(remedies[:2])), *missing]
    if missing:
        return missing
    if s.factor == "operator":
        return [f"Let {s.level} and another person weigh, sample and count the same hatch, and compare."]
    if s.factor == "counted_by":
        return ["Count five photos by hand and compare: the counter or the light may have changed."]
    if s.factor == "lot" and s.kind == "drift":
        return [f"Use up {s.level} soon or give it up, and look at how its tin is kept: dry, cold, closed."]
    return [
        f"Look at {where_words(s)} for what is not in the log: storage of the cysts, cleaning, weighing, mixing before "
        "the subsample is taken."
    ]


def _read_again(study):
    """What to look at where a reading was far off the standard, once for each quantity and side."""
    for (name, side), part in study.costly_water.groupby(["chart", "side"], sort=False):
        remedy = _REMEDY[(name, -1 if side == "below" else 1)]
        yield f"{remedy}: {far_off_of(study, part)}."


def _explain(alone):
    """Ask for each hatch that stands out on its own, those of the hatching percentage first."""
    alone = alone.sort_values("chart", key=lambda c: c != "hatch_pct", kind="stable").drop_duplicates("hatch")
    for row in alone.head(3).itertuples():
        q = CHARTED[row.chart]
        is_poor = row.chart == "hatch_pct" and row.side == "below"
        look = f"; qckit report poor-hatch {row.hatch} looks for its cause" if is_poor else ""
        name = "" if row.chart == "hatch_pct" else f"{q.label} "
        yield f"Explain hatch {row.hatch} ({name}{q.value_text(row.value)}){look}."
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
        begins = [f"that of {where_words(s)} by {s.labels[0]}" for s in study.shifts if s.is_open and s.labels]
        by_hatch = f", and a change by its first hatch ({joined(begins)})" if begins else ""
        out.append(
            f"An explanation: qckit report explain HATCH closes a signal{by_hatch}; a month whose signals are all "
            "explained is in control."
        )
    return out
