"""Cheap checks that split causes: what each answer means, and which to make (the checks: ``records/bench.py``)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import pandas as pd

from qckit.errors import unknown_name
from qckit.verdicts.poor_hatch.likelihood.weights import Weights
from qckit.verdicts.poor_hatch.records.bench import CHECKS, Check

__all__ = [
    "CHECKS",
    "Answer",
    "Check",
    "answers_of",
    "check_named",
    "check_words",
    "choose_checks",
    "contradiction",
    "outcome_word",
    "speaks_against",
    "weigh_answer",
]

_FALSE_YES = 0.04  # a check of the bench says yes without the cause about once in twenty-five (ours)
_LEAST_SETTLED = 0.05  # a second check has to settle this much
_SURE = 0.92  # and says yes with it


@dataclass(frozen=True)
class Answer:
    """The outcome of a check as logged: ``is_yes`` is None where it changes nothing, ``why`` then says why."""

    code: str
    outcome: str
    is_yes: bool | None
    causes: tuple[str, ...] = ()  # causes that the row itself names, instead of the check's
    why: str = ""


_WORDS = {"yes": True, "confirmed": True, "no": False, "ruled out": False, "unclear": None}
"""How an outcome begins -> whether it is a yes."""


def outcome_word(outcome) -> str:
    """Return the word that an outcome begins with (yes, confirmed, no, ruled out, unclear); empty for another."""
    found = re.match(rf"({'|'.join(_WORDS)})\b", str(outcome).strip().casefold())
    return found.group(1) if found else ""


def check_named(code: str) -> Check:
    """Return a check by its code."""
    for item in CHECKS:
        if item.code == code:
            return item
    raise unknown_name("check", code, [item.code for item in CHECKS])


def check_words(item: Check, *, cone, lot, settings, other_lot="") -> tuple[str, str]:
    """Return a check's question and plan with this hatch's cone, lot and standards in them."""
    conditions = settings.conditions
    words = {
        "cone": cone,
        "lot": lot,
        "other_lot": other_lot or "a lot that does well",
        "cold": min(25.5, conditions.temperature_c - 2.0),
        "hot": max(31.0, conditions.temperature_c + 3.0),
        "salinity": conditions.salinity_ppt,
        "reading_h": conditions.reading_h,
    }
    return item.question.format(**words), item.plan.format(**words)


def contradiction(item: Check, outcome: str) -> str:
    """Say how a number written beside an answer speaks against it; empty where it does not."""
    word = outcome_word(outcome)
    numbers = [float(x.replace(",", ".")) for x in re.findall(r"(?<![\w.])\d+(?:[.,]\d+)?", str(outcome))]
    if item.limits is None or _WORDS.get(word) is None or not numbers:
        return ""
    low, high = item.limits
    outside = [x for x in numbers if not low <= x <= high]
    if not _WORDS[word] and len(outside) == len(numbers):
        return f"{outside[0]:g} lies outside {low:g} to {high:g}, which is a yes to this question"
    return ""


def answers_of(checks: pd.DataFrame | None, hatch: str) -> list[Answer]:
    """Read the logged outcomes of a hatch's checks, the latest of each.

    Parameters
    ----------
    checks : DataFrame or None
        Columns of the checks table. An outcome begins with yes or confirmed, no or ruled out, or unclear.
    hatch : str

    Returns
    -------
    list of Answer
    """
    if checks is None or not len(checks):
        return []
    known = {item.code: item for item in CHECKS}
    made = checks[(checks["hatch"] == hatch) & checks["outcome"].notna()]
    if "planned_at" in made:  # of a check made twice, the later outcome holds
        made = made.sort_values("planned_at", kind="stable")
    found = []
    for row in made.drop_duplicates("check", keep="last").to_dict("records"):
        code, outcome = str(row["check"]), str(row["outcome"]).strip()
        item, word = known.get(code), outcome_word(outcome)
        named = (str(row["cause"]),) if isinstance(row.get("cause"), str) and row["cause"] else ()
        why = ""
        if not word:
            why = "not read as yes or no"
        elif item is None and not named:
            why = "a check that is not known here"
        elif item is not None and (against := contradiction(item, outcome)):
            why = against
        found.append(Answer(code, outcome, None if why else _WORDS[word], named, why))
    return found


def speaks_against(answers: list[Answer], code: str) -> bool:
    """Tell whether a logged check about a cause was answered no, and none about it yes."""
    separates = {item.code: item.speaks_for for item in CHECKS}
    about = [a.is_yes for a in answers if code in (a.causes or separates.get(a.code, ()))]
    return False in about and True not in about


def weigh_answer(weights: Weights, code: str, is_yes: bool, causes: tuple[str, ...] = ()) -> Weights:
    """Return the weights after one answer.

    Parameters
    ----------
    weights : Weights
    code : str
        The check's code.
    is_yes : bool
    causes : tuple of str, optional
        Causes that the answer speaks of, instead of the check's own.
    """
    item = next((c for c in CHECKS if c.code == code), None)
    speaks = dict.fromkeys(causes, _SURE) if causes or item is None else dict(item.yes)
    silent = () if item is None else item.silent

    def likelihood(key):
        if any(c in silent for c in key) and not any(c in speaks for c in key):
            return None if is_yes else 1 - _FALSE_YES  # a no says as little against them as against chance
        no = math.prod(1 - speaks.get(c, 0.0) for c in key) * (1 - _FALSE_YES)
        return 1 - no if is_yes else no

    return weights.after(likelihood)


def choose_checks(weights: Weights, *, most: int = 2, done=(), about: str = "") -> list[Check]:
    """Choose the cheapest checks that would split what is likely.

    Parameters
    ----------
    weights : Weights
    most : int
        Number of checks.
    done : sequence of str
        Codes of checks that were already made.
    about : str
        A cause: only checks that speak of it, such as of one that is all but settled. Empty: all checks.

    Returns
    -------
    list of Check
        Each by how much its answer is expected to settle (entropy of the causes) against what it takes; a check that
        costs a day has to settle three to four times as much as one that costs minutes. The second is chosen as if the
        first had been answered no.
    """
    chosen: list[Check] = []
    for _ in range(most):
        before, scored = _entropy(weights), []
        for item in CHECKS:
            if item in chosen or item.code in set(done) or (about and about not in item.speaks_for):
                continue
            yes, no = (weigh_answer(weights, item.code, answer) for answer in (True, False))
            p = _chance_of_yes(weights, item)
            gain = before - p * _entropy(yes) - (1 - p) * _entropy(no)
            scored.append((gain / (0.5 + item.hours) ** 0.35, item))
        best = max(scored, key=lambda pair: pair[0], default=(0.0, None))
        if best[1] is None or (best[0] < _LEAST_SETTLED and chosen):
            break
        chosen.append(best[1])
        weights = weigh_answer(weights, best[1].code, False)
    return chosen


def _chance_of_yes(weights, item):
    p = sum(weights.of(code) * chance for code, chance in item.yes)
    return min(0.99, p + _FALSE_YES)


def _entropy(weights):
    values = [weights.none, weights.other, *weights.single.values(), *weights.pairs.values()]
    return -sum(v * math.log(v) for v in values if v > 1e-12)
