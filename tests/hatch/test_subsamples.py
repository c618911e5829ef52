"""Which subsamples a hatch's figures rest on, rule by rule (:mod:`qckit.hatch.subsamples`), and what is said of it."""

import numpy as np
import pandas as pd
import pytest

from qckit import hatch
from qckit.tables import check_table

HATCHES = check_table(
    pd.DataFrame(
        [
            {
                "hatch": "H",
                "lot": "L",
                "purpose": "production",
                "cone": "A",
                "started": "2026-01-01T09:00:00+00:00",
                "cysts_g": 1.6,
                "volume_ml": 800,
            }
        ]
    ),
    "hatches",
)


def samples(*rows):
    base = {
        "hatch": "H",
        "taken": "2026-01-02T09:00:00+00:00",
        "kind": "subsample",
        "hours": 24.0,
        "volume_ul": 250,
        "nauplii": 60,
        "umbrella": 0,
        "cysts": 40,
        "shells": 55,
        "counted_by": "photo",
    }
    return check_table(pd.DataFrame([{"sample": f"S{i}", **base, **row} for i, row in enumerate(rows)]), "samples")


def cone(*rows):
    return hatch.cone_metrics(samples(*rows), HATCHES).iloc[0]


def left_out(*rows):
    table = hatch.reading_subsamples(hatch.joined_subsamples(samples(*rows), HATCHES))
    return dict(zip(table["sample"], table["left_out"], strict=True))


def codes(row):
    return [note.code for note in row["notes"]]


BETTER = {"nauplii": 90, "cysts": 10}


def test_readings_further_apart_than_the_tolerance_are_two_and_the_later_of_two_as_near_counts():
    row = cone({"hours": 22.6}, {"hours": 25.4, **BETTER})
    assert (row["hours"], row["hatch_pct"]) == (25.4, 90)
    assert left_out({"hours": 22.6}, {"hours": 25.4}) == {"S0": "other_hour", "S1": ""}
    assert cone({"hours": 23.5}, {"hours": 24.5, **BETTER})["hatch_pct"] == 75


def test_hours_of_a_time_course_do_not_mix_in():
    row = cone(*({"hours": float(h), "nauplii": h} for h in (12, 15, 18, 21)), {"hours": 24.0, **BETTER})
    assert (row["nauplii"], row["n_subsamples"], row["n_left_out"]) == (90, 1, 0)
    assert "other_hour" not in codes(row)


def test_a_person_counting_the_same_photo_again_stands():
    rows = ({"photos": "a.jpg; b.jpg"}, {"photos": "photos/a.jpg", "counted_by": "person", **BETTER})
    row = cone(*rows)
    assert row["hatch_pct"] == 90
    assert str(row["notes"][0]) == "S0 was counted again by a person, whose count stands."


def test_counts_of_two_kinds_are_not_mixed():
    rows = ({}, {}, {"counted_by": "person", **BETTER})
    row = cone(*rows)
    assert (row["hatch_pct"], row["n_subsamples"], row["n_left_out"], row["counted_by"]) == (60, 2, 1, "photo")
    assert str(row["notes"][0]) == "1 subsample counted by a person (S2) checks the figures and is no part of them."
    assert cone(rows[0], rows[2])["hatch_pct"] == 90  # as many of both: a person's


def test_a_stage_missing_in_one_subsample_comes_from_the_others():
    row = cone({"cysts": None, "nauplii": 5}, BETTER, BETTER)
    assert (row["hatch_pct"], row["nauplii"], row["n_subsamples"]) == (90, 180, 2)
    assert row["hatching_efficiency_per_g"] / row["hatch_pct"] * 100 == pytest.approx(row["full_cysts_per_g"])
    assert str(row["notes"][0]) == "Not every stage was counted in S0: the figures rest on the other subsamples."
    assert cone({"umbrella": None}, BETTER)["hatch_pct"] == 90


def test_a_sample_without_its_count_of_nauplii_is_no_count():
    rows = samples({}, BETTER)
    rows.loc[0, "nauplii"] = None
    row = hatch.cone_metrics(rows, HATCHES).iloc[0]
    assert (row["hatch_pct"], row["n_subsamples"], row["n_left_out"]) == (90, 1, 1)


def test_a_stage_missing_everywhere_leaves_open_what_rests_on_it():
    row = cone({"cysts": None}, {"cysts": None})
    assert np.isnan(row["hatch_pct"]) and row["hatching_efficiency_per_g"] == pytest.approx(120_000)
    assert codes(row) == ["no_unhatched"]
    assert codes(cone({"umbrella": None})) == ["cysts_for_embryos", "no_umbrella"]
    assert codes(cone({"cysts": 0, "nauplii": 0})) == ["cysts_for_embryos", "no_full_cyst"]


def test_shells_count_where_they_were_counted():
    row = cone({"shells": None}, {"shells": 50})
    assert (row["shells"], row["shell_whole"], row["shell_nauplii"], row["shell_opened"]) == (50, 90, 60, 60)
    assert row["opened_pct"] == pytest.approx(100 * 50 / 90)
    assert codes(row)[-1] == "shells_in_part"
    witnesses = hatch.compare_witnesses(pd.DataFrame([row]))
    assert (witnesses.nauplii, witnesses.shells) == (60, 50)


def test_a_missing_volume_is_said():
    row = cone({"volume_ul": None}, {})
    assert np.isnan(row["hatching_efficiency_per_g"]) and row["hatch_pct"] == 60
    assert hatch.gaps(row["notes"])[0].code == "no_volume"


def test_the_order_of_rows_changes_nothing():
    rows = [{"hours": 23.0}, {"cysts": None}, {"counted_by": "person", **BETTER}, {"hours": 30.0}, {"shells": None}]
    one, other = cone(*rows), cone(*[{"sample": f"S{i}", **row} for i, row in reversed(list(enumerate(rows)))])
    for name in ("hatch_pct", "hatching_efficiency_per_g", "opened_pct", "n_subsamples", "hours"):
        assert one[name] == pytest.approx(other[name])
