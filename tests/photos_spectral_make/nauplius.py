"""The free larva, laid out in three dimensions and projected: trunk, labrum, three pairs of limbs, eye. CC0."""

import numpy as np
from canvas import Canvas, noise, profile, spline
from scipy import ndimage

# half-widths along the body over its length, seen from the back
FIRST = [(0, 0), (0.015, 0.055), (0.05, 0.10), (0.11, 0.142), (0.2, 0.176), (0.3, 0.194), (0.38, 0.187), (0.47, 0.16),
         (0.56, 0.128), (0.68, 0.115), (0.8, 0.108), (0.9, 0.092), (0.96, 0.066), (1, 0)]  # fmt: skip
SECOND = [(0, 0), (0.015, 0.04), (0.05, 0.075), (0.12, 0.105), (0.2, 0.13), (0.28, 0.138), (0.36, 0.125), (0.45, 0.1),
          (0.56, 0.083), (0.7, 0.072), (0.85, 0.06), (0.94, 0.045), (0.98, 0.032), (1, 0)]  # fmt: skip
STEPS = np.linspace(0, 1, 41)


def look(rng, strain_um, style):
    """Size, pose and state of one larva."""
    second = rng.random() < style["second_instar"]
    dead = rng.random() < style["dead"]
    pose = rng.choice(["dorsal", "oblique", "side", "curled", "head-on"], p=[0.42, 0.26, 0.18, 0.1, 0.04])
    roll = {"dorsal": rng.normal(0, 0.15), "oblique": rng.choice([-1, 1]) * rng.uniform(0.4, 0.9),
            "side": rng.choice([-1, 1]) * rng.uniform(1.2, 1.75)}.get(pose, rng.uniform(-1.5, 1.5))  # fmt: skip
    pitch = rng.uniform(1.0, 1.3) if pose == "head-on" else abs(rng.normal(0, 0.22))
    bend = rng.choice([-1, 1]) * rng.uniform(0.9, 1.7) if pose == "curled" else rng.normal(0, 0.28)
    length = strain_um * rng.normal(1, 0.045) * (rng.uniform(1.12, 1.4) if second else 1)
    return {
        "second": second, "dead": dead, "pose": pose, "roll": roll, "pitch": pitch, "bend": bend, "length_um": length,
        "heading": rng.uniform(0, 2 * np.pi), "beat": rng.uniform(-0.75, 0.95), "torn": dead and rng.random() < 0.35,
        "blurred": not dead and rng.random() < style["motion"], "yolk": rng.normal(1, 0.16) * (0.42 if second else 1),
        "limp": dead or style["lugol"], "pale": rng.uniform(0.25, 0.6) if dead and rng.random() < 0.7 else 1.0,
    }  # fmt: skip


class Frame:
    """Turns body coordinates (along, lateral, ventral; all in um) to the sheet's plane."""

    def __init__(self, how):
        self.length = how["length_um"]
        self.cos_roll, self.sin_roll = np.cos(how["roll"]), np.sin(how["roll"])
        self.shorten, self.lift = np.cos(how["pitch"]), np.sin(how["pitch"])
        along = np.linspace(0, 1, 41)
        # the trunk bends behind the head, not the head itself
        angle = how["bend"] * np.clip((along - 0.25) / 0.75, 0, 1) ** 1.3
        step = self.length * self.shorten / 40
        x = np.r_[0, np.cumsum(np.cos(angle[:-1]))] * step
        y = np.r_[0, np.cumsum(np.sin(angle[:-1]))] * step
        self.centre = np.array([x.mean(), y.mean()])
        c, s = np.cos(how["heading"]), np.sin(how["heading"])
        self.turn = np.array([[c, -s], [s, c]])
        self.angle, self.x, self.y, self.along = angle, x, y, along

    @property
    def spine(self):
        return (np.stack([self.x, self.y], axis=1) - self.centre) @ self.turn.T

    def project(self, points):
        points = np.atleast_2d(points)
        along, lateral, ventral = points.T
        place = along / self.length
        side = lateral * self.cos_roll + ventral * self.sin_roll
        deep = ventral * self.cos_roll - lateral * self.sin_roll
        angle = np.interp(place, self.along, self.angle)
        beyond = np.minimum(place, 0) * self.length * self.shorten
        x = np.interp(place, self.along, self.x) + beyond - np.sin(angle) * side + self.lift * deep * 0.6
        y = np.interp(place, self.along, self.y) + np.cos(angle) * side
        return (np.stack([x, y], axis=1) - self.centre) @ self.turn.T


def _limb(root, direction, length, bow, number=5):
    """Spine of a limb: from its root along a direction that bows backwards, in body lengths."""
    t = np.linspace(0, 1, number)[:, None]
    direction = np.asarray(direction, float) / np.linalg.norm(direction)
    return np.asarray(root) + direction * length * t + np.array([1.0, 0, 0.15]) * bow * length * t**2


