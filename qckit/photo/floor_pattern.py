"""Whether a photo's floor is woven or ruled: lines that repeat evenly in two directions at right angles."""

from __future__ import annotations

from qckit.photo.ruling import find_families

__all__ = ["AT_UM_PER_PX", "shows_pattern"]

AT_UM_PER_PX = 12.0
"""Scale at which it is looked at: a weave of 80 µm repeats every seven pixels; finer ones would cost more time."""

_REPEATS_UM = {"weave": (80.0, 400.0), "squares": (400.0, 2000.0)}
"""Of sieves that hold back nauplii, their wires with them; of chambers deep enough for nauplii. Common practice, no
source."""
_ENOUGH_PX = 512  # of the photo's middle, each way: six millimetres hold fifteen threads, or six squares of a chamber
_ALIKE = 0.15  # of the repeat: how much the two directions may differ


def shows_pattern(pixels, um_per_px: float, pattern: str) -> bool:
    """Tell whether a sieve's weave, or the squares of a counting chamber, lies under what a photo shows.

    Parameters
    ----------
    pixels : (M, N) or (M, N, 3) ndarray
        Photo, at about :data:`AT_UM_PER_PX` or finer.
    um_per_px : float
        Of these pixels. [µm/px]
    pattern : {"weave", "squares"}

    Returns
    -------
    bool
    """
    low, high = _REPEATS_UM[pattern]
    rows, columns = (slice(max(0, (n - _ENOUGH_PX) // 2), (n + _ENOUGH_PX) // 2) for n in pixels.shape[:2])
    found = find_families(pixels[rows, columns], n_families=2, woven=pattern == "weave")
    repeats = sorted(family.period_px * um_per_px for family in found)
    return len(repeats) == 2 and low <= repeats[0] and repeats[1] <= min(high, (1 + _ALIKE) * repeats[0])
