"""What the desk answers to the page's messages, without a page."""

import pytest

from qckit.errors import InputError
from qckit.log import new_site, open_log
from qckit.review import open_review


@pytest.fixture
def desk(log):
    return open_review(log, ["k-121_a_1.jpg", "k-124_a_1.jpg"], initials="ab")


def ask(desk, **edit):
    """Hand one edit in as the page does; returns the answer that it is given."""
    answers = []
    desk.send = lambda content, buffers=None: answers.append(content)
    by = desk.initials
    desk._on_message(desk, {"do": "save", "edits": [{"uid": "v-7", "photo": desk.photo, "by": by, **edit}]}, [])
    (answer,) = answers
    return answer


def test_marks_are_plain_values_in_the_order_of_worth(desk):
    number, _x, _y, r, stage, counted, state, doubt, on_edge = desk.marks[0]
    assert isinstance(number, int) and r > 0 and stage in ("nauplius", "umbrella", "cyst", "shell")
    assert {counted, on_edge} <= {0, 1} and state == "" and 0 <= doubt <= 1
    assert desk.image[:2] == b"\xff\xd8"
    assert len(desk.marks) > 90


def test_edit_answers_with_the_number_it_was_asked_under(desk):
    number = desk.marks[0][0]
    assert ask(desk, do="stage", id=number, stage="shell") == {
        "answer": "v-7",
        "text": f"Saved: object {number} is shell.",
        "bad": False,
        "keep": False,
    }
    assert desk.marks[0][0] == number  # the order stays while the photo is open
    assert desk.marks[0][6] == "stage changed by hand"
    assert ask(desk, do="remove", id=number)["text"] == f"Saved: object {number} removed."
    assert ask(desk, do="restore", id=number)["text"] == f"Saved: object {number} put back."
    assert ask(desk, do="add", x=50, y=60, stage="cyst")["text"].endswith("added.")
    region = {"kind": "rectangle", "points": [[0, 0], [900, 900]]}
    said = ask(desk, do="region", region=region, inside=True)["text"]
    assert "objects left out, the frame is now 31.1 mm², with" in said
    assert desk.regions == [{**region, "inside": True}]
    assert ask(desk, do="undo")["text"] == ("Undone and saved: counted only inside the drawn rectangle 0,0 900,900 px.")
    assert desk.regions == []


def test_an_undo_says_what_is_there_again_and_where(desk):
    """A sentence that names the change taken back reads as if it had been made; the page goes to the object."""
    number, stage = desk.marks[0][0], desk.marks[0][4]
    other = "cyst" if stage != "cyst" else "shell"
    ask(desk, do="stage", id=number, stage=other)
    answer = ask(desk, do="undo")
    assert answer["text"] == f"Undone and saved: object {number} is {stage} again." and answer["objects"] == [number]
    ask(desk, do="stage", id=number, stage=stage)
    assert ask(desk, do="undo")["text"] == (
        f"Undone and saved: object {number} is {stage} as before, no longer confirmed."
    )
    ask(desk, do="add", x=50, y=60, stage="cyst")
    added = max(m[0] for m in desk.marks)
    assert ask(desk, do="undo")["text"] == f"Undone and saved: object {added} is out again."
    assert ask(desk, do="undo")["objects"] == []


def test_a_stage_set_on_an_object_that_does_not_count_is_told_so(desk):
    outside = next(m for m in desk.marks if not m[5] and m[4] != "cyst")
    assert outside[8] == 1  # it touches the left or upper edge
    assert ask(desk, do="stage", id=outside[0], stage="cyst")["text"] == (
        f"Saved: object {outside[0]} is cyst, not counted."
    )


def test_without_initials_nothing_is_saved_and_that_is_said(desk, log):
    desk.initials = ""
    answer = ask(desk, do="remove", id=desk.marks[0][0])
    assert answer["bad"]
    assert answer["text"] == (
        "Not saved: an edit needs the initials of who makes it. Write them into the field Initials."
    )
    assert log.corrections(table="objects").empty


def test_another_photo_and_an_unknown_wish(desk, monkeypatch):
    assert ask(desk, do="dance")["bad"]
    other = next(p for p, _ in desk.photos if p != desk.photo)
    before = desk.photo
    answers = []
    monkeypatch.setattr(desk, "send", lambda content, buffers=None: answers.append(content))
    desk._on_message(desk, {"do": "open", "photo": other}, [])
    assert answers == [{"opened": other, "text": "Opened.", "bad": False}]
    assert desk.photo == other
    desk._on_message(desk, {"do": "open", "photo": "none.jpg"}, [])
    assert answers[-1]["bad"] and desk.photo == other
    # an edit that waited while another photo was opened goes to the photo it was made on
    monkeypatch.undo()
    assert ask(desk, photo=before, do="add", x=50, y=60, stage="cyst")["text"].endswith("added.")
    assert desk.photo == other and desk._log.photo_edits(before) and not desk._log.photo_edits(other)


