"""Pictures of the handbook that no record holds: what counts at the edge, how stages look, how rooms share a log."""

from __future__ import annotations

from qckit import draw
from qckit.stages import STAGE_RECORDS

__all__ = ["draw_day", "draw_drip_loop", "draw_edges", "draw_rooms", "spoilt_examples", "stage_examples"]

_PAPER = "#f4f6f7"
_LEFT_OUT = "#8f1d2c"


def stage_examples(pixels, objects, *, side_px: int = 110):
    """Cut up to three examples of each stage out of a photo, a row a stage, with its letter and name.

    Parameters
    ----------
    pixels : (M, N, 3) uint8 ndarray
    objects : DataFrame
        Columns stage, x_px, y_px.
    side_px : int
        Side of the square cut out.

    Returns
    -------
    PIL.Image.Image

    Examples
    --------
    >>> pixels = np.full((300, 300, 3), 200, np.uint8)
    >>> guide.stage_examples(pixels, pd.DataFrame({"stage": ["cyst"], "x_px": [150.0], "y_px": [150.0]})).size
    (860, 784)
    """
    import numpy as np
    from PIL import Image, ImageDraw

    tile, gap, label = 190, 6, 860 - 3 * 196
    sheet = Image.new("RGB", (860, len(STAGE_RECORDS) * (tile + gap)), "white")
    pen = ImageDraw.Draw(sheet)
    large, small = (draw.letters(size, bold=True) for size in (44, 22))
    photo, half = Image.fromarray(np.asarray(pixels)), side_px / 2
    for row, stage in enumerate(STAGE_RECORDS):
        top = row * (tile + gap)
        pen.text((10, top + 40), stage.letter, fill="black", font=large)
        pen.text((10, top + 100), stage.name, fill="black", font=small)
        rows = objects[objects["stage"] == stage.name]
        inside = rows["x_px"].between(half, photo.width - half) & rows["y_px"].between(half, photo.height - half)
        for i, (x, y) in enumerate(rows.loc[inside, ["x_px", "y_px"]].head(3).to_numpy()):
            box = (x - half, y - half, x + half, y + half)
            part = photo.resize((tile, tile), Image.Resampling.LANCZOS, box=box)
            sheet.paste(part, (label + i * (tile + gap), top))
    return sheet


def spoilt_examples(pixels, *, side_px: int = 420):
    """Show a part of a photo as it should be, and as it looks where a flag is raised.

    Parameters
    ----------
    pixels : (M, N, 3) uint8 ndarray
        A sound photo.
    side_px : int
        Side of the square cut out of its middle.

    Returns
    -------
    PIL.Image.Image

    Examples
    --------
    >>> guide.spoilt_examples(np.full((500, 500, 3), 200, np.uint8)).size
    (860, 320)
    """
    import numpy as np
    from PIL import Image, ImageDraw, ImageEnhance, ImageFilter

    photo = Image.fromarray(np.asarray(pixels)).convert("RGB")
    left, top = (photo.width - side_px) // 2, (photo.height - side_px) // 2
    sound = photo.crop((left, top, left + side_px, top + side_px))
    crowded = sound.copy()
    for shift in ((90, 60), (-70, 110), (130, -80)):  # the same animals again, beside and over each other
        moved = Image.fromarray(np.roll(np.asarray(sound), shift, axis=(0, 1)))
        crowded = Image.fromarray(np.minimum(np.asarray(crowded), np.asarray(moved)))
    shown = {
        "as it should be": sound,
        "blurred": sound.filter(ImageFilter.GaussianBlur(9)),
        "dark": ImageEnhance.Brightness(sound).enhance(0.12),
        "bright": ImageEnhance.Brightness(sound).enhance(1.9),
        "crowded": crowded,
    }
    tile, gap = 168, 5
    sheet = Image.new("RGB", (len(shown) * (tile + gap) - gap, 320), "white")
    pen = ImageDraw.Draw(sheet)
    font = draw.letters(18)
    for i, (name, image) in enumerate(shown.items()):
        sheet.paste(image.resize((tile, 280), box=(0, 0, side_px * tile / 280, side_px)), (i * (tile + gap), 30))
        pen.text((i * (tile + gap), 2), name, fill="black", font=font)
    return sheet


