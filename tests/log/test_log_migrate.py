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
from qckit.log import engine, export_zip, migrate, new_site, open_log, restore, schema, seal_of
from qckit.log.backup import verify
from qckit.log.packing import digest
from qckit.log.proof import against_seal

HERE = Path(__file__).parent
V1_TABLES = ("lots", "hatches", "readings", "samples", "photos", "objects", "corrections", "steps")
V2_TABLES = (*V1_TABLES, "baselines", "signals", "scales", "certificates", "checks", "reports")
V3_TABLES = (*V2_TABLES, "changes", "feeds")
LATER = {
    1: (("samples", "um_per_px"), ("photos", "frame_mm2")),
    2: tuple(("samples", c) for c in ("harvest_ml", "harvest_g", "separation", "lost_nauplii")),
    3: (),
}
"""Version -> columns that its successor added to tables it has."""


def frozen_site(site, version):
    """Put the frozen log of a version in place of a site's own."""
    (site / "log.sqlite").unlink()
    with closing(sqlite3.connect(site / "log.sqlite")) as connection:
        connection.executescript((HERE / f"log_version_{version}.sqlite.sql").read_text(encoding="utf-8"))
    return site


def frozen_server(url, version):
    """Fill an empty database with the frozen log of a version."""
    import psycopg

    plain = sa.make_url(url).set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(plain) as connection:
        connection.execute((HERE / f"log_version_{version}.postgresql.sql").read_text(encoding="utf-8"))
    return url


@pytest.fixture
def old_site(site):
    """Give a site whose log is the frozen one of version 1."""
    return frozen_site(site, 1)


@pytest.fixture
def old_server(postgres_url):
    """Give the address of a database with the frozen log of version 1."""
    return frozen_server(postgres_url, 1)


def entered(connection, version):
    """Return every row of every table that a version had, in the columns it had."""
    later = {place for v, places in LATER.items() if v >= version for place in places}
    rows = {}
    for name in {1: V1_TABLES, 2: V2_TABLES, 3: V3_TABLES}[version]:
        t = sa.Table(name, sa.MetaData(), autoload_with=connection)
        kept = [c for c in t.columns if (name, c.name) not in later]
        found = connection.execute(sa.select(*kept)).all()
        rows[name] = sorted((dict(zip([c.name for c in kept], row, strict=True)) for row in found), key=str)
    return rows


def held(url, version=1):
    """Return what :func:`entered` says of a log, without opening it as a log."""
    database = engine.make_engine(url)
    with database.connect() as connection:
        found = entered(connection, version)
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
        f"{old_site}/log.sqlite: the log has schema version 1 and must be brought to {schema.SCHEMA_VERSION} first. Run  qckit log upgrade."
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


@pytest.mark.parametrize("version", [1, 2, 3])
def test_both_frozen_logs_hold_the_same(site, postgres_url, version):
    frozen_site(site, version)
    frozen_server(postgres_url, version)
    assert held(f"sqlite:///{site}/log.sqlite", version) == held(postgres_url, version)


def test_a_version_is_frozen_as_it_is_and_never_written_over(tmp_path, site):
    from freeze_version import freeze_sqlite

    path = freeze_sqlite(tmp_path)
    assert path.name == f"log_version_{schema.SCHEMA_VERSION}.sqlite.sql"
    (site / "log.sqlite").unlink()
    with closing(sqlite3.connect(site / "log.sqlite")) as connection:
        connection.executescript(path.read_text(encoding="utf-8"))
    with open_log(site) as log:
        assert log.hatches()["cysts_g"].tolist() == [1.6, 40.0]
        with pytest.raises(InputError, match="never changed or deleted"), engine.writing(log.engine) as connection:
            connection.exec_driver_sql("UPDATE lots SET notes = 'x'")
    with pytest.raises(SystemExit, match="never written over"):
        freeze_sqlite(tmp_path)


