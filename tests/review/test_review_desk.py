"""What the desk answers to the page's messages, without a page."""

import pytest

from qckit.errors import InputError
from qckit.log import new_site, open_log
from qckit.review import open_review


@pytest.fixture
def desk(log):
    return open_review(log, ["k-121_a_1.jpg", "k-124_a_1.jpg"], initials="ab")


def ask(desk, **message):
    desk._on_message(desk, {"n": 7, **message}, [])
    return desk.status


def test_marks_are_plain_values_in_the_order_of_worth(desk):
    number, _x, _y, r, stage, counted, state, doubt = desk.marks[0]
    assert isinstance(number, int) and r > 0 and stage in ("nauplius", "umbrella", "cyst", "shell")
    assert counted in (0, 1) and state == "" and 0 <= doubt <= 1
    assert desk.image[:2] == b"\xff\xd8"
    assert len(desk.marks) > 90


def test_edit_answers_with_the_number_it_was_asked_under(desk):
    number = desk.marks[0][0]
    assert ask(desk, do="stage", id=number, stage="shell") == {
        "n": 7,
        "text": f"Saved: object {number} is shell.",
        "bad": False,
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


def test_without_initials_nothing_is_saved_and_that_is_said(desk, log):
    desk.initials = ""
    answer = ask(desk, do="remove", id=desk.marks[0][0])
    assert answer["bad"]
    assert answer["text"] == (
        "Not saved: an edit needs the initials of who makes it. Write them into the field Initials."
    )
    assert log.corrections(table="objects").empty


def test_another_photo_and_an_unknown_wish(desk):
    other = next(p for p, _ in desk.photos if p != desk.photo)
    assert ask(desk, do="open", photo=other)["text"] == "Opened."
    assert desk.photo == other
    assert ask(desk, do="dance")["bad"]


def test_detail_is_sent_when_zoomed_in(desk, monkeypatch):
    sent = []
    monkeypatch.setattr(desk, "send", lambda content, buffers: sent.append((content, buffers)))
    desk._on_message(desk, {"do": "tile", "corners": [-50, 100, 300, 400]}, [])
    content, buffers = sent[0]
    assert content["tile"] == [0, 100, 300, 400]
    assert buffers[0][:2] == b"\xff\xd8"
    desk._on_message(desk, {"do": "tile", "corners": [5000, 100, 6000, 400]}, [])
    assert len(sent) == 1


def test_a_still_picture_goes_along(desk):
    bundle = desk._repr_mimebundle_()
    data = bundle[0] if isinstance(bundle, tuple) else bundle
    assert "application/vnd.jupyter.widget-view+json" in data
    assert data["text/html"].startswith("<figure")


def test_nothing_counted_yet(tmp_path):
    site = new_site(tmp_path / "empty")
    with open_log(site) as log, pytest.raises(InputError) as error:
        open_review(log)
    assert str(error.value) == "no photo is counted yet, so there is none to look at. Count photos first."


def test_the_page_code_fetches_nothing():
    from pathlib import Path

    import qckit.review.desk as module

    for name in ("desk_marks.js", "desk.js", "desk.css", "picker.js"):
        text = (Path(module.__file__).parent / name).read_text(encoding="utf-8")
        assert "http" not in text and "import " not in text and "fetch(" not in text
