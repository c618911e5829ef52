"""The sentences of the new-lot verdict: evidence, next steps, what would change it, cautions."""

from __future__ import annotations

import math

from qckit.hatch.lots.in_use import IN_USE_DAYS
from qckit.hatch.lots.standard_tests import SAME_TEST_DAYS
from qckit.hatch.notes import gaps, has_note
from qckit.verdicts.new_lot.other_lots import best_choice
from qckit.verdicts.new_lot.reasoning import comparison_sentence
from qckit.verdicts.new_lot.rules import VERDICTS, pct_form, per_g
from qckit.words import capital, joined, noun, plural

__all__ = [
    "best_choice_of",
    "cautions",
    "doubts",
    "headline",
    "next_steps",
    "planned",
    "verdict_words",
    "would_change",
]


def verdict_words(verdict, settings):
    """The verdict as people read it; a larger dose is more grams where nothing is fed."""
    if verdict == "accept-larger-dose" and not settings.protocol.is_fed:
        return "Accept with more grams"
    return VERDICTS[verdict]


def headline(reason, evidence):
    """The verdict's reason as a short sentence, and whether the test is doubtful."""
    found = [code for code, _ in doubts(evidence)]
    return f"{capital(reason)}." + (f" Doubtful test: {joined(_DOUBTS[code] for code in found)}." if found else "")


_DOUBTS = {
    "conditions": "a cone ran under doubtful conditions",
    "cones_differ": "its cones differ more than usual",
    "more_shells": "more shells than nauplii",
    "past_best_before": "past its best-before date",
}


def doubts(evidence):
    """What makes the test doubtful, as codes with their values."""
    cones = dict(zip(evidence.cones["hatch"], evidence.cones["cone"]))
    if evidence.doubtful:
        yield "conditions", {"cones": [cones[h] for h in evidence.doubtful]}
    if evidence.differ_more:
        yield "cones_differ", {"n_earlier": evidence.spread.n_cones}
    if evidence.summary.witnesses.verdict == "more shells":
        yield "more_shells", {"ratio": evidence.summary.witnesses.ratio}
    if evidence.world.is_past:
        yield "past_best_before", {"date": evidence.world.best_before}


def planned(evidence):
    """How often two, three and four cones end in "repeat", said beforehand."""
    shares = joined(f"{100 * v:.0f} with {k}" for k, v in evidence.plan.items())
    return (
        f"Of 100 tests of a lot 8 points above the minimum, this many have to be repeated in this room: {shares} cones."
    )


def best_choice_of(evidence, settings):
    """Which lot to use instead, as (code, values) of :func:`best_choice`."""
    pct, beside = evidence.summary.hatch_pct.value, evidence.reference_summary
    if evidence.compared_as == "test" and beside is not None and not beside.hatch_pct.value > pct:
        beside = None  # another lot on trial that did worse: what is in use comes first
    return best_choice(evidence.world, pct, beside, settings.limits.min_hatch_pct)


_PUT_AWAY = "Do not use this lot; keep the pack closed and cold, and send the supplier this report."
_KEEP = "Send the supplier this report; use this lot only for want of a better one; keep the pack closed."


def _choice(evidence, settings):
    """Which lot to use instead; see :func:`best_choice`."""
    code, values = best_choice_of(evidence, settings)
    order = "Order early: this delivery does not count."
    if code == "beside_worse" and _is_usable(evidence, settings):
        grams = f": {evidence.dose.say(evidence.dose.grams_weighed)} g for a feed" if evidence.dose is not None else ""
        order = f"Order another lot now; until it is tested, this one is the better of the two{grams}."
    return _CHOICES[code].format(**_in_digits(code, values, evidence), order=order)


def _is_usable(evidence, settings):
    """Whether grams of the lot can be told: by its dose or, where nothing is fed, by its nauplii per gram."""
    if settings.protocol.is_fed:
        return evidence.dose is not None
    return evidence.summary.hatching_efficiency_per_g.value > 0


def _in_digits(code, values, evidence):
    """The other lot's percentage: beside the test as on the rest of the page, and never like the minimum it misses."""
    if "hatch_pct" not in values:
        return values
    decimals = evidence.pct_decimals if code.startswith("beside") else 0
    if round(values["hatch_pct"], decimals) == round(values["minimum"], decimals):
        decimals = 1
    return values | {"hatch_pct": pct_form(decimals)(values["hatch_pct"])}


