"""Counts from photos: samples that wait, recounts, the same photo twice, hand corrections."""

# ruff: noqa: E501  whole messages

from types import SimpleNamespace

import pandas as pd
import pytest
from click.testing import CliRunner
from invented_log import counted

from qckit.commands.log import command
from qckit.errors import InputError
from qckit.stages import CLASSES, STAGE_COLUMNS

COUNTS = ["nauplii", "umbrella", "cysts", "shells"]


def of_sample(log, sample="S-2"):
    """Return the counts of a sample as they stand."""
    return log.samples(sample=sample)[COUNTS].iloc[0].tolist()


def test_the_same_count_again_adds_nothing_and_a_new_counter_adds_a_revision(filled):
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    again = filled.record_counts(photos, objects=objects, by="op1")
    assert (again.added, again.unchanged) == ({}, {"photos": 2})
    newer, found = counted(version="t-2", n=(32, 2, 5, 20))
    filled.record_counts(newer, objects=found, by="op2")
    assert of_sample(filled) == [64, 4, 10, 40]
    history = filled.revisions("S-2")
    assert history["revision"].tolist() == [0, 1, 2]
    assert history["counter"].tolist()[1:] == ["t-1", "t-2"]
    assert history["nauplii"].tolist()[1:] == [60, 64]
    assert len(filled.objects(photo="a.jpg")) == 59  # those of the newest count only


def test_photos_are_found_by_file_name_and_called_as_on_the_sheet(filled):
    photos, objects = counted(("batch 7/a.jpg", "batch 7/b.jpg"))
    filled.record_counts(photos, objects=objects, by="op1")
    assert filled.photos(sample="S-2")["photo"].tolist() == ["a.jpg", "b.jpg"]


def test_photo_counts_and_counted_photos_are_taken(filled):
    photos, objects = counted()
    result = [
        SimpleNamespace(
            photo=row.photo,
            sha256=row.sha256,
            um_per_px=row.um_per_px,
            frame_mm2=row.frame_mm2,
            taken=None,
            width_px=1920,
            height_px=1440,
            counter_version="t-1",
            flags=(SimpleNamespace(code="crowded"),),
            counts={"nauplius": 30, "umbrella": 2, "cyst": 5, "shell": 20},
            objects=objects[objects["photo"] == row.photo],
        )
        for row in photos.itertuples()
    ]
    assert filled.record_counts(result, by="op1").added["samples"] == 1
    assert filled.photos()["flags"].tolist() == ["crowded", "crowded"]
    both = SimpleNamespace(
        counts=photos.assign(nauplii=30, umbrella=2, cyst=5, shell=20, hatch_pct=81.0, seconds=0.1), objects=objects
    )
    assert filled.record_counts(both, by="op1").unchanged == {"photos": 2}


