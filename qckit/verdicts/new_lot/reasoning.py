"""The lines of reasoning of the new-lot verdict, each with its numbers and which way it points."""

from __future__ import annotations

import math

from qckit.hatch.comparison.undecided import say_open
from qckit.hatch.dose.timing import cost_per_million, lot_currency
from qckit.hatch.harvest.recovery import recovery_by_cone
from qckit.quantities import QUANTITIES, WATER
from qckit.verdicts.finding import Evidence
from qckit.verdicts.lots.expected import expected_words
from qckit.verdicts.new_lot.rules import pct_form, per_g, span
from qckit.words import capital, cone_name, decimals_known, estimated, joined, noun, plural, signed

__all__ = ["EVIDENCE_CODES", "collect_evidence", "comparison_sentence", "lot_beside"]

EVIDENCE_CODES = (
    "minimum",
    "claim",
    "reference",
    "conditions",
    "trimmed",
    "witnesses",
    "certificate",
    "spread",
    "expected",
    "rank",
    "pack",
    "recovery",
    "umbrella",
    "past",
    "rate",
    "speed",
    "budget",
    "ageing",
    "cost",
)
"""What a line of evidence is about."""


def comparison_sentence(comparison, evidence):
    """The sentence of a comparison, with what would settle an open one."""
    if comparison in evidence.claims:
        other = None
    elif comparison in evidence.past:
        other = evidence.n_past
    else:
        other = len(evidence.reference_cones)
    return say_open(comparison, len(evidence.cones), other)


def collect_evidence(evidence, settings):
    """Lines of reasoning, each with its numbers and which way it points."""
    lines = [*_minimum(evidence, settings), *_claims(evidence), *_reference(evidence), _conditions(evidence)]
    if evidence.trimmed is not None:
        lines.append(_trimmed(evidence))
    lines += [
        _witnesses(evidence),
        _certificate(evidence),
        _spread(evidence),
        _expected(evidence),
        *_world(evidence),
        _recovery(evidence),
        *_umbrella(evidence),
        *_deeper(evidence),
        *_cost(evidence, settings),
    ]
    return [line for line in lines if line is not None]


def _minimum(evidence, settings):
    limits = settings.limits
    for what, name, e, limit, form in (
        (
            "hatching percentage",
            "hatch_pct",
            evidence.summary.hatch_pct,
            limits.min_hatch_pct,
            pct_form(evidence.pct_decimals),
        ),
        (
            "hatching efficiency",
            "hatching_efficiency_per_g",
            evidence.summary.hatching_efficiency_per_g,
            limits.min_nauplii_per_g,
            lambda v: f"{per_g(v)} nauplii/g",
        ),
    ):
        question = f"Does the {what} meet the site's minimum of {form(limit)}?"
        values = {"figure": name, "minimum": limit, "value": e.value, "low": e.safe_low, "high": e.safe_high}
        values |= {"sd": e.sd, "n_cones": e.n_cones}
        if not math.isfinite(e.value):
            yield Evidence(question, e.note or "It is not known.", "unknown", "minimum", values)
        elif not e.is_known:
            yield Evidence(question, f"One cone gave {form(e.value)}. {e.note}", "unknown", "minimum", values)
        else:
            text = f"{form(e.value)} ({span(e, form)}; "
            text += f"SD over cones {form(e.sd)}, {e.n_cones} cones)" if math.isfinite(e.sd) else f"{e.n_cones} cone)"
            if e.safe_low >= limit:
                yield Evidence(question, f"Yes: {text}.", "for", "minimum", values)
            elif e.safe_high < limit:
                yield Evidence(question, f"No: {text}.", "against", "minimum", values)
            else:
                side = "Probably" if e.value >= limit else "Probably not"
                yield Evidence(question, f"{side}: {text}.", "neutral", "minimum", values)


_POINTS = {"worse": "against", "better": "for", "at least as good": "for", "equivalent": "for"}


def _compared(comparison):
    """A comparison's numbers; the ratio and its bounds are of the lot over the other."""
    names = ("what", "other", "verdict", "ratio", "low", "high", "difference", "difference_low", "difference_high")
    return {name: getattr(comparison, name) for name in (*names, "against", "margin_pct")}


