"""Histories by mechanisms apart from the kit's: the same every time, true to their truth, and judged without harm."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.append(str(Path(__file__).resolve().parent))

import judge
import make

CAUSED = ("too_salt reading", "too_fresh reading", "crowded sheet", "bleach_left note")


def asked(tmp_path, seed, k, what="poor"):
    """What the kit says of one poor hatch, judged."""
    tables, truth = make.history(seed, what, k)
    site = judge.make_site(tmp_path / f"site-{seed}-{k}", tables)
    return judge.judge_poor(truth, judge.ask_poor(site, tables, truth))


def test_the_same_seed_gives_the_same_sheets_and_another_seed_others():
    one, again, other = (make.history(seed, "poor", 0)[0]["samples"] for seed in (1, 1, 2))
    assert one.equals(again)
    assert not one.equals(other)


@pytest.mark.parametrize("k", range(0, len(make.POOR), 9))
def test_a_poor_hatch_lies_below_the_hatches_before_it(k):
    tables, truth = make.history(5, "poor", k)
    per_g = make.figures(tables)["per_g"]
    assert truth["hatch"] == per_g.index[-1]
    assert per_g.iloc[-1] < per_g.iloc[-25:-1].median()
    assert 0.1 < truth["fall"] < 0.9


def test_a_change_moves_what_it_says():
    tables, truth = make.history(5, "changes", make.CHANGES.index("scale_reads_high"))
    f, struck = make.figures(tables), truth["struck"]
    rest = f.drop(struck)
    assert np.log(f.loc[struck, "per_g"]).mean() < np.log(rest["per_g"]).mean()
    assert truth["points"] == pytest.approx(0.0)
    assert truth["share"] < -0.1


@pytest.mark.parametrize("what", CAUSED)
def test_a_cause_that_the_sheet_betrays_comes_first(what, tmp_path):
    row = asked(tmp_path, 1, make.POOR.index(what))
    assert row["first"], row
    assert not row["wrong"]


def test_where_only_nauplii_were_counted_no_cause_is_claimed(tmp_path):
    assert not asked(tmp_path, 1, len(make.POOR))["accuses"]


def hidden(what, which=0):
    return make.HIDDEN.index(what) * make.HIDDEN_EACH + which


def test_a_bloom_takes_the_oxygen_in_the_last_hours_and_a_cold_hall_strikes_all_cones_of_its_day():
    tables, truth = make.history(1, "hidden", hidden("bloom reading", 1))
    r = tables["readings"]
    own = r[(r["hatch"] == truth["hatch"]) & (r["quantity"] == "oxygen")].sort_values("taken")["value"].tolist()
    assert len(own) == 3 and min(own[:2]) > 5 > own[2]
    runs = [make.start(np.random.default_rng(3), 40, 1, lambda site: site.__dict__.update(a_day=2)) for _ in range(2)]
    day = np.flatnonzero(runs[0]["h"]["day"] == runs[0]["h"]["day"].iloc[-1])
    assert len(day) == 2
    make.faults.strike("cold_room", runs[0], day, 1.0, "reading", np.random.default_rng(1))
    assert (runs[0]["runs"].end_c[day] < runs[1]["runs"].end_c[day] - 3).all()


@pytest.mark.parametrize(
    ("what", "which"), [("bloom reading", 0), ("bloom both", 1), ("air_weak_late both", 0), ("soap note", 1)]
)
def test_a_bloom_weak_air_and_soap_are_told_apart(what, which, tmp_path):
    row = asked(tmp_path, 1, hidden(what, which), "hidden")
    assert row["first"] and not row["wrong"], row


def test_soap_in_a_cold_hall_is_told_beside_the_cold(tmp_path):
    row = asked(tmp_path, 1, hidden("soap note + cold_room reading", 1), "hidden")
    assert set(row["named"].split(",")) == {"cold", "bleached"}, row


@pytest.mark.slow
def test_most_causes_come_first_and_luck_is_not_accused(tmp_path):
    every = range(len(make.POOR) + len(make.BLIND) + make.LUCK)
    rows = [asked(tmp_path, 3, k) for k in every]
    clear = [r for r in rows if r["kind"] == "caused" and r["decidable"]]
    assert sum(r["first"] for r in clear) >= 0.65 * len(clear)
    assert sum(r["wrong"] for r in rows) <= 0.1 * sum(r["accuses"] for r in rows) + 1
    assert sum(r["accuses"] for r in rows if r["kind"] in ("luck", "blind")) <= 1
