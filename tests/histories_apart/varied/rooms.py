"""Kinds of rooms: who hatches what, how often, and what they write down."""

import numpy as np

WORDS = [
    "anemone",
    "bream",
    "cuttle",
    "dory",
    "eelgrass",
    "fulmar",
    "goby",
    "heron",
    "isopod",
    "jetty",
    "kelp",
    "limpet",
    "mullet",
    "nerite",
    "otter",
    "plover",
    "quay",
    "ruffe",
    "seahorse",
    "tern",
    "urchin",
    "volute",
    "whelk",
    "xenia",
    "yawl",
    "zander",
    "alga",
    "brill",
    "conch",
    "dunlin",
    "egret",
    "flounder",
    "gannet",
    "halibut",
    "ide",
    "jacana",
    "knot",
    "lumpfish",
    "mussel",
    "nekton",
    "oyster",
    "pipefish",
    "quahog",
    "ray",
    "sole",
    "tench",
    "umbra",
    "vendace",
    "wrasse",
    "yabby",
    "zebrafish",
    "avocet",
    "blenny",
    "coral",
    "dab",
]
LANGS = ["en", "en", "en", "en", "de", "nl", "fr", "es", "it", "id"]
OFFSET = {"en": ["+00:00", "+01:00", "-05:00", "+10:00"], "id": ["+07:00"]}

# kind: cones, cones a day, litres, g/l, °C, ppt, subsamples, µl, hours of readings, weekdays, water, stages counted
KINDS = {
    "aquarium": {
        "cones": (2, 3),
        "use": (1, 2),
        "litres": (5, 20),
        "gl": (1.5, 3),
        "temp": (26, 28.5),
        "sal": (24, 33),
        "subs": (3, 4),
        "ul": (250, 500),
        "hours": [24],
        "days": range(7),
        "water": "sheet",
        "counts": "NUC",
    },
    "hatchery": {
        "cones": (12, 14),
        "use": (12, 12),
        "litres": (50, 200),
        "gl": (1, 2.2),
        "temp": (27.5, 29),
        "sal": (28, 35),
        "subs": (3, 3),
        "ul": (250, 500),
        "hours": [20, 22, 24],
        "days": range(7),
        "water": "some",
        "counts": "NUC",
    },
    "university": {
        "cones": (3, 3),
        "use": (3, 3),
        "litres": (0.8, 1),
        "gl": (1.6, 2),
        "temp": (28, 28),
        "sal": (33, 35),
        "subs": (5, 6),
        "ul": (250, 250),
        "hours": [24],
        "days": (0, 3),
        "water": "full",
        "counts": "NUES",
    },
    "zoo": {
        "cones": (2, 3),
        "use": (2, 2),
        "litres": (8, 15),
        "gl": (1.5, 3),
        "temp": (25, 27.5),
        "sal": (20, 33),
        "subs": (3, 4),
        "ul": (200, 500),
        "hours": [24],
        "days": range(5),
        "water": "sheet",
        "counts": "NUCS",
    },
    "handover": {
        "cones": (2, 4),
        "use": (2, 3),
        "litres": (4, 30),
        "gl": (1.5, 2.5),
        "temp": (26, 28.5),
        "sal": (22, 34),
        "subs": (3, 5),
        "ul": (250, 500),
        "hours": [24],
        "days": range(6),
        "water": "sheet",
        "counts": "NUC",
    },
    "brief": {
        "cones": (2, 4),
        "use": (1, 3),
        "litres": (10, 60),
        "gl": (1.5, 2.5),
        "temp": (26.5, 29),
        "sal": (25, 35),
        "subs": (3, 4),
        "ul": (250, 1000),
        "hours": [24],
        "days": range(7),
        "water": "sheet",
        "counts": "NC",
    },
    "weekly": {
        "cones": (3, 4),
        "use": (2, 3),
        "litres": (10, 40),
        "gl": (1.5, 2.5),
        "temp": (26, 28.5),
        "sal": (22, 35),
        "subs": (3, 4),
        "ul": (250, 500),
        "hours": [24],
        "days": range(6),
        "water": "weekly",
        "counts": "NUC",
    },
    "twice": {
        "cones": (2, 4),
        "use": (2, 2),
        "litres": (2, 20),
        "gl": (2, 2.5),
        "temp": (26.5, 28.5),
        "sal": (25, 35),
        "subs": (4, 5),
        "ul": (200, 300),
        "hours": [24, 30],
        "days": range(6),
        "water": "full",
        "counts": "NUC",
    },
    "bottles": {
        "cones": (3, 6),
        "use": (1, 2),
        "litres": (1, 2),
        "gl": (3, 5),
        "temp": (25, 28),
        "sal": (20, 30),
        "subs": (3, 4),
        "ul": (100, 250),
        "hours": [24, 28],
        "days": range(7),
        "water": "some",
        "counts": "NUC",
    },
    "breeder": {
        "cones": (2, 4),
        "use": (2, 3),
        "litres": (15, 40),
        "gl": (1.5, 3),
        "temp": (24.5, 27),
        "sal": (15, 22),
        "subs": (3, 4),
        "ul": (250, 500),
        "hours": [24, 26, 30],
        "days": range(6),
        "water": "some",
        "counts": "NUCS",
    },
}
STAFF = [
    "Ana",
    "Bo",
    "Cleo",
    "Dirk",
    "Elif",
    "Fay",
    "Gus",
    "Hana",
    "Ivo",
    "Jun",
    "Kofi",
    "Lena",
    "Mats",
    "Nia",
    "Oki",
    "Pia",
    "Rui",
    "Sari",
    "Tom",
    "Uli",
    "Vera",
    "Wim",
    "Yan",
    "Zoe",
]


