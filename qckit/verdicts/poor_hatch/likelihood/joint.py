"""How well each cause, alone or with another, explains a hatch, its siblings and its lot together.

Every explanation is a small generative model: a lot drawn from what was to be expected of it (``lot.py``), a hatch
drawn from the lot, a cause of unknown strength and trace acting on one hatch or on the whole lot, readings that stray
accordingly (``readings.py``), and several looks at the same hatch (``looks.py``). What is not known is averaged over by
draws; the figures follow t laws, so that no single one decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from qckit.log_odds import expit
from qckit.verdicts.lots.usual import Usual
from qckit.verdicts.poor_hatch.causes import CAUSES, cause, sampling_causes
from qckit.verdicts.poor_hatch.likelihood.densities import either, log_t, spreads
from qckit.verdicts.poor_hatch.likelihood.lot import World
from qckit.verdicts.poor_hatch.likelihood.stage_mix import (
    Draws,
    act,
    draws_of,
    figures_of,
    later_mix,
    plain_draws,
    without_umbrella,
)
from qckit.verdicts.poor_hatch.likelihood.weights import Weights
from qckit.verdicts.poor_hatch.looks import Look

__all__ = ["PRIORS", "Given", "trace_fits", "weigh"]

PRIORS = {"none": 0.42, "one": 0.45, "two": 0.09, "other": 0.04}
"""What is assumed before looking, of a hatch that somebody asks about (ours); the calibration checks where it leads."""

_HATCH_DF, _LOT_DF = 6.0, 10.0  # tails of the figures: hatches and lots stray further than a normal law says
_TRACE_SD = np.array([0.08, 0.15, 0.06, 0.03])  # what the traces leave out
_OTHER_SD = np.array([1.2, 1.2, 0.5, 0.4])  # "something else" may do anything
_POOR_BESIDE = 0.04  # of a hatch beside it, which may be poor for a reason of its own (ours)
_BESIDE_SD = 0.3  # how differently (log) a cause strikes the hatches of a day (ours)
_CHANGED = 0.1  # of wrong amounts: two portions changed places (ours)
_AMOUNT = np.array([0.0, 0.0, 0.0, 1.0])  # the figure that an amount moves
_WITHOUT_UMBRELLA = np.array([1.0, 0.0, 1.0, 1.0])  # figures that are known where umbrella stages are not counted
_SAME_CHANCE = 0.85  # share of the chance that two counts of the same drops have in common (ours)
# of cysts never wetted: some lay settled, so that the drops differ; those on the wall leave the rest mixed (ours)
_SETTLED = 0.2
_PAIRS_OF = 9  # causes that are tried in pairs, the likeliest
_CAUTION = 0.9  # power on all weights: traces and readings hang together more than a product takes them to


@dataclass(frozen=True)
class Given:
    """All that the causes of one hatch are weighed by."""

    looks: list[Look]
    usual: Usual
    world: World
    ratios: dict = field(default_factory=dict)  # cause -> quantity -> log likelihood ratio for every draw
    factors: dict = field(default_factory=dict)  # cause -> factor of words, flags, lengths, age
    siblings: tuple = ()  # (Look, Usual where it stood, same lot, this hatch's grams over its own)
    standing: np.ndarray = field(default_factory=lambda: np.zeros(4))  # of the hatch's cone and operator


def weigh(given: Given) -> Weights:
    """Weigh every explanation of a hatch.

    Parameters
    ----------
    given : Given

    Returns
    -------
    Weights
        All weights add up to 1.
    """
    parts = _Parts(given)
    n = sum(c.prior for c in CAUSES)
    plain = parts.of_draws(plain_draws(), ())
    log_w = {(): math.log(PRIORS["none"]) + _mean(plain) + parts.even + parts.lot_alone}
    log_other = math.log(PRIORS["other"]) + parts.other() + parts.any_spread + parts.lot_alone
    singles, strength = {}, {}
    for c in CAUSES:
        d = draws_of(c)
        logs = parts.of_draws(d, (c.code,)) + sum(given.ratios.get(c.code, {}).values())
        lot = parts.lot(d) if c.of_lot else np.full(d.n, parts.lot_alone)
        singles[c.code] = d, lot
        share = np.exp(logs + lot - (logs + lot).max())
        strength[c.code] = float((share * d.loss).sum() / share.sum())
        prior = math.log(PRIORS["one"] * c.prior / n) + math.log(given.factors.get(c.code, 1.0))
        log_w[(c.code,)] = prior + _mean(logs + lot) + parts.spread((c.code,))
    likely = sorted(CAUSES, key=lambda c: -_for_pairs(c, log_w, given))[:_PAIRS_OF]
    for a, b in combinations([c for c in CAUSES if c in likely], 2):
        prior = math.log(PRIORS["two"] * 2 * a.prior * b.prior / n**2)
        prior += sum(math.log(given.factors.get(c.code, 1.0)) for c in (a, b))
        log_w[(a.code, b.code)] = prior + parts.pair(a, b, singles) + parts.spread((a.code, b.code))
    return _normalised(log_w, log_other, strength)


def _for_pairs(c, log_w, given):
    """What makes a cause worth trying in pairs: its weight alone, or what readings and words say of it."""
    clue = math.log(given.factors.get(c.code, 1.0)) + float(np.max(sum(given.ratios.get(c.code, {}).values())))
    return log_w[(c.code,)] + max(clue, 0.0)


def _normalised(log_w, log_other, strength):
    top = max(log_other, *log_w.values())
    w = {k: math.exp(_CAUTION * (v - top)) for k, v in log_w.items()}
    other = math.exp(_CAUTION * (log_other - top))
    total = sum(w.values()) + other
    return Weights(
        w[()] / total,
        other / total,
        {k[0]: v / total for k, v in w.items() if len(k) == 1},
        {k: v / total for k, v in w.items() if len(k) == 2},
        strength,
    )


def _mean(logs):
    return float(np.logaddexp.reduce(logs) - math.log(len(logs)))


class _Parts:
    """The pieces of the likelihood that all causes share."""

    def __init__(self, given: Given):
        self.given, self.usual, w = given, given.usual, given.world
        known = np.isfinite(w.level)
        level_variance = np.where(np.isfinite(w.level_sd), w.level_sd, 1e3) ** 2
        self.weight = np.where(
            known, w.sd**2 / (w.sd**2 + level_variance), 0.0
        )  # of the lot's own level in what is usual
        self.centre = self.weight * np.where(known, w.level, 0.0) + (1 - self.weight) * w.expected + given.standing
        vague = np.diag(np.where(known, w.sd**2 * level_variance / (w.sd**2 + level_variance), w.sd**2))
        self.shared = given.usual.between + vague
        self.lot_alone = float(self._lot_fit(np.zeros((1, 4)))[0])
        first = given.looks[0]
        per = first.full / max(first.counts["n_subsamples"], 1)
        share = first.counts["nauplii"] / max(first.full, 1.0)
        self._mixed, self._unmixed = spreads(first.chi2, first.df, self.usual.mixing_cv, per)
        self._unlit, self._lit = spreads(first.share_chi2, first.df, self.usual.light_cv, per * share * (1 - share))
        self.even = self._mixed + self._unlit
        self.any_spread = either(self._mixed, self._unmixed) + either(self._unlit, self._lit)

    def spread(self, codes):
        """Log density of how uneven the subsamples are under some causes together."""
        whole = self._mixed
        if "uneven" in codes:
            whole = either(self._mixed, self._unmixed)
        elif "unwetted" in codes:
            whole = either(self._mixed, self._unmixed, _SETTLED)
        light = self._lit if "gradient" in codes else self._unlit
        return whole + (either(self._unlit, self._lit) if "uneven" in codes else light)

    def usual_figures(self, moved):
        """Figures of a usual hatch, shape (n, 4), where the lot stands ``moved`` from what was to be expected of it."""
        return self.centre + (1 - self.weight) * moved

    def _lot_fit(self, moved):
        """Log likelihood of the lot's own level, and of its drift, where it stands ``moved`` from the expected."""
        w = self.given.world
        known = np.isfinite(w.judged) & np.isfinite(w.level_sd)
        if not known.any():
            return np.zeros(len(moved))
        sd = np.hypot(w.sd, np.where(known, w.level_sd, 0.0))
        away = np.where(known, (np.where(known, w.judged, 0.0) - w.expected) - moved, np.nan)
        return log_t(away, np.diag(sd**2), _LOT_DF)

    def lot(self, d: Draws):
        """Log likelihood of the lot's level when a cause acts on the whole lot, from its first day or since."""
        w = self.given.world
        moved = self._moved(d)
        from_first = self._lot_fit(moved)
        if w.drift is None:
            return from_first
        cov = np.diag(w.drift_sd**2)
        still = log_t(w.drift[None], cov, _LOT_DF)[0]
        since = log_t(w.drift - moved, cov, _LOT_DF) - still
        return np.logaddexp(math.log(0.7) + from_first, math.log(0.3) + self.lot_alone + since)

    def _moved(self, d):
        """How far a cause of the whole lot moves its figures, shape (n, 4)."""
        mix = np.broadcast_to(_mix(self.given.world.expected[None]), (d.n, 4))
        changed = act(d, mix)[0]
        if self.given.looks[0].has_umbrella:
            return figures_of(changed) - figures_of(mix)
        moved = figures_of(without_umbrella(d, changed)) - figures_of(without_umbrella(d, mix))
        return moved * _WITHOUT_UMBRELLA

    def of_draws(self, d: Draws, codes: tuple):
        """Log likelihood of all looks at the hatch, and of its siblings, for every draw, shape (n,)."""
        of_lot = bool(codes) and cause(codes[0]).of_lot
        usual = self.usual_figures(self._moved(d) if of_lot else np.zeros((d.n, 4)))
        acting = plain_draws(d.n) if of_lot else d
        figures = self.expected([(acting, () if of_lot else codes)], usual)
        logs = self.fit(figures, usual)
        return logs + self._siblings([] if of_lot else [(codes, d)], d.n)

    def expected(self, acting, usual):
        """Figures of every look, shape (n, 4 looks), when causes act one after another on the usual hatch."""
        found = []
        base = _mix(usual)
        for look in self.given.looks:
            mix, kept_back = base, np.zeros((len(base), 2))
            last = acting[-1][0]
            for d, codes in acting:
                mix, more = act(d, mix, _repeated(d, codes, look))
                kept_back = kept_back + more
            if look.kind == "later":
                mix = later_mix(last, mix, kept_back, (look.hours - self.given.looks[0].hours) / 24.0)
            found.append(_counted(last, mix, look, usual))
        return np.concatenate(found, axis=1)

    def fit(self, figures, usual):
        looks = self.given.looks
        observed = np.concatenate([look.figures for look in looks])
        cov = np.kron(np.ones((len(looks), len(looks))), self.shared)
        for i, look in enumerate(looks):
            block = slice(4 * i, 4 * i + 4)
            if look.gap is not None:  # what this site's drops that were counted twice say of a second count
                cov[block, block] += looks[0].covariance + look.gap
                cov[:4, block] += looks[0].covariance
                cov[block, :4] += looks[0].covariance
                continue
            cov[block, block] += look.covariance + look.extra
            if look.same_drops:  # the same drops: most of the chance in the first counts is in these too
                both = _SAME_CHANCE * looks[0].covariance
                cov[:4, block] += both
                cov[block, :4] += both
        changed = np.abs(figures[:, :4] - usual).max(axis=1) > 0.01
        soft = np.diag(np.tile(_TRACE_SD, len(looks)) ** 2)
        with_soft = log_t(observed - figures, cov + soft, _HATCH_DF)
        return with_soft if changed.all() else np.where(changed, with_soft, log_t(observed - figures, cov, _HATCH_DF))

    def other(self):
        """Log likelihood of the first look when something that is not on the list acted."""
        look = self.given.looks[0]
        wide = self.shared + look.covariance + np.diag(_OTHER_SD**2)
        away = look.figures - self.centre
        rest = 0.0
        if len(self.given.looks) > 1:  # the other looks are taken as they are under no cause, given the first
            plain = plain_draws()
            usual = self.usual_figures(np.zeros((plain.n, 4)))
            figures = self.expected([(plain, ())], usual)
            both = _mean(self.fit(figures, usual))
            alone = _mean(log_t(look.figures - figures[:, :4], self.shared + look.covariance, _HATCH_DF))
            rest = max(both - alone, -6.0)
        return float(log_t(away[None], wide, _HATCH_DF)[0]) + rest

    def _siblings(self, acting, n):
        """Log likelihood of the day's other hatches against being usual: usual, or touched by the same cause.

        It may also be poor for a reason of its own, or have got the grams that this one lacks.
        """
        total = np.zeros(n)
        for i, (look, usual, same_lot, grams) in enumerate(self.given.siblings):
            if not np.isfinite(usual.mean).any():
                continue
            cov = usual.between * (1 + 1 / usual.n_hatches) + look.covariance
            mean = np.where(np.isfinite(usual.mean), usual.mean, self.given.world.expected)[None]
            usual_fit = log_t(look.figures - mean, cov, _HATCH_DF)[0]
            poor_fit = log_t(look.figures - mean, cov + np.diag(_OTHER_SD**2), _HATCH_DF)[0]
            alone = np.logaddexp(math.log(1 - _POOR_BESIDE) + usual_fit, math.log(_POOR_BESIDE) + poor_fit)
            soft = cov + np.diag(_TRACE_SD**2)

            def against_usual(figures, away=look.figures, soft=soft, alone=alone):
                return log_t(away - figures, soft, _HATCH_DF) - alone

            left, touched = 0.0, np.full(n, -np.inf)  # log chances: none of the causes strikes it, or one of them
            for codes, d in acting:
                if codes:
                    item = cause(codes[0])
                    chance = item.shared if item.reach == "room" or same_lot else 0.02
                    ratio = math.log(chance) + against_usual(_struck(_as_met_beside(d, i), look, mean))
                    if item.code == "amount":  # what this one lacks may have gone into that one
                        more = mean + np.log1p(d.loss * grams)[:, None] * _AMOUNT
                        ratio = np.logaddexp(ratio, math.log(_CHANGED) + against_usual(more))
                        chance = chance + _CHANGED
                    touched, left = np.logaddexp(touched, left + ratio), left + math.log(1 - chance)
            total = total + np.logaddexp(left, touched)
        return total

    def _pair_ratio(self, a, b, db):
        """Log likelihood ratio of the readings under two causes: one that both would move is counted once."""
        one = self.given.ratios.get(a, {})
        two = {q: v[db.order] for q, v in self.given.ratios.get(b, {}).items()}
        total = np.zeros(db.n)
        for q in {*one, *two}:
            total = total + (np.maximum(one[q], two[q]) if q in one and q in two else one.get(q, two.get(q)))
        return total

    def pair(self, a, b, singles):
        """Log likelihood of two causes together; of a cause of the lot and one of the hatch, each where it belongs."""
        (da, lot_a), (db, lot_b) = singles[a.code], singles[b.code]
        db = _reordered(db)
        logs = self._pair_ratio(a.code, b.code, singles[b.code][0])
        moved, acting = np.zeros((da.n, 4)), []
        for item, d in ((a, da), (b, db)):
            if item.of_lot:
                moved = moved + self._moved(d)
            else:
                acting.append((d, (item.code,)))
        if a.of_lot and b.of_lot:
            logs = logs + self._lot_fit(moved)
        else:
            logs = logs + (lot_a if a.of_lot else lot_b[singles[b.code][0].order])
        usual = self.usual_figures(moved)
        figures = self.expected(acting or [(plain_draws(da.n), ())], usual)
        logs = logs + self.fit(figures, usual) + self._siblings([(c, d) for d, c in acting], da.n)
        return _mean(logs)


