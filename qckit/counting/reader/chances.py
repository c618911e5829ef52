"""The chance that a proposal of the reader is an object, from what speaks for and against it.

The reader is less sure of nauplii than of cysts, of all it sees in strange light, and of what lies under another body;
and what lies close beside a surer proposal is often the same object seen twice. So a proposal is judged by a logistic
model (Cox 1958, Journal of the Royal Statistical Society B 20:215; from memory) of its score and of these, and counted
where it is likelier an object than not. The same chances say how many objects were invented and how many missed. The
model's numbers are fitted by ``tests/photos/fit_chances.py`` to photos that the reader had not seen.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from qckit.counting.reader.proposals import Proposals
from qckit.log_odds import logit
from qckit.robust import median_of
from qckit.stages import CLASSES, STAGES

__all__ = [
    "ACCEPTED",
    "EVIDENCE",
    "READINGS",
    "Accepted",
    "accept",
    "accept_all",
    "chances_of",
    "expected_errors",
    "gather_chance_evidence",
]

MODEL = Path(__file__).with_name("chances.json")
READINGS = ("one reading", "mean of mirrored")  # each has a model
EVIDENCE = ("one", "score", *(f"p_{s}" for s in STAGES), "sureness", "touching", "beside", "unsupported")
"""Numbers per proposal, in order: one, the logit of its score, the reader's probability of each stage, how much less
sure than usual it is of this photo's objects of that stage, how near a surer proposal lies (within about 60 and within
about 150 µm), and whether no foreground supports it where it supports most others."""

ACCEPTED = 0.5
SURER = 0.4  # score of what is an object beyond much doubt in any light
USUAL_SCORE = 0.78  # median of the surer ones, in all but the least sure tenth of the labelled photos of both makes
LEAST_SCORE = 1e-4  # a score nearer to 0 or 1 says no more
LIKE_ALL = 10  # objects of a stage count as so many of the photo's others
TOUCHING_UM, BESIDE_UM, FARTHEST_UM = 60.0, 150.0, 400.0
USUALLY_SUPPORTED, AS_MANY = 0.9, 5.0  # share of objects with foreground, known as from so many objects
LEAST_SUPPORTED, MOST_SUPPORTED = 0.5, 0.9  # between these the foreground's silence says ever more


@dataclass(frozen=True)
class Accepted:
    """Proposals taken for objects.

    Attributes
    ----------
    proposals : Proposals
    chance : (n,) ndarray
        That each is an object.
    invented, missed : (4,) ndarray
        From :func:`expected_errors`.
    """

    proposals: Proposals
    chance: np.ndarray
    invented: np.ndarray
    missed: np.ndarray


def accept(proposals: Proposals, supported: np.ndarray, um_per_px: float) -> Accepted:
    """Take those proposals that are likelier an object than not.

    What looks most like debris is taken where it would be were it none, so that it keeps its place; it counts neither
    as invented nor as missed.

    Parameters
    ----------
    proposals : Proposals
    supported : (n,) ndarray of bool
        Whether foreground lies there.
    um_per_px : float
        Scale of the picture that the proposals are of. [µm/px]

    Returns
    -------
    Accepted
    """
    every = accept_all(proposals, supported, um_per_px)
    chance, taken = every.chance, every.chance > ACCEPTED
    return Accepted(proposals.take(taken), chance[taken], *expected_errors(proposals, chance, taken))


def expected_errors(proposals: Proposals, chance: np.ndarray, taken: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How many of those taken are expected to be no object, and how many of the others to be one.

    Parameters
    ----------
    proposals : Proposals
    chance : (n,) ndarray
        That each is an object.
    taken : (n,) ndarray of bool

    Returns
    -------
    invented, missed : (4,) ndarray
        By likeliest stage; debris left out.
    """
    stage = proposals.p.argmax(axis=1)
    none = np.bincount(stage[taken], weights=(1 - chance)[taken], minlength=len(CLASSES))
    lost = np.bincount(stage[~taken], weights=chance[~taken], minlength=len(CLASSES))
    return none[: len(STAGES)], lost[: len(STAGES)]


