"""Draw the traced make: 30 photos with exact truth, of bodies in three dimensions with rays traced through them.

    python tests/photos_traced_make/draw.py OUT, with the options of ``tests/training/drawn_make.py``

Bodies are skeletons of capsules, ellipsoids and thin broken walls in space (``sheet``, ``eggs``, ``animals``). Where a
ray along the optical axis enters and leaves each of them has a closed form; the matter in between absorbs, scatters and
refracts (``bodies``). Light then goes through the bodies, falls upon them or passes beside them (``lights``), over a
floor, dish, ruled chamber or woven sieve (``floors``, ``scenes``), to a ``camera``.

Invented data for measuring and training, CC0 1.0 as the other photos; sizes, shapes and colours are the biology's, from
memory. Seeds 101 to 103 were trained on from counter 1.12; seed 1 is kept for measuring.
"""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "training"))

import numpy as np
import truth
from bodies import build
from camera import shoot
from crowd import place
from drawn_make import DrawnPhoto, main
from scenes import KINDS, MAKERS, compose


def draw(seed, kind, number, hatched=True):
    """Draw one photo."""
    name = f"s{seed}-{kind}-{number}"
    rng = np.random.default_rng([seed, list(KINDS).index(kind), number, int(hatched)])
    scene = MAKERS[kind](rng)
    shape = (scene["h"], scene["w"])
    bodies = [build(p, scene["um"], scene["focus_um"], scene["depth"]) for p in place(rng, scene, hatched)]
    lost = truth.hidden(bodies, truth.stack(bodies, shape))
    bodies = [b for k, b in enumerate(bodies) if k not in lost]
    light, open_part = compose(scene, bodies, rng)
    ids = truth.stack(bodies, shape, open_part)
    objects = truth.rows(name, bodies, ids, open_part)
    picture = shoot(light, rng, scene)
    quality = int(np.random.default_rng([seed, number]).integers(80, 96))
    return DrawnPhoto(name, picture, ids, truth.summary(name, scene, objects), objects, {"quality": quality})


if __name__ == "__main__":
    main(__doc__, KINDS, draw)
