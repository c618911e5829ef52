"""Read a photo from disk: pixels, orientation, time, size and scale; every failure is one line with its remedy.

The rest of the kit sees a :class:`Photo`: upright RGB pixels, whatever the file's format, depth or orientation.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
