"""The camera commands as a user types them."""

import re
import shlex
import time

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from PIL import Image

from qckit.cli import command
from qckit.errors import InputError
from qckit.log import open_log
from qckit.review import (
    check_camera,
    check_for_setup,
    find_setup_photo,
    keep_for_setup,
    measure_scale,
    photos_to_settle,
    pick_points,
    read_hand_counts,
    save_certificate,
    scale_for,
)


def run(*args):
    return CliRunner().invoke(command, ["camera", *map(str, args)])


@pytest.fixture
def ruled(tmp_path):
    """A drawn chamber, 50 px to the square."""
    image = np.full((600, 800), 215, np.uint8)
    image[20::50] = image[:, 30::50] = 90
    path = tmp_path / "chamber.png"
    Image.fromarray(image).save(path)
    return path


def test_scale_is_found_drawn_and_kept(site, ruled, tmp_path):
    picture = tmp_path / "found.jpg"
    got = run(
        "scale",
        ruled,
        "--spacing-um",
        1000,
        "--picture",
        picture,
        "--camera",
        "stereo",
        "--magnification",
        "2x",
        "--by",
        "ab",
        "--site",
        site,
    )
    assert got.exit_code == 0, got.output
    assert re.search(r"chamber\.png: (20|19\.9\d+|20\.0\d+) ± 0\.\d+ µm per pixel \(standard uncertainty, ", got.output)
    assert "Kept for stereo 2x." in got.output
    assert Image.open(picture).size[0] == 800
    with open_log(site) as log:
        row = scale_for(log, "stereo", "2x")
        with pytest.raises(
            InputError, match=r"unknown camera and magnification 'stereo 3x'\. Did you mean 'stereo 2x'"
        ):
            scale_for(log, "stereo", "3x")
    assert row["um_per_px"] == pytest.approx(20, rel=1e-3)
    assert row["set_by"] == "ab"
    listed = run("list", "--site", site)
    assert "scale        stereo 2x: 20" in listed.output
    written = run(
        "scales-file",
        site / "photos",
        "--camera",
        "stereo",
        "--magnification",
        "2x",
        "--out",
        tmp_path / "s.csv",
        "--site",
        site,
    )
    assert written.exit_code == 0, written.output
    assert pd.read_csv(tmp_path / "s.csv")["photo"].tolist() == ["k-121_a_1.jpg", "k-124_a_1.jpg"]


def test_two_points_on_the_command_line(ruled):
    got = run("scale", ruled, "--method", "two points", "--spacing-um", 5000, "--point", 30, 20, "--point", 530, 20)
    assert "10.000 ± 0.028 µm per pixel" in got.output


def test_a_point_off_the_photo_is_refused(ruled):
    got = run("scale", ruled, "--method", "two points", "--spacing-um", 5000, "--point", 30, 20, "--point", 99999, 10)
    assert str(got.exception) == (
        "chamber.png: the point 99999, 10 lies off the photo, which is 800 x 600 px. Give x and y in pixels of the "
        "upright photo."
    )


def test_points_set_in_the_notebook(ruled):
    picker = pick_points(ruled)
    with pytest.raises(InputError) as error:
        picker.measure(5000)
    assert str(error.value) == "0 of 2 points are set on the photo. Click both, then run this cell again."
    picker.points = [[30, 20], [530, 20]]
    assert picker.measure(5000).scale.um_per_px == pytest.approx(10)


def test_notebook_keeps_a_scale_only_when_all_is_filled_in(log, ruled):
    measured = measure_scale(ruled, method="ruled chamber", spacing_um=1000)
    assert keep_for_setup(log, measured, camera="a", magnification=" ", by="", approved=True) == [
        "Not kept: magnification and initials are empty in the parameters above."
    ]
    assert log.scales().empty
    keep_for_setup(log, measured, camera="a", magnification="1x", by="ab", approved=True)
    assert len(log.scales()) == 1
    kept = keep_for_setup(log, measured, camera="a", magnification="1x", by="ab", approved=True)
    assert kept[0].startswith("Kept for a 1x already: 20.0") and len(log.scales()) == 1
    assert find_setup_photo(log.folder, "").suffix == ".jpg"
    assert find_setup_photo(log.folder, "k-121_a_1.jpg").parent.name == "photos"


