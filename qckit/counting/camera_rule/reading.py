"""A photo read by a camera's own rule: every place that the reader sees is measured, and the rule judges it.

Faint places are measured too, since in a camera's light an object may be faint and what looks like one may be none
(:mod:`qckit.counting.camera_rule.rule`). The reader looks at four images of the photo (``read_mirrored``): what is
learnt from few objects sways with what one image happens to show.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from qckit.counting.analysis import Analysis, FoundObjects, analyse_at_centres, gather
from qckit.counting.camera_rule.rule import CameraRule, gather_evidence, with_none
from qckit.counting.reader.chances import ACCEPTED, accept_all, expected_errors
from qckit.counting.reader.joint_reading import (
    JointReading,
    in_work_pixels,
    judge_places,
    likeness_of,
    reader_picture,
)
from qckit.counting.reader.places import look_around
from qckit.counting.reader.proposals import Proposals
from qckit.counting.segmentation.measuring import measure_objects
from qckit.counting.shells.dividing_line import redraw_line
from qckit.counting.shells.mixture import PAIR
from qckit.counting.shells.see_through import settle_by_floor
from qckit.counting.shells.two_groups import settle_round_bodies
from qckit.counting.stages import ANSWERS, StageModel
from qckit.counting.working import WorkImage
from qckit.stages import STAGES

__all__ = ["SeenPlaces", "judge_by_rule", "read_all_images", "read_by_rule", "see_places"]


@dataclass(frozen=True)
class SeenPlaces:
    """All places of a photo at which the reader sees something, each measured.

    Attributes
    ----------
    proposals : Proposals
        In working pixels.
    piece : (n,) ndarray of int
        The piece of foreground of each; 0 for none.
    found : FoundObjects
        What each would be as an object, in the same order, as both readings have it.
    evidence : (n, EVIDENCE) ndarray
    chance : (n,) ndarray
        That something lies there, as the kit has it.
    likeness : (n,) ndarray
        Of the inside of what may be a cyst or a shell to the floor behind it; NaN where it is not known.
    differing : float
    """

    proposals: Proposals
    piece: np.ndarray
    found: FoundObjects
    evidence: np.ndarray
    chance: np.ndarray
    likeness: np.ndarray
    differing: float


def read_all_images(work: WorkImage, module):
    """What the reader notices in a photo and in its mirror images."""
    pixels, scale = reader_picture(work, module)
    return module.read_mirrored(module.read_picture(pixels, scale), pixels)


def see_places(work: WorkImage, model: StageModel, reading) -> tuple[Analysis, SeenPlaces]:
    """Find and measure every place at which the reader sees something.

    Parameters
    ----------
    work : WorkImage
    model : StageModel
        The kit's own.
    reading : Reading
        Of the reader, of the same photo; from :func:`read_all_images` where a rule is to judge.

    Returns
    -------
    analysis : Analysis
    places : SeenPlaces
    """
    heat = reading.heat()
    proposed = reading.propose(heat)
    around = look_around(heat, proposed, stride=reading.stride, um_per_px=reading.um_per_px)
    noticed = reading.noticed_at(proposed.rows, proposed.cols)
    proposals = in_work_pixels(work, reading.shape, proposed)
    analysis, piece, every = analyse_at_centres(work, proposals, accept_all)
    found, differing = judge_places(analysis, piece, model, proposals)
    evidence = gather_evidence(around, noticed, proposals.p, found.features, every.chance > ACCEPTED)
    either = found.p_read[:, : len(STAGES)].argmax(axis=1)
    return analysis, SeenPlaces(
        proposals=proposals,
        piece=piece,
        found=found,
        evidence=evidence,
        chance=every.chance,
        likeness=likeness_of(analysis, found, np.flatnonzero(np.isin(either, PAIR))),
        differing=differing,
    )


def judge_by_rule(places: SeenPlaces, rule: CameraRule) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Judge places.

    Parameters
    ----------
    places : SeenPlaces
    rule : CameraRule

    Returns
    -------
    p, p_read : (n, 5) ndarray
        Probabilities of the four stages and none, which is the likeliest where no object is; those as read, too, from
        before the photo's own two groups settled cysts and shells.
    chance : (n,) ndarray
        Of an object.
    """
    chance = rule.chance(places.proposals.score, places.found.p_read, places.evidence)
    if chance is None:
        is_stage = settled_as_usual(places).argmax(axis=1) < len(STAGES)
        chance = np.where(is_stage, places.chance, np.minimum(places.chance, ACCEPTED))
    as_read = rule.stages(places.found.p_read, places.evidence)
    if as_read is None:
        as_read, settled = _of_stages(places.found.p_read), _of_stages(settled_as_usual(places))
    else:
        settled, taken = as_read.copy(), chance > ACCEPTED
        whole = np.pad(as_read[taken], ((0, 0), (0, 1)))  # given an object, none has no share
        whole = settle_round_bodies(whole, places.found.features[taken])
        settled[taken] = settle_by_floor(whole, places.likeness[taken])[:, : len(STAGES)]
    return with_none(settled, chance), with_none(as_read, chance), chance


