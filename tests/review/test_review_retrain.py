"""A site's own stage model: refused, trained, checked on photos held out, used by counts, taken out of use."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from invented_site import PHOTO
from PIL import Image, ImageFilter
from scipy.spatial.distance import cdist

from qckit.commands.camera import command as camera
from qckit.commands.count import command as count
from qckit.counting import COUNTER_VERSION, count_photos
from qckit.errors import InputError
from qckit.log import new_site, open_log
from qckit.reports import count_waiting
from qckit.review import ReviewSession, retrain_stages, site_stage_model

LABELLED = Path(__file__).resolve().parents[1] / "photos"


def strange(path):
    """A labelled photo as an odd camera would show it: two colours swapped, dim, soft."""
    pixels = np.asarray(Image.open(path).convert("RGB")).astype(float)[..., [0, 2, 1]] / 255 * [0.75, 1.0, 0.6]
    return Image.fromarray((np.clip(pixels, 0, 1) ** 1.3 * 255).astype(np.uint8)).filter(ImageFilter.GaussianBlur(1.2))


@pytest.fixture(scope="module")
def settled_site(tmp_path_factory):
    """Photos of an odd camera, counted, and every object found told by the truth."""
    site = Path(new_site(tmp_path_factory.mktemp("retrain") / "site"))
    photos = pd.read_csv(LABELLED / "photos.csv")
    photos = photos[photos["kind"] == "bright"].head(5)
    truth = pd.read_csv(LABELLED / "truth.csv")
    for name in photos["photo"]:
        strange(LABELLED / "photos" / f"{name}.jpg").save(site / "photos" / f"{name}.jpg", quality=88)
    scales = {f"{p}.jpg": u for p, u in zip(photos["photo"], photos["um_per_px"])}
    counted = count_photos(site / "photos", scales)
    with open_log(site) as log:
        log.record_counts(counted.counts, objects=counted.objects, by="ab")
        for name, um_per_px in zip(photos["photo"], photos["um_per_px"]):
            found, true = log.objects(photo=f"{name}.jpg"), truth[truth["photo"] == name]
            apart = cdist(found[["x_px", "y_px"]], true[["x_px", "y_px"]]) * um_per_px
            changes = pd.DataFrame(
                {
                    "action": "stage",
                    "object_id": found["object_id"].astype(int),
                    "stage": true["stage"].to_numpy()[apart.argmin(axis=1)],
                }
            )
            log.correct_objects(f"{name}.jpg", changes[apart.min(axis=1) < 60], by="ab", reason="truth")
    return site, scales


@pytest.mark.slow
def test_a_better_model_is_put_into_use_named_and_taken_out_again(settled_site):
    site, scales = settled_site
    kit = count_photos(site / "photos", scales, out_dir=site / "counts", checked=False)
    with open_log(site) as log:
        got = retrain_stages(log, by="ab")
    assert got.right_after >= got.right_before and got.n_held_out > 300
    assert got.sentences[0].endswith(
        f"On photos held out the kit's own stages were right for {got.right_before} of {got.n_held_out} "
        f"({100 * got.right_before / got.n_held_out:.1f} %), those trained here for {got.right_after} "
        f"({100 * got.right_after / got.n_held_out:.1f} %)."
    )
    if got.model is None:  # a better counter leaves less to gain
        assert got.sentences[1] == "They are not better beyond chance, so nothing was changed."
        return
    own = site_stage_model(site)
    assert (own.path, own.made_by, own.n_photos) == (got.model.path, "ab", 5)
    assert own.sentence.startswith("Stages by this site's own model of ")
    counted = CliRunner().invoke(
        count,
        [
            str(site / "photos" / "bright-01.jpg"),
            "--um-per-px",
            str(scales["bright-01.jpg"]),
            "--out",
            str(site / "counts"),
            "--no-checked",
        ],
    )
    assert counted.output.splitlines()[0] == own.sentence
    row = pd.read_csv(site / "counts" / "counts.csv", dtype=str).set_index("photo").loc["bright-01.jpg"]
    assert row["counter_version"] == f"{COUNTER_VERSION}+site-{own.path.stem[-8:]}"
    assert set(kit.counts["counter_version"]) == {COUNTER_VERSION}
    assert CliRunner().invoke(camera, ["list", "--site", str(site)]).output.startswith(f"stages       {own.sentence}")
    dropped = CliRunner().invoke(camera, ["retrain", "--drop", "--site", str(site)])
    assert dropped.output == "The kit's own stages count again.\n"
    assert site_stage_model(site) is None


def test_the_daily_count_uses_and_names_the_sites_model(tmp_path, monkeypatch):
    from shutil import copy

    import qckit.review.retrain as retrain
    from qckit._paths import sample_images_dir
    from qckit.counting import load_stage_model

    site, images = Path(new_site(tmp_path / "site")), sample_images_dir()
    sheet = pd.read_csv(images / "samples.csv", dtype=str, keep_default_na=False)
    sheet[sheet["photos"] == f"{PHOTO}.jpg"].to_csv(site / "samples.csv", index=False)
    copy(images / "photos" / f"{PHOTO}.jpg", site / "photos" / f"{PHOTO}.jpg")
    own = retrain._write(site, load_stage_model(), "2026-11-04T10:00:00+00:00", "ab", (5, 200, 180, 190, 200))
    with open_log(site) as log:
        log.import_sheets([images / "lots.csv", images / "hatches.csv", site / "samples.csv"], by="op1")
    done = count_waiting(site, by="ab")
    assert done.notes == (own.sentence,)
    with open_log(site) as log:
        assert log.photos()["counter_version"].tolist() == [f"{COUNTER_VERSION}+site-{own.path.stem[-8:]}"]
    card = site / "models" / "stages.json"
    card.write_text(json.dumps(json.loads(card.read_text()) | {"trained_from": "00000000"}), encoding="utf-8")
    assert site_stage_model(site).sentence.endswith(" The kit's own has changed since: run  qckit camera retrain")
    own.path.write_bytes(own.path.read_bytes() + b"x")
    with pytest.raises(InputError) as error:
        site_stage_model(site)
    assert str(error.value) == (
        f"{own.path}: this is not the stage model that was made (its content has changed). Train it again with  qckit "
        "camera retrain  or take it out of use with  qckit camera retrain --drop"
    )
    card.write_text("[]", encoding="utf-8")
    with pytest.raises(InputError, match=r"stages\.json: the site's stage model cannot be read\. Train it again"):
        site_stage_model(site)


def test_too_few_settled_objects_are_refused(log):
    session = ReviewSession(log, f"{PHOTO}.jpg")
    for number in session.objects["object_id"].head(3):
        session.set_stage(int(number), "cyst", by="ab")
    with pytest.raises(InputError) as error:
        retrain_stages(log, by="ab")
    assert str(error.value) == (
        "3 objects of 1 photo are settled by hand (0 nauplius, 0 umbrella, 3 cyst, 0 shell, 0 debris). To train on "
        "this site's own photos at least 80 objects of 4 photos are needed, with 15 or more of two stages. Look at "
        "more photos: set the stage, or press Enter where it is right."
    )
    with pytest.raises(InputError, match="Nobody is named as the one who trains"):
        retrain_stages(log, by=" ")


def test_tuning_learns_the_new_look_and_forgets_little():
    from qckit.counting import FEATURES, load_stage_model, tune_stage_model
    from qckit.counting.stages import ANSWERS

    rng = np.random.default_rng(2)
    model = load_stage_model()["colour"]
    spread = np.zeros(len(FEATURES))
    centre = np.zeros(len(FEATURES))
    for name, c, s in zip(model.names, model.centre, model.scale):
        centre[FEATURES.index(name)], spread[FEATURES.index(name)] = c, s
    old = centre + spread * rng.normal(0, 0.8, (400, len(FEATURES)))
    before = model.predict(old)
    new = centre + spread * (rng.normal(0, 0.3, (200, len(FEATURES))) + 2.0)
    answers = np.full(200, ANSWERS.index("cyst"))
    tuned = tune_stage_model(model, new, answers)
    held_out = centre + spread * (rng.normal(0, 0.3, (100, len(FEATURES))) + 2.0)
    assert (tuned.predict(held_out).argmax(axis=1) == ANSWERS.index("cyst")).mean() > 0.95
    assert (tuned.predict(old).argmax(axis=1) == before.argmax(axis=1)).mean() > 0.8
    assert np.allclose(tune_stage_model(model, new, answers).predict(old), tuned.predict(old))
    held = tune_stage_model(model, new, answers, pull=1e4)
    assert np.abs(held.predict(old) - before).max() < 0.01
