"""Cysts, empty shells and umbrella stages: spheres of thin brown wall, cut open or not, with what is in them. CC0."""

import numpy as np
from canvas import Canvas, noise, profile, spline
from scipy import ndimage

ALL = (slice(None), slice(None))


def _unit(vector):
    return (np.asarray(vector, float) / np.linalg.norm(vector)).astype(np.float32)


def _tilted(rng, azimuth, up):
    """Unit vector at ``azimuth`` in the sheet's plane and ``up`` (sine) towards the viewer."""
    flat = np.sqrt(max(0, 1 - up * up))
    return np.array([flat * np.cos(azimuth), flat * np.sin(azimuth), up], np.float32)


class Ball:
    """A slightly uneven sphere on a sheet; gives wall paths and faces for the near and far side."""

    def __init__(self, canvas, centre_um, radius_um, wall_um, rng, uneven=0.015, squash=None):
        self.canvas, self.radius, self.wall = canvas, radius_um, wall_um
        centre_um = [float(v) for v in centre_um]
        self.window = canvas.window(np.asarray(centre_um)[None], radius_um * 1.25)
        x, y = canvas.grid(self.window)
        x, y = x - centre_um[0], y - centre_um[1]
        turn = rng.uniform(0, np.pi)
        flat = rng.uniform(0, 0.05) if squash is None else squash
        c, s = float(np.cos(turn)), float(np.sin(turn))
        u, v = (c * x + s * y) * (1 + flat), (c * y - s * x) * (1 - flat * 0.5)
        around = np.arctan2(v, u)
        lumps = sum(rng.normal(0, uneven / k) * np.cos(k * around + rng.uniform(0, 6.3)) for k in (2, 3, 5, 8))
        rho = np.hypot(u, v) / (1 + lumps)
        self.x, self.y = x, y
        self.rho = rho
        self.cover = np.clip((radius_um - rho) / canvas.step_um + 0.5, 0, 1)
        self.up = np.sqrt(np.clip(radius_um**2 - rho**2, 0, None))
        hollow = np.sqrt(np.clip((radius_um - wall_um) ** 2 - rho**2, 0, None))
        # the longest way through the wall is cut short: the wall is porous at the outside
        self.path = np.minimum(self.up - hollow, 3.6 * wall_um) / wall_um * (self.cover > 0)
        self.inner_um = 2 * hollow

    def face(self, side):
        """Unit normals of the near (+1) or far (-1) wall."""
        return self.x / self.radius, self.y / self.radius, side * self.up / self.radius

    def _soft(self, distance):
        return np.clip(distance * self.radius / self.canvas.step_um + 0.5, 0, 1)

    def cap(self, side, axis, cut, teeth):
        """Part of a wall on the ``axis`` side of a ragged cut."""
        n = self.face(side)
        height = sum(a * b for a, b in zip(axis, n))
        across = _unit(np.cross(axis, [0.3, 0.5, 0.81]))
        other = np.cross(axis, across)
        turn = np.arctan2(sum(a * b for a, b in zip(across, n)), sum(a * b for a, b in zip(other, n)))
        rag = sum(size * np.cos(k * turn + phase) for k, size, phase in teeth)
        return self._soft(height - cut - rag) * self.cover

    def slit(self, side, axis, across, width, teeth):
        """Wall left beside a gaping crack that is widest at ``axis`` and closes to both poles."""
        n = self.face(side)
        ahead = sum(a * b for a, b in zip(axis, n))
        off = sum(a * b for a, b in zip(across, n))
        third = np.cross(axis, across)
        down = sum(a * b for a, b in zip(third, n))
        rag = sum(size * np.cos(k * 2.2 * down + phase) for k, size, phase in teeth)
        gape = width * np.clip(ahead + 0.12, 0, None) ** 0.8
        return (1 - self._soft(gape - np.abs(off - rag)) * (ahead > -0.12)) * self.cover


def _teeth(rng, size):
    return [(k, rng.normal(0, size / np.sqrt(k)), rng.uniform(0, 6.3)) for k in (1, 2, 3, 5, 9, 14)]


