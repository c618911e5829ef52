"""Score the counter on the photos of this folder (or of another laid out like it).

    python tests/photos/score.py                     the shipped networks, which have seen these photos
    python tests/photos/score.py --leave-out         each photo counted by networks that have not seen it
    python tests/photos/score.py --halves            the same, with the shipped stage model
    python tests/photos/score.py --folder DIR        other labelled photos, by the shipped networks
    python tests/photos/score.py --network FILE      by another reader, such as one that has not seen these photos
    python tests/photos/score.py --changed           the same photos under lamps and cameras of other kinds, or some

With ``--leave-out`` half of the photos of each kind is left out at a time: the reader is the network of
``tests/training/folds`` trained without them, the stage model is trained here without them. ``--reader off`` leaves
the reader away. Prints the figures by kind, what the flags were worth, how sure the counter was against how
often it was right, how often the stated doubts cover the error, and with ``--out`` writes the objects.
"""

import argparse
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from change_photos import CHANGES, change_photo
from joblib import Parallel, delayed
from train_stages import HERE, N_FOLDS, collect_all, deal, train_both, use_networks, use_reader

from qckit.agreement import doubts_of_stages
from qckit.counting import count_photo
from qckit.counting.scoring import match_objects, score_photos
from qckit.counting.stages import CLASSES, save_stage_model


def count(path: Path, um_per_px: float, reader, fold, model, networks=(None, None)):
    """One photo, read by the networks of a fold, or by other ones."""
    use_reader(fold)
    if networks[0] is not None:
        use_networks(*networks)
    return count_photo(path, um_per_px=um_per_px, reader=reader, stage_model=model)


def models_without(folder: Path, altered: int, workers: int, out: Path) -> list[str]:
    """Train a stage model for each fold; return their files."""
    photos, parts = collect_all(folder, altered, workers)
    fold = deal(photos)

    def one(k):
        save_stage_model(out / f"stages-{k}.npz", train_both([p for p, f in zip(parts, fold, strict=True) if f != k]))
        return str(out / f"stages-{k}.npz")

    return Parallel(workers)(delayed(one)(k) for k in range(N_FOLDS))


def count_all(args, photos: pd.DataFrame, folder: Path, top: Path):
    """Counts of every photo, in order."""
    reader = None if args.reader == "off" else "auto"
    fold = deal(photos) if args.leave_out or args.halves else np.full(len(photos), -1)
    models = [None] * N_FOLDS
    if args.leave_out:
        models = args.models or models_without(args.folder, args.altered, args.workers, top)
    networks = args.network, args.outline
    jobs = (
        delayed(count)(folder / f"{p}.jpg", u, reader, *((None, None) if k < 0 else (int(k), models[k])), networks)
        for p, u, k in zip(photos.photo, photos.um_per_px, fold, strict=True)
    )
    return Parallel(args.workers)(jobs)


def print_flags(scores: dict, counts: dict) -> None:
    """How many photos with a large error carry a flag, and how many good ones."""
    bad, good, off = [], [], []
    for photo, s in scores.items():
        true, found = s["n_true"].astype(float), s["n_found"].astype(float)
        hatch = abs(100 * found[0] / max(found[:3].sum(), 1) - 100 * true[0] / max(true[:3].sum(), 1))
        nauplii = 100 * abs(found[0] - true[0]) / max(true[0], 1)
        codes = [f.code for f in counts[photo].flags]
        large = hatch > 5 or (true[0] >= 10 and nauplii > 10)
        (bad if large else good).append(bool(codes))
        if hatch > 5:
            off.append(bool(codes))
        if codes or large:
            print(f"  {photo:<12} hatch error {hatch:5.1f}, nauplii {nauplii:5.1f} %   {' '.join(codes) or 'no flag'}")
    print(f"flags: {sum(bad)} of {len(bad)} photos with a large error, {sum(good)} of {len(good)} others;", end=" ")
    print(f"{sum(off)} of {len(off)} photos off by more than 5 points")


