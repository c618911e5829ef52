"""How often a test accepts a lot, or has to be repeated, against what the lot truly gives."""

from __future__ import annotations

import numpy as np
import pandas as pd

from qckit import draw
from qckit.errors import InputError
from qckit.hatch.intervals.over_cones import proportion_over_cones, rate_over_cones
from qckit.hatch.planning.precision import USUAL, USUAL_CYSTS, inward_reaches

__all__ = ["draw_operating_curve", "operating_curve", "plan_for_risk", "repeat_chances"]


def operating_curve(
    n_cones,
    n_subsamples,
    *,
    min_hatch_pct=75.0,
    hatch_pct=None,
    cysts_per_subsample=USUAL_CYSTS,
    spread=None,
    dispersion=1.0,
    confidence=None,
):
    """Probability that a test accepts a lot, against the lot's true hatching percentage.

    Parameters
    ----------
    n_cones, n_subsamples : int
    min_hatch_pct : float
        The site's minimum. [%]
    hatch_pct : array_like of float, optional
        True values; 49 around the minimum when left out. [%]
    cysts_per_subsample, spread, dispersion
        As for ``half_width_pct``.
    confidence : float, optional
        Accept when the lower bound of the mean's interval at this confidence reaches the minimum; when left out, when
        the mean does.

    Returns
    -------
    DataFrame, columns hatch_pct, accept_prob

    Examples
    --------
    >>> hatch.operating_curve(3, 6, spread=hatch.site_spread(cones)).columns.tolist()
    ['hatch_pct', 'accept_prob']
    """
    from scipy import stats

    truth = (
        np.linspace(max(1, min_hatch_pct - 12), min(99.5, min_hatch_pct + 12), 49) if hatch_pct is None else hatch_pct
    )
    truth = np.asarray(truth, float)
    known = spread is not None
    counted = n_subsamples * cysts_per_subsample
    share = truth / 100
    rho = (spread if known else USUAL).rho
    se = np.sqrt(share * (1 - share) * (dispersion + (counted - 1) * rho) / (n_cones * counted))
    shift = (share - min_hatch_pct / 100) / se
    if confidence is None:
        accept = stats.norm.cdf(shift)
    elif not known and n_cones < 2:
        accept = np.zeros_like(truth)
    else:
        accept = stats.norm.cdf(shift[:, None] - inward_reaches(n_cones, spread, confidence)).mean(axis=1)
    return pd.DataFrame({"hatch_pct": truth, "accept_prob": accept})


def plan_for_risk(
    bad_hatch_pct,
    good_hatch_pct,
    *,
    min_hatch_pct=75.0,
    buyer_risk=0.10,
    seller_risk=0.10,
    n_subsamples=6,
    max_cones=20,
    **options,
):
    """Fewest cones that seldom accept a bad lot and seldom refuse a good one (accepting on the mean).

    Parameters
    ----------
    bad_hatch_pct, good_hatch_pct : float
        True hatching percentage of a lot that must not, and of one that must be accepted. [%]
    min_hatch_pct : float
        Line that the mean has to reach, between the two. [%]
    buyer_risk, seller_risk : float
        Most allowed probability of accepting the bad, of refusing the good lot.
    n_subsamples, max_cones : int
    **options
        cysts_per_subsample, spread, dispersion.

    Returns
    -------
    dict
        n_cones, accept_bad, accept_good, sentence.

    Raises
    ------
    InputError
        The line does not lie between the two, or ``max_cones`` are not enough.

    Examples
    --------
    >>> plan = hatch.plan_for_risk(65.0, 85.0, spread=hatch.site_spread(cones))
    >>> bool(plan["accept_bad"] <= 0.1)
    True
    """
    if not bad_hatch_pct < min_hatch_pct < good_hatch_pct:
        raise InputError(
            f"The line of {min_hatch_pct:g} % must lie between the bad lot ({bad_hatch_pct:g} %) and the "
            f"good one ({good_hatch_pct:g} %)."
        )
    for cones in range(1, max_cones + 1):
        curve = operating_curve(
            cones, n_subsamples, min_hatch_pct=min_hatch_pct, hatch_pct=[bad_hatch_pct, good_hatch_pct], **options
        )
        bad, good = curve["accept_prob"]
        if bad <= buyer_risk and good >= 1 - seller_risk:
            who = (
                f"{cones} cones of {n_subsamples} subsamples accept"
                if cones > 1
                else (f"One cone of {n_subsamples} subsamples accepts")
            )
            sentence = (
                f"{who} a lot of {bad_hatch_pct:g} % with probability "
                f"{bad:.2f} and one of {good_hatch_pct:g} % with {good:.2f}."
            )
            return {"n_cones": cones, "accept_bad": float(bad), "accept_good": float(good), "sentence": sentence}
    raise InputError(
        f"Even {max_cones} cones do not tell {bad_hatch_pct:g} from {good_hatch_pct:g} % at these risks. "
        "Allow more risk, or make the cones more alike."
    )


