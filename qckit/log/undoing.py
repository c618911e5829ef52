"""Taking hand corrections of a photo back, from the log itself: it works after a restart as well.

Each edit is one step. Undoing writes the values before as corrections of a further step, whose action names the step
it takes back; so the edits that still stand can be told at any time.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

from qckit.errors import InputError
from qckit.log.corrections import value_text
from qckit.log.hand import frame_changes
from qckit.log.query import fetch, read_key

__all__ = ["ACTION", "Edit", "action_of", "edits", "reverse"]

ACTION = "correct objects"
_UNDO = re.compile(r"undo of step (\d+)$")


@dataclass(frozen=True)
class Edit:
    """One hand correction of a photo: its step, who made it when and why, and its corrections."""

    step: int
    at: str
    by: str
    reason: str
    cells: pd.DataFrame  # columns of corrections

    @property
    def objects(self) -> list[int]:
        """Numbers of the objects it changed."""
        keys = self.cells.loc[self.cells["table"] == "objects", "key"].drop_duplicates()
        return [int(read_key("objects", key)[1]) for key in keys]


def action_of(edit: Edit) -> str:
    """Return the action of the step that takes an edit back."""
    return f"undo of step {edit.step}"


def edits(connection, photo: str, by: str | None = None) -> list[Edit]:
    """Return the edits of a photo's newest count that were not taken back, oldest first.

    Parameters
    ----------
    connection : Connection
    photo : str
    by : str, optional
        Only this person's.
    """
    done = fetch(connection, "steps", {"source": photo})
    undone = {int(m[1]) for m in map(_UNDO.match, done["action"]) if m}
    standing = set(done.loc[done["action"] == ACTION, "step"].astype(int)) - undone
    fixes = fetch(connection, "corrections", {"key1": photo, "table": ["objects", "photos"]}, internal=True)
    photos = fetch(connection, "photos", {"photo": photo}, internal=True)
    fixes = fixes[fixes["step"].isin(standing)]
    if len(photos):
        fixes = fixes[fixes["revision"] == int(photos["revision"].iloc[0])]
    if by is not None:
        fixes = fixes[fixes["by"] == by]
    return [
        Edit(int(step), cells["at"].iloc[0], cells["by"].iloc[0], cells["reason"].iloc[0], cells)
        for step, cells in fixes.groupby("step", sort=True)
    ]


def reverse(connection, photo: str, edit: Edit) -> list[tuple]:
    """Return the cells that take an edit back, as (table, key, column, after).

    Raises
    ------
    InputError
        What the edit wrote does not stand any more, because somebody else changed it since.
    """
    now = fetch(connection, "objects", {"photo": photo}).set_index("object_id")
    entered = fetch(connection, "objects", {"photo": photo}, corrected=False).set_index("object_id")
    cells: list[tuple] = []
    for key, mine in edit.cells[edit.cells["table"] == "objects"].groupby("key", sort=False):
        number = int(read_key("objects", key)[1])
        for fix in mine.itertuples():
            if value_text(now.at[number, fix.column]) != _empty(fix.after):
                raise _changed(connection, photo, "objects", key, f"object {number}", edit)
            cells.append(("objects", key, fix.column, _empty(fix.before)))
        added = set(mine["column"]) == {"counted"} and (mine["after"] == "yes").all()
        if added and now.at[number, "source"] == entered.at[number, "source"] == "added by hand":
            cells.append(("objects", key, "source", "removed by hand"))
    frames = edit.cells[edit.cells["table"] == "photos"]
    for fix in frames.itertuples():
        if value_text(fetch(connection, "photos", {"photo": photo})[fix.column].iloc[0]) != _empty(fix.after):
            raise _changed(connection, photo, "photos", fix.key, "the drawn frame", edit)
        cells += frame_changes(connection, photo, float(fix.before)) if _empty(fix.before) else []
    return cells


def _empty(value) -> str:
    return "" if pd.isna(value) else value


def _changed(connection, photo, table, key, what, edit) -> InputError:
    """Say who changed an object or the frame after an edit."""
    fixes = fetch(connection, "corrections", {"key1": photo, "table": table, "key": key}, internal=True)
    later = fixes[fixes["step"] > edit.step]
    who = f"{later['by'].iloc[-1]} has" if len(later) else "somebody has"
    return InputError(
        f"photo {photo!r}, {what}: {who} changed it since, so the last edit of {edit.by} cannot be taken "
        "back. Nothing was changed; set it as it should be."
    )