def _claims(evidence):
    if not evidence.claims:
        claims = (evidence.lot_row.get(f"claimed_{name}") for name in ("hatch_pct", "nauplii_per_g"))
        is_claimed = any(value is not None and value > 0 for value in claims)
        none = "Nothing was counted to hold it against." if is_claimed else "No claim of its label is written down."
        yield Evidence("Does the lot hold what its label claims?", none, "unknown", "claim", {})
    for c in evidence.claims:
        which = "against" if c.high < 1 else _POINTS.get(c.verdict, "neutral")
        question = f"Does the {c.what} hold the claim?"
        yield Evidence(question, comparison_sentence(c, evidence), which, "claim", _compared(c))


def _reference(evidence):
    if not evidence.comparisons:
        why = (
            "No reference lot was run beside the test."
            if evidence.reference is None
            else (f"The reference lot {evidence.reference} has no counted cone to compare with.")
        )
        values = {"reference": evidence.reference}
        yield Evidence("How does it do beside the lot in use?", why, "unknown", "reference", values)
    for c in evidence.comparisons:
        text = comparison_sentence(c, evidence)
        if math.isfinite(c.difference_low):
            n = decimals_known(c.difference_low, c.difference_high)
            low, high = signed(c.difference_low, n), signed(c.difference_high, n)
            text += f" In points: {signed(c.difference, n)} ({low} to {high})."
        question, points = f"How does its {c.what} do beside {lot_beside(evidence)}?", _POINTS.get(c.verdict, "neutral")
        yield Evidence(question, text, points, "reference", _compared(c))


def lot_beside(evidence):
    """What the lot is compared with, in words."""
    return "the lot in use" if evidence.compared_as == "reference" else f"lot {evidence.reference}"


def _conditions(evidence):
    question = "Were the cones run under the standard conditions?"
    table = evidence.conditions
    if not len(table):
        return Evidence(question, "No cone to look at.", "unknown", "conditions", {})
    bad = table[table["status"].isin(["off", "doubtful"])]
    unknown = sorted(set(table.loc[table["status"] == "unknown", "quantity"]))
    tail = (
        f" Not written down for every cone: {', '.join('pH' if name == 'ph' else name for name in unknown)}."
        if unknown
        else ""
    )
    water = table[table["quantity"].isin(WATER)]
    if not len(bad) and (water["status"] == "unknown").all():
        text = f"Not known: none of {joined(QUANTITIES[name].label for name in WATER)} was written down."
        return Evidence(question, text, "unknown", "conditions", {"unknown": unknown, "odd": []})
    values = {"unknown": unknown, "odd": bad[["hatch", "quantity", "value", "unit", "status"]].to_dict("records")}
    if not len(bad):
        return Evidence(question, f"Yes, as far as it was written down.{tail}", "for", "conditions", values)
    lines = [
        f"cone {cone} of lot {lot}: {' '.join(group['sentence'])}"
        for (lot, cone), group in bad.groupby(["lot", "cone"], sort=False)
    ]
    is_off = (bad["status"] == "off").any()
    points = "against" if is_off else "neutral"
    return Evidence(question, f"Not all: {' '.join(lines)}{tail}", points, "conditions", values)


def _trimmed(evidence):
    cones = ", ".join(evidence.cones.loc[evidence.cones["hatch"].isin(evidence.doubtful), "cone"])
    h, e = evidence.trimmed.hatch_pct, evidence.trimmed.hatching_efficiency_per_g
    was, form = evidence.summary.hatch_pct, pct_form(evidence.pct_decimals)
    values = {"hatches": list(evidence.doubtful), "hatch_pct": h.value, "hatch_pct_with_them": was.value}
    values |= {"hatching_efficiency_per_g": e.value}
    return Evidence(
        f"And without the doubtful {noun(len(evidence.doubtful), 'cone')} {cones}?",
        f"{form(h.value)} instead of {form(was.value)}, and {per_g(e.value)} instead of "
        f"{per_g(evidence.summary.hatching_efficiency_per_g.value)} nauplii per gram. The verdict keeps the cone in, "
        "because its conditions are inside the limits and leaving out poor cones after the fact flatters a lot.",
        "neutral",
        "trimmed",
        values,
    )


def _certificate(evidence):
    use = evidence.certificate
    if use is None:
        return None
    text = use.sentence
    if use.holds and math.isfinite(evidence.counted_hatch_pct):
        corrected = evidence.summary.hatch_pct
        form = pct_form(evidence.pct_decimals)
        text += (
            f" Corrected by it, the hatching percentage is {form(corrected.value)}; as counted it "
            f"would be {form(evidence.counted_hatch_pct)}. Its uncertainty is in the intervals."
        )
    values = {"certificate": use.certificate.name if use.certificate else None, "holds": use.holds}
    values |= {"hatch_pct": evidence.summary.hatch_pct.value, "hatch_pct_as_counted": evidence.counted_hatch_pct}
    question, points = "How well does the kit count this camera's photos?", "neutral" if use.holds else "unknown"
    return Evidence(question, text, points, "certificate", values)


