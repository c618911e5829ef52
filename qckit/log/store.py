"""The site's log: one object through which records are read and added."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from qckit.errors import unknown_name
from qckit.log import corrections, counts, engine, hand_counts, hiding, intake, moving, plausible, steps, typed
from qckit.log.already_logged import shown_again
from qckit.log.counted import as_frames
from qckit.log.photo_files import need_no_count, photo_doubts
from qckit.log.problems import problems_error
from qckit.log.reader import LogReader
from qckit.log.steps import ImportResult

__all__ = ["SiteLog"]

_OF_PHOTOS = (("samples", "photos"), ("samples", "um_per_px"))

_ADDED_TO = "more was noted later"


class SiteLog(LogReader):
    """The records of one site. Made by :func:`open_log`.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     n_lots = len(records.lots())
    >>> n_lots
    3
    """

    def add(self, table: str, frame: pd.DataFrame, *, by: str, source: str = "") -> ImportResult:
        """Add rows to a table in one step; see :meth:`add_many`."""
        return self.add_many({table: frame}, by=by, source=source)

    def add_many(self, frames: dict[str, pd.DataFrame], *, by: str, source: str = "") -> ImportResult:
        """Add rows to several tables in one step: all of them, or none.

        Parameters
        ----------
        frames : dict of str to DataFrame
            Table -> rows with the columns of ``qckit.tables``; in any order.
        by : str
            Who adds them.
        source : str
            File or place they come from, for messages and for the history.

        Returns
        -------
        ImportResult
            Rows the log has already, equal in every column, are counted as unchanged.

        Raises
        ------
        InputError
            Any row breaks a rule or differs from a row of the same key in the log; all are in ``.problems``, and
            nothing was added.
        """
        place = f"{source}: " if source else ""
        incoming = [intake.Incoming(name, frame, f"{place}{name}") for name, frame in frames.items()]
        return self.take(incoming, by=by, source=source)

    def take(
        self,
        incoming: list[intake.Incoming],
        *,
        by: str,
        source: str = "",
        source_sha256: str = "",
        accept_good_rows: bool = False,
        correct: str = "",
        emptied: str = "",
        action: str = "import",
    ) -> ImportResult:
        """Sift incoming rows and write the new ones, in one step.

        Parameters
        ----------
        incoming : list of Incoming
        by, source, source_sha256 : str
            Who, and from which file.
        accept_good_rows : bool
            Write the rows that are right although others are not.
        correct : str
            A reason: rows that are in the log with other values become corrections. Columns that a sheet does not have
            stay as they are.
        emptied : {"", "keep", "empty"}
            With ``correct``, what becomes of a value whose cell is empty in the sheet: it stays, or goes; without
            an answer such cells are problems.
        action : str
            What the step is called in the history.
        """
        steps.need_by(by)
        if emptied not in ("", "keep", "empty"):
            raise unknown_name("answer for emptied cells", emptied, ("keep", "empty"))
        with engine.writing(self.engine) as connection:
            sifted = intake.sift(connection, incoming, correct=bool(correct), emptied=emptied)
            doubtful = self._doubts(connection, sifted.new, step=steps.last(connection) + 1)
            problems = sifted.problems
            if len(problems) and not accept_good_rows:
                raise problems_error(problems)
            added = {name: len(frame) for name, frame in sifted.new.items()}
            fixes = sifted.differences if correct else sifted.differences[sifted.differences["grows"].astype(bool)]
            if added or len(fixes):
                n_rows = sum(added.values()) + len(fixes)
                number = steps.begin(
                    connection,
                    self,
                    by=by,
                    action=action,
                    source=source,
                    n_rows=n_rows,
                    source_sha256=source_sha256,
                )
                for name, frame in sifted.new.items():
                    steps.insert(connection, name, frame, number)
                cells = list(fixes[["table", "key", "column", "after"]].itertuples(index=False, name=None))
                if cells:
                    why = {"by": by, "reason": correct or _ADDED_TO}
                    rows = corrections.write(connection, number, cells=cells, at=self.now(), **why)
                    doubtful += self._doubts(connection, rows)
        entered = list(sifted.new["samples"]["sample"]) if "samples" in sifted.new else []
        doubtful += self._photo_doubts([*entered, *fixes.loc[fixes["table"] == "samples", "key"]])
        notes = [note for part in incoming for note in getattr(part, "notes", ())]
        notes += sifted.remarks
        problems = problems.reset_index(drop=True)
        return ImportResult(added, sifted.unchanged, notes + doubtful, problems, len(fixes), doubts=doubtful)

    def import_sheets(
        self,
        paths,
        *,
        by: str,
        table: str | None = None,
        accept_good_rows: bool = False,
        ignore_columns=(),
        correct: str = "",
        emptied: str = "",
    ) -> ImportResult:
        """Import field sheets (CSV, Excel or folders of them) in one step; see :meth:`take` and ``sheets.reading``."""
        from qckit.log.sheets import reading as sheets

        incoming, digest, source = sheets.read_sheets(paths, self.settings, table=table, ignore_columns=ignore_columns)
        return self.take(
            incoming,
            by=by,
            source=source,
            source_sha256=digest,
            accept_good_rows=accept_good_rows,
            correct=correct,
            emptied=emptied,
        )

    def record_counts(
        self, counted, *, by: str, objects: pd.DataFrame | None = None, replace_hand_counts: str = ""
    ) -> ImportResult:
        """Enter counted photos: photos, objects, and a further revision of each sample they belong to.

        Parameters
        ----------
        counted : list of PhotoCount, CountedPhotos, or DataFrame
            What ``qckit.counting`` gives; or the columns of ``tables.PHOTOS`` with ``frame_mm2``.
        by : str
            Who had them counted.
        objects : DataFrame, optional
            Columns of the objects table, where ``counted`` is a frame.
        replace_hand_counts : str
            A reason: counts that are a person's own are replaced too. It is kept with the step.

        Returns
        -------
        ImportResult
            The same count again adds nothing; photos of no sample are entered without one, and noted. Samples counted
            by a person, and photos counted at another scale than the field sheet's, are left out: see ``.problems``.

        Raises
        ------
        InputError
            A photo is the same file as another under a different name, a sample lacks one of its photos, or a count
            does not agree with its objects.
        """
        steps.need_by(by)
        photos, found = as_frames(counted, objects)
        with engine.writing(self.engine) as connection:
            plan = counts.plan(connection, photos, found, replace_hand_counts=bool(replace_hand_counts.strip()))
            if plan.is_empty:
                return ImportResult({}, {"photos": plan.unchanged}, plan.notes, plan.problems)
            n_rows = len(plan.photos) + len(plan.objects) + len(plan.samples)
            source = f"photos, in place of hand counts: {replace_hand_counts}" if replace_hand_counts else "photos"
            number = steps.begin(connection, self, by=by, action="count", source=source, n_rows=n_rows)
            for name in ("samples", "photos", "objects"):
                steps.insert(connection, name, getattr(plan, name), number)
            if cells := shown_again(connection, plan.photos["photo"]):
                corrections.write(connection, number, cells=cells, at=self.now(), by=by, reason="counted anew")
        added = {name: len(getattr(plan, name)) for name in ("photos", "objects", "samples")}
        return ImportResult(added, {"photos": plan.unchanged}, plan.notes, plan.problems)

    def correct(self, table: str, key, column: str, after, *, by: str, reason: str) -> list[str]:
        """Correct one cell: what stood there stays on record.

        Parameters
        ----------
        table, column : str
        key : str or tuple
            The row's name; a tuple where several columns name it. To put all readings of a hatch to another: its name.
        after : object
            The right value; None or empty text leaves the cell empty. Text is read as a cell of a sheet is: a time
            without offset is the site's clock, dates stand in the site's order, a decimal comma is taken.
        by, reason : str
            Who, and why.

        Returns
        -------
        list of str
            What hardly can be in the row as it stands now.
        """
        need_no_count(table, key, column)
        after = typed.typed_cell(table, column, after, self.settings)
        corrections.need_reason(by, reason)
        if moving.is_move(table, column):
            with engine.writing(self.engine) as connection:
                moved = moving.put(connection, self, table, key=key, hatch=after, by=by, reason=reason)
                return self._doubts(connection, {table: moved})
        with engine.writing(self.engine) as connection:
            number = steps.begin(connection, self, by=by, action="correct", source=table, n_rows=1)
            cells, at = [(table, key, column, after)], self.now()
            rows = corrections.write(connection, number, cells=cells, at=at, by=by, reason=reason)
            doubtful = self._doubts(connection, rows)
        return doubtful + (self._photo_doubts([key]) if (table, column) in _OF_PHOTOS else [])

    def _doubts(self, connection, rows: dict[str, pd.DataFrame], step: int = 0) -> list[str]:
        return plausible.notes_on(connection, rows, self.settings.feed.max_g_per_l, self.now(), step=step)

    def _photo_doubts(self, samples: list[str]) -> list[str]:
        """Say of which samples' photos the file or the scale is missing, and which counts are not theirs."""
        rows = self.samples(sample=samples, counted=None) if samples else pd.DataFrame({"photos": []})
        if rows["photos"].isna().all():
            return []
        photos, scale_known = self.photos(sample=samples), self.only_scale() is not None
        with engine.reading(self.engine) as connection:
            named = counts.photos_named(connection)
        found = photo_doubts(self.folder, rows, photos, named=named, scale_known=scale_known)
        return plausible.in_words(
            [d for _, d in found],
            ("sample does not go with its photos as it is", "samples do not go with their photos as they are"),
        )

    def withdraw(self, table: str, key, *, by: str, reason: str) -> int:
        """Hide a row entered by mistake, with all that hangs on it; it stays on record. Returns the rows hidden."""
        with engine.writing(self.engine) as connection:
            return hiding.hide(connection, self, table, key, by=by, reason=reason)

    def reinstate(self, table: str, key, *, by: str, reason: str) -> int:
        """Show a withdrawn row again, with what was withdrawn together with it. Returns the rows shown."""
        with engine.writing(self.engine) as connection:
            return hiding.show(connection, self, table, key, by=by, reason=reason)

    def withdraw_step(self, step: int, *, by: str, reason: str) -> int:
        """Hide every row that one step brought, with all that hangs on them, in one step. Returns the rows hidden."""
        with engine.writing(self.engine) as connection:
            return hiding.hide_step(connection, self, step, by=by, reason=reason)

    def still_withdrawn(self, table: str, key) -> list[str]:
        """Say which rows that hang on a row are withdrawn, by which step and why."""
        with engine.reading(self.engine) as connection:
            return hiding.still_hidden(connection, table, key)

    def recount(self, sample: str, values: dict[str, int], *, by: str, reason: str, rest: str | None = None) -> None:
        """Enter a person's recount as a further revision of a sample.

        Parameters
        ----------
        sample : str
        values : dict of str to int
            ``nauplii`` and any of umbrella, cysts, embryos, shells.
        by, reason : str
        rest : {"keep", "empty"}, optional
            What becomes of earlier counts that the recount does not give: they are taken over, or become empty.

        Raises
        ------
        InputError
            An earlier count is not given again and ``rest`` does not say what becomes of it.
        """
        corrections.need_reason(by, reason)
        with engine.writing(self.engine) as connection:
            frame = hand_counts.recounted(connection, sample, values, by, rest)
            number = steps.begin(connection, self, by=by, action="recount", source=reason, n_rows=1)
            steps.insert(connection, "samples", frame, number)

    def correct_objects(
        self, photo: str, changes: pd.DataFrame, *, by: str, reason: str, frame_mm2: float | None = None
    ) -> ImportResult:
        """Correct objects of a photo by hand, and bring its sample's counts along as a further revision.

        Parameters
        ----------
        photo : str
        changes : DataFrame, shape (n, any)
            ``action`` (stage, remove, restore, leave out, add), ``object_id`` (not for add), ``stage`` (for stage and
            add), and for add ``x_px``, ``y_px`` and any other column of the objects table. ``source`` may say what an
            object becomes on stage and restore, for an undo.
        by, reason : str
            Who, and why.
        frame_mm2 : float, optional
            New counting frame of the photo, where a part of it was drawn; the counted volume follows it where the
            sheet gives a chamber depth. [mm²]
        """
        corrections.need_reason(by, reason)
        with engine.writing(self.engine) as connection:
            cells, new, change = hand_counts.object_changes(connection, photo, changes)
            cells = [("objects", *cell) for cell in cells] + hand_counts.frame_changes(connection, photo, frame_mm2)
            number = steps.begin(
                connection, self, by=by, action=corrections.ACTION, source=photo, n_rows=len(cells) + len(new)
            )
            steps.insert(connection, "objects", new, number)
            if cells:
                corrections.write(connection, number, cells=cells, at=self.now(), by=by, reason=reason)
            sample = hand_counts.sample_after_correction(connection, photo, by, change)
            steps.insert(connection, "samples", sample, number)
        return ImportResult({"corrections": len(cells), "objects": len(new), "samples": len(sample)})

    def photo_edits(self, photo: str) -> list[corrections.Edit]:
        """Return the hand corrections of a photo that still stand, oldest first."""
        with engine.reading(self.engine) as connection:
            return corrections.edits(connection, photo)

    def undo_last(self, photo: str, *, by: str) -> corrections.Edit | None:
        """Take back the last hand correction of a photo that its maker has not taken back yet.

        Parameters
        ----------
        photo : str
        by : str
            Whose; it is taken back in the same name. Corrections of others stay.

        Returns
        -------
        Edit or None
            What was taken back; None when nothing of this person is left.

        Raises
        ------
        InputError
            Somebody else has changed the same thing since.
        """
        steps.need_by(by)
        with engine.writing(self.engine) as connection:
            edit = corrections.last_edit(connection, photo, by)
            if edit is None:
                return None
            cells, change = corrections.reverse(connection, photo, edit)
            number = steps.begin(
                connection, self, by=by, action=corrections.action_of(edit), source=photo, n_rows=len(cells)
            )
            corrections.write(connection, number, cells=cells, at=self.now(), by=by, reason=f"undone: {edit.reason}")
            sample = hand_counts.sample_after_correction(connection, photo, by, change)
            steps.insert(connection, "samples", sample, number)
        return edit

    def last_step(self) -> int:
        """Return the number of the newest step: another number than before means that somebody wrote."""
        with engine.reading(self.engine) as connection:
            return steps.last(connection)

    # ---- looking after -------------------------------------------------------------------------------------------

    def history(self, name: str):
        """Return the descent of the figures of a hatch, sample or photo; see :class:`qckit.log.history.History`."""
        from qckit.log import history

        return history.trace(self, name)

    def check(self, *, photos: bool = True) -> pd.DataFrame:
        """Return what looks wrong in the log, each with what to do; see :mod:`qckit.log.check`."""
        from qckit.log import check

        return check.check_log(self, photos=photos)

    def backup(self, path: str | Path | None = None) -> Path:
        """Write a verified copy of the log while it is in use; see :mod:`qckit.log.backup`."""
        from qckit.log import backup

        return backup.back_up(self, path)
