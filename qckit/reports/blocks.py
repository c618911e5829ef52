"""Pieces of a report as HTML: every text that came from a person is escaped here, once."""

from __future__ import annotations

import math
import numbers
import os
import re
from collections.abc import Iterable, Mapping
from html import escape
from pathlib import Path

from qckit.columns import is_missing
from qckit.directions import NAME_COLUMNS, isolate_names, isolated
from qckit.in_notebook import put_dates_in_site_order, running_shell
from qckit.reports.headings import heading_of
from qckit.reports.short_text import part_answer, shorten_headline
from qckit.verdicts.finding import Figure, Finding
from qckit.words import capital, number, plural, time_in_words

__all__ = [
    "Html",
    "cautions",
    "evidence",
    "first_screen",
    "left_out",
    "note",
    "sentences",
    "table",
    "would_change",
]

PAGE_FOLDER = Path(__file__).resolve().parent / "page"
STYLE_MARK = '<style data-qckit="look">'

TONES = {
    "accept": "good",
    "in-control": "good",
    "in control": "good",
    "not-poor": "good",
    "not poor": "good",
    "reject": "bad",
    "out-of-control": "bad",
    "out of control": "bad",
    "poor": "bad",
}
"""Tone of a verdict whose finding names none in ``details['tone']``; the rest asks for attention."""

_ICONS = {  # drawn, not typed: no font is needed, and the shapes differ without colour
    "good": '<circle cx="12" cy="12" r="10.5"/><path d="M7 12.5l3.5 3.5L17.5 8.5"/>',
    "attention": '<path d="M12 2.2L22.5 21H1.5z"/><path d="M12 9v6M12 17.4v.6"/>',
    "bad": '<path d="M7.5 1.5h9l6 6v9l-6 6h-9l-6-6v-9z"/><path d="M8 8l8 8M16 8l-8 8"/>',
    "unknown": '<circle cx="12" cy="12" r="10.5" stroke-dasharray="3 2.4"/>'
    '<path d="M9 9.5a3 3 0 1 1 4.2 2.7c-.9.4-1.2 1-1.2 2M12 17v.6"/>',
}
_SUBJECTS = {"new-lot": "Lot", "month": "Month", "poor-hatch": "Hatch"}
_TONE_WORDS = {"good": "good", "attention": "needs attention", "bad": "not good", "unknown": "not known"}
_SIGNS = {
    "for": ("+", "speaks for"),
    "against": ("\u2212", "speaks against"),
    "neutral": ("\u00b7", "neutral"),
    "unknown": ("?", "not known"),
}


_LONGEST_WORD = 28  # longer words are broken, so that one long name does not push a table off the page
_SHORT = 12  # characters of a cell that is never broken, such as a lot or a date
_LINES = 3.4  # of a column's longest text on a narrow screen, before words are moved whole to the next line
_LINES_WIDE = (1, 1.5, 2, 3, 4.2)  # the same on a wide one: the first with which the columns fit
_ROOM = 84  # characters that fit beside each other in the text's own width; a table of long texts may be wider
_MOST_COLUMNS = 13  # a table with more has its headings turned on paper
_MANY_COLUMNS = 8  # a table with more is set in smaller type, and may be wider than the text
_FEW_ROWS = 12  # a table with no more is kept together on paper
_DATE = re.compile(r"\b\d{4}-\d\d(?:-\d\d)?\b")  # never broken in the middle


class Html:
    """One piece of HTML, shown by a notebook and by the report page.

    Examples
    --------
    >>> reports.note("Invented data.").html.startswith("<")
    True
    """

    def __init__(self, html: str, text: str = ""):
        self.html = isolate_names(html)
        self.text = text

    def _repr_html_(self) -> str:
        """Return the piece; in a live notebook with the style sheet, which a report's page has in its head."""
        html = put_dates_in_site_order(self.html)
        return html if html.startswith(STYLE_MARK) or not is_live() else look() + html

    def __repr__(self) -> str:
        return self.text or "(shown as HTML)"


def is_live() -> bool:
    """Tell whether this runs in a notebook that somebody looks at, and not in a report's own kernel."""
    return getattr(running_shell(), "kernel", None) is not None and os.environ.get("QCKIT_PROGRESS") != "off"


def look() -> str:
    """Return the style sheet of the pieces, as a notebook shows it before the page has one."""
    return f"{STYLE_MARK}\n{(PAGE_FOLDER / 'pieces.css').read_text(encoding='utf-8')}</style>"


