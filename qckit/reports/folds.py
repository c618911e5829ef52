"""Pieces of a page under one line that opens: for the method, and for what few readers look at."""

from __future__ import annotations

from html import escape

from qckit.reports.blocks import Html

__all__ = ["folded"]


def folded(title: str, *parts: Html) -> Html:
    """Fold pieces under a line of their own, which says what they show, so that paper needs only this line."""
    inner = "".join(part.html for part in parts)
    text = "\n".join([title, *(part.text for part in parts)])
    return Html(f'<details class="qc-more"><summary>{escape(title)}</summary>{inner}</details>', text)
