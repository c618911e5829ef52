"""Fit how cysts and shells differ in a likeness that parts them in any light, and how that differs between photos.

    python tests/photos/fit_see_through.py FOLDER [FOLDER ...]
    python tests/photos/fit_see_through.py --by others FOLDER [FOLDER ...]

Folders are as ``draw.py`` and ``score.py`` have them. The likeness is that to the floor behind each, of photos over a
weave, or that to the photo's other bodies, of those over plain floors; those with fewer than three cysts or shells are
left out. Printed: the numbers that go into ``counting/shells/see_through.py`` or ``like_bodies.py``, from all folders
and without each make in turn (folders of one name but for a number at its end are one make).
"""

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

from qckit.counting import count_photo, pipeline
from qckit.counting.reader import joint_reading
from qckit.counting.scoring import match_objects
from qckit.counting.shells.like_bodies import likeness_to_others
from qckit.counting.shells.mixture import PAIR

FEWEST = 3  # cysts, and shells, of a photo


def likeness_to_bodies(analysis, found, which) -> np.ndarray:
    """How like others some bodies are; NaN for all others, and over a weave or a print."""
    out = np.full(len(found.rows), np.nan)
    if not joint_reading._is_patterned(analysis.light):
        out[which] = likeness_to_others(analysis.work, analysis.cuts[0].labels, found.rows[which], found.cols[which])
    return out


def bodies_of(photo: Path, um_per_px: float, truth: pd.DataFrame, by_floor: bool) -> pd.DataFrame:
    """The cysts and shells of a photo whose likeness is known: photo, stage, likeness."""
    read, kept = pipeline.read_at_centres, []

    def keep(*args):
        kept.append(read(*args))
        return kept[-1]

    pipeline.read_at_centres = keep
    try:
        count_photo(photo, um_per_px=um_per_px)
    finally:
        pipeline.read_at_centres = read
    analysis, found = kept[0].analysis, kept[0].found
    which = np.flatnonzero(found.p[:, PAIR].sum(axis=1) > 0.5)
    likeness = (joint_reading.likeness_of if by_floor else likeness_to_bodies)(analysis, found, which)
    at = pd.DataFrame({"x_px": found.cols * analysis.work.step_x, "y_px": found.rows * analysis.work.step_y})
    truth = truth[truth.stage.isin(["cyst", "shell"])].reset_index(drop=True)
    pairs = match_objects(truth, at)
    out = pd.DataFrame({"stage": [truth.stage[i] for i, _ in pairs], "likeness": [likeness[j] for _, j in pairs]})
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
    parser.add_argument("--by", choices=["floor", "others"], default="floor")
    parser.add_argument(
        "--kinds", nargs="+", help="of photos; by floor sieves alone, as a chamber's rulings say little"
    )
    parser.add_argument("--workers", type=int, default=1)
    args = parser.parse_args()
    by_floor, jobs = args.by == "floor", []
    kinds = args.kinds or (["sieve"] if by_floor else None)
    for folder in args.folders:
        truth = pd.read_csv(folder / "truth.csv")
        photos = pd.read_csv(folder / "photos.csv")
        for row in (photos[photos.kind.isin(kinds)] if kinds else photos).itertuples():
            photo = folder / "photos" / f"{row.photo}.jpg"
            job = delayed(bodies_of)(photo, row.um_per_px, truth[truth.photo == row.photo], by_floor)
            jobs.append((folder.name.rstrip("0123456789"), job))
    found = Parallel(args.workers)(job for _, job in jobs)
    bodies = pd.concat([bodies.assign(make=make) for (make, _), bodies in zip(jobs, found, strict=True)])
    for left_out in [None, *bodies.make.unique()]:
        means, spread, within = fit(bodies[bodies.make != left_out])
        print("all" if left_out is None else f"without {left_out}")
        print(f"  MEANS {means.round(3)}  SPREAD {spread.round(4).tolist()}  WITHIN {within:.4f}")


if __name__ == "__main__":
    main()
