"""What goes wrong: each cause acts on the cone, the sample or the sheet, with one size from 0 (nothing) to 1 (ruin)."""

from __future__ import annotations

import copy

import numpy as np

from blind.embryo import Lot
from blind.history import Hatch
from blind.world import Site

ROOM = {"cold_room", "blower", "power_cut", "well_water", "timer"}  # ways that strike all cones of the day


def worse_lot(lot: Lot, cause: str, s: float) -> Lot:
    out = copy.copy(lot)
    out.__dict__.pop("_grid", None)
    out.sheet = dict(lot.sheet)
    if cause == "dormant_lot":
        out.resting = min(0.95, lot.resting + 0.9 * s)
    elif cause == "old_lot":
        odds = np.log(lot.dead / (1 - lot.dead)) + 5 * s
        out.dead = float(1 / (1 + np.exp(-odds)))
        out.pace_h, out.pace_sd = lot.pace_h * (1 + 0.2 * s), lot.pace_sd * (1 + s)
    elif cause == "dirty_lot":
        out.cysts_per_g = lot.cysts_per_g * (1 - 0.6 * s)
        out.shells_per_g = lot.shells_per_g + lot.cysts_per_g * 0.8 * s
        out.empties_per_g = lot.empties_per_g + lot.cysts_per_g * 0.08 * s
    return out


def act(h: Hatch, cause: str, way: str, s: float, at: float, site: Site) -> None:
    """Apply one cause of size s to a hatch; `at` is the hour at which it strikes where that matters."""
    c = h.cone
    if cause in ("cold", "power_cut"):
        if way == "power_cut":
            c.temp_spells.append((at, at + 3 + 14 * s, -11.0))
            c.air_spells.append((at, at + 3 + 14 * s, 0.03))
        elif way == "cold_room":
            c.temp -= 9 * s
        else:
            c.temp_spells.append((at, 99, -14 * s))
    elif cause == "heat":
        c.temp_spells.append((at, 99, 2 + 11 * s))
    elif cause == "low_ph":
        c.ph -= 1.1 * s
        c.alkalinity /= 1 + (5 if way == "well_water" else 2) * s
    elif cause == "low_oxygen":
        c.air_spells.append((at, 99, float(np.exp(-6 * s))))
    elif cause == "over_density":
        c.grams *= 1 + 5 * s
        h.grams = round(h.grams * (1 + 5 * s), 2 if h.grams < 100 else 0)
        c.shear = 1 - (1 - c.shear) * (1 - 0.3 * s)
    elif cause == "high_salinity":
        c.salinity += 80 * s
        if way == "refractometer_off":
            h.false["salinity"] = -80 * s
    elif cause == "low_salinity":
        c.salinity *= 1 - s
    elif cause == "dark_start":
        c.lux *= float(np.exp(-7 * s))
        c.light_from = 99.0 if s > 0.25 else 0.0
    elif cause == "not_wetted":
        c.dry = 0.75 * s
    elif cause == "over_long":
        h.hours += 30 * s
    elif cause == "read_early":
        h.hours -= 0.5 * site.hours * s
    elif cause == "mixing_error":
        deep = {"nauplii": 1 - 0.6 * s, "umbrella": 1 + 0.5 * s, "cysts": 1 + 2.5 * s, "shells": 1 - 0.5 * s}
        top = {"nauplii": 1 - 0.8 * s, "umbrella": 1 - 0.85 * s, "cysts": 1 - 0.95 * s, "shells": 1 + 1.0 * s}
        h.stage.update(deep if way == "bottom" else top)
    elif cause == "weighing_error":
        c.grams *= 1 - 0.75 * s
    elif cause == "wrong_portion":
        c.grams *= 1 - 0.65 * s
    elif cause == "volume_error":
        c.litres *= 1 + 1.2 * s
    elif cause == "miscount":
        if way == "umbrella_as_cyst":
            h.stage.update(nauplii=1 - 0.7 * s)
            h.u_as_c = 0.6
            h.u_as_n = 0.0
        else:
            h.stage.update(dict.fromkeys(("nauplii", "umbrella", "cysts", "shells"), 1 - 0.7 * s))
    elif cause == "dilution_error":
        h.stage.update(dict.fromkeys(("nauplii", "umbrella", "cysts", "shells"), 0.5))
    elif cause == "bleach_left":
        c.poison = 0.6 * s
    elif cause in ("mixed_lots", "wrong_lot"):
        rest = worse_lot(h.lot, "old_lot", 0.9 if cause == "mixed_lots" else s)
        rest.seed += 5
        rest.name = h.lot.name + " old"
        c.blend = (rest, s if cause == "mixed_lots" else 1.0)
    elif cause == "decap_overdone":
        c.burnt = 0.8 * s
    elif cause == "bacterial_bloom":
        c.bloom, c.bloom_from = 0.3 * s, at
    elif cause == "harvest_loss":
        c.lost_after = 0.8 * s
    elif cause == "rough_air":
        c.shear = 0.7 * s
    else:
        raise ValueError(cause)


def striking_hour(cause: str, site: Site, r) -> float:
    if cause == "power_cut":
        return float(r.uniform(0.4, 0.65) * site.hours)
    if cause == "bacterial_bloom":
        return float(r.uniform(0.45, 0.65) * site.hours)
    return float(r.uniform(0.0, 0.45) * site.hours)


def calibrate(h: Hatch, cause: str, way: str, at: float, site: Site, drop: float) -> tuple[Hatch, float]:
    """The hatch with the cause at the size that takes `drop` of the nauplii per gram, or as near as it can."""
    before = h.expected(site)[0]
    low, high = 0.0, 1.0
    for _ in range(14):
        s = (low + high) / 2
        trial = copy.deepcopy(h)
        act(trial, cause, way, s, at, site)
        low, high = (s, high) if 1 - trial.expected(site)[0] / before < drop else (low, s)
    out = copy.deepcopy(h)
    act(out, cause, way, high, at, site)
    return out, high


def calibrate_lot(lot: Lot, cause: str, hatches: list, site: Site, drop: float) -> tuple[Lot, float]:
    def mean(of: Lot) -> float:
        total = 0.0
        for h in hatches[:6]:
            trial = copy.deepcopy(h)
            trial.lot = of
            total += trial.expected(site)[0]
        return total

    before, low, high = mean(lot), 0.0, 1.0
    for _ in range(14):
        s = (low + high) / 2
        low, high = (s, high) if 1 - mean(worse_lot(lot, cause, s)) / before < drop else (low, s)
    return worse_lot(lot, cause, high), high
