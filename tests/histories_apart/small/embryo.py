"""What becomes of the full cysts of one incubation: hours needed, and a hardness that goes with speed.

Every embryo has a place in its lot from slow to quick; the slow ones are also the first to stop under stress. Warm,
aired hours are summed; what has enough of them breaks, then leaves the membrane. All inputs are columns (one hatch a
row) of two dicts: the world `w` and what happened in the cone `h`.
"""

import numpy as np
from scipy.special import ndtr, ndtri

PLACES = 31
Z = ndtri((np.arange(PLACES) + 0.5) / PLACES)[None, :]
HOURS = np.arange(0.25, 72, 0.5)[None, :]

NORMAL = {
    "temp": 28.0, "early_temp": 28.0, "early_h": 0.0, "ph": 8.2, "oxy": 6.5, "sal": 33.0, "dark_h": 0.0, "hours": 24.0,
    "cut_from": 0.0, "cut_h": 0.0, "cut_temp": 24.0, "cut_oxy": 6.5, "dense": 1.5, "poison": 0.0, "burnt": 0.0,
    "wall": 0.0, "rough": 0.0, "bloom": 0.0, "asleep": 0.0, "spoilt": 0.0,
}  # fmt: skip
"""What happens in a cone where nothing does."""


def world(rng, n=1):
    """Draw constants of `n` worlds, each a column."""

    def u(a, b):
        return rng.uniform(a, b, (n, 1))

    return {
        "tmin": u(9, 14), "thot": u(30.2, 32.2), "tstop": u(34.5, 37.5), "b50": u(13.0, 16.5), "spread": u(0.09, 0.17),
        "u50": u(1.2, 3.2), "hard": u(2.3, 3.1), "lean": u(0.1, 0.8), "k_heat": u(0.03, 0.12), "k_oxy": u(0.03, 0.10),
        "o_need": u(2.4, 4.2), "k_ph": u(1.3, 3.2), "ph_slow": u(0.2, 1.5), "k_salt": u(0.03, 0.07),
        "salt": u(42, 60), "k_fresh": u(0.25, 0.8), "need_light": u(0.15, 0.65), "light_h": u(3, 10),
        "u_heat": u(0.15, 0.7), "u_oxy": u(0.05, 0.5), "u_ph": u(0.5, 0.95), "u_poison": u(0.1, 0.6),
        "u_fresh": u(0.3, 0.9), "old_h": u(14, 24), "die": u(0.015, 0.06), "crowd": u(0.015, 0.06), "lost_u": u(0, 0.5),
        "dense_ok": u(2.5, 5.0), "wall_drop": u(0, 0.3), "ghost": u(0.6, 1.0), "viable": u(0.68, 0.94),
        "empty": u(0.02, 0.25),
    }  # fmt: skip


def shares(w, h):
    """Return N, U, C, S per full cyst of the lot."""
    h = {k: np.reshape(np.asarray(h.get(k, v), float), (-1, 1)) for k, v in NORMAL.items()}
    temp = np.where(h["early_h"] > HOURS, h["early_temp"], h["temp"])
    cut = (h["cut_from"] <= HOURS) & (h["cut_from"] + h["cut_h"] > HOURS)
    temp = np.where(cut, np.minimum(temp, h["cut_temp"]), temp)
    oxy = np.where(cut, np.minimum(h["oxy"], h["cut_oxy"]), h["oxy"])
    oxy = np.maximum(oxy - 0.25 * np.maximum(h["dense"] - w["dense_ok"], 0), 0.3)
    ph = h["ph"] - 0.05 * np.maximum(h["dense"] - w["dense_ok"], 0)
    here = h["hours"] > HOURS
    warm = np.clip((temp - w["tmin"]) / (28 - w["tmin"]), 0, None) ** 2
    warm *= np.clip((w["tstop"] - temp) / (w["tstop"] - w["thot"]), 0, 1)
    air = np.clip(oxy / w["o_need"], 0.05, 1)
    summed = (warm * air * here * 0.5).sum(1, keepdims=True)
    pace = np.maximum(summed / h["hours"], 0.05)
    acid = np.maximum(8.0 - ph, 0)
    needs = w["b50"] * np.exp(-w["spread"] * Z) + 0.02 * np.maximum(h["sal"] - 35, 0)
    dark = np.minimum(h["dark_h"], h["hours"])
    waits = w["need_light"] * np.clip(dark / w["light_h"], 0, 1)
    swims = needs + w["u50"] * (1 + w["ph_slow"] * acid)
    dose = {
        "heat": w["k_heat"] * (np.maximum(temp - w["thot"], 0) * here * 0.5).sum(1, keepdims=True),
        "oxy": w["k_oxy"] * (np.maximum(w["o_need"] - oxy, 0) * here * 0.5).sum(1, keepdims=True),
        "ph": w["k_ph"] * acid,
        "salt": w["k_salt"] * np.maximum(h["sal"] - w["salt"], 0),
        "fresh": w["k_fresh"] * np.maximum(5.5 - h["sal"], 0),
        "poison": h["poison"],
    }
    whole = sum(dose.values())
    to_u = {"heat": w["u_heat"], "oxy": w["u_oxy"], "ph": w["u_ph"], "salt": 0.05, "fresh": w["u_fresh"]}
    to_u["poison"] = w["u_poison"]
    as_u = sum(to_u[k] * v for k, v in dose.items()) / np.maximum(whole, 1e-9)
    stops = ndtr(whole - w["hard"] - w["lean"] * Z)
    goes = (1 - stops) * (1 - waits)
    broke, out = summed >= needs, summed >= swims
    age = np.maximum((summed - swims) / pace, 0)
    lives = np.exp(-w["die"] * np.maximum(age - w["old_h"], 0)) * (1 - h["rough"])
    lives *= (1 - h["bloom"]) * np.exp(-w["crowd"] * np.maximum(h["dense"] - w["dense_ok"], 0))
    n = (goes * out * lives).mean(1)
    left = (goes * out).mean(1)
    u = (goes * (broke & ~out) + stops * as_u * broke).mean(1)
    c = 1 - left - u
    able = (w["viable"] * (1 - h["asleep"]) * (1 - h["spoilt"]) * (1 - h["burnt"]))[:, 0]
    wall = h["wall"][:, 0]
    near = 1 - wall
    full = {
        "N": near * able * n,
        "U": near * able * u,
        "C": near * (able * c + w["ghost"][:, 0] * (1 - able)) + wall * w["wall_drop"][:, 0],
        "S": near * (able * left + w["empty"][:, 0]),
    }
    return full
