"""One row per hatch: metrics, harvest, conditions in their standard units, what was off the standard."""

import numpy as np
import pandas as pd
import pytest

from qckit import charts
from qckit.tables import check_table, empty_table


def tables(readings=()):
    hatches = check_table(
        pd.DataFrame(
            [
                {
                    "hatch": "h2",
                    "lot": "L1",
                    "purpose": "production",
                    "cone": "B",
                    "started": "2026-03-02T09:10:00+00:00",
                    "cysts_g": 2,
                    "volume_ml": 1000,
                    "temperature_c": 28,
                    "salinity_ppt": 33,
                    "ph": 8.2,
                    "oxygen_mg_l": 6.2,
                    "light_lux": 2000,
                    "operator": "op1",
                },
                {
                    "hatch": "h1",
                    "lot": "L1",
                    "purpose": "production",
                    "cone": "A",
                    "started": "2026-03-01T09:00:00+00:00",
                    "cysts_g": 2,
                    "volume_ml": 1000,
                    "temperature_c": 23.2,
                    "salinity_ppt": 33,
                    "ph": 7.2,
                },
                {
                    "hatch": "t1",
                    "lot": "L1",
                    "purpose": "standard test",
                    "cone": "C",
                    "started": "2026-03-01T09:00:00+00:00",
                    "cysts_g": 1.6,
                    "volume_ml": 800,
                },
                {
                    "hatch": "h3",
                    "lot": "L1",
                    "purpose": "production",
                    "cone": "A",
                    "started": "2026-03-03T09:00:00+00:00",
                    "cysts_g": 2,
                    "volume_ml": 1000,
                },
            ]
        ),
        "hatches",
    )
    rows = []
    for hatch, nauplii in (("h1", 60), ("h2", 85)):
        for i in range(2):
            rows.append(
                {
                    "sample": f"{hatch}-{i}",
                    "hatch": hatch,
                    "taken": "2026-03-03T09:00:00+00:00",
                    "hours": 24,
                    "kind": "subsample",
                    "volume_ul": 250,
                    "dilution": 1,
                    "nauplii": nauplii,
                    "umbrella": 5,
                    "cysts": 95 - nauplii,
                    "shells": nauplii,
                    "counted_by": "photo" if i else "person",
                }
            )
    rows.append(
        {
            "sample": "h2-S",
            "hatch": "h2",
            "taken": "2026-03-03T10:00:00+00:00",
            "kind": "sieve",
            "nauplii": 400,
            "shells": 10,
            "counted_by": "photo",
        }
    )
    samples = check_table(pd.DataFrame(rows), "samples")
    lots = check_table(pd.DataFrame([{"lot": "L1", "opened": "2026-02-01"}]), "lots")
    given = pd.DataFrame(readings, columns=["hatch", "taken", "quantity", "value", "unit"])
    return lots, hatches, samples, check_table(given, "readings") if len(given) else None


def test_one_row_per_production_hatch_in_the_order_of_time():
    series = charts.hatch_series(*tables())
    assert series["hatch"].tolist() == ["h1", "h2", "h3"]
    assert series["hatch_pct"].tolist()[:2] == pytest.approx([60.0, 85.0])
    assert np.isnan(series["hatch_pct"][2])
    # 85 nauplii in 250 µl of 1000 ml with 2 g: 85 x 4000 / 2
    assert series["hatching_efficiency_per_g"][1] == pytest.approx(170_000)
    assert series["shells_per_1000"][1] == pytest.approx(25)
    assert series["counted_by"][0] == "person"  # as many of both kinds: a person's
    assert series["lot_age_days"][0] == pytest.approx(28.375)
    assert series["operator"].tolist() == ["", "op1", ""]


def test_conditions_off_the_standard_are_named():
    series = charts.hatch_series(*tables())
    assert series["off_standard"].tolist() == ["temperature 23.2 °C, below 27; pH 7.20, below 8", "", ""]


def test_readings_count_before_the_sheet_and_in_their_standard_unit():
    at = "2026-03-02T10:00:00+00:00"
    readings = [
        ("h2", at, "temperature", 82.4, "°F"),
        ("h2", "2026-03-02T20:00:00+00:00", "temperature", 28.4, "°C"),
        ("h2", at, "oxygen", 100, "%"),
        ("h1", at, "oxygen", 5.5, "mg/l"),
    ]
    series = charts.hatch_series(*tables(readings)).set_index("hatch")
    assert series.loc["h2", "temperature_c"] == pytest.approx(28.2)
    assert series.loc["h2", "oxygen_mg_l"] == pytest.approx(6.5, abs=0.1)  # saturated at 33 ppt and 28 °C
    assert series.loc["h1", "oxygen_mg_l"] == 5.5 and series.loc["h1", "temperature_c"] == 23.2


def test_nothing_gives_the_same_columns():
    empty = charts.hatch_series(*(empty_table(n) for n in ("lots", "hatches", "samples", "readings")))
    assert len(empty) == 0 and list(empty.columns) == list(charts.hatch_series(*tables()).columns)


def test_points_of_a_chart_leave_out_what_was_not_counted():
    series = charts.hatch_series(*tables())
    points = charts.chart_points(series, "hatch_pct")
    assert points["label"].tolist() == ["h1", "h2"] and points["count"].tolist() == [60, 85]
    assert points["group"].tolist() == ["L1", "L1"]
    assert charts.chart_points(series, "temperature_c")["group"].tolist() == ["", ""]
