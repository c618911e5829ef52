"""The quiet set: seven months of rooms where nothing goes wrong."""

import numpy as np
import pandas as pd

from varied import biology, poor, record, rooms, sim

KINDS = ["aquarium", "zoo", "weekly", "brief", "breeder", "hatchery", "twice", "bottles"]


def like_lots(rng, n, spread=0.006):
    """`n` lots of one brand which are nearly alike, as a room with nothing wrong would buy."""
    base, out = rooms.draw_lot(rng), {}
    while len(out) < n:
        name = f"{rng.choice(['L', 'B', 'N', '24-'])}{rng.integers(100, 999)}"
        lot = dict(base)
        lot["viable"] = float(np.clip(base["viable"] + rng.normal(0, spread), 0.5, 0.97))
        lot["full"] = base["full"] * float(np.exp(rng.normal(0, 1.5 * spread)))
        lot["slow"] = base["slow"] * float(np.exp(rng.normal(0, 0.01)))
        out[name] = lot
    return out


def calm_room(rng, name, kind, n_days, n_lots, **force):
    """A room, its world, its lots and the calm plan of `n_days`."""
    room = rooms.draw_room(rng, kind, name)
    room["sheet_hour"] = float(rng.choice([0.5, 1.0, 20.0]))
    if kind == "hatchery":
        room["use"] = [3, 5]
    room.update(force)
    world = biology.draw_worlds(rng, 1)
    poor.settle_hours(room, world)
    lots = like_lots(rng, n_lots)
    first = pd.Timestamp("2023-01-09") + pd.Timedelta(days=int(rng.integers(0, 600)))
    ends = np.sort(n_days * (np.arange(1, n_lots) / n_lots + rng.uniform(-0.06, 0.06, n_lots - 1)))
    both = bool(rng.uniform() < 0.5)

    def lot_of_day(d, g):
        ago = (d - first).days + (g.uniform(-3, 3) if both else 0)
        return list(lots)[int(np.searchsorted(ends, ago))]

    p = sim.plan(rng, room, first, n_days, lot_of_day)
    return room, world, lots, p, sim.conditions(room, p, lots)


def head(seed, room):
    """The fields that every truth has."""
    return {
        "seed": seed,
        "kind_of_room": room["kind"],
        "water": {"day_share": room["day_share"], "day_to_day": room["day_to_day"], "seasonal_c": room["seasonal_c"]},
    }


def make(seed, n=6):
    """All sites of the quiet set."""
    out = {}
    names = np.random.default_rng([seed, 2]).permutation(rooms.WORDS)[:n]
    for i, name in enumerate(names):
        g = np.random.default_rng([seed, 2, i])
        room, world, lots, p, c = calm_room(g, str(name), KINDS[i % len(KINDS)], 212, 3)
        t = record.tables(g, room, p, c, sim.hatch(room, world, c), lots)
        out[str(name)] = t, {**head(seed, room), "lots": list(lots), "hatches": len(p)}
    return out
