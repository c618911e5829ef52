"""A short run of the calibration in tests/benchmarks: rooms that differ, planted causes, honest answers."""

import importlib.util
import math
from pathlib import Path

import pandas as pd
import pytest

PLACE = Path(__file__).parents[1] / "benchmarks" / "poor_hatch_calibration.py"

# One cause that the record does not show comes first: 107 of 171, in 500 rooms (of those logged 93 %;
# tests/benchmarks/POOR_HATCH.md).
# Some 24 of the 60 rooms here are such: two binomial standard errors of the difference of both samples are allowed.
NOT_LOGGED = (107 / 171, 171)


@pytest.fixture(scope="module")
def calibration():
    spec = importlib.util.spec_from_file_location("poor_hatch_calibration", PLACE)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def studied(calibration):
    return list(calibration.studied(60, seed=31))


@pytest.fixture(scope="module")
def table(calibration, studied):
    return pd.DataFrame([calibration.row_of(plan, case) for plan, case in studied])


@pytest.mark.slow
def test_the_right_cause_comes_first_and_few_are_named_wrongly(calibration, table):
    got = calibration.summary(table)
    n = int(((table["n_causes"] == 1) & ~table["logged"]).sum())
    p, n_measured = NOT_LOGGED
    assert n >= 20 and got["one cause logged, first right"] >= 0.75
    assert got["one cause not logged, first right"] >= p - 2 * math.sqrt(p * (1 - p) * (1 / n + 1 / n_measured))
    assert got["named wrongly"] <= 0.15 and got["chance accused"] <= 0.15


@pytest.mark.slow
def test_stated_probabilities_are_kept(calibration, table):
    bins = calibration.reliability(table, edges=(0, 0.2, 0.6, 1.0))
    assert (bins["mean stated"] - bins["found true"]).abs().max() < 0.15


@pytest.mark.slow
def test_an_honest_answer_does_not_weaken_the_true_cause(calibration, studied):
    rises = [ok for plan, case in studied for _, ok in calibration.answered(plan, case)]
    assert len(rises) > 700 and sum(rises) / len(rises) >= 0.95
