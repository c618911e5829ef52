"""A folder of odd and bad photos in one count: sound ones counted, bad ones named, nothing stopped."""

import builtins
import io
import logging
import os
import resource
import signal
import struct
import subprocess
import sys
import time
import zlib

import fuzz_photos
import numpy as np
import pandas as pd
import pytest
from clumsy_photos import clumsy_photos, put_special
from odd_photos import BAD, FLAWED, SOUND, encoded, odd_photos, special_files
from photo_bed import photo_bed
from PIL import Image
from rare_photos import put_rare, rare_photos, tiffs
from scipy.ndimage import gaussian_filter
from seeds import SEEDS

from qckit.counting import count_photo, count_photos
from qckit.counting.batch import isolated
from qckit.counting.batch.run import checked_name
from qckit.counting.damage import grain
from qckit.counting.damage.cuts import look_again, surest_cut, suspect_rows
from qckit.counting.damage.grain import find_other_grain
from qckit.counting.damage.integrity import signs_in_pixels
from qckit.counting.damage.mirrors import is_mirrored
from qckit.counting.damage.repeated_parts import _commonest, _fine, _fine_around, find_twins
from qckit.counting.damage.row_steps import count_per_row
from qckit.counting.damage.row_steps import turned as turned_rows
from qckit.counting.damage.seams import USUAL, _by_phase, _may_stand_out, find_break, find_seam
from qckit.counting.damage.tints import find_tint
from qckit.counting.pipeline import finest_scale
from qckit.errors import InputError
from qckit.files import neutralise, sweep, whole, write_csv
from qckit.photo import find_photos, photo_names, read_photo, read_scales, reading


def test_one_folder_of_everything(tmp_path, sound, rng, run):
    pixels, scale = sound
    made = odd_photos(pixels, rng)
    for name, (_, data) in made.items():
        (tmp_path / name).write_bytes(data)
    expected = {name: kind for name, (kind, _) in made.items()} | special_files(tmp_path)
    (tmp_path / os.fsdecode(b"caf\xe9.png")).write_bytes(made["sound.png"][1])
    expected["caf\\xe9.png"] = SOUND
    start = time.monotonic()
    code, _, err = run("count", tmp_path, "--um-per-px", scale, "--out", tmp_path / "counts")
    assert code == 1
    assert time.monotonic() - start < 300
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss < 1.5e6  # KiB
    counts = pd.read_csv(tmp_path / "counts" / "counts.csv", keep_default_na=False).set_index("photo")
    names = {n: n.replace("=cmd", "'=cmd") for n in expected}
    wrong = [n for n, kind in expected.items() if kind == SOUND and names[n] not in counts.index]
    wrong += [n for n, kind in expected.items() if kind == BAD and names[n] in counts.index]
    wrong += [n for n, k in expected.items() if k == FLAWED and n in counts.index and not counts.loc[n, "flags"]]
    assert wrong == []
    same = counts.loc[[names[n] for n, k in expected.items() if k == SOUND], ["nauplii", "cyst", "shell"]]
    assert (same - same.loc["sound.png"]).abs().max().max() <= 2  # JPEG and turning move a doubtful one
    for line in [line for line in err.splitlines() if line.startswith("not counted")]:
        assert line.isprintable()
    assert err.count("not counted: ") == len(expected) - len(counts)


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_the_whole_bed(tmp_path, sound, run, seed):
    pixels, scale = sound
    made = photo_bed(pixels, seed)
    assert len(made) > 370
    for name, (_, data) in made.items():
        (tmp_path / name).write_bytes(data)
    code, _, err = run("count", tmp_path, "--um-per-px", scale, "--out", tmp_path / "counts", "--no-checked")
    counts = pd.read_csv(tmp_path / "counts" / "counts.csv", keep_default_na=False).set_index("photo")
    names = {n: neutralise(n) for n in made}
    stages = ["nauplii", "cyst", "shell"]
    usual, whole = counts.loc["sound.png", stages], counts.loc["a whole photo.jpg", stages]
    wrong = []
    for name, (kind, _) in made.items():
        there = names[name] in counts.index
        row = counts.loc[names[name]] if there else None
        if (kind == SOUND and not there) or (kind == BAD and there):
            wrong.append(name)
        elif kind == SOUND and name != "a whole photo.jpg":
            wrong += [name] if (row[stages] - usual).abs().max() > 2 else []
        elif kind == FLAWED and there and not row["flags"] and name.startswith("lie "):
            wrong += [name] if abs(row[stages].sum() - whole.sum()) > 0.1 * whole.sum() else []
    assert (code, wrong) == (1, [])
    assert err.count("not counted: ") == len(made) - len(counts)


