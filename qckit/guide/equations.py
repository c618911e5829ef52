"""Equations as pictures with their words, so that a page needs no script to show them."""

from __future__ import annotations

import io
from html import escape

from qckit import draw
from qckit.reports.blocks import Html

__all__ = ["equation"]


def equation(formula: str, *, words: str, source: str = "") -> Html:
    """Show an equation.

    Parameters
    ----------
    formula : str
        In matplotlib's mathtext, without the dollar signs.
    words : str
        The same in words, for readers who cannot see it.
    source : str
        Where it comes from.

    Returns
    -------
    Html

    Examples
    --------
    >>> guide.equation("H = 100 N / (N + U + E)", words="hatching percentage").text != ""
    True
    """
    from matplotlib.mathtext import math_to_image

    buffer = io.StringIO()
    with _plain():
        math_to_image(f"${formula}$", buffer, format="svg", color="#1d2327", dpi=130)
    svg = draw.labelled_svg(buffer.getvalue(), words)
    below = f'<figcaption class="qc-small">{escape(source)}</figcaption>' if source else ""
    return Html(f'<figure class="qc qc-equation">{svg}{below}</figure>', words)


def _plain():
    import matplotlib as mpl

    return mpl.rc_context({"svg.hashsalt": "qckit", "svg.fonttype": "path", "font.size": 13})
