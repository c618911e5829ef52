"""The day's form alone on a page: its own script, with a stand-in for the kernel's side and JupyterLab's colours."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from qckit import day
from qckit.day.entry import form as day_form_module

sys.path.append(str(Path(__file__).resolve().parents[1] / "notebooks"))
from test_own_analysis import young_site

HERE = Path(day_form_module.__file__).parent
NAMES = ("page", "forms", "first", "tally", "people", "initials", "status", "site_key")
MODEL = """
const heard = {}, sent = [];
const model = { get: (n) => data[n], set: (n, v) => { data[n] = v; }, save_changes: () => {}, send: (m) => sent.push(m),
  on: (what, f) => { (heard[what] ??= []).push(f); } };
window.sent = sent;
window.answer = (status) => { data.status = status; heard["change:status"].forEach((f) => f()); };
"""


def lab_colours(theme):
    """Colours of JupyterLab's theme, from its own style sheet."""
    folders = [Path(sys.prefix) / "share" / "jupyter" / "lab" / "themes" / "@jupyterlab"]
    sheet = folders[0] / f"theme-{theme}-extension" / "index.css"
    if not sheet.is_file():
        pytest.skip("JupyterLab's themes are not installed here")
    return sheet.read_text(encoding="utf-8")


def form_of_a_young_site(folder):
    """Return the form as the kernel makes it."""
    return day.day_form(young_site(folder / "site", 5), initials="op1", now="2026-11-07T09:10:00+00:00")


def form_page(form, theme="light", **changed):
    """Return the page as HTML; ``changed`` are values of the kernel's side."""
    data = json.dumps({name: getattr(form, name) for name in NAMES} | changed).replace("</", "<\\/")
    script = form._esm.replace("export default", "window.widget =")
    styles = lab_colours(theme) + (HERE / "form.css").read_text(encoding="utf-8")
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><style>{styles}</style>'
        "<style>body{margin:8px;background:var(--jp-layout-color0)}</style></head>"
        f'<body data-jp-theme-light="{str(theme == "light").lower()}"><div id="cell"></div>'
        f"<script>const data = {data};{MODEL}{script};"
        "window.widget.render({ model, el: document.getElementById('cell') });</script></body></html>"
    )