def _wall(canvas, ball, near, far, brown, rng, scatter=0.13):
    """Lay what is left of a shell's two walls on the sheet."""
    window = ball.window
    mottle = 1 + 0.10 * noise(rng, near.shape, 12 / canvas.step_um)
    amount = ball.path * (near + far) * mottle
    canvas.add("haematin", window, brown * amount)
    canvas.add("scatter", window, scatter * amount)
    # torn edges stand out: there the wall is seen on end
    tear = sum(ndimage.gaussian_gradient_magnitude(w, 1.0) * (ball.rho < ball.radius * 0.97) for w in (near, far))
    canvas.add("edge", window, 0.9 * tear)
    canvas.add("haematin", window, 0.8 * brown * tear)
    canvas.add("scatter", window, 0.5 * tear)
    canvas.draw_into_outline(window, np.maximum(near, far))
    canvas.raise_to(window, ball.radius + np.where(near > 0.5, ball.up, -0.9 * ball.up) * np.maximum(near, far))
    rim = np.clip((ball.rho / ball.radius - 0.9) / 0.1, 0, 1) * np.maximum(near, far)
    canvas.add("edge", window, 0.55 * rim**2)


def draw_cyst(how, um_per_px, shift_px, rng, tissue):
    """An intact cyst: wall and full embryo; dented, pale, dark or decapsulated by ``how``."""
    radius = how["radius_um"]
    canvas = Canvas(radius * 1.3, um_per_px, shift_px)
    dented, bare = how["form"] in ("dented", "cup"), how["form"] == "decapsulated"
    ball = Ball(canvas, (0, 0), radius, 7.0, rng, uneven=0.035 if dented else 0.008, squash=0.13 if dented else None)
    window, cover = ball.window, ball.cover
    thick = ball.up * 2
    height = radius + ball.up
    if dented:
        turn, deep = rng.uniform(0, 6.3), 1.0 if how["form"] == "cup" else rng.uniform(0.35, 0.7)
        away = rng.uniform(0.1, 0.45) * radius
        d = np.hypot(ball.x - away * np.cos(turn), (ball.y - away * np.sin(turn)) * rng.uniform(0.8, 1.2))
        pit = np.exp(-((d / (radius * rng.uniform(0.42, 0.62))) ** 4)) * deep
        thick, height = thick * (1 - 0.62 * pit), height - 0.9 * radius * pit
        ring = np.exp(-(((d - 0.55 * radius) / (0.09 * radius)) ** 2)) * deep * cover
        canvas.add("haematin", window, 0.7 * ring)
    rough = how["rough"]
    texture = noise(rng, thick.shape, 9 / canvas.step_um)
    texture = 1 + rough * texture + 0.06 * noise(rng, thick.shape, 40 / canvas.step_um)
    if not bare:
        canvas.add("haematin", window, 3.2 * ball.path * how["brown"] * texture * cover)
        canvas.add("scatter", window, 0.45 * ball.path * texture * cover)
    full = thick / 240 * texture * how["fill"] * cover
    canvas.add("carotenoid", window, 3.0 * full * tissue["carotenoid"])
    canvas.add("yolk", window, (1.6 if bare else 2.6) * full)
    canvas.add("gut", window, (0.0 if bare else 0.9) * full * how["brown"] ** 2)
    canvas.add("soot", window, (0.0 if bare else 0.25) * full * how["brown"] ** 2)
    canvas.add("scatter", window, (4.2 if bare else 2.5) * full)
    if tissue["iodine"] > 0:
        canvas.add("iodine", window, tissue["iodine"] * 1.4 * full)
    canvas.add("edge", window, 0.6 * np.clip((ball.rho / radius - 0.86) / 0.14, 0, 1) ** 2 * cover)
    canvas.draw_into_outline(window, cover)
    canvas.raise_to(window, height * cover + rough * 22 * (texture - 1) * cover)
    return canvas


