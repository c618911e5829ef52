"""From a notebook and a site's records to a page that can be read, printed, sent and proven.

:func:`run_report` copies a notebook, checks and fills its parameters, runs it with papermill in this interpreter's own
kernel and turns the result into one self-contained HTML page, with the executed notebook and the findings as JSON
beside it. The other names are what a report notebook calls to show things: each returns one piece of HTML with all
text escaped. Names are looked up when first used, so that the import is quick.
"""

from qckit.arguments import attach

__getattr__, __dir__, __all__ = attach(__name__, __file__)
