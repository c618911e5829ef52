"""A new lot: standard test, label, site's minimum and reference lot in; verdict with its numbers out."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace

import pandas as pd

from qckit.agreement.sample_corrections import corrections_by, photo_rows
from qckit.errors import InputError
from qckit.hatch.ageing import ageing_trend
from qckit.hatch.budgets import output_budget
from qckit.hatch.comparison import compare_hatch_pct, compare_per_g, compare_with_claim
from qckit.hatch.dose_plan import DosePlan, plan_dose, risk_words
from qckit.hatch.dose_records import dose_records
from qckit.hatch.harvest import Recovery, recovery_of
from qckit.hatch.harvest_losses import HarvestLosses, harvest_losses
from qckit.hatch.intervals import Estimate
from qckit.hatch.metrics import cone_metrics, require_lot, sample_metrics
from qckit.hatch.notes import gaps
from qckit.hatch.photo_counts import corrected_samples
from qckit.hatch.plan import repeat_chances, subsample_dispersion
from qckit.hatch.rate import fit_rate, time_course
from qckit.hatch.rate_comparison import compare_rates
from qckit.hatch.subsamples import fill_volumes
from qckit.hatch.summary import summarise_cones
from qckit.hatch.uncertainty import efficiency_budget, percentage_budget
from qckit.verdicts.finding import Figure, Finding
from qckit.verdicts.new_lot import words
from qckit.verdicts.new_lot.cones import beside_the_test, choose_cones
from qckit.verdicts.new_lot.rules import RULES, TONES, VERDICTS, Case, first_rule, round_3
from qckit.verdicts.new_lot.world import LotWorld, best_choice, lot_world
from qckit.words import capital, plural

__all__ = ["NewLotEvidence", "finding_of", "judge_new_lot", "new_lot_evidence"]


_FOLLOWED_HOURS = 4  # fewer counted hours say nothing of a cone's speed


@dataclass(frozen=True)
class NewLotEvidence:
    """Everything the verdict rests on, as data: for the report's evidence part."""

    lot: str
    lot_row: dict
    reference: str | None
    cones: pd.DataFrame  # cones of the test that went in
    reference_cones: pd.DataFrame
    conditions: pd.DataFrame  # check_conditions of every cone of the test and of the reference
    summary: object  # LotSummary
    reference_summary: object  # LotSummary or None
    trimmed: object  # LotSummary without doubtful cones, or None
    spoiled: tuple[str, ...]  # hatches off the standard
    doubtful: tuple[str, ...]
    claims: tuple
    comparisons: tuple
    past: tuple  # comparisons with the lot's test before this one
    spread: object  # Spread or None
    differ_more: bool  # the cones of this test differ more than this room's usually do
    dose: DosePlan | None  # None where nauplii per gram are not known
    rate: object  # HatchRate of the test's time course, or None
    budget: object  # Budget of nauplii per gram, or None
    ageing: object  # Ageing over the tests of the lot or all its hatches; of the reference lot when those are too few
    percentage_budget: object  # Budget of the hatching percentage, or None
    output_budget: object  # Budget of the hatching output, or None
    certificate: object  # agreement.CertificateUse of the photos, or None when no photo was counted
    samples: pd.DataFrame  # subsamples of the test and of the reference, as they went in
    counted_hatch_pct: float  # the percentage as counted, before the certificate's correction; NaN without one
    n_past: int  # cones of the test before this one
    left_out: tuple[str, ...]
    world: LotWorld  # the site's other lots, and this one's age
    speed: object  # SpeedComparison with the reference lot, or None
    recovery: Recovery  # of the site's harvests
    losses: HarvestLosses  # likewise
    plan: dict  # cones -> share of tests of a lot 8 points above the minimum that would have to be repeated
    production: int  # counted production hatches of the lot


