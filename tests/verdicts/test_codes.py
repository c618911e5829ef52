"""Codes beside sentences: every line, note, claim, check and warning of the three verdicts carries one, with values."""

import ast
import json
from pathlib import Path

import jsonschema
import pytest
from poor_cases import planted, site_of
from sources import tree_of
from test_one_truth import tables_of

import qckit
from qckit.hatch.metrics import cone_metrics
from qckit.hatch.notes import _SENTENCES as NOTE_SENTENCES
from qckit.practice import POOR_HATCH, invented_history
from qckit.settings import Settings
from qckit.site_tables import SiteTables
from qckit.verdicts.month import evidence as month_evidence
from qckit.verdicts.month.verdict import review_month
from qckit.verdicts.new_lot import reasoning
from qckit.verdicts.new_lot.verdict import judge_new_lot
from qckit.verdicts.poor_hatch import evidence as poor_evidence
from qckit.verdicts.poor_hatch.verdict import explain_hatch

PACKAGE = Path(qckit.__file__).parent
SCHEMA = json.loads((PACKAGE / "verdicts" / "finding.schema.json").read_text("utf-8"))
CODES = {
    "new-lot": set(reasoning.EVIDENCE_CODES),
    "month": set(month_evidence.EVIDENCE_CODES),
    "poor-hatch": set(poor_evidence.EVIDENCE_CODES),
}
SOURCES = {"new-lot": reasoning, "month": month_evidence, "poor-hatch": poor_evidence}


@pytest.fixture(scope="module")
def findings():
    tables = SiteTables(settings=Settings(), **invented_history())
    made = [judge_new_lot(tables, lot=lot) for lot in ("K-118", "K-121")]
    for months, first, last in ((["2026-02"], "2025-09", "2026-03"), (["2026-09", "2026-10"], "2026-03", "2026-11")):
        hatches = tables.hatches[tables.hatches["started"].between(first, last)]  # a month with what is near it
        mine = set(hatches["hatch"])
        parts = {n: getattr(tables, n)[getattr(tables, n)["hatch"].isin(mine)] for n in ("samples", "readings")}
        made += [review_month(tables.but(hatches=hatches, **parts), month=month) for month in months]
    made.append(explain_hatch(tables, hatch=POOR_HATCH, now="2026-11-06T10:00:00+00:00"))
    made.append(explain_hatch(site_of(planted(("amount",), (0.5,))), hatch="X"))
    return made


def test_every_line_of_evidence_has_a_code_of_its_verdict_and_the_values_of_its_sentence(findings):
    for finding in findings:
        data = finding.to_dict()
        jsonschema.validate(data, SCHEMA)
        for line in data["evidence"]:
            assert line["code"] in CODES[finding.kind], line
            assert line["values"] or line["points"] == "unknown", line


@pytest.mark.parametrize("kind", CODES)
def test_every_line_that_could_be_written_names_its_code(kind):
    """Also lines that no site of these tests has."""
    tree = tree_of(Path(SOURCES[kind].__file__))
    calls = [n for n in ast.walk(tree) if isinstance(n, ast.Call) and ast.unparse(n.func) == "Evidence"]
    assert calls and all(len(call.args) == 5 for call in calls)
    chosen = [call.args[3] for call in calls]
    given = {node.value for node in chosen if isinstance(node, ast.Constant)}
    names = {node.id for node in chosen if isinstance(node, ast.Name)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) in names:
            given |= {n.value for n in (node.value.body, node.value.orelse)}
    assert given == CODES[kind]


def test_notes_claims_checks_and_warnings_have_codes(findings):
    new_lot, month, poor = (next(f.details for f in findings if f.kind == kind) for kind in CODES)
    assert all(c["what"] and c["verdict"] for c in new_lot["claims"] + new_lot["comparisons"] + new_lot["past"])
    assert new_lot["rule"] and all(rule["code"] for rule in new_lot["rules"])
    assert all(d["code"] for d in new_lot["doubts"]) and new_lot["choice"]["code"]
    assert all(w["code"] for w in new_lot["dose"]["warnings"])
    assert all(s["quantity"] and s["kind"] for s in month["shifts"])
    assert all(s["chart"] and s["state"] for s in month["signals"])
    assert all(c["check"] for c in poor["checks"]) and all(c["code"] for c in poor["causes"])
    codes = [row["code"] for row in poor["counted"]]
    assert codes == ["flags", "shells", "recount", "repeat", "mixing", "light", "amounts"]


def test_every_note_on_a_hatch_has_a_code_with_its_sentence():
    full = {"nauplii": 80, "umbrella": 3, "cysts": 15, "shells": 70, "hours": 24.0, "volume_ul": 250.0}
    full |= {"dilution": 1.0, "counted_by": "person", "photos": None, "embryos": None}
    odd = [{"umbrella": None}, {"cysts": None}, {"shells": None}, {"volume_ul": None}, {"hours": 30.0}]
    odd += [{"embryos": 12}, {"counted_by": "photo", "photos": "a.jpg"}, {"nauplii": 0, "umbrella": 0, "cysts": 0}]
    t = tables_of([[full, full | change] for change in odd] + [[full | change] for change in odd])
    notes = [note for row in cone_metrics(t.samples, t.hatches, t.lots)["notes"] for note in row]
    codes = {note.code for note in notes}
    assert len(codes) >= 7 and codes <= set(NOTE_SENTENCES)
    assert all(str(note).endswith(".") for note in notes)
