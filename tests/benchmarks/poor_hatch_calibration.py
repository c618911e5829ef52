"""How often the cause of a poor hatch is named rightly: simulated hatches, the kit beside an oracle.

The oracle knows what nobody at a hatch room knows: the mechanisms that made the hatch, the true lot, how often each
cause is planted and how strongly. It says what could be decided at all. Run:

    python tests/benchmarks/poor_hatch_calibration.py --n 500
"""

from __future__ import annotations

import argparse
from itertools import combinations

import numpy as np
import pandas as pd

from qckit.practice.cases import _TELLTALE, PLANTED, SHARED, Situation, _add, simulate_case
from qckit.practice.mechanisms import Conditions, LotTraits, expected_shares, nauplius_lengths_um
from qckit.settings import Settings
from qckit.stages import STAGES
from qckit.verdicts.poor_hatch.likelihood import stated
from qckit.verdicts.poor_hatch.verdict import decide, study_hatch

KIT_NAME = {"weighing": "amount", "volume": "amount"}
P_NONE, P_PAIR = 0.12, 0.18
SAME_TRACE = ({"amount"}, {"broken", "missed", "overlong", "gradient"})
"""Causes that no count of one reading tells apart: named together they count as right."""
WATER_NOISE = {
    "temperature": (0.35, 0.15),
    "salinity": (0.6, 0.3),
    "ph": (0.06, 0.03),
    "oxygen": (0.22, 0.15),
    "light": (110.0, 40.0),
}
BETWEEN_DRAWS = {"temperature": 0.15, "salinity": 0.6, "ph": 0.015, "oxygen": 0.05, "light": 10.0}  # drawn, not dense
CLUE_WORDS = (
    ("unwetted", "ring", "notes"),
    ("gradient", "swarm", "notes"),
    ("broken", "very strong", "aeration"),
    ("oxygen", "weak", "aeration"),
)
COLUMN = {
    "temperature": "temperature_c",
    "salinity": "salinity_ppt",
    "ph": "ph",
    "oxygen": "oxygen_mg_l",
    "light": "light_lux",
}


def plan_cases(n, rng):
    """Draw what is planted: (causes, strengths, logged or not) for n cases, half of them logged."""
    plans = []
    for i in range(n):
        x = rng.random()
        k = 0 if x < P_NONE else 2 if x < P_NONE + P_PAIR else 1
        causes = tuple(rng.choice(PLANTED, size=k, replace=False))
        plans.append((causes, tuple(rng.uniform(0.1, 1.0, k)), i % 2 == 0))
    return plans


