"""How often does a nominal 95 % interval hold the truth? The long table; the tests have a short one.

Run: ``python tests/benchmarks/coverage.py [runs] [table ...]``, tables being cones, overruled, times, speed,
recovery, limits, gauge, pages (every other interval that a page shows, in coverage_pages.py) and quick (those of them
that take next to no time, drawn fifty times as often);
all without a name (40,000 runs take about a minute for the cones, half an hour for the times). Prints Markdown.
Each cell gives the lowest and highest coverage over the hatching percentages named and over two ways in which cones
may differ (beta, logit-normal). Two standard errors of one coverage at 40,000 runs are 0.2 points.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from coverage_pages import pages_table

from qckit.agreement.gauge import gauge_study
from qckit.agreement.paired import limit_bounds
from qckit.hatch.harvest.recovery import recovery_of
from qckit.hatch.rate.comparison import compare_rates
from qckit.hatch.rate.fit import fit_rate
from qckit.hatch.rate.models import Fit, model_curve, model_quantile
from qckit.settings import Settings

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "hatch"))
from simulated_cones import coverage_of_proportion, coverage_of_rate, coverage_with_site_spread

CONES = (2, 3, 4, 5, 6)
SPREADS = (
    (0.0, "none (0)"),
    (0.002, "weak (0.002)"),
    (0.01, "usual (0.01)"),
    (0.02, "strong (0.02)"),
    (0.05, "extreme (0.05)"),
)


def proportion_table(runs, *, n, shares, is_safe=False):
    """Coverage of the hatching percentage by overdispersion and cones."""
    name = f"spread rho; {n} full cysts per cone; H% {', '.join(map(str, shares))}"
    print(f"\n| {name} | " + " | ".join(f"{k} cones" for k in CONES) + " |")
    print("| --- |" + " --- |" * len(CONES))
    for rho, label in SPREADS:
        cells = []
        for k in CONES:
            found = [
                coverage_of_proportion(
                    k,
                    share,
                    rho,
                    n=n,
                    runs=runs,
                    rng=np.random.default_rng([k, share, int(1e4 * rho)]),
                    family=family,
                    is_safe=is_safe,
                )
                for share in shares
                for family in (("beta", "logit-normal") if rho else ("beta",))
            ]
            cells.append(f"{min(found):.1f} to {max(found):.1f}")
        print(f"| {label} | " + " | ".join(cells) + " |", flush=True)


def rate_table(runs):
    """Coverage of nauplii per gram by spread between cones and cones."""
    print(
        "\n| CV between cones beyond counting; 690 nauplii per cone | " + " | ".join(f"{k} cones" for k in CONES) + " |"
    )
    print("| --- |" + " --- |" * len(CONES))
    for cv in (0.0, 0.05, 0.1, 0.2):
        cells = [coverage_of_rate(k, 690, cv, runs=runs, rng=np.random.default_rng([k, int(100 * cv)])) for k in CONES]
        print(f"| {cv:.2f} | " + " | ".join(f"{c:.1f}" for c in cells) + " |", flush=True)


def site_table(runs):
    """Coverage when the spread is pooled with the site's own records."""
    cones = (1, 2, 3, 6)
    print(
        "\n| spread rho; df of the site's records; H% 50, 80, 95, 98 | "
        + " | ".join(f"{k} cones" for k in cones)
        + " |"
    )
    print("| --- |" + " --- |" * len(cones))
    for rho, label in SPREADS[:4]:
        for df in (12, 40):
            cells = []
            for k in cones:
                found = [
                    coverage_with_site_spread(
                        k, share, rho, df=df, runs=runs, rng=np.random.default_rng([k, share, df, int(1e4 * rho)])
                    )
                    for share in (50, 80, 95, 98)
                ]
                cells.append(f"{min(found):.1f} to {max(found):.1f}")
            print(f"| {label}; {df} | " + " | ".join(cells) + " |", flush=True)


