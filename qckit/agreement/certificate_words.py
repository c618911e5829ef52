"""What a certificate says, in words."""

from __future__ import annotations

import math

import numpy as np

from qckit.agreement.suspects import say_suspect
from qckit.stages import STAGES
from qckit.words import decimals_known, estimated, noun, plural, signed

__all__ = [
    "agreement_sentences",
    "hatch_sentence",
    "say_fitness",
    "say_too_small",
    "say_until",
    "spoilt_sentences",
    "stage_sentences",
]

GOOD_PHOTOS, GOOD_OBJECTS = 10, 300
# limits of this kit: beyond them a verdict about a lot or a dose would often come out wrong
MOST_BIAS_PCT, LEAST_RIGHT = 5.0, 0.9
LEAST_PHOTOS_TO_JUDGE = 6
"""Photos without which a check is told and corrects no count. By Student's factor, times sqrt(1 + 1/n), limits of a
single photo are 5.0, 3.6, 3.0 and 2.8 standard deviations wide to either side with 3, 4, 5 and 6 photos (2.4 with 10),
and the standard deviation itself is known to 50, 41, 35 and 32 %. Corrected by totals of fewer than six, a sample's
hatching percentage is uncertain by 7 to 15 points, and no nearer to the truth where the kit is good
(tests/photos/CAMERAS.md)."""


def agreement_sentences(agreement, rates, n_objects):
    """How many photos stand behind a check, how H% agrees, and what became of each stage."""
    lines = [
        f"{plural(rates.n_photos, 'photo')} with {plural(n_objects, 'object')} "
        f"{noun(rates.n_photos, 'was', 'were')} counted by the kit and by hand."
    ]
    hatch = hatch_sentence(agreement)
    if hatch:
        lines.append(hatch)
        r = agreement[agreement["figure"] == "hatch_pct"].iloc[0]
        if math.isfinite(r.ccc):
            lines.append(f"Concordance of H% is {r.ccc:.3f} ({r.ccc_low:.3f} to {r.ccc_high:.3f}); 1 is perfect.")
    return lines + stage_sentences(agreement, rates)


def hatch_sentence(agreement) -> str:
    """How H% by the kit agrees with H% by hand; empty where no photo has both."""
    h = agreement[agreement["figure"] == "hatch_pct"]
    if h.empty:
        return ""
    r = h.iloc[0]
    n, one = decimals_known(r.bias_low, r.bias_high), decimals_known(r.limit_low, r.limit_high)
    return (
        f"H% by photo is {signed(r.bias, n)} points from H% by hand on average ({signed(r.bias_low, n)} to "
        f"{signed(r.bias_high, n)}); a single photo lies between {signed(r.limit_low, one)} and "
        f"{signed(r.limit_high, one)} points."
    )


def spoilt_sentences(suspects, agreement):
    """Which counts spoil a check, and how H% agrees without their photos (``agreement``; None where too few are left).

    Nothing else is said: every other figure of the check hangs on them.
    """
    lines = list(map(say_suspect, suspects))
    hatch = "" if agreement is None else hatch_sentence(agreement)
    if hatch:
        lines.append(f"Without {'this photo' if len({s.photo for s in suspects}) == 1 else 'these photos'}: {hatch}")
    return lines


def stage_sentences(agreement, rates):
    """What became of each stage."""
    return _stage_sentences(rates) if rates.is_by_object else _total_sentences(agreement)


def _stage_sentences(rates):
    """What became of each stage, where object was laid beside object."""
    frame, lines = rates.to_frame(), []
    for stage in STAGES:
        found = frame[(frame["stage"] == stage) & (frame["outcome"] == "found")].iloc[0]
        right = frame[(frame["stage"] == stage) & (frame["outcome"] == "right")].iloc[0]
        if np.isfinite(found.rate):
            share = estimated(*(100 * v for v in (found.rate, found.low, found.high)), "%").replace(" %)", ")")
            called = estimated(*(100 * v for v in (right.rate, right.low, right.high)), "%")
            lines.append(
                f"{stage}: {share.replace(' %', ' % found', 1)}, {called.split(' (')[0]} of these called {stage}."
            )
        else:
            lines.append(f"{stage}: none in these photos, so nothing is known of it.")
    return lines


def _total_sentences(agreement):
    """How the totals go together, and what totals cannot say."""
    lines = []
    for row in agreement[agreement["figure"] != "hatch_pct"].itertuples():
        lines.append(
            f"{row.figure}: {signed(row.bias, 1)} a photo by the kit against by hand ({signed(row.bias_low, 1)} to "
            f"{signed(row.bias_high, 1)})."
        )
    return [
        *lines,
        "Which objects were missed and which taken for another stage cannot be told from totals; mark the objects one "
        "by one (photo, stage, x_px, y_px) to know.",
    ]


def say_fitness(fitness, against):
    if fitness == "spoilt":
        return (
            "Not judged: what is named above decides it. Mend it, or take the photos it names out of the table, and "
            "check again."
        )
    if fitness == "too few":
        return (
            f"Nothing stands against it, but fewer than {LEAST_PHOTOS_TO_JUDGE} photos cannot show that a single photo "
            "can be trusted: count more photos by eye."
        )
    if fitness == "fit":
        return "Fit for use within these limits of agreement."
    reasons = "; ".join(_say_against(*reason) for reason in against)
    return (
        f"Not fit for use as it is: {reasons}. Look at every photo of this camera by hand, and mend "
        "lamp, focus or scale, or settle some of its photos and run  qckit camera learn."
    )


def say_too_small(n_photos: int) -> str:
    """Why a check of so few photos corrects nothing."""
    return (
        f"corrected by a check of {plural(n_photos, 'photo')}, later hatching percentages would be uncertain by "
        "about ten points or more"
    )


def _say_against(code, what, value):
    if code == "bias":
        return f"H% is off by {value:.1f} points (limit {MOST_BIAS_PCT:g})"
    if code == "total":
        return f"the kit counts {value:.0f} {what} where 100 are counted by hand (limit 10 off)"
    return f"only {value:.0f} % of {what} are found and called so (limit {100 * LEAST_RIGHT:g} %)"


def say_until(until, good):
    why = "" if good else f", early because the check is small (below {GOOD_PHOTOS} photos or {GOOD_OBJECTS} objects)"
    return f"Check again by {until}{why}, and at once when the camera, magnification, lamp or counter changes."
