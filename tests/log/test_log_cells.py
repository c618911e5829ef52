"""Cells as people write them: read rightly, or said to be doubtful."""

import datetime as dt

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from qckit.files import neutralise, restore
from qckit.log.sheets.cells import CellRules, Read, decimal_sign, read_date, read_number, read_time
from qckit.log.typed import option_count, option_number
from qckit.words import number

POINT, COMMA = CellRules("point"), CellRules("comma")


@pytest.mark.parametrize(
    ("cell", "unit", "rules", "value"),
    [
        ("1.602", "g", POINT, 1.602),
        ("1,602", "g", COMMA, 1.602),
        ("1,6", "g", POINT, 1.6),
        (" 0,5 ", "g", POINT, 0.5),
        ("1.602 g", "g", POINT, 1.602),
        ("1602 mg", "g", POINT, 1.602),
        ("0.5 kg", "g", POINT, 500.0),
        ("1,5 l", "ml", POINT, 1500.0),
        ("20 L", "ml", POINT, 20000.0),
        ("260 000", "1/g", POINT, 260000.0),
        ("260'000", "1/g", POINT, 260000.0),
        ("1,234,567", "1/g", POINT, 1234567.0),
        ("1.234.567,5", "1/g", COMMA, 1234567.5),
        ("1,234.5", "g", POINT, 1234.5),
        ("82.4 °F", "°C", POINT, 28.0),
        ("82,4°F", "°C", POINT, 28.0),
        ("82 F", "°C", POINT, 27.78),
        ("28.1 °C", "°C", POINT, 28.1),
        ("301.15 K", "°C", POINT, 28.0),
        ("−4", "°C", POINT, -4.0),
        ("250 uL", "µl", POINT, 250.0),
        ("0.25 mL", "µl", POINT, 250.0),
        ("2E5", "1/g", POINT, 200000.0),
        ("33 psu", "ppt", POINT, 33.0),
        ("85 %", "%", POINT, 85.0),
        ("90 min", "h", POINT, 1.5),
        (7, "", POINT, 7.0),
        (1.602, "g", POINT, 1.602),
        ("007", "", POINT, 7.0),
        ("0,602", "g", POINT, 0.602),
    ],
)
def test_numbers_as_written(cell, unit, rules, value):
    assert read_number(cell, unit, rules).value == value


@pytest.mark.parametrize(
    ("cell", "unit", "rules", "rule", "remedy"),
    [
        (
            "1,602",
            "g",
            POINT,
            "could be 1.602 or 1602",
            "Write 1602 or 1.602; where you write a decimal comma, set decimal in qckit.toml.",
        ),
        ("1.602", "g", COMMA, "could be 1.602 or 1602", "Write 1602 or 1,602."),
        (
            "1.602 lb",
            "g",
            POINT,
            "has the unit 'lb', which this column does not know",
            "Write the number in g (known: g, mg, kg).",
        ),
        ("about 5", "g", POINT, "is not a number", "Write a number, or leave it empty if it is not known."),
        ("<1", "g", POINT, "is not a number", "Write a number, or leave it empty if it is not known."),
        ("5 6", "g", POINT, "is two numbers", "Write one number in the cell."),
        ("1,23,4", "g", POINT, "is not a number", "Write it without thousands signs."),
        (True, "g", POINT, "is yes or no, not a number", "Write a number, or leave the cell empty."),
    ],
)
def test_numbers_that_are_doubtful(cell, unit, rules, rule, remedy):
    read = read_number(cell, unit, rules)
    assert (read.value, read.rule, read.remedy) == (None, rule, remedy)


@pytest.mark.parametrize("word", ["-", "n/a", "NA", "?", "unknown"])
def test_words_for_not_known_are_empty_and_noted(word):
    assert read_number(word, "g", POINT) == Read(None, note=f"{word!r} taken as empty")


def test_conversions_are_noted():
    assert read_number("82.4 °F", "°C", POINT).note == "'82.4 °F' read as 28 °C"
    assert read_number("1602 mg", "g", POINT).note == "'1602 mg' read as 1.602 g"
    assert read_number("1.602 g", "g", POINT).note == ""


