"""A photo that was entered for the wrong kind of sample is asked about, where its floor tells."""

import shutil
from pathlib import Path

import pandas as pd
import pytest

from qckit import day
from qckit.log import new_site, open_log
from qckit.reports import count_uncounted
from qckit.review import flag_kinds

PHOTOS = Path(__file__).parents[1] / "photos" / "photos"
SCALES = {"sieve-03": 10.37, "sieve-02": 12.08, "grid-01": 4.59, "bright-01": 4.5}
NOW = "2026-11-05T10:00:00+00:00"


@pytest.fixture
def make_site(tmp_path):
    """Make a site of one hatch: sample -> its kind and the names of its photos, which lie in the site."""

    def make(**samples):
        folder = new_site(tmp_path / "site")
        hatch = {"hatch": "H-1", "lot": "L-1", "purpose": "production", "cone": "A", "cysts_g": 2, "volume_ml": 1000}
        rows = [
            {
                **{"sample": name, "hatch": "H-1", "taken": "2026-11-05T09:00:00+00:00", "hours": 24, "kind": kind},
                **{"dilution": 1, "counted_by": "photo", "photos": ";".join(f"{name}-{p}.jpg" for p in photos)},
                **{"um_per_px": SCALES[photos[0]]} | ({"volume_ul": 250} if kind == "subsample" else {"mass_g": 1}),
            }
            for name, (kind, *photos) in samples.items()
        ]
        with open_log(folder, now=lambda: NOW) as log:
            log.add("lots", pd.DataFrame([{"lot": "L-1"}]), by="op1")
            log.add("hatches", pd.DataFrame([hatch | {"started": "2026-11-04T09:00:00+00:00"}]), by="op1")
            log.add("samples", pd.DataFrame(rows), by="op1")
        (folder / "photos").mkdir(exist_ok=True)
        for name, (_, *photos) in samples.items():
            for photo in photos:
                shutil.copy(PHOTOS / f"{photo}.jpg", folder / "photos" / f"{name}-{photo}.jpg")
        return folder

    return make


def asked(folder):
    page = day.load_day(folder, now=NOW)
    lines = [line for line in day.words.day_lines(page) if line.section == "counts"]
    return page, [line for line in lines if line.do.endswith("--reason TEXT")]


def test_a_sieve_under_a_subsample_is_asked_about_until_it_is_put_right(make_site):
    """The day's page said "usual", as of any count."""
    site = make_site(S1=("subsample", "sieve-03"))
    counted = count_uncounted(site, by="op1")
    assert counted.notes == ("S1-sieve-03.jpg looks like a sieve's: is it of the subsample?",)
    with open_log(site) as log:
        assert "weave" in log.photos()["flags"].iloc[0]
    page, (line,) = asked(site)
    assert line.text == "A: S1-sieve-03.jpg (S1) looks like a sieve's: is it of the subsample?"
    assert line.do == "qckit log correct samples S1 kind sieve --reason TEXT"
    assert day.words.answer(page).startswith("A") and "(the photo of a sieve?)" in day.words.answer(page)
    with open_log(site) as log:
        log.correct("samples", "S1", "kind", "sieve", by="op1", reason="typed wrong")
    assert asked(site)[1] == []


def test_a_chamber_under_a_sieve_sample_is_asked_about(make_site):
    site = make_site(S1=("sieve", "grid-01"), S2=("subsample", "bright-01"), S3=("sieve", "sieve-02"))
    assert count_uncounted(site, by="op1").notes == (
        "S1-grid-01.jpg looks like a counting chamber's: is it of the sieve sample?",
    )
    _, (line,) = asked(site)
    assert line.text.startswith("A: S1-grid-01.jpg (S1) looks like a counting chamber's")
    assert line.do == "qckit log correct samples S1 kind subsample --reason TEXT"


@pytest.mark.parametrize("n_before", [2, 3])
def test_where_such_photos_stand_it_is_how_the_site_takes_them(make_site, n_before):
    site = make_site(S1=("subsample", "sieve-03"))
    path = site / "photos" / "S1-sieve-03.jpg"
    counts = pd.DataFrame({"photo": [path.name], "um_per_px": [10.37], "flags": ["unsure"], "why": ["Look."]})
    samples = pd.DataFrame({"photos": [path.name, *(f"{i}.jpg" for i in range(n_before))], "kind": "subsample"})
    photos = pd.DataFrame({"photo": samples["photos"][1:], "flags": "unsure;weave"})

    class Log:
        def samples(self, **_):
            return samples

        def photos(self):
            return photos

    out, questions = flag_kinds(Log(), counts, {path.name: path})
    assert len(questions) == (n_before < 3)
    if questions:
        assert out["flags"].tolist() == ["unsure;weave"] and out["why"].iloc[0].startswith("Look. The photo shows a")
    assert counts["flags"].tolist() == ["unsure"]


def test_a_photo_that_is_gone_or_cannot_be_read_asks_nothing(make_site):
    site = make_site(S1=("subsample", "sieve-03"), S2=("subsample", "sieve-02"))
    path = site / "photos" / "S1-sieve-03.jpg"
    path.write_bytes(b"no picture")
    counts = pd.DataFrame({"photo": [path.name, "S2-sieve-02.jpg"], "um_per_px": 10.37, "flags": ""})
    with open_log(site) as log:
        out, questions = flag_kinds(log, counts, {path.name: path})
    assert questions == [] and out["flags"].tolist() == ["", ""]
