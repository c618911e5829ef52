"""Headlines of every kind of verdict, with names as long as a label: written by the verdicts' own functions."""

from __future__ import annotations

import itertools
from types import SimpleNamespace as Stub

import pandas as pd

from qckit.hatch.comparison.lots import Comparison
from qckit.hatch.intervals.estimates import Estimate
from qckit.settings import Settings
from qckit.verdicts.finding import Finding
from qckit.verdicts.month import words as month_words
from qckit.verdicts.month.far_off import COLUMNS
from qckit.verdicts.month.shifts import Shift
from qckit.verdicts.month.verdict import VERDICTS as MONTHS
from qckit.verdicts.new_lot import words as lot_words
from qckit.verdicts.new_lot.rules import TONES, VERDICTS, Case, first_rule, pct_decimals
from qckit.verdicts.poor_hatch.causes import CAUSES
from qckit.verdicts.poor_hatch.details import TITLES
from qckit.verdicts.poor_hatch.words import headline as poor_headline

LOTS = (
    "K-121",
    "Great pond 2026, second sieving, pack 014",  # 40 letters
    "GREAT-POND-2026-SECOND-SIEVING-PACK-0014",
    "W" * 40,
    "Соляное озеро 2026, второе просеивание 1",
)
CONES = ("C", "the grey cone beside the north window 12", "W" * 40)
DAY = pd.Timestamp("2026-10-12", tz="UTC")


SHARES = ((61.0, 57.6, 66.2), (72.4, 58.1, 84.9), (79.5, 60.2, 92.8), (78.4, 73.9, 82.3), (88.8, 85.4, 91.7))


def _doubted(is_doubtful):
    return Stub(
        cones=pd.DataFrame({"hatch": ["h"], "cone": [CONES[1]]}),
        doubtful=["h"] if is_doubtful else [],
        differ_more=is_doubtful,
        spread=Stub(n_cones=40),
        summary=Stub(witnesses=Stub(verdict="more shells" if is_doubtful else "", ratio=1.4)),
        world=Stub(is_past=is_doubtful, best_before="2026-01-01"),
    )


def _cases(lot):
    """Tests that each of the rules decides, against a lot and against a claim."""
    sentence = f"Hatching percentage is 87 % (82 to 92 %) of that of {lot}: worse."
    worse = Comparison("hatching percentage", lot, 0.87, 0.82, 0.92, verdict="worse", sentence=sentence)
    short = Comparison("hatching efficiency", "the claim", 0.8, 0.75, 1.2, against=230_000)
    missed = Comparison("hatching percentage", "the claim", 0.8, 0.75, 0.9, against=88.5)
    for (value, low, high), n, compared in itertools.product(SHARES, (0, 1, 2, 3), ("", "worse", "short", "missed")):
        hatch = Estimate(value, low, high, counting_low=low, counting_high=high)
        claims = tuple(c for c in (short, missed) if compared == ("short" if c is short else "missed"))
        yield Case(
            n_cones=n,
            n_spoiled=2 if n == 2 else 0,
            has_spread=n == 3,
            full_cysts=900,
            hatch=hatch,
            pct_decimals=pct_decimals(hatch, [75]),
            efficiency=Estimate(261_000, 232_000, 284_000, counting_low=240_000, counting_high=270_000),
            min_hatch_pct=75,
            min_nauplii_per_g=200_000,
            margin_pct=10,
            claims=claims,
            reference=(worse,) if compared == "worse" else (),
        )


def new_lot():
    """Headlines of each rule, of sound and of doubtful tests, beside a lot with a long name."""
    for lot, is_doubtful in itertools.product(LOTS, (False, True)):
        for case in _cases(lot):
            rule = first_rule(case)
            text = lot_words.headline(rule.reason(case), _doubted(is_doubtful))
            details = {"verdict_words": VERDICTS[rule.verdict], "tone": TONES[rule.verdict]}
            yield Finding("new-lot", lot, rule.verdict, text, details=details)


def _shift(kind, factor, level, quantity="hatch_pct", **more):
    where = {"cone": f"cone {level}", "operator": f"operator {level}", "lot": f"lot {level}"}.get(factor, "all hatches")
    days = dict.fromkeys(("first", "first_low", "first_high", "last", "last_low", "last_high"), DAY)
    numbers = {"effect": -8.5, "effect_low": -11.0, "effect_high": -6.0, "effect_z": -6.0, "p_value": 0.001}
    base = {"is_ongoing": True, "n_hatches": 12, "per_30_days": -2.0, "where": where} | days | numbers
    return Shift(quantity=quantity, kind=kind, factor=factor, level=level, **(base | more))


