"""What several parts' tests share: the demo site, made once as a user makes it; a PostgreSQL of our own."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

# as many processes as cores run already: threads for linear algebra would only wait for one another
os.environ.setdefault("OMP_NUM_THREADS", "1")

NOW = "2026-11-06T10:00:00+00:00"


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory, worker_id):
    """Run ``qckit demo`` once in an empty folder; return its folder and the finished process.

    Tests spread over several processes share the one run: the first to ask makes it, the others wait for it.
    """
    base = tmp_path_factory.getbasetemp()
    folder = (base if worker_id == "master" else base.parent) / "demo"
    done = folder / "done.json"
    try:
        folder.mkdir()
    except FileExistsError:
        deadline = time.monotonic() + 900
        while not done.exists():
            assert time.monotonic() < deadline, "the demo that another process makes does not end"
            time.sleep(0.5)
        return folder / "demo-site", subprocess.CompletedProcess(**json.loads(done.read_text("utf-8")))
    ran = subprocess.run(
        [sys.executable, "-m", "qckit", "demo", "demo-site", "--now", NOW],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=900,
        env=os.environ | {"OMP_NUM_THREADS": "1", "PYTHONUTF8": "1"},
    )
    part = folder / "done.part"
    part.write_text(json.dumps({k: getattr(ran, k) for k in ("args", "returncode", "stdout", "stderr")}), "utf-8")
    part.replace(done)
    return folder / "demo-site", ran


@pytest.fixture(scope="session")
def demo_site(demo_run):
    """The demo site's folder; read only, please."""
    return demo_run[0]


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
    pytest.importorskip("psycopg", reason="the PostgreSQL driver is not installed: pip install psycopg[binary]")
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


@pytest.fixture(scope="session")
def guide_pages(demo_site, tmp_path_factory):
    """The handbook's pages, every chapter run once on the demo site."""
    from qckit import guide

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("QCKIT_SITE", str(demo_site))
        return guide.write_guide(tmp_path_factory.mktemp("guide")).parent
