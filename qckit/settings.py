"""A site's settings: ``qckit.toml`` in the site folder, every value with a default and a check."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, fields
from pathlib import Path

from qckit.errors import InputError, nearest_name, unknown_name
from qckit.protocol import ProtocolSettings, check_protocol
from qckit.quantities import HATCHING_PPT, WATER_C

__all__ = [
    "SETTINGS_FILE",
    "Settings",
    "load_settings",
    "unknown_zone",
]

SETTINGS_FILE = "qckit.toml"
_MOST_BYTES = 1_000_000


@dataclass(frozen=True)
class SiteSettings:
    """Who and where."""

    name: str = "our hatch room"
    timezone: str = "UTC"
    date_order: str = "ymd"  # ymd, dmy or mdy: how dates on this site's field sheets read
    decimal: str = "point"  # point or comma: how a number such as 1,602 is meant when nothing else tells
    currency: str = "EUR"
    headings: str = ""  # own headings of sheets, such as "Larvae = nauplii, Remarks = notes"


@dataclass(frozen=True)
class LimitSettings:
    """The site's own limits for verdicts."""

    min_hatch_pct: float = 75.0
    min_nauplii_per_g: float = 180_000.0
    equivalence_margin_pct: float = 10.0  # a lot within this much of its reference is as good
    max_shells_pct: float = 5.0  # shells and cysts allowed in a harvest, percent of objects
    confidence: float = 0.95


@dataclass(frozen=True)
class ConditionSettings:
    """Standard conditions of a test (facts: FAO Fisheries Technical Paper 361, from memory)."""

    temperature_c: float = 28.0
    temperature_tolerance_c: float = 1.0
    salinity_ppt: float = 33.0
    salinity_tolerance_ppt: float = 2.0
    min_ph: float = 8.0
    min_oxygen_mg_l: float = 4.0
    min_light_lux: float = 1500.0
    reading_h: float = 24.0


@dataclass(frozen=True)
class FeedSettings:
    """What has to be fed, and how much of a hatch reaches the feed."""

    nauplii_per_feed: float = 5_000_000.0
    feeds_per_day: float = 2.0
    recovery_pct: float = 85.0  # share of the hatched nauplii that the harvest brings in
    cone_volume_l: float = 20.0
    n_cones: int = 4
    max_g_per_l: float = 2.0
    short_risk: float = 0.05  # share of hatches that may bring in less than wanted


@dataclass(frozen=True)
class MeasureSettings:
    """Standard uncertainties of the site's measuring, as shares or units (one standard deviation)."""

    mass_u_g: float = 0.005
    cone_volume_u_pct: float = 2.0
    subsample_volume_u_pct: float = 2.0
    dilution_u_pct: float = 0.0
    dry_weight_u_pct: float = 5.0  # of a nauplius: a strain's table value is a starting point, not the lot's own


@dataclass(frozen=True)
class ChartSettings:
    """How the monthly charts are read."""

    # codes of qckit.charts.RULES, separated by commas
    rules: str = "beyond_3, two_of_three_beyond_2, nine_one_side"


@dataclass(frozen=True)
class LogSettings:
    """Where the records are."""

    url: str = ""  # empty: SQLite file log.sqlite in the site folder


@dataclass(frozen=True)
class Settings:
    """All settings of a site, with the folder they came from.

    Examples
    --------
    >>> site.settings.conditions.temperature_c
    28.0
    """

    folder: Path = Path()
    site: SiteSettings = field(default_factory=SiteSettings)
    limits: LimitSettings = field(default_factory=LimitSettings)
    conditions: ConditionSettings = field(default_factory=ConditionSettings)
    feed: FeedSettings = field(default_factory=FeedSettings)
    measure: MeasureSettings = field(default_factory=MeasureSettings)
    charts: ChartSettings = field(default_factory=ChartSettings)
    protocol: ProtocolSettings = field(default_factory=ProtocolSettings)
    log: LogSettings = field(default_factory=LogSettings)


def _fill(section: str, kind, values: dict, where: str):
    """Build one section from its table, refusing unknown names and wrong types."""
    known = {f.name: f.type for f in fields(kind)}
    for name, value in values.items():
        if name not in known:
            raise unknown_name("setting", name, known, where=f"{where}, section [{section}]")
        type_name = known[name]
        right = (
            isinstance(value, str)
            if type_name == "str"
            else (
                isinstance(value, (int, float))
                and not isinstance(value, bool)
                and (type_name == "float" or isinstance(value, int))
            )
        )
        if not right:
            need = {"str": "text in quotes", "float": "a number", "int": "a whole number"}[type_name]
            raise InputError(f"{where}, section [{section}]: {name} is {value!r} and must be {need}. Correct it.")
        if type_name == "int" and abs(value) > 2**53:
            raise InputError(f"{where}, section [{section}]: {name} is far too large. Correct it.")
        if type_name == "float" and isinstance(value, int) and abs(value) > 2**53:
            value = float(max(-(10**300), min(value, 10**300)))
        if type_name != "str":
            _check_range(name, value, f"{where}, section [{section}]")
    if kind is SiteSettings:
        _check_site(values, where)
    if kind is ProtocolSettings:
        check_protocol(kind(**values), f"{where}, section [{section}]")
    return kind(**values)


