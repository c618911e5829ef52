"""Killed (kill -9) at random points of imports, counts and their recording: all of a step or none, and a rerun completes it."""

# ruff: noqa: E501  whole messages

import json
import os
import random
import signal
import sqlite3
import time
import traceback
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from invented_log import HATCHES, LOTS, NOW, SAMPLES, enter_day, whole
from PIL import Image, ImageDraw

from qckit.counting.batch import earlier, isolated
from qckit.counting.batch import run as batch
from qckit.log import new_site, open_log
from qckit.log.counted import read_counted
from qckit.log.store import SiteLog

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork, which this system does not have"),
]

N_KILLS, N_KILLS_COUNTING = 210, 70  # a killed count costs seconds: each photo is counted in a process of its own
LEAST_MET = 3  # times that each phase must be met
UM_PER_PX = 6.2


def killed_after(seconds, action):
    """Run an action in a process of its own and kill it there, if it has not ended."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            action()
            code = 0
        except Exception:  # noqa: BLE001  the parent is told by the exit code
            traceback.print_exc()
        finally:
            os._exit(code)
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0, "the worker failed by itself: see its traceback"


def killed_at(owner, name, nth, action):
    """Run an action in a process of its own, which kills itself at the nth call of a function."""
    child = os.fork()
    if child == 0:
        plain, calls = getattr(owner, name), 0

        def last_call(*arguments, **options):
            nonlocal calls
            calls += 1
            if calls == nth:
                os.kill(os.getpid(), signal.SIGKILL)
            return plain(*arguments, **options)

        try:
            setattr(owner, name, last_call)
            action()
        finally:
            os._exit(1)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL, f"the worker never came to {name}"


def kill_often(rng, span, enter, state_of, states, *, doors, n_kills=N_KILLS):
    """Kill a worker, which enters one day after the other, at ``n_kills`` random points; each goes on where the last was killed.

    ``states`` are what a day may be in, the last of them done. ``doors`` name, for a state, the function and its call at
    which a day is in it for certain: states that chance has not met often enough are met there. Returns how often each
    was met, and the next day.
    """
    seen, day = dict.fromkeys(states, 0), 0

    def enter_all(*days):
        for i in days:
            enter(i)

    def work_on():
        enter_all(*range(day, day + 50))

    reach, before = 1.3 * span, None
    for k in range(n_kills):
        early = k % 5 == 0  # a day's first moments are short: every fifth kill aims at them, from a whole day on
        if early:
            enter(day)
            day += 1
            before = None
        killed_after(rng.uniform(0, reach / 20 if early else reach), work_on)
        while (state := state_of(day)) == states[-1]:
            seen[state] += 1
            day += 1
        assert state in seen, f"half a step of day {day} is there: {state}"
        seen[state] += 1
        # a busy machine needs longer for a day than it did above: wait longer while nothing moves, and less when it does
        if not early:
            reach *= 1.25 if (day, state) == before else 0.8
        before = (day, state)
        assert state_of(day + 1) == states[0]
    enter(day)
    for state, (owner, name, nth) in doors.items():
        while seen[state] < LEAST_MET:
            assert state_of(day) == states[-1]
            day += 1
            killed_at(owner, name, nth, partial(enter_all, day, day + 1))
            assert state_of(day) == state and state_of(day + 1) == states[0]
            seen[state] += 1
            enter(day)
    assert state_of(day) == states[-1]
    return seen, day


def timed(enter, days):
    """Enter some days unharmed; return the seconds of the last."""
    for day in days:
        begin = time.perf_counter()
        enter(day)
    return time.perf_counter() - begin


NOTHING, SHEET, ALL = (0, 0, 0, 0), (2, 11, 0, 0), (2, 12, 2, 120)


def day_state(site, i):
    """Return what of a day is there: rows of hatches, samples, photos, objects, and steps of all."""
    with sqlite3.connect(site / "log.sqlite") as c:
        ask = (
            f"FROM {t} WHERE {k} LIKE 'K{i}-%'"
            for t, k in (("hatches", "hatch"), ("samples", "sample"), ("photos", "photo"), ("objects", "photo"))
        )
        return tuple(c.execute(f"SELECT count(*) {a}").fetchone()[0] for a in ask)


def test_killed_while_importing_and_recording(site):
    with open_log(site) as log:
        log.add("lots", LOTS, by="op1")
    span = timed(lambda i: enter_day(site, i), ("w0", "w1"))
    seen, day = kill_often(
        random.Random(20261104),
        span,
        lambda i: enter_day(site, i),
        lambda i: day_state(site, i),
        (NOTHING, SHEET, ALL),
        doors={
            NOTHING: (SiteLog, "add_many", 1),
            SHEET: (SiteLog, "record_counts", 1),
            ALL: (SiteLog, "add_many", 2),
        },
    )
    assert whole(site / "log.sqlite")
    assert min(seen.values()) >= LEAST_MET, f"the kills did not reach every phase: {seen}"
    with open_log(site, now=lambda: NOW) as log:
        steps = log.steps()
        assert len(steps) == 1 + 2 * (2 + day + 1)  # the lots, and two steps a day: none lost, none done twice
        assert steps["step"].tolist() == list(range(1, len(steps) + 1))
        assert log.check(photos=False).query("severity == 'wrong'").empty


N_DAYS = 230


def draw_photo(path, n):
    """Draw a tiny photo with four dark objects, unlike any other by one pixel."""
    picture = Image.new("L", (260, 200), 215)
    pen = ImageDraw.Draw(picture)
    for i, (x, y) in enumerate(((25, 30), (145, 30), (25, 120), (145, 120))):
        pen.ellipse([x, y, x + (36 if i % 2 else 75), y + (36 if i % 2 else 30)], fill=70 + i)
    picture.putpixel((n % 250, 199 - n // 250), 205)
    picture.save(path)


def site_with_photos(folder):
    """Make a site whose sheets name two photos a day, all of them there and none counted."""
    site = new_site(folder)
    days = range(N_DAYS)
    waiting = pd.concat([SAMPLES.iloc[[1]]] * N_DAYS, ignore_index=True).assign(
        sample=[f"D{i}" for i in days], hatch="H-1", photos=[f"D{i}-1.png; D{i}-2.png" for i in days]
    )
    with open_log(site, now=lambda: NOW) as log:
        log.add_many({"lots": LOTS, "hatches": HATCHES, "samples": waiting}, by="op1")
    for i in days:
        for k in (1, 2):
            draw_photo(site / "photos" / f"D{i}-{k}.png", 2 * i + k)
    return site


def count_day(site, i):
    """Do what ``qckit count --out`` and ``qckit log record`` do, for a day's photos."""
    from qckit.counting import CountOptions, count_photos

    out = site / "counts" / f"D{i}"
    count_photos(
        [site / "photos" / f"D{i}-{k}.png" for k in (1, 2)], UM_PER_PX, out_dir=out, options=CountOptions(reader=None)
    )
    photos, objects = read_counted(out)
    with open_log(site, now=lambda: NOW) as log:
        log.record_counts(photos, objects=objects, by="op1")


