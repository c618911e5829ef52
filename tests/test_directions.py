"""Names of every script on pages: marks shown, not done; names isolated; the rest as it was."""

import ast
import re

import pytest
from sources import trees

from qckit.directions import isolate_names, keep_units

MARKS = "\u202e\u2066\u200f\u061c\x1b\x07\x9b"


@pytest.mark.parametrize(
    ("html", "shown"),
    [
        ("<p>Lot K-121 gave 82 % (78 to 85).</p>", "<p>Lot K-121 gave 82 % (78 to 85).</p>"),
        ("<p>é 漢字 🦐‍🦐</p>", "<p>é 漢字 🦐‍🦐</p>"),
        ("<p>lot x\u202egpj, 5 g</p>", r"<p>lot x\u202egpj, 5 g</p>"),
        ('<img alt="x\u202egpj">', r'<img alt="x\u202egpj">'),
        ("<p>lot אב-12 gave 5 g</p>", "<p>lot <bdi>אב-12</bdi> gave 5 g</p>"),
        ("<p>lot אב גד-1 gave</p>", "<p>lot <bdi>אב גד-1</bdi> gave</p>"),
        ("<td>مختبر</td><td>5</td>", "<td><bdi>مختبر</bdi></td><td>5</td>"),
        ("<svg><text>אב</text></svg>", "<svg><text>אב</text></svg>"),
        ("<script>a='\u202e'</script><p>א</p>", "<script>a='\u202e'</script><p><bdi>א</bdi></p>"),
        ("<title>אב</title><!-- א --><p>a</p>", "<title>אב</title><!-- א --><p>a</p>"),
    ],
)
def test_names(html, shown):
    assert isolate_names(html) == shown
    assert isolate_names(shown).replace("<bdi><bdi>", "<bdi>").replace("</bdi></bdi>", "</bdi>") == shown


def test_no_mark_is_left():
    page = isolate_names(f"<h1>{MARKS}</h1><td title='{MARKS}'>{MARKS}</td>")
    assert not set(page) & set(MARKS)
    assert re.sub(r"\\u[0-9a-f]{4}", "", page) == "<h1></h1><td title=''></td>"


EVIL = f"<b>x</b>{MARKS}"


def test_pages_hold_no_mark(tmp_path):
    import nbformat
    import pandas as pd

    from qckit.reports import blocks
    from qckit.reports.pages import page_html

    pieces = [
        blocks.table(pd.DataFrame({"lot": [EVIL, "אב-12"], "n": [1, 2]}), caption=EVIL),
        blocks.sentences([f"Lot {EVIL} is good.", "Lot אב-12 gave 5 g."]),
        blocks.note(EVIL),
    ]
    outputs = [nbformat.v4.new_output("display_data", {"text/html": p._repr_html_()}) for p in pieces]
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("", outputs=outputs)])
    page = page_html(
        notebook, title=EVIL, made=EVIL, parameters=[("lot", EVIL)], versions=[], photos=[{"photo": EVIL, "sha256": ""}]
    )
    assert not set(page) & set(MARKS)
    assert "<b>x</b>" not in page and "&lt;b&gt;x" in page and r"\u202e" in page
    assert page.count("<bdi>אב-12</bdi>") == 2


def test_the_day_and_the_index_hold_no_mark(tmp_path, monkeypatch):
    import pandas as pd

    from qckit.day.page.html import day_page
    from qckit.day.page.loading import load_day
    from qckit.log import new_site, open_log
    from qckit.reports.index import write_index

    site = new_site(tmp_path / "site", name=f"אב {EVIL}")
    hatch = {"lot": EVIL, "purpose": "production", "cone": EVIL, "cysts_g": 1.6, "volume_ml": 800.0}
    with open_log(site) as log:
        log.add("lots", pd.DataFrame({"lot": [EVIL]}), by="a")
        log.add("hatches", pd.DataFrame([hatch | {"hatch": EVIL, "started": "2026-11-03T09:00:00+00:00"}]), by="a")
    page = day_page(load_day(site, now="2026-11-04T09:30"))
    index = write_index(site).read_text("utf-8")
    for text in (page, index):
        assert not set(text) & set(MARKS) and "<b>x</b>" not in text
    assert r"\u202e" in index


def test_what_a_live_notebook_shows_holds_no_mark():
    import pandas as pd
    from IPython.core.interactiveshell import InteractiveShell

    from qckit import in_notebook
    from qckit.reports import blocks
    from qckit.showing import shown

    shell = InteractiveShell()
    in_notebook.install(shell)
    lots = pd.DataFrame({"lot": [EVIL, "אב-12"], "n": [1, 2]})
    data, _ = shell.display_formatter.format(lots)
    texts = [
        data["text/html"],
        shown(EVIL, [f"Lot {EVIL} gave 5 g.", "Lot אב-12 gave 5 g."], heads=("lot", "n"), rows=[(EVIL, 1)]),
        blocks.sentences([f"Lot {EVIL} gave 5 g.", "Lot אב-12 gave 5 g."])._repr_html_(),
    ]
    for text in texts:
        assert not set(text) & set(MARKS) and "<b>x</b>" not in text and r"\u202e" in text
        assert text.count("<bdi>אב-12</bdi>") == 1


def test_handbook_pages_isolate_names():
    from qckit.guide.pages import _page

    page = _page(EVIL, f"<p>Lot אב-12 of {MARKS}</p>", script="<script>const a = 'אב';</script>")
    body = page[page.index("<main>") :]
    assert "<bdi>אב-12</bdi>" in body and not set(body) & set(MARKS) and "const a = 'אב'" in body


def test_every_html_of_a_result_goes_one_way():
    doors = {"shown", "isolate_names", "day_fragment", "look", "table"}  # a table is an Html, which isolates names
    odd = []
    for path, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef) and node.name == "_repr_html_":
                called = {c.func.id for c in ast.walk(node) if isinstance(c, ast.Call) and isinstance(c.func, ast.Name)}
                odd += [] if called & doors else [str(path)]
    assert odd == []


def test_every_name_of_a_page_stands_in_bdi(tmp_path):
    import nbformat
    import pandas as pd

    from qckit.directions import NAME_COLUMNS, isolated
    from qckit.reports import blocks
    from qckit.reports.pages import page_html

    names = {column: f"{column}-7 <b>" for column in sorted(NAME_COLUMNS)}
    piece = blocks.table(pd.DataFrame([names | {"n": 3, "notes": "warm"}]))
    outputs = [nbformat.v4.new_output("display_data", {"text/html": piece._repr_html_()})]
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("", outputs=outputs)])
    photos = [{"photo": "a <b>.jpg", "sha256": "0"}]
    page = page_html(notebook, title="t", made="m", parameters=[("lot", "K-1 <b>")], versions=[], photos=photos)
    for name in (*names.values(), "K-1 <b>", "a <b>.jpg"):
        assert isolated(name) in page, name
    assert "<bdi>warm</bdi>" not in page and page.count("<bdi>") == len(names) + 2


@pytest.mark.parametrize(
    ("html", "shown"),
    [
        ("<p>84 % of 5 g at 28 °C in 20 l</p>", "<p>84\u00a0% of 5\u00a0g at 28\u00a0°C in 20\u00a0l</p>"),
        ("<p>6.2 mg/l, 33 ppt, 3 lots, 5 grams</p>", "<p>6.2\u00a0mg/l, 33\u00a0ppt, 3 lots, 5 grams</p>"),
        ('<td title="5 g">a 5</td><style>x { width: 30 % }</style>',) * 2,
    ],
)
def test_a_number_keeps_its_unit(html, shown):
    assert keep_units(html) == shown
