"""Pieces of a page: numbers as written, text escaped, pictures described."""

import base64
import io
import math
import re
from urllib.parse import unquote

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from PIL import Image

from qckit import draw, reports
from qckit.errors import InputError
from qckit.reports import pictures
from qckit.reports.blocks import tone_of
from qckit.reports.pictures import _lighter
from qckit.reports.short_text import lines_on_a_phone, part_answer, shorten_headline
from qckit.verdicts.finding import Evidence, Figure, Finding
from qckit.words import number

EVIL = "<script>alert('x')</script>"


def finding(**change):
    base = {"kind": "new-lot", "subject": "K", "verdict": "accept", "headline": "Good."}
    return Finding(**(base | change))


def test_no_text_of_a_finding_gets_through_unescaped():
    f = finding(
        subject=EVIL,
        verdict=EVIL,
        headline=EVIL,
        figures=[Figure(EVIL, EVIL, 1.0, unit=EVIL, note=EVIL)],
        next_steps=[EVIL],
        evidence=[Evidence(EVIL, EVIL, EVIL, EVIL, {EVIL: EVIL})],
        would_change=[EVIL],
        cautions=[EVIL],
        left_out=[EVIL],
        details={"tone": EVIL, "verdict_words": EVIL},
    )
    frame = pd.DataFrame({EVIL: [EVIL]})
    shown = [
        reports.first_screen(f, site_name=EVIL, now=EVIL),
        reports.evidence(f),
        reports.would_change(f),
        reports.cautions(f),
        reports.left_out(f),
        reports.sentences([EVIL]),
        reports.note(EVIL),
        reports.table(frame, caption=EVIL),
        reports.table(frame, headings={EVIL: EVIL}),
        reports.figure(plt.subplots()[1], alt=EVIL, caption=EVIL),
        reports.thumbnails(pd.DataFrame({"path": ["no"], "title": [EVIL], "note": [EVIL]}), caption=EVIL),
    ]
    for piece in shown:
        assert "<script" not in piece._repr_html_() and "&lt;script&gt;" in piece._repr_html_()


def test_first_screen_says_numbers_with_their_interval():
    f = finding(
        figures=[
            Figure("hatching_efficiency_per_g", "hatching efficiency", 213456.0, 2e5, 2.3e5, "nauplii/g"),
            Figure("dose_g", "dose", 4.26, math.nan, math.nan, "g", 1, "one cone only"),
            Figure("x", "unknown", math.nan, unit="g"),
        ],
        next_steps=["Do this."],
        details={"confidence": 0.9},
    )
    text = re.sub(r"<style.*?</style>|<[^>]+>", " ", reports.first_screen(f, invented=True).html, flags=re.S)
    text = " ".join(text.split())
    assert "Hatching efficiency 213 456 nauplii/g 200 000 to 230 000 90 % interval" in text
    assert "Dose 4.3 g one cone only" in text
    assert "Unknown – What to do next Do this." in text
    assert text.startswith(
        "Lot K Invented records: made up to show the kit; nothing here was measured. Accept (good) Good."
    )


@pytest.mark.parametrize(
    "verdict, details, tone",
    [
        ("accept", {}, "good"),
        ("reject", {}, "bad"),
        ("repeat-test", {}, "attention"),
        ("not-enough-evidence", {}, "unknown"),
        ("accept", {"tone": "bad"}, "bad"),
        ("accept", {"tone": "x"}, "good"),
    ],
)
def test_tone(verdict, details, tone):
    assert tone_of(finding(verdict=verdict, details=details)) == tone


def test_numbers_as_written():
    assert [number(1234.5, 1), number(-3.0), number(math.nan), number(None)] == ["1234.5", "−3", "–", "–"]


def test_table_cells():
    frame = pd.DataFrame(
        {
            "count": pd.array([12345, None], dtype="Int64"),
            "ph": [8.123456, np.nan],
            "ok": pd.array([True, None], dtype="boolean"),
            "word": ["a<b", None],
        }
    )
    html = reports.table(frame, decimals={"ph": 2}, headings={"ph": "pH"}).html
    assert re.findall(r"<td[^>]*>(.*?)</td>", html) == ["12\u202f345", "8.12", "yes", "a&lt;b", "–", "–", "–", "–"]
    assert re.findall(r"<th [^>]*>(.*?)</th>", html) == ["count", "pH", "ok", "word"]


def test_a_single_sentence_is_a_paragraph():
    assert reports.sentences(["a < b."]).html == '<div class="qc qc-list"><p>a &lt; b.</p></div>'
    assert reports.sentences(["One.", "Two."]).html.count("<li>") == 2
    assert "<ol><li>" in reports.sentences(["Only step."], ordered=True).html
    assert reports.sentences([]).html.count("<p>") == 1


