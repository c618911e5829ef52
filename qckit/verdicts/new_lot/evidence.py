"""Everything a new-lot verdict rests on, gathered as data: the test, what it is held against, dose, times, budgets."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pandas as pd

from qckit.agreement.sample_corrections import corrections_by, photo_rows
from qckit.errors import InputError
from qckit.hatch.budgets.derived import output_budget
from qckit.hatch.budgets.hatching import efficiency_budget, percentage_budget
from qckit.hatch.comparison.lots import compare_hatch_pct, compare_per_g, compare_with_claim
from qckit.hatch.dose.plan import DosePlan, plan_dose
from qckit.hatch.dose.records import dose_records
from qckit.hatch.harvest.losses import HarvestLosses, harvest_losses
from qckit.hatch.harvest.recovery import Recovery, recovery_of
from qckit.hatch.lots.ageing import ageing_trend
from qckit.hatch.lots.doubted import doubted_hatches
from qckit.hatch.lots.standard_tests import TEST_PURPOSES, latest_test
from qckit.hatch.metrics import cone_metrics, require_lot, sample_metrics
from qckit.hatch.notes import gaps
from qckit.hatch.photo_counts import corrected_tables
from qckit.hatch.planning.precision import USUAL_CYSTS, subsample_dispersion
from qckit.hatch.planning.risk import repeat_chances
from qckit.hatch.rate.comparison import compare_rates
from qckit.hatch.rate.fit import fit_rate, time_course
from qckit.hatch.subsamples import fill_volumes
from qckit.hatch.summary import summarise_cones
from qckit.verdicts.new_lot.cones import beside_the_test, choose_cones
from qckit.verdicts.new_lot.other_lots import LotWorld, lot_world
from qckit.verdicts.new_lot.rules import pct_decimals

__all__ = ["NewLotEvidence", "new_lot_evidence"]


_OTHERS = {"reference": "the reference lot {lot}", "test": "lot {lot}, tested beside it"}
_FOLLOWED_HOURS = 4  # fewer counted hours say nothing of a cone's speed
_LEAST_SOUND = 2  # cones of the newest test, or of a lot, beside which one whose figures can hardly be is left out


@dataclass(frozen=True)
class NewLotEvidence:
    """Everything the verdict rests on, as data: for the report's evidence part."""

    lot: str
    lot_row: dict
    reference: str | None
    reference_row: dict  # the reference's row of the lots table; empty without one
    compared_as: str  # "reference", or "test": another lot of the same test, which is held to nothing itself
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
    dose: DosePlan | None  # None where nauplii per gram are not known, or nothing is fed
    rate: object  # HatchRate of the test's time course, or None
    budget: object  # Budget of nauplii per gram, or None
    ageing: object  # Ageing over the tests of the lot or all its hatches; of the reference lot when those are too few
    percentage_budget: object  # Budget of the hatching percentage, or None
    output_budget: object  # Budget of the hatching output, or None
    certificate: object  # agreement.CertificateUse of the photos, or None when no photo was counted
    samples: pd.DataFrame  # subsamples of the test and of the reference, as they went in
    pct_decimals: int  # of the hatching percentage, wherever it is written
    counted_hatch_pct: float  # the percentage as counted, before the certificate's correction; NaN without one
    n_past: int  # cones of the test before this one
    left_out: tuple[str, ...]
    slips: tuple[str, ...]  # cones of this lot's tests whose figures can hardly be, where some can; with the first step
    world: LotWorld  # the site's other lots, and this one's age
    speed: object  # SpeedComparison with the reference lot, or None
    recovery: Recovery  # of the site's harvests
    losses: HarvestLosses  # likewise
    mixing: float  # how much more than chance subsamples of one cone differ, over all records
    cysts_per_subsample: float  # full cysts, mean of this test
    plan: dict  # cones -> share of tests of a lot 8 points above the minimum that would have to be repeated
    production: int  # counted production hatches of the lot


