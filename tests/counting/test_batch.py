"""Many photos: order, workers, interruption, names, damage, what is written."""

import json
import os
import shutil
import signal
import subprocess
import sys
import time

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from PIL import Image

from qckit.cli import command as qckit
from qckit.cli import main
from qckit.counting import PHOTO_COLUMNS, Cluster, count_photos
from qckit.errors import InputError
from qckit.tables import check_table, table_columns


@pytest.fixture(scope="module")
def folder(crop, tmp_path_factory):
    """Four small photos in two folders, two of them called the same, and a broken one."""
    top = tmp_path_factory.mktemp("photos")
    path, scale = crop()
    image = Image.open(path)
    for name, box in (
        ("one/a.png", (0, 0, 400, 300)),
        ("two/a.png", (300, 200, 700, 500)),
        ("two/b.png", (500, 300, 900, 600)),
        ("two/=cmd().png", (100, 300, 500, 600)),
    ):
        (top / name).parent.mkdir(exist_ok=True)
        image.crop(box).save(top / name)
    return top, scale


def stripped(counted):
    return counted.counts.drop(columns="seconds")


def test_same_for_any_workers_and_order(folder):
    top, scale = folder
    one = count_photos(top, scale)
    two = count_photos(top, scale, workers=2)
    back = count_photos(sorted(top.rglob("*.png"), reverse=True), scale, workers=2)
    pd.testing.assert_frame_equal(stripped(one), stripped(two))
    pd.testing.assert_frame_equal(one.objects, two.objects)
    key = ["photo", "object_id"]
    pd.testing.assert_frame_equal(
        one.objects.sort_values(key, ignore_index=True), back.objects.sort_values(key, ignore_index=True)
    )
    assert set(one.counts.photo) == {"one/a.png", "two/a.png", "b.png", "=cmd().png"}


def test_tables_hold_the_contract(folder, tmp_path):
    top, scale = folder
    counted = count_photos(top, scale, out_dir=tmp_path)
    assert tuple(counted.counts.columns) == PHOTO_COLUMNS
    check_table(counted.objects, "objects")
    counts, objects = pd.read_csv(tmp_path / "counts.csv"), pd.read_csv(tmp_path / "objects.csv")
    assert list(counts.columns) == list(PHOTO_COLUMNS)
    assert list(objects.columns) == table_columns("objects")
    assert "'=cmd().png" in set(counts.photo)
    assert {p.name for p in (tmp_path / "checked").iterdir()} == {
        "one__a.png.jpg",
        "two__a.png.jpg",
        "b.png.jpg",
        "=cmd().png.jpg",
    }
    for row in counted.counts.itertuples():
        mine = counted.objects[(counted.objects.photo == row.photo) & counted.objects.counted]
        assert (row.nauplii, row.shell) == tuple((mine.stage == s).sum() for s in ("nauplius", "shell"))


def test_counted_photos_are_not_counted_again(folder, tmp_path):
    top, scale = folder
    first = count_photos(top, scale, out_dir=tmp_path)
    again = count_photos(top, scale, out_dir=tmp_path)
    pd.testing.assert_frame_equal(first.counts, again.counts)  # even the seconds: nothing was done again
    pd.testing.assert_frame_equal(first.objects, again.objects)
    other = count_photos(top, scale * 1.1, out_dir=tmp_path)
    assert (other.counts.frame_mm2 > first.counts.frame_mm2).all()


