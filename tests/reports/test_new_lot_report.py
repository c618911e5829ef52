"""The new-lot report on sites that lack something: a clear error, or an honest "not enough evidence"."""

import html
import itertools
import json
import re

import numpy as np
import pandas as pd
import pytest

from qckit._paths import sample_images_dir
from qckit.errors import InputError
from qckit.log import create_log, open_log
from qckit.reports import run_report, run_reports
from qckit.reports.lot_report import two_panels
from qckit.reports.lot_test import flag_sentence, load_lot_test

pytestmark = pytest.mark.usefixtures("warm_kernels")
NOW = "2026-11-06T10:00:00+00:00"
EVIL = ["<script>alert(1)</script>", "=cmd()", "../../x", "quo\"te's \\ back", "🦐 {x}", "L" * 200]


def sheets(lot="K-124"):
    """The sample field sheet with the exact counts in it, as if a person had counted; the lot under another name."""
    folder = sample_images_dir()
    lots, hatches, samples = (
        pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False) for name in ("lots", "hatches", "samples")
    )
    truth = pd.read_csv(folder / "photos.csv", dtype=str).set_index("photo")
    right = truth.loc[samples["photos"].str.removesuffix(".jpg")]
    for column, name in (("nauplii", "nauplius"), ("umbrella", "umbrella"), ("cysts", "cyst"), ("shells", "shell")):
        samples[column] = right[f"n_{name}"].to_numpy()
    samples = samples.assign(volume_ul="106.28", counted_by="person", photos="", chamber_depth_mm="")
    lots["lot"] = lots["lot"].replace("K-124", lot)
    hatches["lot"] = hatches["lot"].replace("K-124", lot)
    return {"lots": lots, "hatches": hatches, "samples": samples.drop(columns="um_per_px")}


@pytest.fixture
def make_site(tmp_path):
    """Return a function that makes a site from such sheets."""

    def make(tables):
        folder = tmp_path / "site"
        folder.mkdir()
        (folder / "qckit.toml").write_text("", encoding="utf-8")
        create_log(folder)
        with open_log(folder) as log:
            log.add_many(tables, by="op1", source="test")
        return folder

    return make


def text_of(run):
    page = run.html.read_text("utf-8")
    return " ".join(re.sub(r"<style.*?</style>|<[^>]+>", " ", page, flags=re.S).split())


def test_a_whole_test_gives_a_verdict_with_numbers(make_site):
    run = run_report("new-lot", make_site(sheets()), {"lot": "K-124"}, now=NOW)
    figures = {f["name"]: f for f in run.finding["figures"]}
    assert figures["hatch_pct"]["value"] == pytest.approx(77.7, abs=0.1)
    assert figures["hatching_efficiency_per_g"]["value"] == pytest.approx(224_657, rel=5e-3)
    text = text_of(run)
    for part in (
        "Evidence",
        "Cones and their subsamples",
        "Stage mix and the two witnesses",
        "How fast it hatches",
        "The checked photos",
        "Method",
        "Conditions against the standard",
        "Raw table",
        "Cautions",
        "weak ▲ doubtful",
    ):
        assert part in text
    assert len(re.findall(r"ST-124-[ABC]-\d", text)) == 12


def test_an_unknown_lot_is_named_with_the_nearest(make_site):
    with pytest.raises(InputError) as caught:
        run_report("new-lot", make_site(sheets()), {"lot": "K-142"}, now=NOW)
    message = str(caught.value).split(" The notebook with the error:")[0]
    assert message == ("the site's log: unknown lot 'K-142'. Did you mean 'K-124'? Known: K-118, K-121, K-124.")


def test_a_site_without_any_test_says_so(make_site):
    with pytest.raises(InputError) as caught:
        load_lot_test(make_site({"lots": sheets()["lots"]}))
    assert str(caught.value) == (
        "the site's log holds no standard test. "
        "Enter one in the field sheet of hatches, with the purpose standard test."
    )


def test_the_lot_tested_last_is_taken_when_none_is_named(make_site):
    assert load_lot_test(make_site(sheets())).lot == "K-124"


