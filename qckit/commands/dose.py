"""``qckit dose``: grams of cysts, cones and start time for a demand of nauplii."""

from __future__ import annotations

import click

from qckit.errors import InputError


@click.command("dose")
@click.argument("lot")
@click.option("--site", default=".", show_default=True, help="The site folder.")
@click.option("--nauplii", type=float, help="Nauplii wanted in one feed; the site's setting when left out.")
@click.option("--animals", type=float, help="Animals to feed, with --per-animal.")
@click.option("--per-animal", type=float, help="Nauplii for one animal in one feed.")
@click.option("--feed-at", help="Time of the feed with offset, such as 2026-11-05T08:00+00:00.")
@click.option("--t10", "t10_h", type=float, help="Hours to a tenth hatched; from the lot's time course when left out.")
@click.option("--t90", "t90_h", type=float, help="Hours to nine tenths hatched; likewise.")
@click.option("--table", "as_table", is_flag=True, help="A table for the wall: several demands.")
@click.option(
    "--out", type=click.Path(dir_okay=False), help="Write the table to this file: .csv, or .html to print and hang up."
)
def command(lot, site, nauplii, animals, per_animal, feed_at, t10_h, t90_h, as_table, out):
    """Grams of cysts of LOT, cones and start time for a demand.

    The grams rest on the lower bound of the lot's nauplii per gram, so that a feed seldom falls short.
    """
    from qckit.settings import load_settings
    from qckit.verdicts.new_lot.rules import per_g

    _check_out(out)
    settings = load_settings(site)
    wanted, feed = _demand(nauplii, animals, per_animal, settings), _feed_time(feed_at)
    seen, tables = _evidence(settings, lot)
    if not len(seen.cones):
        raise InputError(_no_test(lot, seen, tables["hatches"]))
    efficiency = seen.summary.hatching_efficiency_per_g
    if not efficiency.safe_low > 0:
        raise InputError(
            f"lot {lot}: no lower bound of nauplii per gram is known, so no dose can be worked out. "
            f"{efficiency.note or 'Count a standard test of two cones or more.'}"
        )
    cones = f"{efficiency.n_cones} cone{'s' if efficiency.n_cones > 1 else ''}"
    click.echo(
        f"Lot {lot}: {per_g(efficiency.value)} nauplii per gram ({per_g(efficiency.safe_low)} to "
        f"{per_g(efficiency.safe_high)}), {cones}."
    )
    dose = _say_dose(wanted, efficiency, settings)
    _say_cost(seen, settings)
    times = _say_start(feed, t10_h, t90_h, lot, seen, tables, settings)
    if as_table or out:
        _table(lot, wanted, efficiency, settings, out)
    wrong = []
    if not dose.is_enough_cones:
        wrong.append(f"the dose needs {dose.n_cones} cones and {settings.feed.n_cones} are at hand")
    if times is not None and not times.is_in_window:
        wrong.append("the first hatched will be past instar I at the feed")
    if wrong:
        click.echo(f"Attention: {'; '.join(wrong)}.")
    return 1 if wrong else 0


_PAGES = (".html", ".htm")


def _check_out(out):
    """Refuse a name that would get another kind of content than it says, before anything is worked out."""
    from pathlib import Path

    if out and Path(out).suffix.lower() not in (".csv", *_PAGES):
        raise InputError(
            f"--out {out}: the table is written as .csv, or as .html to print. Choose a name that ends so."
        )


def _no_test(lot, seen, hatches):
    """Say why production hatches are not enough, and how to come by a test."""
    made = hatches[(hatches["lot"] == lot) & hatches["purpose"].isin(["standard test", "reference"])]
    if len(made):
        names = ", ".join(made["hatch"].head(6))
        return (
            f"lot {lot}: its standard test ({names}) has no counts yet, so no dose can be worked out. Import the "
            f"samples (qckit log import), or count the photos that wait (qckit report new-lot {lot})."
        )
    also = f"; its counted production hatches ({seen.production}) were not made to grade it" if seen.production else ""
    return (
        f"lot {lot}: a dose rests on a standard test of the lot, and there is none{also}. Hatch weighed cysts in "
        "two cones or more under the standard conditions, enter them in the hatches sheet with the purpose "
        "'standard test' and their counts with volume_ul in the samples sheet, and import both (qckit log "
        "import)."
    )


