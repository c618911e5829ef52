"""What is to be expected of a lot, and what is usual for it: one answer on every page."""

import math

import numpy as np
import pandas as pd
import pytest

from qckit.day.page.judging import judge_hatch
from qckit.hatch import cone_metrics
from qckit.practice.month_rooms import draw_room, draw_room_constants
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.verdicts.lots.expected import expected_of_lot, expected_words
from qckit.verdicts.lots.usual import counted_hatches
from qckit.verdicts.month.study import study_month
from qckit.verdicts.new_lot.other_lots import lot_world
from qckit.verdicts.poor_hatch.study import study_hatch


@pytest.fixture(scope="module")
def room():
    rng = np.random.default_rng(4)
    for _ in range(20):  # a room that changes its lot on the way
        tables = SiteTables(settings=Settings(), **draw_room(draw_room_constants(rng, days=120)))
        if tables.hatches["lot"].nunique() > 1:
            return tables
    pytest.fail("no room changed its lot")


@pytest.fixture(scope="module")
def counts(room):
    return counted_hatches(room.samples, room.hatches, room.lots)


def test_month_poor_hatch_and_new_lot_expect_the_same_and_say_it_alike(room, counts):
    newest, cones = counts.iloc[-1], cone_metrics(room.samples, room.hatches, room.lots)
    month = study_month(room, month=newest["started"][:7])
    case = study_hatch(room, hatch=newest["hatch"], for_page=False)
    told = {
        "month": month.lots[newest["lot"]].level.prospect,
        "poor hatch": case.world.prospect,
        "new lot": lot_world(room, cones, newest["lot"], cones[cones["hatch"] == newest["hatch"]]).expected,
    }
    first = told["month"]
    assert first.others and 50 < first.low_pct < first.pct < 100
    for e in told.values():
        np.testing.assert_allclose(e.figures, first.figures)
        assert expected_words(e) == expected_words(first)


def test_lots_that_came_later_say_nothing_of_an_earlier_one(room, counts):
    made = counts[counts["purpose"] == "production"].drop_duplicates("lot")  # sorted by start
    old, new = made["lot"].iloc[0], made["lot"].iloc[-1]
    day, end = made["started"].iloc[0], counts["started"].iloc[-1]
    first = expected_of_lot(counts, room.lots, old, before=day)
    assert first.others == ()
    np.testing.assert_allclose(expected_of_lot(counts, room.lots, old, before=end).figures, first.figures)
    # of the later one the earlier tells, as it was known on the day the later went into use, and no more afterwards
    begun = made["started"].iloc[-1]
    then, since = (expected_of_lot(counts, room.lots, new, before=at) for at in (begun, end))
    assert [name for name, *_ in then.others] == [name for name, *_ in since.others] == [old]
    np.testing.assert_allclose(since.figures, then.figures)
    # a lot that is only in tests is held against all that is known by the day of the question
    tests_only = counts.assign(purpose=counts["purpose"].where(counts["lot"] != old, "standard test"))
    assert expected_of_lot(tests_only, room.lots, old, before=end).others


def test_the_day_and_the_verdict_take_the_same_hatches_as_usual(room, counts):
    for hatch in counts["hatch"].iloc[[40, -1]]:
        judged = judge_hatch(counts, hatch)
        level = study_hatch(room, hatch=hatch, for_page=False).levels[0]
        assert (judged.usual_pct, judged.usual_low) == pytest.approx((level.usual, level.usual_low))


def test_a_claim_of_nothing_is_no_claim(room, counts):
    lot = counts["lot"].iloc[-1]
    rows = {"lot": list(room.lots["lot"]), "claimed_hatch_pct": 0.0, "claimed_nauplii_per_g": 0.0}
    nothing = expected_of_lot(counts, pd.DataFrame(rows), lot, before=counts["started"].max())
    without = expected_of_lot(counts, room.lots[["lot"]], lot, before=counts["started"].max())
    np.testing.assert_allclose(nothing.figures, without.figures)
    assert math.isnan(nothing.claim_pct)


def lots_of(claims):
    return pd.DataFrame({"lot": list(claims), "claimed_hatch_pct": list(claims.values())})


def test_a_claim_counts_less_what_other_lots_stayed_under_theirs(counts):
    old, new = counts["lot"].iloc[0], "N-1"
    gave = expected_of_lot(counts, None, new, before=counts["started"].iloc[-1]).others[0][1]
    honest, boast = (
        expected_of_lot(counts, lots_of({old: gave + gap, new: 90.0}), new, before=counts["started"].iloc[-1])
        for gap in (2.0, 14.0)
    )
    plain = expected_of_lot(counts, lots_of({}), new, before=counts["started"].iloc[-1])
    assert honest.pct > boast.pct + 2 and honest.source == "claim" and plain.source == "other lots"
    assert honest.logit_sd < plain.logit_sd


def test_without_other_lots_and_claims_the_trade_is_expected(counts):
    e = expected_of_lot(counts.iloc[:0], None, "N-1", before="2026-01-01T00:00:00+00:00")
    # 80 % of the full cysts hatch (common practice, no source): 1 / (1 + e^-1.70) of them open, 94 % of these go on
    assert e.pct == pytest.approx(80, abs=1) and e.source == "trade" and math.isnan(e.claim_pct)
    assert expected_words(e).endswith("by what lots usually give")
    # joined by hand: a normal prior and a normal estimate on the logit of the opened (Gelman et al. 2013, 2.5)
    with_claim = expected_of_lot(counts.iloc[:0], lots_of({"N-1": 85.0}), "N-1", before="2026-01-01T00:00:00+00:00")
    opened = 0.77 * (1 + math.exp(-2.8))  # 85 less 8 points
    guess, sd = math.log(opened / (1 - opened)), math.hypot(4, 7) / 100 * (1 + math.exp(-2.8)) / opened / (1 - opened)
    joined = (1.70 / 0.55**2 + guess / sd**2) / (1 / 0.55**2 + 1 / sd**2)
    assert with_claim.figures[0] == pytest.approx(joined, abs=0.02)