def _witnesses(evidence):
    w = evidence.summary.witnesses
    points = {"agree": "for", "fewer shells": "neutral", "more shells": "against"}
    names = ("nauplii", "shells", "ratio", "ratio_low", "ratio_high", "p_value", "verdict")
    values, question = {name: getattr(w, name) for name in names}, "Do nauplii and empty shells tell the same story?"
    return Evidence(question, w.sentence, points.get(w.verdict, "unknown"), "witnesses", values)


def _spread(evidence):
    if evidence.spread is None:
        return None
    question = "How much do this room's cones usually differ?"
    text = (
        f"{evidence.spread.n_cones} earlier cones run side by side tell: {100 * evidence.spread.cv:.1f} % in nauplii "
        "per gram beyond counting."
    )
    if len(evidence.cones):
        text += f" The intervals rest on them and on the {plural(len(evidence.cones), 'cone')} of this test."
    if evidence.differ_more:
        text += " These differ more, beyond chance, and the intervals are wider for it."
    values = {"cv_pct": 100 * evidence.spread.cv, "n_earlier": evidence.spread.n_cones, "n_cones": len(evidence.cones)}
    return Evidence(question, text, "neutral", "spread", values | {"differ_more": evidence.differ_more})


def _expected(evidence):
    """The sentence on the lot that the month and a poor hatch show too."""
    h, e = evidence.summary.hatch_pct, evidence.world.expected
    gave = f"{evidence.lot} gave {pct_form(evidence.pct_decimals)(h.value)}; " if math.isfinite(h.value) else ""
    points = "neutral"
    if math.isfinite(h.value):
        points = "against" if h.high < e.low_pct else "for" if h.low >= e.low_pct else "neutral"
    words = expected_words(e, with_test=False)
    text, values = f"{gave}{words}." if gave else capital(f"{words}."), {"hatch_pct": h.value, **e.to_dict()}
    return Evidence("What was to be expected of it?", text, points, "expected", values)


def _world(evidence):
    world = evidence.world
    hatch_pct = evidence.summary.hatch_pct.value
    if len(world.earlier) and math.isfinite(hatch_pct):
        better = int((world.earlier["hatch_pct"] > hatch_pct).sum())
        form = pct_form(evidence.pct_decimals)
        first = ", ".join(f"{r.lot} {form(r.hatch_pct)} ({r.day})" for r in world.earlier.itertuples())
        points = "for" if better == 0 else "against" if better == len(world.earlier) else "neutral"
        yield Evidence(
            "How does it stand among this site's lots?",
            f"Number {better + 1} of {len(world.earlier) + 1} by the hatching percentage of their first tests: "
            f"{evidence.lot} {form(hatch_pct)}; {first}.",
            points,
            "rank",
            {"rank": better + 1, "n_lots": len(world.earlier) + 1, "hatch_pct": hatch_pct},
        )
    if world.best_before or math.isfinite(world.opened_days):
        parts = [f"best before {world.best_before}" + (", past" if world.is_past else "")] if world.best_before else []
        if math.isfinite(world.opened_days) and world.opened_days >= 0:
            days = int(world.opened_days)
            parts.append(f"opened {plural(days, 'day')} before the test" if days else "opened on the day of the test")
        if parts:
            text, points = f"{capital('; '.join(parts))}.", "against" if world.is_past else "neutral"
            values = {"best_before": world.best_before, "is_past": world.is_past, "opened_days": world.opened_days}
            yield Evidence("How old is it?", text, points, "pack", values)


def _recovery(evidence):
    by_cone = recovery_by_cone(evidence.recovery.by_hatch) if evidence.recovery.basis == "measured" else []
    text = evidence.recovery.sentence
    if len(by_cone):
        each = (
            f"{cone_name(r.cone)} {r.recovery_pct:.0f} % ({r.low:.0f} to {r.high:.0f})" for r in by_cone.itertuples()
        )
        text += f" By cone: {joined(each)}."
    text = " ".join([text, *evidence.losses.sentences])
    r, losses = evidence.recovery, evidence.losses
    values = {"basis": r.basis, "recovery_pct": r.pct, "low": r.low, "high": r.high, "n_harvests": r.n_harvests}
    values |= {"lost_a_harvest": losses.lost_a_harvest, "waste_pct": losses.waste_pct}
    return Evidence("How much of a hatch does the harvest bring in?", text, "neutral", "recovery", values)


