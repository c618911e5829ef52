"""Words around numbers: what a reader meets on every page."""

import ast
import datetime as dt
import math
import re
from pathlib import Path

import nbformat
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sources import parsed, tree_of

import qckit
from qckit.words import (
    capital,
    dates_in,
    day,
    decimals_known,
    estimated,
    figures,
    first_few,
    headed,
    joined,
    noun,
    number,
    plural,
    rounded,
    signed,
    small,
    spaced,
    with_uncertainty,
)


@pytest.mark.parametrize(
    ("n", "one", "many", "text"),
    [
        (1, "hatch", "", "1 hatch"),
        (0, "cone", "", "0 cones"),
        (1200, "hatch", "", "1200 hatches"),
        (2, "box", "", "2 boxes"),
        (3, "nauplius", "nauplii", "3 nauplii"),
    ],
)
def test_a_noun_goes_with_its_number(n, one, many, text):
    assert plural(n, one, many) == text


def test_a_verb_goes_with_its_number():
    assert [noun(n, "is", "are") for n in (0, 1, 2)] == ["are", "is", "are"]


@given(st.floats(-1e9, 1e9).filter(lambda v: abs(v) > 1e-6), st.integers(1, 6))
def test_rounding_keeps_so_many_figures(value, n):
    kept = rounded(value, n)
    assert kept == pytest.approx(float(f"{value:.{n}g}"), rel=1.01 * 10.0 ** (1 - n))
    assert abs(kept - value) <= 0.5000001 * 10 ** (math.floor(math.log10(abs(value))) - n + 1)


def test_what_is_no_number_stays_none():
    assert math.isnan(rounded(math.nan)) and rounded(math.inf) == math.inf and rounded(0) == 0
    assert figures(math.nan) == number(None) == "–"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (187_432, "187\u202f000"),
        (0.012449, "0.0124"),
        (12.0, "12"),
        (12.34, "12.3"),
        (-1234.5, "-1230"),
        (999.9, "1000"),
    ],
)
def test_figures_are_written_out(value, text):
    assert figures(value) == text


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [  # JCGM 100:2008, 7.2.6; the mass standard is that of its 7.2.2 (from memory)
        (100.02147, 0.00035, "100.02147 ± 0.00035"),
        (100.021474, 0.000349, "100.02147 ± 0.00035"),
        (6.2, 0.00039, "6.20000 ± 0.00039"),
        (20.0, 1.84, "20.0 ± 1.8"),
        (6.25, 0.0, "6.25"),
        (6.25, math.nan, "6.25"),
    ],
)
def test_a_value_has_the_digits_of_its_uncertainty(value, u, text):
    assert with_uncertainty(value, u) == text


def test_numbers_of_a_page():
    assert number(-1234.5, 1) == "−1234.5" and number(-12345.67, 1) == "−12\u202f345.7"
    assert [spaced(n) for n in (0, 9999, 10_000, -9999, -3_500_000)] == [
        "0",
        "9999",
        "10\u202f000",
        "-9999",
        "-3\u202f500\u202f000",
    ]
    assert [spaced(x, ".10g") for x in (0.0001, 1e6, 1e12)] == ["0.0001", "1\u202f000\u202f000", "1e+12"]


