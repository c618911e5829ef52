"""The camera notebook and a crowded photo in a real JupyterLab and a real browser."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from invented_site import make_site
from jupyter_lab import CHROMIUM, open_notebook, run_cell
from PIL import Image

from qckit._paths import notebooks_dir
from qckit.log import open_log

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
]

PHOTO = "k-121_a_1.jpg"


def camera_notebook(site: Path, **values) -> None:
    """Copy the notebook with parameters filled in, as a user types them."""
    notebook = json.loads((notebooks_dir() / "camera_setup.ipynb").read_text(encoding="utf-8"))
    cell = next(c for c in notebook["cells"] if "parameters" in c["metadata"].get("tags", []))
    lines = "".join(cell["source"]).splitlines()
    for name, value in values.items():
        at = next(i for i, line in enumerate(lines) if line.startswith(f"{name} ="))
        lines[at] = f"{name} = {value!r}  # {lines[at].split('# ', 1)[1]}"
    cell["source"] = "\n".join(lines)
    (site / "camera_setup.ipynb").write_text(json.dumps(notebook), encoding="utf-8")


def crowded_notebook(site: Path) -> None:
    """A notebook whose one cell shows 1,000 invented objects on one photo."""
    shutil.copy(notebooks_dir() / "count_photos.ipynb", site / "crowded.ipynb")
    notebook = json.loads((site / "crowded.ipynb").read_text(encoding="utf-8"))
    code = [c for c in notebook["cells"] if c["cell_type"] == "code"]
    code[1]["source"] = (
        "from qckit import open_log, review\nlog = open_log('.')\ndesk = review.open_review(log, initials='ab')\ndesk"
    )
    notebook["cells"] = [code[1]]
    (site / "crowded.ipynb").write_text(json.dumps(notebook), encoding="utf-8")


def test_scale_is_set_by_two_clicks_and_by_the_ruling(lab, page, place, tmp_path):

    url, root = lab
    site = make_site(place / "site")
    own = site / "photos" / "ruling.jpg"  # saved anew, as a camera's own photo: of the kit's, no scale is ever kept
    with Image.open(site / "photos" / PHOTO) as image:
        image.save(own, quality=95)
    camera_notebook(
        site, photo=own.name, method="two points", spacing_um=6200.0, camera="stereo", magnification="2x", initials="ab"
    )
    page.set_viewport_size({"width": 1500, "height": 1400})
    open_notebook(page, url, f"{site.relative_to(root)}/camera_setup.ipynb")
    for cell in range(3):
        run_cell(page, cell)
    canvas = page.locator(".qck-pick canvas")
    canvas.wait_for()
    page.wait_for_function("() => document.querySelector('.qck-pick canvas').width > 1000")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    for x in (300, 1300):  # 1000 px apart on a photo of 1920 px
        page.mouse.click(box["x"] + x / 1920 * box["width"], box["y"] + 500 / 1440 * box["height"])
        page.wait_for_timeout(300)
    assert "Both points are set" in page.locator(".qck-pick [role=status]").inner_text()
    page.screenshot(path=str(tmp_path / "two-points.png"))
    for cell in range(3, 6):
        run_cell(page, cell)
    keep = page.locator(".jp-Notebook .jp-CodeCell").nth(5)
    assert "Not kept: look at the picture above" in keep.locator(".jp-OutputArea").inner_text()
    with open_log(site) as log:
        assert log.scales().empty  # nobody has approved it yet
    keep.locator(".cm-line").first.click()
    page.keyboard.press("Home")
    page.keyboard.press("Shift+End")
    page.keyboard.insert_text("approved = True")
    for cell in (5, 6):
        run_cell(page, cell)
    page.screenshot(path=str(tmp_path / "scale.png"))
    assert page.errors == []
    with open_log(site) as log:
        row = log.scales().iloc[0]
    assert row["um_per_px"] == pytest.approx(6.2, rel=0.005)  # a click is good to about two pixels
    assert (row["camera"], row["magnification"], row["set_by"]) == ("stereo", "2x", "ab")
    from qckit.review import measure_scale

    found = measure_scale(own, method="ruled chamber", spacing_um=1000.0).scale
    assert found.um_per_px == pytest.approx(6.2, rel=2e-3)


def test_a_thousand_objects_stay_smooth(lab, page, place, tmp_path):
    """Frames while panning and zooming, from the browser's own clock; the median must leave room for 20 a second."""
    import pandas as pd

    url, root = lab
    site = make_site(place / "site")
    rng = np.random.default_rng(4)
    with open_log(site) as log:
        extra = pd.DataFrame(
            {
                "action": "add",
                "stage": rng.choice(["nauplius", "umbrella", "cyst", "shell"], 900),
                "x_px": rng.uniform(20, 1900, 900),
                "y_px": rng.uniform(20, 1420, 900),
            }
        )
        log.correct_objects(PHOTO, extra, by="ab", reason="invented, to make a crowd")
        assert len(log.objects(photo=PHOTO)) >= 1000
    crowded_notebook(site)
    page.set_viewport_size({"width": 1400, "height": 1000})
    open_notebook(page, url, f"{site.relative_to(root)}/crowded.ipynb")
    run_cell(page, 0)
    page.locator(".qck-canvas").wait_for()
    page.wait_for_function("() => document.querySelector('.qck-canvas').dataset.scale > 0")
    gaps = page.evaluate("""async () => {
        const c = document.querySelector('.qck-canvas'), box = c.getBoundingClientRect(), gaps = [];
        let last = performance.now();
        for (let i = 0; i < 60; i++) {
            c.dispatchEvent(new WheelEvent('wheel', { deltaY: i % 2 ? 40 : -40, clientX: box.x + 200, clientY: box.y + 200, cancelable: true }));
            await new Promise(requestAnimationFrame);
            const now = performance.now(); gaps.push(now - last); last = now;
        }
        return gaps;
    }""")  # noqa: E501
    page.locator(".qck-photo").focus()
    waits = []
    for _ in range(3):
        page.keyboard.press("ArrowRight")
        number = page.locator(".qck-canvas").get_attribute("data-chosen")
        begin = page.evaluate("performance.now()")
        page.keyboard.press("s")
        page.wait_for_function(
            "n => document.querySelector('.qck-status').textContent.includes(`Saved: object ${n} `)",
            arg=number,
            timeout=30_000,
        )
        waits.append(page.evaluate("performance.now()") - begin)
    page.screenshot(path=str(tmp_path / "crowded.png"))
    page.keyboard.press("0")
    page.keyboard.press("f")  # a frame, drawn with the mouse
    box = page.locator(".qck-canvas").bounding_box()
    begin = page.evaluate("performance.now()")
    page.mouse.move(box["x"] + 0.25 * box["width"], box["y"] + 0.3 * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 0.5 * box["height"], steps=5)
    page.mouse.move(box["x"] + 0.75 * box["width"], box["y"] + 0.7 * box["height"], steps=5)
    page.mouse.up()
    said = "() => document.querySelector('.qck-status').textContent.includes('objects left out')"
    page.wait_for_function(said, timeout=60_000)
    framed = page.evaluate("performance.now()") - begin
    page.screenshot(path=str(tmp_path / "framed.png"))
    page.keyboard.press("z")
    undone = "() => document.querySelector('.qck-status').textContent.includes('Undone and saved: counted only inside')"
    page.wait_for_function(undone, timeout=60_000)
    print(
        f"frame {np.median(gaps):.0f} ms median, {np.quantile(gaps, 0.95):.0f} ms 95th; "
        f"saved in {np.median(waits):.0f} ms, frame drawn and saved in {framed:.0f} ms"
    )
    assert np.median(gaps) < 150  # wide, as a loaded machine shares its processors
    assert np.median(waits) < 5000
    with open_log(site) as log:
        counted = log.objects(photo=PHOTO)["counted"].fillna(False).astype(bool)
    assert counted.sum() >= 990  # the drawn frame is undone
