"""Training scenes marched as whole volumes: every ray crosses what really lies in its way.

``worlds.py`` lays maps of thickness over each other; here the bodies' volumes (``volumes.py``) share one block of water
over a floor or a woven sieve of round wires, and light is marched through it: from below in a bundle of slanting rays
about the plane in focus, from the rim of a condenser (dark field), or from lamps above with the shadows, the light
thrown back by the floor and the sheen of surfaces. The block repeats at its sides, so that no ray leaves it sideways.
"""

import math

import torch
import torch.nn.functional as F
from volumes import DEBRIS, GRID, LAYER_UM, NAUPLIUS
from worlds import BARE, SLOTS, WINDOW, Drawn, World

DZ = LAYER_UM / 100  # opacities are per 100 µm
PX_UM = 8.0
LAYERS = 40
AT_ONCE = 8  # scenes that share their lamps


def before(x, dim=1):
    """Sum of the layers above each."""
    return x.cumsum(dim) - x


class MarchedWorld(World):
    """Draws scenes by marching light through a block of volumes."""

    def __init__(self, bank, side, device):
        super().__init__(bank, side, device)
        filled = (bank.volumes.amax((1, 3, 4)) > 60).float()
        layer = torch.arange(LAYERS, device=device)
        self.bottom = (filled * layer).amax(1).long()
        self.top = (LAYERS - 1 - (filled * (LAYERS - 1 - layer)).amax(1)).long()

    # -------------------------------------------------------- the block
    def heights(self, index, n, base):
        """By how many layers each object is moved, the lowest objects first."""
        room = (self.top[index] + (LAYERS - 1 - self.bottom[index])).float()
        swim = torch.where(self.yes(0.35, n, 1), self.u(0, 1, n, 1), 0.08)
        lift = torch.rand(n, SLOTS, device=self.device) ** 2 * swim * room
        lift = lift.sort(1).values + base
        return (LAYERS - 1 - self.bottom[index] - torch.minimum(lift, room).long()).long()

    def body(self, index, turn, size, move):
        """Density of four materials of one object per scene (n, 4, LAYERS, W, W), and its outline (n, W, W)."""
        n, dev = len(index), self.device
        step = WINDOW / GRID / size
        flip = torch.where(self.yes(0.5, n), 1.0, -1.0)
        c, s, zero = turn.cos() * step, turn.sin() * step, torch.zeros_like(turn)
        theta = torch.stack((torch.stack((flip * c, flip * s, zero), 1), torch.stack((-s, c, zero), 1)), 1)
        layer = torch.arange(LAYERS, device=dev)[None] - move[:, None]
        there = ((layer >= 0) & (layer < LAYERS)).to(self.precision)
        volume = self.bank.volumes[index[:, None], :, layer.clamp(0, LAYERS - 1)].to(self.precision) / 255
        volume = (volume * there[:, :, None, None, None]).transpose(1, 2).reshape(n, 4 * LAYERS, GRID, GRID)
        outline = self.bank.maps[index, 6:7].to(self.precision)
        grid = F.affine_grid(theta, (n, 1, WINDOW, WINDOW), align_corners=False).to(self.precision)
        out = F.grid_sample(torch.cat((volume, outline), 1), grid, mode="bilinear", align_corners=False)
        return out[:, :-1].view(n, 4, LAYERS, WINDOW, WINDOW), out[:, -1] > 0.5

    @property
    def precision(self):
        return torch.half if self.device.type == "cuda" else torch.float

    def wires(self, n, zoom):
        """A plain weave of round wires at the bottom: density (n, LAYERS, P, P), and layers that it takes."""
        u, v = self.axes(n, (zoom / 8)[:, None, None])
        opening = torch.exp(self.u(math.log(60), math.log(330), n))[:, None, None]
        r = (opening * self.u(0.2, 0.42, n)[:, None, None]).clamp(14, 60)
        pitch = opening + 2 * r
        z = (LAYERS - 0.5 - torch.arange(LAYERS, device=self.device).float()) * LAYER_UM
        out = torch.zeros(n, LAYERS, self.side, self.side, device=self.device)
        for sign, (w, along) in ((1, (u, v)), (-1, (v, u))):
            number = torch.floor(w / pitch)
            d = (w / pitch - number - 0.5) * pitch
            centre = 2 * r + sign * r * torch.cos(math.pi * (along / pitch + number))
            far = (d[:, None] ** 2 + (z[None, :, None, None] - centre[:, None]) ** 2).sqrt()
            out = torch.maximum(out, torch.sigmoid((r[:, None] - far) / 4))
        return out, (4 * r[:, 0, 0] / LAYER_UM)

    def block(self, n, mode):
        """Absorption (n, 3, Z, P, P), scatter (n, 3, Z, P, P), what is solid (n, Z, P, P), and what lies where."""
        dev, side, wide = self.device, self.side, self.side + WINDOW
        index, there, stage, place, turn, size, zoom = self.choose(n)
        woven = self.yes({"through": 0.15, "dark": 0.06, "above": 0.33}[mode], n)
        wires, tall = self.wires(n, zoom)
        wires = wires * woven[:, None, None, None]
        bare = (woven & self.yes(BARE, n))[:, None]
        there = there & ~(bare & ((stage != DEBRIS) | self.yes(0.5, n, 1)))
        move = self.heights(index, n, (tall * woven * self.u(0.3, 1, n))[:, None])
        absorb, scatter, albedo = self.matter(n, False)
        own = self.normal(0.12, n, SLOTS, 1) + self.normal(0.05, n, SLOTS, 3)
        strange = self.normal(0.7, n, SLOTS, 1) + self.normal(0.3, n, SLOTS, 3)
        corner = torch.remainder(place - WINDOW / 2, side).long()
        both = (corner > side - WINDOW).all(2)
        corner[..., 0] = torch.where(both, corner[..., 0].clamp(max=side - WINDOW), corner[..., 0])
        matter = torch.zeros(n, 7, LAYERS, wide, wide, dtype=self.precision, device=dev)
        ids = torch.zeros(n, wide, wide, dtype=torch.long, device=dev)
        for k in range(int(there.sum(1).max())):
            recipe = self._recipe(stage[:, k], index[:, k], own[:, k], strange[:, k], absorb, scatter, albedo)
            volume, outline = self.body(index[:, k], turn[:, k], size[:, k], move[:, k])
            volume = (
                volume * (there[:, k].to(self.precision) * size[:, k].to(self.precision))[:, None, None, None, None]
            )
            part = torch.bmm(recipe.to(self.precision), volume.reshape(n, 4, -1)).view(n, 7, LAYERS, WINDOW, WINDOW)
            for i, (y, x) in enumerate(corner[:, k].tolist()):
                if there[i, k]:
                    matter[i, :, :, y : y + WINDOW, x : x + WINDOW] += part[i]
                    old = ids[i, y : y + WINDOW, x : x + WINDOW]
                    ids[i, y : y + WINDOW, x : x + WINDOW] = torch.where(outline[i], k + 1, old)
        matter[:, :, :, :WINDOW] += matter[:, :, :, side:]
        matter[..., :WINDOW] += matter[..., side:]
        matter = matter[..., :side, :side]
        again = torch.where(ids > 0, ids + SLOTS, 0)  # what reaches over a side comes back as another object
        ids[:, :WINDOW] = torch.where(again[:, side:] > 0, again[:, side:], ids[:, :WINDOW])
        ids[:, :, :WINDOW] = torch.where(again[:, :, side:] > 0, again[:, :, side:], ids[:, :, :WINDOW])
        colour = self.four(self.colour(n) * torch.exp(self.u(-2.5, 0, n, 1)))[:, :, None].clamp(0.02, 1)
        wires = wires[:, None].to(self.precision)
        matter[:, 0:3] += wires * (40 * (1 - colour)).to(self.precision)
        matter[:, 3:6] += wires * (40 * colour).to(self.precision)
        area = self.bank.area[index] * size**2
        heat = ~self.thread[index]
        nothing = torch.full((n, 1), -1, device=dev)
        shown = torch.where(there, stage, -1)
        facts = (
            torch.cat((nothing, shown, shown), 1),
            torch.cat((torch.ones(n, 1, device=dev), area, area), 1),
            torch.cat((torch.zeros(n, 1, dtype=torch.bool, device=dev), heat, heat), 1),
        )
        return matter, ids[:, :side, :side], facts, zoom

    def _recipe(self, stage, index, own, strange, absorb, scatter, albedo):
        """What a unit of each of four materials absorbs (3), scatters (3) and is (1): (n, 7, 4)."""
        n = len(stage)
        animal, foreign = (stage == NAUPLIUS)[:, None, None], (stage == DEBRIS)
        a = torch.cat((torch.where(animal, absorb[:, :1], absorb[:, 4:]), absorb[:, 1:4]), 1)
        w = torch.cat((torch.where(animal, albedo[:, :1], albedo[:, 4:]), albedo[:, 1:4]), 1)
        s = torch.cat((torch.where(animal[..., 0], scatter[:, :1], scatter[:, 4:]), scatter[:, 1:4]), 1)
        turn = torch.where(foreign[:, None], strange, own)
        other = (foreign & self.yes(0.5, n))[:, None, None]
        any_colour = torch.rand(n, 1, 3, device=self.device) ** 0.7
        a = torch.where(other, a.mean(2, keepdim=True) + (1 - any_colour) * 0.8, a)
        w = torch.where(other, any_colour, w)
        clear = (self.bubble[index] & self.yes(0.7, n))[:, None, None]
        a = torch.where(clear, a * 0.05, a) * torch.exp(turn[:, :1, None])
        s = (s * torch.where(clear[..., 0], 0.15, 1.0))[:, :, None] * w.clamp(0.05, 1) ** 0.5
        s = s * torch.exp(turn[:, None]).clamp(0.3, 3)
        return torch.cat((a, s, torch.ones(n, 4, 1, device=self.device)), 2).transpose(1, 2)

    # -------------------------------------------------------- rays
    def slanted(self, x, down, right, back=False):
        """Layers shifted so that a ray leaning by so many pixels a layer runs straight down (n, Z, P, P)."""
        out = torch.empty_like(x)
        for k in range(LAYERS):
            move = (round(down * k), round(right * k))
            out[:, k] = torch.roll(x[:, k], tuple(-m if back else m for m in move), (1, 2))
        return out

    def lean(self, angle, bearing):
        """Pixels a layer of a ray at an angle from the vertical."""
        t = math.tan(angle) * LAYER_UM / PX_UM
        return t * math.sin(bearing), t * math.cos(bearing)

    def surface(self, solid):
        """Slopes of the front (n, 2, P, P), how much is there, and thickness of what is solid [100 µm]."""
        a = 1 - torch.exp(-solid * 1.2)
        w = a * torch.exp(-before(solid * 1.2))
        there = w.sum(1, keepdim=True)
        z = torch.arange(LAYERS, device=self.device, dtype=w.dtype)[None, :, None, None] * LAYER_UM
        depth = (w * z).sum(1, keepdim=True) / there.clamp(min=1e-2)
        depth = self.smoothed(depth * there, 3) / self.smoothed(there, 3).clamp(min=1e-2)
        thick = solid.sum(1, keepdim=True) * DZ
        return self.slopes(-depth) * (there > 0.3), there, self.smoothed(thick, 3)

    def smoothed(self, x, k):
        return F.avg_pool2d(F.pad(x, (k // 2,) * 4, mode="circular"), k, 1)

    def slopes(self, z):
        """Differences a µm, down and right."""
        down = (torch.roll(z, -1, 2) - torch.roll(z, 1, 2)) / (2 * PX_UM)
        right = (torch.roll(z, -1, 3) - torch.roll(z, 1, 3)) / (2 * PX_UM)
        return torch.cat((down, right), 1)

    def bent(self, floor, thick, strength):
        """The floor as seen through bodies: displaced by the slopes of their thickness."""
        n, side = len(floor), self.side
        move = self.slopes(thick * 100).permute(0, 2, 3, 1).flip(3) * strength[:, None, None, None] * 2 / side
        eye = torch.eye(2, 3, device=self.device)[None].expand(n, -1, -1)
        grid = F.affine_grid(eye, (n, 1, side, side), align_corners=False) + move
        return F.grid_sample(floor, grid, padding_mode="reflection", align_corners=False)

    def draw(self, n, mode):
        """Scenes in one kind of light; see :meth:`World.draw`."""
        parts = [self._some(min(AT_ONCE, n - k), mode) for k in range(0, n, AT_ONCE)]
        fields = [[getattr(p, f) for p in parts] for f in ("light", "ids", "stage", "area", "heat")]
        return Drawn(*(torch.cat(f) for f in fields))

    def _some(self, n, mode):
        matter, ids, facts, zoom = self.block(n, mode)
        floor = self.out_of_focus(self.scene_floor(n, mode, zoom))
        light = {"through": self._from_below, "dark": self._dark_field, "above": self._from_above}[mode](matter, floor)
        return Drawn(self.exposed(light, mode).clamp(0, 4), ids, *facts)

    def _from_below(self, matter, floor):
        """A bundle of slanting rays about the plane in focus, weakened on their way, lost at steep slopes."""
        n = len(matter)
        stop = matter[:, 0:3] + self.u(0.1, 0.6, n, 1, 1, 1, 1).to(matter.dtype) * matter[:, 3:6]
        wide, focus = math.exp(float(self.u(-3.5, -0.9, 1))), int(self.u(12, LAYERS, 1))
        turn, oblique = float(self.u(0, 6.3, 1)), float(self.yes(0.3, 1)) * float(self.u(0.3, 1.2, 1))
        passed, n_rays = 0.0, 5
        for k in range(n_rays):
            bearing = turn + 2 * math.pi * k / n_rays
            down, right = self.lean(math.atan(wide * (0 if k == 0 else 1)), bearing)
            share = 1 + oblique * math.cos(2 * math.pi * k / n_rays) if k else 1.0
            way = 0.0
            for c in range(LAYERS):
                move = (round(down * (c - focus)), round(right * (c - focus)))
                way = way + torch.roll(stop[:, :, c].float(), move, (2, 3))
            passed = passed + max(share, 0.05) * torch.exp(-DZ * way)
        passed = passed / n_rays
        _, _, thick = self.surface(matter[:, 6].float())
        slope = self.slopes(thick * 100)
        towards = slope[:, :1] * math.sin(turn) + slope[:, 1:] * math.cos(turn)
        open_ = torch.exp(self.u(-3.4, -1.2, n, 1, 1, 1))
        index = self.u(0.03, 0.10, n, 1, 1, 1)
        bend = (slope.norm(dim=1, keepdim=True) * index / open_) ** 2
        kept = 1 - self.u(0.3, 1.0, n, 1, 1, 1) * (1 - torch.exp(-bend))
        relief = (1 + oblique * 1.5 * index * 10 * towards).clamp(0.3, 2)
        loose = self.bent(floor, thick, self.u(0, 3, n))
        return loose * passed * kept * relief

    def _dark_field(self, matter, floor):
        """Light from the rim of a condenser; only what is thrown out of its way is seen."""
        n = len(matter)
        red = matter[:, 0:3].float().mean(1) + 0.3 * matter[:, 3:6].float().mean(1)
        steep, turn = float(self.u(0.7, 1.15, 1)), float(self.u(0, 6.3, 1))
        sides = [turn + 2 * math.pi * k / 3 for k in range(3)][: 3 if float(self.u(0, 1, 1)) < 0.75 else 1]
        lit = 0.0
        for bearing in sides:
            down, right = self.lean(steep, bearing)
            slanted = self.slanted(red, down, right).flip(1)
            lit = lit + self.slanted(torch.exp(-DZ / math.cos(steep) * before(slanted)).flip(1), down, right, True)
        lit = lit / len(sides)
        stop = matter[:, 0:3].float() + self.u(0.2, 0.8, n, 1, 1, 1, 1) * matter[:, 3:6].float()
        thrown = (1 - torch.exp(-DZ * matter[:, 3:6].float())) * torch.exp(-DZ * before(stop, 2)) * lit[:, None]
        seen = thrown.sum(2) * self.u(0.4, 1.5, n, 1, 1, 1)
        _, _, thick = self.surface(matter[:, 6].float())
        slope = self.slopes(thick * 100).norm(dim=1, keepdim=True) * self.u(0.03, 0.10, n, 1, 1, 1) * 10
        rim = slope**2 / (slope**2 + torch.exp(self.u(-2.5, 0.7, n, 1, 1, 1)))
        through = torch.exp(-DZ * stop.sum(2))
        return floor * through + seen + rim * through**0.3 * torch.exp(self.u(-3.5, -0.2, n, 1, 1, 1))

    def _from_above(self, matter, floor):
        """Lamps above: shadows, light through bodies and back from the floor, sheen."""
        n = len(matter)
        absorb, scatter = matter[:, 0:3].float(), matter[:, 3:6].float()
        red = absorb.mean(1) + self.u(0.2, 0.5, n, 1, 1, 1) * scatter.mean(1)
        ambient = self.u(0.15, 0.9, n, 1, 1, 1)
        lamp, turn = float(self.u(0, 1.1, 1)), float(self.u(0, 6.3, 1))
        spread = float(self.u(0.02, 0.25, 1))
        direct = 0.0
        for angle, bearing in ((lamp, turn), (lamp + spread, turn + spread), (lamp - spread, turn - spread)):
            down, right = self.lean(angle, bearing)
            way = self.slanted(red, down, right).cumsum(1)
            direct = direct + self.slanted(torch.exp(-DZ / math.cos(angle) * way), down, right, True) / 3
        cloudy = F.avg_pool2d(F.pad(red, (8,) * 4, mode="circular"), 17, 1)
        sky = torch.exp(-DZ * cloudy.cumsum(1))
        bounce = torch.exp(-DZ * cloudy.flip(1).cumsum(1)).flip(1)
        ground = floor.mean((2, 3), keepdim=True)[:, :, None]
        lit = ((1 - ambient) * direct + ambient * sky)[:, None] + 0.6 * ground * bounce[:, None]
        stop = absorb + self.u(0.5, 1.0, n, 1, 1, 1, 1) * scatter
        seen = ((1 - torch.exp(-DZ * scatter)) * torch.exp(-DZ * before(stop, 2)) * lit).sum(2)
        slope, there, thick = self.surface(matter[:, 6].float())
        focus = -(self.smoothed(self.smoothed(thick, 9), 9) - thick) * self.u(0, 0.5, n, 1, 1, 1)
        floor_lit = (1 - ambient) * direct[:, -1:] * (1 + focus).clamp(0.6, 1.8)
        floor_lit = floor_lit + ambient * self.smoothed(sky[:, -1:], 9)
        under = self.bent(floor * floor_lit, thick, self.u(0, 4, n)) * torch.exp(-DZ * stop.sum(2))
        half = math.tan(lamp / 2)
        facing = -slope[:, :1] * math.sin(turn) * half - slope[:, 1:] * math.cos(turn) * half + 1
        cosine = facing / (1 + slope.square().sum(1, keepdim=True)).sqrt() / math.sqrt(1 + half * half)
        sharp = torch.exp(self.u(2, 5, n, 1, 1, 1))
        gloss = torch.where(self.yes(0.5, n, 1, 1, 1), self.u(0, 0.7, n, 1, 1, 1), 0.0)
        spark = cosine.clamp(0, 1) ** sharp * gloss * there * (slope.square().sum(1, keepdim=True) > 0)
        rim = 1 - self.u(0, 0.3, n, 1, 1, 1) * (1 - torch.exp(-slope.square().sum(1, keepdim=True) * 0.15)) * there
        return under * rim + seen * self.u(0.9, 1.8, n, 1, 1, 1) + 0.4 * spark