def _study(lots, shifts=(), hatches=(), explained=0, below=False, slope=0.0, n_far_off=0):
    chart = Stub(drift=Stub(shape="slope", slope_per_30d=slope))
    level = Stub(now=68.0, is_below_minimum=below)
    months = {n: Stub(lot=n, is_in_control=True, level=level, n_hatches=31, chart=chart) for n in lots}
    signals = pd.DataFrame({"hatch": list(hatches), "state": "open", "rule": "beyond", "quantity": "hatch_pct"})
    done = {f"h{i}" for i in range(explained)}
    words = ("25 to 35 ppt", True, False)  # costly, and not alone
    far = [("salinity_ppt", f"h{i}", DAY, 46.7, "above", f"46.{i} ppt", *words) for i in range(n_far_off)]
    return Stub(
        settings=Settings(),
        shifts=list(shifts),
        lots=months,
        signals=signals.astype(object),
        explained_hatches=done,
        costly_water=pd.DataFrame(far, columns=COLUMNS),
    )


def _months():
    """Months in control, with explained hatches, below the minimum, with signals, with changes, not to be judged."""
    water = [{"condition": "oxygen_mg_l", "there": 3.1, "elsewhere": 6.4}]
    for lot, cone in itertools.product(LOTS, CONES):
        hatch = f"H261012-{cone}"
        shifts = [
            _shift("change", "cone", cone, conditions=water),
            _shift("change", "cone", cone, is_ongoing=False),
            _shift("change", "lot", lot, quantity="hatching_efficiency_per_g", effect=-41_000.0),
            _shift("drift", "lot", lot),
            _shift("lot", "lot", lot),
            _shift("level", "operator", cone),
        ]
        yield "in-control", _study([lot])
        yield "in-control", _study([lot, "K-118", f"{lot} b"], explained=12, slope=-2.0)
        yield "in-control", _study([lot, f"{lot} b"], explained=3, below=True)
        yield "in-control", _study([lot], explained=12, n_far_off=12)
        yield "not-enough-evidence", _study([lot])
        yield "signals", _study([lot], hatches=[hatch])
        yield "signals", _study([lot], hatches=[hatch, f"{hatch}-2", "H1", "H2"])
        yield "signals", _study([lot], shifts[:1], hatches=[hatch])
        for shift in shifts:
            yield "out-of-control", _study([lot], [shift])
            yield "out-of-control", _study([lot], [shift, *shifts])


def months():
    """Findings of months."""
    for code, study in _months():
        words, tone = MONTHS[code]
        text = month_words.headline(study, code)
        yield Finding("month", "2026-10", code, text, details={"verdict_words": words, "tone": tone})


def _case(lot, cone, *, first, p_low=0.001, n_hatches=40, none=0.01, other=0.01, look=None):
    pct = Stub(value=43.0, usual=84.0 if n_hatches else float("nan"), n_hatches=n_hatches, p_low=p_low)
    per_g = Stub(value=83_000.0, usual=240_000.0, n_hatches=n_hatches, p_low=p_low)
    seen = Stub(counts={"hatch_pct": 43.0}, counted_by="photo", kind="first")
    other_look = Stub(counts={"hatch_pct": 81.0}, counted_by="hand", kind=look)
    return Stub(
        row={"hatch": f"H261105-{cone}", "lot": lot, "cone": cone, "is_impossible": False},
        levels=(pct, per_g),
        usual=Stub(n_hatches=n_hatches),
        weights=Stub(ranked=lambda: [(first, 0.4)], none=none, other=other),
        p_low=p_low,
        looks=[seen],
        look=lambda kind: other_look if kind == look else None,
        world=Stub(level_pct=61.0, level_per_g=170_000.0, prospect=Stub(pct=84.0, per_g=260_000.0)),
    )


def _poor():
    """Each cause found, likely, as one of two, as the first suspect; none known; chance; not poor."""
    codes = [c.code for c in CAUSES]
    for (i, code), (lot, cone) in itertools.product(enumerate(codes), zip(LOTS, itertools.cycle(CONES))):
        two = (code, codes[(i + 1) % len(codes)])
        for verdict, named in (("cause-found", (code,)), ("cause-likely", two), ("not-poor", (code,))):
            yield verdict, _case(lot, cone, first=code), named, 0.97 if verdict == "cause-found" else 0.62
        yield "cause-likely", _case(lot, cone, first=code, p_low=0.2), (code,), 0.7
        for look in ("recount", "repeat"):
            yield "count-doubtful", _case(lot, cone, first=code, look=look), two, 0.8
        yield "not-enough-evidence", _case(lot, cone, first=code), (), 0.0
        yield "not-enough-evidence", _case(lot, cone, first=code, none=0.5), (), 0.0
    for lot, cone in zip(LOTS, itertools.cycle(CONES)):
        case = {"lot": lot, "cone": cone, "first": codes[0]}
        yield "not-poor", _case(**case), (), 0.0
        yield "chance", _case(**case), (), 0.0
        yield "not-enough-evidence", _case(**case, other=0.7), (), 0.0
        yield "not-enough-evidence", _case(**case, n_hatches=0), (), 0.0


def poor_hatches():
    """Findings of poor hatches."""
    for verdict, case, named, p in _poor():
        text = poor_headline(case, verdict, named, p)
        details = {"verdict_words": TITLES[verdict], "tone": "bad"}
        yield Finding("poor-hatch", case.row["hatch"], verdict, text, details=details)


def every_headline():
    """Findings with every kind of headline."""
    return [*new_lot(), *months(), *poor_hatches()]