def wrong_of_bed(folder, made, special, scale, run):
    """Count the third or fourth bed; return what is not as expected."""
    for name, (_, data) in made.items():
        (folder / name).write_bytes(data)
    code, _, err = run("count", folder, "--um-per-px", scale, "--out", folder / "counts", "--no-checked")
    counts = pd.read_csv(folder / "counts" / "counts.csv", keep_default_na=False).set_index("photo")
    expected = {name: kind for name, (kind, _) in made.items()} | special
    stages = ["nauplii", "cyst", "shell"]
    wrong = sorted(set(counts.index) - set(expected))
    for name, kind in expected.items():
        there = name in counts.index
        apart = (counts.loc[name, stages] - counts.loc["sound.png", stages]).abs().max() if there else 0
        if (
            (kind == SOUND and (not there or apart > 2))
            or (kind == BAD and there)
            or (there and apart > 2 and not counts.loc[name, "flags"])
        ):
            wrong.append(name)
    bad = [n for n in expected if n not in counts.index]
    wrong += [n for n in bad if f"not counted: {n}: " not in err]
    assert code == 1 and err.count("not counted: ") == len(bad)
    return wrong


@pytest.mark.part
def test_a_part_of_the_third_bed(tmp_path, sound, run):
    pixels, scale = sound
    made = clumsy_photos(pixels)
    part = dict(list(made.items())[::6]) | {"sound.png": made["sound.png"]}
    assert wrong_of_bed(tmp_path, part, put_special(tmp_path, pixels), scale, run) == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("bed", "put", "least"),
    [(clumsy_photos, put_special, 60), (rare_photos, put_rare, 150)],
    ids=["third_bed", "fourth_bed"],
)
def test_a_whole_further_bed(tmp_path, sound, run, bed, put, least, seed):
    pixels, scale = sound
    made = bed(pixels, seed)
    assert len(made) >= least
    assert wrong_of_bed(tmp_path, made, put(tmp_path, pixels), scale, run) == []


def test_decoders_print_and_log_nothing(tmp_path, sound, capfd, caplog):
    made = tiffs(sound[0][:64, :64])
    for name in ("compressed as LZW, is not", "compressed as JPEG, is not", "of no colour", "no offsets"):
        (tmp_path / "a.tif").write_bytes(made[f"{name}.tif"][1])
        with pytest.raises(InputError) as raised:
            read_photo(tmp_path / "a.tif")
        assert str(raised.value).startswith("a.tif: the ") and "decoder error" not in str(raised.value)
    assert (*capfd.readouterr(), caplog.records) == ("", "", [])
    os.write(2, b"heard again")
    logging.getLogger("tifffile").warning("of another's file")
    assert (capfd.readouterr().err[:11], len(caplog.records)) == ("heard again", 1)


def test_a_carriage_return_in_a_name_ends_no_row(tmp_path):
    frame = pd.DataFrame({"photo": ["a\rb", "\r", "c"], "n": [1, 2, 3], "part": [0.5, np.nan, 1.0]})
    write_csv(tmp_path / "a.csv", frame)
    pd.testing.assert_frame_equal(pd.read_csv(tmp_path / "a.csv"), frame)


def test_drawn_pictures_are_never_counted(tmp_path, sound, run):
    pixels, scale = sound
    (tmp_path / "a.png").write_bytes(encoded(pixels, "PNG"))
    _, first, _ = run("count", tmp_path, "--um-per-px", scale, "--out", tmp_path / "counts")
    again = run("count", tmp_path, "--um-per-px", scale, "--out", tmp_path / "counts")
    assert again[1] == first and "1 photo counted" in first
    _, out, _ = run("count", tmp_path, "--um-per-px", scale, "--out", tmp_path / "other")
    assert "1 photo counted" in out
    assert f"note: {tmp_path}/counts/checked was not searched" in out
    drawn = tmp_path / "counts" / "checked" / "a.png.jpg"
    with pytest.raises(InputError, match="is a picture that qckit drew, not a photo"):
        read_photo(drawn)
    inside = tmp_path / "counts"
    _, out, _ = run("count", tmp_path, "--um-per-px", scale, "--out", tmp_path)  # results beside the photos
    assert "1 photo counted" in out
    assert find_photos([tmp_path], results=inside) == [tmp_path / "a.png"]