def judge_new_lot(tables, *, lot, reference=None, detection_u=None, certificate=None, by_hand=(), now=""):
    """Decide whether a lot is good, and how many grams of it to incubate.

    Parameters
    ----------
    tables : site_tables.SiteTables
        The whole site: other lots' cones teach the site's own spread, its settings hold limits and conditions.
    lot : str
        The lot to judge. Its latest standard test is used.
    reference : str, optional
        Lot to compare with; found from hatches of the purpose "reference" beside the test when left out.
    detection_u : dict, optional
        Relative standard uncertainty of the share of "nauplius" and "cyst" found, from this camera's check against
        hand counts; widens the intervals. Taken from ``certificate`` when left out.
    certificate : agreement.CertificateUse, optional
        Of the camera that took the photos, from ``agreement.latest_certificate``; it is cited. Counts are corrected
        by ``tables.photo_corrections``; where the tables have none, those of this test by this certificate if it
        holds.
    by_hand : collection of str
        Samples whose photos a person went through object by object; these need no certificate.
    now : str
        Day of the question, ISO 8601: the dose is worked out for it. Empty: the day of the site's newest hatch.

    Returns
    -------
    Finding
        Verdict one of accept, accept-larger-dose, repeat-test, reject, not-enough-evidence; the rules are in
        ``new_lot_rules.RULES`` and in ``details["rules"]``.

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
    """Turn a :class:`NewLotEvidence` into the finding, without working it out again."""
    case = _case(evidence, settings)
    rule = first_rule(case)
    reason = rule.reason(case)
    return Finding(
        kind="new-lot",
        subject=evidence.lot,
        verdict=rule.verdict,
        headline=words.headline(reason, evidence),
        figures=_figures(evidence),
        next_steps=words.next_steps(rule, evidence, settings),
        evidence=words.collect_evidence(evidence, settings),
        would_change=words.would_change(rule, evidence, case),
        cautions=words.cautions(rule, evidence),
        left_out=list(evidence.left_out),
        details=_details(evidence, case, rule, settings),
    )


def new_lot_evidence(tables, *, lot, reference=None, detection_u=None, certificate=None, by_hand=(), now=""):
    """Gather what the verdict rests on; arguments as :func:`judge_new_lot`, result a :class:`NewLotEvidence`."""
    lots, hatches, samples, readings, settings = (
        getattr(tables, name) for name in ("lots", "hatches", "samples", "readings", "settings")
    )
    row = require_lot(lots, hatches, lot)
    samples = fill_volumes(samples, tables.photos)
    every = cone_metrics(samples, hatches, lots, reading_h=settings.conditions.reading_h)
    test = choose_cones(every, hatches, readings, lot=lot, settings=settings, reference=reference)
    tested = {*test.used["hatch"], *test.beside["hatch"]}
    is_photo = photo_rows(samples, by_hand=by_hand) & samples["hatch"].isin(tested)
    certificate = certificate if is_photo.any() else None
    counts, counted = samples[samples["hatch"].isin(set(test.conditions["hatch"]) | tested)], math.nan
    used, beside = test.used, test.beside
    if tables.photo_corrections is None and certificate is not None and certificate.holds:
        tables = tables.but(photo_corrections=corrections_by(samples[is_photo], hatches, certificate))
    right = corrected_samples(counts, tables.photo_corrections)
    if right is not counts:
        counts, counted = right, float(used["hatch_pct"].mean())
        used, beside = (_counted_anew(cones, counts, hatches, lots, settings) for cones in (used, beside))
    if detection_u is None and certificate is not None:
        detection_u = {stage: u for stage, u in certificate.detection_u.items() if stage in ("nauplius", "cyst")}
    options = {"confidence": settings.limits.confidence, "spread": test.spread}
    widths = {"measure": settings.measure, "detection_u": detection_u, **options}
    against = {"margin_pct": settings.limits.equivalence_margin_pct, **options}
    summary = _one_interval(summarise_cones(used, lot=lot, **widths))
    keep = used[~used["hatch"].isin(test.unsure)]
    other = _one_interval(summarise_cones(beside, lot=test.reference, **widths)) if len(beside) else None
    return NewLotEvidence(
        lot=lot,
        lot_row={} if row is None else row.to_dict(),
        reference=test.reference,
        cones=used,
        reference_cones=beside,
        conditions=test.conditions,
        summary=summary,
        reference_summary=other,
        trimmed=_one_interval(summarise_cones(keep, lot=lot, **widths)) if 0 < len(keep) < len(used) else None,
        spoiled=tuple(h for h in used["hatch"] if h in test.off),
        doubtful=tuple(h for h in used["hatch"] if h in test.unsure),
        claims=_claims(summary, row, settings.limits),
        comparisons=_compare(used, beside, f"the reference lot {test.reference}", against),
        past=_compare(used, test.older, f"this lot's test of {str(test.older['started'].min())[:10]}", against),
        spread=test.spread,
        differ_more=test.differ_more,
        dose=_unless_too_little(_dose, tables, lot, now, every),
        rate=_unless_too_little(_rate, samples, hatches, used),
        budget=_unless_too_little(_budget, used, settings, detection_u),
        percentage_budget=_unless_too_little(_percentage_budget, used, settings, detection_u),
        output_budget=_unless_too_little(_output_budget, used, row, settings),
        ageing=_unless_too_little(_ageing, every, lot, settings)
        or _unless_too_little(_ageing, every, test.reference, settings),
        left_out=(
            *test.left_out,
            *map(str, gaps(summary.notes)),
            *(f"Lot {test.reference}: {gap}" for gap in gaps(other.notes if other else ())),
        ),
        certificate=certificate,
        samples=counts,
        counted_hatch_pct=counted,
        n_past=len(test.older),
        world=lot_world(tables, every, lot, used),
        speed=_unless_too_little(_speed, samples, hatches, used, beside),
        recovery=recovery_of(samples, every, settings),
        losses=harvest_losses(samples, confidence=settings.limits.confidence),
        plan=repeat_chances(
            settings.limits,
            spread=test.spread,
            dispersion=subsample_dispersion(sample_metrics(samples, hatches, lots)),
        ),
        production=int(((every["lot"] == lot) & (every["purpose"] == "production")).sum()),
    )


def _one_interval(summary):
    """Give each figure the interval that the verdict rests on: where cones agree by luck, that of counting alone."""
    kept = {
        name: replace(e, low=e.safe_low, high=e.safe_high)
        for name, e in vars(summary).items()
        if isinstance(e, Estimate) and e.is_known
    }
    return replace(summary, **kept)


def _compare(used, others, name, against):
    """Both comparisons with other cones, or none when either side is empty."""
    if not (len(used) and len(others)):
        return ()
    return tuple(compare(used, others, other=name, **against) for compare in (compare_hatch_pct, compare_per_g))


def _claims(summary, row, limits):
    if row is None:
        return ()
    pairs = (
        ("hatching percentage", summary.hatch_pct, row.get("claimed_hatch_pct")),
        ("hatching efficiency", summary.hatching_efficiency_per_g, row.get("claimed_nauplii_per_g")),
    )
    return tuple(
        compare_with_claim(e, float(claim), what, margin_pct=limits.equivalence_margin_pct)
        for what, e, claim in pairs
        if claim is not None and not pd.isna(claim) and claim > 0 and math.isfinite(e.value)
    )


def _unless_too_little(work, *given, **named):
    """The result, or None where there is too little for it."""
    try:
        return work(*given, **named)
    except InputError:
        return None


def _counted_anew(cones, samples, hatches, lots, settings):
    """Rows of ``cone_metrics`` of the same hatches, from corrected counts."""
    mine = hatches[hatches["hatch"].isin(set(cones["hatch"]))]
    return cone_metrics(
        samples[samples["hatch"].isin(set(cones["hatch"]))], mine, lots, reading_h=settings.conditions.reading_h
    )


def _dose(tables, lot, now, every):
    """The dose of every page; the hatches worked out already are used again where none is later than the day."""
    records = dose_records(tables, day=now, cones=None if now else every)
    return plan_dose(tables, lot, day=now, records=records)


def _rate(samples, hatches, used):
    """Of the test's own cones, or of other hatches of the lot followed by the clock beside it."""
    course = time_course(samples, beside_the_test(hatches, used))
    followed = course.groupby("hatch")["hours"].transform("nunique") >= _FOLLOWED_HOURS
    return fit_rate(course[followed])


