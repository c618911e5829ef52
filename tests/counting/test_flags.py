"""Flags: each by signs made by hand, with its whole sentence; and on photos spoilt on purpose."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFilter

from qckit.counting import FLAG_CODES, count_photo, load_stage_model, save_stage_model
from qckit.counting.flags import WITHHELD, PhotoSigns, judge_photo
from qckit.counting.swing import finding_swing, hatch_swing, off_chance, share_between


def signs(**changes) -> PhotoSigns:
    good = {
        "white_share": 0.0,
        "black_share": 0.0,
        "contrast": 60.0,
        "covered_share": 0.05,
        "clump_share": 0.05,
        "stages": np.repeat([0, 1, 2, 3], [20, 3, 10, 12]),
        "p_best": np.full(45, 0.97),
        "length_um": np.repeat([470.0, 400, 230, 220], [20, 3, 10, 12]),
        "body_width_um": 220.0,
    }
    merged = good | changes
    return PhotoSigns(**({"p_body": merged["p_best"]} | merged))


def test_a_good_photo_has_no_flag():
    assert judge_photo(signs()) == ()


def test_few_animals_among_many_other_things_are_no_hatch_sample():
    """Three nauplii and a cyst in a picture full of what could not be told apart are other things, however sure."""
    few = {
        "stages": np.array([0, 0, 0, 2, 3]),
        "p_best": np.full(5, 0.95),
        "length_um": np.array([470.0, 480, 460, 230, 220]),
    }
    assert [f.code for f in judge_photo(signs(**few))] == ["few"]
    assert [f.code for f in judge_photo(signs(**few, clump_objects=6.0))] == ["few", "clumps"]
    assert [f.code for f in judge_photo(signs(**few, clump_objects=16.0))] == ["foreign", "few", "clumps"]
    assert [f.code for f in judge_photo(signs(clump_objects=100.0))] == ["clumps"]


def test_a_photo_is_unsure_from_a_chance_of_seven_percent():
    below, above = signs(swing=5.0), signs(swing=5.5)
    assert 0.06 < below.off_chance < 0.07 < above.off_chance < 0.08
    assert judge_photo(below) == () and [f.code for f in judge_photo(above)] == ["unsure"]


def test_soft_outlines_are_named_where_stages_are_in_doubt():
    """They alone take a flag only when the count is likely to suffer."""
    assert judge_photo(signs(edge_width_um=105.0)) == ()
    assert [f.code for f in judge_photo(signs(edge_width_um=105.0, swing=9.0))] == ["blurred", "unsure"]


@pytest.mark.parametrize(
    ("changes", "code", "sentence"),
    [
        (
            {"white_share": 0.4},
            "bright",
            "40 % of the photo is burnt out to white, where pale shells vanish: "
            "shorten the exposure and take it again.",
        ),
        (
            {"black_share": 0.95, "contrast": 4.0},
            "dark",
            "Nearly all of the photo is black and what shows is faint: lengthen the exposure or add light and take "
            "it again.",
        ),
        (
            {"edge_width_um": 170.0},
            "blurred",
            "Outlines are smeared over 170 µm: focus on the animals and take the photo again.",
        ),
        (
            {"clump_share": 0.5},
            "crowded",
            "50 % of the objects lie in clumps: dilute the sample and take the photo again.",
        ),
        (
            {"length_um": np.repeat([470.0, 400, 450, 220], [20, 3, 10, 12])},
            "scale",
            "The cysts measure 450 µm, and 165 to 430 µm is usual: check the µm per pixel.",
        ),
        (
            {
                "body_width_um": 500.0,
                "stages": np.repeat([0, 2], [8, 6]),
                "p_best": np.full(14, 0.97),
                "length_um": np.repeat([470.0, 230], [8, 6]),
            },
            "scale",
            "What lies alone in the photo is 500 µm wide, and nauplii, cysts and "
            "shells are 125 to 320: check the µm per "
            "pixel.",
        ),
        (
            {"swing": 9.2},
            "unsure",
            "Doubts about stages: the hatching percentage is off by more than 5 points with a chance of about 17 %: "
            "look at the checked picture and correct it by hand.",
        ),
        (
            {"p_best": np.full(45, 0.65)},
            "unsure",
            "About 35 % of the objects may be given the wrong stage or be split "
            "wrongly: look at the checked picture and "
            "correct it by hand.",
        ),
        (
            {"clump_objects": 6.0},
            "clumps",
            "By their area about 4 to 9 more objects lie in clumps that could not be told apart: spread or dilute the "
            "sample, or count those by hand.",
        ),
        (
            {"invented_nauplii": 1.6, "missed_nauplii": 1.1},
            "finding",
            "Nauplii stand out poorly here: about 2 of those marked may be none, and about 1 may be missing: look at "
            "the checked picture and correct it by hand.",
        ),
        (
            {"between": 0.3},
            "groups",
            "Cysts and empty shells do not part into two groups in this light (30 % of them lie between): take the "
            "photo with light from below, or correct it by hand.",
        ),
        (
            {"shift": 4.6},
            "groups",
            "Cysts and empty shells look otherwise here than they were read, which moves the hatching percentage by 5 "
            "points: look at the checked picture and correct it by hand.",
        ),
        (
            {"strangeness": 3.0, "by_measures": True},
            "unlike",
            "The photo looks unlike those the counter was checked on: compare a few "
            "photos of this kind with hand counts "
            "before trusting it.",
        ),
        (
            {"differing_share": 0.45},
            "readers",
            "The two ways of reading the photo differ on 45 % of the objects: look at "
            "the checked picture and correct it "
            "by hand.",
        ),
        (
            {"without_reader": True},
            "alone",
            "Counted without the trained reader, which finds more and mistakes fewer stages: count again with --reader "
            "auto and onnxruntime installed, or check it by hand.",
        ),
    ],
)
def test_each_flag_says_what_to_do(changes, code, sentence):
    flags = judge_photo(signs(**changes))
    assert [(f.code, f.sentence) for f in flags] == [(code, sentence)]
    assert code in FLAG_CODES


def test_the_chance_of_a_large_error_grows_with_the_swing_and_with_bodies_between():
    """One nauplius or cyst in doubt of hundreds moves little; a third of the round bodies between tells no stage."""
    chances = [off_chance(swing, 0.0) for swing in (0.0, 2.0, 5.0, 20.0)]
    assert chances == sorted(chances) and chances[0] < 0.001 and chances[1] < 0.02 and chances[-1] > 0.35
    assert off_chance(2.0, 0.3) > 5 * off_chance(2.0, 0.0)
    assert not signs(swing=5.0).is_unsure and signs(swing=5.0, between=0.1).is_unsure
    few = {"stages": np.zeros(4, int), "p_best": np.ones(4), "length_um": np.full(4, 470.0)}
    assert not signs(**few, swing=50.0).is_unsure


def test_doubtful_nauplii_are_held_against_the_nauplii_not_against_all():
    """Forty-five objects, twenty nauplii: three doubtful ones are a seventh of the nauplii."""
    three = {"invented_nauplii": 1.0, "missed_nauplii": 2.0}
    assert [f.code for f in judge_photo(signs(**three))] == ["finding"]
    many = {"stages": np.repeat([0, 2], [60, 20]), "p_best": np.full(80, 0.97)}
    assert judge_photo(signs(**three, **many, length_um=np.repeat([470.0, 230], [60, 20]))) == ()


def test_swing_bounds_the_mean_error():
    """10 nauplii and 10 cysts, one of them a shell by 0.3: without it 10 of 19 hatched instead of 10 of 20."""
    p = np.zeros((20, 5))
    p[:10, 0], p[10:, 2] = 1, 1
    assert hatch_swing(p) == 0
    p[19] = [0, 0, 0.7, 0.3, 0]
    assert hatch_swing(p) == pytest.approx(0.3 * 100 * 0.5 / 20)
    assert hatch_swing(p) == pytest.approx(0.3 * 100 * (10 / 19 - 10 / 20), rel=0.06)
    p[18] = [0.3, 0, 0.7, 0, 0]
    assert hatch_swing(p) == pytest.approx(0.3 * 100 * 0.5 / 20 + 0.3 * 100 / 20)
    assert hatch_swing(np.zeros((0, 5))) == 0


def test_what_was_missed_moves_the_percentage_as_far_as_its_stage_does():
    """Ten nauplii and ten cysts: one nauplius more or less moves it by 2.5 points, one shell not at all."""
    p = np.zeros((20, 5))
    p[:10, 0], p[10:, 2] = 1, 1
    assert (
        finding_swing(p, np.array([1.0, 0, 0, 0]))
        == pytest.approx(2.5)
        == pytest.approx(100 * (11 / 21 - 0.5), rel=0.06)
    )
    assert finding_swing(p, np.array([0, 0, 2.0, 9.0])) == pytest.approx(5.0)
    assert finding_swing(np.zeros((0, 5)), np.ones(4)) == 0


def test_few_objects():
    some = {"stages": np.array([0, 0, 2, 3]), "p_best": np.ones(4), "length_um": np.array([470.0, 460, 240, 200])}
    assert [f.sentence for f in judge_photo(signs(**some))] == [
        "Only 3 nauplii, umbrella stages and cysts were found, too few for a percentage: count more photos of "
        "this sample."
    ]


def test_a_photo_of_other_things_is_named_and_its_percentage_withheld():
    """Shells do not count, nor do nauplii that may as well be something else."""
    doubtful = {"stages": np.array([0, 0, 0, 2, 2, 3, 3]), "p_best": np.array([0.9, 0.9, 0.55, 0.5, 0.4, 0.99, 0.99])}
    flags = judge_photo(signs(**doubtful, length_um=np.full(7, 300.0)))
    assert [f.code for f in flags][:1] == ["foreign"]
    assert flags[0].sentence == (
        "Hardly anything here is brine shrimp for sure (nauplii, umbrella stages and cysts: 2): this does not "
        "look like a hatch sample, and no percentage is given. If it is one, count more photos of it."
    )
    assert set(WITHHELD) <= set(FLAG_CODES)


def test_few_bodies_most_of_which_are_likelier_something_else_are_no_hatch_sample():
    """Three sure ones do not speak for five others that were called something against the odds, as in a drawing."""
    p_best = np.array([0.44, 0.9, 0.91, 0.63, 0.19, 0.15, 0.45, 0.47])
    few = {"stages": np.array([0, 0, 0, 1, 0, 0, 1, 1]), "length_um": np.full(8, 430.0)}
    assert "foreign" in [f.code for f in judge_photo(signs(**few, p_best=p_best))]
    assert "foreign" not in [f.code for f in judge_photo(signs(**few, p_best=np.maximum(p_best, 0.55)))]
    many = {k: np.tile(v, 3) for k, v in few.items()}
    assert "foreign" not in [f.code for f in judge_photo(signs(**many, p_best=np.tile(p_best, 3)))]


def test_few_bodies_of_doubtful_stage_that_are_surely_there_are_a_sparse_sample():
    """Over a mesh a dozen true bodies may each be of either of two stages; a drawing's are doubted to be any."""
    p_best = np.array([0.65, 0.7, 0.62, 0.44, 0.4, 0.38, 0.45, 0.47, 0.3, 0.42])
    few = {"stages": np.tile([0, 2], 5), "length_um": np.tile([430.0, 240.0], 5), "p_best": p_best}
    p_body = np.array([0.9, 0.95, 0.9, 0.8, 0.75, 0.5, 0.5, 0.5, 0.4, 0.5])
    assert "foreign" not in [f.code for f in judge_photo(signs(**few, p_body=p_body))]
    assert "foreign" in [f.code for f in judge_photo(signs(**few, p_body=np.minimum(p_body, [*[1] * 4, *[0.55] * 6])))]
    assert "foreign" in [
        f.code for f in judge_photo(signs(**few | {"p_best": p_best - 0.1}, p_body=p_body))
    ]  # none sure


