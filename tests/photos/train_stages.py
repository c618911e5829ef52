"""Train the stage model from the labelled photos of both makes and write qckit/counting/stage_model.npz.

    python tests/photos/train_stages.py [--out FILE] [--altered 3] [--workers 2] [--leave-kinds KIND ...]

It learns from candidates of the counter without the reader, and from pieces cut at the centres that the reader
proposes; for these, each photo is read by the network of ``tests/training/folds`` that has not seen it, so that
the pieces are as good and as bad as on new photos. Photos of the second make, which have no masks, give pieces at
proposed centres only, labelled by where they lie. Seeded: the same photos give the same model.
"""

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
from joblib import Parallel, delayed
from PIL import Image

from qckit.counting.analysis import analyse_at_centres
from qckit.counting.reader import network as reader
from qckit.counting.reader.joint_reading import propose_objects
from qckit.counting.reader.proposals import Proposals
from qckit.counting.scoring import match_objects
from qckit.counting.stages import CLASSES, MODEL_FILE, save_stage_model
from qckit.counting.training.fitting import (
    Examples,
    alter_light,
    collect_at_centres,
    collect_examples,
    join_examples,
    train_stage_model,
    with_looks,
)
from qckit.counting.working import WORK_UM_PER_PX, make_work_image
from qckit.photo import read_photo

HERE = Path(__file__).resolve().parent
FOLDS = HERE.parent / "training" / "folds"
N_FOLDS = 2
MISSED = 0.06  # share of centres taken away in altered pictures, so that joined objects are known as such


def deal(photos: pd.DataFrame) -> np.ndarray:
    """The fold of each photo: kind by kind in turn, as ``tests/training/train_reader.py`` deals them."""
    return (photos.groupby("kind").cumcount() % N_FOLDS).to_numpy()


def use_reader(fold: int | None) -> None:
    """Let this process read with the networks that have not seen a fold; None for those that come with the kit."""
    if fold is None:
        folder = Path(reader.__file__).parent
        use_networks(folder / "reader.onnx", folder / "outline_reader.onnx")
    else:
        use_networks(FOLDS / f"reader-{fold}.onnx", FOLDS / f"outline_reader-{fold}.onnx")


def use_networks(network: Path, outline: Path | None = None) -> None:
    """Let this process read with other networks; without one for outlines the first reads mirror images too."""
    reader.MODEL, reader.OUTLINE_MODEL = network, outline or network


def load_labelled(folder: Path, photo: str, um_per_px: float, to_um_per_px: float = WORK_UM_PER_PX):
    """Working picture, instance mask and stages of one labelled photo."""
    image = read_photo(folder / "photos" / f"{photo}.jpg", um_per_px=um_per_px, finest_um_per_px=to_um_per_px)
    truth = pd.read_csv(folder / "truth.csv")
    rows = truth[truth.photo == photo]
    mask = np.asarray(Image.open(folder / "masks" / f"{photo}.png"))
    work = make_work_image(image, um_per_px, to_um_per_px=to_um_per_px)
    return work, mask, dict(zip(rows.object_id, rows.stage, strict=True))


def _some_missed(said: Proposals, rng: np.random.Generator) -> Proposals:
    return said.take(rng.random(len(said.rows)) >= MISSED)


