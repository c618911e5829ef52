"""How many damaged photos are counted silently wrong: ``python tests/hostile/fuzz_photos.py --n 1000``.

Every labelled photo is cut to a piece and counted; then it is damaged in one of many ways and counted again. A damage
is silent where the photo is neither refused nor flagged beyond the flags of its sound piece; it matters where the
number of counted objects, or of any of nauplii and cysts where there are 20 or more, moves by more than a tenth.
"""

from __future__ import annotations

import argparse
import io
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
from PIL import Image

from qckit.counting import count_photo
from qckit.counting.damage.integrity import signs_in_pixels
from qckit.counting.pipeline import finest_scale
from qckit.errors import QcError
from qckit.photo import read_photo
from qckit.photo.reading import read_brightness

PHOTOS = Path(__file__).resolve().parents[1] / "photos"
SIDE = 800


def _jpeg(pixels, quality=90) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "JPEG", quality=quality)
    return buffer.getvalue()


def _png(pixels) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "PNG", compress_level=1)
    return buffer.getvalue()


def flipped_bits(pixels, rng):
    """Flip a few bits behind the head of a JPEG."""
    data = bytearray(_jpeg(pixels))
    for at in rng.integers(700, len(data), rng.integers(1, 6)):
        data[at] ^= 1 << rng.integers(8)
    return bytes(data)


def overwritten(pixels, rng):
    """Overwrite a run of a JPEG's bytes."""
    data = bytearray(_jpeg(pixels))
    a = int(rng.integers(700, len(data) - 400))
    n = int(rng.integers(4, 400))
    data[a : a + n] = rng.bytes(n)
    return bytes(data)


def doubled(pixels, rng):
    """Double or drop a piece of a JPEG."""
    data = _jpeg(pixels)
    a, b = sorted(rng.integers(700, len(data), 2))
    return data[:b] + data[a:] if rng.random() < 0.5 else data[:a] + data[b:]


def cut(pixels, rng):
    """Cut a JPEG off and close it, so that no decoder misses its end."""
    data = _jpeg(pixels)
    return data[: int(rng.integers(700, len(data)))] + b"\xff\xd9"


