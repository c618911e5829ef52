"""Show a scale on the photo it was found on, for a person to approve."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from qckit.draw import letters
from qckit.photo.scale import CameraScale
from qckit.words import with_uncertainty

__all__ = ["draw_scale"]

_LINE, _PAPER = (0, 90, 200), (255, 255, 255)
_LEAST_TIMES = 3.0  # of the magnified part: less shows no more than the whole photo does


def draw_scale(image, scale: CameraScale, *, width_px=1200):
    """Draw the found repeats, or the two points, and a bar of known length over the photo.

    Parameters
    ----------
    image : (M, N) or (M, N, 3) uint8 ndarray
        The photo the scale was found on.
    scale : CameraScale
        From :func:`qckit.photo.scale.scale_from_pattern` or :func:`qckit.photo.scale.scale_from_points`.
    width_px : int
        Width of the picture made; never wider than the photo.

    Returns
    -------
    PIL.Image.Image
        The whole photo above, a magnified part of it below. Dashed lines must lie on the pattern's own lines, one per
        repeat; if they do not, or lie on every second or fifth only, the scale is wrong.
    """
    from PIL import Image, ImageDraw

    full = Image.fromarray(np.asarray(image)).convert("RGB")
    ratio = min(1.0, width_px / full.width)
    picture = full.resize((round(full.width * ratio), round(full.height * ratio))) if ratio < 1 else full.copy()
    draw = ImageDraw.Draw(picture)
    font = letters(max(14, picture.width // 55))
    for family in scale.families:
        _draw_family(draw, picture.size, family, ratio)
    if scale.points_px:
        a, b = ((x * ratio, y * ratio) for x, y in scale.points_px)
        draw.line([a, b], fill=_LINE, width=2)
        for x, y in (a, b):
            draw.ellipse([x - 7, y - 7, x + 7, y + 7], outline=_LINE, width=3)
    found = with_uncertainty(scale.um_per_px, scale.u_um_per_px, "µm/px")
    text = f"{found} ({scale.method}, {scale.spacing_um:g} µm)"
    _draw_bar(draw, picture.size, scale.um_per_px / ratio, text, font)
    return _above_one_another(picture, _magnified(full, scale, picture.width)) if scale.families else picture


def _magnified(full, scale, width_px, *, repeats=6):
    """A part of the photo around found lines, at most some repeats wide, enlarged, with every repeat drawn."""
    from PIL import ImageDraw

    period = max(family.period_px for family in scale.families)
    wide = min(full.width / _LEAST_TIMES, max(60.0, repeats * period))
    high = min(full.height, wide / 2.5)
    x, y = full.width / 2, full.height / 2
    for family in scale.families:  # to a crossing, where lines run in two directions
        x, y = _a_line_near(family, x, y)
    left = min(max(x - wide / 2, 0), full.width - wide)
    top = min(max(y - high / 2, 0), full.height - high)
    ratio = width_px / wide
    part = full.resize((width_px, round(high * ratio)), box=(left, top, left + wide, top + high))
    draw = ImageDraw.Draw(part)
    for family in scale.families:
        angle = math.radians(family.angle_deg)
        offset = family.offset_px - left * math.cos(angle) - top * math.sin(angle)
        _draw_family(draw, part.size, replace(family, offset_px=offset), ratio)
    return part


def _a_line_near(family, x, y):
    """The point of the family's lines nearest a place. [px]"""
    c, s = math.cos(math.radians(family.angle_deg)), math.sin(math.radians(family.angle_deg))
    t = x * c + y * s - family.offset_px
    away = round(t / family.period_px) * family.period_px - t
    return x + away * c, y + away * s


def _above_one_another(upper, lower):
    from PIL import Image

    gap_px = 6
    both = Image.new("RGB", (upper.width, upper.height + gap_px + lower.height), _PAPER)
    both.paste(upper, (0, 0))
    both.paste(lower, (0, upper.height + gap_px))
    return both


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
    high = int(font.size * 3.3)
    draw.rectangle([0, size[1] - high, size[0], size[1]], fill=_PAPER)
    y, x0, x1 = size[1] - high + 8, 12, 12 + bar / um_per_px
    draw.line([(x0, y + 4), (x1, y + 4)], fill=(0, 0, 0), width=4)
    for x in (x0, x1):
        draw.line([(x, y - 2), (x, y + 10)], fill=(0, 0, 0), width=2)
    draw.text((x1 + 10, y - 6), label, fill=(0, 0, 0), font=font)
    draw.text((12, y + 12 + int(font.size * 0.3)), text, fill=(0, 0, 0), font=font)
