"""Hatches whose figures can hardly be (a tenfold mass): shown in the month, asked about, in no limits."""

import shlex

import numpy as np
import pandas as pd
import pytest
from test_month_alone import first_month, with_signal

from qckit import cli, load_site
from qckit.log import new_site, open_log
from qckit.reports.month_records import set_aside, take_back
from qckit.verdicts.month.study import study_month
from qckit.verdicts.month.tables import baseline_rows, baseline_table
from qckit.verdicts.month.verdict import finding_of_month, review_month

BAD = ("H05", "H08", "H40")  # two of March, one of April
CHART = ("L1", "hatching_efficiency_per_g")


def with_tenfold_grams(tables, *hatches):
    table = tables.hatches.copy()
    table.loc[table["hatch"].isin(hatches), "cysts_g"] *= 10
    return tables.but(hatches=table)


@pytest.fixture(scope="module")
def clean():
    return first_month({}, n=52)


@pytest.fixture(scope="module")
def site(clean):
    return with_tenfold_grams(clean, *BAD)


def test_no_limits_rest_on_a_doubted_hatch(site, clean):
    """Two tenfold masses made the limits of nauplii per gram eight times as wide, without a word."""
    study, other = (study_month(tables, month="2026-04") for tables in (site, clean))
    width = [s.charts[CHART].limits.sigma for s in (study, other)]
    assert width[0] == pytest.approx(width[1], rel=0.15)
    frame = study.charts[CHART].frame.set_index("label")
    assert frame.loc[["H05", "H08"], "phase"].tolist() == ["set aside", "set aside"]
    assert frame.loc["H40", "phase"] == "monitored"  # of the month itself: shown, and read by the rules
    told = baseline_table(study).set_index("chart").loc["hatching efficiency", "set_aside"]
    assert told.startswith("H05: its figures can hardly be: ")
    assert study.lots["L1"].efficiency.value == pytest.approx(other.lots["L1"].efficiency.value, rel=0.02)


def test_no_limits_rest_on_one_of_another_lot_that_tells_of_the_rooms_days():
    """Two cones a day, half of what varies shared by the day: what lots before show of it goes into a lot's limits."""
    tables = first_month({}, n=104)
    day, shared = np.arange(104) // 2, np.exp(np.random.default_rng(0).normal(0, 0.08, 52))
    started = pd.Timestamp("2026-03-02T09:00Z") + pd.to_timedelta(day, "D") + pd.to_timedelta(np.arange(104) % 2, "m")
    lot = np.where(np.arange(104) < 60, "L0", "L1")
    hatches = tables.hatches.assign(lot=lot, started=[at.isoformat() for at in started])
    level = tables.samples["hatch"].map(dict(zip(hatches["hatch"], shared[day], strict=True)))
    samples = tables.samples.assign(nauplii=(tables.samples["nauplii"] * level).round().astype(int))
    lots = pd.concat([tables.lots.assign(lot="L0"), tables.lots], ignore_index=True)
    room, bad = tables.but(hatches=hatches, samples=samples, lots=lots), ["H05", "H18", "H30"]
    without = room.but(hatches=hatches[~hatches["hatch"].isin(bad)], samples=samples[~samples["hatch"].isin(bad)])
    limits = [study_month(t, month="2026-04").charts[CHART].limits for t in (with_tenfold_grams(room, *bad), without)]
    assert limits[0].spread == "days"
    assert limits[0].sigma == pytest.approx(limits[1].sigma, rel=1e-6)


def test_it_is_asked_about_with_both_commands(site):
    finding = review_month(site, month="2026-04")
    assert finding.next_steps[0].startswith("H40: ") and finding.next_steps[0].endswith(
        ". No limits and no mean of nauplii per gram rest on it until somebody has looked. Look at its grams on the "
        "sheet. If they are wrong:  qckit log correct hatches H40 cysts_g VALUE --reason TEXT;  if it is right as it "
        "stands:  qckit report set-aside H40 --undo --reason TEXT --by NAME"
    )
    assert [line[:16] for line in finding.left_out] == ["H05 (in 2026-03)", "H08 (in 2026-03)"]
    assert finding.details["doubted"] == list(BAD)