def harvest_and_feed(log):
    """Use what version 3 brought, on a log that came from version 2."""
    at = "2026-11-05T10:00:00+00:00"
    assert log.baselines()["baseline"].tolist() == ["b-1"] and log.signals()["signal"].tolist() == ["s-1"]
    assert log.hatches()["cysts_g"].tolist() == [1.6, 40.0]
    assert log.changes().empty and log.feeds().empty and log.samples()["harvest_ml"].isna().all()
    harvest = SAMPLES.head(1).assign(sample="H", kind="harvest", harvest_ml=500.0, separation="light", lost_nauplii=3)
    log.add("samples", harvest, by="op1")
    change = {"change": ["k-1"], "found_at": [at], "found_by": ["op1"], "month": ["2026-10"], "quantity": ["hatch_pct"]}
    log.add("changes", pd.DataFrame(change | {"factor": ["cone"], "first": [at], "state": ["open"]}), by="op1")
    log.correct("changes", "k-1", "state", "explained", by="op1", reason="the cone was replaced")
    log.add("feeds", pd.DataFrame({"feed": ["f-1"], "fed": [at], "hatch": ["H-1"], "nauplii": [2e6]}), by="op1")
    assert log.changes(state="explained")["change"].tolist() == ["k-1"] and log.changes(state="open").empty
    assert log.feeds(hatch="H-1")["nauplii"].tolist() == [2e6]
    row = log.samples(kind="harvest").iloc[0]
    assert (row["harvest_ml"], row["separation"], row["lost_nauplii"]) == (500.0, "light", 3)
    for statement in ("DELETE FROM changes", "UPDATE feeds SET nauplii = 1"):
        with pytest.raises(InputError, match="never changed or deleted"), engine.writing(log.engine) as connection:
            connection.exec_driver_sql(statement)


def test_version_2_is_upgraded(site, tmp_path):
    url = f"sqlite:///{frozen_site(site, 2)}/log.sqlite"
    with open_log(new_site(tmp_path / "fresh")) as log:
        fresh = columns(log.engine)
    before = held(url, 2)
    with open_log(site) as log:
        assert held(url, 2) == before
        assert columns(log.engine) == fresh
        harvest_and_feed(log)
        package = export_zip(log, tmp_path / "all.zip")
        mine = digest(log)
    (backup,) = (site / "backups").glob("log-version-2-*.sqlite")
    assert held(f"sqlite:///{backup}", 2) == before
    restore(package, new_site(tmp_path / "other"))
    with open_log(tmp_path / "other") as log:
        assert digest(log) == mine


def test_version_2_is_upgraded_on_a_server(postgres_url, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    frozen_server(postgres_url, 2)
    with open_log(new_site(tmp_path / "fresh")) as log:
        fresh = columns(log.engine)
    before = held(postgres_url, 2)
    with open_log(postgres_url) as log:
        assert held(postgres_url, 2) == before
        assert columns(log.engine) == fresh
        harvest_and_feed(log)
    (backup,) = (tmp_path / "backups").glob("log-version-2-*.zip")
    restore(backup, new_site(tmp_path / "old"))
    assert held(f"sqlite:///{tmp_path}/old/log.sqlite", 2) == before


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
        "was changed. Upgrade qckit on this computer."
    )
    assert not (site / "backups").exists()


def test_every_version_has_its_migration():
    assert sorted(migrate.MIGRATIONS) == list(range(1, schema.SCHEMA_VERSION))


@pytest.mark.parametrize("version", [1, 2, 3])
def test_an_older_log_is_whole_and_its_seals_stay_when_it_grows(site, version):
    with open_log(frozen_site(site, version)) as log:
        before = seal_of(log)
        found = log.check(photos=False)
        assert not set(found["code"]) & {"step not whole", "changed records"}
        log.add("lots", LOTS.assign(lot=["NEW-1", "NEW-2"]), by="op1")
        assert against_seal(log, before) == "" and seal_of(log).step == before.step + 1
