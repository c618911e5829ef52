"""The day's page: what is due, what counts say, what to start; on a terminal, as HTML, as data."""

import datetime as dt
import json
import math
from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest
from invented_day import at, counts_of

from qckit.day.entry.harvest_records import Harvest
from qckit.day.page.html import day_page
from qckit.day.page.screen import screen_lines
from qckit.day.page.starting import Start, plan_start
from qckit.day.page.study import study_day
from qckit.day.words import answer, day_lines, start_words
from qckit.errors import InputError
from qckit.hatch.dose.feeds import FeedDue
from qckit.site import load_site
from qckit.verdicts.poor_hatch.verdict import Suspicion


def plan(lot, nauplii):
    """A dose of 200,000 nauplii to feed from a gram."""
    return SimpleNamespace(grams=nauplii / 200_000, basis="test", warnings=(), sentence="from the test")


def day_of(folder, now, **options):
    return study_day(load_site(folder).reload().tables, now=now, plan=plan, **options)


def test_a_count_that_is_due_and_what_to_start(bench):
    page = day_of(bench.site.folder, "2026-11-20T08:40")
    assert [state.state for state in page.hatches if state.hatch.startswith("H261119")] == ["to count"] * 2
    assert page.start.code == "start" and page.start.lot == "L-1"
    assert page.start.grams == pytest.approx(2_000_000 / 200_000)
    assert page.start.by == at("2026-11-20T09:00")
    assert answer(page) == "Start 10.0 g in A by 09:00."
    covered = replace(page, start=replace(page.start, code="covered", feeds=(at("2026-11-21T10:00"),)))
    assert answer(covered) == "Count A and B; nothing to start: tomorrow's feeds are covered."
    assert answer(replace(covered, hatches=())) == "Nothing to start: tomorrow's feeds are covered."


def test_seconds_do_not_make_a_start_too_late(bench):
    """A start typed for 10:00 stands at 10:00:00: the last minute in which a feed is reached counts whole."""
    assert day_of(bench.site.folder, "2026-11-20T10:00:30").start.missed == ()
    late = day_of(bench.site.folder, "2026-11-20T10:01")
    assert late.start.missed == (at("2026-11-21T10:00"),)
    assert "Too late for tomorrow 10:00: what is started now can be fed from tomorrow 11:01." in [
        line.text for line in day_lines(late)
    ]


@pytest.mark.parametrize("minutes", [0, 60, 61])
def test_what_may_still_be_started_is_given_to_the_feed_once_it_is(bench, minutes):
    """The page before a start and the page after it keep to the same hour of grace."""
    page = day_of(bench.site.folder, "2026-11-20T09:00")
    now = at("2026-11-20T09:00") + dt.timedelta(minutes=minutes)
    feed, protocol = at("2026-11-21T10:00"), bench.settings.protocol
    start = plan_start(bench.settings, list(page.lots), list(page.feeds), [], now=now, plan=plan)
    state = replace(page.hatches[0], started=now, ready=now + dt.timedelta(hours=protocol.incubation_h), feed_by=feed)
    assert state.can_feed(feed, protocol.handling_h) == (feed not in start.missed) == (minutes < 61)


def test_todays_counts_against_the_lots_usual(bench):
    bench.count("H261119-A", counts_of(1))
    bench.count("H261119-B", [(30, 40, 40, 50), (28, 42, 41, 52), (31, 39, 44, 50)])
    page = bench.study()
    codes = {one.cone: one.code for one in page.judged}
    assert codes == {"A": "usual", "B": "poor"}
    assert page.judged[0].usual_low < 83 < page.judged[0].usual_high
    lines = screen_lines(page)
    assert any("B 2" in line and "poor" in line and "!" in line for line in lines)
    assert any("qckit report poor-hatch H261119-B" in line for line in lines)


