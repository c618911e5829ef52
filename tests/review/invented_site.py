"""A small invented site with one counted photo, whose objects are the drawn truth with invented doubts."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import numpy as np
import pandas as pd

from qckit._paths import sample_images_dir
from qckit.log import new_site, open_log
from qckit.stages import STAGES

PHOTO, SAMPLE = "k-121_a_1", "RF-121-A-1"
NOW = "2026-11-04T10:00:00+00:00"


def truth_objects(photo: str, um_per_px: float, rng) -> pd.DataFrame:
    """Objects of the drawn photo, as the counter would hand them over, each with an invented probability."""
    truth = pd.read_csv(sample_images_dir() / "truth.csv")
    truth = truth[(truth["photo"] == photo) & truth["stage"].isin(STAGES)].reset_index(drop=True)
    sure = rng.uniform(0.5, 1.0, len(truth))
    out = pd.DataFrame({"photo": f"{photo}.jpg", "object_id": np.arange(1, len(truth) + 1), "stage": truth["stage"]})
    names = (*STAGES, "debris")
    for name in names:
        out[f"p_{name}"] = np.where(truth["stage"] == name, sure, (1 - sure) / 4)
    out["x_px"], out["y_px"] = truth["x_px"], truth["y_px"]
    out["length_um"] = np.hypot(truth["x1"] - truth["x0"], truth["y1"] - truth["y0"]) * um_per_px
    out["width_um"] = 200.0
    out["area_um2"] = truth["visible_area_px"] * um_per_px**2
    out["on_edge"] = truth["touches_edge"] == 1
    out["counted"] = truth["in_frame"] == 1
    out["source"] = "found"
    return out


def make_site(folder: Path, photos=(PHOTO,)) -> Path:
    """Make the site; returns its folder."""
    site = Path(new_site(folder, name="Invented room"))
    images = sample_images_dir()
    sheet = pd.read_csv(images / "samples.csv", dtype=str, keep_default_na=False)
    sheet = sheet[sheet["photos"].isin([f"{p}.jpg" for p in photos])]
    sheet.to_csv(site / "samples.csv", index=False)
    with open_log(site, now=lambda: NOW) as log:
        log.import_sheets([images / "lots.csv", images / "hatches.csv", site / "samples.csv"], by="op1")
        for k, photo in enumerate(photos):
            path = site / "photos" / f"{photo}.jpg"
            path.parent.mkdir(exist_ok=True)
            shutil.copy(images / "photos" / path.name, path)
            row = {
                "photo": path.name,
                "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
                "um_per_px": 6.2,
                "width_px": 1920,
                "height_px": 1440,
                "frame_mm2": 1920 * 1440 * 6.2**2 / 1e6,
                "flags": "",
                "counter_version": "truth",
            }
            objects = truth_objects(photo, 6.2, np.random.default_rng(k))
            log.record_counts(pd.DataFrame([row]), objects=objects, by="op1")
    return site
