"""How well each cause, alone or with another, explains one hatch: likelihoods and their normalised weights."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from qckit.verdicts.poor_hatch.causes import CAUSES, STRENGTHS, moves
from qckit.verdicts.poor_hatch.later import joined
from qckit.verdicts.poor_hatch.usual import Usual

__all__ = ["Clue", "Looks", "Weighing", "Weights", "stated", "weigh_causes"]

# Prior weights and tails below are ours; the calibration in tests/benchmarks checks what they lead to.
_PRIOR_NONE, _PRIOR_ONE, _PRIOR_TWO, _PRIOR_OTHER = 0.30, 0.52, 0.12, 0.06
_T_DF = 7.0  # tails of the figures: hatches stray further than a normal law says
_TRACE_SD = np.array([0.20, 0.32, 0.09, 0.05])  # the traces are only roughly known
_OTHER_SD = np.array([1.2, 1.2, 0.5, 0.4])  # "something else" may do anything
_CAUTION = 0.8  # power on all weights: traces and readings are less independent than the sum of logs takes them for
_PAIR_STRENGTHS = (0.1, 0.25, 0.5, 0.8)


# weight -> how often a cause of that weight was there, from 1,000 simulated hatches (seeds 2026 and 77 of the
# calibration in tests/benchmarks, smoothed by eye); checked on other seeds
_WEIGHT = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.91, 0.985, 1.0)
_FOUND_TRUE = (0.0, 0.025, 0.16, 0.44, 0.60, 0.77, 0.84, 0.96, 0.98)


def stated(weight: float) -> float:
    """Turn a weight into the probability that is stated: how often causes of that weight proved true."""
    return float(np.interp(weight, _WEIGHT, _FOUND_TRUE))


@dataclass(frozen=True)
class Looks:
    """A hatch as the likelihood sees it: four figures with their covariance, and how uneven its subsamples are.

    Unevenness comes in two kinds: of all full cysts (the water was not mixed) and of the nauplii among them (light had
    drawn them to one side).
    """

    figures: np.ndarray
    covariance: np.ndarray
    chi2: float = np.nan
    df: int = 0
    expected_per_subsample: float = 100.0
    share_chi2: float = np.nan  # of the nauplii among the full cysts, same df
    share: float = 0.85  # nauplii per full cyst


@dataclass(frozen=True)
class Clue:
    """What a reading says of one cause.

    ``factor`` multiplies the cause's weight; ``loss`` is the loss the reading should cost (None: it says nothing of
    the size) and ``vague`` the standard deviation of that on the logit scale.
    """

    factor: float = 1.0
    loss: float | None = None
    vague: float = 1.2


@dataclass(frozen=True)
class Weights:
    """Normalised weights of all explanations."""

    none: float
    other: float
    single: dict  # cause -> weight alone
    pairs: dict  # (cause, cause) -> weight together
    strength: dict  # cause -> expected loss where it acts
    trace: dict  # trace -> log likelihood of the stage mix alone, best strength

    def of(self, code: str) -> float:
        """Weight of a cause, alone or with another."""
        return self.single[code] + sum(w for pair, w in self.pairs.items() if code in pair)

    def ranked(self) -> list[tuple[str, float]]:
        """All causes by weight, largest first; equal weights keep the list's order."""
        return sorted(((c.code, self.of(c.code)) for c in CAUSES), key=lambda item: -item[1])


def weigh_causes(looks: Looks, usual: Usual, clues: dict, siblings=(), prior: dict | None = None) -> Weights:
    """Weigh every explanation of a hatch.

    Parameters
    ----------
    looks : Looks
        The hatch in question.
    usual : Usual
        What is usual for its lot.
    clues : dict of str to Clue
        What readings, notes and flags say of each cause.
    siblings : sequence of (Looks, Usual, bool)
        Other hatches of the same day, what is usual for their lots, and whether it is the same lot.
    prior : dict of str to float, optional
        Factor on a cause's prior weight, such as from a check that was made.

    Returns
    -------
    Weights
        All weights add up to 1.
    """
    prior = prior or {}
    parts = _Parts(looks, usual, siblings)
    log_w, loss = {}, {}
    log_w["none"] = np.log(_PRIOR_NONE) + parts.fit(np.eye(4)[None])[0] + parts.even + parts.siblings_usual
    log_w["other"] = np.log(_PRIOR_OTHER) + parts.fit_other() + parts.spread_any + parts.siblings_usual
    grids = {c.code: _grid(c, clues.get(c.code, Clue()), STRENGTHS) for c in CAUSES}
    coarse = {c.code: _grid(c, clues.get(c.code, Clue()), _PAIR_STRENGTHS, thin=True) for c in CAUSES}
    base = {}
    for c in CAUSES:
        base[c.code] = np.log(c.prior * prior.get(c.code, 1.0) * clues.get(c.code, Clue()).factor)
    n = sum(c.prior for c in CAUSES)
    for c in CAUSES:
        matrices, weight, strength = grids[c.code]
        logs = parts.fit(matrices, uneven=c.code == "uneven") + np.log(weight)
        spread = parts.spread((c.code,))
        logs = logs + parts.siblings(c, matrices)
        top = logs.max()
        share = np.exp(logs - top)
        loss[c.code] = float((share * strength).sum() / share.sum())
        log_w[c.code] = np.log(_PRIOR_ONE / n) + base[c.code] + top + np.log(share.sum()) + spread
    n_pairs = len(CAUSES) * (len(CAUSES) - 1) / 2
    for a, b in combinations(CAUSES, 2):
        log_w[(a.code, b.code)] = np.log(_PRIOR_TWO / n_pairs) + base[a.code] + base[b.code] + parts.pair(a, b, coarse)
    return _normalised(log_w, loss, _traces(parts))


