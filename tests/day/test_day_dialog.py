"""Digits and Enter: what is typed becomes rows by the log's rules, is shown back, and can be taken back."""

from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest
from invented_day import at, counts_of

from qckit.day.entry.questions import Questions
from qckit.errors import InputError
from qckit.settings import ProtocolSettings, Settings

COUNT_A = ["", "", "80", "3", "12", "76", "84", "2", "15", "80", "81", "3", "14", "70"]


def test_a_cone_is_counted_with_its_numbers_and_enter(bench, typed):
    done = typed(*COUNT_A)
    rows = bench.log.samples(hatch="H261119-A")
    assert rows["nauplii"].tolist() == [80, 84, 81] and rows["cysts"].tolist() == [12, 15, 14]
    first = rows.iloc[0]
    assert (first["sample"], first["kind"], first["volume_ul"], first["counter"]) == (
        "H261119-A-1",
        "subsample",
        250.0,
        "op1",
    )
    assert first["taken"] == "2026-11-20T09:00:00+00:00" and first["hours"] == 24.0
    assert "H261119-A (A), 3 subsamples: N 80 U 3 C 12 S 76; N 84 U 2 C 15 S 80; N 81 U 3 C 14 S 70." in done.said[-2]
    assert done.said[-1].startswith("A 83 %, usual;")
    other_keys = sum(len(answer) + 1 for answer in COUNT_A) - sum(map(len, COUNT_A))
    assert other_keys <= 35  # Enter for each number, two more for the menu and the time


def test_where_nothing_is_fed_no_feed_is_offered(room, monkeypatch):
    from qckit.day.entry.bench import Bench
    from qckit.day.entry.dialog import Dialog
    from qckit.day.entry.form import DayForm

    settings = room / "qckit.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('feed_at = "10:00, 16:00"', 'feed_at = ""'), encoding="utf-8")
    with Bench(room, by="op1", now="2026-11-20T09:10") as bench:
        said, left = [], ["4", "0"]
        Dialog(bench, lambda *_: left.pop(0), said.append).run()
        assert said[0] == "1 count 2 start 3 harvest 5 readings 6 tally 7 meters 8 test 9 lot"
        assert said[-1] == "'4' is none of 1, 2, 3, 5, 6, 7, 8, 9, n, 0."
        kinds = [form["kind"] for form in DayForm(bench).forms]
        assert "feed" not in kinds and "harvest" in kinds


def test_several_numbers_in_one_line_and_one_number_back(bench, typed):
    typed("", "", "80 3 12 76", "84", "-", "85", "2", "15", "80", "")
    assert bench.log.samples(hatch="H261119-A")["nauplii"].tolist() == [80, 85]


def test_leaving_in_the_middle_writes_nothing(bench, typed):
    done = typed("", "", "80", "-", "-")
    assert done.said[-1] == "Nothing was written."
    assert bench.log.samples(hatch="H261119-A").empty


def test_one_key_takes_the_last_entry_back_and_it_stays_on_record(bench, typed):
    done = typed(*COUNT_A, "-")
    assert done.said[-1] == "Taken back: the last count (3 rows; kept in the history)."
    assert bench.log.samples(hatch="H261119-A").empty
    kept = bench.log.corrections(table="samples")
    assert kept["reason"].tolist() == ["typed wrong"] * 3
    typed(*COUNT_A)
    assert bench.log.samples(hatch="H261119-A")["sample"].tolist() == ["H261119-A-4", "H261119-A-5", "H261119-A-6"]


def test_what_was_written_on_another_day_is_not_offered(bench, typed):
    import datetime as dt

    bench._from += dt.timedelta(days=1)
    assert typed("-").said[-1] == "There is nothing of today to take back."


def test_start_takes_the_plans_values_with_enter(bench, typed):
    done = typed("2", "", "12,5", "", "-")
    written = next(line for line in done.said if line.startswith("Started"))
    assert written.startswith("Started H261120-A: 12.5 g of L-1 in A at 09:1")
    assert done.said[-1].startswith("Taken back: the last start")


def test_a_cone_number_and_a_time_without_colon(bench, typed):
    typed("2", "2", "9", "830")
    row = bench.log.hatches(hatch="H261120-B").iloc[0]
    assert (row["cysts_g"], row["started"], row["volume_ml"]) == (9.0, "2026-11-20T08:30:00+00:00", 20000.0)


