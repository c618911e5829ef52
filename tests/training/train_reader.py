"""Train the second reader: a small convolutional network that proposes centres and stages.

Run on a machine with PyTorch (a GPU makes it minutes instead of hours), from the root of the checkout::

    python tests/training/train_reader.py --photos tests/photos --out OUT --minutes 9.1            # on all photos
    python tests/training/train_reader.py --photos tests/photos --out OUT --minutes 9.1 --fold 0   # leave an eighth out

It reads the labelled photos, writes ``reader.onnx`` (weights of the moving average, batch normalisation folded in),
the same weights to go on from with ``--start`` (``weights.npz``) and, with ``--fold``, the proposals on the photos left
out (``proposals-FOLD.csv``). ``shrink_reader.py`` then makes the file that the kit carries and runs with onnxruntime;
PyTorch is needed only here.

What the network sees: 12 µm per pixel, sRGB from 0 to 1. What it says, at 24 µm per pixel, in nine planes: centre,
five stages (the four and debris), foreground, and the way to the object's centre (down, right; in pixels of 24 µm). The
planes come folded: four values of each per 48 µm pixel.

Colour is not to be trusted (lamps, dishes and cameras differ), so training recolours nearly everything: in bright
field the light that passed an object is multiplied onto other lamps and ruled lines; in incident light objects are
laid on other dishes, meshes and stages. Nor, in incident light, is brightness: in dark field shells are half
as bright as cysts on one photo and brighter on the next, so all objects of a stage become lighter or darker together,
and each one a little by itself. (In bright field, where shells let more light through, this did harm.)
"""

import argparse
import csv
import math
import time
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from PIL import Image
from torch import nn

STORE_UM, IN_UM, STRIDE = 8.0, 12.0, 2
OUT_UM = IN_UM * STRIDE
CLASSES = ("nauplius", "umbrella", "cyst", "shell", "debris")
N_FOLDS = 2
SIZE = 288  # side of a training crop, in pixels of IN_UM; a multiple of 32
MAX_ZOOM = 1.33
PATCH = int(SIZE * IN_UM / STORE_UM * MAX_ZOOM * 1.4143) + 4
MARGIN = PATCH // 2 + 2
SPOT = 28 / OUT_UM  # spread of a centre mark, in output pixels
DYED, DYE_OF_STAGE, DYE_OF_OBJECT = 0.7, 0.24, 0.12  # share of pictures; spread of the logarithm of light
OVERLAID = 0.7  # share of pictures with a second crop's objects over the first's
HIDDEN = 0.35  # an object of which less can be seen is neither asked for nor held against the reader


# ---------------------------------------------------------------- network
def block(n_in, n_out, stride=1, size=3, pad=None):
    """Convolution, normalisation, rectifier."""
    pad = size // 2 if pad is None else pad
    return nn.Sequential(
        nn.Conv2d(n_in, n_out, size, stride, pad, bias=False), nn.BatchNorm2d(n_out), nn.ReLU(inplace=True)
    )


class Residual(nn.Module):
    """Two convolutions around which the input passes."""

    def __init__(self, n):
        super().__init__()
        self.a = block(n, n)
        self.b = nn.Sequential(nn.Conv2d(n, n, 3, 1, 1, bias=False), nn.BatchNorm2d(n))

    def forward(self, x):
        return F.relu(x + self.b(self.a(x)))


