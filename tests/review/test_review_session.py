"""Edits on a small invented site: what the log holds after each."""

import numpy as np
import pytest

from qckit.errors import InputError
from qckit.log import open_log
from qckit.review import ReviewSession, counts_table, recent_photos, still_html
from qckit.stages import CLASSES, STAGES

PHOTO, SAMPLE = "k-121_a_1.jpg", "RF-121-A-1"


@pytest.fixture
def session(log):
    return ReviewSession(log, PHOTO)


def rectangle(*corners):
    return {"kind": "rectangle", "points": [corners[:2], corners[2:]]}


def gone_before(session):
    return int(session.objects.loc[session.objects["source"] == "removed by hand", "object_id"].iloc[0])


def first_of(session, stage):
    o = session.objects
    return int(o[(o["stage"] == stage) & o["counted"].astype(bool)]["object_id"].iloc[0])


def test_a_changed_stage_is_in_the_log_with_initials_and_in_the_samples_counts(session, log, site):
    before, number = session.counts(), first_of(session, "shell")
    session.set_stage(number, "cyst", by="ab")
    assert session.counts() == {**before, "shell": before["shell"] - 1, "cyst": before["cyst"] + 1}
    with open_log(site) as other:  # another process sees it at once
        kept = other.objects(photo=PHOTO).set_index("object_id").loc[number]
        sample = other.samples(sample=SAMPLE).iloc[0]
        fixes = other.corrections(table="objects")
    assert (kept["stage"], kept["source"]) == ("cyst", "stage changed by hand")
    assert int(sample["cysts"]) == before["cyst"] + 1
    assert set(fixes["by"]) == {"ab"}
    assert set(fixes["reason"]) == {"looked at the photo: it is cyst"}


@pytest.mark.parametrize("edit", ["stage", "debris", "remove", "add", "inside", "out", "dish", "put back"])
def test_undo_brings_everything_back(session, log, edit):
    session.remove(first_of(session, "cyst"), by="cd")
    objects, frame = session.objects.copy(), float(session.info["frame_mm2"])
    sample = log.samples(sample=SAMPLE).iloc[0]
    number = first_of(session, "nauplius")
    what = {
        "stage": lambda: session.set_stage(number, "shell", by="ab"),
        "debris": lambda: session.set_stage(number, "debris", by="ab"),
        "remove": lambda: session.remove(number, by="ab"),
        "add": lambda: session.add(700, 700, "umbrella", by="ab"),
        "inside": lambda: session.keep_region(rectangle(300, 300, 1500, 1200), by="ab"),
        "out": lambda: session.keep_region(rectangle(1500, 1200, 300, 300), by="ab", inside=False),
        "dish": lambda: session.keep_region({"kind": "ellipse", "points": [[300, 200], [1300, 1200]]}, by="ab"),
        "put back": lambda: session.restore(gone_before(session), by="ab"),
    }[edit]
    what()
    assert session.counts() != _counts(objects)
    assert session.undo(by="ab")
    assert session.counts() == _counts(objects)
    again = session.objects.set_index("object_id").loc[objects["object_id"]]
    assert (again["stage"].to_numpy() == objects["stage"].to_numpy()).all()
    assert (again["source"].to_numpy() == objects["source"].to_numpy()).all()
    assert (again["counted"].to_numpy(bool) == objects["counted"].to_numpy(bool)).all()
    assert float(session.info["frame_mm2"]) == pytest.approx(frame, abs=1e-4)
    after = log.samples(sample=SAMPLE).iloc[0]
    assert int(after["nauplii"]) == int(sample["nauplii"])
    assert float(after["volume_ul"]) == pytest.approx(float(sample["volume_ul"]), abs=1e-3)
    assert session.undo(by="ab") == ""


def _counts(objects):
    inside = objects[objects["counted"].astype(bool)]
    return {s: int((inside["stage"] == s).sum()) for s in STAGES}