def test_a_hatch_that_is_low_per_gram_is_not_set_beside_its_percentage(bench):
    """'A 83 %, poor (usually 83 %, 78 to 87)' puzzled: its nauplii per gram were poor, and no word said so."""
    bench.count("H261119-A", [(40, 1, 6, 38), (42, 1, 7, 40), (40, 2, 7, 35)])  # the usual shares of half as many
    (one,) = bench.study().judged
    assert one.code == "poor" and one.is_low_per_g and one.usual_low < one.hatch_pct < one.usual_high
    (line,) = lines_of(bench.page, "counts")
    per_g = (40 + 42 + 40) / 3 / 250 * 20_000_000 / 27
    assert one.nauplii_per_g == pytest.approx(per_g) and one.per_g_low > per_g
    assert line.startswith("A 84 %, poor per gram") and "(120\u202f000 nauplii; L-1 usually 2" in line
    assert "%" not in line.split("(")[1]
    bench.count("H261119-B", [(30, 40, 40, 50), (28, 42, 41, 52), (31, 39, 44, 50)])
    other = next(one for one in bench.study().judged if one.cone == "B")
    assert not other.is_low_per_g and "per gram" not in lines_of(bench.page, "counts")[1]


def lines_of(page, section):
    return [line.text for line in day_lines(page) if line.section == section]


def test_the_suspicion_is_named_where_it_is_earned_and_only_then(bench):
    bench.count("H261119-A", counts_of(1))
    bench.count("H261119-B", [(30, 40, 40, 50), (28, 42, 41, 52)])
    asked = []

    def suspect(hatch, *, tables, counts):
        asked.append(hatch)
        return Suspicion("cold", p, "too cold")

    p = 0.8
    page = day_of(bench.site.folder, "2026-11-20T09:30", suspect=suspect)
    assert asked == ["H261119-B"] and "B 26 %, too cold" in answer(page)
    p = 0.3
    assert "B 26 %, poor" in answer(day_of(bench.site.folder, "2026-11-20T09:30", suspect=suspect))


def test_a_quiet_day_is_five_lines(bench):
    for cone in "AB":
        bench.count(f"H261119-{cone}", counts_of(2))
    bench.harvest("H261119-A", Harvest(1000, {"nauplii": 400}), taken=at("2026-11-20T09:20"))
    bench.harvest("H261119-B", Harvest(1000, {"nauplii": 400}), taken=at("2026-11-20T09:20"))
    for cone in "AB":
        bench.start(lot="L-1", cone=cone, grams=27, at=at("2026-11-20T09:00"))
    bench.feed("H261119-A", 1_000_000, fed=at("2026-11-20T10:00"))
    bench.feed("H261119-B", 1_000_000, fed=at("2026-11-20T16:00"))
    tables = load_site(bench.site.folder).tables
    test = tables.hatches.head(1).assign(hatch="T-1", purpose="standard test", started="2026-11-15T09:00:00+00:00")
    import pandas as pd

    quiet = tables.but(hatches=pd.concat([tables.hatches, test], ignore_index=True))
    page = study_day(quiet, now="2026-11-20T17:00", plan=plan)
    frozen = [chore for chore in page.chores if chore.code != "baseline"]  # twenty-six hatches wait for their limits
    assert frozen == []
    import dataclasses

    lines = screen_lines(dataclasses.replace(page, chores=(), judged=page.judged[:1]))
    assert len(lines) == 5, lines


def not_fed(page):
    return [line.text for line in day_lines(page) if "not entered" in line.text]


