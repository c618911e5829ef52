"""Bystanders and dirt that a person could mistake for something countable."""

import numpy as np
from canvas import Canvas, blob, closed_spline, open_spline, ribbon
from nauplius import choose_nauplius, draw_moult
from noise import window

KINDS = ("rotifer", "copepod", "moult", "grain", "algae", "fibre", "floc", "pellet", "bubble")
SHARES = np.array((0.16, 0.1, 0.14, 0.12, 0.12, 0.12, 0.1, 0.06, 0.08))


def choose_debris(rng, lot):
    """Kind and size of one piece."""
    kind = str(rng.choice(KINDS, p=SHARES / SHARES.sum()))
    span = {
        "rotifer": (150, 260),
        "copepod": (380, 700),
        "moult": (400, 520),
        "grain": (90, 280),
        "algae": (100, 320),
        "fibre": (400, 1300),
        "floc": (110, 330),
        "pellet": (120, 320),
        "bubble": (90, 300),
    }[kind]
    piece = {"kind": kind, "size": rng.uniform(*span)}
    if kind == "moult":
        piece["animal"] = choose_nauplius(rng, lot) | {"view": "dorsal"}
    return piece


def draw_debris(rng, piece, pose, look, pigments):
    """Paint one piece."""
    if piece["kind"] == "moult":
        return draw_moult(rng, piece["animal"], pose, look, pigments)
    return PAINTERS[piece["kind"]](rng, piece["size"], pose, look, pigments)


def _board(pose, points, look):
    return Canvas(pose, np.asarray(points), look["mode"], look["um_px"], look["ss"])


def _rim(canvas, body, um):
    return np.clip(body - canvas.soften(body, um), 0, 1)


def _rotifer(rng, size, pose, look, pigments):
    """Vase-shaped, clear, with a crown of cilia, a dark stomach and a foot."""
    s = np.array([(-0.5, 0.02), (-0.42, 0.22), (-0.1, 0.34), (0.25, 0.3), (0.42, 0.24), (0.5, 0.26)])
    half = np.vstack([s, s[::-1] * (1, -1)]) * size
    foot = open_spline(
        [(-0.48 * size, 0), (-0.7 * size, rng.normal(0, 0.1) * size), (-0.9 * size, rng.normal(0, 0.2) * size)], 14
    )
    reach = np.vstack([half * 1.25, foot])
    canvas = _board(pose, reach, look)
    body, tail = canvas.poly(closed_spline(half)), canvas.strokes([(foot, 22, 12, 1.0)])
    canvas.paint(tail, pigments["skin"], 2.0)
    canvas.paint(body, pigments["membrane"], 2.2)
    canvas.paint(_rim(canvas, body, 4), pigments["membrane_line"], 2.0)
    gut = canvas.soften(canvas.poly(blob(rng, 0.17 * size, 0.08) - (0.08 * size, 0)), 6)
    canvas.paint(gut, pigments["gut"], 1.8)
    if rng.random() < 0.4:  # carries an egg
        egg = canvas.poly(blob(rng, 0.16 * size, 0.03) - (0.45 * size, 0.24 * size))
        canvas.paint(egg, pigments["pale"], 1.0)
        body = np.maximum(body, egg)
    y = np.linspace(-0.26, 0.26, 15) * size
    cilia = [(np.array([(0.48 * size, v), (0.48 * size + rng.uniform(18, 30), v * 1.25)]), 3, 2, 0.7) for v in y]
    canvas.paint(canvas.strokes(cilia), pigments["seta"], 0.9)
    canvas.raise_to(canvas.dome(body, 0.3 * size))
    canvas.claim(np.maximum(body, tail))
    canvas.claim(body, core=True)
    return canvas


