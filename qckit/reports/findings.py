"""findings.json: the finding of a report as data, with the photos it rests on."""

from __future__ import annotations

import json
from pathlib import Path

from qckit.verdicts.finding import Finding

__all__ = ["FINDINGS_FILE", "save_findings"]

FINDINGS_FILE = "findings.json"


def save_findings(finding: Finding, out_dir: str | Path, *, photos=None, hatches=()) -> None:
    """Write a finding beside its report.

    Parameters
    ----------
    finding : Finding
        What the report says.
    out_dir : path
        Folder of the report. Empty: nothing is written, as when a notebook is tried by hand.
    photos : DataFrame, shape (n, any), optional
        Photos the finding rests on: columns photo, sha256 and, where known, counter_version.
    hatches : iterable of str
        Hatches the finding rests on.

    Examples
    --------
    >>> reports.save_findings(finding, "report")
    >>> sorted(path.name for path in Path("report").iterdir())
    ['findings.json']
    """
    if not str(out_dir):
        return
    data = finding.to_dict() | {"hatches": sorted(str(h) for h in hatches), "photos": _photo_rows(photos)}
    folder = Path(out_dir)
    folder.mkdir(parents=True, exist_ok=True)
    text = json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False)
    (folder / FINDINGS_FILE).write_text(text + "\n", encoding="utf-8")


def _photo_rows(photos) -> list[dict]:
    if photos is None or len(photos) == 0:
        return []
    columns = [c for c in ("photo", "sha256", "counter_version") if c in photos.columns]
    rows = photos[columns].fillna("").astype(str).drop_duplicates().sort_values(columns)
    return rows.to_dict("records")
