"""A wrong scale shows against the lot's own earlier photos, and good ones pass; photos of drawn scenes."""

import numpy as np
import pandas as pd
import pytest

from qckit.review import first_scale_words, flag_scales, scale_doubts

LENGTH = {"nauplius": 430.0, "cyst": 245.0, "shell": 225.0}


def sized(photo, rng, factor=1.0, strain=1.0, n=(30, 20, 25)):
    """Objects of one photo: lengths scatter within it by 8 %, its medians by 3 % (nauplii 5 %)."""
    parts = []
    for stage, count in zip(LENGTH, n):
        middle = LENGTH[stage] * factor * strain * np.exp(rng.normal(0, 0.05 if stage == "nauplius" else 0.03))
        parts.append(
            pd.DataFrame(
                {
                    "photo": photo,
                    "stage": stage,
                    f"p_{stage}": 0.95,
                    "length_um": middle * np.exp(rng.normal(0, 0.08, count)),
                }
            )
        )
    out = pd.concat(parts, ignore_index=True)
    for stage in (*LENGTH, "umbrella"):
        out[f"p_{stage}"] = out.get(f"p_{stage}", pd.Series(0.0, index=out.index)).fillna(0.01)
    return out.assign(on_edge=False, source="found")


def doubts(new, old, lots=None):
    table = [pd.DataFrame({"photo": x["photo"].unique()}) for x in (new, old)]
    return scale_doubts(table[0], new, table[1], old, lots)


@pytest.mark.parametrize("factor", [1.3, 1 / 1.3])
def test_a_scale_wrong_by_a_third_is_flagged_nearly_always_and_a_right_one_hardly_ever(factor):
    rng = np.random.default_rng(6)
    caught = false = 0
    for _ in range(60):
        old = pd.concat([sized(f"o{i}", rng) for i in range(6)])
        caught += len(doubts(sized("wrong", rng, factor), old))
        false += len(doubts(sized("right", rng), old))
    assert caught >= 57 and false <= 1, (caught, false)


def test_another_strain_is_held_against_its_own_lot():
    rng = np.random.default_rng(1)
    small = pd.concat([sized(f"s{i}", rng) for i in range(5)])
    large = pd.concat([sized(f"l{i}", rng, strain=1.3) for i in range(4)])
    new = sized("new", rng, strain=1.3)
    lots = {**{f"s{i}": "K-1" for i in range(5)}, **{f"l{i}": "K-2" for i in range(4)}, "new": "K-2"}
    assert doubts(new, pd.concat([small, large]), lots).empty
    wrong = doubts(new, small, lots)  # nothing of its own lot yet: against the site's
    assert wrong["sentence"].iloc[0].startswith("new: what is in it (nauplii, cysts, shells) is ")
    assert (
        wrong["sentence"]
        .iloc[0]
        .endswith(" % larger than in this site's earlier photos: check the magnification and the µm per pixel.")
    )


def test_without_earlier_photos_the_others_of_the_lot_tell():
    rng = np.random.default_rng(2)
    new = pd.concat([*(sized(f"n{i}", rng) for i in range(5)), sized("wrong", rng, 1.3)])
    lots = dict.fromkeys(new["photo"].unique(), "K-1")
    none = new.head(0)
    found = scale_doubts(pd.DataFrame({"photo": new["photo"].unique()}), new, pd.DataFrame({"photo": []}), none, lots)
    assert found["photo"].tolist() == ["wrong"]
    assert "than in this lot's other photos" in found["sentence"].iloc[0]


def test_too_little_to_tell_by_is_not_flagged():
    rng = np.random.default_rng(1)
    old = pd.concat([sized(f"o{i}", rng) for i in range(6)])
    assert doubts(sized("few", rng, 1.3, n=(5, 4, 3)), old).empty
    assert doubts(sized("wrong", rng, 1.3), old[old["photo"].isin(["o0", "o1"])]).empty