def test_kept_scales_are_shown_with_the_digits_of_their_uncertainty(log, ruled):
    from qckit import reports, review

    measured = measure_scale(ruled, spacing_um=1000, method="two points", points=[(30, 20), (630, 20)])
    keep_for_setup(log, measured, camera="a", magnification="1x", by="ab", approved=True)
    html = reports.table(review.scales_for_setup(log), right=["um_per_px"]).html
    shown = re.sub("<.*?>", "", html)
    minute = log.scales()["set_at"].iloc[0][:16].replace("T", " ")
    assert ">1.6667 ± 0.0039<" in html
    assert minute in shown and minute.replace(" ", "T") not in shown


def test_another_scale_of_a_camera_needs_an_approval_of_its_own(log, ruled, monkeypatch):
    """A cell that still says approved = True from the photo before keeps no scale that nobody looked at."""
    who = {"camera": "a", "magnification": "1x", "by": "ab"}
    keep_for_setup(log, measure_scale(ruled, method="ruled chamber", spacing_um=1000), **who, approved=True)
    points = {"method": "two points", "points": [(30, 20), (630, 20)]}
    wrong = measure_scale(ruled, spacing_um=1000, **points)
    day = log.now()[:10]
    assert keep_for_setup(log, wrong, **who, approved=True) == [
        f"Not kept: a 1x had 20 µm per pixel since {day}; this is 1.667. Was the camera changed, and do the lines "
        "above lie right? Then write approved = 1.667 in this cell."
    ]
    assert len(log.scales()) == 1
    monkeypatch.setattr(log, "now", lambda: "2027-01-01T09:00:00+00:00")
    assert keep_for_setup(log, wrong, **who, approved=1.667)[0].startswith("Kept for a 1x: 1.6667 ± ")
    assert len(log.scales()) == 2


def test_a_rough_scale_that_is_wrong_is_told_as_that(ruled):
    with pytest.raises(InputError) as error:
        measure_scale(ruled, method="ruled chamber", spacing_um=1000, about_um_per_px=9.0)
    assert str(error.value).endswith(
        "no ruled chamber pattern was found near the rough scale of 9 µm per pixel; without one it is 20. Correct the "
        "rough scale, or leave it out and look whether the lines drawn lie on the pattern."
    )


def test_a_setup_photo_by_a_wrong_name_is_told_the_nearest(log):
    (log.folder / "photos").mkdir(exist_ok=True)
    (log.folder / "photos" / "grid-2x.jpg").write_bytes(b"")
    with pytest.raises(InputError, match=r"unknown photo 'grid2x.jpg'. Did you mean 'grid-2x.jpg'\?"):
        find_setup_photo(log.folder, "grid2x.jpg")


@pytest.fixture
def counted(tmp_path):
    """A folder as qckit count writes it, and counts by eye of the same photos (invented)."""
    rng = np.random.default_rng(3)
    hand, counts, objects, marks = [], [], [], []
    for k in range(12):
        name, n = f"p{k:02d}", rng.poisson([40, 3, 20, 30])
        seen = rng.binomial(n, [0.96, 0.9, 0.95, 0.9])
        hand.append((f"{name}.jpg", *n))
        counts.append((f"{name}.jpg", *seen, 4.0, "1.0"))
        for stage, have, got in zip(("nauplius", "umbrella", "cyst", "shell"), n, seen, strict=True):
            for i in range(have):
                x, y = 50 * rng.integers(0, 40) + 5, 50 * rng.integers(0, 30) + 5
                marks.append((name, stage, x, y))
                if i < got:
                    objects.append((f"{name}.jpg", stage, x + 1, y - 1))
    names = ["photo", "nauplii", "umbrella", "cysts", "shells"]
    pd.DataFrame(hand, columns=names).to_csv(tmp_path / "hand.csv", index=False)
    pd.DataFrame(marks, columns=["photo", "stage", "x_px", "y_px"]).to_csv(tmp_path / "marks.csv", index=False)
    folder = tmp_path / "counts"
    folder.mkdir()
    heads = ["photo", "nauplii", "umbrella", "cyst", "shell", "um_per_px", "counter_version"]
    pd.DataFrame(counts, columns=heads).to_csv(folder / "counts.csv", index=False)
    pd.DataFrame(objects, columns=["photo", "stage", "x_px", "y_px"]).to_csv(folder / "objects.csv", index=False)
    return tmp_path