def collect(folder: Path, photo: str, um_per_px: float, group: int, altered: int, fold: int):
    """Examples of one photo as it is and under ``altered`` other lights: (colour, grey) lists, one per picture."""
    work, mask, stages = load_labelled(folder, photo, um_per_px)
    rng = np.random.default_rng([20, group])
    colour = [collect_examples(work, mask, stages, group)]
    colour += [collect_examples(alter_light(work, rng), mask, stages, group) for _ in range(altered)]
    grey = [
        collect_examples(alter_light(work, rng, grey=True), mask, stages, group) for _ in range(max(1, altered // 2))
    ]
    use_reader(fold)
    work, mask, stages = load_labelled(folder, photo, um_per_px, reader.READER_UM_PER_PX)
    for out, is_grey, n in ((colour, False, 2 * altered), (grey, True, altered)):
        for k in range(n):
            seen = alter_light(work, rng, grey=is_grey) if k or is_grey else work
            said = propose_objects(seen, reader)[0]
            said = _some_missed(said, rng) if k else said
            out.append(collect_at_centres(seen, mask, stages, group, said))
    return colour, grey


def label_by_place(analysis, piece, proposals, truth: pd.DataFrame) -> np.ndarray:
    """Answers of the pieces by the known object at each proposed centre; -1 where nothing says what a piece is."""
    work = analysis.work
    found = pd.DataFrame({"x_px": proposals.cols * work.step_x, "y_px": proposals.rows * work.step_y})
    known = {j: truth.stage.iloc[i] for i, j in match_objects(truth, found)}
    answers = np.full(len(analysis.cuts[0].candidates), -1)
    for j in np.flatnonzero(piece):
        answers[piece[j] - 1] = CLASSES.index(known.get(j, "debris"))
    return answers


def collect_by_place(folder: Path, photo: str, um_per_px: float, group: int, altered: int, fold: int):
    """Examples of one photo without mask; as :func:`collect`."""
    use_reader(fold)
    image = read_photo(folder / "photos" / f"{photo}.jpg", um_per_px=um_per_px, finest_um_per_px=WORK_UM_PER_PX)
    work = make_work_image(image, um_per_px, to_um_per_px=reader.READER_UM_PER_PX)
    truth = pd.read_csv(folder / "truth.csv").query("photo == @photo").reset_index(drop=True)
    rng = np.random.default_rng([21, group])
    colour, grey = [], []
    for out, is_grey, n in ((colour, False, 2 * altered), (grey, True, altered)):
        for k in range(n):
            seen = alter_light(work, rng, grey=is_grey) if k or is_grey else work
            proposals = propose_objects(seen, reader)[0]
            analysis, piece, accepted = analyse_at_centres(seen, proposals)
            answers = label_by_place(analysis, piece, accepted.proposals, truth)
            out.append(Examples(analysis.features, answers, np.full(len(answers), group)))
    return colour, grey


def collect_all(folder: Path, altered: int, workers: int, first_group: int = 0):
    """Examples of every photo in a folder laid out like this one: (photos, list of (colour, grey))."""
    photos = pd.read_csv(folder / "photos.csv")
    gather = collect if (folder / "masks").is_dir() else collect_by_place
    jobs = (
        delayed(gather)(folder, p, u, first_group + i, altered, f)
        for i, (p, u, f) in enumerate(zip(photos.photo, photos.um_per_px, deal(photos), strict=True))
    )
    return photos, Parallel(workers)(jobs)


def collect_both(altered: int, workers: int):
    """Examples of both makes: (photos with their make and fold, list of (colour, grey))."""
    tables, parts = [], []
    for make in (HERE, HERE.parent / "photos_second_make"):
        photos, some = collect_all(make, altered, workers, len(parts))
        tables.append(photos.assign(make=make.name, fold=deal(photos)))
        parts += some
    return pd.concat(tables, ignore_index=True), parts


def train_both(parts, *, networks: int = 3, epochs: int = 14):
    """Colour and grey model from collected examples."""
    colour, grey = ([one for part in parts for one in part[k]] for k in (0, 1))
    everything = join_examples(colour + grey)
    colour_model = train_stage_model(join_examples(colour), networks=networks, epochs=epochs)
    grey_model = train_stage_model(everything, grey=True, networks=networks, epochs=epochs)
    return {"colour": with_looks(colour_model, colour), "grey": with_looks(grey_model, colour + grey)}


def main():
    """Collect, train, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=MODEL_FILE)
    parser.add_argument("--altered", type=int, default=3)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--leave-kinds", nargs="*", default=[], help="kinds of the second make not to learn from")
    args = parser.parse_args()
    photos, parts = collect_both(args.altered, args.workers)
    left = (photos.make != HERE.name) & photos.kind.isin(args.leave_kinds)
    parts = [p for p, out in zip(parts, left, strict=True) if not out]
    save_stage_model(args.out, train_both(parts))
    n = sum(len(one.answers) for p in parts for one in p[0])
    print(f"{n} examples; wrote {args.out.name}, {args.out.stat().st_size / 1024:.0f} kB")


if __name__ == "__main__":
    main()
