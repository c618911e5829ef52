"""Learn one camera from photos that a person has settled: colours, where objects are, and what they are.

Each photo is read once under every way of bringing its colours to usual ones; after that learning from some photos and
trying it on others costs little, so that photos can be left out in turn (:func:`learning_curve`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from qckit.counting.camera_rule.learned import LEAST_GAIN, MOST_GAIN, Learned, load_learned
from qckit.counting.camera_rule.reading import SeenPlaces, judge_by_rule, read_all_images, see_places, settled_as_usual
from qckit.counting.camera_rule.rule import measured_looks
from qckit.counting.reader.joint_reading import propose_objects, read_at_centres, reader_module
from qckit.counting.stages import CLASSES, StageModel, load_stage_model
from qckit.counting.training.rule_fit import RuleExamples, fit_rule
from qckit.counting.working import WorkImage, make_work_image
from qckit.stages import STAGES

if TYPE_CHECKING:
    from qckit.counting.analysis import FoundObjects

__all__ = [
    "CurvePoint",
    "Settled",
    "SettledPhoto",
    "colour_gains",
    "learn_camera",
    "learning_curve",
    "mistakes",
    "read_settled",
]

REACH_UM = 150.0  # a settled object and the found one nearest to it may be the same, as in match_objects
EDGE_UM = 250.0  # half a nauplius: nearer to the edge nobody was asked what is there
UNTOUCHED_WEIGHT = 0.25  # weight of objects that a person left as they were found
LIT_FLOOR = 60  # code value: a darker floor has no colour to go by
SUBSETS = 4  # ways of choosing the photos learnt from that are tried for each number of them
DEBRIS = CLASSES.index("debris")


@dataclass(frozen=True)
class Settled:
    """What a person said of a photo.

    Attributes
    ----------
    x_px, y_px : (n,) ndarray
        Places in the full photo.
    stages : tuple of str
        What lies there.
    left_x_px, left_y_px : (m,) ndarray
        Places of objects that were left as found.
    is_whole : bool
        Every object that counts was settled, so that nothing else is in the photo (edges left out).
    """

    x_px: np.ndarray
    y_px: np.ndarray
    stages: tuple[str, ...]
    left_x_px: np.ndarray
    left_y_px: np.ndarray
    is_whole: bool = False


@dataclass(frozen=True)
class _Read:
    """A photo read with one way of treating its colours, and what the kit finds in it."""

    work: WorkImage
    found: FoundObjects
    match: np.ndarray  # of each settled object the one found; -1 where nothing is found
    places: SeenPlaces
    examples: RuleExamples


@dataclass(frozen=True)
class SettledPhoto:
    """A photo that a person has settled, read under each of the factors on its colours."""

    settled: Settled
    answers: np.ndarray
    model: StageModel
    reads: tuple[_Read, ...]


def colour_gains(photos) -> list[np.ndarray | None]:
    """Ways of bringing a camera's colours to usual ones, to be tried.

    Parameters
    ----------
    photos : sequence of (M, N, 3) ndarray of uint8
        Of one camera.

    Returns
    -------
    list of (3,) ndarray or None
        None (as they are) first; then, over a floor that is lit, factors that make the floor grey, and such that also
        bring it to a usual brightness.
    """
    floors = np.array([np.median(p[::8, ::8].reshape(-1, 3), axis=0) for p in photos], float)
    floor = np.median(floors, axis=0)
    if floor.mean() < LIT_FLOOR or not len(floors):
        return [None]
    grey = floor.mean() / np.maximum(floor, 1)
    ways = [np.clip(g, LEAST_GAIN, MOST_GAIN) for g in (grey, grey * 200 / floor.mean())]
    return [None, *(g for g in ways if np.abs(np.log(g)).max() > 0.05)]


def read_settled(photo, um_per_px: float, settled: Settled, gains) -> SettledPhoto:
    """Read a photo for learning.

    Parameters
    ----------
    photo : Photo
    um_per_px : float
        Of the full photo. [µm/px]
    settled : Settled
    gains : list of (3,) ndarray or None
        From :func:`colour_gains`.

    Returns
    -------
    SettledPhoto
    """
    module = reader_module("auto")
    answers = np.array([CLASSES.index(s) for s in settled.stages], int)
    reads, models = [], load_stage_model()
    for gain in gains:
        work = make_work_image(photo, um_per_px, to_um_per_px=module.READER_UM_PER_PX, colour_gain=gain)
        model = models["grey" if work.is_grey else "colour"]
        reads.append(_read(work, module, model, settled, answers))
    return SettledPhoto(settled, answers, model, tuple(reads))


def _read(work, module, model, settled: Settled, answers: np.ndarray) -> _Read:
    found = read_at_centres(work, model, *propose_objects(work, module)).found  # as the kit counts
    _, places = see_places(work, model, read_all_images(work, module))
    examples = _examples(settled, answers, places, work)
    return _Read(work=work, found=found, match=_match(settled, found, work), places=places, examples=examples)


def _um(work) -> float:
    """Scale of the full photo. [µm/px]"""
    return work.um_per_px / (work.step_x * work.step_y) ** 0.5


def _places(found, work) -> np.ndarray:
    """Where found objects lie in the full photo: (n, 2). [px]"""
    return np.stack([found.cols * work.step_x, found.rows * work.step_y], axis=1)


def _match(settled: Settled, found, work) -> np.ndarray:
    here = np.stack([settled.x_px, settled.y_px], axis=1)
    return _nearest(here, _places(found, work), REACH_UM / _um(work))


def _inside(places: np.ndarray, work) -> np.ndarray:
    """Which places of the full photo lie so far from its edges that a person was asked what is there."""
    size = np.array([work.pixels.shape[1] * work.step_x, work.pixels.shape[0] * work.step_y])
    return np.minimum(places, size - places).min(axis=1, initial=np.inf) * _um(work) >= EDGE_UM


def _examples(settled: Settled, answers: np.ndarray, places: SeenPlaces, work) -> RuleExamples:
    """What is at each place that the reader sees, as far as that is known.

    In a photo settled whole nothing is where nothing was said to be; elsewhere the reader's own judgement is held.
    """
    at, score = _places(places.found, work), places.proposals.score
    usual, inside = settled_as_usual(places), _inside(at, work)
    chance = np.where(inside & settled.is_whole, 0.0, places.chance)
    weight = np.where(inside, 1.0 if settled.is_whole else UNTOUCHED_WEIGHT, 0.0)
    stage = np.zeros((len(score), len(STAGES)))
    left = np.stack([settled.left_x_px, settled.left_y_px], axis=1)
    untouched = _nearest(left, at, REACH_UM / _um(work))
    untouched = untouched[untouched >= 0]
    likely = usual[untouched, : len(STAGES)]
    chance[untouched], weight[untouched] = 1.0, UNTOUCHED_WEIGHT
    stage[untouched] = likely / np.maximum(likely.sum(axis=1, keepdims=True), 1e-9)
    match = _match(settled, places.found, work)
    has = match >= 0
    chance[match[has]], weight[match[has]] = answers[has] < DEBRIS, 1.0
    stage[match[has]] = np.eye(len(CLASSES))[answers[has], : len(STAGES)]
    return RuleExamples(
        score=score,
        p=places.found.p_read,
        usual=usual,
        evidence=places.evidence,
        chance=chance,
        weight=weight,
        stage=stage,
    )


def _nearest(here, there, reach) -> np.ndarray:
    """Index into ``there`` of each place, each used once; -1 where none is within reach."""
    from scipy.optimize import linear_sum_assignment
    from scipy.spatial.distance import cdist

    out = np.full(len(here), -1)
    if len(here) and len(there):
        apart = cdist(here, there)
        a, b = linear_sum_assignment(np.minimum(apart, 2 * reach))
        near = apart[a, b] <= reach
        out[a[near]] = b[near]
    return out


def learn_camera(photos: list[SettledPhoto], gains) -> Learned:
    """Learn from settled photos.

    Parameters
    ----------
    photos : list of SettledPhoto
    gains : list of (3,) ndarray or None
        Those under which the photos were read.

    Returns
    -------
    Learned
        With the kit's own stage models, which count the looks of these photos as known.
    """
    treatment = _best_treatment(photos)
    reads = [p.reads[treatment] for p in photos]
    rule = fit_rule([read.examples for read in reads])
    stages = _with_looks([(p.model, read.examples) for p, read in zip(photos, reads, strict=True)])
    return Learned(stages, gains[treatment], rule)


def _best_treatment(photos: list[SettledPhoto]) -> int:
    """Which treatment of colours lets the kit tell the settled objects best; 0 (none) unless beyond doubt."""
    costs = np.array([[_cost(read, p.answers) for read in p.reads] for p in photos])
    gain = costs[:, :1] - costs
    unsure = gain.std(axis=0, ddof=1) / np.sqrt(len(gain)) if len(gain) > 1 else np.full(gain.shape[1], np.inf)
    better = gain.mean(axis=0) - unsure
    return int(better.argmax()) if better.max() > 0 else 0


def _cost(read: _Read, answers: np.ndarray) -> float:
    has = read.match >= 0
    chosen = read.found.p_read[read.match[has], answers[has]]
    n_missed = int((~has & (answers < DEBRIS)).sum())
    return float((-np.log(np.maximum(chosen, 1e-3))).sum() + 2 * n_missed) / max(len(answers), 1)


def _with_looks(photos) -> dict[str, StageModel]:
    """The kit's stage models, to which photos with five settled objects or more are no longer strange."""
    models = dict(load_stage_model())
    for kind, model in models.items():
        looks = []
        for used, examples in photos:
            features = measured_looks(examples.evidence[examples.is_settled])
            if (kind == "grey" or used is model) and len(features) >= 5:
                looks.append(np.median(model.standardise(features), axis=0))
        if looks and model.looks is not None:
            models[kind] = replace(model, looks=np.concatenate([model.looks, looks]))
    return models


