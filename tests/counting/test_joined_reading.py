"""The reader joined with the measured objects, with made-up readers whose answers are known."""

import sys
import types

import numpy as np
import pytest
from PIL import Image

from qckit.counting import count_photo, score_photo, summarise_scores
from qckit.counting.reader.proposals import Proposals, Votes
from qckit.stages import CLASSES


@pytest.fixture
def reader(monkeypatch, labelled):
    """Install a reader that answers from the truth of one photo, with chosen faults."""

    def install(photo, *, swap=False, drop=0.0, scale=8.0, score=0.95, sure=0.92):
        _, photos, truth = labelled
        rows = truth[(truth.photo == photo) & (truth.visible_fraction >= 0.2)]
        keep = np.random.default_rng(3).random(len(rows)) >= drop
        rows = rows[keep]
        um = photos.um_per_px[photo]
        code = np.array([CLASSES.index(s) for s in rows.stage])
        if swap:
            code = np.select([code == 2, code == 3], [3, 2], code)
        p = np.full((len(rows), len(CLASSES)), (1 - sure) / (len(CLASSES) - 1))
        p[np.arange(len(rows)), code] = sure
        module = types.ModuleType("qckit.counting.reader.network")
        module.READER_UM_PER_PX, module.COARSEST_UM_PER_PX, module.READER_VERSION = scale, scale, "made up"
        module.reader_available = lambda: True

        def read_picture(image, um_per_px):
            assert image.dtype == np.uint8
            assert um_per_px == pytest.approx(scale, rel=0.01)
            assert image.shape[1] == pytest.approx(photos.width_px[photo] * um / scale, abs=1)
            grid = image.shape[0] // 2, image.shape[1] // 2
            votes = Votes(grid, lambda r, c: np.zeros((2, len(r)), np.float32))
            centres = rows[["y_px", "x_px"]].to_numpy() * um / scale
            proposed = Proposals(centres[:, 0], centres[:, 1], p, np.full(len(rows), score), votes)
            return types.SimpleNamespace(propose=lambda: proposed)

        def read_mirrored(reading, picture, *, by_outline):
            module.again.append(by_outline)
            return reading

        module.read_picture, module.read_mirrored, module.again = read_picture, read_mirrored, []
        monkeypatch.setitem(sys.modules, "qckit.counting.reader.network", module)
        monkeypatch.setattr("importlib.util.find_spec", lambda name: object())
        return truth[truth.photo == photo]

    return install


def figures_of(labelled, photo, truth):
    folder, photos, _ = labelled
    count = count_photo(folder / "photos" / f"{photo}.jpg", um_per_px=photos.um_per_px[photo])
    return count, summarise_scores([score_photo(truth, count.objects)])


@pytest.mark.parametrize(
    ("photo", "scale"), [("bright-04", 8.0), ("dark-07", 8.0), ("sieve-03", 8.0), ("grid-04", 12.0)]
)
def test_a_good_reader_makes_the_count_good(labelled, reader, photo, scale):
    count, figures = figures_of(labelled, photo, reader(photo, scale=scale))
    assert figures["f1"] >= 0.97
    assert figures["stage_accuracy"] >= 0.98
    assert "readers" not in [f.code for f in count.flags]


def test_a_reader_that_swaps_stages_is_flagged(labelled, reader):
    count, _ = figures_of(labelled, "bright-04", reader("bright-04", swap=True, scale=12.0))
    assert "readers" in [f.code for f in count.flags]


@pytest.mark.parametrize(
    ("photo", "sure", "again"),
    [("bright-04", 0.99, []), ("bright-04", 0.6, [True]), ("sieve-03", 0.6, [False])],
)
def test_only_a_doubtful_photo_is_read_again_and_by_outline_on_a_plain_floor(labelled, reader, photo, sure, again):
    figures_of(labelled, photo, reader(photo, sure=sure))
    assert sys.modules["qckit.counting.reader.network"].again == again


def test_what_the_reader_misses_is_still_found(labelled, reader):
    _, figures = figures_of(labelled, "bright-08", reader("bright-08", drop=0.3))
    assert figures["recall"] >= 0.85


def test_where_the_foreground_shows_nothing_proposals_stand_alone_and_flagged(labelled, reader, tmp_path):
    _, photos, _ = labelled
    truth = reader("bright-04", score=0.5)
    size = (photos.height_px["bright-04"], photos.width_px["bright-04"], 3)
    flat = np.random.default_rng(5).normal(128, 2, size).clip(0, 255).astype(np.uint8)
    Image.fromarray(flat).save(tmp_path / "flat.png")
    count = count_photo(tmp_path / "flat.png", um_per_px=photos.um_per_px["bright-04"])
    assert summarise_scores([score_photo(truth, count.objects)])["recall"] == 1
    codes = [f.code for f in count.flags]
    assert "readers" in codes and "crowded" not in codes


def test_without_the_reader_nothing_is_asked(labelled, reader):
    folder, photos, _ = labelled
    reader("bright-08")
    sys.modules["qckit.counting.reader.network"].read_picture = None
    path = folder / "photos" / "bright-08.jpg"
    count = count_photo(path, um_per_px=photos.um_per_px["bright-08"], reader=None)
    assert sum(count.counts.values()) > 30
    assert "alone" in [f.code for f in count.flags]
