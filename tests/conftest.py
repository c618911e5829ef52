"""What several parts' tests share: the demo site, made once as a user makes it."""

import json
import os
import subprocess
import sys
import time

import pytest

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
