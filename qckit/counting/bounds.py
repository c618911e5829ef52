"""Scales and sizes at which a photo can be counted at all; anything else is refused before any work."""

from __future__ import annotations

from qckit.errors import InputError, one_line

__all__ = ["COARSEST_COUNTED_UM_PER_PX", "check_countable", "check_counted_scale"]

COARSEST_COUNTED_UM_PER_PX = 40.0
"""Coarser than this a cyst of 230 µm spans fewer than six pixels, and stages cannot be told (our own choice)."""

MOST_MEGAPIXELS = 120.0  # of the picture at the working scale
LEAST_SPAN_MM = 0.5  # across the longer side: no nauplius fits into less
SMALL_PX = 200  # a cutting this small may span little


def check_counted_scale(um_per_px: float, where: str) -> float:
    """Return a scale at which objects can be seen.

    Raises
    ------
    InputError
        Objects would be only a few pixels across.
    """
    if um_per_px > COARSEST_COUNTED_UM_PER_PX:
        raise InputError(
            f"{one_line(where)}: at {um_per_px:g} µm per pixel a cyst would be {230 / um_per_px:.1f} pixels across, "
            f"and stages are told up to {COARSEST_COUNTED_UM_PER_PX:g} µm per pixel. Look at the decimal point of the "
            "scale; if it is right, take the photo from nearer."
        )
    return um_per_px


def check_countable(width_px: int, height_px: int, um_per_px: float, *, finest_um_per_px: float, where: str) -> None:
    """Refuse a photo that at this scale would span less than an animal, or fill the memory when it is enlarged.

    Parameters
    ----------
    width_px, height_px : int
        Of the full photo. [px]
    um_per_px : float
        Of the full photo. [µm/px]
    finest_um_per_px : float
        Scale at which it is read. [µm/px]
    where : str
        The photo, for the message.

    Raises
    ------
    InputError
        The scale cannot belong to this photo.
    """
    check_counted_scale(um_per_px, where)
    longer_px, span_mm = max(width_px, height_px), max(width_px, height_px) * um_per_px / 1000
    if longer_px >= SMALL_PX and span_mm < LEAST_SPAN_MM:
        raise InputError(
            f"{one_line(where)}: at {um_per_px:g} µm per pixel the whole photo ({width_px} x {height_px} pixels) would "
            f"span {span_mm:.2g} mm, less than one animal. Look at the decimal point of the scale."
        )
    megapixels = width_px * height_px * max(um_per_px / finest_um_per_px, 0) ** 2 / 1e6
    if um_per_px > finest_um_per_px and megapixels > MOST_MEGAPIXELS:
        raise InputError(
            f"{one_line(where)}: at {um_per_px:g} µm per pixel the photo ({width_px} x {height_px} pixels) would span "
            f"{width_px * um_per_px / 1000:.0f} x {height_px * um_per_px / 1000:.0f} mm, and enlarged to be read it "
            f"would have {megapixels:.0f} megapixels. Look at the decimal point of the scale, or cut the photo."
        )
