"""The day at the bench: what is due, entering the day in few keys, the tally, cards, photos without typing.

Pure functions say what a day holds (:func:`study_day`) and make rows of what was typed
(:mod:`qckit.day.entry.records`); screens, forms and files are at the edges. Names are looked up when first used.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