def test_no_helper_program_is_started(tmp_path, monkeypatch, sound):
    import subprocess

    monkeypatch.setattr(subprocess, "Popen", lambda *a, **k: pytest.fail("a program was started"))
    monkeypatch.setattr(os, "system", lambda *a: pytest.fail("a program was started"))
    for start in (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n", b"\xd7\xcd\xc6\x9a" + b"\0" * 80):
        (tmp_path / "a.jpg").write_bytes(start)
        with pytest.raises(InputError, match="Give a JPEG, PNG, TIFF or HEIC photo"):
            read_photo(tmp_path / "a.jpg")


def test_any_flipped_bit_of_a_png_is_noticed(tmp_path, rng):
    data = encoded(rng.integers(0, 256, (60, 70, 3), dtype=np.uint8), "PNG", compress_level=1)
    for at in rng.integers(33, len(data) - 12, 60):
        wrong = bytearray(data)
        wrong[at] ^= 1 << int(rng.integers(8))
        (tmp_path / "a.png").write_bytes(wrong)
        with pytest.raises(InputError, match="the picture is damaged"):
            read_photo(tmp_path / "a.png")


FAULTS = [
    *(kind for kind in vars(builtins).values() if isinstance(kind, type) and issubclass(kind, Exception)),
    struct.error,
    zlib.error,
]


@pytest.mark.parametrize("kind", FAULTS)
def test_what_a_decoder_falls_over_is_said_plainly(tmp_path, monkeypatch, kind):
    arguments = {"UnicodeDecodeError": ("x", b"", 0, 1, "y"), "UnicodeEncodeError": ("x", "", 0, 1, "y")}
    arguments |= {"UnicodeTranslateError": ("", 0, 1, "y"), "ExceptionGroup": ("x", [ValueError("y")])}

    def fall_over(*_):
        raise kind(*arguments.get(kind.__name__, ("'Strips' of 0x7f",)))

    monkeypatch.setattr(reading, "read_pillow", fall_over)
    Image.new("RGB", (9, 9)).save(tmp_path / "a.png")
    with pytest.raises(InputError) as raised:
        read_photo(tmp_path / "a.png")
    text = str(raised.value)
    assert text.startswith(("a.png: the picture is damaged (", "a.png: the picture does not fit into memory"))
    assert kind.__name__ not in text and text.endswith((" again.", " smaller."))
    if not issubclass(kind, (OSError, SyntaxError)):
        assert "0x7f" not in text


def test_a_fault_of_the_kit_costs_one_photo_and_says_where(tmp_path, sound, monkeypatch):
    pixels, scale = sound
    (tmp_path / "a.png").write_bytes(encoded(pixels, "PNG"))
    monkeypatch.setattr("qckit.counting.pipeline.judge_photo", lambda *a, **k: {}["signs"])
    failures = count_photos(tmp_path, scale).failures
    assert failures.message[0].startswith(
        "a.png: could not be counted, by a fault of the kit (qckit/counting/pipeline.py, line "
    )
    assert "KeyError" not in failures.message[0]


def test_links_keep_their_names(tmp_path, sound):
    pixels, scale = sound
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "IMG_1.png").write_bytes(encoded(pixels, "PNG"))
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "sample 1.png").symlink_to(tmp_path / "store" / "IMG_1.png")
    assert count_photos(tmp_path / "in", scale).counts.photo.tolist() == ["sample 1.png"]


def test_names_of_one_folder_stay_short(tmp_path):
    paths = [tmp_path / "stem.jpg", tmp_path / "stem.JPG", tmp_path / "x" / "a.png", tmp_path / "y" / "A.png"]
    assert photo_names(paths) == ["stem.jpg", "stem.JPG", "x/a.png", "y/A.png"]
    long = ["n" * 250 + ".png", "n" * 251 + ".png", "é" * 124 + ".jpg"]
    assert len({checked_name(n) for n in long}) == 3
    assert max(len(checked_name(n).encode()) for n in long) <= 200


@pytest.mark.parametrize("mark", ["\u2028", "\u0085", "\n", "\x0b", "\x0c", "\x1c"])
def test_scales_of_names_with_line_breaks(tmp_path, mark):
    (tmp_path / "s.csv").write_text(f'photo,um_per_px\n"a{mark}b.jpg",5\nc.jpg,6\n', encoding="utf-8", newline="")
    scales = read_scales(tmp_path / "s.csv")
    assert [scales.scale_for(n) for n in (f"a{mark}b.jpg", "c.jpg")] == [5, 6]


