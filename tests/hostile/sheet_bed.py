"""A seeded bed of hostile field sheets: made, not stored, each with what must become of it.

Every case is one import into a site that knows the lots L-1 and L-2, the hatch H-0 and the sample S-0. Codes: 0
entered, 1 entered and noted as hardly possible, 2 refused whole. ``message`` must stand in what the command prints.
"""

from __future__ import annotations

import numpy as np
from sheet_cases import HATCH, ROWS, SAMPLE, Case, as_csv, one
from sheet_files import no_files, shapes, workbooks

from qckit.tables import TABLES

NO_NUMBERS = (
    *(
        "five",
        "nan",
        "NaN",
        "inf",
        "-inf",
        "1e308",
        "1e99999999",
        "9" * 31,
        "9" * 400,
        "1e-90",
        "5 6",
        "1,2,3",
        "12..5",
    ),
    *("--5", "1e", "10±1", "5+-1", "<5", ">5", "~5", "ca. 5", "1/2", "½", "0x10", "1_000", "=1+1", "TRUE", "1.5 lb"),
    *(
        "5 % %",
        "#N/A",
        "#DIV/0!",
        "1;2",
        "5\n6",
        "\u202e5",
        "5\x00",
        "(5)",
        "5 g g",
        "NULL",
        "None5",
        "١٢x",
        "∞",
        "1e5e5",
    ),
)
NO_TIMES = (
    *("yesterday", "now", "2026-11-31 09:00", "31/02/2026 09:00", "2026-11-03", "03/11/2026", "09:00", "46329.375"),
    *(
        "2026-11-03 25:00",
        "2026-11-03 09:60",
        "2026-11-03 24:00",
        "1926-11-03 09:00",
        "0001-01-01 00:00",
        "5026-11-03 9:00",
    ),
    *("9999-12-31 23:59", "2026-11-03 09:00 +25:00", "2026-11-03 09:00-13:00", "2026-03-29 01:30", "2026-10-25 01:30"),
    *("03/13/2026 09:00", "2026-11-03 9", "2026-11-03 13:00 pm", "2026-11-03 09:00 CET", "2026-11-03T", "T09:00"),
    *("1793696400", "2026-W45-2 09:00", "2026-308 09:00", "3 Brumaire 2026 09:00", "2026-00-03 09:00", "--11-03 09:00"),
    *("2026-11-03 09:00 2026-11-04 09:00", "2026-11-03\x0009:00", "9" * 300, "１/１１/２０２６ ９：００"),
)
NO_DATES = (
    *(
        "31/02/2026",
        "2026-13-01",
        "46329",
        "yesterday",
        "1066-01-01",
        "2026-11-31",
        "0000-00-00",
        "13/13/2026",
        "20261103",
    ),
    *("2026-11-03T25:00", "Nov", "03.11.", "9" * 300, "2026-Q1", "week 45"),
)
NO_NAMES = {
    "\u200b": "has nothing in it that can be seen",
    "\u202e\u2066": "has nothing in it that can be seen",
    "\ufeff\u00ad": "has nothing in it that can be seen",
    "a\x00b": "holds a character that cannot be stored",
    "   ": "is empty",
    "": "is empty",
}
ODD_NAMES = (
    *(
        "=1+1",
        "@cmd",
        "+H",
        "-H",
        "'H",
        "H'; DROP TABLE hatches; --",
        '"quoted"',
        "a,b",
        "a;b",
        "a|b",
        "a\tb",
        "007",
        "1e5",
    ),
    *(
        "NULL",
        "nan",
        "None",
        "true",
        "<script>alert(1)</script>",
        "../../etc/passwd",
        "CON",
        "a/b",
        "ä ö 漢字 🦐",
        "e\u0301",
    ),
    *("\u202egpj", "x\x1b[31m", "a\nb", "A" * 5000, "%s %n {0} ${x}", "H-0 ", "h-1", "ﷺ", "‮", ".", "*", "~", "#N/A"),
)


def _some(rng, texts, n: int) -> list[str]:
    """Some of the texts; as they are, which numpy's own texts would not be."""
    return [texts[k] for k in rng.permutation(len(texts))[:n]]