def test_one_that_a_person_calls_right_counts(site):
    study = study_month(with_signal(site, "H40", "open", rule="set aside"), month="2026-04")
    assert "H40" not in study.doubted and "H05" in study.doubted
    assert not any(step.startswith("H40: ") for step in finding_of_month(study).next_steps if "No limits" in step)


@pytest.mark.parametrize("is_slip", [True, False])
def test_limits_frozen_over_such_hatches_are_named_with_how_to_freeze_anew(site, clean, is_slip):
    """They stayed as they were frozen, and no page said so."""
    # as frozen by a person who calls them right, or before the slip was known
    tables = site if is_slip else clean
    if is_slip:
        by_hand = [with_signal(tables, hatch, "open", rule="set aside").signals for hatch in BAD[:2]]
        tables = tables.but(signals=pd.concat(by_hand, ignore_index=True))
    rows = baseline_rows(study_month(tables, month="2026-04"), set_by="op1", set_at="2026-05-01T09:00:00+00:00")
    now = study_month((site if is_slip else clean).but(baselines=rows), month="2026-04")
    assert now.charts[CHART].is_frozen
    stale = [step for step in finding_of_month(now).next_steps if step.startswith("Records behind frozen limits")]
    assert len(stale) == is_slip and all("hatching efficiency of L1, frozen at " in step for step in stale)
    assert all(step.endswith("qckit report month 2026-04 --freeze-baselines --anew --by NAME") for step in stale)
    assert sum(bool(chart.stale) for chart in now.charts.values()) == is_slip
    again = study_month(site.but(baselines=rows), month="2026-04", is_proposed=True)
    anew = baseline_rows(again, set_by="op1", set_at="2026-05-02T09:00:00+00:00")
    assert not any(c.stale for c in study_month(site.but(baselines=anew), month="2026-04").charts.values())


