"""From the bytes of a picture to upright RGB pixels, with when it was taken and any hint of its scale."""

from __future__ import annotations

import contextlib
import io
import logging
import os
import struct
import threading
import zlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import numpy as np

from qckit.errors import InputError

__all__ = [
    "DRAWN_MARK",
    "MAX_MEGAPIXELS",
    "NoLightError",
    "check_png",
    "check_size",
    "formats_of",
    "pixels_of",
    "read_pillow",
    "read_tiff",
    "resize_factor",
    "resized",
]


MAX_MEGAPIXELS = 200.0
"""Larger pictures are refused before their pixels are unpacked: a small file can claim any size."""


DRAWN_MARK = b"qckit: drawn from a photo that was counted"
"""Comment inside every checked picture, so that none is counted as a photo."""

MAX_PAGES = 64  # thumbnails and the steps of a pyramid among them


_FORMATS = (
    (b"\xff\xd8\xff", 0, ("JPEG", "MPO")),
    (b"\x89PNG\r\n\x1a\n", 0, ("PNG",)),
    (b"WEBP", 8, ("WEBP",)),
    (b"BM", 0, ("BMP",)),
    (b"ftyp", 4, ("HEIF",)),
    *((start, 0, ("TIFF",)) for start in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")),
)
"""First bytes, where they stand, and the decoders that may read such a file: no other is ever asked, since some start
programs (PostScript) or read what no camera writes."""


def formats_of(head: bytes) -> tuple[str, ...]:
    """Decoders for a file that starts like this; none for what is not read."""
    return next((names for start, at, names in _FORMATS if head[at : at + len(start)] == start), ())


_STDERR = threading.Lock()
_READING = threading.local()


def _from_others(_: logging.LogRecord) -> bool:
    """Tell whether a record of tifffile's is of somebody else's reading."""
    return not getattr(_READING, "tiff", False)


@contextlib.contextmanager
def _unlogged() -> Iterator[None]:
    """Keep what tifffile logs of a damaged file from the terminal: it does not say which file, the kit does."""
    logging.getLogger("tifffile").addFilter(_from_others)  # once, however often it is added
    _READING.tiff = True
    try:
        yield
    finally:
        _READING.tiff = False


@contextlib.contextmanager
def _unprinted() -> Iterator[None]:
    """Keep what the C library for TIFF prints of a damaged file from the terminal."""
    with _STDERR, contextlib.ExitStack() as undo:
        with contextlib.suppress(OSError):  # nothing is printed where there is no standard error
            kept = os.dup(2)
            undo.callback(os.close, kept)
            undo.callback(os.dup2, kept, 2)
            with Path(os.devnull).open("wb") as nowhere:
                os.dup2(nowhere.fileno(), 2)
        yield


class NoLightError(ValueError):
    """Pixels that no camera writes; its words are for the user."""


def check_png(data: bytes, where: str) -> None:
    """Compare the checksum of every part of a PNG (ISO/IEC 15948, 5.3); the decoder leaves out those of the pixels."""
    at = 8
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        end = at + 8 + length
        if end + 4 > len(data):
            return  # cut off, which the decoder says
        (checksum,) = struct.unpack_from(">I", data, end)
        if zlib.crc32(memoryview(data)[at + 4 : end]) != checksum:
            raise InputError(
                f"{where}: the picture is damaged (a part of it does not match its checksum). Copy the file from the "
                "camera again."
            )
        if data[at + 4 : at + 8] == b"IEND":
            return
        at = end + 4


def check_size(width: int, height: int, where: str) -> None:
    """Refuse pictures of no or absurd size before unpacking them."""
    if width < 1 or height < 1:
        raise InputError(f"{where}: the picture has no pixels. Copy the file from the camera again.")
    if width * height > MAX_MEGAPIXELS * 1e6:
        raise InputError(
            f"{where}: the picture claims {width} x {height} pixels ({width * height / 1e6:.0f} megapixels), more than "
            f"the {MAX_MEGAPIXELS:.0f} that are read. If it is that large, save it smaller."
        )


def read_pillow(data: bytes, shrink: int, where: str):
    """Decode with Pillow, to a picture of its; JPEG is reduced in the decoder where allowed."""
    from PIL import Image, ImageOps

    if data[4:8] == b"ftyp":
        import pillow_heif

        pillow_heif.register_heif_opener()
    Image.MAX_IMAGE_PIXELS = None  # the limit is check_size, which says what to do
    with Image.open(io.BytesIO(data), formats=formats_of(data)) as image:
        kind = image.format or ""
        width, height = image.size
        check_size(width, height, where)
        if DRAWN_MARK in bytes(image.info.get("comment") or b""):
            raise InputError(f"{where}: this is a picture that qckit drew, not a photo. Give the photo it shows.")
        exif = image.getexif()
        orientation = exif.get(0x0112, 1) if kind != "HEIF" else 1  # HEIF comes upright from its reader
        taken = _taken(exif)
        if shrink > 1 and kind in ("JPEG", "MPO"):
            image.draft("RGB", (max(1, width // shrink), max(1, height // shrink)))
        image.load()
        upright = ImageOps.exif_transpose(image) if orientation in range(2, 9) else image
        picture = _to_rgb(upright)
    if orientation in (5, 6, 7, 8):
        width, height = height, width
    return picture, (width, height), taken, kind


def _to_rgb(image):
    """Return a Pillow image of mode RGB from any mode; transparent parts become white."""
    from PIL import Image

    if image.mode.startswith(("I", "F")):
        return Image.fromarray(_to_bytes(np.asarray(image)))
    if image.mode in ("RGBA", "LA", "PA", "RGBa", "La") or "transparency" in image.info:
        image = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", image.size, "white"), image)
    return image if image.mode == "RGB" else image.convert("RGB")


def resize_factor(um_per_px: float, to_um_per_px: float, *, enlarge: bool = False) -> float:
    """How many pixels become of each along an axis; exactly 1 where a picture stays as it is.

    Parameters
    ----------
    um_per_px, to_um_per_px : float
        Scale now and wanted. [µm/px]
    enlarge : bool
        Whether a coarser picture is brought up to the finer scale.
    """
    factor = um_per_px / to_um_per_px
    return 1.0 if abs(factor - 1) < 0.02 or (factor > 1 and not enlarge) else factor


def resized(image, factor: float) -> np.ndarray:
    """The pixels of a Pillow image of mode RGB at another scale, averaging what falls into a pixel: (P, Q, 3) uint8."""
    from PIL import Image

    size = tuple(max(1, round(n * factor)) for n in image.size)
    method = Image.Resampling.BICUBIC if factor > 1 else Image.Resampling.BILINEAR  # both average when reducing
    return pixels_of(image.resize(size, method, reducing_gap=None if factor > 0.5 else 2.0))


def pixels_of(image) -> np.ndarray:
    """The pixels of a Pillow image of grey or RGB bytes, (M, N) or (M, N, 3) uint8, as ``numpy.asarray`` gives them.

    Saved right into their array as a portable pixmap, which holds them as they are: ``numpy.asarray`` has them in
    memory three times, in the image, in pieces and joined.
    """
    width, height = image.size
    out = np.empty((height, width) if image.mode == "L" else (height, width, 3), np.uint8)
    if out.size:  # of nothing there is no pixmap
        file = _PixmapFile(out)
        image.save(file, "PPM")
        file.check_full()
    return out


class _PixmapFile:
    """What a portable pixmap is saved to so that its pixels fill an array."""

    def __init__(self, out: np.ndarray):
        self._left = out.reshape(-1)
        self._in_head = True

    def write(self, data: bytes) -> int:
        if self._in_head:  # its last number is the largest code value
            self._in_head = not data.endswith(b"\n255\n") and data != b"255\n"
        else:
            self._left[: len(data)] = np.frombuffer(data, np.uint8)
            self._left = self._left[len(data) :]
        return len(data)

    def check_full(self) -> None:
        if len(self._left):
            raise ValueError(f"{len(self._left)} bytes of the picture's pixels are missing")


def _to_bytes(values: np.ndarray) -> np.ndarray:
    """Bring deeper pixels to 8 bit: the least camera depth (8, 10, 12, 14, 16 bit) that holds the largest value."""
    values = np.asarray(values)
    if values.dtype == np.complex64 or values.dtype == np.complex128:
        raise NoLightError("pixels that are not numbers of light")
    if values.dtype == np.bool_:
        values = values.astype(np.uint8) * 255
    if values.dtype != np.uint8:
        top = float(np.nanmax(values)) if values.size else 0.0
        if not np.isfinite(top):
            raise NoLightError("pixels that are not numbers")
        if values.dtype.kind == "f" and top <= 1.0:
            full = 1.0
        else:
            full = next((f for f in (255.0, 1023.0, 4095.0, 16383.0, 65535.0) if top <= f), top)
        scaled = np.nan_to_num(values, nan=0.0).astype(np.float32) * np.float32(255.0 / full)
        values = np.clip(np.rint(scaled), 0, 255).astype(np.uint8)
    if values.ndim == 2:
        values = np.repeat(values[..., None], 3, axis=2)
    return values


def read_tiff(data: bytes, shrink: int, where: str):
    """Decode TIFF with tifffile, which keeps 16 bit; Pillow takes the compressions tifffile leaves out."""
    import tifffile

    _check_pages(data, where)
    with _unlogged(), tifffile.TiffFile(io.BytesIO(data)) as tiff:
        pages = [p for p in tiff.pages if not getattr(p, "is_reduced", False)]
        if len(pages) > 1:
            raise InputError(f"{where}: the TIFF holds {len(pages)} pictures. Save each as its own file.")
        page = pages[0]
        check_size(page.imagewidth, page.imagelength, where)
        if page.nbytes > 8 * MAX_MEGAPIXELS * 1e6:
            raise InputError(f"{where}: the TIFF claims {page.nbytes / 1e9:.1f} GB of pixels. Save it as flat RGB.")
        if page.samplesperpixel > 5:
            raise InputError(f"{where}: the TIFF has {page.samplesperpixel} channels, not 1 to 4. Save it as RGB.")
        taken = _tiff_time(page)
        hint = _tiff_scale(page)
        orientation = int(page.tags[274].value) if 274 in page.tags else 1
        simple = page.photometric in (0, 1, 2)
        try:
            values = page.asarray() if simple else None
        except (
            ValueError,
            KeyError,
            RuntimeError,
            ImportError,
        ):  # compression that needs a codec which is not installed
            values = None
        inverted = page.photometric == 0
        planar = page.planarconfig == 2
    if values is None:
        pixels, size, taken_too = _by_pillow(data, shrink, where)
        return pixels, size, taken or taken_too, hint
    if planar and values.ndim == 3:
        values = np.moveaxis(values, 0, -1)
    values = np.squeeze(values) if values.ndim > 3 else values
    pixels = _channels(_to_bytes(values), where)
    if inverted:
        pixels = 255 - pixels
    pixels = np.ascontiguousarray(_turn(pixels, orientation))
    return pixels, (pixels.shape[1], pixels.shape[0]), taken, hint


def _by_pillow(data: bytes, shrink: int, where: str):
    """Decode a TIFF with Pillow, whose library says of damage no more than a number."""
    from PIL import UnidentifiedImageError

    try:
        with _unprinted():
            picture, size, taken, _ = read_pillow(data, shrink, where)
    except UnidentifiedImageError:
        raise
    except OSError as error:
        raise NoLightError("its data cannot be unpacked") from error
    return pixels_of(picture), size, taken


def _check_pages(data: bytes, where: str) -> None:
    """Follow the list of pages by its offsets (TIFF 6.0, section 2; BigTIFF): a ring or an endless list is refused."""
    order = "<" if data[:2] == b"II" else ">"
    big = data[2:4] in (b"+\0", b"\0+")
    number, count, entry, first = ("Q", "Q", 20, 8) if big else ("I", "H", 12, 4)
    (at,) = struct.unpack_from(order + number, data, first)
    been: set[int] = set()
    while at:
        if at in been:
            raise InputError(f"{where}: the TIFF's list of pages is a ring. Save the photo anew.")
        been.add(at)
        if len(been) > MAX_PAGES:
            raise InputError(f"{where}: the TIFF holds more than {MAX_PAGES} pictures. Save each as its own file.")
        (n,) = struct.unpack_from(order + count, data, at)
        (at,) = struct.unpack_from(order + number, data, at + struct.calcsize(order + count) + n * entry)


def _channels(values: np.ndarray, where: str) -> np.ndarray:
    """Bring 1 to 4 channels to RGB; an alpha channel lays the picture on white."""
    if values.ndim != 3:
        raise InputError(f"{where}: the TIFF has {values.ndim} axes, not a flat picture. Save it as RGB.")
    n = values.shape[2]
    if n in (2, 4):
        alpha = values[..., -1:].astype(np.float32) / 255
        colour = values[..., : n - 1].astype(np.float32)
        values = np.rint(colour * alpha + 255 * (1 - alpha)).astype(np.uint8)
    return np.repeat(values[..., :1], 3, axis=2) if values.shape[2] < 3 else np.ascontiguousarray(values[..., :3])


def _turn(pixels: np.ndarray, orientation: int) -> np.ndarray:
    """Turn upright by the orientation numbers 1 to 8 of TIFF 6.0, section 8."""
    if orientation in (5, 6, 7, 8):
        pixels = pixels.swapaxes(0, 1)
    flip_rows = orientation in (3, 4, 7, 8)
    flip_cols = orientation in (2, 3, 6, 7)
    pixels = pixels[::-1] if flip_rows else pixels
    return pixels[:, ::-1] if flip_cols else pixels


def _taken(exif) -> str | None:
    """ISO time from EXIF: DateTimeOriginal (36867), else DateTime (306), with its offset where there is one."""
    inner = exif.get_ifd(0x8769)
    return _iso(inner.get(0x9003) or exif.get(0x0132), inner.get(0x9011))


def _tiff_time(page) -> str | None:
    return _iso(page.tags[306].value, None) if 306 in page.tags else None


def _iso(text, offset) -> str | None:
    """Turn ``2026:11:04 09:00:00`` into ISO 8601; anything else is no time."""
    try:
        taken = datetime.strptime(str(text).strip("\0 "), "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return None
    offset = str(offset or "").strip("\0 ")
    try:
        return datetime.fromisoformat(taken + offset).isoformat() if offset else taken
    except ValueError:
        return taken


def _tiff_scale(page) -> float | None:
    """Scale from XResolution when its unit is the centimetre, as microscope software writes it; else none."""
    try:
        above, below = page.tags[282].value
        per_cm = above / below
        unit = int(page.tags[296].value)
        scale = 1e4 / per_cm if unit == 3 else None
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    return scale if scale and 0.1 <= scale <= 100 else None
