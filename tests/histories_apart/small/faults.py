"""Causes: what each does to the cone or to the sheet, from a size between 0 (slight) and 1 (severe)."""

WATER = {
    "cold": lambda s: {"temp": 25.0 - 7 * s},
    "cold_start": lambda s: {"early_temp": 15 - 5 * s, "early_h": 2 + 6 * s},
    "power_cut": lambda s: {"cut_from": 3.0, "cut_h": 4 + 9 * s, "cut_temp": 22 - 4 * s, "cut_oxy": 1.6 - s},
    "heat": lambda s: {"temp": 31.5 + 5 * s},
    "low_ph": lambda s: {"ph": 7.8 - 0.9 * s},
    "low_oxygen": lambda s: {"oxy": 3.4 - 2.6 * s},
    "air_failure": lambda s: {"cut_from": 5.0, "cut_h": 3 + 9 * s, "cut_temp": 40.0, "cut_oxy": 0.5},
    "high_salinity": lambda s: {"sal": 48 + 55 * s},
    "fresh_fill": lambda s: {"sal": 5 - 4.5 * s},
    "dark_start": lambda s: {"dark_h": 4 + 14 * s},
    "not_wetted": lambda s: {"wall": 0.12 + 0.5 * s},
    "bleach_left": lambda s: {"poison": 1.2 + 2.5 * s},
    "soap_left": lambda s: {"poison": 1.0 + 2.5 * s},
    "rough_air": lambda s: {"rough": 0.12 + 0.45 * s},
    "bacterial_bloom": lambda s: {"bloom": 0.12 + 0.4 * s, "oxy": 4.5 - 2 * s},
    "decap_overdone": lambda s: {"burnt": 0.12 + 0.5 * s},
    "wrong_lot": lambda s: {"spoilt": 0.15 + 0.5 * s},
    "damp_cysts": lambda s: {"spoilt": 0.15 + 0.5 * s},
    "old_lot": lambda s: {"spoilt": 0.15 + 0.5 * s},
    "dormant_lot": lambda s: {"asleep": 0.15 + 0.5 * s},
}
"""Cause -> conditions of the cone."""

TIMES = {"over_density": lambda s: 1.8 + 4 * s}
"""Cause -> how many times the usual grams went in; the sheet has them."""

HOURS = {"over_long": lambda s: 12 + 26 * s, "counted_early": lambda s: -(4 + 7 * s)}
"""Cause -> hours later or earlier."""

SHEET = {
    "weighing_error": lambda s: dict.fromkeys("NUCS", 1 - (0.15 + 0.45 * s)),
    "dilution_error": lambda s: dict.fromkeys("NUCS", 0.5),
    "miscount": lambda s: {"N": 1 - (0.15 + 0.45 * s), "U": 0.8, "C": 1.0, "S": 0.9},
    "mixing_error": lambda s: {"N": 1 - (0.12 + 0.45 * s), "U": 1.0, "C": 1 + 0.8 * s, "S": 0.8},
}
"""Cause -> what the count has of each stage."""

READ = {
    "cold": "temp",
    "heat": "temp",
    "low_ph": "ph",
    "low_oxygen": "oxy",
    "high_salinity": "sal",
    "fresh_fill": "sal",
    "dark_start": "light",
    "bacterial_bloom": "oxy",
}
"""Cause -> the reading that betrays it while it lasts."""

OF_ROOM = {"cold", "power_cut", "heat", "low_ph", "air_failure", "dark_start", "high_salinity", "fresh_fill"}
"""Causes that may strike all cones of a day."""

OF_LOT = {"old_lot", "dormant_lot", "damp_cysts"}
"""Causes that strike every hatch of the lot from some day on."""

CAUSES = sorted({*WATER, *TIMES, *HOURS, *SHEET})

ALIKE = [
    {"old_lot", "dormant_lot", "damp_cysts"},
    {"weighing_error", "dilution_error"},
    {"bleach_left", "soap_left"},
    {"low_oxygen", "air_failure"},
    {"cold", "cold_start"},
]
"""Causes that are one to whoever reads the sheet."""


def strike(cause, size, h, i):
    """Change the conditions `h` (dict of arrays) of hatches `i`; return the factors of their counts."""
    for q, v in WATER.get(cause, lambda s: {})(size).items():
        h[q][i] = v
        if q == "temp":
            h["early_temp"][i] = v
    if cause in TIMES:
        h["dense"][i] *= TIMES[cause](size)
    if cause in HOURS:
        h["hours"][i] += HOURS[cause](size)
    return SHEET.get(cause, lambda s: dict.fromkeys("NUCS", 1.0))(size)