def test_harvest_and_feed(bench, typed):
    done = typed(*COUNT_A, "3", "", "", "3", "1500", "", "10", "45", "0", "1", "2", "0,4", "4")
    what = "nauplii counted in what was drawn off"
    assert f"{what} is 0,4; type a whole number that is not negative." in done.said  # it became 0
    row = bench.log.samples(hatch="H261119-A", kind="harvest").iloc[0]
    assert (row["harvest_ml"], row["dilution"], row["separation"], row["lost_nauplii"]) == (1500.0, 10.0, "screen", 4)
    state = bench.page.hatch("H261119-A")
    assert (state.basis, state.nauplii) == ("harvested", 45 * 10 * 1500 * 1000 / 250)
    typed("4", "", "", "1,2")
    assert bench.log.feeds()["nauplii"].tolist() == [1_200_000.0]
    assert bench.page.hatch("H261119-A").left == 1_500_000.0


def test_a_feed_typed_as_nauplii_instead_of_millions_is_asked_for_again(bench, typed):
    done = typed(*COUNT_A, "4", "", "", "200000", "200 k")
    assert (
        "200\u202f000 million nauplii are more than 27 g of cysts hold (12\u202f150\u202f000 at the very most). "
        "Type millions, such as 0.2, or a word behind it: 200 k."
    ) in done.said
    assert bench.log.feeds()["nauplii"].tolist() == [200_000.0]


def test_nauplii_are_read_as_millions_or_with_a_word(bench, typed):
    for text in ("0.5 million", "500k", "0,5", "500 thousand"):
        typed("4", "1", "", text)
    assert bench.log.feeds()["nauplii"].tolist() == [500_000.0] * 4


def test_what_is_needed_is_not_said_to_be_left_empty(typed):
    said = " ".join(typed("3", "1", "", "", "1500", "9", "", "4", "1", "", "", "1").said)
    assert "leave it empty" not in said
    said = " ".join(typed("9", "L-9", "", "", "", "", "", "", "", "8", "L-9", "A", "nothing", "0", "2").said)
    assert "leave it empty" not in said


def test_a_harvest_of_which_only_the_time_is_known(bench, typed):
    done = typed(*COUNT_A, "3", "", "0905", "", "")
    assert done.said[-2].startswith("Harvested H261119-A at 09:05: separated by settling.")
    state = bench.page.hatch("H261119-A")
    assert (state.state, state.basis, state.harvested.strftime("%H:%M")) == ("harvested", "counted", "09:05")
    assert bench.log.awaiting_counts().empty and bench.log.samples(kind="harvest", counted=False).empty


def test_the_menu_fits_eighty_columns(bench, typed):
    assert max(map(len, typed("0").said[:2])) <= 79


def test_a_note_reaches_its_hatch_behind_what_stands_there_and_is_taken_back_alone(bench, typed):
    done = typed("n", "1", "air stone blocked", "n", "1", "lamp off at 7; smells", "N", "1", "smells")
    assert "Noted for H261119-A: lamp off at 7; smells.  [- takes it back]" in done.said
    assert done.said[-2].startswith("That stands in the log already.")
    notes = lambda: bench.log.hatches(hatch="H261119-A")["notes"].iloc[0]  # noqa: E731
    assert notes() == "air stone blocked; lamp off at 7; smells"
    assert typed("-").said[-1] == "Taken back: the last note (1 row; kept in the history)."
    assert notes() == "air stone blocked"
    typed("-")
    assert pd.isna(notes()) and len(bench.log.hatches(hatch="H261119-A")) == 1


def test_taking_back_counts_no_row_that_was_taken_back_before(bench, typed):
    typed("2", "", "", "0905")
    typed("5", "1", "28 33 8.1 6 2000")
    assert typed("-").said[-1] == "Taken back: the last readings (5 rows; kept in the history)."
    assert typed("-").said[-1] == "Taken back: the last start (1 row; kept in the history)."


def test_nauplii_of_a_label_may_have_thousands_and_grams_may_not(bench, typed):
    done = typed("9", "L-9", "0", "", "", "85", "250,000", "1,200", "425", "")
    assert bench.log.lots(lot="L-9")["claimed_nauplii_per_g"].tolist() == [250_000]
    assert (
        "grams in its pack: '1,200' could be 1.200 or 1200. Write 1200 or 1.2; where you write a decimal comma, set "
        "decimal in qckit.toml."
    ) in done.said


