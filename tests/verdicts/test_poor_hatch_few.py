"""A poor hatch with few other hatches: what it is compared with is called what it is."""

import html

import numpy as np
import pandas as pd
import pytest
from poor_cases import explain

from qckit.practice import POOR_HATCH, invented_history
from qckit.settings import ConditionSettings
from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.charts import differences_table, draw_readings, factors_table
from qckit.verdicts.poor_hatch.conditions.reference import reference_of


@pytest.fixture(scope="module")
def history():
    return invented_history()


def with_others(history, n):
    """Explain the demo's poor hatch in a site that has n other hatches."""
    production = history["hatches"].query("lot == 'K-121' and purpose == 'production'").sort_values("started")
    earlier = production[production["started"] < "2026-11-01"]["hatch"].tail(n)
    kept = {
        name: history[name][history[name]["hatch"].isin([POOR_HATCH, *earlier])]
        for name in ("hatches", "samples", "readings")
    }
    finding = explain(dict(history) | kept, POOR_HATCH)
    return finding, kept["readings"]


@pytest.mark.parametrize(
    ("n", "where", "note"),
    [
        (1, "gave 30 % (the other hatch 79 %)", "in 1 other hatch 79"),
        (2, "gave 30 % (the two others 8", "in 2 other hatches 8"),
        (3, "gave 30 % (usual 8", "usual 8"),
    ],
)
def test_one_or_two_hatches_are_not_called_usual(history, n, where, note):
    finding, _ = with_others(history, n)
    assert where in finding.headline
    assert finding.figures[0].note.startswith(note)
    assert ("usual" in finding.headline) == (n == 3)
    assert any(f"({n} hatch{'es' if n > 1 else ''})" in e.answer for e in finding.evidence)


def test_the_sites_standard_stands_in_for_other_hatches(history):
    finding, readings = with_others(history, 1)
    said = {row["cause"]: row["sentence"] for row in finding.details["differences"]}
    assert said["early"] == said["overlong"] == "incubation hours: 24.0 h (this site's standard 24.0)"
    assert said["crowded"] == "cysts per litre: 1.6 g/l (this site's most 2.0)"
    assert said["ph"].startswith(
        "pH: lowest 7.40 (this site's least 8.00), below 8 for 17 of the 17 h it was read; about "
    )
    answers = [e.answer for e in finding.evidence if e.question == "What was different?"]
    assert len(answers) == len(set(answers)) == 4
    factors = factors_table(finding).set_index("factor")
    assert factors.loc["pH", "usual"] == "this site's least 8.00" and np.isnan(factors.loc["pH", "unusual"])
    table = differences_table(finding).set_index("quantity")
    assert table.loc["pH", "compared with"] == "this site's least" and table.loc["pH", "that is"] == 8.0
    assert table["unusual"].isna().all()
    ax = draw_readings(readings, finding, started=finding.details["started"])
    assert ax.get_title(loc="left") == "Readings of pH during this hatch" and not ax.patches


def test_the_literature_gives_a_range_whose_good_side_is_not_off():
    crowded, ph = cause("crowded"), cause("ph")
    inside = reference_of(crowded.reading, 1.5, np.array([2.0, 2.1]), floor=0.15)
    assert (inside.value, inside.words, inside.unusual) == (5.0, "literature's range up to", 0.0)
    assert reference_of(crowded.reading, 5.6, np.array([]), floor=0.15).unusual == pytest.approx(2.0)
    own = reference_of(ph.reading, 7.4, np.array([]), floor=0.08, conditions=ConditionSettings(min_ph=7.9))
    assert (own.value, own.words, own.centre) == (7.9, "this site's least", 8.2)
    three = reference_of(ph.reading, 7.4, np.array([8.2, 8.2, 8.3]), floor=0.08, conditions=ConditionSettings())
    assert (three.value, three.words) == (8.2, "usual") and three.unusual == pytest.approx(-10)


def test_labels_say_where_a_loss_comes_from_and_what_a_z_counts(history):
    finding = explain(history, POOR_HATCH)
    row = pd.DataFrame(finding.details["differences"]).set_index("cause").loc["ph"]
    assert 0.5 < row["site_share_pct"] < 10
    assert row["sentence"].endswith(
        f"about {row['expected_loss_pct']:.0f} % fewer nauplii are to be expected (this site's own hatches, weight "
        f"{row['site_share_pct']:.0f} %, and the literature: {row['literature_loss_pct']:.0f} %)"
    )
    table = factors_table(finding).set_index("factor")
    assert table.loc["pH", "basis"] == f"site {row['site_share_pct']:.0f} %, literature"
    pack = next(r for r in finding.details["context"] if r["what"] == "pack")
    assert 1 < abs(pack["z"]) < 2.5 and np.isnan(table.loc["days since opening", "unusual"])
    assert table.loc["days since opening", "basis"] == "this site, chance may make it"
    assert (
        f" hatches show no sure change with that ({abs(pack['points']):.1f} points lower: chance may make it)"
    ) in pack["sentence"]


def test_a_count_in_doubt_speaks_against_a_truly_poor_hatch_and_a_sound_one_for_it(history):
    finding = explain(history, POOR_HATCH)
    points = {row["result"]: set() for row in finding.details["counted"]}
    for line in finding.evidence:
        if line.question == "Is it the count?":
            result = line.answer.split(": ")[1].split(";")[0]
            points[result.split(" beyond")[0]].add(line.points)
    assert points == {"ruled out": {"for"}, "cannot be told": {"unknown"}}
    rows = history["samples"]["hatch"] == POOR_HATCH
    empty = history["samples"].assign(nauplii=history["samples"]["nauplii"].mask(rows, 2))
    doubted = explain(dict(history) | {"samples": empty}, POOR_HATCH)
    shells = next(e for e in doubted.evidence if e.answer.startswith("Nauplii against shells: doubtful"))
    assert shells.points == "against"


@pytest.mark.parametrize("n", [0, 1])
def test_the_page_shows_the_conditions_with_too_few_hatches_to_know_the_usual(history, n):
    from types import SimpleNamespace

    from qckit.reports import poor_page

    finding, readings = with_others(history, n)
    logged = SimpleNamespace(readings=readings)
    page = SimpleNamespace(finding=finding, hatch=POOR_HATCH, tables=logged)
    shown = html.unescape(poor_page.conditions(page).html)
    assert "this site's least" in shown and "8.00" in shown and "7.40" in shown
    assert "2100.00" not in poor_page.readings(page).html and "2100" in poor_page.readings(page).html
