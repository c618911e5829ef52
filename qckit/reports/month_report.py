"""What the notebook of the monthly review shows: the month's study, and one function per piece of the page."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from qckit import draw, hatch
from qckit.agreement import load_tables
from qckit.charts.calendar import calendar_days, draw_calendar
from qckit.charts.control_chart import draw_control_chart
from qckit.charts.series import CHARTED
from qckit.charts.variance import hatch_components
from qckit.errors import InputError
from qckit.hatch.dose.weighing import decimals_of
from qckit.log.typed import moment_of
from qckit.progress import working
from qckit.reports.accuracy import certificates_of, cite_certificates
from qckit.reports.blocks import Html, note, table
from qckit.reports.folds import folded
from qckit.reports.month_method import method, rules, standing
from qckit.reports.month_other import by_cone, by_operator, other_charts
from qckit.reports.month_records import record_changes
from qckit.reports.pictures import figure, figures
from qckit.settings import Settings
from qckit.tables import to_utc
from qckit.verdicts.finding import Finding
from qckit.verdicts.month.study import MonthStudy, study_month
from qckit.verdicts.month.tables import baseline_table, comparison_table, lots_table, raw_table, signal_table
from qckit.verdicts.month.verdict import finding_of_month
from qckit.verdicts.month.words import far_off_of
from qckit.words import capital, number, plural

__all__ = [
    "MonthPage",
    "accuracy",
    "aside",
    "baselines",
    "by_cone",
    "by_operator",
    "calendar",
    "comparison",
    "condition_charts",
    "hatch_charts",
    "load_month",
    "lots",
    "method",
    "metric_charts",
    "other_charts",
    "quality",
    "raw",
    "rules",
    "signals",
    "spread",
    "standing",
]

_DAYS_SHOWN = 90  # before the month, in charts other than the hatching percentage


@dataclass(frozen=True, kw_only=True)
class MonthPage:
    """A month's study with what the page needs beside it."""

    study: MonthStudy
    finding: Finding
    settings: Settings
    subsamples: pd.DataFrame
    photos: pd.DataFrame
    is_invented: bool
    today: dt.date  # day of the review by the site's clock
    certificates: list  # agreement.CertificateUse of the cameras that took the month's photos


@working("Reviewing the month")
def load_month(
    site: str | Path,
    month: str = "",
    lot: str = "",
    *,
    out_dir: str | Path = "",
    is_proposed: bool = False,
    now: str = "",
) -> MonthPage:
    """Read a month from a site's log and review it.

    Parameters
    ----------
    site : path
        The site folder.
    month : str
        ``YYYY-MM``; empty: the month of the latest production hatch.
    lot : str
        One lot; empty: all lots.
    out_dir : path
        Folder of the report.
    is_proposed : bool
        Leave frozen baselines out, so that limits are proposed as if there were none.
    now : str
        Time of the report: the day its doses are for (empty: the clock), and whether the camera's certificate is still
        good (empty: at the month's last sample).

    Returns
    -------
    MonthPage

    Raises
    ------
    InputError
        The month is misspelt or empty, or the lot is not in the log.
    """
    from qckit.log import open_log

    with open_log(site) as log:
        tables = load_tables(log)
    at = moment_of(now, tables.settings)
    now = at if now else ""
    month = month or _latest(tables.hatches, tables.settings.site.timezone)
    study = study_month(tables, month=month, lot=lot, is_proposed=is_proposed, now=at)
    if str(out_dir):
        record_changes(site, study, at=now)
    samples, photos, lots = hatch.fill_volumes(tables.samples, tables.photos), tables.photos, tables.lots
    in_series = samples[samples["hatch"].isin(study.series["hatch"])]
    with open_log(site) as log:
        certificates = certificates_of(log, in_series, now=now)
    mine = photos[photos["sample"].isin(in_series["sample"])] if len(photos) else photos
    impossible = {one.hatch for one in study.impossible}
    notes = lots.loc[lots["lot"].isin(list(study.lots)), "notes"].fillna("")
    hatches = tables.hatches[tables.hatches["hatch"].isin(study.series["hatch"])]
    return MonthPage(
        study=study,
        finding=finding_of_month(study),
        settings=tables.settings,
        subsamples=hatch.sample_metrics(in_series[~in_series["hatch"].isin(impossible)], hatches, lots),
        photos=mine,
        is_invented=bool(notes.str.contains("invented").any()),
        today=pd.Timestamp(at).tz_convert(tables.settings.site.timezone).date(),
        certificates=certificates,
    )


def _latest(hatches, timezone) -> str:
    used = hatches[hatches["purpose"] == "production"]
    if not len(used):
        raise InputError("the site's log holds no production hatch. Import the field sheets first.")
    return f"{to_utc(used['started']).max().tz_convert(timezone):%Y-%m}"