def test_a_weighed_harvest(bench, typed):
    done = typed(*COUNT_A, "3", "", "", "", "20 g", "150000", "")
    assert "3.0 M nauplii in 20 g" in done.said[-2]
    assert bench.page.hatch("H261119-A").nauplii == 3_000_000


def test_a_standard_test_is_started_with_three_answers(bench, typed):
    bench.log.add("lots", pd.DataFrame([{"lot": "L-2", "opened": "2026-11-19"}]), by="op1")
    bench.study()
    done = typed("8", "1", "a b", "", "1,6", "800", "")
    assert "Standard test started" in done.said[-2] and "L-2 in A and B; 1.6 g in 800 ml each." in done.said[-2]
    made = bench.log.hatches(lot="L-2")
    assert made["purpose"].tolist() == ["standard test"] * 2 and set(made["cone"]) == {"A", "B"}


@pytest.mark.parametrize(
    ("text", "clock"), [("9", "20 09:00"), ("915", "20 09:15"), ("9.15", "20 09:15"), ("2026-11-19 18:30", "19 18:30")]
)
def test_times_are_typed_as_people_type_them(bench, text, clock):
    assert bench.at(text, bench.moment()).strftime("%d %H:%M") == clock


def test_readings_are_kept_with_their_units(bench, typed):
    typed("5", "1", "27.4", "", "8,1", "", "")
    rows = bench.log.readings(hatch="H261119-A")
    assert rows[["quantity", "value", "unit"]].to_numpy().tolist() == [["ph", 8.1, "pH"], ["temperature", 27.4, "°C"]]


def test_a_number_that_is_none_is_asked_again(bench, typed):
    done = typed("", "", "eighty", "8.5", "80", "-", "-")
    assert [line for line in done.said if "whole numbers" in line] == [
        "'eighty': type whole numbers, not more than are asked for.",
        "'8.5': type whole numbers, not more than are asked for.",
    ]


def test_what_the_log_refuses_is_said_and_nothing_is_lost(bench, typed):
    done = typed("", "0500", "80 3 12 76 84 2 15 80 81 3 14 70")
    assert bench.log.samples(hatch="H261119-A").shape[0] == 3  # early, but possible: it is only noted
    assert done.said[-1].startswith("A ")
    from qckit.errors import InputError

    with pytest.raises(InputError, match="unknown cone 'Z'") as error:
        bench.start(lot="L-1", cone="Z", grams=10)
    assert "Known: A, B" in str(error.value)
    with pytest.raises(InputError, match="Not written: lot L-9 is not a lot in the log"):
        bench.start(lot="L-9", cone="A", grams=10)


def test_a_cone_has_one_number_whatever_is_done_with_it(bench, typed):
    """The most urgent hatch was number 1: once A was harvested, 2 meant A, and B's harvest became a second one of A."""
    for hatch in ("H261119-A", "H261119-B"):
        bench.count(hatch, counts_of(1))
    done = typed("3", "1", "9:05", "", "", "3", "2", "9:06", "", "")
    assert [question for question in done.asked if question.startswith("Harvest")] == [
        "Harvest  (1 A: counted  2 B: counted)",
        "Harvest  (1 A: harvested  2 B: to harvest)",
    ]
    harvests = bench.log.samples(kind="harvest")
    assert harvests["hatch"].tolist() == ["H261119-A", "H261119-B"]
    assert typed("4", "b", "9:08", "0.1").said[-2].startswith("Fed 100\u202f000 nauplii of H261119-B at 09:08.")


@pytest.mark.parametrize(
    ("cones", "numbers"),
    [
        (("A", "B"), {"A": "1", "B": "2"}),
        (("3", "4", "5"), {"3": "3", "4": "4", "5": "5"}),  # shown as "2 4", and 4 meant the cone 4 all the same
        (("A", "1", "7"), {"A": "8", "1": "1", "7": "7"}),
    ],
)
def test_a_cone_that_is_named_by_a_number_has_that_one(cones, numbers):
    bench = SimpleNamespace(settings=Settings(protocol=ProtocolSettings(cones=", ".join(cones))))
    typed, asked = list(numbers.values()), []
    questions = Questions(bench, lambda question, _: asked.append(question) or typed.pop(0), print)
    assert questions.cone_numbers(cones) == numbers
    last = str(1 + max(map(int, numbers.values())))
    assert questions.cone_numbers([*cones, "old"]) == numbers | {"old": last}
    assert [questions.named("cone", [], list(cones)) for _ in cones] == [[cone] for cone in cones]
    assert all((f"{number} {cone}" if cone != number else cone) in asked[0] for cone, number in numbers.items())
    assert not any(f"{place} {cone}" in asked[0] for place, cone in enumerate(cones, 1) if cone in numbers.values())


