"""The daily notebook in a real JupyterLab and a real browser: look at a photo, put it right, come back to it."""

from __future__ import annotations

import json
import re
import shutil

import pytest
from invented_site import PHOTO, SAMPLE, make_site
from jupyter_lab import CHROMIUM, open_notebook, restart_kernel, run_cell
from page_checks import painted

from qckit._paths import notebooks_dir
from qckit.log import open_log

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
]


class Desk:
    """The review desk on a page, driven as a person would."""

    def __init__(self, page):
        self.page = page
        self.root = page.locator(".qck-desk").last
        self.canvas = self.root.locator(".qck-canvas")
        self.canvas.wait_for(timeout=60_000)
        page.wait_for_function(
            "() => { const c = [...document.querySelectorAll('.qck-canvas')].at(-1);"
            " return c && c.dataset.scale > 0 && c.dataset.scale != 1; }",
            timeout=60_000,
        )
        self.canvas.scroll_into_view_if_needed()

    def counts(self) -> dict[str, int]:
        cells = self.root.locator("[data-count]").all()
        return {c.get_attribute("data-count"): int(c.inner_text()) for c in cells}

    def at(self, x_px, y_px):
        """Click a place of the photo."""
        self.canvas.scroll_into_view_if_needed()
        painted(self.page)
        box = self.canvas.bounding_box()
        for _ in range(2):
            scale, x, y = self.canvas.evaluate(
                "c => [Number(c.dataset.scale), Number(c.dataset.x), Number(c.dataset.y)]"
            )
            sx, sy = (x_px - x) * scale, (y_px - y) * scale
            if 5 < sx < box["width"] - 5 and 5 < sy < box["height"] - 5:
                break
            self.root.get_by_role("button", name="Whole photo").click()  # "next" has gone near another object
            painted(self.page)
        self.page.mouse.click(box["x"] + sx, box["y"] + sy)

    def press(self, key, until=""):
        """Press a key and wait for what the desk says."""
        self.page.keyboard.press(key)
        if until:
            self.page.wait_for_function(
                "words => [...document.querySelectorAll('.qck-status')].at(-1).textContent.includes(words)",
                arg=until,
                timeout=30_000,
            )

    def chosen(self) -> str:
        return self.canvas.get_attribute("data-chosen")


def test_changes_made_by_hand_outlive_the_kernel(lab, page, place, tmp_path):
    url, root = lab
    site = make_site(place / "site")
    shutil.copy(notebooks_dir() / "count_photos.ipynb", site / "count_photos.ipynb")
    with open_log(site) as log:
        objects = log.objects(photo=f"{PHOTO}.jpg")
    # two isolated objects, far from others, so that a click cannot mean a neighbour
    first, second = apart(objects, 2)
    page.set_viewport_size({"width": 1400, "height": 1300})
    open_notebook(page, url, f"{site.relative_to(root)}/count_photos.ipynb")
    for cell in range(4):
        run_cell(page, cell)
    desk = Desk(page)
    before = desk.counts()

    desk.at(first.x_px, first.y_px)
    assert desk.chosen() == str(first.object_id)
    desk.press("s", until="initials")  # no edit is taken without initials
    assert desk.counts() == before
    page.screenshot(path=str(tmp_path / "without-initials.png"))
    desk.root.locator(".qck-initials").fill("ab")
    desk.root.locator(".qck-initials").press("Tab")

    told_to_screen_readers(desk)

    other = "shell" if first.stage != "shell" else "cyst"
    desk.at(first.x_px, first.y_px)
    desk.press(other[0], until=f"Saved: object {first.object_id} is {other}")
    changed = {**before, first.stage: before[first.stage] - 1, other: before[other] + 1}
    assert desk.counts() == changed
    page.wait_for_function(
        "words => [...document.querySelectorAll('.qck-told')].at(-1).textContent.includes(words)",
        arg=f"Counts: {changed['nauplius']} nauplii, ",
        timeout=10_000,
    )

    desk.at(second.x_px, second.y_px)
    assert desk.chosen() == str(second.object_id)
    desk.press("x", until=f"Saved: object {second.object_id} removed")
    removed = {**changed, second.stage: changed[second.stage] - 1}
    assert desk.counts() == removed

    desk.press("a")
    x, y = empty_place(objects)
    desk.at(x, y)
    desk.press("n", until="added")
    desk.press("Escape")
    added = {**removed, "nauplius": removed["nauplius"] + 1}
    assert desk.counts() == added

    desk.press("ArrowRight")  # the keyboard alone: on to the next, then change, then undo
    desk.press("d", until="is debris")
    assert sum(desk.counts().values()) == sum(added.values()) - 1
    desk.press("z", until=" again.")
    assert desk.counts() == added
    desk.press("+")
    page.wait_for_timeout(800)
    page.screenshot(path=str(tmp_path / "edited.png"))

    run_cell(page, 4)
    restart_kernel(page)
    for cell in range(4):
        run_cell(page, cell)
    again = Desk(page)
    assert again.counts() == added
    again.at(first.x_px, first.y_px)
    page.wait_for_timeout(300)
    assert "stage changed by hand" in again.root.locator(".qck-said").inner_text()
    page.screenshot(path=str(tmp_path / "after-restart.png"))
    again.root.locator(".qck-initials").fill("ab")
    again.root.locator(".qck-initials").press("Tab")
    again.at(first.x_px, first.y_px)
    again.press("z", until="Undone and saved: object")  # the addition, made before the restart
    assert again.counts() == removed
    assert page.errors == []
    assert [u for u in page.asked if not u.startswith((url, "data:", "blob:", "ws://127.0.0.1"))] == []
    with open_log(site) as log:
        kept = log.objects(photo=f"{PHOTO}.jpg").set_index("object_id")
        sample = log.samples(sample=SAMPLE).iloc[0]
        by = set(log.corrections(table="objects")["by"])
    assert kept.loc[first.object_id, "stage"] == other
    assert kept.loc[second.object_id, "source"] == "removed by hand"
    assert kept.loc[kept.index.max(), "source"] == "removed by hand"  # what was added and taken back
    assert by == {"ab"}
    assert int(sample["nauplii"]) == removed["nauplius"]
    saved = json.loads((site / "count_photos.ipynb").read_text(encoding="utf-8"))
    assert len(saved["cells"]) == 10