@pytest.mark.parametrize(
    ("texts", "semicolons", "site", "sign"),
    [
        (["1,6", "28,1"], False, "point", "comma"),
        (["1.6", "1,602"], False, "comma", "point"),
        (["1,602", "1,598"], False, "point", "point"),
        (["1,602", "1,598"], True, "point", "comma"),
        (["1,602"], False, "comma", "comma"),
        (["1,6", "1.6"], False, "point", "unknown"),
        (["1.234,5"], False, "point", "comma"),
        (["1,234,567"], False, "comma", "point"),
        ([], False, "point", "point"),
    ],
)
def test_decimal_sign_of_a_sheet(texts, semicolons, site, sign):
    assert decimal_sign(texts, semicolons=semicolons, site=site) == sign


@given(st.decimals(min_value=0, max_value=999, places=3))
def test_a_number_is_never_read_as_another(number):
    """Whatever the rules, 12,345 becomes 12.345 or a question, unless the sheet says comma."""
    text = f"{number:.3f}"
    for written, rules in ((text, POINT), (text.replace(".", ","), COMMA)):
        assert read_number(written, "g", rules).value == float(number)
    for written, rules in ((text.replace(".", ","), POINT), (text, COMMA)):
        assert read_number(written, "g", rules).value in (None, float(number))


@given(
    st.floats(-1e9, 1e9), st.integers(0, 2) | st.just(4), st.sampled_from("\u202f\u00a0 "), st.sampled_from(["", " g"])
)
@example(3_500_000.0, 0, " ", "")
@example(223_000.0, 0, "\u202f", "")
def test_a_number_copied_from_a_page_is_read_as_that_number(value, decimals, space, unit):
    """With its own thin space, or what a terminal and a person make of it, whichever sign the site writes."""
    shown = number(value, decimals).replace("\u202f", space) + unit
    for site in ("point", "comma"):
        rules = CellRules(decimal_sign([shown], semicolons=False, site=site))
        assert read_number(shown, "g", rules).value == round(value, decimals)
        if not unit and value >= 0 and decimals == 0:
            assert option_count(shown, "--nauplii", decimal=site) == round(value)
            assert option_number(shown, "", "--n", decimal=site) == round(value)


@pytest.mark.parametrize(
    ("cell", "order", "value"),
    [
        ("2026-11-04", "dmy", "2026-11-04"),
        ("04/11/2026", "dmy", "2026-11-04"),
        ("11/04/2026", "mdy", "2026-11-04"),
        ("4.11.26", "dmy", "2026-11-04"),
        ("2026/11/4", "ymd", "2026-11-04"),
        ("4 Nov 2026", "ymd", "2026-11-04"),
        ("November 4, 2026", "ymd", "2026-11-04"),
        ("04-Nov-26", "ymd", "2026-11-04"),
        ("2026-09", "ymd", "2026-09"),
        ("2026", "dmy", "2026"),
        (2026.0, "ymd", "2026"),
        (dt.datetime(2026, 11, 4), "mdy", "2026-11-04"),
        (dt.date(2026, 11, 4), "mdy", "2026-11-04"),
        ("2026-11-04 00:00:00", "ymd", "2026-11-04"),
    ],
)
def test_dates_as_written(cell, order, value):
    assert read_date(cell, CellRules(date_order=order)).value == value


@pytest.mark.parametrize(
    ("cell", "order", "rule", "remedy"),
    [
        (
            "04/11/2026",
            "ymd",
            "could be day first or month first",
            "Write it like 2026-11-04, or set date_order in qckit.toml to dmy or mdy.",
        ),
        (
            "11/24/2026",
            "dmy",
            "has no month 24 in this site's order of dates (dmy)",
            "Write it like 04/11/2026; if all dates read mdy, set date_order in qckit.toml.",
        ),
        ("31/02/2026", "dmy", "is not a day of the calendar", "Correct the date."),
        ("123", "dmy", "is not a date", "Write it like 04/11/2026 or 2026-11-04."),
        ("123", "ymd", "is not a date", "Write it like 2026-11-04."),
        ("4 Foo 2026", "dmy", "names no month that is known", "Write it like 04/11/2026."),
    ],
)
def test_dates_that_are_doubtful(cell, order, rule, remedy):
    read = read_date(cell, CellRules(date_order=order))
    assert (read.value, read.rule, read.remedy) == (None, rule, remedy)