def draw_room(rng, kind, name):
    """Draw one room of the kind: fixed habits, staff, cones with their offsets, spreads and errors."""
    k = KINDS[kind]
    u = rng.uniform
    litres = float(u(*k["litres"]))
    litres = round(litres, 1) if litres < 3 else float(round(litres))
    gl = float(u(*k["gl"]))
    if litres >= 20:
        gl = min(gl, 2.2)
    grams = round(litres * gl, 1 if litres < 100 else 0)
    lang = str(rng.choice(LANGS))
    n_cones = int(rng.integers(k["cones"][0], k["cones"][1] + 1))
    style = rng.choice(["A", "1", "C1", "K-1", "blue"])
    if style == "A":
        cones = [chr(65 + i) for i in range(n_cones)]
    elif style == "blue" and n_cones <= 6:
        cones = ["blue", "green", "red", "white", "black", "yellow"][:n_cones]
    else:
        cones = [f"{str(style)[:-1] if style != 'blue' else 'T'}{i + 1}" for i in range(n_cones)]
    ul = float(rng.choice([v for v in (100, 200, 250, 300, 500, 1000) if k["ul"][0] <= v <= k["ul"][1]]))
    dilution = 1.0
    aim = gl * 250 * 0.75 * ul / 1000  # nauplii per subsample, undiluted
    while aim / dilution > 230:
        dilution = {1.0: 2.0, 2.0: 4.0, 4.0: 5.0, 5.0: 10.0, 10.0: 20.0}[dilution]
    crew = [str(s) for s in rng.choice(STAFF, int(rng.integers(2, 5 if kind != "hatchery" else 7)), replace=False)]
    counter = "photo" if u() < 0.3 else "person"
    sharp = u(0.6, 1.6)  # how steady the room is
    room = {
        "name": name,
        "kind": kind,
        "lang": lang,
        "litres": litres,
        "grams": grams,
        "gl": gl,
        "cones": cones,
        "use": [min(v, n_cones) for v in k["use"]],
        "subs": int(rng.integers(k["subs"][0], k["subs"][1] + 1)),
        "ul": ul,
        "dilution": dilution,
        "weekdays": list(k["days"]),
        "water": k["water"],
        "counts": k["counts"],
        "hours": [float(rng.choice(k["hours"]))] if kind != "twice" else [24.0, 30.0],
        "crew": crew,
        "offset": str(rng.choice(OFFSET.get(lang, ["+01:00"]))),
        "counter": counter,
        "start_hour": float(rng.choice([8, 8.5, 9, 10, 15, 16.5])),
        "decap": bool(u() < (0.35 if litres < 40 else 0.1)),
        "test_every": 0 if kind == "university" else (int(rng.choice([0, 0, 14, 30]))),
        "note_rate": float(u(0.05, 0.35)),
        "write_hours": bool(u() < 0.75),
        "initials": bool(u() < 0.3),
        "miss": float(u(0.01, 0.12)),
        "slip": float(u(0.0, 0.012)),
        "late_reading": bool(u() < 0.5),
        "sd": {
            "temp": u(0.15, 0.5),
            "ph": u(0.03, 0.1),
            "oxy": u(0.15, 0.45),
            "sal": u(0.3, 1.2),
            "viable": sharp * u(0.10, 0.22),
            "yield": sharp * u(0.025, 0.06),
            "stage": u(0.05, 0.2),
            "pipette": u(0.03, 0.1),
            "clump": u(0.0, 0.06),
            "weigh": u(0.003, 0.02),
            "slow": u(0.01, 0.035),
        },
        "heavy": bool(u() < 0.4),
        "meter": {"temp": u(0.1, 0.4), "ph": u(0.03, 0.12), "oxy": u(0.1, 0.5), "sal": u(0.3, 1.0)},
        "mean": {"temp": u(*k["temp"]), "ph": u(8.05, 8.4), "oxy": u(5.4, 6.8), "sal": u(*k["sal"])},
        "day_share": {q: u(0.15, 0.85) for q in ("temp", "ph", "oxy", "sal")},
        "day_to_day": {q: u(0, 0.75) for q in ("temp", "ph", "oxy", "sal")},
        "seasonal_c": float(u(0.3, 1.0)) if u() < 0.3 else 0.0,
    }
    room["cone_off"] = {
        c: {"temp": rng.normal(0, 0.2), "yield": rng.normal(0, 0.02), "oxy": rng.normal(0, 0.15)} for c in cones
    }
    room["hand"] = {p: draw_hand(rng) for p in crew}
    room["hand"]["photo"] = draw_hand(rng)
    return room


def draw_hand(rng):
    """How one person (or the camera) differs for good: nauplii seen, umbrellas told apart, pipette, hours."""
    return {
        "n": float(np.exp(rng.normal(0, 0.025))),
        "u": float(np.exp(rng.normal(0, 0.25))),
        "c": float(np.exp(rng.normal(0, 0.06))),
        "s": float(np.exp(rng.normal(0, 0.15))),
        "late": float(rng.normal(0, 0.25)),
        "scrawl": float(rng.uniform(0, 1)),
    }


def draw_lot(rng, good=True):
    """One lot as bought; `claim` is what its label says."""
    v = rng.uniform(0.72, 0.95) if good else rng.uniform(0.55, 0.75)
    full = rng.uniform(215e3, 300e3)
    return {
        "full": full,
        "viable": v,
        "weak": rng.uniform(0.005, 0.05),
        "slow": rng.uniform(0.93, 1.08),
        "empty": full * rng.uniform(0.02, 0.25),
        "claim": float(np.clip(round((v + rng.normal(0.02, 0.03)) * 20) * 5, 60, 95)),
    }