def accept_all(proposals: Proposals, supported: np.ndarray, um_per_px: float) -> Accepted:
    """All proposals with their chances, for something else to choose among; see :func:`accept`."""
    debris = proposals.p.argmax(axis=1) == CLASSES.index("debris")
    evidence = gather_chance_evidence(proposals, supported, um_per_px)
    stages = [EVIDENCE.index(f"p_{s}") for s in STAGES]
    evidence[np.ix_(debris, stages)] /= np.maximum(evidence[np.ix_(debris, stages)].sum(axis=1, keepdims=True), 1e-9)
    chance = chances_of(evidence, proposals.n_readings)
    return Accepted(proposals, chance, np.zeros(len(STAGES)), np.zeros(len(STAGES)))


def chances_of(evidence: np.ndarray, n_readings: int = 1) -> np.ndarray:
    """The chance that each is an object, by the model that comes with the kit for one reading or the mean of several.

    Parameters
    ----------
    evidence : (n, len(EVIDENCE)) ndarray
    n_readings : int

    Returns
    -------
    (n,) ndarray
    """
    from scipy.special import expit

    return expit(evidence @ _weights(MODEL)[READINGS[n_readings > 1]])


@cache
def _weights(model: Path) -> dict[str, np.ndarray]:
    by_readings = json.loads(model.read_text(encoding="utf-8"))
    return {name: np.array([weights[e] for e in EVIDENCE]) for name, weights in by_readings.items()}


def gather_chance_evidence(proposals: Proposals, supported: np.ndarray, um_per_px: float) -> np.ndarray:
    """What speaks for and against each proposal.

    Parameters
    ----------
    proposals : Proposals
    supported : (n,) ndarray of bool
    um_per_px : float
        [µm/px]

    Returns
    -------
    (n, len(EVIDENCE)) ndarray
    """
    log_odds = logit(proposals.score, least=LEAST_SCORE)
    stage = proposals.p.argmax(axis=1)
    apart = _from_surer(proposals, um_per_px)
    return np.column_stack(
        [
            np.ones(len(log_odds)),
            log_odds,
            proposals.p[:, : len(STAGES)],
            sureness(proposals.score, stage),
            np.exp(-apart / TOUCHING_UM),
            np.exp(-apart / BESIDE_UM),
            ~supported * _says_silence(proposals.score > SURER, supported),
        ]
    )


def sureness(score: np.ndarray, stage: np.ndarray) -> np.ndarray:
    """How much less sure the reader is of this photo's objects than of those in light that it knows, in logits.

    In strange light it sees as much and is less sure of all of it, and of one stage less than of another: what is an
    object is then told relative to the photo's own surer ones.

    Parameters
    ----------
    score : (n,) ndarray
    stage : (n,) ndarray of int

    Returns
    -------
    (n,) ndarray
        0 or below; for each the median of the surer ones of its class, drawn towards that of all where they are few.
    """
    surer, log_odds = score > SURER, logit(score, least=LEAST_SCORE)
    usual = logit(USUAL_SCORE, least=LEAST_SCORE)
    of_all = min(float(median_of(log_odds[surer])), usual) if surer.any() else usual
    out = np.full(len(score), of_all)
    for k in np.unique(stage):
        mine = surer & (stage == k)
        n = int(mine.sum())
        if n:
            out[stage == k] = (n * median_of(log_odds[mine]) + LIKE_ALL * of_all) / (n + LIKE_ALL)
    return np.minimum(out, usual) - usual


def _from_surer(proposals: Proposals, um_per_px: float) -> np.ndarray:
    """Distance to the nearest surer proposal, as far as any counts. [µm]"""
    from scipy.spatial import cKDTree

    out = np.full(len(proposals.rows), np.inf)
    if not len(out):
        return out
    places = np.stack([proposals.rows, proposals.cols], axis=1) * um_per_px
    pairs = cKDTree(places).query_pairs(FARTHEST_UM, output_type="ndarray")
    a, b = pairs[:, 0], pairs[:, 1]
    apart = np.hypot(*(places[a] - places[b]).T)
    for one, other in ((a, b), (b, a)):
        less = proposals.score[one] < proposals.score[other]
        np.minimum.at(out, one[less], apart[less])
    return out


def _says_silence(surer: np.ndarray, supported: np.ndarray) -> float:
    """How much it says that no foreground lies somewhere: nothing where it is missing at half of the surer ones."""
    n = surer.sum() + AS_MANY
    share = ((surer & supported).sum() + AS_MANY * USUALLY_SUPPORTED) / n
    return float(np.clip((share - LEAST_SUPPORTED) / (MOST_SUPPORTED - LEAST_SUPPORTED), 0, 1))
