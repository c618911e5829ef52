"""What the notebook of a new lot shows: the records of its test, and one function per piece of the page."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from qckit.errors import InputError, unknown_name
from qckit.progress import working
from qckit.reports import blocks, lot_charts
from qckit.reports.blocks import Html, note, sentences, table
from qckit.reports.pictures import figure, figures
from qckit.settings import Settings, load_settings
from qckit.site_tables import SiteTables
from qckit.tables import to_utc
from qckit.verdicts.finding import Finding
from qckit.verdicts.new_lot.rules import round_3
from qckit.verdicts.new_lot.verdict import NewLotEvidence, finding_of, new_lot_evidence
from qckit.words import number

__all__ = [
    "LotTest",
    "conditions_table",
    "cone_charts",
    "evidence",
    "half_page",
    "load_lot_test",
    "lot_certificate",
    "method",
    "metrics_table",
    "rounded",
    "stages",
    "subsample_table",
    "two_panels",
]


_SHOWN_BELOW = ("How fast", "What makes nauplii per gram", "Does the lot age", "Does the lot in use")
_MANY_FLAGGED = 1 / 3  # from this share of flagged photos on, looking at them is something to do next


@dataclass(frozen=True)
class LotTest:
    """A lot's standard test with the reference beside it."""

    lot: str
    settings: Settings
    finding: Finding
    evidence: NewLotEvidence
    lots: pd.DataFrame
    hatches: pd.DataFrame  # of the test and of the reference beside it
    cones: pd.DataFrame  # hatch.cone_metrics of these; the lot's own first
    subsamples: pd.DataFrame  # hatch.sample_metrics of these
    samples: pd.DataFrame  # as in the log, volumes filled
    counted: pd.DataFrame  # hatch.sample_metrics as counted, before any correction
    harvests: pd.DataFrame  # samples of the lot's hatches, sieve samples among them
    mixing: float  # how much more than chance subsamples of one cone differ, over the whole site's records
    photos: pd.DataFrame  # reports.checked_photos

    @property
    def is_invented(self) -> bool:
        """True where the lot's notes say that its records are invented."""
        notes = self.lots.loc[self.lots["lot"] == self.lot, "notes"].fillna("")
        return bool(notes.str.contains("invented").any())

    @property
    def tested_cones(self) -> pd.DataFrame:
        """The cones of the lot itself."""
        return self.cones[self.cones["lot"] == self.lot]


@working("Judging the lot")
def load_lot_test(site: str | Path, lot: str = "", *, out_dir: str | Path | None = "", now: str = "") -> LotTest:
    """Read a lot's standard test from a site's log, work out its metrics and judge it.

    Parameters
    ----------
    site : path
        The site folder.
    lot : str
        The lot. Empty: the one whose standard test was started last.
    out_dir : path
        Folder of the report, for the checked photos. None: no photo is drawn.
    now : str
        Time of the report: the day of the dose. Empty: the day of the newest hatch.

    Returns
    -------
    LotTest

    Raises
    ------
    InputError
        The lot is not in the log, or no lot was tested yet.
    """
    from qckit import hatch
    from qckit.agreement import correct_photo_counts
    from qckit.log import open_log
    from qckit.reports.checked import checked_photos

    settings = load_settings(site)
    with open_log(site) as log:
        tables = correct_photo_counts(SiteTables.load(log))
        lots, hatches = tables.lots, tables.hatches
        samples = hatch.fill_volumes(tables.samples, tables.photos)
        lot = lot or _latest(hatches)
        if lot not in set(lots["lot"]):
            raise unknown_name("lot", lot, lots["lot"], where="the site's log")
        mine = set(hatches.loc[hatches["lot"] == lot, "hatch"])
        use = lot_certificate(tables, lot)
        by_hand = set(tables.hand_checked["sample"])
        evidence = new_lot_evidence(tables, lot=lot, certificate=use, by_hand=by_hand, now=now)
        tested = hatches[hatches["hatch"].isin(set(evidence.conditions["hatch"]))]
        in_log, right = (_in_order(frame, tested, lot) for frame in (samples, evidence.samples))
        photos = checked_photos(log, in_log, out_dir=out_dir, hatches=tested)
    cones = hatch.cone_metrics(right, tested, lots, reading_h=settings.conditions.reading_h)
    return LotTest(
        lot=lot,
        settings=settings,
        finding=_with_flags(finding_of(evidence, settings), photos),
        evidence=evidence,
        lots=lots,
        hatches=tested,
        cones=cones.sort_values("lot", key=lambda names: names != lot, kind="stable").reset_index(drop=True),
        subsamples=hatch.sample_metrics(right, tested, lots),
        samples=in_log,
        counted=hatch.sample_metrics(in_log, tested, lots),
        harvests=samples[samples["hatch"].isin(mine)],
        mixing=hatch.subsample_dispersion(hatch.sample_metrics(samples, hatches, lots)),
        photos=photos,
    )


