"""Dose, start times, cost, the wall table, and ``qckit dose``."""

import math

import pandas as pd
import pytest
from click.testing import CliRunner

from qckit import hatch
from qckit.cli import main
from qckit.errors import InputError
from qckit.tables import check_table


def test_a_small_vessel_may_hold_more_a_litre():
    assert hatch.max_density_g_per_l(10) == 5 and hatch.max_density_g_per_l(20) == 2


def test_harvest_falls_at_t90_and_inside_instar_one():
    times = hatch.start_times("2026-11-05T08:00+00:00", t10_h=16, t90_h=20, temperature_c=28)
    assert times.start == pd.Timestamp("2026-11-04T11:30+00:00") and times.is_in_window
    assert times.sentence == (
        "Wet at 2026-11-04 11:30, harvest at 2026-11-05 07:30; the first hatched are 4.5 h old at the feed, within "
        "the 6 h of instar I."
    )
    slow = hatch.start_times("2026-11-05T08:00+00:00", t10_h=14, t90_h=24)
    assert not slow.is_in_window and "some will have moulted" in slow.sentence
    with pytest.raises(InputError) as error:
        hatch.start_times("2026-11-05T08:00+00:00", t10_h=20, t90_h=18)
    assert str(error.value) == "T10 is 20 h and T90 18 h; T10 must be above 0 and not after T90."


def test_instar_one_is_shorter_when_warm():
    assert hatch.instar_i_hours(28) == 6 and hatch.instar_i_hours(25) == 8 and hatch.instar_i_hours(20) == 20


def test_cost_of_a_million():
    assert hatch.cost_per_million(60, 500, 240_000) == pytest.approx(0.5)
    assert hatch.cost_per_million(60, 500, 240_000, recovery_pct=80) == pytest.approx(0.625)
    assert math.isnan(hatch.cost_per_million(None, 500, 240_000))


@pytest.fixture
def site(tmp_path):
    from qckit.log import new_site, open_log

    folder = new_site(tmp_path / "site")
    lots = pd.DataFrame([{"lot": "L", "price": 60, "pack_g": 500, "currency": "EUR"}, {"lot": "M"}])
    hatches = pd.DataFrame(
        [
            {
                "hatch": f"H{c}",
                "lot": "L",
                "purpose": "standard test",
                "cone": c,
                "started": "2026-05-01T09:00:00+00:00",
                "cysts_g": 1.6,
                "volume_ml": 800,
            }
            for c in "ABC"
        ]
        + [
            {
                "hatch": "M1",
                "lot": "M",
                "purpose": "standard test",
                "cone": "A",
                "started": "2026-05-01T09:00:00+00:00",
                "cysts_g": 1.6,
                "volume_ml": 800,
            }
        ]
    )
    samples = pd.DataFrame(
        [
            {
                "sample": f"{h}-{i}",
                "hatch": h,
                "taken": "2026-05-02T09:00:00+00:00",
                "hours": 24,
                "kind": "subsample",
                "volume_ul": 250,
                "nauplii": 115 + i,
                "umbrella": 2,
                "cysts": 18,
                "counted_by": "person",
            }
            for h in ("HA", "HB", "HC", "M1")
            for i in range(6)
        ]
    )
    with open_log(folder) as log:
        log.add_many(
            {
                "lots": check_table(lots, "lots"),
                "hatches": check_table(hatches, "hatches"),
                "samples": check_table(samples, "samples"),
            },
            by="op1",
            source="test",
        )
    return folder


def run(*words):
    """The command as a user runs it: exit code and what it says."""
    import contextlib
    import io

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as left:
        main(["dose", *map(str, words)])
    return left.value.code, out.getvalue(), err.getvalue()


def test_the_command_says_grams_cost_and_start(site):
    code, out, _ = run(
        "L", "--site", site, "--nauplii", "2e6", "--feed-at", "2026-05-05T08:00+00:00", "--t10", "16", "--t90", "20"
    )
    assert code == 0
    lines = out.splitlines()
    assert (
        lines[0].startswith("Dose: ") and "for 2\u00a0000\u00a0000 nauplii: 1 hatch in 20 would fall short." in lines[0]
    )
    assert lines[0].endswith("It rests on the standard test (3 cones).")
    assert lines[1].startswith("Risk: A larger risk of falling short would save ")
    assert lines[2].startswith(
        "Rests on: about 235\u00a0000 nauplii per gram on 2026-05-05. Recovery is assumed to be 85 %:"
    )
    assert lines[3] == "Cost: 0.60 EUR for a million nauplii harvested, at the best guess."
    assert lines[4].startswith("Start: Wet at 2026-05-04 11:30, harvest at 2026-05-05 07:30;")


