"""Set two points of known distance on a photo, in a notebook cell."""

from __future__ import annotations

from pathlib import Path

import anywidget
import traitlets

from qckit.errors import InputError
from qckit.photo import read_photo
from qckit.review.camera import MeasuredScale, measure_scale
from qckit.review.sent_pictures import jpeg_of, shrunk

__all__ = ["PointPicker", "pick_points"]


class PointPicker(anywidget.AnyWidget):
    """A photo on which two points are set; ``points`` holds them in pixels of the upright photo.

    Examples
    --------
    >>> picker = review.PointPicker(picture)
    >>> len(picker.points)
    0
    """

    _esm = Path(__file__).parent / "picker.js"
    image = traitlets.Bytes().tag(sync=True)
    width_px = traitlets.Int().tag(sync=True)
    height_px = traitlets.Int().tag(sync=True)
    points = traitlets.List().tag(sync=True)

    def __init__(self, photo, **kwargs):
        read = read_photo(photo)
        small, _ = shrunk(read.pixels)
        super().__init__(image=jpeg_of(small), width_px=read.width_px, height_px=read.height_px, **kwargs)
        self._path = photo

    def measure(self, distance_um: float, *, u_distance_um: float = 0.0) -> MeasuredScale:
        """Return the scale of the two points set.

        Parameters
        ----------
        distance_um, u_distance_um : float
            True distance and its standard uncertainty. [µm]

        Raises
        ------
        InputError
            The two points are not both set.
        """
        if len(self.points) != 2:
            raise InputError(
                f"{len(self.points)} of 2 points are set on the photo. Click both, then run this cell again."
            )
        return measure_scale(
            self._path,
            method="two points",
            spacing_um=distance_um,
            u_spacing_um=u_distance_um,
            points=[tuple(p) for p in self.points],
        )


def pick_points(photo) -> PointPicker:
    """Show a photo to set two points on.

    Parameters
    ----------
    photo : path

    Returns
    -------
    PointPicker

    Examples
    --------
    >>> len(review.pick_points(picture).points)
    0
    """
    return PointPicker(photo)
