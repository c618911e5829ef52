"""Weights of all explanations of a hatch: after an answer, and as the probability that is stated."""

from __future__ import annotations

import math
from dataclasses import dataclass

from qckit.quantities import WATER
from qckit.verdicts.poor_hatch.causes import CAUSES, cause

__all__ = ["Weights", "stated"]


@dataclass(frozen=True)
class Weights:
    """Normalised weights of all explanations."""

    none: float
    other: float
    single: dict  # cause -> weight alone
    pairs: dict  # (cause, cause) -> weight together
    strength: dict  # cause -> expected loss where it acts

    def of(self, code: str) -> float:
        """Weight of a cause, alone or with another."""
        return self.single[code] + sum(w for pair, w in self.pairs.items() if code in pair)

    def ranked(self) -> list[tuple[str, float]]:
        """All causes by weight, largest first; equal weights keep the list's order."""
        return sorted(((c.code, self.of(c.code)) for c in CAUSES), key=lambda item: -item[1])

    def stated(self, code: str) -> float:
        """Probability that is stated of a cause: never more than that of one with more weight.

        Where :func:`stated` would turn the order round, those concerned share their mean (pool adjacent violators: Ayer
        and others 1955, Annals of Mathematical Statistics 26:641-647).
        """
        pools: list[tuple[list[str], float]] = []
        for name, weight in self.ranked():
            names, p = [name], stated(weight, name)
            while pools and pools[-1][1] < p:
                before, q = pools.pop()
                p = (len(before) * q + len(names) * p) / (len(before) + len(names))
                names = before + names
            pools.append((names, p))
        return next(p for names, p in pools if code in names)

    def stated_pair(self, pair: tuple[str, str]) -> float:
        """Probability that is stated of two causes together: of each of them no greater a share than by the weights."""
        weight = self.pairs.get(pair, 0.0)
        return min(self.stated(c) * weight / self.of(c) for c in pair) if weight > 0 else 0.0

    @property
    def chance(self) -> float:
        """Probability that is stated of chance alone: never more than the likeliest cause leaves."""
        return min(self.none, 1.0 - self.stated(self.ranked()[0][0]))

    @property
    def beyond(self) -> float:
        """Probability that is stated of something that is not on the list: what cause and chance leave, at most."""
        return max(0.0, min(self.other, 1.0 - self.stated(self.ranked()[0][0]) - self.chance))

    def after(self, likelihood) -> Weights:
        """Return the weights after an answer.

        Parameters
        ----------
        likelihood : callable
            Tuple of causes (empty: none) -> how likely the answer is then, or None where the answer may be either:
            it is taken as likely as over all others, and as one in two at least, so that it never weakens them.

        Notes
        -----
        An answer that speaks against one cause of a pair does not speak against the other: a cause that loses only by
        its pairs is given back alone what it had before the answer.
        """
        keys = [((), self.none), *(((c,), w) for c, w in self.single.items()), *self.pairs.items()]
        likelihoods = [(k, w, likelihood(k)) for k, w in keys]
        answered = sum(w for _, w, p in likelihoods if p is not None)
        mean = sum(w * p for _, w, p in likelihoods if p is not None) / answered if answered > 0 else 1.0
        new = {k: w * (max(mean, 0.5) if p is None else p) for k, w, p in likelihoods}
        new["other"] = self.other * mean
        chance, alone = likelihood(()), {c: likelihood((c,)) for c in self.single}
        against = {c for c, p in alone.items() if p is not None and chance is not None and p < chance}
        total = self._give_back(new, [c for c in self.single if c not in against] if against else [])
        if not total > 0:
            return self
        return Weights(
            new[()] / total,
            new["other"] / total,
            {c: new[(c,)] / total for c in self.single},
            {k: new[k] / total for k in self.pairs},
            self.strength,
        )

    def _give_back(self, new, spared) -> float:
        """Raise causes in ``new`` that fell only with their pairs to the share that they had; return the new total."""
        total = sum(new.values())
        key_of = {c: (c,) for c in spared}
        pairs = {c: [k for k in self.pairs if c in k] for c in spared}
        for _ in range(30 if total > 0 else 0):
            raised = False
            for c in spared:
                share = min(self.of(c), 1 - 1e-9)
                lacking = share * total - new[key_of[c]] - sum(new[k] for k in pairs[c])
                if lacking > 1e-12 * total:
                    given = lacking / (1 - share)
                    new[key_of[c]] += given
                    total, raised = total + given, True
            if not raised:
                break
        return total


def stated(weight: float, code: str) -> float:
    """Turn a weight into the probability that is stated: how often causes of that weight proved true.

    Parameters
    ----------
    weight : float
    code : str
        The cause.

    Notes
    -----
    Two numbers on the logit scale (Platt 1999, in Advances in Large Margin Classifiers, from memory), by how a cause is
    known. Causes of the water hold embryos back alike and are told apart by single readings, so that several of them
    share what one deserves: their weights are bold. A bad lot and a wrong mass or volume leave their mark on every
    hatch of the lot, or on every stage alike, and what strays with them is taken as wide: theirs are shy. Fitted to the
    causes that 1300 practice rooms listed and checked on other rooms and on histories made apart
    (tests/benchmarks/POOR_HATCH.md).
    """
    if not 0.0 < weight < 1.0:
        return min(max(weight, 0.0), _MOST_STATED)
    offset, slope = _CURVES[_known_by(code)]
    odds = math.exp(offset) * (weight / (1.0 - weight)) ** slope
    return min(odds / (1.0 + odds), _MOST_STATED)


def _known_by(code):
    """By what a cause is known: readings of the water, the lot or the whole amount, or neither."""
    item = cause(code)
    if item.reading is not None and item.reading.quantity in WATER:
        return "water"
    return "whole" if item.of_lot or item.trace.kind == "short" else "else"


_CURVES = {"water": (0.04, 1.17), "whole": (3.33, 2.28), "else": (0.71, 1.10)}  # offset and slope of the logit
_MOST_STATED = 0.99  # nothing that was counted is surer