def test_several_edits_are_undone_last_first(session):
    before = session.counts()
    number = first_of(session, "nauplius")
    session.set_stage(number, "cyst", by="ab")
    middle = session.counts()
    session.remove(number, by="ab")
    assert session.undo(by="ab") == f"object {number} counts again"
    assert session.counts() == middle
    assert session.undo(by="ab") == f"object {number} is nauplius again"
    assert session.counts() == before
    assert session.undo(by="ab") == ""


def test_a_drawn_frame_keeps_density_and_changes_area_and_volume(session, log):
    before = float(log.samples(sample=SAMPLE).iloc[0]["volume_ul"])
    gone = session.keep_region(rectangle(0, 0, 960, 1440), by="ab")
    inside = session.objects[session.objects["counted"].astype(bool)]
    assert gone > 0
    reach = (inside["length_um"] + inside["width_um"]) / 4 / 6.2
    assert (inside["x_px"] - reach <= 960).all()  # what touches the right edge counts
    assert session.density()["per_mm2"] == pytest.approx(session.counts()["nauplius"] / (960 * 1440 * 6.2**2 / 1e6))
    depth = float(log.samples(sample=SAMPLE)["chamber_depth_mm"].iloc[0])
    assert session.density()["per_ml"] == pytest.approx(session.density()["per_mm2"] * 1000 / depth)
    assert float(session.info["frame_mm2"]) == pytest.approx(960 * 1440 * 6.2**2 / 1e6, rel=1e-6)
    assert float(log.samples(sample=SAMPLE).iloc[0]["volume_ul"]) == pytest.approx(before / 2, rel=1e-3)


def test_an_added_object_counts_and_can_be_taken_out_again(session):
    before = session.counts()
    number = session.add(640.4, 512.6, "nauplius", by="ab")
    assert session.counts()["nauplius"] == before["nauplius"] + 1
    session.remove(number, by="ab")
    assert session.counts() == before
    session.restore(number, by="ab")
    assert session.counts()["nauplius"] == before["nauplius"] + 1


@pytest.mark.parametrize(
    "call, message",
    [
        (
            lambda s: s.set_stage(1, "cyst", by=" "),
            "an edit needs the initials of who makes it. Write them into the field Initials.",
        ),
        (
            lambda s: s.set_stage(1, "cist", by="ab"),
            f"unknown stage 'cist'. Did you mean 'cyst'? Known: {', '.join(CLASSES)}.",
        ),
        (
            lambda s: s.add(-5, 10, "cyst", by="ab"),
            "photo 'k-121_a_1.jpg': (-5, 10) px lies outside the photo of 1920 x 1440 px. Click inside it.",
        ),
        (
            lambda s: s.keep_region(rectangle(5, 5, 8, 800), by="ab"),
            "photo 'k-121_a_1.jpg': the drawn rectangle is 3 x 795 px, too small. Draw it over the part that is meant.",
        ),
        (
            lambda s: s.keep_region(rectangle(0, 0, 1920, 1440), by="ab", inside=False),
            "photo 'k-121_a_1.jpg': nothing of the photo would be left to count. Draw another part, or undo the one "
            "before.",
        ),
    ],
)
def test_wrong_edits_are_said_in_full_and_leave_the_log_alone(session, log, call, message):
    before = len(log.corrections())
    with pytest.raises(InputError) as error:
        call(session)
    assert str(error.value) == message
    assert len(log.corrections()) == before


def test_unknown_photo_and_object(log):
    with pytest.raises(InputError, match=r"unknown photo 'k-121_a_9\.jpg'\. Did you mean 'k-121_a_1\.jpg'"):
        ReviewSession(log, "k-121_a_9.jpg")
    with pytest.raises(InputError, match="unknown object '9999'"):
        ReviewSession(log, PHOTO).remove(9999, by="ab")