def draw_shell(how, um_per_px, shift_px, rng, tissue):
    """An empty chorion in one of its forms."""
    radius, form = how["radius_um"], how["form"]
    canvas = Canvas(radius * (2.5 if form == "halves" else 1.3), um_per_px, shift_px)
    azimuth, teeth = rng.uniform(0, 2 * np.pi), _teeth(rng, 0.045)
    brown, wall = how["brown"], how["wall_um"]
    side = np.array([-np.sin(azimuth), np.cos(azimuth)])
    if form in ("cracked", "whole"):
        ball = Ball(canvas, (0, 0), radius, wall, rng, uneven=0.025)
        axis = _tilted(rng, azimuth, rng.uniform(-0.5, 0.9) if form == "cracked" else rng.uniform(-0.95, -0.5))
        across = _unit(np.cross(axis, _tilted(rng, rng.uniform(0, 6.3), 0.3)))
        gape = rng.uniform(0.10, 0.34) if form == "cracked" else rng.uniform(0.04, 0.12)
        near, far = (ball.slit(s, axis, across, gape, teeth) for s in (1, -1))
        _wall(canvas, ball, near, far, brown, rng)
    elif form == "halves":
        gap = rng.uniform(0.35, 0.8)
        for sign in (-1, 1):
            centre = sign * radius * gap * np.array([np.cos(azimuth), np.sin(azimuth)]) + side * rng.normal(0, 6)
            axis = _tilted(rng, azimuth + (0 if sign > 0 else np.pi) + rng.normal(0, 0.35), rng.uniform(-0.75, 0.5))
            ball = Ball(canvas, centre, radius * rng.uniform(0.95, 1.03), wall, rng, uneven=0.03)
            cut, rag = rng.uniform(-0.1, 0.1), _teeth(rng, 0.05)
            _wall(canvas, ball, *(ball.cap(s, axis, cut, rag) for s in (1, -1)), brown, rng)
    else:
        up, cut = {
            "bowl": (rng.choice([-1, 1]) * rng.uniform(0.35, 0.97), rng.uniform(-0.45, 0.1)),
            "crescent": (rng.uniform(-0.3, 0.3), rng.uniform(-0.15, 0.25)),
            "splinter": (rng.choice([-1, 1]) * rng.uniform(0.2, 0.8), rng.uniform(0.1, 0.3)),
        }[form]
        axis = _tilted(rng, azimuth, up)
        centre = -axis[:2] * radius * max(0, cut + 0.1)
        ball = Ball(canvas, centre, radius, wall, rng, uneven=0.035)
        rag = _teeth(rng, 0.13 if form == "splinter" else 0.05)
        _wall(canvas, ball, *(ball.cap(s, axis, cut, rag) for s in (1, -1)), brown, rng)
    if rng.random() < how["remains"]:  # a torn rest of the hatching membrane hangs in the mouth
        end = np.array([np.cos(azimuth), np.sin(azimuth)]) * radius * rng.uniform(0.6, 1.1)
        for _ in range(3):
            canvas.line(spline([(0, 0), end * 0.6 + rng.normal(0, 15, 2), end + rng.normal(0, 25, 2)]), 4, "edge", 0.3)
    return canvas


EMBRYO = [
    (0, 0),
    (0.04, 0.23),
    (0.14, 0.40),
    (0.32, 0.5),
    (0.5, 0.475),
    (0.7, 0.375),
    (0.86, 0.27),
    (0.96, 0.15),
    (1, 0),
]
STEPS = np.linspace(0, 1, 33)


def draw_umbrella(how, um_per_px, shift_px, rng, tissue):
    """An embryo in its clear membrane, in or under its cracked shell (or with the shell lost)."""
    radius, degree = how["radius_um"], how["degree"]
    heading = rng.uniform(0, 2 * np.pi)
    ahead = np.array([np.cos(heading), np.sin(heading)])
    side = np.array([-ahead[1], ahead[0]])
    long = radius * 2 * rng.uniform(1.12, 1.38) * (0.92 + 0.2 * degree)
    wide = radius * 2 * rng.uniform(0.84, 0.97) * (1.0 - 0.1 * degree)
    # how far the embryo's hind end has come out of the shell's middle
    start = radius * (-0.78 + 1.55 * degree + (rng.uniform(0.15, 0.5) if how["form"] == "thread" else 0))
    lean = side * rng.normal(0, 0.18) * long
    alone = how["form"] == "membrane"
    origin = -ahead * (start + long / 2) if alone else -ahead * (start + long) * 0.42
    canvas = Canvas((long + 2 * radius) * (0.62 if alone else 0.9), um_per_px, shift_px)
    tail, front = origin + ahead * start, origin + ahead * (start + long) + lean
    spine = spline([tail, (tail + front) / 2 + lean * 0.1, front])
    shape = profile(EMBRYO)(STEPS) * wide
    if rng.random() < 0.5:
        shape = shape[::-1]
    _embryo(canvas, spine, shape, how, rng, tissue)
    _membrane(canvas, spine, shape, how, rng, origin, start, radius, ahead)
    if not alone:
        ball = Ball(canvas, origin, radius, how["wall_um"], rng, uneven=0.025)
        teeth = _teeth(rng, 0.05)
        axis = np.r_[ahead, rng.normal(0, 0.25)]
        axis = _unit(axis)
        if degree < 0.3 or rng.random() < 0.3:  # still a slit, held open by the embryo
            across = _unit(np.cross(axis, _tilted(rng, heading + 1.6, rng.uniform(0.2, 1))))
            gape = 0.28 + 0.4 * degree
            walls = [ball.slit(s, axis, across, gape, teeth) for s in (1, -1)]
        else:  # the crack has run round: a cap open to the embryo
            walls = [ball.cap(s, -axis, rng.uniform(-0.75, -0.45), teeth) for s in (1, -1)]
        _wall(canvas, ball, *walls, how["brown"], rng)
    return canvas


