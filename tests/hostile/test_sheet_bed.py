"""The bed of hostile sheets, imported one by one into a site: as expected, with nothing half entered."""

import math
import shutil

import pandas as pd
import pytest
import sqlalchemy as sa
from clumsy_sheets import clumsy_sheets
from rare_sheets import rare_sheets
from seeds import SEEDS
from sheet_bed import sheet_bed
from sheet_cases import HATCH, SAMPLE, as_csv

from qckit.log import new_site, open_log
from qckit.log.engine import reading
from qckit.log.schema import METADATA


def found_site(folder, url=""):
    """Make the site that every case starts from."""
    new_site(folder, name="bed", timezone="Europe/Lisbon", date_order="dmy", url=url)
    first = HATCH | {"hatch": "H-0", "started": "2026-11-02 09:00", "temperature_c": "28", "operator": "ka"}
    (folder / "hatches.csv").write_bytes(as_csv([first]))
    (folder / "samples.csv").write_bytes(as_csv([SAMPLE | {"sample": "S-0", "dilution": "10"}]))
    with open_log(folder) as log:
        log.add("lots", pd.DataFrame({"lot": ["L-1", "L-2"]}), by="op1")
        log.import_sheets([folder / "hatches.csv", folder / "samples.csv"], by="op1")
    return folder


def contents(site):
    """Give every row of every table of the log, as it is stored."""
    with open_log(site) as log, reading(log.engine) as connection:
        return {t.name: sorted(map(repr, connection.execute(sa.select(t)))) for t in METADATA.sorted_tables}


def wrong_with(case, site, folder, run):
    """Import a case; say what is not as expected."""
    folder.mkdir()
    if callable(case.files):
        case.files(folder)
        given = [folder / "given.csv"]
    else:
        given = [folder / name for name in case.files]
        for path, content in zip(given, case.files.values(), strict=True):
            path.write_bytes(content)
    before = contents(site)
    code, out, err = run("log", "import", *given, "--site", site, "--by", "op2", *case.options)
    text = out + err
    problems = []
    if code != case.code:
        problems.append(f"exit {code}, not {case.code}: {text[:500]}")
    if case.message not in text:
        problems.append(f"{case.message!r} is not said: {text[:500]}")
    if set(text) & set("\x1b\x07\x00\u202e\u2066"):
        problems.append("a sign that steers the terminal is printed")
    if code == 2 and contents(site) != before:
        problems.append("refused, and something was entered")
    for (table, key, column), value in (case.stored or {}).items():
        with open_log(site) as log:
            rows = log.table(table)
        row = rows[rows.iloc[:, 0] == key]
        got = row[column].iloc[0] if len(row) else "no such row"
        if value is None or isinstance(got, str) or isinstance(value, str):
            same = got == value or (value is None and pd.isna(got))
        else:
            same = math.isclose(got, value)
        if not same:
            problems.append(f"{table} {key} {column} is {got!r}, not {value!r}")
    return problems


def failures(cases, place, run, make_site):
    """Run cases, each on a site of its own; return name -> what is wrong."""
    found = {}
    for i, case in enumerate(cases):
        site = make_site(place / f"site{i}")
        if problems := wrong_with(case, site, place / f"case{i}", run):
            found[case.name] = problems
        shutil.rmtree(site)
    return found


@pytest.fixture(scope="module")
def founded(tmp_path_factory):
    return found_site(tmp_path_factory.mktemp("bed") / "site")


@pytest.mark.part
def test_a_part_of_the_bed(tmp_path, run, founded):
    cases = sheet_bed()[::27]
    assert failures(cases, tmp_path, run, lambda to: shutil.copytree(founded, to)) == {}


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_the_whole_bed(tmp_path, run, founded, seed):
    cases = sheet_bed(seed)
    assert len(cases) > 220 and len({c.name for c in cases}) == len(cases)
    assert failures(cases, tmp_path, run, lambda to: shutil.copytree(founded, to)) == {}


@pytest.mark.part
def test_a_part_of_the_third_bed(tmp_path, run, founded):
    cases = [c for i, c in enumerate(clumsy_sheets()) if i % 7 == 0 or "nobody" in c.name or "hidden" in c.name]
    assert failures(cases, tmp_path, run, lambda to: shutil.copytree(founded, to)) == {}


@pytest.mark.slow
def test_the_third_bed(tmp_path, run, founded):
    cases = clumsy_sheets()
    assert len(cases) >= 60 and len({c.name for c in cases}) == len(cases)
    assert failures(cases, tmp_path, run, lambda to: shutil.copytree(founded, to)) == {}


@pytest.mark.part
def test_a_part_of_the_fourth_bed(tmp_path, run, founded):
    names = ("1'6", "3/11/0 9:00", "3/11/2026 09.00", "thousands of apostrophes")
    cases = [c for c in rare_sheets() if any(name in c.name for name in names)]
    assert len(cases) == len(names)
    assert failures(cases, tmp_path, run, lambda to: shutil.copytree(founded, to)) == {}


@pytest.mark.slow
def test_the_fourth_bed(tmp_path, run, founded):
    cases = rare_sheets()
    assert len(cases) >= 120 and len({c.name for c in cases}) == len(cases)
    assert failures(cases, tmp_path, run, lambda to: shutil.copytree(founded, to)) == {}


@pytest.mark.slow
@pytest.mark.server
def test_a_part_of_the_bed_on_a_server(tmp_path, run, postgres_url):
    site = found_site(tmp_path / "site", postgres_url)
    found = {}
    for i, case in enumerate(sheet_bed()[4::12]):
        if case.code == 2 and (problems := wrong_with(case, site, tmp_path / f"case{i}", run)):
            found[case.name] = problems
    assert found == {}
