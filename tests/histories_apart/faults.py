"""What can go wrong, as it acts in the cone or on the sheet; none of it knows how a verdict is reached.

A fault takes the state of a site, the hatches it strikes and a size (1 is usual), and changes arrays in place. ``show``
says by what the record betrays it: a reading, a note, the sheet, a later count, the mix of stages alone, nothing.
"""

from __future__ import annotations

import numpy as np

NOTES = {
    "cold": ("heater was off this morning", "cone cold when I came in", "thermostat had tripped"),
    "hot": ("heater stuck on, water hot", "thermostat stuck, far too warm", "overheated in the night"),
    "too_salt": ("salt put in twice", "water far too salty, topped up", "double salt by mistake"),
    "too_fresh": ("forgot the salt", "half the salt only, bag was empty", "water too fresh"),
    "low_ph": ("no bicarbonate left", "forgot the buffer", "pH low, smells sour"),
    "air_off": ("air pump had stopped", "air off in the night, power cut", "air hose had slipped off"),
    "dark": ("lamp was off", "forgot the light", "bulb dead"),
    "crowded": ("put in far more cysts for the big order", "double dose of cysts"),
    "old_cysts": ("used up the old tin from the back of the fridge", "tin had been open for months"),
    "wet_cysts": ("cysts were damp and clumped", "tin left open, cysts wet"),
    "wrong_lot": ("not sure it was the right tin", "may have taken the other lot"),
    "read_early": ("counted early, had to leave", "sampled too early"),
    "bleach_left": ("decapsulated, smelled of bleach after rinsing", "forgot the thiosulphate after decapsulation"),
    "burnt": ("decapsulation got hot", "left in bleach too long"),
    "on_wall": ("thick ring of cysts above the water line", "many cysts stuck to the wall"),
    "misweighed": ("spilled some cysts after weighing", "scale not zeroed, I think"),
    "miscounted": ("lost count in the first sample", "counted in a hurry"),
    "cold_room": ("heating of the hall was out, every cone cold", "freezing in here overnight, all cones cold"),
    "soap": (
        "cone washed with dish soap, not sure it was rinsed well",
        "suds on the water this morning",
        "smelled of detergent when filling",
        "new lad scrubbed the cone with washing-up liquid",
    ),
    "bloom": (
        "water milky this morning",
        "smelled rotten, slime on the air stone",
        "cloudy, dead nauplii on the bottom",
    ),
    "air_weak_late": ("air hardly bubbling at the end", "air stone clogged by the evening"),
    "broken": ("air far too strong, foam everywhere", "nauplii torn by strong air"),
}
READS = {
    "cold": "temperature",
    "cold_room": "temperature",
    "bloom": "oxygen",
    "air_weak_late": "oxygen",
    "hot": "temperature",
    "too_salt": "salinity",
    "too_fresh": "salinity",
    "low_ph": "ph",
    "air_off": "oxygen",
    "dark": "light",
}
"""The reading in which a fault of the water shows."""


def strike(what, state, i, size, show, rng):
    """Let one fault act on hatches ``i`` and on what their sheet betrays.

    Parameters
    ----------
    what : str
        A key of NOTES.
    state : dict
        ``site``, ``lots``, ``h``, ``runs`` and ``x`` of sites.py.
    i : array of int
    size : float
    show : str
        ``reading``, ``note``, ``both`` of these, ``sheet``, ``late`` or ``none``.
    rng : numpy.random.Generator
    """
    runs, x, site = state["runs"], state["x"], state["site"]
    if what in ("cold", "cold_room"):
        runs.end_c[i] -= 3.5 * size
        runs.start_c[i] -= 2.5 * size
    elif what == "hot":
        runs.end_c[i] = np.maximum(runs.end_c[i], site.bio.hot_c - 0.6 + 0.8 * size)
    elif what == "too_salt":
        runs.salinity[i] += 24 + 16 * size
    elif what == "too_fresh":
        runs.salinity[i] = max(site.bio.fresh_ppt * (1 - 0.55 * size), 0.5)
        runs.buffer[i] *= 0.6
        runs.ph[i] -= 0.25
    elif what == "low_ph":
        runs.ph[i] = site.bio.ph_half + 0.25 - 0.22 * size
    elif what == "air_off":
        runs.air_off_from[i] = rng.uniform(6, 9)
        runs.air_off_h[i] = 5 * size
    elif what == "dark":
        runs.lux[i] = 60 / size**2
    elif what == "crowded":
        runs.grams[i] = runs.litres[i] * site.bio.crowd_g_l * (1.15 + 0.35 * size)
    elif what in ("old_cysts", "wet_cysts"):
        runs.died[i] += 0.2 * size
        runs.slower_h[i] += 0.8 * size
    elif what == "wrong_lot":
        others = [k for k in range(len(state["lots"])) if k != state["h"]["lot"].to_numpy()[i][0]]
        x["lot_in_cone"][i] = min(others, key=lambda k: state["lots"][k].lives * state["lots"][k].full_per_g)
    elif what == "read_early":
        runs.hours[i] = np.maximum(runs.hours[i] - 3.5 - 1.5 * size, 13)
        if show in ("none", "note"):
            x["hours_written"][i] = site.hours - runs.hours[i]
    elif what == "bleach_left":
        runs.bleached[i] = 0.7 * size
        x["decapsulated"][i] = True
    elif what == "burnt":
        runs.burnt[i] = min(0.3 * size, 0.9)
        x["decapsulated"][i] = True
    elif what == "on_wall":
        runs.on_wall[i] = min(0.3 * size, 0.85)
    elif what == "misweighed":
        x["grams_written"][i] = 1 + 0.35 * size
    elif what == "miscounted":
        x["one_sample"][i] = max(1 - 0.8 * size, 0.05)
    elif what == "soap":
        u = rng.uniform
        runs.soap_dies_per_h[i] = 0.02 * size * u(0.2, 1)
        runs.soap_sticks[i] = min(0.6 * size * u(0.3, 1), 0.9)
        runs.soap_kills_per_h[i] = 0.06 * size * u(0.3, 1)
        runs.on_wall[i] += 0.08 * size * u(0, 1)  # foam carries some up the wall
    elif what == "bloom":
        u = rng.uniform
        runs.germs[i] = 10 ** (-4.5 + 1.2 * size)
        runs.germs_double_h[i] = u(0.7, 1.3)
        runs.germs_kill_per_h[i] = u(0.05, 0.2)
    elif what == "air_weak_late":
        runs.air_off_from[i] = 20 - 6 * size + rng.uniform(-1, 1)
        runs.air_off_h[i] = 60.0
    elif what == "broken":
        runs.burst_per_h[i] = 0.05 * size
        runs.air[i] *= 1.5
    _betray(what, x, i, show, rng)