def repeat_chances(
    limits,
    *,
    above_pct=8.0,
    cones=(2, 3, 4),
    n_subsamples=6,
    cysts_per_subsample=USUAL_CYSTS,
    spread=None,
    dispersion=1.0,
):
    """How often a test of a good lot ends in "repeat the test", by the number of cones.

    Parameters
    ----------
    limits : settings.LimitSettings
        Minimum, margin and confidence.
    above_pct : float
        How far the lot truly lies above the minimum. [points]
    cones : sequence of int
    n_subsamples, cysts_per_subsample, spread, dispersion
        As for ``half_width_pct``.

    Returns
    -------
    dict of int to float
        Cones -> share of tests whose best guess of hatching percentage or nauplii per gram falls below its minimum, or
        whose lower bound lies below it by more than the site's margin. The lot stands as far above both minima.

    Notes
    -----
    The rule itself, on 400 drawn tests (the same for the same input; the share errs by 2.5 points at most): beta cones
    with the site's intra-cone correlation, a density that makes up the rest of the spread of nauplii per gram.

    Examples
    --------
    >>> list(hatch.repeat_chances(tables.settings.limits, cones=(3,), spread=hatch.site_spread(cones)))
    [3]
    """
    share = min(limits.min_hatch_pct + above_pct, 99.0) / 100
    line = limits.min_hatch_pct / 100
    usual = spread if spread is not None else USUAL
    counted = n_subsamples * cysts_per_subsample
    room = 1 - limits.equivalence_margin_pct / 100
    options = {"confidence": limits.confidence, "spread": spread}
    found = {}
    for k in cones:
        if k < 2 and spread is None:
            found[k] = 1.0
            continue
        repeats = 0
        for hatched, full in _drawn_tests(k, share, counted, usual, dispersion):
            of_share = proportion_over_cones(hatched, full, **options)
            per_cone = rate_over_cones(hatched, np.ones(k), **options).scaled(1 / counted)
            repeats += any(
                not (e.value >= line and e.safe_low >= room * line)  # an unknown bound shows nothing
                for e in (of_share, per_cone)
            )
        found[k] = repeats / _DRAWS
    return found


_DRAWS = 400


def _drawn_tests(k, share, counted, spread, dispersion):
    """Counts of hatched and of full cysts in the cones of tests as the site makes them."""
    rng = np.random.default_rng(0)
    rho = min(spread.rho + max(dispersion - 1, 0.0) / max(counted - 1, 1.0), 0.9)
    between = max(spread.cv**2 + max(dispersion - 1, 0.0) / (counted * share) - rho * (1 - share) / share, 0.0)
    size, total = (_DRAWS, k), (1 - rho) / max(rho, 1e-9)
    hatching = rng.beta(share * total, (1 - share) * total, size) if rho > 0 else np.full(size, share)
    density = rng.gamma(1 / between, between, size) if between > 0 else np.ones(size)
    full = np.maximum(rng.poisson(counted * density), 1)
    return zip(rng.binomial(full, hatching), full, strict=True)


def draw_operating_curve(curves, *, min_hatch_pct=None, ax=None):
    """Draw operating characteristic curves.

    Parameters
    ----------
    curves : dict of str to DataFrame
        Name of the plan -> :func:`operating_curve`.
    min_hatch_pct : float, optional
        The site's minimum, drawn as a line. [%]
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> curve = hatch.operating_curve(3, 6, spread=hatch.site_spread(cones))
    >>> ax = hatch.draw_operating_curve({"3 cones": curve}, min_hatch_pct=75.0)
    >>> ax.get_xlabel()
    'true hatching percentage of the lot [%]'
    """
    ax = draw.new_axes(ax, figsize=(6.5, 4))
    for i, (name, curve) in enumerate(curves.items()):
        marks = {"linestyle": ("-", "--", ":", "-.")[i % 4], "marker": draw.MARKERS[i % 7], "markevery": (2 * i, 6)}
        ax.plot(curve["hatch_pct"], curve["accept_prob"], color=draw.SERIES[i % 7], label=name, **marks)
    if min_hatch_pct is not None:
        draw.reference_line(min_hatch_pct, f"minimum {min_hatch_pct:g} %", ax=ax, horizontal=False)
    ax.set(xlabel="true hatching percentage of the lot [%]", ylabel="probability of accepting", ylim=(-0.02, 1.02))
    ax.legend(fontsize=9)
    return ax
