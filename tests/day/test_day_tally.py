"""The tally: keys to counts, undo over the border of a subsample, running percentage."""

import math

from qckit.day.entry.tally import Tally
from qckit.protocol import ProtocolSettings


def press(tally, keys):
    for key in keys:
        if key == "\n":
            tally.next_subsample()
        elif key == "<":
            tally.undo()
        else:
            tally.press(key)


def test_keys_become_counts_and_a_running_percentage():
    tally = Tally(ProtocolSettings())
    assert math.isnan(tally.hatch_pct())
    press(tally, "1112334")
    assert tally.counts == {"nauplii": 3, "umbrella": 1, "cysts": 2, "shells": 1}
    assert tally.hatch_pct() == 50.0
    assert tally.line() == "1/3  N 3  U 1  C 2  S 1   H 50 %"


def test_undo_goes_back_into_the_subsample_before():
    tally = Tally(ProtocolSettings())
    press(tally, "1113\n1<<<")
    assert tally.done == [] and tally.counts["nauplii"] == 3 and tally.counts["cysts"] == 0


def test_keys_that_are_none_count_nothing_and_an_empty_subsample_is_not_closed():
    tally = Tally(ProtocolSettings(tally_keys="j, k, l, i", subsamples=2))
    press(tally, "1x\n")
    assert tally.rows() == []
    press(tally, "jjk\nl\n")
    assert tally.is_full and tally.rows() == [(2, 1, 0, 0), (0, 0, 1, 0)]
