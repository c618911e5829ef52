"""Drawn practice photos with known truth: simple renderings for tests and teaching, no substitute for real photos.

Sizes follow published ones: hydrated cysts 224 to 330 µm by strain, instar I 428 to 517 µm in most (Vanhaecke and
Sorgeloos 1980, in The Brine Shrimp Artemia vol. 3); colours and shapes are ours.
"""

from __future__ import annotations

import numpy as np

from qckit.errors import InputError, unknown_name
from qckit.stages import CLASSES

__all__ = ["SCENE_KINDS", "TRUTH_COLUMNS", "draw_scene"]

SCENE_KINDS = ("bright", "dark")
TRUTH_COLUMNS = ("object_id", "stage", "x_px", "y_px", "angle_deg", "length_um", "width_um")
_FINE = 3  # drawn this many times larger, then averaged down: smooth edges
_COUNTS = {"nauplius": 24, "umbrella": 3, "cyst": 10, "shell": 18, "debris": 6}
_LOOK = {
    "bright": {
        "ground": (214, 209, 198),
        "body": (176, 104, 48),
        "yolk": (150, 78, 30),
        "limb": (170, 128, 88),
        "eye": (70, 16, 14),
        "cyst": (96, 58, 30),
        "gloss": (164, 120, 80),
        "shell": (176, 150, 118),
        "rim": (128, 98, 66),
        "membrane": (196, 184, 166),
        "debris": (120, 112, 100),
    },
    "dark": {
        "ground": (17, 19, 24),
        "body": (226, 142, 64),
        "yolk": (240, 164, 84),
        "limb": (168, 132, 98),
        "eye": (120, 26, 20),
        "cyst": (150, 92, 48),
        "gloss": (222, 168, 112),
        "shell": (96, 84, 70),
        "rim": (176, 150, 118),
        "membrane": (70, 72, 76),
        "debris": (86, 88, 92),
    },
}


def draw_scene(
    seed,
    *,
    kind: str = "bright",
    um_per_px: float = 5.0,
    size=(900, 1200),
    counts=None,
    cyst_um=244.0,
    nauplius_um=486.0,
    blur_um: float = 4.0,
):
    """Draw one practice photo.

    Parameters
    ----------
    seed : int
        The same seed gives the same photo.
    kind : str
        ``bright`` or ``dark`` (bright or dark field).
    um_per_px : float
        Scale. [µm/px] The same seed at another scale is another photo with sizes to match.
    size : (int, int)
        Height and width. [px]
    counts : dict of str to int, optional
        How many of each stage (and ``debris``); a photo of about 55 objects when left out.
    cyst_um, nauplius_um : float
        Mean diameter of a cyst and length of a nauplius. [µm]
    blur_um : float
        Standard deviation of the blur. [µm] 0 is sharp.

    Returns
    -------
    image : ndarray of uint8, shape (height, width, 3)
    truth : DataFrame, columns ``TRUTH_COLUMNS``
        One row per object, debris among them, in the order drawn. Objects lie wholly inside the photo and apart
        from each other while there is room.

    Raises
    ------
    InputError
        The kind or a stage is unknown, the scale is not above 0, or the photo is too small for one nauplius.
    """
    import pandas as pd
    from PIL import Image, ImageDraw, ImageFilter

    counts = _checked(kind, um_per_px, size, _COUNTS if counts is None else counts, nauplius_um)
    rng = np.random.default_rng(seed)
    height, width = size
    look, fine = _LOOK[kind], _FINE / um_per_px
    ground = _ground(height, width, look["ground"], kind, rng)
    picture = Image.fromarray(ground).resize((width * _FINE, height * _FINE), Image.Resampling.BILINEAR)
    rows, placed = [], []
    stages = [s for s in reversed(_DRAW) for _ in range(counts[s])]
    canvas = ImageDraw.Draw(picture, "RGBA")
    for number, stage in enumerate(stages, start=1):
        length, breadth = _extent(stage, cyst_um, nauplius_um, rng)
        x, y = _place(placed, 0.62 * length / um_per_px, (width, height), rng)
        angle = float(rng.uniform(0, 360))
        pen = _Pen(canvas=canvas, x=x * _FINE, y=y * _FINE, angle=angle, fine=fine, rng=rng)
        _DRAW[stage](pen, look, length, breadth)
        rows.append((number, stage, x, y, angle, length, breadth))
    picture = picture.resize((width, height), Image.Resampling.BOX)
    if blur_um > 0:
        picture = picture.filter(ImageFilter.GaussianBlur(blur_um / um_per_px))
    grain = rng.normal(0, 2.5, (height, width, 1)) + rng.normal(0, 1.2, (height, width, 3))
    image = np.clip(np.asarray(picture, dtype=float) + grain, 0, 255).astype(np.uint8)
    return image, pd.DataFrame(rows, columns=list(TRUTH_COLUMNS))