def one_cone():
    """A test of which one cone was started."""
    tables = sheets()
    keep = tables["hatches"]["hatch"].isin(["ST-124-A", "RF-121-A", "RF-121-B"])
    tables["hatches"] = tables["hatches"][keep]
    tables["samples"] = tables["samples"][tables["samples"]["hatch"].isin(tables["hatches"]["hatch"])]
    return tables


def no_cysts():
    """A test in which nothing at all was found."""
    tables = sheets()
    counts = ["nauplii", "umbrella", "cysts", "shells"]
    tables["samples"].loc[tables["samples"]["hatch"].str.startswith("ST"), counts] = "0"
    return tables


def test_one_cone_is_not_enough_evidence(make_site):
    finding = load_lot_test(make_site(one_cone()), "K-124", now=NOW).finding
    assert finding.verdict == "not-enough-evidence"
    hatched = next(f for f in finding.to_dict()["figures"] if f["name"] == "hatch_pct")
    assert hatched["value"] == pytest.approx(80.0) and hatched["low"] is None and hatched["high"] is None


def test_no_cysts_counted_at_all_is_not_enough_evidence(make_site):
    finding = load_lot_test(make_site(no_cysts()), "K-124", now=NOW).finding
    assert finding.verdict == "not-enough-evidence"
    assert all(f["value"] is None for f in finding.to_dict()["figures"] if f["name"] == "hatch_pct")


@pytest.mark.slow
@pytest.mark.parametrize("tables, words", [(one_cone, "not known"), (no_cysts, "Cautions")])
def test_a_test_that_says_little_has_its_page(make_site, tables, words):
    run = run_report("new-lot", make_site(tables()), {"lot": "K-124"}, now=NOW)
    assert run.finding["verdict"] == "not-enough-evidence"
    assert words in text_of(run)


def test_a_lot_that_was_never_hatched_is_not_enough_evidence(make_site):
    run = run_report("new-lot", make_site(sheets()), {"lot": "K-118"}, now=NOW)
    assert run.finding["verdict"] == "not-enough-evidence"
    assert json.loads(run.findings.read_text("utf-8"))["hatches"] == []
    assert "No cone of this lot's test is counted yet." in text_of(run)


@pytest.mark.slow
@pytest.mark.parametrize("lot", EVIL)
def test_evil_lot_names_go_from_the_field_sheet_into_the_page_unharmed(make_site, lot):
    site = make_site(sheets(lot))
    (run,) = run_reports([("new-lot", {"lot": lot})], site, now=NOW)
    assert run.finding["subject"] == lot and run.finding["figures"][0]["value"] == pytest.approx(77.7, abs=0.1)
    assert run.folder.parent == (site / "reports").resolve()
    page = run.html.read_text("utf-8")
    assert "<script" not in page and "<svg" in page
    assert lot in html.unescape(page)


def test_flags_are_counted_in_words():
    photos = pd.DataFrame({"flags": ["crowded;unsure", "", "crowded"]})
    assert flag_sentence(photos) == (
        "2 of 3 photos carry a flag: too crowded (2), stages in doubt (1). "
        "A flag says that a count may be wrong by more than a tenth."
    )
    assert flag_sentence(photos.iloc[1:2]) == "The one photo carries no flag."
    assert flag_sentence(photos.iloc[:1]).startswith("1 of 1 photo carries a flag: ")


def test_drawn_is_what_was_counted(make_site):
    import matplotlib

    matplotlib.use("agg")
    from qckit.reports import lot_charts

    test = load_lot_test(make_site(sheets()))
    ax = lot_charts.draw_cones(
        test.subsamples, test.cones, interval=test.evidence.summary.hatch_pct, references=[(85, "claim")]
    )
    assert [t.get_text() for t in ax.get_yticklabels()][:3] == ["K-124, cone A", "K-124, cone B", "K-124, cone C"]
    diamonds = [line.get_xdata()[0] for line in ax.lines if line.get_marker() == "D" and len(line.get_xdata())]
    np.testing.assert_allclose(diamonds, test.cones["hatch_pct"].to_numpy(float))
    assert ax.get_xlabel() == "hatching percentage [%]"
    name = "hatching_efficiency_per_g"
    spread = test.subsamples.assign(**{name: np.linspace(173_000, 278_000, len(test.subsamples))})
    ax = lot_charts.draw_cones(spread, test.cones.assign(**{name: 220_000.0}), metric=name, ax=two_panels(2.8)[1])
    ax.figure.canvas.draw()
    low, high = ax.get_xlim()
    boxes = [t.get_window_extent() for t in ax.get_xticklabels() if low <= t.get_position()[0] <= high]
    assert len(boxes) > 1 and all(left.x1 < right.x0 for left, right in itertools.pairwise(boxes))
    mix = lot_charts.draw_stage_mix(test.cones)
    widths = np.array([bar.get_width() for bar in mix.patches]).reshape(4, -1)
    np.testing.assert_allclose(widths.sum(axis=0), 100)
    seen = lot_charts.draw_witnesses(test.subsamples)
    assert sum(len(line.get_xdata()) for line in seen.lines[1:]) == len(test.subsamples)