def _thousands_by_comma(tree: ast.AST) -> list[int]:
    """Lines that let Python part thousands by a comma: in an f-string, in a text to be filled in, or as a format."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            parts = [p.value for p in node.format_spec.values if isinstance(p, ast.Constant)]
            found += [node.lineno] if any("," in part for part in parts) else []
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            is_form = re.fullmatch(r":?[<>^=+]?\d*,(\.\d*)?[dfge]?", node.value) and node.value != ","
            found += [node.lineno] if is_form or re.search(r"\{\w*:[<>^=+]?\d*,[.\w{}]*\}", node.value) else []
    return found


def test_thousands_are_parted_in_one_place():
    code = "\n".join(
        ('f"{x:,.0f}"', 'f"{x:,}"', 'f"{x:,.{n}f}"', '"of {x:,.0f} g"', 'format(x, ",.1f")', 'f"{x:.1f}, "')
    )
    assert sorted(set(_thousands_by_comma(parsed(code)))) == [1, 2, 3, 4, 5]
    root = Path(qckit.__file__).parent
    trees = [(path, tree_of(path)) for path in sorted(root.rglob("*.py"))]
    for path in sorted((root.parent / "notebooks").rglob("*.ipynb")):
        cells = nbformat.read(path, as_version=4).cells
        trees.append((path, parsed("\n".join(c.source for c in cells if c.cell_type == "code"))))
    assert len(trees) > 400
    wrong = [f"{path.name}:{n}" for path, tree in trees for n in _thousands_by_comma(tree)]
    assert wrong == [], "write them by qckit.words.spaced or number"


@pytest.mark.parametrize("text", ["pH was low.", "T90 is late.", "CUSUM signals.", "H% fell.", ""])
def test_names_keep_their_letters(text):
    assert capital(text) == small(text) == text


def test_first_letters():
    assert capital("cone C is slow") == "Cone C is slow"
    assert small("Cone C is slow") == "cone C is slow"
    assert small("A cone") == "a cone"


def test_lists():
    assert [joined("abc"[:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]
    assert joined(["x", "y"], "or") == "x or y"


@pytest.mark.parametrize(("order", "text"), [("ymd", "2026-11-04"), ("dmy", "4 Nov 2026"), ("mdy", "Nov 4, 2026")])
def test_dates_stand_in_the_order_of_the_site(order, text):
    assert day("2026-11-04T09:00:00+00:00", order) == day(dt.date(2026, 11, 4), order) == text


def test_a_headline_names_its_subject_once():
    assert headed("K-124", "The claim is missed.") == "K-124: The claim is missed."
    assert headed("H261105-B", "H261105-B gave 30 %.") == "H261105-B gave 30 %."


def test_differences_have_a_sign_that_is_no_hyphen():
    assert [signed(v, 1) for v in (1.25, -1.25, 0.0, -0.04, -1234.5)] == [
        "+1.2",
        "\u22121.2",
        "+0.0",
        "+0.0",
        "\u22121234.5",
    ]
    assert signed(None) == signed(float("nan")) == "\u2013"


def test_nobody_else_writes_signs():
    """Sentences take them from ``words.signed``, so that a minus is a minus everywhere."""
    root = Path(qckit.__file__).parent
    assert [p.name for p in root.rglob("*.py") if re.search(r"\{[^{}\n]*:\+\.?\d?[fg%]\}", p.read_text("utf-8"))] == []


def test_a_number_that_rounds_to_nought_has_no_minus():

    assert [number(v, d) for v, d in ((-0.2, 0), (-0.004, 2), (-0.6, 0))] == ["0", "0.00", "\u22121"]


@pytest.mark.parametrize(
    ("value", "low", "high", "text"),
    [
        (60.1, 41.3, 78.9, "60 % (41 to 79 %)"),
        (77.72, 70.81, 83.09, "77.7 % (70.8 to 83.1 %)"),
        (5.123, 5.0, 5.2, "5.1 % (5.0 to 5.2 %)"),
        (60.12, math.nan, math.nan, "60.1 %"),
        (99.96, 80.0, 100.0, "100 % (80 to 100 %)"),
    ],
)
def test_an_estimate_has_the_decimals_that_its_interval_leaves_known(value, low, high, text):
    assert estimated(value, low, high, "%") == text


def test_every_flag_has_words_and_pages_show_these():
    from qckit.counting.flags import FLAG_CODES
    from qckit.flag_words import FLAG_WORDS, say_flags

    assert set(FLAG_WORDS) == set(FLAG_CODES)
    assert say_flags("unsure;groups") == "stages in doubt, cysts and shells look alike"
    assert say_flags("unsure; blurred; unsure") == "stages in doubt, out of focus"
    assert (say_flags(math.nan), say_flags(""), say_flags("of old")) == ("", "", "of old")


def test_a_decimal_stays_where_two_values_would_read_alike():
    assert decimals_known(41.3, 78.9, beside=(74.8, 75.0)) == 1
    assert decimals_known(41.3, 78.9, beside=(73.8, 75.0)) == 0


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("since 2026-10-12.", "since 12 Oct 2026."),
        ("Made 2026-11-06T10:00:00+00:00 by", "Made 6 Nov 2026 10:00 +00:00 by"),
        ("(2026-10-12, 2026-10-13)", "(12 Oct 2026, 13 Oct 2026)"),
        ("month 2026-09-15..2026-10-14", "month 2026-09-15..2026-10-14"),
        ("H2026-10-12-A, 2026-10-12.jpg, a/2026-10-12 and 2026-13-45", None),
        ("hatch 2026-11-01", None),
        ("Certificate M1 2026-11-27 (2), made 2026-11-27", "Certificate M1 2026-11-27 (2), made 27 Nov 2026"),
    ],
)
def test_dates_inside_a_text_are_written_in_the_order_of_the_site(text, written):
    assert dates_in(text, "dmy", names=["2026-11-01", "M1 2026-11-27", "M1 2026-11-27 (2)"]) == (written or text)
    assert dates_in(text) == text


def test_an_estimate_takes_words_between_and_into_the_brackets():
    assert estimated(60, 41.3, 78.9, "%", what="of hatches", how="exact") == "60 % of hatches (41 to 79 %, exact)"
    assert estimated(2.57, 2.1, 3.1, what="a harvest", how="exact") == "2.6 a harvest (2.1 to 3.1, exact)"
    assert estimated(100, math.nan, math.nan, "%", what="of hatches", how="exact") == "100.0 % of hatches"


@pytest.mark.parametrize(
    ("names", "text"), [((), ""), (("a", "b"), "a, b"), ((1, 2, 3), "1, 2, 3"), ("abcde", "a, b, c and 2 more")]
)
def test_the_first_few_of_many(names, text):
    assert first_few(names, 3) == text
