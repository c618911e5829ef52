"""The columns of every table: kind, unit, limits, meaning; the contract all parts share (see :mod:`qckit.tables`)."""

from __future__ import annotations

from dataclasses import dataclass

from qckit.object_rows import SOURCES
from qckit.quantities import QUANTITIES
from qckit.stages import CLASSES, STAGE_RECORDS

__all__ = ["SEPARATIONS", "TABLES", "Column", "is_empty", "is_missing", "listed_in"]

SEPARATIONS = ("settling", "light", "screen", "magnetic", "salt", "other")
"""Ways of parting nauplii from shells and unhatched cysts at harvest."""


@dataclass(frozen=True)
class Column:
    """One column: its kind, unit, limits and meaning.

    ``kind`` is one of text, int, float, time, date, choice, yesno. ``low`` and ``high`` are inclusive and mark
    the impossible, not the unusual.
    """

    name: str
    kind: str = "text"
    unit: str = ""
    required: bool = False
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    meaning: str = ""


def is_missing(value) -> bool:
    """Whether a cell holds no value: None, NaN or a missing mark of pandas, which is not imported here."""
    return value is None or type(value).__name__ in ("NAType", "NaTType") or value != value


def is_empty(value) -> bool:
    """Whether a cell holds no value, or text of blanks alone."""
    return is_missing(value) or (isinstance(value, str) and not value.strip())


def listed_in(cell) -> list[str]:
    """Take apart what a cell lists with semicolons between, such as photos or flags; nothing is in an empty cell."""
    return [part.strip() for part in cell.split(";") if part.strip()] if isinstance(cell, str) else []


def _c(name, kind="text", unit="", low=None, high=None, choices=(), meaning="", required=False):
    required = required or name.endswith("*")
    limits = {"low": low, "high": high, "choices": tuple(choices)}
    return Column(name.rstrip("*"), kind, unit, required, meaning=meaning, **limits)


def _count_columns():
    """A column of the samples for each stage; embryos, a cyst seen without its shell, beside the cysts."""
    for s in STAGE_RECORDS:
        yield _c(s.column, "int", "", 0, 1e7, meaning=s.meaning, required=s.is_required)
        if s.name == "cyst":
            yield _c("embryos", "int", "", 0, 1e7, meaning="unhatched embryos seen after decapsulation")


