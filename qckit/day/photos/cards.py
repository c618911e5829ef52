"""Cards to photograph: a photo of a card says which cone and kind of sample the photos after it belong to.

A card carries a QR code, the same in plain words, and a ruled strip. A code's side is of known length, so that a card
lying in the plane of a dish gives the scale of that photo too; a small slip with a code of its own serves where the
picture is only a few centimetres wide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from pathlib import Path
from urllib.parse import quote, unquote

import numpy as np

from qckit.errors import InputError
from qckit.photo import read_photo

__all__ = ["CODE_MM", "Card", "CardSeen", "cards_page", "find_card", "read_text"]

CODE_MM = 30.0
"""Side of the printed code, without its white border. [mm]"""

SLIP_MM = 8.0
"""Side of the code on a scale slip. [mm]"""

STRIP_MM = 50
SCALE = "scale"
KINDS = {"subsample": "subsamples", "sieve": "sieve sample", "harvest": "harvest", SCALE: "scale slip"}
_MARK = "QCKIT1"
_TILT = 0.04  # sides of the code may differ by so much: more is too tilted to measure by
_CORNER_PX = 1.0  # standard uncertainty of a corner's place (ours, see tests/day/test_day_cards.py)


@dataclass(frozen=True)
class Card:
    """What a card says: cone, kind of sample, the lot it was printed for (empty: any), its code's side. [mm]"""

    cone: str
    kind: str = "subsample"
    lot: str = ""
    side_mm: float = CODE_MM

    @property
    def text(self) -> str:
        """What the code holds."""
        return ";".join(
            [_MARK, *(quote(part, safe="") for part in (self.cone, self.kind, self.lot)), f"{self.side_mm:g}"]
        )


@dataclass(frozen=True)
class CardSeen:
    """A card found in a photo: where, how large, and the scale its code gives."""

    card: Card
    share: float  # of the photo's area that the code covers
    um_per_px: float  # NaN where the code is too tilted or too small to measure by
    u_um_per_px: float = math.nan


def read_text(text: str) -> Card | None:
    """Read what a code holds; None for a code of another kind."""
    parts = text.split(";")
    if len(parts) != 5 or parts[0] != _MARK or unquote(parts[2]) not in KINDS:
        return None
    cone, kind, lot = (unquote(part) for part in parts[1:4])
    try:
        side = float(parts[4])
    except ValueError:
        return None
    return Card(cone, kind, lot, side) if side > 0 and (cone or kind == SCALE) else None


def find_card(pixels: np.ndarray) -> CardSeen | None:
    """Look for a card in a photo.

    Parameters
    ----------
    pixels : (M, N, 3) or (M, N) ndarray of uint8
        Upright, full size: the scale refers to these pixels.

    Returns
    -------
    CardSeen or None
        The largest card where there are several.
    """
    import zxingcpp

    grey = pixels if pixels.ndim == 2 else np.asarray(pixels[..., :3].mean(axis=-1), dtype=np.uint8)
    found = zxingcpp.read_barcodes(np.ascontiguousarray(grey), formats=zxingcpp.BarcodeFormat.QRCode)
    found_cards = [_measured(card, code.position, grey.shape) for code in found if (card := read_text(code.text))]
    return max(found_cards, key=lambda one: one.share, default=None)


def _measured(card: Card, position, shape) -> CardSeen:
    """Work out a code's share of the photo, and the scale from its four sides."""
    corners = [position.top_left, position.top_right, position.bottom_right, position.bottom_left]
    points = np.array([(point.x, point.y) for point in corners], dtype=float)
    sides = np.hypot(*(points - np.roll(points, -1, axis=0)).T)
    x, y = points.T
    area = abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2
    share = area / (shape[0] * shape[1])
    side = float(sides.mean())
    if side < 60 or sides.max() - sides.min() > _TILT * side:
        return CardSeen(card, share, math.nan)
    um_per_px = 1000 * card.side_mm / side
    spread = float(sides.std(ddof=1)) / 2  # of the mean of four sides
    return CardSeen(card, share, um_per_px, um_per_px * math.hypot(spread, _CORNER_PX / math.sqrt(2)) / side)


# ---- the page to print --------------------------------------------------------------------------------------------

