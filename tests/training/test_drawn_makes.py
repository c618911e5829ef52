"""The drawn makes: what a drawn photo shows and what its truth says are the same."""

import inspect
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from drawn_make import DrawnPhoto, main, save_photo

TESTS = Path(__file__).resolve().parents[1]
KIND, SEED = "chamber", 3
SOLID = ("nauplius", "cyst")  # a shell or an umbrella stage may be hollow where its middle lies


@pytest.fixture(
    scope="module", params=["traced", "painted", "meshed", "splatted", "wave", "carved", "spectral", "relief"]
)
def draw(request):
    """A make's ``draw`` module; the makes' modules have names in common, so they are taken out again."""
    folder = TESTS / f"photos_{request.param}_make"
    sys.path.insert(0, str(folder))
    try:
        import draw as module

        yield module
    finally:
        sys.path.remove(str(folder))
        for name, module in list(sys.modules.items()):
            if Path(getattr(module, "__file__", None) or "/").parent == folder:
                del sys.modules[name]


@pytest.fixture(scope="module")
def drawn(draw):
    """A photo of a hatch."""
    return draw.draw(SEED, KIND, 1)


@pytest.fixture(scope="module")
def photo(drawn):
    """One photo: mask, its row and its truth."""
    return drawn.mask, drawn.row, pd.DataFrame(drawn.objects).set_index("object_id")


@pytest.fixture(scope="module")
def bare(draw):
    """A photo without hatch, dirt only."""
    return draw.draw(SEED, "wide", 1, hatched=False)


def test_the_mask_holds_what_the_truth_says(photo):
    mask, row, truth = photo
    areas = np.bincount(mask.ravel())
    assert set(np.flatnonzero(areas)) - {0} == set(truth.index)
    assert areas[truth.index].tolist() == truth["visible_area_px"].tolist()
    for number, one in truth.iterrows():
        rows, columns = np.nonzero(mask == number)
        box = (columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)
        assert box == (one["x0"], one["y0"], one["x1"], one["y1"])
        middle = columns.mean() + 0.5, rows.mean() + 0.5  # of what shows, wherever the whole body's lies
        assert (one["x_px"], one["y_px"]) == pytest.approx(middle, abs=1.0), (number, one["stage"])
    assert (mask.shape[1], mask.shape[0]) == (row["width_px"], row["height_px"])


def test_a_photo_counts_what_lies_in_it(photo):
    _mask, row, truth = photo
    counts = truth[truth["in_frame"] == 1]["stage"].value_counts()
    assert {s: row[f"n_{s}"] for s in counts.index} == counts.to_dict()
    assert {"nauplius", "cyst", "shell"} <= set(counts.index)


def test_the_middle_of_a_solid_body_lies_on_it(photo):
    mask, _row, truth = photo
    whole = truth[truth["stage"].isin(SOLID) & (truth["visible_fraction"] >= 0.95) & (truth["touches_edge"] == 0)]
    assert len(whole) >= 10
    for number, one in whole.iterrows():
        x, y = int(one["x_px"]), int(one["y_px"])
        assert number in mask[y - 1 : y + 2, x - 1 : x + 2], (number, one["stage"], one["detail"])


def test_without_hatch_there_is_dirt_only_and_the_same_again(draw, bare):
    _name, picture, mask, row, objects, *_ = bare
    assert {one["stage"] for one in objects} == {"debris"}
    assert [row[f"n_{s}"] for s in ("nauplius", "umbrella", "cyst", "shell")] == [0, 0, 0, 0]
    _name, picture_again, mask_again, row_again, objects_again, *_ = draw.draw(SEED, "wide", 1, hatched=False)
    assert (picture == picture_again).all() and (mask == mask_again).all()
    assert (row, objects) == (row_again, objects_again)


TWO_COMMANDS = """
import runpy, sys
script, folder, *asked = sys.argv[1:]
sys.path.insert(0, folder)
for command in " ".join(asked).split(" then "):
    sys.argv = [script, *command.split()]
    runpy.run_path(script, run_name="__main__")
"""
"""Runs a make's command twice in one process, which loads its libraries once."""


