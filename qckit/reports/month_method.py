"""By which rules a month is judged, what was assumed, how the figures came about: the folded end of the page."""

from __future__ import annotations

import pandas as pd

from qckit.charts.levels import Priors
from qckit.charts.rules import rules_table
from qckit.charts.run_lengths import run_length
from qckit.reports.blocks import Html, note, sentences, table
from qckit.reports.folds import folded
from qckit.verdicts.month.false_alarms import PAGE_RATE, SHARE_WORDS, SHARES
from qckit.verdicts.month.words import unseen_sentence

__all__ = ["method", "rules", "standing"]


def rules(page) -> Html:
    """Show by which rules the verdict is given, and how the page's false-alarm rate is shared out."""
    shares = pd.DataFrame({"part": list(SHARE_WORDS.values()), "share": [100 * SHARES[k] for k in SHARE_WORDS]})
    caption = (
        f"The verdict's rules. Where nothing changed, the page says anything but in control in at most "
        f"{100 * PAGE_RATE:.0f} of 100 months; each part has a share, and within it every hatch, group, day and "
        "quantity looked at is counted. Out of control: a group of hatches or a lot changed. Signals: single hatches "
        "or the water stand out. What a person explained or set aside no longer counts."
    )
    first = table(shares, caption=caption, headings={"share": "of 100 quiet months"}, decimals={"share": 1})
    used = list(dict.fromkeys(r for c in page.study.charts.values() for r in c.rules))
    run_lengths = [
        f"{lot}: {c.run.sentence}" for (lot, q), c in page.study.charts.items() if q == "hatch_pct" and c.run
    ]
    head = {"false_alarm_pct": "chance alone, per hatch [%]"}
    caption = "Rules that mark hatches on the charts; marks are no verdict. "
    caption += f"Together, with limits that are known: {run_length(used).sentence}. " if used else ""
    if run_lengths:
        caption += f"With the limits in use, the length of their baseline allowed for: {'; '.join(run_lengths)}."
    second = folded(
        "The rules that mark hatches on the charts",
        table(rules_table(used).drop(columns="rule"), caption=caption, headings=head, decimals={"false_alarm_pct": 2}),
    )
    return Html(first.html + second.html, first.text + second.text)


def standing(page) -> Html:
    """Show the spread of each source, and what differs for good."""
    study = page.study
    if study.spreads is None:
        return note("Too few hatches to say what differs for good.")
    rows = [(d.where, d.points, d.low, d.high) for d in study.standing]
    shown = pd.DataFrame(rows, columns=["where", "points", "low", "high"])
    s = study.spreads
    middle = float(study.series["hatch_pct"].mean())
    scale = middle * (100 - middle) / 100
    sizes = "; ".join(
        f"{name} {scale * value:.1f}"
        for name, value in (
            ("cones", s.cone),
            ("people", s.operator),
            ("ways of counting", s.counted_by),
            ("days", s.day),
            ("a hatch's own luck", s.residual),
        )
        if value > 0
    )
    caption = (
        f"Standing differences: there in the baseline too, allowed for in limits and searches. Typical size: {sizes}"
    )
    caption += " points; two thirds of them are within that."
    if not len(shown):
        return note(
            f"No cone, person or way of counting differs for good. Typical size of differences: {sizes} points."
        )
    return table(shown, caption=caption, decimals={"points": 1, "low": 1, "high": 1})


def method(page) -> Html:
    """Say in sentences, folded, what was assumed, how the figures came about and how far they can be trusted."""
    lines = list(_METHOD)
    if any(name == "t90_h" for _, name in page.study.charts):
        lines.append("T90: isotonic regression of the hatched shares of a hatch followed at five times or more.")
    trust = [t for t in (unseen_sentence(page.study), _CHECKED) if t]
    parts = [
        folded("What was assumed before looking", sentences([_assumed()])),
        folded("How the figures came about", sentences(lines)),
        folded("What could have gone unseen, and how the page was checked", sentences(trust)),
    ]
    return Html("".join(p.html for p in parts), "\n".join(p.text for p in parts))


def _assumed() -> str:
    """What is taken for likely before any hatch is looked at, from the priors themselves."""
    p, size = Priors(), 100 * 0.8 * 0.2
    return (
        f"Assumed before looking (ours, weak, soon outweighed by the site's own hatches): a hatch's own luck about "
        f"{p.residual * size:.0f} points at 80 %, days {p.day_share:.1f} times that, a day like the day before by "
        f"{p.day_to_day:.1f} and at most {p.most_day_to_day:.1f}, since what lasts longer is a change; cones, people "
        f"and ways of counting {p.group_share:.1f} times the own luck apart; temperature swings by about half a degree "
        "over the year."
    )