@pytest.mark.parametrize("n_left", [0, 1, 2, 7])
def test_frozen_limits_whose_hatches_were_withdrawn_since_stop_no_review(clean, n_left):
    """With two left the review ended in an error of a solver."""
    rows = baseline_rows(study_month(clean, month="2026-04"), set_by="op1", set_at="2026-05-01T09:00:00+00:00")
    left = clean.hatches["hatch"].isin({*clean.hatches["hatch"][:n_left], *clean.hatches["hatch"][40:]})
    names = set(clean.hatches.loc[left, "hatch"])
    site = clean.but(
        hatches=clean.hatches[left], samples=clean.samples[clean.samples["hatch"].isin(names)], baselines=rows
    )
    study = study_month(site, month="2026-04")
    assert study.charts[CHART].is_frozen and (n_left > 2 or not study.charts[CHART].stale)


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A site in whose log three tenfold masses and a count that cannot be stand; of one mass each is said."""
    tables = with_tenfold_grams(first_month({}, n=24), "H05", "H08", "H11")
    too_many = tables.samples.assign(nauplii=tables.samples["nauplii"].mask(tables.samples["sample"] == "H20-0", 9000))
    folder = new_site(tmp_path_factory.mktemp("evidence") / "site")
    with open_log(folder, now=lambda: "2026-04-01T08:00:00+00:00") as log:
        for name in ("lots", "hatches", "samples"):
            log.add(name, (too_many if name == "samples" else getattr(tables, name)).dropna(axis=1), by="op1")
    set_aside(folder, "H05", reason="a nought too many", by="op1", at="2026-04-02T09:00:00+00:00")
    take_back(folder, "H08", reason="weighed so", by="op2")
    return folder


def test_evidence_says_which_figures_can_hardly_be_and_what_was_said_of_them(kept, tmp_path):
    """They stood among the others without a word, and what a person had said of them was not in the folder."""
    with pytest.raises(SystemExit) as left:
        cli.main(shlex.split(f"log evidence L1 {tmp_path / 'e'} --site {kept}"))
    assert left.value.code == 0
    text = (tmp_path / "e" / "README.txt").read_text("utf-8").replace("\u202f", " ")
    assert (
        "Figures that cannot or can hardly be (3): no dose, no mean of nauplii per gram and no limits set from now on "
        "rest on them.\n"
        "  H05: 300 g stood in it, 15 g per litre, and a gram gave 24 400 nauplii; set aside by op1: a nought too "
        "many.\n"
    ) in text
    assert "  H11: 300 g stood in it, " in text and "  H20: its counts make " in text and "  H08: " not in text
    tables = {path.stem: pd.read_csv(path) for path in (tmp_path / "e" / "tables").glob("*.csv")}
    remarks = tables["figures"].set_index("hatch")["remarks"]
    hardly = remarks[remarks.str.contains("Its figures can hardly be: 300 g stood in it")]
    assert hardly.index.tolist() == ["H05", "H11"] and "qckit log correct hatches H11 cysts_g" in hardly["H11"]
    said = tables["signals"].query("chart == 'hatch_pct'").set_index("hatch")
    assert said["note"].to_dict() == {"H05": "a nought too many", "H08": "weighed so"}
    assert set(tables["columns"].query("table == 'signals'")["column"]) == set(tables["signals"])


def test_a_part_of_a_lot_is_told_what_the_whole_of_it_shows(kept):
    """Six hatches of a lot are believed where they agree: three of them alone would not be asked about."""
    site = load_site(kept)
    of_a_period = site.hatches(("2026-03-05", "2026-03-06"))
    assert of_a_period["hatch"].tolist() == ["H05"] and "can hardly be" in of_a_period["remarks"].iloc[0]
    assert (site.hatches().set_index("hatch").loc["H05", "remarks"]) == of_a_period["remarks"].iloc[0]


def _stale(frozen, now, month="2026-04"):
    """Charts named as stale in a month, whose limits were frozen by one state of the records."""
    rows = baseline_rows(study_month(frozen, month=month), set_by="op1", set_at="2026-05-01T09:00:00+00:00")
    return {
        name for (_, name), chart in study_month(now.but(baselines=rows), month=month).charts.items() if chart.stale
    }


def _without(tables, *hatches):
    return tables.but(
        hatches=tables.hatches[~tables.hatches["hatch"].isin(hatches)],
        samples=tables.samples[~tables.samples["hatch"].isin(hatches)],
    )


@pytest.mark.parametrize(("seed", "gone"), [(1, "H22"), (2, "H26"), (3, "H28"), (10, "H20"), (11, "H22")])
def test_limits_that_differ_by_less_than_their_uncertainty_are_not_called_stale(seed, gone):
    """One of twelve hatches was withdrawn: limits were named although nobody would act otherwise."""
    tables = _without(first_month({}, n=43, seed=seed), *[f"H{i:02d}" for i in range(1, 20)])
    assert _stale(tables, _without(tables, gone)) == set()


def test_limits_by_which_a_hatch_is_judged_otherwise_are_called_stale(clean):
    """Ten masses were 5 % too high: the limits move by less than their uncertainty, and past one hatch of the month."""
    frozen = study_month(clean, month="2026-04").charts[CHART]
    assert not _stale(clean, clean)
    low = frozen.frame.set_index("label").loc["H40", "low"] * 1.003  # within the limits by a hair
    level = low / frozen.frame.set_index("label").loc["H40", "value"]
    grams = clean.hatches["cysts_g"].where(clean.hatches["hatch"] != "H40", clean.hatches["cysts_g"] / level)
    hair = clean.but(hatches=clean.hatches.assign(cysts_g=grams))
    ten = {f"H{i:02d}" for i in range(1, 11)}
    light = hair.hatches["cysts_g"].where(~hair.hatches["hatch"].isin(ten), hair.hatches["cysts_g"] / 1.05)
    assert _stale(hair, hair.but(hatches=hair.hatches.assign(cysts_g=light))) == {"hatching_efficiency_per_g"}