def _feed_time(text):
    """The time of the feed, checked before anything is worked out."""
    if text is None:
        return None
    import pandas as pd

    try:
        feed = pd.Timestamp(text)
    except ValueError:
        feed = None
    if feed is None or feed is pd.NaT or feed.tzinfo is None:
        raise InputError(f"--feed-at {text}: this is not a time with offset. Write it like 2026-11-05T08:00+00:00.")
    return feed


def _demand(nauplii, animals, per_animal, settings):
    if (animals is None) != (per_animal is None):
        raise InputError("--animals and --per-animal belong together: give both, or --nauplii.")
    if nauplii is not None and animals is not None:
        raise InputError("--nauplii and --animals are two ways to say the same: give one of them.")
    for name, value in (("--nauplii", nauplii), ("--animals", animals), ("--per-animal", per_animal)):
        if value is not None and not value > 0:
            raise InputError(f"{name} is {value:g} and must be above 0.")
    if animals is not None:
        return animals * per_animal
    return settings.feed.nauplii_per_feed if nauplii is None else nauplii


def _evidence(settings, lot):
    from qckit.log import open_log
    from qckit.reports.lot_report import lot_certificate
    from qckit.verdicts.new_lot.verdict import new_lot_evidence

    with open_log(settings.folder) as log:
        tables = {
            "lots": log.lots(),
            "hatches": log.hatches(),
            "samples": log.samples(),
            "readings": log.readings(),
            "photos": log.photos(),
        }
        use, by_hand = lot_certificate(log, tables["hatches"], tables["samples"], lot, "")
    seen = new_lot_evidence(
        tables["lots"],
        tables["hatches"],
        tables["samples"],
        tables["readings"],
        lot=lot,
        settings=settings,
        photos=tables["photos"],
        certificate=use,
        by_hand=by_hand,
    )
    return seen, tables


def _options(efficiency, settings):
    feed = settings.feed
    return {
        "efficiency_per_g": efficiency.value,
        "recovery_pct": feed.recovery_pct,
        "cone_volume_l": feed.cone_volume_l,
        "n_cones": feed.n_cones,
        "max_g_per_l": feed.max_g_per_l,
    }


def _say_dose(wanted, efficiency, settings):
    from qckit.hatch.dose import dose_for

    dose = dose_for(wanted, efficiency.safe_low, **_options(efficiency, settings))
    click.echo(f"Dose: {dose.sentence}")
    return dose


def _say_cost(seen, settings):
    import math

    from qckit.hatch.dose import cost_per_million

    row, efficiency = seen.lot_row, seen.summary.hatching_efficiency_per_g
    cost = cost_per_million(
        row.get("price"), row.get("pack_g"), efficiency.value, recovery_pct=settings.feed.recovery_pct
    )
    if math.isfinite(cost):
        currency = row.get("currency") if isinstance(row.get("currency"), str) else settings.site.currency
        click.echo(f"Cost: {cost:.2f} {currency} for a million nauplii harvested, at the best guess.")


def _say_start(feed, t10_h, t90_h, lot, seen, tables, settings):
    """Say when to wet the cysts; None when no feed was named."""
    if feed is None:
        return None
    from qckit.hatch.dose import start_times

    if t10_h is None or t90_h is None:
        t10_h, t90_h = _times_of(lot, seen, tables, settings)
    times = start_times(feed, t10_h=t10_h, t90_h=t90_h, temperature_c=settings.conditions.temperature_c)
    click.echo(f"Start: {times.sentence}")
    return times