def test_a_volume_on_the_sheet_stays(filled):
    filled.correct("samples", "S-2", "volume_ul", 150, by="op1", reason="pipetted")
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    assert filled.samples(sample="S-2")["volume_ul"].tolist() == [150.0]  # someone said so
    only, found = counted(("c.jpg",))
    row = filled.table("samples", sample="S-1").assign(
        sample="S-8", counted_by="photo", photos="c.jpg", nauplii=pd.NA, cysts=pd.NA
    )
    filled.add("samples", row, by="op1")
    filled.record_counts(only, objects=found, by="op1")
    assert filled.samples(sample="S-8")["volume_ul"].tolist() == [250.0]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            lambda p, o: (p.head(1), o[o["photo"] == "a.jpg"]),
            "sample 'S-2': names the photo b.jpg, not counted yet. Count all photos of a sample together, or correct its photos.",
        ),
        (
            lambda p, o: (p.assign(sha256="0" * 64), o),
            "photo 'b.jpg': is the same file as 'a.jpg', and would be counted twice. Leave one of them out and correct photos of the sample that named it by mistake.",
        ),
        (
            lambda p, o: (p.assign(nauplii=[30, 29]), o),
            "photo 'b.jpg': nauplii is 29 and its objects give 30. Count the photo again; counts and objects must come from the same run.",
        ),
        (
            lambda p, o: (p, o.head(57).assign(photo="z.jpg")),
            "objects: unknown photo 'z.jpg'. Did you mean 'b.jpg'? Known: a.jpg, b.jpg.",
        ),
        (
            lambda p, o: (p.assign(sample="S-3"), o),
            "photo 'a.jpg': is given as of sample 'S-3', and the log has it with 'S-2'. Correct photos in the samples table, or the sample here.",
        ),
        (
            lambda p, o: (p.assign(photo=["a.jpg", "x/a.jpg"]), o[o["photo"] == "a.jpg"]),
            "photo 'a.jpg': was counted twice in this run. Give each photo once.",
        ),
        (
            lambda p, o: (p, o.assign(object_id=1)),
            "objects, photo 'a.jpg': object 1 stands twice. Count the photo again.",
        ),
        (
            lambda p, o: (p, None),
            "The objects found in the photos were not given. Hand over the table of objects as well.",
        ),
    ],
)
def test_what_a_count_may_not_be(filled, change, message):
    photos, objects = change(*counted())
    with pytest.raises(InputError) as caught:
        filled.record_counts(photos, objects=objects, by="op1")
    assert str(caught.value) == message
    assert filled.photos().empty
    assert len(filled.steps()) == 1


def test_a_photo_counted_under_two_names_in_two_steps(filled):
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    stray = photos.head(1).assign(photo="copy of a.jpg")
    with pytest.raises(InputError, match=r"photo 'copy of a\.jpg': is the same file as 'a\.jpg'"):
        filled.record_counts(
            stray, objects=objects[objects["photo"] == "a.jpg"].assign(photo="copy of a.jpg"), by="op1"
        )


def test_a_photo_of_no_sample_is_entered_and_noted(filled):
    photos, objects = counted(("camera test.jpg",))
    result = filled.record_counts(photos, objects=objects, by="op1")
    assert result.notes == ["photo 'camera test.jpg' is named by no sample; it was entered without one"]
    assert filled.photos()["sample"].isna().all()


def test_nothing_found_is_a_count_of_zero(filled):
    photos, objects = counted()
    filled.record_counts(photos, objects=objects.head(0), by="op1")
    assert of_sample(filled) == [0, 0, 0, 0]


def test_a_count_given_without_photos_is_empty(filled):
    assert filled.record_counts([], by="op1").added == {}


def test_hand_corrections_change_the_counts_and_keep_what_was_found(filled):
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    changes = pd.DataFrame(
        [
            {"action": "stage", "object_id": 1, "stage": "cyst"},
            {"action": "remove", "object_id": 2},
            {"action": "add", "stage": "shell", "x_px": 10.0, "y_px": 20.0},
        ]
    )
    assert len(filled.hand_checked()) == 0
    result = filled.correct_objects("a.jpg", changes, by="op2", reason="looked at the photo")
    assert filled.hand_checked()["sample"].tolist() == filled.photos(photo="a.jpg")["sample"].tolist()
    assert result.added == {"corrections": 5, "objects": 1, "samples": 1}
    assert of_sample(filled) == [58, 4, 11, 41]
    row = filled.samples(sample="S-2").iloc[0]
    assert (row["counter"], row["revision"]) == ("t-1, corrected by op2", 2)
    shown = filled.objects(photo="a.jpg").set_index("object_id")
    assert shown.loc[1, ["stage", "source"]].tolist() == ["cyst", "stage changed by hand"]
    assert (shown.loc[2, "source"], bool(shown.loc[2, "counted"])) == ("removed by hand", False)
    assert shown.loc[58, ["stage", "source", "x_px"]].tolist() == ["shell", "added by hand", 10.0]
    fixes = filled.corrections(table="objects")
    assert fixes[["key", "column", "before", "after"]].values.tolist()[0] == [
        '["a.jpg", 1]',
        "stage",
        "nauplius",
        "cyst",
    ]
    filled.correct_objects(
        "a.jpg", pd.DataFrame([{"action": "restore", "object_id": 2}]), by="op2", reason="was one after all"
    )
    assert of_sample(filled) == [59, 4, 11, 41]
    for action in ("remove", "restore"):  # an undo puts back what the object was
        change = pd.DataFrame([{"action": action, "object_id": 58, "source": "added by hand"}])
        filled.correct_objects("a.jpg", change, by="op2", reason="undo")
    assert filled.objects(photo="a.jpg").set_index("object_id").loc[58, "source"] == "added by hand"
    # a recount by a newer counter starts from the photo again; the corrections stay on record
    newer, found = counted(version="t-2")
    filled.record_counts(newer, objects=found, by="op1")
    assert of_sample(filled) == [60, 4, 10, 40]
    assert len(filled.corrections(table="objects")) == 11