def _checked(kind, um_per_px, size, counts, nauplius_um):
    """Return counts for every stage, or say what is wrong."""
    if kind not in SCENE_KINDS:
        raise unknown_name("kind of scene", kind, SCENE_KINDS)
    if not um_per_px > 0:
        raise InputError(f"um_per_px is {um_per_px!r} and must be above 0. Give the scale in µm per pixel.")
    for stage, n in counts.items():
        if stage not in CLASSES:
            raise unknown_name("stage", stage, CLASSES, where="counts")
        if n and stage not in _DRAW:
            raise InputError(
                f"counts: no scene draws the stage {stage}. Leave it out, or say in practice/scenes.py how it looks."
            )
    if min(size) * um_per_px < 2 * nauplius_um:
        raise InputError(
            f"size is {size[0]} x {size[1]} px, {min(size) * um_per_px:.0f} µm on the short side: too small for a "
            f"nauplius. Make it at least {int(np.ceil(2 * nauplius_um / um_per_px))} px."
        )
    return {stage: int(counts.get(stage, 0)) for stage in CLASSES}


def _ground(height, width, colour, kind, rng):
    """Uneven light: a soft spot off the middle, darker corners."""
    y, x = np.mgrid[0 : 1 : height * 1j, 0 : 1 : width * 1j]
    cx, cy = rng.uniform(0.35, 0.65, 2)
    fall = 1.0 - (0.22 if kind == "bright" else 0.35) * ((x - cx) ** 2 + (y - cy) ** 2)
    return np.clip(fall[:, :, None] * np.array(colour, dtype=float), 0, 255).astype(np.uint8)


def _extent(stage, cyst_um, nauplius_um, rng):
    """Length and breadth of one object. [µm]"""
    if stage == "nauplius":
        length = nauplius_um * rng.normal(1, 0.05)
        return float(length), float(length * rng.uniform(0.34, 0.40))
    if stage == "umbrella":
        d = cyst_um * rng.normal(1, 0.05)
        return float(d * rng.uniform(1.55, 1.8)), float(d)
    if stage == "debris":
        d = float(rng.uniform(30, 160))
        return d, float(d * rng.uniform(0.2, 0.8))
    d = float(cyst_um * rng.normal(1, 0.05))
    return (d, d) if stage == "cyst" else (d * 1.02, float(d * rng.uniform(0.55, 1.0)))


def _place(placed, reach, size, rng):
    """A place inside the photo, apart from the others while there is room."""
    best, gap = None, -np.inf
    for _ in range(200):
        x, y = (float(rng.uniform(reach, s - reach)) for s in size)
        free = min((np.hypot(x - a, y - b) - reach - r for a, b, r in placed), default=np.inf)
        if free > gap:
            best, gap = (x, y), free
        if free > 0:
            break
    placed.append((*best, reach))
    return best


