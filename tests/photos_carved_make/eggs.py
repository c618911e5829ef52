"""Cysts and empty shells, carved: a ball of embryo in a brown crust, or the crust alone, split, cut or broken.

Own frame: the shell's mouth looks to +z.
"""

import numpy as np
from fields import any_turn, ball, mottle, ripples, smooth_cut, smooth_union, turned
from light import Part
from patches import Body
from tissues import mix, step_up


def cyst(rng, stuff, mean_um):
    """An intact cyst: round, dented or cup-like; rarely decapsulated."""
    radius = 0.5 * mean_um * rng.normal(1, 0.05)
    form = rng.choice(["round", "dented", "cup", "decapsulated"], p=[0.80, 0.11, 0.06, 0.03])
    coarse, fine = ripples(rng, 1.6 * radius), ripples(rng, rng.uniform(18, 40), 10)
    uneven, rough = radius * rng.uniform(0.005, 0.022), rng.uniform(0.0, 1.6) * (rng.random() < 0.5)
    squash = np.array([1.0, rng.normal(1, 0.025), rng.normal(1, 0.03)], np.float32)[:, None]
    dents = []
    if form == "dented":
        for _ in range(rng.integers(1, 3)):
            way = rng.normal(size=3)
            dents.append((way / np.linalg.norm(way) * radius * rng.uniform(1.35, 1.6), radius * rng.uniform(0.6, 0.85)))
    elif form == "cup":
        dents.append((np.array([0, 0, radius * 1.22]), radius * rng.uniform(0.78, 0.95)))

    def field(q):
        d = ball(q * squash, (0, 0, 0), radius) + uneven * coarse(q) + rough * fine(q)
        for middle, r in dents:
            d = smooth_cut(d, ball(q, middle, r), 0.18 * radius)
        return d

    tone = float(np.exp(rng.normal(0, 0.22)))
    if rng.random() < 0.10:
        tone *= rng.choice([0.45, 1.9])
    bare = form == "decapsulated"
    crust_um = 0 if bare else rng.uniform(11, 16)
    stains = mottle(rng, 55)

    def tissue(q):
        depth = -field(q)
        crust = step_up(-depth, -crust_um - 8, -crust_um + 4) if crust_um else np.zeros(q.shape[1], np.float32)
        m = 1 + 0.2 * stains(q)
        return mix(
            [(stuff.crust, tone * (0.15 + 2.8 * crust) * (0.0 if bare else 1.0) * m), (stuff.embryo, 1 - 0.85 * crust)]
        )

    turn = any_turn(rng)
    if form == "cup" and rng.random() < 0.7:
        turn = turned(rng.uniform(-50, 50), rng.uniform(-50, 50), 0)
    part = Part(field, tissue, samples=7, gloss=rng.uniform(0.02, 0.09), rim=1.1, rim_glow=0.15, opaque=0.9)
    return Body("cyst", form, [part], turn, 1.12 * radius, 2 * radius, caustic=0.12)


def hinged(rng, radius, wall_um, gape_deg, ragged=0.05):
    """Field of a shell split in two halves that hang together at the bottom and gape at the top."""
    coarse, jag = ripples(rng, 1.5 * radius), ripples(rng, 0.5 * radius)
    uneven, teeth = radius * rng.uniform(0.01, 0.04), radius * ragged
    lean = np.float32(radius * rng.uniform(-0.3, 0.3))  # the crack seldom halves the shell fairly
    a = np.radians(gape_deg / 2)
    c, s = np.float32(np.cos(a)), np.float32(np.sin(a))
    half_wall = wall_um / 2

    def field(q):
        least = None
        for side in (-1.0, 1.0):
            z = q[2] + radius
            y = side * q[1]
            y0, z0 = c * y - s * z, s * y + c * z - radius  # the half brought back to where it was when shut
            p = np.stack([q[0], side * y0, z0])
            wall = np.abs(ball(p, (0, 0, 0), radius) + uneven * coarse(p)) - half_wall
            d = -smooth_union(-wall, y0 - side * lean + teeth * jag(p), 3.0)
            least = d if least is None else np.minimum(least, d)
        return least

    return field


