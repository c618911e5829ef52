"""What the notebook of a new lot shows: the records of its test, and one function per piece of the page."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from qckit.errors import InputError, unknown_name
from qckit.reports import lot_charts
from qckit.reports.blocks import Html, note, number, sentences, table
from qckit.reports.pictures import figure
from qckit.settings import Settings, load_settings
from qckit.tables import to_utc
from qckit.verdicts.finding import Finding
from qckit.verdicts.new_lot import NewLotEvidence, finding_of, new_lot_evidence

__all__ = [
    "LotTest",
    "ageing",
    "comparison",
    "conditions_table",
    "cone_charts",
    "load_lot_test",
    "method",
    "metrics_table",
    "mix_chart",
    "plan",
    "rate",
    "subsample_table",
    "uncertainty",
    "witnesses",
]  # fmt: skip


_PLANNED_SUBSAMPLES = 6  # of the standard test
_PLANNED_POINTS = 4.0  # half width of an interval that tells trade grades (10 points apart) from each other
_MANY_FLAGGED = 1 / 3  # from this share of flagged photos on, looking at them is something to do next


@dataclass(frozen=True)
class LotTest:
    """A lot's standard test with the reference beside it."""

    lot: str
    settings: Settings
    finding: Finding
    seen: NewLotEvidence
    lots: pd.DataFrame
    hatches: pd.DataFrame  # of the test and of the reference beside it
    cones: pd.DataFrame  # hatch.cone_metrics of these; the lot's own first
    subsamples: pd.DataFrame  # hatch.sample_metrics of these
    samples: pd.DataFrame  # as in the log, volumes filled
    photos: pd.DataFrame  # reports.checked_photos

    @property
    def is_invented(self) -> bool:
        """True where the lot's notes say that its records are invented."""
        notes = self.lots.loc[self.lots["lot"] == self.lot, "notes"].fillna("")
        return bool(notes.str.contains("invented").any())

    @property
    def own_cones(self) -> pd.DataFrame:
        """The cones of the lot itself."""
        return self.cones[self.cones["lot"] == self.lot]


def load_lot_test(site: str | Path, lot: str = "", *, out_dir: str | Path = "") -> LotTest:
    """Read a lot's standard test from a site's log, work out its metrics and judge it.

    Parameters
    ----------
    site : path
        The site folder.
    lot : str
        The lot. Empty: the one whose standard test was started last.
    out_dir : path
        Folder of the report, for the checked photos.

    Returns
    -------
    LotTest

    Raises
    ------
    InputError
        The lot is not in the log, or no lot was tested yet.
    """
    from qckit import hatch
    from qckit.log import open_log
    from qckit.reports.checked import checked_photos

    settings = load_settings(site)
    with open_log(site) as log:
        lots, hatches, readings = log.lots(), log.hatches(), log.readings()
        lot = lot or _latest(hatches)
        if lot not in set(lots["lot"]):
            raise unknown_name("lot", lot, lots["lot"], where="the site's log")
        samples = hatch.fill_volumes(log.samples(), log.photos())
        seen = new_lot_evidence(lots, hatches, samples, readings, lot=lot, settings=settings)
        tested = hatches[hatches["hatch"].isin(set(seen.conditions["hatch"]))]
        lot_of = samples["hatch"].map(tested.set_index("hatch")["lot"])
        own = samples[lot_of.notna()].assign(is_other=lot_of != lot).sort_values(["is_other", "hatch", "sample"])
        own = own.drop(columns="is_other").reset_index(drop=True)
        photos = checked_photos(log, own, out_dir=out_dir, hatches=tested)
    cones = hatch.cone_metrics(own, tested, lots, reading_h=settings.conditions.reading_h)
    return LotTest(
        lot, settings, _with_flags(finding_of(seen, settings), photos), seen, lots, tested,
        cones.sort_values("lot", key=lambda names: names != lot, kind="stable").reset_index(drop=True),
        hatch.sample_metrics(own, tested, lots), own, photos,
    )  # fmt: skip


def _with_flags(finding: Finding, photos) -> Finding:
    """Add to a finding what the flags of its photos say: counts that may be wrong make a verdict that may be wrong."""
    flagged = photos[photos["flags"] != ""]
    if not len(flagged):
        return finding
    said = flag_sentence(photos)
    step = "Look through the flagged photos and correct wrong marks, or count a few by hand, before you rely on this."
    many = len(flagged) >= _MANY_FLAGGED * len(photos)
    return replace(
        finding, cautions=[said, *finding.cautions],
        next_steps=[*finding.next_steps, step] if many else finding.next_steps,
    )  # fmt: skip


def flag_sentence(photos) -> str:
    """Say how many photos carry a flag, and which flags."""
    flags = photos["flags"].str.split(";").explode()
    counts = flags[flags != ""].value_counts()
    if not len(counts):
        return f"No photo of {len(photos)} carries a flag."
    named = ", ".join(f"{name} ({n})" for name, n in sorted(counts.items()))
    n_flagged = int((photos["flags"] != "").sum())
    return (f"{n_flagged} of {len(photos)} photos carry a flag: {named}. A flag says that a count may be wrong by more "
            "than a tenth.")  # fmt: skip


