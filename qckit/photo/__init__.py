"""Read a photo from disk: pixels, orientation, time, size and scale; every failure is one line with its remedy.

The rest of the kit sees a :class:`Photo`: upright RGB pixels, whatever the file's format, depth or orientation.
"""

from qckit.photo.finding import drawn_folders, find_photos, photo_names
from qckit.photo.reading import MAX_MEGAPIXELS, Photo, read_photo
from qckit.photo.scales import Scales, read_scales

__all__ = [
    "MAX_MEGAPIXELS",
    "Photo",
    "Scales",
    "drawn_folders",
    "find_photos",
    "photo_names",
    "read_photo",
    "read_scales",
]
