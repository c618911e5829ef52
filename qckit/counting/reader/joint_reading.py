"""The answers of the reader, a trained network that proposes centres and stages, joined with what was measured.

The count works without the reader. Where it is there, the foreground is cut at its centres, the two readings of a
stage are multiplied (logarithmic pooling, Genest and Zidek 1986, Statistical Science 1:114), and cysts and shells are
settled by the photo's own line between them, two groups and mixture, over a weave or a print by what of it shows
through each, in doubt on a plain floor by how like each other they are, and in both by their colours; stages on which
the two differ are counted, so that a photo can be flagged.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from qckit.counting.analysis import (
    Analysis,
    CutMeasures,
    FoundObjects,
    Ground,
    analyse_at_centres,
    find_ground,
    gather,
    join_found,
)
from qckit.counting.no_bodies import cast_shadows, lamp_images
from qckit.counting.reader.chances import Accepted
from qckit.counting.reader.proposals import Proposals
from qckit.counting.segmentation.light import Light
from qckit.counting.shells.body_colours import colours_of
from qckit.counting.shells.dividing_line import redraw_line
from qckit.counting.shells.floor_behind import likeness_to_floor
from qckit.counting.shells.joint_groups import settle_by_groups
from qckit.counting.shells.like_bodies import GROUPS as GROUPS_BY_OTHERS
from qckit.counting.shells.like_bodies import likeness_to_others, settle_by_others
from qckit.counting.shells.mixture import PAIR
from qckit.counting.shells.see_through import GROUPS as GROUPS_BY_FLOOR
from qckit.counting.shells.see_through import settle_by_floor
from qckit.counting.shells.two_groups import part_by_looks, settle_round_bodies
from qckit.counting.stages import StageModel
from qckit.counting.swing import doubts_of, off_chance
from qckit.counting.working import WorkImage
from qckit.photo.reading import resize_to_scale
from qckit.stages import CLASSES, STAGE_RECORDS, STAGES

__all__ = ["JointReading", "likeness_of", "propose_objects", "read_at_centres", "reader_key", "reader_module"]

LEAST_SUPPORTED = 0.5  # of the proposals; where the foreground supports fewer, its silence says nothing
ENOUGH = 20  # proposals to tell that by; a few of them may be specks that the foreground rightly leaves out
ALONE_SINGLE = 0.99  # of a measured object that no proposal supports
PATTERNED_PCT = 6.0  # scatter of a floor's light from which it is no plain one: woven or printed, or very grainy
NOISE_CODES = 4.0  # scatter in code values up to which it is a black floor's noise; weaves and prints have 5.8 and more
SPOT_CHECK = 24  # bodies of a photo not in doubt that are looked at first for what of the floor shows through
DOUBTFUL = 0.08  # chance of an error that matters from which a photo is read again, before it would be flagged
MEASURED_WEIGHT = 0.5  # of what was measured, beside the reader's 1, where the two always agree
STRANGERS = 0.5  # share of objects on which they differ from which what was measured has no say

# length, width and area of a typical object of each class [µm, µm, µm²], for a proposal that no piece supports
TYPICAL_UM = np.array([*(s.typical_um for s in STAGE_RECORDS), (150, 120, 14_000)], float)


def reader_module(reader: str | None):
    """Return the module of the reader, or None where there is none or it was not asked for."""
    if reader is None or importlib.util.find_spec("qckit.counting.reader.network") is None:
        return None
    module = importlib.import_module("qckit.counting.reader.network")
    return module if module.reader_available() else None


def reader_key(reader: str | None) -> str:
    """A short text that changes when the reader does."""
    module = reader_module(reader)
    return str(getattr(module, "READER_VERSION", "1")) if module else "none"


def propose_objects(work: WorkImage, module) -> tuple[Proposals, Callable[[Light], Proposals]]:
    """Ask the reader for its proposals.

    Parameters
    ----------
    work : WorkImage
    module : module
        From :func:`reader_module`.

    Returns
    -------
    proposals : Proposals
    read_again : callable
        Gives those by mirror images of the photo too, for four times the work. Takes the photo's light: where its
        floor is plain the mirror images are read by outline. Over a weave bodies are told by what shines through them,
        which a reader that goes by outline was not shown.
    """
    pixels, scale = reader_picture(work, module)
    reading = module.read_picture(pixels, scale)

    def read_again(light):
        mirrored = module.read_mirrored(reading, pixels, by_outline=not _is_patterned(light))
        return in_work_pixels(work, pixels.shape, mirrored.propose())

    return in_work_pixels(work, pixels.shape, reading.propose()), read_again


def reader_picture(work: WorkImage, module) -> tuple[np.ndarray, float]:
    """The working picture at the network's scale, and that scale. [µm/px]"""
    if 0.97 * module.READER_UM_PER_PX <= work.um_per_px <= module.COARSEST_UM_PER_PX:
        return work.pixels, work.um_per_px
    scale = module.READER_UM_PER_PX
    return resize_to_scale(work.pixels, work.um_per_px, scale, enlarge=True), scale


