"""The checked picture of a logged photo, for pages and notebooks in which no widget can run."""

from __future__ import annotations

import base64
import html
import io

import numpy as np

from qckit.directions import isolate_names
from qckit.object_rows import is_counted
from qckit.photo import read_photo

__all__ = ["still_html"]


def still_html(session, *, width_px=1200, pixels=None) -> str:
    """Draw a photo as it stands now, hand corrections included.

    Parameters
    ----------
    session : ReviewSession
    width_px : int
        Greatest width of the picture.
    pixels : ndarray, shape (height, width[, channels]), optional
        The photo's own where they were read before.

    Returns
    -------
    str
        A self-contained picture as HTML, with a text alternative that says the counts.

    Examples
    --------
    >>> with qckit.open_log(room) as records:
    ...     session = review.ReviewSession(records, records.photos()["photo"].iloc[0])
    ...     print("alt=" in review.still_html(session))
    True
    """
    from qckit.counting import describe_counts, draw_checked

    if pixels is None:
        pixels = read_photo(session.path(), um_per_px=session.um_per_px).pixels
    step = max(1, int(np.ceil(pixels.shape[1] / width_px)))
    pixels = pixels[::step, ::step]
    shown = session.objects[is_counted(session.objects)]
    picture = draw_checked(
        pixels, shown, um_per_px=session.um_per_px, px_per_photo_px=pixels.shape[1] / int(session.info["width_px"])
    )
    buffer = io.BytesIO()
    picture.convert("RGB").save(buffer, "JPEG", quality=80)
    words = f"{session.photo}: {describe_counts(session.counts())}"
    data = base64.b64encode(buffer.getvalue()).decode()
    return isolate_names(
        f'<figure style="margin:0"><img alt="{html.escape(words, quote=True)}" style="max-width:100%" '
        f'src="data:image/jpeg;base64,{data}"><figcaption>{html.escape(words)}</figcaption></figure>'
    )
