"""Practice material with known truth: an invented site history, simulated hatches and drawn photos, all from a seed.

The history feeds the demo; the simulated hatches, each with a planted cause, check how often the explanation of a poor
hatch is right; the drawn photos serve tests and teaching. Everything here is invented and says so.
"""

from __future__ import annotations

_PLACES = {
    "invented_history": "history",
    "write_history": "history",
    "SITE_NAME": "history",
    "lot_tests": "repeats",
    "EVENTS": "events",
    "POOR_HATCH": "events",
    "REPORT_MONTH": "events",
}

__all__ = sorted(_PLACES)


def __getattr__(name: str):
    """Load the file behind a name when it is first asked for."""
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"{__name__}.{_PLACES[name]}"), name)
