"""A photo read by a camera's rule: an empty one changes next to nothing, and no piece of a body is lost."""

from dataclasses import replace

import numpy as np
import pytest

from qckit.counting import count_photo
from qckit.counting.camera_rule.reading import _with_pieces_left, judge_by_rule, read_by_rule, see_places
from qckit.counting.camera_rule.rule import AROUND, PLACE_EVIDENCE, STAGE_EVIDENCE, CameraRule, Sum, gather_evidence
from qckit.counting.pipeline import finest_scale
from qckit.counting.reader.joint_reading import reader_module, reader_picture
from qckit.counting.reader.last_layer import CHANNELS
from qckit.counting.segmentation.measuring import FEATURES
from qckit.counting.stages import load_stage_model
from qckit.counting.working import make_work_image
from qckit.photo import read_photo
from qckit.stages import CLASSES, STAGES


@pytest.fixture(scope="module")
def work(request):
    """A photo with nauplii on each other."""
    path = request.config.rootpath / "tests" / "photos" / "photos" / "bright-04.jpg"
    return make_work_image(read_photo(path, um_per_px=5.0, finest_um_per_px=finest_scale()), 5.0, to_um_per_px=12.0)


def test_a_rule_without_sums_finds_what_the_kit_finds(work, request):
    module, model = reader_module("auto"), load_stage_model()["colour"]
    joint = read_by_rule(work, model, module, CameraRule(None, None))
    found = joint.found
    kit = count_photo(request.config.rootpath / "tests" / "photos" / "photos" / "bright-04.jpg", um_per_px=5.0)
    stage = np.array(CLASSES)[found.p.argmax(axis=1)]
    usual = kit.objects[kit.objects["stage"].isin(STAGES)]
    counts = {s: (int((stage == s).sum()), int((usual["stage"] == s).sum())) for s in STAGES}
    assert sum(n for _, n in counts.values()) > 100
    # faint places are measured too, so that a body may be cut otherwise
    assert sum(abs(a - b) for a, b in counts.values()) <= 2, counts
    np.testing.assert_allclose(found.p.sum(axis=1), 1)
    assert joint.invented.shape == joint.missed.shape == (len(STAGES),) and min(joint.invented) >= 0 <= min(
        joint.missed
    )


@pytest.mark.parametrize("has_sum", [False, True])
def test_what_shows_through_bodies_is_asked_after_the_rule_too(work, has_sum):
    """A learnt camera must not lose over weaves what the kit has there: shells of a make were called cysts again."""
    module, model = reader_module("auto"), load_stage_model()["colour"]
    _, places = see_places(work, model, module.read_picture(*reader_picture(work, module)))
    assert np.isnan(places.likeness).all()  # a plain floor: nothing can show through
    no_sum = Sum(np.zeros(STAGE_EVIDENCE), np.ones(STAGE_EVIDENCE), np.zeros((len(STAGES), 2 + STAGE_EVIDENCE)))
    rule = CameraRule(None, no_sum if has_sum else None)
    plain = judge_by_rule(places, rule)[0].argmax(axis=1)
    cyst, shell = STAGES.index("cyst"), STAGES.index("shell")
    cysts, shells = np.flatnonzero(plain == cyst), np.flatnonzero(plain == shell)
    misread = cysts[: len(cysts) // 2]
    assert len(misread) > 5 and len(shells) > 5
    rng, likeness = np.random.default_rng(2), np.full(len(plain), np.nan)
    likeness[cysts] = rng.normal(0.2, 0.1, len(cysts))
    likeness[misread], likeness[shells] = rng.normal(0.75, 0.08, len(misread)), rng.normal(0.75, 0.08, len(shells))
    told = judge_by_rule(replace(places, likeness=likeness), rule)[0].argmax(axis=1)
    assert (told[misread] == shell).mean() > 0.8 and (told[shells] == shell).mean() > 0.8
    kept = np.setdiff1d(cysts, misread)
    assert (told[kept] == cyst).mean() > 0.8
    others = np.setdiff1d(np.arange(len(plain)), np.concatenate([cysts, shells]))
    np.testing.assert_array_equal(told[others], plain[others])


def test_over_a_weave_places_are_compared_with_the_floor_behind_them(request):
    path = request.config.rootpath / "tests" / "photos" / "photos" / "sieve-01.jpg"
    module, model = reader_module("auto"), load_stage_model()["colour"]
    weave = make_work_image(
        read_photo(path, um_per_px=13.08, finest_um_per_px=finest_scale()), 13.08, to_um_per_px=12.0
    )
    _, places = see_places(weave, model, module.read_picture(*reader_picture(weave, module)))
    assert np.isfinite(places.likeness).sum() > 10


def test_a_piece_whose_place_is_none_goes_to_the_body_that_it_touches(work):
    module, model = reader_module("auto"), load_stage_model()["colour"]
    analysis, places = see_places(work, model, module.read_picture(*reader_picture(work, module)))
    pairs = analysis.cuts[0].pieces.pairs
    place_of = {int(piece): i for i, piece in enumerate(places.piece) if piece}
    body, other = next((place_of[a], place_of[b]) for a, b in pairs.tolist() if a in place_of and b in place_of)
    touching = [place_of[p] for p in pairs[(pairs == places.piece[other]).any(axis=1)].ravel() if p in place_of]
    alone = np.array([i for i in range(len(places.piece)) if i == body or i not in touching])
    found = places.found.take(alone)
    joined = _with_pieces_left(analysis, found, places.piece[alone], places.piece[[other]])
    at = int(np.flatnonzero(alone == body)[0])
    area = places.found.sizes["area_um2"]
    np.testing.assert_allclose(joined.sizes["area_um2"][at], area[body] + area[other])
    assert (joined.boxes[at, :2] <= found.boxes[at, :2]).all() and (joined.boxes[at, 2:] >= found.boxes[at, 2:]).all()
    others = np.arange(len(alone)) != at
    np.testing.assert_array_equal(joined.sizes["area_um2"][others], found.sizes["area_um2"][others])
    nothing = _with_pieces_left(analysis, found, places.piece[alone], np.zeros(1, int))
    assert nothing is found


def test_a_photo_lit_in_another_colour_says_the_same_of_its_places():
    """Hues of all bodies moved together are no evidence that one of them is an object; of stages they may be."""
    rng = np.random.default_rng(5)
    n, surer = 30, np.arange(30) < 20
    around, noticed, p = rng.normal(size=(n, AROUND)), rng.normal(size=(n, CHANNELS)), rng.dirichlet(np.ones(5), n)
    features = rng.normal(size=(n, len(FEATURES)))
    features[4, 0] = np.nan  # could not be measured
    moved = features + np.where(np.arange(len(FEATURES)) >= len(FEATURES) - 5, 3.0, 0.0)
    one, other = (gather_evidence(around, noticed, p, f, surer) for f in (features, moved))
    np.testing.assert_allclose(one[:, :PLACE_EVIDENCE], other[:, :PLACE_EVIDENCE], atol=1e-12)
    assert np.nanmin((other - one)[:, -STAGE_EVIDENCE:][:, -5:]) == pytest.approx(3.0)
    assert np.isnan(one[4, -len(FEATURES) :]).all() and np.isfinite(one[3]).all()
    none_sure = gather_evidence(around, noticed, p, features, np.zeros(n, bool))
    beside = none_sure[:, AROUND : AROUND + len(FEATURES)]
    np.testing.assert_allclose(np.nanmedian(beside, axis=0), 0, atol=1e-12)