def _in_order(samples, tested, lot):
    """Samples of the tested hatches, the lot's own first."""
    lot_of = samples["hatch"].map(tested.set_index("hatch")["lot"])
    tested_samples = samples[lot_of.notna()].assign(is_other=lot_of != lot).sort_values(["is_other", "hatch", "sample"])
    return tested_samples.drop(columns="is_other").reset_index(drop=True)


def lot_certificate(tables, lot):
    """Find the certificate that speaks for the photos of a lot's test on the day of the test.

    Parameters
    ----------
    tables : site_tables.SiteTables
    lot : str

    Returns
    -------
    agreement.CertificateUse
    """
    from qckit.agreement import latest_certificate

    hatches, samples = tables.hatches, tables.samples
    tests = hatches[hatches["purpose"].isin(["standard test", "reference"])]
    last = tests.loc[tests["lot"] == lot, "started"]
    names = samples.loc[samples["hatch"].isin(set(tests["hatch"])) & (samples["counted_by"] == "photo"), "sample"]
    photos = tables.photos[tables.photos["sample"].isin(set(names))]
    day = str(last.max()) if len(last) else "1970-01-01"
    return latest_certificate(tables.certificates, now=day, photos=photos, scales=tables.scales)


def _with_flags(finding: Finding, photos) -> Finding:
    """Add to a finding what the flags of its photos say: counts that may be wrong make a verdict that may be wrong."""
    flagged = photos[photos["flags"] != ""]
    if not len(flagged):
        return finding
    sentence = flag_sentence(photos)
    step = "Look through the flagged photos and correct wrong marks, or count a few by hand, before you rely on this."
    many = len(flagged) >= _MANY_FLAGGED * len(photos)
    return replace(
        finding,
        cautions=[sentence, *finding.cautions],
        next_steps=[*finding.next_steps, step] if many else finding.next_steps,
    )


def flag_sentence(photos) -> str:
    """Say how many photos carry a flag, and which flags."""
    flags = photos["flags"].str.split(";").explode()
    counts = flags[flags != ""].value_counts()
    if not len(counts):
        return f"No photo of {len(photos)} carries a flag."
    named = ", ".join(f"{name} ({n})" for name, n in sorted(counts.items()))
    n_flagged = int((photos["flags"] != "").sum())
    return (
        f"{n_flagged} of {len(photos)} photos carry a flag: {named}. A flag says that a count may be wrong by more "
        "than a tenth."
    )


def _latest(hatches) -> str:
    tests = hatches[hatches["purpose"] == "standard test"]
    if not len(tests):
        raise InputError(
            "the site's log holds no standard test. Enter one in the field sheet of hatches, with the purpose "
            "standard test."
        )
    return tests.loc[to_utc(tests["started"]).idxmax(), "lot"]


def evidence(test: LotTest) -> Html:
    """Show the lines of reasoning, without those that a section of the page shows in full."""
    shown = [e for e in test.finding.evidence if not e.question.startswith(_SHOWN_BELOW)]
    return blocks.evidence(replace(test.finding, evidence=shown))


