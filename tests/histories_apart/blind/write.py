"""Write a set of histories: data.zip with four tables a site, and truth.json."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path


def write_set(folder: Path, sites: dict) -> None:
    """sites: name -> (truth, frames)."""
    folder.mkdir(parents=True, exist_ok=True)
    with zipfile.ZipFile(folder / "data.zip", "w", zipfile.ZIP_DEFLATED) as z:
        for name, (_, frames) in sites.items():
            for table in ("lots", "hatches", "readings", "samples"):
                frame = frames[table].copy()
                for c in frame.columns:  # counts with gaps stay whole numbers
                    if c in ("nauplii", "umbrella", "cysts", "embryos", "shells", "light_lux"):
                        frame[c] = frame[c].astype("Float64").round().astype("Int64")
                text = io.StringIO()
                frame.to_csv(text, index=False, lineterminator="\n")
                z.writestr(
                    zipfile.ZipInfo(f"{name}/{table}.csv", (2026, 1, 1, 0, 0, 0)), text.getvalue(), zipfile.ZIP_DEFLATED
                )
    truth = {name: t for name, (t, _) in sites.items()}
    (folder / "truth.json").write_text(json.dumps(truth, indent=1, default=float) + "\n", encoding="utf-8")