@dataclass(frozen=True)
class Weighing:
    """Everything that the causes of one hatch are weighed by, so that a check's outcome can be tried beforehand."""

    looks: Looks
    usual: Usual
    clues: dict  # cause -> Clue
    siblings: tuple
    prior: dict  # cause -> factor, of what is known beside the checks
    outcomes: dict  # cause -> factor, of the checks that were made

    def weights(self, further: dict | None = None) -> Weights:
        """Weigh the causes by the checks that were made and, where given, by further outcomes (cause -> factor)."""
        outcomes = joined(self.outcomes, further or {})
        # a check that found otherwise takes back what the reading that it repeated had told of this cause
        clues = {
            code: Clue() if outcomes.get(code, 1.0) < 1 and clue.factor > 1 else clue
            for code, clue in self.clues.items()
        }
        return weigh_causes(self.looks, self.usual, clues, self.siblings, joined(outcomes, self.prior))


def _normalised(log_w, loss, trace):
    top = max(log_w.values())
    total = sum(np.exp(_CAUTION * (v - top)) for v in log_w.values())
    w = {k: float(np.exp(_CAUTION * (v - top)) / total) for k, v in log_w.items()}
    return Weights(
        none=w["none"],
        other=w["other"],
        single={c.code: w[c.code] for c in CAUSES},
        pairs={k: v for k, v in w.items() if isinstance(k, tuple)},
        strength=loss,
        trace=trace,
    )


def _traces(parts):
    """Log likelihood of the stage mix under each trace at its best strength, and under no change."""
    found = {"same": float(parts.fit(np.eye(4)[None])[0])}
    for c in CAUSES:
        if c.trace not in found:
            found[c.trace] = float(max(parts.fit(moves(c.trace, k)).max() for k in STRENGTHS))
    found["fits none"] = float(parts.fit_other())
    return found


def _grid(c, clue, strengths, thin=False):
    """Matrices of one cause over strengths, their weights (add up to 1) and strengths, given what a reading says."""
    made, weights, sizes = [], [], []
    for k in strengths:
        ways = moves(c.trace, k)
        ways = ways[:1] if thin else ways
        w = 1.0
        if clue.loss is not None:
            away = (_logit(k) - _logit(clue.loss)) / clue.vague
            w = np.exp(-0.5 * away**2)
        made.extend(ways)
        weights.extend([w / len(ways)] * len(ways))
        sizes.extend([k] * len(ways))
    weights = np.array(weights) + 1e-12
    return np.array(made), weights / weights.sum(), np.array(sizes)


def _logit(share):
    share = min(max(share, 0.01), 0.99)
    return np.log(share / (1 - share))


