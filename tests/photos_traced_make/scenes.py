"""The nine kinds of pictures: scale, crowd, floor, light and how each is put together."""

import floors
import lights
import numpy as np
from crowd import choose_lot
from scipy import ndimage

KINDS = {"bright": 6, "chamber": 3, "wide": 2, "black": 3, "dark": 3, "grey": 2, "white": 2, "dish": 4, "sieve": 5}


def base(rng, kind, um, low, high):
    """What all scenes share."""
    h, w = int(rng.integers(860, 941)), int(rng.integers(1150, 1251))
    return {
        "kind": kind,
        "um": um,
        "w": w,
        "h": h,
        "n": int(rng.integers(low, high)),
        "lot": choose_lot(rng),
        "swim_um": rng.uniform(20, 450),
        "uneven": rng.uniform(0.05, 0.4),
        "texture": 0.0,
        "psf": rng.uniform(0.55, 1.1),
        "focus_um": rng.uniform(80, 300),
        "depth": rng.uniform(0.0, 0.006) * 5 / um,
        "expose": 0.85,
        "lamp": [1, 1, 1],
    }


def lamp_colour(rng):
    """Colour of a lamp after white balance: warm halogen to cold diode."""
    warm = rng.normal(0, 0.1)
    return [1 + warm, 1 + rng.normal(0, 0.02), 1 - warm]


def below_light(rng):
    """Settings of transmitted light."""
    oblique = rng.choice([0.0, rng.uniform(0.05, 0.28)], p=[0.55, 0.45])
    return {
        "oblique": oblique,
        "turn": rng.uniform(0, 6.3),
        "rim": rng.uniform(0.35, 0.9),
        "aperture": rng.uniform(0.7, 1.8),
        "stray": rng.uniform(0.01, 0.07),
    }


def above_light(rng, hard=1.0):
    """Settings of light from above."""
    turn, tall = rng.uniform(0, 6.3), rng.uniform(0.45, 1.1)
    toward = np.array([np.cos(turn) * np.cos(tall), np.sin(turn) * np.cos(tall), np.sin(tall)])
    return {
        "from": toward,
        "wrap": rng.uniform(0.15, 0.5),
        "ring": rng.uniform(0.05, 0.4),
        "fill": rng.uniform(0.08, 0.2),
        "key": rng.uniform(0.7, 1.1) * hard,
        "shine": rng.uniform(25, 90),
        "spec": rng.uniform(0.3, 1.2),
        "inner": rng.uniform(0.06, 0.2),
        "shadow": rng.uniform(0.3, 0.75),
        "soft": rng.uniform(0.15, 0.5),
        "edge": rng.uniform(0.1, 0.3),
        "caustic": rng.uniform(0.2, 0.7),
        "rim": 0.5,
        "lamp": np.float32(lamp_colour(rng)),
    }


def make_bright(rng):
    """Transmitted light at the microscope, sometimes with a round field."""
    scene = base(rng, "bright", rng.uniform(4, 6.5), 45, 110)
    scene.update(light="below", lamp=lamp_colour(rng), below=below_light(rng))
    if rng.random() < 0.35:
        radius = rng.uniform(0.5, 0.62) * scene["w"] * scene["um"]
        cx, cy = (scene["w"] * scene["um"] * rng.normal(0.5, 0.03), scene["h"] * scene["um"] * rng.normal(0.5, 0.04))
        scene["field_um"] = (cx, cy, radius)
        scene["circle_um"] = (cx, cy, radius + 100)
    return scene


def make_chamber(rng):
    """A ruled counting chamber in transmitted light."""
    scene = base(rng, "chamber", rng.uniform(4.5, 8), 45, 120)
    scene.update(light="below", lamp=lamp_colour(rng), below=below_light(rng), ruled=True)
    return scene


def make_wide(rng):
    """Transmitted light at low magnification."""
    scene = base(rng, "wide", rng.uniform(10, 12.5), 130, 251)
    scene.update(light="below", lamp=lamp_colour(rng), below=below_light(rng))
    return scene