_RANGES = {
    "min_hatch_pct": (0, 100),
    "min_nauplii_per_g": (0, 1e6),
    "equivalence_margin_pct": (0, 100),
    "max_shells_pct": (0, 100),
    "confidence": (0.5, 0.9999),
    "temperature_c": WATER_C,
    "temperature_tolerance_c": (0, 20),
    "salinity_ppt": HATCHING_PPT,
    "salinity_tolerance_ppt": (0, 80),
    "min_ph": (0, 14),
    "min_oxygen_mg_l": (0, 60),
    "min_light_lux": (0, 2e5),
    "reading_h": (1, 200),
    "nauplii_per_feed": (1, 1e12),
    "feeds_per_day": (0.01, 100),
    "recovery_pct": (1, 100),
    "cone_volume_l": (0.001, 1e6),
    "n_cones": (1, 10_000),
    "max_g_per_l": (0.01, 100),
    "incubation_h": (1, 200),
    "balance_step_g": (0.0001, 100),
    "subsamples": (1, 100),
    "subsample_ul": (0.01, 1e8),
    "dilution": (1e-3, 1e6),
    "chamber_depth_mm": (0, 100),
    "handling_h": (0, 48),
    "max_age_h": (1, 240),
    "lot_test_d": (1, 3650),
    "camera_check_d": (1, 3650),
    "meter_calibration_d": (0.1, 3650),
    "short_risk": (0.001, 0.5),
    "mass_u_g": (0, 1000),
    "cone_volume_u_pct": (0, 100),
    "subsample_volume_u_pct": (0, 100),
    "dilution_u_pct": (0, 100),
    "dry_weight_u_pct": (0, 100),
}
"""Setting -> least and most that make sense, both allowed; beyond them a unit or a sign is wrong."""

_NO_FRACTION = ("min_hatch_pct", "recovery_pct")


def _check_range(name: str, value: float, where: str) -> None:
    """Refuse a number that the calculations cannot mean."""
    low, high = _RANGES[name]
    statement = f"{where}: {name} is {value}"
    if name in _NO_FRACTION and 0 < value <= 1:
        raise InputError(f"{statement}, which is {value:g} %. If {100 * value:g} % is meant, write {100 * value:g}.")
    if low <= value <= high:
        return
    hint = ""
    if name == "salinity_ppt" and 1 <= value < 1.1:
        hint = " It looks like a specific gravity: read the salinity off its table."
    elif name == "confidence" and value > 1:
        hint = f" {value:g} % is written {value / 100:g}."
    raise InputError(f"{statement} and must be {low:.15g} to {high:.15g}.{hint} Correct it.")


def _check_site(values: dict, where: str) -> None:
    """Refuse a time zone, date order or decimal sign that nothing can be read by."""
    import zoneinfo

    for name, choices in (("date_order", ("ymd", "dmy", "mdy")), ("decimal", ("point", "comma"))):
        if values.get(name, choices[0]) not in choices:
            raise unknown_name(name, values[name], choices, where=f"{where}, section [site]")
    zone = values.get("timezone", "UTC")
    try:
        zoneinfo.ZoneInfo(zone)
    except (ValueError, OSError, KeyError) as error:
        raise unknown_zone(zone, where=f"{where}, section [site]") from error


def unknown_zone(zone: str, *, where: str = "") -> InputError:
    """Build the error for a time zone that is none, with the nearest of the some six hundred there are.

    Examples
    --------
    >>> from qckit.settings import unknown_zone
    >>> print(unknown_zone("Lisbon"))
    unknown time zone 'Lisbon'. Did you mean 'Europe/Lisbon'? Write it as area/city, such as Europe/Lisbon.
    """
    import zoneinfo

    near = nearest_name(zone, sorted(zoneinfo.available_timezones()))
    hint = f" Did you mean {near!r}?" if near else ""
    return InputError(f"unknown time zone {zone!r}.{hint} Write it as area/city, such as Europe/Lisbon.", where=where)


def load_settings(folder: str | Path) -> Settings:
    """Read a site's settings.

    Parameters
    ----------
    folder : path
        The site folder (or a settings file in it).

    Returns
    -------
    Settings

    Raises
    ------
    InputError
        There is no settings file, it is not TOML, or it names an unknown section or setting.

    Examples
    --------
    >>> qckit.load_settings(site.folder).limits.min_hatch_pct
    75.0
    """
    path = Path(folder)
    path = path if path.suffix == ".toml" else path / SETTINGS_FILE
    if not path.is_file():
        raise InputError(
            f"{path.parent}: no {SETTINGS_FILE} there, so this is not a site folder. "
            f"Make one with  qckit new {path.parent}"
        )
    if path.stat().st_size > _MOST_BYTES:
        raise InputError(
            f"{path}: has more than {_MOST_BYTES // 1000} kB, and settings have a few. Is it another file?"
        )
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}). Give yourself the right to.") from error
    except ValueError as error:
        raise InputError(f"{path}: is not UTF-8 text ({error}). Save it as UTF-8.") from error
    return settings_of(text, path)


def settings_of(text: str, path: Path) -> Settings:
    """Read settings from the text of a settings file, which stands or is to stand at ``path``; raises as above."""
    try:
        data = tomllib.loads(text)
    except RecursionError as error:
        raise InputError(f"{path}: is nested too deeply for settings. Take that line out.") from error
    except ValueError as error:  # not TOML, or a number of thousands of digits
        raise InputError(
            f"{path}: cannot be read as TOML: {error}. Correct that line; a number in it has "
            "a point and no spaces, such as 3500000 or 1.5."
        ) from error
    sections = {f.name: f.default_factory for f in fields(Settings) if f.name != "folder"}
    built = {}
    for name, values in data.items():
        if name not in sections:
            raise unknown_name("section", name, sections, where=str(path))
        if not isinstance(values, dict):
            raise InputError(f"{path}: {name} must be a section, written [{name}]. Correct it.")
        built[name] = _fill(name, sections[name], values, str(path))
    return Settings(folder=path.parent.resolve(), **built)
