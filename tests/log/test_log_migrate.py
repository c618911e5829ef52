"""Older logs are brought up to date after a backup; newer ones are refused."""

# ruff: noqa: E501  whole messages

import sqlite3

import pytest
import sqlalchemy as sa
from invented_log import HATCHES, LOTS, SAMPLES, counted

from qckit.errors import InputError
from qckit.log import engine, migrate, open_log, schema
from qckit.log.backup import verify

ADDED_IN_2 = ("baselines", "signals", "scales", "certificates", "checks", "reports")


def make_version_1(database):
    """Turn a fresh log into one as version 1 made it: without the tables and columns of version 2."""
    with engine.writing(database) as connection:
        for name in ADDED_IN_2:
            connection.exec_driver_sql(f"DROP TABLE {name}")
        connection.exec_driver_sql("ALTER TABLE samples DROP COLUMN um_per_px")
        connection.exec_driver_sql("ALTER TABLE photos DROP COLUMN frame_mm2")
        connection.exec_driver_sql("UPDATE meta SET value = '1' WHERE name = 'schema_version'")


def columns(database):
    """Return every table with its columns, whatever their order."""
    with engine.reading(database) as connection:
        look = sa.inspect(connection)
        return {t: sorted(c["name"] for c in look.get_columns(t)) for t in look.get_table_names()}


def test_an_older_log_is_upgraded_after_a_backup(site, log):
    fresh = columns(log.engine)
    frames = {"lots": LOTS, "hatches": HATCHES, "samples": SAMPLES}
    log.add_many(frames, by="op1")
    make_version_1(log.engine)
    log.close()
    with pytest.raises(InputError) as caught:
        open_log(site, upgrade=False)
    assert str(caught.value) == (f"{site}/log.sqlite: the log has schema version 1 and must be brought to 2 first. Run  qckit "
                                 "log upgrade.")  # fmt: skip
    with open_log(site) as upgraded:
        assert columns(upgraded.engine) == fresh
        assert len(upgraded.hatches()) == 2
        assert not any(upgraded.add_many(frames, by="op1").added.values())
        photos, objects = counted()
        upgraded.record_counts(photos, objects=objects, by="op1")
        with pytest.raises(InputError, match="never changed or deleted"), engine.writing(upgraded.engine) as connection:
            connection.exec_driver_sql("DELETE FROM hatches")
    (backup,) = (site / "backups").glob("log-version-1-*.sqlite")
    assert verify(backup) == 1
    with sqlite3.connect(backup) as old:
        assert old.execute("SELECT value FROM meta WHERE name = 'schema_version'").fetchone() == ("1",)


def test_an_older_log_on_a_server(postgres_url, tmp_path, monkeypatch):
    from qckit.log import create_log, new_site, restore

    monkeypatch.chdir(tmp_path)  # an address alone has no site folder: backups lie where we are

    create_log(postgres_url)
    with open_log(postgres_url) as log:
        fresh = columns(log.engine)
        log.add_many({"lots": LOTS, "hatches": HATCHES, "samples": SAMPLES}, by="op1")
        make_version_1(log.engine)
    with open_log(postgres_url) as upgraded:
        assert columns(upgraded.engine) == fresh
        assert len(upgraded.samples(counted=None)) == 3
        held = upgraded.hatches()
    (backup,) = (tmp_path / "backups").glob("log-version-1-*.zip")
    restore(backup, new_site(tmp_path / "old"))  # a package of an older version can be read as well
    with open_log(tmp_path / "old") as old:
        assert len(old.samples(counted=None)) == 3
        assert old.hatches().equals(held)


def test_an_upgrade_that_fails_changes_nothing(site, log, monkeypatch):
    make_version_1(log.engine)
    before = columns(log.engine)
    log.close()

    def breaks(connection):
        migrate._to_2(connection)
        raise InputError("the power went out")

    monkeypatch.setitem(migrate.MIGRATIONS, 1, breaks)
    with pytest.raises(InputError, match="the power went out"):
        open_log(site)
    database = engine.make_engine(f"sqlite:///{site}/log.sqlite")
    assert columns(database) == before
    database.dispose()


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
