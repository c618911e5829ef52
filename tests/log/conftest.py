"""Sites and logs for the tests: SQLite always, PostgreSQL where one can be started on this machine."""

from __future__ import annotations

import pytest
from invented_log import HATCHES, LOTS, NOW, SAMPLES

from qckit.log import create_log, new_site, open_log


@pytest.fixture
def site(tmp_path):
    """Give an empty site folder."""
    return new_site(tmp_path / "site")


@pytest.fixture
def log(site):
    """Give an open, empty SQLite log."""
    with open_log(site, now=lambda: NOW) as opened:
        yield opened


@pytest.fixture
def filled(log):
    """Give a log with two lots, two hatches and three samples, one of them waiting for its photos."""
    log.add_many({"samples": SAMPLES, "hatches": HATCHES, "lots": LOTS}, by="op1", source="sheet")
    return log


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.server)])
def any_log(request, tmp_path):
    """Give an open, empty log of each kind."""
    if request.param == "sqlite":
        place = new_site(tmp_path / "site")
    else:
        place = request.getfixturevalue("postgres_url")
        create_log(place)
    with open_log(place, now=lambda: NOW) as opened:
        yield opened
