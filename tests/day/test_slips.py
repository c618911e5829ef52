"""Slips of the pen and the keys: figures that can hardly be are said, lead no dose, and name the first step."""

# ruff: noqa: E501  sentences as they are said
import datetime as dt

import pandas as pd
import pytest
from invented_day import at

from qckit.day.count_words import counted_words
from qckit.day.entry import records
from qckit.day.entry.bench import Bench
from qckit.day.entry.harvest_records import Harvest, harvest_rows
from qckit.day.founding import Answers, found_site
from qckit.day.page.counted import counted_hatches_of
from qckit.day.page.loading import load_day
from qckit.day.sheets.reading import import_sheets
from qckit.day.words import answer, day_lines, start_words
from qckit.errors import InputError
from qckit.log import open_log
from qckit.site import load_site
from qckit.words import estimated

NOW = "2026-11-21T09:30"
COUNTS = [(120, 3, 12, 76), (124, 2, 15, 80), (121, 3, 14, 70)]


@pytest.fixture
def two_cones(tmp_path):
    """A new site of two cones of 1 l; returns a call that starts hatches of the grams given, counts them, and gives
    the site's folder."""

    def begin(grams, counts=None, counted="nauplii, umbrella, cysts, shells"):
        folder = found_site(tmp_path / "site", Answers(cones="A, B", cone_litres=1.0, people="km", nauplii=400_000))
        path = folder / "qckit.toml"
        keys = ", ".join("1234"[: len(counted.split(","))])
        text = path.read_text("utf-8").replace('"nauplii, umbrella, cysts, shells"', f'"{counted}"')
        path.write_text(text.replace('"1, 2, 3, 4"', f'"{keys}"'), "utf-8")
        with open_log(folder, now=lambda: "2026-11-21T09:20:00+00:00") as log:
            log.add("lots", pd.DataFrame([{"lot": "L-7", "opened": "2026-11-19"}]), by="km")
            sitting, taken = records.Sitting(log.settings, "km"), []
            for place, weighed in enumerate(grams):
                started = at("2026-11-20T09:00") - dt.timedelta(days=place // 2)
                made = records.start_row(sitting, lot="L-7", cone="AB"[place % 2], grams=weighed, started=started)
                log.add("hatches", made.frames["hatches"], by="km")
                taken.append((made.frames["hatches"].iloc[0].to_dict(), started + dt.timedelta(hours=24)))
            for place, (row, when) in enumerate(taken):
                rows = (counts or {}).get(place, COUNTS)
                width = len(log.settings.protocol.counted_columns)
                made = records.count_rows(sitting, row, [one[:width] for one in rows], taken=when)
                log.add("samples", made.frames["samples"], by="km")
        return folder

    return begin


def lines(folder, section="start"):
    return [line.text for line in day_lines(load_day(folder, now=NOW)) if line.section == section]


@pytest.mark.parametrize("counted", ["nauplii, umbrella, cysts, shells", "nauplii"])
def test_tenfold_grams_lead_no_dose(two_cones, counted):
    folder = two_cones([2.0, 20.0], counted=counted)
    start = load_day(folder, now=NOW).start
    said = (
        "H261120-B is left out of the dose: 20 g stood in it, 20 g per litre, and a gram gave 24\u202f300 nauplii. "
        "Look at its grams on the sheet. If they are wrong:  "
        "qckit log correct hatches H261120-B cysts_g VALUE --reason TEXT"
    )
    assert start.left_out == (("H261120-B", said),) and said in lines(folder)
    assert not any("poor" in text for text in lines(folder))
    assert load_site(folder).dose("L-7", day=NOW).warnings[0].code == "doubted"
    with open_log(folder) as log:
        log.withdraw("hatches", "H261120-B", by="km", reason="grams")
    assert start.grams == pytest.approx(load_day(folder, now=NOW).start.grams)  # as the other hatch alone


def test_corrected_grams_lead_again(two_cones):
    folder = two_cones([2.0, 20.0])
    with open_log(folder) as log:
        log.correct("hatches", "H261120-B", "cysts_g", 2.0, by="km", reason="a decimal slip")
    start = load_day(folder, now=NOW).start
    assert start.left_out == () and load_site(folder).dose("L-7", day=NOW).level.n_hatches == 2


def test_a_lone_hatch_with_tenfold_grams_gives_no_dose_and_is_not_offered_again(two_cones):
    folder = two_cones([20.0])
    start = load_day(folder, now=NOW).start
    assert start.code == "no dose"
    assert "no dose can rest on its counted hatches as they stand: H261120-A: 20 g stood in it" in start.why_not
    assert "qckit log correct hatches H261120-A cysts_g VALUE --reason TEXT" in start.why_not
    with Bench(folder, by="km", now=NOW) as bench:
        assert bench.grams_offered() == ""


def test_a_hatch_many_times_off_the_lots_other_is_left_out(two_cones):
    """Few nauplii, and all cysts there: it hatched badly, and says nothing of what the lot gives."""
    folder = two_cones([2.0, 2.0], counts={1: [(9, 3, 120, 5), (11, 2, 118, 9), (10, 3, 121, 6)]})
    ((_, said),) = load_day(folder, now=NOW).start.left_out
    assert said.startswith(
        "H261120-B is left out of the dose: it gave 20\u202f000 nauplii per gram, the lot's others 243"
    )


def test_a_dense_cone_that_gave_what_cysts_give_is_not_doubted(two_cones):
    dense = [tuple(3 * n for n in one) for one in COUNTS]
    folder = two_cones([2.0, 6.5], counts={1: dense})
    assert load_day(folder, now=NOW).start.left_out == ()


def test_a_lot_of_six_hatches_that_agree_is_believed(two_cones):
    """A lot of sand, or a volume that is wrong throughout: dose and harvest are on one scale."""
    few = {place: [(12, 0, 1, 7), (13, 0, 2, 8), (12, 1, 1, 7)] for place in range(6)}
    folder = two_cones([2.0] * 6, counts=few)
    assert load_day(folder, now=NOW).start.left_out == () and load_day(folder, now=NOW).start.code == "start"
    with open_log(folder) as log:
        for name in ("H261118-A", "H261118-B", "H261119-A", "H261119-B"):
            log.withdraw("hatches", name, by="km", reason="test")
    assert "most lots hold 220\u202f000 to 300\u202f000" in load_day(folder, now=NOW).start.why_not


def test_grams_in_all_cones_are_those_of_the_dose(two_cones):
    """Where no cone was free, a page said 28.5 g (15 times 1.9) beside 29.1 g (the dose as worked out)."""
    from dataclasses import replace

    folder = two_cones([2.0, 2.0])
    page = load_day(folder, now=NOW)
    for grams, n_cones in ((29.1, 15), (8.3, 5), (4.0, 2)):
        start = replace(page.start, grams=grams, n_cones=n_cones, grams_per_cone=grams / n_cones, cones=())
        dose = load_site(folder).dose("L-7", day=NOW)
        assert start.grams_in_all == replace(dose, grams=grams, n_cones=n_cones).grams_weighed
        shown = f"{start.say(start.grams_in_all)} g"
        texts = [line.text for line in day_lines(replace(page, start=start)) if line.section == "start"]
        assert texts[0].startswith(f"{shown} of L-7") and f"it takes {shown} in" in texts[-1]
        assert start_words(start, page.now, short=True).startswith(f"start {shown}")


def harvest(bench, hatch, nauplii):
    return bench.harvest(hatch, Harvest(harvest_ml=100.0, per_ml=nauplii / 100.0))


def test_a_harvest_of_one_percent_is_asked_about(two_cones):
    folder = two_cones([2.0, 2.0])
    with Bench(folder, by="km", now=NOW) as bench:
        written = harvest(bench, "H261120-A", 5600.0)
        assert harvest(bench, "H261120-B", 400_000.0).notes == []
    (note,) = written.notes
    assert note == (
        "samples H261120-A-V1: the harvest holds 5600 nauplii, 1.2 % of the 487\u202f000 that were counted in its cone. "
        "Look at harvest_ml, volume_ul, dilution and nauplii of the harvest, and at the counts of hatch H261120-A. If it "
        "is wrong:  qckit log correct samples H261120-A-V1 harvest_ml VALUE --reason TEXT"
    )
    assert "5600 nauplii" in written.sentence  # one number, not 6000 beside it
    with open_log(folder) as log:
        assert log.check()["key"].tolist() == ["H261120-A-V1"]
        log.correct("samples", "H261120-A-V1", "harvest_ml", 7000.0, by="km", reason="a decimal slip")
        assert log.check().empty


def test_a_harvest_before_its_count_is_asked_about_with_the_count(two_cones):
    folder = two_cones([2.0, 2.0])
    with open_log(folder) as log:
        for name in log.samples(hatch="H261120-A")["sample"]:
            log.withdraw("samples", name, by="km", reason="to be counted")
    with Bench(folder, by="km", now=NOW) as bench:
        (note,) = harvest(bench, "H261120-A", 5600.0).notes
        assert note.startswith("The harvest holds 5600 nauplii, 1.") and "% of the" in note
        assert "its lot should give: look at its volume and at its count." in note
        (note,) = bench.count("H261120-A", COUNTS).notes
        assert note.startswith("samples H261120-A-V1: the harvest holds 5600 nauplii, 1.2 % of the 487")


def test_a_harvest_of_more_than_the_cone_held_is_asked_about(two_cones):
    folder = two_cones([2.0, 2.0])
    with Bench(folder, by="km", now=NOW) as bench:
        (note,) = harvest(bench, "H261120-A", 4_000_000.0).notes
    assert "the harvest holds 4\u202f000\u202f000 nauplii, 8.2 times the 487\u202f000 that were counted" in note


def test_a_recovery_that_can_hardly_be_is_left_out_of_the_measured_one(two_cones):
    folder = two_cones([2.0] * 6)
    names = load_site(folder).tables.hatches["hatch"].tolist()
    with open_log(folder) as log:
        for place, name in enumerate(names):
            row = log.hatches(hatch=name).iloc[0].to_dict()
            at_hand = Harvest(harvest_ml=100.0, per_ml=(4000.0 + 20 * place) / (100 if place == 5 else 1))
            made = harvest_rows(records.Sitting(log.settings, "km"), row, at_hand, taken=at("2026-11-21T09:10"))
            log.add("samples", made.frames["samples"], by="km")
    recovery = load_site(folder).dose("L-7", day=NOW).recovery
    assert (recovery.basis, recovery.n_harvests, recovery.n_left_out) == ("measured", 5, 1)
    assert 80 < recovery.pct < 86
    assert recovery.sentence.endswith(
        " 1 harvest of under 20 or over 150 % left out: look at what was typed (qckit log check)."
    )


IMPOSSIBLE = (
    "its counts make 987\u202f000 nauplii per gram, more than a gram of cysts holds (450\u202f000 at the very most). Look at "
    "the sheet:  qckit log correct samples H261120-A-2 nauplii VALUE --reason TEXT"
)


@pytest.fixture
def tenfold_count(two_cones):
    """A site where 1240 nauplii were typed for 124 in one subsample of cone A."""
    return two_cones([2.0, 2.0], counts={0: [COUNTS[0], (1240, 2, 15, 80), COUNTS[2]]})


def test_a_count_that_cannot_be_is_no_finding_on_the_page(tenfold_count):
    page = load_day(tenfold_count, now=NOW)
    assert [one.code for one in page.judged] == ["impossible", "first"]
    assert lines(tenfold_count, "counts")[0] == f"A: no figure yet: {IMPOSSIBLE}"
    assert page.hatch("H261120-A").basis == "expected"  # a count that cannot be covers no feed
    assert answer(page).startswith("A ?, its count cannot be; B 88 %")
    assert "H261120-A is left out of the dose until then." in lines(tenfold_count)


def test_a_table_of_hatches_says_that_a_count_cannot_be(tenfold_count):
    said = load_site(tenfold_count).hatches().set_index("hatch")["remarks"]
    assert said["H261120-A"].endswith(IMPOSSIBLE[0].upper() + IMPOSSIBLE[1:])
    assert "more than a gram" not in said["H261120-B"]


def test_an_import_says_that_a_count_cannot_be_and_widens_no_other_range(tenfold_count):
    site = load_site(tenfold_count)
    said = counted_words(counted_hatches_of(site, ["H261120-A", "H261120-B"]))
    assert f"Counted: H261120-A: A: no figure yet: {IMPOSSIBLE}" in said
    assert (
        "Counted: H261120-B: B 88 % (85 to 91 %), 243\u202f000 (216\u202f000 to 274\u202f000) nauplii per g" in said[0]
    )


def test_the_page_of_a_hatch_whose_count_cannot_be_asks_for_the_count_alone(tenfold_count):
    finding = load_site(tenfold_count).poor_hatch("H261120-A")
    assert finding.verdict == "not-enough-evidence"
    assert finding.headline == "H261120-A: its count cannot be: 987\u202f000 nauplii per gram. Put it right first."
    assert [f.value for f in finding.figures[:3]] == pytest.approx([float("nan")] * 3, nan_ok=True)
    assert "990" not in str([e.answer for e in finding.evidence]) and "ordinary" not in finding.evidence[0].answer
    assert finding.next_steps == [
        "First: look at the sheet:  qckit log correct samples H261120-A-2 nauplii VALUE --reason TEXT"
    ]


def test_a_corrected_count_is_judged_again(tenfold_count):
    with open_log(tenfold_count) as log:
        log.correct("samples", "H261120-A-2", "nauplii", 124, by="km", reason="a digit too many")
    assert lines(tenfold_count, "counts")[0].startswith("A 88 %")


def test_a_cone_of_a_test_whose_count_cannot_be_is_left_out_of_the_verdict(two_cones):
    folder = two_cones([2.0] * 4, counts={2: [COUNTS[0], (1240, 2, 15, 80), COUNTS[2]]})
    with open_log(folder) as log:
        for name in log.hatches()["hatch"]:
            log.correct("hatches", name, "purpose", "standard test", by="km", reason="a test")
        (name,) = log.samples().loc[log.samples()["nauplii"] == 1240, "hatch"]
    finding = load_site(folder).new_lot("L-7")
    said = [
        text for text in finding.left_out if text.startswith(f"{name}: its counts make 987\u202f000 nauplii per gram")
    ]
    assert len(said) == 1 and "qckit log correct samples" in said[0]
    assert next(f for f in finding.figures if "per gram" in f.label).value == pytest.approx(243_000, rel=0.05)


def test_a_wrong_month_is_one_question_with_one_command_that_mends_it(two_cones, tmp_path):
    from click.testing import CliRunner

    from qckit.cli import command

    folder, sheet = two_cones([2.0]), tmp_path / "day.csv"
    rows = ["2026-12-21,A,2,L-7,120,3,12,76", ",A,,,124,2,15,80", ",B,2,,121,3,14,70"]
    sheet.write_text("\n".join(["date,cone,grams,lot,nauplii,umbrella,cysts,shells", *rows]), "utf-8")
    clock = {"now": lambda: "2026-11-21T09:30:00+00:00"}
    with open_log(folder, **clock) as log:
        notes = import_sheets(log, [sheet], by="km").notes
        step = int(log.steps()["step"].max())
        mend = f"qckit log withdraw steps {step} --reason TEXT"
        said = (
            f"step {step}: its 2 hatches and 3 samples are dated 2026-12-20 to 2026-12-21, still to come. Is the month "
            f"right? If not, take all of it back:  {mend};  and enter it again. If it is right, set the computer's clock."
        )
        assert [note for note in notes if "still to come" in note] == [said]
        (found,) = log.check().itertuples()
        assert (found.table, found.key) == ("steps", str(step)) and mend in found.what_to_do
    done = CliRunner().invoke(command, [*mend.split()[1:-1], "the month", "--site", str(folder), "--by", "km"])
    assert done.exit_code == 0 and f"steps {step}: withdrawn (5 rows" in done.output
    with open_log(folder, **clock) as log:
        assert log.check().empty and log.hatches()["hatch"].tolist() == ["H261120-A"]
        sheet.write_text(sheet.read_text("utf-8").replace("2026-12-21", "2026-11-20"), "utf-8")
        assert import_sheets(log, [sheet], by="km").added == {"hatches": 2, "samples": 3}
    unknown = CliRunner().invoke(command, ["log", "withdraw", "steps", "77", "--reason", "x", "--site", str(folder)])
    assert "steps 77: no such step; the newest is" in str(unknown.exception)


def test_import_and_page_of_a_hatch_give_it_one_range(two_cones):
    """The import said 113 000 to 146 000 of a hatch, and its page 110 000 to 140 000."""
    site = load_site(two_cones([2.0] * 4, counts={3: [(60, 3, 72, 46), (74, 2, 65, 40), (57, 3, 74, 37)]}))
    (said,) = counted_words(counted_hatches_of(site, ["H261119-B"]))[:1]
    pct, _, per_g = site.poor_hatch("H261119-B").figures[:3]
    shown = [estimated(pct.value, pct.low, pct.high, unit="%", most=0), estimated(per_g.value, per_g.low, per_g.high)]
    assert f"B {shown[0]}, {shown[1]} nauplii per g" in said


def test_a_site_of_two_cones_is_asked_for_a_test_of_both(tmp_path):
    folder = found_site(tmp_path / "site", Answers(cones="A, B", people="km", count_at="8", feeds="8, 15.30"))
    with open_log(folder) as log:
        log.add("lots", pd.DataFrame([{"lot": "L-7", "opened": "2026-11-19"}]), by="km")
        with pytest.raises(InputError, match=r"L-7 is a lot, and .* qckit log evidence L-7 FOLDER"):
            log.history("L-7")
    with pytest.raises(InputError, match=r"Run a standard test of both cones: start it"):
        load_site(folder).dose("L-7", day=NOW)
    readme = (folder / "README.txt").read_text("utf-8")
    assert "counts at 08:00;" in readme and "      both cones, 28 C, 33 ppt;" in readme
    protocol = load_site(folder).settings.protocol
    assert (protocol.count_at, protocol.feed_at) == ("08:00", "08:00, 15:30")


def test_times_with_blanks_between_are_told_of_commas(tmp_path):
    with pytest.raises(InputError) as error:
        found_site(tmp_path / "site", Answers(feeds="8:00 15:00"))
    assert str(error.value).endswith(
        "feed_at has '8:00 15:00', which is no time of day. Write it like 09:00. Several have commas between: 8:00, 15:00."
    )


def test_no_time_from_harvest_to_feed_is_asked_about(two_cones):
    folder = two_cones([2.0, 2.0])
    path = folder / "qckit.toml"
    path.write_text(path.read_text("utf-8").replace("handling_h = 1.0", "handling_h = 0"), "utf-8")
    with open_log(folder) as log:
        (found,) = log.check().itertuples()
    assert (found.key, found.what) == (
        "handling_h",
        "is 0: as if what is ready were fed at once, without settling and rinsing",
    )


def test_who_counted_on_a_day_sheet_started_its_hatch_too(two_cones, tmp_path):
    folder, sheet = two_cones([2.0]), tmp_path / "day.csv"
    rows = ["2026-11-21,B,2,L-7,120,3,12,76,km", ",B,,,124,2,15,80,"]
    sheet.write_text("\n".join(["date,cone,grams,lot,nauplii,umbrella,cysts,shells,Counted by", *rows]), "utf-8")
    with open_log(folder) as log:
        import_sheets(log, [sheet], by="ab")
        assert log.hatches(hatch="H261120-B")["operator"].tolist() == ["km"]
        assert log.samples(hatch="H261120-B")["counter"].tolist() == ["km", "km"]
