"""A lot's standard test read from a site's log and judged: what the new-lot page shows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from qckit import hatch
from qckit.agreement import doubts_of_stages, latest_certificate, load_tables
from qckit.errors import InputError, unknown_name
from qckit.flag_words import say_flags
from qckit.hatch.lots.standard_tests import TEST_PURPOSES
from qckit.log.typed import moment_of
from qckit.progress import working
from qckit.reports.checked import checked_photos
from qckit.settings import Settings, load_settings
from qckit.stages import STAGE_COLUMNS
from qckit.tables import to_utc
from qckit.verdicts.finding import Finding
from qckit.verdicts.new_lot.evidence import NewLotEvidence, new_lot_evidence
from qckit.verdicts.new_lot.verdict import finding_of
from qckit.words import noun, plural

__all__ = ["LotTest", "load_lot_test", "lot_certificate"]


_SMALL_DOUBT = 0.002  # relative; not worth a sentence
_MANY_FLAGGED = 1 / 3  # from this share of flagged photos on, looking at them is something to do next


@dataclass(frozen=True)
class LotTest:
    """A lot's standard test with the reference beside it."""

    lot: str
    settings: Settings
    finding: Finding
    evidence: NewLotEvidence
    lots: pd.DataFrame
    hatches: pd.DataFrame  # of the test and of the reference beside it
    cones: pd.DataFrame  # hatch.cone_metrics of these; the lot's own first
    subsamples: pd.DataFrame  # hatch.sample_metrics of these
    samples: pd.DataFrame  # as in the log, volumes filled
    counted: pd.DataFrame  # hatch.sample_metrics as counted, before any correction
    harvests: pd.DataFrame  # samples of the lot's hatches, sieve samples among them
    photos: pd.DataFrame  # reports.checked_photos

    @property
    def is_invented(self) -> bool:
        """True where the lot's notes say that its records are invented."""
        notes = self.lots.loc[self.lots["lot"] == self.lot, "notes"].fillna("")
        return bool(notes.str.contains("invented").any())

    @property
    def tested_cones(self) -> pd.DataFrame:
        """The cones of the lot itself."""
        return self.cones[self.cones["lot"] == self.lot]


@working("Judging the lot")
def load_lot_test(site: str | Path, lot: str = "", *, out_dir: str | Path | None = "", now: str = "") -> LotTest:
    """Read a lot's standard test from a site's log, work out its metrics and judge it.

    Parameters
    ----------
    site : path
        The site folder.
    lot : str
        The lot. Empty: the one whose standard test was started last.
    out_dir : path
        Folder of the report, for the checked photos. None: no photo is drawn.
    now : str
        Time of the report: the day of the dose. Empty: the clock.

    Returns
    -------
    LotTest

    Raises
    ------
    InputError
        The lot is not in the log, or no lot was tested yet.
    """
    from qckit.log import open_log

    settings = load_settings(site)
    with open_log(site) as log:
        tables = load_tables(log)
        now = moment_of(now, settings)
        lots, hatches = tables.lots, tables.hatches
        counted, samples = (hatch.fill_volumes(t, tables.photos) for t in (tables.samples_as_counted, tables.samples))
        lot = lot or _latest(hatches)
        if lot not in set(lots["lot"]):
            raise unknown_name("lot", lot, lots["lot"], where="the site's log")
        mine = set(hatches.loc[hatches["lot"] == lot, "hatch"])
        tests = set(hatches.loc[(hatches["lot"] == lot) & (hatches["purpose"] == "standard test"), "hatch"])
        use, detection_u = _with_doubts(log, lot_certificate(tables, lot), tables, tests)
        by_hand = set(tables.hand_checked["sample"])
        evidence = new_lot_evidence(tables, lot=lot, certificate=use, detection_u=detection_u, by_hand=by_hand, now=now)
        tested = hatches[hatches["hatch"].isin(set(evidence.conditions["hatch"]))]
        in_log, right = (_in_order(frame, tested, lot) for frame in (counted, evidence.samples))
        photos = checked_photos(log, in_log, out_dir=out_dir, hatches=tested)
    cones = hatch.cone_metrics(right, tested, lots, reading_h=settings.conditions.reading_h)
    return LotTest(
        lot=lot,
        settings=settings,
        finding=_with_flags(finding_of(evidence, settings), photos),
        evidence=evidence,
        lots=lots,
        hatches=tested,
        cones=cones.sort_values("lot", key=lambda names: names != lot, kind="stable").reset_index(drop=True),
        subsamples=hatch.sample_metrics(right, tested, lots),
        samples=in_log,
        counted=hatch.sample_metrics(in_log, tested, lots),
        harvests=samples[samples["hatch"].isin(mine)],
        photos=photos,
    )