class Reader(nn.Module):
    """Levels at 4, 8, 16 and 32 pixels of the picture; answers at two by unfolding channels.

    The coarse levels let each object be judged against its neighbours and its floor: 3 mm around it are in view.
    """

    def __init__(self, width=32):
        super().__init__()
        b, c, d, e = width, 2 * width, 3 * width, 4 * width
        self.stem = nn.Sequential(block(3, c, 4, 8, 2), block(c, b, 1, 1))
        self.one = Residual(b)
        self.two = nn.Sequential(block(b, c, 2), Residual(c), Residual(c))
        self.three = nn.Sequential(block(c, d, 2), Residual(d), Residual(d))
        self.four = nn.Sequential(block(d, e, 2), Residual(e), Residual(e))
        self.to_three, self.to_two, self.back = nn.Conv2d(e, d, 1), nn.Conv2d(d, c, 1), nn.Conv2d(c, b, 1)
        self.mix_two, self.mix = Residual(c), Residual(b)
        self.head = nn.Sequential(block(b, b, 1, 1), nn.Conv2d(b, 9 * 4, 1))
        self.head[-1].bias.data[:4] = -4.0

    def forward(self, x):
        up = lambda y: F.interpolate(y, scale_factor=2.0, mode="nearest")  # noqa: E731
        one = self.one(self.stem(x - 0.5))
        two = self.two(one)
        three = self.three(two)
        three = F.relu(three + up(self.to_three(self.four(three))))
        two = self.mix_two(F.relu(two + up(self.to_two(three))))
        return self.head(self.mix(F.relu(one + up(self.back(two)))))


# ---------------------------------------------------------------- photos
def to_linear(x):
    return x.clamp(0, 1) ** 2.2


def to_srgb(x):
    return x.clamp(1e-6, 1) ** (1 / 2.2)


class Photo:
    """One labelled photo at STORE_UM per pixel, on the device; without masks its outlines are guessed from boxes."""

    def __init__(self, root, row, objects, device):
        self.name, self.kind = row["photo"], f"{root.name}:{row['kind']}"
        um = float(row["um_per_px"])
        self.um = um
        image = torch.from_numpy(np.array(Image.open(root / "photos" / f"{self.name}.jpg").convert("RGB")))
        drawn = root / "masks" / f"{self.name}.png"
        mask = np.array(Image.open(drawn)) if drawn.is_file() else guessed_outlines(image.numpy(), objects)
        mask = torch.from_numpy(mask.astype(np.int32))
        image = image.to(device).permute(2, 0, 1)[None].float() / 255
        f = um / STORE_UM
        size = (round(image.shape[2] * f), round(image.shape[3] * f))
        self.full = image
        image = F.interpolate(image, size=size, mode="bilinear", antialias=f < 1, align_corners=False)
        mask = F.interpolate(mask[None, None].float().to(device), size=size, mode="nearest")
        n = max(int(o["object_id"]) for o in objects) + 1
        stage = torch.full((n,), -1, dtype=torch.long)
        area, hidden = torch.ones(n), torch.ones(n, dtype=torch.bool)
        heat = torch.zeros(n, dtype=torch.bool)
        for o in objects:
            i = int(o["object_id"])
            stage[i] = CLASSES.index(o["stage"])
            area[i] = float(o["whole_area_px"]) * um * um
            hidden[i] = float(o["visible_fraction"]) < HIDDEN
            heat[i] = o["detail"] != "fibre"
        self.stage, self.area, self.hidden, self.heat = (t.to(device) for t in (stage, area, hidden, heat))
        image = to_linear(image)
        self.mask = mask
        kind, light = row["kind"], row["light"]
        self.ruled = kind in ("grid", "chamber")
        self.dark = kind == "dark" or "on black" in light or "dark field" in light
        self.incident = self.dark or kind in ("sieve", "paper") or "incident" in light
        background = self._background(image, mask)
        passed = (image / background.clamp(min=0.02)).clamp(0, 1.6)
        soft = (mask > 0).float()
        planes = F.pad(torch.cat((image, background), 1), (MARGIN,) * 4, mode="replicate")
        zero = F.pad(torch.cat((passed - 1, soft, torch.ones_like(soft)), 1), (MARGIN,) * 4)
        self.planes = torch.cat((planes, zero), 1)[0].half()
        self.ids = F.pad(mask, (MARGIN,) * 4)[0]
        self.size = mask.shape[2:]

    @staticmethod
    def _background(image, mask):
        """Smooth light around the objects: means of blocks free of them, spread over the gaps."""
        free = 1 - F.max_pool2d((mask > 0).float(), 25, 1, 12)
        block_px = 13
        h, w = mask.shape[2] // block_px, mask.shape[3] // block_px
        total = F.adaptive_avg_pool2d(image * free, (h, w))
        weight = F.adaptive_avg_pool2d(free, (h, w))
        for _ in range(3):
            total = F.avg_pool2d(F.pad(total, (6, 6, 6, 6), mode="replicate"), 13, 1)
            weight = F.avg_pool2d(F.pad(weight, (6, 6, 6, 6), mode="replicate"), 13, 1)
        return F.interpolate(total / (weight + 1e-4), size=mask.shape[2:], mode="bilinear", align_corners=False)