def test_a_photo_whose_file_is_gone_keeps_nobody_from_the_others(desk, log, site):
    shown, other = desk.photo, next(name for name, _ in desk.photos if name != desk.photo)
    n_marks, labels = len(desk.marks), dict(desk.photos)
    file = next(p for p in (site / "photos").rglob(other))
    file.rename(site / "away.jpg")
    answers = []
    desk.send = lambda content, buffers=None: answers.append(content)
    desk._on_message(desk, {"do": "open", "photo": other}, [])
    assert answers[0]["bad"] and f"photo {other!r} is not in" in answers[0]["text"]
    assert dict(desk.photos) == labels | {other: f"{other} (cannot be opened)"}
    number = desk.marks[0][0]
    assert ask(desk, do="remove", id=number)["text"] == f"Saved: object {number} removed."
    assert (desk.photo, desk.session.photo, len(desk.marks)) == (
        shown,
        shown,
        n_marks,
    )  # and not the marks of the other

    again = open_review(log, [other, shown], initials="ab")
    assert again.photo == shown
    (site / "away.jpg").rename(file)
    again._on_message(again, {"do": "open", "photo": other}, [])
    assert again.photo == other and "cannot" not in dict(again.photos)[other]
    for photo in (other, shown):
        next(p for p in (site / "photos").rglob(photo)).unlink()
    with pytest.raises(InputError, match=r"is not in .*photos\. Copy it back there\."):
        open_review(log, [other, shown], initials="ab")


def test_what_is_offered_again_is_not_written_twice(desk, log):
    number = desk.marks[0][0]
    region = {"kind": "rectangle", "points": [[0, 0], [900, 900]]}
    edits = [
        {"do": "stage", "id": number, "stage": "shell"},
        {"do": "remove", "id": desk.marks[1][0]},
        {"do": "add", "x": 52.0, "y": 61.0, "stage": "cyst"},
        {"do": "region", "region": region, "inside": True},
    ]
    for edit in edits:
        assert ask(desk, **edit)["text"].startswith("Saved: ")
    steps = log.last_step()
    for edit in edits:
        assert ask(desk, again=True, **edit)["text"].startswith("Saved before: ")
    assert log.last_step() == steps
    after = desk.step
    assert ask(desk, do="undo", after=after)["text"].startswith("Undone and saved")
    assert ask(desk, do="undo", after=after, again=True)["text"].startswith("Saved before: undo")
    assert log.last_step() == steps + 1
    assert ask(desk, do="stage", id=desk.marks[2][0], stage="shell", again=True)["text"].startswith("Saved: ")


def test_an_edit_of_another_count_is_refused(desk):
    answer = ask(desk, do="stage", id=desk.marks[0][0], stage="shell", count="0123456789abcdef")
    assert answer["bad"] and "was counted anew since" in answer["text"]


def test_a_log_that_cannot_be_written_now_keeps_the_edits_in_the_page(desk, monkeypatch):
    import sqlite3

    from qckit.errors import InputError

    def locked(*_args, **_kwargs):
        raise InputError("log.sqlite: someone else is writing to it") from sqlite3.OperationalError("locked")

    monkeypatch.setattr(desk._log, "correct_objects", locked)
    answers = []
    monkeypatch.setattr(desk, "send", lambda content, buffers=None: answers.append(content))
    edits = [{"uid": u, "photo": desk.photo, "by": "ab", "do": "remove", "id": desk.marks[0][0]} for u in ("1", "2")]
    desk._on_message(desk, {"do": "save", "edits": edits}, [])
    assert [(a["answer"], a["bad"], a["keep"]) for a in answers] == [("1", True, True), ("2", True, True)]
    assert answers[0]["text"] == "Not saved: log.sqlite: someone else is writing to it"


def test_an_edit_that_stands_is_not_called_unsaved_where_reading_it_back_fails(desk, monkeypatch):
    from qckit.errors import InputError
    from qckit.review import ReviewSession

    def fail(*_args):
        raise InputError("log.sqlite: the disk failed")

    monkeypatch.setattr(ReviewSession, "_after_edit", fail)
    steps = desk._log.last_step()
    answers = []
    monkeypatch.setattr(desk, "send", lambda content, buffers=None: answers.append(content))
    edits = [{"uid": "1", "photo": desk.photo, "by": "ab", "do": "remove", "id": desk.marks[0][0]}]
    desk._on_message(desk, {"do": "save", "edits": edits}, [])
    assert (answers[0]["bad"], answers[0]["keep"]) == (False, False) and desk._log.last_step() == steps + 1
    assert answers[0]["text"].startswith("This stands in the log, and need not be entered again: step ")
    assert answers[0]["text"].endswith("What came after it failed: log.sqlite: the disk failed")


