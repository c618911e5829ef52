"""Score what learning a camera does: errors on photos left out, before and after, over several choices of photos.

    python tests/photos/score_learning.py FOLDER [FOLDER ...] [--learn 4] [--draws 3] [--reader READER.onnx]

Each FOLDER has ``photos``, ``photos.csv`` and ``truth.csv`` as in ``tests/photos``; photos of one kind are one bench.
Objects found in the photos learnt from are settled by the truth. An error is a wrong stage, a missed or an invented
object on a photo left out, by all of its truth (``qckit.counting.score_photo``); with ``--reader`` by another network,
one that has not seen such photos.
"""

import argparse
import tempfile
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd

from qckit.counting import count_photo, reader
from qckit.counting.learned import save_learned
from qckit.counting.pipeline import finest_scale
from qckit.counting.scoring import match_objects, score_photo
from qckit.counting.training.camera import Settled, colour_gains, learn_camera, read_settled
from qckit.photo import read_photo


def settle(found: pd.DataFrame, truth: pd.DataFrame) -> Settled:
    """What a person who sees the truth says of a photo's objects, what was missed, and what is none."""
    found = found[found.stage != "debris"].reset_index(drop=True)
    true = truth[truth.stage != "debris"].reset_index(drop=True)
    pairs = dict(match_objects(true, found))
    stage = pd.Series("debris", found.index)
    stage[list(pairs.values())] = true.loc[list(pairs), "stage"].to_numpy()
    missed = true.drop(index=list(pairs)).query("touches_edge == 0 and visible_fraction >= 0.35")
    said = pd.concat([found.assign(stage=stage), missed])
    none = np.zeros(0)
    return Settled(said.x_px.to_numpy(float), said.y_px.to_numpy(float), tuple(said.stage), none, none, is_whole=True)


def errors(objects: pd.DataFrame, truth: pd.DataFrame) -> np.ndarray:
    """Wrong stages, missed and invented objects."""
    score = score_photo(truth, objects)
    stages = score["confusion"]
    return np.array([stages.sum() - np.trace(stages), score["missed"].sum(), score["false"].sum()])


def bench(paths, scales, truths, n_learn: int, n_draws: int) -> tuple[np.ndarray, np.ndarray]:
    """Errors of one bench before and after, summed over photos left out and choices of those learnt from."""
    photos = [read_photo(p, um_per_px=u, finest_um_per_px=finest_scale()) for p, u in zip(paths, scales, strict=True)]
    kit = [count_photo(p, um_per_px=u).objects for p, u in zip(paths, scales, strict=True)]
    gains = colour_gains([p.pixels for p in photos])
    known = [read_settled(p, u, settle(k, t), gains) for p, u, k, t in zip(photos, scales, kit, truths, strict=True)]
    chosen = list(combinations(range(len(paths)), n_learn))
    chosen = [chosen[i] for i in np.random.default_rng(0).choice(len(chosen), min(n_draws, len(chosen)), replace=False)]
    before, after = np.zeros(3, int), np.zeros(3, int)
    for some in chosen:
        learned = learn_camera([known[i] for i in some], gains)
        with tempfile.TemporaryDirectory() as folder:
            file = str(Path(folder) / "camera.npz")
            save_learned(file, learned, reader_version=reader.READER_VERSION)
            for j in set(range(len(paths))) - set(some):
                before += errors(kit[j], truths[j])
                after += errors(count_photo(paths[j], um_per_px=scales[j], stage_model=file).objects, truths[j])
    return before, after


def main():
    """Print every bench and the sums."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--learn", type=int, default=4)
    parser.add_argument("--draws", type=int, default=3)
    parser.add_argument("--kinds", nargs="*")
    parser.add_argument("--reader", type=Path)
    args = parser.parse_args()
    if args.reader:
        reader.MODEL = args.reader
    sums, ratios = np.zeros((2, 3), int), []
    for folder in args.folders:
        photos, truth = pd.read_csv(folder / "photos.csv"), pd.read_csv(folder / "truth.csv")
        for kind, mine in photos.groupby("kind"):
            if len(mine) <= args.learn or (args.kinds and kind not in args.kinds):
                continue
            truths = [truth[truth.photo == p].reset_index(drop=True) for p in mine.photo]
            paths = [folder / "photos" / f"{p}.jpg" for p in mine.photo]
            before, after = bench(paths, list(mine.um_per_px), truths, args.learn, args.draws)
            sums += np.stack([before, after])
            ratios.append(after.sum() / max(before.sum(), 1))
            print(f"{folder.name} {kind:<12} wrong, missed, invented {before} -> {after}: {ratios[-1]:.2f}", flush=True)
    print(f"all {sums[0]} -> {sums[1]}: {sums[1].sum() / sums[0].sum():.2f}; median bench {np.median(ratios):.2f}")


if __name__ == "__main__":
    main()
