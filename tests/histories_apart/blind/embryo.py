"""What happens in one cone: embryos of a lot, each with its pace and limits, in water that has a course."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

STEP_H = 0.25
CLOCK = np.arange(0.0, 84.0 + STEP_H, STEP_H)
EMBRYOS = 320
PH_CLASSES = 7


@dataclass
class Nature:
    """Constants of one site's world: facts the trade knows only roughly."""

    zero_c: float  # below this nothing develops
    best_c: float  # above this the pace falls
    heat_width_c: float
    lethal_c: float
    ph_half: float  # pH at which half of the embryos can still leave the membrane
    ph_spread: float
    oxygen_half: float  # mg/L at which the pace is half
    salt_limit: float  # ppt at which half of the cysts take up too little water
    salt_spread: float
    salt_delay: float  # share of development time added per ppt above 33
    light_need: float  # share of embryos that wait for light
    dark_wait_h: float  # hours after which half of the waiting ones start without light
    acid: float  # pH units per g/L at 2.3 meq/L
    oxygen_use: float  # mg/L below saturation per g/L with good air
    stores_h: float  # hours a nauplius lives unfed in the cone before losses begin
    loss_per_h: float
    shell_pieces: float  # shells counted per opened cyst


@dataclass
class Lot:
    name: str
    cysts_per_g: float  # full cysts
    empties_per_g: float  # closed but empty
    shells_per_g: float  # open shells already in the tin
    dead: float  # share of full cysts that never develop
    resting: float  # share in diapause
    pace_h: float  # median hours at 28 C to breaking
    pace_sd: float  # spread of sizes and ages within the lot (log)
    free_h: float  # median hours from breaking to free nauplius at 28 C
    dry_weight_ug: float
    ageing: float = 0.0  # logit of dead per day since opening
    slowing: float = 0.0  # share of pace per day since opening
    seed: int = 0
    sheet: dict = field(default_factory=dict)

    def embryos(self) -> dict:
        if "_grid" not in self.__dict__:
            rng = np.random.default_rng(self.seed)
            names = ("dead", "pace", "free", "wet", "ph", "salt", "light", "dark", "toll")
            self._grid = {n: (rng.permutation(EMBRYOS) + 0.5) / EMBRYOS for n in names}
        return self._grid


@dataclass
class Cone:
    """The true state of one cone, not what stands on the sheet."""

    grams: float
    litres: float
    temp: float
    salinity: float
    ph: float
    alkalinity: float = 2.3  # meq/L
    air: float = 1.0  # gas exchange, 1 = good
    lux: float = 2000.0
    light_from: float = 0.0  # hours; later than 0: timer came late
    cold_start: float = 0.0  # degrees below at filling
    inertia_h: float = 3.0
    temp_spells: list = field(default_factory=list)  # (from h, to h, degrees)
    air_spells: list = field(default_factory=list)  # (from h, to h, factor)
    poison: float = 0.0  # hazard per hour at filling, fades over hours (chlorine left)
    bloom: float = 0.0  # hazard per hour on hatched animals from the bloom on
    bloom_from: float = 14.0
    dry: float = 0.0  # share of cysts stuck on wall or in clumps, never in the water
    burnt: float = 0.0  # share of embryos destroyed in the chlorine bath
    shear: float = 0.0  # share of nauplii broken by coarse air
    lost_after: float = 0.0  # share of nauplii dead before the count (bucket kept warm)
    vigour: float = 0.0  # logit on the share dead
    tempo: float = 1.0
    age_days: float = 0.0
    blend: tuple | None = None  # (other lot, share)


def _norm_ppf(p: np.ndarray) -> np.ndarray:
    """Normal quantile by the logistic-like approximation, good to 0.02: enough for drawing embryos."""
    return 4.91 * (p**0.14 - (1 - p) ** 0.14)


def _running(rate: np.ndarray) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(rate[:-1] * STEP_H)])


def _when(total: np.ndarray, target: np.ndarray) -> np.ndarray:
    """First hour at which a rising total reaches each target; infinite if it never does."""
    rising = total + np.arange(len(total)) * 1e-9
    return np.where(target <= rising[-1], np.interp(target, rising, CLOCK), np.inf)


def course(cone: Cone, nature: Nature) -> dict:
    """Temperature, oxygen and pH through the hatch."""
    wish = np.full(len(CLOCK), cone.temp)
    for a, b, d in cone.temp_spells:
        wish[(a <= CLOCK) & (b > CLOCK)] += d
    temp = np.empty_like(wish)
    now = cone.temp - cone.cold_start
    share = STEP_H / max(cone.inertia_h, STEP_H)
    if cone.temp_spells or cone.cold_start:
        for i, w in enumerate(wish):
            now += share * (w - now)
            temp[i] = now
    else:
        temp[:] = cone.temp
    air = np.full(len(CLOCK), cone.air)
    for a, b, f in cone.air_spells:
        air[(a <= CLOCK) & (b > CLOCK)] *= f
    pace = (temp - nature.zero_c) / (28.0 - nature.zero_c)
    over = np.clip((temp - nature.best_c) / nature.heat_width_c, 0, 1)
    pace = np.clip(pace * (1 - over**2), 0, None)
    density = cone.grams / cone.litres
    stage = 1 / (1 + np.exp(-(_running(pace) - 12) / 3))
    full = (14.6 - 0.4 * temp + 0.0043 * temp**2) * (1 - 0.0055 * cone.salinity) + 0.15
    deficit = nature.oxygen_use * density * (0.25 + 0.75 * stage) / np.clip(air, 0.01, None) ** 1.0
    bloomed = (cone.bloom_from < CLOCK) * cone.bloom * 12
    oxygen = np.clip(full - deficit - bloomed, 0.15, None)
    ph = (
        cone.ph
        - nature.acid * density * stage * 2.3 / max(cone.alkalinity, 0.2)
        - 0.05 * np.clip(full - oxygen - 0.8, 0, 4)
    )
    return {"temp": temp, "oxygen": oxygen, "ph": ph, "pace": pace}