class _Parts:
    """The pieces of the likelihood that all causes share."""

    def __init__(self, looks, usual, siblings):
        self.looks, self.usual = looks, usual
        self.sibs = [(s, u, same) for s, u, same in siblings if np.isfinite(u.mean).any()]
        self.siblings_usual = sum(_fit(s, u, np.eye(4)[None])[0] for s, u, _ in self.sibs)
        mixed, unmixed = _spreads(looks.chi2, looks, usual.mixing_cv, looks.expected_per_subsample)
        weight = looks.expected_per_subsample * looks.share * (1 - looks.share)
        self._unlit, self._lit = _spreads(looks.share_chi2, looks, usual.light_cv, weight)
        self._mixed, self._unmixed = mixed, unmixed
        self.even = mixed + self._unlit
        self.spread_any = float(np.logaddexp(mixed, unmixed) + np.logaddexp(self._unlit, self._lit) - 2 * np.log(2))
        self._uneven_looks = _noisier(looks, 0.3)

    def spread(self, codes):
        """Log density of how uneven the subsamples are under some causes together."""
        either = float(np.logaddexp(self._mixed, self._unmixed) - np.log(2))
        whole = self._unmixed if "uneven" in codes else either if "unwetted" in codes else self._mixed
        return whole + (self._lit if "gradient" in codes else self._unlit)

    def fit(self, matrices, *, uneven=False):
        return _fit(self._uneven_looks if uneven else self.looks, self.usual, matrices)

    def fit_other(self):
        wide = self.looks.covariance + self.usual.between + np.diag(_OTHER_SD**2)
        return float(_log_t((self.looks.figures - self.usual.mean)[None], wide[None])[0])

    def siblings(self, c, matrices):
        """Log likelihood of the day's other hatches: usual, or touched by the same cause."""
        total = np.zeros(len(matrices))
        for looks, usual, same_lot in self.sibs:
            chance = c.shared if c.reach == "room" or same_lot else 0.02
            touched = _fit(looks, usual, matrices)
            alone = _fit(looks, usual, np.eye(4)[None])[0]
            total = total + np.logaddexp(np.log(1 - chance) + alone, np.log(chance) + touched)
        return total

    def pair(self, a, b, grids):
        """Log likelihood of two causes together."""
        ma, wa, _ = grids[a.code]
        mb, wb, _ = grids[b.code]
        both = np.einsum("aij,bjk->abik", ma, mb).reshape(-1, 4, 4)
        weight = (wa[:, None] * wb[None, :]).ravel()
        uneven = "uneven" in (a.code, b.code)
        logs = self.fit(both, uneven=uneven) + np.log(weight)
        own = np.repeat(self.siblings(a, ma), len(mb)) + np.tile(self.siblings(b, mb), len(ma)) - self.siblings_usual
        logs = logs + own
        return float(np.logaddexp.reduce(logs)) + self.spread((a.code, b.code))


def _fit(looks, usual, matrices):
    """Log likelihood of a hatch's figures when the usual mix is changed by each matrix, shape (m,)."""
    mix = np.maximum(matrices @ usual.mix, 1e-4)
    n, u, c, s = mix.T
    before = usual.mix
    change = np.stack(
        [
            np.log((n + u) / c),
            np.log(n / u),
            np.log(s / (n + u)),
            np.log((n + u + c) / before[:3].sum()) + usual.mean[3],
        ],
        axis=1,
    )
    shift = np.abs(change - usual.mean)
    soft = np.where(shift > 0.02, _TRACE_SD**2 * np.minimum(1.0, shift / 0.5), 0.0)
    base = looks.covariance + usual.between
    return _log_t(looks.figures - change, base + soft[:, :, None] * np.eye(4))


def _noisier(looks, cv):
    more = looks.covariance.copy()
    more[3, 3] += cv**2 / max(looks.df + 1, 1)
    return replace(looks, covariance=more)


def _log_t(away, covariance):
    """Log densities of multivariate t laws, (m, 4) and (m, 4, 4) -> (m,); missing figures are left out."""
    from scipy.special import gammaln

    seen = np.isfinite(away).all(axis=0)
    d = int(seen.sum())
    if d == 0:
        return np.zeros(len(away))
    x, cov = away[:, seen], covariance[:, seen][:, :, seen]
    logdet = np.linalg.slogdet(cov)[1]
    distance = (x * np.linalg.solve(cov, x[..., None])[..., 0]).sum(axis=1)
    return (
        gammaln((_T_DF + d) / 2)
        - gammaln(_T_DF / 2)
        - d / 2 * np.log(_T_DF * np.pi)
        - logdet / 2
        - (_T_DF + d) / 2 * np.log1p(distance / _T_DF)
    )


def _spreads(chi_square, looks, usual_cv, weight):
    """Log densities of the subsamples' chi-square when they are as even as usual, and when they are not."""
    usual = _spread_log(chi_square, looks.df, usual_cv, weight)
    bad = [_spread_log(chi_square, looks.df, cv, weight) for cv in (0.15, 0.22, 0.3, 0.4, 0.5)]
    return usual, float(np.logaddexp.reduce(bad) - np.log(len(bad)))


def _spread_log(chi_square, df, cv, weight):
    """Log density of a chi-square whose excess is ``weight`` times the squared CV, by a scaled chi-square law."""
    from scipy.stats import chi2

    if not df or not np.isfinite(chi_square):
        return 0.0
    scale = 1.0 + cv**2 * weight
    return float(chi2.logpdf(max(chi_square, 1e-3) / scale, df) - np.log(scale))
