"""Crops of labelled photos, recoloured and laid on other floors, and what the network should say of them."""

import math
from fnmatch import fnmatch

import numpy as np
import torch
import torch.nn.functional as F
from labelled_photos import (
    CLASSES,
    COARSE,
    CUT,
    HIDDEN,
    IN_UM,
    MARGIN,
    MAX_ZOOM,
    NO_PHOTO,
    SIZE,
    STORE_UM,
    STRIDE,
    to_linear,
)
from skins import skinned
from torch import nn

OUT_UM = IN_UM * STRIDE
PATCH = 2 * MARGIN
SPOT = 28 / OUT_UM  # spread of a centre mark, in output pixels
DYED, DYE_OF_STAGE, DYE_OF_OBJECT = 0.7, 0.24, 0.12  # share of pictures; spread of the logarithm of light
OVERLAID = 0.7  # share of pictures with a second crop's objects over the first's
CUT_PX = 4  # places of the output that a body cut off by the edge must show


def uniform(n, low, high, device):
    return (low + (high - low) * torch.rand(n, device=device))[:, None, None, None]


def chance(n, p, device):
    return torch.rand(n, 1, 1, 1, device=device) < p


def smooth_field(n, cells, device, spread):
    """Random smooth fields around 1."""
    coarse = torch.randn(n, 1, cells, cells, device=device) * spread
    return torch.exp(F.interpolate(coarse, size=(SIZE, SIZE), mode="bicubic", align_corners=False))


def turned_axes(n, device):
    """Two axes at right angles, turned and shifted at random, in pixels."""
    r = torch.arange(SIZE, device=device, dtype=torch.float)
    yy, xx = r[:, None], r[None, :]
    angle = uniform(n, 0, math.pi, device)
    u = xx * angle.cos() + yy * angle.sin() + uniform(n, 0, 999, device)
    v = -xx * angle.sin() + yy * angle.cos() + uniform(n, 0, 999, device)
    return u, v


def ruled_lines(n, device):
    """Dark etched lines on a square lattice, some of them double: transmission from 0 to 1."""
    pitch, depth = uniform(n, 250, 1200, device) / IN_UM, uniform(n, 0.1, 0.75, device)
    width = uniform(n, 5, 18, device) / IN_UM
    gap = uniform(n, 30, 60, device) / IN_UM * chance(n, 0.4, device)
    t = torch.ones(n, 1, SIZE, SIZE, device=device)
    for w in turned_axes(n, device):
        for shift in (0, gap):
            d = torch.remainder(w + shift, pitch)
            d = torch.minimum(d, pitch - d)
            t = torch.minimum(t, 1 - depth * torch.exp(-0.5 * (d / (0.6 * width + 0.35)) ** 2))
    return t


def woven_mesh(n, device):
    """Woven sieves, threads over ground, each in its own colours; linear light."""
    pitch, share = uniform(n, 70, 320, device) / IN_UM, uniform(n, 0.3, 0.65, device)
    u, v = turned_axes(n, device)
    weave = torch.zeros(n, 1, SIZE, SIZE, device=device)
    for k, (w, other) in enumerate(((u, v), (v, u))):
        d = (torch.remainder(w, pitch) / pitch - 0.5).abs()
        thread = torch.sigmoid((share / 2 - d) * 14)
        weave = torch.maximum(weave, thread * (0.8 + 0.2 * torch.cos(math.pi * other / pitch + k * math.pi / 2) ** 2))
    return random_colour(n, device) * weave + random_colour(n, device) * (1 - weave)


def random_colour(n, device):
    """Colours of a dish, stage or mesh, linear light: often white, grey or black, often tinted, sometimes vivid."""
    which = torch.rand(n, 1, 1, 1, device=device)
    level = torch.where(which < 0.4, uniform(n, 0.3, 0.95, device), uniform(n, 0.03, 0.6, device))
    level = torch.where(which > 0.75, uniform(n, 0.0, 0.1, device), level)
    which = torch.rand(n, 1, 1, 1, device=device)
    spread = torch.where(which < 0.4, 0.08, torch.where(which < 0.75, 0.3, 0.8))
    return (level * torch.exp(torch.randn(n, 3, 1, 1, device=device) * spread)).clamp(0, 1)


