"""Every notebook runs as it lies in the repository, against the demo site, cell by cell (nbval)."""

import os
import shutil
import subprocess
import sys

import pytest

from qckit._paths import notebooks_dir


@pytest.mark.slow
def test_all_notebooks_run(demo_site, tmp_path):
    site = tmp_path / "site"
    shutil.copytree(demo_site, site)
    shutil.copytree(notebooks_dir(), tmp_path / "notebooks")
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "--nbval-lax",
            "--nbval-current-env",
            "--nbval-kernel-startup-timeout=180",
            "-p",
            "no:cacheprovider",
            "-q",
            "--no-header",
            "notebooks",
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=600,
        env=os.environ | {"QCKIT_SITE": str(site), "OMP_NUM_THREADS": "1", "IPYTHONDIR": str(tmp_path / "ipython")},
    )
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-1000:]
    assert "passed" in done.stdout
