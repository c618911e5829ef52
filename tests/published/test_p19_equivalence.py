"""P19: equivalence by two one-sided tests, paired, log-normal.

Data of Wellek 2003 in the SAS/STAT PROC TTEST example on log-normal equivalence: ratio 0.9412, 90 % interval 0.8634 to
1.0260 (published). R and statsmodels ``ttost_paired`` agree on the rest.
"""

import numpy as np
import pytest
from statsmodels.stats.weightstats import ttost_paired

from qckit.errors import InputError
from qckit.hatch import paired_ratio_equivalence

TEST = [103.4, 59.92, 68.17, 94.54, 69.48, 72.17, 74.37, 84.44, 96.74, 94.26, 48.52, 95.68]
REFERENCE = [90.11, 77.71, 77.71, 97.51, 58.21, 101.3, 79.84, 96.06, 89.30, 97.22, 61.62, 85.80]


def test_ratio_interval_and_tests():
    found = paired_ratio_equivalence(TEST, REFERENCE)
    assert (found["ratio"], found["ratio_low"], found["ratio_high"]) == pytest.approx(
        (0.941199, 0.863374, 1.026040), abs=1e-6
    )
    assert (found["t_low"], found["t_high"]) == pytest.approx((3.382203, -5.904174), abs=1e-6)
    assert (found["p_low"], found["p_high"], found["p"]) == pytest.approx((0.0030593, 0.00005125, 0.0030593), abs=1e-7)
    assert found["df"] == 11


def test_ratios_without_scatter_are_refused():
    with pytest.raises(InputError) as error:
        paired_ratio_equivalence([2.0, 4.0, 8.0], [1.0, 2.0, 4.0])
    assert str(error.value) == (
        "The standard error of the log ratio is 0: ratios that do not scatter at all cannot be tested. Give values "
        "as measured, not worked out from each other."
    )


def test_the_library_agrees():
    p = ttost_paired(np.array(TEST), np.array(REFERENCE), 0.8, 1.25, transform=np.log)[0]
    assert paired_ratio_equivalence(TEST, REFERENCE)["p"] == pytest.approx(p, abs=1e-9)
