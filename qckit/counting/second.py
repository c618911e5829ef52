"""The second reader: a trained network that proposes centres and stages, joined with what was measured.

The count works without it. Where it is there, its proposals steer which pieces are joined (a set of pieces that holds
exactly one proposal is the likelier object), the two readings of a stage are multiplied (logarithmic pooling, Genest
and Zidek 1986, Statistical Science 1:114), and stages on which the two differ are counted, so that a photo can be
flagged.
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass

import numpy as np

from qckit.counting.analysis import Analysis, CutMeasures, FoundObjects, choose_among, gather, join_found
from qckit.counting.stages import StageModel
from qckit.counting.working import resize_to_scale
from qckit.photo import Photo

__all__ = ["Proposals", "join_readings", "propose_objects", "reader_key", "reader_module"]

LEAST_SCORE = 0.45
ALONE_SCORE = 0.55  # of a proposal that no piece supports
ALONE_SINGLE = 0.9  # of a measured object that no proposal supports
READER_WEIGHT, MEASURED_WEIGHT = 1.0, 0.5
HOLDS = (0.25, 1.0, 0.08)  # how well a candidate fits that holds no, one, or several proposals
REACH_UM = 30.0

# length, width and area of a typical object [µm, µm, µm²], for a proposal that no piece supports
TYPICAL_UM = {0: (430, 170, 57_000), 1: (380, 220, 66_000), 2: (240, 230, 43_000), 3: (220, 170, 29_000),
              4: (150, 120, 14_000)}  # fmt: skip


@dataclass(frozen=True)
class Proposals:
    """Objects proposed by the second reader, in working pixels (first pixel's centre at 0.5).

    Attributes
    ----------
    rows, cols : (n,) ndarray
    p : (n, 5) ndarray
        Probability per class (four stages, debris).
    score : (n,) ndarray
        How sure it is that there is an object, 0 to 1.
    """

    rows: np.ndarray
    cols: np.ndarray
    p: np.ndarray
    score: np.ndarray


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


def propose_objects(photo: Photo, um_per_px: float, analysis: Analysis, reader: str | None) -> Proposals | None:
    """Ask the second reader for its proposals.

    Parameters
    ----------
    photo : Photo
    um_per_px : float
        Of the full photo. [µm/px]
    analysis : Analysis
        Gives the working pixels in which proposals are returned.
    reader : {"auto", None}

    Returns
    -------
    Proposals or None
        None where there is no second reader.
    """
    module = reader_module(reader)
    if module is None:
        return None
    pixels, scale = reader_picture(photo, um_per_px, module)
    said = module.propose(pixels, scale)
    shape = analysis.work.pixels.shape
    rows = np.asarray(said.row, float) * shape[0] / pixels.shape[0]
    cols = np.asarray(said.col, float) * shape[1] / pixels.shape[1]
    kept = np.asarray(said.score) >= LEAST_SCORE
    return Proposals(rows[kept], cols[kept], np.asarray(said.p, float)[kept], np.asarray(said.score, float)[kept])


def reader_picture(photo: Photo, um_per_px: float, module) -> tuple[np.ndarray, float]:
    """The photo at a scale the reader takes, and that scale."""
    now = um_per_px * photo.reduction
    if module.READER_UM_PER_PX <= now <= module.COARSEST_UM_PER_PX:
        return photo.pixels, now
    pixels = resize_to_scale(photo.pixels, now, module.READER_UM_PER_PX, enlarge=True)
    return pixels, module.READER_UM_PER_PX


def _piece_under(cut: CutMeasures, proposals: Proposals, um_per_px: float) -> np.ndarray:
    """The piece on which each proposal lies, the commonest within 30 µm where it lies beside one; 0 for none."""
    labels = cut.labels
    reach = max(1, round(REACH_UM / um_per_px))
    out = np.zeros(len(proposals.rows), np.int64)
    for i, (row, col) in enumerate(zip(proposals.rows, proposals.cols, strict=True)):
        r, c = min(int(row), labels.shape[0] - 1), min(int(col), labels.shape[1] - 1)
        out[i] = labels[r, c]
        if out[i] == 0:
            near = labels[max(0, r - reach) : r + reach + 1, max(0, c - reach) : c + reach + 1]
            near = near[near > 0]
            out[i] = np.bincount(near).argmax() if len(near) else 0
    return out


def _held(cut: CutMeasures, under: np.ndarray) -> np.ndarray:
    """How many proposals each candidate holds."""
    per_piece = np.bincount(under, minlength=len(cut.pieces.patch))
    per_piece[0] = 0
    sizes = [len(c) for c in cut.candidates]
    members = np.fromiter((p for c in cut.candidates for p in c), np.int64, sum(sizes))
    return np.bincount(np.repeat(np.arange(len(sizes)), sizes), weights=per_piece[members], minlength=len(sizes))


def join_readings(analysis: Analysis, model: StageModel, proposals: Proposals) -> tuple[FoundObjects, float]:
    """Choose objects by both readings.

    Parameters
    ----------
    analysis : Analysis
    model : StageModel
    proposals : Proposals

    Returns
    -------
    found : FoundObjects
    differing : float
        Share of the objects seen by both that they give different stages; NaN where none is seen by both.
    """
    work = analysis.work
    under = [_piece_under(cut, proposals, work.um_per_px) for cut in analysis.cuts]
    held = [_held(cut, u) for cut, u in zip(analysis.cuts, under, strict=True)]
    fit = [np.array(HOLDS)[np.minimum(h, 2).astype(int)] for h in held]
    chosen = choose_among(analysis, model, fit)
    parts, taken, differing = [], np.zeros(len(proposals.rows), bool), []
    for cut, u, (index, p) in zip(analysis.cuts, under, chosen, strict=True):
        owner = np.zeros(len(cut.pieces.patch), np.int64) - 1
        for k, i in enumerate(index):
            owner[list(cut.candidates[i])] = k
        owner[0] = -1
        found = gather(work, cut, index, p)
        single, stage_p = found.p_single.copy(), found.p.copy()
        rows, cols = found.rows.copy(), found.cols.copy()
        alone = np.ones(len(index), bool)
        for j in np.flatnonzero((u > 0) & ~taken)[np.argsort(-proposals.score[(u > 0) & ~taken], kind="stable")]:
            k = owner[u[j]]
            if k < 0 or not alone[k]:
                continue
            alone[k], taken[j] = False, True
            differing.append(stage_p[k].argmax() != proposals.p[j].argmax())
            pooled = proposals.p[j] ** READER_WEIGHT * (stage_p[k] + 1e-3) ** MEASURED_WEIGHT
            stage_p[k] = pooled / pooled.sum()
            single[k] = max(single[k], proposals.score[j])
            rows[k], cols[k] = proposals.rows[j], proposals.cols[j]
        kept = ~alone | (single > ALONE_SINGLE)
        parts.append(
            FoundObjects(stage_p, single, rows, cols, found.boxes, found.patch, found.sizes, found.features).take(kept)
        )
    parts.append(_proposed_alone(work, proposals, ~taken & (proposals.score >= ALONE_SCORE), analysis.cuts[0]))
    return join_found(parts), float(np.mean(differing)) if differing else float("nan")


def _proposed_alone(work, proposals: Proposals, which: np.ndarray, cut: CutMeasures) -> FoundObjects:
    """Objects for proposals that no piece supports, with the sizes typical of their stage."""
    index = np.flatnonzero(which)
    stage = proposals.p[index].argmax(axis=1)
    size = np.array([TYPICAL_UM[s] for s in stage], float).reshape(-1, 3)
    half = size[:, :1] / 2 / work.um_per_px
    centre = np.stack([proposals.rows[index], proposals.cols[index]], axis=1)
    boxes = np.concatenate([np.floor(centre - half), np.ceil(centre + half)], axis=1).astype(np.int64)
    boxes = np.clip(boxes, 0, np.array([*work.pixels.shape[:2]] * 2))
    sizes = {k: np.zeros(len(index)) for k in cut.sizes}
    sizes |= {"length_um": size[:, 0], "width_um": size[:, 1], "area_um2": size[:, 2]}
    features = np.full((len(index), cut.features.shape[1]), np.nan, np.float32)
    return FoundObjects(proposals.p[index], proposals.score[index], centre[:, 0], centre[:, 1], boxes,
                        np.zeros(len(index), np.int32), sizes, features)  # fmt: skip
