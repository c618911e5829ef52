"""How a hatch answers its conditions: the arithmetic behind the invented history and the practice hatches.

This is a teaching model: every curve has the limits that the literature gives, and round numbers in between that
are ours (marked so). Nothing here is used to judge a real hatch; ``verdicts`` keeps its own tables, so that a check of
a verdict against practice hatches compares two separate pieces of work.

References
----------
.. [1] Lavens P., Thongrod S., Sorgeloos P. 2000. Larval prawn feeds and the dietary importance of Artemia. Ch. 6 in
   New M.B., Valenti W.C. (eds) Freshwater Prawn Culture. Blackwell. (temperature, salinity, pH, light, density)
.. [2] New M.B. 2002. Farming freshwater prawns, Annex 4. FAO Fisheries Technical Paper 428. (limits of life, stages)
.. [3] Lavens P., Sorgeloos P. (eds) 1996. Manual on the production and use of live food for aquaculture. FAO
   Fisheries Technical Paper 361, ch. 4. (standard conditions; from memory)
.. [4] Lavens P., Tackaert W., Sorgeloos P. 1986. Mar. Ecol. Prog. Ser. 31:197-203. (dormancy and its ending)
.. [5] Vanhaecke P., Lavens P., Sorgeloos P. 1983. Ann. Soc. r. zool. Belg. 113:155-164. (unfed nauplii waste away)
.. [6] Clegg J.S. 1974. J. Exp. Biol. 61:291-308. (cysts per gram; from memory)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.log_odds import expit

__all__ = [
    "ROOM",
    "Conditions",
    "LotTraits",
    "Room",
    "arrested_by_oxygen",
    "arrested_by_ph",
    "blocked_by_salinity",
    "damaged_by_heat",
    "development_rate",
    "draw_room",
    "effective_water",
    "expected_shares",
    "grown_hours",
    "nauplius_lengths_um",
    "ordinary_water",
    "with_luck",
]


@dataclass(frozen=True)
class Room:
    """How embryos answer their conditions in one room: where and how sharply each stops them, and as what.

    The defaults are those of the invented history. The literature gives limits, not curves, and rooms differ: a check
    of a verdict draws each room anew (:func:`draw_room`).
    """

    q10: float = 1.9
    heat_from_c: float = 32.5  # harm begins: metabolism stops above 33 °C [1]
    heat_dose: float = 40.0
    heat_blocks: float = 0.7  # share of the harmed that never open
    heat_arrests: float = 0.5  # share of the others that stay umbrellas
    salt_from_ppt: float = 38.0
    salt_slow: float = 0.25
    salt_mid_ppt: float = 75.0
    salt_width_ppt: float = 4.0
    ph_most: float = 0.9
    ph_mid: float = 7.55
    ph_width: float = 0.13
    ph_blocks: float = 0.0  # share of those held back that do not even open
    oxygen_most: float = 0.45
    oxygen_mid_mg_l: float = 3.0
    oxygen_width: float = 0.6
    oxygen_blocks: float = 0.0
    dark_lux: float = 300.0
    dark_blocks: float = 0.35
    dark_delay_h: float = 3.0
    crowd_oxygen: float = 0.9  # mg/l less for every g/l too many
    crowd_ph: float = 0.11
    crowd_hurt: float = 0.03
    wall_back: float = 0.5  # share of the dry ones that falls back into the water
    fade_per_h: float = 0.012  # unfed nauplii waste away [5]
    fade_from_h: float = 30.0


ROOM = Room()


def draw_room(rng) -> Room:
    """Draw a room's constants from wide ranges around the published limits.

    Parameters
    ----------
    rng : Generator

    Returns
    -------
    Room
        Heat harms from 31.5 to 34.5 °C on ([1]_: metabolism stops above 33; [2]_: a reversible stop to 40); half of
        the embryos are held back at pH 7.3 to 7.8 ([1]_: the enzyme works poorly below 8) and at 1.5 to 4 mg/l of
        oxygen ([2]_: a pause at 0.6 to 2; keep above 4); salt bars at 62 to 90 ppt ([1]_: 85 to 90); everything else is
        ours, as wide as seems possible.
    """
    u = rng.uniform
    return Room(
        q10=u(1.6, 2.6),
        heat_from_c=u(31.5, 34.5),
        heat_dose=np.exp(u(np.log(12), np.log(80))),
        heat_blocks=u(0.2, 0.95),
        heat_arrests=u(0.1, 0.95),
        salt_from_ppt=u(36, 45),
        salt_slow=u(0.1, 0.55),
        salt_mid_ppt=u(62, 90),
        salt_width_ppt=u(2.5, 9),
        ph_most=u(0.75, 0.97),
        ph_mid=u(7.3, 7.8),
        ph_width=u(0.07, 0.22),
        ph_blocks=u(0.0, 0.5),
        oxygen_most=u(0.6, 0.97),
        oxygen_mid_mg_l=u(1.5, 4.0),
        oxygen_width=u(0.25, 0.9),
        oxygen_blocks=u(0.1, 0.85),
        dark_lux=np.exp(u(np.log(90), np.log(700))),
        dark_blocks=u(0.2, 0.75),
        dark_delay_h=u(0.0, 6.0),
        crowd_oxygen=u(0.3, 1.2),
        crowd_ph=u(0.03, 0.16),
        crowd_hurt=u(0.0, 0.09),
        wall_back=u(0.05, 0.9),
        fade_per_h=np.exp(u(np.log(0.006), np.log(0.035))),
        fade_from_h=u(26, 36),
    )


@dataclass(frozen=True)
class LotTraits:
    """What a lot brings along. Shares are of full cysts; arrays broadcast against the conditions."""

    full_per_g: float = 275_000.0  # dried cyst 3.64 µg [6]
    dead_frac: float = 0.08
    dormant_frac: float = 0.02  # [4]: viable, not started by wetting alone
    break_t50_h: float = 14.5  # at 28 °C; T90 of a good lot 20 to 24 h (common practice, no source)
    break_spread: float = 0.14  # standard deviation of log hours (ours)
    umbrella_h: float = 2.0  # about 1 to 3 h under the shell [2]
    arrest_frac: float = 0.012  # umbrellas that never get free under good conditions (ours)
    shells_per_opened: float = 0.84  # shells still seen per opened cyst (ours: thin ones are lost in handling)
    old_shells_frac: float = 0.02  # empty shells in the product per full cyst (ours)
    instar_i_um: float = 486.0  # Great Salt Lake strain (compilation citing Vanhaecke and Sorgeloos 1980)


@dataclass(frozen=True)
class Conditions:
    """What the hatch really met (not what was written down). Arrays broadcast.

    ``spell_c`` and ``spell_h`` are a spell at another temperature; ``unwetted_frac`` of the cysts dried on the wall;
    ``broken_frac`` of the nauplii were broken by the air; ``cysts_g_per_l`` counts above the density limit of [1].
    """

    hours: float = 24.0
    temperature_c: float = 28.0
    spell_c: float = 28.0
    spell_h: float = 0.0
    salinity_ppt: float = 33.0
    ph: float = 8.2
    oxygen_mg_l: float = 6.3
    light_lux: float = 2000.0
    cysts_g_per_l: float = 1.6
    max_g_per_l: float = 5.0
    unwetted_frac: float = 0.0
    broken_frac: float = 0.0


def ordinary_water(rng) -> dict:
    """Draw the water of an ordinary hatch: the standard with the small changes of a well kept room (sizes ours)."""
    return {
        "temperature_c": 28.0 + rng.normal(0, 0.35),
        "salinity_ppt": 33.0 + rng.normal(0, 0.6),
        "ph": 8.2 + rng.normal(0, 0.06),
        "oxygen_mg_l": 6.3 + rng.normal(0, 0.22),
        "light_lux": 2050.0 + rng.normal(0, 110.0),
    }


def with_luck(dead_frac, luck):
    """Share of dead cysts of one hatch: the lot's, moved by its luck on the logit scale."""
    return dead_frac * np.exp(luck) / (1 - dead_frac + dead_frac * np.exp(luck))