def _betray(what, x, i, show, rng):
    reading = READS.get(what, "")
    if show in ("reading", "both"):
        x["read_at_end"][i] |= what in ("bloom", "air_weak_late")
        x["must_read"][i] = [f"{t} {reading}" for t in x["must_read"][i]]
    else:
        x["not_read"][i] = [f"{t} {reading}" for t in x["not_read"][i]]
    if show in ("note", "both"):
        words = rng.choice(NOTES[what])
        x["note"][i] = [f"{t}; {words}".strip("; ") for t in x["note"][i]]
    if show == "late":
        x["late_count"][i] = True


# ---------------------------------------------------------------- changes


def change(what, state, i, size, rng):
    """One change of how the site runs, on hatches ``i`` in their order; returns what it should show in and where."""
    runs, x, site, h = state["runs"], state["x"], state["site"], state["h"]
    ramp = np.linspace(0.15, 1.0, len(i))
    kinds = {
        "where": "all",
        "group": "",
        "slow": False,
        "water": "",
        "shows": ["hatch_pct", "hatching_efficiency_per_g"],
    }
    if what in ("heater_drifts", "heater_of_one_cone"):
        slow = what == "heater_drifts"
        runs.end_c[i] -= 3.2 * size * (ramp if slow else 1)
        kinds |= {"water": "temperature_c", "slow": slow}
        kinds |= {} if slow else {"where": "cone", "group": h["cone"].iloc[i[0]]}
    elif what == "thermometer_reads_wrong":
        x["temperature_off"][i] += 2.0 * size
        kinds |= {"water": "temperature_c", "shows": ["temperature_c"], "meter": True}
    elif what == "salt_meter_reads_wrong":
        x["salinity_off"][i] -= 6.0 * size
        kinds |= {"water": "salinity_ppt", "shows": ["salinity_ppt"], "meter": True}
    elif what == "thermometer_steers_wrong":
        x["temperature_off"][i] += 3.0 * size
        runs.end_c[i] -= 3.0 * size
    elif what == "weaker_salt":
        runs.salinity[i] = np.maximum(runs.salinity[i] * 0.3, site.bio.fresh_ppt * 0.75 / size)
        runs.buffer[i] *= 0.55
        runs.ph[i] -= 0.3 * size
        kinds |= {"water": "salinity_ppt"}
    elif what == "new_lot_worse":
        lot = h["lot"].iloc[i[0]]
        state["lots"][lot].lives -= 0.12 * size
        kinds |= {"where": "lot", "group": state["lots"][lot].name}
    elif what == "lot_ages":
        weeks = (h["day"].to_numpy()[i] - h["day"].to_numpy()[i[0]]) / 7
        runs.died[i] += 0.025 * size * weeks
        runs.slower_h[i] += 0.15 * size * weeks
        kinds |= {"where": "lot", "group": state["lots"][h["lot"].iloc[i[0]]].name, "slow": True}
    elif what == "new_person_lets_settle":
        h.loc[h.index[i], ["counter", "who"]] = "op9"
        x["counts_nauplii"][i] *= 1 - 0.2 * size
        x["counts_cysts"][i] *= 1 + 0.25 * size
        kinds |= {"where": "counter", "group": "op9"}
    elif what == "camera_misses":
        x["counts_nauplii"][i] *= 1 - 0.2 * size
        kinds |= {"where": "counter", "group": "photo"}
    elif what == "air_of_one_cone":
        runs.air[i] *= 0.26 / size
        kinds |= {"where": "cone", "group": h["cone"].iloc[i[0]], "water": "oxygen_mg_l"}
    elif what == "bulb_dies":
        runs.lux[i] *= np.exp(-4.0 * size * ramp)
        kinds |= {"water": "light_lux", "slow": True}
    elif what == "scale_reads_high":
        x["grams_written"][i] *= 1 + 0.16 * size
        kinds |= {"shows": ["hatching_efficiency_per_g"]}
    elif what == "buffer_runs_down":
        runs.ph[i] = runs.ph[i] - (runs.ph[i] - site.bio.ph_half + 0.1) * size * ramp
        kinds |= {"water": "ph", "slow": True}
    return kinds
