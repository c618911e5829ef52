"""The accuracy of one camera on one page: how well its counts agree with a person's, and until when."""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np

from qckit.agreement.certificate_words import (
    GOOD_OBJECTS,
    GOOD_PHOTOS,
    LEAST_PHOTOS_TO_JUDGE,
    LEAST_RIGHT,
    MOST_BIAS_PCT,
    agreement_sentences,
    say_fitness,
    say_until,
)
from qckit.agreement.paired import bland_altman, concordance
from qckit.agreement.rates import CountRates, rates_from_counts, rates_from_matches
from qckit.agreement.spoilt import Spoilt
from qckit.agreement.suspects import Suspect
from qckit.errors import InputError
from qckit.showing import InWords
from qckit.stages import FULL_CYST_STAGES, STAGE_COLUMNS, STAGE_RECORDS
from qckit.words import first_few

__all__ = ["Certificate", "certify_camera", "hatch_pct_of", "read_certificate"]

# common practice, no source: a half year where the check is a good one, a quarter where it is a small one
_DAYS_GOOD, _DAYS_SMALL = 182, 91


@dataclass(frozen=True, repr=False)
class Certificate(InWords):
    """What is known of one camera's counts.

    ``agreement`` has a row per figure (four stages and hatch_pct): bias, limits of agreement (photo minus hand) and
    concordance. ``kind`` is the kind of light or sample, where somebody names it. ``sentences`` say it in words;
    ``valid_until`` is the date to check again.

    Examples
    --------
    >>> certificate.n_photos
    4
    """

    name: str
    camera: str
    magnification: str
    kind: str
    made_at: str
    made_by: str
    counter_version: str
    n_photos: int
    n_objects: int
    rates: CountRates
    agreement: object
    valid_until: str
    sentences: tuple[str, ...]
    hatch_pairs: tuple = ()  # (photo, H% by the kit, H% by hand), for the chart; [%]
    suspects: tuple[Suspect, ...] = ()  # single counts that spoil the check; nothing is judged while there are any
    misplaced: tuple[tuple[str, ...], ...] = ()  # photos whose rows stand at each other's photos; likewise
    fitness: str = ""  # code: fit, not fit, too few, spoilt; empty: made before codes were kept

    @property
    def is_too_small(self) -> bool:
        """Whether too few photos stand behind it for limits that say something."""
        return self.n_photos < LEAST_PHOTOS_TO_JUDGE

    @property
    def may_correct(self) -> bool:
        """Whether counts may be corrected by it: the one rule, for checks by eye, for learning and for reports."""
        return not (self.is_too_small or self.fitness == "spoilt")

    def _in_words(self) -> dict:
        what = ", ".join(filter(None, (self.camera, self.magnification, self.kind)))
        return {"title": f"Certificate of {what}", "lines": self.sentences}

    def plot(self, ax=None):
        """Draw what the kit made of each stage, where objects were matched; else H% by the kit against H% by eye.

        See :func:`qckit.agreement.draw_confusion` and :func:`qckit.agreement.draw_differences`.
        """
        from qckit.agreement.drawing import draw_confusion, draw_hatch_pairs

        return draw_confusion(self.rates, ax=ax) if self.rates.is_by_object else draw_hatch_pairs(self, ax=ax)

    @property
    def totals_pct(self) -> dict[str, tuple[float, float, float]]:
        """What the kit counts where a person counts 100, by stage: estimate, lower and upper bound. [%]"""
        rows = self.agreement[self.agreement["figure"] != "hatch_pct"]
        by_hand = dict(zip(STAGE_COLUMNS, self.rates.table.sum(axis=1) / self.n_photos, strict=True))
        return {
            r.figure: tuple(100 * (1 + bias / by_hand[r.figure]) for bias in (r.bias, r.bias_low, r.bias_high))
            for r in rows.itertuples()
            if by_hand[r.figure] > 0
        }

    def to_frame(self):
        """Return the row of the log's certificates table."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "certificate": self.name,
                    "camera": self.camera,
                    "magnification": self.magnification,
                    "kind": self.kind,
                    "made_at": self.made_at,
                    "made_by": self.made_by,
                    "counter_version": self.counter_version,
                    "n_photos": self.n_photos,
                    "detection": _detection_json(self.rates),
                    "confusion": self.rates.to_json(),
                    "details": json.dumps(
                        {
                            "n_objects": self.n_objects,
                            "sentences": list(self.sentences),
                            "hatch_pairs": [list(p) for p in self.hatch_pairs],
                            "fitness": self.fitness,
                            "agreement": json.loads(self.agreement.to_json(orient="records")),
                        }
                    ),
                    "valid_until": self.valid_until,
                    "notes": "",
                }
            ]
        )


def _detection_json(rates):
    frame = rates.to_frame()
    found = frame[frame["outcome"].isin(["found", "right"])].round(4)
    return found.to_json(orient="records")


def hatch_pct_of(counts):
    """Hatching percentage of each row of counts.

    Parameters
    ----------
    counts : DataFrame, shape (n, any)
        nauplii, umbrella, cysts.

    Returns
    -------
    ndarray, shape (n,)
        100 N / (N + U + C); NaN where all are 0. [%]
    """
    of = {s: counts[STAGE_COLUMNS[s]].astype(float).to_numpy() for s in FULL_CYST_STAGES}
    part, whole = sum(of[s.name] for s in STAGE_RECORDS if s.is_hatched), sum(of.values())
    return np.divide(100 * part, whole, out=np.full(len(part), np.nan), where=whole > 0)


def certify_camera(
    photo_counts,
    hand_counts,
    *,
    camera,
    magnification="",
    made_at,
    made_by,
    counter_version="",
    matches=None,
) -> Certificate:
    """Judge a camera's counts from the same photos counted by the kit and by a person.

    Parameters
    ----------
    photo_counts, hand_counts : DataFrame, shape (n, any)
        photo, nauplii, umbrella, cysts, shells. Photos are joined by name; the rest is left out.
    camera, magnification : str
        What was checked, in the site's own words.
    made_at : str
        ISO time with offset.
    made_by : str
        Initials of who counted by hand.
    counter_version : str
        Version of the photo counter; another version needs another check.
    matches : DataFrame, optional
        Paired objects from :func:`match_objects`; without them the confusion is estimated from the totals.

    Returns
    -------
    Certificate

    Raises
    ------
    InputError
        Fewer than 3 photos in common, or a photo that stands twice on one side.

    Notes
    -----
    To be checked again after 182 days when at least 10 photos and 300 objects stand behind it, after 91 days
    otherwise (common practice, no source), and at once when the counter, the camera, the magnification or the lamp
    changes.

    Examples
    --------
    >>> when = "2026-11-06T10:00Z"
    >>> certificate = agreement.certify_camera(by_hand, by_hand, camera="M1", made_at=when, made_by="op1")
    >>> certificate.camera
    'M1'
    """
    import pandas as pd

    joined = _joined(photo_counts, hand_counts, camera)
    columns = list(STAGE_COLUMNS.values())
    counted = pd.DataFrame({c: joined[c].astype(float) for c in columns})
    true = pd.DataFrame({c: joined[f"{c}_hand"].astype(float) for c in columns})
    agreement = _agreement(counted, true)
    if matches is None:
        rates = rates_from_counts(joined[["photo", *columns]], true.assign(photo=joined["photo"]))
    else:
        rates = rates_from_matches(matches)
    n_objects = int(true.sum().sum())
    spoilt_by = Spoilt.find(joined["photo"], counted, true)
    totals = {c: float(counted[c].sum() / true[c].sum()) for c in columns if true[c].sum() > 0}
    fitness, against = _fitness(agreement, rates, totals, spoilt=bool(spoilt_by))
    if spoilt_by:
        rest = ~joined["photo"].isin({s.photo for s in spoilt_by.suspects}).to_numpy()
        lines = spoilt_by.sentences(_agreement(counted[rest], true[rest]) if 3 <= rest.sum() < len(rest) else None)
    else:
        lines = agreement_sentences(agreement, rates, n_objects)
    good = len(joined) >= GOOD_PHOTOS and n_objects >= GOOD_OBJECTS
    until = (pd.Timestamp(made_at) + pd.Timedelta(days=_DAYS_GOOD if good else _DAYS_SMALL)).date().isoformat()
    return Certificate(
        name=" ".join(filter(None, (camera, magnification, made_at[:10]))),
        camera=camera,
        magnification=magnification,
        kind="",
        made_at=made_at,
        made_by=made_by,
        counter_version=counter_version,
        n_photos=len(joined),
        n_objects=n_objects,
        rates=rates,
        agreement=agreement,
        valid_until=until,
        sentences=(*lines, say_fitness(fitness, against), *([] if fitness == "spoilt" else [say_until(until, good)])),
        hatch_pairs=tuple(
            (str(p), round(float(a), 3), round(float(b), 3))
            for p, a, b in zip(joined["photo"], hatch_pct_of(counted), hatch_pct_of(true))
            if np.isfinite(a + b)
        ),
        suspects=spoilt_by.suspects,
        misplaced=spoilt_by.misplaced,
        fitness=fitness,
    )


def _joined(photo_counts, hand_counts, camera):
    """Counts of both sides, a row for each photo that both have."""
    for who, counts in (("the kit", photo_counts), ("hand", hand_counts)):
        twice = counts.loc[counts["photo"].duplicated(), "photo"]
        if len(twice):
            raise InputError(
                f"photo {str(twice.iloc[0])!r} stands twice among the counts by {who}. Keep one row per "
                "photo, and give different photos different names."
            )
    joined = photo_counts.merge(hand_counts, on="photo", suffixes=("", "_hand"), validate="one_to_one")
    if len(joined) < 3:
        kit, hand = (first_few(sorted(counts["photo"]), 3) for counts in (photo_counts, hand_counts))
        raise InputError(
            f"{len(joined)} photo(s) counted both ways for camera {camera}; at least 3 are needed, 10 are better. "
            f"Names by the kit: {kit}; by hand: {hand}. "
            "Use the same names."
        )
    return joined


def _agreement(counted, true):
    """Bias, limits and concordance per figure; hatch percentage in points."""
    import pandas as pd

    figures = {s: (counted[c].to_numpy(), true[c].to_numpy()) for s, c in STAGE_COLUMNS.items()}
    figures["hatch_pct"] = (hatch_pct_of(counted), hatch_pct_of(true))
    rows = []
    for name, (a, b) in figures.items():
        if (np.isfinite(a) & np.isfinite(b)).sum() < 3:
            continue
        ba, ccc = bland_altman(a, b), concordance(a, b)
        rows.append(
            (
                name,
                ba.n,
                ba.bias,
                ba.bias_low,
                ba.bias_high,
                *ba.of_a_further_pair,
                ccc.ccc,
                ccc.ccc_low,
                ccc.ccc_high,
            )
        )
    return pd.DataFrame(
        rows,
        columns=[
            "figure",
            "n",
            "bias",
            "bias_low",
            "bias_high",
            "limit_low",
            "limit_high",
            "ccc",
            "ccc_low",
            "ccc_high",
        ],
    )


def _fitness(agreement, rates, totals, *, spoilt):
    """Judge whether counts of this camera may be used: a code, and what stands against it as (code, figure, value)."""
    hatch, against = agreement[agreement["figure"] == "hatch_pct"], []
    if len(hatch) and abs(hatch.iloc[0].bias) > MOST_BIAS_PCT:
        against.append(("bias", "hatch_pct", abs(float(hatch.iloc[0].bias))))
    if rates.is_by_object:
        frame = rates.to_frame()
        for stage in ("nauplius", "cyst"):  # the two that make H%
            row = frame[(frame["stage"] == stage) & (frame["outcome"] == stage)].iloc[0]
            if np.isfinite(row.rate) and row.rate < LEAST_RIGHT:
                against.append(("called", STAGE_COLUMNS[stage], 100 * float(row.rate)))
    else:
        for column in (STAGE_COLUMNS["nauplius"], STAGE_COLUMNS["cyst"]):
            if abs(totals.get(column, 1.0) - 1) > 1 - LEAST_RIGHT:
                against.append(("total", column, 100 * totals[column]))
    if spoilt:
        return "spoilt", against
    if against:
        return "not fit", against
    return ("fit" if rates.n_photos >= LEAST_PHOTOS_TO_JUDGE else "too few"), against


def read_certificate(row) -> Certificate:
    """Build a certificate from its row in the log.

    Parameters
    ----------
    row : Series or mapping
        A row of the certificates table.

    Returns
    -------
    Certificate
        As it was made.

    Examples
    --------
    >>> row = certificate.to_frame().iloc[0]
    >>> agreement.read_certificate(row).camera
    'M1'
    """
    import pandas as pd

    details = json.loads(row["details"])
    text = {
        k: "" if pd.isna(row[k]) else str(row[k])
        for k in (
            "certificate",
            "camera",
            "magnification",
            "kind",
            "made_at",
            "made_by",
            "counter_version",
            "valid_until",
        )
    }
    return Certificate(
        name=text["certificate"],
        camera=text["camera"],
        magnification=text["magnification"],
        kind=text["kind"],
        made_at=text["made_at"],
        made_by=text["made_by"],
        counter_version=text["counter_version"],
        n_photos=int(row["n_photos"]),
        n_objects=int(details["n_objects"]),
        rates=CountRates.from_json(row["confusion"]),
        agreement=pd.DataFrame(details["agreement"]).astype({"figure": "str"}),
        valid_until=text["valid_until"],
        sentences=tuple(details["sentences"]),
        hatch_pairs=tuple(tuple(p) for p in details.get("hatch_pairs", [])),
        fitness=details.get("fitness", ""),
    )
