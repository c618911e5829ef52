"""Names for files and folders made from what people write on labels."""

from __future__ import annotations

import hashlib
import re

__all__ = ["safe_name"]

_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}


def safe_name(text: object, *, limit: int = 48) -> str:
    """Turn any text into a name that is safe as a file or folder on every system.

    Parameters
    ----------
    text : object
        A lot, month, hatch or photo name, as written by someone.
    limit : int
        Longest part kept of it, in characters.

    Returns
    -------
    str
        ASCII letters, digits, ``-``, ``_`` and inner ``.`` only. Where anything had to change, eight digits of the
        text's SHA-256 follow, so that two different texts never share a name.
    """
    text = str(text)
    kept = re.sub(r"[^A-Za-z0-9._-]+", "_", text)
    kept = re.sub(r"\.{2,}", "_", kept).strip("._-")[:limit].strip("._-")
    if kept == text and kept and kept.split(".")[0].casefold() not in _RESERVED:
        return kept
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"{kept}_{digest}" if kept else f"unnamed_{digest}"
