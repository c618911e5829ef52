"""Scoring: how well found objects agree with known ones, photo by photo and in sum.

A found object is paired with a known one when its centre lies within 0.3 of the known box's diagonal; pairs are
chosen so that the sum of distances is least (Kuhn 1955, Naval Research Logistics Quarterly 2:83). Known objects on the
photo's edge, or less than 35 % visible, are neither asked for nor held against the counter.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.stages import STAGES

__all__ = ["match_objects", "score_photo", "score_photos", "summarise_scores"]


def match_objects(truth: pd.DataFrame, found: pd.DataFrame) -> list[tuple[int, int]]:
    """Pair known and found objects.

    Parameters
    ----------
    truth : DataFrame
        Columns x_px, y_px, x0, y0, x1, y1.
    found : DataFrame
        Columns x_px, y_px.

    Returns
    -------
    list of (int, int)
        Row numbers of truth and found that belong together.
    """
    from scipy.optimize import linear_sum_assignment

    if truth.empty or found.empty:
        return []
    reach = np.maximum(0.3 * np.hypot(truth.x1 - truth.x0, truth.y1 - truth.y0), 3.0).to_numpy()
    dx = truth.x_px.to_numpy()[:, None] - found.x_px.to_numpy()
    dy = truth.y_px.to_numpy()[:, None] - found.y_px.to_numpy()
    relative = np.hypot(dx, dy) / reach[:, None]
    a, b = linear_sum_assignment(np.where(relative <= 1, relative, 1000.0))
    return [(i, j) for i, j in zip(a, b, strict=True) if relative[i, j] <= 1]


def score_photo(truth: pd.DataFrame, found: pd.DataFrame) -> dict:
    """Score the objects found in one photo.

    Parameters
    ----------
    truth : DataFrame
        Columns stage, x_px, y_px, x0, y0, x1, y1, touches_edge, visible_fraction.
    found : DataFrame
        Columns stage, x_px, y_px; rows of other stages are ignored.

    Returns
    -------
    dict
        ``confusion`` (4, 4) ndarray, rows true, columns found; ``missed`` and ``false`` (4,) per stage;
        ``n_true`` and ``n_found`` (4,) among the objects asked for.

    Examples
    --------
    >>> known = pd.DataFrame({"stage": ["cyst"], "x_px": [50.0], "y_px": [40.0]})
    >>> known = known.assign(x0=40, x1=60, y0=30, y1=50)
    >>> found = known[["stage", "x_px", "y_px"]]
    >>> int(counting.score_photo(known.assign(touches_edge=0, visible_fraction=1.0), found)["confusion"].sum())
    1
    """
    truth = truth[truth.stage.isin(STAGES)].reset_index(drop=True)
    found = found[found.stage.isin(STAGES)].reset_index(drop=True)
    is_scored = ((truth.touches_edge == 0) & (truth.visible_fraction >= 0.35)).to_numpy()
    code_true = np.array([STAGES.index(s) for s in truth.stage], int)
    code_found = np.array([STAGES.index(s) for s in found.stage], int)
    confusion, missed = np.zeros((len(STAGES),) * 2, int), np.bincount(code_true[is_scored], minlength=len(STAGES))
    false = np.bincount(code_found, minlength=len(STAGES))
    n_true, n_found = missed.copy(), false.copy()
    for i, j in match_objects(truth, found):
        false[code_found[j]] -= 1
        if is_scored[i]:
            confusion[code_true[i], code_found[j]] += 1
            missed[code_true[i]] -= 1
        else:
            n_found[code_found[j]] -= 1
    return {"confusion": confusion, "missed": missed, "false": false, "n_true": n_true, "n_found": n_found}


def _hatch(n) -> float:
    full = n[0] + n[1] + n[2]
    return 100.0 * n[0] / full if full else np.nan


def summarise_scores(scores: list[dict]) -> dict[str, float]:
    """Sum scores of photos into figures.

    Parameters
    ----------
    scores : list of dict
        From :func:`score_photo`.

    Returns
    -------
    dict of str to float
        photos, objects, recall, precision, f1, stage_accuracy, f1 per stage, and median, 90th percentile and bias of
        the nauplii error [%] and the hatch error [points].

    Examples
    --------
    >>> known = pd.DataFrame({"stage": ["cyst"], "x_px": [50.0], "y_px": [40.0]})
    >>> known = known.assign(x0=40, x1=60, y0=30, y1=50)
    >>> found = known[["stage", "x_px", "y_px"]]
    >>> score = counting.score_photo(known.assign(touches_edge=0, visible_fraction=1.0), found)
    >>> float(counting.summarise_scores([score])["recall"])
    1.0
    """
    confusion = sum(s["confusion"] for s in scores)
    missed, false = sum(s["missed"] for s in scores), sum(s["false"] for s in scores)
    hits = confusion.sum()
    out = {
        "photos": len(scores),
        "objects": int(hits + missed.sum()),
        "recall": hits / max(hits + missed.sum(), 1),
        "precision": hits / max(hits + false.sum(), 1),
    }
    out["f1"] = 2 * hits / max(2 * hits + missed.sum() + false.sum(), 1)
    out["stage_accuracy"] = np.trace(confusion) / max(hits, 1)
    for i, stage in enumerate(STAGES):
        n_true, n_found = confusion[i].sum() + missed[i], confusion[:, i].sum() + false[i]
        out[f"f1_{stage}"] = 2 * confusion[i, i] / max(n_true + n_found, 1)
    error = [100.0 * (s["n_found"][0] / s["n_true"][0] - 1) for s in scores if s["n_true"][0] >= 10]
    points = [_hatch(s["n_found"]) - _hatch(s["n_true"]) for s in scores]
    for name, values in (
        ("nauplii_error_pct", np.array(error)),
        ("hatch_error_points", np.nan_to_num(points, nan=100.0)),
    ):
        if len(values):
            out[f"{name}_median"] = float(np.median(np.abs(values)))
            out[f"{name}_p90"] = float(np.percentile(np.abs(values), 90))
            out[f"{name}_bias"] = float(np.mean(values))
    return out


def _stem(names: pd.Series) -> pd.Series:
    return names.astype(str).str.replace("\\", "/").str.rsplit("/", n=1).str[-1].str.rsplit(".", n=1).str[0]


def score_photos(truth: pd.DataFrame, photos: pd.DataFrame, found: pd.DataFrame, *, by: str = "kind"):
    """Score a table of found objects against a table of known ones.

    Parameters
    ----------
    truth : DataFrame
        One row per known object, with the column photo beside those of :func:`score_photo`.
    photos : DataFrame
        One row per photo: photo, and the column named by ``by``.
    found : DataFrame
        Columns photo, stage, x_px, y_px. Photos are matched by name without folder and ending.
    by : str
        Column by which figures are also given.

    Returns
    -------
    figures : DataFrame
        A column per group (``all`` first), a row per figure.
    scores : dict of str to dict
        Per photo.

    Examples
    --------
    >>> known = pd.DataFrame({"stage": ["cyst"], "x_px": [50.0], "y_px": [40.0]})
    >>> known = known.assign(x0=40, x1=60, y0=30, y1=50)
    >>> known = known.assign(photo="a.jpg", touches_edge=0, visible_fraction=1.0)
    >>> photos = pd.DataFrame({"photo": ["a.jpg"], "kind": ["bright"]})
    >>> found = known[["photo", "stage", "x_px", "y_px"]]
    >>> by_kind, by_photo = counting.score_photos(known, photos, found)
    >>> float(by_kind.loc["recall", "bright"])
    1.0
    """
    truth, photos, found = (t.assign(photo=_stem(t.photo)) for t in (truth, photos, found))
    of_truth, of_found = dict(list(truth.groupby("photo"))), dict(list(found.groupby("photo")))
    scores = {p: score_photo(of_truth.get(p, truth[:0]), of_found.get(p, found[:0])) for p in photos.photo}
    groups = {"all": list(photos.photo)}
    if by in photos:
        groups |= {str(value): list(rows.photo) for value, rows in photos.groupby(by)}
    return pd.DataFrame({g: summarise_scores([scores[p] for p in members]) for g, members in groups.items()}), scores
