"""The bodies of a photo: what each is, where it lies and how it is drawn. CC0."""

from dataclasses import dataclass

import chorion
import debris
import nauplius
import numpy as np

SHELLS = (("cracked", 0.34), ("bowl", 0.24), ("crescent", 0.14), ("halves", 0.12), ("splinter", 0.08), ("whole", 0.08))
DIRT = (
    ("fibre", 0.2),
    ("salt", 0.11),
    ("bubble", 0.11),
    ("fleck", 0.22),
    ("sand", 0.09),
    ("algae", 0.09),
    ("moult", 0.07),
    ("rotifer", 0.05),
    ("copepod", 0.02),
    ("ciliate", 0.04),
)


@dataclass
class Body:
    """One thing to draw."""

    stage: str
    how: dict
    reach_um: float  # radius of the disc it may not share much
    x_px: float = 0.0
    y_px: float = 0.0
    z_um: float = 0.0
    detail: str = ""
    length_um: float = 0.0


def _pick(rng, table):
    names, weights = zip(*table)
    return str(rng.choice(names, p=np.array(weights) / sum(weights)))


def _cyst(rng, cond):
    radius = cond.cyst_um / 2 * rng.normal(1, 0.05)
    form = _pick(rng, (("round", 0.8), ("dented", 0.1), ("cup", 0.06), ("decapsulated", 0.012)))
    brown = cond.tissue["brown"] * np.exp(rng.normal(0, 0.16))
    brown *= float(rng.choice([1, 1.5, 0.55], p=[0.86, 0.07, 0.07]))
    fill = 0.55 if rng.random() < cond.style["translucent"] else rng.uniform(0.85, 1.15)
    how = {"radius_um": radius, "form": form, "brown": brown, "fill": fill, "rough": rng.uniform(0.04, 0.2)}
    return Body("cyst", how, radius, detail=form, length_um=2 * radius)


def _shell(rng, cond):
    radius = cond.cyst_um / 2 * rng.normal(1.0, 0.055)
    form = _pick(rng, SHELLS)
    brown = 0.42 * cond.tissue["brown"] * np.exp(rng.normal(0, 0.25))
    how = {"radius_um": radius, "form": form, "brown": brown, "wall_um": rng.uniform(5, 8), "remains": 0.12}
    return Body("shell", how, radius * (1.4 if form == "halves" else 0.95), detail=form, length_um=2 * radius)


def _umbrella(rng, cond):
    radius = cond.cyst_um / 2 * rng.normal(1.0, 0.05)
    form = _pick(rng, (("emerging", 0.24), ("half out", 0.3), ("out", 0.22), ("thread", 0.12), ("membrane", 0.12)))
    degree = {"emerging": (0.1, 0.32), "half out": (0.35, 0.65), "out": (0.7, 0.95)}.get(form, (0.85, 1.1))
    how = {
        "radius_um": radius,
        "form": form,
        "degree": rng.uniform(*degree),
        "wall_um": rng.uniform(5, 8),
        "brown": 0.44 * cond.tissue["brown"] * np.exp(rng.normal(0, 0.2)),
        "yolk": rng.normal(1, 0.12),
    }
    return Body("umbrella", how, radius * (1.1 + how["degree"]), detail=form, length_um=4 * radius)


def _debris(rng, cond):
    form = _pick(rng, DIRT)
    if form == "moult":
        how = nauplius.look(rng, cond.strain_length_um, {**cond.style, "dead": 1.0, "motion": 0})
        return Body("debris", how | {"form": form}, how["length_um"] * 0.4, detail=form, length_um=how["length_um"])
    return Body("debris", {"form": form}, rng.uniform(60, 160), detail=form)


def make(rng, cond, where):
    """All bodies of a photo, bottom first, placed inside the map ``where`` may allow (or None)."""
    bodies = []
    for stage, number in cond.counts.items():
        for _ in range(number):
            if stage == "nauplius":
                how = nauplius.look(rng, cond.strain_length_um, cond.style)
                bodies.append(Body(stage, how, how["length_um"] * 0.44, detail=how["pose"], length_um=how["length_um"]))
            else:
                bodies.append(
                    {"cyst": _cyst, "shell": _shell, "umbrella": _umbrella, "debris": _debris}[stage](rng, cond)
                )
    order = rng.permutation(len(bodies))
    bodies = [bodies[i] for i in order]
    _scatter(rng, cond, bodies, where)
    for body in bodies:
        floats = body.stage == "nauplius" and not cond.lugol and rng.random() < 0.3
        body.z_um = float(abs(rng.normal(0, cond.depth_um)) * (2.0 if floats else 1.0))
    return sorted(bodies, key=lambda body: body.z_um)


def _scatter(rng, cond, bodies, where):
    """Lay bodies where there is room; some touch or cross, as in a pipetted drop."""
    height, width = cond.shape
    uneven = rng.uniform(0, 0.9)
    tilt = rng.normal(0, 1, 2)
    tilt /= np.hypot(*tilt)
    placed = np.zeros((0, 3))
    for body in bodies:
        reach = body.reach_um / cond.um_per_px
        near = len(placed) and rng.random() < cond.style["clump"]
        best = None
        for _ in range(60):
            if near:  # beside another body
                other = placed[rng.integers(len(placed))]
                angle, apart = rng.uniform(0, 6.3), (other[2] + reach) * rng.uniform(0.8, 1.05)
                x, y = other[0] + apart * np.cos(angle), other[1] + apart * np.sin(angle)
            else:
                x, y = rng.uniform(-0.01, 1.01) * width, rng.uniform(-0.01, 1.01) * height
                here = 0.5 + 0.5 * ((x / width - 0.5) * tilt[0] + (y / height - 0.5) * tilt[1]) * 1.4
                if rng.random() > 1 - uneven * (1 - here):
                    continue
            if not (-0.02 * width < x < 1.02 * width and -0.02 * height < y < 1.02 * height):
                continue
            inside = 0 <= x < width and 0 <= y < height
            if where is not None and not (inside and where[int(y), int(x)]):
                continue
            crowd = 0.0
            if len(placed):
                apart = np.hypot(placed[:, 0] - x, placed[:, 1] - y)
                crowd = float(np.max((placed[:, 2] + reach - apart) / (2 * np.minimum(placed[:, 2], reach))))
            if best is None or crowd < best[0]:
                best = (crowd, x, y)
            if crowd < (0.3 if near or rng.random() < 0.05 else 0.05):
                break
        best = best or (0, rng.uniform(0.3, 0.7) * width, rng.uniform(0.3, 0.7) * height)
        body.x_px, body.y_px = best[1], best[2]
        placed = np.vstack([placed, (body.x_px, body.y_px, reach)])


def draw(body, cond, rng):
    """The sheet of one body."""
    shift = (body.x_px - int(body.x_px), body.y_px - int(body.y_px))
    if body.stage == "nauplius":
        return nauplius.draw_nauplius(body.how, cond.um_per_px, shift, rng, cond.tissue)
    if body.stage == "debris":
        if body.detail == "moult":
            return nauplius.draw_nauplius(body.how, cond.um_per_px, shift, rng, cond.tissue, cast=True)
        canvas, body.length_um = debris.draw_debris(body.detail, cond.um_per_px, shift, rng)
        return canvas
    maker = {"cyst": chorion.draw_cyst, "shell": chorion.draw_shell, "umbrella": chorion.draw_umbrella}[body.stage]
    return maker(body.how, cond.um_per_px, shift, rng, cond.tissue)
