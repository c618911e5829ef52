"""Older logs are brought up to date after a backup; newer ones are refused."""

# ruff: noqa: E501  whole messages

import sqlite3
from contextlib import closing
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa
from invented_log import HATCHES, LOTS, SAMPLES, counted

from qckit.errors import InputError
from qckit.log import engine, migrate, new_site, open_log, restore, schema
from qckit.log.backup import verify

HERE = Path(__file__).parent
V1_TABLES = ("lots", "hatches", "readings", "samples", "photos", "objects", "corrections", "steps")


@pytest.fixture
def old_site(site):
    """Give a site whose log is the frozen one of version 1."""
    (site / "log.sqlite").unlink()
    with closing(sqlite3.connect(site / "log.sqlite")) as connection:
        connection.executescript((HERE / "log_version_1.sqlite.sql").read_text(encoding="utf-8"))
    return site


@pytest.fixture
def old_server(postgres_url):
    """Give the address of a database with the frozen log of version 1."""
    import psycopg

    plain = sa.make_url(postgres_url).set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(plain) as connection:
        connection.execute((HERE / "log_version_1.postgresql.sql").read_text(encoding="utf-8"))
    return postgres_url


def entered(connection):
    """Return every row of every table that version 1 had, in the columns it had."""
    rows = {}
    for name in V1_TABLES:
        t = sa.Table(name, sa.MetaData(), autoload_with=connection)
        kept = [c for c in t.columns if (name, c.name) not in (("samples", "um_per_px"), ("photos", "frame_mm2"))]
        found = connection.execute(sa.select(*kept)).all()
        rows[name] = sorted((dict(zip([c.name for c in kept], row, strict=True)) for row in found), key=str)
    return rows


def held(url):
    """Return what :func:`entered` says of a log, without opening it as a log."""
    database = engine.make_engine(url)
    with database.connect() as connection:
        found = entered(connection)
    database.dispose()
    return found


def is_as_it_should_be(log, fresh):
    """Check the frozen log after its upgrade: shape, records, corrections, guards, and that work goes on."""
    assert columns(log.engine) == fresh
    assert log.hatches()["cysts_g"].tolist() == [1.6, 40.0]  # with its correction
    assert log.samples()[["sample", "nauplii", "revision"]].values.tolist() == [
        ["S-1", 99, 1],
        ["S-2", 6, 1],
        ["S-3", 90, 0],
    ]
    assert (len(log.objects()), log.readings()["value"].tolist(), len(log.steps())) == (14, [27.8], 5)
    assert "correction of hatches H-1: cysts_g: 1.602 -> 1.6" in log.history("H-1").text
    assert not any(log.add_many({"lots": LOTS, "hatches": HATCHES, "samples": SAMPLES}, by="op1").added.values())
    photos, objects = counted(version="t-2")
    log.record_counts(photos, objects=objects, by="op1")
    assert log.photos()["frame_mm2"].tolist() == [100.0, 100.0]
    at = "2026-11-05T10:00:00+00:00"
    log.add("checks", pd.DataFrame({"hatch": ["H-1"], "check": ["weigh"], "planned_at": [at], "by": ["op1"]}), by="op1")
    for statement in ("DELETE FROM hatches", "UPDATE samples SET nauplii = 1", "DELETE FROM checks"):
        with pytest.raises(InputError, match="never changed or deleted"), engine.writing(log.engine) as connection:
            connection.exec_driver_sql(statement)


def columns(database):
    """Return every table with its columns, whatever their order, and its indexes."""
    with engine.reading(database) as connection:
        look = sa.inspect(connection)
        return {
            t: sorted(c["name"] for c in (*look.get_columns(t), *look.get_indexes(t))) for t in look.get_table_names()
        }


def test_an_older_log_is_upgraded_after_a_backup(old_site, tmp_path):
    url = f"sqlite:///{old_site}/log.sqlite"
    with open_log(new_site(tmp_path / "fresh")) as log:
        fresh = columns(log.engine)
    before = held(url)
    with pytest.raises(InputError) as caught:
        open_log(old_site, upgrade=False)
    assert str(caught.value) == (
        f"{old_site}/log.sqlite: the log has schema version 1 and must be brought to 2 first. Run  qckit log upgrade."
    )
    with open_log(old_site) as log:
        assert held(url) == before
        is_as_it_should_be(log, fresh)
    (backup,) = (old_site / "backups").glob("log-version-1-*.sqlite")
    assert verify(backup) == 5
    assert held(f"sqlite:///{backup}") == before
    other = new_site(tmp_path / "other")
    (other / "log.sqlite").unlink()
    restore(backup, other)
    with open_log(other) as log:  # the backup can be upgraded as well
        assert len(log.hatches()) == 2


def test_an_older_log_on_a_server(old_server, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # an address alone has no site folder: backups lie where we are
    with open_log(new_site(tmp_path / "fresh")) as log:
        fresh = columns(log.engine)
    before = held(old_server)
    with open_log(old_server) as log:
        assert held(old_server) == before
        hatches = log.hatches()
        is_as_it_should_be(log, fresh)
    (backup,) = (tmp_path / "backups").glob("log-version-1-*.zip")
    restore(backup, new_site(tmp_path / "old"))  # a package of an older version can be read as well
    assert held(f"sqlite:///{tmp_path}/old/log.sqlite") == before
    with open_log(tmp_path / "old") as old:
        assert len(old.samples(counted=None)) == 3
        assert old.hatches().equals(hatches)


def test_both_frozen_logs_hold_the_same(old_site, old_server):
    assert held(f"sqlite:///{old_site}/log.sqlite") == held(old_server)


def test_an_upgrade_that_fails_changes_nothing(old_site, monkeypatch):
    url = f"sqlite:///{old_site}/log.sqlite"
    before = held(url)

    def breaks(connection):
        migrate._to_2(connection)
        raise InputError("the power went out")

    monkeypatch.setitem(migrate.MIGRATIONS, 1, breaks)
    with pytest.raises(InputError, match="the power went out"):
        open_log(old_site)
    assert held(url) == before
    with pytest.raises(InputError, match="has schema version 1 and must be brought"):
        open_log(old_site, upgrade=False)


def test_a_newer_log_is_refused_and_left_alone(site, log):
    with engine.writing(log.engine) as connection:
        connection.exec_driver_sql("UPDATE meta SET value = '99' WHERE name = 'schema_version'")
    log.close()
    with pytest.raises(InputError) as caught:
        open_log(site)
    assert str(caught.value) == (
        f"{site}/log.sqlite: the log has schema version 99, and this qckit knows {schema.SCHEMA_VERSION} at most. Nothing "
        "was changed. Upgrade qckit (pip install --upgrade qckit) on this computer."
    )
    assert not (site / "backups").exists()


def test_every_version_has_its_migration():
    assert sorted(migrate.MIGRATIONS) == list(range(1, schema.SCHEMA_VERSION))
