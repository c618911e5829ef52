"""The evenly repeated lines of a ruling or a woven mesh: their directions, their repeat, and how sure it is.

The directions come from the picture's spectrum; along each the picture is averaged into a profile
(:mod:`qckit.photo.profiles`); the profile's repeat is found from its autocorrelation and then refined by laying every
repeat over the average one and fitting a straight line to where it lies. The scatter about that line is the
uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from qckit.photo.marks import finest_marks, mean_of_rows, strengths_at, stronger_every
from qckit.photo.meshes import follow_wave, mesh_directions
from qckit.photo.profiles import (
    brightest_phase,
    cos_deg,
    likeness_curve,
    mean_repeat,
    profile_across,
    shifts_of_repeats,
    sin_deg,
    spectrum,
    turned_upright,
)
from qckit.robust import robust_sd

__all__ = ["Family", "find_families"]

# Photos without a pattern reach 0.32 (ruling) and 0.63 (mesh) by chance of their objects, photos with one 0.88 and
# 0.98 at least (the open labelled photos); the limits lie between.
LEAST_LIKENESS, LEAST_LIKENESS_MESH = 0.55, 0.8
# A line's blur, as a share of a spacing, from which lines at that spacing can no longer be seen (a twentieth of their
# contrast is left at 0.39); and the least share of marks that must be there.
_SOFT, _FILLED = 0.25, 0.85
_SAMPLED_PX = 0.1  # what pixels do to a sharp line's place: alike for lines at alike parts of a pixel, so no mean helps
_MULTIPLES, _LINES_TO_TELL = (2, 3, 4, 5, 8, 10, 20), 5
_UNEVEN = 0.1  # scatter of lines' strengths from which every fourth or fifth could be stronger without being noticed


@dataclass(frozen=True)
class Family:
    """One set of parallel lines. ``angle_deg`` is the direction across the lines; ``offset_px`` the first repeat.

    A point (x, y) lies on repeat k when x cos(angle) + y sin(angle) = offset + k period.
    """

    angle_deg: float
    period_px: float
    u_period_px: float
    offset_px: float
    n_repeats: int
    likeness: float  # correlation of the profile with itself one repeat on, -1 to 1
    rivals: tuple[float, ...] = ()  # other repeats that the lines allow, as multiples of this one
    doubts: tuple[str, ...] = ()  # codes: "soft" finer lines would not show, "gaps" lines are missing


def find_families(image, *, n_families=2, about_px=None, woven=False) -> list[Family]:
    """Find the parallel, evenly repeated lines of a photo.

    Parameters
    ----------
    image : (M, N) or (M, N, 3) ndarray
        Photo.
    n_families : int
        1 for a micrometer, 2 for squares (then at right angles, within 3 degrees).
    about_px : float, optional
        Rough repeat; looked for between 0.7 and 1.4 of it. [px]
    woven : bool
        A mesh: periods as short as 4 px are looked for, and both directions have about the same.

    Returns
    -------
    list of Family
        Empty when nothing repeats at least three times. In pixels of the image given.
    """
    flat, shrink = _flattened(image)
    if flat is None:
        return []
    about = about_px / shrink if about_px else None
    if woven:
        rough = mesh_directions(*spectrum(flat), about)
        found = [_woven(flat, angle, period) for angle, period in rough]
    elif n_families == 1:
        found = [_row_of_marks(flat, about)]
    else:
        found = _squares(flat, _flattened(image, clip=np.inf)[0], about)
    found = [f for f in found if f is not None and f.likeness >= (LEAST_LIKENESS_MESH if woven else LEAST_LIKENESS)]
    if woven and len(found) < 2:
        return []
    # a pixel's centre is at +0.5 in photo coordinates, and the working picture's pixels are `shrink` wide
    return [
        replace(
            f,
            period_px=f.period_px * shrink,
            u_period_px=math.hypot(f.u_period_px, _SAMPLED_PX / f.n_repeats) * shrink,
            offset_px=(f.offset_px + 0.5 * (cos_deg(f.angle_deg) + sin_deg(f.angle_deg))) * shrink,
        )
        for f in found
    ]


def _flattened(image, *, most_px=3_200_000, clip=4.0):
    """Return grey less its local mean, clipped so that objects do not outweigh lines, and how much it was shrunk."""
    from scipy import ndimage

    grey = np.asarray(image, dtype=np.float32)
    if grey.ndim == 3:
        grey = grey[..., :3].mean(axis=2)
    if grey.ndim != 2 or min(grey.shape) < 32:
        return None, 1
    shrink = max(1, math.ceil(math.sqrt(grey.size / most_px)))
    if shrink > 1:
        m, n = (s - s % shrink for s in grey.shape)
        grey = grey[:m, :n].reshape(m // shrink, shrink, n // shrink, shrink).mean(axis=(1, 3))
    flat = grey - ndimage.uniform_filter(grey, 41)
    spread = robust_sd(flat, np.median(flat))
    if spread == 0:
        spread = float(flat.std())
    return (None, shrink) if spread == 0 else (np.clip(flat, -clip * spread, clip * spread), shrink)


def _line_angles(flat):
    """Directions across lines, strongest first: where the spectrum gathers along a ray. [degrees]"""
    power, fy, fx = spectrum(flat)
    radius = np.hypot(fy, fx)
    ring = (radius > 0.004) & (radius < 0.25)
    # whiten: lines are what stands above the ring's own level at the same radius
    bins = (radius[ring] * 400).astype(int)
    level = np.bincount(bins, power[ring]) / np.maximum(np.bincount(bins), 1)
    share = np.log1p(power[ring] / (level[bins] + 1e-12))
    angle = np.degrees(np.arctan2(np.broadcast_to(fy, power.shape)[ring], np.broadcast_to(fx, power.shape)[ring])) % 180
    slots = (angle * 4).astype(int) % 720
    # every slot holds about the same share of a ring; weigh by what it holds
    score = np.bincount(slots, share * radius[ring], 720) / np.maximum(np.bincount(slots, radius[ring], 720), 1e-12)
    smooth = np.convolve(np.concatenate([score[-2:], score, score[:2]]), [0.25, 0.5, 1, 0.5, 0.25], "valid")
    return (np.arange(720) + 0.5) / 4, smooth


def _sharpest(flat, angle):
    """Turn the direction a little until the profile is at its most contrasted."""
    if min(flat.shape) > 800:
        flat = flat[::2, ::2]  # enough to tell a direction, a quarter of the work
    for reach in (0.6, 0.6 / 3, 0.6 / 3 / 3):
        tries = angle + np.linspace(-reach, reach, 7)
        contrast = [np.nanvar(profile_across(flat, a)[1]) for a in tries]
        angle = float(tries[int(np.argmax(contrast))])
    return angle


def _two_directions(flat):
    """The strongest direction across lines and its perpendicular, each turned to where its profile is sharpest."""
    angles, score = _line_angles(flat)
    score = score + np.roll(score, 360)
    first = float(angles[int(np.argmax(score))])
    return _sharpest(flat, first) % 180, _sharpest(flat, (first + 90) % 180) % 180


def _row_of_marks(flat, about):
    """A micrometer's finest marks; those of another spacing where only they fit a rough one."""
    rows = [(a, row) for a in _two_directions(flat) if (row := finest_marks(flat, a)) is not None]
    if not rows:
        return None
    _, row = max(rows, key=lambda r: r[1].marks.number[-1] * r[1].marks.filled)
    angle, marks = row.angle_deg % 360, row.marks
    levels = stronger_every(marks.number, row.length)
    times = 1
    if about:
        times = min((1, *levels), key=lambda m: abs(math.log(m * marks.spacing_px / about)))
        if not 0.7 < times * marks.spacing_px / about < 1.4:
            return None
    doubts = []
    if not about and not {5, 10} & set(levels) and marks.soft_px > _SOFT * marks.spacing_px / 5:
        doubts.append("soft")
    if marks.filled < _FILLED:
        doubts.append("gaps")
    period = times * marks.spacing_px
    place = marks.place_px - marks.number * marks.spacing_px
    if angle >= 180:  # the same lines, counted from the other end
        angle, place = angle - 180, -place
    if len(rows) == 2 and min(r.marks.number[-1] * r.marks.filled for _, r in rows) > 0.5 * marks.number[-1]:
        doubts.append("crossed")
    return Family(
        angle_deg=angle,
        period_px=float(period),
        u_period_px=float(times * row.u_spacing_px),
        offset_px=float(np.median(place)),
        n_repeats=int(marks.number[-1] // times),
        likeness=float(marks.filled),
        rivals=() if about else tuple(m / times for m in (1, *levels) if m != times and m not in (5, 10)),
        doubts=tuple(doubts),
    )


def _squares(flat, unclipped, about):
    """The two families of a ruling, by the lines that bound its squares: the strongest that repeat."""
    directions = _two_directions(flat)
    profiles = [profile_across(flat, a) for a in directions]
    curves = [likeness_curve(p) for _, p in profiles]
    periods = _shared_period(curves)
    fits = [_family(flat, a, _by_multiples(c, p)) if p else None for a, p, c in zip(directions, periods, curves)]
    known = [fit for fit in fits if fit is not None]
    if not known:
        return []
    # strengths are read off the unclipped picture, in which strong lines stay stronger than faint ones
    full = {fit: profile_across(unclipped, fit.angle_deg) for fit in known}
    by_angle = {fit.angle_deg: profile for fit, profile in full.items()}
    parts = max(_shared(known, lambda fit: _finer_parts(fit, *full[fit])), default=1)
    finest = [replace(fit, period_px=fit.period_px / parts, n_repeats=fit.n_repeats * parts) for fit in known]
    levels = _shared(finest, lambda fit: _stronger_multiples(fit, *by_angle[fit.angle_deg]))
    times = [m / parts for m in (1, *levels)]
    period = float(np.mean([fit.period_px for fit in known]))
    if about:
        chosen = min(times, key=lambda t: abs(math.log(t * period / about)))
        if not 0.7 < chosen * period / about < 1.4:
            return []
    else:
        chosen = max(times)
    rivals = () if about else tuple(t / chosen for t in times if t != chosen)
    uneven = not about and any(_unevenness(fit, *full[fit]) > _UNEVEN for fit in known)
    doubts = ("uneven",) if uneven else ()
    return [replace(_scaled(fit, parts, chosen, *full[fit]), rivals=rivals, doubts=doubts) for fit in known]


def _scaled(fit, parts, times, start, profile):
    """The same lines by another multiple of their repeat, counted from the strongest class of them."""
    step, every = fit.period_px / parts, round(times * parts)
    number, strength = strengths_at(profile, step, fit.offset_px - start)
    classes = [
        np.median(strength[number % every == r]) if (number % every == r).any() else -np.inf for r in range(every)
    ]
    return replace(
        fit,
        period_px=fit.period_px * times,
        u_period_px=fit.u_period_px * times,
        offset_px=fit.offset_px + int(np.argmax(classes)) * step,
        n_repeats=int(fit.n_repeats / times),
    )


def _shared(families, which):
    """What the lines of every direction say, in order; a direction with few lines does not speak against another."""
    allowed = [set(which(f)) | {m for m in _MULTIPLES if f.n_repeats < _LINES_TO_TELL * m} for f in families]
    return sorted(set.intersection(*allowed) & set.union(*(set(which(f)) for f in families)))


def _stronger_multiples(fit, start, profile):
    number, strength = strengths_at(profile, fit.period_px, fit.offset_px - start)
    return stronger_every(number, strength)


def _unevenness(fit, start, profile):
    """Scatter of the lines' strengths, as a share of their middle."""
    _, strength = strengths_at(profile, fit.period_px, fit.offset_px - start)
    middle = np.median(strength)
    return robust_sd(strength, middle) / max(abs(middle), 1e-9)


def _finer_parts(fit, start, profile):
    """Parts into which finer, fainter lines divide the mean repeat evenly."""
    good = np.flatnonzero(np.isfinite(profile))
    z = np.nan_to_num(profile[good[0] : good[-1] + 1] - np.nanmedian(profile))
    repeat = mean_repeat(z, fit.period_px)
    size = repeat.size
    repeat = np.roll(repeat, -int(np.argmax(np.abs(repeat - np.median(repeat)))))
    repeat = (repeat - np.median(repeat)) * np.sign(repeat[0] - np.median(repeat))
    noise = robust_sd(np.diff(repeat, 2)) / math.sqrt(6)
    parts = []
    for m in (2, 4, 5, 10):
        beside = round(min(size / (2 * m), 8))
        if beside < 3:
            continue
        at = np.round(np.arange(1, m) * size / m).astype(int)
        on = np.array([repeat[np.arange(a - 1, a + 2) % size].max() for a in at])
        off = np.maximum(repeat[(at - beside) % size], repeat[(at + beside) % size])
        if (on - off).min() > max(0.06 * repeat[0], 5 * noise):
            parts.append(m)
    return parts


def _peaks(curve):
    """Lags (and heights) at which the profile resembles itself."""
    from scipy.signal import find_peaks

    curve = np.nan_to_num(curve, nan=-1.0)
    at, _ = find_peaks(curve, height=0.15, prominence=0.12)
    at = at[(at >= 4) & (at <= curve.size / 3)]
    return at, curve[at]


def _shared_period(curves):
    """Choose each family's repeat: the shortest that is nearly as like as the best, the same for both if they agree."""
    choices = []
    for curve in curves:
        at, height = _peaks(curve)
        choices.append([(int(a), float(h)) for a, h in zip(at, height)])
    if len(curves) == 2 and all(choices):
        both = [(a, b, h + k) for a, h in choices[0] for b, k in choices[1] if abs(a - b) < 0.03 * (a + b)]
        if both:
            top = max(total for *_, total in both)
            a, b, _ = min((x for x in both if x[2] >= 0.75 * top), key=lambda x: x[0])
            return [a, b]
    picked = []
    for peaks in choices:
        top = max((h for _, h in peaks), default=0)
        picked.append(min((a for a, h in peaks if h >= 0.75 * top), default=None))
    if len(picked) == 2 and all(picked):  # no common repeat: keep the clearer one
        keep = int(curves[1][picked[1]] > curves[0][picked[0]])
        picked[1 - keep] = None
    return picked


def _by_multiples(curve, period):
    """Sharpen a whole-pixel repeat by its doubles, so that far repeats are not taken for their neighbours."""
    times = 1
    while 2.3 * times * period < 0.6 * curve.size:
        times *= 2
        low = round(times * period - max(2, 0.2 * period))
        high = round(times * period + max(2, 0.2 * period)) + 1
        period = (low + int(np.nanargmax(curve[low:high]))) / times
    return period


def _family(flat, angle, period):
    """Refine a repeat by laying every repeat over the mean one; None when fewer than three fit.

    The uncertainty is the larger of two: the scatter of the repeats about their line, and that of four bands of the
    picture among themselves, in which a direction slightly off, a curved field or dirt shows.
    """
    start, profile = profile_across(flat, angle)
    got = _refined(profile, period)
    if got is None:
        return None
    period, u, first, z = got
    upright, _ = turned_upright(flat, angle)
    bands = [_refined(mean_of_rows(band), period) for band in np.array_split(upright, 4)]
    periods = [b[0] for b in bands if b is not None and abs(b[0] - period) < 0.1 * period]
    if len(periods) > 2:
        u = max(u, 1.3 * float(np.std(periods, ddof=1)) / math.sqrt(len(periods)))  # 1.3: Student's factor for four
    phase = brightest_phase(z, period)
    likeness = float(likeness_curve(profile)[round(period)])
    return Family(
        angle_deg=angle % 180,
        period_px=float(period),
        u_period_px=float(u),
        offset_px=float(start + first + phase),
        n_repeats=int(z.size // period),
        likeness=likeness,
    )


def _woven(flat, angle, period):
    """One direction of a mesh, by the phase of its wave over the picture; None where too little of it shows."""
    got = follow_wave(flat, angle, period)
    if got is None:
        return None
    angle, period, u = got
    start, profile = profile_across(flat, angle)
    good = np.flatnonzero(np.isfinite(profile))
    if good.size < 3 * period:
        return None
    z = np.nan_to_num(profile[good[0] : good[-1] + 1] - np.nanmean(profile))
    return Family(
        angle_deg=angle,
        period_px=period,
        u_period_px=u,
        offset_px=float(start + good[0] + brightest_phase(z, period)),
        n_repeats=int(z.size // period),
        likeness=float(likeness_curve(profile)[round(period)]),
    )


def _refined(profile, period):
    """Refined repeat of a profile: (period, its standard uncertainty, first place, profile without NaN), or None."""
    from scipy.ndimage import gaussian_filter1d

    good = np.flatnonzero(np.isfinite(profile))
    if good.size < 3 * period:
        return None
    first, z = good[0], profile[good[0] : good[-1] + 1] - np.nanmean(profile)
    z = gaussian_filter1d(np.nan_to_num(z), 1.0)  # sharp lines would lock to whole pixels
    for _ in range(3):
        if (shifts := shifts_of_repeats(z, period)) is None:
            return None
        k, lag = shifts
        slope, cut = np.polyfit(k, lag, 1)
        rest = lag - (slope * k + cut)
        keep = np.abs(rest) <= 3 * robust_sd(rest) + 1e-6
        if keep.sum() >= 3:
            slope, cut = np.polyfit(k[keep], lag[keep], 1)
        period += slope
        if abs(slope) < 1e-4 * period:
            break
    k, lag = k[keep], lag[keep]
    free = max(len(k) - 2, 1)
    spread = math.sqrt(((lag - slope * k - cut) ** 2).sum() / free)
    return period, max(spread, 0.08) / math.sqrt(max(((k - k.mean()) ** 2).sum(), 1e-9)), first, z
