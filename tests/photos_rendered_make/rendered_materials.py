"""Cycles materials of the bodies: soft flesh (scattering below the skin, and clear with absorption), thin skins, air,
crystals, threads. Lengths are millimetres, absorption is per millimetre for red, green and blue."""

from dataclasses import dataclass, replace

import bpy
import numpy as np


class Nodes:
    """A material's node tree, written down shortly."""

    def __init__(self, name):
        self.material = bpy.data.materials.new(name)
        self.material.use_nodes = True
        self.tree = self.material.node_tree
        self.tree.nodes.clear()
        self.out = self.tree.nodes.new("ShaderNodeOutputMaterial")

    def add(self, kind, values=None, **settings):
        """Add a node; values of its inputs may be other nodes' outputs."""
        node = self.tree.nodes.new("ShaderNode" + kind)
        for key, value in settings.items():
            setattr(node, key, value)
        for key, value in (values or {}).items():
            if isinstance(value, bpy.types.NodeSocket):
                self.tree.links.new(value, node.inputs[key])
            else:
                node.inputs[key].default_value = value
        return node

    def math(self, operation, a, b=0.0, *, clamp=False):
        return self.add("Math", {0: a, 1: b}, operation=operation, use_clamp=clamp).outputs[0]

    def mix(self, share, first, second):
        """Mix two closures: ``share`` of the second."""
        return self.add("MixShader", {0: share, 1: first, 2: second}).outputs[0]

    def tint(self, colour):
        """Return a colour times that of the object."""
        own = self.add("ObjectInfo").outputs["Color"]
        both = {"Factor": 1.0, "A": (*colour, 1.0), "B": own}
        node = self.add("Mix", data_type="RGBA", blend_type="MULTIPLY")
        sockets = {s.identifier: s for s in node.inputs}
        sockets["Factor_Float"].default_value = both["Factor"]
        sockets["A_Color"].default_value = both["A"]
        self.tree.links.new(own, sockets["B_Color"])
        return next(s for s in node.outputs if s.identifier == "Result_Color")

    def behind_skin(self, depth):
        """Colour of light that passed a skin of optical depth (3,), longer the more it is seen from the side."""
        geometry = self.add("NewGeometry")
        dot = self.add(
            "VectorMath", {0: geometry.outputs["Incoming"], 1: geometry.outputs["Normal"]}, operation="DOT_PRODUCT"
        )
        cosine = self.math("MAXIMUM", self.math("ABSOLUTE", dot.outputs["Value"]), 0.14)
        channels = [self.math("EXPONENT", self.math("DIVIDE", -float(d), cosine)) for d in depth]
        return self.add("CombineColor", dict(enumerate(channels))).outputs[0]

    def mottled(self, colour, amount):
        """Return a colour that wanders in brightness over a few tens of micrometres."""
        if not amount:
            return colour
        noise = self.add("TexNoise", {"Vector": self.add("TexCoord").outputs["Object"], "Scale": 22.0, "Detail": 3.0})
        factor = self.math("ADD", self.math("MULTIPLY", noise.outputs[0], 2 * amount), 1 - amount)
        return self.add("VectorMath", {0: colour, 3: factor}, operation="SCALE").outputs[0]

    def done(self, surface, volume=None):
        self.tree.links.new(surface, self.out.inputs["Surface"])
        if volume is not None:
            self.tree.links.new(volume, self.out.inputs["Volume"])
        return self.material


@dataclass(frozen=True)
class Flesh:
    """A soft body: how its surface throws light back, how much is clear, and what it swallows inside."""

    colour: tuple
    swallows: tuple  # per mm
    clear: float  # share that is clear where light comes from below; half as much from above
    radius: float = 0.06  # how far light wanders inside [mm]
    index: float = 1.05  # of refraction, in water
    rough: float = 0.35
    skin: tuple = (0.0, 0.0, 0.0)  # optical depth of its skin
    mottled: float = 0.0  # how much its colour wanders