def test_the_poorest_hatch_of_the_newest_week():
    from qckit import practice, reports

    history = practice.invented_history()
    assert reports.poorest_hatch(history["hatches"], history["samples"]) == practice.POOR_HATCH
    with pytest.raises(InputError) as caught:
        reports.poorest_hatch(history["hatches"][:0], history["samples"])
    assert str(caught.value) == (
        "no production hatch is counted yet. Write the hatch into the notebook's parameter hatch."
    )


@pytest.fixture
def site_with_more(make_site):
    """The sample test, counted by hand as on the field sheet, with the invented repeat tests and time course."""
    from qckit import practice

    folder = make_site(sheets())
    with open_log(folder) as log:
        log.add_many(practice.lot_tests(), by="practice", source="test")
    return folder


def test_rate_and_ageing_are_shown_where_there_is_data(site_with_more):
    run = run_report("new-lot", site_with_more, {"lot": "K-124"}, now=NOW)
    text = text_of(run)
    for part in (
        "3 cones followed by the clock.",
        "T90",
        "not reached: 80 % hatch",
        "standard method [h]",
        "Lot K-124 has too few tests for a trend; shown is the lot in use. Lot K-121 was hatched on 3 days.",
        "Parts of the uncertainty of nauplii per gram.",
        "Monte Carlo",
        "What would change this verdict",
        "Chance that the mean of a test of 6 subsamples a cone reaches the minimum of 75 %",
    ):
        assert part in text, part
    page = run.html.read_text("utf-8")
    assert re.search(r'alt="Share hatched over the hours from wetting: T10 \d+\.\d h', page)
    details = run.finding["details"]
    assert {row["time"] for row in details["rate"]} == {"T10", "T50", "T90", "Ts"}
    assert details["ageing"]["lot"] == "K-121" and set(details["budgets"]) >= {"hatch_pct", "output_mg_per_g"}


def test_the_planted_ageing_and_speed_are_found(site_with_more):
    old, new = (load_lot_test(site_with_more, lot, now=NOW) for lot in ("K-118", "K-124"))
    trend = old.evidence.ageing
    # planted: 1.65 points of dead cysts more each month
    assert trend.lot == "K-118" and trend.slope_low < -1.65 < trend.slope_high < 0
    assert new.evidence.rate.n_cones == 3
    t90 = new.evidence.rate.time("T90")
    assert 18 < t90["low_h"] < t90["value_h"] < t90["high_h"] < 24


def test_the_plan_uses_the_rooms_own_spread(site_with_more):
    from qckit.reports import lot_depth

    test = load_lot_test(site_with_more, "K-124", now=NOW)
    assert test.evidence.spread is not None and test.evidence.mixing >= 1
    said = html.unescape(lot_depth.plan(test).html)
    assert "Worked out with this room's own spread between cones (" in said
    assert "times as chance alone would make them, over all records." in said


