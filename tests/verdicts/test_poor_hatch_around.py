"""What changed before a hatch, the ranking of factors, a later reading, and the next feed."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from poor_cases import explain as explain_of
from poor_cases import planted

from qckit.practice import POOR_HATCH, invented_history
from qckit.settings import FeedSettings, Settings, SiteSettings
from qckit.verdicts.lots.usual import counted_hatches
from qckit.verdicts.poor_hatch.charts import count_table, factors_table, lengths_sentence, rest_sentences
from qckit.verdicts.poor_hatch.conditions.changes import describe_changes

NOW = "2026-11-06T10:00:00+00:00"


@pytest.fixture(scope="module")
def history():
    return invented_history()


def explain(t, hatch=POOR_HATCH, **more):
    return explain_of(t, hatch, **({"now": NOW} | more))


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
    key = json.dumps([POOR_HATCH, "2026-11-05T09:00:00+00:00", "temperature"])  # a row that three columns name
    fixes = fixes.assign(table="readings", key=key, column="value", before="2.8", after="28")
    told = dict(describe_changes(t["lots"], t["hatches"], t["samples"], hatch=POOR_HATCH, corrections=fixes))
    assert told["correction"] == (
        f"readings {POOR_HATCH}, 2026-11-05T09:00:00+00:00, temperature: value was corrected from 2.8 to 28 "
        "(digits swapped)."
    )


def test_a_new_pack_and_a_quiet_day_are_told_apart(history):
    quiet = describe_changes(history["lots"], history["hatches"], history["samples"], hatch="H261105-D")
    assert quiet == []
    first = (
        history["hatches"].query("lot == 'K-121' and purpose == 'production'").sort_values("started")["hatch"].iloc[0]
    )
    told = describe_changes(history["lots"], history["hatches"], history["samples"], hatch=first)
    assert any(what == "pack" and "K-121 was opened" in said for what, said in told)


def test_what_a_log_begins_with_is_no_change(history):
    """A log of nine days named its only lot and its only person as what changed shortly before."""
    hatches = history["hatches"].sort_values("started")
    young = hatches[(hatches["lot"] == "K-121") & (hatches["started"] >= "2026-10-27")].assign(operator="op1")
    lots = history["lots"].assign(opened=None)
    hatch = young["hatch"].iloc[-1]
    told = describe_changes(lots, young, history["samples"], hatch=hatch)
    assert not {"pack", "operator"} & {what for what, _ in told}
    older = young.iloc[:2].assign(
        lot="K-118", operator="op2", hatch=["X-1", "X-2"], started="2026-10-20T09:00:00+00:00"
    )
    told = dict(describe_changes(lots, pd.concat([older, young]), history["samples"], hatch=hatch))
    assert told["pack"].startswith("K-121 has been in use for ") and told["operator"].startswith("op1 began to start")


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
    assert list(count_table(finding)["result"]).count("ruled out") >= 2
    assert lengths_sentence(finding) == "No photo of this hatch was measured, so nothing is known of lengths."


def _read_again(history, nauplii, umbrella, cysts):
    rows = history["samples"][history["samples"]["hatch"] == POOR_HATCH].query("kind == 'subsample'")
    later = rows.assign(sample=rows["sample"] + "-late", hours=48.0, nauplii=nauplii, umbrella=umbrella, cysts=cysts)
    return dict(history) | {"samples": pd.concat([history["samples"], later], ignore_index=True)}


def test_a_later_reading_tells_late_from_dead(history):
    def late(finding):
        return {c["code"]: c["probability"] for c in finding.details["causes"]}.get("cold", 0.0)

    t = dict(history) | {"readings": history["readings"][history["readings"]["hatch"] != POOR_HATCH]}
    t["hatches"] = t["hatches"].assign(ph=t["hatches"]["ph"].mask(t["hatches"]["hatch"] == POOR_HATCH))
    hatched_on = explain(_read_again(t, 95, 3, 15))
    dead = explain(_read_again(t, 34, 63, 17))
    assert late(hatched_on) > late(explain(t)) > late(dead)
    said = [e.answer for f in (hatched_on, dead) for e in f.evidence if e.question == "Did it hatch on?"]
    assert said[0].endswith("it hatched on, so the unhatched were late, not dead.") and "hardly any" in said[1]
    assert explain(_read_again(history, 34, 63, 17)).details["named"] == ["ph"]


def test_what_would_be_known_after_each_outcome_is_said(history):
    check = explain(history).details["checks"][0]
    assert check["check"] == "ph meter" and "cone B" in check["plan"]
    assert check["then_yes"] == "the pH was too low (above 95 %)"
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


def bad_lot(history, share, since="2026-10-20"):
    """The demo's site with a new lot that is bad from its first day, in use beside K-121; and its last hatch."""
    t = dict(history)
    new = (t["hatches"]["lot"] == "K-121") & (t["hatches"]["started"] > since) & t["hatches"]["cone"].isin(["A", "B"])
    new &= t["hatches"]["hatch"] != POOR_HATCH
    own = t["samples"]["hatch"].isin(t["hatches"].loc[new, "hatch"]) & (t["samples"]["kind"] == "subsample")
    lost = (t["samples"]["nauplii"].where(own, 0) * share).round().astype("Int64")
    t["samples"] = t["samples"].assign(
        nauplii=t["samples"]["nauplii"] - lost,
        cysts=t["samples"]["cysts"] + lost,
        shells=(t["samples"]["shells"] - lost).clip(lower=0),
    )
    t["hatches"] = t["hatches"].assign(lot=t["hatches"]["lot"].mask(new, "N-1"))
    label = t["lots"][t["lots"]["lot"] == "K-121"].assign(lot="N-1", opened=since, notes="invented")
    t["lots"] = pd.concat([t["lots"], label], ignore_index=True)
    return t, t["hatches"][new].sort_values("started")["hatch"].iloc[-1]


