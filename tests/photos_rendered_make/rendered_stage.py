"""Floors, lamps, sieves and dishes in Cycles, by the kind of photo. Lengths are millimetres."""

import bpy
import numpy as np
from mathutils import Matrix
from rendered_materials import Nodes, solid
from rendered_meshes import Part, tube, turn


def put(name, parts, materials, *, place=(0, 0, 0), shade=1.0):
    """Add pieces to the scene as one object and return it."""
    mesh = bpy.data.meshes.new(name)
    counts = np.cumsum([0] + [len(p.vertices) for p in parts])
    vertices = np.concatenate([p.vertices for p in parts])
    triangles = np.concatenate([p.triangles + n for p, n in zip(parts, counts, strict=False)])
    mesh.vertices.add(len(vertices))
    mesh.vertices.foreach_set("co", vertices.astype(np.float32).ravel())
    mesh.loops.add(triangles.size)
    mesh.loops.foreach_set("vertex_index", triangles.astype(np.int32).ravel())
    mesh.polygons.add(len(triangles))
    mesh.polygons.foreach_set("loop_start", np.arange(0, triangles.size, 3, dtype=np.int32))
    names = list(dict.fromkeys(p.material for p in parts))
    slots = np.concatenate([np.full(len(p.triangles), names.index(p.material), np.int32) for p in parts])
    smooth = np.concatenate([np.full(len(p.triangles), p.smooth) for p in parts])
    for key in names:
        mesh.materials.append(materials[key])
    mesh.polygons.foreach_set("material_index", slots)
    mesh.polygons.foreach_set("use_smooth", smooth)
    mesh.update(calc_edges=True)
    made = bpy.data.objects.new(name, mesh)
    made.location = place
    made.color = (shade, shade, shade, 1.0)
    bpy.context.scene.collection.objects.link(made)
    return made


def sheet(name, width, height, z, material):
    """Add a flat sheet, facing up."""
    x, y = width / 2, height / 2
    corners = np.array([(-x, -y, z), (x, -y, z), (x, y, z), (-x, y, z)], float)
    return put(name, [Part(corners, np.array([[0, 1, 2], [0, 2, 3]]), name, smooth=False)], {name: material})


def glow_within(name, inner_deg, outer_deg, soft_deg, strength=1.0, colour=(1, 1, 1)):
    """Return a material that shines only into angles from the upright between two limits, as a condenser does."""
    n = Nodes(name)
    upright = n.add("SeparateXYZ", {0: n.add("NewGeometry").outputs["Incoming"]}).outputs["Z"]

    def step(angle):
        ends = [float(np.cos(np.deg2rad(max(angle + s * soft_deg, 0)))) for s in (1, -1)]
        values = {"Value": upright, "From Min": ends[0], "From Max": ends[1], "To Min": 0.0, "To Max": 1.0}
        return n.add("MapRange", values, interpolation_type="SMOOTHSTEP").outputs[0]

    shine = step(outer_deg)
    if inner_deg > 0:
        shine = n.math("SUBTRACT", shine, step(inner_deg))
    shine = n.math("MULTIPLY", shine, strength)
    return n.done(n.add("Emission", {"Color": (*colour, 1.0), "Strength": shine}).outputs[0])


def spotted(name, colours, scale, rough, rng, detail=4.0, stretch=1.0, spec=1.4):
    """Return the material of a floor whose colour wanders between some colours."""
    n = Nodes(name)
    place = n.add("TexCoord").outputs["Object"]
    place = n.add("Mapping", {0: place, 1: tuple(rng.uniform(-50, 50, 3)), 3: (scale, scale * stretch, scale)}).outputs[
        0
    ]
    noise = n.add("TexNoise", {"Vector": place, "Scale": 1.0, "Detail": detail}).outputs[0]
    ramp = n.add("ValToRGB", {0: noise})
    ramp.color_ramp.elements[0].position, ramp.color_ramp.elements[1].position = 0.33, 0.68
    for element, colour in zip(ramp.color_ramp.elements, colours, strict=True):
        element.color = (*colour, 1.0)
    values = {"Base Color": ramp.outputs[0], "Roughness": rough, "IOR": spec}
    return n.done(n.add("BsdfPrincipled", values).outputs[0])


