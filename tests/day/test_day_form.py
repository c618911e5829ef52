"""The notebook's form writes the same rows as the dialogue, says what came of it, and keeps what was typed wrong."""

import datetime as dt
import itertools

import pandas as pd
import pytest

from qckit.day.entry.form import DayForm
from qckit.errors import InputError

NAMES = map("page-{}".format, itertools.count())  # the page gives each entry a name of its own


@pytest.fixture
def form(bench):
    return DayForm(bench)


def send(form, do, *, n="", age_s=0, **values):
    form._on_message(form, {"n": n or next(NAMES), "do": do, "values": values, "age_s": age_s}, [])
    return form.status


def counts(text, start=0):
    names = ("nauplii", "umbrella", "cysts", "shells")
    rows = [row.split() for row in text.split("/")]
    return {f"{name}-{i}": value for i, row in enumerate(rows, start) for name, value in zip(names, row, strict=True)}


def test_the_form_opens_on_what_is_due_with_the_protocols_values(form):
    assert form.first == "count"
    count = next(one for one in form.forms if one["kind"] == "count")
    assert [field["name"] for field in count["fields"]][:3] == ["hatch", "taken", "nauplii-0"]
    assert count["fields"][0]["value"] == "H261119-A" and count["fields"][1]["value"] == "09:00"
    assert form.tally["keys"] == ["1", "2", "3", "4"] and form.tally["n"] == 3


def test_a_count_is_written_shown_back_and_taken_back(form, bench):
    status = send(form, "count", hatch="H261119-A", taken="", **counts("80 3 12 76/84 2 15 80"))
    assert status["text"].startswith("H261119-A (A), 2 subsamples: N 80 U 3 C 12 S 76; N 84 U 2 C 15 S 80.")
    assert not status["bad"] and status["answer"].startswith("A 84 %, usual;")
    assert bench.log.samples(hatch="H261119-A")["nauplii"].tolist() == [80, 84]
    assert "A 84\u00a0%" in form.page  # no line ends between a number and its unit
    assert send(form, "take back")["text"].startswith("Taken back: the last count")
    assert bench.log.samples(hatch="H261119-A").empty


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"nauplii-0": "8o"}, "subsample 1, N: '8o' is no number. Correct it."),
        ({"cysts-0": "3"}, "subsample 1, N is empty. Type it."),
        ({"nauplii-0": "-3"}, "subsample 1, N is -3; type a whole number that is not negative."),
        (
            {"nauplii-0": "3", "taken": "25:70"},
            "'25:70' is no time of day. Type it like 0930, or with its date",
        ),
        ({}, "hatch H261119-A: nothing was counted. Type at least one subsample."),
    ],
)
def test_what_is_wrong_is_said_in_one_line_and_nothing_is_written(form, bench, values, said):
    status = send(form, "count", hatch="H261119-A", **values)
    assert status["bad"] and status["text"].startswith(said)
    assert bench.log.samples(hatch="H261119-A").empty


def test_nothing_is_written_without_initials(form, bench):
    form.initials = " "
    assert send(form, "start", n="page-x", lot="L-1", cone="A", grams="9") == {
        "n": "page-x",
        "text": "Say who you are first: choose your initials above, or write others under 'other…'.",
        "bad": True,
        "answer": bench.answer(),
        "nth": 1,
    }


def test_an_entry_that_is_sent_twice_under_its_name_is_written_once(form, bench):
    first = send(form, "feed", n="page-y", hatch="H261119-A", million="1.2")["text"]
    for _ in range(2):  # the second answer said so twice
        again = send(form, "feed", n="page-y", hatch="H261119-A", million="1.2")["text"]
        assert again == f"That stands in the log already. {first}"
    assert len(bench.log.feeds()) == 1
    wrong = send(form, "feed", n="page-z", hatch="H261119-A")
    right = send(form, "feed", n="page-z", hatch="H261119-A", million="0.3")  # refused before, so it is not known
    assert wrong["bad"] and not right["bad"] and len(bench.log.feeds()) == 2


