"""What a page rests on beside its hatches: the records as they stood, by their seal, and the site's settings."""

from __future__ import annotations

from qckit.log import engine, open_log
from qckit.log.meta import log_id
from qckit.log.seal import seal_of
from qckit.setting_changes import as_values
from qckit.settings import Settings

__all__ = ["cited"]


def cited(settings: Settings) -> dict:
    """Return what findings keep of the site as it was: ``records`` (log, step, seal) and ``settings``.

    The address of the log is no part of it: it may say where a server stands.
    """
    with open_log(settings.folder) as log:
        seal = seal_of(log, for_page=True)
        with engine.reading(log.engine) as connection:
            name = log_id(connection)
    return {"records": {"log": name, "step": seal.step, "seal": str(seal)}, "settings": as_values(settings)}
