"""The review desk: the widget that shows a photo with marks and takes edits."""

from __future__ import annotations

import math
import secrets
import sqlite3
from pathlib import Path

import anywidget
import traitlets
from sqlalchemy.exc import DBAPIError

from qckit.errors import InputError, QcError, need_text, one_line
from qckit.kept import kept_meanwhile, say_fault
from qckit.object_rows import FOUND
from qckit.photo import read_photo
from qckit.review.browser_store import page_code, site_key
from qckit.review.edits import apply_edit
from qckit.review.sent_pictures import jpeg_of, shrunk
from qckit.review.session import ReviewSession
from qckit.review.settled import order_to_review, say_none_counted
from qckit.review.still import still_html
from qckit.stages import hatched_pct

__all__ = ["ReviewDesk", "open_review"]

_HERE = Path(__file__).parent
_PAGE_CODE = ("desk_marks.js", "desk_queue.js", "desk_view.js", "desk.js")  # joined in this order into one module
_TILE_PX = 1600


class ReviewDesk(anywidget.AnyWidget):
    """Photos of a site with their marks, in a notebook cell.

    Parameters
    ----------
    log : SiteLog
        Open log.
    photos : DataFrame
        photo and, as :func:`order_to_review` gives them, look, n_doubtful and settle; in the order to offer.
    initials : str
        Of who reviews; can be written in the widget too. No edit is taken without.

    Notes
    -----
    The page keeps each edit in a queue until the log has it, and shows how many wait. What a lost kernel left in the
    queue is offered again by the next desk of the same site in the same browser. Where no kernel runs, the still
    picture that is displayed with the desk is what a saved notebook shows.

    Examples
    --------
    >>> with qckit.open_log(room) as records:
    ...     desk = review.open_review(records, initials="op1")
    >>> type(desk).__name__
    'ReviewDesk'
    """

    _esm = page_code(*(_HERE / name for name in _PAGE_CODE))
    _css = _HERE / "desk.css"
    photos = traitlets.List().tag(sync=True)
    photo = traitlets.Unicode().tag(sync=True)
    image = traitlets.Bytes().tag(sync=True)
    base_scale = traitlets.Float(1.0).tag(sync=True)
    width_px = traitlets.Int(0).tag(sync=True)
    height_px = traitlets.Int(0).tag(sync=True)
    marks = traitlets.List().tag(sync=True)
    counts = traitlets.Dict().tag(sync=True)
    hatch = traitlets.Unicode().tag(sync=True)
    advice = traitlets.Unicode().tag(sync=True)
    regions = traitlets.List().tag(sync=True)
    initials = traitlets.Unicode().tag(sync=True)
    site_key = traitlets.Unicode().tag(sync=True)
    count_key = traitlets.Unicode().tag(sync=True)
    step = traitlets.Int(0).tag(sync=True)
    refreshed = traitlets.Int(0).tag(sync=True)

    def __init__(self, log, photos, *, initials="", **kwargs):
        super().__init__(initials=initials, site_key=site_key(log), **kwargs)
        self._log = log
        self._still_id = f"qckit-{secrets.token_hex(8)}"
        self._still_of = None
        self._labels = {p.photo: _label(p) for p in photos.itertuples()}
        self.photos = [list(pair) for pair in self._labels.items()]
        self._show_first()
        self.on_msg(self._on_message)

    def _show_first(self):
        """Show the first photo that can be opened: one whose file is gone keeps nobody from the others."""
        first = None
        for photo in self._labels:
            try:
                return self.show_photo(photo)
            except (QcError, OSError) as error:
                first = first or error
                self._say_in_list(photo, f"{one_line(photo)} (cannot be opened)")
        raise first

    def _say_in_list(self, photo, words):
        """Write words for a photo in the list to choose from."""
        if dict(map(tuple, self.photos)).get(photo) != words:
            self.photos = [[name, words if name == photo else label] for name, label in self.photos]

    def show_photo(self, photo: str) -> None:
        """Show another photo; one that cannot be opened leaves the desk at the photo that it shows."""
        session = ReviewSession(self._log, photo)
        self._pixels, self.session = _pixels(session), session
        small, scale = shrunk(self._pixels)
        with self.hold_sync():
            self._say_in_list(photo, self._labels.get(photo, one_line(photo)))
            self.photo = photo
            self.height_px, self.width_px = (int(self.session.info[k]) for k in ("height_px", "width_px"))
            self.base_scale = scale * self._pixels.shape[1] / max(self.width_px, 1)
            self.image = jpeg_of(small)
            self._refresh()
        self._update_still()

    def _refresh(self):
        """Send marks, counts and advice as the log has them now; the order of a photo stays while it is open."""
        ranked = self.session.ranked()
        if getattr(self, "_order_of", None) != self.session.photo:
            self._order_of, self._order = self.session.photo, list(ranked["object_id"])
        place = {int(i): k for k, i in enumerate(self._order)}
        ranked = ranked.assign(place=[place.get(int(i), len(place)) for i in ranked["object_id"]])
        counts = self.session.counts()
        hatched = hatched_pct(counts)
        with self.hold_sync():
            self.marks = [_mark(o, self.session.um_per_px) for o in ranked.sort_values("place").itertuples()]
            self.counts = counts
            self.hatch = f"{hatched:.1f} %" if hatched == hatched else ""
            self.advice = self.session.advice()
            self.regions = [{**region, "inside": inside} for region, inside in self.session.regions]
            self.count_key, self.step = self.session.count_key, self.session.step
            self.refreshed += 1

    def _on_message(self, _widget, message, _buffers):
        """Take what the page sends; say what came of it."""
        do = message.get("do")
        if do == "tile":
            self._send_tile(message["corners"])
        elif do == "look":
            self._look(message)
        elif do == "save":
            self._save(message["edits"])
        elif do == "open":
            self._open(message["photo"])
        elif do == "still":
            self._update_still()

    def _open(self, photo):
        try:
            self.show_photo(photo)
        except (QcError, OSError) as error:
            self._say_in_list(photo, f"{one_line(photo)} (cannot be opened)")
            self.send({"opened": photo, "text": f"Not opened: {one_line(error)}", "bad": True})
            return
        self.send({"opened": photo, "text": "Opened.", "bad": False})

    def _look(self, message):
        """Answer a page that asks whether the kernel is there, and show what others wrote to the log meanwhile."""
        try:
            news = self.session.catch_up()
        except (QcError, OSError):
            news = False  # the next edit says what is wrong with the log
        if news:
            self._refresh()
        self.send({"looked": message.get("n", 0), "news": news})

    def _save(self, edits):
        """Write edits to the log one after the other; each is answered as soon as the log has it."""
        others: dict[str, ReviewSession] = {}
        fault = ""
        for edit in edits:
            answer = {"answer": edit.get("uid"), "text": fault, "bad": bool(fault), "keep": bool(fault)}
            if not fault:
                answer |= self._saved(edit, others)
                fault = answer["text"] if answer["keep"] else ""
            self.send(answer)
        if not fault:
            self._refresh()

    def _saved(self, edit, others) -> dict:
        """Write one edit; say what came of it, whether it is refused, and whether the page is to keep it."""
        with kept_meanwhile() as kept:
            try:
                session = self._session_of(edit, others)
                session.catch_up()
                text = apply_edit(session, edit)
                return {"text": text} | ({"objects": list(session.undone)} if edit.get("do") == "undo" else {})
            except (QcError, OSError) as error:
                if kept:
                    return {"text": say_fault(error, kept)}
                # a fault of the log is none of the edit: the page keeps it and those after it
                keep = _is_fault_of_the_log(error)
                return {"text": f"Not saved: {one_line(error)}", "bad": True, "keep": keep}

    def _session_of(self, edit, others) -> ReviewSession:
        photo = edit.get("photo") or self.session.photo
        if photo == self.session.photo:
            return self.session
        if photo not in others:
            others[photo] = ReviewSession(self._log, photo)
        return others[photo]

    # ---- the still picture beside the desk
    def _ipython_display_(self, **kwargs):
        """Show the desk, and with it the still picture that stays in a saved notebook."""
        from IPython.display import display

        bundle = self._repr_mimebundle_(**kwargs)
        data, metadata = bundle if isinstance(bundle, tuple) else (bundle, {})
        words = f"Review desk of {self.session.photo}: run this cell to work with it."  # where no kernel runs
        display({**(data or {}), "text/plain": words}, metadata=metadata, raw=True)
        display(self._still(), display_id=self._still_id, raw=True)
        self._still_of = (self.session.photo, self.session.step)

    def _still(self) -> dict:
        return {
            "text/html": f'<div class="qck-still">{still_html(self.session, width_px=900, pixels=self._pixels)}</div>',
            "text/plain": f"{self.session.photo}: {self.counts}",
        }

    def _update_still(self):
        """Bring the still picture along once a photo was left or an edit made, where it is displayed at all."""
        now = (self.session.photo, self.session.step)
        if self._still_of is None or self._still_of == now:
            return
        from IPython.display import update_display

        try:
            update_display(self._still(), display_id=self._still_id, raw=True)
        except (QcError, OSError):
            return  # the photo's file has gone: the picture before stays
        self._still_of = now

    def _send_tile(self, corners):
        """Send a part of the photo in full detail."""
        m, n = self._pixels.shape[:2]
        ratio = n / max(self.width_px, 1)
        x0, y0 = (max(0, math.floor(v * ratio)) for v in corners[:2])
        x1, y1 = min(n, math.ceil(corners[2] * ratio)), min(m, math.ceil(corners[3] * ratio))
        if x1 <= x0 or y1 <= y0:
            return
        part, _ = shrunk(self._pixels[y0:y1, x0:x1], most=_TILE_PX**2)
        self.send({"tile": [x0 / ratio, y0 / ratio, x1 / ratio, y1 / ratio]}, buffers=[jpeg_of(part, 90)])


