"""Simulated hatches: the planted cause shows in the truth, and what is not written down stays hidden."""

import numpy as np
import pytest

from qckit.practice.cases import simulate_case
from qckit.practice.mechanisms import LotTraits
from qckit.practice.situations import PLANTED, draw_situation, situation_shares


@pytest.mark.parametrize("cause", PLANTED)
def test_every_cause_changes_something_and_more_with_strength(cause):
    rng = np.random.default_rng(0)
    lot = LotTraits()

    def seen(s):
        situation = draw_situation((cause,), (s,), np.random.default_rng(1)) if s else draw_situation((), (), rng)
        shares, factor = situation_shares(lot, situation)
        lost = max(situation.counting.get("missed", 0.0), situation.lit_away)
        return (float(shares["nauplius"]) * factor * (1 - lost), situation)

    none, mild, strong = seen(0)[0], seen(0.2)[0], seen(1.0)[0]
    if cause in ("uneven", "swapped"):  # these change the count, not the hatch
        assert seen(1.0)[1].mixing_cv > 0.5 or seen(1.0)[1].counting["shell_as_cyst"] > 0.7
    else:
        assert strong < mild < none * 1.05
        assert strong < 0.9 * none


def test_a_hidden_quantity_is_not_in_the_readings():
    case = simulate_case(np.random.default_rng(4), ("ph",), (0.9,), is_logged=False)
    own = case.tables["readings"].query("hatch == 'X'")
    assert "ph" not in set(own["quantity"]) and "temperature" in set(own["quantity"])
    logged = simulate_case(np.random.default_rng(4), ("ph",), (0.9,), is_logged=True)
    assert logged.tables["readings"].query("hatch == 'X' and quantity == 'ph'")["value"].max() < 7.6
    assert case.loss > 0.5 and case.causes == ("ph",)


def test_a_lots_fault_reaches_the_days_other_hatches():
    case = simulate_case(np.random.default_rng(5), ("embryos",), (0.9,))
    counts = case.tables["samples"].groupby("hatch")[["nauplii", "cysts"]].sum()
    share = counts["nauplii"] / counts.sum(axis=1)
    assert share["Y-1"] < 0.6 < share["B-1"]
