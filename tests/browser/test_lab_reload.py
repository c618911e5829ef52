"""Form and desk in JupyterLab itself: what was typed outlives a kernel that hangs, a reload and a kernel begun anew."""

import pytest
from form_page import young_site
from invented_site import PHOTO, make_site
from jupyter_lab import CHROMIUM, open_notebook, restart_kernel, run_cell
from test_lab_desk import DESK, STOP, notebook, ready, start_cell, wait_for

from qckit import open_log

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
]
FORM = "from qckit import day\nday.day_form('.', initials='op1', now='2026-11-07T09:10:00+00:00')"


def reload_and_run(page):
    page.reload(wait_until="domcontentloaded")
    page.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=90_000)
    restart_kernel(page)
    run_cell(page, 0)


def errors(page):
    """Errors of the page, without JupyterLab's own about the kernel that was stopped."""
    return [error for error in page.errors if not error.startswith("Canceled future")]


def test_what_was_typed_outlives_kernel_and_page(lab, page, place):
    url, root = lab
    site = young_site(place / "site", 5)
    name = f"{site.relative_to(root)}/{notebook(site, FORM, STOP)}"
    open_notebook(page, url, name)
    run_cell(page, 0)
    page.locator(".qcf-fields").wait_for(timeout=60_000)
    start_cell(page, 1)
    page.get_by_role("button", name="Meters calibrated", exact=True).click()
    page.get_by_role("button", name="Note", exact=True).click()
    page.locator(".qcf-fields [name=text]").fill("smells of sulphur")
    page.locator(".qcf-status").get_by_text("No answer").wait_for(timeout=30_000)
    reload_and_run(page)
    offers = page.locator(".qcf-left .qcf-bar")
    offers.filter(has_text="smells of sulphur").get_by_role("button", name="Go on with it").click(timeout=60_000)
    offers.filter(has_text="meters").get_by_role("button", name="Write it").click()
    page.locator(".qcf-status").get_by_text("the meters were calibrated").wait_for(timeout=30_000)
    page.locator(".qcf-fields [name=text]").press("Enter")
    page.locator(".qcf-status").get_by_text("smells of sulphur").wait_for(timeout=30_000)
    with open_log(site) as log:
        assert log.hatches()["notes"].fillna("").str.contains("smells of sulphur").sum() == 1
        assert (log.steps()["action"].str.contains("calibrated|meters")).sum() == 1
    assert not offers.count()
    assert errors(page) == []


def test_edits_of_a_desk_outlive_kernel_page_and_a_clock_set_back(lab, page, place):
    url, root = lab
    site = make_site(place / "site")
    open_notebook(page, url, f"{site.relative_to(root)}/{notebook(site, DESK, STOP)}")
    run_cell(page, 0)
    ready(page)
    page.locator(".qck-initials").fill("ab")
    page.locator(".qck-initials").press("Tab")
    start_cell(page, 1)
    page.evaluate("() => { const real = Date.now; Date.now = () => real() - 36e5; }")
    page.locator(".qck-photo").focus()
    page.keyboard.press("ArrowRight")
    for _ in range(3):
        page.keyboard.press("d")
    wait_for(page, "kept in this browser")
    reload_and_run(page)
    ready(page)
    offer = page.locator(".qck-offer:not([hidden])").last
    offer.wait_for(timeout=30_000)
    assert offer.inner_text().startswith(f"3 changes by ab of {PHOTO}.jpg were not seen to be saved.")
    offer.get_by_role("button", name="Save them now").click()
    wait_for(page, "Saved")
    with open_log(site) as log:
        assert (log.steps()["by"] == "ab").sum() == 3
    assert errors(page) == []
