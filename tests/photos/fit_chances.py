"""Fit the chance that a proposal of the reader is an object, and write qckit/counting/reader/chances.json.

    python tests/photos/fit_chances.py [MAKE=FOLDER:READER[:FOLD] ...] [--out FILE]

Each FOLDER is laid out like this one (photos.csv, truth.csv, photos/) and is read by READER (an .onnx file), which must
not have seen it; with FOLD only the photos of that fold, as ``tests/training/train_reader.py`` deals them. Left out,
both labelled makes are read by the networks of ``tests/training/folds``, which are asked of what they have not seen.
Photos of the labelled makes are also read under the lamps and cameras of ``change_photos.py`` named with ``--looks``.

Printed first: each make as judged by a model fitted to the other makes (wrong ones among those taken, objects among
those left, the same for nauplii, and what the chances say of both). Written: the model fitted to all.
"""

import argparse
import json
import tempfile
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from change_photos import change_photo
from joblib import Parallel, delayed
from train_stages import FOLDS, HERE, N_FOLDS, deal, use_networks

from qckit.counting.analysis import find_ground
from qckit.counting.reader import network as reader
from qckit.counting.reader.chances import ACCEPTED, EVIDENCE, MODEL, READINGS, gather_chance_evidence
from qckit.counting.reader.joint_reading import propose_objects
from qckit.counting.segmentation.seeded import supported_at
from qckit.counting.stages import CLASSES
from qckit.counting.working import make_work_image
from qckit.photo import read_photo
from qckit.stages import STAGES

SECOND = HERE.parent / "photos_second_make"
LOOKS = (
    *("amber lamp", "grey camera", "underexposed", "overexposed", "sharpened", "slightly soft", "noisy"),
    "uneven lamp",
)
LOOK_WEIGHT = 0.5  # of a proposal in a changed photo
RIDGE = 3.0  # on the weights of standardised evidence


class Job(NamedTuple):
    """A folder of photos, the reader to read them by, and which fold of them."""

    make: str
    folder: Path
    network: Path
    fold: int | None = None


def parse_job(text: str) -> Job:
    """MAKE=FOLDER:READER[:FOLD]."""
    make, rest = text.split("=", 1)
    folder, network, *fold = rest.split(":")
    return Job(make, Path(folder), Path(network), int(fold[0]) if fold else None)


def own_jobs() -> list[Job]:
    """Both labelled makes by the networks of the folds."""
    return [
        Job(make, folder, FOLDS / f"reader-{k}.onnx", k)
        for make, folder in (("first", HERE), ("second", SECOND))
        for k in range(N_FOLDS)
    ]


def pictures_of(job: Job, looks, top: Path):
    """Folder, photo, scale and look of every picture of a job; changed photos are written under ``top``."""
    photos = pd.read_csv(job.folder / "photos.csv")
    if job.fold is not None:
        photos = photos[deal(photos) == job.fold]
    seen = {"": job.folder / "photos"}
    for look in looks if job.folder.resolve() in (HERE, SECOND) else ():
        out = top / f"{job.make}-{job.fold}-{look.replace(' ', '-')}"
        seen[look] = change_photo(job.folder / "photos", photos.photo, look, out)
    for look, folder in seen.items():
        for photo, um_per_px in zip(photos.photo, photos.um_per_px, strict=True):
            yield folder, photo, um_per_px, look


def whose(proposals, work, truth: pd.DataFrame) -> np.ndarray:
    """Of each proposal 1 where it is an object, 0 where not, -1 where nobody asks; surer ones choose first."""
    out = np.zeros(len(proposals.rows), int)
    if truth.empty:
        return out
    reach = np.maximum(0.3 * np.hypot(truth.x1 - truth.x0, truth.y1 - truth.y0), 3.0).to_numpy()
    asked = ((truth.touches_edge == 0) & (truth.visible_fraction >= 0.35)).to_numpy()
    at_x, at_y = proposals.cols * work.step_x, proposals.rows * work.step_y
    within = (truth.x0.to_numpy()[:, None] <= at_x) & (at_x < truth.x1.to_numpy()[:, None])
    within &= (truth.y0.to_numpy()[:, None] <= at_y) & (at_y < truth.y1.to_numpy()[:, None])
    x, y, taken = truth.x_px.to_numpy(), truth.y_px.to_numpy(), np.zeros(len(truth), bool)
    for j in np.argsort(-proposals.score, kind="stable"):
        away = np.hypot(x - at_x[j], y - at_y[j]) / reach
        free = np.where(taken, np.inf, away)
        i = int(free.argmin())
        if free[i] <= 1:
            taken[i] = True
            out[j] = 1 if asked[i] else -1
        elif (away.min() <= 1 and not asked[away.argmin()]) or (within[:, j] & ~asked).any():
            out[j] = -1
    return out


