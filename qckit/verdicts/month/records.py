"""What is missing, late, doubtful or left out in a month's records."""

from __future__ import annotations

import pandas as pd

from qckit.charts.series import CHARTED, CONDITIONS
from qckit.hatch.notes import gaps
from qckit.tables import to_utc
from qckit.words import plural

__all__ = ["left_out", "no_hatch_words", "out_of_limits", "quality_table"]


_MOST = 10  # hatches named of one kind


def quality_table(chosen, samples, readings, photos, settings) -> pd.DataFrame:
    """What is missing, late or doubtful in the month's records: finding, how many, of how many, which hatches."""
    rows, n = [], len(chosen)
    hours = chosen["hours"].astype(float)
    late = (hours - settings.conditions.reading_h).abs() > 1.5
    for words, bad in (
        ("hatches without a count", chosen["full_cysts"].isna() & chosen["nauplii"].isna()),
        ("counts more than 1.5 h off the reading hour", late.fillna(False)),
        ("hatches with a single subsample", chosen["n_subsamples"] == 1),
        ("hatches without shells counted", chosen["shells"].isna() & chosen["nauplii"].notna()),
        ("hatches without an operator", chosen["operator"] == ""),
        *((f"hatches without {CHARTED[c].label}", chosen[c].isna()) for c in CONDITIONS),
    ):
        rows.append((words, int(bad.sum()), n, ", ".join(chosen.loc[bad, "hatch"].head(6))))
    if readings is not None:
        have = set(readings["hatch"])
        bad = ~chosen["hatch"].isin(have)
        rows.append(("hatches without any water reading", int(bad.sum()), n, ", ".join(chosen.loc[bad, "hatch"][:6])))
    if photos is not None and len(photos):
        mine = samples[samples["hatch"].isin(chosen["hatch"])]
        of_samples = photos[photos["sample"].isin(mine["sample"])]
        flagged = of_samples[of_samples["flags"].fillna("") != ""]
        rows.append(("photos with a flag", len(flagged), len(of_samples), ", ".join(flagged["photo"].head(6))))
    return pd.DataFrame(rows, columns=["finding", "count", "of", "where"])


def left_out(hatches, first, last, lot, chosen) -> list[str]:
    """Say which hatches of the month are not charted, and why."""
    at = to_utc(hatches["started"])
    other = hatches[(at >= first) & (at < last) & ~hatches["hatch"].isin(chosen["hatch"])]
    if lot:
        other = other[other["lot"] == lot]
    out = []
    for purpose, part in other.groupby("purpose", observed=True):
        if purpose != "production":
            out.append(f"Hatches of the purpose '{purpose}': {len(part)}. They are no production and are not charted.")
    missing = chosen[chosen["full_cysts"].isna()]
    if len(missing):
        out.append(
            f"{plural(len(missing), 'hatch')} without a usable count: {', '.join(missing['hatch'].head(_MOST))}."
        )
    for row in missing.head(_MOST).itertuples():  # counted in part: say what is missing
        out += [f"{row.hatch}: {note}" for note in gaps(row.notes)]
    return out


def out_of_limits(impossible, history, names, first) -> list[str]:
    """Name the earlier hatches of the month's lots that no limits rest on, as their counts cannot be."""
    earlier = history[(history["at"] < first) & history["lot"].isin(names) & history["hatch"].isin(set(impossible))]
    lines = [
        f"{row.hatch} (in {row.at.tz_convert(first.tz):%Y-%m}) is in no limits either: {impossible[row.hatch].why}. "
        f"{impossible[row.hatch].first_step}"
        for row in earlier.head(_MOST).itertuples()
    ]
    more = len(earlier) - _MOST
    return [*lines, f"{plural(more, 'more hatch')} of earlier months of the same kind."] if more > 0 else lines


def no_hatch_words(hatches, month, lot, timezone) -> str:
    """Say that nothing can be reviewed, and which months of the site's clock can."""
    of = f" of lot {lot}" if lot else ""
    made = hatches[(hatches["purpose"] == "production") & (hatches["lot"].eq(lot) if lot else True)]
    if not len(made):
        others = hatches.loc[hatches["lot"].eq(lot), "purpose"]
        if lot and len(others):
            return (
                f"{month}: lot {lot} has no production hatch yet, only {' and '.join(sorted(set(others)))} "
                f"({plural(len(others), 'hatch')}). Leave the lot empty for the month, or judge the test with  qckit "
                f"report new-lot {lot}"
            )
        return f"{month}: no production hatch{of} is in the log. Import the field sheets first."
    at = to_utc(made["started"]).dt.tz_convert(timezone)
    return (
        f"{month}: no production hatch{of} was started in that month. The log holds those of {at.min():%Y-%m} to "
        f"{at.max():%Y-%m}. Choose another month."
    )