def test_a_photo_without_scale_costs_only_itself(tmp_path, sound, run):
    pixels, scale = sound
    for name in ("a.png", "b.png", "c.png", "d.png"):
        (tmp_path / name).write_bytes(encoded(pixels[: 300 + ord(name[0])], "PNG"))
    (tmp_path / "s.csv").write_text(f"photo,um_per_px\na.png,{scale}\nb.png,{scale * 10}\nc.png,five\n")
    code, out, err = run("count", tmp_path, "--scales", tmp_path / "s.csv", "--out", tmp_path / "o")
    assert (code, out[:15]) == (1, "1 photo counted")
    assert "not counted: b.png: at 52.1 µm per pixel a cyst would be 4.4 pixels across" in err
    assert "not counted: s.csv, row 4 (photo c.png): um_per_px is 'five'" in err
    assert "not counted: s.csv: no scale for d.png." in err


@pytest.mark.parametrize("scale", [134.4, 41, 0.05])
def test_a_slipped_decimal_point_is_refused_before_work(tmp_path, run, scale):
    Image.new("RGB", (3000, 2000), (200, 200, 200)).save(tmp_path / "a.png")
    start = time.process_time()
    code, _, err = run("count", tmp_path, "--um-per-px", scale, "--out", tmp_path / "o")
    assert code == 2 and "Look at the decimal point of the" in err
    assert time.process_time() - start < 5
    assert not (tmp_path / "o" / "counts.csv").exists() or scale < 1


def test_a_photo_too_large_for_its_scale(tmp_path):
    with pytest.raises(InputError, match=r"megapixels. Look at the decimal point of the scale, or cut the photo"):
        from qckit.counting.bounds import check_countable

        check_countable(8000, 6000, 39.0, finest_um_per_px=12.0, where="a.jpg")


class Job:
    def __init__(self, name):
        self.name = name


def misbehave(job):
    """Do what a decoder might."""
    if job.name == "hang":
        time.sleep(60)
    if job.name == "spin":
        while True:
            pass
    if job.name == "crash":
        os._exit(11)
    if job.name == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    if job.name == "memory":
        try:
            return len(np.ones(10**10, np.uint8))
        except MemoryError:
            return "memory was refused"
    if job.name == "fault":
        raise OSError(28, "disk full")
    return f"{job.name} counted"


@pytest.mark.parametrize("workers", [1, 3])
def test_what_a_photo_does_costs_only_itself(monkeypatch, workers):
    monkeypatch.setattr(isolated, "CPU_S", 1)
    jobs = [Job(n) for n in ("a", "b", "spin", "crash", "c", "killed", "memory", "d")]
    got = dict(isolated.run_isolated(jobs, misbehave, workers=workers))
    assert sorted(got) == list(range(8))
    assert [got[i] for i in (0, 1, 4, 7)] == ["a counted", "b counted", "c counted", "d counted"]
    assert "1 s of computing" in got[2] and "broke down (11)" in got[3]
    assert "memory runs out" in got[5] and got[6] == "memory was refused"


def test_a_photo_that_never_comes_is_given_up(monkeypatch):
    monkeypatch.setattr(isolated, "WALL_S", 2.0)
    got = dict(isolated.run_isolated([Job("hang"), Job("a")], misbehave, workers=1))
    assert "no answer came" in got[0] and got[1] == "a counted"


def grow(job):
    """Fill the memory step by step, or compute without end."""
    held = []
    while job.name != "a":
        if job.name == "memory":
            held.append(np.ones(20 * 2**20, np.uint8))
            time.sleep(0.05)
    return f"{job.name} counted"


def test_photos_are_watched_where_the_system_sets_no_limits(monkeypatch):
    monkeypatch.setattr(isolated, "ON_LINUX", False)
    monkeypatch.setattr(isolated, "CPU_S", 5)
    monkeypatch.setattr(isolated, "MEMORY_MB", 600)
    monkeypatch.setattr(isolated, "WATCH_S", 0.1)
    jobs = [Job("a"), Job("spin"), Job("memory"), Job("a")]
    got = dict(isolated.run_isolated(jobs, grow, workers=1))
    assert got[0] == got[3] == "a counted"
    assert "5 s of computing" in got[1] and "GB of memory" in got[2]


@pytest.mark.slow
def test_photos_are_counted_where_nothing_watches(monkeypatch):
    monkeypatch.setitem(sys.modules, "psutil", None)  # not installed
    monkeypatch.setattr(isolated, "ON_LINUX", False)
    got = []
    answers = isolated.run_isolated([Job("a"), Job("hang"), Job("b")], misbehave, workers=1)
    for patience_s in (100.0, 2.0, 100.0):  # a process that loads anew takes its time on a busy machine
        monkeypatch.setattr(isolated, "WALL_S", patience_s)
        got.append(next(answers))
    got = dict(got)
    assert next(answers, None) is None
    assert got[0] == "a counted" and got[2] == "b counted" and "no answer came" in got[1]