def test_a_feed_that_nobody_entered_is_asked_for_where_feeds_are_entered(bench):
    folder = bench.site.folder
    assert not_fed(day_of(folder, "2026-11-21T08:30")) == []  # a site that keeps no feeds
    for cone in "AB":
        bench.count(f"H261119-{cone}", counts_of(2))
    bench.feed("H261119-A", 1_000_000, fed=at("2026-11-20T09:30"))
    assert not_fed(day_of(folder, "2026-11-20T16:30")) == []  # not over
    asked = ["The feed of today 16:00 was not entered: enter what was given, if it was."]
    assert not_fed(day_of(folder, "2026-11-20T17:30")) == asked
    asked = ["The feeds of yesterday 16:00 and today 10:00 were not entered: enter what was given, if they were."]
    assert not_fed(day_of(folder, "2026-11-21T11:30")) == asked
    bench.feed("H261119-B", 1_000_000, fed=at("2026-11-20T16:10"))
    assert not_fed(day_of(folder, "2026-11-21T08:30")) == []
    assert not_fed(day_of(folder, "2026-12-05T08:30")) == []  # given up long ago


def test_a_feed_of_the_day_before_can_still_be_entered(bench):
    bench.count("H261119-A", counts_of(2))
    bench.harvest("H261119-A", Harvest(1000, {"nauplii": 400}), taken=at("2026-11-20T09:20"))
    from qckit.day.entry.bench import Bench

    with Bench(bench.site.folder, by="op1", now="2026-11-21T11:00") as later:
        assert "H261119-A" in [state.hatch for state in later.feedable()]


def test_no_start_is_told_now_where_no_cone_is_free(bench):
    for cone in "AB":
        bench.start(lot="L-1", cone=cone, grams=2, at=at("2026-11-20T09:00"))
    page = bench.study()
    assert page.start.cones == () and page.start.code == "start"
    assert "once a cone is free" in answer(page) and "once a cone is free" in start_words(page.start, page.now)
    assert any(line.text.endswith("and none is free before tomorrow 09:00.") for line in day_lines(page))
    assert "once a cone is free (tomorrow 09:00)" in answer(page)  # not: by 09:00 of today


def test_the_limits_to_freeze_are_those_of_a_month_with_hatches(bench):
    page = day_of(bench.site.folder, "2026-12-02T08:30")
    (line,) = [line for line in day_lines(page) if "No limits" in line.text]
    assert line.do == "qckit report month 2026-11 --freeze-baselines"


def test_the_screen_keeps_to_80_by_24(bench):
    page = bench.study()
    import dataclasses

    from qckit.day.page.chores import Chore

    many = tuple(Chore("missing photos", n=9, names=tuple(f"photo-{i}.jpg" for i in range(9))) for _ in range(20))
    lines = screen_lines(dataclasses.replace(page, chores=many))
    assert len(lines) <= 23 and max(map(len, lines)) <= 80
    assert "more:  qckit today --html day.html" in lines[-1]


def test_old_nauplii_are_said_to_be_so(bench):
    bench.count("H261119-A", counts_of(2))
    bench.harvest("H261119-A", Harvest(1000, {"nauplii": 400}), taken=at("2026-11-20T09:20"))
    page = day_of(bench.site.folder, "2026-11-21T11:00")
    assert page.hatch("H261119-A").state == "too old"
    assert "Do not feed A (H261119-A): its nauplii are 26 h old." in [line.text for line in day_lines(page)]
    assert not any(h == "H261119-A" for feed in page.feeds for h, _, _ in feed.parts)
    bench.study()
    assert bench.too_old("H261119-A", at("2026-11-21T11:00")) == (
        "The nauplii of A are 26 h old, past your limit of 24 h."
    )
    settings = replace(bench.settings, protocol=replace(bench.settings.protocol, feed_at=""))
    unfed = study_day(load_site(bench.site.folder).tables.but(settings=settings), now="2026-11-21T11:00", plan=plan)
    lines = [line.text for line in day_lines(unfed)]
    assert "A (H261119-A): its nauplii are 26 h old, past your limit." in lines
    assert "feed" not in " ".join(lines).lower()


def test_feeds_are_given_the_oldest_nauplii_first(bench):
    page = day_of(bench.site.folder, "2026-11-20T08:40")
    today = [feed for feed in page.feeds if feed.at.date() == dt.date(2026, 11, 20)]
    assert [feed.parts[0][0] for feed in today] == ["H261119-A", "H261119-A"]
    assert [feed.nauplii for feed in today] == [1_000_000.0, 1_000_000.0]
    assert not any(feed.is_short for feed in today)