def development_rate(temperature_c, room: Room = ROOM):
    """Speed of development relative to 28 °C.

    Parameters
    ----------
    temperature_c : float or array
        Water temperature [°C].
    room : Room

    Returns
    -------
    float or array
        1 at 28 °C; slower below 25 °C, none below 4 and above about 33 °C [1]_ [2]_. The Q10 of 1.9 between is ours:
        a hatch at 20 °C takes some 1.7 times as long as at 28 °C.
    """
    t = np.asarray(temperature_c, dtype=float)
    rate = room.q10 ** ((np.minimum(t, 31.0) - 28.0) / 10.0)
    rate = rate * np.clip((34.0 - t) / 3.0, 0.0, 1.0)
    return np.where(t < 4.0, 0.0, rate)


def damaged_by_heat(temperature_c, hours, room: Room = ROOM):
    """Share of embryos harmed for good by ``hours`` at a temperature: from 33 °C on, quickly above 40 °C [1]_ [2]_."""
    t = np.asarray(temperature_c, dtype=float)
    dose = np.clip(t - room.heat_from_c, 0.0, None) ** 1.5 * np.asarray(hours, dtype=float)
    return 1.0 - np.exp(-dose / room.heat_dose)


def blocked_by_salinity(salinity_ppt, room: Room = ROOM):
    """Share that cannot take up water enough to break: a slow rise above 38 ppt (ours), nearly all above 85 [1]_."""
    s = np.asarray(salinity_ppt, dtype=float)
    slow = room.salt_slow * (1.0 - np.exp(-np.clip(s - room.salt_from_ppt, 0.0, None) / 25.0))
    steep = expit((s - room.salt_mid_ppt) / room.salt_width_ppt)
    return 1.0 - (1.0 - slow) * (1.0 - steep)


