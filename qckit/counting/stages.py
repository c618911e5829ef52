"""Stage with probability: a small network over measured features, kept as plain arrays.

Six answers: the four stages, debris, and ``part``: not exactly one object (a piece of one, or several together).
The last one steers :mod:`qckit.counting.fallback.grouping`; the others, without it, are the stage probabilities.
"""

from __future__ import annotations

import hashlib
import io
import math
import zipfile
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from qckit.counting.products import product
from qckit.counting.segmentation.measuring import FEATURES, GREY_FEATURES
from qckit.errors import InputError, one_line
from qckit.robust import median_of
from qckit.stages import CLASSES

__all__ = ["ANSWERS", "CLASSES", "StageModel", "load_stage_model", "model_key", "save_stage_model"]

ANSWERS = (*CLASSES, "part")
MOST_BYTES = 50_000_000  # of a model, packed or not
MOST_NETWORKS = 100
MODEL_FILE = Path(__file__).with_name("stage_model.npz")


@dataclass(frozen=True)
class StageModel:
    """Networks of one hidden-layer pair each, averaged; and how far the checked photos' features spread.

    Attributes
    ----------
    names : tuple of str
        Features used, in order.
    centre, scale : (f,) ndarray
        Standardising of features.
    layers : tuple of tuple of ndarray
        Per network: W1, b1, W2, b2, W3, b3.
    temperature : float
        Divides the logits, so that probabilities are calibrated on photos not trained on.
    looks : (k, f) ndarray
        Median standardised features of the objects of each photo checked (and of its altered versions).
    look_reach : float
        How far a checked photo usually lies from the nearest other one.

    Examples
    --------
    >>> len(counting.load_stage_model()["colour"].names) > 10
    True
    """

    names: tuple[str, ...]
    centre: np.ndarray
    scale: np.ndarray
    layers: tuple[tuple[np.ndarray, ...], ...]
    temperature: float = 1.0
    looks: np.ndarray | None = None
    look_reach: float = 1.0

    def strangeness(self, features: np.ndarray) -> float:
        """Distance of a photo's objects from the nearest photo checked, in usual distances between those.

        Parameters
        ----------
        features : (m, len(FEATURES)) ndarray
            Of the objects found in the photo.

        Returns
        -------
        float
            About 1 for a photo like those checked; 0 with fewer than five objects, or where no looks are known.
        """
        features = features[np.isfinite(features).all(axis=1)]
        if len(features) < 5 or self.looks is None or not len(self.looks):
            return 0.0
        look = median_of(self.standardise(features))
        return float(np.sqrt(((self.looks - look) ** 2).mean(axis=1)).min() / self.look_reach)

    def standardise(self, features: np.ndarray) -> np.ndarray:
        """Pick this model's columns out of (m, len(FEATURES)) and bring them to centre 0, scale 1, at most 6."""
        columns = [FEATURES.index(name) for name in self.names]
        return np.clip((features[:, columns] - self.centre) / self.scale, -6, 6)

    def predict(self, features: np.ndarray) -> np.ndarray:
        """Return the probability of each answer.

        Parameters
        ----------
        features : (m, len(FEATURES)) ndarray

        Returns
        -------
        (m, len(ANSWERS)) ndarray
            Rows sum to 1.
        """
        x = self.standardise(features)
        out = np.zeros((len(x), len(ANSWERS)))
        for w1, b1, w2, b2, w3, b3 in self.layers:
            hidden = np.tanh(product(np.tanh(product(x, w1) + b1), w2) + b2)
            logits = (product(hidden, w3) + b3) / self.temperature
            logits -= logits.max(axis=1, keepdims=True)
            p = np.exp(logits)
            out += p / p.sum(axis=1, keepdims=True)
        return out / len(self.layers)


def save_stage_model(path, models: dict[str, StageModel], more: dict[str, np.ndarray] | None = None) -> None:
    """Write models (``colour`` and ``grey``) to one NPZ file of plain arrays, with further arrays where given.

    Examples
    --------
    >>> counting.save_stage_model("stages.npz", counting.load_stage_model())
    >>> len(counting.model_key("stages.npz"))
    8
    """
    arrays: dict[str, np.ndarray] = dict(more or {})
    for kind, model in models.items():
        arrays[f"{kind}/names"] = np.array(model.names)
        arrays[f"{kind}/centre"] = model.centre.astype(np.float32)
        arrays[f"{kind}/scale"] = model.scale.astype(np.float32)
        arrays[f"{kind}/temperature"] = np.array(model.temperature)
        if model.looks is not None:
            arrays[f"{kind}/looks"] = model.looks.astype(np.float32)
            arrays[f"{kind}/look_reach"] = np.array(model.look_reach)
        arrays[f"{kind}/networks"] = np.array(len(model.layers))
        for i, layers in enumerate(model.layers):
            for j, layer in enumerate(layers):
                arrays[f"{kind}/{i}/{j}"] = layer.astype(np.float32)
    np.savez_compressed(path, **arrays)