def test_what_others_write_is_seen_by_looking(desk, site, monkeypatch):
    from qckit.log import open_log
    from qckit.review import ReviewSession

    answers = []
    monkeypatch.setattr(desk, "send", lambda content, buffers=None: answers.append(content))
    desk._on_message(desk, {"do": "look", "n": 1}, [])
    assert answers == [{"looked": 1, "news": False}]
    number, before = desk.marks[0][0], dict(desk.counts)
    stage = "cyst" if desk.marks[0][4] != "cyst" else "shell"
    with open_log(site) as other:
        ReviewSession(other, desk.photo).set_stage(number, stage, by="cd")
    assert desk.counts == before
    desk._on_message(desk, {"do": "look", "n": 2}, [])
    assert answers[-1] == {"looked": 2, "news": True}
    assert desk.counts[stage] == before[stage] + 1


def test_edits_of_a_crowd_take_a_fifth_of_a_second_each(log, monkeypatch):
    """At 1,500 objects; processor time, so that a loaded machine measures the same."""
    import time

    import numpy as np
    import pandas as pd

    rng, name = np.random.default_rng(4), "k-121_a_1.jpg"
    more = 1500 - len(log.objects(photo=name))
    places = {"x_px": rng.uniform(20, 1900, more), "y_px": rng.uniform(20, 1420, more)}
    stages = rng.choice(["nauplius", "umbrella", "cyst", "shell"], more)
    log.correct_objects(name, pd.DataFrame({"action": "add", "stage": stages, **places}), by="cd", reason="a crowd")
    desk = open_review(log, [name], initials="ab")
    numbers = [m[0] for m in desk.marks[:20]]
    edits = [{"uid": str(n), "photo": name, "by": "ab", "do": "stage", "id": n, "stage": "debris"} for n in numbers]
    begin = time.process_time()
    desk._on_message(desk, {"do": "save", "edits": edits}, [])
    seconds = (time.process_time() - begin) / len(edits)
    print(f"{1000 * seconds:.0f} ms of processor time an edit")
    assert seconds < 0.2
    kept = log.objects(photo=name).set_index("object_id").loc[numbers]
    assert set(kept["stage"]) == {"debris"}
    assert int(log.samples(sample="RF-121-A-1")["nauplii"].iloc[0]) == desk.counts["nauplius"]


def test_detail_is_sent_when_zoomed_in(desk, monkeypatch):
    sent = []
    monkeypatch.setattr(desk, "send", lambda content, buffers: sent.append((content, buffers)))
    desk._on_message(desk, {"do": "tile", "corners": [-50, 100, 300, 400]}, [])
    content, buffers = sent[0]
    assert content["tile"] == [0, 100, 300, 400]
    assert buffers[0][:2] == b"\xff\xd8"
    desk._on_message(desk, {"do": "tile", "corners": [5000, 100, 6000, 400]}, [])
    assert len(sent) == 1


def test_a_still_picture_goes_along(desk, monkeypatch):
    import IPython.display

    shown, updated = [], []
    monkeypatch.setattr(IPython.display, "display", lambda data, **k: shown.append((data, k)))
    monkeypatch.setattr(IPython.display, "update_display", lambda data, **k: updated.append((data, k)))
    desk._ipython_display_()
    widget, still = shown
    assert "application/vnd.jupyter.widget-view+json" in widget[0]
    assert still[0]["text/html"].startswith('<div class="qck-still"><figure')
    desk._on_message(desk, {"do": "still"}, [])
    assert updated == []  # nothing has changed
    ask(desk, do="stage", id=desk.marks[0][0], stage="debris")
    desk._on_message(desk, {"do": "still"}, [])
    assert updated[0][1]["display_id"] == still[1]["display_id"]
    assert f"{desk.counts['nauplius']} nauplii" in updated[0][0]["text/html"]


def test_nothing_counted_yet(tmp_path):
    site = new_site(tmp_path / "empty")
    with open_log(site) as log, pytest.raises(InputError) as error:
        open_review(log)
    assert str(error.value) == (
        "No photo is counted in this site's log yet. Name photos in the sheet that you import, or let  qckit today "
        "--watch FOLDER  take them in."
    )


def test_the_page_code_fetches_nothing():
    from pathlib import Path

    import qckit.review.desk as module

    for name in ("desk_marks.js", "desk_queue.js", "desk_view.js", "desk.js", "desk.css", "picker.js"):
        text = (Path(module.__file__).parent / name).read_text(encoding="utf-8")
        assert "http" not in text and "import " not in text and "fetch(" not in text
