"""How often a test of a good lot is repeated, against tests drawn by another law."""

import numpy as np
import pytest
from scipy import special

from qckit import hatch
from qckit.settings import LimitSettings


@pytest.mark.parametrize(("cones", "of_one_figure"), [(2, 0.70), (3, 0.35)])
def test_the_chance_of_a_repeat_is_that_of_tests_with_logit_normal_cones(cones, of_one_figure):
    limits, rng, runs = LimitSettings(), np.random.default_rng(13), 400
    scatter = special.expit(special.logit(0.83) + rng.normal(0, 0.25, 100_000))
    rho = scatter.var() / (scatter.mean() * (1 - scatter.mean()))
    spread = hatch.Spread(rho, 0.08, 80)
    density = np.sqrt(0.08**2 - (scatter.std() / scatter.mean()) ** 2)
    stated = hatch.repeat_chances(limits, cones=(cones,), spread=spread)[cones]
    per_cone = 840 * 0.75 / limits.min_nauplii_per_g
    repeated = 0
    for _ in range(runs):
        full = rng.poisson(840 * np.exp(rng.normal(0, density, cones)))
        nauplii = rng.binomial(full, special.expit(special.logit(0.83) + rng.normal(0, 0.25, cones)))
        share = hatch.proportion_over_cones(nauplii, full, spread=spread)
        per_g = hatch.rate_over_cones(nauplii, np.full(cones, per_cone), spread=spread)
        repeated += (
            min(share.value / 0.75, per_g.value / limits.min_nauplii_per_g) < 1
            or min(share.safe_low / 0.75, per_g.safe_low / limits.min_nauplii_per_g) < 0.9
        )
    # two standard errors of the difference are 7 points; the likelier of the two figures alone gave less
    assert stated == pytest.approx(repeated / runs, abs=0.075)
    assert stated > of_one_figure + 0.05
