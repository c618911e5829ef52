"""The new-lot verdict: each rule, the honest refusals, and what must be noticed. All data are invented."""

import itertools
import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import pandas as pd
import pytest

import qckit
from qckit.errors import InputError
from qckit.hatch.intervals.estimates import Estimate
from qckit.protocol import ProtocolSettings
from qckit.settings import LimitSettings, Settings
from qckit.site_tables import SiteTables
from qckit.tables import check_table
from qckit.verdicts.new_lot.evidence import new_lot_evidence
from qckit.verdicts.new_lot.rules import RULES, VERDICTS, pct_decimals, pct_form
from qckit.verdicts.new_lot.verdict import judge_new_lot

SCHEMA = json.loads((Path(qckit.__file__).parent / "verdicts" / "finding.schema.json").read_text("utf-8"))
NAMES = ("lots", "hatches", "samples")
GOOD = {
    "temperature_c": 28.0,
    "salinity_ppt": 33.0,
    "ph": 8.2,
    "oxygen_mg_l": 6.3,
    "light_lux": 2000,
    "aeration": "strong",
}


def site(counts, *, lot="N-1", claim=(85, 230_000), volume_ul=250, **changes):
    """Tables of a site; ``counts`` is (lot, purpose, cone, day, N, U, C, S, subsamples, hatch changes) per cone."""
    hatches, samples = [], []
    for i, (name, purpose, cone, day, n, u, c, s, k, more) in enumerate(counts):
        hatch = f"{name}-{cone}-{day}-{i}"
        hatches.append(
            {
                "hatch": hatch,
                "lot": name,
                "purpose": purpose,
                "cone": cone,
                "cysts_g": 1.6,
                "volume_ml": 800,
                "started": f"2026-05-{day:02d}T09:00:00+00:00",
                **GOOD,
                **more,
            }
        )
        for j in range(k):
            samples.append(
                {
                    "sample": f"{hatch}-{j}",
                    "hatch": hatch,
                    "taken": f"2026-05-{day + 1:02d}T09:00:00+00:00",
                    "hours": 24,
                    "kind": "subsample",
                    "volume_ul": volume_ul,
                    "nauplii": n,
                    "umbrella": u,
                    "cysts": c,
                    "shells": s,
                    "counted_by": "person",
                    **changes,
                }
            )
    lots = [
        {
            "lot": lot,
            "claimed_hatch_pct": claim[0],
            "claimed_nauplii_per_g": claim[1],
            "price": 60,
            "pack_g": 500,
            "currency": "EUR",
        }
    ]
    columns = {"sample": [], "hatch": [], "taken": [], "kind": [], "nauplii": [], "counted_by": []}
    return SiteTables(
        settings=Settings(),
        lots=check_table(pd.DataFrame(lots), "lots"),
        hatches=check_table(pd.DataFrame(hatches), "hatches"),
        samples=check_table(pd.DataFrame(samples if samples else columns), "samples"),
    )


def cone(cone, n=120, u=3, c=18, s=120, *, lot="N-1", purpose="standard test", day=3, k=6, **more):
    return (lot, purpose, cone, day, n, u, c, s, k, more)


def judge(counts, *, limits=None, readings=None, reference=None, cones="A, B, C, D", **options):
    settings = Settings(limits=limits or LimitSettings(), protocol=ProtocolSettings(cones=cones))
    tables = site(counts, **options).but(settings=settings, readings=readings)
    finding = judge_new_lot(tables, lot="N-1", reference=reference)
    jsonschema.validate(json.loads(json.dumps(finding.to_dict(), allow_nan=False)), SCHEMA)
    return finding


def answer(finding, start):
    return next(e for e in finding.evidence if e.question.startswith(start))


def test_a_good_lot_is_accepted():
    found = judge([cone("A", 118), cone("B", 121), cone("C", 120)])
    assert found.verdict == "accept"
    assert [f.name for f in found.figures] == ["hatch_pct", "hatching_efficiency_per_g", "dose_g"]
    assert all(f.low <= f.value <= f.high for f in found.figures[:2])
    assert found.figures[2].value == found.details["dose"]["grams"] > found.details["dose"]["best_grams"]
    assert found.next_steps[0].startswith("For one feed take ")


