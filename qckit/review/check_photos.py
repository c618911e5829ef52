"""What speaks against the photos of a camera check: the kit learnt from them, or they are another camera's."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from qckit.agreement.lookup import SAME_SCALE
from qckit.counting import model_key
from qckit.counting.result import version_with
from qckit.review.camera_check import CameraCheck
from qckit.words import joined, noun, plural

__all__ = ["mark_learnt", "mark_scale"]


def mark_learnt(check: CameraCheck, counted, model) -> CameraCheck:
    """Name the photos of a check from which the models that counted them were learnt.

    Parameters
    ----------
    check : CameraCheck
    counted : path
        Folder that ``qckit count --out`` wrote.
    model : SiteModel or None
        The site's own models.
    """
    import pandas as pd

    if model is None or check.certificate.counter_version != version_with(model_key(str(model.path))):
        return check
    counts = pd.read_csv(Path(counted) / "counts.csv", dtype=str)
    if "sha256" not in counts:
        return check
    known = counts.loc[counts["sha256"].isin(model.learnt_from), "photo"]
    checked = {Path(str(photo)).stem for photo in check.pairs["photo"]}
    return replace(check, learnt=tuple(photo for photo in known if Path(photo).stem in checked))


def mark_scale(check: CameraCheck, counted, scales) -> CameraCheck:
    """Say where photos of a check have another scale than the site keeps for the camera.

    Parameters
    ----------
    check : CameraCheck
    counted : path
        Folder that ``qckit count --out`` wrote.
    scales : DataFrame or None
        The site's scales table; None: no site.
    """
    import pandas as pd

    counts, made = pd.read_csv(Path(counted) / "counts.csv", dtype={"photo": str}), check.certificate
    if scales is None or "um_per_px" not in counts:
        return check
    mine = scales[scales["camera"] == made.camera]
    mine = mine[mine["magnification"] == made.magnification] if made.magnification else mine
    checked = {Path(str(photo)).stem for photo in check.pairs["photo"]}
    found = counts.loc[[Path(p).stem in checked for p in counts["photo"]], "um_per_px"].dropna().astype(float)
    known = mine["um_per_px"].to_numpy(float)
    far = [s for s in found if len(known) and np.abs(s / known - 1).min() > SAME_SCALE]
    if not far:
        return check
    span = f"{min(far):.4g}" + (f" to {max(far):.4g}" if max(far) > min(far) else "")
    name = f"{made.camera} {made.magnification}".strip()
    kept = joined(f"{u:.4g}" for u in dict.fromkeys(known))
    return replace(
        check,
        other_scale=f"{len(far)} of the {plural(len(checked), 'photo')} checked {noun(len(far), 'has', 'have')} {span} "
        f"µm per pixel, and the scale of {name} is {kept}: they are another camera's or magnification's, or a scale is "
        "wrong.  qckit camera list  shows those kept.",
    )
