"""From the pixels of a photo to objects, stages and counts: each step a function over arrays and tables.

``count_photo`` and ``count_photos`` do it all; the steps can be run and looked at one by one: ``make_work_image``,
``estimate_light``, ``signal_of``, ``find_foreground``, ``cut_pieces``, ``sum_pieces``, ``list_candidates``,
``measure_objects``, ``choose_objects``, ``apply_frame``, ``judge_photo``, ``draw_checked``.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
