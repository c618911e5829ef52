"""Run rules on a control chart, named by what they see, each with how often chance alone fires it.

The eight tests are those of ISO 7870-2 (Nelson 1984, Journal of Quality Technology 16:237-239), the four-rule set
is that of the Western Electric handbook (1956) as studied by Champ and Woodall 1987, Technometrics 29:393-399.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from qckit.errors import unknown_name

__all__ = [
    "DEFAULT_RULES",
    "DEFAULT_RULES_REASON",
    "NELSON",
    "RULES",
    "SIGNAL_COLUMNS",
    "WESTERN_ELECTRIC",
    "Rule",
    "false_alarm_rate",
    "find_rule",
    "find_signals",
    "rules_table",
]


@dataclass(frozen=True)
class Rule:
    """One rule: in the last ``window`` points, at least ``need`` of the given shape."""

    code: str
    test: str  # number of the test in its standard
    sees: str
    hints: str  # what it usually means in a hatch room
    shape: str  # beyond, side, trend, alternating, within, outside
    window: int
    need: int
    k: float = 0.0  # zone border in standard deviations


RULES: dict[str, Rule] = {
    rule.code: rule
    for rule in (
        Rule(
            code="beyond_3",
            test="ISO 7870-2 test 1",
            sees="a point beyond the limits",
            hints="one hatch went differently",
            shape="beyond",
            window=1,
            need=1,
            k=3.0,
        ),
        Rule(
            code="nine_one_side",
            test="ISO 7870-2 test 2",
            sees="nine points in a row on one side of the centre line",
            hints="the level has moved and stayed",
            shape="side",
            window=9,
            need=9,
        ),
        Rule(
            code="six_trending",
            test="ISO 7870-2 test 3",
            sees="six points in a row rising, or falling",
            hints="something wears, ages or drifts",
            shape="trend",
            window=6,
            need=6,
        ),
        Rule(
            code="fourteen_alternating",
            test="ISO 7870-2 test 4",
            sees="fourteen points in a row going up and down in turn",
            hints="two streams, such as two cones, take turns in the chart",
            shape="alternating",
            window=14,
            need=14,
        ),
        Rule(
            code="two_of_three_beyond_2",
            test="ISO 7870-2 test 5",
            sees="two of three points beyond 2 standard deviations on the same side",
            hints="a large shift that has just begun",
            shape="beyond",
            window=3,
            need=2,
            k=2.0,
        ),
        Rule(
            code="four_of_five_beyond_1",
            test="ISO 7870-2 test 6",
            sees="four of five points beyond 1 standard deviation on the same side",
            hints="a middling shift",
            shape="beyond",
            window=5,
            need=4,
            k=1.0,
        ),
        Rule(
            code="fifteen_within_1",
            test="ISO 7870-2 test 7",
            sees="fifteen points in a row within 1 standard deviation of the centre line",
            hints="limits too wide: a mixed baseline, or figures copied",
            shape="within",
            window=15,
            need=15,
            k=1.0,
        ),
        Rule(
            code="eight_beyond_1",
            test="ISO 7870-2 test 8",
            sees="eight points in a row beyond 1 standard deviation, on either side",
            hints="two levels mixed in one chart",
            shape="outside",
            window=8,
            need=8,
            k=1.0,
        ),
        Rule(
            code="eight_one_side",
            test="Western Electric test 4",
            sees="eight points in a row on one side of the centre line",
            hints="the level has moved and stayed",
            shape="side",
            window=8,
            need=8,
        ),
    )
}
"""Every rule by its code."""

NELSON = tuple(RULES)[:8]
"""The eight tests, in the standard's order."""
WESTERN_ELECTRIC = ("beyond_3", "two_of_three_beyond_2", "four_of_five_beyond_1", "eight_one_side")
"""The four-rule set."""
DEFAULT_RULES = ("beyond_3", "two_of_three_beyond_2", "nine_one_side")
"""The rules used unless a site chooses others."""
DEFAULT_RULES_REASON = (
    "Three rules are used: a single point beyond the limits sees one bad hatch, two of three beyond two standard "
    "deviations see a large shift early, nine on one side see a small lasting one. The trend rule adds false alarms "
    "and hardly sees a drift earlier (Davis and Woodall 1988, Journal of Quality Technology 20:260-262; from memory); "
    "ageing is looked for by a fitted slope instead. The remaining rules look for mixed streams and are read in the "
    "small charts by cone and operator."
)

