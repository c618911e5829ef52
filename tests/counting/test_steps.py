"""The steps one by one, on arrays small enough to check by hand."""

import numpy as np
import pytest
from scipy import ndimage

from qckit.counting import (
    apply_frame,
    best_division,
    cut_pieces,
    find_foreground,
    find_ruled_lines,
    list_candidates,
    remove_ruled_lines,
)
from qckit.counting.damage.cuts import _sharp_per_column, sharp_per_row, suspects_of
from qckit.counting.damage.row_steps import steps_of, sums_across, turned
from qckit.counting.segmentation.foreground import open_mask
from qckit.counting.segmentation.light import LOG_CODE, background_at, estimate_light, signal_of
from qckit.counting.stages import CLASSES, load_stage_model, save_stage_model
from qckit.counting.working import WorkImage
from qckit.errors import InputError
from qckit.files import neutralise, write_whole
from qckit.photo.reading import resize_to_scale


def discs(shape, centres, radius):
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    return np.any([(rows - r) ** 2 + (cols - c) ** 2 <= radius**2 for r, c in centres], axis=0)


def test_two_edge_rule():
    """Left and upper edge are left out, right and lower are counted; a corner on both is left out."""
    boxes = [[5, 5, 9, 9], [0, 5, 4, 9], [5, 0, 9, 4], [16, 5, 20, 9], [5, 26, 9, 30], [0, 26, 4, 30]]
    on_edge, counted = apply_frame(np.array(boxes), (20, 30))
    assert on_edge.tolist() == [False, True, True, True, True, True]
    assert counted.tolist() == [True, False, False, True, True, False]
    assert apply_frame(np.zeros((0, 4)), (5, 5))[0].shape == (0,)


def test_two_edge_rule_is_unbiased(rng):
    """Discs thrown on a plane, seen through a frame: the mean count is density times area (Gundersen 1977)."""
    side, radius, n_frames = 100, 9, 4000
    density = 12 / side**2
    wide = side + 4 * radius
    n = rng.poisson(density * wide**2, n_frames)
    counts = []
    for k in n:
        rows, cols = rng.uniform(-2 * radius, side + 2 * radius, (2, k))
        boxes = np.stack([rows - radius, cols - radius, rows + radius, cols + radius], axis=1)
        seen = (boxes[:, 2] > 0) & (boxes[:, 3] > 0) & (boxes[:, 0] < side) & (boxes[:, 1] < side)
        counts.append(apply_frame(boxes[seen], (side, side))[1].sum())
    assert np.mean(counts) == pytest.approx(12, abs=4 * np.std(counts) / n_frames**0.5)


def test_opening_takes_lines_and_leaves_bodies():
    mask = discs((80, 120), [(40, 40)], 12)
    mask[:, 90:93] = True
    mask[10:13, :] = True
    opened = open_mask(mask, 5)
    assert not opened[:, 90:93].any()
    assert opened[discs((80, 120), [(40, 40)], 10)].all()
    assert (open_mask(mask, 1) == mask).all()