def test_the_flag_joins_those_there_are(log):
    rng = np.random.default_rng(1)
    found = [sized(f"o{i}", rng) for i in range(4)]

    class Site:  # the log of a site with these earlier photos
        photos = staticmethod(lambda: pd.DataFrame({"photo": [f"o{i}" for i in range(4)]}))
        objects = staticmethod(lambda: pd.concat(found))
        samples, hatches = log.samples, log.hatches

    counts = pd.DataFrame({"photo": ["wrong", "right"], "flags": ["few", ""], "why": ["Only 3.", ""]})
    new = pd.concat([sized("wrong", rng, 1.3), sized("right", rng)])
    out, said = flag_scales(Site(), counts, new)
    assert out["flags"].tolist() == ["few;scale", ""]
    assert out["why"].iloc[0] == f"Only 3. {said[0]}"
    assert counts["flags"].tolist() == ["few", ""]


def asked_of(*photos, flags=""):
    counts = pd.DataFrame({"photo": [p["photo"].iloc[0] for p in photos], "flags": flags})
    return lambda *old: first_scale_words(counts, pd.concat(photos), pd.concat(old) if old else photos[0].head(0))


@pytest.mark.parametrize("strain", [224 / 245, 1.0, 289 / 245])  # the smallest and the largest of most strains
def test_of_a_sites_first_photos_a_scale_half_as_large_again_is_asked_about_and_a_right_one_is_not(strain):
    """It passed without a word: sizes that no brine shrimp has begin at 430 µm, and there was nothing to compare."""
    rng = np.random.default_rng(3)
    asked = [
        sum(bool(asked_of(sized(f"n{i}", rng, factor, strain))()) for i in range(100)) for factor in (1, 1.5, 1 / 1.5)
    ]
    assert asked[0] == 0 and (asked[1] >= 80 or strain < 1) and (asked[2] >= 80 or strain > 1)


def test_the_question_names_photo_size_and_what_is_usual(log):
    rng = np.random.default_rng(4)
    wrong, right = [[sized(f"{name}{i}", rng, f) for i in range(4)] for name, f in (("w", 1.5), ("r", 1.0))]
    counts = pd.DataFrame({"photo": ["w0", "w1"], "flags": "", "why": ""})
    out, said = flag_scales(log, counts, pd.concat(wrong[:2]))
    assert out["flags"].tolist() == ["", ""] and len(said) == 1  # a question is no flag
    assert said[0].startswith("w0, w1: the cysts measure 3") and said[0].endswith(
        " µm, cysts of most strains 224 to 289 µm (one from Tibet 330). These are the first photos of this site: is "
        "the µm per pixel that of this camera and magnification?"
    )
    assert asked_of(*wrong[:1])(*right[:3]) == []  # the site's own photos say what is usual
    assert asked_of(wrong[0], *right)() == []  # one of many
    assert asked_of(wrong[0], flags="scale")() == []  # told already
    few = sized("f", rng, 1.5, n=(0, 3, 0))
    assert asked_of(few)() == []
    small = sized("s", rng, 0.6, n=(20, 0, 0))
    assert "the nauplii measure 2" in asked_of(small)()[0]


def test_tables_without_a_row_or_without_a_flag_ask_nothing(log):
    """Flags of no photo, or of none that has one, are read from a file as numbers: it ended in an error."""
    objects = sized("n0", np.random.default_rng(1)).head(0)
    none = pd.DataFrame({"photo": pd.Series(dtype=object), "flags": pd.Series(dtype=float), "why": ""})
    assert first_scale_words(none, objects, objects) == []
    out, said = flag_scales(log, none, objects)
    assert out.empty and said == []
    unflagged = pd.DataFrame({"photo": ["n0"], "flags": [np.nan]})
    wrong = sized("n0", np.random.default_rng(4), 1.5)
    assert len(first_scale_words(unflagged, wrong, objects)) == 1