def hatch_charts(page: MonthPage) -> Html:
    """Show the chart of the hatching percentage of each lot, from its opening on."""
    drawn = [_chart(page, c, whole=True) for (_, q), c in page.study.charts.items() if q == "hatch_pct"]
    shown = [figure(ax, alt=alt, caption=caption, is_newest_last=True) for ax, alt, caption in drawn]
    return Html("".join(s.html for s in shown), "charts") if shown else note("No hatch of this month was counted.")


def metric_charts(page: MonthPage) -> Html:
    """Show the other charts of each lot, of the last months."""
    return _charts(page, [c for (_, q), c in page.study.charts.items() if q != "hatch_pct"])


def condition_charts(page: MonthPage) -> Html:
    """Show the charts of the water's conditions."""
    return _charts(page, list(page.study.conditions.values()))


def _charts(page, charts) -> Html:
    drawn = [_chart(page, c, whole=False) for c in charts if len(c.frame)]
    return figures(drawn) if drawn else note("Nothing was recorded for these charts in this period.")


def _chart(page, chart, *, whole):
    q, study = chart.charted, page.study
    frame = chart.frame if whole else chart.frame[chart.frame["at"] >= study.first - pd.Timedelta(days=_DAYS_SHOWN)]
    chance = f"; {chart.run.sentence}" if chart.run is not None else ""
    unit = f" [{q.unit}]" if q.unit else ""
    name = capital(q.label) + (f", lot {chart.lot}" if chart.lot else ", all lots")
    minimum = page.settings.limits.min_hatch_pct if q.name == "hatch_pct" else None
    with draw.style():
        ax = draw_control_chart(
            frame.assign(group=""),
            ax=draw.new_axes(figsize=(8.6, 3.6) if whole else (4.9, 3.0)),
            legend=whole,
            signals=chart.signals,
            title=name,
            ylabel=q.label + unit,
            decimals=q.decimals + q.finer_limits,
            target=(minimum, f"site's minimum {minimum:g} %") if minimum else None,
        )
        ax.axvspan(
            study.first.tz_convert("UTC").tz_localize(None),
            study.last.tz_convert("UTC").tz_localize(None),
            color="#999999",
            alpha=0.13,
            linewidth=0,
        )
    caption = f"Grey: the month reviewed. {capital(chart.baseline_words)}{chance}.{_far_off(chart, study)}"
    return ax, _alt(chart, study, name), caption


def _alt(chart, study, name):
    part = chart.of_period(study.first)
    q, hit = chart.charted, chart.signals.drop_duplicates("label")
    text = f"Control chart: {name}. {plural(len(part), 'hatch')} in {study.month}, "
    least, most = (number(value, q.decimals) for value in (part["value"].min(), part["value"].max()))
    text += f"from {least} to {most} {q.unit}".rstrip()
    if chart.limits is not None:
        end = part.iloc[-1]
        fine = q.decimals + q.finer_limits
        centre, low, high = (number(end[name], fine) for name in ("centre", "low", "high"))
        text += f"; centre line {centre}, limits {low} and {high} at the end. "
        names = ", ".join(hit["label"].head(8))
        text += f"Signals at {names}." if len(hit) else "No signal."
    return text + _far_off(chart, study)


def _far_off(chart, study):
    """The chart's readings of the month far off the standard, as a sentence behind others; empty where none is."""
    mine = study.far_off[study.far_off["chart"] == chart.name]
    words = far_off_of(study, mine)
    return f" Far off the standard: {words}." if words else ""


def calendar(page: MonthPage) -> Html:
    """Show the month as a calendar."""
    study = page.study
    drawn = study.signals[(study.signals["state"] != "mark") | study.signals["in_shift"]]
    days = calendar_days(study.series, drawn, study.first, study.last)
    with draw.style():
        ax = draw_calendar(days, title=study.month, minimum=page.settings.limits.min_hatch_pct)
    is_empty, is_ahead = days["n_hatches"] == 0, days["day"] > page.today
    empty, ahead = int((is_empty & ~is_ahead).sum()), int((is_empty & is_ahead).sum())
    coming = f" {plural(ahead, 'day')} still to come," if ahead else ""
    return figure(
        ax,
        alt=f"Calendar of {study.month}: {plural(int(days['n_hatches'].sum()), 'hatch')}, {plural(empty, 'day')} "
        f"without one,{coming} {plural(int((days['n_signals'] > 0).sum()), 'day')} with a signal or a change, "
        f"{int((days['off_standard'] > 0).sum())} with water off the standard.",
    )


