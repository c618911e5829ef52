"""Edits as the desk's page sends them: each applied to the log once, also when it is offered a second time.

An edit is a plain dict: ``uid`` (its name in the page's queue), ``photo``, ``count`` (key of the count it was made on),
``by``, ``do`` and what that needs. The page keeps an edit until the log has it; after the loss of a kernel it offers
what is left with ``again``, and then nobody knows whether the log had it before the kernel went. What stands in the
log already is therefore looked for first and counts as saved.
"""

from __future__ import annotations

from qckit.errors import InputError
from qckit.object_rows import ADDED, REMOVED, RESTAGED, is_counted
from qckit.words import plural

__all__ = ["apply_edit", "stands_already"]


def apply_edit(session, edit: dict) -> str:
    """Write one edit to the log and return a sentence about it, which begins with ``Saved`` or ``Undone``.

    Parameters
    ----------
    session : ReviewSession
        Of the edit's photo.
    edit : dict
        As the page sends it; ``do`` is stage, remove, restore, add, region or undo.

    Raises
    ------
    InputError
        The edit cannot be made; nothing was changed.
    """
    do = edit.get("do")
    if do not in _ACTIONS:
        raise InputError(f"the page asks for {do!r}, which this desk does not know. Reload the page.")
    if edit.get("count") and edit["count"] != session.count_key:
        raise InputError(
            f"photo {session.photo!r} was counted anew since, and its objects have other numbers. Look at it again."
        )
    if edit.get("again") and stands_already(session, edit):
        return f"Saved before: {describe(edit)}."
    return _ACTIONS[do](session, edit, str(edit.get("by", "")).strip())


def describe(edit: dict) -> str:
    """Say in a few words what an edit does."""
    do = edit.get("do")
    if do == "region":
        return ("count only inside a drawn " if edit.get("inside") else "leave out a drawn ") + edit["region"]["kind"]
    if do in ("undo", "add"):
        return {"undo": "undo of the last change", "add": f"a {edit.get('stage')} added"}[do]
    what = {"stage": f"is {edit.get('stage')}", "remove": "removed", "restore": "put back"}[do]
    return f"object {edit.get('id')} {what}"


def stands_already(session, edit: dict) -> bool:
    """Tell whether the log holds what an edit asks for."""
    do, objects = edit["do"], session.objects
    if do == "region":
        return bool(session.regions) and session.regions[-1] == (edit["region"], bool(edit["inside"]))
    if do == "undo":
        return edit.get("after") is not None and session.was_undone_since(int(edit["after"]), by=edit.get("by", ""))
    if do == "add":
        near = (objects["x_px"] - float(edit["x"])).abs() + (objects["y_px"] - float(edit["y"])).abs() < 0.1
        return bool((near & (objects["source"] == ADDED)).any())
    row = objects[objects["object_id"] == int(edit["id"])]
    if row.empty:
        return False
    source, stage = row["source"].iloc[0], row["stage"].iloc[0]
    by_hand = source in (RESTAGED, ADDED)
    return {
        "stage": stage == edit.get("stage") and by_hand,
        "remove": source == REMOVED,
        "restore": source != REMOVED,
    }[do]


def _stage(session, edit, by):
    number = int(edit["id"])
    session.set_stage(number, edit["stage"], by=by)
    counts = is_counted(session.objects[session.objects["object_id"] == number]).all()
    return f"Saved: object {number} is {edit['stage']}{'' if counts else ', not counted'}."


def _remove(session, edit, by):
    session.remove(int(edit["id"]), by=by)
    return f"Saved: object {int(edit['id'])} removed."


def _restore(session, edit, by):
    session.restore(int(edit["id"]), by=by)
    return f"Saved: object {int(edit['id'])} put back."


def _add(session, edit, by):
    number = session.add(float(edit["x"]), float(edit["y"]), edit["stage"], by=by)
    return f"Saved: object {number} added."


def _region(session, edit, by):
    n_left_out = session.keep_region(edit["region"], by=by, inside=bool(edit["inside"]))
    density = session.density()
    frame_mm2 = float(session.info["frame_mm2"])
    words = f"Saved: {plural(n_left_out, 'object')} left out, the frame is now {frame_mm2:.1f} mm², with "
    words += f"{density['per_mm2']:.2f} nauplii per mm²"
    return words + (f", {density['per_ml']:.0f} per ml." if density["per_ml"] == density["per_ml"] else ".")


def _undo(session, _edit, by):
    what = session.undo(by=by)
    return f"Undone and saved: {what}." if what else f"{by} has no change of this photo left to undo."


_ACTIONS = {"stage": _stage, "remove": _remove, "restore": _restore, "add": _add, "region": _region, "undo": _undo}