def test_no_saving_is_offered_that_the_balance_does_not_show(site):
    code, out, _ = run("L", "--site", site, "--nauplii", "500", "--day", "2026-05-05")
    assert code == 0 and out.startswith("Dose: ") and "0.0 g" not in out and "Risk:" not in out


def test_a_feed_without_offset_is_the_clock_of_the_site(site):
    (site / "qckit.toml").write_text('[site]\ntimezone = "Europe/Lisbon"\ndate_order = "dmy"\n', encoding="utf-8")
    out = run("L", "--site", site, "--feed-at", "2026-05-05T08:00", "--t10", "16", "--t90", "20")[1]
    assert "Start: Wet at 4 May 2026 11:30, harvest at 5 May 2026 07:30;" in out


def test_the_command_makes_a_wall_table(site, tmp_path):
    code, out, _ = run("L", "--site", site, "--day", "2026-05-02", "--table")
    assert code == 0 and "grams_per_cone" in out
    assert out.splitlines()[-1] == "Table of 2026-05-02; renew it by 2026-06-01."
    code, out, _ = run("L", "--site", site, "--day", "2026-05-02", "--out", tmp_path / "wall.csv")
    table = pd.read_csv(tmp_path / "wall.csv")
    assert len(table) == 6 and set(table["renew_by"]) == {"2026-06-01"}


def test_the_wall_table_as_a_page_to_print(site, tmp_path):
    code, _, _ = run("L", "--site", site, "--day", "2026-05-02", "--out", tmp_path / "wall.html")
    page = (tmp_path / "wall.html").read_text(encoding="utf-8")
    assert code == 0 and "<h1>Dose of lot <bdi>L</bdi></h1>" in page and page.count("<tr") == 7
    assert "Made 2026-05-02; renew by 2026-06-01" in page and '<div class="warn">' not in page
    assert "http" not in page and "<script" not in page
    code, _, err = run("L", "--site", site, "--out", tmp_path / "wall.html" / "wall.csv")
    assert code == 2 and err.endswith("). Choose another place with --out.\n")


def test_the_wall_table_warns(site, tmp_path):
    from qckit.log import open_log

    with open_log(site) as log:
        row = {"lot": "R", "best_before": "2025-12"}
        log.add("lots", pd.DataFrame([row]), by="An")
        hatch = {"cone": "A", "started": "2026-05-06T09:00:00+00:00", "cysts_g": 1.6, "volume_ml": 800}
        log.add("hatches", pd.DataFrame([{**hatch, "hatch": "R1", "lot": "R", "purpose": "production"}]), by="An")
        sample = {"hatch": "R1", "taken": "2026-05-07T09:00:00+00:00", "hours": 24, "kind": "subsample"}
        count = {"sample": "R1-1", "volume_ul": 250, "nauplii": 40, "cysts": 60, "counted_by": "person"}
        log.add("samples", pd.DataFrame([{**sample, **count}]), by="An")
    code, _, _ = run("R", "--site", site, "--day", "2026-05-07", "--out", tmp_path / "wall.html")
    page = (tmp_path / "wall.html").read_text(encoding="utf-8")
    assert (
        code == 1 and '<div class="warn"><p>Lot R is poor: by best guess it gives 80\u202f000 nauplii per gram' in page
    )
    assert "past its best-before date (2025-12)" in page


def test_without_a_day_the_dose_is_for_today(site, monkeypatch):
    import datetime as dt

    from qckit.log import typed

    today = dt.datetime(2026, 5, 20, 9, tzinfo=dt.UTC)
    monkeypatch.setattr(typed, "site_time", lambda settings, now="": today)
    asked = run("L", "--site", site)[1].splitlines()
    assert asked[2].startswith("Rests on: about ") and " nauplii per gram on 2026-05-20." in asked[2]
    assert asked == run("L", "--site", site, "--day", "2026-05-20")[1].splitlines()


def test_animals_times_nauplii_per_animal(site):
    assert "for 1\u00a0500\u00a0000 nauplii" in run("L", "--site", site, "--animals", 500, "--per-animal", 3000)[1]
    code, _, err = run("L", "--site", site, "--animals", 500)
    assert (code, err) == (2, "qckit: --animals and --per-animal belong together: give both, or --nauplii.\n")