def count_state(site, i):
    """Return what of a day's count is there: photos counted, tables written, photos and revisions in the log.

    Whatever lies in the folder must be whole.
    """
    out = site / "counts" / f"D{i}"
    parts = [json.loads(path.read_text()) for path in (out / ".parts").glob("*.json")]
    assert all(part["counts"] and part["objects"] for part in parts)
    tables = [
        len(pd.read_csv(out / name)["photo"].unique())
        for name in ("counts.csv", "objects.csv")
        if (out / name).exists()
    ]
    assert all(n == 2 for n in tables)
    for path in (out / "checked").glob("*.jpg"):
        np.asarray(Image.open(path))
    with sqlite3.connect(site / "log.sqlite") as c:
        n_photos, n_objects = (
            c.execute(f"SELECT count(DISTINCT photo) FROM {t} WHERE photo LIKE 'D{i}-%'").fetchone()[0]
            for t in ("photos", "objects")
        )
        n_revisions = c.execute("SELECT count(*) FROM samples WHERE sample = ?", (f"D{i}",)).fetchone()[0]
    assert n_photos == n_objects, f"day {i}: photos without their objects"
    return len(parts), len(tables), n_photos, n_revisions


COUNTING = [(0, 0, 0, 1), (1, 0, 0, 1), (2, 0, 0, 1), (2, 1, 0, 1), (2, 2, 0, 1), (2, 2, 2, 2)]


def test_killed_while_counting(tmp_path):
    site = site_with_photos(tmp_path / "site")
    other = site_with_photos(tmp_path / "unharmed")
    span = timed(lambda i: count_day(other, i), (0, 1, 2))
    doors = {
        COUNTING[0]: (batch, "_run", 1),
        COUNTING[1]: (isolated, "_give", 2),
        COUNTING[2]: (batch, "_tables", 1),
        COUNTING[3]: (earlier, "_write_pieces", 2),
        COUNTING[4]: (SiteLog, "record_counts", 1),
        COUNTING[5]: (batch, "_run", 2),
    }
    seen, day = kill_often(
        random.Random(7),
        span,
        lambda i: count_day(site, i),
        lambda i: count_state(site, i),
        COUNTING,
        doors=doors,
        n_kills=N_KILLS_COUNTING,
    )
    assert whole(site / "log.sqlite")
    assert min(seen.values()) >= LEAST_MET, f"the kills did not reach every phase: {seen}"
    for i in range(3, day + 1):
        count_day(other, i)
    with open_log(site) as log, open_log(other) as unharmed:
        for harmed, sound in ((log.objects(), unharmed.objects()), (log.samples(), unharmed.samples())):
            pd.testing.assert_frame_equal(harmed, sound)
        assert len(log.samples()) == day + 1
        assert len(log.steps()) == 1 + day + 1  # none lost, none done twice
    assert not list(Path(site).rglob("*.sqlite-journal"))
