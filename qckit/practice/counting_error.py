"""Objects in the water turned into the counts someone writes down: mixing, chance and misreading."""

from __future__ import annotations

import numpy as np

from qckit.stages import STAGES

__all__ = ["draw_counts"]


def draw_counts(
    shares,
    full_per_ml,
    volume_ul,
    rng,
    *,
    n=1,
    mixing_cv=0.06,
    misread=None,
    light=(0.0, 0.0),
):
    """Draw the counts of subsamples of one hatch.

    Parameters
    ----------
    shares : dict of str to float
        Objects per full cyst, as :func:`qckit.practice.mechanisms.expected_shares` returns them; 0 of a stage left out.
    full_per_ml : float
        Full cysts weighed in per millilitre of the cone. [1/ml]
    volume_ul : float
        Volume of a subsample. [µl]
    rng : Generator
    n : int
        Number of subsamples.
    mixing_cv : float
        Coefficient of variation of the density from subsample to subsample; 0 is a perfectly mixed cone.
    misread : dict of str to float, optional
        ``missed``, the share of the nauplii that the count misses, and ``cyst_as_shell`` and ``shell_as_cyst``, the
        shares that are written down as the other stage; none where left out.
    light : (float, float)
        Share of the nauplii that light had drawn away from where the samples were taken, and the coefficient of
        variation of those that were left from sample to sample. Nauplii swim to light; cysts and shells do not.

    Returns
    -------
    dict of str to int array, shape (n,)
        Counts per stage.
    """
    wrong = {"missed": 0.0, "cyst_as_shell": 0.0, "shell_as_cyst": 0.0} | (misread or {})
    lit_away, lit_cv = light
    scale = full_per_ml * volume_ul / 1000.0
    mixed = np.ones(n) if mixing_cv <= 0 else rng.gamma(1.0 / mixing_cv**2, mixing_cv**2, n)
    mean = {stage: float(shares.get(stage, 0.0)) for stage in STAGES}
    mean["nauplius"] *= 1.0 - wrong["missed"]
    cysts, shells = mean["cyst"], mean["shell"]
    mean["cyst"] = cysts * (1.0 - wrong["cyst_as_shell"]) + shells * wrong["shell_as_cyst"]
    mean["shell"] = shells * (1.0 - wrong["shell_as_cyst"]) + cysts * wrong["cyst_as_shell"]
    lit = np.ones(n) if lit_cv <= 0 else rng.gamma(1.0 / lit_cv**2, lit_cv**2, n)
    drawn = dict.fromkeys(STAGES, mixed)
    drawn["nauplius"] = mixed * lit * (1.0 - lit_away)
    return {stage: rng.poisson(mean[stage] * scale * drawn[stage]) for stage in STAGES}