_CHECKED = (
    "How it was checked: on invented sites made apart from this kit, each with constants of its own: of 61 months in "
    "which nothing was wrong one was called anything but in control, and all 8 planted changes were told by the end "
    "of their last month, 7 of them with the right group or water. Invented sites are no proof for yours."
)


_METHOD = (
    "One model of all hatches, on the logit scale: level of the lot, cone, person, way of counting, day, the "
    "hatch's own luck and counting. Cones, people and ways of counting vary about nothing; days remember the day "
    "before (first order autoregression). Spreads by restricted maximum likelihood with weak priors (Patterson "
    "and Thompson 1971, Biometrika 58:545-554; Chung et al. 2013, Psychometrika 78:685-709).",
    "Changes: for all hatches and each cone, person, lot and way of counting, every step and every even drift "
    "over the lots' lives is tried in that model; one is told when chance gives one as clear in fewer months than"
    " its share says (Bonferroni over all that was tried, Student's law). Bounds of its first day hold 95 % of "
    "what the data leave likely. Its size has a 95 % interval by the law of an estimate that was told only "
    "because it passed a threshold (Zhong and Prentice 2008, Biostatistics 9:621-634). Rises count as fifty times"
    " rarer than falls where both tell the same.",
    "A person, cone or way of counting that came late is compared with what such levels usually differ by.",
    "Lots: each level, changes taken out, beside the lot before it, what was to be expected of it and the "
    "minimum. Expected is what three sources tell, joined by their precision: the site's other lots over their first "
    "forty hatches, the claim less the points by which the other lots stayed under theirs (before any is known: "
    "8, give or take 7; lots stray from it by 4 points, worth eight lots), and lots as traded, of which 80 % hatch "
    "(ours). The poor-hatch report and the new lot's page expect the same.",
    "Water: limits rest on the days of the six months before (temperature: sixty days, carried on "
    "to the month's middle with and without a yearly swing, each as likely as the days make it; light on a log scale), "
    "as wide as days, own and cones together and as unsure as the number of "
    "days and how long they may remember make them. Left out is a reading far off the site's standard that lies more "
    "than 3.5 robust standard deviations from the median (median absolute deviation: Iglewicz and Hoaglin 1993, How to "
    "Detect and Handle Outliers), unless the median is far off, too. It is a signal where "
    "another within 36 hours, next in its cone or in its hatch is far off on its side or its hatch stands out (ours): "
    "alone it may be a slip of the meter or the sheet. Changes of the water are "
    "searched like those of the hatches. A reading is named beside a change when it differs by more than four "
    "standard errors and more than one standard deviation from what cones, days and season make expected.",
    "Single hatches: each beside the model fitted without it (deleted residuals: Cook and Weisberg 1982, Residuals and "
    "Influence in Regression, 2.2; one after the other: Rosner 1983, Technometrics 25:165-172), Student's law with the "
    "tails that the room shows, all of the page counted (Benjamini and Hochberg 1995, J. R. Stat. Soc. B 57:289-300). "
    "Changes are searched again without those that stand out, of this month and of earlier ones, and no limits are "
    "proposed from them; hatches of the days of a step are part of it and stay in.",
    "Charts: hatching percentage, umbrella share and opened fraction have binomial limits stretched by the spread"
    " between hatches (Laney 2002, Quality Engineering 14:531-537), which lean as such counts do and step with "
    "the numbers counted; shells per 1000 the same with Poisson and negative binomial laws; nauplii per gram on "
    "a log scale. Limits come from the first 40 hatches of a lot outside any change, or from all hatches before "
    "the month where the lot drifts, until someone freezes them, and are widened for the length of that baseline. "
    "Where its hatches share days, days are what it is long in: the limits are those of a further hatch, averaged over "
    "what days may share and remember (Hoeting et al. 1999, Statistical Science 14:382-401), it takes 40 days, and no "
    "runs are read. Whether they do, the room's other hatches say as well, of other lots and of the lot's later days, "
    "each week with a level of its own (a prior from them: Schmidli et al. 2014, Biometrics 70:1023-1032). A site's "
    "first days hardly show a long memory, nor a lot's that its days differ from those before: there up to 3 of 100 "
    "hatches are marked without a cause.",
    "Where the spread comes from: all sources random and crossed as recorded, restricted maximum likelihood, logit "
    "scale, told in points at the mean; a typical difference is one standard deviation.",
    "Expected below the minimum: normal on the logit scale, interval from the noncentral t distribution; recent "
    "hatches without those a change explains, carried along the lot's slope.",
)
