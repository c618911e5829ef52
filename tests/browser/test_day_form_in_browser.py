"""The day's form by itself in a real browser: contrast in both themes, names and order of what is typed into, zoom.

The form's own script runs with a stand-in for the kernel's side, and with JupyterLab's own colours.
"""

import pytest
from jupyter_lab import CHROMIUM
from page_checks import faint_borders, low_contrast

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
]


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
    page.get_by_role("button", name="Write", exact=True).click()
    page.evaluate("answer({ n: sent.at(-1).n, text: 'subsample 1, N is empty. Type it.', bad: true })")
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
