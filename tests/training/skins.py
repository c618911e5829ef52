"""Other skins for the bodies of training pictures: grain, smoothness and lamps' points that say nothing of a stage.

How rough a body looks, and whether lamps glint on it, depends on the lens, the lamp and the water film, so each picture
deals them out anew, stage by stage: in one the cysts are rough and the shells smooth, in the next the other way round.
What is left to go by is what holds in any light: outline, fullness, opening, rim against centre.
"""

import math

import torch
import torch.nn.functional as F

SKINNED, SAME_FOR_ALL = 0.55, 0.3  # share of pictures; of these, share in which all stages get the same skin
GRAIN_UM = (8.0, 60.0)  # size of the grain's lumps, from a pixel to a third of a cyst
ROUGH, ROUGH_OF_BODY = 0.32, 0.35  # spread of the logarithm of light; of its strength between bodies of a stage
MOST_LAMPS = 4
POINT_UM = (8.0, 30.0)  # spread of a lamp's point
STAGES = 5


def _rand(*shape, device):
    return torch.rand(*shape, device=device)


def _log_uniform(low, high, *shape, device):
    return torch.exp(math.log(low) + math.log(high / low) * _rand(*shape, device=device))


def grain(n, side, um_per_px, device):
    """Fields of lumps, pits or threads of one size a picture: (n, 1, side, side), mean 0 and spread 1."""
    sigma = _log_uniform(*GRAIN_UM, n, device=device) / um_per_px / 2
    reach = math.ceil(2.5 * GRAIN_UM[1] / um_per_px / 2)
    at = torch.arange(-reach, reach + 1, device=device)
    g = torch.exp(-0.5 * (at / sigma[:, None].clamp(min=0.3)) ** 2)
    g = (g / g.sum(1, keepdim=True))[:, None, None]
    noise = torch.randn(1, n, side, side, device=device)
    field = F.conv2d(F.conv2d(noise, g, padding=(0, reach), groups=n), g.transpose(2, 3), padding=(reach, 0), groups=n)
    field = field[0][:, None]
    unit = lambda f: (f - f.mean((2, 3), keepdim=True)) / f.std((2, 3), keepdim=True).clamp(min=1e-6)  # noqa: E731
    field = unit(field)
    which = _rand(n, 1, 1, 1, device=device)
    sign = torch.where(_rand(n, 1, 1, 1, device=device) < 0.5, 1.0, -1.0)
    threads = unit(sign * field.abs())  # folds and cracks
    pits = unit(sign * (field - 1.0).clamp(min=0))  # few lumps on a smooth body
    return torch.where(which < 0.5, field, torch.where(which < 0.75, threads, pits))


def by_body(values, ids):
    """What each body has, at each of its pixels: (n, m) and ids (n, H, W) -> (n, 1, H, W)."""
    return values.gather(1, ids.flatten(1)).view(len(ids), 1, *ids.shape[1:])


def middles(ids, m):
    """Middle (row, column) and radius of each body as far as it shows, in pixels: (n, m) each."""
    n, rows, cols = ids.shape
    flat, device = ids.flatten(1), ids.device
    row = torch.arange(rows, device=device, dtype=torch.float)[:, None].expand(rows, cols).reshape(1, -1).expand(n, -1)
    col = torch.arange(cols, device=device, dtype=torch.float)[None].expand(rows, cols).reshape(1, -1).expand(n, -1)
    add = lambda v: torch.zeros(n, m, device=device).scatter_add_(1, flat, v)  # noqa: E731
    area = add(torch.ones_like(row))
    return add(row) / area.clamp(min=1), add(col) / area.clamp(min=1), (area / math.pi).sqrt()


def points(ids, middle, m, um_per_px):
    """Lamps' images on wet bodies, brightest 1: where they lie on a ball, or anywhere on a wrinkled body."""
    n, rows, cols = ids.shape
    device = ids.device
    row, col, radius = (by_body(v, ids) for v in middle)
    y = torch.arange(rows, device=device, dtype=torch.float)[:, None] - row
    x = torch.arange(cols, device=device, dtype=torch.float)[None] - col
    spread = _log_uniform(*POINT_UM, n, 1, 1, 1, device=device) / um_per_px
    lamps = torch.randint(1, MOST_LAMPS + 1, (n, 1, 1, 1), device=device)
    astray = torch.where(_rand(n, 1, device=device) < 0.5, 0.04, 0.5)  # a ball, or folds that face anywhere
    out = torch.zeros_like(x)
    for k in range(MOST_LAMPS):
        angle = 2 * math.pi * _rand(n, 1, device=device)
        away = 0.1 + 0.6 * _rand(n, 1, device=device)
        dy = away * angle.sin() + astray * torch.randn(n, m, device=device)
        dx = away * angle.cos() + astray * torch.randn(n, m, device=device)
        size = spread * torch.where(_rand(n, 1, 1, 1, device=device) < 0.5, 1.0, 0.6)
        d2 = (y - by_body(dy, ids) * radius) ** 2 + (x - by_body(dx, ids) * radius) ** 2
        out = torch.maximum(out, torch.exp(-0.5 * d2 / size**2) * (k < lamps))
    return out


def smoothed(light, inside):
    """Light averaged within the bodies, so that their own grain goes and their outline stays."""
    blur = lambda t: F.avg_pool2d(F.avg_pool2d(t, 5, 1, 2), 5, 1, 2)  # noqa: E731
    return blur(light * inside) / blur(inside).clamp(min=1e-3)


@torch.no_grad()
def skinned(light, ids, stages, um_per_px, *, incident):
    """Give the bodies of pictures other skins.

    ``light`` (n, 3, H, W) is linear, ``ids`` (n, H, W) the bodies, ``stages`` (n, m) what each is (-1: none),
    ``incident`` (n,) whether light falls on the bodies from above or beside; only then lamps glint.
    """
    n, device = len(ids), ids.device
    m = stages.shape[1]

    def dealt(share, spread):
        """A strength for each body: by stage or for all alike, none in the other pictures."""
        of_stage = _rand(n, STAGES, device=device) ** 2
        of_stage = of_stage * (_rand(n, STAGES, device=device) < share)
        alike = _rand(n, 1, device=device) < SAME_FOR_ALL
        of_stage = torch.where(alike, of_stage[:, :1], of_stage)
        strength = of_stage.gather(1, stages.clamp(min=0))
        strength = strength * torch.exp(ROUGH_OF_BODY * torch.randn(n, m, device=device)) * spread
        there = (stages >= 0) & (_rand(n, 1, device=device) < SKINNED)
        return by_body(strength * there, ids)

    soft = lambda t: F.avg_pool2d(t, 3, 1, 1)  # noqa: E731
    inside = (ids > 0).float()[:, None]
    flat = soft(dealt(0.35, 1.0).clamp(0, 1).sqrt())
    light = light * (1 - flat) + smoothed(light, inside) * flat
    rough = dealt(0.6, 2.2 * ROUGH)
    light = light * torch.exp(soft(rough) * grain(n, ids.shape[1], um_per_px, device)).clamp(max=3)
    shine = dealt(0.5, 1.0) * incident[:, None, None, None]
    lit = light.flatten(1)[:, ::37].quantile(0.98, dim=1)[:, None, None, None].clamp(min=0.05)
    tint = torch.exp(0.15 * torch.randn(n, 3, 1, 1, device=device))
    return light + soft(shine * points(ids, middles(ids, m), m, um_per_px)) * lit * tint * 1.5