def _copepod(rng, size, pose, look, pigments):
    """Drop-shaped front, ringed tail with a fork, two long feelers, one eye."""
    u = np.array([0.5, 0.45, 0.3, 0.1, -0.08, -0.15, -0.3, -0.42, -0.46]) * size
    w = np.array([0.0, 0.09, 0.15, 0.15, 0.10, 0.055, 0.04, 0.032, 0.0]) * size
    axis = np.stack([u, 0 * u], 1)
    fork = [(np.array([(-0.43, 0.02 * k), (-0.6, 0.07 * k)]) * size, 7, 2, 0.8) for k in (-1, 1)]
    feelers = []
    for k in (-1, 1):
        path = np.array([(0.42, 0.05 * k), (0.36, 0.28 * k), (rng.uniform(0, 0.25), 0.5 * k)]) * size
        feelers.append((open_spline(path, 20), 12, 4, 0.9))
    outline = ribbon(axis, w, w)
    canvas = _board(pose, np.vstack([outline * 1.1] + [p for p, *_ in fork + feelers]), look)
    body = canvas.poly(closed_spline(outline, 200))
    lines = canvas.strokes(fork + feelers)
    canvas.paint(lines, pigments["limb"], 1.2)
    grain = 1 + 0.2 * window("cloud", rng, canvas.shape, canvas.um * 0.6)
    canvas.paint(body, pigments["skin"], 2.4 * grain)
    canvas.paint(_rim(canvas, body, 4), pigments["skin_line"], 1.5)
    rings = [
        (np.array([(x, -0.16), (x - 0.015, 0.16)]) * size, 3, 3, 0.7)
        for x in (0.18, 0.1, 0.02, -0.05, -0.2, -0.28, -0.36)
    ]
    canvas.paint(canvas.strokes(rings) * body, pigments["skin_line"], 0.9)
    gut = canvas.strokes([(np.array([(0.35, 0.0), (0.1, 0.01), (-0.1, 0)]) * size, 26, 10, 0.9)])
    canvas.paint(canvas.soften(gut, 5), pigments["gut"], 1.2)
    eye = canvas.poly(blob(rng, 9, 0.02) + np.array((0.44 * size, 0)))
    canvas.paint(eye, pigments["eye"], 0.9)
    if rng.random() < 0.4:
        for k in (-1, 1):
            sac = canvas.poly(blob(rng, 0.07 * size, 0.03) * (1.5, 1) + (-0.24 * size, 0.1 * k * size))
            knobs = 1 + 0.3 * window("worley", rng, canvas.shape, canvas.um * 1.2)
            canvas.paint(sac, pigments["dirt"], 0.9 * knobs)
            canvas.claim(sac)
    canvas.raise_to(canvas.dome(body, 0.14 * size))
    canvas.claim(np.maximum(body, lines))
    canvas.claim(body, core=True)
    return canvas


def _grain(rng, size, pose, look, pigments):
    """Angular mineral or salt grain with facets."""
    n = rng.integers(5, 9)
    turn = np.sort(rng.uniform(0, 6.28, n)) * 0.4 + np.linspace(0, 6.28, n, endpoint=False) * 0.6
    corners = size / 2 * rng.uniform(0.75, 1.05, n)[:, None] * np.stack([np.cos(turn), np.sin(turn)], 1)
    canvas = _board(pose, corners, look)
    body = canvas.poly(corners)
    hub = rng.normal(0, 0.1 * size, 2)
    for k in range(n):
        facet = canvas.poly(np.array([hub, corners[k], corners[(k + 1) % n]]))
        canvas.paint(facet * body, pigments["stone"], rng.uniform(0.25, 1.0))
    canvas.paint(_rim(canvas, body, 5), pigments["dirt"], 1.6)
    canvas.raise_to(canvas.dome(body, 0.25 * size))
    canvas.claim(body, core=True)
    return canvas


def _algae(rng, size, pose, look, pigments):
    """Clump of small green cells."""
    canvas = _board(pose, blob(rng, 0.7 * size, 0.0), look)
    cells = [blob(rng, rng.uniform(7, 14), 0.02) + rng.normal(0, size / 5.5, 2) for _ in range(60)]
    body = canvas.poly(*cells)
    cover = sum(canvas.poly(*cells[k::4]) for k in range(4)) / 2
    canvas.paint(canvas.soften(cover, 2), pigments["green"], 0.75)
    canvas.raise_to(canvas.dome(body, 20))
    canvas.claim(canvas.soften(body, 6), core=True)
    return canvas


