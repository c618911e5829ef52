"""Counter against counter: the photo counter against a person, people against people, and what follows.

From the same photos counted both ways come bias and limits of agreement, concordance, repeatability and
reproducibility, the detection rate and the confusion between stages with their intervals, a certificate with a date
to check again, and from it the correction of later counts with intervals that know about all of this. Everything
takes arrays and DataFrames and returns data; nothing here reads a file or the log.
"""

from __future__ import annotations

import importlib

_HOME = {
    "BlandAltman": "paired",
    "Concordance": "paired",
    "Repeatability": "paired",
    "bland_altman": "paired",
    "concordance": "paired",
    "repeatability": "paired",
    "match_objects": "matching",
    "CountRates": "rates",
    "rates_from_counts": "rates",
    "rates_from_matches": "rates",
    "Certificate": "certificate",
    "certify_camera": "certificate",
    "read_certificate": "certificate",
    "CertificateUse": "lookup",
    "camera_of": "lookup",
    "latest_certificate": "lookup",
    "draw_confusion": "drawing",
    "draw_differences": "drawing",
    "CorrectedCounts": "correction",
    "correct_counts": "correction",
    "GaugeStudy": "gauge",
    "gauge_study": "gauge",
    "say_gauge": "gauge",
}
__all__ = sorted(_HOME)


def __getattr__(name):
    if name in _HOME:
        return getattr(importlib.import_module(f"qckit.agreement.{_HOME[name]}"), name)
    raise AttributeError(f"module 'qckit.agreement' has no attribute {name!r}")


def __dir__():
    return __all__
