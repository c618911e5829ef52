"""A new lot: standard test, label, site's minimum and reference lot in; verdict with its numbers out."""

from __future__ import annotations

import math
from dataclasses import asdict

from qckit.columns import is_missing
from qckit.hatch.dose.plan import risk_words
from qckit.hatch.dose.weighing import decimals_of
from qckit.verdicts.finding import Figure, Finding
from qckit.verdicts.new_lot import reasoning, words
from qckit.verdicts.new_lot.evidence import new_lot_evidence
from qckit.verdicts.new_lot.rules import RULES, TONES, Case, first_rule, round_3
from qckit.words import capital, number, plural

__all__ = ["finding_of", "judge_new_lot"]


def judge_new_lot(tables, *, lot, reference=None, detection_u=None, certificate=None, by_hand=(), now=""):
    """Decide whether a lot is good, and how many grams of it to incubate.

    Parameters
    ----------
    tables : site_tables.SiteTables
        The whole site: other lots' cones teach the site's own spread, its settings hold limits and conditions.
    lot : str
        The lot to judge. Its latest standard test is used.
    reference : str, optional
        Lot to compare with; when left out, one run as "reference" beside the test, else one in a
        standard test of the same days, which is compared but held to be no yardstick.
    detection_u : dict, optional
        Relative standard uncertainty of the share of "nauplius" and "cyst" found, from this camera's check against
        hand counts; widens the intervals. Taken from ``certificate`` when left out.
    certificate : agreement.CertificateUse, optional
        Of the camera that took the photos, from ``agreement.latest_certificate``; it is cited. Counts are corrected
        by ``tables.photo_corrections``; where the tables have none, all by this certificate if it holds.
    by_hand : collection of str
        Samples whose photos a person went through object by object; these need no certificate.
    now : str
        Day of the question, ISO 8601: the dose is worked out for it. Empty: the day of the newest record.

    Returns
    -------
    Finding
        Verdict one of accept, accept-larger-dose, repeat-test, reject, not-enough-evidence; the rules are in
        :data:`qckit.verdicts.new_lot.rules.RULES` and in ``details["rules"]``.

    Raises
    ------
    InputError
        The lot or the reference lot is unknown.
    """
    evidence = new_lot_evidence(
        tables,
        lot=lot,
        reference=reference,
        detection_u=detection_u,
        certificate=certificate,
        by_hand=by_hand,
        now=now,
    )
    return finding_of(evidence, tables.settings)


def finding_of(evidence, settings):
    """Turn a ``NewLotEvidence`` into the finding, without working it out again."""
    case = _case(evidence, settings)
    rule = first_rule(case)
    reason = rule.reason(case)
    return Finding(
        kind="new-lot",
        subject=evidence.lot,
        verdict=rule.verdict,
        headline=words.headline(reason, evidence),
        figures=_figures(evidence, settings),
        next_steps=words.next_steps(rule, evidence, settings),
        evidence=reasoning.collect_evidence(evidence, settings),
        would_change=words.would_change(rule, evidence, case),
        cautions=words.cautions(rule, evidence, settings),
        left_out=list(evidence.left_out),
        details=_details(evidence, case, rule, settings),
    )


def _case(evidence, settings):
    limits = settings.limits
    return Case(
        n_cones=len(evidence.cones),
        n_spoiled=len(evidence.spoiled),
        has_spread=evidence.spread is not None,
        full_cysts=float(evidence.cones["full_cysts"].fillna(evidence.cones["nauplii"]).sum()),
        hatch=evidence.summary.hatch_pct,
        efficiency=evidence.summary.hatching_efficiency_per_g,
        min_hatch_pct=limits.min_hatch_pct,
        min_nauplii_per_g=limits.min_nauplii_per_g,
        margin_pct=limits.equivalence_margin_pct,
        claims=evidence.claims,
        pct_decimals=evidence.pct_decimals,
        # a lot that is tested itself is no yardstick: it may be the better of two good ones
        reference=evidence.comparisons if evidence.compared_as == "reference" else (),
    )


def _figures(evidence, settings):
    hatch, efficiency = evidence.summary.hatch_pct, evidence.summary.hatching_efficiency_per_g
    figures = [
        Figure(
            name="hatch_pct",
            label="hatching percentage",
            value=hatch.value,
            low=hatch.low,
            high=hatch.high,
            unit="%",
            decimals=evidence.pct_decimals,
            note=_figure_note(hatch, evidence),
        ),
        Figure(
            name="hatching_efficiency_per_g",
            label="nauplii per gram",
            value=round_3(efficiency.value),
            low=round_3(efficiency.low),
            high=round_3(efficiency.high),
            unit="nauplii/g",
            decimals=0,
            note=_figure_note(efficiency, evidence),
        ),
    ]
    return [*figures, _dose_figure(evidence.dose)] if settings.protocol.is_fed else figures


