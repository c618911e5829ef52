"""What the notebook of a poor hatch shows: one loader, and one function per piece of the page."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from qckit.agreement import load_tables
from qckit.log.typed import moment_of
from qckit.progress import working
from qckit.quantities import QUANTITIES
from qckit.reports.accuracy import certificates_of, cite_certificates
from qckit.reports.blocks import Html, note, sentences, table
from qckit.reports.checked import checked_photos
from qckit.reports.folds import folded
from qckit.reports.pictures import figure, thumbnails
from qckit.reports.poor_report import nauplius_objects
from qckit.reports.sites import poorest_hatch
from qckit.site_tables import SiteTables
from qckit.verdicts.finding import Finding
from qckit.verdicts.lots.usual import counted_hatches
from qckit.verdicts.poor_hatch import charts
from qckit.verdicts.poor_hatch.conditions.factors import amount
from qckit.verdicts.poor_hatch.verdict import explain_hatch
from qckit.words import spaced

__all__ = [
    "PoorPage",
    "accuracy",
    "assumed",
    "causes",
    "causes_chart",
    "checks",
    "conditions",
    "context",
    "count",
    "effects",
    "factors",
    "history",
    "lengths",
    "limits",
    "load_poor_hatch",
    "mix",
    "photos",
    "readings",
    "readings_chart",
    "recount",
    "rest",
    "same_day",
    "sheet",
    "sources",
    "subsamples",
    "traces",
]

_SUBSAMPLE = (
    "sample",
    "taken",
    "hours",
    "kind",
    "nauplii",
    "umbrella",
    "cysts",
    "embryos",
    "shells",
    "counted_by",
    "counter",
    "photos",
)


@dataclass(frozen=True)
class PoorPage:
    """A hatch explained, with what the page needs beside it."""

    finding: Finding
    tables: SiteTables
    counts: pd.DataFrame
    hatch: str
    checked: list
    certificates: list
    out_dir: str
    is_invented: bool


@working("Explaining the hatch")
def load_poor_hatch(site: str | Path, hatch: str = "", *, out_dir: str | Path = "", now: str = "") -> PoorPage:
    """Read a site's log and explain a hatch.

    Parameters
    ----------
    site : path
        The site folder.
    hatch : str
        The hatch; empty: the poorest of the newest week.
    out_dir : path
        Folder of the report.
    now : str
        Time of the report: the day of its dose. Empty: the clock.

    Returns
    -------
    PoorPage
    """
    from qckit.log import open_log

    with open_log(site) as log:
        t = load_tables(log)
        now = moment_of(now, t.settings)
        hatch = hatch or poorest_hatch(t.hatches, t.samples)
        of_hatch = t.samples[t.samples["hatch"] == hatch]
        objects = nauplius_objects(log, hatch)
        checked = checked_photos(log, of_hatch, out_dir=out_dir)
        certificates = certificates_of(log, of_hatch, now=now)
    finding = explain_hatch(t, hatch=hatch, objects=objects, now=now)
    counts = counted_hatches(t.samples, t.hatches, t.lots, photos=t.photos, reading_h=t.settings.conditions.reading_h)
    is_invented = "invented" in str(t.lots["notes"].tolist())
    return PoorPage(
        finding=finding,
        tables=t,
        counts=counts,
        hatch=hatch,
        checked=checked,
        certificates=certificates,
        out_dir=str(out_dir),
        is_invented=is_invented,
    )


def history(page: PoorPage) -> Html:
    """Show the lot's hatches in order."""
    band = page.finding.details["usual_range_pct"]
    drawn = charts.draw_history(charts.history_frame(page.counts, page.finding), low=band["low"], high=band["high"])
    return figure(drawn, alt=page.finding.details["alt"]["history"], is_newest_last=True)


def same_day(page: PoorPage) -> Html:
    """Show the other hatches of the day."""
    return table(
        pd.DataFrame(page.finding.details["same_day"]),
        caption="Other hatches of the same day",
        decimals=0,
        headings={
            "hatch_pct": "hatching percentage [%]",
            "usual_pct": "usual for its lot [%]",
            "hatching_efficiency_per_g": "nauplii per gram",
        },
    )


