"""Which bodies lie where: a crowd with touching pairs and small clumps, no heaps."""

import numpy as np
from bodies import pick, plan_body
from eggs import make_lot


def choose_lot(rng):
    """A lot and the state of its hatch: shares that set how the photo is mixed."""
    lot = make_lot(rng)
    lot["dented"] = rng.choice([0.03, 0.08, 0.3], p=[0.5, 0.35, 0.15])
    lot["bare_share"] = rng.choice([0.0, 0.08, 0.35], p=[0.7, 0.2, 0.1])
    lot["second_share"] = rng.choice([0.0, 0.06, 0.5], p=[0.4, 0.4, 0.2])
    lot["dead_share"] = rng.choice([0.03, 0.2], p=[0.8, 0.2])
    lot["dirt"] = {
        "rotifer": rng.uniform(0, 1),
        "copepod": rng.choice([0, 0.5]),
        "moult": rng.uniform(0, 0.7),
        "grain": 1.0,
        "algae": 0.9,
        "fibre": 0.8,
        "bubble": rng.choice([0.2, 0.9]),
    }
    return lot


def mix(rng, hatched=True):
    """Shares of the stages in one photo."""
    rate = rng.choice([rng.uniform(0.65, 0.95), rng.uniform(0.2, 0.65)], p=[0.65, 0.35])
    shells = rng.choice([0.25, 0.8, 1.2]) * rate * rng.uniform(0.5, 1)
    shares = {
        "nauplius": rate,
        "umbrella": rng.uniform(0.02, 0.2),
        "shell": shells,
        "cyst": 1 - rate + rng.uniform(0, 0.08),
        "debris": rng.uniform(0.03, 0.12),
    }
    return shares if hatched else {"debris": 1.0}


def body_core(stage, size):
    """Radius (um) of the circle that two bodies should not share."""
    return size * {"nauplius": 0.36, "umbrella": 0.85, "shell": 0.62, "cyst": 0.52}.get(stage, 0.4)


def spot(rng, taken, core, region, close):
    """A free place (um); with `close`, one that touches a body already there."""
    for _ in range(60):
        if close and taken:
            ax, ay, ar = taken[rng.integers(len(taken))]
            turn = rng.uniform(0, 2 * np.pi)
            gap = (ar + core) * rng.uniform(0.82, 1.05)
            x, y = ax + gap * np.cos(turn), ay + gap * np.sin(turn)
        else:
            x, y = region.draw(rng)
        if not region.holds(x, y):
            continue
        others = np.array(taken) if taken else np.zeros((0, 3))
        apart = np.hypot(others[:, 0] - x, others[:, 1] - y) / (others[:, 2] + core)
        if (apart > 0.8).all() and (close or (apart > 1.12).all()) and (apart < 1.1).sum() < 4:
            return x, y
    return None


class Region:
    """Where bodies may lie: the picture with a margin, perhaps within a circle (um)."""

    def __init__(self, width, height, circle=None, margin=140.0):
        self.box = (-margin, -margin, width + margin, height + margin)
        self.circle = circle

    def draw(self, rng):
        """A random point of the box."""
        return rng.uniform(self.box[0], self.box[2]), rng.uniform(self.box[1], self.box[3])

    def holds(self, x, y):
        """Whether a body's centre may be at (x, y)."""
        x0, y0, x1, y1 = self.box
        within = x0 <= x <= x1 and y0 <= y <= y1
        if self.circle is None:
            return within
        cx, cy, radius = self.circle
        return within and np.hypot(x - cx, y - cy) < radius


def place(rng, scene, hatched=True):
    """Plans of all bodies of a scene: dicts with stage, size, pose seed and place."""
    lot, um = scene["lot"], scene["um"]
    region = Region(scene["w"] * um, scene["h"] * um, scene.get("circle_um"))
    shares = mix(rng, hatched)
    crowd = scene["n"] if hatched else max(8, scene["n"] // 8)
    clumping, plans, taken = rng.uniform(0.1, 0.35), [], []
    for _ in range(crowd):
        stage = pick(rng, shares)
        paint, size, reach, detail = plan_body(rng, lot, stage)
        core = body_core(stage, size)
        found = spot(rng, taken, core, region, rng.random() < clumping)
        if found is None:
            continue
        taken.append((*found, core))
        low = size * (0.5 if stage == "cyst" else 0.35)
        height = low + (rng.uniform(0, scene["swim_um"]) if stage == "nauplius" else 0)
        if detail == "bubble":
            height += scene["swim_um"]
        plans.append(
            {
                "stage": stage,
                "paint": paint,
                "size": size,
                "reach": reach,
                "detail": detail,
                "x": found[0] / um,
                "y": found[1] / um,
                "lot": lot,
                "height": height,
                "seed": int(rng.integers(2**32)),
            }
        )
    return sorted(plans, key=lambda p: p["height"])
