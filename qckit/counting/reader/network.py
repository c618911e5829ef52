"""The reader's network: proposes centres and stages; run by onnxruntime on the processor.

A small convolutional network (a million weights, in whole numbers of eight bits) that looks at 12 µm per pixel. It
was trained on the labelled photos of ``tests/photos`` and ``tests/photos_second_make`` and on drawn scenes by
``tests/training/train_reader.py``, which also says what its nine planes mean, and shrunk by
``tests/training/shrink_reader.py``. It measures nothing: sizes, and the check of its stages, come from the other steps.

A second network of the same shape was trained with bodies whose grain, smoothness and lamps' points were dealt out at
random (``tests/training/skins.py``), so that it goes by outline. It reads the mirror images of photos in doubt.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
from dataclasses import dataclass, field, replace
from functools import cache, partial
from pathlib import Path

import numpy as np

from qckit.counting.products import product
from qckit.counting.reader.last_layer import HEAT, OFFSET_PLANES, STAGE_PLANES, LastLayer
from qckit.counting.reader.proposals import Proposals, Votes

__all__ = ["READER_UM_PER_PX", "READER_VERSION", "Reading", "read_mirrored", "read_picture", "reader_available"]

READER_UM_PER_PX = 12.0
COARSEST_UM_PER_PX = 15.0
"""Up to here a coarser photo is read as it is: enlarging adds nothing, and sizes vary as much between strains."""

MODEL = Path(__file__).with_name("reader.onnx")
READER_VERSION = hashlib.sha256(MODEL.read_bytes()).hexdigest()[:12] if MODEL.is_file() else "none"
OUTLINE_MODEL = Path(__file__).with_name("outline_reader.onnx")

STRIDE = 2  # pixels of the picture per pixel of the planes
FOLD = 4  # pixels a side that the network reads and answers as one; two by two pixels of each plane lie side by side
ROWS = 16  # of these laid out at a time
BLOCK = 32  # the network halves five times; strips start on whole blocks so that none shifts the grid
RIM = 128  # what the network takes for nothing
STRIP_PX, HALO = 3_300_000, 384  # pixels read at a time, and rows around them that can still sway them
NETWORK_BYTES = 64 << 20  # of memory set apart; beyond 32 MiB the C library gives a piece its own pages
LEAST_HEAT = 0.15
MIRRORED = ((-1, -1), (-1, 1), (1, -1))  # steps down and across
NEIGHBOURS = [(down, right) for down in (-1, 0, 1) for right in (-1, 0, 1) if down or right]
APART_UM = 70.0  # two centres nearer than this are one object seen twice


def reader_available() -> bool:
    """Say whether the network and what runs it are there."""
    return MODEL.is_file() and OUTLINE_MODEL.is_file() and _can_be_run()


@cache
def _can_be_run() -> bool:
    return importlib.util.find_spec("onnxruntime") is not None


@dataclass(frozen=True)
class _Network:
    """What onnxruntime runs, and the last layer, worked out here for the planes and places that are asked for."""

    session: object
    last: LastLayer


@cache
def _register_arena() -> None:
    """Let the network's pictures lie in memory of their own, once per process.

    Among all else they broke it up: each further reading took more, since what the one before left was too small. It
    is one piece, of which only what is used is taken from the machine.
    """
    import onnxruntime

    where = onnxruntime.OrtMemoryInfo(
        "Cpu", onnxruntime.OrtAllocatorType.ORT_ARENA_ALLOCATOR, 0, onnxruntime.OrtMemType.DEFAULT
    )
    doubling, as_usual = 0, -1
    arena = {
        "max_mem": 0,  # no limit: what does not fit into the first piece gets another
        "arena_extend_strategy": doubling,
        "initial_chunk_size_bytes": NETWORK_BYTES,
        "max_dead_bytes_per_chunk": as_usual,
        "initial_growth_chunk_size_bytes": as_usual,
    }
    onnxruntime.create_and_register_allocator(where, onnxruntime.OrtArenaCfg(arena))


@cache
def _network(model: Path) -> _Network:
    """Load the network once per process, on one thread: photos are spread over processes instead."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    options.enable_mem_pattern = False
    _register_arena()
    options.add_session_config_entry("session.use_env_allocators", "1")
    session = onnxruntime.InferenceSession(str(model), options, providers=["CPUExecutionProvider"])
    notes = json.loads(session.get_modelmeta().custom_metadata_map["last_layer"])
    weights, step, offset = (np.array(notes[k], np.float32) for k in ("weights", "step", "offset"))
    last = LastLayer.of_arrays(weights.reshape(-1, 4, weights.shape[1]), step.reshape(-1, 4), offset.reshape(-1, 4))
    return _Network(session, last)


