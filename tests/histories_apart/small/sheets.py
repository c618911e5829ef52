"""Write the four tables as the people of a small room would have."""

import numpy as np
import pandas as pd

from small import faults, words_later, words_north, words_south

TEXT = {
    "en": words_north.EN,
    "de": words_north.DE,
    "nl": words_north.NL,
    "es": words_south.ES,
    "fr": words_south.FR,
    "pt": words_south.PT,
}
IDLE = words_north.IDLE | words_south.IDLE
COLUMN = {"temp": "temperature_c", "sal": "salinity_ppt", "ph": "ph", "oxy": "oxygen_mg_l", "light": "light_lux"}
NAMES = {"temp": ("temperature", "C"), "ph": ("ph", "pH"), "oxy": ("oxygen", "mg/l")}
DIGITS = {"temp": 1, "sal": 1, "ph": 2, "oxy": 1, "light": 0}
SLIP = {"temp": 4.0, "sal": 6.0, "ph": 0.5, "oxy": 2.5, "light": 900.0}
STAGE = {"N": "nauplii", "U": "umbrella", "C": "cysts", "E": "embryos", "S": "shells"}


def phrase(rng, tongues, cause, direct, later=False):
    """A wording for a cause: one that names it, or one that hints; some in haste, without capitals or accents."""
    tongue = str(rng.choice(tongues))
    names, hint = TEXT[tongue][cause]
    out = str(rng.choice(names.split("; "))) if direct else hint
    if direct and later:
        out = words_later.LATER[tongue][cause]
    if rng.uniform() < 0.25:
        out = out.lower()
    if rng.uniform() < 0.2 and len(out) > 12:  # a letter lost
        k = int(rng.integers(4, len(out) - 2))
        out = out[:k] + out[k + 1 :]
    return out


def measure(rng, r, h, i, q, slip=False):
    """One reading as the room's meter gives it."""
    if q == "light":
        true = 5.0 if h["dark_h"][i] > 0 else 1800.0
        v = abs(true * np.exp(r["off"]["light"]) + rng.normal(0, r["meter"]["light"] if true > 100 else 4))
    else:
        v = h[q][i] + r["off"][q] + rng.normal(0, r["meter"][q])
    if slip:
        v = v + rng.choice([-1, 1]) * SLIP[q]
    return round(max(float(v), 0.1 if q != "light" else 0.0), DIGITS[q])


def tables(rng, r, plan, lots, h, per_full, factors, say=None, twice=()):
    """Lots, hatches, readings, samples; `say`: row -> note, show, hide; `twice`: (row, shares at 48 h)."""
    say, twice = say or {}, dict(twice)
    hatches, readings, samples = [], [], []
    for i, row in enumerate(plan.itertuples()):
        s = say.get(i, {})
        name = f"{row.start:%y%m%d}{row.cone[-1] if len(r['cones']) > 1 else ''}-{i}"
        grams = r["litres"] * float(h["dense"][i])
        one = {
            "hatch": name,
            "lot": row.lot,
            "purpose": "production",
            "cone": row.cone,
            "started": row.start.strftime("%Y-%m-%dT%H:%M") + r["zone"],
            "cysts_g": round(grams, 2),
            "volume_ml": r["litres"] * 1000,
        }
        for q, column in COLUMN.items():
            owned = r["owns"][q] or q in s.get("show", ())
            if owned and q not in s.get("hide", ()) and (q in s.get("show", ()) or rng.uniform() > r["misses"]):
                slip = s.get("slip") == q or (q not in s.get("show", ()) and rng.uniform() < r["slips"])
                one[column] = measure(rng, r, h, i, q, slip)
        one |= {"decapsulated": r["counts"] == "NUE", "operator": row.operator}
        note = s.get("note")
        if note is None and rng.uniform() < r["talk"]:
            note = str(rng.choice(IDLE[str(rng.choice(r["tongues"]))]))
        hatches.append(one | {"notes": note or ""})
        end = float(h["hours"][i])
        for q, (quantity, unit) in NAMES.items():
            if r["owns"][q] and q not in s.get("hide", ()) and rng.uniform() < r["late"]:
                at = row.start + pd.Timedelta(hours=round(max(end - rng.uniform(1, 8), 2) * 4) / 4)
                readings.append(
                    {
                        "hatch": name,
                        "taken": at.strftime("%Y-%m-%dT%H:%M") + r["zone"],
                        "quantity": quantity,
                        "value": measure(rng, r, h, i, q),
                        "unit": unit,
                    }
                )
        samples += drops(rng, r, row, i, name, h, per_full, factors, lots, end, "a")
        if i in twice:
            later = {k: np.full(len(plan), v) for k, v in twice[i].items()}
            samples += drops(rng, r, row, i, name, h, later, factors, lots, 48.0, "b")
    return {
        "lots": pd.DataFrame(label(rng, lots, plan)),
        "hatches": pd.DataFrame(hatches),
        "readings": pd.DataFrame(readings, columns=["hatch", "taken", "quantity", "value", "unit"]),
        "samples": pd.DataFrame(samples),
    }


def drops(rng, r, row, i, name, h, per_full, factors, lots, hours, mark):
    """The drops of one reading."""
    full = lots[row.lot]["full"] * float(np.exp(factors["full"][i])) * float(h["dense"][i]) / 1000  # per ml
    hand, lumps = r["hand"][row.counter], r["lumps"][row.counter]
    mean = {k: full * r["ul"] / 1000 / r["dilution"] * per_full[k][i] * hand[k] * factors[k][i] for k in "NUCS"}
    if "U" in r["counts"]:
        mean["N"], mean["U"] = mean["N"] + lumps * mean["U"], (1 - lumps) * mean["U"]
    else:
        mean["N"] += lumps * mean["U"]
    out = []
    for j in range(r["drops"]):
        volume = np.exp(rng.normal(0, r["drop_sd"]))
        one = {
            "sample": f"{name}-{mark}{j + 1}",
            "hatch": name,
            "taken": (row.start + pd.Timedelta(minutes=round(hours * 12) * 5)).strftime("%Y-%m-%dT%H:%M") + r["zone"],
            "hours": round(hours * 4) / 4 if r["writes_hours"] else "",
            "kind": "subsample",
            "volume_ul": r["ul"],
            "dilution": r["dilution"],
        }
        for x in r["counts"]:
            one[STAGE[x]] = int(rng.poisson(max(mean["C" if x == "E" else x] * volume, 0)))
        out.append(one | {"counted_by": "person", "counter": row.counter})
    return out


def label(rng, lots, plan):
    """The lots' rows."""
    for name, lot in lots.items():
        day = plan.loc[plan["lot"] == name, "start"]
        first = day.min() if len(day) else plan["start"].max()
        yield {
            "lot": name,
            "origin": "",
            "opened": first.strftime("%Y-%m-%d"),
            "received": (first - pd.Timedelta(days=int(rng.integers(5, 90)))).strftime("%Y-%m-%d"),
            "best_before": (first + pd.Timedelta(days=lot.get("best", int(rng.integers(120, 700))))).strftime(
                "%Y-%m-%d"
            ),
            "claimed_hatch_pct": round(100 * lot["viable"] + rng.uniform(-3, 4)) if rng.uniform() < 0.5 else "",
            "storage_c": float(rng.choice([-18, 4, 6])) if rng.uniform() < 0.4 else "",
            "notes": "",
        }


def betrays(cause):
    """The quantity that shows a cause, or None."""
    return faults.READ.get(cause)
