"""What was set when: a site's settings as text, and the log's record of them read as spans of time and as words."""

from __future__ import annotations

from dataclasses import asdict, fields

import pandas as pd

from qckit.settings import SETTINGS_FILE, Settings
from qckit.tables import to_utc
from qckit.words import day

__all__ = ["ALL", "as_values", "change_sentences", "changes_between", "history_lines", "in_force", "setting_texts"]

ALL = "settings"
"""The name under which a history shows every setting."""

_MOST = 4  # changes named in a line


def as_values(settings: Settings) -> dict[str, dict]:
    """Return every section of the settings but the log's address, which may say where a server stands."""
    return {p.name: asdict(getattr(settings, p.name)) for p in fields(Settings) if p.name not in ("folder", "log")}


def setting_texts(settings: Settings) -> dict[str, str]:
    """Return every setting as the log keeps it: its name with its section, and its value as text.

    Examples
    --------
    >>> from qckit.setting_changes import setting_texts
    >>> setting_texts(site.settings)["limits.min_hatch_pct"]
    '75'
    """
    return {
        f"{section}.{name}": value if isinstance(value, str) else f"{value:.15g}"
        for section, values in as_values(settings).items()
        for name, value in values.items()
    }


def _ends(frame: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Between which two instants each value was set."""
    return to_utc(frame["since"].fillna(frame["noticed_at"])), to_utc(frame["noticed_at"])


def changes_between(frame: pd.DataFrame | None, first, last) -> pd.DataFrame:
    """Return the changes that may fall into a time: first records, which change nothing, are left out.

    Parameters
    ----------
    frame : DataFrame or None
        The log's ``setting_changes``.
    first, last : Timestamp
        With a time zone; both inside.

    Returns
    -------
    DataFrame
        In the order of the log.
    """
    if frame is None or frame.empty:
        return frame
    low, high = _ends(frame)
    return frame[frame["before"].notna() & (high >= first) & (low <= last)]


def in_force(frame: pd.DataFrame, first, last) -> pd.DataFrame:
    """Return what was set in a time: each setting's value at its beginning, where it is on record, and what came then.

    Parameters
    ----------
    frame, first, last
        As for :func:`changes_between`.
    """
    if frame.empty:
        return frame
    low, high = _ends(frame)
    at_first = frame[high < first].groupby("setting").tail(1).index
    return frame[frame.index.isin(at_first) | ((high >= first) & (low <= last))]


def change_sentences(changes: pd.DataFrame | None, site) -> list[str]:
    """Say in one sentence which settings changed in the time of a page; in none where none did.

    Parameters
    ----------
    changes : DataFrame or None
        From :func:`changes_between`.
    site : SiteSettings
        Whose clock and order of dates the page has.
    """
    if changes is None or changes.empty:
        return []
    parts = []
    for row in changes.itertuples():
        ends = to_utc(pd.Series([row.since, row.noticed_at])).dt.tz_convert(site.timezone)
        first, last = (day(at.date(), site.date_order) for at in ends)
        when = f"on {last}" if first == last else f"between {first} and {last}"
        name = row.setting.partition(".")[2]
        parts.append(f"{name} from {row.before or 'empty'} to {row.after or 'empty'} {when}, noticed by {row.by}")
    more = f"; and {len(parts) - _MOST} more (qckit log history settings)" if len(parts) > _MOST else ""
    return [
        f"Settings changed in this time: {'; '.join(parts[:_MOST])}{more}. This page goes by the settings as they were "
        "when it was made."
    ]


def history_lines(frame: pd.DataFrame) -> list[str]:
    """Say each row of the log's record in a line: what was set, when that was noticed, by whom, since when at most."""
    lines = []
    for row in frame.itertuples():
        if pd.isna(row.before):
            what, how = row.after or "empty", "first record"
        else:
            what = f"{row.before or 'empty'} -> {row.after or 'empty'}"
            how = f"found so in {SETTINGS_FILE}, changed after {row.since}"
        lines.append(f"setting {row.setting}: {what}  [{how}; noticed {row.noticed_at}, with what {row.by} did]")
    return lines