def lamp(place, size, power, colour=(1, 1, 1), shape="DISK", towards=(0, 0, 0)):
    """Add an area lamp that looks at a point."""
    data = bpy.data.lights.new("lamp", "AREA")
    data.shape, data.size, data.energy, data.color = shape, size, power, colour
    made = bpy.data.objects.new("lamp", data)
    away = np.asarray(place, float) - np.asarray(towards)
    away /= np.linalg.norm(away)
    side = np.cross([0.0, 1.0, 0.1], away)
    side /= np.linalg.norm(side)
    matrix = np.eye(4)
    matrix[:3] = np.stack([side, np.cross(away, side), away, place], 1)
    made.matrix_world = Matrix(matrix)
    bpy.context.scene.collection.objects.link(made)


def surroundings(strength, colour=(1, 1, 1)):
    """Light from everywhere."""
    world = bpy.data.worlds.new("world")
    world.use_nodes = True
    world.node_tree.nodes["Background"].inputs[0].default_value = (*colour, 1.0)
    world.node_tree.nodes["Background"].inputs[1].default_value = strength
    bpy.context.scene.world = world


def _from_above(rng, kind):
    """A ring of lamps or one or two lamps from the side."""
    warm = np.array([1, rng.uniform(0.85, 1), rng.uniform(0.65, 1.05)])
    form = rng.choice(["ring", "side", "window"], p=[0.4, 0.35, 0.25])
    turned = rng.uniform(0, 2 * np.pi)
    if form == "ring":
        for a in turned + np.arange(10) * 2 * np.pi / 10:
            lamp((32 * np.cos(a), 32 * np.sin(a), 60), 7, 2.5e4, warm)
    else:
        low, size = (rng.uniform(28, 50), rng.uniform(6, 20)) if form == "side" else (rng.uniform(40, 60), 55)
        e = np.deg2rad(low)
        for k in range(1 + (form == "side" and rng.random() < 0.5)):
            a = turned + k * rng.uniform(1.8, 3.4)
            lamp(70 * np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)]), size, 1.6e5, warm)
    surroundings(rng.uniform(0.25, 1.2) if kind != "black" else 0.02)


def _black(rng):
    for k in range(2):
        a = rng.uniform(-0.4, 0.4) + np.pi * k
        e = np.deg2rad(rng.uniform(12, 28))
        lamp(60 * np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)]), 14, 1.5e5 * rng.uniform(0.5, 1))
    surroundings(rng.uniform(0.01, 0.06))


def _grooves(rng, size, water):
    """Etched lines every millimetre: shallow ridges of glass that bend the light away, some of them in pairs."""
    n = Nodes("groove")
    glass = n.add("BsdfRefraction", {"IOR": 1.13, "Roughness": 0.15, "Color": (0.75, 0.75, 0.75, 1.0)}).outputs[0]
    material = n.done(glass)
    half = float(np.hypot(*size)) / 2 + 1
    width, pair = rng.uniform(0.012, 0.022), rng.choice([0.0, 0.05])
    parts, shift = [], rng.uniform(-0.5, 0.5, 2)
    for k in np.arange(-int(half) - 1, int(half) + 2):
        for axis in (0, 1):
            for off in {0.0, pair}:
                at = k + shift[axis] + off
                ends = np.array(
                    [[at, -half, 0], [at, half, 0]] if axis == 0 else [[-half, at, 0], [half, at, 0]], float
                )
                parts.append(tube(ends, np.full(2, width), "groove", sides=8))
    tilt = turn("z", rng.normal(0, 0.15))
    put("grooves", [p.moved(tilt, (0, 0, -0.03)) for p in parts], {"groove": material})


