"""How a day goes at a site: the settings of the section ``protocol``, and what can be none."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

from qckit.errors import InputError, unknown_name
from qckit.stages import COUNT_LETTERS
from qckit.tables import SEPARATIONS

__all__ = ["ProtocolSettings", "check_protocol", "clock_time"]


@dataclass(frozen=True)
class ProtocolSettings:
    """How a day goes here, so that none of it is typed twice. Lists are text with commas.

    Examples
    --------
    >>> site.settings.protocol.cones
    'A, B, C, D'
    """

    cones: str = "A, B, C, D"
    people: str = ""  # initials
    incubation_h: float = 24.0
    count_at: str = "09:00"
    feed_at: str = "10:00, 16:00"
    balance_step_g: float = 0.1  # grams are said as they can be weighed
    subsamples: int = 3
    subsample_ul: float = 250.0
    dilution: float = 1.0
    chamber_depth_mm: float = 0.0
    counted: str = "nauplii, umbrella, cysts, shells"  # in the order they are typed
    decapsulated: str = "no"  # whether shells are taken off before incubation: yes or no
    separation: str = "settling"
    handling_h: float = 1.0  # from the end of incubation to the feed: settling, separating, rinsing
    max_age_h: float = 24.0  # common practice, no source
    tally_keys: str = "1, 2, 3, 4"  # one for each of ``counted``
    tally_sound: str = "off"
    lot_test_d: float = 30.0  # common practice, no source, as the two below
    camera_check_d: float = 90.0
    meter_calibration_d: float = 7.0

    @property
    def cone_names(self) -> tuple[str, ...]:
        """The cones, in the site's order."""
        return _listed(self.cones)

    @property
    def initials(self) -> tuple[str, ...]:
        """Initials of the people who work here."""
        return _listed(self.people)

    @property
    def only_person(self) -> str:
        """Initials of the one who works here; empty where they are several, or not known."""
        return self.initials[0] if len(self.initials) == 1 else ""

    @property
    def feed_times(self) -> tuple[dt.time, ...]:
        """Times of day of the feeds, earliest first."""
        return tuple(sorted(clock_time(text) for text in _listed(self.feed_at)))

    @property
    def test_cones(self) -> str:
        """Cones of a standard test, in words: three, or as many as there are."""
        return {1: "its one cone", 2: "both cones"}.get(len(self.cone_names), "three cones")

    @property
    def is_fed(self) -> bool:
        """Whether the site feeds at all; where it does not, no page speaks of feeds and doses."""
        return bool(self.feed_times)

    @property
    def count_time(self) -> dt.time:
        """Time of day at which hatches are counted."""
        return clock_time(self.count_at)

    @property
    def counted_columns(self) -> tuple[str, ...]:
        """Count columns that are typed, in order."""
        return _listed(self.counted)

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of the tally, one for each counted column."""
        return _listed(self.tally_keys)


def _listed(text: str) -> tuple[str, ...]:
    """Split a list written with commas."""
    return tuple(part.strip() for part in text.split(",") if part.strip())


def clock_time(text: str) -> dt.time:
    """Read a time of day as people write it: 09:30, 9:30, 9.30, 9h30, 0930, 930 or 9.

    Raises
    ------
    ValueError
        It is none.

    Examples
    --------
    >>> from qckit.protocol import clock_time
    >>> clock_time("8:30")
    datetime.time(8, 30)
    """
    found = re.fullmatch(r"(\d{1,2})(?:[:.h]?(\d{2}))?(?::\d{2})?", text.strip())
    if found is None:
        raise ValueError(f"{text!r} is no time of day")
    return dt.time(int(found[1]), int(found[2] or 0))


def check_protocol(protocol: ProtocolSettings, where: str) -> None:
    """Refuse times that are none, lists with nothing or one thing twice, and keys that do not fit the stages.

    Examples
    --------
    >>> from qckit.protocol import check_protocol
    >>> check_protocol(site.settings.protocol, "qckit.toml")  # nothing to say: it fits together
    """
    for name in ("count_at", "feed_at"):
        for text in _listed(getattr(protocol, name)) or (("",) if name == "count_at" else ()):
            try:
                clock_time(text)
            except ValueError:
                between = f" Several have commas between: {', '.join(text.split())}." if len(text.split()) > 1 else ""
                raise InputError(
                    f"{where}: {name} has {text!r}, which is no time of day. Write it like 09:00.{between}"
                ) from None
    for name in ("cones", "counted", "tally_keys", "people", "feed_at"):
        listed = _listed(getattr(protocol, name))
        if len(set(listed)) < len(listed):
            raise InputError(f"{where}: {name} names something twice: {getattr(protocol, name)}. Keep one of each.")
        if not listed and name not in ("people", "feed_at"):
            raise InputError(f"{where}: {name} is empty. Write at least one, separated by commas.")
    for name in protocol.counted_columns:
        if name not in COUNT_LETTERS:
            raise unknown_name("stage to count", name, COUNT_LETTERS, where=where)
    if "nauplii" not in protocol.counted_columns:
        raise InputError(f"{where}: counted leaves out nauplii, and without them nothing can be told. Add them.")
    if any(len(key) != 1 for key in protocol.keys) or len(protocol.keys) != len(protocol.counted_columns):
        raise InputError(
            f"{where}: tally_keys must be one key for each of {protocol.counted}, separated by commas; they are "
            f"{protocol.tally_keys!r}. Correct them."
        )
    for name, choices in (
        ("separation", SEPARATIONS),
        ("tally_sound", ("off", "soft")),
        ("decapsulated", ("yes", "no")),
    ):
        if getattr(protocol, name) not in choices:
            raise unknown_name(name, getattr(protocol, name), choices, where=where)
