"""A poor hatch explained: poor at all, the count, the lot, the stages, what was different, what to do next."""

from __future__ import annotations

from dataclasses import dataclass

from qckit.site_tables import SiteTables
from qckit.verdicts.finding import Finding
from qckit.verdicts.lots.usual import full_cysts_counted
from qckit.verdicts.poor_hatch import words
from qckit.verdicts.poor_hatch.causes import cause
from qckit.verdicts.poor_hatch.checks import choose_checks, speaks_against
from qckit.verdicts.poor_hatch.steps import readings_to_repeat
from qckit.verdicts.poor_hatch.study import Case, study_hatch

__all__ = ["VERDICTS", "Case", "Suspicion", "decide", "explain_hatch", "first_suspicion", "study_hatch"]

VERDICTS = ("not-poor", "chance", "cause-found", "cause-likely", "count-doubtful", "not-enough-evidence")
"""Codes of the verdict, see :func:`explain_hatch`."""

_UNUSUAL = 0.1  # ours: a hatch as low as this by chance is called low
_FOUND, _LIKELY = 0.85, 0.65  # ours, checked by the calibration
_ORDINARY = 0.2  # a hatch that chance gives once in five is ordinary, whatever its readings
_ALL_THE_SAME = 0.7  # a reading or a note so sure of a cause is told of an ordinary hatch too
_NOTHING = 2 / 3  # chance alone is twice as likely as all causes together
_LOT_IN_DOUBT = 0.2  # a lot as doubtful as this is not called good
_SETTLED = 0.95  # beyond this one check is enough
_LEAST_COUNTED = 30
_ANSWERED_BY = {"recount": "recount", "repeat": "mix and redraw", "later": "read again"}
"""Kind of a further look in the log -> the check that it answers, which is then not asked again."""


def explain_hatch(tables: SiteTables, *, hatch: str, objects=None, now: str = "") -> Finding:
    """Explain a poor hatch, say how sure, and what to do before the next feed.

    Parameters
    ----------
    tables : SiteTables
        The whole site's tables: what is usual is learnt from them.
    hatch : str
        The hatch to explain.
    objects : DataFrame, optional
        The objects table, of this hatch's photos and of those of the lot's earlier hatches: lengths of nauplii that
        are above the site's usual tell of a hatch that stood too long.
    now : str
        Time of the question, ISO 8601; only hatches still running then count as busy cones. Empty: none is known.

    Returns
    -------
    Finding
        ``verdict`` is not-poor (chance alone often gives such a hatch; a cause that the records show all the same is
        named), chance (low, but nothing more is needed to explain it), cause-found and cause-likely (stated probability
        at least 85 and 65 %, and likelier than chance and than all other causes together; never found while a logged
        check speaks against it), count-doubtful (the count, mass or volume is the likely cause) or
        not-enough-evidence.

    Raises
    ------
    InputError
        The hatch is unknown or has no counted subsample.
    """
    case = study_hatch(tables, hatch=hatch, objects=objects, now=now)
    verdict, named = decide(case)
    done = tuple(answer.code for answer in case.answers)
    settled = bool(named) and case.weights.stated(named[0]) > _SETTLED
    most = 0 if verdict == "not-poor" or (settled and done) else 1 if settled or verdict == "chance" else 2
    made = (*done, *(_ANSWERED_BY[look.kind] for look in case.looks[1:]), *(["weigh"] if case.remeasured else []))
    plans = choose_checks(case.weights, most=most, done=made, about=named[0] if settled else "")
    again = readings_to_repeat(case, named, tables.settings.conditions)
    plans += [r.check for r in again if r.check and r.check not in plans]
    return words.put_into_words(case, verdict, named, plans=plans, again=again, settings=tables.settings)


@dataclass(frozen=True)
class Suspicion:
    """The likeliest cause of a hatch as it came out, before anybody looked: code, stated probability, few words."""

    code: str
    probability: float
    words: str


def first_suspicion(tables: SiteTables, *, hatch: str, objects=None, counts=None) -> Suspicion:
    """Say which cause :func:`explain_hatch` puts first, without what only its page shows: for the screen of the day.

    Parameters
    ----------
    tables, hatch, objects
        As for :func:`explain_hatch`.
    counts : DataFrame, optional
        ``counted_hatches`` of the same tables, where they were worked out already.

    Raises
    ------
    InputError
        The hatch is unknown or has no counted subsample.
    """
    case = study_hatch(tables, hatch=hatch, objects=objects, for_page=False, counts=counts)
    code = case.weights.ranked()[0][0]
    return Suspicion(code, case.weights.stated(code), cause(code).short)


def decide(case: Case) -> tuple[str, tuple[str, ...]]:
    """Return the verdict's code and the cause or causes it names, the likeliest first."""
    w, ranked = case.weights, case.weights.ranked()
    counted = full_cysts_counted(case.row)
    if case.row["is_impossible"] or not case.usual.n_hatches or counted < _LEAST_COUNTED:
        return "not-enough-evidence", ()
    if w.chance >= _NOTHING:
        if max(w.of("embryos"), w.of("empty")) >= _LOT_IN_DOUBT:
            return "not-enough-evidence", ()
        return ("chance" if case.p_low < _UNUSUAL else "not-poor"), ()
    top, weight = ranked[0]
    p = w.stated(top)
    if case.p_low >= _ORDINARY and not (cause(top).of_lot or cause(top).of_count):
        return "not-poor", ((top,) if p >= _ALL_THE_SAME else ())
    # what is named outweighs chance, and all else that may have acted
    if w.other >= 0.5 or p < _LIKELY or weight < max(w.none, 0.5 * (1 - w.none)):
        return "not-enough-evidence", ()
    second, p_second = ranked[1][0], w.stated(ranked[1][0])
    named = (top, second) if p_second >= _LIKELY and w.pairs.get(_pair(w, top, second), 0.0) >= 0.4 else (top,)
    if all(cause(code).of_count for code in named):
        return "count-doubtful", named
    # what the hatch left and what was looked at afterwards disagree: however sure the weights are, that is not found
    is_found = p >= _FOUND and not speaks_against(case.answers, top)
    return ("cause-found" if is_found else "cause-likely"), named


def _pair(weights, a, b):
    """The key of two causes together."""
    return (a, b) if (a, b) in weights.pairs else (b, a)
