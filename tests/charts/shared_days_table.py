"""How often a month's chart of nauplii per gram marks hatches without a cause, and falls, where hatches share days.

Its table stands in tests/benchmarks/MONTH.md; with hatch_pct, false marks of the hatching percentage after ten days
of a lot with four hatches a day (500 full cysts counted of each).

python tests/charts/shared_days_table.py [months per cell, 60 when left out] [hatch_pct]
"""

import sys

import numpy as np
import pandas as pd
from scipy import signal, special

from qckit import charts

CELLS = [(5, 4), (10, 4), (20, 4), (10, 2)]  # days of the lot before the month, hatches a day
KINDS = [(0.0, 0.0), (0.3, 0.0), (0.6, 0.0), (0.6, 0.5), (0.5, 0.8)]  # share of the days, memory of the day before
NAME, DAY = "hatching_efficiency_per_g", pd.Timedelta(days=1)
COUNTED, USUAL, APART = 500, 1.4, 0.25  # full cysts of a hatch; logit of the share that hatches, and its spread


def hatches(rng, days, per_day, share, day_to_day):
    """Standard normal points of which the days have a share, and remember the day before."""
    luck = rng.normal(size=days + 20) * np.sqrt([1, *np.full(days + 19, 1 - day_to_day**2)])
    daily = signal.lfilter([1], [1, -day_to_day], luck)[20:]
    own = rng.normal(size=(days, per_day))
    return (np.sqrt(share) * daily[:, None] + np.sqrt(1 - share) * own).ravel()


def frame_of(z, *, per_day, lot, begins=0):
    """Hatches of a lot as the month's charts take them, days from 2026-01-01."""
    at = pd.Timestamp("2026-01-01", tz="UTC") + pd.to_timedelta(begins + np.arange(len(z)) // per_day, "D")
    columns = {"hatch": [f"{lot}{i}" for i in range(len(z))], "lot": lot, "cone": "A", "operator": "x", "far_off": ""}
    return pd.DataFrame(columns | {"at": at, NAME: 200_000 * np.exp(0.1 * z)})


def with_counts(frame, z, rng):
    """The same hatches with the counts that a hatching percentage rests on."""
    full = rng.poisson(COUNTED, len(z))
    nauplii = rng.binomial(full, special.expit(USUAL + APART * z))
    return frame.assign(full_cysts=full.astype(float), nauplii=nauplii.astype(float), hatch_pct=100 * nauplii / full)


def marks(rng, share, day_to_day, fall=0.0, *, days=10, per_day=4, earlier=0, quiet=0, later=30, name=NAME):
    """Which of a month's last ``later`` days' hatches are marked: quiet days of the month, then those, which fall.

    ``days`` of the lot came before the month, ``earlier`` ones of another lot before these.
    """
    month = earlier + days
    z = hatches(rng, month + quiet + later, per_day, share, day_to_day)
    z[per_day * (month + quiet) :] -= fall
    lots = (z[: per_day * earlier] + 1.5, "K", 0), (z[per_day * earlier :], "L", earlier)
    frames = [frame_of(z, per_day=per_day, lot=lot, begins=b) for z, lot, b in lots]
    if name == "hatch_pct":
        frames = [with_counts(frame, part, rng) for frame, (part, _lot, _begins) in zip(frames, lots, strict=True)]
    series = pd.concat(frames, ignore_index=True)
    first = pd.Timestamp("2026-01-01", tz="UTC") + DAY * month
    chart = charts.build_chart(series, name, lot="L", period=(first, first + DAY * (quiet + later)))
    return chart.of_period(first + DAY * quiet)["label"].isin(chart.signals["label"]).to_numpy()


def main(runs):
    """Draw, review, print."""
    heads = [f"{days} days of {per_day}{after}" for days, per_day in CELLS for after in ("", ", 80 before")]
    print(f"| share; memory | {' | '.join(heads)} |\n|" + " --- |" * (1 + len(heads)), flush=True)
    for share, memory in KINDS:
        row = []
        for days, per_day in CELLS:
            for earlier in (0, 80):
                how = {"days": days, "per_day": per_day, "earlier": earlier}
                calm, fell, inside = (np.random.default_rng([i, days, per_day, earlier]) for i in (1, 2, 3))
                false = 100 * np.mean([marks(calm, share, memory, **how).mean() for _ in range(runs)])
                seen = 100 * np.mean([marks(fell, share, memory, 1.5, later=7, **how).any() for _ in range(runs)])
                late = 100 * np.mean(
                    [
                        marks(inside, share, memory, 1.5, quiet=int(inside.integers(5, 20)), later=7, **how).any()
                        for _ in range(runs)
                    ]
                )
                row.append(f"{false:.1f} ({seen:.0f}, {late:.0f})")
        print(f"| {share:g}; {memory:g} | {' | '.join(row)} |", flush=True)


def of_percentage(runs):
    """Print false marks of the hatching percentage, with the standard error over months."""
    for earlier in (0, 80):
        for share, memory in KINDS:
            rng = np.random.default_rng([1, 10, 4, earlier])
            found = [marks(rng, share, memory, earlier=earlier, name="hatch_pct").mean() for _ in range(runs)]
            mean, error = 100 * np.mean(found), 100 * np.std(found) / np.sqrt(runs)
            print(f"{earlier} days before; {share:g}; {memory:g}: {mean:.2f} ({error:.2f})", flush=True)


if __name__ == "__main__":
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    of_percentage(runs) if sys.argv[2:] == ["hatch_pct"] else main(runs)