class Oracle:
    """Exact-as-can-be Bayes with the simulator's own mechanisms, by many draws per hypothesis."""

    def __init__(self, rng, n_single=250, n_pair=60):
        hypotheses = [()] + [(c,) for c in PLANTED] + list(combinations(PLANTED, 2))
        self.names, rows, siblings, self.log_prior = [], [], [], []
        n_pairs = len(hypotheses) - len(PLANTED) - 1
        for h in hypotheses:
            m = n_pair if len(h) == 2 else n_single
            p = P_NONE if not h else P_PAIR / n_pairs if len(h) == 2 else (1 - P_NONE - P_PAIR) / len(PLANTED)
            for _ in range(m):
                s = rng.uniform(0.1, 1.0, len(h))
                rows.append(self._draw(h, s, rng))
                shared = [k for k in range(len(h)) if h[k] in SHARED and rng.random() < SHARED[h[k]][1]]
                siblings.append(self._draw([h[k] for k in shared], s[shared], rng))
                self.names.append(h)
                self.log_prior.append(np.log(p / m))
        self.target, self.sibling = pd.DataFrame(rows), pd.DataFrame(siblings)
        self.log_prior = np.array(self.log_prior)
        self.index = pd.Index([" + ".join(h) or "none" for h in self.names])

    @staticmethod
    def _draw(causes, strengths, rng):
        base = {
            "hours": 24.0,
            "temperature_c": 28.0,
            "salinity_ppt": 33.0,
            "ph": 8.2,
            "oxygen_mg_l": 6.3,
            "light_lux": 2050.0,
            "cysts_g_per_l": 1.6,
        }
        situation = Situation(conditions=base)
        for c, s in zip(causes, strengths, strict=True):
            situation = _add(situation, c, float(s))
        return {
            "spell_h": 0.0,
            "spell_c": 28.0,
            "unwetted_frac": 0.0,
            "broken_frac": 0.0,
            "extra_dead": 0.0,
            "empty_frac": 0.0,
            "missed": 0.0,
            "lit_away": situation.lit_away,
            "lit_cv": situation.lit_cv,
            "length": _mean_log_length(situation, rng),
            "shell_as_cyst": 0.0,
            "luck": rng.normal(0, 0.14),
            "arrest": rng.normal(0, 0.35),
            "mixing": situation.mixing_cv,
            "factor": situation.mass_factor * situation.volume_factor,
        } | (situation.conditions | situation.traits | situation.counting)

    def _shares(self, lot, d):
        odds = lot.dead_frac / (1 - lot.dead_frac) * np.exp(d["luck"])
        dead = 1 - (1 - odds / (1 + odds)) * (1 - d["extra_dead"])
        traits = LotTraits(
            full_per_g=lot.full_per_g,
            dead_frac=dead.to_numpy(),
            dormant_frac=lot.dormant_frac,
            break_t50_h=lot.break_t50_h,
            arrest_frac=(lot.arrest_frac * np.exp(d["arrest"])).to_numpy(),
            old_shells_frac=lot.old_shells_frac,
        )
        names = (
            "hours",
            "temperature_c",
            "spell_c",
            "spell_h",
            "salinity_ppt",
            "ph",
            "oxygen_mg_l",
            "light_lux",
            "cysts_g_per_l",
            "unwetted_frac",
            "broken_frac",
        )
        shares = expected_shares(traits, Conditions(**{k: d[k].to_numpy() for k in names}))
        full = np.array([shares[s] for s in STAGES]).T * (1 - d["empty_frac"].to_numpy())[:, None]
        full[:, 3] += d["empty_frac"]
        return np.maximum(full, 1e-5) * d["factor"].to_numpy()[:, None]

    def _lengths(self, case, name):
        """Log likelihood of the mean log length of the nauplii in the hatch's photos; the lot's instar I is known."""
        objects = case.tables["objects"]
        own = np.log(objects.loc[objects["photo"].str.startswith(f"{name}-"), "length_um"].astype(float))
        if len(own) < 2:
            return 0.0
        away = own.mean() - np.log(case.lot.instar_i_um) - self.target["length"].to_numpy()
        sd = np.hypot(own.std() / np.sqrt(len(own)), 0.015)
        return -0.5 * (away / sd) ** 2

    def _counts(self, shares, d, samples, hatch, lot, misread=True):
        per_ul = hatch["cysts_g"] * lot.full_per_g / hatch["volume_ml"] / 1000.0
        total = np.zeros(len(d))
        for who, part in samples.groupby("counted_by"):
            mean = shares.copy()
            mean[:, 0] *= 1 - d["lit_away"]
            if who == "photo" and misread:
                mean[:, 0] *= 1 - d["missed"]
                moved = mean[:, 3] * d["shell_as_cyst"]
                mean[:, 2] += moved
                mean[:, 3] -= moved
            k = part[["nauplii", "umbrella", "cysts", "shells"]].to_numpy(dtype=float)
            n, all_k = len(k), k.sum(axis=0)
            share = mean / mean.sum(axis=1, keepdims=True)
            total += (all_k * np.log(share)).sum(axis=1)
            expect = mean.sum(axis=1) * per_ul * 250.0
            cv = d["mixing"].to_numpy()
            var = (1 / np.maximum(expect, 1) + cv**2) / n + 0.03**2
            total += -0.5 * (np.log(max(k.sum() / n, 1) / np.maximum(expect, 0.1))) ** 2 / var - 0.5 * np.log(var)
            if n > 1:
                from scipy.stats import chi2

                sums = k.sum(axis=1)
                x = ((sums - sums.mean()) ** 2 / max(sums.mean(), 1)).sum()
                scale = 1 + cv**2 * sums.mean()
                total += chi2.logpdf(max(x, 1e-3) / scale, n - 1) - np.log(scale)
                full, p = k[:, :3].sum(axis=1), k[:, 0].sum() / max(k[:, :3].sum(), 1)
                x = ((k[:, 0] - full * p) ** 2 / np.maximum(full * p * (1 - p), 0.25)).sum()
                scale = 1 + d["lit_cv"].to_numpy() ** 2 * full.mean() * p * (1 - p)
                total += chi2.logpdf(max(x, 1e-3) / scale, n - 1) - np.log(scale)
        return total

    def judge(self, case):
        """Weights of every hypothesis, as a Series by name."""
        t = case.tables
        hatches = t["hatches"].set_index("hatch")
        logs = self.log_prior.copy()
        x = self._shares(case.lot, self.target)
        own = t["samples"][t["samples"]["hatch"] == "X"]
        logs += self._counts(x, self.target, own, hatches.loc["X"], case.lot)
        y = self._shares(case.lot, self.sibling)
        for name in [h for h in hatches.index if h.startswith("Y-")]:
            part = t["samples"][t["samples"]["hatch"] == name]
            logs += self._counts(y, self.sibling, part, hatches.loc[name], case.lot, misread=False)
        logs += self._written(t, hatches.loc["X"], own) + self._lengths(case, "X")
        w = np.exp(logs - logs.max())
        return pd.Series(w / w.sum(), index=self.index).groupby(level=0, sort=False).sum()

    def _written(self, t, hatch, own):
        """What readings, hours, words and flags say; what is missing says nothing."""
        d, logs = self.target, np.zeros(len(self.target))
        readings = t["readings"][t["readings"]["hatch"] == "X"]
        for quantity, part in readings.groupby("quantity"):
            usual, noise = WATER_NOISE[quantity]
            planted = np.array([any(_TELLTALE.get(c) == quantity for c in h) for h in self.names])
            sd = np.where(planted, np.hypot(noise, 0.05 * usual), np.hypot(usual, noise))
            value, at = part["value"].to_numpy(), part.index.argsort()
            for i in at:
                mean = d[COLUMN[quantity]].to_numpy().copy()
                if quantity == "temperature" and i == 1:
                    mean = np.where(d["spell_h"] > 0, d["spell_c"], mean)
                sd_i = np.hypot(sd, np.where(planted, BETWEEN_DRAWS[quantity], 0.0))
                logs += (-0.5 * ((value[i] - mean) / sd_i) ** 2 - np.log(sd_i)) / len(value)
        hours, true = float(own["hours"].iloc[0]), d["hours"].to_numpy()
        odd = np.array([bool({"early", "overlong"} & set(h)) for h in self.names])
        fits = np.exp(-0.5 * ((hours - true) / 0.25) ** 2) / 0.25 * 0.4
        as_planned = 1.6 * (abs(hours - 24) < 0.01)
        logs += np.log(np.where(odd, 0.5 * fits + 0.5 * as_planned, as_planned) + 1e-9)
        density = float(hatch["cysts_g"] / hatch["volume_ml"] * 1000)
        logs += -0.5 * ((np.log(density / d["cysts_g_per_l"].to_numpy())) / 0.03) ** 2
        for cause, word, column in CLUE_WORDS:
            has = word in str(hatch[column])
            is_cause = np.array([cause in h for h in self.names])
            logs += np.log(np.where(is_cause, 0.5, 1e-6 if has else 1.0))
        person = bool((own["counted_by"] == "person").any())
        flags = t["photos"].loc[t["photos"]["sample"].isin(own["sample"]), "flags"].fillna("").str.len().gt(0).any()
        misread = np.array([bool({"missed", "swapped"} & set(h)) for h in self.names])
        p_person, p_flag = np.where(misread, 0.575, 0.15), np.where(misread, 0.29, 0.05)
        return logs + np.log(np.where(person, p_person, 1 - p_person)) + np.log(np.where(flags, p_flag, 1 - p_flag))


