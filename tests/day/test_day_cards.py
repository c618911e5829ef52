"""Cards: the code holds what the card says, gives the scale, and the photos after it belong to it."""

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
import segno
from PIL import Image, ImageFilter

from qckit.day.photos.cards import CODE_MM, SCALE, SLIP_MM, Card, CardSeen, cards_for, cards_page, find_card, read_text
from qckit.day.photos.matching import PhotoSeen, match_photos


def photo_of(card: Card, px_per_mm: float, *, angle=0.0, blur=0.0, size=(900, 1200), at=(60, 40)) -> np.ndarray:
    """Draw a card's code lying on a grey table, by another way than the page to print."""
    rows = np.array([list(row) for row in segno.make(card.text, error="q", micro=False).matrix], dtype=bool)
    code = Image.fromarray(np.where(np.kron(rows, np.ones((40, 40), bool)), 20, 235).astype(np.uint8))
    white = Image.new("L", (int(code.width * 1.34),) * 2, 235)
    white.paste(code, ((white.width - code.width) // 2,) * 2)
    factor = card.side_mm * px_per_mm / code.width
    turned = white.rotate(angle, expand=True, fillcolor=190, resample=Image.Resampling.BICUBIC)
    small = turned.resize((round(turned.width * factor), round(turned.height * factor)), Image.Resampling.LANCZOS)
    table = Image.new("L", (size[1], size[0]), 190)
    table.paste(small, at)
    pixels = np.asarray(table.filter(ImageFilter.GaussianBlur(blur)) if blur else table, dtype=float)
    noisy = pixels + np.random.default_rng(1).normal(0, 6, size)
    return np.repeat(np.clip(noisy, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("name", ["A", "cone 4", "ü;|%"])
def test_a_code_holds_any_name(name):
    card = Card(name, "sieve", "K-121")
    assert read_text(card.text) == card


@pytest.mark.parametrize(
    "text", ["https://x.test/", "QCKIT1;A;other;;30", "QCKIT1;;subsample;;30", "QCKIT1;A;sieve;;x"]
)
def test_other_codes_are_no_cards(text):
    assert read_text(text) is None


@pytest.mark.parametrize(("px_per_mm", "angle", "blur"), [(5, 0, 0), (8.3, 7, 1.5), (8.3, 31, 0), (12, 90, 1.5)])
def test_a_card_is_read_and_gives_the_scale(px_per_mm, angle, blur):
    seen = find_card(photo_of(Card("A", lot="K-121"), px_per_mm, angle=angle, blur=blur))
    assert seen.card == Card("A", lot="K-121")
    assert abs(seen.um_per_px - 1000 / px_per_mm) < 3 * seen.u_um_per_px
    assert seen.um_per_px == pytest.approx(1000 / px_per_mm, rel=0.01)


def test_a_slip_gives_the_scale_of_a_small_picture():
    seen = find_card(photo_of(Card("", SCALE, side_mm=SLIP_MM), 1000 / 12, size=(1500, 2000)))
    assert seen.card.kind == SCALE and seen.um_per_px == pytest.approx(12, rel=0.01)


def test_a_tilted_card_is_read_and_gives_no_scale():
    flat = Image.fromarray(photo_of(Card("A"), 12))
    tilted = flat.transform(flat.size, Image.Transform.PERSPECTIVE, (1, 0.1, 0, 0, 1, 0, 0.0006, 0.0004))
    seen = find_card(np.asarray(tilted))
    assert seen.card.cone == "A" and math.isnan(seen.um_per_px)


def test_no_card_is_no_card():
    assert find_card(np.full((300, 400, 3), 180, np.uint8)) is None


def test_the_page_has_a_card_for_each_and_escapes():
    from qckit.settings import Settings

    cards = cards_for(Settings(), ("K-1", "K-2"))
    html = cards_page("<i>room</i>", cards)
    assert len(cards) == 16 and html.count('<section class="card"') == 16
    assert "<i>room" not in html and "http" not in html
    assert f"h{CODE_MM / 29:.4f}" in html or f"h{CODE_MM / 25:.4f}" in html  # modules of a code 30 mm wide


def seen(name, minute, cone="", kind="subsample", share=0.2, scale=math.nan):
    card = CardSeen(Card(cone, kind), share, scale) if cone or kind == SCALE else None
    return PhotoSeen(name, dt.datetime(2026, 11, 20, 9, minute, tzinfo=dt.UTC), card)


def matched(photos, cones=("A", "B")):
    return [(m.name, m.cone, m.kind, m.number, m.how) for m in match_photos(photos, cones, subsamples=2)]


def test_photos_after_a_card_belong_to_it():
    photos = [
        seen("3.jpg", 3),
        seen("1.jpg", 1, "B"),
        seen("2.jpg", 2),
        seen("4.jpg", 4, "A", "sieve"),
        seen("5.jpg", 5),
    ]
    assert matched(photos) == [
        ("2.jpg", "B", "subsample", 1, "card"),
        ("3.jpg", "B", "subsample", 2, "card"),
        ("5.jpg", "A", "sieve", 1, "card"),
    ]


def test_a_card_from_long_ago_says_nothing():
    photos = [seen("1.jpg", 0, "B"), seen("2.jpg", 40)]
    assert matched(photos) == [("2.jpg", "A", "subsample", 1, "order")]


def test_the_cone_in_the_name_and_else_the_protocols_order():
    photos = [seen("b_1.jpg", 1), seen("IMG_7.jpg", 2), seen("IMG_8.jpg", 3), seen("IMG_9.jpg", 4)]
    assert [(cone, how) for _, cone, _, _, how in matched(photos)] == [
        ("B", "name"),
        ("A", "order"),
        ("A", "order"),
        ("B", "order"),
    ]
    assert matched([seen("x.jpg", 1)], cones=()) == [("x.jpg", "", "subsample", 1, "nothing")]


def test_a_slip_beside_the_dish_gives_the_scale_and_no_cone():
    photos = [seen("1.jpg", 1, "B"), seen("2.jpg", 2, kind=SCALE, share=0.05, scale=12.0)]
    (match,) = match_photos(photos, ("A", "B"), subsamples=2)
    assert (match.cone, match.how, match.um_per_px) == ("B", "card", 12.0)


def test_a_batch_is_shown_confirmed_and_counted(bench, tmp_path):
    import shutil

    from invented_day import at

    from qckit._paths import sample_images_dir
    from qckit.day.photos.watching import changed, count_matched, look_at, match_words

    source = sorted((sample_images_dir() / "photos").glob("*.jpg"))[0]
    arrived = tmp_path / "phone"
    arrived.mkdir()
    shutil.copyfile(source, arrived / "IMG_1.jpg")
    photos, faults = look_at([arrived / "IMG_1.jpg"], bench)
    assert faults == [] and photos[0].card is None
    (match,) = match_photos(photos, ("A", "B"), subsamples=3)
    (match,) = changed([match], "1 B", ("A", "B"), print)
    assert match_words([match], bench) == ["1  IMG_1.jpg -> B (H261119-B) subsample 1, by hand"]
    from dataclasses import replace

    done = count_matched(bench, [replace(match, um_per_px=6.2)], taken={match.name: at("2026-11-20T09:00")})
    assert done.n_counted == 1
    row = bench.log.samples(hatch="H261119-B").iloc[0]
    assert (row["counted_by"], row["photos"], row["volume_ul"]) == ("photo", "H261119-B-1.jpg", 250.0)
    assert row["nauplii"] > 0 and [one.cone for one in bench.page.judged] == ["B"]


def test_arrivals_come_in_batches_once_they_are_whole(tmp_path):
    from qckit.day.photos.watching import arrivals

    (tmp_path / "old.jpg").write_bytes(b"x")
    batches = arrivals(tmp_path, known={tmp_path / "old.jpg"}, poll_s=0.01, quiet_s=0.05)
    assert next(batches) == []
    (tmp_path / "new.jpg").write_bytes(b"y")
    (tmp_path / "notes.txt").write_bytes(b"z")
    assert next(batch for batch in batches if batch) == [tmp_path / "new.jpg"]
    assert next(batches) == []


def test_nothing_is_counted_before_a_person_says_so(bench, tmp_path):
    from qckit.day.photos.watching import _one_batch

    Image.fromarray(photo_of(Card("B"), 12)).save(tmp_path / "1.jpg", quality=92)
    Image.fromarray(np.full((300, 400, 3), 180, np.uint8)).save(tmp_path / "2.jpg")
    said, asked = [], []

    def ask(question):
        asked.append(question)
        return ["2 A", "1 A", "0"][len(asked) - 1]

    _one_batch([tmp_path / "1.jpg"], bench, said.append, ask)
    assert said == ["1 photo of a card; now photograph the samples."] and asked == []
    _one_batch([tmp_path / "1.jpg", tmp_path / "2.jpg"], bench, said.append, ask)
    assert said[1:] == [
        "1  2.jpg -> B (H261119-B) subsample 1, by card",
        "'2 A': type the number of a photo and a cone (A, B).",
        "1  2.jpg -> B (H261119-B) subsample 1, by card",
        "1  2.jpg -> A (H261119-A) subsample 1, by hand",
        "Left as they are; nothing was written.",
    ]
    assert bench.log.samples(hatch="H261119-A", counted=None).empty


def test_a_photo_that_was_counted_is_no_new_subsample(bench, tmp_path):
    import shutil

    from qckit._paths import sample_images_dir
    from qckit.day.photos.watching import _not_in_log, _one_batch

    first, second = sorted((sample_images_dir() / "photos").glob("*.jpg"))[:2]
    phone = tmp_path / "phone"
    phone.mkdir()
    for name, source in (("a_1.jpg", first), ("a_1 (copy).jpg", first), ("a_2.jpg", second), ("a_2 b.jpg", second)):
        shutil.copyfile(source, phone / name)
    shutil.copyfile(first, bench.site.folder / "photos" / "H261119-A-1.jpg")  # as the watch before left it
    assert len(_not_in_log(phone, bench)) == 2  # a copy that no sample names, as after an entry taken back
    row = {"sample": "H261119-A-1", "hatch": "H261119-A", "taken": "2026-11-20T09:00:00+00:00", "kind": "subsample"}
    row |= {"counted_by": "photo", "photos": "H261119-A-1.jpg", "volume_ul": 250.0}
    bench.log.add("samples", pd.DataFrame([row]), by="op1")
    said = []
    assert len(_not_in_log(phone, bench)) == 1  # their file times are later than the day of the test
    _one_batch(sorted(phone.iterdir()), bench, said.append, lambda _question: "0")
    assert said == [
        "a_1.jpg: left out, it is the same photo as H261119-A-1.jpg.",
        "a_2 b.jpg: left out, it is the same photo as a_2.jpg.",
        "a_1 (copy).jpg: left out, it is the same photo as H261119-A-1.jpg.",
        "1  a_2.jpg -> A (H261119-A) subsample 1, by name",
        "Left as they are; nothing was written.",
    ]


def test_a_counted_photo_that_was_renamed_is_no_new_subsample(bench):
    import shutil

    from qckit._paths import sample_images_dir
    from qckit.day.photos.watching import _not_in_log, _one_batch
    from qckit.reports import count_uncounted

    photos = bench.site.folder / "photos"
    shutil.copyfile(next((sample_images_dir() / "photos").glob("k-124_a_1.jpg")), photos / "a.jpg")
    row = {"sample": "H261119-A-1", "hatch": "H261119-A", "taken": "2026-11-20T09:00:00+00:00", "kind": "subsample"}
    row |= {"counted_by": "photo", "photos": "a.jpg", "volume_ul": 250.0, "um_per_px": 6.2}
    bench.log.add("samples", pd.DataFrame([row]), by="op1")
    assert count_uncounted(bench.site.folder).n_counted == 1
    (photos / "a.jpg").rename(photos / "cone A.jpg")
    assert not _not_in_log(photos, bench)
    said = []
    _one_batch([photos / "cone A.jpg"], bench, said.append, lambda _question: "0")
    assert said == ["cone A.jpg: left out, it is the same photo as a.jpg."]