class Scenes:
    """Draws training crops, with their targets, from labelled photos."""

    def __init__(self, photos, device, weights=(("*:sieve", 2.0),), *, skins=False):
        self.photos, self.device, self.skins = photos, device, skins
        self.kinds = sorted({p.kind for p in photos})
        makes = [k.split(":")[0] for k in self.kinds]  # each make and each kind as often, but for the weights
        share = np.array([1 / makes.count(m) for m in makes])
        for pattern, weight in weights:
            share *= [weight if fnmatch(k, pattern) else 1.0 for k in self.kinds]
        self.share = share / share.sum()
        self.by_kind = {k: [i for i, p in enumerate(photos) if p.kind == k] for k in self.kinds}
        self.groups = {light: [i for i, p in enumerate(photos) if p.incident == light] for light in (True, False)}
        pad = lambda k, v: nn.utils.rnn.pad_sequence([getattr(p, k) for p in photos], True, v)  # noqa: E731
        self.stages, self.area = pad("stage", -1), pad("area", 1.0)
        self.hidden, self.heat = pad("hidden", True), pad("heat", False)
        self.stages[:, 0] = -1  # id 0 is background
        self.incident = torch.tensor([p.incident for p in photos], device=device)
        # one row of pixels for all photos: one step cuts out all crops
        self.pixels, self.ids, self.ground = (self._in_a_row(k) for k in ("pixels", "ids", "ground"))

    def _in_a_row(self, name):
        """All photos' pixels (or ids, or ground), where each photo's begin, and how wide it is."""
        each = [getattr(p, name) for p in self.photos]
        for photo in self.photos:
            setattr(photo, name, None)
        number = [t.shape[0] * t.shape[1] for t in each]
        starts = torch.tensor(np.cumsum([0, *number[:-1]]), device=self.device)
        widths = torch.tensor([t.shape[1] for t in each], device=self.device)
        flat = torch.empty(sum(number), *each[0].shape[2:], dtype=each[0].dtype, device=self.device)
        for k in range(len(each)):
            flat[sum(number[:k]) : sum(number[: k + 1])] = each[k].reshape(number[k], *each[k].shape[2:])
            each[k] = None
        return flat, starts, widths

    def _cut_out(self, row, which, y, x, side):
        """Squares (n, side, side, ...) with their first corners at (y, x)."""
        flat, starts, widths = row
        r = torch.arange(side, device=self.device)
        along = starts[which][:, None] + (y[:, None] + r) * widths[which][:, None]
        return flat[along[:, :, None] + (x[:, None] + r)[:, None, :]]

    def crops(self, which, zoom):
        """Cut turned, scaled and mirrored squares out of photos.

        Gives planes (image, ground, light that passed the objects less 1, object or not, photo or not) and ids.
        """
        n, device = len(which), self.device
        corner = [[np.random.randint(side) // COARSE * COARSE for side in self.photos[i].size] for i in which]
        y, x = torch.tensor(corner, device=device).T
        which = torch.tensor(which, device=device)
        angle = torch.rand(n, device=device) * 2 * math.pi
        flip = torch.where(torch.rand(n, device=device) < 0.5, 1.0, -1.0)
        step = SIZE * IN_UM / STORE_UM / PATCH / zoom
        c, s = angle.cos() * step, angle.sin() * step
        zero = torch.zeros_like(c)
        theta = torch.stack((torch.stack((flip * c, -s, zero), 1), torch.stack((flip * s, c, zero), 1)), 1)
        grid = F.affine_grid(theta, (n, 1, SIZE, SIZE), align_corners=False)
        sample = lambda p, mode="bilinear": F.grid_sample(p, grid, mode=mode, align_corners=False)  # noqa: E731
        pixels = self._cut_out(self.pixels, which, y, x, PATCH).permute(0, 3, 1, 2).float() / 255
        ids = self._cut_out(self.ids, which, y, x, PATCH)[:, None]
        ground = self._cut_out(self.ground, which, y // COARSE, x // COARSE, PATCH // COARSE)
        ground = sample(ground.permute(0, 3, 1, 2).float())
        image = sample(to_linear(pixels))
        soft, inside = sample(torch.cat((ids > 0, ids > NO_PHOTO), 1).float()).split(1, 1)
        passed = ((image / ground.clamp(min=0.02)).clamp(0, 1.6) - 1) * inside
        ids = sample(ids.float(), "nearest").round().long().clamp(min=0)
        return torch.cat((image, ground, passed, soft, inside), 1), ids[:, 0]

    def dyes(self, ids, which):
        """How much more light each object throws back in this picture, by stage and by object; incident light only."""
        n, device = len(ids), self.device
        normal = lambda spread, *s: torch.randn(*s, device=device) * spread  # noqa: E731
        of_stage = normal(DYE_OF_STAGE, n, len(CLASSES), 1) + normal(DYE_OF_STAGE / 3, n, len(CLASSES), 3)
        stage = self.stages[which]
        dye = of_stage.gather(1, stage.clamp(min=0)[:, :, None].expand(-1, -1, 3))
        dye = dye + normal(DYE_OF_OBJECT, n, stage.shape[1], 1)
        varied = chance(n, DYED, device)[:, 0, 0, 0] & self.incident[which]
        dye = dye * ((stage >= 0) & varied[:, None])[:, :, None]
        dye = dye[torch.arange(n, device=device)[:, None, None], ids].permute(0, 3, 1, 2)
        return torch.exp(F.avg_pool2d(F.pad(dye, (1, 1, 1, 1), mode="replicate"), 3, 1))

    def _put_skins_on(self, planes, ids, which):
        """Other skins on the light that bodies throw back, or on the light that passed them."""
        incident = self.incident[which]
        above = incident[:, None, None, None]
        light = torch.where(above, planes[:, 0:3], 1 + planes[:, 6:9])
        light = skinned(light, ids, self.stages[which], IN_UM, incident=incident)
        planes[:, 0:3] = torch.where(above, light, planes[:, 0:3])
        planes[:, 6:9] = torch.where(above, planes[:, 6:9], light - 1)

    def batch(self, n):
        """Pictures (linear light became sRGB) and targets for one training step."""
        device = self.device
        first = [int(np.random.choice(self.by_kind[k])) for k in np.random.choice(self.kinds, n, p=self.share)]
        second = [int(np.random.choice(self.groups[self.photos[i].incident])) for i in first]
        zoom = torch.exp((torch.rand(n, device=device) * 2 - 1) * math.log(MAX_ZOOM))
        zoom2 = zoom * torch.exp(torch.randn(n, device=device) * 0.04)
        one, ids1 = self.crops(first, zoom)
        two, ids2 = self.crops(second, zoom2)
        which1, which2 = torch.tensor(first, device=device), torch.tensor(second, device=device)
        use_second = chance(n, OVERLAID, device)
        for part, ids, which in ((one, ids1, which1), (two, ids2, which2)):
            part[:, 0:3] *= self.dyes(ids, which)
            if self.skins:
                self._put_skins_on(part, ids, which)
        ids1, ids2 = (ids[:, 1::STRIDE, 1::STRIDE] for ids in (ids1, ids2))
        picture = torch.empty(n, 3, SIZE, SIZE, device=device)
        for incident, draw in ((True, self._laid_on), (False, self._shone_through)):
            k = [j for j, i in enumerate(first) if self.photos[i].incident == incident]
            if k:
                picture[k] = draw(one[k], two[k], use_second[k], [first[j] for j in k])
        ids2 = ids2 * use_second[:, 0]
        n_ids = self.stages.shape[1]
        ids = torch.where(ids2 > 0, ids2 + n_ids, ids1)
        both = lambda t: torch.cat((t[which1], t[which2]), 1)  # noqa: E731
        area = torch.cat((self.area[which1] * zoom[:, None] ** 2, self.area[which2] * zoom2[:, None] ** 2), 1)
        return picture, ids, both(self.stages), area, both(self.hidden), both(self.heat)

    def _shone_through(self, one, two, use_second, which):
        """Bright field: light that passed one and two layers of objects, from another lamp, through a ruled slide."""
        n, device = len(one), self.device
        passed = 1 + one[:, 6:9]
        passed = torch.where(use_second, passed * (1 + two[:, 6:9]).clamp(max=1.05), passed)
        lamp = random_colour(n, device).clamp(min=0.1)
        lamp = lamp / lamp.amax(1, keepdim=True) * uniform(n, 0.35, 1.0, device)
        ground = lamp * smooth_field(n, 3, device, 0.15)
        plain = torch.tensor([not self.photos[i].ruled for i in which], device=device)[:, None, None, None]
        ground = torch.where(plain & chance(n, 0.35, device), ground * ruled_lines(n, device), ground)
        own = ~use_second & chance(n, 0.4, device)
        return torch.where(own, one[:, 3:6] * passed, ground * passed)

    def _laid_on(self, one, two, use_second, which):
        """Incident light: the objects as they are, or laid on another dish, stage or mesh; others laid on top."""
        n, device = len(one), self.device
        image, background, soft, inside = one[:, 0:3], one[:, 3:6], one[:, 9:10], one[:, 10:11]
        image = image * inside + background * (1 - inside)
        ground = torch.where(chance(n, 0.4, device), woven_mesh(n, device), random_colour(n, device).expand_as(image))
        ground = ground * smooth_field(n, 4, device, 0.2)
        dark = torch.tensor([self.photos[i].dark for i in which], device=device)[:, None, None, None]
        glow = ((image - background).amax(1, keepdim=True) / 0.12).clamp(0, 1)  # limbs outside the mask
        alpha = self._soften(soft)
        alpha = torch.where(dark, torch.maximum(alpha, glow), alpha)
        image = torch.where(chance(n, 0.45, device), image * alpha + ground * (1 - alpha), image)
        alpha = self._soften(two[:, 9:10]) * use_second
        return image * (1 - alpha) + two[:, 0:3] * alpha * uniform(n, 0.6, 1.4, device)

    @staticmethod
    def _soften(soft):
        return F.avg_pool2d(F.max_pool2d(soft, 3, 1, 1), 3, 1, 1)


def targets(ids, stages, areas, hidden, heats, beyond):
    """Ids at the output's scale (n, P, P), what each id is (n, m) -> centres, stages, foreground, ways, weight.

    ``beyond`` (n, P, P) is where the picture has ended.
    """
    device = ids.device
    n, out = ids.shape[:2]
    m = stages.shape[1]
    sample = torch.arange(n, device=device)[:, None, None]
    size, lots = n * m, 1 << 16
    # background goes to many places, or its sums would queue for one
    key = torch.where(ids > 0, sample * m + ids, 0)
    nowhere = size + torch.arange(key.numel(), device=device) % lots
    flat = torch.where(ids.reshape(-1) > 0, key.reshape(-1), nowhere)
    r = torch.arange(out, device=device, dtype=torch.float)
    yy, xx = r[:, None].expand(n, out, out), r[None, :].expand(n, out, out)
    add = lambda v: torch.zeros(size + lots, device=device).scatter_add_(0, flat, v.reshape(-1))[:size]  # noqa: E731
    count = add(torch.ones_like(yy))
    cy, cx = add(yy) / count.clamp(min=1), add(xx) / count.clamp(min=1)
    stage = stages.reshape(-1)
    seen = count * OUT_UM**2 / areas.reshape(-1)
    present = (count >= 2) & (stage >= 0) & heats.reshape(-1)
    border = F.max_pool2d(F.pad(beyond[:, None].float(), (1, 1, 1, 1), value=1.0), 3, 1)[:, 0] > 0
    cut = (add(border.float()) > 0) & (seen >= CUT) & (count >= CUT_PX)
    good = present & ~hidden.reshape(-1) & ((seen >= HIDDEN) | cut)
    heat, weight = torch.zeros(n * out * out, device=device), torch.ones(n * out * out, device=device)
    k = torch.arange(-5, 6, device=device)
    ky, kx = torch.meshgrid(k, k, indexing="ij")
    spot = torch.exp(-((ky**2 + kx**2) / (2 * SPOT**2)).float())
    for chosen, into_heat in ((good, True), (present & ~good, False)):
        index = chosen.nonzero()[:, 0]
        py = cy[index].round().long()[:, None, None] + ky
        px = cx[index].round().long()[:, None, None] + kx
        ok = (py >= 0) & (py < out) & (px >= 0) & (px < out)
        place = (index // m)[:, None, None] * out * out + py.clamp(0, out - 1) * out + px.clamp(0, out - 1)
        if into_heat:
            heat.scatter_reduce_(0, place.reshape(-1), (spot * ok).reshape(-1), "amax")
        else:
            near = (spot > 0.2) & ok
            weight.scatter_reduce_(0, place.reshape(-1), 1 - near.float().reshape(-1), "amin")
    heat, weight = heat.view(n, out, out), weight.view(n, out, out)
    weight = torch.where(heat > 0.1, torch.ones_like(weight), weight)
    way = torch.stack((cy[key] - yy, cx[key] - xx), 1) * (ids > 0)[:, None]
    return heat, torch.where(ids > 0, stage[key], -1), (ids > 0).float(), way, weight
