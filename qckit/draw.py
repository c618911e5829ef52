"""Plain marks on an Axes: points, intervals, bands, reference lines; and the look all charts share.

Stages and cones are told apart by marker and line style first and by colour second, so that charts read in grey
print and without colour vision. The colours are from Okabe and Ito (2008), Color Universal Design.
"""

from __future__ import annotations

from contextlib import contextmanager
from html import escape

from qckit.stages import STAGE_RECORDS
from qckit.words import number

__all__ = [
    "INK",
    "MARKERS",
    "SERIES",
    "STAGE_STYLE",
    "band",
    "end_labels",
    "interval",
    "labelled_svg",
    "letters",
    "points",
    "reference_line",
    "spaced_ticks",
    "style",
]

INK = "#222222"
SERIES = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
MARKERS = ("o", "s", "^", "D", "v", "P", "X")
STAGE_STYLE = {
    s.name: {"color": s.colour, "marker": s.marker, "hatch": s.hatching, "letter": s.letter} for s in STAGE_RECORDS
}


@contextmanager
def style():
    """Set the look of the kit's charts for the length of a ``with`` block; nothing global changes.

    Examples
    --------
    >>> with draw.style():
    ...     ax = draw.new_axes()
    ...     ax = draw.points([1, 2, 3], [80, 82, 79], ax=ax)
    """
    import matplotlib as mpl

    with mpl.rc_context(
        {
            "font.size": 10,
            "axes.spines.top": False,
            "axes.spines.right": False,
            "axes.edgecolor": INK,
            "axes.labelcolor": INK,
            "axes.titlesize": 11,
            "axes.titleweight": "bold",
            "axes.titlelocation": "left",
            "axes.grid": True,
            "axes.grid.axis": "y",
            "grid.color": "#DDDDDD",
            "grid.linewidth": 0.6,
            "xtick.color": INK,
            "ytick.color": INK,
            "text.color": INK,
            "legend.frameon": False,
            "figure.dpi": 110,
            "savefig.bbox": "tight",
            "svg.hashsalt": "qckit",
            "svg.fonttype": "path",
            "axes.axisbelow": True,
        }
    ):
        yield


def new_axes(ax=None, **size):
    """Return the Axes given, or a fresh one."""
    if ax is not None:
        return ax
    import matplotlib.pyplot as plt

    return plt.subplots(layout="constrained", **size)[1]


def letters(size_px: int, *, bold: bool = False):
    """Give the charts' font as Pillow takes it, for words on a picture (Pillow's own font has no µ).

    Parameters
    ----------
    size_px : int
        Height of the letters on the picture.
    bold : bool

    Returns
    -------
    PIL.ImageFont.FreeTypeFont

    Examples
    --------
    >>> draw.letters(14).size
    14
    """
    from pathlib import Path

    import matplotlib
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name), size_px)


def spaced_ticks(axis):
    """Write the ticks of an axis of large whole numbers as pages write them, and return the axis.

    Examples
    --------
    >>> axis = draw.spaced_ticks(draw.points([1, 2], [180_000, 210_000]).yaxis)
    >>> axis.get_major_formatter()(200_000)
    '200\\u202f000'
    """
    axis.set_major_formatter(lambda value, _: number(value))
    return axis


def points(x, y, *, ax=None, marker="o", color=SERIES[0], label=None, **kwargs):
    """Draw points without a line and return the Axes.

    Examples
    --------
    >>> ax = draw.points([1, 2, 3], [80, 82, 79], label="cone A")
    """
    ax = new_axes(ax)
    ax.plot(x, y, linestyle="none", marker=marker, color=color, label=label, **kwargs)
    return ax


def interval(x, low, high, *, at, ax=None, marker="o", color=SERIES[0]):
    """Draw one estimate with its interval, lying at a height; bounds that are NaN are left away.

    Examples
    --------
    >>> ax = draw.interval(80, 75, 84, at=0)
    """
    import numpy as np

    ax = new_axes(ax)
    if np.isfinite(low) and np.isfinite(high):
        ax.hlines(at, low, high, color=color, linewidth=2)
    ax.plot(x, at, marker=marker, color=color, markersize=7, linestyle="none")
    return ax


def band(x, low, high, *, ax=None, color=SERIES[0], label=None):
    """Draw a shaded band with thin edges, so that it shows in grey print.

    Examples
    --------
    >>> ax = draw.band([1, 2, 3], [75, 76, 77], [85, 86, 87])
    """
    ax = new_axes(ax)
    ax.fill_between(x, low, high, color=color, alpha=0.15, linewidth=0, label=label)
    ax.plot(x, low, color=color, linewidth=0.6)
    ax.plot(x, high, color=color, linewidth=0.6)
    return ax


def reference_line(value, text, *, ax, horizontal=True, linestyle="--"):
    """Draw a labelled reference line across the Axes.

    Examples
    --------
    >>> ax = draw.new_axes()
    >>> line = draw.reference_line(75, "minimum 75 %", ax=ax)
    """
    if horizontal:
        ax.axhline(value, color=INK, linestyle=linestyle, linewidth=1)
        ax.annotate(
            text,
            (1, value),
            xycoords=("axes fraction", "data"),
            xytext=(3, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
            color=INK,
            annotation_clip=False,
        )
    else:
        ax.axvline(value, color=INK, linestyle=linestyle, linewidth=1)
        ax.annotate(
            text,
            (value, 1),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=8,
            color=INK,
            annotation_clip=False,
        )
    return ax


def end_labels(labels, *, ax, fontsize=7.5):
    """Name lines right of the Axes, each at its height, moved apart where names would lie over each other.

    Parameters
    ----------
    labels : sequence of (float, str)
        Height of a line, and its name. Call it when the limits of the Axes are set.
    ax : Axes
    fontsize : float

    Returns
    -------
    Axes

    Examples
    --------
    >>> ax = draw.points([1, 2, 3], [80, 82, 79])
    >>> ax = draw.end_labels([(80.0, "usual"), (79.9, "minimum")], ax=ax)
    """
    labels = sorted(labels)
    bottom, top = ax.get_ylim()
    per_unit = ax.get_window_extent().height * 72 / ax.get_figure(root=True).dpi / (top - bottom)
    places, gap = [value * per_unit for value, _ in labels], 1.25 * fontsize
    for _ in range(30):
        for i in range(1, len(places)):
            short = max(0.0, gap - (places[i] - places[i - 1])) / 2
            places[i - 1], places[i] = places[i - 1] - short, places[i] + short
    for (value, text), place in zip(labels, places, strict=True):
        ax.annotate(
            text,
            (1, value),
            xycoords=("axes fraction", "data"),
            xytext=(4, place - value * per_unit),
            textcoords="offset points",
            va="center",
            fontsize=fontsize,
            annotation_clip=False,
        )
    return ax


def labelled_svg(svg: str, words: str) -> str:
    """Make an SVG file's text an element of a page: without its XML head, and with ``words`` for who cannot see it.

    Examples
    --------
    >>> draw.labelled_svg('<?xml version="1.0"?><svg width="9"></svg>', "a dot")
    '<svg role="img" aria-label="a dot" width="9"></svg>'
    """
    label = f'<svg role="img" aria-label="{escape(words, quote=True)}" '
    return svg[svg.index("<svg") :].replace("<svg ", label, 1)
