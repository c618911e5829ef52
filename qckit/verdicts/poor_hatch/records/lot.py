"""Causes that lie in the lot itself."""

# ruff: noqa: E501 - a table of patterns
from __future__ import annotations

from qckit.verdicts.poor_hatch.records.record import Cause, Trace
from qckit.verdicts.poor_hatch.records.vocabulary import CONTAINER, both

__all__ = ["LOT"]

LOT = (
    Cause(
        code="embryos",
        words="the lot's embryos are dead or still resting",
        short="dead or resting embryos",
        # what is dead or rests does not begin, so that few of it hang as umbrellas; in a dead one the embryo has shrunk, and
        # how many still look like a full cyst, or pass for a shell, differs from lot to lot (common practice, no source)
        trace=Trace("stopped", "cysts that do not open", (0.4, 4.0), (0.5, 2.0), recover=(0.7, 4.0)),
        sign="healthy-looking cysts that do not open, in every cone of this lot",
        source="Lavens et al. 1986 (resting embryos)",
        at_once="Do not dose by this lot's label: dose by what its own hatches give, or take another lot.",
        reach="lot",
        shared=0.95,
        reading=None,
        other_readings=(),
        notes=(
            (
                r"best.?before (?:is |was |date )*(?:passed|over|exceeded|gone)|(?:past|after|over|beyond) (?:its |the )?(?:best.?before|use.?by|shelf life|date)|\bexpired|out of date|past (?:its )?date|(?:left|found|stood|stored|kept|been) (?:warm|damp|hot|at room)|room temperature|"
                r"warm (?:room|store|storage|shelf|place|cupboard)|back of the (?:shelf|cupboard|drawer|store|fridge)|\bdamp|\bmoist\b|mou?ld\w*|un-?refrigerated|\bthawed",
                10.0,
            ),
            (
                both(
                    CONTAINER,
                    r"ajar|(?:was |stood |left |found )?open(?: for\b.{0,12}| all\b.{0,12}| since\b.{0,12})?|opened (?:for|since|months|weeks|long)|loose|warm|damp|wet|torn|rust\w*|leak\w*|lost|failed|heat|broken|punctured|holed|hole|"
                    r"not (?:closed|sealed|tight|shut|cold|airtight)|off|gone",
                ),
                10.0,
            ),
            (
                r"(?:needs?|wants?|requires?|too little|more) (?:more |longer |a )?(?:cold\b|chilling|freezing|rest\b)|(?:never|not) (?:been |yet )*(?:frozen|chilled|cooled)|\b(?:new|fresh) (?:harvest|crop|season)|(?:straight|fresh|just)\w* (?:\w+ )?(?:off|from|out of) the (?:lake|ponds?|salt ?(?:pans?|works|lake)|lagoon)|last year'?s?\b(?= (?:tin|can|cyst|lot|harvest|stock))|no (?:cold rest|hibernation|rest|chilling)|not (?:rested|hibernated|chilled|activated|(?:(?:kept|stored) (?:cold|cool)|(?:cold|cool) (?:stored|rested)))|un-?rested|fresh(?:ly)? (?:harvest\w*|from(?! (?:the )?(?:dish-?wash|wash|tap|hose|clean))|collected|caught)|harvested this (?:season|year)|"
                r"(?:new|this) season'?s?|\bresting|dormant|diapause|old (?:lot|stock|cysts|tin|can|pack|bag|batch)|last (?:year|season)'?s|\b(?:two|three|four|five|several|some|many|\d) years? old|warm (?:in|during) transport",
                10.0,
            ),
        ),
        same_trace=("salt", "dark", "hot"),
        prior=2.0,
        silences=("hot",),
    ),
    Cause(
        code="empty",
        words="the product holds many empty shells and little else",
        short="many empty shells",
        trace=Trace("empty", "empty product"),
        sign="few full cysts per gram and more shells than hatched cysts explain, in every cone of this lot",
        source="Vanhaecke and Sorgeloos 1983 (efficiency against percentage)",
        at_once="Dose by the nauplii per gram that this lot really gives, not by its label; separate the harvest twice.",
        reach="lot",
        shared=0.95,
        reading=None,
        other_readings=(),
        notes=(
            (
                r"\bdust\w*|\bbits\b|dirty|debris|rubbish|trash|\b(?:many|lots of|lot of|full of|much|mostly|plenty of) (?:empt\w*|(?:\w+ )?shells|husks|dirt)|husks?|chaff|\bsand\w*|uncleaned|"
                r"(?:poorly|not|badly|hardly) (?:cleaned|sieved|sorted|purified)|(?:broken|empty|cracked) shells|impurit\w*|crumbs|\bshell waste|\bempties",
                10.0,
            ),
        ),
        same_trace=(),
        prior=2.0,
        silences=("embryos",),
    ),
)
