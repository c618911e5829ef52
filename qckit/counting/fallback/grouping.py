"""Pieces to objects: every sensible way of joining neighbouring pieces is judged by its looks, and the best set wins.

A piece may be a whole object, or a part of one that has a neck (an umbrella stage is an embryo hanging from its
shell). All connected sets of up to four pieces of a patch are candidates; the classifier says how likely each is
exactly one object; the division of the patch with the largest area-weighted likelihood is kept.
"""

from __future__ import annotations

import numpy as np

__all__ = ["best_division", "list_candidates"]

MOST_PIECES = 4
MOST_PER_PATCH = 1500
LARGEST_AREA_UM2 = 400_000.0  # a large nauplius with limbs covers half of this


def list_candidates(patch: np.ndarray, pairs: np.ndarray, area_um2: np.ndarray) -> list[tuple[int, ...]]:
    """List the connected sets of one to four pieces.

    Parameters
    ----------
    patch : (n + 1,) ndarray of int
    pairs : (k, 2) ndarray of int
        Pieces that touch.
    area_um2 : (n + 1,) ndarray
        [µm²]

    Returns
    -------
    list of tuple of int
        Each sorted; single pieces first, in order.

    Examples
    --------
    >>> counting.list_candidates(np.array([1, 1, 2]), np.array([[0, 1]]), np.array([900.0, 900.0, 900.0]))
    [(1,), (2,), (0, 1)]
    """
    neighbours: dict[int, list[int]] = {}
    for a, b in pairs.tolist():
        neighbours.setdefault(a, []).append(b)
        neighbours.setdefault(b, []).append(a)
    singles = [(i,) for i in range(1, len(patch))]
    found = list(singles)
    per_patch: dict[int, int] = {}
    layer = singles
    for _ in range(MOST_PIECES - 1):
        grown = set()
        for group in layer:
            area = sum(area_um2[p] for p in group)
            for other in {q for p in group for q in neighbours.get(p, ())} - set(group):
                if area + area_um2[other] <= LARGEST_AREA_UM2:
                    grown.add(tuple(sorted((*group, other))))
        layer = []
        for group in sorted(grown):
            patch_number = int(patch[group[0]])
            if per_patch.get(patch_number, 0) < MOST_PER_PATCH:
                per_patch[patch_number] = per_patch.get(patch_number, 0) + 1
                layer.append(group)
        found += layer
    return found


def best_division(
    candidates: list[tuple[int, ...]], quality: np.ndarray, area: np.ndarray, patch: np.ndarray
) -> np.ndarray:
    """Choose the candidates that together divide each patch best.

    Parameters
    ----------
    candidates : list of tuple of int, length m
    quality : (m,) ndarray
        Probability that the candidate is exactly one object.
    area : (m,) ndarray
        Its area.
    patch : (n + 1,) ndarray of int

    Returns
    -------
    (k,) ndarray of int
        Indices of the chosen candidates, no piece in two of them, sorted.

    Notes
    -----
    Maximises the sum of area times quality. Patches of up to ten pieces are solved exactly, larger ones greedily by
    quality and then improved by trying every candidate against those it would replace.

    Examples
    --------
    >>> one, both = (0,), (0, 1)
    >>> quality, area, patch = np.array([0.2, 0.2, 0.9]), np.array([50.0, 50, 100]), np.array([1, 1, 1])
    >>> counting.best_division([one, (1,), both], quality, area, patch).tolist()
    [2]
    """
    value = np.asarray(quality, float) * np.asarray(area, float)
    homes: dict[int, list[int]] = {}
    for i, group in enumerate(candidates):
        homes.setdefault(int(patch[group[0]]), []).append(i)
    chosen: list[int] = []
    for members in homes.values():
        if len(members) == 1:
            chosen += members
            continue
        sets = [frozenset(candidates[i]) for i in members]
        values = value[members]
        n_pieces = len(frozenset().union(*sets))
        best = _exact(sets, values) if n_pieces <= 10 else _greedy(sets, values)
        chosen += [members[k] for k in best]
    return np.array(sorted(chosen), np.int64)


def _exact(sets, values) -> list[int]:
    """Best division by dynamic programming over subsets of pieces."""
    pieces = sorted(frozenset().union(*sets))
    bit = {p: 1 << i for i, p in enumerate(pieces)}
    masks = [sum(bit[p] for p in s) for s in sets]
    by_lowest: dict[int, list[int]] = {}
    for k, mask in enumerate(masks):
        by_lowest.setdefault(mask & -mask, []).append(k)
    memo: dict[int, tuple[float, tuple[int, ...]]] = {0: (0.0, ())}

    def solve(left: int):
        if left in memo:
            return memo[left]
        best = (-1.0, ())
        for k in by_lowest.get(left & -left, ()):
            if masks[k] & left == masks[k]:
                rest = solve(left & ~masks[k])
                if values[k] + rest[0] > best[0]:
                    best = (values[k] + rest[0], (k, *rest[1]))
        memo[left] = best
        return best

    return list(solve((1 << len(pieces)) - 1)[1])


def _greedy(sets, values) -> list[int]:
    """Start from single pieces; take the exchange that gains most until none gains."""
    owner = {}
    current: dict[int, float] = {}
    for k, s in enumerate(sets):
        if len(s) == 1:
            owner[next(iter(s))] = k
            current[k] = values[k]
    single = dict(owner)
    for _ in range(len(sets)):
        best_gain, best_k = 1e-9, -1
        for k, s in enumerate(sets):
            if k in current:
                continue
            replaced = {owner[p] for p in s}
            freed = frozenset().union(*(sets[r] for r in replaced)) - s
            gain = values[k] + sum(values[single[p]] for p in freed) - sum(values[r] for r in replaced)
            if gain > best_gain:
                best_gain, best_k = gain, k
        if best_k < 0:
            break
        s = sets[best_k]
        replaced = {owner[p] for p in s}
        freed = frozenset().union(*(sets[r] for r in replaced)) - s
        for r in replaced:
            current.pop(r, None)
        for p in freed:
            owner[p] = single[p]
            current[single[p]] = values[single[p]]
        for p in s:
            owner[p] = best_k
        current[best_k] = values[best_k]
    return sorted(current)