def lots(page: MonthPage) -> Html:
    """Show a row per lot."""
    shown = lots_table(page.study)
    priced = shown.loc[shown["cost"].notna() | shown["cost_per_million"].notna(), "currency"].unique()
    if len(priced) < 2:  # else each lot's own stands in its row
        shown = shown.drop(columns="currency")
    currency = priced[0] if len(priced) == 1 else page.settings.site.currency if not len(priced) else "price"
    head = {
        "n_hatches": "hatches",
        "hatch_pct": "H% [%]",
        "nauplii_per_g": "nauplii per g",
        "slope_per_30_days": "in 30 days",
        "below_minimum_pct": "below min. [%]",
        "dose_g": "dose [g]",
        "cost_per_million": f"{currency} per million",
        "cysts_g": "cysts used [g]",
        "cost": "cost" if len(priced) > 1 else f"cost [{currency}]",
    }
    digits = {
        "slope_per_30_days": 2,
        "below_minimum_pct": 1,
        "dose_g": decimals_of(page.settings.protocol.balance_step_g),
        "cost_per_million": 2,
        "n_hatches": 0,
        "nauplii_per_g": 0,
        "cysts_g": 0,
        "cost": 0,
    }
    dose = "grams for one feed; " if page.settings.protocol.is_fed else ""
    caption = (
        "In brackets the interval; points in 30 days where the centre line is sloped; expected share below the site's "
        f"minimum; {dose}price of a million harvested nauplii; cysts used in the month and their price."
    )
    return table(shown, caption=caption, headings=head, decimals=digits)


def signals(page: MonthPage) -> Html:
    """Show every signal with its state, and the marks of single charts below."""
    shown = signal_table(page.study)
    if not len(shown):
        return note("No chart marked a hatch in this month.")
    expected = sum(c["signals_expected"] for c in page.finding.details["charts"])
    words = (
        f"Open: to be explained. Mark: one chart's own limits or rules; chance alone makes about {expected:.1f} of "
        f"these in a month on {plural(len(page.finding.details['charts']), 'chart')} together, and nothing is to be "
        "done about one."
    )
    return table(shown, caption=words, headings={"by": "explained by", "what": "what is marked [test]"}, limit=100)


def comparison(page: MonthPage) -> Html:
    """Show the month beside the month before and the same month a year before."""
    digits = {"n_hatches": 0, "nauplii_per_g": 0, "umbrella_pct": 1, "shells_per_1000": 1, "cysts_g": 0}
    head = {
        "n_hatches": "hatches",
        "hatch_pct": "H% [%]",
        "nauplii_per_g": "nauplii per g",
        "umbrella_pct": "umbrella [%]",
        "shells_per_1000": "shells per 1000",
        "cysts_g": "cysts [g]",
    }
    return table(comparison_table(page.study), headings=head, decimals=digits)


def spread(page: MonthPage) -> Html:
    """Show where the spread of the month's percentages comes from."""
    try:
        found = hatch_components(page.subsamples, page.study.series)
    except InputError as error:
        return note(str(error))
    return table(
        found.table.drop(columns="variance"),
        caption=f"Mean {found.mean:.1f} %, {plural(found.n, 'subsample')}. Two of three differences are within the "
        "typical one.",
        headings={"sd": "typical difference [points]", "share_pct": "share [%]"},
        decimals={"levels": 0, "sd": 1, "share_pct": 0},
    )


def quality(page: MonthPage) -> Html:
    """Show what is missing, late or doubtful in the records."""
    shown = page.study.quality
    return table(shown[shown["count"] > 0], headings={"where": "such as"}, decimals={"count": 0, "of": 0})


_LIMITS = {"set_aside": "set aside", "width": "limits at [standard deviations]"}


def baselines(page: MonthPage) -> Html:
    """Show what each chart's limits rest on."""
    shown = table(baseline_table(page.study), headings=_LIMITS, decimals={"n": 0, "width": 2})
    return folded(f"The limits of {plural(len(page.study.charts) + len(page.study.conditions), 'chart')}", shown)


def aside(page: MonthPage) -> Html:
    """Show the points that a person has set aside, with the reason and the name."""
    shown = page.study.aside
    if not len(shown):
        return note("No point was set aside by hand. qckit report set-aside HATCH --reason TEXT --by NAME does it.")
    shown = shown.assign(chart=[CHARTED[c].label for c in shown["chart"]])
    shown = shown.groupby(["hatch", "lot", "reason", "by", "day"], sort=False)["chart"].agg(", ".join).reset_index()
    return table(
        shown,
        caption="Set aside by hand: in no baseline, read by no rule, crossed in the charts.",
        headings={"chart": "charts"},
    )


def accuracy(page: MonthPage) -> Html:
    """Cite the certificates of the cameras whose photos were counted in the month, or say that there are none."""
    return cite_certificates(page.certificates, whose="the hatches of this month")


def raw(page: MonthPage) -> Html:
    """Show the month's hatches with what was counted and measured."""
    digits = {
        "hours": 1,
        "hatch_pct": 1,
        "hatching_efficiency_per_g": 0,
        "temperature_c": 1,
        "salinity_ppt": 1,
        "ph": 2,
        "oxygen_mg_l": 1,
        "light_lux": 0,
        "nauplii": 0,
        "umbrella": 0,
        "unhatched": 0,
        "shells": 0,
        "n_subsamples": 0,
    }
    headings = {
        "hours": "hours [h]",
        "n_subsamples": "subsamples",
    }
    return table(raw_table(page.study), decimals=digits, headings=headings, limit=400)
