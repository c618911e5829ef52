"""Memory that is free goes back to the system between the large steps of a count.

The C library keeps freed arrays for later ones; between steps whose arrays differ in size that adds up to a third of
what a count needs, in every worker.
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
