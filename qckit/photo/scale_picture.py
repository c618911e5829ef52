"""Show a scale on the photo it was found on, for a person to approve."""

from __future__ import annotations

import math

import numpy as np

from qckit.photo.scale import CameraScale

__all__ = ["draw_scale"]

_LINE, _PAPER = (0, 90, 200), (255, 255, 255)


def draw_scale(image, scale: CameraScale, *, width_px=1200):
    """Draw the found repeats, or the two points, and a bar of known length over the photo.

    Parameters
    ----------
    image : (M, N) or (M, N, 3) uint8 ndarray
        The photo the scale was found on.
    scale : CameraScale
        From :func:`scale_from_pattern` or :func:`scale_from_points`.
    width_px : int
        Width of the picture made; never wider than the photo.

    Returns
    -------
    PIL.Image.Image
        Dashed lines must lie on the pattern's own lines, one per repeat; if they do not, the scale is wrong.
    """
    from pathlib import Path

    import matplotlib
    from PIL import Image, ImageDraw, ImageFont

    picture = Image.fromarray(np.asarray(image)).convert("RGB")
    ratio = min(1.0, width_px / picture.width)
    if ratio < 1:
        picture = picture.resize((round(picture.width * ratio), round(picture.height * ratio)))
    draw = ImageDraw.Draw(picture)
    # Pillow's own font has no µ
    letters = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
    font = ImageFont.truetype(str(letters), max(14, picture.width // 55))
    for family in scale.families:
        _draw_family(draw, picture.size, family, ratio)
    if scale.points_px:
        a, b = ((x * ratio, y * ratio) for x, y in scale.points_px)
        draw.line([a, b], fill=_LINE, width=2)
        for x, y in (a, b):
            draw.ellipse([x - 7, y - 7, x + 7, y + 7], outline=_LINE, width=3)
    text = f"{scale.um_per_px:.4g} ± {scale.u_um_per_px:.2g} µm/px ({scale.method}, {scale.spacing_um:g} µm)"
    _draw_bar(draw, picture.size, scale.um_per_px / ratio, text, font)
    return picture


def _draw_family(draw, size, family, ratio):
    """Dashed lines along every repeat; every tenth only where they would stand closer than 12 px."""
    c, s = math.cos(math.radians(family.angle_deg)), math.sin(math.radians(family.angle_deg))
    step = 1 if family.period_px * ratio >= 12 else 10
    reach = math.hypot(*size)
    corners = [x * c + y * s for x in (0, size[0]) for y in (0, size[1])]
    first = math.ceil((min(corners) / ratio - family.offset_px) / family.period_px)
    last = math.floor((max(corners) / ratio - family.offset_px) / family.period_px)
    for k in range(first + (-first) % step, last + 1, step):
        t = (family.offset_px + k * family.period_px) * ratio
        middle = (t * c + _along(size, c, s) * -s, t * s + _along(size, c, s) * c)
        for start in np.arange(-reach, reach, 16):
            a = (middle[0] - s * start, middle[1] + c * start)
            b = (middle[0] - s * (start + 8), middle[1] + c * (start + 8))
            draw.line([a, b], fill=_LINE, width=2)


def _along(size, c, s):
    """Middle of the picture, measured along the lines."""
    return -size[0] / 2 * s + size[1] / 2 * c


def _draw_bar(draw, size, um_per_px, text, font):
    """A bar of a round length, with its length and the scale in words, on a paper strip below."""
    length = size[0] * um_per_px / 4
    power = 10 ** math.floor(math.log10(length))
    bar = max(m * power for m in (1, 2, 5) if m * power <= length)
    label = f"{bar:g} µm" if bar < 1000 else f"{bar / 1000:g} mm"
    high = int(font.size * 2.9)
    draw.rectangle([0, size[1] - high, size[0], size[1]], fill=_PAPER)
    y, x0, x1 = size[1] - high + 8, 12, 12 + bar / um_per_px
    draw.line([(x0, y + 4), (x1, y + 4)], fill=(0, 0, 0), width=4)
    for x in (x0, x1):
        draw.line([(x, y - 2), (x, y + 10)], fill=(0, 0, 0), width=2)
    draw.text((x1 + 10, y - 6), label, fill=(0, 0, 0), font=font)
    draw.text((12, y + 12), text, fill=(0, 0, 0), font=font)
