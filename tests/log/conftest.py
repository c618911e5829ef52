"""Sites and logs for the tests: SQLite always, PostgreSQL where one can be started on this machine."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
from pathlib import Path

import pytest
from invented_log import HATCHES, LOTS, NOW, SAMPLES

from qckit.log import create_log, new_site, open_log


@pytest.fixture
def site(tmp_path):
    """Give an empty site folder."""
    return new_site(tmp_path / "site")


@pytest.fixture
def log(site):
    """Give an open, empty SQLite log."""
    with open_log(site, now=lambda: NOW) as opened:
        yield opened


@pytest.fixture
def filled(log):
    """Give a log with two lots, two hatches and three samples, one of them waiting for its photos."""
    log.add_many({"samples": SAMPLES, "hatches": HATCHES, "lots": LOTS}, by="op1", source="sheet")
    return log


def _postgres_programs() -> Path | None:
    for folder in sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True):
        if (folder / "initdb").exists():
            return folder
    found = shutil.which("initdb")
    return Path(found).parent if found else None


@pytest.fixture(scope="session")
def postgres_server(tmp_path_factory):
    """Start a PostgreSQL of our own on loopback, or use the one named in QCKIT_TEST_POSTGRES_URL."""
    if os.environ.get("QCKIT_TEST_POSTGRES_URL"):
        yield os.environ["QCKIT_TEST_POSTGRES_URL"]
        return
    pytest.importorskip("psycopg", reason="the PostgreSQL driver is not installed: pip install qckit[server]")
    programs = _postgres_programs()
    if programs is None:
        pytest.skip("no PostgreSQL on this machine: install Debian's postgresql, or set QCKIT_TEST_POSTGRES_URL")
    folder = Path("/tmp") / f"qckit-pg-{os.getpid()}"
    folder.mkdir(mode=0o700)
    user = {"user": "postgres", "group": "postgres", "extra_groups": []} if os.getuid() == 0 else {}
    if user:
        shutil.chown(folder, "postgres", "postgres")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    try:
        subprocess.run(
            [
                programs / "initdb",
                "-D",
                folder / "d",
                "-U",
                "qckit",
                "-A",
                "trust",
                "-E",
                "UTF8",
                "--locale=C",
                "--no-sync",
            ],
            check=True,
            capture_output=True,
            cwd=folder,
            **user,
        )
        server = subprocess.Popen(
            [programs / "postgres", "-D", folder / "d", "-p", str(port), "-h", "127.0.0.1", "-k", folder, "-F"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            cwd=folder,
            **user,
        )
        try:
            _wait_for(port)
            yield f"postgresql+psycopg://qckit@127.0.0.1:{port}/postgres"
        finally:
            server.terminate()
            server.wait(20)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _wait_for(port: int) -> None:
    import psycopg

    for _ in range(200):
        try:
            psycopg.connect(f"host=127.0.0.1 port={port} user=qckit dbname=postgres", connect_timeout=2).close()
            return
        except psycopg.OperationalError:
            time.sleep(0.1)
    raise RuntimeError("the test's PostgreSQL did not start")


@pytest.fixture
def postgres_url(postgres_server):
    """Give the address of a fresh database."""
    import psycopg
    import sqlalchemy as sa

    url = sa.make_url(postgres_server)
    name = f"t{time.time_ns()}"
    plain = url.set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(plain, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    yield url.set(database=name).render_as_string(hide_password=False)
    with psycopg.connect(plain, autocommit=True) as connection:
        connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.server)])
def any_log(request, tmp_path):
    """Give an open, empty log of each kind."""
    if request.param == "sqlite":
        place = new_site(tmp_path / "site")
    else:
        place = request.getfixturevalue("postgres_url")
        create_log(place)
    with open_log(place, now=lambda: NOW) as opened:
        yield opened