def test_two_hatches_of_a_cone_are_told_apart(bench, typed):
    """Both stood there as 'A: harvested', and whichever was chosen, the first was fed."""
    typed(*COUNT_A, "3", "1", "9:05", "", "")
    bench.start(lot="L-1", cone="A", grams=27.0, at=at("2026-11-20T09:06"))
    states = {state.hatch: state.cone for state in bench.notable()}
    assert list(states.values()).count("A") == 2
    asked = typed("n", "3", "second of A").asked[1]
    assert asked == "Note on  (1 A: incubating, H261120-A  2 B: to count  3 A: harvested, H261119-A)"
    notes = bench.log.hatches().set_index("hatch")["notes"]
    assert notes["H261119-A"] == "second of A" and notes.isna()["H261120-A"]


def test_a_second_count_of_the_same_subsample_gives_repeatability(bench, typed):
    from qckit.agreement import repeatability
    from qckit.day import repeat_counts

    typed(*COUNT_A)
    typed("6", "1", "2", "1", tally=lambda bench, state: [(78, 4, 13, 75)])
    bench.by = "op2"
    typed("6", "1", "2", "1", tally=lambda bench, state: [(82, 4, 13, 75)])
    pairs = repeat_counts(bench.log)
    nauplii = pairs[pairs["stage"] == "nauplii"]
    assert nauplii[["first", "second", "first_by", "second_by", "is_same_person"]].to_numpy().tolist() == [
        [80, 78, "op1", "op1", True],
        [78, 82, "op1", "op2", False],
    ]
    # Bland and Altman 1986: within-subject SD is sqrt(mean(d^2) / 2)
    squares = [2**2, 4**2, 1, 0, 1, 0, 1, 0]
    wanted = (sum(squares) / len(squares) / 2) ** 0.5
    assert repeatability(pairs["first"], pairs["second"]).within_sd == pytest.approx(wanted)


def test_a_time_of_today_that_lies_ahead_is_asked_about(bench):
    ahead = bench.moment() + pd.Timedelta(hours=1)
    yesterday = ahead - pd.Timedelta(days=1)
    with pytest.raises(InputError, match=f"still lies ahead.*type it with its date: {yesterday:%Y-%m-%d %H:%M}"):
        bench.at(f"{ahead:%H%M}", bench.moment())
    soon = bench.moment() + pd.Timedelta(minutes=5)  # clocks differ
    assert bench.at(f"{soon:%H:%M}", bench.moment()).strftime("%H:%M") == f"{soon:%H:%M}"


def test_a_fault_in_taking_back_ends_no_sitting(bench, typed, monkeypatch):
    def fail():
        raise InputError("log.sqlite: another program writes.")

    monkeypatch.setattr(bench, "take_back", fail)
    done = typed("-", "0")
    assert "log.sqlite: another program writes." in done.said and done.left == []


def test_tomorrows_day_and_month_are_no_day_of_last_year(bench, monkeypatch):
    settings = replace(bench.settings, site=replace(bench.settings.site, date_order="dmy"))
    monkeypatch.setattr(bench.log, "settings", settings)
    with pytest.raises(InputError) as error:
        bench.at("21.11. 09:00", bench.moment())  # a start of 21 November 2025 was entered
    assert str(error.value) == (
        "21.11.2026 09:00 still lies ahead. Type the day it was done, or its year if it was last year's."
    )
    assert bench.at("19.11. 9:05", bench.moment()).isoformat() == "2026-11-19T09:05:00+00:00"
    assert bench.at("21.11.2025 9:05", bench.moment()).year == 2025


