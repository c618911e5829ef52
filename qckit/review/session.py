"""One photo under review: edits go to the log at once, and can be undone."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from qckit.errors import InputError, unknown_name
from qckit.review.files import find_photo_file
from qckit.review.worth import rank_objects, say_when_to_stop
from qckit.tables import STAGES

__all__ = ["ReviewSession"]

_CHOICES = (*STAGES, "debris")
_MOST_RENAMED = 10


@dataclass(frozen=True)
class _Undo:
    """Objects as they stood before an edit, those the edit added, and the frame before it."""

    what: str
    before: pd.DataFrame
    added: tuple[int, ...]
    frame_mm2: float | None


class ReviewSession:
    """Look at the objects of one logged photo and correct them.

    Parameters
    ----------
    log : SiteLog
        An open log.
    photo : str
        Name of a counted photo.

    Raises
    ------
    InputError
        The photo is not in the log.

    Notes
    -----
    Nothing is held back: when a method returns, its edit is in the log as corrections by ``by``, and the sample has a
    further revision with the new counts. Undo writes the values before as further corrections; it reaches back to
    when this session was opened.
    """

    def __init__(self, log, photo: str):
        self.log = log
        found = log.photos(photo=photo)
        if found.empty:
            raise unknown_name("photo", photo, log.photos()["photo"])
        self.photo = photo
        self.info = found.iloc[0]
        self._undo: list[_Undo] = []
        self._load()

    def _load(self):
        self.objects = self.log.objects(photo=self.photo).reset_index(drop=True)

    @property
    def um_per_px(self) -> float:
        """Scale of the photo. [µm/px]"""
        return float(self.info["um_per_px"])

    def path(self):
        """Return the photo's file, checked to be the one that was counted."""
        return find_photo_file(self.log.folder, self.photo, sha256=str(self.info["sha256"]))

    def counts(self) -> dict[str, int]:
        """Objects per stage as they count now."""
        now = self.objects[self.objects["counted"].fillna(False).astype(bool)]
        return {s: int((now["stage"] == s).sum()) for s in STAGES}

    def ranked(self) -> pd.DataFrame:
        """Objects with ``doubt`` and ``worth``, those that are worth a look first."""
        return rank_objects(self.objects)

    def advice(self) -> str:
        """Say whether looking on is worth it."""
        return say_when_to_stop(self.objects)

    def set_stage(self, object_id: int, stage: str, *, by: str) -> None:
        """Say what an object is (a stage, or debris)."""
        if stage not in _CHOICES:
            raise unknown_name("stage", stage, _CHOICES)
        self._edit("stage", [{"object_id": object_id, "action": "stage", "stage": stage}], by,
                   f"looked at the photo: it is {stage}")  # fmt: skip

    def remove(self, object_id: int, *, by: str) -> None:
        """Take an object out of the count."""
        row = self.objects[self.objects["object_id"] == object_id]
        if len(row) and not row["counted"].fillna(False).astype(bool).iloc[0]:
            raise InputError(f"object {object_id} of photo {self.photo!r} does not count already (it lies on the edges "
                             "that are left out, or was removed). Nothing was changed.")  # fmt: skip
        self._edit(
            "remove", [{"object_id": object_id, "action": "remove"}], by, "looked at the photo: not to be counted"
        )

    def restore(self, object_id: int, *, by: str) -> None:
        """Put an object back that was taken out."""
        self._edit("put back", [{"object_id": object_id, "action": "restore"}], by, "looked at the photo: it counts")

    def add(self, x_px: float, y_px: float, stage: str, *, by: str) -> int:
        """Add an object that was missed; returns its number.

        Parameters
        ----------
        x_px, y_px : float
            Its middle. [px]
        stage : str
            One of the counted stages.
        by : str
            Initials.
        """
        if stage not in STAGES:
            raise unknown_name("stage", stage, STAGES)
        wide, high = int(self.info["width_px"]), int(self.info["height_px"])
        if not (0 <= x_px <= wide and 0 <= y_px <= high):
            raise InputError(f"photo {self.photo!r}: ({x_px:.0f}, {y_px:.0f}) px lies outside the photo of {wide} x "
                             f"{high} px. Click inside it.")  # fmt: skip
        change = {"action": "add", "stage": stage, "x_px": round(x_px, 2), "y_px": round(y_px, 2), "on_edge": False,
                  "counted": True}  # fmt: skip
        return self._edit("add", [change], by, "looked at the photo: it was missed")[0]

    def keep_rectangle(self, corners, *, by: str, inside: bool = True) -> int:
        """Count only inside a drawn rectangle, or leave a drawn rectangle out; returns how many objects went.

        Parameters
        ----------
        corners : sequence of float
            x and y of one corner, x and y of the opposite one. [px]
        by : str
            Initials.
        inside : bool
            True keeps what lies inside as the counting frame, False leaves that out.

        Notes
        -----
        An object lies where its middle lies, which keeps density unbiased as long as objects are small beside the
        rectangle. The photo's frame area changes with it.
        """
        x0, y0, x1, y1 = self._clipped(corners)
        o = self.objects
        within = o["x_px"].between(x0, x1, inclusive="left") & o["y_px"].between(y0, y1, inclusive="left")
        gone = o[(within != inside) & o["counted"].fillna(False).astype(bool)]
        words = f"{'outside the drawn frame' if inside else 'inside the region left out'} {x0},{y0} to {x1},{y1} px"
        area = (x1 - x0) * (y1 - y0) * (self.um_per_px / 1000) ** 2
        # A region left out takes from the frame the share of the photo that it covers.
        whole = int(self.info["width_px"]) * int(self.info["height_px"]) * (self.um_per_px / 1000) ** 2
        frame = float(self.info["frame_mm2"]) if self.info["frame_mm2"] == self.info["frame_mm2"] else whole
        new_frame = min(area, frame) if inside else max(frame - area, 0.0)
        changes = [{"object_id": int(i), "action": "remove"} for i in gone["object_id"]]
        self._edit("region", changes, by, words, frame_mm2=new_frame)
        return len(changes)

    def _clipped(self, corners):
        xs, ys = sorted((corners[0], corners[2])), sorted((corners[1], corners[3]))
        wide, high = int(self.info["width_px"]), int(self.info["height_px"])
        x0, x1 = (round(min(max(v, 0), wide)) for v in xs)
        y0, y1 = (round(min(max(v, 0), high)) for v in ys)
        if x1 - x0 < 10 or y1 - y0 < 10:
            raise InputError(f"photo {self.photo!r}: the drawn rectangle is {x1 - x0} x {y1 - y0} px, too small. Draw "
                             "it over the part that is meant.")  # fmt: skip
        return x0, y0, x1, y1

    def undo(self, *, by: str) -> str:
        """Take the last edit of this session back; returns which it was, or '' when there is none."""
        if not self._undo:
            return ""
        last = self._undo[-1]
        self._need(by)
        now = self.objects.set_index("object_id")
        changes = [{"object_id": i, "action": "remove"} for i in last.added]
        for row in last.before.itertuples():
            changes += _back(row, now.loc[row.object_id])
        reason = f"undone: {last.what}"
        if changes:
            self.log.correct_objects(self.photo, pd.DataFrame(changes), by=by, reason=reason)
        self._restore_words(last.before, by, reason)
        if last.frame_mm2 is not None:
            self._set_frame(last.frame_mm2, by, reason)
        self._undo.pop()
        self._load()
        return last.what

    def _restore_words(self, before, by, reason):
        """Put back how each object came about, which the corrections above renamed."""
        self._load()
        now = self.objects.set_index("object_id")
        renamed = [row for row in before.itertuples() if now.loc[row.object_id, "source"] != row.source]
        # each is a step of its own in the log; after a drawn frame over a crowd of added objects that would take a
        # minute, and what counts is right already
        for row in renamed[:_MOST_RENAMED]:
            self.log.correct("objects", (self.photo, int(row.object_id)), "source", row.source, by=by, reason=reason)

    def _edit(self, what, changes, by, reason, frame_mm2=None) -> list[int]:
        self._need(by)
        numbers = [c["object_id"] for c in changes if "object_id" in c]
        for number in numbers:
            if number not in set(self.objects["object_id"]):
                raise unknown_name("object", number, self.objects["object_id"], where=f"photo {self.photo!r}")
        before = self.objects[self.objects["object_id"].isin(numbers)]
        known = set(self.objects["object_id"])
        old_frame = None
        if changes:
            self.log.correct_objects(self.photo, pd.DataFrame(changes), by=by, reason=reason)
        if frame_mm2 is not None:
            old_frame = float(self.info["frame_mm2"]) if self.info["frame_mm2"] == self.info["frame_mm2"] else None
            self._set_frame(frame_mm2, by, reason)
        self._load()
        added = tuple(int(i) for i in self.objects["object_id"] if i not in known)
        self._undo.append(_Undo(what, before, added, old_frame))
        return list(added)

    def _set_frame(self, frame_mm2, by, reason):
        """Change the photo's frame, and the counted volume where it came from frame and chamber depth."""
        before = float(self.info["frame_mm2"])
        self.log.correct("photos", self.photo, "frame_mm2", round(frame_mm2, 6), by=by, reason=reason)
        self.info = self.log.photos(photo=self.photo).iloc[0]
        name = self.info["sample"]
        if name is None or name != name:
            return
        sample = self.log.samples(sample=name, counted=None).iloc[0]
        depth, volume = sample["chamber_depth_mm"], sample["volume_ul"]
        if depth == depth and volume == volume:
            new = float(volume) + (frame_mm2 - before) * float(depth)
            self.log.correct("samples", name, "volume_ul", round(new, 4), by=by, reason=reason)

    @staticmethod
    def _need(by):
        if not str(by).strip():
            raise InputError("an edit needs the initials of who makes it. Write them into the field Initials.")


def _back(before, now) -> list[dict]:
    """Changes that bring an object back to how it counted."""
    changes = []
    was_counted = bool(before.counted) if before.counted == before.counted and before.counted is not pd.NA else False
    is_counted = bool(now["counted"]) if now["counted"] is not pd.NA else False
    if now["stage"] != before.stage:
        changes.append({"object_id": int(before.object_id), "action": "stage", "stage": before.stage,
                        "source": before.source})  # fmt: skip
    if was_counted and not is_counted:
        changes.append({"object_id": int(before.object_id), "action": "restore", "source": before.source})
    return changes