def arrested_by_ph(ph, room: Room = ROOM):
    """Share that stays in the hatching membrane: the hatching enzyme works poorly below pH 8 [1]_ (slope ours)."""
    return room.ph_most / (1.0 + np.exp((np.asarray(ph, dtype=float) - room.ph_mid) / room.ph_width))


def arrested_by_oxygen(oxygen_mg_l, room: Room = ROOM):
    """Share that stays under the shell for want of oxygen; below 4 mg/l it begins to tell (slope ours)."""
    away = (np.asarray(oxygen_mg_l, dtype=float) - room.oxygen_mid_mg_l) / room.oxygen_width
    return room.oxygen_most / (1.0 + np.exp(away))


def _oxygen_rate(oxygen_mg_l):
    """Speed of development for want of oxygen, 1 near saturation, none below 1 mg/l ([2] pauses at 0.6 to 2)."""
    spare = np.clip(np.asarray(oxygen_mg_l, dtype=float) - 1.0, 0.0, None)
    return np.minimum(1.0, spare / (spare + 1.2) / 0.82)


def effective_water(conditions: Conditions, room: Room = ROOM):
    """Oxygen [mg/l] and pH that the embryos meet: too many cysts per litre draw both down [1]_ (slopes ours)."""
    over = np.clip(np.asarray(conditions.cysts_g_per_l, dtype=float) - conditions.max_g_per_l, 0.0, None)
    oxygen = np.maximum(0.3, np.asarray(conditions.oxygen_mg_l, dtype=float) - room.crowd_oxygen * over)
    return oxygen, np.asarray(conditions.ph, dtype=float) - room.crowd_ph * over


def grown_hours(conditions: Conditions, room: Room = ROOM):
    """Hours of development at the reading, in hours of a hatch that stands at 28 °C in good water."""
    c = conditions
    dark = np.exp(-np.asarray(c.light_lux, dtype=float) / room.dark_lux)
    grown = development_rate(c.temperature_c, room) * (np.asarray(c.hours) - c.spell_h)
    grown = (grown + development_rate(c.spell_c, room) * c.spell_h) * _oxygen_rate(effective_water(c, room)[0])
    return grown / (1.0 + 0.004 * (np.asarray(c.salinity_ppt) - 33.0)) - room.dark_delay_h * dark


