"""Odd and bad photos, made from one sound photo: what a folder may hold by mistake, by damage or by malice."""

from __future__ import annotations

import io
import os
import struct
import zlib

import numpy as np
import tifffile
from PIL import Image

SOUND, FLAWED, BAD = "sound", "flawed", "bad"
"""Counted like the original; counted or refused, but never silently; refused with a reason."""


def encoded(pixels, kind, **options) -> bytes:
    """Return a picture's bytes in a format of Pillow's."""
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, kind, **options)
    return buffer.getvalue()


def png_chunk(name: bytes, data: bytes) -> bytes:
    """Return a chunk of a PNG with its checksum."""
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png_claiming(width: int, height: int) -> bytes:
    """Return a PNG whose head claims any size, with a few bytes of pixels."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = png_chunk(b"IHDR", head) + png_chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + png_chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def tiff_ring(pixels) -> bytes:
    """Return a TIFF whose last page leads back to its first."""
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, pixels, photometric="rgb")
    data = bytearray(buffer.getvalue())
    (at,) = struct.unpack_from("<I", data, 4)
    (n,) = struct.unpack_from("<H", data, at)
    struct.pack_into("<I", data, at + 2 + 12 * n, at)
    return bytes(data)


def tiff_tag(pixels, code: int, value: int) -> bytes:
    """Return a TIFF in which one tag's value is another."""
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, pixels, photometric="rgb")
    data = bytearray(buffer.getvalue())
    (at,) = struct.unpack_from("<I", data, 4)
    (n,) = struct.unpack_from("<H", data, at)
    for k in range(n):
        place = at + 2 + 12 * k
        if struct.unpack_from("<H", data, place)[0] == code:
            struct.pack_into("<HII", data, place + 2, 4, 1, value)
    return bytes(data)


def tiff_of_pages(pixels, n: int) -> bytes:
    """Return a TIFF of many pictures."""
    buffer = io.BytesIO()
    with tifffile.TiffWriter(buffer) as writer:
        for _ in range(n):
            writer.write(pixels, photometric="rgb", contiguous=False)
    return buffer.getvalue()


def bmp_claiming(side: int) -> bytes:
    """Return a BMP whose head claims any size."""
    return b"BM" + struct.pack("<IHHIIiiHHIIiiII", 54, 0, 0, 54, 40, side, side, 1, 24, 0, 0, 0, 0, 0, 0)


POSTSCRIPT = b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 100 100\n%%EndComments\n{ } loop\nshowpage\n%%EOF\n"


