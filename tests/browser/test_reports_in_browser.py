"""The demo's pages in a real browser: nothing fails, nothing is asked of any network, all can be seen and opened."""

import shutil
import subprocess

import pytest
from page_checks import low_contrast, tall_rows, unfold

from qckit.day.page.html import day_page
from qckit.day.page.loading import load_day
from qckit.reports.pages import PAGE_FOLDER

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium on this machine"),
]
PAGES = ["index.html", "new-lot-K-124/report.html", "month-2026-10/report.html", "poor-hatch-H261105-B/report.html"]


@pytest.fixture
def opened(browser, demo_site):
    """Return a function that opens a page of the demo's reports and notes what it does."""
    contexts = []

    def open_page(name, width=1200, height=900, **options):
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        page = context.new_page()
        page.said, page.asked = [], []
        page.on("console", lambda message: page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        page.on("request", lambda request: page.asked.append(request.url))
        page.goto((demo_site / "reports" / name).resolve().as_uri())
        page.wait_for_load_state("load")
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.mark.parametrize("name", PAGES)
def test_no_error_and_no_request_leaves_the_page(opened, name):
    page = opened(name)
    assert page.said == []
    assert [url for url in page.asked if not url.startswith("data:")] == [page.url]


@pytest.mark.parametrize("name", PAGES)
def test_links_stay_beside_the_page(opened, name):
    page = opened(name)
    links = page.eval_on_selector_all("a[href]", "all => all.map(a => a.getAttribute('href'))")
    assert [link for link in links if "//" in link or link.startswith(("/", "..", "javascript:"))] == []
    folder = page.url.rsplit("/", 1)[0].removeprefix("file://")
    from pathlib import Path
    from urllib.parse import unquote

    for link in links:
        if not link.startswith("#"):
            assert (Path(unquote(folder)) / unquote(link)).is_file(), link


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("width", [390, 1200])
def test_nothing_runs_out_of_the_window(opened, name, width):
    page = opened(name, width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("name", PAGES[1:])
def test_the_verdict_and_what_to_do_stand_on_the_first_screen(opened, name):
    page = opened(name)
    for what in (".qc-word", ".qc-headline", ".qc-value >> nth=2", ".qc-next li >> nth=0"):
        box = page.locator(what).bounding_box()
        assert box["y"] + box["height"] <= 900, what


@pytest.mark.parametrize("name", PAGES[1:])
def test_every_picture_shows_and_is_described(opened, name):
    page = opened(name)
    pictures = page.eval_on_selector_all("img", "all => all.map(i => [i.alt, i.complete && i.naturalWidth > 0])")
    assert pictures and all(len(alt) > 10 and shown for alt, shown in pictures)


def test_a_photo_opens_larger_by_mouse_and_by_keyboard(opened):
    page = opened(PAGES[1])
    photo = page.locator("details.qc-photo").first
    small = photo.locator("img").bounding_box()["width"]
    photo.locator("summary").click()
    assert photo.locator("img").bounding_box()["width"] > 3 * small
    assert "nauplii" in photo.locator("p").inner_text()
    photo.locator("summary").focus()
    page.keyboard.press("Enter")
    assert photo.locator("img").bounding_box()["width"] == small


@pytest.mark.parametrize("name", PAGES[1:])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints(opened, name, paper):
    page = opened(name)
    pdf = page.pdf(format=paper, print_background=True)
    assert pdf.startswith(b"%PDF") and 2 <= pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") <= 30


def words_of_pages(page, path):
    """Print a page to A4 and return the words of each of its sheets."""
    if shutil.which("pdftotext") is None:
        pytest.skip("there is no pdftotext on this machine")
    page.pdf(path=str(path), format="A4", prefer_css_page_size=True)
    said = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True).stdout
    return said.removesuffix("\f").split("\f")


@pytest.mark.parametrize("name", PAGES[1:])
def test_the_last_sheet_says_how_the_page_came_about_as_a_whole(opened, name, tmp_path):
    last = words_of_pages(opened(name), tmp_path / "print.pdf")[-1]
    assert "How this page came about" in last and "Made from the log's records up to step" in last


def test_a_caption_and_its_photos_are_printed_on_one_sheet(page, tmp_path):
    """Wherever on a sheet they come: without its rule 14 of these 31 captions stood alone at the foot."""
    css = "".join((PAGE_FOLDER / name).read_text("utf-8") for name in ("page.css", "pieces.css"))
    photo = "<svg width='400' height='300'></svg>"
    photo = f'<details class="qc-photo"><summary>{photo}<span>PHOTO</span></summary></details>'
    piece = f'<div class="qc"><p class="qc-caption">CAPTION</p><div class="qc-photos">{photo * 3}</div></div>'
    pieces = [f'<div style="height: {mm}mm; break-before: page">x</div>{piece}' for mm in range(200, 262, 2)]
    page.set_content(f"<style>{css} svg {{ width: 100%; height: auto }}</style><main>{''.join(pieces)}</main>")
    sheets = words_of_pages(page, tmp_path / "print.pdf")
    assert len(sheets) > len(pieces)  # some do not fit beneath
    assert [i for i, words in enumerate(sheets) if "CAPTION" in words and "PHOTO" not in words] == []


@pytest.mark.parametrize("name", PAGES[1:])
def test_no_column_is_cut_off_on_paper(opened, name):
    page = opened(name, width=680)  # what A4 leaves between its margins
    page.emulate_media(media="print")
    cut = "all => all.filter(e => e.scrollWidth > e.clientWidth && getComputedStyle(e).overflowX != 'visible').length"
    assert page.eval_on_selector_all("main .qc-scroll", cut) == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= 680  # else the browser shrinks the whole page


def test_what_stays_folded_on_paper_says_so_and_what_is_open_is_printed(opened):
    page = opened(PAGES[2])
    page.emulate_media(media="print")
    folded = page.locator("details.qc-more").first
    line = "e => getComputedStyle(e, '::after').content"
    told = folded.locator("summary")
    assert "Signals: " in told.inner_text()
    assert told.evaluate(line) == '" Folded on the page; unfold it there to have it on paper."'
    assert not folded.locator("img").is_visible()
    folded.evaluate("e => { e.open = true }")
    assert told.evaluate(line) == "none"
    assert folded.locator("img").is_visible()


def test_it_reads_without_scripts(opened):
    page = opened(PAGES[1], java_script_enabled=False)
    assert page.locator(".qc-word").inner_text()


@pytest.mark.parametrize("name", PAGES[1:])
def test_on_a_phone_charts_scroll_before_their_letters_are_too_small(opened, name):
    page = opened(name, width=390)
    page.eval_on_selector_all("details", "all => all.forEach(e => { e.open = true })")
    sizes = page.eval_on_selector_all("figure img", "all => all.map(i => i.clientWidth / i.getAttribute('width'))")
    assert sizes and min(sizes) > 0.69
    wide = page.locator("figure .qc-scroll").first
    assert wide.evaluate("e => e.scrollWidth > e.clientWidth && getComputedStyle(e).overflowX") == "auto"
    page.emulate_media(media="print")
    kept = "all => all.every(i => i.clientWidth <= i.parentElement.clientWidth)"
    assert page.eval_on_selector_all("figure img", kept)  # on paper nothing scrolls: charts fit their box


@pytest.mark.parametrize("name", PAGES[2:])
def test_on_a_phone_a_chart_over_time_shows_its_newest_hatch(opened, name):
    page = opened(name, width=390)
    newest = page.locator("figure .qc-newest").first
    ends = "e => [e.getBoundingClientRect(), e.firstElementChild.getBoundingClientRect()].map(b => [b.left, b.right])"
    (left, right), (first, last) = newest.evaluate(ends)
    assert last == pytest.approx(right, abs=1) and first < left - 20  # its right end, unmoved, is the one in sight
    newest.evaluate("e => { e.scrollLeft = -e.scrollWidth }")
    assert newest.evaluate(ends)[1][0] == pytest.approx(left, abs=1)
    page.set_viewport_size({"width": 1280, "height": 900})
    (left, right), (first, last) = newest.evaluate(ends)
    assert first == pytest.approx(left, abs=1) and last < right


@pytest.mark.parametrize("name", PAGES[1:])
def test_captions_wrap_to_the_screen_and_stay_when_the_table_scrolls(opened, name):
    page = opened(name, width=390)
    page.eval_on_selector_all("details", "all => all.forEach(e => { e.open = true })")
    page.eval_on_selector_all(".qc-scroll", "all => all.forEach(e => { e.scrollLeft = 60 })")
    ends = "all => all.map(c => [c.getBoundingClientRect().left, c.getBoundingClientRect().right])"
    ends = page.eval_on_selector_all("main .qc-scroll caption", ends)
    assert ends and all(left >= 0 and right <= 390 for left, right in ends)


def test_a_wide_table_takes_the_width_of_the_window_and_shows_where_it_goes_on(opened):
    raw = opened(PAGES[2], width=1280).locator(".qc-widest").locator("..")
    assert raw.evaluate("e => e.scrollWidth - e.clientWidth") == 0
    box = raw.bounding_box()
    assert box["x"] >= 0 and 928 < box["width"] <= 1280
    narrow = opened(PAGES[2], width=1000).locator(".qc-widest").locator("..")
    narrow.scroll_into_view_if_needed()
    assert narrow.evaluate("e => e.scrollWidth > e.clientWidth")
    # the last of the box's pixels are darker while there is more to the right, and white at the table's end
    assert _darkest_at_the_right(narrow) < 220
    narrow.evaluate("e => { e.scrollLeft = e.scrollWidth }")
    assert _darkest_at_the_right(narrow) > 250


def _darkest_at_the_right(box):
    """Return how dark the emptiest row of pixels is at a box's right edge, 0 to 255: letters do not count."""
    import io

    import numpy as np
    from PIL import Image

    with Image.open(io.BytesIO(box.screenshot())) as image:
        edge = np.asarray(image.convert("L"))[:, -4:-1]
    return np.median(edge)


def test_a_short_table_is_not_torn_from_its_heading_on_paper(opened):
    page = opened(PAGES[1])
    page.emulate_media(media="print")
    caption = page.locator("caption", has_text="Mean over cones")
    assert caption.locator("xpath=../..").evaluate("e => getComputedStyle(e).breakInside") == "avoid"


@pytest.mark.parametrize("name", PAGES[1:])
def test_on_a_phone_the_headline_has_three_lines_and_no_row_is_tall_for_a_column_out_of_sight(opened, name):
    page = opened(name, width=390, height=800)
    lines = """e => { const r = document.createRange(); r.selectNodeContents(e);
        return new Set([...r.getClientRects()].map(b => Math.round(b.top))).size; }"""
    assert page.locator(".qc-headline").first.evaluate(lines) <= 3
    unfold(page)
    assert tall_rows(page) == []


@pytest.mark.parametrize("name", PAGES[1:])
@pytest.mark.parametrize(
    ("width", "media"), [(760, "screen"), (1000, "screen"), (1100, "screen"), (1280, "screen"), (680, "print")]
)
def test_no_row_of_a_table_is_tall_at_a_desk_or_on_paper(opened, name, width, media):
    page = opened(name, width=width)
    page.emulate_media(media=media)
    unfold(page)
    assert tall_rows(page) == []


@pytest.mark.parametrize("name", PAGES[1:])
def test_on_a_phone_the_end_of_a_long_answer_is_folded_and_opens_without_a_script(opened, name):
    page = opened(name, width=390, height=800)
    rest, box = page.locator(".qc-folded").first, page.locator(".qc-unfold input").first
    assert not rest.is_visible() and "the rest of the answer to" in box.get_attribute("aria-label")
    box.focus()
    page.keyboard.press("Space")
    assert rest.is_visible()
    page.locator(".qc-unfold span").first.click()
    assert not rest.is_visible()
    page.emulate_media(media="print")
    assert rest.is_visible() and not box.is_visible()  # paper has no fold
    page.emulate_media(media="screen")
    page.set_viewport_size({"width": 1280, "height": 900})
    assert rest.is_visible() and not box.is_visible()


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_stands_out_from_its_ground(opened, name, scheme):
    """Contrast of every piece of text with the ground it stands on; pages stay paper where the system is dark."""
    page = opened(name, color_scheme=scheme)
    unfold(page)
    assert low_contrast(page) == []


@pytest.mark.parametrize("name", PAGES)
def test_at_twice_the_size_nothing_is_cut(opened, name):
    """200 % zoom of a window of 1,280 px is a window of 640 px."""
    page = opened(name, width=640, height=450)
    assert page.evaluate("document.documentElement.scrollWidth") <= 640


def test_on_a_phone_the_charts_of_a_poor_hatch_are_whole(opened):
    """Only the series of hatches, which opens at its newest end, is wider than a telephone."""
    page = opened("poor-hatch-H261105-B/report.html", width=390)
    cut = page.eval_on_selector_all(
        "figure .qc-scroll:not(.qc-newest)",
        "all => all.filter(e => e.scrollWidth > e.clientWidth).map(e => e.querySelector('img').alt)",
    )
    assert cut == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_page_for_the_wall_is_one_sheet(page, demo_site, tmp_path, paper):
    """Its last lines stood alone on a second sheet, parted amid a sentence."""
    wall = tmp_path / "wall.html"
    wall.write_text(day_page(load_day(demo_site, now="2026-11-06T11:00")), encoding="utf-8")
    page.goto(wall.as_uri())
    pdf = page.pdf(format=paper, prefer_css_page_size=False)
    assert pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") == 1
