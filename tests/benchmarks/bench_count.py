"""What a count costs, as ratios to D: the median time Pillow takes to decode the same file fully, in the same run.

    OMP_NUM_THREADS=1 python tests/benchmarks/bench_count.py [--rounds 5] [--many 20] [--reader off] [--labelled]

Twelve-megapixel photos are made by laying a labelled photo side by side with itself, mirrored. CPU time is measured,
so that other work on the machine weighs little; the ratio of two processes to one is by the clock and needs an idle
machine. ``--labelled`` leaves it at the labelled photos.
"""

import argparse
import io
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from PIL import Image, ImageOps

from qckit.counting import CountOptions, count_photo, count_photos, draw_checked
from qckit.photo import read_photo

PHOTOS = Path(__file__).resolve().parents[1] / "photos"


def tiled(photo: str, size: tuple[int, int], path: Path, factor: float = 1.0) -> Path:
    """Fill a picture with a photo and its mirror images."""
    tile = Image.open(PHOTOS / "photos" / f"{photo}.jpg").convert("RGB")
    if factor != 1:
        tile = tile.resize((round(tile.width * factor), round(tile.height * factor)))
    page = Image.new("RGB", size)
    for i, x in enumerate(range(0, size[0], tile.width)):
        for j, y in enumerate(range(0, size[1], tile.height)):
            piece = ImageOps.mirror(tile) if i % 2 else tile
            page.paste(ImageOps.flip(piece) if j % 2 else piece, (x, y))
    page.save(path, quality=90)
    return path


def cpu(work, rounds: int) -> float:
    """Median CPU seconds."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return statistics.median(times)


def decode(path: Path) -> None:
    """Pillow's full decode."""
    Image.open(io.BytesIO(path.read_bytes())).load()


def costs(path: Path, um_per_px: float, reader, rounds: int) -> tuple[int, float, float, float]:
    """Objects, and CPU seconds of Pillow's decode, of the count and of the checked picture."""
    count = count_photo(path, um_per_px=um_per_px, reader=reader)
    photo = read_photo(path, um_per_px=um_per_px, finest_um_per_px=12)
    base = cpu(lambda: decode(path), 5 * rounds)
    whole = cpu(lambda: count_photo(path, um_per_px=um_per_px, reader=reader), rounds)
    drawing = cpu(
        lambda: draw_checked(photo.pixels, count.objects, um_per_px=um_per_px, px_per_photo_px=1 / photo.reduction),
        rounds,
    )
    return len(count.objects), base, whole, drawing


def one(name: str, path: Path, um_per_px: float, reader, rounds: int) -> float:
    """Print the cost of one photo in D."""
    n, base, whole, drawing = costs(path, um_per_px, reader, rounds)
    print(
        f"{name:<34}{n:>6} objects   D {1000 * base:6.1f} ms   count {whole / base:6.1f} D   "
        f"checked picture {drawing / base:5.1f} D"
    )
    return whole


def labelled(reader, rounds: int) -> None:
    """Print the cost of the labelled photos by kind, in D of each: median, least and most."""
    photos = pd.read_csv(PHOTOS / "photos.csv")
    surface = np.where(photos.notes.str.contains("dish"), "dish", "mesh")
    kind = photos.kind.where(photos.kind != "sieve", photos.kind + ", " + surface)
    for name, group in photos.groupby(kind):
        found = [costs(PHOTOS / "photos" / f"{p}.jpg", u, reader, rounds) for p, u in zip(group.photo, group.um_per_px)]
        _, base, whole, drawing = np.array(found).T
        ratio, picture = whole / base, drawing / base
        print(
            f"{name:<14}{len(group)} photos   D {1000 * np.median(base):5.1f} ms   count {np.median(ratio):5.1f} D "
            f"({ratio.min():.1f} to {ratio.max():.1f})   checked picture {np.median(picture):4.1f} D"
        )


def peak_mib(path: Path, um_per_px: float, reader="auto") -> tuple[float, float]:
    """Peak memory of a fresh process: when it has counted a photo, and when its table was asked for too.

    Linux; its parent's own peak left out.
    """
    code = (
        f"from qckit.counting import count_photo; "
        f"peak = lambda: next(r.split()[1] for r in open('/proc/self/status') if r.startswith('VmHWM')); "
        f"counted = count_photo({str(path)!r}, um_per_px={um_per_px}, reader={reader!r}); "
        f"print(peak(), len(counted.objects) and peak())"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    counted, with_table = (int(kib) / 1024 for kib in done.stdout.split())
    return counted, with_table


def main():
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--many", type=int, default=20)
    parser.add_argument("--reader", choices=["auto", "off"], default="auto")
    parser.add_argument("--labelled", action="store_true")
    args = parser.parse_args()
    reader = None if args.reader == "off" else "auto"
    if args.labelled:
        labelled(reader, args.rounds)
        return
    scale = pd.read_csv(PHOTOS / "photos.csv").set_index("photo").um_per_px
    with tempfile.TemporaryDirectory() as folder:
        top = Path(folder)
        big = tiled("bright-04", (4000, 3000), top / "big.jpg")
        cost = one("12 MP, bright", big, scale["bright-04"], reader, args.rounds)
        half = tiled("bright-04", (2828, 2121), top / "half.jpg")
        smaller = one("6 MP, same density", half, scale["bright-04"], reader, args.rounds)
        print(f"{'':<6}pixels doubled: x {cost / smaller:.2f}")
        sparse = tiled("bright-03", (4000, 3000), top / "sparse.jpg", factor=5.04 / 3.91)
        fewer = one("12 MP, fewer objects", sparse, 3.91, reader, args.rounds)
        print(f"{'':<6}more objects on the same pixels: x {cost / fewer:.2f}")
        labelled(reader, args.rounds)
        for photo in ("bright-04", "dark-07"):  # the second is read again, in mirror images
            path = tiled(photo, (4000, 3000), top / f"{photo}.jpg")
            counted, with_table = peak_mib(path, scale[photo], reader)
            print(f"peak memory, 12 MP of {photo}: {counted:.0f} MiB, its table asked for {with_table:.0f} MiB")
        many = top / "many"
        many.mkdir()
        for i in range(args.many):
            (many / f"p{i:03}.jpg").write_bytes(big.read_bytes())
        clock = {}
        for workers in (1, 2):
            start = time.perf_counter()
            count_photos(many, float(scale["bright-04"]), workers=workers, options=CountOptions(reader=reader))
            clock[workers] = time.perf_counter() - start
        ratio = clock[1] / clock[2]
        print(f"{args.many} photos: {clock[1]:.1f} s with one process, {clock[2]:.1f} s with two: x {ratio:.2f}")
        print(f"this process at its peak: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