def limbs(how, rng, beat, side):
    """Stems as (spine, half-widths, setae) in body lengths; setae as (root place, direction, length)."""
    s, wild, limp = side, rng.normal(0, 0.12, 6), how["limp"]
    stems = []
    a1 = _limb((0.075, s * 0.105, 0.06), (-0.55 + wild[0] + 0.3 * limp, s * 0.8, 0.25), 0.235, 0.18)
    stems.append((a1, [0.024, 0.019, 0.017, 0.011], [(1, (-0.5 + k * 0.35, s * 0.8, 0.1), 0.13) for k in (-1, 0, 1)]))
    swing = beat + wild[1] + 0.25 * limp
    arm = (np.sin(swing), s * np.cos(swing), 0.28)
    base = _limb((0.215, s * 0.145, 0.07), arm, 0.2, 0.03)
    stems.append((base, [0.070, 0.058, 0.050, 0.044], []))
    fold = swing + (0.45 if limp else 0.22) + wild[2]
    out = (np.sin(fold), s * np.cos(fold), 0.15)
    branch = _limb(base[-1] - 0.02 * np.asarray(arm), out, 0.32, 0.16)
    # swimming setae stand on the hind edge of the long branch, longest near its tip
    hairs = [(0.35 + 0.065 * k, (np.sin(fold + 1.0 - 0.085 * k), s * np.cos(fold + 1.0 - 0.085 * k), 0.1),
              0.13 + 0.008 * k) for k in range(11)]  # fmt: skip
    stems.append((branch, [0.036, 0.031, 0.025, 0.013], hairs))
    inner = fold + 0.75
    palp = _limb(base[-1] - 0.03 * np.asarray(arm), (np.sin(inner), s * np.cos(inner), 0.3), 0.19, 0.1)
    tips = [(1, (np.sin(inner + d), s * np.cos(inner + d), 0.1), 0.13) for d in (-0.3, 0, 0.3, 0.6)]
    stems.append((palp, [0.026, 0.021, 0.017, 0.010], tips))
    rear = 0.75 + wild[3] + 0.3 * beat * (not limp)
    jaw = _limb((0.335, s * 0.135, 0.09), (np.sin(rear), s * np.cos(rear), 0.35), 0.2, 0.12)
    ends = [(1, (np.sin(rear + d), s * np.cos(rear + d), 0.1), 0.1) for d in (0.0, 0.35, 0.7)]
    stems.append((jaw, [0.032, 0.026, 0.019, 0.011], ends))
    return stems


def _draw_limb(canvas, frame, how, rng, stem, weight, cast):
    spine, widths, setae = stem
    points = frame.project(spline3(spine) * frame.length)
    half = np.asarray(widths) * frame.length
    half = np.r_[half, half[-1] * 0.55]
    laid = canvas.sweep(points, np.interp(np.linspace(0, 1, 16), np.linspace(0, 1, len(half)), half))
    if laid is None:
        return
    thin = laid.thick_um
    flesh = 0.0 if cast else how["yolk"] * how["pale"]
    canvas.add("carotenoid", laid.window, weight * flesh * 0.0055 * thin)
    canvas.add("yolk", laid.window, weight * flesh * 0.0030 * thin)
    canvas.add("scatter", laid.window, weight * (0.012 * thin + 0.05 * laid.cover) * (0.5 if cast else 1))
    # the cuticle is seen tangentially along both edges
    wall = laid.cover * (np.abs(laid.across_um) / np.maximum(laid.half_um, 0.5)) ** 4
    canvas.add("edge", laid.window, weight * 0.42 * wall)
    canvas.raise_to(laid.window, laid.thick_um * 0.5)
    if weight > 0.5 or how["blurred"]:
        canvas.draw_into_outline(laid.window, laid.cover)
    if how["dead"] and rng.random() < 0.4:
        return
    for place, direction, length in setae:
        k = min(int(place * (len(spine) - 1)), len(spine) - 1)
        direction = np.asarray(direction) / np.linalg.norm(direction)
        root = spine[k]
        bow = rng.normal(0, 0.02, 3) + np.array([0.02, 0, 0])
        hair = np.stack([root, root + direction * length * 0.5 + bow * 0.6, root + direction * length + bow * 2])
        canvas.line(frame.project(hair * frame.length), 2.0, "edge", weight * 0.38)


def spline3(points):
    """Through points in three dimensions."""
    t = np.linspace(0, 1, len(points))
    return np.stack([np.interp(np.linspace(0, 1, 7), t, c) for c in points.T], axis=1)


