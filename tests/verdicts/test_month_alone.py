"""Single hatches that stand out in a first month, where each is part of what it is judged by."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from qckit.charts.search import find_changes_in_levels
from qckit.errors import InputError
from qckit.log import new_site, open_log
from qckit.reports.month_records import set_aside, study_of, take_back
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.tables import check_table, table_columns
from qckit.verdicts.month.set_aside import aside_row
from qckit.verdicts.month.single_hatches import chances_alone
from qckit.verdicts.month.single_hatches_words import apart_sentence
from qckit.verdicts.month.study import study_month
from qckit.verdicts.month.verdict import finding_of_month


def first_month(bad, n=23, seed=0):
    """A site whose first month is a hatch a day of 84 %, some of them bad: number -> share."""
    rng, rows = np.random.default_rng(seed), {"lots": [{"lot": "L1", "opened": "2026-03-01"}]}
    rows |= {"hatches": [], "samples": [], "readings": []}
    for i in range(n):
        start, name = datetime(2026, 3, 1, 8, tzinfo=UTC) + timedelta(days=i), f"H{i + 1:02d}"
        share = bad.get(i + 1, 1 / (1 + np.exp(-1.66 - 0.15 * rng.normal())))
        hatch = {"hatch": name, "lot": "L1", "cone": "A", "operator": "op1", "started": start.isoformat()}
        rows["hatches"].append(hatch | {"purpose": "production", "cysts_g": 30.0, "volume_ml": 20_000})
        for k in range(3):
            full, taken = int(rng.poisson(120)), start + timedelta(hours=24, minutes=k)
            nauplii = int(rng.binomial(full, share))
            sample = {"sample": f"{name}-{k}", "hatch": name, "taken": taken.isoformat(), "hours": 24.0}
            sample |= {"kind": "subsample", "volume_ul": 300.0, "dilution": 1, "counted_by": "person", "revision": 0}
            rows["samples"].append(sample | {"nauplii": nauplii, "umbrella": 0, "cysts": full - nauplii, "shells": 90})
    reading = {"hatch": "H01", "taken": "2026-03-01T09:00+00:00", "quantity": "temperature", "value": 28.0, "unit": "C"}
    rows["readings"].append(reading)
    sheets = {
        name: check_table(pd.DataFrame(part).reindex(columns=table_columns(name)), name) for name, part in rows.items()
    }
    return SiteTables(settings=Settings(), **sheets)


def test_one_bad_hatch_of_a_first_month_is_called_out():
    study = study_month(first_month({15: 0.43}), month="2026-03")
    finding = finding_of_month(study)
    assert finding.verdict == "signals"
    assert finding.headline == "To be explained: 1 hatch stands out (H15)."
    (line,) = [e.answer for e in finding.evidence if e.code == "alone"]
    assert line.startswith("H15 (hatching percentage 4")
    assert finding.next_steps[0].endswith("; qckit report poor-hatch H15 looks for its cause.")
    chart = study.charts["L1", "hatch_pct"]
    assert chart.signals["label"].tolist() == ["H15"]
    # it is judged by limits that it did not set
    assert chart.limits.n_points == 22 and chart.frame["low"].min() > 65
    assert chart.baseline_words.endswith(", 1 set aside")


def test_two_bad_hatches_do_not_hide_each_other():
    study = study_month(first_month({4: 0.5, 15: 0.43}), month="2026-03")
    assert set(study.signals.loc[study.signals["state"] == "open", "hatch"]) == {"H04", "H15"}


@pytest.mark.parametrize("seed", range(4))
def test_a_quiet_first_month_calls_none_out(seed):
    study = study_month(first_month({}, seed=seed), month="2026-03")
    assert finding_of_month(study).verdict == "in-control"
    assert study.charts["L1", "hatch_pct"].limits.n_points == 23


def lines_of(finding, code):
    return [e.answer for e in finding.evidence if e.code == code]


def with_signal(tables, hatch, state, rule="stands_out"):
    """The site after a person explained a hatch (state explained), or said that it counts (rule set aside, open)."""
    at = tables.hatches.set_index("hatch").at[hatch, "started"]
    row = aside_row(
        chart="hatch_pct", hatch=hatch, lot="L1", at=at, value=43.0, by="op1", reason="heater off", found_at=at
    )
    return tables.but(signals=row.assign(signal=f"hatch_pct|{hatch}|{rule}", rule=rule, state=state))


APART = (
    "H15 (45.4 % in 2026-03) stands out. It counts in no limits proposed here and in no search for changes, in this "
    "month or a later one. If it was an ordinary hatch after all: "
    "qckit report set-aside H15 --undo --reason TEXT --by NAME."
)


def test_a_bad_hatch_is_no_part_of_what_is_usual_in_its_month_nor_in_the_next():
    tables = first_month({15: 0.43}, n=52)
    for month in ("2026-03", "2026-04"):
        study = study_month(tables, month=month)
        assert study.apart == {"H15": "2026-03"}
        for name in ("hatch_pct", "hatching_efficiency_per_g", "opened_pct"):
            chart = study.charts["L1", name]
            assert chart.limits.n_points == 30, name
            assert {p["label"]: p["reason"] for p in chart.set_aside} == {"H15": "its percentage stands out"}
        assert study.lots["L1"].capability.n_hatches == (30 if month == "2026-03" else 50)
        finding = finding_of_month(study)
        assert lines_of(finding, "apart") == [APART]
        assert finding.verdict == ("signals" if month == "2026-03" else "in-control")


def test_a_person_says_that_it_belongs():
    tables = with_signal(first_month({15: 0.43}, n=52), "H15", "open", rule="set aside")
    study = study_month(tables, month="2026-04")
    assert study.apart == {} and study.charts["L1", "hatch_pct"].limits.n_points == 31
    assert lines_of(finding_of_month(study), "apart") == []
    # it stands out all the same, and is to be explained
    study = study_month(tables, month="2026-03")
    assert set(study.signals.loc[study.signals["state"] == "open", "hatch"]) == {"H15"}
    explained = with_signal(tables, "H15", "explained").signals
    tables = tables.but(signals=pd.concat([tables.signals, explained], ignore_index=True))
    assert finding_of_month(study_month(tables, month="2026-03")).verdict == "in-control"
    assert study_month(tables, month="2026-04").charts["L1", "hatch_pct"].limits.n_points == 31


def test_a_person_says_so_in_the_log(tmp_path):
    site, tables = new_site(tmp_path / "site"), first_month({15: 0.43})
    with open_log(site) as log:
        log.add_many({n: getattr(tables, n) for n in ("lots", "hatches", "samples", "readings")}, by="op1", source="x")
    with pytest.raises(InputError, match=r"H14 is neither set aside nor left out .* Set aside now: none\."):
        take_back(site, "H14", reason="sold so", by="op1")
    with pytest.raises(InputError, match="unknown hatch 'H99'"):
        take_back(site, "H99", reason="sold so", by="op1")
    sentence = "H15 counts although it stands out, says op1: sold so."
    assert take_back(site, "H15", reason="sold so", by="op1") == sentence
    assert study_of(site, "2026-03", "").apart == {}
    assert take_back(site, "H15", reason="sold so", by="op1") == "H15 counts already. Nothing changed."
    assert set_aside(site, "H15", reason="heater off", by="op2", chart="hatch_pct").startswith("H15 is set aside in ")
    with pytest.raises(InputError, match=r"not set aside in opened_pct\. It is set aside in hatch_pct: name"):
        take_back(site, "H15", reason="sold so", by="op1", chart="opened_pct")
    study = study_of(site, "2026-03", "")
    assert set(study.aside["hatch"]) == {"H15"} and study.charts["L1", "hatch_pct"].limits.n_points == 22


def test_what_is_explained_stays_out_of_the_limits():
    tables = with_signal(first_month({15: 0.43}, n=52), "H15", "explained")
    for month in ("2026-03", "2026-04"):
        study = study_month(tables, month=month)
        assert study.charts["L1", "hatch_pct"].limits.n_points == 30
        assert finding_of_month(study).verdict == "in-control"


@pytest.mark.parametrize("bad", [(21, 22, 23), (10, 11, 12), (18, 19, 20, 21, 22, 23)])
def test_bad_hatches_in_a_row_are_a_change_and_none_is_left_out(bad):
    study = study_month(first_month(dict.fromkeys(bad, 0.5)), month="2026-03")
    (shift,) = study.shifts
    assert list(shift.labels) == [f"H{i:02d}" for i in bad]
    assert study.apart == {} and finding_of_month(study).verdict == "out-of-control"


def searched(y, **columns):
    n = len(y)
    at = pd.Timestamp("2026-01-01 08:00", tz="UTC") + pd.to_timedelta(np.arange(n), unit="D")
    counts = {"counting": 1e-4, "size": 1e5, "lot": "L1", "cone": "A", "operator": "op1", "counted_by": "person"}
    frame = pd.DataFrame({"label": [f"h{i}" for i in range(n)], "at": at, "y": y} | counts | columns)
    return find_changes_in_levels(frame, alpha=0.01)


def test_a_hatch_is_judged_as_by_the_others_alone():
    """The farther off it lies, the rarer it is: it does not widen its own spread."""
    y = np.random.default_rng(3).normal(1.5, 0.2, 30)
    chances = []
    for far in (1.0, 2.0, 4.0):
        y[7] = 1.5 - far
        p = chances_alone(searched(y), np.ones(30, bool))
        assert p[7] == p.min()
        chances.append(p[7])
    assert chances[0] > 5 * chances[1] > 25 * chances[2]


def test_one_failed_hatch_at_the_start_makes_no_rise_of_all_others():
    y = np.random.default_rng(5).normal(1.5, 0.15, 30)
    y[0] = -0.5
    search = searched(y)
    assert search.changes == []
    assert np.argmin(chances_alone(search, np.ones(30, bool))) == 0


def test_who_is_not_judged_has_no_chance():
    y = np.random.default_rng(4).normal(1.5, 0.2, 40)
    judged = np.arange(40) >= 25
    p = chances_alone(searched(y), judged)
    assert np.isnan(p[:25]).all() and ((p[25:] > 0) & (p[25:] <= 1)).all()


def test_the_only_hatch_of_a_lot_says_nothing_of_itself():
    y = np.random.default_rng(6).normal(1.5, 0.2, 30)
    y[29] = -3.0
    lots = ["L1"] * 29 + ["L2"]
    assert chances_alone(searched(y, lot=lots), np.ones(30, bool))[29] > 0.5


def test_of_many_hatches_the_first_are_named():
    hatches = [{"hatch": f"H{i}", "hatch_pct": 40.0, "month": "2026-03"} for i in range(10)]
    assert "H1 (40.0 % in 2026-03) stand out. They count in no" in apart_sentence(hatches[:2])
    text = apart_sentence(hatches)
    assert "H7 (40.0 % in 2026-03) and 2 more hatches stand out." in text and "If one was an ordinary hatch" in text
    assert "H0 (40.0 % in 2026-03) stands out. It counts" in apart_sentence(hatches[:1])
