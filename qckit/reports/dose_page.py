"""The table of doses for the wall, as a page to print or as CSV."""

from __future__ import annotations

from html import escape
from pathlib import Path

from qckit import words
from qckit.directions import isolate_names, keep_units
from qckit.files import write_whole
from qckit.hatch.dose.plan import risk_words
from qckit.hatch.dose.table import wall_table
from qckit.log.site_dates import SiteDates

__all__ = ["PAGES", "write_wall_table"]

PAGES = (".html", ".htm")
"""Endings of names that get a page; any other gets CSV."""

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


def write_wall_table(path, plan, settings) -> Path:
    """Write the table of several demands about a plan's own; whole or not at all.

    Parameters
    ----------
    path : path
        Ending in one of ``PAGES``: a page to print, its warnings on top; else CSV.
    plan : DosePlan
    settings : Settings

    Returns
    -------
    Path

    Raises
    ------
    OSError
        It cannot be written there.
    """
    path, table = Path(path), wall_table(plan)
    if path.suffix.lower() in PAGES:
        text = SiteDates(settings).page(keep_units(isolate_names(_page(plan, table, settings))))
    else:
        dated = table.assign(
            lot=plan.lot,
            made=f"{plan.day:%Y-%m-%d}",
            renew_by=f"{plan.renew_by:%Y-%m-%d}",
            warnings="; ".join(w.code for w in plan.warnings),
        )
        text = dated.to_csv(index=False)
    write_whole(path, text)
    return path


def _page(plan, table, settings) -> str:
    """The wall table as a page, its warnings on top."""
    shown = table[list(_HEADINGS)].rename(columns=_HEADINGS)
    forms = [words.number, plan.say, "{:.0f}".format, plan.say]
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
