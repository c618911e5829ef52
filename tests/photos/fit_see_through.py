"""Fit how like the floor behind them cysts and shells are, and how much that differs from photo to photo.

    python tests/photos/fit_see_through.py FOLDER [FOLDER ...]

Folders are as ``draw.py`` and ``score.py`` have them. Photos without a pattern on their floor are left out, and so are
those with fewer than three cysts or shells. Printed: the numbers that go into ``counting/shells/see_through.py``, from
all folders and without each make in turn (folders of one name but for a number at its end are one make).
"""

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

from qckit.counting import count_photo
from qckit.counting.reader import joint_reading
from qckit.counting.scoring import match_objects

FEWEST = 3  # cysts, and shells, of a photo


def bodies_of(photo: Path, um_per_px: float, truth: pd.DataFrame) -> pd.DataFrame:
    """The cysts and shells of a photo whose floor is known behind them: photo, stage, likeness."""
    kept, measure, few = {}, joint_reading._likeness_of, joint_reading.SPOT_CHECK

    def keep(analysis, found, which):
        kept["likeness"] = measure(analysis, found, which)
        work = analysis.work
        kept["found"] = pd.DataFrame({"x_px": found.cols * work.step_x, "y_px": found.rows * work.step_y})
        return kept["likeness"]

    joint_reading._likeness_of, joint_reading.SPOT_CHECK = keep, None
    try:
        count_photo(photo, um_per_px=um_per_px)
    finally:
        joint_reading._likeness_of, joint_reading.SPOT_CHECK = measure, few
    if not kept:
        return pd.DataFrame({"photo": [], "stage": [], "likeness": np.empty(0)})
    truth = truth[truth.stage.isin(["cyst", "shell"])].reset_index(drop=True)
    pairs = match_objects(truth, kept["found"])
    out = pd.DataFrame(
        {"stage": [truth.stage[i] for i, _ in pairs], "likeness": [kept["likeness"][j] for _, j in pairs]}
    )
    return out.dropna().astype({"likeness": float}).assign(photo=photo.stem)


def fit(bodies: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, float]:
    """Means of cysts and shells over photos, covariance of the two from photo to photo, variance within."""
    each = bodies.groupby(["photo", "stage"]).likeness
    bodies = bodies[each.transform("size") >= FEWEST]
    each = bodies.groupby(["photo", "stage"]).likeness
    within = ((bodies.likeness - each.transform("mean")) ** 2).sum() / (len(bodies) - each.ngroups)
    means = each.mean().unstack().dropna()[["cyst", "shell"]].to_numpy()
    return means.mean(axis=0), np.cov(means.T), float(within)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--kinds", nargs="+", default=["sieve"], help="of photos; rulings of a chamber say little")
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    jobs = []
    for folder in args.folders:
        truth = pd.read_csv(folder / "truth.csv")
        photos = pd.read_csv(folder / "photos.csv")
        for row in photos[photos.kind.isin(args.kinds)].itertuples():
            photo = folder / "photos" / f"{row.photo}.jpg"
            job = delayed(bodies_of)(photo, row.um_per_px, truth[truth.photo == row.photo])
            jobs.append((folder.name.rstrip("0123456789"), job))
    found = Parallel(args.workers)(job for _, job in jobs)
    bodies = pd.concat([bodies.assign(make=make) for (make, _), bodies in zip(jobs, found, strict=True)])
    for left_out in [None, *bodies.make.unique()]:
        means, spread, within = fit(bodies[bodies.make != left_out])
        print("all" if left_out is None else f"without {left_out}")
        print(f"  MEANS {means.round(3)}  SPREAD {spread.round(4).tolist()}  WITHIN {within:.4f}")


if __name__ == "__main__":
    main()