def _speed(samples, hatches, used, beside):
    """How fast the lot hatches beside the reference lot, where both were followed by the clock."""
    courses = [time_course(samples, beside_the_test(hatches, cones)) for cones in (used, beside)]
    names = [cones["lot"].iloc[0] for cones in (used, beside) if len(cones)]
    if len(names) < 2:
        raise InputError("No lot was run beside the test.")
    return compare_rates(*courses, lot=names[0], other=names[1])


def _budget(used, settings, detection_u):
    u = (detection_u or {}).get("nauplius", 0.0)
    return efficiency_budget(used, settings.measure, detection_u=u, confidence=settings.limits.confidence)


def _percentage_budget(used, settings, detection_u):
    detection = {stage: (1.0, u) for stage, u in (detection_u or {}).items()}
    return percentage_budget(used, detection=detection, confidence=settings.limits.confidence)


def _output_budget(used, row, settings):
    weight = None if row is None or pd.isna(row.get("dry_weight_ug")) else float(row["dry_weight_ug"])
    return output_budget(used, weight, settings.measure, confidence=settings.limits.confidence)


def _ageing(every, lot, settings):
    tests = every[(every["lot"] == lot) & every["purpose"].isin(["standard test", "reference"])]
    if tests["started"].astype(str).str[:10].nunique() < 3:  # too few tests: the daily hatches tell of age too
        tests = every[(every["lot"] == lot) & every["purpose"].isin(["production", "standard test", "reference"])]
    limits = settings.limits
    return ageing_trend(tests, minimum=limits.min_hatch_pct, confidence=limits.confidence)


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
        reference=evidence.comparisons,
    )


