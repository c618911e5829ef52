"""The page that lies in a site's folder, ``README.txt``: what to do each day, each lot, each month."""

from __future__ import annotations

import hashlib
import textwrap
from pathlib import Path

from qckit import __version__
from qckit.day.words import CAUTIONS
from qckit.files import write_whole
from qckit.protocol import ProtocolSettings
from qckit.settings import Settings, load_settings
from qckit.words import number, plural

__all__ = ["renew_readme"]

_NAME, _BEFORE = "README.txt", "README-before.txt"
_MARK = "Written by qckit"


def renew_readme(folder: str | Path, settings: Settings | None = None) -> None:
    """Write a site's README as its settings and this version of the kit have it; one that a person changed stays.

    The kit knows its own page by the sum in its last line. One of a version that wrote no such line is kept beside it
    as ``README-before.txt``. A folder that cannot be written is left as it is.
    """
    path = Path(folder) / _NAME
    text = _signed(readme_text(settings or load_settings(folder)))
    try:
        now = path.read_text(encoding="utf-8", errors="replace") if path.exists() else None
        if now is not None:
            body, mark, _ = now.rpartition(f"\n{_MARK}")
            if now == text or (mark and _sum(body) not in now[len(body) :]):
                return
            before = path.with_name(_BEFORE)
            if not mark and before.exists():
                return
            if not mark:
                write_whole(before, path.read_bytes())
        write_whole(path, text)
    except OSError:
        return


def _signed(text: str) -> str:
    return (
        f"{text}\n{_MARK} {__version__} ({_sum(text)}) from qckit.toml, and renewed\n"
        "when either changes. A page that you change stays as you have it.\n"
    )


def _sum(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


def readme_text(settings: Settings) -> str:
    """Write the page that lies in a site folder: what to do each day, each lot, each month.

    Parameters
    ----------
    settings : Settings

    Returns
    -------
    str
        Plain text of about sixty lines, 80 columns.
    """
    p, test = settings.protocol, settings.conditions
    test_cones = p.test_cones + (" or more" if len(p.cone_names) > 3 else "")
    counted = ", ".join(p.counted_columns)
    cautions = "\n".join(_wrapped(text) for text in CAUTIONS)
    return f"""{settings.site.name}: the hatch room's page

{_protocol_words(settings)}

EACH DAY
  1.  qckit today            what is due, what to start, what else waits
  2.  Count each cone that is due ({counted}), then
        qckit today --enter     digits and Enter; "-" goes back, or takes back
        qckit today --tally     at the microscope: keys {p.tally_keys}, then Enter
      or fill in field-sheets/day-sheet.xlsx and run
        qckit log import field-sheets/day-sheet.xlsx
      or work in the notebook:  qckit lab
  3.  Harvest: air off 5 to 10 min, not longer, draw off unhatched cysts first,
      separate ({p.separation}), rinse. Enter the time; with ml and nauplii per ml (or
      grams and nauplii per gram, or a counted part) it tells the recovery.
{_after_harvest(p)}
  Photos instead of the eye: print cards (qckit cards), photograph the cone's
  card, then its subsamples; run  qckit today --watch FOLDER : it counts them.

EACH LOT
  1.  Enter it once: qckit today --enter  (9), or the sheet "lots" of
      field-sheets/field-sheets.xlsx.
  2.  Standard test on arrival and about every {p.lot_test_d:g} days while it is open:
      {test_cones}, {test.temperature_c:g} C, {test.salinity_ppt:g} ppt; start it in  qckit today --enter  (8).
  3.  qckit report new-lot LOT       accept or not{", and the dose" if p.is_fed else ""}

EACH MONTH
  1.  qckit report month YYYY-MM     is hatching under control, what to change
  2.  Write down why for each signal; freeze the limits it proposes.
  3.  qckit log backup               a verified copy

A POOR HATCH
      qckit report poor-hatch HATCH  the likeliest cause, and the check for it

TYPED WRONG?
      "-" at the menu of  qckit today --enter  takes today's last entry back;
      later:  qckit log correct  and  qckit log withdraw.  Nothing is ever lost.

TAKE CARE
{cautions}
"""


def _after_harvest(p: ProtocolSettings) -> str:
    """The last steps of a day: feed, where anything is fed, and start for tomorrow."""
    if not p.is_fed:
        return "  4.  Start for tomorrow what you need, and enter it."
    return (
        f"  4.  Feed within {p.max_age_h:g} h of the hatch, and enter the feed.\n"
        "  5.  Start for tomorrow what the page says, and enter it."
    )


def _protocol_words(settings: Settings) -> str:
    p, feed = settings.protocol, settings.feed
    cones, feeds = ", ".join(p.cone_names), ", ".join(f"{at:%H:%M}" for at in p.feed_times)
    fed = f"feeds at {feeds} of {number(feed.nauplii_per_feed)} nauplii each" if feeds else "nothing is fed here"
    text = (
        f"Cones {cones} of {feed.cone_volume_l:g} l; {p.incubation_h:g} h from wetting to harvest; counts at "
        f"{p.count_time:%H:%M}; {plural(p.subsamples, 'subsample')} of {p.subsample_ul:g} µl from each cone; {fed}. "
        "All of this stands in qckit.toml: change it there."
    )
    return textwrap.fill(text, 80)


def _wrapped(text: str) -> str:
    return "\n".join(textwrap.wrap(text, 80, initial_indent="  - ", subsequent_indent="    "))
