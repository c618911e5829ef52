"""The second reader: a trained network that proposes centres and stages, joined with what was measured.

The count works without it. Where it is there, the foreground is cut at its centres, the two readings of a stage are
multiplied (logarithmic pooling, Genest and Zidek 1986, Statistical Science 1:114), and cysts and shells are settled by
the photo's own two groups and mixture of them; stages on which the two differ are counted, so that a photo can be
flagged.
"""

from __future__ import annotations

import importlib.util
from dataclasses import replace

import numpy as np

from qckit.counting.analysis import Analysis, CutMeasures, FoundObjects, analyse_at_centres, gather, join_found
from qckit.counting.camera_rule import CameraRule, gather_evidence
from qckit.counting.last_layer import LastLayer
from qckit.counting.mixture import settle_cysts_and_shells
from qckit.counting.proposals import Proposals
from qckit.counting.stages import StageModel
from qckit.counting.two_groups import settle_by_groups
from qckit.counting.working import WorkImage, resize_to_scale
from qckit.stages import STAGE_RECORDS, STAGES

__all__ = ["propose_objects", "read_at_centres", "read_by_rule", "reader_key", "reader_module"]

LEAST_SCORE = 0.4
ALONE_SCORE = 0.55  # of a proposal that no piece supports
USUAL_SCORE = 0.78  # median of the surer ones, in all but the least sure tenth of the labelled photos of both makes
FEWEST_SURER = 5
CHANCE_AT_HALF, CHANCE_SLOPE = 1.63, 2.74  # of the curve of expected_errors, in logits
LEAST_SUPPORTED = 0.5  # of the proposals; where the foreground supports fewer, its silence says nothing
ENOUGH = 20  # proposals to tell that by; a few of them may be specks that the foreground rightly leaves out
ALONE_SINGLE = 0.99  # of a measured object that no proposal supports
MEASURED_WEIGHT = 0.5  # of what was measured, beside the reader's 1, where the two always agree
STRANGERS = 0.5  # share of objects on which they differ from which what was measured has no say

# length, width and area of a typical object of each class [µm, µm, µm²], for a proposal that no piece supports
TYPICAL_UM = np.array([*(s.typical_um for s in STAGE_RECORDS), (150, 120, 14_000)], float)


def reader_module(reader: str | None):
    """Return the module of the second reader, or None where there is none or it was not asked for."""
    if reader is None or importlib.util.find_spec("qckit.counting.reader") is None:
        return None
    module = importlib.import_module("qckit.counting.reader")
    return module if module.reader_available() else None


def reader_key(reader: str | None) -> str:
    """A short text that changes when the second reader does."""
    module = reader_module(reader)
    return str(getattr(module, "READER_VERSION", "1")) if module else "none"


def propose_objects(work: WorkImage, module, layer: LastLayer | None = None) -> Proposals:
    """Ask the second reader for its proposals.

    Parameters
    ----------
    work : WorkImage
    module : module
        From :func:`reader_module`.
    layer : LastLayer, optional
        A site's own last layer.

    Returns
    -------
    Proposals
    """
    pixels, scale = reader_picture(work, module)
    return in_work_pixels(work, pixels.shape, module.propose(pixels, scale, layer))


def reader_picture(work: WorkImage, module) -> tuple[np.ndarray, float]:
    """The working picture at the network's scale, and that scale. [µm/px]"""
    if 0.97 * module.READER_UM_PER_PX <= work.um_per_px <= module.COARSEST_UM_PER_PX:
        return work.pixels, work.um_per_px
    scale = module.READER_UM_PER_PX
    return resize_to_scale(work.pixels, work.um_per_px, scale, enlarge=True), scale


def in_work_pixels(work: WorkImage, shape: tuple[int, ...], proposed: Proposals) -> Proposals:
    """Proposals of a picture of some shape, the surer ones, in working pixels."""
    down, right = work.pixels.shape[0] / shape[0], work.pixels.shape[1] / shape[1]
    kept = proposed.score >= LEAST_SCORE * sureness(proposed.score)
    invented, missed = expected_errors(proposed, kept)
    return replace(proposed.take(kept).enlarged(down, right), invented=invented, missed=missed)