def _fibre(rng, size, pose, look, pigments):
    """Textile or plant fibre, bent."""
    heading = np.cumsum(rng.normal(0, 0.45, 6))
    path = np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1), 0) * size / 6
    path = open_spline(path - path.mean(0), 60)
    canvas = _board(pose, path, look)
    width = rng.uniform(12, 24)
    line = canvas.strokes([(path, width, width * 0.8, 1.0)])
    canvas.paint(line, pigments[rng.choice(("thread", "pale", "dirt"))], 0.8)
    canvas.paint(_rim(canvas, line, 3), pigments["edge"], 0.4)
    canvas.raise_to(8 * canvas.soften(line, 4))
    canvas.claim(line, core=True)
    return canvas


def _floc(rng, size, pose, look, pigments):
    """Loose flake of detritus with a ragged edge."""
    canvas = _board(pose, blob(rng, 0.75 * size, 0.0), look)
    body = canvas.poly(blob(rng, size / 2, 0.16, waves=9))
    rag = canvas.soften(body, 10) + 0.16 * window("cloud", rng, canvas.shape, canvas.um)
    body = (rag > 0.5).astype(np.float32)
    grain = np.clip(0.7 + 0.4 * window("cloud", rng, canvas.shape, canvas.um * 1.6), 0.1, 2)
    canvas.paint(canvas.soften(body, 4), pigments["dirt"], 0.55 * grain)
    canvas.raise_to(canvas.dome(body, 15) * np.clip(grain, 0, 1.5))
    canvas.claim(body, core=True)
    return canvas


def _pellet(rng, size, pose, look, pigments):
    """Faecal pellet: a blunt brown-green rod."""
    path = open_spline([(-size / 2, 0), (0, rng.normal(0, 0.08) * size), (size / 2, 0)], 30)
    half = 0.5 * rng.uniform(35, 60) * np.sqrt(np.clip(1 - np.linspace(-1, 1, 30) ** 6, 0, 1))
    canvas = _board(pose, ribbon(path, half, half), look)
    body = canvas.poly(ribbon(path, half, half))
    grain = 1 + 0.25 * window("worley", rng, canvas.shape, canvas.um * 1.4)
    canvas.paint(canvas.soften(body, 2), pigments["dirt"], 1.1 * grain)
    canvas.raise_to(canvas.dome(body, 25))
    canvas.claim(body, core=True)
    return canvas


def _bubble(rng, size, pose, look, pigments):
    """Air bubble: broad black ring and bright middle from below, glints from above."""
    r = size / 2
    canvas = _board(pose, blob(rng, 1.1 * r, 0.0), look)
    u, v = canvas.grid()
    rho = np.hypot(u, v) / r
    body = (rho < 1).astype(np.float32)
    ring = body * np.clip((rho - 0.62) / 0.25, 0, 1)
    if look["mode"] == "below":
        canvas.paint(ring, pigments["edge"], 2.2)
    else:
        canvas.paint(body, pigments["clear"], 1.0)
        canvas.paint(body * np.exp(-(((rho - 0.95) / 0.05) ** 2)), pigments["edge"], 0.5)
        for k in (1, -1):
            spot = np.exp(-((u - 0.5 * k * r) ** 2 + (v - 0.35 * k * r) ** 2) / (0.1 * r) ** 2)
            canvas.paint(spot * body, pigments["edge"], 1.6 if k > 0 else 0.7)
    canvas.claim(body, core=True)
    return canvas


PAINTERS = {
    "rotifer": _rotifer,
    "copepod": _copepod,
    "grain": _grain,
    "algae": _algae,
    "fibre": _fibre,
    "floc": _floc,
    "pellet": _pellet,
    "bubble": _bubble,
}
