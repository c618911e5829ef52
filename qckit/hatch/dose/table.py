"""The table of doses for the wall."""

from __future__ import annotations

import pandas as pd

__all__ = ["wall_table"]


_SHARES = (0.25, 0.5, 0.75, 1.0, 1.5, 2.0)  # of the plan's own demand, where no others are given


def wall_table(plan, demands=None):
    """Table for the wall: grams and cones for several demands.

    Parameters
    ----------
    plan : DosePlan
    demands : sequence of float, optional
        Nauplii per feed; from a quarter of the plan's own to twice it when left out.

    Returns
    -------
    DataFrame, columns nauplii, grams, n_cones, grams_per_cone, density_g_per_l, left_over
        Grams as they are weighed out, cone by cone.

    Examples
    --------
    >>> plan = hatch.plan_dose(tables, "K-121", nauplii=5_000_000)
    >>> len(hatch.wall_table(plan, [1e6, 2e6, 5e6]))
    3
    """
    names = ["nauplii", "grams", "n_cones", "grams_per_cone", "density_g_per_l", "left_over"]
    demands = [plan.nauplii * share for share in _SHARES] if demands is None else demands
    if not len(demands):
        return pd.DataFrame(columns=names)
    plans = [plan.for_nauplii(d) for d in demands]
    table = pd.concat([p.to_frame() for p in plans], ignore_index=True)[names]
    table = table.assign(
        grams=[p.grams_weighed for p in plans], grams_per_cone=[p.grams_per_cone_weighed for p in plans]
    )
    return table.round({"grams": 9, "density_g_per_l": 2, "left_over": 0, "nauplii": 0})