def test_times_in_tables_go_to_the_minute_and_names_stay():
    frame = pd.DataFrame(
        {"started": ["2026-11-04T09:00:00+00:00"], "sample": ["2026-11-04T09:00"], "day": ["2026-11-04"]}
    )
    html = reports.table(frame.assign(at=pd.Timestamp("2026-11-04T09:00:00Z"))).html
    cells = [re.sub("<.*?>", "", cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", html)]
    assert cells == ["2026-11-04 09:00 +00:00", "2026-11-04T09:00", "2026-11-04", "2026-11-04 09:00 +00:00"]


def test_long_and_empty_tables_say_so():
    html = reports.table(pd.DataFrame({"n": range(300)}), caption="Counts.", limit=5).html
    assert html.count("<tr>") == 6 and "Counts. The first 5 of 300 rows." in html
    assert "No rows." in reports.table(pd.DataFrame({"n": []})).html


def test_figure_needs_alt_text_and_is_closed():
    ax = plt.subplots()[1]
    with pytest.raises(InputError) as caught:
        reports.figure(ax, alt=" ")
    assert str(caught.value) == "a figure has no alt text. Say in alt= what it shows, with its main numbers."
    before = len(plt.get_fignums())
    html = reports.figure(ax, alt="A line.").html
    assert len(plt.get_fignums()) == before - 1
    assert 'alt="A line."' in html and 'src="data:image/svg+xml,%3Csvg' in html


def test_letters_of_a_chart_narrower_than_its_figure_keep_their_size():
    ax = plt.subplots(figsize=(8, 3))[1]
    ax.set_aspect("equal")
    html = reports.figure(ax, alt="A square.").html
    drawn = unquote(re.search(r"svg\+xml,([^\"]+)", html)[1])
    points = float(re.search(r"width='([\d.]+)pt'", drawn)[1])
    shown = int(re.search(r'width="(\d+)"', html)[1])
    assert shown == pytest.approx(points * 96 / 72, abs=1)  # CSS: 96 pixels and 72 points to the inch
    assert shown < 0.6 * 8 * 96


def test_the_same_figure_gives_the_same_bytes():
    def draw():
        ax = plt.subplots()[1]
        ax.plot([1, 2, 3], [2, 1, 3], marker="o")
        ax.fill_between([1, 2], [0, 0], [1, 1], hatch="///")
        return reports.figure(ax, alt="x").html

    assert draw() == draw()


def test_a_very_large_chart_becomes_a_bitmap():
    ax = plt.subplots()[1]
    rng = np.random.default_rng(1)
    ax.scatter(*rng.random((2, 9000)), c=rng.random(9000))
    html = reports.figure(ax, alt="many points").html
    assert "data:image/png;base64," in html and len(html) < 1_500_000


def test_without_photos_no_caption_speaks_of_them():
    html = reports.thumbnails(pd.DataFrame({"path": [], "title": [], "note": []}), caption="Each opens larger.").html
    assert "There is no photo." in html and "opens larger" not in html


def test_thumbnails_embed_small_pictures_and_keep_the_large_beside(tmp_path):
    source = tmp_path / "a photo #1.jpg"
    Image.effect_noise((2000, 1500), 60).convert("RGB").save(source)
    out = tmp_path / "out"
    frame = pd.DataFrame({"path": [str(source), ""], "title": ["first", "second"], "note": ["12 nauplii", ""]})
    html = reports.thumbnails(frame, out_dir=out, caption="Look.").html
    kept = list((out / "checked").iterdir())
    assert [p.read_bytes() == source.read_bytes() for p in kept] == [True]
    assert f'href="checked/{kept[0].name}"' in html and "second: its photo cannot be shown." in html
    data = base64.b64decode(re.search(r"data:image/jpeg;base64,([^\"]+)", html)[1])
    (tmp_path / "small.jpg").write_bytes(data)
    with Image.open(tmp_path / "small.jpg") as image:
        assert image.size == (1100, 825)


def test_no_more_photos_than_the_limit(tmp_path):
    Image.new("RGB", (50, 40)).save(tmp_path / "p.jpg")
    frame = pd.DataFrame({"path": [str(tmp_path / "p.jpg")] * 40, "title": [f"t{i}" for i in range(40)]})
    html = reports.thumbnails(frame).html
    assert html.count("<img") == 30 and "The first 30 of 40 are shown." in html


@pytest.mark.parametrize(
    "headline, short, rest",
    [
        ("Use it.", "Use it.", ""),
        ("Short. " + "Then a long explanation follows, with many words in it. " * 3, "Short.", "Then"),
        (
            "Hatches of cone C stand 8.5 points below their lots' level since 12 Oct 2026 (between 21 Sep and 13 Oct), "
            "and with them goes the oxygen.",
            "Hatches of cone C stand 8.5 points below their lots' level since 12 Oct 2026.",
            "Hatches",
        ),
        ("word " * 40, ("word " * 15) + "word", "word"),
        ("W" * 90, "W" * 40, "WWW"),
    ],
)
def test_a_long_headline_is_cut_where_it_can_be_and_stands_whole_below(headline, short, rest):
    cut, below = shorten_headline(headline)
    assert cut.startswith(short.rstrip(".")[:60]) and lines_on_a_phone(cut) <= 3
    assert below.startswith(rest)
    assert bool(below) == bool(rest)


def test_a_long_answer_is_parted_where_a_phone_folds_it_and_nothing_of_it_is_lost():
    question = "How often will K-118 fall below the minimum?"
    assert part_answer(question, "Hardly ever.") == ("Hardly ever.", "")
    answer = "K-118: 99 of 100 hatches. " + "The level is 61 % and hatches scatter by 4 points, so that most fall. " * 4
    begin, rest = part_answer(question, answer)
    assert begin == answer[: answer.index(" The level", 40)] and begin + rest == answer
    html = reports.evidence(finding(evidence=[Evidence(question, answer, "against", "shift", {})])).html
    assert html.count('type="checkbox"') == 1 and re.sub("<[^>]*>", "", html).count("so that most fall.") == 4
    for long in ("word " * 60, "x" * 300, "(" + "in brackets, " * 30, "One sentence. " * 30):
        assert "".join(part_answer(question, long)) == long


def test_a_question_with_several_answers_is_read_once_and_heard_with_each():
    asked = ("Is it poor?", "Is it poor?", "Is it the lot?", "Is it poor?")
    html = reports.evidence(finding(evidence=[Evidence(q, "Yes.", "for", "shift", {}) for q in asked])).html
    rows = re.findall(r"<tr( class=qc-again)?>.*?<th scope=\"row\">(.*?)</th>", html)
    hidden = '<span class="qc-hidden">Is it poor?</span>'
    assert [shown for _, shown in rows] == ["Is it poor?", hidden, "Is it the lot?", "Is it poor?"]
    assert [bool(again) for again, _ in rows] == [False, True, False, False]


def test_a_drawing_is_lighter_and_shows_the_same_marks():
    fig, ax = plt.subplots()
    ax.plot(range(60), range(60), "o", label="hatch")
    ax.legend()
    buffer = io.BytesIO()
    fig.savefig(buffer, format="svg")
    plt.close(fig)
    text = re.sub(r"\s*\n\s*", " ", re.sub(r">\s+<", "><", buffer.getvalue().decode()))
    light = _lighter(text)
    assert len(light) < 0.85 * len(text)
    places = r'<use xlink:href="(#[^"]+)" x="([^"]+)" y="([^"]+)"'
    assert re.findall(places, light) == re.findall(places, text) and len(re.findall(places, text)) >= 60
    names = set(re.findall(r' id="([^"]+)"', light))
    assert set(re.findall(r'(?:href="|url\()#([^")]+)', text)) <= names
    colours = set(re.findall(r"fill: (#\w+)", text))
    assert set(re.findall(r"fill: (#\w+)", light)) == colours


def test_words_are_not_broken_where_there_is_room():
    """A column of words takes the room there is; headings of numbers stay narrow, long texts share what they need."""
    trace = pd.DataFrame({"trace": ["late (umbrellas and unopened cysts)"], "share of what was seen": [4.0]})
    widths = [int(n) for n in re.findall(r"--wide: (\d+)ch", reports.table(trace).html)]
    assert widths == [35, 12]
    texts = pd.DataFrame({"for": ["a " * 60], "against": ["b " * 90]})
    assert sum(int(n) for n in re.findall(r"--wide: (\d+)ch", reports.table(texts).html)) <= 84


def test_a_headline_cut_before_its_last_bracket_is_not_said_twice():
    headline = (
        "To be explained: all cones 6.0 °C lower in temperature since 18 Nov 2026 and 1 hatch stands out (H261118-B)."
    )
    assert shorten_headline(headline) == (headline.replace(" (H261118-B)", ""), "H261118-B.")


@pytest.mark.parametrize("layout", ["constrained", None])
def test_a_chart_is_laid_out_as_matplotlib_itself_lays_it_out(layout):
    """The same drawing as ``savefig`` with a tight box makes, which draws everything once more to find that box."""
    import matplotlib as mpl
    import matplotlib.pyplot as plt

    def chart():
        with draw.style():
            fig, axes = plt.subplots(1, 2, layout=layout)
            draw.points(range(40), [v % 7 for v in range(40)], ax=axes[0], label="hatch")
            draw.end_labels([(3.0, "usual"), (3.1, "minimum")], ax=axes[0])
            axes[0].legend()
            axes[1].set(title="beside it", ylabel="long words beside the axis", xlabel="day")
        return fig

    with mpl.rc_context({"svg.hashsalt": "qckit", "svg.fonttype": "path", "savefig.bbox": "tight"}):
        fig, buffer = chart(), io.BytesIO()
        fig.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None}, facecolor="white")
        plt.close(fig)
    own = re.sub("p[0-9a-f]{10}", "p", pictures._svg_uri(buffer.getvalue().decode("utf-8")))
    assert re.sub("p[0-9a-f]{10}", "p", pictures._picture(chart())[0]) == own