def new_lot_evidence(tables, *, lot, reference=None, detection_u=None, certificate=None, by_hand=(), now=""):
    """Gather what the verdict rests on; arguments as :func:`qckit.verdicts.new_lot.verdict.judge_new_lot`."""
    tables = _by_certificate(tables, certificate, by_hand)
    lots, hatches, readings, settings = (getattr(tables, name) for name in ("lots", "hatches", "readings", "settings"))
    row = require_lot(lots, hatches, lot)
    samples = fill_volumes(tables.samples, tables.photos)
    every = cone_metrics(samples, hatches, lots, reading_h=settings.conditions.reading_h)
    can_be, *doubted = _that_can_be(every, samples, settings)
    test = choose_cones(can_be, hatches, readings, lot=lot, settings=settings, reference=reference)
    used, beside, older = test.used, test.beside, test.older
    in_test = {*used["hatch"], *beside["hatch"]}
    if not (photo_rows(samples, by_hand=by_hand) & samples["hatch"].isin(in_test)).any():
        certificate = None  # no photo of the test needs one
    if detection_u is None and certificate is not None:
        detection_u = {stage: u for stage, u in certificate.detection_u.items() if stage in ("nauplius", "cyst")}
    options = {"confidence": settings.limits.confidence, "spread": test.spread}
    widths = {"measure": settings.measure, "detection_u": detection_u, **options}
    against = {"margin_pct": settings.limits.equivalence_margin_pct, **options}
    summary = _one_interval(summarise_cones(used, lot=lot, **widths))
    keep = used[~used["hatch"].isin(test.unsure)]
    other = _one_interval(summarise_cones(beside, lot=test.reference, **widths)) if len(beside) else None
    claims = _claims(summary, row, settings.limits)
    claimed = (c.against for c in claims if c.what == "hatching percentage")
    dose = _unless_too_little(_dose, tables, lot, now, every) if settings.protocol.is_fed else None
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
        claims=claims,
        compared_as=test.compared_as,
        reference_row=_row_of(lots, test.reference),
        comparisons=_compare(used, beside, _OTHERS[test.compared_as].format(lot=test.reference), against),
        past=_compare(used, older, f"this lot's test of {str(test.older['started'].min())[:10]}", against),
        spread=test.spread,
        differ_more=test.differ_more,
        dose=dose,
        rate=_unless_too_little(_rate, samples, hatches, used),
        budget=_unless_too_little(_budget, used, settings, detection_u),
        percentage_budget=_unless_too_little(_percentage_budget, used, settings, detection_u),
        output_budget=_unless_too_little(_output_budget, used, row, settings),
        ageing=_first_of(_ageing, can_be, (lot, test.reference), settings),
        **_left_out(test, summary, other, doubted, of_tests=set(hatches.loc[_is_test(hatches, lot), "hatch"])),
        certificate=certificate,
        samples=samples[samples["hatch"].isin({*test.conditions["hatch"], *in_test})],
        pct_decimals=pct_decimals(summary.hatch_pct, [settings.limits.min_hatch_pct, *claimed]),
        counted_hatch_pct=_as_counted(tables, used),
        n_past=len(test.older),
        world=lot_world(tables, every, lot, used),
        speed=_unless_too_little(_speed, samples, hatches, used, beside),
        recovery=dose.recovery if dose is not None else recovery_of(samples, every, settings),
        losses=harvest_losses(samples, confidence=settings.limits.confidence),
        **_plan(tables, used, settings.limits, test.spread),
        production=int(((every["lot"] == lot) & (every["purpose"] == "production")).sum()),
    )


def _row_of(lots, lot):
    """A lot's row; empty where there is none."""
    return next(iter(lots[lots["lot"] == lot].to_dict("records")), {})


def _plan(tables, used, limits, spread):
    """How often a test has to be repeated, and what that rests on: mixing over all records, this test's cysts."""
    table = subsamples_as_counted(tables)
    of_test = table.loc[table["hatch"].isin(set(used["hatch"])), "full_cysts"].astype(float)
    mixing, cysts = subsample_dispersion(table), float(of_test.mean()) if of_test.sum() > 0 else USUAL_CYSTS
    plan = repeat_chances(limits, spread=spread, dispersion=mixing, cysts_per_subsample=cysts)
    return {"mixing": mixing, "cysts_per_subsample": cysts, "plan": plan}