def test_a_form_made_anew_in_the_same_kernel_knows_what_the_last_one_wrote(form, bench):
    """After a reload the cell is run again: the entry whose answer was lost is offered there."""
    first = send(form, "feed", n="page-a", hatch="H261119-A", million="1.2")["text"]
    assert send(DayForm(bench), "feed", n="page-a", hatch="H261119-A", million="1.2")["text"].endswith(first)
    assert len(bench.log.feeds()) == 1


def test_the_same_refusal_of_the_same_entry_is_answered_each_time(form):
    """The page went on waiting, and said that the kernel may have stopped."""
    answers = []
    form.observe(lambda change: answers.append(change.new["text"]), names="status")
    for _ in range(2):
        send(form, "feed", n="page-b", hatch="H261119-A")
    assert answers == ["million nauplii is empty. Type it."] * 2


def test_an_entry_that_is_sent_a_day_late_bears_the_times_of_its_typing(form, bench):
    day_s, now = 24 * 3600, bench.moment()
    send(form, "start", lot="L-1", cone="A", grams="9.5", at="0905", age_s=day_s)
    send(form, "start", lot="L-1", cone="B", grams="9.5", age_s=day_s + 600.4)
    started = pd.to_datetime(bench.log.hatches()["started"], utc=True).tolist()
    yesterday = now - dt.timedelta(days=1)
    assert yesterday.replace(hour=9, minute=5, second=0) in started
    typed = yesterday - dt.timedelta(minutes=10)
    assert any(abs(one - typed) < dt.timedelta(minutes=1) for one in started)
    written = pd.to_datetime(bench.log.steps()["at"].iloc[-1], utc=True)
    assert abs(written - now) < dt.timedelta(minutes=1) and bench.moment() - now < dt.timedelta(minutes=1)


def test_an_answer_comes_where_the_log_can_neither_be_written_nor_read(form, bench, monkeypatch):
    def fail(*_args, **_kwargs):
        raise InputError("log.sqlite: the disk failed.")

    monkeypatch.setattr(form, "_refresh", fail)
    written = send(form, "feed", hatch="H261119-A", million="1.2")
    assert not written["bad"] and written["text"].endswith(
        "The page was not worked out anew: log.sqlite: the disk failed."
    )
    monkeypatch.setattr(bench.log, "take", fail)
    assert send(form, "feed", hatch="H261119-A", million="1.3")["text"] == "log.sqlite: the disk failed."
    assert form.status["bad"] and len(bench.log.feeds()) == 1


def test_where_nobody_is_named_initials_are_asked_for(form, bench, monkeypatch):
    monkeypatch.setattr(bench, "people", lambda: ())
    form.initials = ""
    assert send(form, "start", lot="L-1", cone="A", grams="9")["text"] == "Write your initials first."


def test_start_harvest_feed_and_readings(form, bench):
    assert send(form, "start", lot="L-1", cone="A", grams="9,5", at="0905")["text"].startswith(
        "Started H261120-A: 9.5 g of L-1 in A at 09:05."
    )
    send(form, "harvest", hatch="H261119-A", size="1000", nauplii="60", dilution="5", separation="light", lost="2")
    row = bench.log.samples(hatch="H261119-A", kind="harvest").iloc[0]
    assert (row["separation"], row["dilution"], row["lost_nauplii"]) == ("light", 5.0, 2)
    assert send(form, "feed", hatch="H261119-A", million="1.2")["text"].startswith("Fed 1.2 M nauplii of H261119-A")
    assert "Type millions, such as 0.2" in send(form, "feed", hatch="H261119-A", million="200000")["text"]
    assert send(form, "feed", hatch="H261119-A")["text"] == "million nauplii is empty. Type it."
    assert len(bench.log.feeds()) == 1
    assert send(form, "readings", hatch="H261119-A", temperature="27,9")["text"] == "H261119-A: temperature 27.9 °C."


