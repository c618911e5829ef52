"""What explains the marks of a control chart, and where it stands beside the title."""

from __future__ import annotations

from qckit import draw

__all__ = ["ZERO", "add_legend", "lift_title", "short_name"]

ZERO = {"marker": "v", "markersize": 8, "markerfacecolor": "white", "markeredgecolor": draw.INK, "clip_on": False}
"""Look of a point that was read as nothing, where limits are on a log scale."""

_LEFT_OF_WIDTH = 0.72  # of the axes, once the layout has made room for the names of the limits


_LONGEST = 16  # letters of a name: more would leave a chart no room


def short_name(name: str, longest: int = _LONGEST) -> str:
    """Shorten a name of a lot in its middle: lots differ at their ends."""
    end = (longest - 1) // 2
    return name if len(name) <= longest else f"{name[: longest - 1 - end]}…{name[-end:]}"


def add_legend(ax, frame, marks: str = ""):
    """Explain the marks of a control chart above it; ``marks`` are the rules that fired, as the chart names them."""
    from matplotlib.lines import Line2D

    phase, handles = set(frame["phase"].astype(str)), []
    blue = draw.SERIES[0]
    if "baseline" in phase:
        handles.append(
            Line2D(
                [], [], marker="o", markerfacecolor="white", markeredgecolor=blue, linestyle="none", label="baseline"
            )
        )
    lots = list(dict.fromkeys(frame["group"].astype(str)))
    if len(lots) > 1:  # the shape tells the lot, whatever the phase
        handles += [
            Line2D(
                [], [], marker=draw.MARKERS[i % len(draw.MARKERS)], color=blue, linestyle="none", label=short_name(name)
            )
            for i, name in enumerate(lots)
        ]
    elif phase - {"baseline", "set aside"}:
        handles.append(Line2D([], [], marker="o", color=blue, linestyle="none", label="hatch"))
    if "set aside" in phase:
        handles.append(Line2D([], [], marker="x", color="#7F7F7F", linestyle="none", label="set aside"))
    if "is_zero" in frame and frame["is_zero"].any():
        handles.append(Line2D([], [], linestyle="none", label="0", **ZERO))
    if marks:
        handles.append(
            Line2D(
                [],
                [],
                marker="D",
                markerfacecolor="none",
                markeredgecolor=draw.SERIES[1],
                linestyle="none",
                label=f"signal (test {marks})",
            )
        )
    handles.append(Line2D([], [], color=draw.INK, linestyle="--", linewidth=0.9, label="limits"))
    place = {"loc": "lower right", "bbox_to_anchor": (1, 1), "fontsize": 7.5, "handletextpad": 0.4}
    place |= {"handles": handles, "columnspacing": 1.0, "borderaxespad": 0.7}  # clear of the highest tick
    legend = ax.legend(ncols=len(handles), **place)
    wide = legend.get_window_extent().width
    if wide > _LEFT_OF_WIDTH * ax.bbox.width:
        legend = ax.legend(ncols=-(-len(handles) // 2), **place)
    return legend


def lift_title(ax, title, legend):
    """Lift the title above the legend where the axes are too narrow for both beside each other."""
    box, words = legend.get_window_extent(), title.get_window_extent()
    taken = words.width if title.get_ha() == "left" else (words.width + ax.bbox.width) / 2
    if title.get_text() and taken + box.width > _LEFT_OF_WIDTH * ax.bbox.width:
        ax.set_title(title.get_text(), pad=(box.y1 - ax.bbox.y1) * 72 / ax.figure.dpi + 4)