def due_lines(page):
    return [line.text for line in day_lines(page) if line.section == "due"]


def test_the_rest_of_a_feed_that_was_given_in_part_is_still_asked_for(bench, typed):
    """300,000 of a million made the feed of 10:00 a done one, and the page went on to 16:00."""
    bench.count("H261119-A", counts_of(1))
    bench.harvest("H261119-A", Harvest(1000, {"nauplii": 300}), taken=at("2026-11-20T09:00"))
    bench.feed("H261119-A", 300_000, fed=at("2026-11-20T09:05"))
    fed = day_of(bench.site.folder, "2026-11-20T10:05")
    (ten,) = [feed for feed in fed.feeds if feed.at == at("2026-11-20T10:00")]
    assert (ten.given, ten.rest, ten.is_done) == (300_000, 700_000, False)
    assert (
        "Feed 10:00: 300\u202f000 of 1.0 M given, 700\u202f000 still to give, 700\u202f000 there "
        "(H261119-A 700\u202f000 harvested)." in [line.replace("(A ", "(H261119-A ") for line in due_lines(fed)]
    )
    (sixteen,) = [feed for feed in fed.feeds if feed.at == at("2026-11-20T16:00")]
    assert sixteen.parts[0] == ("H261119-A", "harvested", 200_000.0)  # what the rest of the first one leaves
    assert any(line.startswith("Feed 10:00: ") for line in due_lines(day_of(bench.site.folder, "2026-11-20T15:00")))
    assert "still to give" not in " ".join(due_lines(day_of(bench.site.folder, "2026-11-21T09:00")))  # only that day
    bench.study()
    asked = typed("4", "1", "9:08", "").asked
    assert "million nauplii" in asked and bench.log.feeds()["nauplii"].tolist() == [300_000, 700_000]
    assert not any("Feed 10:00" in line for line in due_lines(bench.page))
    assert next(feed for feed in bench.page.feeds if feed.at == at("2026-11-20T10:00")).is_done


def test_a_rest_that_is_given_hours_later_is_taken_for_it(bench):
    """Given at noon it lay near no feed, and the page asked all day for what the animals had."""
    bench.count("H261119-A", counts_of(1))
    bench.feed("H261119-A", 300_000, fed=at("2026-11-20T10:05"))
    bench.feed("H261119-A", 200_000, fed=at("2026-11-20T12:00"))
    page = day_of(bench.site.folder, "2026-11-20T12:05")
    assert any(
        line.startswith("Feed 10:00: 500\u202f000 of 1.0 M given, 500\u202f000 still") for line in due_lines(page)
    )
    bench.feed("H261119-A", 500_000, fed=at("2026-11-20T12:30"))
    bench.feed("H261119-A", 100_000, fed=at("2026-11-20T13:00"))  # beyond what the feed needs, and near no other
    page = day_of(bench.site.folder, "2026-11-20T13:05")
    assert not any("Feed 10:00" in line for line in due_lines(page))
    assert [feed.given for feed in page.feeds[:2]] == [1_000_000, 0]


def test_a_small_rest_is_not_offered_as_nothing(bench):
    """Two decimals of a million made 0.00 of it, and Enter fed nothing."""
    bench.count("H261119-A", counts_of(1))
    state = next(state for state in bench.feedable() if state.hatch == "H261119-A")
    assert bench.millions_offered(state) == "1.00"
    bench.page = replace(bench.page, feeds=[FeedDue(at("2026-11-20T10:00"), 40_000, 0.0, given=35_600)])
    assert bench.millions_offered(state) == "0.0044"
    assert bench.millions_offered(replace(state, nauplii=math.nan)) == ""