def count(page: PoorPage) -> Html:
    """Show each way in which a count goes wrong."""
    headings = {
        "check": "could it be",
        "seen": "what was seen",
        "result": "so",
        "beyond_pct": "would have been seen from [%]",
    }
    return table(charts.count_table(page.finding), headings=headings, decimals=0)


def recount(page: PoorPage) -> Html:
    """Say what to look at again."""
    return sentences(page.finding.details["recount"] or ["Nothing to look at again."])


def photos(page: PoorPage) -> Html:
    """Show the photos behind the counts."""
    caption = "The photos behind this hatch's counts; each opens larger"
    return thumbnails(page.checked, out_dir=page.out_dir, caption=caption)


def mix(page: PoorPage) -> Html:
    """Show the stage mix beside the usual one."""
    return figure(charts.draw_mix(charts.mix_frame(page.finding)), alt=page.finding.details["alt"]["mix"])


def traces(page: PoorPage) -> Html:
    """Show how well each trace alone fits."""
    return table(charts.traces_table(page.finding), headings={"trace": "trace", "share_pct": "fits [%]"}, decimals=0)


def lengths(page: PoorPage) -> Html:
    """Say what the lengths of the nauplii tell."""
    return sentences([charts.lengths_sentence(page.finding)])


def factors(page: PoorPage) -> Html:
    """Show all that was different, ranked."""
    return table(
        charts.factors_table(page.finding),
        decimals={"unusual": 1, "points": 0},
        headings={
            "unusual": "distance from usual (3 or more is rare)",
            "points": "should change hatching by [points]",
            "basis": "known from",
        },
    )


def readings_chart(page: PoorPage) -> Html:
    """Draw the readings of the most telling quantity."""
    if not (page.tables.readings["hatch"] == page.hatch).any():
        return note("No reading was taken during this hatch.")
    drawn = charts.draw_readings(page.tables.readings, page.finding, started=page.finding.details["started"])
    return figure(drawn, alt=page.finding.details["alt"]["readings"])


def conditions(page: PoorPage) -> Html:
    """Show each condition during the hatch."""
    differences = charts.differences_table(page.finding)
    # each row has a unit of its own, and decimals that go with it; with few other hatches a standard stands for usual
    measured = list(differences.columns.intersection(["low", "high", "usual", "that is"]))
    shown = {
        c: ["" if v != v else amount(v, u) for v, u in zip(differences[c], differences["unit"], strict=True)]
        for c in measured
    }
    return table(
        differences.assign(**shown),
        caption="Conditions during this hatch",
        decimals={"unusual": 1} | dict.fromkeys(_WHOLE, 0),
        right=measured,
        headings={
            "low": "lowest",
            "high": "highest",
            "h_outside": "hours off standard",
            "h_read": "of hours read",
            "unusual": "distance from usual (3 or more is rare)",
            "literature_loss_pct": "loss by the literature [%]",
            "expected_loss_pct": "loss, own hatches too [%]",
        },
    )


_WHOLE = ("h_outside", "h_read", "literature_loss_pct", "expected_loss_pct")


def sheet(page: PoorPage) -> Html:
    """Say which words of the sheet were weighed, and for what."""
    words = {row["code"]: row["cause"] for row in page.finding.details["sources"]}
    lines = [
        f"The {'sheet' if s['where'] == 'hatch' else 'lot'} says \u201c{s['words']}\u201d: weighed for \u201c"
        f"{words[s['cause']]}\u201d, {s['factor']:.0f} to 1."
        for s in page.finding.details["sheet_says"]
    ]
    return sentences(lines or ["No words on the sheet that speak for a cause."])


def effects(page: PoorPage) -> Html:
    """Show what each condition has been worth at this site."""
    shown = table(
        charts.effects_table(page.finding),
        decimals={"slope": 3, "se": 3, "shrunk_slope": 3, "lowest": 2, "highest": 2, "n_hatches": 0},
        headings={
            "slope": "change of log odds",
            "se": "its standard error",
            "shrunk_slope": "drawn to the literature",
            "lowest": "from",
            "highest": "to",
            "n_hatches": "hatches",
        },
    )
    return folded("What each condition has been worth at this site (binomial regression with overdispersion)", shown)