@pytest.mark.parametrize("name", ["hand.csv", "marks.csv"])
def test_check_makes_a_certificate_that_is_kept(site, counted, name):
    got = run("check", counted / name, counted / "counts", "--camera", "stereo", "--keep", "--by", "ab", "--site", site)
    assert got.exit_code == 0, got.output
    assert "12 photos with" in got.output
    assert "Check again by" in got.output
    with open_log(site) as log:
        row = log.certificates(camera="stereo").iloc[0]
    from qckit.agreement import correct_counts, read_certificate

    made = read_certificate(row)
    assert made.rates.source == ("matched objects" if name == "marks.csv" else "counts per photo")
    assert made.rates.matrix[0, 0] == pytest.approx(0.96, abs=0.03)
    mended = correct_counts({"nauplius": 96, "umbrella": 3, "cyst": 40, "shell": 50}, made.rates)
    assert mended.low["nauplius"] < 100 < mended.high["nauplius"]


def test_a_photo_that_stands_twice_is_named(counted):
    hand = pd.read_csv(counted / "hand.csv")
    pd.concat([hand, hand.head(1)]).to_csv(counted / "hand.csv", index=False)
    with pytest.raises(InputError) as error:
        run_check(counted)
    assert str(error.value) == (
        "photo 'p00.jpg' stands twice among the counts by hand. Keep one row per photo, and give different photos "
        "different names."
    )


def run_check(counted):
    return check_camera(
        counted / "hand.csv", counted / "counts", camera="s", by="ab", made_at="2026-11-04T09:00:00+00:00"
    )


def test_a_check_that_is_not_kept_says_how_to_keep_it(site, counted, monkeypatch):
    monkeypatch.chdir(counted)
    monkeypatch.delenv("QCKIT_SITE", raising=False)
    got = run("check", "hand.csv", "counts", "--camera", "my stereo", "--um-per-px", 4, "--by", "ab")
    line = got.output.splitlines()[-1]
    assert line == (
        "Not kept. To keep it, so that reports use it:  qckit camera check hand.csv counts --camera 'my stereo' "
        "--um-per-px 4.0 --by ab --site FOLDER --keep"
    )
    words = shlex.split(line.replace("FOLDER", str(site)).partition("qckit camera ")[2])
    assert run(*words).output.splitlines()[-1].startswith("Kept as my stereo ")
    monkeypatch.chdir(site)
    got = run("check", counted / "hand.csv", counted / "counts", "--camera", "s")
    assert got.output.splitlines()[-1].endswith(f"{counted / 'counts'} --camera s --keep")


@pytest.mark.parametrize("name", ["hand.csv", "marks.csv"])
def test_counts_by_eye_with_semicolons(counted, name):
    plain = check_camera(counted / name, counted / "counts", camera="s", by="ab", made_at="2026-11-04T09:00:00+00:00")
    frame = pd.read_csv(counted / name, dtype=str)
    if name == "marks.csv":
        frame["x_px"] += ".0"
    frame.to_csv(counted / name, sep=";", index=False, decimal=",", lineterminator="\n\n")
    text = (counted / name).read_text().replace(".0;", ",0;")
    (counted / name).write_text(text, encoding="utf-8-sig")
    again = check_camera(counted / name, counted / "counts", camera="s", by="ab", made_at="2026-11-04T09:00:00+00:00")
    assert again.certificate.sentences == plain.certificate.sentences


def test_what_lies_on_the_two_edges_is_not_held_against_the_counter(counted):
    path = counted / "counts" / "objects.csv"
    objects = pd.read_csv(path).assign(counted="yes")
    edge = objects.head(12).assign(counted="no", x_px=lambda o: o["x_px"] + 3000)
    pd.concat([objects, edge]).to_csv(path, index=False)
    rates = check_camera(
        counted / "marks.csv", counted / "counts", camera="s", by="ab", made_at="2026-11-04T09:00:00+00:00"
    ).certificate.rates
    assert rates.false.sum() == 0


def test_certificate_past_its_date_is_said_with_exit_code_1(site, counted):
    checked = check_camera(
        counted / "hand.csv", counted / "counts", camera="old", by="ab", made_at="2020-01-01T00:00:00+00:00"
    )
    with open_log(site) as log:
        save_certificate(log, checked, by="ab")
    got = run("list", "--site", site)
    assert got.exit_code in (0, 1)
    assert "(overdue)" in got.output
    assert "1 certificate overdue: count photos by eye again and run  qckit camera check" in got.output


