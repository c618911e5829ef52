"""Causes that lie in the lot itself."""

# ruff: noqa: E501 - a table of patterns
from __future__ import annotations

from qckit.verdicts.poor_hatch.records.record import Cause, Trace

__all__ = ["LOT"]

LOT = (
    Cause(
        "embryos",
        "the lot's embryos are dead or still resting",
        "dead or resting embryos",
        Trace("stopped", "cysts that do not open", (0.7, 3.5), (0.4, 4.0), recover=(0.7, 4.0)),
        "healthy-looking cysts that do not open, in every cone of this lot",
        "Lavens et al. 1986 (resting embryos)",
        "Do not dose by this lot's label: dose by what its own hatches give, or take another lot.",
        "lot",
        0.95,
        None,
        (),
        (
            (
                r"(?:past|after|over) (?:its |the )?best.?before|expired|out of date|(?:tin|can|lid|pack|bag|jar)\b.{0,16}\b(?:open|loose|warm|damp|wet|torn|rusty)|(?:left|found|stood|stored) (?:open|warm|damp)|warm room|back of the shelf|damp|mould|mold",
                10.0,
            ),
            (
                r"no cold rest|not rested|fresh(?:ly)? harvest|harvested this (?:season|year)|new season|resting|dormant|diapause|old (?:lot|stock|cysts|tin|can)",
                10.0,
            ),
        ),
        ("salt", "dark", "hot"),
        prior=2.0,
    ),
    Cause(
        "empty",
        "the product holds many empty shells and little else",
        "many empty shells",
        Trace("empty", "empty product"),
        "few full cysts per gram and more shells than hatched cysts explain, in every cone of this lot",
        "Vanhaecke and Sorgeloos 1983 (efficiency against percentage)",
        "Dose by the nauplii per gram that this lot really gives, not by its label; separate the harvest twice.",
        "lot",
        0.95,
        None,
        (),
        (
            (
                r"dust|bits|dirty|debris|rubbish|(?:many|lots of|full of) (?:empt\w*|shells|husks)|husk|chaff|sand\b|uncleaned",
                10.0,
            ),
        ),
        (),
        prior=2.0,
    ),
)
