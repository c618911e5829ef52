"""The log's tables in the database: those of ``qckit.tables`` plus what the log itself needs.

Every record table only grows: triggers refuse UPDATE and DELETE. A change is a row of ``corrections``; a recount is a
further ``revision``. ``steps`` holds one row for each thing that was done (an import, a count, a correction), with
who, when, from which file and with which software, and every record names the step it came with.
"""

from __future__ import annotations

import sqlalchemy as sa

from qckit.tables import TABLES

__all__ = [
    "AUTOMATIC",
    "ENTERED",
    "INTERNAL_COLUMNS",
    "KEYS",
    "METADATA",
    "ORDER",
    "PARENTS",
    "REVISED",
    "SCHEMA_VERSION",
    "TIME_COLUMN",
    "guard_statements",
    "table",
]

SCHEMA_VERSION = 4

KEYS: dict[str, tuple[str, ...]] = {
    "lots": ("lot",),
    "hatches": ("hatch",),
    "readings": ("hatch", "taken", "quantity"),
    "samples": ("sample",),
    "photos": ("photo",),
    "objects": ("photo", "object_id"),
    "baselines": ("baseline",),
    "signals": ("signal",),
    "scales": ("camera", "magnification", "set_at"),
    "certificates": ("certificate",),
    "checks": ("hatch", "check", "planned_at"),
    "reports": ("report",),
    "changes": ("change",),
    "feeds": ("feed",),
    "setting_changes": ("setting_change",),
}
"""Record table -> the columns that name a row (beside its revision)."""

ORDER = tuple(KEYS)
"""Record tables, parents before children."""

AUTOMATIC = ("setting_changes",)
"""Tables that the log writes by itself: nobody enters, corrects or withdraws rows of them."""

ENTERED = tuple(name for name in ORDER if name not in AUTOMATIC)
"""Record tables that people and reports enter, parents before children."""

REVISED = ("samples", "photos", "objects")
"""Tables in which a recount adds a further revision of the same key."""

PARENTS: dict[str, tuple[tuple[str, str, str], ...]] = {
    "hatches": (("lot", "lots", "lot"),),
    "readings": (("hatch", "hatches", "hatch"),),
    "samples": (("hatch", "hatches", "hatch"),),
    "photos": (("sample", "samples", "sample"),),
    "objects": (("photo", "photos", "photo"),),
    "checks": (("hatch", "hatches", "hatch"),),
    "feeds": (("hatch", "hatches", "hatch"),),
}
"""Table -> (column, parent table, parent column)."""

TIME_COLUMN = {"hatches": "started", "samples": "taken", "readings": "taken"}
"""Table -> its time column; ``<column>_utc`` beside it is the same instant in UTC, for comparing and sorting."""

INTERNAL_COLUMNS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(KEYS, ("step",)),
    "hatches": ("started_utc", "step"),
    "readings": ("taken_utc", "step"),
    "samples": ("taken_utc", "step"),
    "photos": ("revision", "sample_revision", "step"),
    "objects": ("revision",),
    "corrections": ("correction", "key1", "revision", "step"),
}
"""Table -> columns the database has beyond the contract, kept from queries unless asked for."""

METADATA = sa.MetaData()

_TYPE = {
    "text": sa.Text,
    "choice": sa.Text,
    "time": sa.Text,
    "date": sa.Text,
    "int": sa.BigInteger,
    "float": sa.Double,
    "yesno": sa.Boolean,
}
# part of a key, and so never empty, although the contract lets a sheet leave it out
_NOT_NULL = {("samples", "revision"), ("objects", "object_id")}
# filled later, by counting: the contract wants it, the sheet may leave it to the photos
_LATER = {("samples", "nauplii")}


def _step() -> sa.Column:
    return sa.Column("step", sa.BigInteger, sa.ForeignKey("steps.step"), nullable=False)


def _contract_columns(name: str) -> list[sa.Column]:
    columns = []
    for column in TABLES[name]:
        where = (name, column.name)
        needed = (column.required and where not in _LATER) or where in _NOT_NULL
        columns.append(sa.Column(column.name, _TYPE[column.kind], nullable=not needed))
    return columns


