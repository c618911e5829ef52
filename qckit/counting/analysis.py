"""The steps from a working picture to objects, in order: light, foreground, pieces, candidates, stages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.foreground import Foreground, find_foreground
from qckit.counting.grouping import best_division, list_candidates
from qckit.counting.light import Light, estimate_light, signal_of
from qckit.counting.measuring import PieceSums, measure_objects, sum_pieces
from qckit.counting.splitting import cut_pieces
from qckit.counting.stages import StageModel
from qckit.counting.working import WorkImage

__all__ = ["Analysis", "FoundObjects", "analyse", "choose_objects"]


@dataclass(frozen=True)
class Analysis:
    """Everything measured on a photo before stages are decided."""

    work: WorkImage
    light: Light
    foreground: Foreground
    labels: np.ndarray
    pieces: PieceSums
    candidates: list[tuple[int, ...]]
    features: np.ndarray
    sizes: dict[str, np.ndarray]


@dataclass(frozen=True)
class FoundObjects:
    """Objects chosen among the candidates.

    Attributes
    ----------
    index : (k,) ndarray of int
        Which candidates.
    p : (k, 5) ndarray
        Probability per class (four stages, debris).
    p_single : (k,) ndarray
        Probability that it is exactly one object.
    rows, cols : (k,) ndarray
        Centroid in working pixels, the first pixel's centre at 0.5.
    boxes : (k, 4) ndarray of int
        First row, first column, row past the last, column past the last, in working pixels.
    sizes : dict of (k,) ndarray
    features : (k, f) ndarray
    """

    index: np.ndarray
    p: np.ndarray
    p_single: np.ndarray
    rows: np.ndarray
    cols: np.ndarray
    boxes: np.ndarray
    sizes: dict[str, np.ndarray]
    features: np.ndarray


def analyse(work: WorkImage) -> Analysis:
    """Measure everything that might be an object.

    Parameters
    ----------
    work : WorkImage

    Returns
    -------
    Analysis
    """
    light = estimate_light(work)
    foreground = find_foreground(signal_of(work, light), work.um_per_px)
    labels, patch, depth = cut_pieces(foreground.mask, work.um_per_px)
    pieces = sum_pieces(work, light, foreground.signal, labels, patch, depth)
    candidates = list_candidates(patch, pieces.pairs, pieces.sums[:, 0] * work.um_per_px**2)
    features, sizes = measure_objects(pieces, candidates)
    return Analysis(work, light, foreground, labels, pieces, candidates, features, sizes)


def choose_objects(analysis: Analysis, model: StageModel) -> FoundObjects:
    """Decide which candidates are objects, and their stages.

    Parameters
    ----------
    analysis : Analysis
    model : StageModel

    Returns
    -------
    FoundObjects
    """
    p = model.predict(analysis.features)
    single = 1 - p[:, 5]
    index = best_division(analysis.candidates, single, analysis.sizes["n_px"], analysis.pieces.patch)
    return take_objects(analysis, index, p)


def take_objects(analysis: Analysis, index: np.ndarray, p: np.ndarray) -> FoundObjects:
    """Gather what is known of the chosen candidates; those more likely a part than an object are left out."""
    index = index[p[index, 5] < 0.5] if len(index) else index
    p = p[index]
    single = 1 - p[:, 5]
    um, pieces = analysis.work.um_per_px, analysis.pieces
    sizes = {k: v[index] for k, v in analysis.sizes.items()}
    groups = [analysis.candidates[i] for i in index]
    boxes = np.zeros((len(index), 4), np.int64)
    origin = np.zeros((len(index), 2))
    homes: dict[int, np.ndarray] = {}
    for k, group in enumerate(groups):
        box = pieces.boxes[list(group)]
        boxes[k] = (*box[:, :2].min(axis=0), *box[:, 2:].max(axis=0))
        home = int(pieces.patch[group[0]])
        if home not in homes:
            homes[home] = pieces.boxes[1:][pieces.patch[1:] == home][:, :2].min(axis=0)
        origin[k] = homes[home]
    stage_p = p[:, :5] / np.maximum(single, 1e-9)[:, None]
    rows, cols = origin[:, 0] + sizes["y_um"] / um + 0.5, origin[:, 1] + sizes["x_um"] / um + 0.5
    return FoundObjects(index, stage_p, single, rows, cols, boxes, sizes, analysis.features[index])
