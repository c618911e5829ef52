"""Pages that were made again: their pictures, the room they take, and packing them without losing a proof."""

import shutil
import zipfile

import pytest
from test_log_proof import fill, make_page, proof_of

from qckit.log.kept_pages import earlier_pages, keep_earlier, pack_earlier, pages_of, share_pictures


def with_picture(folder, text, **pictures):
    (folder / "checked").mkdir(parents=True)
    (folder / "findings.json").write_text('{"made": "2026-11-25T12:00:00+00:00"}', "utf-8")
    (folder / "report.html").write_text(text, "utf-8")
    for name, content in pictures.items():
        (folder / "checked" / f"{name}.jpg").write_bytes(content)
    return folder


def test_an_earlier_page_keeps_the_pictures_it_links_to_and_shares_those_that_are_the_same(tmp_path):
    top = tmp_path / "reports"
    stands = with_picture(top / "new-lot-1", "holds", a=b"a" * 100, b=b"b" * 100)
    new = with_picture(tmp_path / "new", "fails", a=b"a" * 100, b=b"other")
    kept = keep_earlier(new, stands)
    shutil.rmtree(stands)
    shutil.copytree(new, stands)
    share_pictures(kept, stands)
    assert {p.name: p.read_bytes() for p in (kept / "checked").iterdir()} == {"a.jpg": b"a" * 100, "b.jpg": b"b" * 100}
    assert {p.name: p.read_bytes() for p in (stands / "checked").iterdir()} == {"a.jpg": b"a" * 100, "b.jpg": b"other"}
    assert (kept / "checked" / "a.jpg").samefile(stands / "checked" / "a.jpg")


@pytest.fixture
def twice(log):
    """Give a log with a page that was made three times: two lie in ``earlier``."""
    fill(log)
    for day, text in enumerate(("holds", "fails", "holds again"), 1):
        make_page(log, made=f"2026-12-0{day}T09:00:00+00:00", text=text)
    return log


def test_packed_pages_prove_what_they_did(twice):
    reports = twice.folder / "reports"
    before = {page.made: page.sums for page in pages_of(twice.folder)}
    assert earlier_pages(twice.folder).n == 2
    assert pack_earlier(twice.folder) == 2
    assert [path.name for path in (reports / "earlier").iterdir()] == ["new-lot-L-1.zip"]
    assert {page.made: page.sums for page in pages_of(twice.folder)} == before
    assert earlier_pages(twice.folder).n == 2 and pack_earlier(twice.folder) == 0
    assert proof_of(twice).empty
    places = [page.place for page in pages_of(twice.folder)]
    assert sum(place.startswith("reports/earlier/new-lot-L-1.zip/2026-12-0") for place in places) == 2
    make_page(twice, made="2026-12-04T09:00:00+00:00", text="once more")
    assert pack_earlier(twice.folder) == 1 and earlier_pages(twice.folder).n == 3
    assert proof_of(twice).empty


def test_a_packed_page_that_was_changed_or_lost_is_told(twice):
    pack_earlier(twice.folder)
    archive = twice.folder / "reports" / "earlier" / "new-lot-L-1.zip"
    with zipfile.ZipFile(archive) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(archive, "w") as new:
        for name, content in parts.items():
            new.writestr(name, content.replace(b"holds", b"fails"))
    assert proof_of(twice)["code"].tolist() == ["changed page"]
    archive.write_bytes(archive.read_bytes()[:50])
    assert proof_of(twice)["what"].tolist() == ["2 pages that the log names are not in reports"]


def test_a_page_changed_since_it_was_packed_stays_beside_the_zip(twice):
    loose = next((twice.folder / "reports" / "earlier" / "new-lot-L-1").iterdir())
    copy = twice.folder / "copy"
    shutil.copytree(loose, copy)
    pack_earlier(twice.folder)
    shutil.copytree(copy, loose)
    (loose / "report.html").write_text("another", "utf-8")
    assert pack_earlier(twice.folder) == 0 and (loose / "report.html").read_text("utf-8") == "another"


def test_the_commands_say_the_room_and_pack(twice, run):
    site = str(twice.folder)
    code, said, _ = run("log", "backup", "--site", site)
    assert code == 0 and "reports/earlier: 2 pages made again since, 0.0 MB. They prove what was said then" in said
    code, said, _ = run("log", "pack", "--site", site)
    assert code == 0 and "2 pages packed; 0.0 MB before, 0.0 MB now." in said
    assert "nothing to pack" in run("log", "pack", "--site", site)[1]
