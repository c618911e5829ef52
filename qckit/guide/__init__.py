"""The handbook: chapters that are notebooks, their pages, and a reference made from the code itself.

``write_guide`` runs every chapter and writes its page, with contents that can be searched; ``example_site`` is the
invented site that the chapters speak of; the functions of :mod:`qckit.guide.reference` list commands, settings, tables,
metrics, rules and messages as the code has them, so that no list can go stale.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
