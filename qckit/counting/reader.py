"""The second reader's network: proposes centres and stages; run by onnxruntime on the processor.

A small convolutional network (1.4 million weights, in whole numbers of eight bits) that looks at 12 µm per pixel. It
was trained on the labelled photos of ``tests/photos`` and ``tests/photos_second_make`` and on drawn scenes by
``tests/training/train_reader.py``, which also says what its nine planes mean, and shrunk by
``tests/training/shrink_reader.py``. It measures nothing: sizes, and the check of its stages, come from the other steps.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from qckit.counting.proposals import Proposals

__all__ = ["READER_UM_PER_PX", "READER_VERSION", "propose", "reader_available"]

READER_UM_PER_PX = 12.0
COARSEST_UM_PER_PX = 15.0
"""Up to here a coarser photo is read as it is: enlarging adds nothing, and sizes vary as much between strains."""

MODEL = Path(__file__).with_name("reader.onnx")
READER_VERSION = hashlib.sha256(MODEL.read_bytes()).hexdigest()[:12] if MODEL.is_file() else "none"

STRIDE = 2  # pixels of the picture per pixel of the planes
FOLD = 4  # pixels a side that the network reads and answers as one; two by two pixels of each plane lie side by side
BLOCK = 32  # the network halves five times; strips start on whole blocks so that none shifts the grid
RIM = 128  # what the network takes for nothing
STRIP_PX, HALO = 3_300_000, 384  # pixels read at a time, and rows around them that can still sway them
LEAST_HEAT = 0.15
APART_UM = 70.0  # two centres nearer than this are one object seen twice


def reader_available() -> bool:
    """Say whether the network and what runs it are there."""
    import importlib.util

    return MODEL.is_file() and importlib.util.find_spec("onnxruntime") is not None


@dataclass(frozen=True)
class _Network:
    """What onnxruntime runs, and the last layer, which is worked out here for the planes and places that are wanted.

    The last layer's weights (planes, 4, channels) are whole numbers whose sums are exact in 32-bit floating point, in
    whatever order they are added; ``step`` and ``offset`` (planes, 4) make logits of the sums.
    """

    session: object
    weights: np.ndarray
    step: np.ndarray
    offset: np.ndarray


@cache
def _network(model: Path) -> _Network:
    """Load the network once per process, on one thread: photos are spread over processes instead."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    options.enable_cpu_mem_arena = options.enable_mem_pattern = False  # memory goes back as soon as it may
    session = onnxruntime.InferenceSession(str(model), options, providers=["CPUExecutionProvider"])
    notes = json.loads(session.get_modelmeta().custom_metadata_map["last_layer"])
    weights, step, offset = (np.array(notes[k], np.float32) for k in ("weights", "step", "offset"))
    return _Network(session, weights.reshape(-1, 4, weights.shape[1]), step.reshape(-1, 4), offset.reshape(-1, 4))


def _four_by_four(picture: np.ndarray) -> np.ndarray:
    """Lay four by four pixels side by side, after a rim of middle grey: (1, M/4 + 1, N/4 + 1, 48)."""
    rows, cols = picture.shape[0] // FOLD + 1, picture.shape[1] // FOLD + 1
    rimmed = np.full((FOLD * rows, FOLD * cols, 3), RIM, np.uint8)
    rim = FOLD // 2
    rimmed[rim:-rim, rim:-rim] = picture
    runs = rimmed.reshape(rows, FOLD, 3 * FOLD * cols).view("V12")  # four pixels moved at once
    return np.ascontiguousarray(runs.transpose(0, 2, 1)).view(np.uint8).reshape(1, rows, cols, 3 * FOLD**2)