def overruled_table(runs):
    """Coverage of three cones and more whose spread is not the site's."""
    print("\n| H%; cones; site's SD 2 points at 80 %, 146 df | SD as usual | twice | three times |")
    print("| --- | --- | --- | --- |")
    for share in (80, 90, 98):
        for k in (2, 3, 4, 6):
            cells = [
                coverage_with_site_spread(
                    k, share, 0.0025, df=146, ratio=r, runs=runs, rng=np.random.default_rng([k, r])
                )
                for r in (1, 2, 3)
            ]
            print(f"| {share}; {k} | " + " | ".join(f"{c:.1f}" for c in cells) + " |")


READINGS = {5: (14, 16.5, 19, 22, 26), 8: (12, 14, 16, 18, 20, 22, 24, 28)}
SLOPES = {"log-logistic": 14.0, "log-normal": 8.0, "Weibull": 9.0, "gamma": 8.0}
TIMES = ("T10", "T50", "T90", "Ts")


def course(rng, model, hours, shift, *, n=400, scale=18.0):
    """Three cones, 85 % hatching, the curve's scale at 18 h; each cone early or late by ``shift`` on the log scale."""
    rows = []
    for cone in "ABC":
        of_cone = scale * np.exp(rng.normal(0, shift))
        curve = Fit(model, 0.85, of_cone, SLOPES[model], np.eye(3), 0.0, True)
        x = rng.binomial(n, np.clip(model_curve(curve, hours), 0, 1))
        rows.append(pd.DataFrame({"hatch": cone, "cone": cone, "hours": hours, "nauplii": x, "full_cysts": n}))
    table = pd.concat(rows, ignore_index=True)
    return table.assign(hatched_frac=table["nauplii"] / table["full_cysts"])


def times_table(runs):
    """Coverage of T10, T50, T90 and synchrony under four truths."""
    print("\n| truth; readings; cones early or late by | T10 | T50 | T90 | Ts |\n| --- | --- | --- | --- | --- |")
    for model in SLOPES:
        t10, t50, t90 = (model_quantile(model, 18.0, SLOPES[model], share) for share in (0.1, 0.5, 0.9))
        truth = dict(zip(TIMES, (t10, t50, t90, t90 - t10), strict=True))
        for m, hours in READINGS.items():
            for shift in (0.0, 0.02):
                rng, hit = np.random.default_rng(1), dict.fromkeys(TIMES, 0)
                for _ in range(runs):
                    rate = fit_rate(course(rng, model, np.array(hours, float), shift))
                    for name, value in truth.items():
                        row = rate.time(name)
                        hit[name] += row["low_h"] <= value <= row["high_h"]
                cells = " | ".join(f"{100 * hit[name] / runs:.1f}" for name in TIMES)
                print(f"| {model}; {m}; {100 * shift:g} % | {cells} |", flush=True)


def speed_table(runs):
    """Coverage of the ratio of two lots' hours; three cones of each, the second 10 % slower."""
    print("\n| truth; readings; cones early or late by | ratio of hours |\n| --- | --- |")
    for model in SLOPES:
        for m, hours in READINGS.items():
            for shift in (0.0, 0.02):
                rng, hit, at = np.random.default_rng(3), 0, np.array(hours, float)
                for _ in range(runs):
                    own, other = course(rng, model, at, shift), course(rng, model, at, shift, scale=19.8)
                    found = compare_rates(own, other, lot="a", other="b")
                    hit += found.low <= 1 / 1.1 <= found.high
                print(f"| {model}; {m}; {100 * shift:g} % | {100 * hit / runs:.1f} |", flush=True)


