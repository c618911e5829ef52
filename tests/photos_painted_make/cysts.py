"""Cysts, empty shells and umbrella stages as textured discs, cups and crescents."""

import numpy as np
from canvas import Canvas, blob, closed_spline, open_spline, rotate
from noise import window

# Share of a shell's wall that shows in its middle, by light.
FILM = {"below": 0.75, "both": 0.75, "above": 0.55, "dark": 0.42}


def _square(reach):
    return np.array([(-reach, -reach), (-reach, reach), (reach, reach), (reach, -reach)])


def _board(pose, reach, look):
    return Canvas(pose, _square(reach), look["mode"], look["um_px"], look["ss"])


def _rough(rng, canvas, coral=0.10, cloud=0.10):
    """Surface relief of a chorion as a factor around 1."""
    factor = 1 + coral * window("coral", rng, canvas.shape, canvas.um * 1.1)
    return factor + cloud * window("cloud", rng, canvas.shape, canvas.um * 0.7)


# ------------------------------------------------------------------ cysts


def choose_cyst(rng, lot):
    """Size and condition of one cyst."""
    kind = rng.choice(("whole", "dented", "bare"), p=lot["cyst_kinds"])
    return {"d": lot["cyst_um"] * np.clip(rng.normal(1, 0.055), 0.84, 1.16), "kind": kind}


def _dent(rng, outline, r):
    """Push one or two dimples into an outline."""
    for _ in range(rng.integers(1, 3)):
        at = rng.uniform(0, 2 * np.pi)
        centre = r * rng.uniform(1.0, 1.25) * np.array([np.cos(at), np.sin(at)])
        far = np.linalg.norm(outline - centre, axis=1)
        outline = outline * (1 - rng.uniform(0.14, 0.3) * np.exp(-((far / (0.55 * r)) ** 2)))[:, None]
    return outline


def draw_cyst(rng, cyst, pose, look, pigments):
    """Opaque brown ball (whole), raisin (dented) or naked orange ball (bare)."""
    r = cyst["d"] / 2
    canvas = _board(pose, 1.2 * r, look)
    outline = blob(rng, r, 0.012)
    if cyst["kind"] == "dented":
        outline = _dent(rng, outline, r)
    body = canvas.poly(outline)
    dome = canvas.dome(body, r)
    deep = np.clip(dome / r, 0, 1)
    rough = _rough(rng, canvas)
    if cyst["kind"] == "bare":
        r_in = np.clip(body - canvas.soften(body, 6), 0, 1)
        canvas.paint(body, pigments["yolk"], (0.35 + 1.35 * deep) * (0.85 + 0.15 * rough))
        canvas.paint(r_in, pigments["skin_line"], 1.0)
    else:
        # Light bends out of a ball's edge, so the limb is darkest from below.
        tone = rng.uniform(0.85, 1.2)
        limb = 0.82 + 0.5 * np.exp(-((deep - 0.45) ** 2) / 0.05)
        thick = tone * limb * (0.8 + 0.2 * rough)
        if look["mode"] != "below":
            thick = np.maximum(thick, 1.0)  # opaque: no floor shines through
        canvas.paint(body, pigments["chorion"], thick)
        if look["mode"] in ("above", "both"):
            canvas.colour *= np.clip(rough, 0.6, 1.4) * rng.uniform(0.8, 1.25)
        if look["mode"] == "dark":
            rim = np.exp(-((deep - 0.3) ** 2) / 0.03) * body
            canvas.paint(rim, pigments["shell_line"], 0.8 * rough)
    if cyst["kind"] == "dented":
        _crater(rng, canvas, r, dome, pigments)
    canvas.raise_to(dome * (0.93 + 0.05 * rough))
    canvas.claim(body, core=True)
    return canvas


