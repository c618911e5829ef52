"""Bodies that the photo's edge cuts off are found as well at one side as at the other.

The counting frame counts those at the right and the lower edge and leaves out those at the other two (Gundersen 1977),
so a photo gives too low a density where the counted ones are lost.
"""

import pandas as pd
import pytest

from qckit.counting import count_photo
from qckit.counting.scoring import match_objects

SHOWN = 0.2  # of a body; of less an end may lie in the photo that nobody would know


@pytest.fixture(scope="module")
def found(request):
    """Bodies that an edge cuts off: at which side, and whether they were found."""
    folder = request.config.rootpath / "tests" / "photos_second_make"
    photos = pd.read_csv(folder / "photos.csv", index_col="photo")
    truth = pd.read_csv(folder / "truth.csv").query("stage != 'debris'")
    parts = []
    for photo, size in photos.iterrows():
        true = truth[truth.photo == photo].reset_index(drop=True)
        objects = count_photo(folder / "photos" / f"{photo}.jpg", um_per_px=size.um_per_px).objects
        mine = objects[objects.stage != "debris"].reset_index(drop=True)
        true["found"] = False
        true.loc[[i for i, _ in match_objects(true, mine)], "found"] = True
        true["far"] = (true.x1 >= size.width_px - 1) | (true.y1 >= size.height_px - 1)
        parts.append(true[(true.touches_edge == 1) & (true.visible_area_px > SHOWN * true.whole_area_px)])
    return pd.concat(parts)


def test_as_many_are_found_at_the_far_edges_as_at_the_near_ones(found):
    share = found.groupby("far")["found"].mean()
    assert found.groupby("far").size().min() > 100
    assert share.min() > 0.9 and abs(share[True] - share[False]) < 0.05, share.to_dict()