def context(page: PoorPage) -> Html:
    """Say what stood around the hatch."""
    return sentences(charts.context_sentences(page.finding))


def causes_chart(page: PoorPage) -> Html:
    """Draw the candidate causes."""
    drawn = charts.draw_causes(charts.causes_table(page.finding))
    return figure(drawn, alt=page.finding.details["alt"]["causes"])


def causes(page: PoorPage) -> Html:
    """Show what speaks for and against each cause."""
    rows = charts.causes_table(page.finding)
    return table(
        rows.assign(probability_pct=[charts.probability_words(v) for v in rows["probability_pct"]]),
        headings={"probability_pct": "probability", "speaks_for": "speaks for", "speaks_against": "speaks against"},
    )


def rest(page: PoorPage) -> Html:
    """Say what the list of causes leaves."""
    return sentences(charts.rest_sentences(page.finding))


def checks(page: PoorPage) -> Html:
    """Show the checks that would settle it, and what each answer would do."""
    return table(
        charts.checks_table(page.finding),
        decimals=1,
        headings={"if_yes": "a yes means", "if_no": "a no means", "hours": "takes [h]"},
    )


def assumed(page: PoorPage) -> Html:
    """Show what was assumed before looking."""
    shown = table(charts.assumed_table(page.finding), decimals=1, headings={"share_pct": "share [%]"})
    return folded("What was assumed before looking", shown)


def limits(page: PoorPage) -> Html:
    """Say what "ruled out" could have missed, what these counts cannot show, and how the page was checked."""
    missed = folded(
        'What "ruled out" could have missed, and what these counts cannot tell apart',
        sentences(page.finding.details["limits"]),
    )
    columns = ["stated [%]", "causes", "mean stated [%]", "true [%]"]
    rows = table(pd.DataFrame(_CHECKED, columns=columns), decimals={"causes": 0, columns[2]: 0, columns[3]: 0})
    checked = folded("How it was checked, and on what", sentences(_CHECKED_ON), rows)
    return Html(missed.html + checked.html, "\n".join([missed.text, checked.text]))


# tests/benchmarks/POOR_HATCH.md, "What is stated, by how a cause is known"
_CHECKED = (
    ("below 20", 8113, 3.9, 3.8),
    ("20 to 40", 697, 27.9, 29.9),
    ("40 to 60", 247, 49.4, 48.6),
    ("60 to 80", 123, 70.4, 66.7),
    ("above 80", 990, 97.2, 97.5),
)
_CHECKED_ON = (
    "On 1700 invented rooms that differ in everything: where heat, acid, weak air, salt and dark stop an embryo and "
    "as what, lots, water, counting and words; half of the causes could be read off the record. The table says how "
    "often a cause that was listed with a probability was at work. The curve that turns weights into what is stated "
    "was fitted to 1300 of these rooms and held on the other 400.",
    "One cause was planted in most of them, none in 13 of 100: where less goes wrong, causes are rarer than stated.",
    "Of causes that the record shows 94 in 100 came first, of those that it does not show 57.",
    "Invented rooms are no proof for yours.",
)


def accuracy(page: PoorPage) -> Html:
    """Cite how well the kit counts these photos."""
    return cite_certificates(page.certificates, whose="this hatch")


def sources(page: PoorPage) -> Html:
    """Show every cause that was weighed and where it is described."""
    shown = table(charts.sources_table(page.finding), headings={"sign": "what it does"})
    return folded("Every cause that was weighed, its trace, and where it is described", shown)


def subsamples(page: PoorPage) -> Html:
    """Show the subsamples of the hatch, as counted."""
    samples = page.tables.samples_as_counted
    return table(samples.loc[samples["hatch"] == page.hatch, list(_SUBSAMPLE)])


def readings(page: PoorPage) -> Html:
    """Show the readings during the hatch."""
    logged = page.tables.readings
    mine = logged[logged["hatch"] == page.hatch]
    names = {name: quantity.label for name, quantity in QUANTITIES.items()}
    shown = mine.assign(quantity=mine["quantity"].replace(names), value=[spaced(v, ".10g") for v in mine["value"]])
    return table(shown, caption="Readings during this hatch, as entered", right=["value"])
