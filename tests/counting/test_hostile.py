"""Damaged and senseless photos: a clear error or an honest zero with a flag, never a crash or a hang."""

import io
import time

import numpy as np
import pytest
import tifffile
from PIL import Image

from qckit.counting import count_photo
from qckit.errors import InputError

N_CORRUPTED = 1000


def originals(rng):
    """Small valid files of every kind."""
    rows, cols = np.mgrid[0:96, 0:128]
    scene = np.full((96, 128, 3), 205, np.uint8)
    for _ in range(5):
        r, c = rng.integers(15, 80), rng.integers(15, 110)
        scene[(rows - r) ** 2 + (cols - c) ** 2 < 81] = (110, 70, 40)
    image = Image.fromarray(scene)
    for name, mode, options in (
        ("JPEG", "RGB", {}),
        ("PNG", "RGB", {}),
        ("PNG", "P", {}),
        ("JPEG", "L", {}),
        ("PNG", "RGBA", {}),
        ("JPEG", "CMYK", {}),
        ("WEBP", "RGB", {}),
        ("BMP", "RGB", {}),
        ("TIFF", "RGB", {"compression": "tiff_lzw"}),
    ):
        buffer = io.BytesIO()
        image.convert(mode).save(buffer, name, **options)
        yield buffer.getvalue()
    for values in (scene, scene.astype(np.uint16) * 257, scene[..., 0]):
        buffer = io.BytesIO()
        tifffile.imwrite(buffer, values)
        yield buffer.getvalue()


def corrupt(data: bytes, rng) -> bytes:
    """One random harm: cut, flipped bits, overwritten header, doubled or swapped pieces."""
    kind = rng.integers(5)
    out = bytearray(data)
    if kind == 0:
        return bytes(out[: rng.integers(1, len(out))])
    if kind == 1:
        for at in rng.integers(0, len(out), rng.integers(1, 30)):
            out[at] ^= 1 << rng.integers(8)
    elif kind == 2:
        n = min(len(out), 64)
        at = rng.integers(0, n, 6)
        for k in at:
            out[k] = rng.integers(256)
    elif kind == 3:
        a, b = sorted(rng.integers(0, len(out), 2))
        out[a:b] = bytes(rng.integers(0, 256, b - a, dtype=np.uint8))
    else:
        a, b = sorted(rng.integers(0, len(out), 2))
        out = out[:b] + out[a:]
    return bytes(out)


@pytest.mark.slow
def test_a_thousand_corruptions(tmp_path, rng):
    sources = list(originals(rng))
    path = tmp_path / "photo.jpg"
    refused, slowest = 0, 0.0
    for i in range(N_CORRUPTED):
        path.write_bytes(corrupt(sources[i % len(sources)], rng))
        start = time.process_time()
        try:
            count = count_photo(path, um_per_px=8.0, reader=None)
            stages = count.objects.loc[count.objects["counted"], "stage"]
            assert count.counts == {stage: (stages == stage).sum() for stage in count.counts}
            assert np.isfinite(count.objects[["x_px", "y_px", "length_um"]].to_numpy(float)).all()
        except InputError as error:
            refused += 1
            assert str(error).startswith("photo.jpg: ")
            assert "\n" not in str(error)
        slowest = max(slowest, time.process_time() - start)
    assert 0.2 * N_CORRUPTED < refused < N_CORRUPTED  # some survive, most do not
    assert slowest < 20


@pytest.mark.parametrize("shape", [(1, 1), (1, 500), (500, 1), (2, 2), (7, 9), (40, 40)])
@pytest.mark.parametrize("fill", ["black", "white", "noise"])
def test_empty_pictures_count_nothing_and_say_so(tmp_path, rng, shape, fill):
    pixels = {
        "black": np.zeros((*shape, 3), np.uint8),
        "white": np.full((*shape, 3), 255, np.uint8),
        "noise": rng.integers(0, 256, (*shape, 3), dtype=np.uint8),
    }[fill]
    Image.fromarray(pixels).save(tmp_path / "a.png")
    count = count_photo(tmp_path / "a.png", um_per_px=6.0)
    assert sum(count.counts.values()) == 0
    assert "few" in [f.code for f in count.flags]
    assert np.isnan(count.hatch_pct)


@pytest.mark.parametrize("fill", [0, 255, 128])
def test_large_flat_picture_counts_nothing(tmp_path, fill):
    Image.new("RGB", (1600, 1200), (fill,) * 3).save(tmp_path / "a.png")
    count = count_photo(tmp_path / "a.png", um_per_px=5.0)
    assert sum(count.counts.values()) == 0
    assert count.flags


def test_large_noise_counts_next_to_nothing_and_is_flagged(tmp_path, rng):
    Image.fromarray(rng.integers(0, 256, (900, 1200, 3), dtype=np.uint8)).save(tmp_path / "a.png")
    count = count_photo(tmp_path / "a.png", um_per_px=6.0)
    assert sum(count.counts.values()) <= 2
    assert count.flags