def _dose_figure(dose):
    if dose is None:
        grams, decimals, note = math.nan, 1, "Nauplii per gram are not known."
    else:
        grams, decimals, note = dose.grams_weighed, decimals_of(dose.balance_step_g), _dose_note(dose)
    return Figure("dose_g", "dose for one feed", grams, unit="g", decimals=decimals, note=note)


def _dose_note(dose):
    """What the dose is for, how often it falls short, and which recovery it counts on."""
    counted = capital(dose.level.photos.words.removeprefix(", "))
    return (
        f"for {number(dose.nauplii)} nauplii: {risk_words(dose.risk)} falls short; {dose.say(dose.best_grams)} g would "
        f"be short every second time. {capital(dose.recovery_basis)} recovery of {dose.recovery_pct:.0f} %"
        f"{f'. {counted}' if counted else ''}"
    )


def _figure_note(estimate, evidence):
    if estimate.note:
        return estimate.note
    n, every = estimate.n_cones, len(evidence.cones)
    text = f"rests on {plural(n, 'cone')}"
    text += f" of {every}, because the counts have gaps: see 'Left out, and why'" if n < every else ""
    if evidence.spread is not None:
        text += f" and {evidence.spread.n_cones} earlier ones"
    return text


def _details(evidence, case, rule, settings):
    return {
        "rule": rule.code,
        "doubts": [{"code": code, "values": values} for code, values in words.doubts(evidence)],
        "choice": _choice(evidence, settings),
        "repeat_chances": {str(k): v for k, v in evidence.plan.items()},
        "world": {
            **vars(evidence.world),
            "earlier": _records(evidence.world.earlier),
            "expected": evidence.world.expected.to_dict(),
        },
        "verdict_words": words.verdict_words(rule.verdict, settings),
        "tone": TONES[rule.verdict],
        "confidence": settings.limits.confidence,
        "rules": [{"code": r.code, "verdict": r.verdict, "text": r.text} for r in RULES],
        "limits": asdict(settings.limits),
        "n_cones": case.n_cones,
        "reference": evidence.reference,
        "compared_as": evidence.compared_as,
        "claims": [asdict(c) for c in evidence.claims],
        "comparisons": [asdict(c) for c in evidence.comparisons],
        "past": [asdict(c) for c in evidence.past],
        "summary": _records(evidence.summary.to_frame()),
        "reference_summary": _records(evidence.reference_summary.to_frame()) if evidence.reference_summary else [],
        "without_doubtful_cones": _records(evidence.trimmed.to_frame()) if evidence.trimmed else [],
        "witnesses": asdict(evidence.summary.witnesses),
        "conditions": _records(evidence.conditions[evidence.conditions["status"] != "ok"]),
        "spread": asdict(evidence.spread) if evidence.spread else None,
        "dose": dose_record(evidence.dose) if evidence.dose else None,
        "certificate": _cited(evidence),
        "budgets": _budgets(evidence),
        "rate": _records(evidence.rate.times) if evidence.rate is not None else [],
        "ageing": _fields(evidence.ageing, _OF_AGEING) if evidence.ageing is not None else None,
    }


_OF_BUDGET = ("sentence", "u", "low", "high", "mc_low", "mc_high")
_OF_AGEING = ("lot", "slope_per_month", "slope_low", "slope_high", "sentence", "note")


def _fields(record, names):
    return {name: getattr(record, name) for name in names}


def _budgets(evidence):
    budgets = {
        "hatching_efficiency_per_g": evidence.budget,
        "hatch_pct": evidence.percentage_budget,
        "output_mg_per_g": evidence.output_budget,
    }
    return {
        name: _fields(budget, _OF_BUDGET) | {"sources": _records(budget.table)}
        for name, budget in budgets.items()
        if budget is not None
    }


def _choice(evidence, settings):
    code, values = words.best_choice_of(evidence, settings)
    return {"code": code, "values": values}


def dose_record(dose):
    """A dose as plain data, with its basis and what speaks against it."""
    names = ("nauplii", "best_grams", "risk", "basis", "efficiency_per_g", "low", "harvested_per_g", "high")
    more = ("n_cones", "recovery_pct", "recovery_basis", "is_enough_cones", "sentence")
    return {name: getattr(dose, name) for name in (*names, *more)} | {
        "grams": dose.grams_weighed,
        "grams_per_cone": dose.grams_per_cone_weighed,
        "day": f"{dose.day:%Y-%m-%d}",
        "renew_by": f"{dose.renew_by:%Y-%m-%d}",
        "warnings": [{"code": w.code, "values": w.values} for w in dose.warnings],
    }


def _cited(evidence):
    use = evidence.certificate
    if use is None:
        return None
    made = use.certificate
    return {
        "name": made.name if made else None,
        "made_at": made.made_at if made else None,
        "check_again_by": made.valid_until if made else None,
        "holds": use.holds,
        "sentence": use.sentence,
        "detection": {stage: list(v) for stage, v in use.detection.items()},
        "hatch_pct_as_counted": evidence.counted_hatch_pct,
    }


def _records(frame):
    return [{k: (None if is_missing(v) else v) for k, v in row.items()} for row in frame.to_dict("records")]
