"""Quality control for the daily hatch of brine shrimp (Artemia): photos, counts, metrics, charts, verdicts.

``import qckit`` offers the few names a notebook needs; the rest lives in its folder. Names are looked up when
first used, so that the import itself is quick.
"""

import sys
from importlib import import_module

from qckit.arguments import attach

__version__ = "0.1.0"

__getattr__, __dir__, _names = attach(__name__, __file__)
__all__ = ["__version__", *_names]

if (_ipython := sys.modules.get("IPython")) is not None and (_shell := _ipython.get_ipython()) is not None:
    import_module("qckit.in_notebook").install(_shell)  # an error's sentence first, its traceback folded