def _latest(hatches) -> str:
    tests = hatches[hatches["purpose"] == "standard test"]
    if not len(tests):
        raise InputError(
            "the site's log holds no standard test. Enter one in the field sheet of hatches, with the purpose "
            "standard test."
        )
    return tests.loc[to_utc(tests["started"]).idxmax(), "lot"]


def cone_charts(test: LotTest) -> Html:
    """Show each cone with its subsamples, for the percentage and per gram."""
    if not len(test.own_cones):
        return note("No cone of this lot's test is counted yet.")
    drawn = []
    for metric in ("hatch_pct", "hatching_efficiency_per_g"):
        estimate = getattr(test.seen.summary, metric)
        ax = lot_charts.draw_cones(
            test.subsamples, test.cones, metric=metric, interval=estimate if estimate.n_cones else None,
            references=_held_against(test, metric),
        )  # fmt: skip
        drawn.append(figure(ax, alt=lot_charts.describe_cones(test.cones, metric=metric)).html)
    return Html("".join(drawn), "cones")


def _held_against(test: LotTest, metric: str) -> list[tuple[float, str]]:
    """Return the label's claim and the site's minimum, each with its words."""
    claimed, least, form = {
        "hatch_pct": ("claimed_hatch_pct", test.settings.limits.min_hatch_pct, "{:g} %"),
        "hatching_efficiency_per_g": ("claimed_nauplii_per_g", test.settings.limits.min_nauplii_per_g, "{:,.0f}"),
    }[metric]
    claim = test.lots.loc[test.lots["lot"] == test.lot, claimed].iloc[0]
    found = [(least, f"own minimum {form.format(least)}")]
    return found + ([(claim, f"claim {form.format(claim)}")] if pd.notna(claim) else [])


def metrics_table(test: LotTest) -> Html:
    """Show every metric of the lot and of its reference: mean and SD over cones, interval."""
    summaries = [s for s in (test.seen.summary, test.seen.reference_summary) if s is not None]
    rows = []
    for summary in summaries:
        for row in summary.to_frame().itertuples():
            estimate = getattr(summary, row.metric)
            low, high = (number(v, int(row.decimals)) for v in (estimate.low, estimate.high))
            rows.append({
                "lot": summary.lot, "what": row.label, "unit": row.unit, "value": number(row.value, int(row.decimals)),
                "interval": f"{low} to {high}" if estimate.is_known else "not known",
                "SD over cones": number(row.sd, int(row.decimals)), "cones": row.n_cones,
            })  # fmt: skip
    return table(
        pd.DataFrame(rows), caption=f"Interval: {100 * test.settings.limits.confidence:g} %, with cones as replicates.",
        right=("value", "interval", "SD over cones"),
    )  # fmt: skip


def mix_chart(test: LotTest) -> Html:
    """Show the stage mix of each cone."""
    if not len(test.cones):
        return note("Nothing is counted yet.")
    return figure(lot_charts.draw_stage_mix(test.cones), alt=lot_charts.describe_mix(test.cones),
                  caption="Numbers in the bars are percent of the objects counted in that cone.")  # fmt: skip


def witnesses(test: LotTest) -> Html:
    """Show nauplii against empty shells, and what their agreement says."""
    if not len(test.subsamples):
        return note("Nothing is counted yet.")
    drawn = figure(lot_charts.draw_witnesses(test.subsamples), alt=lot_charts.describe_witnesses(test.subsamples))
    return Html(drawn.html + note(test.seen.summary.witnesses.sentence).html, test.seen.summary.witnesses.sentence)


def comparison(test: LotTest) -> Html:
    """Show how the lot does against its claim and beside the reference lot."""
    seen = test.seen
    said = [c.sentence for c in (*seen.claims, *seen.comparisons)]
    if not seen.comparisons:
        said.append("No counted reference lot stands beside this test.")
    return sentences(said)


def rate(test: LotTest) -> Html:
    """Show how fast the lot hatches, where its test was sampled over time."""
    from qckit import draw, hatch

    found = test.seen.rate
    if found is None or found.best is None:
        return note("No cone of this test was sampled at four hours or more, so rate and synchrony are not known.")
    with draw.style():
        drawn = hatch.draw_rate(found)
    times = table(found.times, caption="Hours from wetting.", decimals=1)
    words = "Share hatched over the hours from wetting. Times are in the table below."
    return Html(figure(drawn, alt=words).html + times.html + sentences(found.notes, empty="").html, words)


def uncertainty(test: LotTest) -> Html:
    """Show where the uncertainty of nauplii per gram comes from."""
    from qckit import draw, hatch

    budget = test.seen.budget
    if budget is None:
        return note("The uncertainty of nauplii per gram cannot be taken apart without counted cones.")
    with draw.style():
        drawn = hatch.draw_budget(budget)
    return figure(drawn, alt=f"Parts of the uncertainty, largest first. {budget.sentence}", caption=budget.sentence)


