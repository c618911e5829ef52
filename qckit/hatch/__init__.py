"""From counts to hatch metrics: percentage, efficiency, rate, uncertainty, comparison, plan, dose, water.

Everything here is arithmetic on DataFrames and arrays; nothing opens a file. Names are looked up when first used, so
that importing the folder costs nothing.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