def _is_fault_of_the_log(error: Exception) -> bool:
    """Tell a log that cannot be reached or written now from an edit that can never be made."""
    return isinstance(error, OSError) or isinstance(error.__cause__, (DBAPIError, sqlite3.Error))


def _label(p):
    doubtful = getattr(p, "n_doubtful", None)
    name = one_line(p.photo)
    if doubtful is None:
        return name
    what = "look at all" if getattr(p, "settle", "no") == "yes" else "look" if p.look == "yes" else "fine"
    return f"{name} ({what}, {doubtful} doubtful)"


def _pixels(session):
    return read_photo(session.path(), um_per_px=session.um_per_px).pixels


def _mark(o, um_per_px):
    """One object as plain values: id, x, y, radius in px, stage, counted, what a hand did, doubt, on an edge."""
    width = o.width_um if o.width_um == o.width_um else 230.0  # an added object has no size: that of a cyst
    state = "" if o.source == FOUND or o.source != o.source else o.source
    counted = 1 if o.counted is True or o.counted == 1 else 0
    return [
        int(o.object_id),
        round(float(o.x_px), 1),
        round(float(o.y_px), 1),
        round(width / um_per_px / 2, 1),
        o.stage,
        counted,
        state,
        round(float(o.doubt), 3),
        1 if o.on_edge is True or str(o.on_edge) in ("True", "1") else 0,  # not known of one added by hand
    ]


def open_review(log, photos=None, *, initials=""):
    """Show counted photos for review, those first where a look helps most.

    Until enough photos are settled to have learnt the camera, those that teach it most come first (``look at all``).

    Parameters
    ----------
    log : SiteLog
        An open log; keep it open while the widget is in use.
    photos : sequence of str, optional
        Names of photos; all counted ones when left out.
    initials : str
        Of who reviews.

    Returns
    -------
    ReviewDesk

    Raises
    ------
    InputError
        No such photo, or none is counted yet.

    Examples
    --------
    >>> with qckit.open_log(room) as records:
    ...     desk = review.open_review(records, initials="op1")
    >>> type(desk).__name__
    'ReviewDesk'
    """
    known = log.photos()
    if photos is not None:
        names = list(photos)
        for name in names:
            ReviewSession(log, name)
        known = known[known["photo"].isin(names)]
    if known.empty:
        raise InputError(say_none_counted(log))
    initials = need_text("initials", initials)
    return ReviewDesk(log, order_to_review(known, log.objects()), initials=initials)
