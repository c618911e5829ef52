"""The day's form by itself in a real browser: contrast in both themes, names and order of what is typed into, zoom.

The form's own script runs with a stand-in for the kernel's side, and with JupyterLab's own colours.
"""

import json
import sys
from pathlib import Path

import pytest
from jupyter_lab import CHROMIUM
from page_checks import faint_borders, low_contrast

from qckit import day
from qckit.day.entry import form as day_form_module

sys.path.append(str(Path(__file__).resolve().parents[1] / "notebooks"))
from test_own_analysis import young_site

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
]
HERE = Path(day_form_module.__file__).parent
NAMES = ("page", "forms", "first", "tally", "people", "initials", "status", "site_key")
MODEL = """
const heard = {}, sent = [];
const model = { get: (n) => data[n], set: (n, v) => { data[n] = v; }, save_changes: () => {}, send: (m) => sent.push(m),
  on: (what, f) => { heard[what] = f; } };
window.sent = sent;
window.answer = (status) => { data.status = status; heard["change:status"](); };
"""


def lab_colours(theme):
    """Colours of JupyterLab's theme, from its own style sheet."""
    folders = [Path(sys.prefix) / "share" / "jupyter" / "lab" / "themes" / "@jupyterlab"]
    sheet = folders[0] / f"theme-{theme}-extension" / "index.css"
    if not sheet.is_file():
        pytest.skip("JupyterLab's themes are not installed here")
    return sheet.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def form(tmp_path_factory):
    return day.day_form(
        young_site(tmp_path_factory.mktemp("day") / "site", 5), initials="op1", now="2026-11-07T09:10:00+00:00"
    )


@pytest.fixture
def shown(form, browser, tmp_path):
    """Return a function that shows the form in a theme and a width."""
    contexts = []

    def show(theme="light", width=1280, height=800, **changed):
        data = json.dumps({name: getattr(form, name) for name in NAMES} | changed).replace("</", "<\\/")
        script = form._esm.replace("export default", "window.widget =")
        styles = lab_colours(theme) + (HERE / "form.css").read_text(encoding="utf-8")
        html = (
            f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><style>{styles}</style>'
            "<style>body{margin:8px;background:var(--jp-layout-color0)}</style></head>"
            f'<body data-jp-theme-light="{str(theme == "light").lower()}"><div id="cell"></div>'
            f"<script>const data = {data};{MODEL}{script};"
            "window.widget.render({ model, el: document.getElementById('cell') });</script></body></html>"
        )
        path = tmp_path / f"form-{theme}-{width}.html"
        path.write_text(html, encoding="utf-8")
        context = browser.new_context(viewport={"width": width, "height": height})
        contexts.append(context)
        page = context.new_page()
        page.errors = []
        page.on("pageerror", lambda error: page.errors.append(str(error)))
        page.goto(path.as_uri())
        page.locator(".qcf-fields").wait_for()
        return page

    yield show
    for context in contexts:
        context.close()


def kinds(page):
    return page.locator(".qcf-bar button[aria-pressed]")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_form_and_the_tally_stand_out_from_their_ground(shown, theme, tmp_path):
    page = shown(theme)
    page.screenshot(path=str(tmp_path / f"form-{theme}.png"), full_page=True)
    assert faint_borders(page, ".qcf button, .qcf input, .qcf select, .qcd-answer") == []
    for i in range(kinds(page).count()):
        kinds(page).nth(i).click()
        assert low_contrast(page) == [], kinds(page).nth(i).inner_text()
    kinds(page).first.click()
    page.get_by_role("button", name="Tally by eye").click()
    page.keyboard.press("1")
    assert low_contrast(page) == []
    page.keyboard.press("Escape")
    page.evaluate("answer({ n: 1, text: 'subsample 1, N is empty. Type it.', bad: true })")
    assert low_contrast(page) == []
    assert page.errors == []


def test_everything_that_is_typed_into_has_a_name(shown):
    page = shown()
    nameless = """() => [...document.querySelectorAll('.qcf input, .qcf select, .qcf button')].filter(
        (e) => !(e.getAttribute('aria-label') || (e.tagName === 'BUTTON' && e.textContent.trim()))).length"""
    for i in range(kinds(page).count()):
        kinds(page).nth(i).click()
        assert page.evaluate(nameless) == 0
        named = page.eval_on_selector_all(".qcf-fields [name]", "all => all.map(e => e.getAttribute('aria-label'))")
        assert len(named) == len(set(named)), named  # told apart by name alone
    assert page.locator(".qcf-status").get_attribute("aria-live") == "polite"


def test_somebody_who_is_not_in_the_list_can_write_initials(shown):
    page = shown(people=["op1", "op2"], initials="")
    who = page.get_by_label("initials", exact=True)
    who.select_option("other…")
    assert page.evaluate("document.activeElement.tagName") == "INPUT"
    page.keyboard.type("nk")
    page.keyboard.press("Tab")
    assert page.evaluate("data.initials") == "nk"
    who.fill("")
    page.keyboard.press("Tab")
    assert who.evaluate("e => e.tagName") == "SELECT"  # back to the list
    who.select_option("op2")
    assert page.evaluate("data.initials") == "op2"
    assert shown(people=["op1", "op2"], initials="nk").get_by_label("initials", exact=True).input_value() == "nk"


