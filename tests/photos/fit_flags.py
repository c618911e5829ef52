"""Fit the chance that a photo's hatching percentage is off by more than 5 points, and choose from which it is flagged.

    python tests/photos/fit_flags.py [MAKE=FOLDER:READER[:FOLD] ...] [--chances MAKE=FILE ...]

Folders, readers and looks are those of ``fit_chances.py``. Printed: the numbers that go into ``counting/swing.py``, the
limit that costs least where an error of more than 5 points without a flag weighs ten needless flags, and how each make
comes out by a model and a limit of the other makes. With ``--chances`` a make's objects are taken by a model of
``fit_chances.py`` that was fitted without it.
"""

import argparse
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from fit_chances import LOOK_WEIGHT, LOOKS, Job, own_jobs, parse_job, pictures_of
from joblib import Parallel, delayed
from train_stages import use_networks

from qckit.counting import count_photo, pipeline
from qckit.counting.reader import chances
from qckit.counting.scoring import score_photo
from qckit.counting.swing import LEAST_SWING, OFF_POINTS
from qckit.stages import hatched_pct

RIDGE = 1.0  # on the weights of standardised evidence
SILENT_COST = 10.0  # of a large error without a flag, in needless flags
EVIDENCE = ("swing", "between")


def judge(job: Job, model: Path, picture: tuple) -> dict:
    """What the flags look at in one photo, and how far its count is off."""
    photos, photo, um_per_px, look = picture
    use_networks(job.network)
    chances.MODEL = model
    found, gather = {}, pipeline._signs

    def keep(findings, **more):
        found["signs"] = gather(findings, **more)
        return found["signs"]

    pipeline._signs = keep
    try:
        count = count_photo(photos / f"{photo}.jpg", um_per_px=um_per_px)
    finally:
        pipeline._signs = gather
    truth = pd.read_csv(job.folder / "truth.csv")
    score = score_photo(truth[truth.photo == photo], count.objects)
    true, here = score["n_true"].astype(float), score["n_found"].astype(float)
    signs = found["signs"]
    points = abs(hatch_of(here) - hatch_of(true))
    nauplii = abs(here[0] - true[0]) / max(true[0], 1)
    return {
        "make": job.make,
        "photo": photo,
        "look": look,
        "swing": np.log(signs.swing + LEAST_SWING),
        "between": signs.between,
        "off": points > OFF_POINTS,
        "right": points <= OFF_POINTS and not (true[0] >= 10 and nauplii > 0.1),
        "flagged": bool(count.flags),
    }


def hatch_of(n) -> float:
    """Hatching percentage of counts per stage, 0 without any."""
    pct = hatched_pct(dict(zip(("nauplius", "umbrella", "cyst", "shell"), n, strict=True)))
    return 0.0 if np.isnan(pct) else pct


def judge_all(jobs: list[Job], looks, models: dict[str, Path], workers: int) -> pd.DataFrame:
    """All photos of all jobs, those of the labelled makes under other looks too."""
    with tempfile.TemporaryDirectory() as top:
        calls = [
            delayed(judge)(job, models.get(job.make, chances.MODEL), one)
            for job in jobs
            for one in pictures_of(job, looks, Path(top))
        ]
        return pd.DataFrame(Parallel(workers)(calls))


def fit(table: pd.DataFrame) -> np.ndarray:
    """Offset and weights, by penalised likelihood."""
    from scipy.optimize import minimize
    from scipy.special import expit

    evidence, off = table[list(EVIDENCE)].to_numpy(float), table.off.to_numpy(float)
    weight = weights_of(table)
    centre, spread = evidence.mean(axis=0), evidence.std(axis=0) + 1e-9
    design = np.column_stack([np.ones(len(off)), (evidence - centre) / spread])

    def cost(b):
        logit = design @ b
        value = weight @ (np.logaddexp(0, logit) - off * logit) + 0.5 * RIDGE * (b[1:] ** 2).sum()
        slope = design.T @ (weight * (expit(logit) - off))
        slope[1:] += RIDGE * b[1:]
        return value, slope

    b = minimize(cost, np.zeros(design.shape[1]), jac=True, method="L-BFGS-B").x
    return np.r_[b[0] - (b[1:] / spread) @ centre, b[1:] / spread]


def weights_of(table: pd.DataFrame) -> np.ndarray:
    """Weight of each photo."""
    return np.where(table["look"] == "", 1.0, LOOK_WEIGHT)


def chance_of(table: pd.DataFrame, model: np.ndarray) -> np.ndarray:
    """The chance of each photo to be off."""
    return 1 / (1 + np.exp(-(model[0] + table[list(EVIDENCE)].to_numpy(float) @ model[1:])))


def cheapest_limit(table: pd.DataFrame, chance: np.ndarray) -> float:
    """The limit, in hundredths, that costs least."""
    weight, off, right = weights_of(table), table.off.to_numpy(), table.right.to_numpy()
    limits = np.arange(0.01, 0.4, 0.01)
    costs = [weight @ (SILENT_COST * (off & (chance <= t)) + (right & (chance > t))) for t in limits]
    return float(limits[int(np.argmin(costs))])


def main():
    """Count, fit, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("jobs", nargs="*", type=parse_job)
    parser.add_argument("--looks", nargs="*", default=LOOKS)
    parser.add_argument("--without", nargs="*", default=[], help="makes to print but not to fit")
    parser.add_argument("--chances", nargs="*", default=[], metavar="MAKE=FILE")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--table", type=Path, help="keep what the flags look at here, or take it from here")
    args = parser.parse_args()
    models = {make: Path(file) for make, file in (one.split("=", 1) for one in args.chances)}
    if args.table and args.table.is_file():
        table = pd.read_csv(args.table, keep_default_na=False)
    else:
        table = judge_all(args.jobs or own_jobs(), args.looks, models, args.workers)
        if args.table:
            table.to_csv(args.table, index=False)
    fitted = table[~table.make.isin(args.without)]
    model = fit(fitted)
    limit = cheapest_limit(fitted, chance_of(fitted, model))
    print(f"OFF_OFFSET, OFF_SWING, OFF_BETWEEN = {', '.join(f'{v:.2f}' for v in model)}; cheapest limit {limit:.2f}")
    for (make, changed), rows in table.groupby(["make", table["look"] != ""]):
        others = fitted[fitted.make != make]
        own = fit(others) if len(others) else model
        own_limit = cheapest_limit(others, chance_of(others, own)) if len(others) else limit
        flagged = chance_of(rows, own) > own_limit
        print(
            f"{make}{', other looks' if changed else ''}: by a model of the others (limit {own_limit:.2f}) "
            f"{(flagged & rows.off).sum()} of {rows.off.sum()} off and {(flagged & rows.right).sum()} of "
            f"{rows.right.sum()} right ones unsure; with any flag as shipped {(rows.flagged & rows.off).sum()} and "
            f"{(rows.flagged & rows.right).sum()}"
        )


if __name__ == "__main__":
    main()
