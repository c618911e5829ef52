"""How a result looks: a heading, sentences, a small table; HTML in a notebook, plain lines where it is printed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from qckit.directions import isolate_names
from qckit.in_notebook import put_dates_in_site_order

__all__ = ["InWords", "printed", "shown"]

_BOX = (
    "border-left:4px solid currentColor;padding:2px 12px;margin:4px 0;max-width:46rem;overflow-wrap:break-word;"
    "overflow-x:auto;break-inside:avoid"
)
_CELL = "text-align:{0};padding:2px 10px 2px 0;border-bottom:1px solid rgba(128,128,128,.35)"
_LONG = 16  # characters of a cell that is words, not a number with its unit
_LINES = 4  # of a cell with the longest words of its column


class InWords:
    """A result that says itself in words, so that neither a notebook nor ``print`` spills all that it holds.

    ``_in_words`` returns the arguments of :func:`shown`; a dataclass of this kind is made with ``repr=False``.
    """

    def _in_words(self) -> dict:
        raise NotImplementedError

    def _repr_html_(self) -> str:
        return shown(**self._in_words())

    def __repr__(self) -> str:
        return printed(**self._in_words())


def printed(title: str, lines: Iterable[str] = (), *, heads: Sequence[str] = (), rows: Iterable[Sequence] = ()) -> str:
    """Write a result as plain lines; parameters as for :func:`shown`.

    Examples
    --------
    >>> from qckit.showing import printed
    >>> rows = [("cysts", "29.5 g"), ("per cone", "2 x 14.8 g")]
    >>> print(printed("dose", ["Weigh 29.5 g."], heads=("", ""), rows=rows))
    dose
    Weigh 29.5 g.
      cysts         29.5 g
      per cone  2 x 14.8 g
    """
    cells = [[str(v) for v in row] for row in ([heads] if any(heads) else []) + list(rows)] if heads else []
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    table = [
        "  ".join(v.rjust(w) if i and w <= _LONG else v.ljust(w) for i, (v, w) in enumerate(zip(row, widths))).rstrip()
        for row in cells
    ]
    return "\n".join([str(title), *filter(None, map(str, lines)), *(f"  {line}" for line in table)])


def _style(i: int, cells: list[str]) -> str:
    """Style of a column: the first and columns of words flush left, with room for words, numbers flush right."""
    longest = max(map(len, cells), default=0)
    if i == 0 or longest > _LONG:
        return _CELL.format("left") + (f";min-width:{-(-longest // _LINES)}ch" if longest > _LONG else "")
    return _CELL.format("right")


def shown(
    title: str,
    lines: Iterable[str] = (),
    *,
    heads: Sequence[str] = (),
    rows: Iterable[Sequence] = (),
) -> str:
    """Write a result as HTML that reads in light and dark themes and in a screen reader.

    Parameters
    ----------
    title : str
        What it is.
    lines : iterable of str
        Sentences, a paragraph each.
    heads : sequence of str
        Headings of the table; none: no table.
    rows : iterable of sequence
        Cells; the first of a row names it, numbers stand flush right, words flush left.

    Returns
    -------
    str

    Examples
    --------
    >>> from qckit.showing import shown
    >>> "<strong>dose</strong>" in shown("dose", ["Weigh 29.5 g."])
    True
    """
    parts = [f'<div style="{_BOX}"><p style="margin:0"><strong>{escape(str(title))}</strong></p>']
    parts += [f'<p style="margin:.3em 0">{escape(str(line))}</p>' for line in lines if str(line)]
    if heads:
        parts.append(
            '<table style="border-collapse:collapse;margin:.4em 0;font-variant-numeric:tabular-nums"><thead><tr>'
        )
        rows = [tuple(row) for row in rows]
        styles = [_style(i, [str(row[i]) for row in rows if i < len(row)]) for i in range(len(heads))]
        parts += [f'<th scope="col" style="{style}">{escape(str(h))}</th>' for h, style in zip(heads, styles)]
        parts.append("</tr></thead><tbody>")
        for row in rows:
            first, *others = [str(v) for v in row]
            parts.append(f'<tr><th scope="row" style="{_CELL.format("left")};font-weight:400">{escape(first)}</th>')
            parts += [f'<td style="{style}">{escape(v)}</td>' for v, style in zip(others, styles[1:])]
            parts.append("</tr>")
        parts.append("</tbody></table>")
    return put_dates_in_site_order(isolate_names("".join([*parts, "</div>"])))
