"""How often a sparse sample is called no hatch sample, and how often pictures without any hatch are not.

    python tests/photos/score_sparse.py [MAKE=FOLDER:READER[:FOLD] ...] [--bodies 3 5 8 10 12 15] [--draws 100]
    python tests/photos/score_sparse.py --without-hatch FOLDER ... [--network READER] [--scales 5 7 8 9 12]

Folders and readers are those of ``fit_chances.py``. The first draws that many nauplii, umbrella stages and cysts by lot
from what was found in each photo, and judges them as a photo of their own; printed for all photos of a make and for its
sieves: the share called no hatch sample, that part of it where three bodies and more are sure, and the share of draws
with six sure ones and more that is. The second counts the photos of each FOLDER (photos.csv, photos/),
``sample_images/negatives`` and the pictures that come with scikit-image and matplotlib, these at several scales.
"""

import argparse
from dataclasses import replace
from pathlib import Path

import matplotlib
import numpy as np
import pandas as pd
import skimage
from fit_chances import Job, own_jobs, parse_job, pictures_of
from joblib import Parallel, delayed
from train_stages import HERE, use_networks

from qckit._paths import sample_images_dir
from qckit.counting import count_photo, pipeline
from qckit.counting.flags import FEWEST_SURE, SURE, judge_photo
from qckit.counting.reader import network as reader

MANY_SURE = 6
SAMPLE_DATA = ("grace_hopper.jpg", "logo2.png", "Minduka_Present_Blue_Pack.png")


def signs_of(path: Path, um_per_px: float, network: Path):
    """What the flags look at in a photo, and the flags' codes."""
    use_networks(network)
    found, gather = {}, pipeline._signs

    def keep(findings, **more):
        found["signs"] = gather(findings, **more)
        return found["signs"]

    pipeline._signs = keep
    try:
        count = count_photo(path, um_per_px=um_per_px)
    finally:
        pipeline._signs = gather
    return found["signs"], [flag.code for flag in count.flags]


def draw(job: Job, picture: tuple, bodies: list[int], n_draws: int) -> list[tuple]:
    """Draws from one photo: (make, on a sieve, bodies, sure ones, called no hatch sample)."""
    folder, photo, um_per_px, _ = picture
    signs, _ = signs_of(folder / f"{photo}.jpg", um_per_px, job.network)
    full, rng, out = np.flatnonzero(signs.stages < 3), np.random.default_rng(1), []
    for n in (n for n in bodies if n <= len(full)):
        for _ in range(n_draws):
            some = rng.choice(full, n, replace=False)
            parts = {c: getattr(signs, c)[some] for c in ("stages", "p_best", "p_body", "length_um")}
            flags = judge_photo(replace(signs, clump_objects=0.0, **parts))
            sure = int((parts["p_best"] >= SURE).sum())
            out.append((job.make, "sieve" in photo, n, sure, "foreign" in [flag.code for flag in flags]))
    return out


def print_draws(rows: list[tuple]) -> None:
    """A line for each make, for its sieves, and for each number of bodies."""
    table = pd.DataFrame(rows, columns=["make", "sieve", "bodies", "sure", "foreign"])
    for make, mine in table.groupby("make"):
        for name, part in ((make, mine), (f"{make}, sieves", mine[mine.sieve])):
            for n, some in part.groupby("bodies"):
                by_rule = some.foreign & (some.sure >= FEWEST_SURE)
                many = some[some.sure >= MANY_SURE]
                print(
                    f"{name}: {n} bodies, {some.foreign.mean():.3f} no hatch sample, {by_rule.mean():.3f} although "
                    f"{FEWEST_SURE} are sure, {many.foreign.mean():.3f} of {len(many)} draws with {MANY_SURE} sure"
                )


def pictures_without(folders: list[Path], scales: list[float]):
    """Set, name, path and scale of every picture without any hatch."""
    own = sample_images_dir() / "negatives"
    for row in pd.read_csv(own / "negatives.csv").itertuples():
        yield "negatives", row.photo, own / row.photo, row.um_per_px
    sample = Path(matplotlib.__file__).parent / "mpl-data/sample_data"
    images = sorted(p for p in (Path(skimage.__file__).parent / "data").iterdir() if p.suffix in (".jpg", ".png"))
    for path in (*images, *(sample / name for name in SAMPLE_DATA)):
        yield from (("wheels", f"{path.name} at {um:g}", path, um) for um in scales)
    for folder in folders:
        for row in pd.read_csv(folder / "photos.csv").itertuples():
            yield folder.name, row.photo, folder / "photos" / f"{row.photo}.jpg", row.um_per_px


def main():
    """Count, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("jobs", nargs="*", type=parse_job)
    parser.add_argument("--bodies", nargs="*", type=int, default=[3, 5, 8, 10, 12, 15])
    parser.add_argument("--draws", type=int, default=100)
    parser.add_argument("--without-hatch", nargs="*", type=Path)
    parser.add_argument("--network", type=Path, default=reader.MODEL)
    parser.add_argument("--scales", nargs="*", type=float, default=[5.0, 7.0, 8.0, 9.0, 12.0])
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    if args.without_hatch is None:
        calls = [(job, p) for job in args.jobs or own_jobs() for p in pictures_of(job, (), HERE)]
        drawn = Parallel(args.workers)(delayed(draw)(job, p, args.bodies, args.draws) for job, p in calls)
        print_draws([row for rows in drawn for row in rows])
        return
    pictures = list(pictures_without(args.without_hatch, args.scales))
    judged = Parallel(args.workers)(delayed(signs_of)(path, um, args.network) for _, _, path, um in pictures)
    for part in dict.fromkeys(name for name, *_ in pictures):
        left = [(p, codes) for (s, p, _, _), (_, codes) in zip(pictures, judged, strict=True) if s == part]
        others = [photo for photo, codes in left if "foreign" not in codes]
        print(f"{part}: {len(left) - len(others)} of {len(left)} no hatch sample; not: {', '.join(others) or 'none'}")


if __name__ == "__main__":
    main()