_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Cards of {site}</title>
<style>
@page {{ size: A4; margin: 10mm; }}
body {{ margin: 0; font: 11pt/1.3 "Helvetica Neue", Arial, sans-serif; color: #000; background: #fff; }}
header {{ max-width: 180mm; margin: 4mm; }}
main {{ display: flex; flex-wrap: wrap; gap: 4mm; }}
.card {{ width: 88mm; height: 62mm; border: .4mm dashed #000; box-sizing: border-box; padding: 4mm; display: grid;
  grid-template-columns: 40mm 1fr; gap: 1mm 3mm; break-inside: avoid; overflow: hidden; }}
.card .code {{ width: 40mm; height: 40mm; }}
.card .cone {{ font-size: 34pt; font-weight: 700; line-height: 1; margin: 0; overflow-wrap: anywhere; }}
.card p {{ margin: 1mm 0; overflow-wrap: anywhere; }}
.slip {{ width: 22mm; border: .3mm dashed #000; padding: 2mm; font-size: 7pt; line-height: 1.1; break-inside: avoid; }}
.slip svg {{ width: 12mm; height: 12mm; display: block; }}
.card .strip {{ grid-column: 1 / 3; width: 56mm; height: 10mm; }}
@media print {{ header {{ font-size: 9pt; }} }}
@media screen {{ body {{ padding: 4mm; }} }}
</style></head><body>
<header><strong>Cards of
<bdi>{site}</bdi></strong>. Print at 100 % (not "fit to page"): the strip must measure {strip} mm. Toner
does not run as ink does; keep each card in a clear sleeve or laminated without gloss. Photograph the cone's card so
that it fills the picture, then that cone's samples; the photos after a card belong to it. A card that lies small
beside a dish, flat and in the same plane, gives that photo its scale.</header>
<main>{cards}</main>
<p style="margin: 4mm">Scale slips: cut out; one beside the dish, flat and in its plane, tells how large a pixel is.</p>
<main>{slips}</main>
</body></html>
"""

_CARD = """<section class="card" aria-label="card of cone {cone}">
<svg class="code" viewBox="0 0 40 40" role="img" aria-label="code of cone {cone}, {kind}">{code}</svg>
<div><p class="cone"><bdi>{cone}</bdi></p><p>{kind}</p><p><bdi>{lot}</bdi></p>
<p><small><bdi>{site}</bdi></small></p></div>
<svg class="strip" viewBox="0 0 56 10" role="img" aria-label="strip of {strip} mm">{ruler}</svg>
</section>"""


def cards_page(site: str, cards: list[Card]) -> str:
    """Write the page of cards.

    Parameters
    ----------
    site : str
        Name of the site.
    cards : list of Card

    Returns
    -------
    str
        HTML for A4 paper, eight cards a page; nothing is fetched from elsewhere.
    """
    if not cards:
        raise InputError("There is no card to print: no cone is named in qckit.toml, section [protocol].")
    parts = [
        _CARD.format(
            cone=escape(card.cone),
            kind=escape(KINDS[card.kind]),
            lot=escape(f"lot {card.lot}" if card.lot else "any lot"),
            site=escape(site),
            code=_code(card, 40),
            ruler=_ruler(),
            strip=STRIP_MM,
        )
        for card in cards
    ]
    slip = Card("", SCALE, side_mm=SLIP_MM)
    slips = f'<div class="slip"><svg viewBox="0 0 12 12">{_code(slip, 12)}</svg>code {SLIP_MM:g} mm</div>' * 6
    return _PAGE.format(site=escape(site), cards="\n".join(parts), slips=slips, strip=STRIP_MM)


def _code(card: Card, box_mm: float) -> str:
    """Draw the code, its side as the card says, in the middle of a white box."""
    import segno

    rows = [list(row) for row in segno.make(card.text, error="q", micro=False).matrix]
    step, edge = card.side_mm / len(rows), (box_mm - card.side_mm) / 2
    path = "".join(
        f"M{edge + x * step:.4f} {edge + y * step:.4f}h{step:.4f}v{step:.4f}h-{step:.4f}z"
        for y, row in enumerate(rows)
        for x, dark in enumerate(row)
        if dark
    )
    white = f'<rect width="{box_mm:g}" height="{box_mm:g}" fill="#fff"/>'
    return f'{white}<path d="{path}" fill="#000" shape-rendering="crispEdges"/>'


def _ruler() -> str:
    """Draw the strip: a line of known length with a tick each millimetre."""
    ticks = "".join(
        f'<line x1="{2 + mm}" x2="{2 + mm}" y1="1" y2="{5 if mm % 10 == 0 else 4 if mm % 5 == 0 else 3}" '
        f'stroke="#000" stroke-width=".15"/>'
        for mm in range(STRIP_MM + 1)
    )
    labels = "".join(
        f'<text x="{2 + mm}" y="8.4" font-size="3" text-anchor="middle">{mm}</text>'
        for mm in range(0, STRIP_MM + 1, 10)
    )
    return f'<line x1="2" x2="{2 + STRIP_MM}" y1="1" y2="1" stroke="#000" stroke-width=".15"/>{ticks}{labels}'


def cards_for(settings, lots: tuple[str, ...] = (), kinds: tuple[str, ...] = ("subsample", "sieve")) -> list[Card]:
    """List a site's cards: one for each cone, kind and lot (any lot where none is named)."""
    return [Card(cone, kind, lot) for lot in (lots or ("",)) for kind in kinds for cone in settings.protocol.cone_names]


def card_in_file(path: str | Path) -> tuple[CardSeen | None, str | None]:
    """Look for a card in a photo file; return it and the time the photo was taken."""
    photo = read_photo(path)
    return find_card(photo.pixels), photo.taken