def _four_by_four(
    picture: np.ndarray, first: int, last: int, shape: tuple[int, int], *, down: int = 1, across: int = 1
) -> np.ndarray:
    """Lay four by four pixels of some rows side by side, after a rim of middle grey: (1, rows/4 + 1, width/4 + 1, 48).

    Beyond its lower and right edges the picture goes on in middle grey to ``shape``: a body that is cut off must not
    look as if it went on there. All that is turned upside down where ``down`` is -1 and left to right where ``across``
    is; ``first`` and ``last`` are rows of what comes of it.
    """
    height, width = shape
    rows, cols, rim = (last - first) // FOLD + 1, width // FOLD + 1, FOLD // 2
    n_rows, n_cols = picture.shape[:2]
    out = np.empty((rows, cols, FOLD), "V12")  # four pixels moved at once
    strip = np.empty((FOLD * ROWS, FOLD * cols, 3), np.uint8)
    left = rim if across > 0 else rim + width - n_cols
    inside = slice(left, left + n_cols)
    strip[:, : inside.start] = strip[:, inside.stop :] = RIM
    for top in range(0, rows, ROWS):  # few rows at a time stay in the processor's cache
        here = out[top : top + ROWS]
        at = np.arange(FOLD * top, FOLD * (top + len(here))) - rim + first
        of = at if down > 0 else height - 1 - at
        part = strip[: len(of)]
        there = (at >= first) & (at < last) & (of >= 0) & (of < n_rows)
        part[~there] = RIM
        if there.any():
            ends = of[there][[0, -1]]
            some = picture[ends.min() : ends.max() + 1][::down]
            to = part[there.argmax() :][: len(some), inside]
            if across > 0:
                to[:] = some
            else:  # sooner than whole pixels backwards
                for channel in range(3):
                    to[..., channel] = some[:, ::-1, channel]
        fours = part.reshape(len(here), FOLD, 3 * FOLD * cols).view("V12")
        for k in range(FOLD):
            here[..., k] = fours[:, k]
    return out.view(np.uint8).reshape(1, rows, cols, 3 * FOLD**2)


