"""The checked picture: the photo with a mark on everything found, its stage told by shape and letter, not by colour."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pandas as pd

from qckit.draw import STAGE_STYLE
from qckit.files import write_whole
from qckit.object_rows import is_counted
from qckit.photo.decoding import DRAWN_MARK
from qckit.stages import STAGE_RECORDS, stage_words

__all__ = ["describe_counts", "draw_checked", "save_checked"]

LONG_SIDE_PX = 2000  # large enough to check by eye, small enough to send


def describe_counts(counts: dict[str, int]) -> str:
    """Say the counts in words, for a legend or a picture's alternative text.

    Examples
    --------
    >>> counting.describe_counts({"nauplius": 80, "umbrella": 2, "cyst": 15, "shell": 77})
    '80 nauplii, 2 umbrella stages, 15 cysts, 77 shells'
    """
    return stage_words(counts)


def _outline(draw, marker: str, x: float, y: float, r: float, colour, width: int) -> None:
    """One mark: triangle, diamond, circle or square around the object; a cross for debris."""
    if marker == "o":
        draw.ellipse((x - r, y - r, x + r, y + r), outline=colour, width=width)
    elif marker == "s":
        draw.rectangle((x - r, y - r, x + r, y + r), outline=colour, width=width)
    elif marker == "x":
        h = 0.4 * r
        draw.line((x - h, y - h, x + h, y + h), fill=colour, width=width)
        draw.line((x - h, y + h, x + h, y - h), fill=colour, width=width)
    else:
        k = 1.25 * r
        points = (
            [(x, y - k), (x + 1.1 * r, y + 0.75 * k), (x - 1.1 * r, y + 0.75 * k)]
            if marker == "^"
            else [(x, y - k), (x + k, y), (x, y + k), (x - k, y)]
        )
        draw.line([*points, points[0]], fill=colour, width=width, joint="curve")


def draw_checked(
    pixels: np.ndarray, objects: pd.DataFrame, *, um_per_px: float, px_per_photo_px: float = 1.0, title: str = ""
):
    """Draw what was found on a photo.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
        The photo, maybe reduced.
    objects : DataFrame
        Columns of the objects table; x_px and y_px in full-photo pixels.
    um_per_px : float
        Of the full photo. [µm/px]
    px_per_photo_px : float
        Pixels of ``pixels`` per full-photo pixel.
    title : str
        Line above the picture.

    Returns
    -------
    PIL.Image.Image
        The picture with a legend strip below. Objects outside the counting frame have a broken mark: a letter only.

    Examples
    --------
    >>> counted = qckit.count_photo(picture, um_per_px=6.2)
    >>> drawn = counting.draw_checked(photo.read_photo(picture).pixels, counted.objects, um_per_px=6.2)
    >>> drawn.width > 0
    True
    """
    from PIL import Image, ImageDraw, ImageFont

    image = Image.fromarray(pixels)
    factor = min(1.0, LONG_SIDE_PX / max(image.size))
    if factor < 1:
        image = image.resize(tuple(max(1, round(side * factor)) for side in image.size), reducing_gap=2.0)
    scale = px_per_photo_px * factor
    size = max(11, round(image.width / 110))
    font = ImageFont.load_default(size=size)
    draw = ImageDraw.Draw(image)
    width = max(2, round(image.width / 800))
    dark = float(np.mean(pixels[::16, ::16])) < 90
    for row in objects.itertuples():
        style = STAGE_STYLE.get(row.stage, {"color": "#888888", "marker": "x", "letter": ""})
        colour = _lighten(style["color"]) if dark else style["color"]
        x, y = row.x_px * scale, row.y_px * scale
        r = max(4.0, 0.5 * min(300.0, row.length_um) / um_per_px * scale + width)  # without a size as of 300 µm
        counted = bool(row.counted) or style["marker"] == "x"
        _outline(
            draw, style["marker"], x=x, y=y, r=r if counted else 0.45 * r, colour=colour, width=width if counted else 1
        )
        if style["letter"]:
            draw.text(
                (x + 0.75 * r, y - 0.75 * r),
                style["letter"],
                fill=colour,
                font=font,
                anchor="lb",
                stroke_width=2,
                stroke_fill="#000000" if dark else "#FFFFFF",
            )
    return _with_legend(image, objects, font, size, title)


def _lighten(colour: str) -> str:
    """Mix a colour with white, for a dark photo."""
    parts = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(p + (255 - p) * 0.35):02x}" for p in parts)


def _with_legend(image, objects: pd.DataFrame, font, size: int, title: str):
    """Add a white strip below with each mark, its letter and its count."""
    from PIL import Image, ImageDraw

    strip = round(3.6 * size)
    page = Image.new("RGB", (image.width, image.height + strip), "white")
    page.paste(image, (0, 0))
    draw = ImageDraw.Draw(page)
    counted = objects[is_counted(objects)]
    counts = counted.stage.value_counts()
    x, y = size, image.height + round(1.0 * size)
    for record in STAGE_RECORDS:
        stage, style = record.name, STAGE_STYLE[record.name]
        _outline(draw, style["marker"], x=x + size / 2, y=y, r=0.55 * size, colour=style["color"], width=2)
        text = f"{style['letter']}  {int(counts.get(stage, 0))} {record.plural}"
        draw.text((x + 1.5 * size, y), text, fill="#222222", font=font, anchor="lm")
        x += 3.2 * size + draw.textlength(text, font=font)
    note = (
        title + ("   " if title else "") + "small mark: on the left or upper edge, not counted; x: debris, not counted"
    )
    while note and draw.textlength(note, font=font) > image.width - 2 * size:
        note = note[: -max(2, len(note) // 20)].rstrip(" .") + "…" if len(note) > 12 else ""
    draw.text((size, image.height + round(2.6 * size)), note, fill="#555555", font=font, anchor="lm")
    return page


def save_checked(path: str | Path, image, *, quality: int = 85) -> None:
    """Write a checked picture as JPEG, whole or not at all.

    Examples
    --------
    >>> from PIL import Image
    >>> counting.save_checked("small.jpg", Image.new("RGB", (60, 40)))
    >>> Path("small.jpg").stat().st_size > 100
    True
    """
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=quality, optimize=False, comment=DRAWN_MARK)
    write_whole(path, buffer.getvalue())
