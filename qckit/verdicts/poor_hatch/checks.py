"""Cheap checks that split causes: each one question that can only be answered yes or no, and what each answer means."""

# ruff: noqa: E501 - a table of sentences
from __future__ import annotations

import math
import re
from dataclasses import dataclass

import pandas as pd

from qckit.verdicts.poor_hatch.likelihood.weights import Weights

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
class Check:
    """One check.

    ``yes`` holds the causes that a yes speaks for, with how likely the yes is when they act; ``silent`` those under
    which the answer may be either, so that it never weakens them: a no is no news, a yes is as likely as not. ``limits`` are the numbers between
    which a value written beside the answer means no.
    """

    code: str
    title: str
    question: str
    plan: str
    if_yes: str
    if_no: str
    yes: tuple[tuple[str, float], ...]
    silent: tuple[str, ...] = ()
    hours: float = 0.2
    limits: tuple[float, float] | None = None

    @property
    def speaks_for(self) -> tuple[str, ...]:
        """Causes that a yes supports."""
        return tuple(code for code, _ in self.yes)


CHECKS = (
    Check(
        code="recount",
        title="Count again by eye",
        question="Counted by eye, do the same photos or drops hold more than a tenth more nauplii, or fewer cysts, than was written?",
        plan="Have a person count the photos on the recount list, or the same fixed drops, nauplii, umbrellas, cysts and shells each.",
        if_yes="the first count was wrong; the recount stands",
        if_no="the count stands; look at the hatch itself",
        yes=(("missed", _SURE), ("swapped", _SURE)),
        hours=0.4,
    ),
    Check(
        code="mix and redraw",
        title="Mix and draw again",
        question="Drawn anew from mixed and covered water, do six subsamples hold more than a tenth more nauplii per full cyst than the first?",
        plan="Cover cone {cone} against the light, stir it for a minute without rinsing the wall, draw six subsamples of 250 µl from different depths and sides, and count nauplii, umbrellas and cysts in each.",
        if_yes="the first drops were not like the cone; the new ones stand",
        if_no="the new drops agree with the first ones",
        yes=(("uneven", 0.9), ("gradient", 0.9)),
        hours=0.7,
    ),
    Check(
        code="thermometer",
        title="Measure the temperature twice",
        question="By a second thermometer, is the water below {cold:.0f} °C or above {hot:.0f} °C, or does the heater fail to switch? (Two thermometers that agree on such a value are a yes.)",
        plan="Hold a second thermometer in cone {cone} and in the bath for five minutes; turn the set point up and down and look whether the heater follows.",
        if_yes="the temperature is wrong",
        if_no="the temperature is right",
        yes=(("cold", 0.9), ("hot", 0.85)),
        hours=0.2,
        limits=(25.5, 31.0),
    ),
    Check(
        code="refractometer",
        title="Measure the salinity twice",
        question="With the refractometer zeroed, is the salinity of cone {cone} more than 5 ppt above or below the usual {salinity:.0f} ppt?",
        plan="Zero the refractometer with distilled water and measure cone {cone} again; weigh the salt of the next batch twice.",
        if_yes="the salinity is wrong",
        if_no="the salinity is right",
        yes=(("salt", 0.97), ("fresh", 0.95)),
        hours=0.2,
    ),
    Check(
        code="ph meter",
        title="Measure the pH now",
        question="With the meter just calibrated, is the pH of cone {cone} below 7.9?",
        plan="Calibrate the pH meter at 7 and 10; measure cone {cone}, a good cone and the fresh salt water.",
        if_yes="the pH is too low",
        if_no="the pH is right",
        yes=(("ph", 0.97),),
        silent=("crowded", "oxygen"),
        hours=0.2,
        limits=(7.9, 14.0),
    ),
    Check(
        code="air",
        title="Look at the air",
        question="With the valve as it stood over night, are the bubbles weak, is stone or tube blocked, or did the pump stand still?",
        plan="Look at air stone, tube, valve and pump before anything is touched, and measure the oxygen at the bottom of cone {cone}.",
        if_yes="the air was too weak",
        if_no="the air was right",
        yes=(("oxygen", 0.9),),
        silent=("crowded",),
        hours=0.2,
    ),
    Check(
        code="wall",
        title="Look at the wall",
        question="Is there a broad brown ring of cysts on the wall of cone {cone}, above the water or just under it?",
        plan="Look for the ring before the cone is rinsed; then rinse it down and count a subsample.",
        if_yes="cysts stayed out of the water",
        if_no="hardly any cysts stayed out of the water",
        yes=(("unwetted", 0.9),),
        hours=0.2,
    ),
    Check(
        code="broken",
        title="Look for broken nauplii",
        question="At 20 to 40 times, is more than one nauplius in ten in pieces (loose legs, halves)?",
        plan="Look at a fresh drop of cone {cone}; look at foam and bubble size too.",
        if_yes="the air broke them",
        if_no="they are whole",
        yes=(("broken", 0.9),),
        silent=("overlong", "crowded"),
        hours=0.3,
    ),
    Check(
        code="grams",
        title="Check the grams per litre",
        question="Did cone {cone} really get more than twice the usual grams of cysts per litre?",
        plan="Ask who started it; weigh what is left of the portion or the pack, and read the water level of cone {cone}.",
        if_yes="it was too crowded",
        if_no="the grams were as usual",
        yes=(("crowded", 0.95),),
        hours=0.1,
    ),
    Check(
        code="weigh",
        title="Weigh and measure again",
        question="Is the balance, the pipette or the water level off by more than a twentieth?",
        plan="Check the balance with a known mass, weigh the same spoonful twice, check the pipette with ten drops on the balance, and read the water level of the cone; enter them as readings of this hatch (cyst mass, volume).",
        if_yes="an amount was not what was written",
        if_no="the amounts are right",
        yes=(("amount", 0.9),),
        hours=0.4,
    ),
    Check(
        code="clock",
        title="Check the hours",
        question="Did it really stand more than 3 h longer or shorter than the usual {reading_h:.0f} h?",
        plan="Ask who started and who counted, and when; correct the times in the log.",
        if_yes="the hours are the matter",
        if_no="the hours are right",
        yes=(("early", 0.95), ("overlong", 0.95)),
        hours=0.1,
    ),
    Check(
        code="tin",
        title="Look at the tin",
        question="Did the cysts of cone {cone} come from another tin than the hatches before: old, damp, long open, or of another lot?",
        plan="Ask who weighed them in; read the labels and the dates of opening, and feel whether the cysts are dry and run freely.",
        if_yes="these were other cysts",
        if_no="they came from the usual tin",
        yes=(("portion", 0.9),),
        hours=0.1,
    ),
    Check(
        code="bleach",
        title="Ask about the bleach",
        question="Were the cysts of cone {cone} longer than 10 minutes in bleach or warmer than 40 °C, or does anything still smell of bleach?",
        plan="Ask who decapsulated or cleaned, how long and how warm; smell the cone, and look at 20 times for pale or burst embryos.",
        if_yes="bleach harmed them",
        if_no="it was not the bleach",
        yes=(("bleached", 0.9),),
        hours=0.1,
    ),
    Check(
        code="light",
        title="Look at the light",
        question="Was the lamp off or covered in the first hours, or is the surface darker than 1,000 lux now?",
        plan="Measure the light at the surface; ask who set the lamp and look at its timer.",
        if_yes="it started in the dark",
        if_no="it had light from the start",
        yes=(("dark", 0.94),),
        hours=0.1,
    ),
    Check(
        code="power",
        title="Ask about the power",
        question="Was the power off for more than two hours while cone {cone} ran?",
        plan="Look at clocks and timers that blink, at the breaker and at the other cones; ask who was there in the night.",
        if_yes="heat and air were gone for hours",
        if_no="the power was on",
        yes=(("power", 0.95),),
        hours=0.1,
    ),
    Check(
        code="smell",
        title="Look at the water and smell it",
        question="Is the water of cone {cone} cloudy or slimy, and do dead nauplii lie on the bottom?",
        plan="Draw a glass from the bottom of cone {cone} and hold it against the light; feel tube and wall for slime.",
        if_yes="bacteria bloomed",
        if_no="the water is clear",
        yes=(("bloom", 0.9),),
        silent=("overlong", "broken", "oxygen"),
        hours=0.1,
    ),
    Check(
        code="waited",
        title="Ask what stood before the count",
        question="Did harvest or samples stand for more than half an hour without air, or warm, before they were counted?",
        plan="Ask who harvested and who counted, and when; look for dead nauplii in what is left of the sample.",
        if_yes="nauplii died before they were counted",
        if_no="they were counted at once",
        yes=(("spoilt", 0.92),),
        hours=0.1,
    ),
    Check(
        code="scale",
        title="Ask how it was counted",
        question="Was the drop diluted otherwise than written, or only part of the chamber counted?",
        plan="Ask who counted; count one more drop of cone {cone} whole and undiluted, or with the dilution written down.",
        if_yes="the count was scaled wrongly",
        if_no="the count was scaled as written",
        yes=(("scaled", 0.92),),
        hours=0.2,
    ),
    Check(
        code="read again",
        title="Read the cone again after another 24 h",
        question="Have more than half of the cysts and umbrellas that had not hatched done so 24 h later?",
        plan="Leave two litres of cone {cone} running at 28 °C with light and strong air, and count three subsamples of 250 µl 24 h after the first reading; enter them as samples of this hatch with their hours.",
        if_yes="they were late, not dead",
        if_no="they were dead, resting or stuck",
        yes=(("cold", 0.85), ("early", 0.9)),
        silent=("dark", "salt", "fresh", "oxygen", "power", "unwetted", "hot", "crowded", "uneven", "gradient"),
        hours=24.0,
    ),
    Check(
        code="side by side",
        title="Hatch it side by side with another lot",
        question="In the same water, does {lot} give at least a tenth less than {other_lot}?",
        plan="Two cones of 800 ml with 1.6 g of {lot} and one with 1.6 g of {other_lot}, same water, 28 °C, 33 ppt, light, strong air; four subsamples of 250 µl of each at 24 h.",
        if_yes="it is the lot",
        if_no="the lot is as good as the other in this water",
        yes=(("embryos", 0.95), ("empty", 0.95)),
        hours=24.0,
    ),
)


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
    from qckit.errors import unknown_name

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
