"""Starting is quick: heavy libraries are imported when they are needed."""

import os
import subprocess
import sys
import time

import pytest

HEAVY = ("pandas", "numpy", "scipy", "matplotlib", "skimage", "statsmodels", "sqlalchemy", "papermill", "nbconvert")


def least_of(command, rounds=5):
    """Return the least processor time of a command, in seconds: what else the machine does adds little to it.

    Windows does not say what a process that has ended took: there it is time by the clock.
    """
    times = []
    for _ in range(rounds):
        before = _clock()
        subprocess.run(command, check=True, capture_output=True)
        times.append(_clock() - before)
    return min(times)


def _clock():
    return sum(os.times()[2:4]) if os.name == "posix" else time.perf_counter()


def test_import_takes_less_than_0_3_s():
    assert least_of([sys.executable, "-c", "import qckit"]) < 0.3


def test_help_takes_less_than_0_5_s():
    assert least_of([sys.executable, "-m", "qckit", "--help"]) < 0.5


@pytest.mark.parametrize("start", ["import qckit", "import qckit.cli", "import qckit.reports", "import qckit.log"])
def test_start_loads_nothing_heavy(start):
    code = f"import sys; {start}; print([m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stdout.strip() == "[]"


def test_a_count_loads_nothing_that_it_has_no_need_of():
    code = (
        "import sys; from qckit._paths import sample_images_dir; from qckit.counting import count_photo; "
        "counted = count_photo(sample_images_dir() / 'photos' / 'k-121_a_1.jpg', um_per_px=6.2); "
        "unused = ('pandas', 'scipy.stats', 'scipy.optimize', 'skimage', 'statsmodels', 'matplotlib', 'sqlalchemy'); "
        "print(counted.n_objects > 50, [m for m in unused if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stdout.strip() == "True []"