@pytest.mark.parametrize(
    ("values", "said", "nauplii"),
    [
        ({}, "Harvested H261119-A at 09:10: separated by settling.", None),
        ({"size": "900"}, "900 ml, separated by settling.", None),
        ({"size": "900 ml", "density": "2500"}, "2.2 M nauplii in 900 ml, separated", 2_250_000),
        ({"size": "12,5 g", "density": "180000"}, "2.2 M nauplii in 12.5 g, separated", 2_250_000),
        ({"size": "60 l", "density": "2.5"}, "150\u202f000 nauplii in 60000 ml, separated", 150_000),
        ({"size": "60 pots", "density": "2.5"}, "all of it: '60 pots' has the unit 'pots'", None),
        ({"density": "2500"}, "nauplii per ml need the ml of the whole harvest. Type them.", None),
        ({"size": "900", "cysts": "3"}, "The counted part has no N.", None),
    ],
)
def test_a_harvest_is_entered_as_far_as_it_was_measured(form, bench, values, said, nauplii):
    assert said in send(form, "harvest", hatch="H261119-A", **values)["text"]
    harvest = bench.log.samples(hatch="H261119-A", kind="harvest")
    if form.status["bad"]:
        assert harvest.empty
        return
    state = bench.page.hatch("H261119-A")
    assert state.harvested is not None and (state.basis == "harvested") == (nauplii is not None)
    if nauplii is not None:
        assert state.nauplii == pytest.approx(nauplii, rel=0.003)


def test_a_standard_test_is_started_beside_another_lot(form, bench):
    import pandas as pd

    bench.log.add("lots", pd.DataFrame([{"lot": "L-2", "opened": "2026-11-19"}]), by="op1")
    bench.study()
    form._refresh()
    offered = {f["name"]: f for f in next(one for one in form.forms if one["kind"] == "lot test")["fields"]}
    assert [value for value, _ in offered["lot"]["options"]] == ["L-2", "L-1"]
    values = {"lot": "L-2", "cones": "A", "beside": "L-1", "others": "B", "grams": "1.6", "ml": "800", "at": "0900"}
    status = send(form, "lot test", **values)
    assert "started at 09:00: L-2 in A; beside it L-1 in B; 1.6 g in 800 ml each." in status["text"]
    rows = bench.log.hatches(since="2026-11-20")
    assert rows[["lot", "purpose", "cone", "cysts_g", "volume_ml"]].to_numpy().tolist() == [
        ["L-2", "standard test", "A", 1.6, 800.0],
        ["L-1", "reference", "B", 1.6, 800.0],
    ]
    assert send(form, "take back")["text"].startswith("Taken back: the last lot test (2 rows")
    assert send(form, "lot test", **values | {"others": ""})["bad"]


def test_counts_that_a_second_window_enters_again_are_asked_about(form, bench):
    """Six subsamples stood in the log without a word, and the interval was narrower than what was counted allows."""
    from qckit.day.entry.bench import Bench

    send(form, "count", hatch="H261119-A", **counts("80 3 12 76/84 2 15 80"))
    with Bench(bench.site.folder, by="op2", now="2026-11-20T09:10") as other:
        window = DayForm(other)
        assert send(window, "count", hatch="H261119-A", **counts("80 3 12 75/84 2 15 80"))["text"].endswith("S 80.")
        said = send(window, "count", hatch="H261119-A", **counts("84 2 15 80/80 3 12 76"))["text"]
    assert said.endswith(
        "The same counts stand in the log already (H261119-A-1, H261119-A-2 and H261119-A-4): were these entered twice?"
    )
    assert "entered twice" not in send(form, "count", hatch="H261119-B", **counts("80 3 12 76/84 2 15 80"))["text"]


def test_the_same_subsample_again(form, bench):
    send(form, "count", hatch="H261119-A", **counts("80 3 12 76"))
    again = next(one for one in form.forms if one["kind"] == "count")["again"]["H261119-A"]
    assert again == ["H261119-A-1"]
    send(form, "count again", hatch="H261119-A", sample=again[0], **counts("78 4 13 75"))
    assert bench.log.revisions("H261119-A-1")["nauplii"].tolist() == [80, 78]


