"""P09: run rules and their run lengths. Nelson 1984, Journal of Quality Technology 16:237-239 (constructed series,
two independent implementations agree); Champ and Woodall 1987, Technometrics 29:393-399."""

import numpy as np
import pandas as pd
import pytest

from qckit import charts

SERIES = {
    "A": ("0.3 -0.8 1.1 3.2 -0.4 0.6 -3.4 0.2 0.9 -0.5", {"beyond_3": [4, 7]}),
    "B": ("-0.4 0.2 0.5 0.9 0.1 1.3 0.6 0.3 0.8 0.7 0.4 -0.2", {"nine_one_side": [10, 11]}),
    "C": ("0.4 -1.2 -0.7 -0.1 0.3 0.9 1.6 0.5 0.2", {"six_trending": [7]}),
    "D": (
        "0.5 -0.6 0.8 -0.4 0.9 -0.7 0.3 -0.9 0.6 -0.2 0.7 -0.5 0.4 -0.8 0.6 0.9",
        {"fourteen_alternating": [14, 15], "fifteen_within_1": [15, 16]},
    ),
    "E": ("0.1 2.3 0.4 2.6 -0.3 -2.2 -2.5 0.8 2.1 -2.4", {"two_of_three_beyond_2": [4, 7]}),
    "F": ("0.2 1.4 1.2 -0.3 1.8 1.1 1.5 0.4 -1.2 -1.6 -1.1 -1.9 0.3", {"four_of_five_beyond_1": [6, 7, 12]}),
    "G": (
        "1.4 0.3 -0.5 0.8 -0.2 0.6 -0.9 0.1 0.7 -0.4 0.5 -0.6 0.9 -0.1 0.2 -0.8 0.4 1.6",
        {"fifteen_within_1": [16, 17]},
    ),
    "H": ("0.2 1.3 -1.6 1.8 -1.2 -2.1 1.4 1.1 -1.7 0.5", {"eight_beyond_1": [9]}),
}


def chart_of(z):
    z = np.asarray(z, float)
    points = pd.DataFrame({"value": z})
    return charts.apply_limits(charts.Limits("individuals", 0.0, 1.0, 10_000), points)


@pytest.mark.parametrize("name", SERIES)
def test_every_test_fires_where_it_should_and_nowhere_else(name):
    text, expected = SERIES[name]
    signals = charts.find_signals(chart_of(text.split()), charts.NELSON)
    assert {rule: part["point"].tolist() for rule, part in signals.groupby("rule")} == expected


LENGTHS = [
    (("beyond_3",), (370.40, 200.08, 43.89, 6.30)),
    (("beyond_3", "two_of_three_beyond_2"), (225.44, 104.46, 20.01, 3.65)),
    (("beyond_3", "four_of_five_beyond_1"), (166.05, 63.88, 12.66, 3.68)),
    (("beyond_3", "eight_one_side"), (152.73, 59.76, 14.58, 4.89)),
    (("beyond_3", "two_of_three_beyond_2", "four_of_five_beyond_1"), (132.89, 52.93, 10.95, 3.14)),
    (charts.WESTERN_ELECTRIC, (91.75, 36.61, 9.22, 3.13)),
]


@pytest.mark.parametrize("rules, lengths", LENGTHS)
def test_run_lengths_of_the_western_electric_sets(rules, lengths):
    found = [charts.run_length(rules, shift=shift).mean for shift in (0, 0.4, 1.0, 2.0)]
    assert found == pytest.approx(lengths, abs=0.0051)


def test_run_length_in_words():
    assert charts.run_length(charts.WESTERN_ELECTRIC).sentence == "chance alone signals about once in 92 hatches"


# chance per point of each test, from first principles: two tails of the normal law; 2/2^9; 2/6!; up-down orders of 14
# things (Euler zigzag number 199360981, OEIS A000111, from memory) twice over 14!; binomial tails
RATES = {
    "beyond_3": 0.0026998,
    "nine_one_side": 2 / 512,
    "six_trending": 2 / 720,
    "fourteen_alternating": 2 * 199360981 / 87178291200,
    "two_of_three_beyond_2": 2 * 0.0227501 * (1 - (1 - 0.0227501) ** 2),
    "fifteen_within_1": 0.6826895**15,
    "eight_beyond_1": 0.3173105**8,
}


@pytest.mark.parametrize("rule", RATES)
def test_false_alarm_rate_of_each_test(rule):
    assert charts.false_alarm_rate(rule) == pytest.approx(RATES[rule], rel=1e-5)
