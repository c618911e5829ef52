"""The site's records for years of daily work: who entered what, when, from which sheet, and what was corrected.

``open_log`` gives a ``SiteLog``: queries return the tables of ``qckit.tables`` with corrections applied; what is
written is written whole or not at all, and nothing is ever changed or deleted. SQLite in the site folder, or one
PostgreSQL for several rooms. ``new_site`` makes a site; ``restore`` brings a backup back.
"""

from importlib import import_module

_NAMES = {
    "ImportResult": "qckit.log.steps",
    "SiteLog": "qckit.log.store",
    "create_log": "qckit.log.opening",
    "open_log": "qckit.log.opening",
    "new_site": "qckit.log.founding",
    "restore": "qckit.log.restoring",
    "export_csv": "qckit.log.exporting",
    "export_excel": "qckit.log.exporting",
    "export_zip": "qckit.log.packing",
}

__all__ = list(_NAMES)


def __getattr__(name):
    if name in _NAMES:
        return getattr(import_module(_NAMES[name]), name)
    raise AttributeError(f"module 'qckit.log' has no attribute {name!r}; it offers {', '.join(__all__)}")
