"""How much a phone shows at once: headlines cut to three lines, long answers parted into a beginning and the rest."""

from __future__ import annotations

__all__ = ["lines_on_a_phone", "part_answer", "shorten_headline"]

_HEADLINE_EM = 19.4  # a headline's line on a phone of 390 px, in letters' sizes; see pieces.css
_ANSWER_EM = 21.0  # an answer's
_HEADLINE_LINES, _ENTRY_LINES = 3, 5
_SLACK = 45  # letters: a rest shorter than this is not worth a fold

# Advance widths of a wide sans serif (DejaVu Sans), rounded up: narrower fonts leave room to spare.
_WIDTHS = {
    **dict.fromkeys("ijl'IJ", 0.3),
    **dict.fromkeys(" ,./:;\\|f-", 0.36),
    **dict.fromkeys("()[]tr!", 0.41),
    **dict.fromkeys('szc?*_`"Lk', 0.58),
    **dict.fromkeys("HNUDGOQw&", 0.82),
    **dict.fromkeys("M#+<=>^~", 0.86),
    **dict.fromkeys("mW%@\u2026", 1.0),
}
_USUAL, _CAPITAL, _FOREIGN = 0.64, 0.73, 1.0


def _width_em(text: str) -> float:
    return sum(_WIDTHS.get(c) or (_FOREIGN if ord(c) > 0x2FF else _CAPITAL if c.isupper() else _USUAL) for c in text)


def lines_on_a_phone(text: str, line_em: float = _HEADLINE_EM) -> int:
    """Count the lines that a text takes, words moved whole to the next line and broken only where longer than one.

    Parameters
    ----------
    text : str
    line_em : float
        Width of a line in letters' sizes; a headline's where left out.
    """
    # browsers may end a line after a hyphen, or not, as before a digit: the worse of both
    return max(_lines(words, line_em) for words in (text.split(), text.replace("-", "- ").split()))


def _lines(words: list[str], line_em: float) -> int:
    lines, used = 1, 0.0
    for word in words:
        wide = _width_em(word)
        gap = _WIDTHS[" "] if used else 0.0
        if used and used + gap + wide > line_em:
            lines, used, gap = lines + 1, 0.0, 0.0
        used += gap + wide
        while used > line_em:
            lines, used = lines + 1, used - line_em + 1.0  # a letter that does not fit whole goes over
    return lines


def _longest_fit(text: str, marks: tuple[str, ...], fits, *, least: int = 1) -> int:
    """Return the last place of a mark, outside brackets, up to which a text fits; -1 for none."""
    places = sorted({i for mark in marks for i in range(least, len(text)) if text.startswith(mark, i)}, reverse=True)
    outside = (p for p in places if text.count("(", 0, p) == text.count(")", 0, p))
    return next((p for p in outside if fits(text[:p])), -1)


def shorten_headline(headline: str) -> tuple[str, str]:
    """Cut a headline to three lines of a phone, and return what stands below it.

    Whole sentences stay whole; where the first is too long it is cut before a bracket or after a comma, and all of it
    stands below, or what the bracket holds where that was all that was cut.
    """

    def fits(text):
        return lines_on_a_phone(text) <= _HEADLINE_LINES

    if fits(headline):
        return headline, ""
    at = _longest_fit(headline, (". ",), lambda text: fits(f"{text}."))
    if at > 0:
        return f"{headline[:at]}.", headline[at + 2 :]
    at = _longest_fit(headline, (" (", ", ", "; ", ": "), lambda text: fits(f"{text}."), least=30)
    if at > 0:
        rest = headline[at:].rstrip(".")
        only_bracket = rest.startswith(" (") and rest.find(")") == len(rest) - 1
        return f"{headline[:at]}.", f"{rest[2:-1]}." if only_bracket else headline
    at = _longest_fit(headline, (" ",), lambda text: fits(f"{text} \u2026"), least=30)
    if at < 0:
        at = max((i for i in range(len(headline)) if fits(f"{headline[:i]} \u2026")), default=0)
    return f"{headline[:at]} \u2026", headline


def part_answer(question: str, answer: str) -> tuple[str, str]:
    """Part a long answer where a phone folds it: what fits five lines with its question, and the rest.

    The rest begins with a space, so that both together are the answer again; empty where all of it fits.
    """
    lines = max(_ENTRY_LINES - lines_on_a_phone(question, _ANSWER_EM), 2)

    def fits(text):
        return lines_on_a_phone(f"{text} more ..", _ANSWER_EM) <= lines

    if lines_on_a_phone(answer, _ANSWER_EM) <= lines:
        return answer, ""
    ends = (_longest_fit(answer, marks, fits, least=_SLACK) for marks in ((". ",), ("; ", ": "), (", ", " (")))
    at = next((p + (answer[p] != " ") for p in ends if p > 0), -1)
    if at < 0:
        at = _longest_fit(answer, (" ",), fits)
    if at < 0 or len(answer) - at < _SLACK:
        return answer, ""
    return answer[:at], answer[at:]
