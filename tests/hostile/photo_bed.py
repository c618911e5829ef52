"""A seeded bed of some four hundred photos: formats, modes, tags and names as they come, and everything that may break.

Made, not stored; each with what must become of it (``odd_photos``: sound, flawed, bad).
"""

from __future__ import annotations

import io

import fuzz_photos
import numpy as np
import tifffile
from odd_photos import BAD, FLAWED, SOUND, encoded, odd_photos, png_chunk, png_claiming, tiff_tag
from PIL import Image


def as_formats(pixels: np.ndarray) -> dict[str, tuple[str, bytes]]:
    """Return the photo in every format, mode, compression and orientation that is read."""
    image = Image.fromarray(pixels)
    made = {}

    def put(name: str, picture: Image.Image, kind: str, **options):
        buffer = io.BytesIO()
        picture.save(buffer, kind, **options)
        made[name] = (SOUND, buffer.getvalue())

    for quality in (80, 88, 95, 100):
        for subsampling in (0, 1, 2):
            put(f"q{quality} s{subsampling}.jpg", image, "JPEG", quality=quality, subsampling=subsampling)
    put("progressive.jpg", image, "JPEG", quality=92, progressive=True)
    put("optimised.jpeg", image, "JPEG", quality=92, optimize=True)
    put("CAPITALS.JPG", image, "JPEG", quality=92)
    put("comment.jpg", image, "JPEG", quality=92, comment=b"c" * 60_000)
    put("dpi.jpg", image, "JPEG", quality=92, dpi=(72, 72))
    put("profile.jpg", image, "JPEG", quality=92, icc_profile=b"no profile" * 50)
    put("cmyk.jpg", image.convert("CMYK"), "JPEG", quality=95)
    for level in (0, 1, 9):
        put(f"level {level}.png", image, "PNG", compress_level=level)
    opaque = image.convert("RGBA")
    put("alpha.png", opaque, "PNG")
    put("alpha.webp", opaque, "WEBP", lossless=True)
    put("alpha.tif", opaque, "TIFF")
    put("lossy.webp", image, "WEBP", quality=95)
    put("plain.bmp", image, "BMP")
    for compression in ("raw", "tiff_lzw", "tiff_adobe_deflate", "packbits", "tiff_deflate"):
        put(f"{compression}.tif", image, "TIFF", compression=compression)
    for order in "<>":
        for big in (False, True):
            for planar in ("contig", "separate"):
                buffer = io.BytesIO()
                data = pixels if planar == "contig" else np.moveaxis(pixels, 2, 0)
                options = {"photometric": "rgb", "planarconfig": planar}
                with tifffile.TiffWriter(buffer, byteorder=order, bigtiff=big) as writer:
                    writer.write(data, **options)
                made[f"tiff {'LM'[order == '>']} {big:d} {planar}.tiff"] = (SOUND, buffer.getvalue())
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, pixels, photometric="rgb", tile=(64, 64))
    made["tiled.tif"] = (SOUND, buffer.getvalue())
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, (pixels / 255).astype(np.float32), photometric="rgb")
    made["fractions.tif"] = (SOUND, buffer.getvalue())
    for turn, back in _TURNS.items():
        exif = Image.Exif()
        exif[0x0112] = turn
        put(f"turned {turn}.jpg", image.transpose(back) if back is not None else image, "JPEG", quality=95, exif=exif)
    for turn in (0, 9, 65535):
        exif = Image.Exif()
        exif[0x0112] = turn
        put(f"turned {turn}.jpg", image, "JPEG", quality=95, exif=exif)
    return made


_T = Image.Transpose
_TURNS = {
    1: None,
    2: _T.FLIP_LEFT_RIGHT,
    3: _T.ROTATE_180,
    4: _T.FLIP_TOP_BOTTOM,
    5: _T.TRANSPOSE,
    6: _T.ROTATE_90,
    7: _T.TRANSVERSE,
    8: _T.ROTATE_270,
}
"""Orientation (TIFF 6.0, section 8) -> how the pixels lie in the file."""


def broken(pixels: np.ndarray, rng) -> dict[str, tuple[str, bytes]]:
    """Return files cut off, with wrong heads, wrong sums, or claims that nothing could hold."""
    files = {
        "jpg": encoded(pixels, "JPEG", quality=92),
        "png": encoded(pixels, "PNG"),
        "tif": encoded(pixels, "TIFF"),
        "bmp": encoded(pixels, "BMP"),
        "webp": encoded(pixels, "WEBP", lossless=True),
    }
    made = {}
    for ending, data in files.items():
        for share in (0.02, 0.1, 0.25, 0.4, 0.55, 0.7, 0.8, 0.95):
            made[f"cut {share}.{ending}"] = (BAD, data[: int(share * len(data))])
        made[f"head of noise.{ending}"] = (BAD, rng.bytes(16) + data[16:])
        made[f"head of zeros.{ending}"] = (BAD, bytes(32) + data[32:])
        made[f"shifted.{ending}"] = (BAD, b"\n" + data)
        made[f"noise behind a head.{ending}"] = (BAD, data[:16] + rng.bytes(20_000))
        made[f"upside down.{ending}"] = (BAD, data[::-1])
        made[f"base64.{ending}"] = (BAD, data[:3000].hex().encode())
        for other, others in files.items():
            if other != ending:
                made[f"{other} named.{ending}"] = (SOUND, others)
    png = files["png"]
    for code, value in ((256, 0), (257, 0), (257, 4_000_000_000), (273, 4_000_000_000), (277, 60_000), (258, 7)):
        made[f"tag {code} {value}.tif"] = (BAD, tiff_tag(pixels, code, value))
    for width, height in ((0, 100), (100, 0), (30_000, 30_000), (2**31 - 1, 1), (1, 2**31 - 1)):
        made[f"claims {width} {height}.png"] = (BAD, png_claiming(width, height))
    made["no palette.png"] = (BAD, png[:16] + png_chunk(b"IHDR", png[16:24] + b"\x08\x03\0\0\0")[8:] + png[33:])
    made["no end.png"] = (SOUND, png[:-12])
    made["words behind.png"] = (SOUND, png + b"trailing words" * 1000)
    made["words behind.jpg"] = (SOUND, files["jpg"] + b"trailing words" * 1000)
    made["zip behind.jpg"] = (SOUND, files["jpg"] + b"PK\x03\x04" + bytes(200))
    return made