def test_a_photo_that_changed_since_is_not_shown(session, site):
    path = site / "photos" / PHOTO
    assert session.path() == path
    path.write_bytes(path.read_bytes() + b"x")
    with pytest.raises(InputError) as error:
        session.path()
    assert str(error.value) == (
        f"{path}: this is not the photo that was counted (its content has changed). Put the original back, or count it "
        "again."
    )


def test_still_picture_says_the_counts(session):
    page = still_html(session, width_px=500)
    counts = session.counts()
    assert f'alt="{PHOTO}: {counts["nauplius"]} nauplii' in page
    assert "data:image/jpeg;base64," in page


def test_tables_for_the_notebook(session, log):
    session.remove(first_of(session, "shell"), by="ab")
    table = counts_table(log, [PHOTO])
    assert table["by_hand"].tolist() == [1]
    assert table["shells"].tolist() == [session.counts()["shell"]]
    assert np.isfinite(table["hatch_pct"]).all()
    assert recent_photos(log, 3) == ["k-121_a_1.jpg", "k-124_a_1.jpg"]


def test_what_does_not_count_cannot_be_removed_and_then_put_back_as_counted(session):
    number = first_of(session, "shell")
    session.remove(number, by="ab")
    with pytest.raises(InputError) as error:
        session.remove(number, by="ab")
    assert str(error.value) == (
        f"object {number} of photo 'k-121_a_1.jpg' does not count already (it lies on the edges that are left out, "
        "outside the drawn frame, or was removed). Nothing was changed."
    )


def test_undo_reaches_back_over_a_restart_but_not_over_another_person(site):
    with open_log(site) as log:
        session = ReviewSession(log, PHOTO)
        before, number = session.counts(), first_of(session, "nauplius")
        session.set_stage(number, "cyst", by="ab")
        session.keep_region({"kind": "ellipse", "points": [[200, 200], [1200, 1200]]}, by="ab")
        other = first_of(session, "shell")
        session.set_stage(other, "debris", by="cd")
        session.set_stage(other, "cyst", by="cd")
    with open_log(site) as log:  # as after a restart of the kernel
        session = ReviewSession(log, PHOTO)
        assert session.regions == [({"kind": "ellipse", "points": [[200, 200], [1200, 1200]]}, True)]
        assert session.undo(by="ab") == "counted only inside the drawn ellipse 200,200 1200,1200 px"
        assert session.regions == []
        assert session.undo(by="ab") == f"object {number} is nauplius again"
        assert session.undo(by="ab") == ""
        assert session.counts() == {**before, "shell": before["shell"] - 1, "cyst": before["cyst"] + 1}
        assert session.undo(by="cd") == f"object {other} is debris again"
        assert session.undo(by="cd") == f"object {other} is shell again"
        assert session.counts() == before


def test_an_edit_that_somebody_changed_since_is_not_taken_back(session, log):
    number = first_of(session, "nauplius")
    session.set_stage(number, "cyst", by="ab")
    session.set_stage(number, "shell", by="cd")
    before = len(log.corrections())
    with pytest.raises(InputError) as error:
        session.undo(by="ab")
    assert str(error.value) == (
        f"photo 'k-121_a_1.jpg', object {number}: cd has changed it since, so the last edit of ab cannot be taken "
        "back. Nothing was changed; set it as it should be."
    )
    assert len(log.corrections()) == before
    session.undo(by="cd")
    assert session.undo(by="ab") == f"object {number} is nauplius again"


def test_undo_of_a_frame_leaves_made_objects_as_they_were_however_many(session):
    for k in range(14):
        session.add(100 + 20 * k, 100, "cyst", by="ab")
    session.set_stage(int(session.objects["object_id"].max()), "shell", by="ab")
    before = session.objects.copy()
    session.keep_region(rectangle(600, 600, 1500, 1200), by="ab")
    assert session.counts() != _counts(before)
    session.undo(by="ab")
    assert session.objects.equals(before)
    assert (session.objects["source"] == "added by hand").sum() == 14


