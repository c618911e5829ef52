"""A camera learnt from settled photos: refused, learnt, tried on photos left out, used by counts, undone."""

import json
import shutil
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from invented_site import PHOTO
from PIL import Image, ImageOps

from qckit.commands.camera import command as camera
from qckit.commands.count import command as count
from qckit.counting import COUNTER_VERSION, count_photos, model_key
from qckit.counting.scoring import match_objects
from qckit.errors import InputError
from qckit.log import new_site, open_log
from qckit.reports import count_uncounted
from qckit.review import (
    ReviewSession,
    learn_camera_of_site,
    photos_to_settle,
    site_stage_model,
    undo_site_model,
)
from qckit.review.learn import _curve_words
from qckit.review.site_model import LeaveOut, keep_site_model
from qckit.stages import STAGES

KIND = "grey floor"  # as negatives: the shipped reader has seen other benches of this make, and leaves little to learn
LABELLED = Path(__file__).resolve().parents[1] / "photos"


@pytest.fixture(scope="module")
def settled_site(tmp_path_factory):
    """Five photos by a camera that hands on negatives, which nothing was trained on, counted, and told by the truth."""
    top = tmp_path_factory.mktemp("learn")
    site, drawn = Path(new_site(top / "site")), top / "drawn"
    draw = LABELLED.parent / "photos_inflated_make" / "draw.py"
    wanted = ["--seed", "3", "--bench", "5", "--kinds", KIND]
    subprocess.run([sys.executable, str(draw), str(drawn), *wanted], check=True)
    photos, truth = pd.read_csv(drawn / "photos.csv"), pd.read_csv(drawn / "truth.csv")
    for name in photos["photo"]:
        with Image.open(drawn / "photos" / f"{name}.jpg") as photo:
            ImageOps.invert(photo).save(site / "photos" / f"{name}.jpg", quality=95)
    scales = {f"{p}.jpg": u for p, u in zip(photos["photo"], photos["um_per_px"])}
    counted = count_photos(site / "photos", scales)
    with open_log(site) as log:
        row = {"camera": "stereo", "magnification": "2x", "um_per_px": photos["um_per_px"][0], "u_um_per_px": 0.01}
        row |= {"set_at": log.now(), "method": "ruled chamber", "photo": "", "set_by": "ab", "notes": ""}
        log.add("scales", pd.DataFrame([row]), by="ab", source="test")
        log.record_counts(counted.counts, objects=counted.objects, by="ab")
        for name in photos["photo"]:
            log.correct_objects(f"{name}.jpg", told(log, name, truth), by="ab", reason="truth")
    return site, scales


def told(log, name, truth):
    """What a person who sees the truth says of a photo: the stage of each object, what was missed, what is none."""
    found = log.objects(photo=f"{name}.jpg").query("stage != 'debris'").reset_index(drop=True)
    true = truth[(truth["photo"] == name) & (truth["stage"] != "debris")].reset_index(drop=True)
    pairs = dict(match_objects(true, found))
    stage = pd.Series("debris", found.index)
    stage[list(pairs.values())] = true.loc[list(pairs), "stage"].to_numpy()
    changes = pd.DataFrame({"action": "stage", "object_id": found["object_id"].astype(int), "stage": stage})
    missed = true.drop(index=list(pairs)).query("touches_edge == 0 and visible_fraction >= 0.35")
    added = missed[["stage", "x_px", "y_px"]].assign(action="add", on_edge=False, counted=True)
    return pd.concat([changes, added], ignore_index=True)


