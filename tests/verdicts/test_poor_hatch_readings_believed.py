"""How far a reading is believed: as far as the site's own readings were right, and two readings further than one."""

import numpy as np
import pandas as pd
import pytest

from qckit.settings import Settings
from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.likelihood.readings import Record, log_ratio, usual_readings

LOSS = np.array([0.3])


def usual_of(temperatures):
    """What is usual at a site that read these temperatures."""
    names = [f"H{i}" for i in range(len(temperatures))]
    start = pd.Timestamp("2026-03-01 08:00", tz="UTC")
    hatches = pd.DataFrame({"hatch": names, "cysts_g": 2.0, "volume_ml": 1000.0, "temperature_c": temperatures})
    hatches["started"] = [(start + pd.Timedelta(days=i)).isoformat() for i in range(len(names))]
    return usual_readings(hatches, None, pd.Series(dtype=float), among=names, conditions=Settings().conditions)


def ratio(usual, *records):
    return float(np.exp(log_ratio(cause("cold"), LOSS, list(records), usual)["temperature"][0]))


def right(n):
    return 28.0 + 0.3 * np.random.default_rng(1).standard_normal(n)


def test_a_meter_that_was_never_wrong_is_believed_further():
    cold = Record("temperature", 22.7)
    few, many = usual_of(right(6)), usual_of(right(80))
    assert few["temperature"].wrong == pytest.approx(0.04 * 50 / 56, rel=0.05)  # nothing wrong in six
    assert many["temperature"].wrong == pytest.approx(0.04 * 50 / 130, rel=0.25)
    assert ratio(many, cold) > 1.7 * ratio(few, cold)


def test_a_site_with_many_slips_is_believed_less():
    slips = right(80)
    slips[::8] += 5.0
    usual = usual_of(slips)["temperature"]
    assert usual.wrong == pytest.approx((2 + 10) / 130, rel=0.15)
    assert ratio(usual_of(slips), Record("temperature", 22.7)) < ratio(usual_of(right(80)), Record("temperature", 22.7))


def test_two_readings_are_believed_further_than_one_and_one_that_is_usual_speaks_against():
    usual = usual_of(right(40))
    one = ratio(usual, Record("temperature", 22.7, 8.0))
    two = ratio(usual, Record("temperature", 22.7, 8.0), Record("temperature", 23.1, 16.0))
    apart = ratio(usual, Record("temperature", 22.7, 8.0), Record("temperature", 28.1, 16.0))
    assert two > 3 * one
    assert apart < one / 3
