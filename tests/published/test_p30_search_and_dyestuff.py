"""P30: the month's search for changes on the Nile, and variance components of the dyestuff data.

The Nile at Aswan, 1871-1970: one fall after 1898, when the dam was begun (Cobb 1978, Biometrika 65:243-251; R package
strucchange 1.5.3 dates it 1898 with the means 1097.75 and 849.97, a fall of 247.78: see P21). Dyestuff: Davies and
Goldsmith 1972, Statistical Methods in Research and Production, table 6.3; restricted likelihood gives SD 42.00 between
batches, 49.51 within, mean 1527.5 (Bates et al. 2015, J. Stat. Softw. 67(1), whose package holds the data; data and
values from memory, and the balanced analysis of variance, worked out here, gives the same).
"""

import numpy as np
import pandas as pd
import pytest
from test_p21_change_point import NILE

from qckit.charts.levels import Priors
from qckit.charts.search import find_changes_in_levels
from qckit.charts.variance import variance_components

DYESTUFF = """1545 1440 1440 1520 1580 1540 1555 1490 1560 1495 1595 1550 1605 1510 1560
1445 1440 1595 1465 1545 1595 1630 1515 1635 1625 1520 1455 1450 1480 1445"""


def nile(flow):
    at = pd.Timestamp("2026-01-01", tz="UTC") + pd.to_timedelta(np.arange(len(flow)), unit="D")
    columns = {"label": np.arange(1871, 1871 + len(flow)), "at": at, "y": flow, "counting": 0.0}
    return pd.DataFrame(columns | dict.fromkeys(("cone", "operator", "counted_by"), "") | {"lot": "N"})


def test_the_search_finds_the_one_fall_of_the_nile():
    frame = nile(np.array(NILE.split(), float))
    (change,) = find_changes_in_levels(frame, alpha=0.01, priors=Priors(residual=100.0)).changes
    assert (change.shape, change.where, change.is_ongoing) == ("step", "all hatches", True)
    assert frame["label"][change.first] == 1899
    # the posterior of a single change says 1896 to 1899 for the last year before it (P21); here years remember
    assert (frame["label"][change.first_low], frame["label"][change.first_high]) == (1897, 1900)
    assert change.coefficient == pytest.approx(-247.78, rel=0.02)
    assert change.low < -247.78 < change.high < 0


def test_half_of_the_nile_holds_no_change():
    flow = np.array(NILE.split(), float)
    for part in (flow[:28], flow[28:]):
        assert find_changes_in_levels(nile(part), alpha=0.01, priors=Priors(residual=100.0)).changes == []


def test_components_of_dyestuff():
    y = np.array(DYESTUFF.split(), float)
    found = variance_components(pd.DataFrame({"y": y, "batch": np.repeat(list("ABCDEF"), 5)}), "y", ["batch"])
    sd = dict(zip(found.table["source"], found.table["sd"], strict=True))
    assert found.mean == pytest.approx(1527.5)
    assert sd["batch"] == pytest.approx(42.00, abs=0.01) and sd["residual"] == pytest.approx(49.51, abs=0.01)
    batches = y.reshape(6, 5)
    within = batches.var(axis=1, ddof=1).mean()
    assert sd["residual"] ** 2 == pytest.approx(within, rel=1e-4)
    assert sd["batch"] ** 2 == pytest.approx(batches.mean(axis=1).var(ddof=1) - within / 5, rel=1e-4)
