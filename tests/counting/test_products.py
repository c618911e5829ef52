"""Products of matrices, and that no thread but the counting one works during a count."""

import os
import subprocess
import sys

import numpy as np
import pytest

from qckit.counting.products import product

MOST_BESIDE_S = 0.01  # a library's threads that wait at full speed take 0.05 to 0.1 s of such a count


@pytest.mark.parametrize("shape", [(0, 3, 2), (1, 1, 1), (598, 40, 48), (8, 32, 12_577), (3, 300_000, 2)])
def test_a_product_in_pieces_is_the_whole_product(shape):
    n, k, m = shape
    rng = np.random.default_rng(5)
    left, right = rng.integers(-9, 10, (n, k)).astype(float), rng.integers(-9, 10, (k, m)).astype(float)
    assert np.array_equal(product(left, right), left @ right)  # whole numbers: exact in whatever order


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one processor: there are no other threads")
def test_no_other_thread_works_during_a_count(labelled):
    path = labelled[0] / "photos" / "sieve-01.jpg"
    code = (
        "import time; from qckit.counting import count_photo; "
        f"count = lambda: count_photo({str(path)!r}, um_per_px=13.08); count(); time.sleep(0.2); "
        "start = time.process_time() - time.thread_time(); count(); "
        "print(time.process_time() - time.thread_time() - start)"
    )
    free = {k: v for k, v in os.environ.items() if not k.endswith("_NUM_THREADS")}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=free)
    assert float(done.stdout) < MOST_BESIDE_S
