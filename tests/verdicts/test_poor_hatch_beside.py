"""Other hatches of the day, counts made hours later, who counted and how: what they say of a cause."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from poor_cases import planted, site_of

from qckit.settings import Settings
from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.likelihood.joint import _Parts, weigh
from qckit.verdicts.poor_hatch.likelihood.readings import Record, log_ratio, usual_readings
from qckit.verdicts.poor_hatch.likelihood.stage_mix import act, draws_of, later_mix
from qckit.verdicts.poor_hatch.study import study_hatch


def given_beside(causes=("dark",), *, moved, of_its_own=()):
    """What a planted hatch is weighed by, with hatches beside it whose figures lie ``moved`` from the usual."""
    given = study_hatch(site_of(planted(causes, (0.6,), is_logged=False)), hatch="X", for_page=False).given
    look = given.looks[0]
    beside = tuple((replace(look, figures=given.usual.mean + np.array(m)), given.usual, True, 1.0) for m in moved)
    return replace(given, siblings=beside)


def test_a_hatch_beside_counts_once_where_two_causes_could_strike_it():
    parts = _Parts(given_beside(moved=[(-1.5, 0.0, 0.0, 0.0)]))
    dark, salt = draws_of(cause("dark")), draws_of(cause("salt"))
    one, other = (parts._siblings([((c,), d)], d.n) for c, d in (("dark", dark), ("salt", salt)))
    both = parts._siblings([(("dark",), dark), (("salt",), salt)], dark.n)
    assert one.max() > 1.0  # it speaks for a cause of the room
    assert (np.exp(both) <= np.exp(one) + np.exp(other) + 1e-9).all()


def test_a_hatch_beside_that_is_poor_in_its_own_way_forces_nothing():
    # few nauplii beside their shells here, and cysts that did not open there: no one cause does both
    given = given_beside(("missed",), moved=[(-2.5, 0.0, 0.0, 0.0)])
    with_it, without = weigh(given), weigh(replace(given, siblings=()))
    kin = ("missed", "broken", "gradient", "overlong", "bloom", "spoilt")
    assert sum(without.of(c) for c in kin) > 0.5 and sum(with_it.of(c) for c in kin) > 0.5


def test_grams_that_went_into_the_other_cone_speak_for_a_wrong_amount():
    plain = given_beside(("weighing",), moved=[(0.0, 0.0, 0.0, 0.0)])
    richer = given_beside(("weighing",), moved=[(0.0, 0.0, 0.0, 0.35)])
    assert weigh(richer).of("amount") > weigh(plain).of("amount")


def test_hours_after_the_count_lie_between_the_count_and_the_day_after():
    d = draws_of(cause("cold"))
    mix, kept_back = act(d, np.tile([0.85, 0.02, 0.13, 0.72], (d.n, 1)))
    quarter, day, second = (later_mix(d, mix, kept_back, x) for x in (0.25, 1.0, 2.0))
    np.testing.assert_allclose(day, later_mix(d, mix, kept_back))
    np.testing.assert_allclose(day, second)
    assert (mix[:, 2] >= quarter[:, 2]).all() and (quarter[:, 2] >= day[:, 2] - 1e-9).all()


def test_who_counts_here_for_the_first_time_may_have_missed_some():
    t = planted(("missed",), (0.5,), is_logged=False)
    person = t["samples"].assign(counted_by="person", counter="op1", photos=None)
    new = person.assign(counter=person["counter"].where(person["hatch"] != "X", "op9"))
    factors = [
        study_hatch(site_of(t | {"samples": s, "photos": None}), hatch="X", for_page=False).given.factors
        for s in (person, new)
    ]
    assert factors[1]["missed"] > 3 * factors[0]["missed"] and factors[1]["cold"] == factors[0]["cold"]


def test_another_dilution_than_ever_before_may_be_a_wrong_one():
    t = planted(("weighing",), (0.6,), is_logged=False)
    other = t["samples"].assign(dilution=1.0)
    other.loc[other["hatch"] == "X", "dilution"] = 5.0
    factors = [
        study_hatch(site_of(t | {"samples": s}), hatch="X", for_page=False).given.factors
        for s in (t["samples"].assign(dilution=1.0), other)
    ]
    assert factors[1]["scaled"] > 3 * factors[0]["scaled"]


def test_a_late_reading_is_held_against_late_readings():
    # pH falls from 8.2 to 7.8 in every hatch; 7.8 at the end says nothing, and at the start much
    names = [f"H{i}" for i in range(20)]
    started = [f"2026-03-{i + 1:02d}T08:00:00+00:00" for i in range(20)]
    blank = dict.fromkeys(("temperature_c", "salinity_ppt", "ph", "oxygen_mg_l", "light_lux"), np.nan)
    hatches = pd.DataFrame({"hatch": names, "started": started, "cysts_g": 1.6, "volume_ml": 800.0} | blank)
    rows = []
    for i, name in enumerate(names):
        day, off = f"2026-03-{i + 1:02d}", 0.02 * (i % 5 - 2)
        rows += [
            (name, f"{day}T09:00:00+00:00", "ph", 8.2 + off, "pH"),
            (name, f"{day}T22:00:00+00:00", "ph", 7.8 + off, "pH"),
        ]
    readings = pd.DataFrame(rows, columns=["hatch", "taken", "quantity", "value", "unit"])
    usual = usual_readings(hatches, readings, pd.Series(dtype=float), among=names, conditions=Settings().conditions)
    assert usual["ph"].start[0] == pytest.approx(8.2) and usual["ph"].late[0] == pytest.approx(7.8)
    ph, loss = cause("ph"), np.array([0.4])
    at_end = log_ratio(ph, loss, [Record("ph", 7.8, 14.0)], usual)["ph"][0]
    at_start = log_ratio(ph, loss, [Record("ph", 7.8, 1.0)], usual)["ph"][0]
    assert at_end < 0 < at_start