LISBON = CellRules(date_order="dmy", timezone="Europe/Lisbon")


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("2026-11-04T09:00:00+00:00", "2026-11-04T09:00:00+00:00"),
        ("2026-07-04 09:00", "2026-07-04T09:00:00+01:00"),
        ("04/11/2026 9:05", "2026-11-04T09:05:00+00:00"),
        ("4.11.26 9h30", "2026-11-04T09:30:00+00:00"),
        ("04/11/2026 9:05 pm", "2026-11-04T21:05:00+00:00"),
        ("2026-11-04T09:00Z", "2026-11-04T09:00:00+00:00"),
        ("2026-11-04 09:00:30.5+01:00", "2026-11-04T09:00:30.500000+01:00"),
        (dt.datetime(2026, 7, 4, 9, 0), "2026-07-04T09:00:00+01:00"),
    ],
)
def test_times_as_written(cell, value):
    assert read_time(cell, LISBON).value == value


@pytest.mark.parametrize(
    ("cell", "rule", "remedy"),
    [
        (
            "2026-10-25 01:30",
            "happens twice at this site, where the clocks change that night",
            "Write the offset from UTC as well, like 2026-10-25T01:30:00+01:00.",
        ),
        (
            "2026-03-29 01:30",
            "does not happen at this site, where the clocks change that night",
            "Write the offset from UTC as well, like 2026-03-29T01:30:00+00:00.",
        ),
        ("04/11/2026", "has a date but no time of day", "Write it like 04/11/2026 09:00."),
        ("09:00", "is not a time with its date", "Write it like 04/11/2026 09:00."),
        ("04/11/2026 25:00", "is not a time of day", "Write it between 00:00 and 23:59."),
        ("04/11/2026 13:00 pm", "is not a time of day", "Write it like 21:00 or 9:00 pm."),
        ("tomorrow", "is not a time with its date", "Write it like 04/11/2026 09:00."),
        (dt.date(2026, 11, 4), "has a date but no time of day", "Write it like 04/11/2026 09:00."),
    ],
)
def test_times_that_are_doubtful(cell, rule, remedy):
    read = read_time(cell, LISBON)
    assert (read.value, read.rule, read.remedy) == (None, rule, remedy)


@given(st.text())
def test_neutral_text_comes_back(text):
    marked = neutralise(text)
    assert restore(marked) == text
    assert not marked.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


@pytest.mark.parametrize(
    ("read", "cell", "means"),
    [
        (read_time, 46327.375, "2026-11-01 09:00"),
        (read_time, "46327,375", "2026-11-01 09:00"),
        (read_date, 46327, "2026-11-01"),
        (read_date, "46327", "2026-11-01"),
    ],
)
def test_a_spreadsheets_number_for_a_date_is_named_as_what_it_is(read, cell, means):
    found = read(cell, CellRules(date_order="dmy"))
    assert found.value is None
    assert found.rule == f"is a spreadsheet's number for {means}"
    assert found.remedy == "Show the column as dates there, and save the sheet again."


@pytest.mark.parametrize(
    ("text", "order", "whole"),
    [
        ("4.11. 9:05", "dmy", "4.11.2026 9:05"),
        ("2/10", "dmy", "2/10/2026"),
        ("28/12 16:30", "dmy", "28/12/2025 16:30"),
        ("10/2", "mdy", "10/2/2026"),
        ("2/10", "ymd", "2/10"),
        ("4.11.", "mdy", "4.11."),
        ("9.30", "dmy", "9.30"),
        ("31/2", "dmy", "31/2"),
    ],
)
def test_a_day_and_month_get_the_year_of_the_last_such_day(text, order, whole):
    import datetime as dt
    from types import SimpleNamespace

    from qckit.log.typed import with_year

    settings = SimpleNamespace(site=SimpleNamespace(date_order=order))
    assert with_year(text, settings, dt.date(2026, 11, 28)) == whole


@pytest.mark.parametrize(
    ("text", "order", "whole"),
    [
        ("6/11", "dmy", "6/11/2026"),
        ("2/12", "dmy", "2/12/2026"),  # ahead, and nearer than that of the year before
        ("1/2", "dmy", "1/2/2027"),
        ("2/1", "mdy", "2/1/2027"),
        ("30.6.", "dmy", "30.6.2026"),
        ("29/2", "dmy", "29/2"),  # in none of the years about
        ("6/11", "ymd", "6/11"),
    ],
)
def test_a_day_and_month_that_may_lie_ahead_get_the_year_of_the_nearest_such_day(text, order, whole):
    import datetime as dt
    from types import SimpleNamespace

    from qckit.log.typed import with_year

    settings = SimpleNamespace(site=SimpleNamespace(date_order=order))
    assert with_year(text, settings, dt.date(2026, 11, 28), is_past=False) == whole
