"""Causes in the water and the air: temperature, salt, pH, oxygen, light."""

# ruff: noqa: E501 - a table of patterns
from __future__ import annotations

from qckit.verdicts.poor_hatch.records.record import LATE, SALTED, SOURED, Cause, MovedReading, Trace
from qckit.verdicts.poor_hatch.records.vocabulary import AIR, BUFFER, FAILED, HEATER, LAMP, both, forgot

__all__ = ["WATER"]

WATER = (
    Cause(
        code="cold",
        words="the water was too cold",
        short="too cold",
        trace=LATE,
        sign="late: many umbrellas and unopened cysts, fewer of both a day later",
        source="Lavens et al. 2000; signs: common practice, no source",
        at_once="Warm the water to {temperature_c:g} °C and leave this cone running: late embryos can still hatch. Check the heater.",
        reach="room",
        shared=0.35,
        reading=MovedReading(
            quantity="temperature",
            side="low",
            shift=(1.8, 7.0),
            factor=0.45,
            start=0.35,
            late=0.9,
            table=(
                (18, 0.95),
                (20, 0.75),
                (22, 0.5),
                (23, 0.36),
                (24, 0.22),
                (25, 0.1),
                (26, 0.04),
                (27, 0.01),
                (28, 0),
            ),
        ),
        other_readings=(),
        notes=(
            (both(HEATER, rf"{FAILED}|low|set low|turned down|not heating"), 14.0),
            (forgot("heat(?:ing|er)?"), 14.0),
            (
                both(
                    "water|brine|cones?|tubs?|room|night|bath|hall|tank|morning|filled|here",
                    r"(?:ice|stone|fridge|stone.?)?.?(?:cool|cold)|colder|cooler|chilly|freezing|frosty|icy|lukewarm",
                ),
                12.0,
            ),
            (both("temps?|temperatures?", "low|lower|dropped|drop|fell|fallen|sank|down|cool|cooler|cold|under"), 12.0),
            (
                r"\b(?:temp\w*|water|cone|bath|thermometer)\b\D{0,16}\b(?:1\d|2[0-4])(?:[.,]\d)?(?! ?(?:l\b|lit|ml|g\b|ppt|h\b|min))\b",
                12.0,
            ),
            (
                r"\b(?:too|very|quite|rather|bit|was|felt|feels|it'?s) (?:cold|cool|chilly)\b|^cold$|\b(?:cooler|colder) than",
                10.0,
            ),
            (
                r"\bdraught|\bdraft\b|\bopen windows?\b|\bwindows? (?:\w+ ){0,2}open|\b(?:door|gate) (?:was |left |stood )+open|\bchilly\b|\bfreezing\b",
                10.0,
            ),
            (
                both(
                    "power|electricity|mains|breaker|fuse|rcd",
                    "cut|outage|fail\\w*|lost|loss|off|down|out|tripped|blown|blew",
                ),
                3.0,
            ),
        ),
        same_trace=("early",),
        silences=("embryos",),
    ),
    Cause(
        code="hot",
        words="the water was too hot for a while",
        short="too hot",
        trace=Trace("stopped", "harmed by heat", (1.2, 1.6), (0.4, 5.0), recover=(0.7, 3.0)),
        sign="unopened cysts and dead umbrellas that stay so",
        source="Lavens et al. 2000, New 2002; signs: common practice, no source",
        at_once="Bring the water below 30 °C and check the heater; harmed embryos will not recover.",
        reach="room",
        shared=0.25,
        reading=MovedReading(
            quantity="temperature",
            side="high",
            shift=(4.0, 6.0),
            factor=0.4,
            start=0.35,
            late=0.85,
            table=((31, 0), (32, 0.05), (33, 0.15), (34, 0.35), (36, 0.7), (38, 0.9), (40, 0.97)),
        ),
        other_readings=(),
        notes=(
            (
                both(
                    HEATER,
                    r"stuck|jammed|(?:would not|did not|could not|does not|do not|never) (?:switch|turn|cut|go|shut|stop)(?:ed)?(?: (?:off|out|down))?|kept on|"
                    r"ran (?:on|wild|hot|through|away)|(?:left|stayed) on|without stopping|non-?stop|too high|set (?:too )?high|turned up|runaway",
                ),
                14.0,
            ),
            (r"(?:like|as) (?:in )?an? (?:bath|sauna|kettle|hot tub|boiler)\b", 10.0),
            (r"too (?:hot|warm)\b|over-?heat\w*|\bcooked\b|\b(?:very|quite|rather) (?:hot|warm)\b|\bhot$", 12.0),
            (both("water|cones?|room|bath|hall|tank", "hot|hotter|warmer|boiling|heated up"), 10.0),
            (both("temps?|temperatures?", "high|hi|higher|rose|risen|climbed|(?<!to come )up(?! to)|above|hot"), 12.0),
            (
                r"\b(?:temp\w*|water|cone|bath|thermometer|thermostat|heater|set ?point)\b\D{0,16}\b3[2-9](?:[.,]\d)?(?! ?(?:l\b|lit|ml|g\b|ppt|h\b|min))\b",
                12.0,
            ),
            (
                r"thermostat (?:was |is )?(?:stuck|high|set high|failed)|\b(?:direct|full|hot) sun|\bin the sun\b|\bsun on the cones?|heat ?wave|\bsun (?:shone|was|came) (?:on|in)|hot (?:day|weather|night)",
                8.0,
            ),
        ),
        same_trace=("oxygen", "embryos"),
        silences=("cold",),
    ),
    Cause(
        code="salt",
        words="the water was too salty",
        short="too salty",
        trace=Trace("stopped", "few open, and late", (0.7, 4.0), (0.2, 12.0), recover=(0.9, 3.0)),
        sign="cysts stay unopened, others open late",
        source="Lavens et al. 2000; signs: common practice, no source",
        at_once="Mix fresh water at {salinity_ppt:g} ppt for the next hatch; do not reuse this batch of water.",
        reach="room",
        shared=0.3,
        reading=MovedReading(
            quantity="salinity",
            side="high",
            shift=(8.0, 45.0),
            factor=0.6,
            start=0.9,
            late=0.95,
            part=0.0,  # salt neither comes nor goes by itself
            table=((36, 0), (40, 0.04), (48, 0.1), (60, 0.25), (70, 0.45), (80, 0.75), (90, 0.97)),
        ),
        other_readings=(SALTED,),
        notes=(
            (
                both(
                    "(?:sea ?)?salt\\w*|salinity|brine",
                    r"(?:too |very )?much|too (?:high|salty|strong|concentrated)|twice|double\w*|extra|high|higher|over-?dos\w*|wrong|strong|concentrated|excess|(?:more|above) than|heavy hand",
                ),
                12.0,
            ),
            (
                r"(?:too|very|extra|rather|quite) salty?\b|\bsaltier|\b(?:4[2-9]|[5-9]\d|1[0-4]\d) ?ppt\b|hyper-?salin\w*|(?<!cold )(?<!cool )(?<!icy )(?<!warm )\bbrine\b|\bsalted (?:twice|double|too)",
                12.0,
            ),
            (r"evaporat\w*", 10.0),
            (r"\b(?:crust|ring) of salt|\bsalt crust", 8.0),
            (r"\b(?:salin\w*|refractometer|salt)\b\D{0,16}\b(?:4[2-9]|[5-9]\d|1[0-4]\d)\b", 12.0),
        ),
        same_trace=("dark", "embryos", "unwetted"),
        silences=("amount", "crowded", "broken", "overlong"),
    ),
    Cause(
        code="fresh",
        words="the water was too fresh",
        short="too fresh",
        # nobody says where embryos stop: as cysts, as umbrellas where the buffer lacks too, or hatched and dead (the trial of
        # the source below found half as many alive, too)
        trace=Trace("stopped", "stopped by fresh water", (1.0, 1.8), (0.7, 1.8), recover=(0.7, 4.0)),
        sign="fewer nauplii, cysts that do not open, umbrellas where the pH fell too",
        source="a published trial: 33 % hatched at 5 ppt, 67 % at 35 ppt; watch the pH",
        at_once="Bring the next water to the usual salinity, and look at its pH: salt brings the buffer along.",
        reach="room",
        shared=0.3,
        reading=MovedReading(
            quantity="salinity",
            side="low",
            shift=(8.0, 28.0),
            factor=0.5,
            start=0.9,
            late=0.95,
            part=0.0,  # salt neither comes nor goes by itself
            table=((0, 0.9), (2, 0.75), (5, 0.5), (8, 0.3), (12, 0.12), (16, 0.04), (22, 0)),
        ),
        other_readings=(SOURED,),
        notes=(
            (forgot("(?:sea ?)?salt"), 14.0),
            (
                both(
                    "(?:sea ?)?salt\\w*|salinity",
                    r"too (?:little|low|weak|thin)|half|low|lower|weak|thin|diluted|less|under|not enough|hardly any|ran out",
                ),
                10.0,
            ),
            (
                r"(?:too|very|rather|quite|nearly|almost) fresh\b(?! (?:cyst|egg|tin|lot|batch|pack|bag|yeast|algae)\w*)|\bhypo-?salin\w*|\bbrackish\b|half (?:of )?the salt",
                12.0,
            ),
            (
                # a reading below 10; not a clock, how often, how long ago, nor how far from another
                r"\b(?:salin\w*|refractometer)\b\D{0,16}\b[0-9](?:[.,]\d)?(?![\d.,:]|\s?(?:(?:kg|g|x|h|am|pm)\b|bag|scoop|%|times|min|hour|day|week|month|(?:ppt |psu )?(?:above|below|over|under|more|less|higher|lower)\b))",
                8.0,
            ),
            (
                r"rain ?water (?:in|into|got|ran)|(?:tap|fresh|plain) ?water (?:only|alone|instead|by mistake|ran in|got in)|(?:only|just|filled|topped)\b.{0,16}\b(?:tap|fresh|plain) ?water|hardly (?:any )?salty?\b",
                9.0,
            ),
        ),
        same_trace=("salt", "dark", "embryos"),
        prior=0.5,  # cysts hatch down to 5 ppt: only water that is nearly fresh costs anything
        silences=("amount", "embryos"),
    ),
    Cause(
        code="ph",
        words="the pH was too low",
        short="pH too low",
        trace=Trace("stopped", "umbrella arrest", (3.4, 1.1), (0.2, 14.0)),
        sign="cysts open, but the embryos stay in the membrane (umbrellas)",
        source="Lavens et al. 2000; sign from memory of FAO Technical Paper 361",
        at_once="Measure the pH of the fresh water; bring the next hatch to 8.0 to 8.5 with sodium bicarbonate, up to 1 g/l.",
        reach="room",
        shared=0.2,
        reading=MovedReading(
            quantity="ph",
            side="low",
            shift=(0.3, 1.0),
            factor=0.5,
            start=0.35,
            late=0.9,
            table=((7.0, 0.93), (7.2, 0.85), (7.4, 0.65), (7.6, 0.38), (7.8, 0.14), (8.0, 0.03), (8.2, 0)),
        ),
        other_readings=(),
        notes=(
            (forgot(BUFFER), 14.0),
            (both("ph", "low|lower|down|sour|fell|fallen|dropped|drop|acid\\w*|under|below|sank|bad"), 12.0),
            (r"\bph\b\D{0,12}\b(?:[56]|7(?:[.,][0-7]\d?)?)(?![.,\d])", 12.0),
            (
                r"\bacid\w*|\bsour water|\bwater (?:was |is |felt |smelt |gone |went |turned )?sour\w*|\bsourish|un-?buffered",
                10.0,
            ),
            (r"rain ?water|tap water|water (?:left|stood) .{0,12}days|\bold (?:salt )?water", 4.0),
        ),
        same_trace=("oxygen",),
        silences=("oxygen",),
    ),
    Cause(
        code="oxygen",
        words="the air was weak and the oxygen too low",
        short="too little air",
        trace=Trace("stopped", "stalled for want of oxygen", (1.4, 1.4), (0.3, 8.0), recover=(0.8, 2.5)),
        sign="umbrellas and unopened cysts, settled, stalled",
        source="New 2002; signs: common practice, no source",
        at_once="Clean or change the air stone; use another cone until the oxygen at the bottom is back above 5 mg/l.",
        reach="cone",
        shared=0.1,
        reading=MovedReading(
            quantity="oxygen",
            side="low",
            shift=(2.2, 3.0),
            factor=0.4,
            start=0.3,
            late=0.88,
            table=((1, 0.97), (1.5, 0.9), (2, 0.75), (3, 0.35), (4, 0.12), (5, 0.03), (6, 0)),
        ),
        other_readings=(SOURED,),
        notes=(
            (
                both(
                    AIR,
                    rf"weak\w*|{FAILED}|blocked(?: up)?|clogged|plugged up|low|slow|fell|kinked|pinched|squashed|squeezed|came (?:off|loose)|slipped(?: off| out)?|"
                    r"loose|shut|closed|poor|feeble|faint|hardly|barely|too little|lost|reduced|down|split|leak\w*|not enough|interrupted|choked|dirty|slim\w+|popped off|off",
                ),
                12.0,
            ),
            (
                r"\b(?:weak|no|little|poor|low|insufficient|not enough|hardly any|few|feeble|blocked|clogged) (?:air|aerat\w+|bubbl\w+|oxygen|o2|stone|pump)\b(?! (?:problem|trouble|leak|bubbles in))",
                12.0,
            ),
            (
                both(
                    "hoses?|tubes?|tubing",
                    "kinked|pinched|squeezed|squashed|loose|popped off|slipped(?: off| out)?|came (?:off|loose)|split|blocked|clogged",
                ),
                10.0,
            ),
            (both("oxygen|o2|do", "low|lower|down|fell|dropped|poor|under|below|short|lacking|depleted|bad"), 12.0),
            (r"\b(?:oxygen|o2|do)\b\D{0,12}\b[0-3](?:[.,]\d)?(?![.,\d])", 12.0),
            (
                r"\bsour\b|\bnot bubbling|smell\w* (?:bad|foul|of egg|a bit off|off)|\bstink\w*|foul smell|rotten|(?:cysts|all|everything) (?:had |were |lay )?settled|(?:lay|lying|sitting|settled) (?:on|at) the bottom",
                6.0,
            ),
            (both("power|electricity|mains|breaker|fuse", "cut|outage|fail\\w*|lost|off|down|tripped|blown"), 2.0),
        ),
        same_trace=("ph", "crowded"),
    ),
    Cause(
        code="dark",
        words="it stood in the dark at the start",
        short="dark at the start",
        trace=Trace("stopped", "few open, and late", (0.6, 5.0), (0.2, 14.0), recover=(1.1, 1.1)),
        sign="few cysts open; at some lots they recover with light",
        source="Lavens et al. 2000",
        at_once="Switch the light on (about 2000 lux) and leave this cone running: resting embryos can still start.",
        reach="room",
        shared=0.25,
        reading=MovedReading(
            quantity="light",
            side="low",
            shift=(0.75, 0.7),
            factor=0.45,
            start=0.9,
            late=0.6,
            table=((0, 0.4), (100, 0.3), (300, 0.15), (800, 0.04), (1500, 0)),
            on_log=True,
        ),
        other_readings=(),
        notes=(
            (both(LAMP, rf"{FAILED}|left off|not lit|not (?:switched|turned|come) on"), 14.0),
            (forgot("lamps?|lights?|illumination|lighting"), 14.0),
            (r"\b(?:forgot\w*|not) (?:to )?(?:turn|switch|put)(?:ed)? (?:on )?(?:the )?(?:lamps?|lights?)", 14.0),
            (
                r"\bin the dark|in darkness|\bdark (?:start|room|cone|night|all|until|till|for|since|first)|(?:stood|was|too|left) dark|^dark$|\blid (?:was |had been )?(?:left |still )?on\b|"
                r"\b(?:cones?|it|was|were|left|stayed|still) covered|covered (?:with|by|over)|tarp\w*|blanket|timer (?:was |had )?(?:off|wrong|failed|set wrong)|shaded",
                12.0,
            ),
        ),
        same_trace=("salt", "embryos", "unwetted"),
    ),
    Cause(
        code="power",
        words="the power was off for hours: neither heat nor air",
        short="a power cut",
        trace=Trace("stopped", "held up", (2.0, 1.8), (0.4, 8.0), recover=(2.5, 1.6)),
        sign="late and stalled in all cones of the day, whatever their own heater and air do by now",
        source="common practice, no source",
        at_once="See that heaters and air run again in every cone, leave them on and count once more some hours later.",
        reach="room",
        shared=0.85,
        # by the time anybody measures, heat and air are mostly back
        other_readings=(
            MovedReading(
                quantity="temperature", side="low", shift=(1.2, 5.0), factor=0.6, start=0.02, late=0.4, part=0.8
            ),
            MovedReading(quantity="oxygen", side="low", shift=(0.8, 2.5), factor=0.6, start=0.02, late=0.3, part=0.8),
        ),
        notes=(
            (
                both(
                    "power|electricity|mains|current|grid",
                    "cuts?|outage|fail\\w*|lost|loss|off|down|out|gone|went|blip|dip|interrupt\\w*",
                ),
                14.0,
            ),
            (
                r"black ?out|brown ?out|generator|\b(?:no|without) (?:power|electricity|mains|current)\b(?! (?:cuts?|outage|fail\w*|problem|trouble|loss|losses|blip|dip))|(?:no|without|neither) (?:heat\w*|air) (?:and|or|nor|no|&) (?:no )?(?:heat\w*|air)",
                12.0,
            ),
            (both("breaker|fuse|rcd|main switch", "tripped|blown|blew|off|out|fail\\w*"), 5.0),
            (both("clocks?|timers?|displays?", "blink\\w*|flash\\w*|reset|stopped|12:00|00:00|wrong"), 8.0),
            (r"\b(?:thunder|lightning|storm)\w*|\balarm\b.{0,12}\b(?:at|night|phone|off)\b", 5.0),
        ),
        same_trace=("cold", "early", "oxygen"),
        prior=0.4,
    ),
)
