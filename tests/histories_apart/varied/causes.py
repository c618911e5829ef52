"""The causes: what each does to the conditions of a hatch, and what an observer could read of it."""

from dataclasses import dataclass

import numpy as np

from varied.biology import TIME


@dataclass
class Cause:
    """One cause: `act(c, w, size, a)` changes conditions; sizes run from mildest to worst; `a` is 0..1 at random."""

    name: str
    means: str
    act: object
    low: float
    high: float
    shows: str = ""  # the water quantity in which it can be read
    own: bool = True  # not in the older list
    nearest: tuple = ()  # causes of the older list that come nearest
    reach: str = "cone"  # cone, day or lot: what it strikes
    weight: float = 1.0


def _from(start):
    return (TIME[None, :] >= np.asarray(start)[:, None]).astype(float)


def _drift(start, tau):
    late = np.maximum(TIME[None, :] - np.asarray(start)[:, None], 0)
    return 1 - np.exp(-late / tau)


def cold(c, w, s, a):
    c["temp"] = np.maximum(c["temp"] - s[:, None] * _drift(1 + 9 * a, 3.0), 12.0)


def heat(c, w, s, a):
    c["temp"] = c["temp"] + s[:, None] * _drift(3 + 9 * a, 1.5)


def cold_start(c, w, s, a):
    tau = (4 + 5 * a)[:, None]
    c["temp"] = c["temp"] - np.minimum(s, 17)[:, None] * np.exp(-TIME[None, :] / tau)


def low_ph(c, w, s, a):
    c["ph"] = c["ph"] - s[:, None] * (0.6 + 0.4 * _drift(np.zeros(a.size), 4.0))


def low_oxygen(c, w, s, a):
    c["oxy"] = c["oxy"] * (1 - s[:, None] * _drift(2 + 6 * a, 3.0))


def air_failure(c, w, s, a):
    start = 7 + 5 * a
    off = _from(start) - _from(start + s)
    c["oxy"] = np.where(off > 0, np.minimum(c["oxy"], 0.35), c["oxy"])
    c["wet"] = c["wet"] * (1 - 0.006 * s)


def over_density(c, w, s, a):
    c["density"] = c["density"] * (1 + s)


def high_salinity(c, w, s, a):
    c["sal"] = c["sal"] + s


def fresh_fill(c, w, s, a):
    c["sal"] = np.maximum(c["sal"] * (1 - s), 0.3)


def dark_start(c, w, s, a):
    c["dark_h"] = c["dark_h"] + s


def not_wetted(c, w, s, a):
    c["wet"] = c["wet"] * (1 - s)


def dormant_lot(c, w, s, a):
    c["viable"] = c["viable"] * (1 - s)


def old_lot(c, w, s, a):
    lost = w["old_as_u"] * s
    c["weak"] = 1 - (1 - c["weak"]) * (1 - lost)
    c["viable"] = c["viable"] * (1 - (s - lost))
    c["slow"] = c["slow"] * (1 + 0.25 * s)


def damp_cysts(c, w, s, a):
    c["viable"] = c["viable"] * (1 - 0.75 * s)
    c["weak"] = 1 - (1 - c["weak"]) * (1 - 0.35 * s)
    c["full"] = c["full"] * (1 - 0.25 * s)


def dirty_lot(c, w, s, a):
    c["empty"] = c["empty"] + 0.8 * s * c["full"]
    c["full"] = c["full"] * (1 - s)


def over_long(c, w, s, a):
    c["hours"] = np.minimum(c["hours"] + s, 49.0)


def counted_early(c, w, s, a):
    c["hours"] = np.maximum(c["hours"] - s, 12.0)


def tap_water(c, w, s, a):
    c["poison"] = c["poison"] + s


def soap_left(c, w, s, a):
    c["soap"] = c["soap"] + s
    c["wet"] = c["wet"] * (1 - np.minimum(1.2 * s, 0.15))


def decap_overdone(c, w, s, a):
    c["burst"] = 1 - (1 - c["burst"]) * (1 - s)
    c["weak"] = 1 - (1 - c["weak"]) * (1 - 0.15 * s)


def wrong_lot(c, w, s, a):
    c["viable"] = c["viable"] * (1 - s)
    c["full"] = c["full"] * (0.88 + 0.24 * a)
    c["slow"] = c["slow"] * (0.97 + 0.12 * a)
    c["weak"] = 1 - (1 - c["weak"]) * (1 - 0.4 * s * ((7 * a) % 1))  # the other tin may be an old one


def mixing_error(c, w, s, a):
    c["see_n"] = c["see_n"] * (1 - s)
    c["see_c"] = c["see_c"] * np.maximum(1 + w["mix_cyst"] * s, 0.2)
    c["see_s"] = c["see_s"] * np.maximum(1 + w["mix_shell"] * s, 0.2)
    c["scatter"] = c["scatter"] * (1 + 5 * s)


