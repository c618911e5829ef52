"""The steps from a working picture to objects, in order: light, foreground, pieces, candidates, stages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from qckit.counting.fallback.grouping import best_division, list_candidates
from qckit.counting.fallback.splitting import Cut, cut_pieces
from qckit.counting.reader.chances import Accepted, accept
from qckit.counting.segmentation.foreground import Foreground, find_foreground
from qckit.counting.segmentation.light import Light, estimate_light, signal_of
from qckit.counting.segmentation.lines import remove_ruled_lines
from qckit.counting.segmentation.measuring import measure_objects
from qckit.counting.segmentation.pieces import PieceSums, sum_pieces
from qckit.counting.segmentation.seeded import cut_at_centres, supported_at
from qckit.counting.stages import ANSWERS, StageModel
from qckit.counting.working import WorkImage
from qckit.stages import CLASSES

__all__ = ["Analysis", "FoundObjects", "Ground", "analyse", "analyse_at_centres", "choose_objects", "find_ground"]


class Ground(NamedTuple):
    """What is known of a picture before anything in it is told apart: its foreground is without ruled lines."""

    light: Light
    foreground: Foreground
    n_lines: int


@dataclass(frozen=True)
class CutMeasures:
    """One way of cutting the foreground, with every candidate measured."""

    labels: np.ndarray
    pieces: PieceSums
    candidates: list[tuple[int, ...]]
    features: np.ndarray
    sizes: dict[str, np.ndarray]


@dataclass(frozen=True)
class Analysis:
    """Everything measured on a photo before stages are decided.

    Examples
    --------
    >>> work = counting.make_work_image(photo.read_photo(picture), 6.2)
    >>> counting.analyse(work).n_lines
    21
    """

    work: WorkImage
    light: Light
    foreground: Foreground
    cuts: tuple[CutMeasures, ...]
    n_lines: int = 0

    @property
    def features(self) -> np.ndarray:
        """Features of the candidates of all cuts, one after the other: (m, f)."""
        return np.concatenate([cut.features for cut in self.cuts])


@dataclass(frozen=True)
class FoundObjects:
    """Objects chosen among the candidates.

    Attributes
    ----------
    p : (k, 5) ndarray
        Probability per class (four stages, debris).
    p_single : (k,) ndarray
        Probability that it is exactly one object.
    rows, cols : (k,) ndarray
        Centroid in working pixels, the first pixel's centre at 0.5.
    boxes : (k, 4) ndarray of int
        First row, first column, row past the last, column past the last, in working pixels.
    patch : (k,) ndarray of int
        Patch of foreground it lies in.
    sizes : dict of (k,) ndarrays
        area_um2, length_um, width_um and others of :func:`qckit.counting.segmentation.measuring.measure_objects`.
    features : (k, f) ndarray
    p_read : (k, 5) ndarray
        As ``p``, before cysts and shells were settled by the photo's own two groups and mixture.

    Examples
    --------
    >>> work = counting.make_work_image(photo.read_photo(picture), 6.2)
    >>> found = counting.choose_objects(counting.analyse(work), counting.load_stage_model()["colour"])
    >>> found.p.shape[1]
    5
    """

    p: np.ndarray
    p_single: np.ndarray
    rows: np.ndarray
    cols: np.ndarray
    boxes: np.ndarray
    patch: np.ndarray
    sizes: dict[str, np.ndarray]
    features: np.ndarray
    p_read: np.ndarray

    def take(self, which) -> FoundObjects:
        """Return a selection or another order of the objects."""
        fields = {k: v[which] for k, v in vars(self).items() if k != "sizes"}
        return FoundObjects(**fields, sizes={k: v[which] for k, v in self.sizes.items()})


def analyse(work: WorkImage) -> Analysis:
    """Measure everything that might be an object.

    Parameters
    ----------
    work : WorkImage

    Returns
    -------
    Analysis

    Examples
    --------
    >>> work = counting.make_work_image(photo.read_photo(picture), 6.2)
    >>> len(counting.analyse(work).features) > 100
    True
    """
    light, foreground, n_lines = find_ground(work)
    cuts = cut_pieces(foreground.mask, foreground.signal, work.um_per_px)
    return Analysis(work, light, foreground, tuple(_measure(work, light, foreground, cut) for cut in cuts), n_lines)


def analyse_at_centres(
    work: WorkImage, proposals, choose=accept, *, ground: Ground | None = None
) -> tuple[Analysis, np.ndarray, Accepted]:
    """Measure one piece of foreground per proposal taken for an object, and what the reader left out.

    Parameters
    ----------
    work : WorkImage
    proposals : Proposals
    choose : callable
        What takes proposals for objects, as :func:`qckit.counting.reader.chances.accept` does.
    ground : Ground, optional
        From :func:`find_ground`, where it is there already.

    Returns
    -------
    analysis : Analysis
    piece : (n,) ndarray of int
        The piece of each proposal taken; 0 where no foreground supports it.
    accepted : Accepted
    """
    light, foreground, n_lines = ground or find_ground(work)
    supported = supported_at(foreground.mask, proposals.rows, proposals.cols, work.um_per_px)
    accepted = choose(proposals, supported, work.um_per_px)
    cut, piece = cut_at_centres(foreground.mask, foreground.signal, work.um_per_px, accepted.proposals)
    measures = _measure(work, light, foreground, cut, join=False)
    return Analysis(work, light, foreground, (measures,), n_lines), piece, accepted


def find_ground(work: WorkImage) -> Ground:
    """Find light, ruled lines and foreground.

    Parameters
    ----------
    work : WorkImage

    Returns
    -------
    Ground
    """
    light = estimate_light(work)
    signal, n_lines = remove_ruled_lines(signal_of(work, light), work.um_per_px)
    return Ground(light, find_foreground(signal, work.um_per_px, is_spent=True), n_lines)


def _measure(work: WorkImage, light: Light, foreground: Foreground, cut: Cut, *, join: bool = True) -> CutMeasures:
    """List and measure the candidates of one cut: ways of joining its pieces, or each piece as it is."""
    pieces = sum_pieces(work, light, cut)
    if join:
        candidates = list_candidates(cut.patch, pieces.pairs, pieces.sums[:, 0] * work.um_per_px**2)
    else:
        candidates = [(i,) for i in range(1, len(cut.patch))]
    features, sizes = measure_objects(pieces, candidates)
    return CutMeasures(cut.labels, pieces, candidates, features, sizes)


def choose_objects(analysis: Analysis, model: StageModel) -> FoundObjects:
    """Decide which candidates are objects, and their stages.

    Where a patch was cut in two ways, the way that explains more of it is kept: the sum over its objects of
    squared signal times probability, so that a shadow or bristles count little.

    Parameters
    ----------
    analysis : Analysis
    model : StageModel

    Returns
    -------
    FoundObjects
        Candidates that are more likely a part, or several objects, are left out.

    Examples
    --------
    >>> work = counting.make_work_image(photo.read_photo(picture), 6.2)
    >>> found = counting.choose_objects(counting.analyse(work), counting.load_stage_model()["colour"])
    >>> len(found.rows) > 50
    True
    """
    chosen = choose_among(analysis, model)
    parts = [gather(analysis.work, cut, index, p) for cut, (index, p) in zip(analysis.cuts, chosen, strict=True)]
    return join_found([f.take(f.p_single > 0.5) for f in parts])


def choose_among(analysis: Analysis, model: StageModel) -> list[tuple[np.ndarray, np.ndarray]]:
    """Choose candidates of every cut, each patch in the cut that explains it best.

    Parameters
    ----------
    analysis : Analysis
    model : StageModel

    Returns
    -------
    list of (index, p)
        Per cut: which candidates, and their (k, 6) probabilities of the answers.
    """
    n_patches = 1 + max(int(cut.pieces.patch.max(initial=0)) for cut in analysis.cuts)
    chosen, values = [], []
    for cut in analysis.cuts:
        p = model.predict(cut.features)
        single = 1 - p[:, ANSWERS.index("part")]
        index = best_division(cut.candidates, single, cut.sizes["n_px"], cut.pieces.patch)
        patch = cut.pieces.patch[[cut.candidates[i][0] for i in index]] if len(index) else np.zeros(0, np.int64)
        values.append(np.bincount(patch, weights=single[index] * cut.sizes["strength"][index], minlength=n_patches))
        chosen.append((index, p[index], patch))
    best = np.argmax(values, axis=0)
    return [(index[best[patch] == k], p[best[patch] == k]) for k, (index, p, patch) in enumerate(chosen)]


def join_found(parts: list[FoundObjects]) -> FoundObjects:
    """Put found objects of several cuts into one."""
    fields = {k: np.concatenate([getattr(f, k) for f in parts]) for k in vars(parts[0]) if k != "sizes"}
    sizes = {k: np.concatenate([f.sizes[k] for f in parts]) for k in parts[0].sizes}
    return FoundObjects(**fields, sizes=sizes)


def gather(work: WorkImage, cut: CutMeasures, index: np.ndarray, p: np.ndarray) -> FoundObjects:
    """Put together what is known of chosen candidates."""
    um, pieces = work.um_per_px, cut.pieces
    sizes = {k: v[index] for k, v in cut.sizes.items()}
    groups = [list(cut.candidates[i]) for i in index]
    first = np.array([g[0] for g in groups], np.int64)
    patch, boxes = pieces.patch[first], pieces.boxes[first]
    for k, group in enumerate(groups):
        if len(group) > 1:
            box = pieces.boxes[group]
            boxes[k] = (*box[:, :2].min(axis=0), *box[:, 2:].max(axis=0))
    origin = pieces.origin[patch]
    single = 1 - p[:, len(CLASSES)]
    stage_p = p[:, : len(CLASSES)] / np.maximum(single, 1e-9)[:, None]
    rows, cols = origin[:, 0] + sizes["y_um"] / um + 0.5, origin[:, 1] + sizes["x_um"] / um + 0.5
    return FoundObjects(
        p=stage_p,
        p_single=single,
        rows=rows,
        cols=cols,
        boxes=boxes,
        patch=patch,
        sizes=sizes,
        features=cut.features[index],
        p_read=stage_p,
    )
