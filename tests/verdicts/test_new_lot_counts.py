"""The camera's certificate in the new-lot verdict: cited, used to correct, or missed. All data are invented."""

import json
from pathlib import Path

import jsonschema
import numpy as np
import pandas as pd
import pytest

import qckit
from qckit import hatch
from qckit.agreement import certify_camera, corrections_by, latest_certificate, photo_rows
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.tables import check_table
from qckit.verdicts.new_lot.evidence import new_lot_evidence
from qckit.verdicts.new_lot.verdict import judge_new_lot

SCHEMA = json.loads((Path(qckit.__file__).parent / "verdicts" / "finding.schema.json").read_text("utf-8"))


def site(counted_by="photo"):
    """Three cones of four subsamples, and a reference lot beside them."""
    hatches, samples = [], []
    for lot, purpose, cones in (("N-1", "standard test", "ABC"), ("R-1", "reference", "AB")):
        for c, cone in enumerate(cones):
            name = f"{lot}-{cone}"
            hatches.append(
                {
                    "hatch": name,
                    "lot": lot,
                    "purpose": purpose,
                    "cone": cone,
                    "cysts_g": 1.6,
                    "volume_ml": 800,
                    "started": "2026-05-03T09:00:00+00:00",
                    "temperature_c": 28.0,
                    "salinity_ppt": 33.0,
                    "ph": 8.2,
                    "oxygen_mg_l": 6.3,
                    "light_lux": 2000,
                    "aeration": "strong",
                }
            )
            for j in range(4):
                samples.append(
                    {
                        "sample": f"{name}-{j}",
                        "hatch": name,
                        "taken": "2026-05-04T09:00:00+00:00",
                        "hours": 24,
                        "kind": "subsample",
                        "volume_ul": 250,
                        "nauplii": 100 + 3 * j + c,
                        "umbrella": 4,
                        "cysts": 20 - j,
                        "shells": 95 + 2 * j,
                        "counted_by": counted_by,
                        "counter": "x",
                    }
                )
    lots = check_table(pd.DataFrame([{"lot": "N-1", "dry_weight_ug": 2.4}, {"lot": "R-1"}]), "lots")
    return SiteTables(
        settings=Settings(),
        lots=lots,
        hatches=check_table(pd.DataFrame(hatches), "hatches"),
        samples=check_table(pd.DataFrame(samples), "samples"),
    )


def certificate(*, found=0.9, made="2026-04-01T09:00:00+00:00", now="2026-05-05", n=14):
    """A camera that finds ``found`` of the nauplii and all of the rest."""
    rng = np.random.default_rng(1)
    hand = pd.DataFrame(
        {
            "photo": [f"P{i}" for i in range(n)],
            "nauplii": rng.integers(80, 120, n),
            "umbrella": rng.integers(3, 8, n),
            "cysts": rng.integers(15, 25, n),
            "shells": rng.integers(80, 120, n),
        }
    )
    seen = hand.assign(nauplii=rng.binomial(hand["nauplii"], found))
    made_of = certify_camera(seen, hand, camera="scope", made_at=made, made_by="op1")
    rows = check_table(made_of.to_frame(), "certificates")
    return latest_certificate(rows, now=now, camera="scope")


def judge(use, **options):
    finding = judge_new_lot(site(**options), lot="N-1", certificate=use)
    jsonschema.validate(json.loads(json.dumps(finding.to_dict(), allow_nan=False)), SCHEMA)
    return finding


def answer(finding):
    lines = [e for e in finding.evidence if e.question == "How well does the kit count this camera's photos?"]
    return lines[0] if lines else None


def test_a_certificate_corrects_widens_and_is_cited():
    use = certificate()
    assert use.holds
    plain, corrected = judge(None), judge(use)
    before, after = plain.figures[0], corrected.figures[0]
    assert after.value == pytest.approx(100 / (1 + 0.9 * (100 / before.value - 1)), abs=1.5)
    assert after.value > before.value
    bare = judge_new_lot(site(), lot="N-1", certificate=use, detection_u={}).figures
    for wide, narrow in zip(corrected.figures[:2], bare):
        assert wide.value == narrow.value and wide.high - wide.low > narrow.high - narrow.low
    assert corrected.figures[1].value == pytest.approx(plain.figures[1].value / 0.9, rel=0.03)
    said = answer(corrected)
    assert "2026-04-01" in said.answer and "Check again by 2026-09-30." in said.answer
    assert "Corrected by it, the hatching percentage is" in said.answer and said.points == "neutral"
    cited = corrected.to_dict()["details"]["certificate"]
    assert cited["holds"] and cited["made_at"].startswith("2026-04-01") and cited["check_again_by"] == "2026-09-30"
    assert cited["hatch_pct_as_counted"] == pytest.approx(before.value)


