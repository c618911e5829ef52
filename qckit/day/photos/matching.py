"""Which sample a photo belongs to: by the card before it, by the cone in its name, or by the protocol's order."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import PurePath

from qckit.day.photos.cards import SCALE, CardSeen

__all__ = ["Match", "PhotoSeen", "match_photos"]

_CARD_SHARE = 0.03
"""A code that covers more of a photo than this is a photo of the card; a smaller one lies beside a dish (ours)."""

_CARD_LASTS = dt.timedelta(minutes=30)  # a card photographed longer ago says nothing (ours)


@dataclass(frozen=True)
class PhotoSeen:
    """A new photo: its file name, when it was taken, the card in it."""

    name: str
    taken: dt.datetime
    card: CardSeen | None = None

    @property
    def is_of_card(self) -> bool:
        """Whether it was taken to show a card, not a sample."""
        return self.card is not None and self.card.card.kind != SCALE and self.card.share > _CARD_SHARE


@dataclass(frozen=True)
class Match:
    """What one photo is taken for; always shown and confirmed before anything is written."""

    name: str
    cone: str  # empty: nothing tells
    kind: str
    number: int  # of the photos of that cone and kind in this batch
    how: str  # card, name, order, or nothing
    um_per_px: float = float("nan")  # from a card in the photo itself


def match_photos(photos: list[PhotoSeen], cones: tuple[str, ...], *, subsamples: int) -> list[Match]:
    """Match photos with cones.

    Parameters
    ----------
    photos : list of PhotoSeen
        In any order.
    cones : tuple of str
        Cones that wait for their count, in the protocol's order.
    subsamples : int
        Photos that the protocol asks for per cone.

    Returns
    -------
    list of Match
        In the order of time; photos of cards are left out.
    """
    found: list[Match] = []
    counts: Counter = Counter()
    card: PhotoSeen | None = None
    for photo in sorted(photos, key=lambda one: (one.taken, one.name)):
        if photo.is_of_card:
            card = photo
            continue
        if card is not None and photo.taken - card.taken > _CARD_LASTS:
            card = None
        cone, kind, how = _belongs(photo, card, cones, counts, subsamples)
        counts[cone, kind] += 1
        if how == "card":
            card = PhotoSeen(card.name, photo.taken, card.card) if card is not None else None
        scale = photo.card.um_per_px if photo.card is not None else float("nan")
        found.append(Match(name=photo.name, cone=cone, kind=kind, number=counts[cone, kind], how=how, um_per_px=scale))
    return found


def _belongs(photo: PhotoSeen, card: PhotoSeen | None, cones, counts: Counter, subsamples: int):
    """Return cone, kind and how it is known."""
    own_card = photo.card if photo.card is not None and photo.card.card.kind != SCALE else None
    near = own_card or (card.card if card is not None else None)
    if near is not None:
        return near.card.cone, near.card.kind, "card"
    named = _cone_in(photo.name, cones)
    if named:
        return named, "subsample", "name"
    for cone in cones:
        if counts[cone, "subsample"] < subsamples:
            return cone, "subsample", "order"
    return "", "subsample", "nothing"


def _cone_in(name: str, cones: tuple[str, ...]) -> str:
    """Find the one cone whose name stands alone in a file name."""
    words = {word.casefold() for word in re.split(r"[^0-9A-Za-zÀ-ɏ]+", PurePath(name).stem) if word}
    hits = [cone for cone in cones if cone.casefold() in words]
    return hits[0] if len(hits) == 1 else ""
