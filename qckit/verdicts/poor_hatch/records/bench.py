"""The bench checks that split causes: each one question that can only be answered yes or no."""

# ruff: noqa: E501 - a table of sentences
from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CHECKS", "Check"]

_SURE = 0.92  # how likely a recount says yes where the count was wrong (ours)


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
        title="Ask about bleach, tap water and soap",
        question="Were the cysts of cone {cone} longer than 10 minutes in bleach or warmer than 40 °C, does anything still smell of bleach, was tap water not dechlorinated or led through new copper, or the cone washed with soap?",
        plan="Ask who decapsulated, cleaned and filled, how long and how warm; smell the cone, and look at 20 times for pale or burst embryos.",
        if_yes="bleach, chlorine, copper or soap harmed them",
        if_no="it was none of these",
        yes=(("bleached", 0.9),),
        hours=0.1,
    ),
    Check(
        code="light",
        title="Look at the light",
        question="Was the lamp off or covered in the first hours, or is the surface darker than 1000 lux now?",
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
