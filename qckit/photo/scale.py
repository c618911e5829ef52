"""Micrometres per pixel, with uncertainty, from a pattern of known spacing or from two points of known distance.

Where the lines of a pattern lie is found in :mod:`qckit.photo.ruling`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from qckit.errors import InputError
from qckit.photo.ruling import Family, find_families

__all__ = ["CameraScale", "scale_from_pattern", "scale_from_points"]

METHODS = {"stage micrometer": 1, "ruled chamber": 2, "woven sieve": 2, "two points": 0}
"""Way of finding a scale -> how many directions its pattern has."""


@dataclass(frozen=True)
class CameraScale:
    """A scale with its standard uncertainty and what it was found from."""

    um_per_px: float
    u_um_per_px: float
    method: str
    families: tuple[Family, ...]
    points_px: tuple[tuple[float, float], ...]
    spacing_um: float
    notes: tuple[str, ...]
    u_spacing_um: float = 0.0
    needs_about: bool = False  # whether a rough scale would settle what the notes doubt

    @property
    def u_pct(self) -> float:
        """Standard uncertainty in percent of the scale."""
        return 100 * self.u_um_per_px / self.um_per_px


def scale_from_points(first, second, distance_um, *, u_point_px=1.0, u_distance_um=0.0) -> CameraScale:
    """Scale from two points of known distance.

    Parameters
    ----------
    first, second : tuple of float
        x and y of the points. [px]
    distance_um : float
        What lies between them. [µm]
    u_point_px : float
        Standard uncertainty of setting each point, in each direction. [px]
    u_distance_um : float
        Standard uncertainty of the distance. [µm]

    Returns
    -------
    CameraScale

    Raises
    ------
    InputError
        The points coincide, or the distance is not above 0.

    References
    ----------
    JCGM 100:2008, section 5.1 (law of propagation of uncertainty).
    """
    if not (math.isfinite(distance_um) and distance_um > 0):
        raise InputError(f"the distance is {distance_um:g} µm and must be above 0. Give the true distance in µm.")
    length = math.dist(first, second)
    if length < 2:
        raise InputError(f"the two points lie {length:.1f} px apart, too near for a scale. Set them far apart.")
    scale = distance_um / length
    share = math.hypot(math.sqrt(2) * u_point_px / length, u_distance_um / distance_um)
    notes = ("The points lie near each other: set them as far apart as the photo allows.",) if share > 0.01 else ()
    return CameraScale(
        um_per_px=scale,
        u_um_per_px=scale * share,
        method="two points",
        families=(),
        points_px=(tuple(first), tuple(second)),
        spacing_um=distance_um,
        notes=notes,
        u_spacing_um=u_distance_um,
    )


def scale_from_pattern(image, spacing_um, *, method="ruled chamber", u_spacing_um=0.0, about_um_per_px=None):
    """Scale from a photo of a pattern whose spacing is known.

    Parameters
    ----------
    image : (M, N) or (M, N, 3) ndarray
        Full photo; whole numbers or floats.
    spacing_um : float
        Spacing of the pattern. [µm] Stage micrometer: one division. Ruled chamber: one square. Woven sieve: opening
        plus wire.
    method : {"stage micrometer", "ruled chamber", "woven sieve"}
        What is on the photo.
    u_spacing_um : float
        Standard uncertainty of the spacing, from its certificate. [µm]
    about_um_per_px : float, optional
        A rough scale; the repeat is then looked for within a third of it only. Use it when a pattern has finer lines
        inside its squares.

    Returns
    -------
    CameraScale
        With both directions of a ruling or mesh, the mean of the two, and their difference as part of the
        uncertainty (a tilted camera shows there).

    Raises
    ------
    InputError
        No pattern that repeats at least three times is found, the spacing is not above 0, or an unknown method.
    """
    if not (math.isfinite(spacing_um) and spacing_um > 0):
        raise InputError(f"the spacing is {spacing_um:g} µm and must be above 0. Give the true spacing in µm.")
    if method not in METHODS or method == "two points":
        raise InputError(f"unknown method {method!r}. Known: stage micrometer, ruled chamber, woven sieve.")
    near = spacing_um / about_um_per_px if about_um_per_px else None
    families = find_families(image, n_families=METHODS[method], about_px=near, woven=method == "woven sieve")
    if not families:
        freely = near and find_families(image, n_families=METHODS[method], woven=method == "woven sieve")
        raise _none_found(freely, spacing_um, method, about_um_per_px)
    periods = np.array([f.period_px for f in families])
    u = np.array([f.u_period_px for f in families])
    period = float(periods.mean())
    u_period = float(math.sqrt((u**2).sum()) / len(u))
    notes = []
    if len(families) == 2:
        apart = abs(periods[0] - periods[1])
        u_period = math.hypot(u_period, apart / math.sqrt(12))
        if apart > 0.02 * period:
            notes.append(
                f"The two directions differ by {100 * apart / period:.1f} %: hold the camera square to the "
                "dish, and take the photo again."
            )
    elif METHODS[method] == 2:
        notes.append("Only one direction repeats clearly, so a tilted camera would not show.")
    scale = spacing_um / period
    doubts, needs_about = _doubts(families, scale, method)
    notes += doubts
    share = math.hypot(u_period / period, u_spacing_um / spacing_um)
    if share > 0.01:
        notes.append(f"The scale is uncertain by {100 * share:.1f} %: take a photo with more of the pattern in it.")
    return CameraScale(
        um_per_px=scale,
        u_um_per_px=scale * share,
        method=method,
        families=tuple(families),
        points_px=(),
        spacing_um=spacing_um,
        notes=tuple(notes),
        u_spacing_um=u_spacing_um,
        needs_about=needs_about,
    )


def _none_found(freely, spacing_um, method, about_um_per_px):
    """The error of a photo without the pattern; ``freely`` are families found when no rough scale is heeded."""
    if freely:
        there = spacing_um / np.mean([f.period_px for f in freely])
        return InputError(
            f"no {method} pattern was found near the rough scale of {about_um_per_px:g} µm per pixel; without one "
            f"it is {there:.4g}. Correct the rough scale, or leave it out and look whether the lines drawn lie on "
            "the pattern."
        )
    return InputError(
        f"no {method} pattern that repeats at least three times was found. Fill the photo with the pattern, in "
        "focus and without glare, or set two points of known distance."
    )


def _doubts(families, scale, method):
    """Say which other scales the same lines allow and what could not be seen; and whether a rough scale settles it."""
    notes = []
    rivals = sorted({round(r, 4) for f in families for r in f.rivals})
    if rivals:
        others = " or ".join(f"{scale / r:.4g}" for r in rivals)
        notes.append(
            f"The pattern has lines of more than one spacing: the scale is {scale:.4g} µm per pixel if the spacing "
            f"given is that of the lines drawn in the picture, and {others} if it is another of them. Give a rough "
            "scale to settle it."
        )
    doubts = {d for f in families for d in f.doubts}
    if "soft" in doubts:
        notes.append(
            "The photo is too soft to exclude finer marks between those found: focus again, or give a rough scale."
        )
    if "uneven" in doubts and not rivals:
        notes.append(
            "The lines are too uneven to tell whether every second, fourth or fifth is a stronger one: look whether "
            "the drawn lines bound the squares whose side was given, or give a rough scale."
        )
    needs_about = bool(notes)
    if "gaps" in doubts:
        notes.append("Some marks of the row were not found: look whether the drawn lines lie on every mark.")
    if "crossed" in doubts:
        notes.append("Lines run in two directions, as on a ruled chamber or a sieve: is this a stage micrometer?")
    return notes, needs_about
