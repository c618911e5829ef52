"""The settings as last used: each step of the log notes those that differ from what the log has of them.

A settings file is changed by hand, with any editor, so nobody can know at what moment and by whom. What can be known is
kept: the values before and after, who worked when the change was noticed, and the step before, at which all was as
before.
"""

from __future__ import annotations

import difflib

import pandas as pd
import sqlalchemy as sa

from qckit.log import engine, query, schema
from qckit.setting_changes import ALL, setting_texts

__all__ = ["broken_chains", "differing", "note", "rows_of"]

_TABLE = "setting_changes"


def differing(connection, log) -> dict[str, tuple[str | None, str]]:
    """Return the settings that are not as last used: name -> (before, None where there is no record; after).

    A log that was opened by its address alone has no settings, and nothing differs.
    """
    if str(log.settings.folder) == ".":
        return {}
    t = schema.table(_TABLE).c
    kept = dict(connection.execute(sa.select(t.setting, t.after).order_by(t.step)).all())
    now = setting_texts(log.settings)
    return {name: (kept.get(name), after) for name, after in now.items() if kept.get(name) != after}


def note(connection, log, step: int, by: str) -> None:
    """Write the settings that are not as last used, as part of a step."""
    found = differing(connection, log)
    if not found:
        return
    s = schema.STEPS.c
    earlier = sa.select(s.at).where(s.step < step).order_by(s.step.desc()).limit(1)
    since = connection.execute(earlier).scalar()
    rows = [
        (f"{step} {name}", name, before, after, log.now(), None if before is None else since, by, step)
        for name, (before, after) in found.items()
    ]
    columns = ["setting_change", "setting", "before", "after", "noticed_at", "since", "by", "step"]
    engine.write_rows(connection, _TABLE, columns, [list(values) for values in zip(*rows, strict=True)])


def rows_of(log, name: str = ALL) -> pd.DataFrame | None:
    """Return the record of a setting, or of all; None where the name is that of none.

    Parameters
    ----------
    log : SiteLog
    name : str
        With its section, as ``limits.min_hatch_pct``, or without; ``settings``: all of them.
    """
    with engine.reading(log.engine) as connection:
        frame = query.fetch(connection, _TABLE, order=("step", "setting"))
    if name == ALL:
        return frame
    known = setting_texts(log.settings) | dict.fromkeys(frame["setting"])
    named = [n for n in known if name in (n, n.partition(".")[2])]
    if not named and (near := difflib.get_close_matches(name, [n.partition(".")[2] for n in known], 1, 0.9)):
        named = [n for n in known if n.partition(".")[2] == near[0]]
    return frame[frame["setting"].isin(named)].reset_index(drop=True) if named else None


def broken_chains(connection) -> list[tuple[int, str]]:
    """Find records of settings that do not follow on each other: (step, what is odd)."""
    t = schema.table(_TABLE).c
    rows = connection.execute(sa.select(t.step, t.setting, t.before, t.after).order_by(t.step)).all()
    found, kept = [], {}
    for step, name, before, after in rows:
        if before != kept.get(name):
            was = "nothing" if name not in kept else kept[name] or "empty"
            found.append((step, f"says that {name} was {before or 'empty'} before, and the log has {was} of it"))
        kept[name] = after
    return found