def draw_drip_loop(*, ax=None):
    """Draw how a cable hangs below its socket, so that water drips off before it gets there.

    Parameters
    ----------
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> guide.draw_drip_loop().texts[-1].get_text()
    'drip loop: water falls off here'
    """
    from matplotlib.patches import Ellipse, FancyBboxPatch, Polygon, Rectangle

    with draw.style():
        ax = draw.new_axes(ax, figsize=(7.2, 3.6))
    water, wet = "#cfe6f5", draw.SERIES[0]
    ax.add_patch(Polygon([(1, 5.2), (4.4, 5.2), (3.1, 1.2), (2.3, 1.2)], facecolor="white", edgecolor=draw.INK, lw=1.6))
    ax.add_patch(Polygon([(1.2, 4.6), (4.2, 4.6), (3.1, 1.2), (2.3, 1.2)], facecolor=water, edgecolor="none"))
    ax.add_patch(Rectangle((2.9, 2.6), 0.25, 1.7, facecolor="#E69F00", edgecolor=draw.INK))
    ax.plot([3.02, 3.02, 4.9, 6.2, 7.3, 8.6, 9.2], [4.3, 5.6, 5.5, 2.2, 0.9, 2.4, 4.2], color=draw.INK, lw=2)
    ax.add_patch(FancyBboxPatch((9.0, 4.2), 1.2, 1.0, boxstyle="round,pad=0.08", facecolor=_PAPER, edgecolor=draw.INK))
    ax.add_patch(FancyBboxPatch((11.1, 4.2), 2.3, 1.0, boxstyle="round,pad=0.08", facecolor=_PAPER, edgecolor=draw.INK))
    ax.plot([10.3, 11.0], [4.7, 4.7], color=draw.INK, lw=2)
    for y in (0.35, -0.15):
        ax.add_patch(Ellipse((7.3, y), 0.16, 0.3, facecolor=wet, edgecolor=wet))
    ax.text(9.6, 4.7, "socket", ha="center", va="center", fontsize=8.5)
    ax.text(12.25, 4.7, "residual-current\ndevice", ha="center", va="center", fontsize=8.5)
    ax.text(0.9, 0.4, "heater: unplug before\nhands go into the water", fontsize=8.5)
    ax.text(7.7, 0.1, "drip loop: water falls off here", fontsize=8.5, color=wet)
    ax.set(xlim=(0.5, 13.8), ylim=(-0.5, 6.1))
    ax.set_axis_off()
    return ax


def draw_edges(*, ax=None):
    """Draw what counts at the edges of a photo: all that touches the right or lower edge, nothing at the others.

    Parameters
    ----------
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> [t.get_text() for t in guide.draw_edges().texts][:2]
    ['✕', '✕']
    """
    from matplotlib.patches import Ellipse, Rectangle

    with draw.style():
        ax = draw.new_axes(ax, figsize=(6.4, 4.3))
    ax.add_patch(Rectangle((0, 0), 12, 8, facecolor=_PAPER, edgecolor=draw.INK, linewidth=1.6))
    ax.plot([0, 0, 12], [0, 8, 8], color=_LEFT_OUT, linestyle=(0, (4, 3)), linewidth=3)
    ax.plot([0, 12, 12], [0, 0, 8], color=draw.SERIES[0], linewidth=3)
    # x, y, width, height, turn of the objects drawn
    left_out = [(0.1, 5.6, 1.5, 0.6, 20), (4.2, 7.9, 0.8, 0.8, 0), (0.2, 1.9, 0.8, 0.8, 0), (9.0, 8.1, 1.6, 0.6, 60)]
    counted = [(2.6, 3.4, 1.6, 0.6, 35), (6.1, 5.4, 0.8, 0.8, 0), (8.6, 2.9, 1.6, 0.6, -30), (4.9, 1.9, 0.8, 0.8, 0)]
    counted += [(12.0, 5.0, 1.5, 0.6, 15), (7.2, 0.1, 0.8, 0.8, 0), (11.9, 1.6, 0.8, 0.8, 0), (3.0, 0.0, 1.6, 0.6, 70)]
    for x, y, width, height, turn in left_out:
        shape = Ellipse((x, y), width, height, angle=turn, facecolor="white", edgecolor=_LEFT_OUT, linestyle="--")
        ax.add_patch(shape)
        ax.text(x, y, "✕", ha="center", va="center", color=_LEFT_OUT, fontsize=9)
    for x, y, width, height, turn in counted:
        ax.add_patch(Ellipse((x, y), width, height, angle=turn, facecolor=draw.SERIES[0], edgecolor=draw.INK))
        ax.text(x, y, "✓", ha="center", va="center", color="white", fontsize=9)
    ax.text(6, 8.75, "upper edge: leave out", ha="center", color=_LEFT_OUT)
    ax.text(-0.95, 4, "left edge: leave out", ha="center", va="center", rotation=90, color=_LEFT_OUT)
    ax.text(6, -1.0, "lower edge: count", ha="center", color=draw.SERIES[0])
    ax.text(12.95, 4, "right edge: count", ha="center", va="center", rotation=90, color=draw.SERIES[0])
    ax.set(xlim=(-1.6, 13.6), ylim=(-1.4, 9.3), aspect="equal")
    ax.set_axis_off()
    return ax


