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

__all__ = [
    "Conditions",
    "LotTraits",
    "arrested_by_oxygen",
    "arrested_by_ph",
    "blocked_by_salinity",
    "damaged_by_heat",
    "development_rate",
    "effective_water",
    "expected_shares",
    "grown_hours",
    "nauplius_lengths_um",
    "ordinary_water",
    "with_luck",
]


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


def development_rate(temperature_c):
    """Speed of development relative to 28 °C.

    Parameters
    ----------
    temperature_c : float or array
        Water temperature [°C].

    Returns
    -------
    float or array
        1 at 28 °C; slower below 25 °C, none below 4 and above about 33 °C [1]_ [2]_. The Q10 of 1.9 between is ours:
        a hatch at 20 °C takes some 1.7 times as long as at 28 °C.
    """
    t = np.asarray(temperature_c, dtype=float)
    rate = 1.9 ** ((np.minimum(t, 31.0) - 28.0) / 10.0)
    rate = rate * np.clip((34.0 - t) / 3.0, 0.0, 1.0)
    return np.where(t < 4.0, 0.0, rate)


def damaged_by_heat(temperature_c, hours):
    """Share of embryos harmed for good by ``hours`` at a temperature: from 33 °C on, quickly above 40 °C [1]_ [2]_."""
    t = np.asarray(temperature_c, dtype=float)
    dose = np.clip(t - 32.5, 0.0, None) ** 1.5 * np.asarray(hours, dtype=float)
    return 1.0 - np.exp(-dose / 40.0)


def blocked_by_salinity(salinity_ppt):
    """Share that cannot take up water enough to break: a slow rise above 38 ppt (ours), nearly all above 85 [1]_."""
    s = np.asarray(salinity_ppt, dtype=float)
    slow = 0.25 * (1.0 - np.exp(-np.clip(s - 38.0, 0.0, None) / 25.0))
    steep = 1.0 / (1.0 + np.exp(-(s - 75.0) / 4.0))
    return 1.0 - (1.0 - slow) * (1.0 - steep)


def arrested_by_ph(ph):
    """Share that stays in the hatching membrane: the hatching enzyme works poorly below pH 8 [1]_ (slope ours)."""
    return 0.9 / (1.0 + np.exp((np.asarray(ph, dtype=float) - 7.55) / 0.13))


def arrested_by_oxygen(oxygen_mg_l):
    """Share that stays under the shell for want of oxygen; below 4 mg/l it begins to tell (slope ours)."""
    return 0.45 / (1.0 + np.exp((np.asarray(oxygen_mg_l, dtype=float) - 3.0) / 0.6))


def _oxygen_rate(oxygen_mg_l):
    """Speed of development for want of oxygen, 1 near saturation, none below 1 mg/l ([2] pauses at 0.6 to 2)."""
    spare = np.clip(np.asarray(oxygen_mg_l, dtype=float) - 1.0, 0.0, None)
    return np.minimum(1.0, spare / (spare + 1.2) / 0.82)


def effective_water(conditions: Conditions):
    """Oxygen [mg/l] and pH that the embryos meet: too many cysts per litre draw both down [1]_ (slopes ours)."""
    over = np.clip(np.asarray(conditions.cysts_g_per_l, dtype=float) - conditions.max_g_per_l, 0.0, None)
    oxygen = np.maximum(0.3, np.asarray(conditions.oxygen_mg_l, dtype=float) - 0.9 * over)
    return oxygen, np.asarray(conditions.ph, dtype=float) - 0.11 * over


def grown_hours(conditions: Conditions):
    """Hours of development at the reading, in hours of a hatch that stands at 28 °C in good water."""
    c = conditions
    dark = np.exp(-np.asarray(c.light_lux, dtype=float) / 300.0)
    grown = development_rate(c.temperature_c) * (np.asarray(c.hours) - c.spell_h)
    grown = (grown + development_rate(c.spell_c) * c.spell_h) * _oxygen_rate(effective_water(c)[0])
    return grown / (1.0 + 0.004 * (np.asarray(c.salinity_ppt) - 33.0)) - 3.0 * dark


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


def expected_shares(traits: LotTraits, conditions: Conditions) -> dict:
    """Expected objects of each stage in the water at the hour of reading, per full cyst weighed in.

    Parameters
    ----------
    traits : LotTraits
    conditions : Conditions
        Their fields may be arrays; all broadcast to one shape (n,).

    Returns
    -------
    dict of str to array, shape (n,)
        ``nauplius``, ``umbrella``, ``cyst``, ``shell`` and ``missing`` (dried on the wall or broken beyond
        recognition). All but the shells add up to 1.
    """
    c, t = conditions, traits
    oxygen, ph = effective_water(c)
    harmed = 1.0 - (1.0 - damaged_by_heat(c.spell_c, c.spell_h)) * (
        1.0 - damaged_by_heat(c.temperature_c, np.asarray(c.hours) - c.spell_h)
    )
    dark = np.exp(-np.asarray(c.light_lux, dtype=float) / 300.0)  # a dark start: fewer and later [1]
    grown = grown_hours(c)
    able = (1.0 - t.dead_frac) * (1.0 - t.dormant_frac) * (1.0 - blocked_by_salinity(c.salinity_ppt))
    able = able * (1.0 - 0.35 * dark) * (1.0 - 0.7 * harmed)
    broken_out = able * _norm_cdf(np.log(np.maximum(grown, 0.1) / t.break_t50_h) / t.break_spread)
    free = able * _norm_cdf(np.log(np.maximum(grown - t.umbrella_h, 0.1) / t.break_t50_h) / t.break_spread)
    kept = 1.0 - (1.0 - t.arrest_frac) * (1.0 - arrested_by_ph(ph)) * (1.0 - arrested_by_oxygen(oxygen))
    kept = 1.0 - (1.0 - kept) * (1.0 - 0.5 * harmed)
    free = free * (1.0 - kept)
    crowd = np.clip(np.asarray(c.cysts_g_per_l) - c.max_g_per_l, 0.0, 8.0)
    starved = 1.0 - np.exp(-0.012 * np.clip(grown - 30.0, 0.0, None))  # unfed nauplii waste away [5] (rate ours)
    lost = 1.0 - (1.0 - np.asarray(c.broken_frac)) * (1.0 - starved) * (1.0 - 0.03 * crowd)
    wetted = 1.0 - np.asarray(c.unwetted_frac, dtype=float)
    on_wall = 0.5 * (1.0 - wetted)  # half of the dry ones fall back into the water before the reading (ours)
    return {
        "nauplius": wetted * free * (1.0 - lost),
        "umbrella": wetted * (broken_out - free),
        "cyst": wetted * (1.0 - broken_out) + on_wall,
        "shell": wetted * broken_out * t.shells_per_opened + t.old_shells_frac * np.ones_like(broken_out),
        "missing": wetted * free * lost + on_wall,
    }


def _norm_quantile(p):
    """Quantile of the normal distribution, kept off both ends."""
    from scipy.special import ndtri

    return ndtri(np.clip(p, 1e-9, 1 - 1e-9))


def _norm_cdf(z):
    """Normal distribution function."""
    from scipy.special import ndtr

    return ndtr(z)