def _strips(picture: np.ndarray) -> list[np.ndarray]:
    """Run the network in strips, so that memory stays bounded: what it noticed in each, (channels, P, Q)."""
    rows, cols = picture.shape[:2]
    over = ((0, -rows % BLOCK), (0, -cols % BLOCK), (0, 0))
    padded = np.pad(picture, over, mode="edge") if np.any(over) else picture
    height = padded.shape[0]
    n_strips = max(1, round(height * padded.shape[1] / STRIP_PX))
    step = max(256, -(-height // n_strips) // BLOCK * BLOCK + BLOCK)
    strips = []
    for start in range(0, height, step):
        first, last = max(0, start - HALO), min(height, start + step + HALO)
        out = _network(MODEL).session.run(None, {"photo": _four_by_four(padded[first:last])})[0][0]
        end = min(height, start + step)
        strips.append(out[:, (start - first) // FOLD : (end - first) // FOLD])
    return strips


def _planes(strips: list[np.ndarray], which: tuple[int, ...]) -> np.ndarray:
    """Some planes laid out: (planes, M/2, N/2)."""
    layer = _network(MODEL)
    weights, step, offset = (one[list(which)] for one in (layer.weights, layer.step, layer.offset))
    rows, cols = sum(s.shape[1] for s in strips), strips[0].shape[2]
    out = np.empty((len(which), 2 * rows, 2 * cols), np.float32)
    top = 0
    for strip in strips:
        for start in range(0, strip.shape[1], 64):  # few rows at a time stay in the processor's cache
            part = strip[:, start : start + 64]
            # row by row: products so small stay on one thread, whose fellows would only wait for each other
            sums = weights.reshape(-1, weights.shape[2]) @ part.astype(np.float32).transpose(1, 0, 2)
            sums = sums.reshape(-1, *step.shape, cols).transpose(1, 2, 0, 3)
            for k in range(4):
                here = out[:, top + k // 2 : top + 2 * part.shape[1] : 2, k % 2 :: 2]
                np.multiply(sums[:, k], step[:, k, None, None], out=here)
                here += offset[:, k, None, None]
            top += 2 * part.shape[1]
    return out


def _read_at(strips: list[np.ndarray], planes: range, r: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Values of some planes at pixels of the laid-out planes, without laying them out: (n, planes)."""
    layer = _network(MODEL)
    weights, step, offset = (one[planes.start : planes.stop] for one in (layer.weights, layer.step, layer.offset))
    out = np.empty((len(r), len(planes)))
    tops = np.cumsum([0, *(2 * s.shape[1] for s in strips)])
    home = np.searchsorted(tops, r, side="right") - 1
    for i, strip in enumerate(strips):
        here = np.flatnonzero(home == i)
        (row, down), (col, right) = np.divmod(r[here] - tops[i], 2), np.divmod(c[here], 2)
        k = 2 * down + right
        sums = np.einsum("nc,pnc->np", strip[:, row, col].T.astype(float), weights[:, k].astype(float))
        out[here] = sums * step[:, k].T + offset[:, k].T
    return out


def _peaks(plane: np.ndarray, least: float) -> tuple[np.ndarray, np.ndarray]:
    """Rows and columns of what is above a level and not below any of its eight neighbours."""
    r, c = np.nonzero(plane > least)
    wide = np.pad(plane, 1, constant_values=-np.inf)
    top = np.ones(len(r), bool)
    for down in range(3):
        for right in range(3):
            top &= plane[r, c] >= wide[r + down, c + right]
    return r[top], c[top]


def _apart(rows: np.ndarray, cols: np.ndarray, score: np.ndarray, um_per_px: float) -> np.ndarray:
    """Keep the surest of centres that lie nearer to each other than ``APART_UM``."""
    from scipy.spatial import cKDTree

    kept = np.ones(len(rows), bool)
    near = cKDTree(np.stack([rows, cols], axis=1)).query_pairs(APART_UM / um_per_px, output_type="ndarray")
    rank = np.lexsort((cols, rows, -score))
    place = np.empty(len(rows), np.int64)
    place[rank] = np.arange(len(rows))
    near = np.sort(place[near], axis=1)
    for surer, other in near[np.lexsort((near[:, 1], near[:, 0]))]:
        if kept[rank[surer]]:
            kept[rank[other]] = False
    return kept


def propose(picture: np.ndarray, um_per_px: float) -> Proposals:
    """Propose centres and stages.

    Parameters
    ----------
    picture : (M, N, 3) ndarray of uint8
    um_per_px : float
        Scale of the picture, from ``READER_UM_PER_PX`` to ``COARSEST_UM_PER_PX``. [µm/px]

    Returns
    -------
    Proposals
        Empty where nothing is seen.

    Raises
    ------
    ValueError
        The picture has another scale than the network was trained at.
    """
    if not 0.97 * READER_UM_PER_PX <= um_per_px <= 1.03 * COARSEST_UM_PER_PX:
        raise ValueError(f"the picture has {um_per_px:g} µm per pixel; resize it to {READER_UM_PER_PX:g} first")
    from scipy.special import expit, softmax

    rows, cols = picture.shape[:2]
    strips = _strips(picture)
    within = np.s_[: -(-rows // STRIDE), : -(-cols // STRIDE)]
    logit, *way = _planes(strips, (0, 7, 8))[(slice(None), *within)]
    least = np.log(LEAST_HEAT / (1 - LEAST_HEAT))
    r, c = _peaks(logit, least)
    row, col, score = (r + 0.5) * STRIDE, (c + 0.5) * STRIDE, expit(logit[r, c].astype(float))
    p = softmax(_read_at(strips, range(1, 6), r, c), axis=1)
    way = np.stack(way) * np.float32(STRIDE)
    kept = _apart(row, col, score, um_per_px) if len(row) else np.zeros(0, bool)
    return Proposals(row, col, p, score, way).take(kept)
