"""Draw the painted make: 30 photos with exact truth, of bodies painted in the plane at several times the resolution.

    python tests/photos_painted_make/draw.py OUT, with the options of ``tests/training/drawn_make.py``

Each body is painted on a board of its own at three or four times the photo's resolution (``canvas``): outlines, strokes
and textures (``noise``) in layers of translucent pigment (``palette``), for nauplii in views from above, the side and
the end (``nauplius``), cysts, shells and umbrella stages (``cysts``) and what else lies about (``debris``, ``dirt``). A
relief blown up from the silhouette shades it. Finished boards are laid over a floor, dish, ruled chamber or woven mesh
(``floors``) with their shadows and blur (``light``), by ``scene``, and a ``camera`` with a mosaic sensor takes them.

Invented data for measuring and training, CC0 1.0 as the other photos; sizes, shapes and colours are the biology's, from
memory. Seeds 101 to 103 were trained on from counter 1.12; seed 1 is kept for measuring.
"""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "training"))

import scene
from drawn_make import DrawnPhoto, main


def draw(seed, kind, number, hatched=True):
    """Draw one photo."""
    *drawn, camera = scene.draw(seed, kind, number, hatched)
    return DrawnPhoto(*drawn, {"quality": camera["quality"], "subsampling": camera["chroma"]})


if __name__ == "__main__":
    main(__doc__, scene.KINDS, draw)