def test_a_missed_claim_asks_for_a_larger_dose():
    found = judge([cone("A", 118), cone("B", 121), cone("C", 120)], claim=(92, 300_000))
    assert found.verdict == "accept-larger-dose"
    (words,) = [s for s in found.next_steps if "label's claim" in s]
    best = found.details["dose"]["best_grams"]  # without the reserve, which the label's figure does not have either
    assert f"{best / 19.6078:.2f} times the 19.6 g that the label's claim would ask for; tell the supplier" in words


@pytest.mark.parametrize(
    ("counts", "claim"),
    [
        ([cone("A", 118), cone("B", 121), cone("C", 120)], (85, 230_000)),
        ([cone("A", 118), cone("B", 121), cone("C", 120)], (92, 300_000)),
        ([cone("A", 70, c=60), cone("B", 72, c=58), cone("C", 69, c=61)], (85, 230_000)),
        ([cone("A", 118)], (85, 230_000)),
        (
            [cone(x, 100, c=40, s=100) for x in "AB"]
            + [cone(x, 80, c=60, lot="R-1", purpose="reference") for x in "CD"],
            (85, 230_000),
        ),
    ],
)
def test_where_nothing_is_fed_a_lot_is_judged_without_a_dose(counts, claim):
    settings = replace(Settings(), protocol=replace(Settings().protocol, feed_at=""))
    found = judge_new_lot(site(counts, claim=claim).but(settings=settings), lot="N-1")
    jsonschema.validate(json.loads(json.dumps(found.to_dict(), allow_nan=False)), SCHEMA)
    assert found.verdict == judge(counts, claim=claim).verdict
    assert [f.name for f in found.figures] == ["hatch_pct", "hatching_efficiency_per_g"] and not found.details["dose"]
    shown = [found.details["verdict_words"], found.headline, *found.next_steps, *found.would_change, *found.cautions]
    shown += [text for e in found.evidence for text in (e.question, e.answer)] + found.left_out
    said = [text.replace("qckit dose N-1 --nauplii NUMBER", "") for text in shown]
    assert not [text for text in said if re.search(r"feed|dose|\bfed\b", text, re.IGNORECASE)]
    share = claim[1] / found.figures[1].value
    if found.verdict == "accept-larger-dose" and share > 1:
        said = next(s for s in found.next_steps if s.startswith("Take ") and "the label's claim" in s)
        assert float(said.split()[1]) == pytest.approx(share, abs=0.02)


def test_a_lot_shown_below_the_minimum_is_rejected():
    found = judge([cone("A", 70, c=60), cone("B", 72, c=58), cone("C", 69, c=61)])
    assert found.verdict == "reject"
    assert found.headline == (
        "Hatching percentage 52.9 % (50.0 to 55.7 %) lies below the minimum of 75.0 %. Doubtful test: more shells than "
        "nauplii."
    )
    assert found.details["doubts"] == [{"code": "more_shells", "values": {"ratio": pytest.approx(1.706, abs=0.01)}}]
    assert "No other lot was in use in the 30 days before this test. Order early: this delivery does not count." in (
        found.next_steps
    )


BESIDE = {
    "beside_good": (118, 18, "Go on with lot R: 84.9 % in the same test. Order early: this delivery does not count."),
    "beside_poor": (90, 50, "Lot R did better in the same test, but with 62.9 % it is below the minimum of 75 % too:"),
    "beside_worse": (
        60,
        80,
        "The lot in use, R, did worse in the same test: 42.0 %. Order another lot now;",
    ),
}


@pytest.mark.parametrize("code", BESIDE)
def test_rejecting_names_the_better_choice_truly(code):
    n, c, said = BESIDE[code]
    found = judge(
        [cone(k, 70, c=60) for k in "ABC"] + [cone(k, n, c=c, lot="R", purpose="reference") for k in "AB"],
    )
    assert found.verdict == "reject" and found.details["choice"]["code"] == code
    assert any(step.startswith(said) for step in found.next_steps)
    # no step forbids what the next one advises
    assert ("Do not use this lot" in found.next_steps[0]) == (code != "beside_worse")