def fractions(cone: Cone, lot: Lot, nature: Nature, hours: np.ndarray) -> np.ndarray:
    """Shares of the lot's full cysts at each hour: nauplii, umbrella, unhatched, opened shells (columns)."""
    g = lot.embryos()
    c = course(cone, nature)
    breath = c["oxygen"] ** 2 / (c["oxygen"] ** 2 + nature.oxygen_half**2)
    slower = 1 + nature.salt_delay * (cone.salinity - 33) * (1 if cone.salinity > 33 else 0.4)
    growth = _running(c["pace"] * breath * cone.tempo / max(slower, 0.5))
    wet = 1.0 + 1.2 * g["wet"] * (1 + (cone.salinity / 60) ** 3)
    start = np.interp(wet, CLOCK, growth)
    lit = 1 - np.exp(-cone.lux / 350.0)
    waits = g["light"] < nature.light_need * (1 - lit if cone.light_from <= 2 else 1.0)
    dark = nature.dark_wait_h * np.exp(0.6 * _norm_ppf(g["dark"]))
    if 2 < cone.light_from < 80:
        dark = np.minimum(dark, cone.light_from)
    start = np.where(waits, np.interp(np.minimum(wet + dark, CLOCK[-1]), CLOCK, growth), start)
    need = lot.pace_h * (1 + lot.slowing * cone.age_days) * np.exp(lot.pace_sd * _norm_ppf(g["pace"]))
    broke = _when(growth, start + need)
    broke[g["salt"] < 1 / (1 + np.exp(-(cone.salinity - nature.salt_limit) / nature.salt_spread))] = np.inf
    odds = np.log(lot.dead / (1 - lot.dead)) + cone.vigour + lot.ageing * cone.age_days
    gone = 1 / (1 + np.exp(-odds))
    broke[g["dead"] < gone + (1 - gone) * lot.resting] = np.inf

    free_need = lot.free_h * np.exp(0.35 * _norm_ppf(g["free"]))
    hatched = np.full(EMBRYOS, np.inf)
    which = np.minimum((g["ph"] * PH_CLASSES).astype(int), PH_CLASSES - 1)
    for k in range(PH_CLASSES):
        mine = which == k
        half = nature.ph_half + nature.ph_spread * float(_norm_ppf(np.array((k + 0.5) / PH_CLASSES)))
        enzyme = 1 / (1 + np.exp(-(c["ph"] - half) / 0.07))
        freed = _running(c["pace"] * breath * enzyme * cone.tempo)
        ok = mine & np.isfinite(broke)
        hatched[ok] = _when(freed, np.interp(broke[ok], CLOCK, freed) + free_need[ok])

    hot = np.minimum(0.12 * np.exp((c["temp"] - nature.lethal_c) / 0.9), 5.0)
    stifled = 0.06 * np.clip((0.7 - c["oxygen"]) / 0.5, 0, 1)
    toll = _running(hot + stifled + cone.poison * np.exp(-CLOCK / 9.0))
    death = _when(toll, -np.log(1 - g["toll"]))
    broke[death < broke] = np.inf
    hatched[death < hatched] = np.inf

    age = np.clip(hours[:, None] - np.where(np.isfinite(hatched), hatched, 1e6)[None, :], 0, None)
    warm = float(np.clip((cone.temp - nature.zero_c) / (28 - nature.zero_c), 0.3, 1.4))
    worn = nature.loss_per_h * np.clip(age * warm - nature.stores_h, 0, None)
    fresh_loss = 0.10 * np.clip((8 - cone.salinity) / 8, 0, 1) * age
    sick = cone.bloom * np.clip(hours[:, None] - np.maximum(hatched, cone.bloom_from)[None, :], 0, None)
    dies = _running(hot + stifled)
    hurt = np.interp(hours, CLOCK, dies)[:, None] - np.interp(np.minimum(hatched, 84), CLOCK, dies)[None, :]
    alive = np.exp(-(worn + fresh_loss + sick + np.clip(hurt, 0, None))) * (1 - cone.shear) * (1 - cone.lost_after)
    is_n = hatched[None, :] <= hours[:, None]
    is_u = (broke[None, :] <= hours[:, None]) & ~is_n
    return np.column_stack([(is_n * alive).mean(1), is_u.mean(1), (~is_n & ~is_u).mean(1), (is_n | is_u).mean(1)])


def per_ml(cone: Cone, lot: Lot, nature: Nature, hours) -> dict:
    """True numbers per mL in a perfectly mixed cone."""
    hours = np.atleast_1d(np.asarray(hours, float))
    parts = [(lot, 1.0)] if cone.blend is None else [(lot, 1 - cone.blend[1]), (cone.blend[0], cone.blend[1])]
    out = {k: np.zeros(len(hours)) for k in ("nauplii", "umbrella", "full", "empty", "shells")}
    grams_ml = cone.grams / cone.litres / 1000.0
    for part, share in parts:
        f = fractions(cone, part, nature, hours)
        scale = share * grams_ml * (1 - cone.dry)
        living = scale * part.cysts_per_g * (1 - cone.burnt)
        out["nauplii"] += living * f[:, 0]
        out["umbrella"] += living * f[:, 1]
        out["full"] += living * f[:, 2] + scale * part.cysts_per_g * cone.burnt * 0.35
        out["empty"] += scale * part.empties_per_g
        out["shells"] += scale * (part.cysts_per_g * f[:, 3] * nature.shell_pieces + part.shells_per_g)
    return out
