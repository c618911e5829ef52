"""Hatches of a site whose figures can hardly be, but for those that a person called right."""

from __future__ import annotations

from qckit.hatch.lots.doubted import Doubted, doubted_hatches
from qckit.hatch.metrics import cone_metrics
from qckit.hatch.notes import Note
from qckit.hatch.subsamples import fill_volumes
from qckit.verdicts.month.set_aside import belonging

__all__ = ["doubt_remarks", "doubts_of"]


def doubts_of(tables) -> dict[str, Doubted]:
    """Find the hatches that no limits and no dose rest on until somebody has looked.

    Parameters
    ----------
    tables : SiteTables
        Whole: the hatches of a lot are held against each other.

    Returns
    -------
    dict of str to Doubted
        By hatch, in the order of their start.
    """
    samples, settings = fill_volumes(tables.samples, tables.photos), tables.settings
    cones = cone_metrics(samples, tables.hatches, tables.lots, reading_h=settings.conditions.reading_h)
    called_right = belonging(tables.signals)
    return {one.hatch: one for one in doubted_hatches(cones, samples, settings) if one.hatch not in called_right}


def doubt_remarks(tables) -> dict[str, str]:
    """Say of each hatch whose figures can hardly be why, and what to look at; a count that cannot be has its own note.

    Parameters
    ----------
    tables : SiteTables
        As for :func:`doubts_of`.
    """
    found = {hatch: one for hatch, one in doubts_of(tables).items() if one.code != "too many"}
    return {h: str(Note("doubted", {"why": one.why, "first_step": one.first_step})) for h, one in found.items()}