def test_too_few_cones_need_attention(site):
    code, out, _ = run("L", "--site", site, "--day", "2026-05-02", "--nauplii", "5e7")
    assert code == 1
    assert out.splitlines()[-1].startswith("Attention: The dose needs ") and out.endswith("cones and 4 are at hand.\n")


def test_past_instar_one_needs_attention(site):
    code, out, _ = run("L", "--site", site, "--feed-at", "2026-05-05T08:00+00:00", "--t10", "12", "--t90", "24")
    assert code == 1 and out.splitlines()[-1] == "Attention: The first hatched will be past instar I at the feed."


@pytest.mark.parametrize(
    "words, said",
    [
        (["--nauplii", "-5"], "qckit: --nauplii is -5 and must be above 0.\n"),
        (["--animals", "0", "--per-animal", "3"], "qckit: --animals is 0 and must be above 0.\n"),
        (
            ["--out", "t.pdf"],
            "qckit: --out t.pdf: the table is written as .csv, or as .html to print. Choose a name that ends so.\n",
        ),
        (
            ["--feed-at", "tomorrow"],
            "qckit: --feed-at: 'tomorrow' is not a time with its date. Write it like 2026-11-04 09:00.\n",
        ),
        (
            ["--risk", "5"],
            "qckit: --risk is 5 and must lie between 0.001 and 0.5; 0.05 lets 1 hatch in 20 fall short.\n",
        ),
    ],
)
def test_wrong_words_are_refused_in_one_line(site, words, said):
    code, out, err = run("L", "--site", site, *words)
    assert (code, out, err) == (2, "", said)


def test_the_newest_time_course_is_taken():
    course = pd.DataFrame(
        {
            "hatch": ["old"] * 5 + ["new"] * 5 + ["short"] * 2,
            "hours": [12, 16, 20, 24, 28] * 2 + [20, 24],
            "nauplii": 1.0,
        }
    )
    hatches = pd.DataFrame(
        {"hatch": ["old", "new", "short"], "started": [f"2026-0{m}-01T09:00:00+00:00" for m in (1, 5, 6)]}
    )
    assert set(hatch.newest_course(course, hatches)["hatch"]) == {"new"}


def test_one_cone_gives_a_dose_and_says_how_little_it_rests_on(site):
    code, out, _ = run("M", "--site", site)
    assert code == 1
    assert out.splitlines()[-1] == ("Attention: This dose rests on very little: 1 test cone. Count the next hatches.")


def test_the_lot_used_daily_needs_no_standard_test(site):
    from qckit.log import open_log

    hatch = {"cone": "A", "started": "2026-05-06T09:00:00+00:00", "cysts_g": 1.6, "volume_ml": 800}
    sample = {
        "taken": "2026-05-07T09:00:00+00:00",
        "hours": 24,
        "kind": "subsample",
        "volume_ul": 250,
        "nauplii": 90,
        "cysts": 10,
        "counted_by": "person",
    }
    with open_log(site) as log:
        log.add("lots", pd.DataFrame({"lot": ["P", "Q"]}), by="An")
        log.add(
            "hatches",
            pd.DataFrame(
                [
                    {**hatch, "hatch": "P1", "lot": "P", "purpose": "production"},
                    {**hatch, "hatch": "Q1", "lot": "Q", "purpose": "standard test"},
                ]
            ),
            by="An",
        )
        log.add("samples", pd.DataFrame([{**sample, "sample": "P1-1", "hatch": "P1"}]), by="An")
    code, out, _ = run("P", "--site", site)
    assert code == 1 and "It rests on 1 production hatch." in out
    code, _, err = run("Q", "--site", site)
    assert code == 2 and err.startswith("qckit: lot Q: its hatches (Q1) have no counts yet, so no dose")


def test_an_unknown_lot_is_refused(site):
    code, _, err = run("K", "--site", site)
    assert (code, err) == (2, "qckit: unknown lot 'K'. Known: L, M.\n")


def test_help_needs_no_site():
    from qckit.commands.dose import command

    assert "Grams of cysts of LOT" in CliRunner().invoke(command, ["--help"]).output


def test_the_wall_table_adds_up(site, tmp_path):
    path = tmp_path / "wall.csv"
    run("L", "--site", site, "--nauplii", "60e6", "--out", path)
    table = pd.read_csv(path)
    assert table["n_cones"].max() >= 3
    assert (table["grams"] - table["n_cones"] * table["grams_per_cone"]).abs().max() < 1e-9