def frozen(pixels, rng):
    """Let the sensor freeze part of the way: the last row again and again."""
    out, at = pixels.copy(), int(rng.integers(SIDE // 8, 7 * SIDE // 8))
    if rng.random() < 0.5:
        out[at:] = out[at]
    else:
        out[:, at:] = out[:, at : at + 1]
    return _jpeg(out)


def squeezed(pixels, rng):
    """Squeeze one direction to half."""
    h, w = pixels.shape[:2]
    size = (w // 2, h) if rng.random() < 0.5 else (w, h // 2)
    return _jpeg(np.asarray(Image.fromarray(pixels).resize(size)))


def two_scales(pixels, rng):
    """Enlarge one half of the photo by a factor."""
    factor = float(rng.uniform(1.5, 2.2))
    h, w = pixels.shape[:2]
    large = np.asarray(Image.fromarray(pixels).resize((int(w * factor), int(h * factor))))
    out = pixels.copy()
    if rng.random() < 0.5:
        out[:, w // 2 :] = large[:h, w // 2 : w]
    else:
        out[h // 2 :] = large[h // 2 : h, :w]
    return _jpeg(out)


def repeated_block(pixels, rng):
    """Copy a block of the photo elsewhere in it."""
    out = pixels.copy()
    h, w = rng.integers(SIDE // 4, 3 * SIDE // 4, 2)
    r, c = rng.integers(0, pixels.shape[0] - h + 1), rng.integers(0, pixels.shape[1] - w + 1)
    r2, c2 = rng.integers(0, pixels.shape[0] - h + 1), rng.integers(0, pixels.shape[1] - w + 1)
    out[r2 : r2 + h, c2 : c2 + w] = pixels[r : r + h, c : c + w]
    return _jpeg(out)


def shifted_rows(pixels, rng):
    """Shift bands of rows sideways."""
    out = pixels.copy()
    for _ in range(int(rng.integers(1, 5))):
        a = int(rng.integers(0, SIDE - 40))
        b = a + int(rng.integers(20, 300))
        out[a:b] = np.roll(out[a:b], int(rng.integers(20, SIDE // 2)), axis=1)
    return _jpeg(out)


def repeated_rows(pixels, rng):
    """Read a band of rows twice in place of the next."""
    out = pixels.copy()
    n = int(rng.integers(SIDE // 8, SIDE // 3))
    a = int(rng.integers(0, SIDE - 2 * n))
    out[a + n : a + 2 * n] = pixels[a : a + n]
    return _jpeg(out)


def foreign_block(pixels, rng):
    """Lay a block of something else over a part."""
    out = pixels.copy()
    h, w = rng.integers(SIDE // 4, 3 * SIDE // 4, 2)
    r, c = rng.integers(0, pixels.shape[0] - h + 1), rng.integers(0, pixels.shape[1] - w + 1)
    kind = rng.integers(4)
    if kind == 0:
        out[r : r + h, c : c + w] = rng.integers(0, 256, 3)
    elif kind == 1:
        out[r : r + h, c : c + w] = rng.integers(0, 256, (h, w, 3))
    elif kind == 2:
        out[r : r + h, c : c + w] = out[r : r + h, c : c + w][::-1, ::-1]
    else:
        out[r : r + h, c : c + w] = np.linspace(0, 255, w)[None, :, None]
    return (_jpeg if rng.random() < 0.7 else _png)(out)


DAMAGES = (
    flipped_bits,
    overwritten,
    doubled,
    cut,
    frozen,
    squeezed,
    two_scales,
    repeated_block,
    shifted_rows,
    repeated_rows,
    foreign_block,
)


def pieces():
    """Yield (name, pixels, scale) of a piece of every labelled photo."""
    table = pd.read_csv(PHOTOS / "photos.csv").set_index("photo")
    for name, row in table.iterrows():
        path = next((PHOTOS / "photos").glob(f"{name}.*"))
        pixels = np.asarray(Image.open(path).convert("RGB"))
        top, left = (pixels.shape[0] - SIDE) // 2, (pixels.shape[1] - SIDE) // 2
        yield name, np.ascontiguousarray(pixels[top : top + SIDE, left : left + SIDE]), float(row.um_per_px)


def apart(before: dict, after: dict) -> bool:
    """Tell whether counts moved by more than a tenth."""
    pairs = [(sum(before.values()), sum(after.values()))]
    pairs += [(before[s], after[s]) for s in ("nauplius", "cyst") if before[s] >= 20]
    return any(abs(b - a) > 0.1 * max(b, 1) for b, a in pairs)


def what_became(path, scale, counts, codes) -> str:
    """Say whether a damaged photo is flagged, or counted silently; a flagged one need not be counted for that."""
    photo = read_photo(path, um_per_px=scale, finest_um_per_px=finest_scale())
    if signs_in_pixels(photo.pixels, reduction=photo.reduction, fine=lambda: read_brightness(path)):
        return "flagged"
    count = count_photo(path, um_per_px=scale, photo=photo)
    if {f.code for f in count.flags} - codes:
        return "flagged"
    return "silent, wrong" if apart(counts, count.counts) else "silent, right"


def _keep(folder: Path, name: str, what: str, data: bytes) -> None:
    """Note what became of a photo; keep it where nothing was noticed."""
    folder.mkdir(exist_ok=True)
    with (folder / "became.csv").open("a", encoding="utf-8") as file:
        file.write(f"{name},{what.replace(',', '')}\n")
    if what.startswith("silent"):
        (folder / name).write_bytes(data)


def main() -> None:
    """Count damaged photos and print what became of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--n", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=17)
    parser.add_argument("--keep", type=Path, help="keep silent photos, and what became of each, in this folder")
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    sound = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.jpg"
        for name, pixels, scale in pieces():
            path.write_bytes(_jpeg(pixels))
            count = count_photo(path, um_per_px=scale)
            codes = {f.code for f in count.flags}
            if sum(count.counts.values()) >= 15:
                sound.append((name, pixels, scale, count.counts, codes))
        told = Counter()
        for i in range(options.n):
            damage = DAMAGES[i % len(DAMAGES)]
            name, pixels, scale, counts, codes = sound[int(rng.integers(len(sound)))]
            data = damage(pixels, rng)
            path.write_bytes(data)
            try:
                what = what_became(path, scale, counts, codes)
            except QcError:
                what = "refused"
            told[damage.__name__, what] += 1
            if options.keep:
                _keep(options.keep, f"{i:04}-{what[-5:].strip()}-{damage.__name__}-{name}-{scale:g}.jpg", what, data)
    frame = pd.Series(told).unstack(fill_value=0)
    frame.loc["all"] = frame.sum()
    print(f"{len(sound)} sound pieces")
    print(frame.to_string())


if __name__ == "__main__":
    main()
