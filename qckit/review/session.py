"""One photo under review: edits go to the log at once, and can be undone."""

from __future__ import annotations

import hashlib
from functools import cached_property

import pandas as pd

from qckit.counting.regions import (
    check_region,
    counted_in_region,
    density_per_ml,
    density_per_mm2,
    frame_share,
    read_region_words,
    region_words,
)
from qckit.errors import InputError, unknown_name
from qckit.log.corrections import is_undo
from qckit.object_rows import ADDED, is_counted, is_removed
from qckit.review.files import find_photo_file
from qckit.review.priorities import rank_objects, say_when_to_stop
from qckit.stages import CLASSES, STAGES

__all__ = ["ReviewSession"]

_CHOICES = CLASSES
_LOOKED = "looked at the photo: "
_TAKEN_OUT = "not to be counted"
_DRAWN = {True: "counted only inside the drawn", False: "left out the drawn"}


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
    further revision with the new counts. Undo writes the values before as further corrections; it reaches back over
    all edits that the same person made on this count of the photo, those before a restart too.

    Examples
    --------
    >>> with qckit.open_log(room) as records:
    ...     session = review.ReviewSession(records, records.photos()["photo"].iloc[0])
    ...     print(len(session.objects) > 50)
    True
    """

    def __init__(self, log, photo: str):
        self.log = log
        if log.photos(photo=photo).empty:
            raise unknown_name("photo", photo, log.photos()["photo"])
        self.photo = photo
        self.undone: tuple[int, ...] = ()  # objects of the edit that was taken back last
        self._load()

    def _load(self):
        self._step = self.log.last_step()  # before the reading: a step made meanwhile is then seen as new
        self.info = self.log.photos(photo=self.photo).iloc[0]
        self.objects = self.log.objects(photo=self.photo).reset_index(drop=True)
        self._regions = self._read_regions()

    def _after_edit(self, numbers) -> None:
        """Bring along what an edit of some objects changed; where others wrote meanwhile, read everything again."""
        step = self.log.last_step()
        if step != self._step + 1:
            self._load()
            return
        fresh = self.log.table("objects", photo=self.photo, object_id=[int(n) for n in numbers])
        kept = self.objects[~self.objects["object_id"].isin(fresh["object_id"])]
        self.objects = pd.concat([kept, fresh]).sort_values("object_id", ignore_index=True)
        self._step = step

    @property
    def step(self) -> int:
        """Newest step of the log that this session knows of."""
        return self._step

    def catch_up(self) -> bool:
        """Read the photo again if anything was written to the log since; tells whether it was."""
        if self.log.last_step() == self._step:
            return False
        self._load()
        return True

    @cached_property
    def count_key(self) -> str:
        """Short text of this very count of the photo: the object numbers of another count mean other things."""
        found = self.objects[self.objects["source"] != ADDED]
        parts = [str(self.info[k]) for k in ("sha256", "um_per_px", "counter_version")]
        places = found[["object_id", "x_px", "y_px"]].round(2).to_csv(index=False)
        return hashlib.sha256("|".join([*parts, places]).encode()).hexdigest()[:16]

    @property
    def um_per_px(self) -> float:
        """Scale of the photo. [µm/px]"""
        return float(self.info["um_per_px"])

    def path(self):
        """Return the photo's file, checked to be the one that was counted."""
        return find_photo_file(self.log.folder, self.photo, sha256=str(self.info["sha256"]))

    def counts(self) -> dict[str, int]:
        """Objects per stage as they count now."""
        now = self.objects[is_counted(self.objects)]
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
        self._edit([{"object_id": object_id, "action": "stage", "stage": stage}], by, f"{_LOOKED}it is {stage}")

    def remove(self, object_id: int, *, by: str) -> None:
        """Take an object out of the count."""
        row = self.objects[self.objects["object_id"] == object_id]
        if len(row) and not is_counted(row).iloc[0]:
            raise InputError(
                f"object {object_id} of photo {self.photo!r} does not count already (it lies on the edges "
                "that are left out, outside the drawn frame, or was removed). Nothing was "
                "changed."
            )
        self._edit([{"object_id": object_id, "action": "remove"}], by, f"{_LOOKED}{_TAKEN_OUT}")

    def restore(self, object_id: int, *, by: str) -> None:
        """Put an object back that was taken out."""
        self._edit([{"object_id": object_id, "action": "restore"}], by, f"{_LOOKED}it counts")

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
            raise InputError(
                f"photo {self.photo!r}: ({x_px:.0f}, {y_px:.0f}) px lies outside the photo of {wide} x "
                f"{high} px. Click inside it."
            )
        place = pd.DataFrame({"x_px": [x_px], "y_px": [y_px]})
        if any(counted_in_region(place, region, self.um_per_px)[0] != inside for region, inside in self.regions):
            raise InputError(
                f"photo {self.photo!r}: ({x_px:.0f}, {y_px:.0f}) px lies outside the drawn frame. Click inside it."
            )
        change = {
            "action": "add",
            "stage": stage,
            "x_px": round(x_px, 2),
            "y_px": round(y_px, 2),
            "on_edge": False,
            "counted": True,
        }
        return self._edit([change], by, f"{_LOOKED}it was missed")[0]

    def keep_region(self, region, *, by: str, inside: bool = True) -> int:
        """Count only inside a drawn region, or leave a drawn region out; returns how many objects went.

        Parameters
        ----------
        region : dict
            ``kind`` (rectangle, ellipse, polygon) and ``points`` in px; see :mod:`qckit.counting.regions`, which says
            when an object counts in it.
        by : str
            Initials.
        inside : bool
            True keeps what lies inside as the counting frame, False leaves that out.

        Notes
        -----
        The photo's frame area changes with it, and the counted volume where the sheet gives a chamber depth.
        """
        size = {k: int(self.info[k]) for k in ("width_px", "height_px")}
        try:
            region = check_region(region, **size)
        except InputError as error:
            raise InputError(f"photo {self.photo!r}: {error}") from error
        within = counted_in_region(self.objects, region, self.um_per_px)
        left_out = self.objects[(within != inside) & is_counted(self.objects).to_numpy()]
        before, after = (frame_share(drawn, **size) for drawn in (self.regions, [*self.regions, (region, inside)]))
        if after <= 0:
            raise InputError(
                f"photo {self.photo!r}: nothing of the photo would be left to count. Draw another part, "
                "or undo the one before."
            )
        whole = size["width_px"] * size["height_px"] * (self.um_per_px / 1000) ** 2 * before
        frame = float(self.info["frame_mm2"]) if self.info["frame_mm2"] == self.info["frame_mm2"] else whole
        changes = [{"object_id": int(i), "action": "leave out"} for i in left_out["object_id"]]
        self._edit(changes, by, f"{_DRAWN[inside]} {region_words(region)}", frame_mm2=frame * after / before)
        return len(changes)

    def density(self, stage: str = "nauplius") -> dict[str, float]:
        """Objects of a stage by area of the frame, and by volume where the sample gives a chamber depth.

        Parameters
        ----------
        stage : str

        Returns
        -------
        dict of str to float
            ``per_mm2``, ``per_ml``; NaN where frame or depth is not known.
        """
        frame, name, n = float(self.info["frame_mm2"]), self.info["sample"], self.counts()[stage]
        sample = self.log.samples(sample=name, counted=None) if name == name and name else None
        depth = float(sample["chamber_depth_mm"].iloc[0]) if sample is not None and len(sample) else float("nan")
        return {"per_mm2": density_per_mm2(n, frame), "per_ml": density_per_ml(n, frame, depth)}

    @property
    def regions(self) -> list[tuple[dict, bool]]:
        """Drawn regions that stand, in the order drawn, each with whether its inside counts."""
        return self._regions

    def _read_regions(self) -> list[tuple[dict, bool]]:
        found = []
        for edit in self.log.photo_edits(self.photo):
            region = read_region_words(edit.reason)
            if region and edit.reason.startswith(tuple(_DRAWN.values())):
                found.append((region, edit.reason.startswith(_DRAWN[True])))
        return found

    def undo(self, *, by: str) -> str:
        """Take back the last edit of this photo that this person has not taken back; returns it in words, or ''.

        It goes on as far as the log does: edits of earlier sessions are taken back too, those of others never.
        """
        self._need(by)
        edit = self.log.undo_last(self.photo, by=str(by).strip())
        self.undone = () if edit is None else tuple(edit.objects)
        if edit is None:
            return ""
        if (edit.cells["table"] == "objects").all():
            self._after_edit(edit.objects)
        else:
            self._load()
        return self._now_in_words(edit)

    def was_undone_since(self, step: int, *, by: str) -> bool:
        """Tell whether a person took an edit of this photo back after some step of the log."""
        done = self.log.table("steps", source=self.photo, by=by)
        return bool((done["action"].map(is_undo).astype(bool) & (done["step"] > step)).any())

    def _edit(self, changes, by, reason, frame_mm2=None) -> list[int]:
        self._need(by)
        known = set(self.objects["object_id"])
        for number in [c["object_id"] for c in changes if "object_id" in c]:
            if number not in known:
                raise unknown_name("object", number, self.objects["object_id"], where=f"photo {self.photo!r}")
        table = pd.DataFrame(changes, columns=None if changes else ["object_id", "action"])
        self.log.correct_objects(self.photo, table, by=str(by).strip(), reason=reason, frame_mm2=frame_mm2)
        if frame_mm2 is not None:
            self._load()
            return []
        added = sum(c["action"] == "add" for c in changes)
        first_new = max(known, default=0) + 1  # more than enough where somebody else added too: then all is read
        numbers = {c["object_id"] for c in changes if "object_id" in c} | set(range(first_new, first_new + added))
        self._after_edit(numbers)
        return [int(i) for i in self.objects["object_id"] if i not in known][-added:] if added else []

    def _now_in_words(self, edit) -> str:
        """Say what an object is again, now that an edit of it is taken back; of a drawn part, what was taken back."""
        what = edit.reason.removeprefix(_LOOKED)
        row = self.objects[self.objects["object_id"].isin(edit.objects)]
        if len(row) != 1 or what.startswith(tuple(_DRAWN.values())):
            return what
        name, now = f"object {edit.objects[0]}", row.iloc[0]
        if is_removed(row).iloc[0]:
            return f"{name} is out again"
        if what == _TAKEN_OUT:
            return f"{name} counts again"
        if what == f"it is {now['stage']}":
            return f"{name} is {now['stage']} as before, no longer confirmed"
        return f"{name} is {now['stage']} again"

    @staticmethod
    def _need(by):
        if not str(by).strip():
            raise InputError("an edit needs the initials of who makes it. Write them into the field Initials.")