_CHOICES = {
    "beside_good": "Go on with lot {lot}: {hatch_pct} in the same test. {order}",
    "beside_poor": "Lot {lot} did better in the same test, but with {hatch_pct} it is below the minimum of "
    "{minimum:g} % too: use it only until another lot is tested. {order}",
    "beside_worse": "The lot in use, {lot}, did worse in the same test: {hatch_pct}. {order}",
    "in_use": "Go on with lot {lot}: {hatch_pct} over its last {n} hatches; none of it was run beside this test. "
    "{order}",
    "in_use_poor": "The lot in use, {lot}, gave {hatch_pct} over its last {n} hatches, below the minimum of "
    "{minimum:g} % too: test it beside another lot. {order}",
    "none": f"No other lot was in use in the {IN_USE_DAYS} days before this test. {{order}}",
}


def next_steps(rule, evidence, settings):
    """What to do now, most urgent first."""
    steps = []
    cones = dict(zip(evidence.cones["hatch"], evidence.cones["cone"]))
    if rule.verdict in ("accept", "accept-larger-dose") and evidence.dose is not None:
        steps.append(f"For one feed take {evidence.dose.sentence}")
    elif rule.verdict in ("accept", "accept-larger-dose") and not settings.protocol.is_fed:
        steps.append(f"How many grams give the nauplii you need, says  qckit dose {evidence.lot} --nauplii NUMBER.")
    if rule.verdict == "accept-larger-dose":
        steps.append(_larger_dose(evidence, settings))
    if rule.verdict == "reject":
        code = best_choice_of(evidence, settings)[0]
        steps.append(_KEEP if code == "beside_worse" and _is_usable(evidence, settings) else _PUT_AWAY)
        steps.append(_choice(evidence, settings))
    if rule.verdict == "repeat-test":
        steps.append(
            "Repeat the standard test with fresh cones before the lot goes into use; six subsamples a cone, all under "
            f"the standard conditions. {planned(evidence)}"
        )
    if rule.verdict == "not-enough-evidence":
        steps.append(f"{_what_is_missing(rule, evidence, settings.protocol)} {planned(evidence)}")
    for hatch in (*evidence.spoiled, *evidence.doubtful):
        why = evidence.conditions[
            (evidence.conditions["hatch"] == hatch) & evidence.conditions["status"].isin(["off", "doubtful"])
        ]
        reasons = " ".join(why["sentence"])
        steps.append(f"Put cone {cones[hatch]} right and run it again: {reasons}")
    if rule.code != "figure_unknown":
        steps += [f"Fill this gap and make the report anew. {gap}" for gap in gaps(evidence.summary.notes)]
    if evidence.summary.witnesses.verdict == "more shells":
        steps.append("Look for dead or lost nauplii: mix before sampling, sample in even light, look at the cone wall.")
    if evidence.reference is None and len(evidence.cones):
        steps.append("Next time run two cones of the lot in use beside the test, so that room and day are ruled out.")
    steps.append(_which_of_two(evidence))
    steps = [f"Put this right first, and make the report anew. {slip}" for slip in evidence.slips] + steps
    return [step for step in steps if step]


def _which_of_two(evidence):
    """Of two lots tested beside each other, which gives more for a gram; empty where neither does, or one is in use."""
    per_gram = [c for c in evidence.comparisons if c.what == "hatching efficiency"]
    if evidence.compared_as != "test" or not per_gram:
        return ""
    c, name = per_gram[0], evidence.reference
    if c.verdict in ("equivalent", "at least as good"):
        return f"This lot and {name} are as good as each other within your margin: take the cheaper one."
    if c.verdict == "cannot tell":
        return f"Between this lot and {name} the test does not decide: take the cheaper one, or run more cones of both."
    more, less = ("this lot", f"lot {name}") if c.verdict == "better" else (f"Lot {name}", "this lot")
    share = 100 * abs((c.ratio if c.verdict == "better" else 1 / c.ratio) - 1)
    text = f"{capital(more)} gave {share:.0f} % more nauplii per gram than {less} in the same test."
    return f"{text} Compare what a million of them costs, below."