def nauplius_lengths_um(traits: LotTraits, conditions: Conditions, n: int, rng):
    """Draw the body lengths of ``n`` free nauplii at the reading.

    Parameters
    ----------
    traits : LotTraits
    conditions : Conditions
        Single values.
    n : int
    rng : Generator

    Returns
    -------
    array, shape (n,)
        Lengths. [µm] A nauplius is in its first instar for about 8 h after it came free and has moulted then
        ([1]_, enrichment section); the second moult 12 h later, the lengths after each moult (1.22 and 1.42 times the
        first) and the 6 % between animals are ours, below the 1.8 times that [1]_ gives after a day of feeding.
    """
    t, grown = traits, float(grown_hours(conditions))
    latest = _norm_cdf(np.log(max(grown - t.umbrella_h, 0.1) / t.break_t50_h) / t.break_spread)
    age = grown - t.umbrella_h - t.break_t50_h * np.exp(t.break_spread * _norm_quantile(rng.random(n) * latest))
    instar = 1.0 + 0.22 * (age > 8.0) + 0.20 * (age > 20.0)
    return t.instar_i_um * instar * np.exp(rng.normal(0.0, 0.06, n))


def expected_shares(traits: LotTraits, conditions: Conditions, room: Room = ROOM) -> dict:
    """Expected objects of each stage in the water at the hour of reading, per full cyst weighed in.

    Parameters
    ----------
    traits : LotTraits
    conditions : Conditions
        Their fields may be arrays; all broadcast to one shape (n,).
    room : Room

    Returns
    -------
    dict of str to array, shape (n,)
        ``nauplius``, ``umbrella``, ``cyst``, ``shell`` and ``missing`` (dried on the wall or broken beyond
        recognition). All but the shells add up to 1.
    """
    c, t = conditions, traits
    oxygen, ph = effective_water(c, room)
    harmed = 1.0 - (1.0 - damaged_by_heat(c.spell_c, c.spell_h, room)) * (
        1.0 - damaged_by_heat(c.temperature_c, np.asarray(c.hours) - c.spell_h, room)
    )
    dark = np.exp(-np.asarray(c.light_lux, dtype=float) / room.dark_lux)  # a dark start: fewer and later [1]
    grown = grown_hours(c, room)
    able = (1.0 - t.dead_frac) * (1.0 - t.dormant_frac) * (1.0 - blocked_by_salinity(c.salinity_ppt, room))
    able = able * (1.0 - room.dark_blocks * dark) * (1.0 - room.heat_blocks * harmed)
    by_ph, by_oxygen = arrested_by_ph(ph, room), arrested_by_oxygen(oxygen, room)
    able = able * (1.0 - room.ph_blocks * by_ph) * (1.0 - room.oxygen_blocks * by_oxygen)
    broken_out = able * _norm_cdf(np.log(np.maximum(grown, 0.1) / t.break_t50_h) / t.break_spread)
    free = able * _norm_cdf(np.log(np.maximum(grown - t.umbrella_h, 0.1) / t.break_t50_h) / t.break_spread)
    kept = (1.0 - t.arrest_frac) * (1.0 - (1.0 - room.ph_blocks) * by_ph)
    kept = kept * (1.0 - (1.0 - room.oxygen_blocks) * by_oxygen)
    kept = 1.0 - kept * (1.0 - room.heat_arrests * harmed)
    free = free * (1.0 - kept)
    crowd = np.clip(np.asarray(c.cysts_g_per_l) - c.max_g_per_l, 0.0, 8.0)
    starved = 1.0 - np.exp(-room.fade_per_h * np.clip(grown - room.fade_from_h, 0.0, None))  # [5] (rate ours)
    lost = 1.0 - (1.0 - np.asarray(c.broken_frac)) * (1.0 - starved) * (1.0 - room.crowd_hurt * crowd)
    wetted = 1.0 - np.asarray(c.unwetted_frac, dtype=float)
    dry = 1.0 - wetted
    on_wall = room.wall_back * dry
    return {
        "nauplius": wetted * free * (1.0 - lost),
        "umbrella": wetted * (broken_out - free),
        "cyst": wetted * (1.0 - broken_out) + on_wall,
        "shell": wetted * broken_out * t.shells_per_opened + t.old_shells_frac * np.ones_like(broken_out),
        "missing": wetted * free * lost + dry - on_wall,
    }


def _norm_quantile(p):
    """Quantile of the normal distribution, kept off both ends."""
    from scipy.special import ndtri

    return ndtri(np.clip(p, 1e-9, 1 - 1e-9))


def _norm_cdf(z):
    """Normal distribution function."""
    from scipy.special import ndtr

    return ndtr(z)