def test_a_lot_is_entered_as_its_label_has_it_and_can_be_tested(bench, typed):
    done = typed("9", "L-9", "", "", "06/2028", "85", "240000", "500", "70,5", "8", "1", "", "", "1,5", "900", "")
    row = bench.log.lots().set_index("lot").loc["L-9"]
    assert (row["received"], row["claimed_hatch_pct"], row["claimed_nauplii_per_g"], row["pack_g"]) == (
        "2026-11-20",
        85.0,
        240000.0,
        500.0,
    )
    assert pd.isna(row["opened"])
    assert row[["best_before", "price", "currency"]].tolist() == ["2028-06", 70.5, "EUR"]
    shown = (
        "Lot L-9, not opened yet, best before 2028-06, a pack of 500 g, 70.5 EUR a pack: its label claims 85 % and "
        "240\u202f000 nauplii a gram."
    )
    assert any(line.startswith(shown) for line in done.said)
    assert bench.log.hatches(lot="L-9")["purpose"].eq("standard test").all()


def test_a_lot_that_is_there_already_is_not_written_twice(bench, typed):
    before = bench.log.lots()
    done = typed("9", "L-1", "-")  # said at once, and the name is asked for again
    assert any("Lot L-1 is in the log already" in line for line in done.said)
    assert done.said[-1] == "Nothing was written." and done.asked[1:] == ["name on its label"] * 2
    pd.testing.assert_frame_equal(bench.log.lots(), before)


def test_a_date_that_is_none_is_asked_again(bench, typed):
    done = typed("9", "L-9", "soon", "2026-11-18", *[""] * 6)
    assert any("'soon'" in line for line in done.said)
    assert bench.log.lots().set_index("lot").loc["L-9", "received"] == "2026-11-18"


def test_a_time_of_yesterday_is_shown_with_its_date(bench, typed):
    done = typed("2", "2", "9", "2026-11-19 22:15")
    assert any("in B at 22:15 on 2026-11-19." in line for line in done.said)


def test_more_than_is_left_is_noted_and_the_next_hatch_offered(bench, typed):
    typed(*COUNT_A, "3", "", "", "3", "1500", "450", "", "4", "", "", "0,675")
    assert bench.page.hatch("H261119-A").is_used_up
    assert [state.cone for state in bench.feedable()][-1] == "A"
    bench.feed("H261119-A", 1_000.0, fed=bench.moment())
    done = typed("4", "A: harvested", "", "0,1")
    assert any("By the log none were left of A" in line for line in done.said)
    assert sorted(bench.log.feeds()["nauplii"]) == [1_000.0, 100_000.0, 675_000.0]  # within a second or not


def test_what_a_counted_cone_will_give_rests_on_the_measured_recovery(bench, typed):
    typed(*COUNT_A)
    counted = bench.page.hatch("H261119-A").nauplii
    share = 0.85  # the site's setting: no harvest yet
    assert counted == pytest.approx(share * (80 + 84 + 81) / 3 / 250e-6 * 20, rel=1e-6)
    name = "test_what"
    harvests = pd.DataFrame(
        [
            {
                "sample": f"{name}-{i}",
                "hatch": f"H2611{day:02}-A",
                "taken": f"2026-11-{day + 1:02}T10:00:00+00:00",
                "kind": "harvest",
                "harvest_ml": 1000.0,
                "volume_ul": 1000.0,
                "nauplii": 3200,
                "counted_by": "person",
            }
            for i, day in enumerate(range(8, 15))
        ]
    )
    bench.log.add("samples", harvests, by="op1")
    bench.study()
    after = bench.page.hatch("H261119-A").nauplii
    assert after / counted == pytest.approx(0.5 / share, abs=0.06)


def test_one_key_goes_one_question_back_and_what_was_typed_before_stands(bench, typed):
    typed("9", "L-8", "2026-11-18", "", "", "58", "-", "85", "240000", "-", "-", "86", "250000", "500", "")
    row = bench.log.lots().set_index("lot").loc["L-8"]
    assert row[["received", "claimed_hatch_pct", "claimed_nauplii_per_g", "pack_g"]].tolist() == [
        "2026-11-18",
        86.0,
        250000.0,
        500.0,
    ]


@pytest.mark.parametrize("per_g", ["240000", "245000"])
def test_a_lot_taken_back_is_entered_again_with_the_same_values_or_others(bench, typed, per_g):
    """The same nauplii per gram was refused: 240000 is the 240000.0 that stood, and so nothing to correct."""
    first = ["9", "L-8", "2026-11-18", "", "", "85", "240000", "500", "48,5"]
    done = typed(*first, "-", *first[:6], per_g, "500", "48,5")
    assert not [line for line in done.said if "already" in line]
    row = bench.log.lots().set_index("lot").loc["L-8"]
    assert row[["claimed_hatch_pct", "claimed_nauplii_per_g", "pack_g", "price"]].tolist() == [
        85,
        int(per_g),
        500,
        48.5,
    ]


