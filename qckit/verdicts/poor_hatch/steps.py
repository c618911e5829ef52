"""What to do about a studied hatch, in one order of work: acts, readings to repeat, the next feed, checks."""

from __future__ import annotations

from dataclasses import dataclass

from qckit.hatch import too_many
from qckit.quantities import QUANTITIES
from qckit.verdicts.lots.usual import full_cysts_counted
from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.checks import CHECKS, Check, speaks_against
from qckit.verdicts.poor_hatch.conditions.off_standard import OffStandard, far_off_standard
from qckit.words import small

__all__ = ["ReadAgain", "is_rich", "readings_to_repeat", "steps_of"]


@dataclass(frozen=True)
class ReadAgain:
    """A reading far off the standard, and the check that reads it again; None where a logged one found it so."""

    off: OffStandard
    check: Check | None


def readings_to_repeat(case, named, conditions) -> list[ReadAgain]:
    """List the readings far off the standard that no named cause deals with, and no check has refuted."""
    found = []
    for off in far_off_standard(case.differences, conditions):
        if off.cause in named or speaks_against(case.answers, off.cause):
            continue
        check = next(item for item in CHECKS if off.cause in item.speaks_for)
        is_found = any(answer.code == check.code and answer.is_yes for answer in case.answers)
        found.append(ReadAgain(off, None if is_found else check))
    return found


def steps_of(case, verdict, named, *, checks, again, settings) -> list[tuple[str, str]]:
    """Order what is to be done: (code, sentence). The first is the one that comes first; nothing stands there twice.

    Parameters
    ----------
    case : Case
    verdict : str
    named : tuple of str
    checks : list of (Check, str, str)
        The checks to make, each with its question and its plan.
    again : list of ReadAgain
        They come before the feed, which starts the next hatch; the likeliest cause stays first.
    settings : Settings

    Returns
    -------
    list of (str, str)
    """
    if case.row["is_impossible"]:
        return [("count", f"First: {small(too_many(case.row).first_step)}")]
    conditions, plans = settings.conditions, {item.code: plan for item, _, plan in checks}
    off = [_read_again(case, r, plans, conditions) for r in again]
    repeated = {r.check.code for r in again if r.check}
    asked = [
        (f"check {item.code}", f"{question} ({_takes(item.hours)}: {plan})")
        for item, question, plan in checks
        if item.code not in repeated
    ]
    acts = [(f"act {code}", _act(case, code, conditions)) for code in named]
    first_code = {}
    for code, text in _in_order(case, verdict, named, acts=acts, off=off, checks=asked):
        first_code.setdefault(text, code)  # two causes may ask for one and the same act
    return [(code, text) for text, code in first_code.items()]


def _in_order(case, verdict, named, *, acts, off, checks):
    feed, surer = _feed(case, verdict, named), _begun("To be surer", checks)
    if verdict in ("not-poor", "chance") and not named:
        return [*_begun("All the same", off), *feed, *surer]
    if named:
        off = _begun("Whatever the cause", off)
        if verdict == "count-doubtful" and checks and not _settled_by_look(case, named):
            return [(checks[0][0], f"First: {checks[0][1]}"), *off, *feed, *surer[1:]]
        return [acts[0], *off, *feed, *acts[1:], *surer]
    before = [*off, *checks[:1]]
    return [*_begun("First", before[:1]), *_begun("Then", before[1:]), *feed, *_begun("Then", checks[1:])]


def _begun(word, steps):
    return [(code, f"{word}: {text}") for code, text in steps]


def _feed(case, verdict, named):
    """The next feed or the harvest, and how to clean a harvest that is rich in what did not hatch."""
    by_count = " by the doubted count" if verdict == "count-doubtful" and not _settled_by_look(case, named) else ""
    is_fed = case.feed["is_fed"]
    feed = [
        ("feed" if is_fed else "harvest", f"{'Next feed' if is_fed else 'Harvest'}{by_count}: {case.feed['sentence']}")
    ]
    if is_rich(case) and not case.feed["past_since"]:
        rest = 100 * (case.row["unhatched"] + case.row["umbrella"]) / max(full_cysts_counted(case.row), 1.0)
        feed.append(
            (
                "separate",
                f"At harvest separate twice and look at a sieve sample: {rest:.0f} % of the full cysts did not hatch, "
                "and larvae cannot digest them.",
            )
        )
    return feed


def _read_again(case, again, plans, conditions):
    """What was read far off, how to read it again, and what to do where it stays so: it is not said to be the cause."""
    off, check = again.off, again.check
    act = small(cause(off.cause).act(conditions))
    was = f"the {QUANTITIES[off.quantity].label} in cone {case.row['cone']} {off.sentence}"
    if check is None:
        return f"act {off.cause}", f"{was}; a check found it so. Before the next hatch: {act}"
    how = f"({_takes(check.hours)}: {small(plans[check.code]).rstrip('.')})"
    if case.feed["past_since"]:
        return f"check {check.code}", f"{was}. Read it again in the next hatch {how}. If it is off there too: {act}"
    return f"check {check.code}", f"{was}. Read it again {how}. If it is still off, before the next hatch: {act}"


_SETTLED_BY = {"missed": "recount", "swapped": "recount", "uneven": "repeat", "gradient": "repeat"}
"""Doubt about a count -> the kind of look that shows what the count should have been."""


def _settled_by_look(case, named):
    """Tell whether a recount or a repeat already shows what a doubted count should have been."""
    if not named:
        return False
    return bool(_settling_look(case, named[0])) or (named[0] == "amount" and bool(case.remeasured))


def _settling_look(case, code):
    return case.look(_SETTLED_BY[code]) if code in _SETTLED_BY else None


def _act(case, code, conditions):
    """What to do at once about a cause."""
    if code == "amount" and case.remeasured:
        again = "; ".join(r.sentence for r in case.remeasured)
        return f"Correct the sheet to what was measured again ({again}); check the other cones."
    # drops that were not like the cone stay so however often they are counted: only a second drawing replaces them
    look = _settling_look(case, code)
    if look is None:
        at_once = cause(code).act(conditions)
        return f"When it shows again: {at_once}" if case.feed["past_since"] else at_once
    pct = f"{look.counts['hatch_pct']:.0f} %"
    if look.kind == "recount":
        return f"Go by the recount ({pct}), correct the log, and count the day's other photos again."
    return f"Go by the second drawing ({pct}) and mix before drawing from now on."


def _takes(hours):
    return f"about {60 * hours:.0f} minutes" if hours < 1 else f"about {hours:.0f} hours"


def is_rich(case) -> bool:
    """Tell whether a harvest holds more than a quarter of umbrellas and unhatched cysts (ours)."""
    return case.row["unhatched"] + case.row["umbrella"] > 0.25 * full_cysts_counted(case.row)
