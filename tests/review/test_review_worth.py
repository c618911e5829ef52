"""Which look helps most, on objects made up for it."""

import numpy as np
import pandas as pd
import pytest

from qckit.review import rank_objects, rank_photos, say_when_to_stop
from qckit.review.settled import order_to_review
from qckit.stages import STAGES

NAMES = (*STAGES, "debris")


def objects(rows, photo="a.jpg"):
    """(stage, probability of it, stage it could be instead, counted) per object."""
    out = []
    for i, (stage, p, other, counted) in enumerate(rows, 1):
        chance = dict.fromkeys(NAMES, 0.0) | {stage: p}
        chance[other] += 1 - p
        out.append(
            {
                "photo": photo,
                "object_id": i,
                "stage": stage,
                **{f"p_{n}": chance[n] for n in NAMES},
                "counted": counted,
                "source": "found",
            }
        )
    return pd.DataFrame(out)


def test_what_changes_the_hatch_comes_first():
    frame = objects(
        [("nauplius", 0.99, "cyst", True)] * 20
        + [
            ("cyst", 0.60, "nauplius", True),
            ("shell", 0.60, "debris", True),
            ("cyst", 0.60, "nauplius", False),
        ]
    )
    ranked = rank_objects(frame)
    assert ranked["object_id"].iloc[0] == 21
    # shell or debris makes no difference to H%, nor does what lies outside the frame
    assert ranked.set_index("object_id").loc[[22, 23], "worth"].tolist() == [0, 0]
    assert ranked.set_index("object_id").loc[22, "doubt"] == pytest.approx(0.4)


def test_worth_is_the_expected_change_of_the_hatch():
    frame = objects(
        [("nauplius", 1.0, "cyst", True)] * 7 + [("cyst", 1.0, "shell", True)] * 2 + [("cyst", 0.75, "nauplius", True)]
    )
    got = rank_objects(frame).set_index("object_id").loc[10, "worth"]
    assert got == pytest.approx(0.25 * 100 * (8 / 10 - 7 / 10))


def test_what_a_person_settled_is_not_offered_again():
    frame = objects([("nauplius", 0.5, "cyst", True)] * 5)
    frame.loc[0, "source"] = "stage changed by hand"
    ranked = rank_objects(frame).set_index("object_id")
    assert ranked.loc[1, "worth"] == 0
    assert ranked.index[-1] == 1


def test_looking_stops_when_the_rest_is_small_and_not_before():
    sure = objects([("nauplius", 0.999, "cyst", True)] * 60 + [("cyst", 0.999, "shell", True)] * 30)
    assert say_when_to_stop(sure).startswith("Enough: doubtful stages still add")
    unsure = objects([("nauplius", 0.7, "cyst", True)] * 60 + [("cyst", 0.7, "shell", True)] * 30)
    words = say_when_to_stop(unsure)
    assert words.startswith("Look on: doubtful stages add")
    needed = int(words.split("The next ")[1].split()[0])
    ranked = rank_objects(unsure)
    for n, start in ((needed, "Enough"), (needed - 1, "Look on")):
        tried = ranked.copy()
        tried.loc[tried.index[:n], "source"] = "stage changed by hand"
        assert say_when_to_stop(tried).startswith(start)


def test_doubt_is_the_spread_that_wrong_stages_really_make():
    frame = objects([("nauplius", 0.8, "cyst", True)] * 50 + [("cyst", 0.7, "shell", True)] * 40)
    photos = pd.DataFrame({"photo": ["a.jpg"], "sample": ["s"], "flags": [""]})
    said = rank_photos(photos, frame)["doubt_pct"].iloc[0]
    rng, p = np.random.default_rng(0), frame[[f"p_{n}" for n in NAMES]].to_numpy()
    drawn = (rng.random((4000, 90, 1)) > p.cumsum(axis=1)).sum(axis=2)
    n, full = (drawn == 0).sum(axis=1), (drawn <= 2).sum(axis=1)
    assert said == pytest.approx((100 * n / full).std(), rel=0.15)


