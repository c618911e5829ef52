"""``qckit dose``: grams of cysts, cones and start time for a demand of nauplii."""

from __future__ import annotations

import math
from pathlib import Path

import click

from qckit.commands._options import DAY, MOMENT, SITE, Count, Number
from qckit.errors import InputError
from qckit.words import dates_in, day, figures, number, signed


@click.command("dose")
@click.argument("lot")
@SITE
@click.option("--nauplii", type=Count(), help="Nauplii wanted in one feed; the site's setting when left out.")
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
    help="Day that the dose is for, such as 2026-11-05, or its day and month alone in the site's order (the nearest "
    "such day); the feed's, else today, when left out.",
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


def _check_out(out):
    """Refuse a name that would get another kind of content than it says, before anything is worked out."""
    from qckit.reports.dose_page import PAGES

    if out and Path(out).suffix.lower() not in (".csv", *PAGES):
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
    from qckit.hatch.dose.timing import cost_per_million, lot_currency

    rows = tables.lots[tables.lots["lot"] == plan.lot]
    row = rows.iloc[0] if len(rows) else {}
    cost = cost_per_million(row.get("price"), row.get("pack_g"), plan.efficiency_per_g, recovery_pct=plan.recovery_pct)
    if math.isfinite(cost):
        currency = lot_currency(row, tables.settings)
        click.echo(f"Cost: {cost:.2f} {currency} for a million nauplii harvested, at the best guess.")


def _say_start(feed, t10_h, t90_h, lot, tables):
    """Say when to wet the cysts; None when no feed was named."""
    if feed is None:
        return None
    import pandas as pd

    from qckit.hatch.dose.timing import start_times, times_of_lot

    if t10_h is None or t90_h is None:
        known = times_of_lot(tables, lot)
        click.echo(known.sentence + (" Give --t10 and --t90 to do better." if known.is_assumed else ""))
        t10_h, t90_h = known.t10_h, known.t90_h
    times = start_times(
        pd.Timestamp(feed), t10_h=t10_h, t90_h=t90_h, temperature_c=tables.settings.conditions.temperature_c
    )
    click.echo(f"Start: {dates_in(times.sentence, tables.settings.site.date_order)}")
    return times


def _table(plan, settings, out):
    from qckit.hatch import wall_table

    made, renew = (day(when, settings.site.date_order) for when in (plan.day, plan.renew_by))
    if out:
        _write(out, plan, settings)
        click.echo(f"Table written to {out}; renew it by {renew}.")
    else:
        forms = dict.fromkeys(("nauplii", "left_over"), number)
        forms |= dict.fromkeys(("grams", "grams_per_cone"), plan.say)
        click.echo(wall_table(plan).to_string(index=False, formatters=forms))
        click.echo(f"Table of {made}; renew it by {renew}.")


def _write(out, plan, settings):
    from qckit.reports.dose_page import write_wall_table

    try:
        write_wall_table(out, plan, settings)
    except OSError as error:
        raise InputError(f"{out}: cannot be written ({error.strerror}). Choose another place with --out.") from error
