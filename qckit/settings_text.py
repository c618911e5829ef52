"""A settings file written out: every setting, its default and what it means."""

from __future__ import annotations

import json
from dataclasses import fields

from qckit.settings import Settings

__all__ = ["settings_text"]

_HEADINGS = {
    "site": "who and where",
    "limits": "the site's own limits for verdicts",
    "conditions": "standard conditions of a test",
    "feed": "what has to be fed, and how much of a hatch reaches the feed",
    "measure": "standard uncertainties of measuring: one standard deviation, as grams or percent",
    "charts": "how the monthly charts are read",
    "protocol": "how a day goes here; lists are separated by commas",
    "log": "where the records are",
}
_EXPLAINED = {
    "rules": "the rules that make a signal, separated by commas",
    "name": "shown on every report",
    "timezone": 'such as "Europe/Lisbon": times on field sheets are read as this clock',
    "headings": 'your sheets\' own headings, such as "Larvae = nauplii, Hours = "; nothing after = leaves it out',
    "date_order": "how dates on field sheets read: ymd, dmy (04/11/2026 is 4 November) or mdy",
    "decimal": "how a number such as 1,602 is meant when nothing else tells: point or comma",
    "currency": "of prices and costs; a lot keeps the one that was entered with its price",
    "min_hatch_pct": "hatching percentage a lot must reach [%]",
    "min_nauplii_per_g": "nauplii per gram a lot must reach [1/g]",
    "equivalence_margin_pct": "a lot within this much of its reference counts as equally good [%]",
    "max_shells_pct": "shells and cysts allowed in a harvest [% of objects]",
    "confidence": "of all intervals",
    "temperature_c": "[°C]",
    "temperature_tolerance_c": "[°C]",
    "salinity_ppt": "[ppt]",
    "salinity_tolerance_ppt": "[ppt]",
    "min_ph": "least pH",
    "min_oxygen_mg_l": "least oxygen [mg/l]",
    "min_light_lux": "least light at the surface [lux]",
    "reading_h": "hours from wetting to the count [h]",
    "nauplii_per_feed": "nauplii for one feed",
    "feeds_per_day": "feeds a day",
    "recovery_pct": "share of the hatched nauplii that the harvest brings in [%]",
    "cone_volume_l": "water in one cone [l]",
    "n_cones": "cones there are",
    "max_g_per_l": "most cysts per litre of water [g/l]",
    "short_risk": "share of hatches that may bring in less than wanted: 0.05 is 1 in 20",
    "mass_u_g": "weighing the cysts [g]",
    "cone_volume_u_pct": "volume of the cone [%]",
    "subsample_volume_u_pct": "volume of the subsample [%]",
    "dilution_u_pct": "dilution [%]",
    "dry_weight_u_pct": "dry weight of a nauplius [%]",
    "cones": "names of the cones, in your order",
    "people": "initials of those who work here",
    "incubation_h": "hours from wetting to harvest [h]",
    "count_at": "time of day of the counts",
    "feed_at": "times of day of the feeds; empty where nothing is fed here",
    "balance_step_g": "finest step of the balance for cysts, to which doses are said [g]",
    "subsamples": "subsamples counted per cone",
    "subsample_ul": "volume of a subsample [µl]",
    "dilution": "times a subsample is diluted before counting; 1 if not",
    "chamber_depth_mm": "depth of the chamber that is photographed; 0: the photo shows the whole subsample [mm]",
    "counted": "what is counted, in the order you write it: nauplii, umbrella, cysts (or embryos), shells",
    "decapsulated": "yes where shells are taken off before incubation: taken where a hatch's sheet does not say",
    "separation": "how shells and cysts are taken off: settling, light, screen, magnetic, salt or other",
    "handling_h": "from the end of incubation to the feed: settling, separating, rinsing [h]",
    "max_age_h": "nauplii older than this are not fed [h from hatch]",
    "tally_keys": "keys of the tally, one for each stage counted",
    "tally_sound": "off or soft",
    "lot_test_d": "days until a lot in use is tested again [d]",
    "camera_check_d": "days until a camera is checked again [d]",
    "meter_calibration_d": "days until meters are calibrated again [d]",
    "url": 'empty: log.sqlite in this folder; or "postgresql+psycopg://user@host/database", the password elsewhere',
}


def _toml_value(value) -> str:
    """Write text, a number or yes/no as TOML."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return f"{value:_}" if isinstance(value, int) else repr(value)


def settings_text(changes: dict[str, dict] | None = None) -> str:
    """Write a settings file with every setting, its default and what it means.

    Parameters
    ----------
    changes : dict of dict, optional
        Section -> setting -> value, where it is not the default.

    Returns
    -------
    str
        TOML.

    Examples
    --------
    >>> from qckit.settings_text import settings_text
    >>> "[site]" in settings_text()
    True
    """
    lines = ["# Settings of this site. Every value may be changed; a line that is left out keeps its default.", ""]
    for section in fields(Settings):
        if section.name == "folder":
            continue
        lines += [f"[{section.name}]  # {_HEADINGS[section.name]}"]
        given = (changes or {}).get(section.name, {})
        for setting in fields(section.default_factory):
            value = given.get(setting.name, setting.default)
            lines.append(f"{setting.name} = {_toml_value(value)}  # {_EXPLAINED[setting.name]}")
        lines.append("")
    return "\n".join(lines)
