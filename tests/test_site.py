"""The door in Python: hatches and harvests of a site chosen by lot and cone, each figure beside what it belongs to."""

import pandas as pd
import pytest

import qckit
from qckit import hatch
from qckit.log import new_site, seal_of


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


def test_a_hatch_has_a_row_for_each_hour_that_is_asked_about(room):
    about = {"hatch": "H1", "kind": "subsample", "volume_ul": 250, "counted_by": "person"}
    late = {"sample": ["L1"], "taken": ["2026-10-31T15:00+00:00"], "nauplii": 90, "umbrella": 0, "cysts": 10}
    with qckit.open_log(room.folder) as log:
        log.add("samples", pd.DataFrame(about | late), by="op1")
    room.reload()
    both = room.hatches(lot="K-1", hours=[14, 30])
    assert both[["hatch", "hours", "hatch_pct"]].values.tolist() == [["H1", 14, 80], ["H1", 30, 90], ["H2", 14, 60]]
    alone = room.hatches(hours=30)
    assert alone["hatch"].tolist() == ["H1", "H2", "H3"] and alone["hatch_pct"].isna().tolist() == [False, True, True]
    with pytest.raises(qckit.InputError) as caught:
        room.hatches(hours=20)
    assert str(caught.value) == ("hours: no sample was counted within 1.5 h of 20 h from wetting. Counted: 14 h, 30 h.")
    with pytest.raises(qckit.InputError, match=r"hours: '14' is no number of hours from wetting"):
        room.hatches(hours="14")


def test_tables_carry_their_units_and_remarks_as_text(room):
    rows = room.hatches()
    units = rows.attrs["units"]
    assert (units["hatch_pct_low"], units["cysts_g"], units["hatching_efficiency_per_g"]) == ("%", "g", "nauplii/g")
    assert room.purity().attrs["units"]["purity_pct"] == "%"
    assert rows["remarks"].str.startswith("Read at 14.0 h instead of 24 h. Unhatched cysts stand in for embryos").all()
    about = hatch.describe_columns(rows).set_index("column")
    assert about.index.tolist() == list(rows) and "lower bound" in about.loc["hatch_pct_low", "meaning"]
    unexplained = [c for c in rows if c.endswith(("_pct", "_per_g", "_ul", "_g", "_ml")) and not about.loc[c, "unit"]]
    assert unexplained == []


def test_methods_for_a_paper_are_those_of_the_records(room):
    incubated, counted, figures, _, versions = room.methods_text(lot="K-1").splitlines()
    assert incubated == (
        "Cysts of Artemia of 1 lot were incubated in 2 cones (2 hatches): 20 g of cysts in 20\u202f000 ml of water."
    )
    assert counted == "2 subsamples of 250 µl were counted at 14 h from wetting."
    assert "100 N / (N + U + C)" in figures
    with qckit.open_log(room.folder) as log:
        assert f"qckit {qckit.__version__} from the records with the seal {seal_of(log)}." in versions