def test_findings_hold_to_the_schema(site_with_more):
    from pathlib import Path

    import jsonschema

    import qckit

    schema = json.loads((Path(qckit.__file__).parent / "verdicts" / "finding.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    for lot in ("K-118", "K-121", "K-124"):
        jsonschema.validate(load_lot_test(site_with_more, lot, now=NOW).finding.to_dict(), schema)
    wrong = load_lot_test(site_with_more, "K-124", now=NOW).finding.to_dict() | {"verdict": "splendid"}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(wrong, schema)


@pytest.mark.slow
def test_a_certificate_stands_in_the_page(make_site):
    from qckit.agreement import certify_camera

    tables = sheets()
    tables["samples"]["counted_by"] = "photo"
    folder = make_site(tables)
    hand = pd.DataFrame(
        {"photo": [f"P{i}" for i in range(12)], "nauplii": 50, "umbrella": 3, "cysts": 12, "shells": 40}
    )
    seen = hand.assign(nauplii=[45, 46, 44, 47, 45, 46, 45, 44, 46, 45, 47, 45])
    made = certify_camera(seen, hand, camera="demo", made_at="2026-10-01T09:00:00+00:00", made_by="op2")
    plain = load_lot_test(folder, "K-124", now=NOW)
    assert "Nobody has checked this site's photo counts" in text_of(
        run_report("new-lot", folder, {"lot": "K-124"}, now=NOW)
    )
    with open_log(folder) as log:
        log.add_many({"certificates": made.to_frame()}, by="op2", source="test")
    text = text_of(run_report("new-lot", folder, {"lot": "K-124"}, now=NOW))
    assert "Certificate demo 2026-10-01, made 2026-10-01, check again by 2027-04-01." in text
    assert "Corrected by it, the hatching percentage is" in text
    test = load_lot_test(folder, "K-124", now=NOW)
    assert test.finding.figures[0].value > plain.finding.figures[0].value
    # the day of the photos counts, not the day of the question
    asked_late = load_lot_test(folder, "K-124", now="2027-06-01T10:00:00+00:00")
    assert asked_late.finding.figures[0].value == test.finding.figures[0].value
    day_before = (pd.Timestamp(test.hatches["started"].min()) - pd.Timedelta(days=1)).date().isoformat()
    with open_log(folder) as log:
        log.correct("certificates", made.name, "valid_until", day_before, by="op2", reason="test")
    late = load_lot_test(folder, "K-124", now=NOW)
    assert late.finding.figures[0].value == plain.finding.figures[0].value


def counted_photos(samples, p):
    """A photo for each sample, and its objects, each sure of its stage by ``p`` and else a cyst or a nauplius."""
    photos = pd.DataFrame({"photo": samples["sample"] + ".jpg", "sample": samples["sample"]})
    photos["sha256"] = [f"{i:064x}" for i in range(len(photos))]
    photos = photos.assign(um_per_px=6.2, flags="", counter_version="1.0", width_px=1000, height_px=1000, frame_mm2=9.0)
    objects = []
    for row in samples.itertuples():
        stages = ["nauplius"] * int(row.nauplii) + ["umbrella"] * int(row.umbrella) + ["cyst"] * int(row.cysts)
        one = pd.DataFrame({"photo": f"{row.sample}.jpg", "object_id": range(1, len(stages) + 1), "stage": stages})
        for stage in ("nauplius", "umbrella", "cyst", "shell", "debris"):
            other = np.where(one["stage"] == "nauplius", "cyst", "nauplius")
            one[f"p_{stage}"] = np.where(one["stage"] == stage, p, np.where(other == stage, 1 - p, 0.0))
        objects.append(one.assign(x_px=500.0, y_px=500.0, on_edge=False, counted=True, source="found"))
    return photos, pd.concat(objects, ignore_index=True)


@pytest.mark.parametrize("p, widens", [(1.0, False), (0.95, True)])
def test_doubtful_stages_widen_the_interval_without_a_certificate(make_site, p, widens):
    """Counts by photo and no check by eye: the doubts of the photos' objects are part of the uncertainty."""
    tables = sheets()
    tables["samples"]["counted_by"] = "photo"
    folder = make_site(tables)
    plain = load_lot_test(folder, "K-124", now=NOW).evidence.summary.estimates["hatch_pct"]
    with open_log(folder) as log:
        in_log = log.samples()
        mine = in_log[in_log["hatch"].isin(log.hatches(lot="K-124")["hatch"])]
        photos, objects = counted_photos(mine, p)
        log.add_many({"photos": photos, "objects": objects}, by="op1", source="test")
    test = load_lot_test(folder, "K-124", now=NOW)
    got = test.evidence.summary.estimates["hatch_pct"]
    assert got.value == plain.value
    assert ((got.low < plain.low - 0.1) and (got.high > plain.high + 0.1)) is widens
    assert ("doubts about stages widen the figures" in test.evidence.certificate.sentence) is widens
