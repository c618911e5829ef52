"""Quality control for the daily hatch of brine shrimp (Artemia): photos, counts, metrics, charts, verdicts.

``import qckit`` offers the few names a notebook needs; the rest lives in its folder. Names are looked up when
first used, so that the import itself is quick.
"""

import lazy_loader

__version__ = "0.1.0"

__getattr__, __dir__, _names = lazy_loader.attach_stub(__name__, __file__)
__all__ = ["__version__", *_names]