def tone_of(finding: Finding) -> str:
    """Return good, attention, bad or unknown."""
    tone = finding.details.get("tone")
    if tone in _ICONS:
        return tone
    if "not-enough" in finding.verdict:
        return "unknown"
    return TONES.get(finding.verdict, "attention")


def icon(tone: str) -> str:
    """Return the sign of a tone as inline SVG; decoration only, the words stand beside it."""
    return f'<svg class="qc-icon" viewBox="0 0 24 24" aria-hidden="true" focusable="false">{_ICONS[tone]}</svg>'


def first_screen(finding: Finding, *, site_name: str = "", now: str = "", invented: bool = False) -> Html:
    """Show a finding as the first screen of a report.

    Parameters
    ----------
    finding : Finding
        Verdict, figures with intervals, what to do next.
    site_name : str
        Whose records these are.
    now : str
        Time of the report; only its date is shown.
    invented : bool
        True writes on the page that the records are invented.

    Returns
    -------
    Html
        Also carries the style sheet, so that the pieces after it look right in a live notebook.

    Examples
    --------
    >>> finding.headline.split()[0] in reports.first_screen(finding).html
    True
    """
    tone = tone_of(finding)
    verdict, headline = _words(finding)
    headline, rest = shorten_headline(headline)
    what = f"{_SUBJECTS.get(finding.kind, '')} {finding.subject}".strip()
    place = " \u00b7 ".join(
        [
            f"<strong>{isolated(what)}</strong>",
            *([isolated(site_name)] if site_name else []),
            *([escape(now[:10])] if now else []),  # in no isolation: a page writes it in the site's order
        ]
    )
    mark = '<p class="qc-invented">Invented records: made up to show the kit; nothing here was measured.</p>'
    parts = [
        look(),
        f'<section class="qc qc-first qc-{tone}">',
        f'<p class="qc-place">{place}</p>',
        mark if invented else "",
        f'<div class="qc-verdict">{icon(tone)}<div><p class="qc-word">{escape(capital(verdict))}'
        f'<span class="qc-hidden"> ({_TONE_WORDS[tone]})</span></p>'
        f'<p class="qc-headline">{escape(headline)}</p>'
        + (f'<p class="qc-small qc-rest">{escape(rest)}</p>' if rest else "")
        + "</div></div>",
        f'<div class="qc-figures" style="--n: {4 if len(finding.figures) == 4 else 3}">'
        + "".join(map(_card(finding), finding.figures))
        + "</div>"
        if finding.figures
        else "",
        '<div class="qc-next"><h2>What to do next</h2>' + _list(finding.next_steps, ordered=True) + "</div>"
        if finding.next_steps
        else "",
        "</section>",
    ]
    return Html("".join(parts), f"{verdict}: {finding.headline}")


def _words(finding: Finding) -> tuple[str, str]:
    """Return the verdict in words and the headline, which may begin with these words and a colon."""
    verdict = str(finding.details.get("verdict_words") or finding.verdict.replace("-", " "))
    after = finding.headline.removeprefix(f"{verdict}: ")
    return verdict, finding.headline if after == finding.headline else capital(after)


def _card(finding):
    confidence = finding.details.get("confidence")
    word = f"{100 * confidence:g} % interval" if isinstance(confidence, float) and 0 < confidence < 1 else "interval"

    def card(figure: Figure) -> str:
        value = number(figure.value, figure.decimals)
        unit = f' <span class="qc-unit">{escape(figure.unit)}</span>' if figure.unit and value != "\u2013" else ""
        parts = [f'<p class="qc-label">{escape(capital(figure.label))}</p>', f'<p class="qc-value">{value}{unit}</p>']
        if math.isfinite(figure.low) or math.isfinite(figure.high):
            parts.append(f'<p class="qc-range">{_range(figure)} <span class="qc-small qc-short">{word}</span></p>')
        if figure.note:
            parts.append(f'<p class="qc-small">{escape(figure.note)}</p>')
        return f'<div class="qc-card">{"".join(parts)}</div>'

    return card


def _range(figure: Figure) -> str:
    low, high = (number(v, figure.decimals) for v in (figure.low, figure.high))
    if math.isfinite(figure.low) and math.isfinite(figure.high):
        return f"{low} to {high}"
    return f"at least {low}" if math.isfinite(figure.low) else f"at most {high}"


def _list(texts: Iterable[str], *, ordered: bool = False) -> str:
    tag = "ol" if ordered else "ul"
    return f"<{tag}>" + "".join(f"<li>{escape(str(t))}</li>" for t in texts) + f"</{tag}>"


