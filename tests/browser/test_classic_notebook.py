"""The review desk in the classic-style notebooks: Jupyter Notebook 7, and nbclassic where it is installed."""

from __future__ import annotations

import contextlib
import importlib.util
import shutil

import pytest
from invented_site import PHOTO, make_site
from jupyter_lab import CHROMIUM, TOKEN, jupyter_lab
from playwright.sync_api import Error

from qckit._paths import notebooks_dir
from qckit.log import open_log

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
]


def run_all(page, app):
    """Run every cell and wait for the last."""
    if app == "nbclassic":
        page.wait_for_function("() => window.Jupyter?.notebook?.kernel?.is_connected()", timeout=90_000)
        page.evaluate("Jupyter.notebook.execute_all_cells()")
        page.wait_for_function("() => !document.querySelector('.code_cell.running')", timeout=90_000)
        return
    page.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=90_000)
    for _ in range(6):  # asked for before the kernel is there, the run is dropped
        page.wait_for_timeout(3000)
        page.locator(".lm-MenuBar-itemLabel", has_text="Run").click()
        page.locator(".lm-Menu-itemLabel", has_text="Run All Cells").first.click()
        with contextlib.suppress(Error):
            page.locator(".qck-canvas").wait_for(timeout=30_000)
            break
    busy = "() => [...document.querySelectorAll('.jp-InputPrompt')].every(p => !p.textContent.includes('*'))"
    page.wait_for_function(busy, timeout=60_000)
    page.wait_for_timeout(2000)


def press(page, key, until):
    page.keyboard.press(key)
    words = "words => [...document.querySelectorAll('.qck-status')].at(-1).textContent.includes(words)"
    page.wait_for_function(words, arg=until, timeout=30_000)


@pytest.mark.parametrize("app", ["notebook", "nbclassic"])
def test_the_desk_works_by_keyboard(tmp_path, browser, app):
    if importlib.util.find_spec(app) is None:
        pytest.skip(f"{app} is not installed; pip install {app} to try it there too")
    site = make_site(tmp_path / "site")
    shutil.copy(notebooks_dir() / "count_photos.ipynb", site / "count_photos.ipynb")
    folder = "notebooks" if app == "notebook" else "nbclassic/notebooks"
    with jupyter_lab(site, tmp_path / "home", {}, app) as url:
        page = browser.new_page(viewport={"width": 1400, "height": 1300})
        page.goto(f"{url}/{folder}/count_photos.ipynb?token={TOKEN}", wait_until="domcontentloaded", timeout=90_000)
        run_all(page, app)
        page.locator(".qck-canvas").wait_for(timeout=60_000)
        page.wait_for_function(
            "() => { const s = document.querySelector('.qck-canvas').dataset.scale; return s > 0 && s != 1; }",
            timeout=60_000,
        )
        page.locator(".qck-initials").fill("ab")
        page.locator(".qck-canvas").scroll_into_view_if_needed()
        page.locator(".qck-canvas").click(position={"x": 6, "y": 6})
        page.keyboard.press("ArrowRight")
        chosen = page.locator(".qck-canvas").get_attribute("data-chosen")
        press(page, "s", f"Saved: object {chosen} is shell.")
        page.keyboard.press("g")  # a circle, drawn with the keys alone
        page.keyboard.press("f")
        for key, times in (("ArrowLeft", 20), ("Enter", 1), ("ArrowRight", 40)):
            for _ in range(times):
                page.keyboard.press(key)
        press(page, "Enter", "left out, the frame is now")
        page.screenshot(path=str(tmp_path / f"{app}.png"))
        press(page, "z", "Undone and saved: counted only inside the drawn ellipse")
        page.keyboard.press("g")  # a triangle, closed with the key that began it
        page.keyboard.press("l")
        for key, times in (("Enter", 1), ("ArrowRight", 30), ("Enter", 1), ("ArrowDown", 20), ("Enter", 1)):
            for _ in range(times):
                page.keyboard.press(key)
        press(page, "l", "left out, the frame is now")
        page.screenshot(path=str(tmp_path / f"{app}-triangle.png"))
        page.close()
    with open_log(site) as log:
        kept = log.objects(photo=f"{PHOTO}.jpg").set_index("object_id").loc[int(chosen)]
        edits = log.photo_edits(f"{PHOTO}.jpg")
    assert (kept["stage"], kept["source"]) == ("shell", "stage changed by hand")
    assert [e.by for e in edits] == ["ab", "ab"]
    assert edits[1].reason.startswith("left out the drawn polygon ")