def flesh(name, f, from_below, dry=0.0):
    """Return the material of a soft body."""
    n = Nodes(name)
    clear = f.clear if from_below else f.clear * 0.55
    colour = n.mottled(n.tint(f.colour), f.mottled)
    skin = n.add(
        "BsdfPrincipled",
        {
            "Base Color": colour,
            "Subsurface Weight": 1.0,
            "Subsurface Radius": (1.0, 0.55, 0.3),
            "Subsurface Scale": f.radius,
            "Roughness": f.rough,
            "IOR": 1.12 + 0.3 * dry,
        },
    ).outputs[0]
    glass = n.add(
        "BsdfRefraction", {"Color": n.mottled(n.behind_skin(f.skin), f.mottled), "IOR": f.index, "Roughness": 0.0}
    ).outputs[0]
    inside = n.add("NewGeometry").outputs["Backfacing"]  # light on its way out only goes out
    lit = n.mix(n.math("MAXIMUM", clear, inside), skin, glass)
    through = np.exp(-np.array(f.swallows) * 0.05)
    shadow = n.add("BsdfTransparent", {"Color": (*(through * (0.35 + 0.6 * clear)), 1.0)}).outputs[0]
    surface = n.mix(n.add("LightPath").outputs["Is Shadow Ray"], lit, shadow)
    most = max(f.swallows)
    volume = n.add("VolumeAbsorption", {"Color": (*(1 - np.array(f.swallows) / most), 1.0), "Density": most}).outputs[0]
    return n.done(surface, volume)


def thin(name, depth, colour, solid, rough=0.35, index=1.15):
    """Return the material of a skin without thickness: clear by its optical depth, in part throwing light back."""
    n = Nodes(name)
    through = n.add("BsdfTransparent", {"Color": n.behind_skin(depth)}).outputs[0]
    back = n.add("BsdfPrincipled", {"Base Color": n.tint(colour), "Roughness": rough, "IOR": index}).outputs[0]
    glow = n.add("BsdfTranslucent", {"Color": n.tint(colour)}).outputs[0]
    side = n.add("LayerWeight", {"Blend": 0.35}).outputs["Facing"]
    share = n.math("ADD", n.math("MULTIPLY", side, solid), solid, clamp=True)
    return n.done(n.mix(share, through, n.mix(0.35, back, glow)))


def glassy(name, index, rough=0.0, colour=(1, 1, 1), solid=0.0):
    """Return the material of air or a crystal in water."""
    n = Nodes(name)
    glass = n.add("BsdfGlass", {"IOR": index, "Roughness": rough, "Color": (*colour, 1.0)}).outputs[0]
    back = n.add("BsdfPrincipled", {"Base Color": (*colour, 1.0), "Roughness": 0.3}).outputs[0]
    shadow = n.add("BsdfTransparent", {"Color": (0.8, 0.8, 0.8, 1.0)}).outputs[0]
    return n.done(n.mix(n.add("LightPath").outputs["Is Shadow Ray"], n.mix(solid, glass, back), shadow))


def solid(name, colour, rough=0.5, metal=0.0, through=0.0):
    """Return the material of an opaque thing, or one that lets a share of light through."""
    n = Nodes(name)
    back = n.add("BsdfPrincipled", {"Base Color": n.tint(colour), "Roughness": rough, "Metallic": metal}).outputs[0]
    return n.done(n.mix(through, back, n.add("BsdfTransparent", {"Color": (*np.sqrt(colour), 1.0)}).outputs[0]))


def lot_colours(rng):
    """Return the colours of a lot: chorion, larva, and how deep a shell's brown is."""
    chorion = np.array([0.30, 0.135, 0.05]) * rng.uniform(0.55, 1.5) * np.exp(rng.normal(0, [0.05, 0.1, 0.22]))
    larva = np.array([0.80, 0.34, 0.09]) * np.exp(rng.normal(0, [0.06, 0.18, 0.35]))
    return {"chorion": np.clip(chorion, 0, 0.9), "larva": np.clip(larva, 0, 0.95), "shell": rng.uniform(0.7, 1.35)}