SIGNAL_COLUMNS = ("point", "label", "at", "group", "rule", "test", "sees", "side", "first_point", "value", "centre")
"""Columns of :func:`find_signals`."""

_EDGE = 1e-9  # a point on the line is not beyond it, rounding included


def _get(rule) -> Rule:
    if isinstance(rule, Rule):
        return rule
    if rule not in RULES:
        raise unknown_name("rule", rule, RULES)
    return RULES[rule]


def find_rule(z, rule, *, k=None, window=None):
    """Find where one rule fires.

    Parameters
    ----------
    z : array_like of float, shape (n,)
        Points in standard deviations from the centre line, without gaps.
    rule : str or Rule
        A code of :data:`RULES`.
    k, window : float, int, optional
        In place of the rule's own zone border and length.

    Returns
    -------
    ndarray of int, shape (n,)
        +1 or -1 where the point completes the pattern (above or below; rising or falling), 2 where it has no side,
        0 elsewhere. In "so many of so many" rules the last point itself must be beyond the line.

    Examples
    --------
    >>> charts.find_rule([0.1, -0.4, 3.4, 0.2], "beyond_3").tolist()
    [0, 0, 1, 0]
    """
    rule = _get(rule)
    z = np.asarray(z, float)
    k = rule.k if k is None else float(k)
    window = rule.window if window is None else int(window)
    need = window if rule.need == rule.window else rule.need
    fired = np.zeros(len(z), int)
    if len(z) < window:
        return fired
    if rule.shape in ("trend", "alternating"):
        step = np.sign(np.diff(z))
        if rule.shape == "alternating":
            step = np.where(np.arange(len(step)) % 2 == 0, step, -step)
        for side in (1, -1):
            fired[1:][_all_of(step == side, window - 1)] = side if rule.shape == "trend" else 2
        return fired
    if rule.shape == "within":
        fired[_all_of(np.abs(z) < k - _EDGE, window)] = 2
    elif rule.shape == "outside":
        fired[_all_of(np.abs(z) > k + _EDGE, window)] = 2
    else:
        border = 0.0 if rule.shape == "side" else k + _EDGE
        for side in (1, -1):
            hit = side * z > border
            total = np.convolve(hit, np.ones(window, int))[: len(z)]
            enough = (total >= need) & hit
            # "2 of 3" may already be complete after two points; runs need the whole window anyway
            fired[enough] = side
    return fired


def _all_of(hit, window):
    """True where the last ``window`` entries are all true."""
    total = np.convolve(hit, np.ones(window, int))[: len(hit)]
    return total >= window


def find_signals(chart, rules=DEFAULT_RULES, *, reach=None):
    """Find every point of a chart at which a rule fires.

    Parameters
    ----------
    chart : DataFrame
        A chart's frame (:data:`qckit.charts.limits.CHART_COLUMNS`). Points without a value, and points set aside,
        are passed over; runs end where the group (the lot) changes.
    rules : iterable of str
        Codes of :data:`RULES`.
    reach : dict, optional
        Rule code -> dict with ``k`` or ``window`` (``Limits.reach``).

    Returns
    -------
    DataFrame, shape (n_signals, len(SIGNAL_COLUMNS))
        In the order of points; the same columns when there is none. ``first_point`` is where the pattern begins.

    Examples
    --------
    >>> chart = charts.p_chart([80, 82, 79, 85, 81, 78, 83, 80, 55], 100, per=100)
    >>> charts.find_signals(chart)["rule"].tolist()
    ['beyond_3']
    """
    rules = [_get(rule) for rule in rules]
    reach = reach or {}
    rows = []
    usable = chart[chart["z"].notna() & (chart["phase"] != "set aside")]
    for _, part in usable.groupby("group", sort=False):
        z = part["z"].to_numpy()
        for rule in rules:
            values = reach.get(rule.code, {})
            fired = find_rule(z, rule, **values)
            window = int(values.get("window", rule.window))
            for i in np.flatnonzero(fired):
                row = part.iloc[i]
                rows.append(
                    (
                        row["point"],
                        row["label"],
                        row["at"],
                        row["group"],
                        rule.code,
                        rule.test,
                        _in_words(rule, values),
                        {1: "above", -1: "below", 2: ""}[fired[i]],
                        part.iloc[max(0, i - window + 1)]["point"],
                        row["value"],
                        row["centre"],
                    )
                )
    found = pd.DataFrame(rows, columns=list(SIGNAL_COLUMNS))
    return found.sort_values(["point", "rule"], kind="stable").reset_index(drop=True)


