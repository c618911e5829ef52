"""The site's records for years of daily work: who entered what, when, from which sheet, and what was corrected.

``open_log`` gives a ``SiteLog``: queries return the tables of ``qckit.tables`` with corrections applied; what is
written is written whole or not at all, and nothing is ever changed or deleted. SQLite in the site folder, or one
PostgreSQL for several rooms. ``new_site`` makes a site; ``restore`` brings a backup back.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
