"""Akaike weights: Burnham and Anderson 2002, Model Selection and Multimodel Inference, section 2.9 (from memory).

Differences of AIC of 0, 2, 4 and 10 weigh as 1, 0.368, 0.135 and 0.0067.
"""

import numpy as np
import pytest

from qckit.hatch.rate.average import akaike_weights
from qckit.hatch.rate.models import Fit


def test_weights_of_known_differences():
    fits = [Fit("gamma", 0.8, 18.0, 8.0, np.eye(3), -100 - d / 2, True) for d in (0, 2, 4, 10)]
    weight = akaike_weights(fits)
    assert weight / weight[0] == pytest.approx([1, 0.368, 0.135, 0.0067], abs=5e-4)
    assert akaike_weights(fits, 2.0)[1] / akaike_weights(fits, 2.0)[0] == pytest.approx(0.6065, abs=1e-4)