def would_change(rule, evidence, case):
    """What would have to be seen for another verdict."""
    lines = []
    for name, estimate, limit, form in (
        ("hatching percentage", case.hatch, case.min_hatch_pct, pct_form(evidence.pct_decimals)),
        ("hatching efficiency", case.efficiency, case.min_nauplii_per_g, lambda v: f"{per_g(v)} nauplii/g"),
    ):
        if not math.isfinite(estimate.value) or not estimate.is_known:
            continue
        if estimate.safe_low < limit <= estimate.safe_high:
            lines.append(
                f"More cones that move the lower bound of the {name} from {form(estimate.safe_low)} above "
                f"{form(limit)} would show that the site's minimum is met; an upper bound below it would mean "
                "reject."
            )
        elif estimate.safe_low >= limit:
            lines.append(
                f"A {name} with an upper bound below {form(limit)} would mean reject; it is now "
                f"{form(estimate.safe_high)}."
            )
    for c in (*evidence.claims, *evidence.comparisons):
        if c.verdict == "cannot tell":
            lines.append(comparison_sentence(c, evidence))
    if evidence.trimmed is not None:
        h = evidence.trimmed.hatch_pct
        lines.append(
            f"If the doubtful {noun(len(evidence.doubtful), 'cone')} came out like the others when run "
            f"again, the hatching percentage would be near {pct_form(evidence.pct_decimals)(h.value)}."
        )
    if rule.code == "one_cone":
        lines.append("A second cone would give an interval, a third a narrower one; this one cone alone can give none.")
    if rule.code in ("nothing_counted", "figure_unknown"):
        lines.append(
            "Counts of nauplii, umbrella stages and unhatched cysts with the volume counted, in two cones or more."
        )
    return lines


def cautions(rule, evidence, settings):
    """What the reader must keep in mind."""
    lines = []
    if len(evidence.cones) and (evidence.cones["basis"] == "cysts").any():
        lines.append(
            "Unhatched cysts were counted without decapsulation: dead full cysts and closed empty ones weigh "
            "in, so the true hatching percentage of living cysts may be higher."
        )
        lines.append(
            "Clearing a subsample with lye and bleach would settle it. Both burn skin and eyes and the "
            "mixture heats up: goggles, gloves, fresh air, never with acid, your room's own rules "
            "first."
        )
    if has_note(evidence.summary.notes, "no_umbrella"):
        lines.append(
            "Umbrella stages were not counted in every cone and were taken as none: the hatching percentage "
            "may be too high."
        )
    lines.extend(str(note) for note in evidence.summary.notes if note.code == "other_hour")
    if evidence.differ_more:
        lines.append(
            "The cones of this test differ more than this room's cones usually do: look for a cause before "
            "trusting the mean."
        )
    if rule.verdict in ("accept", "accept-larger-dose"):
        lines.append("The verdict is on hatching only; it says nothing of nutritional value or germs.")
        if settings.protocol.is_fed:
            lines[-1] += " What to feed to sick animals is for a veterinarian to decide."
    return lines


def _larger_dose(evidence, settings):
    claim = evidence.lot_row.get("claimed_nauplii_per_g")
    if claim is None or not claim > 0 or not _is_usable(evidence, settings):
        return ""
    tell = "; tell the supplier, with this report" if any(c.high < 1 for c in evidence.claims) else ""
    if not settings.protocol.is_fed:
        factor = claim / evidence.summary.hatching_efficiency_per_g.value
        return f"Take {factor:.2f} times the grams that the label's claim would ask for{tell}." if factor > 1 else ""
    on_claim = evidence.dose.nauplii / (claim * evidence.dose.recovery_pct / 100)
    dose, factor = evidence.dose, evidence.dose.best_grams / on_claim
    return (
        f"Without the reserve for hatches that fall short it is {dose.say(dose.best_grams)} g, {factor:.2f} times the "
        f"{dose.say(on_claim)} g that the label's claim would ask for{tell}."
    )


_FEW = {1: ("the cone", "three rounds of the cone make three"), 2: ("both cones", "two rounds of both make four")}
"""Cones of a small room -> what it has, and how its test comes by more."""


def _what_is_missing(rule, evidence, protocol):
    cones_here, rounds = _FEW.get(len(protocol.cone_names), ("", ""))
    few = f" Hatches started within {SAME_TEST_DAYS} days count as cones of one test: {rounds}." if rounds else ""
    if rule.code == "one_cone":
        more = f"{cones_here} with this lot again" if cones_here else "at least two more cones of this lot"
        return f"Run {more} under the standard conditions; until then use the lot in use.{few}"
    if rule.code == "figure_unknown":
        return "Fill the gap named above in the field sheet, or count the subsamples again, and make the report anew."
    if evidence.production:
        return (
            f"Run a standard test of {protocol.test_cones}.{few} "
            f"{plural(evidence.production, 'production hatch of this lot is', 'production hatches of this lot are')} "
            "counted, but not made to grade it."
        )
    return f"Run a standard test of {protocol.test_cones}, count it, and make the report anew.{few}"
