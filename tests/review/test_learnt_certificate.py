"""The certificate after a camera was learnt: one rule with the check by eye, and the old one's worth is said."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from qckit.agreement import latest_certificate
from qckit.agreement.certificate_words import LEAST_PHOTOS_TO_JUDGE as LEAST
from qckit.log import new_site, open_log
from qckit.review.camera_check import CameraCheck, save_certificate
from qckit.review.learnt_certificate import _certify, certify_kit, renew_certificate
from qckit.stages import STAGES

NOW = "2026-11-04T10:00:00+00:00"
LEARNT = "1.11+site-abc"


@pytest.fixture
def log(tmp_path):
    with open_log(new_site(tmp_path / "site"), now=lambda: NOW) as log:
        row = {"camera": "stereo", "magnification": "2x", "um_per_px": 5.0, "u_um_per_px": 0.01, "set_at": NOW}
        row |= {"method": "ruled chamber", "photo": "", "set_by": "ab", "notes": ""}
        log.add("scales", pd.DataFrame([row]), by="ab", source="test")
        yield log


def settled(log, n_photos, um_per_px=5.0):
    """Objects of photos settled whole, and the counts that models learnt from the others made of them."""
    rng, rows, counted, photos = np.random.default_rng(1), [], {}, []
    for k in range(n_photos):
        true = dict(zip(STAGES, map(int, rng.poisson([40, 3, 20, 30])), strict=True))
        mine = pd.DataFrame(
            [{"photo": f"p{k}.jpg", "stage": s, "counted": True} for s, n in true.items() for _ in range(n)]
        )
        mine["x_px"], mine["y_px"] = 100.0 + 60 * (mine.index % 12), 100.0 + 60 * (mine.index // 12)
        rows.append(mine)
        found = mine[rng.random(len(mine)) < 0.96].drop(columns="photo").reset_index(drop=True)
        counts = found["stage"].value_counts().reindex(list(STAGES), fill_value=0).to_dict()
        counted[f"p{k}.jpg"] = SimpleNamespace(counts=counts, objects=found)
        photo = {
            "photo": f"p{k}.jpg",
            "sha256": f"{n_photos}{k}" * 32,
            "um_per_px": um_per_px,
            "counter_version": "1.11",
        }
        photos.append(photo | {"width_px": 1000, "height_px": 800, "frame_mm2": 20.0, "flags": ""})
    objects = pd.concat(rows, ignore_index=True).assign(source="found", is_settled=True)
    objects["object_id"] = objects.groupby("photo").cumcount() + 1
    log.record_counts(pd.DataFrame(photos), objects=objects.drop(columns="is_settled"), by="ab")
    return objects, counted


def certified(objects, counted, **about):
    scales = pd.Series(5.0, index=list(counted))
    about = {"camera": "s", "made_at": NOW, "made_by": "ab", "counter_version": "1.11"} | about
    return _certify(objects, counted, scales, **about)


def renewed(log, objects, counted, **given):
    return renew_certificate(log, objects, counted, LEARNT, **({"by": "ab", "named": ("", "")} | given))


def test_from_six_photos_settled_whole_it_is_renewed(log):
    got = renewed(log, *settled(log, LEAST))
    assert got.sentences == (f"The certificate was renewed from the photos settled whole: {got.name}.",)
    kept = log.certificates().iloc[-1]
    assert (kept["certificate"], kept["counter_version"], kept["n_photos"]) == (got.name, LEARNT, LEAST)
    photos = log.photos().assign(counter_version=LEARNT)
    assert latest_certificate(log.certificates(), now=NOW, photos=photos, scales=log.scales()).holds


def test_with_fewer_it_is_not_and_what_to_do_is_said(log):
    got = renewed(log, *settled(log, LEAST - 1))
    assert got.name == "" and log.certificates().empty
    assert got.sentences == (
        "The certificate was not renewed: corrected by a check of 5 photos, later hatching percentages would be "
        "uncertain by about ten points or more. Settle every object of 1 more photo at least and learn again, or "
        "count 6 other photos by eye (10 are better), let the kit count them anew and run  qckit camera check",
        "Until then counts of this camera are not corrected.",
    )
    objects, counted = settled(log, LEAST)
    objects.loc[objects.groupby("photo").head(1).index, "is_settled"] = False  # none is settled whole
    said = renewed(log, objects, counted).sentences[0]
    assert said.startswith("The certificate was not renewed: no photo was settled whole. Settle every object of 6 more")


def test_a_certificate_from_before_speaks_for_earlier_counts_only(log):
    objects, counted = settled(log, LEAST)
    old = certified(objects, counted, camera="stereo", magnification="2x")
    save_certificate(log, CameraCheck(old, None), by="ab")
    few = objects[objects["photo"] != "p0.jpg"]
    assert renewed(log, few, counted).sentences[1] == (
        f"Until then the certificate {old.name}, made with counter 1.11, speaks only for photos counted by that: "
        "photos counted from now on are not corrected."
    )
    photos, known, scales = log.photos(), log.certificates(), log.scales()
    assert latest_certificate(known, now=NOW, photos=photos, scales=scales).holds
    anew = latest_certificate(known, now=NOW, photos=photos.assign(counter_version=LEARNT), scales=scales)
    assert not anew.holds and "these photos were counted with 1.11+site-abc" in anew.sentence


def test_where_nothing_is_learnt_the_kit_itself_is_certified_once(log):
    objects, counted = settled(log, LEAST)
    given = {"by": "ab", "named": ("", "")}
    few = objects[objects["photo"] != "p0.jpg"]
    assert certify_kit(log, few, counted, "1.11", **given).sentences == (
        "No certificate was made of them: corrected by a check of 5 photos, later hatching percentages would be "
        "uncertain by about ten points or more. Settle every object of 1 more photo at least and learn again, or "
        "count 6 other photos by eye (10 are better), let the kit count them anew and run  qckit camera check",
        "Until then counts of this camera are not corrected.",
    )
    got = certify_kit(log, objects, counted, "1.11", **given)
    assert got.name == "stereo 2x 2026-11-04"
    assert got.sentences == (
        "The kit's own models were certified from the photos settled whole: stereo 2x 2026-11-04.",
    )
    assert latest_certificate(log.certificates(), now=NOW, photos=log.photos(), scales=log.scales()).holds
    again = certify_kit(log, objects, counted, "1.11", **given)
    assert (again.name, again.sentences) == ("", ("The certificate stereo 2x 2026-11-04 stays as it is.",))
    assert len(log.certificates()) == 1
    assert certify_kit(log, objects, counted, "1.12", **given).name  # of another counter it does not speak


def test_a_camera_that_nothing_tells_is_asked_for(log):
    objects, counted = settled(log, LEAST, um_per_px=9.0)
    got = renewed(log, objects, counted)
    assert got.name == "" and "nothing tells which camera took the photos" in got.sentences[0]
    assert renewed(log, objects, counted, named=("stereo", "2x")).name == "stereo 2x 2026-11-04"


def test_two_of_one_day_are_both_kept(log):
    objects, counted = settled(log, LEAST)
    first, later = certified(objects, counted), "12:00"
    assert save_certificate(log, CameraCheck(first, None), by="ab").name == "s 2026-11-04"
    assert save_certificate(log, CameraCheck(first, None), by="ab").name == "s 2026-11-04"  # the very same
    second = replace(first, made_at=NOW.replace("10:00", later))
    assert save_certificate(log, CameraCheck(second, None), by="ab").name == "s 2026-11-04 (2)"
    assert log.certificates()["made_at"].str[11:16].tolist() == ["10:00", later]
    fewer = certified(objects, dict(list(counted.items())[1:]))  # another one, of the very same moment
    assert save_certificate(log, CameraCheck(replace(fewer, n_photos=9), None), by="ab").name == "s 2026-11-04 (3)"


def test_objects_settled_one_by_one_are_laid_beside_those_found(log):
    objects, counted = settled(log, LEAST)
    first = counted["p0.jpg"].objects
    first.loc[first.index[first["stage"] == "nauplius"][:3], "stage"] = "umbrella"
    outside = objects.index[objects["photo"] == "p1.jpg"][:5]
    objects.loc[outside, "counted"] = False  # and so is what was found there
    made = certified(objects, counted)
    assert made.rates.source == "matched objects"
    rates = made.rates.to_frame().set_index(["stage", "outcome"])["rate"]
    assert 0.9 < rates["nauplius", "found"] < 1
    n_nauplii = (objects["counted"] & (objects["stage"] == "nauplius")).sum()
    assert rates["nauplius", "right"] == pytest.approx(1 - 3 / (rates["nauplius", "found"] * n_nauplii))


def test_single_counts_that_spoil_it_are_named(log):
    objects, counted = settled(log, LEAST + 2)
    counted["p3.jpg"].counts["nauplius"] *= 10
    got = renewed(log, objects, counted)
    assert got.name == "" and "Photo p3.jpg: " in got.sentences[0] and log.certificates().empty
