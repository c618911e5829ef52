"""Photos of rare makes: a fourth bed, of coders, tables and tags that the other three lack.

Made, not stored; each with what must become of it (``odd_photos``: sound, flawed, bad).
"""

from __future__ import annotations

import io
import os
import struct
import zlib

import numpy as np
import tifffile
from clumsy_photos import MAGIC, pillow, png_of, tiff
from odd_photos import BAD, FLAWED, SOUND, encoded, png_chunk
from PIL import Image, ImageCms


def heif(pixels, **options) -> bytes:
    """Return a HEIC photo as phones write it."""
    import pillow_heif

    buffer = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(pixels)).save(buffer, **options)
    return buffer.getvalue()


def segment(kind: int, body: bytes) -> bytes:
    """Return a segment of a JPEG."""
    return struct.pack(">BBH", 0xFF, kind, len(body) + 2) + body


def behind_head(jpeg: bytes, *segments: bytes) -> bytes:
    """Return a JPEG with segments put behind its first two bytes."""
    return jpeg[:2] + b"".join(segments) + jpeg[2:]


def heics(pixels, rng) -> dict[str, tuple[str, bytes]]:
    """HEIC photos, whole and broken, and other pictures in the same box."""
    whole = heif(pixels, quality=95)
    ispe = whole.index(b"ispe") + 8
    mdat = whole.index(b"mdat")
    many = io.BytesIO()
    import pillow_heif

    both = pillow_heif.from_pillow(Image.fromarray(pixels))
    both.add_from_pillow(Image.fromarray(np.ascontiguousarray(pixels[::-1])))
    both.save(many, quality=95)
    exif = Image.Exif()
    exif[0x0112] = 6
    noise = bytearray(whole)
    noise[mdat + 40 : mdat + 400] = rng.bytes(360)
    return {
        "phone.heic": (SOUND, whole),
        "phone.HEIF": (SOUND, heif(pixels, quality=90)),
        "phone named.jpg": (SOUND, whole),
        "tagged.heic": (SOUND, heif(pixels, quality=95, exif=exif.tobytes())),
        "two in one.heic": (FLAWED, many.getvalue()),
        "cut.heic": (BAD, whole[: len(whole) // 2]),
        "cut head.heic": (BAD, whole[:60]),
        "claims much.heic": (BAD, whole[:ispe] + struct.pack(">II", 60_000, 60_000) + whole[ispe + 8 :]),
        "claims nothing.heic": (BAD, whole[:ispe] + struct.pack(">II", 0, 0) + whole[ispe + 8 :]),
        "noise within.heic": (FLAWED, bytes(noise)),
        "no pixels.heic": (FLAWED, whole[:mdat] + b"free" + whole[mdat + 4 :]),
        "words behind.heic": (FLAWED, whole + b"trailing" * 500),
        "avif.avif.jpg": (FLAWED, pillow(Image.fromarray(pixels), "AVIF", quality=90)),
        "jpeg 2000.jp2.jpg": (BAD, pillow(Image.fromarray(pixels), "JPEG2000")),
        "film of pictures.heic": (BAD, whole.replace(b"ftypheic", b"ftypmsf1")[:300]),
        "box without end.heic": (FLAWED, whole[:24] + struct.pack(">I", 0xFFFFFFFF) + whole[28:]),
        "box in itself.heic": (BAD, whole[:24] + struct.pack(">I4s", 1, b"meta") + struct.pack(">Q", 4) + whole[40:]),
    }


def jpegs(pixels, rng) -> dict[str, tuple[str, bytes]]:
    """JPEGs of other coders, colour spaces, and segments of any length."""
    image = Image.fromarray(pixels)
    jpeg = encoded(pixels, "JPEG", quality=95)
    wide = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    frame, scan = jpeg.index(b"\xff\xc0"), jpeg.index(b"\xff\xda")
    restarts = pillow(image, "JPEG", quality=95, restart_marker_blocks=8)
    lost = bytearray(restarts)
    marks = [k for k in range(scan, len(lost) - 1) if lost[k] == 0xFF and 0xD0 <= lost[k + 1] <= 0xD7]
    swapped = bytearray(restarts)
    for a, b in zip(marks[40:60:2], marks[41:61:2]):
        swapped[a + 1], swapped[b + 1] = swapped[b + 1], swapped[a + 1]
    gone = bytes(lost[: marks[30]]) + bytes(lost[marks[90] :])
    progressive = pillow(image, "JPEG", quality=95, progressive=True)
    scans = [k for k in range(len(progressive) - 1) if progressive[k : k + 2] == b"\xff\xda"]
    exif = Image.Exif()
    exif[0x0112] = 3
    thumb = encoded(pixels[::16, ::16], "JPEG")
    count = b"Exif\0\0II*\0\x08\0\0\0\x01\0\x32\x01\x02\0\xff\xff\xff\xff\x00\0\0\0\0\0\0\0"
    adobe = b"Adobe\0\x64\0\0\0\0\0"
    return {
        "restarts.jpg": (SOUND, restarts),
        "a restart lost.jpg": (FLAWED, gone),
        "restarts swapped.jpg": (FLAWED, bytes(swapped)),
        "first scans only.jpg": (FLAWED, progressive[: scans[2]] + b"\xff\xd9"),
        "half of the scans.jpg": (BAD, progressive[: scans[len(scans) // 2] + 300]),
        "a scan twice.jpg": (FLAWED, progressive[: scans[2]] + progressive[scans[1] :]),
        "thousands of scans.jpg": (
            FLAWED,
            progressive[: scans[1]] + progressive[scans[1] : scans[2]] * 3000 + b"\xff\xd9",
        ),
        "RGB inside.jpg": (SOUND, pillow(image, "JPEG", quality=95, keep_rgb=True)),
        "says RGB, is not.jpg": (FLAWED, jpeg[:2] + segment(0xEE, adobe) + jpeg[20:]),
        "profile of Lab.jpg": (FLAWED, pillow(image, "JPEG", quality=95, icc_profile=wide)),
        "profile of many pieces.jpg": (SOUND, pillow(image, "JPEG", quality=95, icc_profile=bytes(900_000))),
        "piece of a profile.jpg": (SOUND, behind_head(jpeg, segment(0xE2, b"ICC_PROFILE\0\x05\x02" + bytes(90)))),
        "count without end.jpg": (SOUND, behind_head(jpeg, segment(0xE1, count))),
        "thumbnail first.jpg": (SOUND, behind_head(jpeg, segment(0xE1, b"Exif\0\0" + bytes(20) + thumb[:60_000]))),
        "notes of a megabyte.jpg": (SOUND, behind_head(jpeg, *[segment(0xFE, b"n" * 65_000)] * 16)),
        "xml of a bomb.jpg": (SOUND, behind_head(jpeg, segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + XML))),
        "thousands of segments.jpg": (SOUND, behind_head(jpeg, *[segment(0xEF, b"x")] * 20_000)),
        "segment too long.jpg": (BAD, jpeg[:2] + b"\xff\xe5\xff\xff" + jpeg[2:2000]),
        "segment of nothing.jpg": (FLAWED, jpeg[:2] + b"\xff\xe5\x00\x00" + jpeg[2:]),
        "fill bytes.jpg": (SOUND, jpeg[:2] + b"\xff" * 500 + jpeg[2:]),
        "arithmetic.jpg": (FLAWED, jpeg.replace(b"\xff\xc0", b"\xff\xc9", 1)),
        "lossless.jpg": (BAD, jpeg.replace(b"\xff\xc0", b"\xff\xc3", 1)),
        "twelve bits.jpg": (BAD, jpeg[: frame + 4] + b"\x0c" + jpeg[frame + 5 :]),
        "two channels.jpg": (BAD, jpeg[: frame + 9] + b"\x02" + jpeg[frame + 10 :]),
        "samples of five.jpg": (BAD, jpeg[: frame + 11] + b"\x55" + jpeg[frame + 12 :]),
        "claims 65500.jpg": (BAD, jpeg[: frame + 5] + struct.pack(">HH", 65_500, 65_500) + jpeg[frame + 9 :]),
        "claims 14000.jpg": (FLAWED, jpeg[: frame + 5] + struct.pack(">HH", 14_000, 14_000) + jpeg[frame + 9 :]),
        "wider than told.jpg": (
            FLAWED,
            jpeg[: frame + 7] + struct.pack(">H", pixels.shape[1] - 64) + jpeg[frame + 9 :],
        ),
        "tables of ones.jpg": (FLAWED, _flat_tables(jpeg)),
        "Huffman of noise.jpg": (FLAWED, _noisy_huffman(jpeg, rng)),
        "turned, and turned again.jpg": (SOUND, _turned_twice(pixels, exif)),
        "no start.jpg": (BAD, jpeg[2:]),
        "text before.jpg": (BAD, b"\n\n" + jpeg),
        "ends in half a mark.jpg": (FLAWED, jpeg[:-1]),
        "no end.jpg": (FLAWED, jpeg[:-2]),
        "a hole of a block of the disk.jpg": (FLAWED, jpeg[:40_960] + bytes(4096) + jpeg[45_056:]),
        "a block of the disk lost.jpg": (FLAWED, jpeg[:40_960] + jpeg[45_056:]),
        "a block of another file.jpg": (FLAWED, jpeg[:40_960] + b"lot,hatch\n" * 409 + jpeg[45_050:]),
        "blocks swapped.jpg": (FLAWED, jpeg[:20_480] + jpeg[24_576:28_672] + jpeg[20_480:24_576] + jpeg[28_672:]),
    }


XML = b'<!DOCTYPE x [<!ENTITY a "' + b"a" * 60 + b'">' + b'<!ENTITY b "&a;&a;&a;&a;&a;&a;">' * 90 + b"]><x>&b;</x>"


def _flat_tables(jpeg: bytes) -> bytes:
    """Let every step of quantisation be one: a picture of hardly any contrast."""
    data, at = bytearray(jpeg), jpeg.index(b"\xff\xdb")
    data[at + 5 : at + 69] = b"\x01" * 64
    return bytes(data)


def _noisy_huffman(jpeg: bytes, rng) -> bytes:
    """Exchange values of a Huffman table."""
    data, at = bytearray(jpeg), jpeg.index(b"\xff\xc4")
    values = list(data[at + 21 : at + 33])
    data[at + 21 : at + 33] = bytes(int(v) for v in rng.permutation(values))
    return bytes(data)


def _turned_twice(pixels, exif) -> bytes:
    """Turn a photo by its tag, with a second block of tags that says otherwise."""
    first = pillow(Image.fromarray(np.ascontiguousarray(pixels[::-1, ::-1])), "JPEG", quality=95, exif=exif)
    plain = Image.Exif()
    plain[0x0112] = 1
    block = segment(0xE1, plain.tobytes())
    end = 4 + struct.unpack_from(">H", first, first.index(b"\xff\xe1") + 2)[0] + first.index(b"\xff\xe1") - 2
    return first[:end] + block + first[end:]


def pngs(pixels, rng) -> dict[str, tuple[str, bytes]]:
    """PNGs that are interlaced, see-through by one colour, of few bits, with chunks that lie."""
    image = Image.fromarray(pixels)
    png = encoded(pixels, "PNG", compress_level=1)
    grey = np.asarray(image.convert("L"))
    four = (grey >> 4)[:, : grey.shape[1] // 2 * 2]
    packed = (four[:, ::2] << 4 | four[:, 1::2]).astype(np.uint8)
    rows = b"".join(b"\0" + row.tobytes() for row in packed)
    exif = png_chunk(b"eXIf", b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x03\0\0\0\0\0\0\0")
    few = image.quantize(256)
    body = pillow(few, "PNG")
    plte = body.index(b"PLTE") - 4
    length = struct.unpack_from(">I", body, plte)[0]
    short = body[:plte] + png_chunk(b"PLTE", body[plte + 8 : plte + 8 + 30]) + body[plte + 12 + length :]
    end = png[:-12]
    idat = png.index(b"IDAT") - 4
    raw = b"".join(b"\0" + row.tobytes() for row in pixels)
    apple = MAGIC + png_chunk(b"CgBI", b"\x50\0\x20\x02") + png[8:idat]
    bgr = zlib.compressobj(1, zlib.DEFLATED, -15)
    apple += png_chunk(b"IDAT", bgr.compress(raw) + bgr.flush()) + png_chunk(b"IEND", b"")
    return {
        "interlaced.png": (SOUND, interlaced(pixels)),
        "interlaced, cut.png": (BAD, interlaced(pixels)[:-80_000]),
        "see-through white.png": (FLAWED, png_of(pixels, 8, 2, extra=png_chunk(b"tRNS", b"\0\xff\0\xff\0\xff"))),
        "four bits.png": (FLAWED, png_of(np.zeros((four.shape[0], four.shape[1])), 4, 0, filtered=rows)),
        "half see-through.png": (FLAWED, encoded(np.dstack([pixels, np.full(grey.shape, 128, np.uint8)]), "PNG")),
        "palette too short.png": (FLAWED, short),
        "no palette at all.png": (FLAWED, body[:plte] + body[plte + 12 + length :]),
        "gamma of nothing.png": (SOUND, png[:33] + png_chunk(b"gAMA", bytes(4)) + png[33:]),
        "gamma of two.png": (SOUND, png[:33] + png_chunk(b"gAMA", struct.pack(">I", 200_000)) + png[33:]),
        "profile cut.png": (
            FLAWED,
            png[:33] + png_chunk(b"iCCP", b"p\0\0" + zlib.compress(bytes(900))[:-9]) + png[33:],
        ),
        "profile without name.png": (FLAWED, png[:33] + png_chunk(b"iCCP", b"\0" * 90) + png[33:]),
        "turned behind.png": (FLAWED, end + exif + png[-12:]),
        "of a phone's program.png": (BAD, apple),
        "empty pieces.png": (SOUND, png[:idat] + png_chunk(b"IDAT", b"") * 300 + png[idat:]),
        "a piece of any length.png": (BAD, png[:idat] + struct.pack(">I", 0x7FFFFFFF) + png[idat + 4 :]),
        "wrong end of zlib.png": (FLAWED, _png_with(png, idat, zlib.compress(raw, 1)[:-4] + b"\0\0\0\0")),
        "half of the rows.png": (FLAWED, _png_with(png, idat, zlib.compress(raw[: len(raw) // 2], 1))),
        "no rows.png": (BAD, _png_with(png, idat, zlib.compress(b"", 1))),
        "too many notes.png": (FLAWED, png[:33] + png_chunk(b"tEXt", b"n\0" + b"a" * 900) * 3000 + png[33:]),
        "ten thousand pieces of any kind.png": (SOUND, png[:33] + png_chunk(b"abCd", b"") * 10_000 + png[33:]),
        "depth of three.png": (BAD, png_of(pixels, 3, 2)),
        "colour of five.png": (BAD, png_of(pixels, 8, 5)),
        "steps without a picture.png": (FLAWED, png[:33] + png_chunk(b"acTL", struct.pack(">II", 9, 0)) + png[33:]),
        "bomb of a picture.png": (FLAWED, bomb(13_000)),
        "two pictures.png": (SOUND, png + png),
        "capital end.PNG": (SOUND, png),
    }


def _png_with(png: bytes, idat: int, body: bytes) -> bytes:
    return png[:idat] + png_chunk(b"IDAT", body) + png_chunk(b"IEND", b"")


def bomb(side: int) -> bytes:
    """Return a PNG of nothing that unpacks to half a gigabyte, within the limit of pixels."""
    head = png_chunk(b"IHDR", struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0))
    pack = zlib.compressobj(9)
    row = b"\0" * (1 + 3 * side)
    data = b"".join(pack.compress(row) for _ in range(side)) + pack.flush()
    return MAGIC + head + png_chunk(b"IDAT", data) + png_chunk(b"IEND", b"")


def interlaced(pixels) -> bytes:
    """Return an Adam7 PNG (ISO/IEC 15948, 8.2), which Pillow does not write."""
    height, width = pixels.shape[:2]
    rows = b""
    for top, left, down, across in (
        (0, 0, 8, 8),
        (0, 4, 8, 8),
        (4, 0, 8, 4),
        (0, 2, 4, 4),
        (2, 0, 4, 2),
        (0, 1, 2, 2),
        (1, 0, 2, 1),
    ):
        for row in pixels[top::down, left::across]:
            rows += b"\0" + row.tobytes()
    head = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 1))
    return MAGIC + head + png_chunk(b"IDAT", zlib.compress(rows, 1)) + png_chunk(b"IEND", b"")


def tiffs(pixels) -> dict[str, tuple[str, bytes]]:
    """TIFFs of microscopes, scanners and cameras' raw data, and bombs of every table."""
    image = Image.fromarray(pixels)
    grey = np.asarray(image.convert("L"))
    plain = tiff(pixels, photometric="rgb")
    bayer = tiff(
        grey.astype(np.uint16) * 16,
        photometric=32803,
        extratags=[(33421, 3, 2, (2, 2), True), (33422, 1, 4, (0, 1, 1, 2), True)],
    )
    two = io.BytesIO()
    with tifffile.TiffWriter(two) as writer:
        writer.write(pixels, photometric="rgb", contiguous=False)
        writer.write(pixels[::4, ::4], photometric="rgb", contiguous=False)
    holes = pixels.astype(np.float32) / 255
    holes[::50, ::50] = np.nan
    return {
        "stripes of seven rows.tif": (SOUND, tiff(pixels, photometric="rgb", rowsperstrip=7)),
        "one stripe of all.tif": (SOUND, tiff(pixels, photometric="rgb", rowsperstrip=2**31)),
        "tiles, compressed.tif": (SOUND, tiff(pixels, photometric="rgb", tile=(128, 128), compression="zlib")),
        "tiles of planes.tif": (
            SOUND,
            tiff(np.moveaxis(pixels, 2, 0), photometric="rgb", planarconfig="separate", tile=(64, 64)),
        ),
        "half numbers.tif": (SOUND, tiff((pixels / 255).astype(np.float16), photometric="rgb")),
        "fractions of 255.tif": (SOUND, tiff(pixels.astype(np.float32), photometric="rgb")),
        "holes in numbers.tif": (FLAWED, tiff(holes, photometric="rgb")),
        "below nothing.tif": (FLAWED, tiff(pixels.astype(np.float32) - 400, photometric="rgb")),
        "all the same.tif": (FLAWED, tiff(np.full_like(pixels, 7), photometric="rgb")),
        "twelve bits in sixteen.tif": (SOUND, tiff(pixels.astype(np.uint16) * 16, photometric="rgb")),
        "grey of a microscope.tif": (FLAWED, tiff(grey.astype(np.uint16) * 257, imagej=True, resolution=(1.0, 1.0))),
        "of a microscope, colour.tif": (SOUND, tiff(pixels, imagej=True)),
        "with notes in XML.tif": (SOUND, tiff(pixels, photometric="rgb", description=XML.decode(), metadata=None)),
        "notes of the open kind.tif": (SOUND, tiff(pixels, photometric="rgb", ome=True, metadata={"axes": "YXS"})),
        "slices, claimed.tif": (
            FLAWED,
            tiff(pixels, photometric="rgb", description="ImageJ=1\nimages=900000\nslices=900000\n", metadata=None),
        ),
        "a stack of a microscope.tif": (BAD, tiff(np.stack([grey] * 4), imagej=True)),
        "two sizes.tif": (BAD, two.getvalue()),
        "raw of a camera.tif": (FLAWED, bayer),
        "scanned, JPEG inside, YCbCr.tif": (
            FLAWED,
            pillow(image.convert("YCbCr"), "TIFF", compression="jpeg", quality=97),
        ),
        "fax.tif": (FLAWED, pillow(image.convert("1"), "TIFF", compression="group3")),
        "compressed by nobody.tif": (BAD, _tag(plain, 259, 3, 34_999)),
        "compressed as LZW, is not.tif": (BAD, _tag(plain, 259, 3, 5)),
        "compressed as zlib, is not.tif": (BAD, _tag(plain, 259, 3, 8)),
        "compressed as JPEG, is not.tif": (BAD, _tag(plain, 259, 3, 7)),
        "rows of nothing.tif": (FLAWED, _tag(plain, 278, 4, 0)),
        "bytes of nothing.tif": (FLAWED, _tag(plain, 279, 4, 0)),
        "bytes without end.tif": (FLAWED, _tag(plain, 279, 4, 2**32 - 1)),
        "pixels in the head.tif": (FLAWED, _tag(plain, 273, 4, 0)),
        "thirty channels.tif": (BAD, _tag(plain, 277, 3, 30)),
        "one channel, told.tif": (FLAWED, _tag(plain, 277, 3, 1)),
        "of another colour.tif": (FLAWED, _tag(plain, 262, 3, 8)),
        "of no colour.tif": (FLAWED, _tag(plain, 262, 3, 60_000)),
        "tags without end.tif": (BAD, plain[:8] + b"\xff\xff" + plain[10:]),
        "tag of four thousand million.tif": (FLAWED, _counted(plain, 258, 0xFFFFFFFF)),
        "a tag twice.tif": (FLAWED, _tag(plain, 284, 3, 1, code_too=256)),
        "turned by nine.tif": (SOUND, tiff(pixels, photometric="rgb", extratags=[(274, 3, 1, 9, True)])),
        "scale of nothing.tif": (
            SOUND,
            tiff(pixels, photometric="rgb", resolution=(0, 0), resolutionunit="CENTIMETER"),
        ),
        "bomb of zeros.tif": (FLAWED, tiff(np.zeros((9000, 9000, 3), np.uint8), photometric="rgb", compression="zlib")),
        "other end.tif": (SOUND, tiff(pixels, photometric="rgb", byteorder=">")),
        "large kind.tif": (SOUND, tiff(pixels, photometric="rgb", bigtiff=True, tile=(256, 256))),
        "large kind, far.tif": (BAD, b"II+\0\x08\0\0\0" + struct.pack("<Q", 2**63)),
        "no offsets.tif": (BAD, _tag(plain, 273, 4, 0, code_too=700)),
        "head alone.tif": (BAD, plain[:8]),
        "list of pages cut.tif": (BAD, plain[:60]),
        "grey with alpha.tif": (
            FLAWED,
            tiff(np.dstack([grey, np.full_like(grey, 255)]), photometric="minisblack", extrasamples=["unassalpha"]),
        ),
    }


def _entries(data: bytes):
    """Yield (place, code) of the tags of a small TIFF's first page."""
    (at,) = struct.unpack_from("<I", data, 4)
    (n,) = struct.unpack_from("<H", data, at)
    for k in range(n):
        place = at + 2 + 12 * k
        yield place, struct.unpack_from("<H", data, place)[0]


def _tag(data: bytes, code: int, kind: int, value: int, *, code_too: int | None = None) -> bytes:
    """Return a TIFF in which one tag has another value, and maybe another code."""
    changed = bytearray(data)
    for place, found in _entries(data):
        if found == code:
            struct.pack_into("<HHII", changed, place, code_too or code, kind, 1, value)
    return bytes(changed)


def _counted(data: bytes, code: int, count: int) -> bytes:
    """Return a TIFF in which one tag claims any number of values."""
    changed = bytearray(data)
    for place, found in _entries(data):
        if found == code:
            struct.pack_into("<I", changed, place + 4, count)
    return bytes(changed)


def others(pixels, rng) -> dict[str, tuple[str, bytes]]:
    """WebP and BMP of rare makes, and pictures of formats that are not read."""
    image = Image.fromarray(pixels)
    bmp = encoded(pixels, "BMP")
    webp = encoded(pixels, "WEBP", lossless=True)
    inside = bytearray(bmp[:54])
    struct.pack_into("<I", inside, 30, 4)
    coded = bytearray(pillow(image.quantize(256), "BMP"))
    struct.pack_into("<I", coded, 30, 1)
    height, width = pixels.shape[:2]
    alpha = np.dstack([pixels[::-1, :, ::-1], np.zeros((height, width), np.uint8)])
    deep = struct.pack("<IiiHHIIiiII", 40, width, height, 1, 32, 0, 0, 0, 0, 0, 0) + alpha.tobytes()
    canvas = bytearray(pillow(image, "WEBP", lossless=True, exif=b"Exif\0\0II*\0" + bytes(8)))
    return {
        "thirty-two bits.bmp": (SOUND, b"BM" + struct.pack("<IHHI", 14 + len(deep), 0, 0, 54) + deep),
        "runs that are none.bmp": (FLAWED, bytes(coded)),
        "JPEG inside.bmp": (BAD, bytes(inside) + encoded(pixels, "JPEG")),
        "half of its rows.bmp": (BAD, bmp[: len(bmp) // 2]),
        "pixels far away.bmp": (BAD, bmp[:10] + struct.pack("<I", 2**31) + bmp[14:]),
        "height of nothing.bmp": (BAD, bmp[:22] + struct.pack("<i", 0) + bmp[26:]),
        "width below nothing.bmp": (BAD, bmp[:18] + struct.pack("<i", -width) + bmp[22:]),
        "weak.webp": (FLAWED, encoded(pixels, "WEBP", quality=5)),
        "larger canvas.webp": (FLAWED, _webp_canvas(bytes(canvas), 16_000, 12_000)),
        "smaller canvas.webp": (FLAWED, _webp_canvas(bytes(canvas), 10, 10)),
        "no picture.webp": (BAD, b"RIFF" + struct.pack("<I", 22) + b"WEBPVP8X" + struct.pack("<I", 10) + bytes(10)),
        "cut.webp": (BAD, webp[:-9000]),
        "steps without end.webp": (
            FLAWED,
            pillow(
                image,
                "WEBP",
                lossless=True,
                save_all=True,
                append_images=[image.rotate(k) for k in (1, 2, 3)],
                duration=10,
            ),
        ),
        "moving gif.jpg": (BAD, pillow(image.quantize(64), "GIF", save_all=True, append_images=[image.quantize(32)])),
        "icon of a page.png": (BAD, pillow(image.resize((64, 64)), "ICO")),
        "targa.jpg": (BAD, pillow(image, "TGA")),
        "of a fax.png": (BAD, pillow(image.convert("1"), "PCX")),
        "of a silicon.jpg": (BAD, pillow(image, "SGI")),
        "texture.png": (BAD, pillow(image.resize((256, 256)), "DDS")),
        "plain map.jpg": (BAD, pillow(image, "PPM")),
        "document of photos.jpg": (BAD, pillow(image, "PDF")),
        "printed.jpg": (BAD, pillow(image, "EPS")),
        "icon of a system.png": (BAD, pillow(image.resize((256, 256)), "ICNS")),
        "JPEG XL.jpg": (BAD, b"\xff\x0a" + rng.bytes(4000)),
        "JPEG XL in a box.jpg": (BAD, b"\0\0\0\x0cJXL \r\n\x87\n" + rng.bytes(4000)),
        "JPEG XR.tif": (BAD, b"II\xbc\x01" + rng.bytes(4000)),
        "raw of a maker.jpg": (BAD, b"FUJIFILMCCD-RAW " + rng.bytes(4000)),
        "raw in a TIFF's dress.tif": (BAD, b"II*\0\x10\0\0\0CR\x02\0" + rng.bytes(4000)),
        "script.jpg": (BAD, b"#!/bin/sh\ntouch counted\n"),
        "letter.jpg": (BAD, "Grüße aus der Kinderstube ".encode("utf-16") * 50),
        "compressed.jpg": (BAD, b"\x1f\x8b\x08" + rng.bytes(4000)),
        "seven.jpg": (BAD, b"7z\xbc\xaf\x27\x1c" + rng.bytes(4000)),
        "one byte of a TIFF.tif": (BAD, b"I"),
        "mark and nothing.png": (BAD, MAGIC),
    }


def _webp_canvas(data: bytes, width: int, height: int) -> bytes:
    """Return a WebP whose canvas claims another size."""
    at = data.index(b"VP8X") + 12
    return data[:at] + struct.pack("<I", width - 1)[:3] + struct.pack("<I", height - 1)[:3] + data[at + 6 :]


def put_rare(folder, pixels) -> dict[str, str]:
    """Put what a disk holds besides files into a folder; return name -> what is expected of what is looked at."""
    png = encoded(pixels, "PNG", compress_level=1)
    outside = folder.parent / f"{folder.name}-outside"
    outside.mkdir()
    (outside / "beyond.png").write_bytes(png)
    (folder / "chain 0.png").symlink_to(outside / "beyond.png")
    last = folder / "long chain 0.png"
    last.symlink_to(folder / "nowhere at all.png")
    for k in range(1, 45):
        (folder / f"long chain {k}.png").symlink_to(folder / f"long chain {k - 1}.png")
    (folder / "memory.jpg").symlink_to("/proc/self/mem")
    (folder / "status.jpg").symlink_to("/proc/self/status")
    (folder / "terminal.jpg").symlink_to("/dev/tty")
    (folder / "chance.jpg").symlink_to("/dev/random")
    (folder / "nothing.jpg").symlink_to("/dev/null")
    (folder / "too long.jpg").symlink_to("x" * 4000)
    deep = folder
    for _ in range(30):
        deep = deep / ("d" * 60)
        deep.mkdir()
    (deep / "far down.png").write_bytes(png)
    for name in (b"\xff\xfe.png", b"a\x80b.png", "e\u0301.png".encode(), "é.png".encode()):
        (folder / os.fsdecode(name)).write_bytes(png)
    bad = ["memory.jpg", "status.jpg", "terminal.jpg", "chance.jpg", "nothing.jpg", "too long.jpg"]
    bad += ["long chain 0.png"]  # the others are links to the same
    good = ["chain 0.png", "far down.png", "\\xff\\xfe.png", "a\\x80b.png", "e\u0301.png", "é.png"]
    return dict.fromkeys(bad, BAD) | dict.fromkeys(good, SOUND)


def rare_photos(pixels: np.ndarray, seed: int = 17) -> dict[str, tuple[str, bytes]]:
    """Return file name -> (what is expected, content) of the fourth bed.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
        A sound photo.
    seed : int
    """
    rng = np.random.default_rng(seed)
    made = {"sound.png": (SOUND, encoded(pixels, "PNG", compress_level=1))}
    for part in (heics, jpegs, pngs, others):
        made |= part(pixels, rng)
    return made | tiffs(pixels)