def test_round_things_alone_are_a_hatch_sample_only_where_they_part():
    """Twenty sure cysts: a sample that did not hatch; the same where they do not part from shells: anything round."""
    round_things = {"stages": np.full(20, 2), "p_best": np.full(20, 0.9), "length_um": np.full(20, 245.0)}
    assert "foreign" not in [f.code for f in judge_photo(signs(**round_things))]
    assert "foreign" in [f.code for f in judge_photo(signs(**round_things, between=0.4))]
    with_animals = {"stages": np.r_[[0, 0, 1], np.full(20, 2)], "p_best": np.full(23, 0.9)}
    flags = judge_photo(signs(**with_animals, length_um=np.full(23, 245.0), between=0.4))
    assert "foreign" not in [f.code for f in flags]


@pytest.mark.parametrize("um_per_px", [5.0, 12.0])
@pytest.mark.parametrize("picture", ["brick", "cell", "coins", "grass", "ihc", "retina", "page"])
def test_real_pictures_of_other_things(picture, um_per_px):
    """Pictures that come with scikit-image; the reader was trained without these."""
    import skimage

    (path,) = (Path(skimage.__file__).parent / "data").glob(f"{picture}.*")
    count = count_photo(path, um_per_px=um_per_px)
    assert "foreign" in [f.code for f in count.flags]
    assert np.isnan(count.hatch_pct)


