"""From a notebook and a site's records to a page that can be read, printed, sent and proven.

:func:`run_report` copies a notebook, checks and fills its parameters, runs it with papermill in this interpreter's own
kernel and turns the result into one self-contained HTML page, with the executed notebook and the findings as JSON
beside it. The other names are what a report notebook calls to show things: each returns one piece of HTML with all
text escaped. Names are looked up when first used, so that the import is quick.
"""

from importlib import import_module

_NAMES = {
    "Html": "blocks",
    "cautions": "blocks",
    "evidence": "blocks",
    "first_screen": "blocks",
    "left_out": "blocks",
    "note": "blocks",
    "sentences": "blocks",
    "would_change": "blocks",
    "table": "blocks",
    "figure": "pictures",
    "figures": "pictures",
    "thumbnails": "pictures",
    "certificates_of": "accuracy",
    "cite_certificates": "accuracy",
    "find_site": "sites",
    "poorest_hatch": "sites",
    "save_findings": "findings",
    "checked_photos": "checked",
    "count_waiting": "uncounted",
    "nauplius_objects": "poor_report",
    "record_check": "poor_report",
    "record_plans": "poor_report",
    "make_demo": "demo",
    "reports_of": "index",
    "write_index": "index",
    "KINDS": "run",
    "ReportRun": "run",
    "run_report": "run",
    "run_reports": "run",
}

__all__ = sorted(_NAMES)


def __getattr__(name):
    if name in _NAMES:
        return getattr(import_module(f"qckit.reports.{_NAMES[name]}"), name)
    raise AttributeError(f"module 'qckit.reports' has no attribute {name!r}; it offers {', '.join(__all__)}")


def __dir__():
    return __all__