def test_an_object_put_back_is_again_what_it_was(session):
    made = session.add(640, 512, "cyst", by="ab")
    changed, found = first_of(session, "nauplius"), first_of(session, "shell")
    session.set_stage(changed, "cyst", by="ab")
    for number in (made, changed, found):
        session.remove(number, by="ab")
        session.restore(number, by="cd")
    now = session.objects.set_index("object_id")["source"]
    assert [now[i] for i in (made, changed, found)] == ["added by hand", "stage changed by hand", "found"]


def test_an_addition_stands_in_the_corrections_with_initials_and_reason(session, log):
    number = session.add(640, 512, "cyst", by="ab")
    row = log.corrections(table="objects").iloc[-1]
    assert (row["by"], row["key"], row["column"], row["before"], row["after"], row["reason"]) == (
        "ab",
        f'["{PHOTO}", {number}]',
        "counted",
        "no",
        "yes",
        "looked at the photo: it was missed",
    )


def test_nothing_is_added_outside_a_drawn_frame(session):
    session.keep_region({"kind": "polygon", "points": [[600, 300], [1500, 300], [1000, 1300]]}, by="ab")
    with pytest.raises(InputError) as error:
        session.add(620, 1200, "cyst", by="ab")
    assert str(error.value) == "photo 'k-121_a_1.jpg': (620, 1200) px lies outside the drawn frame. Click inside it."
    assert session.add(1000, 700, "cyst", by="ab")


def test_two_regions_leave_what_both_leave(session):
    session.keep_region(rectangle(0, 0, 960, 1440), by="ab")
    session.keep_region({"kind": "ellipse", "points": [[860, 620], [1060, 820]]}, by="ab", inside=False)
    share = (960 * 1440 - np.pi * 100**2 / 2) / (1920 * 1440)
    whole = 1920 * 1440 * 6.2**2 / 1e6
    assert float(session.info["frame_mm2"]) == pytest.approx(share * whole, rel=1e-3)
    inside = session.objects[session.objects["counted"].astype(bool)]
    assert (np.hypot(inside["x_px"] - 960, inside["y_px"] - 720) > 100).all()


@pytest.mark.parametrize("edits", [20, pytest.param(100, marks=pytest.mark.slow)])
def test_counts_brought_along_by_each_edit_are_those_of_a_whole_recount(session, log, edits):
    """Random edits of all kinds, some taken back: the sample always holds what its objects add up to."""
    rng = np.random.default_rng(11)
    for _ in range(edits):
        number = int(rng.choice(session.objects["object_id"]))
        kind = rng.choice(["stage", "remove", "restore", "add", "undo"])
        try:
            if kind == "stage":
                session.set_stage(number, str(rng.choice(["nauplius", "umbrella", "cyst", "shell", "debris"])), by="ab")
            elif kind == "add":
                session.add(*map(float, rng.uniform(100, 1300, 2)), "cyst", by="ab")
            elif kind == "undo":
                session.undo(by="ab")
            else:
                getattr(session, kind)(number, by="ab")
        except InputError:
            continue  # taken out already, or undone already
        fresh = log.objects(photo=PHOTO)
        sample = log.samples(sample=SAMPLE).iloc[0]
        kept = [int(sample[c]) for c in ("nauplii", "umbrella", "cysts", "shells")]
        assert kept == list(_counts(fresh).values())
        assert session.objects[["stage", "source"]].equals(fresh[["stage", "source"]])
    assert len(log.steps()) > 0.6 * edits


def test_a_count_typed_over_in_the_log_gives_way_to_the_photo_when_it_is_edited(session, log):
    log.correct("samples", SAMPLE, "nauplii", 3, by="cd", reason="typed by mistake")
    session.remove(first_of(session, "cyst"), by="ab")
    assert int(log.samples(sample=SAMPLE).iloc[0]["nauplii"]) == session.counts()["nauplius"]
