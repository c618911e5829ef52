"""Training scenes of a make of our own: the volumes of ``volumes.py`` under any light, on any floor.

Each scene has one light (through the sample, oblique, dark field, from above), one floor (bare, ruled, woven, paper,
sand, dish), one set of colours and opacities, and animals, shells, bystanders and dirt over and under each other.
What holds in every scene is what holds in nature: a filled cyst is tissue inside a chorion and lets less light pass
than an empty chorion of the same lot; a floor shows through a shell; what lies on a floor throws a shadow.
"""

import math
from dataclasses import dataclass

import torch
import torch.nn.functional as F
from volumes import CYST, DEBRIS, GRID, NAUPLIUS, SHELL, UMBRELLA, Bank

WINDOW = 152  # pixels of 8 µm that an object may take when laid into a scene
SLOTS = 60
CROWDED = 0.3  # share of scenes in which objects lie as close as in a full counting chamber, or closer
BARE = 0.2  # share of woven floors without anything of a hatch on them


@dataclass
class Drawn:
    """Scenes: linear light (n, 3, P, P) at 8 µm, ids (n, P, P), and stage, area of each id (n, SLOTS + 1)."""

    light: torch.Tensor
    ids: torch.Tensor
    stage: torch.Tensor
    area: torch.Tensor
    heat: torch.Tensor


