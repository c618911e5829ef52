"""What a widget keeps in the browser until the log has it: under which site's name, by which code."""

from __future__ import annotations

import hashlib
from pathlib import Path

__all__ = ["page_code", "site_key"]

_STORE = Path(__file__).with_suffix(".js")


def site_key(log) -> str:
    """Name of a site's log in a browser's store; it tells nothing of where the log lies."""
    return hashlib.sha256(str(log.engine.url.render_as_string(hide_password=True)).encode()).hexdigest()[:16]


def page_code(*files: Path) -> str:
    """Join scripts into one module, the browser's store before them."""
    return "\n".join(path.read_text(encoding="utf-8") for path in (_STORE, *files))
