"""The table of doses for the wall."""

from __future__ import annotations

import pandas as pd

__all__ = ["wall_table"]


def wall_table(plan, demands):
    """Table for the wall: grams and cones for several demands.

    Parameters
    ----------
    plan : DosePlan
    demands : sequence of float
        Nauplii per feed.

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
    if not len(demands):
        return pd.DataFrame(columns=names)
    plans = [plan.for_nauplii(d) for d in demands]
    table = pd.concat([p.to_frame() for p in plans], ignore_index=True)[names]
    return table.assign(
        grams=[p.grams_weighed for p in plans], grams_per_cone=[p.grams_per_cone_weighed for p in plans]
    )