@pytest.mark.slow
def test_the_same_seed_gives_the_same_photo_in_another_process(draw, drawn, bare, tmp_path):
    script, again = Path(draw.__file__), tmp_path / "again"
    same = ["--seed", str(SEED), "--numbers", "1", "--masks"]
    hatched, dirty = ["hatched", "--kinds", KIND, *same], ["dirty", "--kinds", "wide", "--without-hatch", *same]
    asked = [str(script), str(script.parent), *hatched, "then", *dirty]
    subprocess.run([sys.executable, "-c", TWO_COMMANDS, *asked], check=True, cwd=tmp_path)
    for out, photo in ((tmp_path / "hatched", drawn), (tmp_path / "dirty", bare)):
        row, objects = save_photo(again, photo, masks=True)
        name = row["photo"]
        for file in (f"photos/{name}.jpg", f"masks/{name}.png"):
            assert (out / file).read_bytes() == (again / file).read_bytes()
        truth = pd.read_csv(out / "truth.csv", keep_default_na=False)
        assert truth.to_dict("records") == [
            {k: (v.item() if isinstance(v, np.generic) else v) for k, v in one.items()} for one in objects
        ]
        assert set(truth["stage"]) == {"debris"} if photo is bare else {"nauplius", "cyst"} < set(truth["stage"])
        assert (
            pd.read_csv(out / "photos.csv")["photo"].tolist() == [p.stem for p in (out / "photos").iterdir()] == [name]
        )


def test_the_command_draws_as_many_of_each_kind_as_it_has(tmp_path, monkeypatch):
    """The command line is the same for all makes; here of one whose photos are four pixels."""

    def four_pixels(seed, kind, number, hatched=True, bench=False):
        name = f"{kind}-{seed}-{'b' if bench else ''}{number}"
        grey = np.full((2, 2, 3), 9, np.uint8)
        return DrawnPhoto(name, grey, np.zeros((2, 2), int), {"photo": name, "hatched": hatched}, [], {})

    def photos_of(*asked):
        out = tmp_path / "_".join(asked)
        monkeypatch.setattr(sys, "argv", ["draw.py", str(out), *asked])
        main("Four pixels.", {"wide": 2, "dish": 1}, four_pixels)
        assert len(list((out / "photos").iterdir())) == len(pd.read_csv(out / "photos.csv"))
        return pd.read_csv(out / "photos.csv")["photo"].tolist()

    assert photos_of() == ["wide-1-1", "wide-1-2", "dish-1-1"]
    assert photos_of("--kinds", "wide", "--seed", "3", "4") == ["wide-3-1", "wide-3-2", "wide-4-1", "wide-4-2"]
    assert photos_of("--numbers", "2") == ["wide-1-2", "dish-1-2"]
    assert photos_of("--kinds", "dish", "--bench", "3") == ["dish-1-b1", "dish-1-b2", "dish-1-b3"]
    assert photos_of("--kinds", "dish", "--without-hatch") == ["dish-1-1"]
    assert [pd.read_csv(p)["hatched"].all() for p in sorted(tmp_path.glob("*/photos.csv"))].count(False) == 1


@pytest.mark.slow
def test_another_seed_gives_another_photo(draw, bare):
    other = draw.draw(SEED + 1, "wide", 1, hatched=False)
    assert bare[1].shape != other[1].shape or (bare[1] != other[1]).any()


def test_photos_of_one_bench_have_their_light_in_common(draw):
    if "bench" not in inspect.signature(draw.draw).parameters:
        pytest.skip("this make draws no benches")
    one, other = (draw.draw(SEED, "wide", k, hatched=False, bench=True) for k in (1, 2))
    assert one[1].shape == other[1].shape and (one[1] != other[1]).any()
    same = ("kind", "um_per_px", "light", "lugol", "strain_length_um")
    assert [one[3][k] for k in same] == [other[3][k] for k in same]
    assert one[0] != other[0]