def odd_photos(pixels: np.ndarray, rng) -> dict[str, tuple[str, bytes]]:
    """Return file name -> (what is expected, content), for names that every system can hold.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
        A sound photo.
    rng : numpy Generator
    """
    jpeg, png = encoded(pixels, "JPEG", quality=92), encoded(pixels, "PNG")
    turned = Image.fromarray(np.ascontiguousarray(pixels[::-1, ::-1]))
    exif = Image.Exif()
    exif[0x0112] = 3
    upside = io.BytesIO()
    turned.save(upside, "JPEG", quality=92, exif=exif)
    deep = io.BytesIO()
    tifffile.imwrite(deep, pixels.astype(np.uint16) * 257, photometric="rgb")
    flat = io.BytesIO()
    tifffile.imwrite(flat, np.full_like(pixels, np.nan, np.float32), photometric="rgb")
    text = png_chunk(b"zTXt", b"note\0\0" + zlib.compress(b"a" * 60_000_000, 9))
    profile = png_chunk(b"iCCP", b"p\0\0" + zlib.compress(b"a" * 60_000_000, 9))
    made = {
        "sound.jpg": (SOUND, jpeg),
        "sound.png": (SOUND, png),
        "sound in BMP.bmp": (SOUND, encoded(pixels, "BMP")),
        "sound.webp": (SOUND, encoded(pixels, "WEBP", lossless=True)),
        "sound deep.tif": (SOUND, deep.getvalue()),
        "upside.jpg": (SOUND, upside.getvalue()),
        "misnamed.png": (SOUND, jpeg),
        "=cmd|' calc'!A0.png": (SOUND, png),
        "two\nlines.png": (SOUND, png),
        "U+2028 \u2028.png": (SOUND, png),
        "right \u202egnp.png": (SOUND, png),
        "bell \x07 \x1b[31m.png": (SOUND, png),
        "é" * 120 + ".png": (SOUND, png),
        "STEM.png": (SOUND, png),
        "stem.PNG": (SOUND, png),
        "postscript.jpg": (BAD, POSTSCRIPT),
        "postscript.tif": (
            BAD,
            b"\xc5\xd0\xd3\xc6" + struct.pack("<II", 30, len(POSTSCRIPT)) + b"\0" * 18 + POSTSCRIPT,
        ),
        "a.pdf.jpg": (BAD, b"%PDF-1.7\n1 0 obj\nendobj\n"),
        "metafile.png": (BAD, b"\xd7\xcd\xc6\x9a" + b"\0" * 500),
        "document.jpg": (BAD, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 2000),
        "gif.jpg": (BAD, encoded(pixels[:50, :50], "GIF")),
        "ppm.jpg": (BAD, b"P6\n99999 99999\n255\n" + b"\0" * 500),
        "icon.png": (BAD, encoded(pixels[:32, :32], "ICO")),
        "svg.jpg": (BAD, b'<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>'),
        "text.jpg": (BAD, b"not a photo"),
        "empty.jpg": (BAD, b""),
        "zeros.jpg": (BAD, b"\0" * 5000),
        "noise.jpg": (BAD, rng.bytes(5000)),
        "html.png": (BAD, b"<html><body>sign in</body></html>"),
        "ring.tif": (BAD, tiff_ring(pixels)),
        "pages.tif": (BAD, tiff_of_pages(pixels[:20, :20], 3)),
        "many pages.tif": (BAD, tiff_of_pages(pixels[:8, :8], 90)),
        "wide claim.tif": (BAD, tiff_tag(pixels, 256, 2_000_000_000)),
        "deep claim.tif": (BAD, tiff_tag(pixels, 258, 2_000_000_000)),
        "nothing.tif": (BAD, b"II*\0" + struct.pack("<I", 8) + b"\0" * 20),
        "far.tif": (BAD, b"II*\0" + struct.pack("<I", 4_000_000_000)),
        "no number.tif": (BAD, flat.getvalue()),
        "claims all.png": (BAD, png_claiming(2**31 - 1, 2**31 - 1)),
        "claims much.png": (BAD, png_claiming(20_000, 20_000)),
        "claims none.png": (BAD, png_claiming(0, 0)),
        "claims less.png": (BAD, png_claiming(4000, 3000)),
        "long.png": (FLAWED, encoded(np.full((1, 65_500, 3), 200, np.uint8), "PNG")),
        "tall.png": (FLAWED, encoded(np.full((65_500, 1, 3), 200, np.uint8), "PNG")),
        "one pixel.png": (FLAWED, encoded(np.full((1, 1, 3), 200, np.uint8), "PNG")),
        "flat.png": (FLAWED, encoded(np.full((300, 400, 3), 128, np.uint8), "PNG")),
        "text bomb.png": (FLAWED, png[:33] + text + png[33:]),
        "profile bomb.png": (FLAWED, png[:33] + profile + png[33:]),
        "cut head.jpg": (BAD, jpeg[:100]),
        "wrong sum.png": (BAD, png[:29] + b"\0\0\0\0" + png[33:]),
        "heic.heic": (BAD, b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + rng.bytes(4000)),
        "webp.webp": (BAD, b"RIFF\xff\xff\xff\x7fWEBPVP8X" + rng.bytes(300)),
        "bmp.bmp": (BAD, bmp_claiming(2**31 - 1)),
    }
    for share in (0.3, 0.6, 0.9):
        made[f"cut {share}.jpg"] = (BAD, jpeg[: int(share * len(jpeg))])
        made[f"cut {share}.png"] = (BAD, png[: int(share * len(png))])
    return made


def special_files(folder) -> dict[str, str]:
    """Put what is no plain file into a folder; return file name -> what is expected."""
    os.mkfifo(folder / "pipe.jpg")
    (folder / "gone.jpg").symlink_to(folder / "nowhere.jpg")
    (folder / "ring a.jpg").symlink_to(folder / "ring b.jpg")
    (folder / "ring b.jpg").symlink_to(folder / "ring a.jpg")
    (folder / "endless.jpg").symlink_to("/dev/zero")
    (folder / "folder.jpg").mkdir()
    with (folder / "sparse.jpg").open("wb") as file:
        file.truncate(3 * 10**9)
    with (folder / "sparse zeros.jpg").open("wb") as file:
        file.truncate(5 * 10**8)
    names = ("pipe.jpg", "gone.jpg", "ring a.jpg", "ring b.jpg", "endless.jpg", "sparse.jpg", "sparse zeros.jpg")
    return dict.fromkeys(names, BAD)
