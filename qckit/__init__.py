"""Quality control for the daily hatch of brine shrimp (Artemia): photos, counts, metrics, charts, verdicts.

``import qckit`` offers the few names a notebook needs; the rest lives in its folder. Names are looked up when
first used, so that the import itself is quick.
"""

import sys
from importlib import import_module

__version__ = "0.1.0"

_NAMES = {
    "count_photo": "qckit.counting",
    "count_photos": "qckit.counting.tidy",
    "InputError": "qckit.errors",
    "QcError": "qckit.errors",
    "load_site": "qckit.site",
    "open_log": "qckit.log",
    "load_settings": "qckit.settings",
}

__all__ = ["__version__", *_NAMES]


def __getattr__(name):
    if name in _NAMES:
        return getattr(import_module(_NAMES[name]), name)
    raise AttributeError(f"module 'qckit' has no attribute {name!r}; it offers {', '.join(__all__)}")


def __dir__():
    return sorted(__all__)


if (_ipython := sys.modules.get("IPython")) is not None and (_shell := _ipython.get_ipython()) is not None:
    import_module("qckit.in_notebook").install(_shell)  # an error's sentence first, its traceback folded
