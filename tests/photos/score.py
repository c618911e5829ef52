"""Score the counter on the photos of this folder (or of another laid out like it).

    python tests/photos/score.py                     the shipped model, which has seen these photos
    python tests/photos/score.py --leave-out 1       each photo counted by a model trained without it
    python tests/photos/score.py --leave-out 4       four at a time, one of each kind: quicker and a little harsher
    python tests/photos/score.py --folder DIR        other labelled photos, by the shipped model

Without the second reader unless --reader auto. Prints the figures by kind and what the flags were worth.
"""

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
from joblib import Parallel, delayed
from train_stages import HERE, collect_all, load_labelled, train_both

from qckit.counting import count_photo
from qckit.counting.analysis import analyse, choose_objects
from qckit.counting.scoring import score_photos
from qckit.counting.stages import CLASSES


def found_by(model, folder: Path, photo: str, um_per_px: float) -> pd.DataFrame:
    """Objects of one photo by a given model."""
    work = load_labelled(folder, photo, um_per_px)[0]
    found = choose_objects(analyse(work), model)
    stage = [CLASSES[k] for k in found.p.argmax(axis=1)]
    return pd.DataFrame(
        {"photo": photo, "stage": stage, "x_px": found.cols * work.step_x, "y_px": found.rows * work.step_y}
    )


def leave_out(folder: Path, size: int, altered: int, workers: int, networks: int) -> pd.DataFrame:
    """Objects of every photo by models that have not seen it."""
    photos, parts = collect_all(folder, altered, workers)
    n_folds = max(1, len(photos) // size)
    fold = np.arange(len(photos)) % n_folds

    def one(k):
        model = train_both([p for p, f in zip(parts, fold, strict=True) if f != k], networks=networks)["colour"]
        rows = photos[fold == k]
        return [found_by(model, folder, p, u) for p, u in zip(rows.photo, rows.um_per_px, strict=True)]

    return pd.concat([f for k in range(n_folds) for f in one(k)])


def by_shipped_model(folder: Path, reader, workers: int):
    """Objects and flags by the shipped model."""
    photos = pd.read_csv(folder / "photos.csv")
    jobs = (delayed(count_photo)(folder / "photos" / f"{p}.jpg", um_per_px=u, reader=reader)
            for p, u in zip(photos.photo, photos.um_per_px, strict=True))  # fmt: skip
    counts = Parallel(workers)(jobs)
    return pd.concat([c.objects for c in counts]), {
        c.photo.removesuffix(".jpg"): [f.code for f in c.flags] for c in counts
    }


def print_flags(scores: dict, flags: dict) -> None:
    """How many photos with a large error carry a flag, and how many good ones."""
    bad, good = [], []
    for photo, s in scores.items():
        true, found = s["n_true"].astype(float), s["n_found"].astype(float)
        hatch = abs(100 * found[0] / max(found[:3].sum(), 1) - 100 * true[0] / max(true[:3].sum(), 1))
        nauplii = 100 * abs(found[0] - true[0]) / max(true[0], 1)
        (bad if hatch > 5 or (true[0] >= 10 and nauplii > 10) else good).append(bool(flags[photo]))
    print(f"flags: {sum(bad)} of {len(bad)} photos with a large error, {sum(good)} of {len(good)} good photos")


def main():
    """Score and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--folder", type=Path, default=HERE)
    parser.add_argument("--leave-out", type=int, default=0)
    parser.add_argument("--altered", type=int, default=3)
    parser.add_argument("--networks", type=int, default=3)
    parser.add_argument("--reader", choices=["auto", "off"], default="off")
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    flags = None
    if args.leave_out:
        found = leave_out(args.folder, args.leave_out, args.altered, args.workers, args.networks)
    else:
        found, flags = by_shipped_model(args.folder, None if args.reader == "off" else "auto", args.workers)
    truth, photos = pd.read_csv(args.folder / "truth.csv"), pd.read_csv(args.folder / "photos.csv")
    figures, scores = score_photos(truth, photos, found)
    print(figures.round(3).to_string())
    if flags is not None:
        print_flags(scores, flags)


if __name__ == "__main__":
    main()