@pytest.mark.parametrize(
    ("photo", "change", "message"),
    [
        (
            "z.jpg",
            {"action": "remove", "object_id": 1},
            "unknown photo 'z.jpg'. Did you mean 'b.jpg'? Known: a.jpg, b.jpg.",
        ),
        (
            "a.jpg",
            {"action": "paint", "object_id": 1},
            "photo 'a.jpg': unknown action 'paint'. Known: stage, remove, restore, leave out, add.",
        ),
        (
            "a.jpg",
            {"action": "stage", "object_id": 1, "stage": "fish"},
            f"objects: stage 'fish' is none of {', '.join(CLASSES)}. Write one of these words.",
        ),
        (
            "a.jpg",
            {"action": "add", "stage": "cyst"},
            "photo 'a.jpg': an object added by hand has no x_px. Give stage, x_px and y_px.",
        ),
    ],
)
def test_hand_corrections_that_cannot_be(filled, photo, change, message):
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    with pytest.raises(InputError) as caught:
        filled.correct_objects(photo, pd.DataFrame([change]), by="op2", reason="r")
    assert str(caught.value) == message
    assert filled.corrections().empty


def test_a_persons_recount(filled):
    filled.recount("S-1", {"nauplii": 104, "cysts": 18}, by="op3", reason="spilled the first")
    row = filled.samples(sample="S-1").iloc[0]
    assert (row["nauplii"], row["cysts"], row["counted_by"], row["counter"], row["revision"]) == (
        104,
        18,
        "person",
        "op3",
        1,
    )
    for sample, values, message in (
        (
            "S-1",
            {"nauplii": -1, "cysts": 3},
            "recount of 'S-1', row 2: nauplii '-1' is negative. The least possible is 0. Correct the cell.",
        ),
        ("S-1", {"cysts": 3}, "sample 'S-1': the recount has no nauplii. Give at least that count."),
        (
            "S-1",
            {"nauplii": 3, "cyst": 4},
            f"sample 'S-1': unknown count 'cyst'. Did you mean 'cysts'? Known: {', '.join(STAGE_COLUMNS.values())}, embryos.",
        ),
        ("S-7", {"nauplii": 3}, "unknown sample 'S-7'. Did you mean 'S-3'? Known: S-1, S-2, S-3."),
    ):
        with pytest.raises(InputError) as caught:
            filled.recount(sample, values, by="op3", reason="r")
        assert str(caught.value) == message


def test_a_recount_asks_what_becomes_of_counts_it_does_not_give(filled):
    with pytest.raises(InputError) as caught:
        filled.recount("S-1", {"nauplii": 99}, by="An", reason="check")
    assert str(caught.value) == (
        "sample 'S-1': the recount does not give cysts (so far 20). Count them too, or say what becomes of them: --rest "
        "keep takes the earlier figures over, --rest empty leaves them uncounted (without unhatched cysts or embryos "
        "there is no hatching percentage)."
    )
    assert filled.samples(sample="S-1").iloc[0]["revision"] == 0
    with pytest.raises(InputError, match=r"^sample 'S-1': unknown rest 'kept'\. Did you mean 'keep'\?"):
        filled.recount("S-1", {"nauplii": 99}, by="An", reason="check", rest="kept")
    filled.recount("S-1", {"nauplii": 99}, by="An", reason="check", rest="keep")
    row = filled.samples(sample="S-1").iloc[0]
    assert (row["nauplii"], row["cysts"], row["counter"]) == (99, 20, "An; cysts by person")
    filled.recount("S-1", {"nauplii": 98}, by="An", reason="check", rest="empty")
    row = filled.samples(sample="S-1").iloc[0]
    assert (row["nauplii"], row["counter"]) == (98, "An") and pd.isna(row["cysts"])


