"""Score what learning a camera does: errors on photos left out, before and after, over several choices of photos.

    python tests/photos/score_learning.py FOLDER [FOLDER ...] [--learn 4] [--draws 3] [--reader READER.onnx]

Each FOLDER has ``photos``, ``photos.csv`` and ``truth.csv`` as in ``tests/photos``; photos of one kind are one bench.
Objects found in the photos learnt from are settled by the truth. An error is a wrong stage, a missed or an invented
object on a photo left out, by all of its truth (``qckit.counting.score_photo``); with ``--reader`` by another network,
one that has not seen such photos. Errors after learning are given twice: as learnt, and as the kit counts from then
on, which keeps what was learnt only where it is better on the photos learnt from, each left out in turn.
"""

import argparse
import tempfile
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
from train_stages import use_networks

from qckit.counting import count_photo
from qckit.counting.camera_rule.learned import save_learned
from qckit.counting.pipeline import finest_scale
from qckit.counting.reader import network as reader
from qckit.counting.scoring import match_objects, score_photo
from qckit.counting.training.camera import Settled, colour_gains, learn_camera, read_settled
from qckit.photo import read_photo
from qckit.review.learn import _is_better, _LabelledPhoto


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


def is_kept(known: list[_LabelledPhoto], gains) -> bool:
    """Whether ``qckit camera learn`` keeps what it learns from these photos."""
    reads = [k.read for k in known]
    return _is_better([k.compare(learn_camera(reads[:i] + reads[i + 1 :], gains))[0] for i, k in enumerate(known)])


def label(path, scale: float, read) -> _LabelledPhoto:
    """A photo with all that was said of it."""
    said = read.settled
    table = pd.DataFrame({"x_px": said.x_px, "y_px": said.y_px, "stage": pd.Series(said.stages, dtype=object)})
    return _LabelledPhoto(path, scale, table, read)


def bench(paths, scales, truths, n_learn: int, n_draws: int) -> np.ndarray:
    """Errors of one bench before, after and as kept, summed over photos left out and choices of those learnt from."""
    photos = [read_photo(p, um_per_px=u, finest_um_per_px=finest_scale()) for p, u in zip(paths, scales, strict=True)]
    kit = [count_photo(p, um_per_px=u).objects for p, u in zip(paths, scales, strict=True)]
    gains = colour_gains([p.pixels for p in photos])
    known = [read_settled(p, u, settle(k, t), gains) for p, u, k, t in zip(photos, scales, kit, truths, strict=True)]
    chosen = list(combinations(range(len(paths)), n_learn))
    chosen = [chosen[i] for i in np.random.default_rng(0).choice(len(chosen), min(n_draws, len(chosen)), replace=False)]
    sums = np.zeros((3, 3), int)
    for some in chosen:
        kept = is_kept([label(paths[i], scales[i], known[i]) for i in some], gains)
        learned = learn_camera([known[i] for i in some], gains)
        with tempfile.TemporaryDirectory() as folder:
            file = str(Path(folder) / "camera.npz")
            save_learned(file, learned, reader_version=reader.READER_VERSION)
            for j in set(range(len(paths))) - set(some):
                before = errors(kit[j], truths[j])
                after = errors(count_photo(paths[j], um_per_px=scales[j], stage_model=file).objects, truths[j])
                sums += [before, after, after if kept else before]
    return sums


def words(sums: np.ndarray) -> str:
    """Errors before, after and as kept, and the shares left of those before."""
    before, after, kept = sums
    left = after.sum() / max(before.sum(), 1), kept.sum() / max(before.sum(), 1)
    return f"{before} -> {after}: {left[0]:.2f}, as kept {kept}: {left[1]:.2f}"


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
        use_networks(args.reader)
    sums, ratios = np.zeros((3, 3), int), []
    for folder in args.folders:
        photos, truth = pd.read_csv(folder / "photos.csv"), pd.read_csv(folder / "truth.csv")
        for kind, mine in photos.groupby("kind"):
            if len(mine) <= args.learn or (args.kinds and kind not in args.kinds):
                continue
            truths = [truth[truth.photo == p].reset_index(drop=True) for p in mine.photo]
            paths = [folder / "photos" / f"{p}.jpg" for p in mine.photo]
            got = bench(paths, list(mine.um_per_px), truths, args.learn, args.draws)
            sums += got
            ratios.append(got[2].sum() / max(got[0].sum(), 1))
            print(f"{folder.name} {kind:<12} wrong, missed, invented {words(got)}", flush=True)
    print(f"all {words(sums)}; median bench, as kept {np.median(ratios):.2f}")


if __name__ == "__main__":
    main()
