"""What several parts' tests share: the demo site, made once as a user makes it."""

import os
import subprocess
import sys

import pytest

NOW = "2026-11-06T10:00:00+00:00"


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory):
    """Run ``qckit demo`` once in an empty folder; return its folder and the finished process."""
    folder = tmp_path_factory.mktemp("demo")
    done = subprocess.run(
        [sys.executable, "-m", "qckit", "demo", "demo-site", "--now", NOW],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=900,
        env=os.environ | {"OMP_NUM_THREADS": "1", "PYTHONUTF8": "1"},
    )
    return folder / "demo-site", done


@pytest.fixture(scope="session")
def demo_site(demo_run):
    """The demo site's folder; read only, please."""
    return demo_run[0]
