"""Lengths of nauplii, courses of readings, the site's own effects, and the count ruled out way by way."""

import numpy as np
import pandas as pd
import pytest
from poor_cases import explain, planted, site_of

from qckit.practice.mechanisms import Conditions, LotTraits, nauplius_lengths_um
from qckit.settings import Settings
from qckit.verdicts.poor_hatch.conditions.decapsulated import whether_decapsulated
from qckit.verdicts.poor_hatch.conditions.differences import find_differences, worst_values
from qckit.verdicts.poor_hatch.conditions.effects import EFFECT_COLUMNS
from qckit.verdicts.poor_hatch.conditions.exposure import Course, expected_loss, out_of_range
from qckit.verdicts.poor_hatch.likelihood.lengths import LENGTH_COLUMNS, compare_lengths, nauplius_lengths
from qckit.verdicts.poor_hatch.verdict import decide, explain_hatch, study_hatch

SETTINGS = Settings()


def study(t, **more):
    return study_hatch(site_of(t), hatch="X", **more)


def lengths_of(**mean_log):
    rows = [(h, 100, m, 0.1, float(np.exp(m))) for h, m in mean_log.items()]
    return pd.DataFrame(rows, columns=list(LENGTH_COLUMNS))


def test_nauplii_longer_than_usual_speak_for_over_long_incubation_and_usual_ones_against():
    usual = {f"B{i}": 6.2 + 0.01 * (i % 3 - 1) for i in range(12)}
    grown = compare_lengths(lengths_of(X=6.45, **usual), "X", list(usual))
    assert grown.factor > 20 and grown.z > 4
    # e^6.45 = 633, e^6.2 = 493; e^0.25 - 1 = 28 %
    assert grown.sentence.startswith(
        "100 nauplii measured in the photos are 633 µm long (median), 28 % longer than usual (usual 493 µm, 12 hatches"
    )
    same = compare_lengths(lengths_of(X=6.2, **usual), "X", list(usual))
    assert same.factor < 0.3 and "as long as usual" in same.sentence


def test_without_own_lengths_only_the_published_range_speaks():
    # instar I of most strains is 428 to 517 µm (compilation citing Vanhaecke and Sorgeloos 1980)
    assert compare_lengths(lengths_of(X=float(np.log(490))), "X", []).factor == 1.0
    far = compare_lengths(lengths_of(X=float(np.log(640))), "X", [])
    assert far.factor > 1 and "instar I of most strains is 428 to 517 µm" in far.sentence
    assert compare_lengths(lengths_of(B=6.2), "X", ["B"]) is None


def test_lengths_are_those_of_counted_nauplii_of_the_reading():
    t = planted(("overlong",), (0.6,), is_logged=False, has_lengths=True)
    table = nauplius_lengths(t["samples"], t["photos"], t["objects"])
    x = table.set_index("hatch").loc["X"]
    own = t["objects"][t["objects"]["photo"].str.startswith("X-")]
    assert x["n_nauplii"] == len(own) and x["median_um"] == pytest.approx(own["length_um"].median())
    removed = t["objects"].assign(source="removed by hand")
    assert nauplius_lengths(t["samples"], t["photos"], removed).empty
    assert list(nauplius_lengths(t["samples"], None, None).columns) == list(LENGTH_COLUMNS)


def test_an_over_long_hatch_with_wrong_hours_is_told_by_its_lengths():
    found = {True: 0, False: 0}
    for seed in range(6):
        t = planted(("overlong",), (0.5,), seed=seed, is_logged=False, has_lengths=True)
        for with_lengths in found:
            case = study(t, objects=t["objects"] if with_lengths else None)
            found[with_lengths] += case.weights.ranked()[0][0] == "overlong"
    assert found[True] == 6 and found[False] <= 3


def test_the_practice_nauplii_moult_when_the_books_say():
    rng = np.random.default_rng(1)
    lot = LotTraits()
    fresh = nauplius_lengths_um(lot, Conditions(hours=18.0), 4000, rng)
    late = nauplius_lengths_um(lot, Conditions(hours=32.0), 4000, rng)
    # instar I 486 µm, lasting about 8 h (Lavens et al. 2000): at 18 h all are instar I, at 32 h none
    assert np.median(fresh) == pytest.approx(486, rel=0.01)
    assert np.median(late) > 1.15 * 486 and np.median(late) < 870  # 870 µm after a day of feeding (same source)


def test_time_out_of_range_is_read_off_the_course():
    course = Course([20.0, 0.0, 10.0], [8.4, 8.4, 7.6])  # sorted by hour; below 8.0 from 5 to 15 h
    hours, read, words = out_of_range(course, "ph", SETTINGS.conditions)
    assert hours == pytest.approx(10.0, abs=0.2) and read == 20.0 and words == "below 8"
    assert np.isnan(out_of_range(Course([1.0], [7.0]), "ph", SETTINGS.conditions)[0])


def test_a_moment_out_of_range_costs_less_than_a_day():
    def loss_at(v):
        return np.interp(v, [7.0, 8.0], [0.8, 0.0])

    worst = 7.0
    dip = Course([0.0, 10.0, 12.0, 14.0, 24.0], [8.2, 8.2, 7.0, 8.2, 8.2])
    day = Course([0.0, 24.0], [7.0, 7.0])
    assert expected_loss(loss_at, worst, day, "ph", 24.0) == pytest.approx(0.8)
    assert expected_loss(loss_at, worst, dip, "ph", 24.0) < 0.5
    assert expected_loss(loss_at, worst, Course([12.0], [7.0]), "ph", 24.0) == pytest.approx(0.8)