def sentences(texts: Iterable[str], *, ordered: bool = False, empty: str = "Nothing to say here.") -> Html:
    """Show sentences as a list, a single one as a paragraph; ``empty`` where there is none.

    Examples
    --------
    >>> "<li>" in reports.sentences(["One.", "Two."]).html
    True
    """
    texts = list(texts)
    is_list = len(texts) > 1 or (ordered and texts)
    inner = _list(texts, ordered=ordered) if is_list else f"<p>{escape(str(texts[0]) if texts else empty)}</p>"
    return Html(f'<div class="qc qc-list">{inner}</div>', "\n".join(map(str, texts)) or empty)


def note(text: str) -> Html:
    """Show one remark in a box.

    Examples
    --------
    >>> reports.note("Invented <data>.").text
    'Invented <data>.'
    """
    return Html(f'<div class="qc"><p class="qc-note">{escape(text)}</p></div>', text)


def would_change(finding: Finding) -> Html:
    """Show what would change the verdict.

    Examples
    --------
    >>> isinstance(reports.would_change(finding), reports.Html)
    True
    """
    return sentences(finding.would_change, empty="Nothing that could still be measured would change it.")


def left_out(finding: Finding) -> Html:
    """Show what was not used, and why.

    Examples
    --------
    >>> isinstance(reports.left_out(finding), reports.Html)
    True
    """
    return sentences(finding.left_out, empty="Nothing was left out.")


def cautions(finding: Finding) -> Html:
    """Show the cautions that belong to a finding.

    Examples
    --------
    >>> isinstance(reports.cautions(finding), reports.Html)
    True
    """
    return sentences(finding.cautions, empty="None beyond the usual.")


def evidence(finding: Finding) -> Html:
    """Show the reasoning line by line: question, answer, which way it points.

    Examples
    --------
    >>> "<table" in reports.evidence(finding).html
    True
    """
    rows, lines = [], list(finding.evidence)
    for line, before in zip(lines, [None, *lines]):
        sign, words = _SIGNS.get(line.points, _SIGNS["neutral"])
        question = escape(line.question)
        is_again = before is not None and before.question == line.question  # asked once for several answers
        rows.append(
            f'<tr{" class=qc-again" if is_again else ""}><td class="qc-sign"><span aria-hidden="true">{sign}</span>'
            f'<span class="qc-hidden">{words}</span></td><th scope="row">'
            + (f'<span class="qc-hidden">{question}</span>' if is_again else question)
            + f"</th><td>{_answer(line)}</td></tr>"
        )
    legend = "+ speaks for, \u2212 against, \u00b7 neutral, ? not known"
    return Html(
        f'<div class="qc qc-scroll"><table class="qc-table qc-evidence"><caption>{legend}</caption>'
        f"<tbody>{''.join(rows)}</tbody></table></div>",
        "\n".join(f"{line.question}: {line.answer}" for line in finding.evidence),
    )


def _answer(line) -> str:
    """Write an answer; on a phone the end of a long one is folded, and a box opens it without a script."""
    begin, rest = part_answer(line.question, line.answer)
    if not rest:
        return escape(line.answer)
    name = escape(f"the rest of the answer to: {line.question}", quote=True)
    return (
        f'{escape(begin)}<label class="qc-unfold"> <input type="checkbox" aria-label="{name}"><span></span></label>'
        f'<span class="qc-folded">{escape(rest)}</span>'
    )


