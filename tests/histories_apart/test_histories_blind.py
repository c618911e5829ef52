"""Histories made blind: the same every time, true to their truth, and judged without harm."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.append(str(Path(__file__).resolve().parent))

import judge
import judge_blind
from blind import poor
from blind.evidence import summary

from qckit.verdicts.poor_hatch.causes import CAUSES

PLANTED = {case[0].split("/")[0]: case for case in reversed(poor.CASES)}


def asked(tmp_path, name, seed, case):
    """What the kit says of one history, judged."""
    truth, tables = poor.make(name, seed, case)
    site = judge.make_site(tmp_path / name, tables)
    return judge_blind.judge_poor(truth, judge.ask_poor(site, tables, truth | {"hatch": truth["poor_hatch"]}))


def test_the_same_seed_gives_the_same_sheets_and_another_seed_others():
    one, again, other = (poor.make("p01", seed, PLANTED["over_density"])[1]["samples"] for seed in (1, 1, 2))
    assert one.equals(again)
    assert not one.equals(other)


@pytest.mark.parametrize("what", ["heat", "wrong_portion", "rough_air"])
def test_a_planted_cause_makes_the_hatch_low(what):
    truth, tables = poor.make("p01", 3, PLANTED[what])
    per_g = summary(tables)["per_g"]
    others = per_g[per_g.index != truth["poor_hatch"]]
    assert per_g[truth["poor_hatch"]] < others.median()
    assert truth["causes"][0]["he_drop"] > 0.05


def test_every_planted_cause_is_one_that_the_judge_knows():
    planted = {pair.split("/")[0] for case in poor.CASES for pair in case[0].split("+")} - {"none"}
    assert planted <= set(judge_blind.CODES)
    assert set().union(*judge_blind.CODES.values()) <= {c.code for c in CAUSES}


@pytest.mark.slow
def test_most_causes_that_the_sheets_betray_come_first(tmp_path):
    what = "cold heat low_ph over_density high_salinity low_salinity over_long dark_start bacterial_bloom miscount none"
    rows = [asked(tmp_path, f"p{i:02d}", 900 + i, PLANTED[w]) for i, w in enumerate(what.split())]
    clear = [r for r in rows if r["planted"] and r["decidable"]]
    assert sum(r["first"] for r in clear) >= 0.6 * len(clear)
    assert sum(r["wrong"] for r in rows) <= 1
    assert not any(r["accuses"] for r in rows if not r["planted"])
    assert np.mean([r["three"] for r in clear]) >= 0.7