def _mean_log_length(situation, rng, n=60):
    """Mean log length of a hatch's nauplii over the lot's instar I."""
    lot = LotTraits()
    lengths = nauplius_lengths_um(lot, Conditions(max_g_per_l=5.0, **situation.conditions), n, rng)
    return float(np.log(lengths / lot.instar_i_um).mean())


def by_cause(weights):
    """Weight of each cause, alone or in a pair, largest first; none counts as one more."""
    total = dict.fromkeys([*PLANTED, "none"], 0.0)
    for name, w in weights.items():
        for c in name.split(" + "):
            total[c] += w
    return sorted(total.items(), key=lambda item: -item[1])


def run(n=500, seed=7, oracle_draws=(250, 60), n_before=30):
    """Simulate and judge n cases; return one row per case."""
    rng = np.random.default_rng(seed)
    oracle = Oracle(np.random.default_rng(seed + 1), *oracle_draws)
    rows = []
    for causes, strengths, logged in plan_cases(n, rng):
        case = simulate_case(rng, causes, strengths, is_logged=logged, n_before=n_before)
        t = case.tables
        study = study_hatch(
            t["lots"],
            t["hatches"],
            t["samples"],
            t["readings"],
            hatch="X",
            settings=Settings(),
            photos=t["photos"],
            objects=t["objects"],
        )
        verdict, named = decide(study)
        ranked = [("none", study.weights.none), ("other", study.weights.other), *study.weights.ranked()]
        ranked.sort(key=lambda item: -item[1])
        best = by_cause(oracle.judge(case))
        truth = {KIT_NAME.get(c, c) for c in causes} or {"none"}
        oracle_first = {KIT_NAME.get(best[0][0], best[0][0])}
        ranked = [(k, stated(p)) for k, p in ranked]
        names = [k for k, _ in ranked if k != "other"]
        together = any(set(named) <= group and set(named) & truth for group in SAME_TRACE)
        rows.append(
            {
                "causes": "+".join(sorted(causes)) or "none",
                "n_causes": len(causes),
                "is_logged": logged,
                "loss": case.loss,
                "verdict": verdict,
                "named": "+".join(named),
                "oracle_right": bool(oracle_first & truth),
                "oracle_p": best[0][1],
                "kit_first": names[0],
                "first_right": names[0] in truth or together,
                "strictly": names[0] in truth,
                "in_three": bool(set(names[:3]) & truth),
                "stated": stated(study.weights.of(named[0])) if len(named) == 1 else np.nan,
                "stated_right": bool(set(named) & truth),
                "p_first": dict(ranked)[names[0]],
                "truth": "+".join(sorted(truth)),
            }
            | {f"p_{k}": p for k, p in ranked}
        )
    return pd.DataFrame(rows)