def in_work_pixels(work: WorkImage, shape: tuple[int, ...], proposed: Proposals) -> Proposals:
    """Proposals of a picture of some shape, in working pixels."""
    return proposed.enlarged(work.pixels.shape[0] / shape[0], work.pixels.shape[1] / shape[1])


@dataclass(frozen=True)
class JointReading:
    """What both readings together find in a photo.

    Attributes
    ----------
    analysis : Analysis
    found : FoundObjects
    differing : float
        Share of the objects seen by both that they give different stages; of the proposals, the share that the
        foreground does not support where that is most of them; NaN where nothing is seen by both and few are proposed.
    invented, missed : (4,) ndarray
        By stage, how many of the objects are expected to be none, and how many to have been missed.
    """

    analysis: Analysis
    found: FoundObjects
    differing: float
    invented: np.ndarray
    missed: np.ndarray


def read_at_centres(
    work: WorkImage, model: StageModel, proposals: Proposals, read_again: Callable[[Light], Proposals] | None = None
) -> JointReading:
    """Measure the photo where the reader's proposals are likely objects, and join both readings.

    Parameters
    ----------
    work : WorkImage
    model : StageModel
    proposals : Proposals
        In working pixels.
    read_again : callable, optional
        From :func:`propose_objects`; asked where the proposals leave too much doubt.

    Returns
    -------
    JointReading
    """
    ground = find_ground(work)
    joint = _read_once(work, model, proposals, ground)
    in_doubt = read_again is not None and is_doubtful(joint.found, joint.invented + joint.missed)
    if in_doubt:
        del joint  # or its labels and sums lie in memory beside what the network needs
        joint = _read_once(work, model, read_again(ground.light), ground)
    found, colours = _without_phantoms(joint.analysis, joint.found)
    p = found.p
    if _is_patterned(ground.light):
        p = _by_floor(joint.analysis, found, colours, None if in_doubt else SPOT_CHECK)
    elif in_doubt:
        p = _by_others(joint.analysis, found, colours)
    return replace(joint, found=replace(found, p=p))


def _without_phantoms(analysis: Analysis, found: FoundObjects) -> tuple[FoundObjects, np.ndarray]:
    """What was found, images of lamps and shadows as debris; and the colours of all against their floor's."""
    um = analysis.work.um_per_px
    colours, floor = colours_of(analysis.work, analysis.light, found.rows, found.cols)
    counted = np.where((found.p.argmax(axis=1) < len(STAGES))[:, None], colours, np.nan)
    phantom = lamp_images(counted, floor) | cast_shadows(counted, floor, found.rows * um, found.cols * um)
    if phantom.any():
        debris = np.eye(len(CLASSES))[CLASSES.index("debris")]
        p, p_read = (np.where(phantom[:, None], debris, each) for each in (found.p, found.p_read))
        found = replace(found, p=p, p_read=p_read)
    return found, colours - floor


def _read_once(work: WorkImage, model: StageModel, proposals: Proposals, ground: Ground) -> JointReading:
    analysis, piece, accepted = analyse_at_centres(work, proposals, ground=ground)
    found, differing = join_readings(analysis, piece, model, accepted)
    return JointReading(analysis, found, differing, accepted.invented, accepted.missed)


