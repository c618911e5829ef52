"""Histories of varied rooms: the same every time, with causes that the judge knows, and judged without harm."""

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).resolve().parent))

import judge
import judge_blind
from varied import poor
from varied.causes import LIST as PLANTED
from varied.make import write

from qckit.verdicts.poor_hatch.causes import CAUSES


@pytest.fixture(scope="module")
def sites():
    """Four poor hatches of one seed: name -> (tables, truth)."""
    return poor.make(4, n=4)


def test_the_same_seed_gives_the_same_sheets(sites):
    again = poor.make(4, n=4)
    assert list(again) == list(sites)
    assert all(again[name][0]["samples"].equals(tables["samples"]) for name, (tables, _) in sites.items())


def test_every_planted_cause_is_one_that_the_judge_knows():
    assert {c.name for c in PLANTED} <= set(judge_blind.CODES)
    assert set().union(*judge_blind.CODES.values()) <= {c.code for c in CAUSES}


@pytest.mark.slow
def test_no_room_is_refused_and_few_are_accused_wrongly(sites, tmp_path):
    wrong = 0
    write(tmp_path / "poor", sites)
    for name, tables, known in judge.read_set(tmp_path / "poor"):
        truth = judge_blind.completed(known, tables)
        site = judge.make_site(tmp_path / name, tables)
        answer = judge.ask_poor(site, tables, truth | {"hatch": truth["poor_hatch"]})
        assert answer["verdict"] != "refused"
        row = judge_blind.judge_poor(truth, answer)
        wrong += row["wrong"] or (row["accuses"] and not row["planted"])
    assert wrong <= 1
