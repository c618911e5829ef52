"""Which proposals are taken for objects: by score, stage, the photo's own sureness, neighbours and foreground."""

import json

import numpy as np
import pytest

from qckit.counting.reader import chances
from qckit.counting.reader.chances import EVIDENCE, USUAL_SCORE, accept, chances_of, gather_chance_evidence, sureness
from qckit.counting.reader.proposals import Proposals, Votes
from qckit.stages import CLASSES, STAGES

UM = 12.0
N_SURE = 40
NO_VOTES = Votes((1, 1), lambda r, c: np.zeros((2, len(r)), np.float32))


def proposals(score, stage, *, apart_um=1000.0, p=0.94) -> Proposals:
    """Forty sure objects of all stages in a row and some of a score and a stage in another, far from each other."""
    score = np.r_[np.full(N_SURE, 0.85), np.atleast_1d(score)]
    code = np.r_[np.arange(N_SURE) % 4, np.full(len(score) - N_SURE, CLASSES.index(stage))]
    probability = np.full((len(score), 5), (1 - p) / 4)
    probability[np.arange(len(score)), code] = p
    rows = np.where(np.arange(len(score)) < N_SURE, 0.0, 5000.0 / UM)
    return Proposals(rows, np.arange(len(score)) * apart_um / UM, probability, score, NO_VOTES)


def chance(some: Proposals, supported=True) -> np.ndarray:
    support = np.r_[np.ones(N_SURE, bool), np.full(len(some.rows) - N_SURE, supported)]
    return chances_of(gather_chance_evidence(some, support, UM))[N_SURE:]


def test_a_surer_proposal_is_likelier_an_object():
    rising = chance(proposals([0.1, 0.2, 0.4, 0.6, 0.8], "cyst"))
    assert (np.diff(rising) > 0).all() and rising[0] < 0.5 < rising[-1]
    assert rising[-1] > 0.97


def test_one_score_says_more_of_a_nauplius_than_of_a_shell_and_little_of_debris():
    nauplius, shell, debris = (chance(proposals(0.35, stage))[0] for stage in ("nauplius", "shell", "debris"))
    assert nauplius > 0.5 > debris
    assert nauplius > shell + 0.1


def test_beside_a_surer_one_a_faint_one_is_likely_the_same_object():
    alone = proposals([0.7, 0.4], "nauplius")
    beside = proposals([0.7, 0.4], "nauplius", apart_um=80.0)
    assert chance(alone)[1] > 0.6 > 0.4 > chance(beside)[1]
    assert chance(beside)[0] > 0.9  # the surer of the two


def test_missing_foreground_speaks_against_it_only_where_most_others_have_some():
    some = proposals(0.5, "cyst")
    assert chance(some, supported=False)[0] < chance(some)[0]
    none = np.zeros(N_SURE + 1, bool)
    assert chances_of(gather_chance_evidence(some, none, UM))[-1] == chance(some)[0]


def test_where_the_reader_is_less_sure_of_everything_it_asks_for_less():
    rng = np.random.default_rng(4)
    kind = np.zeros(80, int)
    usual = np.r_[rng.uniform(USUAL_SCORE, 0.9, 60), rng.uniform(0.15, 0.3, 20)]
    np.testing.assert_array_equal(sureness(usual, kind), 0)
    strange = np.r_[rng.uniform(0.5, 0.6, 60), 0.2]
    expected = np.log(0.55 / 0.45) - np.log(USUAL_SCORE / (1 - USUAL_SCORE))
    np.testing.assert_allclose(sureness(strange, kind[:61]), expected, atol=0.05)
    assert (sureness(usual[-20:], kind[-20:]) == 0).all() and not len(sureness(np.zeros(0), kind[:0]))


def test_sureness_is_each_stages_own_where_many_are_seen():
    score, stage = np.repeat([0.9, 0.5, 0.5], [80, 60, 1]), np.repeat([2, 0, 1], [80, 60, 1])
    cysts, nauplii, umbrella = (sureness(score, stage)[stage == k][0] for k in (2, 0, 1))
    assert cysts == 0 > umbrella > nauplii


def test_stated_errors_are_the_chances_of_what_was_taken_and_left():
    some = proposals([0.2, 0.2, 0.2, 0.5], "shell")
    supported = np.ones(len(some.rows), bool)
    taken = accept(some, supported, UM)
    every = chances_of(gather_chance_evidence(some, supported, UM))
    assert taken.invented.sum() == pytest.approx((1 - every[every > 0.5]).sum())
    assert taken.missed.sum() == pytest.approx(every[every <= 0.5].sum()) and taken.missed.sum() > 0.1
    assert taken.missed[STAGES.index("shell")] == taken.missed.sum()
    assert len(taken.proposals.rows) == len(taken.chance) == (every > 0.5).sum() >= N_SURE


def test_debris_keeps_its_place_and_is_neither_invented_nor_missed():
    debris = proposals([0.7], "debris")
    taken = accept(debris, np.ones(len(debris.rows), bool), UM)
    assert len(taken.proposals.rows) == N_SURE + 1
    without = debris.take(np.arange(N_SURE))
    assert taken.invented == pytest.approx(accept(without, np.ones(N_SURE, bool), UM).invented)


def test_nothing_proposed_gives_nothing():
    none = proposals([0.5], "cyst").take(np.zeros(0, int))
    taken = accept(none, np.zeros(0, bool), UM)
    assert len(taken.proposals.rows) == 0 == taken.invented.sum() == taken.missed.sum()


def test_the_fitted_numbers_are_complete_and_lie_in_one_place():
    models = json.loads(chances.MODEL.read_text(encoding="utf-8"))
    assert tuple(models) == chances.READINGS
    for weights in models.values():
        assert tuple(weights) == EVIDENCE
        assert weights["score"] > 0 > weights["touching"] and weights["unsupported"] < 0
