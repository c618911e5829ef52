"""Taking hand corrections of a photo back, from the log itself: it works after a restart as well.

Each edit is one step. Undoing writes the values before as corrections of a further step, whose action names the step
it takes back; so the edits that still stand can be told at any time.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

import pandas as pd
import sqlalchemy as sa

from qckit.errors import InputError
from qckit.log import schema
from qckit.log.corrections import value_text, with_dependents
from qckit.log.hand import count_change, frame_changes
from qckit.log.query import fetch, read_key

__all__ = ["ACTION", "Edit", "action_of", "edits", "is_undo", "last_edit", "reverse", "rows_of_step"]

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


def is_undo(action: str) -> bool:
    """Say whether a step's action is that of an edit taken back."""
    return _UNDO.match(str(action)) is not None


def edits(connection, photo: str, by: str | None = None) -> list[Edit]:
    """Return the edits of a photo's newest count that were not taken back, oldest first.

    Parameters
    ----------
    connection : Connection
    photo : str
    by : str, optional
        Only this person's.
    """
    fixes = _fixes(connection, photo, _standing(connection, photo, by))
    if by is not None:
        fixes = fixes[fixes["by"] == by]
    return _as_edits(fixes)


def last_edit(connection, photo: str, by: str) -> Edit | None:
    """Return the newest standing edit of a person; only its own corrections are read."""
    for step in reversed(_standing(connection, photo, by)):
        found = _as_edits(_fixes(connection, photo, [step]))
        if found:
            return found[0]
    return None


def _standing(connection, photo: str, by: str | None) -> list[int]:
    """Steps of edits of a photo that were not taken back, oldest first."""
    s = schema.STEPS.c
    done = connection.execute(sa.select(s.step, s.action, s.by).where(s.source == photo).order_by(s.step)).all()
    undone = {int(m[1]) for m in (_UNDO.match(action) for _, action, _ in done) if m}
    return [n for n, action, who in done if action == ACTION and n not in undone and by in (None, who)]


def _fixes(connection, photo: str, steps: list[int]) -> pd.DataFrame:
    """Corrections that some steps made on the newest count of a photo."""
    equals = {"key1": photo, "table": ["objects", "photos"], "step": steps}
    fixes = fetch(connection, "corrections", equals, internal=True)
    newest = connection.execute(
        sa.select(sa.func.max(schema.table("photos").c.revision)).where(schema.table("photos").c.photo == photo)
    ).scalar()
    return fixes if newest is None else fixes[fixes["revision"] == newest]


def _as_edits(fixes: pd.DataFrame) -> list[Edit]:
    return [
        Edit(int(step), cells["at"].iloc[0], cells["by"].iloc[0], cells["reason"].iloc[0], cells)
        for step, cells in fixes.groupby("step", sort=True)
    ]


def reverse(connection, photo: str, edit: Edit) -> tuple[list[tuple], Counter]:
    """Return the cells that take an edit back, as (table, key, column, after), and how the counts change by them.

    Raises
    ------
    InputError
        What the edit wrote does not stand any more, because somebody else changed it since.
    """
    mine = {"photo": photo, "object_id": edit.objects}
    now = fetch(connection, "objects", mine).set_index("object_id")
    entered = fetch(connection, "objects", mine, corrected=False).set_index("object_id")
    cells: list[tuple] = []
    for key, fixes in edit.cells[edit.cells["table"] == "objects"].groupby("key", sort=False):
        number = int(read_key("objects", key)[1])
        for fix in fixes.itertuples():
            if value_text(now.at[number, fix.column]) != _empty(fix.after):
                raise _changed(connection, photo, table="objects", key=key, what=f"object {number}", edit=edit)
            cells.append(("objects", key, fix.column, _empty(fix.before)))
        added = set(fixes["column"]) == {"counted"} and (fixes["after"] == "yes").all()
        if added and now.at[number, "source"] == entered.at[number, "source"] == "added by hand":
            cells.append(("objects", key, "source", "removed by hand"))
    by_number = {int(number): row for number, row in now.to_dict("index").items()}
    change = count_change(by_number, [(read_key("objects", key), column, after) for _, key, column, after in cells])
    frames = edit.cells[edit.cells["table"] == "photos"]
    for fix in frames.itertuples():
        if value_text(fetch(connection, "photos", {"photo": photo})[fix.column].iloc[0]) != _empty(fix.after):
            raise _changed(connection, photo, table="photos", key=fix.key, what="the drawn frame", edit=edit)
        cells += frame_changes(connection, photo, float(fix.before)) if _empty(fix.before) else []
    return cells, change


def rows_of_step(connection, step: int) -> list[tuple[str, tuple]]:
    """Return the rows a step brought that are still shown, with the shown rows that hang on them, as (table, key)."""
    rows: dict[tuple[str, tuple], None] = {}
    for table in schema.ORDER:
        if "step" not in schema.table(table).c:
            continue
        brought = fetch(connection, table, where=[("", schema.table(table).c.step == step)])
        for key in brought[list(schema.KEYS[table])].itertuples(index=False):
            rows |= dict.fromkeys(with_dependents(connection, table, tuple(key)))
    return list(rows)


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