class _Pen:
    """Draws in µm about one object's middle, turned by its angle."""

    def __init__(self, canvas, x, y, angle, fine, rng):
        self.canvas, self.x, self.y, self.fine, self.rng = canvas, x, y, fine, rng
        self.cos, self.sin = np.cos(np.radians(angle)), np.sin(np.radians(angle))

    def points(self, along, across):
        """Turn µm along and across the object into pixels of the fine canvas."""
        u, v = np.asarray(along) * self.fine, np.asarray(across) * self.fine
        return list(
            zip((self.x + u * self.cos - v * self.sin).tolist(), (self.y + u * self.sin + v * self.cos).tolist())
        )

    def oval(self, along, across, length, breadth, colour, alpha=255, *, pinch=0.0, arc=(0.0, 360.0)):
        """A filled oval, narrower to one end by ``pinch``; or the part of it between two angles."""
        t = np.radians(np.linspace(*arc, 72))
        u = along + length / 2 * np.cos(t)
        v = across + breadth / 2 * np.sin(t) * (1 - pinch * np.cos(t))
        self.canvas.polygon(self.points(u, v), fill=(*colour, alpha))

    def line(self, along, across, width_um, colour, alpha=255):
        """A line through points."""
        width = max(1, round(width_um * self.fine))
        self.canvas.line(self.points(along, across), fill=(*colour, alpha), width=width, joint="curve")


def _nauplius(pen, look, length, breadth):
    side = breadth / 2
    for at, reach, sweep in ((0.28, 1.5, 0.18), (0.18, 3.3, -0.12), (0.02, 1.8, -0.2)):  # three pairs of limbs
        for sign in (-1, 1):
            bend = pen.rng.uniform(-0.05, 0.05)
            u = length * np.array([at, at + sweep / 2 + bend, at + sweep + bend])
            v = sign * side * np.array([0.6, 0.6 + reach / 3, reach * 0.75])
            pen.line(u, v, 26, look["limb"], 235)
            for k in (0.35, 0.7, 1.0):  # bristles
                pen.line([u[2], u[2] - 0.09 * length * k], [v[2], v[2] + sign * 26 * k], 7, look["limb"], 170)
    pen.oval(-0.02 * length, 0, 0.94 * length, breadth, colour=look["body"], alpha=245, pinch=-0.30)
    pen.oval(-0.10 * length, 0, 0.62 * length, 0.62 * breadth, colour=look["yolk"], alpha=190, pinch=-0.3)
    pen.oval(0.36 * length, 0, 34, 34, look["eye"])


def _umbrella(pen, look, length, breadth):
    cup = -length / 2 + breadth / 2
    pen.oval(cup, 0, breadth, breadth, colour=look["shell"], alpha=200)
    pen.oval(cup, 0, breadth, breadth, colour=look["rim"], alpha=235, arc=(100, 260))
    pen.oval(0.17 * length, 0, 0.66 * length, 0.80 * breadth, colour=look["membrane"], alpha=150)
    pen.oval(0.14 * length, 0, 0.56 * length, 0.66 * breadth, colour=look["body"], alpha=245, pinch=-0.2)
    pen.oval(0.30 * length, 0, 24, 24, look["eye"])


def _cyst(pen, look, length, breadth):
    pen.oval(0, 0, length, breadth, look["rim"])
    pen.oval(0, 0, 0.93 * length, 0.93 * breadth, look["cyst"])
    for k in (0.55, 0.4, 0.25):
        pen.oval(-0.14 * length, -0.14 * breadth, k * length, k * breadth, colour=look["gloss"], alpha=60)


def _shell(pen, look, length, breadth):
    pen.oval(0, 0, length, breadth, colour=look["shell"], alpha=120)
    pen.oval(0, 0, 0.9 * length, 0.86 * breadth, colour=look["ground"], alpha=70)
    t = np.radians(np.linspace(25, 335, 60))  # a thin rim, open where it split
    pen.line(length / 2 * np.cos(t), breadth / 2 * np.sin(t), 13, look["rim"], 220)


def _debris(pen, look, length, breadth):
    rough = pen.rng.uniform(0.6, 1.0, 9)
    t = np.linspace(0, 2 * np.pi, 9, endpoint=False)
    pen.canvas.polygon(
        pen.points(length / 2 * np.cos(t) * rough, breadth / 2 * np.sin(t) * rough), fill=(*look["debris"], 210)
    )


# later ones lie below earlier ones; a stage that is missing here stands in no scene
_DRAW = {"nauplius": _nauplius, "umbrella": _umbrella, "cyst": _cyst, "shell": _shell, "debris": _debris}
