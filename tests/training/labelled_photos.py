"""Labelled photos as training holds them: pixels, ids, the ground without objects, and what each object is."""

import csv
import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import torch
import torch.nn.functional as F
from PIL import Image

STORE_UM, IN_UM, STRIDE = 8.0, 12.0, 2
CLASSES = ("nauplius", "umbrella", "cyst", "shell", "debris")
SIZE = 288  # side of a training crop, in pixels of IN_UM; a multiple of 32
MAX_ZOOM = 1.33
COARSE = 8  # pixels of STORE_UM a side of one of the ground's
MARGIN = math.ceil(SIZE * IN_UM / STORE_UM * MAX_ZOOM * 1.4143 / 2 / COARSE) * COARSE
NO_PHOTO = -1  # among the ids: beyond the photo's edge
HIDDEN = 0.35  # an object of which less can be seen is neither asked for nor held against the reader
CUT = 0.05  # but for one that the picture's edge cuts off: the middle of what shows, down to such slivers


def to_linear(x):
    return x.clamp(0, 1) ** 2.2


def to_srgb(x):
    return x.clamp(1e-6, 1) ** (1 / 2.2)


class Photo:
    """One labelled photo at STORE_UM per pixel, on the device; without masks its outlines are guessed from boxes.

    Pixels (bytes, sRGB), ids and the ground without objects (linear light, COARSE times coarser) go on beyond the
    photo's edge, so that a crop can be cut out around any of its pixels.
    """

    def __init__(self, root, row, objects, decoded, device):
        self.name, self.kind = row["photo"], f"{root.name}:{row['kind']}"
        self.um = float(row["um_per_px"])
        image, mask = (torch.from_numpy(a).to(device) for a in decoded)
        image = image.permute(2, 0, 1)[None].float() / 255
        f = self.um / STORE_UM
        size = (round(image.shape[2] * f), round(image.shape[3] * f))
        self.full = image
        image = F.interpolate(image, size=size, mode="bilinear", antialias=f < 1, align_corners=False)
        mask = F.interpolate(mask[None, None].float(), size=size, mode="nearest")
        n = max(int(o["object_id"]) for o in objects) + 1
        stage = torch.full((n,), -1, dtype=torch.long)
        area, hidden = torch.ones(n), torch.ones(n, dtype=torch.bool)
        heat = torch.zeros(n, dtype=torch.bool)
        for o in objects:
            i = int(o["object_id"])
            stage[i] = CLASSES.index(o["stage"])
            whole, shown = float(o["whole_area_px"]), float(o["visible_area_px"])
            cut = int(o["touches_edge"]) and shown >= CUT * whole
            area[i] = (shown if cut else whole) * self.um**2
            hidden[i] = float(o["visible_fraction"]) < HIDDEN and not cut
            heat[i] = o["detail"] != "fibre"
        self.stage, self.area, self.hidden, self.heat = (t.to(device) for t in (stage, area, hidden, heat))
        kind, light = row["kind"], row["light"]
        below = light == "below" or "transmitted" in light
        self.ruled = kind in ("grid", "chamber") or (below and kind == "sieve")
        self.dark = kind in ("dark", "black", "dark field") or "on black" in light or "dark field" in light
        above = light == "above" or "incident" in light
        self.incident = self.dark or above or (kind in ("sieve", "paper") and not below)
        self.size = size
        around = (MARGIN, MARGIN + -size[1] % COARSE, MARGIN, MARGIN + -size[0] % COARSE)
        ground = F.pad(self._background(to_linear(image), mask), around, mode="replicate")
        self.ground = F.avg_pool2d(ground, COARSE)[0].permute(1, 2, 0).half()
        pixels = F.pad(image, around, mode="replicate")[0].permute(1, 2, 0)
        self.pixels = (pixels * 255).round().clamp(0, 255).to(torch.uint8)
        self.ids = F.pad(mask, around, value=NO_PHOTO)[0, 0].short()

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


def decoded(root, row, objects):
    """Pixels (rows, cols, 3) and ids (rows, cols) of one photo, as it was taken."""
    pixels = np.array(Image.open(root / "photos" / f"{row['photo']}.jpg").convert("RGB"))
    drawn = root / "masks" / f"{row['photo']}.png"
    ids = np.array(Image.open(drawn)) if drawn.is_file() else guessed_outlines(pixels, objects)
    return pixels, ids.astype(np.int32)


def load_photos(root, device, keep_full=True):
    """Photos of one folder; without ``keep_full`` only what is trained on stays on the device."""
    with (root / "photos.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    objects = {}
    with (root / "truth.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            objects.setdefault(row["photo"], []).append(row)
    out = []
    with ThreadPoolExecutor(8) as pool:
        for first in range(0, len(rows), 16):  # some at a time, or the pictures fill the memory
            some = rows[first : first + 16]
            pictures = pool.map(lambda r: decoded(root, r, objects[r["photo"]]), some)
            for row, picture in zip(some, pictures, strict=True):
                photo = Photo(root, row, objects[row["photo"]], picture, device)
                photo.full = photo.full if keep_full else None
                out.append(photo)
    return out


def folds(root, n_folds):
    """Deal the photos into folds, kind by kind, in the order of the table."""
    with (root / "photos.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    seen, out = {}, {}
    for r in rows:
        k = seen.get(r["kind"], 0)
        seen[r["kind"]] = k + 1
        out[r["photo"]] = k % n_folds
    return out
