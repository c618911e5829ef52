"""The one door through which a date goes that a person at the site reads: on pages, in notebooks, at the command line.

Sentences, tables and records hold dates as ISO 8601; here they get the order of ``date_order`` in the settings.
"""

from __future__ import annotations

from functools import cached_property

from qckit.directions import put_dates_in_order
from qckit.errors import QcError
from qckit.settings import Settings
from qckit.words import dates_in

__all__ = ["SiteDates"]


class SiteDates:
    """Write dates in a site's order; names in its log that hold a date stay as they are.

    Parameters
    ----------
    settings : Settings
        Of the site. Its log is read when a text first holds a date that would change.

    Examples
    --------
    >>> from qckit.log.site_dates import SiteDates
    >>> SiteDates(site.settings).text("Opened on 2026-11-04.")
    'Opened on 2026-11-04.'
    """

    def __init__(self, settings: Settings):
        self.settings = settings

    @property
    def order(self) -> str:
        """The site's order: ymd, dmy or mdy."""
        return self.settings.site.date_order

    @cached_property
    def names(self) -> frozenset[str]:
        """Names of lots, hatches, samples, photos and certificates; empty where there is no log that can be read."""
        from qckit.log.opening import open_log

        try:
            with open_log(self.settings.folder) as log:
                tables = {"lot": log.lots(), "hatch": log.hatches(), "sample": log.samples(counted=None)}
                tables |= {"photo": log.photos(), "certificate": log.certificates()}
        except QcError:  # what is wrong with the log is told by what needs it
            return frozenset()
        return frozenset(str(name) for column, table in tables.items() for name in table[column])

    def text(self, text: str) -> str:
        """Write the dates of a text in the site's order (:func:`qckit.words.dates_in`)."""
        return text if dates_in(text, self.order) == text else dates_in(text, self.order, names=self.names)

    def page(self, html: str) -> str:
        """Write the dates of a page, or of a piece of one, in the site's order."""
        is_same = put_dates_in_order(html, self.order) == html
        return html if is_same else put_dates_in_order(html, self.order, names=self.names)