def _mix(figures):
    """Nauplii, umbrellas, cysts and shells per full cyst from figures, shape (n, 4)."""
    opened = expit(figures[:, 0])
    free = expit(figures[:, 1])
    shells = np.exp(np.where(np.isfinite(figures[:, 2]), figures[:, 2], 0.0))
    return np.stack([opened * free, opened * (1 - free), 1 - opened, shells * opened], axis=1)


def _repeated(d, codes, look):
    """How much of a cause another look meets: errors of drawing and of counting are not repeated, or only in part."""
    kind = look.kind
    if kind == "first" or not codes:
        return None
    if codes[0] in sampling_causes():
        if look.same_drops:  # drops that were not like the cone stay so, whoever counts them
            return None
        return d.fresh if kind != "recount" else np.where(d.on < 0.5, d.fresh, 1.0)
    if codes[0] in ("missed", "swapped", "scaled"):
        return d.fresh * 0.5 if kind == "recount" else np.where(d.on < 0.1, d.fresh, 1.0)
    if codes[0] == "overlong" and kind == "later":
        return None
    return None


def _counted(d: Draws, mix, look: Look, usual):
    """Figures of a mix as a look counts it, where those of a usual hatch are ``usual``, shape (n or 1, 4)."""
    figures = figures_of(mix if look.has_umbrella else without_umbrella(d, mix))
    if not look.has_umbrella:
        figures[:, 1] = usual[:, 1]
    figures[:, 3] += usual[:, 3]
    return figures


