"""What a check of a camera is worth by its number of photos, and how often exchanged rows are named.

    python tests/benchmarks/camera_checks.py [--photos 3 5 6 8 12] [--samples 240] [--marks]
    python tests/benchmarks/camera_checks.py --exchanged [--photos 3 6 12 25] [--samples 200]

Invented counts (about 40 nauplii, 3 umbrella stages, 20 cysts and 30 shells a photo; the amounts differ from photo to
photo, lognormal, 0.5). Each sample has a check of its own: the first command corrects three further photos by it and
prints how often the stated 95 % interval of the hatching percentage holds the truth, half its width, and by how much
the correction brings the percentage nearer to the truth. Checks are by totals, with ``--marks`` object by object. The
second prints how often two photos drawn by lot and exchanged in the counts by eye, or all rows shifted by one, are
named, and how often a check is called exchanged as it stands.
"""

import argparse

import numpy as np
import pandas as pd

from qckit.agreement import correct_counts, rates_from_counts, rates_from_matches
from qckit.agreement.misplaced import find_misplaced
from qckit.stages import STAGE_COLUMNS, STAGES, hatched_pct

COLUMNS = list(STAGE_COLUMNS.values())
USUAL = np.array([40.0, 3.0, 20.0, 30.0])
NAUPLIUS, CYST, SHELL = STAGES.index("nauplius"), STAGES.index("cyst"), STAGES.index("shell")
ROOMS = ("a good kit", "a poor kit")
KITS = ("a sound kit", "finding differs by a fifth", "a fifth of cysts and shells exchanged", "chance alone")


def of_photos(rng, n: int, spread: float = 0.5) -> np.ndarray:
    """True counts, a row for each photo."""
    return rng.poisson(USUAL * np.exp(spread * rng.normal(size=(n, 4))))


def outcomes(rng, true: np.ndarray, found: tuple[float, float], mistaken: float, differs: float) -> np.ndarray:
    """What a kit makes of each stage of each photo: (photos, 4 stages, 4 stages and missed)."""
    out = np.zeros((len(true), 4, 5), int)
    for i, row in enumerate(true):
        share = np.clip(rng.uniform(*found) * np.exp(differs * rng.normal()), 0, 1)
        wrong = np.clip(mistaken * rng.uniform(0.5, 1.5), 0, 1)
        for stage, n in enumerate(row):
            p = np.zeros(5)
            p[stage], p[4] = share, 1 - share
            if stage == CYST:
                p[stage], p[SHELL] = share * (1 - wrong), share * wrong
            out[i, stage] = rng.multinomial(n, p)
    return out


def rates_of(made: np.ndarray, *, marks: bool):
    """Rates of a check by totals, or by marks."""
    names = [f"p{i}" for i in range(len(made))]
    if not marks:
        kit = pd.DataFrame(made[:, :, :4].sum(axis=1), columns=COLUMNS).assign(photo=names)
        return rates_from_counts(kit, pd.DataFrame(made.sum(axis=2), columns=COLUMNS).assign(photo=names))
    rows = [
        (names[i], STAGES[s], (*STAGES, "missed")[o]) for i, s, o in np.argwhere(made > 0) for _ in range(made[i, s, o])
    ]
    return rates_from_matches(pd.DataFrame(rows, columns=["photo", "hand", "photo_stage"]))


def pct_of(counts: np.ndarray) -> float:
    """Hatching percentage of counts per stage."""
    return hatched_pct(dict(zip(STAGES, map(float, counts), strict=True)))


def print_worth(n: int, room: str, *, n_samples: int, marks: bool) -> None:
    """Coverage, half width and gain of samples corrected by checks of ``n`` photos."""
    mistaken = 0.05 if room == ROOMS[0] else 0.2
    held, half, gain = [], [], []
    for k in range(n_samples):
        rng = np.random.default_rng([n, k, ROOMS.index(room)])
        rates = rates_of(outcomes(rng, of_photos(rng, n), (0.9, 0.95), mistaken, 0.0), marks=marks)
        true = of_photos(rng, 3)
        kit = outcomes(rng, true, (0.9, 0.95), mistaken, 0.0)[:, :, :4].sum(axis=(0, 1))
        got, truth = correct_counts(dict(zip(STAGES, map(int, kit), strict=True)), rates), pct_of(true.sum(axis=0))
        held.append(got.hatch_pct_low <= truth <= got.hatch_pct_high)
        half.append((got.hatch_pct_high - got.hatch_pct_low) / 2)
        gain.append(abs(pct_of(kit) - truth) - abs(got.hatch_pct - truth))
    print(
        f"{n} photos, {room}: {np.mean(held):.2f} of {n_samples} held, half width {np.median(half):.1f} points, "
        f"nearer by {np.mean(gain):.1f}",
        flush=True,
    )


def check_of(rng, n: int, kit: str) -> tuple[np.ndarray, np.ndarray]:
    """Counts by the kit and by eye of a check."""
    true = of_photos(rng, n, 0.0 if kit == KITS[3] else 0.5)
    made = outcomes(rng, true, (0.9, 0.96), 0.2 if kit == KITS[2] else 0.0, 0.2 if kit == KITS[1] else 0.0)
    if kit == KITS[2]:
        back = rng.binomial(made[:, SHELL, SHELL], 0.2)
        made[:, SHELL, SHELL] -= back
        made[:, SHELL, CYST] += back
    return made[:, :, :4].sum(axis=1), true


def print_exchanged(n: int, kit: str, *, n_samples: int) -> None:
    """How often exchanged rows are named, and how often rows that stand right."""
    named, turned, falsely = [], [], []
    for k in range(n_samples):
        rng = np.random.default_rng([n, k, KITS.index(kit)])
        photos = [f"p{i}" for i in range(n)]
        by_kit, by_eye = (pd.DataFrame(c, columns=COLUMNS) for c in check_of(rng, n, kit))
        pair = rng.choice(n, 2, replace=False)
        order = np.arange(n)
        order[pair] = order[pair[::-1]]
        falsely.append(bool(find_misplaced(photos, by_kit, by_eye)))
        found = find_misplaced(photos, by_kit, by_eye.iloc[order].reset_index(drop=True))
        named.append(any({photos[i] for i in pair} <= set(names) for names in found))
        turned.append(
            bool(find_misplaced(photos, by_kit, by_eye.iloc[np.roll(np.arange(n), 1)].reset_index(drop=True)))
        )
    print(
        f"{n} photos, {kit}: {np.mean(named):.2f} pairs named, {np.mean(turned):.2f} shifted by one named, "
        f"{sum(falsely)} of {n_samples} called exchanged as they stand",
        flush=True,
    )


def main():
    """Invent, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", nargs="*", type=int, default=[3, 4, 5, 6, 8, 12])
    parser.add_argument("--samples", type=int, default=240)
    parser.add_argument("--marks", action="store_true")
    parser.add_argument("--exchanged", action="store_true")
    args = parser.parse_args()
    for n in args.photos:
        for which in KITS if args.exchanged else ROOMS:
            if args.exchanged:
                print_exchanged(n, which, n_samples=args.samples)
            else:
                print_worth(n, which, n_samples=args.samples, marks=args.marks)


if __name__ == "__main__":
    main()