def body_materials(rng, *, from_below, dry=0.0, faint=False):
    """Return all materials of one photo's bodies by name."""
    lot = lot_colours(rng)
    c, v, k = lot["chorion"], lot["larva"], lot["shell"]
    yolk = -np.log(v) * rng.uniform(2.6, 4.2)
    pale = 0.35 * v + 0.65 * np.array([0.75, 0.72, 0.62])
    table = {
        "chorion": Flesh(
            tuple(c),
            tuple(-np.log(c) * rng.uniform(1.4, 3.2)),
            0.88,
            0.03,
            1.06,
            0.42 - 0.1 * dry,
            tuple(-0.3 * np.log(c)),
            0.25,
        ),
        "embryo": Flesh(tuple(v * 0.95), tuple(yolk * 1.7), 0.85, 0.06, 1.035, 0.35, mottled=0.2),
        "larva": Flesh(tuple(v), tuple(yolk * 1.45), 0.86, 0.08, 1.035, 0.3, mottled=0.15),
        "gut": Flesh(tuple(v**1.35), tuple(yolk * 1.3 + 1.0), 0.85, 0.05, 1.005, 0.5, mottled=0.25),
        "pale": Flesh(tuple(pale), tuple(yolk * 0.18 + 0.5), 0.9, 0.08, 1.03, 0.3),
        "dull": Flesh(tuple(0.5 * v + 0.2), tuple(yolk * 0.6 + 2.5), 0.65, 0.05, 1.05, 0.5, mottled=0.4),
        "limb": Flesh(tuple(0.5 * pale + 0.5 * v), tuple(yolk * 0.3 + 1.0), 0.85, 0.04, 1.05, 0.3),
        "green": Flesh((0.12, 0.3, 0.05), (20, 6, 26), 0.7, 0.02, 1.05, 0.4),
        "grey": Flesh((0.55, 0.55, 0.5), (2.5, 2.6, 3.2), 0.7, 0.06, 1.05, 0.35),
        "dirt": Flesh((0.16, 0.12, 0.08), (14, 17, 22), 0.4, 0.02, 1.05, 0.7),
    }
    if faint:  # in a dark field bodies shine by light scattered all through them
        table = {
            k: replace(f, swallows=tuple(np.multiply(f.swallows, 0.3)), radius=2 * f.radius) for k, f in table.items()
        }
    out = {name: flesh(name, f, from_below, dry) for name, f in table.items()}
    seen = 0.1 if from_below else 0.07 if faint else 0.3
    out["shell"] = thin("shell", np.array([0.09, 0.24, 0.5]) * k, (*np.clip(c * 1.7, 0, 0.8),), seen, 0.3)
    out["veil"] = thin("veil", np.array([0.035, 0.035, 0.04]), (0.75, 0.75, 0.72), seen * 0.13, 0.15)
    out["eye"] = solid("eye", (0.05, 0.008, 0.006), 0.3)
    out["air"] = glassy("air", 1 / 1.33)
    out["salt"] = glassy("salt", 1.16, 0.02, (0.97, 0.97, 0.97), 0.0 if from_below else 0.15)
    out["quartz"] = glassy("quartz", 1.17, 0.12, (0.9, 0.84, 0.72), 0.1 if from_below else 0.35)
    out["stone"] = solid("stone", (0.22, 0.18, 0.14), 0.7)
    for name, colour in {"blue": (0.04, 0.1, 0.4), "black": (0.015, 0.015, 0.02), "red": (0.45, 0.03, 0.04)}.items():
        out[f"fibre {name}"] = solid(f"fibre {name}", colour, 0.5, through=0.25)
    out["fibre clear"] = flesh("fibre clear", Flesh((0.8, 0.8, 0.78), (2, 2, 2), 0.75, 0.02, 1.09, 0.3), from_below)
    return out
