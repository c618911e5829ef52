"""The door in Python: hatches and harvests of a site chosen by lot and cone, each figure beside what it belongs to."""

import pandas as pd
import pytest

import qckit
from qckit.log import new_site


@pytest.fixture
def room(tmp_path):
    """Three hatches in three cones, each with one subsample and one sieve sample (invented)."""
    site = qckit.load_site(new_site(tmp_path / "room"))
    started = ["2026-10-30T09:00+00:00", "2026-10-31T09:00+00:00", "2026-11-01T09:00+00:00"]
    hatches = {"hatch": ["H1", "H2", "H3"], "lot": ["K-1", "K-1", "K-2"], "cone": ["A", "B", "C"], "started": started}
    usual = {"purpose": "production", "cysts_g": 20.0, "volume_ml": 20_000, "operator": "op1"}
    counts = {"nauplii": [80, 60, 40], "umbrella": 1, "cysts": [19, 39, 59], "shells": [70, 50, 40]}
    sieve = {"nauplii": [90, 80, 60], "umbrella": 0, "cysts": 5, "shells": [5, 15, 35]}
    about = {"hatch": hatches["hatch"], "taken": [s.replace("T09", "T23") for s in started], "counted_by": "person"}
    cone = about | {"sample": ["S1", "S2", "S3"], "kind": "subsample", "volume_ul": 250} | counts
    harvest = about | {"sample": ["Z1", "Z2", "Z3"], "kind": "sieve"} | sieve
    with qckit.open_log(site.folder) as log:
        log.add("lots", pd.DataFrame({"lot": ["K-1", "K-2"]}), by="op1")
        log.add("hatches", pd.DataFrame(hatches | usual), by="op1")
        log.add("samples", pd.concat([pd.DataFrame(cone), pd.DataFrame(harvest)], ignore_index=True), by="op1")
    return site


def test_hatches_of_several_cones_or_lots_are_chosen_by_a_list(room):
    assert room.hatches(cone=["A", "C"])["hatch"].tolist() == ["H1", "H3"]
    assert room.hatches(lot="K-1", cone=("B", "C"))["hatch"].tolist() == ["H2"]
    assert room.hatches(lot=pd.Series(["K-2"]))["hatch"].tolist() == ["H3"]
    with pytest.raises(qckit.InputError, match=r"unknown cone 'Z'\. Known: A, B, C"):
        room.hatches(cone=["A", "Z"])
    with pytest.raises(qckit.InputError, match="unknown cone '3'"):
        room.hatches(cone=3)


def test_purity_stands_beside_its_hatch(room):
    rows = room.purity()
    assert rows.columns[:7].tolist() == ["hatch", "lot", "cone", "operator", "started", "taken", "sample"]
    assert rows["sample"].tolist() == ["Z1", "Z2", "Z3"]
    assert rows["purity_pct"].tolist() == [90, 80, 60]  # of a hundred objects each
    assert rows["cone"].tolist() == ["A", "B", "C"]
    assert room.purity("2026-10", lot="K-1", cone=["A", "B"])["sample"].tolist() == ["Z1", "Z2"]
    assert room.purity(lot="K-2")["purity_pct"].tolist() == [60]
