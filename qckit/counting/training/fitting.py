"""Training of the stage model from labelled photos: candidates labelled by their masks, small networks by gradient.

Photos are also shown in altered light (lamp colour, gain, gamma, blur, noise, smaller size), so that the model leans on
what stays the same. Everything is seeded; the same photos give the same model.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from qckit.counting.analysis import Analysis, CutMeasures, analyse, analyse_at_centres
from qckit.counting.segmentation.measuring import FEATURES, GREY_FEATURES
from qckit.counting.stages import ANSWERS, CLASSES, StageModel
from qckit.counting.working import WorkImage
from qckit.photo.reading import resize_to_scale

__all__ = ["Examples", "alter_light", "label_candidates", "train_stage_model"]

SAME_OBJECT_IOU = 0.58
PART_IOU = 0.5
LEAST_VISIBLE = 0.3


@dataclass(frozen=True)
class Examples:
    """Labelled candidates.

    Attributes
    ----------
    features : (m, f) ndarray
    answers : (m,) ndarray of int
        Index into ``ANSWERS``; -1 is between two answers and not trained on.
    group : (m,) ndarray of int
        Which photo, so that whole photos can be left out.
    """

    features: np.ndarray
    answers: np.ndarray
    group: np.ndarray


def label_candidates(analysis: Analysis, mask: np.ndarray, stages: dict[int, str]) -> np.ndarray:
    """Label each candidate by the known object it coincides with.

    Parameters
    ----------
    analysis : Analysis
    mask : (P, Q) ndarray of int
        Instance mask of the full photo; 0 is background.
    stages : dict of int to str
        Stage of each instance.

    Returns
    -------
    (m,) ndarray of int
        Index into ``ANSWERS``, or -1 where it is neither one object nor clearly not one.
    """
    work = analysis.work
    labels = analysis.cuts[0].labels
    rows = np.minimum(((np.arange(labels.shape[0]) + 0.5) * work.step_y).astype(int), mask.shape[0] - 1)
    cols = np.minimum(((np.arange(labels.shape[1]) + 0.5) * work.step_x).astype(int), mask.shape[1] - 1)
    small = mask[np.ix_(rows, cols)]
    return np.concatenate([_label_cut(cut, small, stages) for cut in analysis.cuts])


def _label_cut(cut: CutMeasures, small: np.ndarray, stages: dict[int, str]) -> np.ndarray:
    """Labels of one cut's candidates; ``small`` is the mask in working pixels."""
    labels = cut.labels
    n, top = len(cut.pieces.patch), int(small.max()) + 1
    known_px = np.bincount(small.ravel(), minlength=top)
    covered_px = np.bincount(small[labels > 0], minlength=top)
    overlap = np.bincount(labels.ravel().astype(np.int64) * top + small.ravel(), minlength=n * top).reshape(n, top)
    size = overlap.sum(axis=1)
    answers = np.full(len(cut.candidates), ANSWERS.index("part"))
    if top == 1:
        return answers
    for i, group in enumerate(cut.candidates):
        members = list(group)
        with_known = overlap[members].sum(axis=0)
        best = int(np.argmax(with_known[1:])) + 1
        if not with_known[best]:
            continue
        # limbs outside the foreground do not count against a body
        iou = with_known[best] / (size[members].sum() + covered_px[best] - with_known[best])
        if iou >= SAME_OBJECT_IOU and with_known[best] >= LEAST_VISIBLE * known_px[best]:
            answers[i] = CLASSES.index(stages[best])
        elif iou >= PART_IOU:
            answers[i] = -1
    return answers


def alter_light(work: WorkImage, rng: np.random.Generator, *, grey: bool = False) -> WorkImage:
    """Show a working picture as another lamp and camera might: colour, gain, gamma, blur, noise, size.

    Parameters
    ----------
    work : WorkImage
    rng : Generator
    grey : bool
        As a grey camera would see it.

    Returns
    -------
    WorkImage
    """
    from PIL import Image, ImageFilter

    pixels = work.pixels
    scale = float(rng.uniform(1.0, 1.35)) if work.um_per_px < 10 and rng.random() < 0.4 else 1.0
    pixels = resize_to_scale(pixels, work.um_per_px, work.um_per_px * scale)
    if rng.random() < 0.35:
        radius = float(rng.uniform(0.4, 1.3))
        pixels = np.asarray(Image.fromarray(pixels).filter(ImageFilter.GaussianBlur(radius)))
    value = (pixels.astype(np.float32) / 255) ** np.float32(rng.uniform(0.8, 1.25))
    lamp = np.exp(rng.normal(0, 0.16, 3)) * np.exp(rng.normal(-0.05, 0.15))
    mix = np.eye(3) + rng.normal(0, 0.04, (3, 3))
    mix /= mix.sum(axis=1, keepdims=True)
    value = (value @ mix.T.astype(np.float32)) * lamp.astype(np.float32)
    if grey:
        value = np.repeat(value @ np.array([[0.3], [0.55], [0.15]], np.float32), 3, axis=2)
    noise = rng.normal(0, rng.uniform(0, 0.012), value.shape[:2] + ((1,) if grey else (3,)))
    out = np.clip(np.rint((value + noise) * 255), 0, 255).astype(np.uint8)
    step = work.pixels.shape[1] / out.shape[1]
    return replace(
        work,
        pixels=out,
        um_per_px=work.um_per_px * step,
        step_x=work.step_x * step,
        step_y=work.step_y * work.pixels.shape[0] / out.shape[0],
        is_grey=work.is_grey or grey,
    )


