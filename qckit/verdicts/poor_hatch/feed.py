"""The next feed: how many nauplii there are, how many are missing, and what to start at once to close the gap."""

from __future__ import annotations

import math

import pandas as pd

from qckit.errors import InputError
from qckit.hatch import Recovery, plan_dose
from qckit.hatch.dose.supply import Supply
from qckit.hatch.dose.weighing import say_grams
from qckit.tables import to_utc
from qckit.verdicts.lots.level import Level
from qckit.words import noun, number

__all__ = ["another_lot", "next_feed"]

_OTHER_LOT_DAYS, _OTHER_LOT_HATCHES = 60.0, 5


def next_feed(row, level: Level, tables, *, supply: Supply, lot: str, recovery: Recovery, kept_out=(), now="") -> dict:
    """Work out what is there for the next feed and the day, what is missing, and what to start at once.

    Parameters
    ----------
    row : mapping
        The poor hatch's row of ``counted_hatches``.
    level : Level
        Nauplii per gram of this hatch against the usual.
    tables : SiteTables
        ``settings.feed`` says how many nauplii one feed takes and how many feeds a day has; the dose is that of
        :func:`qckit.hatch.plan_dose` on these tables.
    supply : Supply
        What else there is, what was fed already and how many feeds are over
        (:func:`qckit.hatch.dose.supply.supply_beside`).
    lot : str
        The lot to start from: the hatch's own, or another one where its own is suspect.
    recovery : Recovery
        Share of the hatched nauplii that a harvest brings in (:func:`qckit.hatch.recovery_of`); of a hatch whose own
        harvest was counted, that count.
    kept_out : sequence of str
        Cones that hold a hatch not yet harvested, or are suspect until the cause is found.
    now : str, optional
        ISO time, for the hour at which a hatch started now is ready. Once the nauplii are older than the site feeds,
        nothing is there, nothing is said to be missing, and ``past_since`` is the day on which they came to be.
        Where the site feeds nothing, nothing is missing either: only what the hatch gives is said.

    Returns
    -------
    dict
        available, available_low, available_high, fed, other_cones, not_counted (of these), needed (one feed),
        missing (for one feed), needed_day, missing_day, fewer_than_usual, recovery_pct, recovery_basis, lot, grams,
        risk, n_cones, grams_per_cone, cone, ready, past_since, is_fed (whether the site feeds at all), sentence.
    """
    settings = tables.settings
    result = _amounts(row, level, settings, supply, recovery)
    result |= {"lot": lot, "past_since": _past_since(row, settings, now)}
    if result["past_since"]:
        sentence = _too_old(result, settings.protocol.max_age_h)
        return result | {"missing": math.nan, "missing_day": math.nan, "sentence": sentence}
    if not math.isfinite(result["available"]):
        unknown = "The volume counted is not known, so nauplii cannot be reckoned; count a known volume."
        return result | {"sentence": unknown}
    if not result["is_fed"]:
        return result | {"sentence": _harvest(result)}
    sentences = [_what_is_there(result, supply, settings.feed)]
    if result["missing_day"] > 0:
        result |= _dose(result["missing_day"], lot, tables, now)
        if result["grams"] > 0:
            free = _cones(row, supply, kept_out, settings.protocol.cone_names)
            result["cone"] = ", ".join(free[: result["n_cones"]])
            sentences.append(_start(result, settings))
        else:
            sentences.append(
                f"What {lot} gives is not known well enough to dose it: take a lot that was hatched before."
            )
        if result["missing"] > 0:
            sentences.append("Until then feed what is there in smaller portions, or another feed that you keep ready.")
    elif result["fewer_than_usual"] > 0.05 * result["available"]:
        sentences.append(f"That is {_million(result['fewer_than_usual'])} fewer than this cone usually gives.")
    return result | {"sentence": " ".join(sentences)}


def _amounts(row, level, settings, supply, recovery):
    """What is there, asked for and missing, before anything is started."""
    feed, share, is_fed = settings.feed, recovery.pct / 100.0, settings.protocol.is_fed
    here = [v * row["cysts_g"] * share - supply.fed for v in (level.value, level.low, level.high)]
    here = [max(0.0, v) if math.isfinite(v) else v for v in here]
    there, day = here[0] + supply.nauplii, feed.nauplii_per_feed * max(1.0, feed.feeds_per_day - supply.passed)
    known = math.isfinite(here[0])
    usual = level.usual * row["cysts_g"] * share if math.isfinite(level.usual) else math.nan
    result = {
        "available": here[0],
        "available_low": here[1],
        "available_high": here[2],
        "fed": supply.fed,
        "other_cones": supply.nauplii,
        "not_counted": sum(state.left for state in supply.others if state.basis == "expected"),
        "needed": feed.nauplii_per_feed,
        "missing": max(0.0, feed.nauplii_per_feed - there) if known else math.nan,
        "needed_day": day,
        "missing_day": max(0.0, day - there) if known else math.nan,
        "fewer_than_usual": max(0.0, usual - here[0] - supply.fed),
        "recovery_pct": recovery.pct,
        "recovery_basis": recovery.basis,
        "lot": "",
        "grams": 0.0,
        "risk": feed.short_risk,
        "n_cones": 0,
        "grams_per_cone": 0.0,
        "cone": "",
        "ready": "",
        "past_since": "",
        "is_fed": is_fed,
        "sentence": "",
    }
    nothing_asked = {"needed": 0.0, "missing": math.nan, "needed_day": 0.0, "missing_day": math.nan}
    return result if is_fed else result | nothing_asked


