"""Points of a chart: what they need, checked, and the scale on which limits are symmetric."""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.errors import InputError, unknown_name

__all__ = ["COUNTS", "KINDS", "check_points", "working_values"]

KINDS = {
    "individuals": "individual values",
    "log individuals": "individual values on a log scale",
    "p": "proportion, binomial",
    "p prime": "proportion, with the spread between hatches allowed for",
    "u": "count per unit, Poisson",
    "u prime": "count per unit, with the spread between hatches allowed for",
}
"""Kind of chart -> what it takes for granted."""

COUNTS = ("p", "p prime", "u", "u prime")
"""Kinds made of counts."""


def check_points(points, kind: str):
    """Check a chart's input and return a clean copy with every column it may use.

    Parameters
    ----------
    points : DataFrame, shape (n, any)
        ``value`` for individuals; ``count`` and ``size`` for p and u. ``label``, ``at`` (timestamps) and ``group``
        (such as the lot) are optional.
    kind : str
        One of :data:`KINDS`.

    Returns
    -------
    DataFrame, shape (n, 6)
        label, at, group, value, count, size; points without a value are kept and are NaN.

    Raises
    ------
    InputError
        Unknown kind, missing column, negative count or size, a count above its size, a value not above 0 on a log
        scale.
    """
    if kind not in KINDS:
        raise unknown_name("kind of chart", kind, KINDS, where="points")
    needed = ("count", "size") if kind in COUNTS else ("value",)
    for name in needed:
        if name not in points:
            raise InputError(
                f"points: a {kind} chart needs the column {name}. Found: {', '.join(map(str, points.columns))}."
            )
    labels = points["label"].tolist() if "label" in points else range(1, len(points) + 1)
    clean = pd.DataFrame(
        {
            "label": [str(label) for label in labels],
            "at": pd.to_datetime(pd.Series(points["at"].to_numpy()), utc=True) if "at" in points else pd.NaT,
            "group": [str(g) for g in points["group"].tolist()] if "group" in points else "",
            **{
                name: points[name].to_numpy(dtype=float, na_value=np.nan) if name in points else np.nan
                for name in ("value", "count", "size")
            },
        },
        index=range(len(points)),
    )
    if kind in COUNTS:
        _check_counts(clean, kind)
        with np.errstate(divide="ignore", invalid="ignore"):
            clean["value"] = np.where(clean["size"] > 0, clean["count"] / clean["size"], np.nan)
    elif kind == "log individuals":
        wrong = clean["value"] <= 0
        if wrong.any():
            row = clean[wrong].iloc[0]
            raise InputError(
                f"points, {row['label']}: value is {row['value']:g}, and a log scale needs values above 0. "
                "Leave it empty if it was not measured, or chart individuals instead."
            )
    return clean


def _check_counts(clean, kind):
    for name in ("count", "size"):
        wrong = clean[name] < 0
        if wrong.any():
            row = clean[wrong].iloc[0]
            raise InputError(f"points, {row['label']}: {name} is {row[name]:g}, and it cannot be negative. Correct it.")
    if kind in ("p", "p prime"):
        wrong = clean["count"] > clean["size"]
        if wrong.any():
            row = clean[wrong].iloc[0]
            raise InputError(
                f"points, {row['label']}: count is {row['count']:g} of {row['size']:g}, and a part cannot exceed "
                "its whole. Correct one of them."
            )


def working_values(clean, kind: str):
    """Values on the scale on which limits are symmetric, shape (n,)."""
    return np.log(clean["value"].to_numpy()) if kind == "log individuals" else clean["value"].to_numpy()
