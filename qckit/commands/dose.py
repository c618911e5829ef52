"""``qckit dose``: grams of cysts, cones and start time for a demand of nauplii."""

from __future__ import annotations

import click

from qckit.commands._options import DAY, MOMENT, SITE, Number
from qckit.errors import InputError


@click.command("dose")
@click.argument("lot")
@SITE
@click.option("--nauplii", type=Number(), help="Nauplii wanted in one feed; the site's setting when left out.")
@click.option("--animals", type=Number(), help="Animals to feed, with --per-animal.")
@click.option("--per-animal", type=Number(), help="Nauplii for one animal in one feed.")
@click.option(
    "--risk",
    type=Number(),
    help="Share of hatches that may fall short, such as 0.05; the site's setting when left out.",
)
@click.option(
    "--day",
    default="",
    metavar="DAY",
    type=DAY,
    help="Day that the dose is for, such as 2026-11-05; the feed's, else today, when left out.",
)
@click.option(
    "--feed-at",
    metavar="TIME",
    type=MOMENT,
    help="Time of the feed, such as 2026-11-05T08:00; without an offset, the site's clock.",
)
@click.option(
    "--t10", "t10_h", type=Number("h"), help="Hours to a tenth hatched; from the lot's time course when left out."
)
@click.option("--t90", "t90_h", type=Number("h"), help="Hours to nine tenths hatched; likewise.")
@click.option("--table", "as_table", is_flag=True, help="A table for the wall: several demands.")
@click.option(
    "--out", type=click.Path(dir_okay=False), help="Write the table to this file: .csv, or .html to print and hang up."
)
def command(lot, site, as_table, out, **options):
    """Grams of cysts of LOT, cones and start time for a demand.

    The grams rest on the lot's standard test, on its production hatches, or on both, and let a single hatch fall short
    of the demand only as often as the site allows.
    """
    from qckit.hatch import plan_dose
    from qckit.log.site_dates import SiteDates
    from qckit.log.typed import site_time
    from qckit.site import load_site

    _check_out(out)
    demand = _demand(options["nauplii"], options["animals"], options["per_animal"])
    _check_risk(options["risk"])
    tables = load_site(site).tables
    day = options["day"] or options["feed_at"] or site_time(tables.settings).isoformat()
    plan = plan_dose(tables, lot, nauplii=demand, day=day, risk=options["risk"])
    order = tables.settings.site.date_order
    _say_plan(plan, order)
    _say_cost(plan, tables)
    dates = SiteDates(tables.settings)
    times = _say_start(options["feed_at"], options["t10_h"], options["t90_h"], lot, tables)
    if as_table or out:
        _table(plan, tables.settings, out)
    wrong = [warning.sentence for warning in plan.warnings]
    if times is not None and not times.is_in_window:
        wrong.append("The first hatched will be past instar I at the feed.")
    for sentence in wrong:
        click.echo(f"Attention: {dates.text(sentence)}")
    return 1 if wrong else 0


_PAGES = (".html", ".htm")


def _check_out(out):
    """Refuse a name that would get another kind of content than it says, before anything is worked out."""
    from pathlib import Path

    if out and Path(out).suffix.lower() not in (".csv", *_PAGES):
        raise InputError(
            f"--out {out}: the table is written as .csv, or as .html to print. Choose a name that ends so."
        )


def _check_risk(risk):
    if risk is not None and not 0.001 <= risk <= 0.5:
        raise InputError(f"--risk is {risk:g} and must lie between 0.001 and 0.5; 0.05 lets 1 hatch in 20 fall short.")


def _demand(nauplii, animals, per_animal):
    """Nauplii asked for; None where the site's setting is meant."""
    if (animals is None) != (per_animal is None):
        raise InputError("--animals and --per-animal belong together: give both, or --nauplii.")
    if nauplii is not None and animals is not None:
        raise InputError("--nauplii and --animals are two ways to say the same: give one of them.")
    for name, value in (("--nauplii", nauplii), ("--animals", animals), ("--per-animal", per_animal)):
        if value is not None and not value > 0:
            raise InputError(f"{name} is {value:g} and must be above 0.")
    return animals * per_animal if animals is not None else nauplii


def _say_plan(plan, order):
    from qckit.words import day, figures, signed

    click.echo(f"Dose: {plan.sentence}")
    if plan.saving_sentence:
        click.echo(f"Risk: {plan.saving_sentence}")
    trend = (
        "" if abs(plan.level.slope_per_month) < 0.005 else f", {signed(100 * plan.level.slope_per_month, 1)} % a month"
    )
    click.echo(
        f"Rests on: about {figures(plan.efficiency_per_g)} nauplii per gram on {day(plan.day, order)}{trend}. "
        f"{plan.basis_sentence}"
    )


def _say_cost(plan, tables):
    import math

    from qckit.hatch.dose import cost_per_million

    rows = tables.lots[tables.lots["lot"] == plan.lot]
    row = rows.iloc[0] if len(rows) else {}
    cost = cost_per_million(row.get("price"), row.get("pack_g"), plan.efficiency_per_g, recovery_pct=plan.recovery_pct)
    if math.isfinite(cost):
        currency = row.get("currency") if isinstance(row.get("currency"), str) else tables.settings.site.currency
        click.echo(f"Cost: {cost:.2f} {currency} for a million nauplii harvested, at the best guess.")


