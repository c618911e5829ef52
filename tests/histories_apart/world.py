"""What happens in a cone, by an account of its own: embryos need warm hours, and breathe what the water holds.

All hatches of a site are run side by side in steps of half an hour. An embryo breaks its shell when its warm hours are
done, and leaves the membrane at a rate that acid and want of oxygen slow. Oxygen and acid follow from the grams, the
air and the buffer. Nothing here was measured; every site draws its own constants.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

STEP_H = 0.5
GERMS_BREATH = 20.0  # mg/L and hour of a full bloom: some 1e8 cells a ml (a rough figure from memory, no source)
COHORTS = 25
WITHIN = ((np.arange(COHORTS) + 0.5) / COHORTS - 0.5) * 2
"""Places of the embryos of a lot between its quickest (-1) and its slowest (1)."""


@dataclass
class Biology:
    """How the embryos of one site answer to their water."""

    per_degree: float
    hot_c: float
    hot_death_per_h: float
    oxygen_half: float
    ph_half: float
    ph_width: float
    salt_half: float
    salt_slows: float
    fresh_ppt: float
    fresh_loss: float
    lux_half: float
    breath_mg_g_h: float
    crowd_g_l: float
    crowd_loss_per_h: float
    shells_sink: float
    wall_washes_in: float

    @classmethod
    def draw(cls, rng):
        u = rng.uniform
        return cls(
            per_degree=u(0.06, 0.11),
            hot_c=u(31.5, 33.5),
            hot_death_per_h=u(0.06, 0.25),
            oxygen_half=u(0.6, 1.9),
            ph_half=u(7.35, 7.75),
            ph_width=u(0.08, 0.2),
            salt_half=u(62, 82),
            salt_slows=u(0.002, 0.006),
            fresh_ppt=u(6, 11),
            fresh_loss=u(0.3, 0.8),
            lux_half=u(80, 350),
            breath_mg_g_h=u(0.8, 1.8),
            crowd_g_l=u(3.5, 5.5),
            crowd_loss_per_h=u(0.01, 0.05),
            shells_sink=u(0.5, 1.0),
            wall_washes_in=u(0.0, 0.4),
        )


@dataclass
class Lot:
    """Cysts of one label; ``age_*`` count from the opening of the tin, in weeks."""

    name: str
    full_per_g: float
    lives: float
    rests: float
    closed_empty: float
    loose_shells: float
    need_h: float
    spread: float
    hanging_h: float
    needs_light: float
    age_death: float
    age_slower_h: float
    opened_day: float = 0.0
    label: dict = field(default_factory=dict)

    @classmethod
    def draw(cls, rng, name):
        u = rng.uniform
        grade = rng.choice([0.66, 0.78, 0.87, 0.93], p=[0.1, 0.3, 0.4, 0.2]) + u(-0.03, 0.03)
        return cls(
            name=name,
            full_per_g=u(2.1e5, 3.1e5),
            lives=grade,
            rests=u(0.01, 0.08),
            closed_empty=u(0.0, 0.05),
            loose_shells=u(0.0, 0.2),
            need_h=u(13.5, 16.5),
            spread=u(0.07, 0.16),
            hanging_h=u(0.8, 2.2),
            needs_light=u(0.05, 0.6),
            age_death=u(0.0, 0.002),
            age_slower_h=u(0.0, 0.04),
        )


@dataclass
class Runs:
    """What each hatch of a site truly met; arrays of one length. Faults change these before the cones are run."""

    start_c: np.ndarray
    end_c: np.ndarray
    night_c: np.ndarray
    salinity: np.ndarray
    ph: np.ndarray
    buffer: np.ndarray
    lux: np.ndarray
    air: np.ndarray
    air_off_from: np.ndarray
    air_off_h: np.ndarray
    grams: np.ndarray
    litres: np.ndarray
    hours: np.ndarray
    died: np.ndarray
    slower_h: np.ndarray
    on_wall: np.ndarray
    bleached: np.ndarray
    burnt: np.ndarray
    burst_per_h: np.ndarray
    soap_dies_per_h: np.ndarray
    soap_sticks: np.ndarray
    soap_kills_per_h: np.ndarray
    germs: np.ndarray
    germs_double_h: np.ndarray
    germs_kill_per_h: np.ndarray

    def copy(self):
        return Runs(**{k: v.copy() for k, v in vars(self).items()})


def oxygen_full(celsius, ppt):
    """Oxygen of air-saturated water in mg/L, a plain fit near 15 to 35 degrees."""
    return (14.2 - 0.36 * celsius + 0.0042 * celsius**2) * (1 - 0.0056 * ppt)


def run(bio, lots, runs, longest_h):
    """Per gram and hatch at every half hour: nauplii, hanging, unhatched (full and closed), shells; oxygen and pH too.

    Parameters
    ----------
    bio : Biology
    lots : list of Lot
        The lot that truly lay in each cone.
    runs : Runs
    longest_h : float
        To which hour the cones are followed.
    """

    def col(name):
        return np.array([getattr(lot, name) for lot in lots])[:, None]

    n = len(lots)
    steps = int(np.ceil(longest_h / STEP_H)) + 1
    need = (col("need_h") + runs.slower_h[:, None]) * (
        1 + col("spread") * np.sign(WITHIN) * np.abs(WITHIN) ** 1.3 * 1.7
    )
    takes_up = 1 / (1 + np.exp((runs.salinity - bio.salt_half) / 6))
    woken = 1 - col("needs_light")[:, 0] * (1 - runs.lux / (runs.lux + bio.lux_half)) / (
        1 - 2000 / (2000 + bio.lux_half) + 0.9
    )
    fresh = bio.fresh_loss * np.clip(1 - runs.salinity / bio.fresh_ppt, 0, 1)
    able = (
        np.clip(col("lives")[:, 0] - runs.died, 0.02, 1)
        * (1 - col("rests")[:, 0])
        * (1 - runs.burnt)
        * takes_up
        * woken
    )
    dense = runs.grams / runs.litres
    settled = np.clip(0.9 - runs.air / 3.2, 0, 0.8)  # weak air leaves a part of the cysts lying in the tip
    inside, hanging, swims = np.ones((n, COHORTS)), np.zeros((n, COHORTS)), np.zeros(n)
    freed_share = np.zeros(n)
    stuck, done, past, perished = np.zeros((n, COHORTS)), np.zeros((n, COHORTS)), np.zeros(n), np.zeros(n)
    oxygen = oxygen_full(runs.start_c, runs.salinity)
    ph, germs = runs.ph.copy(), runs.germs.copy()
    out = {k: np.zeros((n, steps)) for k in ("nauplii", "hanging", "unhatched", "shells", "oxygen", "ph", "celsius")}
    for i in range(steps):
        hour = i * STEP_H
        warm = runs.end_c + (runs.start_c - runs.end_c) * np.exp(-hour / 3.0)
        warm = warm + runs.night_c * ((hour >= 8) & (hour < 20))
        off = (hour >= runs.air_off_from) & (hour < runs.air_off_from + runs.air_off_h)
        stirs = np.where(off, 0.12, runs.air)
        quick = np.exp(bio.per_degree * (np.minimum(warm, 31) - 28))
        uses = bio.breath_mg_g_h * dense * quick * np.clip(hour / 6, 0.1, 1)
        # germs live on what embryos set free as they break, and breathe; a full bloom takes GERMS_BREATH
        germs = np.minimum(germs * 2 ** (STEP_H / runs.germs_double_h * np.clip(0.3 + freed_share, 0.3, 1)), 1.0)
        breath = GERMS_BREATH * germs
        full = oxygen_full(warm, runs.salinity)
        rest = np.exp(-stirs * STEP_H)
        oxygen = np.clip(oxygen * rest + (full - (uses + breath) / stirs) * (1 - rest), 0.05, None)
        sours = 0.055 * (uses + 0.4 * breath) / np.sqrt(stirs + 0.3) / runs.buffer
        ph = ph + STEP_H * (0.35 * (runs.ph - ph) - sours)
        lies = np.where(off, 0.85, settled)

        def there(o):
            return o**3 / (o**3 + bio.oxygen_half**3)

        breathes = (1 - lies) * there(oxygen) + lies * there(0.25 * oxygen)
        hot = np.clip((warm - bio.hot_c) / 1.5, 0, 1)
        pace = quick * breathes * (1 - hot) * (1 - bio.salt_slows * np.abs(runs.salinity - 25))
        done += (STEP_H * pace)[:, None]
        breaking = (done >= need) * inside
        dies = (
            1
            - np.exp(
                -STEP_H
                * (bio.hot_death_per_h * hot + 0.02 * (oxygen < 0.4) + 0.012 * runs.bleached + runs.soap_dies_per_h)
            )[:, None]
        )
        inside, hanging = inside - breaking, hanging + breaking
        stuck += (hanging * dies) + (inside * dies)
        frees = 1 / (1 + np.exp(-(ph - bio.ph_half) / bio.ph_width)) * (1 - 0.75 * runs.bleached)
        frees = frees * (1 - runs.soap_sticks)
        leaves = hanging * (1 - dies) * (1 - np.exp(-STEP_H * (pace * frees)[:, None] / col("hanging_h") * 1.4))
        hanging_dead = hanging * dies
        hanging, inside = hanging - leaves - hanging_dead, inside * (1 - dies)
        crowded = np.clip(dense / bio.crowd_g_l - 1, 0, 2)
        harm = bio.crowd_loss_per_h * crowded + 0.05 * (oxygen < 0.8) + runs.burst_per_h + 0.03 * runs.bleached
        harm = harm + runs.soap_kills_per_h + runs.germs_kill_per_h * germs
        came = leaves.mean(axis=1)
        perished = perished + swims * (1 - np.exp(-STEP_H * harm)) + came * fresh
        swims = swims * np.exp(-STEP_H * (harm + 0.001 + 0.006 * (past > 14))) + came * (1 - fresh)
        past = past + STEP_H * (swims > 0.4)
        freed_share = 1 - inside.mean(axis=1)
        out["nauplii"][:, i], out["hanging"][:, i] = able * swims, able * hanging.mean(axis=1)
        out["shells"][:, i] = able * (swims + perished)
        out["oxygen"][:, i], out["ph"][:, i], out["celsius"][:, i] = oxygen, ph, warm
    freed = np.maximum.accumulate(out["shells"], axis=1)  # who hatched leaves a shell, whatever became of it
    limp = 0.35 * np.minimum(stuck.mean(axis=1), 0.5)[:, None] * able[:, None]
    sound = np.clip(1 - freed - out["hanging"], 0, 1)
    hang_dead = np.minimum(limp * freed.max(axis=1, keepdims=True), sound)
    per_g = col("full_per_g") * (1 - runs.on_wall[:, None])
    washed = col("full_per_g") * (runs.on_wall * bio.wall_washes_in)[:, None]
    out["nauplii"] = out["nauplii"] * per_g
    out["hanging"] = (out["hanging"] + hang_dead) * per_g
    out["shells"] = (freed * bio.shells_sink + col("loose_shells")) * per_g
    out["unhatched"] = (sound - hang_dead + col("closed_empty")) * per_g * (1 - 0.6 * runs.burnt[:, None]) + washed
    return out


def at(values, hours):
    """The course of each hatch at its own hour."""
    x = np.clip(np.asarray(hours) / STEP_H, 0, values.shape[1] - 1.001)
    i = x.astype(int)
    rows = np.arange(len(values))
    return values[rows, i] * (1 - (x - i)) + values[rows, i + 1] * (x - i)