def test_charts_of_the_check(counted):
    shown = check_for_setup(
        str(counted / "marks.csv"), str(counted / "counts"), camera="s", by="ab", made_at="2026-11-04T09:00:00+00:00"
    ).figures()
    titles = [ax.get_title(loc="left") or ax.get_title() for ax, _, _ in shown]
    assert titles == ["12 photos: bias and 95 % limits of agreement", "What the kit makes of each stage (12 photos)"]
    assert check_for_setup("", "", camera="s", by="ab", made_at="").figures() == []


def test_totals_draw_no_confusion_between_stages(site, counted, tmp_path):
    """Which object was missed or mistaken cannot be read off totals, so no chart shows it as a finding."""
    asked = {"camera": "s", "by": "ab", "made_at": "2026-11-04T09:00:00+00:00"}
    checked = check_for_setup(str(counted / "hand.csv"), str(counted / "counts"), **asked)
    assert [caption for _, _, caption in checked.figures()] == ["H% by the kit against H% by eye"]
    assert checked.check.certificate.plot().get_ylabel() == "kit minus eye [points of H%]"
    run("check", counted / "hand.csv", counted / "counts", "--camera", "s", "--keep", "--by", "ab", "--site", site)
    page = tmp_path / "totals.html"
    run("certificate", "s", "--out", page, "--site", site)
    assert page.read_text(encoding="utf-8").count('role="img"') == 1


def test_people_are_compared(tmp_path):
    rng = np.random.default_rng(2)
    rows = [
        (f"p{i}", who, 50 + 3 * i + shift + rng.integers(-1, 2), 2, 40 - 3 * i + rng.integers(-1, 2))
        for i in range(8)
        for who, shift in (("op1", 0), ("op2", 6))
        for _ in range(2)
    ]
    study = pd.DataFrame(rows, columns=["photo", "counter", "nauplii", "umbrella", "cysts"])
    study.to_csv(tmp_path / "study.csv")
    study.to_csv(tmp_path / "semicolons.csv", sep=";", index=False)
    got = run("people", tmp_path / "study.csv")
    assert got.exit_code == 0, got.output
    assert got.output.startswith("8 photos, 2 people, 2 counts each")
    assert "Two counts of the same photo by two of these 2 people lie within" in got.output
    assert run("people", tmp_path / "semicolons.csv").output == got.output
    (tmp_path / "w.csv").write_text(
        (tmp_path / "semicolons.csv").read_text().replace(";", ",").replace("\np7,op2", "\np7,op2,x", 1)
    )
    bad = run("people", tmp_path / "w.csv")
    assert str(bad.exception) == (
        f"{tmp_path / 'w.csv'}, row 32: has more cells than the heading row. Correct the row."
    )
    study.assign(nauplii="many").to_csv(tmp_path / "w.csv", index=False)
    assert str(run("people", tmp_path / "w.csv").exception) == (
        f"{tmp_path / 'w.csv'}, row 2: nauplii is 'many' and must be a number. Correct the cell."
    )


@pytest.mark.parametrize(
    "text, message",
    [
        (
            "photo,nauplii,umbrella,cysts\na,1,2,3\n",
            "{path}: the column shells must be there. Found: photo, nauplii, umbrella, cysts. Correct the heading row.",
        ),
        (
            "photo,nauplii,umbrella,cysts,shells\na,1,2,3,4\nb,1,x,3,4\n",
            "{path}, row 3: umbrella is 'x' and must be a whole number of 0 or more. Correct the cell.",
        ),
        (
            "photo,stage,x_px,y_px\na,cyst,1,2\nb,cyst,,2\n",
            "{path}, row 3: x_px is '' and must be a number. Correct the cell.",
        ),
        (
            "photo,stage,x_px,y_px\na,ghost,1,2\n",
            "{path}, row 2: unknown stage 'ghost'. Known: nauplius, umbrella, cyst, shell, debris.",
        ),
        ("photo,cyst,cysts\na,1,2\n", "{path}: the column cysts stands twice. Leave one of them out."),
        ("\n", "hand.csv: is empty. Save the sheet again."),
    ],
)
def test_wrong_hand_counts_are_said_in_full(tmp_path, text, message):
    path = tmp_path / "hand.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as error:
        read_hand_counts(path)
    assert str(error.value) == message.format(path=path)


def test_no_counts_in_the_folder(counted, tmp_path):
    with pytest.raises(InputError) as error:
        check_camera(
            counted / "hand.csv", tmp_path / "nowhere", camera="s", by="ab", made_at="2026-11-04T09:00:00+00:00"
        )
    assert str(error.value) == (
        f"{tmp_path / 'nowhere'}: no counts.csv there. Make it with  qckit count PHOTOS "
        f"--um-per-px X --out {tmp_path / 'nowhere'}"
    )


