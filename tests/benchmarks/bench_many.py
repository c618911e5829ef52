"""What counting very many photos costs: memory of the process that gathers them and of its workers, and time.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_many.py [--photos 1000 10000] [--side 400] [--workers 2] [--checked]

The photos are one piece of a labelled photo under as many names (hard links), so that the disk holds it once and each
is counted all the same. Every number of photos is counted by a fresh process, into a folder, as ``qckit count`` does.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pandas as pd
from PIL import Image

PHOTOS = Path(__file__).resolve().parents[1] / "photos"

CODE = """
import resource, sys, time
from qckit.counting import count_photos
top, out, scale, workers, checked = sys.argv[1:]
start, first = time.perf_counter(), []
def progress(done, total, name):
    if done == 50:
        first.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
options = {"workers": int(workers), "out_dir": out, "checked": checked == "True", "progress": progress}
counted = count_photos(top, float(scale), **options)
clock = time.perf_counter() - start
objects = sum(part.n_objects for part in counted.parts)
me, they = (resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
cpu = sum(u.ru_utime + u.ru_stime for u in (me, they))
print(f"{len(counted.counts):>6} photos {objects:>8} objects {clock:8.1f} s, {cpu:8.1f} s of processors; "
      f"peak: gathering {me.ru_maxrss / 1024:.0f} MiB ({first[0] / 1024:.0f} after 50 photos), "
      f"worker {they.ru_maxrss / 1024:.0f} MiB")
"""


def main():
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=int, nargs="+", default=[1000, 10_000])
    parser.add_argument("--side", type=int, default=400, help="Side of the piece in px.")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--checked", action="store_true")
    args = parser.parse_args()
    scale = float(pd.read_csv(PHOTOS / "photos.csv").set_index("photo").um_per_px["bright-04"])
    with tempfile.TemporaryDirectory() as folder:
        piece = Path(folder) / "piece.jpg"
        box = (300, 200, 300 + args.side, 200 + args.side)
        Image.open(PHOTOS / "photos" / "bright-04.jpg").crop(box).save(piece, quality=90)
        for n in args.photos:
            top = Path(folder) / f"photos-{n}"
            top.mkdir()
            for i in range(n):
                os.link(piece, top / f"p{i:05}.jpg")
            words = [top, Path(folder) / f"out-{n}", scale, args.workers, args.checked]
            subprocess.run([sys.executable, "-c", CODE, *map(str, words)], check=True)


if __name__ == "__main__":
    main()
