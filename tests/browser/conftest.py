"""A Chromium for each file and one JupyterLab for all: each test has its own page and its own folder."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
sys.path += [str(HERE), str(HERE.parent / "review")]

from jupyter_lab import CHROMIUM, FLAGS, jupyter_lab  # noqa: E402


def _need_chromium():
    if CHROMIUM is None:
        pytest.skip("there is no Chromium on this machine")


@pytest.fixture(scope="module")
def browser():
    """The Chromium of this machine; ended with the file, as its event loop would be in the way of other files' own."""
    _need_chromium()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """A running JupyterLab: (its address, the folder it serves)."""
    _need_chromium()
    root = tmp_path_factory.mktemp("lab")
    with jupyter_lab(root, tmp_path_factory.mktemp("lab-home"), {}) as url:
        yield url, root


@pytest.fixture
def page(browser):
    """A fresh page; its errors are in ``page.errors``, what it asked for in ``page.asked``."""
    context = browser.new_context(viewport={"width": 1280, "height": 720})
    page = context.new_page()
    page.errors, page.asked = [], []
    page.on("pageerror", lambda error: page.errors.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    yield page
    context.close()


@pytest.fixture
def place(lab, request):
    """A folder of this test's own below what JupyterLab serves."""
    folder = lab[1] / request.node.name.replace("[", "-").replace("]", "")
    folder.mkdir()
    return folder


@pytest.fixture(scope="module")
def form(tmp_path_factory):
    """The day's form of a young site."""
    from form_page import form_of_a_young_site

    return form_of_a_young_site(tmp_path_factory.mktemp("day"))


@pytest.fixture
def shown(form, browser, tmp_path):
    """Return a function that shows the form in a theme and a width."""
    from form_page import form_page

    contexts = []

    def show(theme="light", width=1280, height=800, script="", **changed):
        path = tmp_path / f"form-{theme}-{width}.html"
        path.write_text(form_page(form, theme, **changed), encoding="utf-8")
        context = browser.new_context(viewport={"width": width, "height": height})
        contexts.append(context)
        if script:
            context.add_init_script(script)
        page = context.new_page()
        page.errors = []
        page.on("pageerror", lambda error: page.errors.append(str(error)))
        page.goto(path.as_uri())
        page.locator(".qcf-fields").wait_for()
        return page

    yield show
    for context in contexts:
        context.close()
