"""Loading in the background what the first answer of a sitting needs."""

from __future__ import annotations

import threading
from collections.abc import Callable

__all__ = ["warm_up"]


def warm_up() -> Callable[[], None]:
    """Import in the background what the first answer needs, while a person types; returns a call that waits for it."""

    def work() -> None:
        import scipy.stats  # noqa: F401

        import qckit.verdicts.poor_hatch.verdict  # noqa: F401

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return thread.join
