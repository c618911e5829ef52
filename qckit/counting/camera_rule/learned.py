"""What a site has learnt of its camera, in one file: its rule, colour factors, stage models.

The file holds plain arrays (NPZ). Its numbers are checked before they are used; one learnt for another reader network
still gives its stage models, and nothing else.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from qckit.counting.camera_rule.rule import CameraRule
from qckit.counting.reader.network import READER_VERSION
from qckit.counting.stages import StageModel, load_stage_model, read_model_file, save_stage_model, unreadable

__all__ = ["LEAST_GAIN", "MOST_GAIN", "Learned", "load_learned", "save_learned"]

FORMAT, FORMATS = 4, (1, 2, 3, 4)  # what files of formats before the last say of the reader is not used any more
LEAST_GAIN, MOST_GAIN = 0.3, 3.0  # of a colour: beyond them little of it is left to tell anything by


@dataclass(frozen=True)
class Learned:
    """Models that count photos.

    Attributes
    ----------
    stages : dict of str to StageModel
        ``colour`` and ``grey``.
    colour_gain : (3,) ndarray, optional
        Factors on red, green and blue; none when left out.
    rule : CameraRule, optional
        What judges the places at which the reader sees something.
    """

    stages: dict[str, StageModel]
    colour_gain: np.ndarray | None = None
    rule: CameraRule | None = None


def save_learned(path, learned: Learned, *, reader_version: str) -> None:
    """Write models to one NPZ file of plain arrays, with the version of the reader they were learnt with."""
    more = {"learned/format": np.array(FORMAT), "learned/reader": np.array(reader_version)}
    if learned.colour_gain is not None:
        more["colours/gain"] = np.asarray(learned.colour_gain, np.float32)
    if learned.rule is not None:
        more |= {f"rule/{k}": v for k, v in learned.rule.arrays().items()}
    save_stage_model(path, learned.stages, more)


@lru_cache(maxsize=4)
def load_learned(path: str | None = None) -> Learned:
    """Read models.

    Parameters
    ----------
    path : str, optional
        NPZ file of :func:`save_learned`, or of stage models alone; what comes with the kit when left out.

    Returns
    -------
    Learned

    Raises
    ------
    InputError
        The file is damaged, or holds something else.
    """
    stages = load_stage_model(path)
    if path is None:
        return Learned(stages)
    file = Path(path)
    try:
        with np.load(io.BytesIO(read_model_file(file)), allow_pickle=False) as arrays:
            return Learned(stages, *_reader_part(arrays))
    except Exception as error:
        raise unreadable(file, error) from error


def _reader_part(arrays) -> tuple[np.ndarray | None, CameraRule | None]:
    if "learned/format" not in arrays:
        return None, None
    if int(arrays["learned/format"]) not in FORMATS:
        raise ValueError(f"it has format {int(arrays['learned/format'])}, and this version reads up to {FORMAT}")
    gain = None
    if "colours/gain" in arrays:
        gain = arrays["colours/gain"].astype(float)
        if gain.shape != (3,) or not np.isfinite(gain).all() or not ((gain >= LEAST_GAIN) & (gain <= MOST_GAIN)).all():
            raise ValueError(f"the factors on its colours are not three numbers from {LEAST_GAIN} to {MOST_GAIN}")
    if str(arrays["learned/reader"]) != READER_VERSION or int(arrays["learned/format"]) < FORMAT:
        return None, None
    rule = {k.removeprefix("rule/"): arrays[k] for k in arrays.files if k.startswith("rule/")}
    return gain, CameraRule.of_arrays(**rule) if rule else None
