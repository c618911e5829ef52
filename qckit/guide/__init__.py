"""The handbook: chapters that are notebooks, their pages, and a reference made from the code itself.

``write_guide`` runs every chapter and writes its page, with contents that can be searched; ``example_site`` is the
invented site that the chapters speak of; the functions of :mod:`qckit.guide.reference` list commands, settings, tables,
metrics, rules and messages as the code has them, so that no list can go stale.
"""

from importlib import import_module

_HOME = {
    "equation": "equations",
    "example_site": "example",
    "read_chapters": "chapters",
    "write_guide": "pages",
    "cause_list": "reference",
    "column_list": "reference",
    "command_list": "reference",
    "flag_list": "reference",
    "metric_list": "reference",
    "note_list": "reference",
    "public_names": "reference",
    "quantity_list": "reference",
    "rule_list": "reference",
    "setting_list": "reference",
    "stage_list": "reference",
}
__all__ = sorted(_HOME)


def __getattr__(name):
    if name in _HOME:
        return getattr(import_module(f"qckit.guide.{_HOME[name]}"), name)
    raise AttributeError(f"module 'qckit.guide' has no attribute {name!r}")


def __dir__():
    return __all__
