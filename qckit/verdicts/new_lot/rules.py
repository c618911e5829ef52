"""The rules of the new-lot verdict, in one place, in the order they are tried; the first that holds decides.

Limits are the site's own (``[limits]`` of its settings). Intervals are over cones; where few cones agree more closely
than counting lets them, the rules keep to the wider bounds of counting, and the sentences say so. "Minimum" below is
the site's own, for hatching percentage and for nauplii per gram.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from qckit.hatch.comparison.lots import Comparison
from qckit.hatch.dose.warnings import is_shown_below
from qckit.hatch.intervals.estimates import Estimate
from qckit.words import decimals_known, noun, number, small

__all__ = [
    "RULES",
    "TONES",
    "VERDICTS",
    "Case",
    "Rule",
    "first_rule",
    "pct_decimals",
    "pct_form",
    "per_g",
    "round_3",
    "span",
]

VERDICTS = {
    "accept": "Accept",
    "accept-larger-dose": "Accept with a larger dose",
    "repeat-test": "Repeat the test",
    "reject": "Reject",
    "not-enough-evidence": "Not enough evidence",
}


TONES = {
    "accept": "good",
    "accept-larger-dose": "attention",
    "repeat-test": "attention",
    "reject": "bad",
    "not-enough-evidence": "unknown",
}


@dataclass(frozen=True)
class Case:
    """Everything the rules look at."""

    n_cones: int  # counted cones that went in
    n_spoiled: int  # of these, cones run outside the standard conditions
    has_spread: bool  # the site's own between-cone spread is known
    full_cysts: float  # counted in all
    hatch: Estimate  # percent
    efficiency: Estimate  # per gram
    min_hatch_pct: float
    min_nauplii_per_g: float
    margin_pct: float
    claims: tuple[Comparison, ...]  # against the label
    pct_decimals: int  # of the hatching percentage, wherever it is written
    reference: tuple[Comparison, ...]  # against the reference lot


@dataclass(frozen=True)
class Rule:
    """One rule: its code, its verdict, its text, when it holds, and the reason in numbers."""

    code: str
    verdict: str
    text: str
    holds: Callable[[Case], bool]
    reason: Callable[[Case], str]


def _pairs(case):
    return (
        ("hatching percentage", case.hatch, case.min_hatch_pct, pct_form(case.pct_decimals)),
        ("hatching efficiency", case.efficiency, case.min_nauplii_per_g, per_g),
    )


def per_g(value):
    """Nauplii per gram to three significant figures: more would pretend to a precision no test has."""
    return number(round_3(value)) if math.isfinite(value) else "unknown"


def pct_decimals(estimate, limits):
    """Decimals of a percentage on every part of a page: what its interval leaves known, or tells it from a limit.

    Parameters
    ----------
    estimate : Estimate
    limits : list of float
        What it is held against: minimum and claim.
    """
    low, high = estimate.safe_low, estimate.safe_high
    if any(round(limit, 1) % 1 for limit in limits):
        return 1
    return decimals_known(low, high, beside=(estimate.value, low, high, *limits))


def pct_form(decimals):
    """Form of a percentage with so many decimals."""
    return lambda value: f"{value:.{decimals}f} %" if math.isfinite(value) else "unknown"


def span(estimate, form):
    """An interval in words, the unit said once."""
    first, last = form(estimate.safe_low), form(estimate.safe_high)
    unit = first.partition(" ")[2]
    return f"{first.removesuffix(unit).rstrip()} to {last}"


def round_3(value):
    """Round to three significant figures; NaN stays."""
    if not math.isfinite(value) or value == 0:
        return value
    return round(value, 2 - math.floor(math.log10(abs(value))))


def _first(case, test):
    return next((p for p in _pairs(case) if test(*p[:3])), None)


def _guess_below(estimate, limit):
    return estimate.value < limit


def _far_below(case):
    line = 1 - case.margin_pct / 100
    return lambda estimate, limit: estimate.safe_low < limit * line


def _not_shown(estimate, limit):
    return estimate.safe_low < limit


def _with(test):
    return lambda _name, estimate, limit: test(estimate, limit)


def _say(case, test, words):
    name, estimate, limit, form = _first(case, _with(test))
    return f"{_SHORT[name]} {form(estimate.value)} ({span(estimate, form)}) {words} {form(limit)}"


_SHORT = {"hatching percentage": "hatching percentage", "hatching efficiency": "nauplii per gram"}


def _missed(case):
    return [c for c in case.claims if math.isfinite(c.high) and c.high < 1]


def _short(case):
    return [c for c in case.claims if c.ratio < 1 - case.margin_pct / 100]


def _worse(case):
    return [c for c in case.reference if c.verdict == "worse"]


def _larger(case):
    # the two figures tell one story: the clearest of them is enough for a headline, the rest is in the evidence
    reasons = [_claim(c, case, "misses") for c in _missed(case)] + [small(c.sentence).rstrip(".") for c in _worse(case)]
    reasons += [_claim(c, case, "is probably short of") for c in _short(case)]
    reasons = reasons[:1]
    if not reasons:
        reasons.append(_say(case, _not_shown, "probably meets the minimum of"))
    return "; ".join(reasons)


def _claim(c, case, word):
    name, estimate, _, form = next(p for p in _pairs(case) if p[0] == c.what)
    return f"{_SHORT[name]} {form(estimate.value)} ({span(estimate, form)}) {word} the claim of {form(c.against)}"


RULES: tuple[Rule, ...] = (
    Rule(
        "nothing_counted",
        "not-enough-evidence",
        "No cone of a test of this lot was counted, or no full cyst was seen in any of them.",
        lambda c: c.n_cones == 0 or not c.full_cysts > 0,
        lambda c: (
            "no test of this lot was counted"
            if c.n_cones == 0
            else "no nauplius, umbrella stage or unhatched cyst was counted in any cone"
        ),
    ),
    Rule(
        "figure_unknown",
        "not-enough-evidence",
        "Hatching percentage or nauplii per gram cannot be worked out, because unhatched cysts, volume or mass are "
        "missing.",
        lambda c: not (math.isfinite(c.hatch.value) and math.isfinite(c.efficiency.value)),
        lambda c: (
            "unhatched cysts were not counted, so the hatching percentage is unknown"
            if not math.isfinite(c.hatch.value)
            else "a counted volume is missing, so nauplii per gram are unknown"
        ),
    ),
    Rule(
        "one_cone",
        "not-enough-evidence",
        "Fewer than two cones, and the site's records do not yet say how much its cones differ.",
        lambda c: c.n_cones < 2 and not c.has_spread,
        lambda c: "one cone alone cannot show how much cones differ",
    ),
    Rule(
        "conditions_spoiled",
        "repeat-test",
        "Fewer than two cones (one, when the site's own spread is known) were run within the standard conditions.",
        lambda c: c.n_cones - c.n_spoiled < (1 if c.has_spread else 2),
        lambda c: (
            f"{c.n_spoiled} of {c.n_cones} cones {noun(c.n_spoiled, 'was', 'were')} run outside the standard conditions"
        ),
    ),
    Rule(
        "below_minimum",
        "reject",
        "The whole interval of hatching percentage or of nauplii per gram lies below the site's minimum.",
        lambda c: _first(c, _with(is_shown_below)) is not None,
        lambda c: _say(c, is_shown_below, "lies below the minimum of"),
    ),
    Rule(
        "guess_below_minimum",
        "repeat-test",
        "The best guess is below the site's minimum, but chance cannot be ruled out.",
        lambda c: _first(c, _with(_guess_below)) is not None,
        lambda c: _say(c, _guess_below, "is probably below the minimum of"),
    ),
    Rule(
        "too_uncertain",
        "repeat-test",
        "The interval reaches further below the site's minimum than the site's margin.",
        lambda c: _first(c, _with(_far_below(c))) is not None,
        lambda c: _say(c, _far_below(c), f"may lie over {c.margin_pct:g} % below the minimum of"),
    ),
    Rule(
        "meets_minimum_only",
        "accept-larger-dose",
        "The lot meets the site's minimum, but its interval lies wholly below a claim, or its best guess is short of a "
        "claim by more than the margin, or it is shown to be worse than the reference lot, or the interval dips below "
        "the minimum within the margin.",
        lambda c: bool(_missed(c) or _worse(c) or _short(c) or _first(c, _with(_not_shown))),
        _larger,
    ),
    Rule(
        "good",
        "accept",
        "The whole interval lies above the site's minimum, no claim is missed, and the lot is not shown to be worse "
        "than the reference lot.",
        lambda c: True,
        lambda c: (
            f"hatching percentage {pct_form(c.pct_decimals)(c.hatch.value)} and {per_g(c.efficiency.value)} nauplii "
            "per gram lie above the minimum"
        ),
    ),
)


def first_rule(case: Case) -> Rule:
    """Return the first rule that holds; the last always does."""
    return next(rule for rule in RULES if rule.holds(case))