def test_a_correction_of_an_older_revision_does_not_touch_the_recount(filled):
    filled.correct("samples", "S-1", "nauplii", 101, by="op1", reason="slip")
    filled.correct("samples", "S-1", "volume_ul", 240, by="op1", reason="pipette set wrongly")
    assert filled.samples(sample="S-1")[["nauplii", "volume_ul"]].values.tolist() == [[101, 240.0]]
    filled.recount("S-1", {"nauplii": 90, "cysts": 20}, by="op1", reason="again")
    assert filled.samples(sample="S-1")[["nauplii", "volume_ul"]].values.tolist() == [[90, 240.0]]


def test_a_missing_scale_comes_from_the_only_camera(filled):
    assert filled.awaiting_counts()["um_per_px"].isna().all()
    scale = {"camera": "c", "magnification": "2x", "um_per_px": 5.1, "method": "micrometer", "set_by": "op1"}
    filled.add("scales", pd.DataFrame([{**scale, "set_at": "2026-11-01T10:00:00+00:00", "um_per_px": 5.0}]), by="op1")
    filled.add("scales", pd.DataFrame([{**scale, "set_at": "2026-11-02T10:00:00+00:00"}]), by="op1")
    waiting = filled.awaiting_counts()
    assert waiting["um_per_px"].tolist() == [5.1, 5.1]
    assert waiting["scale_source"].tolist() == ["c, 2x: micrometer"] * 2
    filled.add(
        "scales", pd.DataFrame([{**scale, "set_at": "2026-11-03T10:00:00+00:00", "magnification": "4x"}]), by="op1"
    )
    assert filled.awaiting_counts()["um_per_px"].isna().all()  # which of two is not for us to guess
    filled.correct("samples", "S-2", "um_per_px", 6.2, by="op1", reason="4x")
    assert filled.awaiting_counts()["scale_source"].tolist() == ["field sheet"] * 2


@pytest.mark.parametrize("how", ["restore", "undo"])
def test_many_objects_made_by_hand_come_back_as_they_were(filled, how):
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    new = pd.DataFrame({"action": "add", "stage": "nauplius", "x_px": range(12), "y_px": range(12)})
    filled.correct_objects("a.jpg", new, by="op2", reason="not found")
    changed = pd.DataFrame([{"action": "stage", "object_id": 1, "stage": "cyst"}])
    filled.correct_objects("a.jpg", changed, by="op2", reason="seen")
    before, counts = filled.objects(photo="a.jpg"), of_sample(filled)
    everything = pd.DataFrame({"action": "remove", "object_id": before["object_id"]})
    filled.correct_objects("a.jpg", everything, by="op2", reason="a frame drawn elsewhere")
    assert of_sample(filled) == [30, 2, 5, 20]  # of the other photo alone
    if how == "undo":
        filled.undo_last("a.jpg", by="op2")
    else:
        filled.correct_objects("a.jpg", everything.assign(action="restore"), by="op2", reason="all back")
    pd.testing.assert_frame_equal(filled.objects(photo="a.jpg"), before)
    assert before["source"].value_counts().to_dict() == {"found": 56, "added by hand": 12, "stage changed by hand": 1}
    assert of_sample(filled) == counts


