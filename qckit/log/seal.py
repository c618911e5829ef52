"""The seal of a log: one SHA-256 over all records up to a step, by which anyone can tell later that none was changed.

Records only grow, so the records up to a step are the same for ever, and so is their seal. It is never kept in the log
itself, where whoever changes the records could change it too: pages, backups and people hold it.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass

import sqlalchemy as sa

from qckit.errors import InputError
from qckit.log import engine, meta, schema
from qckit.log.corrections import ACTION, is_undo

__all__ = ["PAGE_STEP", "Seal", "odd_steps", "seal_of", "seals", "step_sums"]

PAGE_STEP = {"by": "qckit", "source": "report"}
"""Of a step that only notes that a page was made: a page cites the records without it, so that it can be made again."""


@dataclass(frozen=True)
class Seal:
    """The seal of the records up to a step.

    Attributes
    ----------
    step : int
    sha256 : str
        64 hexadecimal digits.

    Examples
    --------
    >>> log.Seal.read("14-" + "0f" * 32).step
    14
    """

    step: int
    sha256: str

    def __str__(self) -> str:
        """Return it as it is written on pages and typed at the command line."""
        return f"{self.step}-{self.sha256}"

    @classmethod
    def read(cls, text: str) -> Seal:
        """Read a seal as a page or ``qckit log seal`` writes it; blanks and capitals do not matter."""
        plain = re.sub(r"\s+", "", str(text)).casefold()
        found = re.fullmatch(r"(\d{1,12})-([0-9a-f]{64})", plain)
        if found is None:
            raise InputError(
                f"{str(text)[:80]!r} is no seal. Write it as the page's foot has it: the step's number, a hyphen and "
                "64 digits from 0 to f."
            )
        return cls(int(found[1]), found[2])


def seal_of(log, *, for_page: bool = False) -> Seal:
    """Return the seal of all that a log holds now.

    Parameters
    ----------
    log : SiteLog
    for_page : bool
        Leave out the newest steps as far as they only note pages.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     now, again = log.seal_of(records), log.seal_of(records)
    >>> now == again
    True
    """
    with engine.reading(log.engine) as connection:
        last = _last_step(connection, for_page=for_page)
        return Seal(last, seals(connection)[last])


def _last_step(connection, *, for_page: bool) -> int:
    s = schema.STEPS.c
    # a source left empty is no page either
    is_page = sa.and_(s.by == PAGE_STEP["by"], sa.func.coalesce(s.source, "") == PAGE_STEP["source"])
    newest = sa.select(sa.func.max(s.step))
    return connection.execute(newest.where(sa.not_(is_page)) if for_page else newest).scalar() or 0


def seals(connection) -> dict[int, str]:
    """Return the seal of the records up to each step, and of the empty log under 0.

    Parameters
    ----------
    connection : Connection
        From :func:`qckit.log.engine.reading`.

    Returns
    -------
    dict of int to str

    Notes
    -----
    A step's seal is the SHA-256 of the seal before it and of :func:`step_sums`; the first is that of the log's name.
    """
    found = {0: hashlib.sha256(meta.log_id(connection).encode()).hexdigest()}
    last = 0
    for step, digest in sorted(step_sums(connection).items()):
        found[step] = hashlib.sha256(bytes.fromhex(found[last]) + digest).hexdigest()
        last = step
    return found


def step_sums(connection) -> dict[int, bytes]:
    """Return the SHA-256 of what each step brought.

    Notes
    -----
    A row is written as JSON: its table and its filled cells in order of their names, so that a column that a later
    version adds, empty in older rows, changes no sum. The rows of a step stand in the order of the tables and their
    keys. Objects belong to the step that counted their photo, or that added them by hand.
    """
    sums = {step: hashlib.sha256(line) for step, line in _lines(connection, schema.STEPS)}
    for name in schema.ORDER:
        lines = _object_lines(connection) if name == "objects" else _lines(connection, schema.table(name))
        _add(sums, lines)
    _add(sums, _lines(connection, schema.CORRECTIONS))
    return {step: running.digest() for step, running in sums.items()}


def _add(sums: dict, lines) -> None:
    for step, line in lines:
        if step not in sums:  # its own row was taken away: the row still counts, and the seal differs
            sums[step] = hashlib.sha256()
        sums[step].update(line)


def _written(name: str, columns: list[str], row) -> bytes:
    """Write a row's filled cells; ``columns`` are in order of their names."""
    cells = {c: v for c, v in zip(columns, row, strict=True) if v is not None}
    return json.dumps([name, cells], ensure_ascii=False, separators=(",", ":")).encode() + b"\n"


def _ordered(connection, t: sa.Table, names: list[str]):
    """Select a table's rows in the order of their key; text by its bytes, the same on both stores."""
    is_server = connection.dialect.name == "postgresql"
    key = [sa.collate(c, "C") if is_server and isinstance(c.type, sa.Text) else c for c in t.primary_key.columns]
    statement = sa.select(*(t.c[name] for name in names)).order_by(*key)
    return connection.execution_options(yield_per=50_000).execute(statement)


def _lines(connection, t: sa.Table):
    """Yield (step, line) for each row of a table that names its step."""
    names = sorted(t.columns.keys())
    at = names.index("step")
    for row in _ordered(connection, t, names):
        yield row[at], _written(t.name, names, row)