def _thread(rng, from_below):
    """The material of a sieve's threads: steel, or nylon that lets light through."""
    if rng.random() < 0.4 and not from_below:
        return solid("thread", (0.5, 0.48, 0.45), 0.3, metal=0.9)
    tone = rng.uniform(0.6, 0.9)
    n = Nodes("thread")
    colour = (tone, tone, tone * 0.95, 1.0)
    back = n.add("BsdfPrincipled", {"Base Color": colour, "Roughness": 0.35}).outputs[0]
    if from_below:
        clear = n.add(
            "BsdfRefraction", {"Color": (tone**0.3, tone**0.3, tone**0.3, 1.0), "IOR": 1.07, "Roughness": 0.1}
        ).outputs[0]
        lit = n.mix(n.math("MAXIMUM", 0.8, n.add("NewGeometry").outputs["Backfacing"]), back, clear)
    else:
        lit = n.mix(0.4, back, n.add("BsdfTranslucent", {"Color": colour}).outputs[0])
    shadow = n.add("BsdfTransparent", {"Color": (0.6, 0.6, 0.6, 1.0)}).outputs[0]
    return n.done(n.mix(n.add("LightPath").outputs["Is Shadow Ray"], lit, shadow))


def _sieve(rng, size, from_below):
    """A woven sieve whose threads' tops lie at the ground."""
    pitch = rng.uniform(0.17, 0.27)
    r = pitch * rng.uniform(0.15, 0.21)
    material = _thread(rng, from_below)
    half = float(np.hypot(*size)) / 2 + 0.6
    number = int(half / pitch) + 1
    s = np.arange(-number * 4, number * 4 + 1) * pitch / 4
    angle = rng.uniform(0, np.pi / 2)
    for axis in (0, 1):
        for phase in (0, 1):
            z = r * np.cos(np.pi * (s / pitch + phase + axis)) - 2 * r
            path = np.stack([s, 0 * s, z] if axis == 0 else [0 * s, s, z], 1)
            first = put("thread", [tube(path, np.full(len(s), r), "thread", sides=8)], {"thread": material})
            for k in range(-number, number + 1):
                if k % 2 != phase:
                    continue
                one = first.copy() if k != phase else first
                at = np.array([0, k, 0] if axis == 0 else [k, 0, 0]) * pitch + [*rng.normal(0, 0.03 * pitch, 2), 0]
                one.location = turn("z", angle) @ at
                one.rotation_euler = (0, 0, angle)
                if one is not first:
                    bpy.context.scene.collection.objects.link(one)


def _dish(rng, setup):
    """A bench under a dish: the bench, the dish's floor with scratches of light, its rim now and then."""
    bench = rng.integers(5)
    below = -rng.uniform(1.2, 4)
    pairs = [
        ((0.42, 0.27, 0.14), (0.25, 0.14, 0.07)),
        ((0.7, 0.7, 0.68), (0.6, 0.6, 0.58)),
        ((0.08, 0.09, 0.1), (0.14, 0.14, 0.15)),
        ((0.25, 0.35, 0.45), (0.2, 0.28, 0.38)),
        ((0.5, 0.48, 0.44), (0.32, 0.3, 0.28)),
    ]
    stretch, scale = (8.0, 0.25) if bench == 0 else (1.0, rng.uniform(0.3, 1.5))
    sheet("bench", 300, 300, below, spotted("bench", pairs[bench], scale, 0.5, rng, stretch=stretch))
    n = Nodes("dish")
    fresnel = n.add("Fresnel", {"IOR": 1.33}).outputs[0]
    bump = n.add("TexNoise", {"Vector": n.add("TexCoord").outputs["Object"], "Scale": rng.uniform(0.2, 0.8)}).outputs[0]
    wavy = n.add("Bump", {"Height": bump, "Distance": rng.uniform(0.01, 0.05), "Strength": 1.0}).outputs[0]
    gloss = n.add("BsdfGlossy", {"Roughness": 0.2, "Normal": wavy}).outputs[0]
    clear = n.add("BsdfTransparent").outputs[0]
    share = n.mix(fresnel, clear, gloss)
    top = n.done(n.mix(n.add("LightPath").outputs["Is Shadow Ray"], share, clear))
    width, height = setup.size_mm
    sheet("water", width + 6, height + 6, 1.3, top)
    if setup.rim is not None:
        rim = Nodes("rim")
        glass = rim.add("BsdfGlass", {"IOR": 1.5, "Roughness": 0.02}).outputs[0]
        pale = rim.add("BsdfTransparent", {"Color": (0.85, 0.88, 0.87, 1.0)}).outputs[0]
        material = rim.done(rim.mix(rim.add("LightPath").outputs["Is Shadow Ray"], glass, pale))
        x, y, radius, wall = setup.rim
        t = np.linspace(0, 2 * np.pi, 400)
        path = np.stack([x + radius * np.cos(t), y + radius * np.sin(t), 0 * t + 0.1], 1)
        put("rim", [tube(path, np.full(400, wall), "rim", sides=16)], {"rim": material})


