"""From a file to upright RGB pixels, with the time it was taken, its fingerprint and any hint of its scale."""

from __future__ import annotations

import hashlib
import io
import stat
import struct
import warnings
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from qckit.errors import InputError, one_line
from qckit.photo.decoding import (
    MAX_MEGAPIXELS,
    NoLightError,
    check_png,
    check_size,
    formats_of,
    pixels_of,
    read_pillow,
    read_tiff,
    resize_factor,
    resized,
)

__all__ = ["MAX_MEGAPIXELS", "Brightness", "Photo", "file_bytes", "read_brightness", "read_photo"]


MAX_FILE_MB = 600.0
SMALL_MP = 4.0  # photos of so many megapixels are searched for cuts in their own pixels, larger ones where suspected


@dataclass(frozen=True)
class Photo:
    """One photo, ready to be counted.

    Attributes
    ----------
    path : Path
    name : str
        File name.
    pixels : (M, N, 3) ndarray of uint8
        Upright RGB in sRGB code values. Smaller than the file by ``reduction`` when the reader was allowed to.
    reduction : float
        Pixels of the full photo per pixel of ``pixels``; 1 when nothing was reduced.
    width_px, height_px : int
        Size of the full photo after turning it upright.
    is_grey : bool
        All three channels are the same.
    taken : str or None
        ISO time from the camera, with offset only where the camera gave one.
    sha256 : str
        Of the file's bytes.
    scale_hint_um_per_px : float or None
        Scale written in the file by the camera's software, if any. Only a hint: resizing rarely updates it.
    format : str
        JPEG, PNG, TIFF, HEIF, ...
    reduced : Reduced, optional
        The photo at the scale that was asked for as the finest, where that is another than that of ``pixels``.
    brightness : (M, N) ndarray of uint8, optional
        Of a photo of at most ``SMALL_MP`` that nothing has reduced, made while the decoder's picture is at hand.

    Examples
    --------
    >>> picture = photo.read_photo(sample_images_dir() / "photos" / "k-121_a_1.jpg")
    >>> picture.is_grey
    False
    """

    path: Path
    name: str
    pixels: np.ndarray
    reduction: float
    width_px: int
    height_px: int
    is_grey: bool
    taken: str | None
    sha256: str
    scale_hint_um_per_px: float | None
    format: str
    reduced: Reduced | None = None
    brightness: np.ndarray | None = None

    def at_scale(self, um_per_px: float, to_um_per_px: float) -> np.ndarray:
        """The pixels brought to a scale, or as they are where that is finer.

        Parameters
        ----------
        um_per_px : float
            Scale of the full photo. [µm/px]
        to_um_per_px : float
            Scale wanted. [µm/px]

        Returns
        -------
        (P, Q, 3) ndarray of uint8
        """
        if self.reduced and (self.reduced.um_per_px, self.reduced.to_um_per_px) == (um_per_px, to_um_per_px):
            return self.reduced.pixels
        return resize_to_scale(self.pixels, um_per_px * self.reduction, to_um_per_px)


@dataclass(frozen=True)
class Reduced:
    """A photo brought to a coarser scale.

    It is made while the decoder's picture is at hand: laying the pixels out once more costs a fifth of the reducing.

    Attributes
    ----------
    pixels : (P, Q, 3) ndarray of uint8
    um_per_px, to_um_per_px : float
        Scale of the full photo, and that to which it was brought. [µm/px]
    """

    pixels: np.ndarray
    um_per_px: float
    to_um_per_px: float


def resize_to_scale(pixels: np.ndarray, um_per_px: float, to_um_per_px: float, *, enlarge: bool = False) -> np.ndarray:
    """Resample pixels from one scale to another, averaging what falls into a pixel.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
    um_per_px, to_um_per_px : float
        Scale now and wanted. [µm/px]
    enlarge : bool
        Whether a coarser picture is brought up to the finer scale; left as it is otherwise.

    Returns
    -------
    (P, Q, 3) ndarray of uint8
    """
    from PIL import Image

    factor = resize_factor(um_per_px, to_um_per_px, enlarge=enlarge)
    return pixels if factor == 1 else resized(Image.fromarray(pixels), factor)