@pytest.mark.slow
def test_what_is_better_is_used_named_and_undone(settled_site):
    site, scales = settled_site
    with open_log(site) as log:
        got = learn_camera_of_site(log, by="ab")
        certificates = log.certificates()
    t = got.trial
    assert t.n_objects > 300 and t.n_objects - t.right_after <= 0.75 * (t.n_objects - t.right_before), t
    wrong = [(t.n_objects - n, 100 * (1 - n / t.n_objects)) for n in (t.right_before, t.right_after)]
    assert got.sentences[0] == (
        f"{t.n_objects} settled objects of 5 photos were learnt from. With each photo left out in turn, the kit's "
        f"own models were wrong for {wrong[0][0]} of {t.n_objects} ({wrong[0][1]:.1f} %), those learnt here for "
        f"{wrong[1][0]} ({wrong[1][1]:.1f} %)."
    )
    assert got.photos["wrong_before"].sum() == wrong[0][0] and got.photos["wrong_after"].sum() == wrong[1][0]
    assert [p.n_photos for p in got.curve] == [0, 1, 2, 4, 5, 7]
    assert all(p.low <= p.wrong_pct <= p.high for p in got.curve)
    own = site_stage_model(site)
    assert (own.path, own.version, own.made_by) == (got.model.path, 1, "ab")
    out = ["--out", str(site / "counts"), "--no-checked"]
    scale = ["--um-per-px", str(scales["grey-floor-01-3.jpg"])]
    counted = CliRunner().invoke(count, [str(site / "photos" / "grey-floor-01-3.jpg"), *scale, *out])
    assert counted.output.splitlines()[0] == own.sentence
    row = pd.read_csv(site / "counts" / "counts.csv", dtype=str).set_index("photo").loc["grey-floor-01-3.jpg"]
    assert row["counter_version"] == f"{COUNTER_VERSION}+site-{model_key(str(own.path))}"
    assert CliRunner().invoke(camera, ["list", "--site", str(site)]).output.startswith(f"models       {own.sentence}")
    assert got.certificate == "" and certificates.empty  # of five photos no certificate is kept, learnt or by eye
    assert got.sentences[2].startswith("The certificate was not renewed: corrected by a check of 5 photos, later")
    assert got.sentences[3] == "Until then counts of this camera are not corrected."
    undone = CliRunner().invoke(camera, ["learn", "--undo", "--site", str(site)])
    assert undone.output == "The kit's own models count again.\n"
    assert site_stage_model(site) is None


@pytest.mark.slow
def test_what_is_not_better_leaves_the_kit_in_force_and_says_how_to_certify_it(settled_site, monkeypatch):
    site, _ = settled_site
    monkeypatch.setattr("qckit.review.learn._is_better", lambda tried: False)
    with open_log(site) as log:
        got, tried = (learn_camera_of_site(log, by="ab", keep=keep, curve=False) for keep in (True, False))
        assert log.certificates().empty
    assert got.model is None and got.certificate == "" and site_stage_model(site) is None
    assert got.sentences[1].endswith("so nothing was changed: the kit's own models stay in force.")
    assert got.sentences[2].startswith("No certificate was made of them: corrected by a check of 5 photos, later")
    assert got.sentences[2].endswith("let the kit count them anew and run  qckit camera check")
    assert tried.sentences[2].startswith("Without --try a certificate of the kit's own models is made from 6 photos")


def test_a_learnt_rule_changes_counts_and_a_later_version_can_be_undone(tmp_path):
    from qckit.counting import count_photo, load_stage_model
    from qckit.counting.camera_rule.learned import Learned, load_learned, save_learned
    from qckit.counting.camera_rule.rule import STAGE_EVIDENCE, CameraRule, Sum
    from qckit.counting.reader.network import READER_VERSION

    site = Path(new_site(tmp_path / "site"))
    always_shell = np.outer(np.array(STAGES) == "shell", np.eye(2 + STAGE_EVIDENCE)[0]) * 30.0
    rule = CameraRule(None, Sum(np.zeros(STAGE_EVIDENCE), np.ones(STAGE_EVIDENCE), always_shell))
    trial = LeaveOut(3, 100, 90, 95)
    kit, odd = Learned(load_stage_model()), Learned(load_stage_model(), np.array([1.0, 1.1, 0.9]), rule)
    say = {"made_at": "2026-11-04T10:00:00+00:00", "by": "ab", "trial": trial}
    first, second = (keep_site_model(site, learned, **say) for learned in (kit, odd))
    assert (first.version, second.version) == (1, 2)
    photo, um = LABELLED / "photos" / "bright-04.jpg", 5.0
    counts = [count_photo(photo, um_per_px=um, stage_model=str(m.path)).counts for m in (first, second)]
    assert counts[0] == count_photo(photo, um_per_px=um).counts
    assert counts[1]["shell"] == sum(counts[1].values()) > 30
    again = load_learned(str(second.path))
    np.testing.assert_array_equal(again.rule.stage.weights, always_shell)
    assert again.rule.place is None
    assert undo_site_model(site).path == first.path and undo_site_model(site) is None
    with pytest.raises(InputError, match="The kit's own models count already"):
        undo_site_model(site)
    save_learned(tmp_path / "other.npz", odd, reader_version="another")
    assert load_learned(str(tmp_path / "other.npz")).rule is None  # learnt for another network
    assert load_learned(str(tmp_path / "other.npz")).colour_gain is None
    save_learned(tmp_path / "odd.npz", Learned(kit.stages, np.array([1, 1, 50.0])), reader_version=READER_VERSION)
    with pytest.raises(InputError, match="factors on its colours"):
        load_learned(str(tmp_path / "odd.npz"))