def _crater(rng, canvas, r, dome, pigments):
    """A hollow with a lit and a dark side, drawn into a dented cyst."""
    at = rng.uniform(0, 6.3)
    middle = 0.25 * r * np.array([np.cos(at), np.sin(at)])
    hollow = canvas.poly(middle + rotate(blob(rng, 0.5 * r, 0.08) * (1, 0.7), at))
    hollow = canvas.soften(hollow, 0.1 * r)
    dome *= 1 - 0.45 * hollow
    ring = np.clip(hollow * (1 - hollow) * 4, 0, 1)
    canvas.paint(ring, pigments["shell_line"], 0.7)


# ------------------------------------------------------------------ shells


def choose_shell(rng, lot):
    """Size and form of one empty shell."""
    kind = rng.choice(("slit", "cup", "halves", "half", "crumpled"), p=(0.3, 0.25, 0.2, 0.12, 0.13))
    return {"d": lot["cyst_um"] * np.clip(rng.normal(1.02, 0.06), 0.85, 1.2), "kind": kind}


def _jag(rng, a, b, r, teeth=9):
    """A torn edge from a to b."""
    t = np.linspace(0, 1, teeth)[:, None]
    line = np.asarray(a) * (1 - t) + np.asarray(b) * t
    wobble = rng.normal(0, 0.05 * r, line.shape)
    wobble[[0, -1]] = 0
    return line + wobble


def _cup(rng, r, open_share):
    """Outlines of a bowl seen obliquely: the whole and its open mouth; mouth up (+v)."""
    turn = np.linspace(np.pi, 2 * np.pi, 40)
    deep = rng.uniform(0.8, 1.0)
    bowl = np.stack([r * np.cos(turn), deep * r * np.sin(turn)], 1)
    over = np.linspace(0, np.pi, 30)
    far = np.stack([r * np.cos(over), open_share * r * np.sin(over)], 1)
    far[1:-1] += rng.normal(0, 0.02 * r, far[1:-1].shape)
    mouth = np.linspace(0, 2 * np.pi, 60)
    ring = np.stack([r * np.cos(mouth), open_share * r * np.sin(mouth)], 1) * 0.985
    return np.vstack([bowl, far]), ring


def _wrinkles(rng, r, n):
    """Folds as bowed strokes."""
    lines = []
    for _ in range(n):
        at, aim = rng.uniform(-0.5, 0.5, 2) * r, rng.uniform(0, 3.2)
        half = rng.uniform(0.2, 0.5) * r * np.array([np.cos(aim), np.sin(aim)])
        mid = at + rng.normal(0, 0.12 * r, 2)
        lines.append((open_spline([at - half, mid, at + half], 14), 5, 2, rng.uniform(0.35, 0.9)))
    return lines


def _paint_film(rng, canvas, body, pigments, weight, r):
    """One thin brown wall: pale in the middle, darker where it turns edge-on."""
    edge = np.clip(body - canvas.soften(body, 0.10 * r), 0, 1) * 2
    thin = np.clip(body - canvas.soften(body, 3.5), 0, 1) * 2
    rough = np.clip(_rough(rng, canvas, 0.10, 0.28), 0.3, 1.9)
    canvas.paint(body, pigments["shell"], weight * rough * FILM[canvas.mode])
    canvas.paint(edge, pigments["shell"], 1.1 * rough)
    canvas.paint(thin, pigments["shell_line"], 0.9)
    canvas.claim(body, core=True)
    return edge


def _bowl(rng, canvas, r, pigments, place=None, weight=1.0):
    """Paint a cup; place maps its points into the shell's frame."""
    place = place or (lambda points: points)
    whole, ring = _cup(rng, r, rng.uniform(0.22, 0.6))
    body, mouth = canvas.poly(place(whole)), canvas.poly(place(ring))
    _paint_film(rng, canvas, body, pigments, weight, r)
    inside = mouth * body
    canvas.paint(body * (1 - inside), pigments["shell"], 0.55)
    lip = [(place(ring), 6, 5, 0.95)]
    canvas.paint(canvas.strokes(lip), pigments["shell_line"], 1.0)
    canvas.paint(canvas.strokes(_wrinkles(rng, 0.8 * r, 3)) * body, pigments["shell_line"], 0.7)
    # A hollow: the relief dips inside the mouth.
    canvas.raise_to(canvas.dome(body, 0.5 * r) * (1 - 0.85 * canvas.soften(inside, 6)))


