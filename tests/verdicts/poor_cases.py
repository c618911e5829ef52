"""What the tests of the poor-hatch verdict share: tables put together, and planted cases."""

import numpy as np

from qckit.practice.cases import simulate_case
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.verdicts.poor_hatch.verdict import explain_hatch


def site_of(tables, **more):
    """Put a dict of tables together; further tables and settings by name."""
    known = {name: tables.get(name) for name in ("lots", "hatches", "samples", "readings", "photos")}
    return SiteTables(**(known | {"settings": Settings()} | more))


def explain(tables, hatch, *, now="", objects=None, **more):
    """Explain a hatch of a dict of tables."""
    return explain_hatch(site_of(tables, **more), hatch=hatch, now=now, objects=objects)


def planted(causes, strengths, *, seed=3, is_logged=True, has_lengths=None):
    """Tables of a practice site with something planted in hatch X."""
    rng = np.random.default_rng(seed)
    return simulate_case(rng, causes, strengths, is_logged=is_logged, has_lengths=has_lengths).tables