def test_what_is_refused_can_be_put_right_without_typing_all_again(bench, typed):
    bench.log.add("lots", pd.DataFrame([{"lot": "L-2", "opened": "2026-11-19"}]), by="op1")
    bench.study()
    done = typed("8", "1", "a b", "", "40", "1,6", "", "-", "800", "")
    assert any("more cysts than water" in line for line in done.said)
    assert bench.log.hatches(lot="L-2")[["cysts_g", "volume_ml"]].to_numpy().tolist() == [[40.0, 800.0]] * 2


@pytest.mark.parametrize(
    ("typed_text", "number"),
    [("1,5", 1.5), ("260.000,5", 260000.5), ("1,200,000", 1_200_000), ("500 g", 500), ("0,5 kg", 500), ("1 200", 1200)],
)
def test_numbers_are_read_as_in_a_sheet(bench, typed_text, number):
    assert bench.number(typed_text, "grams", unit="g") == number


@pytest.mark.parametrize("space", [" ", "\u00a0", "\u202f"])
def test_thousands_as_a_page_shows_them_are_read(bench, typed, space):
    assert bench.number(f"3{space}500{space}000", "nauplii", whole=True) == 3_500_000
    typed("9", "L-7", "", "", "", "", f"240{space}000", f"12{space}500 g", "")
    lots = bench.log.lots().set_index("lot")
    assert lots.loc["L-7", ["claimed_nauplii_per_g", "pack_g"]].tolist() == [240_000, 12_500]


def test_counts_of_three_digits_stay_apart(bench, typed):
    """150 102 118, and 80 120 after a first count, were read as one number of millions."""
    typed("", "", "150 102 118", "176", "80 120", "12", "14", "", "")
    counted = bench.log.samples(hatch="H261119-A")[["nauplii", "umbrella", "cysts", "shells"]]
    assert counted.to_numpy().tolist() == [[150, 102, 118, 176], [80, 120, 12, 14]]


@pytest.mark.parametrize(("sign", "text"), [("point", "14.125"), ("comma", "14,125")])
def test_what_is_offered_is_read_by_the_sites_sign(bench, monkeypatch, sign, text):
    """Enter on 14.125 g was refused where the comma is the decimal sign: it could be 14125 g."""
    settings = replace(bench.settings, site=replace(bench.settings.site, decimal=sign))
    monkeypatch.setattr(bench.log, "settings", settings)
    start = replace(bench.page.start, code="start", grams_per_cone=14.125, balance_step_g=0.001)
    bench.page = replace(bench.page, start=start)
    assert bench.grams_offered() == text and bench.number(bench.grams_offered(), "grams", unit="g") == 14.125


@pytest.mark.parametrize("typed_text", ["1,200", "260,000", "12 h", "-3", "many", "80 %"])
def test_a_number_that_could_be_two_or_is_of_another_kind_is_asked_again(bench, typed_text):
    with pytest.raises(InputError, match="grams"):
        bench.number(typed_text, "grams", unit="g")


def test_thousands_with_a_comma_are_never_taken_for_a_fraction(bench, typed):
    typed("9", "L-7", "", "", "", "85 %", "240,000", "500 g", "")
    assert bench.log.lots().set_index("lot").loc["L-7", "claimed_nauplii_per_g"] == 240000


def test_a_number_that_no_cell_can_hold_is_asked_again_at_once(bench, typed):
    done = typed("9", "L-7", "", "", "", "150", "85", "2000000", "", "", "", "2", "1", "0", "9,5", "")
    at = done.said.index(
        "hatching percentage its label claims: 150 is above 100. The most possible is 100 %. Correct the cell."
    )
    assert done.asked.count("hatching percentage its label claims (Enter: none)") == 2
    assert any(
        line.startswith("nauplii per gram its label claims: 2000000 is above 1\u202f000\u202f000.")
        for line in done.said[at:]
    )
    assert any(line.startswith("grams: 0 is below 0.0001. The least possible is 0.0001 g.") for line in done.said)
    assert bench.log.lots().set_index("lot").loc["L-7", "claimed_hatch_pct"] == 85
    assert bench.log.hatches()["cysts_g"].tolist().count(9.5) == 1