def test_half_written_and_stale_parts_are_counted_again(folder, tmp_path):
    top, scale = folder
    photos = tmp_path / "in"
    shutil.copytree(top / "two", photos)
    out = tmp_path / "out"
    first = count_photos(photos, scale, out_dir=out)
    parts = sorted((out / ".parts").glob("*.json"))
    parts[0].write_text(parts[0].read_text()[: len(parts[0].read_text()) // 2])
    parts[1].write_text("{}")
    (out / ".parts" / ".123.part").write_text("left over")
    again = count_photos(photos, scale, out_dir=out)
    pd.testing.assert_frame_equal(stripped(first), stripped(again))
    shutil.copy(top / "one" / "a.png", photos / "b.png")  # other content under the same name
    changed = count_photos(photos, scale, out_dir=out)
    assert set(changed.counts.sha256) != set(first.counts.sha256)


def test_killed_in_the_middle_and_run_again(folder, tmp_path):
    """kill -9 while counting: what is there is whole, and the second run ends with the same tables."""
    top, scale = folder
    photos = tmp_path / "in"
    photos.mkdir()
    for i in range(12):
        shutil.copy(top / "two" / "a.png", photos / f"p{i:02}.png")
    out = tmp_path / "out"
    run = [sys.executable, "-m", "qckit", "count", str(photos), "--um-per-px", str(scale), "--out", str(out)]
    process = subprocess.Popen(run, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(6000):
        if len(list((out / ".parts").glob("*.json"))) >= 3 or process.poll() is not None:
            break
        time.sleep(0.05)
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    done = list((out / ".parts").glob("*.json"))
    assert 3 <= len(done) < 12
    assert all(json.loads(p.read_text())["counts"] for p in done)
    assert not (out / "counts.csv").exists()
    kept = {p: p.stat().st_mtime_ns for p in done}
    assert subprocess.run(run, capture_output=True, check=False).returncode == 1  # done; crops this small carry flags
    assert len(pd.read_csv(out / "counts.csv")) == 12
    assert all(p.stat().st_mtime_ns == t for p, t in kept.items())


def test_one_bad_file_does_not_stop_the_others(folder, tmp_path, capsys):
    top, scale = folder
    photos = tmp_path / "in"
    shutil.copytree(top / "one", photos)
    (photos / "b.jpg").write_text("not a photo")
    with pytest.raises(SystemExit) as left:
        main(["count", str(photos), "--um-per-px", str(scale), "--out", str(tmp_path / "out")])
    assert left.value.code == 1
    err = capsys.readouterr().err
    assert "not counted: b.jpg: the file holds text, not a picture. Give a JPEG, PNG, TIFF or HEIC photo.\n" in err
    assert err.rstrip().splitlines()[-1] == (
        "Needs attention: 1 photo could not be counted, and 1 photo carries a flag (named above)."
    )
    assert len(pd.read_csv(tmp_path / "out" / "counts.csv")) == 1


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([], "no scale is given. Give either --um-per-px NUMBER or --scales FILE.csv."),
        (
            ["--um-per-px", "0"],
            "scale: um_per_px is '0.0', and a scale is a number of micrometres per pixel between "
            "0.05 and 500. Measure it with qckit camera and write it so.",
        ),
        (
            ["--um-per-px", "5", "--workers", "0"],
            "workers is 0, and at least 1 process is needed. Give --workers 1 or more.",
        ),
    ],
)
def test_command_errors_are_one_line(folder, tmp_path, capsys, arguments, message):
    with pytest.raises(SystemExit) as left:
        main(["count", str(folder[0]), "--out", str(tmp_path), *arguments])
    assert left.value.code == 2
    assert capsys.readouterr().err == f"qckit: {message}\n"


def test_all_photos_bad_cannot_be_done(tmp_path, capsys):
    (tmp_path / "a.jpg").touch()
    with pytest.raises(SystemExit) as left:
        main(["count", str(tmp_path / "a.jpg"), "--um-per-px", "5", "--out", str(tmp_path / "out")])
    assert left.value.code == 2
    assert capsys.readouterr().err.endswith(
        "qckit: no photo could be counted (1 tried). a.jpg: the file is empty (0 bytes). Copy it from the "
        "camera again.\n"
    )


def test_unknown_photo_in_scales(folder, tmp_path):
    with pytest.raises(InputError, match=r"^scales: no scale for a\.png, "):
        count_photos(folder[0], {"zebra": 4.0}, out_dir=tmp_path)


def test_command_writes_and_says_what(folder, tmp_path):
    top, scale = folder
    scales = tmp_path / "scales.csv"
    scales.write_text(
        "photo,um_per_px,light\n"
        + "".join(f"{p.stem},{scale},x\n" for p in {q.stem: q for q in top.rglob("*.png")}.values())
    )
    result = CliRunner().invoke(qckit, ["count", str(top), "--scales", str(scales), "--out", str(tmp_path / "out")])
    assert result.exit_code == 0, result.output
    assert result.output.startswith("4 photos counted: ")
    assert "Results in" in result.output


def test_checked_picture_tells_stages_apart_without_colour(folder, tmp_path):
    """Marks differ in grey: the outline of each stage around an object on an empty field is another set of pixels."""
    from qckit.counting import draw_checked

    shapes = []
    for stage in ("nauplius", "umbrella", "cyst", "shell", "debris"):
        objects = pd.DataFrame(
            {"stage": [stage], "x_px": [100.0], "y_px": [100.0], "length_um": [300.0], "counted": [True]}
        )
        picture = draw_checked(np.full((200, 200, 3), 255, np.uint8), objects, um_per_px=5.0)
        assert picture.height > 200
        shapes.append(np.asarray(picture.convert("L"))[:200] < 250)
    for i, a in enumerate(shapes):
        assert a.any()
        for b in shapes[:i]:
            assert (a & b).sum() < 0.6 * min(a.sum(), b.sum())


@pytest.mark.slow
def test_dask_counts_the_same(folder):
    distributed = pytest.importorskip("distributed")
    top, scale = folder
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1", protocol="tcp"
    ) as cluster:
        far = count_photos(top, scale, workers=Cluster(cluster.scheduler_address))
    near = count_photos(top, scale, workers=2)
    pd.testing.assert_frame_equal(far.objects, near.objects)
    pd.testing.assert_frame_equal(stripped(far), stripped(near))
    with pytest.raises(InputError, match=r"^no Dask scheduler answers at tcp://127\.0\.0\.1:9\."):
        count_photos(top, scale, workers=Cluster("tcp://127.0.0.1:9"))