def test_a_feed_within_a_twentieth_is_whole(bench):
    bench.count("H261119-A", counts_of(1))
    bench.feed("H261119-A", 960_000, fed=at("2026-11-20T09:05"))
    assert not any("Feed 10:00" in line for line in due_lines(bench.page))


def long_room(bench, *, hours, feeds, count_at="09:00"):
    """The tables of the room as of a site with another incubation and other times of feeds."""
    changed = replace(bench.settings.protocol, incubation_h=hours, feed_at=feeds, count_at=count_at)
    tables = load_site(bench.site.folder).reload().tables
    return tables.but(settings=replace(tables.settings, protocol=changed), hatches=tables.hatches.iloc[:-2])


def test_a_start_is_asked_for_each_feed_that_only_a_start_of_this_day_reaches(bench):
    """With 28 h to the harvest, feeds of 08:30 were too late on every day, and nobody was told to start for them."""
    tables = long_room(bench, hours=28.0, feeds="08:30, 16:00")
    page = study_day(tables, now="2026-11-20T09:30", plan=plan)
    assert page.start.missed == (at("2026-11-21T08:30"),)
    assert page.start.feeds == (at("2026-11-21T16:00"), at("2026-11-22T08:30"))
    assert page.start.grams == pytest.approx(2 * 1_000_000 / 200_000)
    assert start_words(page.start, page.now) == (
        "10.0 g of L-1 in A by 11:00, for tomorrow 16:00 and Sun 08:30 (2.0 M)."
    )
    later = study_day(tables, now="2026-11-20T13:00", plan=plan).start
    assert later.feeds == (at("2026-11-22T08:30"),) and len(later.missed) == 2
    # and it can be fed then: started now, it is old enough and not too old
    protocol, started = tables.settings.protocol, at("2026-11-20T13:00")
    ready = started + dt.timedelta(hours=protocol.incubation_h)
    assert ready + dt.timedelta(hours=protocol.handling_h) <= later.feeds[0]
    assert later.feeds[0] - ready <= dt.timedelta(hours=protocol.max_age_h)


def test_one_feed_lacks_and_two_lack():
    now, sunday = at("2026-11-20T09:30"), (at("2026-11-22T08:30"), at("2026-11-22T16:00"))
    one, two = (start_words(Start("no lot", 1e6, feeds=sunday[:n]), now) for n in (1, 2))
    assert one == "The feed of Sun 08:30 lacks 1.0 M, and no lot is open: enter one."
    assert two == "The feeds of Sun 08:30 and 16:00 lack 1.0 M, and no lot is open: enter one."


@pytest.mark.parametrize(
    ("hours", "feeds"), [(28.0, "08:30, 16:00"), (24.0, "10:00, 16:00"), (36.0, "09:00"), (48.0, "10:00")]
)
def test_each_feed_is_asked_for_by_the_starts_of_some_morning(bench, hours, feeds):
    """Whoever starts at half past nine each day what the page says leaves out no feed."""
    tables = long_room(bench, hours=hours, feeds=feeds)
    asked = set()
    for days in range(4):
        now = at("2026-11-20T09:30") + dt.timedelta(days=days)
        asked |= set(study_day(tables, now=now.isoformat(), plan=plan).start.feeds)
    wanted = [dt.time.fromisoformat(text) for text in feeds.split(", ")]
    for time in wanted:  # of the days that the first morning can reach whole, to the last one's
        assert dt.datetime.combine(dt.date(2026, 11, 23), time, tzinfo=at("2026-11-20T09:30").tzinfo) in asked


