"""What must not change a count: size with scale to match, turning, mirroring, compression, depth, grey."""

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from qckit.counting import count_photo
from qckit.stages import STAGES
from qckit.tables import table_columns


def numbers(count) -> np.ndarray:
    """Objects found per stage, the frame's edges left out of it."""
    return np.array([(count.objects.stage == s).sum() for s in STAGES])


def close(a, b, share=0.1, least=2) -> bool:
    """Sum over stages of the differences at most a share of all objects."""
    return np.abs(a - b).sum() <= max(least, share * max(a.sum(), b.sum()))


@pytest.fixture(scope="module")
def plain(crop):
    path, scale = crop()
    return path, scale, count_photo(path, um_per_px=scale)


def test_table_holds_the_contract(plain):
    count = plain[2]
    objects = count.objects
    assert list(objects.columns) == table_columns("objects")
    p = objects[[f"p_{s}" for s in (*STAGES, "debris")]].to_numpy()
    assert np.allclose(p.sum(axis=1), 1, atol=5e-4)
    assert (objects.length_um >= objects.width_um).all()
    assert objects.x_px.between(0, count.width_px).all()
    assert objects.y_px.between(0, count.height_px).all()
    assert count.counts == {s: int(((objects.stage == s) & objects.counted).sum()) for s in STAGES}
    assert not objects.counted[objects.stage == "debris"].any()
    assert count.frame_mm2 == pytest.approx(960 * 720 * plain[1] ** 2 / 1e6)
    assert numbers(count).sum() >= 20


def test_same_again_to_the_last_digit(plain):
    path, scale, count = plain
    assert count_photo(path, um_per_px=scale).objects.equals(count.objects)


@pytest.mark.parametrize("factor", [0.5, 0.7, 1.5, 2.0])
def test_resized_with_scale_to_match(plain, tmp_path, factor):
    path, scale, count = plain
    image = Image.open(path)
    size = (round(image.width * factor), round(image.height * factor))
    image.resize(size, Image.Resampling.LANCZOS).save(tmp_path / "a.png", compress_level=1)
    again = count_photo(tmp_path / "a.png", um_per_px=scale / factor)
    assert close(numbers(again), numbers(count), share=0.15 if factor < 0.7 else 0.1)
    big = [c.objects.length_um[c.objects.stage == "cyst"].median() for c in (again, count)]
    assert big[0] == pytest.approx(big[1], rel=0.06)


@pytest.fixture(scope="module")
def larger(crop):
    """Twice as many bodies: of few, one that is told otherwise is more than a tenth with its neighbour."""
    path, scale = crop(box=(200, 100, 1720, 1240))
    return path, scale, count_photo(path, um_per_px=scale)


@pytest.mark.parametrize("turn", ["rotate 90", "rotate 180", "rotate 270", "mirror", "flip"])
def test_turned_and_mirrored(larger, tmp_path, turn):
    path, scale, count = larger
    image = Image.open(path)
    image = {"mirror": ImageOps.mirror, "flip": ImageOps.flip}.get(
        turn, lambda im: im.rotate(int(turn[-3:]), expand=True)
    )(image)
    image.save(tmp_path / "a.png", compress_level=1)
    assert close(numbers(count_photo(tmp_path / "a.png", um_per_px=scale)), numbers(count))


@pytest.mark.parametrize("quality", [60, 75, 95])
def test_compressed(plain, tmp_path, quality):
    path, scale, count = plain
    Image.open(path).save(tmp_path / "a.jpg", quality=quality)
    assert close(numbers(count_photo(tmp_path / "a.jpg", um_per_px=scale)), numbers(count))


def test_sixteen_bit_counts_the_same(plain, tmp_path):
    path, scale, count = plain
    tifffile.imwrite(tmp_path / "a.tif", np.asarray(Image.open(path)).astype(np.uint16) * 257, photometric="rgb")
    again = count_photo(tmp_path / "a.tif", um_per_px=scale).objects
    assert again.drop(columns="photo").equals(count.objects.drop(columns="photo"))


def test_grey_camera_still_counts(plain, tmp_path):
    path, scale, count = plain
    Image.open(path).convert("L").save(tmp_path / "a.png")
    assert close(numbers(count_photo(tmp_path / "a.png", um_per_px=scale)), numbers(count), share=0.25)


def test_doubled_scale_doubles_lengths_and_is_flagged(plain):
    path, scale, _ = plain
    assert (
        "scale" in [f.code for f in count_photo(path, um_per_px=scale * 2.6).flags]
        or not numbers(count_photo(path, um_per_px=scale * 2.6)).any()
    )


def test_an_isolated_object_more_is_one_more(plain, tmp_path):
    """A lone object of the photo is copied onto an empty place: one more object, and the others stay as they were."""
    path, scale, count = plain
    image = np.asarray(Image.open(path)).copy()
    taken = count.objects
    xy = taken[["x_px", "y_px"]].to_numpy()
    gap = np.hypot(*(xy[:, None] - xy).transpose(2, 0, 1)) + np.diag(np.full(len(xy), 1e9))
    lone = taken[(taken.stage == "cyst") & (gap.min(axis=1) > 70) & ~taken.on_edge].iloc[0]
    half = 32
    rows, cols = np.mgrid[half + 4 : 720 - half - 4 : 8, half + 4 : 960 - half - 4 : 8]
    away = np.hypot(cols[..., None] - xy[:, 0], rows[..., None] - xy[:, 1]).min(axis=-1)
    at = np.unravel_index(np.argmax(away), away.shape)
    r, c = rows[at], cols[at]
    y, x = int(lone.y_px), int(lone.x_px)
    patch = image[y - half : y + half, x - half : x + half].astype(float)
    place = image[r - half : r + half, c - half : c + half]
    # evened out to the light of its new place, so that the copy has no seam
    ratio = np.median(place, axis=(0, 1)) / np.median(patch[:4], axis=(0, 1))
    image[r - half : r + half, c - half : c + half] = np.clip(np.rint(patch * ratio), 0, 255)
    Image.fromarray(image).save(tmp_path / "a.png", compress_level=1)
    again = numbers(count_photo(tmp_path / "a.png", um_per_px=scale))
    more = again - numbers(count)
    assert more.sum() == 1
    assert sorted(more.tolist()) == [0, 0, 0, 1]
