"""What lies in a photo: how many of each stage, how large, and where each body comes to rest."""

from dataclasses import dataclass

import numpy as np
from rendered_bodies import Lot, cyst, nauplius, shell, umbrella
from rendered_others import OTHERS

KINDS = {
    "bright": 6,
    "chamber": 3,
    "wide": 2,
    "black": 4,
    "dark field": 2,
    "grey": 2,
    "white": 2,
    "dish": 4,
    "sieve": 5,
}
BELOW = ("bright", "chamber", "wide", "dark field")
SCALES = {
    "wide": (10, 12),
    "sieve": (8.5, 12),
    "dish": (6.5, 10),
    "black": (5.5, 9),
    "grey": (5.5, 9),
    "white": (5.5, 9),
}
CROWDS = {"wide": (90, 180), "sieve": (110, 230), "dish": (50, 160), "chamber": (40, 110)}
STACK_MM = 0.16  # a body that would come to lie higher than this looks for another place


@dataclass(frozen=True)
class Setup:
    """How one photo is set up."""

    name: str
    kind: str
    from_below: bool
    width_px: int
    height_px: int
    um_per_px: float
    lot: Lot
    hatched: float  # share of full cysts that hatched
    number: int  # nauplii, umbrella stages and cysts, the surroundings of the frame included
    water_mm: float
    dry: float
    eyepiece: bool
    rim: tuple | None = None  # of a dish: x and y of its middle, its radius and half its wall [mm]

    @property
    def size_mm(self):
        """Width and height of the frame [mm]."""
        return self.width_px * self.um_per_px / 1000, self.height_px * self.um_per_px / 1000


def setups(seed):
    """Return the set-ups of all photos of a seed, the share hatched spread evenly over 5 to 95 %."""
    rng = np.random.default_rng([seed, 1])
    total = sum(KINDS.values())
    hatched = rng.permutation(0.05 + 0.9 * (np.arange(total) + rng.uniform(0, 1, total)) / total)
    out = []
    for kind, number in KINDS.items():
        for k in range(number):
            name = f"{kind.replace(' ', '')}-{k + 1:02d}"
            out.append(_setup(np.random.default_rng([seed, 2, len(out)]), name, kind, k, hatched[len(out)]))
    return out


def _setup(rng, name, kind, k, hatched):
    below = kind in BELOW or (kind == "sieve" and k % 2 == 0)
    um = rng.uniform(*SCALES.get(kind, (5, 8)))
    width = int(rng.integers(90, 119)) * 10
    height = min(int(width * rng.choice([0.7, 0.75, 0.78]) / 10) * 10, 1000)
    area = width * height * um**2 / 1e6
    wanted = rng.uniform(*CROWDS.get(kind, (40, 150)))
    number = int(min(wanted, area * 4.2))
    lot = Lot(rng.uniform(0.205, 0.275), rng.uniform(0.41, 0.5), rng.choice([0.02, 0.1, 0.5], p=[0.5, 0.3, 0.2]))
    water = rng.uniform(0.12, 0.2) if kind == "sieve" else rng.uniform(0.3, 0.9)
    dry = rng.uniform(0.2, 0.7) if kind == "sieve" else 0.0
    eyepiece = kind in ("bright", "black", "white", "dark field") and rng.random() < 0.22
    rim = _rim(rng, width * um / 1000) if kind == "dish" and rng.random() < 0.5 else None
    return Setup(name, kind, below, width, height, um, lot, hatched, number, water, dry, eyepiece, rim)


def _rim(rng, width_mm):
    """A dish so large, and so placed, that its wall crosses the picture near a side."""
    radius, a = rng.uniform(14, 24), rng.uniform(0, 2 * np.pi)
    away = width_mm * rng.uniform(0.28, 0.42) - radius
    return away * np.cos(a), away * np.sin(a), radius, rng.uniform(0.35, 0.7)