def _strips(picture: np.ndarray, model: Path, **lie) -> list[np.ndarray]:
    """Run a network in strips, so that memory stays bounded: what it noticed in each, (channels, P, Q).

    ``lie`` says how the picture is laid out, as in :func:`_four_by_four`.
    """
    shape = height, width = tuple(-(-n // BLOCK) * BLOCK for n in picture.shape[:2])
    n_strips = max(1, round(height * width / STRIP_PX))
    step = max(256, -(-height // n_strips) // BLOCK * BLOCK + BLOCK)
    strips = []
    for start in range(0, height, step):
        first, last = max(0, start - HALO), min(height, start + step + HALO)
        part = _four_by_four(picture, first, last, shape, **lie)
        out = _network(model).session.run(None, {"photo": part})[0][0]
        del part
        end = min(height, start + step)
        strips.append(out[:, (start - first) // FOLD : (end - first) // FOLD])
    return strips


def _planes(strips: list[np.ndarray], layer: LastLayer, which: tuple[int, ...]) -> np.ndarray:
    """Some planes laid out: (planes, M/2, N/2)."""
    weights, step, offset = (one[list(which)] for one in (layer.weights, layer.step, layer.offset))
    rows, cols = sum(s.shape[1] for s in strips), strips[0].shape[2]
    out = np.empty((len(which), 2 * rows, 2 * cols), np.float32)
    top = 0
    for strip in strips:
        for start in range(0, strip.shape[1], 32):  # few rows at a time stay in the processor's cache
            part = strip[:, start : start + 32]
            # row by row: products so small stay on one thread, whose fellows would only wait for each other
            sums = weights.reshape(-1, weights.shape[2]) @ part.astype(np.float32).transpose(1, 0, 2)
            sums *= step.reshape(-1, 1)
            sums += offset.reshape(-1, 1)
            sums = sums.reshape(-1, *step.shape, cols).transpose(1, 2, 0, 3)
            for k in range(4):
                out[:, top + k // 2 : top + 2 * part.shape[1] : 2, k % 2 :: 2] = sums[:, k]
            top += 2 * part.shape[1]
    return out


def _centres_of(strips: list[np.ndarray], layer: LastLayer, r: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Where places of the laid-out planes see the centre of their object, down and right: (2, n). [pixels]"""
    cols = strips[0].shape[2]
    at, corner = (r >> 1) * cols + (c >> 1), 2 * (r & 1) + (c & 1)
    tops = np.cumsum([0, *(s.shape[1] for s in strips)]) * cols
    asked = np.zeros(tops[-1], bool)
    asked[at] = True  # neighbours share what was noticed
    cells, number = np.flatnonzero(asked), np.empty(tops[-1], np.int32)
    number[cells] = np.arange(len(cells))
    parts = np.split(cells, np.searchsorted(cells, tops[1:-1]))
    noticed = [s.reshape(len(s), -1).take(p - top, axis=1) for s, p, top in zip(strips, parts, tops[:-1], strict=True)]
    weights, step, offset = (one[list(OFFSET_PLANES)] for one in (layer.weights, layer.step, layer.offset))
    sums = product(weights.reshape(-1, weights.shape[2]), np.concatenate(noticed, axis=1).astype(np.float32))
    votes = sums.reshape(*step.shape, -1) * step[..., None] + offset[..., None]
    return votes.reshape(len(votes), -1).take(corner * len(cells) + number.take(at), axis=1) * np.float32(STRIDE)


def _noticed_at(strips: list[np.ndarray], r: np.ndarray, c: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What was noticed at pixels of the laid-out planes: (n, channels) bytes, and which corner of its pixel each is."""
    out = np.empty((len(r), strips[0].shape[0]), np.uint8)
    corner = np.empty(len(r), np.int64)
    tops = np.cumsum([0, *(2 * s.shape[1] for s in strips)])
    strip_of = np.searchsorted(tops, r, side="right") - 1
    for i, strip in enumerate(strips):
        here = np.flatnonzero(strip_of == i)
        (row, down), (col, right) = np.divmod(r[here] - tops[i], 2), np.divmod(c[here], 2)
        out[here] = strip.reshape(len(strip), -1).take(row * strip.shape[2] + col, axis=1).T
        corner[here] = 2 * down + right
    return out, corner


def _peaks(plane: np.ndarray, least: float) -> tuple[np.ndarray, np.ndarray]:
    """Rows and columns of what is above a level and not below any of its eight neighbours."""
    (height, width), flat = plane.shape, np.ascontiguousarray(plane).ravel()
    at = np.flatnonzero(flat > least)
    for down, right in NEIGHBOURS:
        r, c = np.divmod(at, width)
        r, c = np.minimum(np.maximum(r + down, 0), height - 1), np.minimum(np.maximum(c + right, 0), width - 1)
        at = at[flat.take(at) >= flat.take(r * width + c)]
    return np.divmod(at, width)


def _apart(rows: np.ndarray, cols: np.ndarray, score: np.ndarray, um_per_px: float) -> np.ndarray:
    """Keep the surest of centres that lie nearer to each other than ``APART_UM``."""
    from scipy.spatial import cKDTree

    if not len(rows):
        return np.zeros(0, bool)
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


@dataclass(frozen=True)
class Reading:
    """What the network noticed in a picture, before its last layer.

    Attributes
    ----------
    strips : list of (channels, P, Q) ndarray of uint8
    shape : (int, int)
        Rows and columns of the picture.
    um_per_px : float
    mirrored : dict of (int, int) to strips
        What was noticed in mirror images of the picture, by the steps (1 or -1) down and across that undo each.
    model, mirrored_by : Path
        Networks that read the picture and its mirror images.
    """

    strips: list
    shape: tuple[int, int]
    um_per_px: float
    model: Path
    mirrored: dict[tuple[int, int], list] = field(default_factory=dict)
    mirrored_by: Path | None = None
    stride = STRIDE

    def propose(self, heat: np.ndarray | None = None) -> Proposals:
        """Propose centres and stages; of several images the logits are averaged.

        ``heat`` is what :meth:`heat` returns, where it is there already.
        """
        from scipy.special import expit, softmax

        logit = self.heat() if heat is None else heat
        r, c = _peaks(logit, np.log(LEAST_HEAT / (1 - LEAST_HEAT)))
        row, col, score = (r + 0.5) * STRIDE, (c + 0.5) * STRIDE, expit(logit[r, c].astype(float))
        votes = Votes(logit.shape, partial(_centres_of, self.strips, _network(self.model).last))
        p = softmax(self._stages_at(r, c), axis=1)
        every = Proposals(row, col, p, score, votes, n_readings=1 + len(self.mirrored))
        return every.take(_apart(row, col, score, self.um_per_px))

    def heat(self) -> np.ndarray:
        """How sure the network is that a centre lies at each place, in logits: (M/2, N/2)."""
        rows, cols = self.shape
        logit = _planes(self.strips, _network(self.model).last, (HEAT,))[0]
        for (down, across), strips in self.mirrored.items():
            logit += _planes(strips, _network(self.mirrored_by).last, (HEAT,))[0, ::down, ::across]
        logit /= 1 + len(self.mirrored)
        return logit[: -(-rows // STRIDE), : -(-cols // STRIDE)]

    def _in_each_image(self, r: np.ndarray, c: np.ndarray):
        """What was noticed at pixels of the laid-out planes, image by image; see :func:`_noticed_at`."""
        yield _noticed_at(self.strips, r, c)
        for (down, across), strips in self.mirrored.items():
            rows, cols = STRIDE * sum(s.shape[1] for s in strips), STRIDE * strips[0].shape[2]
            yield _noticed_at(strips, r if down > 0 else rows - 1 - r, c if across > 0 else cols - 1 - c)

    def _stages_at(self, r: np.ndarray, c: np.ndarray) -> np.ndarray:
        """Logits of the stages at pixels of the laid-out planes: (n, stages)."""
        lasts = [_network(m).last for m in (self.model, *[self.mirrored_by] * len(self.mirrored))]
        images = self._in_each_image(r, c)
        logits = sum(last.answers(*noticed, STAGE_PLANES) for last, noticed in zip(lasts, images, strict=True))
        return logits / len(lasts)

    def noticed_at(self, rows, cols) -> np.ndarray:
        """What was noticed at places.

        Parameters
        ----------
        rows, cols : (n,) array_like
            In pixels of the picture.

        Returns
        -------
        (n, channels) ndarray
            Means over the images, which one network has read.

        Raises
        ------
        ValueError
            Two networks read the images: their channels mean different things.
        """
        if self.mirrored and self.mirrored_by != self.model:
            raise ValueError(
                f"the picture was read by {self.model.name} and its mirror images by {self.mirrored_by.name}, whose "
                "channels mean different things. Read them by one network: leave by_outline out of read_mirrored"
            )
        within = -(-self.shape[0] // STRIDE) - 1, -(-self.shape[1] // STRIDE) - 1
        r = np.clip(np.asarray(rows, float) / STRIDE, 0, within[0]).astype(int)
        c = np.clip(np.asarray(cols, float) / STRIDE, 0, within[1]).astype(int)
        return sum(noticed.astype(float) for noticed, _ in self._in_each_image(r, c)) / (1 + len(self.mirrored))


def read_picture(picture: np.ndarray, um_per_px: float) -> Reading:
    """Run the network on a picture.

    Parameters
    ----------
    picture : (M, N, 3) ndarray of uint8
    um_per_px : float
        Scale of the picture, from ``READER_UM_PER_PX`` to ``COARSEST_UM_PER_PX``. [µm/px]

    Returns
    -------
    Reading

    Raises
    ------
    ValueError
        The picture has another scale than the network was trained at.
    """
    if not 0.97 * READER_UM_PER_PX <= um_per_px <= 1.03 * COARSEST_UM_PER_PX:
        raise ValueError(f"the picture has {um_per_px:g} µm per pixel; resize it to {READER_UM_PER_PX:g} first")
    return Reading(_strips(picture, MODEL), picture.shape[:2], um_per_px, MODEL)


def read_mirrored(reading: Reading, picture: np.ndarray, *, by_outline: bool = False) -> Reading:
    """Read three mirror images of a picture too.

    A body is the same whichever way round it lies, and the network was shown all ways; where it is unsure its answers
    differ from one to the next, and their mean is nearer the truth (means of many predictors: Breiman 1996, Machine
    Learning 24:123; from memory).

    Parameters
    ----------
    reading : Reading
        Of the picture.
    picture : (M, N, 3) ndarray of uint8
    by_outline : bool
        Let the network that goes by outline read the mirror images.

    Returns
    -------
    Reading
    """
    # copies: the network's answer lies above what it needed meanwhile, which would stay taken with it
    model = OUTLINE_MODEL if by_outline else reading.model
    mirrored = {(d, a): [s.copy() for s in _strips(picture, model, down=d, across=a)] for d, a in MIRRORED}
    return replace(reading, mirrored=mirrored, mirrored_by=model)
