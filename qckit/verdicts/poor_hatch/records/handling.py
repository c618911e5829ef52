"""Causes of handling: hours, crowding, wetting, rough air."""

# ruff: noqa: E501 - a table of patterns
from __future__ import annotations

from qckit.verdicts.poor_hatch.records.record import LATE, LOST, SOURED, USED_UP, Cause, MovedReading, Trace
from qckit.verdicts.poor_hatch.records.vocabulary import CONTAINER, COUNT, both, forgot

__all__ = ["HANDLING"]

HANDLING = (
    Cause(
        code="early",
        words="it was counted too early",
        short="counted too early",
        trace=LATE,
        sign="umbrellas and unopened cysts that are still on their way",
        source="FAO Technical Paper 361 (from memory): read at 24 h",
        at_once="Leave this cone running and count it again at the usual hour.",
        reach="cone",
        shared=0.05,
        reading=MovedReading(
            quantity="hours",
            side="low",
            shift=(3.0, 8.0),
            factor=0.4,
            start=0.8,
            late=0.8,
            table=((12, 0.97), (14, 0.8), (16, 0.5), (18, 0.25), (20, 0.1), (22, 0.03), (23.5, 0)),
        ),
        other_readings=(),
        notes=(
            (
                both(
                    f"{COUNT}|taken|drawn",
                    r"(?:too )?(?:early|soon)|earlier|before (?:time|the (?:hour|time)|due)|prematurely|ahead of time",
                ),
                14.0,
            ),
            (
                r"\b(?:hours?|h) (?:too )?(?:early|ahead)\b|\bahead of time|\bbefore (?:it was |its |the )?(?:due|time|hour)\b",
                12.0,
            ),
            (both("started|start|set up|wetted|begun|began|set", r"late|later|delayed"), 8.0),
            (
                r"not (?:yet )?(?:through|finished|done|complete\w*)\b|still (?:\w+ )?(?:hatching|popping|coming out|emerging)|hatching still|cut short|short (?:run|incubation)",
                8.0,
            ),
        ),
        same_trace=("cold",),
        prior=0.5,
    ),
    Cause(
        code="overlong",
        words="it stood too long before it was counted",
        short="stood too long",
        trace=LOST,
        sign="older, paler, longer nauplii; some are lost",
        source="Vanhaecke et al. 1983; harvest at T90",
        at_once="Harvest at once and use soon: the nauplii have used up reserves. Harvest earlier next time.",
        reach="cone",
        shared=0.05,
        reading=MovedReading(
            quantity="hours",
            side="high",
            shift=(10.0, 45.0),
            factor=0.5,
            start=0.65,
            late=0.65,
            table=((26, 0), (32, 0.04), (40, 0.12), (48, 0.22), (60, 0.38), (72, 0.5)),
        ),
        other_readings=(),
        notes=(
            (
                both(
                    f"{COUNT}|taken|drawn",
                    r"late|delayed|delay|postponed|put off|overdue|forgot\w*|(?:only|not (?:before|until|till)) (?:the |next |in the )?(?:afternoon|evening)|next (?:day|morning|afternoon|evening)|day after|day later|a day too long|second day|longer than (?:planned|it should|usual|needed|due)|following (?:day|morning)|hours? (?:too )?late|missed",
                ),
                14.0,
            ),
            (
                r"\b(?:stood|left|sat|stayed|kept|ran)\b.{0,20}\b(?:too long|over the|over ?night|another|longer|an extra|a day|two days|whole weekend|weekend|(?:till|until|to) (?:the )?next (?:day|morning)|(?:\w+ )?longer than (?:planned|it should|due|needed))|forgot\w* (?:to )?(?:harvest|count|collect)|"
                r"second day|not (?:harvested|counted|collected|read|emptied) (?:till|until|before)|nobody (?:came|there|here|was there|to harvest)|(?:over night|overnight).{0,12}late|too long (?:left|in|before)|longer than (?:planned|it should|due)|overran|overdue",
                12.0,
            ),
            (both("nauplii|larvae|naups|swimmers", "pale|thin|lean|skinny|transparent|see-through|second stage"), 8.0),
            (r"\b(?:3[0-9]|[4-7]\d) ?h(?:ours|rs)?\b(?=.{0,20}\b(?:before|until|till|old|later))", 10.0),
        ),
        same_trace=("broken", "missed", "gradient"),
    ),
    Cause(
        code="crowded",
        words="too many cysts per litre",
        short="too crowded",
        trace=Trace("stopped", "crowded", (1.3, 1.3), (1.0, 2.0), recover=(0.9, 2.5)),
        sign="foam, oxygen and pH fall, umbrellas, hurt nauplii",
        source="Lavens et al. 2000: at most 5 g/l in small vessels",
        at_once="Start the next hatch with fewer cysts per litre.",
        reach="cone",
        shared=0.03,
        reading=MovedReading(
            quantity="density",
            side="high",
            shift=(0.9, 0.8),
            factor=0.5,
            start=0.97,
            late=0.97,
            table=((5, 0), (6, 0.08), (7, 0.25), (8, 0.45), (10, 0.75), (12, 0.92)),
            on_log=True,
        ),
        other_readings=(USED_UP, SOURED),
        notes=(
            (
                r"\b(?:double|doubled|twice|two times|2 ?x|x ?2|triple|three times|both|two|extra) (?:the |a |as many |as much )?(?:usual |normal |of )?(?:portion|helping|dose|amount|ration|load|lot of cyst|quantit\w+|cyst|egg|gram|spoon\w*|scoop)\w*|"
                r"\b(?:dosed|loaded|stocked|filled|portioned) (?:twice|double)|\btoo (?:many|much) (?:many |much |of )*(?:cysts|eggs)|\b(?:thick )?soup\w*|(?:more|extra) cysts\b(?! (?:left|unhatched|un-?opened|seen|found|than usual (?:left|unhatched)|in the (?:sample|photo|harvest))\b)|"
                r"over-?(?:stock|load|dos|crowd)\w*|\bcrowded|crowding|too dense|\b[23] portions|load\w* (?:too )?heav\w+|\bheav(?:y|ily) (?:load|stock|dos)\w*|dense(?:ly)? (?:stock|load)\w*",
                10.0,
            ),
            (r"\b(?:way|far|much) too many\b(?! (?:shells|dead|un|empt|bubbles|umbrella))", 8.0),
            (
                rf"\b(?:whole|entire|full)(?: of)?(?: the)? (?:{CONTAINER})\b.{{0,8}}\b(?:in|went|tipped|poured|used)\b|\b(?:put|tipped|poured)\b.{{0,8}}\b(?:whole|entire) (?:{CONTAINER})\b",
                9.0,
            ),
            (
                r"\b(?:all|both|everything|whole|entire|two)\b.{0,24}\b(?:in|into|to) (?:one|a single|the same|this|cone)\b|cysts of (?:two|both)|one cone (?:short|down|missing|out)|(?:other|second) cone (?:was |is )?(?:out|broken|down|not free)|went in twice",
                10.0,
            ),
        ),
        same_trace=("ph", "oxygen"),
    ),
    Cause(
        code="unwetted",
        words="cysts dried on the wall or lay settled",
        short="cysts on the wall",
        trace=Trace("unwetted", "never wetted", back=(1.0, 1.2), recover=(1.0, 1.5)),
        sign="cysts on the wall were never wetted; fewer objects of every kind in the water",
        source="common practice, no source",
        at_once="Rinse the wall down, wet the cysts and stir before the next hatch; look at the air.",
        reach="cone",
        shared=0.05,
        reading=None,
        other_readings=(),
        notes=(
            (
                both(
                    r"cysts|eggs|ring(?! of salt)|rim|band|crust(?! of salt)|clumps?|scum|layer|brown|stuck|dry|dried|caked",
                    r"walls?|sides?|glass|rim|edges?|top|water ?line|lid|above the (?:water|surface)|high",
                ),
                12.0,
            ),
            (
                r"\bring\b(?! of salt)|(?<!salt )\bcrust\w*(?! of salt)|\brim\b|\bscum\b|(?:on|up|round|high (?:on|in|up)) the (?:wall|side|glass)s?\b",
                12.0,
            ),
            (
                both(
                    "walls?|sides?|rim|ring|cone",
                    r"(?:was |were )?(?:not|never) (?:been )?(?:rinsed|washed|wiped|hosed)(?: down)?|forgotten to rinse",
                ),
                12.0,
            ),
            (
                r"float(?:ed|ing|ers)?\b|dried on|still dry|high and dry|\bdry cysts|clump\w*|\bcaked|not (?:wetted|wet|stirred in|soaked|hydrated)|un-?wetted|(?:splash|crawl)ed up|splash\w*|above the water|"
                r"forgot\w* (?:to )?(?:rinse|wash|wet|hydrate|soak)\w*|without (?:rinsing|wetting|soaking)|did not (?:pre.?)?(?:soak|wet|hydrate)",
                9.0,
            ),
        ),
        same_trace=("amount", "salt", "dark"),
    ),
    Cause(
        code="broken",
        words="strong air broke the nauplii",
        short="nauplii broken by the air",
        trace=LOST,
        sign="shells say they hatched, but the nauplii are gone",
        source="common practice, no source",
        at_once="Turn the air down until the cysts just stay up.",
        reach="cone",
        shared=0.05,
        reading=None,
        other_readings=(),
        notes=(
            (
                both(
                    r"air|aeration|bubbl\w+|pump|blower|valve",
                    r"(?:(?:far|much|way) )?too (?:strong|hard|high|much|fast|fierce)|(?:very|so) (?:strong|hard|fierce)|violent\w*|turned up|full(?:y)? open|wide open|at full|full|max\w*|fierce|raging|boiling",
                ),
                8.0,
            ),
            (
                r"(?<!little )(?<!bit of )(?<!little of )\bfoam\w*(?! (?:a )?little)|froth\w*|\bboil\w*|^(?:much |far |way )?too strong|violent\w*",
                8.0,
            ),
            (
                both(
                    "nauplii|larvae|naups",
                    r"in pieces|pieces|broken|torn|damaged|injured|smashed|halves|bits|legs|dead bits",
                ),
                8.0,
            ),
            (r"\bloose legs|\blegs\b", 8.0),
        ),
        same_trace=("missed", "overlong", "gradient"),
        prior=0.5,
    ),
    Cause(
        code="bleached",
        words="bleach, chlorine, copper or soap harmed them: too long in the bleach, not rinsed out, or untreated tap water",
        short="harmed by bleach, chlorine or soap",
        trace=Trace("stopped", "harmed by bleach", (0.8, 2.5), (0.7, 1.3), recover=(0.5, 5.0)),
        sign="pale or burst embryos that do not open, few nauplii",
        source="FAO Technical Paper 361 (from memory): stop at orange, below 40 °C, neutralise",
        at_once="Rinse until no smell of bleach is left, then 0.1 % thiosulphate for a minute or two; cool the next batch. "
        "Use dechlorinated water from no new copper pipe, in a cone rinsed free of soap.",
        reach="cone",
        shared=0.15,
        reading=None,
        other_readings=(),
        notes=(
            (
                both(
                    r"(?:de|un)-?caps\w*|dechorion\w*|bleach\w*|hypochlor\w*|chlorine",
                    r"too (?:long|hot|warm|strong|much)|hot|warm|over-?(?:heat\w*|done|ran)|left|forgot\w*|smell\w*|smelt|stank|not rinsed|badly rinsed|poorly rinsed|pale|white|burst|wrong\w*|fail\w*|strong|in a hurry|still in",
                ),
                12.0,
            ),
            (forgot(r"thio\w*|neutrali[sz]\w*|dechlor\w*|rinsing (?:off|out) the bleach"), 14.0),
            (
                r"\bdisinfect\w*|\bsaniti[sz]\w*|\bdeep.?clean\w*|(?:new|other|strong\w*) bleach|no ice|(?:forgot\w*|without) (?:the )?ice",
                5.0,
            ),
            (both(r"chlorine|bleach\w*|decaps\w*|they|cysts", r"(?:very )?(?:pale|white)|whiten\w*|ice|cool\w*"), 5.0),
            (
                r"not (?:neutrali[sz]|dechlorinat)ed|(?:un|non)-?(?:treated|dechlorinated) (?:tap )?water|chloramine\w*|(?:smell\w*|smelt|stank|reek\w*) (?:still )?(?:of|like) (?:bleach|chlorine|pool)",
                12.0,
            ),
            (both("copper|brass", r"pipes?|tube|tubing|line|tap|fittings?|tank|new|water"), 12.0),
            (
                both(
                    r"soap\w*|detergent\w*|washing-?up liquid|dish ?(?:soap|liquid)|cleaning (?:agent|fluid|liquid)|rinse aid|descaler",
                    r"cones?|water|film|wash\w*|clean(?!ing (?:agent|fluid|liquid))\w*|scrub\w*|rins(?!e aid)\w*|left|residue|remain\w*|rest|bubbles?|suds|foam\w*|smell\w*",
                ),
                12.0,
            ),
            (
                r"(?:soap\w*|detergent|cleaning (?:agent|fluid|liquid)|rinse aid|descaler|bleach\w*|chlorine) (?:was )?(?:not|never|badly|poorly|hardly|wrong|little) (?:\w+ )?(?:rinsed|washed|cleaned)|\bsuds\b",
                12.0,
            ),
            (r"\b(?:soap|detergent|dish-?washer)\b", 5.0),
            (
                r"(?<!little )(?<!bit of )(?<!little of )\b(?:foam|froth)\w*(?! (?:a )?little)",
                3.0,
            ),  # of strong air, too
            (
                r"\b(?:swimming )?pool (?:smell|air)|smell of (?:a )?(?:swimming )?pool|\b(?:pale|white|burst) embryos",
                6.0,
            ),
        ),
        same_trace=("embryos", "portion", "hot"),
        prior=0.5,
        silences=("hot", "early", "overlong", "unwetted"),
    ),
    Cause(
        code="portion",
        words="its cysts were not like the lot's others (an old, damp or other tin)",
        short="other cysts than usual",
        trace=Trace("stopped", "weak or dead cysts", (0.7, 3.5), (0.4, 4.0), recover=(0.7, 4.0)),
        sign="healthy-looking cysts that do not open in this hatch, while the lot's other hatches are as usual",
        source="common practice, no source",
        at_once="Look which tin these cysts came from; start the next hatch from a tin that was closed, dry and cold.",
        reach="cone",
        shared=0.15,
        reading=None,
        other_readings=(),
        notes=(
            (
                both(
                    f"{CONTAINER}|lot|batch|label",
                    r"old(?:er)?|other|another|wrong|different|swapped|mixed up|condensation|condensed|damp|wet|moist|torn|mou?ld\w*|open(?:ed)? (?:for|since|long|all)|(?:been|left|stood|found) open|(?:(?:not )?sure|if|whether|hope|(?:is|was) (?:it|this|that))(?: \w+){0,4} right|unsure|not sure",
                ),
                10.0,
            ),
            (both("cysts|eggs", r"damp|moist|mou?ld\w*|old(?:er)?|wrong|mixed up|lumpy|clumpy|clumped|sticky"), 10.0),
            (
                rf"\b(?:two|both|several|three) (?:\w+ )?(?:{CONTAINER}|lots|batches)\b.{{0,12}}(?:open|in use|side by side)",
                10.0,
            ),
            (
                r"left-?overs?\b|\b(?:rest|remains|end|bottom) of (?:the|an?) (?:\w+ )?(?:tin|can|pack|bag|lot|jar|drum)",
                10.0,
            ),
        ),
        same_trace=("embryos", "salt", "dark"),
        prior=0.3,
    ),
    Cause(
        code="bloom",
        words="bacteria bloomed in the cone and the nauplii died",
        short="a bloom of bacteria",
        # nauplii die; where the bloom takes the oxygen before all have hatched, embryos stall too
        trace=Trace("stopped", "died, a few stalled", (1.4, 1.4), (3.0, 0.5), recover=(0.8, 2.5)),
        sign="cloudy, slimy or smelling water, dead nauplii on the bottom; shells say they hatched",
        source="Vibrio grows on the glycerol set free at hatching (FAO Technical Paper 361, from memory)",
        at_once="Rinse what lives well before use; clean and dry cone, tube and stone, and disinfect the next cysts.",
        reach="cone",
        shared=0.1,
        # germs breathe what the cone has, and grow on what embryos set free as they hatch: the last hours show it, and
        # how deep the oxygen falls says little of how many they kill
        other_readings=(
            MovedReading(quantity="oxygen", side="low", shift=(1.5, 2.0), factor=0.8, start=0.02, late=0.6, part=0.8),
            MovedReading(quantity="ph", side="low", shift=(0.1, 0.4), factor=0.6, start=0.02, late=0.5, part=0.8),
        ),
        notes=(
            (
                r"\b(?:milky|turbid|murky|slim[ey]\w*|mucus|bacteri\w*|vibrio\w*|biofilm)\b|\bcloud(?:y|ed)\b(?! (?:day|sky|weather|outside|morning))",
                10.0,
            ),
            # lights, heaters and alarms go off, too, and cones are grey or white themselves
            (
                both("water", "whitish|hazy|opaque|gr[ea]y(?:ish)?|(?:gone|went|turned) (?:bad|white)")
                + r"|(?<!in )(?<!in the )\bwater (?:had |has |was |is )?(?:gone|went|going) off\b",
                8.0,
            ),
            (
                r"\bcones? (?:\w+ )?(?:(?:had |has )?(?:gone|went|turned)|looks?|looked) (?:whitish|hazy|opaque|grey(?:ish)?)\b",
                8.0,
            ),
            (r"stink\w*|stank|smell\w* (?:bad|foul|rotten|of (?:egg|fish))|rotten|foul", 6.0),
            (
                r"\bdead (?:ones |nauplii |larvae )?(?:on|at) (?:the )?bottom|\b(?:many|lots of|much) dead\b|(?:nauplii|larvae) (?:\w+ )?(?:dead|dying|died)",
                8.0,
            ),
        ),
        same_trace=("missed", "broken", "overlong", "gradient", "spoilt"),
        prior=0.3,
    ),
    Cause(
        code="spoilt",
        words="nauplii died between harvest and count",
        short="died before the count",
        trace=LOST,
        sign="shells say they hatched; dead nauplii in the sample, few live ones counted",
        source="common practice, no source: warm and without air a dense harvest dies within hours",
        at_once="Count at once or fix the sample; keep a harvest below 10 °C with gentle air until it is used.",
        reach="cone",
        shared=0.1,
        notes=(
            (
                both(
                    r"buckets?|pails?|jars?|jugs?|beakers?|basins?|cool ?box|fridge|sieve|nets?|(?:the )?samples?|harvest",
                    r"(?:stood|left|waited|kept|sat)(?: too)? (?:long|warm|out|for|in the sun|without)|warm|without (?:any )?air|no air|in the sun|for hours|forgotten|too late",
                ),
                12.0,
            ),
            (
                r"counted (?:\w+ )?(?:from|out of) (?:the )?(?:bucket|pail|jar|jug|beaker|basin)|\b(?:hours?|h) (?:\w+ ){0,3}before (?:the )?count",
                10.0,
            ),
            (
                r"counted (?:only )?(?:after (?:lunch|the break|feeding|work)|hours later|in the (?:afternoon|evening))",
                6.0,
            ),
            (both("fridge|cool ?box|ice", "full|broken|out|late|warm"), 4.0),
        ),
        same_trace=("missed", "broken", "overlong", "gradient", "bloom"),
        prior=0.2,
        silences=("oxygen", "embryos", "portion", "overlong", "cold", "hot", "bloom"),
    ),
)
