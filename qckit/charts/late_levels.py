"""Cones, people and ways of counting that came after the others: compared with what such levels usually differ by."""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit.charts.candidates import SHORTEST
from qckit.charts.change import Change
from qckit.charts.selection import size_after_selection

__all__ = ["late_changes", "late_levels"]

_LATE = (20, 14.0)  # hatches and days of others before a level counts as having come late


def late_levels(frame, factors=("cone", "operator", "counted_by")) -> list[tuple[str, str]]:
    """List the levels that came after the others: (factor, level)."""
    out, begin = [], frame["at"].iloc[0] if len(frame) else None
    for factor in factors:
        if factor not in frame:
            continue
        first = frame.groupby(factor)["at"].min()
        for level, at in first.items():
            before = (frame["at"] < at) & (frame[factor] != "")
            if str(level) and before.sum() >= _LATE[0] and (at - begin) / pd.Timedelta(days=1) >= _LATE[1]:
                out.append((factor, str(level)))
    return out


def late_changes(model, named, late, alpha):
    """Levels that came late and differ by more than such levels do."""
    from scipy.stats import t

    out = []
    for factor, level in late:
        column = (named[factor] == level).astype(float)
        rows = np.flatnonzero(column)
        if len(rows) < SHORTEST:
            continue
        value, se = model.estimate(column)
        df = min(model.df, 30.0)
        p = min(1.0, len(late) * 2 * float(t.sf(abs(value) / se, df)))
        if p >= alpha:
            continue
        threshold = float(t.isf(alpha / (2 * len(late)), df))
        low, high = size_after_selection(value, se, threshold=threshold, df=df)
        ends = {"first": rows[0], "first_low": rows[0], "first_high": rows[0]}
        ends |= {"last": rows[-1], "last_low": rows[-1], "last_high": rows[-1]}
        out.append(
            Change(
                shape="level",
                factor=factor,
                level=level,
                rows=rows,
                is_ongoing=True,
                coefficient=value,
                low=low,
                high=high,
                z=value / se,
                p_value=p,
                column=column,
                **ends,
            )
        )
    return sorted(out, key=lambda c: c.p_value)[:1]
