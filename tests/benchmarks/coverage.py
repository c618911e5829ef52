"""How often does a nominal 95 % interval hold the truth? The long table; the tests have a short one.

Run: ``python tests/benchmarks/coverage.py [runs]`` (40,000 runs for each cell take about a minute). Prints Markdown.
Each cell gives the lowest and highest coverage over the hatching percentages named and over two ways in which cones
may differ (beta, logit-normal). Two standard errors of one coverage at 40,000 runs are 0.2 points.
"""

import sys

import numpy as np

from qckit.hatch.simulation import coverage_of_proportion, coverage_of_rate, coverage_with_site_spread

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


if __name__ == "__main__":
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 40_000
    print(f"Coverage of nominal 95 % intervals in percent, {runs} simulated tests per coverage.")
    print("\nHatching percentage, interval over cones:")
    for n in (840, 240):
        proportion_table(runs, n=n, shares=(5, 20, 50, 80, 90, 95))
        proportion_table(runs, n=n, shares=(98,))
    print("\nHatching percentage, the wider interval that verdicts rest on (never narrower than counting alone):")
    proportion_table(runs, n=840, shares=(5, 20, 50, 80, 90, 95), is_safe=True)
    print("\nHatching percentage, spread pooled with the site's own records:")
    site_table(runs // 5)
    print("\nNauplii per gram:")
    rate_table(runs)