def guessed_outlines(image, objects):
    """Instance mask of a photo whose truth holds boxes and areas: in each box what differs most from the ground."""
    from scipy import ndimage

    small = np.array(Image.fromarray(image).reduce(16), float)
    ground = np.stack([ndimage.median_filter(small[:, :, c], 15, mode="nearest") for c in range(3)], 2)
    ground = np.array(Image.fromarray(ground.astype(np.uint8)).resize(image.shape[1::-1], Image.Resampling.BILINEAR))
    differs = ndimage.gaussian_filter(np.abs(image.astype(float) - ground).max(2), 1.5)
    mask, claim = np.zeros(image.shape[:2], np.int32), np.full(image.shape[:2], np.inf)
    for o in sorted(objects, key=lambda o: -float(o["visible_area_px"])):
        x0, y0, x1, y1 = (max(0, int(float(o[k]))) for k in ("x0", "y0", "x1", "y1"))
        part = differs[y0:y1, x0:x1]
        if not part.size:
            continue
        yy, xx = np.mgrid[y0 : y0 + part.shape[0], x0 : x0 + part.shape[1]]
        away = np.hypot((xx - float(o["x_px"])) / max(1, x1 - x0), (yy - float(o["y_px"])) / max(1, y1 - y0))
        value = part / max(np.percentile(part, 95), 1) - 1.6 * away
        n = int(np.clip(float(o["visible_area_px"]), 1, part.size))
        inside = value >= np.partition(value.ravel(), part.size - n)[part.size - n]
        inside = ndimage.binary_fill_holes(ndimage.binary_opening(inside, iterations=1) | (away < 0.12))
        take = inside & (away < claim[y0:y1, x0:x1])
        mask[y0:y1, x0:x1][take] = int(o["object_id"])
        claim[y0:y1, x0:x1][take] = away[take]
    return mask