def _is_patterned(light: Light) -> bool:
    """Whether the floor is woven or printed, or grainy; the noise of a black one is no pattern."""
    return light.scatter_pct >= PATTERNED_PCT and light.scatter_codes >= NOISE_CODES


def _by_others(analysis: Analysis, found: FoundObjects, colours: np.ndarray) -> np.ndarray:
    """Settle cysts and shells by their colours and by how like the others each is.

    Where colours fall into no groups, the likeness alone is asked, but not where bodies part by their looks.
    """
    p, likeness, labels = found.p, np.full(len(found.p), np.nan), analysis.cuts[0].labels
    which = np.flatnonzero(p[:, PAIR].sum(axis=1) > 0.5)
    likeness[which] = likeness_to_others(analysis.work, labels, found.rows[which], found.cols[which])
    settled = settle_by_groups(p, colours, likeness, GROUPS_BY_OTHERS)
    if settled is not None:
        return settled
    return p if part_by_looks(found.p_read, found.features) else settle_by_others(p, likeness)


def _by_floor(analysis: Analysis, found: FoundObjects, colours: np.ndarray, at_first: int | None) -> np.ndarray:
    """Settle cysts and shells by their colours and by what of the floor shows through them; asked of a few at first.

    Where none of these few is told otherwise, what shows through the others is not looked at: that takes as long as the
    reader.
    """
    p = found.p

    def settled_by(some):
        likeness = likeness_of(analysis, found, some)
        settled = settle_by_groups(p, colours, likeness, GROUPS_BY_FLOOR)
        return settle_by_floor(p, likeness) if settled is None else settled

    which = np.flatnonzero(p[:, PAIR].sum(axis=1) > 0.5)
    if at_first is not None and len(which) > at_first:
        by_reading = which[np.argsort(p[which, PAIR[0]] - p[which, PAIR[1]], kind="stable")]
        few = by_reading[np.linspace(0, len(which) - 1, at_first).astype(int)]
        settled = settled_by(few)
        if np.array_equal(settled[few].argmax(axis=1), p[few].argmax(axis=1)):
            return settled
    return settled_by(which)


def likeness_of(analysis: Analysis, found: FoundObjects, which: np.ndarray) -> np.ndarray:
    """How like the insides of some bodies are to the floor behind them.

    Parameters
    ----------
    analysis : Analysis
    found : FoundObjects
        Of n objects.
    which : (k,) ndarray of int
        Those that are looked at.

    Returns
    -------
    (n,) ndarray
        From :func:`qckit.counting.shells.floor_behind.likeness_to_floor`; NaN for all others, and over a plain floor.
    """
    likeness, labels = np.full(len(found.p), np.nan), analysis.cuts[0].labels
    if _is_patterned(analysis.light):
        at = found.rows[which], found.cols[which]
        likeness[which] = likeness_to_floor(analysis.work, analysis.light, labels, *at)
    return likeness


def is_doubtful(found: FoundObjects, n_mistaken: np.ndarray) -> bool:
    """Whether a first reading leaves so much doubt about the hatching percentage that the photo is read again.

    Parameters
    ----------
    found : FoundObjects
    n_mistaken : (4,) ndarray
        Objects expected to have been invented or missed, by stage.

    Returns
    -------
    bool
    """
    swing, between = doubts_of(found.p, n_mistaken, found.p_read)
    return off_chance(swing, between) > DOUBTFUL


def join_readings(
    analysis: Analysis, piece: np.ndarray, model: StageModel, accepted: Accepted
) -> tuple[FoundObjects, float]:
    """Join what was proposed with what was measured at the same centres; see :class:`JointReading`.

    Parameters
    ----------
    analysis : Analysis
    piece : (n,) ndarray of int
        From :func:`qckit.counting.analysis.analyse_at_centres`, as ``accepted``.
    model : StageModel
    accepted : Accepted

    Returns
    -------
    found : FoundObjects
    differing : float
    """
    work = analysis.work
    measured, candidate, supported, differing = _pooled(analysis, piece, model, accepted.proposals)
    kept = measured.p_single > ALONE_SINGLE
    kept[candidate] = True
    blind = len(piece) >= ENOUGH and len(supported) < LEAST_SUPPORTED * len(piece)
    if blind:
        differing = 1 - len(supported) / len(piece)
    alone = _proposed_alone(work, accepted.proposals, piece == 0, analysis.cuts[0])
    found = join_found([measured.take(kept), alone])
    p_read = redraw_line(found.p, found.features)
    return replace(found, p=settle_round_bodies(p_read, found.features), p_read=p_read), differing