def test_certificate_is_a_page_without_links_and_with_everything_escaped(site, counted, tmp_path):
    run(
        "check",
        counted / "marks.csv",
        counted / "counts",
        "--camera",
        "<b>stereo</b>",
        "--keep",
        "--by",
        "ab",
        "--site",
        site,
    )
    page = tmp_path / "certificate.html"
    got = run("certificate", "<b>stereo</b>", "--out", page, "--site", site)
    assert got.exit_code == 0, got.output
    text = page.read_text(encoding="utf-8")
    assert "<b>stereo" not in text and "&lt;b&gt;stereo&lt;/b&gt;" in text
    assert "Check again by" in text and text.count('role="img"') == 2
    assert "<script" not in text and "src=" not in text
    again = run("certificate", "<b>stereo</b>", "--site", site)
    assert again.output.startswith("12 photos with")
    with pytest.raises(InputError, match="unknown certificate 'left'"):
        CliRunner().invoke(command, ["camera", "certificate", "left", "--site", str(site)], catch_exceptions=False)


def outcome(*args):
    """Run as the command line does: the returned number becomes the exit code."""
    return CliRunner().invoke(command, ["camera", *map(str, args)], standalone_mode=False)


def test_counting_what_touches_the_upper_and_left_edges_by_eye_is_said(site, counted):
    """Objects there are found, but not counted by the kit; a person who counts them would seem to find more."""
    objects = pd.read_csv(counted / "counts" / "objects.csv").assign(counted=True)
    rng = np.random.default_rng(1)
    hand = pd.read_csv(counted / "hand.csv")
    extra = []
    for i, photo in enumerate(hand["photo"]):
        at_edge = rng.poisson([6, 0, 3, 5])
        hand.loc[i, ["nauplii", "cysts", "shells"]] += at_edge[[0, 2, 3]]
        for stage, n in zip(("nauplius", "cyst", "shell"), at_edge[[0, 2, 3]], strict=True):
            extra += [{"photo": photo, "stage": stage, "x_px": 0, "y_px": 5 * j, "counted": False} for j in range(n)]
    pd.concat([objects, pd.DataFrame(extra)]).to_csv(counted / "counts" / "objects.csv", index=False)
    hand.to_csv(counted / "all.csv", index=False)
    got = outcome("check", counted / "all.csv", counted / "counts", "--camera", "stereo", "--keep", "--site", site)
    assert got.return_value == 1
    assert got.output.startswith("By eye more was counted than by the kit")
    assert "leave out whatever touches the left or the upper edge" in got.output
    with open_log(site) as log:
        assert log.certificates().empty


def test_a_slip_in_one_hand_count_is_named_and_not_kept(site, counted):
    hand = pd.read_csv(counted / "hand.csv")
    hand.loc[3, "nauplii"] *= 10
    hand.to_csv(counted / "slip.csv", index=False)
    got = outcome("check", counted / "slip.csv", counted / "counts", "--camera", "stereo", "--keep", "--site", site)
    assert got.return_value == 1
    assert got.output.startswith("Photo p03.jpg: ")
    assert "Kept as" not in got.output
    with open_log(site) as log:
        assert log.certificates().empty


def at_the_edges(counted, rng):
    """Objects on the left edge that the kit found and left out; how many in each photo, by stage (N, U, C, S)."""
    objects = pd.read_csv(counted / "counts" / "objects.csv").assign(counted=True)
    names = pd.read_csv(counted / "hand.csv")["photo"]
    n = rng.poisson([6, 0, 3, 5], (len(names), 4))
    extra = [
        {"photo": name, "stage": stage, "x_px": 3.0, "y_px": 3000 + 50 * (10 * k + j), "counted": False}
        for name, row in zip(names, n, strict=True)
        for k, stage in enumerate(("nauplius", "umbrella", "cyst", "shell"))
        for j in range(row[k])
    ]
    extra = pd.DataFrame(extra)
    pd.concat([objects, extra]).to_csv(counted / "counts" / "objects.csv", index=False)
    return n, extra


