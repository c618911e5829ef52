"""The invented history: deterministic, within the tables' contract, with what is planted in it to be found."""

from datetime import date

import pandas as pd
import pytest

from qckit.errors import InputError
from qckit.practice import EVENTS, POOR_HATCH, invented_history, write_history
from qckit.practice.events import event
from qckit.tables import check_table, to_utc


@pytest.fixture(scope="module")
def history():
    return invented_history()


@pytest.fixture(scope="module")
def production(history):
    counts = history["samples"].query("kind == 'subsample'").groupby("hatch")[["nauplii", "umbrella", "cysts"]].sum()
    hatches = history["hatches"].query("purpose == 'production'").set_index("hatch")
    table = hatches.join(counts, how="inner")
    table["hatch_pct"] = 100.0 * table.nauplii / (table.nauplii + table.umbrella + table.cysts)
    table["umbrella_pct"] = 100.0 * table.umbrella / (table.nauplii + table.umbrella + table.cysts)
    table["day"] = pd.to_datetime(table.started, utc=True).dt.date
    return table


def test_same_seed_same_history_and_another_seed_another(history):
    again, other = invented_history(), invented_history(seed=3)
    for table in history:
        pd.testing.assert_frame_equal(history[table], again[table])
    assert not history["samples"].equals(other["samples"])


def test_keys_are_unique_and_every_row_has_its_parent(history):
    assert history["hatches"].hatch.is_unique
    assert history["samples"]["sample"].is_unique
    assert set(history["hatches"].lot) == {"K-118", "K-121"} == set(history["lots"].lot)
    assert set(history["samples"].hatch) <= set(history["hatches"].hatch)
    assert set(history["readings"].hatch) <= set(history["hatches"].hatch)
    assert not history["hatches"].hatch.str.contains("-124-").any()


def test_hours_fit_the_times(history):
    samples = history["samples"].merge(history["hatches"][["hatch", "started"]], on="hatch")
    elapsed = (to_utc(samples.taken) - to_utc(samples.started)).dt.total_seconds() / 3600
    assert ((elapsed - samples.hours).abs() < 0.26).all()


def test_busy_but_not_too_busy(production):
    per_day = production.groupby("day").size()
    assert per_day.max() == 2
    assert len(per_day) == (date(2026, 11, 5) - date(2025, 9, 8)).days + 1


def test_the_planted_events_show(production):
    heater, salt, air = event("heater week"), event("salinity slip"), event("cone C air")
    lot = production[production.lot == "K-118"]
    in_week = lot.day.between(heater.first, heater.last)
    beside = lot.day.between(date(2026, 1, 12), date(2026, 3, 1)) & ~in_week
    assert lot[beside].hatch_pct.mean() - lot[in_week].hatch_pct.mean() > 15
    assert lot[in_week].umbrella_pct.mean() > 3 * lot[beside].umbrella_pct.mean()

    lot = production[production.lot == "K-121"]
    june = lot.day.between(salt.first, salt.last)
    assert 3 < lot[~june & (lot.cone != "C")].hatch_pct.mean() - lot[june].hatch_pct.mean() < 10
    late_c = (lot.cone == "C") & (lot.day >= air.first)
    assert lot[(lot.cone == "C") & (lot.day < air.first) & ~june].hatch_pct.mean() - lot[late_c].hatch_pct.mean() > 4

    old = production[(production.lot == "K-118")]
    first, last = old[old.day < date(2025, 11, 1)], old[old.day > date(2026, 8, 31)]
    assert first.hatch_pct.mean() - last.hatch_pct.mean() > 15

    poor = production.loc[POOR_HATCH]
    assert poor.hatch_pct < 45
    assert poor.umbrella_pct > 35
    assert poor.ph < 7.6


def test_written_sheets_come_back_the_same(history, tmp_path):
    paths = write_history(tmp_path / "sheets")
    assert [p.name for p in paths] == ["lots.csv", "hatches.csv", "readings.csv", "samples.csv"]
    for path in paths:
        back = check_table(pd.read_csv(path, dtype=str, keep_default_na=False), path.stem)
        pd.testing.assert_frame_equal(back, history[path.stem])


def test_an_unknown_event_is_named_with_the_known_ones():
    with pytest.raises(InputError) as caught:
        event("heater weak")
    assert str(caught.value) == (
        "unknown event 'heater weak'. Did you mean 'heater week'? Known: heater week, salinity slip, cone C air, "
        "K-118 ageing, poor hatch."
    )
    assert len({item.name for item in EVENTS}) == len(EVENTS)