def told_to_screen_readers(desk):
    """What the accessibility tree holds: every control named, live regions there, Tab goes in and out again."""
    tree = desk.root.aria_snapshot()
    for line in (
        'combobox "Photo"',
        'combobox "Show"',
        'textbox "Initials"',
        'button "Nauplius N"',
        'button "Zoom in"',
        'toolbar "Stage of the chosen object"',
        'table "Counts now"',
        'application "Photo with marks',
        'combobox "Shape of the part to count or leave out: key G"',
        'rowheader "Umbrella"',
    ):
        assert line in tree, line
    nameless = re.findall(r"- (?:button|combobox|textbox|checkbox|application)(?:$|:| \[)", tree, flags=re.MULTILINE)
    assert nameless == []
    live = desk.root.locator("[aria-live=polite]").evaluate_all("nodes => nodes.map(n => n.className)")
    assert {"qck-said", "qck-status", "qck-told"} <= {c.split()[0] for c in live}
    inside = (
        "() => { const d = [...document.querySelectorAll('.qck-desk')].at(-1), n = document.activeElement;"
        " return d.contains(n) ? n.getAttribute('aria-label') || n.textContent : null; }"
    )
    desk.root.locator("select").first.focus()
    stops = []
    for _ in range(40):
        name = desk.page.evaluate(inside)
        if name is None:
            break
        stops.append(name)
        desk.page.keyboard.press("Tab")
    assert len(stops) < 40, "Tab never leaves the desk"
    assert any(s.startswith("Photo with marks") for s in stops)
    assert len(stops) == desk.root.locator("button, select, input, summary, [tabindex='0']").count()


def apart(objects, n):
    """The counted objects that stand farthest from any other."""
    import numpy as np
    from scipy.spatial.distance import cdist

    xy = objects[["x_px", "y_px"]].to_numpy(float)
    near = np.sort(cdist(xy, xy), axis=1)[:, 1]
    ok = objects["counted"].to_numpy(bool) & (xy > 80).all(axis=1) & (xy[:, 0] < 1840) & (xy[:, 1] < 1360)
    order = np.argsort(-np.where(ok, near, -1))[:n]
    return [objects.iloc[i] for i in order]


def empty_place(objects):
    """A place far from every object."""
    import numpy as np
    from scipy.spatial.distance import cdist

    grid = np.stack(np.meshgrid(np.arange(100, 1820, 20), np.arange(100, 1340, 20)), axis=-1).reshape(-1, 2)
    return map(float, grid[cdist(grid, objects[["x_px", "y_px"]].to_numpy(float)).min(axis=1).argmax()])