def test_a_poor_lot_is_passed_over_and_no_dose_is_said(bench):
    from qckit.day.page.starting import LotInUse

    page = day_of(bench.site.folder, "2026-11-20T08:40")
    old = LotInUse("L-0", "2025-01-01", None, 50.0, True)
    start = plan_start(bench.settings, [old, *page.lots], list(page.feeds), list(page.hatches), now=page.now, plan=plan)
    assert (start.lot, start.passed_over, start.without_dose) == ("L-1", ("L-0",), ())

    def knows_one(lot, nauplii):
        if lot != "L-1":
            raise InputError(f"lot {lot}: nothing of it was hatched yet")
        return plan(lot, nauplii)

    unknown = [LotInUse(name, "2025-01-01", None, math.nan, False) for name in ("L-00", "L-01")]
    start = plan_start(
        bench.settings, [*unknown, old, *page.lots], list(page.feeds), list(page.hatches), now=page.now, plan=knows_one
    )
    assert (start.lot, start.passed_over, start.without_dose) == ("L-1", ("L-0",), ("L-00", "L-01"))
    texts = [line.text for line in day_lines(replace(page, start=start))]
    assert "L-0 is older and open, but hatches below your minimum." in texts
    assert "L-00 and L-01 are open, too, but have no dose yet." in texts

    def refuses(lot, nauplii):
        raise InputError(f"lot {lot}: nothing is known")

    start = plan_start(
        bench.settings, list(page.lots), list(page.feeds), list(page.hatches), now=page.now, plan=refuses
    )
    assert (start.code, start.why_not) == ("no dose", "lot L-1: nothing is known")


def test_the_page_escapes_and_the_data_is_json(bench):
    import dataclasses

    page = dataclasses.replace(bench.page, site="<b>room</b>")
    html = day_page(page)
    assert "<b>room</b>" not in html and "&lt;b&gt;room&lt;/b&gt;" in html and "http" not in html
    data = json.loads(json.dumps(page.to_dict()))
    assert data["hatches"][-1]["hatch"] == "H261119-B" and data["now"].startswith("2026-11-20T09:1")


def test_a_time_that_is_none_is_one_sentence(bench):
    with pytest.raises(InputError) as error:
        day_of(bench.site.folder, "tomorrow")
    assert str(error.value) == "now: 'tomorrow' is not a time with its date. Write it like 2026-11-04 09:00."


def test_the_page_writes_nothing(bench):
    before = bench.log.steps()
    day_of(bench.site.folder, "2026-11-20T08:40")
    assert bench.log.steps().equals(before)


def test_a_counter_that_nobody_checked_is_named():
    from qckit.day.page.chores import Chore, _unchecked_counter
    from qckit.day.words import _CHORES

    samples = pd.DataFrame({"sample": ["a", "b"], "taken": ["2026-11-04T09:00:00Z", "2026-11-05T09:00:00Z"]})
    photos = pd.DataFrame({"sample": ["a", "b"], "counter_version": ["1.11", "1.11+site-ab"]})
    checks = pd.DataFrame({"counter_version": ["1.11"]})
    assert _unchecked_counter(photos, samples, checks) == "1.11+site-ab"
    assert _unchecked_counter(photos, samples.head(1), checks) == ""
    assert _unchecked_counter(photos, samples, pd.DataFrame({"counter_version": ["1.11", "1.11+site-ab"]})) == ""
    assert _unchecked_counter(photos, samples, pd.DataFrame({"counter_version": [None]})) == ""
    text, command = _CHORES["camera check"](Chore("camera check", subject="1.11+site-ab", days=3), "2026-11")
    assert (text, command) == (
        "Check the camera against hand counts (3 days ago, before photos were counted with 1.11+site-ab).",
        "qckit camera check",
    )


def test_dates_of_warnings_stand_in_the_sites_order_and_names_stay(bench):
    page = day_of(bench.site.folder, "2026-11-20T08:40")
    text = "Lot L-2026-11-01 was rejected: its standard test of 2026-10-01 gave 85 %."
    start = replace(page.start, lot="L-2026-11-01", dose_warnings=(text,), dose_sentence="By the test of 2026-10-01.")
    page = replace(page, date_order="dmy", start=start)
    assert text.replace("2026-10-01", "1 Oct 2026") in [line.text for line in day_lines(page)]
    assert "Dose: By the test of 1 Oct 2026." in day_page(page)