def cone_charts(test: LotTest) -> Html:
    """Show each cone with its subsamples, for the percentage and per gram."""
    if not len(test.tested_cones):
        return note("No cone of this lot's test is counted yet.")
    metrics, axes = ("hatch_pct", "hatching_efficiency_per_g"), two_panels(1.35 + 0.36 * len(test.cones))
    for metric, ax in zip(metrics, axes):
        estimate = getattr(test.evidence.summary, metric)
        lot_charts.draw_cones(
            test.subsamples,
            test.cones,
            metric=metric,
            interval=estimate if estimate.n_cones else None,
            references=_thresholds(test, metric),
            ax=ax,
        )
    axes[1].tick_params(axis="y", labelleft=False, length=0)
    axes[1].get_legend().remove()
    return figure(axes[0], alt=" ".join(lot_charts.describe_cones(test.cones, metric=m) for m in metrics))


def two_panels(height):
    """Two Axes of one figure, on the same lines of names."""
    import matplotlib.pyplot as plt

    from qckit import draw

    with draw.style():
        return plt.subplots(1, 2, sharey=True, layout="constrained", figsize=(8.4, height))[1]


def half_page(height):
    """Axes of which two stand side by side, on A4 too."""
    from qckit import draw

    with draw.style():
        return draw.new_axes(figsize=(4.3, height))


def _thresholds(test: LotTest, metric: str) -> list[tuple[float, str]]:
    """Return the label's claim and the site's minimum, each with its words."""
    claimed, least, form = {
        "hatch_pct": ("claimed_hatch_pct", test.settings.limits.min_hatch_pct, "{:g} %"),
        "hatching_efficiency_per_g": ("claimed_nauplii_per_g", test.settings.limits.min_nauplii_per_g, "{:,.0f}"),
    }[metric]
    claim = test.lots.loc[test.lots["lot"] == test.lot, claimed].iloc[0]
    found = [(least, f"own minimum {form.format(least)}")]
    return found + ([(claim, f"claim {form.format(claim)}")] if pd.notna(claim) else [])


def metrics_table(test: LotTest) -> Html:
    """Show every metric of the lot and of its reference side by side: mean over cones, interval, SD."""
    summaries = [s for s in (test.evidence.summary, test.evidence.reference_summary) if s is not None]
    rows: dict[str, dict] = {}
    for summary in summaries:
        for row in summary.to_frame().itertuples():
            estimate, places = getattr(summary, row.metric), int(row.decimals)
            value, low, high, sd = (rounded(v, places) for v in (row.value, estimate.low, estimate.high, row.sd))
            line = rows.setdefault(row.metric, {"what": row.label, "unit": row.unit})
            cones = f"{summary.n_cones} cone{'s' if summary.n_cones != 1 else ''}"
            line[f"{summary.lot}, {cones}"] = value
            line[f"{summary.lot} interval"] = f"{low} to {high}" if estimate.is_known else "not known"
            line[f"{summary.lot} SD"] = sd
    frame = pd.DataFrame(list(rows.values()))
    careful = any(getattr(s, name).is_lucky for s in summaries for name in rows)
    more = (
        (
            " Where few cones agree more closely than counting lets them, verdict and dose keep to the wider bounds of "
            "counting."
        )
        if careful
        else ""
    )
    return table(
        frame,
        caption=f"Mean over cones, {100 * test.settings.limits.confidence:g} % interval (cones as replicates), "
        f"SD over cones.{more}",
        right=frame.columns[2:],
    )


def rounded(value, places):
    """Three significant figures for large numbers: more would pretend to a precision no test has."""
    large = value == value and abs(value) >= 1000
    return number(round_3(value) if large else value, places)


