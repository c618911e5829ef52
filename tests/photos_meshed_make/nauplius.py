"""The nauplius as meshes: a trunk lofted along a bent spine, yolk within it, an eye and three pairs of limbs."""

import numpy as np
from meshes import ball, frames, hairs, joined, limb, loft, profile, rotation

STATION = np.array([0, 0.02, 0.08, 0.18, 0.28, 0.38, 0.5, 0.62, 0.74, 0.86, 0.95, 0.985, 1.0])
WIDTH = np.array([0, 0.06, 0.112, 0.15, 0.176, 0.177, 0.16, 0.142, 0.126, 0.108, 0.08, 0.05, 0])


class Spine:
    """A bent axis from the head (station 0, +x) to the tail."""

    def __init__(self, length, bend_side, bend_up, s):
        self.s = s
        fine = np.linspace(0, 1, 80)
        turn_side = bend_side * (fine - 0.35) * np.abs(fine - 0.2)
        turn_up = bend_up * (fine - 0.35) * np.abs(fine - 0.2)
        step = np.stack([-np.cos(turn_side) * np.cos(turn_up), np.sin(turn_side), np.sin(turn_up)], 1)
        line = np.cumsum(step, axis=0) * length / 80
        line -= line[34]
        self.line = np.stack([np.interp(s, fine, line[:, k]) for k in range(3)], 1)
        self.side, self.up = frames(self.line, np.array([0, 0, 1.0]))

    def at(self, s, side=0.0, up=0.0):
        """The point beside the spine at station ``s``."""
        k = int(np.argmin(np.abs(self.s - s)))
        return self.line[k] + side * self.side[k] + up * self.up[k]

    def axes(self, s):
        """Forward, side and up at station ``s``."""
        k = int(np.argmin(np.abs(self.s - s)))
        forward = -np.cross(self.side[k], self.up[k])
        return -forward if forward[0] < 0 and abs(forward[0]) > 0.5 else forward, self.side[k], self.up[k]


def _chain(start, axes, hand, angle, sink, lengths, bends):
    """Joints of a limb that leaves at ``angle`` from straight ahead, out to one ``hand``."""
    forward, side, up = axes
    joints, direction = [np.asarray(start)], angle
    for length, bend in zip(lengths, bends):
        direction += bend
        step = np.cos(direction) * forward + hand * np.sin(direction) * side + sink * up
        joints.append(joints[-1] + length * step / np.linalg.norm(step))
    return np.array(joints)


def _fan(rng, joints, along, count, length, spread, plane):
    """Bristles that leave the limb between ``along`` stations and lean towards its tip."""
    at = np.linspace(0, 1, len(joints))
    t = np.linspace(*along, count)
    root = np.stack([np.interp(t, at, joints[:, k]) for k in range(3)], 1)
    lead = joints[-1] - joints[-2]
    lead = lead / np.linalg.norm(lead)
    turn = (spread * (1.15 - t))[:, None]
    over, along_plane = np.cross(plane, lead), plane * (plane @ lead)

    def turned(angle):
        return lead * np.cos(angle) + over * np.sin(angle) + along_plane * (1 - np.cos(angle))

    way = turned(turn + rng.normal(0, 0.08, (count, 1)))
    size = length * rng.uniform(0.85, 1.1, (count, 1))
    tip = root + (way * 0.55 + turned(turn * 0.6) * 0.45) * size
    return list(np.stack([root, root + way * size * 0.5, tip], 1))


def limbs(rng, spine, length, *, stroke, limp, scale=1.0):
    """Meshes and bristles of antennules, antennae and mandibles for one moment of the stroke."""
    stems, lines = [], []
    ll = length * scale
    for hand in (-1, 1):
        jitter = rng.normal(0, 0.12 + 0.2 * limp)
        axes = spine.axes(0.1)
        start = spine.at(0.1, hand * 0.07 * length, -0.03 * length)
        chain = _chain(start, axes, hand, rng.uniform(0.45, 0.85) + jitter, -0.25, [0.1 * ll, 0.11 * ll], [0, 0.12])
        stems.append(limb(chain, [0.03 * length, 0.022 * length, 0.013 * length], "limb", stations=10))
        lines += _fan(rng, chain, (0.97, 1.0), 3, 0.17 * ll, rng.uniform(-0.9, 0.9), axes[2])
        axes = spine.axes(0.2)
        start = spine.at(0.2, hand * 0.115 * length, -0.035 * length)
        angle = stroke + jitter
        bend = rng.normal(0.12, 0.12 + 0.3 * limp) * (1 if stroke < 1.4 else -1)
        sink = rng.uniform(-0.8, 0.1)
        chain = _chain(start, axes, hand, angle, sink, [0.12 * ll, 0.14 * ll, 0.18 * ll, 0.17 * ll], [0, 0, bend, bend])
        radius = np.array([0.054, 0.048, 0.038, 0.027, 0.012]) * length
        stems.append(limb(chain, radius, "limb", stations=20, columns=10))
        lines += _fan(rng, chain, (0.58, 1.0), 9, 0.27 * ll, hand * rng.uniform(0.5, 0.9), axes[2])
        inner = _chain(chain[2], axes, hand, angle + rng.uniform(0.35, 0.6), sink, [0.09 * ll, 0.09 * ll], [0, -0.1])
        stems.append(limb(inner, [0.027 * length, 0.021 * length, 0.01 * length], "limb", stations=9))
        lines += _fan(rng, inner, (0.95, 1.0), 4, 0.18 * ll, hand * 0.4, axes[2])
        axes = spine.axes(0.33)
        start = spine.at(0.33, hand * 0.115 * length, -0.06 * length)
        angle = rng.uniform(1.5, 2.3) + jitter
        chain = _chain(start, axes, hand, angle, -0.3, [0.1 * ll, 0.09 * ll, 0.07 * ll], [0, 0.15, 0.1])
        stems.append(limb(chain, np.array([0.04, 0.03, 0.022, 0.011]) * length, "limb", stations=12))
        lines += _fan(rng, chain, (0.7, 1.0), 5, 0.13 * ll, hand * 0.5, axes[2])
    return joined(stems), hairs(lines, rng.uniform(1.6, 2.4))