def test_the_daily_count_uses_and_names_the_sites_model(tmp_path, monkeypatch):
    from qckit._paths import sample_images_dir
    from qckit.counting import load_stage_model
    from qckit.counting.camera_rule.learned import Learned

    site, images = Path(new_site(tmp_path / "site")), sample_images_dir()
    sheet = pd.read_csv(images / "samples.csv", dtype=str, keep_default_na=False)
    sheet[sheet["photos"] == f"{PHOTO}.jpg"].to_csv(site / "samples.csv", index=False)
    shutil.copy(images / "photos" / f"{PHOTO}.jpg", site / "photos" / f"{PHOTO}.jpg")
    say = {"made_at": "2026-11-04T10:00:00+00:00", "by": "ab", "trial": LeaveOut(5, 200, 180, 190)}
    own = keep_site_model(site, Learned(load_stage_model()), **say)
    with open_log(site) as log:
        log.import_sheets([images / "lots.csv", images / "hatches.csv", site / "samples.csv"], by="op1")
    done = count_uncounted(site, by="ab")
    assert done.notes == (own.sentence,)
    with open_log(site) as log:
        assert log.photos()["counter_version"].tolist() == [f"{COUNTER_VERSION}+site-{own.path.stem[-8:]}"]
    card = site / "models" / "camera.json"
    data = json.loads(card.read_text())
    data["versions"][0]["trained_from"] = "00000000"
    card.write_text(json.dumps(data), encoding="utf-8")
    assert site_stage_model(site).sentence.endswith(" The kit's own have changed since: run  qckit camera learn")
    own.path.write_bytes(own.path.read_bytes() + b"x")
    with pytest.raises(InputError) as error:
        site_stage_model(site)
    assert str(error.value) == (
        f"{own.path}: these are not the models that were made (the content has changed). Make it again with  qckit "
        "camera learn  or take it out of use with  qckit camera learn --undo"
    )
    card.write_text("[]", encoding="utf-8")
    with pytest.raises(InputError, match=r"camera\.json: the site's own models cannot be read\. Make it again"):
        site_stage_model(site)


def test_too_few_settled_objects_are_refused(log):
    session = ReviewSession(log, f"{PHOTO}.jpg")
    for number in session.objects["object_id"].head(3):
        session.set_stage(int(number), "cyst", by="ab")
    with pytest.raises(InputError) as error:
        learn_camera_of_site(log, by="ab")
    assert str(error.value) == (
        "3 objects of 1 photo are settled by hand (0 nauplius, 0 umbrella, 3 cyst, 0 shell, 0 debris). To learn this "
        "camera at least 60 objects of 3 photos are needed, with 10 or more of two stages. Look at more photos: set "
        "the stage, or press Enter where it is right.  qckit camera learn --next  names photos that help most."
    )
    assert photos_to_settle(log) == ["k-124_a_1.jpg"]
    with pytest.raises(InputError, match="Nobody is named as the one who learns"):
        learn_camera_of_site(log, by=" ")


