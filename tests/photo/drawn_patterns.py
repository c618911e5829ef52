"""Drawn photos of patterns of known spacing, of every build: for the scale, which must be right or doubt itself.

Micrometers with marks of one to three lengths, with and without a base line; rulings with finer lines inside their
squares, fainter or hardly so; meshes down to the pixel; each turned, blurred, noisy, dirty, light on dark or dark on
light. Invented: no camera took them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

__all__ = ["Pattern", "draw_pattern", "patterns"]


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """What was drawn: ``spacing_um`` is what a person would type for the method, ``um_per_px`` what is true."""

    name: str
    method: str
    spacing_um: float
    um_per_px: float
    image: np.ndarray
    is_told_apart: bool = True  # False: nothing in the picture tells fine lines from the squares' own


def _axes(shape, angle_deg, shift):
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32) + np.float32(0.5)
    y -= shape[0] / 2
    x -= shape[1] / 2
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return x * c + y * s + shift[0], -x * s + y * c + shift[1]


def _comb(t, period, width, soft):
    """Coverage of lines of a width [px] about every multiple of a period, edges soft by a blur [px]."""
    away = np.abs((t + period / 2) % period - period / 2)
    return np.clip((width / 2 - away) / max(soft, 0.7) + 0.5, 0, 1)


def _micrometer(rng, shape, period, width, angle):
    """Marks along one axis; every fifth and tenth longer, every tenth only, or all alike."""
    u, v = _axes(shape, angle, (rng.uniform(-period, period), rng.uniform(-0.2, 0.2) * shape[0]))
    k = np.round(u / period)
    short = rng.uniform(2.5, 6) * period
    lengths = {
        "5 and 10": (short, short * rng.uniform(1.3, 2.2), short * rng.uniform(2.4, 4)),
        "10": (short, short, short * rng.uniform(1.5, 3)),
        "5": (short, short * rng.uniform(1.4, 2.5), short * rng.uniform(1.4, 2.5)),
        "alike": (short, short, short),
    }
    kind = rng.choice(list(lengths))
    a, b, c = lengths[kind]
    high = np.where(k % 10 == 0, c, np.where(k % 5 == 0, b, a))
    high = np.minimum(high, 0.45 * shape[0])
    sided = bool(rng.integers(2))  # marks on one side of the base, or on both
    reach = (v > 0) & (v < high) if sided else np.abs(v) < high / 2
    most = rng.integers(30, 200)
    ends = np.abs(k - rng.integers(-3, 4)) <= most / 2
    ink = _comb(u, period, width, 0.8) * reach * ends
    base = bool(rng.integers(2))
    if base:
        ink = np.maximum(ink, np.clip(width / 2 - np.abs(v) + 0.5, 0, 1) * ends)
    return ink, f"micrometer, marks {kind}, {'base' if base else 'no base'}"


def _ruling(rng, shape, period, width, angle):
    """Squares; every square divided by fainter or finer lines, or not."""
    u, v = _axes(shape, angle, rng.uniform(-period, period, 2))
    ink = np.maximum(_comb(u, period, width, 0.8), _comb(v, period, width, 0.8))
    parts = int(rng.choice([1, 1, 2, 4, 5]))
    told = True
    if parts > 1 and period / parts > 9:
        faint, thin = rng.uniform(0.25, 0.85), rng.uniform(0.5, 1)
        fine = np.maximum(_comb(u, period / parts, width * thin, 0.8), _comb(v, period / parts, width * thin, 0.8))
        told = faint * thin < 0.8
        ink = np.maximum(ink, faint * fine)
    else:
        parts = 1
    return ink, f"ruling in {parts}", told


def _mesh(rng, shape, period, angle):
    u, v = _axes(shape, angle, rng.uniform(-period, period, 2))
    wire = rng.uniform(0.3, 0.5) * period
    return np.maximum(_comb(u, period, wire, 0.5), _comb(v, period, wire, 0.5)), "mesh"


def draw_pattern(seed: int) -> Pattern:
    """Draw one pattern from its seed."""
    rng = np.random.default_rng([2026, seed])
    what = ("micrometer", "ruling", "mesh")[seed % 3]
    shape = (int(rng.integers(420, 760)), int(rng.integers(640, 1100)))
    angle = float(rng.choice([0.0, 90.0, rng.uniform(0, 180)]))
    told = True
    if what == "micrometer":
        period = float(rng.uniform(4, 40))
        spacing, method = float(rng.choice([10.0, 50.0, 100.0])), "stage micrometer"
        ink, name = _micrometer(rng, shape, period, max(1.0, rng.uniform(0.12, 0.35) * period), angle)
        blur = rng.uniform(0, 0.35) * period
    elif what == "ruling":
        period = float(rng.uniform(40, 200))
        spacing, method = 1000.0, "ruled chamber"
        ink, name, told = _ruling(rng, shape, period, rng.uniform(1.5, 4), angle)
        blur = rng.uniform(0, 4)
    else:
        period = float(rng.uniform(2.6, 30))
        spacing, method = float(rng.choice([150.0, 200.0, 300.0])), "woven sieve"
        ink, name = _mesh(rng, shape, period, angle)
        blur = rng.uniform(0, 0.25) * period
    ink = ndimage.gaussian_filter(ink.astype(np.float32), blur)
    contrast = rng.uniform(50, 150) * (1 if rng.integers(2) else -1)
    ground = 70.0 if contrast < 0 else 205.0
    light = ndimage.zoom(rng.normal(0, 12, (3, 4)), (shape[0] / 3, shape[1] / 4), order=1)[: shape[0], : shape[1]]
    image = ground - contrast * ink + light + rng.normal(0, rng.uniform(1, 8), shape)
    for _ in range(int(rng.integers(0, 25))):  # cysts and dirt
        y, x, r = rng.uniform(0, shape[0]), rng.uniform(0, shape[1]), rng.uniform(3, 16)
        top, left = max(0, int(y - r)), max(0, int(x - r))
        yy, xx = np.mgrid[top : min(shape[0], int(y + r) + 2), left : min(shape[1], int(x + r) + 2)]
        image[yy, xx] = np.where(np.hypot(yy - y, xx - x) < r, ground - 0.8 * contrast, image[yy, xx])
    image = np.clip(image, 0, 255).astype(np.uint8)
    return Pattern(
        name=f"{seed}: {name}, {period:.1f} px, blur {blur:.1f}",
        method=method,
        spacing_um=spacing,
        um_per_px=spacing / period,
        image=image,
        is_told_apart=told,
    )


def patterns(n: int, start: int = 0):
    """Yield n drawn patterns."""
    for seed in range(start, start + n):
        yield draw_pattern(seed)


def main(n: int, start: int) -> None:
    """Print how many scales are right, doubted, refused, or wrong and sure, and how stated uncertainty held."""
    from qckit.errors import InputError
    from qckit.photo.scale import scale_from_pattern

    tally, z = {}, []
    for p in patterns(n, start):
        try:
            got = scale_from_pattern(p.image, p.spacing_um, method=p.method)
        except InputError:
            word = "refused"
        else:
            off = got.um_per_px / p.um_per_px - 1
            right, sure = abs(off) <= 0.01, not got.notes
            word = f"{'right' if right else 'off'}, {'sure' if sure else 'doubted'}"
            if right and sure:
                z.append(off * p.um_per_px / got.u_um_per_px)
            if not right or not sure:
                print(
                    f"  {word}: {p.name}, {got.um_per_px / p.um_per_px:.3f} of the truth; {' '.join(got.notes)[:110]}"
                )
        key = (p.method, word)
        tally[key] = tally.get(key, 0) + 1
    for key, k in sorted(tally.items()):
        print(f"{key[0]:18} {key[1]:16} {k}")
    z = np.abs(z)
    held = ", ".join(f"within {k} stated u {np.mean(z < k):.3f}" for k in (2, 3))
    print(f"of {len(z)} right and sure: {held}, most {z.max():.1f}")


if __name__ == "__main__":
    import sys

    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