def test_a_persons_recount_is_not_replaced_unasked(filled):
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    filled.recount("S-2", {"nauplii": 50, "cysts": 9}, by="An", reason="two were bubbles", rest="empty")
    again, found = counted(("a.jpg", "b.jpg", "other.jpg"), version="t-2", n=(32, 2, 5, 20))
    result = filled.record_counts(again, objects=found, by="op1")
    assert (result.added, of_sample(filled)[0]) == ({"photos": 1, "objects": 59, "samples": 0}, 50)
    (problem,) = result.problems.itertuples()
    assert (problem.row, problem.rule, problem.remedy) == (
        "sample S-2",
        "was counted by An, and the photos' counts would take the place of that",
        "To replace it, run this again with --replace-hand-counts REASON.",
    )
    result = filled.record_counts(again, objects=found, by="op1", replace_hand_counts="An agrees")
    assert (result.added["samples"], len(result.problems), of_sample(filled)[0]) == (1, 0, 64)
    assert filled.steps()["source"].iloc[-1] == "photos, in place of hand counts: An agrees"


def test_a_scale_that_is_not_the_sheets_is_refused_and_named(filled):
    filled.correct("samples", "S-2", "um_per_px", 4.59, by="op1", reason="measured")
    photos, objects = counted()
    result = filled.record_counts(photos.assign(um_per_px=[4.592, 9.18]), objects=objects, by="op1")
    assert result.added == {} and filled.photos().empty
    (problem,) = result.problems.itertuples()
    assert (problem.row, problem.rule, problem.remedy) == (
        "sample S-2",
        "photo 'b.jpg' was counted at 9.18 µm per pixel, and the field sheet says 4.59",
        "Count it at 4.59; or, if the sheet is wrong, run  qckit log correct samples S-2 um_per_px 9.18 --reason TEXT  "
        "and then this again.",
    )
    filled.correct("samples", "S-2", "um_per_px", 9.18, by="op1", reason="the other lens")
    assert filled.record_counts(photos.assign(um_per_px=9.18), objects=objects, by="op1").added["samples"] == 1


def test_flags_of_photos_are_passed_on(filled):
    photos, objects = counted()
    result = filled.record_counts(photos.assign(flags=["few;blurred", ""]), objects=objects, by="op1")
    assert result.notes == [
        "1 of 2 photos carries a flag: look at it before the counts are used: a.jpg (too few animals, out of focus)"
    ]


def test_record_says_what_it_left_out(filled, site, tmp_path):
    photos, objects = counted()
    photos.to_csv(tmp_path / "counts.csv", index=False)
    objects.to_csv(tmp_path / "objects.csv", index=False)
    filled.recount("S-2", {"nauplii": 50}, by="An", reason="before the photos came")
    words = ["record", str(tmp_path), "--site", str(site), "--by", "op1"]
    left = CliRunner().invoke(command, words, standalone_mode=False)
    assert left.return_value == 2 and left.stderr == (
        "counts, sample S-2: was counted by An, and the photos' counts would take the place of that. To replace it, run "
        "this again with --replace-hand-counts REASON.\n1 sample was left out, with the photos.\n"
    )
    done = CliRunner().invoke(command, [*words, "--replace-hand-counts", "agreed"], standalone_mode=False)
    assert done.return_value == 0
    assert done.output.startswith("2 photos added, 114 objects added, 1 sample added.\nCounted: ")


def test_a_photo_of_a_withdrawn_sample_is_counted_for_the_right_one(filled):
    """It stayed hidden with the sample that named it by mistake, and so did its flags and objects."""
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    row = filled.table("samples", sample="S-2").assign(sample="S-9", nauplii=pd.NA, cysts=pd.NA)
    filled.withdraw("samples", "S-2", by="op1", reason="of another cone")
    assert filled.photos().empty
    filled.add("samples", row.assign(umbrella=pd.NA, shells=pd.NA, volume_ul=pd.NA), by="op1")
    filled.record_counts(photos, objects=objects, by="op1")
    assert filled.photos()["sample"].tolist() == ["S-9", "S-9"] and len(filled.objects(sample="S-9")) == len(objects)
    assert filled.samples(sample="S-9")["nauplii"].tolist() == [60]