def test_the_two_readings_are_compared_only_in_light_that_both_know():
    assert [f.code for f in judge_photo(signs(differing_share=0.6, strangeness=0.3))] == ["readers"]
    assert judge_photo(signs(differing_share=0.6, strangeness=1.3)) == ()


def test_how_measured_bodies_look_says_nothing_of_the_trained_reader(crop, monkeypatch, tmp_path):
    assert judge_photo(signs(strangeness=3.0)) == ()
    path, scale = crop()
    monkeypatch.setattr("qckit.counting.flags.STRANGE", 0.01)
    assert "unlike" not in codes(path, scale)
    assert {"unlike", "alone"} <= {f.code for f in count_photo(path, um_per_px=scale, reader=None).flags}
    own = tmp_path / "own.npz"
    save_stage_model(own, load_stage_model())
    assert "unlike" in {f.code for f in count_photo(path, um_per_px=scale, stage_model=str(own)).flags}


def test_round_bodies_that_belong_to_neither_group():
    p = np.zeros((20, 5))
    p[:10, 2], p[10:, 3] = 1, 1
    assert share_between(p) == 0
    p[8:14, 2], p[8:14, 3] = 0.5, 0.5
    assert share_between(p) == pytest.approx(0.3)
    assert share_between(p[:12]) == 0
    assert share_between(np.zeros((0, 5))) == 0


def codes(path, scale):
    return {f.code for f in count_photo(path, um_per_px=scale).flags}


def test_burnt_out_photo(crop, tmp_path):
    path, scale = crop()
    image = np.asarray(Image.open(path)).astype(float)
    Image.fromarray(np.clip(image * 1.6, 0, 255).astype(np.uint8)).save(tmp_path / "a.png")
    assert "bright" in codes(tmp_path / "a.png", scale)


def test_blurred_photo(crop, tmp_path):
    path, scale = crop()
    Image.open(path).filter(ImageFilter.GaussianBlur(14)).save(tmp_path / "a.png")
    assert codes(tmp_path / "a.png", scale) & {"blurred", "unsure", "unlike", "few"}


@pytest.mark.parametrize("factor", [0.4, 2.6])
def test_wrong_scale(crop, factor):
    path, scale = crop()
    assert codes(path, scale * factor) & {"scale", "few"}