def test_rejecting_without_a_lot_beside_it_looks_at_the_lot_in_use():
    past = [cone("A", 118, lot="P", purpose="production", day=d) for d in range(1, 4)]
    found = judge([*past, *(cone(k, 70, c=60, day=5) for k in "ABC")])
    assert found.details["choice"] == {
        "code": "in_use",
        "values": {"lot": "P", "hatch_pct": pytest.approx(84.9, abs=0.1), "n": 3, "minimum": 75.0},
    }
    assert any(
        step.startswith("Go on with lot P: 85 % over its last 3 hatches; none of it was run beside")
        for step in found.next_steps
    )


def test_a_lot_stands_among_the_lots_tested_before_it():
    earlier = [cone(k, 125, c=10, lot="E", day=1) for k in "ABC"]
    found = judge([*earlier, *(cone(k, 118, day=20) for k in "ABC")])
    said = answer(found, "How does it stand among this site's lots?")
    assert said.answer.startswith("Number 2 of 2 by the hatching percentage of their first tests: N-1 84.9 %; E 90.6 %")
    assert said.points == "against"


@pytest.mark.parametrize("n", range(40, 140, 7))
def test_headlines_are_short(n):
    found = judge([cone("A", n), cone("B", n + 9), cone("C", n - 8)], claim=(90, 250_000))
    assert len(found.headline.split(" Doubtful test")[0]) <= 115, found.headline


def test_a_lot_perhaps_below_the_minimum_is_tested_again():
    found = judge([cone("A", 100, c=20), cone("B", 80, c=45), cone("C", 95, c=35)])
    assert found.verdict == "repeat-test" and found.details["rule"] == "guess_below_minimum"


def test_two_cones_that_differ_are_too_uncertain():
    found = judge([cone("A", 125, c=12), cone("B", 100, c=25)])
    assert found.verdict == "repeat-test" and found.details["rule"] == "too_uncertain"


def test_the_site_limits_decide():
    counts = [cone("A", 118), cone("B", 121), cone("C", 120)]
    assert judge(counts, limits=LimitSettings(min_hatch_pct=90.0)).verdict == "reject"


def test_one_cone_is_not_enough():
    found = judge([cone("A")])
    assert found.verdict == "not-enough-evidence"
    assert found.headline == "One cone alone cannot show how much cones differ."
    assert found.figures[0].note == (
        "One cone: how much cones differ cannot be known, so there is no interval. Counting alone would give 82.5 to "
        "87.3 %; the truth is wider."
    )
    assert found.to_dict()["figures"][0]["low"] is None


def test_no_cyst_counted_at_all():
    found = judge([cone("A", 0, 0, 0, 0), cone("B", 0, 0, 0, 0), cone("C", 0, 0, 0, 0)])
    assert found.verdict == "not-enough-evidence"
    assert found.headline == ("No nauplius, umbrella stage or unhatched cyst was counted in any cone.")


@pytest.mark.parametrize(
    ("cones", "untested", "tested"),
    [
        (
            "A, B",
            "Run a standard test of both cones. Hatches started within 3 days count as cones of one test: two rounds "
            "of both make four. 1 production hatch of this lot is counted, but not made to grade it. Of 100 tests",
            "Run both cones with this lot again under the standard conditions; until then use the lot in use. Hatches "
            "started within 3 days count as cones of one test: two rounds of both make four. Of 100 tests",
        ),
        (
            "A",
            "Run a standard test of its one cone. Hatches started within 3 days count as cones of one test: three "
            "rounds of the cone make three. 1 production hatch",
            "Run the cone with this lot again under the standard conditions; until then use the lot in use. Hatches "
            "started within 3 days count as cones of one test: three rounds of the cone make three. Of 100 tests",
        ),
    ],
)
def test_a_room_of_few_cones_is_asked_for_those_it_has(cones, untested, tested):
    assert judge([cone("A", purpose="production")], cones=cones).next_steps[0].startswith(untested)
    assert judge([cone("A")], cones=cones).next_steps[0].startswith(tested)
    # what a second round says: hatches of the same cones, two days later
    twice = judge([cone("A"), cone("A", day=5), cone("A", 122, day=6)], cones="A")
    assert twice.details["n_cones"] == 3


