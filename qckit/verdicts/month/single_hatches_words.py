"""The sentences about single hatches of a month: which stand out, and which are no part of what is usual."""

from __future__ import annotations

from qckit.charts.series import CHARTED
from qckit.words import joined, plural

__all__ = ["alone_sentence", "apart_hatches", "apart_sentence"]

_NAMED = 8  # hatches named before the others are only counted


def alone_sentence(alone) -> str:
    """The hatches that are to be explained, with what stands out."""
    hatches = []
    for hatch, part in alone.drop_duplicates(["hatch", "chart"]).groupby("hatch", sort=False):
        values = (f"{CHARTED[r.chart].label} {CHARTED[r.chart].value_text(r.value)}" for r in part.itertuples())
        hatches.append(f"{hatch} ({', '.join(values)})")
    return f"{_first_hatches(hatches)}: with the whole page counted, chance alone hardly makes these."


def apart_hatches(study) -> list[dict]:
    """Hatches of the month's lots that stand out and that nobody has explained: hatch, month, hatch_pct."""
    rows = study.history[study.history["hatch"].isin(study.apart) & study.history["lot"].isin(study.lots)]
    return [{"hatch": r.hatch, "month": study.apart[r.hatch], "hatch_pct": r.hatch_pct} for r in rows.itertuples()]


def apart_sentence(hatches) -> str:
    """What becomes of hatches that stand out, and how a person says that one belongs."""
    named = [f"{h['hatch']} ({CHARTED['hatch_pct'].value_text(h['hatch_pct'])} in {h['month']})" for h in hatches]
    stand = "stands out. It counts" if len(named) == 1 else "stand out. They count"
    it, which = ("it", hatches[0]["hatch"]) if len(named) == 1 else ("one", "HATCH")
    return (
        f"{_first_hatches(named)} {stand} in no limits proposed here and in no search for changes, in this "
        f"month or a later one. If {it} was an ordinary hatch after all: "
        f"qckit report set-aside {which} --undo --reason TEXT --by NAME."
    )


def _first_hatches(texts: list[str]) -> str:
    more = len(texts) - _NAMED
    return joined([*texts[:_NAMED], *([plural(more, "more hatch")] if more > 0 else [])])
