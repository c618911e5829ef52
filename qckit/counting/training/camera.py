"""Learn one camera from photos that a person has settled: colours, the reader's last layer, the stage models.

Each photo is read once under every way of bringing its colours to usual ones; after that learning from some photos and
trying it on others costs little, so that photos can be left out in turn (:func:`learning_curve`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from qckit.counting.analysis import Analysis, analyse_at_centres
from qckit.counting.last_layer import HEAT_PLANE, STAGE_PLANES
from qckit.counting.learned import LEAST_GAIN, MOST_GAIN, Learned
from qckit.counting.proposals import Proposals
from qckit.counting.second import in_work_pixels, join_readings, reader_module, reader_picture
from qckit.counting.stages import CLASSES
from qckit.counting.training.last_layer_fit import PlaceExamples, choose_pull, fit_heat, fit_stages
from qckit.counting.training.tuning import tune_stage_models
from qckit.counting.working import WorkImage, make_work_image

if TYPE_CHECKING:
    from qckit.counting.reader import Reading

__all__ = [
    "CurvePoint",
    "Settled",
    "SettledPhoto",
    "colour_gains",
    "learn_camera",
    "learning_curve",
    "read_settled",
    "stages_right",
]

REACH_UM = 60.0  # a settled object and a found one this near are the same
MISSED_REACH_UM = 40.0
UNTOUCHED_WEIGHT = 0.25  # weight of objects that a person left as they were found
LIT_FLOOR = 60  # code value: a darker floor has no colour to go by
SUBSETS = 4  # ways of choosing the photos learnt from that are tried for each number of them


@dataclass(frozen=True)
class Settled:
    """What a person said of a photo: places in the full photo [px], what lies there, and what was left as found."""

    x_px: np.ndarray
    y_px: np.ndarray
    stages: tuple[str, ...]
    left_x_px: np.ndarray
    left_y_px: np.ndarray


@dataclass(frozen=True)
class _Read:
    """A photo read with one way of treating its colours."""

    work: WorkImage
    reading: Reading
    analysis: Analysis
    piece: np.ndarray
    proposals: Proposals
    noticed: np.ndarray
    corner: np.ndarray
    proposal_of: np.ndarray  # of each settled object; -1 where the reader proposes nothing
    places: PlaceExamples
    heat: PlaceExamples
    measured: tuple


@dataclass(frozen=True)
class SettledPhoto:
    """A photo that a person has settled, read under each of the factors on its colours."""

    settled: Settled
    answers: np.ndarray
    is_grey: bool
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
    reads, is_grey = [], False
    for gain in gains:
        work = make_work_image(photo, um_per_px, to_um_per_px=module.READER_UM_PER_PX, colour_gain=gain)
        reads.append(_read(work, module, settled, answers))
        is_grey = work.is_grey
    return SettledPhoto(settled, answers, is_grey, tuple(reads))


def _read(work, module, settled: Settled, answers: np.ndarray) -> _Read:
    pixels, scale = reader_picture(work, module)
    reading = module.read_picture(pixels, scale)
    proposals = in_work_pixels(work, reading.shape, reading.propose())
    down, right = reading.shape[0] / work.pixels.shape[0], reading.shape[1] / work.pixels.shape[1]
    noticed, corner = reading.noticed_near(proposals.rows * down, proposals.cols * right, 0)
    analysis, piece = analyse_at_centres(work, proposals)
    there = np.stack([proposals.cols * work.step_x, proposals.rows * work.step_y], axis=1)
    um = work.um_per_px / (work.step_x * work.step_y) ** 0.5
    mine = _nearest(np.stack([settled.x_px, settled.y_px], 1), there, REACH_UM / um)
    left = _nearest(np.stack([settled.left_x_px, settled.left_y_px], 1), there, REACH_UM / um)
    left = left[(left >= 0) & ~np.isin(left, mine)]
    has = mine >= 0
    stages = np.eye(len(CLASSES))
    taken = np.concatenate([mine[has], left])
    target = np.concatenate([stages[answers[has]], proposals.p[left]])
    weight = np.concatenate([np.ones(has.sum()), np.full(len(left), UNTOUCHED_WEIGHT)])
    places = PlaceExamples(noticed[taken], corner[taken], target, weight)
    missed = ~has & (answers < CLASSES.index("debris"))
    heat = _heat_examples(
        reading, work, per_px=(down, right), settled=settled, missed=missed, places=places, there=there, um=um
    )
    cut = analysis.cuts[0]
    is_measured = has & (piece[np.maximum(mine, 0)] > 0)
    measured = (cut.features[piece[mine[is_measured]] - 1], answers[is_measured], work.is_grey)
    return _Read(
        work=work,
        reading=reading,
        analysis=analysis,
        piece=piece,
        proposals=proposals,
        noticed=noticed,
        corner=corner,
        proposal_of=mine,
        places=places,
        heat=heat,
        measured=measured,
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


def _heat_examples(reading, work, per_px, settled, missed, places, there, um) -> PlaceExamples:
    """Where objects are and are not: those settled, those missed, and faint places held as the reader judges them."""
    from scipy.spatial import cKDTree
    from scipy.special import expit

    from qckit.counting.reader import shipped_last_layer

    rows, cols = settled.y_px[missed] / work.step_y, settled.x_px[missed] / work.step_x
    lost, lost_corner = reading.noticed_near(rows * per_px[0], cols * per_px[1], MISSED_REACH_UM / reading.um_per_px)
    faint = np.stack(reading.faint_places(), axis=1)
    known = np.concatenate([there, np.stack([settled.x_px, settled.y_px], 1)])
    if len(known):
        at = np.stack([faint[:, 1] / per_px[1] * work.step_x, faint[:, 0] / per_px[0] * work.step_y], 1)
        faint = faint[cKDTree(known).query(at)[0] * um > REACH_UM]
    empty, empty_corner = reading.noticed_near(faint[:, 0], faint[:, 1], 0)
    sure = places.weight == 1
    is_object = places.target[sure].argmax(axis=1) < CLASSES.index("debris")
    shipped_heat = expit(shipped_last_layer().answers(empty, empty_corner, HEAT_PLANE)[:, 0])
    chance = np.concatenate([is_object, np.ones(len(lost)), shipped_heat])
    return PlaceExamples(
        np.concatenate([places.noticed[sure], lost, empty]),
        np.concatenate([places.corner[sure], lost_corner, empty_corner]),
        np.stack([1 - chance, chance], axis=1),
        np.concatenate([np.ones(sure.sum() + len(lost)), np.full(len(empty), UNTOUCHED_WEIGHT)]),
    )


def learn_camera(photos: list[SettledPhoto], gains, *, pull: float | None = None) -> Learned:
    """Learn from settled photos.

    Parameters
    ----------
    photos : list of SettledPhoto
    gains : list of (3,) ndarray or None
        Those under which the photos were read.
    pull : float, optional
        Penalty on moving the last layer; chosen by leaving photos out in turn when left out.

    Returns
    -------
    Learned
    """
    from qckit.counting.reader import shipped_last_layer

    layer = shipped_last_layer()
    treatment = _best_treatment(photos)
    places = [p.reads[treatment].places for p in photos]
    pull = choose_pull(layer, places) if pull is None else pull
    last = fit_stages(layer, PlaceExamples.join(places), pull)
    last = fit_heat(last, PlaceExamples.join([p.reads[treatment].heat for p in photos]))
    stages = tune_stage_models([p.reads[treatment].measured for p in photos])
    return Learned(stages, None if last is layer else last, gains[treatment])


def _best_treatment(photos: list[SettledPhoto]) -> int:
    """Which treatment of colours lets the reader tell the settled objects best; 0 (none) unless beyond doubt."""
    costs = np.array([[_cost(read) for read in p.reads] for p in photos])
    gain = costs[:, :1] - costs
    unsure = gain.std(axis=0, ddof=1) / np.sqrt(len(gain)) if len(gain) > 1 else np.full(gain.shape[1], np.inf)
    better = gain.mean(axis=0) - unsure
    return int(better.argmax()) if better.max() > 0 else 0


def _cost(read: _Read) -> float:
    sure = read.places.weight == 1
    p = read.proposals.p[read.proposal_of[read.proposal_of >= 0]]
    chosen = (p * read.places.target[sure]).sum(axis=1)
    n_missed = int((read.proposal_of < 0).sum())
    return float((-np.log(np.maximum(chosen, 1e-3))).sum() + 2 * n_missed) / max(len(read.proposal_of), 1)


def stages_right(photo: SettledPhoto, learned: Learned, gains) -> np.ndarray:
    """Which settled objects would come out right: (n,) bool. Debris is right where nothing that counts is found."""
    from scipy.special import softmax

    from qckit.counting.reader import shipped_last_layer

    treatment = next(k for k, g in enumerate(gains) if g is learned.colour_gain)
    read, layer = photo.reads[treatment], learned.last_layer
    analysis, piece, proposals = read.analysis, read.piece, read.proposals
    if layer is not None and layer.same(shipped_last_layer(), HEAT_PLANE):
        p = softmax(layer.answers(read.noticed, read.corner, STAGE_PLANES), axis=1)
        proposals = replace(proposals, p=p)
    elif layer is not None:  # other centres: what lies there is measured anew
        proposals = in_work_pixels(read.work, read.reading.shape, read.reading.propose(layer))
        analysis, piece = analyse_at_centres(read.work, proposals)
    model = learned.stages["grey" if photo.is_grey else "colour"]
    found, _ = join_readings(analysis, piece, model, proposals)
    work = read.work
    there = np.stack([found.cols * work.step_x, found.rows * work.step_y], axis=1)
    um = work.um_per_px / (work.step_x * work.step_y) ** 0.5
    mine = _nearest(np.stack([photo.settled.x_px, photo.settled.y_px], 1), there, REACH_UM / um)
    called = np.full(len(mine), CLASSES.index("debris"))
    called[mine >= 0] = found.p.argmax(axis=1)[mine[mine >= 0]]
    return called == photo.answers


@dataclass(frozen=True)
class CurvePoint:
    """Share of settled objects that are wrong on photos left out, learnt from so many photos; 95 % interval. [%]"""

    n_photos: int
    wrong_pct: float
    low: float
    high: float


def learning_curve(photos: list[SettledPhoto], gains, *, ahead: int = 2) -> tuple[CurvePoint, ...]:
    """Work out how many settled photos help how much.

    Parameters
    ----------
    photos : list of SettledPhoto
        Three or more.
    gains : list of (3,) ndarray or None
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
    from qckit.counting.learned import load_learned

    n, rng = len(photos), np.random.default_rng(len(photos))
    kit = load_learned(None)
    tried = sorted({0, 1, 2, n // 2, n - 1})
    wrong = np.full((n, len(tried)), np.nan)  # of each photo (row), learnt from so many others (column): share wrong
    size = np.array([len(p.answers) for p in photos], float)
    wrong[:, 0] = [1 - stages_right(p, kit, gains).mean() for p in photos]
    for column, k in list(enumerate(tried))[1:]:
        chosen = list(combinations(range(n), k))
        if len(chosen) > SUBSETS:
            most = n if k == n - 1 else SUBSETS
            chosen = [chosen[i] for i in rng.choice(len(chosen), most, replace=False)]
        got = [[] for _ in photos]
        for some in chosen:
            learned = learn_camera([photos[i] for i in some], gains)
            for j in set(range(n)) - set(some):
                got[j].append(1 - stages_right(photos[j], learned, gains).mean())
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
    curve = lambda at: np.stack([np.ones(len(at)), 1 / (1 + np.asarray(at, float))], 1)  # noqa: E731
    rows, _ = nnls(curve(tried[usable]), share[usable])
    return np.concatenate([np.where(usable, share, np.nan), curve(beyond) @ rows])