def summary(table):
    """The figures the goals speak of, as (figure, value, of how many)."""
    planted, none = table[table["n_causes"] > 0], table[table["n_causes"] == 0]
    decidable = planted[planted["oracle_right"]]
    accused = none["verdict"].isin(["cause-found", "cause-likely", "count-doubtful"])
    said = table[table["named"] != ""]
    rows = [
        ("planted: oracle's first cause is right", planted["oracle_right"].mean(), len(planted)),
        ("planted: kit's first cause is right", planted["first_right"].mean(), len(planted)),
        ("oracle right: kit's first is right", decidable["first_right"].mean(), len(decidable)),
        ("oracle right: right one among kit's first three", decidable["in_three"].mean(), len(decidable)),
        ("oracle right: kit's first, nothing named together", decidable["strictly"].mean(), len(decidable)),
        ("none planted: a cause is accused", accused.mean(), len(none)),
        ("a cause is named at all", (planted["named"] != "").mean(), len(planted)),
        ("of causes named: right", said["stated_right"].mean(), len(said)),
    ]
    for logged in (True, False):
        part = decidable[decidable["is_logged"] == logged]
        name = f"oracle right, {'logged' if logged else 'not logged'}: kit's first is right"
        rows.append((name, part["first_right"].mean(), len(part)))
    for k in (1, 2):
        part = decidable[decidable["n_causes"] == k]
        name = f"oracle right, {k} cause{'s' if k > 1 else ''}: kit's first is right"
        rows.append((name, part["first_right"].mean(), len(part)))
    return pd.DataFrame(rows, columns=["figure", "rate", "cases"])


def reliability(table, edges=(0, 0.02, 0.1, 0.3, 0.5, 0.7, 0.85, 0.95, 1.0)):
    """Stated probability of every cause in every case against how often it was there."""
    codes = sorted({c[2:] for c in table.columns if c.startswith("p_")} - {"first", "none", "other"})
    stated = np.concatenate([table[f"p_{c}"].to_numpy() for c in codes])
    true = np.concatenate([table["truth"].str.split("+").map(set).map(lambda s, c=c: c in s).to_numpy() for c in codes])
    bins = np.clip(np.digitize(stated, edges) - 1, 0, len(edges) - 2)
    rows = [
        (
            f"{edges[b]:.2f} to {edges[b + 1]:.2f}",
            int((bins == b).sum()),
            stated[bins == b].mean(),
            true[bins == b].mean(),
        )
        for b in range(len(edges) - 1)
        if (bins == b).any()
    ]
    return pd.DataFrame(rows, columns=["stated", "n", "mean stated", "found true"])


def false_accusations(n=300, seed=11):
    """Return how many of n hatches with nothing planted are accused of a cause."""
    rng = np.random.default_rng(seed)
    accused = 0
    for _ in range(n):
        t = simulate_case(rng).tables
        study = study_hatch(
            t["lots"],
            t["hatches"],
            t["samples"],
            t["readings"],
            hatch="X",
            settings=Settings(),
            photos=t["photos"],
            objects=t["objects"],
        )
        accused += decide(study)[0] in ("cause-found", "cause-likely", "count-doubtful")
    return accused


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--n", type=int, default=500)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--out", default="")
    parser.add_argument("--before", type=int, default=30, help="earlier hatches of the lot")
    parser.add_argument("--none", type=int, default=0, help="instead: so many hatches with nothing planted")
    options = parser.parse_args()
    if options.none:
        print(f"{false_accusations(options.none, options.seed)} of {options.none} accused")
        return
    table = run(options.n, options.seed, n_before=options.before)
    if options.out:
        table.to_csv(options.out, index=False)
    print(summary(table).round(3).to_string(index=False))
    print(reliability(table).round(3).to_string(index=False))


if __name__ == "__main__":
    main()