def nauplius(rng, length, *, state="fresh", pose="dorsal"):
    """Parts of one animal in its own frame (head +x, back +z), and its detail for the truth.

    ``state`` is fresh, second (instar II), pale, dead or torn.
    """
    second = state == "second"
    length = length * (rng.uniform(1.2, 1.45) if second else 1.0)
    curl = 0.0
    if pose == "curled":
        curl = rng.choice([-1, 1]) * rng.uniform(4.5, 7.5)
    elif state in ("dead", "torn"):
        curl = rng.normal(0, 2.5)
    bend_side = rng.normal(0, 0.9) + (curl if rng.random() < 0.4 else 0)
    bend_up = rng.normal(0, 0.5) - (abs(curl) if bend_side < 2 else 0)
    s = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, 42))
    spine = Spine(length, bend_side, bend_up, s)
    plump = rng.uniform(0.93, 1.1) * (0.82 if second else 1.0)
    values = WIDTH * plump
    if second:  # the trunk grows longer and narrower behind the limbs
        values = values * np.where(STATION > 0.45, 0.86, 1.0)
    half = np.maximum(profile(STATION, values)(s) * length, 0.05)
    high = half * rng.uniform(0.8, 0.9)
    rest = np.repeat(np.stack([s * length, np.zeros_like(s), np.zeros_like(s)], 1), 24, axis=0)
    turn = np.tile(np.arange(24) * 2 * np.pi / 24, len(s))
    rest[:, 1] = np.repeat(half, 24) * np.cos(turn)
    rest[:, 2] = np.repeat(high, 24) * np.sin(turn)
    skin = loft(spine.line, spine.side, spine.up, half, high, "skin", columns=24, rest=rest)
    back = profile([0, 0.1, 0.22, 0.5, 0.9, 1.0], [0, 0.35, 0.8, 0.86, 0.8, 0.3])(s)
    yolk = loft(
        spine.line, spine.side, spine.up, half * back, high * back, "yolk", columns=24, rest=rest, outline=False
    )
    if second or state == "pale":
        yolk.material = "thin_yolk"
    if state == "dead":
        yolk.material, skin.material = "dull_yolk", "skin"
    parts = [yolk, skin]
    # the labrum, a flap under the head
    lab = ball([0.12 * length, 0.06 * length, 0.05 * length], "skin", rows=12, columns=14)
    parts.append(lab.moved(np.eye(3), spine.at(0.27, 0, -0.1 * length)))
    if second:
        gut_s = np.linspace(0.2, 0.97, 12)
        line = np.array([spine.at(t) for t in gut_s])
        thick = np.interp(gut_s, [0.2, 0.4, 0.97], [0.05, 0.035, 0.02]) * length
        gut = limb(line, thick, "gut", stations=24, columns=10)
        gut.outline = False
        parts.append(gut)
    eye_r = rng.uniform(0.026, 0.033) * length / (1.2 if second else 1)
    eye = ball([eye_r, eye_r * 1.15, eye_r], "eye", rows=10, columns=12)
    eye.outline = False
    # the eye lies at the front, just under the back's skin
    parts.append(eye.moved(np.eye(3), spine.at(0.075, 0, 0.03 * length)))
    limp = 1.0 if state in ("dead", "torn") else 0.0
    stroke = rng.choice([rng.uniform(0.6, 1.1), rng.uniform(1.1, 1.7), rng.uniform(1.7, 2.4)], p=[0.35, 0.45, 0.2])
    seed = int(rng.integers(1 << 31))
    scale = rng.uniform(0.92, 1.08) * (0.85 if second else 1)
    beating = state == "fresh" and rng.random() < 0.18
    strokes = [stroke + d for d in ((0, -0.16, 0.16) if beating else (0,))]
    ghosts = [limbs(np.random.default_rng(seed), spine, length, stroke=one, limp=limp, scale=scale) for one in strokes]
    if state == "torn":
        cut = rng.uniform(0.55, 0.8)
        keep = s[np.minimum(yolk.faces.max(1) // 24, len(s) - 1)] < cut
        for part in parts[:2]:
            part.faces = part.faces[keep]
            part.form = "sheet" if part is skin else part.form
        parts[1].material = "skin_sheet"
        yolk.material = "skin_sheet"
        yolk.form = "sheet"
    return parts, ghosts


def pose_matrix(rng, pose):
    """A turn of the animal's frame for a pose, with a random heading."""
    heading = rotation([0, 0, 1], rng.uniform(0, 2 * np.pi))
    roll = {"dorsal": rng.normal(0, 0.2), "curled": rng.normal(0, 1.2)}.get(pose, 0.0)
    if pose == "dorsal" and rng.random() < 0.35:  # the belly shows
        roll += np.pi
    if pose == "oblique":
        roll = rng.choice([-1, 1]) * rng.uniform(0.45, 1.0) + (np.pi if rng.random() < 0.3 else 0)
    if pose == "side":
        roll = rng.choice([-1, 1]) * rng.uniform(1.25, 1.8)
    tilt = rng.normal(0, 0.15)
    if pose == "head_on":
        tilt = rng.choice([-1, 1]) * rng.uniform(0.85, 1.25)
    return heading @ rotation([0, 1, 0], tilt) @ rotation([1, 0, 0], roll)