def test_a_slip_is_not_taken_for_objects_at_the_edges(counted):
    """One count typed tenfold makes up for as many objects as touch the edges: it alone is named."""
    n, _ = at_the_edges(counted, np.random.default_rng(2))
    hand = pd.read_csv(counted / "hand.csv")
    hand.loc[4, "cysts"] += int(n.sum())
    hand.to_csv(counted / "slip.csv", index=False)
    got = outcome("check", counted / "slip.csv", counted / "counts", "--camera", "stereo")
    assert got.return_value == 1
    lines = got.output.splitlines()
    assert lines[0].startswith("Photo p04.jpg: ") and lines[1].startswith("Without this photo: H% by photo is")
    assert "touches the left and upper edges." not in got.output and "Check again by" not in got.output
    assert f"Here the kit left out {n.sum()}." in got.output and lines[-1] == "Not to be kept."


def test_a_kit_that_misses_as_many_everywhere_is_not_told_as_edges(counted):
    n, _ = at_the_edges(counted, np.random.default_rng(3))
    hand = pd.read_csv(counted / "hand.csv")
    columns = ["nauplii", "umbrella", "cysts", "shells"]
    share = n.sum() / hand[columns].to_numpy().sum()
    hand[columns] = (hand[columns] * (1 + share)).round().astype(int)  # in proportion, whatever lies at the edges
    hand.to_csv(counted / "more.csv", index=False)
    got = check_camera(counted / "more.csv", counted / "counts", camera="s", by="ab", made_at="2026-11-04T09:00:00Z")
    assert not got.edges.were_counted


def test_marks_at_the_edges_do_not_matter(counted):
    """A person may mark what touches the left and upper edges, or leave it out: the certificate is the same."""
    _, extra = at_the_edges(counted, np.random.default_rng(4))
    marks = pd.read_csv(counted / "marks.csv").query("x_px > 60 and y_px > 60")
    marks.to_csv(counted / "inside.csv", index=False)
    seen = extra.assign(photo=extra["photo"].str.removesuffix(".jpg"))[["photo", "stage", "x_px", "y_px"]]
    unseen = seen.assign(y_px=seen["y_px"] + 25)  # and slivers that the kit does not find
    pd.concat([marks, seen, unseen.head(9)]).to_csv(counted / "everything.csv", index=False)
    given = {"camera": "s", "by": "ab", "made_at": "2026-11-04T09:00:00Z"}
    one, other = (check_camera(counted / f, counted / "counts", **given) for f in ("inside.csv", "everything.csv"))
    table, same = one.certificate.rates.table, other.certificate.rates.table
    # objects drawn at one place may be paired either way, so only what was seen and what was missed is compared
    np.testing.assert_array_equal(table.sum(axis=1), same.sum(axis=1))
    np.testing.assert_array_equal(table[:, -1], same[:, -1])
    assert one.certificate.n_objects == other.certificate.n_objects
    assert (one.edges.n_marks, other.edges.n_marks) == (0, len(seen) + 9)
    assert other.sentences[-1].startswith(f"{len(seen) + 9} marks by eye nearer than 250 µm to the left or the upper")


