"""Exact 95 % intervals of a Poisson count: Garwood 1936, Biometrika 28:437-442 (printed widely; from memory)."""

import pytest

from qckit.errors import InputError
from qckit.hatch import poisson_interval


@pytest.mark.parametrize(
    "count, low, high",
    [
        (0, 0.0, 3.689),
        (1, 0.0253, 5.572),
        (2, 0.242, 7.225),
        (5, 1.623, 11.668),
        (10, 4.795, 18.390),
        (20, 12.217, 30.888),
    ],
)
def test_the_printed_bounds(count, low, high):
    assert poisson_interval(count) == pytest.approx((low, high), abs=6e-4)
    assert poisson_interval(count, 4.0) == pytest.approx((low / 4, high / 4), abs=2e-4)


def test_a_negative_count_is_refused():
    with pytest.raises(InputError, match="the first must be 0 or more"):
        poisson_interval(-1)