def read_photo(path, *, um_per_px: float | None = None, finest_um_per_px: float | None = None) -> Photo:
    """Read a photo.

    Parameters
    ----------
    path : path
        JPEG, PNG, TIFF (8 or 16 bit), HEIC, BMP or WebP; grey, RGB, RGBA, palette or CMYK.
    um_per_px : float, optional
        Scale of the full photo. [µm/px]
    finest_um_per_px : float, optional
        With ``um_per_px``: the reader may reduce the photo by halves inside the decoder as long as its pixels stay at
        least this fine. Saves most of the decoding time of large JPEG files. The rest of the way to that scale is
        ``reduced``. [µm/px]

    Returns
    -------
    Photo

    Raises
    ------
    InputError
        The file is missing, empty, no picture, of another format, damaged, drawn by the kit, or larger than
        ``MAX_MEGAPIXELS``.

    Examples
    --------
    >>> picture = photo.read_photo(sample_images_dir() / "photos" / "k-121_a_1.jpg")
    >>> picture.name, picture.pixels.ndim
    ('k-121_a_1.jpg', 3)
    """
    path = Path(path)
    where = one_line(path.name)
    data = file_bytes(path, formats=True)
    shrink = 1
    if um_per_px and finest_um_per_px:
        while shrink < 8 and um_per_px * shrink * 2 <= finest_um_per_px:
            shrink *= 2
    picture = None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if formats_of(data) == ("PNG",):
                check_png(data, where)
            if formats_of(data) == ("TIFF",):
                kind, (rgb, size, taken, hint) = "TIFF", read_tiff(data, shrink, where)
            else:
                hint, (picture, size, taken, kind) = None, read_pillow(data, shrink, where)
                rgb = pixels_of(picture)
    except InputError:
        raise
    except Exception as error:  # decoders raise anything on damaged files
        raise _damaged(data, where, error) from error
    if not rgb.shape[0] or not rgb.shape[1]:
        raise InputError(f"{where}: the picture has no pixels. Copy the file from the camera again.")
    reduction, reduced = size[0] / rgb.shape[1], None
    if picture and um_per_px and finest_um_per_px:
        factor = resize_factor(um_per_px * reduction, finest_um_per_px)
        reduced = None if factor == 1 else Reduced(resized(picture, factor), um_per_px, finest_um_per_px)
    is_whole = picture and reduction == 1 and size[0] * size[1] <= SMALL_MP * 1e6
    return Photo(
        path=path,
        name=path.name,
        pixels=rgb,
        reduction=reduction,
        width_px=size[0],
        height_px=size[1],
        is_grey=_is_grey(rgb),
        taken=taken,
        sha256=hashlib.sha256(data).hexdigest(),
        scale_hint_um_per_px=hint,
        format=kind,
        reduced=reduced,
        brightness=pixels_of(picture.convert("L")) if is_whole else None,
    )


class Brightness:
    """Brightness of a photo in its own pixels, handed over row by row: the whole would lie in memory twice.

    Parameters
    ----------
    image : PIL.Image.Image
        Of bytes, one channel.
    across : bool
        Hand over columns in place of rows.
    """

    def __init__(self, image, *, across: bool = False):
        self._image, self._across = image, across

    @property
    def T(self) -> Brightness:
        """The same with columns for rows."""
        return Brightness(self._image, across=not self._across)

    def __len__(self) -> int:
        return self._image.size[0 if self._across else 1]

    def __getitem__(self, rows: slice) -> np.ndarray:
        """Some rows, (n, N) ndarray of uint8."""
        first, end, _ = rows.indices(len(self))
        width, height = self._image.size
        if (first, end) == (0, len(self)):
            whole = pixels_of(self._image)
            return whole.T if self._across else whole
        if self._across:
            return pixels_of(self._image.crop((first, 0, max(first, end), height))).T
        return pixels_of(self._image.crop((0, first, width, max(first, end))))


def read_brightness(path: str | Path) -> Brightness:
    """Read the brightness of a JPEG photo in its own pixels, upright: a third of the work of reading its colours.

    Returns
    -------
    Brightness

    Raises
    ------
    InputError
        As :func:`read_photo`.
    """
    from PIL import Image, ImageOps

    path = Path(path)
    data = file_bytes(path, formats=True)
    Image.MAX_IMAGE_PIXELS = None  # the limit is check_size, which says what to do
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = Image.open(io.BytesIO(data), formats=("JPEG", "MPO"))
            check_size(*image.size, one_line(path.name))
            image.draft("L", image.size)
            image.load()
            turned = image.getexif().get(0x0112, 1) != 1  # else its pixels would be copied once more
            upright = ImageOps.exif_transpose(image) if turned else image
            return Brightness(upright if upright.mode == "L" else upright.convert("L"))
    except InputError:
        raise
    except Exception as error:  # decoders raise anything on damaged files
        raise _damaged(data, one_line(path.name), error) from error


