"""Weave, rulings and rims are no objects: alone they give none, and under a sample they add none."""

import numpy as np
import pytest
from drawn_floors import photographed, rimmed, ruled, woven
from PIL import Image

from qckit.counting import count_photo
from qckit.practice.scenes import draw_scene

SIZE = (750, 1000)
FLOORS = {
    **{
        f"weave of {opening} µm at {um} µm per pixel, lit from {'below' if below else 'above'}": (
            um,
            lambda rng, um, o=opening, b=below: woven(rng, SIZE, um, o, below=b),
        )
        for opening, um in ((80, 9.0), (125, 6.0), (150, 11.0), (200, 5.0), (240, 8.0), (300, 12.0))
        for below in (True, False)
    },
    "chamber, 1 mm": (4.5, lambda rng, um: ruled(rng, SIZE, um, 1000, width_um=12)),
    "double rulings, 250 µm": (4.5, lambda rng, um: ruled(rng, SIZE, um, 250, gap_um=40)),
    "millimetre paper": (9.0, lambda rng, um: ruled(rng, SIZE, um, 1000, width_um=110, depth=0.45)),
    "rim of a white dish": (10.0, lambda rng, um: rimmed(rng, SIZE, um, 0.5)),
    "rim of a black dish": (10.0, lambda rng, um: rimmed(rng, SIZE, um, 0.06)),
}


@pytest.mark.parametrize("floor", FLOORS)
def test_a_bare_floor_is_no_hatch_sample(floor, tmp_path):
    """Openings of a mesh are as round and as large as cysts, and hundreds; two objects may be dust."""
    um_per_px, draw = FLOORS[floor]
    rng = np.random.default_rng(sorted(FLOORS).index(floor))
    Image.fromarray(photographed(rng, draw(rng, um_per_px), um_per_px)).save(tmp_path / "bare.png")
    count = count_photo(tmp_path / "bare.png", um_per_px=um_per_px)
    assert sum(count.counts.values()) <= 2
    assert "foreign" in [f.code for f in count.flags] and np.isnan(count.hatch_pct)


@pytest.mark.parametrize(("opening_um", "um_per_px"), [(100, 6.0), (150, 5.0)])
def test_a_weave_under_a_sample_adds_no_objects(opening_um, um_per_px, tmp_path):
    """The same drawn scene on glass and on a mesh lit from below."""
    rng = np.random.default_rng(7)
    scene, _ = draw_scene(11, um_per_px=um_per_px, size=(900, 1200))
    light = (scene / 255.0) ** 2.2
    mesh = woven(rng, scene.shape[:2], um_per_px, opening_um, below=True, wire_share=0.5)
    found = {}
    for name, picture in (("glass", light), ("mesh", light * mesh / 0.85)):
        Image.fromarray(np.rint(255 * np.clip(picture, 0, 1) ** (1 / 2.2)).astype(np.uint8)).save(
            tmp_path / f"{name}.png"
        )
        found[name] = count_photo(tmp_path / f"{name}.png", um_per_px=um_per_px).counts
    glass, mesh = (sum(found[name].values()) for name in ("glass", "mesh"))
    assert 0.85 * glass <= mesh <= 1.1 * glass
