"""Two lots tested beside each other, neither run as reference; and one interval for each figure of a page."""

import re

import pandas as pd
import pytest

from qckit.verdicts.new_lot.evidence import new_lot_evidence
from qckit.verdicts.new_lot.verdict import judge_new_lot
from tests.verdicts.test_new_lot import answer, cone, judge, site

PRICED = {"price": 48.0, "pack_g": 500.0}


def two_lots(n_other, *, purpose="standard test"):
    """Three cones each of N-1 and another lot on the same day."""
    mine = [cone(c) for c in "ABC"]
    return [*mine, *(cone(c, n=n_other, lot="N-2", purpose=purpose) for c in "DEF")]


def lines(finding, code):
    return [line for line in finding.evidence if line.code == code]


def test_a_lot_tested_beside_is_compared_and_said():
    finding = judge(two_lots(160))
    assert finding.details["reference"] == "N-2" and finding.details["compared_as"] == "test"
    questions = [line.question for line in lines(finding, "reference")]
    assert questions and all("lot N-2" in q and "in use" not in q for q in questions)
    assert not any("Next time run two cones" in step for step in finding.next_steps)
    last = finding.next_steps[-1]
    assert last.startswith("Lot N-2 gave 33 % more nauplii per gram than this lot in the same test.")  # 160 / 120


def test_a_better_lot_on_trial_takes_nothing_from_a_good_one():
    alone, beside = judge(two_lots(160)[:3]), judge(two_lots(160))
    assert beside.verdict == alone.verdict == "accept"
    assert judge(two_lots(160, purpose="reference")).verdict == "accept-larger-dose"


def test_lots_alike_are_not_ranked():
    assert "take the cheaper one" in judge(two_lots(120)).next_steps[-1]


def test_the_other_lots_price_stands_beside():
    tables = site(two_lots(160))
    both = pd.concat([tables.lots, tables.lots.assign(lot="N-2")], ignore_index=True)
    priced = tables.but(lots=both.assign(**PRICED))
    finding = judge_new_lot(priced, lot="N-1")
    (line,) = lines(finding, "cost")
    mine, other = line.values["cost_per_million"], line.values["cost_beside"]
    assert mine / other == pytest.approx(160 / 120, rel=1e-6) and f"Lot N-2: {other:.2f} EUR" in line.answer


def test_a_figure_has_one_interval_on_the_page():
    counts = [cone(c, n=n, c=18) for c, n in zip("ABC", (120, 120, 121), strict=True)]  # cones that agree by luck
    evidence, finding = new_lot_evidence(site(counts), lot="N-1"), judge(counts)
    known = [e for e in evidence.summary.estimates.values() if e.is_known]
    assert known and not any(e.is_lucky for e in known)
    figure, text = finding.figures[0], answer(finding, "Does the hatching percentage").answer
    shown = [float(bound) for bound in re.search(r"\((\d+\.\d) to (\d+\.\d) %", text).groups()]
    assert shown == [round(figure.low, 1), round(figure.high, 1)]