def draw_nauplius(how, um_per_px, shift_px, rng, tissue, cast=False):
    """Draw one larva (or its cast skin when ``cast``); returns the sheet."""
    length = how["length_um"]
    canvas = Canvas(length * 0.93, um_per_px, shift_px)
    frame = Frame(how)
    beats = [how["beat"]] if not how["blurred"] else how["beat"] + np.array([-0.2, 0.0, 0.2])
    for side in (-1, 1):
        lost = how["torn"] and rng.random() < 0.5
        state = rng.bit_generator.state
        for beat in beats:
            rng.bit_generator.state = state  # one limb in several places, not several limbs
            for k, stem in enumerate(limbs(how, rng, beat, side)):
                if lost and k in (1, 2, 3):
                    continue
                _draw_limb(canvas, frame, how, rng, stem, 1 / len(beats), cast)
    top = profile(SECOND if how["second"] else FIRST)(STEPS) * length
    deep = top * 0.82
    wide = np.hypot(top * frame.cos_roll, deep * frame.sin_roll)
    labrum = 0.075 * length * np.exp(-(((STEPS - 0.31) / 0.085) ** 2)) * frame.sin_roll
    left, right = wide + np.maximum(labrum, 0), wide + np.maximum(-labrum, 0)
    spine = frame.spine
    if how["pose"] == "head-on":  # the trunk is seen along its axis
        left, right = np.maximum(left, 0.5 * left.max() * np.sin(np.pi * STEPS) ** 0.5), right
    laid = canvas.sweep(spline(spine, 41), left, right)
    _fill_trunk(canvas, laid, how, frame, rng, tissue, cast)
    if not cast:
        _eye(canvas, frame, how, rng)
    thickness = ndimage.gaussian_filter(canvas.height * 2, 0.8)
    canvas.bend_light(thickness, 0.11 if cast else 0.2, 1.0)
    return canvas


def _fill_trunk(canvas, laid, how, frame, rng, tissue, cast):
    window, along = laid.window, laid.along
    across = laid.across_um / np.maximum(laid.half_um, 0.5)
    thick = laid.thick_um * (0.9 + 0.35 * frame.lift)
    canvas.draw_into_outline(window, laid.cover)
    canvas.raise_to(window, thick * 0.5)
    wall = laid.cover * np.abs(across) ** 6
    canvas.add("edge", window, (0.5 if cast else 0.4) * wall)
    if cast:
        folds = noise(rng, thick.shape, 14 / canvas.step_um)
        canvas.add("edge", window, laid.cover * (0.05 + 0.10 * np.clip(folds, 0, 2)))
        canvas.add("scatter", window, 0.10 * laid.cover)
        return
    grains = (
        1 + 0.28 * noise(rng, thick.shape, 9 / canvas.step_um) + 0.14 * noise(rng, thick.shape, 26 / canvas.step_um)
    )
    inner = np.clip(1.25 - np.abs(across) ** 3, 0, 1)
    # yolk lies thick in the trunk and behind the eye; the brow and the hind tip are clearer
    if how["second"]:
        store = profile([(0, 0.3), (0.12, 0.55), (0.3, 0.8), (0.5, 0.55), (0.8, 0.5), (1, 0.3)])(along)
    else:
        store = profile([(0, 0.35), (0.08, 0.5), (0.2, 0.85), (0.4, 1.0), (0.6, 1.1), (0.85, 1.0), (1, 0.45)])(along)
    yolk = thick * inner * store * grains * how["yolk"] * how["pale"]
    canvas.add("carotenoid", window, 0.0130 * tissue["carotenoid"] * yolk)
    canvas.add("yolk", window, 0.0085 * tissue["yolk"] * yolk)
    canvas.add("scatter", window, 0.0115 * yolk + 0.0035 * thick)
    gut = np.exp(-((across / 0.3) ** 2)) * np.clip((along - 0.2) / 0.1, 0, 1) * laid.cover
    canvas.add("gut", window, gut * (0.55 if how["second"] else 0.22) * tissue["gut"])
    # labrum over the mouth, a rounded flap seen from the back through the body
    flap = np.exp(-((((along - 0.27) / 0.09) ** 2 + (across / 0.42) ** 2) ** 2)) * laid.cover
    ring = np.exp(-(((np.sqrt(((along - 0.27) / 0.09) ** 2 + (across / 0.42) ** 2) - 1) / 0.16) ** 2)) * laid.cover
    canvas.add("yolk", window, 0.22 * flap * how["pale"])
    canvas.add("edge", window, 0.16 * ring)
    if how["second"] or rng.random() < 0.3:  # segments of the thorax begin to show
        bars = np.clip(np.cos(along * 2 * np.pi * 17), 0, 1) ** 3 * np.clip((along - 0.5) / 0.1, 0, 1)
        canvas.add("edge", window, 0.13 * bars * np.clip(1 - across**2, 0, 1) * laid.cover)
    if tissue["iodine"] > 0:
        canvas.add("iodine", window, tissue["iodine"] * 0.02 * thick * grains)
        canvas.add("scatter", window, tissue["iodine"] * 0.005 * thick)


def _eye(canvas, frame, how, rng):
    radius = frame.length * rng.uniform(0.024, 0.031)
    centre = frame.project([[0.085 * frame.length, 0, -0.02 * frame.length]])[0]
    window = canvas.window(centre[None], radius * 2.2)
    if window is None:
        return
    x, y = canvas.grid(window)
    d = np.hypot(x - centre[0], (y - centre[1]) * rng.uniform(0.9, 1.2))
    canvas.add("eye", window, 3.4 * (0.6 if how["dead"] else 1) * np.clip((radius - d) / (0.5 * radius) + 0.5, 0, 1))
