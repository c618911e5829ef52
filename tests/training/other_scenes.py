"""Crops of drawn scenes and of pictures of other things, and the lamps and cameras that all crops are seen through."""

import math
import time

import numpy as np
import torch
import torch.nn.functional as F
from labelled import smooth_field
from labelled_photos import IN_UM, SIZE, STRIDE, to_linear, to_srgb
from PIL import Image
from skins import skinned

BLOCK, RIM = 32, 128 / 255  # a photo goes on for so many pixels, and as this grey; as the network's reading does
MODES = (("through", 0.4), ("dark", 0.15), ("above", 0.45))


class Stock:
    """Scenes drawn ahead by ``worlds.World``, some of them drawn anew all the time."""

    def __init__(self, world, n, device, *, skins=False):
        self.world, self.n, self.at, self.skins = world, n, 0, skins
        self.light = torch.empty(n, 3, SIZE, SIZE, dtype=torch.half, device=device)
        self.ids = torch.empty(n, SIZE // STRIDE, SIZE // STRIDE, dtype=torch.uint8, device=device)
        self.facts = None

    @torch.no_grad()
    def refresh(self, m):
        """Draw m scenes more over the oldest ones."""
        m = min(m, self.n - self.at)
        mode = str(np.random.choice([k for k, _ in MODES], p=[p for _, p in MODES]))
        d = self.world.draw(m, mode)
        here = slice(self.at, self.at + m)
        light = d.light
        if self.skins:
            incident = torch.full((m,), mode != "through", device=d.ids.device)
            light = skinned(light, d.ids, d.stage, SIZE * IN_UM / self.world.side, incident=incident)
        self.light[here] = F.interpolate(light, size=(SIZE, SIZE), mode="bilinear", antialias=True).half()
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


def ended(x, ids):
    """Pictures that end before the crop does, on half of their far sides: the reader fills photos up to whole blocks.

    Gives the pictures, the ids and where, at the ids' scale, there is no picture any more.
    """
    n, size = len(x), x.shape[2]
    width = STRIDE * torch.randint(0, BLOCK // STRIDE, (2, n), device=x.device)
    width = width * (torch.rand(2, n, device=x.device) < 0.5)
    over = torch.arange(size, device=x.device) >= size - width[..., None]
    beyond = over[0][:, :, None] | over[1][:, None, :]
    x = torch.where(beyond[:, None], torch.full_like(x, RIM), x)
    beyond = beyond[:, ::STRIDE, ::STRIDE]
    return x, ids * ~beyond, beyond


def own_batches(n, device, *, marched, seed, bank, stock, every, share, skins):
    """A source of n crops of our own scenes: of maps laid over each other, or of volumes marched as a whole."""
    from marched import MarchedWorld
    from volumes import make_bank
    from worlds import World

    start = time.time()
    objects = make_bank(seed, bank, device, volumes=marched)
    print(f"{len(objects.kind)} objects marched in {time.time() - start:.0f} s", flush=True)
    world = (MarchedWorld if marched else World)(objects, SIZE * 3 // 2, device)
    held = Stock(world, stock, device, skins=skins)
    for _ in range(-(-stock // share)):
        held.refresh(share)
    print(f"{stock} scenes drawn in {time.time() - start:.0f} s", flush=True)
    turn = iter(range(1, 10**9))

    def source():
        if next(turn) % every == 0:
            held.refresh(share)
        return held.batch(n)

    return source