def make_black(rng):
    """Light from above on a black floor."""
    scene = base(rng, "black", rng.uniform(5, 8.5), 50, 140)
    floor = rng.uniform(0.008, 0.04) * np.array([1, 1, rng.uniform(0.9, 1.3)])
    scene.update(light="above", floor=floor, texture=0.12, above=above_light(rng), expose=0.68, meter=98.5)
    scene["above"]["key"] *= 1.2
    scene["above"]["edge"] *= 1.6
    return scene


def make_dark(rng):
    """Dark field: ring of light that misses the lens."""
    scene = base(rng, "dark", rng.uniform(4.5, 7.5), 45, 120)
    scene.update(
        light="dark field",
        expose=0.9,
        meter=99.0,
        floor=rng.uniform(0.002, 0.014) * np.array([1, 1.05, 1.25]),
        dark={
            "turn": rng.uniform(0, 6.3),
            "lean": rng.choice([0.0, rng.uniform(0.2, 0.8)]),
            "aperture": rng.uniform(1.0, 2.2),
            "glow": rng.uniform(0.8, 1.4),
            "rim": rng.uniform(0.5, 1.0),
            "lamp": np.float32(lamp_colour(rng)),
        },
    )
    return scene


def make_grey(rng):
    """Light from above on a grey floor."""
    scene = base(rng, "grey", rng.uniform(5, 8.5), 50, 140)
    floor = rng.uniform(0.14, 0.3) * np.array([1, rng.uniform(0.95, 1.05), rng.uniform(0.9, 1.12)])
    scene.update(light="above", floor=floor, texture=0.03, above=above_light(rng), meter=99, expose=0.68)
    return scene


def make_white(rng):
    """Light from above on a white floor, with shadows."""
    scene = base(rng, "white", rng.uniform(5, 8.5), 50, 140)
    scene.update(
        light="above",
        floor=rng.uniform(0.7, 0.85) * np.array([1, 0.99, 0.96]),
        texture=0.012,
        above=above_light(rng),
        meter=90,
        expose=0.74,
    )
    scene["above"]["key"] *= 0.8
    return scene


def make_dish(rng):
    """A dish from above with its rim partly in view."""
    scene = {"black": make_black, "white": make_white, "grey": make_grey}[rng.choice(["black", "white", "grey"])](rng)
    scene.update(kind="dish", um=rng.uniform(7, 11), n=int(rng.integers(80, 220)))
    w, h = scene["w"] * scene["um"], scene["h"] * scene["um"]
    turn, radius = rng.uniform(0, 6.3), rng.uniform(12000, 26000)
    depth = rng.uniform(0.28, 0.42)
    cx = w / 2 - np.cos(turn) * (radius - depth * w)
    cy = h / 2 - np.sin(turn) * (radius - depth * w)
    scene["rim_um"], scene["circle_um"] = (cx, cy, radius), (cx, cy, radius - 230)
    return scene


def make_sieve(rng):
    """Harvest on a woven sieve, wet, lit from below or from above."""
    scene = base(rng, "sieve", rng.uniform(6, 12), 50, 160)
    steel = rng.random() < 0.6
    metal = [0.6, 0.6, 0.6] if steel else rng.choice([[0.75, 0.76, 0.72], [0.4, 0.5, 0.62], [0.7, 0.68, 0.5]])
    scene.update(
        light="below" if rng.random() < 0.45 else "above",
        swim_um=30.0,
        depth=0.0,
        lamp=lamp_colour(rng),
        opening_um=rng.uniform(100, 150),
        wire_um=rng.uniform(60, 100),
        metal=np.array(metal) * rng.uniform(0.5, 1),
        glint=rng.uniform(0.3, 1.0),
        hole=rng.uniform(0.01, 0.09),
        mirror=rng.uniform(0, 0.05),
        meter=97,
        expose=0.75,
        above=above_light(rng),
        below=below_light(rng),
    )
    scene["above"]["shadow"] *= 0.7
    if scene["light"] == "below":
        # A sieve is looked at in a lit room: the bodies are also seen by light from above.
        scene["below"]["stray"], scene["expose"] = rng.uniform(0.08, 0.25), 0.95
    scene["glare"] = int(rng.integers(5, 40))
    return scene


