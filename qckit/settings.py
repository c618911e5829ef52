"""A site's settings: ``qckit.toml`` in the site folder, every value with a default and a check."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, fields
from pathlib import Path

from qckit.errors import InputError, unknown_name

__all__ = ["SETTINGS_FILE", "Settings", "load_settings"]

SETTINGS_FILE = "qckit.toml"


@dataclass(frozen=True)
class SiteSettings:
    """Who and where."""

    name: str = "our hatch room"
    timezone: str = "UTC"
    date_order: str = "ymd"  # ymd, dmy or mdy: how dates on this site's field sheets read
    currency: str = "EUR"


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


@dataclass(frozen=True)
class MeasureSettings:
    """Standard uncertainties of the site's measuring, as shares or units (one standard deviation)."""

    mass_u_g: float = 0.005
    cone_volume_u_pct: float = 2.0
    subsample_volume_u_pct: float = 2.0
    dilution_u_pct: float = 0.0


@dataclass(frozen=True)
class LogSettings:
    """Where the records are."""

    url: str = ""  # empty: SQLite file log.sqlite in the site folder


@dataclass(frozen=True)
class Settings:
    """All settings of a site, with the folder they came from."""

    folder: Path = Path()
    site: SiteSettings = field(default_factory=SiteSettings)
    limits: LimitSettings = field(default_factory=LimitSettings)
    conditions: ConditionSettings = field(default_factory=ConditionSettings)
    feed: FeedSettings = field(default_factory=FeedSettings)
    measure: MeasureSettings = field(default_factory=MeasureSettings)
    log: LogSettings = field(default_factory=LogSettings)


def _fill(section: str, kind, values: dict, where: str):
    """Build one section from its table, refusing unknown names and wrong types."""
    known = {f.name: f.type for f in fields(kind)}
    for name, value in values.items():
        if name not in known:
            raise unknown_name("setting", name, known, where=f"{where}, section [{section}]")
        wanted = known[name]
        right = isinstance(value, str) if wanted == "str" else (
            isinstance(value, (int, float)) and not isinstance(value, bool)
            and (wanted == "float" or isinstance(value, int))
        )  # fmt: skip
        if not right:
            need = {"str": "text in quotes", "float": "a number", "int": "a whole number"}[wanted]
            raise InputError(f"{where}, section [{section}]: {name} is {value!r} and must be {need}. Correct it.")
    return kind(**values)


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
    """
    path = Path(folder)
    path = path if path.suffix == ".toml" else path / SETTINGS_FILE
    if not path.is_file():
        raise InputError(f"{path.parent}: no {SETTINGS_FILE} there, so this is not a site folder. "
                         f"Make one with  qckit new {path.parent}")  # fmt: skip
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as TOML: {error}. Correct that line.") from error
    sections = {f.name: f.default_factory for f in fields(Settings) if f.name != "folder"}
    built = {}
    for name, values in data.items():
        if name not in sections:
            raise unknown_name("section", name, sections, where=str(path))
        if not isinstance(values, dict):
            raise InputError(f"{path}: {name} must be a section, written [{name}]. Correct it.")
        built[name] = _fill(name, sections[name], values, str(path))
    return Settings(folder=path.parent.resolve(), **built)