_EXTRA = {
    "hatches": lambda: [
        sa.Column("started_utc", sa.Text, nullable=False),
        sa.ForeignKeyConstraint(["lot"], ["lots.lot"]),
        sa.Index("ix_hatches_started_utc", "started_utc"),
        sa.Index("ix_hatches_lot", "lot", "started_utc"),
    ],
    "readings": lambda: [
        sa.Column("taken_utc", sa.Text, nullable=False),
        sa.ForeignKeyConstraint(["hatch"], ["hatches.hatch"]),
    ],
    "samples": lambda: [
        sa.Column("taken_utc", sa.Text, nullable=False),
        sa.ForeignKeyConstraint(["hatch"], ["hatches.hatch"]),
        sa.Index("ix_samples_hatch", "hatch"),
    ],
    "photos": lambda: [
        sa.Column("revision", sa.BigInteger, nullable=False),
        sa.Column("sample_revision", sa.BigInteger),
        sa.ForeignKeyConstraint(["sample", "sample_revision"], ["samples.sample", "samples.revision"]),
        sa.Index("ix_photos_sample", "sample"),
        sa.Index("ix_photos_sha256", "sha256"),
    ],
    "objects": lambda: [
        sa.Column("revision", sa.BigInteger, nullable=False),
        sa.ForeignKeyConstraint(["photo", "revision"], ["photos.photo", "photos.revision"]),
    ],
    "signals": lambda: [sa.Index("ix_signals_chart", "chart", "lot")],
    "checks": lambda: [sa.ForeignKeyConstraint(["hatch"], ["hatches.hatch"])],
    "feeds": lambda: [sa.ForeignKeyConstraint(["hatch"], ["hatches.hatch"])],
}


def _build(name: str) -> sa.Table:
    extra = _EXTRA.get(name, list)()
    key = [*KEYS[name], "revision"] if name in REVISED else list(KEYS[name])
    step = [] if name == "objects" else [_step()]
    # objects of one photo lie together on the disk, so that a photo's objects are one short read
    options = {"sqlite_with_rowid": False} if name == "objects" else {}
    return sa.Table(name, METADATA, *_contract_columns(name), *extra, *step, sa.PrimaryKeyConstraint(*key), **options)


META = sa.Table("meta", METADATA, sa.Column("name", sa.Text, primary_key=True), sa.Column("value", sa.Text))

STEPS = sa.Table(
    "steps",
    METADATA,
    sa.Column("step", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("at", sa.Text, nullable=False),
    sa.Column("by", sa.Text, nullable=False),
    sa.Column("action", sa.Text, nullable=False),
    sa.Column("source", sa.Text),
    sa.Column("source_sha256", sa.Text),
    sa.Column("software", sa.Text, nullable=False),
    sa.Column("n_rows", sa.BigInteger, nullable=False),
)

for _name in KEYS:
    _build(_name)

CORRECTIONS = sa.Table(
    "corrections",
    METADATA,
    sa.Column("correction", sa.BigInteger, primary_key=True, autoincrement=False),
    *_contract_columns("corrections"),
    sa.Column("key1", sa.Text, nullable=False),  # first part of the key: the photo, for corrections of objects
    sa.Column("revision", sa.BigInteger),  # the revision that was corrected, where the table has revisions
    _step(),
    sa.Index("ix_corrections_table_key1", "table", "key1"),
    sa.Index("ix_corrections_table_column", "table", "column"),
)


def table(name: str) -> sa.Table:
    """Return the database table of a name."""
    return METADATA.tables[name]


def guard_statements(dialect: str, names=(*ORDER, "corrections", "steps")) -> list[str]:
    """Return the DDL that makes the database itself refuse to change or delete records.

    Parameters
    ----------
    dialect : str
        ``sqlite`` or ``postgresql``.
    names : sequence of str
        Tables to guard.
    """
    refusal = "qckit: records are never changed or deleted; write a correction"
    if dialect == "sqlite":
        return [
            f"CREATE TRIGGER IF NOT EXISTS guard_{name}_{verb.lower()} BEFORE {verb} ON {name} "
            f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END"
            for name in names
            for verb in ("UPDATE", "DELETE")
        ]
    function = (
        "CREATE OR REPLACE FUNCTION qckit_guard() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{refusal}'; END $$"
    )
    return [
        function,
        *(
            f"CREATE OR REPLACE TRIGGER guard_{name} BEFORE UPDATE OR DELETE OR TRUNCATE ON {name} "
            "FOR EACH STATEMENT EXECUTE FUNCTION qckit_guard()"
            for name in names
        ),
    ]