def _say_start(feed, t10_h, t90_h, lot, tables):
    """Say when to wet the cysts; None when no feed was named."""
    if feed is None:
        return None
    import pandas as pd

    from qckit.hatch.dose import start_times
    from qckit.words import dates_in

    if t10_h is None or t90_h is None:
        t10_h, t90_h = _times_of(lot, tables)
    times = start_times(
        pd.Timestamp(feed), t10_h=t10_h, t90_h=t90_h, temperature_c=tables.settings.conditions.temperature_c
    )
    click.echo(f"Start: {dates_in(times.sentence, tables.settings.site.date_order)}")
    return times


def _times_of(lot, tables):
    """T10 and T90 from the lot's newest time course, else from the reading time."""
    from qckit.hatch.rate import lot_rate
    from qckit.words import day

    hatches, standard = tables.hatches, tables.settings.conditions
    try:
        rate = lot_rate(tables, lot)
    except InputError as error:
        hours = standard.reading_h
        click.echo(
            f"{error} T90 is taken as the reading time of {hours:g} h and T10 as {hours - 7:g} h (common "
            "practice, no source); give --t10 and --t90 to do better."
        )
        return hours - 7, hours
    t10, t90 = (float(rate.time(name)["value_h"]) for name in ("T10", "T90"))
    newest = hatches.set_index("hatch")["started"].reindex(rate.course["hatch"]).max()
    on = day(str(newest), tables.settings.site.date_order)
    click.echo(f"Times: T10 {t10:.1f} h and T90 {t90:.1f} h, from the time course of {on}.")
    return t10, t90


def _table(plan, settings, out):
    from qckit.hatch import wall_table
    from qckit.words import day

    made, renew = (day(when, settings.site.date_order) for when in (plan.day, plan.renew_by))
    demands = [plan.nauplii * share for share in (0.25, 0.5, 0.75, 1.0, 1.5, 2.0)]
    table = wall_table(plan, demands).round({"grams": 9, "density_g_per_l": 2, "left_over": 0, "nauplii": 0})
    if out:
        _write(out, plan, table, settings)
        click.echo(f"Table written to {out}; renew it by {renew}.")
    else:
        forms = dict.fromkeys(("nauplii", "left_over"), "{:,.0f}".format)
        forms |= dict.fromkeys(("grams", "grams_per_cone"), plan.say)
        click.echo(table.to_string(index=False, formatters=forms))
        click.echo(f"Table of {made}; renew it by {renew}.")


_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Dose of lot {lot}</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
@page {{ margin: 15mm }}
body {{ font: 16pt/1.4 sans-serif; color: #000; max-width: 26cm; margin: 1cm auto; padding: 0 3mm;
 overflow-wrap: anywhere }}
h1 {{ font-size: 26pt; margin: 0 }}
.warn {{ border: 2px solid #000; padding: 2mm 4mm; font-weight: bold }}
.warn p {{ margin: 1mm 0 }}
table {{ border-collapse: collapse; width: 100%; margin: 6mm 0; font-size: 18pt }}
th, td {{ border-bottom: 1px solid #000; padding: 2mm 3mm; text-align: right }}
th {{ font-size: 12pt; vertical-align: bottom }}
small {{ font-size: 11pt }}
</style></head><body>
<h1>Dose of lot <bdi>{lot}</bdi></h1>
<p><bdi>{site}</bdi>. <b>Made {day}; renew by {renew}</b>, or as soon as the lot is tested again.</p>
{warnings}
{table}
<p>{risk} falls short. Rests on {rests_on}: about {best} nauplii per gram. {recovery}</p>
<p><small>Cones of {litres:g} l, at most {most:g} g of cysts per litre. Weigh cysts with a mask on and air moving: their
dust can sensitise.</small></p>
</body></html>
"""

_HEADINGS = {
    "nauplii": "nauplii wanted",
    "grams": "cysts, all [g]",
    "n_cones": "cones",
    "grams_per_cone": "cysts per cone [g]",
}


def _write(out, plan, table, settings):
    """Write the table as CSV, or as a page to print; whole or not at all."""
    from pathlib import Path

    from qckit.directions import isolate_names
    from qckit.files import write_whole
    from qckit.log.site_dates import SiteDates

    path = Path(out)
    if path.suffix.lower() in _PAGES:
        text = SiteDates(settings).page(isolate_names(_page(plan, table, settings)))
    else:
        dated = table.assign(
            lot=plan.lot,
            made=f"{plan.day:%Y-%m-%d}",
            renew_by=f"{plan.renew_by:%Y-%m-%d}",
            warnings="; ".join(w.code for w in plan.warnings),
        )
        text = dated.to_csv(index=False)
    try:
        write_whole(path, text)
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror}). Choose another place with --out.") from error


def _page(plan, table, settings):
    """The wall table as a page, its warnings on top."""
    from html import escape

    from qckit import words
    from qckit.hatch.dose_plan import risk_words

    shown = table[list(_HEADINGS)].rename(columns=_HEADINGS)
    forms = ["{:,.0f}".format, plan.say, "{:.0f}".format, plan.say]
    warned = "".join(f"<p>{escape(w.sentence)}</p>" for w in plan.warnings)
    order = settings.site.date_order
    return _PAGE.format(
        lot=escape(plan.lot),
        site=escape(settings.site.name),
        day=words.day(plan.day, order),
        renew=words.day(plan.renew_by, order),
        warnings=f'<div class="warn">{warned}</div>' if warned else "",
        risk=words.capital(risk_words(plan.risk)),
        rests_on=escape(plan.rests_on),
        best=words.figures(plan.efficiency_per_g),
        recovery=escape(plan.basis_sentence),
        litres=settings.feed.cone_volume_l,
        most=settings.feed.max_g_per_l,
        table=shown.to_html(index=False, border=0, formatters=dict(zip(shown.columns, forms))),
    )