@pytest.mark.parametrize("size", [2, 3, 4, 5, 8])
@pytest.mark.parametrize("shape", [(40, 31), (3, 9), (9, 2), (1, 1)])
def test_opening_against_scipy(rng, shape, size):
    """Erosion, then dilation, outside as at the border; rows that lie in memory as columns are opened alike."""
    mask = rng.random(shape) < 0.8
    before, after = (size - 1) // 2, size // 2
    wide = np.pad(mask, size, mode="edge")
    eroded = ndimage.minimum_filter(wide, size, origin=before - size // 2)[size:-size, size:-size]
    wide = np.pad(eroded, size, mode="edge")
    expected = ndimage.maximum_filter(wide, size, origin=after - size // 2)[size:-size, size:-size] & mask
    assert (open_mask(mask, size) == expected).all()
    assert (open_mask(np.asfortranarray(mask), size) == expected).all()


@pytest.mark.parametrize("cols", [1, 5, 64, 65, 90])
@pytest.mark.parametrize("size", [1, 3, 10, 21, 65])
def test_sums_across_against_scipy(rng, cols, size):
    """Sums of a row's neighbours, mirrored at its ends."""
    rows = rng.integers(0, 256, (7, cols)).astype(np.uint8)
    expected = ndimage.uniform_filter1d(rows.astype(float), size, axis=1) * size
    np.testing.assert_allclose(sums_across(rows, size), expected)


def test_background_of_uneven_light_is_followed():
    rows, cols = np.mgrid[:400, :500]
    lamp = 210 - 70 * (((rows - 200) / 400) ** 2 + ((cols - 250) / 500) ** 2) * 2
    pixels = np.repeat(lamp[..., None], 3, axis=2)
    spots = discs(lamp.shape, [(80, 80), (200, 300), (330, 420)], 13)
    pixels[spots] *= (0.55, 0.4, 0.3)
    work = WorkImage(np.rint(pixels).astype(np.uint8), 8.0, 1.0, 1.0, False)
    light = estimate_light(work)
    back = background_at(light.grid[..., 1], light.block_px, lamp.shape)
    assert np.abs(back - LOG_CODE[np.rint(lamp).astype(int)])[~spots].max() < 10
    assert not light.is_dark
    signal = signal_of(work, light)
    assert signal[spots].min() > 10 * signal[~spots].std()


def test_mesh_vanishes_from_the_signal(rng):
    """White threads over dark holes, one orange disc: the mix of channels ignores what differs in brightness only."""
    rows, cols = np.mgrid[:300, :300]
    mesh = np.where((rows % 13 < 6) | (cols % 13 < 6), 225.0, 95.0)
    pixels = np.repeat(mesh[..., None], 3, axis=2) + rng.normal(0, 3, (300, 300, 3))
    disc = discs(mesh.shape, [(150, 150), (60, 220)], 10)
    pixels[disc] = (215, 140, 50)
    work = WorkImage(np.clip(pixels, 0, 255).astype(np.uint8), 13.0, 1.0, 1.0, False)
    signal = signal_of(work, estimate_light(work))
    assert np.median(signal[disc]) > 8 * signal[~disc].std()
    found = find_foreground(signal, 13.0).mask
    assert (found & disc).sum() > 0.8 * disc.sum()
    assert (found & ~disc).sum() < 0.5 * disc.sum()


@pytest.mark.parametrize("slope", [0.0, 0.04, -0.06])
def test_ruled_lines_are_measured_and_removed(rng, slope):
    """Lines every 125 px: spacing within 0.3 %, and nothing left of them but their noise."""
    rows, cols = np.mgrid[:700, :900]
    signal = rng.normal(0, 1, (700, 900)).astype(np.float32)
    across = (rows - slope * cols) * np.cos(np.arctan(slope))
    signal += np.where(np.abs((across - 40 + 62.5) % 125 - 62.5) < 1.5, 12, 0)
    signal[discs(signal.shape, [(300, 300), (420, 700)], 14)] += 40
    lines, none = find_ruled_lines(signal)
    assert none is None
    assert lines.spacing_px == pytest.approx(125, rel=0.003)
    assert lines.angle_deg == pytest.approx(np.degrees(np.arctan(slope)), abs=0.15)
    clean, n = remove_ruled_lines(signal, 8.0)
    assert n == len(lines.offsets_px) >= 5
    assert (clean > 8).sum() < 0.15 * (np.where(signal < 30, signal, 0) > 8).sum() + 1300
    assert find_ruled_lines(rng.normal(0, 1, (700, 900)).astype(np.float32)) == (None, None)


def test_touching_discs_are_cut_in_two():
    mask = discs((60, 100), [(30, 30), (30, 54)], 13)
    whole, cored = cut_pieces(mask, np.where(mask, 50.0, 0.0), 8.0)
    assert len(whole.patch) - 1 == 2
    assert whole.labels[30, 30] != whole.labels[30, 54]
    assert len(cored.patch) == 1  # no halo, no second way


def test_a_shadow_is_cut_off():
    body = discs((60, 80), [(30, 30)], 11)
    shadow = discs((60, 80), [(32, 42)], 12) & ~body
    whole, cored = cut_pieces(body | shadow, np.where(body, 50.0, np.where(shadow, 6.0, 0)), 8.0)
    inside = cored.labels[30, 30]
    assert inside > 0
    assert (cored.labels[body] == inside).mean() > 0.9
    assert (cored.labels[shadow] != inside).all()
    assert len(whole.patch) >= 2


def test_candidates_are_the_connected_sets():
    patch = np.array([0, 1, 1, 1, 2])
    pairs = np.array([[1, 2], [2, 3]])
    area = np.full(5, 1e4)
    assert list_candidates(patch, pairs, area) == [(1,), (2,), (3,), (4,), (1, 2), (2, 3), (1, 2, 3)]


def test_division_prefers_the_likelier_joining():
    """Pieces 1 and 2 are halves of one object, piece 3 is another."""
    candidates = [(1,), (2,), (3,), (1, 2), (2, 3), (1, 2, 3)]
    quality = np.array([0.3, 0.3, 0.9, 0.9, 0.2, 0.1])
    area = np.array([10, 10, 10, 20, 20, 30.0])
    chosen = best_division(candidates, quality, area, np.array([0, 1, 1, 1]))
    assert [candidates[i] for i in chosen] == [(3,), (1, 2)]


def test_division_of_many_pieces_is_close_to_exact(rng):
    """A chain of 12 pieces is divided by exchanges; dynamic programming along the chain gives the best value."""
    n = 12
    patch = np.array([0] + [1] * n)
    pairs = np.array([[i, i + 1] for i in range(1, n)])
    for _ in range(20):
        candidates = list_candidates(patch, pairs, np.full(n + 1, 1e4))
        quality = rng.uniform(0, 1, len(candidates))
        area = np.array([len(c) for c in candidates], float)
        chosen = best_division(candidates, quality, area, patch)
        covered = [p for i in chosen for p in candidates[i]]
        assert sorted(covered) == list(range(1, n + 1))
        value = {c: q * a for c, q, a in zip(candidates, quality, area, strict=True)}
        best = [0.0] * (n + 1)
        for end in range(1, n + 1):
            best[end] = max(
                best[end - k] + value[tuple(range(end - k + 1, end + 1))] for k in range(1, min(4, end) + 1)
            )
        assert sum(quality[i] * area[i] for i in chosen) >= 0.9 * best[n]


def test_resizing_keeps_scale():
    pixels = np.zeros((300, 400, 3), np.uint8)
    assert resize_to_scale(pixels, 4.0, 8.0).shape == (150, 200, 3)
    assert resize_to_scale(pixels, 13.0, 8.0) is pixels
    assert resize_to_scale(pixels, 12.0, 8.0, enlarge=True).shape == (450, 600, 3)


def test_model_file_is_plain_arrays_and_round_trips(tmp_path, rng):
    models = load_stage_model()
    save_stage_model(tmp_path / "m.npz", models)
    again = load_stage_model(str(tmp_path / "m.npz"))
    from qckit.counting.segmentation.measuring import FEATURES

    x = rng.normal(0, 2, (50, len(FEATURES)))
    for kind in ("colour", "grey"):
        p = models[kind].predict(x)
        assert p.shape == (50, len(CLASSES) + 1)
        assert np.allclose(p.sum(axis=1), 1)
        assert np.allclose(p, again[kind].predict(x), atol=1e-6)
    (tmp_path / "bad.npz").write_bytes(b"PK nonsense")
    with pytest.raises(InputError, match=r"^bad\.npz: this is not a stage model that this version can read"):
        load_stage_model(str(tmp_path / "bad.npz"))


def test_model_file_is_small():
    from qckit.counting.stages import MODEL_FILE

    assert MODEL_FILE.stat().st_size < 2_000_000


def test_grey_model_uses_no_colour():
    assert not [n for n in load_stage_model()["grey"].names if "hue" in n or "chroma" in n]


@pytest.mark.parametrize(
    ("cell", "safe"), [("=cmd()", "'=cmd()"), ("+1", "'+1"), ("@x", "'@x"), ("a=b", "a=b"), (3, 3)]
)
def test_cells_are_no_formulas(cell, safe):
    assert neutralise(cell) == safe


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    target = tmp_path / "a.csv"
    write_whole(target, "old")

    def fail(*_):
        raise OSError("disk full")

    monkeypatch.setattr("os.fsync", fail)
    with pytest.raises(OSError, match="disk full"):
        write_whole(target, "new")
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]


def test_columns_are_searched_for_cuts_as_rows_are(rng):
    """Steps counted with all rows end to end are those of the turned picture, and cuts along a column are found."""
    noise = rng.integers(0, 256, (410, 131), dtype=np.uint8)
    assert _sharp_per_column(noise).tolist() == sharp_per_row(*steps_of(turned(noise), 1), reduced=False).tolist()
    photo = rng.integers(96, 104, (300, 200), dtype=np.uint8)
    photo[40:70, 90:160] = photo[180:220, 90:150] = 160  # two bodies that end along one column
    along_rows, along_columns = suspects_of(photo)
    assert tuple(along_columns[0]) == (70, 2, 89)
    assert suspects_of(turned(photo)) == [along_columns, along_rows]
