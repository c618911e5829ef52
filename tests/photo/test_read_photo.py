"""Reading photos: formats, depths, orientation, time, limits, and every failure as one line."""

import io
from dataclasses import replace

import numpy as np
import pytest
import tifffile
from PIL import Image

from qckit.errors import InputError
from qckit.photo import find_photos, photo_names, read_photo
from qckit.photo.decoding import pixels_of
from qckit.photo.reading import Brightness


@pytest.fixture
def scene():
    """A small picture whose corners differ, so that any turn shows."""
    rows, cols = np.mgrid[0:40, 0:60]
    return np.stack([rows * 6, cols * 4, np.where((rows < 20) & (cols < 30), 200, 40)], axis=-1).astype(np.uint8)


def test_png_jpeg_tiff_agree(tmp_path, scene):
    Image.fromarray(scene).save(tmp_path / "a.png")
    Image.fromarray(scene).save(tmp_path / "a.jpg", quality=98, subsampling=0)
    tifffile.imwrite(tmp_path / "a.tif", scene, photometric="rgb")
    tifffile.imwrite(tmp_path / "b.tif", scene.astype(np.uint16) * 257, photometric="rgb")
    assert (read_photo(tmp_path / "a.png").pixels == scene).all()
    assert (read_photo(tmp_path / "a.tif").pixels == scene).all()
    assert (read_photo(tmp_path / "b.tif").pixels == scene).all()
    assert np.abs(read_photo(tmp_path / "a.jpg").pixels.astype(int) - scene).mean() < 4


def test_pixels_are_those_of_the_picture_even_none_and_such_as_look_like_a_pixmaps_head():
    head = np.frombuffer(b"\n255\n0" * 64, np.uint8).reshape(16, 24)
    for values in (head, head.repeat(3, axis=1).reshape(16, 24, 3), head[:1, :1]):
        assert np.array_equal(pixels_of(Image.fromarray(values)), values)
    grey = Brightness(Image.fromarray(head))
    assert grey[5:5].shape == (0, 24) and grey.T[24:30].shape == (0, 16)
    assert np.array_equal(grey[14:20], head[14:])


def test_heic_is_read_upright(tmp_path, scene):
    pillow_heif = pytest.importorskip("pillow_heif")
    big = np.kron(scene, np.ones((4, 4, 1), np.uint8))
    pillow_heif.from_bytes("RGB", (240, 160), big.tobytes()).save(tmp_path / "a.heic", quality=95)
    photo = read_photo(tmp_path / "a.heic")
    assert (photo.width_px, photo.height_px, photo.format) == (240, 160, "HEIF")
    assert np.abs(photo.pixels.astype(int) - big).mean() < 5


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_is_turned_upright(tmp_path, scene, orientation):
    """The file is written so that turning it as EXIF says gives the scene back (TIFF 6.0, section 8)."""
    undo = {
        1: lambda a: a,
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.swapaxes(0, 1),
        6: lambda a: np.rot90(a, 1),
        7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
        8: lambda a: np.rot90(a, -1),
    }
    stored = np.ascontiguousarray(undo[orientation](scene))
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.fromarray(stored).save(tmp_path / "a.png", exif=exif)
    Image.fromarray(stored).save(tmp_path / "a.jpg", exif=exif, quality=98, subsampling=0)
    tifffile.imwrite(tmp_path / "a.tif", stored, photometric="rgb", extratags=[(274, "H", 1, orientation, True)])
    for name in ("a.png", "a.jpg", "a.tif"):
        photo = read_photo(tmp_path / name)
        assert photo.pixels.shape == scene.shape, name
        assert (photo.width_px, photo.height_px) == (60, 40)
        assert np.abs(photo.pixels.astype(int) - scene).mean() < 4, name


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGBA", "CMYK", "I;16", "F"])
def test_odd_modes_become_rgb(tmp_path, scene, mode):
    image = Image.fromarray(scene)
    if mode in ("I;16", "F"):
        grey = np.asarray(image.convert("L"))
        image = (
            Image.fromarray(grey.astype(np.uint16) * 257) if mode == "I;16" else Image.fromarray(grey / np.float32(255))
        )
    else:
        image = image.convert(mode)
    name = "a.tif" if mode in ("CMYK", "F") else "a.png"
    image.save(tmp_path / name)
    photo = read_photo(tmp_path / name)
    assert photo.pixels.shape == (40, 60, 3)
    assert photo.pixels.dtype == np.uint8
    assert photo.is_grey == (mode not in ("P", "RGBA", "CMYK"))
    assert photo.pixels.std() > 10