def recovery_table(runs):
    """Coverage of the mean recovery over harvests; 300 nauplii counted in the cone, 200 of each harvest."""
    spreads = (0.0, 0.05, 0.1, 0.2)
    print("\n| harvests; relative spread between them | " + " | ".join(f"{100 * s:g} %" for s in spreads) + " |")
    print("| --- |" + " --- |" * len(spreads))
    for n in (5, 8, 20):
        cells = []
        for spread in spreads:
            rng, hit = np.random.default_rng([n, int(100 * spread)]), 0
            for _ in range(runs):
                share = 0.8 * np.exp(rng.normal(0, spread, n))
                cone, harvest = rng.poisson(300, n), rng.poisson(200, n)
                hatches = [f"H{i}" for i in range(n)]
                cones = pd.DataFrame(
                    {"hatch": hatches, "lot": "L", "cone": "A", "started": "2026-05-01T09:00:00+00:00"}
                )
                cones = cones.assign(nauplii=cone, hatching_efficiency_per_g=cone * 1000.0, cysts_g=10.0)
                samples = pd.DataFrame({"sample": hatches, "hatch": hatches, "kind": "harvest", "nauplii": harvest})
                samples = samples.assign(volume_ul=250.0, harvest_ml=share * 300 * 10_000.0 / 200 / 4.0)
                found = recovery_of(samples, cones, Settings())
                hit += found.low <= 80 <= found.high
            cells.append(f"{100 * hit / runs:.1f}")
        print(f"| {n} | " + " | ".join(cells) + " |", flush=True)


def limits_table(runs):
    """Coverage of the interval of an upper limit of agreement."""
    print("\n| pairs | exact | large sample |\n| --- | --- | --- |")
    for n in (6, 8, 12, 30):
        x = np.random.default_rng(n).standard_normal((runs, n))
        bias, sd, cells = x.mean(axis=1), x.std(axis=1, ddof=1), []
        for interval in ("exact", "large sample"):
            low, high = limit_bounds(n, interval=interval)
            cells.append(100 * np.mean((bias + low * sd <= 1.96) & (bias + high * sd >= 1.96)))
        print(f"| {n} | " + " | ".join(f"{c:.1f}" for c in cells) + " |")


def gauge_table(runs):
    """Coverage of the gauge's interval with three people, eight photos, two counts each."""
    print("\n| SD between people over that of a recount | gauge |\n| --- | --- |")
    for person in (0.0, 0.5, 1.0, 3.0):
        rng, hit = np.random.default_rng(4), 0
        for _ in range(runs):
            who, what = rng.normal(0, person, 3), rng.normal(0, 4, 8)
            cells = [(p, a, what[p] + who[a] + e) for p in range(8) for a in range(3) for e in rng.normal(0, 1, 2)]
            study = gauge_study(pd.DataFrame(cells, columns=["photo", "counter", "value"]))
            hit += study.gauge_low <= np.hypot(1, person) <= study.gauge_high
        print(f"| {person:g} | {100 * hit / runs:.1f} |", flush=True)


def main(runs, chosen):
    """Print the tables that were asked for; all without a name."""
    tables = {
        "cones": lambda: cones_tables(runs),
        "overruled": lambda: overruled_table(max(runs // 20, 20)),
        "times": lambda: times_table(max(runs // 80, 10)),
        "speed": lambda: speed_table(max(runs // 400, 10)),
        "recovery": lambda: recovery_table(max(runs // 40, 20)),
        "limits": lambda: limits_table(runs),
        "gauge": lambda: gauge_table(max(runs // 40, 20)),
        "pages": lambda: pages_table(max(runs // 20, 20)),
        "quick": lambda: pages_table(max(runs // 20, 20), is_quick=True),
    }
    print(f"Coverage of nominal 95 % intervals in percent, from {runs} runs for the quickest cells.")
    for name, table in tables.items():
        if name in chosen or not (chosen or name == "quick"):  # its rows are in "pages" too
            print(f"\n{name}:")
            table()


def cones_tables(runs):
    """Hatching percentage and nauplii per gram over cones."""
    print("\nHatching percentage, interval over cones:")
    for n in (840, 240):
        proportion_table(runs, n=n, shares=(5, 20, 50, 80, 90, 95))
        proportion_table(runs, n=n, shares=(98,))
    print("\nHatching percentage, the wider interval that verdicts rest on (never narrower than counting alone):")
    proportion_table(runs, n=840, shares=(5, 20, 50, 80, 90, 95), is_safe=True)
    print("\nHatching percentage, spread joined with the site's own records:")
    site_table(runs // 5)
    print("\nNauplii per gram:")
    rate_table(runs)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40_000, sys.argv[2:])
