"""Signals and changes of a month explained: what a person found out is written into the log and closes them."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from qckit.errors import InputError, unknown_name
from qckit.reports.month_records import record_changes, study_of, who_and_when
from qckit.settings import load_settings
from qckit.tables import check_table, to_utc
from qckit.verdicts.month.set_aside import rules_only
from qckit.verdicts.month.signals import CHANGE_RULE
from qckit.words import day, plural

__all__ = ["explain_signals"]

_MONTHS_AHEAD = 7  # reviews that are asked of a hatch: its own month's and those after it


def explain_signals(site: str | Path, hatch: str, *, by: str, note: str) -> str:
    """Mark the open signals of a hatch as explained.

    Parameters
    ----------
    site : path
    hatch : str
    by, note : str
        Who found out what.

    Returns
    -------
    str
        A sentence.

    Raises
    ------
    InputError
        This hatch has no signal, or the note or the name is empty. Signals that were not recorded yet are recorded.
    """
    from qckit.log import open_log

    by, _ = who_and_when(by, "now", "explaining signals")
    if not note.strip():
        raise InputError(
            f"explaining signals: hatch {hatch} is given no explanation. Say what was found in  --note TEXT"
        )
    names = _signals_of(site, hatch, by)
    with open_log(site) as log:
        known = rules_only(log.signals())
    if not (known["signal"].isin(names) & (known["state"] == "open")).any():
        names |= _review_for(site, hatch, by)
    with open_log(site) as log:
        known = rules_only(log.signals())
        mine = known[known["signal"].isin(names)]
        if not len(mine):
            raise unknown_name(
                "hatch with a signal", hatch, sorted(set(known["hatch"].dropna())), where="the site's log"
            )
        still_open = mine[mine["state"] == "open"]
        for signal in still_open["signal"]:
            for column, value in (("by", by), ("note", note.strip()), ("state", "explained")):
                log.correct("signals", signal, column, value, by=by, reason=note.strip())
        _close_changes(log, set(mine["signal"]), by, note.strip())
        if not len(still_open):
            return _explained_before(log, hatch, mine)
    return f"{hatch}: {plural(len(still_open), 'signal')} explained by {by}."


def _explained_before(log, hatch, signals) -> str:
    """Say who explained a hatch's signals and when, where none is open any more."""
    from qckit.log.problems import mending

    fixes = log.corrections("signals")
    fixes = fixes[fixes["key"].isin(signals["signal"]) & (fixes["column"] == "state")]
    last = signals.iloc[-1]
    state = f"{last['state']} by {last['by']}" if last["by"] else str(last["state"])
    if len(fixes):
        zone = log.settings.site.timezone
        at = pd.Timestamp(fixes["at"].iloc[-1]).tz_convert(zone)
        state += f" on {day(at.date(), log.settings.site.date_order)}"
    note = f": {last['note']}" if last["note"] else ""
    return f"{hatch}: already {state}{note.rstrip('.')}. Nothing changed. To say it otherwise:  " + mending(
        "correct", "signals", last["signal"], "note", "TEXT"
    )


def _signals_of(site, hatch, by) -> set[str]:
    """Names of the log's signals that a hatch stands for: its own, and changes that begin with it.

    A change that a report wrote down without its signal gets one, so that who explains it is kept.
    """
    from qckit.log import open_log

    with open_log(site) as log:
        signals, changes, hatches = rules_only(log.signals()), log.changes(), log.hatches()
        names = set(signals.loc[signals["hatch"] == hatch, "signal"])
        started = to_utc(hatches.loc[hatches["hatch"] == hatch, "started"])
        if not len(started) or not len(changes):
            return names
        begun = changes[to_utc(changes["first"]) == started.iloc[0]]
        # cones are filled at one time: a change of one of them begins with its own hatch
        row = hatches[hatches["hatch"] == hatch].iloc[0]
        begun = begun[[f not in row or row[f] == v for f, v in zip(begun["factor"], begun["level"], strict=True)]]
        new = begun[~begun["change"].isin(signals["signal"]) & (begun["state"] == "open")]
        if len(new):
            rows = [
                {"signal": c.change, "chart": c.quantity, "lot": c.level if c.factor == "lot" else "", "hatch": hatch}
                | {"at": c.first, "rule": CHANGE_RULE, "state": "open", "found_at": c.found_at}
                for c in new.itertuples()
            ]
            table = check_table(pd.DataFrame(rows), "signals")
            log.add("signals", table, by=by, source=f"monthly review {new['month'].iloc[0]}")
    return names | set(begun["change"])


def _close_changes(log, names, by, note):
    """A change whose signal is explained is explained in the log's changes too."""
    known = log.changes()
    for row in known[known["change"].isin(names) & (known["state"] == "open")].itertuples():
        for column, value in (("note", note), ("state", "explained")):
            log.correct("changes", row.change, column, value, by=by, reason=note)


def _review_for(site, hatch, by) -> set[str]:
    """Review the month of a hatch, and the next ones, until one tells of it; record and name its signals.

    A change may begin with a hatch of a month whose own review could not tell it yet.
    """
    from qckit.log import open_log
    from qckit.verdicts.month.tables import signal_rows

    with open_log(site) as log:
        hatches = log.hatches()
    hatches = hatches[hatches["purpose"] == "production"]
    zone = load_settings(site).site.timezone
    month_of = to_utc(hatches["started"]).dt.tz_convert(zone).dt.strftime("%Y-%m")
    mine = month_of[hatches["hatch"] == hatch]
    if not len(mine):
        return set()
    names: set[str] = set()
    for month in sorted(set(month_of[month_of >= mine.iloc[0]]))[:_MONTHS_AHEAD]:
        study = study_of(site, month, "")
        rows = signal_rows(study, found_at=who_and_when(by, None, "")[1])
        rows = rows[rows["hatch"] == hatch].reset_index(drop=True)
        if not len(rows):
            if names:  # it stands out alone, and the month after tells of no change since
                break
            continue
        names |= set(rows["signal"])
        record_changes(site, study, by=by)
        with open_log(site) as log:
            new = rows[~rows["signal"].isin(set(log.signals()["signal"]))]
            if len(new):
                log.add("signals", new.assign(state="open"), by=by, source=f"monthly review {month}")
        if (rows["rule"] == CHANGE_RULE).any():
            break
    return names