def test_photos_flagged_or_doubtful_come_first():
    sure = [("nauplius", 0.999, "cyst", True)] * 60 + [("cyst", 0.999, "shell", True)] * 30
    frame = pd.concat(
        [
            objects(sure, "fine.jpg"),
            objects([("nauplius", 0.6, "cyst", True)] * 60, "doubt.jpg"),
            objects([("nauplius", 0.999, "cyst", True)] * 60, "flag.jpg"),
        ]
    )
    photos = pd.DataFrame(
        {
            "photo": ["fine.jpg", "doubt.jpg", "flag.jpg", "empty.jpg"],
            "sample": "s",
            "flags": ["", "", "focus;scale", ""],
        }
    )
    got = rank_photos(photos, frame).set_index("photo")
    assert got["look"].to_dict() == {"fine.jpg": "no", "doubt.jpg": "yes", "flag.jpg": "yes", "empty.jpg": "yes"}
    assert got.index[-1] == "fine.jpg"
    assert got.loc["flag.jpg", "why"] == "Flagged: focus, scale in doubt."
    assert got.loc["empty.jpg", "why"] == "Nothing was found: make sure that is so."
    assert got.loc["fine.jpg", "why"].startswith("What is doubtful is small")


def test_the_queue_begins_with_photos_that_teach_the_camera_until_enough_are_settled():
    """The photo with the most doubtful objects of each sample leads, before one that is flagged; then they do not."""
    frame = pd.concat(
        [
            objects([("nauplius", 0.6, "cyst", True)] * 60, "more.jpg"),
            objects([("nauplius", 0.6, "cyst", True)] * 40, "less.jpg"),
            objects([("nauplius", 0.999, "cyst", True)] * 60, "flag.jpg"),
            objects([("nauplius", 0.6, "cyst", True)] * 20, "other.jpg"),
        ]
    )
    names = ["flag.jpg", "less.jpg", "more.jpg", "other.jpg"]
    photos = pd.DataFrame({"photo": names, "sample": ["s", "s", "s", "t"], "flags": ["scale", "", "", ""]})
    photos["um_per_px"] = 5.0
    got = order_to_review(photos, frame)
    assert got["photo"].tolist()[:3] == ["more.jpg", "other.jpg", "less.jpg"]
    assert got["settle"].tolist() == ["yes", "yes", "yes", "no"]
    settled = [objects([("cyst", 0.9, "shell", True)] * 3, f"done-{k}.jpg") for k in range(8)]
    done = pd.concat([frame, *(one.assign(source="stage changed by hand") for one in settled)])
    got = order_to_review(photos, done)
    assert got["photo"].tolist() == rank_photos(photos, done)["photo"].tolist()
    assert set(got["settle"]) == {"no"}


def test_one_doubtful_stage_is_said_of_one():
    frame = objects([("nauplius", 1.0, "cyst", True)] * 300 + [("cyst", 0.5, "nauplius", True)])
    photos = pd.DataFrame({"photo": ["a.jpg"], "sample": ["s"], "flags": [""]})
    assert rank_photos(photos, frame)["why"].iloc[0].startswith("1 stage is doubtful and adds 0.")
    assert say_when_to_stop(frame).endswith("The next one offered brings it down to where looking on is not worth it.")


def test_nothing_to_take_a_hatch_from():
    assert (
        say_when_to_stop(objects([("shell", 0.9, "debris", True)]))
        == "There is nothing to take a hatching percentage from."
    )


def test_photos_ranked_together_come_out_as_each_alone():
    rng = np.random.default_rng(5)
    parts = []
    for k, n in enumerate((1, 30, 80)):
        stages = rng.choice(NAMES, n, p=[0.5, 0.1, 0.2, 0.15, 0.05])
        rows = [(s, rng.uniform(0.5, 1), rng.choice(NAMES), bool(rng.random() < 0.9)) for s in stages]
        parts.append(objects(rows, f"{k}.jpg"))
    together = pd.concat(parts).sample(frac=1, random_state=3)
    ranked = rank_objects(together).set_index(["photo", "object_id"])[["doubt", "worth"]]
    alone = pd.concat([rank_objects(p) for p in parts]).set_index(["photo", "object_id"])[["doubt", "worth"]]
    pd.testing.assert_frame_equal(ranked.sort_index(), alone.sort_index())
    photos = pd.DataFrame({"photo": [f"{k}.jpg" for k in range(3)], "sample": "s", "flags": ""})
    whole = rank_photos(photos, together).set_index("photo").sort_index()
    each = [rank_photos(photos.iloc[[k]], parts[k]).set_index("photo") for k in range(3)]
    pd.testing.assert_frame_equal(whole, pd.concat(each).sort_index())
