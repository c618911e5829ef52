"""Bodies laid into the picture one over another, with their shadows, and who owns each pixel."""

import numpy as np
from lighting import patch
from PIL import Image
from scipy.ndimage import gaussian_filter, shift

TRIES = 60
FINE = 2  # bodies are drawn on a grid so many times finer


def _window(top, left, h, w, shape):
    """Slices of the picture and of the patch where the two overlap, or None."""
    y0, x0, y1, x1 = max(top, 0), max(left, 0), min(top + h, shape[0]), min(left + w, shape[1])
    if y0 >= y1 or x0 >= x1:
        return None
    return np.s_[y0:y1, x0:x1], np.s_[y0 - top : y1 - top, x0 - left : x1 - left]


class Ground:
    """The picture as it fills: linear light, owners, and what each object had before others covered it."""

    def __init__(self, scene):
        self.scene = scene
        self.light = scene.floor.copy()
        self.mask = np.zeros(scene.shape, np.int32)
        self.shown, self.placed = {}, []
        self.bounded = not scene.inside.all()

    def _fits(self, rng, outline, top, left):
        """Whether a person could still count all if the body lay here."""
        found = _window(top, left, *outline.shape, self.scene.shape)
        if found is None:
            return False
        here, own = found
        middle = (np.clip(top + outline.shape[0] // 2, 0, self.scene.shape[0] - 1),
                  np.clip(left + outline.shape[1] // 2, 0, self.scene.shape[1] - 1))  # fmt: skip
        owners = self.mask[here][outline[own]]
        if self.bounded and not (self.scene.inside[middle] and self.scene.inside[here][outline[own]].all()):
            return False
        if len(owners) < 30:
            return False
        under = np.bincount(owners)
        hit = np.flatnonzero(under[1:]) + 1
        if not len(hit):
            return True
        if len(hit) > 2 or rng.random() > self.scene.crowd:
            return False
        if under[hit].sum() > 0.3 * len(owners):
            return False
        return all(self.shown[k][1] - under[k] >= 0.62 * self.shown[k][0] for k in hit)

    def _somewhere(self, rng, outline):
        h, w = self.scene.shape
        own_size = np.sqrt(outline.sum())
        for _ in range(TRIES):
            if self.placed and rng.random() < 0.25 + 0.35 * self.scene.crowd:
                y, x, size = self.placed[rng.integers(len(self.placed))]
                reach = (size + own_size) * rng.uniform(0.45, 0.9)
                a = rng.uniform(0, 2 * np.pi)
                y, x = y + reach * np.sin(a), x + reach * np.cos(a)
            else:
                y, x = rng.uniform(0, h), rng.uniform(0, w)
            top, left = int(y - outline.shape[0] / 2), int(x - outline.shape[1] / 2)
            if self._fits(rng, outline, top, left):
                return top, left, y, x
        return None

    def lay(self, rng, body, materials, lattice, number):
        """Draw a body and lay it on top; returns what the truth needs, or None where no place was found."""
        scene = self.scene
        blur = abs(body.height_um - scene.focus_um) * scene.aperture / scene.um_per_px
        blur = float(np.hypot(min(blur, scene.most_blur_px), 0.25))
        pad = int(3 * blur + body.drift_um / scene.um_per_px) + 2
        drawn = patch(body.variants, materials, scene.light, lattice, 1 / scene.um_per_px, FINE, pad, body.tone)
        rows, columns = np.flatnonzero(drawn.outline.any(1)), np.flatnonzero(drawn.outline.any(0))
        if not len(rows):
            return None
        tight = drawn.outline[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        place = self._somewhere(rng, tight)
        if place is None:
            return None
        top, left, y, x = place
        self.placed.append((y, x, np.sqrt(tight.sum())))
        self._paint(rng, drawn, body, top - rows[0], left - columns[0], blur)
        return self._claim(tight, top, left, number)

    def _claim(self, tight, top, left, number):
        here, own = _window(top, left, *tight.shape, self.scene.shape)
        part = tight[own]
        owner = self.mask[here]
        for k in np.unique(owner[part]):
            if k:
                self.shown[k] = (self.shown[k][0], self.shown[k][1] - int((owner[part] == k).sum()))
        owner[part] = number
        self.shown[number] = (int(part.sum()), int(part.sum()))
        r, c = np.nonzero(tight)
        return {
            "inside_area": int(part.sum()),
            "whole_area_px": int(tight.sum()),
            "whole_x": float(c.mean() + left + 0.5),
            "whole_y": float(r.mean() + top + 0.5),
            "cut": int(part.sum() < tight.sum()),
        }

    def _paint(self, rng, drawn, body, top, left, blur):
        scene = self.scene
        passed, add = drawn.pass_, drawn.add
        if blur > 0.3:
            passed = 1 - gaussian_filter(1 - passed, (blur, blur, 0))
            add = gaussian_filter(add, (blur, blur, 0))
        if body.drift_um:  # it swam while the shutter was open
            a, reach = rng.uniform(0, 2 * np.pi), body.drift_um / scene.um_per_px
            moves = [(np.sin(a) * reach * t, np.cos(a) * reach * t, 0) for t in (-0.5, -0.25, 0, 0.25, 0.5)]
            passed = np.mean([shift(passed, m, order=1, cval=1) for m in moves], axis=0)
            add = np.mean([shift(add, m, order=1) for m in moves], axis=0)
        if scene.light.mode == "above":
            self._shade_floor(passed, body, top, left)
        found = _window(top, left, *passed.shape[:2], scene.shape)
        if found:
            here, own = found
            self.light[here] = self.light[here] * passed[own] + add[own]

    def _shade_floor(self, passed, body, top, left):
        """The soft shadow away from the lamp and the dusk right under the body."""
        scene, um = self.scene, self.scene.um_per_px
        solid = 1 - passed.mean(-1)
        lean = scene.light.toward[:2] / scene.light.toward[2]
        offset = np.clip(-lean * body.height_um / um, -160, 160)
        soft, near = (14 + 0.22 * body.height_um) / um, (18 + 0.3 * body.height_um) / um
        coarse = max(int(soft / 1.6), 1)  # a soft shadow is blurred on a coarser grid
        border = int(np.abs(offset).max() + 2.5 * max(soft, near)) // coarse * coarse + 2 * coarse
        h, w = (-(-(n + 2 * border) // coarse) * coarse for n in solid.shape)
        wide = np.zeros((h, w), np.float32)
        wide[border : border + solid.shape[0], border : border + solid.shape[1]] = solid
        wide = wide.reshape(h // coarse, coarse, w // coarse, coarse).mean((1, 3))
        move = (round(offset[1] / coarse), round(offset[0] / coarse))
        cast = np.roll(gaussian_filter(wide, soft / coarse, truncate=2.5), move, (0, 1))
        dusk = gaussian_filter(wide, near / coarse, truncate=2.5)
        tint = (1 - passed).reshape(-1, 3).sum(0)
        tint = tint / (tint.mean() + 1e-6)
        cast, dusk = (np.asarray(Image.fromarray(a).resize((w, h), Image.Resampling.BILINEAR)) for a in (cast, dusk))
        cast, dusk = cast[..., None] * tint.astype(np.float32), dusk[..., None]
        sun, sky = scene.light.sun.mean(), scene.light.sky.mean()
        share = sun / (sun + sky)
        factor = (1 - scene.shadow * 1.2 * share * cast) * (1 - 0.35 * (1 - share) * dusk - 0.1 * dusk)
        found = _window(top - border, left - border, *factor.shape[:2], scene.shape)
        if found:
            here, own = found
            self.light[here] *= np.clip(factor[own], 0.15, 1)
