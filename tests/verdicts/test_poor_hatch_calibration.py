"""A short run of the calibration in tests/benchmarks: simulated hatches with planted causes, the oracle beside."""

import importlib.util
from pathlib import Path

import pytest

PLACE = Path(__file__).parents[1] / "benchmarks" / "poor_hatch_calibration.py"


@pytest.fixture(scope="module")
def calibration():
    spec = importlib.util.spec_from_file_location("poor_hatch_calibration", PLACE)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def table(calibration):
    return calibration.run(n=50, seed=31, oracle_draws=(120, 24), n_before=24)


@pytest.mark.slow
def test_the_right_cause_comes_first_where_it_can_be_known(table):
    decidable = table[(table["n_causes"] > 0) & table["oracle_right"]]
    assert len(decidable) > 30
    # goals for 500 cases are 0.85 and 0.95; about fifty cases are allowed two standard errors less
    assert decidable["first_right"].mean() >= 0.75
    assert decidable["in_three"].mean() >= 0.89


@pytest.mark.slow
def test_stated_probabilities_are_kept(calibration, table):
    reliability = calibration.reliability(table, edges=(0, 0.1, 0.5, 0.85, 1.0))
    assert (reliability["mean stated"] - reliability["found true"]).abs().max() < 0.15
    named = table[table["named"].str.len() > 0]
    assert named["stated_right"].mean() > 0.8


@pytest.mark.slow
def test_nothing_planted_is_hardly_ever_accused(calibration):
    assert calibration.false_accusations(n=20, seed=3) <= 2