def draw_rooms(*, ax=None):
    """Draw how several rooms share one log, one folder of photos, and the computers that count.

    Parameters
    ----------
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> guide.draw_rooms().texts[0].get_text()
    'room 1\\nqckit today, desk'
    """
    from matplotlib.patches import FancyBboxPatch

    with draw.style():
        ax = draw.new_axes(ax, figsize=(8.2, 3.9))
    boxes = {
        "room 1\nqckit today, desk": (0.2, 3.6),
        "room 2\nqckit today, desk": (0.2, 1.9),
        "office\nreports": (0.2, 0.2),
        "PostgreSQL\none log, url in qckit.toml": (4.4, 2.9),
        "shared folder\nphotos, reports": (4.4, 0.9),
        "Dask workers\nqckit count --scheduler": (8.6, 0.9),
        "backup, another disk\nqckit log backup, daily": (8.6, 2.9),
    }
    for text, (x, y) in boxes.items():
        shape = FancyBboxPatch(
            (x, y), 3.1, 1.15, boxstyle="round,pad=0.08", facecolor=_PAPER, edgecolor=draw.INK, linewidth=1.2
        )
        ax.add_patch(shape)
        ax.text(x + 1.55, y + 0.57, text, ha="center", va="center", fontsize=8.5)
    arrow = {"arrowstyle": "<->", "color": draw.INK, "shrinkA": 0, "shrinkB": 0}
    for _, y in list(boxes.values())[:3]:
        ax.annotate("", xy=(4.3, 3.5), xytext=(3.4, y + 0.6), arrowprops=arrow)
        ax.annotate("", xy=(4.3, 1.45), xytext=(3.4, y + 0.6), arrowprops=arrow | {"linestyle": ":"})
    ax.annotate("", xy=(8.5, 1.45), xytext=(7.6, 1.45), arrowprops=arrow | {"linestyle": ":"})
    ax.annotate("", xy=(8.5, 3.5), xytext=(7.6, 3.5), arrowprops=arrow | {"arrowstyle": "->"})
    ax.plot([], [], color=draw.INK, label="rows of the log")
    ax.plot([], [], color=draw.INK, linestyle=":", label="files")
    ax.legend(loc="upper right", ncols=2, fontsize=8.5)
    ax.set(xlim=(0, 12), ylim=(0, 5.6))
    ax.set_axis_off()
    return ax


def draw_day(hatches, *, ax=None):
    """Draw the hatching percentage of the last hatches, a mark a cone, with its interval.

    Parameters
    ----------
    hatches : DataFrame
        From ``site.hatches(...)``: cone, started, hatch_pct and its bounds.
    ax : Axes, optional

    Returns
    -------
    Axes

    Examples
    --------
    >>> guide.draw_day(site.hatches("2026-10")).get_ylabel()
    'hatching percentage [%]'
    """
    import matplotlib.dates as mdates
    import pandas as pd

    rows = hatches[hatches["hatch_pct"].notna()]
    with draw.style():
        ax = draw.new_axes(ax, figsize=(8.2, 3.4))
    for i, (cone, of_cone) in enumerate(rows.groupby("cone", sort=True)):
        at = pd.to_datetime(of_cone["started"], utc=True) + pd.Timedelta(hours=5 * i)
        reach = [of_cone["hatch_pct"] - of_cone["hatch_pct_low"], of_cone["hatch_pct_high"] - of_cone["hatch_pct"]]
        look = {"marker": draw.MARKERS[i % len(draw.MARKERS)], "color": draw.SERIES[i % len(draw.SERIES)]}
        ax.errorbar(at, of_cone["hatch_pct"], reach, linestyle="none", capsize=2, label=f"cone {cone}", **look)
    ax.set(ylabel="hatching percentage [%]")
    locator = mdates.AutoDateLocator(minticks=3, maxticks=7)
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(mdates.ConciseDateFormatter(locator))
    ax.legend(loc="lower left", bbox_to_anchor=(0, 1), ncols=4)
    return ax
