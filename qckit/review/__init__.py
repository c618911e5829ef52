"""Look at counted photos and put counts right by hand.

``open_review`` shows a photo with what was found on it in a notebook cell; every edit is in the site's log at once,
as a correction with the reviewer's initials. ``ReviewSession`` does the same without a screen, ``still_picture``
shows where no widget can, and ``rank_photos``, ``rank_objects`` and ``say_when_to_stop`` tell where a look helps most
and when looking on is not worth it.
"""

from __future__ import annotations

import importlib

_HOME = {
    "ReviewSession": "session",
    "find_photo_file": "files",
    "PointPicker": "picker",
    "pick_points": "picker",
    "ReviewDesk": "desk",
    "open_review": "desk",
    "still_picture": "still",
    "SetupCheck": "setup",
    "check_for_setup": "setup",
    "find_setup_photo": "setup",
    "measure_for_setup": "setup",
    "keep_for_setup": "setup",
    "Retrained": "retrain",
    "SiteModel": "retrain",
    "drop_site_model": "retrain",
    "retrain_stages": "retrain",
    "site_stage_model": "retrain",
    "flag_scales": "sizes",
    "scale_doubts": "sizes",
    "counts_table": "summary",
    "recent_photos": "summary",
    "rank_objects": "priorities",
    "rank_photos": "priorities",
    "say_when_to_stop": "priorities",
    "check_camera": "camera",
    "count_pairs": "camera",
    "read_hand_counts": "camera",
    "save_certificate": "camera",
    "read_study": "hand_tables",
    "certificate_page": "page",
    "save_scale": "camera",
    "scale_for": "camera",
    "measure_scale": "camera",
    "write_scales": "camera",
}
__all__ = sorted(_HOME)


def __getattr__(name):
    if name in _HOME:
        return getattr(importlib.import_module(f"qckit.review.{_HOME[name]}"), name)
    raise AttributeError(f"module 'qckit.review' has no attribute {name!r}")


def __dir__():
    return __all__