def _wanted(setup, rng):
    """Functions that make the bodies of a photo, in the order in which they are laid down."""
    lot, n = setup.lot, setup.number
    stalled = rng.choice([rng.uniform(0.01, 0.08), rng.uniform(0.1, 0.25)], p=[0.65, 0.35])
    n_umbrella = rng.binomial(n, stalled * (1 - 0.4 * setup.hatched))
    n_nauplius = rng.binomial(n - n_umbrella, setup.hatched)
    n_cyst = n - n_umbrella - n_nauplius
    n_shell = rng.poisson(n_nauplius * rng.uniform(0.25, 0.9) + 0.04 * n)
    second = rng.uniform(0.05, 0.25) if rng.random() < 0.3 else 0.01
    dead, bare = rng.uniform(0.01, 0.07), 0.06 if rng.random() < 0.15 else 0.0
    forms = rng.choice(
        ["instar I", "instar II", "dead", "torn"], n_nauplius, p=[1 - second - dead, second, dead * 0.7, dead * 0.3]
    )
    makers = [lambda rng, f=f: nauplius(rng, lot, str(f)) for f in forms]
    makers += [lambda rng, b=b: cyst(rng, lot, bare=b) for b in rng.random(n_cyst) < bare]
    makers += [lambda rng: umbrella(rng, lot)] * n_umbrella + [lambda rng: shell(rng, lot)] * n_shell
    kinds = list(OTHERS)
    weights = np.array(list(OTHERS.values())) * np.exp(rng.normal(0, 0.6, len(kinds)))
    number = rng.poisson(rng.uniform(4, 14))
    chosen = rng.choice(len(kinds), number, p=weights / weights.sum())
    makers += [lambda rng, make=kinds[i]: make(rng, lot) for i in chosen]
    return [makers[i] for i in rng.permutation(len(makers))]


def rest_height(balls, placed):
    """Lowest height at which a body's balls (k, 4) rest on the ground and on balls that lie there (n, 4)."""
    height = (balls[:, 3] - balls[:, 2]).max()
    if len(placed):
        apart = np.hypot(balls[:, None, 0] - placed[None, :, 0], balls[:, None, 1] - placed[None, :, 1])
        reach = balls[:, None, 3] + placed[None, :, 3]
        over = apart < reach
        if over.any():
            on = placed[None, :, 2] + np.sqrt(np.clip(reach**2 - apart**2, 0, None)) - balls[:, None, 2]
            height = max(height, on[over].max())
    return height


def _in_dish(setup, x, y):
    """Whether a place lies clear of the dish's wall."""
    if setup.rim is None:
        return True
    middle_x, middle_y, radius, wall = setup.rim
    return np.hypot(x - middle_x, y - middle_y) < radius - wall - 0.3


def laid_down(setup, rng):
    """Return the bodies of a photo, each in its place."""
    half = np.array(setup.size_mm) / 2 + 0.25
    clumped = rng.choice([0.08, 0.25, 0.45], p=[0.45, 0.35, 0.2])
    swims = rng.choice([0.0, 0.12, 0.35]) if setup.kind != "sieve" else 0.0
    moving = 0.4 * (rng.random() < 0.2)
    floats = rng.choice([0.1, 0.5]) if setup.kind != "sieve" else 0.0
    bodies, placed, spots = [], np.zeros((0, 4)), []
    for make in _wanted(setup, rng):
        body = make(rng)
        lowest = (body.balls[:, 3] - body.balls[:, 2]).max()
        best = None
        near = spots[rng.integers(len(spots))] if spots and rng.random() < clumped else None
        for _ in range(14):
            spot = rng.uniform(-half, half)
            if near is not None:
                a, r = rng.uniform(0, 2 * np.pi), rng.uniform(0.14, 0.42)
                spot = np.clip(near + r * np.array([np.cos(a), np.sin(a)]), -half, half)
            z = rest_height(body.balls + np.array([*spot, 0, 0]), placed)
            if best is None or z < best[2]:
                best = (*spot, z)
            if z - lowest < (0.02 if rng.random() < 0.8 else STACK_MM):
                break
        x, y, z = best
        if z - lowest > 0.3 or not _in_dish(setup, x, y):
            continue
        if body.stage == "nauplius" and rng.random() < swims:
            body.floats = rng.uniform(0, max(setup.water_mm - 0.15, 0.02))
            if rng.random() < moving:
                a, way = rng.uniform(0, 6.3), rng.uniform(0.015, 0.05)
                body.drift = (way * np.cos(a), way * np.sin(a))
        if body.stage == "shell" and rng.random() < floats:
            body.floats = max(setup.water_mm - 0.12, 0)
        body.place = np.array([x, y, max(z, lowest + body.floats)])
        bodies.append(body)
        spots.append(np.array([x, y]))
        placed = np.concatenate([placed, body.balls + np.array([*body.place, 0])])
    return bodies
