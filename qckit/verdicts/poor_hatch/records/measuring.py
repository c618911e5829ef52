"""Causes that lie in the measuring: amounts, counts, samples."""

# ruff: noqa: E501 - a table of patterns
from __future__ import annotations

from qckit.verdicts.poor_hatch.records.record import LOST, Cause, Trace
from qckit.verdicts.poor_hatch.records.vocabulary import AIR, PHOTO, SAMPLE, both

__all__ = ["MEASURING"]

MEASURING = (
    Cause(
        code="amount",
        words="less was weighed in, or a volume was not what was written",
        short="a mass or volume is wrong",
        trace=Trace("short", "everything short alike"),
        sign="every stage falls alike; the percentage is normal",
        source="arithmetic of the dilution",
        at_once="Check balance, pipette and water level.",
        reach="cone",
        shared=0.03,
        reading=None,
        other_readings=(),
        notes=(
            (
                both(
                    r"balance|scales?|weigh\w*|weight",
                    r"off|drift\w*|wrong|jump\w*|battery|batteries|(?:not|never) (?:tared|zeroed|level|calibrated)|unsteady|unstable|doubtful|uncertain|unsure|by eye|twice|again|flicker\w*|errors?|faulty|guess\w*|lost|rough\w*|broken?|out of order|gone|by (?:the )?(?:spoon|scoop)",
                ),
                10.0,
            ),
            (
                r"\bspil[lt]\w*|(?:by|us(?:ed?|ing)|with) (?:the |a )?(?:spoon|scoop)|(?:not|never) (?:weighed|tared|zeroed)|(?:with|in) the (?:dish|cup|bowl|boat|container|glass) (?:on|weighed|included)|weigh\w* (?:\w+ )?(?:with|in) the (?:dish|cup|bowl|boat|container|glass)|un-?weighed|guess\w*|estimated (?:grams|weight|by)|forgot\w* (?:to )?(?:tare|weigh|zero)|without (?:taring|weighing)|no tare\b|\bsome (?:cysts )?lost|cysts (?:were )?lost|tare (?:wrong|forgotten|off)",
                10.0,
            ),
            (
                both(
                    r"level|filled|fill|volume|water level",
                    r"(?:too )?(?:high|low|full)|above|over|below|under|short|too (?:much|little)|wrong|beyond|up|down|not read",
                ),
                9.0,
            ),
            (
                r"topped? up|topping up|over-?(?:full|fill\w*|flow\w*)|under-?fill\w*|\btoo full|\b(?:more|extra|too much|less|too little) water|leak\w*|lost (?:some )?water|water (?:was )?(?:lost|added)|ran over|"
                r"new pipett?es?\b(?! tips?)|pipettes?\b.{0,20}\b(?:off|wrong|drip\w*|bubbles?|calibrat\w*|loose|leak\w*)",
                9.0,
            ),
        ),
        same_trace=("unwetted",),
        of_count=True,
        prior=1.6,
    ),
    Cause(
        code="missed",
        words="the count missed nauplii",
        short="nauplii missed in the count",
        trace=LOST,
        sign="shells say they hatched, but few nauplii were counted",
        source="arithmetic of the count",
        at_once="Count again by eye: recount list below.",
        reach="cone",
        shared=0.03,
        reading=None,
        other_readings=(),
        notes=(
            (
                both(
                    PHOTO,
                    r"blur\w*|(?:too )?dark|bad|poor|unsharp|out of focus|not (?:sharp|in focus|clear)|unclear|(?:too )?bright|fogg\w*|misted|dirty|smudg\w*|wet|glare|over-?exposed|under-?exposed|hazy|shaky|grainy|fuzzy|reflections?",
                ),
                8.0,
            ),
            (
                r"\blost (?:the |my )?(?:count|tally)|\bblur\w*|out of focus|\bfocus (?:was )?(?:off|wrong|poor|lost|bad)|un-?sharp|\bglare|mis-?count\w*|new (?:camera|lens|phone|lamp)|flash reflect\w*",
                8.0,
            ),
            (
                both(
                    r"count\w*|tally",
                    r"first (?:time|go|try|attempt)|alive|live(?: ones)?|numbers? (?:unsure|uncertain|doubtful)|in a hurry|hurr\w*|rush\w*|quick|wrong\w*|not sure|unsure|doubtful|uncertain|interrupted|distracted|sloppy|tired|careless\w*|hasty|hastily|quickly|looks (?:off|low|odd)|by a beginner|(?:new|first) (?:student|trainee|intern|volunteer|person|helper)|trainee|stand-in",
                ),
                8.0,
            ),
            (
                r"\b(?:first (?:time|go) (?:\w+ ){0,3}count\w*|numbers? (?:are |were |is )?(?:unsure|not sure|uncertain|doubtful)|(?:not sure|unsure) of (?:the |my )?(?:numbers?|counts?))\b|\b(?:do|did|does|would|could|will) ?not (?:keep|stay|hold|stop) (?:still|moving)|(?:bad|tired|sore) eyes",
                8.0,
            ),
            (
                both(
                    r"re-?count\w*|hand count|count by (?:hand|eye)|manual count|second count|counted again|by eye",
                    r"differ\w*|higher|more|lower|other|disagree\w*|not (?:the same|agree\w*)|does not agree|far off|another",
                ),
                9.0,
            ),
        ),
        same_trace=("broken", "overlong", "gradient"),
        of_count=True,
        silences=("empty", "dark", "unwetted", "early", "overlong"),
    ),
    Cause(
        code="gradient",
        words="light had drawn the nauplii away from where the samples were taken",
        short="light drew the nauplii aside",
        trace=LOST,
        sign="shells say they hatched, few nauplii beside them, and subsamples that differ in their share of nauplii",
        source="Merchie in FAO Technical Paper 361, 4.3.1 (nauplii swim to light)",
        at_once="Cover the cone against the light, mix it well and draw fresh subsamples.",
        reach="cone",
        shared=0.03,
        reading=None,
        other_readings=(),
        notes=(
            (r"swarm\w*", 9.0),
            (
                r"(?:lit|light|bright|dark|shady|shaded|window|sunny|lamp) side|to(?:ward)?s? the (?:light|window|lamp|sun)|lamp beside",
                9.0,
            ),
            (
                both(
                    "nauplii|larvae|naups|all|they",
                    r"(?:at|by|near|under|round) the (?:light|window|lamp)|gathered|clustered|drawn to",
                ),
                9.0,
            ),
        ),
        same_trace=("missed", "broken", "overlong"),
        of_count=True,
        prior=0.5,
        silences=("crowded", "dark"),
    ),
    Cause(
        code="swapped",
        words="the count took shells for cysts",
        short="shells counted as cysts",
        trace=Trace("swapped", "shells taken for cysts"),
        sign="too many cysts, too few shells, more full cysts than weighed in",
        source="arithmetic of the count",
        at_once="Count again by eye: recount list below.",
        reach="cone",
        shared=0.03,
        reading=None,
        other_readings=(),
        notes=(),
        same_trace=(),
        of_count=True,
        prior=0.5,
    ),
    Cause(
        code="uneven",
        words="the subsamples were not drawn from well mixed water",
        short="samples from unmixed water",
        trace=Trace("sorted", "a drop unlike the cone"),
        sign="subsamples differ by more than chance, or cysts and shells stand in another proportion than usual",
        source="FAO Technical Paper 361 (from memory): counting error of mixed subsamples",
        at_once="Mix the cone well and draw fresh subsamples.",
        reach="cone",
        shared=0.03,
        reading=None,
        other_readings=(),
        notes=(
            (
                r"(?:not|no) (?:well |properly |really |been )?(?:mixed|stirred|shaken|swirled|agitated|homogen\w*)|un-?(?:mixed|stirred)|(?:badly|poorly|hardly|barely|little) (?:mixed|stirred)|without (?:mixing|stirring|shaking|swirling|agitating)|(?:did|do) not (?:mix|stir|shake|swirl|agitate)\b|(?:mixing|stirring) (?:was )?(?:forgotten|skipped|missed|poor)|(?:poor|bad|little) (?:mixing|stirring)|(?:mixed|stirred) (?:too little|poorly|badly|not enough)|"
                r"forgot\w* (?:to )?(?:mix|stir|shake)",
                12.0,
            ),
            (
                rf"\b(?:{AIR})\b.{{0,16}}\b(?:off|stopped|out|down)\b.{{0,24}}\b(?:{SAMPLE})\b|\b(?:{SAMPLE})\b.{{0,24}}\b(?:{AIR})\b.{{0,12}}\b(?:off|stopped|out|down)\b|\b(?:{SAMPLE})\b.{{0,20}}\bwithout air",
                12.0,
            ),
            (
                both(
                    SAMPLE,
                    r"(?:from|at|off|near) (?:the )?(?:top|bottom|tip|surface|drain|wall)|(?:only|just) (?:the )?(?:top|bottom)",
                ),
                12.0,
            ),
            (both("settled|sunk|sank|settling", SAMPLE), 12.0),
            (
                both("drops?|subsamples?|samples?", r"differ\w*|uneven|unlike|unequal|scatter\w*|all over the place"),
                8.0,
            ),
        ),
        same_trace=(),
        of_count=True,
        silences=("oxygen", "unwetted", "overlong"),
    ),
    Cause(
        code="scaled",
        words="a dilution was not what was written, or only part of the chamber was counted",
        short="dilution or part of the chamber",
        trace=Trace("short", "everything short alike"),
        sign="every stage falls alike, to a half or a fifth; the percentage is normal",
        source="arithmetic of the dilution",
        at_once="Ask who counted: which dilution, how much of the chamber? Count one more drop whole.",
        reach="cone",
        shared=0.03,
        notes=(
            (
                both(
                    r"dilut\w*|thinned|dil\.?",
                    r"(?:more|less) than (?:usual|normal|always)|wrong\w*|not sure|unsure|un-?certain|doubt\w*|forgot\w*|again|twice|maybe|perhaps|not (?:written|noted|sure)|mistake|or 1|error|other|extra|double",
                ),
                12.0,
            ),
            (
                both(
                    r"half|a part|part|one side|one half|quarter|third|not (?:all|the whole)",
                    r"(?:counting )?(?:chamber|grid|slide|squares?|rows?|cell|fields?|drop)",
                    before=24,
                ),
                12.0,
            ),
            (
                r"\bcounted (?:only )?(?:the |a )?(?:half|part|one side|quarter)\b|\b(?:only|just) (?:the )?half (?:was )?counted",
                12.0,
            ),
        ),
        same_trace=("amount", "unwetted"),
        of_count=True,
        prior=0.3,
    ),
)
