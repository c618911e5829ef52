"""Cheap checks that split causes, each with a plan and with what every outcome would mean."""

# ruff: noqa: E501 - a table of sentences
from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

__all__ = [
    "CHECKS",
    "OUTCOMES",
    "Check",
    "check_named",
    "choose_checks",
    "outcome_word",
    "outcomes_as_prior",
    "plan_of",
]


@dataclass(frozen=True)
class Check:
    """One check. ``speaks_for`` are the causes that a positive outcome supports; ``hours`` is what it takes."""

    code: str
    title: str
    plan: str
    if_yes: str
    if_no: str
    speaks_for: tuple[str, ...]
    hours: float


CHECKS = (
    Check(
        "recount",
        "Count again",
        "Have a person count the photos on the recount list, or two fresh subsamples drawn from well mixed water, by eye.",
        "the count was wrong, and the hatch may be better than it looked",
        "the count stands; look at the hatch itself",
        ("missed", "swapped"),
        0.4,
    ),
    Check(
        "mix and redraw",
        "Mix and draw again",
        "Cover cone {cone} against the light, stir it for a minute, draw six subsamples of 250 µl from different depths and "
        "sides, count nauplii, umbrellas and cysts in each.",
        "they now agree and differ from before: the first ones came from unmixed water or from the dark side",
        "they agree with the first ones",
        ("uneven", "gradient"),
        0.7,
    ),
    Check(
        "thermometer",
        "Check the thermometer and heater",
        "Hold a second thermometer beside the first in cone {cone} and bath for five minutes; look whether the heater switches.",
        "they differ by more than 1 °C, or the heater sticks: the temperature is the likely cause",
        "they agree and the heater switches",
        ("cold", "hot"),
        0.2,
    ),
    Check(
        "refractometer",
        "Check the salinity",
        "Zero the refractometer with distilled water and measure cone {cone} again; weigh the salt of the next batch twice.",
        "salinity is more than 5 ppt off",
        "salinity is right",
        ("salt",),
        0.2,
    ),
    Check(
        "ph meter",
        "Measure the pH now",
        "Calibrate the pH meter at 7 and 10 and measure cone {cone}, a good cone and the fresh salt water. The next batch "
        "gets sodium bicarbonate, up to 1 g/l, if it is below 8.0.",
        "pH below 8 in this cone and not in the good one",
        "pH 8.0 to 8.5",
        ("ph", "crowded"),
        0.2,
    ),
    Check(
        "air",
        "Look at the air",
        "Look at air stone, tube and valve, whether cysts lie on the bottom, and measure the oxygen at the bottom of cone {cone}.",
        "weak bubbles, settled cysts or oxygen below 4 mg/l",
        "brisk bubbles and oxygen near saturation",
        ("oxygen", "unwetted", "crowded"),
        0.2,
    ),
    Check(
        "wall",
        "Look at the wall",
        "Look for a ring of brown cysts on the wall of cone {cone} above the water; rinse it down and count a subsample.",
        "a broad ring, and many more cysts in the water after rinsing",
        "hardly any cysts on the wall",
        ("unwetted",),
        0.2,
    ),
    Check(
        "broken",
        "Look for broken nauplii",
        "Look at a drop at 20 to 40 times: loose legs, halves and nauplii that do not swim; look at foam and bubble size.",
        "many pieces: the air was too strong",
        "hardly any pieces: the nauplii were missed in the count",
        ("broken", "overlong"),
        0.3,
    ),
    Check(
        "weigh",
        "Weigh and measure again",
        "Check the balance with a known mass, weigh the same spoonful twice, check the pipette with ten drops on the "
        "balance, and read the water level of the cone.",
        "mass or volume is off by as much as the hatch",
        "both are right",
        ("amount",),
        0.4,
    ),
    Check(
        "clock",
        "Check the hours",
        "Ask who started and who counted, and when; correct the times in the log.",
        "the hours were not what was written",
        "the hours are right",
        ("early", "overlong"),
        0.1,
    ),
    Check(
        "read again",
        "Read the cone again after another 24 h",
        "Leave two litres of cone {cone} running at 28 °C with light and strong air, and count three subsamples "
        "of 250 µl 24 h after the first reading; enter them as samples of this hatch with their hours.",
        "the unopened cysts and umbrellas have hatched: they were late, not dead",
        "nothing has changed: they are dead, resting or stuck",
        ("cold", "early", "dark"),
        24.0,
    ),
    Check(
        "side by side",
        "Hatch it side by side with another lot",
        "Two cones of 800 ml with 1.6 g of {lot} and one with 1.6 g of {other_lot}, same water, 28 °C, "
        "33 ppt, light, strong air; four subsamples of 250 µl of each at 24 h.",
        "this lot is poor again and the other is not: it is the lot",
        "this lot is as usual: it was this cone or day",
        ("embryos", "empty"),
        24.0,
    ),
    Check(
        "other cone",
        "Hatch the same lot in another cone",
        "1.6 g of {lot} in 800 ml in {other_cone} with fresh water; four subsamples of 250 µl at 24 h.",
        "as usual: something in the first cone",
        "poor again: the lot or the water",
        ("oxygen", "unwetted", "broken", "ph"),
        24.0,
    ),
    Check(
        "wake",
        "Try to wake resting cysts",
        "Two portions of 1.6 g of {lot} in 800 ml each: one plain, one after a cold rest of some weeks at -25 °C or a hydrogen peroxide bath by a "
        "tested recipe (gloves and goggles; local rules come first); hatch both as above.",
        "the treated one hatches much better: the embryos were resting",
        "no difference: they are dead",
        ("embryos",),
        48.0,
    ),
    Check(
        "light",
        "Look at the light",
        "Measure the light at the surface; ask whether the lamp was on in the first hours.",
        "below 1,000 lux, or it was off",
        "about 2,000 lux from the start",
        ("dark",),
        0.1,
    ),
)


