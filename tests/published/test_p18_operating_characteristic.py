"""P18: operating characteristics of attribute plans.

n = 52, c = 3: NIST/SEMATECH e-Handbook 6.2.3.2 (from memory). n = 125, c = 3: ISO 2859-1 letter K, AQL 1.0; values
from R; Poisson means agree with Cameron 1952 (from memory). The standard's own tables mix both distributions.
"""

import numpy as np
import pytest

from qckit.hatch import OrdinaryPlan, acceptance_probability, quality_at_acceptance


def test_n52_c3():
    published = [0.9982, 0.9798, 0.9295, 0.8460, 0.7383, 0.6196, 0.5018, 0.3938, 0.3003, 0.2232, 0.1621, 0.1152]
    found = acceptance_probability(np.arange(1, 13) / 100, OrdinaryPlan(52, 3))
    assert found == pytest.approx(published, abs=1e-3)


def test_n125_c3_binomial_and_poisson():
    bad, plan = np.arange(1, 5) / 100, OrdinaryPlan(125, 3)
    assert acceptance_probability(bad, plan) == pytest.approx([0.96255, 0.75867, 0.48141, 0.25930], abs=1e-5)
    poisson = acceptance_probability(bad, plan, family="poisson")
    assert poisson == pytest.approx([0.96173, 0.75758, 0.48377, 0.26503], abs=1e-5)


def test_quality_at_given_acceptance():
    found = 100 * quality_at_acceptance([0.99, 0.95, 0.90, 0.75, 0.50, 0.25, 0.10, 0.05, 0.01], OrdinaryPlan(125, 3))
    expected = [0.66441, 1.10029, 1.40291, 2.03209, 2.92977, 4.05310, 5.26632, 6.08586, 7.81263]
    assert found == pytest.approx(expected, abs=1e-5)


def test_poisson_means_at_given_acceptance():
    # Cameron 1952, table for c = 3 (from memory)
    found = 125 * quality_at_acceptance([0.95, 0.50, 0.10, 0.05], OrdinaryPlan(125, 3), family="poisson")
    assert found == pytest.approx([1.366318, 3.672061, 6.680783, 7.753657], abs=1e-5)


def test_hypergeometric():
    found = acceptance_probability(20 / 500, OrdinaryPlan(125, 3), lot_size=500)
    assert float(found) == pytest.approx(0.219741, abs=1e-6)