def subsamples_as_counted(tables):
    """Metrics of every subsample before any correction: how much they differ beyond chance goes by what was counted.

    A count multiplied by a certificate's correction would differ from the next by that factor more (or less) than
    chance allows it.
    """
    samples = fill_volumes(tables.samples_as_counted, tables.photos)
    return sample_metrics(samples, tables.hatches, tables.lots)


def _left_out(test, summary, other, doubted, *, of_tests):
    """What was not used, and why: of the test, of its figures, of the reference lot's; and the slips asked about."""
    slips, asked = doubted
    gaps_of_other = gaps(other.notes if other else ())
    of_these = [one for one in slips if one.lot in (summary.lot, test.reference)]
    left_out = (
        *(_slip(one) for one in of_these),
        *test.left_out,
        *map(str, gaps(summary.notes)),
        *(f"Lot {test.reference}: {g}" for g in gaps_of_other),
    )
    return {"left_out": left_out, "slips": tuple(_slip(one) for one in asked if one.hatch in of_tests)}


def _slip(one):
    return f"{one.hatch}: {one.why}. {one.first_step}"


def _is_test(hatches, lot):
    return (hatches["lot"] == lot) & (hatches["purpose"] == "standard test")


def _by_certificate(tables, certificate, by_hand):
    """Tables with corrections of the photos: the site's, or those of a certificate given beside tables without any."""
    if tables.photo_corrections is not None or certificate is None or not certificate.holds:
        return tables
    mine = tables.samples[photo_rows(tables.samples, by_hand=by_hand)]
    return corrected_tables(tables.but(photo_corrections=corrections_by(mine, tables.hatches, certificate)))


def _as_counted(tables, used):
    """Mean hatching percentage of the test's cones before any correction; NaN where none of them was corrected."""
    before, after = (t[t["hatch"].isin(set(used["hatch"]))] for t in (tables.samples_as_counted, tables.samples))
    if before["nauplii"].astype(float).equals(after["nauplii"].astype(float)):
        return math.nan
    mine, reading_h = tables.hatches[tables.hatches["hatch"].isin(set(used["hatch"]))], tables.settings.conditions
    return float(cone_metrics(before, mine, photos=tables.photos, reading_h=reading_h.reading_h)["hatch_pct"].mean())


def _one_interval(summary):
    """Give each figure the interval that the verdict rests on: where cones agree by luck, that of counting alone."""
    kept = {
        name: replace(e, low=e.safe_low, high=e.safe_high) if e.is_known else e for name, e in summary.estimates.items()
    }
    return replace(summary, estimates=kept)


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


def _first_of(work, cones, lots, settings):
    """The result of the first lot that has enough for it, or None."""
    found = (_unless_too_little(work, cones, lot, settings) for lot in lots)
    return next((one for one in found if one is not None), None)


def _that_can_be(every, samples, settings):
    """Cones without those whose figures cannot be, or can hardly be where sound ones are left; these; and those to be
    asked about, as some of their lot are sound.

    What tells of no slip of grams, counts or volumes but of a poor cone stays in, as leaving it out flatters a lot.
    """
    doubted = [one for one in doubted_hatches(every, samples, settings) if one.code != "apart"]
    sound = every[~every["hatch"].isin({one.hatch for one in doubted})]
    slips = [one for one in doubted if one.code == "too many" or _n_beside(one, sound, every) >= _LEAST_SOUND]
    asked = [one for one in doubted if one in slips or one.lot in set(sound["lot"])]
    return every[~every["hatch"].isin({one.hatch for one in slips})].reset_index(drop=True), slips, asked


def _n_beside(one, sound, every):
    """Sound cones of a lot's newest test, of a cone of that; of another, all of the lot."""
    newest = set(latest_test(every, one.lot)[0]["hatch"])
    mine = sound[sound["hatch"].isin(newest)] if one.hatch in newest else sound[sound["lot"] == one.lot]
    return len(mine)


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
    tests = every[(every["lot"] == lot) & every["purpose"].isin(TEST_PURPOSES)]
    if tests["started"].astype(str).str[:10].nunique() < 3:  # too few tests: the daily hatches tell of age too
        tests = every[(every["lot"] == lot) & every["purpose"].isin(["production", *TEST_PURPOSES])]
    limits = settings.limits
    return ageing_trend(tests, minimum=limits.min_hatch_pct, confidence=limits.confidence)