_NUMBER = {8: "eight", 9: "nine", 10: "ten", 11: "eleven", 12: "twelve", 13: "thirteen", 14: "fourteen"}


def _in_words(rule, values):
    """What the rule sees, with the figures in use."""
    text = rule.sees
    if "window" in values and values["window"] != rule.window:
        text = text.replace(
            _NUMBER.get(rule.window, str(rule.window)), _NUMBER.get(values["window"], str(values["window"]))
        )
    unit = "standard deviation" if rule.k == 1 else "standard deviations"
    if "k" in values and f"{rule.k:g} {unit}" in text:
        text = text.replace(f"{rule.k:g} {unit}", f"{values['k']:.2f} standard deviations")
    return text


def false_alarm_rate(rule, *, shift=0.0, scale=1.0, k=None, window=None):
    """How often chance alone completes a rule at a given point, for independent normal points.

    Parameters
    ----------
    rule : str or Rule
    shift, scale : float or ndarray
        Mean of z, and the factor by which z was divided too little (true sigma over the one used, inverted): z is
        normal with mean ``shift`` and standard deviation 1, and zone borders lie at ``scale * k``.
    k, window : optional
        In place of the rule's own.

    Returns
    -------
    float or ndarray
        Probability per point, once the window is full. Points follow each other in signals, so the mean run length
        (:func:`qckit.charts.run_lengths.run_length`) is not simply its inverse.

    Examples
    --------
    >>> round(float(charts.false_alarm_rate("beyond_3")), 4)
    0.0027
    """
    from scipy.special import ndtr

    rule = _get(rule)
    k = rule.k if k is None else k
    window = rule.window if window is None else window
    border = np.asarray(scale, float) * k
    shift = np.asarray(shift, float)
    if rule.shape == "trend":
        return 2 / math.factorial(window) + 0 * shift
    if rule.shape == "alternating":
        return 2 * _zigzag(window) / math.factorial(window) + 0 * shift
    up, down = ndtr(shift - border), ndtr(-shift - border)
    if rule.shape == "within":
        return (1 - up - down) ** window
    if rule.shape == "outside":
        return (up + down) ** window
    if rule.shape == "side":
        return ndtr(shift) ** window + ndtr(-shift) ** window
    need = rule.need
    return up * _at_least(need - 1, window - 1, up) + down * _at_least(need - 1, window - 1, down)


def _at_least(need, n, p):
    return sum(math.comb(n, j) * p**j * (1 - p) ** (n - j) for j in range(need, n + 1))


def _zigzag(n):
    """Number of alternating orders of n things that begin with a rise (Euler's zigzag numbers)."""
    row = [1]
    for _ in range(n):
        row = np.cumsum([0, *row[::-1]], dtype=object).tolist()
    return row[-1]


def rules_table(rules=NELSON, *, reach=None):
    """Describe rules in a table: what each sees, what it hints at, its standard, its false-alarm rate.

    Returns
    -------
    DataFrame, shape (n_rules, 5)
        Columns rule, sees, hints, test, false_alarm_pct (chance per point, percent).

    Examples
    --------
    >>> charts.rules_table(("beyond_3", "nine_one_side"))["rule"].tolist()
    ['beyond_3', 'nine_one_side']
    """
    reach = reach or {}
    chosen = [_get(rule) for rule in rules]
    return pd.DataFrame(
        {
            "rule": [r.code for r in chosen],
            "sees": [_in_words(r, reach.get(r.code, {})) for r in chosen],
            "hints": [r.hints for r in chosen],
            "test": [r.test for r in chosen],
            "false_alarm_pct": [100 * float(false_alarm_rate(r)) for r in chosen],
        }
    )