def _in_order(samples, tested, lot):
    """Samples of the tested hatches, the lot's own first."""
    lot_of = samples["hatch"].map(tested.set_index("hatch")["lot"])
    tested_samples = samples[lot_of.notna()].assign(is_other=lot_of != lot).sort_values(["is_other", "hatch", "sample"])
    return tested_samples.drop(columns="is_other").reset_index(drop=True)


def _with_doubts(log, use, tables, hatches):
    """Let doubts about stages widen the intervals where no certificate holds: (certificate, relative uncertainties)."""
    by_photo = tables.samples["hatch"].isin(hatches) & (tables.samples["counted_by"] == "photo")
    photos = tables.photos.loc[tables.photos["sample"].isin(tables.samples.loc[by_photo, "sample"]), "photo"]
    if use.holds or not len(photos):
        return use, None
    doubts = doubts_of_stages(log.objects(photo=photos.tolist()))
    if max(doubts.values(), default=0.0) < _SMALL_DOUBT:
        return use, None
    widest = {stage: max(u, use.detection_u.get(stage, 0.0)) for stage, u in doubts.items()}
    words = " and ".join(f"{100 * u:.1f} % of the {STAGE_COLUMNS[stage]}" for stage, u in widest.items())
    sentence = f"{use.sentence} Until then doubts about stages widen the figures: standard uncertainty {words}."
    return replace(use, sentence=sentence), widest


def lot_certificate(tables, lot):
    """Find the certificate that speaks for the photos of a lot's test on the day of the test.

    Parameters
    ----------
    tables : site_tables.SiteTables
    lot : str

    Returns
    -------
    agreement.CertificateUse
    """
    hatches, samples = tables.hatches, tables.samples
    tests = hatches[hatches["purpose"].isin(TEST_PURPOSES) & (hatches["lot"] == lot)]
    last = tests["started"]
    names = samples.loc[samples["hatch"].isin(set(tests["hatch"])) & (samples["counted_by"] == "photo"), "sample"]
    photos = tables.photos[tables.photos["sample"].isin(set(names))]
    day = str(last.max()) if len(last) else "1970-01-01"
    return latest_certificate(tables.certificates, now=day, photos=photos, scales=tables.scales)


def _with_flags(finding: Finding, photos) -> Finding:
    """Add to a finding what the flags of its photos say: counts that may be wrong make a verdict that may be wrong."""
    flagged = photos[photos["flags"] != ""]
    if not len(flagged):
        return finding
    sentence = flag_sentence(photos)
    step = "Look through the flagged photos and correct wrong marks, or count a few by hand, before you rely on this."
    many = len(flagged) >= _MANY_FLAGGED * len(photos)
    return replace(
        finding,
        cautions=[sentence, *finding.cautions],
        next_steps=[*finding.next_steps, step] if many else finding.next_steps,
    )


def flag_sentence(photos) -> str:
    """Say how many photos carry a flag, and which flags."""
    flags = photos["flags"].str.split(";").explode()
    counts = flags[flags != ""].value_counts()
    if not len(counts):
        return "The one photo carries no flag." if len(photos) == 1 else f"No photo of {len(photos)} carries a flag."
    named = ", ".join(f"{say_flags(name)} ({n})" for name, n in sorted(counts.items()))
    n_flagged = int((photos["flags"] != "").sum())
    carry = f"{n_flagged} of {plural(len(photos), 'photo')} {noun(n_flagged, 'carries', 'carry')} a flag"
    return f"{carry}: {named}. A flag says that a count may be wrong by more than a tenth."


def _latest(hatches) -> str:
    tests = hatches[hatches["purpose"] == "standard test"]
    if not len(tests):
        raise InputError(
            "the site's log holds no standard test. Enter one in the field sheet of hatches, with the purpose "
            "standard test."
        )
    return tests.loc[to_utc(tests["started"]).idxmax(), "lot"]