@pytest.mark.parametrize("platform", ["win32", "darwin"])
def test_photos_are_counted_where_linux_has_no_part(tmp_path, platform, sound):
    """As on Windows or macOS: processes that load anew, no ``resource``, and on Windows no signals but its own."""
    pixels, scale = sound
    for name in ("a.png", "b.png"):
        (tmp_path / name).write_bytes(encoded(pixels[:300, :300], "PNG"))
    (tmp_path / "c.png").write_bytes(b"no photo")
    script = tmp_path / "elsewhere.py"
    script.write_text(
        "import sys, signal, multiprocessing.connection, numpy, pandas, psutil\n"
        + f"sys.platform = {platform!r}\nsys.modules['resource'] = None\n"
        + ("".join(f"del signal.{name}\n" for name in ("SIGKILL", "SIGXCPU", "SIGHUP")) if platform == "win32" else "")
        + "from qckit.counting import count_photos\nfrom qckit.counting.batch import isolated\n"
        + "from qckit.files import sweep\n"
        + "sys.platform = 'linux'\n"  # the kit has read it; the library of processes asks again
        + f"assert not isolated.ON_LINUX\nsweep({str(tmp_path)!r})\n"
        + f"counted = count_photos({str(tmp_path)!r}, {scale}, workers=2)\n"
        + "print(counted.counts.photo.tolist(), counted.failures.photo.tolist())\n"
    )
    done = subprocess.run([sys.executable, script], cwd=tmp_path, capture_output=True, text=True, timeout=200)
    assert (done.stderr, done.stdout) == ("", "['a.png', 'b.png'] ['c.png']\n")


def test_a_script_is_not_run_again_by_its_processes(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(
        "print('begun')\nfrom pathlib import Path\n"
        "from qckit import counting\nfrom qckit.counting.batch import isolated\n"
        "isolated.ON_LINUX = False\ncounted = counting.count_photos([Path('a.jpg'), Path('b.jpg')], 6.2, workers=2)\n"
        "print(len(counted.failures), counted.failures.message[0])\n"
    )
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / name).write_bytes(b"no photo")
    done = subprocess.run([sys.executable, script], cwd=tmp_path, capture_output=True, text=True, timeout=120)
    assert done.stderr == "" and done.stdout.startswith("begun\n2 ") and done.stdout.count("begun") == 1


def test_a_full_disk_stops_all():
    with pytest.raises(OSError, match="disk full"):
        list(isolated.run_isolated([Job("a"), Job("fault"), Job("b")], misbehave, workers=2))


