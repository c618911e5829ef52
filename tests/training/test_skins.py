"""Other skins for training bodies: outlines kept, bodies changed, dealt by the seed, light within bounds."""

import math

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training needs torch")

from skins import MOST_LAMPS, grain, middles, skinned, smoothed  # noqa: E402

SIDE, UM_PER_PX, FLOOR, BODY = 96, 6.0, 0.7, 0.4
N = 24


def _pictures(seed=0):
    """Plain pictures of six round bodies of three stages: light, body of each pixel, stage of each body."""
    y, x = np.mgrid[:SIDE, :SIDE]
    ids = np.zeros((SIDE, SIDE), int)
    for k, (row, col) in enumerate([(20, 20), (20, 48), (20, 76), (66, 20), (66, 48), (66, 76)], start=1):
        ids[(y - row) ** 2 + (x - col) ** 2 < 11**2] = k
    ids = torch.from_numpy(np.repeat(ids[None], N, axis=0))
    light = torch.where(ids > 0, BODY, FLOOR)[:, None].repeat(1, 3, 1, 1).float()
    stages = torch.tensor([[-1, 0, 1, 2, 0, 1, 2]]).repeat(N, 1)
    torch.manual_seed(seed)
    return light, ids, stages


def _skinned(seed=0, *, incident=True, stages=None):
    light, ids, of = _pictures(seed)
    falls = torch.full((N,), float(incident))
    return light, ids, skinned(light, ids, of if stages is None else stages, UM_PER_PX, incident=falls)


def _inner(ids, steps=3):
    """Pixels well within a body, and pixels well outside of all."""
    body = (ids > 0).float()[:, None]
    wide = 2 * steps + 1
    inside = -torch.nn.functional.max_pool2d(-body, wide, 1, steps) > 0.5
    outside = torch.nn.functional.max_pool2d(body, wide, 1, steps) < 0.5
    return inside.expand(-1, 3, -1, -1), outside.expand(-1, 3, -1, -1)


def test_the_floor_stays_and_so_does_the_outline():
    light, ids, new = _skinned()
    _, outside = _inner(ids)
    assert new.shape == light.shape and torch.equal(new[outside], light[outside])
    _, _, dull = _skinned(incident=False)
    body = (ids > 0).float()[:, None].expand_as(new)
    ring = (torch.nn.functional.max_pool2d(body, 3, 1, 1) > 0.5) & (body < 0.5)
    assert abs(float(dull[ring].mean()) - FLOOR) < 0.05  # a body ends where it did


def test_skins_of_about_half_the_pictures_change():
    light, ids, new = _skinned()
    inside, _ = _inner(ids)
    changed = [float((a - b)[m].abs().max()) > 1e-3 for a, b, m in zip(new, light, inside, strict=True)]
    assert 0.2 * N < sum(changed) < 0.95 * N
    spread = [float(a[m].std()) for a, m, is_new in zip(new, inside, changed, strict=True) if is_new]
    assert max(spread) > 0.03


def test_bodies_of_no_stage_keep_theirs():
    _, _, stages = _pictures()
    light, _, new = _skinned(stages=torch.full_like(stages, -1))
    assert torch.allclose(new, light, atol=1e-6)


def test_the_same_seed_deals_the_same_skins_and_another_does_not():
    assert torch.equal(_skinned(3)[2], _skinned(3)[2])
    assert not torch.equal(_skinned(3)[2], _skinned(4)[2])


def test_light_is_never_below_nothing_and_lamps_alone_go_beyond_the_grain():
    _, _, still = _skinned(1, incident=False)
    _, _, lit = _skinned(1, incident=True)
    assert float(still.min()) >= 0 and float(still.max()) <= 3 * FLOOR + 1e-6  # the grain is held at three times
    assert bool((lit >= still - 1e-6).all()) and float((lit - still).max()) > 0.1
    assert float(lit.max()) <= 3 * FLOOR + 1.5 * FLOOR * math.exp(0.15 * 4.5) * math.exp(0.35 * 4.5)
    assert torch.isfinite(lit).all()


def test_grain_has_no_mean_and_one_spread_and_the_lumps_it_says():
    torch.manual_seed(0)
    fields = grain(12, SIDE, UM_PER_PX, torch.device("cpu"))
    assert fields.shape == (12, 1, SIDE, SIDE)
    assert torch.allclose(fields.mean((2, 3)), torch.zeros(12, 1), atol=1e-4)
    assert torch.allclose(fields.std((2, 3)), torch.ones(12, 1), atol=1e-3)
    assert (
        float((fields[..., 1:] * fields[..., :-1]).mean((2, 3)).min()) > 0.1
    )  # neighbours are alike: no single pixels


def test_smoothing_within_bodies_takes_nothing_from_the_floor():
    light, ids, _ = _pictures()
    inside = (ids > 0).float()[:, None]
    rough = light * (1 + 0.3 * inside * torch.randn_like(light))
    smooth = smoothed(rough, inside)
    within, _ = _inner(ids, steps=4)
    assert float(smooth[within].std()) < 0.3 * float(rough[within].std())
    assert float((smooth[inside.expand_as(smooth) > 0]).max()) < 0.75 * FLOOR  # no light of the floor comes in


def test_middles_are_those_of_the_bodies_as_they_show():
    _, ids, stages = _pictures()
    row, col, radius = middles(ids, stages.shape[1])
    assert row[0, 1:].tolist() == pytest.approx([20, 20, 20, 66, 66, 66]) and col[0, 2].item() == pytest.approx(48)
    assert radius[0, 1:].tolist() == pytest.approx([11] * 6, rel=0.05) and MOST_LAMPS >= 1