def file_bytes(path: str | Path, *, formats: bool = False) -> bytes:
    """Return a file's bytes, or say why there are none.

    Parameters
    ----------
    path : path
    formats : bool
        Refuse a file whose first bytes are those of no format that is read, before the rest is.

    Raises
    ------
    InputError
        The file is missing, empty, no file but a folder or device, or too large; or of another format.
    """
    path = Path(path)
    where = one_line(path.name)
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise InputError(f"{where}: this is a folder, not a photo. Name a file in it.")
        if not stat.S_ISREG(status.st_mode):
            raise InputError(f"{where}: this is a pipe or a device, not a file. Save the photo as a file.")
        if status.st_size == 0:
            raise InputError(f"{where}: the file is empty (0 bytes). Copy it from the camera again.")
        if status.st_size > MAX_FILE_MB * 1e6:
            raise InputError(
                f"{where}: the file has {status.st_size / 1e6:.0f} MB, more than the {MAX_FILE_MB:.0f} MB that are "
                f"read. Save it as JPEG."
            )
        with path.open("rb") as file:
            head = file.read(512)
            if formats and not formats_of(head):
                raise InputError(f"{where}: the file {_what_else(head)}. Give a JPEG, PNG, TIFF or HEIC photo.")
            file.seek(0)
            return file.read(status.st_size)  # no more than was there, should it grow meanwhile
    except OSError as error:
        raise InputError(
            f"{where}: cannot be read: {error.strerror or error}. Check the name and whether you may read it."
        ) from error


def _what_else(head: bytes) -> str:
    """Say what a file is that is no photo."""
    if head[:4] == b"%!PS" or head[:4] == b"\xc5\xd0\xd3\xc6":
        return "is PostScript, not a photo"
    if head[:4] == b"%PDF":
        return "is a PDF, not a photo"
    looks_text = b"\0" not in head and sum(32 <= b < 127 or b in b"\r\n\t" for b in head) > 0.9 * len(head)
    return "holds text, not a picture" if looks_text else "is not a picture that can be read"


def _damaged(data: bytes, where: str, error: Exception) -> InputError:
    """Tell a file that is no picture from one that broke on the way."""
    from PIL import UnidentifiedImageError

    if isinstance(error, UnidentifiedImageError):
        return InputError(f"{where}: the file {_what_else(data[:512])}. Give a JPEG, PNG, TIFF or HEIC photo.")
    if isinstance(error, MemoryError):
        return InputError(f"{where}: the picture does not fit into memory. Save it smaller.")
    return InputError(f"{where}: the picture is damaged ({_plain_reason(error)}). Copy the file from the camera again.")


def _plain_reason(error: Exception) -> str:
    """Say in words what a decoder fell over; what a program's inside says of itself helps nobody with a photo."""
    text = one_line(error)[:120]
    if isinstance(error, NoLightError) or (isinstance(error, (OSError, SyntaxError)) and any(map(str.isalpha, text))):
        return text
    for kinds, reason in (
        ((EOFError, struct.error), "its data end too early"),
        (zlib.error, "its data cannot be unpacked"),
        ((NotImplementedError, ImportError), "it is stored in a way that is not read"),
        (RecursionError, "its parts refer to each other without end"),
        (UnicodeError, "a text in it cannot be read"),
    ):
        if isinstance(error, kinds):
            return reason
    return "its parts contradict each other"


def _is_grey(pixels: np.ndarray) -> bool:
    """Whether the channels are the same everywhere on a sparse grid, first asked at few places of it."""
    sparse = pixels[:: max(1, pixels.shape[0] // 256), :: max(1, pixels.shape[1] // 256)]
    for some in (sparse[::16, ::16], sparse):
        red, green, blue = np.ascontiguousarray(some.transpose(2, 0, 1))
        least, most = np.minimum(np.minimum(red, green), blue), np.maximum(np.maximum(red, green), blue)
        if int((most - least).max()) > 2:
            return False
    return True
