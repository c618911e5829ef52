"""Headlines on a phone: every kind of verdict, long names of lots and cones, never more than three lines."""

import pytest
from headlines import every_headline, months, new_lot, poor_hatches
from jupyter_lab import CHROMIUM

from qckit import reports
from qckit.guide.pages import _page

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine"),
]
LINES = """all => all.map(e => { const r = document.createRange(); r.selectNodeContents(e);
    return [new Set([...r.getClientRects()].map(b => Math.round(b.top / 4))).size, e.textContent]; })"""


def test_headlines_of_every_kind_have_three_lines_at_most(browser, tmp_path):
    findings = {f.headline: f for f in every_headline()}.values()
    screens = "".join(reports.first_screen(f, site_name="Ostrel Cove nursery").html for f in findings)
    path = tmp_path / "headlines.html"
    path.write_text(_page("headlines", screens), encoding="utf-8")
    page = browser.new_page(viewport={"width": 390, "height": 900})
    try:
        page.goto(path.as_uri())
        page.screenshot(path=str(tmp_path / "headlines-390.png"))
        lines = page.eval_on_selector_all(".qc-headline", LINES)
        words = page.eval_on_selector_all(".qc-word", LINES)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        page.set_viewport_size({"width": 1280, "height": 900})
        wide = page.eval_on_selector_all(".qc-headline", LINES)
    finally:
        page.close()
    assert len(lines) == len(findings) > 300
    assert [(n, text) for n, text in lines if n > 3] == []
    assert [(n, text) for n, text in words if n > 3] == []
    assert [(n, text) for n, text in wide if n > 3] == []
    assert max(n for n, _ in lines) == 3  # cut no shorter than it must be


def test_what_was_cut_stands_whole_below():
    for finding in [*new_lot(), *months(), *poor_hatches()]:
        html = reports.first_screen(finding).text
        assert finding.headline in html
