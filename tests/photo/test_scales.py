"""Scales: numbers, tables, names, and what is wrong with them."""

import pytest

from qckit.errors import InputError
from qckit.photo import Scales, read_scales


def write(tmp_path, text):
    path = tmp_path / "scales.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_table_by_name_stem_and_path(tmp_path):
    scales = read_scales(write(tmp_path, "kind,photo,um_per_px\nx,a.jpg,5.2\nx,b,7\nx,two/c.jpg,9\n,,\n"))
    assert scales.scale_for("somewhere/a.jpg") == 5.2
    assert scales.scale_for("A.JPG") == 5.2
    assert scales.scale_for("b.tif") == 7
    assert scales.scale_for("/x/two/c.jpg") == 9
    with pytest.raises(InputError) as caught:
        scales.scale_for("one/c.jpg")
    assert str(caught.value) == (
        "scales.csv: no scale for c.jpg. Add a row with photo and um_per_px for it, or leave it out of the count."
    )
    with pytest.raises(InputError) as caught:
        scales.scales_for(["a.jpg", *(f"n{i:02}.jpg" for i in range(12))])
    assert str(caught.value) == (
        "scales.csv: no scale for n00.jpg, n01.jpg, n02.jpg, n03.jpg, n04.jpg, n05.jpg, n06.jpg, n07.jpg, n08.jpg, "
        "n09.jpg and 2 more. Add a row with photo and um_per_px for each, or leave them out of the count."
    )


def test_semicolons_and_decimal_commas(tmp_path):
    assert read_scales(write(tmp_path, "photo;um_per_px\na.jpg;5,25\n")).scale_for("a.jpg") == 5.25


def test_one_scale_for_all_and_mapping():
    assert Scales.of(4.5).scale_for("any") == 4.5
    assert Scales.of({"a": 3}).scale_for("a.png") == 3


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "photo,um_per_px\na.jpg,five\n",
            "scales.csv, row 2 (photo a.jpg): um_per_px is 'five', and a scale is a number of micrometres per pixel "
            "between 0.05 and 500. Measure it with  qckit camera  and write it so.",
        ),
        (
            "photo,um_per_px\na.jpg,-1\n",
            "scales.csv, row 2 (photo a.jpg): um_per_px is '-1', and a scale is a number of micrometres per pixel "
            "between 0.05 and 500. Measure it with  qckit camera  and write it so.",
        ),
        (
            "photo,um_per_px\na.jpg,5\na.jpg,6\n",
            "scales.csv, row 3 (photo a.jpg): um_per_px is 6 here and 5 in a row above. Keep the right one.",
        ),
        (
            "foto,um\na.jpg,5\n",
            "scales.csv: the heading row has no photo and no um_per_px; it is foto, um. A scales file needs the "
            "columns photo and um_per_px.",
        ),
    ],
)
def test_messages(tmp_path, text, message):
    with pytest.raises(InputError) as caught:
        read_scales(write(tmp_path, text))
    assert str(caught.value) == message


def test_scale_out_of_reason():
    with pytest.raises(InputError, match=r"^scale: um_per_px is '0', and a scale"):
        Scales.of(0)
    with pytest.raises(InputError, match="um_per_px is 'nan'"):
        Scales.of(float("nan"))