OTHER_FILES = {
    "archive.jpg": b"PK\x03\x04" + bytes(3000),
    "program.png": b"\x7fELF" + bytes(3000),
    "program.jpg": b"MZ" + bytes(3000),
    "film.jpg": b"\0\0\0\x20ftypisom" + bytes(3000),
    "film.heic": b"\0\0\0\x20ftypqt  " + bytes(3000),
    "sound.png": b"RIFF\x24\0\0\0WAVEfmt " + bytes(3000),
    "table.jpg": b"lot,hatch\r\nL-1,H-1\r\n" * 100,
    "settings.png": b'[site]\nname = "x"\n',
    "notebook.jpg": b'{"cells": [], "nbformat": 4}',
    "database.png": b"SQLite format 3\0" + bytes(3000),
    "array.tif": b"\x93NUMPY\x01\0" + bytes(3000),
    "pickle.png": b"\x80\x04\x95" + bytes(3000),
    "raw.tif": b"IIU\0\x08\0\0\0" + bytes(3000),
    "photoshop.jpg": b"8BPS\0\x01" + bytes(3000),
    "jpeg 2000.jpg": b"\0\0\0\x0cjP  \r\n\x87\n" + bytes(3000),
    "avif.jpg": b"\0\0\0\x1cftypavif" + bytes(3000),
    "dicom.jpg": bytes(128) + b"DICM" + bytes(3000),
    "mark.txt.jpg": b"\xef\xbb\xbftext",
    "one byte.jpg": b"\xff",
    "soi.jpg": b"\xff\xd8\xff",
    "soi eoi.jpg": b"\xff\xd8\xff\xd9",
}
"""Files of other programs under a photo's name."""

NAMES = (
    *(
        "a b.png",
        " lead.png",
        "trail .png",
        "'quoted'.png",
        '"double".png',
        "semi;colon.png",
        "com,ma.png",
        "per%cent.png",
    ),
    *("new\nline.png", "tab\t.png", "\r.png", "\u0085.png", "\u2029.png", "null\u2400.png", "-rf.png", "--out.png"),
    *(
        "@at.png",
        "+plus.png",
        "=sum(1).png",
        "|bar.png",
        "<b>bold<b>.png",
        "&amp;.png",
        "$HOME.png",
        "`id`.png",
        "~.png",
    ),
    *(
        "a.b.c.png",
        "漢字.png",
        "ä.png",
        "a\u0308.png",
        "🦐.png",
        "\u200b.png",
        "\ufeff.png",
        "\u2066x.png",
        "\x1b[2J.png",
    ),
    *("\x9b.png", "CON.png", "nul.png", "counts.csv.png", "objects.png", "checked.png", "0.png", "1e5.png", "nan.png"),
    *("n" * 240 + ".png", "漢" * 80 + ".png", "😀" * 60 + ".png"),
)
"""Names that a disk can hold."""

CLEAR_LIES = ("frozen", "squeezed", "cut", "repeated_rows", "foreign_block")


def photo_bed(pixels: np.ndarray, seed: int = 17) -> dict[str, tuple[str, bytes]]:
    """Return file name -> (what is expected, content) of the whole bed.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
        A sound photo.
    seed : int
    """
    rng = np.random.default_rng(seed)
    png = encoded(pixels, "PNG", compress_level=1)
    made = odd_photos(pixels, rng) | as_formats(pixels) | broken(pixels, rng)
    made |= {f"other {name}": (BAD, data) for name, data in OTHER_FILES.items()}
    made |= dict.fromkeys(NAMES, (SOUND, png))
    whole = next(p for name, p, _ in fuzz_photos.pieces() if name == "bright-01")
    made["a whole photo.jpg"] = (SOUND, encoded(whole, "JPEG", quality=90))
    for size in (40, 600, 9000):
        for i in range(20):
            ending = ("jpg", "png", "tif", "bmp", "webp", "heic")[i % 6]
            made[f"noise {size} {i}.{ending}"] = (BAD, rng.bytes(size))
    for i in range(20):
        damaged = bytearray(png)
        damaged[int(rng.integers(40, len(png) - 40))] ^= 1 << int(rng.integers(8))
        made[f"bit {i}.png"] = (BAD, bytes(damaged))
    for damage in CLEAR_LIES:
        for i in range(3):
            made[f"lie {damage} {i}.jpg"] = (FLAWED, getattr(fuzz_photos, damage)(whole, rng))
    return made