# the cells of every object, in this order for ever: a column that comes later stands behind, with its name
_OBJECT = (
    *("area_um2", "counted", "length_um", "object_id", "on_edge"),
    *("p_cyst", "p_debris", "p_nauplius", "p_shell", "p_umbrella"),
    *("photo", "revision", "source", "stage", "width_um", "x_px", "y_px"),
)


def _object_lines(connection):
    """Yield (step, line) for each object; a million of them are read, so they are written as Python writes a tuple."""
    photos = schema.table("photos").c
    counted = {(p, r): s for p, r, s in connection.execute(sa.select(photos.photo, photos.revision, photos.step))}
    later = _steps_of_additions(connection, counted)
    t = schema.table("objects")
    newer = sorted(c.name for c in t.columns if c.name not in _OBJECT)
    rows = _ordered(connection, t, [*_OBJECT, *newer])
    photo, revision, n = _OBJECT.index("photo"), _OBJECT.index("revision"), len(_OBJECT)
    kept: dict[tuple, list[bytes]] = {}  # objects of one photo come together, those of its counts mixed
    of_photo = None

    def let_go():
        for key, lines in kept.items():
            added = later.get(key, [])
            n_counted = max(len(lines) - len(added), 0)
            yield counted.get(key, 0), b"".join(lines[:n_counted])
            yield from zip(added, lines[n_counted:], strict=False)
        kept.clear()

    for row in rows:
        if row[photo] != of_photo:
            yield from let_go()
            of_photo = row[photo]
        line = f"{row[:n]!r}\n".encode()
        if newer:
            line += repr([(c, v) for c, v in zip(newer, row[n:], strict=True) if v is not None]).encode()
        kept.setdefault((of_photo, row[revision]), []).append(line)
    yield from let_go()


def _steps_of_additions(connection, counted: dict[tuple, int]) -> dict[tuple, list[int]]:
    """For each count of a photo, the steps that added objects to it by hand, a step for each object.

    An object has no step of its own. Added ones have the highest numbers, in the order of their steps; how many a step
    added is what it brought beside its corrections.
    """
    s, c = schema.STEPS.c, schema.CORRECTIONS.c
    fixes = sa.select(c.step, sa.func.count().label("n")).where(c.table.in_(("objects", "photos"))).group_by(c.step)
    fixes = fixes.subquery()
    new = s.n_rows - sa.func.coalesce(fixes.c.n, 0)
    done = (
        sa.select(s.step, s.source, new)
        .outerjoin(fixes, fixes.c.step == s.step)
        .where(s.action == ACTION, new > 0)
        .order_by(s.step)
    )
    revisions: dict[str, list[tuple[int, int]]] = {}
    for (photo, revision), step in counted.items():
        revisions.setdefault(photo, []).append((step, revision))
    found: dict[tuple, list[int]] = {}
    for step, photo, n in connection.execute(done):
        before = [r for counted_at, r in revisions.get(photo, ()) if counted_at < step]
        if before:
            found.setdefault((photo, max(before)), []).extend([step] * int(n))
    return found


_COUNTED_ACTIONS = ("settings", "import", "count", "correct", "recount", "withdraw", "reinstate", ACTION)


def odd_steps(connection) -> list[tuple[int, str]]:
    """Find steps that are not there, and steps that brought more or fewer rows than the log holds of them.

    Returns
    -------
    list of (int, str)
        The step's number, and what is odd about it.
    """
    s = schema.STEPS.c
    steps = connection.execute(sa.select(s.step, s.action, s.n_rows).order_by(s.step)).all()
    rows = _rows_by_step(connection)
    found, numbers = [], {step for step, *_ in steps}
    gaps = set(range(1, max([*numbers, *rows, 0]) + 1)) - numbers
    found += [(step, "is not in the log any more") for step in sorted(gaps)]
    for step, action, n_rows in steps:
        of_step = dict(rows.get(step, {}))
        if action not in _COUNTED_ACTIONS and not is_undo(action):
            continue  # a day's entry counts as one, whatever rows it takes
        if action == ACTION or is_undo(action):
            of_step.pop("samples", None)  # the sample's counts, which follow
        for table in schema.AUTOMATIC if action != "settings" else ():
            of_step.pop(table, None)  # what the step met, and did not bring
        n = sum(of_step.values())
        if n != n_rows:
            found.append((step, f"brought {n_rows} rows ({action}), and the log holds {n} of it"))
    return found


def _rows_by_step(connection) -> dict[int, dict[str, int]]:
    found: dict[int, dict[str, int]] = {}
    for name in (*schema.ORDER, "corrections"):
        if name == "objects":
            continue
        step = schema.table(name).c.step
        for number, n in connection.execute(sa.select(step, sa.func.count()).group_by(step)):
            found.setdefault(int(number), {})[name] = int(n)
    photos, objects = schema.table("photos").c, schema.table("objects").c
    counted = {(p, r): s for p, r, s in connection.execute(sa.select(photos.photo, photos.revision, photos.step))}
    later = _steps_of_additions(connection, counted)
    per_count = sa.select(objects.photo, objects.revision, sa.func.count()).group_by(objects.photo, objects.revision)
    for photo, revision, n in connection.execute(per_count):
        added = later.get((photo, revision), [])
        for number, k in ((counted.get((photo, revision), 0), n - len(added)), *((step, 1) for step in added)):
            of_step = found.setdefault(int(number), {})
            of_step["objects"] = of_step.get("objects", 0) + int(k)
    return found
