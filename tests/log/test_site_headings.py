"""A site's own headings: read as the kit's, left out, or refused with what to write."""

from dataclasses import replace

import openpyxl
import pytest

from qckit.day.sheets.reading import day_rows, is_day_sheet
from qckit.errors import InputError
from qckit.log import new_site, open_log
from qckit.log.sheets.grids import file_content, read_grids
from qckit.log.sheets.reading import read_sheets
from qckit.log.sheets.site_headings import name_headings, site_headings
from qckit.settings import Settings

OWN = "Date = date, Cone no. = cone, Tin = lot, Cysts weighed (g) = grams, Larvae = nauplii, Umbrellas = umbrella, "
OWN += "Eggs = cysts, Empty shells = shells, Hours = "


def settings(headings):
    return replace(Settings(), site=replace(Settings().site, headings=headings, date_order="dmy"))


@pytest.fixture
def workbook(tmp_path):
    """A room's own workbook: a merged title, a merged heading over the counts, the headings in the third row."""
    book = openpyxl.Workbook()
    page = book.active
    page.append(["Larvae of the autumn"])
    page.merge_cells("A1:I1")
    page.append([None] * 4 + ["counted in 250 µl"])
    page.append(
        ["Date", "Cone no.", "Tin", "Cysts weighed (g)", "Larvae", "Umbrellas", "Eggs", "Empty shells", "Hours"]
    )
    page.append(["21.11.2026", "A", "L-1", "10,5", 79, 3, 15, 75, "24 h"])
    page.append([None, None, None, None, 82, 2, 14, 70, None])
    book.save(tmp_path / "own.xlsx")
    return tmp_path / "own.xlsx"


def test_a_workbook_name_headings_is_a_day_sheet(workbook, tmp_path):
    site = new_site(tmp_path / "room")
    (plain,) = read_grids(workbook, file_content(workbook))
    assert not is_day_sheet(plain)
    grid = name_headings(plain, settings(OWN))
    assert is_day_sheet(grid)
    with open_log(site) as log:
        log.settings = settings(OWN)
        hatches, samples = (part.frame for part in day_rows(grid, log))
    assert (hatches["lot"].item(), float(hatches["cysts_g"].item())) == ("L-1", 10.5)
    assert samples["nauplii"].tolist() == [79, 82] and samples["shells"].tolist() == [75, 70]


def test_any_table_takes_site_headings(tmp_path):
    path = tmp_path / "tins.csv"
    path.write_text("Tin,Came,Use by,Pages\nL-9,2026-10-01,06/2028,12\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"headings = .Larvae = nauplii"):
        read_sheets(path, settings(""))[0]
    (rows,), _, _ = read_sheets(path, settings("Tin = lot, Came=received, Use by = best_before, Pages ="))
    assert not rows.problems
    assert rows.frame.iloc[0].dropna().to_dict() == {"lot": "L-9", "received": "2026-10-01", "best_before": "2028-06"}


@pytest.mark.parametrize("wrong", ["Larvae", "= nauplii"])
def test_a_setting_that_cannot_be_read_says_how_it_is_written(wrong):
    with pytest.raises(InputError, match="an equals sign"):
        site_headings(settings(wrong))


def test_a_time_in_a_column_of_numbers_is_called_a_time(tmp_path):
    path = tmp_path / "hatches.csv"
    path.write_text("hatch,lot,cone,started,cysts_g,volume_ml\nH,L,A,2026-11-01 09:00,1.5,10:05\n", encoding="utf-8")
    (rows,), _, _ = read_sheets(path, Settings(), table="hatches")
    assert ("volume_ml", "10:05", "is a time of day") in [tuple(p[1:4]) for p in rows.problems]


def test_semicolons_are_found_by_headings_that_the_kit_does_not_know(tmp_path):
    """Commas of decimals and of words cut such a file into columns that nobody wrote."""
    text = "Kegel;Nauplien;Temp.;Bemerkung\nA;70;28,2 °C;gut, gemischt\nB;71;28,0 °C;ok, trüb, kalt\n"
    path = tmp_path / "phone.csv"
    path.write_text(text, encoding="utf-8")
    (grid,) = read_grids(path, file_content(path))
    assert [len(row) for _, row in grid.rows] == [4, 4, 4]
    path.write_text("lot,notes\nL-1,a; b; c\nL-2,d; e; f\n", encoding="utf-8")
    (grid,) = read_grids(path, file_content(path))
    assert [len(row) for _, row in grid.rows] == [2, 2, 2]
