"""The finite chain behind run lengths: what a combination of rules has to remember from point to point.

Rules on zones remember which side of their borders the last points lay on. Rules on rising and alternating values
remember the direction of the last steps, and then the value of the last point too: that one is continuous, and the mean
number of points to a signal solves an integral equation, here by Gauss-Legendre quadrature within each zone.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre

from qckit.charts.rules import RULES, false_alarm_rate
from qckit.errors import InputError
from qckit.words import spaced

__all__ = ["MarkChain", "StepChain", "ZoneChain", "build_chain", "build_marks"]

MOST_STATES = 60_000
_NODES = 8  # quadrature points within a zone; values of rank patterns are smooth there
_ON_STEPS = {rule.shape: rule for rule in RULES.values() if rule.shape in ("trend", "alternating")}  # rules on steps


@dataclass(frozen=True)
class ZoneChain:
    """States of rules on zones: ``after[s, g]`` is the state after a point in zone g, -1 where a rule fires."""

    edges: tuple  # zone borders, ascending
    after: np.ndarray

    @property
    def n_states(self) -> int:
        """How many things can be remembered."""
        return len(self.after)

    def mean(self, borders, shift=0.0) -> np.ndarray:
        """Mean number of points to a signal, from the start.

        Parameters
        ----------
        borders : ndarray, shape (n, n_edges)
            Zone borders in ascending order, in true standard deviations.
        shift : float or ndarray, shape (n,)

        Returns
        -------
        ndarray, shape (n,)
        """
        chance = _chances(borders, shift)
        n = len(self.after)
        if n > 400:
            return np.array([self._sparse(row) for row in chance])
        moves = np.zeros((len(chance), n, n + 1))
        for g in range(self.after.shape[1]):
            moves[:, np.arange(n), self.after[:, g]] += chance[:, g, None]  # -1 is the last column: fired
        # where no point can ever signal, the length is as good as endless
        return np.linalg.solve((1 + 1e-13) * np.eye(n) - moves[:, :, :n], np.ones((len(chance), n, 1)))[:, 0, 0]

    def _sparse(self, chance):
        from scipy import sparse
        from scipy.sparse.linalg import spsolve

        n, zones = self.after.shape
        rows, columns = np.repeat(np.arange(n), zones), self.after.ravel()
        goes = columns >= 0
        moves = sparse.csr_matrix((np.tile(chance, n)[goes], (rows[goes], columns[goes])), shape=(n, n))
        return spsolve((sparse.identity(n, format="csr") - moves).tocsc(), np.ones(n))[0]


@dataclass(frozen=True)
class MarkChain:
    """States of rules on zones that go on after one has fired; ``fires[s, g]`` where a point in zone g makes one fire.

    Rules that look at steps are not among them; ``of_steps`` is the share of points that they mark.
    """

    edges: tuple
    after: np.ndarray
    fires: np.ndarray
    longest: int  # points that any rule looks back on: after so many, what came before them is forgotten
    of_steps: float

    def rate(self, borders, shift=0.0) -> np.ndarray:
        """Share of points at which any rule fires, borders and shift as for :meth:`ZoneChain.mean`; shape (n,)."""
        chance = _chances(borders, shift)
        ahead = chance @ self.fires.T.astype(float)
        for _ in range(self.longest):
            ahead = sum(chance[:, g, None] * ahead[:, self.after[:, g]] for g in range(self.after.shape[1]))
        return ahead[:, 0] + self.of_steps


@dataclass(frozen=True)
class StepChain:
    """States of rules among which some look at steps; ``up`` and ``down`` as ``ZoneChain.after``, by zone reached."""

    edges: tuple
    start: np.ndarray  # state after a first point in each zone
    zone: np.ndarray  # zone of each state's last point
    up: np.ndarray
    down: np.ndarray

    @property
    def n_states(self) -> int:
        """How many things can be remembered, the last value aside."""
        return len(self.zone)

    def mean(self, borders, shift=0.0) -> np.ndarray:
        """As :meth:`ZoneChain.mean`."""
        return np.array([self._one(row) for row in _chances(borders, shift)])

    def _one(self, chance, tolerance=1e-10):
        """Sum of the chances of no signal yet; once they fall evenly, the rest is a geometric series."""
        x, w = np.polynomial.legendre.leggauss(_NODES)
        above = _integrals_above(x)
        w, ahead, behind = w / 2, above / 2, (w - above) / 2
        n, zones = self.up.shape
        in_zone = chance[self.zone][:, None]
        rows = np.arange(n)
        stay_up, stay_down = self.up[rows, self.zone], self.down[rows, self.zone]
        quiet = np.ones((n + 1, _NODES))
        quiet[-1] = 0.0  # where -1 points: a rule has fired
        total, last, before, estimate = 1.0, 1.0, math.nan, math.nan
        for step in range(1, 20_000):
            mean = quiet @ w
            now = float(np.sum(chance * mean[self.start]))
            total += now
            if now < 1e-15 * total:
                return total
            ratio = now / last
            guess = total + now * ratio / (1 - ratio) if ratio < 1 else math.inf
            if step > 20 and abs(ratio - before) < 1e-8 and abs(guess - estimate) < tolerance * guess:
                return guess
            before, estimate, last = ratio, guess, now
            moved = np.zeros((n, 1))
            for g in range(zones):
                moved[:, 0] += chance[g] * (
                    np.where(self.zone < g, mean[self.up[:, g]], 0) + np.where(self.zone > g, mean[self.down[:, g]], 0)
                )
            quiet[:n] = moved + in_zone * (quiet[stay_up] @ ahead.T + quiet[stay_down] @ behind.T)
        return estimate


def _integrals_above(x):
    """Matrix that turns values at the nodes into integrals from each node to 1, exact for polynomials."""
    columns = []
    for j in range(len(x)):
        values = np.zeros(len(x))
        values[j] = 1
        whole = legendre.legint(legendre.legfit(x, values, len(x) - 1))
        columns.append(legendre.legval(1.0, whole) - legendre.legval(x, whole))
    return np.array(columns).T


def _chances(borders, shift):
    from scipy.special import ndtr

    below = ndtr(np.atleast_2d(np.asarray(borders, float)) - np.reshape(shift, (-1, 1)))
    ends = np.zeros((len(below), 1))
    return np.diff(np.concatenate([ends, below, ends + 1], axis=1), axis=1)


def build_chain(rules, reach):
    """Build the chain of a combination of rules.

    Parameters
    ----------
    rules : sequence of str
        Codes of :data:`qckit.charts.rules.RULES`.
    reach : dict
        Rule code -> dict with ``k`` or ``window`` in place of the textbook figures.

    Returns
    -------
    ZoneChain or StepChain

    Raises
    ------
    InputError
        The rules together have to remember too much.
    """
    parts, steps = _what_rules_remember(rules, reach)
    edges, zones = _zones(parts)
    if steps:
        return _step_chain(rules, edges, zones, parts, steps)
    index, after = {tuple(_start(part) for part in parts): 0}, []
    queue = list(index)
    for state in queue:
        row = []
        for z in zones:
            row.append(_enter(index, queue, _quiet_step(state, parts, z), rules))
        after.append(row)
    return ZoneChain(edges, np.array(after))


def build_marks(rules, reach) -> MarkChain:
    """Build the chain that says how many points a combination of rules marks; as :func:`build_chain`.

    A pattern that lasts marks every further point. Rules on steps are counted as if they never marked a point together
    with another.
    """
    parts, steps = _what_rules_remember(rules, reach)
    edges, zones = _zones(parts)
    index, after, fires = {tuple(_start(part) for part in parts): 0}, [], []
    queue = list(index)
    for state in queue:
        moves = [_step_all(state, parts, z) for z in zones]
        after.append([_enter(index, queue, onward, rules) for onward, _ in moves])
        fires.append([fired for _, fired in moves])
    of_steps = sum(float(false_alarm_rate(_ON_STEPS[shape], window=window)) for shape, window in steps.items())
    longest = max((window for _, _, window, _ in parts), default=0)
    return MarkChain(edges, np.array(after), np.array(fires), longest, of_steps)


def _zones(parts):
    """Borders of the zones that rules tell apart, and a value within each zone."""
    edges = tuple(sorted({0.0, *(s * k for _, k, _, _ in parts if k for s in (1, -1))}))
    return edges, [0.5 * (max(a, -99) + min(b, 99)) for a, b in itertools.pairwise([-math.inf, *edges, math.inf])]


def _step_chain(rules, edges, zones, parts, steps):
    index, queue, up, down = {}, [], [], []
    start = []
    for g, z in enumerate(zones):
        rule_state = _quiet_step(tuple(_start(part) for part in parts), parts, z)
        start.append(_enter(index, queue, None if rule_state is None else (rule_state, (0, 0, 0), g), rules))
    for rule_state, walk, g in queue:
        rows = {1: [-1] * len(zones), -1: [-1] * len(zones)}
        for side in (1, -1):
            onward = _walk(walk, side, steps)
            for h, z in enumerate(zones):
                if side * (h - g) < 0 or onward is None:
                    continue
                kept = _quiet_step(rule_state, parts, z)
                rows[side][h] = _enter(index, queue, None if kept is None else (kept, onward, h), rules)
        up.append(rows[1])
        down.append(rows[-1])
    return StepChain(edges, np.array(start), np.array([g for _, _, g in queue]), np.array(up), np.array(down))


def _enter(index, queue, state, rules):
    """Number of a state, new or known; -1 for none."""
    if state is None:
        return -1
    if state not in index:
        if len(index) >= MOST_STATES:
            raise InputError(
                f"rules: {', '.join(rules)} together have to remember more than {spaced(MOST_STATES)} states. "
                "Leave one out."
            )
        index[state] = len(index)
        if len(queue) < len(index):
            queue.append(state)
    return index[state]


def _what_rules_remember(rules, reach):
    """What each zone rule has to remember, (shape, k, window, need), and the windows of rules on steps."""
    parts, steps = [], {}
    for code in rules:
        rule, values = RULES[code], reach.get(code, {})
        window = int(values.get("window", rule.window))
        if rule.shape in _ON_STEPS:
            steps[rule.shape] = min(window, steps.get(rule.shape, window))
            continue
        need = window if rule.need == rule.window else rule.need
        parts.append((rule.shape, float(values.get("k", rule.k)), window, need))
    return parts, steps


def _walk(walk, side, steps):
    """New (direction, steps that way, steps that alternated) after a step up or down, or None where a rule fires."""
    direction, same, turned = walk
    same = same + 1 if direction == side else 1
    turned = turned + 1 if direction == -side else 1
    if same >= steps.get("trend", math.inf) - 1 or turned >= steps.get("alternating", math.inf) - 1:
        return None
    return (side, same if "trend" in steps else 0, turned if "alternating" in steps else 0)


def _step_all(state, parts, z):
    """New memory of all rules after the point z, and whether any of them fires."""
    after = [_step(rule_state, part, z) for rule_state, part in zip(state, parts, strict=True)]
    return tuple(onward for onward, _ in after), any(fires for _, fires in after)


def _quiet_step(state, parts, z):
    """New memory of all rules, or None where one fires."""
    after, fires = _step_all(state, parts, z)
    return None if fires else after


def _step(rule_state, part, z):
    """New memory of one rule after the point z, and whether it fires."""
    shape, k, window, need = part
    if shape in ("side", "within", "outside"):
        if shape == "side":
            side = 1 if z > 0 else -1
            count = rule_state[1] + 1 if rule_state[0] == side else 1
        else:
            side, hit = 0, abs(z) < k if shape == "within" else abs(z) > k
            count = rule_state[1] + 1 if hit else 0
        return (side, min(count, window)), count >= window
    after, fires = [], False
    for side, bits in ((1, rule_state[0]), (-1, rule_state[1])):
        hit = side * z > k
        fires = fires or (hit and sum(bits) + 1 >= need)
        kept = (*bits, int(hit))[-(window - 1) :] if window > 1 else ()
        # old points that can no longer help complete the pattern are forgotten, which keeps the chain small
        after.append(_trim(kept, window, need))
    return tuple(after), fires


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
