"""Photos as clumsy people, odd programs and ill will make them: a third bed, of kinds that the other two lack.

Made, not stored; each with what must become of it (``odd_photos``: sound, flawed, bad).
"""

from __future__ import annotations

import io
import os
import socket
import struct
import zlib

import numpy as np
import tifffile
from odd_photos import BAD, FLAWED, SOUND, encoded, png_chunk
from PIL import Image

MAGIC = b"\x89PNG\r\n\x1a\n"


def png_of(pixels: np.ndarray, depth: int, colour: int, *, filtered: bytes | None = None, extra: bytes = b"") -> bytes:
    """Return a PNG with a head of any depth and colour type (ISO/IEC 15948, 11.2.2), rows as they are."""
    height, width = pixels.shape[:2]
    head = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))
    rows = filtered if filtered is not None else b"".join(b"\0" + row.tobytes() for row in pixels)
    return MAGIC + head + extra + png_chunk(b"IDAT", zlib.compress(rows, 1)) + png_chunk(b"IEND", b"")


def tiff(pixels, **options) -> bytes:
    """Return a TIFF as tifffile writes it."""
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, pixels, **options)
    return buffer.getvalue()


def pillow(image: Image.Image, kind: str, **options) -> bytes:
    """Return a Pillow picture's bytes."""
    buffer = io.BytesIO()
    image.save(buffer, kind, **options)
    return buffer.getvalue()


def with_exif(pixels, kind: str, turn: int, back) -> bytes:
    """Return a picture that lies turned in its file, with the tag that says so."""
    exif = Image.Exif()
    exif[0x0112] = turn
    image = Image.fromarray(pixels).transpose(back)
    return pillow(image, kind, exif=exif, **({"lossless": True} if kind == "WEBP" else {}))


def jpeg_height(data: bytes, height: int) -> bytes:
    """Return a JPEG whose frame head claims another height."""
    at = data.index(b"\xff\xc0")
    return data[: at + 5] + struct.pack(">H", height) + data[at + 7 :]


def pngs(pixels: np.ndarray, rng) -> dict[str, tuple[str, bytes]]:
    """PNGs of every depth, and with chunks that nobody needs."""
    png = encoded(pixels, "PNG", compress_level=1)
    image = Image.fromarray(pixels)
    deep = (pixels * np.uint16(257)).astype(">u2")
    grey = np.asarray(image.convert("L"))
    clear = np.dstack([pixels, np.zeros(pixels.shape[:2], np.uint8)])
    palette = image.quantize(256)
    idat = png.index(b"IDAT") - 4
    split = zlib.compress(b"".join(b"\0" + row.tobytes() for row in pixels), 1)
    pieces = b"".join(png_chunk(b"IDAT", split[k : k + 97]) for k in range(0, len(split), 97))
    bomb = zlib.compress(b"".join(b"\0" + row.tobytes() for row in pixels) + b"\0" * 80_000_000, 9)
    return {
        "deep colour.png": (SOUND, png_of(deep, 16, 2)),
        "deep grey.png": (FLAWED, png_of((grey * np.uint16(257)).astype(">u2"), 16, 0)),
        "twelve bits in sixteen.png": (FLAWED, png_of((grey * np.uint16(16)).astype(">u2"), 16, 0)),
        "grey.png": (FLAWED, encoded(grey, "PNG")),
        "one bit.png": (FLAWED, pillow(image.convert("1"), "PNG")),
        "palette.png": (FLAWED, pillow(palette, "PNG")),
        "palette see-through.png": (FLAWED, pillow(palette, "PNG", transparency=3)),
        "all see-through.png": (FLAWED, encoded(clear, "PNG")),
        "grey with alpha.png": (FLAWED, pillow(image.convert("LA"), "PNG")),
        "turned by tag.png": (SOUND, with_exif(pixels, "PNG", 3, Image.Transpose.ROTATE_180)),
        "in small pieces.png": (SOUND, png[:idat] + pieces + png_chunk(b"IEND", b"")),
        "more rows than told.png": (SOUND, png[:idat] + png_chunk(b"IDAT", bomb) + png_chunk(b"IEND", b"")),
        "unknown chunk.png": (SOUND, png[:33] + png_chunk(b"zzZz", rng.bytes(500)) + png[33:]),
        "wrong sum of a note.png": (BAD, png[:33] + png_chunk(b"tEXt", b"a\0b")[:-1] + b"\0" + png[33:]),
        "two heads.png": (BAD, png[:33] + png[8:33].replace(b"\x08\x02", b"\x10\x06") + png[33:]),
        "moving.png": (SOUND, pillow(image, "PNG", save_all=True, append_images=[image.rotate(90)], duration=40)),
        "filter of nowhere.png": (
            BAD,
            png_of(pixels, 8, 2, filtered=b"\x09" * (pixels.shape[0] * (pixels.shape[1] * 3 + 1))),
        ),
    }