def model_key(path: str | None) -> str:
    """Return eight letters of a model file's SHA-256; empty for the model that comes with the kit.

    Examples
    --------
    >>> counting.model_key(None)
    ''
    """
    return hashlib.sha256(read_model_file(Path(path))).hexdigest()[:8] if path else ""


def read_model_file(path: Path) -> bytes:
    """A model's file, which is small; what is no file, or large, is refused unread."""
    try:
        if not path.is_file():
            raise OSError(None, "it is no file" if path.exists() else "there is none")
        if path.stat().st_size > MOST_BYTES:
            raise OSError(None, f"it has more than {MOST_BYTES // 10**6} MB")
        return path.read_bytes()
    except OSError as error:
        raise InputError(
            f"{one_line(path)}: the stage model cannot be read ({error.strerror}). Make it again with  qckit camera "
            "learn."
        ) from error


@lru_cache(maxsize=4)
def load_stage_model(path: str | None = None) -> dict[str, StageModel]:
    """Read the models.

    Parameters
    ----------
    path : str, optional
        NPZ file; the one that comes with the kit when left out.

    Returns
    -------
    dict of str to StageModel
        ``colour`` and ``grey``.

    Raises
    ------
    InputError
        The file is no stage model, or was made for other features.

    Examples
    --------
    >>> sorted(counting.load_stage_model())
    ['colour', 'grey']
    """
    file = Path(path) if path else MODEL_FILE
    data = read_model_file(file)
    try:
        _check_claims(data)
        with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
            return {kind: _one(arrays, kind) for kind in ("colour", "grey")}
    except Exception as error:
        raise unreadable(file, error) from error


def unreadable(file: Path, error: Exception) -> InputError:
    """What to raise where a file holds no model that can be used."""
    return InputError(
        f"{one_line(file.name)}: this is not a stage model that this version can read ({one_line(error)[:200]}). "
        "Make it again with  qckit camera learn."
    )


def _check_claims(data: bytes) -> None:
    """Read what each array claims to be, before room is made for it."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        claimed = 0
        for name in package.namelist():
            with package.open(name) as file:
                major, _ = np.lib.format.read_magic(file)
                read = np.lib.format.read_array_header_1_0 if major == 1 else np.lib.format.read_array_header_2_0
                shape, _, dtype = read(file)
            if dtype.kind not in "fiU":
                raise ValueError(f"{name} holds {dtype}, not numbers or names")
            claimed += math.prod(shape) * dtype.itemsize
    if claimed > MOST_BYTES:
        raise ValueError(f"it claims {claimed:.3g} bytes of numbers")


def _one(arrays, kind: str) -> StageModel:
    names = tuple(str(n) for n in arrays[f"{kind}/names"])
    known = set(FEATURES if kind == "colour" else GREY_FEATURES)
    if not set(names) <= known:
        raise ValueError(f"unknown features {sorted(set(names) - known)}")
    layers = tuple(
        tuple(arrays[f"{kind}/{i}/{j}"].astype(np.float64) for j in range(6))
        for i in range(int(arrays[f"{kind}/networks"]))
    )
    looks = arrays[f"{kind}/looks"].astype(np.float64) if f"{kind}/looks" in arrays else None
    reach = float(arrays[f"{kind}/look_reach"]) if looks is not None else 1.0
    centre, scale = (arrays[f"{kind}/{k}"].astype(np.float64) for k in ("centre", "scale"))
    model = StageModel(
        names=names,
        centre=centre,
        scale=scale,
        layers=layers,
        temperature=float(arrays[f"{kind}/temperature"]),
        looks=looks,
        look_reach=reach,
    )
    _check_shapes(model)
    return model


def _check_shapes(model: StageModel) -> None:
    """Refuse arrays that do not fit each other, and numbers that are none."""
    f = len(model.names)
    if not f or len(set(model.names)) < f or not 1 <= len(model.layers) <= MOST_NETWORKS:
        raise ValueError("it names no features, or a feature twice, or holds no network")
    for w1, b1, w2, b2, w3, b3 in model.layers:
        h1, h2 = b1.size, b2.size
        expected = ((f, h1), (h1,), (h1, h2), (h2,), (h2, len(ANSWERS)), (len(ANSWERS),))
        if tuple(a.shape for a in (w1, b1, w2, b2, w3, b3)) != expected:
            raise ValueError("the layers of a network do not fit each other")
    arrays = [model.centre, model.scale, *(a for layers in model.layers for a in layers)]
    if model.centre.shape != (f,) or model.scale.shape != (f,) or not (model.scale > 0).all():
        raise ValueError("centre and scale do not fit the features")
    if model.looks is not None:
        arrays.append(model.looks)
        if model.looks.ndim != 2 or model.looks.shape[1] != f:
            raise ValueError("the looks do not fit the features")
    one = np.array([model.temperature, model.look_reach])
    if not all(np.isfinite(a).all() for a in (*arrays, one)) or not (one > 0).all():
        raise ValueError("a number in it is not finite, or not above 0 where it must be")