def collect(job: Job, photos: Path, photo: str, um_per_px: float, look: str) -> pd.DataFrame:
    """Evidence of every proposal in one photo, and whether it is an object."""
    use_networks(job.network)
    image = read_photo(photos / f"{photo}.jpg", um_per_px=um_per_px, finest_um_per_px=reader.READER_UM_PER_PX)
    work = make_work_image(image, um_per_px, to_um_per_px=reader.READER_UM_PER_PX)
    first, read_again = propose_objects(work, reader)
    ground = find_ground(work)
    mask = ground.foreground.mask
    truth = pd.read_csv(job.folder / "truth.csv")
    truth = truth[(truth.photo == photo) & truth.stage.isin(STAGES)].reset_index(drop=True)
    tables = []
    for readings, proposals in zip(READINGS, (first, read_again(ground.light)), strict=True):
        supported = supported_at(mask, proposals.rows, proposals.cols, work.um_per_px)
        table = pd.DataFrame(gather_chance_evidence(proposals, supported, work.um_per_px), columns=list(EVIDENCE))
        table = table.assign(stage=proposals.p.argmax(axis=1), is_object=whose(proposals, work, truth))
        tables.append(table[table.is_object >= 0].assign(make=job.make, look=look, photo=photo, readings=readings))
    return pd.concat(tables)


def collect_all(jobs: list[Job], looks, workers: int) -> pd.DataFrame:
    """Evidence of all photos of all jobs, those of the labelled makes under other looks too."""
    calls = []
    with tempfile.TemporaryDirectory() as top:
        for job in jobs:
            calls += [delayed(collect)(job, *one) for one in pictures_of(job, looks, Path(top))]
        return pd.concat(Parallel(workers)(calls), ignore_index=True)


def fit(table: pd.DataFrame) -> np.ndarray:
    """Weights per evidence, by penalised likelihood; the first (of one) is not penalised."""
    from scipy.optimize import minimize
    from scipy.special import expit

    evidence, answer = table[list(EVIDENCE)].to_numpy(), table.is_object.to_numpy(float)
    weight = np.where(table.look == "", 1.0, LOOK_WEIGHT)
    centre, spread = evidence[:, 1:].mean(axis=0), evidence[:, 1:].std(axis=0) + 1e-9
    design = np.column_stack([evidence[:, 0], (evidence[:, 1:] - centre) / spread])

    def cost(b):
        logit = design @ b
        value = weight @ (np.logaddexp(0, logit) - answer * logit) + 0.5 * RIDGE * (b[1:] ** 2).sum()
        slope = design.T @ (weight * (expit(logit) - answer))
        slope[1:] += RIDGE * b[1:]
        return value, slope

    b = minimize(cost, np.zeros(len(EVIDENCE)), jac=True, method="L-BFGS-B").x
    slope = b[1:] / spread
    return np.r_[b[0] - slope @ centre, slope]


def print_left_out(table: pd.DataFrame) -> None:
    """How each make comes out by a model of the other makes."""
    from scipy.special import expit

    for make, rows in table.groupby("make"):
        others = table[table.make != make]
        if others.empty:
            continue
        weights = fit(others)
        for changed, part in rows.groupby(rows.look != ""):
            part = part[part.stage < CLASSES.index("debris")]
            chance = expit(part[list(EVIDENCE)].to_numpy() @ weights)
            took, real = chance > ACCEPTED, part.is_object.to_numpy() == 1
            nauplii = part.stage.to_numpy() == 0
            print(
                f"{make}{', other looks' if changed else ''}: {took.sum()} taken, {(took & ~real).sum()} of them none "
                f"(stated {(1 - chance)[took].sum():.0f}), {(~took & real).sum()} objects left (stated "
                f"{chance[~took].sum():.0f}); nauplii {(took & ~real & nauplii).sum()} and "
                f"{(~took & real & nauplii).sum()}"
            )


def main():
    """Collect, print, fit, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("jobs", nargs="*", type=parse_job)
    parser.add_argument("--looks", nargs="*", default=LOOKS)
    parser.add_argument("--without", nargs="*", default=[], help="makes to print but not to fit")
    parser.add_argument("--out", type=Path, default=MODEL)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--table", type=Path, help="keep the evidence here, or take it from here where it is")
    args = parser.parse_args()
    if args.table and args.table.is_file():
        table = pd.read_csv(args.table, keep_default_na=False)
    else:
        table = collect_all(args.jobs or own_jobs(), args.looks, args.workers)
        if args.table:
            table.to_csv(args.table, index=False)
    models = {}
    for readings in READINGS:
        rows = table[table.readings == readings]
        print(f"{readings}:")
        print_left_out(rows)
        weights = fit(rows[~rows.make.isin(args.without)])
        models[readings] = dict(zip(EVIDENCE, weights.round(4).tolist(), strict=True))
    text = json.dumps(models, indent=1)
    args.out.write_text(text + "\n", encoding="utf-8")
    print(f"{len(table)} proposals; wrote {args.out.name}:\n{text}")


if __name__ == "__main__":
    main()
