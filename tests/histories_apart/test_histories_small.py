"""Histories of small rooms: the same every time, with causes that the judge knows, and judged without harm."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.append(str(Path(__file__).resolve().parent))

import judge
import judge_blind
from small import embryo, faults, poor, sheets, words_later
from varied.make import write

from qckit.verdicts.poor_hatch.likelihood.notes import read_sheet


@pytest.fixture(scope="module")
def sites():
    """Five poor hatches of one seed: name -> (tables, truth)."""
    return poor.make(4, n=5)


def test_the_same_seed_gives_the_same_sheets(sites):
    again = poor.make(4, n=5)
    assert list(again) == list(sites)
    assert all(again[name][0]["samples"].equals(tables["samples"]) for name, (tables, _) in sites.items())


def test_every_planted_cause_is_one_that_the_judge_knows_and_has_words_in_every_tongue():
    assert set(faults.CAUSES) <= set(judge_blind.CODES)
    assert all(set(faults.CAUSES) <= set(words) for words in (*sheets.TEXT.values(), *words_later.LATER.values()))


def test_stages_add_up_and_every_condition_costs_nauplii():
    w = embryo.world(np.random.default_rng(1), 50)
    h = {k: np.full(50, v) for k, v in embryo.NORMAL.items()}
    calm = embryo.shares(w, h)
    assert np.all(calm["N"] + calm["U"] + calm["C"] <= 1 + 1e-9) and calm["N"].mean() > 0.6
    for cause in faults.WATER:
        struck = {k: v.copy() for k, v in h.items()}
        for i in range(50):
            faults.strike(cause, 0.9, struck, i)
        assert embryo.shares(w, struck)["N"].mean() < 0.97 * calm["N"].mean(), cause


def test_most_wordings_that_name_a_cause_are_heard_in_all_tongues_and_idle_ones_are_not():
    for tongue, words in words_later.LATER.items():
        heard = [
            bool({p.cause for p in read_sheet({"notes": text}, {})} & judge_blind.CODES[c]) for c, text in words.items()
        ]
        assert np.mean(heard) >= 0.85, tongue
    idle = [text for texts in sheets.IDLE.values() for text in texts]
    speaking = [text for text in idle if read_sheet({"notes": text}, {})]
    assert len(speaking) <= 0.03 * len(idle), speaking


@pytest.mark.slow
def test_no_room_is_refused_and_few_are_accused_wrongly(sites, tmp_path):
    wrong = 0
    write(tmp_path / "poor", sites)
    for name, tables, known in judge.read_set(tmp_path / "poor"):
        truth = judge_blind.completed(known, tables)
        site = judge.make_site(tmp_path / name, tables)
        answer = judge.ask_poor(site, tables, truth | {"hatch": truth["poor_hatch"]})
        row = judge_blind.judge_poor(truth, answer)
        wrong += row["wrong"] or (row["accuses"] and not row["planted"])
    assert wrong <= 1
