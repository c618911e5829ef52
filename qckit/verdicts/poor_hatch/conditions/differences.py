"""What was different about one hatch, and what each difference says of each cause."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from qckit.hatch.water.readings import water_values
from qckit.log_odds import expit, logit
from qckit.quantities import CONDITIONS
from qckit.verdicts.poor_hatch.causes import CAUSES, cause
from qckit.verdicts.poor_hatch.conditions.exposure import course_of, expected_loss, out_of_range
from qckit.verdicts.poor_hatch.conditions.reference import USUAL, far_words, reference_of

__all__ = ["DIFFERENCE_COLUMNS", "find_differences", "worst_values"]

DIFFERENCE_COLUMNS = (
    "quantity",
    "value",
    "low",
    "high",
    "usual",
    "usual_sd",
    "reference",
    "unit",
    "n_readings",
    "h_outside",
    "h_read",
    "unusual",
    "literature_loss_pct",
    "expected_loss_pct",
    "site_share_pct",
    "cause",
    "is_far",
    "sentence",
)

_SD_FLOOR = {
    "temperature": 0.5,
    "salinity": 1.0,
    "ph": 0.08,
    "oxygen": 0.4,
    "light": 200.0,
    "hours": 0.5,
    "density": 0.15,
}
_FAR = 4.0  # standard deviations beyond which a value counts whatever the literature says (ours)


def worst_values(hatches: pd.DataFrame, readings: pd.DataFrame, hours: pd.Series | None = None) -> pd.DataFrame:
    """Lowest and highest value of each quantity in each hatch, from its own row and its readings.

    Returns
    -------
    DataFrame
        hatch, quantity, low, high, mean, n, in standard units.
    """
    rows = [water_values(hatches, readings)[["hatch", "quantity", "value"]]]
    if hours is not None:
        rows.append(pd.DataFrame({"hatch": hours.index, "quantity": "hours", "value": hours.to_numpy()}))
    density = hatches["cysts_g"] / hatches["volume_ml"] * 1000.0
    rows.append(pd.DataFrame({"hatch": hatches["hatch"], "quantity": "density", "value": density}))
    table = pd.concat(rows, ignore_index=True).dropna(subset="value")
    grouped = table.groupby(["hatch", "quantity"], sort=False)["value"]
    return grouped.agg(low="min", high="max", mean="mean", n="size").reset_index()


def find_differences(
    worst: pd.DataFrame,
    *,
    hatch: str,
    usual_hatches,
    readings=None,
    started=None,
    settings=None,
    effects=None,
    usual_share: float = 0.85,
) -> pd.DataFrame:
    """Compare one hatch's conditions with those of the usual ones and say what each difference should cost.

    Parameters
    ----------
    worst : DataFrame
        As :func:`worst_values` returns it.
    hatch : str
    usual_hatches : sequence of str
        Hatches that stand for what is usual.
    readings, started : optional
        For the hours a quantity was outside the standard, and the loss over the course of its readings.
    settings : settings.Settings, optional
        The site's standards, and its most cysts per litre.
    effects : DataFrame, optional
        The site's own effects (:func:`qckit.verdicts.poor_hatch.conditions.effects.site_effects`).
    usual_share : float
        Share of the full cysts that usually hatches.

    Returns
    -------
    DataFrame, columns ``DIFFERENCE_COLUMNS``
        The most telling first. ``unusual`` is in robust standard deviations of the site's own hatches; where there
        are fewer than three, ``reference`` says what ``usual`` holds instead, and ``unusual`` only orders the rows.
        ``expected_loss_pct`` joins the literature's loss with that of the site's own regression by the precision of
        both (``site_share_pct`` is the site's weight), so that few hatches, or hatches that hardly differed, leave
        the literature standing.
    """
    standards = {"conditions": None, "max_g_per_l": None}
    if settings is not None:
        standards = {"conditions": settings.conditions, "max_g_per_l": settings.feed.max_g_per_l}
    of_hatch = worst[worst["hatch"] == hatch].set_index("quantity")
    others = worst[worst["hatch"].isin(list(usual_hatches))]
    hours = float(of_hatch.loc["hours", "low"]) if "hours" in of_hatch.index else 24.0
    rows = []
    for item in CAUSES:
        c = item.reading
        if c is None or c.quantity not in of_hatch.index:
            continue
        here = of_hatch.loc[c.quantity]
        usual = others.loc[others["quantity"] == c.quantity, c.side].to_numpy()
        ref = reference_of(c, float(here[c.side]), usual, floor=_SD_FLOOR[c.quantity], **standards)
        course = course_of(readings, hatch, c.quantity, started)
        losses = _losses(item, float(here[c.side]), ref, course, hours=hours, effects=effects, share=usual_share)
        outside = out_of_range(course, item.code, standards["conditions"])
        rows.append(_difference(item, here, ref, losses=losses, outside=outside))
    table = pd.DataFrame(rows, columns=list(DIFFERENCE_COLUMNS))
    worse = [(-r.unusual if _side(r.cause) == "low" else r.unusual) for r in table.itertuples()]
    weight = table["expected_loss_pct"] + np.clip(worse, 0, 8) if len(table) else []
    return (
        table.assign(_w=weight).sort_values("_w", ascending=False, kind="stable", ignore_index=True).drop(columns="_w")
    )


def _losses(item, value, ref, course, *, hours, effects, share):
    """What a value should cost: (by the literature, by that and the site's own hatches, weight of the site). [1]"""
    c = item.reading
    published = expected_loss(lambda x: _relative_loss(c, x, ref.centre), value, course, item.code, hours)
    joined, of_site = _with_site_effects(
        item.code, c, published=published, value=value, usual=ref.centre, effects=effects, share=share
    )
    return published, joined, of_site


def _difference(item, here, ref, *, losses, outside):
    """One row: what a hatch's quantity was (``here``: a row of :func:`worst_values`) against its reference."""
    c, value = item.reading, float(here[item.reading.side])
    published, loss, of_site = losses
    h_outside, h_read, _ = outside
    return {
        "quantity": c.quantity,
        "value": value,
        "low": float(here["low"]),
        "high": float(here["high"]),
        "usual": ref.value,
        "usual_sd": ref.sd,
        "reference": ref.words,
        "unit": CONDITIONS[c.quantity].unit,
        "n_readings": int(here["n"]),
        "h_outside": h_outside,
        "h_read": h_read,
        "unusual": ref.unusual,
        "literature_loss_pct": 100 * published,
        "expected_loss_pct": 100 * loss,
        "site_share_pct": 100 * of_site,
        "cause": item.code,
        "is_far": _is_far(c, ref.unusual, loss),
        "sentence": _sentence(c, value, ref, losses, outside),
    }


def _is_far(c, unusual, loss):
    """Tell whether a value lies far out on the bad side: beyond the site's own usual, or costly by what is known."""
    worse = unusual < 0 if c.side == "low" else unusual > 0
    return bool(worse and (abs(unusual) > _FAR or (loss >= 0.02 and abs(unusual) > 2)))


def _side(code):
    return cause(code).reading.side


def _relative_loss(c, value, usual):
    """Share of the usual hatch that a value (or each of an array of values) should cost."""
    return np.maximum(0.0, 1 - (1 - c.published_loss(value)) / max(1 - c.published_loss(usual), 0.05))


def _with_site_effects(code, c, published, value, usual, effects, share):
    """Join the published loss with the site's own regression on the logit scale; return (loss, weight of the site).

    The published effect is trusted to half its size. The regression's is trusted to its standard error, to the
    straightness of a line (0.15), and the less the further a value lies beyond what the site has met.
    """
    of_quantity = effects[effects["quantity"] == c.quantity] if effects is not None and len(effects) else ()
    worse = value < usual if c.side == "low" else value > usual
    if not len(of_quantity) or not worse or code == "overlong":  # what stands too long is lost after hatching
        return published, 0.0
    row = of_quantity.iloc[0]
    share = min(max(share, 0.05), 0.98)
    start = logit(share)
    kept = min(max(share * (1 - published), 1e-3), 0.999)
    from_books = logit(kept) - start
    step = value - usual
    beyond = max(row["lowest"] - value, value - row["highest"], 0.0) / max(row["highest"] - row["lowest"], 1e-9)
    from_site = float(row["slope"]) * step
    # twice the site's range away, a line says hardly anything
    site_sd = math.hypot(float(row["se"]) * step, 0.15) + beyond * (abs(from_books) + abs(from_site) + 0.5)
    books_sd = max(0.5 * abs(from_books), 0.2)
    weight = (1 / site_sd**2) / (1 / site_sd**2 + 1 / books_sd**2)
    joined = start + weight * from_site + (1 - weight) * from_books
    loss = 1 - expit(joined) / share
    return float(min(max(loss, 0.0), 0.98)), float(weight)


def _sentence(c, v, ref, losses, course):
    """One line about one difference."""
    condition = CONDITIONS[c.quantity]
    name, digits = condition.label, condition.decimals
    unit = f" {condition.unit}" if condition.unit else ""
    end = "" if c.quantity in ("hours", "density") else "lowest " if c.side == "low" else "highest "
    unusual = ref.unusual
    text = f"{name}: {end}{v:.{digits}f}{unit} ({ref.words} {ref.value:.{digits}f}"
    if ref.words == USUAL:  # a standard has no spread of its own
        text += f", {far_words(unusual)}"
    text += ")"
    worse = unusual < 0 if c.side == "low" else unusual > 0
    outside, read, border = course
    if worse and outside > 0 and abs(unusual) > 1:
        text += f", {border}{unit} for {outside:.0f} of the {read:.0f} h it was read"
    published, loss, share = losses
    if worse and max(published, loss) >= 0.02:
        text += f"; about {100 * loss:.0f} % fewer nauplii are to be expected"
        text += _whence(published, share)
    return text


def _whence(published, share):
    """Where an expected loss comes from: the literature, the site's own hatches, or both."""
    if share < 0.005:
        return " (literature)"
    if share > 0.995:
        return f" (this site's own hatches; the literature alone: {100 * published:.0f} %)"
    return f" (this site's own hatches, weight {100 * share:.0f} %, and the literature: {100 * published:.0f} %)"