def bowl(rng, radius, wall_um, height, squash=1.0):
    """Field of a shell cut off at ``height`` (in radii) above its middle; ``squash`` narrows it."""
    coarse, jag = ripples(rng, 1.3 * radius), ripples(rng, 0.45 * radius)
    uneven, teeth = radius * rng.uniform(0.015, 0.06), radius * rng.uniform(0.02, 0.09)
    half_wall, level = wall_um / 2, radius * height

    def field(q):
        p = q * np.array([[1.0], [1.0 / squash], [1.0]], np.float32)
        wall = np.abs(ball(p, (0, 0, 0), radius) + uneven * coarse(q)) * squash - half_wall
        return -smooth_union(-wall, -(q[2] - level + teeth * jag(q)), 3.0)

    return field


def shell_tissue(rng, stuff):
    """Brown wall, clouded a little, darker or paler from shell to shell."""
    tone, cloud = float(np.exp(rng.normal(0, 0.25))), mottle(rng, 60)
    return lambda q: mix([(stuff.wall, tone * (1 + 0.22 * cloud(q)))])


def wall_part(rng, field, stuff):
    """A hollow wall: a ray may go through it twice."""
    return Part(
        field,
        shell_tissue(rng, stuff),
        entries=3,
        samples=2,
        gloss=rng.uniform(0.05, 0.12),
        rim=0.30,
        rim_glow=0.45,
        opaque=0.35,
    )


def shell(rng, stuff, mean_um):
    """An empty shell in one of its forms."""
    radius = 0.5 * mean_um * rng.normal(0.99, 0.055)
    wall_um = rng.uniform(7.5, 11)
    form = rng.choice(
        ["cracked", "bowl", "halves", "crescent", "splinter", "closed"], p=[0.34, 0.26, 0.13, 0.13, 0.06, 0.08]
    )
    middle, reach, turn = np.zeros(3), 1.25 * radius, any_turn(rng)
    if form in ("cracked", "closed"):
        gape = rng.uniform(14, 46) if form == "cracked" else rng.uniform(4, 9)
        field = hinged(rng, radius, wall_um, gape)
        reach *= 1.2
        if form == "cracked" and rng.random() < 0.65:  # most lie so that the slit shows
            turn = turned(0, 0, rng.uniform(0, 360)) @ turned(rng.uniform(-65, 65), rng.uniform(-40, 40), 0)
    elif form == "halves":
        gape = rng.uniform(75, 165)
        field = hinged(rng, radius, wall_um, gape)
        turn = turned(0, 0, rng.uniform(0, 360)) @ turned(rng.normal(0, 30), rng.choice([0, 90]) + rng.normal(0, 25), 0)
        reach = 2.1 * radius
    elif form == "bowl":
        height = rng.uniform(-0.1, 0.6)
        field = bowl(rng, radius, wall_um, height, rng.uniform(0.82, 1.0))
        if rng.random() < 0.7:  # mouth up or down
            turn = turned(0, 0, rng.uniform(0, 360)) @ turned(
                rng.normal(0, 28) + rng.choice([0, 180]), rng.normal(0, 22), 0
            )
    elif form == "crescent":
        field = bowl(rng, radius, wall_um, rng.uniform(-0.35, 0.05), rng.uniform(0.6, 0.9))
        turn = (
            turned(0, 0, rng.uniform(0, 360)) @ turned(0, 90 + rng.normal(0, 14), 0) @ turned(0, 0, rng.uniform(0, 360))
        )
        middle = np.array([0, 0, -0.45 * radius])
    else:
        base = bowl(rng, radius, wall_um, rng.uniform(-0.25, 0.05), 1.0)
        way = turned(0, 0, rng.uniform(0, 360)) @ turned(rng.uniform(60, 85), 0, 0)
        jag = ripples(rng, 0.5 * radius)

        def field(q):
            cut = way[2] @ q - 0.25 * radius + 0.08 * radius * jag(q)
            return -smooth_union(-base(q), -cut, 3.0)

        middle = np.array([0, 0, -0.5 * radius])
    return Body("shell", form, [wall_part(rng, field, stuff)], turn, reach, 2 * radius, (), tuple(middle), 0.10)