def numbers(rng) -> list[Case]:
    """Cells that are no numbers, in every column of numbers; and numbers beyond every limit."""
    cases = []
    for table in ROWS:
        for column in TABLES[table]:
            if column.kind not in ("float", "int") or column.name == "revision":
                continue
            for text in _some(rng, NO_NUMBERS, 3):
                cases.append(one(f"{table}.{column.name} {text!r:.30}", table, {column.name: text}, 2, "row 2: "))
            beyond = [] if column.low is None else [f"{column.low - 1:g}"]
            beyond += [] if column.high is None else [f"{column.high * 10 + 1:g}"]
            for text in beyond:
                cases.append(
                    one(f"{table}.{column.name} beyond {text}", table, {column.name: text}, 2, f"row 2: {column.name}")
                )
            if column.kind == "int":
                cases.append(
                    one(f"{table}.{column.name} half", table, {column.name: "10.5"}, 2, "is not a whole number")
                )
    return cases


def times(rng) -> list[Case]:
    """Cells that are no times, no dates, or of no year that can be."""
    cases = []
    for table in ROWS:
        for column in TABLES[table]:
            texts = {"time": NO_TIMES, "date": NO_DATES}.get(column.kind, ())
            for text in _some(rng, texts, 8):
                cases.append(
                    one(f"{table}.{column.name} {text!r:.40}", table, {column.name: text}, 2, f"row 2: {column.name}")
                )
    good = ("3/11/2026 9:00", "3.11.26 9h00", "3 Nov 2026 09:00", "2026-11-03 9:00 am", "2026-11-03T09:00Z")
    stored = {("hatches", "H-1", "started"): "2026-11-03T09:00:00+00:00"}
    cases += [one(f"time {text}", "hatches", {"started": text}, 0, stored=stored) for text in good]
    cases += [
        one("next year", "hatches", {"started": "2062-11-03 09:00"}, 1, "still to come"),
        one("harvested of old", "lots", {"harvested": "1960"}, 1, "harvested is 1960"),
        one("received to come", "lots", {"received": "2062-01-01"}, 1, "still to come"),
        one("kept for ever", "lots", {"best_before": "2099-01-01"}, 1, "best_before is 1 Jan 2099"),
        one("opened before", "lots", {"received": "2026-02-01", "opened": "2026-01-01"}, 1, "and received is"),
        one("received before harvest", "lots", {"harvested": "2026", "received": "2025-01-01"}, 1, "and harvested is"),
        one("month alone", "lots", {"harvested": "2025-09"}, 0),
        one("year alone", "lots", {"harvested": "2025"}, 0),
        one("before its hatch", "samples", {"taken": "2026-11-01 09:00"}, 2, "before the hatch was started"),
        one("reading before its hatch", "readings", {"taken": "2025-11-01 09:00"}, 1, "before"),
        one("reading long after", "readings", {"taken": "2026-11-25 09:00"}, 1, "after"),
        one("hours do not fit", "samples", {"hours": "40"}, 2, "does not fit the times"),
        one("hours hardly", "samples", {"hours": "300", "taken": "2026-11-14 21:00"}, 1, "h after wetting"),
    ]
    return cases


def names() -> list[Case]:
    """Names that nobody can see, and odd ones that are names all the same."""
    cases = [one(f"no name {n!r}", "hatches", {"hatch": n}, 2, said) for n, said in NO_NAMES.items()]
    cases += [one(f"no lot {n!r}", "lots", {"lot": n}, 2, said) for n, said in NO_NAMES.items()]
    for name in ODD_NAMES:
        code = 2 if name == "‮" or len(name) > 500 else 0
        cases.append(
            one(
                f"odd name {name!r:.40}",
                "lots",
                {"lot": name},
                code,
                stored=None if code else {("lots", name.strip() if name != "'H" else name, "origin"): "invented"},
            )
        )
    cases += [
        one("unknown lot", "hatches", {"lot": "L-77"}, 2, "is not a lot in the log or in this import"),
        one("lot in other case", "hatches", {"lot": "l-1"}, 2, "Did you mean 'L-1'?"),
        one("unknown hatch", "samples", {"hatch": "H-77"}, 2, "is not a hatch in the log or in this import"),
        one("unknown purpose", "hatches", {"purpose": "breakfast"}, 2, "row 2: purpose"),
        one("unknown quantity", "readings", {"quantity": "colour"}, 2, "row 2: quantity"),
        one("unknown kind", "samples", {"kind": "scoop"}, 2, "row 2: kind"),
        one("unknown counter", "samples", {"counted_by": "dog"}, 2, "row 2: counted_by"),
        one("notes of a novel", "lots", {"notes": "a" * 100_000}, 0),
        one("notes with markup", "lots", {"notes": "<img src=x onerror=alert(1)>"}, 0),
    ]
    return cases


