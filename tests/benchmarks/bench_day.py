"""Count the keystrokes and seconds of one day: two cones, three subsamples each, counted and started anew.

Three ways: the day sheet (typed into a spreadsheet program, then imported), the terminal (a pseudo-terminal types into
``qckit today --enter``) and the notebook (a driven browser types into ``today.ipynb``). On paper the same day is about
30 numbers. Seconds are by the clock; where the machine does other work, the processor's own seconds of the program
(in brackets) say what an idle one would take. Run:  python tests/benchmarks/bench_day.py [--no-browser] [--demo SITE]
"""

from __future__ import annotations

import argparse
import math
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "day"), str(ROOT / "tests" / "browser")]

NOW = "2026-11-20T09:05"
COUNTS = {"A": ["80 3 12 76", "84 2 15 80", "81 3 14 70"], "B": ["78 4 13 71", "83 2 16 75", "80 3 12 77"]}
NUMBERS = [number for rows in COUNTS.values() for row in rows for number in row.split()]
GRAMS = ("27", "27")
DIGITS = sum(map(len, NUMBERS))


@dataclass
class Way:
    """Keys, and seconds by the clock and of the processor: from the last number to the answer, and to the open page."""

    keys: int
    answer_s: float
    answer_cpu_s: float = math.nan
    open_s: float = math.nan
    open_cpu_s: float = math.nan


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def make_site(folder: Path) -> None:
    """A site with twelve ordinary days, and two hatches that wait for their count."""
    import conftest as day
    import pandas as pd

    from qckit.day.entry.bench import Bench
    from qckit.day.founding import Answers, found_site
    from qckit.log import open_log

    found_site(folder, Answers(name="Ostrel Cove (invented)", cones="A, B", people="op1", nauplii=5_000_000))
    with open_log(folder, now=lambda: "2026-11-06T08:00:00+00:00") as log:
        log.add("lots", pd.DataFrame([{"lot": "L-1", "opened": "2026-11-01"}]), by="op1")
        day.enter_days(log, "2026-11-07T09:00", 12)
    with Bench(folder, by="op1", now="2026-11-19T09:00") as bench:
        for cone in "AB":
            bench.start(lot="L-1", cone=cone, grams=27.0, at=day.at("2026-11-19T09:00"))


def by_sheet(site: Path) -> Way:
    """Fill in the day sheet: a key for each character, and one to leave each cell."""
    rows = []
    for cone, subsamples in COUNTS.items():
        for i, row in enumerate(subsamples):
            rows.append(["", cone if i == 0 else "", "", *row.split(), "", ""])
    rows += [["", cone, grams, "", "", "", "", "", ""] for cone, grams in zip("AB", GRAMS, strict=True)]
    rows[0][0] = "2026-11-20"
    keys = sum(len(cell) + 1 for row in rows for cell in row[:7] if cell) + len(rows)  # and one to begin each row
    sheet = site / "field-sheets" / "day-sheet.csv"
    with sheet.open("a", encoding="utf-8") as handle:
        handle.writelines(",".join(row) + "\n" for row in rows)
    start, used = time.monotonic(), _children_s()
    done = _qckit(site, "log", "import", str(sheet), "--by", "op1")
    print("  " + done.stdout.strip().replace("\n", "\n  "))
    return Way(keys, time.monotonic() - start, _children_s() - used)


def by_terminal(site: Path) -> Way:
    """Type into a pseudo-terminal."""
    import pexpect
    import psutil

    start = time.monotonic()
    environment = os.environ | {"OMP_NUM_THREADS": "1", "TERM": "xterm", "PROMPT_TOOLKIT_NO_CPR": "1"}
    arguments = ["-m", "qckit", "today", "--enter", "--site", str(site), "--now", NOW]
    child = pexpect.spawn(
        sys.executable, arguments, env=environment, dimensions=(24, 80), timeout=120, encoding="utf-8"
    )
    way = Way(0, 0.0, 0.0)

    def used() -> float:
        times = psutil.Process(child.pid).cpu_times()
        return times.user + times.system

    def press(text: str, then: str) -> None:
        way.keys += len(text)
        child.send(text)
        child.expect(then)

    child.expect("count A")
    way.open_s, way.open_cpu_s = time.monotonic() - start, used()
    for cone in COUNTS:
        press("\r", "taken at")
        press("\r", f"{cone} 1/3  N")
        numbers = " ".join(COUNTS[cone]).split()
        for number in numbers[:-1]:
            press(number + "\r", "  [NUCS]: ")
        last, before = time.monotonic(), used()
        press(numbers[-1] + "\r", "start [0-9.]+ g")
        way.answer_s = max(way.answer_s, time.monotonic() - last)
        way.answer_cpu_s = max(way.answer_cpu_s, used() - before)
        child.expect("Enter: ")
    for _ in GRAMS:
        press("2\r", "cone")
        press("\r", "grams")
        press("\r", "wetted at")
        press("\r", "Started")
        child.expect("Enter: |What")
    press("0\r", pexpect.EOF)
    return way


