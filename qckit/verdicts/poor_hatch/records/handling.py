"""Causes of handling: hours, crowding, wetting, rough air."""

# ruff: noqa: E501 - a table of patterns
from __future__ import annotations

from qckit.verdicts.poor_hatch.records.record import GONE, LATE, SOURED, USED_UP, Cause, Telltale, Trace

__all__ = ["HANDLING"]

HANDLING = (
    Cause(
        "early",
        "it was counted too early",
        "counted too early",
        LATE,
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
            0.8,
            0.8,
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
        GONE,
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
            0.65,
            0.65,
            ((26, 0), (32, 0.04), (40, 0.12), (48, 0.22), (60, 0.38), (72, 0.5)),
        ),
        (),
        (
            (
                r"(?:over night|overnight).{0,12}late|(?:harvest|count|reading|sampl\w+)\b.{0,16}\b(?:late|put off|delayed|postponed|next day)",
                14.0,
            ),
            (
                r"(?:put off|delayed|postponed|late) (?:the )?(?:harvest|count|reading)|stood (?:too long|over|another)|forgot\w* (?:to )?(?:harvest|count)|second day",
                12.0,
            ),
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
        (USED_UP, SOURED),
        (
            (
                r"(?:double|two|twice the|triple|both) (?:portion|dose|amount|ration)s?|(?:all|both|everything) in one cone|(?:one|a) cone short|too (?:many|much) cysts|overstock|crowded",
                10.0,
            ),
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
            (
                r"\bring\b|crust|\brim\b|(?:cysts|stuck|dry|dried|brown|clump\w*|caked)\b.{0,26}\b(?:wall|side|glass|cone|edge)|(?:on|up|round|high (?:on|in|up)) the (?:wall|side|glass|cone)s?",
                12.0,
            ),
            (
                r"float(?:ed|ing)|dried on|still dry|clump|not (?:wetted|wet|stirred in)|(?:splash|crawl)ed up|above the water",
                9.0,
            ),
        ),
        ("amount", "salt", "dark"),
    ),
    Cause(
        "broken",
        "strong air broke the nauplii",
        "nauplii broken by the air",
        GONE,
        "shells say they hatched, but the nauplii are gone",
        "common practice, no source",
        "Turn the air down until the cysts just stay up.",
        "cone",
        0.05,
        None,
        (),
        ((r"(?:very|too) strong|violent|air (?:too )?(?:high|hard)|foam|boil|broken nauplii|pieces|legs", 8.0),),
        ("missed", "overlong", "gradient"),
        prior=0.5,
    ),
)
