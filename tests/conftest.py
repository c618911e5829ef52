"""What several parts' tests share: the demo site and the handbook, each made once; a PostgreSQL of our own."""

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

# Folders of the tests lie in memory where the machine has 4 GB of it free for files: every row of a log and every file
# is written through to the disk, and to wait for a disk thousands of times tests nothing. What failed stays
# there, of the last three runs.
MEMORY = Path("/dev/shm")
if MEMORY.is_dir() and os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > 4 * 2**30:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))

NOW = "2026-11-06T10:00:00+00:00"

# Files that take some fifteen seconds or more by themselves, the longest first: begun last, one process would run them
# alone at the end.
LONGEST = (
    "browser/test_lab_desk.py",
    "browser/test_reports_in_browser.py",
    "browser/test_lab_camera_setup.py",
    "reports/test_demo_end_to_end.py",
    "log/test_log_kills.py",  # needs no demo, which the one before makes
    "hostile/test_hostile_photos.py",
    "training/test_drawn_makes.py",
    "reports/test_month_report.py",
    "reports/test_new_lot_report.py",
    "hostile/test_sheet_bed.py",
    "verdicts/test_month_review.py",
    "photo/test_camera_scale.py",
    "histories_apart/test_histories_apart.py",
    "notebooks/test_notebooks_run.py",
    "agreement/test_sample_corrections.py",
    "verdicts/test_month_pages.py",
    "day/test_day_fortnight.py",
    "reports/test_reports_run.py",
    "verdicts/test_new_lot.py",
    "review/test_review_learn.py",
    "day/test_day_dialog.py",
    "notebooks/test_handbook.py",
    "test_examples.py",
    "hostile/test_hostile_log.py",
    "verdicts/test_poor_hatch_pages.py",
    "log/test_log_practice.py",
    "verdicts/test_poor_hatch_signs.py",
    "histories_apart/test_histories_blind.py",
    "log/test_log_proof.py",
    "reports/test_month_busy.py",
    "verdicts/test_poor_hatch_calibration.py",
    "hostile/test_hostile_sheets.py",
    "day/test_day_page.py",
    "verdicts/test_poor_hatch.py",
    "histories_apart/test_histories_varied.py",
    "charts/test_search.py",
    "charts/test_leaning_limits.py",
    "log/test_log_faults.py",
    "review/test_review_session.py",
)


def pytest_configure(config):
    """Keep the order below: xdist would begin with the files of most tests, which are not those that take long."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


def pytest_collection_modifyitems(items):
    """Begin with the files that take long."""
    order = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: order.get(item.nodeid.partition("::")[0].removeprefix("tests/"), len(order)))


@pytest.fixture
def run(capsys):
    """Run qckit as a user does: exit code, what it printed, what it complained of. A traceback fails the test."""
    from qckit import cli

    def go(*arguments):
        with pytest.raises(SystemExit) as left:
            cli.main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        assert "fault of the kit" not in out + err, err
        return left.value.code, out, err

    return go


@pytest.fixture(scope="session")
def made_once(tmp_path_factory, worker_id):
    """Return a function that has a folder made once: ``made_once(name, make)`` gives it and what ``make`` returned.

    Tests spread over several processes share it: the first to ask makes it, the others wait for it. Runs one after
    the other share it too where QCKIT_TEST_SHARED names a folder for them. Read only, please.
    """
    base = tmp_path_factory.getbasetemp()
    shared = Path(os.environ.get("QCKIT_TEST_SHARED") or (base if worker_id == "master" else base.parent)).resolve()

    def get(name, make):
        folder = shared / name
        done, failed, maker = folder / "done.json", folder / "failed", folder / "maker"
        try:
            folder.mkdir(parents=True)
        except FileExistsError:
            deadline = time.monotonic() + 900
            while not done.exists():
                assert not failed.exists(), f"{folder} could not be made: see the test that came first, or delete it"
                assert _is_at_work(maker) or done.exists(), f"{folder}: who made it was killed; delete it"
                assert time.monotonic() < deadline, f"{folder}: another process does not come to an end with it"
                time.sleep(0.5)
            return folder, json.loads(done.read_text("utf-8"))
        maker.write_text(str(os.getpid()), "utf-8")
        try:
            made = make(folder)
        except BaseException:
            failed.touch()
            raise
        part = folder / "done.part"
        part.write_text(json.dumps(made), "utf-8")
        part.replace(done)
        return folder, made

    return get


def _is_at_work(maker):
    """Whether the process that a file names is there, or has not written it yet."""
    import psutil

    number = maker.read_text("utf-8") if maker.exists() else ""
    return not number or psutil.pid_exists(int(number))


def _run_demo(folder):
    ran = subprocess.run(
        [sys.executable, "-m", "qckit", "demo", "demo-site", "--now", NOW],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=900,
        env=os.environ | {"OMP_NUM_THREADS": "1", "PYTHONUTF8": "1"},
    )
    return {k: getattr(ran, k) for k in ("args", "returncode", "stdout", "stderr")}


@pytest.fixture(scope="session")
def demo_run(made_once):
    """Run ``qckit demo`` once in an empty folder; return its folder and the finished process."""
    folder, ran = made_once("demo", _run_demo)
    return folder / "demo-site", subprocess.CompletedProcess(**ran)


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
def guide_pages(demo_site, made_once):
    """The handbook's pages, every chapter run once on the demo site."""
    from qckit import guide

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("QCKIT_SITE", str(demo_site))
        folder, _ = made_once("guide", lambda folder: guide.write_guide(folder / "pages").name)
    return folder / "pages"