def by_notebook(site: Path, work: Path) -> Way:
    """Type into the notebook in a browser; a click counts as a key."""
    from jupyter_lab import CHROMIUM, FLAGS, jupyter_lab, open_notebook, run_cell
    from playwright.sync_api import sync_playwright

    notebook = site / "notebooks" / "today.ipynb"
    notebook.write_text(
        notebook.read_text(encoding="utf-8").replace('now = \\"\\"', f'now = \\"{NOW}\\"'), encoding="utf-8"
    )
    environment = {"QCKIT_SITE": str(site), "OMP_NUM_THREADS": "1"}
    keys, slowest = 2, 0.0  # Shift+Enter twice
    with jupyter_lab(site, work, environment) as url, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        open_notebook(page, url, "notebooks/today.ipynb")
        start = time.monotonic()
        run_cell(page, 0)
        run_cell(page, 1)
        page.wait_for_selector(".qcf-fields", timeout=60_000)
        opened = time.monotonic() - start

        def press(text: str, enter: bool = True) -> None:
            nonlocal keys
            keys += len(text) + enter
            page.keyboard.type(text)
            if enter:
                page.keyboard.press("Enter")

        def wait_for(words: str) -> None:
            script = "words => document.querySelector('.qcf-status').textContent.includes(words)"
            page.wait_for_function(script, arg=words, timeout=60_000)

        page.locator(".qcf input[name=nauplii-0]").click()
        keys += 1
        for cone in COUNTS:
            for number in " ".join(COUNTS[cone]).split():
                press(number)
            last = time.monotonic()
            wait_for(f"({cone}), 3 subsamples")
            slowest = max(slowest, time.monotonic() - last)
        for cone in COUNTS:
            if page.locator(".qcf button[aria-pressed=true]").first.inner_text() != "Start":
                page.get_by_role("button", name="Start", exact=True).click()
                keys += 1
            page.locator(".qcf button", has_text="Write").click()
            keys += 1
            wait_for(f"in {cone} at")
        browser.close()
    return Way(keys, slowest, open_s=opened)


def on_demo(demo: Path, work: Path) -> None:
    """A site with fourteen months of records and a poor hatch: the page from cold, and the answer once a sitting runs.

    The poor hatch is explained in both. Best of three runs: seconds by the clock (of the processor).
    """
    from qckit.day.entry.bench import Bench
    from qckit.day.entry.warming import warm_up

    cold = []
    for _ in range(3):
        start, used = time.monotonic(), _children_s()
        done = _qckit(demo, "today", "--now", "2026-11-06T10:00")
        cold.append((_children_s() - used, time.monotonic() - start))
    assert "poor: " in done.stdout
    print(f"qckit today, a poor hatch explained: {min(cold)[1]:.1f} s ({min(cold)[0]:.1f})")
    answers = []
    for i in range(3):
        shutil.copytree(demo, work / f"demo-{i}")
        warm_up()()
        with Bench(work / f"demo-{i}", by="op1", now="2026-11-05T09:10") as bench:
            start, used = time.monotonic(), time.process_time()
            bench.count("H261104-C", [(30, 40, 40, 50), (28, 42, 41, 52), (31, 39, 44, 50)])
            said = bench.answer()
            answers.append((time.process_time() - used, time.monotonic() - start))
    print(f"  {said}")
    print(f"answer after the last number, a poor hatch explained: {min(answers)[1]:.1f} s ({min(answers)[0]:.1f})")


def _qckit(site: Path, *arguments: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "qckit", *arguments, "--site", str(site)],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"OMP_NUM_THREADS": "1"},
    )


def main() -> None:
    """Run the ways asked for and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--no-browser", action="store_true")
    parser.add_argument("--demo", type=Path, help="the site of `qckit demo`: only the page and the answer on it")
    options = parser.parse_args()
    if options.demo:
        with tempfile.TemporaryDirectory() as place:
            on_demo(options.demo, Path(place))
        return
    print(f"paper: {len(NUMBERS) + len(GRAMS) + 4} numbers, {DIGITS} digits of counts among them")
    with tempfile.TemporaryDirectory() as place:
        work = Path(place)
        make_site(work / "site")
        print(f"{'way':10} {'keys':>5} {'beyond the counts, a cone':>26} {'answer s':>14} {'open s':>14}  load")
        ways = {"sheet": by_sheet, "terminal": by_terminal, "notebook": by_notebook}
        for name, run in ways.items():
            if name == "notebook" and options.no_browser:
                continue
            shutil.copytree(work / "site", work / name)
            way = run(work / name, *([work / "home"] if name == "notebook" else []))
            beyond = (way.keys - DIGITS) / len(COUNTS)
            answer = f"{way.answer_s:.1f} ({way.answer_cpu_s:.1f})"
            opened = f"{way.open_s:.1f} ({way.open_cpu_s:.1f})"
            print(f"{name:10} {way.keys:5} {beyond:26.1f} {answer:>14} {opened:>14}  {os.getloadavg()[0]:.1f}")
        start, used = time.monotonic(), _children_s()
        _qckit(work / "terminal", "today", "--now", NOW)
        print(f"qckit today: {time.monotonic() - start:.1f} s ({_children_s() - used:.1f})")


if __name__ == "__main__":
    main()