def test_other_photos_counted_earlier_stay_in_the_tables(folder, tmp_path, capsys):
    top, scale = folder

    def said(photo):
        with pytest.raises(SystemExit):
            main(["count", str(photo), "--um-per-px", str(scale), "--out", str(tmp_path)])
        return capsys.readouterr().out

    count_photos([top / "one" / "a.png", top / "two" / "=cmd().png"], scale, out_dir=tmp_path)
    before = (tmp_path / "objects.csv").read_text()
    assert (
        f"note: the tables in {tmp_path} also keep 2 photos counted earlier: a.png, '=cmd().png. For tables of "
        "these photos alone give another --out.\n"
    ) in said(top / "two" / "b.png")
    assert pd.read_csv(tmp_path / "counts.csv")["photo"].tolist() == ["a.png", "'=cmd().png", "b.png"]
    assert (tmp_path / "objects.csv").read_text().startswith(before)
    copy = tmp_path / "renamed.png"
    shutil.copy(top / "one" / "a.png", copy)
    again = count_photos(copy, scale, out_dir=tmp_path)  # the same content under another name is the same photo
    assert again.kept == ("'=cmd().png", "b.png") and len(again.counts) == 1
    alone = count_photos(copy, scale, out_dir=tmp_path, keep_earlier=False)
    assert alone.kept == () and pd.read_csv(tmp_path / "counts.csv")["photo"].tolist() == ["renamed.png"]
    shutil.copy(top / "two" / "b.png", copy)
    assert (
        f"note: replaced, as another photo of the same name was counted into {tmp_path} before: renamed.png\n"
        in said(copy)
    )


def test_long_tables_are_written_and_read_in_pieces(folder, tmp_path, monkeypatch):
    """Where the objects are too many for the memory they stay in the folder, and every table is the same."""
    top, scale = folder
    others = [top / "two" / "b.png", top / "two" / "=cmd().png"]
    few = count_photos([top / "one" / "a.png", *others], scale, out_dir=tmp_path / "few", checked=False)
    monkeypatch.setattr("qckit.counting.batch.run.MOST_AT_HAND", 0)
    monkeypatch.setattr("qckit.counting.batch.earlier.ROWS_AT_ONCE", 2)
    one = count_photos(top / "one", scale, out_dir=tmp_path / "many", checked=False)
    assert "objects" not in vars(one) and len(one.objects) == one.parts[0].n_objects > 0
    rest = count_photos(others, scale, out_dir=tmp_path / "many", checked=False)
    assert rest.kept == ("a.png",) and len(rest.objects) > 4
    for name in ("objects.csv", "counts.csv"):
        once, twice = (pd.read_csv(tmp_path / folder / name) for folder in ("few", "many"))
        pd.testing.assert_frame_equal(*(t.drop(columns="seconds", errors="ignore") for t in (once, twice)))
    assert len(few.counts) == 3


def test_a_table_that_is_not_ours_is_not_written_over(folder, tmp_path):
    (tmp_path / "counts.csv").write_text("photo;nauplii\na.png;3\n")
    with pytest.raises(InputError) as error:
        count_photos(folder[0] / "one", folder[1], out_dir=tmp_path)
    assert str(error.value) == (
        f"{tmp_path / 'counts.csv'}: is there already and has other columns than this version of qckit count writes, "
        "so what it holds would be lost. Give another --out, or move it away."
    )
    assert (tmp_path / "counts.csv").read_text() == "photo;nauplii\na.png;3\n"


def test_a_count_stopped_between_its_tables_goes_on(folder, tmp_path):
    top, scale = folder
    count_photos(top / "one" / "a.png", scale, out_dir=tmp_path, checked=False)
    (tmp_path / "objects.csv").unlink()
    counted = count_photos(top / "two" / "b.png", scale, out_dir=tmp_path, checked=False)
    assert counted.kept == ("a.png",)
    assert pd.read_csv(tmp_path / "counts.csv")["photo"].tolist() == ["a.png", "b.png"]


def test_a_photo_without_percentage_gives_none_to_the_total():
    from qckit.commands.count import _hatched
    from qckit.counting.batch.run import overall_hatch_pct

    counts = pd.DataFrame(
        {
            "nauplii": [60, 9, 0],
            "umbrella": [0, 0, 0],
            "cyst": [20, 1, 0],
            "shell": [50, 2, 0],
            "hatch_pct": [75.0, np.nan, np.nan],  # the second: withheld as it looks like no hatch sample
        }
    )
    said = lambda table: _hatched(table, overall_hatch_pct(table))  # noqa: E731
    assert said(counts) == "hatched 75.0 %, without 1 photo that looks like no hatch sample"
    assert said(counts.iloc[:1]) == "hatched 75.0 %"
    assert said(counts.iloc[1:]) == "no hatching percentage, as what looks like no hatch sample gives none"
    assert said(counts.iloc[2:]) == "no hatching percentage, as there is nothing to take it of"
