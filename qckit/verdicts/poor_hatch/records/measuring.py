"""Causes that lie in the measuring: amounts, counts, samples."""

# ruff: noqa: E501 - a table of patterns
from __future__ import annotations

from qckit.verdicts.poor_hatch.records.record import GONE, Cause, Trace

__all__ = ["MEASURING"]

MEASURING = (
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
            (
                r"balance|scales? (?:off|drift\w*|wrong|jump\w*|battery)|spil[lt]\w*|weigh\w* (?:wrong|again|twice|by eye)|by (?:the )?spoon|not (?:weighed|tared)|guess\w*|tare",
                10.0,
            ),
            (
                r"level\b.{0,16}\b(?:high|above|over|low|below|up|down)|topped? up|over ?full|(?:more|extra|too much|less) water|leak|lost (?:some )?water|pipette (?:off|wrong|drip\w*|bubble)|ran over|overflow",
                9.0,
            ),
        ),
        ("unwetted",),
        True,
        1.6,
    ),
    Cause(
        "missed",
        "the count missed nauplii",
        "nauplii missed in the count",
        GONE,
        "shells say they hatched, but few nauplii were counted",
        "arithmetic of the count",
        "Count again by eye: recount list below.",
        "cone",
        0.03,
        None,
        (),
        (
            (
                r"(?:photo|picture|image)s?\b.{0,16}\b(?:blur\w*|dark|bad|out of focus|bright)|blur|out of focus|new (?:camera|lens|phone|lamp)|glare|lens (?:dirty|wet|fogg\w*)|miscount|count(?:ed)? (?:in a hurry|wrong)",
                8.0,
            ),
        ),
        ("broken", "overlong", "gradient"),
        True,
    ),
    Cause(
        "gradient",
        "light had drawn the nauplii away from where the samples were taken",
        "light drew the nauplii aside",
        GONE,
        "shells say they hatched, few nauplii beside them, and subsamples that differ in their share of nauplii",
        "Merchie in FAO Technical Paper 361, 4.3.1 (nauplii swim to light)",
        "Cover the cone against the light, mix it well and draw fresh subsamples.",
        "cone",
        0.03,
        None,
        (),
        (
            (
                r"swarm|(?:lit|light|dark|window|sunny|lamp) side|to(?:ward)?s? the (?:light|window|lamp)|lamp beside",
                9.0,
            ),
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
            (
                r"not (?:well )?(?:mixed|stirred|shaken)|(?:un|badly |poorly )mixed|(?:air|bubbles|pump|aeration)\b.{0,14}\b(?:off|stopped|out)\b.{0,20}\b(?:sampl|draw|count|pipett|taking)\w*|(?:sampl|draw|count|pipett|tak)\w*\b.{0,20}\b(?:air|bubbles|pump|aeration)\b.{0,12}\b(?:off|stopped|out)|(?:drawn|taken|sampled) (?:from|at|off|near) the (?:top|bottom|tip|surface|drain)|settled (?:when|while|before) (?:sampl|draw)\w*",
                12.0,
            ),
        ),
        (),
        True,
    ),
)