def test_a_camera_that_is_not_fit_is_not_offered_to_keep(site, counted):
    counts = pd.read_csv(counted / "counts" / "counts.csv")
    counts.assign(cyst=counts["cyst"] // 3).to_csv(counted / "counts" / "counts.csv", index=False)
    got = outcome("check", counted / "hand.csv", counted / "counts", "--camera", "stereo", "--site", site)
    assert got.return_value == 1 and "--keep" not in got.output
    assert got.output.splitlines()[-1].startswith("Not kept: mend what stands against this camera")


def test_photos_that_were_learnt_from_make_no_check(site, counted, monkeypatch):
    from types import SimpleNamespace

    from qckit.commands import camera
    from qckit.counting import model_key
    from qckit.counting.result import version_with

    path = counted / "camera.npz"
    path.write_bytes(b"learnt")
    model, file = SimpleNamespace(path=path, learnt_from=("sha-3", "sha-7", "sha-of-another")), counted / "counts"
    monkeypatch.setattr(camera, "_site_model", lambda _site: model)
    counts = pd.read_csv(file / "counts.csv").assign(counter_version=version_with(model_key(str(path))))
    counts["sha256"] = [f"sha-{k}" for k in range(len(counts))]
    for kept, table in (("hand.csv", counts), ("marks.csv", counts)):
        table.to_csv(file / "counts.csv", index=False)
        got = outcome("check", counted / kept, file, "--camera", "stereo", "--keep", "--site", site)
        assert got.return_value == 1 and got.output.startswith(
            "2 of the 12 photos checked are ones from which this site's models learnt (p03.jpg and p07.jpg): take them "
            "out of the table and count others by eye instead."
        )
        assert got.output.splitlines()[-1].startswith("Not kept: on photos that were learnt from")
    counts.assign(counter_version="1.0").to_csv(file / "counts.csv", index=False)  # counted by the kit's own models
    got = outcome("check", counted / "hand.csv", file, "--camera", "stereo", "--keep", "--site", site)
    assert got.return_value == 0 and "Kept as stereo" in got.output


def test_a_site_without_photos_has_none_to_settle(tmp_path):
    from qckit.log import new_site

    new_site(tmp_path / "fresh")
    asked = run("learn", "--next", "--site", tmp_path / "fresh")
    assert asked.output.strip() == (
        "No photo is counted in this site's log yet. Name photos in the sheet that you import, or let  qckit today "
        "--watch FOLDER  take them in."
    )
    with open_log(tmp_path / "fresh") as log:
        hatch = {"hatch": "H1", "lot": "L", "purpose": "production", "cone": "A", "started": "2026-11-01T09:00+00:00"}
        sample = {"sample": "S1", "hatch": "H1", "taken": "2026-11-02T09:00+00:00", "kind": "subsample"}
        log.add("lots", pd.DataFrame({"lot": ["L"]}), by="ab")
        log.add("hatches", pd.DataFrame([hatch | {"cysts_g": 20.0, "volume_ml": 20_000}]), by="ab")
        photo = {"counted_by": "photo", "photos": "a.jpg", "um_per_px": 6.2, "volume_ul": 250}
        log.add("samples", pd.DataFrame([sample | photo]), by="ab")
    words = "No photo is counted in this site's log yet. 1 photo waits: count with  qckit today --watch  or the "
    assert run("learn", "--next", "--site", tmp_path / "fresh").output.strip() == f"{words}notebook count_photos."
    assert words in str(outcome("learn", "--by", "ab", "--site", tmp_path / "fresh").exception)


def test_photos_of_a_camera_that_has_a_certificate_only(site, counted):
    assert run("check", counted / "marks.csv", counted / "counts", "--camera", "stereo", "--keep", "--site", site)
    with open_log(site) as log:
        name = log.certificates()["certificate"].iloc[0]
    assert name.startswith("stereo 20")

    def refused(camera):
        with pytest.raises(InputError) as caught, open_log(site) as log:
            photos_to_settle(log, camera=camera)
        return str(caught.value)

    assert refused("stereo") == (
        "The camera stereo has a certificate and no scale, and photos are known as a camera's by their scale. Keep it "
        "with  qckit camera scale"
    )
    assert refused(name) == f"{name} is the name of a certificate. Name its camera: --camera stereo"
    assert refused("sterio").endswith("Look the names up with  qckit camera list")
    with open_log(site) as log:
        row = {"camera": "far", "magnification": "1x", "um_per_px": 99.5, "u_um_per_px": 0.01, "set_at": log.now()}
        row |= {"method": "ruled chamber", "photo": "", "set_by": "ab", "notes": ""}
        log.add("scales", pd.DataFrame([row]), by="ab", source="test")
    assert refused("far") == "No photo in the log was counted at the scale of the camera far (99.5 µm/px)."


def test_a_check_of_few_photos_is_not_offered_to_be_kept_and_not_kept(site, counted):
    pd.read_csv(counted / "hand.csv").head(3).to_csv(counted / "few.csv", index=False)
    for more in ((), ("--keep", "--site", site)):
        got = outcome("check", counted / "few.csv", counted / "counts", "--camera", "stereo", *more)
        assert got.return_value == 1 and "Kept as" not in got.output and "To keep it" not in got.output
        assert got.output.splitlines()[-1] == (
            "Not kept: corrected by a check of 3 photos, later hatching percentages would be uncertain by about ten "
            "points or more. Count 3 more photos by eye at least (10 in all are better) and check again."
        )
    with open_log(site) as log:
        assert log.certificates().empty


def test_two_photos_exchanged_in_the_hand_counts_are_named_and_not_kept(site, counted):
    hand, counts = pd.read_csv(counted / "hand.csv"), pd.read_csv(counted / "counts" / "counts.csv")
    for frame, shells in ((hand, "shells"), (counts, "shell")):
        frame.loc[5, ["nauplii", shells]] = frame.loc[5, ["nauplii", shells]] * 2  # a photo of more
    counts.to_csv(counted / "counts" / "counts.csv", index=False)
    columns = ["nauplii", "umbrella", "cysts", "shells"]
    hand.loc[[1, 5], columns] = hand.loc[[5, 1], columns].to_numpy()
    hand.to_csv(counted / "exchanged.csv", index=False)
    got = outcome("check", counted / "exchanged.csv", counted / "counts", "--camera", "s", "--keep", "--site", site)
    assert got.return_value == 1
    assert got.output.startswith("The counts by eye of p01.jpg and p05.jpg fit each other's photo clearly better")
    with open_log(site) as log:
        assert log.certificates().empty


def test_a_kept_scale_that_is_another_than_before_is_told(site, ruled):
    keep = ["--camera", "a", "--magnification", "1x", "--by", "ab", "--site", site]
    run("scale", ruled, "--spacing-um", "1000", *keep)
    with open_log(site) as log:
        set_at = log.scales()["set_at"].iloc[0]
    time.sleep(1.1)  # scales of one camera are told apart by the second they were set at
    got = outcome("scale", ruled, "--spacing-um", "2000", *keep)
    assert got.return_value == 1
    assert got.output.splitlines()[-1] == (
        f"a 1x had 20 µm per pixel since {set_at[:10]}; this is 40. Where the camera was not changed, one of them is "
        "wrong."
    )


@pytest.mark.parametrize("spacing, why", [("1", "would span 0.016 mm"), ("20000", "a cyst would be 0.6 pixels across")])
def test_a_spacing_in_another_unit_is_no_scale(site, ruled, spacing, why):
    """Millimetres typed as micrometres gave a scale, and ten times too many were kept for the camera."""
    keep = ["--camera", "a", "--magnification", "1x", "--by", "ab", "--site", site]
    got = outcome("scale", ruled, "--spacing-um", spacing, *keep)
    assert isinstance(got.exception, InputError) and why in str(got.exception)
    assert str(got.exception).endswith(f"The spacing of {spacing} is taken as µm: 1 mm is 1000 µm.")
    with open_log(site) as log:
        assert log.scales().empty


def test_a_scale_that_another_name_has_already_is_told(site, ruled):
    keep = ["--by", "ab", "--site", site]
    run("scale", ruled, "--spacing-um", "1000", "--camera", "a", "--magnification", "4x", *keep)
    got = outcome("scale", ruled, "--spacing-um", "1005", "--camera", "a", "--magnification", "10x", *keep)
    with open_log(site) as log:
        set_at = log.scales().set_index("magnification").at["10x", "set_at"]
    assert got.return_value == 1 and got.output.splitlines()[-2:] == [
        "a 4x has the same scale: photos of the two cannot be told apart, and no certificate speaks for them. Was this "
        "photo taken through the other?",
        f"If it was kept by mistake:  qckit log withdraw scales 'a|10x|{set_at}' --reason TEXT",
    ]
    got = outcome("scale", ruled, "--spacing-um", "1500", "--camera", "A ", "--magnification", "4 x", *keep)
    assert got.return_value == 1
    assert "A 4 x is written almost like a 4x, which has a scale, too: use one name." in got.output


def test_photos_of_another_scale_than_the_cameras_make_no_certificate(site, counted, ruled):
    """Reports know a camera's photos by their scale: they would correct others by this check."""
    run("scale", ruled, "--spacing-um", "310", "--camera", "s", "--magnification", "1x", "--by", "ab", "--site", site)
    to = ["--camera", "s", "--magnification", "1x", "--by", "ab", "--site", site, "--keep"]
    got = outcome("check", counted / "hand.csv", counted / "counts", *to)
    assert got.return_value == 1
    assert got.output.splitlines()[0] == (
        "12 of the 12 photos checked have 4 µm per pixel, and the scale of s 1x is 6.2: they are another camera's or "
        "magnification's, or a scale is wrong.  qckit camera list  shows those kept."
    )
    assert got.output.splitlines()[-1] == (
        "Not kept: photos are known as a camera's by their scale, and it would correct others than these."
    )
    with open_log(site) as log:
        assert log.certificates().empty
        checked = check_for_setup(
            str(counted / "hand.csv"), str(counted / "counts"), camera="s", by="ab", made_at=log.now(), log=log
        )
        assert checked.keep(log, by="ab", approved=True) == [checked.check.why_not_kept]
        other = check_for_setup(
            str(counted / "hand.csv"), str(counted / "counts"), camera="t", by="ab", made_at=log.now(), log=log
        )
    assert other.check.may_be_kept