def _dust(rng, size, below):
    """Specks on the far side of the glass, out of focus."""
    material = solid("dust", (0.1, 0.1, 0.1) if below else (0.5, 0.5, 0.5), 0.8)
    for _ in range(rng.poisson(6)):
        x, y = rng.uniform(-0.5, 0.5, 2) * size
        a = np.linspace(0, 2 * np.pi, 9)[:-1]
        ring = np.stack([np.cos(a), np.sin(a), 0 * a], 1) * rng.uniform(0.006, 0.02, (8, 1)) + [x, y, 0]
        triangles = np.array([[0, k, k + 1] for k in range(1, 7)])
        put("dust", [Part(ring, triangles, "dust")], {"dust": material}, place=(0, 0, -0.8))


def build(setup, rng):
    """Put the floor and the lamps of a photo into the scene."""
    size, kind = np.array(setup.size_mm), setup.kind
    wide = size + 8
    if kind == "dark field":
        glow = glow_within("glow", rng.uniform(24, 30), rng.uniform(48, 60), 3)
        sheet("glow", *(size + 16), -2.0, glow)
        surroundings(rng.uniform(0.0005, 0.003))
    elif setup.from_below:
        warm = (1, rng.uniform(0.86, 1.0), rng.uniform(0.66, 1.0))
        cone = rng.uniform(13, 30) if kind != "sieve" else 70
        sheet("glow", *wide, -1.5, glow_within("glow", 0, cone, rng.uniform(3, 6), colour=warm))
        surroundings(rng.uniform(0.15, 0.35) if kind == "sieve" else rng.uniform(0.01, 0.08))
        _dust(rng, size, True)
    elif kind == "black":
        level = rng.uniform(0.004, 0.02)
        sheet(
            "floor", *(wide + 30), -0.002, spotted("floor", ((level,) * 3, (level * 1.5,) * 3), 2, 0.5, rng, spec=1.2)
        )
        _black(rng)
    elif kind in ("grey", "white"):
        level = rng.uniform(0.72, 0.88) if kind == "white" else rng.uniform(0.12, 0.3)
        cast = np.exp(rng.normal(0, 0.03, 3)) * level
        floor = spotted("floor", (tuple(cast), tuple(cast * rng.uniform(0.88, 0.97))), rng.uniform(1, 6), 0.6, rng)
        sheet("floor", *(wide + 30), -0.002, floor)
        _from_above(rng, kind)
    elif kind == "dish":
        _dish(rng, setup)
        _from_above(rng, kind)
    if kind == "chamber":
        _grooves(rng, size, setup.water_mm)
    if kind == "sieve":
        _sieve(rng, size, setup.from_below)
        if not setup.from_below:
            tray = [(0.75, 0.75, 0.73), (0.25, 0.25, 0.26), (0.03, 0.03, 0.03), (0.12, 0.22, 0.4)][rng.integers(4)]
            sheet("floor", *(wide + 60), -rng.uniform(1.5, 6), spotted("floor", (tray, tray), 1, 0.5, rng))
            _from_above(rng, kind)