def _figures(evidence):
    hatch, efficiency = evidence.summary.hatch_pct, evidence.summary.hatching_efficiency_per_g
    figures = [
        Figure(
            name="hatch_pct",
            label="hatching percentage",
            value=hatch.value,
            low=hatch.low,
            high=hatch.high,
            unit="%",
            decimals=1,
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
    dose = evidence.dose
    if dose is None:
        figures.append(
            Figure(
                "dose_g",
                "dose for one feed",
                math.nan,
                unit="g",
                decimals=1,
                note="Nauplii per gram are not known.",
            )
        )
    else:
        figures.append(
            Figure("dose_g", "dose for one feed", dose.grams, unit="g", decimals=1, note=_dose_note(dose)),
        )
    return figures


def _dose_note(dose):
    """What the dose is for, how often it falls short, and which recovery it counts on."""
    return (
        f"for {dose.nauplii:,.0f} nauplii: {risk_words(dose.risk)} falls short; {dose.best_grams:.1f} g would be short "
        f"every second time. {capital(dose.recovery_basis)} recovery of {dose.recovery_pct:.0f} %"
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
        "verdict_words": VERDICTS[rule.verdict],
        "tone": TONES[rule.verdict],
        "confidence": settings.limits.confidence,
        "rules": [{"code": r.code, "verdict": r.verdict, "text": r.text} for r in RULES],
        "limits": asdict(settings.limits),
        "n_cones": case.n_cones,
        "reference": evidence.reference,
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
        "budgets": {
            name: {
                "sentence": budget.sentence,
                "u": budget.u,
                "low": budget.low,
                "high": budget.high,
                "mc_low": budget.mc_low,
                "mc_high": budget.mc_high,
                "sources": _records(budget.table),
            }
            for name, budget in (
                ("hatching_efficiency_per_g", evidence.budget),
                ("hatch_pct", evidence.percentage_budget),
                ("output_mg_per_g", evidence.output_budget),
            )
            if budget is not None
        },
        "rate": _records(evidence.rate.times) if evidence.rate is not None and evidence.rate.best is not None else [],
        "ageing": None
        if evidence.ageing is None
        else {
            "lot": evidence.ageing.lot,
            "slope_per_month": evidence.ageing.slope_per_month,
            "slope_low": evidence.ageing.slope_low,
            "slope_high": evidence.ageing.slope_high,
            "sentence": evidence.ageing.sentence,
            "note": evidence.ageing.note,
        },
    }


def _choice(evidence, settings):
    code, values = best_choice(
        evidence.world, evidence.summary.hatch_pct.value, evidence.reference_summary, settings.limits.min_hatch_pct
    )
    return {"code": code, "values": values}


def dose_record(dose):
    """A dose as plain data, with its basis and what speaks against it."""
    names = ("nauplii", "grams", "best_grams", "risk", "basis", "efficiency_per_g", "low", "harvested_per_g", "high")
    more = ("n_cones", "grams_per_cone", "recovery_pct", "recovery_basis", "is_enough_cones", "sentence")
    return {name: getattr(dose, name) for name in (*names, *more)} | {
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
    return [
        {k: (None if v is None or (not isinstance(v, str) and pd.isna(v)) else v) for k, v in row.items()}
        for row in frame.to_dict("records")
    ]
