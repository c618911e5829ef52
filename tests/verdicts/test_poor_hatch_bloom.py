"""A bloom told by its oxygen: low at the end alone, whatever it cost; and what a sheet's value without an hour says."""

import math

import numpy as np
import pytest

from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.likelihood.densities import either
from qckit.verdicts.poor_hatch.likelihood.notes import read_sheet
from qckit.verdicts.poor_hatch.likelihood.readings import Ordinary, Record, log_ratio
from qckit.verdicts.poor_hatch.likelihood.stage_mix import act, draws_of

LOSS = np.array([0.1, 0.3, 0.6])
USUAL = {"oxygen": Ordinary((6.2, 0.4), (6.0, 0.4), 0.02), "ph": Ordinary((8.2, 0.08), (8.1, 0.08), 0.02)}
COUNTED = Record("hours", 24.0, 24.0)


def ratio(code, *read, quantity="oxygen"):
    """Likelihood ratios of readings (value, hour), for each loss."""
    records = [*(Record(quantity, value, hour) for value, hour in read), COUNTED]
    return np.exp(log_ratio(cause(code), LOSS, records, USUAL)[quantity])


def test_oxygen_that_fell_in_the_last_hours_speaks_for_a_bloom_and_from_the_start_for_weak_air():
    at_the_end = (6.2, 0.5), (6.0, 9.0), (2.0, 23.5)
    assert (ratio("bloom", *at_the_end) > 20).all()
    from_the_start = (2.4, 0.5), (2.0, 9.0), (2.0, 23.5)
    assert (ratio("oxygen", *from_the_start) > 20 * ratio("bloom", *from_the_start)).all()


def test_how_deep_the_oxygen_falls_says_little_of_what_a_bloom_cost():
    deep = (6.2, 0.5), (1.0, 23.5)
    of_bloom, of_air = ratio("bloom", *deep), ratio("oxygen", *deep)
    assert of_bloom[2] / of_bloom[0] < of_air[2] / of_air[0]


def test_a_bloom_sours_the_water():
    assert (ratio("bloom", (7.8, 23.5), quantity="ph") > 3).all()
    assert (ratio("bloom", (8.1, 23.5), quantity="ph") < 1).all()


@pytest.mark.parametrize("code", ["bloom", "oxygen", "power"])
def test_a_value_without_an_hour_lies_between_one_of_the_start_and_one_of_later_hours(code):
    same = {"oxygen": Ordinary((6.2, 0.4), (6.2, 0.4), 0.02)}
    start, undated, late = (
        np.exp(log_ratio(cause(code), LOSS, [Record("oxygen", 2.5, hour), COUNTED], same)["oxygen"])
        for hour in (0.5, math.nan, 23.0)
    )
    assert (start < undated).all() and (undated < late).all()


def test_a_bloom_leaves_shells_alone_for_the_most_part():
    d = draws_of(cause("bloom"))
    mix = np.tile([0.7, 0.05, 0.25, 0.7], (d.n, 1))
    changed, kept_back = act(d, mix)
    lost = mix[:, 0] - changed[:, 0]
    assert np.mean(kept_back.sum(axis=1) / lost) < 0.25  # weak air: all but a few
    weak = draws_of(cause("oxygen"))
    assert np.mean(act(weak, mix)[1].sum(axis=1) / (weak.loss * mix[:, 0])) > 0.9


def test_a_mean_of_two_likelihoods_takes_its_share_from_the_second():
    assert either(0.0, -700.0, 0.2) == pytest.approx(math.log(0.8))
    assert either(-700.0, 0.0, 0.2) == pytest.approx(math.log(0.2))
    assert either(math.log(3.0), math.log(5.0)) == pytest.approx(math.log(4.0))


@pytest.mark.parametrize(
    "note",
    [
        *("air to cone 2 went off overnight", "light of cone B went off", "the heater in the water went off"),
        *("alarm at the water tank went off", "cone 2 heater turned off", "grey cone used", "cone A: white PVC"),
    ],
)
def test_what_went_off_in_water_or_at_a_cone_and_a_grey_cone_are_no_bloom(note):
    """Lights, air and alarms near the words water or cone spoke for a bloom, fifteen to one."""
    assert "bloom" not in {p.cause for p in read_sheet({"notes": note})}


@pytest.mark.parametrize("note", ["water had gone off", "cone looks hazy", "water in cone B turned grey"])
def test_water_that_went_off_or_turned_grey_is_a_bloom(note):
    assert {p.cause for p in read_sheet({"notes": note})} == {"bloom"}


@pytest.mark.parametrize(
    "notes",
    [
        "kept in a styrofoam box",
        "foam lids on all cones",
        "wrapped in foam",
        "wrapped the cone in blue foam",
        "pipes padded with foam",
        "a lid made of foam",
        "foam covers over the cones",
        "new foam insulation",
    ],
)
def test_foam_of_which_something_is_made_is_none_on_the_water(notes):
    """It spoke for air so strong that it broke the nauplii, and for soap."""
    assert read_sheet({"notes": notes}) == []


@pytest.mark.parametrize(
    "notes",
    [
        *("foam blocks the overflow", "foam up to the lid", "thick foam layer", "a lid of foam by morning", "foamy"),
        *("the air made a lot of foam", "made lots of white foam", "foam covers over half of it"),
        "foam mats on the water",
    ],
)
def test_foam_on_the_water_speaks_beside_whatever_it_reaches(notes):
    assert "broken" in {phrase.cause for phrase in read_sheet({"notes": notes})}