def mistakes(photo: SettledPhoto, learned: Learned, gains) -> int:
    """How many settled objects would come out wrong, with those invented where a photo was settled whole.

    Debris is right where nothing that counts is found.
    """
    treatment = next(k for k, g in enumerate(gains) if g is learned.colour_gain)
    read = photo.reads[treatment]
    work, found, match, p = read.work, read.found, read.match, read.found.p
    if learned.rule is not None:
        p, _, chance = judge_by_rule(read.places, learned.rule)
        found, p = read.places.found.take(chance > 0.5), p[chance > 0.5]
        match = _match(photo.settled, found, work)
    called, found_as = np.full(len(match), DEBRIS), p.argmax(axis=1)
    called[match >= 0] = found_as[match[match >= 0]]
    wrong = int((called != photo.answers).sum())
    if not photo.settled.is_whole:
        return wrong
    invented = (found_as != DEBRIS) & _inside(_places(found, work), work)
    invented[match[match >= 0]] = False
    return wrong + int(invented.sum())


@dataclass(frozen=True)
class CurvePoint:
    """Wrong and invented objects on photos left out, in settled ones, learnt from so many photos; 95 % interval. [%]"""

    n_photos: int
    wrong_pct: float
    low: float
    high: float


def learning_curve(photos: list[SettledPhoto], gains, *, left_out=(), ahead: int = 2) -> tuple[CurvePoint, ...]:
    """Work out how many settled photos help how much.

    Parameters
    ----------
    photos : list of SettledPhoto
        Three or more.
    gains : list of (3,) ndarray or None
    left_out : sequence of Learned
        What was learnt with each photo left out in turn, where that is known already.
    ahead : int
        So many photos beyond those there are, the curve is drawn on.

    Returns
    -------
    tuple of CurvePoint
        For none and some numbers of photos: measured, on those left out; then, with all of them and with ``ahead``
        more, by a curve a + b / (1 + number) through those measured. Intervals by drawing photos anew (bootstrap).

    Notes
    -----
    With k photos learnt from, up to four choices of them are tried, each on all the others.
    """
    n, rng = len(photos), np.random.default_rng(len(photos))

    def share(j, learned):
        return mistakes(photos[j], learned, gains) / max(len(photos[j].answers), 1)

    tried = sorted({0, 1, 2, n // 2, n - 1})
    wrong = np.full((n, len(tried)), np.nan)  # of each photo (row), learnt from so many others (column): share wrong
    size = np.array([len(p.answers) for p in photos], float)
    wrong[:, 0] = [share(j, load_learned(None)) for j in range(n)]
    for column, k in list(enumerate(tried))[1:]:
        chosen = list(combinations(range(n), k))
        if len(chosen) > SUBSETS:
            most = n if k == n - 1 else SUBSETS
            chosen = [chosen[i] for i in rng.choice(len(chosen), most, replace=False)]
        got = [[] for _ in photos]
        for some in chosen:
            others = sorted(set(range(n)) - set(some))
            known = len(left_out) == n and len(others) == 1
            learned = left_out[others[0]] if known else learn_camera([photos[i] for i in some], gains)
            for j in others:
                got[j].append(share(j, learned))
        wrong[:, column] = [np.mean(g) if g else np.nan for g in got]
    draws = [np.arange(n), *rng.integers(0, n, (400, n))]
    curves = np.array([_drawn_on(wrong[d], size[d], np.array(tried), (n, n + ahead)) for d in draws]) * 100
    low, high = np.nanpercentile(curves[1:], [2.5, 97.5], axis=0)
    numbers = [*tried, n, n + ahead]
    return tuple(CurvePoint(k, *map(float, v)) for k, *v in zip(numbers, curves[0], low, high, strict=True))


def _drawn_on(wrong: np.ndarray, size: np.ndarray, tried: np.ndarray, beyond: tuple[int, ...]) -> np.ndarray:
    """Pooled share wrong for each number of photos tried, and the curve through them at further numbers."""
    from scipy.optimize import nnls

    known = ~np.isnan(wrong)
    share = np.nansum(wrong * size[:, None], axis=0) / np.maximum((known * size[:, None]).sum(axis=0), 1e-9)
    usable = known.any(axis=0)

    def curve(at):
        return np.stack([np.ones(len(at)), 1 / (1 + np.asarray(at, float))], 1)

    rows, _ = nnls(curve(tried[usable]), share[usable])
    return np.concatenate([np.where(usable, share, np.nan), curve(beyond) @ rows])
