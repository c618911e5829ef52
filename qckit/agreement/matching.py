"""Pair what the photo counter found with what a person marked on the same photo."""

from __future__ import annotations

import numpy as np

from qckit.stages import STAGES

__all__ = ["MATCH_COLUMNS", "match_objects"]

MATCH_COLUMNS = ("photo", "hand", "photo_stage", "hand_index", "photo_index", "distance_um")


def match_objects(hand, found, *, um_per_px, reach_um=150.0):
    """Pair the objects of one or more photos, nearest together, each used once.

    Parameters
    ----------
    hand : DataFrame, shape (n, any)
        What is true: photo, stage, x_px, y_px. Rows of other stages than the four counted ones are left out.
    found : DataFrame, shape (m, any)
        What the photo counter says: the same columns; rows with ``counted`` False stay in, since a person may have
        drawn the edge a little differently.
    um_per_px : float or mapping of photo to float
        Scale. [µm/px]
    reach_um : float
        Two marks farther apart than this are never the same object. [µm] Half a cyst is about 115 µm.

    Returns
    -------
    DataFrame, shape (pairs + missed + false finds, 6)
        photo, hand (stage or ``"none"`` for a false find), photo_stage (stage or ``"missed"``), hand_index,
        photo_index (rows of the frames given, -1 where there is none), distance_um.

    Notes
    -----
    Optimal assignment (Hungarian method) on the distance, computed photo by photo.

    Examples
    --------
    >>> marks = pd.DataFrame({"photo": "a", "stage": ["nauplius", "cyst"], "x_px": [100.0, 400.0], "y_px": 90.0})
    >>> agreement.match_objects(marks, marks, um_per_px=6.2)[["hand", "photo_stage"]].values.tolist()
    [['nauplius', 'nauplius'], ['cyst', 'cyst']]
    """
    import pandas as pd

    hand, found = hand[hand["stage"].isin(STAGES)], found[found["stage"].isin(STAGES)]
    rows = []
    for photo in pd.unique(pd.concat([hand["photo"], found["photo"]])):
        scale = um_per_px[photo] if hasattr(um_per_px, "__getitem__") else um_per_px
        rows += _match_photo(photo, hand[hand["photo"] == photo], found[found["photo"] == photo], scale, reach_um)
    return pd.DataFrame(rows, columns=list(MATCH_COLUMNS))


def _match_photo(photo, hand, found, um_per_px, reach_um):
    from scipy.optimize import linear_sum_assignment
    from scipy.spatial.distance import cdist

    here, there = (f[["x_px", "y_px"]].to_numpy(float) * um_per_px for f in (hand, found))
    rows, used_hand, used_found = [], set(), set()
    if len(hand) and len(found):
        distance = cdist(here, there)
        cost = np.where(distance <= reach_um, distance, 1e6)
        for i, j in zip(*linear_sum_assignment(cost)):
            if distance[i, j] <= reach_um:
                used_hand.add(i)
                used_found.add(j)
                rows.append(
                    (
                        photo,
                        hand["stage"].iloc[i],
                        found["stage"].iloc[j],
                        hand.index[i],
                        found.index[j],
                        float(distance[i, j]),
                    )
                )
    rows += [
        (photo, hand["stage"].iloc[i], "missed", hand.index[i], -1, np.nan)
        for i in range(len(hand))
        if i not in used_hand
    ]
    rows += [
        (photo, "none", found["stage"].iloc[j], -1, found.index[j], np.nan)
        for j in range(len(found))
        if j not in used_found
    ]
    return rows