def _too_old(result, max_age_h):
    """That the nauplii are past the site's limit of age."""
    past = f"past your limit of {max_age_h:g} h since {result['past_since']}."
    if not result["is_fed"]:
        return f"its nauplii are {past}"
    return f"nothing of this hatch, whose nauplii are {past} What today needs says  qckit today."


def _harvest(result):
    """What the hatch gives, where nothing is fed."""
    fewer = result["fewer_than_usual"]
    less = f", {_million(fewer)} fewer than this cone usually gives" if fewer > 0.05 * result["available"] else ""
    return f"{_million(result['available'])} nauplii{less}."


def _past_since(row, settings, now) -> str:
    """Day since which the nauplii are older than the site feeds; empty where they are not, or no time is known."""
    if not now:
        return ""
    protocol = settings.protocol
    end = pd.Timestamp(row["started"]) + pd.Timedelta(hours=protocol.incubation_h + protocol.max_age_h)
    return f"{end.tz_convert(settings.site.timezone):%Y-%m-%d}" if pd.Timestamp(now) > end else ""


def another_lot(counts: pd.DataFrame, row) -> str:
    """Return the lot that did best lately besides a hatch's own; empty where no lot has five hatches in sixty days.

    Parameters
    ----------
    counts : DataFrame
        As ``counted_hatches`` returns it.
    row : mapping
        The poor hatch's row of it.
    """
    age = (pd.Timestamp(row["started"]) - to_utc(counts["started"])).dt.total_seconds() / 86400.0
    near = counts[(age >= 0) & (age <= _OTHER_LOT_DAYS) & (counts["lot"] != row["lot"])]
    per_lot = near.dropna(subset="hatching_efficiency_per_g").groupby("lot")["hatching_efficiency_per_g"]
    per_lot = per_lot.agg(["median", "size"])
    per_lot = per_lot[per_lot["size"] >= _OTHER_LOT_HATCHES]
    return "" if per_lot.empty else str(per_lot["median"].idxmax())


def _what_is_there(result, supply, feed):
    """How many nauplii there are, and for how much they suffice."""
    there = f"{_million(result['available'])} nauplii here"
    if supply.fed > 0:
        there += f" besides {_million(supply.fed)} fed already"
    counted = [state for state in supply.others if state.basis != "expected"]
    to_count = [state for state in supply.others if state.basis == "expected"]
    if counted:
        there += f" and {_in_cones(counted)}"
    if to_count:
        there += f" and {_in_cones(to_count, 'expected ')}, not counted yet"
    if not supply.others:
        there += " and no other cone to feed from"
    one = _million(feed.nauplii_per_feed)
    if result["missing"] > 0:
        return f"{there}: {_million(result['missing'])} too few for the next feed of {one}."
    left = feed.feeds_per_day - supply.passed
    feeds = f"the day's {feed.feeds_per_day:g} feeds" if not supply.passed else f"the {left:g} feeds left today"
    if result["missing_day"] > 0:
        return f"{there}: enough for the next feed of {one}, but {_million(result['missing_day'])} too few for {feeds}."
    whole = f"the day ({left:g} {noun(left, 'feed')} of {one})"
    return f"{there}: enough for {whole if not supply.passed else 'the rest of ' + whole}."


def _in_cones(states, how=""):
    """How many nauplii there are in which cones."""
    cones = ", ".join(dict.fromkeys(str(state.cone) for state in states))
    return f"{_million(sum(state.left for state in states))} {how}in cone {cones}"


def _dose(missing, lot, tables, now):
    """Grams and cones for what is missing, and the hour; no grams where the lot's yield is not known."""
    settings, ready = tables.settings, ""
    if now:
        at = pd.Timestamp(now) + pd.Timedelta(hours=settings.conditions.reading_h)
        ready = f"{at.tz_convert(settings.site.timezone) if at.tzinfo else at:%Y-%m-%d %H:%M}"
    try:
        plan = plan_dose(tables, lot, nauplii=missing, day=now)
    except InputError:
        return {"ready": ready}
    return {
        "grams": plan.grams_weighed,
        "n_cones": plan.n_cones,
        "grams_per_cone": plan.grams_per_cone_weighed,
        "ready": ready,
        "rests_on": plan.rests_on,
    }


def _start(result, settings):
    """What to start, in one sentence."""
    many = result["n_cones"] > 1
    place = f"{'cones' if many else 'cone'} {result['cone']}" if result["cone"] else "a cone that is free and clean"
    step = settings.protocol.balance_step_g
    grams, per_cone = (say_grams(result[name], step) for name in ("grams", "grams_per_cone"))
    each = f" ({per_cone} g each)" if many else ""
    when = (
        f"ready about {result['ready']}" if result["ready"] else f"ready in about {settings.conditions.reading_h:.0f} h"
    )
    sentence = f"Start {grams} g of {result['lot']} in {place} now{each}: {when}."
    at_hand = len(result["cone"].split(", ")) if result["cone"] else result["n_cones"]
    if at_hand < result["n_cones"]:
        sentence = (
            f"That takes {grams} g of {result['lot']} in {result['n_cones']} cones and {at_hand} "
            f"{'is' if at_hand == 1 else 'are'} at hand: start {per_cone} g in {place} now, "
            f"and the rest as soon as a cone is free; {when}."
        )
    return sentence


def _cones(row, supply, kept_out, names):
    """Cones to use, the poor one last: the site's own, or those of the day where its settings do not know them."""
    known = [str(row["cone"]), *(str(state.cone) for state in supply.others)]
    names = [c for c in (names if set(known) <= set(names) else sorted(set(known))) if c not in set(kept_out)]
    return sorted(names, key=lambda c: c == str(row["cone"]))


def _million(nauplii: float) -> str:
    return f"{nauplii / 1e6:.1f} million" if nauplii >= 1e5 else number(nauplii)