def plan(test: LotTest) -> Html:
    """Show how surely tests of two, three and six cones tell a good lot from a poor one in this room."""
    from qckit import draw, hatch

    least, spread = test.settings.limits.min_hatch_pct, test.seen.spread
    curves = {
        f"{k} cones": hatch.operating_curve(k, _PLANNED_SUBSAMPLES, min_hatch_pct=least, spread=spread)
        for k in (2, 3, 6)
    }
    with draw.style():
        drawn = hatch.draw_operating_curve(curves, min_hatch_pct=least)
    said = hatch.plan_for_precision(_PLANNED_POINTS, spread=spread).sentence
    words = f"Chance that a test passes, over the lot's true hatching percentage, for a minimum of {least:g} %."
    return Html(figure(drawn, alt=words, caption=words).html + note(said).html, said)


def ageing(test: LotTest) -> Html:
    """Show the trend over the lot's tests, where there are enough of them."""
    from qckit import draw, hatch

    trend = test.seen.ageing
    if trend is None:
        return note("A trend with age needs three tests of this lot or more; this one has fewer.")
    with draw.style():
        drawn = hatch.draw_ageing(trend)
    words = f"{trend.slope_per_month:+.1f} {trend.slope_unit} a month over {trend.n_tests} tests."
    return figure(drawn, alt=words, caption=words)


def conditions_table(test: LotTest) -> Html:
    """Show the measured conditions of each cone beside the standard, and in words what departs from it."""
    seen = test.seen.conditions
    if not len(seen):
        return note("No cone of this lot's test is in the log.")
    marks = {"ok": "", "off": " \u25a0 outside", "doubtful": " \u25b2 doubtful", "unknown": "not measured"}
    aeration = test.hatches.set_index("hatch")["aeration"]
    cells = [
        _measured(aeration.get(row.hatch) if row.quantity == "aeration" else row.value, row.unit)
        + marks.get(row.status, "")
        for row in seen.itertuples()
    ]
    shown = seen.assign(cell=[cell.strip() for cell in cells], cone=seen["lot"] + " " + seen["cone"])
    wide = shown.pivot_table(index=["quantity", "standard"], columns="cone", values="cell", aggfunc="first", sort=False)
    departs = seen[seen["status"].isin(["off", "doubtful"])]
    words = [f"Lot {d.lot}, cone {d.cone}: {d.sentence}" for d in departs.itertuples()]
    shown = table(wide.reset_index(), caption="A column per cone; \u25a0 outside the standard, \u25b2 doubtful.")
    return Html(shown.html + sentences(words, empty="Every cone was within the standard, as far as measured.").html)


def _measured(value, unit) -> str:
    if isinstance(value, str):
        return value
    if value is None or value != value:
        return ""
    return f"{float(value):.4g} {unit if isinstance(unit, str) and unit != 'pH' else ''}".strip()


def method(test: LotTest) -> Html:
    """Say by which rules the verdict came about, and with which methods the intervals."""
    rules = [f"{r['verdict'].replace('-', ' ')}: {r['text']}" for r in test.finding.details.get("rules", [])]
    used = sorted({f"{row.label}: {row.method}" for row in test.seen.summary.to_frame().itertuples() if row.method})
    counted = test.samples[["counted_by", "counter"]].fillna("not named").drop_duplicates().sort_values("counter")
    counters = [f"{row.counted_by} ({row.counter})" for row in counted.itertuples()]
    return Html(
        "<p>The verdict is the first of these rules that holds:</p>" + sentences(rules, ordered=True).html
        + "<p>Intervals:</p>" + sentences(used).html
        + sentences([f"Counted by: {', '.join(counters)}." if counters else "Nothing is counted yet.",
                     *_together(test.seen.summary.notes)]).html,
        "rules and methods",
    )  # fmt: skip


def _together(notes) -> list[str]:
    """Say a note that several cones share once, with all their names."""
    cones: dict[str, list[str]] = {}
    for text in notes:
        cone, colon, rest = text.partition(": ")
        is_cone = bool(colon) and cone.startswith("Cone ")
        cones.setdefault(rest if is_cone else text, []).extend([cone.removeprefix("Cone ")] if is_cone else [])
    return [
        f"Cone{'s' if len(who) > 1 else ''} {', '.join(who)}: {text}" if who else text for text, who in cones.items()
    ]


def subsample_table(test: LotTest) -> Html:
    """Show one row per subsample as counted."""
    columns = ["sample", "lot", "cone", "hours", "nauplii", "umbrella", "unhatched", "shells", "counted_ul",
               "factor_per_g", "hatch_pct", "hatching_efficiency_per_g"]  # fmt: skip
    return table(
        test.subsamples[columns], caption="unhatched: embryos after decapsulation, otherwise unhatched cysts.",
        headings={"counted_ul": "counted [µl]", "hours": "hours [h]", "factor_per_g": "count × this = per gram",
                  "hatch_pct": "hatched [%]", "hatching_efficiency_per_g": "nauplii per gram"},
        decimals={"hours": 1, "counted_ul": 1, "factor_per_g": 0, "hatch_pct": 1, "hatching_efficiency_per_g": 0,
                  "nauplii": 0, "umbrella": 0, "unhatched": 0, "shells": 0}, limit=400,
    )  # fmt: skip