def test_camera_depth_in_16_bit_uses_its_own_range(tmp_path):
    twelve = (np.linspace(0, 4095, 2400).reshape(40, 60)).astype(np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", twelve)
    pixels = read_photo(tmp_path / "a.tif").pixels
    assert pixels.max() == 255
    assert pixels.min() == 0


def test_time_with_and_without_offset(tmp_path, scene):
    for offset, expected in ((None, "2026-11-04T09:05:00"), ("+02:00", "2026-11-04T09:05:00+02:00")):
        exif = Image.Exif()
        inner = exif.get_ifd(0x8769)
        inner[0x9003] = "2026:11:04 09:05:00"
        if offset:
            inner[0x9011] = offset
        Image.fromarray(scene).save(tmp_path / "a.jpg", exif=exif)
        assert read_photo(tmp_path / "a.jpg").taken == expected
    Image.fromarray(scene).save(tmp_path / "b.jpg")
    assert read_photo(tmp_path / "b.jpg").taken is None


def test_decoder_reduces_large_jpeg_only_as_far_as_allowed(tmp_path):
    rng = np.random.default_rng(1)
    Image.fromarray(rng.integers(0, 255, (401, 803, 3), dtype=np.uint8)).save(tmp_path / "a.jpg")
    photo = read_photo(tmp_path / "a.jpg", um_per_px=2.0, finest_um_per_px=8.0)
    assert photo.pixels.shape == (101, 201, 3)
    assert (photo.width_px, photo.height_px) == (803, 401)
    assert photo.reduction == pytest.approx(803 / 201)
    assert read_photo(tmp_path / "a.jpg", um_per_px=5.0, finest_um_per_px=8.0).reduction == 1


def test_scale_hint_of_microscope_tiff(tmp_path, scene):
    tifffile.imwrite(tmp_path / "a.tif", scene, photometric="rgb", resolution=(2000, 2000), resolutionunit="CENTIMETER")
    assert read_photo(tmp_path / "a.tif").scale_hint_um_per_px == pytest.approx(5.0)
    tifffile.imwrite(tmp_path / "b.tif", scene, photometric="rgb", resolution=(72, 72), resolutionunit="INCH")
    assert read_photo(tmp_path / "b.tif").scale_hint_um_per_px is None


def message(path) -> str:
    with pytest.raises(InputError) as caught:
        read_photo(path)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_messages_are_whole_sentences(tmp_path, scene):
    assert message(tmp_path / "no.jpg") == (
        "no.jpg: cannot be read: No such file or directory. Check the name and whether you may read it."
    )
    (tmp_path / "empty.jpg").touch()
    assert message(tmp_path / "empty.jpg") == "empty.jpg: the file is empty (0 bytes). Copy it from the camera again."
    (tmp_path / "text.jpg").write_text("photo,um_per_px\n")
    assert message(tmp_path / "text.jpg") == (
        "text.jpg: the file holds text, not a picture. Give a JPEG, PNG, TIFF or HEIC photo."
    )
    (tmp_path / "raw.jpg").write_bytes(bytes(range(256)) * 4)
    assert message(tmp_path / "raw.jpg") == (
        "raw.jpg: the file is not a picture that can be read. Give a JPEG, PNG, TIFF or HEIC photo."
    )
    assert message(tmp_path).endswith("this is a folder, not a photo. Name a file in it.")
    buffer = io.BytesIO()
    Image.fromarray(np.kron(scene, np.ones((8, 8, 1), np.uint8))).save(buffer, "JPEG")
    (tmp_path / "half.jpg").write_bytes(buffer.getvalue()[: len(buffer.getvalue()) // 2])
    assert message(tmp_path / "half.jpg").startswith("half.jpg: the picture is damaged (image file is truncated")
    assert message(tmp_path / "half.jpg").endswith("Copy the file from the camera again.")
    tifffile.imwrite(tmp_path / "stack.tif", np.zeros((4, 20, 20), np.uint8), photometric="minisblack")
    assert message(tmp_path / "stack.tif") == "stack.tif: the TIFF holds 4 pictures. Save each as its own file."


def test_absurd_size_is_refused_before_unpacking(tmp_path):
    buffer = io.BytesIO()
    Image.new("L", (8, 8)).save(buffer, "PNG")
    data = bytearray(buffer.getvalue())
    data[16:24] = (60_000).to_bytes(4, "big") * 2
    import zlib

    data[29:33] = zlib.crc32(bytes(data[12:29])).to_bytes(4, "big")
    (tmp_path / "bomb.png").write_bytes(bytes(data))
    assert message(tmp_path / "bomb.png") == (
        "bomb.png: the picture claims 60000 x 60000 pixels (3600 megapixels), more than the 200 that are read. If it "
        "is that large, save it smaller."
    )


def test_folders_are_searched_and_equal_names_kept_apart(tmp_path):
    for name in ("one/a.jpg", "two/a.jpg", "two/b.PNG", "two/.hidden.jpg", "two/notes.txt", "two/.parts/c.jpg"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    found = find_photos([tmp_path, tmp_path / "one" / "a.jpg"])
    assert photo_names(found) == ["one/a.jpg", "two/a.jpg", "b.PNG"]
    with pytest.raises(InputError, match=r"no such file or folder. Check the name\.$"):
        find_photos([tmp_path / "three"])
    (tmp_path / "bare").mkdir()
    with pytest.raises(InputError, match=r"no photo in this folder. Looked for \.jpg, \.jpeg, \.png"):
        find_photos([tmp_path / "bare"])


@pytest.mark.parametrize("um_per_px", [3.91, 11.9])
def test_a_photo_reduced_as_it_is_read_is_the_one_reduced_later(request, um_per_px):
    path = request.config.rootpath / "tests" / "photos" / "photos" / "bright-04.jpg"
    photo = read_photo(path, um_per_px=um_per_px, finest_um_per_px=12.0)
    assert (photo.reduced is None) == (um_per_px == 11.9)  # near enough to stay as it is
    later = replace(photo, reduced=None)
    for to_um_per_px in (12.0, 16.0):  # the scale it was read for, and another
        here, there = photo.at_scale(um_per_px, to_um_per_px), later.at_scale(um_per_px, to_um_per_px)
        assert here.shape == there.shape and (here == there).all()
        assert here.shape[1] * to_um_per_px == pytest.approx(photo.width_px * um_per_px, rel=0.01)