def test_a_lot_without_a_test():
    found = judge([cone("A", purpose="production")])
    assert found.headline == "No test of this lot was counted."
    assert found.next_steps[0].startswith(
        "Run a standard test of three cones. 1 production hatch of this lot is counted, but not made to grade it. "
        "Of 100 tests of a lot 8 points above the minimum, this many have to be repeated in this room: "
    )
    chances = found.details["repeat_chances"]
    assert 1 > chances["2"] > chances["3"] > chances["4"] > 0


def test_few_cysts_counted_make_a_repeat_likelier():
    many, few = (judge([cone(c, n, 3 * n // 120, 18 * n // 120, n) for c in "ABC"]) for n in (120, 20))
    chances = [found.details["repeat_chances"]["3"] for found in (many, few)]
    assert chances[1] > 1.3 * chances[0] > 0


def test_days_since_opening_are_told_of_a_test_and_of_nothing_else():
    def age(purpose, days=1):
        tables = site([cone("A", purpose=purpose)])
        opened = pd.Timestamp(tables.hatches["started"].iloc[0]) - pd.Timedelta(days=days)
        found = judge_new_lot(tables.but(lots=tables.lots.assign(opened=f"{opened:%Y-%m-%d}")), lot="N-1")
        return [item.answer for item in found.evidence if item.question == "How old is it?"]

    assert age("standard test") == ["Opened 1 day before the test."]
    assert age("standard test", days=2) == ["Opened 2 days before the test."]  # by the calendar, whatever the hour
    assert age("standard test", days=0) == ["Opened on the day of the test."]
    assert age("production") == []


def test_a_test_not_yet_counted():
    tables = site([cone("A"), cone("B")])
    found = judge_new_lot(tables.but(samples=tables.samples.iloc[:0]), lot="N-1")
    assert found.headline == "No test of this lot was counted."


def test_nothing_hatched_is_a_reject_not_a_crash():
    found = judge([cone("A", 0, c=140), cone("B", 0, c=138), cone("C", 0, c=141)])
    assert found.verdict == "reject"
    assert found.figures[2].note == "Nauplii per gram are not known."


def test_a_missing_volume_leaves_the_dose_open():
    found = judge([cone("A"), cone("B"), cone("C")], volume_ul=None)
    assert found.headline == ("A counted volume is missing, so nauplii per gram are unknown.")


def test_umbrella_not_counted_is_said():
    found = judge([cone(c) for c in "ABC"], umbrella=None)
    assert (
        "Umbrella stages were not counted in every cone and were taken as none: the hatching percentage may be too "
        "high." in found.cautions
    )


def test_a_cone_whose_counts_have_a_gap_is_named():
    tables = site([cone(c) for c in "ABC"])
    samples = tables.samples
    samples.loc[samples["hatch"].str.contains("-B-"), ["umbrella", "cysts", "shells"]] = pd.NA
    found = judge_new_lot(tables, lot="N-1")
    gap = "Cone B: Neither embryos nor unhatched cysts were counted, so the hatching percentage is not known."
    assert found.left_out == [gap]
    assert f"Fill this gap and make the report anew. {gap}" in found.next_steps
    said = "rests on 2 cones of 3, because the counts have gaps: see 'Left out, and why'"
    assert found.figures[0].note.startswith(said) and found.figures[1].note.startswith("rests on 3 cones")
    assert answer(found, "How many stopped").answer.startswith("2.1 % over cones (A 2.1 %, B unknown, C 2.1 %).")
    told = json.dumps(found.to_dict(), allow_nan=False)
    assert "Umbrella stages were not counted" not in told and " nan" not in told


def test_weak_air_in_one_cone_is_noticed_and_shown_without():
    found = judge([cone("A"), cone("B"), cone("C", 105, 12, 24, oxygen_mg_l=4.1, aeration="weak")])
    assert answer(found, "Were the cones run").answer == (
        "Not all: cone C of lot N-1: Oxygen 4.1 mg/l is only 63 % of saturation. Aeration was noted as 'weak'."
    )
    assert answer(found, "And without the doubtful cone C?").answer.startswith("85 % instead of ")
    assert any(s.startswith("Put cone C right and run it again: ") for s in found.next_steps)


def test_water_that_nobody_measured_does_not_speak_for_the_cones():
    blank = dict.fromkeys(GOOD)
    found = judge([cone("A", **blank), cone("B", **blank), cone("C", **blank)])
    asked = answer(found, "Were the cones run")
    assert asked.points == "unknown" and asked.answer.startswith("Not known: none of temperature, salinity, pH")
    one = judge([cone("A", **(blank | {"ph": 8.2})), cone("B", **blank), cone("C", **blank)])
    assert answer(one, "Were the cones run").points == "for"


def test_a_doubtful_cone_is_not_called_outside_the_standard():
    found = judge([cone("A"), cone("B"), cone("C", 105, 12, 24, oxygen_mg_l=4.1, aeration="weak")])
    assert "outside" not in found.headline and "doubtful conditions" in found.headline


def test_the_supplier_is_told_of_a_claim_that_was_missed_and_of_no_other():
    missed = judge([cone("A", 118), cone("B", 121), cone("C", 120)], claim=(92, 300_000))
    assert any(s.endswith("would ask for; tell the supplier, with this report.") for s in missed.next_steps)


def test_a_cone_off_the_standard_is_left_out_and_named():
    found = judge([cone("A"), cone("B"), cone("C", 60, 3, 80, temperature_c=22.0)])
    assert found.left_out == ["Cone C (N-1-C-3-2): run outside the standard conditions."]
    assert found.figures[0].value == pytest.approx(100 * 120 / 141)


def test_a_cone_whose_figures_can_hardly_be_is_left_out_and_asked_about_first():
    """Its tenfold mass made the interval of nauplii per gram run from some tens to some millions."""
    tables = site([cone("A"), cone("B"), cone("C")])
    slip = tables.hatches["hatch"].iloc[2]
    grams = tables.hatches["cysts_g"].where(tables.hatches["hatch"] != slip, tables.hatches["cysts_g"] * 100)
    found = judge_new_lot(tables.but(hatches=tables.hatches.assign(cysts_g=grams)), lot="N-1")
    alike = judge_new_lot(tables.but(samples=tables.samples[tables.samples["hatch"] != slip]), lot="N-1")
    assert [f.value for f in found.figures[:2]] == [f.value for f in alike.figures[:2]]
    assert found.left_out[0].startswith(f"{slip}: 160 g stood in it, ")
    assert found.next_steps[0] == f"Put this right first, and make the report anew. {found.left_out[0]}"
    # a lot that gives so little in all its cones is judged by them
    found = judge_new_lot(tables.but(hatches=tables.hatches.assign(cysts_g=tables.hatches["cysts_g"] * 100)), lot="N-1")
    assert found.figures[1].value < 10_000 and found.left_out == []


def test_a_test_is_not_left_out_for_sound_cones_of_other_days():
    """Its grams were tenfold, its percentages fine: the lot was rejected by its test of a month before."""
    older, newer = [cone(c, 60, 3, 80) for c in "ABC"], [cone(c, day=20) for c in "ABC"]
    tables = site([*older, *newer, *(cone("A", purpose="production", day=day) for day in (10, 11))])

    def judged(slips):
        grams = tables.hatches["cysts_g"].where(~tables.hatches["hatch"].isin(slips), 160.0)
        return judge_new_lot(tables.but(hatches=tables.hatches.assign(cysts_g=grams)), lot="N-1")

    slips = tables.hatches["hatch"].iloc[3:6].tolist()
    for slipped in (slips, slips[1:]):  # one sound cone makes no test either, but the others are asked about
        found = judged(slipped)
        assert found.figures[0].value == pytest.approx(100 * 120 / 141)
        assert not any(name in line for name in slips for line in found.left_out)
        asked = [step.split(". ")[1].split(":")[0] for step in found.next_steps if step.startswith("Put this right")]
        assert asked == slipped


def test_all_cones_off_the_standard_spoil_the_test():
    found = judge([cone(c, 60, 3, 80, temperature_c=22.0) for c in "ABC"])
    assert found.verdict == "repeat-test"
    assert found.headline.startswith("3 of 3 cones were run outside the standard conditions.")


def test_readings_count_too_and_fahrenheit_is_understood():
    tables = site([cone("A"), cone("B"), cone("C")])
    hot = check_table(
        pd.DataFrame(
            [
                {
                    "hatch": tables.hatches["hatch"][2],
                    "taken": "2026-05-03T12:00:00+00:00",
                    "quantity": "temperature",
                    "value": 90,
                    "unit": "°F",
                }
            ]
        ),
        "readings",
    )
    found = judge_new_lot(tables.but(readings=hot), lot="N-1")
    assert "Temperature 32.22 °C is above the standard (28 ± 1 °C)." in answer(found, "Were the cones").answer


def test_a_worse_lot_than_the_reference_is_said_with_numbers():
    found = judge(
        [*(cone(c, 100, c=30) for c in "ABC"), *(cone(c, 125, c=8, lot="R-1", purpose="reference") for c in "AB")],
        claim=(None, None),
    )
    assert found.verdict == "accept-larger-dose" and found.details["reference"] == "R-1"
    text = answer(found, "How does its hatching percentage").answer
    assert text == (
        "Hatching percentage is 82 % of the reference lot R-1 (80 to 84 %): worse by 16 to 20 %. In points: \u221216.7 "
        "(\u221218.9 to \u221214.5)."
    )


def test_more_shells_than_nauplii_is_a_finding_of_its_own():
    found = judge([cone(c, 118, s=160) for c in "ABC"])
    assert answer(found, "Do nauplii and empty shells").points == "against"
    assert any(step.startswith("Look for dead or lost nauplii") for step in found.next_steps)


def test_only_the_latest_test_is_judged():
    found = judge([*(cone(c, 60, c=80, day=3) for c in "ABC"), *(cone(c, day=20) for c in "ABC")])
    assert found.verdict == "accept"
    assert found.left_out == [
        "3 cones of earlier tests of this lot, the last on 2026-05-03: only the latest test is judged."
    ]


def test_a_fall_since_the_last_test_is_said():
    found = judge([*(cone(c, 125, c=8, day=3) for c in "ABC"), *(cone(c, 105, c=25, day=20) for c in "ABC")])
    text = answer(found, "Has its hatching percentage changed").answer
    assert text.startswith("Hatching percentage is 86 % of this lot's test of 2026-05-03 (")
    assert text.endswith("%.") and "worse by" in text


def test_the_rooms_own_spread_makes_one_cone_enough():
    past = [cone(c, 118 + d, lot="P-1", purpose="production", day=4 + d) for d, c in itertools.product(range(12), "AB")]
    found = judge([*past, cone("A", day=3)])
    assert found.verdict == "accept"
    assert "24 earlier cones" in answer(found, "How much do this room's cones usually differ?").answer


def test_unknown_names_are_refused_with_the_nearest():
    tables = site([cone("A"), cone("B")])
    with pytest.raises(InputError) as error:
        judge_new_lot(tables, lot="N-2")
    assert str(error.value) == "unknown lot 'N-2'. Did you mean 'N-1'? Known: N-1."
    with pytest.raises(InputError) as error:
        judge_new_lot(tables, lot="N-1", reference="N-9")
    assert str(error.value) == "unknown reference lot 'N-9'. Did you mean 'N-1'? Known: N-1."


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "=cmd()", "../../x", "\"'", "🦐", "x" * 200])
def test_any_name_of_a_lot_works(name):
    counts = [cone(c, lot=name) for c in "ABC"]
    found = judge_new_lot(site(counts, lot=name), lot=name)
    assert found.subject == name and found.verdict == "accept"


def test_the_order_of_rows_does_not_matter():
    tables = site([cone("A", 118), cone("B", 121), cone("C", 120)])
    turned = tables.but(**{n: getattr(tables, n).iloc[::-1].reset_index(drop=True) for n in NAMES})
    a, b = (judge_new_lot(t, lot="N-1").figures for t in (tables, turned))
    assert [f.value for f in a] == pytest.approx([f.value for f in b])
    assert [f.low for f in a] == pytest.approx([f.low for f in b], nan_ok=True)


def test_every_verdict_has_a_rule_and_every_rule_a_verdict():
    assert {rule.verdict for rule in RULES} == set(VERDICTS)
    assert all(rule.text.endswith(".") for rule in RULES)


def test_the_tables_are_not_changed():
    tables = site([cone("A"), cone("B")])
    before = {name: getattr(tables, name).copy(deep=True) for name in NAMES}
    new_lot_evidence(tables, lot="N-1")
    for name, was in before.items():
        pd.testing.assert_frame_equal(was, getattr(tables, name))


@pytest.mark.parametrize(
    "change, where",
    [
        ({"verdict": "perhaps"}, "verdict"),
        ({"figures": [{"name": "x"}]}, "figures"),
        ({"surprise": 1}, ""),
        ({"subject": ""}, "subject"),
    ],
)
def test_the_schema_refuses_what_is_no_finding(change, where):
    data = {**judge([cone("A"), cone("B")]).to_dict(), **change}
    with pytest.raises(jsonschema.ValidationError) as error:
        jsonschema.validate(json.loads(json.dumps(data)), SCHEMA)
    assert where == (str(error.value.absolute_path[0]) if error.value.absolute_path else "")


def test_a_bound_and_the_minimum_it_misses_do_not_read_alike():
    def form(value, low, high, *limits):
        return pct_form(pct_decimals(Estimate(value, low, high), limits))(low)

    assert form(72.4, 59.7, 83.1) == "60 %"
    assert form(72.4, 59.7, 83.1, 60.0) == "59.7 %"
    assert form(72.4, 58.7, 83.1, 60.0) == "59 %"


@pytest.mark.parametrize(
    ("counts", "claim", "written"),
    [
        ([(118, 18), (121, 16), (120, 17)], 85, "85.7 %"),  # the interval leaves the decimal known
        ([(12, 3), (20, 2), (9, 4)], 85, "68 %"),  # it does not, though the card's own limit of decimals is 1
        ([(12, 3), (20, 2), (9, 4)], 80.5, "67.6 %"),  # held against a claim that has one
    ],
)
def test_a_figure_has_the_same_digits_everywhere(counts, claim, written):
    """On the card, in the headline, in every line of reasoning and step, in the table of metrics."""
    cones = [cone(k, n, c=c, k=1, day=8) for k, (n, c) in zip("ABC", counts, strict=True)]
    past = [cone(k, 130, c=9, lot="P", day=1) for k in "AB"]
    found = judge([*past, *cones], claim=(claim, 230_000))
    figure = found.figures[0]
    assert f"{figure.value:.{figure.decimals}f} %" == written
    whole = re.findall(r"(?<![\d.])\d+(?:\.\d+)? %", " ".join([found.headline, *(e.answer for e in found.evidence)]))
    mine = {text for text in whole if round(float(text.removesuffix(" %"))) == round(figure.value)}
    assert mine == {written}


def test_the_lot_in_use_is_that_of_every_page():
    """The one rule of ``hatch.in_use``: by days of the site's clock, and none longer ago."""
    from qckit.hatch.lots.in_use import IN_USE_DAYS, is_in_use
    from qckit.tables import to_utc

    test = [cone(k, 70, c=60, day=30) for k in "ABC"]
    for day in (1, 2, 29):
        past = [cone("A", 118, lot="P", purpose="production", day=day)]
        used, at = to_utc(pd.Series([f"2026-05-{day:02}T09:00+00:00", "2026-05-30T09:00+00:00"]))
        assert is_in_use(used, at) and (at - used).days <= IN_USE_DAYS
        assert judge([*past, *test]).details["world"]["in_use"] == "P"
    before = [list(cone("A", 118, lot="P", purpose="production", day=1))]
    before[0][-1] = {**before[0][-1], "started": "2026-04-29T09:00:00+00:00"}
    found = judge([*map(tuple, before), *test])
    assert found.details["world"]["in_use"] is None and found.details["choice"]["code"] == "none"