def judge_places(
    analysis: Analysis, piece: np.ndarray, model: StageModel, proposals: Proposals
) -> tuple[FoundObjects, float]:
    """What each of some places would be as an object, in their order; see :func:`join_readings`.

    Parameters
    ----------
    analysis : Analysis
    piece : (n,) ndarray of int
    model : StageModel
    proposals : Proposals

    Returns
    -------
    found : FoundObjects
        Stages as both readings have them.
    differing : float
    """
    measured, candidate, supported, differing = _pooled(analysis, piece, model, proposals)
    alone = _proposed_alone(analysis.work, proposals, piece == 0, analysis.cuts[0])
    found = join_found([measured.take(candidate), alone])
    found = found.take(np.argsort(np.concatenate([supported, np.flatnonzero(piece == 0)]), kind="stable"))
    return replace(found, p_read=found.p), differing


def _pooled(analysis: Analysis, piece: np.ndarray, model: StageModel, proposals: Proposals):
    """All pieces as measured, those of proposals with both readings; which pieces and proposals; how they differ."""
    cut = analysis.cuts[0]
    measured = gather(analysis.work, cut, np.arange(len(cut.candidates)), model.predict(cut.features))
    supported = np.flatnonzero(piece)
    candidate = piece[supported] - 1  # candidates are the pieces in order
    differing = (
        float((measured.p[candidate].argmax(axis=1) != proposals.p[supported].argmax(axis=1)).mean())
        if len(supported)
        else np.nan
    )
    pooled = proposals.p[supported] * (measured.p[candidate] + 1e-3) ** measured_weight(differing)
    measured.p[candidate] = pooled / pooled.sum(axis=1, keepdims=True)
    measured.p_single[candidate] = np.maximum(measured.p_single[candidate], proposals.score[supported])
    measured.rows[candidate], measured.cols[candidate] = proposals.rows[supported], proposals.cols[supported]
    return measured, candidate, supported, differing


def measured_weight(differing: float) -> float:
    """Weight of what was measured, by the share of objects on which it differs from the reader in this photo.

    The measures were learnt in few lights; in a strange one they differ from the reader nearly everywhere, and err.
    """
    return MEASURED_WEIGHT * float(np.clip(1 - np.nan_to_num(differing) / STRANGERS, 0, 1))


def _proposed_alone(work, proposals: Proposals, which: np.ndarray, cut: CutMeasures) -> FoundObjects:
    """Objects for proposals that no piece supports, with the sizes typical of their stage."""
    index = np.flatnonzero(which)
    stage = proposals.p[index].argmax(axis=1)
    size = TYPICAL_UM[stage]
    half = size[:, :1] / 2 / work.um_per_px
    centre = np.stack([proposals.rows[index], proposals.cols[index]], axis=1)
    boxes = np.concatenate([np.floor(centre - half), np.ceil(centre + half)], axis=1).astype(np.int64)
    boxes = np.clip(boxes, 0, np.array([*work.pixels.shape[:2]] * 2))
    sizes = {k: np.zeros(len(index)) for k in cut.sizes}
    sizes |= {"length_um": size[:, 0], "width_um": size[:, 1], "area_um2": size[:, 2]}
    features = np.full((len(index), cut.features.shape[1]), np.nan, np.float32)
    return FoundObjects(
        p=proposals.p[index],
        p_single=proposals.score[index],
        rows=centre[:, 0],
        cols=centre[:, 1],
        boxes=boxes,
        patch=np.zeros(len(index), np.int32),
        sizes=sizes,
        features=features,
        p_read=proposals.p[index],
    )