def test_a_photo_that_was_renamed_is_counted_once_its_first_sample_is_withdrawn(filled):
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    filled.withdraw("samples", "S-2", by="op1", reason="of another cone")
    again = photos.head(1).assign(photo="copy of a.jpg")
    filled.record_counts(again, objects=objects[objects["photo"] == "a.jpg"].assign(photo="copy of a.jpg"), by="op1")
    assert filled.photos()["photo"].tolist() == ["copy of a.jpg"]
    with pytest.raises(InputError, match=r"is the same file as '(copy of )?a\.jpg', and would be counted twice"):
        filled.reinstate("samples", "S-2", by="op1", reason="it was right")
    assert filled.photos()["photo"].tolist() == ["copy of a.jpg"]


def found_on(log, sample):
    """What the check of the log says of a sample: codes and severities."""
    findings = log.check(photos=False)
    findings = findings[(findings["key"] == sample) & (findings["code"] != "missing photo")]
    return findings[["code", "severity"]].apply(tuple, axis=1).tolist()


@pytest.mark.parametrize("column, right", [("um_per_px", 9.3), ("sample", "S-1"), ("frame_mm2", 50.0)])
def test_how_a_photo_was_counted_cannot_be_corrected(filled, column, right):
    """The scale changed, and objects, counts and counted volume stayed those of the scale before."""
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    with pytest.raises(
        InputError, match=rf"^photos a\.jpg: {column} is how the photo was counted and cannot be corrected"
    ):
        filled.correct("photos", "a.jpg", column, right, by="op1", reason="wrong scale")


def test_a_scale_put_right_after_the_count_is_named_until_it_is_counted_anew(filled):
    photos, objects = counted()
    filled.record_counts(photos, objects=objects, by="op1")
    scale = photos["um_per_px"].iloc[0]
    assert found_on(filled, "S-2") == []
    doubts = filled.correct("samples", "S-2", "um_per_px", 1.5 * scale, by="op1", reason="another objective")
    assert any(f"says {1.5 * scale:g} µm per pixel, and a.jpg was counted at {scale:g}" in d for d in doubts)
    assert found_on(filled, "S-2") == [("other scale", "wrong")]
    anew = photos.assign(um_per_px=1.5 * scale, frame_mm2=2.25 * photos["frame_mm2"])
    before = filled.samples(sample="S-2")["volume_ul"].item()
    filled.record_counts(anew, objects=objects, by="op1")
    assert found_on(filled, "S-2") == []
    assert filled.samples(sample="S-2")["volume_ul"].item() == pytest.approx(2.25 * before)


def test_photos_exchanged_between_samples_are_counted_for_the_right_ones(filled):
    """Both named the other's photo: the counts stayed, nothing said so, and a new count changed nothing."""
    row = filled.table("samples", sample="S-2").assign(photos="c.jpg", nauplii=pd.NA, cysts=pd.NA)
    filled.add("samples", row.assign(sample="S-8"), by="op1")
    filled.correct("samples", "S-2", "photos", "a.jpg", by="op1", reason="one photo")
    photos, objects = counted(("a.jpg", "c.jpg"))
    extra = objects["photo"].eq("c.jpg") & objects["stage"].eq("nauplius") & objects.duplicated(["photo", "stage"])
    objects, photos = objects[~extra], photos.drop(columns=["nauplii", "umbrella", "cysts", "shells"], errors="ignore")
    filled.record_counts(photos, objects=objects, by="op1")
    counts = filled.samples(sample=["S-2", "S-8"]).set_index("sample")["nauplii"]
    doubts = filled.correct("samples", "S-2", "photos", "c.jpg", by="op1", reason="exchanged")
    assert any("names c.jpg, which sample S-8 names, too" in doubt for doubt in doubts)
    filled.correct("samples", "S-8", "photos", "a.jpg", by="op1", reason="exchanged")
    assert found_on(filled, "S-2") == found_on(filled, "S-8") == [("other photos", "wrong")]
    filled.record_counts(photos, objects=objects, by="op1")
    after = filled.samples(sample=["S-2", "S-8"]).set_index("sample")["nauplii"]
    assert (after["S-2"], after["S-8"]) == (counts["S-8"], counts["S-2"]) and counts["S-2"] != counts["S-8"]
    assert found_on(filled, "S-2") == found_on(filled, "S-8") == []