def _struck(d: Draws, look: Look, usual):
    """Figures of a hatch with ``usual`` ones, shape (1, 4), when a cause acts on it."""
    return _counted(d, act(d, np.broadcast_to(_mix(usual), (d.n, 4)))[0], look, usual)


def _as_met_beside(d: Draws, i: int) -> Draws:
    """The same cause as another hatch of the day meets it: cones differ, so that it costs there more or less."""
    loss = d.loss * np.exp(_BESIDE_SD * np.roll(d.sort[:, 1], 7 * i + 1))
    return replace(d, loss=np.minimum(loss, 0.97))


def _reordered(d: Draws) -> Draws:
    """The same draws in their other order, so that two causes' strengths are paired freely."""
    arrays = {k: getattr(d, k)[d.order] for k in d.__dataclass_fields__ if k != "kind"}
    return Draws(kind=d.kind, **arrays)


def trace_fits(given: Given) -> dict[str, float]:
    """How well each trace alone fits the first look, as log likelihood averaged over its draws; "same" for none."""
    alone = Given(given.looks[:1], given.usual, given.world, standing=given.standing)
    parts = _Parts(alone)
    found = {"the usual mix": _mean(parts.of_draws(plain_draws(), ()))}
    for c in CAUSES:
        if c.trace.words not in found and not c.of_lot:
            found[c.trace.words] = _mean(parts.of_draws(draws_of(c), (c.code,)))
        elif c.of_lot and c.trace.words not in found:
            d = draws_of(c)
            usual = parts.usual_figures(np.zeros((d.n, 4)))
            found[c.trace.words] = _mean(parts.fit(parts.expected([(d, (c.code,))], usual), usual))
    found["none of these"] = parts.other()
    return found
