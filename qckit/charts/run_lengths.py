"""Average run lengths: after how many points a chart signals, by chance alone or after a shift.

Exact where a finite Markov chain holds all that the rules remember; by the integral equation for EWMA and CUSUM; by
seeded simulation, with its standard error, only for combinations with rules on rising or alternating values.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from qckit.charts.rules import RULES, find_rule
from qckit.errors import InputError, unknown_name

__all__ = ["RunLength", "cusum_run_length", "ewma_run_length", "run_length"]

_MOST_STATES = 60_000


@dataclass(frozen=True)
class RunLength:
    """Mean number of points to the first signal."""

    mean: float
    method: str  # Markov chain, simulation
    standard_error: float = 0.0
    shift: float = 0.0

    @property
    def sentence(self) -> str:
        """The run length in words."""
        if self.shift:
            return f"a shift of {self.shift:g} standard deviations is seen after about {self.mean:.3g} hatches"
        return f"chance alone signals about once in {self.mean:.0f} hatches"


def run_length(rules, *, shift=0.0, reach=None, seed=1) -> RunLength:
    """Average run length of a combination of rules on independent normal points.

    Parameters
    ----------
    rules : iterable of str
        Codes of :data:`qckit.charts.rules.RULES`.
    shift : float
        Mean of the points in standard deviations from the centre line.
    reach : dict, optional
        Rule code -> dict with ``k`` or ``window``, in place of the textbook figures.
    seed : int
        For the simulation, where one is needed.

    Returns
    -------
    RunLength

    References
    ----------
    Champ and Woodall 1987, Technometrics 29:393-399.
    """
    rules = list(dict.fromkeys(rules))
    if not rules:
        raise InputError("rules: no rule was given, and a chart without rules never signals. Name at least one.")
    for code in rules:
        if code not in RULES:
            raise unknown_name("rule", code, RULES)
    reach = reach or {}
    if any(RULES[code].shape in ("trend", "alternating") for code in rules):
        return _simulated(rules, shift, reach, seed)
    return RunLength(_markov(rules, shift, reach), "Markov chain", shift=shift)


def _memory(rules, reach):
    """What each rule has to remember: list of (shape, k, window, need)."""
    parts = []
    for code in rules:
        rule, own = RULES[code], reach.get(code, {})
        window = int(own.get("window", rule.window))
        parts.append(
            (rule.shape, float(own.get("k", rule.k)), window, window if rule.need == rule.window else rule.need)
        )
    return parts


def _step(memory, part, z):
    """New memory of one rule after the point z, or None when it fires."""
    shape, k, window, need = part
    if shape in ("side", "within", "outside"):
        if shape == "side":
            side = 1 if z > 0 else -1
            count = memory[1] + 1 if memory[0] == side else 1
            return None if count >= window else (side, count)
        hit = abs(z) < k if shape == "within" else abs(z) > k
        count = memory[1] + 1 if hit else 0
        return None if count >= window else (0, count)
    after = []
    for side, bits in ((1, memory[0]), (-1, memory[1])):
        hit = side * z > k
        if hit and sum(bits) + 1 >= need:
            return None
        kept = (*bits, int(hit))[-(window - 1) :] if window > 1 else ()
        # old points that can no longer help complete the pattern are forgotten, which keeps the chain small
        after.append(_trim(kept, window, need))
    return tuple(after)


def _trim(bits, window, need):
    bits = list(bits)
    for i in range(len(bits)):
        if bits[i]:
            # steps this bit still lives, and the most points that could join it
            lives = window - 1 - (len(bits) - 1 - i)
            if sum(bits[i:]) + lives < need:
                bits[i] = 0
    return tuple(bits)


def _start(part):
    shape, _, window, _ = part
    return (0, 0) if shape in ("side", "within", "outside") else ((0,) * (window - 1),) * 2


def _markov(rules, shift, reach):
    """Expected steps to absorption of the chain whose states are what the rules remember."""
    from scipy import sparse
    from scipy.sparse.linalg import spsolve
    from scipy.special import ndtr

    parts = _memory(rules, reach)
    edges = sorted({0.0, *(s * k for _, k, _, _ in parts if k for s in (1, -1))})
    bounds = [-math.inf, *edges, math.inf]
    zones = [
        (0.5 * (max(a, -99) + min(b, 99)), float(ndtr(b - shift) - ndtr(a - shift)))
        for a, b in itertools.pairwise(bounds)
    ]
    zones = [(z, p) for z, p in zones if p > 0]
    start = tuple(_start(part) for part in parts)
    index, queue, rows, columns, values = {start: 0}, [start], [], [], []
    while queue:
        state = queue.pop()
        for z, chance in zones:
            after = tuple(_step(memory, part, z) for memory, part in zip(state, parts, strict=True))
            if any(a is None for a in after):
                continue
            if after not in index:
                if len(index) >= _MOST_STATES:
                    raise InputError(
                        f"rules: {', '.join(rules)} together need a chain of more than {_MOST_STATES:,} states. "
                        "Leave one out."
                    )
                index[after] = len(index)
                queue.append(after)
            rows.append(index[state])
            columns.append(index[after])
            values.append(chance)
    n = len(index)
    moves = sparse.csr_matrix((values, (rows, columns)), shape=(n, n))
    return float(spsolve((sparse.identity(n, format="csr") - moves).tocsc(), np.ones(n))[0])


def _simulated(rules, shift, reach, seed, repeats=4000):
    """Mean first signal over seeded series, doubled in length until every one has signalled."""
    rng = np.random.default_rng(seed)
    lengths = []
    block = 400
    for _ in range(repeats):
        z, found = np.empty(0), None
        while found is None:
            z = np.concatenate([z, rng.normal(shift, 1, block)])
            firsts = [np.flatnonzero(find_rule(z, code, **reach.get(code, {}))) for code in rules]
            firsts = [f[0] for f in firsts if len(f)]
            found = min(firsts) + 1 if firsts else None
        lengths.append(found)
    lengths = np.asarray(lengths, float)
    return RunLength(float(lengths.mean()), "simulation", float(lengths.std(ddof=1) / math.sqrt(repeats)), shift)


def ewma_run_length(weight, width, *, shift=0.0, nodes=120) -> float:
    """Average run length of an EWMA chart with steady limits, from its start at the centre.

    Parameters
    ----------
    weight, width : float
        As for :func:`qckit.charts.memory.ewma_chart`.
    shift : float
        Mean of the points in standard deviations.
    nodes : int
        Gauss-Legendre points of the integral equation.

    Returns
    -------
    float

    References
    ----------
    Integral equation: Crowder 1987, Technometrics 29:401-407. Values: Lucas and Saccucci 1990, Technometrics 32:1-12.
    """
    if not 0 < weight <= 1:
        raise InputError(f"weight is {weight:g} and must lie above 0 and at most 1, such as 0.2. Correct it.")
    half = width * math.sqrt(weight / (2 - weight))
    x, w = np.polynomial.legendre.leggauss(nodes)
    x, w = half * x, half * w

    def kernel(start):
        return _normal((x[None, :] - (1 - weight) * np.atleast_1d(start)[:, None]) / weight - shift) / weight * w

    lengths = np.linalg.solve(np.eye(nodes) - kernel(x), np.ones(nodes))
    return float(1 + kernel(0.0)[0] @ lengths)


def cusum_run_length(slack, decision, *, shift=0.0, sides=2, nodes=80) -> float:
    """Average run length of a CUSUM chart that starts at zero.

    Parameters
    ----------
    slack, decision : float
        k and h in standard deviations.
    shift : float
        Mean of the points in standard deviations.
    sides : int
        1 (high side only) or 2.
    nodes : int
        Gauss-Legendre points of the integral equation.

    Returns
    -------
    float

    References
    ----------
    Page 1954, Biometrika 41:100-115; two sides by 1/L = 1/L_high + 1/L_low (Kemp 1961, from memory), exact when a
    signal on one side leaves the other at zero.
    """
    high = _one_sided(slack, decision, shift, nodes)
    if sides == 1:
        return high
    return 1 / (1 / high + 1 / _one_sided(slack, decision, -shift, nodes))


def _one_sided(slack, decision, shift, nodes):
    from scipy.special import ndtr

    x, w = np.polynomial.legendre.leggauss(nodes)
    x, w = decision * (x + 1) / 2, decision * w / 2
    points = np.concatenate([[0.0], x])
    chance = np.empty((nodes + 1, nodes + 1))
    chance[:, 0] = ndtr(slack - shift - points)  # falls back to zero
    chance[:, 1:] = _normal(x[None, :] - points[:, None] + slack - shift) * w
    return float(np.linalg.solve(np.eye(nodes + 1) - chance, np.ones(nodes + 1))[0])


def _normal(x):
    return np.exp(-0.5 * x * x) / math.sqrt(2 * math.pi)