def waters() -> list[Case]:
    """What no water or no cone can hold is refused, what hardly can be is noted."""
    return [
        one("pH 1", "hatches", {"ph": "1"}, 1, "the pH is 1"),
        one("pH 12", "hatches", {"ph": "12"}, 1, "the pH is 12"),
        one("pH 15", "hatches", {"ph": "15"}, 2, "is above 14"),
        one("salinity of 0.033", "hatches", {"salinity_ppt": "0.033"}, 1, "the salinity is 0.033"),
        one("salinity as gravity", "hatches", {"salinity_ppt": "1.025"}, 1, "looks like a specific gravity"),
        one("Fahrenheit unsaid", "hatches", {"temperature_c": "59"}, 1, "the water's temperature is 59.0"),
        one(
            "Fahrenheit said",
            "hatches",
            {"temperature_c": "82.4 °F"},
            0,
            stored={("hatches", "H-1", "temperature_c"): 28.0},
        ),
        one("kelvin", "hatches", {"temperature_c": "301.15 K"}, 0, stored={("hatches", "H-1", "temperature_c"): 28.0}),
        one("ice", "hatches", {"temperature_c": "0"}, 1, "the water's temperature is 0.0"),
        one("milligrams said", "hatches", {"cysts_g": "1600 mg"}, 0, stored={("hatches", "H-1", "cysts_g"): 1.6}),
        one("milligrams unsaid", "hatches", {"cysts_g": "1600"}, 2, "is more cysts than water"),
        one("litres unsaid", "hatches", {"volume_ml": "1"}, 2, "is more cysts than water"),
        one("a pinch", "hatches", {"cysts_g": "0.001"}, 1, "g of cysts"),
        one("decimal comma", "hatches", {"cysts_g": "1,65"}, 0, stored={("hatches", "H-1", "cysts_g"): 1.65}),
        one("comma of two minds", "hatches", {"cysts_g": "1,602"}, 2, "could be 1.602 or 1602"),
        one("claim as fraction", "lots", {"claimed_hatch_pct": "0.85"}, 1, "looks like a fraction"),
        one("claim in thousands", "lots", {"claimed_nauplii_per_g": "260"}, 1, "If thousands are meant"),
        one("claim beyond cysts", "lots", {"claimed_nauplii_per_g": "900000"}, 1, "more than a gram of cysts holds"),
        one("moisture as fraction", "lots", {"moisture_pct": "0.05"}, 1, "looks like a fraction"),
        one("more than the cone", "samples", {"volume_ul": "900000"}, 2, "is more than the whole cone"),
        one("most of the cone", "samples", {"volume_ul": "300000"}, 1, "of the cone"),
        one("no volume", "samples", {"volume_ul": ""}, 1, "has neither volume_ul, mass_g nor chamber_depth_mm"),
        one("no volume, no count", "samples", {"volume_ul": "", "nauplii": "", "cysts": ""}, 2, "row 2: nauplii"),
        one("too many nauplii", "samples", {"nauplii": "900000"}, 2, "is more than 250 µl can hold"),
        one("more than cysts hold", "samples", {"nauplii": "4000"}, 1, "more than a gram of cysts holds"),
        one("dilution as volume", "samples", {"dilution": "5000", "nauplii": "0"}, 1, "was diluted 5000 times"),
        one("harvest of nothing", "samples", {"kind": "harvest"}, 1, "harvest_ml or harvest_g is not given"),
        one(
            "harvest below its sample",
            "samples",
            {"kind": "harvest", "harvest_ml": "0.1"},
            2,
            "is more than the whole harvest",
        ),
        one("photo elsewhere", "samples", {"photos": "../../x.jpg"}, 2, "names a photo outside the site folder"),
        one("photo by whole path", "samples", {"photos": "/etc/x.jpg"}, 2, "names a photo outside the site folder"),
        one("photo on a drive", "samples", {"photos": "C:\\x.jpg"}, 2, "names a photo outside the site folder"),
        one("photo on a share", "samples", {"photos": "\\\\host\\x.jpg"}, 2, "names a photo outside the site folder"),
        one("photo by web address", "samples", {"photos": "https://host/x.jpg"}, 2, "row 2: photos"),
        one("unit of another", "readings", {"quantity": "ph", "unit": "mg/l"}, 2, "row 2: "),
        one("percent of oxygen", "readings", {"quantity": "oxygen", "value": "40", "unit": "percent"}, 0),
        one("pounds of oxygen", "readings", {"quantity": "oxygen", "value": "40", "unit": "lb"}, 2, "row 2: unit"),
        one("klux", "readings", {"quantity": "light", "value": "2", "unit": "klux"}, 0),
        one("boiling", "readings", {"quantity": "temperature", "value": "140", "unit": "°C"}, 2, "is no temperature"),
        one("acid", "readings", {"value": "2"}, 1, "the pH is 2"),
        one("feed of nothing", "feeds", {"nauplii": "-5"}, 2, "row 2: nauplii"),
    ]