def test_the_answer_of_a_day_on_which_nothing_can_be_started_is_a_sentence(bench, typed):
    done = typed("9", "L-6", *[""] * 7)
    assert len(done.said[-1].rstrip(".").strip()) > 10


def test_cones_named_by_figures_read_as_cones():
    from qckit.words import cone_name

    assert [cone_name(name) for name in ("C", "3", "a1", "12")] == ["C", "cone 3", "a1", "cone 12"]


def test_a_reading_that_no_water_has_is_asked_for_again_where_it_was_typed(bench, typed):
    done = typed("5", "1", "27.4", "33", "82", "8,2", "6.1", "")
    assert [line for line in done.said if "is no pH" in line] == [
        "82 is no pH: 0 to 14 can be. Correct the value, or its unit."
    ]
    rows = bench.log.readings(hatch="H261119-A").set_index("quantity")["value"]
    assert rows.to_dict() == {"oxygen": 6.1, "ph": 8.2, "salinity": 33.0, "temperature": 27.4}


def test_cones_of_a_test_are_chosen_by_their_numbers_as_everywhere(bench, typed):
    bench.log.add("lots", pd.DataFrame([{"lot": "L-2", "opened": "2026-11-19"}]), by="op1")
    bench.study()
    typed("8", "1", "1 2", "", "1.6", "800", "")
    assert set(bench.log.hatches(lot="L-2")["cone"]) == set(bench.settings.protocol.cone_names[:2])


def test_what_a_wall_clock_ahead_of_the_computers_says_is_on_the_page(bench, typed):
    """A count five minutes ahead was not on the page yet, so that the same cone was asked for again."""
    ahead = f"{bench.moment() + pd.Timedelta(minutes=5):%H%M}"
    done = typed("", ahead, "80 3 12 76", "", "0")
    assert done.asked[-1] == "Enter: count B" and done.said[-1].startswith("A 84 %")


def test_a_start_in_a_cone_that_holds_a_hatch_says_so(bench, typed):
    bench.start(lot="L-1", cone="A", grams=9)
    done = typed("2", "1", "9", "")
    shown = [line for line in done.said if "A holds H261120-A since 09:10, too. Was it emptied?" in line]
    assert len(shown) == 1


def test_several_cones_are_started_alike_at_once(bench, typed):
    done = typed("2", "a 2", "9,5", "0905", "-")
    assert any("Started 9.5 g of L-1 each in A and B at 09:05: H261120-A and H261120-B." in line for line in done.said)
    assert "Taken back: the last start (2 rows; kept in the history)." in done.said


@pytest.mark.parametrize("fault", [InputError("qckit.toml: cannot be read."), KeyError("n")])
def test_what_the_log_has_is_not_asked_for_again_where_the_page_then_fails(bench, typed, monkeypatch, fault):
    """The last question was asked again, and its answer wrote the count a second time."""

    def fail(*_args, **_kwargs):
        raise fault

    monkeypatch.setattr("qckit.day.entry.bench.study_site", fail)
    done = typed(*COUNT_A, "0")
    assert "H261119-A (A), 3 subsamples: N 80 U 3 C 12 S 76; " in done.said[3] and not done.left
    what = "qckit.toml: cannot be read." if isinstance(fault, InputError) else "a fault of the kit (KeyError: 'n'; "
    assert done.said[4].startswith(f"  look: The page was not worked out anew: {what}")
    assert len(bench.log.samples(hatch="H261119-A")) == 3 and "Nothing was written." not in done.said


@pytest.mark.parametrize("name", ["_show", "entered"])
def test_what_stands_in_the_log_is_said_before_what_failed_after_it(bench, typed, monkeypatch, name):
    from qckit.day.entry.dialog import Dialog

    real = getattr(Dialog, name)

    def fail(self, what):
        real(self, what)
        raise InputError("the screen failed.")

    monkeypatch.setattr(Dialog, name, fail)
    done = typed(*COUNT_A, "0")
    assert done.said[-1] == (
        "This stands in the log, and need not be entered again: step 5 (day: count, 3 rows). What came after it "
        "failed: the screen failed."
    )
    assert len(bench.log.samples(hatch="H261119-A")) == 3
