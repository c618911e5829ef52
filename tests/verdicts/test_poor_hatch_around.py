"""What changed before a hatch, the ranking of factors, a later reading, and the next feed."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from qckit.practice import POOR_HATCH, invented_history
from qckit.practice.cases import simulate_case
from qckit.settings import FeedSettings, Settings, SiteSettings
from qckit.verdicts.poor_hatch.changes import describe_changes
from qckit.verdicts.poor_hatch.charts import count_table, factors_table, lengths_sentence, rest_sentences
from qckit.verdicts.poor_hatch.later import joined, later_reading
from qckit.verdicts.poor_hatch.verdict import explain_hatch

NOW = "2026-11-06T10:00:00+00:00"


@pytest.fixture(scope="module")
def history():
    return invented_history()


def explain(t, hatch=POOR_HATCH, **more):
    more = {"settings": Settings(), "now": NOW} | more
    return explain_hatch(t["lots"], t["hatches"], t["samples"], t["readings"], hatch=hatch, **more)


def test_changes_before_a_hatch_are_told(history):
    t = dict(history)
    own = t["hatches"]["hatch"] == POOR_HATCH
    t["hatches"] = t["hatches"].assign(
        cysts_g=t["hatches"]["cysts_g"].mask(own, 48.0),
        operator=t["hatches"]["operator"].mask(own, "op9"),
        aeration=t["hatches"]["aeration"].mask(own, "medium"),
    )
    t["samples"] = t["samples"].assign(counter=t["samples"]["counter"].mask(t["samples"]["hatch"] == POOR_HATCH, "2.0"))
    scales = pd.DataFrame({"camera": ["microscope"], "magnification": ["2x"], "set_at": ["2026-11-04T08:00:00+00:00"]})
    fixes = pd.DataFrame(
        {
            "table": ["samples"],
            "key": [f"{POOR_HATCH}-1"],
            "column": ["cysts"],
            "before": ["12"],
            "after": ["21"],
            "reason": ["digits swapped"],
        }
    )
    told = dict(
        describe_changes(t["lots"], t["hatches"], t["samples"], hatch=POOR_HATCH, scales=scales, corrections=fixes)
    )
    assert told["operator"] == "op9 began to start hatches with this hatch."
    assert told["cysts_g"].startswith("48 g where the cone's last hatches had 3")
    assert told["aeration"] == "The air was written down as medium; in the cone's last hatches strong."
    assert told["notes"] == "Only this hatch's field sheet says: fresh water mixed from a new bag of salt."
    assert told["counter"].startswith("It was counted by photo (2.0); in the sixty days before by ")
    assert told["scale"] == "The scale of microscope (2x) was set on 2026-11-04."
    assert told["correction"] == f"samples {POOR_HATCH}-1: cysts was corrected from 12 to 21 (digits swapped)."


def test_a_new_pack_and_a_quiet_day_are_told_apart(history):
    quiet = describe_changes(history["lots"], history["hatches"], history["samples"], hatch="H261105-D")
    assert quiet == []
    first = (
        history["hatches"].query("lot == 'K-121' and purpose == 'production'").sort_values("started")["hatch"].iloc[0]
    )
    told = describe_changes(history["lots"], history["hatches"], history["samples"], hatch=first)
    assert any(what == "pack" and "K-121 was opened" in said for what, said in told)


def test_factors_are_ranked_by_cost_then_by_how_unusual(history):
    finding = explain(history)
    table = factors_table(finding)
    assert table["factor"].iloc[0] == "pH" and table["points"].iloc[0] < -30
    costs = -table["points"].fillna(0).to_numpy()
    big = costs[costs >= 1]
    assert (np.diff(big) <= 0).all() and (costs[: len(big)] >= 1).all()
    assert {"cone", "operator", "days since opening", "incubation hours", "cysts per litre"} <= set(table["factor"])
    assert (table.loc[table["factor"] == "changed shortly before", "here"]).str.contains("new bag of salt").any()


def test_the_ageing_lots_days_since_opening_have_a_cost(history):
    old = history["hatches"].query("lot == 'K-118' and started > '2026-09-01'")["hatch"].iloc[-1]
    said = {row["what"]: row for row in explain(history, old).details["context"]}["pack"]
    assert said["points"] < -5 and "fell by about" in said["sentence"]


def test_the_day_line_says_whether_the_others_were_low_for_their_lots(history):
    line = next(e for e in explain(history).evidence if e.question.startswith("Were other cones"))
    assert line.answer == (
        "H261105-D (cone D, K-121) 84 %, usual 84 %. Low for their lots: none of them: it is this hatch alone."
    )
    cold = explain(history, "H260212-B")
    day = next(e for e in cold.evidence if e.question.startswith("Were other cones"))
    assert "all of them: the room, the water or the lot" in day.answer or "No other hatch" in day.answer


def test_count_table_and_lengths_are_said(history):
    finding = explain(history)
    assert list(count_table(finding)["result"]).count("ruled out") == 4
    assert lengths_sentence(finding) == "No photo of this hatch was measured, so nothing is known of lengths."


def _read_again(history, nauplii, umbrella, cysts):
    rows = history["samples"][history["samples"]["hatch"] == POOR_HATCH].query("kind == 'subsample'")
    later = rows.assign(sample=rows["sample"] + "-late", hours=48.0, nauplii=nauplii, umbrella=umbrella, cysts=cysts)
    return dict(history) | {"samples": pd.concat([history["samples"], later], ignore_index=True)}


def test_a_later_reading_tells_late_from_dead(history):
    row = {"hatch": POOR_HATCH, "hours": 24.0, "nauplii": 134, "umbrella": 253, "unhatched": 66}
    late, said = later_reading(_read_again(history, 95, 3, 15)["samples"], row)
    assert late["cold"] > 1 and said.endswith("it hatched on, so the unhatched were late, not dead.")
    dead, said = later_reading(_read_again(history, 34, 63, 17)["samples"], row)
    assert dead["cold"] < 1 and "hardly any hatched on" in said
    assert later_reading(history["samples"], row) == ({}, "")
    assert joined({"cold": 2.0}, {"cold": 3.0, "hot": 0.5}) == {"cold": 6.0, "hot": 0.5}
    finding = explain(_read_again(history, 34, 63, 17))
    assert finding.details["named"] == ["ph"]
    assert any(e.answer.startswith("Read again: 30 % at 48 h") for e in finding.evidence)


def test_what_would_be_known_after_each_outcome_is_said(history):
    check = explain(history).details["checks"][0]
    assert check["check"] == "ph meter" and "cone B" in check["plan"]
    assert check["then_yes"] == "the pH was too low above 95 %"
    assert check["then_no"] != check["then_yes"]


def test_the_days_feeds_are_covered_or_the_gap_is_dosed(history):
    feed = explain(history).details["feed"]
    assert feed["missing"] == 0 and feed["missing_day"] == pytest.approx(10e6 - feed["available"] - feed["other_cones"])
    there = "2.3 million nauplii here and 6.2 million in cone D: enough for the "
    assert feed["sentence"].startswith(f"{there}next feed of 5.0 million, but ")
    assert feed["sentence"].endswith(" g of K-121 in cone A now: ready about 2026-11-07 10:00.")
    local = replace(Settings(), site=SiteSettings(timezone="Asia/Tokyo"))
    assert explain(history, settings=local).details["feed"]["ready"] == "2026-11-07 19:00"
    small = replace(Settings(), feed=FeedSettings(nauplii_per_feed=1e6))
    plenty = explain(history, settings=small).details["feed"]["sentence"]
    assert plenty.startswith(f"{there}day (2 feeds of 1.0 million). That is ")


def test_a_dead_lot_is_not_dosed_by_itself(history):
    t = dict(history)
    own = t["samples"]["hatch"].isin(["H261105-B", "H261105-D"]) & (t["samples"]["kind"] == "subsample")
    t["samples"] = t["samples"].assign(
        nauplii=t["samples"]["nauplii"].mask(own, 35),
        umbrella=t["samples"]["umbrella"].mask(own, 2),
        cysts=t["samples"]["cysts"].mask(own, 75),
        shells=t["samples"]["shells"].mask(own, 32),
    )
    t["readings"] = t["readings"][t["readings"]["hatch"] != POOR_HATCH]
    t["hatches"] = t["hatches"].assign(ph=t["hatches"]["ph"].mask(t["hatches"]["hatch"] == POOR_HATCH))
    finding = explain(t)
    assert finding.details["named"] == ["embryos"]
    assert finding.details["feed"]["lot"] == "K-118" and "g of K-118" in finding.details["feed"]["sentence"]


def test_a_dead_lot_without_another_is_dosed_by_what_it_gave():
    t = simulate_case(np.random.default_rng(3), ("embryos",), (0.8,)).tables
    finding = explain(t, "X", photos=t["photos"], now="2026-04-01T10:00:00+00:00")
    feed, row = finding.details["feed"], {f.name: f for f in finding.figures}["nauplii_per_g"]
    assert finding.details["named"] == ["embryos"] and feed["lot"] == "P-1"
    assert feed["missing_day"] / feed["grams"] / 0.85 == pytest.approx(row.low, rel=0.01)


def test_a_hatch_low_per_gram_alone_is_told_by_its_grams():
    t = simulate_case(np.random.default_rng(3), ("weighing",), (0.8,)).tables
    finding = explain(t, "X", photos=t["photos"])
    assert "nauplii per gram where this lot usually gives" in finding.headline
    assert "(its hatching percentage, " in finding.headline


def test_frozen_limits_are_the_first_to_judge(history):
    from qckit import charts

    own = history["hatches"].query(
        "lot == 'K-121' and purpose == 'production' and '2026-08-01' < started < '2026-10-01'"
    )["hatch"]
    counts = history["samples"][history["samples"]["hatch"].isin(own)].query("kind == 'subsample' and hours < 30")
    sums = counts.groupby("hatch")[["nauplii", "umbrella", "cysts"]].sum()
    at = history["hatches"].set_index("hatch")["started"].reindex(sums.index)
    points = pd.DataFrame(
        {
            "label": sums.index,
            "at": at.to_numpy(),
            "group": "K-121",
            "count": sums["nauplii"].array,
            "size": sums.sum(axis=1).to_numpy(),
        }
    )
    row = charts.freeze(
        charts.set_baseline(points, "p prime", per=100),
        name="b1",
        chart="hatch_pct",
        set_by="op1",
        set_at="2026-10-01T10:00:00+00:00",
        lot="K-121",
    )
    limits = row if isinstance(row, pd.DataFrame) else pd.DataFrame([row])
    line = next(e for e in explain(history, limits=limits).evidence if e.question == "Against the frozen limits?")
    assert line.points == "for" and line.answer.startswith("29.6 % lies below the frozen limits ")
    assert line.answer.endswith("(baseline b1, set 2026-10-01 by op1).")
    none = next(e for e in explain(history).evidence if e.question == "Against the frozen limits?")
    assert none.answer == "No limits are frozen for this lot; its own earlier hatches stand in for them."


def test_what_the_list_of_causes_leaves_is_said(history):
    said = rest_sentences(explain(history))
    assert said[-1].startswith("Nothing but chance: 1 % or less. Something that is not on the list: ")
    sources = explain(history).details["sources"]
    assert len(sources) == len({s["code"] for s in sources}) > 15 and all(s["sign"] and s["source"] for s in sources)


def test_a_mix_that_no_cause_makes_is_called_something_else(history):
    t = dict(history)
    own = (t["samples"]["hatch"] == POOR_HATCH) & (t["samples"]["kind"] == "subsample")
    # far more full cysts than were weighed in, all umbrellas, no shells: no cause on the list does that
    t["samples"] = t["samples"].assign(
        nauplii=t["samples"]["nauplii"].mask(own, 60),
        umbrella=t["samples"]["umbrella"].mask(own, 400),
        cysts=t["samples"]["cysts"].mask(own, 2),
        shells=t["samples"]["shells"].mask(own, 20),
    )
    t["hatches"] = t["hatches"].assign(ph=t["hatches"]["ph"].mask(t["hatches"]["hatch"] == POOR_HATCH))
    t["readings"] = t["readings"][t["readings"]["hatch"] != POOR_HATCH]
    finding = explain(t)
    assert finding.verdict == "not-enough-evidence" and finding.details["probability"] is None
    assert "poor, and no cause that is known here fits (" in finding.headline
