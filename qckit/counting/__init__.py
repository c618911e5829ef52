"""From the pixels of a photo to objects, stages and counts: each step a function over arrays and tables.

``count_photo`` and ``count_photos`` do it all; the steps can be run and looked at one by one: ``make_work_image``,
``estimate_light``, ``signal_of``, ``find_foreground``, ``cut_pieces``, ``sum_pieces``, ``list_candidates``,
``measure_objects``, ``choose_objects``, ``apply_frame``, ``judge_photo``, ``draw_checked``.
"""

from importlib import import_module

_HOME = {
    "analysis": ("Analysis", "FoundObjects", "analyse", "choose_objects"),
    "batch": ("CountedPhotos", "checked_name", "count_photos"),
    "flags": ("FLAG_CODES", "judge_photo"),
    "foreground": ("find_foreground",),
    "frame": ("apply_frame",),
    "fallback.grouping": ("best_division", "list_candidates"),
    "light": ("estimate_light", "signal_of"),
    "lines": ("RuledLines", "find_ruled_lines", "remove_ruled_lines"),
    "measuring": ("FEATURES", "measure_objects", "sum_pieces"),
    "picture": ("describe_counts", "draw_checked", "save_checked"),
    "pipeline": ("count_photo",),
    "result": ("COUNTER_VERSION", "PHOTO_COLUMNS", "Flag", "PhotoCount"),
    "scoring": ("score_photo", "score_photos", "summarise_scores"),
    "fallback.splitting": ("cut_pieces",),
    "stages": ("CLASSES", "StageModel", "load_stage_model", "model_key", "save_stage_model"),
    "training.fitting": ("label_candidates", "train_stage_model"),
    "training.tuning": ("settled_examples", "tune_stage_model", "tune_stage_models"),
    "working": ("WORK_UM_PER_PX", "make_work_image"),
}
_NAMES = {name: module for module, names in _HOME.items() for name in names}

__all__ = sorted(_NAMES)


def __getattr__(name):
    if name in _NAMES:
        return getattr(import_module(f"qckit.counting.{_NAMES[name]}"), name)
    raise AttributeError(f"module 'qckit.counting' has no attribute {name!r}; it offers {', '.join(__all__)}")
