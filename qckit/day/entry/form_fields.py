"""The fields of the day's forms, with what each offers: as data, for the notebook's form to show."""

from __future__ import annotations

from qckit.day.entry.bench import Bench
from qckit.day.entry.records import UNITS
from qckit.log.typed import as_typed
from qckit.stages import COUNT_LETTERS
from qckit.tables import SEPARATIONS

__all__ = ["forms_of"]


def forms_of(bench: Bench) -> list[dict]:
    """Give the forms that can be filled in now.

    Parameters
    ----------
    bench : Bench

    Returns
    -------
    list of dict
        Each has ``kind``, ``title`` and ``fields``: name, label, value, options; those of one ``group`` stand side by
        side.
    """
    forms = [make(bench) for make in (_count, _start, _harvest, _feed, _readings, _note, _lot_test, _new_lot)]
    return [form for form in forms if form]


def _field(name: str, label: str, value="", options=(), group: str = "", *, is_text: bool = False) -> dict:
    found = {"name": name, "label": label, "value": str(value), "options": list(options), "group": group}
    return found | {"keys": "text" if is_text else "decimal"}  # the keyboard that a phone shows


def _hatches(states, taken=None) -> list[list[str]]:
    return [[s.hatch, f"{s.cone}: {s.hatch}, {s.lot}, {s.age_h:.1f} h"] for s in states]


def _count(bench: Bench) -> dict | None:
    states = bench.countable()
    if not states:
        return None
    protocol = bench.settings.protocol
    fields = [
        _field("hatch", "hatch", states[0].hatch, _hatches(states)),
        _field("taken", "taken at", f"{bench.count_taken_at(states[0]):%H:%M}"),
    ]
    fields += [
        _field(f"{column}-{i}", f"{COUNT_LETTERS[column]}", group=f"{i + 1}")
        for i in range(protocol.subsamples)
        for column in protocol.counted_columns
    ]
    again = {state.hatch: bench.samples_to_repeat(state.hatch) for state in states}
    note = ", ".join(f"{COUNT_LETTERS[column]} {column}" for column in protocol.counted_columns)
    return {"kind": "count", "title": "Count", "fields": fields, "again": again, "note": f"{note}."}


def _start(bench: Bench) -> dict | None:
    page, plan = bench.page, bench.page.start
    lots = [lot.lot for lot in page.lots] or bench.site.tables.lots["lot"].tolist()
    if not lots:
        return None
    cones = list(bench.settings.protocol.cone_names)
    first = plan.cones[0] if plan.cones else cones[0]
    fields = [
        _field("lot", "lot", plan.lot or lots[0], [[x, x] for x in lots]),
        _field("cone", "cone", first, [[x, x] for x in cones]),
        _field("grams", "grams", bench.grams_offered()),
        _field("at", "wetted at", f"{bench.moment():%H:%M}"),
    ]
    return {"kind": "start", "title": "Start", "fields": fields}


def _harvest(bench: Bench) -> dict | None:
    states = bench.harvestable() or bench.at_hand()
    if not states:
        return None
    protocol = bench.settings.protocol
    fields = [
        _field("hatch", "hatch", states[0].hatch, _hatches(states)),
        _field("at", "harvested at", f"{bench.moment():%H:%M}"),
        _field("separation", "separated by", protocol.separation, [[x, x] for x in SEPARATIONS]),
        _field("size", "all of it, ml or g"),
        _field("density", "N in a ml (or g)"),
        _field("dilution", "diluted times", as_typed(protocol.dilution, bench.settings)),
    ]
    group = f"or in {protocol.subsample_ul:g} µl"
    fields += [_field(column, COUNT_LETTERS[column], group=group) for column in protocol.counted_columns]
    fields += [_field("lost", "N drawn off")]
    note = (
        "Air off 5 to 10 min, no longer. Heaters and pumps unplugged before you drain. The time alone is enough; with "
        "900 ml or 35 g, and what a ml (or gram) of it holds or a part counted, it tells the recovery."
    )
    return {"kind": "harvest", "title": "Harvest", "fields": fields, "note": note}


def _lot_test(bench: Bench) -> dict | None:
    lots = bench.lots_to_test()
    if not lots:
        return None
    grams, volume_ml = bench.test_sizes()
    fields = [
        _field("lot", "lot to test", lots[0], [[x, x] for x in lots]),
        _field("cones", "its cones", " ".join(bench.cones_offered()), is_text=True),
        _field("beside", "beside it", "", [["", "nothing"], *([x, x] for x in lots)]),
        _field("others", "cones of that lot", is_text=True),
        _field("grams", "grams in each", as_typed(grams, bench.settings)),
        _field("ml", "ml in each", as_typed(volume_ml, bench.settings)),
        _field("at", "wetted at", f"{bench.moment():%H:%M}"),
    ]
    return {"kind": "lot test", "title": "Lot test", "fields": fields}


def _new_lot(bench: Bench) -> dict:
    today = bench.date("")
    fields = [
        _field("lot", "name on its label", is_text=True),
        _field("received", "came on", today, is_text=True),
        _field("opened", "opened on, if it is", is_text=True),
        _field("best_before", "best before", is_text=True),
        _field("pct", "% claimed"),
        _field("per_g", "nauplii/g claimed"),
        _field("pack_g", "grams in its pack"),
        _field("price", f"price, {bench.settings.site.currency}"),
    ]
    note = "As the label has it; what it does not say stays empty. Cyst dust: mask on, air moving."
    return {"kind": "new lot", "title": "New lot", "fields": fields, "note": note}


def _feed(bench: Bench) -> dict | None:
    states = bench.feedable()
    if not states or not bench.settings.protocol.is_fed:
        return None
    fields = [
        _field("hatch", "from", states[0].hatch, _hatches(states)),
        _field("at", "fed at", f"{bench.moment():%H:%M}"),
        _field("million", "million nauplii", bench.millions_offered(states[0])),
    ]
    return {"kind": "feed", "title": "Feed", "fields": fields, "note": bench.too_old(states[0].hatch, bench.moment())}


def _readings(bench: Bench) -> dict | None:
    states = bench.readable()
    if not states:
        return None
    fields = [_field("hatch", "hatch", states[0].hatch, _hatches(states))]
    fields += [_field(name, "pH" if name == "ph" else f"{name} {unit}") for name, unit in UNITS.items()]
    return {"kind": "readings", "title": "Readings", "fields": fields}


def _note(bench: Bench) -> dict | None:
    states = bench.notable()
    if not states:
        return None
    fields = [_field("hatch", "hatch", states[0].hatch, _hatches(states)), _field("text", "note", is_text=True)]
    return {"kind": "note", "title": "Note", "fields": fields}