def load_photos(root, device, names=None):
    with (root / "photos.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    objects = {}
    with (root / "truth.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            objects.setdefault(row["photo"], []).append(row)
    return [Photo(root, r, objects[r["photo"]], device) for r in rows if names is None or r["photo"] in names]


def folds(root, n_folds=N_FOLDS):
    """Deal the photos into folds, kind by kind, in the order of the table."""
    with (root / "photos.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    seen, out = {}, {}
    for r in rows:
        k = seen.get(r["kind"], 0)
        seen[r["kind"]] = k + 1
        out[r["photo"]] = k % n_folds
    return out


# ---------------------------------------------------------------- scenes for training
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

    def __init__(self, photos, device):
        self.photos, self.device = photos, device
        self.kinds = sorted({p.kind for p in photos})
        makes = [k.split(":")[0] for k in self.kinds]  # each make and each kind as often; sieves show most objects
        share = np.array(
            [(2 if k.endswith(":sieve") else 1) / makes.count(m) for k, m in zip(self.kinds, makes, strict=True)]
        )
        self.share = share / share.sum()
        self.by_kind = {k: [i for i, p in enumerate(photos) if p.kind == k] for k in self.kinds}
        self.groups = {light: [i for i, p in enumerate(photos) if p.incident == light] for light in (True, False)}
        pad = lambda k, v: nn.utils.rnn.pad_sequence([getattr(p, k) for p in photos], True, v)  # noqa: E731
        self.stages, self.area = pad("stage", -1), pad("area", 1.0)
        self.hidden, self.heat = pad("hidden", True), pad("heat", False)
        self.stages[:, 0] = -1  # id 0 is background
        self.incident = torch.tensor([p.incident for p in photos], device=device)

    def crops(self, which, zoom):
        """Cut turned, scaled and mirrored squares out of photos; return planes and object ids."""
        n, device = len(which), self.device
        patches = torch.empty(n, len(self.photos[0].planes), PATCH, PATCH, device=device)
        ids = torch.empty(n, 1, PATCH, PATCH, device=device)
        for k, i in enumerate(which):
            photo = self.photos[i]
            y = np.random.randint(photo.size[0]) + MARGIN - PATCH // 2
            x = np.random.randint(photo.size[1]) + MARGIN - PATCH // 2
            patches[k] = photo.planes[:, y : y + PATCH, x : x + PATCH]
            ids[k] = photo.ids[:, y : y + PATCH, x : x + PATCH]
        angle = torch.rand(n, device=device) * 2 * math.pi
        flip = torch.where(torch.rand(n, device=device) < 0.5, 1.0, -1.0)
        step = SIZE * IN_UM / STORE_UM / PATCH / zoom
        c, s = angle.cos() * step, angle.sin() * step
        zero = torch.zeros_like(c)
        theta = torch.stack((torch.stack((flip * c, -s, zero), 1), torch.stack((flip * s, c, zero), 1)), 1)
        grid = F.affine_grid(theta, (n, 1, SIZE, SIZE), align_corners=False)
        planes = F.grid_sample(patches, grid, mode="bilinear", align_corners=False)
        ids = F.grid_sample(ids, grid, mode="nearest", align_corners=False).round().long()
        return planes, ids[:, 0]

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
        one[:, 0:3] *= self.dyes(ids1, which1)
        two[:, 0:3] *= self.dyes(ids2, which2)
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


def targets(ids, stages, areas, hidden, heats):
    """Ids at the output's scale (n, P, P), what each id is (n, m) -> centres, stages, foreground, ways, weight."""
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
    good = present & ~hidden.reshape(-1) & (seen >= HIDDEN)
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


# ---------------------------------------------------------------- scenes of our own, pictures of other things
MODES = (("through", 0.4), ("dark", 0.15), ("above", 0.45))


class Stock:
    """Scenes drawn ahead by ``worlds.World``, some of them drawn anew all the time."""

    def __init__(self, world, n, device):
        self.world, self.n, self.at = world, n, 0
        self.light = torch.empty(n, 3, SIZE, SIZE, dtype=torch.half, device=device)
        self.ids = torch.empty(n, SIZE // STRIDE, SIZE // STRIDE, dtype=torch.uint8, device=device)
        self.facts = None

    @torch.no_grad()
    def refresh(self, m):
        """Draw m scenes more over the oldest ones."""
        m = min(m, self.n - self.at)
        d = self.world.draw(m, str(np.random.choice([k for k, _ in MODES], p=[p for _, p in MODES])))
        here = slice(self.at, self.at + m)
        self.light[here] = F.interpolate(d.light, size=(SIZE, SIZE), mode="bilinear", antialias=True).half()
        self.ids[here] = d.ids[:, 1::3, 1::3].to(torch.uint8)
        new = (d.stage, d.area, d.heat)
        if self.facts is None:
            self.facts = [torch.zeros(self.n, *t.shape[1:], dtype=t.dtype, device=t.device) for t in new]
        for old, t in zip(self.facts, new, strict=True):
            old[here] = t
        self.at = (self.at + m) % self.n

    def batch(self, n):
        which = torch.randint(self.n, (n,), device=self.ids.device)
        light, ids = self.light[which].float(), self.ids[which].long()
        if np.random.rand() < 0.5:
            light, ids = light.transpose(2, 3), ids.transpose(1, 2)
        stage, area, heat = (t[which] for t in self.facts)
        return light, ids, stage, area, torch.zeros_like(heat), heat


class Others:
    """Pictures of other things, in which nothing is to be found."""

    def __init__(self, files, device):
        self.pictures = []
        for file in files:
            picture = Image.open(file).convert("RGB")
            picture.thumbnail((1400, 1400))
            self.pictures.append(torch.from_numpy(np.array(picture)).permute(2, 0, 1)[None].float().to(device) / 255)
        self.device = device

    def batch(self, n, m):
        """n crops at random scales, with the tables of m ids each."""
        out = []
        for _ in range(n):
            x = self.pictures[np.random.randint(len(self.pictures))]
            side = int(min(min(x.shape[2:]), max(48, SIZE * math.exp(np.random.uniform(-1.2, 0.9)))))
            r, c = (np.random.randint(s - side + 1) for s in x.shape[2:])
            x = F.interpolate(x[:, :, r : r + side, c : c + side], size=(SIZE, SIZE), mode="bilinear", antialias=True)
            out.append(to_linear(torch.rot90(x, np.random.randint(4), (2, 3))))
        ids = torch.zeros(n, SIZE // STRIDE, SIZE // STRIDE, dtype=torch.long, device=self.device)
        nothing = torch.full((n, m), -1, device=self.device)
        no = torch.zeros(n, m, dtype=torch.bool, device=self.device)
        return torch.cat(out), ids, nothing, torch.ones(n, m, device=self.device), no, no


def joined(parts):
    """Batches of several sources as one; ids keep their numbers, tables are widened."""
    most = max(p[2].shape[1] for p in parts)
    fill = (None, None, -1, 1.0, True, False)
    out = []
    for j in range(6):
        some = [p[j] if j < 2 else F.pad(p[j], (0, most - p[j].shape[1]), value=fill[j]) for p in parts]
        out.append(torch.cat(some))
    return out


def camera(x, device):
    """Other lamps, other cameras: colour, exposure, uneven light, blur, noise, compression. Linear in, sRGB out."""
    n, _, size, _ = x.shape
    rand = lambda *s: torch.rand(*s, device=device)  # noqa: E731
    strong = (rand(n, 1, 1, 1) < 0.35).float()
    x = x * torch.exp(torch.randn(n, 3, 1, 1, device=device) * (0.12 + 0.33 * strong))
    x = x * torch.exp(torch.randn(n, 1, 1, 1, device=device) * 0.25)
    field = smooth_field(n, 3, device, 0.25)
    x = torch.where(rand(n, 1, 1, 1) < 0.5, x * field, x)
    glare = smooth_field(n, 5, device, 0.9)
    x = torch.where(rand(n, 1, 1, 1) < 0.1, x + 0.25 * (glare - 1.5).clamp(0, 3), x)
    veil = rand(n, 1, 1, 1) ** 3 * 0.15
    x = x * (1 - veil) + veil * rand(n, 3, 1, 1)
    grey = (x * torch.tensor([0.3, 0.55, 0.15], device=device)[None, :, None, None]).sum(1, keepdim=True)
    one = x.gather(1, torch.randint(0, 3, (n, 1, 1, 1), device=device).expand(-1, 1, size, size))
    grey = torch.where(rand(n, 1, 1, 1) < 0.3, one, grey)
    saturation = 0.6 + 0.8 * rand(n, 1, 1, 1)
    saturation = torch.where(rand(n, 1, 1, 1) < 0.15, torch.zeros_like(saturation), saturation)
    x = grey + (x - grey) * saturation
    mixing = torch.eye(3, device=device)[None] + torch.randn(n, 3, 3, device=device) * 0.12
    turned = torch.einsum("nij,njhw->nihw", mixing / mixing.sum(2, keepdim=True).clamp(min=0.3), x)
    x = torch.where((rand(n, 1, 1, 1) < 0.3) & (saturation > 0), turned, x)
    specks = (rand(n, 1, size, size) < 2e-4).float() * rand(n, 1, size, size) * 8
    k = torch.exp(-((torch.arange(-4, 5, device=device) / 1.5) ** 2).float())
    specks = F.conv2d(specks, (k[:, None] * k)[None, None], padding=4).clamp(0, 1) * rand(n, 1, 1, 1)
    dust = rand(n, 3, 1, 1) * rand(n, 1, 1, 1)
    x = torch.where(rand(n, 1, 1, 1) < 0.3, x * (1 - specks) + dust * specks, x)
    x = to_srgb(x)
    gamma = torch.exp(torch.randn(n, 1, 1, 1, device=device) * 0.18)
    x = x.clamp(1e-4, 1) ** gamma
    contrast = torch.exp(torch.randn(n, 1, 1, 1, device=device) * 0.12)
    x = (x - 0.5) * contrast + 0.5
    # none or one of three blurs, each picture its own, then sharpening as phones do
    sigma = torch.tensor([0.05, 0.6, 1.1, 1.8], device=device)
    choice = torch.multinomial(torch.tensor([0.45, 0.27, 0.2, 0.08], device=device), n, replacement=True)
    g = torch.exp(-0.5 * (torch.arange(-5, 6, device=device) / sigma[choice][:, None]) ** 2)
    g = (g / g.sum(1, keepdim=True)).repeat_interleave(3, 0)[:, None, None]
    x = F.pad(x, (5, 5, 5, 5), mode="reflect").view(1, 3 * n, size + 10, size + 10)
    x = F.conv2d(F.conv2d(x, g, groups=3 * n), g.transpose(2, 3), groups=3 * n).view(n, 3, size, size)
    sharp = x + (x - F.avg_pool2d(F.pad(x, (1, 1, 1, 1), mode="reflect"), 3, 1)) * rand(n, 1, 1, 1) * 1.5
    x = torch.where(rand(n, 1, 1, 1) < 0.3, sharp, x)
    noise = torch.randn_like(x) * (0.03 * rand(n, 1, 1, 1) ** 2)
    x = (
        x
        + noise
        + F.avg_pool2d(F.pad(torch.randn_like(x), (1, 1, 1, 1), mode="reflect"), 3, 1) * 0.04 * rand(n, 1, 1, 1) ** 2
    )
    return x.clamp(0, 1)


# ---------------------------------------------------------------- training
def loss_of(out, targets):
    heat, stage, fore, way, weight = targets
    p = out[:, 0].float().sigmoid().clamp(1e-5, 1 - 1e-5)
    positive = heat > 0.999
    n_positive = positive.sum().clamp(min=1)
    hit = -((1 - p) ** 2 * p.log())[positive].sum()
    miss = -((1 - heat) ** 4 * p**2 * (1 - p).log() * weight * (~positive)).sum()
    centre = (hit + miss) / n_positive
    logits = out[:, 1:6].float()
    balance = torch.tensor([1.0, 1.8, 1.0, 1.2, 1.0], device=out.device)
    ce = F.cross_entropy(logits, stage.clamp(min=0), weight=balance, reduction="none", label_smoothing=0.02)
    inside = (stage >= 0).float()
    near = inside * (0.15 + heat)
    stages = (ce * near).sum() / near.sum().clamp(min=1)
    foreground = F.binary_cross_entropy_with_logits(out[:, 6].float(), fore)
    ways = ((out[:, 7:9].float() - way).abs().sum(1) * inside).sum() / inside.sum().clamp(min=1)
    return centre + 1.2 * stages + foreground + 0.1 * ways, torch.stack((centre, stages, foreground, ways)).detach()


def train(sources, minutes, device, width, seed, start_from=None, lr=3e-3):
    """Train on crops of ``sources``: functions without arguments that each give a part of the batch."""
    torch.manual_seed(seed)
    np.random.seed(seed)
    net = Reader(width).to(device).to(memory_format=torch.channels_last)
    if start_from:
        net.load_state_dict({k: torch.from_numpy(v) for k, v in np.load(start_from).items()})
    average = Reader(width).to(device)
    average.load_state_dict(net.state_dict())
    slow, fast = ([t for t in m.state_dict().values() if t.is_floating_point()] for m in (average, net))
    optimiser = torch.optim.AdamW(net.parameters(), lr=lr, weight_decay=0.4, fused=device.type == "cuda")
    start, step, spent = time.time(), 0, 0.0
    while spent < 1:
        spent = (time.time() - start) / (60 * minutes)
        rate = min(1, (step + 1) / 200) * (0.5 * (1 + math.cos(math.pi * min(spent, 1))) + 1e-3)
        for group in optimiser.param_groups:
            group["lr"] = lr * rate
        with torch.no_grad():
            light, *rest = joined([s() for s in sources])
            x, wanted = camera(light, device), targets(*rest)
        with torch.autocast(device.type, dtype=torch.bfloat16):
            out = F.pixel_shuffle(net(x.contiguous(memory_format=torch.channels_last)), 2)
        loss, parts = loss_of(out, wanted)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        with torch.no_grad():
            torch._foreach_lerp_(slow, fast, 1 - min(0.998, step / (step + 20)))
        step += 1
        if step % 200 == 0 or step in (1, 5, 20):
            now = [round(p, 3) for p in parts.tolist()]
            print(f"step {step} {time.time() - start:.0f} s loss {loss.item():.3f} parts {now}", flush=True)
    print(f"{step} steps", flush=True)
    return average.eval()


@torch.no_grad()
def propose(net, image_full, um, threshold=0.15):
    """Centres and stages of one photo, in photo pixels."""
    f = um / IN_UM
    f = 1.0 if 1 < f < 1.25 else f  # no finer than the photo is
    size = (round(image_full.shape[2] * f), round(image_full.shape[3] * f))
    x = F.interpolate(image_full, size=size, mode="bilinear", antialias=f < 1, align_corners=False)
    h, w = size
    x = F.pad(x, (0, -w % 32, 0, -h % 32), mode="replicate")
    out = F.pixel_shuffle(net(x), 2).float()
    heat = out[:, :1].sigmoid()
    peaks = (heat == F.max_pool2d(heat, 3, 1, 1)) & (heat > threshold)
    p = out[:, 1:6].softmax(1)
    _, _, rows, cols = peaks.nonzero(as_tuple=True)
    score = heat[0, 0, rows, cols]
    y, xx = (
        (rows + 0.5) * STRIDE / (size[0] / image_full.shape[2]),
        (cols + 0.5) * STRIDE / (size[1] / image_full.shape[3]),
    )
    return y.cpu().numpy(), xx.cpu().numpy(), p[0, :, rows, cols].T.cpu().numpy(), score.cpu().numpy()


def write_proposals(net, photos, path):
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(["photo", "stage", "x_px", "y_px", "score", *(f"p_{c}" for c in CLASSES)])
        for photo in photos:
            y, x, p, score = propose(net, photo.full, photo.um)
            for row in range(len(y)):
                numbers = [*(x[row], y[row]), score[row], *p[row]]
                out.writerow([photo.name, CLASSES[int(p[row].argmax())], *(round(float(v), 4) for v in numbers)])


def export(net, path):
    """Write ONNX with batch normalisation folded into the convolutions (done by the exporter in eval mode)."""
    net = net.cpu().eval()
    torch.onnx.export(
        net,
        torch.zeros(1, 3, 256, 320),
        str(path),
        input_names=["photo"],
        output_names=["planes"],
        dynamic_axes={"photo": {2: "rows", 3: "cols"}, "planes": {2: "rows", 3: "cols"}},
        opset_version=17,
        dynamo=False,
    )


def photo_batches(photos, n, device):
    """A source of n crops of labelled photos, half of them of the first make where there are two."""
    scenes = Scenes(photos, device)
    return lambda: scenes.batch(n)


def own_batches(args, n, device):
    """A source of n crops of our own scenes."""
    from volumes import make_bank
    from worlds import World

    start = time.time()
    bank = make_bank(args.seed, args.bank, device)
    print(f"{len(bank.kind)} objects marched in {time.time() - start:.0f} s", flush=True)
    stock = Stock(World(bank, SIZE * 3 // 2, device), args.stock, device)
    while stock.at + 96 < args.stock or stock.facts is None:
        stock.refresh(96)
        if stock.at == 0:
            break
    stock.refresh(args.stock)
    print(f"{args.stock} scenes drawn in {time.time() - start:.0f} s", flush=True)
    turn = iter(range(10**9))

    def source():
        if next(turn) % args.every == 0:
            stock.refresh(96)
        return stock.batch(n)

    return source


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--photos", type=Path, nargs="*", default=[Path("tests/photos")], help="labelled sets to learn from"
    )
    parser.add_argument("--without", nargs="*", default=[], help="kinds left out, as FOLDER:KIND")
    parser.add_argument("--also", type=Path, nargs="*", default=[], help="further labelled sets to read after training")
    parser.add_argument("--others", type=Path, nargs="*", default=[], help="pictures of other things")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=6)
    parser.add_argument("--fold", type=int)
    parser.add_argument("--folds", type=int, default=N_FOLDS)
    parser.add_argument("--width", type=int, default=32)
    parser.add_argument(
        "--crops", type=int, nargs=3, default=(28, 24, 2), help="a step's crops: photos, own scenes, others"
    )
    parser.add_argument("--bank", type=float, default=8, help="objects of our own scenes, in 600")
    parser.add_argument("--stock", type=int, default=4000, help="own scenes held ready")
    parser.add_argument("--every", type=int, default=20, help="steps between 96 new own scenes")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tag", default="")
    parser.add_argument("--start", type=Path, help="weights-*.npz of an earlier training to go on from")
    parser.add_argument("--rate", type=float, default=3e-3, help="highest step size (1e-3 is right when going on)")
    args = parser.parse_args()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cudnn.benchmark = True
    args.out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(args.seed)
    kept, left = [], {}
    for root in args.photos:
        photos, dealt = load_photos(root, device), folds(root, args.folds)
        out = [p for p in photos if dealt[p.name] == args.fold or p.kind in args.without]
        kept += [p for p in photos if p not in out]
        left[root.name] = out
    print(f"training on {len(kept)} photos, {sum(len(p.stage) for p in kept)} objects", flush=True)
    sources = []
    if args.crops[1]:
        sources.append(own_batches(args, args.crops[1], device))
    if args.crops[0] and kept:
        sources.append(photo_batches(kept, args.crops[0], device))
    if args.crops[2] and args.others:
        others = Others(args.others, device)
        sources.append(lambda: others.batch(args.crops[2], 2))
    net = train(sources, args.minutes, device, args.width, args.seed, args.start, args.rate)
    tag = args.tag or ("all" if args.fold is None else str(args.fold))
    np.savez(args.out / f"weights-{tag}.npz", **{k: v.cpu().numpy() for k, v in net.state_dict().items()})
    for name, photos in left.items():
        if photos:
            write_proposals(net, photos, args.out / f"proposals-{tag}-{name}.csv")
    for root in args.also:
        write_proposals(net, load_photos(root, device), args.out / f"proposals-{tag}-{root.name}.csv")
    export(net, args.out / f"reader-{tag}.onnx")


if __name__ == "__main__":
    main()
