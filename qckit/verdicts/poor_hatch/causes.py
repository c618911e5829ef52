"""The causes of a poor hatch that the kit knows: one record each, from which everything else is made.

A record holds the cause's words, the trace it leaves in the stage mix, the reading that tells of it, the words on a
field sheet that speak of it, who else meets it, and what to do at once. To add a cause: a record here, a check in
``checks.py``, a mechanism in ``practice/mechanisms.py`` (so that it can be planted), and a test.

What is known of a trace is its direction; how far it goes, and where an embryo stops, differs from room to room. So
every number of a trace is a distribution, wide on purpose, and is integrated over (``traces.py``). The same holds for
readings: how far a reading must stray for a loss of a given size is known to a factor only.

References
----------
.. [1] Lavens P., Thongrod S., Sorgeloos P. 2000. Ch. 6 in New and Valenti (eds) Freshwater Prawn Culture. Blackwell.
.. [2] New M.B. 2002. FAO Fisheries Technical Paper 428, Annex 4.
.. [3] Lavens P., Sorgeloos P. (eds) 1996. FAO Fisheries Technical Paper 361, ch. 4 (from memory).
.. [4] Lavens P., Tackaert W., Sorgeloos P. 1986. Mar. Ecol. Prog. Ser. 31:197-203.
.. [5] Vanhaecke P., Lavens P., Sorgeloos P. 1983. Ann. Soc. r. zool. Belg. 113:155-164.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CAUSES", "Cause", "Telltale", "Trace", "cause", "sampling_causes"]


@dataclass(frozen=True)
class Trace:
    """What a cause does to nauplii, umbrellas, cysts and shells; pairs are the two numbers of a beta distribution.

    ``kind`` is stopped (embryos stay behind), lost (nauplii hatched and are gone), short (everything falls alike),
    unwetted (some never were in the water), empty (shells instead of cysts), sorted (the drop was not like the cone),
    or swapped (shells taken for cysts). ``umbrella`` is the share of those stopped that stay umbrellas, ``gone`` the
    share of the lost that leave only a shell, ``back`` the share of the unwetted that still float as cysts, ``recover``
    the share of those stopped that has hatched a day later.
    """

    kind: str
    words: str
    umbrella: tuple[float, float] = (1.0, 1.0)
    gone: tuple[float, float] = (0.3, 6.0)
    back: tuple[float, float] = (1.0, 1.2)
    recover: tuple[float, float] = (0.7, 4.0)
    falls: float = 0.0  # how much the umbrella share falls as the loss grows


@dataclass(frozen=True)
class Telltale:
    """The reading that tells of a cause.

    ``shift`` is how far a reading strays in the bad direction for a small loss, and how much further per unit of loss;
    ``factor`` the spread of that (standard deviation of its log). ``start`` and ``late`` are how likely a reading in
    the first hours, and one later on, shows it. ``table`` is what a value should cost by the literature.
    """

    quantity: str
    side: str  # low or high: which way is bad
    shift: tuple[float, float]
    factor: float
    start: float
    late: float
    table: tuple[tuple[float, float], ...] = ()
    on_log: bool = False


@dataclass(frozen=True)
class Cause:
    """One cause; see the module's text. ``notes`` are (pattern, how much it speaks for the cause)."""

    code: str
    words: str
    short: str  # for a headline
    trace: Trace
    sign: str
    source: str
    at_once: str
    reach: str = "cone"  # who else meets it: cone, room or lot
    shared: float = 0.03  # how often other hatches of the day do
    telltale: Telltale | None = None
    also: tuple[Telltale, ...] = ()  # other readings that it moves
    notes: tuple[tuple[str, float], ...] = ()
    same_trace: tuple[str, ...] = ()  # causes that one reading's counts cannot tell from this one
    of_count: bool = False  # the measuring is wrong, not the hatch
    prior: float = 1.0

    @property
    def of_lot(self) -> bool:
        """Every hatch of the lot has it."""
        return self.reach == "lot"


_LATE = Trace("stopped", "late (umbrellas and unopened cysts)", (2.2, 1.6), (0.2, 12.0), recover=(4.0, 1.6), falls=0.4)
_GONE = Trace("lost", "hatched but gone (or not counted)")
# salt drives oxygen out of water (saturation at 28 °C falls from 6.4 mg/l at 33 ppt to about 5 at 70 ppt: UNESCO
# equations, extrapolated beyond 40 ppt), and weak air or many embryos leave carbon dioxide in it
_SALTED = Telltale("oxygen", "low", (0.4, 1.8), 0.4, 0.85, 0.9)
_USED_UP = Telltale("oxygen", "low", (0.8, 2.0), 0.6, 0.2, 0.55)
_SOURED = Telltale("ph", "low", (0.1, 0.4), 0.6, 0.1, 0.5)

