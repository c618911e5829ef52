"""Practice rooms: each is another world, and what is planted shows in it as asked."""

import numpy as np
import pytest

from qckit.practice.mechanisms import Conditions, LotTraits, draw_room, expected_shares
from qckit.practice.rooms import _recorded, _strength, draw_practice_room, simulate_in_room
from qckit.practice.situations import PLANTED


def test_rooms_differ_in_where_and_as_what_embryos_stop():
    rooms = [draw_room(np.random.default_rng(seed)) for seed in range(40)]
    lot, sour = LotTraits(), Conditions(ph=7.5)
    shares = [expected_shares(lot, sour, room) for room in rooms]
    lost = np.array([1 - float(s["nauplius"]) / 0.87 for s in shares])
    umbrella = np.array([float(s["umbrella"]) for s in shares])
    assert lost.min() < 0.3 and lost.max() > 0.6 and np.ptp(umbrella) > 0.3
    # limits of the literature hold in all: nothing happens at 30 °C, and little hatches above 90 ppt
    assert all(float(expected_shares(lot, Conditions(temperature_c=30.0), r)["nauplius"]) > 0.8 for r in rooms)
    assert all(float(expected_shares(lot, Conditions(salinity_ppt=95.0), r)["nauplius"]) < 0.6 for r in rooms)


@pytest.mark.parametrize("cause", [c for c in PLANTED if c not in ("uneven", "swapped")])
def test_a_cause_costs_what_was_asked_for(cause):
    lot, reached = LotTraits(), []
    for seed in range(6):
        site = draw_practice_room(np.random.default_rng(seed))
        plain = _recorded("", 0.0, lot, site)
        reached.append(1 - _recorded(cause, _strength(cause, 0.25, lot, site), lot, site) / plain)
    # in some rooms a cause cannot cost that much (little salt, a short dark)
    assert np.median(reached) == pytest.approx(0.25, abs=0.02) and max(reached) < 0.35


def test_what_is_not_logged_is_not_in_the_record():
    for seed in range(6):
        hidden = simulate_in_room(np.random.default_rng(seed), ("salt",), (0.4,), is_logged=False, days=6).tables
        own = hidden["readings"].query("hatch == 'X'")
        assert "salinity" not in set(own["quantity"])
        logged = simulate_in_room(np.random.default_rng(seed), ("weighing",), (0.3,), days=6).tables
        again = logged["readings"].query("hatch == 'X' and quantity == 'cyst mass'")["value"].iloc[0]
        written = logged["hatches"].set_index("hatch").loc["X", "cysts_g"]
        assert again / written == pytest.approx(0.7, abs=0.01)


def test_a_bad_lot_is_bad_in_all_its_hatches_and_has_a_lot_before_it():
    t = simulate_in_room(np.random.default_rng(4), ("embryos",), (0.45,), days=20).tables
    counts = t["samples"].merge(t["hatches"][["hatch", "lot"]], on="hatch").groupby("lot")[["nauplii", "cysts"]].sum()
    share = counts["nauplii"] / counts.sum(axis=1)
    assert set(counts.index) == {"P-1", "P-2"} and share["P-2"] < share["P-1"] - 0.15


def test_a_recount_and_a_repeat_are_free_of_the_first_counts_fault():
    missed = simulate_in_room(np.random.default_rng(2), ("missed",), (0.4,), days=5).tables["samples"]
    n = missed[missed["hatch"] == "X"].groupby("counted_by")["nauplii"].sum()
    assert set(n.index) == {"photo", "person"} and n.min() < 0.75 * n.max()
    drawn = simulate_in_room(np.random.default_rng(3), ("uneven",), (0.4,), days=5).tables["samples"]
    own = drawn[drawn["hatch"] == "X"].sort_values("taken")
    assert len(own) % 2 == 0 and len(set(own["counted_by"])) == 1