def print_reliability(truth: pd.DataFrame, counts: dict) -> None:
    """Stated probability of the stage against how often it is right, over matched objects."""
    stated, right = [], []
    for photo, one in counts.items():
        mine, true = one.objects.reset_index(drop=True), truth[truth.photo == photo].reset_index(drop=True)
        for i, j in match_objects(true, mine):
            if true.stage[i] in CLASSES[:4]:
                stated.append(mine.loc[j, [f"p_{c}" for c in CLASSES]].astype(float).max())
                right.append(true.stage[i] == mine.stage[j])
    stated, right = np.array(stated), np.array(right)
    for low, high in ((0, 0.6), (0.6, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01)):
        here = (stated >= low) & (stated < high)
        if here.any():
            print(f"  stated {stated[here].mean():.3f}   right {right[here].mean():.3f}   of {here.sum()} objects")


def print_doubts(scores: dict, counts: dict) -> None:
    """How often the errors of photos lie within the doubts that are stated about their stages."""
    within = {"nauplii": [], "cysts": [], "percentage": []}
    for photo, s in scores.items():
        true, found = s["n_true"].astype(float), s["n_found"].astype(float)
        doubts = doubts_of_stages(counts[photo].objects)
        nauplii, cysts = (doubts.get(stage, 0.0) for stage in ("nauplius", "cyst"))
        if min(true[0], found[0]) >= 10:
            within["nauplii"].append(abs(true[0] / found[0] - 1) / max(nauplii, 1e-3))
        if min(true[2], found[2]) >= 10:
            within["cysts"].append(abs(true[2] / found[2] - 1) / max(cysts, 1e-3))
        if min(true[:3].sum(), found[:3].sum()) >= 10:
            share = found[0] / found[:3].sum()
            error = abs(share - true[0] / true[:3].sum())
            within["percentage"].append(error / max(share * (1 - share) * np.hypot(nauplii, cysts), 1e-3))
    for name, values in within.items():
        if values:
            once, twice = (np.mean(np.array(values) <= k) for k in (1, 2))
            print(f"doubts about stages, {name}: {once:.2f} within, {twice:.2f} within twice, of {len(values)} photos")


def main():
    """Score and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--folder", type=Path, default=HERE)
    parser.add_argument("--leave-out", action="store_true")
    parser.add_argument("--halves", action="store_true")
    parser.add_argument("--network", type=Path, help="file of a reader")
    parser.add_argument("--outline", type=Path, help="file of one that goes by outline, beside it")
    parser.add_argument("--models", nargs=N_FOLDS, help="stage models of the folds, trained before")
    parser.add_argument("--changed", nargs="*", choices=CHANGES, metavar="CHANGE")
    parser.add_argument("--altered", type=int, default=3)
    parser.add_argument("--reader", choices=["auto", "off"], default="auto")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()
    truth, photos = pd.read_csv(args.folder / "truth.csv"), pd.read_csv(args.folder / "photos.csv")
    if args.out:
        args.out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as top:
        for change in (None,) if args.changed is None else args.changed or CHANGES:
            folder = args.folder / "photos"
            if change:
                print(f"== {change}")
                folder = change_photo(folder, photos.photo, change, Path(top) / change)
            counted = count_all(args, photos, folder, args.out or Path(top))
            counts = dict(zip(photos.photo, counted, strict=True))
            objects = pd.concat([c.objects.assign(photo=p) for p, c in counts.items()])
            figures, scores = score_photos(truth, photos, objects)
            print(figures.round(3).to_string())
            print_flags(scores, counts)
            print_reliability(truth, counts)
            print_doubts(scores, counts)
            if args.out:
                objects.to_csv(args.out / f"objects-{change or 'plain'}.csv", index=False)


if __name__ == "__main__":
    main()
