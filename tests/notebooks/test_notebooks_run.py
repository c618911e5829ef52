"""Every notebook runs as it lies in the repository, against the demo site, cell by cell (nbval).

The chapters of the handbook, each of which ``test_handbook.py`` runs by itself to make its page, are here one notebook
in one kernel: to begin fourteen kernels takes longer than to run their cells.
"""

import os
import shutil
import subprocess
import sys

import nbformat
import pytest

from qckit._paths import notebooks_dir


def handbook():
    """Return the chapters of the handbook as one notebook."""
    chapters = [nbformat.read(path, as_version=4) for path in sorted((notebooks_dir() / "handbook").glob("*.ipynb"))]
    cells = [cell for chapter in chapters for cell in chapter.cells]
    for number, cell in enumerate(cells):
        cell.id = f"cell-{number}"
    return nbformat.v4.new_notebook(cells=cells, metadata=chapters[0].metadata)


@pytest.mark.slow
def test_all_notebooks_run(demo_site, tmp_path):
    site = tmp_path / "site"
    shutil.copytree(demo_site, site)
    (tmp_path / "notebooks").mkdir()
    for path in notebooks_dir().glob("*.ipynb"):
        shutil.copy(path, tmp_path / "notebooks")
    nbformat.write(handbook(), tmp_path / "notebooks" / "handbook.ipynb")
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