OUTCOMES = {"yes": 20.0, "confirmed": 20.0, "no": 0.05, "ruled out": 0.05, "unclear": 1.0}
"""How an outcome begins -> factor on the check's causes (ours: a check of the bench is wrong about once in twenty)."""


def outcome_word(outcome) -> str:
    """Return the word out of :data:`OUTCOMES` that an outcome begins with; empty when it begins otherwise."""
    found = re.match(rf"({'|'.join(OUTCOMES)})\b", str(outcome).strip().casefold())
    return found.group(1) if found else ""


def check_named(code: str) -> Check:
    """Return a check by its code."""
    from qckit.errors import unknown_name

    for item in CHECKS:
        if item.code == code:
            return item
    raise unknown_name("check", code, [item.code for item in CHECKS])


def plan_of(item: Check, *, cone: str, lot: str, other_cone: str = "", other_lot: str = "") -> str:
    """Write a check's plan for one hatch: which cone, which lots."""
    return item.plan.format(
        cone=cone,
        lot=lot,
        other_cone=f"cone {other_cone}" if other_cone else "another cone",
        other_lot=other_lot or "another lot that does well",
    )


def choose_checks(probability: dict, *, most: int = 2, done=()) -> list[Check]:
    """Choose the cheapest checks that would split the likely causes.

    Parameters
    ----------
    probability : dict of str to float
        Weight of each cause.
    most : int
        Number of checks.
    done : sequence of str
        Codes of checks that were already made.

    Returns
    -------
    list of Check
        Each by how well it splits (p of its causes times p of the others) against what it takes; a check that costs
        a day has to split four times as well as one that costs minutes.
    """
    total = sum(probability.values()) or 1.0
    left = {k: v / total for k, v in probability.items()}
    chosen: list[Check] = []
    for _ in range(most):
        scored = []
        for item in CHECKS:
            if item in chosen or item.code in set(done):
                continue
            p = sum(left.get(code, 0.0) for code in item.speaks_for)
            scored.append((p * (1.02 - p) / (0.5 + item.hours) ** 0.35, item))
        best = max(scored, key=lambda pair: pair[0])
        if best[0] < 0.005 and chosen:
            break
        chosen.append(best[1])
        left = {k: v * (0.25 if k in best[1].speaks_for else 1.0) for k, v in left.items()}
    return chosen


def outcomes_as_prior(checks: pd.DataFrame | None, hatch: str) -> tuple[dict, list[str]]:
    """Turn logged outcomes into factors on the causes.

    Parameters
    ----------
    checks : DataFrame or None
        Columns of the checks table. An outcome that begins with ``yes`` or ``confirmed`` supports the cause named in
        ``cause`` (or the causes of the check), one that begins with ``no`` or ``ruled out`` speaks against, ``unclear``
        changes nothing.
    hatch : str

    Returns
    -------
    (dict of str to float, list of str)
        Factors by cause (20 or 1/20), and one sentence per outcome.
    """
    factors, said = {}, []
    if checks is None or not len(checks):
        return factors, said
    known = {item.code: item for item in CHECKS}
    made = checks[(checks["hatch"] == hatch) & checks["outcome"].notna()]
    if "planned_at" in made:  # of a check made twice, the later outcome holds
        made = made.sort_values("planned_at", kind="stable")
    for row in made.drop_duplicates("check", keep="last").to_dict("records"):
        factor = OUTCOMES.get(outcome_word(row["outcome"]))
        item = known.get(str(row["check"]))
        named = row.get("cause")
        causes = (str(named),) if isinstance(named, str) and named else item.speaks_for if item else ()
        title = f"{item.title}" if item else str(row["check"])
        if factor is None or not causes:
            said.append(f"{title}: {row['outcome']} (not read as yes or no, so it changes nothing).")
            continue
        for code in causes:
            factors[code] = factors.get(code, 1.0) * factor
        meaning = "" if item is None or factor == 1.0 else item.if_yes if factor > 1 else item.if_no
        said.append(f"{title}: {row['outcome']}{f' (which means: {meaning})' if meaning else ''}.")
    return factors, said