def scaled(c, w, s, a):
    c["all"] = c["all"] * (1 - s)


def miscount(c, w, s, a):
    c["see_n"] = c["see_n"] * (1 - s)
    c["u_as_c"] = np.maximum(c["u_as_c"], 0.7 * (a > 0.5))


C = Cause
LIST = [
    C("cold", "the heater failed or was off for most of the hatch", cold, 0.5, 13, "temp", False),
    C("heat", "the heater stuck on, or sun on the cone", heat, 1, 12, "temp", False),
    C("low_ph", "soft, unbuffered or foul water: embryos cannot leave the membrane", low_ph, 0.1, 1.9, "ph", False),
    C("low_oxygen", "too little air through the whole hatch", low_oxygen, 0.2, 0.95, "oxy", False),
    C("over_density", "too many grams per litre for the air given", over_density, 0.3, 3, "", False),
    C("high_salinity", "brine too strong (dosing slip, evaporation)", high_salinity, 4, 70, "sal", False, reach="day"),
    C("dark_start", "no light in the first hours", dark_start, 1, 22, "light", False, reach="day"),
    C("not_wetted", "cysts dry on the wall above the water", not_wetted, 0.05, 0.65, "", False),
    C(
        "dormant_lot",
        "diapause of the lot not ended: sound cysts that wait",
        dormant_lot,
        0.05,
        0.6,
        "",
        False,
        reach="lot",
    ),
    C("old_lot", "lot aged in store: weak embryos", old_lot, 0.05, 0.6, "", False, reach="lot"),
    C(
        "dirty_lot",
        "lot with sand, shells and empties: fewer full cysts per gram",
        dirty_lot,
        0.05,
        0.6,
        "",
        False,
        reach="lot",
    ),
    C("over_long", "counted or harvested many hours late", over_long, 4, 25, "hours", False),
    C("mixing_error", "sampled without stirring, or with the air off", mixing_error, 0.05, 0.6, "", False),
    C("weighing_error", "fewer grams in the cone than written", scaled, 0.05, 0.6, "", False),
    C("volume_error", "more water in the cone, or less in the pipette, than written", scaled, 0.05, 0.6, "", False),
    C("miscount", "nauplii missed by the counter", miscount, 0.05, 0.6, "", False),
    C(
        "damp_cysts",
        "tin left open, cysts took up moisture before use",
        damp_cysts,
        0.05,
        0.8,
        nearest=("old_lot",),
        reach="day",
    ),
    C(
        "tap_water",
        "chlorine, chloramine or copper in the water",
        tap_water,
        0.004,
        0.5,
        nearest=("low_ph",),
        reach="day",
    ),
    C("soap_left", "cone washed with soap or bleach and not rinsed", soap_left, 0.004, 0.3, nearest=("low_ph",)),
    C(
        "air_failure",
        "air stone blocked, fell off or pump out for some hours, then mended",
        air_failure,
        1.5,
        12,
        "",
        nearest=("low_oxygen",),
    ),
    C("decap_overdone", "too long or too hot in bleach: embryos burst and vanish", decap_overdone, 0.05, 0.6),
    C(
        "dilution_error",
        "diluted before counting, and the factor not (or wrongly) written",
        scaled,
        0.05,
        0.6,
        nearest=("volume_error", "weighing_error"),
    ),
    C(
        "wrong_lot",
        "cysts of another tin than the one written",
        wrong_lot,
        0.05,
        0.6,
        nearest=("old_lot", "dormant_lot"),
    ),
    C(
        "cold_start",
        "filled with cold water, the heater caught up hours later",
        cold_start,
        1,
        17,
        "",
        nearest=("cold",),
    ),
    C("counted_early", "counted hours before the written time", counted_early, 1, 10, "hours"),
    C("fresh_fill", "far too little salt in the water", fresh_fill, 0.4, 0.98, "sal", reach="day"),
]
BY_NAME = {c.name: c for c in LIST}
SAME_COUNTS = [
    ["weighing_error", "volume_error", "dilution_error"],
    ["dormant_lot", "wrong_lot"],
    ["old_lot", "damp_cysts"],
    ["low_oxygen", "air_failure"],
    ["cold", "cold_start", "counted_early"],
    ["tap_water", "soap_left"],
]


def apply(name, w, c, size, a):
    """Return conditions `c` (copied) after the cause `name` of the given sizes."""
    out = {k: np.array(v, copy=True) for k, v in c.items()}
    if name != "none":
        BY_NAME[name].act(out, w, np.asarray(size, float), np.asarray(a, float))
    return out
