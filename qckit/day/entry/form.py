"""The day in a notebook: the page, and forms that need digits and Enter; the tally for the eye beside the counts."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import anywidget
import traitlets

from qckit.day.entry.amounts import typed_nauplii
from qckit.day.entry.bench import Bench
from qckit.day.entry.form_fields import forms_of
from qckit.day.entry.harvest_records import Harvest
from qckit.day.entry.records import UNITS, LotTest, NewLot
from qckit.day.entry.warming import warm_up
from qckit.day.entry.writing import Written
from qckit.day.page.html import day_fragment
from qckit.day.words import say_old_page
from qckit.errors import InputError, need_text
from qckit.kept import kept_meanwhile, say_fault
from qckit.review.browser_store import page_code, site_key
from qckit.stages import COUNT_LETTERS

__all__ = ["DayForm", "day_form"]

_HERE = Path(__file__).parent
_WRITTEN: dict[tuple, str] = {}  # what was said of each entry, by site and name; for all forms of this kernel


class DayForm(anywidget.AnyWidget):
    """The day of a site in a notebook cell.

    Parameters
    ----------
    bench : Bench
        Open for entries.

    Notes
    -----
    Each entry is in the log before the form says so; until then the browser keeps it, and what a lost kernel leaves is
    offered when the form is opened again.

    Examples
    --------
    >>> day.DayForm.__mro__[1].__name__  # a widget: day.day_form() makes one, a cell's last line shows it
    'AnyWidget'
    """

    _esm = page_code(_HERE / "form.js")
    _css = _HERE / "form.css"
    page = traitlets.Unicode().tag(sync=True)
    forms = traitlets.List().tag(sync=True)
    first = traitlets.Unicode().tag(sync=True)
    tally = traitlets.Dict().tag(sync=True)
    people = traitlets.List().tag(sync=True)
    initials = traitlets.Unicode().tag(sync=True)
    site_key = traitlets.Unicode().tag(sync=True)
    status = traitlets.Dict().tag(sync=True)

    def __init__(self, bench: Bench, **kwargs):
        super().__init__(initials=bench.by, people=list(bench.people()), site_key=site_key(bench.log), **kwargs)
        self.bench = bench
        protocol = bench.settings.protocol
        letters = [COUNT_LETTERS[c] for c in protocol.counted_columns]
        self.tally = {
            "keys": list(protocol.keys),
            "names": list(protocol.counted_columns),
            "letters": letters,
            "n": protocol.subsamples,
            "sound": protocol.tally_sound,
        }
        self._refresh()
        self.on_msg(self._on_message)

    def _refresh(self) -> None:
        """Send the page and the forms as the log has them now."""
        forms = forms_of(self.bench)
        with self.hold_sync():
            self.page = day_fragment(self.bench.page, beside_form=True)
            self.forms = forms
            self.first = self._first_kind()

    def _first_kind(self) -> str:
        """Choose the form that opens: the most urgent thing that can be entered."""
        if self.bench.page.to_count:
            return "count"
        if self.bench.harvestable():
            return "harvest"
        if not self.bench.has_lots():
            return "new lot"
        return "start" if self.bench.page.start.code == "start" else "count"

    def _on_message(self, _widget, message, _buffers) -> None:
        """Take what the form sends; say what came of it."""
        name = self.site_key, message.get("n")
        self.bench.by = self.initials.strip()
        if name in _WRITTEN:  # offered to a person again, as the page was closed before the answer came
            sentence, bad = f"That stands in the log already. {_WRITTEN[name]}", False
        else:
            sentence, bad = self._enter(message)
            if not bad:
                _WRITTEN[name] = sentence
        answer = self.status.get("answer", "")
        try:
            self._refresh()
            answer = self.bench.answer()
        except Exception as error:  # noqa: BLE001  what became of the entry is said all the same
            note = say_old_page(error)
            sentence = sentence if bad or note in sentence else f"{sentence} {note}"
        nth = self.status.get("nth", 0) + 1  # or an answer like the one before would not be sent
        self.status = {"n": name[1], "text": sentence, "bad": bad, "answer": answer, "nth": nth}

    def _enter(self, message) -> tuple[str, bool]:
        """Do one entry; return the sentence that answers it, and whether nothing of it was written."""
        with kept_meanwhile() as kept:
            try:
                self.bench.age = dt.timedelta(seconds=round(message.get("age_s", 0)))
                return self._act(message), False
            except Exception as error:  # noqa: BLE001  typed again, what the log has would stand in it twice
                return say_fault(error, kept), not kept
            finally:
                self.bench.age = dt.timedelta()

    def _act(self, message) -> str:
        """Do one entry and return the sentence that shows it back."""
        kind, values = message.get("do"), message.get("values", {})
        if not self.bench.by:
            several = len(self.bench.people()) > 1
            raise InputError(
                "Say who you are first: choose your initials above, or write others under 'other…'."
                if several
                else "Write your initials first."
            )
        if kind == "take back":
            return self.bench.take_back()
        if kind == "meters":
            return self.bench.meters_calibrated()
        steps = {"count": _do_count, "start": _do_start, "harvest": _do_harvest, "feed": _do_feed}
        steps |= {"readings": _do_readings, "count again": _do_again, "lot test": _do_lot_test, "new lot": _do_new_lot}
        steps |= {"note": lambda bench, values: bench.note(values["hatch"], str(values.get("text", "")))}
        written = steps[kind](self.bench, values)
        return " ".join([written.sentence, *written.notes])


def day_form(site: str | Path = "", *, initials: str = "", now: str = "") -> DayForm:
    """Open the day of a site for a notebook.

    Parameters
    ----------
    site : path
        The site folder, as for :func:`qckit.load_site`.
    initials : str
        Of who types; can be written in the form too.
    now : str
        Another moment than now.

    Returns
    -------
    DayForm

    Examples
    --------
    >>> type(day.day_form(site.folder, initials="op1", now="2026-11-06T10:00:00+00:00")).__name__
    'DayForm'
    """
    warm_up()
    initials = need_text("initials", initials)
    bench = Bench(site, by=initials, now=now)
    people = bench.people()
    bench.by = initials or (people[0] if len(people) == 1 else "")
    return DayForm(bench)


# ---- what comes back -----------------------------------------------------------------------------------------------


def _number(bench: Bench, values: dict, name: str, *, label: str = "", unit: str = "", needed=False, whole=False):
    """Read a typed number as :meth:`Bench.number` does; None where nothing was typed."""
    text = str(values.get(name, "")).strip()
    if text:
        return bench.number(text, label or name, unit=unit, whole=whole)
    if needed:
        raise InputError(f"{label or name} is empty. Type it.")
    return None


def _do_count(bench: Bench, values: dict) -> Written:
    taken = bench.at(values.get("taken", ""), bench.count_taken_at(bench.page.hatch(values["hatch"])))
    return bench.count(values["hatch"], _typed_counts(bench, values), taken=taken)


def _do_again(bench: Bench, values: dict) -> Written:
    return bench.count_again(values["sample"], _typed_counts(bench, values)[0])


def _typed_counts(bench: Bench, values: dict) -> list[tuple]:
    """Read the grid of counts, row by row; rows with nothing in them are left out."""
    protocol, rows = bench.settings.protocol, []
    for i in range(protocol.subsamples):
        row = [
            _number(bench, values, f"{c}-{i}", label=f"subsample {i + 1}, {COUNT_LETTERS[c]}", whole=True)
            for c in protocol.counted_columns
        ]
        if any(value is not None for value in row):
            _number(bench, values, f"nauplii-{i}", label=f"subsample {i + 1}, N", needed=True)
            rows.append(tuple(row))
    return rows


def _do_start(bench: Bench, values: dict) -> Written:
    grams = _number(bench, values, "grams", unit="g", needed=True)
    return bench.start(
        lot=values["lot"], cone=values["cone"], grams=grams, at=bench.at(values.get("at", ""), bench.moment())
    )


def _do_harvest(bench: Bench, values: dict) -> Written:
    columns = bench.settings.protocol.counted_columns
    counts = {c: _number(bench, values, c, label=COUNT_LETTERS[c], whole=True) for c in columns}
    counts = {c: n for c, n in counts.items() if n is not None}
    if counts and "nauplii" not in counts:
        raise InputError("The counted part has no N. Type the nauplii too, 0 where none was seen.")
    typed = str(values.get("size", "")).strip().casefold()
    unit = "g" if typed.endswith("g") else "ml"
    size = _number(bench, {"size": typed}, "size", label="all of it", unit=unit)
    density = _number(bench, values, "density", label="N in a ml (or g)")
    measured = Harvest(
        counts=counts,
        dilution=_number(bench, values, "dilution"),
        separation=values.get("separation", ""),
        lost_nauplii=_number(bench, values, "lost", label="N drawn off", whole=True),
        **{f"harvest_{unit}": size, f"per_{unit}": density},
    )
    return bench.harvest(values["hatch"], measured, taken=bench.at(values.get("at", ""), bench.moment()))


def _do_lot_test(bench: Bench, values: dict) -> Written:
    cones = dict.fromkeys(_names(values.get("cones", "")), values["lot"])
    others = _names(values.get("others", ""))
    if bool(others) != bool(values.get("beside")):
        raise InputError("The lot beside it and its cones belong together. Choose both, or neither.")
    cones |= dict.fromkeys(others, values.get("beside"))
    test = LotTest(
        values["lot"],
        cones,
        _number(bench, values, "grams", unit="g", needed=True),
        _number(bench, values, "ml", label="ml", unit="ml", needed=True),
    )
    return bench.lot_test(test, at=bench.at(values.get("at", ""), bench.moment()))


def _do_new_lot(bench: Bench, values: dict) -> Written:
    dates = {name: str(values.get(name, "")).strip() or "0" for name in ("received", "opened", "best_before")}
    new = NewLot(
        lot=str(values.get("lot", "")).strip(),
        **{name: bench.date(text) for name, text in dates.items()},
        claimed_hatch_pct=_number(bench, values, "pct", label="% claimed", unit="%"),
        claimed_nauplii_per_g=_number(bench, values, "per_g", label="nauplii/g claimed", whole=True),
        pack_g=_number(bench, values, "pack_g", label="grams in its pack", unit="g"),
        price=_number(bench, values, "price"),
    )
    return bench.new_lot(new)


def _names(text: str) -> list[str]:
    return text.replace(",", " ").split()


def _do_feed(bench: Bench, values: dict) -> Written:
    nauplii = typed_nauplii(str(values.get("million", "")), bench.settings, "million nauplii")
    if nauplii is None:
        raise InputError("million nauplii is empty. Type it.")
    return bench.feed(values["hatch"], nauplii, fed=bench.at(values.get("at", ""), bench.moment()))


def _do_readings(bench: Bench, values: dict) -> Written:
    typed = {name: _number(bench, values, name, unit=unit) for name, unit in UNITS.items()}
    return bench.readings(values["hatch"], {name: value for name, value in typed.items() if value is not None})