def _effect(slope, se, lowest, highest):
    return pd.DataFrame(
        [("salinity", slope, se, -0.03, slope, lowest, highest, 300, 2.0)], columns=list(EFFECT_COLUMNS)
    )


def _salty(effects):
    hatches = pd.DataFrame({"hatch": ["X", *[f"B{i}" for i in range(8)]], "temperature_c": 28.0, "salinity_ppt": 33.0})
    hatches = hatches.assign(ph=8.2, oxygen_mg_l=6.3, light_lux=2000.0, cysts_g=32.0, volume_ml=20000.0)
    hatches.loc[0, "salinity_ppt"] = 46.0
    worst = worst_values(hatches, None)
    usual = [f"B{i}" for i in range(8)]
    found = find_differences(worst, hatch="X", usual_hatches=usual, effects=effects, usual_share=0.85)
    return found.set_index("cause").loc["salt"]


def test_the_sites_own_regression_enters_the_ranking_by_its_precision():
    books = _salty(None)
    assert books["site_share_pct"] == 0 and books["expected_loss_pct"] == pytest.approx(books["literature_loss_pct"])
    sure = _salty(_effect(-0.10, 0.002, 30.0, 48.0))
    # 13 ppt x 0.10 = 1.3 off the log odds of 0.85: share 0.607, a loss of 29 %
    assert sure["site_share_pct"] > 60 and books["expected_loss_pct"] + 5 < sure["expected_loss_pct"] < 29.5
    vague = _salty(_effect(-0.10, 0.2, 30.0, 48.0))
    assert vague["site_share_pct"] < 10
    assert vague["expected_loss_pct"] == pytest.approx(books["expected_loss_pct"], abs=2)
    far = _salty(_effect(-0.10, 0.002, 32.0, 34.5))  # the site never met such water: the line is not carried there
    assert far["site_share_pct"] < 10
    assert "this site's own hatches" in sure["sentence"] and "(literature)" in books["sentence"]


@pytest.mark.parametrize(
    "cause, check",
    [
        ("gradient", "light gradient"),
        ("uneven", "mixing"),
        ("missed", "nauplii against shells"),
        ("weighing", "mass and volumes"),
    ],
)
def test_each_fault_of_the_count_is_doubted_and_listed(cause, check):
    doubted = 0
    for seed in range(5):
        t = planted((cause,), (0.95,), seed=seed, has_lengths=False)
        case = study(t)
        row = case.counted[case.counted["check"].str.startswith(check)].iloc[0]
        doubted += row["result"] == "doubtful"
        if row["result"] == "doubtful":
            assert "X-" in row["look_again"] and any(line.startswith(check) for line in case.recount)
    assert doubted >= 4


def test_a_sound_count_is_hardly_ever_doubted():
    table = pd.concat([study(planted((), (), seed=seed, has_lengths=False)).counted for seed in range(8)])
    assert (table["result"] == "doubtful").mean() < 0.15  # each of five checks is wrong in about 5 of 100
    assert set(table["check"].str.split(" ").str[0]) == {
        "photo",
        "nauplii",
        "counted",
        "drawn",
        "mixing",
        "light",
        "mass",
    }
    assert (table.loc[table["result"] == "ruled out", "beyond_pct"] <= 35.0).all()


def test_a_light_gradient_is_a_cause_of_its_own():
    t = planted(("gradient",), (0.9,), seed=1, has_lengths=True)
    verdict, named = decide(study(t, objects=t["objects"]))
    assert verdict == "count-doubtful" and named == ("gradient",)


@pytest.mark.parametrize(
    ("own", "others", "protocol", "done", "said"),
    [
        (None, [True, True, None], "no", True, "taken to be taken off, as in this lot's other hatches."),
        (None, [None, None, None], "yes", True, "taken to be taken off, as the protocol in qckit.toml has it."),
        (None, [False, True, None], "no", False, "taken to be left on, as the protocol in qckit.toml has it."),
        (False, [True, True, True], "yes", False, ""),
    ],
)
def test_an_empty_cell_of_decapsulation_is_not_taken_for_no(own, others, protocol, done, said):
    hatches = pd.DataFrame({"hatch": ["X", "B0", "B1", "B2"], "lot": "L", "decapsulated": [own, *others]})
    found = whether_decapsulated(hatches, {"hatch": "X", "lot": "L", "decapsulated": own}, protocol)
    assert found.is_done == done and found.sentence.endswith(said) and bool(found.sentence) == (own is None)


def test_a_page_says_how_decapsulation_was_taken():
    t = planted(("bleached",), (0.6,), is_logged=False)
    t["hatches"] = t["hatches"].assign(decapsulated=pd.array([pd.NA] * len(t["hatches"]), dtype="boolean"))
    finding = explain_hatch(site_of(t), hatch="X")
    assert any("does not say whether it was decapsulated" in line for line in finding.left_out)


@pytest.mark.parametrize(("code", "least"), [("hot", 0.4), ("ph", 0.1), ("cold", 0.25), ("oxygen", 0.35)])
def test_umbrellas_that_nobody_counts_are_not_taken_for_none(code, least):
    """Where only nauplii and cysts are written, what stops embryos as umbrellas lowers all counts."""
    stated = []
    for seed in (1, 2, 3):
        tables = planted([code], [0.35], seed=seed)
        tables["samples"] = tables["samples"].assign(umbrella=np.nan)
        causes = explain(tables, "X").details["causes"]
        stated.append({c["code"]: c["probability"] for c in causes}.get(code, 0.0))
    assert np.mean(stated) > least
