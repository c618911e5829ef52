"""``qckit demo`` in an empty folder: the site, the counts, three reports; and again without counting anew."""

import json
import re
import shutil

import pandas as pd
import pytest

from qckit._paths import sample_images_dir
from qckit.demo import DEMO_LOT, make_demo
from qckit.log import open_log

NOW = "2026-11-06T10:00:00+00:00"

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def reports(demo_site):
    """The findings by folder."""
    return {p.parent.name: json.loads(p.read_text("utf-8")) for p in demo_site.glob("reports/*/findings.json")}


def test_it_succeeds_and_says_where_the_reports_are(demo_run):
    site, done = demo_run
    assert done.returncode == 0, done.stderr
    named = [line.strip() for line in done.stdout.splitlines() if line.strip().endswith("report.html")]
    assert len(named) == 3 and all(name.startswith(str(site.resolve())) for name in named)
    assert done.stdout.startswith("The demo site is invented: no figure in it was measured on a real sample.\n")


def test_three_reports_with_page_notebook_and_findings(demo_site, reports):
    assert set(reports) == {"new-lot-K-124", "month-2026-10", "poor-hatch-H261105-B"}
    for name in reports:
        page = (demo_site / "reports" / name / "report.html").read_text("utf-8")
        assert "Invented records" in page and (demo_site / "reports" / name / "notebook.ipynb").is_file()
    index = (demo_site / "reports" / "index.html").read_text("utf-8")
    assert all(f'href="{name}/report.html"' in index for name in reports)


def test_the_counts_come_near_the_truth(demo_site):
    truth = pd.read_csv(sample_images_dir() / "photos.csv").set_index("photo")
    with open_log(demo_site) as log:
        samples = log.samples(lot="K-124")
    samples = samples[samples["photos"].notna()]
    assert len(samples) == 12
    right = truth.loc[samples["photos"].str.removesuffix(".jpg")]
    counted = samples["nauplii"].sum() / samples[["nauplii", "umbrella", "cysts"]].sum().sum()
    exact = right["n_nauplius"].sum() / right[["n_nauplius", "n_umbrella", "n_cyst"]].sum().sum()
    assert counted == pytest.approx(exact, abs=0.05)
    assert samples["nauplii"].sum() == pytest.approx(right["n_nauplius"].sum(), rel=0.15)


def test_the_verdict_on_the_new_lot_is_the_planted_one(reports):
    found = reports["new-lot-K-124"]
    assert found["verdict"] in {"accept-larger-dose", "accept"}
    figures = {f["name"]: f for f in found["figures"]}
    assert figures["hatch_pct"]["low"] <= 77.5 <= figures["hatch_pct"]["high"]
    assert {p["photo"] for p in found["photos"]} >= {f"k-124_{c}_{n}.jpg" for c in "abc" for n in (1, 2, 3, 4)}
    assert all(len(p["sha256"]) == 64 for p in found["photos"])


def test_the_poor_hatch_is_explained_as_planted(reports):
    assert "pH" in reports["poor-hatch-H261105-B"]["headline"]


def test_the_new_lot_page_shows_every_photo_and_says_its_hash(demo_site):
    page = (demo_site / "reports" / "new-lot-K-124" / "report.html").read_text("utf-8")
    assert len(re.findall(r'<details class="qc-photo">', page)) == 18
    assert len(re.findall(r"<code>[0-9a-f]{64}</code>", page)) == 18
    assert len(list((demo_site / "reports" / "new-lot-K-124" / "checked").glob("*.jpg"))) == 18


@pytest.mark.usefixtures(
    "warm_kernels"
)  # the first run's were started as users start them: the same bytes come of both
def test_run_again_nothing_is_counted_anew_and_the_pages_are_the_same_to_the_byte(demo_site, tmp_path, reports):
    copy = tmp_path / "demo-site"
    shutil.copytree(demo_site, copy)
    before = {p.relative_to(copy): p.read_bytes() for p in copy.glob("reports/*/*") if p.is_file()}
    with open_log(copy) as log:
        photos = log.photos()
    counted = []
    make_demo(copy, now=NOW, progress=lambda *args: counted.append(args))
    after = {p.relative_to(copy): p.read_bytes() for p in copy.glob("reports/*/*") if p.is_file()}
    assert counted == []
    assert [str(p) for p in before if before[p] != after.get(p)] == [] and set(before) == set(after)
    with open_log(copy) as log:
        pd.testing.assert_frame_equal(log.photos(), photos)


def test_the_figures_can_be_followed_to_the_photos(demo_site):
    with open_log(demo_site) as log:
        text = log.history("ST-124-A").text
    assert "k-124_a_1.jpg" in text and f"new-lot-{DEMO_LOT}" in text