def _of_stages(p: np.ndarray) -> np.ndarray:
    """Probabilities of the four stages, given an object, of those with debris (n, 5)."""
    return p[:, : len(STAGES)] / np.maximum(p[:, : len(STAGES)].sum(axis=1, keepdims=True), 1e-9)


def settled_as_usual(places: SeenPlaces) -> np.ndarray:
    """Probabilities (n, 5) as the kit has them, which settles cysts and shells among what it takes for objects."""
    p = places.found.p_read.copy()
    taken = places.chance > ACCEPTED
    features = places.found.features[taken]
    p[taken] = settle_by_floor(settle_round_bodies(redraw_line(p[taken], features), features), places.likeness[taken])
    return p


def read_by_rule(work: WorkImage, model: StageModel, module, rule: CameraRule) -> JointReading:
    """Read a photo by a camera's rule.

    Parameters
    ----------
    work : WorkImage
    model : StageModel
    module : module
    rule : CameraRule

    Returns
    -------
    JointReading
        What was found are objects, and as debris what the kit would have taken for one.
    """
    analysis, places = see_places(work, model, read_all_images(work, module))
    p, p_read, chance = judge_by_rule(places, rule)
    is_object = chance > ACCEPTED
    shown = is_object | (places.chance > ACCEPTED)
    found = replace(places.found, p=p, p_read=p_read, p_single=np.ones(len(p))).take(shown)
    found = _with_pieces_left(analysis, found, places.piece[shown], places.piece[~shown])
    errors = expected_errors(replace(places.proposals, p=p[:, : len(STAGES)]), chance, is_object)
    return JointReading(analysis, found, places.differing, *errors)


def _with_pieces_left(analysis: Analysis, found: FoundObjects, piece: np.ndarray, left: np.ndarray) -> FoundObjects:
    """Give each piece whose place was not taken for an object to the object it shares most outline with."""
    cut = analysis.cuts[0]
    pairs, shared = cut.pieces.pairs, cut.pieces.shared
    object_of = np.full(len(cut.pieces.patch), -1)
    object_of[piece[piece > 0]] = np.flatnonzero(piece)
    groups: dict[int, list[int]] = {}
    for one in left[left > 0]:
        touching = (pairs == one).any(axis=1)
        others = pairs[touching].sum(axis=1) - one
        border = np.where(object_of[others] >= 0, shared[touching], 0)
        if len(others) and border.max() > 0:
            index = int(object_of[others[border.argmax()]])
            groups.setdefault(index, [int(piece[index])]).append(int(one))
    if not groups:
        return found
    index, members = np.array(list(groups)), [tuple(g) for g in groups.values()]
    features, sizes = measure_objects(cut.pieces, members)
    joined = replace(cut, candidates=members, features=features, sizes=sizes)
    anew = gather(analysis.work, joined, np.arange(len(members)), np.ones((len(members), len(ANSWERS))))
    boxes, kept = found.boxes.copy(), {k: v.copy() for k, v in found.sizes.items()}
    boxes[index] = anew.boxes
    for k, v in kept.items():
        v[index] = anew.sizes[k]
    return replace(found, boxes=boxes, sizes=kept)