def _umbrella(evidence):
    u = evidence.summary.umbrella_pct
    if not math.isfinite(u.value):
        return []
    form = pct_form(decimals_known(u.low, u.high))
    each = ", ".join(
        f"{cone_name(c)} {form(v)}" for c, v in zip(evidence.cones["cone"], evidence.cones["umbrella_pct"])
    )
    return [
        Evidence(
            "How many stopped half hatched (umbrella stage)?",
            f"{form(u.value)} over cones ({each}). A high "
            "share points to low pH, little oxygen, or a reading taken too early.",
            "neutral",
            "umbrella",
            {"umbrella_pct": u.value, "n_cones": u.n_cones},
        )
    ]


def _deeper(evidence):
    for c in evidence.past:
        question, points = f"Has its {c.what} changed since the last test?", _POINTS.get(c.verdict, "neutral")
        yield Evidence(question, comparison_sentence(c, evidence), points, "past", _compared(c))
    if evidence.rate is not None:
        t10, t90, ts = (evidence.rate.time(n) for n in ("T10", "T90", "Ts"))
        notes = " ".join(("", *evidence.rate.notes))
        yield Evidence(
            "How fast and how evenly does it hatch?",
            f"T10 {t10.value_h:.1f} h, T90 {estimated(t90.value_h, t90.low_h, t90.high_h, 'h')}, synchrony "
            f"{ts.value_h:.1f} h, of those that hatch (averaged over six shapes of curve).{notes}",
            "neutral",
            "rate",
            {"t10_h": t10.value_h, "t90_h": t90.value_h, "t90_low_h": t90.low_h, "t90_high_h": t90.high_h}
            | {"synchrony_h": ts.value_h},
        )
    if evidence.speed is not None:
        names = ("other", "ratio", "low", "high", "verdict", "smallest_pct")
        values = {n: getattr(evidence.speed, n) for n in names}
        question = f"Is it faster or slower than {lot_beside(evidence)}?"
        yield Evidence(question, evidence.speed.sentence, "neutral", "speed", values)
    if evidence.budget is not None:
        values = {n: getattr(evidence.budget, n) for n in ("value", "u", "low", "high")}
        question = "What makes nauplii per gram uncertain?"
        yield Evidence(question, evidence.budget.sentence, "neutral", "budget", values)
    if evidence.ageing is not None:
        days = f"It was hatched on {plural(evidence.ageing.n_tests, 'day')}. "
        other = (
            f"the lot in use, {evidence.ageing.lot}," if evidence.compared_as == "reference" else lot_beside(evidence)
        )
        who = "the lot" if evidence.ageing.lot == evidence.lot else other
        names = ("lot", "metric", "slope_per_month", "slope_low", "slope_high", "slope_unit", "n_tests")
        values = {n: getattr(evidence.ageing, n) for n in names}
        yield Evidence(f"Does {who} age?", days + evidence.ageing.sentence, "neutral", "ageing", values)


def _cost(evidence, settings):
    e = evidence.summary.hatching_efficiency_per_g
    cost, currency = _price(evidence.lot_row, e.value, settings)
    if not math.isfinite(cost):
        return []
    text = f"{cost:.2f} {currency} at the best guess of {per_g(e.value)} nauplii per gram, before losses at harvest."
    values = {"cost_per_million": cost, "currency": currency, "hatching_efficiency_per_g": e.value}
    if evidence.reference_summary is not None:
        other = evidence.reference_summary.hatching_efficiency_per_g.value
        their_cost, theirs = _price(evidence.reference_row, other, settings)
        if math.isfinite(their_cost):
            text += f" Lot {evidence.reference}: {their_cost:.2f} {theirs} at {per_g(other)}."
            values |= {"cost_beside": their_cost, "currency_beside": theirs}
    return [Evidence("What does a million nauplii cost?", text, "neutral", "cost", values)]


def _price(row, efficiency_per_g, settings):
    """What a million hatched nauplii of a lot cost, and its currency; NaN where that is not known."""
    cost = cost_per_million(row.get("price"), row.get("pack_g"), efficiency_per_g)
    return cost, lot_currency(row, settings)
