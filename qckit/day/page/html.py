"""The day's page as HTML: for the wall, for a phone, for a notebook cell. One file, nothing fetched from elsewhere."""

from __future__ import annotations

import re
from html import escape
from typing import TYPE_CHECKING

from qckit.day.words import CAUTIONS, ENTER, SECTIONS, Line, answer, day_lines, heading, in_site_order
from qckit.directions import isolate_names

if TYPE_CHECKING:
    from qckit.day.page.study import Day

__all__ = ["day_fragment", "day_page"]

_TITLES = {"due": "Due now", "counts": "Today's counts", "start": "To start", "also": "Also due"}

_CSS = """
.qcd { font-family: system-ui, "Segoe UI", Roboto, "Helvetica Neue", Arial, sans-serif; line-height: 1.35;
  color: #1d2327; max-width: 46rem; }
.qcd .qcd-answer { font-size: 1.35em; font-weight: 600; margin: .2em 0 .6em; padding: .5em .7em;
  border: 2px solid #1d2327; border-radius: .3em; overflow-wrap: anywhere; text-align: left; }
.qcd h3 { font-size: 1em; margin: .9em 0 .2em; padding-bottom: .1em; border-bottom: 1px solid #9aa5ab; }
.qcd ul { list-style: none; margin: 0; padding: 0; }
.qcd li { padding: .25em 0 .25em 1.3em; position: relative; overflow-wrap: anywhere; text-align: left; }
.qcd li.qcd-urgent { font-weight: 600; }
.qcd li.qcd-urgent::before { content: "!"; position: absolute; left: .2em; width: .9em; height: 1.2em;
  text-align: center; border: 1.5px solid currentColor; border-radius: .2em; line-height: 1.2em; font-size: .9em; }
.qcd code { font-size: .85em; font-weight: 400; color: #3c464d; display: block; }
.qcd footer { font-size: .8em; color: #3c464d; margin-top: 1.2em; border-top: 1px solid #9aa5ab; padding-top: .4em; }
.qcd footer p { margin: .2em 0; }
"""

_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
:root {{ color-scheme: light; }}
html {{ font-size: 17px; -webkit-text-size-adjust: 100%; }}
body {{ margin: 0 auto; padding: .8rem 1rem 2rem; max-width: 46rem; background: #fff; }}
h1 {{ font: 600 1.05rem/1.3 system-ui, "Segoe UI", Roboto, Arial, sans-serif; margin: .2em 0 .5em; }}
@page {{ margin: 15mm; }}
@media print {{ html {{ font-size: 11.5pt; }} body {{ padding: 0; max-width: none; }} .qcd {{ max-width: none; }}
  .qcd footer, .qcd li, .qcd-answer {{ break-inside: avoid; }} .qcd h3 {{ break-after: avoid; }} }}
</style></head><body>
<h1><bdi>{title}</bdi></h1>
{fragment}
</body></html>
"""


def day_fragment(page: Day, *, beside_form: bool = False) -> str:
    """Return the page as a piece of HTML with its own styles, as a notebook shows it.

    Parameters
    ----------
    page : Day
    beside_form : bool
        Leave out the command that enters the day: a form that does it stands beside.

    Returns
    -------
    str
        All text of the site escaped; urgent lines carry a sign beside their weight.
    """
    lines = day_lines(page)
    parts = [
        f"<style>{_CSS}</style>",
        f'<div class="qcd"><p class="qcd-answer">{_kept_together(escape(answer(page)))}</p>',
    ]
    for section in SECTIONS:
        items = "".join(
            _item(line, "" if beside_form and line.do == ENTER else line.do)
            for line in lines
            if line.section == section
        )
        parts.append(f"<h3>{_TITLES[section]}</h3><ul>{items}</ul>")
    cautions = "".join(f"<p>{escape(text)}</p>" for text in CAUTIONS)
    sentence = in_site_order(page.start.dose_sentence, page)
    dose = f"<p>Dose: {escape(sentence)}</p>" if sentence else ""
    parts.append(f"<footer>{dose}{cautions}</footer></div>")
    return isolate_names("".join(parts))


def day_page(page: Day) -> str:
    """Return the page as a whole file."""
    return isolate_names(_PAGE.format(title=escape(heading(page)), fragment=day_fragment(page)))


def _item(line: Line, do: str) -> str:
    urgent = ' class="qcd-urgent"' if line.is_urgent else ""
    code = f"<code>{escape(do)}</code>" if do else ""
    return f"<li{urgent}>{_kept_together(escape(line.text))}{code}</li>"


def _kept_together(text: str) -> str:
    """Let no line end between a number and its unit."""
    return re.sub(r"(?<=\d) (?=(?:M|g|h|d|%|ml|l|ppt|°C)(?!\w))", "\u00a0", text)
