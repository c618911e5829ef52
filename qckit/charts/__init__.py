"""Control charts that tell chance from change: limits, rules and signals as data first, drawing apart.

A chart is a DataFrame with a row per hatch; a baseline is reviewed, widened for its length and frozen; rules are named
by what they see; and since when, with what, and how often below the minimum have their own functions.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
