"""The second reader: a trained network that proposes objects, if it is there and can be run.

The count works without it. Where it is there, its proposals are joined with the objects that the measured features
gave, and a photo on which the two differ is flagged.
"""

from __future__ import annotations

import importlib.util

__all__ = ["reader_key", "reader_module"]


def reader_module(reader: str | None):
    """Return the module of the second reader, or None where there is none or it was not asked for."""
    if reader is None or importlib.util.find_spec("qckit.counting.reader") is None:
        return None
    from qckit.counting import reader as module

    return module if module.reader_available() else None


def reader_key(reader: str | None) -> str:
    """A short text that changes when the second reader does."""
    module = reader_module(reader)
    return str(getattr(module, "READER_VERSION", "1")) if module else "none"
