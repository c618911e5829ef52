"""Metrics of subsamples and cones: properties, stand-ins, empty and broken input."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qckit import hatch
from qckit.errors import InputError
from qckit.tables import check_table


def hatches(**changes):
    row = {
        "hatch": "H",
        "lot": "L",
        "purpose": "standard test",
        "cone": "A",
        "started": "2026-01-01T09:00:00+00:00",
        "cysts_g": 1.6,
        "volume_ml": 800,
        **changes,
    }
    return check_table(pd.DataFrame([row]), "hatches")


def samples(*rows):
    base = {
        "hatch": "H",
        "taken": "2026-01-02T09:00:00+00:00",
        "kind": "subsample",
        "volume_ul": 250,
        "nauplii": 100,
        "umbrella": 4,
        "cysts": 20,
        "shells": 98,
        "counted_by": "person",
    }
    return check_table(pd.DataFrame([{"sample": f"S{i}", **base, **row} for i, row in enumerate(rows)]), "samples")


def one(*rows, lots=None, **changes):
    return hatch.cone_metrics(samples(*rows), hatches(**changes), lots).iloc[0]


def test_hours_come_from_the_clock_when_not_written():
    assert one({})["hours"] == pytest.approx(24)


def test_embryos_go_before_cysts_and_the_basis_is_said():
    assert one({"embryos": 10})["hatch_pct"] == pytest.approx(100 * 100 / 114)
    assert one({"embryos": 10})["notes"] == ()
    cone = one({})
    assert (cone["basis"], cone["hatch_pct"]) == ("cysts", pytest.approx(100 * 100 / 124))
    assert [note.code for note in cone["notes"]] == ["cysts_for_embryos"]
    assert str(cone["notes"][0]).startswith("Unhatched cysts stand in for embryos: dead full cysts and empty closed")


def test_neither_embryos_nor_cysts_leaves_the_percentage_open_and_the_efficiency_known():
    cone = one({"cysts": None})
    assert np.isnan(cone["hatch_pct"]) and cone["hatching_efficiency_per_g"] == pytest.approx(200_000)


def test_dilution_moisture_and_dry_weight():
    lots = check_table(pd.DataFrame([{"lot": "L", "moisture_pct": 5, "dry_weight_ug": 2.0}]), "lots")
    cone = one({"dilution": 2}, lots=lots)
    assert cone["hatching_efficiency_per_g"] == pytest.approx(400_000)
    assert cone["hatching_efficiency_per_dry_g"] == pytest.approx(400_000 / 0.95)
    assert cone["output_mg_per_g"] == pytest.approx(800)


def test_opened_fraction_and_umbrella_share():
    cone = one({})
    assert cone["opened_pct"] == pytest.approx(100 * 98 / 122)
    assert cone["umbrella_pct"] == pytest.approx(100 * 4 / 124)


def test_of_a_time_course_the_reading_hour_counts():
    rows = [{"taken": f"2026-01-01T{h:02d}:00:00+00:00", "nauplii": n} for h, n in ((21, 20), (23, 60))]
    cone = one(*rows, {"nauplii": 100})
    assert (cone["n_subsamples"], cone["nauplii"]) == (1, 100)
    late = one({"taken": "2026-01-03T09:00:00+00:00"})
    assert str(late["notes"][0]) == "Read at 48.0 h instead of 24 h."


def test_the_highest_revision_counts_and_sieve_samples_do_not():
    cone = one(
        {"sample": "X", "revision": 0, "nauplii": 10},
        {"sample": "X", "revision": 1, "nauplii": 90},
        {"kind": "sieve", "nauplii": 5000},
    )
    assert (cone["nauplii"], cone["n_subsamples"]) == (90, 1)


def test_nothing_counted_gives_empty_tables_with_the_same_columns():
    none = samples({}).iloc[:0]
    assert list(hatch.cone_metrics(none, hatches()).columns) == list(hatch.CONE_COLUMNS)
    assert list(hatch.sample_metrics(none, hatches()).columns) == list(hatch.SAMPLE_COLUMNS)
    lot = hatch.summarise_cones(hatch.cone_metrics(none, hatches()), lot="L")
    assert lot.n_cones == 0 and lot.hatch_pct.note == "Nothing was counted."
    assert list(lot.to_frame().columns) == list(hatch.SUMMARY_COLUMNS)


def test_a_sample_of_an_unknown_hatch_is_refused():
    with pytest.raises(InputError) as error:
        hatch.cone_metrics(samples({"hatch": "HH"}), hatches())
    assert str(error.value) == "samples, sample S0: unknown hatch 'HH'. Did you mean 'H'? Known: H."


def test_volume_comes_from_the_frame_and_the_chamber_depth():
    photos = pd.DataFrame(
        {
            "photo": ["photos/a.jpg", "b.jpg"],
            "um_per_px": [6.2, 6.2],
            "width_px": [1920, 1920],
            "height_px": [1440, 1440],
        }
    )
    rows = samples(
        {"volume_ul": None, "chamber_depth_mm": 1.0, "photos": "a.jpg; b.jpg"},
        {"chamber_depth_mm": 1.0, "photos": "a.jpg"},
        {"volume_ul": None, "photos": "a.jpg"},
    )
    filled = hatch.fill_volumes(rows, photos)["volume_ul"].tolist()
    assert filled[0] == pytest.approx(2 * 11.904 * 8.928)
    assert filled[1] == 250 and np.isnan(filled[2])


counts = st.integers(0, 500)


@given(n=counts, u=counts, c=counts)
def test_percentage_lies_between_0_and_100_and_grows_with_nauplii(n, u, c):
    value = float(hatch.hatching_percentage(n, u, c))
    if n + u + c == 0:
        assert np.isnan(value)
    else:
        assert 0 <= value <= 100
        assert float(hatch.hatching_percentage(n + 1, u, c)) >= value


@settings(max_examples=20, deadline=None)
@given(k=st.integers(1, 6), n=st.integers(1, 300))
def test_efficiency_does_not_depend_on_how_a_volume_is_split(k, n):
    split = one(*[{"nauplii": n, "volume_ul": 100}] * k)
    whole = one({"nauplii": n * k, "volume_ul": 100 * k})
    assert split["hatching_efficiency_per_g"] == pytest.approx(whole["hatching_efficiency_per_g"])