def jpegs(pixels: np.ndarray, rng) -> dict[str, tuple[str, bytes]]:
    """JPEGs with heads that lie, with others inside or behind."""
    jpeg = encoded(pixels, "JPEG", quality=95)
    image = Image.fromarray(pixels)
    exif = Image.Exif()
    exif[0x0132] = "yesterday"
    exif[0x010F] = "x" * 40_000
    ring = b"Exif\0\0II*\0\x08\0\0\0\x01\0\x69\x87\x04\0\x01\0\0\0\x08\0\0\0\x08\0\0\0"
    app1 = b"\xff\xe1" + struct.pack(">H", len(ring) + 2) + ring
    scan = jpeg.index(b"\xff\xda")
    tables = jpeg.index(b"\xff\xdb")
    return {
        "grey.jpg": (FLAWED, pillow(image.convert("L"), "JPEG", quality=95)),
        "time in words.jpg": (SOUND, pillow(image, "JPEG", quality=95, exif=exif)),
        "ring of tags.jpg": (SOUND, jpeg[:2] + app1 + jpeg[2:]),
        "two behind each other.jpg": (SOUND, jpeg + jpeg),
        "two pictures.jpg": (SOUND, pillow(image, "MPO", quality=95, save_all=True, append_images=[image.rotate(180)])),
        "claims half.jpg": (FLAWED, jpeg_height(jpeg, pixels.shape[0] // 2)),
        "claims double.jpg": (FLAWED, jpeg_height(jpeg, pixels.shape[0] * 2)),
        "claims nothing.jpg": (BAD, jpeg_height(jpeg, 0)),
        "no tables.jpg": (BAD, jpeg[:tables] + jpeg[scan:]),
        "no scan.jpg": (BAD, jpeg[:scan] + b"\xff\xd9"),
        "zero tables.jpg": (FLAWED, jpeg[: tables + 5] + bytes(64) + jpeg[tables + 69 :]),
        "head of text.jpg": (BAD, b"HTTP/1.1 200 OK\r\n\r\n" + jpeg),
        "quoted.jpg": (FLAWED, jpeg.replace(b"\n", b"\r\n")),
        "only ascii.jpg": (BAD, bytes(b & 0x7F for b in jpeg)),
        "hole.jpg": (FLAWED, jpeg[: len(jpeg) // 3] + bytes(len(jpeg) // 2) + jpeg[-len(jpeg) // 6 :]),
        "worst quality.jpg": (FLAWED, pillow(image, "JPEG", quality=3)),
        "cut to a line.jpg": (FLAWED, encoded(pixels[:3], "JPEG")),
        "noise all over.jpg": (FLAWED, encoded(rng.integers(0, 256, pixels.shape, dtype=np.uint8), "JPEG")),
    }


def tiffs(pixels: np.ndarray) -> dict[str, tuple[str, bytes]]:
    """TIFFs of other programs."""
    image = Image.fromarray(pixels)
    small = pixels[::8, ::8]
    buffer = io.BytesIO()
    with tifffile.TiffWriter(buffer) as writer:
        writer.write(pixels, photometric="rgb", subifds=1)
        writer.write(small, photometric="rgb", subfiletype=1)
    five = np.dstack([pixels, pixels[..., :2]])
    grey = np.asarray(image.convert("L"))
    return {
        "pyramid.tif": (SOUND, buffer.getvalue()),
        "turned by tag.tif": (SOUND, tiff(pixels[::-1, ::-1], photometric="rgb", extratags=[(274, 3, 1, 3, True)])),
        "predictor.tif": (SOUND, pillow(image, "TIFF", compression="tiff_lzw", tiffinfo={317: 2})),
        "JPEG inside.tif": (SOUND, pillow(image, "TIFF", compression="jpeg", quality=97)),
        "CMYK.tif": (FLAWED, pillow(image.convert("CMYK"), "TIFF")),
        "Lab.tif": (FLAWED, pillow(image.convert("LAB"), "TIFF")),
        "palette.tif": (FLAWED, pillow(image.quantize(256), "TIFF")),
        "one bit.tif": (FLAWED, pillow(image.convert("1"), "TIFF", compression="group4")),
        "white is zero.tif": (FLAWED, tiff(255 - grey, photometric="miniswhite")),
        "doubles.tif": (SOUND, tiff(pixels / 255.0, photometric="rgb")),
        "signed.tif": (FLAWED, tiff(pixels.astype(np.int16), photometric="rgb")),
        "long whole numbers.tif": (FLAWED, tiff(pixels.astype(np.uint32) * 16_843_009, photometric="rgb")),
        "complex.tif": (BAD, tiff(grey.astype(np.complex64))),
        "five channels.tif": (FLAWED, tiff(five, photometric="rgb")),
        "a stack.tif": (BAD, tiff(np.stack([pixels] * 3), photometric="rgb")),
        "endless numbers.tif": (
            FLAWED,
            tiff(np.where(pixels > 250, np.inf, pixels).astype(np.float32), photometric="rgb"),
        ),
    }


def others(pixels: np.ndarray, rng) -> dict[str, tuple[str, bytes]]:
    """WebP and BMP, and what systems and browsers leave beside photos."""
    image = Image.fromarray(pixels)
    bmp = bytearray(encoded(pixels, "BMP"))
    struct.pack_into("<i", bmp, 22, -pixels.shape[0])
    short = bytearray(encoded(pixels, "BMP"))
    struct.pack_into("<H", short, 28, 16)
    moving = pillow(image, "WEBP", lossless=True, save_all=True, append_images=[image.rotate(90)], duration=40)
    return {
        "turned by tag.webp": (SOUND, with_exif(pixels, "WEBP", 3, Image.Transpose.ROTATE_180)),
        "moving.webp": (FLAWED, moving),
        "palette.bmp": (FLAWED, pillow(image.quantize(256), "BMP")),
        "upside down.bmp": (FLAWED, bytes(bmp)),
        "half the bits.bmp": (FLAWED, bytes(short)),
        "saved page.jpg": (BAD, b"<!DOCTYPE html><title>photo</title>" * 40),
        "link.jpg": (BAD, b"[InternetShortcut]\r\nURL=https://example.org/a.jpg\r\n"),
        "base64.jpg": (BAD, b"data:image/jpeg;base64,/9j/4AAQ" + b"A" * 4000),
        "half loaded.jpg": (BAD, encoded(pixels, "JPEG", quality=92)[:20_000] + bytes(80_000)),
        "encrypted.jpg": (BAD, b"Salted__" + rng.bytes(30_000)),
    }


LEFT_ASIDE = ("._a.jpg", ".hidden.jpg", "Thumbs.db", "desktop.ini", "a.jpg.part", "a.txt")
"""Files that are no photos by their name: neither counted nor complained of."""


def put_special(folder, pixels) -> dict[str, str]:
    """Put folders, links and sockets beside the photos; return name -> what is expected of each that is looked at."""
    png = encoded(pixels, "PNG", compress_level=1)
    for name in LEFT_ASIDE:
        (folder / name).write_bytes(png if name != "._a.jpg" else b"\0\x05\x16\x07\0\x02\0\0Mac OS X" + bytes(200))
    (folder / "empty.jpg").mkdir()
    (folder / "deep" / "er" / "photos of monday").mkdir(parents=True)
    (folder / "deep" / "er" / "photos of monday" / "one.png").write_bytes(png)
    (folder / "deep" / "round").symlink_to(folder)
    (folder / "round.jpg").symlink_to(folder)
    (folder / "hard.png").hardlink_to(folder / "deep" / "er" / "photos of monday" / "one.png")
    here = socket.socket(socket.AF_UNIX)
    at = os.open(folder, os.O_RDONLY)
    try:
        here.bind(f"/proc/self/fd/{at}/talk.jpg")
    finally:
        here.close()
        os.close(at)
    return {"one.png": SOUND, "hard.png": SOUND, "talk.jpg": BAD}


def clumsy_photos(pixels: np.ndarray, seed: int = 17) -> dict[str, tuple[str, bytes]]:
    """Return file name -> (what is expected, content) of the third bed.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
        A sound photo.
    seed : int
    """
    rng = np.random.default_rng(seed)
    made = pngs(pixels, rng) | jpegs(pixels, rng) | tiffs(pixels) | others(pixels, rng)
    return made | {"sound.png": (SOUND, encoded(pixels, "PNG", compress_level=1))}