def stages(test: LotTest) -> Html:
    """Show the stage mix of each cone, and nauplii against empty shells with what their agreement says."""
    if not len(test.cones) or not len(test.subsamples):
        return note("Nothing is counted yet.")
    mix = lot_charts.draw_stage_mix(test.cones, ax=half_page(1.35 + 0.36 * len(test.cones)))
    both = lot_charts.draw_witnesses(test.subsamples, ax=half_page(2.8))
    drawn = figures(
        [
            (mix, lot_charts.describe_mix(test.cones), "Numbers in the bars: percent of what was counted."),
            (both, lot_charts.describe_witnesses(test.subsamples), ""),
        ]
    )
    sentence = test.evidence.summary.witnesses.sentence
    return Html(drawn.html + note(sentence).html, sentence)


def conditions_table(test: LotTest) -> Html:
    """Show the measured conditions of each cone beside the standard, and in words what departs from it."""
    conditions = test.evidence.conditions
    if not len(conditions):
        return note("No cone of this lot's test is in the log.")
    marks = {"ok": "", "off": " \u25a0 outside", "doubtful": " \u25b2 doubtful", "unknown": "not measured"}
    aeration = test.hatches.set_index("hatch")["aeration"]
    cells = [
        _measured(aeration.get(row.hatch) if row.quantity == "aeration" else row.value, row.unit)
        + marks.get(row.status, "")
        for row in conditions.itertuples()
    ]
    conditions = conditions.assign(quantity=conditions["quantity"].replace("ph", "pH"))
    shown = conditions.assign(cell=[cell.strip() for cell in cells], cone=conditions["lot"] + " " + conditions["cone"])
    wide = shown.pivot_table(index=["quantity", "standard"], columns="cone", values="cell", aggfunc="first", sort=False)
    departs = conditions[conditions["status"].isin(["off", "doubtful"])]
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
    by_method: dict[str, list[str]] = {}
    for row in test.evidence.summary.to_frame().itertuples():
        if row.method:
            by_method.setdefault(row.method, []).append(row.label)
    used = [f"{', '.join(labels)}: {how}." for how, labels in by_method.items()]
    counted = test.samples[["counted_by", "counter"]].fillna("not named").drop_duplicates().sort_values("counter")
    counters = [f"{row.counted_by} ({row.counter})" for row in counted.itertuples()]
    return Html(
        "<p>The verdict is the first of these rules that holds:</p>"
        + sentences(rules, ordered=True).html
        + "<p>Intervals:</p>"
        + sentences(used).html
        + sentences(
            [
                f"Counted by: {', '.join(counters)}." if counters else "Nothing is counted yet.",
                *_together(test.evidence.summary.notes),
            ]
        ).html,
        "rules and methods",
    )


def _together(notes) -> list[str]:
    """Say a note that several cones share once, with all their names."""
    from dataclasses import replace

    cones: dict[str, list[str]] = {}
    for one in notes:
        cones.setdefault(str(replace(one, cone="")), []).extend([one.cone] if one.cone else [])
    return [
        f"Cone{'s' if len(who) > 1 else ''} {', '.join(who)}: {text}" if who else text for text, who in cones.items()
    ]


def subsample_table(test: LotTest) -> Html:
    """Show one row per subsample as counted."""
    columns = [
        "sample",
        "lot",
        "cone",
        "hours",
        "nauplii",
        "umbrella",
        "unhatched",
        "shells",
        "counted_ul",
        "factor_per_g",
        "hatch_pct",
        "hatching_efficiency_per_g",
    ]
    return table(
        test.counted[columns],
        caption="As counted, before any correction. unhatched: embryos after decapsulation, otherwise unhatched cysts.",
        headings={
            "counted_ul": "counted [µl]",
            "hours": "hours [h]",
            "factor_per_g": "count × this = per gram",
            "hatch_pct": "hatched [%]",
            "hatching_efficiency_per_g": "nauplii per gram",
        },
        decimals={
            "hours": 1,
            "counted_ul": 1,
            "factor_per_g": 0,
            "hatch_pct": 1,
            "hatching_efficiency_per_g": 0,
            "nauplii": 0,
            "umbrella": 0,
            "unhatched": 0,
            "shells": 0,
        },
        limit=400,
    )