class World:
    """Draws scenes from a bank of objects."""

    def __init__(self, bank: Bank, side: int, device):
        self.bank, self.side, self.device = bank, side, device
        self.thread = torch.tensor([k == "thread" for k in bank.kind], device=device)
        self.bubble = torch.tensor([k in ("bubble", "grain") for k in bank.kind], device=device)
        self.of_stage = [(bank.stage == s).nonzero()[:, 0] for s in range(5)]
        names = sorted({k for k, s in zip(bank.kind, bank.stage.tolist(), strict=True) if s == DEBRIS})
        self.bystanders = [torch.tensor([i for i, k in enumerate(bank.kind) if k == n], device=device) for n in names]
        second = torch.tensor([k == "second" for k in bank.kind], device=device)
        self.second, self.first = second.nonzero()[:, 0], ((bank.stage == NAUPLIUS) & ~second).nonzero()[:, 0]

    # -------------------------------------------------------- chance
    def u(self, low, high, *shape):
        return low + (high - low) * torch.rand(*shape, device=self.device)

    def normal(self, spread, *shape):
        return torch.randn(*shape, device=self.device) * spread

    def yes(self, p, *shape):
        return torch.rand(*shape, device=self.device) < p

    def field(self, n, cells, channels=1):
        """Smooth random fields around 0."""
        coarse = torch.randn(n, channels, cells, cells, device=self.device)
        return F.interpolate(coarse, size=(self.side, self.side), mode="bicubic", align_corners=False)

    def colour(self, n, strong=0.3):
        """Tints: often none, sometimes vivid."""
        spread = torch.where(self.yes(0.1, n, 1), strong * 2.5, torch.where(self.yes(0.5, n, 1), 0.06, strong))
        return torch.exp(torch.randn(n, 3, device=self.device) * spread)

    # -------------------------------------------------------- what lies where
    def choose(self, n):
        """Objects of each scene: bank index (n, SLOTS), there or not, place, turn, size."""
        dev, side = self.device, self.side
        number = torch.exp(self.normal(0.65, n) + 3.05).clamp(2, SLOTS)
        crowd = self.yes(CROWDED, n)  # most of what is missed lies under and beside others
        number = torch.where(crowd, torch.exp(self.normal(0.25, n) + 3.75).clamp(20, SLOTS), number)
        number = torch.where(self.yes(0.04, n), 0.0, number)
        there = torch.arange(SLOTS, device=dev)[None] < number[:, None]
        share = torch.rand(n, 5, device=dev) ** 1.5 * torch.tensor([1.5, 0.55, 1.2, 1.3, 0.5], device=dev) + 0.01
        share[:, DEBRIS] *= torch.where(self.yes(0.12, n), 4.0, 1.0)
        nothing = self.yes(0.05, n)
        share = torch.where(nothing[:, None], torch.tensor([0, 0, 0, 0, 1.0], device=dev), share)
        stage = torch.multinomial(share, SLOTS, replacement=True)
        index = torch.zeros(n, SLOTS, dtype=torch.long, device=dev)
        pick = lambda pool: pool[torch.randint(len(pool), (n, SLOTS), device=dev)]  # noqa: E731
        for s in (UMBRELLA, CYST, SHELL):
            index = torch.where(stage == s, pick(self.of_stage[s]), index)
        late = torch.where(self.yes(0.25, n, 1), self.u(0.5, 1, n, 1), 0.06)
        animal = torch.where(torch.rand(n, SLOTS, device=dev) < late, pick(self.second), pick(self.first))
        index = torch.where(stage == NAUPLIUS, animal, index)
        taste = torch.multinomial(torch.rand(n, len(self.bystanders), device=dev) ** 3 + 0.02, SLOTS, replacement=True)
        for k, pool in enumerate(self.bystanders):
            index = torch.where((stage == DEBRIS) & (taste == k), pick(pool), index)
        place = self.u(-40, side + 40, n, SLOTS, 2)
        heap = torch.where(self.yes(0.25, n, 1) | crowd[:, None], self.u(0.2, 0.75, n, 1), 0.12)
        near = torch.rand(n, SLOTS, device=dev) < heap
        other = torch.randint(SLOTS, (n, SLOTS), device=dev) % number.long().clamp(min=1)[:, None]
        angle, reach = self.u(0, 2 * math.pi, n, SLOTS), self.u(14, 42, n, SLOTS)
        beside = (
            place.gather(1, other[:, :, None].expand(-1, -1, 2))
            + torch.stack((angle.sin(), angle.cos()), 2) * reach[:, :, None]
        )
        place = torch.where(near[:, :, None], beside, place)
        zoom = torch.exp(self.u(-0.26, 0.26, n))  # coarser and finer photos
        strain = torch.exp(self.normal(0.10, n).clamp(-0.18, 0.28))
        size = (zoom * strain)[:, None] * torch.exp(self.normal(0.045, n, SLOTS))
        wild = torch.exp(self.normal(0.3, n, SLOTS)).clamp(0.4, 1.5)
        size = torch.where(stage == DEBRIS, zoom[:, None] * wild, size).clamp(max=1.26 * 1.2)
        return index, there, stage, place, self.u(0, 2 * math.pi, n, SLOTS), size, zoom

    def laid(self, index, turn, size, soft):
        """Maps of one object per scene, turned and scaled: (n, 7, WINDOW, WINDOW)."""
        n = len(index)
        maps = self.bank.maps[index].float()
        step = WINDOW / GRID / size
        flip = torch.where(self.yes(0.5, n), 1.0, -1.0)
        c, s = turn.cos() * step, turn.sin() * step
        zero = torch.zeros_like(c)
        theta = torch.stack((torch.stack((flip * c, flip * s, zero), 1), torch.stack((-s, c, zero), 1)), 1)
        grid = F.affine_grid(theta, (n, 1, WINDOW, WINDOW), align_corners=False)
        maps = F.grid_sample(maps, grid, mode="bilinear", align_corners=False)
        sx, sy = maps[:, 4] * flip[:, None, None], maps[:, 5]
        c, s = turn.cos()[:, None, None], turn.sin()[:, None, None]
        maps = torch.cat(
            (
                maps[:, :4] * size[:, None, None, None],
                (c * sx - s * sy)[:, None],
                (s * sx + c * sy)[:, None],
                maps[:, 6:],
            ),
            1,
        )
        blurred = F.avg_pool2d(F.avg_pool2d(maps[:, :6], 3, 1, 1), 3, 1, 1)
        more = F.avg_pool2d(F.avg_pool2d(blurred, 7, 1, 3), 5, 1, 2)
        soft = soft[:, None, None, None]
        first = torch.where(
            soft < 1, maps[:, :6] * (1 - soft) + blurred * soft, blurred * (2 - soft) + more * (soft - 1)
        )
        return torch.cat((first, maps[:, 6:]), 1)

    def spots(self, place):
        """Index tensors of each scene's window in the padded canvas."""
        n = len(place)
        corner = (place + WINDOW / 2).round().long().clamp(0, self.side + WINDOW - 1)
        r = torch.arange(WINDOW, device=self.device)
        rows, cols = corner[:, 0, None] + r, corner[:, 1, None] + r
        return torch.arange(n, device=self.device)[:, None, None], rows[:, :, None], cols[:, None, :]

    # -------------------------------------------------------- colours and opacities
    def matter(self, n, above):
        """Absorption per 100 µm (n, 5, 3), scatter per 100 µm (n, 5), colour thrown back (n, 5, 3).

        Rows: tissue of nauplii, clear tissue, chorion, dark pigment, tissue of cysts and embryos.
        """
        dev = self.device
        orange = torch.tensor(
            [
                [0.80, 0.38, 0.08],
                [0.62, 0.30, 0.10],
                [0.78, 0.52, 0.18],
                [0.60, 0.16, 0.06],
                [0.45, 0.33, 0.14],
                [0.62, 0.52, 0.38],
            ],
            device=dev,
        )

        def pick():
            some = orange[torch.randint(len(orange), (n,), device=dev)]
            return some * torch.exp(torch.randn(n, 3, device=dev) * 0.15)

        yolk = pick().clamp(0.02, 0.95)
        embryo = torch.where(self.yes(0.5, n, 1), yolk, pick()).clamp(0.02, 0.95)
        iodine = self.yes(0.1, n, 1)
        brown = torch.tensor([[0.30, 0.10, 0.03]], device=dev)
        yolk, embryo = torch.where(iodine, brown, yolk), torch.where(iodine, brown, embryo)
        wood = torch.tensor([0.70, 0.46, 0.28], device=dev) * torch.exp(
            self.normal(0.15, n, 3) + self.normal(0.2, n, 1)
        )
        wood = wood.clamp(0.03, 0.95)
        eye = torch.tensor([0.25, 0.06, 0.05], device=dev) * torch.exp(self.normal(0.4, n, 3))
        pale = (
            torch.tensor([0.75, 0.72, 0.66], device=dev) * torch.exp(self.normal(0.1, n, 3) + self.normal(0.2, n, 1))
        ).clamp(0.05, 1)
        # absorption: transmitted share of the reddest light at a usual thickness, the rest by colour
        hue = lambda c, power: -torch.log((c / c.amax(1, keepdim=True)).clamp(0.02, 1)) * power  # noqa: E731
        absorb = torch.stack(
            (
                -torch.log(self.u(0.30, 0.9, n, 1)) / 1.3 + hue(yolk, self.u(0.25, 0.9, n, 1)) / 1.3,
                -torch.log(self.u(0.75, 0.99, n, 1)) + hue(pale, 0.3),
                -torch.log(self.u(0.50, 0.93, n, 1)) / 0.18 + hue(wood, self.u(0.3, 1.0, n, 1)) / 0.18,
                -torch.log(self.u(0.05, 0.5, n, 1)) / 0.25 + hue(eye, 0.5) / 0.25,
                -torch.log(self.u(0.05, 0.55, n, 1)) / 2.1 + hue(embryo, self.u(0.4, 1.3, n, 1)) / 2.1,
            ),
            1,
        )
        absorb[:, 0] *= torch.where(iodine, 2.5, 1.0)
        absorb[:, 4] *= torch.where(iodine, 1.5, 1.0)
        scatter = torch.stack(
            (
                self.u(0.6, 3.5, n),
                torch.exp(self.u(-3.2, -0.3, n)),
                torch.exp(self.u(-1.2, 1.5, n)),
                self.u(2, 6, n),
                self.u(0.9, 3.5, n),
            ),
            1,
        )
        albedo = torch.stack((yolk, pale, wood, eye, embryo), 1)
        # a see-through body above a floor is crossed twice
        return absorb * (1.6 if above else 1.0), scatter, albedo

    # -------------------------------------------------------- floors
    def axes(self, n, per):
        """Two turned axes; ``per`` pixels per µm and scene."""
        r = torch.arange(self.side, device=self.device, dtype=torch.float)
        a = self.u(0, math.pi, n)[:, None, None]
        yy, xx = r[None, :, None], r[None, None, :]
        bend = self.field(n, 3)[:, 0] * torch.where(self.yes(0.3, n), self.u(0, 6, n), 0.0)[:, None, None]
        u = (xx * a.cos() + yy * a.sin() + bend) / per + self.u(0, 9999, n)[:, None, None]
        v = (-xx * a.sin() + yy * a.cos() + bend) / per + self.u(0, 9999, n)[:, None, None]
        return u, v

    def rulings(self, n, zoom):
        """Etched or printed lines, single, double or triple: 0 none to 1 (n, 1, P, P)."""
        per = (zoom / 8)[:, None, None]
        out = torch.zeros(n, self.side, self.side, device=self.device)
        pitch = torch.exp(self.u(math.log(200), math.log(1300), n))[:, None, None]
        width = self.u(6, 40, n)[:, None, None]
        gap = (self.u(25, 70, n) * self.yes(0.35, n))[:, None, None]
        fifth = self.yes(0.3, n)[:, None, None]
        for w in self.axes(n, per):
            for shift in (0, gap):
                d = torch.remainder(w + shift, pitch)
                d = torch.minimum(d, pitch - d)
                big = (torch.remainder(torch.floor((w + shift) / pitch + 0.5), 5) < 0.5) & fifth
                out = torch.maximum(out, torch.exp(-0.5 * (d / (0.5 * width * torch.where(big, 1.9, 1.0) + 2)) ** 2))
        only = self.yes(0.25, n)[:, None, None]  # lines one way
        return torch.where(only, out * 0.8, out)[:, None]

    def weave(self, n, zoom):
        """Woven wires that go over and under each other: cover 0..1 and shade around 1 (n, 1, P, P)."""
        per = (zoom / 8)[:, None, None]
        u, v = self.axes(n, per)
        pitch = torch.exp(self.u(math.log(60), math.log(420), n))[:, None, None]
        r = pitch * self.u(0.15, 0.33, n)[:, None, None]
        twill = self.yes(0.2, n)[:, None, None]
        tone = self.normal(1, n, 2)
        cover, shade, top = None, None, None
        for k, (w, other) in enumerate(((u, v), (v, u))):
            number = torch.floor(w / pitch)
            d = (w / pitch - number - 0.5) * pitch
            across = (d / r).clamp(-1, 1)
            phase = torch.where(twill, math.pi * number * 0.5, math.pi * number)
            rise = torch.cos(
                math.pi * other / pitch * torch.where(twill, 0.5, 1.0) + phase + k * math.pi + math.pi * 0.5
            )
            round_ = (1 - across**2).clamp(min=0).sqrt()
            height = round_ + 0.9 * rise
            inside = torch.sigmoid((r - d.abs()) / (0.10 * r + 0.6 / per))
            here = (0.45 + 0.55 * round_) * (0.85 + 0.15 * rise) + 0.35 * across * tone[:, k, None, None].clamp(-1, 1)
            gloss = torch.exp(-(((across - 0.3 * tone[:, k, None, None]) / 0.25) ** 2))
            here = here + gloss * self.u(0, 0.5, n)[:, None, None]
            if cover is None:
                cover, shade, top = inside, here, torch.where(inside > 0.5, height, torch.full_like(height, -9))
            else:
                over = torch.sigmoid((height - top) / 0.1) * inside
                shade = shade * (1 - over) + here * over
                cover = torch.maximum(cover, inside)
        return cover[:, None], shade[:, None].clamp(0, 2)

    def texture(self, n):
        """Grainy ground: sum of noises of three sizes, around 0."""
        out = 0.0
        for cells, weight in ((self.side // 2, 0.5), (self.side // 5, 0.7), (self.side // 16, 0.7)):
            out = out + self.field(n, cells) * weight * torch.rand(n, 1, 1, 1, device=self.device)
        return out

    def lamp(self, n, spread=0.18):
        """Uneven light, sometimes a round field with black around it."""
        light = torch.exp(self.field(n, 3) * spread * torch.rand(n, 1, 1, 1, device=self.device))
        r = torch.arange(self.side, device=self.device, dtype=torch.float)
        cy, cx = self.u(-0.2, 1.2, n)[:, None, None] * self.side, self.u(-0.2, 1.2, n)[:, None, None] * self.side
        d = ((r[None, :, None] - cy) ** 2 + (r[None, None, :] - cx) ** 2).sqrt()
        edge = torch.sigmoid((self.u(0.6, 1.0, n)[:, None, None] * self.side - d) / self.u(1, 14, n)[:, None, None])
        return torch.where(self.yes(0.1, n, 1, 1, 1), light * (0.01 + edge[:, None]), light)

    def four(self, t):
        return t[:, :, None, None]

    def scene_floor(self, n, mode, zoom):
        """Light that comes from the floor where nothing lies: linear, (n, 3, P, P)."""
        side = self.side
        lamp = self.lamp(n)
        line = self.rulings(n, zoom)
        cover, shade = self.weave(n, zoom)
        grain = self.texture(n)
        which = torch.rand(n, 1, 1, 1, device=self.device)
        tint = self.four(self.colour(n))
        full = torch.ones(n, 3, side, side, device=self.device)
        ink = self.four(self.colour(n, 0.5) * self.u(0.0, 0.7, n, 1)).clamp(0, 1.2)
        if mode == "through":
            level = tint / tint.amax(1, keepdim=True) * self.u(0.3, 1.0, n, 1, 1, 1)
            ground = full * level * lamp
            ground = torch.where(which < 0.22, ground * (1 - line * (1 - ink)), ground)
            wires = (ink * 0.5 * shade).clamp(0, 1)
            self.woven = (which > 0.22) & (which < 0.37)
            ground = torch.where(self.woven, ground * (1 - cover * (1 - wires)), ground)
            rough = torch.exp(grain * self.u(0, 0.12, n, 1, 1, 1))
            return torch.where(which > 0.8, ground * rough, ground)
        if mode == "dark":
            self.woven = which > 1
            base = full * tint * torch.exp(self.u(-7.5, -3.2, n, 1, 1, 1)) * lamp
            base = torch.where(which < 0.12, base + line * self.u(0.02, 0.4, n, 1, 1, 1) * tint, base)
            rough = base * torch.exp(grain * 0.5) + (grain.clamp(min=0.6) - 0.6) * 0.02
            return torch.where(which > 0.8, rough, base)
        kind = torch.rand(n, 1, 1, 1, device=self.device)
        black, grey, white = (
            self.u(0.002, 0.06, n, 1, 1, 1),
            self.u(0.06, 0.4, n, 1, 1, 1),
            self.u(0.45, 0.95, n, 1, 1, 1),
        )
        level = torch.where(kind < 0.35, black, torch.where(kind < 0.65, grey, white))
        ground = full * tint / tint.amax(1, keepdim=True) * level
        rough = ground * torch.exp(grain * self.u(0.0, 0.35, n, 1, 1, 1))
        ground = torch.where(which > 0.7, rough, ground)
        ground = torch.where(which < 0.13, ground * (1 - line * (1 - ink)), ground)
        wire = self.four((self.colour(n) * torch.exp(self.u(-3, 0, n, 1))).clamp(0, 1.0))
        below = ground * self.u(0.1, 1.0, n, 1, 1, 1)
        woven = below * (1 - cover) + wire * shade * cover
        self.woven = (which > 0.13) & (which < 0.42)
        ground = torch.where(self.woven, woven, ground)
        r = torch.arange(side, device=self.device, dtype=torch.float)  # the rim of a dish: a wide arc of other light
        far, turn = self.u(1.0, 6.0, n), self.u(0, 2 * math.pi, n)
        reach = far * side
        cy = side / 2 + turn.sin() * (reach + self.u(-0.4, 0.4, n) * side)
        cx = side / 2 + turn.cos() * (reach + self.u(-0.4, 0.4, n) * side)
        d = ((r[None, :, None] - cy[:, None, None]) ** 2 + (r[None, None, :] - cx[:, None, None]) ** 2).sqrt() - reach[
            :, None, None
        ]
        wide = self.u(6, 70, n)[:, None, None]
        rim = torch.sigmoid((wide - d.abs()) / 2)[:, None]
        beyond = torch.sigmoid(-d / 2)[:, None]
        rimmed = ground * (1 + rim * self.u(-0.9, 1.2, n, 1, 1, 1)) * (1 - beyond * self.u(0, 0.9, n, 1, 1, 1))
        ground = torch.where(self.yes(0.1, n, 1, 1, 1), rimmed, ground)
        return ground * lamp

    def out_of_focus(self, floor):
        """The floor as it looks to a lens set on the animals: often a little soft, at times very."""
        n = len(floor)
        one = F.avg_pool2d(F.avg_pool2d(F.pad(floor, (2, 2, 2, 2), mode="replicate"), 3, 1), 3, 1)
        two = F.avg_pool2d(F.avg_pool2d(F.pad(one, (5, 5, 5, 5), mode="replicate"), 5, 1), 7, 1)
        which = torch.rand(n, 1, 1, 1, device=self.device)
        return torch.where(which < 0.5, floor, torch.where(which < 0.8, one, two))

    # -------------------------------------------------------- the picture
    def draw(self, n, mode):
        """Scenes in one kind of light: ``through``, ``dark`` (dark field) or ``above``."""
        dev, side = self.device, self.side
        index, there, stage, place, turn, size, zoom = self.choose(n)
        absorb, scatter, albedo = self.matter(n, mode == "above")
        own = self.normal(0.12, n, SLOTS, 1) + self.normal(0.05, n, SLOTS, 3)
        foreign = stage == DEBRIS
        strange = self.normal(0.9, n, SLOTS, 1) + self.normal(0.35, n, SLOTS, 3)
        depth = torch.where(self.yes(0.3, n, 1), self.u(0, 1.9, n, 1), 0.3) * torch.rand(n, SLOTS, device=dev)
        depth = torch.where(foreign & self.yes(0.15, n, SLOTS), self.u(1, 2, n, SLOTS), depth)
        canvas = torch.zeros(n, 3, side + 2 * WINDOW, side + 2 * WINDOW, device=dev)
        inner = (slice(None), slice(None), slice(WINDOW, WINDOW + side), slice(WINDOW, WINDOW + side))
        ids = torch.zeros(n, side + 2 * WINDOW, side + 2 * WINDOW, dtype=torch.long, device=dev)
        floor = self.out_of_focus(self.scene_floor(n, mode, zoom))
        there = there & ~(self.woven[:, 0, 0] & self.yes(BARE, n, 1) & (stage != DEBRIS))
        lean, bearing = self.u(0, 1.1, n), self.u(0, 2 * math.pi, n)
        low_lamp = torch.stack((bearing.cos() * lean.sin(), bearing.sin() * lean.sin(), lean.cos()), 1)
        ambient = self.u(0.25, 0.95, n)
        power = self.u(0.7, 1.3, n)
        gloss = torch.where(self.yes(0.6, n), self.u(0, 0.9, n), 0.0)
        sharp = self.u(0.02, 0.25, n)
        glow = torch.exp(self.u(-2.5, 0.7, n))  # dark field: what rims throw
        glow_power = self.u(1.0, 3.5, n)
        loss = torch.where(self.yes(0.8, n), self.u(0.1, 1.0, n), 0.0)  # refraction at rims takes light away
        relief = torch.where(self.yes(0.3, n), self.u(0, 0.35, n), 0.0)
        self._scene = (low_lamp, ambient, power, gloss, sharp, glow, glow_power, loss, relief)

        def parts(k):
            maps = self.laid(index[:, k], turn[:, k], size[:, k], depth[:, k])
            maps = maps * there[:, k, None, None, None]
            return maps, self.spots(place[:, k])

        if mode == "above":
            shadow = torch.zeros(n, 1, side + 2 * WINDOW, side + 2 * WINDOW, device=dev)
            grey = absorb.mean(2) * 0.6 + scatter * 0.8
            for k in range(int(there.sum(1).max())):
                maps, (b, r, c) = parts(k)
                w = torch.where(stage[:, k, None] == NAUPLIUS, grey[:, 0, None], grey[:, 4, None])
                od = (maps[:, 0:1] * w[:, :, None, None]) + (maps[:, 1:4] * grey[:, 1:4, None, None]).sum(
                    1, keepdim=True
                )
                shadow[b, :, r, c] += od.permute(0, 2, 3, 1)
            away = self.u(0, 26, n) * torch.tan(lean).clamp(max=1.5)
            shadow = 1 - torch.exp(-shadow)
            shadow = self._shifted(shadow, -bearing.cos() * away, -bearing.sin() * away)
            one = F.avg_pool2d(F.avg_pool2d(shadow, 5, 1, 2), 5, 1, 2)
            two = F.avg_pool2d(F.avg_pool2d(one, 11, 1, 5), 11, 1, 5)
            mix = torch.rand(n, 1, 1, 1, device=dev)
            shadow = (one * mix + two * (1 - mix))[inner]
            floor = floor * (1 - shadow * (self.u(0.1, 0.9, n, 1, 1, 1)))
            caustic = (two[inner] - one[inner]).clamp(min=0) * self.u(0, 0.6, n, 1, 1, 1)
            floor = floor * (1 + caustic)
        canvas[inner] = floor
        for k in range(int(there.sum(1).max())):
            maps, (b, r, c) = parts(k)
            passed, thrown = self._optics(
                maps,
                k,
                mode,
                stage[:, k],
                foreign[:, k],
                own[:, k],
                strange[:, k],
                absorb,
                scatter,
                albedo,
                self.bubble[index[:, k]],
            )
            under = canvas[b, :, r, c].permute(0, 3, 1, 2)
            canvas[b, :, r, c] = (under * passed + thrown).permute(0, 2, 3, 1)
            old = ids[b, r, c]
            ids[b, r, c] = torch.where(maps[:, 6] > 0.5, k + 1, old)
        light = self.exposed(canvas[inner], mode)
        nothing = torch.full((n, 1), -1, device=dev)
        area = self.bank.area[index] * (size / 1.0) ** 2
        stage = torch.cat((nothing, torch.where(there, stage, -1)), 1)
        area = torch.cat((torch.ones(n, 1, device=dev), area), 1)
        heat = torch.cat((torch.zeros(n, 1, dtype=torch.bool, device=dev), ~self.thread[index]), 1)
        return Drawn(light.clamp(0, 4), ids[:, WINDOW : WINDOW + side, WINDOW : WINDOW + side], stage, area, heat)

    def exposed(self, light, mode):
        """What veils, glare and exposure do to the light."""
        n = len(light)
        veil = torch.where(self.yes(0.3, n, 1, 1, 1), self.u(0, 0.02 if mode == "dark" else 0.06, n, 1, 1, 1), 0.0)
        light = light * (1 - veil) + veil
        if mode == "above":  # glare of the water's surface
            glare = (self.field(n, 7) - 2.0).clamp(min=0) * self.u(0.2, 2.0, n, 1, 1, 1)
            light = light + torch.where(self.yes(0.12, n, 1, 1, 1), glare, 0.0)
        if mode != "through":
            bright = torch.quantile(light.amax(1).flatten(1)[:, ::37], 0.997, dim=1)[:, None, None, None]
            gain = self.u(0.55, 1.1, n, 1, 1, 1) / bright.clamp(min=0.02)
            light = light * torch.where(self.yes(0.75, n, 1, 1, 1), gain.clamp(max=6), 1.0)
        return light

    def _shifted(self, x, right, down):
        n, size = len(x), x.shape[-1]
        theta = torch.zeros(n, 2, 3, device=self.device)
        theta[:, 0, 0] = theta[:, 1, 1] = 1
        theta[:, 0, 2], theta[:, 1, 2] = -2 * right / size, -2 * down / size
        return F.grid_sample(x, F.affine_grid(theta, x.shape, align_corners=False), align_corners=False)

    def _optics(self, maps, k, mode, stage, foreign, own, strange, absorb, scatter, albedo, glassy):
        """What passes each object and what it throws to the camera: (n, 3, W, W) each."""
        low_lamp, ambient, power, gloss, sharp, glow, glow_power, loss, relief = self._scene
        n = len(maps)
        s = lambda v: v[:, None, None, None]  # noqa: E731
        animal = (stage == NAUPLIUS)[:, None]
        rows = [torch.where(animal, absorb[:, 0], absorb[:, 4]), absorb[:, 1], absorb[:, 2], absorb[:, 3]]
        back = [torch.where(animal, albedo[:, 0], albedo[:, 4]), albedo[:, 1], albedo[:, 2], albedo[:, 3]]
        dense = [torch.where(animal[:, 0], scatter[:, 0], scatter[:, 4]), scatter[:, 1], scatter[:, 2], scatter[:, 3]]
        turn = torch.exp(torch.where(foreign[:, None], strange, own))
        any_colour = torch.rand(n, 3, device=self.device) ** 0.7
        other = foreign & self.yes(0.6, n)
        clear = glassy & self.yes(0.7, n)
        passed, total, weighed = 0.0, 0.0, 0.0
        front = 0.0
        for m in range(4):
            t = maps[:, m : m + 1]
            a = rows[m] * torch.where(foreign, torch.exp(strange[:, 0]), torch.exp(own[:, 0]))[:, None]
            a = torch.where(other[:, None], a.mean(1, keepdim=True) + (1 - any_colour) * 0.8, a)
            a = torch.where(clear[:, None], a * 0.05, a)
            passed = passed + t * self.four(a)
            od = t * s(dense[m] * torch.where(clear, 0.15, 1.0) * turn[:, 0].clamp(0.3, 3))
            colour = torch.where(other[:, None], any_colour, (back[m] * turn / turn.mean(1, keepdim=True)).clamp(0, 1))
            if m == 2:
                front = 1 - torch.exp(-0.5 * od)
                chorion = colour
            total = total + od
            weighed = weighed + od * self.four(colour)
        mean = weighed / total.clamp(min=1e-4)
        mean = mean * (1 - front) + self.four(chorion) * front  # the wall before the filling
        sx, sy = maps[:, 4:5], maps[:, 5:6]
        nz = 1 / (1 + sx * sx + sy * sy).sqrt()
        nx, ny = sx * nz, sy * nz
        edge = (1 - nz).clamp(0, 1)
        there = (maps[:, :4].sum(1, keepdim=True) * 6).clamp(0, 1)
        through = torch.exp(-passed)
        rim = edge**2 * there
        facing = nx * s(low_lamp[:, 0]) + ny * s(low_lamp[:, 1]) + nz * s(low_lamp[:, 2])
        if mode == "through":
            strength = torch.where(glassy, 1.0, loss)
            through = through * (1 - s(strength) * (1.5 * rim).clamp(0, 1))
            through = through * (1 + s(relief) * there * (nx * s(low_lamp[:, 0]) + ny * s(low_lamp[:, 1])) * 2).clamp(
                0, 3
            )
            thrown = (1 - torch.exp(-0.3 * total)) * mean * s(ambient) * 0.12
            return through, thrown
        veiled = 1 - torch.exp(-total)
        if mode == "dark":
            inner = veiled * mean * torch.exp(-0.5 * passed * s(ambient)) * s(power) * (0.4 + 0.6 * s(ambient))
            shine = (
                there
                * edge ** s(glow_power)
                * s(glow)
                * (0.5 + 0.5 * mean / mean.amax(1, keepdim=True).clamp(min=0.05))
            )
            return through * (1 - 0.5 * veiled), inner + shine
        wrap = ((facing + 0.35) / 1.35).clamp(min=0)
        lit = s(ambient) * (0.55 + 0.45 * nz) + (1 - s(ambient)) * 1.6 * wrap
        half = low_lamp + torch.tensor([0, 0, 1.0], device=self.device)
        half = half / half.norm(dim=1, keepdim=True)
        toward = nx * s(half[:, 0]) + ny * s(half[:, 1]) + nz * s(half[:, 2])
        spark = torch.exp(-(1 - toward) / s(sharp) * 8) * s(gloss) * there * (0.3 + 0.7 * veiled)
        thrown = veiled * mean * lit * s(power) + spark
        return through * (1 - 0.85 * veiled) * (1 - 0.3 * s(loss) * rim), thrown
