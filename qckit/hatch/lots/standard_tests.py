"""Which cones make a lot's standard test, and which were run beside it."""

from __future__ import annotations

import pandas as pd

from qckit.tables import to_utc

__all__ = ["SAME_TEST_DAYS", "TEST_PURPOSES", "latest_test", "near_test", "test_groups"]

TEST_PURPOSES = ("standard test", "reference")
"""Purposes of the hatches of a standard test: those of the lot under test, and those of the lot run beside it."""

SAME_TEST_DAYS = 3
"""Cones of one lot started within this many days belong to one test. [d]"""


def latest_test(cones, lot):
    """The cones of a lot's latest test, and those of its earlier tests.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics``, any lots and purposes.
    lot : str

    Returns
    -------
    (latest, earlier) : tuple of DataFrame
        Standard tests; where the lot has none, the cones it stood in as a reference.

    Examples
    --------
    >>> newest, earlier = hatch.latest_test(cones, "K-118")
    >>> newest["hatch"].tolist()
    ['RT-118-2609-A', 'RT-118-2609-B', 'RT-118-2609-C']
    """
    mine = cones[(cones["lot"] == lot) & (cones["purpose"] == "standard test")]
    if not len(mine):
        mine = cones[(cones["lot"] == lot) & (cones["purpose"] == "reference")]
    if not len(mine):
        return mine, mine
    day = to_utc(mine["started"])
    is_latest = (day.max() - day).dt.total_seconds() <= SAME_TEST_DAYS * 86400
    return mine[is_latest], mine[~is_latest]


def near_test(table, cones):
    """Rows of a table with ``started`` that began within ``SAME_TEST_DAYS`` of some cones.

    Examples
    --------
    >>> newest, _earlier = hatch.latest_test(cones, "K-118")
    >>> len(hatch.near_test(cones, newest)) >= len(newest)
    True
    """
    if not len(cones) or not len(table):
        return table.iloc[:0]
    started, test = to_utc(table["started"]), to_utc(cones["started"])
    margin = pd.Timedelta(days=SAME_TEST_DAYS)
    return table[(started >= test.min() - margin) & (started <= test.max() + margin)]


def test_groups(cones):
    """Split the standard tests and reference cones of one lot into tests, oldest first.

    Parameters
    ----------
    cones : DataFrame
        Rows of ``cone_metrics`` of one lot.

    Returns
    -------
    list of DataFrame
        Cones started within ``SAME_TEST_DAYS`` of the first of their group.

    Examples
    --------
    >>> [len(test) for test in hatch.test_groups(cones[cones["lot"] == "K-121"])]
    [3, 3, 3]
    """
    mine = cones[cones["purpose"].isin(TEST_PURPOSES)].sort_values("started", kind="stable")
    groups, rest = [], mine
    while len(rest):
        day = to_utc(rest["started"])
        first = (day - day.iloc[0]).dt.total_seconds() <= SAME_TEST_DAYS * 86400
        groups.append(rest[first])
        rest = rest[~first]
    return groups


test_groups.__test__ = False  # not a test case, whatever its name