def collect_examples(work: WorkImage, mask: np.ndarray, stages: dict[int, str], group: int) -> Examples:
    """Analyse one working picture and label its candidates."""
    return _examples_of(analyse(work), mask, stages, group)


def collect_at_centres(work: WorkImage, mask: np.ndarray, stages: dict[int, str], group: int, proposals) -> Examples:
    """Cut one working picture at the reader's centres and label the pieces."""
    return _examples_of(analyse_at_centres(work, proposals)[0], mask, stages, group)


def _examples_of(analysis: Analysis, mask, stages, group: int) -> Examples:
    answers = label_candidates(analysis, mask, stages)
    return Examples(analysis.features, answers, np.full(len(answers), group))


def with_looks(model: StageModel, examples: list[Examples]) -> StageModel:
    """Note in a model how the objects of each picture look, so that pictures unlike them can be told.

    Parameters
    ----------
    model : StageModel
    examples : list of Examples
        One per picture.

    Returns
    -------
    StageModel
    """
    looks, group = [], []
    for one in examples:
        known = one.features[(one.answers >= 0) & (one.answers < CLASSES.index("debris"))]
        if len(known) >= 5:
            looks.append(np.median(model.standardise(known), axis=0))
            group.append(int(one.group[0]))
    looks, group = np.array(looks), np.array(group)
    apart = np.sqrt(((looks[:, None] - looks) ** 2).mean(axis=2))
    apart[group[:, None] == group] = np.inf
    nearest = apart.min(axis=1)
    reach = float(np.percentile(nearest[np.isfinite(nearest)], 90)) if np.isfinite(nearest).any() else 1.0
    return replace(model, looks=looks, look_reach=reach)


def join_examples(parts: list[Examples]) -> Examples:
    """Put examples of several pictures together."""
    return Examples(*(np.concatenate([getattr(p, k) for p in parts]) for k in ("features", "answers", "group")))


HIDDEN = (48, 32)
"""Units of the two hidden layers of each network of the stage model."""


def train_stage_model(examples: Examples, *, grey: bool = False, networks: int = 3, epochs: int = 14) -> StageModel:
    """Train the stage model.

    The same examples give the same model: the networks are begun from fixed seeds.

    Parameters
    ----------
    examples : Examples
    grey : bool
        Use only what a grey camera offers.
    networks : int
        Networks averaged. More are steadier and slower.
    epochs : int
        Passes over the examples.

    Returns
    -------
    StageModel
    """
    names = GREY_FEATURES if grey else FEATURES
    kept = examples.answers >= 0
    x = examples.features[kept][:, [FEATURES.index(n) for n in names]].astype(np.float64)
    y = examples.answers[kept]
    low, centre, high = np.percentile(x, [16, 50, 84], axis=0)
    scale = np.maximum((high - low) / 2, 0.25 * x.std(axis=0) + 1e-3)
    x = np.clip((x - centre) / scale, -6, 6).astype(np.float32)
    layers = tuple(_train_one(x, y, epochs, np.random.default_rng([1, i])) for i in range(networks))
    return StageModel(names, centre, scale, layers)


def _train_one(x, y, epochs, rng) -> tuple[np.ndarray, ...]:
    """One network by Adam (Kingma and Ba 2015) with weight decay and a falling rate."""
    sizes = (x.shape[1], *HIDDEN, len(ANSWERS))
    params = []
    for a, b in itertools.pairwise(sizes):
        params += [rng.normal(0, a**-0.5, (a, b)).astype(np.float32), np.zeros(b, np.float32)]
    first, second = [np.zeros_like(p) for p in params], [np.zeros_like(p) for p in params]
    batch, step = 256, 0
    target = np.eye(len(ANSWERS), dtype=np.float32)[y]
    steps = epochs * -(-len(x) // batch)
    for _ in range(epochs):
        order = rng.permutation(len(x))
        for start in range(0, len(x), batch):
            take = order[start : start + batch]
            grads = _gradients(params, x[take], target[take])
            step += 1
            rate = 3e-3 * 0.5 * (1 + np.cos(np.pi * step / steps))
            for i, g in enumerate(grads):
                first[i] += 0.1 * (g - first[i])
                second[i] += 0.001 * (g * g - second[i])
                move = (first[i] / (1 - 0.9**step)) / (np.sqrt(second[i] / (1 - 0.999**step)) + 1e-8)
                decay = 0.02 if params[i].ndim == 2 else 0.0
                params[i] -= np.float32(rate) * (move + decay * params[i])
    return tuple(p.astype(np.float64) for p in params)


def _gradients(params, x, target):
    """Gradients of the mean cross-entropy."""
    w1, b1, w2, b2, w3, b3 = params
    h1 = np.tanh(x @ w1 + b1)
    h2 = np.tanh(h1 @ w2 + b2)
    logits = h2 @ w3 + b3
    p = np.exp(logits - logits.max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    d3 = (p - target) / len(x)
    d2 = (d3 @ w3.T) * (1 - h2 * h2)
    d1 = (d2 @ w2.T) * (1 - h1 * h1)
    return [x.T @ d1, d1.sum(axis=0), h1.T @ d2, d2.sum(axis=0), h2.T @ d3, d3.sum(axis=0)]