def test_a_certificate_out_of_date_does_not_correct_but_is_cited():
    use = certificate(now="2027-05-05")
    assert not use.holds
    found, plain = judge(use), judge(None)
    assert found.figures[0].value == plain.figures[0].value
    assert found.figures[0].high - found.figures[0].low > plain.figures[0].high - plain.figures[0].low
    assert answer(found).points == "unknown" and "counts are not corrected by it" in answer(found).answer


def test_no_certificate_is_said():
    use = latest_certificate(pd.DataFrame(), now="2026-05-05")
    said = answer(judge(use))
    assert said.answer.startswith("Nobody has checked this site's photo counts against counts by eye")
    assert said.answer.endswith("Count ten photos by eye and run  qckit camera check.")


def test_counts_by_a_person_need_no_certificate():
    assert answer(judge(certificate(), counted_by="person")) is None
    assert judge(certificate(), counted_by="person").figures[0] == judge(None, counted_by="person").figures[0]


def test_what_a_person_went_through_and_decapsulated_samples_are_left_alone():
    hatches, samples = site().hatches, site().samples
    assert photo_rows(samples).sum() == len(samples)
    by_hand = set(samples["sample"].iloc[:4])
    mine = photo_rows(samples, by_hand=by_hand)
    assert mine.sum() == len(samples) - 4
    assert not photo_rows(samples.assign(embryos=5)).any()
    right = hatch.corrected_samples(samples, corrections_by(samples[mine], hatches, certificate()))
    assert (right["nauplii"].iloc[:4] == samples["nauplii"].iloc[:4].astype(float)).all()
    assert (right["nauplii"].iloc[4:] > samples["nauplii"].iloc[4:].astype(float)).all()
    assert samples["nauplii"].dtype == "Int64"  # the input is not changed


def test_the_counters_uncertainty_is_a_line_of_the_budgets():
    seen = new_lot_evidence(site(), lot="N-1", certificate=certificate())
    for budget in (seen.budget, seen.percentage_budget):
        shares = dict(zip(budget.table["source"], budget.table["share_pct"]))
        assert shares["detection"] > 0
    assert seen.output_budget.value == pytest.approx(seen.budget.value * 0.0024, rel=1e-6)


def test_open_comparisons_say_how_many_more_cones_would_settle_them():
    near = hatch.Comparison(
        "hatching percentage",
        "the reference lot",
        0.97,
        0.85,
        1.10,
        0.87,
        1.08,
        se_log=0.06,
        df=4,
        verdict="cannot tell",
        sentence="S: cannot tell yet.",
        is_open=True,
        lead="S",
    )
    # 7 cones each: -0.0305 - t(0.95, 12) x 0.06 sqrt(3 / 7) = -0.1005, above ln 0.9 = -0.1054; 6 each: -0.1074
    assert hatch.say_open(near, 3, 3) == (
        "S: cannot tell yet; four more cones of each would, if the figures stay as they are. "
        "A lot 16 % worse would have shown in four of five such tests."  # 1 - 0.97 / 1.10 exp(-0.8416 x 0.06)
    )
    assert hatch.cones_to_decide(near, 3, 3) == 4
    at_line = hatch.Comparison(
        "hatching percentage",
        "the claim",
        0.9,
        0.8,
        1.1,
        0.8,
        1.1,
        se_log=0.12,
        df=4,
        verdict="cannot tell",
        sentence="S: cannot tell yet.",
        is_open=True,
        lead="S",
    )
    assert hatch.say_open(at_line, 3, None, most=3) == (
        "S: cannot tell yet, and 3 more cones would not either: the figures lie too near the line of 90 %. "
        "A lot 26 % worse would have shown in four of five such tests."  # 1 - 0.9 / 1.1 exp(-0.8416 x 0.12)
    )


def test_the_chart_of_comparisons_shows_ratio_interval_and_verdict():
    import matplotlib.pyplot as plt

    seen = new_lot_evidence(site(), lot="N-1")
    ax = hatch.draw_comparisons(seen.comparisons)
    assert [t.get_text() for t in ax.get_yticklabels()] == [
        "hatching percentage\nbeside the reference lot R-1",
        "hatching efficiency\nbeside the reference lot R-1",
    ]
    first = seen.comparisons[0]
    np.testing.assert_allclose(ax.lines[1].get_xdata(), [100 * first.low, 100 * first.high])
    assert ax.texts[0].get_text() == first.verdict
    plt.close(ax.figure)