def test_a_new_lot_is_entered_and_offered_at_once(form, bench):
    offered = next(one for one in form.forms if one["kind"] == "new lot")["fields"]
    assert {f["name"]: f["value"] for f in offered}["received"] == "2026-11-20"
    values = {"lot": "L-7", "received": "2026-11-18", "opened": "", "pct": "85", "per_g": "", "pack_g": "500"}
    values |= {"best_before": "2028-06-30", "price": "70,5"}
    sentence = (
        "Lot L-7, not opened yet, best before 2028-06-30, a pack of 500 g, 70.5 EUR a pack: its label claims 85 %."
    )
    assert sentence in send(form, "new lot", **values)["text"]
    row = bench.log.lots().set_index("lot").loc["L-7"]
    assert row["received"] == "2026-11-18" and row["pack_g"] == 500.0
    assert row[["best_before", "price", "currency"]].tolist() == ["2028-06-30", 70.5, "EUR"]
    assert "L-7" in bench.lots_to_test()
    assert send(form, "new lot", **values)["bad"] and send(form, "new lot", **values | {"lot": " "})["bad"]
    assert "the last lot (1 row" in send(form, "take back")["text"]
    assert "L-7" not in bench.log.lots()["lot"].tolist()
    again = send(form, "new lot", **values | {"pct": "90", "pack_g": ""})  # a label keeps its name
    assert not again["bad"], again
    row = bench.log.lots().set_index("lot").loc["L-7"]
    assert (row["claimed_hatch_pct"], row["received"]) == (90.0, "2026-11-18") and row[["pack_g"]].isna().all()
    assert "the last lot (1 row" in send(form, "take back")["text"]
    assert "L-7" not in bench.log.lots()["lot"].tolist()


FAULTS = [
    (InputError("qckit.toml: cannot be read."), "qckit.toml: cannot be read."),
    (OSError(5, "Input/output error", "log.sqlite"), "log.sqlite: the disk or the network share failed"),
    (KeyError("n"), "a fault of the kit (KeyError: 'n'; place unknown)."),
]


def _failing(fault):
    def fail(*_args, **_kwargs):
        raise fault

    return fail


@pytest.mark.parametrize(("fault", "said"), FAULTS)
@pytest.mark.parametrize("where", ["study_site", "day_fragment", "last look"])
def test_what_the_log_has_is_not_typed_again_where_the_page_then_fails(form, bench, monkeypatch, fault, said, where):
    """It was told "not written" and offered again, and stood in the log twice."""
    fault.__traceback__ = None
    monkeypatch.setattr(
        *{
            "study_site": ("qckit.day.entry.bench.study_site", _failing(fault)),  # the page is worked out anew
            "day_fragment": ("qckit.day.entry.form.day_fragment", _failing(fault)),  # and drawn
            "last look": ("qckit.log.store.SiteLog._photo_doubts", _failing(fault)),  # of the log itself, at its rows
        }[where]
    )
    first = send(form, "count", n=f"page-{where}-{said}", hatch="H261119-A", **counts("80 3 12 76/84 2 15 80"))
    assert not first["bad"] and said.split(";")[0] in first["text"]
    assert first["text"].startswith(
        "This stands in the log, and need not be entered again: step"
        if where == "last look"
        else "H261119-A (A), 2 subsamples: N 80 U 3 C 12 S 76; N 84 U 2 C 15 S 80."
    )
    again = send(form, "count", n=f"page-{where}-{said}", hatch="H261119-A", **counts("80 3 12 76/84 2 15 80"))
    assert again["text"].startswith("That stands in the log already.")
    assert bench.log.samples(hatch="H261119-A")["nauplii"].tolist() == [80, 84]


def test_a_fault_of_the_kit_before_anything_was_written_is_answered(form, bench, monkeypatch):
    monkeypatch.setattr(bench.log, "take", _failing(KeyError("n")))
    status = send(form, "feed", hatch="H261119-A", million="1.2")
    assert status["bad"] and status["text"].startswith("a fault of the kit (KeyError: 'n'; ")
    assert bench.log.feeds().empty
