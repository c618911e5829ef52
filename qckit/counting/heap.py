"""Memory that is free goes back to the system before the step that needs the most.

The C library keeps freed arrays for later ones; where the next are of another size, that adds up to a sixth of what a
count needs. Giving it back costs time, since the system hands out cleared pages: after every large step it was a sixth
of a count.
"""

from __future__ import annotations

from functools import cache

__all__ = ["trim_heap"]

LEAST_PIXELS = 1_000_000  # of smaller pictures there is nothing to give back


@cache
def _c_library_trim():
    """The C library's own call for it; None where it has none (it is one of the GNU library's)."""
    import ctypes

    try:
        return ctypes.CDLL(None).malloc_trim
    except (OSError, TypeError, AttributeError):
        return None


def trim_heap(n_pixels: int) -> None:
    """Give freed memory back to the system, where that can be done and pays.

    Parameters
    ----------
    n_pixels : int
        Pixels of the picture that was worked on.
    """
    if n_pixels >= LEAST_PIXELS and (trim := _c_library_trim()):
        trim(0)