def _slit(rng, canvas, r, pigments):
    """Whole shell with a gaping slit through which the floor shows."""
    body = canvas.poly(blob(rng, r, 0.03))
    aim, gape = rng.uniform(0, 6.3), rng.uniform(0.10, 0.26)
    lens = [
        (-1.02, 0),
        (-0.5, 0.8 * gape),
        (0.1, gape),
        (0.6, 0.7 * gape),
        (1.0, 0),
        (0.5, -0.6 * gape),
        (-0.1, -gape),
        (-0.6, -0.5 * gape),
    ]
    shift = rng.normal(0, 0.22 * r, 2)
    cut_line = rotate(closed_spline(lens) * r * rng.uniform(0.75, 1.0), aim) + shift
    cut = canvas.poly(cut_line) * body
    _paint_film(rng, canvas, body * (1 - 0.9 * cut), pigments, 1.0, r)
    canvas.claim(body, core=True)
    lips = canvas.strokes([(np.vstack([cut_line, cut_line[:1]]), 7, 5, 1.0)]) * body
    canvas.paint(lips, pigments["shell_line"], 1.1)
    canvas.paint(canvas.strokes(_wrinkles(rng, r, 4)) * body, pigments["shell_line"], 0.7)
    canvas.raise_to(canvas.dome(body, 0.55 * r) * (1 - 0.7 * canvas.soften(cut, 6)))


def _half(rng, canvas, r, pigments):
    """A torn-off half lying flat."""
    turn = np.linspace(np.pi * 0.95, 2.05 * np.pi, 40)
    arc = np.stack([r * np.cos(turn), 0.9 * r * np.sin(turn)], 1) + np.array((0, 0.35 * r))
    outline = np.vstack([arc, _jag(rng, arc[-1], arc[0], 1.6 * r)])
    body = canvas.poly(outline)
    _paint_film(rng, canvas, body, pigments, 0.9, r)
    canvas.paint(canvas.strokes(_wrinkles(rng, 0.8 * r, 5)) * body, pigments["shell_line"], 0.8)
    canvas.raise_to(canvas.dome(body, 0.35 * r))


def _crumpled(rng, canvas, r, pigments):
    """A collapsed shell, all folds."""
    outline = blob(rng, 0.92 * r, 0.11, waves=5) * (1, rng.uniform(0.6, 0.95))
    body = canvas.poly(outline)
    _paint_film(rng, canvas, body, pigments, 1.1, r)
    canvas.paint(canvas.strokes(_wrinkles(rng, r, 11)) * body, pigments["shell_line"], 0.8)
    canvas.raise_to(canvas.dome(body, 0.3 * r))


def draw_shell(rng, shell, pose, look, pigments):
    """Paint one empty shell."""
    r = shell["d"] / 2
    canvas = _board(pose, (2.0 if shell["kind"] == "halves" else 1.3) * r, look)
    if shell["kind"] == "slit":
        _slit(rng, canvas, r, pigments)
    elif shell["kind"] == "cup":
        _bowl(rng, canvas, r, pigments)
    elif shell["kind"] == "half":
        _half(rng, canvas, r, pigments)
    elif shell["kind"] == "crumpled":
        _crumpled(rng, canvas, r, pigments)
    else:
        gape = rng.uniform(0.35, 1.1)
        for side in (-1, 1):  # both hang on the hinge at (-r, 0)

            def place(p, side=side):
                p = (p + np.array((r, 0))) * (1, side * -1)
                return rotate(p, side * gape * 0.5) - (r * 0.9, 0)

            _bowl(rng, canvas, r * 0.97, pigments, place, 0.9)
    return canvas


# ------------------------------------------------------------------ umbrella stages