TABLES: dict[str, tuple[Column, ...]] = {
    "lots": (
        _c("lot*", meaning="the lot's name on its label"),
        _c("origin", meaning="where the cysts were gathered"),
        _c("harvested", "date", meaning="date of harvest"),
        _c("received", "date", meaning="date of arrival"),
        _c("opened", "date", meaning="date the pack was opened"),
        _c("best_before", "date", meaning="date on the label"),
        _c("claimed_hatch_pct", "float", "%", 0, 100, meaning="hatching percentage claimed on the label"),
        _c("claimed_nauplii_per_g", "float", "1/g", 0, 1e6, meaning="nauplii per gram claimed on the label"),
        _c("pack_g", "float", "g", 0, 1e6, meaning="grams in a pack"),
        _c("price", "float", "", 0, 1e6, meaning="price of a pack"),
        _c("currency", meaning="currency of the price"),
        _c("moisture_pct", "float", "%", 0, 100, meaning="water in the product, by mass"),
        _c("dry_weight_ug", "float", "µg", 0.1, 20, meaning="dry weight of one instar I nauplius"),
        _c("storage_c", "float", "°C", -200, 60, meaning="temperature of storage"),
        _c("notes"),
    ),
    "hatches": (
        _c("hatch*", meaning="the hatch's own name"),
        _c("lot*", meaning="lot of the cysts"),
        _c("purpose*", "choice", choices=("standard test", "production", "reference", "investigation")),
        _c("cone*", meaning="cone it stood in"),
        _c("started*", "time", meaning="time of wetting"),
        _c("cysts_g*", "float", "g", 1e-4, 1e5, meaning="cysts as weighed"),
        _c("volume_ml*", "float", "ml", 1, 1e7, meaning="water in the cone"),
        _c("temperature_c", "float", "°C", -2, 60),
        _c("salinity_ppt", "float", "ppt", 0, 350),
        _c("ph", "float", "", 0, 14),
        _c("oxygen_mg_l", "float", "mg/l", 0, 60),
        _c("light_lux", "float", "lux", 0, 2e5),
        _c("aeration", meaning="in words, such as strong, medium, weak"),
        _c("decapsulated", "yesno", meaning="shells taken off before incubation"),
        _c("operator"),
        _c("notes"),
    ),
    "readings": (
        _c("hatch*"),
        _c("taken*", "time"),
        _c("quantity*", "choice", choices=tuple(QUANTITIES)),
        _c("value*", "float"),
        _c(
            "unit*",
            meaning="; ".join(f"{q.label} in {' or '.join(u.name for u in q.units)}" for q in QUANTITIES.values()),
        ),
    ),
    "samples": (
        _c("sample*"),
        _c("hatch*"),
        _c("taken*", "time"),
        _c("hours", "float", "h", 0, 2000, meaning="hours since wetting"),
        _c("kind*", "choice", choices=("subsample", "sieve", "harvest")),
        _c("volume_ul", "float", "µl", 0.01, 1e8, meaning="volume counted, before dilution is allowed for"),
        _c("mass_g", "float", "g", 1e-6, 1e5, meaning="mass counted, of a sieve sample or a weighed harvest"),
        _c("chamber_depth_mm", "float", "mm", 0.001, 100, meaning="photo's frame times this depth is the volume"),
        _c("dilution", "float", "", 1e-3, 1e6, meaning="times the sample was diluted before counting; 1 if not"),
        *_count_columns(),
        _c("counted_by*", "choice", choices=("photo", "person")),
        _c("counter", meaning="who, or which software version, counted"),
        _c("photos", meaning="file names, separated by semicolons"),
        _c("um_per_px", "float", "µm/px", 0.05, 500, meaning="scale of these photos, where the sheet gives it"),
        _c("revision", "int", "", 0, 1e6, meaning="0 at first; one more with each recount"),
        _c(
            "harvest_ml", "float", "ml", 0.001, 1e7, meaning="volume of the whole harvest that volume_ul was taken from"
        ),
        _c("harvest_g", "float", "g", 1e-6, 1e6, meaning="mass of the whole harvest that mass_g was taken from"),
        _c("separation", "choice", choices=SEPARATIONS, meaning="how nauplii and shells were parted"),
        _c("lost_nauplii", "int", "", 0, 1e9, meaning="nauplii counted in what was drained off before the harvest"),
    ),
    "photos": (
        _c("photo*", meaning="file name, with its folder inside the site"),
        _c("sha256*", meaning="SHA-256 of the file"),
        _c("sample"),
        _c("um_per_px", "float", "µm/px", 0.05, 500),
        _c("scale_source", meaning="how the scale was found"),
        _c("taken", meaning="ISO time from the camera; without offset where the camera gave none"),
        _c("width_px", "int", "px", 1, 1e6),
        _c("height_px", "int", "px", 1, 1e6),
        _c("flags", meaning="flag codes, separated by semicolons"),
        _c("counter_version", meaning="version of the counter that read it"),
        _c("frame_mm2", "float", "mm²", 0, meaning="area of the counting frame"),
    ),
    "objects": (
        _c("photo*"),
        _c("object_id", "int", "", 0, 1e7),
        _c("stage", "choice", choices=CLASSES),
        *(_c(f"p_{s}", "float", "", 0, 1) for s in CLASSES),
        _c("x_px", "float", "px"),
        _c("y_px", "float", "px"),
        _c("length_um", "float", "µm", 0, meaning="empty, as the other sizes, where it runs on along a line"),
        _c("width_um", "float", "µm", 0),
        _c("area_um2", "float", "µm²", 0),
        _c("on_edge", "yesno", meaning="touches the border of the counting frame"),
        _c("counted", "yesno", meaning="inside by the two-edge rule, so part of the counts"),
        _c("source", "choice", choices=SOURCES),
    ),
    "corrections": (
        _c("at*", "time"),
        _c("by*"),
        _c("table*"),
        _c("key*"),
        _c("column*"),
        _c("before"),
        _c("after"),
        _c("reason*"),
    ),
    "baselines": (
        _c("baseline*", meaning="the baseline's own name; a later one for the same chart gets another"),
        _c("chart*", meaning="what is charted, such as hatch_pct"),
        _c("lot", meaning="lot it holds for; empty if for all"),
        _c("cone", meaning="cone it holds for; empty if for all"),
        _c("first", "time", meaning="first hatch in it"),
        _c("last", "time", meaning="last hatch in it"),
        _c("n_points", "int", "", 0, 1e6),
        _c("limits*", meaning="the frozen limits, as JSON"),
        _c("set_aside", meaning="points left out with the reasons, as a JSON list"),
        _c("set_by*"),
        _c("set_at*", "time"),
        _c("notes"),
    ),
    "signals": (
        _c("signal*", meaning="the signal's own name"),
        _c("chart*", meaning="what is charted, such as hatch_pct"),
        _c("lot"),
        _c("hatch", meaning="hatch of the point that fired, where it is one hatch"),
        _c("at*", "time", meaning="time of the point that fired"),
        _c("rule*", meaning="rule that fired; 'set aside' where a person took the point out of its baseline"),
        _c("value", "float"),
        _c("state*", "choice", choices=("open", "explained")),
        _c("found_at*", "time", meaning="when the signal was first seen"),
        _c("by", meaning="who explained it"),
        _c("note", meaning="the explanation"),
    ),
    "scales": (
        _c("camera*"),
        _c("magnification*"),
        _c("set_at*", "time"),
        _c("um_per_px*", "float", "µm/px", 0.05, 500),
        _c("u_um_per_px", "float", "µm/px", 0, 500, meaning="standard uncertainty of the scale"),
        _c("method*", meaning="how it was found, such as stage micrometer"),
        _c("photo", meaning="photo it was found on"),
        _c("set_by*"),
        _c("notes"),
    ),
    "certificates": (
        _c("certificate*", meaning="the certificate's own name"),
        _c("camera*"),
        _c("magnification"),
        _c("kind", meaning="kind of photo, such as bright field"),
        _c("made_at*", "time"),
        _c("made_by*"),
        _c("counter_version"),
        _c("n_photos", "int", "", 0, 1e6),
        _c("detection", meaning="detection rate by stage with intervals, as JSON"),
        _c("confusion", meaning="confusion between stages, as JSON"),
        _c("details", meaning="anything further, as JSON"),
        _c("valid_until", "date"),
        _c("notes"),
    ),
    "checks": (
        _c("hatch*", meaning="the poor hatch"),
        _c("check*", meaning="check that was chosen"),
        _c("planned_at*", "time"),
        _c("cause", meaning="cause it can settle"),
        _c("outcome", meaning="what it showed; empty until done"),
        _c("done_at", "time"),
        _c("by*"),
        _c("notes"),
    ),
    "reports": (
        _c("report*", meaning="the report's own name"),
        _c("kind*", meaning="new-lot, month, poor-hatch"),
        _c("subject*", meaning="lot, month or hatch"),
        _c("made_at*", "time"),
        _c("figures", meaning="the first screen's figures with their intervals, as JSON"),
        _c("hatches", meaning="names of the hatches behind the figures, as a JSON list"),
        _c("software", meaning="version of the kit"),
        _c("path", meaning="the report's file, with its folder inside the site"),
    ),
    "changes": (
        _c("change*", meaning="the change's own name"),
        _c("found_at*", "time", meaning="when it was first found"),
        _c("found_by*"),
        _c("month*", meaning="month whose review found it, YYYY-MM"),
        _c("quantity*", meaning="what changed, such as hatch_pct"),
        _c("factor*", meaning="what it is tied to: the whole room, or a cone, lot, operator, ..."),
        _c("level", meaning="which cone, lot or operator; empty for the whole room"),
        _c("first*", "time", meaning="first hatch after the change"),
        _c("first_low", "time", meaning="lower bound of first"),
        _c("first_high", "time", meaning="upper bound of first"),
        _c("effect", "float", meaning="after less before, in the unit of the quantity"),
        _c("effect_low", "float", meaning="lower bound of effect"),
        _c("effect_high", "float", meaning="upper bound of effect"),
        _c("state*", "choice", choices=("open", "explained", "closed")),
        _c("note", meaning="the explanation"),
    ),
    "feeds": (
        _c("feed*", meaning="the feed's own name"),
        _c("fed*", "time", meaning="when the animals were fed"),
        _c("hatch", meaning="hatch that fed them, where it was one"),
        _c("nauplii", "float", "", 0, 1e12, meaning="nauplii given"),
        _c("notes"),
    ),
    "setting_changes": (
        _c("setting_change*", meaning="the record's own name: its step and the setting"),
        _c("setting*", meaning="section and name in qckit.toml"),
        _c("before", meaning="value that was used until then; empty in the first record of a setting"),
        _c("after", meaning="value used from then on"),
        _c("noticed_at*", "time", meaning="when the log first met it"),
        _c("since", "time", meaning="when the value before was last met: it was changed after that"),
        _c("by*", meaning="who worked when it was noticed; not always who changed it"),
    ),
}
