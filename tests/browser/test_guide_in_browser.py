"""The handbook's pages in a real browser: searched, on a phone, at a desk, on paper."""

import pytest
from jupyter_lab import CHROMIUM
from page_checks import low_contrast, tall_rows, unfold

from qckit import guide

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
]
CHAPTERS = [c.name for c in guide.read_chapters()]


def test_the_contents_can_be_searched_and_the_pages_fit(guide_pages, browser, tmp_path):
    context = browser.new_context(viewport={"width": 390, "height": 800})
    page = context.new_page()
    errors = []
    page.on("pageerror", lambda e: errors.append(str(e)))
    page.goto((guide_pages / "index.html").as_uri())
    for word, where in {"min_hatch_pct": "Reference", "set-aside": "Reference", "smeared": "Troubleshooting"}.items():
        page.get_by_label("Search").fill(word)  # what stands in a table only
        assert where in page.locator("#results").inner_text(), word
    page.get_by_label("Search").fill("synchrony")
    page.locator("#results li").first.wait_for()
    assert "What the figures mean" in page.locator("#results").inner_text()
    assert page.locator("#contents").is_hidden()
    page.screenshot(path=str(tmp_path / "search-390.png"))
    page.locator("#results a", has_text="T10, T50, T90").click()
    assert page.url.endswith("what-the-figures-mean.html#t10-t50-t90-and-synchrony")
    for name in CHAPTERS:
        page.goto((guide_pages / f"{name}.html").as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, name
        page.screenshot(path=str(tmp_path / f"{name}-390.png"), full_page=False)
        pictures = page.eval_on_selector_all("img", "all => all.map(i => i.complete && i.naturalWidth > 0)")
        assert all(pictures), name
        unfold(page)
        assert tall_rows(page) == [], name
        assert low_contrast(page) == [], name
        page.set_viewport_size({"width": 1280, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= 1280, name
        assert tall_rows(page) == [], name
        page.set_viewport_size({"width": 390, "height": 800})
    page.goto((guide_pages / "all.html").as_uri())
    shown = "all => all.map(i => [i.alt, i.complete && i.naturalWidth > 0])"
    pictures = page.eval_on_selector_all("img", shown)
    assert len(pictures) > 12
    assert [alt for alt, is_shown in pictures if not is_shown] == []
    page.emulate_media(media="print")
    assert not page.locator(".guide-nav").count() or page.locator(".guide-nav").first.is_hidden()
    page.pdf(path=str(tmp_path / "handbook.pdf"), format="A4")
    assert (tmp_path / "handbook.pdf").stat().st_size > 100_000
    assert errors == []
    context.close()