def drawn_examples(rng, n, shift, p_kit=(0.05, 0.05, 0.45, 0.4, 0.05), lookalikes=0):
    """Cysts and shells that the kit cannot tell apart, and of which one number of the evidence says which is which.

    Lookalikes are none of them; the reader is as sure of them, and only how they lie among others tells them.
    """
    from qckit.counting.camera_rule.rule import EVIDENCE
    from qckit.counting.training.rule_fit import RuleExamples

    stage = np.where(rng.random(n) < 0.5, STAGES.index("cyst"), STAGES.index("shell"))
    evidence = rng.normal(0, 1, (n, EVIDENCE))
    evidence[:, -20] += np.where(stage == STAGES.index("cyst"), shift, -shift)
    evidence[: n // 10, -1] = np.nan  # could not be measured
    is_object = np.arange(n) >= lookalikes
    evidence[:, 4] += np.where(is_object, shift, -shift)
    p = np.tile(p_kit, (n, 1))
    told = np.eye(len(STAGES))[stage] * is_object[:, None]
    more = {"chance": is_object.astype(float), "weight": np.ones(n), "stage": told}
    return RuleExamples(score=rng.uniform(0.3, 0.9, n), p=p, usual=p, evidence=evidence, **more)


def test_a_rule_learns_what_the_kit_cannot_tell_and_leaves_the_rest():
    from qckit.counting.camera_rule.rule import with_none
    from qckit.counting.training.rule_fit import fit_rule

    rng = np.random.default_rng(2)
    rule = fit_rule([drawn_examples(rng, 60, 3.0) for _ in range(4)])
    new = drawn_examples(rng, 200, 3.0)
    settled = rule.stages(new.p, new.evidence)
    np.testing.assert_allclose(with_none(settled, rule.chance(new.score, new.p, new.evidence)).sum(axis=1), 1)
    assert (settled.argmax(axis=1) == new.stage.argmax(axis=1)).mean() > 0.97
    assert (new.p.argmax(axis=1) == new.stage.argmax(axis=1)).mean() < 0.6
    again = type(rule).of_arrays(**rule.arrays())
    np.testing.assert_allclose(again.stages(new.p, new.evidence), settled, atol=1e-4)


def test_a_rule_learns_where_an_object_is_by_how_it_lies_among_others():
    from qckit.counting.camera_rule.rule import with_none
    from qckit.counting.training.rule_fit import fit_rule

    rng = np.random.default_rng(3)
    rule = fit_rule([drawn_examples(rng, 60, 3.0, lookalikes=20) for _ in range(4)])
    new = drawn_examples(rng, 200, 3.0, lookalikes=80)
    chance = rule.chance(new.score, new.p, new.evidence)
    assert ((chance > 0.5) == (new.chance == 1)).mean() > 0.95
    assert ((new.score > 0.5) == (new.chance == 1)).mean() < 0.7
    p = with_none(rule.stages(new.p, new.evidence), chance)
    assert ((p.argmax(axis=1) < len(STAGES)) == (chance > 0.5)).all()  # an object stays one, however unsure its stage


def test_where_nothing_is_to_be_learnt_hardly_anything_changes():
    """Evidence that says nothing: no rule, or one held so near zeros that new objects come out as likely as before."""
    from qckit.counting.training.rule_fit import fit_rule

    fair = (0.0, 0.0, 0.5, 0.5, 0.0)
    new, costs = drawn_examples(np.random.default_rng(99), 400, 0.0, fair), []
    for seed in range(10):
        rule = fit_rule([drawn_examples(np.random.default_rng([seed, k]), 40, 0.0, fair) for k in range(4)])
        p = new.p[:, : len(STAGES)] if rule.stage is None else rule.stages(new.p, new.evidence)
        costs.append(-(new.stage * np.log(p + 1e-9)).sum(axis=1).mean())
    assert np.log(2) == pytest.approx(np.median(costs), rel=0.02) and max(costs) < 1.1 * np.log(2)
    assert fit_rule([drawn_examples(np.random.default_rng(1), 60, 3.0)]) is None  # none can be left out


@pytest.mark.parametrize("harm", [{"centre": np.zeros(3)}, {"weights": np.nan}, {"spread": 0.0}])
@pytest.mark.parametrize("which", ["place", "stage"])
def test_a_damaged_rule_is_refused(harm, which):
    from qckit.counting.camera_rule.rule import PLACE_EVIDENCE, STAGE_EVIDENCE, CameraRule

    n, answers = (PLACE_EVIDENCE, 1) if which == "place" else (STAGE_EVIDENCE, len(STAGES))
    sound = {"centre": np.zeros(n), "spread": np.ones(n), "weights": np.zeros((answers, 2 + n))}
    CameraRule.of_arrays(**{f"{which}_{k}": v for k, v in sound.items()})
    harm = {k: np.broadcast_to(v, sound[k].shape) if np.ndim(v) == 0 else v for k, v in harm.items()}
    with pytest.raises(ValueError, match="the camera's rule"):
        CameraRule.of_arrays(**{f"{which}_{k}": v for k, v in {**sound, **harm}.items()})


def test_what_is_invented_counts_against_what_was_learnt():
    """Two settled objects more come out right, and three more are counted where nothing is: that is no gain."""
    from qckit.review.learn import _Compared, _is_better, _right

    right = np.array([True] * 20 + [False] * 8)
    better = _Compared(right, np.ones(28, bool), 0, 0)
    assert _is_better([better]) and not _is_better([_Compared(right, np.ones(28, bool), 0, 9)])
    assert better.wrong == (8, 0)
    one_more, two_more = (np.arange(28) < n for n in (21, 22))
    assert not _is_better([_Compared(right, one_more, 0, 0)]) and _is_better([_Compared(right, two_more, 0, 0)])
    hand = pd.DataFrame({"stage": ["cyst", "debris"], "x_px": [100.0, 300.0], "y_px": [100.0, 100.0]})
    found = pd.DataFrame({"stage": "cyst", "x_px": [101.0, 301.0, 600.0, 900.0], "y_px": 100.0})
    found["counted"] = [True, True, True, False]
    got, n_invented = _right(hand, found, 5.0)
    assert got.tolist() == [True, False] and n_invented == 1


def test_what_was_compared_and_what_counts_from_now_on_is_said():
    from qckit.review.learn import _trial_words

    trial = LeaveOut(4, 200, 190, 191)
    compared, *rest = _trial_words(trial, better=False, keep=True, model=None)
    assert compared == (
        "200 settled objects of 4 photos were learnt from. With each photo left out in turn, the kit's own models were "
        "wrong for 10 of 200 (5.0 %), those learnt here for 9 (4.5 %)."
    )
    plain = "That is not clearly better (at least 2 objects fewer must come out wrong), so nothing was changed: "
    assert rest == [f"{plain}the kit's own models stay in force."]
    assert list(_trial_words(trial, better=False, keep=False, model=None))[1:] == [
        *rest,
        "Without --try a certificate of the kit's own models is made from 6 photos settled whole, and with fewer it is "
        "said how to come by one.",
    ]
    earlier = SimpleNamespace(version=3)
    assert list(_trial_words(trial, better=False, keep=True, model=earlier))[1] == (
        f"{plain}the site's version 3 stays in force."
    )


def test_what_more_photos_would_bring_is_said_with_its_interval():
    measured = SimpleNamespace(n_photos=6, wrong_pct=12.6)
    now = SimpleNamespace(n_photos=8, wrong_pct=12.3, low=4.1, high=25.2)
    more = SimpleNamespace(n_photos=16, wrong_pct=12.1, low=3.9, high=25.0)
    assert list(_curve_words([measured, now, more], None, "", "")) == [
        "Wrong on photos left out, by the number of photos learnt from: 6: 12.6 %.",
        "With all 8 photos 12 % (4 to 25 %) are expected to be wrong, with 16 photos 12 % (4 to 25 %): settling more "
        "would change little.",
    ]
