"""Whether the log has what a report is to be about: asked before photos are counted or a kernel starts."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from qckit.errors import unknown_name
from qckit.site_tables import SiteTables

__all__ = ["need_subject"]


def need_subject(kind: str, site: str | Path, given: Mapping, *, is_counting: bool = False) -> None:
    """Refuse a report on a lot, month or hatch of which the site's log has nothing to say.

    Parameters
    ----------
    kind : str
        new-lot, month or poor-hatch.
    site : path
        The site folder.
    given : mapping of str to object
        The report's parameters.
    is_counting : bool
        Photos that wait are counted next: a hatch that has some may come without counts.

    Raises
    ------
    InputError
        The lot or hatch is not in the log, the hatch has no count, or no production hatch was started in the month.
    """
    from qckit.log import open_log

    if kind == "month":
        from qckit.reports.month_records import month_jobs

        month_jobs(site, given["month"], lot=given.get("lot", ""))
        return
    with open_log(site) as log:
        if kind == "new-lot":
            _need_known("lot", given["lot"], log.lots()["lot"].tolist())
        else:
            _need_known("hatch", given["hatch"], log.hatches()["hatch"].tolist()[::-1])
            _need_counted(log, given["hatch"], is_counting)


def _need_known(what: str, name: str, known: list[str]) -> None:
    if name not in known:
        raise unknown_name(what, name, known, where="the site's log")


def _need_counted(log, hatch: str, is_counting: bool) -> None:
    from qckit.verdicts.poor_hatch.study import counts_with

    if is_counting and hatch in set(log.awaiting_counts()["hatch"]):
        return
    hatches = log.hatches()
    alone = {"hatches": hatches[hatches["hatch"] == hatch], "samples": log.samples(hatch=hatch)}
    counts_with(SiteTables(settings=log.settings, lots=log.lots(), photos=log.photos(), **alone), hatch)