def test_passing_files_of_killed_programs_go(tmp_path):
    with whole(tmp_path / "a.json") as passing:
        mine = passing.name
        passing.write_text("x")
        sweep(tmp_path)
        assert passing.exists()  # its program runs
    dead = tmp_path / mine.replace(f"-{os.getpid()}-", "-4194300-")
    dead.write_text("left over")
    old = tmp_path / ".123.part"
    old.write_text("left over")
    os.utime(old, (0, 0))
    sweep(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


def codes(path, scale):
    """Count a photo; return the codes of its flags."""
    return {f.code for f in count_photo(path, um_per_px=scale).flags}


LIES = ("frozen", "squeezed", "cut", "two_scales", "repeated_rows", "shifted_rows", "foreign_block", "repeated_block")


@pytest.mark.parametrize("damage", LIES)
def test_a_photo_that_lies_is_flagged(tmp_path, rng, damage):
    _, pixels, scale = next(p for p in fuzz_photos.pieces() if p[0] == "bright-02")
    (tmp_path / "sound.jpg").write_bytes(fuzz_photos._jpeg(pixels))
    before = count_photo(tmp_path / "sound.jpg", um_per_px=scale)
    assert "damaged" not in {f.code for f in before.flags}
    silent = 0
    for _ in range(3):
        (tmp_path / "a.jpg").write_bytes(getattr(fuzz_photos, damage)(pixels, rng))
        after = count_photo(tmp_path / "a.jpg", um_per_px=scale)
        silent += not after.flags and fuzz_photos.apart(before.counts, after.counts)
    assert silent == 0


@pytest.fixture(scope="module")
def noisy():
    """Give a picture of a lens's making: smooth bodies, level light, grain."""
    rng = np.random.default_rng(5)
    plain = np.full((480, 640), 180.0)
    for y, x in rng.uniform(30, [450, 610], (24, 2)):
        plain[int(y) - 9 : int(y) + 9, int(x) - 14 : int(x) + 14] = 90
    plain = gaussian_filter(plain, 2.0) + np.linspace(0, 12, 640)
    return np.clip(plain + rng.normal(0, 2, plain.shape), 0, 255).astype(np.uint8)


def test_a_seam_is_found_and_a_ruled_line_is_none(noisy):
    assert find_seam(noisy) is None and find_seam(np.ascontiguousarray(noisy.T)) is None
    torn = noisy.copy()
    torn[200:] = np.roll(torn[200:], 150, axis=1)
    assert find_seam(torn) == 200  # the last row that belongs to those above
    block = noisy.copy()
    block[150:300, 200:460] = noisy[300:450, 330:590] - 12
    assert find_seam(block) in (150, 300)
    ruled = noisy.astype(float)
    for at in (80, 83, 240, 243, 400, 403):
        ruled[at : at + 2] -= 60
    ruled = gaussian_filter(ruled, 0.8)
    assert find_seam(np.clip(ruled, 0, 255).astype(np.uint8)) is None


def bodies_cut_at(row, rng, *, tilt=0.0):
    """Draw bodies as a lens does, eight of which end along one row, or along a line that leans."""
    y, x = np.mgrid[:640, :800].astype(float)
    plain = np.full((640, 800), 200.0)
    for cy, cx in rng.uniform(40, [600, 760], (30, 2)):
        plain[np.hypot(y - cy, x - cx) < 24] = 110
    if row:
        upper = y <= row + tilt * (x - 400)
        for cx in range(60, 800, 95):
            plain[upper & (np.hypot(y - row, x - cx) < 24)] = 110
            plain[~upper & (np.hypot(y - row, x - cx) < 24)] = 200
    soft = gaussian_filter(plain, 1.6)
    if row and not tilt:  # as taken, then cut: the part below is another picture
        soft[row + 1 :] = gaussian_filter(np.where(y > row, plain, 200.0), 1.6)[row + 1 :]
        whole = plain.copy()
        for cx in range(60, 800, 95):
            whole[np.hypot(y - row, x - cx) < 24] = 110
        soft[: row + 1] = gaussian_filter(whole, 1.6)[: row + 1]
    return np.clip(soft + rng.normal(0, 1.5, soft.shape), 0, 255).astype(np.uint8)


def cuts_in(values, *, reduced=False):
    """Return what rows are suspected, without the rules for seams."""
    found = []
    for reach in (1, 2):
        found += suspect_rows(values, reach, reduced=reduced)
    return found


def test_bodies_that_end_along_one_row(rng):
    torn, sound, leaning = (bodies_cut_at(r, rng, tilt=t) for r, t in ((320, 0), (0, 0), (320, 0.04)))
    assert surest_cut(cuts_in(torn), []) == ("row", 320)
    assert surest_cut([], cuts_in(torn)) == ("column", 320)
    for values in (sound, leaning):
        assert surest_cut(cuts_in(values), []) is None


@pytest.mark.parametrize("row", [320, 321])
def test_a_cut_in_a_reduced_photo_is_looked_at_in_its_own_pixels(rng, row):
    for full, expected in ((bodies_cut_at(row, rng), ("row", row)), (bodies_cut_at(0, rng), None)):
        half = full.reshape(320, 2, 400, 2).mean(axis=(1, 3)).astype(np.uint8)
        suspects = cuts_in(half, reduced=True)
        assert (expected is None or suspects) and surest_cut(look_again(suspects, 2.0, full), []) == expected


def test_a_photo_whose_file_is_gone_since_it_was_read(tmp_path, sound):
    pixels, scale = sound
    (tmp_path / "a.jpg").write_bytes(encoded(pixels, "JPEG", quality=92))
    photo = read_photo(tmp_path / "a.jpg", um_per_px=scale, finest_um_per_px=finest_scale())
    before = count_photo(tmp_path / "a.jpg", um_per_px=scale).counts
    (tmp_path / "a.jpg").unlink()
    assert photo.reduction == 2
    assert count_photo(tmp_path / "a.jpg", um_per_px=scale, photo=photo).counts == before


def test_a_photo_of_few_bodies_that_is_squeezed(tmp_path):
    _, pixels, scale = next(p for p in fuzz_photos.pieces() if p[0] == "dark-08")
    image = Image.fromarray(pixels)
    for size, flagged in ((image.size, False), ((400, 800), True), ((800, 400), True)):
        image.resize(size).save(tmp_path / "a.jpg", quality=90)
        assert ("damaged" in codes(tmp_path / "a.jpg", scale)) == flagged


def turned(values):
    return np.ascontiguousarray(values.T)


def test_rows_that_do_not_go_on(noisy):
    rng = np.random.default_rng(7)
    for y, x in rng.uniform(40, [440, 600], (90, 2)):  # so many that every row has some
        noisy = noisy.copy()
        noisy[int(y) - 8 : int(y) + 8, int(x) - 8 : int(x) + 8] = 120
    noisy = gaussian_filter(noisy.astype(float), 1.5).astype(np.uint8)
    assert find_break(noisy) is None and find_break(turned(noisy)) is None
    torn = noisy.copy()
    torn[200:] = np.roll(torn[200:], 150, axis=1)
    assert find_break(torn) == 200 and find_break(turned(torn)) is None
    torn[200] = (torn[199] / 2 + torn[201] / 2).astype(np.uint8)  # as a decoder that reduces mixes two rows
    assert abs(find_break(torn) - 200) <= 1


def _change_without_light(green):
    """Whether the grain alone would tell two parts apart."""
    _, two, _, _ = grain._activity(green)
    plain = two <= grain.PLAIN * np.median(two)
    return grain._change(np.log(two).T, plain.T, grain.STRONGER) is not None


def test_another_grain(noisy):
    assert find_other_grain(noisy) == ""
    large = np.asarray(Image.fromarray(noisy).resize((1280, 960)))
    two = noisy.copy()
    two[:, 320:] = large[:480, 320:640]
    assert find_other_grain(two) == "its grain is another beyond column 312"
    assert "beyond row" in find_other_grain(turned(two))
    brighter = np.clip(noisy + np.linspace(0, 60, 640), 0, 255)  # light that falls off makes no line
    grainy = np.clip(brighter + np.random.default_rng(1).normal(0, 1, noisy.shape) * np.linspace(0, 4, 640), 0, 255)
    assert find_other_grain(grainy.astype(np.uint8)) == ""
    bench = np.clip(noisy.astype(float) * 0.4 + np.random.default_rng(3).normal(0, 5, noisy.shape), 0, 255)
    dish = noisy.copy()
    dish[:, 320:] = bench[:, 320:].astype(np.uint8)  # a dark bench beyond a bright dish: light itself differs
    assert find_other_grain(dish) == ""
    assert _change_without_light(dish)
    noise = noisy.copy()
    noise[100:260, 60:300] = np.random.default_rng(2).integers(0, 256, (160, 240))
    assert "is noise" in find_other_grain(noise)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("shape", [(0, 0), (1, 1), (1, 5000), (5000, 1), (2, 2), (30, 30), (97, 100)])
def test_pictures_of_hardly_any_pixels_say_nothing(shape):
    assert signs_in_pixels(np.random.default_rng(3).integers(120, 130, (*shape, 3), dtype=np.uint8)) == []


@pytest.mark.parametrize("width", [3, 10, 40, 60_000])
def test_a_break_in_pictures_of_odd_widths(width):
    rows = np.random.default_rng(5).integers(60, 200, (60, min(width, 500)))
    picture = np.repeat(np.tile(rows, (1, -(-width // rows.shape[1])))[:, :width], 8, axis=0).astype(np.uint8)
    found = find_break(picture)
    assert found is None or found % 8 == 0  # never between rows that are alike


def test_most_of_a_photo_that_stands_still(noisy):
    still = noisy.copy()
    still[60:] = still[60]
    assert "rows 61 to 480" in " ".join(signs_in_pixels(np.repeat(still[..., None], 3, axis=2)))


def test_columns_that_stand_still_over_most_of_a_compressed_photo(tmp_path, rng):
    wires = np.zeros((480, 640))
    wires[:, ::13], wires[::11] = 90, 70
    mesh = np.clip(gaussian_filter(160 - wires, 1.2) + rng.normal(0, 3, wires.shape), 0, 255).astype(np.uint8)
    colours = np.repeat(mesh[..., None], 3, axis=2)
    assert signs_in_pixels(colours) == []
    colours[:, 260:] = colours[:, 260:261]
    still = np.asarray(Image.open(io.BytesIO(encoded(colours, "JPEG", quality=90))))
    assert any("columns 26" in sign and "one and the same" in sign for sign in signs_in_pixels(still))


def test_colour_that_changes_along_a_row(noisy):
    colours = np.dstack([noisy, noisy // 2 + 80, noisy // 3 + 60])
    assert find_tint(colours) is None and find_tint(colours.swapaxes(0, 1)) is None
    ruled = colours.copy()
    ruled[200:203], ruled[:, 300:303] = (90, 90, 90), (90, 90, 90)
    assert find_tint(ruled) is None
    slow = np.clip(colours + np.linspace(0, 40, 480)[:, None, None] * [1, 0, -1], 0, 255).astype(np.uint8)
    assert find_tint(slow) is None
    half = colours.copy()
    half[240:, :300, 2] += 30  # a body's or a rim's edge
    assert find_tint(half) is None
    lost = colours.astype(int)
    lost[336:, :, 2] += 9
    lost[328:336, 400:, 2] += 9  # it begins within a row of blocks
    lost = np.clip(lost, 0, 255).astype(np.uint8)
    assert abs(find_tint(lost) - 336) <= 16 and find_tint(lost.swapaxes(0, 1)) is None


def test_a_photo_mirrored_beside_itself(noisy):
    assert not is_mirrored(noisy) and not is_mirrored(turned(noisy))
    mirrored = np.concatenate([noisy[:, :400], noisy[:, 200:400][:, ::-1]], axis=1)
    assert is_mirrored(mirrored) and not is_mirrored(turned(mirrored))
    assert not is_mirrored(noisy[:, ::-1]) and not is_mirrored(noisy[:100])
    lossy = np.asarray(Image.open(io.BytesIO(encoded(mirrored, "JPEG", quality=80))))
    assert is_mirrored(lossy)


def test_a_part_without_objects_that_stands_there_twice(noisy):
    twice = noisy.copy()
    twice[150:450, 30:330] = noisy[20:320, 280:580]
    y, x = np.array([20.0, 40.0]), np.array([500.0, 600.0])
    assert find_twins(noisy, y, x) == ""
    assert "stands in it twice" in find_twins(twice, y, x)


def test_objects_that_stand_there_twice(noisy):
    rng = np.random.default_rng(6)
    y, x = rng.uniform(30, 450, 20), rng.uniform(30, 600, 20)
    assert find_twins(noisy, y, x) == ""
    twice = noisy.copy()
    twice[300:400] = noisy[100:200]
    y[:3], x[:3] = [150, 350, 60], [300, 300, 500]
    assert "stands in it twice" in find_twins(twice, y, x)


def test_no_sound_photo_is_taken_for_damaged(tmp_path):
    for name, pixels, scale in list(fuzz_photos.pieces())[::3]:
        (tmp_path / "a.jpg").write_bytes(fuzz_photos._jpeg(pixels))
        assert "damaged" not in codes(tmp_path / "a.jpg", scale), name


@pytest.mark.parametrize("shape", [(0, 0), (1, 5), (97, 100), (70, 1024), (130, 2048)])
def test_rows_turned_to_columns(rng, shape):
    values = rng.integers(0, 256, shape, dtype=np.uint8)
    assert np.array_equal(turned_rows(values), values.T) and turned_rows(values).flags.c_contiguous


@pytest.mark.parametrize("width", [1, 8, 13, 2040, 2048, 6003])
def test_marks_counted_in_each_row(rng, width):
    which = rng.random((5, width)) < 0.9
    assert count_per_row(which).tolist() == which.sum(axis=1).tolist()


def test_no_count_that_stands_out_is_passed_over(rng):
    most, least_z, found = 96, 15.0, 0
    for level in (0.01, 0.1, 0.2, 0.4):
        for extra in range(0, 96, 6):
            n = rng.binomial(most, level, (203, 5)).astype(np.uint16)
            n[120, 2] = min(most, n[120, 2] + extra)
            usual = _by_phase(n.astype(np.float32), USUAL)
            scatter = np.sqrt(np.maximum(usual * (1 - usual / most), 0.05 * most))
            stands_out = bool(((n - usual) / scatter > least_z).any())
            found += stands_out
            assert _may_stand_out(n, most, least_z) or not stands_out
    assert found > 10


def test_distances_that_many_objects_share(rng):
    values = np.concatenate([rng.integers(0, 10**7, 5000), np.repeat([77, 5, 9], [4, 6, 4]), [1, 1]]).astype(np.int32)
    known, times = np.unique(values, return_counts=True)
    expected = [v for _, v in sorted((-n, v) for n, v in zip(times, known) if n >= 3)]
    assert _commonest(rng.permutation(values), 3).tolist() == expected and expected[:3] == [5, 9, 77]


def test_fine_detail_at_crops_is_that_of_the_whole(noisy):
    r, c = np.array([16, 100, 464]), np.array([624, 200, 16])
    crops = _fine_around(noisy, r, c, 16)
    for crop, y, x in zip(crops, r, c, strict=True):
        assert np.array_equal(crop, _fine(noisy)[y - 16 : y + 16, x - 16 : x + 16])