def corrections() -> list[Case]:
    """Second imports: what is there already, what is empty, what is absent."""
    first = {"hatch": "H-0", "started": "2026-11-02 09:00"}
    short = {k: v for k, v in (HATCH | first).items() if k not in ("operator",)}
    reason = ("--correct", "slip")
    keeps = {("hatches", "H-0", "temperature_c"): 28.0, ("samples", "S-0", "dilution"): 10.0}
    sample = SAMPLE | {"sample": "S-0", "dilution": "10"}
    bare = {k: v for k, v in sample.items() if k != "dilution"}
    return [
        one("the same again", "hatches", first, 0, "already", stored=keeps),
        Case(
            "absent columns",
            {"hatches.csv": as_csv([short | {"cysts_g": "1.7"}])},
            0,
            "1 cell",
            reason,
            keeps | {("hatches", "H-0", "cysts_g"): 1.7},
        ),
        Case(
            "absent dilution",
            {"samples.csv": as_csv([bare | {"nauplii": "41"}])},
            0,
            "1 cell",
            reason,
            keeps | {("samples", "S-0", "nauplii"): 41},
        ),
        Case("absent, the same", {"samples.csv": as_csv([bare])}, 0, "already", (), keeps),
        Case(
            "emptied",
            {"hatches.csv": as_csv([HATCH | first | {"temperature_c": ""}])},
            2,
            "Say with --emptied keep",
            reason,
            keeps,
        ),
        Case(
            "emptied, kept",
            {"hatches.csv": as_csv([HATCH | first | {"temperature_c": ""}])},
            0,
            "",
            (*reason, "--emptied", "keep"),
            keeps,
        ),
        Case(
            "emptied, taken out",
            {"hatches.csv": as_csv([HATCH | first | {"temperature_c": ""}])},
            0,
            "1 cell",
            (*reason, "--emptied", "empty"),
            {("hatches", "H-0", "temperature_c"): None},
        ),
        Case(
            "corrected beyond limits",
            {"hatches.csv": as_csv([HATCH | first | {"cysts_g": "-1"}])},
            2,
            "row 2: cysts_g",
            reason,
            keeps,
        ),
        Case(
            "corrected to no lot",
            {"hatches.csv": as_csv([HATCH | first | {"lot": "L-7"}])},
            2,
            "is not a lot",
            reason,
            keeps,
        ),
        Case(
            "corrected past the cone",
            {"samples.csv": as_csv([sample | {"volume_ul": "900000"}])},
            2,
            "is more than the whole cone",
            reason,
            keeps,
        ),
        Case(
            "corrected before wetting",
            {"samples.csv": as_csv([sample | {"taken": "2026-11-01 09:00"}])},
            2,
            "before the hatch was started",
            reason,
            keeps,
        ),
        Case(
            "hatch moved past its samples",
            {"hatches.csv": as_csv([HATCH | first | {"started": "2026-11-05 09:00"}])},
            2,
            "sample",
            reason,
            keeps,
        ),
        Case(
            "hatch shrunk below its samples",
            {"hatches.csv": as_csv([HATCH | first | {"volume_ml": "0.2", "cysts_g": "0.0001"}])},
            2,
            "row 2: volume_ml",
            reason,
            keeps,
        ),
    ]


def sheet_bed(seed: int = 17) -> list[Case]:
    """Return the whole bed.

    Parameters
    ----------
    seed : int
        Chooses which of the odd texts meets which column.
    """
    rng = np.random.default_rng(seed)
    cases = [*numbers(rng), *times(rng), *names(), *waters(), *shapes(), *workbooks(), *no_files(), *corrections()]
    return cases