MAKERS = {
    "bright": make_bright,
    "chamber": make_chamber,
    "wide": make_wide,
    "black": make_black,
    "dark": make_dark,
    "grey": make_grey,
    "white": make_white,
    "dish": make_dish,
    "sieve": make_sieve,
}


def soften_under(canvas, bodies, um):
    """Wires seen through bodies are smeared: tissue scatters what comes from below."""
    smear = 1.3 * ndimage.gaussian_filter(canvas, (70 / um, 70 / um, 0))
    for body in bodies:
        hit = lights.overlap(body, canvas.shape)
        if hit:
            where, part = hit
            share = np.clip(body["alpha"][part] * 1.15, 0, 1)[..., None] * 0.92
            canvas[where] = canvas[where] * (1 - share) + smear[where] * share
    return canvas


def meniscus(canvas, bodies, rng, um):
    """The water edge round each body on the mesh: a narrow light and dark line."""
    total = np.zeros(canvas.shape[:2], np.float32)
    for body in bodies:
        hit = lights.overlap(body, canvas.shape)
        if hit:
            total[hit[0]] = np.maximum(total[hit[0]], body["cover"][hit[1]])
    soft = ndimage.gaussian_filter(total, 22 / um)
    ring = np.clip(soft * (1 - total) * 4, 0, 1)
    gy, gx = np.gradient(soft)
    turn = rng.uniform(0, 6.3)
    lean = np.clip((gx * np.cos(turn) + gy * np.sin(turn)) * 40 / um * 4, -1, 1)
    canvas *= (1 - 0.35 * ring + 0.35 * ring * lean)[..., None]
    return canvas


def dirty(canvas, rng, scene, above):
    """Small dirt of the scene in reasonable amounts."""
    sign = 1 if above and canvas.mean() < 0.4 else -1
    floors.specks(canvas, rng, scene["um"], int(rng.choice([15, 60, 200])), sign)
    if rng.random() < 0.4:
        floors.scratches(canvas, rng, int(rng.integers(1, 9)), 0.8 if sign > 0 else -0.25)
    return floors.haze(canvas, rng, rng.choice([0.0, 0.03, 0.09]))


def compose_sieve(scene, bodies, rng):
    """Bodies on the wet mesh."""
    from_below, um = scene["light"] == "below", scene["um"]
    canvas = floors.sieve_floor(rng, dict(scene, below=from_below))
    canvas = soften_under(meniscus(canvas, bodies, rng, um), bodies, um)
    if from_below:
        canvas = lights.through(canvas, bodies, scene["below"])
    else:
        canvas = lights.upon(canvas, bodies, scene["above"], um)
    return floors.wet(canvas, rng, scene, scene["glare"])


def round_field(canvas, scene):
    """Darkness outside the round field of an eyepiece: the canvas and the mask of the field."""
    x, y = floors.grid(scene)
    cx, cy, radius = scene["field_um"]
    out = np.hypot(x - cx, y - cy) - radius
    canvas *= (0.004 + np.clip(0.5 - out / (5 * scene["um"]), 0, 1))[..., None]
    return canvas, out < 0


def compose(scene, bodies, rng):
    """Light field of a scene (linear float32) and the mask of what can be seen of it, or None."""
    if scene["kind"] == "sieve":
        return compose_sieve(scene, bodies, rng), None
    open_part = None
    if scene["light"] == "below":
        canvas = dirty(floors.lamp_floor(rng, scene), rng, scene, False)
        if scene.get("ruled"):
            canvas = floors.rule(canvas, rng, scene)
        canvas = lights.through(canvas, bodies, scene["below"])
    elif scene["light"] == "dark field":
        canvas = dirty(floors.plain_floor(rng, scene), rng, scene, True)
        canvas = lights.past(canvas, bodies, scene["dark"])
    else:
        canvas = dirty(floors.plain_floor(rng, scene), rng, scene, True)
        if "rim_um" in scene:
            canvas, open_part = floors.dish(canvas, rng, scene)
        canvas = lights.upon(canvas, bodies, scene["above"], scene["um"])
        if rng.random() < 0.3:
            canvas = floors.glare(canvas, rng)
    if "field_um" in scene:
        canvas, open_part = round_field(canvas, scene)
    return canvas, open_part