def test_a_lot_that_is_bad_from_its_first_day_is_named_and_not_dosed(history):
    t, last = bad_lot(history, 0.45)
    finding = explain(t, last)
    assert finding.details["named"] == ["embryos"] and finding.details["tone"] != "good"
    assert "t is the lot, N-1: dead or resting embryos" in finding.headline
    assert finding.details["feed"]["lot"] != "N-1"
    lot = next(e for e in finding.evidence if e.question == "Is it the lot?")
    assert lot.points == "for" and "K-121's hatches gave" in lot.answer and "its label claims 85 %" in lot.answer


def test_a_good_lot_is_not_condemned_for_one_cone(history):
    t = dict(history)
    own = (t["samples"]["hatch"] == POOR_HATCH) & (t["samples"]["kind"] == "subsample")
    t["samples"] = t["samples"].assign(
        nauplii=t["samples"]["nauplii"].mask(own, 35),
        umbrella=t["samples"]["umbrella"].mask(own, 2),
        cysts=t["samples"]["cysts"].mask(own, 75),
        shells=t["samples"]["shells"].mask(own, 32),
    )
    t["readings"] = t["readings"][t["readings"]["hatch"] != POOR_HATCH]
    t["hatches"] = t["hatches"].assign(ph=t["hatches"]["ph"].mask(t["hatches"]["hatch"] == POOR_HATCH))
    finding = explain(t)
    assert "embryos" not in finding.details["named"]
    assert {c["code"]: c["probability"] for c in finding.details["causes"]}.get("embryos", 0.0) < 0.15


def test_a_hatch_low_per_gram_alone_is_told_by_its_grams():
    finding = explain(planted(("weighing",), (0.8,)), "X")
    assert " nauplii per g (usual " in finding.headline and "a mass or volume is wrong" in finding.headline


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
    line = next(e for e in explain(history, baselines=limits).evidence if e.question == "Against the frozen limits?")
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
    assert "poor, and no cause known here fits" in finding.headline


def test_nauplii_here_are_reckoned_by_the_recovery_that_was_measured(history):
    cones = counted_hatches(*(history[k] for k in ("samples", "hatches", "lots")))
    own = cones[cones["cysts_g"] > 0].tail(12)
    per_litre = own["hatching_efficiency_per_g"] * own["cysts_g"] * 0.6 / 10.0  # 60 % arrives, in 10 l
    harvests = pd.DataFrame(
        {
            "sample": [f"V{i}" for i in range(len(own))],
            "hatch": own["hatch"].to_numpy(),
            "taken": own["started"].to_numpy(),
            "hours": 25.0,
            "kind": "harvest",
            "volume_ul": 1000.0,
            "dilution": 1.0,
            "counted_by": "person",
            "nauplii": (per_litre / 1000.0).round().to_numpy(),
            "harvest_ml": 10_000.0,
        }
    )
    samples = pd.concat([history["samples"], harvests.reindex(columns=history["samples"].columns)], ignore_index=True)
    assumed, measured = (explain(history | more).details["feed"] for more in ({}, {"samples": samples}))
    assert assumed["recovery_basis"] == "assumed" and assumed["recovery_pct"] == 85
    assert measured["recovery_basis"] in ("measured", "counted") and abs(measured["recovery_pct"] - 60) < 3
    assert measured["available"] / assumed["available"] == pytest.approx(measured["recovery_pct"] / 85)
