"""The notebook of one's own analyses: short cells, and of use from the first day of a site."""

import re

import nbformat
import pandas as pd
import pytest

from qckit import open_log
from qckit._paths import notebooks_dir
from qckit.guide.chapters import Chapter, run_chapter
from qckit.log import new_site

NOTEBOOK = notebooks_dir() / "own_analysis.ipynb"


def young_site(folder, n_hatches):
    """A site of one cone, invented: a hatch a day, two subsamples each, no photo."""
    site = new_site(folder, name="Room W")
    if not n_hatches:
        return site
    days = range(2, 2 + n_hatches)
    hatches = pd.DataFrame({"hatch": [f"H2611{d:02d}-A" for d in days]}).assign(lot="L-1", cone="A", operator="op1")
    hatches["started"] = [f"2026-11-{d:02d}T09:00:00+00:00" for d in days]
    hatches = hatches.assign(cysts_g=10.0, volume_ml=10_000.0, purpose="production")
    hatches["temperature_c"] = [27 + d / 10 for d in days]
    rows = [(f"H2611{d:02d}-A", f"2026-11-{d + 1:02d}T09:00:00+00:00", 70 + d * k) for d in days for k in (1, 2)]
    samples = pd.DataFrame(rows, columns=["hatch", "taken", "nauplii"])
    samples["sample"] = [f"{h}-{i}" for i, h in enumerate(samples["hatch"])]
    samples = samples.assign(kind="subsample", umbrella=2, cysts=15, shells=70, volume_ul=250.0, counted_by="person")
    with open_log(site) as log:
        lots = pd.DataFrame({"lot": ["L-1"], "opened": ["2026-11-01"]})
        log.add_many({"lots": lots, "hatches": hatches, "samples": samples}, by="op1")
    return site


def test_each_analysis_has_three_to_six_lines():
    cells = [c.source for c in nbformat.read(NOTEBOOK, as_version=4).cells if c.cell_type == "code"]
    lengths = [sum(bool(line.strip()) for line in source.splitlines()) for source in cells[2:]]
    assert len(lengths) == 5 and all(3 <= n <= 6 for n in lengths)


@pytest.mark.parametrize(
    ("n_hatches", "shown"),
    [
        (0, ["takes five values or more", "takes ten hatches or more"]),
        (1, ["takes five values or more", "takes ten hatches or more"]),
        (5, ["Control chart of hatching_efficiency_per_g, the last 5", "takes ten hatches or more"]),
        (14, ["Control chart of hatching_efficiency_per_g, the last 14", "points a degree, over 14 hatches"]),
    ],
)
def test_it_runs_from_the_first_day_on(tmp_path, monkeypatch, n_hatches, shown):
    monkeypatch.setenv("QCKIT_SITE", str(young_site(tmp_path / "site", n_hatches)))
    cells = tuple((c.cell_type, c.source) for c in nbformat.read(NOTEBOOK, as_version=4).cells)
    html, _ = run_chapter(Chapter("own-analysis", "Own analysis", cells))
    assert 'class="failed"' not in html
    assert all(words in html for words in shown)
    if n_hatches:  # times as a person reads them
        assert f"2026-11-{1 + n_hatches:02d} 09:00 +00:00" in re.sub("<.*?>", "", html) and "T09:00" not in html
