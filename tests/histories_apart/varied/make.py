"""python make_varied.py OUT --seed N [--only poor|quiet|changes]: write the sets."""

import argparse
import json
import zipfile
from pathlib import Path

import numpy as np

from varied import changes, poor, quiet

PARTS = {"poor": poor.make, "quiet": quiet.make, "changes": changes.make}


def plain(x):
    """Turn numpy values into what json knows."""
    if isinstance(x, dict):
        return {k: plain(v) for k, v in x.items()}
    if isinstance(x, list | tuple):
        return [plain(v) for v in x]
    if isinstance(x, np.bool_):
        return bool(x)
    if isinstance(x, float | np.floating):
        return round(float(x), 4)
    return int(x) if isinstance(x, np.integer) else x


def write(folder, sites):
    """Write data.zip and truth.json of one set."""
    folder.mkdir(parents=True, exist_ok=True)
    with zipfile.ZipFile(folder / "data.zip", "w", zipfile.ZIP_DEFLATED) as z:
        for name, (tables, _) in sites.items():
            for key, frame in tables.items():
                z.writestr(zipfile.ZipInfo(f"{name}/{key}.csv"), frame.to_csv(index=False), zipfile.ZIP_DEFLATED)
    truth = {name: plain(t) for name, (_, t) in sites.items()}
    (folder / "truth.json").write_text(json.dumps(truth, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def run(parts, doc):
    """Write the sets that the command line asks for; ``parts`` makes each from a seed."""
    p = argparse.ArgumentParser(description=doc)
    p.add_argument("out", type=Path)
    p.add_argument("--seed", type=int, required=True)
    p.add_argument("--only", choices=list(parts))
    a = p.parse_args()
    for part in [a.only] if a.only else list(parts):
        write(a.out / part, parts[part](a.seed))


def main():
    """Run from the command line."""
    run(PARTS, __doc__)
