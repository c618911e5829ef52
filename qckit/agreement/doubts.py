"""How far doubts about stages can move a sample's figures, where nobody has checked the camera by eye.

A photo count gives each object a probability per stage. Mistakes made in one light go the same way, so they do not
average out over objects or photos: the uncertainty is a share of all doubts added up, not the root of their squares. It
holds for objects missed and invented, too, since a reader that misses doubts (measured: ``tests/photos/MEASURED.md``).
"""

from __future__ import annotations

import numpy as np

from qckit.object_rows import BY_HAND, is_counted
from qckit.stages import CLASSES

__all__ = ["doubts_of_stages"]

SHARE = 1.4  # of the doubts added up, as a standard uncertainty: see tests/photos/MEASURED.md, "Doubts about stages"


def doubts_of_stages(objects) -> dict[str, float]:
    """Work out the relative standard uncertainty of the counts of nauplii and cysts that comes from doubtful stages.

    Parameters
    ----------
    objects : DataFrame, shape (n, any)
        Columns of the objects table, of all photos of a test. What a person settled, and what does not count, is left
        out of the doubts.

    Returns
    -------
    dict of str to float
        ``nauplius`` and ``cyst``; a stage of which none was counted is left out.

    Notes
    -----
    For a stage with n objects, the doubts added up are the chance of each of them to be another plus the chance of each
    of the others to be it.

    Examples
    --------
    >>> sure = {"stage": ["nauplius", "cyst"], "p_nauplius": [1.0, 0.0], "p_cyst": [0.0, 1.0], "counted": True}
    >>> agreement.doubts_of_stages(pd.DataFrame(sure | {"source": "found"}))
    {'nauplius': 0.0, 'cyst': 0.0}
    """
    inside = objects[is_counted(objects)]
    names = [f"p_{stage}" for stage in CLASSES if f"p_{stage}" in inside]
    total = inside[names].astype(float).sum(axis=1).to_numpy()
    doubtful = (total > 0) & ~inside["source"].isin(BY_HAND).to_numpy()
    found = {}
    for stage in ("nauplius", "cyst"):
        is_called = (inside["stage"] == stage).to_numpy()
        if not is_called.any():
            continue
        p = np.divide(inside[f"p_{stage}"].astype(float).to_numpy(), total, out=np.zeros(len(inside)), where=total > 0)
        added_up = (1 - p)[is_called & doubtful].sum() + p[~is_called & doubtful].sum()
        found[stage] = float(SHARE * added_up / is_called.sum())
    return found