def _times_of(lot, seen, tables, settings):
    """T10 and T90 from the test's own time course, else from the lot's newest, else from the reading time."""
    from qckit.hatch.rate import fit_rate, newest_course, time_course

    hatches, standard = tables["hatches"], settings.conditions
    # a course at another temperature says nothing of the one that is set
    near = (hatches["temperature_c"] - standard.temperature_c).abs().fillna(0) <= 1.5 * standard.temperature_tolerance_c
    try:
        rate = seen.rate or fit_rate(newest_course(time_course(tables["samples"], hatches[near], lot), hatches))
    except InputError as error:
        hours = settings.conditions.reading_h
        click.echo(
            f"{error} T90 is taken as the reading time of {hours:g} h and T10 as {hours - 7:g} h (common "
            "practice, no source); give --t10 and --t90 to do better."
        )
        return hours - 7, hours
    t10, t90 = (float(rate.time(name)["value_h"]) for name in ("T10", "T90"))
    day = tables["hatches"].set_index("hatch")["started"].reindex(rate.course["hatch"]).max()
    click.echo(f"Times: T10 {t10:.1f} h and T90 {t90:.1f} h, from the time course of {str(day)[:10]}.")
    return t10, t90


def _table(lot, wanted, efficiency, settings, out):
    from qckit.hatch.dose import wall_table

    demands = [wanted * share for share in (0.25, 0.5, 0.75, 1.0, 1.5, 2.0)]
    table = wall_table(demands, efficiency.safe_low, **_options(efficiency, settings)).round(
        {"grams": 1, "grams_per_cone": 1, "density_g_per_l": 2, "left_over": 0, "nauplii_needed": 0}
    )
    if out:
        _write(out, lot, table, efficiency, settings)
        click.echo(f"Table written to {out}")
    else:
        forms = dict.fromkeys(("nauplii_needed", "left_over"), "{:,.0f}".format)
        click.echo(table.to_string(index=False, formatters=forms))


_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Dose of lot {lot}</title>
<style>
@page {{ margin: 15mm }}
body {{ font: 16pt/1.4 sans-serif; color: #000; max-width: 26cm; margin: 1cm auto; overflow-wrap: anywhere }}
h1 {{ font-size: 26pt; margin: 0 }}
table {{ border-collapse: collapse; width: 100%; margin: 6mm 0; font-size: 18pt }}
th, td {{ border-bottom: 1px solid #000; padding: 2mm 3mm; text-align: right }}
th {{ font-size: 12pt; vertical-align: bottom }}
small {{ font-size: 11pt }}
</style></head><body>
<h1>Dose of lot {lot}</h1>
<p>{site}. Grams rest on {low} nauplii per gram (lower bound; best guess {best}) and {recovery:g} % recovery.</p>
{table}
<p><small>Cones of {litres:g} l, at most {most:g} g of cysts per litre. Weigh cysts with a mask on and air moving: their
dust can sensitise. Make this table anew with every test of the lot.</small></p>
</body></html>
"""

_HEADINGS = {
    "nauplii_needed": "nauplii wanted",
    "grams": "cysts, all [g]",
    "n_cones": "cones",
    "grams_per_cone": "cysts per cone [g]",
}


def _write(out, lot, table, efficiency, settings):
    """Write the table as CSV, or as a page to print; whole or not at all."""
    import html
    from pathlib import Path

    from qckit.verdicts.new_lot.rules import per_g

    path = Path(out)
    if path.suffix.lower() not in _PAGES:
        text = table.to_csv(index=False)
    else:
        shown = table[list(_HEADINGS)].rename(columns=_HEADINGS)
        forms = ["{:,.0f}".format, "{:.1f}".format, "{:.0f}".format, "{:.1f}".format]
        text = _PAGE.format(
            lot=html.escape(lot),
            site=html.escape(settings.site.name),
            low=per_g(efficiency.safe_low),
            best=per_g(efficiency.value),
            recovery=settings.feed.recovery_pct,
            litres=settings.feed.cone_volume_l,
            most=settings.feed.max_g_per_l,
            table=shown.to_html(index=False, border=0, formatters=dict(zip(shown.columns, forms))),
        )
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror}). Choose another place with --out.") from error