def test_tab_goes_through_it_in_order_and_enter_to_the_next_field_and_writes(shown):
    page = shown()
    order = """() => [...document.querySelectorAll('.qcf input, .qcf select, .qcf button')].map(
        (e) => e.getAttribute('aria-label') || e.textContent)"""
    focused = "() => document.activeElement.getAttribute('aria-label') || document.activeElement.textContent"
    ring = "() => getComputedStyle(document.activeElement).outlineStyle"
    page.evaluate("document.activeElement.blur()")
    expected, walked = page.evaluate(order), []
    for _ in expected:
        page.keyboard.press("Tab")
        walked.append(page.evaluate(focused))
        assert page.evaluate(ring) == "solid"  # where one stands can be seen
    assert walked == expected
    page.get_by_role("button", name="Count", exact=True).click()
    fields = page.locator(".qcf-fields [name]")
    fields.first.focus()
    for i in range(1, fields.count()):
        page.keyboard.press("Enter")
        assert fields.nth(i).evaluate("e => e === document.activeElement")
        if i == 3:
            page.keyboard.press("-")  # in an empty field: back
            assert fields.nth(i - 1).evaluate("e => e === document.activeElement")
            page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    assert page.evaluate("sent.at(-1).do") == "count"


@pytest.mark.parametrize("width", [640, 390])  # 200 % zoom of a window of 1,280 px is one of 640
def test_at_twice_the_size_and_on_a_phone_nothing_runs_out(shown, width, tmp_path):
    page = shown(width=width, height=450)
    page.screenshot(path=str(tmp_path / f"form-{width}.png"), full_page=True)
    for i in range(kinds(page).count()):
        kinds(page).nth(i).click()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        boxes = page.eval_on_selector_all(
            ".qcf-fields [name], .qcf-bar button", "all => all.map(e => [e.offsetWidth, e.offsetHeight])"
        )
        assert all(w >= 24 and h >= 24 for w, h in boxes)  # WCAG 2.2, 2.5.8


def test_a_store_that_gives_nothing_for_a_moment_loses_no_entry(shown):
    """Only what another page names as taken is taken."""
    page = shown()
    page.evaluate("() => { model.send = () => { throw new Error('no kernel'); }; }")
    page.get_by_role("button", name="Meters calibrated").click()
    page.evaluate(
        "() => { const get = Storage.prototype.getItem; Storage.prototype.getItem = () => null;"
        " setTimeout(() => { Storage.prototype.getItem = get; }, 3000); }"
    )
    page.wait_for_timeout(3500)  # the form looks at the store every two seconds
    page.reload()
    page.get_by_role("button", name="Leave it").click()
    entries = "() => Object.keys(localStorage).filter((name) => name.startsWith('qckit-day:')).length"
    assert page.evaluate(entries) == 0 and page.errors == []


def test_an_entry_that_another_form_took_is_offered_once_only(shown):
    page = shown()
    page.evaluate("() => { model.send = () => { throw new Error('no kernel'); }; }")
    page.get_by_role("button", name="Meters calibrated").click()
    page.locator(".qcf-status").get_by_text("No answer").wait_for()
    page.wait_for_timeout(9000)  # its kernel has been silent for longer than an answer takes
    other = page.context.new_page()
    other.goto(page.url)
    other.get_by_role("button", name="Leave it").click()
    page.wait_for_timeout(2500)
    page.reload()
    assert page.locator(".qcf-left").inner_text() == "" and other.locator(".qcf-left").inner_text() == ""
    assert page.evaluate("() => Object.keys(localStorage).filter((n) => n.startsWith('qckit-day:')).length") == 0


def test_an_entry_is_kept_until_the_log_has_it_and_offered_where_the_kernel_died(shown):
    page = shown()
    page.get_by_role("button", name="Meters calibrated").click()
    kept = "() => Object.entries(localStorage).filter(([name]) => name.startsWith('qckit-day:')).length"
    assert page.evaluate(kept) == 1 and page.locator(".qcf-status").inner_text() == "Writing …"
    page.evaluate("answer({ n: 1, text: 'The meters were calibrated.', bad: false })")
    assert page.evaluate(kept) == 0  # the log has it
    page.get_by_role("button", name="Count", exact=True).click()
    page.locator(".qcf-fields input").first.fill("41")
    page.get_by_role("button", name="Write", exact=True).click()
    assert page.evaluate("sent.length") == 2
    page.reload()  # no answer came, and the page was closed
    page.locator(".qcf-left span").wait_for()
    words = page.locator(".qcf-left").inner_text()
    assert words.startswith("Typed by op1 at ") and "not known to be in the log: count " in words and "41" in words
    page.get_by_role("button", name="Write it").click()
    (again,) = page.evaluate("sent")
    assert again["do"] == "count" and "41" in again["values"].values()
    page.evaluate("answer({ n: 1, text: 'Counted.', bad: false })")
    assert page.evaluate(kept) == 0 and page.locator(".qcf-left").inner_text() == ""
    page.evaluate("() => { model.send = () => { throw new Error('no kernel'); }; }")
    page.get_by_role("button", name="Meters calibrated").click()
    assert page.locator(".qcf-status").inner_text().startswith("No answer: the kernel may have stopped.")
    page.reload()
    page.get_by_role("button", name="Leave it").click()
    assert page.evaluate(kept) == 0
    assert page.errors == []