def choose_umbrella(rng, lot):
    """Size and form of one umbrella stage."""
    kind = rng.choice(("partly_out", "hanging", "free"), p=(0.35, 0.4, 0.25))
    return {
        "d": lot["cyst_um"] * np.clip(rng.normal(1, 0.05), 0.86, 1.15),
        "kind": kind,
        "stretch": rng.uniform(1.15, 1.5),
        "bend": np.clip(rng.normal(0, 0.08), -0.16, 0.16),
    }


def _pear(stage, r, grow=1.0):
    """Outline of the embryo: broad end at +u, narrow end at -u (towards the shell)."""
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    u, v = np.cos(turn), np.sin(turn)
    v = v * (0.80 + 0.16 * u - 0.05 * u**2)
    points = np.stack([u * r * stage["stretch"], v * r * 0.95], 1)
    points[:, 1] += stage["bend"] * r * (points[:, 0] / r) ** 2
    middle = points.mean(0)
    return middle + (points - middle) * grow


def _embryo(rng, canvas, stage, shift, r, pigments):
    """Orange embryo with folded limb buds in its clear membrane."""

    def place(points):
        return points + np.array((shift, 0))

    bag = canvas.poly(place(_pear(stage, r, rng.uniform(1.13, 1.24))))
    canvas.paint(bag, pigments["membrane"], 1.0)
    line = np.clip(bag - canvas.soften(bag, 3.5), 0, 1) * 2
    canvas.paint(line, pigments["membrane_line"], 1.2)
    body = canvas.poly(place(_pear(stage, r)))
    dome = canvas.dome(body, 0.85 * r)
    grain = 1 + 0.15 * window("worley", rng, canvas.shape, canvas.um)
    grain += 0.15 * window("cloud", rng, canvas.shape, canvas.um * 0.6)
    canvas.paint(canvas.soften(body, 3), pigments["yolk"], grain * (0.45 + 0.75 * dome / (0.85 * r)))
    canvas.paint(np.clip(body - canvas.soften(body, 5), 0, 1), pigments["skin_line"], 1.0)
    buds = []
    for side in (-1, 1):
        path = np.array([(0.55, 0.55 * side), (0.1, 0.74 * side), (-0.45, 0.6 * side)]) * r
        buds.append((place(open_spline(path, 14)), 5, 3, 0.7))
    canvas.paint(canvas.strokes(buds) * body, pigments["skin_line"], 1.2)
    if rng.random() < 0.6:
        at = place(np.array([[0.78 * r * stage["stretch"], rng.normal(0, 0.1 * r)]]))
        turn = np.linspace(0, 6.3, 20)
        dot = at + 0.09 * r * np.stack([np.cos(turn), np.sin(turn)], 1)
        canvas.paint(canvas.soften(canvas.poly(dot), 2), pigments["eye"], 0.7)
    canvas.raise_to(np.maximum(dome, 10 * canvas.soften(bag, 5)))
    canvas.claim(bag, core=True)


def draw_umbrella(rng, stage, pose, look, pigments):
    """Paint one umbrella stage: shell (if any), membrane and embryo."""
    r = stage["d"] / 2
    canvas = _board(pose, (1.9 if stage["kind"] == "free" else 2.9) * r, look)
    if stage["kind"] == "free":
        _embryo(rng, canvas, stage, 0.0, r * 0.95, pigments)
        return canvas
    out = rng.uniform(0.75, 1.0) if stage["kind"] == "partly_out" else rng.uniform(1.3, 1.6)

    tilt = rng.normal(0, 0.25)

    def place(points):  # mouth of the cup towards +u
        return rotate(points, tilt - np.pi / 2) - (0.75 * r, 0)

    shell_below = rng.random() < 0.5
    if shell_below:
        _bowl(rng, canvas, r, pigments, place)
    _embryo(rng, canvas, stage, out * r - 0.55 * r, r * 0.93, pigments)
    if not shell_below:
        _bowl(rng, canvas, r, pigments, place)
    return canvas
