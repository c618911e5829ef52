"""Light floors and dark ones are told apart on the labelled photos of both makes, and photos of one kind are not."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from qckit.photo import read_photo
from qckit.photo.lighting import SAME_LIGHT, light_apart, light_of

TESTS = Path(__file__).resolve().parents[1]


@pytest.mark.slow
@pytest.mark.parametrize("make", ["photos", "photos_second_make"])
def test_one_kind_is_one_light_and_dark_field_is_another(make):
    table = pd.read_csv(TESTS / make / "photos.csv")
    lights = [light_of(read_photo(TESTS / make / "photos" / f"{p}.jpg").pixels) for p in table["photo"]]
    apart = np.array([[light_apart(a, b) for b in lights] for a in lights])
    kind = table["kind"].to_numpy()
    for one in ("bright", "dark"):
        mine = kind == one
        nearest = np.where(np.eye(mine.sum(), dtype=bool), np.inf, apart[np.ix_(mine, mine)]).min(axis=1)
        assert nearest.max() <= SAME_LIGHT
    assert apart[np.ix_(kind == "bright", kind == "dark")].min() > 2


def test_a_brighter_lamp_is_the_same_light_and_another_colour_is_not():
    pixels = np.full((90, 120, 3), 160, np.uint8)
    pixels[30:40, 30:60] = 60
    assert light_apart(light_of(pixels), light_of((pixels * 1.2).astype(np.uint8))) < SAME_LIGHT
    assert light_apart(light_of(pixels), light_of((pixels * [1, 1, 0.5]).astype(np.uint8))) > SAME_LIGHT
    assert light_apart(light_of(pixels), light_of(255 - pixels)) > SAME_LIGHT