CAUSES = (
    Cause(
        "cold",
        "the water was too cold",
        "too cold",
        _LATE,
        "late: many umbrellas and unopened cysts, fewer of both a day later",
        "Lavens et al. 2000; signs: common practice, no source",
        "Warm the water to 28 °C and leave this cone running: late embryos can still hatch. Check the heater.",
        "room",
        0.35,
        Telltale(
            "temperature",
            "low",
            (1.8, 7.0),
            0.45,
            0.35,
            0.9,
            ((18, 0.95), (20, 0.75), (22, 0.5), (23, 0.36), (24, 0.22), (25, 0.1), (26, 0.04), (27, 0.01), (28, 0)),
        ),
        (),
        (
            (r"heater\W+(?:was |is )?(?:off|out|dead|failed|broken|unplugged|tripped|not working)", 14.0),
            (r"(?:no|without) heat", 14.0),
            (r"(?:water|cone|room|night|bath)\b.{0,14}\b(?:cool|cold|chilly)", 12.0),
            (r"(?:cool|cold|chilly) (?:water|cone|room|night|bath)|draught|draft|window (?:left )?open", 10.0),
            (r"thermostat (?:off|low|set low)|power (?:cut|out|failure)", 6.0),
        ),
        ("early",),
    ),
    Cause(
        "hot",
        "the water was too hot for a while",
        "too hot",
        Trace("stopped", "harmed by heat", (1.2, 1.6), (0.4, 5.0), recover=(0.7, 3.0)),
        "unopened cysts and dead umbrellas that stay so",
        "Lavens et al. 2000, New 2002; signs: common practice, no source",
        "Bring the water below 30 °C and check the heater; harmed embryos will not recover.",
        "room",
        0.25,
        Telltale(
            "temperature",
            "high",
            (4.0, 6.0),
            0.4,
            0.35,
            0.85,
            ((31, 0), (32, 0.05), (33, 0.15), (34, 0.35), (36, 0.7), (38, 0.9), (40, 0.97)),
        ),
        (),
        (
            (r"heater\b.{0,24}\b(?:stuck|would not (?:switch|turn) off|did not (?:switch|turn) off|kept on|ran)", 14.0),
            (r"too hot|overheat|(?:water|cone|room|bath)\b.{0,14}\b(?:hot|very warm)|hot (?:water|cone|room)", 12.0),
            (r"thermostat (?:stuck|high|set high)|direct sun|sun on the cone|heat ?wave", 8.0),
        ),
        ("oxygen", "embryos"),
    ),
    Cause(
        "salt",
        "the water was too salty",
        "too salty",
        Trace("stopped", "few open, and late", (0.7, 4.0), (0.2, 12.0), recover=(0.9, 3.0)),
        "cysts stay unopened, others open late",
        "Lavens et al. 2000; signs: common practice, no source",
        "Mix fresh water at 33 ppt for the next hatch; do not reuse this batch of water.",
        "room",
        0.3,
        Telltale(
            "salinity",
            "high",
            (8.0, 45.0),
            0.6,
            0.9,
            0.95,
            ((36, 0), (40, 0.04), (48, 0.1), (60, 0.25), (70, 0.45), (80, 0.75), (90, 0.97)),
        ),
        (_SALTED,),
        (
            (r"(?:too|very|extra) salt|brine|salt(?:ed|y)? (?:twice|double|too)|(?:double|extra|more) salt", 12.0),
            (r"evaporat|salinity (?:high|off)|salt (?:scoop|dose|mix).{0,12}(?:wrong|twice|double)", 10.0),
        ),
        ("dark", "embryos", "unwetted"),
    ),
    Cause(
        "ph",
        "the pH was too low",
        "pH too low",
        Trace("stopped", "umbrella arrest", (3.4, 1.1), (0.2, 14.0)),
        "cysts open, but the embryos stay in the membrane (umbrellas)",
        "Lavens et al. 2000; sign from memory of FAO Technical Paper 361",
        "Measure the pH of the fresh water; bring the next hatch to 8.0 to 8.5 with sodium bicarbonate, up to 1 g/l.",
        "room",
        0.2,
        Telltale(
            "ph",
            "low",
            (0.3, 1.0),
            0.5,
            0.35,
            0.9,
            ((7.0, 0.93), (7.2, 0.85), (7.4, 0.65), (7.6, 0.38), (7.8, 0.14), (8.0, 0.03), (8.2, 0)),
        ),
        (),
        (
            (r"(?:no|without|forgot\w*|out of|ran out of) (?:the )?(?:buffer|bicarb\w*|soda)|bicarb\w* (?:out|empty)", 14.0),
            (r"\bph\W+(?:was |is )?(?:low|down|sour|fell|dropped)|\bacid", 12.0),
            (r"unbuffered|rain ?water|tap water|water (?:left|stood) .{0,12}days", 4.0),
        ),
        ("oxygen",),
    ),
    Cause(
        "oxygen",
        "the air was weak and the oxygen too low",
        "too little air",
        Trace("stopped", "stalled for want of oxygen", (1.4, 1.4), (0.3, 8.0), recover=(0.8, 2.5)),
        "umbrellas and unopened cysts, settled, stalled",
        "New 2002; signs: common practice, no source",
        "Clean or change the air stone; use another cone until the oxygen at the bottom is back above 5 mg/l.",
        "cone",
        0.1,
        Telltale(
            "oxygen",
            "low",
            (2.2, 3.0),
            0.4,
            0.3,
            0.88,
            ((1, 0.97), (1.5, 0.9), (2, 0.75), (3, 0.35), (4, 0.12), (5, 0.03), (6, 0)),
        ),
        (_SOURED,),
        (
            (r"\b(?:air|pump|bubbl\w+|aeration|blower|stone)\b.{0,22}\b(?:weak|off|stopped|blocked|clogged|failed|low|out|slow|died|dead|unplugged|fell)", 12.0),
            (r"(?:weak|no|little|poor|blocked|clogged) (?:air|aeration|bubbl\w+|stone|pump)", 12.0),
            (r"\bsour\b|smell\w* (?:bad|of egg)|(?:cysts|all) settled|(?:lay|lying) on the bottom", 6.0),
        ),
        ("ph", "crowded"),
    ),
    Cause(
        "dark",
        "it stood in the dark at the start",
        "dark at the start",
        Trace("stopped", "few open, and late", (0.6, 5.0), (0.2, 14.0), recover=(1.1, 1.1)),
        "few cysts open; at some lots they recover with light",
        "Lavens et al. 2000",
        "Switch the light on (about 2,000 lux) and leave this cone running: resting embryos can still start.",
        "room",
        0.25,
        Telltale(
            "light",
            "low",
            (0.75, 0.7),
            0.45,
            0.9,
            0.6,
            ((0, 0.4), (100, 0.3), (300, 0.15), (800, 0.04), (1500, 0)),
            on_log=True,
        ),
        (),
        (
            (r"(?:lamp|lights?|bulb|tube)\W+(?:was |were |is |left )?(?:off|out|dead|broken|failed|not on|blown)", 14.0),
            (r"in the dark|dark (?:start|room|cone)|no (?:light|lamp)|without (?:light|lamp)|covered (?:with|by|over)|timer (?:off|wrong|failed)", 12.0),
        ),
        ("salt", "embryos", "unwetted"),
    ),
    Cause(
        "early",
        "it was counted too early",
        "counted too early",
        _LATE,
        "umbrellas and unopened cysts that are still on their way",
        "FAO Technical Paper 361 (from memory): read at 24 h",
        "Leave this cone running and count it again at the usual hour.",
        "cone",
        0.05,
        Telltale(
            "hours",
            "low",
            (3.0, 8.0),
            0.4,
            0.85,
            0.85,
            ((12, 0.97), (14, 0.8), (16, 0.5), (18, 0.25), (20, 0.1), (22, 0.03), (23.5, 0)),
        ),
        (),
        (
            (r"(?:counted|read|sampled|taken|drawn) (?:too )?early|early (?:count|reading|sample)", 14.0),
            (r"(?:started|set up|wetted) (?:late|later)|late start|not (?:yet )?(?:through|finished|done)", 8.0),
        ),
        ("cold",),
        prior=0.5,
    ),
    Cause(
        "overlong",
        "it stood too long before it was counted",
        "stood too long",
        _GONE,
        "older, paler, longer nauplii; some are lost",
        "Vanhaecke et al. 1983; harvest at T90",
        "Harvest at once; feed soon, the nauplii have used up reserves. Harvest earlier next time.",
        "cone",
        0.05,
        Telltale(
            "hours",
            "high",
            (10.0, 45.0),
            0.5,
            0.75,
            0.75,
            ((26, 0), (32, 0.04), (40, 0.12), (48, 0.22), (60, 0.38), (72, 0.5)),
        ),
        (),
        (
            (r"(?:over night|overnight).{0,12}late|(?:harvest|count|reading|sampl\w+)\b.{0,16}\b(?:late|put off|delayed|postponed|next day)", 14.0),
            (r"(?:put off|delayed|postponed|late) (?:the )?(?:harvest|count|reading)|stood (?:too long|over|another)|forgot\w* (?:to )?(?:harvest|count)|second day", 12.0),
        ),
        ("broken", "missed", "gradient"),
    ),
    Cause(
        "crowded",
        "too many cysts per litre",
        "too crowded",
        Trace("stopped", "crowded", (1.3, 1.3), (1.0, 2.0), recover=(0.9, 2.5)),
        "foam, oxygen and pH fall, umbrellas, hurt nauplii",
        "Lavens et al. 2000: at most 5 g/l in small vessels",
        "Start the next hatch with fewer cysts per litre.",
        "cone",
        0.03,
        Telltale(
            "density",
            "high",
            (0.9, 0.8),
            0.5,
            0.97,
            0.97,
            ((5, 0), (6, 0.08), (7, 0.25), (8, 0.45), (10, 0.75), (12, 0.92)),
            on_log=True,
        ),
        (_USED_UP, _SOURED),
        (
            (r"(?:double|two|twice the|triple|both) (?:portion|dose|amount|ration)s?|(?:all|both|everything) in one cone|(?:one|a) cone short|too (?:many|much) cysts|overstock|crowded", 10.0),
        ),
        ("ph", "oxygen"),
    ),
    Cause(
        "unwetted",
        "cysts dried on the wall or lay settled",
        "cysts on the wall",
        Trace("unwetted", "never wetted", back=(1.0, 1.2), recover=(1.0, 1.5)),
        "cysts on the wall were never wetted; fewer objects of every kind in the water",
        "common practice, no source",
        "Rinse the wall down, wet the cysts and stir before the next hatch; look at the air.",
        "cone",
        0.05,
        None,
        (),
        (
            (r"\bring\b|crust|\brim\b|(?:cysts|stuck|dry|dried|brown|clump\w*|caked)\b.{0,26}\b(?:wall|side|glass|cone|edge)|(?:on|up|round|high (?:on|in|up)) the (?:wall|side|glass|cone)s?", 12.0),
            (r"float(?:ed|ing)|dried on|still dry|clump|not (?:wetted|wet|stirred in)|(?:splash|crawl)ed up|above the water", 9.0),
        ),
        ("amount", "salt", "dark"),
    ),
    Cause(
        "broken",
        "strong air broke the nauplii",
        "nauplii broken by the air",
        _GONE,
        "shells say they hatched, but the nauplii are gone",
        "common practice, no source",
        "Turn the air down until the cysts just stay up.",
        "cone",
        0.05,
        None,
        (),
        (
            (r"(?:very|too) strong|violent|air (?:too )?(?:high|hard)|foam|boil|broken nauplii|pieces|legs", 8.0),
        ),
        ("missed", "overlong", "gradient"),
        prior=0.5,
    ),
    Cause(
        "embryos",
        "the lot's embryos are dead or still resting",
        "the lot itself: dead or resting embryos",
        Trace("stopped", "cysts that do not open", (0.7, 3.5), (0.4, 4.0), recover=(0.7, 4.0)),
        "healthy-looking cysts that do not open, in every cone of this lot",
        "Lavens et al. 1986 (resting embryos)",
        "Do not dose by this lot's label: dose by what its own hatches give, or take another lot.",
        "lot",
        0.95,
        None,
        (),
        (
            (r"(?:past|after|over) (?:its |the )?best.?before|expired|out of date|(?:tin|can|lid|pack|bag|jar)\b.{0,16}\b(?:open|loose|warm|damp|wet|torn|rusty)|(?:left|found|stood|stored) (?:open|warm|damp)|warm room|back of the shelf|damp|mould|mold", 10.0),
            (r"no cold rest|not rested|fresh(?:ly)? harvest|harvested this (?:season|year)|new season|resting|dormant|diapause|old (?:lot|stock|cysts|tin|can)", 10.0),
        ),
        ("salt", "dark", "hot"),
        prior=2.0,
    ),
    Cause(
        "empty",
        "the product holds many empty shells and little else",
        "the lot itself: many empty shells",
        Trace("empty", "empty product"),
        "few full cysts per gram and more shells than hatched cysts explain, in every cone of this lot",
        "Vanhaecke and Sorgeloos 1983 (efficiency against percentage)",
        "Dose by the nauplii per gram that this lot really gives, not by its label; separate the harvest twice.",
        "lot",
        0.95,
        None,
        (),
        ((r"dust|bits|dirty|debris|rubbish|(?:many|lots of|full of) (?:empt\w*|shells|husks)|husk|chaff|sand\b|uncleaned", 10.0),),
        (),
        prior=2.0,
    ),
    Cause(
        "amount",
        "less was weighed in, or a volume was not what was written",
        "a mass or volume is wrong",
        Trace("short", "everything short alike"),
        "every stage falls alike; the percentage is normal",
        "arithmetic of the dilution",
        "Check balance, pipette and water level.",
        "cone",
        0.03,
        None,
        (),
        (
            (r"balance|scales? (?:off|drift\w*|wrong|jump\w*|battery)|spil[lt]\w*|weigh\w* (?:wrong|again|twice|by eye)|by (?:the )?spoon|not (?:weighed|tared)|guess\w*|tare", 10.0),
            (r"level\b.{0,16}\b(?:high|above|over|low|below|up|down)|topped? up|over ?full|(?:more|extra|too much|less) water|leak|lost (?:some )?water|pipette (?:off|wrong|drip\w*|bubble)|ran over|overflow", 9.0),
        ),
        ("unwetted",),
        True,
        1.6,
    ),
    Cause(
        "missed",
        "the count missed nauplii",
        "nauplii missed in the count",
        _GONE,
        "shells say they hatched, but few nauplii were counted",
        "arithmetic of the count",
        "Count again by eye: recount list below.",
        "cone",
        0.03,
        None,
        (),
        (
            (r"(?:photo|picture|image)s?\b.{0,16}\b(?:blur\w*|dark|bad|out of focus|bright)|blur|out of focus|new (?:camera|lens|phone|lamp)|glare|lens (?:dirty|wet|fogg\w*)|miscount|count(?:ed)? (?:in a hurry|wrong)", 8.0),
        ),
        ("broken", "overlong", "gradient"),
        True,
    ),
    Cause(
        "gradient",
        "light had drawn the nauplii away from where the samples were taken",
        "light drew the nauplii aside",
        _GONE,
        "shells say they hatched, few nauplii beside them, and subsamples that differ in their share of nauplii",
        "Merchie in FAO Technical Paper 361, 4.3.1 (nauplii swim to light)",
        "Cover the cone against the light, mix it well and draw fresh subsamples.",
        "cone",
        0.03,
        None,
        (),
        (
            (r"swarm|(?:lit|light|dark|window|sunny|lamp) side|to(?:ward)?s? the (?:light|window|lamp)|lamp beside", 9.0),
        ),
        ("missed", "broken", "overlong"),
        True,
        0.5,
    ),
    Cause(
        "swapped",
        "the count took shells for cysts",
        "shells counted as cysts",
        Trace("swapped", "shells taken for cysts"),
        "too many cysts, too few shells, more full cysts than weighed in",
        "arithmetic of the count",
        "Count again by eye: recount list below.",
        "cone",
        0.03,
        None,
        (),
        (),
        (),
        True,
        0.5,
    ),
    Cause(
        "uneven",
        "the subsamples were not drawn from well mixed water",
        "samples from unmixed water",
        Trace("sorted", "a drop unlike the cone"),
        "subsamples differ by more than chance, or cysts and shells stand in another proportion than usual",
        "FAO Technical Paper 361 (from memory): counting error of mixed subsamples",
        "Mix the cone well and draw fresh subsamples.",
        "cone",
        0.03,
        None,
        (),
        (
            (r"not (?:well )?(?:mixed|stirred|shaken)|(?:un|badly |poorly )mixed|(?:air|bubbles|pump|aeration)\b.{0,14}\b(?:off|stopped|out)\b.{0,20}\b(?:sampl|draw|count|pipett|taking)\w*|(?:sampl|draw|count|pipett|tak)\w*\b.{0,20}\b(?:air|bubbles|pump|aeration)\b.{0,12}\b(?:off|stopped|out)|(?:drawn|taken|sampled) (?:from|at|off|near) the (?:top|bottom|tip|surface|drain)|settled (?:when|while|before) (?:sampl|draw)\w*", 12.0),
        ),
        (),
        True,
    ),
)


def cause(code: str) -> Cause:
    """Return a cause by its code."""
    from qckit.errors import unknown_name

    for item in CAUSES:
        if item.code == code:
            return item
    raise unknown_name("cause", code, [item.code for item in CAUSES])


def sampling_causes() -> tuple[str, ...]:
    """Codes of the causes that another drawing from the same cone does away with."""
    return ("uneven", "gradient")
