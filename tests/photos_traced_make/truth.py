"""What is in a photo: instance mask and rows of the truth table."""

import numpy as np
from lights import overlap

STAGES = ("nauplius", "umbrella", "cyst", "shell", "debris")


def stack(bodies, shape, open_part=None):
    """Instance mask of what is seen: the uppermost body owns a pixel; ids count from 1."""
    ids = np.zeros(shape, np.uint16)
    for number, body in enumerate(bodies, 1):
        hit = overlap(body, shape)
        if hit:
            where, part = hit
            ids[where][body["hull"][part]] = number
    if open_part is not None:
        ids[~open_part] = 0
    return ids


def hidden(bodies, ids):
    """Indices of bodies that others cover by seven tenths: nobody could count them."""
    visible = np.bincount(ids.ravel(), minlength=len(bodies) + 1)
    out = set()
    for number, body in enumerate(bodies, 1):
        hit = overlap(body, ids.shape)
        if hit and visible[number] < 0.3 * body["hull"][hit[1]].sum():
            out.add(number - 1)
    return out


def rows(photo, bodies, ids, open_part):
    """Rows of truth.csv for the bodies of which a part is seen; what shows of fewer than 12 pixels leaves the mask."""
    out, h, w = [], *ids.shape
    for number, body in enumerate(bodies, 1):
        plan = body["plan"]
        ys, xs = np.nonzero(ids == number) if overlap(body, ids.shape) else ([], [])
        if len(ys) < 12:
            ids[ids == number] = 0
            continue
        hy, hx = np.nonzero(body["hull"])
        cx, cy = hx.mean() + body["x0"] + 0.5, hy.mean() + body["y0"] + 0.5
        within = 0 <= cx < w and 0 <= cy < h
        if within and open_part is not None:
            within = bool(open_part[int(cy), int(cx)])
        x0, y0, x1, y1 = xs.min(), ys.min(), xs.max() + 1, ys.max() + 1
        whole = int(body["hull"].sum())
        edge = x0 == 0 or y0 == 0 or x1 == w or y1 == h
        if open_part is not None and not edge:
            edge = bool((~open_part[max(y0 - 1, 0) : y1 + 1, max(x0 - 1, 0) : x1 + 1]).any() and len(ys) < whole)
        out.append(
            {
                "photo": photo,
                "object_id": number,
                "stage": plan["stage"],
                "x_px": round(float(xs.mean()) + 0.5, 2),
                "y_px": round(float(ys.mean()) + 0.5, 2),
                "x0": x0,
                "y0": y0,
                "x1": x1,
                "y1": y1,
                "visible_area_px": len(ys),
                "visible_fraction": round(min(len(ys) / whole, 1), 4),
                "touches_edge": int(edge),
                "detail": plan["detail"],
                "in_frame": int(within),
                "length_um": round(float(plan["size"]), 1),
                "whole_area_px": whole,
            }
        )
    return out


def summary(photo, scene, objects):
    """Row of photos.csv: the counts are of bodies whose centre is in the picture."""
    row = {
        "photo": photo,
        "kind": scene["kind"],
        "um_per_px": round(scene["um"], 4),
        "width_px": scene["w"],
        "height_px": scene["h"],
        "light": scene["light"],
    }
    for stage in STAGES:
        row[f"n_{stage}"] = sum(o["stage"] == stage and o["in_frame"] for o in objects)
    return row