def table(
    frame,
    *,
    caption: str = "",
    headings: Mapping[str, str] | None = None,
    decimals: int | Mapping[str, int] | None = None,
    right: Iterable[str] = (),
    limit: int = 200,
) -> Html:
    """Show a table with all text escaped.

    Parameters
    ----------
    frame : DataFrame, shape (n, m)
        One row per line; the index is not shown.
    caption : str
        What the table shows.
    headings : mapping of str to str, optional
        Heading by column; the column's own name in words, with its unit, where left out.
    decimals : int or mapping of str to int, optional
        Digits after the point, for all or by column. Left out: as many as it takes, at most 4 significant.
    right : iterable of str
        Further columns set flush right, such as numbers that were written as text.
    limit : int
        Most rows shown; the caption says how many there are.

    Returns
    -------
    Html

    Examples
    --------
    >>> shown = reports.table(pd.DataFrame({"lot": ["K-121"], "hatch_pct": [81.26]}), decimals=1)
    >>> "81.3" in shown.html
    True
    """
    headings = dict(headings or {})
    names = [str(c) for c in frame.columns]
    right = set(right)
    is_number = [name in right or _is_number(frame.iloc[:, i]) for i, name in enumerate(names)]
    places = [decimals.get(c) if isinstance(decimals, Mapping) else decimals for c in names]
    body, longest = [], [0] * len(names)
    for row in frame.head(limit).itertuples(index=False, name=None):
        cells = []
        for i, (value, num, place) in enumerate(zip(row, is_number, places)):
            longest[i] = max(longest[i], 0 if num else len(str(value)))
            is_name = names[i] in NAME_COLUMNS and isinstance(value, str) and bool(value)
            cell = _cell(value, place, is_name=is_name)
            if is_name:
                cell = f"<bdi>{cell}</bdi>"
            cells.append(f"<td{_class(value, num)}>{cell}</td>")
        body.append(f"<tr>{''.join(cells)}</tr>")
    heads = [headings.get(c) or heading_of(c) for c in names]
    longest = [max(long, len(head)) for long, head in zip(longest, heads)]
    lines = _lines_that_fit(longest, is_number)
    head = _heading_row(heads, is_number, longest, lines if lines and len(names) <= _MANY_COLUMNS else _LINES_WIDE[-1])
    more = f" The first {limit} of {len(frame)} rows." if len(frame) > limit else ""
    if not len(frame):
        body.append(f'<tr><td colspan="{max(len(names), 1)}">No rows.</td></tr>')
    text = f"<caption>{escape(caption + more)}</caption>" if caption or more else ""
    wide = (" qc-wide" if len(names) > _MANY_COLUMNS else "") + (" qc-widest" if len(names) > _MOST_COLUMNS else "")
    is_roomy = not wide and not lines
    box = (" qc-broad" if wide else " qc-roomy" if is_roomy else "") + (" qc-brief" if len(body) <= _FEW_ROWS else "")
    return Html(
        f'<div class="qc qc-scroll{box}"><table class="qc-table{wide}">{text}<thead><tr>{head}</tr></thead>'
        f"<tbody>{''.join(body)}</tbody></table></div>",
        f"{caption} ({plural(len(frame), 'row')})",
    )


def _lines_that_fit(longest, is_number) -> float:
    """Least lines of a column's longest text with which the columns fit beside each other; 0: they do not."""

    def room(n):
        lines = (_LINES_WIDE[-1] if num else n for num in is_number)
        return sum(max(long / k, min(long, _SHORT)) for long, k in zip(longest, lines))

    return next((n for n in _LINES_WIDE if room(n) <= _ROOM), 0)


def _heading_row(heads, is_number, longest, lines) -> str:
    form = "<span>{}</span>" if len(heads) > _MOST_COLUMNS else "{}"  # what is turned on paper
    widths = (_least_width(long, _LINES_WIDE[-1] if num else lines) for long, num in zip(longest, is_number))
    return "".join(
        f'<th scope="col"{" class=qc-num" if num else ""}{width}>{form.format(escape(head))}</th>'
        for head, num, width in zip(heads, is_number, widths)
    )


def _least_width(longest: int, lines: float) -> str:
    """Widths that a column keeps on a narrow and on a wide screen, so that no column makes the rows tall."""
    if longest <= _SHORT:
        return ""
    narrow, wide = (max(_SHORT, math.ceil(longest / n)) for n in (_LINES, lines))
    return f' style="--least: {narrow}ch; --wide: {wide}ch"'


def _class(value, is_number: bool) -> str:
    if is_number:
        return " class=qc-num"
    return " class=qc-short" if len(str(value)) <= _SHORT else ""


def _is_number(column) -> bool:
    from pandas.api.types import is_bool_dtype, is_numeric_dtype

    return is_numeric_dtype(column) and not is_bool_dtype(column)


def _cell(value, decimals, *, is_name=False) -> str:
    """Write one cell; missing is a dash, yes and no are words, times that are no name go to the minute."""
    if is_missing(value) or value == "":
        return "\u2013"
    if isinstance(value, bool) or type(value).__name__ == "bool":
        return "yes" if value else "no"
    if isinstance(value, numbers.Integral) and not decimals:
        return number(int(value))
    if isinstance(value, numbers.Real):
        if decimals is None and not 1000 <= abs(float(value)) < 1e15:
            return f"{float(value):.4g}".replace("-", "\u2212")
        return number(float(value), decimals or 0)
    text = str(value) if is_name else time_in_words(str(value))
    if max(map(len, text.split()), default=0) > _LONGEST_WORD:
        return f'<span class="qc-long">{escape(text)}</span>'
    return _DATE.sub(r'<span class="qc-short">\g<0></span>', escape(text)) if len(text) > _SHORT else escape(text)