def _embryo(canvas, spine, shape, how, rng, tissue):
    laid = canvas.sweep(spine, shape)
    window, along = laid.window, laid.along
    across = laid.across_um / np.maximum(laid.half_um, 0.5)
    thick = laid.thick_um
    grains = (
        1 + 0.16 * noise(rng, thick.shape, 10 / canvas.step_um) + 0.08 * noise(rng, thick.shape, 30 / canvas.step_um)
    )
    late = how["degree"]
    yolk = thick * grains * how["yolk"]
    # limbs folded along the flanks: paler lobes with dark seams, the clearer the later
    for s in (-1, 1):
        for place, length in ((0.34, 0.11), (0.55, 0.2)):
            lobe = ((along - place) / length) ** 2 + ((across - s * 0.72) / 0.34) ** 2
            yolk = yolk * (1 - 0.36 * late * np.exp(-lobe))
            seam = np.exp(-(((np.sqrt(lobe) - 1) / 0.2) ** 2)) * laid.cover * (np.abs(across) < 0.96)
            canvas.add("edge", window, 0.17 * late * seam)
    canvas.add("carotenoid", window, 0.0135 * tissue["carotenoid"] * yolk)
    canvas.add("yolk", window, 0.0075 * tissue["yolk"] * yolk)
    canvas.add("scatter", window, 0.0125 * yolk + 0.002 * thick)
    canvas.add("edge", window, 0.35 * np.abs(across) ** 6 * laid.cover)
    if tissue["iodine"] > 0:
        canvas.add("iodine", window, tissue["iodine"] * 0.011 * thick)
    canvas.draw_into_outline(window, laid.cover)
    canvas.raise_to(window, laid.half_um + thick * 0.5)
    if late > 0.45:
        at = spine[int(len(spine) * 0.86)]
        size = 0.075 * shape.max()
        spot = canvas.window(at[None], size * 3)
        x, y = canvas.grid(spot)
        dot = np.clip((size - np.hypot(x - at[0], y - at[1])) / (0.6 * size) + 0.5, 0, 1)
        canvas.add("eye", spot, 2.6 * min(1, (late - 0.3) * 2) * dot)


def _membrane(canvas, spine, shape, how, rng, origin, start, radius, ahead):
    """Clear sac around the embryo, open towards the shell; on a thread it narrows to a neck."""
    room = rng.uniform(0.12, 0.28) * shape.max()
    line = spine
    half = np.maximum(shape, 0) + room
    half = np.minimum(half, 1.02 * shape.max() + room * 0.7)
    ends = np.sqrt(np.clip(1 - (2 * STEPS - 1) ** 8, 0, 1))
    longer = np.vstack([spine[0] - (spine[1] - spine[0]) * room / np.hypot(*(spine[1] - spine[0])), spine,
                        spine[-1] + (spine[-1] - spine[-2]) * room / np.hypot(*(spine[-1] - spine[-2]))])  # fmt: skip
    line = spline(longer)
    laid = canvas.sweep(line, half * ends)
    across = laid.across_um / np.maximum(laid.half_um, 0.5)
    wall = np.clip((np.abs(across) - 0.9) / 0.1, 0, 1) ** 1.5 * laid.cover
    canvas.add("edge", laid.window, 0.62 * wall + 0.035 * laid.cover)
    canvas.add("scatter", laid.window, 0.24 * wall + 0.04 * laid.cover)
    canvas.draw_into_outline(laid.window, laid.cover)
    canvas.raise_to(laid.window, laid.half_um + laid.thick_um * 0.5)
    if how["form"] != "membrane" and start > 0.35 * radius:
        neck = spline([origin + ahead * radius * 0.1, origin + ahead * start * 0.7 + rng.normal(0, 5, 2), line[3]])
        tube = canvas.sweep(neck, np.linspace(0.28 * radius, max(0.16 * radius, 10), 8))
        edge = (np.abs(tube.across_um) / np.maximum(tube.half_um, 0.5)) ** 5 * tube.cover
        canvas.add("edge", tube.window, 0.55 * edge + 0.06 * tube.cover)
        canvas.add("scatter", tube.window, 0.25 * edge + 0.06 * tube.cover)
        canvas.draw_into_outline(tube.window, tube.cover)
