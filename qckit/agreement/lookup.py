"""Which certificate speaks for some photos: the newest sound one of their camera, and whether it still holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.agreement.certificate import Certificate, read_certificate
from qckit.agreement.certificate_words import say_too_small
from qckit.agreement.correction import correct_counts
from qckit.stages import STAGES
from qckit.tables import to_utc
from qckit.words import capital, decimals_known, estimated, plural, signed

__all__ = ["CertificateUse", "camera_of", "latest_certificate", "newest_certificates"]

_UNKNOWN = "It says nothing of nauplii and cysts"
SAME_SCALE = 0.02  # relative: a field sheet's scale is often rounded to two figures after the point


@dataclass(frozen=True)
class CertificateUse:
    """What is known of the accuracy of the counts of some photos, ready to be cited.

    Attributes
    ----------
    certificate : Certificate or None
        None where there is none, or nothing tells which camera took the photos.
    holds : bool
        It was made with the counter version that counted, its date to check again is not past, and it may correct
        counts (:attr:`Certificate.may_correct`).
    sentence : str
        One or two sentences that cite it, or say what is missing and how to come by it.
    detection : dict of stage to tuple
        Share of what is there that the kit finds and calls right: (share, lower, upper bound at 95 %); stages never
        seen in the check are left out, and all of them where only totals were compared, which do not tell it.
    detection_u : dict of stage to float
        Relative standard uncertainty of that share; from totals a guess.

    Examples
    --------
    >>> agreement.latest_certificate(pd.DataFrame(), now="2026-11-06", camera="M1").holds
    False
    """

    certificate: Certificate | None
    holds: bool
    sentence: str
    detection: dict
    detection_u: dict

    def correct(self, counts, *, confidence=0.95):
        """Correct counts by the certificate; see :func:`qckit.agreement.correct_counts`. None without one that holds.

        Parameters
        ----------
        counts : dict of stage to int, or DataFrame with nauplii, umbrella, cysts, shells
            One sample, as the kit counted it: photos that a person went through object by object need no correction.
        confidence : float

        Returns
        -------
        CorrectedCounts or None
        """
        return correct_counts(counts, self.certificate.rates, confidence=confidence) if self.holds else None


def camera_of(um_per_px, scales):
    """Tell which camera and magnification photos of a scale come from.

    Parameters
    ----------
    um_per_px : array_like, shape (n,)
        Scales of the photos. [µm/px]
    scales : DataFrame
        The site's kept scales (camera, magnification, um_per_px).

    Returns
    -------
    tuple of str or None
        (camera, magnification) whose scale, old or new, is within 2 % of every photo's; None where none or several
        are.

    Examples
    --------
    >>> scales = pd.DataFrame({"camera": ["M1"], "magnification": ["2x"], "um_per_px": [6.2]})
    >>> agreement.camera_of([6.2, 6.21], scales)
    ('M1', '2x')
    """
    values = np.asarray(um_per_px, dtype=float)
    values = values[np.isfinite(values)]
    if not len(values) or not len(scales):
        return None
    fits = [
        pair
        for pair, mine in scales.groupby(["camera", "magnification"])
        if (np.abs(values[:, None] / mine["um_per_px"].to_numpy(float) - 1).min(axis=1) <= SAME_SCALE).all()
    ]
    return fits[0] if len(fits) == 1 else None


def latest_certificate(certificates, *, now, photos=None, scales=None, camera=None, magnification=None):
    """Find the newest certificate that speaks for some photos; one that may not correct counts where no other does.

    Parameters
    ----------
    certificates : DataFrame
        The site's certificates table.
    now : str
        ISO time with offset, or date: the day on which the figures are used.
    photos : DataFrame, optional
        The photos (um_per_px, counter_version); tells the camera where none is named, and whether the counter is still
        the one that was checked.
    scales : DataFrame, optional
        The site's scales table, by which photos are given to a camera.
    camera, magnification : str, optional
        Where they are known.

    Returns
    -------
    CertificateUse

    Examples
    --------
    >>> agreement.latest_certificate(pd.DataFrame(), now="2026-11-06", camera="M1").certificate is None
    True
    """
    if not len(certificates):
        return _none(
            "Nobody has checked this site's photo counts against counts by eye, so how many animals the "
            "kit misses or mistakes is not known. Count ten photos by eye and run  qckit camera "
            "check"
        )
    if camera is None:
        pair = _pair(photos, scales, certificates)
        if pair is None:
            known = sorted({str(c) for c in certificates["camera"]})
            return _none(
                f"There are certificates for {', '.join(known)}, and nothing tells which camera took these "
                "photos: keep each camera's scale with  qckit camera scale"
            )
        camera, magnification = pair
    mine = certificates[certificates["camera"] == camera].reset_index(drop=True)
    if magnification:  # a certificate without magnification speaks for all of its camera
        mine = mine[mine["magnification"].fillna("").isin(["", magnification])]
    if mine.empty:
        name = f"{camera} {magnification or ''}".strip()
        return _none(
            f"Photo counts of the camera {name} have not been checked against counts by eye, so how many "
            "animals the kit misses or mistakes is not known. Count ten photos by eye and run  qckit camera "
            "check"
        )
    versions = _versions(photos)
    of_counter = mine[mine["counter_version"].fillna("").isin(["", *versions])]
    mine = of_counter if versions and len(of_counter) else mine
    made, left_aside = _newest_sound(mine)
    return _use(made, str(now)[:10], photos, left_aside)


def newest_certificates(certificates, *, counter_version: str, today: str):
    """Find the newest certificate of each camera, magnification and kind of photo, and whether it is still in force.

    Parameters
    ----------
    certificates : DataFrame, shape (n, any)
        Columns of the certificates table.
    counter_version : str
        That by which photos are counted now; a certificate of it is taken before newer ones of others.
    today : str
        ISO date.

    Returns
    -------
    DataFrame
        Rows of ``certificates`` with is_of_counter and is_late (its date to check again is past).

    Examples
    --------
    >>> table = pd.DataFrame({"camera": ["M1"], "magnification": ["2x"], "kind": [""], "counter_version": ["1.15"]})
    >>> table["valid_until"] = "2027-05-01"
    >>> now = agreement.newest_certificates(table, counter_version="1.15", today="2026-11-06")
    >>> now["is_of_counter"].tolist(), now["is_late"].tolist()
    ([True], [False])
    """
    until = certificates["valid_until"]
    table = certificates.assign(
        is_of_counter=certificates["counter_version"].fillna("").isin(["", counter_version]),
        is_late=until.notna() & (until.fillna("").astype(str) < today),
    )
    in_order = table.sort_values("is_of_counter", kind="stable")
    return in_order.drop_duplicates(["camera", "magnification", "kind"], keep="last")


def _newest_sound(rows):
    """The newest certificate that may correct counts, and a newer one that may not; else the newest."""
    newest_first = rows.loc[to_utc(rows["made_at"]).sort_values(ascending=False, kind="stable").index]
    kept = [read_certificate(row) for _, row in newest_first.iterrows()]
    sound = next((made for made in kept if made.may_correct), kept[0])
    return sound, None if sound is kept[0] else kept[0]


def _versions(photos):
    """Versions of the counter that counted the photos."""
    return set() if photos is None or "counter_version" not in photos else set(photos["counter_version"].dropna())


def _none(sentence) -> CertificateUse:
    return CertificateUse(None, False, f"{sentence}.", {}, {})


def _pair(photos, scales, certificates):
    """Camera and magnification of the photos; the only camera there is where scales do not tell."""
    if photos is not None and scales is not None and len(photos) and len(scales):
        pair = camera_of(photos["um_per_px"], scales)
        if pair is not None:
            return pair
        if len(scales[["camera", "magnification"]].drop_duplicates()) > 1:
            return None
    names = certificates[["camera", "magnification"]].fillna("").drop_duplicates()
    if len(names) == 1:
        return tuple(names.iloc[0])
    return (
        (names["camera"].iloc[0], "")
        if names["camera"].nunique() == 1 and (names["magnification"] == "").all()
        else None
    )


def _use(made: Certificate, today: str, photos, left_aside: Certificate | None = None) -> CertificateUse:
    frame = made.rates.to_frame()
    rows = {s: frame[(frame["stage"] == s) & (frame["outcome"] == s)].iloc[0] for s in STAGES}
    called = {s: (float(r.rate), float(r.low), float(r.high)) for s, r in rows.items() if np.isfinite(r.rate)}
    spread = {s: (high - low) / (2 * 1.959964) / rate for s, (rate, low, high) in called.items() if rate > 0}
    detection = called if made.rates.is_by_object else {}
    others = sorted(_versions(photos) - {made.counter_version}) if made.counter_version else []
    late = bool(made.valid_until) and made.valid_until < today
    parts = [
        f"Certificate {made.name}: {plural(made.n_photos, 'photo')} counted by the kit and by eye ({made.made_by}).",
        _found(made, detection) + _bias(made),
    ]
    if late:
        parts.append(
            f"It was to be checked again by {made.valid_until}, so counts are not corrected by it: count "
            "photos by eye again and run  qckit camera check"
        )
    elif others:
        parts.append(
            f"It was made with counter {made.counter_version} and these photos were counted with "
            f"{', '.join(map(str, others))}, so counts are not corrected by it: run  qckit camera check  "
            "again."
        )
    elif not made.may_correct:
        remedy = "mend them, or leave those photos out," if made.fitness == "spoilt" else "count more photos by eye"
        why = capital(_why_not(made))
        parts.append(f"{why}, so counts are not corrected by it: {remedy} and run  qckit camera check  again.")
    else:
        parts.append(f"Check again by {made.valid_until}.")
    if left_aside:
        parts.append(f"The newer certificate {left_aside.name} is left aside: {_why_not(left_aside)}.")
    holds = made.may_correct and not (late or others)
    return CertificateUse(made, holds, " ".join(p for p in parts if p), detection, spread)


def _why_not(made: Certificate) -> str:
    return "single counts decide it" if made.fitness == "spoilt" else say_too_small(made.n_photos)


def _found(made, detection) -> str:
    words = {"nauplius": "nauplii", "cyst": "cysts"}
    if not made.rates.is_by_object:
        parts = [f"{estimated(*made.totals_pct[s], most=0)} {words[s]}" for s in words if s in made.totals_pct]
        return f"It counts {' and '.join(parts)} where 100 are there" if parts else _UNKNOWN
    parts = [
        f"{100 * detection[s][0]:.0f} % of {words[s]} ({100 * detection[s][1]:.0f} to {100 * detection[s][2]:.0f})"
        for s in words
        if s in detection
    ]
    return f"It finds and calls right {' and '.join(parts)}" if parts else _UNKNOWN


def _bias(made) -> str:
    rows = made.agreement[made.agreement["figure"] == "hatch_pct"]
    if rows.empty:
        return "."
    r = rows.iloc[0]
    n, one = decimals_known(r.bias_low, r.bias_high), decimals_known(r.limit_low, r.limit_high)
    return (
        f"; H% is {signed(r.bias, n)} points from H% by eye ({signed(r.bias_low, n)} to {signed(r.bias_high, n)}), "
        f"of a single photo {signed(r.limit_low, one)} to {signed(r.limit_high, one)} points."
    )