def expected_errors(proposed: Proposals, kept: np.ndarray) -> tuple[float, float]:
    """How many of those kept are expected to be no object, and how many of the others to be one; debris left out.

    The chance that an object lies at a place is read off its score by a logistic curve that was fitted to the photos of
    both labelled makes, each read by the network that had not seen it (``tests/photos/MEASURED.md``).
    """
    from scipy.special import expit, logit

    counts = proposed.p.argmax(axis=1) < len(STAGES)
    chance = expit(CHANCE_AT_HALF + CHANCE_SLOPE * logit(np.clip(proposed.score, 1e-6, 1 - 1e-6)))
    return float((1 - chance)[kept & counts].sum()), float(chance[~kept & counts].sum())


def sureness(score: np.ndarray) -> float:
    """How sure the reader is of this photo's objects, as a share of how sure it is of those in light that it knows.

    In strange light it sees as much and is less sure of all of it: what is an object is then told relative to the
    photo's own surer ones.
    """
    surer = score[score > LEAST_SCORE]
    return min(float(np.median(surer)) / USUAL_SCORE, 1.0) if len(surer) > FEWEST_SURER else 1.0


def read_by_rule(
    work: WorkImage, model: StageModel, module, layer: LastLayer | None, rule: CameraRule
) -> tuple[Proposals, Analysis, FoundObjects, float]:
    """As :func:`propose_objects` and :func:`read_at_centres`, the objects found judged once more by a camera's rule.

    Parameters
    ----------
    work : WorkImage
    model : StageModel
    module : module
    layer : LastLayer, optional
    rule : CameraRule

    Returns
    -------
    proposals : Proposals
    analysis : Analysis
    found : FoundObjects
    differing : float
    """
    reading = module.read_picture(*reader_picture(work, module))
    proposals = in_work_pixels(work, reading.shape, reading.propose(layer))
    analysis, found, differing = read_at_centres(work, model, proposals)
    p = rule.settle(found.p, gather_evidence(reading, work, found, model))
    return proposals, analysis, replace(found, p=p, p_read=p), differing


def read_at_centres(work: WorkImage, model: StageModel, proposals: Proposals) -> tuple[Analysis, FoundObjects, float]:
    """Measure the photo at the reader's centres and join both readings.

    Parameters
    ----------
    work : WorkImage
    model : StageModel
    proposals : Proposals

    Returns
    -------
    analysis : Analysis
    found : FoundObjects
    differing : float
        Share of the objects seen by both that they give different stages; of the proposals, the share that the
        foreground does not support where that is most of them; NaN where nothing is seen by both and few are proposed.
    """
    analysis, piece = analyse_at_centres(work, proposals)
    found, differing = join_readings(analysis, piece, model, proposals)
    return analysis, found, differing


def join_readings(
    analysis: Analysis, piece: np.ndarray, model: StageModel, proposals: Proposals
) -> tuple[FoundObjects, float]:
    """Join what was proposed with what was measured at the same centres; see :func:`read_at_centres`.

    Parameters
    ----------
    analysis : Analysis
    piece : (n,) ndarray of int
        From :func:`qckit.counting.analysis.analyse_at_centres`.
    model : StageModel
    proposals : Proposals

    Returns
    -------
    found : FoundObjects
    differing : float
    """
    work = analysis.work
    cut = analysis.cuts[0]
    measured = gather(work, cut, np.arange(len(cut.candidates)), model.predict(cut.features))
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
    kept = measured.p_single > ALONE_SINGLE
    kept[candidate] = True
    blind = len(piece) >= ENOUGH and len(supported) < LEAST_SUPPORTED * len(piece)
    unsupported = proposals.score >= (LEAST_SCORE if blind else ALONE_SCORE) * sureness(proposals.score)
    unsupported[supported] = False
    if blind:
        differing = 1 - len(supported) / len(piece)
    found = join_found([measured.take(kept), _proposed_alone(work, proposals, unsupported, cut)])
    settled = settle_cysts_and_shells(settle_by_groups(found.p, found.features))
    return replace(found, p=settled, p_read=found.p), differing


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
