"""Look at counted photos and put counts right by hand.

``open_review`` shows a photo with what was found on it in a notebook cell; every edit is in the site's log at once,
as a correction with the reviewer's initials. ``ReviewSession`` does the same without a screen, ``still_html``
shows where no widget can, and ``rank_photos``, ``rank_objects`` and ``say_when_to_stop`` tell where a look helps most
and when looking on is not worth it.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
