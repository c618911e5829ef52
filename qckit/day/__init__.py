"""The day at the bench: what is due, entering the day in few keys, the tally, cards, photos without typing.

Pure functions say what a day holds (:func:`study_day`) and make rows of what was typed (:mod:`qckit.day.records`);
screens, forms and files are at the edges. Names are looked up when first used.
"""

from importlib import import_module

_WHERE = {
    "Day": "qckit.day.study",
    "Entry": "qckit.day.records",
    "Tally": "qckit.day.tally",
    "day_form": "qckit.day.form",
    "load_day": "qckit.day.loading",
    "repeat_counts": "qckit.day.repeats",
    "study_day": "qckit.day.study",
}

__all__ = sorted(_WHERE)


def __getattr__(name):
    if name in _WHERE:
        return getattr(import_module(_WHERE[name]), name)
    raise AttributeError(f"module 'qckit.day' has no attribute {name!r}; it offers {', '.join(__all__)}")


def __dir__():
    return __all__
